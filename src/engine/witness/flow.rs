//! Received by the flow meter: what the totalizer counted, less what filled the line behind it.
//!
//! A mass meter counts kilograms. A volume meter counts cubic metres, brought to mass with the product's
//! density at the line's temperature; that density is then an error it shares with the tank.
//! The totalizer comes first: it misses nothing between two polls ([`total`](crate::engine::total): what rolling over and
//! being reset make of it). A bay without one integrates the rate.

use super::density::Actual;
use super::{Account, Budget, Errors, Pair, Scene, flow_rate};
use crate::engine::delivery::RateIntegral;
use crate::engine::frame::{Reason, Source, Validity};
use crate::engine::settings::{SignalKind, SignalSetup};

/// Conventional density of air, kg/m3 (OIML D 28:2004).
const AIR: f64 = 1.2;

/// Mass received in the tank by the flow meter.
#[must_use]
pub fn account(scene: &Scene) -> Account {
    let Some(incoming) = scene.incoming() else { return Account::lost(Reason::OffTheTable) };
    let density = incoming.density;
    match metered(scene, incoming) {
        Ok(Metered { signal, kg: metered_kg, validity, mut budget, errors, division_kg }) => {
            let (_, downstream_kg) = scene.line_fill_kg(density);
            budget.add(Source::LineDownstream, -downstream_kg * scene.settings.line.volume_u);
            let by_volume = !scene.fitted(SignalKind::FlowMassTotal) && !scene.fitted(SignalKind::FlowMassRate);
            let validity = match (by_volume, incoming.beyond) {
                (false, _) => validity,
                (true, false) => validity.and(scene.incoming_validity()),
                (true, true) => validity.and(Validity::Doubtful(Reason::OffTheTable)),
            };
            // Until the line behind the meter is full nothing has reached the tank.
            let received_kg = if metered_kg < downstream_kg { metered_kg.min(0.0) } else { metered_kg - downstream_kg };
            let (received_kg, signal) = (Some(received_kg), Some(signal));
            Account { validity, received_kg, budget, errors, division_kg, kg_per_unit: 1.0, signal }
        }
        Err(reason) => Account::lost(reason),
    }
}

/// What went through the meter.
struct Metered {
    signal: u16,
    kg: f64,
    validity: Validity,
    budget: Budget,
    errors: Errors,
    division_kg: f64,
}

fn metered(scene: &Scene, incoming: Actual) -> Result<Metered, Reason> {
    let density = incoming.density.0;
    let mut budget = Budget::ZERO;
    if let Some(zero) = zero_kg_per_s(scene, density) {
        budget.add(Source::MeterZero, zero * scene.elapsed_s());
    }
    // Anything from nothing to the meter's foot has gone by: rectangular, about nothing (JCGM 100:2008, 4.3.7 and F.2.4.4).
    budget.add(Source::LowFlow, low_flow_kg_per_s(scene, density) * scene.delivery.slow_s / 3.0_f64.sqrt());
    if scene.fitted(SignalKind::FlowMassTotal) {
        let pair = scene.pair(SignalKind::FlowMassTotal, None)?;
        return by_total(scene, &pair, (true_mass(pair.setup, density), density), budget);
    }
    if scene.fitted(SignalKind::FlowVolumeTotal) {
        let pair = scene.pair(SignalKind::FlowVolumeTotal, None)?;
        let mut metered = by_total(scene, &pair, (density, density), budget)?;
        metered.budget.add(Source::Density, metered.kg * incoming.u);
        return Ok(metered);
    }
    by_rate(scene, incoming, budget)
}

/// Kilograms of true mass for each one shown: a meter of apparent mass was adjusted against weights of 8000 kg/m3 in air of
/// 1.2 kg/m3, (1 - 1.2/8000)/(1 - 1.2/rho) (OIML D 28:2004; NIST Handbook 44, 3.37, has US meters show it).
#[must_use]
pub fn true_mass(setup: &SignalSetup, density: f64) -> f64 {
    if setup.apparent_mass { (1.0 - AIR / 8000.0) / (1.0 - AIR / density) } else { 1.0 }
}

/// kg per unit of the total, and the density, kg/m3.
fn by_total(
    scene: &Scene,
    pair: &Pair,
    (per_unit, density): (f64, f64),
    mut budget: Budget,
) -> Result<Metered, Reason> {
    let counted = scene.delivery.counted.since(pair.start.value)?;
    let kg = counted.value * per_unit;
    budget.add(Source::MeterGain, kg * pair.setup.gain);
    budget.add(Source::MeterNoise, pair.difference_u() * per_unit);
    budget.add(Source::Gap, counted.u * per_unit);
    let line = scene.settings.line.upstream.0 + scene.settings.line.downstream.0;
    let line = line * density / per_unit;
    let validity = match scene.delivery.counted.against(pair.setup, counted.value, line) {
        Some((reason, true)) => return Err(reason),
        Some((reason, false)) => Validity::Doubtful(reason),
        None => pair.validity,
    };
    let (errors, division_kg) = (pair.errors(per_unit), pair.setup.division * per_unit);
    Ok(Metered { signal: pair.signal, kg, validity, budget, errors, division_kg })
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

/// Below this the meter may count nothing, kg/s.
fn low_flow_kg_per_s(scene: &Scene, density: f64) -> f64 {
    let signal = rate_signal(scene, density);
    let setup = signal.and_then(|(kind, _)| scene.settings.signals.iter().find(|s| s.kind == kind));
    setup.zip(signal).map_or(0.0, |(setup, (_, per_unit))| setup.low_flow * per_unit)
}

fn by_rate(scene: &Scene, incoming: Actual, mut budget: Budget) -> Result<Metered, Reason> {
    let (kind, per_unit) = rate_signal(scene, incoming.density.0).ok_or(Reason::NotFitted)?;
    let pair = scene.pair(kind, None)?;
    if !scene.delivery.sums_are_whole {
        return Err(Reason::NoStart);
    }
    let RateIntegral { total, gap_total, .. } = scene.delivery.rate_integral;
    let per_unit = per_unit * true_mass(pair.setup, incoming.density.0);
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
    let division_kg = pair.setup.division * per_unit;
    Ok(Metered { signal: pair.signal, kg, validity: pair.validity, budget, errors, division_kg })
}
