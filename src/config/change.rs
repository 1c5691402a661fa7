//! What may be changed while a watch runs: alarm settings, levels and the site's limits. Everything else (wiring,
//! instruments, tanks, store) needs a new start.

use super::edit::{Step, set};
use super::keys::{Form, Key, Presence, SITE};
use super::{Faults, Site, manual};
use std::collections::BTreeMap;
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
    /// No setting of that name may be changed on the run.
    #[error("{0:?} is no alarm setting, level or limit of this site")]
    NoSuch(String),
}

/// A setting that may be changed while a watch runs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    /// As in [`Difference::key`].
    pub key: String,
    /// The table it stands in, likewise.
    pub table: String,
    /// Its line of the key table.
    pub of: &'static str,
    /// What it means.
    pub means: &'static str,
    /// Quantity and allowed range.
    pub range: String,
    /// What holds where it is not written; empty: it must be, or its meaning says what.
    pub left_out: &'static str,
    /// As it is written; `None`: it is not.
    pub written: Option<String>,
    steps: Vec<Step>,
}

/// Every setting of the site that may be changed while a watch runs, in the order of the key table.
#[must_use]
pub fn settings(site: &Site) -> Vec<Setting> {
    let root = table(site);
    let mut all = Vec::new();
    for key in SITE.iter().filter(|key| allowed(key.path) && key.form != Form::Table) {
        let parents: Vec<&str> = key.parent().split('.').collect();
        for (table, steps, values) in tables(&root, &parents, String::new(), Vec::new()) {
            let written = values.and_then(|values| values.get(key.name()));
            all.push(setting(key, table, steps, written));
        }
    }
    // Keys of one table stand together, tables in the order in which they first come.
    let order: Vec<String> = all.iter().map(|s: &Setting| s.table.clone()).collect();
    all.sort_by_key(|setting| order.iter().position(|table| *table == setting.table));
    all
}

fn setting(key: &Key, table: String, steps: Vec<Step>, written: Option<&Value>) -> Setting {
    let left_out = match key.presence {
        Presence::Default(value) => value,
        Presence::Required | Presence::Optional => "",
    };
    Setting {
        key: format!("{table}.{}", key.name()),
        table,
        of: key.name(),
        means: key.doc,
        range: manual::form(key),
        left_out,
        written: written.map(|value| value.as_str().map_or_else(|| value.to_string(), str::to_owned)),
        steps,
    }
}

/// Every table that the names lead to: its key, the way to it, and what stands in it.
fn tables<'v>(
    at: &'v Table,
    names: &[&str],
    key: String,
    steps: Vec<Step>,
) -> Vec<(String, Vec<Step>, Option<&'v Table>)> {
    let Some((name, rest)) = names.split_first() else { return vec![(key, steps, Some(at))] };
    let to = |named: Option<&str>| {
        let mut steps = steps.clone();
        steps.push(Step { table: (*name).to_owned(), named: named.map(str::to_owned) });
        let key = join(&key, name);
        (named.map_or_else(|| key.clone(), |named| format!("{key} {named:?}")), steps)
    };
    match at.get(*name) {
        Some(Value::Table(inner)) => {
            let (key, steps) = to(None);
            tables(inner, rest, key, steps)
        }
        Some(Value::Array(list)) => {
            let named = list.iter().filter_map(|v| Some((v.as_table()?, v.get("name")?.as_str()?)));
            let inner = named.flat_map(|(inner, named)| {
                let (key, steps) = to(Some(named));
                tables(inner, rest, key, steps)
            });
            inner.collect()
        }
        // Tables that may be left out: nothing is written in them.
        _ => {
            let (mut key, mut steps) = to(None);
            for name in rest {
                key = join(&key, name);
                steps.push(Step { table: (*name).to_owned(), named: None });
            }
            vec![(key, steps, None)]
        }
    }
}

/// The site file with other values for some settings, by their keys; an empty text takes one out.
///
/// # Errors
/// When one of them is no setting that may be changed while a watch runs.
pub fn with(in_force: &Site, values: &BTreeMap<String, String>) -> Result<String, ChangeError> {
    let settings = settings(in_force);
    let text = in_force.texts.first().map_or("", |(_, text)| text);
    let no_such = |key: &str| ChangeError::NoSuch(key.to_owned());
    let mut document: toml_edit::DocumentMut = text.parse().unwrap_or_default();
    for (key, value) in values {
        let setting = settings.iter().find(|s| s.key == *key).ok_or_else(|| no_such(key))?;
        let value = value.trim();
        let value = (!value.is_empty()).then(|| toml_edit::Value::from(value));
        if !set(document.as_table_mut(), &setting.steps, setting.of, value.as_ref()) {
            return Err(no_such(key));
        }
    }
    Ok(document.to_string())
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
    looked_at(in_force, new)
}

/// The same before anybody has said who and why.
///
/// # Errors
/// Why it would not be taken.
pub fn looked_at(in_force: &Site, new: &Site) -> Result<Vec<Difference>, ChangeError> {
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

fn table(site: &Site) -> Table {
    site.texts.first().and_then(|(_, text)| text.parse::<Table>().ok()).unwrap_or_default()
}

fn join(path: &str, name: &str) -> String {
    if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") }
}

/// Whether the key, without the names of its tables, may be changed while a watch runs.
fn allowed(plain: &str) -> bool {
    plain.starts_with("alarms.")
        || plain.starts_with("bay.limits.")
        || ["tank.working", "tank.high_high", "tank.critical"].contains(&plain)
}

fn walk(key: &str, plain: &str, before: &Value, after: &Value, found: &mut Vec<Difference>) {
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn shipped() -> Site {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let read = |name: &str| std::fs::read_to_string(folder.join(name));
        let text = read("example.toml").expect("a file");
        Site::from_text(&folder.join("example.toml"), text, &read).expect("a sound site")
    }

    #[test]
    fn every_setting_can_be_changed_and_is_then_the_only_difference() {
        let site = shipped();
        let all = settings(&site);
        assert!(all.iter().any(|s| s.key == "alarms.on_delay") && all.iter().any(|s| s.table.starts_with("tank \"")));
        for setting in &all {
            // As it stands: no difference. With another text: this one.
            let same = BTreeMap::from([(setting.key.clone(), setting.written.clone().unwrap_or_default())]);
            assert_eq!(with(&site, &same).expect("a text"), site.texts[0].1, "{}", setting.key);
            let other = BTreeMap::from([(setting.key.clone(), "1.23 x".to_owned())]);
            let mut new = site.clone();
            new.texts[0].1 = with(&site, &other).expect("a text");
            let found = differences(&site, &new);
            assert_eq!(found.iter().map(|d| (d.key.as_str(), d.allowed)).collect::<Vec<_>>(), [(&*setting.key, true)]);
        }
        // What is set on the page is text: a quantity with its unit.
        assert!(
            SITE.iter()
                .filter(|key| allowed(key.path))
                .all(|key| matches!(key.form, Form::Amount(_) | Form::Difference(_) | Form::Table))
        );
    }

    #[test]
    fn what_is_no_such_setting_is_refused() {
        let site = shipped();
        for key in ["device \"line meter\".period", "site.name", "alarms.on_dealy", "", "tank.working"] {
            let why = with(&site, &BTreeMap::from([(key.to_owned(), "1 s".to_owned())])).expect_err("refused");
            assert!(why.to_string().contains("no alarm setting"), "{why}");
        }
    }
}
