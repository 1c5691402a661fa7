//! What the monitor said in a drill and what was entered at it, by the plant's or the recording's time: followed while the drill runs, and
//! read off its recording when it is over.

use super::outcome::Moment;
use crate::play::player::is_made_again;
use brimwatch::engine::frame::{Frame, Phase};
use brimwatch::engine::input::{AlarmId, AlarmKey, Entry, Event, What};
use brimwatch::picture::History;
use brimwatch::recording::format::Kind;
use brimwatch::recording::{reader, stream};
use brimwatch::time::EngineTime;
use std::path::Path;

/// Nothing that the monitor says is kept finer than this, s: its tick.
const TICK_S: f64 = 1.0;
/// What one cause lets speak, as the signals of a device that is lost, speaks within this, s.
const TOGETHER_S: f64 = 10.0;

/// By how much the monitor's engine time is ahead of the plant's: another figure after each standing still.
#[derive(Debug, Clone, Default)]
pub struct Ahead {
    /// From which engine time on, s, and by how much, s.
    stretches: Vec<(f64, f64)>,
    /// The watch goes on anew.
    anew: bool,
}

impl Ahead {
    /// A frame of this engine time was seen at this plant time. It is never from later than now: the one that was caught
    /// freshest comes nearest.
    pub fn hear(&mut self, engine: EngineTime, plant_s: f64) {
        let engine_s = engine.since_s(EngineTime(0));
        match self.stretches.last_mut().filter(|_| !self.anew) {
            Some((_, ahead_s)) => *ahead_s = ahead_s.max(engine_s - plant_s),
            None => self.stretches.push((engine_s, engine_s - plant_s)),
        }
        self.anew = false;
    }

    /// Plant and watch stood still, and go on.
    pub fn begin_anew(&mut self) {
        self.anew = true;
    }

    /// The engine time at a plant's time, s; not before the recording's beginning.
    #[must_use]
    pub fn engine_s(&self, plant_s: f64) -> f64 {
        let stretch = self.stretches.iter().rev().find(|(from_s, ahead_s)| from_s - ahead_s <= plant_s);
        (plant_s + stretch.or(self.stretches.first()).map_or(0.0, |(_, ahead_s)| *ahead_s)).max(0.0)
    }

    /// The plant's time at an engine time, s.
    #[must_use]
    pub fn plant_s(&self, engine: EngineTime) -> f64 {
        let engine_s = engine.since_s(EngineTime(0));
        let stretch = self.stretches.iter().rev().find(|(from_s, _)| *from_s <= engine_s);
        engine_s - stretch.or(self.stretches.first()).map_or(0.0, |(_, ahead_s)| *ahead_s)
    }
}

/// What the monitor believed at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Said {
    /// Received by flow meter, scale and tank level, kg; None: lost, or outside a transfer.
    pub received_kg: [Option<f64>; 3],
    /// By how much each is off from what it is held against, kg.
    pub off_kg: [Option<f64>; 3],
    /// Pressure on the trailer, Pa gauge.
    pub pad_pa_gauge: Option<f64>,
    /// Its ceiling, Pa gauge.
    pub ceiling_pa_gauge: Option<f64>,
}

impl Said {
    fn of(frame: &Frame, against_kg: Option<f64>) -> Said {
        let in_transfer = frame.phase == Phase::Transfer;
        let received_kg = [0, 1, 2].map(|at: usize| {
            let witness = &frame.witnesses[at];
            let credible = in_transfer && witness.validity.is_credible();
            witness.received_kg.filter(|_| credible).map(|estimate| estimate.value)
        });
        let pad = &frame.pad;
        Said {
            received_kg,
            off_kg: received_kg.map(|kg| Some(kg? - against_kg?)),
            pad_pa_gauge: pad.pressure_pa_gauge,
            ceiling_pa_gauge: pad.ceiling_pa_gauge,
        }
    }

    /// The newer of two, with the highest pressure of both.
    fn join(&self, newer: &Said) -> Said {
        let highest = self.pad_pa_gauge.into_iter().chain(newer.pad_pa_gauge).max_by(f64::total_cmp);
        Said { pad_pa_gauge: highest, ..*newer }
    }
}

/// All of it; times are the plant's, s.
#[derive(Debug, Clone)]
pub struct Told {
    /// What was said and entered, in words.
    pub moments: Vec<Moment>,
    /// Each alarm when it first spoke; of several of a kind that speak together the first.
    pub spoke: Vec<(f64, AlarmKey)>,
    /// When an alarm was entered as seen.
    pub seen: Vec<f64>,
    /// Each phase and since when.
    pub phases: Vec<(f64, Phase)>,
    /// What it believed.
    pub said: History<Said>,
    /// Every alarm that ever spoke.
    heard: Vec<AlarmKey>,
    /// Alarms that nobody has seen yet.
    unseen: Vec<AlarmKey>,
}

impl Default for Told {
    fn default() -> Told {
        Told {
            moments: Vec::new(),
            spoke: Vec::new(),
            seen: Vec::new(),
            phases: Vec::new(),
            said: History::new(TICK_S, Said::join),
            heard: Vec::new(),
            unseen: Vec::new(),
        }
    }
}

impl Told {
    /// Reads a recording; `against_kg` as for [`Told::frame`], of a frame and its time.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn of(
        recording: &Path,
        ahead: &Ahead,
        mut against_kg: impl FnMut(&Frame, f64) -> Option<f64>,
    ) -> Result<Told, String> {
        let mut stream = stream::open(recording).map_err(|e| e.to_string())?;
        let mut told = Told::default();
        while let Some(record) = stream.next_record().map_err(|e| e.to_string())? {
            match record.kind {
                Kind::Output => {
                    let frame = reader::frame(&record)?;
                    let at_s = ahead.plant_s(frame.at);
                    told.frame(&frame, at_s, against_kg(&frame, at_s));
                }
                Kind::Input => {
                    let input = reader::input(&record)?;
                    if let Event::Entry(entry) = &input.event {
                        told.entry(entry, ahead.plant_s(input.at));
                    }
                }
                _ => {}
            }
        }
        Ok(told)
    }

    /// Takes a frame in. `against_kg`: what each witness is held against: what was received then, or, behind a recording,
    /// where nobody knows that, what all say together.
    pub fn frame(&mut self, frame: &Frame, at_s: f64, against_kg: Option<f64>) {
        if self.phases.last().is_none_or(|(_, phase)| *phase != frame.phase) {
            self.phases.push((at_s, frame.phase));
        }
        self.said.push(at_s, Said::of(frame, against_kg));
        for alarm in &frame.alarms {
            if self.heard.contains(&alarm.key) {
                continue;
            }
            self.heard.push(alarm.key);
            let together = |(s, key): &(f64, AlarmKey)| key.id == alarm.key.id && at_s - s < TOGETHER_S;
            if !self.spoke.iter().any(together) {
                self.spoke.push((at_s, alarm.key));
                self.moments.push(Moment { at_s, who: "monitor", what: words(alarm.key.id) });
            }
        }
    }

    /// Notes what was seen since the frame before: an alarm stays until somebody has.
    pub fn notice_seen(&mut self, frame: &Frame, at_s: f64) {
        let is_unseen = |key: &AlarmKey| frame.alarms.iter().any(|alarm| alarm.key == *key && !alarm.seen);
        let is_shelved = |key: &AlarmKey| frame.shelves.iter().any(|shelf| shelf.key == *key);
        if self.unseen.iter().any(|key| !is_unseen(key) && !is_shelved(key)) {
            self.seen.push(at_s);
        }
        self.unseen = frame.alarms.iter().filter(|alarm| !alarm.seen).map(|alarm| alarm.key).collect();
    }

    /// Takes an entry in.
    pub fn entry(&mut self, entry: &Entry, at_s: f64) {
        let said = match &entry.what {
            What::DeliveryOpened(papers) => format!("opens delivery {}", papers.id),
            What::TransferStarted => "enters that the transfer has started".to_owned(),
            What::Closed => "enters that the leg is closed".to_owned(),
            What::Seen(key) => {
                self.seen.push(at_s);
                format!("has seen: {}", words(key.id))
            }
            What::Shelved { key, .. } => format!("shelves: {}", words(key.id)),
            What::Unshelved(key) => format!("takes from the shelf: {}", words(key.id)),
            other => format!("enters: {}", spaced(&format!("{other:?}"))),
        };
        let who = match entry.who.as_str() {
            who if is_made_again(who) => "recording",
            // With it every drill begins.
            _ if matches!(entry.what, What::DeliveryOpened(_)) => "trainer",
            "trainer" => "trainer",
            _ => "trainee",
        };
        self.moments.push(Moment { at_s, who, what: said });
    }
}

/// What was received by each witness at each stored output of a recording: its time, s, and kg.
pub type Received = Vec<(f64, [Option<f64>; 3])>;

/// Reads that off a recording.
///
/// # Errors
/// When it cannot be read.
pub fn received(recording: &Path) -> Result<Received, String> {
    let mut stream = stream::open(recording).map_err(|e| e.to_string())?;
    let mut received = Received::new();
    while let Some(record) = stream.next_record().map_err(|e| e.to_string())? {
        if record.kind == Kind::Output {
            let frame = reader::frame(&record)?;
            received.push((frame.at.since_s(EngineTime(0)), Said::of(&frame, None).received_kg));
        }
    }
    Ok(received)
}

/// What all witnesses say together, kg.
#[must_use]
pub fn together_kg(frame: &Frame) -> Option<f64> {
    frame.together.map(|together| together.received_kg.value)
}

/// An alarm as scenario files call it: the words of its name in the catalogue.
#[must_use]
pub fn words(id: AlarmId) -> String {
    spaced(&format!("{id:?}"))
}

/// The first name of what is printed so, its words apart and small.
fn spaced(name: &str) -> String {
    let mut words = String::new();
    for c in name.chars().take_while(char::is_ascii_alphanumeric) {
        if c.is_uppercase() && !words.is_empty() {
            words.push(' ');
        }
        words.extend(c.to_lowercase());
    }
    words
}

/// A phase as the picture calls it.
#[must_use]
pub fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::Idle => "idle",
        Phase::Opened => "opened",
        Phase::Transfer => "transfer",
        Phase::Closed => "closed",
    }
}
