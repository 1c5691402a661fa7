//! How the open delivery went so far: contents of its tank by each witness, pad pressure, and what happened, folded
//! from the frames as they are shown. Bounded, however long the delivery lasts.

use super::History;
use crate::engine::frame::{Frame, Phase};
use crate::engine::input::{AlarmKey, Gap};
use crate::time::WallTime;
use crate::words::PageWords;

/// Most points: a quarter of them still fills a wide picture.
const POINTS: usize = 2400;
/// Nothing is kept finer than this, s.
const STEP_S: f64 = 1.0;
/// Most moments that are kept; of alarms that come and go the latest.
const MOMENTS: usize = 60;

/// What was known at one instant. Single precision: 50 t to 4 g.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Instant {
    /// Contents of the tank by each credible witness, kg; flow, scale, tank.
    pub by_kg: [Option<f32>; 3],
    /// Largest credible contents, kg.
    pub contents_kg: Option<f32>,
    /// Pressure on the trailer, Pa gauge; the highest where the point stands for several instants.
    pub pad_pa_gauge: Option<f32>,
}

impl Instant {
    fn join(older: &Instant, newer: &Instant) -> Instant {
        let highest = match (older.pad_pa_gauge, newer.pad_pa_gauge) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => b.or(a),
        };
        Instant { pad_pa_gauge: highest, ..*newer }
    }
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Happened {
    /// The transfer was started.
    Started,
    /// The leg was closed.
    Closed,
    /// An alarm came.
    Alarm(AlarmKey),
    /// A person gave the scale a new zero.
    NewZero,
    /// From here to `until_s`, in s since 1970, nobody watched.
    Blind {
        /// When somebody watched again.
        until_s: u64,
    },
}

impl Happened {
    /// In a few words.
    #[must_use]
    pub fn said(self, words: &PageWords) -> String {
        match self {
            Happened::Started => words.started.to_owned(),
            Happened::Closed => words.closed.to_owned(),
            Happened::NewZero => words.new_zero.to_owned(),
            Happened::Blind { .. } => words.blind.to_owned(),
            Happened::Alarm(key) => (words.alarm)(key.id),
        }
    }
}

/// The delivery so far. Times are those of the wall clock, in s since 1970: they are for people.
#[derive(Debug, Clone)]
pub struct Past {
    delivery: Option<(String, u8)>,
    /// What was in the tank before this leg, kg.
    before_kg: Option<f64>,
    instants: History<Instant>,
    moments: Vec<(f64, Happened)>,
    /// Of the frame before: phase, open alarms, last gap.
    phase: Phase,
    alarms: Vec<AlarmKey>,
    blind: Option<Gap>,
}

impl Default for Past {
    fn default() -> Past {
        Past {
            delivery: None,
            before_kg: None,
            instants: History::holding(POINTS, STEP_S, Instant::join),
            moments: Vec::new(),
            phase: Phase::Idle,
            alarms: Vec::new(),
            blind: None,
        }
    }
}

/// Seconds since 1970.
#[expect(clippy::cast_precision_loss, reason = "2^53 ns is far below a second off")]
pub(super) fn wall_s(at: WallTime) -> f64 {
    at.0 as f64 / 1e9
}

#[expect(clippy::cast_possible_truncation, reason = "a picture needs no more")]
fn single(kg: f64) -> Option<f32> {
    kg.is_finite().then_some(kg as f32)
}

impl Past {
    /// Takes a frame in. Another delivery or leg begins anew; without one nothing is taken, and the last stays.
    pub fn take(&mut self, frame: &Frame) {
        let Some(delivery) = &frame.delivery else { return };
        if self.delivery.as_ref().is_none_or(|(id, leg)| *id != delivery.id || *leg != delivery.leg) {
            *self = Past { delivery: Some((delivery.id.clone(), delivery.leg)), ..Past::default() };
        }
        let now_s = wall_s(frame.clock.wall_at(frame.at));
        self.happened(frame, now_s);
        if frame.phase == Phase::Closed && self.phase == Phase::Closed {
            return;
        }
        self.phase = frame.phase;
        self.take_before(frame);
        let by_kg = [0, 1, 2].map(|i| {
            let witness = &frame.witnesses[i];
            if frame.phase == Phase::Opened {
                return None;
            }
            let received = witness.received_kg.filter(|_| witness.validity.is_credible())?;
            single(self.before_kg? + received.value + brought_kg(frame))
        });
        let contents_kg = frame.tank.and_then(|t| t.contents_kg).and_then(single);
        let pad_pa_gauge = frame.pad.pressure_pa_gauge.and_then(single);
        self.instants.push(now_s, Instant { by_kg, contents_kg, pad_pa_gauge });
    }

    /// Until the transfer starts the tank holds what it held before. Where the start was missed, it held the largest
    /// contents less the largest mass received.
    fn take_before(&mut self, frame: &Frame) {
        let Some(contents) = frame.tank.and_then(|t| t.contents_kg) else { return };
        if frame.phase == Phase::Opened {
            self.before_kg = Some(contents);
        } else if self.before_kg.is_none() {
            let received = frame.witnesses.iter().filter(|w| w.validity.is_credible()).filter_map(|w| w.received_kg);
            let most = received.map(|e| e.value).max_by(f64::total_cmp);
            self.before_kg = most.map(|most| contents - most - brought_kg(frame));
        }
    }

    fn happened(&mut self, frame: &Frame, now_s: f64) {
        let mut new = Vec::new();
        let wall = |at| wall_s(frame.clock.wall_at(at));
        let delivery = frame.delivery.as_ref();
        let known = |moments: &[(f64, Happened)], kind: Happened| moments.iter().any(|(_, k)| *k == kind);
        let once = [
            (delivery.and_then(|d| d.started), Happened::Started),
            (delivery.and_then(|d| d.closed), Happened::Closed),
            (delivery.and_then(|d| d.scale_zero).map(|zero| zero.at), Happened::NewZero),
        ];
        let once = once.into_iter().filter_map(|(at, kind)| Some((wall(at?), kind)));
        new.extend(once.filter(|(_, kind)| !known(&self.moments, *kind)));
        if let Some(gap) = frame.blind.filter(|gap| self.blind != Some(*gap)) {
            #[expect(clippy::cast_sign_loss, clippy::cast_possible_truncation, reason = "seconds since 1970")]
            let until_s = wall(gap.to).max(0.0) as u64;
            new.push((wall(gap.from), Happened::Blind { until_s }));
            self.blind = frame.blind;
        }
        let fresh = frame.alarms.iter().filter(|alarm| !self.alarms.contains(&alarm.key));
        let fresh = fresh.map(|alarm| (wall_s(alarm.since).min(now_s), Happened::Alarm(alarm.key)));
        // One that comes back from the shelf is the same as before.
        let before = |(at, kind): &(f64, Happened)| self.moments.iter().any(|(s, k)| k == kind && (s - at).abs() < 1.0);
        new.extend(fresh.filter(|moment| !before(moment)));
        self.alarms = frame.alarms.iter().map(|alarm| alarm.key).collect();
        self.moments.append(&mut new);
        self.moments.sort_by(|a, b| a.0.total_cmp(&b.0));
        while self.moments.len() > MOMENTS {
            let oldest = self.moments.iter().position(|(_, kind)| matches!(kind, Happened::Alarm(_))).unwrap_or(0);
            self.moments.remove(oldest);
        }
    }

    /// Every instant kept, oldest first: s since 1970, and what was known.
    #[must_use]
    pub fn instants(&self) -> &[(f64, Instant)] {
        self.instants.points()
    }

    /// What happened, oldest first: s since 1970, and what.
    #[must_use]
    pub fn moments(&self) -> &[(f64, Happened)] {
        &self.moments
    }

    /// Lowest and highest pressure on the trailer in the last so many seconds, Pa gauge.
    #[must_use]
    pub fn pad_lately(&self, seconds: f64) -> Option<(f64, f64)> {
        let all = self.instants.points();
        let from_s = all.last()?.0 - seconds;
        let lately =
            all.iter().rev().take_while(|(s, _)| *s >= from_s).filter_map(|(_, i)| i.pad_pa_gauge).map(f64::from);
        lately.fold(None, |band, pa| match band {
            None => Some((pa, pa)),
            Some((low, high)) => Some((pa.min(low), pa.max(high))),
        })
    }

    /// What was in the tank before this leg, kg.
    #[must_use]
    pub fn before_kg(&self) -> Option<f64> {
        self.before_kg
    }
}

/// What other bays have brought into the tank since the start, kg.
pub(super) fn brought_kg(frame: &Frame) -> f64 {
    frame.neighbours.iter().filter_map(|n| n.brought_kg).map(|e| e.value).sum()
}
