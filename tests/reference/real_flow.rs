//! A flow that was really measured (river's `WaterFlow`, see the script) as the course of a transfer: it jumps, falls to a quarter for
//! spells and stands to the last digit for several readings, and nothing of that is a leak, or frozen. Planted, both are found.
//!
//! An hour of the measurement is three seconds here, and its mean is brought to the works' rate. Scale and gauge follow it
//! with the noise and the division that the site file declares.

use super::ask;
use super::delivery::{brimwatch, root};
use brimwatch::report::account::Account;
use brimwatch_simulator::noise::Chance;
use std::fmt::Write as _;
use std::path::Path;

/// Values in the file.
const VALUES: usize = 1268;
/// A value lasts so long, s.
const LASTS_S: usize = 3;
/// Rows from eight o'clock on, the flow's first and what moves, kg: as the worked delivery has them (docs/worked/).
const ROWS_S: usize = 4_680;
/// See above.
const FLOWS_FROM_S: usize = 120;
/// See above.
const MOVED_KG: f64 = 20_035.0;
/// Meter's total, scale, kg, and level, m, at the start; the level's rise in all, m.
const START: (f64, f64, f64) = (1_204_500.0, 38_120.0, 2.1);
/// See above.
const RISE_M: f64 = 2.085;
/// Division of scale, kg, and gauge, m, and their noise (config/site.toml).
const DIVISION: (f64, f64) = (20.0, 0.001);
/// See above.
const NOISE: (f64, f64) = (6.0, 0.002);

/// What is planted begins then, s.
const PLANTED_S: usize = 1_200;
/// They agree from the first minutes to the close, s.
const AGREED_S: f64 = 4_400.0;

/// What goes wrong, and from which second on.
#[derive(Clone, Copy)]
enum Wrong {
    Nothing,
    /// So much of the flow does not come into the tank.
    Leak(usize, f64),
    /// The meter's total stands.
    Hangs(usize),
}

/// A row each second.
#[expect(clippy::cast_precision_loss, reason = "an hour and a half")]
fn history(flow: &[f64], seed: u64, wrong: Wrong) -> String {
    let mean = flow.iter().sum::<f64>() / flow.len() as f64;
    let flows_s = flow.len() * LASTS_S;
    let kg_per_s = |s: usize| {
        let value = s.checked_sub(FLOWS_FROM_S).and_then(|s| flow.get(s / LASTS_S));
        value.map_or(0.0, |value| value / mean * MOVED_KG / flows_s as f64)
    };
    let (mut scale, mut gauge) = (Chance::new(seed, 1), Chance::new(seed, 2));
    let round = |value: f64, division: f64| (value / division).round() * division;
    let (mut metered, mut lost, mut total) = (0.0, 0.0, START.0);
    let mut text = String::from("Time,total,rate,scale,level,pad\n");
    for s in 0..ROWS_S {
        let rate = kg_per_s(s);
        metered += rate;
        if let Wrong::Leak(from, share) = wrong {
            lost += if s >= from { share * rate } else { 0.0 };
        }
        if !matches!(wrong, Wrong::Hangs(from) if s >= from) {
            total = (START.0 + metered).round();
        }
        let weighs = round(START.1 - metered + NOISE.0 * scale.normal(), DIVISION.0);
        let level = round(START.2 + RISE_M * (metered - lost) / MOVED_KG + NOISE.1 * gauge.normal(), DIVISION.1);
        let (minute, second) = (s / 60, s % 60);
        let (hour, minute) = (8 + minute / 60, minute % 60);
        let _ = writeln!(text, "2026-03-02 {hour:02}:{minute:02}:{second:02},{total},{rate},{weighs},{level:.3},120");
    }
    text
}

/// Imported and reported by the program itself.
fn account(flow: &[f64], seed: u64, wrong: Wrong) -> Account {
    let folder = tempfile::tempdir().expect("a folder");
    let [history_file, recording, paper] =
        ["history.csv", "load.brim", "load.html"].map(|name| folder.path().join(name));
    std::fs::write(&history_file, history(flow, seed, wrong)).expect("a disk");
    let [columns, site, papers] = ["docs/worked/columns.toml", "config/site.toml", "config/delivery.toml"].map(root);
    let words = ["import", "--columns", "--site", "--delivery", "--out", "report"].map(Path::new);
    let [import, with_columns, with_site, with_papers, out, report] = words;
    let map = [with_columns, &columns, with_site, &site, with_papers, &papers, out, &recording];
    brimwatch(&[&[import, &history_file][..], &map].concat());
    brimwatch(&[report, &recording, out, &paper]);
    let json = std::fs::read_to_string(paper.with_extension("json")).expect("figures");
    serde_json::from_str(&json).expect("an account")
}

/// The seconds for which they were said to agree.
fn agreed_s(account: &Account) -> f64 {
    account.verdicts.iter().filter(|verdict| verdict.word == "agree").map(|verdict| verdict.lasted_s).sum()
}

/// The subjects of that alarm, each time it came.
fn came(account: &Account, alarm: &str) -> Vec<String> {
    account.alarms.iter().filter(|a| a.alarm == alarm).map(|a| a.subject.clone()).collect()
}

#[test]
fn a_flow_that_was_really_measured_is_no_leak_and_freezes_nothing() {
    let flow: Vec<f64> = ask("real_flow.py");
    assert_eq!(flow.len(), VALUES);
    let low = flow.iter().filter(|v| **v < 30.0).count();
    assert!(low > 20, "the spells in which little flows: {low}");
    for seed in 1..=2 {
        let clean = account(&flow, seed, Wrong::Nothing);
        assert_eq!(came(&clean, "witnesses_disagree"), [""; 0], "seed {seed}");
        assert_eq!(came(&clean, "signal_lost"), [""; 0], "seed {seed}");
        assert!(agreed_s(&clean) > AGREED_S, "seed {seed}: {:?}", clean.verdicts);
    }
    let leak = account(&flow, 3, Wrong::Leak(PLANTED_S, 0.05));
    assert_eq!(came(&leak, "witnesses_disagree").len(), 1, "{:?}", leak.verdicts);
    let hangs = account(&flow, 3, Wrong::Hangs(PLANTED_S));
    assert_eq!(came(&hangs, "signal_lost"), ["line meter total"]);
}
