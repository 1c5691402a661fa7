//! What is about to hurt somebody: each said within seconds of the reading that shows it, never of a sound transfer, and
//! not taken back when that reading is lost.

use super::bay::{START_S, Story, Truth};
use brimwatch::engine::frame::Condition;
use brimwatch::engine::input::{AlarmId, Measured};
use brimwatch::engine::settings::SignalKind;

/// The shipped on-delay of what is estimated is 3 s; whoever stands at the trailer is to know within this, s.
const WITHIN_S: u64 = 10;
/// Well into the transfer.
const BENT_S: u64 = START_S + 300;

const HAZARDS: [AlarmId; 6] = [
    AlarmId::WrongProduct,
    AlarmId::PossibleReaction,
    AlarmId::PadAboveMawp,
    AlarmId::PadInReliefWindow,
    AlarmId::PadBelowTank,
    AlarmId::ReverseFlow,
];

fn open(story: &Story, id: AlarmId) -> Option<Condition> {
    story.last.alarms.iter().find(|alarm| alarm.key.id == id).map(|alarm| alarm.condition)
}

/// A transfer in which something is so from then on.
fn bent(bend: fn(&mut Truth), stuck: &[(SignalKind, f64)]) -> Story {
    let mut story = Story::transferring(BENT_S);
    story.bend = bend;
    story.stuck = stuck.iter().map(|(kind, value)| (*kind, Measured::Number(*value))).collect();
    story.run_to(BENT_S + WITHIN_S);
    story
}

#[test]
fn a_sound_transfer_raises_none() {
    let mut story = Story::opened();
    story.start();
    for s in START_S + 1..START_S + 1_200 {
        story.run_to(s);
        for id in HAZARDS {
            assert_eq!(open(&story, id), None, "{id:?} at {s} s");
        }
    }
}

/// The load is 35 C and so was the tank: nothing that mixes gets warmer than that by itself.
#[test]
fn a_tank_that_grows_warmer_than_all_that_is_in_it_may_react() {
    let warm = |celsius| open(&bent(|_| {}, &[(SignalKind::TankTemperature, celsius)]), AlarmId::PossibleReaction);
    assert_eq!(warm(37.0), None, "two kelvin are within what thermometers and mixing make");
    assert_eq!(warm(45.0), Some(Condition::True));
}

/// 1,300 kg/m3 where the papers' table has 1,514.5.
#[test]
fn another_density_in_the_line_is_another_product() {
    let story = bent(|_| {}, &[(SignalKind::LineDensity, 1_300.0)]);
    assert_eq!(open(&story, AlarmId::WrongProduct), Some(Condition::True));
}

/// 1,600 kg/m3 is another product. Gas that comes with its last drags the density down through the right one's; that is not
/// the right product, a hundred kilograms of it are.
#[test]
fn another_product_is_not_taken_back_by_what_passes_in_seconds() {
    let mut story = bent(|_| {}, &[(SignalKind::LineDensity, 1_600.0)]);
    assert_eq!(open(&story, AlarmId::WrongProduct), Some(Condition::True));
    // The truth is 5 kg/s.
    let from_s = BENT_S + WITHIN_S;
    story.stuck.clear();
    story.run_to(from_s + 15);
    assert_eq!(open(&story, AlarmId::WrongProduct), Some(Condition::True), "75 kg of the right one");
    story.run_to(from_s + 40);
    assert_eq!(open(&story, AlarmId::WrongProduct), Some(Condition::False), "200 kg of it");
}

/// Liquid and gas stand in the meter when the valve has shut on the last of the load: neither that, nor one wrong answer of
/// the meter, is another product.
#[test]
fn what_stands_in_the_meter_is_no_other_product() {
    let mut story = Story::transferring(BENT_S);
    story.stuck = vec![(SignalKind::FlowMassRate, 0.0), (SignalKind::LineDensity, 1_100.0)]
        .into_iter()
        .map(|(kind, value)| (kind, Measured::Number(value)))
        .collect();
    story.stop_s = Some(BENT_S);
    for s in BENT_S + 1..BENT_S + 120 {
        story.run_to(s);
        assert_eq!(open(&story, AlarmId::WrongProduct), None, "{s} s");
    }
    let mut story = Story::transferring(BENT_S);
    story.stuck = vec![(SignalKind::LineDensity, Measured::Number(1_000.0))];
    story.run_to(BENT_S + 1);
    story.stuck.clear();
    for s in BENT_S + 2..BENT_S + 120 {
        story.run_to(s);
        assert_eq!(open(&story, AlarmId::WrongProduct), None, "{s} s");
    }
}

#[test]
fn a_meter_that_runs_backwards_is_said() {
    let flow = |kg_per_s| open(&bent(|_| {}, &[(SignalKind::FlowMassRate, kg_per_s)]), AlarmId::ReverseFlow);
    assert_eq!(flow(-0.1), None, "a meter's zero creeps");
    assert_eq!(flow(-0.5), Some(Condition::True));
}

#[test]
fn a_pad_that_cannot_hold_the_tank_back_is_said() {
    let story = bent(|truth| (truth.pad_pa, truth.vapour_pa) = (10_000.0, 40_000.0), &[]);
    assert_eq!(open(&story, AlarmId::PadBelowTank), Some(Condition::True));
}

/// Above each value of the plate its own alarm, at once; below, none.
#[test]
fn the_plates_pressures_have_alarms_of_their_own() {
    let plate = Story::opened().delivery.plate;
    for (id, limit) in [(AlarmId::PadAboveMawp, plate.mawp), (AlarmId::PadInReliefWindow, plate.relief_from)] {
        let limit_pa = limit.expect("on the shipped plate").0;
        for (factor, said) in [(0.98, None), (1.02, Some(Condition::True))] {
            let mut story = Story::transferring(BENT_S);
            story.stuck = vec![(SignalKind::PadPressure, Measured::Number(limit_pa * factor))];
            story.run_to(BENT_S + 1);
            assert_eq!(open(&story, id), said, "{id:?} at {factor} of {limit_pa} Pa");
        }
    }
}

/// Each of them stays when the instrument that showed it falls silent: unknown is not normal.
#[test]
fn a_hazard_is_not_taken_back_by_silence() {
    let shown = [
        (AlarmId::WrongProduct, SignalKind::LineDensity, 1_300.0),
        (AlarmId::PossibleReaction, SignalKind::TankTemperature, 45.0),
        (AlarmId::ReverseFlow, SignalKind::FlowMassRate, -0.5),
        (AlarmId::PadAboveMawp, SignalKind::PadPressure, 390_000.0),
    ];
    for (id, kind, value) in shown {
        let mut story = bent(|_| {}, &[(kind, value)]);
        assert_eq!(open(&story, id), Some(Condition::True), "{id:?}");
        story.silent = vec![story.device_of(kind)];
        story.run_to(BENT_S + WITHIN_S + 60);
        let still = open(&story, id);
        assert!(matches!(still, Some(Condition::True | Condition::Unknown)), "{id:?}: {still:?}");
    }
}
