//! A simulated transfer as a history would have kept it: what every instrument showed, once a second.

use brimwatch::config::signals;
use brimwatch::engine::Monitor;
use brimwatch::engine::frame::Frame;
use brimwatch::engine::input::{Carried, Entry, Event, Input, Measured, Poll, What};
use brimwatch::engine::settings::{DeliverySetup, Settings, SignalKind};
use brimwatch::time::{EngineTime, SECOND_NS, WallTime};
use brimwatch::units::Quantity;
use brimwatch_simulator::bay::{BAY_STEP_S, SimulatedBay, Stage};
use std::fmt::Write;

/// 2026-10-25T00:00:00Z: an hour before the clocks of the European Union are set back (Directive 2000/84/EC).
pub const BEGUN_UNIX_S: i64 = 1_792_886_400;

pub struct History {
    pub settings: Settings,
    pub delivery: DeliverySetup,
    /// One row a second, from second 0: every signal in SI.
    pub rows: Vec<Vec<f64>>,
    pub started_s: usize,
    pub closed_s: usize,
}

/// 20 t in an hour or so, from the pad's rise to rest.
pub fn transfer(settings: &Settings, delivery: &DeliverySetup, seed: u64) -> History {
    let mut bay = SimulatedBay::new(settings, Some(delivery), seed);
    let (mut rows, mut started_s, mut closed_s) = (Vec::new(), 0, 0);
    while bay.stage() != Stage::Done {
        assert!(rows.len() < 14_400, "the transfer does not end");
        rows.push(settings.signals.iter().map(|s| bay.shows(s.kind, s.tank)).collect());
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few")]
        (0..(1.0 / BAY_STEP_S).round() as usize).for_each(|_| bay.scan());
        if bay.stage() == Stage::Ready {
            bay.start();
            started_s = rows.len();
        }
        if bay.stage() == Stage::Settling && closed_s == 0 {
            closed_s = rows.len();
        }
    }
    History { settings: settings.clone(), delivery: delivery.clone(), rows, started_s, closed_s }
}

fn quantity(kind: SignalKind) -> Quantity {
    signals::FORMS.iter().find(|form| form.kind == kind).expect("a form").quantity
}

/// Decimals that a history keeps of an SI value.
fn decimals(quantity: Quantity) -> usize {
    match quantity {
        Quantity::MassFlow => 5,
        Quantity::Length => 4,
        Quantity::GaugePressure => 0,
        _ => 2,
    }
}

impl History {
    /// As CSV with times in RFC 3339; `exact`: every bit of the values, otherwise rounded as histories round.
    pub fn csv(&self, exact: bool) -> String {
        let names: Vec<String> = self.settings.signals.iter().map(|s| format!("{}, raw", s.name)).collect();
        let mut text = format!("\"When\",\"{}\"\n", names.join("\",\""));
        for (s, row) in (0_i64..).zip(&self.rows) {
            let at = jiff::Timestamp::from_second(BEGUN_UNIX_S + s).expect("a time");
            write!(text, "{at}").expect("memory");
            for (setup, value) in self.settings.signals.iter().zip(row) {
                let quantity = quantity(setup.kind);
                let places = decimals(quantity);
                let written = match quantity {
                    Quantity::YesNo => write!(text, ",{}", if *value > 0.0 { "On" } else { "Off" }),
                    _ if exact => write!(text, ",{value}"),
                    _ => write!(text, ",{value:.places$}"),
                };
                written.expect("memory");
            }
            text.push('\n');
        }
        text
    }

    /// The column map of that CSV; `head` stands before its tables.
    pub fn map(&self, head: &str, time: &str) -> String {
        let at =
            |s: usize| jiff::Timestamp::from_second(BEGUN_UNIX_S + i64::try_from(s).expect("hours")).expect("a time");
        let mut map = format!("{head}\n[time]\n{time}\n");
        for (s, what) in [(self.started_s, "transfer_started"), (self.closed_s, "closed")] {
            // Half a second behind a row: entries do not wait for one.
            let at = at(s - 1).to_string().replace('Z', ".5Z");
            writeln!(map, "[[entry]]\nat = \"{at}\"\nwhat = \"{what}\"\nwho = \"shift log\"").expect("memory");
        }
        for setup in &self.settings.signals {
            writeln!(map, "[[signal]]\nsignal = \"{0}\"\ncolumn = \"{0}, raw\"", setup.name).expect("memory");
            if quantity(setup.kind) != Quantity::YesNo {
                writeln!(map, "unit = \"{}\"", quantity(setup.kind).si_name()).expect("memory");
            }
        }
        map
    }

    /// What the monitor says when it watches the same itself: every frame that belongs in a recording.
    pub fn watched(&self) -> Vec<Frame> {
        let mut watch = Watched { monitor: Monitor::new(self.settings.clone(), Carried::default()), kept: Vec::new() };
        let wall = WallTime(BEGUN_UNIX_S * 1_000_000_000);
        let enter = |who: &str, what| Event::Entry(Entry { who: who.into(), leg: 1, what });
        watch.step(0, Event::Clock(wall));
        watch.step(0, enter("delivery file", What::DeliveryOpened(Box::new(self.delivery.clone()))));
        for (s, row) in (0_usize..).zip(&self.rows) {
            let ns = u64::try_from(s).expect("hours") * SECOND_NS;
            for device in (0_u16..).take(self.settings.devices.len()) {
                let signals = (0_u16..).zip(&self.settings.signals).zip(row).filter(|((_, s), _)| s.device == device);
                let values = signals.map(|((signal, setup), value)| match quantity(setup.kind) {
                    Quantity::YesNo => (signal, Measured::Flag(*value > 0.0)),
                    _ => (signal, Measured::Number(*value)),
                });
                watch.step(ns, Event::Poll(Poll::at_once(device, EngineTime(ns), values)));
            }
            if s > 0 {
                watch.step(ns, Event::Tick);
            }
            for (at, what) in [(self.started_s, What::TransferStarted), (self.closed_s, What::Closed)] {
                if s + 1 == at {
                    watch.step(ns + SECOND_NS / 2, enter("shift log", what));
                }
            }
        }
        watch.kept
    }
}

struct Watched {
    monitor: Monitor,
    kept: Vec<Frame>,
}

impl Watched {
    fn step(&mut self, ns: u64, event: Event) {
        let output = self.monitor.step(&Input { at: EngineTime(ns), event });
        self.kept.extend(output.frame.filter(|_| output.keep).map(|frame| *frame));
    }
}
