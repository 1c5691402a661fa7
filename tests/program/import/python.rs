//! The same history written by Python in other ways: another zone through the hour that repeats, a decimal comma,
//! semicolons, tabs, gzip, counts of milliseconds.

use super::{Desk, read, simulated, told, venv};
use std::process::Command;

const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/program/import/written.py");

/// Each file as the script writes it, and how its map differs.
const WRITTEN: [(&str, &str, &str); 4] = [
    (
        "berlin.csv",
        "separator = \"semicolon\"\ndecimal = \"comma\"",
        "columns = [\"Datum\", \"Zeit\"]\nformat = \"%d.%m.%Y %H:%M:%S\"\nzone = \"Europe/Berlin\"",
    ),
    ("kathmandu.csv.gz", "", "columns = [\"When\"]\nformat = \"rfc3339\""),
    ("epoch.tsv", "separator = \"tab\"", "columns = [\"ms\"]\nformat = \"epoch_ms\""),
    ("chicago.csv", "", "columns = [\"When\"]\nformat = \"%m/%d/%Y %I:%M:%S %p\"\nzone = \"America/Chicago\""),
];

#[test]
fn the_same_history_by_other_hands_gives_the_same_readings() {
    let desk = Desk::new();
    let settings = &desk.site.bays[desk.delivery.bay].settings;
    let history = simulated::transfer(settings, &desk.delivery.setup, 7);
    desk.write("plain.csv", history.csv(true));
    desk.write("map.toml", history.map("", "columns = [\"When\"]\nformat = \"rfc3339\""));
    let (_, out) = desk.import("plain.csv", "map.toml", "plain.brim");
    let plain = told(read(&out).0);
    assert!(plain.len() > 10_000, "{}", plain.len());
    let mut script = Command::new(venv::python());
    let output =
        script.arg(SCRIPT).arg(desk.path("plain.csv")).arg(desk.path("")).output().expect("a Python that starts");
    assert!(output.status.success(), "{}", super::said(&output));
    for (file, head, time) in WRITTEN {
        desk.write("map.toml", history.map(head, time));
        let (_, out) = desk.import(file, "map.toml", &format!("{file}.brim"));
        let other = told(read(&out).0);
        assert_eq!(other.len(), plain.len(), "{file}");
        for (other, plain) in other.iter().zip(&plain) {
            assert_eq!(other, plain, "{file}");
        }
        println!("{file}: {} inputs, all the same", other.len());
    }
}
