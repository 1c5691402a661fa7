//! One drill under way: what is behind the watch, the watch, and the log. Both can be made to stand still together, and to go
//! on at another speed.

use super::behind::{Behind, Plant, Recording};
use super::course::Course;
use super::lives::Lives;
use super::log::{Done, Log, Way};
use super::outcome::{Answers, Outcome};
use super::paper;
use super::told::{self, Ahead, Told};
use super::truth;
use super::watched::Watched;
use crate::bay::{Act, SimulatedBay};
use crate::drill::{self, Drill};
use crate::folder::{own_site, refuse_open, run_folder, write};
use crate::play::altered::Altered;
use crate::play::player::{Entries, Player};
use crate::play::recorded::Recorded;
use crate::play::served::Served;
use crate::play::whither;
use crate::scenario;
use crate::scenarios::Scenario;
use crate::wrong::{self, GoesWrong};
use brimwatch::config::{self, DeliveryFile, Site};
use brimwatch::engine::frame::Phase;
use brimwatch::page::feed::{Published, What};
use brimwatch::recording;
use brimwatch::time::EngineTime;
use maud::Markup;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// How drills are wanted.
#[derive(Debug, Clone)]
pub struct Options {
    /// A site file and the papers of a delivery to it; otherwise the drill's own works.
    pub site: Option<(PathBuf, PathBuf)>,
    /// Folder of recorded deliveries that are offered beside the scenarios.
    pub recordings: Option<PathBuf>,
    /// Folder under which each drill makes one of its own.
    pub store: PathBuf,
    /// Port of the monitor's page on 127.0.0.1; 0 for a free one.
    pub port: u16,
    /// Seed of everything that is drawn.
    pub seed: u64,
}

/// What a drill is made of.
#[derive(Debug, Clone, PartialEq)]
pub enum Plays {
    /// Something that goes wrong at a simulated plant.
    Scenario(Box<Scenario>),
    /// A recorded delivery, by its file.
    Recording(PathBuf),
}

/// A drill under way.
pub struct Session {
    /// Its folder.
    pub folder: PathBuf,
    log: Log,
    behind: Behind,
    watched: Watched,
    /// What the monitor has said.
    told: Told,
    latest: Option<Arc<Published>>,
}

impl Session {
    /// Begins a drill: its own folder, site file, addresses and store.
    ///
    /// # Errors
    /// In words for the trainer; then nothing is left running.
    pub async fn begin(options: &Options, plays: Plays, speed: f64) -> Result<Session, String> {
        match plays {
            Plays::Scenario(scenario) => Session::of_plant(options, *scenario, speed).await,
            Plays::Recording(file) => Session::of_recording(options, &file, speed).await,
        }
    }

    async fn of_plant(options: &Options, scenario: Scenario, speed: f64) -> Result<Session, String> {
        let (written, mut delivery) = works(options)?;
        let bay = delivery.bay;
        let settings = written.bays[bay].settings.clone();
        refuse_open(&written.store.join(&written.bays[bay].slug), &settings.bay)?;
        let papers = delivery.setup.clone();
        let wired = wrong::wired(&written.bays[bay]);
        for goes_wrong in &scenario.goes_wrong {
            let cannot = |why| format!("the scenario {} cannot be held here: {why}", scenario.name);
            goes_wrong.what.can(&settings.bay, &wired).map_err(cannot)?;
        }
        let log = Log { scenario, played: None, settings, papers, seed: options.seed, done: Vec::new() };
        delivery.setup = log.scenario.papers(&delivery.setup);
        let bays = (0..written.bays.len()).map(|at| match at == bay {
            true => log.bay(Way::AsItWas),
            false => SimulatedBay::new(&written.bays[at].settings, None, options.seed),
        });
        let deliveries = vec![delivery];
        let drill = Drill::of(&written, &deliveries, bays.collect(), 0.0).await.map_err(drill::no_port)?;
        let folder = run_folder(&options.store, "drill")?;
        let own = own_site(&written.texts, &drill.addresses(), &folder, options.port)?;
        let watched = Watched::begin((own, bay), deliveries, &folder, speed).await?;
        let (lives, ahead) = (Lives::new(&log), Ahead::default());
        let behind = Behind::Plant(Box::new(Plant { drill, bay, wired, lives, ahead }));
        Ok(Session::set_going(folder, log, behind, watched))
    }

    async fn of_recording(options: &Options, file: &Path, speed: f64) -> Result<Session, String> {
        let recorded = Recorded::read(file)?;
        let site_file = options.site.as_ref().map(|(site, _)| site.as_path());
        let (site, bay) = whither(&recorded, site_file)?;
        let none = || format!("{}: no delivery is opened in it: there is nothing to drill", file.display());
        let delivery = recorded.delivery(bay).ok_or_else(none)?;
        let log = Log::of_recording(&recorded, &delivery.setup);
        let then = told::received(file)?;
        let links = drill::links(&site).await.map_err(drill::no_port)?;
        let folder = run_folder(&options.store, "drill")?;
        let own = own_site(&site.texts, &drill::addresses(&site, &links), &folder, options.port)?;
        let altered = Altered::new(&recorded);
        let served = Served::new(&recorded, (&own, bay), &drill::registers(&own, &links), altered);
        let player = Player::new(Arc::new(recorded), served, (EngineTime(0), Entries::ButOfAlarms));
        let watched = Watched::begin((own, bay), vec![delivery], &folder, speed).await?;
        let behind = Behind::Recording(Box::new(Recording { player, links, then }));
        Ok(Session::set_going(folder, log, behind, watched))
    }

    fn set_going(folder: PathBuf, log: Log, mut behind: Behind, watched: Watched) -> Session {
        if let Some(feed) = watched.feed() {
            behind.go_on(feed, watched.speed);
        }
        Session { folder, log, behind, watched, told: Told::default(), latest: None }
    }

    /// What is played.
    #[must_use]
    pub fn scenario(&self) -> &Scenario {
        &self.log.scenario
    }

    /// What is behind the watch.
    #[must_use]
    pub fn behind(&self) -> &Behind {
        &self.behind
    }

    /// Where the monitor's page is.
    #[must_use]
    pub fn monitor(&self) -> String {
        format!("http://{}/", self.watched.page())
    }

    /// Times real time.
    #[must_use]
    pub fn speed(&self) -> f64 {
        self.watched.speed
    }

    /// The drill stands still.
    #[must_use]
    pub fn is_paused(&self) -> bool {
        self.watched.is_still()
    }

    /// Nothing more comes: what was recorded is at its end.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.behind.is_over()
    }

    /// What was done so far.
    #[must_use]
    pub fn log(&self) -> &Log {
        &self.log
    }

    /// What the monitor has said so far.
    #[must_use]
    pub fn told(&self) -> &Told {
        &self.told
    }

    /// The time line as a picture.
    #[must_use]
    pub fn picture(&self) -> Markup {
        let (until_s, lives) = (self.behind.lives().map_or_else(|| self.now_s(), Lives::now_s), self.behind.lives());
        let answers = Answers::of(&self.log, &self.told, lives, until_s);
        let (zero_s, since) = match self.log.started_s() {
            Some(zero_s) => (zero_s, "min since the transfer was entered as started"),
            None => (0.0, "min since the arrival"),
        };
        Course { told: &self.told, lives, answers: &answers, zero_s, since, until_s, over: false }.picture()
    }

    /// What the monitor knows; none while it stands still.
    #[must_use]
    pub fn published(&self) -> Option<Arc<Published>> {
        self.watched.published()
    }

    /// What the monitor knew when it was last looked at, also while it stands still.
    #[must_use]
    pub fn latest(&self) -> Option<&Published> {
        self.latest.as_deref()
    }

    /// Looks at the simulated bay, where there is one.
    pub fn with_bay<T>(&self, look: impl FnOnce(&mut SimulatedBay) -> T) -> Option<T> {
        match &self.behind {
            Behind::Plant(plant) => plant.look(look),
            Behind::Recording(_) => None,
        }
    }

    /// Follows what the monitor says and what is entered there; at a recording's end the drill stands still. To be called
    /// often.
    pub async fn look(&mut self) {
        if let Some(published) = self.published() {
            let frame = &published.frame;
            if frame.phase == Phase::Transfer && self.log.started_s().is_none() {
                // Nothing can keep it from being written down.
                let _ = self.does(Done::Started);
            }
            let against_kg = self.behind.follow(frame, &self.log);
            let at_s = self.behind.at_s(frame.at);
            self.told.frame(frame, at_s, against_kg);
            self.told.notice_seen(frame, at_s);
            self.latest = Some(published);
        }
        if self.is_over() && !self.is_paused() {
            // Its player has come to its end: nothing is left that could fail.
            let _ = self.pause().await;
        }
    }

    /// Its own time, s: the plant's, or the recording's.
    #[must_use]
    pub fn now_s(&self) -> f64 {
        self.behind.now_s()
    }

    /// Does something between two scans, and writes down exactly when.
    fn does(&mut self, done: Done) -> Result<(), String> {
        let at_s = self.behind.does(&done, &self.log)?;
        self.log.done.push((at_s, done));
        Ok(())
    }

    /// The trainee's hands. A recording they do not change; they are written down.
    ///
    /// # Errors
    /// While the drill stands still nothing moves.
    pub fn act(&mut self, act: Act) -> Result<(), String> {
        self.moves()?;
        self.does(Done::Act(act))
    }

    /// Something goes wrong, as scenario files write it; its time counts from now.
    ///
    /// # Errors
    /// What may be written, and what cannot go wrong here.
    pub fn fault(&mut self, text: &str) -> Result<(), String> {
        self.moves()?;
        self.does(Done::Fault(GoesWrong::parse(text)?))
    }

    /// Everything is mended; what was spilled, or counted wrong, stays so.
    ///
    /// # Errors
    /// When there is nothing to be mended.
    pub fn mend(&mut self) -> Result<(), String> {
        self.does(Done::Mended)
    }

    fn moves(&self) -> Result<(), String> {
        match self.is_paused() {
            true if self.is_over() => Err("the recording is over: end the drill".to_owned()),
            true => Err("the drill stands still: let it go on first".to_owned()),
            false => Ok(()),
        }
    }

    /// The trainer enters at the monitor what the trainee should have.
    ///
    /// # Errors
    /// Why it was not taken.
    pub async fn enter(&self, what: What) -> Result<(), String> {
        self.moves()?;
        self.watched.enter(what).await
    }

    /// What is behind the watch and the watch stand still.
    ///
    /// # Errors
    /// When a recording could not be played.
    pub async fn pause(&mut self) -> Result<(), String> {
        let stood = self.behind.stand_still().await;
        self.watched.stand_still().await;
        stood
    }

    /// They go on at this speed.
    ///
    /// # Errors
    /// When a recording is over, the drill's own cannot be gone on with, or the page's port was taken meanwhile.
    pub async fn go_on(&mut self, speed: f64) -> Result<(), String> {
        if self.is_over() {
            return self.moves();
        }
        if !self.is_paused() && (self.speed() - speed).abs() < f64::EPSILON {
            return Ok(());
        }
        self.pause().await?;
        self.watched.go_on(speed).await?;
        if let Some(feed) = self.watched.feed() {
            self.behind.go_on(feed, speed);
        }
        Ok(())
    }

    /// Ends the drill and keeps what came of it, as `result.html` and `result.json` in its folder.
    ///
    /// # Errors
    /// When it cannot be worked out or kept.
    pub async fn end(mut self) -> Result<(PathBuf, Outcome), String> {
        self.look().await;
        self.pause().await?;
        let (until_s, log, recording) = (self.now_s(), self.log.clone(), self.watched.recording.clone());
        let ahead = self.behind.ahead();
        let outcome = tokio::task::spawn_blocking(move || {
            let (outcome, course) = Outcome::of(&log, until_s, (&recording, &ahead))?;
            // For whoever tries alarm settings on it later. What was wrong with a recorded delivery nobody knows.
            if log.played.is_none() {
                recording::truth::end_with(&recording, &truth::of(&log, until_s, &ahead, &outcome))?;
            }
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
