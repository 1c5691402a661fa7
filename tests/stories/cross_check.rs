//! The flow held against the pressure that drives it: what changes in the line or at the meter is said within seconds, and names
//! no instrument. The simulated plant is held to published pipe flow elsewhere (tests/reference/plant.rs).

use super::driver;
use super::driver::Bench;
use brimwatch::engine::frame::{Frame, Validity, VerdictWord};
use brimwatch::engine::input::AlarmId;
use brimwatch::engine::settings::{DeliverySetup, Settings};
use brimwatch_simulator::bay::SimulatedBay;
use brimwatch_simulator::instruments::{Instrument, InstrumentFault, InstrumentSetup, Wrong};
use brimwatch_simulator::plant::fault::{Mishap, PlantFault};
use brimwatch_simulator::scenario;
use std::path::Path;

/// It happens so long after the start, s.
const ONSET_S: u64 = 900;
/// And is said no later than this, s: two blocks of five seconds, and the one that it began in.
const SAID_S: u64 = 16;

/// A transfer that has gone on until then, laminar for even seeds and turbulent for odd ones.
fn before<'a>(settings: &'a Settings, delivery: &DeliverySetup, seed: u64) -> Bench<'a> {
    let high_m = scenario::instruments(settings, delivery.tank, seed).high_switch_m;
    let plant = driver::viscous_or_braked(scenario::plant(settings, delivery, seed), seed);
    let bay = SimulatedBay::of(settings, Some(delivery), plant, InstrumentSetup::nominal(high_m, seed));
    let mut bench = Bench::started(settings, &driver::papers_of(delivery, seed), bay);
    (0..ONSET_S).for_each(|_| assert_eq!(said(&bench.second()), [], "seed {seed}"));
    bench
}

/// What is said of flow and pressure.
fn said(frame: &Frame) -> Vec<AlarmId> {
    let ids = frame.alarms.iter().map(|alarm| alarm.key.id);
    ids.filter(|id| matches!(id, AlarmId::FlowAbovePressure | AlarmId::FlowBelowPressure)).collect()
}

/// Seconds until that is said and nothing else; meanwhile nobody is accused.
fn until_said(bench: &mut Bench, id: AlarmId) -> Option<u64> {
    (1..=120).find(|_| {
        let frame = bench.second();
        let said = said(&frame);
        let good = frame.witnesses.each_ref().map(|w| w.validity == Validity::Good);
        assert_eq!((frame.verdict.word, frame.verdict.suspects, good), (VerdictWord::Agree, [false; 3], [true; 3]));
        assert!(said.is_empty() || said == [id], "{said:?} for {id:?}");
        !said.is_empty()
    })
}

/// A kink halves the hose's bore for a moment, a meter shows 5 % more from one second to the next.
#[test]
fn a_change_of_line_or_meter_is_said_within_seconds_and_accuses_nobody() {
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let settings = &site.bays[delivery.bay].settings;
    for seed in 1..=4 {
        let mut bench = before(settings, &delivery.setup, seed);
        let now_s = bench.bay.plant().time_s();
        bench.bay.add_mishap(PlantFault::new(Mishap::Plug, now_s, 40.0));
        let after_s = until_said(&mut bench, AlarmId::FlowBelowPressure);
        assert!(after_s.is_some_and(|s| s <= SAID_S), "seed {seed}: a kink after {after_s:?} s");

        let mut bench = before(settings, &delivery.setup, seed);
        let now_s = bench.bay.plant().time_s();
        bench.bay.add_fault(InstrumentFault::new(Wrong::Gain, Instrument::Meter, now_s, 0.05));
        let after_s = until_said(&mut bench, AlarmId::FlowAbovePressure);
        assert!(after_s.is_some_and(|s| s <= SAID_S), "seed {seed}: the meter after {after_s:?} s");
    }
}

/// What the pad explains is no change of the line, laminar or turbulent.
#[test]
fn a_pad_that_is_set_anew_is_no_change_of_the_line() {
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let settings = &site.bays[delivery.bay].settings;
    for (seed, by_pa) in [(1, 15e3), (2, 15e3), (1, -15e3), (2, -15e3)] {
        let mut bench = before(settings, &delivery.setup, seed);
        let flowed = |bench: &mut Bench| {
            let before_kg = bench.bay.plant().received_kg();
            (0..60).for_each(|_| assert_eq!(said(&bench.second()), [], "seed {seed}, {by_pa} Pa"));
            bench.bay.plant().received_kg() - before_kg
        };
        let before_kg = flowed(&mut bench);
        let now_s = bench.bay.plant().time_s();
        bench.bay.add_mishap(PlantFault::new(Mishap::PadChange, now_s, by_pa));
        // A trailer has no vent: it is the liquid that leaves that lets the pad fall.
        (0..5).for_each(|_| assert!(flowed(&mut bench) > 0.0));
        let moved = flowed(&mut bench) / before_kg - 1.0;
        assert!(moved * by_pa.signum() > 0.05, "seed {seed}: the flow moved by {moved}");
    }
}
