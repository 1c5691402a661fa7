//! After "closed": watched until the trailer is released and half an hour beyond.

use super::bay::{START_S, Story, shipped};
use brimwatch::engine::frame::Phase;
use brimwatch::engine::input::{AlarmId, AlarmKey, What};
use brimwatch::engine::steps::{Right, Side};

/// When the leg of these stories is closed, s.
const CLOSED_S: u64 = START_S + 100;

/// A closed delivery at a bay that has no step but the release.
fn closed() -> Story {
    let (mut settings, delivery) = shipped();
    settings.steps.retain(|step| step.id == "released");
    assert_eq!(settings.steps.len(), 1);
    let mut story = Story::with(settings, delivery);
    story.start();
    story.stop_s = Some(CLOSED_S);
    story.run_to(CLOSED_S);
    story.entry(What::Closed);
    story.run_to(CLOSED_S + 60);
    story
}

fn sign(story: &mut Story, side: Side, name: &str) {
    let (step, name) = ("released".into(), name.into());
    let what = What::StepSigned { step, side, name, right: Right::Attend, note: String::new() };
    assert_eq!(story.monitor.admits(&what), Ok(()));
    story.entry(what);
}

#[test]
fn watched_until_half_an_hour_after_both_have_released_it() {
    let mut story = closed();
    sign(&mut story, Side::Site, "A. Tendant");
    story.run_to(CLOSED_S + 2_000);
    assert_eq!(story.last.phase, Phase::Closed, "one signature is no release");
    assert!(story.monitor.is_watched());
    sign(&mut story, Side::Driver, "D. Haul");
    let released_s = CLOSED_S + 2_000;
    story.run_to(released_s + 1_795);
    assert_eq!(story.last.phase, Phase::Closed);
    assert!(story.monitor.is_watched());
    // Until then the pad is held against its ceiling, the tank's temperature against what came in.
    story.bend = |truth| truth.pad_pa = 399_000.0;
    story.run_to(released_s + 1_797);
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::PadNearCeiling, subject: 0 }));
    story.run_to(released_s + 1_805);
    assert_eq!((story.last.phase, story.last.delivery.is_none()), (Phase::Idle, true));
    assert!(!story.monitor.is_watched());
    // What is open stays until it is over and seen; a movement and a level are called out as at any other time.
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::PadNearCeiling, subject: 0 }));
    story.bend = |truth| truth.rate = 2.0;
    story.run_to(released_s + 1_830);
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::MovementOutsideTransfer, subject: 0 }));
}

#[test]
fn what_nobody_releases_stays_closed() {
    let mut story = closed();
    story.run_to(CLOSED_S + 4_000);
    assert_eq!(story.last.phase, Phase::Closed);
    assert!(story.monitor.is_watched());
}
