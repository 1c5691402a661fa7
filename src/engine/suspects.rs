//! Who may be the odd one, and what may be behind it.
//!
//! Leaving a witness out lowers chi-square; half of the drop is the log-likelihood ratio of "that one is off by
//! an unknown amount" against "nobody is" (generalised likelihood ratio, Narasimhan & Mah 1987). All witnesses
//! within ln 20 of the best cannot be told apart. A witness is suspected only if the two others agree without
//! it and are not of one transmitter; with two in all never one of them: then both are named.

use super::frame::{Explanation, Together, Verdict, WitnessId};
use super::reconcile::Panel;
use super::settings::Thresholds;
use super::verdict::Origins;

const FLOW: usize = WitnessId::Flow as usize;
const SCALE: usize = WitnessId::Scale as usize;
const TANK: usize = WitnessId::Tank as usize;

/// Witnesses that cannot be ruled out as the odd one.
#[must_use]
pub fn suspects(panel: &Panel, together: &Together, thresholds: &Thresholds, origins: Origins) -> [bool; 3] {
    let present = panel.received_kg.map(|v| v.is_some());
    if panel.count() < 3 {
        return present;
    }
    let without = [0, 1, 2].map(|i| panel.without(i).combine().map_or(f64::INFINITY, |t| t.chi_square));
    let statistic = without.map(|rest| (together.chi_square - rest) / 2.0);
    let best = statistic.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let borne_out = |i: usize| without[i] <= thresholds.chi_square[0] && !origins.shared((i + 1) % 3, (i + 2) % 3);
    let odd = [0, 1, 2].map(|i| statistic[i] >= best - thresholds.suspect_band && borne_out(i));
    if odd.contains(&true) { odd } else { present }
}

/// Everything that could make those witnesses stand where they stand, the most dangerous first.
#[must_use]
pub fn explanations(panel: &Panel, suspects: [bool; 3]) -> Vec<Explanation> {
    use Explanation as E;
    let mut found = Vec::new();
    for i in (0..3).filter(|&i| suspects[i]) {
        let Some(contrast) = panel.contrast(i) else { continue };
        let high = contrast.value > 0.0;
        let reasons: &[Explanation] = match (i, high) {
            (SCALE, true) => &[E::LeakBeforeMeter, E::ScaleLight],
            (SCALE, false) => &[E::ScaleHeavy],
            (TANK, true) => &[E::UnknownInflow, E::DensityOff, E::GaugeHigh],
            (TANK, false) => {
                &[E::LeakAfterMeter, E::OtherTank, E::GaugeLow, E::UnknownDrawOff, E::TableLow, E::DensityOff]
            }
            (FLOW, true) => &[E::MeterHigh],
            _ => &[E::MeterLow],
        };
        found.extend_from_slice(reasons);
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// A tank that another bay fills too cannot tell whose product is missing in it, or whose came in too much.
pub fn explain_shared(verdict: &mut Verdict) {
    use Explanation as E;
    let found = &mut verdict.explanations;
    if found.contains(&E::LeakAfterMeter) {
        found.push(E::NeighbourLeak);
    }
    if found.contains(&E::LeakAfterMeter) || found.contains(&E::UnknownInflow) {
        found.push(E::NeighbourOff);
    }
    found.sort_unstable();
}
