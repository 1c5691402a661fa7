//! What alarms there are, how grave each is, and whether it waits before it comes.

use crate::engine::frame::Priority;
use crate::engine::input::AlarmId;

/// One line of the catalogue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    /// Which.
    pub id: AlarmId,
    /// How grave: consequence and time to respond.
    pub priority: Priority,
    /// Whether the condition must hold for the on-delay first. What is measured directly and must not wait
    /// does not.
    pub delayed: bool,
}

const fn line(id: AlarmId, priority: Priority, delayed: bool) -> Line {
    Line { id, priority, delayed }
}

/// Every alarm.
pub const CATALOGUE: [Line; 21] = [
    line(AlarmId::LevelSwitchTripped, Priority::High, false),
    line(AlarmId::LevelHighHigh, Priority::High, false),
    line(AlarmId::HighLevelProjected, Priority::High, true),
    line(AlarmId::PadNearCeiling, Priority::High, false),
    line(AlarmId::WitnessesDisagree, Priority::High, true),
    line(AlarmId::MovementOutsideTransfer, Priority::Medium, true),
    line(AlarmId::SignalLost, Priority::Medium, false),
    line(AlarmId::OneWitnessLeft, Priority::Medium, true),
    line(AlarmId::NoWitness, Priority::High, true),
    line(AlarmId::RecorderTrouble, Priority::Low, false),
    line(AlarmId::EstimatesRestarted, Priority::Medium, false),
    line(AlarmId::ReadingUnlikely, Priority::Medium, true),
    line(AlarmId::WrongProduct, Priority::High, true),
    line(AlarmId::PossibleReaction, Priority::High, true),
    line(AlarmId::PadAboveMawp, Priority::High, false),
    line(AlarmId::PadInReliefWindow, Priority::High, false),
    line(AlarmId::PadBelowTank, Priority::Medium, true),
    line(AlarmId::ReverseFlow, Priority::High, true),
    line(AlarmId::ShutoffBypassed, Priority::High, false),
    line(AlarmId::TruckGone, Priority::High, true),
    line(AlarmId::BeAtValve, Priority::Medium, false),
];

/// The line of an alarm.
#[must_use]
pub fn of(id: AlarmId) -> Line {
    // Every id has its line (tested below); a missing one would come as grave and at once.
    CATALOGUE.into_iter().find(|line| line.id == id).unwrap_or(line(id, Priority::High, false))
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
        ];
        assert_eq!(CATALOGUE.map(|line| line.id), all);
    }
}
