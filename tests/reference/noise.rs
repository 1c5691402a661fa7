//! The simulator's noise against scipy's distributions and statsmodels' autocorrelation.

use super::ask_about;
use brimwatch_simulator::noise::{Chance, Noise, Source};
use serde::{Deserialize, Serialize};

/// Samples of each noise.
const SAMPLES: usize = 100_000;
/// A right generator fails a Kolmogorov-Smirnov test this seldom; the seeds are fixed, so it does not now and then.
const P_VALUE: f64 = 1e-4;

#[derive(Serialize)]
struct Case {
    name: String,
    kind: &'static str,
    sigma: f64,
    /// Correlation time, s; degrees of freedom.
    parameter: f64,
    step_s: f64,
    samples: Vec<f64>,
}

#[derive(Deserialize)]
struct Judged {
    name: String,
    p_value: f64,
    acf: Vec<f64>,
    lags: Vec<f64>,
    kurtosis: f64,
    peak_hz: f64,
    bin_hz: f64,
    power_share_at_peak: f64,
}

fn case(noise: Noise, step_s: f64, seed: u64) -> Case {
    let (mut source, mut chance) = (Source::new(noise, Chance::new(seed, 1), step_s), Chance::new(seed, 2));
    let (kind, parameter) = match noise {
        Noise::Wandering { correlation_s, .. } => ("wandering", correlation_s),
        Noise::HeavyTailed { freedom, .. } => ("student", freedom),
        Noise::Ripple { frequency_hz, .. } => ("ripple", frequency_hz),
        Noise::White { .. } | Noise::Quiet => ("white", 0.0),
    };
    let samples = (0..SAMPLES).map(|_| source.advance(&mut chance)).collect();
    Case { name: format!("{noise}, seed {seed}"), kind, sigma: noise.sigma(), parameter, step_s, samples }
}

/// Expected autocorrelation at a lag, and its standard error by Bartlett's formula for memory p a step:
/// `((1 + p^2)(1 - p^2k)/(1 - p^2) - 2 k p^2k) / n` (Brockwell and Davis, Time Series: Theory and Methods, 7.2).
fn expected_acf(memory: f64, lag: f64) -> (f64, f64) {
    let (square, kept) = (memory * memory, memory.powf(2.0 * lag));
    let variance = (1.0 + square) * (1.0 - kept) / (1.0 - square) - 2.0 * lag * kept;
    (memory.powf(lag), (variance / SAMPLES as f64).sqrt())
}

#[test]
fn noise_is_distributed_and_remembered_as_scipy_and_statsmodels_say() {
    let mut cases = Vec::new();
    for seed in [3, 4, 5] {
        cases.push(case(Noise::White { sigma: 6.0 }, 0.5, seed));
        // Wind on the scale, agitation in the tank, a regulator's wander, each at the simulator's scan and another.
        cases.push(case(Noise::Wandering { sigma: 5.0, correlation_s: 20.0 }, 0.5, seed));
        cases.push(case(Noise::Wandering { sigma: 0.0015, correlation_s: 15.0 }, 1.0, seed));
        cases.push(case(Noise::Wandering { sigma: 1_500.0, correlation_s: 600.0 }, 5.0, seed));
        cases.push(case(Noise::HeavyTailed { sigma: 2.0, freedom: 3.0 }, 0.5, seed));
        cases.push(case(Noise::HeavyTailed { sigma: 2.0, freedom: 9.0 }, 0.5, seed));
        cases.push(case(Noise::Ripple { amplitude: 3.0, frequency_hz: 0.13 }, 0.5, seed));
    }
    let judged: Vec<Judged> = ask_about("noise.py", &cases);
    assert_eq!(judged.len(), cases.len());
    for (case, judged) in cases.iter().zip(&judged) {
        assert_eq!(case.name, judged.name);
        if case.kind == "ripple" {
            // A sine between two bins leaves (2/pi)^2 of its power in each: the sinc of half a bin, squared.
            let off_hz = (judged.peak_hz - case.parameter).abs();
            assert!(off_hz <= judged.bin_hz, "{}: peak at {} Hz", case.name, judged.peak_hz);
            assert!(judged.power_share_at_peak > 0.4, "{}: {}", case.name, judged.power_share_at_peak);
            continue;
        }
        println!("{}: Kolmogorov-Smirnov p {:.3}, kurtosis {:.2}", case.name, judged.p_value, judged.kurtosis);
        assert!(judged.p_value > P_VALUE, "{}: p {}", case.name, judged.p_value);
        let memory = if case.kind == "wandering" { (-case.step_s / case.parameter).exp() } else { 0.0 };
        for (&lag, &got) in judged.lags.iter().zip(&judged.acf) {
            let (expected, error) = expected_acf(memory, lag);
            assert!((got - expected).abs() < 5.0 * error, "{} at lag {lag}: {got}, expected {expected}", case.name);
        }
    }
}
