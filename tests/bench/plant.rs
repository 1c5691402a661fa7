//! One simulated bay in process, plant and instruments, from pressurising to the end: times real time.
//! `cargo bench --bench plant`; figures of a run are in docs/figures.md.

use brimwatch_simulator::bay::{SimulatedBay, Stage};
use brimwatch_simulator::plant::{Plant, PlantSetup};
use brimwatch_simulator::scenario;
use std::path::Path;
use std::time::Instant;

/// Runs of each; the fastest is the least disturbed.
const TIMES: u64 = 7;
/// The longest that a transfer of the drill's works takes, s.
const LONGEST_S: f64 = 12_000.0;

fn main() {
    println!("| one bay, one core | simulated s | ms | times real time |\n| --- | --- | --- | --- |");
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let settings = &site.bays[delivery.bay].settings;
    row("plant and instruments, a whole transfer", |seed| {
        let mut bay = SimulatedBay::new(settings, Some(&delivery.setup), seed);
        bay.run_until(Stage::Ready, LONGEST_S);
        bay.start();
        assert!(bay.run_until(Stage::Done, LONGEST_S), "the transfer ends");
        bay.plant().time_s()
    });
    row("the plant alone, an hour of flow", |seed| {
        let mut plant = Plant::new(PlantSetup::nominal(seed));
        (plant.hands.gas_on, plant.hands.valve_open) = (true, true);
        while plant.time_s() < 3_600.0 {
            plant.step();
        }
        plant.time_s()
    });
}

fn row(what: &str, run: impl Fn(u64) -> f64) {
    let timed = (1..=TIMES).map(|seed| {
        let begun = Instant::now();
        let simulated_s = run(seed);
        (simulated_s / begun.elapsed().as_secs_f64(), simulated_s)
    });
    let (times, simulated_s) = timed.fold((0.0, 0.0), |best, next| if next.0 > best.0 { next } else { best });
    println!("| {what} | {simulated_s:.0} | {:.1} | {times:.0} |", 1e3 * simulated_s / times);
}
