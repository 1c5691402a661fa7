//! How fast recordings are replayed and tuned: `cargo bench --bench tune`; `-- 200` runs 200 recordings under 20 choices
//! besides.
//!
//! Figures of this run are in docs/figures.md. Single passes are told in time of their core, so that what else the machine
//! does weighs little; the ratio of cores is of one run.

use brimwatch::recording::compare;
use brimwatch::tune::{Choice, Labels, Plan, choices, pass, run};
use brimwatch_simulator::scenario;
use rustix::time::{ClockId, clock_gettime};
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::time::Instant;

#[path = "recorded.rs"]
mod recorded;

/// Length of the recording, s.
const LASTS_S: u64 = 7_200;
/// Runs of each, in turn; the middle one is shown.
const RUNS: usize = 15;

fn middle(mut took_s: Vec<f64>) -> f64 {
    took_s.sort_by(f64::total_cmp);
    took_s[took_s.len() / 2]
}

/// The most memory this process ever had, MB (proc(5), VmHWM).
fn most_mb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("proc");
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).expect("a line");
    line.split_whitespace().next().and_then(|kb| kb.parse::<u64>().ok()).expect("kB") >> 10
}

fn record(path: &Path, seed: u64, lasts_s: u64) -> usize {
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let bay = &site.bays[delivery.bay];
    let mut recording = recorded::Recording::begin(path, &site.texts, bay, &delivery, seed);
    recording.seconds(lasts_s);
    recording.end();
    bay.settings.signals.len()
}

/// Seconds that this thread has had of a core: what else the machine does is not in it.
#[expect(clippy::cast_precision_loss, reason = "nanoseconds of minutes")]
fn core_s() -> f64 {
    let now = clock_gettime(ClockId::ThreadCPUTime);
    now.tv_sec as f64 + now.tv_nsec as f64 / 1e9
}

/// Seconds of a core for one pass under these choices.
fn timed(path: &Path, choices: &[Choice]) -> f64 {
    let begun = core_s();
    black_box(pass(path, choices, &AtomicBool::new(false)).expect("a recording").expect("not stopped"));
    core_s() - begun
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("two-hours.brim");
    let signals = record(&path, 1, LASTS_S);
    let kb = std::fs::metadata(&path).expect("a recording").len() >> 10;
    println!("2 h of {signals} signals, one reading a second, {kb} kB of recording");

    let recorded = [Choice::recorded()];
    let twenty: Vec<Choice> = std::iter::repeat_n(Choice::recorded(), 20).collect();
    let (mut one_s, mut twenty_s, mut compared_s) = (Vec::new(), Vec::new(), Vec::new());
    for i in 0..RUNS {
        one_s.push(timed(&path, &recorded));
        if i < 5 {
            twenty_s.push(timed(&path, &twenty));
        }
        let begun = core_s();
        assert!(compare::compare(&path).expect("a recording").is_same());
        compared_s.push(core_s() - begun);
    }
    let (one, twenty, compared) = (middle(one_s), middle(twenty_s), middle(compared_s));
    println!("replayed for its alarms, reading included: {:.0} ms ({:.0} times real time)", one * 1e3, 7_200.0 / one);
    println!("under 20 choices at once: {:.0} ms, {:.1} ms a choice", twenty * 1e3, twenty * 1e3 / 20.0);
    println!("replayed with every output held against it: {:.0} ms", compared * 1e3);
    println!("1,000 recordings under 20 choices on 2 cores at that pace: {:.1} min", 1_000.0 * twenty / 2.0 / 60.0);

    let day = folder.path().join("day.brim");
    let before = most_mb();
    record(&day, 2, 12 * LASTS_S);
    let made = most_mb();
    timed(&day, &recorded);
    let mb = std::fs::metadata(&day).expect("a recording").len() >> 20;
    println!("a day, {mb} MB: most memory {before} MB before, {made} MB while it was made, {} MB behind it", most_mb());

    let Some(count) = std::env::args().skip(1).find_map(|a| a.parse::<u64>().ok()) else { return };
    many(folder.path(), &path, count);
}

/// Many recordings under 20 choices of a real site file, on one core and on all.
fn many(folder: &Path, path: &Path, count: u64) {
    let (site, _) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    for (name, text) in &site.texts {
        let to = folder.join(name);
        std::fs::create_dir_all(to.parent().expect("a folder")).expect("a disk");
        std::fs::write(to, text).expect("a disk");
    }
    let site_file = folder.join(&site.texts[0].0);
    let values: Vec<String> = (0..18).map(|s| format!("{s} s")).collect();
    let tried = choices(None, &[site_file], &[format!("alarms.on_delay={}", values.join(","))]).expect("choices");
    assert_eq!(tried.len(), 20);
    let recordings: Vec<PathBuf> = (0..count)
        .map(|i| {
            let copy = folder.join(format!("copy-{i}.brim"));
            std::fs::hard_link(path, &copy).expect("a link");
            copy
        })
        .collect();
    let all = std::thread::available_parallelism().map_or(1, usize::from);
    let mut took_s = Vec::new();
    for cores in [1, all] {
        let out = folder.join(format!("out-{cores}"));
        let labels = Labels::default();
        let plan = Plan { recordings: &recordings, choices: &tried, labels: &labels, out: &out, cores };
        let begun = Instant::now();
        let done = run(&plan, &AtomicBool::new(false), &mut |_| {}).expect("results");
        assert_eq!((done.taken as u64, done.left_out.len()), (count, 0));
        took_s.push(begun.elapsed().as_secs_f64());
        println!("{count} recordings of 2 h under 20 choices on {cores} cores: {:.1} s", took_s[took_s.len() - 1]);
    }
    println!("{:.2} times as fast on {all} cores; most memory {} MB", took_s[0] / took_s[1], most_mb());
}
