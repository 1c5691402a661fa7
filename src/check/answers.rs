//! What a sound site file leads to, for each tank, link, trailer and recording. Pure.

use super::gas::{Gas, area_m2};
use super::load::{self, Load};
use super::recorded::{Recorded, recorded};
use crate::config::{BaySetup, DeliveryFile, Fault, Site};
use crate::engine::settings::{DeliverySetup, Drive, Limits, Plate, TankSetup};
use crate::engine::witness::{density, geometry};
use crate::units::{ATMOSPHERE_PA, AbsPa, Celsius, GaugePa, Metre};
use serde::Serialize;

/// Below this nobody can act in time, s: a minute is what it takes to see it, go and close.
const A_PERSON_S: f64 = 60.0;
/// Bytes of a day at one byte a second.
const DAY_S: f64 = 86_400.0;

/// A result, or why there is none.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer<T> {
    /// It follows from the files.
    Known(T),
    /// The files do not give this.
    NotComputed(String),
}

use Answer::{Known, NotComputed};

/// A value that the answer needs, by the name under which a file gives it.
fn needed<T>(value: Option<T>, name: &str) -> Result<T, String> {
    value.ok_or_else(|| format!("no {name} in the file"))
}

fn answer<T>(result: Result<T, String>) -> Answer<T> {
    match result {
        Ok(known) => Known(known),
        Err(why) => NotComputed(why),
    }
}

/// Everything that follows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answers {
    /// Each bay.
    pub bays: Vec<BayAnswers>,
    /// Each link.
    pub links: Vec<Load>,
    /// Days until the store's disk is full if every bay were in transfer all the time; idle recordings are removed
    /// after their days.
    pub disk_days: Answer<f64>,
}

/// What follows for one bay.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BayAnswers {
    /// Name of the bay.
    pub bay: String,
    /// Each of its tanks.
    pub tanks: Vec<TankAnswers>,
    /// From here on the pad pressure is near its ceiling, and its alarm comes, Pa gauge.
    pub pad_alarm_pa_gauge: Answer<f64>,
    /// The regulator of the gas supply fails wide open.
    pub regulator: Answer<Regulator>,
    /// The liquid ends and gas follows.
    pub breakthrough: Answer<Breakthrough>,
    /// What it puts on record.
    pub recorded: Answer<Recorded>,
}

/// Levels of one tank.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TankAnswers {
    /// Name of the tank.
    pub tank: String,
    /// Temperature at which the masses are reckoned, C.
    pub temperature_c: f64,
    /// Density there, kg/m3.
    pub density_kg_per_m3: f64,
    /// Working, high-high and critical.
    pub levels: Vec<LevelAnswer>,
    /// From an alarm at high-high to no flow: response time and closing of the valve, s.
    pub response_s: f64,
    /// An independent high-level switch is read.
    pub switch_is_read: bool,
    /// Gas that the tank's vent passes, kg/s; `None`: not in the file.
    pub vent_kg_per_s: Option<f64>,
}

/// One level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LevelAnswer {
    /// Its key in the site file.
    pub level: &'static str,
    /// Where it is, m.
    pub at_m: f64,
    /// Contents there, kg; `None`: off the tank's table.
    pub contents_kg: Option<f64>,
    /// More than at the level below it, kg.
    pub more_kg: Option<f64>,
    /// Time for that at the usual rate, s; `None` without a usual rate.
    pub more_s: Option<f64>,
}

/// What a regulator that fails wide open does.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Regulator {
    /// Gas that comes at first, kg/s.
    pub flow_kg_per_s: f64,
    /// From the usual pad pressure to the MAWP with the trailer full, s; `None`: the supply does not reach it.
    pub full_s: Option<f64>,
    /// The same with the trailer empty, s.
    pub empty_s: Option<f64>,
    /// The first is shorter than a person needs.
    pub too_fast: bool,
}

/// Gas behind the last liquid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Breakthrough {
    /// On the trailer when the liquid ends, kg.
    pub stored_kg: f64,
    /// Through the line as it is, kg/s; `None`: its loss is not in the file.
    pub through_line_kg_per_s: Option<f64>,
    /// Through the bore without any loss, kg/s.
    pub full_bore_kg_per_s: f64,
}

/// All answers; `free_bytes`: free on the disk of the store, where that could be read.
#[must_use]
pub fn answers(site: &Site, delivery: Option<&DeliveryFile>, free_bytes: Option<u64>) -> Answers {
    let bays: Vec<BayAnswers> = (0..site.bays.len())
        .map(|index| bay(site, &site.bays[index], delivery.filter(|d| d.bay == index).map(|d| &d.setup)))
        .collect();
    let each = bays.iter().map(|bay| match &bay.recorded {
        Known(recorded) => Some(recorded.transfer_bytes_per_s),
        NotComputed(_) => None,
    });
    #[expect(clippy::cast_precision_loss, reason = "a disk is told to a tenth")]
    let disk_days = match (free_bytes, each.sum::<Option<f64>>()) {
        (Some(free), Some(bytes_per_s)) => Known(free as f64 / (bytes_per_s * DAY_S)),
        (None, _) => NotComputed("the free space of the store's disk cannot be read".to_owned()),
        (_, None) => NotComputed("what a bay puts on record is not known".to_owned()),
    };
    Answers { bays, links: load::loads(site), disk_days }
}

fn bay(site: &Site, bay: &BaySetup, delivery: Option<&DeliverySetup>) -> BayAnswers {
    let settings = &bay.settings;
    let tanks = (0..settings.tanks.len()).filter_map(|tank| tank_answers(site, bay, tank, delivery)).collect();
    let example = delivery.cloned().or_else(|| stand_in(site, bay));
    BayAnswers {
        bay: settings.bay.clone(),
        tanks,
        pad_alarm_pa_gauge: answer(
            ceiling(&settings.limits, delivery.map(|d| &d.plate)).map(|p| p.0 * settings.thresholds.near_ceiling),
        ),
        regulator: answer(regulator(bay, delivery)),
        breakthrough: answer(breakthrough(bay, delivery)),
        recorded: answer(needed(example, "product").map(|delivery| recorded(site, bay, &delivery))),
    }
}

/// A delivery that the bay can take, for the length of its record alone.
fn stand_in(site: &Site, bay: &BaySetup) -> Option<DeliverySetup> {
    let product = site.products.get(*bay.products.first()?)?;
    Some(DeliverySetup {
        id: "check".to_owned(),
        tank: 0,
        product: product.loaded_at(product.density.first()?.0),
        planned: crate::units::Kg(20_000.0),
        ticket_net: crate::units::Kg(20_000.0),
        ticket_u: crate::units::Kg(20.0),
        trailer_volume: crate::units::M3(30.0),
        trailer_volume_u: 0.01,
        plate: Plate { specification: None, mawp: None, relief_from: None, relief_to: None },
    })
}

fn tank_answers(site: &Site, bay: &BaySetup, index: usize, delivery: Option<&DeliverySetup>) -> Option<TankAnswers> {
    use crate::engine::settings::SignalKind;
    let settings = &bay.settings;
    let tank = &settings.tanks[index];
    let product = site.products.get(*bay.products.get(index)?)?;
    // Without papers the coldest the table knows: the heaviest, and so the most mass at each level.
    let papers = delivery.filter(|d| usize::from(d.tank) == index).map(|d| d.product.load_temperature);
    let temperature: Celsius = papers.or(product.density.first().map(|(t, _)| *t))?;
    let density = density::density(&product.loaded_at(temperature), temperature)?;
    let switch_is_read = settings
        .signals
        .iter()
        .any(|s| s.kind == SignalKind::HighLevelSwitch && s.tank.map(usize::from) == Some(index));
    Some(TankAnswers {
        tank: tank.name.clone(),
        temperature_c: temperature.0,
        density_kg_per_m3: density.0,
        levels: levels(tank, density.0, bay.usual.rate.map(|rate| rate.0)),
        response_s: settings.limits.response_time_s + settings.line.valve_closes_s,
        switch_is_read,
        vent_kg_per_s: bay.usual.vents.get(index).copied().flatten().map(|vent| vent.0),
    })
}

fn levels(tank: &TankSetup, density: f64, rate: Option<f64>) -> Vec<LevelAnswer> {
    let contents = |level: Metre| geometry::volume(&tank.geometry, level).map(|volume| volume.0 * density);
    let mut below: Option<f64> = None;
    [("working", tank.working), ("high_high", tank.high_high), ("critical", tank.critical)]
        .map(|(level, at)| {
            let contents_kg = contents(at);
            let more_kg = contents_kg.zip(below).map(|(here, below)| here - below);
            below = contents_kg;
            LevelAnswer {
                level,
                at_m: at.0,
                contents_kg,
                more_kg,
                more_s: more_kg.zip(rate).map(|(more, rate)| more / rate),
            }
        })
        .to_vec()
}

/// The lowest of all that the pad pressure passes; none while one of them is not given.
fn ceiling(limits: &Limits, plate: Option<&Plate>) -> Result<GaugePa, String> {
    let plate = plate.ok_or("no delivery was given: its plate.mawp is part of the ceiling")?;
    let all = [
        (limits.pad_maximum, "pad_maximum"),
        (limits.hose_rating, "hose_rating"),
        (limits.line_rating, "line_rating"),
        (limits.connection_rating, "connection_rating"),
        (plate.mawp, "plate.mawp"),
    ];
    let mut lowest = f64::INFINITY;
    for (limit, name) in all {
        lowest = lowest.min(needed(limit, name)?.0);
    }
    Ok(GaugePa(lowest))
}

fn gas(bay: &BaySetup) -> Gas {
    let gas = &bay.settings.gas;
    Gas { constant_j_per_kg_k: gas.constant_j_per_kg_k, kelvin: gas.temperature.kelvin() }
}

fn regulator(bay: &BaySetup, delivery: Option<&DeliverySetup>) -> Result<Regulator, String> {
    let supply = needed(bay.usual.supply, "bay.supply.pressure")?.absolute();
    let orifice = needed(bay.usual.orifice, "bay.supply.orifice")?;
    let pad = needed(bay.usual.pad, "bay.usual_pad")?.absolute();
    let delivery = delivery.ok_or("no delivery was given: trailer.volume and plate.mawp")?;
    let mawp = needed(delivery.plate.mawp, "plate.mawp")?.absolute();
    let load = density::density(&delivery.product, delivery.product.load_temperature);
    let load_m3 = delivery.ticket_net.0 / needed(load, "density at the load's temperature")?.0;
    let (gas, area) = (gas(bay), area_m2(orifice.0));
    let seconds = |volume_m3: f64| gas.seconds_to_fill(supply, (pad, mawp), volume_m3, area);
    let full_s = seconds((delivery.trailer_volume.0 - load_m3).max(0.0));
    Ok(Regulator {
        flow_kg_per_s: gas.through_opening(supply, pad, area),
        full_s,
        empty_s: seconds(delivery.trailer_volume.0),
        too_fast: full_s.is_some_and(|s| s < A_PERSON_S),
    })
}

fn breakthrough(bay: &BaySetup, delivery: Option<&DeliverySetup>) -> Result<Breakthrough, String> {
    if bay.settings.drive != Drive::Pad {
        return Err("the bay unloads by pump".to_owned());
    }
    let pad = needed(bay.usual.pad, "bay.usual_pad")?.absolute();
    let area = area_m2(needed(bay.usual.bore, "bay.line.bore")?.0);
    let volume = delivery.ok_or("no delivery was given: trailer.volume")?.trailer_volume;
    let (gas, air) = (gas(bay), AbsPa(ATMOSPHERE_PA));
    Ok(Breakthrough {
        stored_kg: gas.stored_kg(pad, volume.0),
        through_line_kg_per_s: bay.usual.loss.map(|loss| gas.through_line(pad, air, area, loss)),
        full_bore_kg_per_s: gas.through_opening(pad, air, area),
    })
}

impl Answers {
    /// What of it calls for somebody's attention; `site`: name of the site file.
    #[must_use]
    pub fn warnings(&self, site: &str) -> Vec<Fault> {
        let mut found = Vec::new();
        let mut warn = |key: &str, what: String, act: &str| found.push(Fault::warning(site, key, what, act));
        for load in self.links.iter().filter(|load| load.share > load::NEAR) {
            let percent = (load.share * 100.0).ceil();
            let what = format!("polling takes {percent} % of the time of link {:?}", load.link);
            let (over, near) = (
                "rounds are left out: give longer periods, more baud or another link",
                "give room for time-outs: longer periods, more baud or another link",
            );
            warn("link", what, if load.share > 1.0 { over } else { near });
        }
        for bay in &self.bays {
            bay.warnings(&mut warn);
        }
        found
    }
}

impl BayAnswers {
    fn warnings(&self, warn: &mut impl FnMut(&str, String, &str)) {
        for tank in &self.tanks {
            let last = tank.levels.last().and_then(|level| level.more_s);
            if let Some(s) = last.filter(|s| *s < tank.response_s) {
                let what = format!(
                    "tank {:?} is at critical {s:.0} s after high_high, and closing takes {:.0} s",
                    tank.tank, tank.response_s
                );
                warn(
                    "tank.high_high",
                    what,
                    "lower high_high, or shorten the response; the independent shut-off has to be faster",
                );
            }
            let peak = match &self.breakthrough {
                Known(gas) => gas.through_line_kg_per_s.unwrap_or(gas.full_bore_kg_per_s),
                NotComputed(_) => continue,
            };
            if let Some(vent) = tank.vent_kg_per_s.filter(|vent| peak > *vent) {
                let what = format!(
                    "gas behind the last liquid is up to {:.0} kg/h, and the vent of tank {:?} passes {:.0} kg/h",
                    peak * 3600.0,
                    tank.tank,
                    vent * 3600.0
                );
                warn(
                    "tank.vent_capacity",
                    what,
                    "lower the pad before the liquid ends, close in time, and have the vent's sizing looked at",
                );
            }
        }
        if let Known(Regulator { full_s: Some(s), too_fast: true, .. }) = &self.regulator {
            let what = format!(
                "a regulator that fails wide open has the full trailer of bay {:?} at its MAWP in {s:.0} s",
                self.bay
            );
            warn(
                "bay.supply",
                what,
                "too fast for a person; only the supply's own relief protects: see that it is there, set below the MAWP, and large enough",
            );
        }
    }
}
