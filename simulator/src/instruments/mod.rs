//! What the instruments make of the plant: noise, gain, lag, division, people on the deck, foam; and what goes wrong.
//!
//! Each instrument is off in its own way: once per run (gain, zero, drawn from its spread when it is made),
//! slowly (drift, wind, agitation) and at every scan. [`InstrumentSetup`] holds all sizes, [`InstrumentFault`] what
//! breaks and when.

mod channel;
mod fault;
mod setup;

pub use channel::ChannelSetup;
pub use fault::{Answer, InstrumentFault, Wrong};
pub use setup::InstrumentSetup;

use crate::noise::{Chance, Visits};
use crate::plant::{Plant, STEP_S};
use brimwatch::config::SignalKind;
use channel::{Channel, Disorder};
use std::fmt;

/// Steps of the plant between two scans of the instruments.
pub const STEPS_PER_SCAN: u32 = 5;
/// Time between two scans, s.
pub const SCAN_S: f64 = STEP_S * STEPS_PER_SCAN as f64;

/// An instrument of the bay. Rate and total are one meter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[expect(missing_docs, reason = "their names are their meaning; units are in `unit`")]
pub enum Instrument {
    Meter,
    LineDensity,
    LineTemperature,
    Scale,
    Level,
    SecondLevel,
    LevelPressure,
    TankPressure,
    TankTemperature,
    Pad,
    Supply,
    PadGasTemperature,
    DrawOff,
    DewPoint,
    HighLevelSwitch,
    ShutoffClosed,
    EmergencyStop,
    ShutoffBypassed,
}

/// How many there are.
const INSTRUMENTS: usize = Instrument::ALL.len();

impl Instrument {
    /// All, in order.
    pub const ALL: [Instrument; 18] = [
        Instrument::Meter,
        Instrument::LineDensity,
        Instrument::LineTemperature,
        Instrument::Scale,
        Instrument::Level,
        Instrument::SecondLevel,
        Instrument::LevelPressure,
        Instrument::TankPressure,
        Instrument::TankTemperature,
        Instrument::Pad,
        Instrument::Supply,
        Instrument::PadGasTemperature,
        Instrument::DrawOff,
        Instrument::DewPoint,
        Instrument::HighLevelSwitch,
        Instrument::ShutoffClosed,
        Instrument::EmergencyStop,
        Instrument::ShutoffBypassed,
    ];

    /// The instrument that a signal is of; of two level gauges of one tank the first is number 0.
    #[must_use]
    pub fn of(kind: SignalKind, gauge: usize) -> Instrument {
        match kind {
            SignalKind::FlowMassRate
            | SignalKind::FlowVolumeRate
            | SignalKind::FlowMassTotal
            | SignalKind::FlowVolumeTotal => Instrument::Meter,
            SignalKind::LineDensity => Instrument::LineDensity,
            SignalKind::LineTemperature => Instrument::LineTemperature,
            SignalKind::Scale => Instrument::Scale,
            SignalKind::Level if gauge == 0 => Instrument::Level,
            SignalKind::Level => Instrument::SecondLevel,
            SignalKind::LevelPressure => Instrument::LevelPressure,
            SignalKind::TankPressure => Instrument::TankPressure,
            SignalKind::TankTemperature => Instrument::TankTemperature,
            SignalKind::PadPressure => Instrument::Pad,
            SignalKind::GasSupplyPressure => Instrument::Supply,
            SignalKind::PadGasTemperature => Instrument::PadGasTemperature,
            SignalKind::DrawOff => Instrument::DrawOff,
            SignalKind::DewPoint => Instrument::DewPoint,
            SignalKind::HighLevelSwitch => Instrument::HighLevelSwitch,
            SignalKind::ShutoffClosed => Instrument::ShutoffClosed,
            SignalKind::EmergencyStop => Instrument::EmergencyStop,
            SignalKind::ShutoffBypassed => Instrument::ShutoffBypassed,
        }
    }

    /// It says yes or no: 1 or 0.
    #[must_use]
    pub fn is_flag(self) -> bool {
        self >= Instrument::HighLevelSwitch
    }

    /// Unit of what it measures.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Instrument::Meter | Instrument::DrawOff => "kg/s",
            Instrument::LineDensity => "kg/m3",
            Instrument::Scale => "kg",
            Instrument::Level | Instrument::SecondLevel => "m",
            Instrument::LevelPressure | Instrument::TankPressure | Instrument::Pad | Instrument::Supply => "Pa",
            Instrument::LineTemperature
            | Instrument::TankTemperature
            | Instrument::PadGasTemperature
            | Instrument::DewPoint => "C",
            _ => "1 or 0",
        }
    }

    /// The one that is written so, see its `Display`.
    #[must_use]
    pub fn named(name: &str) -> Option<Instrument> {
        Instrument::ALL.into_iter().find(|i| i.to_string() == name)
    }

    /// Streams of chance, see [`Channel::new`]. Those of the plant begin at 100.
    fn streams(self) -> [u64; 3] {
        let (own, second) = match self {
            Instrument::Meter => (1, 20),
            Instrument::Scale => (2, 3),
            Instrument::Level => (4, 5),
            Instrument::SecondLevel => (14, 15),
            Instrument::LineDensity => (6, 21),
            Instrument::LineTemperature => (7, 22),
            Instrument::TankTemperature => (8, 23),
            Instrument::PadGasTemperature => (9, 24),
            Instrument::Pad => (10, 25),
            Instrument::Supply => (11, 26),
            Instrument::TankPressure => (12, 27),
            Instrument::LevelPressure => (13, 28),
            Instrument::DrawOff => (16, 29),
            Instrument::DewPoint => (17, 30),
            Instrument::HighLevelSwitch => (18, 31),
            Instrument::ShutoffClosed => (19, 32),
            Instrument::EmergencyStop => (33, 34),
            Instrument::ShutoffBypassed => (35, 36),
        };
        [own, second, own + 50]
    }

    fn bit(self) -> u32 {
        1 << self as u32
    }
}

impl fmt::Display for Instrument {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Instrument::Meter => "flow meter",
            Instrument::LineDensity => "line density",
            Instrument::LineTemperature => "line temperature",
            Instrument::Scale => "truck scale",
            Instrument::Level => "tank level",
            Instrument::SecondLevel => "second tank level",
            Instrument::LevelPressure => "hydrostatic level",
            Instrument::TankPressure => "tank pressure",
            Instrument::TankTemperature => "tank temperature",
            Instrument::Pad => "pad pressure",
            Instrument::Supply => "gas supply pressure",
            Instrument::PadGasTemperature => "pad gas temperature",
            Instrument::DrawOff => "draw-off",
            Instrument::DewPoint => "dew point",
            Instrument::HighLevelSwitch => "high-level switch",
            Instrument::ShutoffClosed => "shut-off closed",
            Instrument::EmergencyStop => "emergency stop",
            Instrument::ShutoffBypassed => "shut-off bypassed",
        })
    }
}

/// Streams of chance of those who come and go.
const PEOPLE_STREAM: u64 = 40;
/// See above.
const FOAM_STREAM: u64 = 41;
/// What the totalizer shows when a run begins, kg: it has counted other loads before.
const TOTAL_AT_START_KG: f64 = 418_250.0;
/// Density of pad gas in a drained meter, kg/m3: nitrogen at some 70 kPa above the air.
const GAS_IN_TUBE_KG_PER_M3: f64 = 2.0;
/// Dew point of the pad gas, C: dry nitrogen.
const DEW_POINT_C: f64 = -52.0;
/// Standard gravity, m/s2 (exact by convention, ISO 80000-3).
const GRAVITY: f64 = 9.806_65;

/// All instruments of a bay and what they show now.
#[derive(Debug, Clone)]
pub struct Instruments {
    setup: InstrumentSetup,
    channels: [Channel; INSTRUMENTS],
    people: Visits,
    foam: Visits,
    rain_kg: f64,
    last_metered_kg: f64,
    /// Counted by the meter's own works, and what it shows of it.
    total_kg: f64,
    total_shown_kg: f64,
    /// Each with the instruments that it reaches, one bit each.
    faults: Vec<(InstrumentFault, u32)>,
}

impl Instruments {
    /// With errors drawn from the seed; scanned once.
    #[must_use]
    pub fn new(setup: InstrumentSetup, plant: &Plant) -> Instruments {
        let chance = |stream| Chance::new(setup.seed, stream);
        let channels = Instrument::ALL.map(|i| Channel::new(setup[i], |nth| chance(i.streams()[nth])));
        let mut instruments = Instruments {
            channels,
            people: Visits::new(setup.people, chance(PEOPLE_STREAM)),
            foam: Visits::new(setup.foam, chance(FOAM_STREAM)),
            rain_kg: 0.0,
            last_metered_kg: plant.metered_kg(),
            total_kg: TOTAL_AT_START_KG,
            total_shown_kg: TOTAL_AT_START_KG,
            faults: Vec::new(),
            setup,
        };
        instruments.scan(plant);
        instruments
    }

    /// How far off they may be.
    #[must_use]
    pub fn setup(&self) -> &InstrumentSetup {
        &self.setup
    }

    /// The errors that this run drew: meter gain (1), scale span (1), pad pressure zero (Pa).
    #[must_use]
    pub fn drawn(&self) -> [f64; 3] {
        let of = |i: Instrument| &self.channels[i as usize];
        [of(Instrument::Meter).gain, of(Instrument::Scale).gain, of(Instrument::Pad).zero]
    }

    /// What people on the deck weigh now, kg.
    #[must_use]
    pub fn on_deck_kg(&self) -> f64 {
        self.people.size()
    }

    /// Foam under the level gauges now, m.
    #[must_use]
    pub fn foam_m(&self) -> f64 {
        self.foam.size()
    }

    /// Lets something go wrong. A gateway's replay reaches all of `together`; whatever else, the instrument alone.
    pub fn add_fault(&mut self, fault: InstrumentFault, together: &[Instrument]) {
        let own = fault.on.bit();
        let replay = fault.answer() == Answer::Replayed;
        let reached = if replay { together.iter().fold(own, |bits, i| bits | i.bit()) } else { own };
        self.faults.push((fault, reached));
    }

    /// Nothing is or will be wrong any more.
    pub fn mend(&mut self) {
        self.faults.clear();
    }

    /// What goes or will go wrong.
    pub fn faults(&self) -> impl Iterator<Item = &InstrumentFault> {
        self.faults.iter().map(|(fault, _)| fault)
    }

    /// Takes the plant in; to be called every [`SCAN_S`].
    pub fn scan(&mut self, plant: &Plant) {
        self.people.step(SCAN_S);
        self.foam.step(SCAN_S);
        self.rain_kg = (self.rain_kg + self.setup.rain_kg_per_h * SCAN_S / 3600.0).min(self.setup.rain_most_kg);
        let now_s = plant.time_s();
        let truths = self.truths(plant);
        for (instrument, truth) in Instrument::ALL.into_iter().zip(truths) {
            let disorder = self.disorder(instrument, now_s);
            self.channels[instrument as usize].scan(truth, &disorder);
            if instrument == Instrument::Meter {
                self.count(plant.metered_kg(), truth, disorder.held);
            }
        }
    }

    fn disorder(&self, instrument: Instrument, now_s: f64) -> Disorder {
        let mut disorder = Disorder::NONE;
        for (fault, reached) in &self.faults {
            if reached & instrument.bit() != 0 && fault.is_on(now_s) {
                fault.disturb(now_s, &mut disorder);
            }
        }
        disorder
    }

    /// The totalizer adds up what passed and what the rate is off by.
    fn count(&mut self, metered_kg: f64, rate_kg_per_s: f64, held: bool) {
        let off_kg_per_s = self.channels[Instrument::Meter as usize].measured - rate_kg_per_s;
        self.total_kg += metered_kg - self.last_metered_kg + off_kg_per_s * SCAN_S;
        self.last_metered_kg = metered_kg;
        if !held {
            self.total_shown_kg = self.total_kg;
        }
    }

    /// What there is to be measured, in the order of [`Instrument::ALL`].
    fn truths(&self, plant: &Plant) -> [f64; INSTRUMENTS] {
        let p = plant.setup();
        let flag = |yes: bool| f64::from(u8::from(yes));
        let liquid = plant.liquid_share_at_meter();
        let (pad_pa, tank_pa, level_m) = (plant.trailer_pa(), plant.tank_vapour_pa(), plant.level_m());
        let [first, second] = self.setup.foam_share.map(|share| level_m + share * self.foam.size());
        [
            plant.meter_kg_per_s(),
            // A vibrating tube shows the mean density of what is in it.
            liquid * p.density_kg_per_m3 + (1.0 - liquid) * GAS_IN_TUBE_KG_PER_M3,
            p.liquid_c,
            plant.weighed_kg() + self.people.size() + self.rain_kg + self.setup.hose_kg_per_pa * pad_pa,
            first,
            second,
            plant.tank_density_kg_per_m3() * GRAVITY * level_m + tank_pa,
            tank_pa,
            plant.tank_c(),
            pad_pa,
            plant.supply_pa(),
            plant.gas_c(),
            plant.draw_off_kg_per_s(),
            DEW_POINT_C,
            flag(level_m >= self.setup.high_switch_m),
            flag(plant.valve() <= 0.0),
            flag(plant.hands.stopped),
            0.0,
        ]
    }

    /// What is shown now, SI; 1 or 0 for a yes/no. A volume meter is the mass meter over the density it is
    /// set to, that of the liquid. `gauge`: see [`Instrument::of`].
    #[must_use]
    pub fn shows(&self, kind: SignalKind, gauge: usize, density_kg_per_m3: f64) -> f64 {
        let instrument = Instrument::of(kind, gauge);
        let shown = self.channels[instrument as usize].shown;
        match kind {
            SignalKind::FlowVolumeRate => shown / density_kg_per_m3,
            SignalKind::FlowMassTotal => self.total_shown_kg,
            SignalKind::FlowVolumeTotal => self.total_shown_kg / density_kg_per_m3,
            _ if instrument.is_flag() => shown.round(),
            _ => shown,
        }
    }

    /// What the meter has counted since the run began, kg.
    #[must_use]
    pub fn metered_kg(&self) -> f64 {
        self.total_shown_kg - TOTAL_AT_START_KG
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::PlantSetup;

    fn at_rest(seed: u64) -> (Plant, Instruments) {
        let plant = Plant::new(PlantSetup::nominal(seed));
        let instruments = Instruments::new(InstrumentSetup::nominal(4.0, seed), &plant);
        (plant, instruments)
    }

    /// Expected: the spread and the colour that the setup states; level = white + agitation.
    #[test]
    fn noise_is_as_stated() {
        let (plant, mut instruments) = at_rest(3);
        let (mut level, mut scale, mut pad) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..40_000 {
            instruments.scan(&plant);
            level.push(instruments.shows(SignalKind::Level, 0, 1.0) - plant.level_m());
            scale.push(
                instruments.shows(SignalKind::Scale, 0, 1.0) - instruments.channels[Instrument::Scale as usize].drift,
            );
            pad.push(instruments.shows(SignalKind::PadPressure, 0, 1.0));
        }
        let spread = |x: &[f64]| {
            let mean = x.iter().sum::<f64>() / x.len() as f64;
            (x.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / x.len() as f64).sqrt()
        };
        let expected = 0.0012f64.hypot(0.0015);
        assert!((spread(&level) / expected - 1.0).abs() < 0.08, "level {} m", spread(&level));
        // Rounding to a division d adds d / sqrt(12) (GUM, JCGM 100:2008, F.2.2.1).
        let expected = (36.0 + 25.0 + 400.0 / 12.0f64).sqrt();
        assert!((spread(&scale) / expected - 1.0).abs() < 0.1, "scale {} kg", spread(&scale));
        assert!((spread(&pad) / 150.0 - 1.0).abs() < 0.03, "pad {} Pa", spread(&pad));
        assert!(instruments.shows(SignalKind::Scale, 0, 1.0) % 20.0 == 0.0);
    }

    /// Expected: standard deviation 0.15 % over runs, five standard errors.
    #[test]
    fn every_run_draws_its_own_gain() {
        let gains: Vec<f64> = (0..400).map(|seed| at_rest(seed).1.drawn()[0]).collect();
        let spread = (gains.iter().map(|g| g * g).sum::<f64>() / 400.0).sqrt();
        assert!((spread / 0.0015 - 1.0).abs() < 5.0 / (2.0f64 * 400.0).sqrt(), "spread of the gain {spread}");
    }

    /// Expected: a closed trailer of constant outer volume keeps its gas on the scale: dW (1 - 1.2/8000) is
    /// liquid out less gas in, nitrogen by the ideal gas law (20 m3 at 25 psig: 63 kg at 3.15 kg/m3, of Span
    /// et al., J. Phys. Chem. Ref. Data 29, 2000).
    #[test]
    fn gas_stays_on_the_scale() {
        let mut setup = PlantSetup::nominal(1);
        (setup.regulator_wander_pa, setup.friction_wander) = (0.0, 0.0);
        let mut plant = Plant::new(setup);
        let (weighed, gas) = (plant.weighed_kg(), plant.trailer_gas_kg());
        plant.hands.gas_on = true;
        plant.hands.valve_open = true;
        for _ in 0..30_000 {
            plant.step();
        }
        let liquid = (weighed - plant.weighed_kg()) * (1.0 - 1.2 / 8000.0) + (plant.trailer_gas_kg() - gas);
        assert!((liquid - plant.left_trailer_kg()).abs() < 1e-6);
        let (p, t) = (plant.trailer_pa() + 101_325.0, plant.setup().gas_c + 273.15);
        let nitrogen = 3.1477 * (p / 273_690.0) * (293.15 / t);
        let volume = plant.setup().trailer_m3 - plant.on_trailer_kg() / plant.setup().density_kg_per_m3;
        assert!((plant.trailer_gas_kg() / volume / nitrogen - 1.0).abs() < 2e-3);
    }

    /// Expected: a first-order lag trails a ramp by its time constant.
    #[test]
    fn the_level_gauge_lags_by_its_time_constant() {
        let setup = InstrumentSetup::nominal(4.0, 1)[Instrument::Level];
        let quiet = ChannelSetup { noise: ChannelSetup::PERFECT.noise, ..setup };
        let mut gauge = Channel::new(quiet, |nth| Chance::new(1, [1, 2, 3][nth]));
        let mut truth = 0.0;
        for _ in 0..400 {
            truth += 5e-4 * SCAN_S;
            gauge.scan(truth, &Disorder::NONE);
        }
        let behind_s = (truth - gauge.shown) / 5e-4;
        // The truth moved before the scan: up to one scan less than the continuous lag.
        assert!((4.7..=5.0).contains(&behind_s), "behind by {behind_s} s");
    }

    /// Every fault at rest, where nothing moves: the size comes out as it went in, from its onset to its end.
    #[test]
    fn a_fault_has_its_onset_its_size_and_its_end() {
        let cases = [
            (Wrong::Shift, Instrument::Level, SignalKind::Level, -0.02, -0.02),
            (Wrong::Shift, Instrument::EmergencyStop, SignalKind::EmergencyStop, 1.0, 1.0),
            // Half an hour of creep when it is looked at.
            (Wrong::Creep, Instrument::Pad, SignalKind::PadPressure, 4_000.0, 2_000.0),
            (Wrong::Gain, Instrument::LineDensity, SignalKind::LineDensity, 0.02, 0.02 * 2.0),
            (Wrong::Saturated, Instrument::TankPressure, SignalKind::TankPressure, 5_000.0, 5_000.0),
            (Wrong::Elsewhere, Instrument::Level, SignalKind::Level, 2.5, 1.3),
        ];
        for (wrong, on, kind, size, expected) in cases {
            let mut plant = Plant::new(PlantSetup::nominal(1));
            let mut instruments = Instruments::new(InstrumentSetup::perfect(4.0, 1), &plant);
            let before = instruments.shows(kind, 0, 1.0);
            instruments.add_fault(InstrumentFault::new(wrong, on, 60.0, size).lasting(1_801.0), &[]);
            let mut at = |until_s: f64| {
                while plant.time_s() < until_s - 1e-6 {
                    (0..STEPS_PER_SCAN).for_each(|_| plant.step());
                    instruments.scan(&plant);
                }
                instruments.shows(kind, 0, 1.0) - before
            };
            assert!(at(59.0).abs() < 1e-6, "{wrong:?} of {on} comes early");
            let got = at(1_860.0);
            assert!((got - expected).abs() < 1e-2 * expected.abs(), "{wrong:?} of {on}: {got}, expected {expected}");
            assert!(at(1_870.0).abs() < 1e-6, "{wrong:?} of {on} stays");
        }
    }

    /// What is shown of a meter that is 2 % off: 2 % of what passed, rate and total alike; stuck, neither moves, and
    /// what a gateway replays comes back as if nothing had been.
    #[test]
    fn a_meter_counts_what_it_shows() {
        let run = |fault: Option<InstrumentFault>| {
            let mut plant = Plant::new(PlantSetup::nominal(1));
            (plant.hands.gas_on, plant.hands.valve_open) = (true, true);
            let mut instruments = Instruments::new(InstrumentSetup::perfect(4.0, 1), &plant);
            fault.into_iter().for_each(|f| instruments.add_fault(f, &Instrument::ALL));
            let mut halfway = [0.0; 2];
            for scan in 0..2_400 {
                (0..STEPS_PER_SCAN).for_each(|_| plant.step());
                instruments.scan(&plant);
                if scan == 1_200 {
                    halfway = [instruments.metered_kg(), instruments.shows(SignalKind::Scale, 0, 1.0)];
                }
            }
            (instruments.metered_kg(), instruments.shows(SignalKind::FlowMassRate, 0, 1.0), halfway, plant)
        };
        let (total, rate, clean_halfway, plant) = run(None);
        assert!((total - plant.metered_kg()).abs() < 1e-6 && total > 1_000.0, "{total} kg");
        let fault = |wrong| InstrumentFault::new(wrong, Instrument::Meter, 0.0, -0.02);
        let (off, off_rate, ..) = run(Some(fault(Wrong::Gain)));
        assert!((off / total - 0.98).abs() < 1e-3 && (off_rate / rate - 0.98).abs() < 1e-9, "{off} of {total} kg");
        let (stuck, stuck_rate, halfway, _) = run(Some(fault(Wrong::Stuck)));
        assert!(stuck == 0.0 && stuck_rate == 0.0 && halfway[1] == clean_halfway[1], "{stuck} kg, {stuck_rate} kg/s");
        let (back, _, halfway, _) = run(Some(fault(Wrong::Replayed).lasting(900.0)));
        assert!((back - total).abs() < 1e-6 && halfway[0] == 0.0, "{back} kg after, {} in between", halfway[0]);
        assert_eq!(halfway[1], Plant::new(PlantSetup::nominal(1)).weighed_kg(), "the scale behind it is replayed too");
    }

    /// Whoever is on the deck at the start leaves: the reading falls by a person, 70 to 100 kg, and people come back.
    #[test]
    fn people_step_off_and_on() {
        let plant = Plant::new(PlantSetup::nominal(1));
        let mut setup = InstrumentSetup::perfect(4.0, 3);
        setup.people = InstrumentSetup::busy(4.0, 3).people;
        (setup.people.at_start, setup.people.per_h) = (true, 30.0);
        let mut instruments = Instruments::new(setup, &plant);
        let begun = instruments.shows(SignalKind::Scale, 0, 1.0);
        let mut moved = Vec::new();
        for _ in 0..7_200 {
            instruments.scan(&plant);
            moved.push(instruments.shows(SignalKind::Scale, 0, 1.0) - begun);
        }
        assert!(moved[0] == 0.0 && moved[400] <= -70.0 && moved[400] >= -100.0, "{} kg", moved[400]);
        assert!(moved[400..].iter().any(|m| *m > -30.0), "nobody came");
    }

    /// Every parameter of every instrument, and the seed, can be read.
    #[test]
    fn the_setup_prints_itself() {
        let text = InstrumentSetup::nominal(4.2, 77).to_string();
        assert!(text.starts_with("seed 77; high-level switch at 4.2 m"), "{text}");
        assert!(Instrument::ALL.iter().all(|i| text.contains(&format!("; {i}, {}: zero", i.unit()))), "{text}");
        assert!(text.contains(
            "truck scale, kg: zero 0, gain 0.0005, drift 10 per sqrt(h), noise white 6 and wandering 5 over 20 s"
        ));
        let all = format!("{:?}", InstrumentSetup::any(4.2, 77));
        assert_ne!(all, format!("{:?}", InstrumentSetup::any(4.2, 78)));
        assert_eq!(all, format!("{:?}", InstrumentSetup::any(4.2, 77)));
    }
}
