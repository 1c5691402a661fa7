//! A whole recording in one object: the final masses, how long each verdict held, which alarms came.

use super::json::form_json;
use crate::engine::frame::{DeviceState, Frame, Phase, Priority, VerdictWord, Witness};
use crate::engine::input::AlarmKey;
use crate::engine::settings::Settings;
use crate::time::EngineTime;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// What has been seen of a recording's outputs so far.
#[derive(Debug, Default)]
pub(super) struct Summary {
    first: Option<EngineTime>,
    last: Option<Frame>,
    /// Time in each verdict while a transfer was on, s, in the order in which they first came.
    words: Vec<(VerdictWord, f64)>,
    alarms: BTreeMap<AlarmKey, Seen>,
}

/// An alarm over the whole of it.
#[derive(Debug)]
struct Seen {
    priority: Priority,
    came: u64,
    first: EngineTime,
    open_s: f64,
    open: bool,
}

impl Summary {
    /// Takes the next output.
    pub fn take(&mut self, frame: &Frame) {
        self.first.get_or_insert(frame.at);
        if let Some(last) = &self.last {
            let passed_s = frame.at.since_s(last.at);
            if last.phase == Phase::Transfer {
                let word = last.verdict.word;
                match self.words.iter_mut().find(|(known, _)| *known == word) {
                    Some((_, s)) => *s += passed_s,
                    None => self.words.push((word, passed_s)),
                }
            }
            self.alarms.values_mut().filter(|seen| seen.open).for_each(|seen| seen.open_s += passed_s);
        }
        let open: Vec<AlarmKey> = frame.alarms.iter().map(|alarm| alarm.key).collect();
        for alarm in &frame.alarms {
            let new = Seen { priority: alarm.priority, came: 0, first: frame.at, open_s: 0.0, open: false };
            let seen = self.alarms.entry(alarm.key).or_insert(new);
            seen.came += u64::from(!seen.open);
            seen.open = true;
        }
        self.alarms.iter_mut().filter(|(key, _)| !open.contains(key)).for_each(|(_, seen)| seen.open = false);
        self.last = Some(frame.clone());
    }

    /// As JSON, to stand in the last line; `null` stands for what never was.
    pub fn json(&self, settings: &Settings) -> Map<String, Value> {
        let last = self.last.as_ref();
        let delivery = last.and_then(|frame| frame.delivery.as_ref());
        let lasted_s = self.first.zip(last).map(|(first, last)| last.at.since_s(first));
        let until = last.map(|frame| delivery.and_then(|d| d.closed).unwrap_or(frame.at));
        let transfer_s = delivery.and_then(|d| d.started).zip(until).map(|(started, until)| until.since_s(started));
        let masses = last.map(|frame| {
            let one = |w: &Witness| {
                json!({ "id": form_json(&w.id), "validity": form_json(&w.validity), "received_kg": form_json(&w.received_kg) })
            };
            frame.witnesses.iter().map(one).collect::<Vec<_>>()
        });
        let words = self.words.iter().map(|(word, s)| json!({ "word": form_json(word), "lasted_s": s }));
        let devices = last.map(|frame| {
            let name = |device: u16| settings.devices.get(usize::from(device)).map(|setup| setup.name.as_str());
            let one = |d: &DeviceState| json!({ "name": name(d.device), "answered": d.answered, "missed": d.missed });
            frame.devices.iter().map(one).collect::<Vec<_>>()
        });
        let object = json!({
            "lasted_s": lasted_s, "transfer_s": transfer_s, "phase": last.map(|frame| form_json(&frame.phase)),
            "delivery": delivery.map(|d| d.id.as_str()), "planned_kg": delivery.map(|d| d.planned_kg),
            "loaded_kg": delivery.map(|d| d.loaded_kg), "masses": masses,
            "together_kg": last.and_then(|frame| frame.together).map(|t| form_json(&t.received_kg)),
            "verdict": last.map(|frame| form_json(&frame.verdict)), "verdicts": words.collect::<Vec<_>>(),
            "alarms": self.alarms.iter().map(|(key, seen)| seen.json(*key)).collect::<Vec<_>>(), "devices": devices,
        });
        match object {
            Value::Object(map) => map,
            _ => Map::new(),
        }
    }
}

impl Seen {
    fn json(&self, key: AlarmKey) -> Value {
        json!({
            "key": form_json(&key), "priority": form_json(&self.priority), "came": self.came, "first_ns": self.first.0,
            "lasted_s": self.open_s, "open": self.open,
        })
    }
}
