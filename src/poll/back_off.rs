//! How long to leave alone what does not answer: ever longer up to a most, never at the same beat as others. Pure.

use crate::clock::MachineTime;
use std::time::Duration;

/// Pauses after failures.
#[derive(Debug, Clone)]
pub struct BackOff {
    least: Duration,
    most: Duration,
    /// Failures in a row that bring no pause.
    spare: u32,
    failures: u32,
    seed: u64,
    until: MachineTime,
}

impl BackOff {
    /// The first `spare` failures in a row bring no pause, the next `least`, then twice as long each time up to
    /// `most`. `seed` tells it from others.
    #[must_use]
    pub fn new(least: Duration, most: Duration, spare: u32, seed: u64) -> BackOff {
        BackOff { least: least.min(most), most, spare, failures: 0, seed, until: MachineTime(0) }
    }

    /// Whether to leave it alone now.
    #[must_use]
    pub fn waits(&self, now: MachineTime) -> bool {
        now < self.until
    }

    /// Whether it failed the last time.
    #[must_use]
    pub fn has_failed(&self) -> bool {
        self.failures > 0
    }

    /// It failed.
    pub fn failed(&mut self, now: MachineTime) {
        self.failures = self.failures.saturating_add(1);
        let Some(doublings) = self.failures.checked_sub(self.spare + 1) else { return };
        let pause = self.least.saturating_mul(1 << doublings.min(20)).min(self.most);
        let pause_ns = u64::try_from(pause.as_nanos()).unwrap_or(u64::MAX);
        // Between three quarters of the pause and all of it, at random as far as others can tell.
        let spread_ns = scatter(self.seed ^ u64::from(self.failures)) % (pause_ns / 4 + 1);
        self.until = MachineTime(now.0.saturating_add(pause_ns - spread_ns));
    }

    /// It did not.
    pub fn succeeded(&mut self) {
        self.failures = 0;
        self.until = MachineTime(0);
    }
}

/// Neighbouring numbers as far apart as can be: the finalizer of `SplitMix64` (Steele, Lea and Flood, OOPSLA 2014).
fn scatter(seed: u64) -> u64 {
    let z = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let z = (z ^ z >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ z >> 31
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_grow_to_a_most_and_differ() {
        let (least, most) = (Duration::from_millis(50), Duration::from_millis(900));
        let mut back_off = BackOff::new(least, most, 1, 7);
        let now = MachineTime(1_000_000_000);
        back_off.failed(now);
        assert!(!back_off.waits(now), "one is spared");
        let mut pauses = Vec::new();
        for _ in 0..40 {
            back_off.failed(now);
            pauses.push(back_off.until.since(now));
        }
        for (i, pause) in pauses.iter().enumerate() {
            let whole = least.saturating_mul(1 << i.min(20)).min(most);
            assert!(*pause <= whole && *pause >= whole * 3 / 4, "{i}: {pause:?}");
        }
        pauses.sort_unstable();
        pauses.dedup();
        assert_eq!(pauses.len(), 40, "no two alike");
        back_off.succeeded();
        assert!(!back_off.waits(now));
    }
}
