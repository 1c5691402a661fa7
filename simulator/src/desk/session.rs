//! One drill under way: the plant at its pace, a watch that can be made to stand still with it, and the log.
//!
//! Standing still, and another speed, are done by ending the watch and going on with its recording: the plant's clock and
//! the watch's stop together, and what the watch knew it knows again. Meanwhile its page says that it hears nothing.

use super::course::Course;
use super::lives::Lives;
use super::log::{Done, Log};
use super::outcome::{self, Answers, Outcome};
use super::paper;
use super::told::{Ahead, Told};
use crate::bay::{Act, SimulatedBay};
use crate::drill::{Drill, readdress};
use crate::folder::{hand_in, refuse_open, run_folder, write, write_named};
use crate::play::gone_on_header;
use crate::scenario;
use crate::scenarios::Scenario;
use crate::wrong::GoesWrong;
use brimwatch::config::{self, DeliveryFile, Settings, Site};
use brimwatch::engine::frame::Phase;
use brimwatch::live::{self, LiveError, Running};
use brimwatch::page::feed::{Entry, Published, What};
use brimwatch::recording::format::Kind;
use brimwatch::recording::writer::Recorder;
use brimwatch::recording::{reader, stream, truth};
use brimwatch::time::EngineTime;
use maud::Markup;
use std::fs;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// How drills are wanted.
#[derive(Debug, Clone)]
pub struct Options {
    /// A site file and the papers of a delivery to it; otherwise the drill's own works.
    pub site: Option<(PathBuf, PathBuf)>,
    /// Folder under which each drill makes one of its own.
    pub store: PathBuf,
    /// Port of the monitor's page on 127.0.0.1; 0 for a free one.
    pub port: u16,
    /// Seed of everything that is drawn.
    pub seed: u64,
}

/// A drill under way.
pub struct Session {
    /// Its folder.
    pub folder: PathBuf,
    site: Site,
    bay: usize,
    log: Log,
    drill: Drill,
    running: Option<Running>,
    recording: PathBuf,
    speed: f64,
    /// What is so, and what would have been.
    lives: Lives,
    /// What the monitor has said.
    told: Told,
    ahead: Ahead,
}

impl Session {
    /// Begins a drill: its own folder, site file, addresses and store.
    ///
    /// # Errors
    /// In words for the trainer; then nothing is left running.
    pub async fn begin(options: &Options, scenario: Scenario, speed: f64) -> Result<Session, String> {
        let (written, mut delivery) = works(options)?;
        let bay = delivery.bay;
        let settings = written.bays[bay].settings.clone();
        refuse_open(&written.store.join(&written.bays[bay].slug), &settings.bay)?;
        let papers = delivery.setup.clone();
        let log = Log { scenario, settings, papers, seed: options.seed, done: Vec::new() };
        delivery.setup = log.scenario.papers(&delivery.setup);
        let bays = (0..written.bays.len()).map(|at| match at == bay {
            true => log.bay(super::log::Way::AsItWas),
            false => SimulatedBay::new(&written.bays[at].settings, None, options.seed),
        });
        let deliveries = vec![delivery];
        let no_port = |e| format!("no port of 127.0.0.1 is free for a simulated device: {e}");
        let drill = Drill::of(&written, &deliveries, bays.collect(), 0.0).await.map_err(no_port)?;
        let folder = run_folder(&options.store, "drill")?;
        let site = own_site(&written, &drill, &folder, options.port)?;
        let live = live::Options { site: site.clone(), deliveries, drill_speed: Some(speed) };
        let running = live::start(live).await.map_err(|e| said(&e))?;
        let recording = running.recordings[bay].borrow().clone();
        let site = Site { listen: running.page, ..site };
        drill.set_speed(speed);
        let (running, lives) = (Some(running), Lives::new(&log));
        let (told, ahead) = (Told::default(), Ahead::default());
        Ok(Session { folder, site, bay, log, drill, running, recording, speed, lives, told, ahead })
    }

    /// What is played.
    #[must_use]
    pub fn scenario(&self) -> &Scenario {
        &self.log.scenario
    }

    /// Where the monitor's page is.
    #[must_use]
    pub fn monitor(&self) -> String {
        format!("http://{}/", self.site.listen)
    }

    /// Times real time.
    #[must_use]
    pub fn speed(&self) -> f64 {
        self.speed
    }

    /// Plant and watch stand still.
    #[must_use]
    pub fn is_paused(&self) -> bool {
        self.running.is_none()
    }

    /// What was done so far.
    #[must_use]
    pub fn log(&self) -> &Log {
        &self.log
    }

    /// What the monitor has said so far, by the plant's time.
    #[must_use]
    pub fn told(&self) -> &Told {
        &self.told
    }

    /// The time line as a picture.
    #[must_use]
    pub fn picture(&self) -> Markup {
        let until_s = self.lives.now_s();
        let answers = Answers::of(&self.log, &self.told, &self.lives, until_s);
        let (zero_s, since) = match self.log.started_s() {
            Some(zero_s) => (zero_s, "min since the transfer was entered as started"),
            None => (0.0, "min since the arrival"),
        };
        let (told, lives) = (&self.told, Some(&self.lives));
        Course { told, lives, answers: &answers, zero_s, since, until_s, over: false }.picture()
    }

    /// What the monitor knows; none while it stands still.
    #[must_use]
    pub fn published(&self) -> Option<Arc<Published>> {
        self.running.as_ref().and_then(|running| running.bays[self.bay].latest.borrow().clone())
    }

    /// Looks at the bay.
    pub fn with_bay<T>(&self, look: impl FnOnce(&mut SimulatedBay) -> T) -> Option<T> {
        self.drill.with_bay(self.bay, look)
    }

    /// Follows what the monitor says and what is entered there. To be called often.
    pub fn look(&mut self) {
        if let Some(published) = self.published() {
            let frame = &published.frame;
            if frame.phase == Phase::Transfer && self.log.started_s().is_none() {
                self.does(Done::Started);
            }
            self.ahead.hear(frame.at, self.now_s());
            self.lives.follow(&self.log, self.now_s());
            let at_s = self.ahead.plant_s(frame.at);
            self.told.frame(frame, at_s, self.lives.received_kg(at_s));
            self.told.notice_seen(frame, at_s);
        }
    }

    /// Plant time, s.
    #[must_use]
    pub fn now_s(&self) -> f64 {
        self.with_bay(|bay| bay.plant().time_s()).unwrap_or_default()
    }

    /// Does something to the plant between two scans, and writes down exactly when.
    fn does(&mut self, done: Done) {
        let scenario = self.log.scenario.clone();
        let at_s = self.with_bay(|bay| {
            done.to(bay, &scenario);
            bay.plant().time_s()
        });
        self.log.done.extend(at_s.map(|at_s| (at_s, done)));
    }

    /// The trainee's hands.
    ///
    /// # Errors
    /// While the drill stands still nothing moves.
    pub fn act(&mut self, act: Act) -> Result<(), String> {
        self.moves()?;
        self.does(Done::Act(act));
        Ok(())
    }

    /// Something goes wrong, as scenario files write it; its time counts from now.
    ///
    /// # Errors
    /// What may be written.
    pub fn fault(&mut self, text: &str) -> Result<(), String> {
        self.moves()?;
        let wrong = GoesWrong::parse(text)?;
        self.does(Done::Fault(wrong));
        Ok(())
    }

    /// Everything is mended; what was spilled stays so.
    pub fn mend(&mut self) {
        self.does(Done::Mended);
    }

    fn moves(&self) -> Result<(), String> {
        if self.is_paused() { Err("the drill stands still: let it go on first".to_owned()) } else { Ok(()) }
    }

    /// The trainer enters at the monitor what the trainee should have.
    ///
    /// # Errors
    /// Why it was not taken.
    pub async fn enter(&self, what: What) -> Result<(), String> {
        self.moves()?;
        let running = self.running.as_ref().ok_or("the drill stands still")?;
        hand_in(&running.bays[self.bay], Entry { who: "trainer".into(), leg: 1, what }).await
    }

    /// Plant and watch stand still.
    pub async fn pause(&mut self) {
        self.drill.set_speed(0.0);
        if let Some(running) = self.running.take() {
            self.recording = running.recordings[self.bay].borrow().clone();
            running.stop().await;
        }
    }

    /// They go on at this speed.
    ///
    /// # Errors
    /// When the recording cannot be gone on with, or the page's port was taken meanwhile.
    pub async fn go_on(&mut self, speed: f64) -> Result<(), String> {
        if self.running.is_some() && (self.speed - speed).abs() < f64::EPSILON {
            return Ok(());
        }
        self.pause().await;
        carry_on(&self.recording, &self.folder, &self.site.bays[self.bay].settings, speed)?;
        let live = live::Options { site: self.site.clone(), deliveries: Vec::new(), drill_speed: Some(speed) };
        let running = live::start(live).await.map_err(|e| said(&e))?;
        self.recording = running.recordings[self.bay].borrow().clone();
        (self.running, self.speed) = (Some(running), speed);
        self.ahead.begin_anew();
        self.drill.set_speed(speed);
        Ok(())
    }

    /// Ends the drill and keeps what came of it, as `result.html` and `result.json` in its folder.
    ///
    /// # Errors
    /// When it cannot be worked out or kept.
    pub async fn end(mut self) -> Result<(PathBuf, Outcome), String> {
        self.look();
        self.pause().await;
        let (until_s, log, recording) = (self.now_s(), self.log.clone(), self.recording.clone());
        let ahead = self.ahead.clone();
        let outcome = tokio::task::spawn_blocking(move || {
            let (outcome, course) = Outcome::of(&log, until_s, (&recording, &ahead))?;
            // For whoever tries alarm settings on it later.
            truth::end_with(&recording, &outcome::truth(&log, until_s, &ahead, &outcome))?;
            Ok::<_, String>((outcome, course))
        });
        let (outcome, course) = outcome.await.map_err(|e| format!("the result could not be worked out: {e}"))??;
        let json = serde_json::to_string_pretty(&outcome).map_err(|e| e.to_string())?;
        write(&self.folder.join("result.json"), &json)?;
        write(&self.folder.join("result.html"), &paper::page(&outcome, &course).into_string())?;
        Ok((self.folder.clone(), outcome))
    }
}

/// The works as they are written, and the delivery.
fn works(options: &Options) -> Result<(Site, DeliveryFile), String> {
    match &options.site {
        None => scenario::works(Path::new("")).map_err(|faults| faults.to_string()),
        Some((site, papers)) => {
            let site = config::load(site).map_err(|faults| faults.to_string())?;
            let delivery = config::load_delivery(papers, &site).map_err(|faults| faults.to_string())?;
            Ok((site, delivery))
        }
    }
}

fn own_site(written: &Site, drill: &Drill, folder: &Path, port: u16) -> Result<Site, String> {
    let text = written.texts.first().map_or("", |(_, text)| text);
    let keys = [("listen", format!("127.0.0.1:{port}")), ("store", "recordings".to_owned())];
    let site_file = folder.join("site.toml");
    write_named(folder, written.texts.get(1..).unwrap_or_default())?;
    write(&site_file, &readdress(text, &drill.addresses(), &keys))?;
    let site = config::load(&site_file).map_err(|faults| faults.to_string())?;
    // Also where the site file leaves them out.
    let (listen, store) = (SocketAddr::from((Ipv4Addr::LOCALHOST, port)), folder.join("recordings"));
    Ok(Site { listen, store, ..site })
}

fn said(error: &LiveError) -> String {
    match error {
        LiveError::Listen { address, source } => {
            format!("the monitor's page cannot listen on {address}: {source}; free the port, or give another by --port")
        }
        other => other.to_string(),
    }
}

/// Makes the recording one that the live loop goes on with at its last input, at this speed.
fn carry_on(recording: &Path, folder: &Path, settings: &Settings, speed: f64) -> Result<(), String> {
    let cannot = |e: &dyn std::fmt::Display| format!("{}: cannot be gone on with: {e}", recording.display());
    let aside = folder.join("stood-still.brim");
    fs::rename(recording, &aside).map_err(|e| cannot(&e))?;
    let copied = copy(&aside, recording, settings, speed);
    match copied {
        Ok(()) => fs::remove_file(&aside).map_err(|e| cannot(&e)),
        Err(why) => {
            // What was there before is whole.
            let _ = fs::rename(&aside, recording);
            Err(cannot(&why))
        }
    }
}

fn copy(from: &Path, to: &Path, settings: &Settings, speed: f64) -> Result<(), String> {
    let open = || stream::open(from).map_err(|e| e.to_string());
    let (mut counted, mut last) = (open()?, EngineTime(0));
    while let Some(record) = counted.next_record().map_err(|e| e.to_string())? {
        if record.kind == Kind::Input {
            last = reader::input(&record)?.at;
        }
    }
    let mut stream = open()?;
    let header = gone_on_header(stream.header(), settings.clone(), (last, speed));
    let recorder = Recorder::create(to, &header).map_err(|e| e.to_string())?;
    while let Some(record) = stream.next_record().map_err(|e| e.to_string())? {
        match record.kind {
            Kind::Input => {
                recorder.wait_for_room().map_err(|e| e.to_string())?;
                recorder.input(&reader::input(&record)?);
            }
            Kind::Output => recorder.output(record.number, &reader::frame(&record)?),
            _ => {}
        }
    }
    Ok(())
}
