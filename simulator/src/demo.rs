//! The demo: brimwatch itself, watching a drill over real Modbus on loopback, faster than real time.
//!
//! It writes a site file and papers into a folder of its own, starts the simulated devices and brimwatch's live
//! loop in this process, and plays the attendant: says "transfer started" and "closed" when the hands do so.

use crate::bay::{ClosedFor, SimulatedBay, Stage};
use crate::drill::{Drill, readdress};
use crate::folder::{hand_in, run_folder, write};
use crate::scenario::{DELIVERY, PRODUCT, SITE};
use brimwatch::config::{self, DeliveryFile, Site};
use brimwatch::live::{self, Running};
use brimwatch::page::feed::{BayFeed, Entry, Frame, What};
use brimwatch::recording::truth::{self, Truth};
use brimwatch::time::EngineTime;
use brimwatch::words::display::kg;
use brimwatch::words::en::English;
use brimwatch::words::{Language, Scene};
use jiff::tz::TimeZone;
use std::fs;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::time::{Instant, interval};

/// Real time between two lines of progress.
const LINE_EVERY: Duration = Duration::from_secs(5);
/// Real time between two looks at what the attendant does.
const LOOK: Duration = Duration::from_millis(20);
/// Real time that all may stand still before the demo gives up: no transfer takes longer at any sensible speed.
const GIVE_UP: Duration = Duration::from_secs(3600);

/// How the demo is wanted.
#[derive(Debug, Clone)]
pub struct Options {
    /// End after the transfer instead of waiting for Ctrl-C.
    pub once: bool,
    /// Times real time.
    pub speed: f64,
    /// Folder under which each run makes one of its own.
    pub store: PathBuf,
    /// Seed of everything that is drawn.
    pub seed: u64,
    /// Port of the page on 127.0.0.1; 0 for a free one.
    pub port: u16,
}

/// Runs the demo.
///
/// # Errors
/// In words for the person at the terminal.
pub async fn run(options: &Options) -> Result<(), String> {
    let folder = run_folder(&options.store, "run")?;
    let site_file = write_files(&folder, options.port)?;
    let (site, deliveries) = load(&site_file)?;
    let no_port = |e| format!("no port of 127.0.0.1 is free for a simulated device: {e}");
    let drill = Drill::start(&site, &deliveries, options.speed, options.seed).await.map_err(no_port)?;
    let addressed = readdress(SITE, &drill.addresses(), &listen(options.port));
    write(&site_file, &addressed)?;
    let (site, deliveries) = load(&site_file)?;
    let live = live::Options { site, deliveries, drill_speed: Some(options.speed) };
    let running = live::start(live).await.map_err(|e| e.to_string())?;
    introduce(options, &folder, &drill, running.page);
    // The delivery is open: its segment has begun, and lasts until it is closed.
    let recording = running.recordings.first().ok_or("the drill's site has no bay")?.borrow().clone();
    let mut ctrl_c = std::pin::pin!(tokio::signal::ctrl_c());
    let ended = tokio::select! {
        ended = attend(&drill, &running, options) => ended,
        _ = &mut ctrl_c => Err("Ctrl-C before the transfer had ended; its recording is kept".into()),
    };
    if ended.is_ok() && !options.once {
        println!("The page stays up; end with Ctrl-C.");
        ctrl_c.await.map_err(|e| format!("Ctrl-C cannot be heard: {e}"))?;
    }
    running.stop().await;
    // Nothing was wrong, and whoever tries alarm settings on it may know.
    let kept = truth::end_with(&recording, &Truth::default());
    println!("Recording: {}", recording.display());
    println!("Replay it and compare bit for bit: brimwatch replay {}", recording.display());
    ended.and(kept)
}

fn listen(port: u16) -> [(&'static str, String); 1] {
    [("listen", format!("127.0.0.1:{port}"))]
}

/// Writes site, papers and product; the devices get their addresses once they serve.
fn write_files(folder: &Path, port: u16) -> Result<PathBuf, String> {
    let site_file = folder.join("site.toml");
    let products = folder.join("products");
    fs::create_dir_all(&products).map_err(|e| format!("{}: cannot make the folder: {e}", products.display()))?;
    write(&folder.join(PRODUCT.0), PRODUCT.1)?;
    write(&folder.join("delivery.toml"), DELIVERY)?;
    write(&site_file, &readdress(SITE, &[], &listen(port)))?;
    Ok(site_file)
}

fn load(site_file: &Path) -> Result<(Site, Vec<DeliveryFile>), String> {
    let site = config::load(site_file).map_err(|e| e.to_string())?;
    let delivery =
        config::load_delivery(&site_file.with_file_name("delivery.toml"), &site).map_err(|e| e.to_string())?;
    Ok((site, vec![delivery]))
}

fn introduce(options: &Options, folder: &Path, drill: &Drill, page: SocketAddr) {
    println!("DRILL, {} times real time: a simulated trailer of 50 % caustic soda, no plant.", options.speed);
    println!("brimwatch reads the simulated instruments by Modbus and advises. It opens and closes nothing; at a real");
    println!("bay an independent high-level shut-off and a qualified person in attendance are required.");
    println!("Page: http://{page}/");
    println!("Files: {}", folder.display());
    for (name, address) in drill.addresses() {
        println!("Device: {name} at {address}");
    }
    println!("Seed: {}", options.seed);
    if let Some((plant, instruments, drawn)) = drill.with_bay(0, parameters) {
        println!("Plant: {plant}");
        println!("Instruments: {instruments}");
        let [gain, span, zero_pa] = drawn;
        println!("Drawn: meter gain {gain:+.5}, scale span {span:+.5}, pad pressure zero {zero_pa:+.0} Pa");
    }
}

/// Every parameter, as its field is called.
fn parameters(bay: &mut SimulatedBay) -> (String, String, [f64; 3]) {
    let plain = |debug: String| debug.split_once('{').map_or(String::new(), |(_, f)| f.trim_matches([' ', '}']).into());
    let plant = plain(format!("{:?}", bay.plant().setup()));
    let instruments = bay.instruments().setup().to_string();
    (plant, instruments, bay.instruments().drawn())
}

/// Plays the attendant until the leg is closed.
async fn attend(drill: &Drill, running: &Running, options: &Options) -> Result<(), String> {
    let feed = running.bays.first().ok_or("the drill's site has no bay")?;
    let begun = Instant::now();
    let mut look = interval(LOOK);
    let mut line_due = begun + LINE_EVERY;
    let mut told = Stage::Unattended;
    loop {
        look.tick().await;
        let stage = drill.with_bay(0, |bay| bay.stage()).ok_or("the drill has no bay")?;
        if stage != told {
            println!("Attendant: {}", does(stage, drill.with_bay(0, |bay| bay.closed_for()).flatten()));
            told = stage;
        }
        match stage {
            Stage::Ready => {
                enter(feed, What::TransferStarted).await?;
                drill.with_bay(0, SimulatedBay::start);
            }
            Stage::Done => {
                progress(feed);
                return enter(feed, What::Closed).await;
            }
            _ => {}
        }
        if Instant::now() >= line_due {
            progress(feed);
            line_due += LINE_EVERY;
        }
        if begun.elapsed() > GIVE_UP {
            return Err(format!("the transfer has not ended after {} s at speed {}", GIVE_UP.as_secs(), options.speed));
        }
    }
}

/// Hands an entry of the attendant's in.
async fn enter(feed: &BayFeed, what: What) -> Result<(), String> {
    hand_in(feed, Entry { who: "drill attendant".into(), leg: 1, what }).await
}

fn does(stage: Stage, closed_for: Option<ClosedFor>) -> &'static str {
    match (stage, closed_for) {
        (Stage::Unattended, _) => "is not here",
        (Stage::Pressurising, _) => "brings the pad pressure up",
        (Stage::Ready, _) => "enters \"transfer started\"",
        (Stage::Unloading, _) => "opens the valve slowly",
        (Stage::Closing, Some(ClosedFor::HighLevelSwitch)) => "closes the valve: the high-level switch has tripped",
        (Stage::Closing, Some(ClosedFor::WorkingLevel)) => "closes the valve: the gauge shows the working level",
        (Stage::Closing, Some(ClosedFor::FirstGas)) => "closes the valve: gas comes",
        (Stage::Closing, _) => "closes the valve: the planned amount is in",
        (Stage::Clearing, _) => "blows the hose clear",
        (Stage::Settling, _) => "waits until everything is at rest",
        (Stage::Done, _) => "enters \"closed\"",
    }
}

/// One line: what each witness says, what the page's sentence says, when it will be in.
fn progress(feed: &BayFeed) {
    let Some(published) = feed.latest.borrow().clone() else {
        println!("  nothing has been published yet");
        return;
    };
    let (frame, zone) = (&published.frame, TimeZone::UTC);
    let headline = English.headline(Scene::new(&published.settings, frame, &zone), false);
    let says = if headline.act.is_empty() { headline.says } else { headline.whole() };
    let Some(started) = frame.delivery.as_ref().and_then(|d| d.started) else {
        println!("  {says}");
        return;
    };
    let after = |at: EngineTime| clock(at.since_s(started));
    let finish = frame.finish.planned.map_or("no finish is projected".to_owned(), |moment| {
        format!("the planned amount is in at {}, one time in twenty before {}", after(moment.q50), after(moment.q05))
    });
    println!("  {} {} | {says} | {finish} | alarms open: {}", after(frame.at), received(frame), frame.alarms.len());
}

fn received(frame: &Frame) -> String {
    let witnesses = frame.witnesses.iter().map(|witness| {
        let name = English.witness(witness.id);
        match witness.received_kg {
            Some(received) if witness.validity.is_credible() => format!("{name} {}", kg(received.value)),
            _ => format!("{name} nothing"),
        }
    });
    witnesses.collect::<Vec<_>>().join(", ")
}

/// Engine time since the transfer started, as minutes and seconds.
fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0).round();
    format!("{:02.0}:{:02.0}", (whole / 60.0).floor(), whole % 60.0)
}
