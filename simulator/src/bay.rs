//! One bay in motion: plant, instruments and a scripted attendant, stepped together.
//!
//! The attendant brings the pad pressure up, waits for the word that the transfer has started, opens the
//! valve gently, closes it when the planned amount is in, at first gas or when the high-level switch trips,
//! shuts the gas, blows the hose clear and lets everything settle. Nothing here depends on real time.

use crate::instruments::{Answer, Instrument, InstrumentFault, InstrumentSetup, Instruments, SCAN_S, STEPS_PER_SCAN};
use crate::plant::fault::PlantFault;
use crate::plant::{Hands, Plant, PlantSetup};
use crate::scenario;
use brimwatch::config::{DeliverySetup, Settings, SignalKind};
use brimwatch::poll::registers::Status;

/// Where the attendant is in the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// No delivery: nobody does anything.
    Unattended,
    /// The pad pressure is brought up.
    Pressurising,
    /// Ready to open the valve; waits for [`SimulatedBay::start`].
    Ready,
    /// Liquid moves.
    Unloading,
    /// The valve closes; the gas is shut.
    Closing,
    /// The hose is blown clear.
    Clearing,
    /// Everything comes to rest.
    Settling,
    /// All is done.
    Done,
}

/// Why the valve was closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClosedFor {
    /// The planned amount is in, by the meter.
    PlannedAmount,
    /// Gas came.
    FirstGas,
    /// The independent high-level switch tripped.
    HighLevelSwitch,
    /// The gauge shows the maximum working level.
    WorkingLevel,
}

/// What the scripted attendant closes the valve for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Closes {
    /// The planned amount by the meter, first gas, or the high-level switch, whatever comes first.
    #[default]
    AsTrained,
    /// The planned amount by the meter, and nothing else.
    PlannedAmount,
    /// The planned amount by the truck scale, and nothing else.
    ByScale,
    /// The maximum working level by the tank's gauge, and nothing else.
    ByGauge,
    /// Nothing: nobody is at the valve.
    Never,
}

impl Closes {
    /// As a scenario file says it.
    ///
    /// # Errors
    /// What may be written.
    pub fn named(word: &str) -> Result<Closes, String> {
        match word {
            "as trained" => Ok(Closes::AsTrained),
            "planned amount" => Ok(Closes::PlannedAmount),
            "planned amount by scale" => Ok(Closes::ByScale),
            "working level by gauge" => Ok(Closes::ByGauge),
            "nobody" => Ok(Closes::Never),
            _ => Err(format!(
                "\"{word}\" is nothing that the valve is closed for; write one of: as trained, planned amount, \
                 planned amount by scale, working level by gauge, nobody"
            )),
        }
    }
}

/// An act at the bay, by somebody's hands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Act {
    /// The trailer's valve is opened, slowly.
    OpenValve,
    /// It is closed.
    CloseValve,
    /// Gas is led to the trailer.
    OpenGas,
    /// It is shut.
    ShutGas,
    /// The regulator's set point is moved by so much, Pa.
    MoveRegulator(f64),
    /// The hose is blown clear.
    Blow,
    /// No more.
    StopBlowing,
    /// The emergency stop: valve and gas are shut.
    EmergencyStop,
    /// It is released; nothing opens by itself.
    Release,
}

/// The pad is up when it lies within this of the regulator's set point, Pa.
const PAD_UP_PA: f64 = 3_000.0;
/// Time that the attendant leaves the pad to settle, and everything at the end, s.
const SETTLE_S: f64 = 20.0;
/// The hose is clear when it holds less than this part of its fill, 1: gas begins to come through with the
/// liquid, and the attendant stops before it is blown through the meter; or after this time, s.
const CLEAR_FILL: f64 = 0.2;
/// See above.
const CLEAR_S: f64 = 120.0;

/// One bay.
#[derive(Debug, Clone)]
pub struct SimulatedBay {
    plant: Plant,
    instruments: Instruments,
    /// Which device each signal's instrument is read from, and over which link.
    wired: Vec<(Instrument, u16, String)>,
    planned_kg: f64,
    tank: u16,
    /// Level of the tanks that are not being filled, m.
    resting_m: Vec<f64>,
    stage: Stage,
    since_s: f64,
    closed_for: Option<ClosedFor>,
    closes: Closes,
    /// What the scale shows when the transfer starts, kg.
    scale_start_kg: f64,
    working_m: f64,
    /// The script is over: somebody's hands act.
    by_hand: bool,
    /// The transfer was entered as started before all was ready.
    told_to_start: bool,
}

impl SimulatedBay {
    /// A bay that takes this delivery, or one where nothing happens.
    #[must_use]
    pub fn new(settings: &Settings, delivery: Option<&DeliverySetup>, seed: u64) -> SimulatedBay {
        let tank = delivery.map_or(0, |d| d.tank);
        SimulatedBay::with_instruments(settings, delivery, seed, scenario::instruments(settings, tank, seed))
    }

    /// The same with other instruments.
    #[must_use]
    pub fn with_instruments(
        settings: &Settings,
        delivery: Option<&DeliverySetup>,
        seed: u64,
        instruments: InstrumentSetup,
    ) -> SimulatedBay {
        let plant = delivery.map_or_else(|| PlantSetup::nominal(seed), |d| scenario::plant(settings, d, seed));
        SimulatedBay::of(settings, delivery, plant, instruments)
    }

    /// The same with another plant too: a wrong product, a pump, a lying tank.
    #[must_use]
    pub fn of(
        settings: &Settings,
        delivery: Option<&DeliverySetup>,
        plant: PlantSetup,
        instruments: InstrumentSetup,
    ) -> SimulatedBay {
        let tank = delivery.map_or(0, |d| d.tank);
        let plant = Plant::new(plant);
        let instruments = Instruments::new(instruments, &plant);
        SimulatedBay {
            plant,
            instruments,
            wired: wired(settings),
            planned_kg: delivery.map_or(0.0, |d| d.planned.0),
            tank,
            resting_m: settings.tanks.iter().map(|t| t.working.0 / 2.0).collect(),
            stage: if delivery.is_some() { Stage::Pressurising } else { Stage::Unattended },
            since_s: 0.0,
            closed_for: None,
            closes: Closes::default(),
            scale_start_kg: 0.0,
            working_m: settings.tanks.get(usize::from(tank)).map_or(f64::INFINITY, |t| t.working.0),
            by_hand: false,
            told_to_start: false,
        }
    }

    /// What really happens.
    #[must_use]
    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    /// What the instruments show.
    #[must_use]
    pub fn instruments(&self) -> &Instruments {
        &self.instruments
    }

    /// Lets something go wrong with an instrument, its device or its gateway, by the plant's clock.
    pub fn add_fault(&mut self, fault: InstrumentFault) {
        let behind = self.wired.iter().find(|(i, ..)| *i == fault.on).map(|(_, _, link)| link);
        let together: Vec<Instrument> =
            self.wired.iter().filter(|(_, _, link)| Some(link) == behind).map(|(i, ..)| *i).collect();
        self.instruments.add_fault(fault, &together);
    }

    /// Lets something go wrong with trailer, line or tank, by the plant's clock.
    pub fn add_mishap(&mut self, fault: PlantFault) {
        self.plant.add_fault(fault);
    }

    /// Everything that went wrong is mended; what was spilled stays so.
    pub fn mend(&mut self) {
        self.instruments.mend();
        self.plant.mend();
    }

    /// How a device, by its number in the bay's settings, answers now: the worst that any fault makes of it.
    #[must_use]
    pub fn answer(&self, device: u16) -> Answer {
        let now_s = self.plant.time_s();
        let faults = self.instruments.faults().filter(|fault| fault.is_on(now_s));
        faults.filter(|fault| self.reaches(fault, device)).map(InstrumentFault::answer).max().unwrap_or_default()
    }

    /// What the device of a signal says of itself now: the worst that any fault lets it say. `gauge`: its number, where a
    /// tank has two of a kind.
    #[must_use]
    pub fn says(&self, kind: SignalKind, tank: Option<u16>, gauge: usize) -> Status {
        if tank.is_some_and(|tank| tank != self.tank) {
            return Status::Fair;
        }
        let (now_s, on) = (self.plant.time_s(), Instrument::of(kind, gauge));
        let faults = self.instruments.faults().filter(|fault| fault.on == on && fault.is_on(now_s));
        faults.map(InstrumentFault::says).max().unwrap_or_default()
    }

    /// A silent or failing device is one; a gateway's replay reaches all that lie behind the same link.
    fn reaches(&self, fault: &InstrumentFault, device: u16) -> bool {
        let Some((_, own, behind)) = self.wired.iter().find(|(i, ..)| *i == fault.on) else { return false };
        let replay = fault.answer() == Answer::Replayed;
        *own == device || replay && self.wired.iter().any(|(_, d, link)| *d == device && link == behind)
    }

    /// So much have other bays brought into the tank since the start, m3.
    pub fn set_beside_m3(&mut self, m3: f64) {
        self.plant.set_beside_m3(m3);
    }

    /// Where the attendant is in the work.
    #[must_use]
    pub fn stage(&self) -> Stage {
        self.stage
    }

    /// Why the valve was closed.
    #[must_use]
    pub fn closed_for(&self) -> Option<ClosedFor> {
        self.closed_for
    }

    /// The transfer is entered as started: the attendant may open the valve. Does nothing before all is ready.
    pub fn start(&mut self) {
        if self.stage == Stage::Ready {
            self.scale_start_kg = self.shows(SignalKind::Scale, None);
            self.enter(Stage::Unloading);
        }
    }

    /// The same for somebody who says so too early: the attendant brings the pad up first.
    pub fn start_when_ready(&mut self) {
        self.told_to_start = true;
        self.start();
    }

    /// What the scripted attendant closes the valve for from now on.
    pub fn closes(&mut self, closes: Closes) {
        self.closes = closes;
    }

    /// Somebody's hands act instead of the script, which is over from here on.
    pub fn act_by_hand(&mut self, act: Act) {
        self.by_hand = true;
        let hands = &mut self.plant.hands;
        if hands.stopped && matches!(act, Act::OpenValve | Act::OpenGas | Act::Blow) {
            return;
        }
        match act {
            Act::OpenValve => hands.valve_open = true,
            Act::CloseValve => hands.valve_open = false,
            Act::OpenGas => hands.gas_on = true,
            Act::ShutGas => hands.gas_on = false,
            Act::MoveRegulator(by_pa) => hands.set_point_pa += by_pa,
            Act::Blow => hands.blowing = true,
            Act::StopBlowing => hands.blowing = false,
            Act::EmergencyStop => {
                let Hands { set_point_pa, .. } = *hands;
                *hands = Hands { stopped: true, set_point_pa, ..Hands::default() };
            }
            Act::Release => hands.stopped = false,
        }
    }

    /// What the hands do now.
    #[must_use]
    pub fn hands(&self) -> Hands {
        self.plant.hands
    }

    /// Lets [`SCAN_S`] pass: the plant moves, the instruments look, the attendant acts.
    pub fn scan(&mut self) {
        for _ in 0..STEPS_PER_SCAN {
            self.plant.step();
        }
        self.instruments.scan(&self.plant);
        if !self.by_hand {
            self.act();
        }
    }

    /// Runs until `stage` is reached, or for `most_s`; says whether it was.
    pub fn run_until(&mut self, stage: Stage, most_s: f64) -> bool {
        let until_s = self.plant.time_s() + most_s;
        while self.stage < stage && self.plant.time_s() < until_s {
            self.scan();
        }
        self.stage >= stage
    }

    /// What a signal shows now, SI; 1 or 0 for a yes/no.
    #[must_use]
    pub fn shows(&self, kind: SignalKind, tank: Option<u16>) -> f64 {
        self.shows_gauge(kind, tank, 0)
    }

    /// The same of the gauge with this number, where a tank has two of a kind.
    #[must_use]
    pub fn shows_gauge(&self, kind: SignalKind, tank: Option<u16>, gauge: usize) -> f64 {
        let density = self.plant.setup().density_kg_per_m3;
        match tank {
            Some(other) if other != self.tank => self.resting(kind, usize::from(other), density),
            _ => self.instruments.shows(kind, gauge, density),
        }
    }

    fn resting(&self, kind: SignalKind, tank: usize, density: f64) -> f64 {
        let level_m = self.resting_m.get(tank).copied().unwrap_or(0.0);
        match kind {
            SignalKind::Level => level_m,
            SignalKind::LevelPressure => density * 9.806_65 * level_m,
            SignalKind::TankTemperature => self.plant.setup().liquid_c,
            _ => 0.0,
        }
    }

    fn enter(&mut self, stage: Stage) {
        self.stage = stage;
        self.since_s = self.plant.time_s();
        let hands = &mut self.plant.hands;
        hands.gas_on = matches!(stage, Stage::Pressurising | Stage::Ready | Stage::Unloading);
        hands.valve_open = stage == Stage::Unloading;
        hands.blowing = stage == Stage::Clearing;
    }

    fn act(&mut self) {
        let in_stage_s = self.plant.time_s() - self.since_s;
        let setup = self.plant.setup();
        match self.stage {
            Stage::Pressurising => {
                let short_pa = setup.regulator_pa - self.plant.trailer_pa();
                if short_pa > PAD_UP_PA {
                    self.since_s = self.plant.time_s();
                    self.plant.hands.gas_on = true;
                } else if in_stage_s >= SETTLE_S {
                    self.enter(Stage::Ready);
                    if self.told_to_start {
                        self.start();
                    }
                }
            }
            Stage::Unloading => {
                self.closed_for = self.reason_to_close();
                if self.closed_for.is_some() {
                    self.enter(Stage::Closing);
                }
            }
            Stage::Closing if self.plant.valve() <= 0.0 => self.enter(Stage::Clearing),
            Stage::Clearing => {
                let full_kg = setup.hose_m3 * setup.density_kg_per_m3;
                if self.plant.in_hose_kg() < CLEAR_FILL * full_kg || in_stage_s > CLEAR_S {
                    self.enter(Stage::Settling);
                }
            }
            Stage::Settling if in_stage_s >= SETTLE_S => self.enter(Stage::Done),
            _ => {}
        }
    }

    /// By what an attendant has: the high-level switch, the sound of gas in the hose, and what instruments show.
    fn reason_to_close(&self) -> Option<ClosedFor> {
        let planned = || self.planned_is_in().then_some(ClosedFor::PlannedAmount);
        match self.closes {
            Closes::AsTrained if self.instruments.shows(SignalKind::HighLevelSwitch, 0, 1.0) > 0.0 => {
                Some(ClosedFor::HighLevelSwitch)
            }
            Closes::AsTrained if self.plant.gas_share() > 0.0 => Some(ClosedFor::FirstGas),
            Closes::AsTrained | Closes::PlannedAmount => planned(),
            Closes::ByScale => {
                let left_kg = self.scale_start_kg - self.shows(SignalKind::Scale, None);
                (left_kg >= self.planned_kg).then_some(ClosedFor::PlannedAmount)
            }
            Closes::ByGauge => {
                let level_m = self.instruments.shows(SignalKind::Level, 0, 1.0);
                (level_m >= self.working_m).then_some(ClosedFor::WorkingLevel)
            }
            Closes::Never => None,
        }
    }

    /// By the meter's totalizer, less what the line after it holds.
    fn planned_is_in(&self) -> bool {
        let setup = self.plant.setup();
        let line_kg = if setup.starts_full { 0.0 } else { setup.line_m3 * setup.density_kg_per_m3 };
        self.instruments.metered_kg() - line_kg >= self.planned_kg
    }
}

fn wired(settings: &Settings) -> Vec<(Instrument, u16, String)> {
    let wire = |(at, kind): (usize, SignalKind)| {
        let device = settings.signals[at].device;
        let link = settings.devices[usize::from(device)].link.clone();
        (Instrument::of(kind, gauge_number(settings, at)), device, link)
    };
    settings.signals.iter().map(|s| s.kind).enumerate().map(wire).collect()
}

/// Number of a signal among those of the same kind and tank, from 0.
#[must_use]
pub fn gauge_number(settings: &Settings, at: usize) -> usize {
    let signal = &settings.signals[at];
    settings.signals[..at].iter().filter(|s| s.kind == signal.kind && s.tank == signal.tank).count()
}

/// Time that one [`SimulatedBay::scan`] takes, s.
pub const BAY_STEP_S: f64 = SCAN_S;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instruments::Wrong;
    use std::path::Path;

    fn drilled(seed: u64, change: impl Fn(&mut DeliverySetup)) -> SimulatedBay {
        let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let mut papers = delivery.setup;
        change(&mut papers);
        let mut bay = SimulatedBay::new(&site.bays[0].settings, Some(&papers), seed);
        assert!(bay.run_until(Stage::Ready, 600.0), "the pad does not come up");
        bay
    }

    /// Expected: 20 t in 35 to 70 min at a laminar Reynolds number, ended by the planned amount, and each
    /// instrument's mass within five of its own standard uncertainties (0.15 % meter; span, drift, wind and
    /// division of the scale; 0.25 % tank and 0.1 % density).
    #[test]
    fn a_transfer_ends_by_itself_and_its_instruments_tell_the_mass() {
        for seed in 0..8 {
            let mut bay = drilled(seed, |_| {});
            let before = [SignalKind::Scale, SignalKind::Level].map(|kind| bay.shows(kind, Some(0)));
            let (left, gas) = (bay.plant().left_trailer_kg(), bay.plant().trailer_gas_kg());
            let began_s = bay.plant().time_s();
            bay.start();
            assert!(bay.run_until(Stage::Done, 9_000.0), "still {:?}", bay.stage());
            let minutes = (bay.plant().time_s() - began_s) / 60.0;
            assert!((35.0..75.0).contains(&minutes), "seed {seed}: {minutes} min");
            assert_eq!(bay.closed_for(), Some(ClosedFor::PlannedAmount), "seed {seed}");
            let plant = bay.plant();
            let left = plant.left_trailer_kg() - left;
            let by_scale = (before[0] - bay.shows(SignalKind::Scale, Some(0))) * (1.0 - 1.2 / 8000.0)
                + plant.trailer_gas_kg()
                - gas;
            assert!((by_scale - left).abs() < 5.0 * 21.0, "seed {seed}: scale {by_scale}, left {left} kg");
            let by_meter = bay.instruments().metered_kg();
            assert!((by_meter - plant.metered_kg()).abs() < 5.0 * 30.0, "seed {seed}: meter {by_meter} kg");
            let rise_m = bay.shows(SignalKind::Level, Some(0)) - before[1];
            let by_level = rise_m * std::f64::consts::PI / 4.0 * 2.9 * 2.9 * 1524.58;
            assert!((by_level - plant.received_kg()).abs() < 5.0 * 60.0, "seed {seed}: level {by_level} kg");
        }
    }

    #[test]
    fn the_attendant_waits_for_the_word_and_closes_at_first_gas() {
        let mut bay = drilled(3, |papers| papers.planned.0 = papers.ticket_net.0);
        assert!(!bay.run_until(Stage::Unloading, 300.0), "the valve was opened without a word");
        assert!(bay.plant().left_trailer_kg() < 1e-9);
        bay.start();
        assert!(bay.run_until(Stage::Done, 9_000.0));
        assert_eq!(bay.closed_for(), Some(ClosedFor::FirstGas));
        assert!(bay.plant().on_trailer_kg() < 30.0, "{} kg are left", bay.plant().on_trailer_kg());
    }

    #[test]
    fn a_tripped_level_switch_closes_the_valve() {
        let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let mut settings = site.bays[0].settings.clone();
        // The same tank, its levels lower than what comes in.
        (settings.tanks[0].high_high.0, settings.tanks[0].critical.0) = (2.0, 2.2);
        let mut bay = SimulatedBay::new(&settings, Some(&delivery.setup), 4);
        assert!(bay.run_until(Stage::Ready, 600.0));
        bay.start();
        assert!(bay.run_until(Stage::Done, 9_000.0));
        assert_eq!(bay.closed_for(), Some(ClosedFor::HighLevelSwitch));
        assert!((2.1..2.12).contains(&bay.plant().level_m()), "level {} m", bay.plant().level_m());
    }

    /// A gateway that replays what it has kept holds every value behind it, and only those; a silent device is one.
    #[test]
    fn a_gateway_replays_all_that_is_behind_it() {
        let (site, _) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let mut settings = site.bays[0].settings.clone();
        let device = |kind| settings.signals.iter().find(|s| s.kind == kind).expect("declared").device;
        let [meter, scale, level] = [SignalKind::FlowMassRate, SignalKind::Scale, SignalKind::Level].map(device);
        let other = "another gateway".to_owned();
        for (at, device) in (0..).zip(&mut settings.devices) {
            device.link = if at == meter { other.clone() } else { "gateway".to_owned() };
        }
        let mut bay = SimulatedBay::new(&settings, None, 5);
        bay.add_fault(InstrumentFault::new(Wrong::Replayed, Instrument::Scale, 10.0, 0.0));
        bay.add_fault(InstrumentFault::new(Wrong::Silent, Instrument::Level, 500.0, 0.0));
        let seen = |bay: &SimulatedBay| {
            [SignalKind::Level, SignalKind::PadPressure, SignalKind::LineDensity].map(|kind| bay.shows(kind, Some(0)))
        };
        (0..30).for_each(|_| bay.scan());
        assert_eq!([meter, scale, level].map(|d| bay.answer(d)), [Answer::Fresh, Answer::Replayed, Answer::Replayed]);
        let before = seen(&bay);
        (0..30).for_each(|_| bay.scan());
        let after = seen(&bay);
        assert_eq!(before[..2], after[..2]);
        assert_ne!(before[2], after[2], "the meter is behind another gateway");
        (0..1_000).for_each(|_| bay.scan());
        assert_eq!([meter, scale, level].map(|d| bay.answer(d)), [Answer::Fresh, Answer::Replayed, Answer::Silent]);
    }
}
