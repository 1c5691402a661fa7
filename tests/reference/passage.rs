//! When a mark is passed, against scipy's inverse Gaussian distribution (first passage of a walk with drift).

use super::ask_about;
use brimwatch::engine::course;
use brimwatch::engine::frame::{Estimate, WitnessId};
use brimwatch::engine::projection::{Ahead, Outlook, Rest, moment};
use brimwatch::time::EngineTime;

/// Means, s, and shapes in multiples of the mean: how many standard deviations squared the mark is away.
const MEANS_S: [f64; 4] = [60.0, 300.0, 1_000.0, 4_000.0];
const SHAPES: [f64; 4] = [10.0, 100.0, 1_000.0, 3_000.0];
const RATE: f64 = 4.9;

/// 5, 50 and 95 % of the passage as `moment` shows them, where mean and standard deviation are those asked for.
fn shown(mean_s: f64, sd_s: f64) -> [f64; 3] {
    let trend = course::Ahead { rate: RATE, slope: 0.0, covariance: [[0.0; 2]; 2] };
    let mass_kg = mean_s * RATE;
    let of_the_way_s = trend.time_s(mass_kg).u;
    assert!(of_the_way_s < sd_s, "{mean_s} s with {sd_s} s: the rate's own wander is {of_the_way_s} s");
    let kg = Estimate { value: mass_kg, u: (sd_s * sd_s - of_the_way_s * of_the_way_s).sqrt() * RATE };
    let outlook = Outlook { together: Some(kg), each: vec![Rest { by: WitnessId::Flow, kg }] };
    let at = EngineTime::default();
    let found = moment(at, &Ahead::Trend(trend), &outlook).expect("something moves");
    assert_eq!(found.earliest, found.q05, "one witness alone");
    [found.q05, found.q50, found.q95].map(|t| t.since_s(at))
}

/// The quantiles shown are normal. Passage times lean to the late side: the 5 % shown, which says when to be at the valve,
/// is never later than the true one. The middle is shown later and the 95 % earlier than they are, by a part of the standard
/// deviation that shrinks with the distance.
#[test]
fn the_earliest_shown_is_never_later_than_scipys_first_passage() {
    let cases: Vec<(f64, f64)> = MEANS_S
        .iter()
        .flat_map(|mean| SHAPES.iter().map(move |shape| (*mean, shape * mean)))
        .filter(|(mean, shape)| (mean.powi(3) / shape).sqrt() > 0.02 * mean)
        .collect();
    let expected: Vec<[f64; 3]> = ask_about("passage.py", &cases);
    assert_eq!(expected.len(), cases.len());
    for ((mean, shape), expected) in cases.iter().zip(expected) {
        let sd = (mean.powi(3) / shape).sqrt();
        let off = shown(*mean, sd).iter().zip(expected).map(|(got, e)| (got - e) / sd).collect::<Vec<_>>();
        println!("mean {mean} s, sd {sd:.1} s: 5, 50, 95 % off by {off:.3?} of the sd");
        // Skewness of the inverse Gaussian, 3 sqrt(mean/shape); Cornish and Fisher's first term moves a quantile by
        // skewness (z2 - 1)/6: 0.28 of it at 5 and 95 %, -0.17 at the middle (rounding of a time: 1 ms).
        let skew = 3.0 * (mean / shape).sqrt();
        assert!(off[0] <= 1e-3 / sd && off[0] >= -0.4 * skew, "5 %: {off:?}");
        assert!(off[1] >= -1e-3 / sd && off[1] <= 0.2 * skew, "50 %: {off:?}");
        assert!(off[2] <= 1e-3 / sd && off[2] >= -0.3 * skew, "95 %: {off:?}");
    }
}

/// The script's quantiles are those of the printed closed case: F(mu; mu, mu) = 0.668102.
#[test]
fn the_distribution_asked_is_the_inverse_gaussian() {
    // Quantiles of mean 1 s and shape 1 s by its distribution function, Phi(a) + exp(2) Phi(b) (Chhikara and Folks, 1989).
    let expected: Vec<[f64; 3]> = ask_about("passage.py", &[(1.0, 1.0)]);
    let phi = |x: f64| 0.5 * libm::erfc(-x / std::f64::consts::SQRT_2);
    for (x, share) in expected[0].iter().zip([0.05, 0.5, 0.95]) {
        let found = phi((x - 1.0) / x.sqrt()) + libm::exp(2.0) * phi(-(x + 1.0) / x.sqrt());
        assert!((found - share).abs() < 1e-9, "{x}: {found} against {share}");
    }
}
