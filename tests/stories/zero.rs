//! A person gives the scale a new zero; a trailer drives off. The truth is 5 kg/s.

use super::bay::{RATE, START_S, Story};
use brimwatch::engine::delivery::Refusal;
use brimwatch::engine::frame::{Estimate, Margin, Reason, Source, Validity, VerdictWord, WitnessId};
use brimwatch::engine::input::{AlarmId, AlarmKey, Measured, What, ZeroCause};
use brimwatch::engine::settings::SignalKind;
use brimwatch::engine::zero::NoZero;
use brimwatch::words::en::English;
use brimwatch::words::{Language, Scene};
use jiff::tz::TimeZone;

const SCALE: usize = WitnessId::Scale as usize;
const TOOLS: What = What::ScaleZeroed(ZeroCause::PeopleOrTools);

fn truth_kg(moving_s: f64) -> f64 {
    RATE * moving_s - 0.055 * 1514.5
}

fn scale(story: &Story) -> (Validity, Estimate) {
    let witness = &story.last.witnesses[SCALE];
    (witness.validity, witness.received_kg.expect("it has said something"))
}

/// 120 kg of tools are put on the deck after ten minutes and stay: excused, then found, then put right by a person.
#[test]
fn a_person_turns_what_stays_on_the_deck_into_a_new_zero() {
    let mut story = Story::transferring(START_S + 600);
    assert_eq!(story.monitor.admits(&TOOLS), Err(Refusal::NoZero(NoZero::NothingOff)));
    story.bend = |truth| truth.out_kg -= 120.0;
    story.run_to(START_S + 650);
    assert_eq!(scale(&story).0, Validity::Doubtful(Reason::Disturbed));
    story.run_to(START_S + 900);
    assert!(matches!(story.last.verdict.word, VerdictWord::Disagree | VerdictWord::CannotTellWhich));
    assert_eq!(story.monitor.admits(&TOOLS), Ok(()));
    let before = scale(&story).1;
    story.entry(TOOLS);
    let after = scale(&story).1;
    assert!((after.value - truth_kg(880.0 + 20.0)).abs() < 3.0 * after.u, "{after:?}");
    assert!((after.value - before.value - 120.0).abs() < 60.0, "{before:?} {after:?}");
    assert!(after.u > before.u, "wider: {} than {}", after.u, before.u);
    let zero = story.last.delivery.as_ref().and_then(|d| d.scale_zero).expect("it is said");
    assert_eq!(zero.cause, ZeroCause::PeopleOrTools);
    let zone = TimeZone::UTC;
    let scene = Scene::new(&story.settings, &story.last, &zone);
    assert!(English.notes(scene).iter().any(|note| note.contains("new zero")), "{:?}", English.notes(scene));
    story.run_to(START_S + 1500);
    let (validity, e) = scale(&story);
    assert_eq!((validity, story.last.verdict.word), (Validity::Good, VerdictWord::Agree));
    assert!((e.value - truth_kg(1500.0)).abs() < 3.0 * e.u, "{e:?}");
    assert!(story.last.witnesses[SCALE].budget.iter().any(|c| c.source == Source::NewZero));
    story.new_segment(|_| {});
    story.run_to(START_S + 1600);
    let (_, e) = scale(&story);
    assert!((e.value - truth_kg(1600.0)).abs() < 3.0 * e.u, "{e:?}");
    // A leak of 0.5 kg/s before the meter is still found by the scale that has a new zero.
    let mut leaky = story;
    leaky.bend = |truth| {
        truth.out_kg -= 120.0;
        truth.out_kg += 0.5 * truth.s.saturating_sub(START_S + 1600) as f64;
    };
    leaky.run_to(START_S + 2200);
    assert!(matches!(leaky.last.verdict.word, VerdictWord::Disagree | VerdictWord::CannotTellWhich));
    assert_eq!(leaky.monitor.admits(&TOOLS), Err(Refusal::NoZero(NoZero::Grows)), "no zero explains what grows");
}

/// Weighed empty it stands below its range by what its zero has moved: no mass, and no trailer either.
#[test]
fn a_scale_below_nothing_tells_that_the_trailer_is_gone() {
    let gone = AlarmKey { id: AlarmId::TruckGone, subject: 0 };
    let mut story = Story::transferring(START_S + 600);
    story.stuck = vec![(SignalKind::Scale, Measured::Number(-20.0))];
    story.run_to(START_S + 610);
    assert_eq!(scale(&story).0, Validity::Lost(Reason::OutOfRange));
    assert!(story.monitor.has_open(gone));
    // Far below nothing it is out of order.
    let mut story = Story::transferring(START_S + 600);
    story.stuck = vec![(SignalKind::Scale, Measured::Number(-32_768.0))];
    story.run_to(START_S + 610);
    assert!(!story.monitor.has_open(gone));
}

/// The trailer drives off in eight seconds, hose and all. What it weighed meanwhile is no mass received.
#[test]
fn a_trailer_that_drives_off_is_no_mass_received() {
    let mut story = Story::transferring(START_S + 600);
    story.bend = |truth| truth.out_kg += 3_850.0 * (truth.s.saturating_sub(START_S + 600) as f64).min(8.0);
    story.run_to(START_S + 620);
    let (validity, e) = scale(&story);
    assert_eq!(validity, Validity::Lost(Reason::DrivenOff));
    assert!((e.value - truth_kg(600.0)).abs() < 60.0, "what it said before: {e:?}");
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::TruckGone, subject: 0 }));
    let Margin::Known { parts, .. } = &story.last.margin else { panic!("known") };
    let truth_kg = 2.0 * 1514.5 * std::f64::consts::PI / 4.0 * 2.84 * 2.84 + truth_kg(620.0);
    assert!((parts.contents_kg - truth_kg).abs() < 200.0, "{parts:?} against {truth_kg}");
}
