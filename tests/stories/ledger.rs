//! Sixty deliveries of a bay: one scale drifts slowly from the thirtieth on, and the charts name it.

use brimwatch::ledger::{Instrument, Mass, Row, findings, pairs};
use brimwatch_simulator::noise::Chance;

/// So much of each load that the scale shows more with each delivery from [`FROM`] on, kg.
const EACH_KG: f64 = 3.0;
/// The first delivery that is off, counted from 0.
const FROM: usize = 30;

/// A row of deliveries of about 20 t. Meter gain, tank table and scale span are off for good, each delivery adds noise of
/// its own; `off_kg` is what the scale shows more.
fn rows(seed: u64, count: usize, off_kg: impl Fn(usize) -> f64) -> Vec<Row> {
    let mut chance = Chance::new(seed, 3);
    let [gain, span, table] = [0.0015, 0.0005, 0.0025].map(|u| u * chance.normal());
    let one = |at: usize| {
        let load_kg = 20_000.0 + 800.0 * chance.normal();
        let mut mass = |gain: f64, noise_kg: f64, off_kg: f64, u_kg: f64| {
            Some(Mass { kg: load_kg * (1.0 + gain) + noise_kg * chance.normal() + off_kg, u_kg })
        };
        let witnesses = [mass(gain, 12.0, 0.0, 32.0), mass(span, 14.0, off_kg(at), 15.6), mass(table, 20.0, 0.0, 53.5)];
        let ticket_kg = mass(0.0, 20.0, 0.0, 20.0).expect("a mass");
        let at_unix_ns = 1_792_886_400_000_000_000 + i64::try_from(at).expect("a few") * 86_400_000_000_000;
        Row {
            recordings: Vec::new(),
            drill: false,
            imported: false,
            bay: "Bay 1".into(),
            delivery: format!("D{at}"),
            leg: 1,
            product: "caustic soda 50 %".into(),
            tank: "T-1".into(),
            carrier: None,
            opened_unix_ns: Some(at_unix_ns),
            started_unix_ns: Some(at_unix_ns),
            closed_unix_ns: Some(at_unix_ns),
            is_closed: true,
            rejected: None,
            planned_kg: 20_000.0,
            ticket_net_kg: ticket_kg.kg,
            ticket_kg,
            witnesses,
            pairs_u_kg: [None; 3],
            received_kg: witnesses[1],
            in_line_kg: Some(Mass { kg: 0.0, u_kg: 0.0 }),
            difference_kg: None,
            left_on_board_kg: None,
            en: None,
            verdict: "agree".into(),
            alarms: 0,
            prompts: 0,
            gaps: 0,
            amendments: 0,
            damage: Vec::new(),
        }
    };
    (0..count).map(one).collect()
}

#[expect(clippy::cast_precision_loss, reason = "a few")]
fn drift(at: usize) -> f64 {
    EACH_KG * (at as f64 + 1.0 - FROM as f64).max(0.0)
}

/// The scale is named in nine of ten works, nobody else ever; the change point lies about the thirtieth delivery.
#[test]
fn a_scale_that_drifts_is_named_with_the_delivery_it_began_at() {
    let (mut named, mut from, mut by_kg) = (0, Vec::new(), Vec::new());
    for seed in 0..40 {
        let rows = rows(seed, 60, drift);
        let pairs = pairs(&rows);
        for finding in findings(&pairs).iter().filter(|finding| finding.until.is_none()) {
            let [(instrument, _)] = &finding.moved[..] else { continue };
            assert_eq!(*instrument, Instrument::Scale, "seed {seed}");
            named += 1;
            from.push(finding.from);
            by_kg.push(finding.by_kg.kg.abs());
        }
    }
    from.sort_unstable();
    by_kg.sort_by(f64::total_cmp);
    println!("named {named} of 40; from {from:?}; by {by_kg:?} kg");
    assert!(named >= 36, "{named} of 40");
    let (middle, middle_kg) = (from[from.len() / 2], by_kg[by_kg.len() / 2]);
    assert!(middle.abs_diff(FROM) <= 4, "{middle}");
    assert!((middle_kg - EACH_KG * 30.0).abs() < 20.0, "{middle_kg}");
}

/// Without drift no instrument is named, and a chart signals about as often as its run length of 1277 says: of 6
/// charts over 40 works with 50 judged deliveries, 12,000 / 1277 = 9 signals are to be expected, in clusters: the charts
/// of a bay share their instruments.
#[test]
fn without_drift_no_instrument_is_blamed() {
    let (mut signals, mut named) = (0, 0);
    for seed in 100..140 {
        let rows = rows(seed, 60, |_| 0.0);
        let pairs = pairs(&rows);
        assert_eq!(pairs.len(), 6);
        signals += pairs.iter().map(|pair| pair.chart.signals.len()).sum::<usize>();
        named += findings(&pairs).iter().filter(|finding| finding.moved.len() == 1).count();
    }
    println!("without drift: {signals} signals on 12,000 judged differences, {named} instruments named in 40 works");
    assert!(signals <= 28, "{signals}");
    assert!(named <= 4, "{named} of 40");
}

/// A drill is on no chart.
#[test]
fn drills_are_on_no_chart() {
    let mut rows = rows(7, 60, drift);
    rows.iter_mut().for_each(|row| row.drill = true);
    assert!(pairs(&rows).is_empty());
}
