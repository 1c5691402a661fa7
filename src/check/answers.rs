//! What a sound site file leads to, for each tank, link, trailer and recording. Pure.

use super::gas::{Gas, area_m2};
use super::load::{self, Load};
use super::recorded::{Recorded, recorded};
use crate::config::{BaySetup, DeliveryFile, Fault, Site};
use crate::engine::papers::Papers;
use crate::engine::settings::{DeliverySetup, Drive, Limits, Plate, TankSetup};
use crate::engine::witness::{density, geometry};
use crate::units::{ATMOSPHERE_PA, AbsPa, Celsius, GaugePa, Metre};
use serde::Serialize;

/// Below this nobody can act in time, s: a minute is what it takes to see it, go and close.
const A_PERSON_S: f64 = 60.0;
/// A day, s.
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
        leg: 1,
        tank: 0,
        product: product.loaded_at(product.density.first()?.0),
        planned: crate::units::Kg(20_000.0),
        on_board: None,
        ticket_net: crate::units::Kg(20_000.0),
        ticket_u: crate::units::Kg(20.0),
        trailer_volume: crate::units::M3(30.0),
        trailer_volume_u: 0.01,
        plate: Plate { specification: None, mawp: None, relief_from: None, relief_to: None },
        papers: Papers::default(),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{DELIVERY_MANUAL, SITE_MANUAL};
    use std::path::Path;

    /// The shipped files, each with one thing replaced.
    fn read(site: (&str, &str), delivery: (&str, &str)) -> (Site, DeliveryFile) {
        for (text, from) in [(SITE_MANUAL, site.0), (DELIVERY_MANUAL, delivery.0)] {
            assert!(text.contains(from), "{from:?} must stand in the shipped file");
        }
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let beside = |name: &str| std::fs::read_to_string(folder.join(name));
        let text = SITE_MANUAL.replacen(site.0, site.1, 1);
        let site = Site::from_text(Path::new("site.toml"), text, &beside).unwrap_or_else(|f| panic!("{f}"));
        let text = DELIVERY_MANUAL.replacen(delivery.0, delivery.1, 1);
        let delivery =
            DeliveryFile::from_text(Path::new("delivery.toml"), text, &site).unwrap_or_else(|f| panic!("{f}"));
        (site, delivery)
    }

    fn shipped() -> (Site, DeliveryFile) {
        read(("", ""), ("", ""))
    }

    fn known<T>(answer: &Answer<T>) -> &T {
        match answer {
            Known(known) => known,
            NotComputed(why) => panic!("not computed: {why}"),
        }
    }

    /// Expected, by hand: pi/4 x 2.84^2 = 6.33471 m2; at 35 C 1514.5 kg/m3 lies half way between the table's 1518.1 and
    /// 1510.9; 0.3 m are 2,878.2 kg, at 17 t/h = 4.7222 kg/s 609.5 s.
    #[test]
    fn levels_are_told_in_mass_and_minutes() {
        let (site, delivery) = shipped();
        let answers = answers(&site, Some(&delivery), None);
        let tank = &answers.bays[0].tanks[0];
        assert!((tank.density_kg_per_m3 - 1514.5).abs() < 1e-9);
        let [working, high_high, critical] = tank.levels.as_slice() else { panic!("three") };
        assert!((working.contents_kg.expect("inside") - 6.9 * 6.334_708 * 1514.5).abs() < 1.0, "{working:?}");
        assert!((high_high.more_kg.expect("inside") - 2878.2).abs() < 0.1, "{high_high:?}");
        assert!((high_high.more_s.expect("a rate") - 609.5).abs() < 0.1, "{high_high:?}");
        assert!(critical.more_s > high_high.more_s && working.more_s.is_none());
        assert_eq!((tank.response_s, tank.switch_is_read), (70.0, true));
        // 25 psi gauge is the lowest of all, 95 % of it (psi: NIST SP 811, 6894.757 Pa).
        let pad = known(&answers.bays[0].pad_alarm_pa_gauge);
        assert!((pad - 0.95 * 25.0 * 6894.757).abs() < 0.1, "{pad}");
        assert!(matches!(&answers.disk_days, NotComputed(_)));
    }

    /// Expected, by hand: 6 mm pass 154.3 kg/h at 80 psi gauge (`super::super::gas`); from 18 to 30 psi gauge are
    /// 82.74 kPa; 15.5 m3 less 20,060 / 1514.5 = 13.245 m3 leave 2.255 m3 of gas; kappa R T = 121,810 J/kg;
    /// t = 2.255 x 82,740 / (121,810 x 0.04286) = 35.7 s, empty 245.6 s. Stored: 225.4 kPa x 15.5 / 87,008 = 40.2 kg.
    #[test]
    fn gas_is_reckoned_for_the_trailer_that_came() {
        let (site, delivery) = shipped();
        let answers = answers(&site, Some(&delivery), Some(1_000_000_000));
        let regulator = known(&answers.bays[0].regulator);
        assert!((regulator.full_s.expect("it gets there") - 35.7).abs() < 0.2, "{regulator:?}");
        assert!((regulator.empty_s.expect("it gets there") - 245.6).abs() < 1.0 && regulator.too_fast, "{regulator:?}");
        let gas = known(&answers.bays[0].breakthrough);
        assert!((gas.stored_kg - 40.16).abs() < 0.05, "{gas:?}");
        assert!(gas.through_line_kg_per_s.expect("a loss") < gas.full_bore_kg_per_s);
        let bytes_per_s = known(&answers.bays[0].recorded).transfer_bytes_per_s;
        assert!((known(&answers.disk_days) * bytes_per_s * 86_400.0 / 1e9 - 1.0).abs() < 1e-9);
    }

    #[test]
    fn what_the_files_do_not_give_is_said() {
        let (site, delivery) = read(("usual_pad = \"18 psi gauge\"\n", ""), ("mawp = \"30 psi gauge\"\n", ""));
        let without = answers(&site, Some(&delivery), None);
        let why = |answers: &Answers| match &answers.bays[0].regulator {
            NotComputed(why) => why.clone(),
            Known(known) => panic!("{known:?}"),
        };
        assert_eq!(why(&without), "no bay.usual_pad in the file");
        assert!(matches!(&without.bays[0].pad_alarm_pa_gauge, NotComputed(why) if why.contains("plate.mawp")));
        assert!(why(&answers(&shipped().0, None, None)).contains("no delivery was given"));
        let shown = without.to_string();
        assert!(shown.contains("not computed: no bay.usual_pad in the file"), "{shown}");
        assert!(shown.lines().all(|line| line.chars().count() <= 80), "{shown}");
    }

    /// Each warning comes where it is due, and not otherwise.
    #[test]
    fn warnings_say_what_calls_for_attention() {
        let warned = |from: &str, to: &str| -> Vec<String> {
            let (site, delivery) = read((from, to), ("", ""));
            answers(&site, Some(&delivery), None).warnings("site.toml").iter().map(|w| w.key.clone()).collect()
        };
        assert_eq!(warned("", ""), ["bay.supply"]);
        assert_eq!(warned("orifice = \"6 mm\"", "orifice = \"2 mm\""), [""; 0]);
        assert_eq!(
            warned("vent_capacity = \"1000 kg/h\"", "vent_capacity = \"500 kg/h\""),
            ["tank.vent_capacity", "bay.supply"]
        );
        // 0.21 m are 427 s: more than the response alone, which is a fault, and less than response and closing.
        let from = SITE_MANUAL.find("critical = \"7.6 m\"").expect("a level");
        let to = from + SITE_MANUAL[from..].find("pad_maximum").expect("a limit");
        let slower = SITE_MANUAL[from..to].replace("critical = \"7.6 m\"", "critical = \"7.41 m\"");
        let slower = slower.replace("valve_closes = \"10 s\"", "valve_closes = \"350 s\"");
        let slower = slower.replace("response_time = \"60 s\"", "response_time = \"380 s\"");
        assert_eq!(warned(&SITE_MANUAL[from..to], &slower), ["tank.high_high", "bay.supply"]);
        assert_eq!(warned("# answer_time = \"20 ms\"", "answer_time = \"800 ms\""), ["link", "bay.supply"]);
        let (site, delivery) = read(("# answer_time = \"20 ms\"", "answer_time = \"1200 ms\""), ("", ""));
        let over = answers(&site, Some(&delivery), None).warnings("site.toml")[0].to_string();
        assert!(over.contains("120 %") && over.contains("rounds are left out"), "{over}");
    }
}
