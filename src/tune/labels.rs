//! What was really so: a table that somebody made, one line for each stretch in which an alarm was called for.

use super::pass::Occurrence;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::Path;

/// Longest file that is read, bytes.
const FILE_MOST_BYTES: u64 = 16 << 20;

/// A stretch in which an alarm was called for.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// Code of the alarm; empty: any.
    pub alarm: String,
    /// From here, s since the recording began.
    pub from_s: f64,
    /// To here.
    pub to_s: f64,
}

/// What somebody has said of each recording.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Labels {
    stretches: BTreeMap<String, Vec<Stretch>>,
    text: String,
}

#[derive(Debug, Deserialize)]
struct Line {
    recording: String,
    alarm: String,
    from_s: Option<f64>,
    to_s: Option<f64>,
}

/// What an alarm was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Truth {
    /// Nobody has said anything of the recording.
    NotSaid,
    /// It came where it was called for, so long after that began, s.
    CalledFor(f64),
    /// It was not called for.
    Nuisance,
}

impl Labels {
    /// Reads the table: CSV with the head line `recording,alarm,from_s,to_s`. A recording with a line of neither alarm
    /// nor times is one in which nothing was called for.
    ///
    /// # Errors
    /// Says file, line and what to do.
    pub fn load(path: &Path) -> Result<Labels, String> {
        let io = |error: std::io::Error| format!("{}: cannot be read: {error}", path.display());
        let bytes = std::fs::metadata(path).map_err(io)?.len();
        if bytes > FILE_MOST_BYTES {
            return Err(format!("{}: {bytes} bytes; labels have at most {FILE_MOST_BYTES}", path.display()));
        }
        Labels::parse(&path.display().to_string(), std::fs::read_to_string(path).map_err(io)?)
    }

    /// The same from a text; `name` is for messages.
    ///
    /// # Errors
    /// As [`Labels::load`].
    pub fn parse(name: &str, text: String) -> Result<Labels, String> {
        let mut labels = Labels::default();
        let mut rows = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
        for row in rows.deserialize() {
            let line: Line = row.map_err(|error| {
                format!("{name}: {error}; the head line is recording,alarm,from_s,to_s, times are seconds since the recording began")
            })?;
            let stretches = labels.stretches.entry(line.recording.clone()).or_default();
            match (line.from_s, line.to_s) {
                (None, None) if line.alarm.is_empty() => {}
                (Some(from_s), Some(to_s)) if from_s >= 0.0 && to_s >= from_s => {
                    stretches.push(Stretch { alarm: line.alarm, from_s, to_s });
                }
                (from, to) => {
                    return Err(format!(
                        "{name}: {}: from_s {from:?}, to_s {to:?}: give both, in s, from_s not above to_s; or neither \
                         alarm nor times where nothing was called for",
                        line.recording
                    ));
                }
            }
        }
        labels.stretches.values_mut().for_each(|list| list.sort_by(|a, b| a.from_s.total_cmp(&b.from_s)));
        labels.text = text;
        Ok(labels)
    }

    /// Whether nothing is said of any recording.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.stretches.is_empty()
    }

    /// What is said of a recording, by the name of its file; `None`: nothing.
    #[must_use]
    pub fn of(&self, recording: &str) -> Option<&[Stretch]> {
        self.stretches.get(recording).map(Vec::as_slice)
    }

    /// Whether an alarm was called for when it came.
    #[must_use]
    pub fn truth(&self, recording: &str, occurrence: &Occurrence) -> Truth {
        let Some(stretches) = self.of(recording) else { return Truth::NotSaid };
        let meant = stretches.iter().find(|s| {
            (s.alarm.is_empty() || s.alarm == occurrence.alarm)
                && s.from_s <= occurrence.came_s
                && occurrence.came_s <= s.to_s
        });
        meant.map_or(Truth::Nuisance, |s| Truth::CalledFor(occurrence.came_s - s.from_s))
    }
}
