//! What a totalizer's register can do while a load comes in: roll over, be reset, jump, count back. The truth is 5 kg/s
//! by definition of the story, so the expected masses are arithmetic, not another model.

use super::bay::{RATE, START_S, Story, shipped};
use brimwatch::engine::frame::{Estimate, Reason, Slip, Validity, VerdictWord, WitnessId};
use brimwatch::engine::input::{Event, Gap, GapClock, What};
use brimwatch::engine::settings::{DeliverySetup, SignalKind};
use brimwatch::time::{EngineTime, SECOND_NS};

const FLOW: usize = WitnessId::Flow as usize;

/// Received after so many seconds of transfer: what left the trailer less the line's contents.
fn truth_kg(moving_s: f64) -> f64 {
    RATE * moving_s - 0.055 * 1514.5
}

fn flow(story: &Story) -> (Validity, Estimate) {
    let witness = &story.last.witnesses[FLOW];
    (witness.validity, witness.received_kg.expect("it has said something"))
}

/// Runs on and holds the flow witness against the truth at every second.
fn follows(story: &mut Story, until_s: u64, within_u: f64) {
    let from_s = (story.last.at.0 / SECOND_NS).max(START_S + 60);
    for s in (from_s..=until_s).step_by(10) {
        story.run_to(s);
        let (validity, e) = flow(story);
        if validity.is_credible() {
            #[expect(clippy::cast_precision_loss, reason = "hours")]
            let truth = truth_kg((s - START_S) as f64);
            assert!((e.value - truth).abs() < within_u * e.u.max(3.0), "{s} s: {e:?} against {truth}");
        }
    }
}

fn started(total: fn(u64, f64) -> f64, rolls_over_at: Option<f64>, with_rate: bool) -> Story {
    let (mut settings, delivery) = shipped();
    for signal in &mut settings.signals {
        if signal.kind == SignalKind::FlowMassTotal {
            signal.rolls_over_at = rolls_over_at;
        }
    }
    if !with_rate {
        settings.signals.retain(|s| s.kind != SignalKind::FlowMassRate);
    }
    let mut story = Story::with(settings, delivery);
    story.total = total;
    story.start();
    story
}

/// Counters of decimal digits, and registers of 16 and 32 bits at the scale of the site file (here 0.1 kg a count).
#[test]
fn a_total_that_rolls_over_counts_on() {
    let counters: [fn(u64, f64) -> f64; 4] = [
        |_, count| (count + 8_000.0) % 10_000.0,
        |_, count| (count + 996_000.0) % 1e6,
        |_, count| (count + 3_000.0) % 6_553.6,
        |_, count| (count + 429_494_000.0) % 429_496_729.6,
    ];
    for (nth, counter) in counters.into_iter().enumerate() {
        let (mut settings, delivery) = shipped();
        for signal in settings.signals.iter_mut().filter(|s| s.kind == SignalKind::FlowMassTotal) {
            let register = [6_553.6, 429_496_729.6];
            signal.may_roll_over_at.extend(register);
        }
        let mut story = Story::with(settings, delivery);
        story.total = counter;
        story.start();
        follows(&mut story, START_S + 1200, 3.0);
        assert_eq!(flow(&story).0, Validity::Good, "counter {nth}");
        assert_eq!(story.last.verdict.word, VerdictWord::Agree, "counter {nth}");
    }
}

/// The site file says what the shipped register holds: decimal counters in its unit.
#[test]
fn widths_come_from_the_site_file() {
    let (settings, _) = shipped();
    let total = settings.signals.iter().find(|s| s.kind == SignalKind::FlowMassTotal).expect("fitted");
    assert_eq!(total.rolls_over_at, None);
    for width in [1e4, 1e6, 1e9] {
        assert!(total.may_roll_over_at.contains(&width), "{width}");
    }
    assert!(settings.signals.iter().all(|s| s.kind == SignalKind::FlowMassTotal || s.may_roll_over_at.is_empty()));
}

/// Nobody reads for ten minutes, and the counter rolls over meanwhile: only a stated width tells how much flowed.
#[test]
fn a_roll_over_nobody_saw_needs_its_width() {
    for width in [None, Some(1e4)] {
        let mut story = started(|_, count| (count + 5_500.0) % 1e4, width, true);
        story.run_to(START_S + 600);
        let device = story.device_of(SignalKind::FlowMassTotal);
        story.silent = vec![device];
        story.run_to(START_S + 1200);
        story.silent.clear();
        story.run_to(START_S + 1220);
        let (validity, e) = flow(&story);
        let off = (e.value - truth_kg(1200.0 + 20.0)).abs();
        match width {
            Some(_) => {
                assert_eq!(validity, Validity::Good);
                assert!(off < 3.0 * e.u && e.u < 30.0, "{e:?}, off {off}");
            }
            None => {
                assert_eq!(validity, Validity::Doubtful(Reason::TotalReset));
                assert!(off < 3.0 * e.u && e.u > 300.0, "{e:?}, off {off}");
            }
        }
    }
}

/// Somebody sets the total to nothing after ten minutes: what it had counted stays, and it goes on.
#[test]
fn a_reset_keeps_what_was_counted() {
    let reset = |s: u64, count: f64| if s >= START_S + 600 { count - 4_000.0 + 23.0 } else { count };
    for with_rate in [true, false] {
        let mut story = started(reset, None, with_rate);
        story.run_to(START_S + 602);
        let lost = Validity::Lost(Reason::Unlikely(Slip::TooFast));
        assert_eq!(flow(&story).0, lost, "not believed at once");
        story.run_to(START_S + 610);
        let (validity, e) = flow(&story);
        assert_eq!(validity, Validity::Doubtful(Reason::TotalReset));
        assert!((e.value - truth_kg(610.0)).abs() < 3.0 * e.u, "{e:?}");
        assert!(e.u < 30.0, "one second of flow is not known, no more: {e:?}");
        let gap = |c: &&brimwatch::engine::frame::Contribution| c.source == brimwatch::engine::frame::Source::Gap;
        assert!(story.last.witnesses[FLOW].budget.iter().find(gap).is_some_and(|c| c.kg > 0.5), "it has a line");
        follows(&mut story, START_S + 1500, 3.0);
        assert_eq!(story.last.verdict.word, VerdictWord::Agree);
    }
}

/// A wrong answer among right ones: 0, or ten times as much. Lost while it lasts, as if nothing had been afterwards.
#[test]
fn a_single_wrong_value_changes_nothing() {
    for wrong in [0.0, 40_000.0] {
        let mut story = started(|_, count| count, None, true);
        story.run_to(START_S + 600);
        story.total = if wrong > 0.0 { |_, count| 10.0 * count } else { |_, _| 0.0 };
        story.run_to(START_S + 601);
        assert!(!flow(&story).0.is_credible());
        story.total = |_, count| count;
        story.run_to(START_S + 602);
        let (validity, e) = flow(&story);
        assert_eq!(validity, Validity::Good);
        assert!((e.value - truth_kg(602.0)).abs() < 3.0 * e.u, "{e:?}");
    }
}

/// A register in the wrong scale counts faster than anything can flow, all the time: it is never believed.
#[test]
fn a_total_faster_than_any_flow_is_lost() {
    let mut story = started(|_, count| 10.0 * count, None, true);
    story.run_to(START_S + 200);
    let total = usize::from(story.signal_of(SignalKind::FlowMassTotal));
    assert_eq!(story.last.readings[total].validity, Validity::Lost(Reason::Unlikely(Slip::TooFast)));
    assert!(!flow(&story).0.is_credible());
}

/// Liquid comes back through the meter for two minutes: the count follows, and is doubted; then all that came went back
/// and more, which no trailer explains.
#[test]
fn a_total_that_counts_back_is_doubted_and_then_lost() {
    let back = |s: u64, count: f64| count - 2.0 * RATE * s.saturating_sub(START_S + 300) as f64;
    let mut story = started(back, None, false);
    story.run_to(START_S + 360);
    let (validity, e) = flow(&story);
    assert_eq!(validity, Validity::Doubtful(Reason::CountsBack));
    assert!((e.value - truth_kg(240.0)).abs() < 3.0 * e.u.max(3.0), "{e:?}");
    story.run_to(START_S + 660);
    assert_eq!(flow(&story).0, Validity::Lost(Reason::CountsBack));
    assert!(flow(&story).1.value > -200.0, "no large negative mass: {:?}", flow(&story).1);
}

/// One that jumped just before the leg was closed had no time to show that it counts on: for the next load it is a total
/// again. It stayed lost, and the next load began without its meter.
#[test]
fn a_jump_before_the_close_costs_the_next_load_nothing() {
    let jump = |s: u64, count: f64| if s >= START_S + 600 { count + 9_000.0 } else { count };
    let mut story = started(jump, None, true);
    let total = usize::from(story.signal_of(SignalKind::FlowMassTotal));
    story.run_to(START_S + 602);
    assert_eq!(story.last.readings[total].validity, Validity::Lost(Reason::Unlikely(Slip::TooFast)));
    story.entry(What::Closed);
    story.run_to(START_S + 610);
    assert_eq!(story.last.readings[total].validity, Validity::Good);
    let next = DeliverySetup { id: "the next".into(), ..story.delivery.clone() };
    story.entry(What::DeliveryOpened(Box::new(next)));
    story.run_to(START_S + 700);
    story.entry(What::TransferStarted);
    story.run_to(START_S + 800);
    assert_eq!(flow(&story).0, Validity::Good);
}

/// Between the resets of a batch counter lies the start: it is no start reading made of both.
#[test]
fn a_reset_before_the_start_spoils_no_start_reading() {
    let mut story = Story::opened();
    story.total = |s, count| if s < START_S - 5 { count + 18_000.0 } else { count - 1_000.0 };
    story.start();
    follows(&mut story, START_S + 600, 3.0);
    assert_eq!(flow(&story).0, Validity::Good);
}

/// The program was away, in the same segment or in a new one: what was taken off before stays taken off.
#[test]
fn what_a_reset_left_is_kept_across_gaps_and_segments() {
    let reset = |s: u64, count: f64| if s >= START_S + 600 { count - 4_000.0 } else { count };
    let mut story = started(reset, None, true);
    story.run_to(START_S + 700);
    story.new_segment(|_| {});
    story.run_to(START_S + 760);
    let (validity, e) = flow(&story);
    assert_eq!(validity, Validity::Doubtful(Reason::TotalReset), "it is still said");
    assert!((e.value - truth_kg(760.0)).abs() < 3.0 * e.u, "{e:?}");

    // A roll-over between two segments, and a gap in one.
    let mut story = started(|_, count| (count + 995_500.0) % 1e6, Some(1e6), true);
    story.run_to(START_S + 690);
    story.new_segment(|_| {});
    story.unheard = vec![story.device_of(SignalKind::FlowMassTotal)];
    story.run_to(START_S + 720);
    let to = story.last.at;
    let gap = Gap { from: EngineTime(to.0 - 30 * SECOND_NS), to, known_by: GapClock::SameBoot };
    story.feed(Event::Resumed(gap));
    story.unheard.clear();
    story.run_to(START_S + 780);
    let (validity, e) = flow(&story);
    assert_eq!(validity, Validity::Good);
    assert!((e.value - truth_kg(780.0)).abs() < 3.0 * e.u, "{e:?}");
}
