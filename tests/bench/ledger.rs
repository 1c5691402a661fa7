//! How long a ledger of many recordings takes, with an index and without: `cargo bench --bench ledger -- 1000`.
//!
//! One delivery is simulated, and written again under other names and days. Figures of a run are in docs/figures.md.

use again::again;
use brimwatch::config::{DeliveryFile, Site};
use brimwatch::ledger;
use brimwatch_simulator::scenario;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::Instant;

#[path = "again.rs"]
mod again;
#[path = "recorded.rs"]
mod recorded;

/// Length of the recording, s: the whole load and some idle time.
const LASTS_S: u64 = 6_000;
const DAY_NS: i64 = 86_400_000_000_000;

fn main() {
    let count = std::env::args().skip(1).find_map(|a| a.parse::<i64>().ok()).unwrap_or(20);
    let folder = tempfile::tempdir().expect("a folder");
    let (site, delivery): (Site, DeliveryFile) =
        scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let first = folder.path().join("first");
    let bay = &site.bays[delivery.bay];
    let mut recording = recorded::Recording::begin(&first, &site.texts, bay, &delivery, 1);
    recording.seconds(LASTS_S);
    recording.end();
    let store = folder.path().join("recordings");
    std::fs::create_dir(&store).expect("a disk");
    for at in 0..count {
        let name = format!("D-{at:04}");
        again(&first, &store.join(format!("{name}.brim")), &name, at * DAY_NS);
    }
    let mb = std::fs::metadata(&first).expect("a recording").len() as f64 / 1e6;
    println!("{count} recordings of {mb:.1} MB");
    let all = std::thread::available_parallelism().map_or(1, usize::from);
    let took_s = |what: &str, cores: usize, anew: i64| {
        let named: [PathBuf; 1] = [store.clone()];
        let begun = Instant::now();
        let read = ledger::read(&named, cores, &AtomicBool::new(false), &mut |_| {}).expect("a list");
        println!("{what}, {cores} cores: {:.2} s", begun.elapsed().as_secs_f64());
        assert_eq!((read.rows.len() as i64, read.read_anew as i64), (count, anew), "{:?}", read.not_taken);
    };
    for cores in [1, all] {
        let _ = std::fs::remove_file(store.join("ledger.index"));
        took_s("without an index", cores, count);
        took_s("with its index", cores, 0);
    }
    let size = std::fs::metadata(store.join("ledger.index")).expect("an index").len();
    println!("index: {:.2} MB", size as f64 / 1e6);
    std::fs::remove_file(store.join("D-0000.brim")).expect("a disk");
    again(&first, &store.join("D-0000.brim"), "D-new", DAY_NS);
    took_s("with one that is new", all, 1);
}
