//! Received by tank level: the rise of volume times the density of what came in.
//!
//! The incoming product's density, not the tank's: a heel at another temperature would otherwise turn a tank
//! thermometer into false hundreds of kilograms. What a signal or nobody says about draw-off is added, what another bay
//! brought in is taken off.

use super::{Account, Budget, Scene, geometry};
use crate::engine::frame::{Reason, Source, Validity};
use crate::engine::settings::{DrawOff, SignalKind};
use crate::units::{M3, Metre};

/// Share of the lag correction taken as its standard uncertainty: the lag itself is rarely known better.
const LAG_U: f64 = 0.3;

/// Mass received in the tank by its level.
#[must_use]
pub fn account(scene: &Scene) -> Account {
    let tank_index = scene.delivery.setup.tank;
    let Some(tank) = scene.settings.tanks.get(usize::from(tank_index)) else { return Account::lost(Reason::NotFitted) };
    let pair = match scene.pair(SignalKind::Level, Some(tank_index)) {
        Ok(pair) => pair,
        Err(reason) => return Account::lost(reason),
    };
    let volumes =
        (geometry::volume(&tank.geometry, Metre(pair.start)), geometry::volume(&tank.geometry, Metre(pair.now)));
    let (Some(M3(start_m3)), Some(M3(now_m3))) = volumes else { return Account::lost(Reason::OffTheTable) };
    let Some(area_m2) = geometry::area(&tank.geometry, Metre(pair.now)) else {
        return Account::lost(Reason::OffTheTable);
    };
    let Some(incoming) = scene.incoming() else { return Account::lost(Reason::OffTheTable) };
    let density = incoming.density;

    let kg_per_m = area_m2 * density.0;
    let rise_kg = (now_m3 - start_m3) * density.0;
    let lag_kg = scene.rate_kg_per_s * pair.setup.lag_s;
    let (drawn_kg, drawn_u_kg, validity) = draw_off(scene, tank.draw_off);

    let mut budget = Budget::ZERO;
    budget.add(Source::TankTable, rise_kg * tank.table_u);
    budget.add(Source::Density, rise_kg * incoming.u);
    budget.add(Source::LevelReading, kg_per_m * pair.difference_u());
    budget.add(Source::LevelLag, lag_kg * LAG_U);
    budget.add(Source::DrawOff, drawn_u_kg);
    let validity = match validity {
        Validity::Good if incoming.beyond => Validity::Doubtful(Reason::OffTheTable),
        validity => validity,
    };
    let account = Account {
        validity,
        received_kg: Some(rise_kg + lag_kg + drawn_kg),
        budget,
        errors: pair.errors(kg_per_m),
        division_kg: kg_per_m * pair.setup.division,
        kg_per_unit: kg_per_m,
    };
    let seen = scene.readings.level_seen_at(scene.settings, tank_index).unwrap_or(scene.at);
    let brought = scene.neighbours.brought(tank_index, seen, scene.at, density.0);
    brought.map_or(account, |brought| brought.taken_off(account))
}

/// Mass drawn off since the start, its standard uncertainty, and what that leaves of the witness.
fn draw_off(scene: &Scene, declared: DrawOff) -> (f64, f64, Validity) {
    match declared {
        DrawOff::DeclaredZero => (0.0, 0.0, Validity::Good),
        DrawOff::Unknown => (0.0, 0.0, Validity::Doubtful(Reason::MissingCorrection)),
        DrawOff::Measured => {
            let signal = scene.settings.signals.iter().find(|s| s.kind == SignalKind::DrawOff);
            let gain = signal.map_or(0.0, |s| s.gain);
            let integral = scene.delivery.draw_off_integral;
            let current = scene.readings.credible_kind(scene.settings, SignalKind::DrawOff, None).is_some();
            let validity = if current && scene.delivery.sums_are_whole {
                Validity::Good
            } else {
                Validity::Doubtful(Reason::MissingCorrection)
            };
            (integral.total, integral.total * gain + integral.gap_total / (2.0 * 3.0_f64.sqrt()), validity)
        }
    }
}
