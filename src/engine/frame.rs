//! All that the monitor knows at one instant. Page, report, metrics and JSON are views of it; it holds codes
//! and numbers only, never a sentence. Every number is SI and says so.

use super::blow::BlowState;
use super::checks::Checks;
use super::input::{AlarmKey, Gap, MissReason, OutOfService, RecorderState, Status, ZeroCause};
use super::steps::StepState;
use crate::time::{EngineTime, WallAnchor, WallTime};

/// What one step gave.
#[derive(Debug, Clone, PartialEq)]
pub struct Output {
    /// The state after the step, where it is worth showing: on a tick and at each change.
    pub frame: Option<Box<Frame>>,
    /// Whether the frame belongs in the recording.
    pub keep: bool,
    /// A verdict or an alarm changed: the frame must leave at once.
    pub urgent: bool,
}

/// The three witnesses; the order of every array of three.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum WitnessId {
    /// Flow meter.
    Flow,
    /// Truck scale.
    Scale,
    /// Tank level.
    Tank,
}

/// All that is known at one instant.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// Engine time.
    pub at: EngineTime,
    /// What ties engine time to the wall clock (for labels).
    pub clock: WallAnchor,
    /// What is going on.
    pub phase: Phase,
    /// The open delivery.
    pub delivery: Option<DeliveryState>,
    /// Each signal, in the order of the settings.
    pub readings: Vec<Reading>,
    /// Each device, in the order of the settings.
    pub devices: Vec<DeviceState>,
    /// Flow, scale, tank.
    pub witnesses: [Witness; 3],
    /// The witnesses as one mass.
    pub together: Option<Together>,
    /// What they say together.
    pub verdict: Verdict,
    /// How fast it moves.
    pub rate: Option<Estimate>,
    /// When it will be in.
    pub finish: Finish,
    /// How much room is left.
    pub margin: Margin,
    /// The trailer against its ceiling.
    pub pad: Pad,
    /// The tank that is filled.
    pub tank: Option<Tank>,
    /// Open alarms that are not shelved, the gravest first.
    pub alarms: Vec<Alarm>,
    /// Alarms that a person has shelved.
    pub shelves: Vec<Shelf>,
    /// Alarms that a person has taken out of service.
    pub out_of_service: Vec<OutOfService>,
    /// Alarms whose condition holds and that are suppressed by design, by their keys.
    pub suppressed: Vec<Suppressed>,
    /// Who is on duty.
    pub attendance: AttendanceState,
    /// How the recorder does.
    pub recorder: RecorderState,
    /// The last time nobody watched.
    pub blind: Option<Gap>,
    /// Other bays that fill our tanks, in the order of the settings.
    pub neighbours: Vec<NeighbourState>,
    /// The open delivery's checks, in order.
    pub checks: Checks,
    /// The steps of the open delivery that are signed, let go, or whose turn has come.
    pub steps: Vec<StepState>,
    /// Gas behind the last liquid; None where no gas pushes, or nothing is being unloaded.
    pub blow: Option<BlowState>,
}

/// An alarm whose condition holds and that is suppressed by design.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Suppressed {
    /// Which.
    pub key: AlarmKey,
    /// By what.
    pub by: SuppressedBy,
}

/// What suppresses an alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SuppressedBy {
    /// Gas stands in the line's density meter and no liquid flows.
    GasInLine,
    /// The site file, in this phase.
    SiteFile,
}

/// Who is on duty, and when they must say that they are there.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AttendanceState {
    /// Who; None: nobody.
    pub on_duty: Option<String>,
    /// By when; None outside a transfer, and where the site asks for none.
    pub due_at: Option<EngineTime>,
}

/// What another bay does to one of our tanks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NeighbourState {
    /// Index into the settings' neighbours.
    pub neighbour: u16,
    /// When its latest word was true; None: not heard since the segment began.
    pub heard_at: Option<EngineTime>,
    /// Its latest word is too old to go by.
    pub silent: bool,
    /// What it does with a load for that tank; idle: it has none.
    pub phase: Phase,
    /// How fast that comes in, kg/s.
    pub rate_kg_per_s: f64,
    /// What it has brought since our transfer started, kg; None outside one.
    pub brought_kg: Option<Estimate>,
    /// The most that its load may still bring, kg.
    pub rest_kg: f64,
}

/// What is going on at the bay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// No delivery is open.
    Idle,
    /// A delivery is open, nothing may move yet.
    Opened,
    /// Between the entries "transfer started" and "closed".
    Transfer,
    /// The leg is closed.
    Closed,
}

/// The open delivery as far as the frame shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct DeliveryState {
    /// Its number or name.
    pub id: String,
    /// Leg, from 1.
    pub leg: u8,
    /// Product.
    pub product: String,
    /// Whether somebody has read the product table's source.
    pub product_confirmed: bool,
    /// Planned amount, kg.
    pub planned_kg: f64,
    /// The larger of the ticket's corrected net and the planned amount, kg.
    pub loaded_kg: f64,
    /// When the transfer started.
    pub started: Option<EngineTime>,
    /// When the leg was closed.
    pub closed: Option<EngineTime>,
    /// Why it was rejected, where it was.
    pub rejected: Option<String>,
    /// The zero that a person gave the scale meanwhile.
    pub scale_zero: Option<ScaleZero>,
}

/// A zero that a person gave the scale during the transfer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScaleZero {
    /// When; the segment's begin where it was in another.
    pub at: EngineTime,
    /// Why.
    pub cause: ZeroCause,
    /// What it adds to what the scale says was received, kg.
    pub kg: f64,
}

/// A value and its standard uncertainty, in the unit the field's name says.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Estimate {
    /// Value.
    pub value: f64,
    /// Standard uncertainty (1 sigma).
    pub u: f64,
}

/// How a device has answered since the segment began.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeviceState {
    /// Index into the settings' devices.
    pub device: u16,
    /// Rounds answered.
    pub answered: u64,
    /// Rounds missed.
    pub missed: u64,
    /// How often for which reason; only those that happened.
    pub missed_for: Vec<(MissReason, u64)>,
    /// Connections made since the program started.
    pub connections: u32,
    /// Why the last round was missed and since when rounds have been; None while it answers.
    pub trouble: Option<Trouble>,
    /// First request to last reply of the last answered round, ns.
    pub latency_ns: u64,
    /// The longest of these.
    pub latency_worst_ns: u64,
    /// Due to first request of the last answered round, ns.
    pub lateness_ns: u64,
    /// The longest of these.
    pub lateness_worst_ns: u64,
    /// When its heartbeat register was last seen to change.
    pub heartbeat_at: Option<EngineTime>,
}

/// Why a device does not answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Trouble {
    /// Why the last round was missed.
    pub reason: MissReason,
    /// Since when rounds have been missed, for whatever reason.
    pub since: EngineTime,
}

/// What a signal says now.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Index into the settings' signals.
    pub signal: u16,
    /// Latest value, SI; 1 or 0 for a yes/no. With `Lost` it is the last one, never to be shown as current.
    pub value_si: Option<f64>,
    /// When that value was true (middle of request and reply).
    pub read_at: Option<EngineTime>,
    /// Whether it can be used.
    pub validity: Validity,
    /// What its device says of itself.
    pub status: Status,
    /// The quantity is at least this, SI (an instrument at its end of range).
    pub at_least_si: Option<f64>,
}

/// Whether a value can be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Validity {
    /// Nothing is known against it.
    Good,
    /// Usable with care; still counts for safety.
    Doubtful(Reason),
    /// Not used.
    Lost(Reason),
}

impl Validity {
    /// Not Lost.
    #[must_use]
    pub fn is_credible(self) -> bool {
        !matches!(self, Validity::Lost(_))
    }

    /// What stands on two things is as good as the worse of them; of two alike the first is said.
    #[must_use]
    pub fn and(self, other: Validity) -> Validity {
        match (self, other) {
            (Validity::Good, _) | (Validity::Doubtful(_), Validity::Lost(_)) => other,
            _ => self,
        }
    }
}

/// Why a value is doubtful or lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reason {
    /// Nothing has been read yet.
    NotYetRead,
    /// The bay has no such instrument.
    NotFitted,
    /// The last request had no usable answer.
    Missed(MissReason),
    /// Older than a period and a time-out.
    Stale,
    /// The device answered with this Modbus exception.
    DeviceException(u8),
    /// No finite number.
    NotANumber,
    /// Outside the plausible range.
    OutOfRange,
    /// At the instrument's end of range.
    Saturated,
    /// Has not moved while the mass did.
    Frozen,
    /// Nothing behind its link or of its transmitter has moved while the mass did: one cause for all of them.
    FrozenTogether,
    /// Its device's heartbeat has stopped: what it sends is old.
    HeartbeatStopped,
    /// The loop current says failure (NAMUR NE 43).
    FailureCurrent,
    /// The device says so of itself (NAMUR NE 107).
    DeviceSays(Status),
    /// A carry went through while it was read.
    Torn,
    /// A correction it needs is missing.
    MissingCorrection,
    /// It jumped as people on the deck or foam make it jump.
    Disturbed,
    /// It jumped so, was excused for a time, and has not come back.
    NotBack,
    /// Off its table.
    OffTheTable,
    /// No start reading was taken.
    NoStart,
    /// Another bay fills the tank, and nothing is heard of it.
    NeighbourNotHeard,
    /// Another bay fills the tank and has neither flow meter nor scale to say how much.
    NeighbourUnknown,
    /// Another bay fills the tank, and its flow meter and scale disagree.
    NeighbourAtOdds,
    /// In range, but not to be expected before anything moves; it looks like this slip.
    Unlikely(Slip),
    /// The total was reset or jumped during the transfer: what flowed meanwhile is estimated.
    TotalReset,
    /// The total has counted back.
    CountsBack,
    /// The trailer has moved off the scale.
    DrivenOff,
    /// The tank's first gauge is lost: the witness stands on another one.
    OtherGauge,
}

impl Reason {
    /// Lost because the value is an old one said again.
    #[must_use]
    pub fn is_repeat(self) -> bool {
        matches!(self, Reason::Frozen | Reason::FrozenTogether | Reason::HeartbeatStopped)
    }
}

/// What in a site file may be behind a reading that cannot be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Slip {
    /// Order of bytes and words, or the type.
    WordOrder,
    /// About one atmosphere off: gauge or absolute.
    Atmosphere,
    /// Off by this factor: unit or scale.
    Factor(u16),
    /// Degrees Fahrenheit for Celsius, or the other way.
    Fahrenheit,
    /// Pounds for kilograms, or the other way.
    Pound,
    /// Net for gross: a tared scale.
    Net,
    /// More or less than a trailer with this load weighs.
    NotTheLoad,
    /// Denser than the product of the papers.
    OtherDensity,
    /// It moves with something else: another signal's register.
    OtherSignal,
    /// The device has no such register: address, base or function.
    Register,
    /// The device does not know the function.
    Function,
    /// A total that counts faster than any plausible flow: unit or scale, or it was reset.
    TooFast,
    /// Another gauge of the tank says another level.
    GaugesDiffer,
}

/// Where a contribution to an uncertainty comes from. Sources are independent of each other; two witnesses
/// that share a source are correlated through it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// Gain of the flow meter.
    MeterGain,
    /// Zero of the flow meter.
    MeterZero,
    /// Noise of the flow meter.
    MeterNoise,
    /// Division and noise of the scale, both readings.
    ScaleReading,
    /// Span of the scale.
    ScaleSpan,
    /// Drift of the scale.
    ScaleDrift,
    /// Temperature of the pad gas.
    GasTemperature,
    /// Volume of the trailer above the liquid.
    GasVolume,
    /// Pad pressure.
    PadPressure,
    /// Volume of the line before the meter.
    LineUpstream,
    /// Volume of the line after the meter.
    LineDownstream,
    /// Density of the product.
    Density,
    /// Table of the tank.
    TankTable,
    /// Level readings.
    LevelReading,
    /// Age of the level reading.
    LevelLag,
    /// Draw-off.
    DrawOff,
    /// What moved while a signal was away.
    Gap,
    /// What another bay brought into the tank.
    Neighbour,
    /// Span of the level gauge.
    LevelSpan,
    /// Pressure in the tank's vapour space, under a hydrostatic gauge that nobody corrects for it.
    TankVapour,
    /// What the witnesses' readings were off by when the scale was given a new zero.
    NewZero,
    /// What flowed more slowly than the flow meter counts.
    LowFlow,
    /// The hose's push on the scale.
    HoseReaction,
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// Where it comes from.
    pub source: Source,
    /// Signed standard contribution, kg: sensitivity times standard uncertainty.
    pub kg: f64,
}

/// An independent estimate of the mass received in the tank.
#[derive(Debug, Clone, PartialEq)]
pub struct Witness {
    /// Which.
    pub id: WitnessId,
    /// Whether it can be used.
    pub validity: Validity,
    /// Received mass and standard uncertainty, kg. With `Lost`: its last value.
    pub received_kg: Option<Estimate>,
    /// Where the uncertainty comes from.
    pub budget: Vec<Contribution>,
}

/// The credible witnesses as one mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Together {
    /// Received mass and standard uncertainty, kg.
    pub received_kg: Estimate,
    /// Weight of each witness, 1; 0 for one that is not used.
    pub weights: [f64; 3],
    /// Weighted sum of squared disagreements.
    pub chi_square: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: u8,
}

/// What the witnesses say together.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// The word.
    pub word: VerdictWord,
    /// Since when it has been that word.
    pub since: EngineTime,
    /// Largest difference between two credible witnesses, rounded up to 1 kg.
    pub agree_within_kg: Option<f64>,
    /// Smallest constant leak on the trailer's side, begun 10 min ago, that would by now be found with
    /// probability 0.95, kg/min. None: no such leak would be seen.
    pub leak_below_trailer_kg_per_min: Option<f64>,
    /// The same on the tank's side.
    pub leak_below_tank_kg_per_min: Option<f64>,
    /// Mass unaccounted for and its standard uncertainty, kg (positive: left the trailer, not received).
    pub missing_kg: Option<Estimate>,
    /// How that grows, where it does; with the meter alone under suspicion, how what it shows goes off.
    pub growing: Option<Growing>,
    /// Witnesses that cannot be ruled out as the odd one; flow, scale, tank.
    pub suspects: [bool; 3],
    /// Everything that the totals cannot tell apart, the most dangerous first.
    pub explanations: Vec<Explanation>,
}

/// A difference that grows with the time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Growing {
    /// Since when, as far as can be told.
    pub since: EngineTime,
    /// How fast and its standard uncertainty, kg/s.
    pub kg_per_s: Estimate,
}

/// The verdict in one word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VerdictWord {
    /// Too little has moved for a dead instrument to have shown.
    NotYetProven,
    /// The instruments agree.
    Agree,
    /// One witness, or the side that it alone sees, is off.
    Disagree,
    /// Two or more may be the odd one.
    CannotTellWhich,
    /// Two follow each other more closely than their noise allows.
    NotIndependent,
    /// One witness is left.
    OneOnly,
    /// No witness.
    None,
}

/// What may be behind a disagreement. Declared in the order of danger: the first comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Explanation {
    /// Product leaves between trailer and meter.
    LeakBeforeMeter,
    /// Product leaves between meter and tank.
    LeakAfterMeter,
    /// The other bay's product leaves between its meter and the tank that both fill.
    NeighbourLeak,
    /// Product goes to another tank.
    OtherTank,
    /// More comes into the tank than from this trailer.
    UnknownInflow,
    /// The gauge is stuck or drifts low.
    GaugeLow,
    /// The scale drifts light.
    ScaleLight,
    /// The meter reads low.
    MeterLow,
    /// Something is drawn off the tank that nobody declared.
    UnknownDrawOff,
    /// The tank's table gives too little.
    TableLow,
    /// The density is not the one entered.
    DensityOff,
    /// The gauge reads high.
    GaugeHigh,
    /// The scale drifts heavy.
    ScaleHeavy,
    /// The meter reads high.
    MeterHigh,
    /// The other bay's instruments say less than it brings, or more.
    NeighbourOff,
}

/// When the load will be in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Finish {
    /// The planned amount is reached.
    pub planned: Option<Moment>,
    /// First gas at the trailer's outlet.
    pub first_gas: Option<Moment>,
    /// The tank's high-high level is reached; None while the load does not reach it.
    pub level: Option<Moment>,
    /// Earliest credible first gas or level, less the response time.
    pub be_at_valve_by: Option<EngineTime>,
}

/// A moment to come, with its quantiles.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    /// 5 % quantile by the combined mass.
    pub q05: EngineTime,
    /// Median.
    pub q50: EngineTime,
    /// 95 % quantile.
    pub q95: EngineTime,
    /// Smallest 5 % quantile over the credible witnesses.
    pub earliest: EngineTime,
    /// Whose it is.
    pub earliest_by: WitnessId,
}

/// How much room is left below a level when all of the load is in.
#[derive(Debug, Clone, PartialEq)]
pub enum Margin {
    /// Nothing can be said.
    Unknown,
    /// Below high-high.
    Known {
        /// The margin, kg; negative: the load does not fit.
        kg: f64,
        /// Whose contents it is measured from.
        pessimist: Pessimist,
        /// Whose remaining load it is measured with: the witness that says least; none before a start.
        rest_by: Option<WitnessId>,
        /// Its parts, kg, each as it is subtracted.
        parts: MarginParts,
        /// The margin each credible witness alone would give, kg; flow, scale, tank.
        by_witness_kg: [Option<f64>; 3],
    },
}

/// Whose contents are the largest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pessimist {
    /// The tank's gauge read absolutely; index of the signal.
    Gauge(u16),
    /// Opening contents and what this witness received.
    Witness(WitnessId),
    /// The independent high-level switch has tripped: it overrules them all.
    LevelSwitch,
    /// A person's dip before the load came in.
    HandDip,
}

/// The parts of the margin, kg.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarginParts {
    /// Mass at high-high.
    pub at_high_high_kg: f64,
    /// Largest credible contents.
    pub contents_kg: f64,
    /// Largest credible rest of the load.
    pub rest_kg: f64,
    /// What runs on while the valve closes.
    pub run_on_kg: f64,
    /// Contents of the line.
    pub line_kg: f64,
    /// What is pushed in when the hose is blown clear.
    pub blow_clear_kg: f64,
    /// 2.33 standard uncertainties.
    pub allowance_kg: f64,
    /// What the gauge may be off at opening.
    pub opening_kg: f64,
    /// What other bays may still bring into the tank.
    pub neighbour_kg: f64,
}

/// The trailer's pressure against its ceiling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pad {
    /// Pressure on the trailer, Pa gauge; None when it is not known.
    pub pressure_pa_gauge: Option<f64>,
    /// The lowest of all limits; None while one that must be typed in is not set.
    pub ceiling_pa_gauge: Option<f64>,
    /// Which limit that is.
    pub ceiling_by: Option<CeilingBy>,
    /// The trailer's MAWP, Pa gauge.
    pub mawp_pa_gauge: Option<f64>,
    /// Where its relief valve starts to discharge, Pa gauge.
    pub relief_from_pa_gauge: Option<f64>,
    /// Upper end of that window, Pa gauge.
    pub relief_to_pa_gauge: Option<f64>,
    /// Trend over the last minute, Pa/s.
    pub slope_pa_per_s: Option<f64>,
    /// At this trend the ceiling is reached in this time, s; None when it does not rise.
    pub to_ceiling_s: Option<f64>,
}

/// Which limit the ceiling is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CeilingBy {
    /// Site maximum.
    Site,
    /// The trailer's MAWP.
    Mawp,
    /// The hose.
    Hose,
    /// The line.
    Line,
    /// The connection.
    Connection,
}

/// The tank that is filled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tank {
    /// Index into the settings' tanks.
    pub tank: u16,
    /// Level by gauge, m.
    pub level_m: Option<f64>,
    /// Largest credible contents, kg.
    pub contents_kg: Option<f64>,
    /// Contents at the maximum working level, kg.
    pub working_kg: f64,
    /// Contents at high-high, kg.
    pub high_high_kg: f64,
    /// Contents at critical high, kg.
    pub critical_kg: f64,
    /// What was known of its level before the load came in.
    pub opening: Opening,
}

/// Whether anything but its own gauge says where the tank stood before the load came in.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Opening {
    /// What says the same as the gauge; None: the room is not proven.
    pub proven_by: Option<CheckedBy>,
    /// What says otherwise.
    pub against: Option<CheckedBy>,
    /// What the level may be off, m (standard uncertainty).
    pub doubt_m: f64,
}

/// What an opening level can be held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CheckedBy {
    /// Another gauge; index of the signal.
    Gauge(u16),
    /// The level at the last closing, itself proven, less what was measured to be drawn off since.
    LastClosing,
    /// A person's dip.
    HandDip,
}

/// An alarm that a person has shelved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shelf {
    /// Which.
    pub key: AlarmKey,
    /// When it is back.
    pub until: EngineTime,
}

/// An alarm that is open: its condition holds, or nobody has seen it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Alarm {
    /// Which.
    pub key: AlarmKey,
    /// Whether the condition holds now.
    pub condition: Condition,
    /// Whether somebody has seen it.
    pub seen: bool,
    /// Since when.
    pub since: WallTime,
    /// How grave it is.
    pub priority: Priority,
    /// It came while no other was open, prompts apart.
    pub first: bool,
}

/// Answer of a condition. Unknown is not normal: it never clears an alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Condition {
    /// It holds.
    True,
    /// It does not.
    False,
    /// Nobody can tell.
    Unknown,
}

/// Gravity of an alarm: consequence and time to respond.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Priority {
    /// Act now.
    High,
    /// Act soon.
    Medium,
    /// Know it.
    Low,
}
