//! A transfer from opening to closing, and what may not be said too early.

use super::bay::{RATE, START_S, Story};
use brimwatch::engine::frame::{Margin, Phase, VerdictWord, WitnessId};
use brimwatch::engine::input::{AlarmId, AlarmKey, What};
use brimwatch::uncertainty::Budget;

#[test]
fn nothing_is_proven_before_a_dead_instrument_would_have_shown() {
    let story = Story::transferring(START_S + 40);
    assert_eq!(story.last.verdict.word, VerdictWord::NotYetProven);
}

#[test]
fn witnesses_agree_and_a_finish_is_projected() {
    let story = Story::transferring(START_S + 1200);
    let frame = &story.last;
    assert_eq!(frame.verdict.word, VerdictWord::Agree);
    let truth = RATE * 1200.0 - 0.055 * 1514.5;
    let together = frame.together.expect("three witnesses").received_kg;
    assert!((together.value - truth).abs() < 2.5 * together.u, "{together:?} against {truth}");
    for witness in &frame.witnesses {
        let e = witness.received_kg.expect("credible");
        assert!((e.value - truth).abs() < 3.0 * e.u, "{:?}: {e:?} against {truth}", witness.id);
        let squares = witness.budget.iter().map(|c| c.kg * c.kg).sum::<f64>();
        assert!((squares.sqrt() - e.u).abs() < 1e-9, "the budget adds up to u");
    }
    // What weights leave of each source makes the whole of it (GUM F.1.2.3).
    let whole = Budget::of_all(frame).expect("nobody is suspect");
    assert!((whole.u_kg - together.u).abs() < 1e-7 * together.u, "{} for {}", whole.u_kg, together.u);
    let degrees = |id| Budget::of_witness(frame, id).expect("credible").degrees;
    let least = [WitnessId::Flow, WitnessId::Scale, WitnessId::Tank].map(degrees).into_iter().fold(f64::MAX, f64::min);
    assert!(whole.degrees > least, "{} for {least}", whole.degrees);
    let rate = frame.rate.expect("moving");
    assert!((rate.value - RATE).abs() < 4.0 * rate.u.max(0.01), "{rate:?}");
    let planned = frame.finish.planned.expect("to come");
    // This story's rate does not fall, a pad-driven one usually does: the interval must allow for both.
    let left_s = (20_000.0 - truth) / RATE;
    let (early, late) = (planned.q05.since_s(frame.at), planned.q95.since_s(frame.at));
    assert!(early < left_s && left_s < late && late - early < 0.3 * left_s, "{early} to {late} for {left_s}");
    assert!(planned.earliest <= planned.q05 && planned.q05 < planned.q50 && planned.q50 < planned.q95);
    let gas = frame.finish.first_gas.expect("to come");
    let by = frame.finish.be_at_valve_by.expect("to come");
    assert!((gas.earliest.since_s(by) - story.settings.limits.response_time_s).abs() < 1e-6);
}

/// Beside agreement stands what it does not show.
#[test]
fn agreement_says_what_it_would_not_see() {
    let verdict = Story::transferring(START_S + 1200).last.verdict;
    assert!(verdict.agree_within_kg.is_some_and(|x| x >= 1.0 && x.fract() == 0.0));
    let (trailer, tank) = (verdict.leak_below_trailer_kg_per_min, verdict.leak_below_tank_kg_per_min);
    assert!(trailer.is_some_and(|y| y > 1.0) && tank.is_some_and(|y| y > 1.0));
}

#[test]
fn the_margin_is_the_worst_of_all_and_names_it() {
    let story = Story::transferring(START_S + 1200);
    let Margin::Known { kg, parts, by_witness_kg, .. } = &story.last.margin else { panic!("known") };
    let sum = parts.at_high_high_kg
        - parts.contents_kg
        - parts.rest_kg
        - parts.run_on_kg
        - parts.line_kg
        - parts.blow_clear_kg
        - parts.allowance_kg
        - parts.opening_kg
        - parts.neighbour_kg;
    assert!((sum - kg).abs() < 1e-6);
    assert!(by_witness_kg.iter().all(|own| own.expect("credible") >= *kg - 1e-6));
}

#[test]
fn a_load_that_does_not_fit_is_called_before_it_flows() {
    let mut story = Story::opened();
    story.bend = |truth| truth.opening_m = 5.5;
    story.run_to(START_S);
    assert!(matches!(story.last.margin, Margin::Known { kg, .. } if kg < 0.0));
    assert!(story.monitor.has_open(AlarmKey { id: AlarmId::HighLevelProjected, subject: 0 }));
}

#[test]
fn closing_ends_the_transfer_and_keeps_the_masses() {
    let mut story = Story::transferring(START_S + 1200);
    let before = story.last.witnesses[WitnessId::Flow as usize].received_kg;
    story.entry(What::Closed);
    assert_eq!(story.last.phase, Phase::Closed);
    // Everything goes on moving: the trailer drives off the scale.
    story.run_to(START_S + 1300);
    assert_eq!(story.last.witnesses[WitnessId::Flow as usize].received_kg, before);
    let movement = AlarmKey { id: AlarmId::MovementOutsideTransfer, subject: 0 };
    assert!(story.monitor.has_open(movement), "flow outside a transfer is an alarm");
}

/// Phases change only by a person's entry, and one out of phase changes nothing.
#[test]
fn an_entry_out_of_phase_is_refused() {
    let mut story = Story::opened();
    assert!(story.monitor.admits(&What::Closed).is_err());
    story.entry(What::Closed);
    assert_eq!(story.last.phase, Phase::Opened);
    story.run_to(START_S + 300);
    assert_eq!(story.last.phase, Phase::Opened, "flow alone starts no transfer");
    story.entry(What::TransferStarted);
    let second = What::DeliveryOpened(Box::new(story.delivery.clone()));
    assert!(story.monitor.admits(&second).is_err() && story.monitor.admits(&What::TransferStarted).is_err());
}

/// The same inputs through another monitor: the same outputs.
#[test]
fn the_same_inputs_give_the_same_outputs() {
    let story = Story::transferring(START_S + 600);
    let mut again = Story::with(story.settings.clone(), story.delivery.clone()).monitor;
    let outputs: Vec<_> = story.inputs[2..].iter().map(|input| again.step(input)).collect();
    assert_eq!(outputs, story.outputs[2..]);
}

/// A segment that ends in the midst of a transfer: masses, start and open alarms cross into the next.
#[test]
fn a_new_segment_goes_on_with_the_transfer() {
    let mut story = Story::transferring(START_S + 900);
    story.new_segment(|carried| carried.restarted = true);
    story.run_to(START_S + 1200);
    let frame = &story.last;
    assert_eq!((frame.phase, frame.verdict.word), (Phase::Transfer, VerdictWord::Agree));
    let truth = RATE * 1200.0 - 0.055 * 1514.5;
    for witness in &frame.witnesses {
        let e = witness.received_kg.expect("credible");
        assert!((e.value - truth).abs() < 3.0 * e.u, "{:?}: {e:?} against {truth}", witness.id);
    }
    let restarted = AlarmKey { id: AlarmId::EstimatesRestarted, subject: 0 };
    assert!(story.monitor.has_open(restarted), "our own fault is said until somebody has seen it");
    story.entry(What::Seen(restarted));
    story.run_to(START_S + 1220);
    assert!(!story.monitor.has_open(restarted));
}
