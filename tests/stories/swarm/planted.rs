//! Bugs planted in the program: the swarm must find each of them.

use super::plan::{Plan, Slip, Trouble};
use super::run::{HowFar, deliver};
use super::{together, works};
use brimwatch::engine::settings::SignalKind;
use brimwatch::planted::{Bug, plant};
use brimwatch_simulator::instruments::{Instrument, InstrumentFault, Wrong};
use brimwatch_simulator::plant::fault::{Mishap, PlantFault};
use std::sync::Mutex;

/// Seeds that are drawn in search of deliveries that could show a bug.
const DRAWN: u64 = 60_000;
/// No more of them are run.
const RUN: usize = 6;

/// A bug, and whether a delivery is one that could show it: so that few are run. What finds it are the checks that all are
/// held to.
type Case = (Bug, fn(&Plan) -> bool);

/// All of them.
const CASES: [Case; 21] = [
    (Bug::PadGasSign, |p| p.is_clean() && p.papers.planned.0 > 17_000.0),
    (Bug::NothingFrozen, |p| {
        only(p) && p.faults.iter().any(|f| f.wrong == Wrong::Stuck && early(f) && f.on == Instrument::Level)
    }),
    (Bug::MarginByTheMean, |p| {
        only(p)
            && p.faults.iter().any(|f| f.wrong == Wrong::Gain && f.size < -0.085 && early(f))
            && p.papers.planned.0 > 15_000.0
    }),
    (Bug::LostLeavesMargin, |p| {
        only(p) && p.faults.iter().any(|f| f.wrong == Wrong::Silent && f.on == Instrument::Scale && early(f))
    }),
    (Bug::SwitchOutvoted, |p| only(p) && p.faults.iter().any(|f| f.on == Instrument::HighLevelSwitch && early(f))),
    (Bug::UnknownClears, |p| {
        // They disagree for long, and then one of them is gone.
        let leak_s = |m: &PlantFault| {
            let leak = m.what == Mishap::LeakBeforeMeter || m.what == Mishap::LeakAfterMeter;
            (leak && m.size > 0.3 && m.at_s < 900.0).then_some(m.at_s)
        };
        let gone = |f: &InstrumentFault, leak_s: f64| {
            let witness = [Instrument::Scale, Instrument::Meter, Instrument::Level].contains(&f.on);
            witness && f.wrong == Wrong::Silent && f.for_s > 30.0 && (leak_s + 400.0..2_500.0).contains(&f.at_s)
        };
        p.mishaps.iter().filter_map(leak_s).any(|leak_s| p.faults.iter().any(|f| gone(f, leak_s)))
    }),
    (Bug::SeenClears, |p| {
        only(p)
            && p.people.sees_every_s < 100.0
            && p.faults.iter().any(|f| f.wrong == Wrong::Silent && early(f) && f.for_s > 200.0)
    }),
    (Bug::NoOnDelay, |p| p.faults.is_empty() && leaks(p, &[Mishap::LeakBeforeMeter, Mishap::LeakAfterMeter], 0.4)),
    (Bug::ShelfWithoutEnd, |p| {
        p.people.shelves_s > 0.0
            && p.people.shelves_s < 300.0
            && p.disk.iter().any(|d| d.at_s < 1_000.0 && d.for_s > 5.0)
    }),
    (Bug::LastValueShown, |p| p.network.iter().any(|(_, n)| matches!(n.what, Trouble::Loses(..)) && n.at_s < 600.0)),
    (Bug::GapForgotten, |p| p.sleeps.iter().any(|sleep| sleep.at_s < 600.0)),
    (Bug::MissesUncounted, |p| p.network.iter().any(|(_, n)| matches!(n.what, Trouble::Loses(..)) && n.at_s < 600.0)),
    (Bug::ClockMovesTime, |p| p.clock.iter().any(|(at_s, by_ns)| *at_s < 600.0 && *by_ns > 0)),
    (Bug::CeilingByRelief, |p| p.papers.plate.mawp.is_some_and(|mawp| mawp.0 < 165_000.0)),
    (Bug::NeighbourNeverSilent, |p| p.beside.as_ref().is_some_and(|b| b.silent.at_s < 500.0 && b.silent.for_s > 60.0)),
    (Bug::ExcuseWithoutEnd, |p| {
        let shift = |f: &InstrumentFault| f.wrong == Wrong::Shift && f.on == Instrument::Scale && f.size.abs() < 200.0;
        only(p)
            && p.papers.planned.0 > 12_000.0
            && p.faults.iter().any(|f| shift(f) && early(f) && f.for_s.is_infinite())
    }),
    (Bug::RollOverMisread, |p| {
        let rolls = p.settings.signals.iter().any(|s| s.kind == SignalKind::FlowMassTotal && s.rolls_over_at.is_some());
        p.is_clean() && rolls
    }),
    (Bug::PairBlamed, |p| {
        let lost = |f: &InstrumentFault| f.wrong == Wrong::Silent && f.on == Instrument::Scale && f.for_s.is_infinite();
        leaks(p, &[Mishap::LeakAfterMeter], 0.2) && p.faults.len() == 1 && p.faults.iter().any(lost)
    }),
    (Bug::LeakBelowTooSmall, |p| {
        let slow = p.mishaps.iter().all(|m| m.size < 0.07);
        p.faults.is_empty() && slow && leaks(p, &[Mishap::LeakAfterMeter], 0.05) && p.papers.planned.0 > 17_000.0
    }),
    (Bug::AnybodyAttends, |p| {
        let asked = p.settings.limits.attendance_s.is_some();
        asked && p.people.slips.iter().any(|(at_s, slip)| *slip == Slip::OtherAttends && (500.0..900.0).contains(at_s))
    }),
    (Bug::RecorderDrops, |p| p.bad_disk && p.papers.planned.0 > 15_000.0),
];

/// One thing is wrong, and people do nothing unusual.
fn only(plan: &Plan) -> bool {
    plan.faults.len() == 1 && plan.mishaps.is_empty() && plan.network.is_empty() && plan.people.late_start_s == 0.0
}

/// It begins while liquid moves, and early.
fn early(fault: &InstrumentFault) -> bool {
    (400.0..1_200.0).contains(&fault.at_s)
}

/// A leak of one of these kinds, at least so fast, kg/s, begins early, and nothing else is wrong with the plant.
fn leaks(plan: &Plan, kinds: &[Mishap], least: f64) -> bool {
    let early = |m: &PlantFault| (400.0..1_000.0).contains(&m.at_s) && m.size >= least && kinds.contains(&m.what);
    plan.mishaps.len() == 1 && plan.mishaps.iter().any(early) && plan.beside.is_none() && plan.network.is_empty()
}

/// The first seed whose delivery finds it and what it says, and that finds nothing without it; None: none did.
fn found((bug, could_show): Case) -> Option<(u64, String)> {
    let (settings, papers) = works();
    let plans = (1..DRAWN).map(|seed| Plan::draw(&settings, &papers, seed)).filter(could_show);
    let mut outcomes = Vec::new();
    for plan in plans.take(RUN) {
        plant(Some(bug));
        let outcome = deliver(&plan, &papers, HowFar::FirstFound);
        plant(None);
        if let Some(broken) = outcome.broken.first() {
            let sound = deliver(&plan, &papers, HowFar::FirstFound);
            assert!(sound.broken.is_empty(), "seed {} without any bug: {:?}", plan.seed, sound.broken);
            return Some((plan.seed, format!("{}: {}", broken.check, broken.what)));
        }
        outcomes.push(outcome);
        if let Some(told) = together(&outcomes).into_iter().next() {
            return Some((plan.seed, told));
        }
    }
    None
}

#[test]
fn each_planted_bug_is_found() {
    let cases = Mutex::new(CASES.into_iter());
    let next = || cases.lock().expect("no test panics while it holds the list").next();
    let work = || {
        let mut unseen = Vec::new();
        while let Some(case) = next() {
            match found(case) {
                Some((seed, check)) => {
                    println!("{:?}: seed {seed}: {}", case.0, check.chars().take(200).collect::<String>())
                }
                None => unseen.push(case.0),
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
