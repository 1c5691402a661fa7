//! Faults looked for: what each would do to the comparison, and how well what is seen fits it.
//!
//! Generalised likelihood ratio (Willsky and Jones 1976): a fault of unit size in one witness, begun at one moment, adds
//! a known course e to what the rows are off by, after the filter has made of it what it can. With variance s2,
//!
//!   c = sum e off/s2,   d = sum e2/s2:   size c/d, its standard uncertainty 1/sqrt(d), statistic c2/2d
//!
//! and the statistic is the logarithm of how much better the fault explains the rows than no fault does. A new moment
//! comes every other block; old ones are thinned so that their number grows with the logarithm of the time.

use super::filter::{Expected, STATES, Vector, dot, fade, own_states};
use super::frame::{Estimate, WitnessId};
use crate::time::EngineTime;

/// How a fault grows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// By the same number of kilograms in each second; size in kg/s.
    Ramp,
    /// At once; size in kg.
    Step,
    /// In proportion to the mass, from the start of the transfer; size 1.
    Gain,
}

/// A kind of fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kind {
    /// The witness that is off.
    pub witness: WitnessId,
    /// How it grows.
    pub shape: Shape,
}

/// How many kinds are looked for, and how many of them can begin at any moment.
pub const KINDS: usize = 7;
const BEGINNING: usize = 5;

const fn kind(witness: WitnessId, shape: Shape) -> Kind {
    Kind { witness, shape }
}

/// All kinds; those that can begin at any moment first.
pub const ALL: [Kind; KINDS] = [
    kind(WitnessId::Scale, Shape::Ramp),
    kind(WitnessId::Flow, Shape::Ramp),
    kind(WitnessId::Tank, Shape::Ramp),
    kind(WitnessId::Scale, Shape::Step),
    kind(WitnessId::Tank, Shape::Step),
    kind(WitnessId::Flow, Shape::Gain),
    kind(WitnessId::Tank, Shape::Gain),
];

/// A candidate moment younger than this is never dropped, s.
const YOUNG_S: f64 = 15.0;
/// Of three moments in a row the middle one goes when the outer two are closer than this share of its age.
const CLOSE: f64 = 0.5;
/// Most moments that are kept; thinning alone leaves about twenty in an hour.
const MOMENTS: usize = 40;

#[derive(Debug, Clone, Copy)]
struct Fault {
    /// What the filter has made of a unit of it.
    response: Vector,
    c: f64,
    d: f64,
}

impl Fault {
    const NONE: Fault = Fault { response: [0.0; STATES], c: 0.0, d: 0.0 };

    fn statistic(&self) -> f64 {
        if self.d > 0.0 { self.c * self.c / (2.0 * self.d) } else { 0.0 }
    }

    /// `course`: what a unit of it adds to the row.
    fn take(&mut self, course: f64, seen: &Seen) {
        let e = course - dot(&seen.h, &self.response);
        self.c += e * seen.off_kg / seen.variance;
        self.d += e * e / seen.variance;
        for (cell, gain) in self.response.iter_mut().zip(&seen.gain) {
            *cell += gain * e;
        }
    }
}

/// A row as the bank needs it.
#[derive(Debug, Clone, Copy)]
pub struct Seen {
    /// Part of each witness in it.
    pub parts: [f64; 3],
    h: Vector,
    gain: Vector,
    off_kg: f64,
    variance: f64,
}

impl Seen {
    /// A row of these parts that feels `h` and was off by so much; `scatter`: variance of the rows' noise lately over what
    /// the filter expects.
    #[must_use]
    pub fn new(parts: [f64; 3], h: Vector, expected: &Expected, off_kg: f64, scatter: f64) -> Seen {
        Seen { parts, h, gain: expected.gain(), off_kg, variance: expected.variance * scatter }
    }
}

#[derive(Debug, Clone, Copy)]
struct Moment {
    at: EngineTime,
    faults: [Fault; BEGINNING],
}

/// A fault that fits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Which, as an index into [`ALL`].
    pub kind: usize,
    /// Since when.
    pub since: EngineTime,
    /// Its size and standard uncertainty, in the shape's unit.
    pub size: Estimate,
    /// ln of the likelihood ratio against no fault.
    pub statistic: f64,
}

impl Fit {
    /// The kind.
    #[must_use]
    pub fn what(&self) -> Kind {
        ALL[self.kind]
    }

    /// 0: the witness shows too much, 1: too little.
    #[must_use]
    pub fn sign(&self) -> usize {
        usize::from(self.size.value < 0.0)
    }

    /// By how much it puts the witness off now, kg. `received_kg` is what a gain works on.
    #[must_use]
    pub fn off_kg(&self, at: EngineTime, received_kg: f64) -> Estimate {
        let unit = unit(self.what().shape, self.since, at, received_kg);
        Estimate { value: self.size.value * unit, u: self.size.u * unit.abs() }
    }
}

/// What a unit of a fault makes at a moment, kg.
fn unit(shape: Shape, since: EngineTime, at: EngineTime, received_kg: f64) -> f64 {
    match shape {
        Shape::Ramp => at.since_s(since),
        Shape::Step => 1.0,
        Shape::Gain => received_kg,
    }
}

/// All faults that are looked for.
#[derive(Debug)]
pub struct Bank {
    began: EngineTime,
    gains: [Fault; KINDS - BEGINNING],
    moments: Vec<Moment>,
    blocks: u64,
}

impl Clone for Bank {
    fn clone(&self) -> Bank {
        Bank { moments: self.moments.clone(), ..*self }
    }

    /// Into memory that is there: it is done at every block.
    fn clone_from(&mut self, other: &Bank) {
        let mut moments = std::mem::take(&mut self.moments);
        moments.clone_from(&other.moments);
        *self = Bank { moments, ..*other };
    }
}

impl Bank {
    /// Before anything was compared.
    #[must_use]
    pub fn new(at: EngineTime) -> Bank {
        Bank { began: at, gains: [Fault::NONE; KINDS - BEGINNING], moments: Vec::new(), blocks: 0 }
    }

    /// A witness stands on another instrument from now on: faults of the old one are forgotten, and what others have made of
    /// its errors.
    pub fn forget(&mut self, witness: usize) {
        let moments = self.moments.iter_mut().flat_map(|moment| moment.faults.iter_mut().zip(&ALL));
        for (fault, kind) in moments.chain(self.gains.iter_mut().zip(&ALL[BEGINNING..])) {
            if kind.witness as usize == witness {
                *fault = Fault::NONE;
            }
            for state in own_states(witness) {
                fault.response[state] = 0.0;
            }
        }
    }

    /// A block ends that began at `begin`; noise with a memory fades by `left` in it.
    pub fn block(&mut self, begin: EngineTime, left: &[f64; 3]) {
        for moment in &mut self.moments {
            moment.faults.iter_mut().for_each(|fault| fade(&mut fault.response, left));
        }
        self.gains.iter_mut().for_each(|fault| fade(&mut fault.response, left));
        if self.blocks.is_multiple_of(2) {
            self.moments.push(Moment { at: begin, faults: [Fault::NONE; BEGINNING] });
            self.thin(begin);
        }
        self.blocks += 1;
    }

    fn thin(&mut self, now: EngineTime) {
        let mut i = 1;
        while i + 1 < self.moments.len() {
            let age_s = now.since_s(self.moments[i].at);
            let apart_s = self.moments[i + 1].at.since_s(self.moments[i - 1].at);
            if age_s > YOUNG_S && apart_s < CLOSE * age_s {
                self.moments.remove(i);
            } else {
                i += 1;
            }
        }
        if self.moments.len() > MOMENTS {
            self.moments.remove(1);
        }
    }

    /// Takes a row whose middle was at `at`.
    pub fn take(&mut self, at: EngineTime, received_kg: f64, seen: &Seen) {
        for moment in &mut self.moments {
            for (fault, kind) in moment.faults.iter_mut().zip(ALL) {
                let part = seen.parts[kind.witness as usize];
                fault.take(part * unit(kind.shape, moment.at, at, received_kg), seen);
            }
        }
        for (fault, kind) in self.gains.iter_mut().zip(&ALL[BEGINNING..]) {
            fault.take(seen.parts[kind.witness as usize] * received_kg, seen);
        }
    }

    /// The best fit of each kind.
    #[must_use]
    pub fn best(&self) -> [Option<Fit>; KINDS] {
        let mut best = [None; KINDS];
        for (kind, slot) in best.iter_mut().enumerate() {
            let fits = self.faults(kind).filter(|(_, fault)| fault.d > 0.0);
            let fit = fits.max_by(|a, b| a.1.statistic().total_cmp(&b.1.statistic()));
            *slot = fit.map(|(since, fault)| Fit {
                kind,
                since,
                size: Estimate { value: fault.c / fault.d, u: 1.0 / fault.d.sqrt() },
                statistic: fault.statistic(),
            });
        }
        best
    }

    fn faults(&self, kind: usize) -> impl Iterator<Item = (EngineTime, &Fault)> {
        let beginning = self.moments.iter().filter_map(move |m| m.faults.get(kind).map(|fault| (m.at, fault)));
        let gain = kind.checked_sub(BEGINNING).and_then(|i| self.gains.get(i)).map(|fault| (self.began, fault));
        beginning.chain(gain)
    }

    /// ln of the likelihood ratio of a fault of that kind and known size against none, for the moment that fits best: what
    /// nobody who must find kind and size can beat.
    #[must_use]
    pub fn known(&self, kind: usize, size: f64) -> f64 {
        let ratio = |fault: &Fault| size * fault.c - size * size * fault.d / 2.0;
        self.faults(kind).map(|(_, fault)| ratio(fault)).fold(0.0, f64::max)
    }

    /// The size of a fault of that kind, begun between `youngest_s` and `oldest_s` ago, that would reach statistic `limit`
    /// with the probability whose normal quantile is `found_z`; None: nothing is old enough. The oldest counts. c/sqrt(d)
    /// is normal about size x sqrt(d) with variance 1.
    #[must_use]
    pub fn smallest(
        &self,
        kind: usize,
        at: EngineTime,
        (youngest_s, oldest_s): (f64, f64),
        limit: f64,
        found_z: f64,
    ) -> Option<f64> {
        let old = self.faults(kind).find(|(since, _)| at.since_s(*since) <= oldest_s);
        let (_, fault) = old.filter(|(since, fault)| at.since_s(*since) >= youngest_s && fault.d > 0.0)?;
        Some(((2.0 * limit).sqrt() + found_z) / fault.d.sqrt())
    }
}
