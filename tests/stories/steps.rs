//! The steps of a delivery, from the parked vehicle to its release: order, hold points, signatures, and what forbids.

use super::bay::{RATE, START_S, Story, shipped};
use brimwatch::engine::Monitor;
use brimwatch::engine::checks::CheckId;
use brimwatch::engine::delivery::Refusal;
use brimwatch::engine::input::{Carried, What};
use brimwatch::engine::settings::SignalKind;
use brimwatch::engine::steps::{Against, Bar, NoStep, Right, Side, SignedBy, Stands, Step, StepState};
use brimwatch::units::{GaugePa, Kg};

/// 1 lbf/in2 in Pa, as printed in NIST SP 811 (2008), App. B.8.
const PSI: f64 = 6894.757;

fn signed(step: &str, side: Side, note: &str) -> What {
    let name = if side == Side::Site { "A. Tendant" } else { "D. Haul" };
    What::StepSigned { step: step.into(), side, name: name.into(), right: Right::Attend, note: note.into() }
}

fn skipped(step: &str, right: Right, reason: &str) -> What {
    What::StepSkipped { step: step.into(), right, reason: reason.into() }
}

fn why_not(story: &Story, what: &What) -> NoStep {
    match story.monitor.admits(what) {
        Err(Refusal::NoStep(why)) => why,
        other => panic!("{what:?}: {other:?}"),
    }
}

/// Signs for every side that must, with a note where one is asked for.
fn sign(story: &mut Story, id: &str) {
    let step = story.settings.steps.iter().find(|s| s.id == id).expect("a step of that name").clone();
    // The shipped site has no limit of the tank's own pressure: what cannot be held against it is looked at.
    let unseen = state(story, id).is_some_and(|s| !s.against.is_empty());
    let note = if step.proof || unseen { "as seen on the spot" } else { "" };
    for side in [Side::Driver, Side::Site] {
        if step.signed_by.asks(side) {
            let what = signed(id, side, note);
            assert_eq!(story.monitor.admits(&what), Ok(()), "{id}: {:?}", state(story, id));
            story.entry(what);
        }
    }
}

fn state<'s>(story: &'s Story, id: &str) -> Option<&'s StepState> {
    let named = |s: &&StepState| story.settings.steps[usize::from(s.step)].id == id;
    story.last.steps.iter().find(named)
}

fn against(story: &Story, id: &str) -> Vec<(Bar, bool)> {
    state(story, id).expect("its turn").against.iter().map(|a| (a.bar, a.forbids)).collect()
}

/// A step that asks for nothing.
fn step(id: &str) -> Step {
    Step {
        id: id.into(),
        text: id.into(),
        care: String::new(),
        right: Right::Attend,
        signed_by: SignedBy::Site,
        hold: false,
        proof: false,
        bars: Vec::new(),
    }
}

/// The shipped bay with steps of our own, read for ten seconds.
fn with(steps: Vec<Step>) -> Story {
    let (mut settings, delivery) = shipped();
    settings.steps = steps;
    let mut story = Story::with(settings, delivery);
    story.run_to(10);
    story
}

/// All that the shipped list asks, in its order, with the entries of checks and transfer where it asks for them.
#[test]
fn the_shipped_steps_lead_from_the_gate_to_the_release() {
    let mut story = Story::opened();
    // 7 psi while joints are looked at, 100 kPa afterwards.
    story.bend = |truth| truth.pad_pa = if truth.s < START_S { 7.0 * PSI } else { 100_000.0 };
    story.run_to(10);
    let ids: Vec<String> = story.settings.steps.iter().map(|s| s.id.clone()).collect();
    assert!(ids.len() > 20, "{ids:?}");
    for id in ids {
        match id.as_str() {
            "may_connect" => {
                // The shipped story runs at the clock's zero: the shut-off's last test lies ahead of it.
                assert_eq!(against(&story, &id), [(Bar::ChecksOpen, true)]);
                assert_eq!(why_not(&story, &signed(&id, Side::Site, "")), NoStep::Forbidden);
                for check in CheckId::BY_PERSON {
                    story.entry(What::CheckEntered { check, met: true, note: String::new() });
                }
                let at = brimwatch::time::WallTime(1_787_184_000_000_000_000 + 86_400_000_000_000);
                story.feed(brimwatch::engine::input::Event::Clock(at));
            }
            "right_tank_rises" => {
                assert_eq!(why_not(&story, &signed(&id, Side::Site, "")), NoStep::Forbidden);
                story.start();
                story.run_to(START_S + 120);
            }
            "valves_shut" => {
                story.stop_s = Some(START_S + 600);
                story.run_to(START_S + 660);
                story.entry(What::Closed);
            }
            _ => {}
        }
        sign(&mut story, &id);
    }
    let all = story.last.steps.iter().all(|s| s.stands == Stands::Signed);
    assert!(all && story.last.steps.len() == story.settings.steps.len(), "{:?}", story.last.steps);
}

#[test]
fn a_hold_point_needs_what_is_before_it_and_holds_what_is_behind() {
    let hold = Step { hold: true, ..step("hold") };
    let mut story = with(vec![step("a"), step("b"), hold, step("c")]);
    let before = story.last.steps.clone();
    for (id, why) in [("hold", NoStep::StepsBefore), ("c", NoStep::BehindHoldPoint), ("d", NoStep::Unknown)] {
        assert_eq!(why_not(&story, &signed(id, Side::Site, "")), why, "{id}");
        // What is refused and comes all the same changes nothing.
        story.entry(signed(id, Side::Site, ""));
        assert_eq!(story.last.steps, before, "{id}");
    }
    assert_eq!(before.iter().map(|s| s.step).collect::<Vec<_>>(), [0, 1], "what waits is left out");
    story.entry(signed("b", Side::Site, ""));
    story.entry(signed("a", Side::Site, ""));
    assert_eq!(why_not(&story, &signed("a", Side::Site, "")), NoStep::Done);
    story.entry(signed("hold", Side::Site, "seen"));
    let held = state(&story, "hold").expect("signed");
    assert_eq!((held.stands, held.signatures[0].who.as_str()), (Stands::Signed, "A. Tendant"));
    assert_eq!(held.signatures[0].note, "seen");
    assert_eq!(state(&story, "c").map(|s| s.stands), Some(Stands::Open));
}

#[test]
fn two_sides_are_two_people_and_a_role_is_asked_for() {
    let both = Step { signed_by: SignedBy::Both, hold: true, ..step("both") };
    let by_engineer = Step { right: Right::Engineer, ..step("engineer") };
    let driver = Step { signed_by: SignedBy::Driver, ..step("driver") };
    let mut story = with(vec![both, by_engineer, driver]);
    story.entry(signed("both", Side::Driver, ""));
    assert_eq!(state(&story, "both").map(|s| s.stands), Some(Stands::Open), "one side is not both");
    assert_eq!(why_not(&story, &signed("both", Side::Driver, "")), NoStep::SideHasSigned);
    let as_site = |name: &str| What::StepSigned {
        step: "both".into(),
        side: Side::Site,
        name: name.into(),
        right: Right::Attend,
        note: String::new(),
    };
    assert_eq!(why_not(&story, &as_site("d. haul ")), NoStep::SameHand);
    assert_eq!(why_not(&story, &as_site(" ")), NoStep::NoName);
    story.entry(as_site("A. Tendant"));
    assert_eq!(state(&story, "both").map(|s| s.stands), Some(Stands::Signed));
    assert_eq!(why_not(&story, &signed("engineer", Side::Site, "")), NoStep::NoRight);
    assert_eq!(why_not(&story, &signed("driver", Side::Site, "")), NoStep::NotThisSide);
    let name = "E. Ngineer".to_owned();
    let right = Right::Engineer;
    let what = What::StepSigned { step: "engineer".into(), side: Side::Site, name, right, note: String::new() };
    assert_eq!(story.monitor.admits(&what), Ok(()));
}

#[test]
fn what_goes_unsigned_needs_a_reason_and_a_hold_point_an_engineer() {
    let mut story = with(vec![step("a"), Step { hold: true, ..step("hold") }, step("b")]);
    assert_eq!(why_not(&story, &skipped("a", Right::Attend, " ")), NoStep::NoReason);
    story.entry(skipped("a", Right::Attend, "no such valve here"));
    assert_eq!(state(&story, "a").map(|s| s.stands), Some(Stands::Skipped));
    assert_eq!(why_not(&story, &skipped("hold", Right::Attend, "late")), NoStep::NoRight);
    story.entry(skipped("hold", Right::Engineer, "gauge broken, seen by hand"));
    assert_eq!(state(&story, "b").map(|s| s.stands), Some(Stands::Open));
    story.entry(What::Rejected { reason: "wrong seal".into() });
    assert_eq!(why_not(&story, &signed("b", Side::Site, "")), NoStep::Rejected);
    assert_eq!(Story::opened().monitor.admits(&signed("bonded", Side::Site, "")), Ok(()));
    let idle = Monitor::new(story.settings.clone(), Carried::default());
    assert_eq!(idle.admits(&signed("a", Side::Site, "")), Err(Refusal::NoDelivery));
}

/// A pad outside the band of the leak check, or near its ceiling, forbids; one that cannot be read is not known, and
/// whoever signs writes what they went by.
#[test]
fn the_pad_forbids_and_never_confirms() {
    let band = vec![Bar::PadBelow(GaugePa(5.0 * PSI)), Bar::PadAbove(GaugePa(10.0 * PSI)), Bar::PadAtCeiling];
    let at = |psi: fn(&mut super::bay::Truth)| {
        let (mut settings, delivery) = shipped();
        settings.steps = vec![Step { bars: band.clone(), ..step("leak_check") }];
        let mut story = Story::with(settings, delivery);
        story.bend = psi;
        story.run_to(10);
        story
    };
    assert_eq!(against(&at(|t| t.pad_pa = 4.0 * PSI), "leak_check"), [(band[0], true)]);
    assert_eq!(against(&at(|t| t.pad_pa = 7.0 * PSI), "leak_check"), []);
    assert_eq!(against(&at(|t| t.pad_pa = 12.0 * PSI), "leak_check"), [(band[1], true)]);
    // The shipped site's own maximum is 25 psi, and 95 % of it is near.
    let high = at(|t| t.pad_pa = 24.0 * PSI);
    assert_eq!(against(&high, "leak_check"), [(band[1], true), (band[2], true)]);
    let read = state(&high, "leak_check").expect("open").against[0].value_si.expect("a value");
    assert!((read / PSI - 24.0).abs() < 0.1, "{read}");

    let mut silent = at(|t| t.pad_pa = 7.0 * PSI);
    silent.silent = vec![silent.device_of(SignalKind::PadPressure)];
    silent.run_to(20);
    assert_eq!(against(&silent, "leak_check"), band.iter().map(|b| (*b, false)).collect::<Vec<_>>());
    assert_eq!(why_not(&silent, &signed("leak_check", Side::Site, " ")), NoStep::Unseen);
    assert_eq!(silent.monitor.admits(&signed("leak_check", Side::Site, "hose gauge: 7 psi")), Ok(()));
}

/// Flow of 5 kg/s less 83 kg that fill the line: 300 kg are in after (300 + 83) / 5 = 77 s.
#[test]
fn the_start_is_held_until_the_right_tank_rises_and_no_other() {
    let (mut settings, delivery) = shipped();
    let bars = vec![Bar::NotStarted, Bar::RisenLess(Kg(300.0)), Bar::OtherRises(Kg(300.0)), Bar::Flows];
    settings.steps = vec![Step { bars: bars.clone(), ..step("rises") }];
    // A second tank, whose gauge shows the same as that of the first.
    settings.tanks.push(settings.tanks[0].clone());
    let gauge = settings.signals.iter().find(|s| s.kind == SignalKind::Level).expect("a gauge").clone();
    settings.signals.push(brimwatch::engine::settings::SignalSetup { tank: Some(1), ..gauge });
    settings.expected.tanks.push(settings.expected.tanks[0].clone());
    let mut story = Story::with(settings, delivery);
    story.run_to(10);
    assert_eq!(against(&story, "rises")[..2], [(Bar::NotStarted, true), (Bar::RisenLess(Kg(300.0)), true)]);
    story.start();
    let due_s = (300.0 + 0.055 * 1514.5) / RATE;
    story.run_to(START_S + 60);
    assert_eq!(against(&story, "rises"), [(Bar::RisenLess(Kg(300.0)), true), (Bar::Flows, true)], "{due_s}");
    story.run_to(START_S + 95);
    let late = &state(&story, "rises").expect("open").against;
    assert!(matches!(late[..], [Against { bar: Bar::OtherRises(_), forbids: true, value_si: Some(_) }, _]), "{late:?}");
}

/// Yes/no signals: the switch forbids; without power to see it, a word is asked for.
#[test]
fn a_tripped_switch_forbids() {
    let (mut settings, delivery) = shipped();
    settings.steps = vec![Step { bars: vec![Bar::SwitchTripped, Bar::ShutoffBypassed], ..step("s") }];
    let mut story = Story::with(settings, delivery);
    story.run_to(10);
    assert_eq!(against(&story, "s"), [], "what is not fitted forbids nothing");
    story.bend = |truth| truth.switch = true;
    story.run_to(12);
    assert_eq!(against(&story, "s"), [(Bar::SwitchTripped, true)]);
    story.silent = vec![story.device_of(SignalKind::HighLevelSwitch)];
    story.run_to(14);
    assert_eq!(against(&story, "s"), [(Bar::SwitchTripped, false)]);
}

#[test]
fn signatures_cross_into_the_next_segment_and_a_replay_gives_the_same() {
    let hold = Step { hold: true, signed_by: SignedBy::Both, ..step("hold") };
    let mut story = with(vec![step("a"), hold, step("b")]);
    story.entry(skipped("a", Right::Attend, "not here"));
    story.entry(signed("hold", Side::Driver, ""));
    story.run_to(15);
    let mut replayed = Monitor::new(story.settings.clone(), Carried::default());
    for (input, output) in story.inputs.iter().zip(&story.outputs) {
        assert_eq!(replayed.step(input), *output);
    }
    let before = story.last.steps.clone();
    story.new_segment(|_| {});
    assert_eq!(story.last.steps, before);
    story.entry(signed("hold", Side::Site, ""));
    assert_eq!(state(&story, "b").map(|s| s.stands), Some(Stands::Open));
}
