//! Shelving after ANSI/ISA-18.2 as published: by a person, with an end, never what warns of harm.

use super::bay::{START_S, Story};
use brimwatch::engine::Monitor;
use brimwatch::engine::alarm::catalogue::CATALOGUE;
use brimwatch::engine::delivery::Refusal;
use brimwatch::engine::input::{AlarmId, AlarmKey, Carried, Event, Measured, RecorderState, What};
use brimwatch::engine::settings::SignalKind;
use brimwatch::time::{EngineTime, SECOND_NS};

fn shelved(key: AlarmKey, for_s: f64) -> What {
    What::Shelved { key, for_s }
}

/// A thermometer of the line out of its range, and its alarm.
fn lost_thermometer() -> (Story, AlarmKey) {
    let mut story = Story::transferring(START_S + 100);
    story.stuck = vec![(SignalKind::LineTemperature, Measured::Number(5_000.0))];
    story.run_to(START_S + 102);
    let key = AlarmKey { id: AlarmId::SignalLost, subject: story.signal_of(SignalKind::LineTemperature) };
    assert!(story.monitor.open_alarms().contains(&key));
    (story, key)
}

#[test]
fn a_shelved_alarm_is_named_and_comes_back_unseen() {
    let (mut story, key) = lost_thermometer();
    story.entry(What::Seen(key));
    let until = EngineTime(story.last.at.0 + 60 * SECOND_NS);
    story.entry(shelved(key, 60.0));
    assert!(!story.monitor.open_alarms().contains(&key));
    assert_eq!(story.last.shelves.iter().map(|s| (s.key, s.until)).collect::<Vec<_>>(), [(key, until)]);
    story.run_to(START_S + 161);
    assert!(!story.monitor.open_alarms().contains(&key), "not before its time");
    story.run_to(START_S + 164);
    let back = story.last.alarms.iter().find(|alarm| alarm.key == key).expect("it is back");
    assert!(!back.seen && story.last.shelves.is_empty());
}

#[test]
fn a_shelf_crosses_into_the_next_segment_and_a_replay_gives_the_same() {
    let (mut story, key) = lost_thermometer();
    story.entry(shelved(key, 600.0));
    story.run_to(START_S + 200);
    let mut replayed = Monitor::new(story.settings.clone(), Carried::default());
    for (input, output) in story.inputs.iter().zip(&story.outputs) {
        assert_eq!(replayed.step(input), *output);
    }
    let before = story.last.shelves[0].until.since_s(story.last.at);
    story.new_segment(|_| {});
    let left = story.last.shelves[0].until.since_s(EngineTime(0));
    assert!((before - left).abs() < 1e-6, "{before} {left}");
    story.entry(What::Unshelved(key));
    assert!(story.last.shelves.is_empty());
}

/// What makes no sense changes nothing, and why is said.
#[test]
fn what_may_not_be_shelved_is_refused() {
    let (mut story, key) = lost_thermometer();
    let refuses = |story: &Story, what: What| story.monitor.admits(&what).expect_err("refused");
    assert_eq!(refuses(&story, shelved(key, 0.0)), Refusal::ShelfWithoutEnd);
    assert_eq!(refuses(&story, shelved(key, f64::NAN)), Refusal::ShelfWithoutEnd);
    assert_eq!(refuses(&story, shelved(key, 8.0 * 3600.0 + 1.0)), Refusal::ShelfTooLong);
    assert_eq!(refuses(&story, What::Unshelved(key)), Refusal::NotShelved);
    let unknown = AlarmKey { id: AlarmId::SignalLost, subject: 999 };
    assert_eq!(refuses(&story, shelved(unknown, 60.0)), Refusal::NoSuchAlarm);
    story.bend = |truth| {
        truth.switch = true;
        truth.pad_pa = 399_000.0;
    };
    story.stuck.push((SignalKind::Level, Measured::Number(7.97)));
    story.run_to(START_S + 110);
    let level = AlarmKey { id: AlarmId::SignalLost, subject: story.signal_of(SignalKind::Level) };
    let mut barred = vec![level];
    for id in [AlarmId::LevelSwitchTripped, AlarmId::LevelHighHigh, AlarmId::PadNearCeiling, AlarmId::PadAboveMawp] {
        barred.push(AlarmKey { id, subject: 0 });
    }
    let before = story.last.alarms.clone();
    for key in barred {
        assert!(story.monitor.has_open(key), "{key:?}");
        assert_eq!(refuses(&story, shelved(key, 60.0)), Refusal::NeverShelved, "{key:?}");
        story.entry(shelved(key, 60.0));
    }
    assert_eq!((story.last.alarms.clone(), story.last.shelves.len()), (before, 0));
    // The disk is the engineer's trouble: it may wait.
    story.feed(Event::Recorder(RecorderState::Waiting { bytes: 1 }));
    story.run_to(START_S + 112);
    story.entry(shelved(AlarmKey { id: AlarmId::RecorderTrouble, subject: 0 }, 60.0));
    assert_eq!(story.last.shelves.len(), 1);
}

/// Out of service after the same: an act with a reason, for as long as it lasts, never of what warns of harm.
#[test]
fn out_of_service_lasts_until_it_is_ended_and_crosses_with_its_reason() {
    let (mut story, key) = lost_thermometer();
    let out = |key, reason: &str| What::TakenOut { key, reason: reason.into() };
    let refuses = |story: &Story, what: What| story.monitor.admits(&what).expect_err("refused");
    assert_eq!(refuses(&story, out(key, " ")), Refusal::NoReason);
    assert_eq!(refuses(&story, What::PutBack(key)), Refusal::NotOut);
    for kind in [SignalKind::Level, SignalKind::PadPressure, SignalKind::Scale] {
        let key = AlarmKey { subject: story.signal_of(kind), ..key };
        assert_eq!(refuses(&story, out(key, "noise")), Refusal::NeverShelved, "{kind:?}");
    }
    for line in CATALOGUE.iter().filter(|line| !line.shelvable) {
        assert_eq!(refuses(&story, out(AlarmKey { id: line.id, subject: 0 }, "noise")), Refusal::NeverShelved);
    }
    story.entry(out(key, "it is at the works' shop"));
    story.run_to(START_S + 110);
    assert!(!story.last.alarms.iter().any(|alarm| alarm.key == key));
    story.new_segment(|_| {});
    let told = story.last.out_of_service.clone();
    assert_eq!(
        told.iter().map(|o| (o.key, o.who.as_str(), o.reason.as_str())).collect::<Vec<_>>(),
        [(key, "attendant", "it is at the works' shop")]
    );
    story.run_to(START_S + 1_000);
    assert_eq!(story.last.out_of_service, told, "no time ends it");
    story.entry(What::PutBack(key));
    let back = story.last.alarms.iter().find(|alarm| alarm.key == key).expect("it is back");
    assert!(!back.seen && story.last.out_of_service.is_empty());
}
