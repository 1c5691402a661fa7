//! Who may be the odd one: never without two others that agree.

use super::bay::{RATE, START_S, Story, shipped};
use brimwatch::engine::frame::{Condition, Explanation, Margin, Pessimist, VerdictWord};
use brimwatch::engine::input::{AlarmId, AlarmKey};
use brimwatch::engine::settings::SignalKind;

const DISAGREE: AlarmKey = AlarmKey { id: AlarmId::WitnessesDisagree, subject: 0 };

/// From 300 s on half a kilogram a second leaves before the meter.
fn leak_before_meter(truth: &mut super::bay::Truth) {
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    let lost = 0.5 * truth.s.saturating_sub(START_S + 300) as f64;
    truth.metered_kg -= lost;
    truth.received_kg -= lost;
}

fn leak_after_meter(truth: &mut super::bay::Truth) {
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    let lost = 0.5 * truth.s.saturating_sub(START_S + 300) as f64;
    truth.received_kg -= lost;
}

#[test]
fn a_leak_before_the_meter_is_the_trailers_side_dangerous_first() {
    let mut story = Story::opened();
    story.bend = leak_before_meter;
    story.start();
    story.run_to(START_S + 1500);
    let verdict = &story.last.verdict;
    assert_eq!((verdict.word, verdict.suspects), (VerdictWord::Disagree, [false, true, false]));
    assert_eq!(verdict.explanations, [Explanation::LeakBeforeMeter, Explanation::ScaleLight]);
    let missing = verdict.missing_kg.expect("missing");
    assert!((missing.value - 600.0).abs() < 3.0 * missing.u, "{missing:?}");
    assert!(story.monitor.has_open(DISAGREE));
}

#[test]
fn a_leak_after_the_meter_is_the_tanks_side() {
    let mut story = Story::opened();
    story.bend = leak_after_meter;
    story.start();
    story.run_to(START_S + 1500);
    let verdict = &story.last.verdict;
    assert_eq!((verdict.word, verdict.suspects), (VerdictWord::Disagree, [false, false, true]));
    assert_eq!(verdict.explanations[0], Explanation::LeakAfterMeter);
    assert!(verdict.explanations.contains(&Explanation::GaugeLow));
}

/// With two witnesses never one of them: both are named, with all that may be behind it.
#[test]
fn a_pair_never_isolates() {
    let (settings, delivery) = shipped();
    let mut story = Story::with(settings, delivery);
    story.silent = vec![story.device_of(SignalKind::FlowMassTotal)];
    story.bend = leak_after_meter;
    story.start();
    story.run_to(START_S + 1500);
    let verdict = &story.last.verdict;
    assert_eq!((verdict.word, verdict.suspects), (VerdictWord::CannotTellWhich, [false, true, true]));
    assert_eq!(verdict.explanations[..2], [Explanation::LeakBeforeMeter, Explanation::LeakAfterMeter]);
}

/// The level gauge reads 8 % low from the start: flow and scale outvote it in the accounting, the rest of the
/// load is still the one that the gauge leaves open.
#[test]
fn the_outvoted_gauge_stays_in_the_margin() {
    let mut story = Story::opened();
    story.bend = |truth| truth.received_kg *= 0.9;
    story.start();
    story.run_to(START_S + 1200);
    let truth = RATE * 1200.0 - 0.055 * 1514.5;
    assert_eq!(story.last.verdict.word, VerdictWord::Disagree);
    let Margin::Known { parts, pessimist, .. } = &story.last.margin else { panic!("known") };
    assert!((parts.rest_kg - (20_060.0 - 0.9 * truth)).abs() < 100.0, "{parts:?}");
    assert!(matches!(pessimist, Pessimist::Witness(_)), "{pessimist:?}");
}

/// Unknown is not normal: with one witness left nobody can say that they agree again.
#[test]
fn unknown_does_not_clear_the_alarm() {
    let mut story = Story::opened();
    story.bend = leak_before_meter;
    story.start();
    story.run_to(START_S + 1500);
    story.silent = vec![story.device_of(SignalKind::FlowMassTotal), story.device_of(SignalKind::Level)];
    story.run_to(START_S + 1600);
    assert_eq!(story.last.verdict.word, VerdictWord::OneOnly);
    let alarm = story.last.alarms.iter().find(|a| a.key == DISAGREE).expect("still open");
    assert_eq!(alarm.condition, Condition::Unknown);
}

/// A scale register that is fed by the meter agrees too well to be an instrument of its own.
#[test]
fn a_copy_is_no_second_witness() {
    let mut story = Story::opened();
    story.copied = true;
    story.start();
    story.run_to(START_S + 600);
    assert_eq!(story.last.verdict.word, VerdictWord::NotIndependent);
}
