//! Physical sense: what a site file can say without a fault in any one line, and cannot mean.
//!
//! Looked at once the site is whole. What nobody could mean is a fault; what is allowed, and is more often a slip, is a
//! warning. Limits that no standard gives are this project's own, each an assumption about a bay where one cargo tank
//! trailer at a time is unloaded.

mod bay;
mod papers;
mod signal;
mod strapping;
mod tank;

#[cfg(test)]
mod tests;

pub(super) use papers::papers;
pub(super) use strapping::{density, strapping};

use super::amount::short;
use super::fault::Draft;
use super::walk::Table;
use super::{BaySetup, Device, ProductTable};
use crate::engine::settings::TankSetup;
use crate::units::{KgPerM3, M3};

/// Rate of an ordinary unloading, kg/s, of a bay that gives no `usual_rate`: 20 t in 67 min (assumption).
const USUAL_RATE_KG_PER_S: f64 = 5.0;

/// Rate of an ordinary unloading at a bay, kg/s.
fn usual_rate(bay: &BaySetup) -> f64 {
    bay.usual.rate.map_or(USUAL_RATE_KG_PER_S, |rate| rate.0)
}

/// A usual load, m3: 4,000 US gal, between the compartments of a straight truck and a full trailer (assumption).
const USUAL_LOAD_M3: f64 = 15.0;

/// Inner cross-section of a 2-inch line, m2 (52.5 mm, ASME B36.10M schedule 40): 2.2 L/m.
const LINE_M2: f64 = 0.002_165;

/// A site that was read without a fault, with the tables it was read from.
pub(super) struct Whole<'w> {
    pub root: &'w Table,
    pub devices: &'w [Device],
    /// Each tank with the index of its product, in the order of the file.
    pub tanks: &'w [(TankSetup, usize)],
    pub products: &'w [ProductTable],
    pub bays: &'w [BaySetup],
}

/// Notes everything about the site that cannot be meant, or hardly.
pub(super) fn look(draft: &mut Draft, whole: &Whole<'_>) {
    devices(draft, whole);
    for (i, table) in whole.root.tables("tank").iter().enumerate() {
        tank::look(draft, table, whole, i);
    }
    for (table, setup) in whole.root.tables("bay").iter().zip(whole.bays) {
        bay::look(draft, table, setup);
        signal::look(draft, table, setup, whole);
    }
}

/// A value that old is no good start reading, and some loads' worth of kilograms behind, s (assumption: 25 kg).
const PERIOD_MOST_S: f64 = 5.0;

fn devices(draft: &mut Draft, whole: &Whole<'_>) {
    for (i, (table, device)) in whole.root.tables("device").iter().zip(whole.devices).enumerate() {
        let read_by = || whole.bays.iter().filter(|bay| bay.devices.contains(&i));
        if read_by().next().is_none() {
            draft
                .warn(table.at(), table.path(""), format!("no signal is read from {:?}", device.name))
                .act("name it in the signals that it has (device = ...), or take the table out");
        }
        if device.period_s > PERIOD_MOST_S {
            let rate = read_by().map(usual_rate).reduce(f64::max).unwrap_or(USUAL_RATE_KG_PER_S);
            let behind_kg = short(device.period_s * rate);
            draft
                .warn(
                    table.spot("period"),
                    table.path("period"),
                    format!(
                        "{} s is long: {behind_kg} kg move meanwhile at {} kg/s",
                        short(device.period_s),
                        short(rate)
                    ),
                )
                .allowed(format!("usually up to {PERIOD_MOST_S} s"))
                .act("correct the number or its unit, unless the line is that slow");
        }
    }
}

/// Lowest density of a product's table: a given mass then takes the most room; NaN without a table.
fn lightest(product: Option<&ProductTable>) -> KgPerM3 {
    let densities = product.into_iter().flat_map(|product| &product.density);
    KgPerM3(densities.map(|(_, d)| d.0).fold(f64::NAN, f64::min))
}

/// Length of 2-inch line that holds so much, m.
fn line_length_m(volume: M3) -> f64 {
    volume.0 / LINE_M2
}
