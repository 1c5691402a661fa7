//! A simulated delivery on record, as the live loop would have written it, made in process.

use brimwatch::config::{BaySetup, DeliveryFile};
use brimwatch::engine::input::{Carried, Entry, Event, Input, Measured, Poll, What};
use brimwatch::engine::settings::SignalKind;
use brimwatch::engine::{Monitor, NUMERICS_VERSION};
use brimwatch::recording::format::{Header, PROGRAM_VERSION};
use brimwatch::recording::writer::Recorder;
use brimwatch::time::{EngineTime, SECOND_NS, WallTime};
use brimwatch_simulator::bay::{BAY_STEP_S, SimulatedBay, Stage};
use std::path::Path;

/// 2026-10-25T00:00:00Z.
const BEGUN: WallTime = WallTime(1_792_886_400_000_000_000);

/// A bay being recorded.
pub struct Recording<'a> {
    bay: &'a BaySetup,
    /// What really happens.
    pub plant: SimulatedBay,
    monitor: Monitor,
    recorder: Recorder,
    s: u64,
}

impl<'a> Recording<'a> {
    /// A delivery is opened; its transfer starts as soon as the pad is up.
    pub fn begin(
        path: &Path,
        texts: &[(String, String)],
        bay: &'a BaySetup,
        delivery: &DeliveryFile,
        seed: u64,
    ) -> Recording<'a> {
        let header = Header {
            program_version: PROGRAM_VERSION.to_owned(),
            numerics_version: NUMERICS_VERSION,
            drill_speed: Some(1.0),
            boot_id: "none".into(),
            machine_ns_at_zero: 0,
            wall_at_zero: BEGUN,
            bay: bay.slug.clone(),
            texts: texts.to_vec(),
            settings: bay.settings.clone(),
            carried: Carried::default(),
        };
        let mut recording = Recording {
            bay,
            plant: SimulatedBay::new(&bay.settings, Some(&delivery.setup), seed),
            monitor: Monitor::new(bay.settings.clone(), Carried::default()),
            recorder: Recorder::create(path, &header).expect("a disk"),
            s: 0,
        };
        recording.take(Event::Clock(BEGUN));
        recording.enter(What::DeliveryOpened(Box::new(delivery.setup.clone())));
        recording
    }

    fn take(&mut self, event: Event) {
        let input = Input { at: EngineTime(self.s * SECOND_NS + SECOND_NS / 2), event };
        let number = self.recorder.input(&input);
        let output = self.monitor.step(&input);
        if let Some(frame) = output.frame.filter(|_| output.keep) {
            self.recorder.output(number, &frame);
        }
    }

    /// Somebody says something.
    pub fn enter(&mut self, what: What) {
        self.take(Event::Entry(Entry { who: "attendant".into(), leg: 1, what }));
    }

    /// So many seconds go by; the attendant starts the transfer when the pad is up and closes it when all is at rest.
    pub fn seconds(&mut self, seconds: u64) {
        let until = self.s + seconds;
        while self.s < until && self.plant.stage() != Stage::Done {
            let before = self.plant.stage();
            self.second();
            if before != Stage::Ready && self.plant.stage() == Stage::Ready {
                self.enter(What::TransferStarted);
                self.plant.start();
            } else if before != Stage::Done && self.plant.stage() == Stage::Done {
                self.enter(What::Closed);
            }
        }
        while self.s < until {
            self.second();
        }
    }

    /// So many seconds go by, and nobody enters anything.
    #[allow(dead_code, reason = "not every bench asks")]
    pub fn unattended(&mut self, seconds: u64) {
        (0..seconds).for_each(|_| self.second());
    }

    fn second(&mut self) {
        self.s += 1;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few")]
        (0..(1.0 / BAY_STEP_S).round() as usize).for_each(|_| self.plant.scan());
        let (at, settings) = (EngineTime(self.s * SECOND_NS), &self.bay.settings);
        for device in (0u16..).take(settings.devices.len()) {
            let signals = (0u16..).zip(&settings.signals).filter(|(_, s)| s.device == device);
            let values = signals.map(|(signal, s)| {
                let shown = self.plant.shows(s.kind, s.tank);
                let yes_no = s.kind == SignalKind::HighLevelSwitch;
                (signal, if yes_no { Measured::Flag(shown > 0.0) } else { Measured::Number(shown) })
            });
            let poll = Poll::at_once(device, at, values.collect::<Vec<_>>());
            self.take(Event::Poll(poll));
        }
        self.take(Event::Tick);
    }

    /// Ends the segment; everything is on the disk.
    pub fn end(self) {
        self.recorder.finish().expect("a disk");
    }
}
