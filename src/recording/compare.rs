//! Holds a recording against a replay, bit for bit.
//!
//! Every input is stepped through the engine again, and each output that belongs in the recording is encoded
//! and held against the stored bytes: no tolerance, no field left out. Only where bytes differ are they
//! decoded, to name the field. A replay that has compared nothing has shown nothing and is no success.

use super::form::{self, Stored};
use super::format::{Header, Kind, NUMERICS_VERSION, PROGRAM_VERSION, Record};
use super::leaves::{Leaf, leaves};
use super::reader::{self, Damage, Recording, Torn};
use super::{RecordingError, Watch, hex};
use crate::engine::Monitor;
use crate::engine::frame::Frame;
use crate::engine::input::Input;
use crate::time::{EngineTime, SECOND_NS};
use std::fmt;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

/// What the replay showed.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Inputs stepped.
    pub inputs: u64,
    /// Stored outputs held against the replay.
    pub compared: u64,
    /// How it went.
    pub outcome: Outcome,
    /// What is wrong with the file.
    pub damage: Vec<Damage>,
    /// What stands behind its last whole record.
    pub torn: Option<Torn>,
    /// It was ended on purpose.
    pub ended: bool,
}

/// How a replay went.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// Every stored output is bit for bit what the replay gave, and the file is whole.
    Same,
    /// Outputs differ.
    Different {
        /// The first that does.
        first: Box<Difference>,
        /// How many do.
        count: u64,
    },
    /// Every output that can be read is the same, but the file is not as it was written.
    Damaged,
    /// There was no output to compare.
    NothingCompared,
    /// It was written by a program whose engine computes other bits; nothing was compared.
    OtherProgram {
        /// The program that wrote it.
        program_version: String,
        /// Its numerics version.
        numerics_version: u32,
    },
    /// An input cannot be read: from here on nothing can be compared. No earlier output differs.
    InputUnreadable {
        /// Its number.
        number: u64,
        /// What is wrong with it.
        why: String,
    },
    /// The engine failed by a fault of our own.
    Failed {
        /// At this input.
        number: u64,
    },
}

/// One output that is not what the replay gave.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Number of the step.
    pub number: u64,
    /// Engine time of its input.
    pub at: EngineTime,
    /// The stored output's checksum does not fit either: its bytes changed after they were written.
    pub checksum_fits: bool,
    /// What differs.
    pub what: DifferenceKind,
}

/// How an output can differ.
#[derive(Debug, Clone, PartialEq)]
pub enum DifferenceKind {
    /// A field does.
    Field {
        /// Its path.
        path: String,
        /// What the recording says.
        stored: String,
        /// What the replay says.
        replayed: String,
    },
    /// The replay gave an output that the recording does not hold.
    NotStored,
    /// The recording holds an output that the replay did not give.
    NotReplayed,
    /// The content is the same, the checksum is not.
    ChecksumOnly,
}

/// Compares a recording with a replay through the monitor.
///
/// # Errors
/// When the file is no recording or one that this program cannot read.
pub fn compare(path: &Path) -> Result<Comparison, RecordingError> {
    compare_with::<Monitor>(path, &reader::read(path)?)
}

/// Like [`compare`], from bytes and through any watch; `path` is for messages.
///
/// # Errors
/// As [`compare`].
pub fn compare_with<W: Watch>(path: &Path, bytes: &[u8]) -> Result<Comparison, RecordingError> {
    let recording = reader::walk(path, bytes)?;
    let mut replay = Replay::<W>::of(&recording);
    let outcome = if recording.header.is_of_this_program() {
        let broken = replay.run(&recording);
        replay.outcome(broken, &recording)
    } else {
        other_program(&recording.header)
    };
    let Replay { inputs, compared, .. } = replay;
    let Recording { damage, torn, ended, .. } = recording;
    Ok(Comparison { inputs, compared, outcome, damage, torn, ended })
}

fn other_program(header: &Header) -> Outcome {
    Outcome::OtherProgram { program_version: header.program_version.clone(), numerics_version: header.numerics_version }
}

struct Replay<W> {
    watch: W,
    inputs: u64,
    compared: u64,
    at: EngineTime,
    /// The last input's output, until the stored one comes.
    awaited: Option<Box<Frame>>,
    first: Option<Box<Difference>>,
    differences: u64,
}

impl<W: Watch> Replay<W> {
    fn of(recording: &Recording<'_>) -> Replay<W> {
        let Header { settings, carried, .. } = recording.header.clone();
        Replay {
            watch: W::begin(settings, carried),
            inputs: 0,
            compared: 0,
            at: EngineTime(0),
            awaited: None,
            first: None,
            differences: 0,
        }
    }

    /// Takes every record; says what made it senseless to go on.
    fn run(&mut self, recording: &Recording<'_>) -> Option<Outcome> {
        // A torn input was never stepped. A torn output is compared all the same: it may be a flipped bit.
        let whole = |record: &&Record<'_>| record.offset < recording.valid_len || record.kind == Kind::Output;
        let broken = recording.records.iter().filter(whole).find_map(|record| self.take(record).err());
        if broken.is_none() && recording.ended {
            self.settle();
        }
        broken
    }

    /// Takes the next record.
    ///
    /// # Errors
    /// What makes it senseless to go on.
    fn take(&mut self, record: &Record<'_>) -> Result<(), Outcome> {
        match record.kind {
            Kind::Input => self.step(record),
            Kind::Output => {
                self.hold_against(record);
                Ok(())
            }
            Kind::Header | Kind::Link | Kind::End | Kind::Truth => Ok(()),
        }
    }

    fn step(&mut self, record: &Record<'_>) -> Result<(), Outcome> {
        self.settle();
        let number = self.inputs + 1;
        let unreadable = |why: String| Outcome::InputUnreadable { number, why };
        if record.number != number {
            return Err(unreadable(format!("it is missing; input {} follows", record.number)));
        }
        if !record.intact {
            return Err(unreadable("its checksum does not fit".to_owned()));
        }
        let input: Input = form::decode(record.body).map_err(unreadable)?;
        let step = catch_unwind(AssertUnwindSafe(|| self.watch.step(&input)));
        let output = step.map_err(|_| Outcome::Failed { number })?;
        self.inputs = number;
        self.at = input.at;
        self.awaited = output.frame.filter(|_| output.keep);
        Ok(())
    }

    /// Before the next input and at the end: an output that is still awaited is not on record.
    fn settle(&mut self) {
        if self.awaited.take().is_some() {
            self.differ(self.inputs, true, DifferenceKind::NotStored);
        }
    }

    fn hold_against(&mut self, record: &Record<'_>) {
        self.compared += 1;
        let awaited = if record.number == self.inputs { self.awaited.take() } else { None };
        let Some(frame) = awaited else {
            return self.differ(record.number, record.intact, DifferenceKind::NotReplayed);
        };
        if form::encode(&*frame) != record.body {
            self.differ(record.number, record.intact, field_that_differs(record.body, &frame));
        } else if !record.intact {
            self.differ(record.number, false, DifferenceKind::ChecksumOnly);
        }
    }

    fn differ(&mut self, number: u64, checksum_fits: bool, what: DifferenceKind) {
        self.differences += 1;
        let at = self.at;
        self.first.get_or_insert_with(|| Box::new(Difference { number, at, checksum_fits, what }));
    }

    fn outcome(&mut self, broken: Option<Outcome>, recording: &Recording<'_>) -> Outcome {
        if let Some(first) = self.first.take() {
            Outcome::Different { first, count: self.differences }
        } else if let Some(broken) = broken {
            broken
        } else if !recording.damage.is_empty() {
            Outcome::Damaged
        } else if self.compared == 0 {
            Outcome::NothingCompared
        } else {
            Outcome::Same
        }
    }
}

/// The first field in which stored bytes differ from a frame.
fn field_that_differs(stored: &[u8], replayed: &Frame) -> DifferenceKind {
    let bytes = form::encode(replayed);
    let first = stored.iter().zip(&bytes).position(|(a, b)| a != b).unwrap_or(stored.len().min(bytes.len()));
    let expected = leaves(&replayed.to_form());
    // The bytes before are the same, so that the stored frame's leaves are the same up to this one.
    let Some((i, leaf)) = expected.iter().enumerate().find(|(_, leaf)| first < leaf.start + leaf.len) else {
        let more = format!("{} bytes more", stored.len().saturating_sub(bytes.len()));
        return DifferenceKind::Field {
            path: "(behind the last field)".into(),
            stored: more,
            replayed: "nothing".into(),
        };
    };
    let read = form::decode::<Frame>(stored).ok().and_then(|frame| leaves(&frame.to_form()).into_iter().nth(i));
    let stored = match read {
        Some(Leaf { path, text, .. }) if path == leaf.path && text != leaf.text => text,
        _ => {
            let raw = &stored[leaf.start.min(stored.len())..(leaf.start + leaf.len).min(stored.len())];
            format!("unreadable (bytes {} instead of {})", hex(raw), hex(&bytes[leaf.start..leaf.start + leaf.len]))
        }
    };
    DifferenceKind::Field { path: leaf.path.clone(), stored, replayed: leaf.text.clone() }
}

impl Comparison {
    /// The replay gave bit for bit what is on record, and there was something to compare.
    #[must_use]
    pub fn is_same(&self) -> bool {
        self.outcome == Outcome::Same
    }
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "step {} at {}: ", self.number, seconds(self.at))?;
        match &self.what {
            DifferenceKind::Field { path, stored, replayed } => {
                write!(f, "{path}: on record {stored}, replayed {replayed}")?;
            }
            DifferenceKind::NotStored => f.write_str("the replay gives an output that is not on record")?,
            DifferenceKind::NotReplayed => f.write_str("an output is on record that the replay does not give")?,
            DifferenceKind::ChecksumOnly => f.write_str("the output on record is the same")?,
        }
        if !self.checksum_fits {
            f.write_str("; its checksum does not fit: it was changed after it was written")?;
        }
        Ok(())
    }
}

impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.outcome {
            Outcome::Same => f.write_str("bit for bit the same")?,
            Outcome::Different { first, count } => write!(f, "different in {count} outputs; the first: {first}")?,
            Outcome::Damaged => f.write_str("every output that can be read is the same, but the file is damaged")?,
            Outcome::NothingCompared => f.write_str("nothing compared: the recording holds no output")?,
            Outcome::OtherProgram { program_version, numerics_version } => write!(
                f,
                "other program: recorded by brimwatch {program_version} (numerics {numerics_version}), this is \
                 {PROGRAM_VERSION} (numerics {NUMERICS_VERSION}); only that program computes the same bits"
            )?,
            Outcome::InputUnreadable { number, why } => {
                write!(f, "input {number} cannot be read: {why}; nothing behind it can be replayed")?;
            }
            Outcome::Failed { number } => {
                write!(f, "the engine failed at input {number}: a fault of brimwatch's own, please report it")?;
            }
        }
        write!(f, "\n{} inputs replayed, {} outputs compared", self.inputs, self.compared)?;
        if !self.ended {
            f.write_str("; the recording was not ended")?;
        }
        for damage in &self.damage {
            write!(f, "\n{damage}")?;
        }
        self.torn.iter().try_for_each(|torn| write!(f, "\n{torn}"))
    }
}

/// Engine time as people read it: all nine decimals, so that no two times look alike.
pub(super) fn seconds(at: EngineTime) -> String {
    format!("{}.{:09} s", at.0 / SECOND_NS, at.0 % SECOND_NS)
}
