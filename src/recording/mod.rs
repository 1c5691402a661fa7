//! What happened, on disk, so that it can be held against a replay: every input in its order, the outputs that
//! were shown, and what the segment started from.
//!
//! [`mod@format`] says how it lies there, [`reader`] walks it whatever state it is in, [`writer`] makes it without
//! ever holding up the watch, [`mod@import`] makes one of a plant's recorded history ([`origin`] says of which), [`resume`] builds a monitor from it, [`compare`] replays it bit for bit, and
//! [`json`], [`dump`] and `export` show it; [`stream`] goes through it in bounded memory. [`truth`] is what a drill knows besides.

mod form;

pub mod compare;
pub mod dump;
#[cfg(feature = "live")]
pub mod export;
pub mod format;
#[cfg(feature = "live")]
pub mod import;
pub mod json;
mod leaves;
pub mod origin;
pub mod reader;
pub mod resume;
pub mod stream;
mod summary;
pub mod truth;
#[cfg(feature = "live")]
pub mod writer;

use crate::engine::Monitor;
use crate::engine::frame::{Frame, Output};
use crate::engine::input::{Carried, Input};
use crate::engine::settings::Settings;
use format::{FORMAT, FormatVersion, OLDEST_READ};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

/// Ending of a recording's name.
pub const ENDING: &str = "brim";
/// Most bytes that wait for the disk, per bay: hours at today's polling.
pub const WAITING_MOST_BYTES: usize = 32 << 20;
/// A recording that grew within this time is being written: a watch writes every second.
const GROWS_WITHIN: Duration = Duration::from_secs(60);

/// A delivery's number as it ends the names of its recordings.
#[must_use]
pub fn fit_for_a_name(delivery: &str) -> String {
    delivery.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).take(40).collect()
}

/// Whether a recording is being written now, by its file's last change.
#[must_use]
pub fn is_growing(path: &Path) -> bool {
    let changed = std::fs::metadata(path).and_then(|file| file.modified()).ok();
    let ago = changed.and_then(|at| SystemTime::now().duration_since(at).ok());
    ago.is_some_and(|ago| ago < GROWS_WITHIN)
}

/// Bytes of a link: its head and a hash of 32 bytes.
pub const LINK_BYTES: f64 = (format::HEAD_LEN + 32) as f64;
/// Flushes, and so links, a second while there is something to write.
pub const LINKS_PER_S: f64 = 2.0;

/// Bytes that an input takes in a recording.
#[must_use]
pub fn input_bytes(input: &Input) -> usize {
    format::HEAD_LEN + form::encode(input).len()
}

/// Bytes that an output takes in a recording.
#[must_use]
pub fn output_bytes(frame: &Frame) -> usize {
    format::HEAD_LEN + form::encode(frame).len()
}

/// What a recording can be replayed through: the monitor, or in tests something smaller.
pub trait Watch {
    /// Begins a segment.
    fn begin(settings: Settings, carried: Carried) -> Self;
    /// Takes one input.
    fn step(&mut self, input: &Input) -> Output;
}

impl Watch for Monitor {
    fn begin(settings: Settings, carried: Carried) -> Self {
        Monitor::new(settings, carried)
    }

    fn step(&mut self, input: &Input) -> Output {
        Monitor::step(self, input)
    }
}

/// Why a file cannot be used as a recording.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// The file system refuses.
    #[error("{}: cannot be read: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the file system says.
        source: std::io::Error,
    },
    /// Larger than any recording.
    #[error("{}: {bytes} bytes; a recording has at most {limit} bytes, so this is none of brimwatch's", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its length, bytes.
        bytes: u64,
        /// Longest that is read, bytes.
        limit: u64,
    },
    /// Something else.
    #[error(
        "{}: is not a recording of brimwatch: it should begin with the bytes {} but begins with {found}; \
         give a file from the store that the site file names", path.display(), hex(&format::MAGIC)
    )]
    Foreign {
        /// The file.
        path: PathBuf,
        /// What stands at its beginning.
        found: String,
    },
    /// A recording whose first record cannot be read. Without it no other can be understood.
    #[error("{}: the first record, which says what the recording starts from, cannot be read: {why}", path.display())]
    Header {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// Written by a later program in a way this one does not know.
    #[error(
        "{}: written in format {written} by brimwatch {program}; it can be read by a program of format \
         {readable_since} or later, and this one (brimwatch {}) has format {FORMAT}: use brimwatch {program} or later",
        path.display(), format::PROGRAM_VERSION
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its format.
        written: FormatVersion,
        /// The oldest format whose programs read it.
        readable_since: FormatVersion,
        /// The program that wrote it.
        program: String,
    },
    /// Written by an earlier program in a way this one no longer knows.
    #[error(
        "{}: written in format {written} by brimwatch {program}; this one (brimwatch {}) reads formats {OLDEST_READ} \
         to {FORMAT}: use brimwatch {program}", path.display(), format::PROGRAM_VERSION
    )]
    Older {
        /// The file.
        path: PathBuf,
        /// Its format.
        written: FormatVersion,
        /// The program that wrote it.
        program: String,
    },
    /// What is written out cannot be taken by whoever should take it.
    #[error("cannot write what the recording holds: {0}")]
    Out(std::io::Error),
}

/// Bytes in hexadecimal, at most 16 of them.
fn hex(bytes: &[u8]) -> String {
    let shown: Vec<String> = bytes.iter().take(16).map(|byte| format!("{byte:02x}")).collect();
    shown.join(" ") + if bytes.len() > 16 { " .." } else { "" }
}
