//! How far rounds outlast their deadline, and how soon a device is back.

use super::client::{self, Plan, Round, Who, us};
use super::figures::{Sorted, goal, table};
use super::server::{Back, Kind, Servers};

/// Devices of each kind.
const OF_EACH: u32 = 20;
/// Long enough for two absences of each that comes and goes.
const WINDOW_S: f64 = 20.0;
const HZ: f64 = 10.0;
const TIME_OUT_S: f64 = 0.08;

pub fn part() {
    let phase = |nth: u32| (f64::from(nth) + 0.5) / f64::from(OF_EACH);
    let each = |kind: fn(f64) -> Kind| (0..OF_EACH).map(move |nth| kind(phase(nth)));
    let kinds: Vec<Kind> = each(|_| Kind::Dead)
        .chain(each(|phase| Kind::Away { hangs: false, phase }))
        .chain(each(|phase| Kind::Away { hangs: true, phase }))
        .collect();
    let servers = Servers::start(&kinds);
    let addresses = servers.addresses.clone();
    let plan = Plan { who: Who::Ours, addresses, hz: HZ, warm_s: 0.5, window_s: WINDOW_S, time_out_s: TIME_OUT_S };
    let rounds = client::run(&plan).rounds;
    deadlines(&rounds, &kinds);
    repairs(&rounds, &kinds, &servers.stop());
}

fn deadlines(rounds: &[Round], kinds: &[Kind]) {
    let dead = rounds.iter().filter(|round| kinds[round.device] == Kind::Dead);
    let time_out_us = TIME_OUT_S * 1e6;
    // A device that is being left alone is not asked: those rounds are over at once.
    let lasted = |round: &Round| us(round.due_ns, round.replied_ns);
    let over = Sorted::new(dead.map(lasted).filter(|us| *us > 0.5 * time_out_us).map(|us| us - time_out_us));
    table(
        "A dead device: due to given up, less the time-out, us: median / 99 % / maximum",
        ["rounds", "beyond", "goal"],
        &[[over.count().to_string(), over.three(0), goal("<= 5 ms", over.most() <= 5000.0)]],
    );
}

fn repairs(rounds: &[Round], kinds: &[Kind], backs: &[Back]) {
    let mut rows = Vec::new();
    for (what, hung) in
        [("the program was gone for 5 to 6 s", false), ("it stood still for 5 to 6 s, its connections up", true)]
    {
        let of_kind = |back: &&Back| matches!(kinds[back.device], Kind::Away { hangs, .. } if hangs == hung);
        // Only where somebody asked before, throughout and after.
        let last_ns = rounds.iter().map(|round| round.due_ns).max().unwrap_or(0);
        let seen = backs.iter().filter(of_kind).filter(|back| back.back_ns + 2_000_000_000 < last_ns);
        let took = Sorted::new(seen.map(|back| served_after_ms(rounds, back)));
        let most_ms = 1000.0 + 1000.0 / HZ;
        rows.push([
            what.to_owned(),
            took.count().to_string(),
            took.three(0),
            goal("<= 1 s + one period", took.most() <= most_ms),
        ]);
    }
    table(
        "A device comes back: listening again to the next good answer, ms: median / 99 % / maximum",
        ["", "repairs", "took", "goal"],
        &rows,
    );
}

fn served_after_ms(rounds: &[Round], back: &Back) -> f64 {
    let good = rounds.iter().filter(|r| r.device == back.device && r.answered && r.replied_ns > back.back_ns);
    let first = good.map(|round| round.replied_ns).min();
    first.map_or(f64::INFINITY, |first_ns| us(back.back_ns, first_ns) / 1e3)
}
