//! Density of a product at a temperature, against chemicals, CoolProp and `numpy.interp`. All in kg/m3.

use super::{ask, assert_close};
use brimwatch::config::{self, DeliveryFile, Site};
use brimwatch::engine::settings::Product;
use brimwatch::engine::witness::density::density;
use brimwatch::units::{Celsius, KgPerM3};
use serde::Deserialize;
use std::path::Path;

#[derive(Deserialize)]
struct Asked {
    pure: Vec<Pure>,
    solution_table: Vec<(f64, f64)>,
    solution_read: Vec<Read>,
}

#[derive(Deserialize)]
struct Pure {
    celsius: f64,
    perry: f64,
    vdi: f64,
}

#[derive(Deserialize)]
struct Read {
    celsius: f64,
    exact: f64,
    numpy: f64,
    bound: f64,
}

fn density_at(product: &Product, celsius: f64) -> f64 {
    density(product, Celsius(celsius)).unwrap_or_else(|| panic!("{}: no density at {celsius} C", product.name)).0
}

fn product(name: &str, table: &[(f64, f64)]) -> Product {
    Product {
        name: name.into(),
        density: table.iter().map(|&(t, rho)| (Celsius(t), KgPerM3(rho))).collect(),
        density_u: 1e-3,
        viscosity: Vec::new(),
        confirmed: true,
        source: "tests/reference/density.py".into(),
        load_temperature: Celsius(20.0),
    }
}

/// A solution's table, read between its points: as numpy reads it, and no further from CoolProp than
/// straight lines must be.
#[test]
fn a_table_is_read_by_straight_lines() {
    let asked: Asked = ask("density.py");
    let solution = product("ethylene glycol 60 %", &asked.solution_table);
    assert!(asked.solution_read.len() >= 40);
    for read in asked.solution_read {
        let (got, what) = (density_at(&solution, read.celsius), format!("60 % glycol at {} C", read.celsius));
        assert_close(got, read.numpy, 1e-12, &what);
        let off = (got - read.exact).abs();
        // 1e-3 of the bound for the bend, which is taken at three temperatures of each step.
        assert!(off <= read.bound * 1.001 + 1e-9, "{what}: off by {off:e}, bound {:e}", read.bound);
    }
}

/// The shipped table of ethylene glycol, by way of the shipped site file with its product exchanged.
fn shipped_glycol() -> Product {
    let site_path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/site.toml");
    let folder = site_path.parent().expect("a folder");
    let text = config::SITE_MANUAL.replace("products/caustic-soda-50.toml", "products/ethylene-glycol.toml");
    let read = |name: &str| std::fs::read_to_string(folder.join(name));
    let site = Site::from_text(&site_path, text, &read).unwrap_or_else(|e| panic!("{e}"));
    // 15.5 m3 of trailer hold less of the lighter product.
    let papers =
        config::DELIVERY_MANUAL.replace("caustic soda 50 %", "ethylene glycol").replace("20060 kg", "16000 kg");
    let papers = papers.replace("\"20 t\"", "\"15.9 t\"");
    let delivery = DeliveryFile::from_text(&folder.join("delivery.toml"), papers, &site);
    delivery.unwrap_or_else(|e| panic!("{e}")).setup.product
}

/// The shipped table holds Perry's fit to its last printed digit (0.05 kg/m3), read between its points to 0.05
/// more; the other handbook stands up to 0.04 % from Perry, and so does the table.
#[test]
fn pure_glycol_is_that_of_both_handbooks() {
    let asked: Asked = ask("density.py");
    let glycol = shipped_glycol();
    assert_eq!(glycol.name, "ethylene glycol");
    assert!(asked.pure.len() >= 25);
    for pure in asked.pure {
        let (got, what) = (density_at(&glycol, pure.celsius), format!("glycol at {} C", pure.celsius));
        let tabulated = glycol.density.iter().any(|(t, _)| t.0 == pure.celsius);
        let limit = if tabulated { 0.05 } else { 0.1 };
        assert!((got - pure.perry).abs() <= limit, "{what}: {got} against Perry {}", pure.perry);
        assert_close(got, pure.vdi, 5e-4, &what);
    }
}
