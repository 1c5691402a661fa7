//! Words of the page that depend on nothing but the language: charts, the far view, all bays.

use crate::engine::alarm::catalogue;
use crate::engine::input::AlarmId;

/// Words of one language; each field's name says which.
#[derive(Debug)]
#[expect(missing_docs, reason = "the names are the documentation")]
pub struct PageWords {
    /// So many alarms are open, so many of them not seen.
    pub alarms_open: fn(open: usize, unseen: usize) -> String,
    pub at_valve: &'static str,
    pub first_gas: &'static str,
    pub planned: &'static str,
    pub started: &'static str,
    pub closed: &'static str,
    pub new_zero: &'static str,
    pub blind: &'static str,
    /// An alarm in two or three words.
    pub alarm: fn(AlarmId) -> String,
    /// Title of the look back.
    pub look_back: &'static str,
    pub earlier: &'static str,
    pub later: &'static str,
    pub closer: &'static str,
    pub wider: &'static str,
    pub whole: &'static str,
    /// Nothing is kept yet.
    pub nothing_kept: &'static str,
    /// Heading of the times in the table of a look back.
    pub time: &'static str,
    /// The table of a look back.
    pub in_figures: &'static str,
    /// What happened in the stretch shown.
    pub happened: &'static str,
}

/// English.
pub(super) static ENGLISH: PageWords = PageWords {
    alarms_open: |open, unseen| match unseen {
        0 => format!("{open} alarms open, all seen."),
        n => format!("{open} alarms open, {n} not seen."),
    },
    at_valve: "be at the valve",
    first_gas: "first gas",
    planned: "planned amount",
    started: "transfer started",
    closed: "closed",
    new_zero: "new zero of the scale",
    blind: "blind",
    alarm: |id| catalogue::of(id).name.replace('_', " "),
    look_back: "How it went so far",
    earlier: "Earlier",
    later: "Later",
    closer: "Closer",
    wider: "Wider",
    whole: "Whole delivery",
    nothing_kept: "Nothing is kept yet: no delivery was open since the program started.",
    time: "time",
    in_figures: "The same in figures",
    happened: "What happened",
};
