//! The density of one load, where its own papers give one.

use super::fault::Draft;
use super::walk::Table;
use crate::engine::settings::Product;
use crate::engine::witness::density::density;
use crate::finding::OfProduct;
use crate::units::{Celsius, KgPerM3};

/// A load that differs by more than this from what the tank holds is not that product, or a slip of the unit. Caustic
/// soda of 45 % is 3.3 % lighter than that of 50 % (1475 against 1525 kg/m3 at 20 C).
const OTHER_PRODUCT: f64 = 0.05;

/// The product as this load's papers describe it; as it is held in the tank where they do not.
pub(super) fn of_this_load(draft: &mut Draft, table: &Table, held: Product) -> Product {
    let line = ["at", "temperature", "slope_kg_per_m3_per_c"];
    let given = line.iter().filter(|key| table.is_written(key)).count();
    if given == 0 && !table.is_written("table") {
        for key in ["u", "source"].into_iter().filter(|key| table.is_written(key)) {
            draft.finding(table.spot(key), table.path(key), OfProduct::NoDensity);
        }
        return held;
    }
    if given > 0 && (table.is_written("table") || given < line.len()) {
        draft.finding(table.at(), table.path(""), OfProduct::DensityNotOnce);
        return held;
    }
    let rows: Vec<(Celsius, KgPerM3)> = match table.pairs("table") {
        Some(rows) => rows.iter().map(|&(t, d)| (Celsius(t), KgPerM3(d))).collect(),
        None => straight(table, &held),
    };
    if rows.len() < 2 || rows.iter().any(|(t, d)| !(t.0.is_finite() && d.0 > 0.0)) {
        return held; // what is wrong has been said
    }
    let of_load = Product {
        density: rows,
        density_u: table.optional_number("u").unwrap_or(held.density_u),
        // Whoever typed it in had the paper before him.
        confirmed: true,
        source: table.text("source").to_owned(),
        ..held.clone()
    };
    alike(draft, table, &of_load, &held);
    of_load
}

/// A straight line through the reference, as far as the product's own table reaches (and the reference, at least).
fn straight(table: &Table, held: &Product) -> Vec<(Celsius, KgPerM3)> {
    let (at, reference) = (table.number("at"), table.number("temperature"));
    let slope = table.number("slope_kg_per_m3_per_c");
    let ends = held.density.first().zip(held.density.last());
    let (low, high) = ends.map_or((reference, reference), |(first, last)| (first.0.0, last.0.0));
    let mut temperatures = vec![low.min(reference), high.max(reference)];
    temperatures.dedup();
    temperatures.into_iter().map(|t| (Celsius(t), KgPerM3(at + slope * (t - reference)))).collect()
}

/// The load is about as dense as what it is poured into.
fn alike(draft: &mut Draft, table: &Table, load: &Product, held: &Product) {
    let (Some(this), Some(that)) = (density(load, load.load_temperature), density(held, load.load_temperature)) else {
        return; // off either table: said where the load's temperature is checked
    };
    if (this.0 / that.0 - 1.0).abs() > OTHER_PRODUCT {
        let key = if table.is_written("table") { "table" } else { "at" };
        let (name, part_most) = (held.name.clone(), OTHER_PRODUCT);
        let other = OfProduct::OtherDensity { load_kg_per_m3: this.0, name, held_kg_per_m3: that.0, part_most };
        draft.finding(table.spot(key), table.path(key), other);
    }
}
