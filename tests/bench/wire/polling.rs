//! What a poll costs, whether the schedule is kept and how late requests leave.

use super::client::{self, Plan, Report, Who};
use super::figures::{Sorted, goal, table};
use super::server::{Kind, Servers};

/// Connections, all at 10 Hz, and how often that is measured: all who ask in turn, so that what disturbs the machine
/// meets them alike. Where the cost of a poll is compared, five runs tell the ratio to +-0.05 only.
const SIZES: [(usize, usize); 3] = [(4, 5), (100, 15), (1000, 15)];

pub fn part() {
    let servers = Servers::start(&[Kind::Answers]);
    let mut runs = Vec::new();
    for (size, repeats) in SIZES {
        let everyone = [Who::Floor, Who::Ours, Who::FloorInGroups, Who::Library];
        // With a few connections what a poll costs drowns in what the process costs.
        let who = everyone.into_iter().take(if size > 4 { 4 } else { 2 });
        for _ in 0..repeats {
            for who in who.clone() {
                let addresses = vec![servers.addresses[0].clone(); size];
                let plan = Plan { who, addresses, hz: 10.0, warm_s: 0.7, window_s: 1.6, time_out_s: 0.09 };
                let report = client::run(&plan);
                runs.push(Run { size, who, kept: report.kept(size, &plan), report });
            }
        }
    }
    servers.stop();
    costs(&runs);
    schedule(&runs);
}

struct Run {
    size: usize,
    who: Who,
    kept: f64,
    report: Report,
}

fn of(runs: &[Run], size: usize, who: Who) -> impl Iterator<Item = &Run> {
    runs.iter().filter(move |run| (run.size, run.who) == (size, who))
}

fn costs(runs: &[Run]) {
    let costs = |size, who| Sorted::new(of(runs, size, who).map(|run| run.report.cpu_us()));
    let mut rows = Vec::new();
    for size in [100, 1000] {
        let floor = costs(size, Who::Floor);
        let others = [
            (Who::Ours, "brimwatch"),
            (Who::FloorInGroups, "floor in groups"),
            (Who::Library, "the Modbus library alone"),
        ];
        for (who, name) in others {
            let cost = costs(size, who);
            let ratio = cost.median() / floor.median();
            let said = if who == Who::Ours { goal("<= 1.10", ratio <= 1.10) } else { String::new() };
            rows.push([
                format!("{size} x 10 Hz: {name}"),
                floor.spread(1),
                cost.spread(1),
                format!("{ratio:.2}"),
                said,
            ]);
        }
    }
    table(
        "Processor time a poll, us: median (least..most of the runs)",
        ["", "floor: bytes by hand on tokio", "measured", "ratio", "goal"],
        &rows,
    );
}

fn schedule(runs: &[Run]) {
    let mut rows = Vec::new();
    for (size, _) in SIZES {
        let late =
            |who| Sorted::new(of(runs, size, who).flat_map(|run| run.report.rounds.iter().map(client::Round::late_us)));
        let (floor, ours) = (late(Who::Floor), late(Who::Ours));
        let kept: Sorted = Sorted::new(of(runs, size, Who::Ours).map(|run| 100.0 * run.kept));
        let least = kept.at(0.0);
        rows.push([
            format!("{size} x 10 Hz"),
            format!("{least:.2} %"),
            goal(">= 99.95 %", least >= 99.95),
            floor.three(0),
            ours.three(0),
            format!("{:.2}", ours.at(0.99) / floor.at(0.99)),
            goal("99 % <= 3 ms", ours.at(0.99) <= 3000.0),
        ]);
    }
    table(
        "Schedule: rounds asked and answered of those due (worst run); due to asked, us: median / 99 % / maximum",
        ["", "kept", "goal", "late: floor", "late: brimwatch", "ratio at 99 %", "goal"],
        &rows,
    );
}
