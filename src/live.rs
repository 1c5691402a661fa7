//! The loop: number, record, step, publish.
//!
//! ```text
//! device tasks --answers--> bay task [ recorder.input -> Monitor::step -> recorder.output ] --watch--> page
//!                              ^ ticks, entries, recorder state, wall clock
//! ```
//! One task owns a bay's monitor and gives everything that happens one order; that order is what is recorded.
//! No queue here is waited for by a device's task, and no viewer is waited for by a bay.

mod bay;
pub mod change;
mod facts;
pub mod heartbeat;
mod neighbours;
pub mod open;
mod past;
mod segment;

use crate::clock::MachineTime;
use crate::config::{DeliveryFile, Site};
use crate::page::door::Entrance;
use crate::page::feed::{BayFeed, PapersDoor, SettingsDoor, Work};
use crate::page::reader;
use crate::page::server::{self, Served};
use crate::page::tls::{self, TlsError};
use crate::poll::device::{Answer, Reader, Spec};
use crate::poll::link::{self, LinkSpec};
use crate::poll::stats::Stats;
use crate::recording::RecordingError;
use neighbours::{Heard, Talk, Told};
use std::io;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;

/// Answers that may wait for a bay: at 100 polls a second two seconds of a bay that hangs.
const ANSWERS_WAITING: usize = 256;
/// Entries that may wait for a bay.
const ENTRIES_WAITING: usize = 16;

/// What to watch.
#[derive(Debug, Clone)]
pub struct Options {
    /// The site.
    pub site: Site,
    /// Deliveries to open, at most one a bay.
    pub deliveries: Vec<DeliveryFile>,
    /// Only the simulator passes one: engine seconds per machine second.
    pub drill_speed: Option<f64>,
}

/// Why the watch cannot start.
#[derive(Debug, thiserror::Error)]
pub enum LiveError {
    /// The page's address cannot be had.
    #[error("the page cannot listen on {address}: {source}; free the port or change `listen` in the site file")]
    Listen {
        /// The address.
        address: SocketAddr,
        /// What the system says.
        source: io::Error,
    },
    /// The page's certificate cannot be used.
    #[error(transparent)]
    Tls(#[from] TlsError),
    /// The store cannot be used.
    #[error("{}: the store cannot be used: {source}; see that the folder exists and can be written", path.display())]
    Store {
        /// Folder or file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The latest segment cannot be read.
    #[error("{0}; nothing was changed: move that file elsewhere to begin anew")]
    Recording(#[from] RecordingError),
    /// Another delivery is open.
    #[error(
        "bay {bay}: delivery {open} is still open (recording {}); enter \"closed\" on its page before delivery {asked} \
         is opened, or start without --delivery", path.display()
    )]
    DeliveryOpen {
        /// The bay.
        bay: String,
        /// The open delivery.
        open: String,
        /// The one asked for.
        asked: String,
        /// Its recording.
        path: PathBuf,
    },
    /// A recording that was made of a history lies among those of the watch.
    #[error(
        "bay {bay}: {} was imported from a plant's history; what it ended with is nothing that is going on: move it out \
         of the store", path.display()
    )]
    Imported {
        /// The bay.
        bay: String,
        /// The recording found.
        path: PathBuf,
    },
    /// Drill and live in one store.
    #[error(
        "bay {bay}: {} was written {by}; drill and live never share a store: give this one another `store`",
        path.display()
    )]
    DrillAndLive {
        /// The bay.
        bay: String,
        /// The recording found.
        path: PathBuf,
        /// "in a drill" or "live".
        by: &'static str,
    },
}

/// A watch under way.
#[derive(Debug)]
pub struct Running {
    /// Where the page is.
    pub page: SocketAddr,
    /// Each bay, in the order of the site.
    pub bays: Vec<BayFeed>,
    /// The segment each bay writes, in the same order; changes when a new one begins.
    pub recordings: Vec<watch::Receiver<PathBuf>>,
    stop: watch::Sender<bool>,
    bay_tasks: Vec<JoinHandle<()>>,
    link_tasks: Vec<JoinHandle<()>>,
    page_task: JoinHandle<io::Result<()>>,
}

impl Running {
    /// Stops polling, closes the recordings (an open delivery's to be resumed) and the page.
    pub async fn stop(self) {
        for task in &self.link_tasks {
            task.abort();
        }
        let _ = self.stop.send(true);
        for task in self.bay_tasks {
            if let Err(error) = task.await {
                tracing::error!(%error, "a bay's task ended badly");
            }
        }
        match self.page_task.await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::error!(%error, "the page ended badly"),
            Err(error) => tracing::error!(%error, "the page's task ended badly"),
        }
    }
}

/// Starts polling, watching, recording and the page.
///
/// # Errors
/// When the page's address, the store or an open recording cannot be used; then nothing was started.
pub async fn start(options: Options) -> Result<Running, LiveError> {
    let Options { site, deliveries, drill_speed } = options;
    let tls = site.door.tls.as_ref().map(|(certificate, key)| tls::acceptor(certificate, key)).transpose()?;
    let entrance = Entrance { tls, names: site.door.names.clone(), behind_proxy: site.door.behind_proxy };
    let listener =
        TcpListener::bind(site.listen).await.map_err(|source| LiveError::Listen { address: site.listen, source })?;
    let page = listener.local_addr().map_err(|source| LiveError::Listen { address: site.listen, source })?;
    let speed = drill_speed.unwrap_or(1.0);
    let (stop, stopping) = watch::channel(false);
    let stats: Vec<Arc<Stats>> = site.devices.iter().map(|_| Arc::new(Stats::new())).collect();

    let mut segments = Vec::new();
    for (index, setup) in site.bays.iter().enumerate() {
        let delivery = deliveries.iter().find(|d| d.bay == index);
        segments.push(segment::open(&site, setup, delivery, drill_speed)?);
    }
    change::say_in_force(&site).map_err(|source| LiveError::Store { path: site.store.clone(), source })?;

    let (mut feeds, mut recordings, mut bay_tasks, mut answers) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let (mut changes, mut openings) = (Vec::new(), Vec::new());
    let words: Vec<watch::Sender<Option<Told>>> = site.bays.iter().map(|_| watch::channel(None).0).collect();
    for ((setup, segment), word) in site.bays.iter().zip(segments).zip(&words) {
        let (to_bay, from_devices) = mpsc::channel::<Answer>(ANSWERS_WAITING);
        let (entries, from_people) = mpsc::channel(ENTRIES_WAITING);
        let stats = setup.devices.iter().map(|&d| Arc::clone(&stats[d])).collect();
        let heard = setup.neighbours.iter().map(|n| Heard { tank: n.tank, told: words[n.bay].subscribe() }).collect();
        let talk = Talk { tells: word.clone(), hears: heard };
        let work = Arc::new(Work::default());
        let (bay, latest, recording) =
            bay::Bay::new(&site, setup, segment, (stats, Arc::clone(&work)), talk, drill_speed);
        feeds.push(BayFeed { slug: setup.slug.clone(), latest, entries, work });
        recordings.push(recording);
        let (change, changed) = mpsc::channel(1);
        changes.push(change);
        let (open, opened) = mpsc::channel(1);
        openings.push(open);
        bay_tasks.push(tokio::spawn(bay.run(from_devices, from_people, (changed, opened), stopping.clone())));
        answers.push(to_bay);
    }

    let link_tasks =
        (0..site.links.len()).map(|index| tokio::spawn(link::run(link_spec(&site, index, speed, &answers, &stats))));
    let mut link_tasks: Vec<JoinHandle<()>> = link_tasks.collect();
    let (asks, asked) = mpsc::channel(1);
    let (offers, offered) = watch::channel(Arc::new(change::offered(&site)));
    let (papers, typed) = mpsc::channel(1);
    let page_of_changes = change::Page { asks: asked, papers: typed, offers };
    link_tasks.push(tokio::spawn(change::run(site.clone(), (changes, openings), page_of_changes, stopping.clone())));
    link_tasks.push(tokio::spawn(heartbeat::run(site.store.clone(), feeds.clone(), stopping.clone())));
    let mut closing = stopping;
    let shutdown = async move {
        // A dropped sender ends the watch as well as a word does.
        let _ = closing.wait_for(|stop| *stop).await;
    };
    let served = Served {
        site: site.name.clone(),
        people: site.people.clone(),
        reader: reader::Reader::of_site(&site.language, site.units),
        entrance,
        settings: SettingsDoor { offered, asks },
        papers: PapersDoor { fields: open::fields().into(), asks: papers },
        bays: feeds.clone(),
    };
    let page_task = page_thread(listener, served, shutdown);
    tracing::info!(site = site.name, %page, bays = site.bays.len(), devices = site.devices.len(), drill_speed, "watching");
    Ok(Running { page, bays: feeds, recordings, stop, bay_tasks, link_tasks, page_task })
}

/// The page has a thread of its own: however many look at it, no poll waits for what they are shown.
fn page_thread(
    listener: TcpListener,
    served: Served,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> JoinHandle<io::Result<()>> {
    tokio::task::spawn_blocking(move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        let listener = listener.into_std()?;
        runtime.block_on(async { server::serve(TcpListener::from_std(listener)?, served, shutdown).await })
    })
}

/// What a link's task is told.
fn link_spec(
    site: &Site,
    index: usize,
    speed: f64,
    answers: &[mpsc::Sender<Answer>],
    stats: &[Arc<Stats>],
) -> LinkSpec {
    let link = &site.links[index];
    let devices = (0..site.devices.len()).filter(|&d| site.devices[d].link == index);
    LinkSpec {
        name: link.name.clone(),
        number: u32::try_from(index).unwrap_or(u32::MAX),
        way: link.way.clone(),
        connect_time_out_s: link.connect_time_out_s,
        pause_s: link.pause_s,
        speed,
        devices: devices.map(|d| device_spec(site, d, answers, stats)).collect(),
    }
}

/// What it is told of one device.
fn device_spec(site: &Site, index: usize, answers: &[mpsc::Sender<Answer>], stats: &[Arc<Stats>]) -> Spec {
    let device = &site.devices[index];
    let mut readers = Vec::new();
    for (setup, bay) in site.bays.iter().zip(answers) {
        let Some(local) = setup.devices.iter().position(|&d| d == index) else { continue };
        let local = u16::try_from(local).unwrap_or(u16::MAX);
        let signals = (0u16..).zip(setup.settings.signals.iter().zip(&setup.places));
        let signals = signals.filter(|(_, (s, _))| s.device == local).map(|(i, (_, r))| (i, *r)).collect();
        readers.push(Reader { device: local, signals, bay: bay.clone() });
    }
    Spec {
        name: device.name.clone(),
        unit: device.unit,
        period_s: device.period_s,
        time_out_s: device.time_out_s,
        manners: device.manners.clone(),
        heartbeat: device.heartbeat.map(|(register, _)| register),
        readers,
        stats: Arc::clone(&stats[index]),
    }
}

/// Moments of machine time that must not run backwards within a bay.
fn not_before(t: MachineTime, least: MachineTime) -> MachineTime {
    t.max(least)
}
