//! Bugs planted in the program: the swarm must find each of them.

use super::plan::Plan;
use super::run::deliver;
use super::{together, works};
use brimwatch::planted::{Bug, plant};
use std::sync::Mutex;

/// No more seeds are tried for one bug.
const MOST: u64 = 60;

/// Each bug, and the seed from which on it is looked for: chosen so that one of the first few shows it.
const BUGS: [(Bug, u64); 21] = [
    (Bug::PadGasSign, 1),
    (Bug::NothingFrozen, 1),
    (Bug::MarginByTheMean, 1),
    (Bug::LostLeavesMargin, 1),
    (Bug::SwitchOutvoted, 1),
    (Bug::UnknownClears, 1),
    (Bug::SeenClears, 1),
    (Bug::NoOnDelay, 1),
    (Bug::ShelfWithoutEnd, 1),
    (Bug::LastValueShown, 1),
    (Bug::GapForgotten, 1),
    (Bug::MissesUncounted, 1),
    (Bug::ClockMovesTime, 1),
    (Bug::CeilingByRelief, 1),
    (Bug::NeighbourNeverSilent, 1),
    (Bug::ExcuseWithoutEnd, 1),
    (Bug::RollOverMisread, 1),
    (Bug::PairBlamed, 1),
    (Bug::LeakBelowTooSmall, 1),
    (Bug::AnybodyAttends, 1),
    (Bug::RecorderDrops, 1),
];

/// The first seed whose delivery finds it and what it says; None: none did.
fn found(bug: Bug, from: u64) -> Option<(u64, String)> {
    let (settings, papers) = works();
    plant(Some(bug));
    let mut outcomes = Vec::new();
    let mut found = None;
    for seed in from..from + MOST {
        let outcome = deliver(&Plan::draw(&settings, &papers, seed), &papers);
        found = outcome.broken.first().map(|broken| (seed, format!("{}: {}", broken.check, broken.what)));
        outcomes.push(outcome);
        if found.is_some() {
            break;
        }
    }
    plant(None);
    found.or_else(|| together(&outcomes).into_iter().next().map(|told| (from, told)))
}

#[test]
fn each_planted_bug_is_found() {
    let bugs = Mutex::new(BUGS.into_iter());
    let next = || bugs.lock().expect("no test panics while it holds the list").next();
    let work = || {
        let mut unseen = Vec::new();
        while let Some((bug, from)) = next() {
            match found(bug, from) {
                Some((seed, check)) => println!("{bug:?}: seed {seed}: {check}"),
                None => unseen.push(bug),
            }
        }
        unseen
    };
    let unseen: Vec<Bug> = std::thread::scope(|scope| {
        let threads = [scope.spawn(work), scope.spawn(work)];
        threads.into_iter().flat_map(|thread| thread.join().expect("a thread")).collect()
    });
    assert!(unseen.is_empty(), "not found: {unseen:?}");
}
