//! From a site file and a delivery's papers to a plant that fits them, off by as much as they admit.
//!
//! Papers and tables are never quite true. What really stands there is drawn about what is written, with the
//! uncertainty that is written beside it: load, density, table of the tank, volumes of trailer, hose and line,
//! gas temperature. Everything else is the invented works of [`PlantSetup::nominal`].

use crate::instruments::{Instrument, InstrumentFault, InstrumentSetup, Wrong};
use crate::noise::Chance;
use crate::plant::fault::{Mishap, PlantFault};
use crate::plant::{PlantSetup, caustic_viscosity, interpolate};
use brimwatch::config::{DeliveryFile, DeliverySetup, Faults, LineStart, Settings, Site, TankGeometry};
use brimwatch::units::{ATMOSPHERE_PA, ZERO_CELSIUS_K};
use std::io;
use std::path::Path;

/// Site file of the drill's own works, with addresses that nothing serves.
pub const SITE: &str = include_str!("../drill-site.toml");
/// Papers of the drill's delivery.
pub const DELIVERY: &str = include_str!("../drill-delivery.toml");
/// The product file that both name, and its name there.
pub const PRODUCT: (&str, &str) =
    ("products/caustic-soda-50.toml", include_str!("../../config/products/caustic-soda-50.toml"));

/// The drill's own works and its delivery, read from memory; relative paths belong to `folder`.
///
/// # Errors
/// When brimwatch does not take its own simulator's files.
pub fn works(folder: &Path) -> Result<(Site, DeliveryFile), Faults> {
    let product = |name: &str| {
        if name == PRODUCT.0 { Ok(PRODUCT.1.to_owned()) } else { Err(io::Error::from(io::ErrorKind::NotFound)) }
    };
    let site = Site::from_text(&folder.join("site.toml"), SITE.to_owned(), &product)?;
    let delivery = DeliveryFile::from_text(&folder.join("delivery.toml"), DELIVERY.to_owned(), &site)?;
    Ok((site, delivery))
}

/// Room that the tank keeps below its maximum working level when all of the load is in, m3.
const ROOM_LEFT_M3: f64 = 0.8;
/// Levels that a drill starts between, m: no pad of this works lifts caustic soda much over 4 m.
const START_M: (f64, f64) = (0.3, 1.6);
/// The regulator is set to this part of the lowest pressure that anything on the way may bear, 1.
const OF_CEILING: f64 = 0.75;
/// Gas temperature is off by at most this standard deviation, K: a header in the open, no compressor.
const GAS_OFF_K: f64 = 5.0;

/// The plant of a bay that takes this delivery.
#[must_use]
pub fn plant(settings: &Settings, delivery: &DeliverySetup, seed: u64) -> PlantSetup {
    let mut chance = Chance::new(seed, 200);
    let mut off = |u: f64| 1.0 + u * chance.normal();
    let liquid_c = delivery.product.load_temperature.0;
    let written: Vec<(f64, f64)> = delivery.product.density.iter().map(|(c, d)| (c.0, d.0)).collect();
    let density = interpolate(&written, liquid_c) * off(delivery.product.density_u);
    let tank = &settings.tanks[usize::from(delivery.tank)];
    let tank_m_m3 = tank_shape(&tank.geometry, off(tank.table_u));
    let start_m3 = interpolate(&tank_m_m3, tank.working.0) - delivery.planned.0 / density - ROOM_LEFT_M3;
    let start_m = interpolate(&swapped(&tank_m_m3), start_m3).clamp(START_M.0, START_M.1);
    let gas_c = settings.gas.temperature.0 + settings.gas.temperature_u_k.min(GAS_OFF_K) * (off(1.0) - 1.0);
    // A ticket's net is the liquid less the gas that it drove out of the trailer, weighed against weights of
    // 8000 kg/m3 in air of 1.2 kg/m3 (OIML D 28:2004).
    let gas_density = ATMOSPHERE_PA / (settings.gas.constant_j_per_kg_k * (gas_c + ZERO_CELSIUS_K));
    let net = delivery.ticket_net.0 + delivery.ticket_u.0 * (off(1.0) - 1.0);
    let nominal = PlantSetup::nominal(seed);
    PlantSetup {
        density_kg_per_m3: density,
        viscosity_pa_s: caustic_viscosity(liquid_c),
        liquid_c,
        heel_c: liquid_c,
        around_c: liquid_c,
        trailer_m3: delivery.trailer_volume.0 * off(delivery.trailer_volume_u),
        loaded_kg: net * (1.0 - 1.2 / 8000.0) / (1.0 - gas_density / density),
        gas_j_per_kg_k: settings.gas.constant_j_per_kg_k,
        gas_c,
        regulator_pa: nominal.regulator_pa.min(OF_CEILING * lowest_ceiling_pa(settings, delivery)),
        hose_m3: settings.line.upstream.0 * off(settings.line.volume_u),
        line_m3: settings.line.downstream.0 * off(settings.line.volume_u),
        starts_full: settings.line.starts == LineStart::Full,
        closes_s: settings.line.valve_closes_s,
        tank_m_m3,
        tank_start_m: start_m,
        ..nominal
    }
}

/// The instruments of that bay; the high-level switch sits halfway between high-high and critical.
#[must_use]
pub fn instruments(settings: &Settings, tank: u16, seed: u64) -> InstrumentSetup {
    let tank = &settings.tanks[usize::from(tank)];
    InstrumentSetup::nominal((tank.high_high.0 + tank.critical.0) / 2.0, seed)
}

/// A fault by its name, `instrument: what`, as in `tank level: stuck`; the words are those that [`Instrument`] and
/// [`Wrong`] print. None: there is no such fault.
#[must_use]
pub fn fault(name: &str, at_s: f64, size: f64) -> Option<InstrumentFault> {
    let (on, wrong) = name.split_once(": ")?;
    Some(InstrumentFault::new(Wrong::named(wrong)?, Instrument::named(on)?, at_s, size))
}

/// A mishap by its name, as [`Mishap`] prints it. None: there is no such.
#[must_use]
pub fn mishap(name: &str, at_s: f64, size: f64) -> Option<PlantFault> {
    Some(PlantFault::new(Mishap::named(name)?, at_s, size))
}

/// Another product on the trailer than the papers say: so much denser and more viscous, 1.
#[must_use]
pub fn with_wrong_product(plant: PlantSetup, denser: f64, more_viscous: f64) -> PlantSetup {
    PlantSetup {
        density_kg_per_m3: plant.density_kg_per_m3 * (1.0 + denser),
        viscosity_pa_s: plant.viscosity_pa_s * (1.0 + more_viscous),
        ..plant
    }
}

/// The papers as somebody enters them with the density wrong by `off`, 1: the plant keeps what is so, the watch gets
/// this.
#[must_use]
pub fn with_wrong_density(papers: &DeliverySetup, off: f64) -> DeliverySetup {
    let mut entered = papers.clone();
    entered.product.density.iter_mut().for_each(|(_, density)| density.0 *= 1.0 + off);
    entered
}

/// The lowest pressure that is written anywhere, Pa above the air.
fn lowest_ceiling_pa(settings: &Settings, delivery: &DeliverySetup) -> f64 {
    let limits = &settings.limits;
    [limits.pad_maximum, limits.hose_rating, limits.line_rating, limits.connection_rating, delivery.plate.mawp]
        .iter()
        .flatten()
        .fold(f64::INFINITY, |lowest, limit| lowest.min(limit.0))
}

/// Level and volume of the tank that really stands there, `off` times its table.
fn tank_shape(geometry: &TankGeometry, off: f64) -> Vec<(f64, f64)> {
    match geometry {
        TankGeometry::VerticalCylinder { diameter, height } => {
            let full = std::f64::consts::PI * (diameter.0 / 2.0).powi(2) * height.0;
            vec![(0.0, 0.0), (height.0, full * off)]
        }
        TankGeometry::Strapping(points) => points.iter().map(|(level, volume)| (level.0, volume.0 * off)).collect(),
    }
}

fn swapped(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    points.iter().map(|&(a, b)| (b, a)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected: the errors drawn over many seeds spread as the papers say; five standard errors.
    #[test]
    fn what_stands_there_is_off_by_what_the_papers_admit() {
        let (site, delivery) = works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let settings = &site.bays[delivery.bay].settings;
        let plants: Vec<PlantSetup> = (0..400).map(|seed| plant(settings, &delivery.setup, seed)).collect();
        let spread = |of: &dyn Fn(&PlantSetup) -> f64| {
            let mean = plants.iter().map(of).sum::<f64>() / 400.0;
            ((plants.iter().map(|p| (of(p) - mean).powi(2)).sum::<f64>() / 399.0).sqrt(), mean)
        };
        let papers = &delivery.setup;
        type Drawn<'a> = (&'a dyn Fn(&PlantSetup) -> f64, f64, f64);
        let expected: [Drawn; 4] = [
            (&|p| p.density_kg_per_m3, 1524.58, papers.product.density_u),
            (&|p| p.trailer_m3, papers.trailer_volume.0, papers.trailer_volume_u),
            (&|p| p.hose_m3, settings.line.upstream.0, settings.line.volume_u),
            (&|p| p.tank_volume_m3(), 30.383, settings.tanks[0].table_u),
        ];
        for (i, (of, written, u)) in expected.iter().enumerate() {
            let (sigma, mean) = spread(of);
            assert!((mean / written - 1.0).abs() < 5.0 * u / 20.0, "{i}: mean {mean}, written {written}");
            assert!((sigma / (written * u) - 1.0).abs() < 5.0 / 800f64.sqrt(), "{i}: spread {sigma}");
        }
        for plant in &plants {
            let full_m3 = interpolate(&plant.tank_m_m3, plant.tank_start_m) + plant.loaded_kg / plant.density_kg_per_m3;
            assert!(full_m3 < interpolate(&plant.tank_m_m3, settings.tanks[0].working.0), "the load does not fit");
        }
    }

    #[test]
    fn every_fault_has_a_name() {
        for on in Instrument::ALL {
            for wrong in Wrong::ALL {
                let named = fault(&format!("{on}: {wrong}"), 900.0, 2.0).expect("named");
                assert_eq!(named, InstrumentFault::new(wrong, on, 900.0, 2.0));
            }
        }
        assert_eq!((fault("tank level", 0.0, 0.0), fault("tank level: sad", 0.0, 0.0)), (None, None));
    }

    #[test]
    fn every_mishap_has_a_name() {
        for what in Mishap::ALL {
            assert_eq!(mishap(&what.to_string(), 900.0, 0.25), Some(PlantFault::new(what, 900.0, 0.25)));
        }
        assert_eq!(mishap("bad luck", 0.0, 0.0), None);
    }

    #[test]
    fn a_density_entered_wrong_changes_the_papers_alone() {
        let (site, delivery) = works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let entered = with_wrong_density(&delivery.setup, 0.02);
        for (entered, papers) in entered.product.density.iter().zip(&delivery.setup.product.density) {
            assert_eq!((entered.0, entered.1.0), (papers.0, papers.1.0 * 1.02));
        }
        let of = |papers| plant(&site.bays[0].settings, papers, 3).density_kg_per_m3;
        assert!((of(&entered) / of(&delivery.setup) - 1.02).abs() < 1e-9, "a plant follows the papers it is made from");
    }
}
