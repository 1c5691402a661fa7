//! A hydrostatic gauge as the tank's witness, and two gauges of one tank held against each other. A mass weighs what it
//! weighs: p = rho g h in the story, g = 9.80665 m/s2, and the truth is 5 kg/s.

use super::bay::{RATE, START_S, Story, shipped};
use brimwatch::engine::frame::{Estimate, Margin, Reason, Slip, Source, Validity, VerdictWord, WitnessId};
use brimwatch::engine::input::{AlarmId, AlarmKey, Measured, Status};
use brimwatch::engine::settings::{Settings, SignalKind, SignalSetup, TankGeometry};
use brimwatch::units::{KgPerM3, M3, Metre};

const TANK: usize = WitnessId::Tank as usize;
const GRAVITY: f64 = 9.806_65;

/// The gauge as a transmitter at the bottom: 30 Pa of noise, 0.1 % of span.
fn hydrostatic(level: &SignalSetup) -> SignalSetup {
    SignalSetup {
        kind: SignalKind::LevelPressure,
        name: "tank 204 bottom pressure".into(),
        plausible_low: -5e3,
        plausible_high: 1e6,
        saturates_at: None,
        division: 0.0,
        noise: 30.0,
        slow_noise: 0.0,
        gain: 0.001,
        zero: 50.0,
        lag_s: 0.0,
        ..level.clone()
    }
}

fn only_hydrostatic(settings: &mut Settings) {
    let level = settings.signals.iter_mut().find(|s| s.kind == SignalKind::Level).expect("a gauge");
    *level = hydrostatic(level);
}

fn witness(story: &Story) -> (Validity, Estimate) {
    let witness = &story.last.witnesses[TANK];
    (witness.validity, witness.received_kg.expect("it has said something"))
}

/// The tank's vapour space goes up by 4 kPa meanwhile, which is 2.5 t of column. Measured, it is taken off; not measured, the
/// witness is doubtful and says how little it knows. A density entered 2 % wrong makes nothing of it in a cylinder.
#[test]
fn a_hydrostatic_gauge_weighs() {
    for (measured, entered) in [(true, 1.0), (true, 1.02), (false, 1.0)] {
        let (mut settings, mut delivery) = shipped();
        only_hydrostatic(&mut settings);
        if !measured {
            settings.signals.retain(|s| s.kind != SignalKind::TankPressure);
        }
        for (_, density) in &mut delivery.product.density {
            *density = KgPerM3(density.0 * entered);
        }
        let mut story = Story::with(settings, delivery);
        if measured {
            story.bend =
                |truth| truth.vapour_pa += 4_000.0 * (truth.s.saturating_sub(START_S) as f64 / 1200.0).min(1.0);
        }
        story.start();
        story.run_to(START_S + 1200);
        let (validity, e) = witness(&story);
        let truth = RATE * 1200.0 - 0.055 * 1514.5;
        assert!((e.value - truth).abs() < 3.0 * e.u, "{measured} {entered}: {e:?} against {truth}");
        let density = story.last.witnesses[TANK].budget.iter().find(|c| c.source == Source::Density);
        assert!(density.is_none_or(|c| c.kg.abs() < 1e-6), "it cancels: {density:?}");
        if measured {
            assert_eq!(validity, Validity::Good);
            // 200 Pa of noise of an ordinary transmitter above the liquid are 129 kg.
            assert!(e.u < 150.0, "{e:?}");
            assert_eq!(story.last.verdict.word, VerdictWord::Agree);
        } else {
            assert_eq!(validity, Validity::Doubtful(Reason::MissingCorrection));
            assert!(e.u > 600.0, "a kilopascal is 646 kg here: {e:?}");
        }
    }
}

/// In a lying cylinder 2 m across and 5 m long, from a quarter to three quarters of its height: by the closed form for a
/// segment the fractions filled are 0.195501 and 0.804499 (the printed tables of such tanks: 19.6 %).
#[test]
fn in_a_lying_cylinder_it_weighs_as_well() {
    let (radius, length): (f64, f64) = (1.0, 5.0);
    let segment =
        |h: f64| radius * radius * ((radius - h) / radius).acos() - (radius - h) * (2.0 * radius * h - h * h).sqrt();
    let rows = (0..=400).map(|i| f64::from(i) * 2.0 * radius / 400.0);
    let rows = rows.map(|h| (Metre(h), M3(segment(h.min(2.0 * radius - 1e-12)) * length)));
    let (mut settings, delivery) = shipped();
    only_hydrostatic(&mut settings);
    settings.tanks[0].geometry = TankGeometry::Strapping(rows.collect());
    (settings.tanks[0].working, settings.tanks[0].high_high) = (Metre(1.7), Metre(1.8));
    settings.tanks[0].critical = Metre(1.9);
    let mut story = Story::with(settings, delivery);
    let density = 1514.5;
    let at = |h: f64| vec![(SignalKind::LevelPressure, Measured::Number(500.0 + density * GRAVITY * h))];
    story.stuck = at(0.5);
    story.start();
    story.stuck = at(1.5);
    story.run_to(START_S + 1);
    let (_, e) = witness(&story);
    let expected = (0.804_499 - 0.195_501) * std::f64::consts::PI * length * density;
    assert!((e.value / expected - 1.0).abs() < 1e-4, "{e:?} against {expected}");
}

/// It counts for safety too: high-high by pressure alone.
#[test]
fn a_hydrostatic_gauge_alarms_at_high_high() {
    let (mut settings, delivery) = shipped();
    only_hydrostatic(&mut settings);
    let mut story = Story::with(settings, delivery);
    story.run_to(START_S);
    let high = AlarmKey { id: AlarmId::LevelHighHigh, subject: 0 };
    assert!(!story.monitor.has_open(high));
    story.bend = |truth| truth.opening_m = 7.3;
    story.run_to(START_S + 5);
    assert!(story.monitor.has_open(high));
    assert!(matches!(story.last.margin, Margin::Known { kg, .. } if kg < 0.0));
}

/// A radar and a transmitter at the bottom rise alike; then the radar loses its echo and stays 200 mm low. Both are doubted and
/// said, and the higher one counts.
#[test]
fn two_gauges_that_rise_unlike_are_said() {
    let (mut settings, delivery) = shipped();
    let level = settings.signals.iter().find(|s| s.kind == SignalKind::Level).expect("a gauge").clone();
    settings.signals.push(hydrostatic(&level));
    let mut story = Story::with(settings, delivery);
    story.start();
    story.run_to(START_S + 900);
    let (radar, bottom) = (story.signal_of(SignalKind::Level), story.signal_of(SignalKind::LevelPressure));
    let validity = |story: &Story, signal: u16| story.last.readings[usize::from(signal)].validity;
    assert_eq!([radar, bottom].map(|s| validity(&story, s)), [Validity::Good; 2]);
    story.low_m = 0.2;
    story.run_to(START_S + 900 + 80);
    let doubted = Validity::Doubtful(Reason::Unlikely(Slip::GaugesDiffer));
    assert_eq!([radar, bottom].map(|s| validity(&story, s)), [doubted; 2]);
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::ReadingUnlikely, subject: radar }));
    let Margin::Known { parts, .. } = &story.last.margin else { panic!("known") };
    let truth_kg = 2.0 * 1514.5 * std::f64::consts::PI / 4.0 * 2.84 * 2.84 + RATE * 980.0 - 0.055 * 1514.5;
    assert!(parts.contents_kg > truth_kg - 60.0, "the one that is right is not outvoted: {parts:?}");
    story.low_m = 0.0;
    story.run_to(START_S + 1_000);
    assert_eq!(validity(&story, radar), Validity::Good);
}

/// The radar is lost: the transmitter at the bottom takes its place from its own start, with its own budget, and it is said. The
/// radar is taken back only once it has been usable for a while, not at every flicker.
#[test]
fn the_second_gauge_takes_the_place_of_the_first() {
    let (mut settings, delivery) = shipped();
    let level = settings.signals.iter().find(|s| s.kind == SignalKind::Level).expect("a gauge").clone();
    settings.signals.push(hydrostatic(&level));
    let mut story = Story::with(settings, delivery);
    story.start();
    story.run_to(START_S + 900);
    let (validity, before) = witness(&story);
    assert_eq!(validity, Validity::Good);
    let nan = vec![(SignalKind::Level, Measured::NotANumber)];
    story.stuck = nan.clone();
    story.run_to(START_S + 1_000);
    let (validity, by_other) = witness(&story);
    assert_eq!(validity, Validity::Doubtful(Reason::OtherGauge));
    let truth_kg = RATE * 1_000.0 - 0.055 * 1514.5;
    assert!((by_other.value - truth_kg).abs() < 3.0 * by_other.u, "{by_other:?} against {truth_kg}");
    // The vapour space's transmitter of 200 Pa counts twice: 182 kg, and no more than that however long it lasts.
    assert!(by_other.u > before.u && by_other.u < 250.0, "{before:?} {by_other:?}");
    assert_eq!(story.last.verdict.word, VerdictWord::Agree, "another gauge is no fault");
    story.stuck.clear();
    story.run_to(START_S + 1_003);
    assert_eq!(witness(&story).0, Validity::Doubtful(Reason::OtherGauge), "three seconds are a flicker");
    story.run_to(START_S + 1_020);
    assert_eq!(witness(&story).0, Validity::Good);
    assert_eq!(story.last.verdict.word, VerdictWord::Agree);
    // With no gauge left it is the first one's reason that is said.
    story.stuck = nan.into_iter().chain([(SignalKind::LevelPressure, Measured::Exception(4))]).collect();
    story.run_to(START_S + 1_025);
    assert_eq!(witness(&story).0, Validity::Lost(Reason::NotANumber));
}

/// NAMUR NE 107, out of specification: what a device doubts of itself its witness is doubted for, with that reason; so is the
/// scale for the pad pressure that it is corrected by.
#[test]
fn a_doubtful_signal_makes_its_witness_doubtful() {
    let says = Reason::DeviceSays(Status::OutOfSpecification);
    for (kind, id) in [
        (SignalKind::FlowMassTotal, WitnessId::Flow),
        (SignalKind::Scale, WitnessId::Scale),
        (SignalKind::PadPressure, WitnessId::Scale),
        (SignalKind::Level, WitnessId::Tank),
        (SignalKind::LineTemperature, WitnessId::Tank),
    ] {
        let mut story = Story::transferring(START_S + 300);
        story.status = vec![(kind, Status::OutOfSpecification)];
        story.run_to(START_S + 303);
        for witness in &story.last.witnesses {
            let expected = if witness.id == id { Validity::Doubtful(says) } else { Validity::Good };
            assert_eq!(witness.validity, expected, "{kind:?} {:?}", witness.id);
        }
        assert!(matches!(story.last.margin, Margin::Known { .. }), "it still counts for safety");
    }
}
