//! A watch small enough to see through: it shows a sample frame at each tick and entry, with numbers that
//! depend on everything it was given before.

use crate::samples;
use brimwatch::engine::frame::{Frame, Output, Phase, VerdictWord};
use brimwatch::engine::input::{Carried, Event, Input, Measured, What};
use brimwatch::engine::settings::Settings;
use brimwatch::recording::Watch;
use brimwatch::recording::format::Header;
use brimwatch::recording::writer::Recorder;
use brimwatch::time::EngineTime;
use std::path::Path;

#[derive(Debug, Clone, PartialEq)]
pub struct Toy {
    pub sum: f64,
    pub steps: u64,
}

impl Watch for Toy {
    fn begin(settings: Settings, carried: Carried) -> Toy {
        Toy { sum: settings.tanks.len() as f64 + carried.latest.len() as f64, steps: 0 }
    }

    fn step(&mut self, input: &Input) -> Output {
        self.steps += 1;
        if let Event::Poll(poll) = &input.event {
            for value in &poll.values {
                if let Measured::Number(number) = value.value {
                    self.sum += number / 3.0;
                }
            }
        }
        let show = matches!(input.event, Event::Tick | Event::Entry(_));
        Output { frame: show.then(|| Box::new(self.frame(input.at))), keep: show, urgent: false }
    }
}

impl Toy {
    fn frame(&self, at: EngineTime) -> Frame {
        let mut frame = samples::full_frame(at);
        frame.pad.slope_pa_per_s = Some(self.sum);
        if self.steps < 4 {
            frame.phase = Phase::Opened;
            frame.verdict.word = VerdictWord::NotYetProven;
            frame.alarms.clear();
        }
        frame
    }
}

/// A watch with a fault of our own: it fails at a "closed".
#[derive(Debug)]
pub struct Faulty(pub Toy);

impl Watch for Faulty {
    fn begin(settings: Settings, carried: Carried) -> Faulty {
        Faulty(Toy::begin(settings, carried))
    }

    fn step(&mut self, input: &Input) -> Output {
        if let Event::Entry(entry) = &input.event {
            assert!(entry.what != What::Closed, "a fault on purpose");
        }
        self.0.step(input)
    }
}

/// Inputs of `seconds` seconds: a poll and a tick each.
pub fn inputs(from: u64, seconds: u64) -> Vec<Input> {
    let poll = &samples::every_event()[0];
    let second = |s: u64| [poll, &Event::Tick].map(|event| Input { at: samples::at(s), event: event.clone() });
    (from..from + seconds).flat_map(second).collect()
}

/// Records inputs and what a watch makes of them, as the live loop does.
pub fn feed<W: Watch>(recorder: &Recorder, watch: &mut W, inputs: &[Input]) {
    for input in inputs {
        let number = recorder.input(input);
        let output = watch.step(input);
        if let Some(frame) = output.frame.filter(|_| output.keep) {
            recorder.output(number, &frame);
        }
    }
}

/// A whole recording made through `W`.
pub fn record<W: Watch>(path: &Path, header: &Header, inputs: &[Input]) -> Vec<u8> {
    let recorder = Recorder::create(path, header).expect("a new file");
    feed(&recorder, &mut W::begin(header.settings.clone(), header.carried.clone()), inputs);
    recorder.finish().expect("a disk");
    std::fs::read(path).expect("the file")
}

/// The same in a folder that is gone afterwards.
pub fn recorded<W: Watch>(header: &Header, inputs: &[Input]) -> Vec<u8> {
    let folder = tempfile::tempdir().expect("a folder");
    record::<W>(&folder.path().join("segment"), header, inputs)
}
