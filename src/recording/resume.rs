//! Builds a monitor from a recording that was not ended, by replaying it: there are no checkpoints that could
//! say something else than the inputs do.

use super::format::{Header, Kind, LinkPoint, Record};
use super::reader::{self, Recording, Torn};
use super::{RecordingError, Watch, form};
use crate::engine::Monitor;
use crate::engine::frame::{Frame, Phase};
use crate::engine::input::Input;
use crate::time::EngineTime;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

/// Where a recording goes on.
#[derive(Debug, Clone, PartialEq)]
pub struct AppendPoint {
    /// What is kept of the file, bytes.
    pub valid_len: usize,
    /// Number of the next input.
    pub next_number: u64,
    /// The last link.
    pub link: LinkPoint,
    /// The last input's frame, where the program was stopped between taking the one and writing the other.
    pub missing_output: Option<Box<Frame>>,
    /// Inputs kept.
    pub inputs: u64,
    /// Outputs kept.
    pub outputs: u64,
}

/// What a recording gave back.
#[derive(Debug)]
pub struct Recovered<W = Monitor> {
    /// What it started from. When [`Header::is_of_this_program`] is false the segment must not be gone on
    /// with: its outputs would be held against another engine's.
    pub header: Header,
    /// The monitor after the last input, or, after a fault of our own, before the input at which it happened.
    pub monitor: W,
    /// Engine time of the last input on record; 0 when there is none.
    pub last_at: EngineTime,
    /// Where the recording goes on.
    pub point: AppendPoint,
    /// What will be cut off and kept aside.
    pub tail_cut: Option<Torn>,
    /// At this input's number the replay failed by a fault of our own; a new segment must begin.
    pub failed_at: Option<u64>,
    /// The segment was ended on purpose; a new one must begin.
    pub ended: bool,
}

impl Recovered {
    /// Whether a transfer was on.
    #[must_use]
    pub fn transfer_open(&self) -> bool {
        self.monitor.phase() == Phase::Transfer
    }

    /// Number or name of the delivery that is open: not yet closed.
    #[must_use]
    pub fn open_delivery(&self) -> Option<String> {
        let frame = self.monitor.frame();
        let open = matches!(frame.phase, Phase::Opened | Phase::Transfer);
        frame.delivery.filter(|_| open).map(|d| d.id)
    }
}

/// Replays a recording as far as it is whole.
///
/// # Errors
/// When the file is no recording or one that this program cannot read.
pub fn recover(path: &Path) -> Result<Recovered, RecordingError> {
    recover_with::<Monitor>(path, &reader::read(path)?)
}

/// Like [`recover`], from bytes and through any watch.
///
/// # Errors
/// As [`recover`].
pub fn recover_with<W: Watch>(path: &Path, bytes: &[u8]) -> Result<Recovered<W>, RecordingError> {
    let recording = reader::walk(path, bytes)?;
    let kept = Kept::of(&recording, bytes.len());
    let (replayed, failed_at) = replay::<W>(&recording.header, &kept.inputs);
    let Replayed { monitor, last_frame } = replayed;
    let stored_last = kept.last_output == Some(kept.inputs.len() as u64);
    Ok(Recovered {
        monitor,
        last_at: kept.inputs.last().map_or(EngineTime(0), |input| input.at),
        point: AppendPoint {
            valid_len: kept.valid_len,
            next_number: kept.inputs.len() as u64 + 1,
            link: kept.link,
            missing_output: last_frame.filter(|_| !stored_last && failed_at.is_none()),
            inputs: kept.inputs.len() as u64,
            outputs: kept.outputs,
        },
        tail_cut: kept.cut,
        failed_at,
        ended: kept.ended,
        header: recording.header,
    })
}

/// The part of a recording that has every input from the first on.
struct Kept {
    inputs: Vec<Input>,
    outputs: u64,
    last_output: Option<u64>,
    valid_len: usize,
    link: LinkPoint,
    ended: bool,
    cut: Option<Torn>,
}

impl Kept {
    /// Damage that took an input cuts the recording there: to go on behind a hole would make a state that no
    /// replay can reproduce. Damage to outputs and links alone takes nothing from the state.
    fn of(recording: &Recording<'_>, file_len: usize) -> Kept {
        let mut end = 0;
        let mut kept = Kept {
            inputs: Vec::new(),
            outputs: 0,
            last_output: None,
            valid_len: recording.valid_len,
            link: LinkPoint::default(),
            ended: false,
            cut: recording.torn.clone(),
        };
        for record in recording.records.iter().filter(|record| record.offset < recording.valid_len) {
            if let Err(why) = kept.add(record) {
                let cut = Torn { from: end, bytes: file_len - end, why };
                return Kept { valid_len: end, cut: Some(cut), ..kept };
            }
            end = record.end();
        }
        kept
    }

    fn add(&mut self, record: &Record<'_>) -> Result<(), String> {
        match record.kind {
            Kind::Input => {
                let expected = self.inputs.len() as u64 + 1;
                if record.number != expected {
                    return Err(format!("input {expected} is missing, {} follows", record.number));
                }
                if !record.intact {
                    return Err(format!("the checksum of input {expected} does not fit"));
                }
                let input: Input = form::decode(record.body).map_err(|why| format!("input {expected}: {why}"))?;
                if self.inputs.last().is_some_and(|last| input.at < last.at) {
                    return Err(format!("input {expected} is earlier than the one before"));
                }
                self.inputs.push(input);
            }
            Kind::Output => {
                self.outputs += 1;
                self.last_output = Some(record.number);
            }
            Kind::Link if record.intact => {
                let hash = record.body.try_into().map_err(|_| "a link has the wrong length".to_owned())?;
                self.link = LinkPoint { hash, end: record.end() };
            }
            Kind::End => self.ended = true,
            Kind::Link | Kind::Header | Kind::Truth => {}
        }
        Ok(())
    }
}

struct Replayed<W> {
    monitor: W,
    /// The frame of the last input, where it belongs in the recording.
    last_frame: Option<Box<Frame>>,
}

/// Steps every input; after a panic once more, up to the input before it.
fn replay<W: Watch>(header: &Header, inputs: &[Input]) -> (Replayed<W>, Option<u64>) {
    let mut stepped = 0;
    let run = |inputs: &[Input], stepped: &mut usize| {
        let mut replayed =
            Replayed { monitor: W::begin(header.settings.clone(), header.carried.clone()), last_frame: None };
        for input in inputs {
            let output = replayed.monitor.step(input);
            replayed.last_frame = output.frame.filter(|_| output.keep);
            *stepped += 1;
        }
        replayed
    };
    match catch_unwind(AssertUnwindSafe(|| run(inputs, &mut stepped))) {
        Ok(replayed) => (replayed, None),
        Err(_) => {
            let failed_at = stepped as u64 + 1;
            (run(&inputs[..stepped], &mut 0), Some(failed_at))
        }
    }
}
