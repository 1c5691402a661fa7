//! The trailer's pressure against its ceiling.
//!
//! The ceiling is the lowest of everything that the pressure passes; a value that nobody has typed in leaves it
//! "not set". It is never the relief valve's setting, which lies above the MAWP.

use super::frame::{CeilingBy, Condition, Pad};
use super::reading::Readings;
use super::settings::{PadTap, Plate, Settings, SignalKind};
use super::trend::Trend;
use crate::planted::{Bug, planted};
use crate::time::EngineTime;
use crate::units::GaugePa;
use std::collections::VecDeque;

/// Readings a trend looks back on (one a second: a minute).
const TREND: usize = 60;
/// Fewest that make one.
const TREND_MIN: usize = 15;
/// A trend is one when it exceeds this many of its standard errors.
const TREND_SIGMAS: f64 = 3.0;

/// The pad's recent past.
#[derive(Debug, Clone, Default)]
pub struct PadWatch {
    /// The newest first.
    recent: VecDeque<(EngineTime, f64)>,
    /// Slope and its standard error at the last tick, Pa/s.
    slope: Option<(f64, f64)>,
}

impl PadWatch {
    /// Takes the pad pressure at a tick; nothing credible starts the trend anew.
    pub fn tick(&mut self, settings: &Settings, readings: &Readings, at: EngineTime) {
        match readings.credible_kind(settings, SignalKind::PadPressure, None) {
            Some(value) => {
                self.recent.truncate(TREND - 1);
                self.recent.push_front((at, value));
            }
            None => self.recent.clear(),
        }
        self.slope = self.fitted();
    }

    /// Slope and its standard error, Pa/s.
    #[expect(clippy::cast_precision_loss, reason = "at most 60")]
    fn fitted(&self) -> Option<(f64, f64)> {
        let (newest, _) = *self.recent.front().filter(|_| self.recent.len() >= TREND_MIN)?;
        let mut points = [(0.0, 0.0); TREND];
        let points = &mut points[..self.recent.len()];
        points.iter_mut().zip(&self.recent).for_each(|(point, (at, p))| *point = (-newest.since_s(*at), *p));
        let trend = Trend::through(points)?;
        let freedom = self.recent.len() as f64 - 2.0;
        Some((trend.slope, (trend.residual / freedom / trend.spread).sqrt()))
    }

    /// As the frame shows it.
    #[must_use]
    pub fn frame(&self, settings: &Settings, readings: &Readings, plate: Option<&Plate>) -> Pad {
        let pressure = match settings.pad_tap {
            PadTap::Trailer => readings.credible_kind(settings, SignalKind::PadPressure, None),
            PadTap::Supply => None,
        };
        let ceiling = ceiling(settings, plate);
        let slope = self.slope;
        Pad {
            pressure_pa_gauge: pressure,
            ceiling_pa_gauge: ceiling.map(|c| c.0),
            ceiling_by: ceiling.map(|c| c.1),
            mawp_pa_gauge: plate.and_then(|p| p.mawp).map(|p| p.0),
            relief_from_pa_gauge: plate.and_then(|p| p.relief_from).map(|p| p.0),
            relief_to_pa_gauge: plate.and_then(|p| p.relief_to).map(|p| p.0),
            slope_pa_per_s: slope.map(|s| s.0),
            to_ceiling_s: to_ceiling_s(settings, readings, plate, slope),
        }
    }

    /// When a trend that is one will be at the ceiling, s.
    #[must_use]
    pub fn to_ceiling_s(&self, settings: &Settings, readings: &Readings, plate: Option<&Plate>) -> Option<f64> {
        to_ceiling_s(settings, readings, plate, self.slope)
    }

    /// When a falling trend that is one will be at that pressure, s; None: it does not fall, or is there.
    #[must_use]
    pub fn to_pressure_s(&self, settings: &Settings, readings: &Readings, pressure_pa: f64) -> Option<f64> {
        let now_pa = readings.credible_kind(settings, SignalKind::PadPressure, None)?;
        let (slope, _) = self.slope.filter(|(slope, error)| -*slope > TREND_SIGMAS * error && *slope < 0.0)?;
        Some((pressure_pa - now_pa) / slope).filter(|s| *s >= 0.0)
    }
}

/// The same by this slope and its standard error, Pa/s.
fn to_ceiling_s(
    settings: &Settings,
    readings: &Readings,
    plate: Option<&Plate>,
    slope: Option<(f64, f64)>,
) -> Option<f64> {
    if settings.pad_tap == PadTap::Supply {
        return None;
    }
    let pressure = readings.credible_kind(settings, SignalKind::PadPressure, None)?;
    let (ceiling, _) = ceiling(settings, plate)?;
    let (slope, _) = slope.filter(|(slope, error)| *slope > TREND_SIGMAS * error && *slope > 0.0)?;
    Some(((ceiling - pressure) / slope).max(0.0))
}

/// Every limit there is for the pad, with what nobody has typed in left open.
fn limits(settings: &Settings, plate: Option<&Plate>) -> [(Option<f64>, CeilingBy); 5] {
    let limits = &settings.limits;
    [
        (limits.pad_maximum.map(|p| p.0), CeilingBy::Site),
        (plate.and_then(mawp).map(|p| p.0), CeilingBy::Mawp),
        (limits.hose_rating.map(|p| p.0), CeilingBy::Hose),
        (limits.line_rating.map(|p| p.0), CeilingBy::Line),
        (limits.connection_rating.map(|p| p.0), CeilingBy::Connection),
    ]
}

fn mawp(plate: &Plate) -> Option<GaugePa> {
    if planted(Bug::CeilingByRelief) { plate.relief_from } else { plate.mawp }
}

/// The lowest of all limits and which it is; `None` while one is not set.
#[must_use]
pub fn ceiling(settings: &Settings, plate: Option<&Plate>) -> Option<(f64, CeilingBy)> {
    let limits = limits(settings, plate);
    if limits.iter().any(|(value, _)| value.is_none()) {
        return None;
    }
    lowest(&limits)
}

fn lowest(limits: &[(Option<f64>, CeilingBy)]) -> Option<(f64, CeilingBy)> {
    let set = limits.iter().filter_map(|(value, by)| value.map(|v| (v, *by)));
    set.min_by(|a, b| a.0.total_cmp(&b.0))
}

/// Near or above the ceiling. Whatever limit is set counts even while the ceiling as a whole is not; but only a
/// complete ceiling can say that it is not near. `back_pa` lower while the alarm is open.
#[must_use]
pub fn near_ceiling(settings: &Settings, readings: &Readings, plate: Option<&Plate>, back_pa: f64) -> Condition {
    reaches(settings, readings, plate, |limit_pa| limit_pa * settings.thresholds.near_ceiling - back_pa)
}

/// At the ceiling or above; likewise.
#[must_use]
pub fn at_ceiling(settings: &Settings, readings: &Readings, plate: Option<&Plate>) -> Condition {
    reaches(settings, readings, plate, |limit_pa| limit_pa)
}

/// Whether the pressure is where `from_pa` puts the lowest limit.
fn reaches(settings: &Settings, readings: &Readings, plate: Option<&Plate>, from_pa: impl Fn(f64) -> f64) -> Condition {
    let Some(signal) = Readings::find(settings, SignalKind::PadPressure, None) else { return Condition::Unknown };
    let pressure = readings.credible(signal).or(readings.at_least(signal));
    let Some(pressure) = pressure else { return Condition::Unknown };
    match lowest(&limits(settings, plate)) {
        Some((limit, _)) if pressure >= from_pa(limit) => Condition::True,
        _ if ceiling(settings, plate).is_none() || settings.pad_tap == PadTap::Supply => Condition::Unknown,
        _ => Condition::False,
    }
}
