//! Walks a recording in whatever state it is: whole, torn at its end, damaged in the middle, or no recording.
//!
//! Nothing in here trusts a byte: every length is checked against what is there, and the worst a file can do
//! is to be described.

use super::format::{self, FormatVersion, Header, Kind, LinkPoint, Record};
use super::{RecordingError, form, hex};
use crate::engine::frame::Frame;
use crate::engine::input::Input;
use std::fmt;
use std::fs;
use std::io::{self, Read as _, Seek as _, SeekFrom};
use std::path::Path;

/// Longest file that is read, bytes. A day at ten times today's polling stays below 1 GB.
pub(super) const FILE_MAX: u64 = 4 << 30;

/// A recording, walked.
#[derive(Debug)]
pub struct Recording<'a> {
    /// Format it is written in.
    pub format: FormatVersion,
    /// What it starts from.
    pub header: Header,
    /// Every record that could be framed, in order; see [`Record::intact`].
    pub records: Vec<Record<'a>>,
    /// What is wrong with it before `valid_len`.
    pub damage: Vec<Damage>,
    /// Where its last intact record ends, bytes.
    pub valid_len: usize,
    /// What stands behind that.
    pub torn: Option<Torn>,
    /// Its last link.
    pub link: LinkPoint,
    /// It was ended on purpose.
    pub ended: bool,
}

/// Bytes at the end that are no whole record: the program was stopped while writing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Torn {
    /// Where they begin, bytes.
    pub from: usize,
    /// How many.
    pub bytes: usize,
    /// What is wrong with them.
    pub why: String,
}

impl fmt::Display for Torn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "torn tail: the last {} bytes, from byte {} on, are no whole record ({})",
            self.bytes, self.from, self.why
        )
    }
}

/// A stretch of the recording that is not as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    /// Where it begins, bytes.
    pub from: usize,
    /// Where it ends, bytes.
    pub to: usize,
    /// What is wrong with it.
    pub what: DamageKind,
}

/// What can be wrong with a stretch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DamageKind {
    /// No record can be made out.
    Unreadable(&'static str),
    /// One record's checksum does not fit.
    Checksum(Kind, u64),
    /// Every record is intact, but they are not those that the link was written for.
    Chain,
}

impl fmt::Display for DamageKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            DamageKind::Unreadable(why) => write!(f, "nothing readable: {why}"),
            DamageKind::Checksum(kind, number) => write!(f, "the checksum of {} {number} does not fit", kind.word()),
            DamageKind::Chain => f.write_str("records were changed, removed or added after they were written"),
        }
    }
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "damage from byte {} to {}: {}", self.from, self.to, self.what)
    }
}

/// The file's bytes.
///
/// # Errors
/// When the file system refuses or the file is beyond any recording's length.
pub fn read(path: &Path) -> Result<Vec<u8>, RecordingError> {
    let io = |source| RecordingError::Io { path: path.to_owned(), source };
    let bytes = fs::metadata(path).map_err(io)?.len();
    if bytes > FILE_MAX {
        return Err(RecordingError::TooLarge { path: path.to_owned(), bytes, limit: FILE_MAX });
    }
    fs::read(path).map_err(io)
}

/// Bytes at the end of a recording among which its last link is looked for. While it writes, one comes twice a second.
const LOOKED_AT_END: u64 = 1 << 16;

/// Length of a recording in bytes and, in hexadecimal, its last link: while both are the same, so is what it holds. Where
/// no link is near its end, a hash of that end stands for it.
///
/// # Errors
/// What the file system says.
pub fn head(path: &Path) -> io::Result<(u64, String)> {
    let mut file = fs::File::open(path)?;
    let bytes = file.metadata()?.len();
    file.seek(SeekFrom::Start(bytes.saturating_sub(LOOKED_AT_END)))?;
    let mut end = Vec::new();
    file.take(LOOKED_AT_END).read_to_end(&mut end)?;
    let starts = (0..end.len()).rev().filter(|&at| end[at..].starts_with(&format::MAGIC));
    let records = starts.filter_map(|at| format::record_at(&end, at).ok());
    let link = records.into_iter().find(|record| record.intact && record.kind == Kind::Link);
    let hash = link.map_or_else(|| blake3::hash(&end).as_bytes().to_vec(), |link| link.body.to_vec());
    Ok((bytes, hash.iter().map(|byte| format!("{byte:02x}")).collect()))
}

/// Walks a recording's bytes; `path` is for messages.
///
/// # Errors
/// When it is no recording, or one that this program cannot read. Damage and a torn tail are no errors.
pub fn walk<'a>(path: &Path, bytes: &'a [u8]) -> Result<Recording<'a>, RecordingError> {
    let (format, header) = first_record(path, bytes)?;
    let (mut records, mut damage) = (Vec::new(), Vec::new());
    let mut at = 0;
    while at < bytes.len() {
        let here = format::record_at(bytes, at);
        if let Ok(record) = here
            && record.intact
        {
            records.push(record);
            at = record.end();
            continue;
        }
        let next = format::next_intact(bytes, at);
        let to = next.map_or(bytes.len(), |record| record.offset);
        let what = match here {
            Ok(record) if record.end() == to => {
                records.push(record);
                DamageKind::Checksum(record.kind, record.number)
            }
            Ok(_) => DamageKind::Unreadable("no checksum fits"),
            Err(why) => DamageKind::Unreadable(why),
        };
        damage.push(Damage { from: at, to, what });
        at = to;
    }
    let valid_len = records.iter().rev().find(|record| record.intact).map_or(0, Record::end);
    let torn = torn_tail(&mut damage, valid_len, bytes.len());
    let link = follow_links(bytes, &records, &mut damage);
    let ended = records.iter().any(|record| record.intact && record.kind == Kind::End);
    Ok(Recording { format, header, records, damage, valid_len, torn, link, ended })
}

pub(super) fn first_record(path: &Path, bytes: &[u8]) -> Result<(FormatVersion, Header), RecordingError> {
    let damaged = |why: &str| RecordingError::Header { path: path.to_owned(), why: why.to_owned() };
    let foreign = |found: String| RecordingError::Foreign { path: path.to_owned(), found };
    if bytes.is_empty() {
        return Err(foreign("nothing (it is empty)".into()));
    }
    let start = &bytes[..bytes.len().min(format::MAGIC.len())];
    if !format::MAGIC.starts_with(start) {
        return Err(foreign(hex(start)));
    }
    match format::record_at(bytes, 0) {
        Err(why) => Err(damaged(why)),
        Ok(record) if record.kind != Kind::Header => Err(damaged("it is of another kind")),
        Ok(record) if !record.intact => Err(damaged("its checksum does not fit")),
        Ok(record) => format::decode_header(path, record.body),
    }
}

/// Takes what lies behind the last intact record out of the damage: nothing follows it that could show
/// whether it was ever whole.
fn torn_tail(damage: &mut Vec<Damage>, valid_len: usize, file_len: usize) -> Option<Torn> {
    let tail: Vec<Damage> = damage.extract_if(.., |damage| damage.from >= valid_len).collect();
    let why = tail.first()?.what.to_string();
    Some(Torn { from: valid_len, bytes: file_len - valid_len, why })
}

/// Holds each link against the bytes before it. A link that does not fit is damage of its own only where no
/// other damage explains it.
pub(super) fn follow_links(bytes: &[u8], records: &[Record<'_>], damage: &mut Vec<Damage>) -> LinkPoint {
    let mut point = LinkPoint::default();
    for record in records.iter().filter(|record| record.intact && record.kind == Kind::Link) {
        let mut hasher = point.begin();
        hasher.update(&bytes[point.end..record.offset]);
        let hash: [u8; 32] = record.body.try_into().unwrap_or_default();
        let stretch = point.end..record.offset;
        if *hasher.finalize().as_bytes() != hash && !damage.iter().any(|d| stretch.contains(&d.from)) {
            damage.push(Damage { from: stretch.start, to: stretch.end, what: DamageKind::Chain });
        }
        point = LinkPoint { hash, end: record.end() };
    }
    damage.sort_by_key(|damage| damage.from);
    point
}

/// The input of an input's record.
///
/// # Errors
/// Says why the body cannot be understood.
pub fn input(record: &Record<'_>) -> Result<Input, String> {
    form::decode(record.body)
}

/// The frame of an output's record.
///
/// # Errors
/// Says why the body cannot be understood.
pub fn frame(record: &Record<'_>) -> Result<Frame, String> {
    form::decode(record.body)
}
