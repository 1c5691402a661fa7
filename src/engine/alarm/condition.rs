//! Whether each alarm's condition holds: true, false, or nobody can tell.

use super::deviations::Foreseen;
use super::machine::Board;
use crate::engine::cross_check::CrossCheck;
use crate::engine::delivery::Delivery;
use crate::engine::frame::{Condition, Margin, Phase, Reason, Validity, Verdict, VerdictWord};
use crate::engine::input::{AlarmId, AlarmKey, RecorderState};
use crate::engine::pad;
use crate::engine::pad_creep::PadCreep;
use crate::engine::product::ProductCheck;
use crate::engine::reading::Readings;
use crate::engine::settings::{Settings, SignalKind, SignalSetup, TankSetup};
use crate::engine::witness::flow_rate;
use crate::time::EngineTime;

/// More than this through the meter is movement, kg/s (or the same in the meter's litres: m3/s x 1000): a meter
/// without a low-flow cut-off creeps at rest.
pub(crate) const MOVEMENT_KG_PER_S: f64 = 0.1;

/// What conditions look at.
#[derive(Debug, Clone, Copy)]
pub struct Sight<'a> {
    /// The bay.
    pub settings: &'a Settings,
    /// What the signals say.
    pub readings: &'a Readings,
    /// The open delivery.
    pub delivery: Option<&'a Delivery>,
    /// What the witnesses say together.
    pub verdict: &'a Verdict,
    /// Liquid has come through the line in this transfer.
    pub liquid: bool,
    /// How many witnesses are credible.
    pub credible: usize,
    /// The room.
    pub margin: &'a Margin,
    /// How the recorder does.
    pub recorder: RecorderState,
    /// Estimates were restarted after a fault of our own, and nobody has seen it.
    pub restarted: bool,
    /// What the line's density says.
    pub product: &'a ProductCheck,
    /// The meter's flow against the pressure.
    pub cross_check: &'a CrossCheck,
    /// The pad held against what a regulator wanders.
    pub pad_creep: &'a PadCreep,
    /// When somebody must be at the valve.
    pub valve_by: Option<EngineTime>,
    /// What is foreseen.
    pub soon: Foreseen,
    /// Alarms that are open: their dead-bands count.
    pub board: &'a Board,
    /// Now.
    pub at: EngineTime,
}

impl Sight<'_> {
    pub(super) fn phase(&self) -> Phase {
        self.delivery.map_or(Phase::Idle, |d| d.phase)
    }

    /// How far a value must be back from this alarm's limit, SI: its dead-band while it is open, nothing before.
    pub(super) fn back(&self, id: AlarmId, subject: u16) -> f64 {
        let band = self.settings.thresholds.dead_bands.iter().find(|band| band.alarm == id);
        band.filter(|_| self.board.is_open(key(id, subject))).map_or(0.0, |band| band.width_si)
    }

    /// Conditions on what is measured directly: at a poll of a device those that its signals can turn, otherwise (None) all.
    pub fn direct(&self, polled: Option<u16>, answers: &mut Vec<(AlarmKey, Condition)>) {
        let signals = || (0u16..).zip(&self.settings.signals);
        let of_poll = |setup: &SignalSetup| polled.is_none_or(|device| setup.device == device);
        // A bit for each kind that can have turned, whatever its tank: looked through once.
        let kinds = signals().filter(|(_, s)| of_poll(s)).fold(0_u64, |kinds, (_, s)| kinds | 1 << s.kind as u32);
        let turned = |kind: SignalKind| polled.is_none() || kinds & 1 << kind as u32 != 0;
        for tank in (0..self.settings.tanks.len()).filter_map(|t| u16::try_from(t).ok()) {
            if turned(SignalKind::HighLevelSwitch) {
                answers.push((key(AlarmId::LevelSwitchTripped, tank), self.switch_tripped(tank)));
            }
            if turned(SignalKind::TankPressure) {
                answers.push((key(AlarmId::TankPressureHigh, tank), self.tank_pressure_high(tank)));
            }
            if turned(SignalKind::Level) || turned(SignalKind::LevelPressure) {
                answers.extend(self.levels(tank));
            }
        }
        if turned(SignalKind::PadPressure) {
            let plate = self.delivery.map(|d| &d.setup.plate);
            let back = self.back(AlarmId::PadNearCeiling, 0);
            answers
                .push((key(AlarmId::PadNearCeiling, 0), pad::near_ceiling(self.settings, self.readings, plate, back)));
            answers.push((key(AlarmId::PadAtCeiling, 0), pad::at_ceiling(self.settings, self.readings, plate)));
            answers.push((key(AlarmId::PadAboveMawp, 0), self.pad_above_mawp()));
            answers.push((key(AlarmId::PadInReliefWindow, 0), self.pad_in_relief_window()));
        }
        if turned(SignalKind::ShutoffBypassed) {
            answers.push((key(AlarmId::ShutoffBypassed, 0), self.shutoff_bypassed()));
        }
        for (signal, _) in signals().filter(|(_, setup)| of_poll(setup)) {
            answers.push((key(AlarmId::SignalLost, signal), self.signal_lost(signal)));
            answers.push((key(AlarmId::ReadingUnlikely, signal), self.unlikely(signal)));
        }
    }

    /// Conditions on estimates and on ourselves: asked at every tick.
    #[must_use]
    pub fn estimated(&self) -> [(AlarmKey, Condition); 30] {
        let tank = self.delivery.map_or(0, |d| d.setup.tank);
        let yes = |holds: bool| if holds { Condition::True } else { Condition::False };
        [
            (key(AlarmId::HighLevelProjected, tank), self.high_level_projected()),
            (key(AlarmId::WitnessesDisagree, 0), self.disagree()),
            (key(AlarmId::MovementOutsideTransfer, 0), self.movement_outside_transfer()),
            (key(AlarmId::OneWitnessLeft, 0), self.witnesses_left(1)),
            (key(AlarmId::NoWitness, 0), self.witnesses_left(0)),
            (key(AlarmId::RecorderTrouble, 0), yes(self.recorder != RecorderState::Durable)),
            (key(AlarmId::EstimatesRestarted, 0), yes(self.restarted)),
            (key(AlarmId::WrongProduct, 0), self.wrong_product()),
            (key(AlarmId::PossibleReaction, tank), self.possible_reaction()),
            (key(AlarmId::PadBelowTank, 0), self.pad_below_tank()),
            (key(AlarmId::ReverseFlow, 0), self.reverse_flow()),
            (key(AlarmId::TruckGone, 0), self.truck_gone()),
            (key(AlarmId::BeAtValve, 0), self.be_at_valve()),
            (key(AlarmId::LevelSoon, tank), self.level_soon()),
            (key(AlarmId::NotIndependent, 0), self.not_independent()),
            (key(AlarmId::PadRising, 0), self.pad_rising()),
            (key(AlarmId::PadAboveSupply, 0), self.pad_above_supply()),
            (key(AlarmId::FlowStopped, 0), self.flow_stopped()),
            (key(AlarmId::LoadTemperatureOff, tank), self.load_temperature_off()),
            (key(AlarmId::DewPointHigh, 0), self.dew_point_high()),
            (key(AlarmId::FirstGasDue, 0), self.first_gas_due()),
            (key(AlarmId::PadFalling, 0), self.pad_falling()),
            (key(AlarmId::PadBelowBand, 0), self.pad_below_band()),
            (key(AlarmId::DrawOffChanged, 0), self.draw_off_changed()),
            (key(AlarmId::ShutoffUnknown, 0), self.shutoff_unknown()),
            (key(AlarmId::FlowAbovePressure, 0), self.flow_off_pressure(1.0)),
            (key(AlarmId::FlowBelowPressure, 0), self.flow_off_pressure(-1.0)),
            (key(AlarmId::NearFreezing, tank), self.near_freezing()),
            (key(AlarmId::PadNotKnown, 0), self.pad_not_known()),
            (key(AlarmId::PadCreeps, 0), self.pad_creeps()),
        ]
    }

    /// Conditions on each tank, asked at every tick.
    pub fn of_tanks(&self) -> impl Iterator<Item = (AlarmKey, Condition)> {
        let tanks = (0..self.settings.tanks.len()).filter_map(|t| u16::try_from(t).ok());
        tanks.map(|tank| (key(AlarmId::OtherTankRises, tank), self.other_tank_rises(tank)))
    }

    /// Whether anything goes through the meter.
    pub(super) fn moves(&self) -> Condition {
        self.movement(MOVEMENT_KG_PER_S)
    }

    /// A density meter shows gas before liquid has reached it, and when nothing flows after the line was blown
    /// clear: below its range, and as it should be.
    pub(super) fn gas_is_in(&self, signal: u16) -> bool {
        let Some(setup) = self.settings.signals.get(usize::from(signal)) else { return false };
        let below = self.readings.last(signal).is_some_and(|value| value < setup.plausible_low);
        setup.kind == SignalKind::LineDensity
            && self.readings.validity(signal) == Validity::Lost(Reason::OutOfRange)
            && below
            && !self.liquid_flows()
    }

    fn signal_lost(&self, signal: u16) -> Condition {
        match self.readings.validity(signal) {
            Validity::Lost(Reason::NotYetRead) => Condition::Unknown,
            Validity::Lost(_) => Condition::True,
            Validity::Good | Validity::Doubtful(_) => Condition::False,
        }
    }

    /// Found before the transfer; what is lost meanwhile says nothing for or against it.
    fn unlikely(&self, signal: u16) -> Condition {
        match self.readings.validity(signal) {
            Validity::Doubtful(Reason::Unlikely(_)) => Condition::True,
            Validity::Lost(_) => Condition::Unknown,
            Validity::Good | Validity::Doubtful(_) => Condition::False,
        }
    }

    pub(super) fn signals(&self, kind: SignalKind, tank: u16) -> impl Iterator<Item = u16> {
        let signals = (0u16..).zip(&self.settings.signals);
        signals.filter(move |(_, s)| s.kind == kind && s.tank == Some(tank)).map(|(i, _)| i)
    }

    /// The levels after API Standard 2350: working, high-high, critical.
    fn levels(&self, tank: u16) -> [(AlarmKey, Condition); 3] {
        let setup = self.settings.tanks.get(usize::from(tank));
        let at = |id, level: fn(&TankSetup) -> f64| {
            (key(id, tank), setup.map_or(Condition::Unknown, |setup| self.level_at(tank, id, level(setup))))
        };
        [
            at(AlarmId::LevelHighHigh, |tank| tank.high_high.0),
            at(AlarmId::LevelCritical, |tank| tank.critical.0),
            at(AlarmId::LevelWorking, |tank| tank.working.0),
        ]
    }

    fn switch_tripped(&self, tank: u16) -> Condition {
        any(self.signals(SignalKind::HighLevelSwitch, tank).map(|s| self.readings.credible(s).map(|v| v != 0.0)))
    }

    fn high_level_projected(&self) -> Condition {
        match (self.phase(), self.margin) {
            (Phase::Idle, _) => Condition::False,
            (_, Margin::Unknown) => Condition::Unknown,
            (_, Margin::Known { kg, .. }) => {
                if *kg < self.back(AlarmId::HighLevelProjected, self.delivery.map_or(0, |d| d.setup.tank)) {
                    Condition::True
                } else {
                    Condition::False
                }
            }
        }
    }

    fn disagree(&self) -> Condition {
        match (self.phase(), self.verdict.word) {
            (Phase::Idle | Phase::Opened, _) | (_, VerdictWord::Agree) => Condition::False,
            (_, VerdictWord::Disagree | VerdictWord::CannotTellWhich) => Condition::True,
            _ => Condition::Unknown,
        }
    }

    fn movement_outside_transfer(&self) -> Condition {
        let least = MOVEMENT_KG_PER_S - self.back(AlarmId::MovementOutsideTransfer, 0);
        if self.phase() == Phase::Transfer { Condition::False } else { self.movement(least) }
    }

    fn liquid_flows(&self) -> bool {
        self.liquid && self.moves() != Condition::False
    }

    /// Whether more than that goes through the meter.
    fn movement(&self, least_kg_per_s: f64) -> Condition {
        more_than(self.settings, self.readings, least_kg_per_s)
    }

    fn witnesses_left(&self, count: usize) -> Condition {
        match self.phase() {
            Phase::Transfer if self.credible == count => Condition::True,
            _ => Condition::False,
        }
    }
}

/// Whether anything goes through the meter.
#[must_use]
pub fn movement(settings: &Settings, readings: &Readings) -> Condition {
    more_than(settings, readings, MOVEMENT_KG_PER_S)
}

fn more_than(settings: &Settings, readings: &Readings, least_kg_per_s: f64) -> Condition {
    let Some(kind) = flow_rate(settings) else { return Condition::Unknown };
    let least = if kind == SignalKind::FlowMassRate { least_kg_per_s } else { least_kg_per_s / 1000.0 };
    match readings.credible_kind(settings, kind, None) {
        Some(rate) if rate.abs() > least => Condition::True,
        Some(_) => Condition::False,
        None => Condition::Unknown,
    }
}

fn key(id: AlarmId, subject: u16) -> AlarmKey {
    AlarmKey { id, subject }
}

/// True when one says so; unknown when one that could say so is silent; false when none is fitted or all deny.
pub(super) fn any(answers: impl Iterator<Item = Option<bool>>) -> Condition {
    let mut unknown = false;
    for answer in answers {
        match answer {
            Some(true) => return Condition::True,
            Some(false) => {}
            None => unknown = true,
        }
    }
    if unknown { Condition::Unknown } else { Condition::False }
}
