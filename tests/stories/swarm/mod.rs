//! The swarm: random deliveries with random faults in plant, instruments, network, disk, clock and people.
//!
//! Plant and instruments are the simulator's, in process and as fast as they go. With faults on nothing may be silent and
//! nothing falsely reassuring ([`checks`], [`alarms`], [`truths`]); with faults off everything clears and the next load comes
//! in as if nothing had been ([`run`]). Every recording is replayed, bit for bit ([`disk`]).
//!
//! What fails prints its seed and how to run it again: `BRIMWATCH_SWARM=17 cargo test --test stories swarm`. More of them:
//! `BRIMWATCH_SWARM=1..10000 cargo test --release --test stories swarm::deliveries -- --nocapture`.

mod alarms;
#[cfg(feature = "peers")]
#[path = "../../golden/builds.rs"]
mod builds;
mod checks;
mod disk;
mod people;
mod plan;
#[cfg(feature = "planted")]
mod planted;
mod run;
mod truths;

use super::driver;
use brimwatch::engine::frame::WitnessId;
use brimwatch::engine::settings::{DeliverySetup, Settings};
use brimwatch_simulator::scenario;
use plan::Plan;
use run::{HowFar, Outcome, deliver};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

/// Seeds when nobody asks for others: as many of them as go within this time, s, and these at least.
const SEEDS: (u64, u64) = (1, 300);
/// See above.
const BUDGET_S: f64 = 40.0;
/// See above.
const AT_LEAST: u64 = 8;
/// Seeds that have shown a fault of ours, since mended: a person on the deck where polls are lost (two), people who change places
/// and outstay an excuse, an empty scale below its range, a gauge that lied and came back, shown evened out for a
/// minute, a meter that comes back just after somebody has stepped on; a meter that hangs while the line fills, a person on the
/// deck after a gauge has lied (three), a meter that comes back without part of its total just after somebody has stepped on; one
/// who comes as another goes, one who steps on while nobody watches, one who does as the transfer starts; a scale that was excused
/// and did not come back; foam at a gauge that stands alone, a person on a scale that does; a trailer that is gone before the start; one
/// who stays while a gauge comes back that crept; a total found frozen that was away from the next load; one who leaves as the meter is
/// back; foam at the last witness; one who leaves while a meter that errs had evened the scale out; an excuse against a meter that is
/// then found frozen, what was read by one, one who leaves seconds after the scale is heard again, one who comes where a gauge has lied
/// (two), a meter that goes on hanging when its gateway no longer does.
const HAVE_SHOWN: [u64; 29] = [
    20018, 116, 190, 223, 276, 551, 308, 413, 469, 520, 561, 865, 942, 1936, 2068, 2307, 3207, 4139, 4358, 5375, 5837,
    7904, 9087, 2834, 4643, 5633, 5934, 3655, 8555,
];
/// Fewest clean deliveries that a mean over them says anything.
const FEWEST: usize = 3;
/// The mean of error/u over clean deliveries lies within so many of its standard errors, and this, of nothing: u is stated for
/// one bay, and its density, table and trailer are drawn anew for each.
const MEAN: (f64, f64) = (5.0, 0.25);
/// Of clean deliveries so many may be called to without a cause: 66 in 10,000 are what 2,000 busy ones bound
/// (docs/figures.md, "Faults found"), and three standard deviations of their count.
const CALLED: f64 = 0.0066;

/// The drill's works and papers.
fn works() -> (Settings, DeliverySetup) {
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    (site.bays[delivery.bay].settings.clone(), delivery.setup)
}

/// "17", "1..10000", or what is usual.
fn asked() -> Option<(u64, u64)> {
    let text = std::env::var("BRIMWATCH_SWARM").ok()?;
    let number =
        |text: &str| text.trim().parse::<u64>().unwrap_or_else(|_| panic!("BRIMWATCH_SWARM={text}: 17, or 1..10000"));
    let (from, to) = text.split_once("..").unwrap_or((&text, &text));
    Some((number(from), number(to)))
}

/// Runs a delivery for each seed, on two threads; no more are begun once the time is over.
fn all((from, to): (u64, u64), budget_s: f64) -> Vec<Outcome> {
    let begun = Instant::now();
    let (settings, papers) = works();
    let next = AtomicU64::new(from);
    let work = || {
        let mut mine = Vec::new();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            let late = begun.elapsed().as_secs_f64() > budget_s && seed >= from + AT_LEAST;
            if seed > to || late {
                return mine;
            }
            let plan = Plan::draw(&settings, &papers, seed);
            let outcome = deliver(&plan, &papers, HowFar::Whole);
            for broken in &outcome.broken {
                println!(
                    "seed {seed}: {} at {} s: {}\n  {plan}\n  again: BRIMWATCH_SWARM={seed} cargo test --test stories swarm::deliveries -- --nocapture",
                    broken.check, broken.s, broken.what
                );
            }
            if seed.is_multiple_of(500) {
                eprintln!("{seed} of {to}");
            }
            mine.push(outcome);
        }
    };
    std::thread::scope(|scope| {
        let threads = [scope.spawn(work), scope.spawn(work)];
        threads.into_iter().flat_map(|thread| thread.join().expect("a swarm's thread")).collect()
    })
}

/// Error over u of a witness at the end of every clean delivery in which it was honest and there.
fn errors_of(outcomes: &[Outcome], witness: WitnessId) -> Vec<f64> {
    outcomes.iter().filter(|o| o.clean).filter_map(|o| o.errors[witness as usize]).collect()
}

/// What clean deliveries give together: masses that are off in the mean, alarms without a cause.
#[expect(clippy::cast_precision_loss, reason = "counts")]
fn together(outcomes: &[Outcome]) -> Vec<String> {
    let clean: Vec<&Outcome> = outcomes.iter().filter(|o| o.clean).collect();
    let mut told = Vec::new();
    for witness in [WitnessId::Flow, WitnessId::Scale, WitnessId::Tank] {
        let errors = errors_of(outcomes, witness);
        let n = errors.len() as f64;
        let mean = errors.iter().sum::<f64>() / n;
        if errors.len() >= FEWEST && mean.abs() > MEAN.0 / n.sqrt() + MEAN.1 {
            told.push(format!("{witness:?} is off by {mean:+.2} u in the mean of {n} clean deliveries"));
        }
    }
    let called: Vec<&&Outcome> = clean.iter().filter(|o| o.cried || !o.called.is_empty()).collect();
    let expected = CALLED * clean.len() as f64;
    if called.len() as f64 > expected + 3.0 * expected.sqrt() + 1.0 {
        let seeds: Vec<u64> = called.iter().map(|o| o.seed).collect();
        told.push(format!(
            "{} of {} clean deliveries were called to without a cause: seeds {seeds:?}",
            called.len(),
            clean.len()
        ));
    }
    told
}

/// Debug and release, on this processor and on one without FMA: the same bits.
#[cfg(feature = "peers")]
#[test]
fn a_recording_of_the_swarm_is_the_same_in_every_build() {
    let (settings, papers) = works();
    let outcome = deliver(&Plan::draw(&settings, &papers, HAVE_SHOWN[1]), &papers, HowFar::Recorded);
    assert_eq!(outcome.broken, []);
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("swarm.brim");
    std::fs::write(&path, &outcome.recording).expect("a file");
    builds::assert_replayed_by_all(&path);
}

#[test]
fn what_a_seed_has_shown_is_mended() {
    let broken: Vec<_> =
        HAVE_SHOWN.iter().flat_map(|seed| all((*seed, *seed), f64::INFINITY)).flat_map(|o| o.broken).collect();
    assert!(broken.is_empty(), "{broken:?}");
}

#[test]
#[expect(clippy::cast_precision_loss, reason = "counts")]
fn deliveries_with_faults_are_never_silent_nor_reassuring_and_clear_when_all_is_mended() {
    let begun = Instant::now();
    let (seeds, budget_s) = asked().map_or((SEEDS, BUDGET_S), |seeds| (seeds, f64::INFINITY));
    let outcomes = all(seeds, budget_s);
    let (hours, inputs) = outcomes.iter().fold((0.0, 0), |(h, n), o| (h + o.lasted_s as f64 / 3600.0, n + o.inputs));
    println!(
        "{} deliveries, seeds {} on, {} of them clean: {hours:.0} h watched, {inputs} inputs recorded and replayed, in {:.0} s",
        outcomes.len(),
        seeds.0,
        outcomes.iter().filter(|o| o.clean).count(),
        begun.elapsed().as_secs_f64()
    );
    let mut by_check: BTreeMap<&str, Vec<u64>> = BTreeMap::new();
    for outcome in &outcomes {
        outcome.broken.iter().for_each(|broken| by_check.entry(broken.check).or_default().push(outcome.seed));
    }
    by_check.iter().for_each(|(check, seeds)| println!("{check}: {} deliveries, seeds {seeds:?}", seeds.len()));
    for outcome in outcomes.iter().filter(|o| o.clean && (o.cried || !o.called.is_empty())) {
        println!("clean seed {}: said to disagree: {}, called out {:?}", outcome.seed, outcome.cried, outcome.called);
    }
    for witness in [WitnessId::Flow, WitnessId::Scale, WitnessId::Tank] {
        let errors = errors_of(&outcomes, witness);
        let n = errors.len() as f64;
        let (mean, square) = errors.iter().fold((0.0, 0.0), |(m, s), e| (m + e / n, s + e * e / n));
        println!("{witness:?}: error/u at the end of {n} clean deliveries: mean {mean:+.2}, rms {:.2}", square.sqrt());
    }
    let told = together(&outcomes);
    assert!(by_check.is_empty() && told.is_empty(), "{by_check:?}; {told:?}");
}
