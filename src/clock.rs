//! The one place that asks the machine what time it is.
//!
//! Machine time is `CLOCK_BOOTTIME`: nobody can set it, and it counts while the machine sleeps. Engine time is
//! machine time since a segment began, times the speed of a drill.

use crate::time::{EngineTime, WallTime};
use rustix::time::{ClockId, clock_gettime};
use std::time::Duration;

/// A reading of the machine's clock, ns since boot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct MachineTime(pub u64);

impl MachineTime {
    /// Now.
    #[must_use]
    pub fn now() -> MachineTime {
        let t = clock_gettime(ClockId::Boottime);
        let seconds = u64::try_from(t.tv_sec).unwrap_or(0);
        MachineTime(seconds * 1_000_000_000 + u64::try_from(t.tv_nsec).unwrap_or(0))
    }

    /// How long ago `earlier` was.
    #[must_use]
    pub fn since(self, earlier: MachineTime) -> Duration {
        Duration::from_nanos(self.0.saturating_sub(earlier.0))
    }

    /// How long until then; zero when it is past.
    #[must_use]
    pub fn until(self) -> Duration {
        self.since(MachineTime::now())
    }
}

/// What the wall clock says.
#[must_use]
pub fn wall_now() -> WallTime {
    let t = clock_gettime(ClockId::Realtime);
    WallTime(t.tv_sec * 1_000_000_000 + t.tv_nsec)
}

/// Names the present boot: machine times of another boot mean nothing here.
#[must_use]
pub fn boot_id() -> String {
    let id = std::fs::read_to_string("/proc/sys/kernel/random/boot_id");
    id.map(|id| id.trim().to_owned()).unwrap_or_else(|_| "unknown".to_owned())
}

/// Engine time of one segment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clock {
    /// A machine time of this boot ...
    pub zero: MachineTime,
    /// ... and the engine time that belongs to it: 0 where a segment begins, later where one is gone on with.
    pub base: EngineTime,
    /// Engine seconds per machine second: 1, or the speed of a drill.
    pub speed: f64,
}

impl Clock {
    /// The engine time of a machine time (`base` for any before `zero`).
    #[must_use]
    pub fn engine(self, t: MachineTime) -> EngineTime {
        EngineTime(self.base.0.saturating_add(engine_ns(t.0.saturating_sub(self.zero.0), self.speed)))
    }

    /// Engine time now.
    #[must_use]
    pub fn now(self) -> EngineTime {
        self.engine(MachineTime::now())
    }
}

/// Machine nanoseconds as engine nanoseconds.
#[must_use]
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a drill's segment is hours long: far below 2^53 ns"
)]
pub fn engine_ns(machine_ns: u64, speed: f64) -> u64 {
    // At speed 1 exactly the integer clock; a drill's product rounds below a nanosecond.
    let is_live = (speed - 1.0).abs() < f64::EPSILON;
    if is_live { machine_ns } else { (machine_ns as f64 * speed) as u64 }
}

/// Engine seconds as machine time.
#[must_use]
pub fn machine_duration(engine_s: f64, speed: f64) -> Duration {
    Duration::try_from_secs_f64(engine_s / speed).unwrap_or(Duration::MAX)
}
