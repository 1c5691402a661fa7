//! How well the first gas is foreseen. `cargo bench --bench projection -- 100 busy from=1`: transfers of random plants run to
//! the first gas at the trailer's outlet, half of them through a viscous (laminar) line, half through one braked by fittings
//! (turbulent); with `changes` somebody sets the pad anew in one of five, unannounced.

use brimwatch::engine::frame::{Finish, Moment};
use brimwatch::engine::settings::{DeliverySetup, Settings};
use brimwatch::time::EngineTime;
use brimwatch::units::Kg;
use brimwatch_simulator::bay::SimulatedBay;
use brimwatch_simulator::instruments::InstrumentSetup;
use brimwatch_simulator::noise::Chance;
use brimwatch_simulator::plant::fault::{Mishap, PlantFault};
use brimwatch_simulator::plant::{Plant, STEP_S};
use brimwatch_simulator::scenario;
use std::path::Path;

#[path = "driver.rs"]
mod driver;
use driver::Bench;

/// Shares of the way at which a projection is kept, and times before the event, s.
const SHARES: [f64; 3] = [0.25, 0.5, 0.75];
const BEFORE_S: [usize; 3] = [600, 300, 60];
/// Root mean square error that theory allows at those shares, s, without and with later changes of the pad (a Monte Carlo
/// study on a turbulent plant).
const LIMIT_S: [[f64; 3]; 2] = [[15.0, 11.0, 6.5], [44.0, 26.0, 6.6]];
/// Futures followed from a share of the way for the plant's own limit, and seconds between the plants kept for that.
const FUTURES: u64 = 12;
const KEPT_EVERY: usize = 60;
/// Gas has come when it makes so much of what leaves the trailer.
const GAS_SHARE: f64 = 0.05;
/// After a change the interval need not cover for so long, s.
const SETTLES_S: usize = 300;

/// What one transfer gave.
struct Run {
    /// Error of the median at each share and whether 5 to 95 % held the event.
    shares: [Option<(f64, bool)>; 3],
    /// What is left to who knows all of the plant but its future wander and what the ticket leaves open, s; and to who must
    /// learn from the pad's course what the regulator is set to.
    limits: [[f64; 3]; 2],
    before: [Option<f64>; 3],
    /// Ticks with a projection (from 300 s after start and change), those whose 5 to 95 % held the event, those before whose
    /// earliest it came.
    ticks: usize,
    covered: usize,
    too_late: usize,
}

fn run(settings: &Settings, delivery: &DeliverySetup, seed: u64, (busy, changes): (bool, bool)) -> Run {
    let high_m = scenario::instruments(settings, delivery.tank, seed).high_switch_m;
    let instruments = if busy { InstrumentSetup::busy(high_m, seed) } else { InstrumentSetup::nominal(high_m, seed) };
    let plant = driver::viscous_or_braked(scenario::plant(settings, delivery, seed), seed);
    let delivery = &driver::papers_of(delivery, seed);
    // The attendant goes on until gas comes.
    let goes_on = DeliverySetup { planned: Kg(1e6), ..delivery.clone() };
    let bay = SimulatedBay::of(settings, Some(&goes_on), plant, instruments);
    let mut bench = Bench::started(settings, delivery, bay);
    let mut chance = Chance::new(seed, 910);
    let mut changed = 0;
    if changes && chance.uniform() < 0.2 {
        let (after_s, size_pa) = (chance.between((600.0, 3000.0)), chance.between((-25_000.0, 25_000.0)));
        let at_s = bench.bay.plant().time_s() + after_s;
        bench.bay.add_mishap(PlantFault::new(Mishap::PadChange, at_s, size_pa));
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "seconds")]
        {
            changed = after_s as usize;
        }
    }
    let mut finishes: Vec<(EngineTime, Finish)> = Vec::new();
    let mut kept: Vec<Plant> = Vec::new();
    while bench.unloading() && bench.bay.plant().gas_share() < GAS_SHARE {
        if finishes.len().is_multiple_of(KEPT_EVERY) {
            kept.push(bench.bay.plant().clone());
        }
        let frame = bench.second();
        finishes.push((frame.at, frame.finish));
    }
    let ticket_u_kg = delivery.ticket_u.0;
    let limits = [false, true].map(|learns| SHARES.map(|share| own_limit_s(&kept, share, ticket_u_kg, (seed, learns))));
    Run { limits, ..judge(&finishes, changed) }
}

/// Standard deviation of the first gas over futures of this very plant, and what the ticket's uncertainty comes to at the last
/// flow. Who `learns` what the regulator is set to knows it after t only as well as the mean of what wanders about it with a memory
/// T: u sqrt(2 T/(t + 2 T)) (best linear estimate of a first-order process's mean).
#[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few")]
fn own_limit_s(kept: &[Plant], share: f64, ticket_u_kg: f64, (seed, learns): (u64, bool)) -> f64 {
    let from = &kept[(share * kept.len() as f64) as usize];
    let (setup, t) = (from.setup(), from.time_s() - kept[0].time_s());
    let memory_s = 2.0 * setup.regulator_wander_s;
    let set_u_pa = if learns { setup.regulator_wander_pa * (memory_s / (t + memory_s)).sqrt() } else { 0.0 };
    let (mut times, mut rate) = (Vec::new(), 0.0);
    // Each transfer has futures of its own: what twelve of them say by chance evens out over all.
    for seed in FUTURES * seed..FUTURES * (seed + 1) {
        let mut plant = from.another_future(seed, set_u_pa * Chance::new(seed, 930).normal());
        while plant.gas_share() < GAS_SHARE {
            if plant.gas_share() == 0.0 {
                rate = plant.meter_kg_per_s();
            }
            plant.advance(5.0 * STEP_S);
        }
        times.push(plant.time_s());
    }
    let mean = times.iter().sum::<f64>() / times.len() as f64;
    let variance = times.iter().map(|t| (t - mean) * (t - mean)).sum::<f64>() / (times.len() - 1) as f64;
    let by_ticket_s = ticket_u_kg / rate;
    (variance + by_ticket_s * by_ticket_s).sqrt()
}

fn error_s(moment: &Moment, event: EngineTime) -> f64 {
    moment.q50.since_s(event) - event.since_s(moment.q50)
}

#[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "an index")]
fn judge(finishes: &[(EngineTime, Finish)], changed: usize) -> Run {
    let event = finishes[finishes.len() - 1].0;
    let at = |i: usize| finishes.get(i).and_then(|(_, f)| f.first_gas);
    let held = |m: &Moment| m.q05 <= event && event <= m.q95;
    let shares =
        SHARES.map(|share| at((share * finishes.len() as f64) as usize).map(|m| (error_s(&m, event), held(&m))));
    let before = BEFORE_S.map(|s| finishes.len().checked_sub(s + 1).and_then(at).map(|m| error_s(&m, event)));
    let settled = |i: usize| i > SETTLES_S && (changed == 0 || i < changed || i > changed + SETTLES_S);
    let kept = || finishes.iter().enumerate().filter(|(i, _)| settled(*i)).filter_map(|(_, (_, f))| f.first_gas);
    Run {
        shares,
        limits: [[0.0; 3]; 2],
        before,
        ticks: kept().count(),
        covered: kept().filter(held).count(),
        too_late: kept().filter(|m| m.earliest > event).count(),
    }
}

fn rms(values: &[f64]) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a count")]
    let n = values.len() as f64;
    (values.iter().map(|v| v * v).sum::<f64>() / n).sqrt()
}

#[expect(clippy::cast_precision_loss, reason = "counts")]
fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let asked = |word: &str| args.iter().any(|a| a == word);
    let count = args.iter().find_map(|a| a.parse::<u64>().ok()).unwrap_or(10);
    let from = args.iter().find_map(|a| a.strip_prefix("from=")?.parse::<u64>().ok()).unwrap_or(1);
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let settings = &site.bays[delivery.bay].settings;
    let how = (asked("busy"), asked("changes"));
    let runs: Vec<(u64, Run)> =
        (from..from + count).map(|seed| (seed, run(settings, &delivery.setup, seed, how))).collect();
    println!(
        "{count} transfers to the first gas, seeds {from} on{}",
        if how.1 { ", the pad set anew in one of five" } else { "" }
    );
    println!(
        "| at | line | rms error s | mean s | of the study's limit | own limit s, the pad's setting known | to be learnt | of the last | 5-95 % held it |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |"
    );
    for (i, share) in SHARES.iter().enumerate() {
        for (line, odd) in [("laminar", Some(0)), ("turbulent", Some(1)), ("both", None)] {
            let of = || runs.iter().filter(|(seed, _)| odd.is_none_or(|odd| seed % 2 == odd));
            let found: Vec<(f64, bool)> = of().filter_map(|(_, r)| r.shares[i]).collect();
            let [own, learnt] = [0, 1].map(|how| rms(&of().map(|(_, r)| r.limits[how][i]).collect::<Vec<_>>()));
            let errors: Vec<f64> = found.iter().map(|f| f.0).collect();
            let held = found.iter().filter(|f| f.1).count() as f64 / found.len() as f64;
            let mean = errors.iter().sum::<f64>() / errors.len() as f64;
            let limit = rms(&errors) / LIMIT_S[usize::from(how.1)][i];
            let error = rms(&errors);
            println!(
                "| {:.0} % | {line} | {error:.1} | {mean:+.1} | {limit:.2} | {own:.1} | {learnt:.1} | {:.2} | {held:.2} |",
                share * 100.0,
                error / learnt
            );
        }
    }
    for (i, s) in BEFORE_S.iter().enumerate() {
        let errors: Vec<f64> = runs.iter().filter_map(|(_, r)| r.before[i]).collect();
        let most = errors.iter().fold(0.0, |most: f64, e| most.max(e.abs()));
        println!("{s} s before: rms error {:.1} s, largest {most:.0} s ({})", rms(&errors), errors.len());
    }
    let sum = |of: fn(&Run) -> usize| runs.iter().map(|(_, r)| of(r)).sum::<usize>() as f64;
    let ticks = sum(|r| r.ticks);
    println!(
        "of all seconds from 300 s after start or change: 5-95 % held it {:.3}, it came before the earliest {:.3}",
        sum(|r| r.covered) / ticks,
        sum(|r| r.too_late) / ticks
    );
}
