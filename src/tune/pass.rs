//! One walk of a recording: every input is stepped through a monitor for each choice of settings.

use super::choice::Choice;
use super::noise::{Meters, Noise};
use crate::engine::Monitor;
use crate::engine::frame::Phase;
use crate::engine::input::{AlarmId, AlarmKey, Entry, Event, Input, Measured, Poll, What as Said};
use crate::engine::settings::{Settings, SignalKind};
use crate::recording::RecordingError;
use crate::recording::format::{Header, Kind};
use crate::recording::json::form_json;
use crate::recording::{reader, stream};
use crate::time::{EngineTime, SECOND_NS};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

/// Alarms that are kept one by one for each recording and choice; beyond it they are counted.
const KEPT_MOST: usize = 20_000;
/// Happenings that are kept for a recording.
const HAPPENINGS_MOST: usize = 1_000;
/// Inputs between two looks at whether to stop.
const LOOK_EVERY: u64 = 4096;

/// An alarm that came.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Occurrence {
    /// Its code.
    pub alarm: String,
    /// The signal or tank it is about; empty where there is only one.
    pub subject: String,
    /// When it came, s since the recording began.
    pub came_s: f64,
    /// When it went; `None`: it was open at the end.
    pub gone_s: Option<f64>,
}

/// What an alarm is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// A gauge reads high-high or more.
    HighHigh,
    /// A gauge reads critical high or more.
    Critical,
    /// The pad pressure reads its ceiling or more.
    Ceiling,
}

/// Something that happened, by the readings alone and the settings on record: the same for every choice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Happening {
    /// What.
    pub what: What,
    /// The tank; empty for the pad.
    pub subject: String,
    /// When, s since the recording began.
    pub at_s: f64,
}

/// What one choice of settings gave.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ChoiceFound {
    /// Why it could not be tried; everything else is then empty.
    pub refused: Option<String>,
    /// Every alarm, in the order in which they came.
    pub occurrences: Vec<Occurrence>,
    /// Alarms that came beyond those.
    pub beyond: u64,
}

/// What a recording gave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Found {
    /// Name of the bay.
    pub bay: String,
    /// Of a drill.
    pub drill: bool,
    /// How long it lasts, s.
    pub lasted_s: f64,
    /// Of that in a transfer, s.
    pub transfer_s: f64,
    /// Where reading stopped before its end.
    pub stopped: Option<String>,
    /// For each choice.
    pub choices: Vec<ChoiceFound>,
    /// What happened.
    pub happenings: Vec<Happening>,
    /// Noise of each signal that is a number.
    pub noise: Vec<Noise>,
}

/// Walks one recording; `None` when told to stop.
///
/// # Errors
/// When it is no recording or one that this program cannot read, or when the file system refuses.
pub fn pass(path: &Path, choices: &[Choice], stop: &AtomicBool) -> Result<Option<Found>, RecordingError> {
    let mut recording = stream::open(path)?;
    let header = recording.header().clone();
    let mut runs: Vec<Run> = choices.iter().map(|choice| Run::new(choice, &header)).collect();
    let mut watched = Watched::new(&header);
    let mut inputs = 0_u64;
    let mut unreadable = None;
    while let Some(record) = recording.next_record()? {
        if record.kind != Kind::Input {
            continue;
        }
        inputs += 1;
        if inputs.is_multiple_of(LOOK_EVERY) && stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        match reader::input(&record) {
            Ok(input) if record.number == inputs => {
                watched.take(&input);
                runs.iter_mut().for_each(|run| run.take(&input));
            }
            Ok(_) => unreadable = Some(format!("input {inputs} is missing; nothing behind it was taken")),
            Err(why) => unreadable = Some(format!("input {inputs} cannot be read: {why}; nothing behind it was taken")),
        }
        if unreadable.is_some() {
            break;
        }
    }
    Ok(Some(Found {
        bay: header.settings.bay.clone(),
        drill: header.drill_speed.is_some(),
        lasted_s: watched.at.since_s(EngineTime(0)),
        transfer_s: watched.transfer_s,
        stopped: unreadable.or(recording.stopped().map(ToString::to_string)),
        choices: runs.into_iter().map(Run::end).collect(),
        happenings: watched.happenings,
        noise: watched.meters.found(&header.settings),
    }))
}

/// A recording under one choice.
struct Run {
    monitor: Option<Monitor>,
    /// Settings replaced on record are taken as they are; otherwise only the line that the papers of a load name.
    as_recorded: bool,
    line: crate::engine::settings::LineSetup,
    /// Open alarms with the place of their occurrence, where it is kept.
    open: BTreeMap<AlarmKey, Option<usize>>,
    found: ChoiceFound,
}

impl Run {
    fn new(choice: &Choice, header: &Header) -> Run {
        let (monitor, refused) = match choice.settings(&header.bay, &header.settings) {
            Ok(settings) => (Some(Monitor::new(settings, header.carried.clone())), None),
            Err(why) => (None, Some(why)),
        };
        let mut run = Run {
            monitor,
            as_recorded: choice.site.is_none(),
            line: header.settings.line.clone(),
            open: BTreeMap::new(),
            found: ChoiceFound { refused, ..ChoiceFound::default() },
        };
        run.look(EngineTime(0));
        run
    }

    fn take(&mut self, input: &Input) {
        let Some(monitor) = &mut self.monitor else { return };
        let changed = match &input.event {
            // Each alarm is taken as seen when it comes, below: what people did then was about the alarms of then.
            Event::Entry(Entry { what: Said::Seen(_), .. }) => false,
            Event::Settings(new) if !self.as_recorded => {
                if new.settings.line == self.line {
                    return;
                }
                self.line = new.settings.line.clone();
                let settings = Settings { line: self.line.clone(), ..monitor.settings().clone() };
                let mut new = new.clone();
                new.settings = settings;
                monitor.advance(&Input { at: input.at, event: Event::Settings(new) })
            }
            _ => monitor.advance(input),
        };
        if changed {
            self.look(input.at);
        }
    }

    /// Notes which alarms came and went; one that came is seen at once, so that each return counts.
    fn look(&mut self, at: EngineTime) {
        let Some(monitor) = &mut self.monitor else { return };
        let at_s = at.since_s(EngineTime(0));
        let now: Vec<AlarmKey> = monitor.open_alarms();
        let found = &mut self.found;
        self.open.retain(|key, place| {
            let stays = now.contains(key);
            if let (false, Some(place)) = (stays, *place) {
                found.occurrences[place].gone_s = Some(at_s);
            }
            stays
        });
        for key in now {
            if self.open.contains_key(&key) {
                continue;
            }
            let place = (found.occurrences.len() < KEPT_MOST).then_some(found.occurrences.len());
            match place {
                Some(_) => found.occurrences.push(occurrence(monitor.settings(), key, at_s)),
                None => found.beyond += 1,
            }
            self.open.insert(key, place);
            let seen = Entry { who: String::new(), leg: 1, what: Said::Seen(key) };
            monitor.advance(&Input { at, event: Event::Entry(seen) });
        }
    }

    fn end(self) -> ChoiceFound {
        self.found
    }
}

/// An alarm's code, and the name of the signal or tank it is about; empty where there is only one.
pub(crate) fn named(settings: &Settings, key: AlarmKey) -> (String, String) {
    let Occurrence { alarm, subject, .. } = occurrence(settings, key, 0.0);
    (alarm, subject)
}

fn occurrence(settings: &Settings, key: AlarmKey, came_s: f64) -> Occurrence {
    let code = form_json(&key.id).as_str().unwrap_or_default().to_owned();
    let at = usize::from(key.subject);
    let subject = match key.id {
        AlarmId::SignalLost | AlarmId::ReadingUnlikely => settings.signals.get(at).map(|s| s.name.clone()),
        AlarmId::LevelSwitchTripped
        | AlarmId::LevelHighHigh
        | AlarmId::LevelWorking
        | AlarmId::LevelCritical
        | AlarmId::LevelSoon
        | AlarmId::OtherTankRises
        | AlarmId::LoadTemperatureOff
        | AlarmId::HighLevelProjected
        | AlarmId::PossibleReaction => settings.tanks.get(at).map(|t| t.name.clone()),
        _ => (at > 0).then(|| at.to_string()),
    };
    Occurrence { alarm: code, subject: subject.unwrap_or_default(), came_s, gone_s: None }
}

/// What the readings alone say, whatever the choice.
struct Watched {
    settings: Settings,
    /// For phase and ceiling, which hang on people's entries and papers alone.
    monitor: Monitor,
    ceiling_pa: Option<f64>,
    at: EngineTime,
    transfer_s: f64,
    happenings: Vec<Happening>,
    /// Which of them hold now: by signal.
    above: BTreeMap<(u16, What), bool>,
    meters: Meters,
}

impl Watched {
    fn new(header: &Header) -> Watched {
        let settings = header.settings.clone();
        let monitor = Monitor::new(settings.clone(), header.carried.clone());
        let meters = Meters::new(&settings);
        let ceiling_pa = monitor.frame().pad.ceiling_pa_gauge;
        let (at, transfer_s, happenings, above) = (EngineTime(0), 0.0, Vec::new(), BTreeMap::new());
        Watched { settings, monitor, ceiling_pa, at, transfer_s, happenings, above, meters }
    }

    fn take(&mut self, input: &Input) {
        if self.monitor.phase() == Phase::Transfer {
            self.transfer_s += input.at.since_s(self.at);
        }
        self.at = self.at.max(input.at);
        match &input.event {
            Event::Entry(_) | Event::Settings(_) => {
                self.monitor.advance(input);
                self.ceiling_pa = self.monitor.frame().pad.ceiling_pa_gauge;
            }
            Event::Poll(poll) => self.poll(poll),
            _ => {}
        }
    }

    fn poll(&mut self, poll: &Poll) {
        let at = poll.requested.midpoint(poll.replied);
        for taken in &poll.values {
            let (Measured::Number(value) | Measured::Current { si: value, .. }) = taken.value else { continue };
            let Some(setup) = self.settings.signals.get(usize::from(taken.signal)) else { continue };
            self.meters.take(taken.signal, at.0 / SECOND_NS, value);
            let tank = setup.tank.and_then(|t| self.settings.tanks.get(usize::from(t)));
            match (setup.kind, tank) {
                (SignalKind::Level, Some(tank)) => {
                    let (name, levels) = (tank.name.clone(), (tank.working.0, tank.high_high.0, tank.critical.0));
                    self.cross((taken.signal, What::HighHigh), &name, value, (levels.1, levels.0), at);
                    self.cross((taken.signal, What::Critical), &name, value, (levels.2, levels.1), at);
                }
                (SignalKind::PadPressure, _) => {
                    if let Some(ceiling) = self.ceiling_pa {
                        // It must have been off it by a twentieth before it can come to it again.
                        self.cross((taken.signal, What::Ceiling), "", value, (ceiling, 0.95 * ceiling), at);
                    }
                }
                _ => {}
            }
        }
    }

    /// Notes that a value came to a limit; it must have been below `rest` before that counts again.
    fn cross(&mut self, key: (u16, What), subject: &str, value: f64, (limit, rest): (f64, f64), at: EngineTime) {
        let above = self.above.entry(key).or_insert(false);
        if value >= limit && !*above {
            *above = true;
            if self.happenings.len() < HAPPENINGS_MOST {
                let at_s = at.since_s(EngineTime(0));
                self.happenings.push(Happening { what: key.1, subject: subject.to_owned(), at_s });
            }
        } else if value < rest {
            *above = false;
        }
    }
}
