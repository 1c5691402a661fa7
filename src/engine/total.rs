//! What a totalizer counted since the start, from one reading to the next.
//!
//! Its plain difference is what was counted, until it rolls over, is reset or jumps; each of these is taken off the
//! difference when it happens. What this stage believes: nothing flows faster than the rate signal's plausible range
//! (20 kg/s or L/s where there is none), nor more than the load; a register that reached its end begins anew at
//! nothing; what cannot have flowed and stands for five seconds, counting on, is a new beginning.

use super::block::PLAUSIBLE_KG_PER_S;
use super::frame::{Estimate, Reason};
use super::input::CarriedCount;
use super::settings::{SignalKind, SignalSetup};
use crate::planted::{Bug, planted};
use crate::time::EngineTime;

/// Readings no further apart are consecutive, s: a reset between two of them hides little.
const CONSECUTIVE_S: f64 = 10.0;
/// A total that has stood may make up for so long at once, s: registers that count in coarse steps.
const STOOD_S: f64 = 60.0;
/// Devices renew their registers once a second or oftener (assumption): of two readings that come close upon each other, a
/// late poll and the next or the last before a restart and the first after it, the second may show so much time more.
const RENEWED_S: f64 = 1.0;
/// A new beginning counts on for so long before it is believed, s: one wrong answer is none.
const SETTLES_S: f64 = 5.0;
/// A width that nobody stated must exceed what may have flowed by this factor: else it fits by chance.
const WIDTH_FACTOR: f64 = 10.0;
/// Widths that fit are looked for up to so many times over.
const ROUNDS: u32 = 64;
/// What a line gives back when its valve closes, kg or L (assumption): less says nothing about the meter.
const SPRINGS_BACK: f64 = 5.0;

/// What can have gone through the meter, in the total's SI unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// The fastest, 1/s.
    pub fastest: f64,
    /// The whole load, and what a coarse count adds.
    pub load: f64,
}

impl Limits {
    /// By the meter's rate signal, where it has one, and the load.
    #[must_use]
    pub fn new(kind: SignalKind, rate: Option<&SignalSetup>, load: f64) -> Limits {
        // Of volumes as many litres.
        let per_kg = if kind == SignalKind::FlowVolumeTotal { 1e-3 } else { 1.0 };
        let fastest = rate.map_or(PLAUSIBLE_KG_PER_S * per_kg, |s| s.plausible_high.abs());
        Limits { fastest, load }
    }
}

/// Whether a kind is a total.
#[must_use]
pub fn is_total(kind: SignalKind) -> bool {
    matches!(kind, SignalKind::FlowMassTotal | SignalKind::FlowVolumeTotal)
}

/// Whether two readings within a start reading are so far apart that a reset or a roll-over lies between them.
#[must_use]
pub fn is_another(setup: &SignalSetup, before: f64, now: f64) -> bool {
    let limits = Limits::new(setup.kind, None, f64::INFINITY);
    (now - before).abs() > limits.fastest * CONSECUTIVE_S + slack(setup)
}

/// What two readings of one total may differ by though nothing flowed: a division and noise.
#[must_use]
pub fn slack(setup: &SignalSetup) -> f64 {
    setup.division + 4.0 * core::f64::consts::SQRT_2 * setup.noise
}

/// A reading that was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Taken {
    /// None: in another segment, nobody knows how long ago.
    at: Option<EngineTime>,
    /// When it became what it is.
    changed: Option<EngineTime>,
    value: f64,
    /// The rate's sum then, in the total's unit.
    summed: Option<f64>,
}

/// A reading that cannot follow the last one, and those after it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Apart {
    first: Taken,
    last: Taken,
}

/// One total since the start of a transfer.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Counted {
    last: Option<Taken>,
    apart: Option<Apart>,
    offset: f64,
    gap_u: f64,
    reset: bool,
    most: f64,
}

/// What one reading says.
#[derive(Debug, Clone, Copy)]
pub struct Read<'a> {
    /// The total.
    pub setup: &'a SignalSetup,
    /// When it was true.
    pub at: EngineTime,
    /// What it showed.
    pub value: f64,
    /// The rate's sum by now, in the total's unit; None where the rate has not been read since, or counts in another.
    pub summed: Option<f64>,
    /// The start reading.
    pub start: f64,
    /// What can have flowed.
    pub limits: Limits,
}

impl Counted {
    /// As another segment left it.
    #[must_use]
    pub fn carried(carried: &CarriedCount) -> Counted {
        let taken = |value| Taken { at: None, changed: None, value, summed: None };
        Counted {
            last: carried.last.map(taken),
            apart: None,
            offset: carried.offset,
            gap_u: carried.gap_u,
            reset: carried.reset,
            most: carried.most,
        }
    }

    /// For the next segment.
    #[must_use]
    pub fn carry(&self) -> CarriedCount {
        CarriedCount {
            last: self.last.map(|last| last.value),
            offset: self.offset,
            gap_u: self.gap_u,
            reset: self.reset,
            most: self.most,
        }
    }

    /// It shows what cannot follow, and has not shown yet that it counts on from there.
    #[must_use]
    pub fn jumped(&self) -> bool {
        self.apart.is_some()
    }

    /// Counted since the start, and the standard uncertainty of what flowed while it was reset or jumped.
    ///
    /// # Errors
    /// Nothing can be said now.
    pub fn since(&self, start: f64) -> Result<Estimate, Reason> {
        use super::frame::Slip;
        let last = self.last.ok_or(Reason::NotYetRead)?;
        if self.jumped() {
            return Err(Reason::Unlikely(Slip::TooFast));
        }
        Ok(Estimate { value: last.value - start + self.offset, u: self.gap_u })
    }

    /// What is to be said against it; `lost` where more came back than ever went.
    #[must_use]
    pub fn against(&self, setup: &SignalSetup, counted: f64, line: f64) -> Option<(Reason, bool)> {
        let per_kg = if setup.kind == SignalKind::FlowVolumeTotal { 1e-3 } else { 1.0 };
        let least = SPRINGS_BACK * per_kg + slack(setup);
        if counted < -(least + line) {
            return Some((Reason::CountsBack, true));
        }
        if self.reset {
            return Some((Reason::TotalReset, false));
        }
        (counted < self.most - least).then_some((Reason::CountsBack, false))
    }

    /// Takes a reading.
    pub fn take(&mut self, read: &Read<'_>) {
        let taken = |changed| Taken { at: Some(read.at), changed, value: read.value, summed: read.summed };
        let now = taken(Some(read.at));
        let Some(last) = self.last else {
            self.last = Some(now);
            return;
        };
        if last.at.is_some_and(|at| read.at <= at) {
            return;
        }
        let between = match self.apart {
            None => self.between(&last, read),
            // Once it is elsewhere it is back only where it would be by now.
            Some(_) => forward(&last, read).filter(|plain| *plain >= -slack(read.setup)),
        };
        if let Some(between) = between {
            self.offset += between - (read.value - last.value);
            let stands = read.value.to_bits() == last.value.to_bits();
            self.accept(if stands { taken(last.changed) } else { now }, read.start);
            return;
        }
        let apart = self.apart.filter(|apart| follows(&apart.last, read));
        let apart = apart.map_or(Apart { first: now, last: now }, |apart| Apart { last: now, ..apart });
        self.apart = Some(apart);
        if seconds(&apart.first, read.at) >= SETTLES_S {
            self.begin_anew(&last, &apart, read);
        }
    }

    fn accept(&mut self, taken: Taken, start: f64) {
        self.apart = None;
        self.last = Some(taken);
        self.most = self.most.max(taken.value - start + self.offset);
    }

    /// What flowed between the last reading and this one; None where it cannot be told.
    fn between(&self, last: &Taken, read: &Read<'_>) -> Option<f64> {
        let plain = read.value - last.value;
        let (slack, dt_s) = (slack(read.setup), seconds(last, read.at));
        if let Some(width) = read.setup.rolls_over_at {
            let too_far = if planted(Bug::RollOverMisread) && plain < -slack { width } else { 0.0 };
            return rolled(plain, width, last, read).map(|flowed| flowed + too_far);
        }
        let consecutive = dt_s <= CONSECUTIVE_S;
        if let Some(forward) = forward(last, read).filter(|plain| *plain >= -slack) {
            return Some(forward);
        }
        let most = most(last, read);
        let from_nothing = read.value >= -slack && read.value <= most;
        let onward = summed(last, read).is_some_and(|flowed| flowed > slack);
        if plain < 0.0 && consecutive {
            let widths = read.setup.may_roll_over_at.iter().filter(|width| **width >= WIDTH_FACTOR * most);
            let whole = widths.map(|width| plain + width).find(|between| *between >= -slack && *between <= most);
            if whole.is_some() {
                return whole;
            }
        }
        // Backwards through the meter: step by step, and not to nothing while the rate says onward.
        let most_back = read.limits.fastest * dt_s.max(RENEWED_S) + slack;
        (plain < 0.0 && consecutive && -plain <= most_back && !(from_nothing && onward)).then_some(plain)
    }

    /// It was reset, or jumped: what it counted before stays, what flowed meanwhile is bounded.
    fn begin_anew(&mut self, last: &Taken, apart: &Apart, read: &Read<'_>) {
        let first = Read { value: apart.first.value, at: apart.first.at.unwrap_or(read.at), ..*read };
        let most = most(last, &first).min((first.limits.load - self.most).max(0.0));
        let low = if first.value >= 0.0 && first.value <= most { first.value } else { 0.0 };
        let by_rate = apart.first.summed.zip(last.summed).map(|(now, then)| (now - then).clamp(low, most));
        // Rectangular between the bounds; of a rate half its sum either way (JCGM 100:2008, 4.3.7).
        let meanwhile = by_rate.map_or((low + most) / 2.0, |flowed| flowed);
        let half = by_rate.map_or((most - low) / 2.0, |flowed| flowed / 2.0) + slack(read.setup);
        self.offset += last.value + meanwhile - apart.first.value;
        self.gap_u = (self.gap_u * self.gap_u + half * half / 3.0).sqrt();
        self.reset = true;
        self.accept(apart.last, read.start);
    }
}

fn seconds(from: &Taken, to: EngineTime) -> f64 {
    from.at.map_or(f64::INFINITY, |at| to.since_s(at))
}

/// The most that can have flowed since then.
fn most(last: &Taken, read: &Read<'_>) -> f64 {
    let stood_s = last.changed.map_or(f64::INFINITY, |changed| read.at.since_s(changed)).min(STOOD_S);
    let shown_s = seconds(last, read.at).max(stood_s).max(RENEWED_S);
    (read.limits.fastest * shown_s + slack(read.setup)).min(read.limits.load)
}

/// By the rate, since then.
fn summed(last: &Taken, read: &Read<'_>) -> Option<f64> {
    read.summed.zip(last.summed).map(|(now, then)| now - then)
}

/// The plain difference, where it can have flowed.
fn forward(last: &Taken, read: &Read<'_>) -> Option<f64> {
    Some(read.value - last.value).filter(|plain| *plain <= most(last, read))
}

/// Whether a reading may follow another, either way, by what flows meanwhile.
fn follows(last: &Taken, read: &Read<'_>) -> bool {
    let plain = read.value - last.value;
    plain >= -slack(read.setup) && plain <= most(last, read)
}

/// Of a known width: the difference with so many rounds that it can have flowed, the one that the rate says where several
/// fit; None where none does, or several without a rate.
fn rolled(plain: f64, width: f64, last: &Taken, read: &Read<'_>) -> Option<f64> {
    let (slack, most) = (slack(read.setup), most(last, read));
    let back = if seconds(last, read.at) <= CONSECUTIVE_S { most } else { slack };
    let rounds = (0..=ROUNDS).map(|n| plain + width * (f64::from(n) - 1.0));
    let mut fit = rounds.filter(|between| *between >= -back && *between <= most);
    let first = fit.next()?;
    let Some(second) = fit.next() else { return Some(first) };
    let flowed = summed(last, read)?;
    let near = |a: f64, b: f64| if (b - flowed).abs() < (a - flowed).abs() { b } else { a };
    let best = fit.fold(near(first, second), near);
    ((best - flowed).abs() < width / 4.0).then_some(best)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::SECOND_NS;

    const LIMITS: Limits = Limits { fastest: 20.0, load: 20_000.0 };

    /// Readings at moments in ms; what each changed of what is counted, kg, or None while it is believed lost.
    fn told(readings: &[(u64, f64)]) -> Vec<Option<f64>> {
        let (setup, start) = (SignalSetup::plain(SignalKind::FlowMassTotal), readings[0].1);
        let mut counted = Counted::default();
        let mut take = |&(ms, value): &(u64, f64)| {
            let at = EngineTime(ms * (SECOND_NS / 1000));
            counted.take(&Read { setup: &setup, at, value, summed: None, start, limits: LIMITS });
            counted.since(start).ok().map(|e| e.value)
        };
        readings.iter().map(&mut take).collect()
    }

    /// A device that counts 6 kg/s and renews its registers at every whole second. A poll that is late by 0.9 s and the
    /// next one on time, or the last before the watch is started anew and the first after it, lie 70 ms apart: a whole
    /// second's count lies between them. It was taken for a jump.
    #[test]
    fn a_register_renewed_between_two_close_polls_is_no_jump() {
        let shown = |ms: u64| (ms, 6.0 * (ms / 1000) as f64);
        let told = told(&[shown(10), shown(1_010), shown(2_950), shown(3_020), shown(4_010)]);
        assert_eq!(told, [0.0, 6.0, 12.0, 18.0, 24.0].map(Some));
        // Going backwards through the meter it is the same.
        let back = |ms: u64| (ms, 1_000.0 - 6.0 * (ms / 1000) as f64);
        let told = super::tests::told(&[back(10), back(1_010), back(2_950), back(3_020)]);
        assert_eq!(told, [0.0, -6.0, -12.0, -18.0].map(Some));
    }

    /// What no second can bring is none, however close they are.
    #[test]
    fn a_jump_between_two_close_polls_is_one() {
        assert_eq!(told(&[(0, 0.0), (1_000, 6.0), (1_070, 27.0)])[2], None);
    }
}
