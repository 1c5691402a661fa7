//! Who is on duty, the state of the bay for whoever comes, and what is set aside, in Spanish.

use super::{Spanish, clock, mass};
use crate::engine::frame::{Alarm, Condition, Phase, Priority, Shelf, Suppressed, SuppressedBy};
use crate::engine::input::{AlarmKey, OutOfService};
use crate::words::{Language as _, Scene};

pub(super) fn duty(scene: Scene<'_>) -> String {
    let attendance = &scene.frame.attendance;
    let who = match &attendance.on_duty {
        Some(who) => format!("De guardia: {who}."),
        None => "Nadie está de guardia.".to_owned(),
    };
    match attendance.due_at {
        Some(at) => format!("{who} Se pide confirmar la presencia a las {}.", clock(scene, at)),
        None => who,
    }
}

/// Short: it is read aloud, and stands on the recording.
pub(super) fn state(scene: Scene<'_>) -> String {
    let frame = scene.frame;
    let mut parts = Vec::new();
    if let Some(delivery) = &frame.delivery {
        parts.push(format!("Entrega {}, {} previstos.", delivery.id, mass(scene, delivery.planned_kg)));
    }
    parts.push(match (frame.phase, &frame.together) {
        (Phase::Transfer, Some(t)) => format!("Trasvase en curso, {} recibidos.", mass(scene, t.received_kg.value)),
        (Phase::Transfer, None) => "Trasvase en curso; no se sabe cuánto se recibió.".to_owned(),
        (Phase::Idle, _) => "No hay ninguna entrega abierta.".to_owned(),
        (Phase::Opened, _) => "El trasvase no ha empezado.".to_owned(),
        (Phase::Closed, _) => "El tramo está cerrado.".to_owned(),
    });
    let margin = Spanish.margin(scene);
    parts.push(format!("Margen: {}\u{a0}{}.", margin.figure, margin.unit).replace("\u{a0}.", "."));
    let pad = Spanish.pad(scene);
    parts.push(format!("Colchón de gas: {}\u{a0}{}.", pad.figure, pad.unit).replace("\u{a0}.", "."));
    parts.push(match frame.alarms.len() {
        0 => "Ninguna alarma abierta.".to_owned(),
        1 => format!("Una alarma abierta: {}", alarm(scene, frame.alarms[0].key)),
        n => format!("{n} alarmas abiertas, la más grave: {}", alarm(scene, frame.alarms[0].key)),
    });
    match frame.shelves.len() + frame.out_of_service.len() {
        0 => {}
        1 => parts.push("Una alarma está apartada.".to_owned()),
        n => parts.push(format!("{n} alarmas están apartadas.")),
    }
    match frame.suppressed.len() {
        0 => {}
        1 => parts.push("Una alarma está suprimida por diseño.".to_owned()),
        n => parts.push(format!("{n} alarmas están suprimidas por diseño.")),
    }
    parts.join(" ")
}

/// What an alarm says, whether it is open or not.
fn alarm(scene: Scene<'_>, key: AlarmKey) -> String {
    let since = scene.frame.clock.wall_at(scene.frame.at);
    let alarm = Alarm { key, condition: Condition::Unknown, seen: true, since, priority: Priority::Low, first: false };
    Spanish.alarm(scene, &alarm).says
}

pub(super) fn shelved(scene: Scene<'_>, shelf: &Shelf) -> String {
    format!("Aplazada hasta las {}: {}", clock(scene, shelf.until), alarm(scene, shelf.key))
}

pub(super) fn suppressed(scene: Scene<'_>, suppressed: &Suppressed) -> String {
    let by = match suppressed.by {
        SuppressedBy::GasInLine => "hay gas en la línea y no fluye líquido",
        SuppressedBy::SiteFile => "así lo dice el archivo del sitio para esta fase",
    };
    format!("Suprimida por diseño ({by}): {}", alarm(scene, suppressed.key))
}

pub(super) fn out_of_service(scene: Scene<'_>, out: &OutOfService) -> String {
    let since = Spanish.hh_mm(scene, out.since);
    format!("Fuera de servicio desde {since}, por {} ({}): {}", out.who, out.reason, alarm(scene, out.key))
}
