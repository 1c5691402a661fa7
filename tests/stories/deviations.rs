//! The delivery does not go as it should: each is said, and nothing of it in a delivery that does.

use super::bay::{RATE, START_S, Story, shipped};
use brimwatch::engine::alarm::catalogue;
use brimwatch::engine::frame::Phase;
use brimwatch::engine::input::{AlarmId, AlarmKey, Measured};
use brimwatch::engine::settings::{DrawOff, PadTap, Settings, SignalKind};
use brimwatch::time::SECOND_NS;
use brimwatch::units::{Celsius, GaugePa};

/// Those of this file that are no prompts.
const DEVIATIONS: [AlarmId; 16] = [
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
    AlarmId::PadAtCeiling,
    AlarmId::PadFalling,
    AlarmId::PadBelowBand,
    AlarmId::DrawOffChanged,
    AlarmId::ShutoffUnknown,
    AlarmId::NearFreezing,
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

/// From the opening on, and not where nobody has said what is too cold.
#[test]
fn a_tank_that_is_near_freezing_is_said() {
    let cold = vec![(SignalKind::TankTemperature, Measured::Number(18.5))];
    let mut opened = story();
    opened.stuck.clone_from(&cold);
    opened.run_to(START_S - 1);
    assert_eq!((opened.last.phase, open(&opened)), (Phase::Opened, vec![AlarmId::NearFreezing]));
    let mut transfer = transferring();
    transfer.stuck.clone_from(&cold);
    transfer.run_to(START_S + 140);
    assert_eq!(open(&transfer), [AlarmId::NearFreezing]);
    let (mut settings, delivery) = shipped();
    settings.expected.tanks[0].temperature_low = None;
    let mut nothing_set = Story::with(settings, delivery);
    nothing_set.stuck = cold;
    nothing_set.start();
    nothing_set.run_to(START_S + 140);
    assert_eq!(open(&nothing_set), []);
}

/// A gauge on the supply side shows the trailer's pressure only while gas goes through the hose: people are called to the
/// trailer's own, at each delivery and no longer than it lasts.
#[test]
fn a_pad_that_nobody_measures_is_said() {
    let has = |story: &Story| story.monitor.has_open(AlarmKey { id: AlarmId::PadNotKnown, subject: 0 });
    assert!(!has(&transferring()), "it is measured on the trailer");
    let (mut settings, delivery) = shipped();
    settings.pad_tap = PadTap::Supply;
    let mut story = Story::with(settings, delivery);
    story.run_to(START_S - 1);
    assert!(!has(&story), "no transfer yet");
    story.start();
    story.run_to(START_S + 20);
    assert!(has(&story));
    assert!(catalogue::of(AlarmId::PadNotKnown).prompt);
    let (mut settings, delivery) = shipped();
    settings.signals.retain(|signal| signal.kind != SignalKind::PadPressure);
    let mut story = Story::with(settings, delivery);
    story.start();
    story.run_to(START_S + 20);
    assert!(has(&story), "no gauge at all");
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

/// Near its ceiling first, then at it, each for itself.
#[test]
fn a_pad_at_its_ceiling_is_said() {
    let mut story = transferring();
    let ceiling_pa = story.last.pad.ceiling_pa_gauge.expect("set");
    for (share, at) in [(0.96, false), (1.0, true)] {
        story.stuck = vec![(SignalKind::PadPressure, Measured::Number(share * ceiling_pa))];
        story.run_to(story.last.at.0 / SECOND_NS + 2);
        assert!(story.monitor.has_open(AlarmKey { id: AlarmId::PadNearCeiling, subject: 0 }));
        assert_eq!(open(&story).contains(&AlarmId::PadAtCeiling), at, "{share} of the ceiling");
    }
}

/// Before anything comes back: the trend says so a response time ahead.
#[test]
fn a_pad_that_falls_towards_the_tank_is_said() {
    let mut story = transferring();
    #[expect(clippy::cast_precision_loss, reason = "minutes")]
    let falling = |truth: &mut super::bay::Truth| {
        truth.pad_pa = (truth.pad_pa - 1_500.0 * truth.s.saturating_sub(START_S + 120) as f64).max(0.0);
    };
    story.bend = falling;
    let below = AlarmKey { id: AlarmId::PadBelowTank, subject: 0 };
    let mut said = false;
    for s in START_S + 121..START_S + 260 {
        story.run_to(s);
        said |= open(&story).contains(&AlarmId::PadFalling);
        if story.monitor.has_open(below) || story.last.pad.pressure_pa_gauge.is_some_and(|pa| pa < 20_000.0) {
            break;
        }
    }
    assert!(said, "{:?}", story.last.pad);
}

#[test]
fn a_pad_below_the_sites_least_is_said() {
    let (mut settings, delivery) = shipped();
    settings.limits.pad_minimum = Some(GaugePa(60_000.0));
    let mut story = Story::with(settings, delivery);
    story.start();
    story.run_to(START_S + 120);
    for (pad_pa, expected) in [(61_000.0, vec![]), (59_000.0, vec![AlarmId::PadBelowBand])] {
        story.stuck = vec![(SignalKind::PadPressure, Measured::Number(pad_pa))];
        story.run_to(story.last.at.0 / SECOND_NS + 10);
        let mut open = open(&story);
        open.retain(|id| *id == AlarmId::PadBelowBand);
        assert_eq!(open, expected, "{pad_pa} Pa");
    }
}

#[test]
fn another_draw_off_than_at_the_start_is_said() {
    let (mut settings, delivery) = shipped();
    fitted(&mut settings, SignalKind::LineTemperature, SignalKind::DrawOff);
    settings.tanks[0].draw_off = DrawOff::Measured;
    let mut story = Story::with(settings, delivery);
    story.stuck = vec![(SignalKind::DrawOff, Measured::Number(1.0))];
    story.start();
    story.run_to(START_S + 120);
    assert!(!open(&story).contains(&AlarmId::DrawOffChanged), "as at the start");
    let noise = story.settings.signals.last().expect("it").noise;
    story.stuck = vec![(SignalKind::DrawOff, Measured::Number(1.0 + 0.2_f64.max(6.0 * noise)))];
    story.run_to(START_S + 130);
    assert!(open(&story).contains(&AlarmId::DrawOffChanged));
}

/// While a delivery is open; a bay without a load needs no shut-off.
#[test]
fn a_shut_off_of_which_nobody_knows_is_said() {
    let (mut settings, delivery) = shipped();
    fitted(&mut settings, SignalKind::LineTemperature, SignalKind::ShutoffBypassed);
    let mut story = Story::with(settings, delivery);
    story.start();
    story.run_to(START_S + 20);
    assert!(!open(&story).contains(&AlarmId::ShutoffUnknown));
    story.silent = vec![story.device_of(SignalKind::ShutoffBypassed)];
    story.run_to(START_S + 30);
    assert!(open(&story).contains(&AlarmId::ShutoffUnknown));
}
