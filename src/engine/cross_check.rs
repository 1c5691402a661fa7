//! The flow by meter held against the pressure that drives it: a change of the line, or of the meter, shows within seconds.
//!
//! In blocks of five seconds the flow's logarithm is followed. Where two blocks in a row lie off the mean of the minute before by
//! more than driving pressure and heads explain ([`Line::explains`]), something has changed: less flow means a leak before
//! the meter, a valve, a plug, a kink, or a meter that shows less; more flow a leak after it, a valve, gas in the line, or a meter
//! that shows more. Nobody can tell
//! them apart by this, so it names no witness and takes no part in comparison, combination and margin. What still goes on, as a
//! valve that is being shut, is no new flow yet.

use super::block::BLOCK_TICKS;
use super::frame::{Condition, Estimate};
use super::hydraulics::{Heads, Line};
use crate::time::EngineTime;
use std::collections::VecDeque;

/// Blocks that may hold the change: two, so that one that is off by itself says nothing.
const LATE: usize = 2;
/// Blocks before them that are looked back on, one minute, and the fewest.
const EARLY: usize = 12;
/// See above.
const FEWEST: usize = 6;
/// Least change that is said, as a logarithm (assumption): less is a regulator's and the friction's wander.
const LEAST: f64 = 0.03;
/// It exceeds so many standard deviations of the two blocks' mean less that of the others.
const SIGMAS: f64 = 6.0;
/// The first of the two blocks holds at least this share of it: what goes on has not ended.
const STEADY: f64 = 0.6;
/// It is over when less than this share of it is left.
const BACK: f64 = 0.5;
/// What stays so for so long is the line as it is now, s.
const HELD_S: f64 = 120.0;
/// Nothing is said where less drives the liquid, Pa: half a metre of it, by which heights are not known, is 7.5 kPa (assumption).
const LEAST_DRIVING_PA: f64 = 20_000.0;
/// Flow goes with the driving pressure to the power of 1 (laminar) to 1/2 (turbulent): between them for the scatter alone.
const POWER: f64 = 0.75;

/// Mean of some time.
#[derive(Debug, Clone, Copy)]
pub struct Push {
    /// Driving pressure without heads, Pa.
    pub driving_pa: f64,
    /// What the levels have taken off it, Pa.
    pub fall_pa: f64,
    /// ln of the flow, kg/s.
    pub ln_rate: f64,
}

#[derive(Debug, Clone, Copy)]
struct Gathering {
    since: EngineTime,
    mass_kg: f64,
    driving_sum: f64,
    ticks: usize,
}

/// What has changed.
#[derive(Debug, Clone, Copy)]
struct News {
    since: EngineTime,
    /// The flow before.
    before: Push,
    /// ln of the flow over what is explained.
    off: f64,
}

/// The cross-check of one transfer.
#[derive(Debug, Clone, Default)]
pub struct CrossCheck {
    /// Newest first.
    blocks: VecDeque<Push>,
    gathering: Option<Gathering>,
    news: Option<News>,
    /// Meter or pressure are not known now.
    blind: bool,
}

impl CrossCheck {
    /// Nobody watched for a while, or what drives the liquid is not known: nothing is said of what happened meanwhile.
    pub fn blind(&mut self) {
        self.blocks.clear();
        self.gathering = None;
        self.blind = true;
    }

    /// The flow is less (-1) or more (1) than the pressure drives it, compared with before.
    #[must_use]
    pub fn is_off(&self, side: f64) -> Condition {
        match self.news {
            Some(news) if news.off * side > 0.0 => Condition::True,
            _ if self.blind => Condition::Unknown,
            _ => Condition::False,
        }
    }

    /// Takes a tick: what the meter says, brought to now, its noise, kg, and what drives it.
    #[expect(clippy::cast_precision_loss, reason = "five")]
    pub fn tick(&mut self, at: EngineTime, metered: Estimate, heads: &Heads, line: &Line) {
        let Some(driving_pa) = heads.driving_pa else { return self.blind() };
        self.blind = false;
        let fresh = Gathering { since: at, mass_kg: metered.value, driving_sum: 0.0, ticks: 0 };
        let gathering = self.gathering.get_or_insert(fresh);
        gathering.driving_sum += driving_pa;
        gathering.ticks += 1;
        if gathering.ticks <= BLOCK_TICKS {
            return;
        }
        let (dt_s, moved_kg) = (at.since_s(gathering.since), metered.value - gathering.mass_kg);
        let driving_pa = gathering.driving_sum / gathering.ticks as f64;
        let middle_kg = gathering.mass_kg + 0.5 * moved_kg;
        self.gathering = Some(Gathering { driving_sum: driving_pa, ticks: 1, ..fresh });
        let rate = moved_kg / dt_s;
        let push = Push {
            driving_pa,
            fall_pa: line.fall_pa(heads, middle_kg),
            ln_rate: libm::log(rate.max(f64::MIN_POSITIVE)),
        };
        if rate <= 0.0 {
            self.blocks.clear();
        } else if line.driving_pa(&push) < LEAST_DRIVING_PA {
            self.blind();
        } else {
            self.take(at, push, metered.u / moved_kg, line);
        }
    }

    /// `noise`: of the meter's reading, as a share of what moves in a block.
    fn take(&mut self, at: EngineTime, now: Push, noise: f64, line: &Line) {
        self.blocks.push_front(now);
        self.blocks.truncate(LATE + EARLY);
        if let Some(news) = self.news {
            let back = off(line, &news.before, &now).abs() < BACK * news.off.abs();
            self.news = Some(news).filter(|_| !back && at.since_s(news.since) <= HELD_S);
        }
        if self.blocks.len() < LATE + FEWEST {
            return;
        }
        let early = mean(self.blocks.iter().skip(LATE));
        let each = [0, 1].map(|i| off(line, &early, &self.blocks[i]));
        let change = off(line, &early, &mean(self.blocks.iter().take(LATE)));
        let steady = each[1] * change.signum() > STEADY * change.abs();
        if steady && change.abs() > LEAST.max(SIGMAS * self.sigma(noise)) {
            self.news = Some(News { since: at, before: early, off: change });
            self.blocks.truncate(LATE);
        }
    }

    /// Standard deviation of the mean of the late blocks less that of the early ones, by how these scatter, and by what the
    /// meter's noise makes of them at least: it cancels in all readings but the first and the last.
    #[expect(clippy::cast_precision_loss, reason = "twelve at most")]
    fn sigma(&self, noise: f64) -> f64 {
        let values = self.blocks.iter().skip(LATE).map(|b| b.ln_rate - POWER * libm::log(b.driving_pa.max(1.0)));
        let n = (self.blocks.len() - LATE) as f64;
        let (sum, squares) = values.fold((0.0, 0.0), |(s, q), v| (s + v, q + v * v));
        let scatter2 = ((squares - sum * sum / n) / (n - 1.0)).max(0.0);
        let late = LATE as f64;
        let least2 = 2.0 * noise * noise * (1.0 / (late * late) + 1.0 / (n * n));
        (scatter2 * (1.0 / late + 1.0 / n)).max(least2).sqrt()
    }
}

/// How far the flow is beyond what is explained, as a logarithm; 0: it is explained.
fn off(line: &Line, before: &Push, now: &Push) -> f64 {
    let moved = now.ln_rate - before.ln_rate;
    let (low, high) = line.explains(before, now);
    (moved - high).max(0.0) + (moved - low).min(0.0)
}

#[expect(clippy::cast_precision_loss, reason = "fourteen at most")]
fn mean<'a>(blocks: impl Iterator<Item = &'a Push>) -> Push {
    let none = (Push { driving_pa: 0.0, fall_pa: 0.0, ln_rate: 0.0 }, 0_usize);
    let (sum, n) = blocks.fold(none, |(sum, n), b| {
        let driving_pa = sum.driving_pa + b.driving_pa;
        (Push { driving_pa, fall_pa: sum.fall_pa + b.fall_pa, ln_rate: sum.ln_rate + b.ln_rate }, n + 1)
    });
    let n = n.max(1) as f64;
    Push { driving_pa: sum.driving_pa / n, fall_pa: sum.fall_pa / n, ln_rate: sum.ln_rate / n }
}
