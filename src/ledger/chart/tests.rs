use super::*;

/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3, worked example: target 325, h 4.1959, k 0.3175. The values
/// as printed there; rows are value, sum above, sum below.
const NIST_CUSUM: [(f64, f64, f64); 20] = [
    (324.925, 0.00, 0.00),
    (324.675, 0.00, 0.01),
    (324.725, 0.00, 0.00),
    (324.350, 0.00, 0.33),
    (325.350, 0.03, 0.00),
    (325.225, 0.00, 0.00),
    (324.125, 0.00, 0.56),
    (324.525, 0.00, 0.72),
    (325.225, 0.00, 0.17),
    (324.600, 0.00, 0.25),
    (324.625, 0.00, 0.31),
    (325.150, 0.00, 0.00),
    (328.325, 3.01, 0.00),
    (327.250, 4.94, 0.00),
    (327.825, 7.45, 0.00),
    (328.500, 10.63, 0.00),
    (326.675, 11.99, 0.00),
    (327.775, 14.44, 0.00),
    (326.875, 16.00, 0.00),
    (328.350, 19.04, 0.00),
];

#[test]
fn the_cusum_is_that_of_the_handbook() {
    let mut cusum = Cusum::new(325.0, 0.3175);
    let mut first = None;
    for (group, (x, high, low)) in (1..).zip(NIST_CUSUM) {
        cusum.take(x);
        // Printed to 0.01, from values printed to 0.001.
        assert!((cusum.high - high).abs() <= 0.0055, "group {group}: {} against {high}", cusum.high);
        assert!((cusum.low - low).abs() <= 0.0055, "group {group}: {} against {low}", cusum.low);
        if cusum.high > 4.1959 {
            first.get_or_insert(group);
        }
    }
    assert_eq!(first, Some(14));
}

/// Montgomery and Runger, "Applied Statistics and Probability for Engineers", 3rd edition, Example 16-6, Table 16-8: target
/// 99, K 1, H 10, no signal.
#[test]
fn the_cusum_is_that_of_the_textbook() {
    let rows = [
        (102.0, 2.0, 0.0),
        (94.8, 0.0, 3.2),
        (98.3, 0.0, 2.9),
        (98.4, 0.0, 2.5),
        (102.0, 2.0, 0.0),
        (98.5, 0.5, 0.0),
        (99.0, 0.0, 0.0),
        (97.7, 0.0, 0.3),
        (100.0, 0.0, 0.0),
        (98.1, 0.0, 0.0),
        (101.3, 1.3, 0.0),
        (98.7, 0.0, 0.0),
        (101.1, 1.1, 0.0),
        (98.4, 0.0, 0.0),
        (97.0, 0.0, 1.0),
        (96.7, 0.0, 2.3),
        (100.3, 0.3, 0.0),
        (101.4, 1.7, 0.0),
        (97.2, 0.0, 0.8),
        (101.0, 1.0, 0.0),
    ];
    let mut cusum = Cusum::new(99.0, 1.0);
    for (sample, (x, high, low)) in (1..).zip(rows) {
        cusum.take(x);
        assert!((cusum.high - high).abs() < 1e-9, "sample {sample}: {} against {high}", cusum.high);
        assert!((cusum.low - low).abs() < 1e-9, "sample {sample}: {} against {low}", cusum.low);
    }
}

/// NIST/SEMATECH e-Handbook, 6.3.2.4, worked example: target 50, s 2.0539, weight 0.3, limits 47.4115 and 52.5884 (those of
/// many values; after 20 they are the same to the printed digits), no signal.
#[test]
fn the_ewma_is_that_of_the_handbook() {
    let rows = [
        (52.0, 50.60),
        (47.0, 49.52),
        (53.0, 50.56),
        (49.3, 50.18),
        (50.1, 50.16),
        (47.0, 49.21),
        (51.0, 49.75),
        (50.1, 49.85),
        (51.2, 50.26),
        (50.5, 50.33),
        (49.6, 50.11),
        (47.6, 49.36),
        (49.9, 49.52),
        (51.3, 50.05),
        (47.8, 49.38),
        (51.2, 49.92),
        (52.6, 50.73),
        (52.4, 51.23),
        (53.6, 51.94),
        (52.1, 51.99),
    ];
    let mut ewma = Ewma::new(50.0, 0.3);
    for (at, (x, printed)) in (1..).zip(rows) {
        ewma.take(x);
        assert!((ewma.value - printed).abs() <= 0.0055, "value {at}: {} against {printed}", ewma.value);
        assert!((ewma.value - 50.0).abs() < ewma.limit(2.0539, 3.0), "value {at}");
    }
    let limit = ewma.limit(2.0539, 3.0);
    assert!((50.0 + limit - 52.5884).abs() < 1e-4 && (50.0 - limit - 47.4115).abs() < 1e-4, "{limit}");
}

/// The first average is the weight times the first value: its deviation is the weight times that of one value.
#[test]
fn the_first_limits_are_narrower() {
    let mut ewma = Ewma::new(0.0, 0.3);
    assert!(ewma.limit(1.0, 3.0).abs() < 1e-15);
    ewma.take(1.0);
    assert!((ewma.limit(1.0, 3.0) - 0.9).abs() < 1e-12);
    ewma.take(1.0);
    // Var of 0.3 x2 + 0.21 x1.
    assert!((ewma.limit(1.0, 3.0) - 3.0 * (0.09_f64 + 0.0441).sqrt()).abs() < 1e-12);
}

/// A row that repeats itself, empty rows, and values that a damaged recording might bring.
#[test]
fn odd_rows_do_no_harm() {
    assert!(chart(&[]).points.is_empty());
    let flat = chart(&[3.0; 40]);
    assert!(flat.signals.is_empty() && flat.points.iter().all(|p| p.cusum_high == 0.0));
    let mut wild = vec![0.0; 12];
    wild.extend([1e300, -1e300, 5e-324, f64::MAX]);
    let wild = chart(&wild);
    assert!(wild.points.iter().all(|p| p.cusum_high.is_finite() && p.ewma.is_finite()));
    let jump: Vec<f64> = (0..40).map(|i| if i < 20 { 0.0 } else { 1.0 }).collect();
    let chart = chart(&jump);
    assert_eq!((chart.signals[0].side, chart.signals[0].risen_from), (Side::High, 20));
    assert_eq!(change(&chart, &chart.signals[0]).map(|c| (c.shape, c.from)), Some((Shape::Step, 20)));
}

/// An alternating row with a mean of zero; what is added to it is known.
fn row(n: usize, added: impl Fn(usize) -> f64) -> Vec<f64> {
    let pattern = [0.3, -1.1, 0.8, -0.2, 1.2, -0.9, 0.1, -0.6, 0.9, -0.5];
    (0..n).map(|i| pattern[i % 10] + added(i)).collect()
}

#[test]
fn one_delivery_far_off_is_no_lasting_change() {
    let one = chart(&row(60, |i| if i == 30 { 40.0 } else { 0.0 }));
    assert!(one.points[30].far_off && one.signals.is_empty());
    assert!(one.usual.deviation() < 1.0, "it taught nothing: {}", one.usual.deviation());
    let three = chart(&row(60, |i| if (30..33).contains(&i) { 40.0 } else { 0.0 }));
    assert_eq!(three.signals.iter().map(|s| (s.at, s.back.is_some())).collect::<Vec<_>>(), [(32, true)]);
}

#[test]
#[expect(clippy::cast_precision_loss, reason = "a few")]
fn step_and_ramp_are_told_apart_and_found_where_they_begin() {
    let step = chart(&row(60, |i| if i < 30 { 0.0 } else { 2.0 }));
    let found = change(&step, &step.signals[0]).expect("a change");
    assert_eq!((found.shape, found.from), (Shape::Step, 30));
    assert!((found.by - 2.0).abs() < 2.0 * found.u && found.u < 0.3, "{found:?}");

    let ramp = chart(&row(60, |i| -0.15 * (i as f64 - 29.0).max(0.0)));
    assert_eq!(ramp.signals[0].side, Side::Low);
    let found = change(&ramp, &ramp.signals[0]).expect("a change");
    assert_eq!(found.shape, Shape::Ramp);
    assert!(found.from.abs_diff(30) <= 4 && (found.by + 4.5).abs() < 1.0, "{found:?}");
    assert_eq!(ramp.signals[0].back, None);
}

/// Put right, the row is back within some twenty deliveries and the chart learns again.
#[test]
fn a_row_comes_back() {
    let row = row(120, |i| if (40..70).contains(&i) { 2.5 } else { 0.0 });
    let chart = chart(&row);
    let [signal] = chart.signals[..] else { panic!("{:?}", chart.signals) };
    assert!((69..=71).contains(&signal.highest), "{signal:?}");
    assert!(signal.back.is_some_and(|back| back <= 100), "{signal:?}");
    let found = change(&chart, &signal).expect("a change");
    assert!(found.from.abs_diff(40) <= 1 && (found.by - 2.5).abs() < 0.4, "{found:?}");
    assert!((chart.usual.mean()).abs() < 0.1 && chart.usual.deviation() < 0.9, "{:?}", chart.usual);
}
