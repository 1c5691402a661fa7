//! Is it what the papers say? The line's density against the certificate's.

use super::frame::Estimate;
use super::reading::Readings;
use super::settings::{Product, Settings, SignalKind};
use super::witness::density;
use crate::units::Celsius;

/// The first liquid carries gas with it: the density counts from here on, kg received.
const FROM_KG: f64 = 20.0;
/// It is judged once so much more has passed, kg; and once it is another product, it is the right one again after so much.
const OVER_KG: f64 = 100.0;
/// Readings that the mean goes over: about a minute.
const READINGS: f64 = 60.0;
/// So many readings in a row must be off, by half of what is another product at least: a wrong answer is one of them, and
/// whoever stands at the trailer is to know within ten seconds (assumption).
const IN_A_ROW: u32 = 5;
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
    off_in_a_row: u32,
    /// It has been found to be another product.
    another: bool,
    /// Since when it has looked like the right one again, kg received.
    right_from_kg: Option<f64>,
}

impl ProductCheck {
    /// A second in which liquid flows, and no gas yet.
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
        let is_off = |a: Estimate| (value - a.value).abs() > self.most(&a) / 2.0;
        self.off_in_a_row = if self.expected.is_some_and(is_off) { self.off_in_a_row.saturating_add(1) } else { 0 };
        self.another |= self.looks_another(0.0) == Some(true);
        self.right_from_kg = (self.off_in_a_row == 0).then(|| self.right_from_kg.unwrap_or(received_kg));
        // The first gas drags the density of a heavier product through the right one's on its way down.
        self.another &= self.right_from_kg.is_none_or(|from_kg| received_kg - from_kg < OVER_KG);
    }

    /// Whether it is another product that flows; None: too little has passed, or nobody can tell. Once that has been said,
    /// `back` kg/m3 less are enough.
    #[must_use]
    pub fn is_another(&self, back: f64) -> Option<bool> {
        if self.another { Some(true) } else { self.looks_another(back) }
    }

    /// By the latest readings.
    fn looks_another(&self, back: f64) -> Option<bool> {
        let expected = self.expected.filter(|_| self.over_kg >= OVER_KG)?;
        let off = (self.mean - expected.value).abs() > self.most(&expected) - back;
        Some(off && self.off_in_a_row >= IN_A_ROW)
    }

    /// Beyond this it is another product, kg/m3.
    fn most(&self, expected: &Estimate) -> f64 {
        let u = (expected.u * expected.u + self.zero * self.zero + self.noise * self.noise / self.count).sqrt();
        (LEAST * expected.value).max(SIGMAS * u)
    }
}
