//! A real delivery's recording, cut behind every record and damaged in its middle.

use super::{hash, inputs, replay};
use crate::recorded;
use brimwatch::config::{DeliveryFile, Site};
use brimwatch::engine::Monitor;
use brimwatch::engine::checks::CheckId;
use brimwatch::engine::input::{Entry, Event, Input, What};
use brimwatch::recording::format::{Header, Kind};
use brimwatch::recording::writer::Recorder;
use brimwatch::recording::{compare, reader, resume};
use brimwatch::time::{EngineTime, SECOND_NS};
use brimwatch_simulator::scenario;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Long enough to be in the transfer, s.
const BEFORE_S: u64 = 700;
/// The stretch that is cut, s: at every record that is all of it over again.
const CUT_S: u64 = 22;

/// A segment that begins in the midst of a transfer, as one does under a new version of the program.
fn midst(folder: &Path) -> PathBuf {
    let (site, delivery): (Site, DeliveryFile) =
        scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let whole = folder.join("whole.brim");
    let mut recording = recorded::Recording::begin(&whole, &site.texts, &site.bays[delivery.bay], &delivery, 11);
    recording.seconds(BEFORE_S + CUT_S);
    recording.end();
    let (header, whole) = inputs(&std::fs::read(whole).expect("a recording"));
    let (before, after) = whole.split_at(whole.partition_point(|input| input.at.0 < BEFORE_S * SECOND_NS));
    let mut monitor = Monitor::new(header.settings.clone(), header.carried.clone());
    before.iter().for_each(|input| drop(monitor.step(input)));
    let carried = monitor.carried();
    assert!(carried.delivery.as_ref().is_some_and(|d| d.transferring && d.received_kg.iter().all(Option::is_some)));
    let header = Header { settings: monitor.settings().clone(), carried, ..header };
    let path = folder.join("midst.brim");
    let recorder = Recorder::create(&path, &header).expect("a disk");
    let mut monitor = Monitor::new(header.settings, header.carried);
    for input in after {
        let mut input = input.clone();
        input.at = EngineTime(input.at.0 - BEFORE_S * SECOND_NS);
        let is_midway = matches!(input.event, Event::Tick) && input.at.0 > CUT_S / 2 * SECOND_NS;
        put(&recorder, &mut monitor, &input);
        if is_midway {
            let what = What::CheckEntered { check: CheckId::EmergencyEquipment, met: true, note: "shown".into() };
            let event = Event::Entry(Entry { who: "attendant".into(), leg: 1, what });
            put(&recorder, &mut monitor, &Input { at: input.at, event });
        }
    }
    recorder.finish().expect("a disk");
    path
}

fn put(recorder: &Recorder, monitor: &mut Monitor, input: &Input) {
    let number = recorder.input(input);
    let output = monitor.step(input);
    if let Some(frame) = output.frame.filter(|_| output.keep) {
        recorder.output(number, &frame);
    }
}

/// Cut behind any record it is gone on with in exactly the state that its records give.
#[test]
fn cut_behind_any_record_the_state_is_that_of_what_is_left() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = midst(folder.path());
    let bytes = std::fs::read(&path).expect("a recording");
    let recording = reader::walk(&path, &bytes).expect("a recording");
    let mut monitor = Monitor::new(recording.header.settings.clone(), recording.header.carried.clone());
    let (mut stepped, mut gone_on) = (0_u64, 0);
    for (index, record) in recording.records.iter().enumerate() {
        if record.kind == Kind::Input {
            monitor.step(&reader::input(record).expect("an input"));
            stepped += 1;
        }
        let cut = folder.path().join("cut.brim");
        std::fs::write(&cut, &bytes[..record.end()]).expect("a disk");
        let resumed = resume::recover(&cut).expect("a recording");
        assert_eq!((resumed.point.inputs, resumed.tail_cut), (stepped, None), "record {index}");
        assert_eq!(hash(&resumed.monitor), hash(&monitor), "record {index}");
        if index % 17 == 0 && record.kind != Kind::End {
            gone_on += 1;
            let recorder = Recorder::append(&cut, &resumed.point).expect("the file");
            let mut monitor = resumed.monitor;
            let at = EngineTime(resumed.last_at.0 + SECOND_NS);
            put(&recorder, &mut monitor, &Input { at, event: Event::Tick });
            recorder.finish().expect("a disk");
            let compared = compare::compare(&cut).expect("a recording");
            assert!(compared.is_same() && compared.ended, "record {index}: {compared}");
        }
    }
    assert!(stepped > 60 && gone_on > 5, "{stepped} inputs, gone on {gone_on} times");
}

/// One record is taken out whole: every checksum fits, only the chain tells. It is said, and the rest is read.
#[test]
fn a_record_that_is_gone_from_the_middle_is_found_by_the_chain() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = midst(folder.path());
    let bytes = std::fs::read(&path).expect("a recording");
    let recording = reader::walk(&path, &bytes).expect("a recording");
    let outputs: Vec<_> = recording.records.iter().filter(|record| record.kind == Kind::Output).collect();
    let gone = outputs[outputs.len() / 2];
    let mut less = bytes[..gone.offset].to_vec();
    less.extend(&bytes[gone.end()..]);
    std::fs::write(&path, &less).expect("a disk");
    let (code, said) = replay(&path);
    assert_ne!(code, Some(0), "{said}");
    assert!(said.contains("changed, removed or added"), "{said}");
    let dump = Command::new(env!("CARGO_BIN_EXE_brimwatch")).arg("dump").arg(&path).output().expect("a dump");
    let dump = String::from_utf8_lossy(&dump.stdout).into_owned() + &String::from_utf8_lossy(&dump.stderr);
    assert!(dump.contains("changed, removed or added"), "{dump}");
    let last = recording.records.iter().rfind(|record| record.kind == Kind::Input).expect("inputs");
    assert!(dump.lines().any(|line| line.contains(&last.number.to_string())), "the rest is read");
}
