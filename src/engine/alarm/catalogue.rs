//! What alarms there are, and how grave each is: its priority follows from what happens when nobody acts and from
//! how long there is to act (ANSI/ISA-18.2 and IEC 62682 as published). Its words are `src/words`.

use crate::engine::frame::Priority;
use crate::engine::input::{AlarmId, AlarmKey};
use crate::engine::settings::{Settings, SignalKind};

/// What happens when nobody acts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Consequence {
    /// People can be hurt, a tank can overflow, or what would warn of it is blind.
    Severe,
    /// Product, plant or the account of the delivery suffers, or the watch sees less.
    Serious,
}

/// How long there is to act.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeToRespond {
    /// It has come to pass or may at any moment.
    AtOnce,
    /// One response time of the site file.
    ResponseTime,
    /// Before the delivery goes on to its next phase.
    Delivery,
}

/// One line of the catalogue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// Which.
    pub id: AlarmId,
    /// Its name in JSON and papers.
    pub name: &'static str,
    /// What happens when nobody acts.
    pub consequence: Consequence,
    /// How long there is to act.
    pub time: TimeToRespond,
    /// Whether the condition must hold for the on-delay first. What is measured directly and must not wait
    /// does not.
    pub delayed: bool,
    /// Whether a person may shelve it. Never what warns of level, pad or tank pressure, mass that is missing, another
    /// product or a reaction, nor what says that the watch is blind to them.
    pub shelvable: bool,
    /// It belongs to every delivery: it sounds, and is no sign that something is wrong.
    pub prompt: bool,
    /// It stays until somebody has seen it, although it is over. What a person's own act ends does not.
    pub latched: bool,
}

impl Line {
    /// How grave it is.
    #[must_use]
    pub const fn priority(&self) -> Priority {
        match (self.consequence, self.time) {
            (Consequence::Severe, TimeToRespond::AtOnce | TimeToRespond::ResponseTime) => Priority::High,
            (Consequence::Severe, TimeToRespond::Delivery)
            | (Consequence::Serious, TimeToRespond::AtOnce | TimeToRespond::ResponseTime) => Priority::Medium,
            (Consequence::Serious, TimeToRespond::Delivery) => Priority::Low,
        }
    }

    const fn delayed(self) -> Line {
        Line { delayed: true, ..self }
    }

    const fn shelvable(self) -> Line {
        Line { shelvable: true, ..self }
    }

    const fn prompt(self) -> Line {
        Line { prompt: true, latched: false, ..self }
    }

    const fn goes_by_itself(self) -> Line {
        Line { latched: false, ..self }
    }
}

const fn severe(id: AlarmId, name: &'static str, time: TimeToRespond) -> Line {
    Line {
        id,
        name,
        consequence: Consequence::Severe,
        time,
        delayed: false,
        shelvable: false,
        prompt: false,
        latched: true,
    }
}

const fn serious(id: AlarmId, name: &'static str, time: TimeToRespond) -> Line {
    Line { consequence: Consequence::Serious, ..severe(id, name, time) }
}

/// Every alarm.
pub const CATALOGUE: [Line; 46] = {
    use AlarmId as A;
    use TimeToRespond::{AtOnce, Delivery, ResponseTime};
    [
        severe(A::LevelSwitchTripped, "level_switch_tripped", AtOnce),
        severe(A::LevelHighHigh, "level_high_high", AtOnce),
        severe(A::HighLevelProjected, "high_level_projected", ResponseTime).delayed(),
        severe(A::PadNearCeiling, "pad_near_ceiling", AtOnce),
        severe(A::WitnessesDisagree, "witnesses_disagree", AtOnce).delayed(),
        serious(A::MovementOutsideTransfer, "movement_outside_transfer", ResponseTime).delayed(),
        serious(A::SignalLost, "signal_lost", ResponseTime).shelvable(),
        severe(A::OneWitnessLeft, "one_witness_left", Delivery).delayed(),
        severe(A::NoWitness, "no_witness", ResponseTime).delayed(),
        serious(A::RecorderTrouble, "recorder_trouble", Delivery).shelvable(),
        serious(A::EstimatesRestarted, "estimates_restarted", ResponseTime),
        severe(A::ReadingUnlikely, "reading_unlikely", Delivery).shelvable().delayed(),
        severe(A::WrongProduct, "wrong_product", AtOnce).delayed(),
        severe(A::PossibleReaction, "possible_reaction", AtOnce).delayed(),
        severe(A::PadAboveMawp, "pad_above_mawp", AtOnce),
        severe(A::PadInReliefWindow, "pad_in_relief_window", AtOnce),
        serious(A::PadBelowTank, "pad_below_tank", ResponseTime).delayed(),
        severe(A::ReverseFlow, "reverse_flow", AtOnce).delayed(),
        severe(A::ShutoffBypassed, "shutoff_bypassed", ResponseTime),
        severe(A::TruckGone, "truck_gone", AtOnce).delayed(),
        serious(A::BeAtValve, "be_at_valve", ResponseTime).prompt(),
        serious(A::AttendanceDue, "attendance_due", Delivery).prompt(),
        serious(A::AttendanceOverdue, "attendance_overdue", Delivery).goes_by_itself(),
        severe(A::NobodyAttends, "nobody_attends", AtOnce).goes_by_itself(),
        serious(A::LevelWorking, "level_working", ResponseTime),
        severe(A::LevelCritical, "level_critical", AtOnce),
        severe(A::LevelSoon, "level_soon", ResponseTime).delayed(),
        serious(A::NotIndependent, "not_independent", ResponseTime).delayed(),
        severe(A::PadRising, "pad_rising", ResponseTime).delayed(),
        severe(A::PadAboveSupply, "pad_above_supply", AtOnce).delayed(),
        serious(A::FlowStopped, "flow_stopped", Delivery).delayed(),
        severe(A::OtherTankRises, "other_tank_rises", AtOnce).delayed(),
        serious(A::LoadTemperatureOff, "load_temperature_off", ResponseTime).delayed(),
        serious(A::DewPointHigh, "dew_point_high", Delivery).delayed(),
        serious(A::FirstGasDue, "first_gas_due", ResponseTime).prompt(),
        severe(A::TankPressureHigh, "tank_pressure_high", AtOnce),
        severe(A::PadAtCeiling, "pad_at_ceiling", AtOnce),
        serious(A::PadFalling, "pad_falling", ResponseTime).delayed(),
        serious(A::PadBelowBand, "pad_below_band", ResponseTime).delayed(),
        serious(A::DrawOffChanged, "draw_off_changed", ResponseTime).delayed(),
        severe(A::ShutoffUnknown, "shutoff_unknown", ResponseTime).delayed(),
        serious(A::FlowAbovePressure, "flow_above_pressure", ResponseTime),
        serious(A::FlowBelowPressure, "flow_below_pressure", ResponseTime),
        serious(A::NearFreezing, "near_freezing", ResponseTime).delayed(),
        serious(A::PadNotKnown, "pad_not_known", ResponseTime).prompt(),
        serious(A::PadCreeps, "pad_creeps", ResponseTime),
    ]
};

/// Whether a person may set this one aside, shelved or out of service: its line allows it, and the signal that it is about neither warns of level,
/// pressure, reaction or another product, nor weighs what is missing.
#[must_use]
pub fn may_set_aside(settings: &Settings, key: AlarmKey) -> bool {
    let of_signal = matches!(key.id, AlarmId::SignalLost | AlarmId::ReadingUnlikely);
    let spare = settings.signals.get(usize::from(key.subject)).is_some_and(|signal| is_spare(signal.kind));
    of(key.id).shelvable && (!of_signal || spare)
}

/// Whether the loss of such a signal may go unheard for a while.
#[must_use]
pub const fn is_spare(kind: SignalKind) -> bool {
    use SignalKind as K;
    matches!(kind, K::LineTemperature | K::GasSupplyPressure | K::PadGasTemperature | K::DrawOff | K::DewPoint)
}

/// The line of an alarm.
#[must_use]
pub fn of(id: AlarmId) -> Line {
    let unlisted = severe(id, "unknown", TimeToRespond::AtOnce);
    // Lines stand in the order of the ids (tested below); a missing one would come as grave and at once.
    let line = CATALOGUE.as_slice().get(id as usize);
    line.copied().filter(|line| line.id == id).unwrap_or(unlisted)
}

/// The alarm of that name.
#[must_use]
pub fn named(name: &str) -> Option<AlarmId> {
    CATALOGUE.into_iter().find(|line| line.name == name).map(|line| line.id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_alarm_has_one_line() {
        use AlarmId as A;
        let all = [
            A::LevelSwitchTripped,
            A::LevelHighHigh,
            A::HighLevelProjected,
            A::PadNearCeiling,
            A::WitnessesDisagree,
            A::MovementOutsideTransfer,
            A::SignalLost,
            A::OneWitnessLeft,
            A::NoWitness,
            A::RecorderTrouble,
            A::EstimatesRestarted,
            A::ReadingUnlikely,
            A::WrongProduct,
            A::PossibleReaction,
            A::PadAboveMawp,
            A::PadInReliefWindow,
            A::PadBelowTank,
            A::ReverseFlow,
            A::ShutoffBypassed,
            A::TruckGone,
            A::BeAtValve,
            A::AttendanceDue,
            A::AttendanceOverdue,
            A::NobodyAttends,
            A::LevelWorking,
            A::LevelCritical,
            A::LevelSoon,
            A::NotIndependent,
            A::PadRising,
            A::PadAboveSupply,
            A::FlowStopped,
            A::OtherTankRises,
            A::LoadTemperatureOff,
            A::DewPointHigh,
            A::FirstGasDue,
            A::TankPressureHigh,
            A::PadAtCeiling,
            A::PadFalling,
            A::PadBelowBand,
            A::DrawOffChanged,
            A::ShutoffUnknown,
            A::FlowAbovePressure,
            A::FlowBelowPressure,
            A::NearFreezing,
            A::PadNotKnown,
            A::PadCreeps,
        ];
        assert_eq!(CATALOGUE.map(|line| line.id), all);
        assert!(CATALOGUE.iter().all(|line| of(line.id) == *line));
    }
}
