//! The watch of a drill. It can be made to stand still and to go on, at another speed too.
//!
//! Both are done by ending it and going on with its recording: what it knew it knows again. Meanwhile its page says that it
//! hears nothing.

use crate::folder::hand_in;
use crate::play::gone_on_header;
use brimwatch::config::{DeliveryFile, Settings, Site};
use brimwatch::live::{self, LiveError, Running};
use brimwatch::page::feed::{BayFeed, Entry, Published, What};
use brimwatch::recording::format::Kind;
use brimwatch::recording::writer::Recorder;
use brimwatch::recording::{reader, stream};
use brimwatch::time::EngineTime;
use std::fs;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A watch with a page of its own.
pub struct Watched {
    site: Site,
    bay: usize,
    folder: PathBuf,
    running: Option<Running>,
    /// What it writes.
    pub recording: PathBuf,
    /// Times real time.
    pub speed: f64,
}

impl Watched {
    /// Begins with this delivery at a drill's own site.
    ///
    /// # Errors
    /// When its page cannot listen or its store not be written.
    pub async fn begin(
        (site, bay): (Site, usize),
        deliveries: Vec<DeliveryFile>,
        folder: &Path,
        speed: f64,
    ) -> Result<Watched, String> {
        let live = live::Options { site: site.clone(), deliveries, drill_speed: Some(speed) };
        let running = live::start(live).await.map_err(|e| said(&e))?;
        let recording = running.recordings[bay].borrow().clone();
        // The page stays at the port that was free.
        let site = Site { listen: running.page, ..site };
        Ok(Watched { site, bay, folder: folder.to_owned(), running: Some(running), recording, speed })
    }

    /// Where its page is.
    #[must_use]
    pub fn page(&self) -> SocketAddr {
        self.site.listen
    }

    /// It stands still.
    #[must_use]
    pub fn is_still(&self) -> bool {
        self.running.is_none()
    }

    /// The bay; none while it stands still.
    #[must_use]
    pub fn feed(&self) -> Option<&BayFeed> {
        self.running.as_ref().map(|running| &running.bays[self.bay])
    }

    /// What it knows; none while it stands still.
    #[must_use]
    pub fn published(&self) -> Option<Arc<Published>> {
        self.feed().and_then(|feed| feed.latest.borrow().clone())
    }

    /// The trainer enters something.
    ///
    /// # Errors
    /// Why it was not taken.
    pub async fn enter(&self, what: What) -> Result<(), String> {
        let feed = self.feed().ok_or("the drill stands still")?;
        hand_in(feed, Entry { who: "trainer".into(), leg: 1, what }).await
    }

    /// It stands still.
    pub async fn stand_still(&mut self) {
        if let Some(running) = self.running.take() {
            self.recording = running.recordings[self.bay].borrow().clone();
            running.stop().await;
        }
    }

    /// It goes on at this speed, from where it stands.
    ///
    /// # Errors
    /// When the recording cannot be gone on with, or the page's port was taken meanwhile.
    pub async fn go_on(&mut self, speed: f64) -> Result<(), String> {
        self.stand_still().await;
        carry_on(&self.recording, &self.folder, &self.site.bays[self.bay].settings, speed)?;
        let live = live::Options { site: self.site.clone(), deliveries: Vec::new(), drill_speed: Some(speed) };
        let running = live::start(live).await.map_err(|e| said(&e))?;
        self.recording = running.recordings[self.bay].borrow().clone();
        (self.running, self.speed) = (Some(running), speed);
        Ok(())
    }
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
