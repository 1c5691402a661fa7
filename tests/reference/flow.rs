//! Gas through openings and lines, against API 520 as the library fluids has it and equations integrated by scipy.

use super::{ask, assert_close};
use brimwatch::check::gas::{Gas, area_m2};
use brimwatch::units::AbsPa;
use serde::Deserialize;

#[derive(Deserialize)]
struct Asked {
    opening: Vec<Opening>,
    line: Vec<Line>,
    fill: Vec<Fill>,
}

#[derive(Deserialize)]
struct Opening {
    from_pa: f64,
    kg_per_s: f64,
}

#[derive(Deserialize)]
struct Line {
    from_pa: f64,
    loss: f64,
    kg_per_s: f64,
}

#[derive(Deserialize)]
struct Fill {
    supply_pa: f64,
    s: f64,
}

/// Nitrogen at 20 C: 8.314 462 618 J/(mol K) (CODATA 2018) / 28.0134 g/mol (CIAAW).
const NITROGEN: Gas = Gas { constant_j_per_kg_k: 296.803, kelvin: 293.15 };
const AIR: AbsPa = AbsPa(101_325.0);

#[test]
fn gas_flows_as_the_references_say() {
    let asked: Asked = ask("flow.py");
    assert!(asked.opening.len() >= 4 && asked.line.len() >= 4 && asked.fill.len() >= 3);
    for point in asked.opening {
        let got = NITROGEN.through_opening(AbsPa(point.from_pa), AIR, area_m2(0.006));
        // The standard's constant is printed with four digits.
        assert_close(got, point.kg_per_s, 5e-4, format!("opening from {} Pa", point.from_pa));
    }
    for point in asked.line {
        let got = NITROGEN.through_line(AbsPa(point.from_pa), AIR, area_m2(0.0525), point.loss);
        assert_close(got, point.kg_per_s, 1e-5, format!("line of {} heads from {} Pa", point.loss, point.from_pa));
    }
    for point in asked.fill {
        let pressures = (AbsPa(225_430.0), AbsPa(308_168.0));
        let got = NITROGEN.seconds_to_fill(AbsPa(point.supply_pa), pressures, 2.3, area_m2(0.006)).expect("it fills");
        assert_close(got, point.s, 1e-4, format!("filling from {} Pa", point.supply_pa));
    }
}
