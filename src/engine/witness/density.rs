//! Density of a product at a temperature: straight lines between the table's points, nothing beyond its ends.

use crate::engine::settings::Product;
use crate::units::{Celsius, KgPerM3};

/// Density at `temperature`; `None` outside the product's table.
#[must_use]
pub fn density(product: &Product, temperature: Celsius) -> Option<KgPerM3> {
    super::geometry::interpolate(product.density.iter().map(|(t, d)| (t.0, d.0)), temperature.0).map(KgPerM3)
}
