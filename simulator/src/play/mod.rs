//! `play`: a recorded delivery served over Modbus as if it were live, with a watch of its own, and people's entries made
//! again at their times. Instruments can be made to go wrong on the way.
//!
//! ```text
//! recording -> recorded -> altered -> served -> player -> Modbus -> brimwatch -> story, held against the recording's own
//! ```

pub mod altered;
pub mod at_once;
pub mod player;
pub mod recorded;
pub mod served;
pub mod story;

use crate::drill;
use crate::folder::{own_site, refuse_open, run_folder};
use crate::server::LinkServer;
use altered::Altered;
use brimwatch::clock::{MachineTime, boot_id, wall_now};
use brimwatch::config::{self, Site};
use brimwatch::live::{self, LiveError, Running};
use brimwatch::recording::ENDING;
use brimwatch::recording::format::{Header, NUMERICS_VERSION, PROGRAM_VERSION};
use brimwatch::time::{EngineTime, SECOND_NS, WallTime};
use player::{Entries, Player};
use recorded::Recorded;
use served::Served;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use story::Story;

/// Played over sockets, verdicts and alarms come within this of the recording's, s, and the last mass within this, kg.
pub const WITHIN: (f64, f64) = (2.0, 1.0);

/// How a recording is wanted.
#[derive(Debug, Clone)]
pub struct Options {
    /// The recording.
    pub recording: PathBuf,
    /// A site file to play it to; otherwise the one that it holds.
    pub site: Option<PathBuf>,
    /// Times real time.
    pub speed: f64,
    /// What lies before this is taken as it was, without waiting, s of the recording.
    pub from_s: f64,
    /// What goes wrong, as scenario files write it.
    pub faults: Vec<String>,
    /// Folder under which each run makes one of its own.
    pub store: PathBuf,
    /// Port of the page on 127.0.0.1; 0 for a free one.
    pub port: u16,
    /// End with the recording; otherwise the page stays up until Ctrl-C.
    pub once: bool,
    /// In process with the recorded time stamps, without sockets or waiting.
    pub at_once: bool,
}

/// What became of a playing.
#[derive(Debug, Clone, PartialEq)]
pub struct Played {
    /// The recording that came of it.
    pub recording: PathBuf,
    /// In what it differs from the one that was played.
    pub differences: Vec<String>,
}

/// Plays a recording.
///
/// # Errors
/// In words for the person at the terminal.
pub async fn run(options: &Options) -> Result<Played, String> {
    let recorded = Recorded::read(&options.recording)?;
    let altered = Altered::parse(&options.faults, &recorded)?;
    let ends_s = recorded.ends().since_s(EngineTime(0));
    if options.from_s >= ends_s {
        return Err(format!("--from {} s: the recording ends after {ends_s:.0} s", options.from_s));
    }
    let (site, bay) = whither(&recorded, options.site.as_deref())?;
    let folder = run_folder(&options.store, "play")?;
    if options.at_once {
        return play_at_once(&recorded, (&site, bay), altered, &folder);
    }
    play_live(options, recorded, (&site, bay), altered, &folder).await
}

/// The site and the bay that a recording is played to: those of this site file, otherwise those that it holds.
///
/// # Errors
/// When it is of another site, or a delivery is open at that bay.
pub fn whither(recorded: &Recorded, site_file: Option<&Path>) -> Result<(Site, usize), String> {
    let site = match site_file {
        Some(file) => config::load(file).map_err(|faults| faults.to_string())?,
        None => recorded.site(Path::new(""))?,
    };
    let bay = recorded.bay(&site)?;
    let name = &site.bays[bay].settings.bay;
    if let Some(folder) = recorded.path.parent() {
        refuse_open(folder, name)?;
    }
    if site_file.is_some() {
        refuse_open(&site.store.join(&site.bays[bay].slug), name)?;
    }
    Ok((site, bay))
}

fn play_at_once(
    recorded: &Recorded,
    (site, bay): (&Site, usize),
    altered: Altered,
    folder: &Path,
) -> Result<Played, String> {
    let recording = folder.join(format!("played.{ENDING}"));
    let unaltered = altered.is_empty();
    // A drill, whatever it was played from: a page or a paper of it says so.
    let header = Header { drill_speed: recorded.header.drill_speed.or(Some(1.0)), ..recorded.header.clone() };
    at_once::play(recorded, (site, bay), altered, &header, (EngineTime(u64::MAX), &recording))?;
    let (same, differs) = at_once::compare(&recorded.path, &recording)?;
    match differs {
        None => println!("All {same} outputs are those of the recording, bit for bit."),
        Some(number) => println!("{same} outputs are those of the recording; at input {number} they differ."),
    }
    let story = Story::of(&recorded.path)?;
    let differences = story.differences(&Story::of(&recording)?, 0.0, 0.0);
    differences.iter().for_each(|difference| println!("Otherwise than recorded: {difference}"));
    println!("Recording: {}", recording.display());
    if unaltered && differs.is_some() && recorded.header.is_of_this_program() {
        return Err("the recording and what was played of it are not the same".to_owned());
    }
    Ok(Played { recording, differences })
}

async fn play_live(
    options: &Options,
    recorded: Recorded,
    (site, bay): (&Site, usize),
    altered: Altered,
    folder: &Path,
) -> Result<Played, String> {
    let links = drill::links(site).await.map_err(drill::no_port)?;
    let own = own_site(&site.texts, &drill::addresses(site, &links), folder, options.port)?;
    let from = EngineTime(0).plus_s(options.from_s);
    let mut deliveries: Vec<_> = recorded.delivery(bay).into_iter().collect();
    let mut altered = altered;
    if options.from_s > 0.0 {
        altered = take_before(&recorded, (&own, bay), altered, (from, options.speed))?;
        deliveries.clear();
    }
    let served = Served::new(&recorded, (&own, bay), &drill::registers(&own, &links), altered);
    let mut player = Player::new(Arc::new(recorded), served, (from, Entries::All));
    let live = live::Options { site: own, deliveries, drill_speed: Some(options.speed) };
    let running = live::start(live).await.map_err(|e| said(&e))?;
    introduce(options, player.recorded(), &links, &running, folder);
    let recording = running.recordings[bay].borrow().clone();
    player.go(running.bays[bay].clone(), options.speed);
    let ended = tokio::select! {
        ended = player.ended() => ended,
        _ = tokio::signal::ctrl_c() => Err("Ctrl-C before the recording's end".to_owned()),
    };
    if ended.is_ok() && !options.once {
        println!("The recording is over; the page stays up, end with Ctrl-C.");
        tokio::signal::ctrl_c().await.map_err(|e| format!("Ctrl-C cannot be heard: {e}"))?;
    }
    running.stop().await;
    player.refused().iter().for_each(|entry| println!("Not entered again: {entry}"));
    ended?;
    let (within_s, within_kg) = WITHIN;
    let story = Story::of(&player.recorded().path)?;
    let differences = story.differences(&Story::of(&recording)?, within_s, within_kg);
    match differences.as_slice() {
        [] => {
            println!("Verdicts and alarms came within {within_s} s of the recording's, the mass within {within_kg} kg.")
        }
        some => some.iter().for_each(|difference| println!("Otherwise than recorded: {difference}")),
    }
    println!("Recording: {}", recording.display());
    Ok(Played { recording, differences })
}

/// The part before: a recording in the drill's store that the live loop goes on with. It names another boot, and a wall
/// clock that is not before the present one, so that it goes on at its last input without a gap. Gives what faults made of
/// it by then.
fn take_before(
    recorded: &Recorded,
    (own, bay): (&Site, usize),
    altered: Altered,
    (from, speed): (EngineTime, f64),
) -> Result<Altered, String> {
    let slug = &own.bays[bay].slug;
    let store = own.store.join(slug);
    std::fs::create_dir_all(&store).map_err(|e| format!("{}: cannot make the folder: {e}", store.display()))?;
    let settings = own.bays[bay].settings.clone();
    let to = store.join(format!("20000101T000000.000Z-played.{ENDING}"));
    let header = gone_on_header(&recorded.header, settings, (from, speed));
    at_once::play(recorded, (own, bay), altered, &header, (from, &to))
}

/// The header of a recording that the live loop shall go on with at its last input, now, without a gap.
#[must_use]
pub fn gone_on_header(was: &Header, settings: brimwatch::config::Settings, (from, speed): (EngineTime, f64)) -> Header {
    // A wall clock that lies ahead for as long as the start may take.
    let ahead_ns = 60 * SECOND_NS;
    let since_ns = from.since_s(EngineTime(0)) / speed * 1e9;
    #[expect(clippy::cast_possible_truncation, reason = "hours")]
    let wall = wall_now().0 - since_ns as i64 + ahead_ns.cast_signed();
    Header {
        program_version: PROGRAM_VERSION.to_owned(),
        numerics_version: NUMERICS_VERSION,
        drill_speed: Some(speed),
        boot_id: format!("before {}", boot_id()),
        machine_ns_at_zero: MachineTime::now().0,
        wall_at_zero: WallTime(wall),
        settings,
        ..was.clone()
    }
}

fn said(error: &LiveError) -> String {
    match error {
        LiveError::Listen { address, source } => {
            format!("the page cannot listen on {address}: {source}; free the port, or give another by --port")
        }
        other => other.to_string(),
    }
}

fn introduce(options: &Options, recorded: &Recorded, links: &[LinkServer], running: &Running, folder: &Path) {
    println!("DRILL, {} times real time: a recorded delivery, no plant.", options.speed);
    println!("brimwatch reads it by Modbus and advises. It opens and closes nothing; at a real bay an independent");
    println!("high-level shut-off and a qualified person in attendance are required.");
    println!("Played: {}", recorded.path.display());
    for said in recorded.not_played() {
        println!("Not as it was: {said}");
    }
    println!("Page: http://{}/", running.page);
    println!("Files: {}", folder.display());
    for link in links {
        println!("Served at {}", link.address());
    }
    for fault in &options.faults {
        println!("Goes wrong: {fault}");
    }
}
