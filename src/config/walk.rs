//! Reads a TOML text by a key table: every key known, every value of its form and in its range, in SI.
//!
//! Faults are noted and the walk goes on. What could not be read stands in as NaN, an empty text or an empty
//! list, so that later checks can run over the rest; comparisons with NaN are false and raise no second fault.
//! Nothing that was built over a fault ever leaves this module's parent.

use super::amount;
use super::fault::{Draft, Spot, nearest};
use super::keys::{Form, Key, Presence, children};
use crate::finding::{OfForm, Wanted, Written};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A checked value.
#[derive(Debug, Clone)]
enum Value {
    Text(String),
    Texts(Vec<(String, Spot)>),
    Flag(bool),
    Integer(i64),
    Integers(Vec<i64>),
    Number(f64),
    Pairs(Vec<(f64, f64)>),
    Table(Table),
    Tables(Vec<Table>),
}

/// A checked table: each of its keys that is there or has a default.
#[derive(Debug, Clone)]
pub(super) struct Table {
    at: Spot,
    path: &'static str,
    entries: BTreeMap<&'static str, (Value, Spot)>,
    /// The known keys that stand in the file, understood or not.
    written: BTreeSet<&'static str>,
}

impl Table {
    /// Where it begins.
    pub fn at(&self) -> &Spot {
        &self.at
    }

    /// Where the value of a key stands; the table's head where it is left out.
    pub fn spot(&self, name: &str) -> &Spot {
        self.entries.get(name).map_or(&self.at, |(_, spot)| spot)
    }

    /// The whole path of a key in it; its own path for an empty name.
    pub fn path(&self, name: &str) -> String {
        join(self.path, name)
    }

    /// Whether the key is there (or has a default).
    pub fn has(&self, name: &str) -> bool {
        self.entries.contains_key(name)
    }

    /// Whether the key stands in the file, understood or not: for checks that must not say again what was said.
    pub fn is_written(&self, name: &str) -> bool {
        self.written.contains(name)
    }

    /// Text; empty where it is missing.
    pub fn text(&self, name: &str) -> &str {
        self.optional_text(name).unwrap_or_default()
    }

    /// Text, where given.
    pub fn optional_text(&self, name: &str) -> Option<&str> {
        match self.entries.get(name) {
            Some((Value::Text(text), _)) => Some(text),
            _ => None,
        }
    }

    /// Texts with their places.
    pub fn texts(&self, name: &str) -> &[(String, Spot)] {
        match self.entries.get(name) {
            Some((Value::Texts(texts), _)) => texts,
            _ => &[],
        }
    }

    /// A number or quantity in SI; NaN where it is missing.
    pub fn number(&self, name: &str) -> f64 {
        self.optional_number(name).unwrap_or(f64::NAN)
    }

    /// A number or quantity in SI, where given.
    pub fn optional_number(&self, name: &str) -> Option<f64> {
        match self.entries.get(name) {
            Some((Value::Number(number), _)) => Some(*number),
            _ => None,
        }
    }

    /// A whole number; 0 where it is missing.
    pub fn integer(&self, name: &str) -> i64 {
        self.optional_integer(name).unwrap_or_default()
    }

    /// A whole number, where given.
    pub fn optional_integer(&self, name: &str) -> Option<i64> {
        match self.entries.get(name) {
            Some((Value::Integer(integer), _)) => Some(*integer),
            _ => None,
        }
    }

    /// Whole numbers.
    pub fn integers(&self, name: &str) -> &[i64] {
        match self.entries.get(name) {
            Some((Value::Integers(integers), _)) => integers,
            _ => &[],
        }
    }

    /// true or false; false where it is missing.
    pub fn flag(&self, name: &str) -> bool {
        matches!(self.entries.get(name), Some((Value::Flag(true), _)))
    }

    /// Pairs of quantities, SI, where given.
    pub fn pairs(&self, name: &str) -> Option<&[(f64, f64)]> {
        match self.entries.get(name) {
            Some((Value::Pairs(pairs), _)) => Some(pairs),
            _ => None,
        }
    }

    /// A table in it; itself where it is missing (then everything in it is missing too).
    pub fn table(&self, name: &str) -> &Table {
        match self.entries.get(name) {
            Some((Value::Table(table), _)) => table,
            _ => self,
        }
    }

    /// The tables of that name.
    pub fn tables(&self, name: &str) -> &[Table] {
        match self.entries.get(name) {
            Some((Value::Tables(tables), _)) => tables,
            _ => &[],
        }
    }
}

fn join(path: &str, name: &str) -> String {
    match (path, name) {
        ("", name) => name.to_owned(),
        (path, "") => path.to_owned(),
        (path, name) => format!("{path}.{name}"),
    }
}

/// Reads the file of that index by `keys`.
pub(super) fn walk(draft: &mut Draft, file: usize, keys: &'static [Key]) -> Table {
    let text = draft.text(file).to_owned();
    let (root, errors) = DeTable::parse_recoverable(&text);
    let syntax_is_whole = errors.is_empty();
    for error in errors {
        let spot = Spot { file, span: Some(error.span().unwrap_or(0..0)) };
        draft
            .fault(&spot, "", format!("not TOML: {}", error.message().trim()))
            .act("a quantity is text: high_high = \"7.2 m\"; a table begins with [name] or [[name]]");
    }
    let head = 0..text.lines().next().map_or(0, str::len);
    Walk { draft, file, keys, syntax_is_whole }.table(root.get_ref(), "", head)
}

struct Walk<'d> {
    draft: &'d mut Draft,
    file: usize,
    keys: &'static [Key],
    /// Where the syntax is broken the recovered tree has holes: what seems missing may well be there.
    syntax_is_whole: bool,
}

impl Walk<'_> {
    fn spot(&self, span: Range<usize>) -> Spot {
        Spot { file: self.file, span: Some(span) }
    }

    fn table(&mut self, found: &DeTable<'_>, path: &'static str, head: Range<usize>) -> Table {
        let at = self.spot(head.clone());
        let (mut entries, mut written) = (BTreeMap::new(), BTreeSet::new());
        for (name, value) in found {
            let known = children(self.keys, path).find(|key| key.name() == name.get_ref().as_ref());
            match known {
                Some(key) => {
                    written.insert(key.name());
                    let spot = self.spot(value.span());
                    if let Some(value) = self.value(key, value) {
                        entries.insert(key.name(), (value, spot));
                    }
                }
                None => self.unknown(name, path),
            }
        }
        for key in children(self.keys, path) {
            if !written.contains(key.name())
                && let Some(value) = self.absent(key, &at, head.clone())
            {
                entries.insert(key.name(), (value, at.clone()));
            }
        }
        Table { at, path, entries, written }
    }

    fn unknown(&mut self, name: &Spanned<toml::de::DeString<'_>>, path: &str) {
        let spot = self.spot(name.span());
        if self.draft.has_fault_at(&spot) {
            return; // a mistake of syntax on this line has been said already
        }
        let here = nearest(name.get_ref(), children(self.keys, path).map(Key::name));
        let elsewhere = self.keys.iter().find(|key| key.name() == name.get_ref().as_ref());
        let list = children(self.keys, path).map(Key::name).collect::<Vec<_>>().join(", ");
        let table = if path.is_empty() { "at the top of the file".to_owned() } else { format!("in {path}") };
        let act = match (elsewhere, here) {
            (Some(key), _) if key.parent().is_empty() => format!("{} belongs at the top of the file", key.name()),
            (Some(key), _) => format!("{} belongs in {}", key.name(), key.parent()),
            (None, Some(here)) => format!("write {here}, or take the line out"),
            (None, None) => "take the line out".to_owned(),
        };
        self.draft
            .fault(&spot, join(path, name.get_ref()), format!("no such key {table}"))
            .allowed(list)
            .nearest(here.or(elsewhere.map(|key| key.path)))
            .act(act);
    }

    /// What stands in for a key that is not there.
    fn absent(&mut self, key: &'static Key, at: &Spot, head: Range<usize>) -> Option<Value> {
        match (key.presence, key.form) {
            (Presence::Default(text), _) => self.default(key, text, at),
            // A table that may be left out has its defaults all the same.
            (Presence::Optional, Form::Table) => Some(Value::Table(self.table(&DeTable::new(), key.path, head))),
            (Presence::Optional, _) => None,
            (Presence::Required, _) => {
                if self.syntax_is_whole {
                    let missing = OfForm::Missing { means: key.doc, like: key.like() };
                    self.draft.finding(at, key.path, missing);
                }
                None
            }
        }
    }

    fn default(&mut self, key: &'static Key, text: &str, at: &Spot) -> Option<Value> {
        match key.form {
            Form::Amount(bounds) => Some(Value::Number(amount::value(self.draft, at, key.path, text, bounds))),
            Form::Difference(bounds) => Some(Value::Number(amount::difference(self.draft, at, key.path, text, bounds))),
            Form::Integer(..) => text.parse().ok().map(Value::Integer),
            Form::Number(..) => text.parse().ok().map(Value::Number),
            _ => Some(Value::Text(text.to_owned())),
        }
    }

    fn value(&mut self, key: &'static Key, found: &Spanned<DeValue<'_>>) -> Option<Value> {
        let spot = self.spot(found.span());
        match (key.form, found.get_ref()) {
            (Form::Table, DeValue::Table(table)) => Some(Value::Table(self.table(table, key.path, found.span()))),
            (Form::Tables, DeValue::Array(array)) if !array.is_empty() => self.tables(key, array).map(Value::Tables),
            (Form::Text | Form::OfSignal | Form::DifferenceOfSignal, DeValue::String(text)) => {
                self.text(key, &spot, text).map(Value::Text)
            }
            (Form::Texts, DeValue::Array(array)) if !array.is_empty() => {
                let texts = array.iter().filter_map(|item| self.item(key, item)).collect();
                Some(Value::Texts(texts))
            }
            (Form::Choice(words), DeValue::String(text)) => self.choice(key, &spot, words, text).map(Value::Text),
            (Form::Flag, DeValue::Boolean(flag)) => Some(Value::Flag(*flag)),
            (Form::Integer(low, high), DeValue::Integer(integer)) => {
                self.integer(key, &spot, integer, low, high).map(Value::Integer)
            }
            (Form::Integers(low, high), DeValue::Array(array)) if !array.is_empty() => {
                let numbers = array.iter().filter_map(|item| {
                    let spot = self.spot(item.span());
                    if let DeValue::Integer(integer) = item.get_ref() {
                        return self.integer(key, &spot, integer, low, high);
                    }
                    self.wrong_form(key, &spot, item.get_ref());
                    None
                });
                Some(Value::Integers(numbers.collect()))
            }
            (Form::Number(low, high), DeValue::Integer(_) | DeValue::Float(_)) => {
                self.plain_number(key, &spot, low, high).map(Value::Number)
            }
            (Form::Amount(bounds), DeValue::String(text)) => {
                Some(Value::Number(amount::value(self.draft, &spot, key.path, text, bounds)))
            }
            (Form::Difference(bounds), DeValue::String(text)) => {
                Some(Value::Number(amount::difference(self.draft, &spot, key.path, text, bounds)))
            }
            (Form::Pairs(..), DeValue::Array(array)) => self.pairs(key, &spot, array),
            _ => {
                self.wrong_form(key, &spot, found.get_ref());
                None
            }
        }
    }

    fn integer(
        &mut self,
        key: &'static Key,
        spot: &Spot,
        integer: &toml::de::DeInteger<'_>,
        low: i64,
        high: i64,
    ) -> Option<i64> {
        let number = i64::from_str_radix(integer.as_str(), integer.radix()).ok();
        let number = number.filter(|n| (low..=high).contains(n));
        if number.is_none() {
            let written = integer.to_string();
            self.draft.finding(spot, key.path, OfForm::WholeOutOfRange { written, low, high, means: key.doc });
        }
        number
    }

    fn wrong_form(&mut self, key: &'static Key, spot: &Spot, found: &DeValue<'_>) {
        if self.draft.has_fault_at(spot) {
            return;
        }
        let is = match found {
            DeValue::String(_) => Written::Text,
            DeValue::Integer(_) | DeValue::Float(_) => Written::Number,
            DeValue::Boolean(_) => Written::Flag,
            DeValue::Datetime(_) => Written::Date,
            DeValue::Array(_) => Written::List,
            DeValue::Table(_) => Written::Table,
        };
        let wanted = match key.form {
            Form::Table => Wanted::Table,
            Form::Tables => Wanted::Tables,
            Form::Text => Wanted::Text,
            Form::Texts => Wanted::Texts,
            Form::Choice(words) => Wanted::OneOf(words),
            Form::Flag => Wanted::Flag,
            Form::Integer(low, high) => Wanted::Whole { low, high },
            Form::Integers(low, high) => Wanted::Wholes { low, high },
            Form::Number(..) => Wanted::Number,
            Form::Amount(bounds) | Form::Difference(bounds) => Wanted::Amount(Some(bounds.quantity)),
            Form::OfSignal | Form::DifferenceOfSignal => Wanted::Amount(None),
            Form::Pairs(..) => Wanted::Pairs,
        };
        self.draft.finding(spot, key.path, OfForm::Wrong { is, wanted, like: key.like() });
    }

    fn tables(&mut self, key: &'static Key, array: &toml::de::DeArray<'_>) -> Option<Vec<Table>> {
        let mut tables = Vec::new();
        for item in array.iter() {
            if let DeValue::Table(table) = item.get_ref() {
                tables.push(self.table(table, key.path, item.span()));
            } else {
                let spot = self.spot(item.span());
                self.wrong_form(key, &spot, item.get_ref());
            }
        }
        Some(tables)
    }

    fn text(&mut self, key: &'static Key, spot: &Spot, text: &str) -> Option<String> {
        /// Names are shown on a phone and stand in recordings.
        const LONGEST: usize = 200;
        let fits = !text.trim().is_empty() && text.len() <= LONGEST && !text.chars().any(char::is_control);
        if !fits {
            let like = key.like();
            self.draft.finding(spot, key.path, OfForm::Unprintable { bytes_most: LONGEST, like });
        }
        fits.then(|| text.trim().to_owned())
    }

    fn item(&mut self, key: &'static Key, item: &Spanned<DeValue<'_>>) -> Option<(String, Spot)> {
        let spot = self.spot(item.span());
        if let DeValue::String(text) = item.get_ref() {
            return self.text(key, &spot, text).map(|text| (text, spot));
        }
        self.wrong_form(key, &spot, item.get_ref());
        None
    }

    fn choice(&mut self, key: &'static Key, spot: &Spot, words: &[&str], text: &str) -> Option<String> {
        if words.contains(&text) {
            return Some(text.to_owned());
        }
        self.draft
            .fault(spot, key.path, format!("{text:?} is no word for it"))
            .allowed(words.join(", "))
            .nearest(nearest(text, words.iter().copied()))
            .act(format!("choose one: {}", key.doc));
        None
    }

    fn plain_number(&mut self, key: &'static Key, spot: &Spot, low: f64, high: f64) -> Option<f64> {
        // The text between the span's ends is the number as written; TOML allows _ between digits.
        let written = spot.span.clone().and_then(|span| self.draft.text(self.file).get(span)).unwrap_or_default();
        let written = written.replace('_', "");
        let number = written.parse::<f64>().ok().filter(|n| (low..=high).contains(n));
        if number.is_none() {
            let like = key.like();
            self.draft.finding(spot, key.path, OfForm::NumberOutOfRange { written, low, high, like });
        }
        number
    }

    fn pairs(&mut self, key: &'static Key, spot: &Spot, array: &toml::de::DeArray<'_>) -> Option<Value> {
        let Form::Pairs(x, y, rises) = key.form else { return None };
        let mut rows = Vec::new();
        for row in array.iter() {
            let at = self.spot(row.span());
            let texts =
                row.get_ref().as_array().map(|pair| pair.iter().map(|v| v.get_ref().as_str()).collect::<Vec<_>>());
            if let Some([Some(first), Some(second)]) = texts.as_deref() {
                let first = amount::value(self.draft, &at, key.path, first, x);
                rows.push((first, amount::value(self.draft, &at, key.path, second, y), at));
            } else {
                self.draft
                    .fault(&at, key.path, "a row is not a pair of quantities")
                    .allowed("[\"number unit\", \"number unit\"]")
                    .act(format!("write it like this: {}", key.example_line()));
            }
        }
        check_rising(self.draft, key.path, spot, &rows, rises);
        Some(Value::Pairs(rows.into_iter().map(|(x, y, _)| (x, y)).collect()))
    }
}

/// A table that is read by straight lines needs two rows and a rising first column; a strapping table's second
/// column rises too, or two levels would have one volume.
pub(super) fn check_rising(draft: &mut Draft, key: &str, whole: &Spot, rows: &[(f64, f64, Spot)], both: bool) {
    if rows.len() < 2 {
        draft.fault(whole, key, "has fewer than two rows").act("give at least two; nothing is read beyond the ends");
    }
    for pair in rows.windows(2) {
        let (before, now) = (&pair[0], &pair[1]);
        for (name, a, b, rises) in [("first", before.0, now.0, true), ("second", before.1, now.1, both)] {
            if rises && b <= a {
                // As it is written there, with its own unit.
                let above =
                    before.2.span.clone().and_then(|span| draft.text(before.2.file).get(span)).unwrap_or_default();
                let allowed = format!("more than in the row above: {above}");
                draft
                    .fault(&now.2, key, format!("the {name} column does not rise from the row above to this one"))
                    .allowed(allowed)
                    .act("correct the row, or its place in the table");
            }
        }
    }
    if both {
        super::sense::strapping(draft, key, rows);
    }
}
