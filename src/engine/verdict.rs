//! What the witnesses say together.
//!
//! Agreement is never more than it is: beside it stands the smallest leak that would have been found by now.

use super::bank::{Bank, Shape};
use super::block::Recent;
use super::frame::{Estimate, Growing, Verdict, VerdictWord, WitnessId};
use super::reconcile::Panel;
use super::settings::Thresholds;
use super::suspects::Found;
use super::witness::Account;
use crate::planted::{Bug, planted};
use crate::time::EngineTime;

/// A leak is taken to have begun this long ago when "leak below" is worked out, min.
const LEAK_BEGAN_MIN: f64 = 10.0;

/// A leak that is at least this old stands for it, s: it has had less time to show, so "below" errs to the large side.
const LEAK_BEGAN_AT_LEAST_S: f64 = 300.0;

/// Once they disagree, every statistic must fall to this share of its threshold before they agree again.
const RETURN_SHARE: f64 = 0.5;

/// Kinds of fault whose smallest size is said: a leak on the trailer's side, one on the tank's.
const TRAILER: (usize, usize) = (0, 0);
/// See above: the tank shows too little.
const TANKS: (usize, usize) = (2, 1);

/// Two witnesses whose difference scatters by less than this share of what their divisions alone must give
/// cannot be two instruments.
const COPY_SHARE: f64 = 0.25;

/// The two must have moved by this many divisions before that can be said.
const COPY_DIVISIONS: f64 = 10.0;

const FLOW: usize = WitnessId::Flow as usize;
const SCALE: usize = WitnessId::Scale as usize;
const TANK: usize = WitnessId::Tank as usize;

/// Which transmitter each witness stands on. Two of one transmitter count as one: they never bear each other out.
#[derive(Debug, Clone, Copy)]
pub struct Origins<'a>(pub [Option<&'a str>; 3]);

impl Origins<'_> {
    /// Whether two witnesses stand on one transmitter.
    #[must_use]
    pub fn shared(&self, a: usize, b: usize) -> bool {
        self.0[a].is_some() && self.0[a] == self.0[b]
    }

    /// How many independent ones take part.
    #[must_use]
    pub fn count(&self, panel: &Panel) -> usize {
        let there = |i: usize| panel.received_kg[i].is_some();
        (0..3).filter(|&i| there(i) && !(0..i).any(|j| there(j) && self.shared(i, j))).count()
    }
}

/// Before anything has moved.
#[must_use]
pub fn none(at: EngineTime) -> Verdict {
    Verdict {
        word: VerdictWord::None,
        since: at,
        agree_within_kg: None,
        leak_below_trailer_kg_per_min: None,
        leak_below_tank_kg_per_min: None,
        missing_kg: None,
        growing: None,
        suspects: [false; 3],
        explanations: Vec::new(),
    }
}

/// What is judged.
#[derive(Debug, Clone, Copy)]
pub struct Case<'a> {
    /// Now.
    pub at: EngineTime,
    /// The witnesses that are compared, as they say themselves.
    pub panel: &'a Panel,
    /// Faults that were looked for.
    pub bank: &'a Bank,
    /// What is in by all of them, kg.
    pub received_kg: f64,
    /// Their recent past.
    pub recent: &'a Recent,
    /// What they say.
    pub accounts: &'a [Account; 3],
    /// Numbers to hold against.
    pub thresholds: &'a Thresholds,
    /// What they stand on.
    pub origins: Origins<'a>,
}

/// Judges, with the verdict of before.
#[must_use]
pub fn judge(case: &Case, before: &Verdict) -> Verdict {
    let mut verdict = none(case.at);
    let panel = case.panel;
    verdict.word = match panel.count() {
        0 => VerdictWord::None,
        1 => VerdictWord::OneOnly,
        _ => {
            verdict.agree_within_kg = Some(largest_difference_kg(panel).ceil());
            verdict.leak_below_trailer_kg_per_min = leak_below(case, TRAILER);
            verdict.leak_below_tank_kg_per_min = leak_below(case, TANKS);
            let at_odds = matches!(before.word, VerdictWord::Disagree | VerdictWord::CannotTellWhich);
            let found = Found::of(case.bank, case.thresholds, if at_odds { RETURN_SHARE } else { 1.0 });
            match &found {
                Some(found) => accuse(&mut verdict, case, found),
                None if case.origins.count(panel) == 1 || copies(case.recent, case.accounts) => {
                    VerdictWord::NotIndependent
                }
                None if proven(case) => VerdictWord::Agree,
                None => VerdictWord::NotYetProven,
            }
        }
    };
    if verdict.word == before.word {
        verdict.since = before.since;
    }
    verdict
}

fn accuse(verdict: &mut Verdict, case: &Case, found: &Found) -> VerdictWord {
    verdict.suspects = found.suspects(case.panel, case.thresholds, case.origins);
    verdict.explanations = found.explanations(verdict.suspects, case.thresholds);
    size(verdict, case, found);
    if verdict.suspects.iter().filter(|s| **s).count() == 1 {
        VerdictWord::Disagree
    } else {
        VerdictWord::CannotTellWhich
    }
}

/// How much is missing and how that grows, as the best suspect has it; the meter alone misses none. What the scale shows
/// too much, and what the tank shows too little, has left the trailer and was not received.
fn size(verdict: &mut Verdict, case: &Case, found: &Found) {
    let fit = |i: usize| found.fit(i).filter(|_| verdict.suspects[i]);
    let best = match (fit(SCALE), fit(TANK)) {
        (Some(scale), Some(tank)) if tank.statistic > scale.statistic => Some(tank),
        (scale, tank) => scale.or(tank),
    };
    let Some(fit) = best.or(fit(FLOW)) else { return };
    let sign = if fit.what().witness == WitnessId::Tank { -1.0 } else { 1.0 };
    let signed = |e: Estimate| Estimate { value: sign * e.value, u: e.u };
    verdict.missing_kg = best.map(|fit| signed(fit.off_kg(case.at, case.received_kg)));
    if fit.what().shape == Shape::Ramp {
        verdict.growing = Some(Growing { since: fit.since, kg_per_s: signed(fit.size) });
    }
}

fn largest_difference_kg(panel: &Panel) -> f64 {
    let low = panel.received_kg.iter().flatten().copied().fold(f64::INFINITY, f64::min);
    let high = panel.received_kg.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
    high - low
}

/// Smallest constant leak, kg/min, that begun ten minutes ago would by now be found with probability 0.95.
fn leak_below(case: &Case, (kind, sign): (usize, usize)) -> Option<f64> {
    let limit = case.thresholds.finding[kind][sign];
    let ages_s = (LEAK_BEGAN_AT_LEAST_S, LEAK_BEGAN_MIN * 60.0);
    let kg_per_s = case.bank.smallest(kind, case.at, ages_s, limit, case.thresholds.found_z)?;
    let share = if planted(Bug::LeakBelowTooSmall) { 0.2 } else { 1.0 };
    Some(share * kg_per_s * 60.0)
}

/// A dead meter, a stuck gauge or a wrong tank would have shown by now: each witness, had it stood still while
/// the others moved, would have been found. One that hangs together with it would have stood still as well.
/// A shift of sqrt(2 limit) + 1.645 standard deviations is found with probability 0.95.
fn proven(case: &Case) -> bool {
    let (panel, thresholds) = (case.panel, case.thresholds);
    let limit = thresholds.finding[TANKS.0][TANKS.1];
    let sigmas = (2.0 * limit).sqrt() + thresholds.found_z;
    (0..3).filter(|&i| panel.received_kg[i].is_some()).all(|i| {
        let apart = (0..3).filter(|&j| j != i && case.origins.shared(i, j)).fold(*panel, |panel, j| panel.without(j));
        match (apart.without(i).combine(), apart.contrast(i)) {
            (Some(others), Some(contrast)) => others.received_kg.value >= sigmas * contrast.u,
            _ => false,
        }
    })
}

/// Two that are copies of one transmitter: as the mass passes many divisions, the rounding of two registers
/// must differ (each uniform over a division, so the mean of a block has d^2/12 over five ticks).
fn copies(recent: &Recent, accounts: &[Account; 3]) -> bool {
    [(FLOW, SCALE), (FLOW, TANK), (SCALE, TANK)].into_iter().any(|(a, b)| {
        let Some((scatter_kg, moved_kg)) = recent.difference_scatter_kg(a, b) else { return false };
        let (da, db) = (accounts[a].division_kg, accounts[b].division_kg);
        let rounding_kg = ((da * da + db * db) / 12.0 / 5.0).sqrt();
        moved_kg > COPY_DIVISIONS * da.max(db) && scatter_kg < COPY_SHARE * rounding_kg
    })
}
