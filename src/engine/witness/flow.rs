//! Received by the flow meter: what the totalizer counted, less what filled the line behind it.
//!
//! A mass meter counts kilograms. A volume meter counts cubic metres, brought to mass with the product's
//! density at the line's temperature; that density is then an error it shares with the tank.
//! The totalizer comes first: it misses nothing between two polls. A bay without one integrates the rate.

use super::density::Actual;
use super::{Account, Budget, Errors, Pair, Scene, flow_rate};
use crate::engine::delivery::RateIntegral;
use crate::engine::frame::{Reason, Source, Validity};
use crate::engine::settings::SignalKind;

/// Mass received in the tank by the flow meter.
#[must_use]
pub fn account(scene: &Scene) -> Account {
    let Some(incoming) = scene.incoming() else { return Account::lost(Reason::OffTheTable) };
    let density = incoming.density;
    match metered(scene, incoming) {
        Ok((metered_kg, mut budget, errors, division_kg)) => {
            let (_, downstream_kg) = scene.line_fill_kg(density);
            budget.add(Source::LineDownstream, -downstream_kg * scene.settings.line.volume_u);
            let by_volume = !scene.fitted(SignalKind::FlowMassTotal) && !scene.fitted(SignalKind::FlowMassRate);
            let validity =
                if incoming.beyond && by_volume { Validity::Doubtful(Reason::OffTheTable) } else { Validity::Good };
            // Until the line behind the meter is full nothing has reached the tank.
            let received_kg = if metered_kg < downstream_kg { metered_kg.min(0.0) } else { metered_kg - downstream_kg };
            Account { validity, received_kg: Some(received_kg), budget, errors, division_kg, kg_per_unit: 1.0 }
        }
        Err(reason) => Account::lost(reason),
    }
}

/// Mass through the meter, its budget, errors in time and division, kg.
fn metered(scene: &Scene, incoming: Actual) -> Result<(f64, Budget, Errors, f64), Reason> {
    let density = incoming.density.0;
    let mut budget = Budget::ZERO;
    if let Some(zero) = zero_kg_per_s(scene, density) {
        budget.add(Source::MeterZero, zero * scene.elapsed_s());
    }
    if scene.fitted(SignalKind::FlowMassTotal) {
        let pair = scene.pair(SignalKind::FlowMassTotal, None)?;
        return Ok(by_total(&pair, 1.0, budget));
    }
    if scene.fitted(SignalKind::FlowVolumeTotal) {
        let pair = scene.pair(SignalKind::FlowVolumeTotal, None)?;
        let (kg, mut budget, errors, division) = by_total(&pair, density, budget);
        budget.add(Source::Density, kg * incoming.u);
        return Ok((kg, budget, errors, division));
    }
    by_rate(scene, incoming, budget)
}

/// `per_unit`: kg per unit of the total.
fn by_total(pair: &Pair, per_unit: f64, mut budget: Budget) -> (f64, Budget, Errors, f64) {
    let kg = (pair.now - pair.start) * per_unit;
    budget.add(Source::MeterGain, kg * pair.setup.gain);
    budget.add(Source::MeterNoise, pair.difference_u() * per_unit);
    (kg, budget, pair.errors(per_unit), pair.setup.division * per_unit)
}

/// The rate signal, and kg per unit of it.
fn rate_signal(scene: &Scene, density: f64) -> Option<(SignalKind, f64)> {
    let kind = flow_rate(scene.settings)?;
    Some((kind, if kind == SignalKind::FlowMassRate { 1.0 } else { density }))
}

/// Standard uncertainty of the meter's zero, kg/s, where a rate signal states it.
fn zero_kg_per_s(scene: &Scene, density: f64) -> Option<f64> {
    let (kind, per_unit) = rate_signal(scene, density)?;
    scene.settings.signals.iter().find(|s| s.kind == kind).map(|s| s.zero * per_unit)
}

fn by_rate(scene: &Scene, incoming: Actual, mut budget: Budget) -> Result<(f64, Budget, Errors, f64), Reason> {
    let (kind, per_unit) = rate_signal(scene, incoming.density.0).ok_or(Reason::NotFitted)?;
    let pair = scene.pair(kind, None)?;
    if !scene.delivery.sums_are_whole {
        return Err(Reason::NoStart);
    }
    let RateIntegral { total, gap_total, .. } = scene.delivery.rate_integral;
    let kg = total * per_unit;
    budget.add(Source::MeterGain, kg * pair.setup.gain);
    // White noise of n readings, each standing for a second: grows with the square root of the time.
    let white = pair.white() * per_unit;
    budget.add(Source::MeterNoise, white * scene.elapsed_s().sqrt());
    // Over a gap the trapezoid assumes a straight line; a rectangular half of it is its standard error.
    budget.add(Source::Gap, gap_total * per_unit / (2.0 * 3.0_f64.sqrt()));
    if kind == SignalKind::FlowVolumeRate {
        budget.add(Source::Density, kg * incoming.u);
    }
    // Its sum begins at nothing, and walks.
    let errors = Errors { start_kg: 0.0, walk_kg2_per_s: white * white, ..pair.errors(per_unit) };
    Ok((kg, budget, errors, pair.setup.division * per_unit))
}
