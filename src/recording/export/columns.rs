//! What a row holds. `docs/interface.md` lists the columns for people; a test holds the two together.

use super::Cell;
use crate::config::signals;
use crate::engine::frame::{Estimate, Frame, Margin, Moment};
use crate::engine::settings::{Settings, SignalSetup};
use crate::recording::json::form_json;
use serde_json::Value;

/// The three witnesses as columns call them.
const WITNESSES: [&str; 3] = ["by_flow_meter", "by_scale", "by_tank_level"];

/// Every column's name, and an empty cell of its kind.
pub(super) fn columns(settings: &Settings) -> Vec<(String, Cell)> {
    let (number, whole, text) = (Cell::Number(None), Cell::Whole(None), Cell::Text(None));
    let mut all: Vec<(String, Cell)> = Vec::new();
    let mut add = |name: &str, cell: &Cell| all.push((name.to_owned(), cell.clone()));
    add("time_utc", &text);
    add("wall_unix_ns", &whole);
    add("at_s", &number);
    add("since_start_s", &number);
    for name in ["phase", "delivery"] {
        add(name, &text);
    }
    for witness in WITNESSES {
        add(&format!("{witness}_kg"), &number);
        add(&format!("{witness}_u_kg"), &number);
        add(&format!("{witness}_validity"), &text);
    }
    for name in ["together_kg", "together_u_kg", "rate_kg_per_s", "rate_u_kg_per_s"] {
        add(name, &number);
    }
    add("verdict", &text);
    for name in [
        "agree_within_kg",
        "leak_below_trailer_kg_per_min",
        "leak_below_tank_kg_per_min",
        "missing_kg",
        "missing_u_kg",
        "margin_kg",
        "contents_kg",
        "planned_in_s",
        "first_gas_in_s",
        "high_high_in_s",
        "be_at_valve_in_s",
        "pad_pressure_pa_gauge",
        "pad_ceiling_pa_gauge",
    ] {
        add(name, &number);
    }
    add("alarms_open", &whole);
    add("alarms", &text);
    for signal in signal_names(settings) {
        add(&signal, &number);
        add(&format!("{signal}_validity"), &text);
    }
    all
}

/// A column for each signal: its name in the site file, then its kind, which ends in the unit.
fn signal_names(settings: &Settings) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for (i, signal) in settings.signals.iter().enumerate() {
        let name = format!("{}_{}", word(&signal.name), kind(signal));
        let taken = names.contains(&name);
        names.push(if taken { format!("signal_{i}_{name}") } else { name });
    }
    names
}

fn kind(signal: &SignalSetup) -> &'static str {
    signals::FORMS.iter().find(|form| form.kind == signal.kind).map_or("si", |form| form.name)
}

/// Letters, digits and single underscores.
fn word(name: &str) -> String {
    let plain = name.chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { '_' });
    plain.collect::<String>().split('_').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("_")
}

/// The cells of a frame, in the order of [`columns`].
pub(super) fn row(frame: &Frame, settings: &Settings) -> Vec<Cell> {
    let wall = frame.clock.wall_at(frame.at).0;
    let utc = jiff::Timestamp::from_nanosecond(i128::from(wall)).map(|t| t.to_string()).ok();
    let started = frame.delivery.as_ref().and_then(|d| d.started);
    let mut cells = vec![
        Cell::Text(utc),
        Cell::Whole(Some(wall)),
        Cell::Number(Some(frame.at.since_s(crate::time::EngineTime(0)))),
        Cell::Number(started.map(|started| frame.at.since_s(started))),
        code(&form_json(&frame.phase)),
        Cell::Text(frame.delivery.as_ref().map(|d| d.id.clone())),
    ];
    for witness in &frame.witnesses {
        estimate(&mut cells, witness.received_kg);
        cells.push(code(&form_json(&witness.validity)));
    }
    estimate(&mut cells, frame.together.as_ref().map(|t| t.received_kg));
    estimate(&mut cells, frame.rate);
    let verdict = &frame.verdict;
    cells.push(code(&form_json(&verdict.word)));
    for value in [verdict.agree_within_kg, verdict.leak_below_trailer_kg_per_min, verdict.leak_below_tank_kg_per_min] {
        cells.push(Cell::Number(value));
    }
    estimate(&mut cells, verdict.missing_kg);
    let margin = match &frame.margin {
        Margin::Known { kg, .. } => Some(*kg),
        Margin::Unknown => None,
    };
    let until = |moment: Option<Moment>| moment.map(|m| m.q50.since_s(frame.at) - frame.at.since_s(m.q50));
    let valve = frame.finish.be_at_valve_by.map(|by| by.since_s(frame.at) - frame.at.since_s(by));
    for value in [
        margin,
        frame.tank.as_ref().and_then(|tank| tank.contents_kg),
        until(frame.finish.planned),
        until(frame.finish.first_gas),
        until(frame.finish.level),
        valve,
        frame.pad.pressure_pa_gauge,
        frame.pad.ceiling_pa_gauge,
    ] {
        cells.push(Cell::Number(value));
    }
    cells.push(Cell::Whole(i64::try_from(frame.alarms.len()).ok()));
    cells.push(Cell::Text(Some(open_alarms(frame))));
    for (i, _) in settings.signals.iter().enumerate() {
        let reading = frame.readings.get(i);
        cells.push(Cell::Number(reading.and_then(|r| r.value_si)));
        cells.push(reading.map_or(Cell::Text(None), |r| code(&form_json(&r.validity))));
    }
    cells
}

/// The open alarms' codes with what they are about, the gravest first.
fn open_alarms(frame: &Frame) -> String {
    let one =
        |alarm: &crate::engine::frame::Alarm| format!("{}:{}", words(&form_json(&alarm.key.id)), alarm.key.subject);
    frame.alarms.iter().map(one).collect::<Vec<_>>().join(" ")
}

fn estimate(cells: &mut Vec<Cell>, estimate: Option<Estimate>) {
    cells.push(Cell::Number(estimate.map(|e| e.value)));
    cells.push(Cell::Number(estimate.map(|e| e.u)));
}

fn code(value: &Value) -> Cell {
    Cell::Text(Some(words(value)))
}

/// A code of the JSON as one word: `{"lost": {"missed": "time_out"}}` becomes `lost/missed/time_out`.
fn words(value: &Value) -> String {
    match value {
        Value::String(word) => word.clone(),
        Value::Object(map) => {
            map.iter().map(|(key, inner)| format!("{key}/{}", words(inner))).collect::<Vec<_>>().join(" ")
        }
        other => other.to_string(),
    }
}
