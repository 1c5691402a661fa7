//! The legs of one delivery and their sum.
//!
//! Each leg has start readings of its own; the errors of its witnesses stand in its budgets, source by source, each
//! source independent of the others. What two legs share of a source adds up as it stands, what they do not share as the
//! root of the sum of squares (JCGM 100:2008, 5.2.2 and F.1.2.3): the same meter's gain is off in both, the same tank's
//! table, the density of the same load; a reading's noise is new each time. Where it is not known whether an error is
//! shared (a hose's push, draw-off), it is taken as shared: in a sum that is the larger uncertainty.

use super::account::{Figure, Leg, WhyNot};
use crate::engine::frame::{Contribution, Frame, Source};
use crate::engine::settings::{DeliverySetup, LineStart, Settings, SignalKind};
use crate::engine::witness::density;
use crate::recording::json::form_json;
use crate::units::Celsius;
use serde_json::Value;
use std::collections::BTreeMap;

/// What a leg gives to the sum.
#[derive(Debug, Clone)]
pub(super) struct Share {
    leg: u8,
    bay: String,
    tank: String,
    /// How much was meant to be unloaded, kg.
    pub planned_kg: f64,
    /// What each witness says.
    pub witnesses: Vec<Said>,
    /// Weights of the witnesses in what they say together; `None`: none was credible.
    pub together: Option<[f64; 3]>,
    received_kg: f64,
    line: Option<Line>,
}

/// What a witness says of a leg.
#[derive(Debug, Clone)]
pub(super) struct Said {
    /// `flow`, `scale`, `tank`.
    pub id: Value,
    /// Received, kg; `None`: it is not credible.
    kg: Option<f64>,
    budget: Vec<Contribution>,
}

/// What the line holds beyond what it held at the start, kg, and the standard uncertainties of its two parts.
#[derive(Debug, Clone, Copy)]
struct Line {
    kg: f64,
    parts_u: [(Source, f64); 2],
}

/// A mass with its signed standard contributions, kg.
#[derive(Debug, Clone, Default)]
pub(in crate::report) struct Mass {
    kg: f64,
    parts: BTreeMap<Source, f64>,
}

impl Mass {
    fn add(&mut self, source: Source, kg: f64) {
        *self.parts.entry(source).or_default() += kg;
    }
}

impl Share {
    /// Out of the frame at the leg's close.
    pub fn of(setup: &DeliverySetup, settings: &Settings, frame: &Frame) -> Share {
        let said = |w: &crate::engine::frame::Witness| Said {
            id: form_json(&w.id),
            kg: w.received_kg.filter(|_| w.validity.is_credible()).map(|kg| kg.value),
            budget: w.budget.clone(),
        };
        Share {
            leg: setup.leg,
            bay: settings.bay.clone(),
            tank: settings.tanks.get(usize::from(setup.tank)).map_or_else(String::new, |tank| tank.name.clone()),
            planned_kg: setup.planned.0,
            witnesses: frame.witnesses.iter().map(said).collect(),
            together: frame.together.map(|together| together.weights),
            received_kg: frame.together.map_or(0.0, |together| together.received_kg.value),
            line: line(setup, settings, frame),
        }
    }

    /// Received by all of them together.
    pub fn received(&self) -> Option<Mass> {
        let mut mass = Mass { kg: self.received_kg, ..Mass::default() };
        for (said, weight) in self.witnesses.iter().zip(self.together?) {
            said.budget.iter().for_each(|part| mass.add(part.source, weight * part.kg));
        }
        Some(mass)
    }

    /// Received by one of them.
    fn received_by(&self, witness: usize) -> Option<Mass> {
        let said = self.witnesses.get(witness)?;
        let mut mass = Mass { kg: said.kg?, ..Mass::default() };
        said.budget.iter().for_each(|part| mass.add(part.source, part.kg));
        Some(mass)
    }

    /// What the line holds.
    pub fn in_line(&self) -> Option<Mass> {
        Some(Mass { kg: self.line?.kg, parts: self.line?.parts_u.into() })
    }

    /// What left the trailer by all of them together: received, and in the line.
    pub fn out(&self) -> Option<Mass> {
        self.with_line(self.received()?)
    }

    /// What left the trailer by one of them.
    pub fn out_by(&self, witness: usize) -> Option<Mass> {
        self.with_line(self.received_by(witness)?)
    }

    /// Budgets name the line's parts with their sign: for a scale, which weighs what left the trailer, they cancel.
    fn with_line(&self, mut mass: Mass) -> Option<Mass> {
        let line = self.line?;
        mass.kg += line.kg;
        line.parts_u.into_iter().for_each(|(source, u)| mass.add(source, u));
        Some(mass)
    }

    /// For whom an error of that source is the same as for this leg: legs of which this is equal.
    fn shares(&self, source: Source) -> String {
        use Source as S;
        match source {
            S::MeterNoise
            | S::ScaleReading
            | S::ScaleDrift
            | S::LevelReading
            | S::LevelLag
            | S::Gap
            | S::Neighbour
            | S::NewZero => format!("leg {}", self.leg),
            S::MeterGain
            | S::MeterZero
            | S::LowFlow
            | S::ScaleSpan
            | S::GasTemperature
            | S::PadPressure
            | S::LineUpstream
            | S::LineDownstream
            | S::HoseReaction => format!("bay {}", self.bay),
            S::TankTable | S::LevelSpan | S::TankVapour | S::DrawOff => format!("tank {}", self.tank),
            S::Density | S::GasVolume => "load".to_owned(),
        }
    }
}

/// The sum of a mass of every leg; `None` where one has none.
pub(super) fn sum(shares: &[Share], mass: impl Fn(&Share) -> Option<Mass>) -> Option<Figure> {
    let mut value = 0.0;
    let mut by_source: BTreeMap<(Source, String), f64> = BTreeMap::new();
    for share in shares {
        let mass = mass(share)?;
        value += mass.kg;
        for (source, kg) in mass.parts {
            *by_source.entry((source, share.shares(source))).or_default() += kg;
        }
    }
    Some(Figure { value, u: by_source.values().map(|kg| kg * kg).sum::<f64>().sqrt() })
}

/// What every leg that moved anything gives to the sum; an error why not all of them are known. The last one is the leg
/// that is asked for.
pub(super) fn shares(legs: &[(Leg, Option<Share>)]) -> Result<Vec<Share>, WhyNot> {
    let (asked, share) = legs.last().ok_or(WhyNot::NotClosed)?;
    if share.is_none() || asked.is_rejected {
        return Err(WhyNot::NotClosed);
    }
    let row = legs.iter().map(|(leg, _)| leg.leg).eq(1..=asked.leg);
    let moved = legs.iter().filter(|(leg, _)| !leg.is_rejected);
    let all: Option<Vec<Share>> = moved.map(|(_, share)| share.clone()).collect();
    all.filter(|_| row).ok_or(WhyNot::LegMissing)
}

fn line(setup: &DeliverySetup, settings: &Settings, frame: &Frame) -> Option<Line> {
    let line = &settings.line;
    let density = match line.starts {
        LineStart::Full => 0.0,
        LineStart::Empty => {
            let thermometer = settings.signals.iter().position(|s| s.kind == SignalKind::LineTemperature);
            let reading = thermometer.and_then(|at| frame.readings.get(at)).filter(|r| r.validity.is_credible());
            let measured = reading.and_then(|r| r.value_si).map(Celsius);
            density::actual(&setup.product, measured.unwrap_or(setup.product.load_temperature))?.density.0
        }
    };
    let (upstream_kg, downstream_kg) = (line.upstream.0 * density, line.downstream.0 * density);
    Some(Line {
        kg: upstream_kg + downstream_kg,
        parts_u: [
            (Source::LineUpstream, upstream_kg * line.volume_u),
            (Source::LineDownstream, downstream_kg * line.volume_u),
        ],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn share(leg: u8, tank: &str, kg: f64, parts: &[(Source, f64)]) -> Share {
        let budget = parts.iter().map(|&(source, kg)| Contribution { source, kg }).collect();
        Share {
            leg,
            bay: "Bay 1".to_owned(),
            tank: tank.to_owned(),
            planned_kg: kg,
            witnesses: vec![Said { id: Value::Null, kg: Some(kg), budget }],
            together: Some([1.0, 0.0, 0.0]),
            received_kg: kg,
            line: None,
        }
    }

    /// By hand: the gain is off the same way in both (30 + 20), the noises are not (3, 4): sqrt(50^2 + 3^2 + 4^2). The
    /// table's 30 and 40 add up to 70 in one tank, and to 50 in two.
    #[test]
    fn what_legs_share_adds_up_as_it_stands() {
        let sum_of = |tank: &str, parts: [&[(Source, f64)]; 2]| {
            let shares = [share(1, "204", 10_000.0, parts[0]), share(2, tank, 8_000.0, parts[1])];
            let by_all = sum(&shares, Share::received).expect("both known");
            assert_eq!(sum(&shares, |share| share.received_by(0)), Some(by_all));
            assert!(sum(&shares, Share::out).is_none(), "what the line holds is not known");
            (by_all.value, by_all.u)
        };
        let gain = [(Source::MeterGain, 30.0), (Source::MeterNoise, 3.0)];
        let (kg, u_kg) = sum_of("205", [&gain, &[(Source::MeterGain, 20.0), (Source::MeterNoise, 4.0)]]);
        assert!((kg - 18_000.0).abs() < 1e-9 && (u_kg - 2_525.0_f64.sqrt()).abs() < 1e-9, "{kg} {u_kg}");
        for (tank, u) in [("204", 70.0), ("205", 50.0)] {
            let (_, u_kg) = sum_of(tank, [&[(Source::TankTable, 30.0)], &[(Source::TankTable, 40.0)]]);
            assert!((u_kg - u).abs() < 1e-9, "{tank}: {u_kg}");
        }
    }
}
