//! The masses as they are shown and combined: scale and tank level evened out over the last minute that nobody disturbed.
//!
//! A single reading of a scale or a gauge carries its division, its noise and the wind; the flow meter's own movement over a
//! minute is known to a kilogram. So each of the two is read as the meter plus their mean difference over the last minute in
//! which it was free of people or foam; while it is disturbed, as the meter plus what that difference was before. A meter
//! that is a few per cent off is off by a few kilograms over a minute. Margin, comparison and alarms look at the readings
//! themselves: nothing that is evened out comes too late there.
//!
//! A meter that stands while mass moves drags along what is read by it, until it is found frozen: what it may have missed counts
//! in what is evened out by it.
//!
//! A jump beyond what people or foam can be is not evened out: from then on a witness is read anew.
//!
//! While the meter is away, and after nobody watched, a reading stands alone. Where it then jumps as no flow can, it is
//! doubtful at once: for as long as a jump may rise before the comparison sees it; and where none is there to see it, until it
//! is taken back, or for as long as a visit is excused.

use super::comparison::RISING_S;
use super::disturbance;
use super::frame::{Reason, Source, Validity, WitnessId};
use super::witness::{Account, Errors, mean_share, rounding};
use crate::time::EngineTime;
use std::collections::VecDeque;

/// What is looked back on, s.
const WINDOW_S: f64 = 60.0;
/// Readings are kept so far apart, s.
const TICK_S: f64 = 1.0;

const FLOW: usize = WitnessId::Flow as usize;
const SCALE: usize = WitnessId::Scale as usize;
const TANK: usize = WitnessId::Tank as usize;

/// A tick: how far a witness was from the meter.
#[derive(Debug, Clone, Copy)]
struct Past {
    at: EngineTime,
    /// It counts until then: the time in which somebody disturbs adds nothing to its age.
    until: EngineTime,
    off_kg: f64,
    meter_kg: f64,
    /// Its register had changed.
    fresh: bool,
}

/// A reading that jumped as no flow can.
#[derive(Debug, Clone, Copy)]
struct Jumped {
    at: EngineTime,
    /// By so much; 0: nobody watched, or it has just been taken back.
    kg: f64,
    /// By which it was taken back, kg.
    back_kg: f64,
    /// For as long as a jump may rise nothing evened it out, and nothing has taken it back.
    stays: bool,
}

/// No jump yet.
const NONE: Jumped = Jumped { at: EngineTime(0), kg: 0.0, back_kg: 0.0, stays: false };

/// One witness.
#[derive(Debug, Clone, Default)]
struct Track {
    past: VecDeque<Past>,
    signal: Option<u16>,
    changed: Option<EngineTime>,
    excused: bool,
    unheard: bool,
    /// Readings as they were within the time that a jump may take, kg, one a second; oldest first.
    read: VecDeque<(EngineTime, f64)>,
    jumped: Option<Jumped>,
    /// Since when it has been excused or has stood alone after a jump.
    doubted: Option<EngineTime>,
}

impl Track {
    /// Takes a reading; `most_kg_per_s` is the fastest that the mass can move. By how much it jumped, kg; 0: it did not.
    fn read(&mut self, at: EngineTime, kg: f64, witness: usize, errors: &Errors, most_kg_per_s: f64) -> f64 {
        self.read.retain(|(then, _)| at.since_s(*then) <= RISING_S);
        let beyond_kg = |(then, before_kg): &(EngineTime, f64)| {
            let (rise_kg, apart_s) = (kg - before_kg, at.since_s(*then));
            let beyond_kg = rise_kg - rise_kg.clamp(0.0, most_kg_per_s * apart_s);
            (beyond_kg.abs() > disturbance::clear_kg(witness, errors, apart_s)).then_some(beyond_kg)
        };
        let jump_kg = self.read.iter().filter_map(beyond_kg).max_by(|a, b| a.abs().total_cmp(&b.abs()));
        if let Some(jump_kg) = jump_kg {
            self.jumps(at, jump_kg);
            self.read.clear();
        }
        if self.read.back().is_none_or(|(then, _)| at.since_s(*then) >= TICK_S) {
            self.read.push_back((at, kg));
        }
        jump_kg.map_or(0.0, f64::abs)
    }

    /// Takes a jump. What lags rises in several; one that takes another back leaves nothing; a small one the other way
    /// leaves the other.
    fn jumps(&mut self, at: EngineTime, jump_kg: f64) {
        let before = self.jumped.unwrap_or(Jumped { at, ..NONE });
        if before.back_kg * jump_kg > 0.0 {
            // The rest of what takes the other back.
            return;
        }
        let kg = match before.kg * jump_kg {
            both if both >= 0.0 => before.kg + jump_kg,
            _ if disturbance::takes_back(jump_kg, before.kg) => 0.0,
            _ => return,
        };
        if before.stays && kg == 0.0 {
            // What was seen with him on the deck evens out nothing without him.
            self.past.clear();
        }
        let back_kg = if kg == 0.0 { jump_kg } else { 0.0 };
        self.jumped = Some(Jumped { at, kg, back_kg, stays: before.stays && kg != 0.0 });
    }
}

/// Scale and tank level against the flow meter.
#[derive(Debug, Clone, Default)]
pub struct Settled {
    tracks: [Track; 3],
    /// The meter's register stands though mass may move: as much as may have passed since, by rates, kg.
    missed_kg: Option<f64>,
    /// Since when it stands so.
    stands_since: Option<EngineTime>,
}

impl Settled {
    /// Nobody watched until now: what was before evens nothing out, and who stepped on meanwhile is yet to be seen.
    pub fn blind(&mut self, at: EngineTime) {
        *self = Settled::default();
        for i in [SCALE, TANK] {
            self.tracks[i].jumped = Some(Jumped { at, ..NONE });
        }
    }

    /// A second has gone by: what the witnesses say, since when each one's signal has been what it is, who is excused, and what the
    /// meter may have missed, kg.
    pub fn tick(
        &mut self,
        at: EngineTime,
        accounts: &[Account; 3],
        changed: [Option<EngineTime>; 3],
        excused: [bool; 3],
        missed_kg: Option<f64>,
    ) {
        let meter_kg = accounts[FLOW].credible().map(|e| e.value);
        let stood = self.stands_since.filter(|_| meter_kg.is_none());
        (self.missed_kg, self.stands_since) = (missed_kg, missed_kg.and(changed[FLOW]));
        for i in [SCALE, TANK] {
            let track = &mut self.tracks[i];
            if track.signal != accounts[i].signal && accounts[i].signal.is_some() {
                track.past.clear();
                track.signal = accounts[i].signal;
            }
            let fresh = track.changed != changed[i];
            track.changed = changed[i];
            if let Some(since) = stood {
                // The meter is found frozen, or goes while it stands: what was read by it meanwhile is as far off as it is.
                track.past.retain(|past| past.at < since);
            }
            if excused[i] && !track.excused {
                // It was rising before it was seen to be a jump.
                track.past.retain(|past| at.since_s(past.at) > RISING_S);
            }
            if track.excused && accounts[i].validity == Validity::Doubtful(Reason::NotBack) {
                // What was before evens nothing out that has not come back.
                track.past.clear();
            }
            if track.excused && !excused[i] && meter_kg.is_some() {
                // That he left is what the comparison has seen.
                track.jumped = track.jumped.filter(|jumped| jumped.stays);
            }
            track.excused = excused[i];
            if excused[i] {
                // Who leaves and steps on again seconds later finds the minute before his first visit still there.
                track.past.iter_mut().for_each(|past| past.until = past.until.plus_s(TICK_S));
                continue;
            }
            if let (Some(meter_kg), Some(own)) = (meter_kg, accounts[i].credible()) {
                let until = at.plus_s(WINDOW_S);
                track.past.push_back(Past { at, until, off_kg: own.value - meter_kg, meter_kg, fresh });
            }
            while track.past.front().is_some_and(|past| at > past.until) {
                track.past.pop_front();
            }
        }
    }

    /// Looks at the readings as they are; `most_kg_per_s` is the fastest that the mass can move.
    pub fn look(&mut self, at: EngineTime, accounts: &[Account; 3], most_kg_per_s: f64) {
        for i in [SCALE, TANK] {
            let alone = self.jumps_alone(i, accounts);
            let track = &mut self.tracks[i];
            // What another bay brings was guessed, or is known again: what was before is off by all of the guess, and no gauge has jumped.
            let unheard = accounts[i].validity == Validity::Doubtful(Reason::NeighbourNotHeard);
            if unheard != track.unheard {
                track.past.clear();
                track.read.clear();
                track.unheard = unheard;
            }
            let doubtful = alone || accounts[i].validity == Validity::Doubtful(Reason::Disturbed);
            track.doubted = doubtful.then(|| track.doubted.unwrap_or(at));
            let over = track.doubted.is_some_and(|since| at.since_s(since) > disturbance::IN_ALL_S);
            track.jumped = track.jumped.and_then(|jumped| {
                let (since_s, rising) = (at.since_s(jumped.at), at.since_s(jumped.at) <= RISING_S);
                let stays = jumped.stays || !rising && alone && jumped.kg != 0.0;
                (!over && (rising || stays && since_s <= disturbance::own_s(i))).then_some(Jumped { stays, ..jumped })
            });
            if let Some(own) = accounts[i].credible() {
                let jump_kg = track.read(at, own.value, i, &accounts[i].errors, most_kg_per_s);
                if jump_kg > disturbance::most_kg(i, accounts[i].kg_per_unit) {
                    track.past.clear();
                }
            }
        }
    }

    /// A transfer starts: all say nothing, and who steps on now jumps from there.
    pub fn start(&mut self, at: EngineTime) {
        for i in [SCALE, TANK] {
            self.tracks[i].read.push_back((at, 0.0));
        }
    }

    /// Whether a witness has just jumped, and too little from before evens it out: it stands alone, or did when it jumped.
    #[must_use]
    pub fn jumps_alone(&self, witness: usize, accounts: &[Account; 3]) -> bool {
        let track = &self.tracks[witness];
        let is_new = |jumped: Jumped| {
            let before = track.past.iter().filter(|past| past.at < jumped.at).count();
            2 * before <= track.past.len()
        };
        track.jumped.is_some_and(|jumped| jumped.stays || is_new(jumped) || !self.holds(witness, accounts))
    }

    /// A witness counts from elsewhere now.
    pub fn forget(&mut self, witness: usize) {
        let track = &mut self.tracks[witness];
        track.past.clear();
        track.read.clear();
        track.jumped = None;
    }

    /// A disturbed witness that is read by what it was before.
    #[must_use]
    pub fn holds(&self, witness: usize, accounts: &[Account; 3]) -> bool {
        accounts[FLOW].credible().is_some() && !self.tracks[witness].past.is_empty()
    }

    /// The witnesses evened out, as far as that can be.
    #[must_use]
    pub fn accounts(&self, accounts: &[Account; 3]) -> [Account; 3] {
        [0, 1, 2].map(|i| {
            let shown = self.evened(i, accounts).unwrap_or(accounts[i]);
            let doubtful = shown.validity == Validity::Good && self.jumps_alone(i, accounts);
            if doubtful { Account { validity: Validity::Doubtful(Reason::Disturbed), ..shown } } else { shown }
        })
    }

    #[expect(clippy::cast_precision_loss, reason = "sixty at most")]
    fn evened(&self, witness: usize, accounts: &[Account; 3]) -> Option<Account> {
        let (own, meter) = (&accounts[witness], accounts[FLOW].credible()?);
        let read_kg = own.credible()?.value;
        let past = &self.tracks[witness].past;
        let (oldest, newest) = (past.front()?, past.back()?);
        let n = past.len() as f64;
        let mean = |of: fn(&Past) -> f64| past.iter().fold(0.0, |sum, past| sum + of(past)) / n;
        let fresh = past.iter().filter(|past| past.fresh).count().max(1) as f64;
        let errors = &own.errors;
        // Mass that moves through the divisions evens them out as noise does: uniform over what moved.
        let moved_kg = newest.meter_kg - oldest.meter_kg;
        let rounding_kg2 = own.division_kg * own.division_kg / 12.0;
        let noise_kg2 = (errors.white_kg * errors.white_kg - rounding_kg2).max(0.0);
        let left_kg2 = noise_kg2 / fresh
            + rounding(own.division_kg, noise_kg2 + moved_kg * moved_kg / 12.0, fresh)
            + errors.slow_kg * errors.slow_kg * mean_share((n - 1.0) * TICK_S, errors.slow_s);
        // By what the meter's movement since then may be off: in proportion to all it has counted, by its u or by what the witness
        // itself is away from it.
        let since_kg = (meter.value - mean(|past| past.meter_kg)).abs();
        let off_kg = mean(|past| past.off_kg);
        let carried_kg = meter.u.max(off_kg.abs()) * (since_kg / meter.value.abs().max(1.0)).min(1.0);
        let evened_kg = meter.value + off_kg;
        // What the meter has missed is missing, by rates or by the reading itself, or some of it (rectangular, JCGM 100:2008, 4.3.7).
        let by_reading_kg = if self.tracks[witness].excused { 0.0 } else { read_kg - evened_kg };
        let missed_kg = self.missed_kg.map_or(0.0, |by_rates_kg| by_rates_kg.max(by_reading_kg));
        let missed_kg2 = missed_kg * missed_kg / 3.0;
        let source = if witness == SCALE { Source::ScaleReading } else { Source::LevelReading };
        let mut account = *own;
        let reading = &mut account.budget.0[source as usize];
        let alone_kg2 = errors.white_kg * errors.white_kg + errors.slow_kg * errors.slow_kg;
        *reading =
            ((*reading * *reading - alone_kg2).max(0.0) + left_kg2 + carried_kg * carried_kg + missed_kg2).sqrt();
        account.received_kg = Some(evened_kg);
        Some(account)
    }
}
