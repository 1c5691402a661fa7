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
use super::neighbour::Neighbours;
use super::reading::Readings;
use super::settings::{LineStart, Product, Settings, SignalKind, SignalSetup};
use crate::time::EngineTime;
use crate::units::{Celsius, KgPerM3};

/// Every source, in the order of a [`Budget`].
pub const SOURCES: [Source; 18] = [
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
        let lines = SOURCES.iter().zip(self.0).filter(|(_, kg)| *kg != 0.0);
        lines.map(|(&source, kg)| Contribution { source, kg }).collect()
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
    /// The part of the error that is new at every reading, kg.
    pub white_kg: f64,
    /// Smallest step its reading can make, kg.
    pub division_kg: f64,
}

impl Account {
    /// A witness that says nothing.
    #[must_use]
    pub fn lost(reason: Reason) -> Account {
        Account {
            validity: Validity::Lost(reason),
            received_kg: None,
            budget: Budget::ZERO,
            white_kg: 0.0,
            division_kg: 0.0,
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
}

/// A signal that serves a witness: its setup, start reading and present value.
pub(super) struct Pair<'a> {
    pub setup: &'a SignalSetup,
    pub start: f64,
    pub start_count: f64,
    pub now: f64,
}

impl Pair<'_> {
    /// Standard uncertainty of the difference now - start: noise of both, the start's averaged, and a
    /// rectangular half division each (JCGM 100:2008, 4.3.7).
    pub fn difference_u(&self) -> f64 {
        let division = self.setup.division * self.setup.division / 12.0;
        let noise = self.setup.noise * self.setup.noise;
        (noise / self.start_count + noise + 2.0 * division).sqrt()
    }

    /// The part that is new at every reading.
    pub fn white(&self) -> f64 {
        (self.setup.noise * self.setup.noise + self.setup.division * self.setup.division / 12.0).sqrt()
    }
}

impl<'a> Scene<'a> {
    /// The signal of that kind with its start and present values, or why the witness has none.
    pub(super) fn pair(&self, kind: SignalKind, tank: Option<u16>) -> Result<Pair<'a>, Reason> {
        let signal = Readings::find(self.settings, kind, tank).ok_or(Reason::NotFitted)?;
        let setup = self.settings.signals.get(usize::from(signal)).ok_or(Reason::NotFitted)?;
        if let Validity::Lost(reason) = self.readings.validity(signal) {
            return Err(reason);
        }
        let now = self.readings.credible(signal).ok_or(Reason::NotYetRead)?;
        let start = self.delivery.start(signal).ok_or(Reason::NoStart)?;
        Ok(Pair { setup, start: start.value, start_count: f64::from(start.count), now })
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
    [
        total.or_else(|| find(flow_rate(settings)?)),
        find(SignalKind::Scale),
        Readings::find(settings, SignalKind::Level, Some(tank)),
    ]
}
