//! What the live loop hands to the page, and what the page hands back.

use crate::engine::settings::Settings;
use std::sync::Arc;
use tokio::sync::{mpsc, oneshot, watch};

/// What a viewer is shown and what a person may enter, for those at this door.
pub use crate::engine::frame::Frame;
pub use crate::engine::input::{Entry, What};

/// One bay as the page sees it.
#[derive(Debug, Clone)]
pub struct BayFeed {
    /// Short name for addresses.
    pub slug: String,
    /// Latest state; `None` until the first frame.
    pub latest: watch::Receiver<Option<Arc<Published>>>,
    /// Where entries go.
    pub entries: mpsc::Sender<EntryRequest>,
}

/// A person's entry on its way into the recording.
#[derive(Debug)]
pub struct EntryRequest {
    /// The entry.
    pub entry: Entry,
    /// Answered once the entry is durable on disk, or with why it was not taken.
    pub saved: oneshot::Sender<Result<(), String>>,
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
    /// How the polling does, by device of the settings.
    pub devices: Vec<DeviceStats>,
    /// In a drill: how many times faster than real time.
    pub drill_speed: Option<f64>,
    /// Counts frames since the program started.
    pub number: u64,
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
    /// Why the last poll missed, if it did; empty while it answers.
    pub trouble: String,
}
