//! Forms of the steps of a delivery.

use super::mirror;
use crate::engine::steps::{Against, Bar, Right, Side, Signature, SignedBy, Stands, Step, StepMark, StepState};
use crate::time::WallTime;
use crate::units::{GaugePa, Kg};

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
    }

    struct AgainstForm of Against { bar: Bar, forbids: bool, value_si: Option<f64> }

    struct SignatureForm of Signature { side: Side, who: String, at: WallTime = "at_unix_ns", note: String }

    struct StepMarkForm of StepMark { step: String, skipped: bool, signatures: Vec<Signature> }

    enum StandsForm of Stands { Open, Signed, Skipped }

    struct StepStateForm of StepState {
        step: u16,
        stands: Stands,
        signatures: Vec<Signature>,
        against: Vec<Against>,
    }
}
