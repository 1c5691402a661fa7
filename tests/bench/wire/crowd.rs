//! Bad devices among many: what they take from the others.

use super::client::{self, Plan, Report, Who};
use super::figures::{goal, table};
use super::server::{Kind, Servers};

/// Devices that answer.
const GOOD: usize = 995;
/// One of each kind that does not.
const BAD: [Kind; 4] = [Kind::Dead, Kind::Drips, Kind::Babbles, Kind::Refuses];
/// A name that no resolver knows (RFC 6761, 6.4).
const UNKNOWN: &str = "device.invalid:502";

pub fn part() {
    let kinds: Vec<Kind> = [Kind::Answers].into_iter().chain(BAD).collect();
    let servers = Servers::start(&kinds);
    let good = vec![servers.addresses[0].clone(); GOOD];
    let bad = servers.addresses[1..].iter().cloned().chain([UNKNOWN.to_owned()]);
    let everyone: Vec<String> = good.iter().cloned().chain(bad).collect();
    let plan = |addresses: &[String]| Plan {
        who: Who::Ours,
        addresses: addresses.to_vec(),
        hz: 10.0,
        warm_s: 1.5,
        window_s: 4.0,
        time_out_s: 0.09,
    };
    let mut rows = Vec::new();
    for _ in 0..2 {
        let [without, with] = [plan(&good), plan(&everyone)].map(|plan| Seen::of(&client::run(&plan), &plan));
        rows.push([
            format!("{:.2} %", without.kept),
            format!("{:.2} %", with.kept),
            goal(">= 99.95 %", with.kept >= 99.95),
            without.late.clone(),
            with.late.clone(),
            format!("{:.2}", with.late_99_us / without.late_99_us),
            format!("{:.2}", with.cpu_ns / without.cpu_ns),
        ]);
    }
    servers.stop();
    table(
        "995 good devices at 10 Hz, without and with five bad ones (dead, dripping, babbling, refusing, unknown name)",
        [
            "kept without",
            "kept with",
            "goal",
            "late without, us",
            "late with, us",
            "ratio at 99 %",
            "processor time, ratio",
        ],
        &rows,
    );
}

/// How the good ones did.
struct Seen {
    kept: f64,
    late: String,
    late_99_us: f64,
    cpu_ns: f64,
}

impl Seen {
    fn of(report: &Report, plan: &Plan) -> Seen {
        let good =
            Report { rounds: report.rounds.iter().copied().filter(|r| r.device < GOOD).collect(), ..report.clone() };
        let late = good.lateness();
        Seen {
            kept: 100.0 * report.kept(GOOD, plan),
            late: late.three(0),
            late_99_us: late.at(0.99),
            cpu_ns: report.cpu_ns,
        }
    }
}
