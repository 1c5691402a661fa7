//! Where each row holds one value, a name that is misspelt in the map would be missed in silence: the first reading looks
//! for them all.

use super::error::ImportError;
use super::rows::Reader;
use super::table::Table;
use crate::config::nearest;
use std::collections::BTreeSet;

/// Most other names that are kept for the hint.
const OTHERS_MOST: usize = 1000;

/// The names that the map wants, and those that the history has.
pub struct Names {
    column: usize,
    missing: BTreeSet<String>,
    others: BTreeSet<String>,
}

impl Names {
    /// `None` where a row holds more than one value.
    pub fn new(reader: &Reader<'_>) -> Option<Names> {
        let (column, wanted) = reader.names()?;
        Some(Names { column, missing: wanted.into_iter().map(str::to_owned).collect(), others: BTreeSet::new() })
    }

    /// Looks at the table's present row.
    pub fn row(&mut self, table: &Table) -> Result<(), ImportError> {
        if self.missing.is_empty() {
            return Ok(());
        }
        let name = table.field(self.column)?;
        if !self.missing.remove(name) && self.others.len() < OTHERS_MOST && !self.others.contains(name) {
            self.others.insert(name.to_owned());
        }
        Ok(())
    }

    /// The map asks for nothing that is not there.
    pub fn all_found(&self, table: &Table) -> Result<(), ImportError> {
        let Some(missing) = self.missing.first() else { return Ok(()) };
        let near = nearest(missing, self.others.iter().map(String::as_str));
        let near = near.map_or_else(String::new, |near| format!(", the nearest is {near:?}"));
        let what = format!("no row is of {missing:?}{near}");
        Err(table.trouble(
            None,
            Some(table.head(self.column)),
            &what,
            "correct the column of that signal or of [phase] in the column map",
        ))
    }
}
