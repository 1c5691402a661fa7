//! Received by the truck scale: a closed trailer, whose pad gas stays on the scale.
//!
//! Weight W of a closed trailer = steel + liquid + gas - buoyancy of its *outer* volume, which does not change.
//! So a change of reading is a change of mass, but for the reference weights' own buoyancy (conventional mass
//! at 8000 kg/m3 in air of 1.2 kg/m3, OIML D 28:2004), and the liquid's own buoyancy factor does not apply:
//!
//!   m_out = (W0 - W1)(1 - 1.2/8000) + g1 - g0,   g = p_abs V_gas / (R T),   V_gas1 = V_gas0 + m_out / rho.
//!
//! The last equation makes it linear in m_out; it is solved, not iterated.

use super::{Account, Budget, Scene};
use crate::engine::frame::{Reason, Source, Validity};
use crate::engine::reading::Readings;
use crate::engine::settings::{Drive, PadTap, RestsOnScale, Settings, SignalKind};
use crate::engine::slip;
use crate::planted::{Bug, planted};
use crate::units::{AbsPa, Celsius, GaugePa, KgPerM3};

/// From a change of reading to a change of mass: 1 - 1.2/8000 (OIML D 28:2004).
const CONVENTIONAL: f64 = 1.0 - 1.2 / 8000.0;

/// A reading of the scale so far below what must still stand there is no trailer with its rest, kg.
pub const GONE_KG: f64 = 3_000.0;

/// Standard uncertainty of a pad pressure that is not measured on the trailer, Pa: half of a usual pad of
/// about 100 kPa (common practice).
const UNKNOWN_PAD_U_PA: f64 = 50_000.0;

/// Standard uncertainty of a pad pressure measured on the supply side, Pa (pressure lost in the gas hose).
const SUPPLY_TAP_U_PA: f64 = 10_000.0;

/// Density of an ideal gas. Source: p = rho R T; for nitrogen within 0.1 % of the reference equation of state (Span et
/// al. 2000) at 20 C up to 3.5 bar, and within 0.3 % from -20 to 60 C and 1 to 4 bar.
#[must_use]
pub fn gas_density(pressure: AbsPa, temperature: Celsius, constant_j_per_kg_k: f64) -> KgPerM3 {
    KgPerM3(pressure.0 / (constant_j_per_kg_k * temperature.kelvin()))
}

/// The pad as far as the gas's mass needs it.
struct PadGas {
    /// Density at the start and now, kg/m3.
    start: f64,
    now: f64,
    /// Standard uncertainty of the change of pressure, Pa.
    pressure_u_pa: f64,
    /// Relative standard uncertainty of the temperature.
    temperature_u: f64,
    validity: Validity,
}

fn pad_gas(scene: &Scene) -> PadGas {
    let gas = &scene.settings.gas;
    let thermometer = Readings::find(scene.settings, SignalKind::PadGasTemperature, None);
    let measured_t = thermometer.and_then(|signal| scene.readings.credible(signal));
    let temperature = measured_t.map_or(gas.temperature, Celsius);
    // A thermometer in the gas is taken at 2 K (its place in a stratified gas, not its class).
    let temperature_u_k = if measured_t.is_some() { 2.0 } else { gas.temperature_u_k };
    let pair = scene.pair(SignalKind::PadPressure, None);
    let density = |pa_gauge: f64| gas_density(GaugePa(pa_gauge).absolute(), temperature, gas.constant_j_per_kg_k).0;
    let temperature_u = temperature_u_k / temperature.kelvin();
    let thermometer = thermometer.map_or(Validity::Good, |signal| scene.readings.validity(signal));
    let thermometer = if measured_t.is_some() { thermometer } else { Validity::Good };
    match pair {
        Ok(pair) => {
            let tap_u = if scene.settings.pad_tap == PadTap::Supply { SUPPLY_TAP_U_PA } else { 0.0 };
            let reading_u = pair.difference_u();
            PadGas {
                start: density(pair.start.value),
                now: density(pair.now),
                pressure_u_pa: (reading_u * reading_u + pair.setup.zero * pair.setup.zero + tap_u * tap_u).sqrt(),
                temperature_u,
                validity: match scene.settings.pad_tap {
                    PadTap::Trailer => pair.validity.and(thermometer),
                    PadTap::Supply => Validity::Doubtful(Reason::MissingCorrection),
                },
            }
        }
        Err(_) => {
            let last = density(scene.delivery.last_pad_pa_gauge.unwrap_or(0.0));
            let by_gas = scene.settings.drive == Drive::Pad || scene.settings.pad_tap == PadTap::Supply;
            let validity = if by_gas { Validity::Doubtful(Reason::MissingCorrection) } else { Validity::Good };
            PadGas { start: last, now: last, pressure_u_pa: UNKNOWN_PAD_U_PA, temperature_u, validity }
        }
    }
}

/// Whether the scale carries less than the trailer must weigh with nothing on it, by `GONE_KG` less what an alarm that is open
/// asks for; or nothing at all, where nothing stood there at the start either.
#[must_use]
pub fn is_gone(settings: &Settings, start_kg: f64, loaded_kg: f64, now_kg: f64, back_kg: f64) -> bool {
    let empty = |kg: f64| slip::carries_whole(settings.rests_on_scale) && kg < slip::TRAILER_LEAST_KG;
    now_kg < start_kg - loaded_kg - GONE_KG + back_kg || empty(start_kg) && empty(now_kg)
}

/// Mass received in the tank by the truck scale.
#[must_use]
pub fn account(scene: &Scene) -> Account {
    if matches!(scene.settings.rests_on_scale, RestsOnScale::Part | RestsOnScale::None) {
        return Account::lost(Reason::NotFitted);
    }
    let pair = match scene.pair(SignalKind::Scale, None) {
        Ok(pair) => pair,
        Err(reason) => return Account::lost(reason),
    };
    if is_gone(scene.settings, pair.start.value, scene.delivery.loaded_kg, pair.now, 0.0) {
        return Account::lost(Reason::DrivenOff);
    }
    let Some(incoming) = scene.incoming() else { return Account::lost(Reason::OffTheTable) };
    let density = incoming.density;
    let gas = pad_gas(scene);
    let setup = &scene.delivery.setup;
    // Head space at the start: the trailer's volume less the load's.
    let head_m3 = (setup.trailer_volume.0 - scene.delivery.loaded_kg / density.0).max(0.0);
    // The pad has risen by so much since the start, and the hose pushes or lifts in proportion.
    let pad_pa = scene.pair(SignalKind::PadPressure, None).map_or(0.0, |pad| pad.now - pad.start.value);
    let hose = scene.delivery.reaction(scene.settings);
    let pushed_kg = hose.map_or(0.0, |hose| hose.kg_per_pa * pad_pa);
    let lift = (pair.start.value - pair.now + pushed_kg) * CONVENTIONAL;
    let sign = if planted(Bug::PadGasSign) { -1.0 } else { 1.0 };
    let share = 1.0 / (1.0 - sign * gas.now / density.0);
    let out_kg = (lift + sign * head_m3 * (gas.now - gas.start)) * share;
    let gas_gained_kg = out_kg - lift;
    let volume_now_m3 = head_m3 + out_kg / density.0;

    let mut budget = Budget::ZERO;
    budget.add(Source::ScaleReading, pair.difference_u() * share);
    budget.add(Source::ScaleSpan, lift * pair.setup.gain);
    budget.add(Source::ScaleDrift, pair.setup.drift_per_sqrt_h * (scene.elapsed_s() / 3600.0).sqrt());
    budget.add(Source::GasTemperature, -gas_gained_kg * gas.temperature_u);
    let volume_u_m3 = setup.trailer_volume.0 * setup.trailer_volume_u;
    budget.add(Source::GasVolume, (gas.now - gas.start) * volume_u_m3);
    let per_pa = gas_density(AbsPa(1.0), scene.settings.gas.temperature, scene.settings.gas.constant_j_per_kg_k).0;
    budget.add(Source::PadPressure, volume_now_m3 * per_pa * gas.pressure_u_pa);
    budget.add(Source::HoseReaction, hose.map_or(0.0, |hose| hose.u_kg_per_pa * pad_pa));
    let (upstream_kg, downstream_kg) = scene.line_fill_kg(density);
    budget.add(Source::LineUpstream, -upstream_kg * scene.settings.line.volume_u);
    budget.add(Source::LineDownstream, -downstream_kg * scene.settings.line.volume_u);

    let fill_kg = upstream_kg + downstream_kg;
    let received_kg = if out_kg < fill_kg { out_kg.min(0.0) } else { out_kg - fill_kg };
    Account {
        validity: pair.validity.and(gas.validity),
        received_kg: Some(received_kg),
        budget,
        errors: pair.errors(share),
        division_kg: pair.setup.division,
        kg_per_unit: share,
        signal: Some(pair.signal),
    }
}
