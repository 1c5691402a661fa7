//! Goes through the recordings of one delivery and gathers its account.

use super::AccountError;
use super::PaperReader;
use super::account::{
    Account, AlarmAccount, EntryAccount, GapAccount, Leg, Moment, Pad, RecordingAccount, Rejected, Said,
    ShelvedAccount, SuppressedAccount,
};
use super::course::Gone;
use super::legs::{self, Share, sum};
use super::told::About;
use super::{ticket, told};
use crate::config::keys::{self, Presence};
use crate::engine::alarm::catalogue;
use crate::engine::frame::{Frame, Phase, Suppressed, VerdictWord};
use crate::engine::input::{AlarmKey, Carried, Entry, Event, Gap, Input, What};
use crate::engine::settings::{DeliverySetup, Settings};
use crate::engine::steps::StepState;
use crate::recording::RecordingError;
use crate::recording::format::{Header, Kind, PROGRAM_VERSION, Record};
use crate::recording::json::form_json;
use crate::recording::origin::Origin;
use crate::recording::reader::{self, Recording};
use crate::recording::stream::{self, Whole};
use crate::time::{EngineTime, SECOND_NS, WallAnchor, WallTime};
use crate::tune;
use crate::units::Measures;
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
    /// What was known when the checks stood as the account has them.
    pub of_checks: Option<Box<Frame>>,
    pub settings: Settings,
    /// How the recorded site file wants papers.
    pub reader: PaperReader,
}

/// Goes through `paths`, in their order, each up to so many bytes; `asked` is for messages.
pub(super) fn gather(asked: &Path, paths: &[(PathBuf, u64)], zone: &TimeZone) -> Result<Gathered, AccountError> {
    let mut gather = Gather::default();
    for (path, upto) in paths {
        // A whole one is gone through record by record; only a damaged one is held in memory, to find what stands behind it.
        if let Some(whole) = stream::whole(path, *upto)? {
            gather.whole(path, whole)?;
        } else {
            let mut bytes = reader::read(path)?;
            bytes.truncate(usize::try_from(*upto).unwrap_or(usize::MAX));
            gather.damaged(path, &reader::walk(path, &bytes)?);
        }
    }
    gather.end(zone).ok_or_else(|| AccountError::NoDelivery(asked.to_owned()))
}

#[derive(Default)]
struct Gather {
    settings: Option<Settings>,
    site: String,
    query_above_en: f64,
    reader: PaperReader,
    drill_speed: Option<f64>,
    imported: Option<Origin>,
    clock: WallAnchor,
    last_at: EngineTime,
    delivery: Option<Delivery>,
    /// Legs of the same delivery that have been gone through, each with what it gives to the sum.
    earlier: Vec<(Leg, Option<Share>)>,
    recordings: Vec<RecordingAccount>,
}

/// One delivery as far as it has been gone through.
struct Delivery {
    setup: DeliverySetup,
    opened: Option<Moment>,
    started: Option<Moment>,
    closed: Option<Moment>,
    /// Its transfer was started, perhaps before the recordings begin.
    is_started: bool,
    entries: Vec<EntryAccount>,
    alarms: Vec<AlarmAccount>,
    /// Open alarms with their place among `alarms`; `None`: it came after the close.
    open: BTreeMap<AlarmKey, Option<usize>>,
    alarms_after_close: u64,
    /// What each is of, and whether it is so in the last frame.
    suppressed: Vec<(Suppressed, bool, SuppressedAccount)>,
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
            started: None,
            closed: None,
            is_started: false,
            entries: Vec::new(),
            alarms: Vec::new(),
            open: BTreeMap::new(),
            alarms_after_close: 0,
            suppressed: Vec::new(),
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
        self.is_started && self.closed.is_some()
    }

    fn entered(&mut self, settings: &Settings, entry: &Entry, at: Moment) {
        match &entry.what {
            What::TransferStarted => {
                (self.started, self.is_started) = (Some(at.clone()), true);
                self.closing = None;
            }
            What::Closed => {
                self.closed.get_or_insert(at.clone());
            }
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
        let (what, of) = told::entry(settings, &entry.what);
        let (who, leg, about) = (entry.who.clone(), Some(entry.leg), of.english());
        self.entries.push(EntryAccount { at, who, leg, what, about, of });
    }

    fn alarm(&mut self, key: AlarmKey) -> Option<&mut AlarmAccount> {
        let place = self.open.get(&key).copied().flatten()?;
        self.alarms.get_mut(place)
    }

    /// Takes a frame of this delivery.
    fn shown(&mut self, settings: &Settings, frame: Frame, clock: WallAnchor) {
        let at = clock.wall_at(frame.at);
        self.look_at_alarms(settings, &frame, at);
        if !self.is_closed() {
            self.look_at_suppressed(settings, &frame, at);
        }
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

    fn look_at_suppressed(&mut self, settings: &Settings, frame: &Frame, at: WallTime) {
        for (which, is_on, account) in &mut self.suppressed {
            let now = frame.suppressed.contains(which);
            match (*is_on, now) {
                (true, false) => account.to = Some(at.into()),
                (false, true) => (account.to, account.times) = (None, account.times + 1),
                _ => {}
            }
            *is_on = now;
        }
        for which in &frame.suppressed {
            if self.suppressed.iter().all(|(known, ..)| known != which) {
                let (alarm, subject) = tune::named(settings, which.key);
                let by = form_json(&which.by);
                let account = SuppressedAccount { alarm, subject, by, from: at.into(), to: None, times: 1 };
                self.suppressed.push((*which, true, account));
            }
        }
    }

    /// What was known at the close. A kill between the entry and what came of it leaves the frame before it.
    fn of_close(&self) -> Option<&Frame> {
        self.closing.as_deref().or(self.latest.as_deref())
    }

    /// As one leg of the delivery, with what it gives to the sum of all; nothing where it is not closed.
    fn leg(&self, settings: &Settings) -> (Leg, Option<Share>) {
        let frame = self.of_close().filter(|_| self.is_closed());
        let share = frame.map(|frame| Share::of(&self.setup, settings, frame));
        let figure =
            |mass: fn(&Share) -> Option<super::legs::Mass>| sum(share.as_slice(), mass).filter(|_| share.is_some());
        let leg = Leg {
            leg: self.setup.leg,
            bay: settings.bay.clone(),
            tank: settings.tanks.get(usize::from(self.setup.tank)).map_or_else(String::new, |tank| tank.name.clone()),
            planned_kg: self.setup.planned.0,
            started: self.started.clone(),
            closed: self.closed.clone().filter(|_| self.is_started),
            is_rejected: self.rejected.is_some(),
            received_kg: figure(Share::received),
            in_line_kg: figure(Share::in_line),
        };
        (leg, share)
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
    fn whole(&mut self, path: &Path, whole: Whole) -> Result<(), RecordingError> {
        let mut recording = stream::open(path)?;
        self.begins(recording.header(), taken(path, recording.header(), whole, Vec::new()));
        while let Some(record) = recording.next_record()? {
            self.record(&record);
            if recording.read_bytes() >= whole.link.end as u64 {
                break;
            }
        }
        self.ends();
        Ok(())
    }

    fn damaged(&mut self, path: &Path, recording: &Recording<'_>) {
        let whole = Whole { link: recording.link, ended: recording.ended };
        let mut damage: Vec<String> = recording.damage.iter().map(ToString::to_string).collect();
        damage.extend(recording.torn.iter().map(ToString::to_string));
        self.begins(&recording.header, taken(path, &recording.header, whole, damage));
        for record in recording.records.iter().filter(|r| r.intact && r.end() <= recording.link.end) {
            self.record(record);
        }
        self.ends();
    }

    fn begins(&mut self, header: &Header, taken: RecordingAccount) {
        if header.carried.delivery.is_none() {
            self.leg_ends();
        }
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
        self.reader = header.texts.first().map(|(_, text)| reader_of(text)).unwrap_or_default();
        self.recordings.push(taken);
    }

    fn ends(&mut self) {
        if let Some(delivery) = &mut self.delivery {
            delivery.recording_ends();
        }
    }

    /// The delivery of the recordings before is not gone on with: it may have been a leg of the next one.
    fn leg_ends(&mut self) {
        if let (Some(delivery), Some(settings)) = (&self.delivery, &self.settings) {
            self.earlier.push(delivery.leg(settings));
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
                delivery.is_started = open.transferring;
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
                    let (at, who, about) = (at.into(), new.who.clone(), new.reason.clone());
                    let (what, of) = ("settings_changed".to_owned(), About::Written(about.clone()));
                    delivery.entries.push(EntryAccount { at, who, leg: None, what, about, of });
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
            let here = self.recordings.len().saturating_sub(1);
            if let Some(recording) = self.recordings.last_mut() {
                recording.leg = setup.leg;
            }
            let before =
                self.delivery.take().filter(|before| before.setup.id == setup.id && before.setup.leg < setup.leg);
            if before.is_none() {
                self.earlier.clear();
            }
            let from = before.map_or(here, |before| before.recordings_from);
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
        let ticket = ticket::ticket(&delivery.setup, &settings);
        let mut legs = self.earlier;
        legs.push(delivery.leg(&settings));
        let shares = legs::shares(&legs);
        let received_in_all_kg = shares.as_deref().ok().and_then(|shares| sum(shares, Share::received));
        let (against_ticket, left_on_board) = ticket::compare(
            &delivery.setup,
            ticket.corrected_kg,
            shares.as_deref().map_err(|why| *why),
            self.query_above_en,
        );
        let closing = delivery.closing.or(delivery.latest);
        let (setup, of_close) = (delivery.setup, closing.as_deref());
        let of_checks = delivery.before.or_else(|| closing.clone());
        let together = of_close.and_then(|frame| frame.together);
        let tank = settings.tanks.get(usize::from(setup.tank));
        let account = Account {
            program_version: PROGRAM_VERSION.to_owned(),
            caution: crate::words::CAUTION.to_owned(),
            zone: zone.iana_name().unwrap_or("UTC").to_owned(),
            drill_speed: self.drill_speed,
            imported: self.imported,
            site: self.site,
            bay: settings.bay.clone(),
            ticket,
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
            started: delivery.started,
            closed: delivery.closed.filter(|_| delivery.is_started),
            is_closed,
            rejected: delivery.rejected,
            leg: setup.leg,
            legs: legs.into_iter().map(|(leg, _)| leg).collect(),
            received_in_all_kg,
            witnesses: of_close.map(told::witnesses).unwrap_or_default(),
            received_kg: together.map(|t| t.received_kg.into()),
            weights: together.map(|t| t.weights),
            verdict: of_close.map(|frame| form_json(&frame.verdict)).unwrap_or_default(),
            verdicts: told::verdicts(&delivery.verdicts),
            against_ticket,
            left_on_board,
            levels: told::levels(&settings, setup.tank, delivery.first.as_deref(), of_close),
            limits: tank.map(told::limits).unwrap_or_default(),
            pad: delivery.pad.end(of_close),
            checks: of_checks.as_deref().map(|frame| told::checks(&settings, frame, zone)).unwrap_or_default(),
            checks_at: of_checks.as_deref().map(|frame| frame.clock.wall_at(frame.at).into()),
            steps: told::steps(&settings, &delivery.steps),
            course: delivery.course.end(),
            alarms: delivery.alarms,
            alarms_after_close: delivery.alarms_after_close,
            suppressed: delivery.suppressed.into_iter().map(|(.., account)| account).collect(),
            entries: delivery.entries,
            gaps: delivery.gaps,
            devices: told::devices(delivery.devices),
            amendments: Vec::new(),
            chain_head: recordings.last().map_or_else(String::new, |last| last.chain_head.clone()),
            recordings,
        };
        Some(Gathered { account, frame: closing, of_checks, settings, reader: self.reader })
    }
}

/// What is taken of a recording, and what is wrong with it.
fn taken(path: &Path, header: &Header, whole: Whole, damage: Vec<String>) -> RecordingAccount {
    RecordingAccount {
        leg: header.carried.delivery.as_ref().map_or(1, |open| open.leg),
        file: path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned()),
        program_version: header.program_version.clone(),
        numerics_version: header.numerics_version,
        chain_head: hex(&whole.link.hash),
        taken_bytes: whole.link.end as u64,
        ended: whole.ended,
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

/// Units and language of a site file's text; what it leaves out is as the key table has it, English and SI.
fn reader_of(text: &str) -> PaperReader {
    let root = text.parse::<toml::Table>().unwrap_or_default();
    let said = |key: &str| root.get("site")?.as_table()?.get(key)?.as_str();
    let plain = PaperReader::default();
    PaperReader {
        measures: said("units").and_then(Measures::named).unwrap_or(plain.measures),
        language: said("language").map_or(plain.language, str::to_owned),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_paper_is_written_as_the_site_file_says() {
        let says = |text: &str| reader_of(text);
        let site = says("[site]\nname = \"works\"\nunits = \"us_customary\"\nlanguage = \"es\"\n");
        assert_eq!((site.measures, site.language.as_str()), (Measures::UsCustomary, "es"));
        assert_eq!(says("[site]\nname = \"works\"\n"), PaperReader::default());
        assert_eq!(says("no site file"), PaperReader::default());
    }
}
