//! Corrections that a site file asks for, each against a printed or closed value; and what bad numbers must not do.

use super::bay::{RATE, START_S, Story, shipped};
use brimwatch::engine::frame::{Estimate, Frame, Source, WitnessId};
use brimwatch::engine::input::Measured;
use brimwatch::engine::settings::{Shell, SignalKind, SignalSetup, TankGeometry};
use brimwatch::engine::witness::{flow, geometry};
use brimwatch::recording::json::frame_json;
use brimwatch::units::{Celsius, KgPerM3, M3, Metre};

fn received(story: &Story, id: WitnessId) -> Estimate {
    story.last.witnesses[id as usize].received_kg.expect("it has said something")
}

/// The worked example of the trade's literature on API MPMS 12.1.1: liquid 135 F under air of 80 F makes a shell of 128 F; at
/// 6.20e-6 for each F and a table of 60 F that is 1 + 2 x 6.2e-6 x 68 + (6.2e-6 x 68)2 = 1.000843.
#[test]
fn a_warm_shell_holds_more() {
    let celsius = |f: f64| Celsius((f - 32.0) / 1.8);
    let shell = Shell { per_k: 6.2e-6 * 1.8, reference: celsius(60.0) };
    assert!((geometry::shell_factor(Some(shell), celsius(128.0)) - 1.000_843).abs() < 5e-7);
    assert_eq!(geometry::shell_factor(None, celsius(128.0)).to_bits(), 1.0_f64.to_bits());
    // 15 K above its reference at 1.12e-5 for each C: 0.0336 % of what came in.
    let (mut settings, delivery) = shipped();
    let plain = Story::with(settings.clone(), delivery.clone());
    settings.tanks[0].shell = Some(Shell { per_k: 1.12e-5, reference: Celsius(20.0) });
    let mut both = [plain, Story::with(settings, delivery)];
    for story in &mut both {
        story.start();
        // What is shown moves by the meter for a minute: read once nothing has moved for longer.
        story.stop_s = Some(START_S + 1200);
        story.run_to(START_S + 1290);
    }
    let [plain, warm] = both.map(|story| received(&story, WitnessId::Tank).value);
    assert!((warm / plain - 1.000_336).abs() < 5e-6, "{plain} {warm}");
}

/// (1 - 1.2/8000)/(1 - 1.2/rho), by hand at 1525.3 kg/m3: 1.0006372.
#[test]
fn a_meter_of_apparent_mass_is_corrected_once() {
    let (mut settings, delivery) = shipped();
    for signal in &mut settings.signals {
        signal.apparent_mass = matches!(signal.kind, SignalKind::FlowMassTotal | SignalKind::FlowMassRate);
    }
    let total = settings.signals.iter().find(|s| s.kind == SignalKind::FlowMassTotal).expect("fitted").clone();
    assert!((flow::true_mass(&total, 1525.3) - 1.000_637_2).abs() < 5e-8);
    let (mut apparent, mut plain) = (Story::with(settings, delivery), Story::opened());
    for story in [&mut apparent, &mut plain] {
        story.start();
        story.run_to(START_S + 1200);
    }
    let [apparent, plain] = [apparent, plain].map(|story| received(&story, WitnessId::Flow).value + 0.04 * 1514.5);
    assert!((apparent / plain - 1.000_642_5).abs() < 1e-6, "at 1514.5 kg/m3: {apparent} {plain}");
    assert!((plain - (RATE * 1200.0 - 0.015 * 1514.5)).abs() < 1.0);
}

/// A heel of 19.3 t at 25 C and a load of 20 t at 45 C come to 35 C together: the heel grows by what the load shrinks, but
/// for the bend of the density's curve. With the curve of 50 % caustic soda, 1539.977 - 0.738568 t + 2.86696e-4 t2 kg/m3 (fit to
/// the table of the International Critical Tables), that is less than 5 kg, so no term for it is needed.
#[test]
fn heat_exchanged_between_heel_and_load_moves_no_mass() {
    let rho = |t: f64| 1539.977 - 0.738_568 * t + 2.866_96e-4 * t * t;
    let area = std::f64::consts::PI / 4.0 * 2.84 * 2.84;
    let (heel_m3, load_kg) = (2.0 * area, 20_000.0);
    let heel_kg = heel_m3 * rho(25.0);
    let mixed_c = (25.0 * heel_kg + 45.0 * load_kg) / (heel_kg + load_kg);
    let apart_m3 = heel_m3 + load_kg / rho(45.0);
    let mixed_m3 = (heel_kg + load_kg) / rho(mixed_c);
    let (settings, mut delivery) = shipped();
    delivery.product.density =
        (0..=8).map(|i| Celsius(20.0 + 5.0 * f64::from(i))).map(|t| (t, KgPerM3(rho(t.0)))).collect();
    let mut said = [apart_m3, mixed_m3].map(|m3| {
        let mut story = Story::with(settings.clone(), delivery.clone());
        let at = |m3: f64, tank_c: f64| {
            vec![
                (SignalKind::Level, Measured::Number(m3 / area)),
                (SignalKind::LineTemperature, Measured::Number(45.0)),
                (SignalKind::TankTemperature, Measured::Number(tank_c)),
            ]
        };
        story.stuck = at(heel_m3, 25.0);
        story.start();
        story.stuck = at(m3, mixed_c);
        story.run_to(START_S + 1);
        received(&story, WitnessId::Tank).value
    });
    said.sort_by(f64::total_cmp);
    assert!(said[1] - said[0] < 5.0 && (said[0] - load_kg).abs() < 30.0, "{said:?}");
}

fn is_finite(frame: &Frame) -> bool {
    !frame_json(frame).to_string().contains("not finite")
}

/// Settings that no site file can make, as a damaged recording may hold them: nothing panics, nothing is no number.
#[test]
fn impossible_tables_make_no_numbers() {
    let folds = vec![(Metre(0.0), M3(0.0)), (Metre(5.0), M3(30.0)), (Metre(3.0), M3(20.0)), (Metre(8.0), M3(50.0))];
    let (settings, delivery) = shipped();
    for bad in 0..5 {
        let (mut settings, mut delivery) = (settings.clone(), delivery.clone());
        match bad {
            0 => settings.tanks[0].geometry = TankGeometry::Strapping(folds.clone()),
            1 => settings.tanks[0].geometry = TankGeometry::Strapping(Vec::new()),
            2 => delivery.product.density.iter_mut().for_each(|(_, d)| d.0 = -d.0),
            3 => delivery.product.density.truncate(1),
            _ => delivery.product.load_temperature = Celsius(250.0),
        }
        let mut story = Story::with(settings, delivery);
        story.start();
        story.run_to(START_S + 300);
        assert!(is_finite(&story.last), "{bad}");
    }
}

/// A thermometer of the line far outside the product's table: no density, and what hangs on it says so instead of a number.
#[test]
fn a_temperature_outside_the_table_loses_what_hangs_on_it() {
    use brimwatch::engine::frame::{Reason, Validity};
    let mut story = Story::transferring(START_S + 300);
    let before = received(&story, WitnessId::Tank).value;
    story.stuck = vec![(SignalKind::LineTemperature, Measured::Number(140.0))];
    story.run_to(START_S + 310);
    let tank = &story.last.witnesses[WitnessId::Tank as usize];
    assert_eq!(tank.validity, Validity::Lost(Reason::OffTheTable));
    assert!((received(&story, WitnessId::Tank).value - before).abs() < 20.0, "its last word stands");
}

/// A meter that counts nothing below 0.05 kg/s: ten minutes in which it shows none are a rectangular 30 kg, u = 30/sqrt(3)
/// (JCGM 100:2008, 4.3.7); a valve that is read and closed says that nothing went by.
#[test]
fn what_is_too_slow_for_the_meter_widens_it() {
    for valve_closed in [false, true] {
        let (mut settings, delivery) = shipped();
        for signal in settings.signals.iter_mut().filter(|s| s.kind == SignalKind::FlowMassRate) {
            signal.low_flow = 0.05;
        }
        if valve_closed {
            let switch =
                settings.signals.iter().find(|s| s.kind == SignalKind::HighLevelSwitch).expect("fitted").clone();
            settings.signals.push(SignalSetup { kind: SignalKind::ShutoffClosed, name: "shut-off".into(), ..switch });
        }
        let mut story = Story::with(settings, delivery);
        story.start();
        story.run_to(START_S + 600);
        let line = |story: &Story| {
            let lines = &story.last.witnesses[WitnessId::Flow as usize].budget;
            lines.iter().find(|c| c.source == Source::LowFlow).map_or(0.0, |c| c.kg)
        };
        assert!(line(&story) < 0.05 * 2.0, "it flows: {}", line(&story));
        story.stop_s = Some(START_S + 600);
        if valve_closed {
            story.stuck = vec![(SignalKind::ShutoffClosed, Measured::Flag(true))];
        }
        story.run_to(START_S + 1_200);
        let expected = if valve_closed { 0.0 } else { 30.0 / 3.0_f64.sqrt() };
        assert!((line(&story) - expected).abs() < 0.1, "{valve_closed}: {}", line(&story));
    }
}
