//! One walk of a recording: every input is stepped through a monitor for each choice of settings.

use super::choice::Choice;
use super::labels::{self, Stretch};
use super::noise::{Meters, Noise};
use crate::engine::Monitor;
use crate::engine::alarm::condition::MOVEMENT_KG_PER_S;
use crate::engine::alarm::hazards::BACKWARDS_KG_PER_S;
use crate::engine::frame::{Margin, Pad, Phase};
use crate::engine::input::{AlarmId, AlarmKey, Entry, Event, Input, Measured, Poll, RecorderState, What as Said};
use crate::engine::settings::{Settings, SignalKind};
use crate::recording::format::{Header, Kind};
use crate::recording::json::form_json;
use crate::recording::{self, RecordingError};
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
/// A pressure must have been below this part of a limit before it can come to it again, 1.
const OFF_LIMIT: f64 = 0.95;
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
    /// It reads the lowest start to discharge of the relief valve or more.
    Relief,
    /// It reads the highest start to discharge or more: the valve passes gas.
    ReliefOpen,
    /// The pressure of a tank's vapour space reads its own limit or more.
    TankLimit,
    /// The independent switch trips.
    Switch,
    /// The meter reads backwards.
    Reverse,
    /// The flow of a leg ended: the last time before it was closed.
    FlowEnded,
    /// A transfer was started.
    Started,
    /// What waited for the disk was too much: the recording ends.
    Overflow,
    /// The bad end of a drill, by its simulator.
    Harm,
}

/// Something that happened, by the readings, the entries and the settings on record: the same for every choice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Happening {
    /// What.
    pub what: What,
    /// The tank; empty where there is only one.
    pub subject: String,
    /// Of [`What::Harm`] alone: code of the alarm that is for it.
    pub alarm: Option<String>,
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
    /// What was called for, where a drill's simulator has written it into the recording.
    pub known: Option<Vec<Stretch>>,
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
    let (mut unreadable, mut known) = (None, None);
    while let Some(record) = recording.next_record()? {
        match record.kind {
            Kind::Input => {}
            Kind::Truth => {
                known = recording::truth::read(&record).ok();
                continue;
            }
            _ => continue,
        }
        inputs += 1;
        if inputs.is_multiple_of(LOOK_EVERY) && stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        match reader::input(&record) {
            Ok(input) if record.number == inputs => {
                watched.take(&input);
                runs.iter_mut().for_each(|run| run.take(&input));
                if let (Event::Tick, Some(first)) = (&input.event, runs.first().and_then(|run| run.monitor.as_ref())) {
                    watched.margin(first);
                }
            }
            Ok(_) => unreadable = Some(format!("input {inputs} is missing; nothing behind it was taken")),
            Err(why) => unreadable = Some(format!("input {inputs} cannot be read: {why}; nothing behind it was taken")),
        }
        if unreadable.is_some() {
            break;
        }
    }
    let lasted_s = watched.at.since_s(EngineTime(0));
    // Of a drill alone: no watch knows what was really so.
    let known = known.filter(|_| header.drill_speed.is_some());
    watched.happenings.extend(known.as_ref().and_then(harm));
    Ok(Some(Found {
        bay: header.settings.bay.clone(),
        drill: header.drill_speed.is_some(),
        lasted_s,
        transfer_s: watched.transfer_s,
        stopped: unreadable.or(recording.stopped().map(ToString::to_string)),
        choices: runs.into_iter().map(Run::end).collect(),
        known: known.map(|truth| labels::of_drill(&truth, lasted_s)),
        happenings: watched.happenings,
        noise: watched.meters.found(&header.settings),
    }))
}

/// A drill's bad end, where an alarm is for it.
fn harm(truth: &recording::truth::Truth) -> Option<Happening> {
    let harm = truth.harm.as_ref().filter(|harm| harm.alarm.is_some())?;
    let (alarm, at_s) = (harm.alarm.clone(), harm.at_s);
    Some(Happening { what: What::Harm, subject: String::new(), alarm, at_s })
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
        | AlarmId::NearFreezing
        | AlarmId::TankPressureHigh
        | AlarmId::HighLevelProjected
        | AlarmId::PossibleReaction => settings.tanks.get(at).map(|t| t.name.clone()),
        _ => (at > 0).then(|| at.to_string()),
    };
    Occurrence { alarm: code, subject: subject.unwrap_or_default(), came_s, gone_s: None }
}

/// What the readings and entries alone say, whatever the choice.
struct Watched {
    settings: Settings,
    /// For phase and pad limits, which hang on people's entries and papers alone.
    monitor: Monitor,
    pad: Pad,
    at: EngineTime,
    transfer_s: f64,
    /// When the meter last read a flow in this transfer.
    flowed: Option<EngineTime>,
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
        let pad = monitor.frame().pad;
        let (at, transfer_s, happenings, above) = (EngineTime(0), 0.0, Vec::new(), BTreeMap::new());
        Watched { settings, monitor, pad, at, transfer_s, flowed: None, happenings, above, meters }
    }

    fn take(&mut self, input: &Input) {
        let before = self.monitor.phase();
        if before == Phase::Transfer {
            self.transfer_s += input.at.since_s(self.at);
        }
        self.at = self.at.max(input.at);
        match &input.event {
            Event::Entry(_) | Event::Settings(_) => {
                self.monitor.advance(input);
                self.pad = self.monitor.frame().pad;
                self.turn(before);
            }
            Event::Recorder(RecorderState::Overflowed) => self.push(What::Overflow, None, input.at),
            Event::Poll(poll) => self.poll(poll),
            _ => {}
        }
    }

    /// An entry may have begun a transfer or ended one.
    fn turn(&mut self, before: Phase) {
        match (before == Phase::Transfer, self.monitor.phase() == Phase::Transfer) {
            (false, true) => {
                self.flowed = None;
                self.push(What::Started, None, self.at);
            }
            (true, false) => {
                if let Some(at) = self.flowed.take() {
                    self.push(What::FlowEnded, None, at);
                }
            }
            _ => {}
        }
    }

    fn poll(&mut self, poll: &Poll) {
        let at = poll.requested.midpoint(poll.replied);
        for taken in &poll.values {
            let Some(setup) = self.settings.signals.get(usize::from(taken.signal)) else { continue };
            let (kind, tank, signal) = (setup.kind, setup.tank, taken.signal);
            if let (SignalKind::HighLevelSwitch, Measured::Flag(tripped)) = (kind, taken.value) {
                self.cross((signal, What::Switch), tank, f64::from(u8::from(tripped)), (1.0, 1.0), at);
            }
            let (Measured::Number(value) | Measured::Current { si: value, .. }) = taken.value else { continue };
            self.meters.take(signal, at.0 / SECOND_NS, value);
            match (kind, tank.and_then(|t| self.settings.tanks.get(usize::from(t)))) {
                (SignalKind::TankPressure, Some(_)) => self.tank_pressure((signal, tank), value, at),
                (SignalKind::Level, Some(setup)) => {
                    let (working, high_high, critical) = (setup.working.0, setup.high_high.0, setup.critical.0);
                    self.cross((signal, What::HighHigh), tank, value, (high_high, working), at);
                    self.cross((signal, What::Critical), tank, value, (critical, high_high), at);
                }
                (SignalKind::PadPressure, _) => self.pad(signal, value, at),
                (SignalKind::FlowMassRate, _) => self.flow(signal, value, at),
                // A litre for a kilogram, as the conditions take it.
                (SignalKind::FlowVolumeRate, _) => self.flow(signal, 1000.0 * value, at),
                _ => {}
            }
        }
    }

    fn pad(&mut self, signal: u16, pa: f64, at: EngineTime) {
        let Pad { ceiling_pa_gauge, relief_from_pa_gauge, relief_to_pa_gauge, .. } = self.pad;
        let limits = [
            (What::Ceiling, ceiling_pa_gauge),
            (What::Relief, relief_from_pa_gauge),
            (What::ReliefOpen, relief_to_pa_gauge),
        ];
        for (what, limit) in limits {
            if let Some(limit) = limit {
                self.cross((signal, what), None, pa, (limit, OFF_LIMIT * limit), at);
            }
        }
    }

    fn tank_pressure(&mut self, (signal, tank): (u16, Option<u16>), pa: f64, at: EngineTime) {
        let vent = tank.and_then(|tank| self.settings.blow.vents.get(usize::from(tank)));
        if let Some(limit) = vent.and_then(|vent| vent.limit) {
            self.cross((signal, What::TankLimit), tank, pa, (limit.0, OFF_LIMIT * limit.0), at);
        }
    }

    fn flow(&mut self, signal: u16, kg_per_s: f64, at: EngineTime) {
        if self.monitor.phase() == Phase::Transfer && kg_per_s > MOVEMENT_KG_PER_S {
            self.flowed = Some(at);
        }
        self.cross((signal, What::Reverse), None, -kg_per_s, (BACKWARDS_KG_PER_S, 0.0), at);
    }

    fn margin(&mut self, monitor: &Monitor) {
        if let (Phase::Transfer, Margin::Known { kg, .. }) = (monitor.phase(), monitor.margin()) {
            self.meters.margin(self.at.0 / SECOND_NS, *kg);
        }
    }

    /// Notes that a value came to a limit; it must have been below `rest` before that counts again.
    fn cross(&mut self, key: (u16, What), tank: Option<u16>, value: f64, (limit, rest): (f64, f64), at: EngineTime) {
        let above = self.above.entry(key).or_insert(false);
        if value >= limit && !*above {
            *above = true;
            self.push(key.1, tank, at);
        } else if value < rest {
            *above = false;
        }
    }

    fn push(&mut self, what: What, tank: Option<u16>, at: EngineTime) {
        if self.happenings.len() < HAPPENINGS_MOST {
            let tank = tank.and_then(|t| self.settings.tanks.get(usize::from(t)));
            let subject = tank.map_or_else(String::new, |tank| tank.name.clone());
            self.happenings.push(Happening { what, subject, alarm: None, at_s: at.since_s(EngineTime(0)) });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{Site, load_delivery};
    use crate::engine::NUMERICS_VERSION;
    use crate::engine::input::Carried;
    use crate::recording::format::PROGRAM_VERSION;
    use crate::time::WallTime;
    use crate::units::{GaugePa, Unit};

    /// A delivery to the shipped site under way: what its readings and entries show is read off them by their limits.
    #[test]
    fn what_happened_is_read_off_readings_and_entries() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let site = crate::config::load(&folder.join("site.toml")).unwrap_or_else(|faults| panic!("{faults}"));
        let delivery = load_delivery(&folder.join("delivery.toml"), &site).unwrap_or_else(|faults| panic!("{faults}"));
        let mut watched = Watched::new(&header(&site));
        watched.settings.blow.vents[0].limit = Some(GaugePa(7_000.0));
        let settings = site.bays[0].settings.clone();
        let mut take = |s: u64, event| watched.take(&Input { at: EngineTime(s * SECOND_NS), event });
        let entry = |what| Event::Entry(Entry { who: "attendant".into(), leg: 1, what });
        let poll = |s: u64, kind, value| {
            let at = settings.signals.iter().position(|signal| signal.kind == kind).expect("fitted");
            let signal = u16::try_from(at).expect("few");
            Event::Poll(Poll::at_once(settings.signals[at].device, EngineTime(s * SECOND_NS), [(signal, value)]))
        };
        let number = Measured::Number;
        let psi = |value: f64| number(Unit::parse("psi gauge").expect("a unit").to_si(value));
        take(1, entry(Said::DeliveryOpened(Box::new(delivery.setup.clone()))));
        // A flow before the start is none of the transfer.
        take(2, poll(2, SignalKind::FlowMassRate, number(5.0)));
        take(10, entry(Said::TransferStarted));
        take(20, poll(20, SignalKind::FlowMassRate, number(5.0)));
        take(30, poll(30, SignalKind::FlowMassRate, number(0.05)));
        take(40, poll(40, SignalKind::FlowMassRate, number(-0.3)));
        // The site's ceiling is 25 psi, the plate's relief valve begins at 36 psi and is open at 39.6 psi.
        for (s, pad) in [(50, 24.9), (51, 25.0), (52, 24.9), (53, 36.5), (54, 39.7), (55, 20.0), (56, 25.1)] {
            take(s, poll(s, SignalKind::PadPressure, psi(pad)));
        }
        let tank = &settings.tanks[0];
        take(60, poll(60, SignalKind::Level, number(tank.high_high.0)));
        take(61, poll(61, SignalKind::HighLevelSwitch, Measured::Flag(true)));
        take(62, poll(62, SignalKind::Level, number(tank.critical.0)));
        for (s, pa) in [(63, 6_990.0), (64, 7_000.0), (65, 6_900.0), (66, 7_010.0)] {
            take(s, poll(s, SignalKind::TankPressure, number(pa)));
        }
        take(67, Event::Recorder(RecorderState::Overflowed));
        take(70, entry(Said::Closed));
        let found: Vec<(What, u64)> = watched.happenings.iter().map(|h| (h.what, h.at_s.round() as u64)).collect();
        let expected = [
            (What::Started, 10),
            (What::Reverse, 40),
            (What::Ceiling, 51),
            (What::Relief, 53),
            (What::ReliefOpen, 54),
            (What::Ceiling, 56),
            (What::HighHigh, 60),
            (What::Switch, 61),
            (What::Critical, 62),
            (What::TankLimit, 64),
            (What::Overflow, 67),
            (What::FlowEnded, 20),
        ];
        assert_eq!(found, expected);
        assert!(watched.happenings.iter().all(|h| h.subject.is_empty() || h.subject == tank.name));
    }

    fn header(site: &Site) -> Header {
        Header {
            program_version: PROGRAM_VERSION.to_owned(),
            numerics_version: NUMERICS_VERSION,
            drill_speed: None,
            boot_id: "none".into(),
            machine_ns_at_zero: 0,
            wall_at_zero: WallTime(0),
            bay: site.bays[0].slug.clone(),
            texts: site.texts.clone(),
            settings: site.bays[0].settings.clone(),
            carried: Carried::default(),
        }
    }
}
