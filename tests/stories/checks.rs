//! The checks before anything is connected: papers, plate, protection. What each is held against stands beside it.

use super::bay::{START_S, Story, shipped};
use brimwatch::engine::Monitor;
use brimwatch::engine::checks::{Check, CheckId, CheckState, Paper, Wanted, Why};
use brimwatch::engine::delivery::Refusal;
use brimwatch::engine::frame::Phase;
use brimwatch::engine::input::{Carried, Event, What};
use brimwatch::engine::papers::Property;
use brimwatch::engine::settings::{DeliverySetup, Drive, OnBoard, Settings, SignalKind};
use brimwatch::time::WallTime;
use brimwatch::units::{Celsius, GaugePa, Kg};

use CheckState::{Fails, Met, NotYet};

/// 1 lbf/in2 in Pa, as printed in NIST SP 811 (2008), App. B.8.
const PSI: f64 = 6894.757;
/// 2026-08-20T00:00:00Z, on which the shipped site file says that the shut-off was tested (`date -u -d 2026-08-20 +%s`).
const TESTED_S: i64 = 1_787_184_000;

/// The shipped delivery with its papers bent, opened and read for ten seconds.
fn opened(bend: impl FnOnce(&mut Settings, &mut DeliverySetup)) -> Story {
    let (mut settings, mut delivery) = shipped();
    bend(&mut settings, &mut delivery);
    let mut story = Story::with(settings, delivery);
    story.feed(Event::Clock(WallTime((TESTED_S + 100 * 86_400) * 1_000_000_000)));
    story.run_to(10);
    story
}

fn check(story: &Story, id: CheckId) -> &Check {
    story.last.checks.iter().find(|c| c.id == id).expect("asked")
}

fn state(story: &Story, id: CheckId) -> CheckState {
    check(story, id).state
}

fn entered(check: CheckId, met: bool, note: &str) -> What {
    What::CheckEntered { check, met, note: note.into() }
}

/// With the shipped papers what papers, plate and signals can answer is met, and the rest is asked of a person.
#[test]
fn sound_papers_leave_only_what_a_person_must_see() {
    let story = opened(|_, _| {});
    for check in story.last.checks.iter() {
        let expected = if check.by_person { NotYet } else { Met };
        assert_eq!(check.state, expected, "{check:?}");
    }
    let by_person = story.last.checks.iter().filter(|c| c.by_person).count();
    assert_eq!((story.last.checks.iter().count(), by_person), (19, 7));
    assert_eq!(check(&story, CheckId::ShutoffTested).why, [Why::Tested { days: 100, most_days: 365 }]);
}

#[test]
fn nothing_written_is_not_yet_and_never_met() {
    let story = opened(|settings, delivery| {
        delivery.papers = Default::default();
        (delivery.plate.mawp, settings.expected.gas_relief) = (None, None);
        settings.expected.tanks[0].shutoff_tested = None;
    });
    for check in story.last.checks.iter().filter(|c| c.id != CheckId::LoadFits) {
        assert_eq!(check.state, NotYet, "{check:?}");
    }
    let why = |id| check(&story, id).why.clone();
    assert_eq!(why(CheckId::Certificate), [Why::NotWritten(Paper::Certificate)]);
    assert_eq!(why(CheckId::Plate), [Why::NotSet(Wanted::Mawp)]);
    assert_eq!(why(CheckId::SealNumbers), [Why::NotWritten(Paper::SealsExpected), Why::NotWritten(Paper::SealsFound)]);
}

#[test]
fn seals_that_differ_fail_whatever_their_order() {
    let seals = |expected: &[&str], found: &[&str]| {
        let list = |seals: &[&str]| seals.iter().map(|s| (*s).to_owned()).collect();
        let story = opened(|_, d| (d.papers.seals_expected, d.papers.seals_found) = (list(expected), list(found)));
        check(&story, CheckId::SealNumbers).clone()
    };
    assert_eq!(seals(&["A 1", "A 2"], &["a2", "a1"]).state, Met);
    let other = seals(&["A 1", "A 2"], &["A 1", "A 3"]);
    assert_eq!(other.state, Fails);
    assert_eq!(other.why, [Why::Differs { expected: "A 1, A 2".into(), found: "A 1, A 3".into() }]);
    assert_eq!(seals(&["A 1", "A 2"], &["A 1"]).state, Fails, "one is missing");
    assert_eq!(seals(&["A 1"], &["A 1", "A 1"]).state, Fails, "one too many");
    let story = opened(|_, d| d.papers.seals_unbroken = Some(false));
    assert_eq!(state(&story, CheckId::SealsUnbroken), Fails);
}

#[test]
fn a_certificate_is_held_property_by_property() {
    let property = |name: &str, value: Option<f64>, low: Option<f64>, high: Option<f64>| Property {
        name: name.into(),
        value,
        unit: "%".into(),
        low,
        high,
    };
    let with = |properties: Vec<Property>| {
        check(&opened(|_, d| d.papers.properties = properties), CheckId::Certificate).clone()
    };
    let in_limits = property("a", Some(50.0), Some(50.0), Some(51.0));
    assert_eq!(with(vec![in_limits.clone()]).state, Met, "a limit is within");
    let missing = with(vec![in_limits.clone(), property("b", None, None, Some(1.0))]);
    assert_eq!((missing.state, missing.why), (NotYet, vec![Why::NoValue("b".into())]));
    let no_limits = with(vec![property("b", Some(1.0), None, None)]);
    assert_eq!((no_limits.state, no_limits.why), (NotYet, vec![Why::NoLimits("b".into())]));
    let high = property("c", Some(1.01), None, Some(1.0));
    let outside = with(vec![property("b", None, None, Some(1.0)), high.clone()]);
    assert_eq!((outside.state, outside.why), (Fails, vec![Why::Property(high), Why::NoValue("b".into())]));
}

#[test]
fn another_product_or_marking_fails() {
    let story = opened(|_, d| d.papers.product_tag = Some("hydrochloric acid 33 %".into()));
    assert_eq!(state(&story, CheckId::Product), Fails);
    let story = opened(|s, _| s.expected.tanks[0].product = "hydrochloric acid 33 %".into());
    assert_eq!(state(&story, CheckId::Product), Fails);
    let story = opened(|_, d| {
        d.papers.marking_found = Some("1789, 8".into());
        d.papers.shipping_description = Some("un1824 sodium hydroxide solution 8 ii".into());
    });
    assert_eq!(state(&story, CheckId::HazardMarking), Fails);
    assert_eq!(state(&story, CheckId::ShippingDescription), Met, "capitals and commas are no difference");
}

#[test]
fn a_load_that_does_not_fit_fails_before_anything_is_connected() {
    let story = opened(|_, d| (d.planned, d.ticket_net) = (Kg(64_000.0), Kg(64_000.0)));
    let fits = check(&story, CheckId::LoadFits);
    assert!(matches!(fits.why[..], [Why::Room { kg, opening_kg }] if kg < 0.0 && opening_kg > 0.0), "{fits:?}");
    assert_eq!(fits.state, Fails);
    let mut story = opened(|_, _| {});
    assert_eq!(state(&story, CheckId::LoadFits), Met);
    story.silent = vec![story.device_of(SignalKind::Level)];
    story.run_to(20);
    assert_eq!(check(&story, CheckId::LoadFits).why, [Why::MarginUnknown]);
}

/// A leg says what is on board for it: that, not all of the ticket, must fit its own tank, with that figure's own
/// uncertainty. What people entered for the leg before it answers nothing for this one.
#[test]
fn a_leg_is_checked_by_itself() {
    let on_board = |kg: f64, u_kg: f64| {
        opened(|_, d| {
            (d.ticket_net, d.leg, d.planned) = (Kg(64_000.0), 2, Kg(4_000.0));
            d.on_board = Some(OnBoard { mass: Kg(kg), u: Kg(u_kg) });
        })
    };
    let margin_kg = |story: &Story| match check(story, CheckId::LoadFits).why[..] {
        [Why::Room { kg, .. }] => kg,
        ref other => panic!("{other:?}"),
    };
    let whole = opened(|_, d| (d.ticket_net, d.planned) = (Kg(64_000.0), Kg(4_000.0)));
    assert_eq!(state(&whole, CheckId::LoadFits), Fails, "nothing but a person stops the rest of the ticket's load");
    let mut leg = on_board(5_000.0, 30.0);
    assert_eq!((state(&leg, CheckId::LoadFits), leg.last.delivery.as_ref().map(|d| d.leg)), (Met, Some(2)));
    assert!((margin_kg(&leg) - margin_kg(&on_board(6_000.0, 30.0)) - 1_000.0).abs() < 1e-6);
    assert!(margin_kg(&on_board(5_000.0, 300.0)) < margin_kg(&leg) - 2.0 * 200.0);

    let (_, delivery) = shipped();
    leg.entry(entered(CheckId::ConnectionIdentified, true, ""));
    assert_eq!(state(&leg, CheckId::ConnectionIdentified), Met);
    leg.entry(What::TransferStarted);
    leg.entry(What::Closed);
    leg.entry(What::DeliveryOpened(Box::new(DeliverySetup { leg: 3, ..delivery })));
    assert_eq!(leg.last.delivery.as_ref().map(|d| d.leg), Some(3));
    for check in leg.last.checks.iter().filter(|c| c.by_person) {
        assert_eq!(check.state, NotYet, "{check:?}");
    }
}

/// The trailer against its plate and the site's maximum (25 psig): 100 kPa on the tap of the story.
#[test]
fn the_trailers_pressure_counts_by_the_higher_of_tap_and_gauge() {
    let story = opened(|_, d| d.papers.pressure_found = Some(GaugePa(26.0 * PSI)));
    let Why::Pressure { pa_gauge, most_pa_gauge } = check(&story, CheckId::TrailerPressure).why[0] else {
        panic!("a pressure")
    };
    assert!((pa_gauge / PSI - 26.0).abs() < 1e-9 && (most_pa_gauge / PSI - 25.0).abs() < 1e-5);
    assert_eq!(state(&story, CheckId::TrailerPressure), Fails);
    let story = opened(|_, d| {
        d.papers.pressure_found = Some(GaugePa(0.0));
        d.plate.mawp = Some(GaugePa(14.0 * PSI));
    });
    assert_eq!(state(&story, CheckId::TrailerPressure), Fails, "the tap says 100 kPa, above a MAWP of 96.5");
    let story = opened(|_, d| d.papers.temperature_found = Some(Celsius(61.0)));
    assert_eq!(state(&story, CheckId::TrailerTemperature), Fails);
}

/// The supply's relief at or below the lowest rated part: the shipped plate has 30 psig, everything else 150.
#[test]
fn the_gas_supplys_relief_is_held_against_the_weakest_part() {
    let relief = |psi: f64, bend: fn(&mut Settings, &mut DeliverySetup)| {
        let story = opened(|s, d| {
            s.expected.gas_relief = Some(GaugePa(psi * PSI));
            bend(s, d);
        });
        state(&story, CheckId::GasRelief)
    };
    assert_eq!(relief(29.9, |_, _| {}), Met);
    assert_eq!(relief(30.1, |_, _| {}), Fails);
    assert_eq!(relief(29.9, |s, _| s.limits.hose_rating = Some(GaugePa(28.0 * PSI))), Fails);
    assert_eq!(relief(29.9, |s, _| s.limits.hose_rating = None), NotYet, "nobody knows which part is the weakest");
    assert_eq!(relief(30.1, |s, _| s.limits.hose_rating = None), Fails, "above one part is enough");
}

#[test]
fn checks_of_the_gas_are_not_asked_where_a_pump_drives() {
    let story = opened(|s, _| s.drive = Drive::Pump);
    let asked = |id| story.last.checks.iter().any(|c| c.id == id);
    assert!(![CheckId::PadGas, CheckId::DewPoint, CheckId::GasRelief].into_iter().any(asked));
    assert!(asked(CheckId::LoadFits));
    let refused = story.monitor.admits(&entered(CheckId::PadGas, true, ""));
    assert_eq!(refused, Err(Refusal::NotByPerson));
}

#[test]
fn a_test_of_the_shut_off_grows_old() {
    let after = |days: i64| {
        let mut story = opened(|_, _| {});
        story.feed(Event::Clock(WallTime((TESTED_S + days * 86_400 + 3_600) * 1_000_000_000)));
        state(&story, CheckId::ShutoffTested)
    };
    assert_eq!([after(0), after(365), after(366), after(-1)], [Met, Met, Fails, NotYet]);
}

/// A person's entry answers what only a person can see; a signal can speak against it, never for it.
#[test]
fn entries_answer_and_signals_overrule() {
    let mut story = opened(|_, _| {});
    story.entry(entered(CheckId::ShutoffInService, true, ""));
    assert_eq!(state(&story, CheckId::ShutoffInService), Met);
    let Why::Entered { who, .. } = &check(&story, CheckId::ShutoffInService).why[0] else { panic!("entered") };
    assert_eq!(who, "attendant");
    story.bend = |truth| truth.switch = true;
    story.run_to(12);
    assert_eq!(check(&story, CheckId::ShutoffInService).why, [Why::SwitchTripped]);
    let refused = |what| story.monitor.admits(&what).expect_err("refused");
    assert_eq!(refused(entered(CheckId::LoadFits, true, "")), Refusal::NotByPerson);
    assert_eq!(refused(entered(CheckId::PadGas, false, " ")), Refusal::NoReason);
    // The latest word counts.
    story.entry(entered(CheckId::PadGas, true, ""));
    story.entry(entered(CheckId::PadGas, false, "air, not nitrogen"));
    assert_eq!(state(&story, CheckId::PadGas), Fails);
}

#[test]
fn entries_cross_into_the_next_segment_and_a_replay_gives_the_same() {
    let mut story = opened(|_, _| {});
    story.entry(entered(CheckId::EmergencyEquipment, true, "shower runs"));
    story.run_to(15);
    let mut replayed = Monitor::new(story.settings.clone(), Carried::default());
    for (input, output) in story.inputs.iter().zip(&story.outputs) {
        assert_eq!(replayed.step(input), *output);
    }
    let before = check(&story, CheckId::EmergencyEquipment).clone();
    story.new_segment(|_| {});
    assert_eq!(*check(&story, CheckId::EmergencyEquipment), before);
}

#[test]
fn a_rejected_load_is_over_before_anything_has_moved() {
    let mut story = opened(|_, _| {});
    let reject = |reason: &str| What::Rejected { reason: reason.into() };
    assert_eq!(story.monitor.admits(&reject("")), Err(Refusal::NoReason));
    story.entry(reject("seal 88102 broken; supervisor"));
    assert_eq!(story.last.phase, Phase::Closed);
    let delivery = story.last.delivery.clone().expect("still shown");
    assert_eq!(delivery.rejected.as_deref(), Some("seal 88102 broken; supervisor"));
    let story = Story::transferring(START_S + 5);
    assert_eq!(story.monitor.admits(&reject("too late")), Err(Refusal::TooLateToReject));
}

/// A second opening is refused, and the first keeps its papers and what was entered.
#[test]
fn a_delivery_opened_twice_loses_nothing() {
    let mut story = opened(|_, _| {});
    story.entry(entered(CheckId::PadGas, true, ""));
    let before = story.last.checks.clone();
    let mut other = story.delivery.clone();
    (other.id, other.papers) = ("another".into(), Default::default());
    let again = What::DeliveryOpened(Box::new(other));
    assert_eq!(story.monitor.admits(&again), Err(Refusal::DeliveryOpen));
    story.entry(again);
    assert_eq!(story.last.checks, before);
    assert_eq!(story.last.delivery.as_ref().map(|d| d.id.as_str()), Some("2026-0417"));
}
