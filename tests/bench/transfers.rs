//! Clean simulated transfers through the watch, in process: how true its masses, uncertainties, projections and
//! margins are, and how often it cries wolf. `cargo bench --bench transfers -- 200` runs seeds 1 to 200; with `one-link`
//! behind the number all devices stand behind one gateway; with `busy` people step on the deck and foam rises, with `any`
//! each run has instruments of another quality besides. With `mixed` the line is viscous (laminar) for even seeds and braked by
//! fittings (turbulent) for odd ones; with `deck` somebody stands on the deck at the last reading; `from=N` is the first seed.
//!
//! Figures of this run are in docs/figures.md. "Clean": nothing leaks, nobody is on the deck, nothing is stuck; papers,
//! tables and instruments are off as much as the site file admits.

use brimwatch::engine::frame::{Frame, Margin, Reason, Validity, VerdictWord};
use brimwatch::engine::input::AlarmId;
use brimwatch::engine::settings::{DeliverySetup, Settings};
use brimwatch_simulator::bay::SimulatedBay;
use brimwatch_simulator::instruments::{Instrument, InstrumentFault, InstrumentSetup, Wrong};
use brimwatch_simulator::noise::Chance;
use brimwatch_simulator::scenario;
use std::collections::BTreeSet;
use std::path::Path;
use std::time::Instant;

#[path = "driver.rs"]
mod driver;
use driver::Bench;

/// What one transfer gave.
#[derive(Default)]
struct Run {
    seed: u64,
    /// At the end: what stands on the deck, kg; foam, m; scale and tank level doubtful.
    there: (f64, f64, [bool; 2]),
    /// (error, u) at the moment the valve begins to close: flow, scale, tank, together; kg.
    errors: [Option<(f64, f64)>; 4],
    /// Seconds of the transfer after which they were said to agree first.
    agreed_s: Option<f64>,
    /// Said to disagree while liquid moved.
    cried: bool,
    /// Said not to be independent.
    copied: bool,
    /// Error of the projected "planned amount" at 25, 50, 75 % of the way, and whether its 5-95 % interval held it.
    finish: [Option<(f64, bool)>; 3],
    /// Largest margin shown less the true room that was left in the end, kg.
    overstated_kg: f64,
    /// Seconds from start to closing.
    lasted_s: f64,
    /// Alarms that came while liquid moved.
    alarms: BTreeSet<AlarmId>,
    /// Found frozen while liquid moved, by itself or with others.
    frozen: bool,
}

/// Instruments whose high-level switch sits at a level, m, from a seed.
type Instruments = fn(f64, u64) -> InstrumentSetup;

/// What is asked for.
#[derive(Clone, Copy)]
struct Asked {
    instruments: Instruments,
    mixed: bool,
    deck: bool,
}

/// Somebody of so many kg steps on the deck so long before the end, s, and stays.
const VISITOR_KG: (f64, f64) = (70.0, 100.0);
const VISITOR_S: (f64, f64) = (20.0, 150.0);

fn transfer(settings: &Settings, delivery: &DeliverySetup, seed: u64, asked: Asked) -> Run {
    let (bench, frames) = unload(settings, delivery, seed, asked, None);
    if !asked.deck {
        return Run { seed, ..judge(&bench, settings, &frames) };
    }
    // The same once more: now it is known when it ends.
    let mut chance = Chance::new(seed, 920);
    let at_s = bench.bay.plant().time_s() - chance.between(VISITOR_S);
    let visitor = InstrumentFault::new(Wrong::Shift, Instrument::Scale, at_s, chance.between(VISITOR_KG));
    let (bench, frames) = unload(settings, delivery, seed, asked, Some(visitor));
    Run { seed, ..judge(&bench, settings, &frames) }
}

fn unload<'a>(
    settings: &'a Settings,
    delivery: &DeliverySetup,
    seed: u64,
    asked: Asked,
    visitor: Option<InstrumentFault>,
) -> (Bench<'a>, Vec<Frame>) {
    let instruments = (asked.instruments)(scenario::instruments(settings, delivery.tank, seed).high_switch_m, seed);
    let plant = scenario::plant(settings, delivery, seed);
    let plant = if asked.mixed { driver::viscous_or_braked(plant, seed) } else { plant };
    let papers = if asked.mixed { driver::papers_of(delivery, seed) } else { delivery.clone() };
    let mut bench = Bench::started(settings, &papers, SimulatedBay::of(settings, Some(delivery), plant, instruments));
    if let Some(visitor) = visitor {
        bench.bay.add_fault(visitor);
    }
    let mut frames = Vec::new();
    while bench.unloading() {
        frames.push(bench.second());
    }
    (bench, frames)
}

#[expect(clippy::cast_precision_loss, reason = "hours")]
fn judge(bench: &Bench, settings: &Settings, frames: &[Frame]) -> Run {
    let mut run = Run { lasted_s: frames.len() as f64, ..Run::default() };
    let end = &frames[frames.len() - 2];
    let truth = bench.bay.plant().received_kg();
    let estimates = end.witnesses.iter().map(|w| w.received_kg).chain([end.together.map(|t| t.received_kg)]);
    // The frame is a second old and the mass moves on.
    let moved = end.rate.map_or(0.0, |r| r.value) * 1.0;
    for (slot, estimate) in run.errors.iter_mut().zip(estimates) {
        *slot = estimate.map(|e| (e.value + moved - truth, e.u));
    }
    let instruments = bench.bay.instruments();
    let doubtful = [1, 2].map(|i| matches!(end.witnesses[i].validity, Validity::Doubtful(_)));
    run.there = (instruments.on_deck_kg(), instruments.foam_m(), doubtful);
    run.agreed_s = frames.iter().position(|f| f.verdict.word == VerdictWord::Agree).map(|s| s as f64);
    run.cried = frames.iter().any(|f| matches!(f.verdict.word, VerdictWord::Disagree | VerdictWord::CannotTellWhich));
    run.copied = frames.iter().any(|f| f.verdict.word == VerdictWord::NotIndependent);
    run.alarms = frames.iter().flat_map(|f| &f.alarms).map(|a| a.key.id).collect();
    run.frozen = frames
        .iter()
        .flat_map(|f| &f.readings)
        .any(|r| matches!(r.validity, Validity::Lost(Reason::Frozen | Reason::FrozenTogether)));
    let ended = end.at;
    for (slot, share) in run.finish.iter_mut().zip([0.25, 0.5, 0.75]) {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "an index")]
        let frame = &frames[(share * frames.len() as f64) as usize];
        *slot = frame.finish.planned.map(|m| {
            let error = m.q50.since_s(ended) - ended.since_s(m.q50);
            (error, m.q05 <= ended && ended <= m.q95)
        });
    }
    let tank = &settings.tanks[0];
    let plant = bench.bay.plant();
    let density = plant.setup().density_kg_per_m3;
    let shape = &plant.setup().tank_m_m3;
    let room_kg = (driver::volume_m3(shape, tank.high_high.0) - driver::volume_m3(shape, plant.level_m())) * density;
    let shown = frames.iter().filter_map(|f| match f.margin {
        Margin::Known { kg, .. } => Some(kg),
        Margin::Unknown => None,
    });
    run.overstated_kg = shown.fold(f64::NEG_INFINITY, f64::max) - room_kg;
    run
}

fn rms(values: impl Iterator<Item = f64> + Clone) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a count")]
    let n = values.clone().count() as f64;
    (values.map(|v| v * v).sum::<f64>() / n).sqrt()
}

/// Runs whose error is more than 2.5 u, with what was on the deck and under the gauge.
fn far_off(runs: &[Run]) {
    for run in runs {
        let far = run.errors.iter().flatten().any(|(error, u)| error.abs() > 2.5 * u);
        if far {
            let errors: Vec<String> =
                run.errors.iter().map(|e| e.map_or("-".into(), |(error, u)| format!("{error:+.0} ({u:.0})"))).collect();
            let (deck_kg, foam_m, doubtful) = run.there;
            let (errors, foam_mm) = (errors.join(", "), 1e3 * foam_m);
            println!("far off: seed {}: {errors}; {deck_kg:.0} kg, {foam_mm:.0} mm, doubtful {doubtful:?}", run.seed);
        }
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts")]
fn main() {
    let count = std::env::args().skip(1).find_map(|a| a.parse::<u64>().ok()).unwrap_or(20);
    let from = std::env::args().find_map(|a| a.strip_prefix("from=")?.parse::<u64>().ok()).unwrap_or(1);
    let asked = |word: &str| std::env::args().any(|a| a == word);
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let mut settings = site.bays[delivery.bay].settings.clone();
    if asked("one-link") {
        settings.devices.iter_mut().for_each(|device| device.link = "gateway".into());
    }
    let settings = &settings;
    let (day, instruments): (&str, Instruments) = match (asked("busy"), asked("any")) {
        (_, true) => ("any works'", InstrumentSetup::any),
        (true, _) => ("busy", InstrumentSetup::busy),
        _ => ("clean", InstrumentSetup::nominal),
    };
    let begun = Instant::now();
    let how = Asked { instruments, mixed: asked("mixed"), deck: asked("deck") };
    let runs: Vec<Run> = (from..from + count).map(|seed| transfer(settings, &delivery.setup, seed, how)).collect();
    let took = begun.elapsed().as_secs_f64();
    let simulated: f64 = runs.iter().map(|r| r.lasted_s).sum();
    println!(
        "{count} {day} transfers (seeds {from} to {}), {:.0} min each on average",
        from + count - 1,
        simulated / count as f64 / 60.0
    );
    println!("simulated and watched at {:.0} times real time (one bay, one core)", simulated / took);
    println!("| at the end | rms error kg | mean u kg | rms(error/u) |");
    println!("| --- | --- | --- | --- |");
    for (i, name) in ["by flow meter", "by scale", "by tank level", "together"].iter().enumerate() {
        let errors: Vec<(f64, f64)> = runs.iter().filter_map(|r| r.errors[i]).collect();
        let error = rms(errors.iter().map(|e| e.0));
        let u = errors.iter().map(|e| e.1).sum::<f64>() / errors.len() as f64;
        println!("| {name} | {error:.1} | {u:.1} | {:.2} |", rms(errors.iter().map(|e| e.0 / e.1)));
    }
    far_off(&runs);
    let cried = runs.iter().filter(|r| r.cried).count();
    let copied = runs.iter().filter(|r| r.copied).count();
    let frozen = runs.iter().filter(|r| r.frozen).count();
    println!("said to disagree: {cried} of {count}; not to be independent: {copied}; something frozen: {frozen}");
    for id in runs.iter().flat_map(|r| &r.alarms).collect::<BTreeSet<_>>() {
        println!("alarm {id:?} in {} of {count}", runs.iter().filter(|r| r.alarms.contains(id)).count());
    }
    let agreed: Vec<f64> = runs.iter().filter_map(|r| r.agreed_s).collect();
    let mean = agreed.iter().sum::<f64>() / agreed.len() as f64;
    println!("said to agree first after {mean:.0} s on average ({} of {count})", agreed.len());
    for (i, share) in [25, 50, 75].iter().enumerate() {
        let errors: Vec<(f64, bool)> = runs.iter().filter_map(|r| r.finish[i]).collect();
        let mean = errors.iter().map(|e| e.0).sum::<f64>() / errors.len() as f64;
        let held = errors.iter().filter(|e| e.1).count() as f64 / errors.len() as f64;
        println!(
            "planned amount at {share} %: rms error {:.0} s, mean {mean:+.0} s, 5-95 % interval holds {:.2} ({})",
            rms(errors.iter().map(|e| e.0)),
            held,
            errors.len()
        );
    }
    let mut over: Vec<f64> = runs.iter().map(|r| r.overstated_kg).collect();
    over.sort_by(f64::total_cmp);
    println!(
        "margin shown less true room left: median {:+.0} kg, largest {:+.0} kg",
        over[over.len() / 2],
        over[over.len() - 1]
    );
}
