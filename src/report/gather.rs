//! Goes through the recordings of one delivery and gathers its account.

use super::AccountError;
use super::account::{
    Account, AgainstTicket, AlarmAccount, CAUTION, DeviceAccount, EntryAccount, Figure, GapAccount, Leg, Level, Limits,
    Moment, Pad, Part, RecordingAccount, Rejected, Said, ShelvedAccount, VerdictTime, WhyNot, Witnessed,
};
use super::course::Gone;
use super::{ticket, told};
use crate::config::keys::{self, Presence};
use crate::engine::alarm::catalogue;
use crate::engine::frame::{Frame, Phase, VerdictWord};
use crate::engine::input::{AlarmKey, Carried, Entry, Event, Gap, Input, What};
use crate::engine::settings::{DeliverySetup, Settings, SignalKind, TankSetup};
use crate::engine::steps::StepState;
use crate::recording::format::{Kind, PROGRAM_VERSION, Record};
use crate::recording::json::form_json;
use crate::recording::origin::Origin;
use crate::recording::reader::{self, Recording};
use crate::time::{EngineTime, SECOND_NS, WallAnchor, WallTime};
use crate::tune;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// A gap between two recordings that is worth a line, ns: the second that a tick lasts, and one more.
const GAP_NS: i64 = 2 * SECOND_NS.cast_signed();

/// What was gathered.
#[derive(Debug)]
pub(super) struct Gathered {
    pub account: Account,
    /// What was known at the close, else in the end.
    pub frame: Option<Box<Frame>>,
    pub settings: Settings,
}

/// Goes through `paths`, in their order, each up to so many bytes; `asked` is for messages.
pub(super) fn gather(asked: &Path, paths: &[(PathBuf, u64)], zone: &TimeZone) -> Result<Gathered, AccountError> {
    let mut gather = Gather::default();
    for (path, upto) in paths {
        let mut bytes = reader::read(path)?;
        bytes.truncate(usize::try_from(*upto).unwrap_or(usize::MAX));
        gather.recording(path, &reader::walk(path, &bytes)?);
    }
    gather.end(zone).ok_or_else(|| AccountError::NoDelivery(asked.to_owned()))
}

#[derive(Default)]
struct Gather {
    settings: Option<Settings>,
    site: String,
    query_above_en: f64,
    drill_speed: Option<f64>,
    imported: Option<Origin>,
    clock: WallAnchor,
    last_at: EngineTime,
    delivery: Option<Delivery>,
    recordings: Vec<RecordingAccount>,
}

/// One delivery as far as it has been gone through.
struct Delivery {
    setup: DeliverySetup,
    opened: Option<Moment>,
    legs: Vec<Leg>,
    entries: Vec<EntryAccount>,
    alarms: Vec<AlarmAccount>,
    /// Open alarms with their place among `alarms`; `None`: it came after the close.
    open: BTreeMap<AlarmKey, Option<usize>>,
    alarms_after_close: u64,
    gaps: Vec<GapAccount>,
    verdicts: Vec<(VerdictWord, f64)>,
    /// Verdict and time of the last frame of a transfer in this recording.
    verdict: Option<(VerdictWord, EngineTime)>,
    /// Answered and missed rounds in the recordings before, and in this one.
    devices: BTreeMap<String, (u64, u64)>,
    devices_here: BTreeMap<String, (u64, u64)>,
    /// The last frame before anything could move.
    before: Option<Box<Frame>>,
    first: Option<Box<Frame>>,
    latest: Option<Box<Frame>>,
    closing: Option<Box<Frame>>,
    rejected: Option<Rejected>,
    /// As the last frame shows them: they go on after the close, to the release.
    steps: Vec<StepState>,
    course: Gone,
    pad: PadSeen,
    /// The first recording that is of it.
    recordings_from: usize,
}

/// The trailer's pressure as far as it has been gone through.
#[derive(Default)]
struct PadSeen {
    highest_pa_gauge: Option<f64>,
    /// The last that could be used before the close, and in all.
    before_close: Option<(f64, WallTime)>,
    last: Option<(f64, WallTime)>,
}

impl PadSeen {
    fn take(&mut self, frame: &Frame, at: WallTime) {
        let Some(pa) = frame.pad.pressure_pa_gauge else { return };
        self.last = Some((pa, at));
        if frame.phase != Phase::Closed {
            self.before_close = self.last;
        }
        if frame.phase == Phase::Transfer {
            self.highest_pa_gauge = Some(self.highest_pa_gauge.map_or(pa, |highest| highest.max(pa)));
        }
    }

    fn end(self, of_close: Option<&Frame>) -> Pad {
        let at_close = of_close.map(|frame| frame.pad);
        Pad {
            at_close_pa_gauge: at_close.and_then(|pad| pad.pressure_pa_gauge),
            last_known_pa_gauge: self.before_close.map(|(pa, _)| pa),
            last_known: self.before_close.map(|(_, at)| at.into()),
            at_end_pa_gauge: self.last.map(|(pa, _)| pa),
            at_end: self.last.map(|(_, at)| at.into()),
            highest_pa_gauge: self.highest_pa_gauge,
            ceiling_pa_gauge: at_close.and_then(|pad| pad.ceiling_pa_gauge),
            mawp_pa_gauge: at_close.and_then(|pad| pad.mawp_pa_gauge),
        }
    }
}

impl Delivery {
    fn new(setup: DeliverySetup, opened: Option<Moment>, recordings_from: usize) -> Delivery {
        Delivery {
            setup,
            opened,
            legs: Vec::new(),
            entries: Vec::new(),
            alarms: Vec::new(),
            open: BTreeMap::new(),
            alarms_after_close: 0,
            gaps: Vec::new(),
            verdicts: Vec::new(),
            verdict: None,
            devices: BTreeMap::new(),
            devices_here: BTreeMap::new(),
            before: None,
            first: None,
            latest: None,
            closing: None,
            rejected: None,
            steps: Vec::new(),
            course: Gone::new(),
            pad: PadSeen::default(),
            recordings_from,
        }
    }

    fn is_closed(&self) -> bool {
        !self.legs.is_empty() && self.legs.iter().all(|leg| leg.closed.is_some())
    }

    fn entered(&mut self, settings: &Settings, entry: &Entry, at: Moment) {
        match &entry.what {
            What::TransferStarted => {
                self.legs.push(Leg { leg: entry.leg, started: Some(at.clone()), closed: None });
                self.closing = None;
            }
            What::Closed => match self.legs.last_mut() {
                Some(leg) if leg.closed.is_none() => leg.closed = Some(at.clone()),
                _ => {}
            },
            What::Seen(key) => {
                if let Some(alarm) = self.alarm(*key) {
                    alarm.seen.get_or_insert(Said { at: at.clone(), who: entry.who.clone() });
                }
            }
            What::Shelved { key, for_s } => {
                if let Some(alarm) = self.alarm(*key) {
                    let (at, who, for_s) = (at.clone(), entry.who.clone(), *for_s);
                    alarm.shelved.push(ShelvedAccount { at, who, for_s });
                }
            }
            What::Rejected { reason } => {
                let (who, reason) = (entry.who.clone(), reason.clone());
                self.rejected = Some(Rejected { at: at.clone(), who, reason });
            }
            _ => {}
        }
        let (what, about) = told::entry(settings, &entry.what);
        self.entries.push(EntryAccount { at, who: entry.who.clone(), leg: Some(entry.leg), what, about });
    }

    fn alarm(&mut self, key: AlarmKey) -> Option<&mut AlarmAccount> {
        let place = self.open.get(&key).copied().flatten()?;
        self.alarms.get_mut(place)
    }

    /// Takes a frame of this delivery.
    fn shown(&mut self, settings: &Settings, frame: Frame, clock: WallAnchor) {
        let at = clock.wall_at(frame.at);
        self.look_at_alarms(settings, &frame, at);
        self.pad.take(&frame, at);
        if self.steps != frame.steps {
            self.steps.clone_from(&frame.steps);
        }
        if let Some((word, at)) = self.verdict.take() {
            let passed_s = frame.at.since_s(at);
            match self.verdicts.iter_mut().find(|(known, _)| *known == word) {
                Some((_, lasted_s)) => *lasted_s += passed_s,
                None => self.verdicts.push((word, passed_s)),
            }
        }
        if self.closing.is_some() {
            return;
        }
        for device in &frame.devices {
            let name = settings.devices.get(usize::from(device.device)).map_or("", |d| d.name.as_str());
            self.devices_here.insert(name.to_owned(), (device.answered, device.missed));
        }
        self.course.take(&frame, at);
        if frame.phase == Phase::Transfer {
            self.verdict = Some((frame.verdict.word, frame.at));
        }
        let frame = Box::new(frame);
        if frame.phase != Phase::Opened && self.before.is_none() {
            self.before = self.latest.clone();
        }
        if frame.phase == Phase::Closed && self.is_closed() {
            self.closing = Some(frame);
        } else {
            if frame.phase == Phase::Transfer && self.first.is_none() {
                self.first = Some(frame.clone());
            }
            self.latest = Some(frame);
        }
    }

    fn look_at_alarms(&mut self, settings: &Settings, frame: &Frame, at: WallTime) {
        let closed = self.is_closed();
        for alarm in &frame.alarms {
            if self.open.contains_key(&alarm.key) {
                continue;
            }
            let place = (!closed).then_some(self.alarms.len());
            self.open.insert(alarm.key, place);
            if place.is_none() {
                self.alarms_after_close += 1;
                continue;
            }
            let (code, subject) = tune::named(settings, alarm.key);
            self.alarms.push(AlarmAccount {
                alarm: code,
                subject,
                priority: form_json(&alarm.priority),
                prompt: catalogue::of(alarm.key.id).prompt,
                raised: alarm.since.into(),
                seen: None,
                shelved: Vec::new(),
                cleared: None,
            });
        }
        let stays = |key: &AlarmKey| {
            frame.alarms.iter().any(|alarm| alarm.key == *key) || frame.shelves.iter().any(|shelf| shelf.key == *key)
        };
        let alarms = &mut self.alarms;
        self.open.retain(|key, place| {
            let stays = stays(key);
            if let (false, Some(place)) = (stays, *place) {
                alarms[place].cleared = Some(at.into());
            }
            stays
        });
    }

    /// The next recording counts its devices' rounds anew.
    fn recording_ends(&mut self) {
        for (name, (answered, missed)) in std::mem::take(&mut self.devices_here) {
            let sum = self.devices.entry(name).or_default();
            *sum = (sum.0 + answered, sum.1 + missed);
        }
        self.verdict = None;
    }
}

impl Gather {
    fn recording(&mut self, path: &Path, recording: &Recording<'_>) {
        let header = &recording.header;
        let zero = WallAnchor { at: EngineTime(0), wall: header.wall_at_zero };
        self.hand_over(&header.carried, zero.wall);
        self.settings = Some(header.settings.clone());
        self.drill_speed = header.drill_speed;
        self.imported = Origin::of(header);
        self.clock = zero;
        self.last_at = EngineTime(0);
        if let Some((site, query)) = header.texts.first().and_then(|(_, text)| of_site(text)) {
            (self.site, self.query_above_en) = (site, query);
        }
        self.recordings.push(taken(path, recording));
        for record in recording.records.iter().filter(|r| r.intact && r.end() <= recording.link.end) {
            self.record(record);
        }
        if let Some(delivery) = &mut self.delivery {
            delivery.recording_ends();
        }
    }

    /// What the recording before left open goes on in this one.
    fn hand_over(&mut self, carried: &Carried, begun: WallTime) {
        let Some(open) = &carried.delivery else { return };
        let before = self.clock.wall_at(self.last_at);
        match &mut self.delivery {
            Some(delivery) if delivery.setup.id == open.setup.id => {
                if begun.0.saturating_sub(before.0) > GAP_NS {
                    let known_by = "other_recording".to_owned();
                    delivery.gaps.push(GapAccount { from: before.into(), to: begun.into(), known_by });
                }
            }
            unknown => {
                let mut delivery = Delivery::new(open.setup.clone(), None, self.recordings.len());
                if open.transferring {
                    delivery.legs.push(Leg { leg: open.leg, started: None, closed: None });
                }
                *unknown = Some(delivery);
            }
        }
    }

    fn record(&mut self, record: &Record<'_>) {
        match record.kind {
            Kind::Input => {
                if let Ok(input) = reader::input(record) {
                    self.input(&input);
                }
            }
            Kind::Output => {
                if let (Some(delivery), Some(settings)) = (&mut self.delivery, &self.settings)
                    && let Ok(frame) = reader::frame(record)
                    && frame.delivery.as_ref().is_some_and(|d| d.id == delivery.setup.id)
                {
                    delivery.shown(settings, frame, self.clock);
                }
            }
            Kind::Header | Kind::Link | Kind::End | Kind::Truth => {}
        }
    }

    fn input(&mut self, input: &Input) {
        self.last_at = self.last_at.max(input.at);
        let at = self.clock.wall_at(input.at);
        match &input.event {
            Event::Clock(wall) => self.clock = WallAnchor { at: input.at, wall: *wall },
            Event::Entry(entry) => self.entry(entry, at.into()),
            Event::Settings(new) => {
                self.settings = Some(new.settings.clone());
                if let Some((site, query)) = of_site(&new.text) {
                    (self.site, self.query_above_en) = (site, query);
                }
                if let Some(delivery) = &mut self.delivery {
                    let (who, about) = (new.who.clone(), new.reason.clone());
                    let what = "settings_changed".to_owned();
                    delivery.entries.push(EntryAccount { at: at.into(), who, leg: None, what, about });
                }
            }
            Event::Resumed(Gap { from, to, known_by }) => {
                let (from, to) = (self.clock.wall_at(*from).into(), self.clock.wall_at(*to).into());
                let known_by = form_json(known_by).as_str().unwrap_or_default().to_owned();
                if let Some(delivery) = &mut self.delivery {
                    delivery.gaps.push(GapAccount { from, to, known_by });
                }
            }
            Event::Poll(_) | Event::Missed(_) | Event::Tick | Event::Recorder(_) | Event::Neighbour(_) => {}
        }
    }

    fn entry(&mut self, entry: &Entry, at: Moment) {
        let Some(settings) = &self.settings else { return };
        if let What::DeliveryOpened(setup) = &entry.what {
            let from = self.recordings.len().saturating_sub(1);
            self.delivery = Some(Delivery::new((**setup).clone(), Some(at.clone()), from));
        }
        if let Some(delivery) = &mut self.delivery {
            delivery.entered(settings, entry, at);
        }
    }

    fn end(self, zone: &TimeZone) -> Option<Gathered> {
        let (delivery, settings) = (self.delivery?, self.settings?);
        let recordings: Vec<RecordingAccount> = self.recordings.into_iter().skip(delivery.recordings_from).collect();
        let is_closed = delivery.is_closed();
        // A kill between the entry and what came of it leaves the frame before it.
        let closing = delivery.closing.or(delivery.latest);
        let against_ticket = match &closing {
            Some(frame) if is_closed => ticket::compare(&delivery.setup, &settings, frame, self.query_above_en),
            _ => AgainstTicket::NotCompared(WhyNot::NotClosed),
        };
        let (setup, of_close) = (delivery.setup, closing.as_deref());
        let of_checks = delivery.before.as_deref().or(of_close);
        let together = of_close.and_then(|frame| frame.together);
        let tank = settings.tanks.get(usize::from(setup.tank));
        let of_verdict =
            |(word, lasted_s): &(VerdictWord, f64)| VerdictTime { word: form_json(word), lasted_s: *lasted_s };
        let of_device = |(device, (answered, missed))| DeviceAccount { device, answered, missed };
        let account = Account {
            program_version: PROGRAM_VERSION.to_owned(),
            caution: CAUTION.to_owned(),
            zone: zone.iana_name().unwrap_or("UTC").to_owned(),
            drill_speed: self.drill_speed,
            imported: self.imported,
            site: self.site,
            bay: settings.bay.clone(),
            ticket: ticket::ticket(&setup, &settings),
            delivery: setup.id,
            product: setup.product.name,
            product_source: setup.product.source,
            product_confirmed: setup.product.confirmed,
            tank: tank.map_or_else(String::new, |tank| tank.name.clone()),
            trailer_specification: setup.plate.specification,
            carrier: setup.papers.carrier,
            driver: setup.papers.driver,
            planned_kg: setup.planned.0,
            opened: delivery.opened,
            started: delivery.legs.first().and_then(|leg| leg.started.clone()),
            closed: delivery.legs.last().and_then(|leg| leg.closed.clone()),
            is_closed,
            rejected: delivery.rejected,
            legs: delivery.legs,
            witnesses: of_close.map(witnesses).unwrap_or_default(),
            received_kg: together.map(|t| t.received_kg.into()),
            weights: together.map(|t| t.weights),
            verdict: of_close.map(|frame| form_json(&frame.verdict)).unwrap_or_default(),
            verdicts: delivery.verdicts.iter().map(of_verdict).collect(),
            against_ticket,
            levels: levels(&settings, setup.tank, delivery.first.as_deref(), of_close),
            limits: tank.map(limits).unwrap_or_default(),
            pad: delivery.pad.end(of_close),
            checks: of_checks.map(|frame| told::checks(&settings, frame, zone)).unwrap_or_default(),
            checks_at: of_checks.map(|frame| frame.clock.wall_at(frame.at).into()),
            steps: told::steps(&settings, &delivery.steps),
            course: delivery.course.end(),
            alarms: delivery.alarms,
            alarms_after_close: delivery.alarms_after_close,
            entries: delivery.entries,
            gaps: delivery.gaps,
            devices: delivery.devices.into_iter().map(of_device).collect(),
            amendments: Vec::new(),
            chain_head: recordings.last().map_or_else(String::new, |last| last.chain_head.clone()),
            recordings,
        };
        Some(Gathered { account, frame: closing, settings })
    }
}

fn limits(tank: &TankSetup) -> Limits {
    let [working_m, high_high_m, critical_m] = [tank.working, tank.high_high, tank.critical].map(|level| Some(level.0));
    Limits { working_m, high_high_m, critical_m }
}

fn witnesses(frame: &Frame) -> Vec<Witnessed> {
    let one = |w: &crate::engine::frame::Witness| Witnessed {
        witness: form_json(&w.id),
        validity: form_json(&w.validity),
        is_credible: w.validity.is_credible(),
        received_kg: w.received_kg.map(Figure::from),
        budget: w.budget.iter().map(|c| Part { source: form_json(&c.source), kg: c.kg }).collect(),
    };
    frame.witnesses.iter().map(one).collect()
}

fn levels(settings: &Settings, tank: u16, start: Option<&Frame>, close: Option<&Frame>) -> Vec<Level> {
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

/// What is taken of a recording, and what is wrong with it.
fn taken(path: &Path, recording: &Recording<'_>) -> RecordingAccount {
    let mut damage: Vec<String> = recording.damage.iter().map(ToString::to_string).collect();
    damage.extend(recording.torn.iter().map(ToString::to_string));
    RecordingAccount {
        file: path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned()),
        program_version: recording.header.program_version.clone(),
        numerics_version: recording.header.numerics_version,
        chain_head: hex(&recording.link.hash),
        taken_bytes: recording.link.end as u64,
        ended: recording.ended,
        damage,
    }
}

pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Name and rule of the site, out of the text of its file. A later program may know keys that this one does not: only
/// these two are read.
fn of_site(text: &str) -> Option<(String, f64)> {
    let root = text.parse::<toml::Table>().ok()?;
    let site = root.get("site")?.as_table()?;
    let name = site.get("name")?.as_str()?.to_owned();
    let number = |value: &toml::Value| {
        value.as_float().or_else(|| value.as_integer().and_then(|i| i32::try_from(i).ok()).map(f64::from))
    };
    let default = keys::SITE.iter().find(|key| key.path == "site.query_above_en").and_then(|key| match key.presence {
        Presence::Default(value) => value.parse().ok(),
        _ => None,
    });
    let query = site.get("query_above_en").and_then(number).or(default)?;
    Some((name, query))
}
