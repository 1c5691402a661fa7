//! What the engine takes: time for a second of a bay, memory over a day of deliveries, a transfer of four hours resumed,
//! and the first poll after a start. `cargo bench --bench engine`, or a part by its name.
//!
//! Figures of this run are in docs/figures.md. Times of the engine are of the core's own clock, so that what else the
//! machine does weighs little.

use brimwatch::engine::Monitor;
use brimwatch::engine::frame::Phase;
use brimwatch::engine::input::{Carried, Event, Input, Measured};
use brimwatch::engine::settings::{Settings, SignalKind};
use brimwatch::recording::format::Kind;
use brimwatch::recording::{reader, resume, stream};
use brimwatch::time::{EngineTime, SECOND_NS};
use brimwatch_simulator::drill::{Drill, readdress};
use brimwatch_simulator::scenario::{self, DELIVERY, PRODUCT, SITE};
use rustix::time::{ClockId, clock_gettime};
use std::fs;
use std::hint::black_box;
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::slice;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

#[path = "recorded.rs"]
mod recorded;

/// From one delivery to the next, s: eight in a day.
const DELIVERY_S: u64 = 3 * 3_600;
/// Bays that are stepped in turn, so that none finds its state in the core's cache.
const BAYS: usize = 1_000;
/// Seconds of transfer that each of them sees.
const TURN_S: u64 = 300;
/// Bays whose memory is told together.
const DAY_BAYS: usize = 50;
/// Starts of the program.
const STARTS: usize = 20;

/// Time of this thread's core, s.
fn core_s() -> f64 {
    let t = clock_gettime(ClockId::ThreadCPUTime);
    #[expect(clippy::cast_precision_loss, reason = "hours at most")]
    let s = (t.tv_sec * 1_000_000_000 + t.tv_nsec) as f64 * 1e-9;
    s
}

/// Resident memory of this process, kB (proc(5), VmRSS).
fn resident_kb() -> f64 {
    let status = fs::read_to_string("/proc/self/status").expect("proc");
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).expect("a line");
    line.split_whitespace().next().and_then(|kb| kb.parse().ok()).expect("kB")
}

/// A delivery with its transfer, closed, and what is left of its three hours, as it went into the recorder.
fn delivery() -> (Settings, Vec<Input>) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("delivery.brim");
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let bay = &site.bays[delivery.bay];
    let mut recording = recorded::Recording::begin(&path, &site.texts, bay, &delivery, 1);
    recording.seconds(DELIVERY_S);
    recording.end();
    let mut inputs = Vec::new();
    let mut read = stream::open(&path).expect("a recording");
    while let Some(record) = read.next_record().expect("a disk") {
        if record.kind == Kind::Input {
            inputs.push(reader::input(&record).expect("an input"));
        }
    }
    (bay.settings.clone(), inputs)
}

/// The part of a delivery's inputs from the start of the transfer on, and those before.
fn at_start(settings: &Settings, inputs: &[Input]) -> usize {
    let mut monitor = Monitor::new(settings.clone(), Carried::default());
    let started = inputs.iter().position(|input| {
        monitor.step(input);
        monitor.phase() == Phase::Transfer
    });
    started.expect("a transfer") + 1
}

/// Inputs of the first so many seconds.
fn seconds(inputs: &[Input], seconds: u64) -> &[Input] {
    let until = inputs[0].at.0 + seconds * SECOND_NS;
    &inputs[..inputs.iter().position(|input| input.at.0 > until).unwrap_or(inputs.len())]
}

/// Time of the core for stepping every monitor through these inputs, s: for ticks, and for all else.
fn stepped_s(monitors: &mut [Monitor], inputs: &[Input]) -> (f64, f64) {
    let (mut ticks_s, mut others_s) = (0.0, 0.0);
    for input in inputs {
        let begun = core_s();
        monitors.iter_mut().for_each(|monitor| drop(black_box(monitor.step(input))));
        let took = if matches!(input.event, Event::Tick) { &mut ticks_s } else { &mut others_s };
        *took += core_s() - begun;
    }
    (ticks_s, others_s)
}

/// A second of a bay is its devices' answers and its tick.
fn step_part() {
    let (settings, inputs) = delivery();
    let (before, transfer) = inputs.split_at(at_start(&settings, &inputs));
    let (devices, signals) = (settings.devices.len(), settings.signals.len());
    println!("A second of a bay: the answers of {devices} devices with {signals} signals, and the tick");
    println!("| | bays | tick, us | answers, us | of one core |\n| --- | --- | --- | --- | --- |");
    for (what, part) in [("before the transfer", before), ("in transfer", transfer)] {
        let started = part.as_ptr() == transfer.as_ptr();
        let part = seconds(part, TURN_S);
        let ticks = part.iter().filter(|input| matches!(input.event, Event::Tick)).count();
        for bays in [1, BAYS] {
            let mut monitors: Vec<Monitor> =
                (0..bays).map(|_| Monitor::new(settings.clone(), Carried::default())).collect();
            if started {
                stepped_s(&mut monitors, before);
            }
            let (ticks_s, others_s) = stepped_s(&mut monitors, part);
            let each_us = 1e6 / (ticks * bays) as f64;
            let (tick_us, answers_us) = (ticks_s * each_us, others_s * each_us);
            let share = (tick_us + answers_us) * 1e-6 * bays as f64 * 100.0;
            println!("| {what}, {ticks} s | {bays} | {tick_us:.1} | {answers_us:.1} | {share:.2} % |");
        }
    }
}

/// The next trailer: later, and the totalizer goes on from where it stood.
fn later(input: &Input, settings: &Settings, by_s: u64, counted_kg: f64) -> Input {
    let mut input = input.clone();
    let by_ns = by_s * SECOND_NS;
    input.at = EngineTime(input.at.0 + by_ns);
    if let Event::Poll(poll) = &mut input.event {
        for time in [&mut poll.due, &mut poll.requested, &mut poll.replied] {
            *time = EngineTime(time.0 + by_ns);
        }
        for value in &mut poll.values {
            let total = settings.signals[usize::from(value.signal)].kind == SignalKind::FlowMassTotal;
            if let (true, Measured::Number(kg)) = (total, &mut value.value) {
                *kg += counted_kg;
            }
        }
    }
    input
}

/// What the totalizer counts in a delivery, kg.
fn counted_kg(settings: &Settings, inputs: &[Input]) -> f64 {
    let total = |input: &Input| {
        let Event::Poll(poll) = &input.event else { return None };
        poll.values.iter().find_map(|value| match value.value {
            Measured::Number(kg) if settings.signals[usize::from(value.signal)].kind == SignalKind::FlowMassTotal => {
                Some(kg)
            }
            _ => None,
        })
    };
    let first = inputs.iter().find_map(total).expect("a totalizer");
    inputs.iter().rev().find_map(total).expect("a totalizer") - first
}

/// One monitor for the whole day: the live loop begins a new one with each segment, which could only take less.
fn day_part() {
    let (settings, inputs) = delivery();
    let counted = counted_kg(&settings, &inputs);
    let mut monitors: Vec<Monitor> =
        (0..DAY_BAYS).map(|_| Monitor::new(settings.clone(), Carried::default())).collect();
    println!("{DAY_BAYS} bays through a day, each by one monitor; the same delivery again and again");
    println!("{:.0} kB resident before", resident_kb());
    let (mut after_one_kb, mut ticks_s, mut answers_s) = (0.0, 0.0, 0.0);
    for n in 0..8_u32 {
        let mut transferred = 0_usize;
        for input in &inputs {
            let input = later(input, &settings, u64::from(n) * DELIVERY_S, f64::from(n) * counted);
            let (tick_s, other_s) = stepped_s(&mut monitors, slice::from_ref(&input));
            ticks_s += tick_s;
            answers_s += other_s;
            transferred += usize::from(monitors[0].phase() == Phase::Transfer);
        }
        assert!(transferred > 3_600, "delivery {n}: no transfer");
        let kb = resident_kb();
        if n == 0 {
            after_one_kb = kb;
        }
        println!(
            "after delivery {}, {} h: {kb:.0} kB resident, {:+.1} kB a bay since the first",
            n + 1,
            u64::from(n + 1) * DELIVERY_S / 3_600,
            (kb - after_one_kb) / DAY_BAYS as f64
        );
    }
    let each_us = 1e6 / (8 * DELIVERY_S * DAY_BAYS as u64) as f64;
    let (tick_us, answers_us) = (ticks_s * each_us, answers_s * each_us);
    println!(
        "{:.1} us for a second of a bay, on average over the day: {tick_us:.1} for the tick, {answers_us:.1} for the answers",
        tick_us + answers_us
    );
}

/// A transfer that was on for four hours when the program was killed.
fn resume_part() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("four-hours.brim");
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let mut recording = recorded::Recording::begin(&path, &site.texts, &site.bays[delivery.bay], &delivery, 1);
    recording.seconds(1_800);
    recording.unattended(4 * 3_600);
    recording.end();
    let mb = fs::metadata(&path).expect("a recording").len() as f64 / f64::from(1 << 20);
    let mut took_s: Vec<f64> = (0..9)
        .map(|_| {
            let begun = core_s();
            let recovered = black_box(resume::recover(&path).expect("a recording"));
            assert_eq!((recovered.monitor.phase(), recovered.tail_cut), (Phase::Transfer, None));
            core_s() - begun
        })
        .collect();
    took_s.sort_by(f64::total_cmp);
    println!(
        "a transfer of four hours, {mb:.1} MB, resumed: {:.0} ms (middle of 9; longest {:.0} ms)",
        took_s[4] * 1e3,
        took_s[8] * 1e3
    );
}

/// Wall time, ns since 1970.
fn wall_ns() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970");
    i64::try_from(since.as_nanos()).expect("before 2262")
}

/// From the call to start the program to the first request it sends, off its own recording; the site's files on the disk.
fn first_poll_part() {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| {
        let path: PathBuf = folder.path().join(name);
        fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        fs::write(&path, text).expect("a file");
        path
    };
    write(PRODUCT.0, PRODUCT.1);
    let (site_file, papers) = (write("site.toml", SITE), write("delivery.toml", DELIVERY));
    let load = || {
        let site = brimwatch::config::load(&site_file).unwrap_or_else(|faults| panic!("{faults}"));
        let papers = brimwatch::config::load_delivery(&papers, &site).unwrap_or_else(|faults| panic!("{faults}"));
        (site, papers)
    };
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let (site, delivery) = load();
    let drill = runtime.block_on(Drill::start(&site, &[delivery], 1.0, 1)).expect("free ports");
    write("site.toml", &readdress(SITE, &drill.addresses(), &[]));
    let store = load().0.store;
    let mut took_ms: Vec<f64> = (0..STARTS)
        .map(|_| {
            let _ = fs::remove_dir_all(&store);
            let begun_ns = wall_ns();
            let mut command = Command::new(env!("CARGO_BIN_EXE_brimwatch"));
            command.arg("watch").arg(&site_file).stdout(Stdio::piped()).stderr(Stdio::null());
            let mut child = command.spawn().expect("the program");
            BufReader::new(child.stdout.take().expect("a pipe")).lines().next().expect("a line").expect("text");
            std::thread::sleep(Duration::from_millis(1_500));
            child.kill().expect("killed");
            child.wait().expect("gone");
            (first_request_ns(&store) - begun_ns) as f64 * 1e-6
        })
        .collect();
    took_ms.sort_by(f64::total_cmp);
    println!(
        "from the call to the first request: {:.0} ms (middle of {STARTS} starts; longest {:.0} ms)",
        took_ms[STARTS / 2],
        took_ms[STARTS - 1]
    );
}

/// When the first poll on record was asked for, ns since 1970.
fn first_request_ns(store: &Path) -> i64 {
    let path = brimwatch::tune::recordings(&[store.to_owned()]).expect("a store").remove(0);
    let mut recording = stream::open(&path).expect("a recording");
    let zero_ns = recording.header().wall_at_zero.0;
    while let Some(record) = recording.next_record().expect("a disk") {
        if record.kind != Kind::Input {
            continue;
        }
        if let Event::Poll(poll) = reader::input(&record).expect("an input").event {
            return zero_ns + i64::try_from(poll.requested.0).expect("a while");
        }
    }
    panic!("no poll on record")
}

const PARTS: [(&str, fn()); 4] =
    [("step", step_part), ("day", day_part), ("resume", resume_part), ("first-poll", first_poll_part)];

fn main() {
    let wanted: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    for (name, part) in PARTS {
        if wanted.is_empty() || wanted.iter().any(|word| word == name) {
            part();
            println!();
        }
    }
}
