//! Goes through the recordings of one delivery and gathers its account.

use super::AccountError;
use super::account::{
    Account, AgainstTicket, AlarmAccount, CAUTION, DeviceAccount, EntryAccount, Figure, GapAccount, Leg, Level, Moment,
    Pad, Part, RecordingAccount, Said, ShelvedAccount, VerdictTime, WhyNot, Witnessed,
};
use super::ticket;
use crate::config::keys::{self, Presence};
use crate::engine::frame::{Frame, Phase, VerdictWord};
use crate::engine::input::{AlarmKey, Carried, Entry, Event, Gap, Input, What};
use crate::engine::settings::{DeliverySetup, Settings, SignalKind};
use crate::recording::format::{Kind, PROGRAM_VERSION, Record};
use crate::recording::json::form_json;
use crate::recording::origin::Origin;
use crate::recording::reader::{self, Recording};
use crate::time::{EngineTime, SECOND_NS, WallAnchor, WallTime};
use crate::tune;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// A gap between two recordings that is worth a line, ns: the second that a tick lasts, and one more.
const GAP_NS: i64 = 2 * SECOND_NS.cast_signed();

/// Goes through `paths`, in their order; `asked` is for messages.
pub(super) fn gather(asked: &Path, paths: &[PathBuf]) -> Result<Account, AccountError> {
    let mut gather = Gather::default();
    for path in paths {
        let bytes = reader::read(path)?;
        gather.recording(path, &reader::walk(path, &bytes)?);
    }
    gather.end().ok_or_else(|| AccountError::NoDelivery(asked.to_owned()))
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
    first: Option<Box<Frame>>,
    latest: Option<Box<Frame>>,
    closing: Option<Box<Frame>>,
    pad_highest_pa_gauge: Option<f64>,
    /// The first recording that is of it.
    recordings_from: usize,
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
            first: None,
            latest: None,
            closing: None,
            pad_highest_pa_gauge: None,
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
            _ => {}
        }
        let (what, about) = told(settings, &entry.what);
        self.entries.push(EntryAccount { at, who: entry.who.clone(), leg: Some(entry.leg), what, about });
    }

    fn alarm(&mut self, key: AlarmKey) -> Option<&mut AlarmAccount> {
        let place = self.open.get(&key).copied().flatten()?;
        self.alarms.get_mut(place)
    }

    /// Takes a frame of this delivery.
    fn shown(&mut self, settings: &Settings, frame: Frame, clock: WallAnchor) {
        self.look_at_alarms(settings, &frame, clock.wall_at(frame.at));
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
        if frame.phase == Phase::Transfer {
            self.verdict = Some((frame.verdict.word, frame.at));
            let pad = frame.pad.pressure_pa_gauge.into_iter().chain(self.pad_highest_pa_gauge);
            self.pad_highest_pa_gauge = pad.reduce(f64::max);
        }
        let frame = Box::new(frame);
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
                if let (Ok(frame), Some(delivery), Some(settings)) =
                    (reader::frame(record), &mut self.delivery, &self.settings)
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

    fn end(self) -> Option<Account> {
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
        let levels = levels(&settings, setup.tank, delivery.first.as_deref(), of_close);
        let together = of_close.and_then(|frame| frame.together);
        let tank = settings.tanks.get(usize::from(setup.tank)).map_or_else(String::new, |tank| tank.name.clone());
        let verdicts = delivery.verdicts.iter();
        let verdicts = verdicts.map(|(word, lasted_s)| VerdictTime { word: form_json(word), lasted_s: *lasted_s });
        let devices = delivery.devices.into_iter();
        let devices = devices.map(|(device, (answered, missed))| DeviceAccount { device, answered, missed });
        Some(Account {
            program_version: PROGRAM_VERSION.to_owned(),
            caution: CAUTION.to_owned(),
            drill_speed: self.drill_speed,
            imported: self.imported,
            site: self.site,
            bay: settings.bay.clone(),
            ticket: ticket::ticket(&setup, &settings),
            delivery: setup.id,
            product: setup.product.name,
            product_source: setup.product.source,
            product_confirmed: setup.product.confirmed,
            tank,
            trailer_specification: setup.plate.specification,
            carrier: setup.papers.carrier,
            planned_kg: setup.planned.0,
            opened: delivery.opened,
            started: delivery.legs.first().and_then(|leg| leg.started.clone()),
            closed: delivery.legs.last().and_then(|leg| leg.closed.clone()),
            is_closed,
            legs: delivery.legs,
            witnesses: of_close.map(witnesses).unwrap_or_default(),
            received_kg: together.map(|t| t.received_kg.into()),
            weights: together.map(|t| t.weights),
            verdict: of_close.map_or(Value::Null, |frame| form_json(&frame.verdict)),
            verdicts: verdicts.collect(),
            against_ticket,
            levels,
            pad: Pad {
                at_close_pa_gauge: of_close.filter(|_| is_closed).and_then(|frame| frame.pad.pressure_pa_gauge),
                highest_pa_gauge: delivery.pad_highest_pa_gauge,
                ceiling_pa_gauge: of_close.and_then(|frame| frame.pad.ceiling_pa_gauge),
                mawp_pa_gauge: setup.plate.mawp.map(|mawp| mawp.0),
            },
            alarms: delivery.alarms,
            alarms_after_close: delivery.alarms_after_close,
            entries: delivery.entries,
            gaps: delivery.gaps,
            devices: devices.collect(),
            chain_head: recordings.last().map_or_else(String::new, |last| last.chain_head.clone()),
            recordings,
        })
    }
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

/// An entry's code, and what it is about where the code does not say it all.
fn told(settings: &Settings, what: &What) -> (String, String) {
    let (code, content) = match form_json(what) {
        Value::String(code) => (code, Value::Null),
        Value::Object(map) => map.into_iter().next().unwrap_or_default(),
        _ => Default::default(),
    };
    let about = match what {
        What::Seen(key) | What::Shelved { key, .. } | What::Unshelved(key) => {
            let (alarm, subject) = tune::named(settings, *key);
            if subject.is_empty() { alarm } else { format!("{alarm}: {subject}") }
        }
        _ => String::new(),
    };
    // What a later entry brings is shown as it stands rather than passed over.
    let about =
        if about.is_empty() && !content.is_null() && code != "delivery_opened" { content.to_string() } else { about };
    (code, about)
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

fn hex(bytes: &[u8]) -> String {
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
