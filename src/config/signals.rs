//! The kinds of signal: name in the site file, quantity, plausible range, and the uncertainties taken where the
//! site file gives none.
//!
//! A default is a standard uncertainty of an ordinary instrument of that kind in fair order. Where no standard
//! stands behind a number it is an assumption, marked so; the site file may replace every one.

use crate::engine::settings::SignalKind;
use crate::units::Quantity;

/// What is known of a kind of signal. SI throughout; uncertainties are 1 sigma.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SignalForm {
    /// Its name in a site file.
    pub name: &'static str,
    /// What the engine calls it.
    pub kind: SignalKind,
    /// What it measures.
    pub quantity: Quantity,
    /// Whether it belongs to a tank.
    pub of_tank: bool,
    /// Plausible range; a level's ends at the tank's top.
    pub plausible: (f64, f64),
    /// White noise of one reading.
    pub noise: f64,
    /// Noise with a memory, and the memory's length, s.
    pub slow_noise: f64,
    /// See above.
    pub slow_noise_s: f64,
    /// Relative error of the span.
    pub gain: f64,
    /// Error of the zero.
    pub zero: f64,
    /// Random walk per square root of an hour.
    pub drift_per_sqrt_h: f64,
    /// Age of the value when it is read, s.
    pub lag_s: f64,
}

/// The names in the order of [`FORMS`].
pub(super) const NAMES: &[&str] = &{
    let mut names = [""; FORMS.len()];
    let mut i = 0;
    while i < FORMS.len() {
        names[i] = FORMS[i].name;
        i += 1;
    }
    names
};

/// The form of that name.
#[must_use]
pub fn by_name(name: &str) -> Option<&'static SignalForm> {
    FORMS.iter().find(|form| form.name == name)
}

/// Unit in which the engine has values of that kind; empty for yes/no.
#[must_use]
pub fn unit_of(kind: SignalKind) -> &'static str {
    let form = FORMS.iter().find(|form| form.kind == kind);
    form.filter(|form| form.quantity != Quantity::YesNo).map_or("", |form| form.quantity.si_name())
}

const fn form(name: &'static str, kind: SignalKind, quantity: Quantity, low: f64, high: f64) -> SignalForm {
    let plausible = (low, high);
    SignalForm {
        name,
        kind,
        quantity,
        of_tank: false,
        plausible,
        noise: 0.0,
        slow_noise: 0.0,
        slow_noise_s: 20.0,
        gain: 0.0,
        zero: 0.0,
        drift_per_sqrt_h: 0.0,
        lag_s: 0.0,
    }
}

/// Gain of a flow meter: 0.15 %, half of the 0.3 % that Directive 2014/32/EU, Annex VII (MI-005), Table 2
/// allows a measuring system of accuracy class 0.3.
const METER_GAIN: f64 = 0.0015;
/// Noise of a flow rate: 0.5 % of the 4.9 kg/s of an ordinary unloading (assumption).
const METER_NOISE_KG_PER_S: f64 = 0.025;
/// Zero of a flow meter: 0.0005 kg/s, 0.01 % of that rate (assumption).
const METER_ZERO_KG_PER_S: f64 = 0.0005;
/// Density of water, to turn assumptions about a mass meter into such about a volume meter, kg/m3.
const WATER_KG_PER_M3: f64 = 1000.0;
/// Span of a truck scale: 0.05 %. OIML R 76-1, Table 6 allows a class III scale of 20 kg division one division
/// at 36 t at verification (0.056 %), twice that in service; as a rectangular distribution 0.03 to 0.06 %.
const SCALE_SPAN: f64 = 0.0005;
/// Noise of a truck scale in the open: 6 kg at every reading and 8 kg of wind that lasts about 20 s; its drift, 10 kg per
/// square root of an hour (assumptions).
const SCALE_NOISE_KG: f64 = 6.0;
const SCALE_WIND_KG: f64 = 8.0;
const SCALE_WIND_S: f64 = 20.0;
const SCALE_DRIFT_KG: f64 = 10.0;
/// Zero of a level gauge: +-3 mm before installation (API MPMS 3.1B, 2001), rectangular: 1.7 mm.
const LEVEL_ZERO_M: f64 = 0.0017;
/// Noise of a level while the tank is filled: 1.2 mm at every reading and 1.6 mm of waves that last about 15 s; damping of
/// its transmitter, 5 s (assumptions).
const LEVEL_NOISE_M: f64 = 0.0012;
const LEVEL_WAVES_M: f64 = 0.0016;
const LEVEL_WAVES_S: f64 = 15.0;
const LEVEL_LAG_S: f64 = 5.0;
/// A hydrostatic transmitter: 2 mm of a liquid of 1500 kg/m3 in noise; zero 50 Pa, span 0.1 % (assumptions).
const HYDROSTATIC_NOISE_PA: f64 = 30.0;
const HYDROSTATIC_ZERO_PA: f64 = 50.0;
const HYDROSTATIC_GAIN: f64 = 0.001;
/// A pressure transmitter of 400 kPa range and 0.25 % of range as limit, rectangular: 0.6 kPa; noise 0.2 kPa
/// (assumptions).
const PRESSURE_ZERO_PA: f64 = 600.0;
const PRESSURE_NOISE_PA: f64 = 200.0;
/// Temperature: +-0.5 C, the limit of Directive 2014/32/EU, MI-005, for classes 0.5 and 1.0, rectangular: 0.3 C.
const TEMPERATURE_ZERO_C: f64 = 0.3;
/// Density by the line meter: 1 kg/m3, noise 0.3 kg/m3 (assumptions).
const DENSITY_ZERO_KG_PER_M3: f64 = 1.0;
const DENSITY_NOISE_KG_PER_M3: f64 = 0.3;

/// Every kind. Plausible ranges are those of a trailer unloaded in the field (assumptions), not of instruments.
pub const FORMS: &[SignalForm] = &[
    SignalForm {
        noise: METER_NOISE_KG_PER_S,
        gain: METER_GAIN,
        zero: METER_ZERO_KG_PER_S,
        ..form("flow_kg_per_s", SignalKind::FlowMassRate, Quantity::MassFlow, -20.0, 20.0)
    },
    SignalForm {
        noise: METER_NOISE_KG_PER_S / WATER_KG_PER_M3,
        gain: METER_GAIN,
        zero: METER_ZERO_KG_PER_S / WATER_KG_PER_M3,
        ..form("flow_m3_per_s", SignalKind::FlowVolumeRate, Quantity::VolumeFlow, -0.02, 0.02)
    },
    // Totalizers run for years; 1e9 kg is thirty years of loads.
    SignalForm { gain: METER_GAIN, ..form("flow_total_kg", SignalKind::FlowMassTotal, Quantity::Mass, -1e9, 1e9) },
    SignalForm { gain: METER_GAIN, ..form("flow_total_m3", SignalKind::FlowVolumeTotal, Quantity::Volume, -1e6, 1e6) },
    SignalForm {
        noise: DENSITY_NOISE_KG_PER_M3,
        zero: DENSITY_ZERO_KG_PER_M3,
        ..form("line_density_kg_per_m3", SignalKind::LineDensity, Quantity::Density, 600.0, 2000.0)
    },
    SignalForm {
        zero: TEMPERATURE_ZERO_C,
        ..form("line_temperature_c", SignalKind::LineTemperature, Quantity::Temperature, -40.0, 150.0)
    },
    SignalForm {
        noise: SCALE_NOISE_KG,
        slow_noise: SCALE_WIND_KG,
        slow_noise_s: SCALE_WIND_S,
        gain: SCALE_SPAN,
        drift_per_sqrt_h: SCALE_DRIFT_KG,
        ..form("scale_kg", SignalKind::Scale, Quantity::Mass, 0.0, 80_000.0)
    },
    SignalForm {
        of_tank: true,
        noise: LEVEL_NOISE_M,
        slow_noise: LEVEL_WAVES_M,
        slow_noise_s: LEVEL_WAVES_S,
        zero: LEVEL_ZERO_M,
        lag_s: LEVEL_LAG_S,
        ..form("level_m", SignalKind::Level, Quantity::Length, 0.0, 40.0)
    },
    SignalForm {
        of_tank: true,
        noise: HYDROSTATIC_NOISE_PA,
        zero: HYDROSTATIC_ZERO_PA,
        gain: HYDROSTATIC_GAIN,
        ..form("level_pa", SignalKind::LevelPressure, Quantity::GaugePressure, -5e3, 1e6)
    },
    SignalForm {
        of_tank: true,
        noise: PRESSURE_NOISE_PA,
        zero: PRESSURE_ZERO_PA,
        ..form("tank_pressure_pa_gauge", SignalKind::TankPressure, Quantity::GaugePressure, -5e3, 1e5)
    },
    SignalForm {
        of_tank: true,
        zero: TEMPERATURE_ZERO_C,
        ..form("tank_temperature_c", SignalKind::TankTemperature, Quantity::Temperature, -40.0, 150.0)
    },
    SignalForm {
        noise: PRESSURE_NOISE_PA,
        zero: PRESSURE_ZERO_PA,
        ..form("pad_pressure_pa_gauge", SignalKind::PadPressure, Quantity::GaugePressure, -1e4, 4e5)
    },
    SignalForm {
        noise: PRESSURE_NOISE_PA,
        zero: PRESSURE_ZERO_PA,
        ..form("gas_supply_pressure_pa_gauge", SignalKind::GasSupplyPressure, Quantity::GaugePressure, -1e4, 4e5)
    },
    SignalForm {
        zero: TEMPERATURE_ZERO_C,
        ..form("pad_gas_temperature_c", SignalKind::PadGasTemperature, Quantity::Temperature, -40.0, 150.0)
    },
    SignalForm {
        of_tank: true,
        noise: METER_NOISE_KG_PER_S,
        gain: METER_GAIN,
        ..form("draw_off_kg_per_s", SignalKind::DrawOff, Quantity::MassFlow, 0.0, 20.0)
    },
    // Dew-point transmitters: +-2 C of dew point (assumption), rectangular.
    SignalForm { zero: 1.2, ..form("dew_point_c", SignalKind::DewPoint, Quantity::Temperature, -100.0, 40.0) },
    SignalForm { of_tank: true, ..form("high_level_switch", SignalKind::HighLevelSwitch, Quantity::YesNo, 0.0, 1.0) },
    form("shutoff_closed", SignalKind::ShutoffClosed, Quantity::YesNo, 0.0, 1.0),
    form("emergency_stop", SignalKind::EmergencyStop, Quantity::YesNo, 0.0, 1.0),
    form("shutoff_bypassed", SignalKind::ShutoffBypassed, Quantity::YesNo, 0.0, 1.0),
];
