//! How the polling of a device does: counts, latency, lateness.

use crate::engine::input::MissReason;
use hdrhistogram::Histogram;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Longest time a histogram tells apart, us: one minute.
const LONGEST_US: u64 = 60_000_000;

/// A round that is asked later than this after it was due is counted as late.
pub const LATE: Duration = Duration::from_millis(50);

#[derive(Debug)]
struct Inner {
    answered: u64,
    missed: u64,
    connections: u32,
    latency_us: Histogram<u32>,
    lateness_us: Histogram<u32>,
    late: u64,
    trouble: Option<MissReason>,
    ever: bool,
}

/// How the polling of a device does. Times in microseconds of machine time: median, 99 % and maximum, each up to 7 % too
/// high.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Snapshot {
    /// Answered rounds.
    pub answered: u64,
    /// Rounds without a usable answer.
    pub missed: u64,
    /// Connections made.
    pub connections: u32,
    /// Request to reply.
    pub latency_us: [u64; 3],
    /// Due to request sent.
    pub lateness_us: [u64; 3],
    /// Rounds asked later than [`LATE`].
    pub late: u64,
    /// Why the last round missed; `None` while the device answers.
    pub trouble: Option<MissReason>,
}

/// Shared between a device's task and whoever shows it.
#[derive(Debug)]
pub struct Stats {
    inner: Mutex<Inner>,
}

/// One significant figure: a value is told to 1 part in 16 of itself. A second would make a histogram of 20 kB of one
/// of 1.5 kB, for each of two of each device.
const FIGURES: u8 = 1;

fn histogram() -> Histogram<u32> {
    // The bounds are constants that the library accepts.
    Histogram::new_with_bounds(1, LONGEST_US, FIGURES).expect("constant bounds")
}

fn micros(d: Duration) -> u64 {
    u64::try_from(d.as_micros()).unwrap_or(LONGEST_US).clamp(1, LONGEST_US)
}

impl Default for Stats {
    fn default() -> Stats {
        Stats::new()
    }
}

impl Stats {
    /// Nothing counted yet.
    #[must_use]
    pub fn new() -> Stats {
        let inner = Inner {
            answered: 0,
            missed: 0,
            connections: 0,
            latency_us: histogram(),
            lateness_us: histogram(),
            late: 0,
            trouble: None,
            ever: false,
        };
        Stats { inner: Mutex::new(inner) }
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        // Counters stay usable whatever happened to a task that held them.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A whole round was answered, asked so late; true when the device had been silent before.
    pub fn answered(&self, latency: Duration, late: Duration, connections: u32) -> bool {
        let mut inner = self.lock();
        inner.answered += 1;
        inner.connections = connections;
        inner.lateness_us.saturating_record(micros(late));
        inner.late += u64::from(late > LATE);
        inner.latency_us.saturating_record(micros(latency));
        let news = inner.trouble.take().is_some() || !inner.ever;
        inner.ever = true;
        news
    }

    /// A round was not; true when that is news.
    pub fn missed(&self, reason: MissReason, connections: u32) -> bool {
        let mut inner = self.lock();
        inner.missed += 1;
        inner.connections = connections;
        inner.trouble.replace(reason) != Some(reason)
    }

    /// As it stands now.
    #[must_use]
    pub fn snapshot(&self) -> Snapshot {
        let inner = self.lock();
        let three = |h: &Histogram<u32>| [h.value_at_quantile(0.5), h.value_at_quantile(0.99), h.max()];
        Snapshot {
            answered: inner.answered,
            missed: inner.missed,
            connections: inner.connections,
            latency_us: three(&inner.latency_us),
            lateness_us: three(&inner.lateness_us),
            late: inner.late,
            trouble: inner.trouble,
        }
    }
}
