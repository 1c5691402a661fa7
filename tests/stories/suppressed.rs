//! Suppressed by design after ANSI/ISA-18.2 as published: what the state of the plant makes come as a matter of course calls
//! nobody out, is named, and is never what warns of harm.

use super::bay::{START_S, Story, shipped};
use brimwatch::engine::frame::{Phase, Suppressed, SuppressedBy};
use brimwatch::engine::input::{AlarmId, AlarmKey, Measured, What};
use brimwatch::engine::settings::SignalKind;

const EVERY_PHASE: [Phase; 4] = [Phase::Idle, Phase::Opened, Phase::Transfer, Phase::Closed];

/// A bay whose signals of that kind are suppressed in those phases, whatever `check` would say to that.
fn suppressing(kind: SignalKind, phases: &[Phase]) -> (Story, AlarmKey) {
    let (mut settings, delivery) = shipped();
    settings.signals.iter_mut().filter(|s| s.kind == kind).for_each(|s| s.suppressed_in = phases.to_vec());
    let story = Story::with(settings, delivery);
    let key = AlarmKey { id: AlarmId::SignalLost, subject: story.signal_of(kind) };
    (story, key)
}

/// A value that no such signal can have.
fn nonsense(kind: SignalKind) -> (SignalKind, Measured) {
    (kind, Measured::Number(5.0e7))
}

#[test]
fn what_is_off_by_design_is_named_and_comes_when_the_transfer_starts() {
    let kind = SignalKind::LineTemperature;
    let (mut story, key) = suppressing(kind, &[Phase::Opened]);
    story.stuck = vec![nonsense(kind)];
    story.run_to(5);
    assert!(!story.monitor.has_open(key), "nobody is called");
    assert_eq!(story.last.suppressed, [Suppressed { key, by: SuppressedBy::SiteFile }]);
    story.start();
    story.run_to(START_S + 2);
    assert!(story.monitor.has_open(key), "its condition holds still");
    assert!(story.last.suppressed.is_empty(), "{:?}", story.last.suppressed);
}

/// What was called out is not taken away by a change of phase.
#[test]
fn an_open_alarm_stays_until_it_is_seen() {
    let kind = SignalKind::LineTemperature;
    let (mut story, key) = suppressing(kind, &[Phase::Closed]);
    story.start();
    story.run_to(START_S + 100);
    story.stuck = vec![nonsense(kind)];
    story.run_to(START_S + 102);
    story.entry(What::Closed);
    story.run_to(START_S + 200);
    assert_eq!(story.last.suppressed, [Suppressed { key, by: SuppressedBy::SiteFile }]);
    assert!(story.monitor.has_open(key), "nobody has seen it");
    story.entry(What::Seen(key));
    story.run_to(START_S + 220);
    assert!(!story.monitor.has_open(key), "seen, and suppressed for the off-delay");
}

/// Neither a phase nor a setting silences level, pressure, mass, product or reaction, nor what they are told by.
#[test]
fn nothing_that_warns_of_harm_is_suppressed() {
    let (settings, _) = shipped();
    let spare = [
        SignalKind::LineTemperature,
        SignalKind::GasSupplyPressure,
        SignalKind::PadGasTemperature,
        SignalKind::DrawOff,
        SignalKind::DewPoint,
    ];
    let mut looked_at = 0;
    for kind in settings.signals.iter().map(|s| s.kind).filter(|kind| !spare.contains(kind) && !is_flag(*kind)) {
        let (mut story, key) = suppressing(kind, &EVERY_PHASE);
        story.silent = vec![story.device_of(kind)];
        story.run_to(5);
        assert!(story.monitor.has_open(key), "{kind:?}");
        assert!(story.last.suppressed.iter().all(|s| s.key != key), "{kind:?}: {:?}", story.last.suppressed);
        looked_at += 1;
    }
    assert!(looked_at >= 5, "{looked_at} kinds");
    // Whatever a site file may come to say, a transfer is never silent.
    let kind = SignalKind::LineTemperature;
    let (mut story, key) = suppressing(kind, &EVERY_PHASE);
    story.start();
    story.run_to(START_S + 100);
    story.stuck = vec![nonsense(kind)];
    story.run_to(START_S + 102);
    assert!(story.monitor.has_open(key) && story.last.suppressed.iter().all(|s| s.key != key));
}

fn is_flag(kind: SignalKind) -> bool {
    use SignalKind as K;
    matches!(kind, K::HighLevelSwitch | K::ShutoffBypassed | K::ShutoffClosed | K::EmergencyStop)
}

/// A density meter with gas in it is below its range, and as it should be: until liquid flows.
#[test]
fn gas_in_the_density_meter_is_named_and_called_out_when_liquid_flows() {
    let mut story = Story::opened();
    let key = AlarmKey { id: AlarmId::SignalLost, subject: story.signal_of(SignalKind::LineDensity) };
    story.stuck = vec![(SignalKind::LineDensity, Measured::Number(3.0))];
    story.run_to(5);
    assert_eq!(story.last.suppressed, [Suppressed { key, by: SuppressedBy::GasInLine }]);
    assert!(!story.monitor.has_open(key));
    story.start();
    story.run_to(START_S + 200);
    assert!(story.monitor.has_open(key), "liquid flows");
    assert!(story.last.suppressed.is_empty());
    // Above its range it shows no gas.
    let mut story = Story::opened();
    story.stuck = vec![(SignalKind::LineDensity, Measured::Number(5_000.0))];
    story.run_to(5);
    assert!(story.monitor.has_open(key) && story.last.suppressed.is_empty());
}
