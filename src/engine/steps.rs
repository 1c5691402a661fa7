//! The steps of a delivery, from the secured vehicle to its release: whose turn has come, who has signed, what speaks
//! against signing.
//!
//! People confirm, each side for itself. A signal can only forbid, and never says that anything is empty or free of
//! pressure. The steps between two hold points may be signed in any order; a hold point needs all that stand before it,
//! and nothing behind it is signed before it is.

use super::alarm::condition;
use super::blow::{self, BlowState};
use super::checks::{CheckState, Checks};
use super::delivery::Delivery;
use super::frame::{Condition, NeighbourState, Phase, VerdictWord};
use super::gauge;
use super::input::What;
use super::pad;
use super::reading::Readings;
use super::settings::{PadTap, Settings, SignalKind};
use super::witness::{density, geometry};
use crate::time::{EngineTime, WallTime};
use crate::units::{GaugePa, Kg, Metre};

/// One step as the site has it.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Its name in files and entries.
    pub id: String,
    /// What is to be done and seen.
    pub text: String,
    /// How to keep from harm meanwhile; empty: nothing beside what holds everywhere.
    pub care: String,
    /// Least that whoever signs for the site must be allowed to do.
    pub right: Right,
    /// Whose signature it needs.
    pub signed_by: SignedBy,
    /// Nothing goes on before it is signed.
    pub hold: bool,
    /// What was seen on the spot must be written: no instrument here can say it.
    pub proof: bool,
    /// What forbids that it is signed.
    pub bars: Vec<Bar>,
}

/// What somebody may do at this bay, as their sign-in says; where the site names nobody, everybody may all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Right {
    /// Make the entries of a delivery.
    Attend,
    /// Also decide for the site: change settings, let a hold point go unsigned.
    Engineer,
}

/// Whose signature a step needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SignedBy {
    /// The site's.
    Site,
    /// The driver's.
    Driver,
    /// One of each.
    Both,
}

/// For whom somebody signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The works that receives.
    Site,
    /// Who brought the load.
    Driver,
}

/// What can forbid a step. None of these ever confirms one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bar {
    /// A check before anything is connected fails or is not made.
    ChecksOpen,
    /// "Transfer started" was entered.
    Started,
    /// "Transfer started" was not entered.
    NotStarted,
    /// "Closed" was not entered.
    NotClosed,
    /// Something goes through the meter.
    Flows,
    /// The tank's independent high-level switch has tripped.
    SwitchTripped,
    /// The emergency stop is pressed.
    EmergencyStop,
    /// The shut-off is bypassed.
    ShutoffBypassed,
    /// The witnesses disagree.
    Disagree,
    /// The pad is near its ceiling or above.
    PadAtCeiling,
    /// The pad is above this.
    PadAbove(GaugePa),
    /// The pad is below this.
    PadBelow(GaugePa),
    /// The tank's own gauge has not yet shown so much received.
    RisenLess(Kg),
    /// Another tank of this bay has risen by so much since the start.
    OtherRises(Kg),
    /// More gas will follow the last liquid than the tank's vent passes.
    GasOverVent,
    /// The tank's pressure is near its own limit or above.
    TankPressureHigh,
    /// The hose is being blown clear, or was so less than this many seconds ago.
    AfterBlow(f64),
}

/// A bar that stands, or that nobody can see.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Against {
    /// Which.
    pub bar: Bar,
    /// It forbids. Otherwise it is not known: whoever signs writes what they went by.
    pub forbids: bool,
    /// What was read, in the bar's own SI unit, where it has one.
    pub value_si: Option<f64>,
}

/// A signature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signature {
    /// For whom.
    pub side: Side,
    /// Who.
    pub who: String,
    /// When.
    pub at: WallTime,
    /// What was written with it.
    pub note: String,
}

/// What people have entered on one step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StepMark {
    /// Its name.
    pub step: String,
    /// It was let go unsigned; the one signature says who did and why.
    pub skipped: bool,
    /// Who has signed.
    pub signatures: Vec<Signature>,
}

/// How a step stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// Its turn has come.
    Open,
    /// Signed by all who must.
    Signed,
    /// Let go unsigned.
    Skipped,
}

/// One step as it stands; those whose turn has not come are left out.
#[derive(Debug, Clone, PartialEq)]
pub struct StepState {
    /// Index into [`Settings::steps`].
    pub step: u16,
    /// How it stands.
    pub stands: Stands,
    /// Who has signed, or let it go.
    pub signatures: Vec<Signature>,
    /// What speaks against it; only of a step whose turn has come.
    pub against: Vec<Against>,
}

/// Why a step is not signed, or let go, now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoStep {
    /// The bay has no step of that name.
    Unknown,
    /// The step is signed or let go already.
    Done,
    /// A hold point before it is not signed.
    BehindHoldPoint,
    /// It is a hold point, and steps before it are open.
    StepsBefore,
    /// The step does not ask for that side's signature.
    NotThisSide,
    /// That side has signed already.
    SideHasSigned,
    /// Whoever entered it may not.
    NoRight,
    /// Nobody is named who signs.
    NoName,
    /// One person signs for one side.
    SameHand,
    /// Something that is read forbids it.
    Forbidden,
    /// What was seen on the spot is not written.
    NoProof,
    /// What could forbid it cannot be read, and nobody wrote what they went by.
    Unseen,
    /// Nobody wrote why it is let go.
    NoReason,
    /// The delivery was rejected.
    Rejected,
}

/// A signature as it is asked for.
#[derive(Debug, Clone, Copy)]
struct Asked<'a> {
    side: Side,
    name: &'a str,
    right: Right,
    note: &'a str,
}

impl SignedBy {
    /// Whether that side's signature is among them.
    #[must_use]
    pub fn asks(self, side: Side) -> bool {
        match self {
            SignedBy::Both => true,
            SignedBy::Site => side == Side::Site,
            SignedBy::Driver => side == Side::Driver,
        }
    }
}

/// What is looked at when a step is held against the bay.
#[derive(Clone, Copy)]
pub struct Grounds<'a> {
    /// The bay.
    pub settings: &'a Settings,
    /// What the signals say.
    pub readings: &'a Readings,
    /// The open delivery.
    pub delivery: &'a Delivery,
    /// The checks before anything is connected.
    pub checks: &'a Checks,
    /// What the witnesses say together.
    pub verdict: VerdictWord,
    /// Received by the tank's own gauge, kg, if that can be used.
    pub tank_kg: Option<f64>,
    /// What other bays do to the same tanks.
    pub neighbours: &'a [NeighbourState],
    /// Gas behind the last liquid.
    pub blow: Option<&'a BlowState>,
    /// Now.
    pub at: EngineTime,
}

impl Grounds<'_> {
    fn mark(&self, step: &Step) -> Option<&StepMark> {
        self.delivery.marks.iter().find(|mark| mark.step == step.id)
    }

    fn stands(&self, step: &Step) -> Stands {
        let Some(mark) = self.mark(step) else { return Stands::Open };
        let signed = |side| mark.signatures.iter().any(|s| s.side == side);
        let missing = [Side::Site, Side::Driver].into_iter().any(|side| step.signed_by.asks(side) && !signed(side));
        match (mark.skipped, missing) {
            (true, _) => Stands::Skipped,
            (false, true) => Stands::Open,
            (false, false) => Stands::Signed,
        }
    }

    /// Every step but those that wait for a hold point.
    #[must_use]
    pub fn steps(&self) -> Vec<StepState> {
        let mut states = Vec::with_capacity(self.settings.steps.len());
        let (mut held, mut open_before) = (false, false);
        for (index, step) in (0u16..).zip(&self.settings.steps) {
            let stands = self.stands(step);
            let open = stands == Stands::Open;
            let waits = open && (held || step.hold && open_before);
            if !waits {
                let signatures = self.mark(step).map(|m| m.signatures.clone()).unwrap_or_default();
                let against = if open { self.against(step) } else { Vec::new() };
                states.push(StepState { step: index, stands, signatures, against });
            }
            held |= step.hold && open;
            open_before |= open;
        }
        states
    }

    /// Whether an entry about a step is taken; entries about anything else always are.
    ///
    /// # Errors
    /// Why not.
    pub fn admits(&self, what: &What) -> Result<(), NoStep> {
        match what {
            What::StepSigned { step, side, name, right, note } => {
                self.admits_signature(step, Asked { side: *side, name, right: *right, note })
            }
            What::StepSkipped { step, right, reason } => self.admits_skip(step, *right, reason),
            _ => Ok(()),
        }
    }

    /// The step of that name, if it is its turn.
    fn in_turn(&self, id: &str) -> Result<&Step, NoStep> {
        if self.delivery.rejected.is_some() {
            return Err(NoStep::Rejected);
        }
        let steps = &self.settings.steps;
        let place = steps.iter().position(|s| s.id == id).ok_or(NoStep::Unknown)?;
        let (before, step) = (&steps[..place], &steps[place]);
        if self.stands(step) != Stands::Open {
            return Err(NoStep::Done);
        }
        let open = |s: &&Step| self.stands(s) == Stands::Open;
        if before.iter().filter(open).any(|s| s.hold) {
            return Err(NoStep::BehindHoldPoint);
        }
        if step.hold && before.iter().any(|s| open(&s)) {
            return Err(NoStep::StepsBefore);
        }
        Ok(step)
    }

    fn admits_signature(&self, id: &str, asked: Asked<'_>) -> Result<(), NoStep> {
        let step = self.in_turn(id)?;
        let Asked { side, name, right, note } = asked;
        let before = self.mark(step).map_or(&[][..], |mark| &mark.signatures);
        if !step.signed_by.asks(side) {
            return Err(NoStep::NotThisSide);
        }
        if before.iter().any(|s| s.side == side) {
            return Err(NoStep::SideHasSigned);
        }
        if side == Side::Site && right < step.right {
            return Err(NoStep::NoRight);
        }
        if name.trim().is_empty() {
            return Err(NoStep::NoName);
        }
        if before.iter().any(|s| s.who.trim().eq_ignore_ascii_case(name.trim())) {
            return Err(NoStep::SameHand);
        }
        let against = self.against(step);
        match against.iter().any(|a| a.forbids) {
            true => Err(NoStep::Forbidden),
            false if step.proof && note.trim().is_empty() => Err(NoStep::NoProof),
            false if !against.is_empty() && note.trim().is_empty() => Err(NoStep::Unseen),
            false => Ok(()),
        }
    }

    /// A hold point is let go by who decides for the site alone.
    fn admits_skip(&self, id: &str, right: Right, reason: &str) -> Result<(), NoStep> {
        let step = self.in_turn(id)?;
        if right < if step.hold { Right::Engineer } else { step.right } {
            return Err(NoStep::NoRight);
        }
        if reason.trim().is_empty() { Err(NoStep::NoReason) } else { Ok(()) }
    }

    /// What speaks against a step, and what cannot be seen.
    fn against(&self, step: &Step) -> Vec<Against> {
        let held = step.bars.iter().map(|&bar| (bar, self.holds(bar)));
        held.filter(|(_, (condition, _))| *condition != Condition::False)
            .map(|(bar, (condition, value_si))| Against { bar, forbids: condition == Condition::True, value_si })
            .collect()
    }

    fn holds(&self, bar: Bar) -> (Condition, Option<f64>) {
        let phase = self.delivery.phase;
        let said = |condition| (condition, None);
        match bar {
            Bar::ChecksOpen => said(yes(self.checks.iter().any(|c| c.state != CheckState::Met))),
            Bar::Started => said(yes(phase != Phase::Opened)),
            Bar::NotStarted => said(yes(phase == Phase::Opened)),
            Bar::NotClosed => said(yes(phase != Phase::Closed)),
            Bar::Flows => said(condition::movement(self.settings, self.readings)),
            Bar::SwitchTripped => said(self.flag(SignalKind::HighLevelSwitch, Some(self.delivery.setup.tank))),
            Bar::EmergencyStop => said(self.flag(SignalKind::EmergencyStop, None)),
            Bar::ShutoffBypassed => said(self.flag(SignalKind::ShutoffBypassed, None)),
            Bar::Disagree => said(match self.verdict {
                VerdictWord::Disagree | VerdictWord::CannotTellWhich => Condition::True,
                _ => Condition::False,
            }),
            Bar::PadAtCeiling => {
                let plate = Some(&self.delivery.setup.plate);
                (pad::near_ceiling(self.settings, self.readings, plate, 0.0), self.pad().1)
            }
            Bar::PadAbove(GaugePa(limit)) => self.pad_is(|pa| pa > limit, true),
            Bar::PadBelow(GaugePa(limit)) => self.pad_is(|pa| pa < limit, false),
            Bar::RisenLess(Kg(least)) => match (phase, self.tank_kg) {
                (Phase::Opened, _) => said(Condition::True),
                (_, Some(kg)) => (yes(kg < least), Some(kg)),
                (_, None) => said(Condition::Unknown),
            },
            Bar::OtherRises(Kg(most)) => self.other_rises(most),
            Bar::GasOverVent => self.gas_over_vent(),
            Bar::TankPressureHigh => blow::tank_pressure(self.settings, self.readings, self.delivery.setup.tank),
            Bar::AfterBlow(wait_s) => self.after_blow(wait_s),
        }
    }

    /// A yes/no: one that is not fitted forbids nothing, one that is silent is not known.
    fn flag(&self, kind: SignalKind, tank: Option<u16>) -> Condition {
        let Some(signal) = Readings::find(self.settings, kind, tank) else { return Condition::False };
        self.readings.credible(signal).map_or(Condition::Unknown, |value| yes(value != 0.0))
    }

    /// The pad's tap: whether it stands on the trailer, and what it reads, Pa gauge.
    fn pad(&self) -> (bool, Option<f64>) {
        let signal = Readings::find(self.settings, SignalKind::PadPressure, None);
        let value = signal.and_then(|s| self.readings.credible(s).or(self.readings.at_least(s)));
        (self.settings.pad_tap == PadTap::Trailer, value)
    }

    /// A tap on the supply shows the trailer's pressure only while gas flows in: above a limit it forbids, and otherwise
    /// nothing is known.
    fn pad_is(&self, holds: impl Fn(f64) -> bool, above: bool) -> (Condition, Option<f64>) {
        match self.pad() {
            (on_trailer, Some(pa)) if on_trailer || above && holds(pa) => (yes(holds(pa)), Some(pa)),
            (_, value) => (Condition::Unknown, value),
        }
    }

    /// By the line's own resistance; where that is not known by the full bore, which is never too little.
    fn gas_over_vent(&self) -> (Condition, Option<f64>) {
        let gas = self.blow.and_then(|b| b.gas_kg_per_s.or(b.most_kg_per_s));
        match gas.zip(self.blow.and_then(|b| b.vent_kg_per_s)) {
            Some((gas, vent)) => (yes(gas > vent), Some(gas)),
            None => (Condition::Unknown, gas),
        }
    }

    /// What is left of the wait, s.
    fn after_blow(&self, wait_s: f64) -> (Condition, Option<f64>) {
        let left_s = self.delivery.blows.last().map_or(0.0, |blow| match blow.ended {
            None => wait_s,
            Some(ended) => wait_s - self.at.since_s(ended),
        });
        (yes(left_s > 0.0), Some(left_s.max(0.0)))
    }

    /// The most that another tank of this bay has risen since the start. One that another bay fills may rise.
    fn other_rises(&self, most_kg: f64) -> (Condition, Option<f64>) {
        let tanks = (0u16..).zip(&self.settings.tanks).map(|(tank, _)| tank).filter(|t| *t != self.delivery.setup.tank);
        let (mut worst, mut unknown) = (None, false);
        for tank in tanks {
            let filled = |n: &&NeighbourState| {
                let ours = self.settings.neighbours.get(usize::from(n.neighbour)).map(|n| n.tank);
                ours == Some(tank) && n.phase != Phase::Idle
            };
            match self.risen_kg(tank).filter(|_| self.neighbours.iter().find(filled).is_none()) {
                Some(kg) => worst = Some(worst.map_or(kg, |w: f64| w.max(kg))),
                None => unknown = true,
            }
        }
        match worst {
            Some(kg) if kg >= most_kg => (Condition::True, worst),
            _ if unknown => (Condition::Unknown, worst),
            _ => (Condition::False, worst),
        }
    }

    /// What has come into a tank since the start by the gauge that says most, kg of this load's liquid.
    fn risen_kg(&self, tank: u16) -> Option<f64> {
        let (settings, setup) = (self.settings, &self.delivery.setup);
        let shape = &settings.tanks.get(usize::from(tank))?.geometry;
        let density = density::density(&setup.product, setup.product.load_temperature)?;
        let each = gauge::of_tank(settings, tank).filter_map(|signal| {
            let level = |value| gauge::to_level_m(settings, self.readings, setup, signal, value);
            let (then, now) = (self.delivery.start(signal)?.value, self.readings.credible(signal)?);
            let volume = |value| geometry::volume(shape, Metre(level(value)?));
            Some((volume(now)?.0 - volume(then)?.0) * density.0)
        });
        each.reduce(f64::max)
    }
}

fn yes(holds: bool) -> Condition {
    if holds { Condition::True } else { Condition::False }
}
