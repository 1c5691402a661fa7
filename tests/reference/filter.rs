//! The filter of the witnesses' errors against statsmodels' Kalman filter, on a linear case with gaps.

use super::ask_about;
use brimwatch::engine::filter::{Filter, STATES, Vector, feels};
use brimwatch::engine::frame::{Source, Validity};
use brimwatch::engine::witness::{Account, Budget, Errors};
use brimwatch_simulator::noise::Chance;
use serde::{Deserialize, Serialize};

#[derive(Serialize)]
struct Block {
    dt_s: f64,
    slow_s: [f64; 3],
    walk_kg2_per_s: [f64; 3],
    design: Vec<f64>,
    noise_kg2: f64,
    shown_kg: f64,
}

#[derive(Deserialize)]
struct Found {
    log_likelihood: f64,
    state: Vec<f64>,
    covariance: Vec<Vec<f64>>,
}

fn account(mass_kg: f64, gain: (Source, f64), errors: Errors) -> Account {
    let mut budget = Budget::ZERO;
    budget.add(gain.0, gain.1 * mass_kg);
    budget.add(Source::LineDownstream, -4.0);
    Account {
        validity: Validity::Good,
        received_kg: Some(mass_kg),
        budget,
        errors,
        division_kg: 0.0,
        kg_per_unit: 1.0,
        signal: None,
    }
}

const fn errors([white_kg, start_kg, slow_kg, slow_s, walk_kg2_per_s]: [f64; 5]) -> Errors {
    Errors { white_kg, start_kg, slow_kg, slow_s, walk_kg2_per_s, age_s: 0.0 }
}

const ERRORS: [Errors; 3] =
    [errors([0.5, 0.2, 0.1, 5.0, 1e-4]), errors([8.0, 7.5, 5.0, 20.0, 0.0278]), errors([12.0, 14.0, 15.0, 15.0, 1e-3])];

/// Blocks of 5 s, now and then after a gap of minutes; scale less meter and tank less meter in turn.
#[test]
fn the_filter_is_that_of_statsmodels() {
    let mut chance = Chance::new(7, 1);
    let (mut filter, mut blocks, mut log_likelihood) = (Filter::default(), Vec::new(), 0.0);
    let mut mass_kg = 0.0;
    for k in 0..400 {
        let dt_s = if k % 90 == 89 { 240.0 } else { 5.0 };
        mass_kg += 4.9 * dt_s;
        let accounts = [
            account(mass_kg, (Source::MeterGain, 0.0015), ERRORS[0]),
            account(mass_kg, (Source::ScaleSpan, 0.0005), ERRORS[1]),
            account(mass_kg, (Source::TankTable, 0.0025), ERRORS[2]),
        ];
        let other = 1 + k % 2;
        let (meter, witness) = (feels(&accounts[0], 0), feels(&accounts[other], other));
        let mut h: Vector = [0.0; STATES];
        h.iter_mut().zip(witness.iter().zip(&meter)).for_each(|(h, (w, m))| *h = w - m);
        let white = |i: usize| ERRORS[i].white_kg * ERRORS[i].white_kg / 5.0;
        let noise_kg2 = white(0) + white(other);
        let shown_kg = 20.0 * chance.normal() + 0.001 * mass_kg;
        filter.predict(dt_s, &ERRORS);
        let expected = filter.expect(&h, noise_kg2);
        let off = shown_kg - expected.value;
        log_likelihood -= 0.5 * ((std::f64::consts::TAU * expected.variance).ln() + off * off / expected.variance);
        filter.take(&expected, off);
        let (slow_s, walk_kg2_per_s) = (ERRORS.map(|e| e.slow_s), ERRORS.map(|e| e.walk_kg2_per_s));
        blocks.push(Block { dt_s, slow_s, walk_kg2_per_s, design: h.to_vec(), noise_kg2, shown_kg });
    }
    let found: Found = ask_about("filter.py", &blocks);
    let off = (log_likelihood - found.log_likelihood).abs();
    println!("log-likelihood {log_likelihood}, statsmodels {}, off by {off:e}", found.log_likelihood);
    assert!(off < 1e-8 * log_likelihood.abs(), "{log_likelihood} against {}", found.log_likelihood);
    for i in 0..STATES {
        assert!((filter.x()[i] - found.state[i]).abs() < 1e-8, "state {i}");
        assert!((filter.variance(i) - found.covariance[i][i]).abs() < 1e-8, "variance {i}");
    }
}
