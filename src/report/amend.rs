//! What is added to a delivery after it was closed: corrections, weighings that came later, remarks. An amendment changes
//! nothing that was written. Amendments stand in a file beside the delivery's first recording, one JSON object a line,
//! each chained to the one before it:
//!
//!   link = blake3(link before, or nothing for the first || the object without its link)
//!
//! and each names the recording's last link at that time, so that it belongs to this delivery and no other.

use super::account::Moment;
use crate::time::WallTime;
use serde::{Deserialize, Serialize};
use std::fs::{File, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

/// Ending of the file's name in place of the recording's.
const ENDING: &str = "amendments";
/// Longest name or text, letters.
const TEXT_MOST: usize = 2_000;
/// Longest file that is read, bytes: hundreds of the longest amendments.
const FILE_MOST_BYTES: u64 = 4 << 20;

/// One amendment.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Amendment {
    /// From 1.
    pub number: u64,
    /// When it was added.
    pub at: Moment,
    /// By whom.
    pub who: String,
    /// Why.
    pub reason: String,
    /// What is added.
    pub text: String,
    /// The last link of the delivery's recordings then, in hexadecimal.
    pub chain_head: String,
    /// What ties it to the amendment before it, in hexadecimal.
    pub link: String,
}

/// Why an amendment is not taken, or why those that are there cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum AmendError {
    /// A text that is missing or too long.
    #[error("{what} has {letters} letters; 1 to {TEXT_MOST} are taken")]
    Text {
        /// Which.
        what: &'static str,
        /// How many it has.
        letters: usize,
    },
    /// It is still being recorded.
    #[error(
        "{}: the delivery is still being recorded; enter it on the page, and amend it once it is closed", .0.display()
    )]
    Running(PathBuf),
    /// The file does not hold what was written into it.
    #[error(
        "{}: line {line}: {why}; the amendments were changed after they were written. Nothing is added to them: find the \
         file as it was", path.display()
    )]
    Altered {
        /// The file.
        path: PathBuf,
        /// From 1.
        line: usize,
        /// What does not hold.
        why: &'static str,
    },
    /// The file system refuses.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What it says.
        source: io::Error,
    },
}

/// Where the amendments of the delivery stand whose first recording this is.
#[must_use]
pub fn file(first_recording: &Path) -> PathBuf {
    first_recording.with_extension(ENDING)
}

impl Amendment {
    /// The link that its content and the one before it give.
    fn linked(&self, before: &str) -> String {
        let bare = Amendment { link: String::new(), ..self.clone() };
        let content = serde_json::to_string(&bare).unwrap_or_default();
        let mut hasher = blake3::Hasher::new();
        hasher.update(before.as_bytes()).update(content.as_bytes());
        hasher.finalize().to_hex().to_string()
    }
}

/// All amendments beside a delivery's first recording; none where there is no file.
///
/// # Errors
/// When the file cannot be read, or does not hold what was written into it.
pub fn read(first_recording: &Path) -> Result<Vec<Amendment>, AmendError> {
    let path = file(first_recording);
    match File::open(&path) {
        Ok(mut file) => read_from(&path, &mut file),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        Err(source) => Err(AmendError::Io { path, source }),
    }
}

fn read_from(path: &Path, file: &mut File) -> Result<Vec<Amendment>, AmendError> {
    let mut bytes = Vec::new();
    let read = file.take(FILE_MOST_BYTES + 1).read_to_end(&mut bytes);
    read.map_err(|source| AmendError::Io { path: path.to_owned(), source })?;
    let altered = |line, why| AmendError::Altered { path: path.to_owned(), line, why };
    let mut found: Vec<Amendment> = Vec::new();
    let lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
    for (at, line) in (1..).zip(lines) {
        let whole = line.strip_suffix(b"\n").and_then(|line| serde_json::from_slice::<Amendment>(line).ok());
        let amendment = whole.ok_or_else(|| altered(at, "it is no amendment"))?;
        let before = found.last().map_or("", |last| last.link.as_str());
        if amendment.number != at as u64 || amendment.link != amendment.linked(before) {
            return Err(altered(at, "its link does not fit"));
        }
        found.push(amendment);
    }
    Ok(found)
}

/// Adds one; nothing that is there is changed. Gives it as it was written; it is on the disk then.
///
/// # Errors
/// When a text is missing or too long, or the amendments there cannot be read or written.
pub fn add(
    first_recording: &Path,
    chain_head: &str,
    (who, reason, text): (&str, &str, &str),
    now: WallTime,
) -> Result<Amendment, AmendError> {
    for (what, given) in [("the name (--who)", who), ("the reason (--reason)", reason), ("the text (--text)", text)] {
        let letters = given.trim().chars().count();
        if letters == 0 || letters > TEXT_MOST {
            return Err(AmendError::Text { what, letters });
        }
    }
    let path = file(first_recording);
    let io = |source| AmendError::Io { path: path.clone(), source };
    let mut file = OpenOptions::new().read(true).append(true).create(true).open(&path).map_err(io)?;
    // Two at once would both chain to the same one.
    file.lock().map_err(io)?;
    let there = read_from(&path, &mut file)?;
    let mut amendment = Amendment {
        number: there.len() as u64 + 1,
        at: now.into(),
        who: who.trim().to_owned(),
        reason: reason.trim().to_owned(),
        text: text.trim().to_owned(),
        chain_head: chain_head.to_owned(),
        link: String::new(),
    };
    amendment.link = amendment.linked(there.last().map_or("", |last| last.link.as_str()));
    let line = serde_json::to_string(&amendment).map_err(io::Error::from).map_err(io)? + "\n";
    file.write_all(line.as_bytes()).and_then(|()| file.sync_data()).map_err(io)?;
    Ok(amendment)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXTS: (&str, &str, &str) = ("A. Weir", "weighed again", "net 20 040 kg");

    #[test]
    fn what_is_added_stands_behind_what_is_there() {
        let folder = tempfile::tempdir().expect("a folder");
        let recording = folder.path().join("x.brim");
        assert_eq!(read(&recording).expect("none"), []);
        let first = add(&recording, "00ff", TEXTS, WallTime(5)).expect("a disk");
        let bytes = std::fs::read(file(&recording)).expect("a file");
        let second = add(&recording, "00ff", TEXTS, WallTime(6)).expect("a disk");
        assert!(std::fs::read(file(&recording)).expect("a file").starts_with(&bytes));
        assert_ne!(first.link, second.link);
        assert_eq!(read(&recording).expect("two"), [first, second]);
        for (texts, says) in [((" ", "x", "y"), "--who"), (("x", "y", ""), "--text")] {
            let refused = add(&recording, "00ff", texts, WallTime(7)).expect_err("a missing text");
            assert!(refused.to_string().contains(says), "{refused}");
        }
    }

    /// A changed letter, a line taken out, lines in another order: each is found, and nothing is added to them.
    #[test]
    fn a_changed_amendment_is_found() {
        let folder = tempfile::tempdir().expect("a folder");
        let recording = folder.path().join("x.brim");
        for at in 0..3 {
            add(&recording, "00ff", TEXTS, WallTime(at)).expect("a disk");
        }
        let text = std::fs::read_to_string(file(&recording)).expect("a file");
        let lines: Vec<&str> = text.split_inclusive('\n').collect();
        let changed = [
            text.replacen("20 040", "20 400", 1),
            lines[1..].concat(),
            [lines[0], lines[2], lines[1]].concat(),
            text[..text.len() - 1].to_owned(),
        ];
        for changed in changed {
            std::fs::write(file(&recording), &changed).expect("a disk");
            for tried in [read(&recording).map(drop), add(&recording, "00ff", TEXTS, WallTime(9)).map(drop)] {
                assert!(matches!(tried, Err(AmendError::Altered { .. })), "{tried:?}");
            }
            assert_eq!(std::fs::read_to_string(file(&recording)).expect("a file"), changed);
        }
    }
}
