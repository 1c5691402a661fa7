//! Words of the form in which the papers of a delivery are typed. In English labels, meanings and examples are the key
//! table's own.

use crate::finding::{Finding, Said};

/// Words that depend on nothing; each field's name says which.
#[derive(Debug)]
pub struct PapersWords {
    /// Title of the page, and of the way to it.
    pub title: &'static str,
    /// What it is for, and what it does not take the place of.
    pub about: &'static str,
    /// Heading of what belongs to no table.
    pub load: &'static str,
    /// Summary of what few papers need.
    pub seldom: &'static str,
    /// Heading of a table of the delivery file; `None`: its name.
    pub table: fn(&str) -> Option<&'static str>,
    /// Label and meaning of a key, by its path in the delivery file; `None`: its name, and what the key table says.
    pub field: fn(&str) -> Option<(&'static str, &'static str)>,
    /// Example of a key, by its path; `None`: what the key table has.
    pub example: fn(&str) -> Option<&'static str>,
    /// A key, by its path in the delivery file, as people find it in the form.
    pub named: fn(&str) -> String,
    /// What is wrong with the key of that path.
    pub said: fn(&str, &Finding) -> Said,
    /// Before what may be written, the nearest known name, and what to do.
    pub notes: [&'static str; 3],
    /// One property of the certificate.
    pub property: &'static str,
    /// Beside a field that must be filled in.
    pub required: &'static str,
    /// Before an example.
    pub such_as: &'static str,
    /// Answers to a question.
    pub yes: &'static str,
    /// Answers to a question.
    pub no: &'static str,
    /// The button.
    pub open: &'static str,
    /// What is typed cannot be taken yet.
    pub faults: &'static str,
    /// It can, but should be looked at first.
    pub warnings: &'static str,
    /// It is open and on record.
    pub opened: &'static str,
    /// A value is too long.
    pub too_long: &'static str,
    /// Without scripts.
    pub needs_script: &'static str,
}

impl PapersWords {
    /// All that is to be said of a key, as a paragraph.
    #[must_use]
    pub fn paragraph(&self, key: &str, finding: &Finding) -> String {
        let Said { what, allowed, act } = (self.said)(key, finding);
        let notes = self.notes.into_iter().zip([&*allowed, finding.nearest().unwrap_or_default(), &*act]);
        let notes = notes.filter(|(_, note)| !note.is_empty()).map(|(name, note)| format!("; {name}: {note}"));
        format!("{}: {what}{}", (self.named)(key), notes.collect::<String>())
    }
}

/// In English.
pub static ENGLISH: PapersWords = PapersWords {
    title: "Open a delivery",
    about: "What the papers of one load say, typed when the trailer has arrived. Write a number, a space and a unit, as \
            printed. Plate values are read off this trailer's own plate, never copied. What is left empty is a check that \
            is not yet met. Nothing may be connected before the checks are made; local codes come first.",
    load: "Load",
    seldom: "Only where the papers say so: legs, density, another line",
    table: |_| None,
    field: |_| None,
    example: |_| None,
    named: str::to_owned,
    said: |_, finding| finding.english(),
    notes: ["allowed", "nearest", "what to do"],
    property: "Property",
    required: "must be there",
    such_as: "such as",
    yes: "yes",
    no: "no",
    open: "Open the delivery",
    faults: "Not opened; nothing was changed and nothing typed is lost. Put right:",
    warnings: "Not opened yet. Look at this first; where it is so, press once more:",
    opened: "The delivery is open and on record. Its checks are on the bay's page.",
    too_long: "is too long: 300 letters at the most; shorten it",
    needs_script: "This form sends what is typed by a script of this page, as every entry here. Without it, write the \
                   papers into a file: brimwatch open SITE --delivery FILE --who NAME",
};
