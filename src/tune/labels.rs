//! What was really so: a table that somebody made, one line for each stretch in which an alarm was called for, or what a
//! drill's simulator wrote into the recording.

use super::pass::{Found, Occurrence};
use super::tally::is_prompt;
use crate::recording;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::Path;

/// Longest file that is read, bytes.
const FILE_MOST_BYTES: u64 = 16 << 20;

/// A stretch in which an alarm was called for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stretch {
    /// Code of the alarm; empty: any.
    pub alarm: String,
    /// From here, s since the recording began.
    pub from_s: f64,
    /// To here.
    pub to_s: f64,
    /// It must come: if it does not it was missed. Otherwise it may.
    pub must: bool,
}

/// The stretches of a drill, as its simulator wrote them; `lasted_s`: how long its recording lasts.
#[must_use]
pub fn of_drill(truth: &recording::truth::Truth, lasted_s: f64) -> Vec<Stretch> {
    let mut stretches = Vec::new();
    for fault in &truth.faults {
        let must = |code: &String| fault.alarm.as_ref() == Some(code);
        let to_s = fault.to_s.unwrap_or(lasted_s);
        stretches.extend(fault.brings.iter().map(|code| Stretch {
            alarm: code.clone(),
            from_s: fault.from_s,
            to_s,
            must: must(code),
        }));
    }
    stretches.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    stretches
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
                    stretches.push(Stretch { must: !line.alarm.is_empty(), alarm: line.alarm, from_s, to_s });
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

    /// What is said of a recording, by the name of its file, or else by the simulator of its drill; `None`: nothing.
    #[must_use]
    pub fn said<'a>(&'a self, recording: &str, found: &'a Found) -> Option<&'a [Stretch]> {
        self.stretches.get(recording).or(found.known.as_ref()).map(Vec::as_slice)
    }
}

/// Whether an alarm was called for when it came, by what is said of its recording. A prompt belongs to every delivery: it is
/// none of both unless it is named.
#[must_use]
pub fn truth(said: Option<&[Stretch]>, occurrence: &Occurrence) -> Truth {
    let Some(stretches) = said else { return Truth::NotSaid };
    let meant = stretches.iter().find(|s| {
        (s.alarm.is_empty() || s.alarm == occurrence.alarm)
            && s.from_s <= occurrence.came_s
            && occurrence.came_s <= s.to_s
    });
    match meant {
        Some(stretch) => Truth::CalledFor(occurrence.came_s - stretch.from_s),
        None if is_prompt(&occurrence.alarm) => Truth::NotSaid,
        None => Truth::Nuisance,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::truth::Fault;

    fn came(alarm: &str, came_s: f64) -> Occurrence {
        Occurrence { alarm: alarm.into(), subject: String::new(), came_s, gone_s: None }
    }

    /// A device silent from 600 s to 900 s: its signals are lost rightly, a pad near its ceiling is another matter, and
    /// what comes after the mending too. Somebody called to the valve is neither.
    #[test]
    fn a_drills_simulator_says_what_was_called_for() {
        let fault = Fault {
            what: "tank level: silent".into(),
            alarm: Some("signal_lost".into()),
            brings: vec!["signal_lost".into(), "one_witness_left".into()],
            from_s: 600.0,
            to_s: Some(900.0),
        };
        let told = recording::truth::Truth { faults: vec![fault], harm: None };
        let stretches = of_drill(&told, 3_600.0);
        assert_eq!(stretches.iter().map(|s| s.must).collect::<Vec<_>>(), [true, false]);
        let said = |occurrence: Occurrence| truth(Some(&stretches), &occurrence);
        assert_eq!(said(came("signal_lost", 604.0)), Truth::CalledFor(4.0));
        assert_eq!(said(came("one_witness_left", 700.0)), Truth::CalledFor(100.0));
        for wrong in [came("signal_lost", 599.0), came("signal_lost", 901.0), came("pad_near_ceiling", 700.0)] {
            assert_eq!(said(wrong), Truth::Nuisance);
        }
        assert_eq!(said(came("be_at_valve", 2_000.0)), Truth::NotSaid);
        assert_eq!(truth(None, &came("signal_lost", 604.0)), Truth::NotSaid);
        // Nothing was wrong: whatever comes is a nuisance.
        let quiet = of_drill(&recording::truth::Truth::default(), 3_600.0);
        assert_eq!(truth(Some(&quiet), &came("signal_lost", 604.0)), Truth::Nuisance);
    }
}
