//! The controls engineer's bench: what other settings would have alarmed, over a folder of recordings.
//!
//! ```text
//! recordings -> pass (one walk of a recording steps a monitor for each choice of settings) -> progress file
//!   -> tally, compare, noise -> paper (HTML), JSON, CSV
//! ```
//! Each recording is read once, front to back, whatever the number of choices; what a pass holds does not grow with the
//! recording. Recordings are shared out among the cores. What a pass found is kept in the progress file at once, so
//! that an interrupted run goes on where it was; everything that is shown is put together from that file.

mod choice;
mod compare;
mod files;
mod kept;
mod labels;
mod noise;
mod paper;
mod pass;
mod propose;
mod tally;

pub use choice::{Choice, choices};
pub use compare::{Change, Turn, changes};
pub use files::recordings;
pub use labels::{Labels, Truth};
pub use noise::{Noise, Proposal};
pub(crate) use pass::named;
pub use pass::{ChoiceFound, Found, Happening, Occurrence, What, pass};
pub use propose::{DeadBand, dead_bands};
pub use tally::{Flood, Tally, Total};

use kept::Kept;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;

/// What is to be done.
#[derive(Debug)]
pub struct Plan<'a> {
    /// Recordings, in order.
    pub recordings: &'a [PathBuf],
    /// Settings to try; the first is what the others are compared with.
    pub choices: &'a [Choice],
    /// What was really so, where somebody has said it.
    pub labels: &'a Labels,
    /// Folder of the results.
    pub out: &'a Path,
    /// Threads.
    pub cores: usize,
}

/// How far a run is.
#[derive(Debug, Clone, Copy)]
pub struct Progress {
    /// Recordings done, those of an earlier run included.
    pub done: usize,
    /// Of so many.
    pub all: usize,
}

/// Why there is no result.
#[derive(Debug, thiserror::Error)]
pub enum TuneError {
    /// Told to stop.
    #[error("stopped after {done} of {all} recordings; the same command goes on from there")]
    Stopped {
        /// Recordings done.
        done: usize,
        /// Of so many.
        all: usize,
    },
    /// The file system refuses.
    #[error("{}: {source}", path.display())]
    Io {
        /// File or folder.
        path: PathBuf,
        /// What the file system says.
        source: io::Error,
    },
}

/// What a run came to, in a few lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// Recordings that were taken.
    pub taken: usize,
    /// Recordings that could not be, each with the reason.
    pub left_out: Vec<(String, String)>,
    /// The paper.
    pub paper: PathBuf,
}

/// Runs every recording under every choice and writes the results; `say` hears how far it is, and `stop` ends it.
///
/// # Errors
/// When told to stop, or when the file system refuses.
pub fn run(plan: &Plan<'_>, stop: &AtomicBool, say: &mut dyn FnMut(Progress)) -> Result<Summary, TuneError> {
    let io = |path: &Path| {
        let path = path.to_owned();
        move |source| TuneError::Io { path, source }
    };
    std::fs::create_dir_all(plan.out).map_err(io(plan.out))?;
    let mut kept = Kept::open(plan).map_err(io(plan.out))?;
    let wanting: Vec<&PathBuf> = plan.recordings.iter().filter(|path| !kept.has(path)).collect();
    let all = plan.recordings.len();
    let mut done = all - wanting.len();
    say(Progress { done, all });
    let next = AtomicUsize::new(0);
    let (send, found) = mpsc::sync_channel(plan.cores.max(1));
    let written = std::thread::scope(|scope| {
        for _ in 0..plan.cores.clamp(1, wanting.len().max(1)) {
            let (send, next, wanting) = (send.clone(), &next, &wanting);
            scope.spawn(move || {
                while let Some(path) = wanting.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let Some(found) = one(path, plan.choices, stop) else { break };
                    if send.send((*path, found)).is_err() {
                        break;
                    }
                }
            });
        }
        drop(send);
        for (path, found) in found {
            kept.put(path, &found)?;
            done += 1;
            say(Progress { done, all });
        }
        kept.end()
    });
    written.map_err(io(plan.out))?;
    if done < all {
        return Err(TuneError::Stopped { done, all });
    }
    paper::write(plan, &kept).map_err(io(plan.out))
}

/// One recording; `None` when told to stop in its midst. A fault of our own on it takes only itself away.
fn one(path: &Path, choices: &[Choice], stop: &AtomicBool) -> Option<Result<Found, String>> {
    if stop.load(Ordering::Relaxed) {
        return None;
    }
    match catch_unwind(AssertUnwindSafe(|| pass(path, choices, stop))) {
        Ok(Ok(found)) => found.map(Ok),
        Ok(Err(error)) => Some(Err(error.to_string())),
        Err(_) => Some(Err("the engine failed on it: a fault of brimwatch's own, please report it".to_owned())),
    }
}
