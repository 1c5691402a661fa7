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
    methanol: Vec<(f64, f64)>,
    styrene: Vec<(f64, f64)>,
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

/// A shipped table, by way of the shipped site file with its product exchanged; so many kg fit into 15.5 m3 of trailer.
fn shipped(file: &str, name: &str, net_kg: u32) -> Product {
    let site_path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/site.toml");
    let folder = site_path.parent().expect("a folder");
    let text = config::SITE_MANUAL.replace("products/caustic-soda-50.toml", file);
    let read = |name: &str| std::fs::read_to_string(folder.join(name));
    let site = Site::from_text(&site_path, text, &read).unwrap_or_else(|e| panic!("{e}"));
    let net = format!("{net_kg} kg");
    let papers = config::DELIVERY_MANUAL.replace("caustic soda 50 %", name).replace("20060 kg", &net);
    let papers = papers.replace("\"20 t\"", &format!("\"{} kg\"", net_kg - 100));
    let delivery = DeliveryFile::from_text(&folder.join("delivery.toml"), papers, &site);
    delivery.unwrap_or_else(|e| panic!("{e}")).setup.product
}

/// The shipped table holds Perry's fit to its last printed digit (0.05 kg/m3), read between its points to 0.05
/// more; the other handbook stands up to 0.04 % from Perry, and so does the table.
#[test]
fn pure_glycol_is_that_of_both_handbooks() {
    let asked: Asked = ask("density.py");
    let glycol = shipped("products/ethylene-glycol.toml", "ethylene glycol", 16_000);
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

/// Their tables hold the equations they name to the last printed digit, and read between to 0.1 kg/m3 more.
#[test]
fn methanol_and_styrene_are_as_they_say() {
    let asked: Asked = ask("density.py");
    for (file, name, reference) in
        [("products/methanol.toml", "methanol", asked.methanol), ("products/styrene.toml", "styrene", asked.styrene)]
    {
        let product = shipped(file, name, 11_000);
        assert!(reference.len() >= 15 && product.confirmed);
        for (celsius, expected) in reference {
            let tabulated = product.density.iter().any(|(t, _)| t.0 == celsius);
            let limit = if tabulated { 0.05 + 1e-6 } else { 0.15 };
            let got = density_at(&product, celsius);
            assert!((got - expected).abs() <= limit, "{name} at {celsius} C: {got} against {expected}");
        }
    }
}
