//! What was read before, in one file beside the recordings, so that a long list is soon there the next time.
//!
//! The recordings alone are the truth; the index can be deleted at any time. It counts for a recording as long as that has
//! the length and the last link it had. A first line of another program, or a line whose checksum does not fit, counts for
//! nothing: what it was about is read again.
//!
//! ```text
//! brimwatch ledger index 1, program VERSION, numerics N
//! CHECKSUM JSON            crc32 (IEEE 802.3) of the JSON in hexadecimal, one line for each delivery
//! ```

use super::row::Row;
use crate::engine::NUMERICS_VERSION;
use crate::files;
use crate::recording::format::PROGRAM_VERSION;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Its name in the folder of the recordings.
pub const NAME: &str = "ledger.index";
/// For the account's group to read, as the recordings are; less what the umask takes away.
const MODE: u32 = 0o644;

/// A recording as it was.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Known {
    /// Path from the folder of the index.
    pub file: String,
    /// Its length, bytes.
    pub bytes: u64,
    /// Its last link, in hexadecimal.
    pub head: String,
    /// It goes on with a delivery that the one before it began.
    pub continues: bool,
}

/// What recordings held.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Found {
    /// A delivery.
    Delivery(Box<Row>),
    /// None: an idle day.
    Nothing,
    /// It is no recording, or one that cannot be read: why.
    NotTaken(String),
}

/// Recordings of one delivery, in their order, and what they held.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Line {
    pub recordings: Vec<Known>,
    pub found: Found,
}

/// The index of one folder; by default of none, in memory only.
#[derive(Debug, Default)]
pub(super) struct Index {
    path: PathBuf,
    /// By the first recording.
    lines: BTreeMap<String, Line>,
    changed: bool,
}

fn first_line() -> String {
    format!("brimwatch ledger index 1, program {PROGRAM_VERSION}, numerics {NUMERICS_VERSION}")
}

impl Index {
    /// What the folder's index still says; nothing where it is missing, another program's, or damaged.
    pub fn open(folder: &Path) -> Index {
        let path = folder.join(NAME);
        let bytes = fs::read(&path).unwrap_or_default();
        let mut lines = bytes.split(|byte| *byte == b'\n');
        let mut index = Index { path, ..Index::default() };
        if lines.next() == Some(first_line().as_bytes()) {
            let known = lines.filter_map(line);
            index.lines = known.filter_map(|line| Some((line.recordings.first()?.file.clone(), line))).collect();
        }
        index
    }

    /// Whether a recording goes on with the one before it, as far as that is known of one of this length and last link.
    pub fn continues(&self, file: &str, bytes: u64, head: &str) -> Option<bool> {
        let of_its_own = self.lines.get(file).into_iter();
        let known = of_its_own.chain(self.lines.range(..file.to_owned()).next_back().map(|(_, line)| line));
        let mut recordings = known.flat_map(|line| &line.recordings);
        recordings.find(|known| known.file == file && known.bytes == bytes && known.head == head).map(|k| k.continues)
    }

    /// What these recordings held, if they are what they were.
    pub fn get(&self, recordings: &[Known]) -> Option<&Found> {
        let line = self.lines.get(&recordings.first()?.file)?;
        (line.recordings == recordings).then_some(&line.found)
    }

    /// Keeps what they hold.
    pub fn put(&mut self, line: Line) {
        if let Some(first) = line.recordings.first() {
            self.lines.insert(first.file.clone(), line);
            self.changed = true;
        }
    }

    /// Forgets whatever is of none of these recordings.
    pub fn keep(&mut self, is_there: impl Fn(&str) -> bool) {
        let before = self.lines.len();
        self.lines.retain(|first, _| is_there(first));
        self.changed |= self.lines.len() != before;
    }

    /// Writes it, where it says anything new.
    pub fn save(&mut self) -> io::Result<()> {
        if !self.changed || self.path.as_os_str().is_empty() {
            return Ok(());
        }
        let mut text = first_line() + "\n";
        for line in self.lines.values() {
            let json = serde_json::to_string(line)?;
            let _ = writeln!(text, "{:08x} {json}", crc32fast::hash(json.as_bytes()));
        }
        files::replace(&self.path, text.as_bytes(), MODE)?;
        self.changed = false;
        Ok(())
    }
}

/// A line whose checksum fits.
fn line(bytes: &[u8]) -> Option<Line> {
    let (checksum, json) = bytes.split_at_checked(9)?;
    let checksum = std::str::from_utf8(checksum).ok()?.strip_suffix(' ')?;
    let fits = u32::from_str_radix(checksum, 16).ok()? == crc32fast::hash(json);
    fits.then(|| serde_json::from_slice(json).ok()).flatten()
}
