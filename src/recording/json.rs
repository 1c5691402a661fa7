//! What a recording and a frame say, as JSON. `docs/interface.md` lists every key.

use super::RecordingError;
use super::form::Stored;
use super::format::Kind;
use super::origin::Origin;
use super::reader::{self, Recording};
use super::summary::Summary;
use super::truth;
use crate::engine::frame::{Alarm, Frame, VerdictWord};
use crate::engine::input::AlarmKey;
use crate::time::EngineTime;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;

/// A frame as JSON: what the page's address gives and `replay --json` writes. Every key carries its unit.
#[must_use]
pub fn frame_json(frame: &Frame) -> Value {
    form_json(frame)
}

/// Any recorded value as JSON.
pub(crate) fn form_json<T: Stored>(value: &T) -> Value {
    serde_json::to_value(value.to_form()).expect("a form has text keys and no number that JSON cannot hold")
}

/// The same as text, its keys in the order of the form.
pub(super) fn form_text<T: Stored>(value: &T) -> String {
    serde_json::to_string(&value.to_form()).expect("a form has text keys and no number that JSON cannot hold")
}

/// Writes what a recording shows, one object a line: what it starts from, a frame whenever at least `every_s`
/// seconds of engine time have gone by since the last one, each change of the verdict and of an alarm, and a
/// last object that sums it up. It shows the outputs on record, so that it says what was on the screen then,
/// whatever program wrote it.
///
/// # Errors
/// When the file is no recording or one that this program cannot read, or when `out` refuses.
pub fn replay_json(path: &Path, every_s: f64, out: &mut dyn Write) -> Result<(), RecordingError> {
    json_lines(path, &reader::read(path)?, every_s, out)
}

/// Like [`replay_json`], from bytes; `path` is for messages.
///
/// # Errors
/// As [`replay_json`].
pub fn json_lines(path: &Path, bytes: &[u8], every_s: f64, out: &mut dyn Write) -> Result<(), RecordingError> {
    let recording = reader::walk(path, bytes)?;
    let (last, word, alarms, summary) = (None, None, BTreeMap::new(), Summary::default());
    let mut lines = Lines { out, every_s, last, word, alarms, summary };
    lines.put(&start(&recording))?;
    let (mut inputs, mut outputs, mut unreadable) = (0_u64, 0_u64, 0_u64);
    for record in &recording.records {
        match record.kind {
            Kind::Input => inputs += 1,
            Kind::Output => match reader::frame(record).ok().filter(|_| record.intact) {
                Some(frame) => {
                    outputs += 1;
                    lines.frame(record.number, &frame)?;
                }
                None => unreadable += 1,
            },
            Kind::Truth => {
                if let Some(truth) = truth::read(record).ok().filter(|_| record.intact) {
                    lines.put(&json!({ "kind": "truth", "faults": truth.faults, "harm": truth.harm }))?;
                }
            }
            Kind::Header | Kind::Link | Kind::End => {}
        }
    }
    let damage: Vec<String> = recording.damage.iter().map(ToString::to_string).collect();
    let mut end = lines.summary.json(&recording.header.settings);
    for (key, value) in [
        ("kind", json!("end")),
        ("inputs", json!(inputs)),
        ("outputs", json!(outputs)),
        ("outputs_unreadable", json!(unreadable)),
        ("ended", json!(recording.ended)),
        ("damage", json!(damage)),
        ("torn", json!(recording.torn.map(|torn| torn.to_string()))),
    ] {
        end.insert(key.to_owned(), value);
    }
    lines.put(&Value::Object(end))
}

/// When a frame was so: for people, for programs, and since the transfer started.
fn moment(frame: &Frame) -> Value {
    let wall = frame.clock.wall_at(frame.at);
    let shown = jiff::Timestamp::from_nanosecond(i128::from(wall.0)).map(|t| t.to_string()).ok();
    let started = frame.delivery.as_ref().and_then(|d| d.started);
    json!({
        "at_ns": frame.at.0, "wall_unix_ns": wall.0, "wall": shown,
        "since_start_s": started.map(|started| frame.at.since_s(started)),
    })
}

/// What still fits below each level now, whatever is still to come, kg.
fn room(frame: &Frame) -> Value {
    let below = frame.tank.and_then(|tank| {
        let contents_kg = tank.contents_kg?;
        Some(json!({
            "working_kg": tank.working_kg - contents_kg, "high_high_kg": tank.high_high_kg - contents_kg,
            "critical_kg": tank.critical_kg - contents_kg,
        }))
    });
    below.unwrap_or(Value::Null)
}

/// What the recording starts from, and the names behind the frames' numbers.
fn start(recording: &Recording<'_>) -> Value {
    let header = &recording.header;
    let signals: Vec<Value> =
        header.settings.signals.iter().map(|s| json!({ "kind": form_json(&s.kind), "name": s.name })).collect();
    let tanks: Vec<&str> = header.settings.tanks.iter().map(|tank| tank.name.as_str()).collect();
    let neighbours: Vec<Value> = header.settings.neighbours.iter().map(form_json).collect();
    json!({
        "kind": "start", "bay": header.bay, "bay_name": header.settings.bay, "drill_speed": header.drill_speed,
        "format": recording.format.to_string(), "program_version": header.program_version,
        "numerics_version": header.numerics_version, "wall_at_zero_unix_ns": header.wall_at_zero.0,
        "imported": Origin::of(header), "signals": signals, "tanks": tanks, "neighbours": neighbours,
    })
}

struct Lines<'a> {
    out: &'a mut dyn Write,
    every_s: f64,
    /// Engine time of the last frame written.
    last: Option<EngineTime>,
    word: Option<VerdictWord>,
    alarms: BTreeMap<AlarmKey, Alarm>,
    summary: Summary,
}

impl Lines<'_> {
    fn put(&mut self, object: &Value) -> Result<(), RecordingError> {
        writeln!(self.out, "{object}").map_err(RecordingError::Out)
    }

    fn frame(&mut self, number: u64, frame: &Frame) -> Result<(), RecordingError> {
        self.summary.take(frame);
        let moment = moment(frame);
        if self.word != Some(frame.verdict.word) {
            let from = self.word.replace(frame.verdict.word).map(|word| form_json(&word));
            let verdict = form_json(&frame.verdict);
            self.line("verdict", number, &moment, json!({ "from": from, "verdict": verdict }))?;
        }
        for (change, alarm) in self.changes(frame) {
            self.line("alarm", number, &moment, json!({ "change": change, "alarm": form_json(&alarm) }))?;
        }
        if self.last.is_none_or(|last| frame.at.since_s(last) >= self.every_s) {
            self.last = Some(frame.at);
            self.line("frame", number, &moment, json!({ "room": room(frame), "frame": frame_json(frame) }))?;
        }
        Ok(())
    }

    fn line(&mut self, kind: &str, number: u64, moment: &Value, rest: Value) -> Result<(), RecordingError> {
        let mut line = json!({ "kind": kind, "number": number });
        for object in [moment.clone(), rest] {
            if let (Some(line), Value::Object(more)) = (line.as_object_mut(), object) {
                line.extend(more);
            }
        }
        self.put(&line)
    }

    /// What is different about the alarms since the frame before.
    fn changes(&mut self, frame: &Frame) -> Vec<(&'static str, Alarm)> {
        let now: BTreeMap<AlarmKey, Alarm> = frame.alarms.iter().map(|alarm| (alarm.key, *alarm)).collect();
        let before = std::mem::replace(&mut self.alarms, now);
        let gone = before.iter().filter(|(key, _)| !self.alarms.contains_key(key)).map(|(_, alarm)| ("gone", *alarm));
        let here = self.alarms.iter().filter_map(|(key, alarm)| match before.get(key) {
            None => Some(("new", *alarm)),
            Some(was) if !was.seen && alarm.seen => Some(("seen", *alarm)),
            Some(was) if was != alarm => Some(("changed", *alarm)),
            Some(_) => None,
        });
        gone.chain(here).collect()
    }
}
