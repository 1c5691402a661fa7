//! A pad that rises by itself: a regulator whose seat creeps, long before the ceiling is near.
//!
//! A good regulator wanders about its setting. As an Ornstein-Uhlenbeck process of standard deviation s and memory T two pressures
//! t apart differ by sqrt(2 (1 - exp(-t/T))) s (Papoulis 1991, ch. 9). In blocks of five seconds the pressure is held against what it was half
//! a minute to four minutes before: a rise of several of these is no wandering. A pad also rises where less is
//! taken out of it, so that a time in which the flow has fallen tells nothing. Whether it is the regulator or somebody who has set it
//! higher nobody can tell by this: what has stopped rising is the setting as it is now.

use super::block::BLOCK_TICKS;
use super::frame::Condition;
use super::hydraulics::{REGULATOR_S, REGULATOR_U};
use crate::time::EngineTime;
use std::collections::VecDeque;

/// What is looked back over, blocks: 30, 60, 120 and 240 s. Slow creep shows over the long ones, fast creep over the short ones first.
const BACK: [usize; 4] = [6, 12, 24, 48];
/// Those that tell whether it rises still: the two short ones.
const STILL: usize = 2;
/// A rise is one beyond so many standard deviations of what a regulator wanders: less than one in 100,000 times.
const SIGMAS: f64 = 4.5;
/// It rises still while this share of that is left.
const STILL_SHARE: f64 = 0.5;
/// Where the flow has fallen by more than this share, what it does not take any more explains a rise (assumption).
const FALLEN: f64 = 0.1;
/// The pad settles within so many blocks after the flow has fallen (assumption: one minute).
const SETTLES: usize = 12;
/// Blocks further apart than this are a gap, s.
const GAP_S: f64 = 2.0 * BLOCK_TICKS as f64;

/// Mean pressure of some time, and what flowed at its end.
#[derive(Debug, Clone, Copy)]
struct Block {
    at: EngineTime,
    pad_pa: f64,
    kg_per_s: f64,
}

/// The pad of one transfer while liquid flows.
#[derive(Debug, Clone, Default)]
pub struct PadCreep {
    /// Newest first.
    blocks: VecDeque<Block>,
    sum_pa: f64,
    ticks: u16,
    rises: bool,
    /// Pressure or flow are not known now.
    blind: bool,
}

impl PadCreep {
    /// Nobody watched for a while, or nothing flows: nothing is said of what happened meanwhile.
    pub fn blind(&mut self) {
        *self = PadCreep { blind: true, ..PadCreep::default() };
    }

    /// The pad has been rising by more than a regulator wanders.
    #[must_use]
    pub fn rises(&self) -> Condition {
        match (self.rises, self.blind) {
            (true, _) => Condition::True,
            (_, true) => Condition::Unknown,
            _ => Condition::False,
        }
    }

    /// Takes a tick: pressure, Pa gauge, its reading's noise, Pa, and the flow, kg/s.
    pub fn tick(&mut self, at: EngineTime, pad_pa: f64, noise_pa: f64, kg_per_s: f64) {
        self.blind = false;
        self.sum_pa += pad_pa;
        self.ticks += 1;
        if usize::from(self.ticks) < BLOCK_TICKS {
            return;
        }
        let block = Block { at, pad_pa: self.sum_pa / f64::from(self.ticks), kg_per_s };
        (self.sum_pa, self.ticks) = (0.0, 0);
        if self.blocks.front().is_some_and(|last| at.since_s(last.at) > GAP_S) {
            self.blocks.clear();
        }
        self.blocks.push_front(block);
        self.blocks.truncate(BACK[BACK.len() - 1] + SETTLES + 1);
        let beyond = |back: &[usize], share: f64| back.iter().any(|k| self.sigmas(*k, noise_pa) > share * SIGMAS);
        let (begins, still) = (beyond(&BACK, 1.0), beyond(&BACK[..STILL], STILL_SHARE));
        if self.rises && !still {
            self.rises = false;
            self.blocks.truncate(1);
        } else {
            self.rises |= begins;
        }
    }

    /// By how many standard deviations of what a regulator wanders it has risen over so many blocks; 0: too few are known, or less flows.
    fn sigmas(&self, back: usize, noise_pa: f64) -> f64 {
        let (Some(now), Some(then)) = (self.blocks.front(), self.blocks.get(back)) else { return 0.0 };
        let before = self.blocks.iter().take(back + SETTLES + 1).map(|block| block.kg_per_s);
        if now.kg_per_s < (1.0 - FALLEN) * before.fold(0.0, f64::max) {
            return 0.0;
        }
        let wander_pa = REGULATOR_U * then.pad_pa.abs();
        let shared = libm::exp(-now.at.since_s(then.at) / REGULATOR_S);
        let apart2 = 2.0 * (wander_pa * wander_pa * (1.0 - shared) + noise_pa * noise_pa);
        (now.pad_pa - then.pad_pa) / apart2.max(f64::MIN_POSITIVE).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::SECOND_NS;

    /// The seconds after the first minutes in which it is said to rise.
    fn said(pad_pa: impl Fn(f64) -> f64, kg_per_s: impl Fn(f64) -> f64) -> Vec<i32> {
        let mut creep = PadCreep::default();
        let rises = (-300..900).filter(|&s| {
            let at = EngineTime(u64::try_from(s + 300).expect("from 0") * SECOND_NS);
            let after_s = f64::from(s.max(0));
            creep.tick(at, 110e3 + pad_pa(after_s), 20.0, kg_per_s(after_s));
            creep.rises() == Condition::True
        });
        rises.collect()
    }

    /// 1.65 kPa of wandering over 600 s: a step to 3 kPa stays below 4.5 sqrt(2 (1 - exp(-t/600))) 1.65 kPa from 50 s on and lies above
    /// it over 30 s (2.29 kPa).
    #[test]
    fn a_rise_is_held_against_what_a_regulator_wanders() {
        assert_eq!(said(|_| 0.0, |_| 10.0), [0; 0]);
        assert_eq!(said(|s| if s > 0.0 { 2_200.0 } else { 0.0 }, |_| 10.0), [0; 0]);
        let step = said(|s| if s > 0.0 { 3_000.0 } else { 0.0 }, |_| 10.0);
        assert!(step.first().is_some_and(|s| *s <= 10) && step.last().is_some_and(|s| *s <= 70), "{step:?}");
    }

    /// What rises for long is said for as long, and 30 Pa/s from where they exceed 6.1 kPa, as above over 240 s, on.
    #[test]
    fn it_is_said_while_it_rises() {
        let rises = said(|s| 30.0 * s.min(400.0), |_| 10.0);
        let whole: Vec<i32> = (rises[0]..=*rises.last().expect("some")).collect();
        assert_eq!(rises, whole, "without a break");
        assert!((200..=210).contains(&rises[0]) && (395..=440).contains(rises.last().expect("some")), "{rises:?}");
    }

    /// A valve is shut back by half: what is not taken any more lets the pad rise.
    #[test]
    fn a_flow_that_falls_explains_a_rise() {
        let rise = |s: f64| 5_000.0 * (1.0 - (-s / 20.0).exp());
        assert!(!said(rise, |_| 10.0).is_empty());
        assert_eq!(said(rise, |s| if s > 0.0 { 5.0 } else { 10.0 }), [0; 0]);
    }

    #[test]
    fn a_gap_or_blindness_starts_anew() {
        let mut creep = PadCreep::default();
        assert_eq!(creep.rises(), Condition::False);
        for s in 0..400_u64 {
            let (later_s, pad_pa) = if s < 200 { (0, 110e3) } else { (3_600, 130e3) };
            creep.tick(EngineTime((s + later_s) * SECOND_NS), pad_pa, 20.0, 10.0);
            assert_eq!(creep.rises(), Condition::False, "{s}");
        }
        creep.blind();
        assert_eq!(creep.rises(), Condition::Unknown);
    }
}
