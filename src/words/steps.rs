//! What is said of the steps of a delivery.

use crate::engine::steps::NoStep;

/// Why a signature is not taken, for the person who gave it.
#[must_use]
pub fn refused(why: NoStep) -> &'static str {
    match why {
        NoStep::Unknown => "this bay has no step of that name",
        NoStep::Done => "that step is signed, or was let go, before",
        NoStep::BehindHoldPoint => "not its turn: a hold point before it is not signed by all who must",
        NoStep::StepsBefore => {
            "not its turn: it is a hold point, and steps before it are open: sign them, or let them go with a reason"
        }
        NoStep::NotThisSide => "that step does not ask for this side's signature",
        NoStep::SideHasSigned => "this side has signed it: the other side's signature is missing",
        NoStep::NoRight => {
            "whoever is signed in may not: the step asks for somebody with more rights, and only an engineer lets a hold point go unsigned"
        }
        NoStep::NoName => "nobody is named who signs",
        NoStep::SameHand => "the same name has signed for the other side: it needs two people",
        NoStep::Forbidden => "what is read now forbids it: the page says what, beside the step",
        NoStep::NoProof => "write what was seen on the spot: no instrument here can say it",
        NoStep::Unseen => "what could forbid it cannot be read: write what you went by",
        NoStep::NoReason => "write why it goes unsigned",
        NoStep::Rejected => "the delivery was rejected: nothing of it goes on",
    }
}
