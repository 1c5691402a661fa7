//! What was done to a drill's plant and when, by the plant's own clock: with it and the seed the whole drill can be lived
//! through again, as it was or as it would have been.

use crate::bay::{Act, Closes, SimulatedBay};
use crate::play::recorded::Recorded;
use crate::scenarios::{Scenario, Works};
use crate::wrong::GoesWrong;
use brimwatch::config::{DeliverySetup, Settings};
use std::path::PathBuf;

/// What somebody did.
#[derive(Debug, Clone, PartialEq)]
pub enum Done {
    /// The transfer was entered as started: what the scenario lets go wrong is counted from here.
    Started,
    /// The trainee's hands.
    Act(Act),
    /// The trainer lets something go wrong.
    Fault(GoesWrong),
    /// The trainer mends everything.
    Mended,
}

impl Done {
    /// Does it to a bay.
    pub fn to(&self, bay: &mut SimulatedBay, scenario: &Scenario) {
        match self {
            Done::Started => scenario.start(bay),
            Done::Act(act) => bay.act_by_hand(*act),
            Done::Fault(wrong) => {
                let now_s = bay.plant().time_s();
                GoesWrong { at_s: Some(wrong.at_s.unwrap_or(0.0)), ..*wrong }.befall(bay, now_s);
            }
            Done::Mended => bay.mend(),
        }
    }
}

/// A drill's log.
#[derive(Debug, Clone)]
pub struct Log {
    /// What is played; a recording in a scenario's words.
    pub scenario: Scenario,
    /// The recording that is played instead of a plant.
    pub played: Option<PathBuf>,
    /// The bay.
    pub settings: Settings,
    /// The papers, before the scenario changes them.
    pub papers: DeliverySetup,
    /// Seed of everything that is drawn.
    pub seed: u64,
    /// The plant's time or the recording's, s, and what was done.
    pub done: Vec<(f64, Done)>,
}

/// Which of the ways to live through a drill again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// As it was.
    AsItWas,
    /// The same acts, and nothing goes wrong.
    NothingWrong,
    /// The same goes wrong, and nobody acts.
    NobodyActs,
}

impl Log {
    /// Of a drill that a recording is played to. Nothing goes wrong in it by itself, and what was so nobody knows.
    #[must_use]
    pub fn of_recording(recorded: &Recorded, papers: &DeliverySetup) -> Log {
        let (header, file) = (&recorded.header, recorded.path.file_name().unwrap_or_default().to_string_lossy());
        let lasts_s = recorded.ends().since_s(recorded.started());
        let mut happens = format!(
            "Delivery {} at {} is played as it was recorded. What people entered is entered again at its time, but for what \
             they said of alarms: that is the trainee's.",
            papers.id, header.settings.bay
        );
        recorded.not_played().iter().for_each(|said| happens += &format!(" Not as it was: {said}."));
        let scenario = Scenario {
            name: file.into_owned(),
            title: format!("Recorded delivery {}", papers.id),
            learn: "What was to be seen at that time, and the first act at its sight.".to_owned(),
            happens,
            goes_wrong: Vec::new(),
            closes: Closes::default(),
            ends: None,
            alarm: None,
            lasts_s,
            works: Works::default(),
        };
        let (played, settings) = (Some(recorded.path.clone()), header.settings.clone());
        Log { scenario, played, settings, papers: papers.clone(), seed: 0, done: Vec::new() }
    }

    /// The bay at its arrival.
    #[must_use]
    pub fn bay(&self, way: Way) -> SimulatedBay {
        self.of(way).bay(&self.settings, &self.papers, self.seed)
    }

    fn of(&self, way: Way) -> Scenario {
        match way {
            Way::AsItWas | Way::NobodyActs => self.scenario.clone(),
            Way::NothingWrong => {
                Scenario { goes_wrong: Vec::new(), works: self.scenario.sound_works(), ..self.scenario.clone() }
            }
        }
    }

    /// Plant time at which the transfer started, s.
    #[must_use]
    pub fn started_s(&self) -> Option<f64> {
        self.done.iter().find(|(_, done)| *done == Done::Started).map(|(at_s, _)| *at_s)
    }
}

/// A drill lived through once more, as far as its log has come: by the same steps, acts and draws as the first time.
#[derive(Debug, Clone)]
pub struct Life {
    way: Way,
    scenario: Scenario,
    bay: SimulatedBay,
    /// So many lines of the log are done.
    done: usize,
}

impl Life {
    /// At the arrival.
    #[must_use]
    pub fn new(log: &Log, way: Way) -> Life {
        Life { way, scenario: log.of(way), bay: log.bay(way), done: 0 }
    }

    /// The bay as it is now.
    #[must_use]
    pub fn bay(&self) -> &SimulatedBay {
        &self.bay
    }

    /// Its time, s.
    #[must_use]
    pub fn now_s(&self) -> f64 {
        self.bay.plant().time_s()
    }

    /// Does what is due by the log, and lets one scan pass. To be called for no time of which the log is not yet written.
    pub fn scan(&mut self, log: &Log) {
        let now_s = self.now_s();
        while let Some((_, done)) = log.done.get(self.done).filter(|(at_s, _)| *at_s <= now_s) {
            let wanted = match done {
                Done::Started => true,
                Done::Act(_) => self.way != Way::NobodyActs,
                Done::Fault(_) | Done::Mended => self.way != Way::NothingWrong,
            };
            if wanted {
                done.to(&mut self.bay, &self.scenario);
            }
            self.done += 1;
        }
        self.bay.scan();
    }
}
