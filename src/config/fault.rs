//! Mistakes in written files, all of them at once, each with its line and what to do about it; and what is allowed
//! but should be known (warnings).

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use std::collections::BTreeSet;
use std::fmt;
use std::ops::Range;

/// More faults than this are counted, not shown: a file of another kind would bury the terminal.
const SHOWN_MOST: usize = 60;

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
        Excerpt { source: source.to_owned(), mark: from..to }
    }
}

/// A line of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Excerpt {
    source: String,
    /// Bytes of it that are meant.
    mark: Range<usize>,
}

/// How much a finding weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// With it nothing is started.
    Fault,
    /// Allowed, but said.
    Warning,
}

/// One mistake, or something that is allowed but should be known. Its `Display` is what people read.
#[derive(Debug, Clone, PartialEq, Eq)]
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
    excerpt: Option<Excerpt>,
    spot: Spot,
}

impl Fault {
    /// Says what may be written.
    pub(super) fn allowed(&mut self, allowed: impl Into<String>) -> &mut Self {
        self.allowed = Some(allowed.into());
        self
    }

    /// Says what comes nearest.
    pub(super) fn nearest(&mut self, nearest: Option<&str>) -> &mut Self {
        self.nearest = nearest.map(str::to_owned);
        self
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

    fn note(&mut self, severity: Severity, spot: &Spot, key: String, what: String) -> &mut Fault {
        let text = &self.texts[spot.file];
        self.faults.push(Fault {
            severity,
            file: text.shown.clone(),
            line: self.line(spot),
            key,
            what,
            allowed: None,
            nearest: None,
            act: None,
            excerpt: spot.span.as_ref().map(|span| text.excerpt(span)),
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
        if self.list.iter().any(|fault| fault.key.is_empty() && fault.line.is_some()) {
            writeln!(f, "where a text is no TOML, some checks wait until it is: there may be more\n")?;
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
        let title = level.primary_title(format!("{key}{}", self.what));
        let notes = [("allowed", &self.allowed), ("nearest", &self.nearest), ("what to do", &self.act)];
        let notes = notes
            .into_iter()
            .filter_map(|(name, note)| Some(Level::NOTE.with_name(name).message(note.as_deref()?.to_owned())));
        let group = match &self.excerpt {
            Some(excerpt) => title.element(
                Snippet::source(excerpt.source.clone())
                    .path(self.file.clone())
                    .line_start(self.line.unwrap_or(1))
                    .annotation(AnnotationKind::Primary.span(excerpt.mark.clone())),
            ),
            None => title.element(annotate_snippets::Origin::path(self.file.clone())),
        };
        f.write_str(&Renderer::plain().render(&[group.elements(notes)]))
    }
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
