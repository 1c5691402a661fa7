//! From budgets to thresholds, once, when settings are built; a recording keeps the numbers, so a replay never
//! computes them again.
//!
//! The budget: in how many transfers may sound instruments once be said to disagree. The test is looked at every
//! few seconds, but consecutive looks share nearly all of their data; a transfer holds about
//! [`EFFECTIVE_LOOKS`] looks that are as good as independent (an assumption, to be held against runs of sound
//! instruments). By Bonferroni's inequality each look may spend budget / looks.

use crate::engine::bank::KINDS;
use crate::engine::settings::{DeadBand, Thresholds};
use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

/// Looks in one transfer that count as independent: one per 3 to 4 min of an hour and more.
pub const EFFECTIVE_LOOKS: f64 = 20.0;

/// A leak that is named "would be found" is found with this probability.
pub const FOUND_PROBABILITY: f64 = 0.95;

/// The margin's allowance covers the truth with this probability (one-sided; 2.33 standard uncertainties).
pub const MARGIN_PROBABILITY: f64 = 0.99;

/// Statistics above which a fault is found when the budget is [`FINDING_BUDGET`], by kind and sign (the witness shows too
/// much, too little): scale, meter, tank that go off steadily; scale, tank that jump; meter, tank off in proportion. Chosen
/// on clean transfers of simulated plants with people and foam (`cargo bench --bench detection -- clean`), which decide them,
/// not a law of large numbers. A tank that shows too much by and by is foam more often than anything else, and errs to the safe side.
const FINDING: [[f64; 2]; KINDS] =
    [[16.3, 17.5], [19.5, 18.5], [38.0, 16.0], [15.0, 16.0], [38.0, 15.5], [12.0, 12.5], [14.5, 15.5]];
/// Whatever the budget, a fault must be this much likelier than none: e^8.
const LEAST_FINDING: f64 = 8.0;
/// The budget that these keep, 1.
const FINDING_BUDGET: f64 = 1e-3;

/// Likelihood ratio up to which an explanation stays among the suspects.
const SUSPECT_RATIO: f64 = 20.0;

/// What the thresholds are computed from.
#[derive(Debug, Clone, PartialEq)]
pub struct Budgets {
    /// Transfers in which sound instruments may once be said to disagree, 1.
    pub false_disagreements: f64,
    /// Pad pressure is near its ceiling from this part of it, 1.
    pub near_ceiling: f64,
    /// A condition must hold this long before its alarm comes, s.
    pub on_delay_s: f64,
    /// A condition must be gone this long before its alarm goes, s.
    pub off_delay_s: f64,
    /// Of alarms that have one.
    pub dead_bands: Vec<DeadBand>,
}

/// The thresholds that keep the budgets.
#[must_use]
pub fn thresholds(budgets: &Budgets) -> Thresholds {
    let tail = budgets.false_disagreements / EFFECTIVE_LOOKS;
    // The tail of the largest statistic falls as exp(-statistic): a budget k times as large is kept by ln k less.
    let stricter = (FINDING_BUDGET / budgets.false_disagreements).ln();
    Thresholds {
        finding: FINDING.map(|signs| signs.map(|limit| (limit + stricter).max(LEAST_FINDING))),
        chi_square: [chi_square_limit(tail, 1), chi_square_limit(tail, 2)],
        suspect_band: SUSPECT_RATIO.ln(),
        found_z: normal_limit(1.0 - FOUND_PROBABILITY),
        margin_z: normal_limit(1.0 - MARGIN_PROBABILITY),
        near_ceiling: budgets.near_ceiling,
        on_delay_s: budgets.on_delay_s,
        off_delay_s: budgets.off_delay_s,
        dead_bands: budgets.dead_bands.clone(),
    }
}

/// The value that chi-square with `degrees_of_freedom` exceeds with probability `tail_probability`; infinite
/// for a tail of 0, 0 for one of 1.
#[must_use]
pub fn chi_square_limit(tail_probability: f64, degrees_of_freedom: u32) -> f64 {
    match ChiSquared::new(f64::from(degrees_of_freedom.max(1))) {
        Ok(distribution) => upper_limit(tail_probability, |x| distribution.sf(x)),
        Err(_) => f64::INFINITY,
    }
}

/// The value that a standard normal variable exceeds with probability `tail_probability` (at most 0.5).
#[must_use]
pub fn normal_limit(tail_probability: f64) -> f64 {
    let standard = Normal::standard();
    upper_limit(tail_probability, |x| standard.sf(x))
}

/// Solves `survival(x) = tail` for x >= 0 by bisection. Survival functions keep their digits in the tail where
/// an inverse of 1 - tail has lost them.
fn upper_limit(tail: f64, survival: impl Fn(f64) -> f64) -> f64 {
    if tail.is_nan() || tail <= 0.0 {
        return f64::INFINITY;
    }
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    while survival(high) > tail && high < 1e6 {
        high *= 2.0;
    }
    // 80 halvings of at most 2^20 end below the last bit.
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if survival(middle) > tail { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4 (upper critical values of
    /// chi-square) and 1.3.6.7.1 (normal), printed to three and four digits.
    #[test]
    fn limits_match_the_printed_tables() {
        for (tail, nu, printed) in [
            (0.05, 1, 3.841),
            (0.05, 2, 5.991),
            (0.05, 3, 7.815),
            (0.05, 10, 18.307),
            (0.01, 1, 6.635),
            (0.01, 4, 13.277),
            (0.001, 1, 10.828),
            (0.001, 2, 13.816),
            (0.001, 3, 16.266),
            (0.001, 4, 18.467),
        ] {
            let limit = chi_square_limit(tail, nu);
            assert!((limit - printed).abs() <= 6e-4, "tail {tail}, nu {nu}: {limit} against {printed}");
        }
        for (tail, printed) in [(0.1, 1.2816), (0.05, 1.6449), (0.025, 1.96), (0.01, 2.3263), (0.001, 3.0902)] {
            let limit = normal_limit(tail);
            assert!((limit - printed).abs() <= 6e-5, "tail {tail}: {limit} against {printed}");
        }
    }

    /// With 2 degrees of freedom the limit is -2 ln(tail) exactly, however small the tail.
    #[test]
    fn far_tails_keep_their_digits() {
        for tail in [5e-5, 1e-9, 1e-15] {
            let exact: f64 = -2.0 * f64::ln(tail);
            let limit = chi_square_limit(tail, 2);
            assert!((limit / exact - 1.0).abs() < 1e-11, "tail {tail}: {limit} against {exact}");
        }
    }

    #[test]
    fn odd_tails_give_no_panic() {
        assert!(chi_square_limit(0.0, 1).is_infinite());
        assert!(chi_square_limit(f64::NAN, 1).is_infinite());
        assert!(chi_square_limit(1.0, 1) < 1e-6);
        assert!(chi_square_limit(0.5, 0).is_finite());
    }
}
