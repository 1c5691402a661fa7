//! Witnesses: each instrument made an independent estimate of the mass received in the tank.
//!
//! Each witness states its error as a sum of independent *sources*, every one a signed standard contribution
//! in kg. Two witnesses that name the same source with the same sign err together: that is all the covariance
//! there is (JCGM 100:2008, F.1.2.3).

pub mod density;
pub mod flow;
pub mod geometry;
pub mod scale;
pub mod tank;

use super::delivery::Delivery;
use super::frame::{Contribution, Estimate, Reason, Source, Validity, Witness, WitnessId};
use super::gauge;
use super::neighbour::Neighbours;
use super::reading::{Readings, StartReading};
use super::settings::{LineStart, Product, Settings, SignalKind, SignalSetup};
use crate::time::EngineTime;
use crate::units::{Celsius, KgPerM3};
use std::f64::consts::PI;

/// Every source, in the order of a [`Budget`].
pub const SOURCES: [Source; 23] = [
    Source::MeterGain,
    Source::MeterZero,
    Source::MeterNoise,
    Source::ScaleReading,
    Source::ScaleSpan,
    Source::ScaleDrift,
    Source::GasTemperature,
    Source::GasVolume,
    Source::PadPressure,
    Source::LineUpstream,
    Source::LineDownstream,
    Source::Density,
    Source::TankTable,
    Source::LevelReading,
    Source::LevelLag,
    Source::DrawOff,
    Source::Gap,
    Source::Neighbour,
    Source::LevelSpan,
    Source::TankVapour,
    Source::NewZero,
    Source::LowFlow,
    Source::HoseReaction,
];

/// Signed standard contributions, kg, by source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Budget(pub [f64; SOURCES.len()]);

impl Budget {
    /// No error at all.
    pub const ZERO: Budget = Budget([0.0; SOURCES.len()]);

    /// Adds to one source (contributions of one source add with their sign).
    pub fn add(&mut self, source: Source, kg: f64) {
        self.0[source as usize] += kg;
    }

    /// Covariance of two witnesses' errors, kg2.
    #[must_use]
    pub fn covariance(&self, other: &Budget) -> f64 {
        self.0.iter().zip(&other.0).fold(0.0, |sum, (a, b)| sum + a * b)
    }

    /// Standard uncertainty, kg.
    #[must_use]
    pub fn u_kg(&self) -> f64 {
        self.covariance(self).sqrt()
    }

    /// The lines that are not zero.
    #[must_use]
    pub fn lines(&self) -> Vec<Contribution> {
        let there = SOURCES.iter().zip(self.0).filter(|(_, kg)| *kg != 0.0);
        let mut lines = Vec::with_capacity(there.clone().count());
        lines.extend(there.map(|(&source, kg)| Contribution { source, kg }));
        lines
    }
}

/// What a witness says at one tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Account {
    /// Whether it can be used.
    pub validity: Validity,
    /// Mass received, kg; present whenever the validity is not Lost.
    pub received_kg: Option<f64>,
    /// Its error.
    pub budget: Budget,
    /// How its error behaves in time.
    pub errors: Errors,
    /// Smallest step its reading can make, kg.
    pub division_kg: f64,
    /// Kilograms that one unit of its signal (SI) stands for now.
    pub kg_per_unit: f64,
    /// The signal that it stands on.
    pub signal: Option<u16>,
}

/// How the error of a witness behaves in time; what the sources of its budget do not say. All standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Errors {
    /// New at every reading, kg.
    pub white_kg: f64,
    /// Of the start reading: the same as long as that start counts, kg.
    pub start_kg: f64,
    /// Noise with a memory, kg.
    pub slow_kg: f64,
    /// That memory, s.
    pub slow_s: f64,
    /// Variance that a random walk gains in a second, kg2/s.
    pub walk_kg2_per_s: f64,
    /// How old the reading is beyond what the account has corrected, s.
    pub age_s: f64,
}

impl Errors {
    /// What a reading is off by for reasons that pass, kg.
    #[must_use]
    pub fn noise_kg(&self) -> f64 {
        (self.white_kg * self.white_kg + self.slow_kg * self.slow_kg).sqrt()
    }
}

/// What is left of the variance of noise with a memory in its mean over a stretch of time:
/// 2/x (1 - (1 - exp(-x))/x), x = stretch/memory (the mean of an Ornstein-Uhlenbeck process; Papoulis 1991, ch. 9).
#[must_use]
pub fn mean_share(stretch_s: f64, memory_s: f64) -> f64 {
    let x = if memory_s > 0.0 { stretch_s / memory_s } else { 0.0 };
    // Below that the difference of nearly equal numbers tells nothing; 1 - x/3 is right to 1e-9.
    if x < 1e-4 { 1.0 } else { 2.0 / x * (1.0 - (1.0 - libm::exp(-x)) / x) }
}

/// Variance that rounding to a division leaves in the mean of n values whose scatter has this variance: all of d^2/12 (JCGM
/// 100:2008, F.2.2.1) where they do not scatter, d^2/12n where they scatter through divisions. What does not average is
/// (d^2/2 pi^2) exp(-4 pi^2 s^2/d^2) (Widrow and Kollar 2008, ch. 19 on dither); d^2/12 is taken for its first factor.
#[must_use]
pub fn rounding(division: f64, scatter2: f64, n: f64) -> f64 {
    if division <= 0.0 {
        return 0.0;
    }
    let stays = libm::exp(-4.0 * PI * PI * scatter2 / (division * division));
    division * division / 12.0 * (stays + (1.0 - stays) / n)
}

impl Account {
    /// A witness that says nothing.
    #[must_use]
    pub fn lost(reason: Reason) -> Account {
        Account {
            validity: Validity::Lost(reason),
            received_kg: None,
            budget: Budget::ZERO,
            errors: Errors::default(),
            division_kg: 0.0,
            kg_per_unit: 0.0,
            signal: None,
        }
    }

    /// Mass and standard uncertainty while it is credible.
    #[must_use]
    pub fn credible(&self) -> Option<Estimate> {
        if !self.validity.is_credible() {
            return None;
        }
        self.received_kg.map(|value| Estimate { value, u: self.budget.u_kg() })
    }

    /// As the frame shows it; a lost witness keeps showing where it stood.
    #[must_use]
    pub fn frame(&self, id: WitnessId, last: Option<Estimate>) -> Witness {
        Witness {
            id,
            validity: self.validity,
            received_kg: self.credible().or(last),
            budget: if self.validity.is_credible() { self.budget.lines() } else { Vec::new() },
        }
    }
}

/// What a witness looks at.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// The bay.
    pub settings: &'a Settings,
    /// What the signals say.
    pub readings: &'a Readings,
    /// The delivery with its start readings.
    pub delivery: &'a Delivery,
    /// Now.
    pub at: EngineTime,
    /// Reconciled rate of the tick before, kg/s.
    pub rate_kg_per_s: f64,
    /// Other bays that fill the tank.
    pub neighbours: &'a Neighbours,
    /// The gauge that the tank's witness stood on before.
    pub gauge: Option<u16>,
}

/// A signal that serves a witness: its setup, start reading and present value.
pub(super) struct Pair<'a> {
    pub signal: u16,
    pub setup: &'a SignalSetup,
    /// Doubtful where the signal is: so is what stands on it.
    pub validity: Validity,
    pub start: StartReading,
    pub now: f64,
    /// Age of the present value, s.
    pub age_s: f64,
}

impl Pair<'_> {
    /// Standard uncertainty of the difference now - start: noise of both, the start's averaged, and a rectangular half division
    /// each (JCGM 100:2008, 4.3.7). Noise with a memory is averaged by readings that lie further apart than it lasts.
    pub fn difference_u(&self) -> f64 {
        let (white, start) = (self.white(), self.start_u());
        (white * white + start * start + self.setup.slow_noise * self.setup.slow_noise).sqrt()
    }

    /// The part that is new at every reading.
    pub fn white(&self) -> f64 {
        (self.setup.noise * self.setup.noise + self.setup.division * self.setup.division / 12.0).sqrt()
    }

    /// Standard uncertainty of the start reading.
    fn start_u(&self) -> f64 {
        let (noise, slow) = (self.setup.noise, self.setup.slow_noise);
        let n = f64::from(self.start.count);
        let lasting = slow * slow * mean_share(self.start.over_s, self.setup.slow_noise_s);
        (noise * noise / n + rounding(self.setup.division, noise * noise, n) + lasting).sqrt()
    }

    /// The reading's errors in time, in kg; `per_unit`: kg per unit of the signal.
    pub fn errors(&self, per_unit: f64) -> Errors {
        let drift = self.setup.drift_per_sqrt_h * per_unit;
        Errors {
            white_kg: self.white() * per_unit,
            start_kg: self.start_u() * per_unit,
            slow_kg: self.setup.slow_noise * per_unit,
            slow_s: self.setup.slow_noise_s,
            walk_kg2_per_s: drift * drift / 3600.0,
            age_s: self.age_s,
        }
    }
}

impl<'a> Scene<'a> {
    /// The signal of that kind with its start and present values, or why the witness has none.
    pub(super) fn pair(&self, kind: SignalKind, tank: Option<u16>) -> Result<Pair<'a>, Reason> {
        self.pair_of(Readings::find(self.settings, kind, tank).ok_or(Reason::NotFitted)?)
    }

    /// The same of one signal.
    pub(super) fn pair_of(&self, signal: u16) -> Result<Pair<'a>, Reason> {
        let setup = self.settings.signals.get(usize::from(signal)).ok_or(Reason::NotFitted)?;
        let validity = self.readings.validity(signal);
        if let Validity::Lost(reason) = validity {
            return Err(reason);
        }
        let now = self.readings.credible(signal).ok_or(Reason::NotYetRead)?;
        let start = self.delivery.start(signal).ok_or(Reason::NoStart)?;
        let age_s = self.readings.read_at(signal).map_or(0.0, |read| self.at.since_s(read).max(0.0));
        Ok(Pair { signal, setup, validity, start, now, age_s })
    }

    /// Whether a signal of that kind is fitted.
    #[must_use]
    pub fn fitted(&self, kind: SignalKind) -> bool {
        Readings::find(self.settings, kind, None).is_some()
    }

    /// The product.
    #[must_use]
    pub fn product(&self) -> &'a Product {
        &self.delivery.setup.product
    }

    /// Temperature of the incoming liquid: by the line's thermometer, else as the papers say.
    #[must_use]
    pub fn incoming_temperature(&self) -> Celsius {
        let measured = self.readings.credible_kind(self.settings, SignalKind::LineTemperature, None);
        measured.map_or(self.product().load_temperature, Celsius)
    }

    /// Whether that can be relied on. Without a line thermometer there is only the papers' word, which is in the density's u.
    #[must_use]
    pub fn incoming_validity(&self) -> Validity {
        let thermometer = Readings::find(self.settings, SignalKind::LineTemperature, None);
        thermometer.map(|signal| self.readings.validity(signal)).filter(|v| v.is_credible()).unwrap_or(Validity::Good)
    }

    /// Density of the incoming liquid; `None` far outside the product's table.
    #[must_use]
    pub fn incoming(&self) -> Option<density::Actual> {
        density::actual(self.product(), self.incoming_temperature())
    }

    /// Seconds since the transfer started.
    #[must_use]
    pub fn elapsed_s(&self) -> f64 {
        self.delivery.elapsed_s(self.at)
    }

    /// Mass that stays in the line before and after the meter once it is full, kg; none where it was full
    /// already.
    #[must_use]
    pub fn line_fill_kg(&self, density: KgPerM3) -> (f64, f64) {
        match self.settings.line.starts {
            LineStart::Full => (0.0, 0.0),
            LineStart::Empty => {
                (self.settings.line.upstream.0 * density.0, self.settings.line.downstream.0 * density.0)
            }
        }
    }
}

/// The kind of rate signal a bay's meter has.
#[must_use]
pub fn flow_rate(settings: &Settings) -> Option<SignalKind> {
    let fitted = |kind: &SignalKind| settings.signals.iter().any(|s| s.kind == *kind);
    [SignalKind::FlowMassRate, SignalKind::FlowVolumeRate].into_iter().find(fitted)
}

/// The signal that each witness stands on: flow (total first), scale, tank.
#[must_use]
pub fn main_signals(settings: &Settings, tank: u16) -> [Option<u16>; 3] {
    let find = |kind| Readings::find(settings, kind, None);
    let total = find(SignalKind::FlowMassTotal).or_else(|| find(SignalKind::FlowVolumeTotal));
    [total.or_else(|| find(flow_rate(settings)?)), find(SignalKind::Scale), gauge::of_tank(settings, tank).next()]
}
