//! `brimwatch check`: everything wrong with a site file at once, and what a sound one leads to.
//!
//! Starts nothing and asks no device. What the files do not give is said, not assumed.

pub mod answers;
pub mod gas;
pub mod load;
mod papers;
pub mod recorded;
mod text;

use crate::config::{self, COLUMNS, CUT_SHORT, Fault, Faults, SHOWN_MOST, wrapped};
use crate::time::WallTime;
use answers::Answers;
pub use papers::PaperCheck;
use serde::Serialize;
use std::fmt;
use std::path::{Path, PathBuf};

/// What was found, and what follows. Its `Display` fits [`COLUMNS`]; [`Checked::json`] says the same.
#[derive(Debug, Clone, Serialize)]
pub struct Checked {
    /// Site file as it was asked for.
    pub site: PathBuf,
    /// Delivery file, where one was.
    pub delivery: Option<PathBuf>,
    /// With one of these nothing would be started.
    pub faults: Vec<Fault>,
    /// Allowed, but said.
    pub warnings: Vec<Fault>,
    /// There are more faults or warnings than are listed.
    pub unlisted: usize,
    /// A text is no TOML, and some checks wait until it is.
    pub more_may_follow: bool,
    /// What follows from a sound site file.
    pub answers: Option<Answers>,
    /// The checks of the delivery, as far as files can answer them.
    pub checks: Vec<PaperCheck>,
}

/// Checks a site file, the files it names and a delivery file. `free_bytes` tells what is free on the disk of a folder,
/// `now` what the wall clock says: a test of a shut-off grows old.
#[must_use]
pub fn check(
    site: &Path,
    delivery: Option<&Path>,
    free_bytes: impl Fn(&Path) -> Option<u64>,
    now: WallTime,
) -> Checked {
    let mut checked = Checked {
        site: site.to_owned(),
        delivery: delivery.map(Path::to_owned),
        faults: Vec::new(),
        warnings: Vec::new(),
        unlisted: 0,
        more_may_follow: false,
        answers: None,
        checks: Vec::new(),
    };
    if let Some(site) = checked.taken(config::load(site)) {
        checked.warnings.extend(site.warnings.iter().cloned());
        let delivery = delivery.and_then(|path| checked.taken(config::load_delivery(path, &site)));
        if let Some(delivery) = &delivery {
            checked.warnings.extend(delivery.warnings.iter().cloned());
            checked.checks = papers::checks(&site, delivery, now);
        }
        let answers = answers::answers(&site, delivery.as_ref(), free_bytes(&site.store));
        checked.warnings.extend(answers.warnings(&site.path.display().to_string()));
        checked.answers = Some(answers);
    } else if let Some(path) = delivery {
        checked.taken(config::check_delivery_alone(path));
    }
    checked.bound();
    checked
}

impl Checked {
    /// Whether a watch would start with these files.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.faults.is_empty()
    }

    /// The same as one JSON object; docs/interface.md lists its keys.
    #[must_use]
    pub fn json(&self) -> String {
        serde_json::to_string_pretty(self).expect("text keys, and numbers that are finite or null")
    }

    /// What a file gave; its faults are kept.
    fn taken<T>(&mut self, found: Result<T, Faults>) -> Option<T> {
        match found {
            Ok(sound) => Some(sound),
            Err(faults) => {
                self.more_may_follow |= faults.is_cut_short();
                self.faults.extend(faults.list().iter().cloned());
                self.warnings.extend(faults.warnings().iter().cloned());
                None
            }
        }
    }

    /// A file of another kind brings thousands: so many are listed, the others counted.
    fn bound(&mut self) {
        let found = self.faults.len() + self.warnings.len();
        self.faults.truncate(SHOWN_MOST);
        self.warnings.truncate(SHOWN_MOST - self.faults.len());
        self.unlisted = found - self.faults.len() - self.warnings.len();
    }
}

impl fmt::Display for Checked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(answers) = &self.answers {
            writeln!(f, "{answers}")?;
        }
        if !self.checks.is_empty() {
            writeln!(f, "{}", papers::lines(&self.checks))?;
        }
        for found in self.faults.iter().chain(&self.warnings) {
            writeln!(f, "{found}\n")?;
        }
        if self.unlisted > 0 {
            writeln!(f, "... and {} more\n", self.unlisted)?;
        }
        if self.more_may_follow {
            writeln!(f, "{}\n", wrapped(CUT_SHORT, COLUMNS))?;
        }
        let count = |n: usize, one: &str| format!("{n} {one}{}", if n == 1 { "" } else { "s" });
        let (faults, warnings) = (count(self.faults.len(), "fault"), count(self.warnings.len(), "warning"));
        let starts = if self.is_sound() { "a watch would start" } else { "a watch would not start" };
        write!(f, "{faults}, {warnings}: {starts}")
    }
}
