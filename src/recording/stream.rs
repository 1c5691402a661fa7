//! Reads a recording front to back in bounded memory, however long it is: one record at a time.
//!
//! For whoever goes through many recordings (`tune`, `export`). It takes what stands before the first damage and says
//! where it stopped; [`super::reader`] looks behind damage, and holds the whole file to do so.

use super::RecordingError;
use super::format::{self, FormatVersion, HEAD_LEN, Header, Kind, LinkPoint, Record};
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

/// A recording that is whole, as far as it was looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Whole {
    /// Its last link.
    pub link: LinkPoint,
    /// It was ended on purpose.
    pub ended: bool,
}

/// Holds every record's checksum and the chain of links in a recording's first `upto` bytes. `None`: something does not fit
/// or the end is torn, and [`super::reader`] says what and where.
///
/// # Errors
/// As [`open`].
pub fn whole(path: &Path, upto: u64) -> Result<Option<Whole>, RecordingError> {
    let file = File::open(path).map_err(|source| RecordingError::Io { path: path.to_owned(), source })?;
    let mut stream = Stream::new(path, BufReader::with_capacity(BUFFER_BYTES, file.take(upto)))?;
    let mut whole = Whole { link: LinkPoint::default(), ended: false };
    let mut hasher = whole.link.begin();
    hasher.update(&stream.record);
    while let Some(record) = stream.next_record()? {
        let hash = (record.kind == Kind::Link).then(|| <[u8; 32]>::try_from(record.body).unwrap_or_default());
        whole.ended |= record.kind == Kind::End;
        match hash {
            Some(hash) if *hasher.finalize().as_bytes() != hash => return Ok(None),
            Some(hash) => {
                whole.link = LinkPoint { hash, end: usize::try_from(stream.read).unwrap_or(usize::MAX) };
                hasher = whole.link.begin();
            }
            None => drop(hasher.update(&stream.record)),
        }
    }
    Ok(stream.stopped.is_none().then_some(whole))
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

#[cfg(test)]
mod tests {
    use super::*;

    /// The same as the reader that holds the whole file, whole or cut or with a byte changed anywhere.
    #[test]
    fn a_whole_recording_has_the_readers_link_and_any_other_is_left_to_it() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/format-1.0.rec");
        let bytes = std::fs::read(&path).expect("a recording");
        let read = reader::walk(&path, &bytes).expect("a recording");
        let (link, ended) = (read.link, read.ended);
        assert_eq!(whole(&path, u64::MAX).expect("a file"), Some(Whole { link, ended }));
        let folder = tempfile::tempdir().expect("a folder");
        let other = folder.path().join("other.brim");
        let first = read.records[0].end();
        for at in (first..link.end).step_by(link.end / 97) {
            let mut changed = bytes.clone();
            changed[at] ^= 0x10;
            std::fs::write(&other, &changed).expect("a disk");
            assert_eq!(whole(&other, u64::MAX).expect("a file"), None, "byte {at}");
            let cut = whole(&path, at as u64).expect("a file");
            let read = reader::walk(&path, &bytes[..at]).expect("a recording");
            let sound = read.torn.is_none() && read.damage.is_empty();
            assert_eq!(cut, sound.then_some(Whole { link: read.link, ended: read.ended }), "cut at {at}");
        }
    }
}
