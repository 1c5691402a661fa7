//! Signals that go: said at once, used no more, kept in the margin.

use super::bay::{RATE, START_S, Story};
use brimwatch::engine::frame::{Margin, Pessimist, Reason, Validity, VerdictWord, WitnessId};
use brimwatch::engine::input::{AlarmId, AlarmKey, Event, Gap, GapClock, Measured, MissReason, Poll};
use brimwatch::engine::settings::SignalKind;
use brimwatch::time::{EngineTime, SECOND_NS};

const FLOW: usize = WitnessId::Flow as usize;

#[test]
fn a_silent_device_is_lost_at_once_and_back_when_it_answers() {
    let mut story = Story::transferring(START_S + 900);
    let total = story.signal_of(SignalKind::FlowMassTotal);
    story.silent = vec![story.device_of(SignalKind::FlowMassTotal)];
    story.run_to(START_S + 901);
    let lost = Validity::Lost(Reason::Missed(MissReason::TimeOut));
    assert_eq!(story.last.readings[usize::from(total)].validity, lost);
    assert_eq!(story.last.witnesses[FLOW].validity, lost);
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::SignalLost, subject: total }));
    let weights = story.last.together.expect("two are left").weights;
    assert_eq!(weights[FLOW].to_bits(), 0.0_f64.to_bits(), "not used any more");
    story.silent.clear();
    story.run_to(START_S + 910);
    assert_eq!(story.last.witnesses[FLOW].validity, Validity::Good);
    assert_eq!(story.last.verdict.word, VerdictWord::Agree);
    let flow = story.last.witnesses[FLOW].received_kg.expect("back").value;
    assert!((flow - (RATE * 910.0 - 0.055 * 1514.5)).abs() < 30.0, "the totalizer missed nothing: {flow}");
}

#[test]
fn one_left_and_none_left_are_said() {
    let mut story = Story::transferring(START_S + 600);
    story.silent = vec![story.device_of(SignalKind::FlowMassTotal), story.device_of(SignalKind::Scale)];
    story.run_to(START_S + 610);
    assert_eq!(story.last.verdict.word, VerdictWord::OneOnly);
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::OneWitnessLeft, subject: 0 }));
    story.silent.push(story.device_of(SignalKind::Level));
    story.run_to(START_S + 620);
    assert_eq!(story.last.verdict.word, VerdictWord::None);
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::NoWitness, subject: 0 }));
    assert_eq!(story.last.margin, Margin::Unknown);
}

/// One that becomes lost stays in at its last value plus the fastest credible rate.
#[test]
fn a_lost_witness_stays_in_the_margin() {
    let mut story = Story::transferring(START_S + 600);
    let Margin::Known { kg: before, .. } = story.last.margin else { panic!("known") };
    story.silent = vec![story.device_of(SignalKind::Scale)];
    story.run_to(START_S + 900);
    let Margin::Known { kg: after, rest_by, .. } = story.last.margin else { panic!("known") };
    assert_eq!(rest_by, Some(WitnessId::Scale), "what it last said is the least that came in");
    assert!(after < before - 250.0 * RATE, "300 s of flow that the scale cannot confirm: {before} to {after}");
}

/// Repeated exactly while the others see hundreds of kilograms move.
#[test]
fn a_frozen_gauge_is_lost_and_a_still_tank_is_not() {
    let mut story = Story::opened();
    let level = usize::from(story.signal_of(SignalKind::Level));
    story.stuck = vec![(SignalKind::Level, Measured::Number(2.0))];
    story.start();
    assert_eq!(story.last.readings[level].validity, Validity::Good, "nothing moved, nothing is frozen");
    story.run_to(START_S + 200);
    assert_eq!(story.last.readings[level].validity, Validity::Lost(Reason::Frozen));
    story.stuck.clear();
    story.run_to(START_S + 202);
    assert_eq!(story.last.readings[level].validity, Validity::Good);
}

/// A value that is lost is never shown as usable.
#[test]
fn out_of_range_is_lost() {
    let mut story = Story::transferring(START_S + 100);
    let scale = usize::from(story.signal_of(SignalKind::Scale));
    story.stuck = vec![(SignalKind::Scale, Measured::Number(5.0e6))];
    story.run_to(START_S + 101);
    assert_eq!(story.last.readings[scale].validity, Validity::Lost(Reason::OutOfRange));
    // Not used from the poll on that showed it, before any tick.
    let mut story = Story::transferring(START_S + 900);
    let scale = story.signal_of(SignalKind::Scale);
    let device = story.device_of(SignalKind::Scale);
    story.feed(Event::Poll(Poll::at_once(device, story.last.at, [(scale, Measured::Number(5.0e6))])));
    assert_eq!(story.last.together.expect("two are left").degrees_of_freedom, 1);
}

/// A gauge at its end of range still says "at least", and that is enough for high-high.
#[test]
fn a_saturated_gauge_still_alarms() {
    let mut story = Story::transferring(START_S + 100);
    let level = usize::from(story.signal_of(SignalKind::Level));
    story.stuck = vec![(SignalKind::Level, Measured::Number(7.97))];
    story.run_to(START_S + 101);
    let reading = &story.last.readings[level];
    assert_eq!((reading.validity, reading.at_least_si), (Validity::Lost(Reason::Saturated), Some(7.95)));
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::LevelHighHigh, subject: 0 }));
}

#[test]
fn the_independent_switch_overrules_all() {
    let mut story = Story::transferring(START_S + 100);
    story.bend = |truth| truth.switch = true;
    story.run_to(START_S + 101);
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::LevelSwitchTripped, subject: 0 }));
    assert!(matches!(story.last.margin, Margin::Known { kg, pessimist: Pessimist::LevelSwitch, .. } if kg <= 0.0));
}

/// After a gap nothing read before it is current, and it is said.
#[test]
fn a_gap_is_said_and_nothing_from_before_it_is_current() {
    let mut story = Story::transferring(START_S + 600);
    let (from, to) = (story.last.at, EngineTime(story.last.at.0 + 60 * SECOND_NS));
    let gap = Gap { from, to, known_by: GapClock::SameBoot };
    story.feed(Event::Resumed(gap));
    assert_eq!(story.last.blind, Some(gap));
    assert!(story.last.readings.iter().all(|r| r.validity == Validity::Lost(Reason::Stale)));
    assert!(story.last.together.is_none());
}
