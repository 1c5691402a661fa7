//! Is it what the papers say? The line's density against the certificate's.

use super::frame::Estimate;
use super::reading::Readings;
use super::settings::{Product, Settings, SignalKind};
use super::witness::density;
use crate::units::Celsius;

/// The first liquid carries gas with it: the density counts from here on, kg received.
const FROM_KG: f64 = 20.0;
/// It is judged once so much more has passed, kg.
const OVER_KG: f64 = 100.0;
/// Readings that the mean goes over: about a minute.
const READINGS: f64 = 60.0;
/// Another product is off by at least this share.
const LEAST: f64 = 0.005;
/// And by this many standard uncertainties of the difference.
const SIGMAS: f64 = 3.0;

/// The line's density in one transfer.
#[derive(Debug, Clone, Copy, Default)]
pub struct ProductCheck {
    mean: f64,
    count: f64,
    expected: Option<Estimate>,
    noise: f64,
    zero: f64,
    from_kg: Option<f64>,
    over_kg: f64,
}

impl ProductCheck {
    /// A second in which liquid flows.
    pub fn tick(&mut self, settings: &Settings, readings: &Readings, product: &Product, received_kg: f64) {
        if received_kg < FROM_KG {
            return;
        }
        let Some(signal) = Readings::find(settings, SignalKind::LineDensity, None) else { return };
        let (Some(value), Some(setup)) = (readings.credible(signal), settings.signals.get(usize::from(signal))) else {
            return;
        };
        let from_kg = *self.from_kg.get_or_insert(received_kg);
        self.over_kg = received_kg - from_kg;
        self.count = (self.count + 1.0).min(READINGS);
        self.mean += (value - self.mean) / self.count;
        (self.noise, self.zero) = (setup.noise, setup.zero);
        let line = readings.credible_kind(settings, SignalKind::LineTemperature, None);
        let at = density::actual(product, line.map_or(product.load_temperature, Celsius));
        self.expected = at.map(|a| Estimate { value: a.density.0, u: a.density.0 * a.u });
    }

    /// How far the line's density is off what the papers say, and beyond how much it is another product, kg/m3; None: too
    /// little has passed, or nobody can tell.
    #[must_use]
    pub fn off_kg_per_m3(&self) -> Option<(Estimate, f64)> {
        let expected = self.expected.filter(|_| self.over_kg >= OVER_KG)?;
        let value = self.mean - expected.value;
        let u = (expected.u * expected.u + self.zero * self.zero + self.noise * self.noise / self.count).sqrt();
        Some((Estimate { value, u }, (LEAST * expected.value).max(SIGMAS * u)))
    }
}
