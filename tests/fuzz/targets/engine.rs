//! The engine behind the shipped site: whatever instruments show and people enter, in whatever order, it steps on and
//! says no number that is not finite.

#![no_main]

use arbitrary::Arbitrary;
use brimwatch::config::{DeliveryFile, Site};
use brimwatch::engine::Monitor;
use brimwatch::engine::alarm::catalogue;
use brimwatch::engine::input::{
    AlarmKey, Carried, Entry, Event, Gap, GapClock, Input, Measured, MissReason, Missed, Poll, SignalValue, Status,
    What,
};
use brimwatch::engine::settings::{DeliverySetup, Settings};
use brimwatch::time::{EngineTime, SECOND_NS, WallTime};
use libfuzzer_sys::fuzz_target;
use std::path::Path;
use std::sync::LazyLock;

const SITE: &str = include_str!("../../../config/site.toml");
const PRODUCT: &str = include_str!("../../../config/products/caustic-soda-50.toml");
const DELIVERY: &str = include_str!("../../../config/delivery.toml");

static SHIPPED: LazyLock<(Settings, DeliverySetup)> = LazyLock::new(|| {
    let site = Site::from_text(Path::new("site.toml"), SITE.into(), &|_| Ok(PRODUCT.into())).expect("a sound site");
    let delivery = DeliveryFile::from_text(Path::new("d.toml"), DELIVERY.into(), &site).expect("a sound delivery");
    (site.bays[delivery.bay].settings.clone(), delivery.setup)
});

#[derive(Debug, Arbitrary)]
enum Act {
    /// Every signal shows a plain value for so many seconds; then moves on by a little.
    Run {
        seconds: u8,
        values: Vec<i16>,
    },
    /// One signal shows anything.
    Wild {
        signal: u8,
        value: Wild,
        status: u8,
    },
    Missed {
        device: u8,
    },
    Open,
    Start,
    Close,
    Shelve {
        alarm: u8,
        subject: u8,
        for_s: f64,
    },
    Gap {
        seconds: u16,
        stepped: bool,
    },
    Clock(i64),
}

#[derive(Debug, Arbitrary)]
enum Wild {
    Number(f64),
    Current(f64, f64),
    Flag(bool),
    Exception(u8),
    NotANumber,
    Torn,
}

fn measured(wild: &Wild) -> Measured {
    match *wild {
        Wild::Number(x) if x.is_finite() => Measured::Number(x),
        Wild::Current(milliampere, si) if milliampere.is_finite() && si.is_finite() => {
            Measured::Current { milliampere, si }
        }
        Wild::Flag(flag) => Measured::Flag(flag),
        Wild::Exception(code) => Measured::Exception(code),
        Wild::Torn => Measured::Torn,
        _ => Measured::NotANumber,
    }
}

const STATUS: [Status; 5] =
    [Status::Fair, Status::MaintenanceRequired, Status::OutOfSpecification, Status::FunctionCheck, Status::Failure];

struct Run {
    monitor: Monitor,
    at: EngineTime,
    shown: Vec<f64>,
}

impl Run {
    fn step(&mut self, event: Event) {
        let output = self.monitor.step(&Input { at: self.at, event });
        let text = format!("{:?}", output.frame);
        assert!(!text.contains("NaN") && !text.contains(": inf") && !text.contains(": -inf"), "{text}");
    }

    fn poll(&mut self, signal: u16, value: Measured, status: Status) {
        let device = self.monitor.settings().signals[usize::from(signal)].device;
        let mut poll = Poll::at_once(device, self.at, []);
        poll.values.push(SignalValue { signal, value, status });
        self.step(Event::Poll(poll));
    }

    fn act(&mut self, act: &Act, delivery: &DeliverySetup) {
        let entry = |what| Event::Entry(Entry { who: "somebody".into(), leg: 1, what });
        match act {
            Act::Run { seconds, values } => {
                for _ in 0..1 + seconds % 64 {
                    self.at = EngineTime(self.at.0 + SECOND_NS);
                    for signal in 0..self.shown.len() {
                        let moved = values.get(signal).copied().unwrap_or_default();
                        self.shown[signal] += f64::from(moved) / 256.0;
                        let number = u16::try_from(signal).expect("a few");
                        self.poll(number, Measured::Number(self.shown[signal]), Status::Fair);
                    }
                    self.step(Event::Tick);
                }
            }
            Act::Wild { signal, value, status } => {
                let signal = usize::from(*signal) % self.shown.len();
                let number = u16::try_from(signal).expect("a few");
                self.poll(number, measured(value), STATUS[usize::from(*status) % 5]);
            }
            Act::Missed { device } => {
                let device = u16::from(*device) % u16::try_from(self.monitor.settings().devices.len()).expect("a few");
                let missed = Missed { device, requested: self.at, reason: MissReason::TimeOut };
                self.step(Event::Missed(missed));
            }
            Act::Open => self.step(entry(What::DeliveryOpened(Box::new(delivery.clone())))),
            Act::Start => self.step(entry(What::TransferStarted)),
            Act::Close => self.step(entry(What::Closed)),
            Act::Shelve { alarm, subject, for_s } => {
                let id = catalogue::CATALOGUE[usize::from(*alarm) % catalogue::CATALOGUE.len()].id;
                let key = AlarmKey { id, subject: u16::from(*subject) };
                self.step(entry(What::Shelved { key, for_s: *for_s }));
                self.step(entry(What::Seen(key)));
            }
            Act::Gap { seconds, stepped } => {
                let from = self.at;
                self.at = EngineTime(from.0 + u64::from(*seconds) * SECOND_NS);
                let known_by = if *stepped { GapClock::WallClock } else { GapClock::SameBoot };
                self.step(Event::Resumed(Gap { from, to: self.at, known_by }));
            }
            Act::Clock(wall) => self.step(Event::Clock(WallTime(*wall))),
        }
    }
}

fuzz_target!(|acts: Vec<Act>| {
    let (settings, delivery) = &*SHIPPED;
    let monitor = Monitor::new(settings.clone(), Carried::default());
    // Where a value would begin in a plausible story: half of what is plausible.
    let shown = settings.signals.iter().map(|s| (s.plausible_low + s.plausible_high) / 2.0).collect();
    let mut run = Run { monitor, at: EngineTime(0), shown };
    for act in acts.iter().take(64) {
        run.act(act, delivery);
    }
});
