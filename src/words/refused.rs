//! Why an entry is not taken, for the person who made it.

use super::NotTaken;
use crate::engine::delivery::Refusal;
use crate::engine::steps::NoStep;
use crate::engine::zero::NoZero;

/// In English.
pub(super) fn english(why: NotTaken) -> &'static str {
    match why {
        NotTaken::Refused(refusal) => refused(refusal),
        NotTaken::SameName => {
            "that leg of a delivery of that id is on record already: give this one another id, or, where it is a further \
             leg of the same load, a leg number not yet used"
        }
        NotTaken::NotQualified => {
            "the qualification of who is signed in has run out: somebody whose own is current does this"
        }
        NotTaken::NotRecorded => "the recorder cannot write, so this would be lost: mend the disk first",
        NotTaken::Failed => "brimwatch failed on it and starts anew: look whether it took effect",
        NotTaken::Stopped => "the disk did not take it before the program stopped",
        NotTaken::Ended => "the disk did not take it before the recording ended",
    }
}

fn refused(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::DeliveryOpen => "a delivery is open already: close it first",
        Refusal::NoDelivery => "no delivery is open at this bay",
        Refusal::AlreadyTransferring => "the transfer of this leg was started before",
        Refusal::NotTransferring => "no transfer is on",
        Refusal::NoSuchAlarm => "that alarm is not open any more",
        Refusal::NeverShelved => {
            "that alarm may be neither shelved nor taken out of service: nothing silences level, pressure, missing mass, another product, a \
             reaction, or the loss of what warns of them"
        }
        Refusal::ShelfWithoutEnd => "say for how many minutes it is shelved: an alarm is never shelved without end",
        Refusal::ShelfTooLong => "an alarm is shelved for 480 minutes at the most, one shift",
        Refusal::NotShelved => "that alarm is not shelved",
        Refusal::NoZero(NoZero::NothingOff) => "the scale is not under suspicion: there is nothing to put right",
        Refusal::NoZero(NoZero::Grows) => "what is missing grows: no new zero explains that",
        Refusal::NoZero(NoZero::NoOther) => "no other instrument says how much came in",
        Refusal::Blowing => "the hose is being blown clear already: enter when it has ended",
        Refusal::NotBlowing => "nobody has entered that the hose is being blown clear",
        Refusal::NoStep(why) => step(why),
        Refusal::NoDip => "the site file does not allow this tank to be opened: hand_dip_u is not set",
        Refusal::DipTooLate => "a dip says where the tank stood before the load came in: the transfer has started",
        Refusal::DipOffTheTank => {
            "that level is outside the tank: write it in m above the datum that the gauge counts from"
        }
        Refusal::NotByPerson => "that check is not one that a person enters, or it is not asked at this bay",
        Refusal::NoReason => "write what was found: a failing check or a rejection without a word helps nobody",
        Refusal::TooLateToReject => {
            "the transfer was started, so something may have moved: close it; a rejection is for a load that has not moved"
        }
        Refusal::NotOut => "that alarm is not out of service",
        Refusal::AttendanceNotAsked => "the site file asks for no attendance: `attendance` is not set",
        Refusal::NotOnDuty => "attendance is entered by the one on duty: take the duty over first",
        Refusal::DutyChanged => "somebody else has taken the duty over meanwhile: look who is on duty now",
        Refusal::OnDutyAlready => "they are on duty already",
        Refusal::NotReadBack => "a hand-over needs the name of who comes and the state of the bay read back",
        Refusal::NoSuchTank => "the delivery names a tank that this bay does not have",
    }
}

/// Why a signature is not taken, for the person who gave it.
fn step(why: NoStep) -> &'static str {
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
