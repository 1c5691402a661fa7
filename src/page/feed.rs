//! What the live loop hands to the page, and what the page hands back.

use crate::engine::settings::Settings;
use crate::finding::Finding;
use crate::picture::Past;
use crate::units::Measures;
use crate::words::Scene;
use hdrhistogram::Histogram;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{mpsc, oneshot, watch};

/// What a viewer is shown and what a person may enter, for those at this door.
pub use crate::engine::frame::Frame;
pub use crate::engine::input::{Block, Entry, What};
pub use crate::words::NotTaken;

/// One bay as the page sees it.
#[derive(Debug, Clone)]
pub struct BayFeed {
    /// Short name for addresses.
    pub slug: String,
    /// Latest state; `None` until the first frame.
    pub latest: watch::Receiver<Option<Arc<Published>>>,
    /// Where entries go.
    pub entries: mpsc::Sender<EntryRequest>,
    /// How the bay's own work does.
    pub work: Arc<Work>,
}

/// How a bay's own work does, for the figures: kept beside the frames, since it says nothing of the plant.
#[derive(Debug)]
pub struct Work(Mutex<WorkInner>);

#[derive(Debug)]
struct WorkInner {
    steps: u64,
    step_us: Histogram<u32>,
    changes: u64,
    waiting_bytes: u64,
    waiting_s: f64,
    durable: bool,
}

/// [`Work`] as it stands at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorkNow {
    /// Inputs stepped since the program started.
    pub steps: u64,
    /// What a step took, recording and publishing included, us: median, 99 % and maximum, each up to 7 % too high.
    pub step_us: [u64; 3],
    /// Settings that were changed on the run.
    pub changes: u64,
    /// Bytes that wait for the disk.
    pub waiting_bytes: u64,
    /// How long the oldest of them has waited, s.
    pub waiting_s: f64,
    /// The recorder writes; false: it is in trouble.
    pub durable: bool,
}

/// Longest step that is told apart, us.
const STEP_MOST_US: u64 = 10_000_000;

impl Default for Work {
    fn default() -> Work {
        // The bounds are constants that the library accepts.
        let step_us = Histogram::new_with_bounds(1, STEP_MOST_US, 1).expect("constant bounds");
        let (steps, changes, waiting_bytes, waiting_s, durable) = (0, 0, 0, 0.0, true);
        Work(Mutex::new(WorkInner { steps, step_us, changes, waiting_bytes, waiting_s, durable }))
    }
}

impl Work {
    fn lock(&self) -> MutexGuard<'_, WorkInner> {
        // Counters stay usable whatever happened to a holder.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// An input was stepped.
    pub fn stepped(&self, took: Duration) {
        let mut inner = self.lock();
        inner.steps += 1;
        inner.step_us.saturating_record(u64::try_from(took.as_micros()).unwrap_or(STEP_MOST_US).clamp(1, STEP_MOST_US));
    }

    /// Settings were changed on the run.
    pub fn changed(&self) {
        self.lock().changes += 1;
    }

    /// How far behind the recorder is.
    pub fn recorder(&self, waiting_bytes: u64, waiting: Duration, durable: bool) {
        let mut inner = self.lock();
        (inner.waiting_bytes, inner.waiting_s, inner.durable) = (waiting_bytes, waiting.as_secs_f64(), durable);
    }

    /// As it stands.
    #[must_use]
    pub fn now(&self) -> WorkNow {
        let inner = self.lock();
        let h = &inner.step_us;
        WorkNow {
            steps: inner.steps,
            step_us: [h.value_at_quantile(0.5), h.value_at_quantile(0.99), h.max()],
            changes: inner.changes,
            waiting_bytes: inner.waiting_bytes,
            waiting_s: inner.waiting_s,
            durable: inner.durable,
        }
    }
}

/// A person's entry on its way into the recording.
#[derive(Debug)]
pub struct EntryRequest {
    /// The entry.
    pub entry: Entry,
    /// Answered once the entry is durable on disk, or with why it was not taken.
    pub saved: oneshot::Sender<Result<(), NotTaken>>,
}

/// Where papers are typed that open a delivery.
#[derive(Debug, Clone)]
pub struct PapersDoor {
    /// What the form asks for; fields of one table stand together.
    pub fields: Arc<[PaperField]>,
    /// Where papers go.
    pub asks: mpsc::Sender<PapersRequest>,
}

/// One field of the papers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PaperField {
    /// Its key; unlike any other.
    pub key: String,
    /// The table it stands in; empty: none.
    pub table: String,
    /// Row, from 1, where the table has several.
    pub row: Option<usize>,
    /// Its name there.
    pub name: String,
    /// What it means.
    pub means: &'static str,
    /// How it may look.
    pub example: String,
    /// It must be there.
    pub required: bool,
    /// How it is typed.
    pub kind: FieldKind,
}

/// How a field is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FieldKind {
    /// As a text.
    Text,
    /// Yes, no, or nothing.
    YesNo,
}

/// Papers that somebody has typed.
#[derive(Debug)]
pub struct PapersRequest {
    /// Slug of the bay.
    pub bay: String,
    /// Who.
    pub who: String,
    /// What was typed, by key.
    pub values: BTreeMap<String, String>,
    /// To be opened although something should be looked at: somebody has.
    pub anyway: bool,
    /// Answered once the delivery is on record, or with why it is not opened.
    pub answered: oneshot::Sender<PapersAnswer>,
}

/// What became of them.
#[derive(Debug, Clone, PartialEq)]
pub enum PapersAnswer {
    /// The delivery is open, and on record.
    Opened,
    /// What is wrong.
    Faults(Vec<PaperFault>),
    /// What is allowed but should be looked at first.
    Warnings(Vec<PaperFault>),
    /// Why the bay does not take them.
    NotTaken(NotTaken),
    /// Nobody watches that bay.
    NoWatch,
}

/// What is to be said of a field.
#[derive(Debug, Clone, PartialEq)]
pub struct PaperFault {
    /// Its key.
    pub key: String,
    /// What, with value, range and what to do; or what is only ever said in English.
    pub found: Result<Finding, String>,
}

/// What an engineer may change while the watch runs, and where it is asked for.
#[derive(Debug, Clone)]
pub struct SettingsDoor {
    /// What is in force.
    pub offered: watch::Receiver<Arc<Offered>>,
    /// Where requests go.
    pub asks: mpsc::Sender<SettingsRequest>,
}

/// Settings that may be changed while the watch runs.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Offered {
    /// Another one for another site file: a form that was drawn before somebody else's change is known by it.
    pub version: String,
    /// Keys of one table stand together.
    pub settings: Vec<Setting>,
}

/// One of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    /// Key in the site file; unlike any other.
    pub key: String,
    /// The table it stands in.
    pub table: String,
    /// Its name there.
    pub name: &'static str,
    /// What it means.
    pub means: &'static str,
    /// Quantity and allowed range.
    pub range: String,
    /// What holds where it is not written; empty: its meaning says.
    pub left_out: &'static str,
    /// As it is written, with its unit; empty: it is not.
    pub written: String,
}

/// What an engineer asks for.
#[derive(Debug)]
pub struct SettingsRequest {
    /// Who.
    pub who: String,
    /// Why.
    pub reason: String,
    /// [`Offered::version`] of what they saw.
    pub version: String,
    /// New values by key; an empty one takes the key out.
    pub values: BTreeMap<String, String>,
    /// To be taken; otherwise only looked at.
    pub apply: bool,
    /// Answered once every bay has stepped it.
    pub answered: oneshot::Sender<SettingsAnswer>,
}

/// What became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SettingsAnswer {
    /// It is sound, and was taken where that was asked for.
    Sound {
        /// What is different.
        changed: Vec<Changed>,
        /// Why the site file does not hold it too.
        unwritten: Option<String>,
    },
    /// Why it is not taken, by the site file's own rules.
    NotTaken(String),
    /// Somebody else has changed the settings meanwhile.
    Outdated,
}

/// One setting that is another.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Changed {
    /// Its key.
    pub key: String,
    /// As it was written; `None`: it was not.
    pub before: Option<String>,
    /// As it is written now.
    pub after: Option<String>,
}

/// What every viewer gets.
#[derive(Debug, Clone)]
pub struct Published {
    /// Name of the works.
    pub site: String,
    /// Settings in force (names of signals, tanks, limits).
    pub settings: Arc<Settings>,
    /// State of the bay.
    pub frame: Frame,
    /// How the delivery went so far.
    pub past: Arc<Past>,
    /// What is so whatever happens.
    pub facts: Arc<Facts>,
    /// Of each device, the words of its last answered round.
    pub wire: Vec<Arc<Vec<Block>>>,
    /// How the polling does, by device of the settings.
    pub devices: Vec<DeviceStats>,
    /// In a drill: how many times faster than real time.
    pub drill_speed: Option<f64>,
    /// Counts frames since the program started.
    pub number: u64,
}

impl Published {
    /// What texts and pictures are about, for readers in that zone and of those units.
    #[must_use]
    pub fn scene<'a>(&'a self, zone: &'a TimeZone, measures: Measures) -> Scene<'a> {
        Scene { settings: &self.settings, frame: &self.frame, zone, measures }
    }
}

/// What the site file says of a bay and the engine is not told.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Facts {
    /// Lines of the emergency card: each key that is written, and its text.
    pub emergency: Vec<(&'static str, String)>,
    /// Usual pad pressure, Pa gauge.
    pub usual_pad_pa_gauge: Option<f64>,
    /// Band that the pad is worked in, Pa gauge: lower and upper end.
    pub usual_pad_band_pa_gauge: Option<(f64, f64)>,
    /// Of each signal, where its value is found.
    pub places: Vec<PlaceSaid>,
}

/// Where a value is found, for people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlaceSaid {
    /// Modbus function, 1 to 4.
    pub function: u8,
    /// Address on the wire, from 0.
    pub address: u16,
    /// How many registers or bits.
    pub count: u16,
    /// Type and order, as in the site file.
    pub form: String,
    /// Unit of its value in the frame; empty for yes/no.
    pub unit: &'static str,
}

/// How the polling of one device does. Times in microseconds of machine time.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize)]
pub struct DeviceStats {
    /// Name in the site file.
    pub name: String,
    /// Answered polls.
    pub answered: u64,
    /// Polls without a usable answer.
    pub missed: u64,
    /// Connections made.
    pub connections: u32,
    /// Request to reply: median, 99 % and maximum.
    pub latency_us: [u64; 3],
    /// Due to request sent: median, 99 % and maximum.
    pub lateness_us: [u64; 3],
    /// Rounds asked more than 50 ms after they were due.
    pub late: u64,
    /// Why the last poll missed, if it did; empty while it answers.
    pub trouble: String,
}
