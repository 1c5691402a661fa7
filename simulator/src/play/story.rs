//! What a watch made of a delivery, short enough to hold one against another: verdicts, alarms and the last mass.

use brimwatch::engine::frame::{Frame, Phase, VerdictWord};
use brimwatch::engine::input::AlarmKey;
use brimwatch::recording::format::Kind;
use brimwatch::recording::{reader, stream};
use std::path::Path;

/// The story of one recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Story {
    /// Each verdict of the transfer and when it began, s after the start of the transfer.
    pub verdicts: Vec<(f64, VerdictWord)>,
    /// Each alarm and when it first spoke, s after the start of the transfer.
    pub alarms: Vec<(f64, AlarmKey)>,
    /// Received mass when the leg was closed, or the last one, kg.
    pub received_kg: Option<f64>,
}

impl Story {
    /// Reads the stored outputs of a recording.
    ///
    /// # Errors
    /// When it is no recording.
    pub fn of(path: &Path) -> Result<Story, String> {
        let mut stream = stream::open(path).map_err(|e| e.to_string())?;
        let mut story = Story::default();
        while let Some(record) = stream.next_record().map_err(|e| e.to_string())? {
            if record.kind == Kind::Output {
                story.take(&reader::frame(&record).map_err(|why| format!("{}: {why}", path.display()))?);
            }
        }
        Ok(story)
    }

    fn take(&mut self, frame: &Frame) {
        let Some(started) = frame.delivery.as_ref().and_then(|d| d.started) else { return };
        if frame.phase != Phase::Transfer {
            return;
        }
        let at_s = frame.at.since_s(started);
        if self.verdicts.last().is_none_or(|(_, word)| *word != frame.verdict.word) {
            self.verdicts.push((at_s, frame.verdict.word));
        }
        for alarm in &frame.alarms {
            if !self.alarms.iter().any(|(_, key)| *key == alarm.key) {
                self.alarms.push((at_s, alarm.key));
            }
        }
        self.received_kg = frame.together.map(|t| t.received_kg.value).or(self.received_kg);
    }

    /// In what another one differs by more than `within_s` or `within_kg`; empty: in nothing.
    #[must_use]
    pub fn differences(&self, other: &Story, within_s: f64, within_kg: f64) -> Vec<String> {
        let mut told = Vec::new();
        let near = |a: f64, b: f64| (a - b).abs() <= within_s;
        let words = |story: &Story| story.verdicts.iter().map(|(_, word)| *word).collect::<Vec<_>>();
        if words(self) != words(other) {
            told.push(format!("verdicts: {:?}, not {:?}", other.verdicts, self.verdicts));
        }
        for ((a, word), (b, _)) in self.verdicts.iter().zip(&other.verdicts).filter(|((a, _), (b, _))| !near(*a, *b)) {
            told.push(format!("verdict {word:?} at {b:.1} s, not {a:.1} s"));
        }
        for (a, key) in &self.alarms {
            match other.alarms.iter().find(|(_, k)| k == key) {
                None => told.push(format!("alarm {:?} at {a:.1} s was not raised", key.id)),
                Some((b, _)) if !near(*a, *b) => told.push(format!("alarm {:?} at {b:.1} s, not {a:.1} s", key.id)),
                Some(_) => {}
            }
        }
        for (b, key) in other.alarms.iter().filter(|(_, key)| !self.alarms.iter().any(|(_, k)| k == key)) {
            told.push(format!("alarm {:?} at {b:.1} s was not in the recording", key.id));
        }
        match (self.received_kg, other.received_kg) {
            (Some(a), Some(b)) if (a - b).abs() > within_kg => told.push(format!("received {b:.2} kg, not {a:.2} kg")),
            (Some(_), Some(_)) | (None, None) => {}
            (a, b) => told.push(format!("received {b:?} kg, not {a:?} kg")),
        }
        told
    }
}
