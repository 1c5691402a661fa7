//! Gas that follows the last liquid: how much the stored pad can push through the line, against what the tank's vent passes
//! and the tank may bear; how often and how long the hose was blown clear.
//!
//! What a resistance lets through is the same for liquid and gas as long as it is turbulent: K velocity heads. Isothermal
//! flow with friction and expansion from rest at p1 to p2 (Crane TP-410, eq. 1-6):
//!
//!   w2 (K + 2 ln(p1/p2)) = A2 (p1 p1 - p2 p2) / (R T)
//!
//! and where the flow would be choked the largest w on the way to p2. K is that of this transfer's own fit where there is
//! one, otherwise the site file's. The bound is the full bore at the speed of sound, without any loss.

use super::delivery::Delivery;
use super::frame::{Condition, Phase};
use super::hydraulics::Line;
use super::reading::Readings;
use super::settings::{Drive, Settings, SignalKind};
use super::witness::{density, geometry};
use crate::time::EngineTime;
use crate::units::{Celsius, GaugePa, KgPerS, Metre};

/// sqrt(k) (2/(k+1))^((k+1)/(2 (k-1))) at k = 1.4, nitrogen and dry air near room temperature: the perfect gas's
/// critical-flow function (ISO 9300), 1.
const CHOKED: f64 = 0.684_731;
/// Fewest velocity heads that are reckoned with; the full bore bounds the flow where a line has less.
const LEAST_LOSS: f64 = 0.01;
/// Newton's steps to the pressure of the greatest flow: from 0.01 velocity heads on they are within 1e-11 of it.
const NEWTON: u32 = 6;
/// Steps, s, and longest time for which a tank's pressure is followed.
const STEP_S: f64 = 0.25;
/// See above.
const STEPS: u32 = 2_400;

/// What the site has said of a bay's line and vents for the gas behind the liquid.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BlowSetup {
    /// Inner diameter of the line.
    pub bore: Option<Metre>,
    /// Velocity heads that it costs, without its exit, 1.
    pub loss: Option<f64>,
    /// For each tank, in the order of the settings.
    pub vents: Vec<VentSetup>,
}

/// A tank's vent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct VentSetup {
    /// Most gas that it passes at the tank's limit.
    pub passes: Option<KgPerS>,
    /// The tank's own limit.
    pub limit: Option<GaugePa>,
}

/// One time that the hose was blown clear.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Blow {
    /// When it began, by a person's entry.
    pub began: EngineTime,
    /// When it was over; None: it runs.
    pub ended: Option<EngineTime>,
}

/// What the gas will do, and what it has done. None: not known, or not in the site file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BlowState {
    /// Gas through the line's own resistance, kg/s.
    pub gas_kg_per_s: Option<f64>,
    /// Gas through the full bore: it cannot be more, kg/s.
    pub most_kg_per_s: Option<f64>,
    /// What the tank's vent passes at the tank's limit, kg/s.
    pub vent_kg_per_s: Option<f64>,
    /// The tank's pressure once it stands still, by the gas above, Pa gauge; the vent passes as the root of the pressure.
    pub tank_pa_gauge: Option<f64>,
    /// The tank's own limit, Pa gauge.
    pub limit_pa_gauge: Option<f64>,
    /// Time to that limit, s; None where it is not reached within ten minutes.
    pub to_limit_s: Option<f64>,
    /// Each time that the hose was blown clear.
    pub blows: Vec<Blow>,
}

/// A gas behind a resistance.
#[derive(Debug, Clone, Copy)]
pub struct Gas {
    /// Specific gas constant times temperature, J/kg.
    pub rt_j_per_kg: f64,
}

impl Gas {
    /// Flow through `loss` velocity heads (exit included) of a line, from rest at `from` to `to`, Pa, kg/s. It is greatest where
    /// (from/p)^2 - 1 - ln (from/p)^2 = loss: no lower pressure draws more.
    #[must_use]
    pub fn through(&self, from: f64, to: f64, area_m2: f64, loss: f64) -> f64 {
        if from <= to {
            return 0.0;
        }
        let loss = loss.max(LEAST_LOSS);
        let plain = from / to * (from / to);
        let squared = if needed_loss(plain) <= loss { plain } else { choking(loss) };
        let heads = loss + libm::log(squared);
        let p2 = from * from / squared;
        area_m2 * ((from * from - p2) / (self.rt_j_per_kg * heads)).sqrt()
    }

    /// Flow at the speed of sound through a full bore, from rest at `from`, Pa, kg/s.
    #[must_use]
    pub fn full_bore(&self, from: f64, area_m2: f64) -> f64 {
        CHOKED * area_m2 * from / self.rt_j_per_kg.sqrt()
    }

    /// Time in which a flow raises a tank's vapour space to its limit, s, while its vent passes as the root of the pressure.
    #[must_use]
    pub fn to_limit_s(&self, gas: f64, vent: f64, (now, limit): (f64, f64), vapour_m3: f64) -> Option<f64> {
        let mut pressure = now.max(0.0);
        for step in 0..STEPS {
            if pressure >= limit {
                return Some(f64::from(step) * STEP_S);
            }
            let net = gas - vent * (pressure / limit).sqrt();
            pressure = (pressure + self.rt_j_per_kg * net * STEP_S / vapour_m3).max(0.0);
        }
        None
    }
}

/// Velocity heads at which the flow is greatest just where the pressure has fallen by so much; that is (from/p)^2.
fn needed_loss(squared: f64) -> f64 {
    squared - 1.0 - libm::log(squared)
}

/// The other way round, by Newton's method from above: the function bends upwards.
fn choking(loss: f64) -> f64 {
    let begin = 1.0 + loss + libm::log1p(loss);
    (0..NEWTON).fold(begin, |squared, _| squared - (needed_loss(squared) - loss) / (1.0 - 1.0 / squared))
}

fn area_m2(bore: Metre) -> f64 {
    std::f64::consts::PI / 4.0 * bore.0 * bore.0
}

/// Whether a tank's pressure is near its own limit or above, and what it is, Pa gauge. Where nobody has typed the limit in,
/// or nothing measures the pressure, that is not known.
#[must_use]
pub fn tank_pressure(settings: &Settings, readings: &Readings, tank: u16) -> (Condition, Option<f64>) {
    let limit = settings.blow.vents.get(usize::from(tank)).and_then(|vent| vent.limit);
    let signal = Readings::find(settings, SignalKind::TankPressure, Some(tank));
    let value = signal.and_then(|s| readings.credible(s).or(readings.at_least(s)));
    match limit.zip(value) {
        Some((limit, pa)) if pa >= limit.0 * settings.thresholds.near_ceiling => (Condition::True, value),
        Some(_) => (Condition::False, value),
        None => (Condition::Unknown, value),
    }
}

/// What is looked at.
#[derive(Clone, Copy)]
pub struct Scene<'a> {
    /// The bay.
    pub settings: &'a Settings,
    /// What the signals say.
    pub readings: &'a Readings,
    /// The open delivery.
    pub delivery: &'a Delivery,
    /// What the line has let through so far.
    pub line: &'a Line,
}

impl Scene<'_> {
    /// Only where gas pushes, and while something may still be blown through.
    #[must_use]
    pub fn state(&self) -> Option<BlowState> {
        let (settings, delivery) = (self.settings, self.delivery);
        if settings.drive != Drive::Pad || delivery.phase != Phase::Transfer && delivery.blows.is_empty() {
            return None;
        }
        let tank = delivery.setup.tank;
        let vent = settings.blow.vents.get(usize::from(tank)).copied().unwrap_or_default();
        let (gas_kg_per_s, most_kg_per_s) = self.flows();
        let (passes, limit) = (vent.passes.map(|p| p.0), vent.limit.map(|p| p.0));
        let expected = gas_kg_per_s.or(most_kg_per_s).zip(passes).zip(limit);
        let gas = self.gas();
        Some(BlowState {
            gas_kg_per_s,
            most_kg_per_s,
            vent_kg_per_s: passes,
            tank_pa_gauge: expected.map(|((flow, passes), limit)| limit * (flow / passes) * (flow / passes)),
            limit_pa_gauge: limit,
            to_limit_s: expected.and_then(|((flow, passes), limit)| {
                let now = self.tank_pa().unwrap_or(0.0);
                gas.to_limit_s(flow, passes, (now, limit), self.vapour_m3()?)
            }),
            blows: delivery.blows.clone(),
        })
    }

    fn gas(&self) -> Gas {
        let read = self.readings.credible_kind(self.settings, SignalKind::PadGasTemperature, None);
        let kelvin = read.map_or(self.settings.gas.temperature.kelvin(), |c| Celsius(c).kelvin());
        Gas { rt_j_per_kg: self.settings.gas.constant_j_per_kg_k * kelvin }
    }

    fn tank_pa(&self) -> Option<f64> {
        let tank = Some(self.delivery.setup.tank);
        self.readings.credible_kind(self.settings, SignalKind::TankPressure, tank)
    }

    /// Gas through the line's resistance, and through the full bore, kg/s.
    fn flows(&self) -> (Option<f64>, Option<f64>) {
        let Some(pad) = self.readings.credible_kind(self.settings, SignalKind::PadPressure, None) else {
            return (None, None);
        };
        let Some(bore) = self.settings.blow.bore else { return (None, None) };
        let (gas, area) = (self.gas(), area_m2(bore));
        let from = GaugePa(pad).absolute().0;
        let to = GaugePa(self.tank_pa().unwrap_or(0.0)).absolute().0;
        let setup = &self.delivery.setup.product;
        let density = density::density(setup, setup.load_temperature).map(|d| d.0);
        // A liquid's pressure loss C w w is K w w / (2 rho A A).
        let fitted = self.line.turbulent().zip(density).map(|(c, rho)| 2.0 * area * area * rho * c);
        let loss = fitted.or(self.settings.blow.loss.map(|loss| loss + 1.0));
        let most = gas.full_bore(from, area);
        (loss.map(|loss| gas.through(from, to, area, loss).min(most)), Some(most))
    }

    /// The tank's vapour space up to its critical level, m3: less than there is, so that times come out short.
    fn vapour_m3(&self) -> Option<f64> {
        let tank = self.settings.tanks.get(usize::from(self.delivery.setup.tank))?;
        let volume = |level| geometry::volume(&tank.geometry, level).map(|v| v.0);
        let gauge = super::gauge::of_tank(self.settings, self.delivery.setup.tank).next()?;
        let level = super::gauge::level_m(self.settings, self.readings, &self.delivery.setup, gauge)?;
        let free = volume(tank.critical)? - volume(Metre(level))?;
        (free > 0.0).then_some(free)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, expected: f64, relative: f64) {
        assert!((got / expected - 1.0).abs() < relative, "{got} against {expected}");
    }

    /// Expected: Crane TP-410, example 7-22: air at 19.3 psig and 100 F through 10 ft of 1/2-inch Schedule 80 pipe (0.546 in)
    /// to the atmosphere, 3762 standard ft3/h (at 14.7 psia and 60 F: 0.0764 lb/ft3). Friction 0.0275 x 120/0.546, exit 1.
    #[test]
    fn the_flow_of_a_printed_example() {
        let air = Gas { rt_j_per_kg: 287.05 * 310.93 };
        let (psi, area) = (6894.757, area_m2(Metre(0.546 * 0.0254)));
        let flow = air.through(34.0 * psi, 14.7 * psi, area, 0.0275 * 120.0 / 0.546 + 1.0);
        near(flow * 3600.0 / 0.453_592_37 / 0.0764, 3762.0, 0.02);
        assert_eq!(air.through(1e5, 1e5, area, 7.0), 0.0);
    }

    /// Expected: the largest flow of the equation over ten thousand pressures on the way down.
    #[test]
    fn the_flow_is_the_largest_on_the_way() {
        let gas = Gas { rt_j_per_kg: 296.803 * 293.15 };
        let (from, area) = (4e5, 2e-3);
        for loss in [0.01_f64, 0.5, 1.0, 3.0, 12.0, 200.0] {
            for to in [1e3, 1e5, 2e5, 3.9e5] {
                let at =
                    |p: f64| area * ((from * from - p * p) / (gas.rt_j_per_kg * (loss + 2.0 * (from / p).ln()))).sqrt();
                let pressures = (0..10_000).map(|i| to + f64::from(i) * (from - to) / 10_000.0);
                let largest = pressures.map(at).fold(0.0, f64::max);
                near(gas.through(from, to, area, loss), largest, 1e-6);
            }
        }
    }

    /// Expected: nitrogen at 20 C, 25 psi gauge, 52.5 mm, as ideal gas with k = 1.4 in closed form: 635.4 kg/(s m2), 1.375 kg/s.
    /// No resistance passes more, and a longer line less.
    #[test]
    fn the_full_bore_bounds_it() {
        let gas = Gas { rt_j_per_kg: 296.803 * 293.15 };
        let from = 25.0 * 6894.757 + 101_325.0;
        near(gas.full_bore(from, 1.0), 635.4, 1e-4);
        let area = area_m2(Metre(0.0525));
        near(gas.full_bore(from, area), 1.375, 1e-3);
        let mut before = gas.full_bore(from, area);
        for loss in [2.0, 10.0, 31.0, 100.0] {
            let flow = gas.through(from, 101_325.0, area, loss);
            assert!(flow < before && flow > 0.0, "{loss}: {flow}");
            before = flow;
        }
    }

    /// Expected: a shut vent: t = V dp/(R T w). A vent that passes what comes never lets the tank get there.
    #[test]
    fn a_tank_comes_to_its_limit_or_never() {
        let gas = Gas { rt_j_per_kg: 296.803 * 293.15 };
        let shut = gas.to_limit_s(0.3, 0.0, (0.0, 7e3), 20.0).expect("it gets there");
        let straight = 20.0 * 7e3 / (gas.rt_j_per_kg * 0.3);
        assert!((shut - straight).abs() <= STEP_S, "{shut} against {straight}");
        assert_eq!(gas.to_limit_s(0.3, 0.31, (0.0, 7e3), 20.0), None);
        assert!(gas.to_limit_s(0.3, 0.2, (0.0, 7e3), 20.0).expect("it gets there") > shut);
    }
}
