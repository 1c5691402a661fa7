//! What the engine is told about a bay before anything moves: all SI, all tables resolved, all thresholds
//! computed. Built by `config` from the written site file, stored whole in a recording's header, so that a
//! replay never depends on how a file is parsed today.

use super::blow::BlowSetup;
use super::frame::Phase;
use super::input::AlarmId;
use super::papers::{Expected, Papers};
use super::steps::Step;
use crate::units::{Celsius, GaugePa, Kg, KgPerM3, M3, Metre, PaS};

/// Everything the engine needs to know about one bay.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Name of the bay as written in the site file.
    pub bay: String,
    /// The devices that are polled, in the order `Poll::device` counts them.
    pub devices: Vec<DeviceSetup>,
    /// The measured quantities, in the order readings count them.
    pub signals: Vec<SignalSetup>,
    /// The tanks this bay can fill.
    pub tanks: Vec<TankSetup>,
    /// What the scale carries; a scale that carries part of a trailer is no witness.
    pub rests_on_scale: RestsOnScale,
    /// The line between trailer and tank.
    pub line: LineSetup,
    /// What moves the liquid.
    pub drive: Drive,
    /// Where the pad pressure is measured.
    pub pad_tap: PadTap,
    /// The gas on the trailer.
    pub gas: GasSetup,
    /// The site's limits. `None` means that nobody has typed the value in.
    pub limits: Limits,
    /// Computed from budgets when the settings were built; replayed as stored.
    pub thresholds: Thresholds,
    /// Other bays that fill the same tanks, one entry for each tank that is shared, in the order
    /// [`Neighbour::neighbour`](super::input::Neighbour::neighbour) counts them.
    pub neighbours: Vec<NeighbourSetup>,
    /// What is expected of every delivery.
    pub expected: Expected,
    /// What the gas behind the last liquid meets.
    pub blow: BlowSetup,
    /// The steps of a delivery at this bay, in order.
    pub steps: Vec<Step>,
}

/// Another bay that fills one of this bay's tanks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NeighbourSetup {
    /// Name of that bay in the site file.
    pub bay: String,
    /// Index into [`Settings::tanks`] of the tank that both fill.
    pub tank: u16,
}

/// One polled device.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceSetup {
    /// Name in the site file.
    pub name: String,
    /// What it is reached by; devices of one link may fail together.
    pub link: String,
    /// Time between rounds of requests, s.
    pub period_s: f64,
    /// A round that is not answered by then is missed, s.
    pub time_out_s: f64,
    /// Its heartbeat register changes at least this often while it is alive, s; None: it has none.
    pub heartbeat_s: Option<f64>,
}

/// What a signal measures. SI units: see each line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SignalKind {
    /// Mass flow, kg/s.
    FlowMassRate,
    /// Volume flow, m3/s.
    FlowVolumeRate,
    /// Mass totalizer, kg.
    FlowMassTotal,
    /// Volume totalizer, m3.
    FlowVolumeTotal,
    /// Density in the line, kg/m3.
    LineDensity,
    /// Temperature in the line, C.
    LineTemperature,
    /// Reading of the truck scale, kg.
    Scale,
    /// Liquid level above the tank's datum, m.
    Level,
    /// Hydrostatic pressure at the tank's bottom, Pa gauge.
    LevelPressure,
    /// Pressure of the tank's vapour space, Pa gauge.
    TankPressure,
    /// Temperature of the tank's contents, C.
    TankTemperature,
    /// Pressure of the gas on the trailer, Pa gauge.
    PadPressure,
    /// Pressure of the gas supply, Pa gauge.
    GasSupplyPressure,
    /// Temperature of the gas on the trailer, C.
    PadGasTemperature,
    /// Mass flow drawn off the tank, kg/s.
    DrawOff,
    /// Dew point of the pad gas, C.
    DewPoint,
    /// The independent high-level switch has tripped (yes/no).
    HighLevelSwitch,
    /// The shut-off valve is closed (yes/no).
    ShutoffClosed,
    /// The emergency stop is pressed (yes/no).
    EmergencyStop,
    /// The shut-off is bypassed (yes/no).
    ShutoffBypassed,
}

/// One measured quantity of the bay. Uncertainties are standard uncertainties (1 sigma) in SI.
#[derive(Debug, Clone, PartialEq)]
pub struct SignalSetup {
    /// What it measures.
    pub kind: SignalKind,
    /// Name in the site file, for words about it.
    pub name: String,
    /// Index into [`Settings::devices`].
    pub device: u16,
    /// Index into [`Settings::tanks`], for signals of a tank.
    pub tank: Option<u16>,
    /// The instrument it is a value of, where several signals are of one; None: one of its own.
    pub transmitter: Option<String>,
    /// Lowest plausible value, SI.
    pub plausible_low: f64,
    /// Highest plausible value, SI.
    pub plausible_high: f64,
    /// From here on the instrument shows its end of range, not the quantity, SI.
    pub saturates_at: Option<f64>,
    /// One division: the smallest step the value can make, SI.
    pub division: f64,
    /// White noise of one reading, SI.
    pub noise: f64,
    /// Noise with a memory (wind on a scale, waves under a gauge), SI.
    pub slow_noise: f64,
    /// Its memory, s: after that it has fallen to 1/e of itself.
    pub slow_noise_s: f64,
    /// Relative error of the gain (span), 1.
    pub gain: f64,
    /// Error of the zero, SI.
    pub zero: f64,
    /// Random-walk drift, SI per square root of an hour.
    pub drift_per_sqrt_h: f64,
    /// The value is this old when it is read, s.
    pub lag_s: f64,
    /// A total that reaches this begins anew at nothing, SI; None: not known.
    pub rolls_over_at: Option<f64>,
    /// A mass meter shows apparent mass: as weighed in air against weights of 8000 kg/m3.
    pub apparent_mass: bool,
    /// Where that is not known: what its register, or a counter of decimal digits, can hold, SI; rising.
    pub may_roll_over_at: Vec<f64>,
    /// A meter that shows less than this may count nothing, SI (its low-flow cut-off, or the foot of its range); 0: none.
    pub low_flow: f64,
    /// Phases in which neither its loss nor an unlikely reading of it is called out; never a transfer, and nothing for a
    /// signal whose alarms may not be set aside.
    pub suppressed_in: Vec<Phase>,
}

#[cfg(test)]
impl SignalSetup {
    /// A perfect instrument of the first device.
    pub(super) fn plain(kind: SignalKind) -> SignalSetup {
        SignalSetup {
            kind,
            name: String::new(),
            device: 0,
            tank: None,
            transmitter: None,
            plausible_low: f64::NEG_INFINITY,
            plausible_high: f64::INFINITY,
            saturates_at: None,
            division: 0.0,
            noise: 0.0,
            slow_noise: 0.0,
            slow_noise_s: 20.0,
            gain: 0.0,
            zero: 0.0,
            drift_per_sqrt_h: 0.0,
            lag_s: 0.0,
            rolls_over_at: None,
            may_roll_over_at: Vec::new(),
            low_flow: 0.0,
            suppressed_in: Vec::new(),
            apparent_mass: false,
        }
    }
}

/// Shape of a tank as far as its volume goes.
#[derive(Debug, Clone, PartialEq)]
pub enum TankGeometry {
    /// Upright cylinder on a flat bottom.
    VerticalCylinder {
        /// Inner diameter.
        diameter: Metre,
        /// Inner height of the shell.
        height: Metre,
    },
    /// Strapping table: volume at rising levels, straight lines between, nothing beyond its ends.
    Strapping(Vec<(Metre, M3)>),
}

/// A storage tank.
#[derive(Debug, Clone, PartialEq)]
pub struct TankSetup {
    /// Name in the site file.
    pub name: String,
    /// Volume against level.
    pub geometry: TankGeometry,
    /// Relative standard uncertainty of a volume difference read off the table, 1.
    pub table_u: f64,
    /// Maximum working level.
    pub working: Metre,
    /// High-high level: the margin is measured here.
    pub high_high: Metre,
    /// Critical high level: damage or overflow.
    pub critical: Metre,
    /// What the gauge's reading may be off at opening while no other source has checked it, m.
    pub opening_u: Metre,
    /// How its shell grows with its temperature; None: not corrected.
    pub shell: Option<Shell>,
    /// What a person's dip may be off, m (standard uncertainty); None: the site does not allow the tank to be opened.
    pub hand_dip_u: Option<Metre>,
    /// Draw-off while a load is received.
    pub draw_off: DrawOff,
}

/// How a tank's shell grows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shell {
    /// Linear expansion, 1/K.
    pub per_k: f64,
    /// Temperature that the tank's volumes hold at.
    pub reference: Celsius,
}

/// What leaves the tank by other ways while a load comes in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DrawOff {
    /// A signal measures it.
    Measured,
    /// The site declares that nothing is drawn off.
    DeclaredZero,
    /// Nobody knows: the tank is Doubtful as a witness.
    Unknown,
}

/// What stands on the scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RestsOnScale {
    /// The trailer alone.
    Trailer,
    /// Trailer and tractor.
    TractorAndTrailer,
    /// Part of the trailer: no witness.
    Part,
    /// There is no scale.
    None,
}

/// The line from the trailer's outlet to the tank.
#[derive(Debug, Clone, PartialEq)]
pub struct LineSetup {
    /// Volume between the trailer's outlet and the meter.
    pub upstream: M3,
    /// Volume between the meter and the tank.
    pub downstream: M3,
    /// Relative standard uncertainty of both volumes, 1.
    pub volume_u: f64,
    /// What the line holds when a transfer starts.
    pub starts: LineStart,
    /// From the act at the valve to no flow, s.
    pub valve_closes_s: f64,
    /// Liquid still pushed into the tank when the hose is blown clear.
    pub blow_clear: Kg,
    /// Inner diameter, where it is known.
    pub bore: Option<Metre>,
    /// The trailer's outlet above the tank's datum, where level 0 is, where it is known.
    pub outlet_height: Option<Metre>,
}

/// What the line holds when a transfer starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineStart {
    /// Gas: the first liquid fills the line before any reaches the tank.
    Empty,
    /// Liquid of the last load.
    Full,
}

/// What moves the liquid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Drive {
    /// Gas pressure on the trailer.
    Pad,
    /// A pump.
    Pump,
    /// A pump, the tank's vapour led back to the trailer.
    PumpVapourReturn,
}

/// Where the pad pressure is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PadTap {
    /// On the trailer: the pressure that the ceiling is about.
    Trailer,
    /// On the supply side of the gas hose: the trailer's own pressure is not known.
    Supply,
}

/// The gas on the trailer.
#[derive(Debug, Clone, PartialEq)]
pub struct GasSetup {
    /// Name, for words.
    pub name: String,
    /// Specific gas constant, J/(kg K).
    pub constant_j_per_kg_k: f64,
    /// Temperature taken when none is measured.
    pub temperature: Celsius,
    /// Its standard uncertainty, K.
    pub temperature_u_k: f64,
}

/// The site's limits; no value has a default.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// From call to valve closed, s.
    pub response_time_s: f64,
    /// In a transfer somebody must say so often that they are in attendance, s; None: nobody is asked.
    pub attendance_s: Option<f64>,
    /// Site maximum of the pad pressure.
    pub pad_maximum: Option<GaugePa>,
    /// The least pad pressure that the site unloads with.
    pub pad_minimum: Option<GaugePa>,
    /// Rating of the hose.
    pub hose_rating: Option<GaugePa>,
    /// Rating of the line.
    pub line_rating: Option<GaugePa>,
    /// Rating of the connection.
    pub connection_rating: Option<GaugePa>,
}

/// Numbers that decisions are held against, computed from budgets by `config`.
#[derive(Debug, Clone, PartialEq)]
pub struct Thresholds {
    /// Chi-square above which witnesses disagree, for 1 and 2 degrees of freedom.
    pub chi_square: [f64; 2],
    /// Statistic above which a fault is found, by kind ([`bank::ALL`](super::bank::ALL)): the witness shows too much, too
    /// little.
    pub finding: [[f64; 2]; super::bank::KINDS],
    /// A suspect set holds every explanation whose statistic is within this of the best (ln 20).
    pub suspect_band: f64,
    /// Normal quantile for "found with probability 0.95".
    pub found_z: f64,
    /// Normal quantile for the margin's allowance.
    pub margin_z: f64,
    /// Pad pressure is near its ceiling from this fraction of it, 1.
    pub near_ceiling: f64,
    /// A condition must hold this long before its alarm comes, s.
    pub on_delay_s: f64,
    /// A condition must be gone this long before its alarm goes, s.
    pub off_delay_s: f64,
    /// Of alarms that have one.
    pub dead_bands: Vec<DeadBand>,
}

/// How far a value must be back from an alarm's limit before the open alarm's condition counts as gone
/// (ANSI/ISA-18.2-2016, 10.5). An alarm that is not open comes at its limit all the same.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeadBand {
    /// Of which alarm.
    pub alarm: AlarmId,
    /// In the SI unit of what is held against the limit.
    pub width_si: f64,
}

/// A delivery as its papers describe it.
#[derive(Debug, Clone, PartialEq)]
pub struct DeliverySetup {
    /// Number or name of the delivery.
    pub id: String,
    /// Leg of the delivery, from 1: one compartment, or what is left of one, into one tank.
    pub leg: u8,
    /// Index of the tank it goes to.
    pub tank: u16,
    /// What it is.
    pub product: Product,
    /// How much is meant to be unloaded in this leg.
    pub planned: Kg,
    /// What the trailer, or the leg's compartment, holds before it; None: the ticket's load.
    pub on_board: Option<OnBoard>,
    /// Net of the weigh ticket, as printed.
    pub ticket_net: Kg,
    /// Its standard uncertainty.
    pub ticket_u: Kg,
    /// Volume of the trailer.
    pub trailer_volume: M3,
    /// Relative standard uncertainty of that volume, 1.
    pub trailer_volume_u: f64,
    /// What the trailer's plate says.
    pub plate: Plate,
    /// What else the papers say.
    pub papers: Papers,
}

/// What a trailer, or one compartment of it, holds before a leg.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnBoard {
    /// Mass.
    pub mass: Kg,
    /// Its standard uncertainty.
    pub u: Kg,
}

/// The trailer's plate. Nothing has a default.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    /// Specification as stamped, e.g. "DOT 407".
    pub specification: Option<String>,
    /// Maximum allowable working pressure.
    pub mawp: Option<GaugePa>,
    /// Relief valve: start to discharge, lowest.
    pub relief_from: Option<GaugePa>,
    /// Relief valve: start to discharge, highest.
    pub relief_to: Option<GaugePa>,
}

/// A product.
#[derive(Debug, Clone, PartialEq)]
pub struct Product {
    /// Name, for words.
    pub name: String,
    /// Density at rising temperatures, straight lines between, nothing beyond its ends.
    pub density: Vec<(Celsius, KgPerM3)>,
    /// Relative standard uncertainty of the density, 1.
    pub density_u: f64,
    /// Dynamic viscosity at rising temperatures, straight lines in its logarithm between; empty: not known.
    pub viscosity: Vec<(Celsius, PaS)>,
    /// Whether somebody has read the table's source.
    pub confirmed: bool,
    /// Where the table comes from, with its standing.
    pub source: String,
    /// Temperature of the load as its papers say; used while the line has no thermometer.
    pub load_temperature: Celsius,
}
