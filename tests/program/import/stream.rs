//! A history larger than the memory that there is.

use super::Desk;
use brimwatch::config::Columns;
use brimwatch::recording::compare;
use brimwatch::recording::import::{Plan, Source, import};
use std::io::{self, Read};
use std::path::Path;
use std::process::Command;

/// Rows of one second each, made while they are read: wide, as where a whole plant is exported at once.
struct Made {
    rows: u64,
}

/// Columns that nothing reads, bytes.
const OTHER: usize = 980;

impl Source for Made {
    fn name(&self) -> String {
        "made.csv".into()
    }

    fn bytes(&self) -> u64 {
        0
    }

    fn open(&self) -> io::Result<Box<dyn Read>> {
        let other = "3.14159,".repeat(OTHER / 8);
        let head = format!("t,kg,step,{}\n", "x,".repeat(OTHER / 8));
        Ok(Box::new(Making { rows: self.rows, row: 0, other, line: head.into_bytes(), given: 0 }))
    }
}

struct Making {
    rows: u64,
    row: u64,
    other: String,
    line: Vec<u8>,
    given: usize,
}

impl Read for Making {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.given == self.line.len() {
            if self.row == self.rows {
                return Ok(0);
            }
            let step = if self.row % 86_400 < 40_000 { "WAIT" } else { "UNLOAD" };
            self.line = format!("{},{},{step},{}\n", self.row, 1000 + self.row % 7, self.other).into_bytes();
            (self.row, self.given) = (self.row + 1, 0);
        }
        let n = buffer.len().min(self.line.len() - self.given);
        buffer[..n].copy_from_slice(&self.line[self.given..self.given + n]);
        self.given += n;
        Ok(n)
    }
}

/// One minute of a transfer out of all rows.
const MAP: &str = "
from = \"1970-01-05T12:00:00Z\"
to = \"1970-01-05T12:10:00Z\"
[time]
columns = [\"t\"]
format = \"epoch_s\"
[phase]
column = \"step\"
transfer = [\"UNLOAD\"]
[[signal]]
signal = \"truck scale\"
column = \"kg\"
unit = \"kg\"
";

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
