//! What the wire can bring: failure currents, devices that disown a value, gateways that replay what they last had.

use super::bay::{RATE, START_S, Story, Truth, shipped};
use brimwatch::engine::frame::{Frame, Margin, Reading, Reason, Trouble, Validity, VerdictWord, WitnessId};
use brimwatch::engine::input::{Event, Measured, MissReason, Poll, SignalValue, Status, What};
use brimwatch::engine::settings::{Settings, SignalKind};
use brimwatch::time::{EngineTime, SECOND_NS};

const FLOW: usize = WitnessId::Flow as usize;
const SCALE: usize = WitnessId::Scale as usize;
const TANK: usize = WitnessId::Tank as usize;

/// A story whose settings are bent before it begins.
fn bent(bend: impl Fn(&mut Settings)) -> Story {
    let (mut settings, delivery) = shipped();
    bend(&mut settings);
    Story::with(settings, delivery)
}

/// All devices of the bay stand behind one gateway.
fn one_link(settings: &mut Settings) {
    for device in &mut settings.devices {
        device.link = "gateway".into();
    }
}

fn reading(story: &Story, kind: SignalKind) -> &Reading {
    &story.last.readings[usize::from(story.signal_of(kind))]
}

fn all_devices(story: &Story) -> Vec<u16> {
    (0u16..).take(story.settings.devices.len()).collect()
}

/// Seconds until the story's frame shows it; no more than `within_s`.
fn seconds_until(story: &mut Story, from_s: u64, within_s: u64, shows: impl Fn(&Frame) -> bool) -> u64 {
    for s in 1..=within_s {
        story.run_to(from_s + s);
        if shows(&story.last) {
            return s;
        }
    }
    panic!("not said within {within_s} s");
}

/// No frame given out so far has lost a signal for one of these reasons.
fn never_said(story: &Story, barred: &[Reason]) {
    for frame in story.outputs.iter().filter_map(|o| o.frame.as_ref()) {
        for reading in &frame.readings {
            let said = barred.iter().any(|&reason| reading.validity == Validity::Lost(reason));
            assert!(!said, "at {} ns: {reading:?}", frame.at.0);
        }
    }
}

fn current(milliampere: f64, si: f64) -> Measured {
    Measured::Current { milliampere, si }
}

/// NAMUR NE 43: the gauge's loop falls to 3.5 mA in the midst of a transfer, and comes back.
#[test]
fn a_failure_current_is_lost_at_that_poll() {
    let mut story = Story::transferring(START_S + 900);
    story.stuck = vec![(SignalKind::Level, current(3.5, -0.25))];
    story.run_to(START_S + 901);
    assert_eq!(reading(&story, SignalKind::Level).validity, Validity::Lost(Reason::FailureCurrent));
    assert_eq!(story.last.witnesses[TANK].validity, Validity::Lost(Reason::FailureCurrent));
    story.stuck.clear();
    story.run_to(START_S + 902);
    assert_eq!(story.last.witnesses[TANK].validity, Validity::Good);
}

/// NAMUR NE 43 at every limit, on a level over 0 to 8 m, rising and falling with the current.
#[test]
fn a_loop_current_is_judged_at_its_limits() {
    let lost = |reason| (Validity::Lost(reason), None);
    let doubtful = (Validity::Doubtful(Reason::Saturated), None);
    let full = 16.5 / 16.0 * 8.0;
    let over = |end: f64| (Validity::Lost(Reason::Saturated), Some(end));
    for (ma, rising, falling) in [
        (3.59, lost(Reason::FailureCurrent), lost(Reason::FailureCurrent)),
        (3.60, lost(Reason::FailureCurrent), lost(Reason::FailureCurrent)),
        (3.61, doubtful, over(8.1)),
        (3.79, doubtful, over(8.1)),
        (4.00, (Validity::Good, None), (Validity::Good, None)),
        (20.00, (Validity::Good, None), (Validity::Good, None)),
        (20.51, over(full), doubtful),
        (20.99, over(full), doubtful),
        (21.00, lost(Reason::FailureCurrent), lost(Reason::FailureCurrent)),
    ] {
        for (falls, expected) in [(false, rising), (true, falling)] {
            let si = |ma: f64| if falls { 8.0 - (ma - 4.0) / 2.0 } else { (ma - 4.0) / 2.0 };
            // The gauge's own plate is not known: the loop alone says where its range ends.
            let mut story = bent(|settings| settings.signals.iter_mut().for_each(|s| s.saturates_at = None));
            let (signal, device) = (story.signal_of(SignalKind::Level), story.device_of(SignalKind::Level));
            for ma in [12.0, ma] {
                let poll = Poll::at_once(device, story.last.at, [(signal, current(ma, si(ma)))]);
                story.feed(Event::Poll(poll));
            }
            let reading = reading(&story, SignalKind::Level);
            let close = match (reading.at_least_si, expected.1) {
                (Some(a), Some(b)) => (a - b).abs() < 1e-9,
                (a, b) => a == b,
            };
            assert!(reading.validity == expected.0 && close, "{ma} mA, falls {falls}: {reading:?}");
        }
    }
}

/// A pressure keeps "at least"; a temperature at its end of range is only doubtful.
#[test]
fn the_high_end_of_a_pressure_is_lost_and_of_a_temperature_doubtful() {
    let mut story = Story::opened();
    let pad = (story.device_of(SignalKind::PadPressure), story.signal_of(SignalKind::PadPressure));
    let warm = (story.device_of(SignalKind::LineTemperature), story.signal_of(SignalKind::LineTemperature));
    for ma in [12.0, 20.8] {
        for ((device, signal), full) in [(pad, 300e3), (warm, 100.0)] {
            let value = current(ma, (ma - 4.0) / 16.0 * full);
            story.feed(Event::Poll(Poll::at_once(device, story.last.at, [(signal, value)])));
        }
    }
    let pad = reading(&story, SignalKind::PadPressure);
    assert_eq!(pad.validity, Validity::Lost(Reason::Saturated));
    assert!(pad.at_least_si.is_some_and(|pa| (pa - 16.5 / 16.0 * 300e3).abs() < 1e-6), "{pad:?}");
    let warm = reading(&story, SignalKind::LineTemperature);
    assert_eq!((warm.validity, warm.at_least_si), (Validity::Doubtful(Reason::Saturated), None));
}

/// NAMUR NE 107: failure and function check disown a value, out of specification makes it doubtful, maintenance
/// required lets it stand and is shown.
#[test]
fn a_device_speaks_of_itself() {
    let mut story = Story::transferring(START_S + 900);
    let mut say = |status, expected: Validity| {
        story.status = vec![(SignalKind::Scale, status), (SignalKind::HighLevelSwitch, status)];
        let s = story.last.at.0 / SECOND_NS;
        story.run_to(s + 1);
        for kind in [SignalKind::Scale, SignalKind::HighLevelSwitch] {
            let reading = reading(&story, kind);
            assert_eq!((reading.validity, reading.status), (expected, status), "{kind:?}");
        }
    };
    say(Status::Failure, Validity::Lost(Reason::DeviceSays(Status::Failure)));
    say(Status::FunctionCheck, Validity::Lost(Reason::DeviceSays(Status::FunctionCheck)));
    say(Status::OutOfSpecification, Validity::Doubtful(Reason::DeviceSays(Status::OutOfSpecification)));
    say(Status::MaintenanceRequired, Validity::Good);
    say(Status::Failure, Validity::Lost(Reason::DeviceSays(Status::Failure)));
    assert_eq!(story.last.witnesses[SCALE].validity, Validity::Lost(Reason::DeviceSays(Status::Failure)));
    assert_eq!(story.last.together.expect("two are left").degrees_of_freedom, 1);
}

/// What is no value is not used from the poll on that showed it; what is not heard of, after a period and a time-out.
#[test]
fn what_cannot_be_used_is_not_used_any_more() {
    for (value, reason) in [
        (Measured::Exception(4), Reason::DeviceException(4)),
        (Measured::NotANumber, Reason::NotANumber),
        (Measured::Number(-1.0), Reason::OutOfRange),
        (Measured::Number(7.95), Reason::Saturated),
    ] {
        let mut story = Story::transferring(START_S + 300);
        story.stuck = vec![(SignalKind::Level, value)];
        story.run_to(START_S + 301);
        assert_eq!(story.last.witnesses[TANK].validity, Validity::Lost(reason));
        assert_eq!(story.last.together.expect("two are left").degrees_of_freedom, 1, "{reason:?}");
    }
    let mut story = Story::transferring(START_S + 300);
    story.unheard = vec![story.device_of(SignalKind::Level)];
    let stale = Validity::Lost(Reason::Stale);
    let after_s = seconds_until(&mut story, START_S + 300, 2, |f| f.witnesses[TANK].validity == stale);
    println!("period 1 s, time-out 0.5 s, nothing heard: said at tick {after_s}");
}

/// A carry goes through while the total is read: that poll gives no total, the next one does.
#[test]
fn a_torn_total_is_gone_for_one_poll() {
    let mut story = Story::transferring(START_S + 900);
    story.stuck = vec![(SignalKind::FlowMassTotal, Measured::Torn)];
    story.run_to(START_S + 901);
    assert_eq!(story.last.witnesses[FLOW].validity, Validity::Lost(Reason::Torn));
    story.stuck.clear();
    story.run_to(START_S + 902);
    assert_eq!(story.last.witnesses[FLOW].validity, Validity::Good);
    story.run_to(START_S + 910);
    assert_eq!(story.last.verdict.word, VerdictWord::Agree);
}

/// A gateway goes on answering for a meter that is gone. With a heartbeat that is said within the heartbeat's time, one
/// period and one time-out, whatever flows.
#[test]
fn a_stopped_heartbeat_loses_all_that_the_device_says() {
    let mut story = bent(|settings| settings.devices[0].heartbeat_s = Some(4.0));
    story.start();
    story.run_to(START_S + 600);
    let meter = story.device_of(SignalKind::FlowMassTotal);
    assert_eq!(meter, 0);
    let beaten = story.last.devices[0].heartbeat_at;
    assert!(beaten.is_some());
    never_said(&story, &[Reason::HeartbeatStopped]);
    story.replayed = vec![meter];
    let total = usize::from(story.signal_of(SignalKind::FlowMassTotal));
    let said = Validity::Lost(Reason::HeartbeatStopped);
    let after_s = seconds_until(&mut story, START_S + 600, 6, |f| f.readings[total].validity == said);
    println!("heartbeat of 4 s stopped: said after {after_s} s");
    for (signal, setup) in story.settings.signals.iter().enumerate() {
        let lost = story.last.readings[signal].validity == said;
        assert_eq!(lost, setup.device == meter, "{}", setup.name);
    }
    assert_eq!(story.last.devices[0].heartbeat_at, beaten);
    story.replayed.clear();
    story.run_to(START_S + 600 + after_s + 1);
    assert_eq!(story.last.witnesses[FLOW].validity, Validity::Good, "it changes again");
    assert!(story.last.devices[0].heartbeat_at > beaten);
}

/// A register that stops answering is no sign of life either, and one that never changed is not believed for ever.
#[test]
fn a_heartbeat_that_is_not_answered_has_not_changed() {
    let mut story = bent(|settings| settings.devices[0].heartbeat_s = Some(4.0));
    let signal = story.signal_of(SignalKind::LineDensity);
    let poll = |story: &mut Story, s: u64, heartbeat| {
        let value = SignalValue { signal, value: Measured::Number(1_500.0), status: Status::Fair };
        let at = EngineTime(s * SECOND_NS);
        story.feed(Event::Poll(Poll { heartbeat, values: vec![value], ..Poll::at_once(0, at, []) }));
        reading(story, SignalKind::LineDensity).validity
    };
    for s in 0..=12 {
        let validity = poll(&mut story, s, if s < 3 { Some(7) } else { None });
        let lost = validity == Validity::Lost(Reason::HeartbeatStopped);
        // First answered at 0 s; 4 s of its own, 1 s of period, 0.5 s of time-out.
        assert_eq!(lost, s > 5, "{s} s: {validity:?}");
    }
    assert_eq!(poll(&mut story, 13, Some(8)), Validity::Good);
}

/// The same gateway without a heartbeat: the meter's own signals stand still together while scale and tank move.
#[test]
fn a_replayed_meter_is_found_by_the_others() {
    let mut story = Story::transferring(START_S + 600);
    story.replayed = vec![story.device_of(SignalKind::FlowMassTotal)];
    let after_s = seconds_until(&mut story, START_S + 600, 30, |f| !f.witnesses[FLOW].validity.is_credible());
    println!("meter replayed by its gateway, no heartbeat: total said frozen after {after_s} s");
    let rate = usize::from(story.signal_of(SignalKind::FlowMassRate));
    let together = Validity::Lost(Reason::FrozenTogether);
    let all_s = seconds_until(&mut story, START_S + 600 + after_s, 30, |f| f.readings[rate].validity == together);
    println!("and its rate, density, temperature with it after {} s", after_s + all_s);
    assert_eq!(story.last.readings[usize::from(story.signal_of(SignalKind::LineDensity))].validity, together);
    story.replayed.clear();
    story.run_to(START_S + 600 + after_s + all_s + 2);
    assert!(story.last.witnesses[FLOW].validity.is_credible());
    assert_eq!(reading(&story, SignalKind::LineTemperature).validity, Validity::Good);
}

/// All three behind one gateway that goes on with its cache at full flow: nobody moves, so nobody misses anybody.
/// Pressures, temperatures and the switch are as old.
#[test]
fn a_gateway_that_replays_everything_is_found_by_the_rate_it_repeats() {
    for coarse in [false, true] {
        let mut story = bent(one_link);
        story.coarse = coarse;
        story.start();
        story.run_to(START_S + 1200);
        let Margin::Known { kg: before, .. } = story.last.margin else { panic!("known") };
        story.replayed = all_devices(&story);
        let together = Validity::Lost(Reason::FrozenTogether);
        let after_s =
            seconds_until(&mut story, START_S + 1200, 20, |f| f.readings.iter().all(|r| r.validity == together));
        println!("everything replayed at {RATE} kg/s, coarse {coarse}: said after {after_s} s");
        assert_eq!(story.last.verdict.word, VerdictWord::None);
        assert_eq!(story.last.margin, Margin::Unknown, "not {before} kg as if nothing moved");
        story.run_to(START_S + 1500);
        assert!(story.last.readings.iter().all(|r| r.validity == together), "the same again is no sign of life");
        story.replayed.clear();
        story.run_to(START_S + 1502);
        assert!(story.last.readings.iter().all(|r| r.validity == Validity::Good), "{:?}", story.last.readings);
        story.run_to(START_S + 1600);
        assert_eq!(story.last.verdict.word, VerdictWord::Agree);
    }
}

/// Scale and tank behind one gateway, the meter elsewhere: they stay in the margin at what they last said when it was
/// new, plus the fastest credible rate since.
#[test]
fn what_froze_stays_in_the_margin_from_when_it_was_new() {
    let mut story = bent(|settings| {
        one_link(settings);
        settings.devices[0].link = "meter".into();
    });
    story.start();
    story.run_to(START_S + 1200);
    let Margin::Known { kg: before, .. } = story.last.margin else { panic!("known") };
    let meter = story.device_of(SignalKind::FlowMassTotal);
    story.replayed = all_devices(&story).into_iter().filter(|&d| d != meter).collect();
    let pad = usize::from(story.signal_of(SignalKind::PadPressure));
    let together = Validity::Lost(Reason::FrozenTogether);
    let after_s = seconds_until(&mut story, START_S + 1200, 30, |f| f.readings[pad].validity == together);
    println!("scale, tank, pad, switch replayed, meter alive: said after {after_s} s");
    assert_eq!(story.last.verdict.word, VerdictWord::OneOnly);
    story.run_to(START_S + 1500);
    let Margin::Known { kg: after, .. } = story.last.margin else { panic!("known") };
    println!("margin {before:.0} kg before, {after:.0} kg after 300 s of {RATE} kg/s");
    assert!(after < before - 295.0 * RATE, "counted from when they were new: {before} to {after}");
}

/// From 600 s on nothing flows.
fn closed_valve(truth: &mut Truth) {
    let moved = RATE * 600.0;
    if truth.s > START_S + 600 {
        truth.rate = 0.0;
        truth.out_kg = moved;
        truth.metered_kg = moved - 0.015 * 1514.5;
        truth.received_kg = moved - 0.055 * 1514.5;
    }
}

/// A valve that closes in earnest: all stand still, coarse registers to the last bit, and nothing is frozen.
#[test]
fn a_closed_valve_freezes_nothing() {
    for coarse in [false, true] {
        let mut story = bent(one_link);
        story.bend = closed_valve;
        story.coarse = coarse;
        story.start();
        story.run_to(START_S + 2400);
        never_said(&story, &[Reason::Frozen, Reason::FrozenTogether]);
    }
}

/// The rate register of a meter hangs at full flow and the valve closes: that alone freezes nothing that rightly
/// stands on another link.
#[test]
fn a_hung_rate_does_not_freeze_a_closed_valve() {
    let mut story = bent(|settings| {
        one_link(settings);
        settings.devices[0].link = "meter".into();
    });
    story.bend = closed_valve;
    story.coarse = true;
    story.start();
    story.run_to(START_S + 599);
    let meter = story.device_of(SignalKind::FlowMassRate);
    for s in START_S + 600..START_S + 2400 {
        // The meter lives, but for its rate.
        let density = if s % 2 == 0 { 1_514.0 } else { 1_515.0 };
        story.stuck = vec![
            (SignalKind::FlowMassRate, Measured::Number(5.0)),
            (SignalKind::LineDensity, Measured::Number(density)),
        ];
        // Away for a moment and back with the same: no sign of life.
        story.silent = if s == START_S + 900 { vec![meter] } else { Vec::new() };
        story.run_to(s);
    }
    assert_eq!(reading(&story, SignalKind::FlowMassRate).validity, Validity::Good, "nobody finds it out");
    for kind in [SignalKind::Scale, SignalKind::Level, SignalKind::PadPressure] {
        assert_eq!(reading(&story, kind).validity, Validity::Good, "{kind:?}");
    }
}

/// A valve that is closed from 600 s to 7,200 s after the start.
fn closed_for_a_while(truth: &mut Truth) {
    let moving_s = truth.s.saturating_sub(START_S);
    let flowed_s = moving_s.min(600) + moving_s.saturating_sub(7_200);
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    let out_kg = RATE * flowed_s as f64;
    truth.out_kg = out_kg;
    truth.metered_kg = (out_kg - 0.015 * 1514.5).max(0.0);
    truth.received_kg = (out_kg - 0.055 * 1514.5).max(0.0);
    if (600..7_200).contains(&moving_s) {
        truth.rate = 0.0;
    }
}

/// What went by between two transfers is held against nothing, though liquid moves as the second one starts.
#[test]
fn the_next_transfer_starts_anew() {
    let mut story = bent(one_link);
    story.bend = closed_for_a_while;
    story.coarse = true;
    story.start();
    story.run_to(START_S + 600);
    story.entry(What::Closed);
    story.run_to(START_S + 7_200);
    story.entry(What::DeliveryOpened(Box::new(story.delivery.clone())));
    story.run_to(START_S + 7_230);
    story.entry(What::TransferStarted);
    story.run_to(START_S + 7_500);
    assert!(story.last.witnesses.iter().all(|w| w.validity.is_credible()), "{:?}", story.last.witnesses);
    never_said(&story, &[Reason::Frozen, Reason::FrozenTogether]);
}

/// Coarse registers of a whole transfer behind one link repeat for minutes while all is sound.
#[test]
fn coarse_registers_are_not_frozen() {
    let mut story = bent(one_link);
    story.coarse = true;
    story.start();
    story.run_to(START_S + 3600);
    never_said(&story, &[Reason::Frozen, Reason::FrozenTogether]);
}

/// A gauge that sticks beside a coarse pressure and temperature, which rightly stand: it alone is frozen.
#[test]
fn a_stuck_gauge_takes_no_coarse_neighbours_along() {
    let mut story = Story::opened();
    story.coarse = true;
    story.start();
    story.run_to(START_S + 600);
    let Some(level_m) = reading(&story, SignalKind::Level).value_si else { panic!("a level") };
    story.stuck = vec![(SignalKind::Level, Measured::Number(level_m))];
    story.run_to(START_S + 900);
    assert_eq!(reading(&story, SignalKind::Level).validity, Validity::Lost(Reason::Frozen));
    never_said(&story, &[Reason::FrozenTogether]);
}

/// The total hangs, the rate beside it lives: with scale and tank away only the rate can tell.
#[test]
fn a_living_rate_finds_its_hung_total() {
    let mut story = Story::transferring(START_S + 600);
    story.silent = vec![story.device_of(SignalKind::Scale), story.device_of(SignalKind::Level)];
    story.run_to(START_S + 700);
    story.stuck = vec![(SignalKind::FlowMassTotal, Measured::Number(4_400.0))];
    let frozen = Validity::Lost(Reason::Frozen);
    let after_s = seconds_until(&mut story, START_S + 700, 20, |f| f.witnesses[FLOW].validity == frozen);
    println!("hung total, nobody left but the rate: said after {after_s} s");
}

/// Two witnesses of one transmitter count as one.
#[test]
fn two_witnesses_of_one_transmitter_are_one() {
    let shared = |settings: &mut Settings| {
        for signal in &mut settings.signals {
            if matches!(signal.kind, SignalKind::FlowMassTotal | SignalKind::Scale) {
                signal.transmitter = Some("weighing meter".into());
            }
        }
    };
    let mut story = bent(shared);
    story.start();
    story.run_to(START_S + 900);
    assert_eq!(story.last.verdict.word, VerdictWord::Agree, "the tank bears them out");
    story.silent = vec![story.device_of(SignalKind::Level)];
    story.run_to(START_S + 910);
    assert_eq!(story.last.verdict.word, VerdictWord::NotIndependent);
    // The tank differs from both: they bear each other out no more than one would.
    let mut story = bent(shared);
    story.bend = |truth| truth.received_kg *= 0.85;
    story.start();
    story.run_to(START_S + 1500);
    assert_eq!((story.last.verdict.word, story.last.verdict.suspects), (VerdictWord::CannotTellWhich, [true; 3]));
}

/// The frame says how each device answers: what was missed and why, connections, how long and how late.
#[test]
fn the_frame_says_how_devices_answer() {
    let mut story = Story::opened();
    story.run_to(10);
    story.silent = vec![1];
    story.run_to(13);
    let state = &story.last.devices[1];
    assert_eq!((state.answered, state.missed), (10, 3));
    assert_eq!(state.missed_for, [(MissReason::TimeOut, 3)]);
    let Trouble { reason, since } = state.trouble.expect("it does not answer");
    assert_eq!((reason, since.0), (MissReason::TimeOut, 11 * SECOND_NS));
    story.silent.clear();
    let ms = 1_000_000;
    for (late, took) in [(3, 40), (1, 20)] {
        let at = story.last.at;
        let requested = EngineTime(at.0 + late * ms);
        let replied = EngineTime(requested.0 + took * ms);
        story.feed(Event::Poll(Poll { requested, replied, connections: 2, ..Poll::at_once(1, at, []) }));
    }
    let state = &story.last.devices[1];
    assert_eq!((state.trouble, state.connections, state.answered), (None, 2, 12));
    assert_eq!((state.latency_ns, state.latency_worst_ns), (20 * ms, 40 * ms));
    assert_eq!((state.lateness_ns, state.lateness_worst_ns), (ms, 3 * ms));
}
