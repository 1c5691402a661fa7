//! What the instruments make of the plant: noise, gain, lag, division.
//!
//! Each instrument is off in its own way: once per run (gain, zero, drawn from its spread when it is made),
//! slowly (drift, wind, agitation) and at every scan (white noise). Nominal sizes are those of well-kept
//! instruments of the trade; [`InstrumentSetup`] holds them all.

use crate::noise::{Chance, Wander};
use crate::plant::{Plant, STEP_S};
use brimwatch::config::SignalKind;

/// Steps of the plant between two scans of the instruments.
pub const STEPS_PER_SCAN: u32 = 5;
/// Time between two scans, s.
pub const SCAN_S: f64 = STEP_S * STEPS_PER_SCAN as f64;

/// How far off the instruments are; one standard deviation each, SI.
#[derive(Debug, Clone, PartialEq)]
pub struct InstrumentSetup {
    /// Mass meter: relative error of the gain, drawn once, 1.
    pub meter_gain: f64,
    /// Mass meter: white noise of one scan, relative to the rate, 1.
    pub meter_noise: f64,
    /// Line density: zero, drawn once.
    pub line_density_zero_kg_per_m3: f64,
    /// Line density: white noise.
    pub line_density_noise_kg_per_m3: f64,
    /// Scale: division (not a standard deviation).
    pub scale_division_kg: f64,
    /// Scale: white noise.
    pub scale_noise_kg: f64,
    /// Scale: wind.
    pub scale_wind_kg: f64,
    /// Scale: correlation time of the wind.
    pub scale_wind_s: f64,
    /// Scale: relative error of the span, drawn once, 1.
    pub scale_span: f64,
    /// Scale: random walk.
    pub scale_drift_kg_per_sqrt_h: f64,
    /// Level: white noise.
    pub level_noise_m: f64,
    /// Level: agitation of the surface.
    pub level_agitation_m: f64,
    /// Level: correlation time of the agitation.
    pub level_agitation_s: f64,
    /// Level: time constant of the transmitter's damping.
    pub level_lag_s: f64,
    /// Pad and supply pressure: zero, drawn once.
    pub pressure_zero_pa: f64,
    /// Pad and supply pressure: white noise.
    pub pressure_noise_pa: f64,
    /// Tank pressure and hydrostatic level: zero, drawn once.
    pub tank_pressure_zero_pa: f64,
    /// Tank pressure and hydrostatic level: white noise.
    pub tank_pressure_noise_pa: f64,
    /// Thermometers: zero, drawn once.
    pub temperature_zero_k: f64,
    /// Thermometers: white noise.
    pub temperature_noise_k: f64,
    /// Level at which the independent high-level switch trips (not a standard deviation).
    pub high_switch_m: f64,
    /// Seed of all.
    pub seed: u64,
}

impl InstrumentSetup {
    /// Well-kept instruments: a mass meter of 0.15 %, a truck scale with 20 kg division, a level gauge of
    /// about a millimetre.
    #[must_use]
    pub fn nominal(high_switch_m: f64, seed: u64) -> InstrumentSetup {
        InstrumentSetup {
            meter_gain: 0.0015,
            meter_noise: 0.005,
            line_density_zero_kg_per_m3: 0.5,
            line_density_noise_kg_per_m3: 0.2,
            scale_division_kg: 20.0,
            scale_noise_kg: 6.0,
            scale_wind_kg: 5.0,
            scale_wind_s: 20.0,
            scale_span: 0.0005,
            scale_drift_kg_per_sqrt_h: 10.0,
            level_noise_m: 0.0012,
            level_agitation_m: 0.0015,
            level_agitation_s: 15.0,
            level_lag_s: 5.0,
            pressure_zero_pa: 300.0,
            pressure_noise_pa: 150.0,
            tank_pressure_zero_pa: 30.0,
            tank_pressure_noise_pa: 15.0,
            temperature_zero_k: 0.3,
            temperature_noise_k: 0.05,
            high_switch_m,
            seed,
        }
    }
}

/// A value with an error drawn once and white noise.
#[derive(Debug, Clone)]
struct Sensor {
    chance: Chance,
    zero: f64,
    noise: f64,
    shown: f64,
}

impl Sensor {
    fn new(mut chance: Chance, zero: f64, noise: f64) -> Sensor {
        let zero = zero * chance.normal();
        Sensor { chance, zero, noise, shown: 0.0 }
    }

    fn scan(&mut self, truth: f64) {
        self.shown = truth + self.zero + self.noise * self.chance.normal();
    }
}

/// The mass meter: rate and totalizer share one gain.
#[derive(Debug, Clone)]
struct Meter {
    chance: Chance,
    gain: f64,
    last_metered_kg: f64,
    rate_kg_per_s: f64,
    total_kg: f64,
}

/// What the totalizer shows when a run begins, kg: it has counted other loads before.
const TOTAL_AT_START_KG: f64 = 418_250.0;

impl Meter {
    fn scan(&mut self, setup: &InstrumentSetup, plant: &Plant) {
        let truth = plant.meter_kg_per_s();
        let noise = setup.meter_noise * truth * self.chance.normal();
        self.rate_kg_per_s = truth * (1.0 + self.gain) + noise;
        let passed = plant.metered_kg() - self.last_metered_kg;
        self.total_kg += passed * (1.0 + self.gain) + noise * SCAN_S;
        self.last_metered_kg = plant.metered_kg();
    }
}

#[derive(Debug, Clone)]
struct Scale {
    chance: Chance,
    wind: Wander,
    span: f64,
    drift_kg: f64,
    shown_kg: f64,
}

impl Scale {
    fn scan(&mut self, setup: &InstrumentSetup, plant: &Plant) {
        self.wind.step(SCAN_S);
        self.drift_kg += setup.scale_drift_kg_per_sqrt_h * (SCAN_S / 3600.0).sqrt() * self.chance.normal();
        let borne = plant.weighed_kg() * (1.0 + self.span) + self.drift_kg + self.wind.value();
        let noisy = borne + setup.scale_noise_kg * self.chance.normal();
        self.shown_kg = (noisy / setup.scale_division_kg).round() * setup.scale_division_kg;
    }
}

#[derive(Debug, Clone)]
struct Level {
    chance: Chance,
    agitation: Wander,
    damped_m: f64,
    shown_m: f64,
}

impl Level {
    fn scan(&mut self, setup: &InstrumentSetup, truth_m: f64) {
        self.agitation.step(SCAN_S);
        let kept = (-SCAN_S / setup.level_lag_s).exp();
        self.damped_m = truth_m + (self.damped_m - truth_m) * kept;
        self.shown_m = self.damped_m + self.agitation.value() + setup.level_noise_m * self.chance.normal();
    }
}

/// All instruments of a bay and what they show now.
#[derive(Debug, Clone)]
pub struct Instruments {
    setup: InstrumentSetup,
    meter: Meter,
    scale: Scale,
    level: Level,
    line_density: Sensor,
    line_temperature: Sensor,
    tank_temperature: Sensor,
    pad_gas_temperature: Sensor,
    pad: Sensor,
    supply: Sensor,
    tank_pressure: Sensor,
    level_pressure: Sensor,
    high_switch: bool,
    valve_closed: bool,
}

/// Pressure of the gas supply before the regulator, Pa above the air: a site header of 3 bar.
const SUPPLY_PA: f64 = 300_000.0;
/// Density of pad gas in a drained meter, kg/m3: nitrogen at some 70 kPa above the air.
const GAS_IN_TUBE_KG_PER_M3: f64 = 2.0;
/// Dew point of the pad gas, C: dry nitrogen.
const DEW_POINT_C: f64 = -52.0;
/// Standard gravity, m/s2 (exact by convention, ISO 80000-3).
const GRAVITY: f64 = 9.806_65;

impl Instruments {
    /// With errors drawn from the seed; scanned once.
    #[must_use]
    pub fn new(setup: InstrumentSetup, plant: &Plant) -> Instruments {
        let chance = |stream| Chance::new(setup.seed, stream);
        let mut scale_chance = chance(2);
        let mut meter_chance = chance(1);
        let sensor = |stream, zero, noise| Sensor::new(chance(stream), zero, noise);
        let thermometer = |stream| sensor(stream, setup.temperature_zero_k, setup.temperature_noise_k);
        let mut instruments = Instruments {
            meter: Meter {
                gain: setup.meter_gain * meter_chance.normal(),
                chance: meter_chance,
                last_metered_kg: plant.metered_kg(),
                rate_kg_per_s: 0.0,
                total_kg: TOTAL_AT_START_KG,
            },
            scale: Scale {
                span: setup.scale_span * scale_chance.normal(),
                chance: scale_chance,
                wind: Wander::new(chance(3), setup.scale_wind_kg, setup.scale_wind_s),
                drift_kg: 0.0,
                shown_kg: 0.0,
            },
            level: Level {
                chance: chance(4),
                agitation: Wander::new(chance(5), setup.level_agitation_m, setup.level_agitation_s),
                damped_m: plant.level_m(),
                shown_m: 0.0,
            },
            line_density: sensor(6, setup.line_density_zero_kg_per_m3, setup.line_density_noise_kg_per_m3),
            line_temperature: thermometer(7),
            tank_temperature: thermometer(8),
            pad_gas_temperature: thermometer(9),
            pad: sensor(10, setup.pressure_zero_pa, setup.pressure_noise_pa),
            supply: sensor(11, setup.pressure_zero_pa, setup.pressure_noise_pa),
            tank_pressure: sensor(12, setup.tank_pressure_zero_pa, setup.tank_pressure_noise_pa),
            level_pressure: sensor(13, setup.tank_pressure_zero_pa, setup.tank_pressure_noise_pa),
            high_switch: false,
            valve_closed: true,
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
        [self.meter.gain, self.scale.span, self.pad.zero]
    }

    /// Takes the plant in; to be called every [`SCAN_S`].
    pub fn scan(&mut self, plant: &Plant) {
        let p = plant.setup();
        self.meter.scan(&self.setup, plant);
        self.scale.scan(&self.setup, plant);
        self.level.scan(&self.setup, plant.level_m());
        // A vibrating tube shows the mean density of what is in it.
        let liquid = plant.liquid_share_at_meter();
        self.line_density.scan(liquid * p.density_kg_per_m3 + (1.0 - liquid) * GAS_IN_TUBE_KG_PER_M3);
        self.line_temperature.scan(p.liquid_c);
        self.tank_temperature.scan(p.liquid_c);
        self.pad_gas_temperature.scan(p.gas_c);
        self.pad.scan(plant.trailer_pa());
        self.supply.scan(SUPPLY_PA);
        self.tank_pressure.scan(plant.tank_vapour_pa());
        let head = p.density_kg_per_m3 * GRAVITY * plant.level_m();
        self.level_pressure.scan(head + plant.tank_vapour_pa());
        self.high_switch = plant.level_m() >= self.setup.high_switch_m;
        self.valve_closed = plant.valve() <= 0.0;
    }

    /// What is shown now, SI; 1 or 0 for a yes/no. A volume meter is the mass meter over the density it is
    /// set to, that of the liquid.
    #[must_use]
    pub fn shows(&self, kind: SignalKind, density_kg_per_m3: f64) -> f64 {
        let flag = |yes: bool| f64::from(u8::from(yes));
        match kind {
            SignalKind::FlowMassRate => self.meter.rate_kg_per_s,
            SignalKind::FlowVolumeRate => self.meter.rate_kg_per_s / density_kg_per_m3,
            SignalKind::FlowMassTotal => self.meter.total_kg,
            SignalKind::FlowVolumeTotal => self.meter.total_kg / density_kg_per_m3,
            SignalKind::LineDensity => self.line_density.shown,
            SignalKind::LineTemperature => self.line_temperature.shown,
            SignalKind::Scale => self.scale.shown_kg,
            SignalKind::Level => self.level.shown_m,
            SignalKind::LevelPressure => self.level_pressure.shown,
            SignalKind::TankPressure => self.tank_pressure.shown,
            SignalKind::TankTemperature => self.tank_temperature.shown,
            SignalKind::PadPressure => self.pad.shown,
            SignalKind::GasSupplyPressure => self.supply.shown,
            SignalKind::PadGasTemperature => self.pad_gas_temperature.shown,
            SignalKind::DrawOff => 0.0,
            SignalKind::DewPoint => DEW_POINT_C,
            SignalKind::HighLevelSwitch => flag(self.high_switch),
            SignalKind::ShutoffClosed => flag(self.valve_closed),
            SignalKind::EmergencyStop | SignalKind::ShutoffBypassed => 0.0,
        }
    }

    /// What the meter has counted since the run began, kg.
    #[must_use]
    pub fn metered_kg(&self) -> f64 {
        self.meter.total_kg - TOTAL_AT_START_KG
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
            level.push(instruments.shows(SignalKind::Level, 1.0) - plant.level_m());
            scale.push(instruments.shows(SignalKind::Scale, 1.0) - instruments.scale.drift_kg);
            pad.push(instruments.shows(SignalKind::PadPressure, 1.0));
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
        assert!(instruments.scale.shown_kg % 20.0 == 0.0);
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
        let mut setup = InstrumentSetup::nominal(4.0, 1);
        (setup.level_noise_m, setup.level_agitation_m) = (0.0, 0.0);
        let (_, mut instruments) = at_rest(1);
        instruments.level.agitation = Wander::new(Chance::new(1, 1), 0.0, 15.0);
        let mut truth = 0.0;
        for _ in 0..400 {
            truth += 5e-4 * SCAN_S;
            instruments.level.scan(&setup, truth);
        }
        let behind_s = (truth - instruments.level.shown_m) / 5e-4;
        // The truth moved before the scan: up to one scan less than the continuous lag.
        assert!((4.7..=5.0).contains(&behind_s), "behind by {behind_s} s");
    }
}
