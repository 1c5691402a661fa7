//! How noisy each signal is, measured on the recordings themselves, and what dead-band and delay follow from it.
//!
//! A value less the mean of the half minute before and after it is what is left when any steady course is taken out: a
//! straight line cancels exactly in a window that is the same on both sides. How large that rest is says how wide a
//! dead-band must be; how long it stays on one side of zero says how long a value near its limit stays beyond it by noise
//! alone, whatever memory the noise has. Nothing is assumed about its distribution.

use crate::config::signals;
use crate::engine::settings::Settings;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Values before and after the one that is looked at.
const SIDE: usize = 30;
/// Values of a window.
const WINDOW: usize = 2 * SIDE + 1;
/// A longer silence begins a new window, s.
const GAP_MOST_S: u64 = 10;
/// Sizes are counted in steps of a sixteenth of an octave's beginning: told to 6 %. A step is the upper bits of the number
/// itself: its exponent and four bits of its fraction.
const STEP_BITS: u32 = 48;
/// Smallest and largest size that is told apart, SI.
const SIZES: (f64, f64) = (1e-12, 1e12);
/// A run of one side that lasts longer is counted as this long, s.
const RUN_MOST_S: u64 = 3_600;
/// One in so many values is farther off than the dead-band reaches: 1 in 1,000.
const BEYOND_BAND: f64 = 1e-3;
/// One in so many runs lasts longer than the delay: 1 in 100.
const BEYOND_DELAY: f64 = 1e-2;
/// Name and kind of the margin below high-high among the signals, kg: each second of a transfer under the first choice.
pub(super) const MARGIN: &str = "margin_kg";
/// Fewer values say nothing about 1 in 1,000.
const VALUES_LEAST: u64 = 3_000;

/// The noise of one signal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Noise {
    /// Name in the site file.
    pub signal: String,
    /// Its kind, which ends in the unit.
    pub kind: String,
    /// Values looked at.
    pub values: u64,
    /// Sum of the squares of the rest, SI^2.
    pub sum_of_squares: f64,
    /// How often the rest had a size, by its step; 0: none that is told apart.
    pub sizes: BTreeMap<u64, u64>,
    /// How often the rest stayed on one side so long, s.
    pub runs_s: BTreeMap<u64, u64>,
}

/// What follows from the noise of a signal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Proposal {
    /// Name in the site file.
    pub signal: String,
    /// Its kind, which ends in the unit.
    pub kind: String,
    /// Values looked at.
    pub values: u64,
    /// Root of the mean square of the noise, in the unit of the kind.
    pub noise_si: f64,
    /// Dead-band, in the unit of the kind.
    pub dead_band_si: f64,
    /// Delay, s.
    pub delay_s: f64,
}

impl Noise {
    /// Takes what another recording showed of the same signal.
    pub fn add(&mut self, other: &Noise) {
        self.values += other.values;
        self.sum_of_squares += other.sum_of_squares;
        for (size, count) in &other.sizes {
            *self.sizes.entry(*size).or_default() += count;
        }
        for (run, count) in &other.runs_s {
            *self.runs_s.entry(*run).or_default() += count;
        }
    }

    /// What follows; `None` of too few values.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "counts and seconds")]
    pub fn proposal(&self) -> Option<Proposal> {
        if self.values < VALUES_LEAST {
            return None;
        }
        let size = exceeded_by(&self.sizes, BEYOND_BAND)?;
        let size_si = if size == 0 { 0.0 } else { f64::from_bits((size + 1) << STEP_BITS) };
        Some(Proposal {
            signal: self.signal.clone(),
            kind: self.kind.clone(),
            values: self.values,
            noise_si: libm::sqrt(self.sum_of_squares / self.values as f64),
            // To both sides.
            dead_band_si: 2.0 * size_si,
            delay_s: exceeded_by(&self.runs_s, BEYOND_DELAY).map_or(0.0, |s| s as f64),
        })
    }
}

/// The smallest key such that at most that share of all counts lies above it.
#[expect(clippy::cast_precision_loss, reason = "counts")]
fn exceeded_by<K: Ord + Copy>(counts: &BTreeMap<K, u64>, share: f64) -> Option<K> {
    let all = counts.values().sum::<u64>() as f64;
    let mut above = 0.0;
    for (key, count) in counts.iter().rev() {
        above += *count as f64;
        if above > share * all {
            return Some(*key);
        }
    }
    counts.keys().next().copied()
}

/// One signal while a recording is read: a window, and no more.
#[derive(Debug)]
struct Meter {
    /// The latest values, in turn.
    window: [f64; WINDOW],
    /// Where the next one goes, and how many there are.
    next: usize,
    filled: usize,
    /// Their sum; worked out anew at each turn, so that rounding does not add up.
    sum: f64,
    last_s: Option<u64>,
    /// Side of zero on which the rest is, and since when.
    side: Option<(bool, u64)>,
    values: u64,
    sum_of_squares: f64,
    /// By step from [`first_step`] on; the first counts what is smaller.
    sizes: Vec<u64>,
    runs_s: BTreeMap<u64, u64>,
}

/// The step of the smallest size that is told apart.
fn first_step() -> u64 {
    SIZES.0.to_bits() >> STEP_BITS
}

impl Meter {
    fn new() -> Meter {
        let steps = (SIZES.1.to_bits() >> STEP_BITS) - first_step();
        Meter {
            window: [0.0; WINDOW],
            next: 0,
            filled: 0,
            sum: 0.0,
            last_s: None,
            side: None,
            values: 0,
            sum_of_squares: 0.0,
            sizes: vec![0; usize::try_from(steps).unwrap_or(1)],
            runs_s: BTreeMap::new(),
        }
    }

    /// Puts a value in the place of the oldest; the value in the middle less the mean once there are enough.
    fn rest(&mut self, value: f64) -> Option<f64> {
        let oldest = std::mem::replace(&mut self.window[self.next], value);
        self.next = (self.next + 1) % WINDOW;
        self.sum += if self.filled == WINDOW { value - oldest } else { value };
        self.filled = (self.filled + 1).min(WINDOW);
        if self.next == 0 {
            self.sum = self.window.iter().sum();
        }
        #[expect(clippy::cast_precision_loss, reason = "61")]
        let mean = self.sum / WINDOW as f64;
        (self.filled == WINDOW).then(|| self.window[(self.next + SIDE) % WINDOW] - mean)
    }

    /// How often each size was there.
    fn sizes(&self) -> BTreeMap<u64, u64> {
        let there = (0..).zip(&self.sizes).filter(|(_, count)| **count > 0);
        there.map(|(i, count)| (if i == 0 { 0 } else { first_step() + i }, *count)).collect()
    }

    fn take(&mut self, at_s: u64, value: f64) {
        if !value.is_finite() || self.last_s.is_some_and(|last| at_s <= last) {
            return;
        }
        if self.last_s.is_some_and(|last| at_s - last > GAP_MOST_S) {
            (self.next, self.filled, self.sum, self.side) = (0, 0, 0.0, None);
        }
        self.last_s = Some(at_s);
        let Some(rest) = self.rest(value) else { return };
        self.values += 1;
        self.sum_of_squares += rest * rest;
        let step = (rest.abs().to_bits() >> STEP_BITS).saturating_sub(first_step());
        let step = usize::try_from(step).unwrap_or(usize::MAX).min(self.sizes.len() - 1);
        self.sizes[step] += 1;
        let above = rest > 0.0;
        match self.side {
            Some((was, since)) if was != above => {
                *self.runs_s.entry((at_s - since).min(RUN_MOST_S)).or_default() += 1;
                self.side = Some((above, at_s));
            }
            Some(_) => {}
            None => self.side = Some((above, at_s)),
        }
    }
}

/// All signals of a bay, and last the margin.
#[derive(Debug)]
pub(super) struct Meters(Vec<Meter>);

impl Meters {
    pub fn new(settings: &Settings) -> Meters {
        Meters((0..=settings.signals.len()).map(|_| Meter::new()).collect())
    }

    /// Takes a value in SI.
    pub fn take(&mut self, signal: u16, at_s: u64, value: f64) {
        if let Some(meter) = self.0.get_mut(usize::from(signal)) {
            meter.take(at_s, value);
        }
    }

    /// Takes the margin in kg.
    pub fn margin(&mut self, at_s: u64, value: f64) {
        if let Some(meter) = self.0.last_mut() {
            meter.take(at_s, value);
        }
    }

    /// What was found of each signal that gave numbers.
    pub fn found(self, settings: &Settings) -> Vec<Noise> {
        let kind = |kind| signals::FORMS.iter().find(|f| f.kind == kind).map_or("", |f| f.name);
        let named = settings.signals.iter().map(|setup| (setup.name.as_str(), kind(setup.kind)));
        let with = self.0.into_iter().zip(named.chain([("margin", MARGIN)])).filter(|(meter, _)| meter.values > 0);
        with.map(|(meter, (signal, kind))| Noise {
            signal: signal.to_owned(),
            kind: kind.to_owned(),
            values: meter.values,
            sum_of_squares: meter.sum_of_squares,
            sizes: meter.sizes(),
            runs_s: meter.runs_s,
        })
        .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// Normal numbers by Box and Muller (1958) from a generator of Knuth's constants; the same on every machine.
    fn normal(count: usize) -> Vec<f64> {
        let mut state = 1_u64;
        let mut uniform = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            #[expect(clippy::cast_precision_loss, reason = "53 bits")]
            let high = (state >> 11) as f64;
            (high + 0.5) / 9_007_199_254_740_992.0
        };
        (0..count).map(|_| libm::sqrt(-2.0 * libm::log(uniform())) * libm::cos(TAU * uniform())).collect()
    }

    fn measured(values: impl Iterator<Item = f64>) -> Proposal {
        let mut meter = Meter::new();
        (1u64..).zip(values).for_each(|(s, value)| meter.take(s, value));
        let sizes = meter.sizes();
        let Meter { values, sum_of_squares, runs_s, .. } = meter;
        let (signal, kind) = ("scale".to_owned(), "scale_kg".to_owned());
        Noise { signal, kind, values, sum_of_squares, sizes, runs_s }.proposal().expect("enough values")
    }

    /// White normal noise of 6 kg on a steady course. NIST/SEMATECH e-Handbook, 1.3.6.7.1: a standard normal variable is
    /// beyond 3.29 to either side at 1 in 1,000. A fair coin shows one side more than n times running at 2^-n: more than 7
    /// times at 0.8 %, more than 6 times at 1.6 %.
    #[test]
    fn white_noise_gives_the_printed_quantiles() {
        let steady = normal(200_000).into_iter().zip(0i32..).map(|(z, s)| 18_000.0 - 4.7 * f64::from(s) + 6.0 * z);
        let found = measured(steady);
        // A window of 61 takes 1/61 of the variance away.
        assert!((found.noise_si / 6.0 - libm::sqrt(60.0 / 61.0)).abs() < 0.01, "{found:?}");
        let band = 2.0 * 3.29 * 6.0 * libm::sqrt(60.0 / 61.0);
        assert!(found.dead_band_si > 0.96 * band && found.dead_band_si < 1.1 * band, "{found:?}, {band}");
        assert!((found.delay_s - 7.0).abs() < 0.5, "{found:?}");
    }

    /// Noise with a memory stays on one side longer, and the delay follows.
    #[test]
    fn slow_noise_asks_for_a_longer_delay() {
        let mut slow = 0.0;
        let found = measured(normal(100_000).into_iter().map(|z| {
            slow = 0.9 * slow + z;
            slow
        }));
        assert!(found.delay_s > 15.0, "{found:?}");
    }

    #[test]
    fn a_few_values_say_nothing() {
        let mut meter = Meter::new();
        (0..1_000).for_each(|s| meter.take(s, 1.0));
        assert_eq!(meter.values, 1_000 - 60);
        let none = Noise {
            signal: String::new(),
            kind: String::new(),
            values: meter.values,
            sum_of_squares: 0.0,
            sizes: meter.sizes(),
            runs_s: meter.runs_s,
        };
        assert_eq!(none.proposal(), None);
    }
}
