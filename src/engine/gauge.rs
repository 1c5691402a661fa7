//! A tank's level gauges, each brought to a level above the tank's datum.
//!
//! A hydrostatic one weighs the liquid above it: h = (p - p_vapour) / (rho g), with the density of what is in the tank.

use super::delivery::Delivery;
use super::frame::Estimate;
use super::reading::Readings;
use super::settings::{DeliverySetup, Product, Settings, SignalKind};
use super::witness::density;
use crate::units::Celsius;

/// Standard gravity, m/s2 (exact by convention, ISO 80000-3). The place's own is within 0.3 %, which a transmitter set up
/// where it stands has in its span.
pub const GRAVITY: f64 = 9.806_65;

/// What a vented tank's vapour space may change by while gas and liquid come in and nobody measures it, Pa (assumption: the
/// vents of such tanks open at a few kPa).
pub const VAPOUR_U_PA: f64 = 1_000.0;

/// Gauges of a tank, those that show a level before those that show a pressure.
pub fn of_tank(settings: &Settings, tank: u16) -> impl Iterator<Item = u16> {
    let of = move |kind| {
        let signals = (0u16..).zip(&settings.signals);
        signals.filter(move |(_, s)| s.kind == kind && s.tank == Some(tank)).map(|(i, _)| i)
    };
    of(SignalKind::Level).chain(of(SignalKind::LevelPressure))
}

/// Whether a kind shows how full a tank is.
#[must_use]
pub fn is_gauge(kind: SignalKind) -> bool {
    matches!(kind, SignalKind::Level | SignalKind::LevelPressure)
}

/// Temperature of what stands in the tank: by its thermometer, else as the papers of the load say.
#[must_use]
pub fn temperature(settings: &Settings, readings: &Readings, delivery: &DeliverySetup) -> Celsius {
    let measured = readings.credible_kind(settings, SignalKind::TankTemperature, Some(delivery.tank));
    measured.map_or(delivery.product.load_temperature, Celsius)
}

/// Density of what stands in the tank, kg/m3, and its relative standard uncertainty; `None` far off its table.
#[must_use]
pub fn density(settings: &Settings, readings: &Readings, delivery: &DeliverySetup) -> Option<(f64, f64)> {
    let product: &Product = &delivery.product;
    density::actual(product, temperature(settings, readings, delivery)).map(|actual| (actual.density.0, actual.u))
}

/// The level that a gauge says now, m, where it can be used.
#[must_use]
pub fn level_m(settings: &Settings, readings: &Readings, delivery: &DeliverySetup, signal: u16) -> Option<f64> {
    to_level_m(settings, readings, delivery, signal, readings.credible(signal)?)
}

/// The level that a gauge's value stands for, m.
#[must_use]
pub fn to_level_m(
    settings: &Settings,
    readings: &Readings,
    delivery: &DeliverySetup,
    signal: u16,
    value: f64,
) -> Option<f64> {
    let setup = settings.signals.get(usize::from(signal))?;
    match setup.kind {
        SignalKind::Level => Some(value),
        SignalKind::LevelPressure => {
            let vapour_pa = readings.credible_kind(settings, SignalKind::TankPressure, setup.tank).unwrap_or(0.0);
            let (density, _) = density(settings, readings, delivery)?;
            Some((value - vapour_pa) / (density * GRAVITY))
        }
        _ => None,
    }
}

/// What a gauge's level may be off by as it was installed, m: the tank's own figure, and of a hydrostatic one its zero, its
/// span and the density (standard uncertainty).
#[must_use]
pub fn u_m(
    settings: &Settings,
    readings: &Readings,
    delivery: &DeliverySetup,
    (signal, level_m): (u16, f64),
) -> Option<f64> {
    let setup = settings.signals.get(usize::from(signal))?;
    let installed = settings.tanks.get(usize::from(delivery.tank))?.opening_u.0;
    if setup.kind == SignalKind::Level {
        return Some(installed);
    }
    let (density, density_u) = density(settings, readings, delivery)?;
    let (zero, span) = (setup.zero / (density * GRAVITY), level_m * setup.gain);
    let by_density = level_m * density_u;
    Some((installed * installed + zero * zero + span * span + by_density * by_density).sqrt())
}

/// Two gauges that are values of one instrument err together.
#[must_use]
pub fn apart(settings: &Settings, a: u16, b: u16) -> bool {
    let transmitter = |s: u16| settings.signals.get(usize::from(s)).and_then(|s| s.transmitter.as_deref());
    a != b && (transmitter(a).is_none() || transmitter(a) != transmitter(b))
}

/// How far the level has risen since the start by one gauge, m, with what it may be off but for its own zero.
#[must_use]
pub fn rise(settings: &Settings, readings: &Readings, delivery: &Delivery, signal: u16) -> Option<Estimate> {
    let setup = settings.signals.get(usize::from(signal))?;
    let start = delivery.start(signal)?;
    let vapour_start = Readings::find(settings, SignalKind::TankPressure, setup.tank)
        .and_then(|vapour| Some((delivery.start(vapour)?.value, readings.credible(vapour)?)));
    let level = |value| to_level_m(settings, readings, &delivery.setup, signal, value);
    let now_m = level_m(settings, readings, &delivery.setup, signal)?;
    // The start reading was taken under the vapour's pressure of then.
    let start_value = vapour_start.filter(|_| setup.kind == SignalKind::LevelPressure);
    let start_m = level(start.value + start_value.map_or(0.0, |(then, now)| now - then))?;
    let value = now_m - start_m;
    let m_per_unit = (level(start.value + 1.0)? - level(start.value)?).abs();
    let slow = 2.0 * setup.slow_noise * setup.slow_noise;
    let reading = 2.0 * (setup.noise * setup.noise + setup.division * setup.division / 12.0) + slow;
    let mut u2 = reading * m_per_unit * m_per_unit + value * setup.gain * value * setup.gain;
    if setup.kind == SignalKind::LevelPressure {
        let (_, density_u) = density(settings, readings, &delivery.setup)?;
        let vapour_m = if vapour_start.is_some() { 0.0 } else { VAPOUR_U_PA * m_per_unit };
        u2 += value * density_u * value * density_u + vapour_m * vapour_m;
    }
    // A gauge that comes late stands lower by what flowed meanwhile: half of it either way.
    let elapsed_s = readings.read_at(signal)?.since_s(delivery.started?).max(1.0);
    let late_m = value / elapsed_s * setup.lag_s;
    Some(Estimate { value: value + late_m, u: (u2 + late_m * late_m / 4.0).sqrt() })
}
