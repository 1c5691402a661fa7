//! Segments: which file a bay writes, begun anew or gone on with.
//!
//! A segment begins when a delivery is opened, and otherwise every 24 h. What a stopped program left open is gone
//! on with: replayed, then continued in the same file. Where that must not be (another program, other settings,
//! a fault of our own), a new segment begins with what may cross.

use super::{LiveError, past};
use crate::clock::{Clock, MachineTime, boot_id, engine_ns, wall_now};
use crate::config::{BaySetup, DeliveryFile, Site};
use crate::engine::input::{Carried, Entry, Event, Gap, GapClock, Input, SettingsText, What};
use crate::engine::settings::{DeliverySetup, LineSetup, Settings};
use crate::engine::{Monitor, NUMERICS_VERSION};
use crate::picture::Past;
use crate::recording::format::{Header, Kind, PROGRAM_VERSION};
use crate::recording::origin::Origin;
use crate::recording::resume::{self, Recovered};
use crate::recording::writer::Recorder;
use crate::recording::{reader, stream};
use crate::time::{EngineTime, SECOND_NS, WallTime};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

pub use crate::recording::ENDING;
use crate::recording::fit_for_a_name;

/// Stands in the name of a segment in which no delivery is open.
const IDLE: &str = "idle";

/// Who opens a delivery whose papers came by file.
pub const BY_FILE: &str = "delivery file";

/// Papers of a load that is in already open nothing: a service that is started anew finds them where they lay.
const CLOSED_BEFORE: &str = "these papers are of a delivery that was closed here: it is not opened again; take them out, \
                             or give another load another id";

/// A segment that can be stepped.
pub struct Segment {
    /// Its file.
    pub path: PathBuf,
    /// Its engine time.
    pub clock: Clock,
    /// Its monitor.
    pub monitor: Monitor,
    /// What writes it.
    pub recorder: Recorder,
    /// What must be stepped first.
    pub first: Vec<Event>,
    /// How its delivery went before, for the eye.
    pub past: Past,
}

/// What a new segment is made of.
pub struct Beginning<'a> {
    /// Folder of the bay's recordings.
    pub folder: &'a Path,
    /// The bay.
    pub bay: &'a BaySetup,
    /// The site file and every file it names.
    pub texts: &'a [(String, String)],
    /// The delivery that it is begun for.
    pub delivery: Option<&'a DeliveryFile>,
    /// Who opens it.
    pub who: &'a str,
    /// The line of the open delivery, where it is another than the site file describes.
    pub line: Option<LineSetup>,
    /// In a drill, its speed.
    pub drill_speed: Option<f64>,
    /// Days that idle segments are kept.
    pub keep_idle_days: u32,
    /// What crosses.
    pub carried: Carried,
}

/// The folder of a bay's recordings.
pub fn folder(site: &Site, bay: &BaySetup) -> PathBuf {
    site.store.join(&bay.slug)
}

/// The segment a bay writes when the program starts.
pub fn open(
    site: &Site,
    bay: &BaySetup,
    delivery: Option<&DeliveryFile>,
    drill_speed: Option<f64>,
) -> Result<Segment, LiveError> {
    let folder = folder(site, bay);
    let store = |source| LiveError::Store { path: folder.clone(), source };
    fs::create_dir_all(&folder).map_err(store)?;
    let delivery = match delivery {
        Some(asked) if was_closed(&folder, &asked.setup).map_err(store)? => {
            let id = &asked.setup.id;
            tracing::warn!(bay = bay.slug, delivery = id, "{CLOSED_BEFORE}");
            None
        }
        delivery => delivery,
    };
    let begin = |carried, delivery: Option<&DeliveryFile>, line: Option<LineSetup>| {
        let keep_idle_days = site.keep_idle_days;
        let line = delivery.map_or(line, |delivery| delivery.line.clone());
        let texts = &site.texts;
        let beginning = Beginning {
            folder: &folder,
            bay,
            texts,
            delivery,
            who: BY_FILE,
            line,
            drill_speed,
            keep_idle_days,
            carried,
        };
        begin(beginning).map_err(store)
    };
    let Some(path) = latest(&folder).map_err(store)? else { return begin(Carried::default(), delivery, None) };
    let recovered = resume::recover(&path)?;
    if recovered.header.drill_speed.is_some() != drill_speed.is_some() {
        let by = if recovered.header.drill_speed.is_some() { "in a drill" } else { "live" };
        return Err(LiveError::DrillAndLive { bay: bay.settings.bay.clone(), path, by });
    }
    if Origin::of(&recovered.header).is_some() {
        return Err(LiveError::Imported { bay: bay.settings.bay.clone(), path });
    }
    let open_id = open_delivery(&recovered);
    if let (Some(open), Some(asked)) = (&open_id, delivery)
        && *open != asked.setup.id
    {
        return Err(LiveError::DeliveryOpen {
            bay: bay.settings.bay.clone(),
            open: open.clone(),
            asked: asked.setup.id.clone(),
            path,
        });
    }
    let new_delivery = if open_id.is_some() { None } else { delivery };
    // Alarm settings may have been changed since it began; the line that papers name is none of the site file's.
    let line = recovered.header.settings.line.clone();
    let in_force = Settings { line, ..recovered.monitor.settings().clone() };
    let same = recovered.header.is_of_this_program() && in_force == bay.settings;
    if recovered.ended || new_delivery.is_some() || !same || recovered.failed_at.is_some() {
        let begun = succeed(&recovered, &path, same, |carried| begin(carried, new_delivery, open_line(&recovered)))?;
        let past = if open_id.is_some() { past::of_delivery(&path) } else { Past::default() };
        return Ok(Segment { past, ..begun });
    }
    let past = if open_id.is_some() { past::of_delivery(&path) } else { Past::default() };
    go_on(recovered, path, past).map_err(store)
}

/// A new segment after one that is not gone on with.
fn succeed(
    recovered: &Recovered,
    path: &Path,
    same: bool,
    begin: impl FnOnce(Carried) -> Result<Segment, LiveError>,
) -> Result<Segment, LiveError> {
    let mut carried = recovered.monitor.carried();
    carried.restarted |= recovered.failed_at.is_some();
    // What was drawn off while nobody watched is in no sum: the last closing levels prove nothing any more.
    carried.closings.fill(None);
    if let Some(number) = recovered.failed_at {
        tracing::error!(recording = %path.display(), number, "our own fault on replay: a new segment begins, estimates are restarted");
    } else if !same && !recovered.ended {
        tracing::warn!(recording = %path.display(), "another program or other settings: a new segment begins with what may cross");
    }
    begin(carried)
}

/// Whether the latest recording of a delivery of that name was opened with the same papers, and closed or rejected.
fn was_closed(folder: &Path, papers: &DeliverySetup) -> io::Result<bool> {
    let ending = format!("Z-{}.{ENDING}", fit_for_a_name(&papers.id));
    let Some(path) = latest_ending(folder, &ending)? else { return Ok(false) };
    // One that cannot be read is nothing to go by; whoever goes on with it says why.
    let Ok(mut stream) = stream::open(&path) else { return Ok(false) };
    let (mut same, mut closed) = (stream.header().carried.delivery.as_ref().is_some_and(|d| d.setup == *papers), false);
    while let Ok(Some(record)) = stream.next_record() {
        let entry = (record.kind == Kind::Input).then(|| reader::input(&record)).and_then(Result::ok);
        let Some(Input { event: Event::Entry(entry), .. }) = entry else { continue };
        match entry.what {
            What::DeliveryOpened(setup) => (same, closed) = (*setup == *papers, false),
            What::Closed | What::Rejected { .. } => closed = true,
            _ => {}
        }
    }
    Ok(same && closed)
}

fn open_delivery(recovered: &Recovered) -> Option<String> {
    recovered.open_delivery()
}

/// The line of an open delivery whose papers named another than the site file.
fn open_line(recovered: &Recovered) -> Option<LineSetup> {
    let line = &recovered.monitor.settings().line;
    (open_delivery(recovered).is_some() && *line != recovered.header.settings.line).then(|| line.clone())
}

/// Begins a segment: header on disk, the wall clock and the delivery as its first inputs.
pub fn begin(beginning: Beginning) -> io::Result<Segment> {
    let Beginning { folder, bay, texts, delivery, who, line, drill_speed, keep_idle_days, carried } = beginning;
    let wall = wall_now();
    let zero = MachineTime::now();
    let mut texts = texts.to_vec();
    texts.extend(delivery.iter().flat_map(|d| d.texts.iter().cloned()));
    let header = Header {
        program_version: PROGRAM_VERSION.to_owned(),
        numerics_version: NUMERICS_VERSION,
        drill_speed,
        boot_id: boot_id(),
        machine_ns_at_zero: zero.0,
        wall_at_zero: wall,
        bay: bay.slug.clone(),
        texts,
        settings: bay.settings.clone(),
        carried: carried.clone(),
    };
    // Somebody may have removed it since the bay began.
    fs::create_dir_all(folder)?;
    let carried_id = carried.delivery.as_ref().map(|c| c.setup.id.as_str());
    let path = free_name(folder, wall, delivery.map(|d| d.setup.id.as_str()).or(carried_id).unwrap_or(IDLE));
    let recorder = Recorder::create(&path, &header)?;
    let mut first = vec![Event::Clock(wall)];
    if let Some(line) = line {
        let settings = Settings { line, ..bay.settings.clone() };
        let text = delivery.and_then(|d| d.texts.first()).map_or_else(String::new, |(_, text)| text.clone());
        first.push(Event::Settings(Box::new(SettingsText {
            settings,
            text,
            who: BY_FILE.to_owned(),
            reason: "the line of this load".to_owned(),
        })));
    }
    if let Some(delivery) = delivery {
        let what = What::DeliveryOpened(Box::new(delivery.setup.clone()));
        first.push(Event::Entry(Entry { who: who.to_owned(), leg: delivery.setup.leg, what }));
    }
    tracing::info!(recording = %path.display(), "segment begun");
    prune(folder, wall, keep_idle_days);
    let clock = Clock { zero, base: EngineTime(0), speed: drill_speed.unwrap_or(1.0) };
    let monitor = Monitor::new(bay.settings.clone(), carried);
    Ok(Segment { path, clock, monitor, recorder, first, past: Past::default() })
}

/// Goes on with a segment: the engine's clock runs on from where it was, and the gap is an input.
fn go_on(recovered: Recovered, path: PathBuf, past: Past) -> io::Result<Segment> {
    let Recovered { header, monitor, last_at, point, tail_cut, .. } = recovered;
    if let Some(torn) = &tail_cut {
        tracing::warn!(recording = %path.display(), bytes = torn.bytes, why = torn.why, "a torn end is kept aside in a .torn file");
    }
    let now = MachineTime::now();
    let wall = wall_now();
    let same_boot = header.boot_id == boot_id() && header.boot_id != "unknown";
    let (clock, known_by) = resumed_clock(&header, last_at, same_boot, now, wall);
    let to = clock.engine(now);
    tracing::warn!(recording = %path.display(), blind_s = to.since_s(last_at), "segment resumed");
    let recorder = Recorder::append(&path, &point)?;
    let wall = drill_wall(&header, to.0, wall);
    // A drill that stood still meanwhile has no gap: its clock goes on where it was.
    let stood_still = header.drill_speed.is_some() && to == last_at;
    let mut first = vec![Event::Clock(wall)];
    first.extend((!stood_still).then_some(Event::Resumed(Gap { from: last_at, to, known_by })));
    Ok(Segment { path, clock, monitor, recorder, first, past })
}

/// The clock of a segment that is gone on with, at or after its last input, and how it is known. In another boot the
/// machine's clock began anew, below what the recording holds: only the wall clock spans the gap. It may have been
/// set; the gap is never negative.
fn resumed_clock(
    header: &Header,
    last_at: EngineTime,
    same_boot: bool,
    now: MachineTime,
    wall: WallTime,
) -> (Clock, GapClock) {
    let speed = header.drill_speed.unwrap_or(1.0);
    let kept = Clock { zero: MachineTime(header.machine_ns_at_zero), base: EngineTime(0), speed };
    if same_boot && kept.engine(now) >= last_at {
        return (kept, GapClock::SameBoot);
    }
    let since_begun_ns = u64::try_from(wall.0.saturating_sub(header.wall_at_zero.0)).unwrap_or(0);
    let base = last_at.max(EngineTime(engine_ns(since_begun_ns, speed)));
    (Clock { zero: now, base, speed }, GapClock::WallClock)
}

/// In a drill the wall clock that people see runs with the drill.
fn drill_wall(header: &Header, engine_ns: u64, wall: WallTime) -> WallTime {
    match header.drill_speed {
        Some(_) => WallTime(header.wall_at_zero.0.saturating_add(i64::try_from(engine_ns).unwrap_or(i64::MAX))),
        None => wall,
    }
}

/// The latest recording of a folder: names begin with the moment they were begun at.
fn latest(folder: &Path) -> io::Result<Option<PathBuf>> {
    latest_ending(folder, &format!(".{ENDING}"))
}

/// The latest whose name ends so.
fn latest_ending(folder: &Path, ending: &str) -> io::Result<Option<PathBuf>> {
    let mut latest = None;
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let ends_so = path.file_name().and_then(|name| name.to_str()).is_some_and(|name| name.ends_with(ending));
        if ends_so && Some(&path) > latest.as_ref() {
            latest = Some(path);
        }
    }
    Ok(latest)
}

/// Removes idle segments whose beginning is longer ago than they are kept. Their names say both; whatever is named
/// otherwise is left alone, and so is everything when the wall clock stands before it.
fn prune(folder: &Path, wall: WallTime, keep_days: u32) {
    let kept_ns = i64::from(keep_days).saturating_mul(86_400_000_000_000);
    let Ok(entries) = fs::read_dir(folder) else { return };
    for path in entries.filter_map(|entry| Some(entry.ok()?.path())) {
        let begun = path.file_name().and_then(|n| n.to_str()).and_then(idle_since);
        if begun.is_some_and(|begun| begun.0 < wall.0.saturating_sub(kept_ns)) {
            match fs::remove_file(&path) {
                Ok(()) => tracing::info!(recording = %path.display(), "idle segment removed after its days"),
                Err(error) => tracing::warn!(recording = %path.display(), %error, "old idle segment not removed"),
            }
        }
    }
}

/// When the idle segment of that name was begun; `None` for any other name.
fn idle_since(name: &str) -> Option<WallTime> {
    let stamp = name.strip_suffix(&format!("Z-{IDLE}.{ENDING}"))?;
    let begun = jiff::civil::DateTime::strptime("%Y%m%dT%H%M%S%.f", stamp).ok()?;
    let begun = jiff::tz::TimeZone::UTC.to_timestamp(begun).ok()?.as_nanosecond();
    i64::try_from(begun).ok().map(WallTime)
}

/// `20260301T101500.123Z-NAME.brim`, the delivery's name made fit for a file.
fn free_name(folder: &Path, wall: WallTime, name: &str) -> PathBuf {
    let stamp = jiff::Timestamp::from_nanosecond(i128::from(wall.0)).unwrap_or_default();
    let millis = wall.0.rem_euclid(i64::try_from(SECOND_NS).unwrap_or(1)) / 1_000_000;
    let fit = fit_for_a_name(name);
    folder.join(format!("{}.{millis:03}Z-{fit}.{ENDING}", stamp.strftime("%Y%m%dT%H%M%S")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::Phase;
    use crate::engine::input::Input;

    const DAY_NS: i64 = 86_400_000_000_000;

    /// Settings that a segment of no bay could have; only the clocks matter here.
    fn header(drill_speed: Option<f64>) -> Header {
        let site = crate::config::load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("config/site.toml"));
        let settings = site.unwrap_or_else(|faults| panic!("{faults}")).bays[0].settings.clone();
        Header {
            program_version: PROGRAM_VERSION.to_owned(),
            numerics_version: NUMERICS_VERSION,
            drill_speed,
            boot_id: "one".to_owned(),
            machine_ns_at_zero: 9_000 * SECOND_NS,
            wall_at_zero: WallTime(1_800_000_000_000_000_000),
            bay: "bay-1".to_owned(),
            texts: Vec::new(),
            settings,
            carried: Carried::default(),
        }
    }

    /// A transfer of two hours, the machine started anew: its clock says a minute, engine time goes on.
    #[test]
    fn engine_time_goes_on_after_a_reboot() {
        let last_at = EngineTime(7_200 * SECOND_NS);
        let now = MachineTime(60 * SECOND_NS);
        let wall = WallTime(1_800_000_000_000_000_000 + 7_500_000_000_000);
        let (clock, known_by) = resumed_clock(&header(None), last_at, false, now, wall);
        assert_eq!((clock.engine(now), known_by), (EngineTime(7_500 * SECOND_NS), GapClock::WallClock));
        assert_eq!(clock.engine(MachineTime(61 * SECOND_NS)), EngineTime(7_501 * SECOND_NS));
        // A wall clock that was set back makes no time run back.
        let (clock, _) = resumed_clock(&header(None), last_at, false, now, WallTime(0));
        assert_eq!(clock.engine(now), last_at);
        assert_eq!(clock.engine(MachineTime(61 * SECOND_NS)), EngineTime(7_201 * SECOND_NS));
    }

    #[test]
    fn the_same_boot_needs_no_wall_clock() {
        let now = MachineTime(9_100 * SECOND_NS);
        let (clock, known_by) = resumed_clock(&header(Some(20.0)), EngineTime(SECOND_NS), true, now, WallTime(0));
        assert_eq!((clock.engine(now), known_by), (EngineTime(2_000 * SECOND_NS), GapClock::SameBoot));
    }

    /// The line that papers name is an input of its own: the segment is gone on with although the site file says another.
    #[test]
    fn the_line_of_the_papers_survives_a_stop() {
        let folder = tempfile::tempdir().expect("a folder");
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let mut site = crate::config::load(&shipped.join("site.toml")).unwrap_or_else(|faults| panic!("{faults}"));
        site.store = folder.path().to_owned();
        let text = format!("{}[line]\nupstream = \"22 L\"\n", crate::config::DELIVERY_MANUAL);
        let delivery = DeliveryFile::from_text(Path::new("delivery.toml"), text, &site);
        let delivery = delivery.unwrap_or_else(|faults| panic!("{faults}"));
        let begun = open(&site, &site.bays[0], Some(&delivery), None).expect("a segment");
        let mut monitor = begun.monitor;
        for event in begun.first {
            let input = Input { at: EngineTime(1), event };
            begun.recorder.input(&input);
            monitor.step(&input);
        }
        drop(begun.recorder);
        let resumed = open(&site, &site.bays[0], None, None).expect("the same segment");
        assert_eq!(resumed.path, begun.path);
        for settings in [monitor.settings(), resumed.monitor.settings()] {
            assert!((settings.line.upstream.0 - 0.022).abs() < 1e-12, "{:?}", settings.line);
            assert_eq!(settings.line.downstream, site.bays[0].settings.line.downstream);
        }
        assert_eq!(resumed.monitor.phase(), Phase::Opened);
    }

    /// A service is started anew with the papers of a load that is in: nothing is opened. Other papers of that name are.
    #[test]
    fn papers_of_a_closed_load_open_nothing() {
        let folder = tempfile::tempdir().expect("a folder");
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let mut site = crate::config::load(&shipped.join("site.toml")).unwrap_or_else(|faults| panic!("{faults}"));
        site.store = folder.path().to_owned();
        let text = crate::config::DELIVERY_MANUAL.to_owned();
        let delivery = DeliveryFile::from_text(Path::new("delivery.toml"), text, &site);
        let mut delivery = delivery.unwrap_or_else(|faults| panic!("{faults}"));
        let opens = |delivery: &DeliveryFile| {
            let begun = open(&site, &site.bays[0], Some(delivery), None).expect("a segment");
            let Segment { recorder, mut monitor, first, .. } = begun;
            let mut take = |event| {
                let input = Input { at: EngineTime(1), event };
                recorder.input(&input);
                monitor.step(&input);
            };
            first.into_iter().for_each(&mut take);
            let entry = |what| Event::Entry(Entry { who: "attendant".into(), leg: 1, what });
            take(entry(What::TransferStarted));
            take(entry(What::Closed));
            monitor.phase() == Phase::Closed && monitor.frame().at == EngineTime(1)
        };
        assert!(opens(&delivery), "the first time it is opened, and closed");
        for _ in 0..2 {
            let again = open(&site, &site.bays[0], Some(&delivery), None).expect("a segment");
            assert!(again.monitor.phase() == Phase::Closed, "{:?}", again.monitor.phase());
            assert!(!again.first.iter().any(|event| matches!(event, Event::Entry(_))), "{:?}", again.first);
        }
        delivery.setup.ticket_net.0 += 1.0;
        assert!(
            open(&site, &site.bays[0], Some(&delivery), None)
                .expect("a segment")
                .first
                .iter()
                .any(|event| matches!(event, Event::Entry(entry) if matches!(entry.what, What::DeliveryOpened(_))))
        );
    }

    #[test]
    fn only_old_idle_segments_go() {
        let folder = tempfile::tempdir().expect("a folder");
        let now = WallTime(1_800_000_000_123_000_000);
        let ago = |days: i64| WallTime(now.0 - days * DAY_NS);
        let old = free_name(folder.path(), ago(31), IDLE);
        let kept = [
            free_name(folder.path(), ago(29), IDLE),
            free_name(folder.path(), ago(400), "2026-0417"),
            folder.path().join("notes.txt"),
            folder.path().join("idle.brim"),
        ];
        for path in kept.iter().chain([&old]) {
            fs::write(path, b"x").expect("a file");
        }
        assert_eq!(idle_since(old.file_name().expect("a name").to_str().expect("text")), Some(ago(31)));
        prune(folder.path(), now, 30);
        assert!(!old.exists() && kept.iter().all(|path| path.exists()));
    }
}
