//! The unloading record: what one delivery's recordings say, for attendant and accountant.
//!
//! ```text
//! recordings of one delivery -> segments -> gather -> Account -> paper (HTML), JSON
//!                                amendments (amend) -^              \-> verify
//! ```
//! Everything is read from the outputs on record, so that a record says what was on the screen then, whatever program
//! reads it later. Only what the chain of links covers counts: the same bytes give the same account, and the last link,
//! which stands in it, ties the two together. The figures are operating figures: not legal for trade.

pub mod account;
pub mod amend;
mod course;
mod gather;
mod legs;
mod paper;
mod segments;
mod ticket;
mod told;
pub mod verify;

use crate::engine::frame::Frame;
use crate::engine::settings::Settings;
use crate::recording::{RecordingError, is_growing};
use crate::time::WallTime;
use crate::units::Measures;
use crate::words::{self, Language};
use account::Account;
use amend::{AmendError, Amendment};
use gather::{Gathered, gather};
use jiff::tz::TimeZone;
use std::fs::OpenOptions;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// Why there is no account.
#[derive(Debug, thiserror::Error)]
pub enum AccountError {
    /// The recording cannot be read.
    #[error(transparent)]
    Recording(#[from] RecordingError),
    /// Nothing in it belongs to a delivery.
    #[error("{}: no delivery was opened in it, so there is nothing to account for; give the recording of a delivery", .0.display())]
    NoDelivery(PathBuf),
    /// Its amendments cannot be used.
    #[error(transparent)]
    Amendments(#[from] AmendError),
}

/// The recordings of the leg that one is of, in their order, that one among them.
///
/// # Errors
/// When it cannot be read.
pub fn recordings_of_delivery(recording: &Path) -> Result<Vec<PathBuf>, RecordingError> {
    segments::of_one_delivery(recording)
}

/// The account of the leg that a recording is of, out of it and the recordings beside it that are of the same leg or of an
/// earlier one of the same delivery, with its amendments. It may still be open: see [`Account::is_closed`].
///
/// # Errors
/// When a recording or the amendments cannot be read, or it is of no delivery.
pub fn account(recording: &Path, zone: &TimeZone) -> Result<Account, AccountError> {
    record(recording, zone).map(|record| record.account)
}

/// The account of the leg that these recordings are of, in their order, without amendments: for lists.
///
/// # Errors
/// As [`account()`].
pub(crate) fn account_of(recordings: &[PathBuf]) -> Result<Account, AccountError> {
    let asked = recordings.first().map_or(Path::new(""), PathBuf::as_path);
    let paths = segments::with_earlier_legs(recordings.to_vec());
    gather(asked, &whole(&paths), &TimeZone::UTC).map(|gathered| gathered.account)
}

/// Whether that leg of a delivery is on record in a folder of a bay or in those beside it.
pub(crate) fn is_on_record(folder: &Path, delivery: &str, leg: u8) -> bool {
    segments::legs(folder, delivery).contains_key(&leg)
}

fn whole(recordings: &[PathBuf]) -> Vec<(PathBuf, u64)> {
    recordings.iter().map(|path| (path.clone(), u64::MAX)).collect()
}

/// In which units and language a paper is written; its figures (JSON) are the same for every one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PaperReader {
    /// Units.
    pub measures: Measures,
    /// Tag of the language (BCP 47); one that is not known is read as English.
    pub language: String,
}

impl Default for PaperReader {
    fn default() -> PaperReader {
        PaperReader { measures: Measures::Si, language: words::LANGUAGES[0].tag().to_owned() }
    }
}

impl PaperReader {
    /// The words themselves.
    #[must_use]
    pub fn language(&self) -> &'static dyn Language {
        words::language(&self.language).unwrap_or(words::LANGUAGES[0])
    }

    /// As the figures are written: English and SI.
    fn is_plain(&self) -> bool {
        *self == PaperReader::default()
    }
}

/// An account with what its pictures are drawn from.
#[derive(Debug)]
pub struct Record {
    /// How its paper is written: as the recorded site file says, until somebody asks for something else.
    pub reader: PaperReader,
    /// What it says.
    pub account: Account,
    frame: Option<Box<Frame>>,
    /// What was known when the checks stood as the account has them.
    of_checks: Option<Box<Frame>>,
    settings: Settings,
    /// The recordings of the leg and of those before it, in their order.
    recordings: Vec<PathBuf>,
}

/// The unloading record of the delivery that a recording is of. Its times are written in `zone`, or in UTC where that has
/// no name of its own.
///
/// # Errors
/// As [`account()`].
pub fn record(recording: &Path, zone: &TimeZone) -> Result<Record, AccountError> {
    let paths = segments::with_earlier_legs(recordings_of_delivery(recording)?);
    let mut record = gathered(recording, &whole(&paths), zone)?;
    record.account.amendments = amend::read(record.first_recording())?;
    Ok(record)
}

fn gathered(asked: &Path, paths: &[(PathBuf, u64)], zone: &TimeZone) -> Result<Record, AccountError> {
    let zone = if zone.iana_name().is_some() { zone } else { &TimeZone::UTC };
    let Gathered { account, frame, of_checks, settings, reader } = gather(asked, paths, zone)?;
    let of_it = paths.len().saturating_sub(account.recordings.len());
    let recordings = paths[of_it..].iter().map(|(path, _)| path.clone()).collect();
    Ok(Record { reader, account, frame, of_checks, settings, recordings })
}

impl Record {
    /// The recording that the leg was opened in; its amendments stand beside it.
    fn first_recording(&self) -> &Path {
        let mut of_legs = self.recordings.iter().zip(&self.account.recordings);
        let first = of_legs.find(|(_, recording)| recording.leg == self.account.leg);
        first.map_or(Path::new(""), |(path, _)| path)
    }

    /// Closed or rejected: nothing more comes.
    #[must_use]
    pub fn is_final(&self) -> bool {
        self.account.is_closed || self.account.rejected.is_some()
    }

    /// The figures as JSON; `docs/interface.md` lists the keys.
    #[must_use]
    pub fn json(&self) -> String {
        serde_json::to_string_pretty(&self.account).unwrap_or_default() + "\n"
    }

    /// The paper. It holds the figures too, so that it can be verified alone.
    #[must_use]
    pub fn html(&self) -> String {
        paper::html(self).into_string()
    }

    /// Writes both, beside the first recording where no other place is named, and gives the paper's path. What is there
    /// already is kept; only a provisional one, of a delivery that is not closed, is written over.
    ///
    /// # Errors
    /// When one is there that says something else, or the file system refuses.
    pub fn write(&self, out: Option<&Path>) -> io::Result<PathBuf> {
        let beside = || {
            let stem = self.first_recording().with_extension("");
            let amended = self.account.amendments.len();
            let kind = match (self.is_final(), amended) {
                (false, _) => "provisional".to_owned(),
                (true, 0) => "record".to_owned(),
                (true, _) => format!("record-amended-{amended}"),
            };
            PathBuf::from(format!("{}-{kind}.html", stem.display()))
        };
        let paper = out.map_or_else(beside, Path::to_owned);
        let replace = out.is_none() && !self.is_final();
        for (path, text) in [(paper.with_extension("json"), self.json()), (paper.clone(), self.html())] {
            put(&path, &text, replace)?;
        }
        Ok(paper)
    }
}

fn put(path: &Path, text: &str, replace: bool) -> io::Result<()> {
    let named = |error: io::Error| io::Error::new(error.kind(), format!("{}: {error}", path.display()));
    if !replace && path.exists() {
        let there = std::fs::read(path).map_err(named)?;
        if there == text.as_bytes() {
            return Ok(());
        }
        let why = "a record is there already that says something else; it is kept. Name another place with --out";
        return Err(named(io::Error::new(io::ErrorKind::AlreadyExists, why)));
    }
    let mut options = OpenOptions::new();
    options.write(true);
    if replace {
        options.create(true).truncate(true)
    } else {
        options.create_new(true)
    };
    let mut file = options.open(path).map_err(named)?;
    file.write_all(text.as_bytes()).and_then(|()| file.sync_data()).map_err(named)
}

/// Adds an amendment to the delivery that a recording is of; `texts`: who, why, what.
///
/// # Errors
/// As [`account()`]; and while the delivery is being recorded, or when the amendment cannot be taken.
pub fn amend(recording: &Path, texts: (&str, &str, &str), now: WallTime) -> Result<Amendment, AccountError> {
    let record = record(recording, &TimeZone::UTC)?;
    // One whose recordings end before its close can be amended, once nobody writes them.
    if !record.is_final() && record.recordings.last().is_some_and(|path| is_growing(path)) {
        return Err(AmendError::Running(recording.to_owned()).into());
    }
    Ok(amend::add(record.first_recording(), &record.account.chain_head, texts, now)?)
}
