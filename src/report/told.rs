//! What people did and said, how the checks stood, and what the instruments showed.

use super::account::{
    CheckAccount, DeviceAccount, Figure, Level, Limits, Part, Said, SignatureAccount, StepAccount, VerdictTime,
    Witnessed,
};
use crate::engine::checks::{CheckId, Why};
use crate::engine::frame::{Frame, VerdictWord};
use crate::engine::input::{AlarmKey, What, ZeroCause};
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
pub(super) fn entry(settings: &Settings, what: &What) -> (String, About) {
    let (code, content) = match form_json(what) {
        Value::String(code) => (code, Value::Null),
        Value::Object(map) => map.into_iter().next().unwrap_or_default(),
        _ => Default::default(),
    };
    let about = about(settings, what);
    // What a later entry brings is shown as it stands rather than passed over.
    let shown = matches!(about, About::Nothing) && !content.is_null() && !matches!(what, What::DeliveryOpened(_));
    (code, if shown { About::Written(content.to_string()) } else { about })
}

/// What an entry is about, in no language yet.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) enum About {
    /// The entry's code says it all.
    #[default]
    Nothing,
    /// As a person wrote it.
    Written(String),
    /// An alarm by its code, the signal or tank it was about, and why.
    Alarm {
        alarm: String,
        subject: String,
        reason: String,
    },
    /// What was looked for, whether it was found, and what was written with it.
    Check {
        check: CheckId,
        met: bool,
        note: String,
    },
    Zero(ZeroCause),
    Dip {
        level_m: f64,
    },
    /// A step by its name in the file and its text; who signed it, for which side.
    Signed {
        step: String,
        text: String,
        side: Side,
        name: String,
        note: String,
    },
    Skipped {
        step: String,
        text: String,
        reason: String,
    },
    Handed {
        out: Option<String>,
        to: String,
        state: String,
    },
}

fn about(settings: &Settings, what: &What) -> About {
    let alarm = |key: &AlarmKey, reason: &str| {
        let (alarm, subject) = tune::named(settings, *key);
        About::Alarm { alarm, subject, reason: reason.to_owned() }
    };
    let text = |id: &str| settings.steps.iter().find(|step| step.id == id).map_or(id, |step| &step.text).to_owned();
    match what {
        What::Seen(key) | What::Shelved { key, .. } | What::Unshelved(key) | What::PutBack(key) => alarm(key, ""),
        What::TakenOut { key, reason } => alarm(key, reason),
        What::CheckEntered { check, met, note } => About::Check { check: *check, met: *met, note: note.clone() },
        What::ScaleZeroed(cause) => About::Zero(*cause),
        What::Dipped { level_m } => About::Dip { level_m: *level_m },
        What::Rejected { reason: written } | What::Attended { screen: written } => About::Written(written.clone()),
        What::StepSigned { step, side, name, note, .. } => {
            let (name, note) = (name.clone(), note.clone());
            About::Signed { step: step.clone(), text: text(step), side: *side, name, note }
        }
        What::StepSkipped { step, reason, .. } => {
            About::Skipped { step: step.clone(), text: text(step), reason: reason.clone() }
        }
        What::HandedOver { out, to, state } => About::Handed { out: out.clone(), to: to.clone(), state: state.clone() },
        _ => About::Nothing,
    }
}

/// Those that say something, one behind the other.
pub(super) fn behind(parts: &[&str]) -> String {
    parts.iter().filter(|part| !part.is_empty()).copied().collect::<Vec<_>>().join(": ")
}

impl About {
    /// As the figures have it, in English.
    pub(super) fn english(&self) -> String {
        match self {
            About::Nothing => String::new(),
            About::Written(text) => text.clone(),
            About::Alarm { alarm, subject, reason } => behind(&[alarm, subject, reason]),
            About::Check { check, met, note } => {
                let found = if *met { "found as asked" } else { "not found as asked" };
                behind(&[English.check_name(*check), found, note])
            }
            About::Zero(cause) => English.zero_cause(*cause).to_owned(),
            About::Dip { level_m } => format!("{} m", number(*level_m, 3)),
            About::Signed { step, side, name, note, .. } => {
                let side = if *side == Side::Driver { "for the driver" } else { "for the site" };
                behind(&[&format!("{step}, {side}, by {name}"), note])
            }
            About::Skipped { step, reason, .. } => format!("{step}: {reason}"),
            About::Handed { out, to, state } => {
                format!("from {} to {to}: {state}", out.as_deref().unwrap_or("nobody"))
            }
        }
    }
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
    frame.checks.iter().map(account).collect()
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
