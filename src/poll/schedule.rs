//! When a device is asked: due times stand on a grid, so that nothing drifts. A round that came too late is
//! dropped, not made up for in a burst; the phase stays.

/// A grid of due times, ns of machine time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Schedule {
    first_ns: u64,
    period_ns: u64,
}

impl Schedule {
    /// Due at `first_ns` and every period after it.
    #[must_use]
    pub fn new(first_ns: u64, period_ns: u64) -> Schedule {
        Schedule { first_ns, period_ns: period_ns.max(1) }
    }

    /// The next due time after `now_ns`.
    #[must_use]
    pub fn next_after(&self, now_ns: u64) -> u64 {
        match now_ns.checked_sub(self.first_ns) {
            None => self.first_ns,
            Some(since) => self.first_ns.saturating_add((since / self.period_ns + 1).saturating_mul(self.period_ns)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_keeps_its_phase_however_late_a_round_is() {
        let schedule = Schedule::new(1_000, 100);
        assert_eq!(schedule.next_after(0), 1_000);
        assert_eq!(schedule.next_after(1_000), 1_100);
        assert_eq!(schedule.next_after(1_099), 1_100);
        assert_eq!(schedule.next_after(1_731), 1_800);
        let mut due = schedule.next_after(0);
        for round in 0..1_000 {
            assert_eq!(due, 1_000 + round * 100);
            due = schedule.next_after(due + 37);
        }
    }
}
