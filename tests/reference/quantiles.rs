//! Chi-square thresholds against scipy and against the printed table.

use super::{ask, assert_close};
use brimwatch::config::thresholds::chi_square_limit;

#[test]
fn chi_square_limits_are_those_of_scipy() {
    let asked: Vec<(f64, u32, f64)> = ask("quantiles.py");
    assert_eq!(asked.len(), 100);
    for (tail, nu, expected) in asked {
        assert_close(chi_square_limit(tail, nu), expected, 1e-9, format!("tail {tail:e}, nu {nu}"));
    }
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4, upper critical values, to its printed digits.
#[test]
fn chi_square_limits_are_those_of_the_printed_table() {
    let printed: [(f64, &[f64]); 3] = [
        (0.05, &[3.841, 5.991, 7.815, 9.488, 11.070, 12.592, 14.067, 15.507, 16.919, 18.307]),
        (0.01, &[6.635, 9.210, 11.345, 13.277, 15.086, 16.812, 18.475, 20.090, 21.666, 23.209]),
        (0.001, &[10.828, 13.816, 16.266, 18.467]),
    ];
    for (tail, row) in printed {
        for (nu, expected) in (1_u32..).zip(row) {
            let got = chi_square_limit(tail, nu);
            assert!((got - expected).abs() <= 0.0005 + 1e-9, "tail {tail}, nu {nu}: {got} against {expected}");
        }
    }
}
