//! A plant's recorded history made a recording: the monitor is stepped as it would have been, live.
//!
//! ```text
//! CSV -> table (columns by name) -> rows (time, values) -> order -> run [ recorder.input -> step -> recorder.output ]
//! ```
//! The history is read twice: once to count and hash it, since the recording's first record says what it was made of,
//! once to step through it. Memory does not grow with it. The recording gets its name only when it is whole.

mod error;
mod feed;
mod names;
mod order;
mod rows;
mod run;
mod source;
mod table;

pub use error::{ImportError, Trouble};
pub use run::Counts;
pub use source::Source;

use super::origin::Origin;
use crate::config::moment::shown;
use crate::config::{BaySetup, Columns, DeliveryFile};
use crate::engine::frame::Phase;
use crate::time::WallTime;
use names::Names;
use rows::Reader;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use table::Table;

/// What is imported.
#[derive(Debug, Clone, Copy)]
pub struct Plan<'a> {
    /// The bay it is of.
    pub bay: &'a BaySetup,
    /// The site's texts, for the recording's first record.
    pub texts: &'a [(String, String)],
    /// The delivery that the history is of; `None`: none was open.
    pub delivery: Option<&'a DeliveryFile>,
    /// How the history is read.
    pub columns: &'a Columns,
    /// Where the recording goes.
    pub out: &'a Path,
}

/// How far an import is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Bytes of the history read, both readings together.
    pub done_bytes: u64,
    /// Bytes to be read; 0 where that is not known.
    pub all_bytes: u64,
}

/// What an import made.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// What the history was.
    pub origin: Origin,
    /// What was fed to the monitor.
    pub counts: Counts,
    /// Rows before `from` or after `to`.
    pub passed_over: u64,
    /// Rows that were put before one that stands above them.
    pub sorted: u64,
    /// The last line had no end and was left out.
    pub half_line: bool,
    /// Times of the first and the last row used.
    pub span: (WallTime, WallTime),
    /// Names of the bay's signals that the history does not have.
    pub left_out: Vec<String>,
    /// What the bay was in at the end.
    pub phase: Phase,
    /// The recording.
    pub out: PathBuf,
}

/// Rows between two looks at who may want to stop it and at the disk.
const LOOK_EVERY: u64 = 1024;

/// Makes a recording of a history. `goes_on` is asked now and then; `false` stops the import.
///
/// # Errors
/// Whatever hinders it; then there is no file at `out`.
pub fn import(
    plan: &Plan<'_>,
    source: &dyn Source,
    goes_on: &mut dyn FnMut(Progress) -> bool,
) -> Result<Report, ImportError> {
    suffices(plan)?;
    refuse_existing(plan.out)?;
    let mut look = Look { goes_on, all_bytes: 2 * source.bytes(), before: 0, count: 0 };
    let surveyed = survey(plan, source, &mut look)?;
    look.before = source.bytes();
    let unfinished = Unfinished(super::writer::beside(plan.out, &format!("{}.importing", std::process::id())));
    let report = feed::feed(plan, source, &surveyed, &unfinished, &mut look)?;
    refuse_existing(plan.out)?;
    let refused = |source| ImportError::Out { path: plan.out.to_owned(), source };
    fs::rename(&unfinished.0, plan.out).and_then(|()| super::writer::sync_folder(plan.out)).map_err(refused)?;
    Ok(report)
}

/// Asks now and then whether to go on.
struct Look<'g> {
    goes_on: &'g mut dyn FnMut(Progress) -> bool,
    all_bytes: u64,
    before: u64,
    count: u64,
}

impl Look<'_> {
    /// One more row; true when it is time to look at the disk too.
    fn row(&mut self, table: &Table) -> Result<bool, ImportError> {
        self.count += 1;
        if !self.count.is_multiple_of(LOOK_EVERY) {
            return Ok(false);
        }
        let done_bytes = self.before + table.passed().bytes.get();
        if (self.goes_on)(Progress { done_bytes, all_bytes: self.all_bytes }) {
            Ok(true)
        } else {
            Err(ImportError::Stopped)
        }
    }
}

/// The unfinished recording; gone when it is let go of, unless it got its name.
struct Unfinished(PathBuf);

impl Drop for Unfinished {
    fn drop(&mut self) {
        // After a rename, or before the file was made, there is none.
        let _ = fs::remove_file(&self.0);
    }
}

fn refuse_existing(out: &Path) -> Result<(), ImportError> {
    match out.try_exists() {
        Ok(false) => Ok(()),
        Ok(true) => Err(ImportError::OutExists(out.to_owned())),
        Err(source) => Err(ImportError::Out { path: out.to_owned(), source }),
    }
}

/// Entries are never guessed from the signals: without them an import says what it needs.
fn suffices(plan: &Plan<'_>) -> Result<(), ImportError> {
    let entered = !plan.columns.entries.is_empty() || plan.columns.phase.is_some();
    match (plan.delivery, entered) {
        (Some(delivery), false) => Err(ImportError::Needs(format!(
            "delivery {} is given, but nothing says when its transfer started and when the leg was closed, and that is \
             never guessed from the signals; add to the column map either [[entry]] with at and what, or [phase] with \
             column, transfer and closed; nothing was written",
            delivery.setup.id
        ))),
        (None, true) => Err(ImportError::Needs(
            "the column map holds entries, but there is no delivery that they could be of; give --delivery FILE, or take \
             [[entry]] and [phase] out of the map for a history in which none was open; nothing was written"
                .to_owned(),
        )),
        _ => Ok(()),
    }
}

/// What the first reading found.
struct Surveyed {
    origin: Origin,
    /// The last line has no end.
    half_line: bool,
}

/// The first reading: counts rows, hashes bytes.
fn survey(plan: &Plan<'_>, source: &dyn Source, look: &mut Look<'_>) -> Result<Surveyed, ImportError> {
    let mut table = Table::open(source, plan.columns)?;
    let reader = Reader::new(&table, plan.columns, &rows::fitted(&plan.bay.settings, plan.columns))?;
    let mut names = Names::new(&reader);
    while table.next()? {
        look.row(&table)?;
        if let Some(names) = &mut names {
            names.row(&table)?;
        }
    }
    names.map_or(Ok(()), |names| names.all_found(&table))?;
    // A line without an end may be half a line: its last number may have lost digits.
    let half_line = table.rows() > 0 && !table.passed().ends_in_line();
    let origin = Origin {
        file: source.name(),
        bytes: table.passed().bytes.get(),
        rows: table.rows() - u64::from(half_line),
        blake3: table.passed().hash().to_hex().to_string(),
    };
    Ok(Surveyed { origin, half_line })
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Counts { rows, polls, missed, held, gaps, entries, late } = self.counts;
        let (from, to) = (shown(self.span.0), shown(self.span.1));
        writeln!(f, "{}: {rows} of {} rows, {from} to {to}", self.origin.file, self.origin.rows)?;
        writeln!(f, "{polls} answers of devices, {missed} missed, {entries} entries")?;
        let notes = [
            ("rows passed over, before from or after to", self.passed_over),
            ("rows sorted within their second", self.sorted),
            ("values held by the history, so no new readings", held),
            ("times when nobody wrote the history for more than 10 min, shown as blind", gaps),
            ("rows that came when the values before them were too old to be used", late),
        ];
        for (what, count) in notes.into_iter().filter(|(_, count)| *count > 0) {
            writeln!(f, "{what}: {count}")?;
        }
        if late > 0 {
            writeln!(f, "(where the history is that coarse, write period in the column map)")?;
        }
        if self.half_line {
            writeln!(f, "1 line at the end has no end of line and was left out: it may be cut short")?;
        }
        if !self.left_out.is_empty() {
            writeln!(f, "not in the history, so taken for not fitted: {}", self.left_out.join(", "))?;
        }
        match self.phase {
            Phase::Idle => writeln!(f, "no delivery: an idle bay was watched")?,
            Phase::Opened | Phase::Transfer => writeln!(f, "the leg is not closed at the end of the history")?,
            Phase::Closed => {}
        }
        write!(f, "recording: {}", self.out.display())
    }
}
