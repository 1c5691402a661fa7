//! What may be changed while a watch runs: alarm settings, levels and the site's limits. Everything else (wiring,
//! instruments, tanks, store) needs a new start.

use super::{Faults, Site};
use std::fmt;
use toml::{Table, Value};

/// One value that is another.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Difference {
    /// Key, tables joined by dots; those of an array by their name: `tank "204".high_high`.
    pub key: String,
    /// As it was written; `None`: it was not there.
    pub before: Option<String>,
    /// As it is written now.
    pub after: Option<String>,
    /// Whether it may be changed while a watch runs.
    pub allowed: bool,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let shown = |value: &Option<String>| value.clone().unwrap_or_else(|| "(not written)".to_owned());
        write!(f, "{}: {} -> {}", self.key, shown(&self.before), shown(&self.after))
    }
}

/// Why a change is not taken.
#[derive(Debug, thiserror::Error)]
pub enum ChangeError {
    /// The new file has faults.
    #[error("{0}")]
    Faults(Faults),
    /// It says the same.
    #[error("it says what is in force already: there is nothing to change")]
    Nothing,
    /// Something else would be changed too.
    #[error(
        "not taken while the watch runs, since these are no alarm settings, levels or limits (stop the watch and start it \
         with the new file):\n{}", lines(.0)
    )]
    NotOnTheRun(Vec<Difference>),
    /// Nobody has said who or why.
    #[error("say who changes it and for what reason: both stand in the change log")]
    NoReason,
}

/// Differences, a line each.
#[must_use]
pub fn lines(differences: &[Difference]) -> String {
    differences.iter().map(|d| format!("  {d}")).collect::<Vec<_>>().join("\n")
}

/// Longest name or reason, characters.
const SAID_MOST: usize = 500;

/// What is different, where all of it may be changed while a watch runs.
///
/// # Errors
/// Why it is not taken.
pub fn change(in_force: &Site, new: &Site, who: &str, reason: &str) -> Result<Vec<Difference>, ChangeError> {
    let said = |text: &str| !text.trim().is_empty() && text.chars().count() <= SAID_MOST;
    if !said(who) || !said(reason) {
        return Err(ChangeError::NoReason);
    }
    let mut found = differences(in_force, new);
    if found.is_empty() {
        return Err(ChangeError::Nothing);
    }
    if found.iter().any(|d| !d.allowed) {
        found.retain(|d| !d.allowed);
        return Err(ChangeError::NotOnTheRun(found));
    }
    Ok(found)
}

/// Every value that is written otherwise; comments and the order of lines make no difference.
#[must_use]
pub fn differences(in_force: &Site, new: &Site) -> Vec<Difference> {
    let mut found = Vec::new();
    let table = |site: &Site| site.texts.first().and_then(|(_, text)| text.parse::<Table>().ok()).unwrap_or_default();
    walk("", "", &Value::Table(table(in_force)), &Value::Table(table(new)), &mut found);
    // The files that it names: products, strapping tables.
    for (name, text) in new.texts.iter().skip(1) {
        let before = in_force.texts.iter().skip(1).find(|(n, _)| n == name);
        if before.is_some_and(|(_, before)| before != text) {
            let (before, after) = (Some("as it was".to_owned()), Some("another content".to_owned()));
            found.push(Difference { key: format!("file {name}"), before, after, allowed: false });
        }
    }
    found
}

/// Whether the key, without the names of its tables, may be changed while a watch runs.
fn allowed(plain: &str) -> bool {
    plain.starts_with("alarms.")
        || plain.starts_with("bay.limits.")
        || ["tank.working", "tank.high_high", "tank.critical"].contains(&plain)
}

fn walk(key: &str, plain: &str, before: &Value, after: &Value, found: &mut Vec<Difference>) {
    let join = |path: &str, name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match (before, after) {
        (Value::Table(a), Value::Table(b)) => {
            let mut names: Vec<&String> = a.keys().chain(b.keys().filter(|name| !a.contains_key(*name))).collect();
            names.sort();
            for name in names {
                let (key, plain) = (join(key, name), join(plain, name));
                match (a.get(name), b.get(name)) {
                    (Some(a), Some(b)) => walk(&key, &plain, a, b, found),
                    // A table that was left out holds its keys' defaults.
                    (Some(a @ Value::Table(_)), None) => walk(&key, &plain, a, &Value::Table(Table::new()), found),
                    (None, Some(b @ Value::Table(_))) => walk(&key, &plain, &Value::Table(Table::new()), b, found),
                    (a, b) => push(key, &plain, a, b, found),
                }
            }
        }
        (Value::Array(a), Value::Array(b)) if a.iter().chain(b).all(Value::is_table) && a.len() == b.len() => {
            for (i, (a, b)) in a.iter().zip(b).enumerate() {
                let name = a.get("name").and_then(Value::as_str).map_or_else(|| i.to_string(), |n| format!("{n:?}"));
                walk(&format!("{key} {name}"), plain, a, b, found);
            }
        }
        (a, b) if a == b => {}
        (a, b) => push(key.to_owned(), plain, Some(a), Some(b), found),
    }
}

fn push(key: String, plain: &str, before: Option<&Value>, after: Option<&Value>, found: &mut Vec<Difference>) {
    let text = |value: &Value| match value {
        Value::Array(list) if list.iter().any(Value::is_table) => format!("{} tables", list.len()),
        other => other.to_string(),
    };
    let (before, after) = (before.map(text), after.map(text));
    found.push(Difference { key, before, after, allowed: allowed(plain) });
}
