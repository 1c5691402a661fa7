//! A history larger than the memory that there is.

use super::Desk;
use super::made::{MAP, Made, OTHER};
use brimwatch::config::Columns;
use brimwatch::recording::compare;
use brimwatch::recording::import::{Plan, import};
use std::path::Path;
use std::process::Command;

const CHILD: &str = "BRIMWATCH_TEST_IMPORT_ROWS";

/// Run by the test below in a process of its own, under its limit; by itself a small history.
#[test]
fn a_made_history_is_imported() {
    let rows = std::env::var(CHILD).map_or(400_000, |rows| rows.parse().expect("a count"));
    let desk = Desk::new();
    let bay = &desk.site.bays[desk.delivery.bay];
    let columns =
        Columns::from_text(Path::new("map.toml"), MAP.into(), bay).unwrap_or_else(|faults| panic!("{faults}"));
    let out = desk.path("o.brim");
    let plan = Plan { bay, texts: &desk.site.texts, delivery: Some(&desk.delivery), columns: &columns, out: &out };
    let report = import(&plan, &Made { rows }, &mut |_| true).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!((report.origin.rows, report.counts.rows), (rows, 601));
    assert!(report.origin.bytes > rows * OTHER as u64);
    assert!(compare::compare(&out).expect("a recording").is_same());
    println!("{} MB passed through", report.origin.bytes >> 20);
}

/// Held back by a limit of 160 MB of address space, twice read: 1 GB could not be held anywhere.
#[test]
fn memory_does_not_grow_with_the_history() {
    let program = std::env::current_exe().expect("this program");
    let limited = "ulimit -v 160000 && exec \"$0\" \"$@\"";
    let output = Command::new("sh")
        .args(["-c", limited])
        .arg(program)
        .args(["--exact", "import::stream::a_made_history_is_imported", "--test-threads", "1", "--nocapture"])
        // One arena: each reserves 64 MB of addresses, whether or not it uses them (mallopt(3), M_ARENA_MAX).
        .env("MALLOC_ARENA_MAX", "1")
        .env(CHILD, "1000000")
        .output()
        .expect("a process");
    let said = String::from_utf8_lossy(&output.stdout).into_owned() + &super::said(&output);
    assert!(output.status.success() && said.contains("MB passed through"), "{said}");
    println!("{}", said.lines().find(|line| line.contains("MB")).unwrap_or_default());
}
