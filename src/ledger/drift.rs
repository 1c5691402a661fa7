//! Instruments held against each other over many deliveries: which one has moved, since about which delivery, by how much.
//!
//! Each pair of what can say a delivery's mass has a chart of its own. A chart shows that its two stand differently to each
//! other than they did, never which of them moved: an instrument is named only where at least two charts say so and every
//! chart that says anything says so too.

use super::chart::{Change, Chart, LEARN, Shape, Side, Signal, change, chart};
use super::row::{Mass, Row};
use serde::Serialize;
use std::collections::BTreeMap;

/// What can say how much a delivery was.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Instrument {
    /// The bay's flow meter.
    FlowMeter,
    /// The bay's scale.
    Scale,
    /// The level of a tank, by its name.
    TankLevel(String),
    /// The weigh tickets.
    Tickets,
}

/// Two of them over the deliveries that have both, oldest first.
#[derive(Debug, Clone)]
pub struct Pair {
    /// Name of the bay.
    pub bay: String,
    /// Which.
    pub one: Instrument,
    /// Held against which.
    pub other: Instrument,
    /// Place of each delivery among the rows given.
    pub rows: Vec<usize>,
    /// One less the other with the standard uncertainty of that, kg.
    pub differences_kg: Vec<Mass>,
    /// The delivery's mass by the first of them, kg.
    pub loads_kg: Vec<f64>,
    /// The chart of difference over uncertainty.
    pub chart: Chart,
    /// What its signals found.
    pub changes: Vec<(Signal, Option<Change>)>,
}

/// One lasting change, and what the charts together say of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Name of the bay.
    pub bay: String,
    /// Who may have moved, and which way; one: it is named.
    pub moved: Vec<(Instrument, Side)>,
    /// Place of the pair among the charts that shows it best.
    pub pair: usize,
    /// Places of all pairs that show it.
    pub pairs: Vec<usize>,
    /// How.
    pub shape: Shape,
    /// Row of the first delivery that is off, about.
    pub from: usize,
    /// Row of the last one, where it has come back since.
    pub until: Option<usize>,
    /// So many deliveries of the pair it has lasted.
    pub lasted: usize,
    /// By how much the pair's difference has changed at the end of it, on a load of `load_kg`, kg.
    pub by_kg: Mass,
    /// Middle load of its last deliveries, kg.
    pub load_kg: f64,
}

/// Deliveries over whose middle a change is turned from uncertainties into kg.
const LAST: usize = 10;

impl Pair {
    fn empty(bay: &str, one: &Instrument, other: &Instrument) -> Pair {
        Pair {
            bay: bay.to_owned(),
            one: one.clone(),
            other: other.clone(),
            rows: Vec::new(),
            differences_kg: Vec::new(),
            loads_kg: Vec::new(),
            chart: Chart::default(),
            changes: Vec::new(),
        }
    }

    /// Puts difference over uncertainty on its chart.
    fn judge(&mut self) {
        let values: Vec<f64> = self.differences_kg.iter().map(|d| d.kg / d.u_kg).collect();
        self.chart = chart(&values);
        self.changes = self.chart.signals.iter().map(|signal| (*signal, change(&self.chart, signal))).collect();
    }

    /// The chart has enough to judge by.
    #[must_use]
    pub fn judges(&self) -> bool {
        self.rows.len() > LEARN
    }

    /// Middle load of up to `LAST` deliveries that end at a place, kg.
    #[must_use]
    pub fn load_kg(&self, end: usize) -> f64 {
        middle(self.loads_kg.get(last(end)).unwrap_or_default().iter().copied())
    }

    /// Middle uncertainty of up to `LAST` deliveries that end at a place, kg: what the chart's unit is worth there.
    #[must_use]
    pub fn unit_kg(&self, end: usize) -> f64 {
        middle(self.differences_kg.get(last(end)).unwrap_or_default().iter().map(|d| d.u_kg))
    }

    /// Usual difference on deliveries like the last ones, kg.
    #[must_use]
    pub fn usual_kg(&self) -> f64 {
        self.chart.usual.mean() * self.unit_kg(self.rows.len().saturating_sub(1))
    }

    /// Usual scatter on deliveries like the last ones, standard deviation, kg.
    #[must_use]
    pub fn scatter_kg(&self) -> f64 {
        self.chart.usual.deviation() * self.unit_kg(self.rows.len().saturating_sub(1))
    }
}

/// Places of the last few up to one.
fn last(end: usize) -> std::ops::RangeInclusive<usize> {
    (end + 1).saturating_sub(LAST)..=end
}

fn middle(values: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)
}

/// What a row's instruments say: who, how much, and where they stand in [`Row::witnesses`].
fn said(row: &Row) -> Vec<(Instrument, Mass, usize)> {
    let instruments = [Instrument::FlowMeter, Instrument::Scale, Instrument::TankLevel(row.tank.clone())];
    let witnesses = instruments.into_iter().zip(row.witnesses).zip(0..);
    witnesses.filter_map(|((instrument, mass), at)| Some((instrument, mass?, at))).collect()
}

/// Every pair of every bay over closed deliveries that were no drills. `rows`: oldest first.
#[must_use]
pub fn pairs(rows: &[Row]) -> Vec<Pair> {
    let mut found: BTreeMap<(String, Instrument, Instrument), Pair> = BTreeMap::new();
    let mut put =
        |row: &Row, (one, other): (&Instrument, &Instrument), place: usize, difference: Mass, load_kg: f64| {
            if difference.kg.is_finite() && difference.u_kg.is_finite() && difference.u_kg > 0.0 {
                let key = (row.bay.clone(), one.clone(), other.clone());
                let pair = found.entry(key).or_insert_with_key(|(bay, one, other)| Pair::empty(bay, one, other));
                pair.rows.push(place);
                pair.differences_kg.push(difference);
                pair.loads_kg.push(load_kg);
            }
        };
    for (place, row) in rows.iter().enumerate().filter(|(_, row)| row.counts()) {
        let said = said(row);
        for (first, (one, mass, at)) in said.iter().enumerate() {
            for (other, other_mass, other_at) in &said[first + 1..] {
                let difference = Mass { kg: mass.kg - other_mass.kg, u_kg: row.pair_u_kg(*at, *other_at) };
                put(row, (one, other), place, difference, mass.kg);
            }
            if let Some(line) = row.in_line_kg {
                let ticket = row.ticket_kg;
                let u_kg = (mass.u_kg * mass.u_kg + line.u_kg * line.u_kg + ticket.u_kg * ticket.u_kg).sqrt();
                let difference = Mass { kg: mass.kg + line.kg - ticket.kg, u_kg };
                put(row, (one, &Instrument::Tickets), place, difference, mass.kg);
            }
        }
    }
    let mut pairs: Vec<Pair> = found.into_values().collect();
    pairs.iter_mut().for_each(Pair::judge);
    pairs
}

/// One signal of one pair, in rows.
#[derive(Clone, Copy)]
struct Seen {
    pair: usize,
    signal: Signal,
    change: Change,
    rows: (usize, usize),
}

/// What the charts say together, the latest first. `pairs` as [`pairs`] made them.
#[must_use]
pub fn findings(pairs: &[Pair]) -> Vec<Finding> {
    let mut by_bay: BTreeMap<&str, Vec<Seen>> = BTreeMap::new();
    for (place, pair) in pairs.iter().enumerate() {
        let Some(&last) = pair.rows.last() else { continue };
        for (signal, change) in &pair.changes {
            let Some(change) = *change else { continue };
            let to = signal.back.map_or(last, |back| pair.rows[back]);
            let rows = (pair.rows[signal.risen_from], to);
            by_bay.entry(&pair.bay).or_default().push(Seen { pair: place, signal: *signal, change, rows });
        }
    }
    let bays = by_bay.into_values().flat_map(together);
    let mut found: Vec<Finding> = bays.map(|seen| finding(pairs, &seen)).collect();
    found.sort_by_key(|finding| (finding.until.is_some(), std::cmp::Reverse(finding.from)));
    found
}

/// Signals of one bay that overlap in time; the latest of each pair.
fn together(mut seen: Vec<Seen>) -> Vec<Vec<Seen>> {
    seen.sort_by_key(|one| one.rows);
    let mut groups: Vec<(usize, Vec<Seen>)> = Vec::new();
    for one in seen {
        match groups.last_mut() {
            Some((end, group)) if one.rows.0 <= *end => {
                *end = (*end).max(one.rows.1);
                group.retain(|other| other.pair != one.pair);
                group.push(one);
            }
            _ => groups.push((one.rows.1, vec![one])),
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

/// Who may be behind a signal: both of its pair, each the other way.
fn suspects(pair: &Pair, side: Side) -> [(Instrument, Side); 2] {
    let other_side = if side == Side::High { Side::Low } else { Side::High };
    [(pair.one.clone(), side), (pair.other.clone(), other_side)]
}

fn finding(pairs: &[Pair], seen: &[Seen]) -> Finding {
    let of = |one: &Seen| suspects(&pairs[one.pair], one.signal.side);
    let mut moved: Vec<(Instrument, Side)> = seen.iter().flat_map(of).collect();
    moved.sort();
    moved.dedup();
    let named =
        moved.iter().find(|suspect| seen.len() > 1 && seen.iter().all(|one| of(one).contains(suspect))).cloned();
    if let Some(named) = named {
        moved = vec![named];
    }
    let clearness = |one: &Seen| one.change.by.abs() / one.change.u.max(f64::MIN_POSITIVE);
    let best = seen.iter().max_by(|a, b| clearness(a).total_cmp(&clearness(b))).expect("a group has a signal");
    let pair = &pairs[best.pair];
    let (end, unit_kg) = (best.signal.highest, pair.unit_kg(best.signal.highest));
    let over = seen.iter().all(|one| one.signal.back.is_some());
    Finding {
        bay: pair.bay.clone(),
        moved,
        pair: best.pair,
        pairs: seen.iter().map(|one| one.pair).collect(),
        shape: best.change.shape,
        from: pair.rows[best.change.from],
        until: over.then(|| pair.rows[end]),
        lasted: end + 1 - best.change.from,
        by_kg: Mass { kg: best.change.by * unit_kg, u_kg: best.change.u * unit_kg },
        load_kg: pair.load_kg(end),
    }
}
