//! Tanks of every shape, by their dimensions in the site file.

use brimwatch::config::{Faults, Site, TankGeometry};
use brimwatch_simulator::scenario;
use std::path::Path;

/// The drill's site with its tank's dimensions written otherwise.
fn site(dimensions: &str) -> Result<Site, Faults> {
    let text = scenario::SITE.replace("diameter = \"2.9 m\"\nheight = \"4.6 m\"", dimensions);
    assert!(text.contains(dimensions), "the drill's tank is written otherwise now");
    let product = |_: &str| Ok(scenario::PRODUCT.1.to_owned());
    Site::from_text(Path::new("site.toml"), text, &product)
}

#[test]
fn a_lying_tank_with_heads_holds_what_its_drawing_says() {
    let dimensions = "diameter = \"5 m\"\nlength = \"6 m\"\nhead = \"ellipsoidal\"\nother_head = \"flat\"";
    let site = site(dimensions).unwrap_or_else(|faults| panic!("{faults}"));
    let TankGeometry::Strapping(rows) = &site.bays[0].settings.tanks[0].geometry else { panic!("a table") };
    let (top, full) = rows.last().expect("rows");
    // pi/4 D2 L + pi/24 D3 for a head of 2:1.
    let expected = std::f64::consts::PI * (25.0 / 4.0 * 6.0 + 125.0 / 24.0);
    assert!((top.0 - 5.0).abs() < 1e-12 && (full.0 / expected - 1.0).abs() < 1e-6, "{full:?} against {expected}");
}

#[test]
fn dimensions_that_make_no_tank_are_said() {
    for (dimensions, said) in [
        ("diameter = \"5 m\"\nlength = \"6 m\"\nhead = \"conical\"", "a cone may be of any depth"),
        ("diameter = \"5 m\"\nlength = \"6 m\"\nheight = \"4.6 m\"", "a height (upright) or a length (lying)"),
        (
            "diameter = \"5 m\"\nheight = \"4.6 m\"\nhead = \"torispherical\"\nhead_crown = 0.5\nhead_knuckle = 0.5",
            "is not below the crown's",
        ),
    ] {
        let faults = site(dimensions).map(|_| ()).expect_err(dimensions).to_string();
        assert!(faults.contains(said), "{dimensions}: {faults}");
    }
}
