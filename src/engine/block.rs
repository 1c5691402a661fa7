//! What the witnesses said lately: means over blocks of ticks, and how fast each says the mass moves.
//!
//! Statistics use means of five ticks: the noise of single readings is strongly coloured and says little.
//! A rate is the least-squares slope of each witness over the last minute; the slopes are combined by their
//! white noise, since over a minute gains and offsets do not move.

use super::frame::{Estimate, WitnessId};
use super::trend::Trend;
use super::witness::Account;
use crate::time::EngineTime;
use std::collections::VecDeque;

const TANK: usize = WitnessId::Tank as usize;

/// Ticks in a block.
pub const BLOCK_TICKS: usize = 5;
/// The most that is plausible of a trailer's line, kg/s (assumption).
pub const PLAUSIBLE_KG_PER_S: f64 = 20.0;
/// Ticks a rate looks back on: one minute.
const RATE_TICKS: usize = 61;
/// Fewest values that make a slope.
const SLOPE_MIN: usize = 11;
/// Blocks looked back on for independence: two minutes.
const KEPT_BLOCKS: usize = 24;

/// A value for each witness.
pub type Three = [Option<f64>; 3];

/// The recent past of one transfer.
#[derive(Debug, Clone)]
pub struct Recent {
    /// Newest first, as many as a rate looks back on.
    ticks: VecDeque<(EngineTime, Three)>,
    noise_kg: [f64; 3],
    signals: [Option<u16>; 3],
    blocks: [Three; KEPT_BLOCKS],
    block_count: usize,
}

impl Default for Recent {
    fn default() -> Recent {
        Recent {
            ticks: VecDeque::with_capacity(RATE_TICKS),
            noise_kg: [0.0; 3],
            signals: [None; 3],
            blocks: [[None; 3]; KEPT_BLOCKS],
            block_count: 0,
        }
    }
}

impl Recent {
    /// Takes what the witnesses say at a tick; newest first.
    pub fn tick(&mut self, at: EngineTime, accounts: &[Account; 3]) {
        for (i, account) in accounts.iter().enumerate() {
            // Two gauges of a tank differ by what no rate is.
            if self.signals[i].is_some_and(|before| account.signal.is_some_and(|now| now != before)) {
                self.ticks.iter_mut().for_each(|(_, values)| values[i] = None);
                self.blocks.iter_mut().for_each(|means| means[i] = None);
            }
            self.signals[i] = account.signal.or(self.signals[i]);
        }
        self.ticks.truncate(RATE_TICKS - 1);
        self.ticks.push_front((at, accounts.map(|a| a.credible().map(|e| e.value))));
        self.noise_kg = accounts.map(|a| a.errors.noise_kg());
    }

    /// A whole minute has been seen.
    #[must_use]
    pub fn is_full(&self) -> bool {
        self.ticks.len() == RATE_TICKS
    }

    /// A block ends.
    pub fn block(&mut self) {
        let mean = self.means();
        self.blocks.rotate_right(1);
        self.blocks[0] = mean;
        self.block_count = (self.block_count + 1).min(KEPT_BLOCKS);
    }

    /// Means over the last five ticks of every witness that is there now, over those ticks in which it was.
    #[must_use]
    pub fn means(&self) -> Three {
        [0, 1, 2].map(|i| self.lately(i, 0))
    }

    /// How far the witnesses other than `witness` moved since the tick before, kg; `None` without any other. The
    /// uncertainty is that of a whole run of such moves: their sum is one difference of two readings.
    #[must_use]
    pub fn moved_by_others_kg(&self, witness: usize) -> Option<Estimate> {
        let (&(now_at, now), &(before_at, before)) = (self.ticks.front()?, self.ticks.get(1)?);
        // A person who steps off the deck makes the scale jump; the mass did not.
        let most_kg = PLAUSIBLE_KG_PER_S * now_at.since_s(before_at);
        let mut weighted = 0.0;
        let mut weights = 0.0;
        for i in (0..3).filter(|&i| i != witness) {
            // A gauge's noise may be larger than that, and differences that are cut off add up to no difference of two readings.
            let (now, before) =
                if i == TANK { (self.lately(TANK, 0), self.lately(TANK, 1)) } else { (now[i], before[i]) };
            if let (Some(now), Some(before)) = (now, before) {
                let weight = self.weight(i);
                weighted += weight * (now - before).clamp(-most_kg, most_kg);
                weights += weight;
            }
        }
        (weights > 0.0).then(|| Estimate { value: weighted / weights, u: (2.0 / weights).sqrt() })
    }

    /// Mean over the five ticks up to so many ago, where the witness was there at that one.
    fn lately(&self, i: usize, ago: usize) -> Option<f64> {
        self.ticks.get(ago).and_then(|(_, values)| values[i])?;
        let there = self.ticks.iter().skip(ago).take(BLOCK_TICKS).filter_map(|(_, values)| values[i]);
        let (count, sum) = there.fold((0.0, 0.0), |(n, sum), v| (n + 1.0, sum + v));
        Some(sum / count)
    }

    fn weight(&self, i: usize) -> f64 {
        let noise = self.noise_kg[i].max(1e-3);
        1.0 / (noise * noise)
    }

    /// Slope of each witness over the last minute, kg/s.
    #[must_use]
    pub fn slopes_kg_per_s(&self) -> [Option<Estimate>; 3] {
        let Some(&(newest, _)) = self.ticks.front() else { return [None; 3] };
        let mut times_s = [0.0; RATE_TICKS];
        times_s.iter_mut().zip(&self.ticks).for_each(|(t, (at, _))| *t = -newest.since_s(*at));
        [0, 1, 2].map(|i| self.slope(i, &times_s))
    }

    fn slope(&self, i: usize, times_s: &[f64; RATE_TICKS]) -> Option<Estimate> {
        self.ticks.front().and_then(|(_, now)| now[i])?;
        let there = times_s.iter().zip(&self.ticks).filter_map(|(t, (_, values))| values[i].map(|v| (*t, v)));
        let (mut points, mut count) = ([(0.0, 0.0); RATE_TICKS], 0);
        for (slot, point) in points.iter_mut().zip(there) {
            *slot = point;
            count += 1;
        }
        if count < SLOPE_MIN {
            return None;
        }
        let Trend { slope, spread, .. } = Trend::through(&points[..count])?;
        Some(Estimate { value: slope, u: self.noise_kg[i].max(1e-3) / spread.sqrt() })
    }

    /// Slopes as one rate, kg/s.
    #[must_use]
    pub fn rate_kg_per_s(slopes: &[Option<Estimate>; 3]) -> Option<Estimate> {
        let mut weighted = 0.0;
        let mut weights = 0.0;
        for slope in slopes.iter().flatten() {
            let weight = 1.0 / (slope.u * slope.u);
            weighted += weight * slope.value;
            weights += weight;
        }
        (weights > 0.0).then(|| Estimate { value: weighted / weights, u: (1.0 / weights).sqrt() })
    }

    /// Scatter (root mean square about a straight line) of the difference of two witnesses over the last two minutes,
    /// and how far they moved, kg; `None` until both have been there all that time. A straight line is taken out
    /// because gains and corrections make copies drift apart without scatter.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "24 blocks")]
    pub fn difference_scatter_kg(&self, a: usize, b: usize) -> Option<(f64, f64)> {
        if self.block_count < KEPT_BLOCKS {
            return None;
        }
        // In blocks, the newest first.
        let mut differences = [(0.0, 0.0); KEPT_BLOCKS];
        for (i, (difference, block)) in differences.iter_mut().zip(&self.blocks).enumerate() {
            *difference = (-(i as f64), block[a]? - block[b]?);
        }
        let squares = Trend::through(&differences)?.residual;
        let moved = self.blocks[0][a]? - self.blocks[KEPT_BLOCKS - 1][a]?;
        Some(((squares / KEPT_BLOCKS as f64).sqrt(), moved))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::SECOND_NS;

    /// A gauge in a tank at rest whose readings scatter by 20 kg and share nothing: whatever was read in between, what it moved by is one
    /// difference of two readings, so that in an hour none is beyond five of their standard uncertainties (all 3,600 below
    /// with a chance of 0.998).
    #[test]
    fn what_the_others_moved_by_adds_up_to_one_difference() {
        let mut recent = Recent { noise_kg: [1.0, 8.0, 20.0], ..Recent::default() };
        // Twelve draws of a linear congruence (Knuth 1998, 3.3.4: 6364136223846793005) make a normal one, nearly.
        let mut state = 1_u64;
        let mut uniform = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f64::from((state >> 40) as u32) / f64::from(1 << 24)
        };
        let mut normal = || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
        let mut moved_kg = 0.0;
        for s in 0..3_600_u64 {
            recent.ticks.truncate(RATE_TICKS - 1);
            let values = [Some(0.0), None, Some(20.0 * normal())];
            recent.ticks.push_front((EngineTime(s * SECOND_NS), values));
            let Some(moved) = recent.moved_by_others_kg(0) else { continue };
            moved_kg += moved.value;
            assert!(moved_kg.abs() < 5.0 * moved.u, "{s} s: {moved_kg} kg, u {} kg", moved.u);
        }
    }
}
