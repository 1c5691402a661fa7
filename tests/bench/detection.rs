//! How soon the verdict finds what is planted, and how often it finds what is not there.
//!
//! - `cargo bench --bench detection -- clean 1000 busy from=1`: clean transfers of random plants; prints how many were said
//!   to disagree with a 95 % bound, and how high each kind's statistic came (from which thresholds are chosen).
//! - `cargo bench --bench detection -- faults 60 busy from=20001`: every row planted so often, onset drawn between 15 and 30
//!   minutes after the start; prints the mean delay beside what theory allows.
//!
//! - `cargo bench --bench detection -- line 60 busy from=20001`: what changes in the line or at the meter, and how soon the flow is
//!   said not to fit the pressure.
//!
//! - `cargo bench --bench detection -- pad 60 busy from=20001`: a regulator's seat creeps, ever faster; how soon the pad is said
//!   to rise by itself, and by how much it has.
//!
//! - `cargo bench --bench detection -- busy from=560 trace=1175`: what one transfer shows around that second.
//!
//! `busy`: people on the deck and foam; `any`: instruments of any quality besides. `jobs=2` uses two threads.

use brimwatch::engine::bank::{ALL, KINDS};
use brimwatch::engine::frame::{Frame, Reason, Validity, VerdictWord, WitnessId};
use brimwatch::engine::input::AlarmId;
use brimwatch::engine::settings::{DeliverySetup, Settings, SignalKind};
use brimwatch_simulator::bay::SimulatedBay;
use brimwatch_simulator::instruments::{Instrument, InstrumentFault, InstrumentSetup, Wrong};
use brimwatch_simulator::noise::Chance;
use brimwatch_simulator::plant::fault::{Mishap, PlantFault};
use brimwatch_simulator::scenario;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};

#[path = "driver.rs"]
mod driver;
use driver::Bench;

/// Instruments whose high-level switch sits at a level, m, from a seed.
type Instruments = fn(f64, u64) -> InstrumentSetup;

/// What is planted.
#[derive(Clone, Copy)]
enum Planted {
    Plant(Mishap, f64),
    Instrument(Instrument, Wrong, f64),
    /// The density on the papers is off by this, 1.
    Papers(f64),
}

/// A row of the table.
struct Row {
    name: &'static str,
    planted: Planted,
    /// The witness that is off.
    side: WitnessId,
    /// Kilograms that go astray in a second; 0: not counted.
    kg_per_s: f64,
    /// Kind of fault in the bank and its size, by which the limit of a run on its own plant is worked out.
    known: (usize, f64),
    /// Mean delay that the likelihood ratio of a fault of known kind and size attains on a nominal plant, s (a Monte Carlo
    /// study of 3,000 to 12,000 runs with one false alarm in 1,000 transfers).
    limit_s: f64,
}

const fn row(
    name: &'static str,
    planted: Planted,
    side: WitnessId,
    kg_per_s: f64,
    known: (usize, f64),
    limit_s: f64,
) -> Row {
    Row { name, planted, side, kg_per_s, known, limit_s }
}

/// Everything that is planted.
#[rustfmt::skip]
const ROWS: [Row; 17] = {
    use Planted::{Instrument as I, Papers, Plant};
    use WitnessId::{Flow, Scale, Tank};
    [
        row("leak before the meter 0.05 kg/s", Plant(Mishap::LeakBeforeMeter, 0.05), Scale, 0.05, (0, 0.05), 522.0),
        row("leak before the meter 0.1 kg/s", Plant(Mishap::LeakBeforeMeter, 0.1), Scale, 0.1, (0, 0.1), 244.0),
        row("leak before the meter 0.25 kg/s", Plant(Mishap::LeakBeforeMeter, 0.25), Scale, 0.25, (0, 0.25), 106.0),
        row("leak before the meter 1 kg/s", Plant(Mishap::LeakBeforeMeter, 1.0), Scale, 1.0, (0, 1.0), 30.0),
        row("leak after the meter 0.05 kg/s", Plant(Mishap::LeakAfterMeter, 0.05), Tank, 0.05, (2, -0.05), 718.0),
        row("leak after the meter 0.1 kg/s", Plant(Mishap::LeakAfterMeter, 0.1), Tank, 0.1, (2, -0.1), 396.0),
        row("leak after the meter 0.25 kg/s", Plant(Mishap::LeakAfterMeter, 0.25), Tank, 0.25, (2, -0.25), 194.0),
        row("leak after the meter 1 kg/s", Plant(Mishap::LeakAfterMeter, 1.0), Tank, 1.0, (2, -1.0), 66.0),
        row("level stuck", I(Instrument::Level, Wrong::Stuck, 0.0), Tank, 0.0, (2, -4.9), 16.0),
        row("other tank", Plant(Mishap::OtherTank, 1.0), Tank, 4.9, (2, -4.9), 16.0),
        row("meter gain -1 %", I(Instrument::Meter, Wrong::Gain, -0.01), Flow, 0.0, (1, -0.049), 422.0),
        row("meter gain -2 %", I(Instrument::Meter, Wrong::Gain, -0.02), Flow, 0.0, (1, -0.098), 214.0),
        row("meter gain -5 %", I(Instrument::Meter, Wrong::Gain, -0.05), Flow, 0.0, (1, -0.245), 96.0),
        row("level step -20 mm", I(Instrument::Level, Wrong::Shift, -0.02), Tank, 0.0, (4, -193.0), 2.0),
        row("scale step: 60 kg lighter", I(Instrument::Scale, Wrong::Shift, -60.0), Scale, 0.0, (3, 60.0), 2.0),
        row("scale step: 60 kg heavier", I(Instrument::Scale, Wrong::Shift, 60.0), Scale, 0.0, (3, -60.0), 2.0),
        row("density on the papers +2 %", Papers(0.02), Tank, 0.0, (6, 0.02), 608.0),
    ]
};

/// Clean transfers from which the limits' thresholds are taken.
const LIMIT_RUNS: u64 = 1000;

#[derive(Clone, Copy)]
struct Asked {
    count: u64,
    from: u64,
    instruments: Instruments,
    day: &'static str,
    jobs: usize,
    row: Option<usize>,
    trace_s: Option<u64>,
}

fn asked() -> Asked {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let number = |key: &str| args.iter().find_map(|a| a.strip_prefix(key)?.parse::<u64>().ok());
    let has = |word: &str| args.iter().any(|a| a == word);
    let (day, instruments): (_, Instruments) = match (has("busy"), has("any")) {
        (_, true) => ("any works'", InstrumentSetup::any),
        (true, _) => ("busy", InstrumentSetup::busy),
        _ => ("quiet", InstrumentSetup::nominal),
    };
    let count = args.iter().find_map(|a| a.parse::<u64>().ok()).unwrap_or(10);
    let jobs = number("jobs=").map_or(1, |jobs| usize::try_from(jobs).unwrap_or(1));
    let row = number("row=").and_then(|row| usize::try_from(row).ok());
    Asked { count, from: number("from=").unwrap_or(1), instruments, day, jobs, row, trace_s: number("trace=") }
}

/// Runs one for each seed, on so many threads, in the order of the seeds.
fn each<T: Send>(asked: &Asked, run: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let next = AtomicU64::new(0);
    let mut all: Vec<(u64, T)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..asked.jobs.max(1))
            .map(|_| {
                scope.spawn(|| {
                    let mut mine = Vec::new();
                    loop {
                        let i = next.fetch_add(1, Ordering::Relaxed);
                        if i >= asked.count {
                            return mine;
                        }
                        mine.push((i, run(asked.from + i)));
                        if (i + 1).is_multiple_of(100) {
                            eprintln!("{} of {}", i + 1, asked.count);
                        }
                    }
                })
            })
            .collect();
        workers.into_iter().flat_map(|w| w.join().expect("a run ends")).collect()
    });
    all.sort_by_key(|(i, _)| *i);
    all.into_iter().map(|(_, t)| t).collect()
}

fn bay(settings: &Settings, delivery: &DeliverySetup, seed: u64, instruments: Instruments) -> SimulatedBay {
    let high_switch_m = scenario::instruments(settings, delivery.tank, seed).high_switch_m;
    SimulatedBay::with_instruments(settings, Some(delivery), seed, instruments(high_switch_m, seed))
}

fn at_odds(word: VerdictWord) -> bool {
    matches!(word, VerdictWord::Disagree | VerdictWord::CannotTellWhich)
}

/// That witness was found to repeat itself.
fn stands(frame: &Frame, side: WitnessId) -> bool {
    matches!(frame.witnesses[side as usize].validity, Validity::Lost(Reason::Frozen | Reason::FrozenTogether))
}

/// Prints what is compared around a moment, every block: each witness's error, what is combined, the fits.
#[expect(clippy::cast_precision_loss, reason = "seconds")]
fn trace(settings: &Settings, delivery: &DeliverySetup, asked: &Asked, at_s: u64) {
    let (seed, row) = (asked.from, asked.row.map(|row| &ROWS[row]));
    let bay = bay(settings, delivery, seed, asked.instruments);
    let mut bench = match row {
        Some(row) => planted(settings, delivery, seed, row, bay).0,
        None => Bench::started(settings, delivery, bay),
    };
    let begun = bench.s();
    while bench.unloading() && bench.s() - begun < at_s + 60 {
        let frame = bench.second();
        let s = bench.s() - begun;
        if s + 120 < at_s || !s.is_multiple_of(5) {
            continue;
        }
        let truth = bench.bay.plant().received_kg();
        let witnesses = frame.witnesses.each_ref().map(|w| {
            let doubt = if w.validity == Validity::Good { "" } else { "*" };
            format!("{:.0}{doubt}", w.received_kg.map_or(f64::NAN, |e| e.value - truth))
        });
        let (deck_kg, foam_m) = (bench.bay.instruments().on_deck_kg(), bench.bay.instruments().foam_m());
        let fits: Vec<String> = (bench.monitor.bank().best().iter().flatten())
            .map(|f| {
                let since_s = f.since.0 as f64 / 1e9 - begun as f64;
                format!("{:.1}@{since_s:.0}:{:.2}", f.statistic, f.size.value)
            })
            .collect();
        let together = frame.together.map_or(f64::NAN, |t| t.received_kg.value - truth);
        println!(
            "{s} {witnesses:?} {together:.1} deck {deck_kg:.0} foam {foam_m:.3} {} {fits:?}",
            frame.verdict.word as u8
        );
    }
}

/// What a clean transfer gave.
struct Clean {
    /// Highest statistic by kind and sign.
    most: [[f64; 2]; KINDS],
    /// When it was first said to disagree, s, and of whom.
    cried: Option<(u64, [bool; 3])>,
    /// When flow and pressure were first said not to fit, s.
    unfit_s: Option<u64>,
    /// When the pad was first said to rise by itself, s.
    creeps_s: Option<u64>,
    lasted_s: u64,
}

fn said(frame: &Frame, id: AlarmId) -> bool {
    frame.alarms.iter().any(|alarm| alarm.key.id == id)
}

/// It is said that the flow is not what the pressure drives: less (below 0), more (above 0), either (0).
fn unfit(frame: &Frame, side: f64) -> bool {
    side <= 0.0 && said(frame, AlarmId::FlowBelowPressure) || side >= 0.0 && said(frame, AlarmId::FlowAbovePressure)
}

fn clean(settings: &Settings, delivery: &DeliverySetup, seed: u64, instruments: Instruments) -> Clean {
    let mut bench = Bench::started(settings, delivery, bay(settings, delivery, seed, instruments));
    let begun = bench.s();
    let mut clean = Clean { most: [[0.0; 2]; KINDS], cried: None, unfit_s: None, creeps_s: None, lasted_s: 0 };
    while bench.unloading() {
        let frame = bench.second();
        for fit in bench.monitor.bank().best().iter().flatten() {
            let most = &mut clean.most[fit.kind][fit.sign()];
            *most = most.max(fit.statistic);
        }
        if at_odds(frame.verdict.word) && clean.cried.is_none() {
            clean.cried = Some((bench.s() - begun, frame.verdict.suspects));
        }
        if clean.unfit_s.is_none() && unfit(&frame, 0.0) {
            clean.unfit_s = Some(bench.s() - begun);
        }
        if clean.creeps_s.is_none() && said(&frame, AlarmId::PadCreeps) {
            clean.creeps_s = Some(bench.s() - begun);
        }
    }
    clean.lasted_s = bench.s() - begun;
    clean
}

#[expect(clippy::cast_precision_loss, reason = "counts")]
fn print_clean(asked: &Asked, runs: &[Clean]) {
    let cried: Vec<(u64, &Clean)> = (asked.from..).zip(runs).filter(|(_, r)| r.cried.is_some()).collect();
    let minutes = runs.iter().map(|r| r.lasted_s).sum::<u64>() as f64 / 60.0 / runs.len() as f64;
    println!("{} {} clean transfers, seeds {} on, {minutes:.0} min each", runs.len(), asked.day, asked.from);
    println!(
        "said to disagree: {} (95 % bound {:.1} in 10,000)",
        cried.len(),
        poisson_bound(cried.len()) / runs.len() as f64 * 1e4
    );
    for (seed, run) in cried.iter().take(20) {
        println!("  seed {seed}: {:?}, statistics {:.1?}", run.cried, run.most);
    }
    let print = |what: &str, when_s: &dyn Fn(&Clean) -> Option<u64>| {
        let said: Vec<(u64, u64)> = (asked.from..).zip(runs).filter_map(|(seed, r)| Some((seed, when_s(r)?))).collect();
        println!("{what}: {} {:?}", said.len(), &said[..said.len().min(20)]);
    };
    print("flow and pressure said not to fit", &|run| run.unfit_s);
    print("the pad said to rise by itself", &|run| run.creeps_s);
    println!("| kind | too much: 99 %, then the five highest | too little |\n| --- | --- | --- |");
    for (kind, what) in ALL.iter().enumerate() {
        let of = |sign: usize| {
            let mut all: Vec<f64> = runs.iter().map(|r| r.most[kind][sign]).collect();
            all.sort_by(f64::total_cmp);
            let high: Vec<String> = all.iter().rev().take(5).map(|s| format!("{s:.1}")).collect();
            format!("{:.1}; {}", all[all.len() * 99 / 100], high.join(" "))
        };
        println!("| {:?} {:?} | {} | {} |", what.witness, what.shape, of(0), of(1));
    }
}

/// Upper 95 % bound of a Poisson mean when so many were counted: solves P(X <= count) = 0.05 by bisection.
#[expect(clippy::cast_precision_loss, reason = "counts")]
fn poisson_bound(count: usize) -> f64 {
    let at_most = |mean: f64| {
        let mut term = (-mean).exp();
        let mut sum = term;
        for k in 1..=count {
            term *= mean / k as f64;
            sum += term;
        }
        sum
    };
    let (mut low, mut high) = (0.0, 10.0 + 3.0 * count as f64);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if at_most(middle) > 0.05 { low = middle } else { high = middle }
    }
    high
}

/// What a planted fault gave.
struct Found {
    delay_s: Option<f64>,
    /// Already at odds when it began.
    before: bool,
    /// The right witness is named; it alone is; within two minutes of the first word.
    named: bool,
    alone: bool,
    kg: f64,
    /// What a likelihood ratio of known kind and size takes on the same plant without people and foam, s.
    limit_s: Option<f64>,
}

/// A transfer with a row planted, and when, s after the start.
fn planted<'a>(
    settings: &'a Settings,
    delivery: &DeliverySetup,
    seed: u64,
    row: &Row,
    bay: SimulatedBay,
) -> (Bench<'a>, f64) {
    let onset_s = Chance::new(seed, 900).between((900.0, 1800.0));
    if let Planted::Papers(off) = row.planted {
        return (Bench::started(settings, &scenario::with_wrong_density(delivery, off), bay), 0.0);
    }
    let mut bench = Bench::started(settings, delivery, bay);
    let at_s = bench.bay.plant().time_s() + onset_s;
    match row.planted {
        Planted::Plant(what, size) => bench.bay.add_mishap(PlantFault::new(what, at_s, size)),
        Planted::Instrument(on, wrong, size) => bench.bay.add_fault(InstrumentFault::new(wrong, on, at_s, size)),
        Planted::Papers(_) => {}
    }
    (bench, onset_s)
}

#[expect(clippy::cast_precision_loss, reason = "seconds")]
fn fault(
    settings: &Settings,
    delivery: &DeliverySetup,
    (seed, instruments): (u64, Instruments),
    row: &Row,
    known: f64,
) -> Found {
    let mut found = Found { delay_s: None, before: false, named: false, alone: false, kg: 0.0, limit_s: None };
    let (mut bench, onset_s) = planted(settings, delivery, seed, row, bay(settings, delivery, seed, instruments));
    let begun = bench.s();
    while bench.unloading() {
        let frame = bench.second();
        let s = (bench.s() - begun) as f64;
        if s <= onset_s {
            found.before |= at_odds(frame.verdict.word);
        } else if at_odds(frame.verdict.word) || stands(&frame, row.side) || found.delay_s.is_some() {
            let delay_s = *found.delay_s.get_or_insert(s - onset_s);
            let suspects = frame.verdict.suspects;
            found.kg = row.kg_per_s * delay_s;
            let stands = stands(&frame, row.side);
            found.named |= suspects[row.side as usize] || stands;
            found.alone |= suspects[row.side as usize] && frame.verdict.word == VerdictWord::Disagree || stands;
            if found.alone || s > onset_s + delay_s + 120.0 {
                break;
            }
        }
    }
    found.limit_s = limit(settings, delivery, seed, row, known);
    found
}

/// The same plant, with nobody on the deck and no foam: when kind and size are known and only the moment is not.
#[expect(clippy::cast_precision_loss, reason = "seconds")]
fn limit(settings: &Settings, delivery: &DeliverySetup, seed: u64, row: &Row, known: f64) -> Option<f64> {
    let bay = bay(settings, delivery, seed, InstrumentSetup::nominal);
    let (mut bench, onset_s) = planted(settings, delivery, seed, row, bay);
    let begun = bench.s();
    while bench.unloading() {
        bench.second();
        let s = (bench.s() - begun) as f64;
        if s > onset_s && bench.monitor.bank().known(row.known.0, row.known.1) > known {
            return Some(s - onset_s);
        }
    }
    None
}

/// What the likelihood ratio of each row's fault exceeds in one of 1,000 clean transfers without people and foam.
fn known_limits(settings: &Settings, delivery: &DeliverySetup, asked: &Asked) -> Vec<f64> {
    let clean = Asked { count: LIMIT_RUNS, from: asked.from + 1_000_000, ..*asked };
    let runs = each(&clean, |seed| {
        let mut bench = Bench::started(settings, delivery, bay(settings, delivery, seed, InstrumentSetup::nominal));
        let mut most = [0.0_f64; ROWS.len()];
        while bench.unloading() {
            bench.second();
            if bench.s().is_multiple_of(5) {
                for (most, row) in most.iter_mut().zip(&ROWS) {
                    *most = most.max(bench.monitor.bank().known(row.known.0, row.known.1));
                }
            }
        }
        most
    });
    (0..ROWS.len())
        .map(|row| {
            let mut all: Vec<f64> = runs.iter().map(|most| most[row]).collect();
            all.sort_by(f64::total_cmp);
            all[all.len() - 1 - all.len() / 1000]
        })
        .collect()
}

#[expect(clippy::cast_precision_loss, reason = "counts")]
fn print_faults(row: &Row, runs: &[Found]) {
    let runs: Vec<&Found> = runs.iter().filter(|r| !r.before).collect();
    let mut delays: Vec<f64> = runs.iter().filter_map(|r| r.delay_s).collect();
    delays.sort_by(f64::total_cmp);
    let (n, found) = (runs.len() as f64, delays.len());
    let mean = delays.iter().sum::<f64>() / found as f64;
    let share = |of: &dyn Fn(&&Found) -> bool| 100.0 * runs.iter().copied().filter(|r| of(r)).count() as f64 / n;
    let kg = runs.iter().map(|r| r.kg).sum::<f64>() / n;
    let limits: Vec<f64> = runs.iter().filter_map(|r| r.limit_s).collect();
    let mut ratios: Vec<f64> = runs.iter().filter_map(|r| Some(r.delay_s? / r.limit_s?.max(1.0))).collect();
    ratios.sort_by(f64::total_cmp);
    let ratio = |share: usize| ratios.get(ratios.len() * share / 100).copied().unwrap_or(f64::NAN);
    println!(
        "| {} | {:.0} | {mean:.0} | {:.2} | {:.0} | {:.0} | {:.2}, {:.2} | {kg:.0} | {:.0} % | {:.0} % | {:.0} % |",
        row.name,
        row.limit_s,
        mean / row.limit_s,
        delays.get(found * 9 / 10).copied().unwrap_or(f64::NAN),
        limits.iter().sum::<f64>() / limits.len() as f64,
        ratio(50),
        ratio(90),
        share(&|r| r.delay_s.is_some()),
        share(&|r| r.named),
        share(&|r| r.alone),
    );
}

/// What changes in the line, at the meter or at the regulator, and what is to be said: less flow, more, nothing.
#[rustfmt::skip]
const CHANGES: [(&str, Planted, Option<f64>); 11] = {
    use Planted::{Instrument as I, Plant};
    [
        ("plug or kink, 3 velocity heads", Plant(Mishap::Plug, 3.0), Some(-1.0)),
        ("plug or kink, 10 velocity heads", Plant(Mishap::Plug, 10.0), Some(-1.0)),
        ("plug or kink, 50 velocity heads", Plant(Mishap::Plug, 50.0), Some(-1.0)),
        ("leak before the meter 0.1 kg/s", Plant(Mishap::LeakBeforeMeter, 0.1), Some(-1.0)),
        ("leak before the meter 0.25 kg/s", Plant(Mishap::LeakBeforeMeter, 0.25), Some(-1.0)),
        ("leak before the meter 1 kg/s", Plant(Mishap::LeakBeforeMeter, 1.0), Some(-1.0)),
        ("leak after the meter 1 kg/s", Plant(Mishap::LeakAfterMeter, 1.0), Some(1.0)),
        ("meter gain -5 %", I(Instrument::Meter, Wrong::Gain, -0.05), Some(-1.0)),
        ("meter gain +5 %", I(Instrument::Meter, Wrong::Gain, 0.05), Some(1.0)),
        ("pad set 15 kPa higher", Plant(Mishap::PadChange, 15e3), None),
        ("pad set 15 kPa lower", Plant(Mishap::PadChange, -15e3), None),
    ]
};

/// By how much the flow by meter changed in a minute, 1, and when the right thing and anything was said, s after the onset.
type Changed = (f64, Option<f64>, Option<f64>);

#[expect(clippy::cast_precision_loss, reason = "seconds")]
fn changed(bench: (Bench, f64), side: Option<f64>) -> Changed {
    let (mut bench, onset_s) = bench;
    let begun = bench.s();
    let (mut before, mut after, mut right_s, mut any_s) = (f64::NAN, f64::NAN, None, None);
    while bench.unloading() {
        let frame = bench.second();
        let s = (bench.s() - begun) as f64 - onset_s;
        let shown = bench.bay.shows(SignalKind::FlowMassTotal, None);
        match s {
            -60.0..-59.0 => before = shown,
            -1.0..0.0 => before = shown - before,
            5.0..6.0 => after = shown,
            65.0..66.0 => after = shown - after,
            _ => {}
        }
        if s > 0.0 && s < 120.0 && unfit(&frame, 0.0) {
            any_s.get_or_insert(s);
            if side.is_some_and(|side| unfit(&frame, side)) {
                right_s.get_or_insert(s);
            }
        }
        if s > 120.0 {
            break;
        }
    }
    (after / before * 59.0 / 60.0 - 1.0, right_s, any_s)
}

#[expect(clippy::cast_precision_loss, reason = "counts")]
fn print_changes(settings: &Settings, papers: &DeliverySetup, asked: &Asked) {
    println!("| change | flow by meter | said, of {} | s after: mean, longest | said wrongly |", asked.count);
    println!("| --- | --- | --- | --- | --- |");
    for (name, what, side) in CHANGES {
        let row = row(name, what, WitnessId::Flow, 0.0, (0, 0.0), 0.0);
        let runs = each(asked, |seed| {
            let bay = bay(settings, papers, seed, asked.instruments);
            changed(planted(settings, papers, seed, &row, bay), side)
        });
        let flow = 100.0 * runs.iter().map(|r| r.0).sum::<f64>() / runs.len() as f64;
        let right: Vec<f64> = runs.iter().filter_map(|r| r.1).collect();
        let mean = right.iter().sum::<f64>() / right.len() as f64;
        let longest = right.iter().copied().fold(f64::NAN, f64::max);
        let wrong = runs.iter().filter(|r| r.2.is_some() && r.1 != r.2).count();
        println!("| {name} | {flow:+.1} % | {} | {mean:.0}, {longest:.0} | {wrong} |", right.len());
    }
}

/// A pad that creeps at first by so much, kPa/min, and what a likelihood ratio of known shape takes, s (the same Monte Carlo study).
const CREEPS: [(f64, f64); 4] = [(0.5, 166.0), (1.0, 96.0), (2.0, 52.0), (5.0, 20.0)];
/// It is twice as fast after so long, s, thrice after twice as long: the shape of that study.
const TWICE_S: f64 = 40.0;
/// It creeps for so long, s.
const CREEPS_FOR_S: u32 = 300;

/// When the pad was said to rise, s after the onset, and what it and the regulator's setting had risen by then, Pa.
type Crept = Option<(f64, f64, f64)>;

fn creeps(settings: &Settings, papers: &DeliverySetup, (seed, instruments): (u64, Instruments), by: f64) -> Crept {
    let row = row("", Planted::Plant(Mishap::PadChange, 0.0), WitnessId::Scale, 0.0, (0, 0.0), 0.0);
    let (mut bench, onset_s) = planted(settings, papers, seed, &row, bay(settings, papers, seed, instruments));
    let began_s = bench.bay.plant().time_s() + onset_s;
    let risen_pa = |s: f64| by * 1e3 / 60.0 * s.max(0.0) * (1.0 + s / (2.0 * TWICE_S));
    for s in 1..=CREEPS_FOR_S {
        let step_pa = risen_pa(f64::from(s)) - risen_pa(f64::from(s - 1));
        bench.bay.add_mishap(PlantFault::new(Mishap::PadChange, began_s + f64::from(s), step_pa));
    }
    let mut before_pa = f64::NAN;
    while bench.unloading() {
        let frame = bench.second();
        let s = bench.bay.plant().time_s() - began_s;
        let pad_pa = bench.bay.plant().trailer_pa();
        if s <= 0.0 {
            before_pa = pad_pa;
        } else if said(&frame, AlarmId::PadCreeps) {
            return Some((s, pad_pa - before_pa, risen_pa(s)));
        } else if s > f64::from(CREEPS_FOR_S) {
            break;
        }
    }
    None
}

#[expect(clippy::cast_precision_loss, reason = "counts")]
fn print_creeps(settings: &Settings, papers: &DeliverySetup, asked: &Asked) {
    println!(
        "| creep at first | limit s | said, of {} | mean s | ratio | longest s | pad risen, mean and most kPa | its setting |",
        asked.count
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- |");
    for (by, limit_s) in CREEPS {
        let runs: Vec<_> =
            each(asked, |seed| creeps(settings, papers, (seed, asked.instruments), by)).into_iter().flatten().collect();
        let mean = |of: fn(&(f64, f64, f64)) -> f64| runs.iter().map(of).sum::<f64>() / runs.len() as f64;
        let most = |of: fn(&(f64, f64, f64)) -> f64| runs.iter().map(of).fold(f64::NAN, f64::max);
        println!(
            "| {by} kPa/min | {limit_s:.0} | {} | {:.0} | {:.2} | {:.0} | {:.1}, {:.1} | {:.1}, {:.1} |",
            runs.len(),
            mean(|r| r.0),
            mean(|r| r.0) / limit_s,
            most(|r| r.0),
            mean(|r| r.1) / 1e3,
            most(|r| r.1) / 1e3,
            mean(|r| r.2) / 1e3,
            most(|r| r.2) / 1e3,
        );
    }
}

fn main() {
    let asked = asked();
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let settings = &site.bays[delivery.bay].settings;
    let papers = &delivery.setup;
    if std::env::args().any(|a| a == "faults") {
        println!("{} runs a row, {}, seeds {} on", asked.count, asked.day, asked.from);
        println!(
            "| fault | limit s | mean delay s | ratio | 90 % s | own limit s | each run's ratio: half, 90 % | kg | found \
             | named | alone |"
        );
        println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
        let known = known_limits(settings, papers, &asked);
        for (i, row) in ROWS.iter().enumerate().filter(|(i, _)| asked.row.is_none_or(|row| row == *i)) {
            let run = |seed| fault(settings, papers, (seed, asked.instruments), row, known[i]);
            print_faults(row, &each(&asked, run));
        }
    } else if std::env::args().any(|a| a == "line") {
        print_changes(settings, papers, &asked);
    } else if std::env::args().any(|a| a == "pad") {
        print_creeps(settings, papers, &asked);
    } else if let Some(at_s) = asked.trace_s {
        trace(settings, papers, &asked, at_s);
    } else {
        print_clean(&asked, &each(&asked, |seed| clean(settings, papers, seed, asked.instruments)));
    }
}
