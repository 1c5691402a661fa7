//! What the charts found, in sentences.
//!
//! What hurts comes first: where a loss of product at every delivery would look the same as an instrument that has moved,
//! that is said before anybody is sent to adjust the instrument.

use super::chart::{LEARN, Shape, Side};
use super::choose;
use super::drift::{Finding, Instrument, Pair};
use super::row::Row;
use crate::words::display::{kg, number};
use jiff::tz::TimeZone;

/// A finding in three sentences.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    /// What is seen: who, since when, by how much.
    pub seen: String,
    /// What would look the same and must be looked at first; empty where nothing dangerous would.
    pub first: String,
    /// What it rests on.
    pub rests_on: String,
}

/// As it stands in a sentence.
#[must_use]
pub fn name(instrument: &Instrument) -> String {
    match instrument {
        Instrument::FlowMeter => "flow meter".to_owned(),
        Instrument::Scale => "scale".to_owned(),
        Instrument::TankLevel(tank) => format!("level of tank {tank}"),
        Instrument::Tickets => "weigh tickets".to_owned(),
    }
}

fn the(instrument: &Instrument) -> String {
    format!("the {}", name(instrument))
}

fn list(parts: &[String], word: &str) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [all @ .., last] => format!("{} {word} {last}", all.join(", ")),
    }
}

/// A mass with two figures that matter, its unit.
fn about(mass_kg: f64) -> String {
    let size = mass_kg.abs();
    let decimals = if size < 3.0 { 1 } else { 0 };
    format!("{}\u{a0}kg", number(size, decimals))
}

/// A pair as a heading.
#[must_use]
pub fn heading(pair: &Pair) -> String {
    let text = format!("{} less {}", name(&pair.one), name(&pair.other));
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A delivery by number and day.
fn delivery(row: &Row, zone: &TimeZone) -> String {
    let day = choose::day(row.at_unix_ns(), zone).map_or_else(|| "unknown day".to_owned(), |day| day.to_string());
    format!("{} ({day})", row.delivery)
}

/// What a finding comes to. `pairs` and `rows` are those it was made of.
#[must_use]
pub fn finding(finding: &Finding, pairs: &[Pair], rows: &[Row], zone: &TimeZone) -> Said {
    let pair = &pairs[finding.pair];
    let by_kg = finding.by_kg.kg;
    let (lasted, from) = (finding.lasted, delivery(&rows[finding.from], zone));
    let when = match finding.until {
        None => format!("since about delivery {from}"),
        Some(until) => format!("from about delivery {from} to about {}", delivery(&rows[until], zone)),
    };
    let share = if pair.load_kg(0).is_finite() && finding.load_kg > 0.0 {
        format!(" on a load of {} ({} %)", kg(finding.load_kg), number(100.0 * by_kg.abs() / finding.load_kg, 2))
    } else {
        String::new()
    };
    #[expect(clippy::cast_precision_loss, reason = "a count of deliveries")]
    let each_kg = by_kg / lasted.max(1) as f64;
    let (now, tense) = if finding.until.is_some() { ("in the end", "came back since") } else { ("now", "") };
    let how_much = match finding.shape {
        Shape::Step => format!("by about {} (u {}){share}", about(by_kg), about(finding.by_kg.u_kg)),
        Shape::Ramp => format!(
            "by about {} more with each delivery, {now} about {} (u {}){share}",
            about(each_kg),
            about(by_kg),
            about(finding.by_kg.u_kg)
        ),
    };
    let back = if tense.is_empty() { "" } else { "; it has come back since" };
    let seen = match finding.moved.as_slice() {
        [(moved, side)] => {
            let others: Vec<String> = finding.pairs.iter().map(|&at| the(other_of(&pairs[at], moved))).collect();
            let (bay, others) = (&finding.bay, list(&others, "and"));
            let way = if *side == Side::High { "more" } else { "less" };
            format!(
                "{bay}: the {} has moved: {when} it shows {way} against {others} than before, {how_much}{back}.",
                name(moved)
            )
        }
        _ => {
            let names: Vec<String> = instruments(finding).iter().map(the).collect();
            let way = if by_kg > 0.0 { "more" } else { "less" };
            format!(
                "{}: one of {} has moved, which cannot be told: {when} the {} shows {way} against the {} than before, \
                 {how_much}{back}.",
                finding.bay,
                list(&names, "and"),
                name(&pair.one),
                name(&pair.other)
            )
        }
    };
    Said { seen, first: first(finding), rests_on: rests_on(finding, pairs) }
}

fn other_of<'a>(pair: &'a Pair, instrument: &Instrument) -> &'a Instrument {
    if pair.one == *instrument { &pair.other } else { &pair.one }
}

/// Everyone under suspicion, once.
#[must_use]
pub fn instruments(finding: &Finding) -> Vec<Instrument> {
    let mut all: Vec<Instrument> = finding.moved.iter().map(|(instrument, _)| instrument.clone()).collect();
    all.dedup();
    all
}

/// What would look the same and hurts.
fn first(finding: &Finding) -> String {
    let mut same = Vec::new();
    let may = |wanted: fn(&Instrument) -> bool, side| finding.moved.iter().any(|(i, s)| wanted(i) && *s == side);
    if may(|i| *i == Instrument::Scale, Side::High) {
        same.push("product lost between trailer and flow meter at each delivery");
    }
    if may(|i| matches!(i, Instrument::TankLevel(_)), Side::Low) {
        same.push("product lost after the flow meter at each delivery, or gone to another tank");
    }
    if may(|i| matches!(i, Instrument::TankLevel(_)), Side::High) {
        same.push("something else coming into the tank during deliveries");
    }
    if may(|i| *i == Instrument::Tickets, Side::High) {
        same.push("product that never arrives: lost on the way, or left in the trailer");
    }
    if same.is_empty() {
        return String::new();
    }
    let same: Vec<String> = same.into_iter().map(str::to_owned).collect();
    format!("Rule out first, before anything is adjusted: {} would look the same.", list(&same, "or"))
}

fn rests_on(finding: &Finding, pairs: &[Pair]) -> String {
    let shown: Vec<String> = finding.pairs.iter().map(|&at| heading(&pairs[at]).to_lowercase()).collect();
    match finding.moved.as_slice() {
        [_] => format!("It is the one thing that the charts {} have in common.", list(&shown, "and")),
        _ if finding.pairs.len() == 1 => {
            format!("Only the chart {} shows it so far; a second one would tell which of the two.", shown[0])
        }
        _ => format!("The charts {} show it and do not point to one instrument.", list(&shown, "and")),
    }
}

/// What a pair's chart comes to.
#[must_use]
pub fn chart(pair: &Pair) -> String {
    let count = pair.rows.len();
    if !pair.judges() {
        return format!(
            "{count} deliveries: too few to judge by; the first {LEARN} only teach the chart what is usual."
        );
    }
    let open = pair.chart.signals.iter().any(|signal| signal.back.is_none());
    let gone = pair.chart.signals.iter().filter(|signal| signal.back.is_some()).count();
    let usual = format!(
        "Usual difference {}\u{a0}kg, scatter {} from delivery to delivery",
        number(pair.usual_kg(), 0),
        about(pair.scatter_kg())
    );
    let what = match (open, gone) {
        (true, _) => "it stands differently now".to_owned(),
        (false, 0) => format!(
            "no lasting change found in {count} deliveries; one of {} would take about ten to show",
            about(pair.scatter_kg())
        ),
        (false, _) => format!("lasting changes found in {count} deliveries: {gone}, none of them now"),
    };
    let within = |at: usize| {
        let mut signals = pair.chart.signals.iter();
        signals.any(|signal| at >= signal.risen_from && signal.back.is_none_or(|back| at <= back))
    };
    let far = pair.chart.points.iter().enumerate().filter(|(at, point)| point.far_off && !within(*at)).count();
    let far = if far > 0 { format!(" Far off alone, marked with a cross: {far}.") } else { String::new() };
    format!("{usual}: {what}.{far}")
}
