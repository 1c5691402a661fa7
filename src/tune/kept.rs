//! What a run has found so far, on disk: one JSON object a line, written as soon as a recording is done.
//!
//! The first line says of which choices it is; under others the file is begun anew. A line counts for as long as its
//! recording has the length and the time of change that it had.

use super::Plan;
use super::pass::Found;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufRead, BufReader, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

/// Its name in the folder of the results.
const NAME: &str = "progress.jsonl";

#[derive(Debug, Serialize, Deserialize, PartialEq)]
struct First {
    program_version: String,
    numerics_version: u32,
    choices: Vec<String>,
}

#[derive(Debug, Serialize, Deserialize)]
struct Line {
    recording: PathBuf,
    bytes: u64,
    modified_unix_ns: u128,
    found: Result<Found, String>,
}

/// The progress file: in memory only where each recording's line stands.
#[derive(Debug)]
pub(super) struct Kept {
    file: File,
    lines: BTreeMap<PathBuf, (u64, usize)>,
    out: Vec<u8>,
    end: u64,
}

/// Length and time of change, for telling whether a recording is what it was.
fn state(path: &Path) -> io::Result<(u64, u128)> {
    let meta = fs::metadata(path)?;
    let modified = meta.modified()?.duration_since(UNIX_EPOCH).map_or(0, |since| since.as_nanos());
    Ok((meta.len(), modified))
}

impl Kept {
    /// Opens or begins the file of this plan.
    pub fn open(plan: &Plan<'_>) -> io::Result<Kept> {
        let path = plan.out.join(NAME);
        let file = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path)?;
        let first = First {
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            numerics_version: crate::engine::NUMERICS_VERSION,
            choices: plan.choices.iter().map(super::Choice::fingerprint).collect(),
        };
        let mut kept = Kept { file, lines: BTreeMap::new(), out: Vec::new(), end: 0 };
        kept.read(&first)?;
        kept.file.set_len(kept.end)?;
        if kept.end == 0 {
            kept.write_line(&first)?;
        }
        Ok(kept)
    }

    /// Takes every whole line of a file of the same choices.
    fn read(&mut self, first: &First) -> io::Result<()> {
        self.file.seek(SeekFrom::Start(0))?;
        let mut reader = BufReader::new(&self.file);
        let (mut text, mut at, mut lines) = (Vec::new(), 0, BTreeMap::new());
        loop {
            text.clear();
            let bytes = reader.read_until(b'\n', &mut text)?;
            if bytes == 0 || text.last() != Some(&b'\n') {
                break;
            }
            if at == 0 {
                if serde_json::from_slice::<First>(&text).ok().as_ref() != Some(first) {
                    break;
                }
            } else {
                let Ok(line) = serde_json::from_slice::<Line>(&text) else { break };
                if state(&line.recording).ok() == Some((line.bytes, line.modified_unix_ns)) {
                    lines.insert(line.recording, (at, bytes));
                }
            }
            at += bytes as u64;
        }
        self.lines = lines;
        self.end = at;
        Ok(())
    }

    fn write_line(&mut self, line: &impl Serialize) -> io::Result<(u64, usize)> {
        self.out.clear();
        serde_json::to_writer(&mut self.out, line)?;
        self.out.push(b'\n');
        self.file.seek(SeekFrom::Start(self.end))?;
        let mut out = BufWriter::new(&self.file);
        out.write_all(&self.out)?;
        out.flush()?;
        let place = (self.end, self.out.len());
        self.end += self.out.len() as u64;
        Ok(place)
    }

    /// Whether this recording is done.
    pub fn has(&self, path: &Path) -> bool {
        self.lines.contains_key(path)
    }

    /// Keeps what a recording gave.
    pub fn put(&mut self, path: &Path, found: &Result<Found, String>) -> io::Result<()> {
        let (bytes, modified_unix_ns) = state(path).unwrap_or_default();
        let line = Line { recording: path.to_owned(), bytes, modified_unix_ns, found: found.clone() };
        let place = self.write_line(&line)?;
        self.lines.insert(path.to_owned(), place);
        Ok(())
    }

    /// Everything is on the disk.
    pub fn end(&mut self) -> io::Result<()> {
        self.file.sync_data()
    }

    /// What a recording gave.
    pub fn get(&self, path: &Path) -> io::Result<Result<Found, String>> {
        let Some((at, len)) = self.lines.get(path) else { return Ok(Err("it was not reached".to_owned())) };
        let mut file = &self.file;
        file.seek(SeekFrom::Start(*at))?;
        let mut text = vec![0; *len];
        file.read_exact(&mut text)?;
        Ok(serde_json::from_slice::<Line>(&text)?.found)
    }
}
