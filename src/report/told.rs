//! What people did and said, how the checks stood, and what the instruments showed.

use super::account::{
    CheckAccount, DeviceAccount, Figure, Level, Limits, Part, Said, SignatureAccount, StepAccount, VerdictTime,
    Witnessed,
};
use crate::engine::checks::Why;
use crate::engine::frame::{Frame, VerdictWord};
use crate::engine::input::What;
use crate::engine::settings::{Settings, SignalKind, TankSetup};
use crate::engine::steps::{Side, Signature, Stands, Step, StepState};
use crate::recording::json::form_json;
use crate::tune;
use crate::words::display::number;
use crate::words::en::English;
use crate::words::{Language, Scene};
use jiff::tz::TimeZone;
use serde_json::Value;
use std::collections::BTreeMap;

/// An entry's code, and what it is about where the code does not say it all.
pub(super) fn entry(settings: &Settings, what: &What) -> (String, String) {
    let (code, content) = match form_json(what) {
        Value::String(code) => (code, Value::Null),
        Value::Object(map) => map.into_iter().next().unwrap_or_default(),
        _ => Default::default(),
    };
    let about = match what {
        What::Seen(key) | What::Shelved { key, .. } | What::Unshelved(key) | What::PutBack(key) => {
            let (alarm, subject) = tune::named(settings, *key);
            if subject.is_empty() { alarm } else { format!("{alarm}: {subject}") }
        }
        What::CheckEntered { check, met, note } => {
            let found = if *met { "found as asked" } else { "not found as asked" };
            let note = if note.is_empty() { String::new() } else { format!(": {note}") };
            format!("{}: {found}{note}", English.check_name(*check))
        }
        What::ScaleZeroed(cause) => English.zero_cause(*cause).to_owned(),
        What::Dipped { level_m } => format!("{} m", number(*level_m, 3)),
        What::Rejected { reason } => reason.clone(),
        What::StepSigned { step, side, name, note, .. } => {
            let side = if *side == Side::Driver { "for the driver" } else { "for the site" };
            let note = if note.is_empty() { String::new() } else { format!(": {note}") };
            format!("{step}, {side}, by {name}{note}")
        }
        What::Attended { screen } => screen.clone(),
        What::HandedOver { out, to, state } => {
            format!("from {} to {to}: {state}", out.as_deref().unwrap_or("nobody"))
        }
        What::TakenOut { key, reason } => {
            let (alarm, subject) = tune::named(settings, *key);
            if subject.is_empty() { format!("{alarm}: {reason}") } else { format!("{alarm}: {subject}: {reason}") }
        }
        What::StepSkipped { step, reason, .. } => format!("{step}: {reason}"),
        _ => String::new(),
    };
    // What a later entry brings is shown as it stands rather than passed over.
    let shown = about.is_empty() && !content.is_null() && !matches!(what, What::DeliveryOpened(_));
    (code, if shown { content.to_string() } else { about })
}

/// The steps as the last frame that shows them has them.
pub(super) fn steps(settings: &Settings, shown: &[StepState]) -> Vec<StepAccount> {
    let account = |(at, step): (u16, &Step)| {
        let state = shown.iter().find(|state| state.step == at);
        let stands = match state.map(|state| state.stands) {
            Some(Stands::Signed) => "signed",
            Some(Stands::Skipped) => "skipped",
            Some(Stands::Open) => "open",
            None => "not_reached",
        };
        let signature = |signature: &Signature| SignatureAccount {
            side: form_json(&signature.side),
            who: signature.who.clone(),
            at: signature.at.into(),
            note: signature.note.clone(),
        };
        StepAccount {
            step: step.id.clone(),
            text: step.text.clone(),
            hold: step.hold,
            stands: stands.to_owned(),
            signatures: state.map(|state| state.signatures.iter().map(signature).collect()).unwrap_or_default(),
        }
    };
    (0..).zip(&settings.steps).map(account).collect()
}

/// The checks as a frame has them.
pub(super) fn checks(settings: &Settings, frame: &Frame, zone: &TimeZone) -> Vec<CheckAccount> {
    let scene = Scene::new(settings, frame, zone);
    let account = |check: &crate::engine::checks::Check| {
        let text = English.check(scene, check);
        let entered = check.why.iter().find_map(|why| match why {
            Why::Entered { who, at, .. } => Some(Said { at: (*at).into(), who: who.clone() }),
            _ => None,
        });
        CheckAccount {
            check: check.id.name().to_owned(),
            state: text.state.to_owned(),
            by_person: check.by_person,
            entered,
            says: text.says,
        }
    };
    frame.checks.iter().map(|check| account(check)).collect()
}

/// How long each verdict held.
pub(super) fn verdicts(lasted: &[(VerdictWord, f64)]) -> Vec<VerdictTime> {
    lasted.iter().map(|(word, lasted_s)| VerdictTime { word: form_json(word), lasted_s: *lasted_s }).collect()
}

/// How the devices answered.
pub(super) fn devices(rounds: BTreeMap<String, (u64, u64)>) -> Vec<DeviceAccount> {
    rounds.into_iter().map(|(device, (answered, missed))| DeviceAccount { device, answered, missed }).collect()
}

pub(super) fn limits(tank: &TankSetup) -> Limits {
    let [working_m, high_high_m, critical_m] = [tank.working, tank.high_high, tank.critical].map(|level| Some(level.0));
    Limits { working_m, high_high_m, critical_m }
}

pub(super) fn witnesses(frame: &Frame) -> Vec<Witnessed> {
    let one = |w: &crate::engine::frame::Witness| Witnessed {
        witness: form_json(&w.id),
        validity: form_json(&w.validity),
        is_credible: w.validity.is_credible(),
        received_kg: w.received_kg.map(Figure::from),
        budget: w.budget.iter().map(|c| Part { source: form_json(&c.source), kg: c.kg }).collect(),
    };
    frame.witnesses.iter().map(one).collect()
}

pub(super) fn levels(settings: &Settings, tank: u16, start: Option<&Frame>, close: Option<&Frame>) -> Vec<Level> {
    let gauges =
        settings.signals.iter().enumerate().filter(|(_, s)| s.kind == SignalKind::Level && s.tank == Some(tank));
    let read = |frame: Option<&Frame>, at: usize| {
        frame?.readings.get(at).filter(|r| r.validity.is_credible()).and_then(|r| r.value_si)
    };
    let level = |(at, s): (usize, &crate::engine::settings::SignalSetup)| Level {
        signal: s.name.clone(),
        start_m: read(start, at),
        close_m: read(close, at),
    };
    gauges.map(level).collect()
}
