//! What was really wrong in a drill and when, as the simulator knows it: one record at the end of a drill's recording, for
//! whoever counts alarms afterwards. It is no input: a replay passes it over, and nothing that watches ever sees it.

use super::format::Record;
use serde::{Deserialize, Serialize};

/// What was really so.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Everything that was wrong; none: nothing was.
    pub faults: Vec<Fault>,
    /// The bad end that the drill warns of, where it came.
    pub harm: Option<Harm>,
}

/// One thing that was wrong. Times are engine time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// In the trainer's words.
    pub what: String,
    /// Code of the alarm that is for it; `None`: none in particular.
    pub alarm: Option<String>,
    /// Codes of all alarms that it can rightly bring.
    pub brings: Vec<String>,
    /// When it began, s since the recording began.
    pub from_s: f64,
    /// Until when it shows; `None`: to the end (what was mended may still be missing).
    pub to_s: Option<f64>,
}

/// Harm that came.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Harm {
    /// Which.
    pub what: String,
    /// Code of the alarm that is for it; `None`: no alarm can be.
    pub alarm: Option<String>,
    /// When, s since the recording began.
    pub at_s: f64,
}

/// The truth in a record.
///
/// # Errors
/// Why it cannot be read.
pub fn read(record: &Record<'_>) -> Result<Truth, String> {
    postcard::from_bytes(record.body).map_err(|error| error.to_string())
}

/// Ends a drill's recording with what was so.
///
/// # Errors
/// When it is no drill's, was ended before, or when the disk refuses.
#[cfg(feature = "live")]
pub fn end_with(path: &std::path::Path, truth: &Truth) -> Result<(), String> {
    use super::{resume, writer::Recorder};
    let cannot = |why: &dyn std::fmt::Display| format!("{}: what was so cannot be kept in it: {why}", path.display());
    let recovered = resume::recover(path).map_err(|error| error.to_string())?;
    if recovered.header.drill_speed.is_none() {
        return Err(cannot(&"it is of a watch; only of a drill does anybody know it"));
    }
    if recovered.ended {
        return Err(cannot(&"it was ended before"));
    }
    let recorder = Recorder::append(path, &recovered.point).map_err(|error| cannot(&error))?;
    recorder.truth(truth);
    recorder.finish().map_err(|lost| lost.to_string())
}
