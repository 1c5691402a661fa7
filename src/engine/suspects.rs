//! Who may be the odd one, and what may be behind it.
//!
//! Every fault that explains the rows within ln 20 as well as the best one does cannot be told apart from it. A witness
//! is suspected only if such a fault is its own while two others, not of one transmitter, agree without it; with two in
//! all never one of them: then both are named.

use super::bank::{Bank, Fit, KINDS, Kind, Shape};
use super::frame::{Explanation, Verdict, WitnessId};
use super::reconcile::Panel;
use super::settings::Thresholds;
use super::verdict::Origins;
use crate::planted::{Bug, planted};

/// Fits whose statistics differ by less say the same of different witnesses: with two in all, always.
const AS_GOOD: f64 = 0.5;

/// The faults that cannot be told apart: the best fits of their kinds.
#[derive(Debug, Clone, Copy)]
pub struct Found {
    fits: [Option<Fit>; KINDS],
    best: f64,
}

impl Found {
    /// What has been found: the best fit is above `share` of its threshold, and so is what fits as well.
    #[must_use]
    pub fn of(bank: &Bank, thresholds: &Thresholds, share: f64) -> Option<Found> {
        let fits = bank.best();
        let best = fits.iter().flatten().fold(0.0, |best: f64, fit| best.max(fit.statistic));
        let over = |fit: &Fit| fit.statistic > share * thresholds.finding[fit.kind][fit.sign()];
        // What is off in proportion since the start has a steady course from any moment near it too: no other fault.
        let in_proportion = |fit: &Fit| {
            let gain = |other: &&Fit| other.what() == Kind { shape: Shape::Gain, ..fit.what() };
            let gain = fits.iter().flatten().find(gain).filter(|_| fit.what().shape == Shape::Ramp);
            gain.is_some_and(|gain| gain.sign() == fit.sign() && gain.statistic > fit.statistic - AS_GOOD)
        };
        let as_good = |fit: &&Fit| fit.statistic > best - AS_GOOD && !in_proportion(fit);
        (best > 0.0 && fits.iter().flatten().filter(as_good).all(over)).then_some(Found { fits, best })
    }

    /// The fits of a witness, those that could as well be it first left out: all within `band` of its own best.
    fn own(&self, witness: usize, band: f64) -> impl Iterator<Item = &Fit> {
        let mine = move |fit: &&Fit| fit.what().witness as usize == witness;
        let best = self.fits.iter().flatten().filter(mine).fold(0.0, |best: f64, fit| best.max(fit.statistic));
        self.fits.iter().flatten().filter(mine).filter(move |fit| fit.statistic >= best - band)
    }

    /// A witness's best fit.
    #[must_use]
    pub fn fit(&self, witness: usize) -> Option<Fit> {
        let own = self.own(witness, 0.0).copied();
        own.max_by(|a, b| a.statistic.total_cmp(&b.statistic))
    }

    /// Witnesses that cannot be ruled out as the odd one.
    #[must_use]
    pub fn suspects(&self, panel: &Panel, thresholds: &Thresholds, origins: Origins) -> [bool; 3] {
        let present = panel.received_kg.map(|v| v.is_some());
        if panel.count() < 3 && !planted(Bug::PairBlamed) {
            return present;
        }
        let as_good = |i: usize| self.fit(i).is_some_and(|fit| fit.statistic >= self.best - thresholds.suspect_band);
        let odd = [0, 1, 2].map(|i| as_good(i) && !origins.shared((i + 1) % 3, (i + 2) % 3));
        if odd.contains(&true) { odd } else { present }
    }

    /// Everything that could make those witnesses stand where they stand, the most dangerous first.
    #[must_use]
    pub fn explanations(&self, suspects: [bool; 3], thresholds: &Thresholds) -> Vec<Explanation> {
        let mut found = Vec::new();
        for witness in (0..3).filter(|&i| suspects[i]) {
            for fit in self.own(witness, thresholds.suspect_band) {
                found.extend_from_slice(behind(fit));
            }
        }
        found.sort_unstable();
        found.dedup();
        found
    }
}

/// What may be behind a fault.
fn behind(fit: &Fit) -> &'static [Explanation] {
    use Explanation as E;
    let gain = fit.what().shape == Shape::Gain;
    match (fit.what().witness, fit.sign() == 0) {
        (WitnessId::Scale, true) => &[E::LeakBeforeMeter, E::ScaleLight],
        (WitnessId::Scale, false) => &[E::ScaleHeavy],
        (WitnessId::Tank, true) if gain => &[E::UnknownInflow, E::DensityOff, E::GaugeHigh],
        (WitnessId::Tank, true) => &[E::UnknownInflow, E::GaugeHigh],
        (WitnessId::Tank, false) if gain => {
            &[E::LeakAfterMeter, E::OtherTank, E::GaugeLow, E::UnknownDrawOff, E::TableLow, E::DensityOff]
        }
        (WitnessId::Tank, false) => &[E::LeakAfterMeter, E::OtherTank, E::GaugeLow, E::UnknownDrawOff],
        (WitnessId::Flow, true) => &[E::MeterHigh],
        (WitnessId::Flow, false) => &[E::MeterLow],
    }
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
