//! Reads a recording front to back in bounded memory, however long it is: one record at a time.
//!
//! For whoever goes through many recordings (`tune`, `export`). It takes what stands before the first damage and says
//! where it stopped; [`super::reader`] looks behind damage, and holds the whole file to do so.

use super::RecordingError;
use super::format::{self, FormatVersion, HEAD_LEN, Header, Record};
use super::reader;
use std::fmt;
use std::fs::File;
use std::io::{BufReader, ErrorKind, Read};
use std::path::{Path, PathBuf};

/// Bytes read at a time.
const BUFFER_BYTES: usize = 1 << 16;

/// Where reading stopped before the file's end, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stopped {
    /// Bytes from the start of the file.
    pub from: u64,
    /// What is wrong there.
    pub why: &'static str,
}

impl fmt::Display for Stopped {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "nothing from byte {} on was taken: {}", self.from, self.why)
    }
}

/// A recording that is being read.
#[derive(Debug)]
pub struct Stream<R> {
    path: PathBuf,
    source: R,
    record: Vec<u8>,
    read: u64,
    format: FormatVersion,
    header: Header,
    stopped: Option<Stopped>,
}

/// Opens a recording.
///
/// # Errors
/// When the file system refuses, or when it is no recording or one that this program cannot read.
pub fn open(path: &Path) -> Result<Stream<BufReader<File>>, RecordingError> {
    let file = File::open(path).map_err(|source| RecordingError::Io { path: path.to_owned(), source })?;
    Stream::new(path, BufReader::with_capacity(BUFFER_BYTES, file))
}

impl<R: Read> Stream<R> {
    /// Begins to read; `path` is for messages.
    ///
    /// # Errors
    /// As [`open`].
    pub fn new(path: &Path, mut source: R) -> Result<Stream<R>, RecordingError> {
        let mut record = Vec::new();
        take(&mut source, &mut record).map_err(|source| RecordingError::Io { path: path.to_owned(), source })?;
        let (format, header) = reader::first_record(path, &record)?;
        let read = record.len() as u64;
        Ok(Stream { path: path.to_owned(), source, record, read, format, header, stopped: None })
    }

    /// The format it is written in.
    #[must_use]
    pub fn format(&self) -> FormatVersion {
        self.format
    }

    /// What it starts from.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// Bytes read so far.
    #[must_use]
    pub fn read_bytes(&self) -> u64 {
        self.read
    }

    /// The next record, intact; `None` at the end, and where damage begins. Its `offset` is 0.
    ///
    /// # Errors
    /// When the file system refuses.
    pub fn next_record(&mut self) -> Result<Option<Record<'_>>, RecordingError> {
        if self.stopped.is_some() {
            return Ok(None);
        }
        let io = |source| RecordingError::Io { path: self.path.clone(), source };
        take(&mut self.source, &mut self.record).map_err(io)?;
        if self.record.is_empty() {
            return Ok(None);
        }
        let why = match format::record_at(&self.record, 0) {
            Ok(record) if record.intact => {
                self.read += record.end() as u64;
                // Asked again: the borrow of a record that is given away would last for the other arms too.
                return Ok(format::record_at(&self.record, 0).ok());
            }
            Ok(_) => "a checksum does not fit",
            Err(why) => why,
        };
        self.stopped = Some(Stopped { from: self.read, why });
        Ok(None)
    }

    /// Where it stopped, if it did before the end.
    #[must_use]
    pub fn stopped(&self) -> Option<&Stopped> {
        self.stopped.as_ref()
    }
}

/// The next record's bytes as far as they are there; nothing at the end. No length is believed beyond the format's own.
fn take(source: &mut impl Read, record: &mut Vec<u8>) -> std::io::Result<()> {
    record.clear();
    fill(source, record, HEAD_LEN)?;
    if record.len() == HEAD_LEN && record[..4] == format::MAGIC {
        let body = u32::from_le_bytes([record[4], record[5], record[6], record[7]]);
        let body = usize::try_from(body).unwrap_or(usize::MAX);
        if body <= format::BODY_MAX {
            fill(source, record, body)?;
        }
    }
    Ok(())
}

/// Up to so many bytes more; fewer at the end.
fn fill(source: &mut impl Read, record: &mut Vec<u8>, bytes: usize) -> std::io::Result<()> {
    let from = record.len();
    record.resize(from + bytes, 0);
    let mut filled = from;
    while filled < record.len() {
        match source.read(&mut record[filled..]) {
            Ok(0) => break,
            Ok(n) => filled += n,
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    record.truncate(filled);
    Ok(())
}
