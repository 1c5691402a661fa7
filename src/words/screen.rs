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
    /// Usual pad pressure.
    pub usual: &'static str,
    /// Hint beside the plot of the masses.
    pub tap: &'static str,
    /// Title of the account of the masses.
    pub account: &'static str,
    pub share: &'static str,
    pub expanded: &'static str,
    pub residual: &'static str,
    /// The combined mass, as a heading.
    pub combined: &'static str,
    /// Why no budget of it is shown.
    pub combined_widened: &'static str,
    /// What each mass counts in it.
    pub weights: &'static str,
    pub weight_below_nothing: &'static str,
    pub readings: &'static str,
    /// Signal, value, age, device, register, raw words, request to reply.
    pub reading_columns: [&'static str; 7],
    pub function: &'static str,
    pub address: &'static str,
    /// The acts for the far view, in their order: stop, by what, gas, clear, upwind.
    pub far_acts: [&'static str; 5],
    pub far_pad: &'static str,
    pub far_agree: &'static str,
    /// The way to the far view, and back.
    pub far: &'static str,
    pub near: &'static str,
    /// The emergency card.
    pub card: &'static str,
    /// Label of a line of the card, by its key in the site file.
    pub card_line: fn(key: &str) -> &'static str,
    /// A line of the card that the site file lacks.
    pub card_empty: &'static str,
    /// What the card is not.
    pub card_caution: &'static str,
    /// A bay of which nothing is known.
    pub no_word: &'static str,
    /// Label of the choice of looks, and the looks: as the browser has it, dark, bright sun.
    pub look: &'static str,
    pub looks: [&'static str; 3],
    /// Label of the choice of language.
    pub language: &'static str,
    /// Label of the choice of units, and the choices in the order of `Measures::NAMES`.
    pub units: &'static str,
    pub measures: [&'static str; 3],
    /// Before whoever has reviewed the texts that say how to keep from harm; that nobody has.
    pub reviewed_by: &'static str,
    pub not_reviewed: &'static str,
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
    usual: "usual",
    tap: "tap for where they come from",
    account: "Where the masses come from",
    share: "share of u\u{b2}",
    expanded: "expanded uncertainty, k = 2 (about 95 %)",
    residual: "off the combined mass by",
    combined: "All together",
    combined_widened: "Wider than its sources: one of the masses is in doubt, and what it may be off by is in it.",
    weights: "What each of them counts in it",
    weight_below_nothing: "A weight below nothing is no mistake: two share an error, and the worse one takes it out of the better.",
    readings: "readings",
    reading_columns: ["signal", "value", "age", "device", "register", "raw words", "reply p50 / p99 / max"],
    function: "function",
    address: "address",
    far_acts: ["Stop:", "emergency stop or remote valve.", "Shut the gas.", "Keep clear", "and upwind."],
    far_pad: "Pad pressure",
    far_agree: "Instruments agree within",
    far: "Far view",
    near: "Whole page",
    card: "Emergency card",
    card_line: |key| match key {
        "call" => "Call",
        "stop" => "Emergency stop, remote valve",
        "gas" => "Shut the gas",
        "shower" => "Safety shower",
        "eyewash" => "Eyewash",
        "way_out" => "Way out, meeting point",
        _ => "First aid",
    },
    card_empty: "not filled in: ask before you connect anything",
    card_caution: "As the site file has it. The works' own emergency plan and those in charge come first.",
    no_word: "Nothing is known of this bay yet.",
    look: "Look",
    looks: ["as the browser has it", "dark", "bright sun"],
    language: "Language",
    units: "Units",
    reviewed_by: "Safety texts reviewed by",
    not_reviewed: "Safety texts: not reviewed.",
    measures: ["SI: kg, m, kPa, C", "SI: kg, m, bar, C", "US: lb, ft, psi, F"],
};
