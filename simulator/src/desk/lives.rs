//! A drill's three lives side by side: as it is, with nothing wrong, and with nobody acting. What is so and what would
//! have been is read off them, while the drill runs and when it is over.

use super::known::Known;
use super::log::{Life, Log, Way};
use crate::bay::{BAY_STEP_S, SimulatedBay};
use crate::harm::{BadEnd, Harm};
use brimwatch::picture::History;
use std::collections::VecDeque;

/// What was so in the latest stretch is kept scan by scan, s: what the monitor says comes later than it was true.
const LATEST_S: f64 = 30.0;

/// What is really so at one moment, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct So {
    /// Received in the tank, kg.
    pub received_kg: f64,
    /// Pressure on the trailer, Pa gauge.
    pub pad_pa_gauge: f64,
    /// The harm that is followed.
    pub harm: f64,
}

impl So {
    /// The newer of two, with the highest pressure of both.
    fn join(&self, newer: &So) -> So {
        So { pad_pa_gauge: self.pad_pa_gauge.max(newer.pad_pa_gauge), ..*newer }
    }
}

/// The three lives, and what is read off them.
pub struct Lives {
    as_it_is: Life,
    nothing_wrong: Life,
    nobody_acts: Life,
    ends: Option<BadEnd>,
    /// When a fault could first be known.
    pub known: Known,
    /// What is so; by the plant's time.
    pub so: History<So>,
    /// The harm that is followed, had nobody acted; by the plant's time.
    pub would: History<f64>,
    latest: VecDeque<(f64, f64)>,
    /// The most of each harm, as it is and had nobody acted, SI; in the order of [`Harm::ALL`].
    pub most: [(f64, f64); Harm::ALL.len()],
    /// When the bad end came, by the plant's time, s.
    pub ended_s: Option<f64>,
    /// When it would have come had nobody acted, by the plant's time, s.
    pub bad_end_s: Option<f64>,
}

impl Lives {
    /// At the arrival.
    #[must_use]
    pub fn new(log: &Log) -> Lives {
        Lives {
            as_it_is: Life::new(log, Way::AsItWas),
            nothing_wrong: Life::new(log, Way::NothingWrong),
            nobody_acts: Life::new(log, Way::NobodyActs),
            ends: log.scenario.ends,
            known: Known::new(&log.settings),
            so: History::new(BAY_STEP_S, So::join),
            would: History::new(BAY_STEP_S, |_, newer| *newer),
            latest: VecDeque::new(),
            most: [(0.0, 0.0); Harm::ALL.len()],
            ended_s: None,
            bad_end_s: None,
        }
    }

    /// The harm that is followed: the scenario's bad end, or what is spilled.
    #[must_use]
    pub fn harm(&self) -> Harm {
        self.ends.map_or(Harm::Spilled, |end| end.harm)
    }

    /// How far the drill was followed, s.
    #[must_use]
    pub fn now_s(&self) -> f64 {
        self.as_it_is.now_s()
    }

    /// The scenario's bad end.
    #[must_use]
    pub fn ends(&self) -> Option<BadEnd> {
        self.ends
    }

    /// Follows the drill up to a plant time of which the log is written.
    pub fn follow(&mut self, log: &Log, until_s: f64) {
        while self.as_it_is.now_s() < until_s {
            self.as_it_is.scan(log);
            self.nothing_wrong.scan(log);
            self.nobody_acts.scan(log);
            self.known.look(self.as_it_is.bay(), self.nothing_wrong.bay());
            self.note_harm();
            let plant = self.as_it_is.bay().plant();
            let so = So {
                received_kg: plant.received_kg(),
                pad_pa_gauge: plant.trailer_pa(),
                harm: self.harm().of(self.as_it_is.bay()),
            };
            let now_s = plant.time_s();
            self.so.push(now_s, so);
            self.latest.push_back((now_s, so.received_kg));
            if self.latest.len() as f64 > LATEST_S / BAY_STEP_S {
                self.latest.pop_front();
            }
        }
    }

    /// Follows it further where nobody acts.
    pub fn look_ahead(&mut self, log: &Log, until_s: f64) {
        while self.nobody_acts.now_s() < until_s {
            self.nobody_acts.scan(log);
            self.note_harm();
        }
    }

    fn note_harm(&mut self) {
        let (is, would) = (self.as_it_is.bay(), self.nobody_acts.bay());
        for (most, harm) in self.most.iter_mut().zip(Harm::ALL) {
            *most = (most.0.max(harm.of(is)), most.1.max(harm.of(would)));
        }
        let (is_s, would_s) = (is.plant().time_s(), would.plant().time_s());
        let has_come = |bay: &SimulatedBay| self.ends.is_some_and(|end| end.has_come(bay));
        self.ended_s = self.ended_s.or(has_come(is).then_some(is_s));
        self.bad_end_s = self.bad_end_s.or(has_come(would).then_some(would_s));
        let harm = self.harm().of(would);
        self.would.push(would_s, harm);
    }

    /// What was received a moment ago, kg. None: that is too long ago, or still to come.
    #[must_use]
    pub fn received_kg(&self, at_s: f64) -> Option<f64> {
        let after = self.latest.partition_point(|(s, _)| *s < at_s);
        self.latest.get(after).filter(|_| after > 0).map(|(_, kg)| *kg)
    }
}
