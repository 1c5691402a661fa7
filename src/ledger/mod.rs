//! The ledger: the list of all deliveries of a site, with what their sums and their differences say.
//!
//! ```text
//! recordings -> read (index: what was read before) -> gather -> rows -> choose
//!   -> list, totals, CSV, JSON; drift (a chart for each pair of instruments) -> said, paper (HTML)
//! ```
//! It only reads the recordings, and needs nothing of a running watch.

pub mod chart;
mod choose;
mod drift;
mod gather;
mod index;
mod paper;
mod read;
mod row;
mod said;
mod totals;

pub use choose::Choice;
pub use drift::{Finding, Instrument, Pair, findings, pairs};
pub use read::{LedgerError, NotTaken, Progress, Read, read};
pub use row::{Mass, Row};
pub use said::Said;
pub use totals::{By, Total, totals};

use crate::recording::is_growing;
use jiff::tz::TimeZone;
use serde::Serialize;
use std::path::Path;

/// How far a delivery is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Closed.
    Closed,
    /// It is being recorded now.
    Running,
    /// Its recordings end before it was closed.
    NotClosed,
    /// Rejected before anything moved.
    Rejected,
}

impl State {
    /// Of a row, now.
    #[must_use]
    pub fn of(row: &Row) -> State {
        let grows = || row.recordings.last().is_some_and(|path| is_growing(Path::new(path)));
        match row.is_closed {
            true => State::Closed,
            false if row.rejected.is_some() => State::Rejected,
            false if grows() => State::Running,
            false => State::NotClosed,
        }
    }

    fn words(self) -> &'static str {
        match self {
            State::Closed => "closed",
            State::Running => "running",
            State::NotClosed => "not closed: its recording ends before",
            State::Rejected => "rejected",
        }
    }
}

/// What was asked for, ready to be shown.
#[derive(Debug)]
pub struct Ledger {
    rows: Vec<Row>,
    idle: usize,
    not_taken: Vec<NotTaken>,
    asked: Option<String>,
    pairs: Vec<Pair>,
    findings: Vec<Finding>,
    zone: TimeZone,
}

impl Ledger {
    /// The deliveries that are asked for, and the charts of these.
    #[must_use]
    pub fn new(read: Read, choice: &Choice, zone: TimeZone) -> Ledger {
        let rows: Vec<Row> = read.rows.into_iter().filter(|row| choice.takes(row, &zone)).collect();
        let pairs = pairs(&rows);
        let findings = findings(&pairs);
        let (idle, not_taken, asked) = (read.idle, read.not_taken, choice.words());
        Ledger { rows, idle, not_taken, asked, pairs, findings, zone }
    }

    /// What the charts found, in sentences; changes that last come first.
    #[must_use]
    pub fn said(&self) -> Vec<Said> {
        let said = |finding| said::finding(finding, &self.pairs, &self.rows, &self.zone);
        self.findings.iter().map(said).collect()
    }
}
