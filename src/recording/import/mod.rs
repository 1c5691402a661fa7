//! A plant's recorded history made a recording: the monitor is stepped as it would have been, live.
//!
//! ```text
//! CSV -> table (columns by name) -> rows (time, values) -> order -> run [ recorder.input -> step -> recorder.output ]
//! ```
//! The history is read twice: once to count and hash it, since the recording's first record says what it was made of,
//! once to step through it. Memory does not grow with it. The recording gets its name only when it is whole.

mod error;
mod order;
mod rows;
mod run;
mod source;
mod table;

pub use error::{ImportError, Trouble};
pub use run::Counts;
pub use source::Source;

use super::format::{Header, NUMERICS_VERSION, PROGRAM_VERSION};
use super::origin::Origin;
use super::reader::FILE_MAX;
use super::writer::Recorder;
use crate::config::moment::{DISORDER_NS, shown};
use crate::config::{BaySetup, Columns, DeliveryFile};
use crate::engine::frame::Phase;
use crate::engine::input::Carried;
use crate::time::WallTime;
use order::Order;
use rows::{Reader, Row};
use run::Run;
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
    let (origin, half_line) = survey(plan, source, &mut look)?;
    look.before = source.bytes();
    let unfinished = Unfinished(super::writer::beside(plan.out, &format!("{}.importing", std::process::id())));
    let report = feed(plan, source, &origin, half_line, &unfinished, &mut look)?;
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

/// The first reading: counts rows, hashes bytes.
fn survey(plan: &Plan<'_>, source: &dyn Source, look: &mut Look<'_>) -> Result<(Origin, bool), ImportError> {
    let mut table = Table::open(source, plan.columns)?;
    Reader::new(&table, plan.columns, &rows::fitted(&plan.bay.settings, plan.columns))?;
    while table.next()? {
        look.row(&table)?;
    }
    // A line without an end may be half a line: its last number may have lost digits.
    let half_line = table.rows() > 0 && !table.passed().ends_in_line();
    let origin = Origin {
        file: source.name(),
        bytes: table.passed().bytes.get(),
        rows: table.rows() - u64::from(half_line),
        blake3: table.passed().hash().to_hex().to_string(),
    };
    Ok((origin, half_line))
}

/// The second reading: steps the monitor and writes.
fn feed(
    plan: &Plan<'_>,
    source: &dyn Source,
    origin: &Origin,
    half_line: bool,
    unfinished: &Unfinished,
    look: &mut Look<'_>,
) -> Result<Report, ImportError> {
    let mut settings = rows::fitted(&plan.bay.settings, plan.columns);
    if let Some(line) = plan.delivery.and_then(|d| d.line.clone()) {
        settings.line = line;
    }
    let mut table = Table::open(source, plan.columns)?;
    let mut reader = Reader::new(&table, plan.columns, &settings)?;
    let channels = reader.channels().to_vec();
    let (mut order, mut span, mut passed_over, mut to_end) = (Order::default(), None, 0, true);
    let mut run: Option<Run<'_>> = None;
    let mut give = |row: Row| {
        let (first, _) = *span.get_or_insert((row.at, row.at));
        span = Some((first, row.at));
        if run.is_none() {
            none_before(plan, row.at)?;
            let recorder = begin(plan, origin, &settings, row.at, unfinished)?;
            let delivery = plan.delivery.map(|d| &d.setup);
            run = Some(Run::begin(plan.columns, &channels, (settings.clone(), delivery), recorder, row.at));
        }
        let Some(run) = &mut run else { return Ok(()) };
        run.recorder().wait_for_room().map_err(|source| refused(plan, source))?;
        run.row(&row)
    };
    while table.next()? && table.rows() <= origin.rows {
        if look.row(&table)? {
            small_enough(plan, unfinished)?;
        }
        table.check_width()?;
        let at = reader.time(&table)?;
        // Behind the end, beyond what is jumbled: nothing that follows is wanted.
        if plan.columns.to.is_some_and(|to| at.0 > to.0.saturating_add(DISORDER_NS)) {
            passed_over += 1 + origin.rows - table.rows();
            to_end = false;
            break;
        }
        if plan.columns.from.is_some_and(|from| at < from) || plan.columns.to.is_some_and(|to| at > to) {
            passed_over += 1;
            continue;
        }
        order.take(reader.row(&table, at)?).map_err(|latest| backwards(&table, &reader, at, latest))?;
        while let Some(row) = order.give(false) {
            give(row)?;
        }
    }
    while let Some(row) = order.give(true) {
        give(row)?;
    }
    let (Some(run), Some(span)) = (run, span) else { return Err(no_rows(plan, &table, passed_over)) };
    let (counts, still, phase, recorder) = run.end()?;
    all_entered(plan, still.map(|entry| entry.at), counts, span)?;
    if to_end {
        unchanged(&table, origin)?;
    }
    recorder.finish().map_err(|lost| refused(plan, lost.source))?;
    small_enough(plan, unfinished)?;
    let has = |i: usize| plan.columns.signals.iter().any(|c| c.signal == i);
    let signals = plan.bay.settings.signals.iter().enumerate();
    let left_out = signals.filter(|(i, _)| !has(*i)).map(|(_, s)| s.name.clone()).collect();
    let (origin, out) = (origin.clone(), plan.out.to_owned());
    Ok(Report { origin, counts, passed_over, sorted: order.sorted, half_line, span, left_out, phase, out })
}

fn refused(plan: &Plan<'_>, source: std::io::Error) -> ImportError {
    ImportError::Out { path: plan.out.to_owned(), source }
}

/// The recording's first record, and who writes the rest.
fn begin(
    plan: &Plan<'_>,
    origin: &Origin,
    settings: &crate::engine::settings::Settings,
    wall_at_zero: WallTime,
    unfinished: &Unfinished,
) -> Result<Recorder, ImportError> {
    let mut texts = plan.texts.to_vec();
    texts.extend(plan.delivery.iter().flat_map(|d| d.texts.iter().cloned()));
    texts.push(plan.columns.text.clone());
    texts.push(origin.text());
    let header = Header {
        program_version: PROGRAM_VERSION.to_owned(),
        numerics_version: NUMERICS_VERSION,
        drill_speed: None,
        boot_id: "imported".to_owned(),
        machine_ns_at_zero: 0,
        wall_at_zero,
        bay: plan.bay.slug.clone(),
        texts,
        settings: settings.clone(),
        carried: Carried::default(),
    };
    Recorder::create(&unfinished.0, &header).map_err(|source| refused(plan, source))
}

/// A recording that no reader takes is of no use.
fn small_enough(plan: &Plan<'_>, unfinished: &Unfinished) -> Result<(), ImportError> {
    let bytes = fs::metadata(&unfinished.0).map_or(0, |m| m.len());
    if bytes <= FILE_MAX {
        return Ok(());
    }
    Err(ImportError::Needs(format!(
        "{}: the recording grows beyond the {FILE_MAX} bytes that can be read back; narrow from and to in the column map, \
         for example to one delivery; nothing was written",
        plan.out.display()
    )))
}

fn backwards(table: &Table, reader: &Reader<'_>, at: WallTime, latest: WallTime) -> ImportError {
    let what = format!("time runs backwards: {} after {}", shown(at), shown(latest));
    table.wrong(
        reader.time_column(),
        &what,
        "rows are sorted within one second and no farther: sort the history, or see whether its zone and format are those \
         of [time] in the column map",
    )
}

fn no_rows(plan: &Plan<'_>, table: &Table, passed_over: u64) -> ImportError {
    let (what, act) = if passed_over > 0 {
        let bound = |t: Option<WallTime>, open: &str| t.map_or_else(|| open.to_owned(), shown);
        let (from, to) = (bound(plan.columns.from, "the first row"), bound(plan.columns.to, "the last row"));
        (
            format!("none of its {passed_over} rows lies between {from} and {to}"),
            "correct from, to or [time] in the column map",
        )
    } else {
        ("holds no whole row".to_owned(), "give a table with at least one row behind the line with the names")
    };
    table.trouble(None, None, &what, act)
}

/// No entry lies before the first row.
fn none_before(plan: &Plan<'_>, first: WallTime) -> Result<(), ImportError> {
    match plan.columns.entries.first() {
        Some(entry) if entry.at < first => {
            Err(outside(entry.at, &format!("the first row used is of {}", shown(first))))
        }
        _ => Ok(()),
    }
}

fn outside(entry: WallTime, rows: &str) -> ImportError {
    ImportError::Needs(format!(
        "the entry at {} lies outside the history: {rows}; correct its at, or from and to, in the column map; nothing was \
         written",
        shown(entry)
    ))
}

/// Every entry has found its place, and a delivery's transfer its start.
fn all_entered(
    plan: &Plan<'_>,
    still: Option<WallTime>,
    counts: Counts,
    span: (WallTime, WallTime),
) -> Result<(), ImportError> {
    let rows = format!("the rows used run from {} to {}", shown(span.0), shown(span.1));
    if let Some(at) = still {
        return Err(outside(at, &rows));
    }
    if plan.delivery.is_some() && counts.entries == 0 {
        return Err(ImportError::Needs(format!(
            "no row's phase is one that starts the transfer ({rows}); correct phase.transfer in the column map; nothing was \
             written"
        )));
    }
    Ok(())
}

/// The recording says of what it was made; that must be what was read.
fn unchanged(table: &Table, origin: &Origin) -> Result<(), ImportError> {
    if table.passed().hash().to_hex().as_str() == origin.blake3 {
        return Ok(());
    }
    Err(table.trouble(None, None, "changed while it was read", "import it when nobody writes to it, or a copy of it"))
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Counts { rows, polls, missed, held, gaps, entries, late } = self.counts;
        let (from, to) = (shown(self.span.0), shown(self.span.1));
        writeln!(f, "{}: {rows} of {} rows, {from} to {to}", self.origin.file, self.origin.rows)?;
        writeln!(f, "{polls} answers of devices, {missed} missed, {entries} entries")?;
        let notes = [
            (self.passed_over, "rows before from or after to were passed over"),
            (self.sorted, "rows were sorted within their second"),
            (held, "values were held by the history and are no new readings"),
            (gaps, "times nobody wrote the history for more than 10 min: shown as blind"),
        ];
        for (count, what) in notes.into_iter().filter(|(count, _)| *count > 0) {
            writeln!(f, "{count} {what}")?;
        }
        if late > 0 {
            let what = "rows came when the values before them were too old to be used";
            writeln!(f, "{late} {what}; where the history is that coarse, write period in the column map")?;
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
