//! Density of a product at a temperature, against chemicals, CoolProp and `numpy.interp`. All in kg/m3.

use super::{ask, assert_close};
use brimwatch::engine::settings::Product;
use brimwatch::engine::witness::density::density;
use brimwatch::units::{Celsius, KgPerM3};
use serde::Deserialize;

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

/// Pure glycol from a short table in Perry's digits: within 0.05 kg/m3 of the fit behind the table, that is its
/// last printed digit, and within 0.05 % of the other handbook's, the two standing up to 0.04 % apart.
#[test]
fn pure_glycol_is_that_of_both_handbooks() {
    let asked: Asked = ask("density.py");
    let glycol = product("ethylene glycol", &[(0.0, 1127.6), (20.0, 1113.7), (40.0, 1099.5), (60.0, 1084.9)]);
    assert!(asked.pure.len() >= 25);
    for pure in asked.pure {
        let (got, what) = (density_at(&glycol, pure.celsius), format!("glycol at {} C", pure.celsius));
        assert!((got - pure.perry).abs() <= 0.05 + 0.05, "{what}: {got} against Perry {}", pure.perry);
        assert_close(got, pure.vdi, 5e-4, &what);
    }
}
