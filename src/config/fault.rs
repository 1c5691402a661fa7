//! Mistakes in written files, all of them at once, each with its line and what to do about it; and what is allowed
//! but should be known (warnings).

use crate::finding::Finding;
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use serde::{Serialize, Serializer};
use std::collections::BTreeSet;
use std::fmt;
use std::ops::Range;

/// More faults than this are counted, not shown: a file of another kind would bury the terminal.
pub const SHOWN_MOST: usize = 60;
/// Said where some checks could not be made.
pub const CUT_SHORT: &str = "where a text is no TOML, some checks wait until it is: there may be more";
/// Columns of a terminal that nobody has widened.
pub const COLUMNS: usize = 80;
/// Columns of a title behind "warning: ".
const TITLE_COLUMNS: usize = COLUMNS - 9;
/// Columns of a text beside what stands before it: the longest is "   = what to do: ".
const TEXT_COLUMNS: usize = COLUMNS - 20;
/// Longest text of a finding, bytes: a value may be a megabyte.
const TEXT_MOST: usize = 1000;
/// Most of a line that is shown, bytes on either side of where the mark begins.
const BESIDE_MARK_MOST: usize = 60;

/// A place in one of the files that are read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Spot {
    /// Index into the draft's files.
    pub file: usize,
    /// Bytes of its text; `None`: the file as a whole.
    pub span: Option<Range<usize>>,
}

/// A text with the name people know it by.
#[derive(Debug, Clone)]
struct Text {
    shown: String,
    text: String,
    /// First byte of each line.
    lines: Vec<usize>,
}

impl Text {
    /// Line number (from 1) of a byte, and the byte its line starts at.
    fn line_of(&self, byte: usize) -> (usize, usize) {
        let line = self.lines.partition_point(|&start| start <= byte).max(1);
        (line, self.lines[line - 1])
    }

    /// The first line of the span and the bytes of it that are meant: a table may run over hundreds of lines.
    fn excerpt(&self, span: &Range<usize>) -> Excerpt {
        let (_, start) = self.line_of(span.start);
        let source = self.text[start..].split('\n').next().unwrap_or_default().trim_end_matches('\r');
        let from = span.start.min(self.text.len()).saturating_sub(start).min(source.len());
        let to = span.end.saturating_sub(start).clamp(from, source.len());
        let first = source.floor_char_boundary(from.saturating_sub(BESIDE_MARK_MOST));
        let last = source.floor_char_boundary((from + BESIDE_MARK_MOST).min(source.len()));
        // A line of no length takes the mark at its end.
        Excerpt { source: source[first..last].to_owned(), skipped: first, mark: from - first..to.min(last) - first }
    }
}

/// A line of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Excerpt {
    source: String,
    /// Bytes of the line before it that are left out.
    skipped: usize,
    /// Bytes of it that are meant.
    mark: Range<usize>,
}

/// How much a finding weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// With it nothing is started.
    Fault,
    /// Allowed, but said.
    Warning,
}

/// One mistake, or something that is allowed but should be known. Its `Display` is what people read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fault {
    /// Whether it stops a start.
    pub severity: Severity,
    /// File as it was asked for.
    pub file: String,
    /// Line, from 1; `None` where the file as a whole is meant.
    pub line: Option<usize>,
    /// Path of the key, e.g. `bay.limits.pad_maximum`; empty for a mistake of syntax.
    pub key: String,
    /// What is wrong, with the value where there is one.
    pub what: String,
    /// What may be written instead.
    pub allowed: Option<String>,
    /// The known key or name nearest to what was written.
    pub nearest: Option<String>,
    /// What to do.
    pub act: Option<String>,
    /// The line it is on, as far as it is shown.
    #[serde(rename = "source", serialize_with = "source_alone")]
    excerpt: Option<Excerpt>,
    /// The same as data, for readers of other languages; `None`: it is only ever said in English.
    #[serde(skip)]
    pub finding: Option<Finding>,
    #[serde(skip)]
    spot: Spot,
}

fn source_alone<S: Serializer>(excerpt: &Option<Excerpt>, to: S) -> Result<S::Ok, S::Error> {
    excerpt.as_ref().map(|excerpt| &excerpt.source).serialize(to)
}

impl Fault {
    /// What a sound file leads to, though nothing in it is wrong by itself.
    #[must_use]
    pub fn warning(file: &str, key: &str, what: impl Into<String>, act: impl Into<String>) -> Fault {
        Fault {
            severity: Severity::Warning,
            file: file.to_owned(),
            line: None,
            key: key.to_owned(),
            what: what.into(),
            allowed: None,
            nearest: None,
            act: Some(act.into()),
            excerpt: None,
            finding: None,
            spot: Spot { file: usize::MAX, span: None },
        }
    }

    /// Says what may be written.
    pub(super) fn allowed(&mut self, allowed: impl Into<String>) -> &mut Self {
        self.allowed = Some(bounded(allowed.into()));
        self
    }

    /// Says what comes nearest.
    pub(super) fn nearest(&mut self, nearest: Option<&str>) -> &mut Self {
        self.nearest = nearest.map(str::to_owned);
        self
    }

    /// Keeps it as data, and says the rest of it.
    fn found(&mut self, finding: Finding) {
        let said = finding.english();
        self.allowed = (!said.allowed.is_empty()).then(|| bounded(said.allowed));
        self.nearest = finding.nearest().map(str::to_owned);
        self.act = Some(said.act);
        self.finding = Some(finding);
    }

    /// Says what to do.
    pub(super) fn act(&mut self, act: impl Into<String>) -> &mut Self {
        self.act = Some(act.into());
        self
    }
}

/// The files that are read and the faults found so far.
#[derive(Debug, Default)]
pub(super) struct Draft {
    texts: Vec<Text>,
    faults: Vec<Fault>,
    /// File and line of each fault.
    faulty: BTreeSet<(usize, usize)>,
}

impl Draft {
    /// Takes a file's text in; gives its index.
    pub fn open(&mut self, shown: impl Into<String>, text: impl Into<String>) -> usize {
        let text = text.into();
        let lines = std::iter::once(0).chain(text.match_indices('\n').map(|(i, _)| i + 1)).collect();
        self.texts.push(Text { shown: shown.into(), text, lines });
        self.texts.len() - 1
    }

    /// The text of a file.
    pub fn text(&self, file: usize) -> &str {
        &self.texts[file].text
    }

    /// Notes a fault; the answer takes range, nearest name and advice.
    pub fn fault(&mut self, spot: &Spot, key: impl Into<String>, what: impl Into<String>) -> &mut Fault {
        self.faulty.extend(self.line(spot).map(|line| (spot.file, line)));
        self.note(Severity::Fault, spot, key.into(), what.into())
    }

    /// Notes what is allowed but should be known; the answer takes the same.
    pub fn warn(&mut self, spot: &Spot, key: impl Into<String>, what: impl Into<String>) -> &mut Fault {
        self.note(Severity::Warning, spot, key.into(), what.into())
    }

    /// Notes a fault that can be said in any language.
    pub fn finding(&mut self, spot: &Spot, key: impl Into<String>, finding: impl Into<Finding>) {
        let finding = finding.into();
        self.fault(spot, key, finding.english().what).found(finding);
    }

    /// Notes what is allowed but should be known, and can be said in any language.
    pub fn hint(&mut self, spot: &Spot, key: impl Into<String>, finding: impl Into<Finding>) {
        let finding = finding.into();
        self.warn(spot, key, finding.english().what).found(finding);
    }

    fn note(&mut self, severity: Severity, spot: &Spot, key: String, what: String) -> &mut Fault {
        let text = &self.texts[spot.file];
        self.faults.push(Fault {
            severity,
            file: text.shown.clone(),
            line: self.line(spot),
            key: bounded(key),
            what: bounded(what),
            allowed: None,
            nearest: None,
            act: None,
            excerpt: spot.span.as_ref().map(|span| text.excerpt(span)),
            finding: None,
            spot: spot.clone(),
        });
        self.faults.last_mut().expect("just pushed")
    }

    /// Whether no fault has been found; warnings may have been.
    pub fn is_clean(&self) -> bool {
        self.faults.iter().all(|f| f.severity == Severity::Warning)
    }

    /// Whether a text is no TOML.
    pub fn has_syntax_fault(&self) -> bool {
        self.faults.iter().any(|f| f.key.is_empty())
    }

    /// Whether a fault has been noted on the line of `spot`.
    pub fn has_fault_at(&self, spot: &Spot) -> bool {
        self.line(spot).is_some_and(|line| self.faulty.contains(&(spot.file, line)))
    }

    fn line(&self, spot: &Spot) -> Option<usize> {
        spot.span.as_ref().map(|span| self.texts[spot.file].line_of(span.start).0)
    }

    /// What was found.
    pub fn finish(mut self) -> Faults {
        let (warnings, list) = self.found().into_iter().partition(|f| f.severity == Severity::Warning);
        Faults { list, warnings }
    }

    /// Takes out what was found, in the order of files and lines; of a clean draft these are its warnings.
    pub fn found(&mut self) -> Vec<Fault> {
        let mut found = std::mem::take(&mut self.faults);
        found.sort_by_key(|f| (f.spot.file, f.spot.span.as_ref().map(|s| s.start)));
        found
    }
}

/// Everything found wrong with a site or delivery file and the files it names. Its `Display` is what people
/// read: each fault with its line, a mark, the allowed range, the nearest known key and what to do; then warnings.
#[derive(Debug, Clone)]
pub struct Faults {
    list: Vec<Fault>,
    warnings: Vec<Fault>,
}

impl Faults {
    /// The faults, in the order of files and lines; never empty.
    #[must_use]
    pub fn list(&self) -> &[Fault] {
        &self.list
    }

    /// What would be allowed but should be known, in the same order.
    #[must_use]
    pub fn warnings(&self) -> &[Fault] {
        &self.warnings
    }

    /// Whether a text is no TOML, so that some checks wait until it is.
    #[must_use]
    pub fn is_cut_short(&self) -> bool {
        self.list.iter().any(|fault| fault.key.is_empty() && fault.line.is_some())
    }
}

impl std::error::Error for Faults {}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let found = self.list.len() + self.warnings.len();
        for fault in self.list.iter().chain(&self.warnings).take(SHOWN_MOST) {
            writeln!(f, "{fault}\n")?;
        }
        if found > SHOWN_MOST {
            writeln!(f, "... and {} more\n", found - SHOWN_MOST)?;
        }
        if self.is_cut_short() {
            writeln!(f, "{CUT_SHORT}\n")?;
        }
        let count = self.list.len();
        write!(f, "{count} {} found; nothing was started", if count == 1 { "fault" } else { "faults" })
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let key = if self.key.is_empty() { String::new() } else { format!("{}: ", self.key) };
        let level = match self.severity {
            Severity::Fault => Level::ERROR.with_name("fault"),
            Severity::Warning => Level::WARNING,
        };
        let title = level.primary_title(wrapped(&format!("{key}{}", self.what), TITLE_COLUMNS));
        let notes = [("allowed", &self.allowed), ("nearest", &self.nearest), ("what to do", &self.act)];
        let notes = notes.into_iter().filter_map(|(name, note)| {
            Some(Level::NOTE.with_name(name).message(wrapped(note.as_deref()?, TEXT_COLUMNS)))
        });
        let group = match &self.excerpt {
            Some(excerpt) => {
                let (before, more) = if excerpt.skipped > 0 { ("... ", 4) } else { ("", 0) };
                let mark = excerpt.mark.start + more..excerpt.mark.end + more;
                title.element(
                    Snippet::source(format!("{before}{}", excerpt.source))
                        .path(self.file.clone())
                        .line_start(self.line.unwrap_or(1))
                        .annotation(AnnotationKind::Primary.span(mark)),
                )
            }
            None => title.element(annotate_snippets::Origin::path(self.file.clone())),
        };
        f.write_str(&Renderer::plain().term_width(COLUMNS).render(&[group.elements(notes)]))
    }
}

/// A text no longer than is shown.
fn bounded(mut text: String) -> String {
    if text.len() > TEXT_MOST {
        text.truncate(text.floor_char_boundary(TEXT_MOST));
        text.push_str(" ...");
    }
    text
}

/// A text in lines of at most so many columns, broken between words; a longer word is broken within.
#[must_use]
pub fn wrapped(text: &str, columns: usize) -> String {
    let mut lines = vec![String::new()];
    let mut width = 0;
    for word in text.split(' ') {
        let mut letters = word.chars().peekable();
        let long = word.chars().count();
        if width > 0 && width + 1 + long > columns {
            lines.push(String::new());
            width = 0;
        } else if width > 0 {
            lines.last_mut().expect("one at least").push(' ');
            width += 1;
        }
        while letters.peek().is_some() {
            if width == columns {
                lines.push(String::new());
                width = 0;
            }
            let part: String = letters.by_ref().take(columns - width).collect();
            width += part.chars().count();
            lines.last_mut().expect("one at least").push_str(&part);
        }
    }
    lines.join("\n")
}

/// The candidate nearest to what was written, where one is near enough to be meant.
pub(crate) fn nearest<'a>(written: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // Jaro-Winkler favours a common beginning: people shorten words more often than they garble them.
    const NEAR_ENOUGH: f64 = 0.8;
    let plain = |s: &str| s.to_lowercase().replace(['-', ' '], "_");
    let written = plain(written);
    candidates
        .into_iter()
        .map(|c| (strsim::jaro_winkler(&written, &plain(c)), c))
        .filter(|(likeness, _)| *likeness >= NEAR_ENOUGH)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, c)| c)
}
