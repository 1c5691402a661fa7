//! Replays: what was shown is computed again to the same bits, by a toy and by the monitor itself.

use crate::samples;
use crate::toy::{self, Toy};
use brimwatch::engine::Monitor;
use brimwatch::engine::frame::{Output, Phase};
use brimwatch::engine::input::{Block, Carried, Event, Input, Measured, MissReason, Missed, Poll, What};
use brimwatch::engine::settings::Settings;
use brimwatch::recording::Watch;
use brimwatch::recording::compare::{DifferenceKind, Outcome, compare, compare_with};
use brimwatch::recording::json::replay_json;
use brimwatch::recording::resume::recover;
use brimwatch::recording::writer::Recorder;
use std::path::Path;

/// A toy that shows less, or more, than the one that made the recording.
struct Quiet(Toy);
struct Loud(Toy);
struct Off(Toy);

macro_rules! like_toy {
    ($name:ident, $change:expr) => {
        impl Watch for $name {
            fn begin(settings: Settings, carried: Carried) -> $name {
                $name(Toy::begin(settings, carried))
            }

            fn step(&mut self, input: &Input) -> Output {
                let output = self.0.step(input);
                let change: fn(Output, &Input) -> Output = $change;
                change(output, input)
            }
        }
    };
}

like_toy!(Quiet, |mut output, input| {
    output.keep &= input.at != samples::at(3);
    output
});
like_toy!(Loud, |mut output, input| {
    if matches!(input.event, Event::Poll(_)) && input.at == samples::at(2) {
        output = Output { frame: Some(Box::new(samples::full_frame(input.at))), keep: true, urgent: true };
    }
    output
});
like_toy!(Off, |mut output, input| {
    if let Some(frame) = output.frame.as_mut().filter(|_| input.at >= samples::at(4)) {
        frame.verdict.suspects[2] = true;
    }
    output
});

#[test]
fn outputs_must_match_one_to_one() {
    let bytes = toy::recorded::<Toy>(&samples::header(Carried::default()), &toy::inputs(1, 5));
    let path = Path::new("segment");
    let same = compare_with::<Toy>(path, &bytes).expect("a recording");
    assert_eq!((same.outcome, same.inputs, same.compared), (Outcome::Same, 10, 5));
    let first = |outcome| match outcome {
        Outcome::Different { first, count } => (first.number, first.what, count),
        other => panic!("{other:?}"),
    };
    let quiet = compare_with::<Quiet>(path, &bytes).expect("a recording");
    assert_eq!(first(quiet.outcome), (6, DifferenceKind::NotReplayed, 1));
    let loud = compare_with::<Loud>(path, &bytes).expect("a recording");
    assert_eq!(first(loud.outcome), (3, DifferenceKind::NotStored, 1));
    let off = compare_with::<Off>(path, &bytes).expect("a recording");
    let field =
        DifferenceKind::Field { path: "verdict.suspects[2]".into(), stored: "false".into(), replayed: "true".into() };
    assert_eq!(first(off.outcome), (8, field, 2));
}

#[test]
fn nothing_compared_is_no_success() {
    let bytes = toy::recorded::<Toy>(&samples::header(Carried::default()), &[]);
    let comparison = compare_with::<Toy>(Path::new("segment"), &bytes).expect("a recording");
    assert_eq!(comparison.outcome, Outcome::NothingCompared);
    assert!(!comparison.is_same());
}

#[test]
fn another_program_is_told_apart_from_a_difference() {
    let mut header = samples::header(Carried::default());
    header.numerics_version += 1;
    let bytes = toy::recorded::<Toy>(&header, &toy::inputs(1, 2));
    let comparison = compare_with::<Toy>(Path::new("segment"), &bytes).expect("a recording");
    let version = header.numerics_version;
    let expected = Outcome::OtherProgram { program_version: header.program_version, numerics_version: version };
    assert_eq!((comparison.outcome, comparison.compared), (expected, 0));
}

/// A transfer as three instruments would tell it, 10 kg/s, one device away for a while.
fn transfer(from_s: u64, to_s: u64) -> Vec<Input> {
    let mut inputs = vec![];
    for s in from_s..to_s {
        let kg = if s > 5 { 10.0 * (s - 5) as f64 } else { 0.0 };
        let area = std::f64::consts::PI / 4.0 * samples::TANK_DIAMETER_M * samples::TANK_DIAMETER_M;
        let readings = [
            vec![(0_u16, 1000.0 + kg), (3, 150e3 - kg)],
            vec![(1, 34_000.0 - kg)],
            vec![(2, 2.0 + kg / samples::DENSITY_KG_PER_M3 / area)],
        ];
        for (device, values) in (0..).zip(readings) {
            inputs.push(Input { at: samples::at(s), event: poll(device, s, &values) });
        }
        inputs.push(Input { at: samples::at(s), event: Event::Tick });
        match s {
            2 => inputs.push(samples::entry(s, What::DeliveryOpened(Box::new(samples::delivery())))),
            5 => inputs.push(samples::entry(s, What::TransferStarted)),
            _ => {}
        }
    }
    inputs
}

fn poll(device: u16, s: u64, values: &[(u16, f64)]) -> Event {
    if device == 1 && (40..50).contains(&s) {
        return Event::Missed(Missed { device, requested: samples::at(s), reason: MissReason::TimeOut });
    }
    let blocks = vec![Block { function: 3, address: 0, words: Ok(vec![1, 2]) }];
    let values = values.iter().map(|(signal, number)| (*signal, Measured::Number(*number)));
    Event::Poll(Poll { blocks, ..Poll::at_once(device, samples::at(s), values) })
}

#[test]
fn the_monitor_replays_bit_for_bit() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("segment");
    toy::record::<Monitor>(&path, &samples::header(Carried::default()), &transfer(0, 120));
    let comparison = compare(&path).expect("a recording");
    assert!(comparison.is_same(), "{comparison}");
    assert!(comparison.compared > 100, "{comparison}");
    println!("{comparison}");
}

/// A monitor rebuilt from the file goes on exactly as the one that was never stopped.
#[test]
fn a_resumed_monitor_says_what_the_first_would_have_said() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("segment");
    let header = samples::header(Carried::default());
    let recorder = Recorder::create(&path, &header).expect("a new file");
    let mut first = Monitor::new(header.settings.clone(), header.carried.clone());
    toy::feed(&recorder, &mut first, &transfer(0, 60));
    drop(recorder);
    let mut resumed = recover(&path).expect("a recording");
    assert!(resumed.transfer_open() && resumed.monitor.phase() == Phase::Transfer && !resumed.ended);
    assert_eq!((resumed.failed_at, resumed.last_at), (None, samples::at(59)));
    let recorder = Recorder::append(&path, &resumed.point).expect("the file");
    let second = Recorder::append(&path, &resumed.point).expect_err("the file is taken");
    assert!(second.to_string().contains("another program"), "{second}");
    let rest = transfer(60, 90);
    for input in &rest {
        assert_eq!(first.step(input), resumed.monitor.clone().step(input));
        toy::feed(&recorder, &mut resumed.monitor, std::slice::from_ref(input));
    }
    recorder.finish().expect("a disk");
    let comparison = compare(&path).expect("a recording");
    assert!(comparison.is_same() && comparison.ended, "{comparison}");
}

#[test]
fn json_lines_show_frames_at_the_interval_and_every_change() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("segment");
    toy::record::<Toy>(&path, &samples::header(Carried::default()), &toy::inputs(1, 20));
    let mut out = vec![];
    replay_json(&path, 5.0, &mut out).expect("a recording");
    let lines: Vec<serde_json::Value> =
        std::str::from_utf8(&out).expect("text").lines().map(|l| serde_json::from_str(l).expect("JSON")).collect();
    let of = |kind: &str| lines.iter().filter(|line| line["kind"] == kind).collect::<Vec<_>>();
    let times: Vec<_> = of("frame").iter().map(|line| line["frame"]["at_ns"].as_u64().expect("a time")).collect();
    assert_eq!(times, [1, 6, 11, 16].map(|s| samples::at(s).0));
    let verdicts: Vec<_> = of("verdict").iter().map(|line| line["verdict"]["word"].clone()).collect();
    assert_eq!(verdicts, ["not_yet_proven", "agree"]);
    let alarm = of("alarm")[0];
    assert_eq!((&alarm["change"], &alarm["alarm"]["key"]["id"]), (&"new".into(), &"signal_lost".into()));
    assert_eq!((lines[0]["kind"].as_str(), lines[0]["bay"].as_str()), (Some("start"), Some("bay-1")));
    let last = lines.last().expect("a line");
    assert_eq!((&last["kind"], &last["inputs"], &last["outputs"]), (&"end".into(), &40.into(), &20.into()));
}
