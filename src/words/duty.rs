//! Who is on duty, the state of the bay for whoever comes, and what is set aside.

use super::display::{clock, hh_mm};
use super::en::English;
use super::{Language, Scene};
use crate::engine::frame::{Alarm, Condition, Phase, Priority, Shelf, Suppressed, SuppressedBy};
use crate::engine::input::{AlarmKey, OutOfService};

pub(super) fn duty(scene: Scene<'_>) -> String {
    let attendance = &scene.frame.attendance;
    let who = match &attendance.on_duty {
        Some(who) => format!("On duty: {who}."),
        None => "Nobody is on duty.".to_owned(),
    };
    match attendance.due_at {
        Some(at) => {
            format!("{who} Attendance is asked for at {}.", clock(scene.frame.clock, at, scene.frame.at, scene.zone))
        }
        None => who,
    }
}

/// Short: it is read aloud, and stands on the recording.
pub(super) fn state(scene: Scene<'_>) -> String {
    let frame = scene.frame;
    let mut parts = Vec::new();
    if let Some(delivery) = &frame.delivery {
        parts.push(format!("Delivery {}, {} planned.", delivery.id, scene.measures.mass(delivery.planned_kg)));
    }
    parts.push(match (frame.phase, &frame.together) {
        (Phase::Transfer, Some(t)) => {
            format!("The transfer is on, {} received.", scene.measures.mass(t.received_kg.value))
        }
        (Phase::Transfer, None) => "The transfer is on; what is received is not known.".to_owned(),
        (Phase::Idle, _) => "No delivery is open.".to_owned(),
        (Phase::Opened, _) => "The transfer has not started.".to_owned(),
        (Phase::Closed, _) => "The leg is closed.".to_owned(),
    });
    let margin = English.margin(scene);
    parts.push(format!("Margin: {}\u{a0}{}.", margin.figure, margin.unit).replace("\u{a0}.", "."));
    let pad = English.pad(scene);
    parts.push(format!("Pad: {}\u{a0}{}.", pad.figure, pad.unit).replace("\u{a0}.", "."));
    parts.push(match frame.alarms.len() {
        0 => "No alarm is open.".to_owned(),
        1 => format!("One alarm is open: {}", alarm(scene, frame.alarms[0].key)),
        n => format!("{n} alarms are open, the gravest: {}", alarm(scene, frame.alarms[0].key)),
    });
    match frame.shelves.len() + frame.out_of_service.len() {
        0 => {}
        1 => parts.push("One alarm is set aside.".to_owned()),
        n => parts.push(format!("{n} alarms are set aside.")),
    }
    match frame.suppressed.len() {
        0 => {}
        1 => parts.push("One alarm is suppressed by design.".to_owned()),
        n => parts.push(format!("{n} alarms are suppressed by design.")),
    }
    parts.join(" ")
}

/// What an alarm says, whether it is open or not.
fn alarm(scene: Scene<'_>, key: AlarmKey) -> String {
    let since = scene.frame.clock.wall_at(scene.frame.at);
    let alarm = Alarm { key, condition: Condition::Unknown, seen: true, since, priority: Priority::Low, first: false };
    English.alarm(scene, &alarm).says
}

pub(super) fn shelved(scene: Scene<'_>, shelf: &Shelf) -> String {
    let until = clock(scene.frame.clock, shelf.until, scene.frame.at, scene.zone);
    format!("Shelved until {until}: {}", alarm(scene, shelf.key))
}

pub(super) fn suppressed(scene: Scene<'_>, suppressed: &Suppressed) -> String {
    let by = match suppressed.by {
        SuppressedBy::GasInLine => "gas stands in the line and no liquid flows",
        SuppressedBy::SiteFile => "the site file says so for this phase",
    };
    format!("Suppressed by design ({by}): {}", alarm(scene, suppressed.key))
}

pub(super) fn out_of_service(scene: Scene<'_>, out: &OutOfService) -> String {
    let since = hh_mm(out.since, scene.frame.clock.wall_at(scene.frame.at), scene.zone);
    format!("Out of service since {since}, by {} ({}): {}", out.who, out.reason, alarm(scene, out.key))
}
