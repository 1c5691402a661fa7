//! A recorded delivery, read to be played: what each device answered and what people entered, in order of time.

use brimwatch::config::{DeliveryFile, Site};
use brimwatch::engine::input::{Event, Input, What};
use brimwatch::recording::format::{Header, Kind};
use brimwatch::recording::{reader, stream};
use brimwatch::time::EngineTime;
use std::path::{Path, PathBuf};

/// A recording in memory.
#[derive(Debug, Clone)]
pub struct Recorded {
    /// Its file.
    pub path: PathBuf,
    /// What it starts from.
    pub header: Header,
    /// Every input that could be read, in order.
    pub inputs: Vec<Input>,
    /// Where reading stopped before the end, if it did.
    pub stopped: Option<String>,
}

impl Recorded {
    /// Reads one.
    ///
    /// # Errors
    /// When it is no recording, or holds nothing that can be played.
    pub fn read(path: &Path) -> Result<Recorded, String> {
        let mut stream = stream::open(path).map_err(|e| e.to_string())?;
        let header = stream.header().clone();
        let mut inputs: Vec<Input> = Vec::new();
        while let Some(record) = stream.next_record().map_err(|e| e.to_string())? {
            if record.kind == Kind::Input {
                let number = record.number;
                let input = reader::input(&record);
                inputs.push(input.map_err(|why| format!("{}: input {number}: {why}", path.display()))?);
            }
        }
        let stopped = stream.stopped().map(ToString::to_string);
        if !inputs.iter().any(|input| matches!(input.event, Event::Poll(_))) {
            return Err(format!("{}: no device ever answered in it: there is nothing to play", path.display()));
        }
        if let Some(delivery) = &header.carried.delivery {
            return Err(format!(
                "{}: begins in the midst of delivery {}, and what moved before is in an earlier recording; play one that \
                 begins with the delivery's opening",
                path.display(),
                delivery.setup.id
            ));
        }
        Ok(Recorded { path: path.to_owned(), header, inputs, stopped })
    }

    /// The site it was recorded at, out of the texts it holds; relative paths belong to `folder`.
    ///
    /// # Errors
    /// When this program does not take that site file.
    pub fn site(&self, folder: &Path) -> Result<Site, String> {
        Site::from_texts(&folder.join("site.toml"), &self.header.texts).map_err(|faults| {
            format!("{}: the site file that it holds is none of this program's: {faults}", self.path.display())
        })
    }

    /// The bay of a site that it can be played to: the same devices and signals.
    ///
    /// # Errors
    /// What is not as in the recording: it is of another site.
    pub fn bay(&self, site: &Site) -> Result<usize, String> {
        let of_another = |why: String| {
            let (recording, site) = (self.path.display(), site.path.display());
            format!("{recording}: is of another site than {site}: {why}; leave --site out, or give its own site file")
        };
        let slug = &self.header.bay;
        let bays: Vec<&str> = site.bays.iter().map(|bay| bay.slug.as_str()).collect();
        let bay = bays.iter().position(|bay| bay == slug);
        let bay = bay.ok_or_else(|| of_another(format!("it has no bay {slug}, but {}", bays.join(", "))))?;
        let (was, is) = (&self.header.settings, &site.bays[bay].settings);
        for (at, device) in was.devices.iter().enumerate() {
            if is.devices.get(at).is_none_or(|d| d.name != device.name) {
                return Err(of_another(format!("device {} of {slug} was \"{}\"", at + 1, device.name)));
            }
        }
        for (at, signal) in was.signals.iter().enumerate() {
            let same = is.signals.get(at).is_some_and(|now| {
                (now.kind, now.device, now.tank, &now.name) == (signal.kind, signal.device, signal.tank, &signal.name)
            });
            if !same {
                return Err(of_another(format!("signal {} of {slug} was \"{}\"", at + 1, signal.name)));
            }
        }
        if (was.devices.len(), was.signals.len()) != (is.devices.len(), is.signals.len()) {
            return Err(of_another(format!("{slug} has more devices or signals than were recorded")));
        }
        Ok(bay)
    }

    /// Its papers, as they were entered.
    #[must_use]
    pub fn delivery(&self, bay: usize) -> Option<DeliveryFile> {
        let setup = self.inputs.iter().find_map(|input| match &input.event {
            Event::Entry(entry) => match &entry.what {
                What::DeliveryOpened(setup) => Some((**setup).clone()),
                _ => None,
            },
            _ => None,
        })?;
        let settings = self.inputs.iter().find_map(|input| match &input.event {
            Event::Settings(new) => Some(&new.settings),
            _ => None,
        });
        let line = settings.map(|s| s.line.clone()).filter(|line| *line != self.header.settings.line);
        Some(DeliveryFile { bay, setup, line, texts: Vec::new(), warnings: Vec::new() })
    }

    /// When the transfer was entered as started; without that the first input.
    #[must_use]
    pub fn started(&self) -> EngineTime {
        let started =
            |input: &&Input| matches!(&input.event, Event::Entry(e) if matches!(e.what, What::TransferStarted));
        self.inputs.iter().find(started).or(self.inputs.first()).map_or(EngineTime(0), |input| input.at)
    }

    /// The last input.
    #[must_use]
    pub fn ends(&self) -> EngineTime {
        self.inputs.last().map_or(EngineTime(0), |input| input.at)
    }

    /// What is in it that cannot be played, in words.
    #[must_use]
    pub fn not_played(&self) -> Vec<String> {
        let has = |of: fn(&Event) -> bool| self.inputs.iter().any(|input| of(&input.event));
        let mut said: Vec<String> = Vec::new();
        said.extend(self.stopped.iter().map(|why| format!("the recording is damaged: {why}")));
        if has(|event| matches!(event, Event::Neighbour(_))) {
            said.push("another bay fills the same tank: what it said is not played".to_owned());
        }
        if has(|event| matches!(event, Event::Settings(s) if s.reason != "the line of this load")) {
            said.push("settings were changed on the way: those at its beginning hold".to_owned());
        }
        if has(|event| matches!(event, Event::Resumed(_))) {
            said.push("nobody watched for a while: the last values before stay on the wire".to_owned());
        }
        said
    }
}
