//! Received by tank level: the rise of volume times the density of what came in; by a hydrostatic gauge, which weighs.
//!
//! The incoming product's density, not the tank's: a heel at another temperature would otherwise turn a tank
//! thermometer into false hundreds of kilograms. A hydrostatic gauge at the bottom carries the liquid above it: dm = A(h) dp/g
//! with h = dp/(rho g), rho that of the contents; in a cylinder rho cancels. What gas does to the vapour space it shows as
//! well, so without a pressure measured there it is doubtful. Where the first gauge of a tank is lost the next one takes its
//! place, from its own start reading, with its own budget, and doubtful; the first one comes back once it has been usable for
//! as many readings in a row as make a start reading. What a signal or nobody says about draw-off is added, what
//! another bay brought in is taken off.

use super::{Account, Budget, Errors, Pair, Scene, geometry};
use crate::engine::frame::{Reason, Source, Validity};
use crate::engine::gauge::{self, GRAVITY, VAPOUR_U_PA};
use crate::engine::reading::Readings;
use crate::engine::settings::{DrawOff, SignalKind, TankSetup};
use crate::units::{M3, Metre};

/// Share of the lag correction taken as its standard uncertainty: the lag itself is rarely known better.
const LAG_U: f64 = 0.3;

/// The rise by a gauge, before what is common to both kinds.
struct Rise<'a> {
    pair: Pair<'a>,
    kg: f64,
    kg_per_unit: f64,
    validity: Validity,
    budget: Budget,
    errors: Errors,
}

/// Mass received in the tank by its level.
#[must_use]
pub fn account(scene: &Scene) -> Account {
    let tank_index = scene.delivery.setup.tank;
    let Some(tank) = scene.settings.tanks.get(usize::from(tank_index)) else { return Account::lost(Reason::NotFitted) };
    let Rise { pair, kg, kg_per_unit, validity, mut budget, errors } = match by_gauges(scene, tank, tank_index) {
        Ok(rise) => rise,
        Err(reason) => return Account::lost(reason),
    };
    let Some(incoming) = scene.incoming() else { return Account::lost(Reason::OffTheTable) };
    // The table holds at another temperature of the shell than it has now.
    let shell =
        geometry::shell_factor(tank.shell, gauge::temperature(scene.settings, scene.readings, &scene.delivery.setup));
    let kg = kg * shell;
    let lag_kg = scene.rate_kg_per_s * pair.setup.lag_s;
    let (drawn_kg, drawn_u_kg, drawn) = draw_off(scene, tank.draw_off);
    budget.add(Source::TankTable, kg * tank.table_u);
    budget.add(Source::LevelSpan, kg * pair.setup.gain);
    budget.add(Source::LevelLag, lag_kg * LAG_U);
    budget.add(Source::DrawOff, drawn_u_kg);
    let account = Account {
        validity: drawn.and(validity),
        received_kg: Some(kg + lag_kg + drawn_kg),
        budget,
        errors,
        division_kg: kg_per_unit * pair.setup.division,
        kg_per_unit,
        signal: Some(pair.signal),
    };
    let seen = scene.readings.read_at(pair.signal).map_or(scene.at, |at| at.plus_s(-pair.setup.lag_s));
    let brought = scene.neighbours.brought(tank_index, seen, scene.at, incoming.density.0);
    brought.map_or(account, |brought| brought.taken_off(account))
}

/// By the first gauge that can be used; what is said of the first one where none can.
fn by_gauges<'a>(scene: &Scene<'a>, tank: &TankSetup, index: u16) -> Result<Rise<'a>, Reason> {
    let rise = |signal| {
        let pair = scene.pair_of(signal)?;
        let weighs = pair.setup.kind == SignalKind::LevelPressure;
        if weighs { by_pressure(scene, tank, pair) } else { by_level(scene, tank, pair) }
    };
    let mut gauges = gauge::of_tank(scene.settings, index);
    let first = gauges.next().ok_or(Reason::NotFitted)?;
    let others = || gauge::of_tank(scene.settings, index).skip(1);
    let by_first = rise(first);
    // One that comes and goes would have the mass jump between two gauges.
    let returns = scene.gauge.is_none_or(|gauge| gauge == first) || scene.readings.is_steady(first);
    if by_first.is_ok() && (returns || !others().any(|signal| scene.gauge == Some(signal) && rise(signal).is_ok())) {
        return by_first;
    }
    let by_other = others().find_map(|signal| rise(signal).ok());
    let doubtful =
        |rise: Rise<'a>| Rise { validity: rise.validity.and(Validity::Doubtful(Reason::OtherGauge)), ..rise };
    by_other.map(doubtful).map_or(by_first, Ok)
}

/// Volume at the start, volume now and free surface now, m3 and m2.
fn volumes(tank: &TankSetup, start_m: f64, now_m: f64) -> Result<(f64, f64, f64), Reason> {
    let volume = |level| geometry::volume(&tank.geometry, Metre(level)).map(|M3(m3)| m3);
    let (start, now) = volume(start_m).zip(volume(now_m)).ok_or(Reason::OffTheTable)?;
    Ok((start, now, geometry::area(&tank.geometry, Metre(now_m)).ok_or(Reason::OffTheTable)?))
}

fn by_level<'a>(scene: &Scene, tank: &TankSetup, pair: Pair<'a>) -> Result<Rise<'a>, Reason> {
    let (start_m3, now_m3, area_m2) = volumes(tank, pair.start.value, pair.now)?;
    let incoming = scene.incoming().ok_or(Reason::OffTheTable)?;
    let kg_per_m = area_m2 * incoming.density.0;
    let kg = (now_m3 - start_m3) * incoming.density.0;
    let mut budget = Budget::ZERO;
    budget.add(Source::Density, kg * incoming.u);
    budget.add(Source::LevelReading, kg_per_m * pair.difference_u());
    let beyond = if incoming.beyond { Validity::Doubtful(Reason::OffTheTable) } else { Validity::Good };
    let (validity, errors) = (pair.validity.and(beyond).and(scene.incoming_validity()), pair.errors(kg_per_m));
    Ok(Rise { pair, kg, kg_per_unit: kg_per_m, validity, budget, errors })
}

fn by_pressure<'a>(scene: &Scene, tank: &TankSetup, pair: Pair<'a>) -> Result<Rise<'a>, Reason> {
    let setup = &scene.delivery.setup;
    let (density, density_u) = gauge::density(scene.settings, scene.readings, setup).ok_or(Reason::OffTheTable)?;
    let vapour = scene.pair(SignalKind::TankPressure, Some(setup.tank)).ok();
    let (vapour_start, vapour_now) = vapour.as_ref().map_or((0.0, 0.0), |v| (v.start.value, v.now));
    let level = |pa: f64| pa / (density * GRAVITY);
    let (start_m, now_m) = (level(pair.start.value - vapour_start), level(pair.now - vapour_now));
    let (start_m3, now_m3, area_m2) = volumes(tank, start_m, now_m)?;
    let start_m2 = geometry::area(&tank.geometry, Metre(start_m)).ok_or(Reason::OffTheTable)?;
    let kg_per_pa = area_m2 / GRAVITY;
    let kg = (now_m3 - start_m3) * density;
    let mut budget = Budget::ZERO;
    // d(rho [V(h1) - V(h0)]) with h = dp/(rho g): nothing where the free surface is the same.
    let feels = kg - density * (area_m2 * now_m - start_m2 * start_m);
    budget.add(Source::Density, feels * density_u);
    let vapour_white = vapour.as_ref().map_or(0.0, Pair::white);
    let vapour_u = vapour.as_ref().map_or(0.0, Pair::difference_u);
    let reading_u = (pair.difference_u() * pair.difference_u() + vapour_u * vapour_u).sqrt();
    budget.add(Source::LevelReading, kg_per_pa * reading_u);
    let mut errors = pair.errors(kg_per_pa);
    let white = kg_per_pa * vapour_white;
    errors.white_kg = (errors.white_kg * errors.white_kg + white * white).sqrt();
    let corrected = vapour.map_or(Validity::Doubtful(Reason::MissingCorrection), |vapour| vapour.validity);
    if corrected == Validity::Doubtful(Reason::MissingCorrection) {
        budget.add(Source::TankVapour, kg_per_pa * VAPOUR_U_PA);
    }
    let validity = pair.validity.and(corrected);
    Ok(Rise { pair, kg, kg_per_unit: kg_per_pa, validity, budget, errors })
}

/// Mass drawn off since the start, its standard uncertainty, and what that leaves of the witness.
fn draw_off(scene: &Scene, declared: DrawOff) -> (f64, f64, Validity) {
    match declared {
        DrawOff::DeclaredZero => (0.0, 0.0, Validity::Good),
        DrawOff::Unknown => (0.0, 0.0, Validity::Doubtful(Reason::MissingCorrection)),
        DrawOff::Measured => {
            let signal = Readings::find(scene.settings, SignalKind::DrawOff, None);
            let gain = signal.and_then(|s| scene.settings.signals.get(usize::from(s))).map_or(0.0, |s| s.gain);
            let integral = scene.delivery.draw_off_integral;
            let read = signal.map(|s| scene.readings.validity(s)).filter(|v| v.is_credible());
            let missing = Validity::Doubtful(Reason::MissingCorrection);
            let validity = read.filter(|_| scene.delivery.sums_are_whole).unwrap_or(missing);
            (integral.total, integral.total * gain + integral.gap_total / (2.0 * 3.0_f64.sqrt()), validity)
        }
    }
}
