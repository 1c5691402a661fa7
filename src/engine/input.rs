//! The one door: what can happen to a bay. Whatever steers a decision comes through here, carries engine
//! time and is recorded before it is stepped.

use super::checks::CheckId;
use super::frame::{Contribution, Estimate, Opening, Phase};
use super::reading::StartReading;
use super::settings::{DeliverySetup, Settings};
use super::steps::{Right, Side, StepMark};
use crate::time::{EngineTime, WallTime};

/// One thing that happened.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// When the live loop took it up; never earlier than the input before.
    pub at: EngineTime,
    /// What happened.
    pub event: Event,
}

/// Everything that can happen.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A device answered.
    Poll(Poll),
    /// A device did not answer, or not with anything usable.
    Missed(Missed),
    /// One second has gone by.
    Tick,
    /// A person did or said something.
    Entry(Entry),
    /// The bay's settings were replaced.
    Settings(Box<SettingsText>),
    /// The recorder's state changed.
    Recorder(RecorderState),
    /// What the wall clock says now.
    Clock(WallTime),
    /// The program was away and is back.
    Resumed(Gap),
    /// Another bay fills one of our tanks.
    Neighbour(Neighbour),
}

/// New settings with the text they were built from.
#[derive(Debug, Clone, PartialEq)]
pub struct SettingsText {
    /// The built settings.
    pub settings: Settings,
    /// The text they were built from: the site file, or the papers that name another line.
    pub text: String,
    /// Who changed them.
    pub who: String,
    /// For what reason.
    pub reason: String,
}

/// The answer of one device to one round of requests.
#[derive(Debug, Clone, PartialEq)]
pub struct Poll {
    /// Index into [`Settings::devices`].
    pub device: u16,
    /// When the round was due.
    pub due: EngineTime,
    /// When the first request left.
    pub requested: EngineTime,
    /// When the last reply was in.
    pub replied: EngineTime,
    /// Connections made to it since the program started, this one included.
    pub connections: u32,
    /// What its heartbeat register held, where it has one.
    pub heartbeat: Option<u64>,
    /// The words as they came.
    pub blocks: Vec<Block>,
    /// What this bay's registers made of them.
    pub values: Vec<SignalValue>,
}

impl Poll {
    /// One that was due, asked and answered at one moment, with nothing against its values and its words left out:
    /// for those who feed a monitor without a wire.
    #[must_use]
    pub fn at_once(device: u16, at: EngineTime, values: impl IntoIterator<Item = (u16, Measured)>) -> Poll {
        let fair = |(signal, value)| SignalValue { signal, value, status: Status::Fair };
        let values = values.into_iter().map(fair).collect();
        let (due, requested, replied, blocks) = (at, at, at, Vec::new());
        Poll { device, due, requested, replied, connections: 1, heartbeat: None, blocks, values }
    }
}

/// One block of registers as it came off the wire.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Block {
    /// Modbus function, 1 to 4.
    pub function: u8,
    /// First address, from 0.
    pub address: u16,
    /// The words, or the exception code the device answered with.
    pub words: Result<Vec<u16>, u8>,
}

/// A decoded value of one signal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SignalValue {
    /// Index into [`Settings::signals`].
    pub signal: u16,
    /// The value in SI, or why there is none.
    pub value: Measured,
    /// What the device says of itself and this value.
    pub status: Status,
}

/// What a device says of itself, after the classes of NAMUR NE 107 (2006-06-12).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Status {
    /// Nothing against the value, or the device has no status register.
    #[default]
    Fair,
    /// Maintenance required: the value holds.
    MaintenanceRequired,
    /// Out of specification: the value is uncertain.
    OutOfSpecification,
    /// Function check: the value does not hold for now.
    FunctionCheck,
    /// Failure: the value does not hold.
    Failure,
}

/// What a register gave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Measured {
    /// A finite number in SI.
    Number(f64),
    /// A loop current and the value in SI that it stands for.
    Current {
        /// The current, mA.
        milliampere: f64,
        /// What it stands for.
        si: f64,
    },
    /// A yes/no.
    Flag(bool),
    /// The device answered with this exception code.
    Exception(u8),
    /// The words are no finite number.
    NotANumber,
    /// The value stands in two places, and a carry went from one to the other while they were read.
    Torn,
}

/// A request without a usable answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Missed {
    /// Index into [`Settings::devices`].
    pub device: u16,
    /// When the request was due or left.
    pub requested: EngineTime,
    /// Why.
    pub reason: MissReason,
}

/// Why a request had no usable answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MissReason {
    /// No answer within the time-out.
    TimeOut,
    /// No connection: refused, unreachable or not made in time.
    NoConnection,
    /// The connection broke.
    ConnectionLost,
    /// The answer had the wrong number of registers.
    WrongLength,
    /// The answer was no well-formed Modbus.
    Malformed,
    /// The bay's queue was full.
    QueueFull,
    /// The answer carried another request's transaction number.
    WrongTransaction,
    /// The answer came from another unit.
    WrongUnit,
    /// The answer was one to another function.
    WrongFunction,
    /// The frame's checksum does not fit its bytes.
    BadChecksum,
    /// On a line without transaction numbers an earlier answer may still be on its way: nothing was asked.
    Unsettled,
    /// The host's name is not known.
    NameUnknown,
    /// There is no such serial port.
    PortAbsent,
    /// The serial port may not be opened by this user.
    PortForbidden,
    /// The serial port is held by another program.
    PortTaken,
    /// What the path names is no serial port, or one that cannot be set so.
    NotSerial,
}

/// What a person did or said.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Who; a name or "bay screen".
    pub who: String,
    /// Leg of the delivery it is about, from 1.
    pub leg: u8,
    /// What.
    pub what: What,
}

/// The acts a person can enter.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// A delivery was opened with these papers.
    DeliveryOpened(Box<DeliverySetup>),
    /// The transfer started.
    TransferStarted,
    /// The leg is closed.
    Closed,
    /// Somebody dipped the tank before the load came in, where the site allows it.
    Dipped {
        /// Level above the tank's datum, m.
        level_m: f64,
    },
    /// Somebody knows why the scale is off by a step, and that it is no product: it counts anew from what the others say.
    ScaleZeroed(ZeroCause),
    /// An alarm was seen.
    Seen(AlarmKey),
    /// An open alarm is shelved: it is not called out again before that time is over.
    Shelved {
        /// Which.
        key: AlarmKey,
        /// For how long, s; 0: nobody said.
        for_s: f64,
    },
    /// A shelved alarm is taken back.
    Unshelved(AlarmKey),
    /// A check that only a person can make was made.
    CheckEntered {
        /// Which.
        check: CheckId,
        /// What was asked was found.
        met: bool,
        /// What they wrote with it.
        note: String,
    },
    /// The delivery is rejected before anything has moved.
    Rejected {
        /// Why.
        reason: String,
    },
    /// The one on duty is there.
    Attended {
        /// The bay's enrolled screen, at which it was said.
        screen: String,
    },
    /// Another one is on duty from here on. It is no attendance.
    HandedOver {
        /// Who was on duty; None: nobody.
        out: Option<String>,
        /// Who is now.
        to: String,
        /// The state of the bay as it was read back.
        state: String,
    },
    /// An alarm is taken out of service: it is not called out until it is put back.
    TakenOut {
        /// Which.
        key: AlarmKey,
        /// Why.
        reason: String,
    },
    /// An alarm is put back in service.
    PutBack(AlarmKey),
    /// The hose begins to be blown clear.
    BlowBegan,
    /// That is over: what follows is shut.
    BlowEnded,
    /// One side signed a step.
    StepSigned {
        /// Its name.
        step: String,
        /// For whom.
        side: Side,
        /// Who signed; the entry itself names whose sign-in it was.
        name: String,
        /// What the one who is signed in may do.
        right: Right,
        /// What they wrote with it.
        note: String,
    },
    /// A step is let go unsigned.
    StepSkipped {
        /// Its name.
        step: String,
        /// What the one who is signed in may do.
        right: Right,
        /// Why.
        reason: String,
    },
}

/// A check as a person entered it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EnteredCheck {
    /// Which.
    pub check: CheckId,
    /// What was asked was found.
    pub met: bool,
    /// Who entered it.
    pub who: String,
    /// When.
    pub at: WallTime,
    /// What they wrote with it.
    pub note: String,
}

/// What makes a scale be off by a step and is no product.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ZeroCause {
    /// People or tools are on the deck who were not there at the start, or are gone from it.
    PeopleOrTools,
    /// Hose or line was laid on the trailer, or taken off it.
    HoseOrLine,
    /// Rain, snow or ice came or went.
    RainOrIce,
    /// The tractor was coupled or uncoupled.
    Tractor,
    /// Somebody set the scale's own zero.
    ScaleItself,
}

/// Which alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct AlarmKey {
    /// Entry of the catalogue.
    pub id: AlarmId,
    /// Index of the signal or tank it is about; 0 where there is only one.
    pub subject: u16,
}

/// Entries of the alarm catalogue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum AlarmId {
    /// The independent high-level switch has tripped; subject: tank.
    LevelSwitchTripped,
    /// A credible gauge stands at or above high-high; subject: tank.
    LevelHighHigh,
    /// The load will pass high-high; subject: tank.
    HighLevelProjected,
    /// The pad pressure is near or above its ceiling.
    PadNearCeiling,
    /// The witnesses disagree.
    WitnessesDisagree,
    /// Liquid moves while no transfer is on.
    MovementOutsideTransfer,
    /// A signal is lost; subject: signal.
    SignalLost,
    /// One witness is left.
    OneWitnessLeft,
    /// No witness is left.
    NoWitness,
    /// The recorder cannot write.
    RecorderTrouble,
    /// Estimates were restarted after a fault of our own.
    EstimatesRestarted,
    /// A signal says before the transfer what cannot be; subject: signal.
    ReadingUnlikely,
    /// The line's density is not that of the papers.
    WrongProduct,
    /// The tank is warmer than what was in it and what comes in; subject: tank.
    PossibleReaction,
    /// The pad pressure is above the plate's MAWP.
    PadAboveMawp,
    /// The pad pressure is where the trailer's relief valve may open.
    PadInReliefWindow,
    /// The pad pressure is below the tank's.
    PadBelowTank,
    /// Liquid goes backwards through the meter.
    ReverseFlow,
    /// The shut-off is bypassed.
    ShutoffBypassed,
    /// The trailer has moved off the scale.
    TruckGone,
    /// Time to be at the valve: a prompt of every delivery.
    BeAtValve,
    /// Time to say that somebody is in attendance: a prompt of every delivery.
    AttendanceDue,
    /// Nobody has said so in a response time.
    AttendanceOverdue,
    /// Nobody has said so in two.
    NobodyAttends,
    /// A credible gauge stands at or above the maximum working level; subject: tank.
    LevelWorking,
    /// A credible gauge stands at or above the critical level; subject: tank.
    LevelCritical,
    /// High-high is less than one response time away; subject: tank.
    LevelSoon,
    /// Two witnesses are not independent.
    NotIndependent,
    /// The pad pressure is at its ceiling within one response time.
    PadRising,
    /// The pad pressure is above the gas supply's.
    PadAboveSupply,
    /// The flow has stopped while much of the load is on the trailer.
    FlowStopped,
    /// A tank that the load does not go to rises; subject: tank.
    OtherTankRises,
    /// The load is colder or warmer than its tank takes; subject: tank.
    LoadTemperatureOff,
    /// The pad gas is too moist.
    DewPointHigh,
    /// The earliest credible first gas has come: a prompt of every delivery.
    FirstGasDue,
    /// The tank's pressure is near its own limit or above; subject: tank.
    TankPressureHigh,
    /// The pad pressure is at its ceiling or above.
    PadAtCeiling,
    /// The pad pressure falls, and is at the tank's within one response time.
    PadFalling,
    /// The pad pressure is below the least that the site unloads with.
    PadBelowBand,
    /// Another amount is drawn off than when the transfer started.
    DrawOffChanged,
    /// Nobody can tell whether the shut-off is bypassed.
    ShutoffUnknown,
    /// More comes through the meter than the pressure drives.
    FlowAbovePressure,
    /// Less comes through the meter than the pressure drives.
    FlowBelowPressure,
    /// What is in the tank is colder than the coldest load that it takes; subject: tank.
    NearFreezing,
    /// Nobody measures the pressure on the trailer itself: a prompt of every delivery there.
    PadNotKnown,
    /// The pad pressure rises by more than a regulator wanders.
    PadCreeps,
}

/// How the recorder does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RecorderState {
    /// Everything is on disk.
    #[default]
    Durable,
    /// The disk is away; inputs wait in memory.
    Waiting {
        /// How many bytes wait.
        bytes: u64,
    },
    /// The memory was full; the segment ended.
    Overflowed,
}

/// How long the program was away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// Last moment before.
    pub from: EngineTime,
    /// First moment after.
    pub to: EngineTime,
    /// How its length is known.
    pub known_by: GapClock,
}

/// How the length of a gap is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GapClock {
    /// The same boot: by the clock that counts suspension.
    SameBoot,
    /// Another boot: by the wall clock, which somebody may have set.
    WallClock,
}

/// What another bay says about a tank that both fill.
#[derive(Debug, Clone, PartialEq)]
pub struct Neighbour {
    /// Index into [`Settings::neighbours`].
    pub neighbour: u16,
    /// When this was so, by this bay's clock.
    pub at: EngineTime,
    /// Its load that goes into the shared tank, closed or not; None: it has none.
    pub load: Option<NeighbourLoad>,
}

/// A load that another bay brings into a shared tank, by that bay.
#[derive(Debug, Clone, PartialEq)]
pub struct NeighbourLoad {
    /// Number or name of the delivery.
    pub delivery: String,
    /// Its leg, from 1.
    pub leg: u8,
    /// What is going on at that bay; never idle.
    pub phase: Phase,
    /// Received since that bay's start by its own flow meter and scale, kg. None: neither is credible. Its tank
    /// witness has no part in it: the shared gauge cannot bear witness twice.
    pub received_kg: Option<Estimate>,
    /// The part of that uncertainty that is new at every tick, kg.
    pub white_kg: f64,
    /// Its flow meter and scale disagree; the uncertainty then spans both.
    pub at_odds: bool,
    /// How fast it comes in, kg/s; 0 while nothing moves.
    pub rate_kg_per_s: f64,
    /// The fastest any of its credible witnesses says, kg/s.
    pub fastest_kg_per_s: f64,
    /// The largest mass that any of its credible witnesses says is in, kg.
    pub most_kg: Estimate,
    /// The smallest, kg.
    pub least_kg: Estimate,
    /// The most that its load may still bring, kg: loaded less the smallest, what runs on, line, blow-clear.
    pub rest_kg: Estimate,
    /// Density of what it brings, kg/m3; None where that is off its table.
    pub density_kg_per_m3: Option<f64>,
}

/// What crosses from one segment of a recording to the next; nothing else does.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Carried {
    /// Alarms that were open.
    pub alarms: Vec<CarriedAlarm>,
    /// Where each tank stood at its last closing, where that was proven.
    pub closings: Vec<Option<Closing>>,
    /// The latest entries, newest last: who and what, in words' codes.
    pub latest: Vec<Entry>,
    /// The delivery that was open, where the program or the disk ended a segment in its midst.
    pub delivery: Option<CarriedDelivery>,
    /// A fault of our own ended the segment before.
    pub restarted: bool,
    /// Alarms that were shelved.
    pub shelves: Vec<CarriedShelf>,
    /// Alarms that were out of service.
    pub out_of_service: Vec<OutOfService>,
    /// Who was on duty.
    pub attendance: CarriedAttendance,
}

/// Who is on duty as it crosses.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CarriedAttendance {
    /// Who; None: nobody.
    pub on_duty: Option<String>,
    /// How long nobody had said that they were there, s.
    pub waited_s: f64,
}

/// An alarm that a person has taken out of service.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutOfService {
    /// Which.
    pub key: AlarmKey,
    /// Who did.
    pub who: String,
    /// When.
    pub since: WallTime,
    /// Why.
    pub reason: String,
}

/// Where a tank stood when its last load was in, and what has been drawn off since.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Closing {
    /// Level by its gauge, m.
    pub level_m: f64,
    /// Its standard uncertainty, m.
    pub u_m: f64,
    /// Drawn off since, kg.
    pub used_kg: f64,
    /// The part of it that bridges gaps, kg.
    pub gap_kg: f64,
}

/// A shelved alarm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CarriedShelf {
    /// Which.
    pub key: AlarmKey,
    /// How long it would have stayed there, s.
    pub left_s: f64,
}

/// An open alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CarriedAlarm {
    /// Which.
    pub key: AlarmKey,
    /// Since when.
    pub since: WallTime,
    /// Somebody has seen it.
    pub seen: bool,
    /// It came while no other one was open.
    pub first: bool,
}

/// A delivery in its midst.
#[derive(Debug, Clone, PartialEq)]
pub struct CarriedDelivery {
    /// Its papers.
    pub setup: DeliverySetup,
    /// Leg, from 1.
    pub leg: u8,
    /// The transfer was on.
    pub transferring: bool,
    /// How long the transfer had lasted, s.
    pub elapsed_s: f64,
    /// Each signal's start reading, in the order of the settings.
    pub starts: Vec<Option<StartReading>>,
    /// Each witness's received mass and standard uncertainty at the last step, kg: flow, scale, tank.
    pub received_kg: [Option<(f64, f64)>; 3],
    /// What the totalizer has done since the start.
    pub counted: CarriedCount,
    /// For how long the flow may have been too slow for the meter, s.
    pub slow_s: f64,
    /// What the hose was found to do to the scale while the pad was brought up.
    pub hose: Option<CarriedHose>,
    /// The zero that a person gave the scale.
    pub zero: Option<CarriedZero>,
    /// What a person's dip said, m.
    pub dip_m: Option<f64>,
    /// What was known of the tank's level before the load came in.
    pub opening: Opening,
    /// What each neighbour has brought, in the order of the settings.
    pub neighbours: Vec<CarriedNeighbour>,
    /// Checks that people have entered.
    pub entered: Vec<EnteredCheck>,
    /// Steps that people have signed or let go.
    pub marks: Vec<StepMark>,
    /// How often the hose was blown clear.
    pub blows: u16,
}

/// A totalizer in the midst of a transfer, in its SI unit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CarriedCount {
    /// Its last reading that was taken.
    pub last: Option<f64>,
    /// What its rolling over, being reset or jumping has taken off the plain difference.
    pub offset: f64,
    /// Standard uncertainty of what flowed meanwhile.
    pub gap_u: f64,
    /// It was reset or it jumped.
    pub reset: bool,
    /// The most that it had counted.
    pub most: f64,
}

/// What a hose under pressure does to the scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CarriedHose {
    /// kg that the scale shows more for each Pa of pad pressure.
    pub kg_per_pa: f64,
    /// Its standard uncertainty.
    pub u_kg_per_pa: f64,
}

/// A new zero of the scale.
#[derive(Debug, Clone, PartialEq)]
pub struct CarriedZero {
    /// Why.
    pub cause: ZeroCause,
    /// What it adds to what the scale says was received, kg.
    pub kg: f64,
    /// What that adds to the scale's errors, by source: so what it shares with the others is known.
    pub budget: Vec<Contribution>,
}

/// A neighbour in the midst of a delivery of ours.
#[derive(Debug, Clone, PartialEq)]
pub struct CarriedNeighbour {
    /// Its load when it was last heard.
    pub load: Option<NeighbourLoad>,
    /// What its loads have brought since our transfer started; None while none has.
    pub since: Option<BroughtSince>,
}

/// What a neighbour's loads are counted from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BroughtSince {
    /// What its present load had brought when our start reading was true, kg; None: not known, it was never heard.
    pub start_kg: Option<Estimate>,
    /// The least its witnesses said then, kg.
    pub start_least_kg: f64,
    /// What loads of it that are over brought since then, kg.
    pub earlier_kg: Estimate,
    /// The most that their witnesses said, kg.
    pub earlier_most_kg: f64,
}
