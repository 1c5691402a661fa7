//! From the walked column map to what an import reads: which column is which signal, and how its times are written.

use super::amount;
use super::fault::Draft;
use super::moment::{Moments, TimeFormat};
use super::site::find;
use super::walk::{Table, walk};
use super::{BaySetup, keys, signals};
use crate::engine::input::What;
use crate::finding::Thing;
use crate::time::WallTime;
use crate::units::{Quantity, Unit};
use jiff::tz::TimeZone;
use std::path::Path;

/// A column map, read and checked against a bay.
#[derive(Debug, Clone)]
pub struct Columns {
    /// Between two fields.
    pub separator: u8,
    /// The decimal mark is a comma.
    pub decimal_comma: bool,
    /// Line that names the columns, from 1.
    pub header_line: u64,
    /// An empty field is a missed value; otherwise there was no new one at that time.
    pub empty_is_missed: bool,
    /// Texts that count as an empty field.
    pub empty: Vec<String>,
    /// Texts that say that the value is none.
    pub bad: Vec<String>,
    /// Longest time between two readings that is on time, s.
    pub period_s: Option<f64>,
    /// Rows before it are passed over.
    pub from: Option<WallTime>,
    /// Rows after it are passed over.
    pub to: Option<WallTime>,
    /// Names of the columns of the time; their texts are joined by a space.
    pub time: Vec<String>,
    /// How it is read.
    pub moments: Moments,
    /// Each row holds one value: the columns of its name and of itself. The columns of signals and phase are then names.
    pub one_value_a_row: Option<(String, String)>,
    /// A column that says in which phase the bay was.
    pub phase: Option<PhaseColumn>,
    /// Entries at known times, in their order.
    pub entries: Vec<TimedEntry>,
    /// Each signal that the history has.
    pub signals: Vec<SignalColumn>,
    /// The map itself: name as written, text.
    pub text: (String, String),
}

/// A column that says in which phase the bay was.
#[derive(Debug, Clone, PartialEq)]
pub struct PhaseColumn {
    /// Its name.
    pub column: String,
    /// Its texts during a transfer.
    pub transfer: Vec<String>,
    /// Its texts when the leg is closed.
    pub closed: Vec<String>,
    /// Who is said to have entered it.
    pub who: String,
}

/// An entry at a known time.
#[derive(Debug, Clone, PartialEq)]
pub struct TimedEntry {
    /// When.
    pub at: WallTime,
    /// What.
    pub what: What,
    /// Who.
    pub who: String,
}

/// A signal and the column of its values.
#[derive(Debug, Clone, PartialEq)]
pub struct SignalColumn {
    /// Index into the bay's signals.
    pub signal: usize,
    /// Name of the column.
    pub column: String,
    /// How its texts become a value.
    pub reads: Reads,
    /// A value that has been the same for longer is held by the history, s.
    pub held_longer_than_s: Option<f64>,
    /// A column that says whether the value holds, and its texts while it does.
    pub quality: Option<(String, Vec<String>)>,
}

/// How a text becomes a value.
#[derive(Debug, Clone, PartialEq)]
pub enum Reads {
    /// SI value = number x factor + offset.
    Number {
        /// See above.
        factor: f64,
        /// See above.
        offset: f64,
    },
    /// Texts that mean yes, and no; capitals make no difference.
    YesNo(Vec<String>, Vec<String>),
}

impl Columns {
    /// The number that a field holds; `None` where it holds none. No separators between thousands.
    #[must_use]
    pub fn number(&self, field: &str) -> Option<f64> {
        if !self.decimal_comma {
            return amount::plain(field);
        }
        // A point would be a separator of thousands, and 1.234 another number than was meant.
        if field.contains('.') { None } else { amount::plain(&field.replace(',', ".")) }
    }
}

/// A column map out of a text. `None` where a fault was noted.
pub(super) fn columns(draft: &mut Draft, path: &Path, text: String, bay: &BaySetup) -> Option<Columns> {
    let file = draft.open(path.display().to_string(), text.clone());
    let table = walk(draft, file, keys::COLUMNS);
    if draft.has_syntax_fault() {
        return None;
    }
    let separator = match table.text("separator") {
        "semicolon" => b';',
        "tab" => b'\t',
        _ => b',',
    };
    let moments = moments(draft, table.table("time"));
    let mut times = Times { draft, moments: &moments };
    let (from, to) = (times.of(&table, "from"), times.of(&table, "to"));
    let entries = entries(&mut times, table.tables("entry"));
    let written = path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
    let columns = Columns {
        separator,
        decimal_comma: table.text("decimal") == "comma",
        header_line: table.integer("header_line").unsigned_abs(),
        empty_is_missed: table.text("empty_means") != "nothing",
        empty: words(&table, "empty"),
        bad: words(&table, "bad"),
        period_s: table.optional_number("period"),
        from,
        to,
        time: words(table.table("time"), "columns"),
        one_value_a_row: one_value_a_row(draft, table.table("one_value_a_row")),
        phase: phase(draft, table.table("phase")),
        entries,
        signals: table.tables("signal").iter().filter_map(|t| signal(draft, t, bay)).collect(),
        moments,
        text: (written, text),
    };
    super::site::unlike(draft, table.tables("signal"), "signal", str::to_owned);
    if !columns.entries.is_empty() && columns.phase.is_some() {
        draft
            .fault(table.table("phase").at(), "phase", "stands beside [[entry]]: an entry would be made twice")
            .act("keep one of the two");
    }
    draft.is_clean().then_some(columns)
}

fn words(table: &Table, key: &str) -> Vec<String> {
    table.texts(key).iter().map(|(text, _)| text.clone()).collect()
}

fn moments(draft: &mut Draft, table: &Table) -> Moments {
    let written = table.text("format");
    let format = match written {
        "rfc3339" => TimeFormat::Rfc3339,
        "epoch_s" => TimeFormat::Epoch(1_000_000_000),
        "epoch_ms" => TimeFormat::Epoch(1_000_000),
        pattern => {
            if !written.is_empty() && !pattern.contains('%') {
                draft
                    .fault(table.spot("format"), table.path("format"), format!("{pattern:?} is no form of a time"))
                    .allowed("rfc3339, epoch_s, epoch_ms, or a pattern with %, for example %d.%m.%Y %H:%M:%S%.f")
                    .act("write how the history writes its times");
            }
            TimeFormat::Pattern(pattern.to_owned())
        }
    };
    let zone = table.optional_text("zone").and_then(|name| {
        let zone = TimeZone::get(name).ok();
        if zone.is_none() {
            draft
                .fault(table.spot("zone"), table.path("zone"), format!("{name:?} is no zone that this machine knows"))
                .allowed("a name of the IANA time zone database, for example Europe/Berlin, America/Chicago or UTC")
                .act("write the zone of the clock that wrote the history; the system package tzdata holds them all");
        }
        zone
    });
    let has_offset = match &format {
        TimeFormat::Rfc3339 | TimeFormat::Epoch(_) => true,
        TimeFormat::Pattern(p) => ["%z", "%:z", "%Z", "%Q", "%:Q", "%s"].iter().any(|part| p.contains(part)),
    };
    if !has_offset && zone.is_none() && !written.is_empty() && !table.is_written("zone") {
        draft
            .fault(table.spot("format"), table.path("zone"), "is missing: times of this form carry no offset")
            .act("write the zone of the clock that wrote the history, for example: zone = \"Europe/Berlin\"");
    }
    Moments { format, zone }
}

/// Reads the map's own times: with an offset, or in the history's zone.
struct Times<'d> {
    draft: &'d mut Draft,
    moments: &'d Moments,
}

impl Times<'_> {
    fn of(&mut self, table: &Table, key: &str) -> Option<WallTime> {
        let text = table.optional_text(key)?;
        let written = Moments { format: TimeFormat::Rfc3339, zone: self.moments.zone.clone() };
        match written.read(text, None) {
            Ok(moment) => Some(moment),
            Err(why) => {
                self.draft
                    .fault(table.spot(key), table.path(key), format!("{text:?} {why}"))
                    .allowed("for example 2026-03-01T10:15:00+01:00, or without the offset where time.zone is given")
                    .act("write date, T, time and offset");
                None
            }
        }
    }
}

fn entries(times: &mut Times<'_>, tables: &[Table]) -> Vec<TimedEntry> {
    let mut entries = Vec::<TimedEntry>::new();
    for table in tables {
        let Some(at) = times.of(table, "at") else { continue };
        let what = if table.text("what") == "closed" { What::Closed } else { What::TransferStarted };
        if entries.last().is_some_and(|before| at < before.at) {
            times
                .draft
                .fault(table.spot("at"), table.path("at"), "is before the entry above it")
                .act("put the entries in the order of their times");
        }
        entries.push(TimedEntry { at, what, who: table.text("who").to_owned() });
    }
    entries
}

fn one_value_a_row(draft: &mut Draft, table: &Table) -> Option<(String, String)> {
    let written = ["name", "value"].into_iter().find(|key| table.is_written(key))?;
    for missing in ["name", "value"].into_iter().filter(|key| !table.is_written(key)) {
        draft
            .fault(table.spot(written), table.path(missing), format!("is missing: {written} stands without it"))
            .act("write both columns, for example: name = \"Tag\" and value = \"Value\"");
    }
    Some((table.text("name").to_owned(), table.text("value").to_owned()))
}

fn phase(draft: &mut Draft, table: &Table) -> Option<PhaseColumn> {
    let keys = ["column", "transfer", "closed"];
    let written = keys.into_iter().find(|key| table.is_written(key))?;
    for missing in ["column", "transfer"].into_iter().filter(|key| !table.is_written(key)) {
        draft
            .fault(table.spot(written), table.path(missing), format!("is missing: {written} stands without it"))
            .act("write the column and its texts during a transfer");
    }
    Some(PhaseColumn {
        column: table.text("column").to_owned(),
        transfer: words(table, "transfer"),
        closed: words(table, "closed"),
        who: table.text("who").to_owned(),
    })
}

fn signal(draft: &mut Draft, table: &Table, bay: &BaySetup) -> Option<SignalColumn> {
    let names = bay.settings.signals.iter().map(|s| s.name.as_str());
    let at = (table.spot("signal"), table.path("signal"));
    let signal = find(draft, at, table.text("signal"), Thing::SignalOfThatBay, names)?;
    let kind = bay.settings.signals[signal].kind;
    let quantity = signals::FORMS.iter().find(|form| form.kind == kind).map(|form| form.quantity)?;
    let reads = if quantity == Quantity::YesNo { yes_no(table) } else { number(draft, table, quantity) };
    let quality = table.optional_text("quality").map(|column| (column.to_owned(), words(table, "good")));
    if table.is_written("quality") != table.is_written("good") {
        let (there, missing) = if table.is_written("quality") { ("quality", "good") } else { ("good", "quality") };
        draft
            .fault(table.spot(there), table.path(missing), format!("is missing: {there} stands without it"))
            .act("write the column and its texts while the value holds, for example: good = [\"Good\"]");
    }
    Some(SignalColumn {
        signal,
        column: table.text("column").to_owned(),
        reads,
        held_longer_than_s: table.optional_number("held_longer_than"),
        quality,
    })
}

fn yes_no(table: &Table) -> Reads {
    let texts = |key: &str, usual: &[&str]| {
        let given: Vec<String> = words(table, key).iter().map(|word| word.to_lowercase()).collect();
        if given.is_empty() { usual.iter().map(|&word| word.to_owned()).collect() } else { given }
    };
    Reads::YesNo(texts("yes", &["1", "true", "yes", "on"]), texts("no", &["0", "false", "no", "off"]))
}

fn number(draft: &mut Draft, table: &Table, quantity: Quantity) -> Reads {
    let unit: Option<Unit> = match table.optional_text("unit") {
        Some(name) => amount::unit(draft, table.spot("unit"), &table.path("unit"), name, quantity),
        None if table.is_written("unit") => None,
        None => {
            draft
                .fault(table.at(), table.path("unit"), format!("is missing: {} needs one", table.text("signal")))
                .allowed(amount::units(quantity))
                .act("write the unit that the column counts in");
            None
        }
    };
    let (scale, offset) = (table.number("scale"), table.number("offset"));
    if scale == 0.0 {
        draft
            .fault(table.spot("scale"), table.path("scale"), "is 0: every number would mean the same")
            .allowed("any number but 0")
            .act("write what one count of the column is worth in the unit, for example: scale = 0.1");
    }
    let (factor, offset) = unit.map_or((f64::NAN, f64::NAN), |u| (u.step_to_si(scale), u.to_si(offset)));
    Reads::Number { factor, offset }
}
