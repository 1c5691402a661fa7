//! Engine time: integer nanoseconds since the segment of a recording began.
//!
//! Three times are kept apart. *Engine time* is what everything is computed with; it comes from a clock that
//! cannot be set and that counts suspension, and in a drill runs a stated number of times faster. *Wall time*
//! is for people: it enters the engine as an input and leaves it only as a label. *Machine time* (the raw
//! clock) is known to the live loop alone.

use serde::{Deserialize, Serialize};

/// A moment, in nanoseconds since the segment began.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct EngineTime(pub u64);

/// Nanoseconds in a second.
pub const SECOND_NS: u64 = 1_000_000_000;

impl EngineTime {
    /// Seconds since an earlier moment; 0 when `earlier` is later (a reading placed at the middle of its
    /// request may lie before the tick that asks).
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "2^53 ns is 104 days; beyond it the loss is below 1 us")]
    pub fn since_s(self, earlier: EngineTime) -> f64 {
        self.0.saturating_sub(earlier.0) as f64 / 1e9
    }

    /// This moment and `seconds` more (negative seconds count back, never below 0).
    #[must_use]
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to the range of u64; sub-microsecond rounding is without meaning here"
    )]
    pub fn plus_s(self, seconds: f64) -> EngineTime {
        let ns = (seconds * 1e9).clamp(-9.0e18, 9.0e18);
        if ns < 0.0 {
            EngineTime(self.0.saturating_sub((-ns) as u64))
        } else {
            EngineTime(self.0.saturating_add(ns as u64))
        }
    }

    /// The moment halfway between two.
    #[must_use]
    pub fn midpoint(self, later: EngineTime) -> EngineTime {
        EngineTime(self.0 / 2 + later.0 / 2 + (self.0 & later.0 & 1))
    }
}

/// A moment of wall time: nanoseconds since 1970-01-01T00:00:00Z.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct WallTime(pub i64);

/// What ties the two: at engine time `at` the wall clock said `wall`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct WallAnchor {
    /// When it was read.
    pub at: EngineTime,
    /// What it said.
    pub wall: WallTime,
}

impl WallAnchor {
    /// The wall time that belongs to an engine time (for labels only).
    #[must_use]
    pub fn wall_at(self, t: EngineTime) -> WallTime {
        let ahead = i128::from(t.0) - i128::from(self.at.0);
        let wall = (i128::from(self.wall.0) + ahead).clamp(i128::from(i64::MIN), i128::from(i64::MAX));
        WallTime(i64::try_from(wall).unwrap_or(i64::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_do_not_wrap() {
        assert_eq!(EngineTime(5).plus_s(-1.0), EngineTime(0));
        assert_eq!(EngineTime(3).midpoint(EngineTime(5)), EngineTime(4));
        assert_eq!(EngineTime(u64::MAX).plus_s(1.0), EngineTime(u64::MAX));
        assert!((EngineTime(3 * SECOND_NS).since_s(EngineTime(SECOND_NS)) - 2.0).abs() < 1e-12);
        let anchor = WallAnchor { at: EngineTime(10), wall: WallTime(1000) };
        assert_eq!(anchor.wall_at(EngineTime(0)), WallTime(990));
    }
}
