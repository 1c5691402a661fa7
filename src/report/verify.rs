//! Whether a record and a recording belong together: the recording's chain holds, the last link printed on the record is
//! in it, and everything on the record follows from what stands before that link, bit for bit.
//!
//! A watch may have gone on with the recording since; what came later is no part of the record.

use super::account::{Account, RecordingAccount};
use super::amend::Amendment;
use super::gather::hex;
use super::{AccountError, gathered, paper, record};
use crate::recording::format::{Kind, PROGRAM_VERSION, Record};
use crate::recording::{reader, stream};
use jiff::tz::TimeZone;
use serde_json::Value;
use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

/// Longest record that is read, bytes: a hundred times a long one.
const RECORD_MOST_BYTES: u64 = 64 << 20;
/// So many letters of what differs are shown.
const SHOWN_LETTERS: usize = 120;

/// They belong together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verified {
    /// Name of the delivery.
    pub delivery: String,
    /// The last link that the record is of, in hexadecimal.
    pub chain_head: String,
    /// Amendments on the record.
    pub amendments: usize,
    /// Amendments that were added after it was made.
    pub amended_since: usize,
    /// What was damaged when it was made; the record says so too.
    pub damage: Vec<String>,
}

/// They do not, or it cannot be told.
#[derive(Debug, thiserror::Error)]
pub enum VerifyError {
    /// The recording or its amendments cannot be used.
    #[error(transparent)]
    Account(#[from] AccountError),
    /// The record's file cannot be read.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the file system says.
        source: io::Error,
    },
    /// The file is no record.
    #[error("{}: is no unloading record of brimwatch: {why}; give the .html or the .json that `brimwatch report` wrote", path.display())]
    NoRecord {
        /// The file.
        path: PathBuf,
        /// Why not.
        why: String,
    },
    /// The recording is not as it was when the record was made.
    #[error("the recording was altered or damaged after the record was made: {0}")]
    RecordingAltered(String),
    /// The record is of another delivery.
    #[error("the record is of another delivery: {record}; the recording is of {recording}")]
    OtherDelivery {
        /// Delivery, bay and day on the record.
        record: String,
        /// The same of the recording.
        recording: String,
    },
    /// The record says something else than the recording.
    #[error("the record was altered, or is not of this recording: {0}")]
    RecordAltered(String),
    /// Another program made the record, whose figures may differ from this one's.
    #[error(
        "made by brimwatch {by}, and this one ({PROGRAM_VERSION}) gives something else: {what}. Verify it with brimwatch {by}"
    )]
    OtherProgram {
        /// Version on the record.
        by: String,
        /// What differs.
        what: String,
    },
}

/// Holds a record (its paper or its figures) against a recording of its delivery.
///
/// # Errors
/// When they do not belong together, or cannot be read.
pub fn verify(recording: &Path, file: &Path) -> Result<Verified, VerifyError> {
    let text = read(file)?;
    let (figures, printed) = figures(file, &text)?;
    let no_record = |why: String| VerifyError::NoRecord { path: file.to_owned(), why };
    let said: Account = serde_json::from_value(figures.clone()).map_err(|error| no_record(error.to_string()))?;
    let zone = TimeZone::get(&said.zone).map_err(|error| no_record(error.to_string()))?;
    let now = record(recording, &zone)?;
    same_delivery(&said, &now.account)?;
    all_there(&said.recordings, &now.account.recordings)?;
    let amended_since = amendments(&said.amendments, &now.account.amendments)?;
    let then = as_then(recording, &said, &now, &zone)?;
    let then = super::Record { reader: paper::reader_of(&text), ..then };
    let differs = |what: String| match said.program_version.as_str() {
        PROGRAM_VERSION => VerifyError::RecordAltered(what),
        by => VerifyError::OtherProgram { by: by.to_owned(), what },
    };
    let given = serde_json::to_value(&then.account).map_err(|error| no_record(error.to_string()))?;
    if let Some(what) = difference("", &figures, &given) {
        return Err(differs(what));
    }
    if let Some(what) = printed.then(|| other_line(&text, &then.html())).flatten() {
        return Err(differs(what));
    }
    Ok(Verified {
        delivery: said.delivery,
        chain_head: said.chain_head,
        amendments: said.amendments.len(),
        amended_since,
        damage: said.recordings.into_iter().flat_map(|recording| recording.damage).collect(),
    })
}

fn read(path: &Path) -> Result<String, VerifyError> {
    let mut bytes = Vec::new();
    let read = File::open(path).and_then(|file| file.take(RECORD_MOST_BYTES + 1).read_to_end(&mut bytes));
    read.map_err(|source| VerifyError::Io { path: path.to_owned(), source })?;
    let no_record = |why: &str| VerifyError::NoRecord { path: path.to_owned(), why: why.to_owned() };
    if bytes.len() as u64 > RECORD_MOST_BYTES {
        return Err(no_record("it is longer than any"));
    }
    String::from_utf8(bytes).map_err(|_| no_record("it is no text"))
}

/// The figures of a record, and whether they are those of a paper.
fn figures(path: &Path, text: &str) -> Result<(Value, bool), VerifyError> {
    let inside = text.split_once(paper::FIGURES_FROM).and_then(|(_, rest)| rest.split_once(paper::FIGURES_TO));
    let json = inside.map_or(text, |(json, _)| json);
    let value = serde_json::from_str(json);
    let value = value.map_err(|error| VerifyError::NoRecord { path: path.to_owned(), why: error.to_string() })?;
    Ok((value, inside.is_some()))
}

fn same_delivery(said: &Account, now: &Account) -> Result<(), VerifyError> {
    let name = |account: &Account| {
        let opened = account.opened.as_ref().map_or("a moment not on record", |at| at.wall.as_str());
        format!("{:?} at {}, opened {opened}", account.delivery, account.bay)
    };
    if (&said.delivery, &said.bay, &said.opened) == (&now.delivery, &now.bay, &now.opened) {
        return Ok(());
    }
    Err(VerifyError::OtherDelivery { record: name(said), recording: name(now) })
}

/// What the record was made from is still there.
fn all_there(said: &[RecordingAccount], now: &[RecordingAccount]) -> Result<(), VerifyError> {
    if now.len() < said.len() {
        let missing = format!("the record is of {} recordings, and {} are there", said.len(), now.len());
        return Err(VerifyError::RecordingAltered(missing));
    }
    for (then, now) in said.iter().zip(now) {
        if now.taken_bytes < then.taken_bytes {
            let what = format!(
                "{}: its chain ends at byte {}, and the record was made of {} bytes",
                now.file, now.taken_bytes, then.taken_bytes
            );
            return Err(VerifyError::RecordingAltered(what));
        }
    }
    Ok(())
}

/// The amendments on the record are the first of those that are there; gives how many came later.
fn amendments(said: &[Amendment], now: &[Amendment]) -> Result<usize, VerifyError> {
    if said.len() > now.len() {
        let what = format!("amendment {} stands on the record and beside the recording no longer", now.len() + 1);
        return Err(VerifyError::RecordingAltered(what));
    }
    match said.iter().zip(now).position(|(said, now)| said != now) {
        Some(at) => {
            let what = format!("amendment {} is not the one beside the recording", at + 1);
            Err(VerifyError::RecordAltered(what))
        }
        None => Ok(now.len() - said.len()),
    }
}

/// The record as it follows from what the recordings held then.
fn as_then(asked: &Path, said: &Account, now: &super::Record, zone: &TimeZone) -> Result<super::Record, VerifyError> {
    let upto = now.recordings.iter().zip(&said.recordings).map(|(path, then)| (path.clone(), then.taken_bytes));
    let upto: Vec<(PathBuf, u64)> = upto.collect();
    if upto.is_empty() {
        return Err(VerifyError::RecordAltered("it names no recording".to_owned()));
    }
    for ((path, _), of_record) in upto.iter().zip(&said.recordings) {
        is_linked(path, of_record)?;
    }
    let mut then = gathered(asked, &upto, zone)?;
    then.account.amendments.clone_from(&said.amendments);
    for (of_then, of_record) in then.account.recordings.iter_mut().zip(&said.recordings) {
        if let Some(damage) = of_then.damage.iter().find(|damage| !of_record.damage.contains(damage)) {
            return Err(VerifyError::RecordingAltered(format!("{}: {damage}", of_then.file)));
        }
        // A recording may bear another name since; how its end looked then is no figure.
        of_then.file.clone_from(&of_record.file);
        of_then.damage.clone_from(&of_record.damage);
        of_then.ended = of_record.ended;
    }
    Ok(then)
}

/// The link that the record names ends where the record says.
fn is_linked(path: &Path, then: &RecordingAccount) -> Result<(), VerifyError> {
    let whole = stream::whole(path, then.taken_bytes).map_err(AccountError::from)?;
    if whole.is_some_and(|whole| whole.link.end as u64 == then.taken_bytes && hex(&whole.link.hash) == then.chain_head)
    {
        return Ok(());
    }
    let bytes = reader::read(path).map_err(AccountError::from)?;
    let recording = reader::walk(path, &bytes).map_err(AccountError::from)?;
    let named = |record: &&Record<'_>| {
        record.kind == Kind::Link
            && record.intact
            && record.end() as u64 == then.taken_bytes
            && hex(record.body) == then.chain_head
    };
    match (recording.records.iter().find(named), recording.damage.first()) {
        (Some(_), _) => Ok(()),
        (None, Some(damage)) => Err(VerifyError::RecordingAltered(format!("{}: {damage}", path.display()))),
        (None, None) => {
            let what = format!("its last link {} is not in the recording", then.chain_head);
            Err(VerifyError::RecordAltered(what))
        }
    }
}

/// The first place where two values differ, with both.
fn difference(path: &str, said: &Value, given: &Value) -> Option<String> {
    match (said, given) {
        (Value::Object(a), Value::Object(b)) => {
            let named = |key: &String| if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
            let inside = |(key, given): (&String, &Value)| match a.get(key) {
                Some(said) => difference(&named(key), said, given),
                None => Some(format!("{} is missing", named(key))),
            };
            let more =
                a.keys().find(|key| !b.contains_key(*key)).map(|key| format!("{} is not of a record", named(key)));
            b.iter().find_map(inside).or(more)
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            let mut places = a.iter().zip(b).enumerate();
            places.find_map(|(at, (a, b))| difference(&format!("{path}[{at}]"), a, b))
        }
        _ if said == given => None,
        _ => Some(format!("{path} is {}, and the recording gives {}", shown(said), shown(given))),
    }
}

fn shown(value: &Value) -> String {
    match value {
        Value::Array(list) => format!("a list of {}", list.len()),
        other => short(&other.to_string()),
    }
}

fn short(text: &str) -> String {
    let mut short: String = text.chars().take(SHOWN_LETTERS).collect();
    if short.len() < text.len() {
        short.push_str(" ..");
    }
    short
}

/// The place of the first difference between two papers.
fn other_line(said: &str, given: &str) -> Option<String> {
    if said == given {
        return None;
    }
    let same = said.bytes().zip(given.bytes()).take_while(|(a, b)| a == b).count();
    // From a whole letter a little before.
    let from = (0..=same.saturating_sub(20)).rev().find(|&at| said.is_char_boundary(at)).unwrap_or(0);
    Some(format!("the paper itself, from byte {from}: {:?}", short(&said[from..])))
}
