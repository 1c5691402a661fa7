//! A regulator whose seat creeps is said long before the ceiling is near; a regulator that wanders, and a flow that is cut back, are
//! not. The simulated regulator is held to its own equations elsewhere (`simulator::plant`); it wanders as an
//! Ornstein-Uhlenbeck process (Papoulis 1991, ch. 9).

use super::driver;
use super::driver::Bench;
use brimwatch::engine::frame::{Condition, Frame};
use brimwatch::engine::input::AlarmId;
use brimwatch::engine::settings::{DeliverySetup, Settings};
use brimwatch_simulator::bay::SimulatedBay;
use brimwatch_simulator::instruments::InstrumentSetup;
use brimwatch_simulator::plant::fault::{Mishap, PlantFault};
use brimwatch_simulator::scenario;
use std::path::Path;

/// It happens so long after the start, s.
const ONSET_S: u32 = 900;
/// Twice as fast after so long, s.
const TWICE_S: f64 = 40.0;
/// The most that the pad may have risen by when it is said, Pa (docs/figures.md, "Faults found").
const RISEN_PA: f64 = 8e3;

/// A transfer that has gone on until then.
fn before<'a>(settings: &'a Settings, delivery: &DeliverySetup, seed: u64) -> Bench<'a> {
    let high_m = scenario::instruments(settings, delivery.tank, seed).high_switch_m;
    let plant = driver::viscous_or_braked(scenario::plant(settings, delivery, seed), seed);
    let bay = SimulatedBay::of(settings, Some(delivery), plant, InstrumentSetup::busy(high_m, seed));
    let mut bench = Bench::started(settings, &driver::papers_of(delivery, seed), bay);
    (0..ONSET_S).for_each(|s| assert!(!rises(&bench.second()), "seed {seed}, {s} s"));
    bench
}

/// It is said that the pad rises by itself.
fn rises(frame: &Frame) -> bool {
    frame.alarms.iter().any(|alarm| alarm.key.id == AlarmId::PadCreeps)
}

/// Creep that begins at 0.5 to 5 kPa/min and grows is said within 8 kPa, and is over once it has ended.
#[test]
fn a_regulator_that_creeps_is_said_before_the_pad_has_risen_far() {
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let settings = &site.bays[delivery.bay].settings;
    for (seed, kpa_per_min) in [(1, 0.5), (2, 1.0), (3, 2.0), (4, 5.0)] {
        let mut bench = before(settings, &delivery.setup, seed);
        let began_s = bench.bay.plant().time_s();
        let before_pa = bench.bay.plant().trailer_pa();
        let set_pa = |s: f64| kpa_per_min * 1e3 / 60.0 * s * (1.0 + s / (2.0 * TWICE_S));
        let seen = (0..300_u32).find(|&s| {
            let step_pa = set_pa(f64::from(s + 1)) - set_pa(f64::from(s));
            bench.bay.add_mishap(PlantFault::new(Mishap::PadChange, began_s + f64::from(s), step_pa));
            rises(&bench.second())
        });
        let risen_pa = bench.bay.plant().trailer_pa() - before_pa;
        assert!(seen.is_some() && risen_pa < RISEN_PA, "seed {seed}: after {seen:?} s, {risen_pa:.0} Pa");
        // What has stopped rising is another setting.
        let open = |frame: &Frame| {
            frame.alarms.iter().any(|a| a.key.id == AlarmId::PadCreeps && a.condition == Condition::True)
        };
        let over = (0..300).find(|_| !open(&bench.second()));
        assert!(over.is_some(), "seed {seed}: it is still said");
    }
}

/// Nothing but a regulator's wandering, for a whole transfer; and a valve that is shut back by half.
#[test]
fn a_regulator_that_wanders_is_not_said_to_creep_nor_is_a_flow_that_is_cut_back() {
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let settings = &site.bays[delivery.bay].settings;
    for seed in 11..=14 {
        let mut bench = before(settings, &delivery.setup, seed);
        let flow = |bench: &mut Bench| {
            let before_kg = bench.bay.plant().received_kg();
            (0..300).for_each(|s| assert!(!rises(&bench.second()), "seed {seed}, {s} s on"));
            bench.bay.plant().received_kg() - before_kg
        };
        let whole_kg = flow(&mut bench);
        let now_s = bench.bay.plant().time_s();
        bench.bay.add_mishap(PlantFault::new(Mishap::Plug, now_s, 150.0));
        let plugged_kg = flow(&mut bench);
        assert!(plugged_kg < 0.7 * whole_kg, "seed {seed}: {plugged_kg:.0} of {whole_kg:.0} kg flow");
    }
}
