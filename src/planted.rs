//! Bugs of our own, planted so that the tests can show that they would be found.
//!
//! Without the feature `planted`, which neither a default nor a release build has (`tests/docs` holds that), every
//! question here is answered "no" at compile time and nothing below is left in the program. With it a test plants one
//! bug for its own thread; no setting, file or variable of the environment reaches it.

/// A bug that can be planted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Bug {
    /// The pad gas is taken off the scale's mass where it is to be added.
    PadGasSign,
    /// Nothing is ever found frozen.
    NothingFrozen,
    /// The margin goes by the reconciled mass.
    MarginByTheMean,
    /// A witness that is lost leaves the margin.
    LostLeavesMargin,
    /// A tripped level switch does not overrule the margin.
    SwitchOutvoted,
    /// Unknown takes an alarm away.
    UnknownClears,
    /// "Seen" takes an alarm away.
    SeenClears,
    /// Alarms do not wait for their on-delay.
    NoOnDelay,
    /// A shelf has no end.
    ShelfWithoutEnd,
    /// A signal whose device does not answer keeps its last value.
    LastValueShown,
    /// After a gap what was read before it is current.
    GapForgotten,
    /// Missed rounds are not counted.
    MissesUncounted,
    /// A stepped wall clock moves engine time.
    ClockMovesTime,
    /// The ceiling takes the relief valve's setting for the MAWP.
    CeilingByRelief,
    /// A neighbour that is not heard is never silent.
    NeighbourNeverSilent,
    /// What disturbs the scale is excused without end.
    ExcuseWithoutEnd,
    /// A total that rolled over is counted one round too far.
    RollOverMisread,
    /// Of two witnesses one is blamed.
    PairBlamed,
    /// "Leak below" is a fifth of what it should be.
    LeakBelowTooSmall,
    /// Anybody may say that the one on duty is there.
    AnybodyAttends,
    /// The recorder drops an input while the disk refuses.
    RecorderDrops,
}

#[cfg(feature = "planted")]
mod this_thread {
    use super::Bug;
    use std::cell::Cell;

    thread_local! {
        static PLANTED: Cell<Option<Bug>> = const { Cell::new(None) };
    }

    /// Plants a bug for this thread, or pulls it out.
    pub fn plant(bug: Option<Bug>) {
        PLANTED.set(bug);
    }

    pub(crate) fn planted(bug: Bug) -> bool {
        PLANTED.get() == Some(bug)
    }
}

#[cfg(feature = "planted")]
mod slow_disks {
    use std::path::{Path, PathBuf};
    use std::sync::{Mutex, PoisonError};
    use std::time::Duration;

    static SLOW: Mutex<Vec<(PathBuf, Duration)>> = Mutex::new(Vec::new());

    /// A disk that is nobody's bug: from now on each write and each flush below that folder takes so long; zero: as long as
    /// it takes.
    pub fn slow_disk(folder: &Path, each: Duration) {
        let mut slow = SLOW.lock().unwrap_or_else(PoisonError::into_inner);
        slow.retain(|(of, _)| of != folder);
        slow.push((folder.to_owned(), each));
    }

    pub(crate) fn disk_waits(path: &Path) {
        let slow = SLOW.lock().unwrap_or_else(PoisonError::into_inner);
        let each = slow.iter().find(|(folder, _)| path.starts_with(folder)).map(|(_, each)| *each);
        drop(slow);
        std::thread::sleep(each.unwrap_or_default());
    }
}

#[cfg(feature = "planted")]
pub(crate) use slow_disks::disk_waits;
#[cfg(feature = "planted")]
pub use slow_disks::slow_disk;
#[cfg(feature = "planted")]
pub use this_thread::plant;
#[cfg(feature = "planted")]
pub(crate) use this_thread::planted;

/// Whether a bug is planted.
#[cfg(not(feature = "planted"))]
pub(crate) const fn planted(_: Bug) -> bool {
    false
}

/// Waits as long as a test has said that the disk takes.
#[cfg(all(not(feature = "planted"), feature = "live"))]
pub(crate) const fn disk_waits(_: &std::path::Path) {}
