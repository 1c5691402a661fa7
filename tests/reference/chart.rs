//! Control charts against numpy and scipy, and their run lengths against the published tables.

use super::{ask_about, assert_close};
use brimwatch::ledger::chart::{Cusum, Ewma, H, K, L, LAMBDA, LEARN, Usual, chart};
use brimwatch_simulator::noise::Chance;
use serde::{Deserialize, Serialize};

#[derive(Serialize)]
struct Asked {
    values: Vec<f64>,
    target: f64,
    k: f64,
    weight: f64,
    s: f64,
    l: f64,
    /// Reference value, limit, shift of the mean.
    cusum_designs: Vec<[f64; 3]>,
    chart_weight: f64,
    chart_l: f64,
}

#[derive(Deserialize)]
struct Found {
    high: Vec<f64>,
    low: Vec<f64>,
    averages: Vec<f64>,
    limits: Vec<f64>,
    scores: Vec<f64>,
    cusum_arl: Vec<[f64; 4]>,
    one_sided_arl: [f64; 2],
    ewma_arl: f64,
}

/// Two-sided average run lengths with k 0.5 as printed, with a unit of their last digit. h 4: Lucas and Crosier, "Fast
/// initial response for CUSUM quality-control schemes", Technometrics 24 (1982), Table 1, as quoted in the examples of
/// the R package spc 0.4.2. h 5: from memory, confirmed by the chain.
const PRINTED: [(f64, f64, f64, f64); 9] = [
    (4.0, 0.0, 168.0, 1.0),
    (4.0, 0.25, 74.2, 0.1),
    (4.0, 0.5, 26.6, 0.1),
    (4.0, 1.0, 8.38, 0.01),
    (4.0, 2.0, 3.34, 0.01),
    (4.0, 5.0, 1.31, 0.01),
    (5.0, 0.0, 465.0, 1.0),
    (5.0, 0.5, 38.0, 0.1),
    (5.0, 1.0, 10.4, 0.1),
];

fn asked() -> (Vec<f64>, Found) {
    let mut chance = Chance::new(11, 1);
    let values: Vec<f64> = (0..80).map(|i| chance.normal() + if i < 60 { 0.2 } else { 1.5 }).collect();
    let printed = PRINTED.iter().map(|&(h, shift, ..)| [K, h, shift]);
    let cusum_designs = printed.chain([[K, H, 0.0]]).collect();
    let (weight, s, l) = (0.3, 1.7, 3.0);
    let target = 0.2;
    let asked =
        Asked { values: values.clone(), target, k: K, weight, s, l, cusum_designs, chart_weight: LAMBDA, chart_l: L };
    (values, ask_about("chart.py", &asked))
}

#[test]
fn charts_are_those_of_numpy_and_scipy() {
    let (values, found) = asked();
    let (mut cusum, mut ewma, mut usual) = (Cusum::new(0.2, K), Ewma::new(0.2, 0.3), Usual::default());
    let mut scores = found.scores.iter();
    for (i, &x) in values.iter().enumerate() {
        if let Some(score) = usual.score(x) {
            let expected = scores.next().expect("a score");
            assert!((score - expected.clamp(-3.5, 3.5)).abs() < 1e-8, "value {i}: {score} against {expected}");
        }
        usual.learn(x);
        cusum.take(x);
        ewma.take(x);
        for (got, expected) in [(cusum.high, found.high[i]), (cusum.low, found.low[i]), (ewma.value, found.averages[i])]
        {
            assert!((got - expected).abs() < 1e-12 * values.len() as f64, "value {i}: {got} against {expected}");
        }
        assert_close(ewma.limit(1.7, 3.0), found.limits[i], 1e-12, format!("limit {i}"));
    }
    assert!(scores.next().is_none());
}

/// The chain against print: the script's own check. Brook and Evans (1972), 4.3: one-sided, h 3, 117.59 and 3.75; Lucas and
/// Saccucci (1990), weight 0.2, limits 2.962: 500.
#[test]
fn run_lengths_of_the_chain_are_those_printed() {
    let (_, found) = asked();
    for ((h, shift, printed, digit), [.., arl]) in PRINTED.into_iter().zip(found.cusum_arl) {
        assert!((arl - printed).abs() <= digit, "h {h}, shift {shift}: {arl} against {printed}");
    }
    let [usual, shifted] = found.one_sided_arl;
    assert!((usual - 117.59).abs() < 0.02 && (shifted - 3.75).abs() < 0.01, "{usual} {shifted}");
    assert!((found.ewma_arl - 500.0).abs() < 1.0, "{}", found.ewma_arl);
}

/// Values up to the first signal of many rows; `run` gives it, or says after how many values none had come.
fn measured(rows: u64, run: impl Fn(Chance) -> Result<usize, usize>) -> (f64, f64) {
    let (mut values, mut signals) = (0_usize, 0_usize);
    for row in 0..rows {
        match run(Chance::new(row, 5)) {
            Ok(at) => (values, signals) = (values + at, signals + 1),
            Err(none) => values += none,
        }
    }
    let mean = values as f64 / signals as f64;
    (mean, mean / (signals as f64).sqrt())
}

/// Run lengths of this program's CUSUM by simulation, against the chain (and so the print), within four standard errors.
/// The rows that a limit of so many values cuts off are counted as of an exponential run length, which it nearly has.
#[test]
fn run_lengths_of_the_cusum_are_those_of_the_chain() {
    let (_, found) = asked();
    for [_, h, shift, arl] in found.cusum_arl {
        let (mean, u) = measured(2_000, |mut chance| {
            let mut cusum = Cusum::new(0.0, K);
            (1..=20_000)
                .find(|_| {
                    cusum.take(chance.normal() + shift);
                    cusum.high.max(cusum.low) > h
                })
                .ok_or(20_000)
        });
        println!("h {h}, shift {shift}: {mean:.2} (u {u:.2}), chain {arl:.2}");
        assert!((mean - arl).abs() < 4.0 * u, "h {h}, shift {shift}: {mean} (u {u}) against {arl}");
    }
}

/// The whole chart, which is told neither mean nor spread, keeps the run length of its CUSUM after what it learns from. What is clipped and not learnt from makes a few per cent.
#[test]
fn the_chart_keeps_the_run_length_though_nobody_tells_it_mean_and_spread() {
    let (_, found) = asked();
    let [.., arl] = found.cusum_arl[PRINTED.len()];
    let (mean, u) = measured(400, |mut chance| {
        let (middle, spread) = (100.0 * chance.normal(), chance.between((0.1, 50.0)));
        let values: Vec<f64> = (0..LEARN + 800).map(|_| middle + spread * chance.normal()).collect();
        match chart(&values).signals.first() {
            Some(signal) => Ok(signal.at + 1 - LEARN),
            None => Err(800),
        }
    });
    println!("in control: {mean:.0} (u {u:.0}) at K {K}, H {H}, chain {arl:.0}");
    assert!((mean - arl).abs() < 4.0 * u, "{mean} (u {u}) against {arl}");
}
