//! The second reading: rows in their order through the monitor, into a recording that is not yet named.

use super::error::ImportError;
use super::order::Order;
use super::rows::{self, Channel, Reader, Row};
use super::run::{Counts, Run};
use super::source::Source;
use super::table::Table;
use super::{Look, Plan, Report, Surveyed, Unfinished};
use crate::config::moment::{DISORDER_NS, shown};
use crate::engine::input::Carried;
use crate::engine::settings::Settings;
use crate::recording::format::{Header, NUMERICS_VERSION, PROGRAM_VERSION};
use crate::recording::origin::Origin;
use crate::recording::reader::FILE_MAX;
use crate::recording::writer::Recorder;
use crate::time::WallTime;
use std::fs;

/// Steps the monitor through the history and writes what comes of it.
pub fn feed(
    plan: &Plan<'_>,
    source: &dyn Source,
    surveyed: &Surveyed,
    unfinished: &Unfinished,
    look: &mut Look<'_>,
) -> Result<Report, ImportError> {
    let settings = settings(plan);
    let origin = &surveyed.origin;
    let mut table = Table::open(source, plan.columns)?;
    let mut reader = Reader::new(&table, plan.columns, &settings)?;
    let channels = reader.channels().to_vec();
    let mut feeder = Feeder { plan, origin, settings, channels, unfinished, under_way: None };
    let (mut order, mut passed_over, mut to_end) = (Order::default(), 0, true);
    while table.next()? && table.rows() <= origin.rows {
        if look.row(&table)? {
            small_enough(plan, unfinished)?;
        }
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
        table.check_width()?;
        order.take(reader.row(&table, at)?).map_err(|latest| backwards(&table, &reader, at, latest))?;
        while let Some(row) = order.give(false) {
            feeder.row(&row)?;
        }
    }
    while let Some(row) = order.give(true) {
        feeder.row(&row)?;
    }
    if to_end {
        unchanged(&table, origin)?;
    }
    let report = feeder.end().unwrap_or_else(|| Err(no_rows(plan, &table, passed_over)))?;
    Ok(Report { passed_over, sorted: order.sorted, half_line: surveyed.half_line, ..report })
}

/// Those of the bay as far as the history tells of it, with the line of the delivery's papers.
fn settings(plan: &Plan<'_>) -> Settings {
    let fitted = rows::fitted(&plan.bay.settings, plan.columns);
    match plan.delivery.and_then(|delivery| delivery.line.clone()) {
        Some(line) => Settings { line, ..fitted },
        None => fitted,
    }
}

/// Begins the recording at the first row, and ends it.
struct Feeder<'a> {
    plan: &'a Plan<'a>,
    origin: &'a Origin,
    settings: Settings,
    channels: Vec<Channel>,
    unfinished: &'a Unfinished,
    under_way: Option<UnderWay<'a>>,
}

struct UnderWay<'a> {
    run: Run<'a>,
    /// Times of the first and of the last row.
    span: (WallTime, WallTime),
}

impl Feeder<'_> {
    fn row(&mut self, row: &Row) -> Result<(), ImportError> {
        let plan = self.plan;
        let under_way = match &mut self.under_way {
            Some(under_way) => under_way,
            none => {
                none_before(plan, row.at)?;
                let recorder = begin(plan, self.origin, &self.settings, row.at, self.unfinished)?;
                let papers = plan.delivery.map(|d| &d.setup);
                let run = Run::begin(plan.columns, &self.channels, (self.settings.clone(), papers), recorder, row.at);
                none.insert(UnderWay { run, span: (row.at, row.at) })
            }
        };
        under_way.span.1 = row.at;
        under_way.run.recorder().wait_for_room().map_err(|source| refused(plan, source))?;
        under_way.run.row(row)
    }

    /// `None`: there was no row.
    fn end(self) -> Option<Result<Report, ImportError>> {
        let Feeder { plan, origin, unfinished, under_way, .. } = self;
        let UnderWay { run, span } = under_way?;
        let finish = || {
            let (counts, still, phase, recorder) = run.end()?;
            all_entered(plan, still.map(|entry| entry.at), counts, span)?;
            recorder.finish().map_err(|lost| refused(plan, lost.source))?;
            small_enough(plan, unfinished)?;
            let has = |i: usize| plan.columns.signals.iter().any(|c| c.signal == i);
            let signals = plan.bay.settings.signals.iter().enumerate();
            let left_out = signals.filter(|(i, _)| !has(*i)).map(|(_, s)| s.name.clone()).collect();
            let (origin, out) = (origin.clone(), plan.out.to_owned());
            Ok(Report { origin, counts, passed_over: 0, sorted: 0, half_line: false, span, left_out, phase, out })
        };
        Some(finish())
    }
}

fn refused(plan: &Plan<'_>, source: std::io::Error) -> ImportError {
    ImportError::Out { path: plan.out.to_owned(), source }
}

/// The recording's first record, and who writes the rest.
fn begin(
    plan: &Plan<'_>,
    origin: &Origin,
    settings: &Settings,
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
