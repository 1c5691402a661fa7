//! A bay of the simulator and its watch, stepped together in process, a second at a time.

use brimwatch::engine::Monitor;
use brimwatch::engine::delivery::Refusal;
use brimwatch::engine::frame::Frame;
use brimwatch::engine::input::{Carried, Entry, Event, Gap, GapClock, Input, Measured, MissReason, Missed, Poll, What};
use brimwatch::engine::settings::{DeliverySetup, Settings, SignalKind};
use brimwatch::time::{EngineTime, SECOND_NS, WallTime};
use brimwatch::units::PaS;
use brimwatch_simulator::bay::{BAY_STEP_S, SimulatedBay, Stage};
use brimwatch_simulator::instruments::Answer;
use brimwatch_simulator::noise::Chance;
use brimwatch_simulator::plant::PlantSetup;

/// Longest transfer that is waited for, s.
const LONGEST_S: u64 = 14_400;
/// Deck clear and level still for so long before the start, s: start readings are of the last 15 s, a gauge lags.
const CLEAR_S: u64 = 40;

/// Viscosity of the thin liquid, Pa s.
const THIN_PA_S: f64 = 0.002;

/// No two trailers are alike: one standard deviation of the height at which the outlet stands, m, and of the shell's diameter, 1.
const OUTLET_OFF_M: f64 = 0.1;
/// See above.
const SHELL_OFF: f64 = 0.05;

/// The plant with its viscous line for even seeds; water-thin and braked by fittings for odd ones: the flow goes with the root of
/// the pressure. Its trailer is not quite the usual one.
#[allow(dead_code, reason = "not every bench asks")]
pub fn viscous_or_braked(plant: PlantSetup, seed: u64) -> PlantSetup {
    let mut chance = Chance::new(seed, 921);
    let plant = PlantSetup {
        outlet_height_m: plant.outlet_height_m + OUTLET_OFF_M * chance.normal(),
        trailer_diameter_m: plant.trailer_diameter_m * (1.0 + SHELL_OFF * chance.normal()),
        ..plant
    };
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

/// The simulated tank's volume at a level: straight lines between its points.
#[allow(dead_code, reason = "not every bench asks")]
pub fn volume_m3(shape: &[(f64, f64)], level_m: f64) -> f64 {
    let pair = shape.windows(2).find(|p| level_m >= p[0].0 && level_m <= p[1].0).expect("a level inside the tank");
    pair[0].1 + (pair[1].1 - pair[0].1) * (level_m - pair[0].0) / (pair[1].0 - pair[0].0)
}

/// What the network makes of a device's reply.
#[allow(dead_code, reason = "not every bench asks")]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reply {
    /// Nothing: the device answers as the simulator has it.
    AsItIs,
    /// It does not come.
    Missed(MissReason),
    /// It comes so much later than it was asked for, ns.
    Late(u64),
}

/// Takes what is fed before it is stepped, and gives its number; then what is kept of the outputs.
pub trait Tape {
    /// An input.
    fn input(&mut self, input: &Input) -> u64;
    /// What came of it.
    fn output(&mut self, number: u64, frame: &Frame);
}

/// A bay and its watch.
pub struct Bench<'a> {
    settings: &'a Settings,
    /// What really happens.
    pub bay: SimulatedBay,
    /// What watches it.
    pub monitor: Monitor,
    /// What records it.
    pub tape: Option<Box<dyn Tape + 'a>>,
    /// Of each device, whether its last round was answered with values.
    pub answered: Vec<bool>,
    /// Of each device, rounds answered and missed.
    pub rounds: Vec<(u64, u64)>,
    /// Inputs that were fed.
    pub fed: u64,
    s: u64,
}

impl<'a> Bench<'a> {
    /// Nothing has happened yet.
    pub fn idle(settings: &'a Settings, bay: SimulatedBay) -> Bench<'a> {
        let monitor = Monitor::new(settings.clone(), Carried::default());
        let devices = settings.devices.len();
        let (answered, rounds) = (vec![false; devices], vec![(0, 0); devices]);
        Bench { settings, bay, monitor, tape: None, answered, rounds, fed: 0, s: 0 }
    }

    /// A delivery is opened, the pad brought up, the transfer started: the next second is its first.
    pub fn started(settings: &'a Settings, delivery: &DeliverySetup, bay: SimulatedBay) -> Bench<'a> {
        let mut bench = Bench::idle(settings, bay);
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

    /// Something happens; a tick always gives a frame.
    pub fn feed(&mut self, event: Event) -> Option<Box<Frame>> {
        let input = Input { at: EngineTime(self.s * SECOND_NS + SECOND_NS / 2), event };
        self.fed += 1;
        match &input.event {
            Event::Poll(poll) => self.rounds[usize::from(poll.device)].0 += 1,
            Event::Missed(missed) => self.rounds[usize::from(missed.device)].1 += 1,
            _ => {}
        }
        let number = self.tape.as_mut().map_or(0, |tape| tape.input(&input));
        let output = self.monitor.step(&input);
        if let (Some(tape), Some(frame)) = (&mut self.tape, output.frame.as_deref().filter(|_| output.keep)) {
            tape.output(number, frame);
        }
        output.frame
    }

    fn pass(&mut self) {
        self.s += 1;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few")]
        for _ in 0..(1.0 / BAY_STEP_S).round() as usize {
            self.bay.scan();
        }
    }

    /// A second goes by.
    pub fn second(&mut self) -> Frame {
        self.second_by(|_| Reply::AsItIs)
    }

    /// The same over a network that does something to replies, by device.
    pub fn second_by(&mut self, mut network: impl FnMut(u16) -> Reply) -> Frame {
        self.pass();
        for device in (0u16..).take(self.settings.devices.len()) {
            let (reply, answer) = (network(device), self.bay.answer(device));
            self.answered[usize::from(device)] = self.round(device, reply, answer);
        }
        self.feed(Event::Tick).map_or_else(|| self.monitor.frame(), |frame| *frame)
    }

    /// One round of a device; true when values came.
    fn round(&mut self, device: u16, reply: Reply, answer: Answer) -> bool {
        let at = EngineTime(self.s * SECOND_NS);
        let missed = |reason| Event::Missed(Missed { device, requested: at, reason });
        match (reply, answer) {
            (Reply::Missed(reason), _) => drop(self.feed(missed(reason))),
            (_, Answer::Silent) => drop(self.feed(missed(MissReason::TimeOut))),
            (_, Answer::Exception) => self.refuse(device, at),
            (_, Answer::Fresh | Answer::Replayed) => {
                let late_ns = if let Reply::Late(ns) = reply { ns } else { 0 };
                let mut poll = Poll::at_once(device, at, self.values(device));
                for value in &mut poll.values {
                    let signal = &self.settings.signals[usize::from(value.signal)];
                    value.status = self.bay.says(signal.kind, signal.tank, 0);
                }
                self.feed(Event::Poll(Poll { replied: EngineTime(at.0 + late_ns), ..poll }));
                return true;
            }
        }
        false
    }

    /// What the device's signals show now.
    fn values(&self, device: u16) -> Vec<(u16, Measured)> {
        let signals = (0u16..).zip(&self.settings.signals).filter(|(_, s)| s.device == device);
        let values = signals.map(|(signal, s)| {
            let shown = self.bay.shows(s.kind, s.tank);
            let value = match s.rolls_over_at {
                _ if s.kind == SignalKind::HighLevelSwitch => Measured::Flag(shown > 0.0),
                Some(width) => Measured::Number(shown.rem_euclid(width)),
                None => Measured::Number(shown),
            };
            (signal, value)
        });
        values.collect()
    }

    /// Nobody watches for so long; the plant goes on.
    #[allow(dead_code, reason = "not every bench asks")]
    pub fn asleep(&mut self, seconds: u64) {
        let from = EngineTime(self.s * SECOND_NS + SECOND_NS / 2);
        (0..seconds).for_each(|_| self.pass());
        let to = EngineTime(self.s * SECOND_NS + SECOND_NS / 2);
        self.feed(Event::Resumed(Gap { from, to, known_by: GapClock::SameBoot }));
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

    /// Somebody says something, as the live program takes it: what does not fit is refused and not on record.
    #[allow(dead_code, reason = "not every bench asks")]
    pub fn say(&mut self, who: &str, what: What) -> Result<(), Refusal> {
        let entry = Entry { who: who.into(), leg: 1, what };
        self.monitor.admits_entry(&entry)?;
        self.feed(Event::Entry(entry));
        Ok(())
    }
}
