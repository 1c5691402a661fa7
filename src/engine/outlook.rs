//! Gathers what projection and margin look at: what is in the tank, what is still to come.

use super::course;
use super::delivery::Delivery;
use super::frame::{Estimate, Finish, Margin, Pessimist, Phase, Tank};
use super::gauge;
use super::hydraulics;
use super::input::NeighbourLoad;
use super::margin::{Claim, Claims};
use super::neighbour::{Claimed, Neighbours};
use super::projection::{self, Ahead, Outlook, Rest};
use super::reading::Readings;
use super::settings::{DrawOff, Settings, SignalKind, TankSetup};
use super::watch::{WITNESSES, Watch};
use super::witness::{self, density, geometry};
use crate::planted::{Bug, planted};
use crate::time::EngineTime;
use crate::units::{Celsius, Metre};

/// The outlet draws gas while so much is still on the trailer, kg, and its standard uncertainty (assumption).
const HEEL_KG: (f64, f64) = (20.0, 15.0);

/// What is looked at.
pub struct Scene<'a> {
    pub settings: &'a Settings,
    pub readings: &'a Readings,
    pub delivery: &'a Delivery,
    pub watch: &'a Watch,
    pub neighbours: &'a Neighbours,
    pub at: EngineTime,
}

/// The density that turns the volumes of the tank's table into mass: the smaller of the contents' and the incoming one, so
/// that room is never overstated by the warmer of the two.
fn tank_density(settings: &Settings, readings: &Readings, delivery: &Delivery) -> Option<f64> {
    let product = &delivery.setup.product;
    let line = readings.credible_kind(settings, SignalKind::LineTemperature, None).map(Celsius);
    let tank = readings.credible_kind(settings, SignalKind::TankTemperature, Some(delivery.setup.tank)).map(Celsius);
    let temperatures = [line.unwrap_or(product.load_temperature), tank.unwrap_or(product.load_temperature)];
    let densities = temperatures.into_iter().filter_map(|t| density::actual(product, t)).map(|a| a.density.0);
    let setup = settings.tanks.get(usize::from(delivery.setup.tank))?;
    let shell = geometry::shell_factor(setup.shell, gauge::temperature(settings, readings, &delivery.setup));
    densities.min_by(f64::total_cmp).map(|density| density * shell)
}

/// The tank that is filled, as the frame shows it.
pub fn tank(settings: &Settings, readings: &Readings, delivery: Option<&Delivery>, margin: &Margin) -> Option<Tank> {
    let delivery = delivery?;
    let index = delivery.setup.tank;
    let setup = settings.tanks.get(usize::from(index))?;
    let density = tank_density(settings, readings, delivery)?;
    let at = |level: Metre| geometry::volume(&setup.geometry, level).map(|v| v.0 * density);
    let mut gauges = gauge::of_tank(settings, index);
    let level_m = gauges.find_map(|signal| gauge::level_m(settings, readings, &delivery.setup, signal));
    let contents_kg = match margin {
        Margin::Known { parts, .. } => Some(parts.contents_kg),
        Margin::Unknown => level_m.and_then(|level| at(Metre(level))),
    };
    Some(Tank {
        tank: index,
        level_m,
        contents_kg,
        working_kg: at(setup.working)?,
        high_high_kg: at(setup.high_high)?,
        critical_kg: at(setup.critical)?,
        opening: delivery.opening,
    })
}

/// What makes the rate fall.
pub fn heads(settings: &Settings, readings: &Readings, delivery: &Delivery) -> Option<hydraulics::Heads> {
    let setup = settings.tanks.get(usize::from(delivery.setup.tank))?;
    let tank = Some(delivery.setup.tank);
    let mut gauges = gauge::of_tank(settings, delivery.setup.tank);
    let level = gauges.find_map(|signal| gauge::level_m(settings, readings, &delivery.setup, signal));
    let tank_m2 = geometry::area(&setup.geometry, Metre(level.unwrap_or(setup.working.0)))?;
    let pad_pa = readings.credible_kind(settings, SignalKind::PadPressure, None);
    let tank_pa = readings.credible_kind(settings, SignalKind::TankPressure, tank).unwrap_or(0.0);
    let product = &delivery.setup.product;
    let density_kg_per_m3 = density::density(product, product.load_temperature)?.0;
    let viscosity = density::viscosity(product, product.load_temperature);
    Some(hydraulics::Heads {
        tank_m2,
        trailer_m3: delivery.setup.trailer_volume.0,
        loaded_m3: delivery.loaded_kg / density_kg_per_m3,
        density_kg_per_m3,
        level_m: level,
        outlet_m: settings.line.outlet_height.map(|height| height.0),
        driving_pa: pad_pa.map(|pad| pad - tank_pa),
        viscous: settings.line.bore.zip(viscosity).map(|(bore, viscosity)| (bore.0, viscosity.0)),
    })
}

impl Scene<'_> {
    fn setup(&self) -> Option<&TankSetup> {
        self.settings.tanks.get(usize::from(self.delivery.setup.tank))
    }

    /// Contents by a level, with the standard uncertainty of one reading.
    fn contents(&self, setup: &TankSetup, density: f64, level: Estimate) -> Option<Estimate> {
        let volume = geometry::volume(&setup.geometry, Metre(level.value))?;
        let area_m2 = geometry::area(&setup.geometry, Metre(level.value))?;
        Some(Estimate { value: volume.0 * density, u: area_m2 * density * level.u })
    }

    /// The level that a gauge's value stands for, with the noise of so many readings, m.
    fn level(&self, signal: u16, value: f64, readings: f64) -> Option<Estimate> {
        let gauge = self.settings.signals.get(usize::from(signal))?;
        let setup = &self.delivery.setup;
        let level = |value| gauge::to_level_m(self.settings, self.readings, setup, signal, value);
        let u = (gauge.noise * gauge.noise / readings + gauge.division * gauge.division / 12.0).sqrt();
        let at = level(value)?;
        Some(Estimate { value: at, u: (level(value + u)? - at).abs() })
    }

    /// The opening level: the highest of what the gauges said when the transfer started and of a person's dip, m.
    fn opening_level(&self) -> Option<Estimate> {
        let gauges = gauge::of_tank(self.settings, self.delivery.setup.tank);
        let levels = gauges.filter_map(|signal| {
            let start = self.delivery.start(signal)?;
            self.level(signal, start.value, f64::from(start.count))
        });
        let read = levels.max_by(|a, b| a.value.total_cmp(&b.value))?;
        Some(self.delivery.dip_m.map_or(read, |dip| Estimate { value: read.value.max(dip), ..read }))
    }

    /// Opening contents, where a gauge was read when the transfer started.
    fn opening(&self, setup: &TankSetup, density: f64) -> Option<Estimate> {
        self.contents(setup, density, self.opening_level()?)
    }

    /// What each witness received: now, or where it was lost and the fastest credible rate since.
    fn received(&self) -> impl Iterator<Item = (usize, Estimate, f64)> {
        let closed = self.delivery.phase == Phase::Closed;
        (0..3).filter_map(move |i| {
            let (since, held) = self.watch.held[i]?;
            let lost = self.watch.accounts[i].credible().is_none();
            if lost && planted(Bug::LostLeavesMargin) {
                return None;
            }
            let mean = self.watch.together.filter(|_| planted(Bug::MarginByTheMean));
            let held = mean.map_or(held, |together| together.received_kg);
            let run_kg = if lost && !closed { self.watch.fastest_kg_per_s * self.at.since_s(since) } else { 0.0 };
            Some((i, held, run_kg))
        })
    }

    fn gauge_claims(&self, setup: &TankSetup, density: f64) -> Vec<Claim<Pessimist>> {
        let claim = |signal: u16| {
            let value = self.readings.credible(signal).or(self.readings.at_least(signal))?;
            let kg = self.contents(setup, density, self.level(signal, value, 1.0)?)?;
            Some(Claim { by: Pessimist::Gauge(signal), kg })
        };
        let gauges = gauge::of_tank(self.settings, self.delivery.setup.tank).filter_map(claim);
        // A dip is of the tank as it stood before the load came in.
        let dip = self.delivery.dip_m.filter(|_| self.delivery.phase == Phase::Opened).and_then(|dip| {
            let u = setup.hand_dip_u.map_or(0.0, |u| u.0);
            let kg = self.contents(setup, density, Estimate { value: dip, u })?;
            Some(Claim { by: Pessimist::HandDip, kg })
        });
        gauges.chain(dip).collect()
    }

    /// The room that is left when all is in.
    pub fn margin(&self) -> Margin {
        let claims = self.claims();
        claims.map_or(Margin::Unknown, |claims| claims.margin())
    }

    fn claims(&self) -> Option<Claims> {
        let setup = self.setup()?;
        let density = tank_density(self.settings, self.readings, self.delivery)?;
        let at_high_high_kg = geometry::volume(&setup.geometry, setup.high_high)?.0 * density;
        // A gauge that is off by a length is off by the most where the tank is wide.
        let opened_m2 = self.opening_level().and_then(|level| geometry::area(&setup.geometry, Metre(level.value)));
        let opening_m2 = geometry::area(&setup.geometry, setup.high_high)?.max(opened_m2.unwrap_or(0.0));
        let transfer = self.delivery.phase == Phase::Transfer;
        // With no witness left nobody knows what is still to come.
        if transfer && self.watch.credible() == 0 {
            return None;
        }
        let mut contents = self.gauge_claims(setup, density);
        let mut rest = Vec::with_capacity(WITNESSES.len());
        let opening = self.opening(setup, density);
        // One that has not been heard may bring anything.
        let neighbour = self.neighbours.claimed(self.delivery.setup.tank, self.at, density)?;
        let neighbour_in_kg = neighbour.most_kg.value + neighbour.moved_kg;
        let drawn_kg = if setup.draw_off == DrawOff::Measured { self.delivery.draw_off_integral.total } else { 0.0 };
        for (i, held, run_kg) in self.received() {
            if let Some(opening) = opening {
                let value = opening.value + held.value + run_kg + neighbour_in_kg - drawn_kg;
                contents.push(Claim { by: Pessimist::Witness(WITNESSES[i]), kg: Estimate { value, u: held.u } });
            }
            if transfer {
                let value = (self.delivery.loaded_kg - held.value).max(0.0);
                rest.push(Claim { by: Some(WITNESSES[i]), kg: Estimate { value, u: held.u } });
            }
        }
        if !transfer {
            let value = if self.delivery.phase == Phase::Closed { 0.0 } else { self.delivery.loaded_kg };
            rest.push(Claim { by: None, kg: Estimate { value, u: 0.0 } });
        }
        let line = &self.settings.line;
        let open = self.delivery.phase != Phase::Closed;
        let while_open = |kg: f64| if open { kg } else { 0.0 };
        Some(Claims {
            at_high_high_kg,
            contents,
            rest,
            loaded_u_kg: while_open(self.delivery.loaded_u_kg()),
            opening_u_kg: opening.map_or(0.0, |o| o.u),
            run_on_kg: while_open(self.watch.fastest_kg_per_s * line.valve_closes_s),
            line_kg: while_open((line.upstream.0 + line.downstream.0) * density),
            blow_clear_kg: while_open(line.blow_clear.0),
            opening_kg: self.settings.thresholds.margin_z * opening_m2 * density * self.delivery.opening.doubt_m,
            z: self.settings.thresholds.margin_z,
            switch_tripped: self.switch_tripped(),
            neighbour_rest: neighbour.rest_kg,
            neighbour_u_kg: neighbour.most_kg.u,
            neighbour_moved_kg: neighbour.moved_kg,
        })
    }

    /// What bays that fill the same tank must know: the worst of it as for our own margin.
    pub fn load(&self) -> NeighbourLoad {
        let delivery = self.delivery;
        let open = delivery.phase != Phase::Closed;
        let z = self.settings.thresholds.margin_z;
        let most = self.received().map(|(_, held, run_kg)| Estimate { value: held.value + run_kg, u: held.u });
        let most = most.max_by(|a, b| (a.value + z * a.u).total_cmp(&(b.value + z * b.u)));
        let least = self.received().map(|(_, held, _)| held);
        let least = least.min_by(|a, b| (a.value - z * a.u).total_cmp(&(b.value - z * b.u))).unwrap_or_default();
        let scene = self.witness_scene();
        let density = scene.incoming().map(|i| i.density.0);
        let line = &self.settings.line;
        let line_kg = (line.upstream.0 + line.downstream.0) * density.unwrap_or(0.0);
        let run_on_kg = self.watch.fastest_kg_per_s * line.valve_closes_s;
        let rest_kg = Estimate {
            value: (delivery.loaded_kg - least.value).max(0.0) + run_on_kg + line_kg + line.blow_clear.0,
            u: (least.u * least.u + delivery.loaded_u_kg() * delivery.loaded_u_kg()).sqrt(),
        };
        let by_its_own = self.watch.by_flow_and_scale(&self.settings.thresholds);
        NeighbourLoad {
            delivery: delivery.setup.id.clone(),
            leg: delivery.leg,
            phase: delivery.phase,
            received_kg: by_its_own.map(|own| own.received_kg),
            white_kg: by_its_own.map_or(0.0, |own| own.white_kg),
            at_odds: by_its_own.is_some_and(|own| own.at_odds),
            rate_kg_per_s: projection::moving(self.watch.rate).filter(|_| open).map_or(0.0, |rate| rate.value),
            fastest_kg_per_s: if open { self.watch.fastest_kg_per_s } else { 0.0 },
            most_kg: most.unwrap_or_default(),
            least_kg: least,
            rest_kg: if open { rest_kg } else { Estimate::default() },
            density_kg_per_m3: density,
        }
    }

    fn witness_scene(&self) -> witness::Scene<'_> {
        witness::Scene {
            settings: self.settings,
            readings: self.readings,
            delivery: self.delivery,
            at: self.at,
            rate_kg_per_s: 0.0,
            neighbours: self.neighbours,
            gauge: None,
        }
    }

    fn switch_tripped(&self) -> bool {
        let tank = Some(self.delivery.setup.tank);
        self.readings.credible_kind(self.settings, SignalKind::HighLevelSwitch, tank).is_some_and(|v| v != 0.0)
    }

    /// When the planned amount, first gas and high-high come.
    pub fn finish(&self, margin: &Margin) -> Finish {
        if self.delivery.phase != Phase::Transfer {
            return Finish::default();
        }
        let planned = self.outlook(self.delivery.setup.planned.0, 0.0);
        // The line is still full when gas reaches the trailer's outlet.
        let temperature = self.delivery.setup.product.load_temperature;
        let density = density::density(&self.delivery.setup.product, temperature);
        let scene = self.witness_scene();
        let fill_kg = density.map_or(0.0, |d| scene.line_fill_kg(d).0 + scene.line_fill_kg(d).1);
        let loaded_u_kg = self.delivery.loaded_u_kg();
        let first_gas_u_kg = (loaded_u_kg * loaded_u_kg + HEEL_KG.1 * HEEL_KG.1).sqrt();
        let first_gas = self.outlook(self.delivery.loaded_kg - fill_kg - HEEL_KG.0, first_gas_u_kg);
        let level = self.level_outlook(margin).unwrap_or_default();
        let (Some(rate), Some(together)) = (projection::moving(self.watch.rate), self.watch.together) else {
            return Finish::default();
        };
        let Some(heads) = heads(self.settings, self.readings, self.delivery) else { return Finish::default() };
        let mass_kg = together.received_kg.value;
        let each = [&planned, &first_gas, &level];
        let ahead = match self.watch.line.ahead() {
            Some(path) => Ahead::Line { path, now: (self.at, mass_kg) },
            None => Ahead::Trend(self.watch.course.ahead(self.settings, mass_kg, rate, self.trend_heads(&heads))),
        };
        if ahead.rate() <= 0.0 {
            return Finish::default();
        }
        projection::finish(self.at, &ahead, each, self.settings.limits.response_time_s)
    }

    fn trend_heads(&self, heads: &hydraulics::Heads) -> course::Heads {
        let pad_pa = self.readings.credible_kind(self.settings, SignalKind::PadPressure, None);
        let (tank_m2, trailer_m3) = (heads.tank_m2, heads.trailer_m3);
        course::Heads { tank_m2, trailer_m3, driving_pa: heads.driving_pa, pad_pa }
    }

    /// What still has to be received until `target_kg` is.
    fn outlook(&self, target_kg: f64, target_u_kg: f64) -> Outlook {
        let rest = |received: Estimate| Estimate {
            value: target_kg - received.value,
            u: (received.u * received.u + target_u_kg * target_u_kg).sqrt(),
        };
        let credible = (0..3).filter_map(|i| self.watch.accounts[i].credible().map(|e| (i, e)));
        Outlook {
            together: self.watch.together.map(|t| rest(t.received_kg)),
            each: credible.map(|(i, e)| Rest { by: WITNESSES[i], kg: rest(e) }).collect(),
        }
    }

    /// What still fits below high-high; nothing while the load does not reach it.
    fn level_outlook(&self, margin: &Margin) -> Option<Outlook> {
        if !matches!(margin, Margin::Known { kg, .. } if *kg < 0.0) {
            return None;
        }
        let setup = self.setup()?;
        let density = tank_density(self.settings, self.readings, self.delivery)?;
        let at_high_high_kg = geometry::volume(&setup.geometry, setup.high_high)?.0 * density;
        let opening = self.opening(setup, density)?;
        let neighbour = self.neighbours.claimed(self.delivery.setup.tank, self.at, density)?;
        let others_kg = neighbour.most_kg.value + neighbour.moved_kg;
        let mut outlook = self.outlook(at_high_high_kg - opening.value - others_kg, opening.u + neighbour.most_kg.u);
        if let Some(rate) = projection::moving(self.watch.rate).filter(|_| neighbour.rest_kg.value > 0.0) {
            outlook.together = outlook.together.map(|room| ours_of(room, rate.value, &neighbour));
            for each in &mut outlook.each {
                each.kg = ours_of(each.kg, rate.value, &neighbour);
            }
        }
        Some(outlook)
    }
}

/// What we move until the room is gone, when others fill it too: they take their part of it at their fastest, but no
/// more than the rest of their loads.
fn ours_of(room: Estimate, rate: f64, neighbour: &Claimed) -> Estimate {
    let by_rate = room.value * rate / (rate + neighbour.fastest_kg_per_s);
    Estimate { value: by_rate.max(room.value - (neighbour.rest_kg.value - neighbour.moved_kg)), u: room.u }
}
