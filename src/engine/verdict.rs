//! What the witnesses say together, as far as their totals can tell.
//!
//! Agreement is never more than it is: beside it stands the smallest leak that would have been found by now.

use super::block::Recent;
use super::frame::{Estimate, Together, Verdict, VerdictWord, WitnessId};
use super::reconcile::Panel;
use super::settings::Thresholds;
use super::suspects;
use super::witness::Account;
use crate::time::EngineTime;

/// A leak is taken to have begun this long ago when "leak below" is worked out, min.
const LEAK_BEGAN_MIN: f64 = 10.0;

/// Once they disagree, chi-square must fall to this share of its threshold before they agree again.
const RETURN_SHARE: f64 = 0.7;

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
        suspects: [false; 3],
        explanations: Vec::new(),
    }
}

/// Judges the block's panel.
#[must_use]
pub fn judge(
    at: EngineTime,
    panel: &Panel,
    recent: &Recent,
    accounts: &[Account; 3],
    thresholds: &Thresholds,
    origins: Origins,
    before: &Verdict,
) -> Verdict {
    let mut verdict = none(at);
    let together = panel.combine();
    verdict.word = match (panel.count(), &together) {
        (0, _) | (_, None) => VerdictWord::None,
        (1, _) => VerdictWord::OneOnly,
        (_, Some(together)) => {
            let limit = chi_square_limit(together, thresholds);
            verdict.agree_within_kg = Some(largest_difference_kg(panel).ceil());
            verdict.leak_below_trailer_kg_per_min = leak_below(panel, SCALE, limit, thresholds);
            verdict.leak_below_tank_kg_per_min = leak_below(panel, TANK, limit, thresholds);
            let at_odds = matches!(before.word, VerdictWord::Disagree | VerdictWord::CannotTellWhich);
            let share = if at_odds { RETURN_SHARE } else { 1.0 };
            if together.chi_square > limit * share {
                accuse(&mut verdict, panel, together, thresholds, origins)
            } else if origins.count(panel) == 1 || copies(recent, accounts) {
                VerdictWord::NotIndependent
            } else if proven(panel, limit, thresholds, origins) {
                VerdictWord::Agree
            } else {
                VerdictWord::NotYetProven
            }
        }
    };
    if verdict.word == before.word {
        verdict.since = before.since;
    }
    verdict
}

fn chi_square_limit(together: &Together, thresholds: &Thresholds) -> f64 {
    thresholds.chi_square[usize::from(together.degrees_of_freedom.clamp(1, 2)) - 1]
}

fn accuse(
    verdict: &mut Verdict,
    panel: &Panel,
    together: &Together,
    thresholds: &Thresholds,
    origins: Origins,
) -> VerdictWord {
    verdict.suspects = suspects::suspects(panel, together, thresholds, origins);
    verdict.explanations = suspects::explanations(panel, verdict.suspects);
    verdict.missing_kg = missing_kg(panel, verdict.suspects);
    if verdict.suspects.iter().filter(|s| **s).count() == 1 {
        VerdictWord::Disagree
    } else {
        VerdictWord::CannotTellWhich
    }
}

/// Mass that left the trailer and was not received, as the suspects leave it open; the meter alone misses none.
fn missing_kg(panel: &Panel, suspects: [bool; 3]) -> Option<Estimate> {
    let negated = |e: Estimate| Estimate { value: -e.value, u: e.u };
    match suspects {
        [true, false, false] => None,
        [_, true, false] => panel.contrast(SCALE),
        [_, false, true] => panel.contrast(TANK).map(negated),
        _ => panel.without(FLOW).contrast(SCALE),
    }
}

fn largest_difference_kg(panel: &Panel) -> f64 {
    let low = panel.received_kg.iter().flatten().copied().fold(f64::INFINITY, f64::min);
    let high = panel.received_kg.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
    high - low
}

/// Smallest shift of one witness against the others that is found with probability 0.95. A shift of
/// sqrt(limit) + 1.645 standard deviations is: (Z + d)^2 > limit with that probability, and the other degree
/// of freedom only adds (so the figure errs to the large side).
fn found_shift_kg(u_kg: f64, limit: f64, thresholds: &Thresholds) -> f64 {
    (limit.sqrt() + thresholds.found_z) * u_kg
}

/// A leak on a witness's own side shows as its difference from the others.
fn leak_below(panel: &Panel, side: usize, limit: f64, thresholds: &Thresholds) -> Option<f64> {
    panel.contrast(side).map(|contrast| found_shift_kg(contrast.u, limit, thresholds) / LEAK_BEGAN_MIN)
}

/// A dead meter, a stuck gauge or a wrong tank would have shown by now: each witness, had it stood still while
/// the others moved, would have been found. One that hangs together with it would have stood still as well.
fn proven(panel: &Panel, limit: f64, thresholds: &Thresholds, origins: Origins) -> bool {
    (0..3).filter(|&i| panel.received_kg[i].is_some()).all(|i| {
        let apart = (0..3).filter(|&j| j != i && origins.shared(i, j)).fold(*panel, |panel, j| panel.without(j));
        match (apart.without(i).combine(), apart.contrast(i)) {
            (Some(others), Some(contrast)) => others.received_kg.value >= found_shift_kg(contrast.u, limit, thresholds),
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
