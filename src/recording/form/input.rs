//! Forms of the inputs and of what crosses from segment to segment.

use super::mirror;
use crate::engine::checks::CheckId;
use crate::engine::frame::{Contribution, Estimate, Opening, Phase};
use crate::engine::input::{
    AlarmId, AlarmKey, Block, BroughtSince, Carried, CarriedAlarm, CarriedAttendance, CarriedCount, CarriedDelivery,
    CarriedHose, CarriedNeighbour, CarriedShelf, CarriedZero, Closing, EnteredCheck, Entry, Event, Gap, GapClock,
    Input, Measured, MissReason, Missed, Neighbour, NeighbourLoad, OutOfService, Poll, RecorderState, SettingsText,
    SignalValue, Status, What, ZeroCause,
};
use crate::engine::reading::StartReading;
use crate::engine::settings::{DeliverySetup, Settings};
use crate::engine::steps::{Right, Side, StepMark};
use crate::time::{EngineTime, WallTime};

mirror! {
    struct InputForm of Input { at: EngineTime = "at_ns", event: Event }

    enum EventForm of Event {
        Poll(Poll),
        Missed(Missed),
        Tick,
        Entry(Entry),
        Settings(Box<SettingsText>),
        Recorder(RecorderState),
        Clock(WallTime) = "clock_unix_ns",
        Resumed(Gap),
        Neighbour(Neighbour),
    }

    struct SettingsTextForm of SettingsText { settings: Settings, text: String, who: String, reason: String }

    struct PollForm of Poll {
        device: u16,
        due: EngineTime = "due_ns",
        requested: EngineTime = "requested_ns",
        replied: EngineTime = "replied_ns",
        connections: u32,
        heartbeat: Option<u64>,
        blocks: Vec<Block>,
        values: Vec<SignalValue>,
    }

    struct BlockForm of Block { function: u8, address: u16, words: Result<Vec<u16>, u8> }

    struct SignalValueForm of SignalValue { signal: u16, value: Measured, status: Status }

    enum StatusForm of Status { Fair, MaintenanceRequired, OutOfSpecification, FunctionCheck, Failure }

    enum MeasuredForm of Measured {
        Number(f64) = "number_si",
        Flag(bool),
        Exception(u8),
        NotANumber,
        Current { milliampere: f64, si: f64 },
        Torn,
    }

    struct MissedForm of Missed { device: u16, requested: EngineTime = "requested_ns", reason: MissReason }

    enum MissReasonForm of MissReason {
        TimeOut,
        NoConnection,
        ConnectionLost,
        WrongLength,
        Malformed,
        QueueFull,
        WrongTransaction,
        WrongUnit,
        WrongFunction,
        BadChecksum,
        Unsettled,
        NameUnknown,
        PortAbsent,
        PortForbidden,
        PortTaken,
        NotSerial,
    }

    struct EntryForm of Entry { who: String, leg: u8, what: What }

    enum WhatForm of What {
        DeliveryOpened(Box<DeliverySetup>),
        TransferStarted,
        Closed,
        Seen(AlarmKey),
        Shelved { key: AlarmKey, for_s: f64 },
        Unshelved(AlarmKey),
        Dipped { level_m: f64 },
        ScaleZeroed(ZeroCause),
        CheckEntered { check: CheckId, met: bool, note: String },
        Rejected { reason: String },
        Attended { screen: String },
        HandedOver { out: Option<String>, to: String, state: String },
        TakenOut { key: AlarmKey, reason: String },
        PutBack(AlarmKey),
        StepSigned { step: String, side: Side, name: String, right: Right, note: String },
        StepSkipped { step: String, right: Right, reason: String },
        BlowBegan,
        BlowEnded,
    }

    struct EnteredCheckForm of EnteredCheck {
        check: CheckId,
        met: bool,
        who: String,
        at: WallTime = "at_unix_ns",
        note: String,
    }

    enum ZeroCauseForm of ZeroCause { PeopleOrTools, HoseOrLine, RainOrIce, Tractor, ScaleItself }

    struct AlarmKeyForm of AlarmKey { id: AlarmId, subject: u16 }

    enum AlarmIdForm of AlarmId {
        LevelSwitchTripped,
        LevelHighHigh,
        HighLevelProjected,
        PadNearCeiling,
        WitnessesDisagree,
        MovementOutsideTransfer,
        SignalLost,
        OneWitnessLeft,
        NoWitness,
        RecorderTrouble,
        EstimatesRestarted,
        ReadingUnlikely,
        WrongProduct,
        PossibleReaction,
        PadAboveMawp,
        PadInReliefWindow,
        PadBelowTank,
        ReverseFlow,
        ShutoffBypassed,
        TruckGone,
        BeAtValve,
        AttendanceDue,
        AttendanceOverdue,
        NobodyAttends,
        LevelWorking,
        LevelCritical,
        LevelSoon,
        NotIndependent,
        PadRising,
        PadAboveSupply,
        FlowStopped,
        OtherTankRises,
        LoadTemperatureOff,
        DewPointHigh,
        FirstGasDue,
        TankPressureHigh,
        PadAtCeiling,
        PadFalling,
        PadBelowBand,
        DrawOffChanged,
        ShutoffUnknown,
        FlowAbovePressure,
        FlowBelowPressure,
        NearFreezing,
        PadNotKnown,
        PadCreeps,
    }

    enum RecorderStateForm of RecorderState { Durable, Waiting { bytes: u64 }, Overflowed }

    struct GapForm of Gap { from: EngineTime = "from_ns", to: EngineTime = "to_ns", known_by: GapClock }

    enum GapClockForm of GapClock { SameBoot, WallClock }

    struct NeighbourForm of Neighbour { neighbour: u16, at: EngineTime = "at_ns", load: Option<NeighbourLoad> }

    struct NeighbourLoadForm of NeighbourLoad {
        delivery: String,
        leg: u8,
        phase: Phase,
        received_kg: Option<Estimate>,
        white_kg: f64,
        at_odds: bool,
        rate_kg_per_s: f64,
        fastest_kg_per_s: f64,
        most_kg: Estimate,
        least_kg: Estimate,
        rest_kg: Estimate,
        density_kg_per_m3: Option<f64>,
    }

    struct CarriedForm of Carried {
        alarms: Vec<CarriedAlarm>,
        closings: Vec<Option<Closing>>,
        latest: Vec<Entry>,
        delivery: Option<CarriedDelivery>,
        restarted: bool,
        shelves: Vec<CarriedShelf>,
        out_of_service: Vec<OutOfService>,
        attendance: CarriedAttendance,
    }

    struct CarriedAttendanceForm of CarriedAttendance { on_duty: Option<String>, waited_s: f64 }

    struct OutOfServiceForm of OutOfService {
        key: AlarmKey,
        who: String,
        since: WallTime = "since_unix_ns",
        reason: String,
    }

    struct ClosingForm of Closing { level_m: f64, u_m: f64, used_kg: f64, gap_kg: f64 }

    struct CarriedShelfForm of CarriedShelf { key: AlarmKey, left_s: f64 }

    struct CarriedAlarmForm of CarriedAlarm { key: AlarmKey, since: WallTime = "since_unix_ns", seen: bool, first: bool }

    struct CarriedDeliveryForm of CarriedDelivery {
        setup: DeliverySetup,
        leg: u8,
        transferring: bool,
        elapsed_s: f64,
        starts: Vec<Option<StartReading>>,
        received_kg: [Option<(f64, f64)>; 3],
        counted: CarriedCount,
        slow_s: f64,
        hose: Option<CarriedHose>,
        zero: Option<CarriedZero>,
        dip_m: Option<f64>,
        opening: Opening,
        neighbours: Vec<CarriedNeighbour>,
        entered: Vec<EnteredCheck>,
        marks: Vec<StepMark>,
        blows: u16,
    }

    struct StartReadingForm of StartReading { value: f64 = "value_si", count: u8, over_s: f64, age_s: f64 }

    struct CarriedHoseForm of CarriedHose { kg_per_pa: f64, u_kg_per_pa: f64 }

    struct CarriedZeroForm of CarriedZero { cause: ZeroCause, kg: f64, budget: Vec<Contribution> }

    struct CarriedCountForm of CarriedCount {
        last: Option<f64> = "last_si",
        offset: f64 = "offset_si",
        gap_u: f64 = "gap_u_si",
        reset: bool,
        most: f64 = "most_si",
    }

    struct CarriedNeighbourForm of CarriedNeighbour { load: Option<NeighbourLoad>, since: Option<BroughtSince> }

    struct BroughtSinceForm of BroughtSince {
        start_kg: Option<Estimate>,
        start_least_kg: f64,
        earlier_kg: Estimate,
        earlier_most_kg: f64,
    }
}
