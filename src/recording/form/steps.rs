//! Forms of the steps of a delivery, and of the gas behind the last liquid.

use super::mirror;
use crate::engine::blow::{Blow, BlowSetup, BlowState, VentSetup};
use crate::engine::steps::{Against, Bar, Right, Side, Signature, SignedBy, Stands, Step, StepMark, StepState};
use crate::time::{EngineTime, WallTime};
use crate::units::{GaugePa, Kg, KgPerS, Metre};

mirror! {
    struct StepForm of Step {
        id: String,
        text: String,
        care: String,
        right: Right,
        signed_by: SignedBy,
        hold: bool,
        proof: bool,
        bars: Vec<Bar>,
    }

    enum RightForm of Right { Attend, Engineer }

    enum SignedByForm of SignedBy { Site, Driver, Both }

    enum SideForm of Side { Site, Driver }

    enum BarForm of Bar {
        ChecksOpen,
        Started,
        NotStarted,
        NotClosed,
        Flows,
        SwitchTripped,
        EmergencyStop,
        ShutoffBypassed,
        Disagree,
        PadAtCeiling,
        PadAbove(GaugePa) = "pad_above_pa_gauge",
        PadBelow(GaugePa) = "pad_below_pa_gauge",
        RisenLess(Kg) = "risen_less_kg",
        OtherRises(Kg) = "other_rises_kg",
        GasOverVent,
        TankPressureHigh,
        AfterBlow(f64) = "after_blow_s",
    }

    struct AgainstForm of Against { bar: Bar, forbids: bool, value_si: Option<f64> }

    struct SignatureForm of Signature { side: Side, who: String, at: WallTime = "at_unix_ns", note: String }

    struct StepMarkForm of StepMark { step: String, skipped: bool, signatures: Vec<Signature> }

    enum StandsForm of Stands { Open, Signed, Skipped }

    struct BlowSetupForm of BlowSetup { bore: Option<Metre> = "bore_m", loss: Option<f64>, vents: Vec<VentSetup> }

    struct VentSetupForm of VentSetup {
        passes: Option<KgPerS> = "passes_kg_per_s",
        limit: Option<GaugePa> = "limit_pa_gauge",
    }

    struct BlowForm of Blow { began: EngineTime = "began_ns", ended: Option<EngineTime> = "ended_ns" }

    struct BlowStateForm of BlowState {
        gas_kg_per_s: Option<f64>,
        most_kg_per_s: Option<f64>,
        vent_kg_per_s: Option<f64>,
        tank_pa_gauge: Option<f64>,
        limit_pa_gauge: Option<f64>,
        to_limit_s: Option<f64>,
        blows: Vec<Blow>,
    }

    struct StepStateForm of StepState {
        step: u16,
        stands: Stands,
        signatures: Vec<Signature>,
        against: Vec<Against>,
    }
}
