//! Density of a product at a temperature: straight lines between the table's points.
//!
//! A load a little colder or warmer than the table is still a load: its last straight line is followed, what that
//! adds or takes away counts as uncertainty in full, and what rests on it is doubtful. Farther off there is no density.

use crate::engine::settings::Product;
use crate::units::{Celsius, KgPerM3, PaS};

/// How far beyond its table a product is followed, K.
const BEYOND_K: f64 = 10.0;

/// Density at `temperature`; `None` outside the product's table.
#[must_use]
pub fn density(product: &Product, temperature: Celsius) -> Option<KgPerM3> {
    super::geometry::interpolate(product.density.iter().map(|(t, d)| (t.0, d.0)), temperature.0).map(KgPerM3)
}

/// Dynamic viscosity at `temperature`; `None` outside the product's table, or where it has none. It falls with temperature nearly
/// as an exponential: straight lines in its logarithm.
#[must_use]
pub fn viscosity(product: &Product, temperature: Celsius) -> Option<PaS> {
    let table = product.viscosity.iter().map(|(t, v)| (t.0, libm::log(v.0)));
    super::geometry::interpolate(table, temperature.0).map(|ln| PaS(libm::exp(ln)))
}

/// Density of what is there, whatever the table says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Actual {
    /// Density.
    pub density: KgPerM3,
    /// Relative standard uncertainty, 1.
    pub u: f64,
    /// The temperature is outside the table.
    pub beyond: bool,
}

/// Density at `temperature`, also a little beyond the table; `None` farther off.
#[must_use]
pub fn actual(product: &Product, temperature: Celsius) -> Option<Actual> {
    if let Some(density) = density(product, temperature) {
        return Some(Actual { density, u: product.density_u, beyond: false });
    }
    let (first, last) = (product.density.first()?, product.density.last()?);
    let (end, inner) = if temperature < first.0 {
        (first, product.density.get(1)?)
    } else {
        (last, product.density.iter().rev().nth(1)?)
    };
    let off_k = (temperature - end.0).0;
    if off_k.is_nan() || off_k.abs() > BEYOND_K {
        return None;
    }
    let followed = off_k * (end.1 - inner.1).0 / (end.0 - inner.0).0;
    let density = end.1.0 + followed;
    let beyond_u = followed / density;
    Some(Actual {
        density: KgPerM3(density),
        u: (product.density_u * product.density_u + beyond_u * beyond_u).sqrt(),
        beyond: true,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn product() -> Product {
        Product {
            name: "ethylene glycol".into(),
            density: vec![(Celsius(20.0), KgPerM3(1113.7)), (Celsius(40.0), KgPerM3(1099.5))],
            density_u: 1e-3,
            viscosity: Vec::new(),
            confirmed: true,
            source: "Perry's Chemical Engineers' Handbook, 8th ed.".into(),
            load_temperature: Celsius(25.0),
        }
    }

    /// Expected: Perry's 1127.6 kg/m3 at 0 C lies off the followed line by less than twice what it adds.
    #[test]
    fn beyond_the_table_the_last_line_is_followed_and_doubted() {
        let cold = actual(&product(), Celsius(12.0)).expect("8 K off");
        assert!(cold.beyond && (cold.density.0 - (1113.7 + 8.0 * 0.71)).abs() < 1e-9);
        let between_perry = 1127.6 + (1113.7 - 1127.6) * 12.0 / 20.0;
        assert!((cold.density.0 - between_perry).abs() < 2.0 * cold.u * cold.density.0);
        assert!(cold.u > 5e-3);
        let warm = actual(&product(), Celsius(45.0)).expect("5 K off");
        assert!(warm.beyond && (warm.density.0 - (1099.5 - 5.0 * 0.71)).abs() < 1e-9);
        assert_eq!(actual(&product(), Celsius(9.0)), None);
        assert_eq!(actual(&product(), Celsius(f64::NAN)), None);
        assert!(!actual(&product(), Celsius(30.0)).expect("inside").beyond);
    }
}
