//! Mistakes in written files, all of them at once, each with its line and what to do about it.

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
}

/// One mistake.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
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
        let line = self.line(spot);
        self.faulty.extend(line.map(|line| (spot.file, line)));
        self.faults.push(Fault {
            file: self.texts[spot.file].shown.clone(),
            line,
            key: key.into(),
            what: what.into(),
            allowed: None,
            nearest: None,
            act: None,
            spot: spot.clone(),
        });
        self.faults.last_mut().expect("just pushed")
    }

    /// Whether nothing has been found.
    pub fn is_clean(&self) -> bool {
        self.faults.is_empty()
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

    /// What was found, in the order of files and lines.
    pub fn finish(mut self) -> Faults {
        self.faults.sort_by_key(|f| (f.spot.file, f.spot.span.as_ref().map(|s| s.start)));
        Faults { texts: self.texts, list: self.faults }
    }
}

/// Everything found wrong with a site or delivery file and the files it names. Its `Display` is what people
/// read: each fault with its line, a mark, the allowed range, the nearest known key and what to do.
#[derive(Debug, Clone)]
pub struct Faults {
    texts: Vec<Text>,
    list: Vec<Fault>,
}

impl Faults {
    /// The faults, in the order of files and lines; never empty.
    #[must_use]
    pub fn list(&self) -> &[Fault] {
        &self.list
    }
}

impl std::error::Error for Faults {}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for fault in self.list.iter().take(SHOWN_MOST) {
            writeln!(f, "{}\n", render(fault, &self.texts[fault.spot.file]))?;
        }
        if self.list.len() > SHOWN_MOST {
            writeln!(f, "... and {} more\n", self.list.len() - SHOWN_MOST)?;
        }
        if self.list.iter().any(|fault| fault.key.is_empty() && fault.line.is_some()) {
            writeln!(f, "where a text is no TOML, some checks wait until it is: there may be more\n")?;
        }
        let count = self.list.len();
        write!(f, "{count} {} found; nothing was started", if count == 1 { "fault" } else { "faults" })
    }
}

/// One fault with its line and mark.
fn render(fault: &Fault, file: &Text) -> String {
    let key = if fault.key.is_empty() { String::new() } else { format!("{}: ", fault.key) };
    let title = Level::ERROR.with_name("fault").primary_title(format!("{key}{}", fault.what));
    let notes = [("allowed", &fault.allowed), ("nearest", &fault.nearest), ("what to do", &fault.act)];
    let notes = notes
        .into_iter()
        .filter_map(|(name, note)| Some(Level::NOTE.with_name(name).message(note.as_deref()?.to_owned())));
    let group = match &fault.spot.span {
        Some(span) => {
            let (line, start) = file.line_of(span.start);
            // Only the first line of the spot is shown: a table may run over hundreds.
            let source = file.text[start..].split('\n').next().unwrap_or_default().trim_end_matches('\r');
            let from = span.start.min(file.text.len()).saturating_sub(start).min(source.len());
            let to = span.end.saturating_sub(start).clamp(from, source.len());
            title.element(
                Snippet::source(source.to_owned())
                    .path(file.shown.clone())
                    .line_start(line)
                    .annotation(AnnotationKind::Primary.span(from..to)),
            )
        }
        None => title.element(annotate_snippets::Origin::path(file.shown.clone())),
    };
    Renderer::plain().render(&[group.elements(notes)])
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
