//! The worked examples H.1 to H.3 of the GUM (JCGM 100:2008): effective degrees of freedom, correlation by shared sources and
//! the filter's estimate against GTC, the GUM Tree Calculator, and against the printed figures.

use super::{ask, assert_close};
use brimwatch::engine::filter::{Filter, STATES, Vector};
use brimwatch::engine::witness::{Budget, SOURCES};
use brimwatch::uncertainty::{combined, coverage, effective_degrees};
use serde::Deserialize;

#[derive(Deserialize)]
struct Gum {
    h1: EndGauge,
    h2: Resistance,
    h3: Thermometer,
}

#[derive(Deserialize)]
struct EndGauge {
    u: f64,
    degrees: f64,
    k99: f64,
}

#[derive(Deserialize)]
struct Resistance {
    inputs: [f64; 3],
    input_u: [f64; 3],
    input_r: [f64; 3],
    u: [f64; 3],
    r: [f64; 3],
}

#[derive(Deserialize)]
struct Thermometer {
    t: Vec<f64>,
    b: Vec<f64>,
    s2: f64,
    line: [f64; 2],
    u: [f64; 2],
    r: f64,
    at_30: [f64; 3],
    k95: f64,
}

/// H.1: sensitivities and degrees of freedom of table H.1; printed: 32 nm, 16, 93 nm (99 %).
#[test]
fn an_end_gauge_has_sixteen_degrees_of_freedom() {
    let EndGauge { u, degrees, k99 } = ask::<Gum>("gum.py").h1;
    let (length_m, alpha, theta) = (50.000_623e-3, 11.5e-6, -0.1);
    let uniform = |half: f64| half / 3f64.sqrt();
    let parts = [
        (25e-9, 18.0),
        (5.8e-9, 24.0),
        (3.9e-9, 5.0),
        (6.7e-9, 8.0),
        (length_m * theta * uniform(1e-6), 50.0),
        (length_m * alpha * uniform(0.05), 2.0),
    ];
    // Effects that cancel to first order count nothing: the expansion and the temperature themselves.
    assert_close(combined(&parts), u, 1e-3, "u");
    assert_close(effective_degrees(&parts), degrees, 1e-3, "degrees of freedom");
    assert_close(coverage(degrees, 0.99), k99, 1e-6, "k for 99 %");
    assert_eq!(effective_degrees(&parts).floor(), 16.0);
    assert!((combined(&parts) - 32e-9).abs() < 0.5e-9);
    assert!((coverage(degrees, 0.99) * combined(&parts) - 93e-9).abs() < 0.6e-9);
}

/// H.2: voltage, current and phase that are strongly correlated, as independent sources shared by three results: a source is a
/// column of the Cholesky factor of their covariance. Printed: 0.071, 0.295, 0.236; -0.588, -0.485, 0.993.
#[test]
fn shared_sources_correlate_three_results() {
    let Resistance { inputs: [v, i, phi], input_u, input_r, u, r } = ask::<Gum>("gum.py").h2;
    let at = |a: usize, b: usize| if a == b { 1.0 } else { input_r[a + b - 1] };
    let mut factor = [[0.0; 3]; 3];
    for a in 0..3 {
        for b in 0..=a {
            let known: f64 = (0..b).map(|k| factor[a][k] * factor[b][k]).sum();
            factor[a][b] = if a == b { (1.0 - known).sqrt() } else { (at(a, b) - known) / factor[b][b] };
        }
    }
    let (sin, cos) = phi.sin_cos();
    let sensitivities = [
        [cos / i, -v * cos / (i * i), -v * sin / i],
        [sin / i, -v * sin / (i * i), v * cos / i],
        [1.0 / i, -v / (i * i), 0.0],
    ];
    let budgets = sensitivities.map(|row| {
        let mut budget = Budget::ZERO;
        for (input, sensitivity) in row.into_iter().enumerate() {
            for (source, share) in SOURCES.into_iter().zip(factor[input]) {
                budget.add(source, sensitivity * input_u[input] * share);
            }
        }
        budget
    });
    let correlation = |a: usize, b: usize| budgets[a].covariance(&budgets[b]) / (budgets[a].u_kg() * budgets[b].u_kg());
    let printed = ([0.071, 0.295, 0.236], [-0.588, -0.485, 0.993]);
    for (k, (a, b)) in [(0, 1), (0, 2), (1, 2)].into_iter().enumerate() {
        assert_close(budgets[k].u_kg(), u[k], 1e-9, format!("u of result {k}"));
        assert_close(correlation(a, b), r[k], 1e-9, format!("correlation of {a} and {b}"));
        assert!((budgets[k].u_kg() - printed.0[k]).abs() < 1e-3 && (correlation(a, b) - printed.1[k]).abs() < 1e-3);
    }
}

/// H.3: two constant states with a wide prior and eleven rows are a straight line by least squares. Printed: -0.1712 (29),
/// 0.00218 (67), -0.930; at 30 C -0.1494 (41) with 9 degrees of freedom.
#[test]
fn the_filter_reads_a_thermometers_line() {
    let Thermometer { t, b, s2, line, u, r, at_30, k95 } = ask::<Gum>("gum.py").h3;
    // A prior of 10 C on either, three thousand times what comes out: it moves the result by a ten-millionth.
    const WIDE: f64 = 10.0;
    let row = |t_c: f64| {
        let mut h: Vector = [0.0; STATES];
        (h[0], h[1]) = (WIDE, WIDE * (t_c - 20.0));
        h
    };
    let mut filter = Filter::default();
    for (t_c, b_c) in t.iter().zip(&b) {
        let expected = filter.expect(&row(*t_c), s2);
        filter.take(&expected, b_c - expected.value);
    }
    let unit = |k: usize| {
        let mut h: Vector = [0.0; STATES];
        h[k] = WIDE;
        h
    };
    for k in 0..2 {
        assert_close(WIDE * filter.x()[k], line[k], 1e-5, format!("term {k}"));
        assert_close(filter.covariance(&unit(k), &unit(k)).sqrt(), u[k], 1e-5, format!("u of term {k}"));
    }
    let both = filter.covariance(&unit(0), &unit(1));
    assert_close(both / (u[0] * u[1]), r, 1e-4, "correlation");
    let read = filter.expect(&row(30.0), 0.0);
    assert_close(read.value, at_30[0], 1e-5, "at 30 C");
    assert_close(read.variance.sqrt(), at_30[1], 1e-5, "u at 30 C");
    assert!((read.value + 0.1494).abs() < 1e-4 && (read.variance.sqrt() - 0.0041).abs() < 1e-4);
    // Both terms come of one fit of nine degrees of freedom.
    assert_close(coverage(at_30[2], 0.95), k95, 1e-6, "k for 95 %");
}
