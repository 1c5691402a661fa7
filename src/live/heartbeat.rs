//! A sign of life for the site's own watchdog: a file in the store that is written anew every 1.5 s while every bay
//! goes on. A program cannot say that it is dead; whoever must know looks at the age of this file.

use crate::page::feed::BayFeed;
use std::path::PathBuf;
use std::time::Duration;
use tokio::sync::watch;

/// Name of the file in the store.
pub const FILE: &str = "heartbeat";

/// A bay ticks every second of engine time; half as much again lets none be missed between two looks.
const LOOK_EVERY: Duration = Duration::from_millis(1500);

/// Writes the file while each bay has stepped since the last look, until told to stop. A disk that does not answer
/// stops the sign of life: then nothing is on record either.
pub(super) async fn run(store: PathBuf, bays: Vec<BayFeed>, mut stopping: watch::Receiver<bool>) {
    let mut before: Vec<u64> = bays.iter().map(|bay| bay.work.now().steps).collect();
    let mut beats = 0_u64;
    let mut said = false;
    loop {
        tokio::select! {
            _ = stopping.wait_for(|stop| *stop) => return,
            () = tokio::time::sleep(LOOK_EVERY) => {}
        }
        let now: Vec<u64> = bays.iter().map(|bay| bay.work.now().steps).collect();
        let all_go_on = before.iter().zip(&now).all(|(before, now)| now != before);
        before = now;
        if !all_go_on {
            continue;
        }
        beats += 1;
        let path = store.join(FILE);
        let written = tokio::task::spawn_blocking(move || std::fs::write(path, format!("{beats}\n"))).await;
        let failed = !matches!(written, Ok(Ok(())));
        if failed && !said {
            tracing::warn!(file = FILE, "the sign of life cannot be written");
        }
        said = failed;
    }
}
