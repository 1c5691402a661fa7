//! What alarms say that the delivery does not go as it should, or that it is time for something.

use super::en::act;
use super::{Scene, Text};
use crate::engine::input::AlarmId;

pub(super) fn english(scene: Scene<'_>, id: AlarmId, subject: u16) -> Text {
    match id {
        AlarmId::LevelCritical => act(
            format!("{} stands at or above its critical level: it may overflow.", scene.tank(subject)),
            "Where to look, from a distance: the tank's level, its overflow and its vent.",
        ),
        AlarmId::LevelSoon => act(
            format!("{} is at high-high sooner than anybody can act.", scene.tank(subject)),
            "Where to look: the tank's gauge, what else fills it.",
        ),
        AlarmId::PadRising => act(
            "The pad pressure rises and is at its ceiling sooner than anybody can act.",
            "Where to look: gas supply valve, regulator; whether outlet or line is shut.",
        ),
        AlarmId::PadAtCeiling => act(
            "The pad pressure is at its ceiling or above.",
            "Where to look: gas supply valve, regulator, the trailer's own gauge; whether outlet or line is shut.",
        ),
        AlarmId::PadFalling => act(
            "The pad pressure falls and is at the tank's sooner than anybody can act: liquid may come back.",
            "Where to look: gas supply, regulator, the gas hose.",
        ),
        AlarmId::PadBelowBand => act(
            "The pad pressure is below the least that this site unloads with.",
            "Where to look: gas supply, regulator, the gas hose.",
        ),
        AlarmId::PadAboveSupply => act(
            "The pad pressure is above the gas supply's: product may be pushed back into the gas line.",
            "Where to look: gas supply, regulator, the check valve between.",
        ),
        AlarmId::OtherTankRises => act(
            format!("{} rises although this load does not go there.", scene.tank(subject)),
            "Where to look: valves between the tanks. If another delivery fills it: this bay does not know of it.",
        ),
        other => calm(scene, other, subject),
    }
}

/// Those that call for no stop.
fn calm(scene: Scene<'_>, id: AlarmId, subject: u16) -> Text {
    match id {
        AlarmId::AttendanceDue => say(
            "Press \u{201c}I am here\u{201d} at the bay's own screen.",
            "It is time for whoever is on duty to say that they are there.".into(),
            "",
        ),
        AlarmId::AttendanceOverdue => say(
            "Press \u{201c}I am here\u{201d} at the bay's own screen.",
            "Nobody has said in time that they are in attendance.".into(),
            "",
        ),
        AlarmId::NobodyAttends => say(
            "Go and look from a distance. If nobody is there, stop by the emergency stop or the remote valve.",
            "The transfer is on, and nobody says that they are in attendance.".into(),
            "Whoever was there may need help.",
        ),
        AlarmId::LevelWorking => say(
            "Be ready to stop. Hold the room against the tank's own gauge.",
            format!("{} stands at or above its maximum working level.", scene.tank(subject)),
            "",
        ),
        AlarmId::DrawOffChanged => say(
            "Hold the room against the tank's own gauge. Ask who draws off.",
            "Another amount is drawn off the tank than when the transfer started.".into(),
            "The room is another one than was planned with.",
        ),
        AlarmId::ShutoffUnknown => say(
            "Look at the shut-off itself. Stop unless it is in service, or the person in charge has agreed in writing.",
            "Nobody can tell whether the independent high-level shut-off is bypassed.".into(),
            "It stays so marked until its contact is read again and somebody has seen it.",
        ),
        AlarmId::NotIndependent => say(
            "Read flow meter, scale and level at the instruments themselves.",
            "Two instruments follow each other more closely than two can: they may be one.".into(),
            "What they say together proves nothing.",
        ),
        AlarmId::FlowStopped | AlarmId::FlowAbovePressure | AlarmId::FlowBelowPressure | AlarmId::PadCreeps => flow(id),
        AlarmId::LoadTemperatureOff => say(
            "Have the person in charge decide whether the transfer goes on.",
            format!("The load is colder or warmer than {} takes.", scene.tank(subject)),
            "A cold product thickens or freezes in the line; a warm one attacks what it touches.",
        ),
        AlarmId::DewPointHigh => say(
            "Have the person in charge decide whether the transfer goes on.",
            "The pad gas is moister than the site allows.".into(),
            "",
        ),
        AlarmId::NearFreezing => say(
            "Leave no liquid standing in a cold line. Have the person in charge decide.",
            format!(
                "What is in {} is colder than the coldest load that it takes: it may thicken or freeze.",
                scene.tank(subject)
            ),
            "A plugged line that is thawed may still be under pressure.",
        ),
        AlarmId::PadNotKnown => say(
            "Read the trailer's own gauge now, and again at every round.",
            "Nobody measures the pad pressure on the trailer itself.".into(),
            "With the gas shut, what is measured says nothing of the trailer.",
        ),
        AlarmId::FirstGasDue => say(
            "Be at the valve. Cut back the gas and be ready to close.",
            "Gas may come through the trailer's outlet from now on.".into(),
            "",
        ),
        _ => act("An alarm that has no words yet.", ""),
    }
}

/// A flow, or what drives it, that is not what it should be.
fn flow(id: AlarmId) -> Text {
    match id {
        AlarmId::FlowStopped => say(
            "Find out why nothing moves, without opening anything.",
            "The flow has stopped, and much of the load is still on the trailer.".into(),
            "Nothing that stands still is free of pressure.",
        ),
        AlarmId::FlowAbovePressure => say(
            "Look along hose, valves and connections from a distance. If anything drips or sprays, stop and keep away.",
            "More comes through the meter than the pressure drives, compared with a minute ago.".into(),
            "A leak after the meter, a valve that was turned, gas in the line, or the meter: by this nobody can tell which.",
        ),
        AlarmId::PadCreeps => say(
            "Look at the regulator. Unless somebody has set it higher, shut the gas.",
            "The pad pressure rises by more than a regulator does by itself.".into(),
            "A seat that creeps lets ever more through. Shut off, the pad still pushes.",
        ),
        _ => say(
            "Look along hose, valves and connections from a distance. If anything drips or sprays, stop and keep away.",
            "Less comes through the meter than the pressure drives, compared with a minute ago.".into(),
            "A leak before the meter, a valve that was turned, a plug, a kink, or the meter: by this nobody can tell which.",
        ),
    }
}

/// A text that asks for no stop.
fn say(act: &str, says: String, beyond: &str) -> Text {
    Text { act: act.into(), says, beyond: beyond.into(), ..Text::default() }
}
