//! How a recording lies on disk; `docs/recording.md` says the same for people.
//!
//! A recording is a row of records and nothing else. What it believes about the world: a file can end
//! anywhere (power, kill, full disk), a bit can flip anywhere, and the program that reads it may be years
//! younger or older than the one that wrote it. So each record stands alone (its own magic, length and
//! checksum: reading finds its feet again behind damage), records are chained by links (a removed or rewritten
//! record is found), and the first record says in fixed bytes which format it is before anything else is read.
//!
//! ```text
//! record   magic 4 | body length u32 | kind u8 | number u64 | crc32 u32 | body      all little-endian
//! header   major u16 | minor u16 | readable since: major u16, minor u16 | program: length u8, text | postcard
//! input    postcard of the input         output   postcard of the frame
//! link     blake3 of (hash of the link before | every byte since that link)           end   postcard of counts
//! truth    postcard of what was really so, in a drill's recording alone
//! ```
//! The crc32 (IEEE 802.3, reflected, as zlib computes it) covers length, kind, number and body.

use super::RecordingError;
use super::form::Stored;
pub use crate::engine::NUMERICS_VERSION;
use crate::engine::input::Carried;
use crate::engine::settings::Settings;
use crate::time::WallTime;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::path::Path;

/// Version of this program, as recordings name it.
pub const PROGRAM_VERSION: &str = env!("CARGO_PKG_VERSION");

/// Version of the format: a new minor adds (enum variants at the end, record kinds), a new major changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct FormatVersion {
    /// Raised when what stood before reads differently.
    pub major: u16,
    /// Raised when something is added.
    pub minor: u16,
}

impl fmt::Display for FormatVersion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.major, self.minor)
    }
}

/// What this program writes.
pub const FORMAT: FormatVersion = FormatVersion { major: 1, minor: 0 };
/// The oldest format whose programs can read what this program writes.
pub const READABLE_SINCE: FormatVersion = FormatVersion { major: 1, minor: 0 };
/// The oldest format this program reads.
pub const OLDEST_READ: FormatVersion = FormatVersion { major: 1, minor: 0 };

/// First bytes of every record. The first is no text, and read as a length they are beyond [`BODY_MAX`], so
/// that magic bytes are never taken for a length.
pub(super) const MAGIC: [u8; 4] = [0x8A, b'B', b'W', 0x1E];
/// Magic, length, kind, number, checksum.
pub(super) const HEAD_LEN: usize = 4 + 4 + 1 + 8 + 4;
/// Longest body, bytes. The longest real one is a header with its texts; 16 MiB is far beyond any.
pub(super) const BODY_MAX: usize = 16 << 20;

/// What a record holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// What the segment starts from.
    Header,
    /// One input, numbered from 1.
    Input,
    /// What the input of the same number gave.
    Output,
    /// A checkpoint of the chain; its number is that of the last input before it.
    Link,
    /// The segment was ended on purpose; its number is that of the last input.
    End,
    /// In a drill: what was really wrong. Nothing that is replayed.
    Truth,
}

impl Kind {
    const ALL: [Kind; 6] = [Kind::Header, Kind::Input, Kind::Output, Kind::Link, Kind::End, Kind::Truth];

    pub(super) fn code(self) -> u8 {
        match self {
            Kind::Header => 1,
            Kind::Input => 2,
            Kind::Output => 3,
            Kind::Link => 4,
            Kind::End => 5,
            Kind::Truth => 6,
        }
    }

    /// The kind in one word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Kind::Header => "header",
            Kind::Input => "input",
            Kind::Output => "output",
            Kind::Link => "link",
            Kind::End => "end",
            Kind::Truth => "truth",
        }
    }
}

/// Everything a segment starts from: with it and the inputs a replay needs nothing else.
#[derive(Debug, Clone, PartialEq)]
pub struct Header {
    /// Version of the program that wrote it.
    pub program_version: String,
    /// Version of its engine's numbers.
    pub numerics_version: u32,
    /// In a drill: engine time runs this many times faster than the machine's clock, 1. `None`: live.
    pub drill_speed: Option<f64>,
    /// Which boot of the machine; the machine clock means nothing in another one.
    pub boot_id: String,
    /// The machine's clock (the one that counts suspension) at engine time 0, ns.
    pub machine_ns_at_zero: u64,
    /// The wall clock at engine time 0.
    pub wall_at_zero: WallTime,
    /// The bay's short name.
    pub bay: String,
    /// The site file and every file it names: name as written, text.
    pub texts: Vec<(String, String)>,
    /// What the engine is told.
    pub settings: Settings,
    /// What crosses from the segment before.
    pub carried: Carried,
}

impl Header {
    /// Whether this program's engine computes the same bits from the recording.
    #[must_use]
    pub fn is_of_this_program(&self) -> bool {
        self.program_version == PROGRAM_VERSION && self.numerics_version == NUMERICS_VERSION
    }
}

/// A header without what the fixed bytes before it say.
#[derive(Serialize, Deserialize)]
pub(super) struct HeaderForm {
    numerics_version: u32,
    drill_speed: Option<f64>,
    boot_id: String,
    machine_ns_at_zero: u64,
    wall_at_zero_unix_ns: i64,
    bay: String,
    texts: Vec<(String, String)>,
    settings: <Settings as Stored>::Form,
    carried: <Carried as Stored>::Form,
}

impl HeaderForm {
    pub(super) fn of(header: &Header) -> HeaderForm {
        HeaderForm {
            numerics_version: header.numerics_version,
            drill_speed: header.drill_speed,
            boot_id: header.boot_id.clone(),
            machine_ns_at_zero: header.machine_ns_at_zero,
            wall_at_zero_unix_ns: header.wall_at_zero.0,
            bay: header.bay.clone(),
            texts: header.texts.clone(),
            settings: header.settings.to_form(),
            carried: header.carried.to_form(),
        }
    }

    fn into_header(self, program_version: String) -> Header {
        Header {
            program_version,
            numerics_version: self.numerics_version,
            drill_speed: self.drill_speed,
            boot_id: self.boot_id,
            machine_ns_at_zero: self.machine_ns_at_zero,
            wall_at_zero: WallTime(self.wall_at_zero_unix_ns),
            bay: self.bay,
            texts: self.texts,
            settings: Settings::from_form(self.settings),
            carried: Carried::from_form(self.carried),
        }
    }
}

/// Body of the last record.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct EndForm {
    pub inputs: u64,
    pub outputs: u64,
}

/// A body longer than any reader takes.
#[cfg(feature = "live")]
#[derive(Debug, thiserror::Error)]
#[error("a record of {0} bytes is beyond the format's {BODY_MAX} bytes")]
pub(super) struct TooLong(usize);

/// Appends one record to `out`.
#[cfg(feature = "live")]
pub(super) fn put_record(out: &mut Vec<u8>, kind: Kind, number: u64, body: &[u8]) -> Result<(), TooLong> {
    let length = u32::try_from(body.len()).ok().filter(|_| body.len() <= BODY_MAX).ok_or(TooLong(body.len()))?;
    out.reserve(HEAD_LEN + body.len());
    out.extend(MAGIC);
    out.extend(length.to_le_bytes());
    out.push(kind.code());
    out.extend(number.to_le_bytes());
    out.extend(checksum(length, kind.code(), number, body).to_le_bytes());
    out.extend(body);
    Ok(())
}

fn checksum(length: u32, kind: u8, number: u64, body: &[u8]) -> u32 {
    let mut crc = crc32fast::Hasher::new();
    crc.update(&length.to_le_bytes());
    crc.update(&[kind]);
    crc.update(&number.to_le_bytes());
    crc.update(body);
    crc.finalize()
}

/// One record as it lies in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Record<'a> {
    /// Where it begins, bytes from the start of the file.
    pub offset: usize,
    /// What it holds.
    pub kind: Kind,
    /// Number of the input it belongs to; 0 for the header.
    pub number: u64,
    /// Its checksum fits.
    pub intact: bool,
    /// Its content.
    pub body: &'a [u8],
}

impl Record<'_> {
    /// Where the next record begins.
    #[must_use]
    pub fn end(&self) -> usize {
        self.offset + HEAD_LEN + self.body.len()
    }
}

/// The record at `offset`, or why there is none. A wrong checksum is said in the record.
pub(super) fn record_at(bytes: &[u8], offset: usize) -> Result<Record<'_>, &'static str> {
    let rest = bytes.get(offset..).unwrap_or_default();
    let Some((head, behind)) = rest.split_at_checked(HEAD_LEN) else {
        return Err("it ends within the head of a record");
    };
    if head[..4] != MAGIC {
        return Err("there is no record");
    }
    let u32_at = |i: usize| u32::from_le_bytes([head[i], head[i + 1], head[i + 2], head[i + 3]]);
    let length = u32_at(4);
    let number = u64::from(u32_at(9)) | u64::from(u32_at(13)) << 32;
    let kind = Kind::ALL.into_iter().find(|kind| kind.code() == head[8]).ok_or("the record's kind is unknown")?;
    let size = usize::try_from(length).ok().filter(|&l| l <= BODY_MAX).ok_or("the record's length is impossible")?;
    let body = behind.get(..size).ok_or("it ends within a record")?;
    let intact = checksum(length, head[8], number, body) == u32_at(17);
    Ok(Record { offset, kind, number, intact, body })
}

/// The next intact record behind `from`, for finding one's feet after damage.
pub(super) fn next_intact(bytes: &[u8], from: usize) -> Option<Record<'_>> {
    let behind = bytes.get(from + 1..)?;
    let starts = behind.windows(MAGIC.len()).enumerate().filter(|(_, window)| *window == MAGIC);
    starts.filter_map(|(i, _)| record_at(bytes, from + 1 + i).ok()).find(|record| record.intact)
}

/// Body of the header's record.
#[cfg(feature = "live")]
pub(super) fn encode_header(header: &Header) -> Vec<u8> {
    let mut body = Vec::new();
    for version in [FORMAT, READABLE_SINCE] {
        body.extend(version.major.to_le_bytes());
        body.extend(version.minor.to_le_bytes());
    }
    let mut cut = header.program_version.len().min(usize::from(u8::MAX));
    while !header.program_version.is_char_boundary(cut) {
        cut -= 1;
    }
    body.push(u8::try_from(cut).unwrap_or(u8::MAX));
    body.extend(&header.program_version.as_bytes()[..cut]);
    let form = HeaderForm::of(header);
    body.extend(postcard::to_stdvec(&form).expect("memory takes every form: none has a sequence of unknown length"));
    body
}

/// Format and header from the body of the first record; `path` is for the message.
pub(super) fn decode_header(path: &Path, body: &[u8]) -> Result<(FormatVersion, Header), RecordingError> {
    let damaged = |why: String| RecordingError::Header { path: path.to_owned(), why };
    let fixed = body.get(..9).ok_or_else(|| damaged("it is too short".into()))?;
    let u16_at = |i: usize| u16::from_le_bytes([fixed[i], fixed[i + 1]]);
    let written = FormatVersion { major: u16_at(0), minor: u16_at(2) };
    let readable_since = FormatVersion { major: u16_at(4), minor: u16_at(6) };
    let text_end = 9 + usize::from(fixed[8]);
    let program = body.get(9..text_end).ok_or_else(|| damaged("it is too short".into()))?;
    let program = String::from_utf8_lossy(program).into_owned();
    if readable_since > FORMAT {
        return Err(RecordingError::Newer { path: path.to_owned(), written, readable_since, program });
    }
    if written < OLDEST_READ {
        return Err(RecordingError::Older { path: path.to_owned(), written, program });
    }
    match postcard::take_from_bytes::<HeaderForm>(&body[text_end..]) {
        Ok((form, [])) => Ok((written, form.into_header(program))),
        Ok((_, rest)) => Err(damaged(format!("{} bytes too many", rest.len()))),
        Err(error) => Err(damaged(error.to_string())),
    }
}

/// The chain up to a link.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LinkPoint {
    /// The link's hash; zeros before the first.
    pub hash: [u8; 32],
    /// Where the link's record ends, bytes from the start of the file; 0 before the first.
    pub end: usize,
}

impl LinkPoint {
    /// A hash to feed with everything behind this link.
    pub(super) fn begin(&self) -> blake3::Hasher {
        let mut hasher = blake3::Hasher::new();
        hasher.update(&self.hash);
        hasher
    }
}
