//! Exact vessels against fluids: 500 random ones, upright and lying, mixed heads too.

use super::ask;
use brimwatch::config::shape::{Head, Vessel};
use serde::Deserialize;

#[derive(Debug, Deserialize)]
struct Case {
    lying: bool,
    diameter_m: f64,
    shell_m: f64,
    heads: [(String, f64, f64); 2],
    level_m: f64,
    volume_m3: f64,
    top_m: f64,
}

fn head((kind, a, b): &(String, f64, f64)) -> Head {
    match kind.as_str() {
        "flat" => Head::Flat,
        "conical" => Head::Conical(*a),
        "ellipsoidal" => Head::Ellipsoidal(*a),
        "torispherical" => Head::Torispherical(*a, *b),
        other => panic!("no such head: {other}"),
    }
}

#[test]
fn exact_vessels_are_those_of_fluids() {
    let cases: Vec<Case> = ask("vessel.py");
    assert_eq!(cases.len(), 500);
    let mut worst = 0.0_f64;
    for case in &cases {
        let (diameter, shell) = (case.diameter_m, case.shell_m);
        let heads = [head(&case.heads[0]), head(&case.heads[1])];
        let vessel = if case.lying {
            Vessel::Lying { diameter, shell, heads }
        } else {
            Vessel::Upright { diameter, shell, bottom: heads[0] }
        };
        assert!((vessel.top_m() - case.top_m).abs() < 1e-9 * case.top_m, "{case:?}: top {}", vessel.top_m());
        let off = (vessel.volume_m3(case.level_m) / case.volume_m3 - 1.0).abs();
        worst = worst.max(off);
        assert!(off < 2e-5, "{case:?}: off by {off:e}");
    }
    println!("500 vessels: at most {worst:e} off fluids");
}
