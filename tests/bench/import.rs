//! How fast a recorded history comes in: `cargo bench --bench import`; `-- 10` streams 10 GB besides.
//!
//! Figures of this run are in docs/figures.md. The ratio is to the monitor alone, stepped through the same answers,
//! ticks and entries: what is above 1 is the table's two readings, the recording and the disk.

#[path = "../program/import/made.rs"]
mod made;
#[path = "../program/import/simulated.rs"]
mod simulated;

use brimwatch::config::{BaySetup, Columns};
use brimwatch::recording::import::{Plan, Source, import};
use brimwatch::time::SECOND_NS;
use brimwatch_simulator::scenario;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

/// 2 h of rows, one a second.
const ROWS: usize = 7_200;
/// Runs of each, in turn; the middle one is shown.
const RUNS: usize = 21;

fn middle(mut took_s: Vec<f64>) -> f64 {
    took_s.sort_by(f64::total_cmp);
    took_s[took_s.len() / 2]
}

fn columns(map: &str, bay: &BaySetup) -> Columns {
    Columns::from_text(Path::new("map.toml"), map.to_owned(), bay).unwrap_or_else(|faults| panic!("{faults}"))
}

/// The most memory this process ever had, MB (proc(5), VmHWM).
fn most_mb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("proc");
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).expect("a line");
    line.split_whitespace().next().and_then(|kb| kb.parse::<u64>().ok()).expect("kB") >> 10
}

#[expect(clippy::cast_precision_loss, reason = "counts and bytes for people")]
fn main() {
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let bay = &site.bays[delivery.bay];
    let folder = tempfile::tempdir().expect("a folder");
    let mut history = simulated::transfer(&bay.settings, &delivery.setup, 1);
    let last = history.rows.last().expect("rows").clone();
    history.rows.resize(ROWS, last);
    let csv = folder.path().join("history.csv");
    std::fs::write(&csv, history.csv(false)).expect("a disk");
    let map = columns(&history.map("", "columns = [\"When\"]\nformat = \"rfc3339\""), bay);
    let out = folder.path().join("load.brim");
    let plan = |columns| Plan { bay, texts: &site.texts, delivery: Some(&delivery), columns, out: &out };

    let (mut imported_s, mut watched_s, mut bytes) = (Vec::new(), Vec::new(), 0);
    for _ in 0..RUNS {
        let begun = Instant::now();
        let report = import(&plan(&map), &csv.as_path(), &mut |_| true).unwrap_or_else(|error| panic!("{error}"));
        imported_s.push(begun.elapsed().as_secs_f64());
        assert_eq!(report.counts.rows, ROWS as u64);
        bytes = std::fs::metadata(&out).expect("a recording").len();
        std::fs::remove_file(&out).expect("a disk");
        let begun = Instant::now();
        black_box(history.watched());
        watched_s.push(begun.elapsed().as_secs_f64());
    }
    let (imported, watched) = (middle(imported_s), middle(watched_s));
    let (kb, signals) = (csv.as_path().bytes() >> 10, bay.settings.signals.len());
    println!("2 h of {signals} signals, one row a second, {kb} kB of CSV, {} kB of recording:", bytes >> 10);
    println!(
        "imported in {:.0} ms, {:.1} times the monitor alone ({:.0} ms)",
        imported * 1e3,
        imported / watched,
        watched * 1e3
    );
    println!("that is {:.0} times real time; most memory {} MB", ROWS as f64 / imported, most_mb());

    let Some(gb) = std::env::args().skip(1).find_map(|a| a.parse::<u64>().ok()) else { return };
    let rows = gb * SECOND_NS / made::OTHER as u64;
    let map = columns(made::MAP, bay);
    let begun = Instant::now();
    let report = import(&plan(&map), &made::Made { rows }, &mut |_| true).unwrap_or_else(|error| panic!("{error}"));
    let took = begun.elapsed().as_secs_f64();
    let gb = report.origin.bytes as f64 / 1e9;
    println!("{gb:.1} GB made while it was read, {rows} rows, {} of them used, in {took:.0} s", report.counts.rows);
    println!("({:.0} MB/s, read twice); most memory {} MB", 2.0 * gb * 1e3 / took, most_mb());
}
