//! A bay of the simulator and its watch, stepped together in process, a second at a time.

use brimwatch::engine::Monitor;
use brimwatch::engine::frame::Frame;
use brimwatch::engine::input::{Carried, Entry, Event, Input, Measured, MissReason, Missed, Poll, What};
use brimwatch::engine::settings::{DeliverySetup, Settings, SignalKind};
use brimwatch::time::{EngineTime, SECOND_NS, WallTime};
use brimwatch::units::PaS;
use brimwatch_simulator::bay::{BAY_STEP_S, SimulatedBay, Stage};
use brimwatch_simulator::instruments::Answer;
use brimwatch_simulator::plant::PlantSetup;

/// Longest transfer that is waited for, s.
const LONGEST_S: u64 = 14_400;
/// Deck clear and level still for so long before the start, s: start readings are of the last 15 s, a gauge lags.
const CLEAR_S: u64 = 40;

/// Viscosity of the thin liquid, Pa s.
const THIN_PA_S: f64 = 0.002;

/// The plant with its viscous line for even seeds; water-thin and braked by fittings for odd ones: the flow goes with the root of
/// the pressure.
#[allow(dead_code, reason = "not every bench asks")]
pub fn viscous_or_braked(plant: PlantSetup, seed: u64) -> PlantSetup {
    if seed.is_multiple_of(2) { plant } else { PlantSetup { viscosity_pa_s: THIN_PA_S, fittings_k: 40.0, ..plant } }
}

/// The papers of that plant: they say so of the liquid.
#[allow(dead_code, reason = "not every bench asks")]
pub fn papers_of(delivery: &DeliverySetup, seed: u64) -> DeliverySetup {
    let mut delivery = delivery.clone();
    if !seed.is_multiple_of(2) {
        delivery.product.viscosity.iter_mut().for_each(|(_, viscosity)| *viscosity = PaS(THIN_PA_S));
    }
    delivery
}

/// A bay and its watch.
pub struct Bench<'a> {
    settings: &'a Settings,
    /// What really happens.
    pub bay: SimulatedBay,
    /// What watches it.
    pub monitor: Monitor,
    s: u64,
}

impl<'a> Bench<'a> {
    /// A delivery is opened, the pad brought up, the transfer started: the next second is its first.
    pub fn started(settings: &'a Settings, delivery: &DeliverySetup, bay: SimulatedBay) -> Bench<'a> {
        let mut bench = Bench { settings, bay, monitor: Monitor::new(settings.clone(), Carried::default()), s: 0 };
        bench.feed(Event::Clock(WallTime(0)));
        bench.enter(What::DeliveryOpened(Box::new(delivery.clone())));
        // Start readings are taken with the deck declared clear and the level still; what was there all the same and goes
        // is found, rightly.
        let mut clear_s = 0;
        while bench.bay.stage() != Stage::Ready || clear_s < CLEAR_S {
            bench.second();
            let (deck_kg, foam_m) = (bench.bay.instruments().on_deck_kg(), bench.bay.instruments().foam_m());
            clear_s = if deck_kg > 0.0 || foam_m > 0.0 { 0 } else { clear_s + 1 };
            assert!(bench.s < 3600, "the pad does not come up");
        }
        bench.enter(What::TransferStarted);
        bench.bay.start();
        bench
    }

    /// The watch's present second.
    #[allow(dead_code, reason = "not every bench asks")]
    pub fn s(&self) -> u64 {
        self.s
    }

    /// Liquid moves still.
    pub fn unloading(&self) -> bool {
        self.bay.stage() == Stage::Unloading && self.s < LONGEST_S
    }

    fn feed(&mut self, event: Event) {
        let at = EngineTime(self.s * SECOND_NS + SECOND_NS / 2);
        self.monitor.step(&Input { at, event });
    }

    /// A second goes by.
    pub fn second(&mut self) -> Frame {
        self.s += 1;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few")]
        for _ in 0..(1.0 / BAY_STEP_S).round() as usize {
            self.bay.scan();
        }
        let at = EngineTime(self.s * SECOND_NS);
        for device in (0u16..).take(self.settings.devices.len()) {
            match self.bay.answer(device) {
                Answer::Silent => {
                    self.feed(Event::Missed(Missed { device, requested: at, reason: MissReason::TimeOut }));
                    continue;
                }
                Answer::Exception => {
                    self.refuse(device, at);
                    continue;
                }
                Answer::Fresh | Answer::Replayed => {}
            }
            let signals = (0u16..).zip(&self.settings.signals).filter(|(_, s)| s.device == device);
            let values = signals.map(|(signal, s)| {
                let shown = self.bay.shows(s.kind, s.tank);
                let value = if s.kind == SignalKind::HighLevelSwitch {
                    Measured::Flag(shown > 0.0)
                } else {
                    Measured::Number(shown)
                };
                (signal, value)
            });
            let mut poll = Poll::at_once(device, at, values);
            for value in &mut poll.values {
                let signal = &self.settings.signals[usize::from(value.signal)];
                value.status = self.bay.says(signal.kind, signal.tank, 0);
            }
            self.feed(Event::Poll(poll));
        }
        self.feed(Event::Tick);
        self.monitor.frame()
    }

    /// The device answers with exception 4, device failure (Modbus Application Protocol V1.1b3, 7).
    fn refuse(&mut self, device: u16, at: EngineTime) {
        let signals = (0u16..).zip(&self.settings.signals).filter(|(_, s)| s.device == device);
        let values: Vec<_> = signals.map(|(signal, _)| (signal, Measured::Exception(4))).collect();
        self.feed(Event::Poll(Poll::at_once(device, at, values)));
    }

    /// Somebody says something.
    pub fn enter(&mut self, what: What) {
        self.feed(Event::Entry(Entry { who: "attendant".into(), leg: 1, what }));
    }
}
