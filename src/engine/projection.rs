//! When it will be in.
//!
//! The rest, moved at the rate that lies ahead ([`super::course`]). Quantiles are normal. A moment is given by the
//! combined mass; its *earliest* is the smallest 5 % quantile over all credible witnesses, because being late is
//! what hurts.

use super::course;
use super::frame::{Estimate, Finish, Moment, WitnessId};
use super::hydraulics::Path;
use crate::time::EngineTime;

/// Standard normal quantile of 0.95.
const Z95: f64 = 1.644_853_626_951_472_7;

/// Slower than this nothing is projected, kg/s.
const MOVING_KG_PER_S: f64 = 0.05;

/// One candidate for what still has to move before an event.
#[derive(Debug, Clone, Copy)]
pub struct Rest {
    /// Whose account it is.
    pub by: WitnessId,
    /// Mass still to move, kg.
    pub kg: Estimate,
}

/// What still has to move, by the combined mass and by each credible witness.
#[derive(Debug, Clone, Default)]
pub struct Outlook {
    /// By the combined mass.
    pub together: Option<Estimate>,
    /// By each credible witness.
    pub each: Vec<Rest>,
}

/// How it goes on.
#[derive(Debug, Clone, Copy)]
pub enum Ahead<'a> {
    /// Pushed by a pad that is measured, through a line whose resistance is known by now.
    Line {
        /// The look ahead.
        path: &'a Path,
        /// Now, and what has moved by now, kg.
        now: (EngineTime, f64),
    },
    /// As it went so far.
    Trend(course::Ahead),
}

impl Ahead<'_> {
    /// How long it takes to move `mass_kg`, s.
    #[must_use]
    pub fn time_s(&self, mass_kg: f64) -> Estimate {
        match self {
            Ahead::Line { path, now } => path.time_s(*now, mass_kg),
            Ahead::Trend(trend) => trend.time_s(mass_kg),
        }
    }

    /// Rate now, kg/s.
    #[must_use]
    pub fn rate(&self) -> f64 {
        match self {
            Ahead::Line { path, .. } => path.rate,
            Ahead::Trend(trend) => trend.rate,
        }
    }
}

/// Whether a rate is one that anything can be projected with.
#[must_use]
pub fn moving(rate: Option<Estimate>) -> Option<Estimate> {
    rate.filter(|rate| rate.value > MOVING_KG_PER_S && rate.value > 3.0 * rate.u)
}

/// When an event comes; `None` while nothing moves or it is behind.
#[must_use]
pub fn moment(at: EngineTime, ahead: &Ahead<'_>, outlook: &Outlook) -> Option<Moment> {
    let together = outlook.together.filter(|rest| rest.value > 0.0)?;
    let time = |rest: Estimate, z: f64| {
        let seconds = ahead.time_s(rest.value);
        let own = rest.u / ahead.rate();
        at.plus_s((seconds.value + z * (own * own + seconds.u * seconds.u).sqrt()).max(0.0))
    };
    let earliest = outlook.each.iter().map(|rest| (time(rest.kg, -Z95), rest.by)).min_by_key(|(t, _)| *t)?;
    Some(Moment {
        q05: time(together, -Z95),
        q50: time(together, 0.0),
        q95: time(together, Z95),
        earliest: earliest.0,
        earliest_by: earliest.1,
    })
}

/// The three events and the time to be at the valve.
#[must_use]
pub fn finish(
    at: EngineTime,
    ahead: &Ahead<'_>,
    [planned, first_gas, level]: [&Outlook; 3],
    response_time_s: f64,
) -> Finish {
    let planned = moment(at, ahead, planned);
    let first_gas = moment(at, ahead, first_gas);
    let level = moment(at, ahead, level);
    let first = [first_gas, level].into_iter().flatten().map(|m| m.earliest).min();
    Finish { planned, first_gas, level, be_at_valve_by: first.map(|t| t.plus_s(-response_time_s)) }
}
