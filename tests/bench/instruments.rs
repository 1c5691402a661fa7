//! The instruments alone, without the plant's motion: scans a second, and the same as a multiple of real time.
//! `cargo bench --bench instruments`; figures of a run are in docs/figures.md.

use brimwatch_simulator::instruments::{Instrument, InstrumentFault, InstrumentSetup, Instruments, SCAN_S, Wrong};
use brimwatch_simulator::plant::{Plant, PlantSetup};
use std::hint::black_box;
use std::time::Instant;

/// Scans of one measurement: 28 hours of the bay.
const SCANS: u32 = 200_000;
/// Measurements of each; the fastest is the one that others disturbed least.
const TIMES: u32 = 7;

fn main() {
    let plant = Plant::new(PlantSetup::nominal(1));
    println!("| instruments | ns a scan | times real time |");
    println!("| --- | --- | --- |");
    let setups = [
        ("perfect", InstrumentSetup::perfect(4.2, 1)),
        ("nominal", InstrumentSetup::nominal(4.2, 1)),
        ("a busy day", InstrumentSetup::busy(4.2, 1)),
        ("any", InstrumentSetup::any(4.2, 1)),
    ];
    for (name, setup) in &setups {
        report(name, &plant, setup, &[]);
    }
    let faults = [
        InstrumentFault::new(Wrong::Gain, Instrument::Meter, 0.0, -0.02),
        InstrumentFault::new(Wrong::Replayed, Instrument::Level, 0.0, 0.0),
    ];
    report("a busy day, two faults", &plant, &setups[2].1, &faults);
    println!(
        "{} instruments, scanned every {SCAN_S} s; fastest of {TIMES} runs of {SCANS} scans, one core",
        Instrument::ALL.len()
    );
}

fn report(name: &str, plant: &Plant, setup: &InstrumentSetup, faults: &[InstrumentFault]) {
    let once = || {
        let mut instruments = Instruments::new(setup.clone(), plant);
        faults.iter().for_each(|fault| instruments.add_fault(*fault, &[]));
        let begun = Instant::now();
        for _ in 0..SCANS {
            instruments.scan(black_box(plant));
        }
        black_box(&instruments);
        begun.elapsed().as_secs_f64() / f64::from(SCANS)
    };
    let fastest = (0..TIMES).map(|_| once()).fold(f64::INFINITY, f64::min);
    println!("| {name} | {:.0} | {:.0} |", fastest * 1e9, SCAN_S / fastest);
}
