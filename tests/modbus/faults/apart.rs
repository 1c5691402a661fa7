//! Rows that need more than one link: what hangs costs nobody else anything, and no memory.

use super::frame::Ask;
use super::poller::{Poller, TEN, USUAL, is_whole};
use super::server::{Kind, Script, Server, Target};
use super::trial::Row;
use brimwatch::clock::MachineTime;
use std::sync::Arc;
use std::time::Duration;
use tokio::time::sleep;

const FIRST: Target = Target { unit: 1, function: TEN.0 };
/// Drills run faster than the clock; here so that thousands of attempts, pauses included, fit into seconds.
const HASTE: f64 = 200.0;
/// Attempts in all; memory is looked at for the first time after a quarter of them.
const ATTEMPTS: usize = 5_000;
/// The same without transaction numbers: a unit that may still answer is left alone for a while after a few.
const ATTEMPTS_RTU: usize = 1_000;

fn silent() -> Script {
    Arc::new(|_: &Ask| Vec::new())
}

/// One device hangs for good; another on a link of its own is not touched by it.
pub async fn neighbour(kind: Kind) -> Row {
    const LASTS_S: u32 = 3;
    let hung = Server::start(kind, FIRST, silent()).await;
    hung.fail();
    let well = Server::start(kind, FIRST, silent()).await;
    let mut hung_poller = Poller::start(&hung, USUAL, 1.0);
    let mut poller = Poller::start(&well, USUAL, 1.0);
    sleep(Duration::from_secs(LASTS_S.into())).await;
    hung_poller.take_in();
    poller.take_in();
    let (state, setup) = (well.state(), poller.setup);
    let lost = poller.answers.iter().filter(|answer| !is_whole(answer)).count();
    let mut row = poller.figures("hung for good, another link", kind.name(), &state, None);
    row.judge_always();
    let (good, due) = (poller.answers.len() - lost, f64::from(LASTS_S) / setup.period_s);
    if lost > 1 || f64::from(u32::try_from(good).unwrap_or(0)) < due / 2.0 {
        row.failures.push(format!("the other link: {lost} lost, {good} good of {due:.0} due"));
    }
    let heard = hung_poller.answers.iter().filter(|answer| answer.outcome.is_ok()).count();
    let asked = hung.state().asks.len();
    // Every 0.9 s at most after the first few: a grid of 0.1 s would ask 30 times.
    if heard > 0 || asked > 12 || hung_poller.answers.len() < 15 {
        row.failures.push(format!("the hung link: {heard} heard, {asked} asked, {} said", hung_poller.answers.len()));
    }
    row
}

/// One device hangs for thousands of attempts: memory and open files stay as they were.
pub async fn memory(kind: Kind) -> Row {
    let server = Server::start(kind, FIRST, silent()).await;
    server.fail();
    let mut pollers: Vec<Poller> = (0..8).map(|_| Poller::start(&server, USUAL, HASTE)).collect();
    let attempts = if kind == Kind::Tcp { ATTEMPTS } else { ATTEMPTS_RTU };
    let mut first = None;
    let began = MachineTime::now();
    let mut reached = 0;
    while reached < attempts && MachineTime::now().since(began) < Duration::from_secs(30) {
        sleep(Duration::from_millis(20)).await;
        pollers.iter_mut().for_each(Poller::forget);
        let mut state = server.state();
        reached += state.asks.len();
        state.asks.clear();
        if first.is_none() && reached >= attempts / 4 {
            first = Some((resident_kib(), open_files()));
        }
    }
    let (memory_kib, files) = first.unwrap_or_default();
    let (grown_kib, more_files) = (resident_kib().saturating_sub(memory_kib), open_files().saturating_sub(files));
    println!(
        "{reached} attempts at a hung device, {}: {grown_kib} KiB grown, {more_files} more open files",
        kind.name()
    );
    let row = Row { name: "hung for good, memory".into(), way: kind.name(), polls: reached, ..Row::default() };
    let failures = [
        (reached < attempts, "too few attempts"),
        // A leak of 1 KiB an attempt would show as three quarters of the attempts.
        (grown_kib > attempts / 2, "memory grows"),
        (more_files > 50, "files stay open"),
    ];
    Row { failures: failures.iter().filter(|(fails, _)| *fails).map(|(_, what)| (*what).to_owned()).collect(), ..row }
}

fn resident_kib() -> usize {
    let status = std::fs::read_to_string("/proc/self/status").expect("Linux");
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).expect("a resident size");
    line.trim().trim_end_matches(" kB").parse().expect("a number")
}

fn open_files() -> usize {
    std::fs::read_dir("/proc/self/fd").expect("Linux").count()
}
