//! What it takes until an input is on the disk, beside the least that a durable line takes.

use super::figures::{Sorted, goal, table};
use brimwatch::clock::{MachineTime, boot_id, wall_now};
use brimwatch::config;
use brimwatch::engine::NUMERICS_VERSION;
use brimwatch::engine::input::{Block, Carried, Entry, Event, Input, Measured, Poll, What};
use brimwatch::recording::format::{Header, PROGRAM_VERSION};
use brimwatch::recording::writer::Recorder;
use brimwatch::time::EngineTime;
use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::time::{Duration, Instant};

/// Commits of each kind.
const COMMITS: u64 = 150;
/// One of each in this time: 10 Hz.
const EVERY: Duration = Duration::from_millis(100);

pub fn part() {
    // Under the build's own folder: /tmp may be memory.
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let recorder = Recorder::create(&folder.path().join("bench.brim"), &header()).expect("a recording");
    let mut progress = recorder.progress();
    let mut line = File::create(folder.path().join("floor")).expect("a file");
    let runtime = tokio::runtime::Builder::new_current_thread().build().expect("a runtime");
    let (mut floor_us, mut ours_us) = (Vec::new(), Vec::new());
    let length = record_length(&folder.path().join("bench.brim"), &recorder);
    let begun = Instant::now();
    for turn in 0..2 * COMMITS {
        std::thread::sleep((begun + EVERY / 2 * u32::try_from(turn).expect("few")).duration_since(Instant::now()));
        let before = Instant::now();
        if turn % 2 == 0 {
            line.write_all(&vec![0x55; length]).and_then(|()| line.sync_data()).expect("a disk");
            floor_us.push(before.elapsed().as_secs_f64() * 1e6);
        } else {
            let at = EngineTime(turn * 1_000_000);
            recorder.input(&poll(at));
            let number = recorder.input(&entry(at));
            let durable = runtime.block_on(progress.wait_for(|p| p.durable_through >= number)).is_ok();
            assert!(durable, "the recorder goes on");
            ours_us.push(before.elapsed().as_secs_f64() * 1e6);
        }
    }
    recorder.finish().expect("a disk");
    let (floor, ours) = (Sorted::new(floor_us), Sorted::new(ours_us));
    let ratio = ours.median() / floor.median();
    table(
        "An input handed over to durable, us: median / 99 % / maximum",
        ["bytes", "floor: append and fdatasync", "recorder", "ratio at the median", "goal"],
        &[[length.to_string(), floor.three(0), ours.three(0), format!("{ratio:.2}"), goal("<= 1.25", ratio <= 1.25)]],
    );
}

/// A poll as a device with ten registers gives it. By itself it would wait for company, up to half a second ...
fn poll(at: EngineTime) -> Input {
    let values = (0..5).map(|signal| (signal, Measured::Number(12_345.678)));
    let blocks = vec![Block { function: 3, address: 0, words: Ok(vec![0x4242; 50]) }];
    Input { at, event: Event::Poll(Poll { blocks, ..Poll::at_once(0, at, values) }) }
}

/// ... and an entry makes the recorder flush at once.
fn entry(at: EngineTime) -> Input {
    Input { at, event: Event::Entry(Entry { who: "bench".to_owned(), leg: 1, what: What::TransferStarted }) }
}

/// Bytes that one of these commits adds to the recording.
fn record_length(path: &Path, recorder: &Recorder) -> usize {
    let now = || std::fs::metadata(path).expect("a recording").len();
    let before = now();
    recorder.input(&poll(EngineTime(0)));
    let number = recorder.input(&entry(EngineTime(0)));
    while recorder.progress().borrow().durable_through < number {
        std::thread::sleep(Duration::from_millis(1));
    }
    usize::try_from(now() - before).expect("hundreds")
}

fn header() -> Header {
    let site = config::load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("config/site.toml"));
    let site = site.unwrap_or_else(|faults| panic!("{faults}"));
    Header {
        program_version: PROGRAM_VERSION.to_owned(),
        numerics_version: NUMERICS_VERSION,
        drill_speed: None,
        boot_id: boot_id(),
        machine_ns_at_zero: MachineTime::now().0,
        wall_at_zero: wall_now(),
        bay: site.bays[0].slug.clone(),
        texts: site.texts.clone(),
        settings: site.bays[0].settings.clone(),
        carried: Carried::default(),
    }
}
