//! The delivery does not go as it should: each is said, and nothing of it in a delivery that does.

use super::bay::{RATE, START_S, Story, shipped};
use brimwatch::engine::alarm::catalogue;
use brimwatch::engine::input::{AlarmId, AlarmKey, Measured};
use brimwatch::engine::settings::{Settings, SignalKind};
use brimwatch::units::Celsius;

/// Those of this file that are no prompts.
const DEVIATIONS: [AlarmId; 10] = [
    AlarmId::LevelWorking,
    AlarmId::LevelCritical,
    AlarmId::LevelSoon,
    AlarmId::NotIndependent,
    AlarmId::PadRising,
    AlarmId::PadAboveSupply,
    AlarmId::FlowStopped,
    AlarmId::OtherTankRises,
    AlarmId::LoadTemperatureOff,
    AlarmId::DewPointHigh,
];

/// The shipped bay with one signal more, read by the same device and as good as another one.
fn fitted(settings: &mut Settings, like: SignalKind, kind: SignalKind) {
    let mut signal = settings.signals.iter().find(|s| s.kind == like).expect("a signal").clone();
    signal.name = format!("{kind:?}");
    signal.kind = kind;
    (signal.plausible_low, signal.plausible_high, signal.transmitter) = (-1e7, 1e7, None);
    settings.signals.push(signal);
}

fn story() -> Story {
    let (mut settings, delivery) = shipped();
    fitted(&mut settings, SignalKind::PadPressure, SignalKind::GasSupplyPressure);
    fitted(&mut settings, SignalKind::LineTemperature, SignalKind::DewPoint);
    // Of the tank, not only of the trailer's outlet: what the site takes into it.
    settings.expected.tanks[0].temperature_low = Some(Celsius(20.0));
    settings.expected.tanks[0].temperature_high = Some(Celsius(45.0));
    Story::with(settings, delivery)
}

fn transferring() -> Story {
    let mut story = story();
    story.start();
    story.run_to(START_S + 120);
    story
}

fn open(story: &Story) -> Vec<AlarmId> {
    story.last.alarms.iter().map(|alarm| alarm.key.id).filter(|id| DEVIATIONS.contains(id)).collect()
}

/// A load that comes in as planned; the first gas is due near its end, and belongs to every delivery.
#[test]
fn a_delivery_that_goes_as_it_should_has_none() {
    let mut story = story();
    story.start();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "an hour")]
    let until_s = START_S + (0.99 * story.delivery.planned.0 / RATE) as u64;
    let mut seen = Vec::new();
    for s in (START_S..until_s).step_by(20) {
        story.run_to(s);
        seen.extend(open(&story));
    }
    assert_eq!(seen, []);
    let prompts = story.last.alarms.iter().filter(|alarm| catalogue::of(alarm.key.id).prompt);
    assert!(prompts.count() > 0, "somebody is called to the valve");
}

#[test]
fn levels_are_said_each_at_its_own() {
    for (level_m, expected) in [
        (6.0, vec![]),
        (7.05, vec![AlarmId::LevelWorking]),
        (7.3, vec![AlarmId::LevelWorking]),
        (7.65, vec![AlarmId::LevelCritical, AlarmId::LevelWorking]),
    ] {
        let mut story = transferring();
        story.stuck = vec![(SignalKind::Level, Measured::Number(level_m))];
        story.run_to(START_S + 121);
        let levels = [AlarmId::LevelWorking, AlarmId::LevelCritical];
        let mut open = open(&story);
        open.retain(|id| levels.contains(id));
        assert_eq!(open, expected, "{level_m} m");
        let high_high = story.monitor.has_open(AlarmKey { id: AlarmId::LevelHighHigh, subject: 0 });
        assert_eq!(high_high, level_m > 7.2, "{level_m} m");
    }
}

/// Ahead of "near the ceiling": the trend says so a response time before.
#[test]
fn a_pad_that_rises_is_said_before_it_is_near_its_ceiling() {
    let mut story = transferring();
    #[expect(clippy::cast_precision_loss, reason = "minutes")]
    let rising = |truth: &mut super::bay::Truth| truth.pad_pa += 600.0 * truth.s.saturating_sub(START_S + 120) as f64;
    story.bend = rising;
    story.run_to(START_S + 200);
    assert!(open(&story).contains(&AlarmId::PadRising), "{:?}", story.last.pad);
    assert!(!story.monitor.has_open(AlarmKey { id: AlarmId::PadNearCeiling, subject: 0 }));
}

#[test]
fn a_supply_that_is_lost_is_said() {
    let mut story = transferring();
    story.stuck = vec![(SignalKind::GasSupplyPressure, Measured::Number(50_000.0))];
    story.run_to(START_S + 140);
    assert_eq!(open(&story), [AlarmId::PadAboveSupply]);
}

#[test]
fn moist_gas_and_a_load_of_the_wrong_temperature_are_said() {
    let mut story = transferring();
    story.stuck = vec![(SignalKind::DewPoint, Measured::Number(-20.0))];
    story.run_to(START_S + 140);
    assert_eq!(open(&story), [AlarmId::DewPointHigh]);
    for celsius in [15.0, 50.0] {
        let mut story = transferring();
        story.stuck = vec![(SignalKind::LineTemperature, Measured::Number(celsius))];
        story.run_to(START_S + 140);
        assert_eq!(open(&story), [AlarmId::LoadTemperatureOff], "{celsius} C");
    }
}

#[test]
fn a_flow_that_stops_early_is_said_and_one_that_stops_at_the_end_is_not() {
    let mut story = transferring();
    story.stop_s = Some(START_S + 120);
    story.run_to(START_S + 200);
    assert_eq!(open(&story), [AlarmId::FlowStopped]);
    let mut story = transferring();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "an hour")]
    let end_s = START_S + (story.delivery.planned.0 / RATE) as u64;
    story.stop_s = Some(end_s);
    story.run_to(end_s + 60);
    assert!(!open(&story).contains(&AlarmId::FlowStopped));
}

/// A second tank of the bay whose gauge rises as the first one's does.
#[test]
fn another_tank_that_rises_is_said() {
    let (mut settings, delivery) = shipped();
    settings.tanks.push(settings.tanks[0].clone());
    settings.expected.tanks.push(settings.expected.tanks[0].clone());
    let mut gauge = settings.signals.iter().find(|s| s.kind == SignalKind::Level).expect("a gauge").clone();
    (gauge.tank, gauge.transmitter) = (Some(1), None);
    settings.signals.push(gauge);
    let mut story = Story::with(settings, delivery);
    story.start();
    story.run_to(START_S + 60);
    assert_eq!(open(&story), []);
    story.run_to(START_S + 200);
    assert_eq!(open(&story), [AlarmId::OtherTankRises]);
    assert!(story.last.alarms.iter().any(|alarm| alarm.key.subject == 1));
}
