//! Forms of the frame. Their names are those of the JSON at the page's address and of `replay --json`.

use super::mirror;
use crate::engine::blow::BlowState;
use crate::engine::checks::Checks;
use crate::engine::frame::{
    Alarm, AttendanceState, CeilingBy, CheckedBy, Condition, Contribution, DeliveryState, DeviceState, Estimate,
    Explanation, Finish, Frame, Growing, Margin, MarginParts, Moment, NeighbourState, Opening, Pad, Pessimist, Phase,
    Priority, Reading, Reason, ScaleZero, Shelf, Slip, Source, Suppressed, SuppressedBy, Tank, Together, Trouble,
    Validity, Verdict, VerdictWord, Witness, WitnessId,
};
use crate::engine::input::{AlarmKey, Gap, MissReason, OutOfService, RecorderState, Status, ZeroCause};
use crate::engine::steps::StepState;
use crate::time::{EngineTime, WallAnchor, WallTime};

mirror! {
    struct FrameForm of Frame {
        at: EngineTime = "at_ns",
        clock: WallAnchor,
        phase: Phase,
        delivery: Option<DeliveryState>,
        readings: Vec<Reading>,
        devices: Vec<DeviceState>,
        witnesses: [Witness; 3],
        together: Option<Together>,
        verdict: Verdict,
        rate: Option<Estimate> = "rate_kg_per_s",
        finish: Finish,
        margin: Margin,
        pad: Pad,
        tank: Option<Tank>,
        alarms: Vec<Alarm>,
        shelves: Vec<Shelf>,
        out_of_service: Vec<OutOfService>,
        suppressed: Vec<Suppressed>,
        attendance: AttendanceState,
        recorder: RecorderState,
        blind: Option<Gap>,
        neighbours: Vec<NeighbourState>,
        checks: Checks,
        steps: Vec<StepState>,
        blow: Option<BlowState>,
    }

    struct AttendanceStateForm of AttendanceState { on_duty: Option<String>, due_at: Option<EngineTime> = "due_at_ns" }

    struct NeighbourStateForm of NeighbourState {
        neighbour: u16,
        heard_at: Option<EngineTime> = "heard_at_ns",
        silent: bool,
        phase: Phase,
        rate_kg_per_s: f64,
        brought_kg: Option<Estimate>,
        rest_kg: f64,
    }

    struct WallAnchorForm of WallAnchor { at: EngineTime = "at_ns", wall: WallTime = "wall_unix_ns" }

    enum PhaseForm of Phase { Idle, Opened, Transfer, Closed }

    struct DeliveryStateForm of DeliveryState {
        id: String,
        leg: u8,
        product: String,
        product_confirmed: bool,
        planned_kg: f64,
        loaded_kg: f64,
        started: Option<EngineTime> = "started_ns",
        closed: Option<EngineTime> = "closed_ns",
        scale_zero: Option<ScaleZero>,
        rejected: Option<String>,
    }

    struct ScaleZeroForm of ScaleZero { at: EngineTime = "at_ns", cause: ZeroCause, kg: f64 }

    struct EstimateForm of Estimate { value: f64, u: f64 }

    struct DeviceStateForm of DeviceState {
        device: u16,
        answered: u64,
        missed: u64,
        missed_for: Vec<(MissReason, u64)>,
        connections: u32,
        trouble: Option<Trouble>,
        latency_ns: u64,
        latency_worst_ns: u64,
        lateness_ns: u64,
        lateness_worst_ns: u64,
        heartbeat_at: Option<EngineTime> = "heartbeat_at_ns",
    }

    struct TroubleForm of Trouble { reason: MissReason, since: EngineTime = "since_ns" }

    struct ReadingForm of Reading {
        signal: u16,
        value_si: Option<f64>,
        read_at: Option<EngineTime> = "read_at_ns",
        validity: Validity,
        status: Status,
        at_least_si: Option<f64>,
    }

    enum ValidityForm of Validity { Good, Doubtful(Reason), Lost(Reason) }

    enum ReasonForm of Reason {
        NotYetRead,
        NotFitted,
        Missed(MissReason),
        Stale,
        DeviceException(u8),
        NotANumber,
        OutOfRange,
        Saturated,
        Frozen,
        FrozenTogether,
        HeartbeatStopped,
        FailureCurrent,
        DeviceSays(Status),
        Torn,
        MissingCorrection,
        Disturbed,
        NotBack,
        OffTheTable,
        NoStart,
        NeighbourNotHeard,
        NeighbourUnknown,
        NeighbourAtOdds,
        Unlikely(Slip),
        TotalReset,
        CountsBack,
        DrivenOff,
        OtherGauge,
    }

    enum SlipForm of Slip {
        WordOrder,
        Atmosphere,
        Factor(u16),
        Fahrenheit,
        Pound,
        Net,
        NotTheLoad,
        OtherDensity,
        OtherSignal,
        Register,
        Function,
        TooFast,
        GaugesDiffer,
    }

    enum SourceForm of Source {
        MeterGain,
        MeterZero,
        MeterNoise,
        ScaleReading,
        ScaleSpan,
        ScaleDrift,
        GasTemperature,
        GasVolume,
        PadPressure,
        LineUpstream,
        LineDownstream,
        Density,
        TankTable,
        LevelReading,
        LevelLag,
        DrawOff,
        Gap,
        Neighbour,
        LevelSpan,
        TankVapour,
        NewZero,
        LowFlow,
        HoseReaction,
    }

    struct ContributionForm of Contribution { source: Source, kg: f64 }

    enum WitnessIdForm of WitnessId { Flow, Scale, Tank }

    struct WitnessForm of Witness {
        id: WitnessId,
        validity: Validity,
        received_kg: Option<Estimate>,
        budget: Vec<Contribution>,
    }

    struct TogetherForm of Together {
        received_kg: Estimate,
        weights: [f64; 3],
        chi_square: f64,
        degrees_of_freedom: u8,
    }

    struct VerdictForm of Verdict {
        word: VerdictWord,
        since: EngineTime = "since_ns",
        agree_within_kg: Option<f64>,
        leak_below_trailer_kg_per_min: Option<f64>,
        leak_below_tank_kg_per_min: Option<f64>,
        missing_kg: Option<Estimate>,
        growing: Option<Growing>,
        suspects: [bool; 3],
        explanations: Vec<Explanation>,
    }

    struct GrowingForm of Growing { since: EngineTime = "since_ns", kg_per_s: Estimate }

    enum VerdictWordForm of VerdictWord { NotYetProven, Agree, Disagree, CannotTellWhich, NotIndependent, OneOnly, None }

    enum ExplanationForm of Explanation {
        LeakBeforeMeter,
        LeakAfterMeter,
        OtherTank,
        UnknownInflow,
        GaugeLow,
        ScaleLight,
        MeterLow,
        UnknownDrawOff,
        TableLow,
        DensityOff,
        GaugeHigh,
        ScaleHeavy,
        MeterHigh,
        NeighbourLeak,
        NeighbourOff,
    }

    struct FinishForm of Finish {
        planned: Option<Moment>,
        first_gas: Option<Moment>,
        level: Option<Moment>,
        be_at_valve_by: Option<EngineTime> = "be_at_valve_by_ns",
    }

    struct MomentForm of Moment {
        q05: EngineTime = "q05_ns",
        q50: EngineTime = "q50_ns",
        q95: EngineTime = "q95_ns",
        earliest: EngineTime = "earliest_ns",
        earliest_by: WitnessId,
    }

    enum MarginForm of Margin {
        Unknown,
        Known {
            kg: f64,
            pessimist: Pessimist,
            rest_by: Option<WitnessId>,
            parts: MarginParts,
            by_witness_kg: [Option<f64>; 3],
        },
    }

    enum PessimistForm of Pessimist { Gauge(u16), Witness(WitnessId), LevelSwitch, HandDip }

    struct MarginPartsForm of MarginParts {
        at_high_high_kg: f64,
        contents_kg: f64,
        rest_kg: f64,
        run_on_kg: f64,
        line_kg: f64,
        blow_clear_kg: f64,
        allowance_kg: f64,
        opening_kg: f64,
        neighbour_kg: f64,
    }

    struct PadForm of Pad {
        pressure_pa_gauge: Option<f64>,
        ceiling_pa_gauge: Option<f64>,
        ceiling_by: Option<CeilingBy>,
        mawp_pa_gauge: Option<f64>,
        relief_from_pa_gauge: Option<f64>,
        relief_to_pa_gauge: Option<f64>,
        slope_pa_per_s: Option<f64>,
        to_ceiling_s: Option<f64>,
    }

    enum CeilingByForm of CeilingBy { Site, Mawp, Hose, Line, Connection }

    struct TankForm of Tank {
        tank: u16,
        level_m: Option<f64>,
        contents_kg: Option<f64>,
        working_kg: f64,
        high_high_kg: f64,
        critical_kg: f64,
        opening: Opening,
    }

    struct OpeningForm of Opening { proven_by: Option<CheckedBy>, against: Option<CheckedBy>, doubt_m: f64 }

    enum CheckedByForm of CheckedBy { Gauge(u16), LastClosing, HandDip }

    struct SuppressedForm of Suppressed { key: AlarmKey, by: SuppressedBy }

    enum SuppressedByForm of SuppressedBy { GasInLine, SiteFile }

    struct ShelfForm of Shelf { key: AlarmKey, until: EngineTime = "until_ns" }

    struct AlarmForm of Alarm {
        key: AlarmKey,
        condition: Condition,
        seen: bool,
        since: WallTime = "since_unix_ns",
        priority: Priority,
        first: bool,
    }

    enum ConditionForm of Condition { True, False, Unknown }

    enum PriorityForm of Priority { High, Medium, Low }
}
