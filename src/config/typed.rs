//! The papers of a delivery typed into a form: what is asked for, and the same text as a delivery file says it.

use super::keys::{self, Form, Key, Presence};
use std::collections::BTreeMap;
use toml::{Table, Value};

/// Rows of properties that a form has.
pub const PROPERTY_ROWS: usize = 6;

const PROPERTY: &str = "certificate.property";

/// How a value is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// As it stands, a quantity with its unit.
    Text,
    /// Several, parted by commas.
    List,
    /// Yes or no.
    YesNo,
    /// A number without a unit.
    Number,
}

/// One field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field {
    /// Its key in a delivery file; a row of properties carries its number before its own name.
    pub key: String,
    /// What it means.
    pub means: &'static str,
    /// How it may look.
    pub example: String,
    /// It must be there.
    pub required: bool,
    /// How it is typed.
    pub kind: Kind,
}

fn kind(form: Form) -> Option<Kind> {
    match form {
        Form::Text | Form::Amount(_) | Form::Difference(_) | Form::Choice(_) => Some(Kind::Text),
        Form::Texts => Some(Kind::List),
        Form::Flag => Some(Kind::YesNo),
        Form::Number(..) | Form::Integer(..) => Some(Kind::Number),
        _ => None,
    }
}

fn asked() -> impl Iterator<Item = (&'static Key, Kind)> {
    // The form is of one bay. A table of densities is no line of a form.
    keys::DELIVERY.iter().filter(|key| key.path != "bay").filter_map(|key| Some((key, kind(key.form)?)))
}

/// Everything that a form asks for, in the order of the delivery file's own key table.
#[must_use]
pub fn fields() -> Vec<Field> {
    let one = |(key, kind): (&Key, Kind), path: String| {
        let example = key.typed_example();
        // A table that may be left out asks for nothing by itself.
        let optional = keys::DELIVERY.iter().any(|of| of.path == key.parent() && of.presence != Presence::Required);
        Field { key: path, means: key.doc, example, required: key.presence == Presence::Required && !optional, kind }
    };
    let rows = |(key, kind): (&'static Key, Kind)| match key.parent() {
        PROPERTY => {
            (1..=PROPERTY_ROWS).map(|row| one((key, kind), format!("{PROPERTY}.{row}.{}", key.name()))).collect()
        }
        _ => vec![one((key, kind), key.path.to_owned())],
    };
    asked().flat_map(rows).collect()
}

/// What was typed as the text of a delivery file of that bay. What cannot be what its key takes is written as it stands:
/// reading the text says what is wrong with it.
#[must_use]
pub fn papers(bay: &str, typed: &BTreeMap<String, String>) -> String {
    let mut root = Table::new();
    let mut properties: BTreeMap<usize, Table> = BTreeMap::new();
    let kinds: BTreeMap<String, Kind> = fields().into_iter().map(|field| (field.key, field.kind)).collect();
    for (key, text) in typed.iter().filter(|(_, text)| !text.trim().is_empty()) {
        let Some(kind) = kinds.get(key) else { continue };
        let value = value(*kind, text.trim());
        let (parent, name) = key.rsplit_once('.').unwrap_or(("", key));
        if let Some(row) = parent.strip_prefix(PROPERTY).and_then(|row| row.strip_prefix('.')?.parse().ok()) {
            properties.entry(row).or_default().insert(name.to_owned(), value);
        } else {
            inside(&mut root, parent).insert(name.to_owned(), value);
        }
    }
    for (key, _) in asked().filter(|(key, _)| key.presence == Presence::Required) {
        // A table that must be there is there, so that what is missing is said of its keys.
        if keys::DELIVERY.iter().any(|of| of.path == key.parent() && of.presence == Presence::Required) {
            inside(&mut root, key.parent());
        }
    }
    inside(&mut root, "plate");
    if !properties.is_empty() {
        let rows = properties.into_values().map(Value::Table).collect();
        inside(&mut root, "certificate").insert("property".to_owned(), Value::Array(rows));
    }
    root.insert("bay".to_owned(), Value::String(bay.to_owned()));
    root.to_string()
}

/// The table of that path, made where it is missing.
fn inside<'a>(root: &'a mut Table, path: &str) -> &'a mut Table {
    if path.is_empty() {
        return root;
    }
    let table = root.entry(path.to_owned()).or_insert_with(|| Value::Table(Table::new()));
    table.as_table_mut().expect("only tables are put there")
}

fn value(kind: Kind, text: &str) -> Value {
    let as_it_stands = || Value::String(text.to_owned());
    match kind {
        Kind::Text => as_it_stands(),
        Kind::List => {
            let parts = text.split(',').map(str::trim).filter(|part| !part.is_empty());
            Value::Array(parts.map(|part| Value::String(part.to_owned())).collect())
        }
        Kind::YesNo => match text {
            "yes" => Value::Boolean(true),
            "no" => Value::Boolean(false),
            _ => as_it_stands(),
        },
        Kind::Number => match (text.parse::<i64>(), super::amount::plain(text)) {
            (Ok(whole), _) => Value::Integer(whole),
            (Err(_), Some(number)) => Value::Float(number),
            (Err(_), None) => as_it_stands(),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{DELIVERY_MANUAL, DeliveryFile, Site, load};
    use std::path::Path;

    fn site() -> Site {
        load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("config/site.toml"))
            .unwrap_or_else(|faults| panic!("{faults}"))
    }

    fn read(text: String) -> Result<DeliveryFile, crate::config::Faults> {
        DeliveryFile::from_text(Path::new("typed"), text, &site())
    }

    /// The shipped papers, value by value, as somebody would type them.
    fn typed(from: &Table, path: &str, into: &mut BTreeMap<String, String>) {
        for (key, value) in from.iter().filter(|(key, _)| *key != "bay") {
            let key = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
            match value {
                Value::Table(table) => typed(table, &key, into),
                Value::Array(list) if list.iter().all(Value::is_table) => {
                    for (row, table) in (1..).zip(list) {
                        typed(table.as_table().expect("a table"), &format!("{key}.{row}"), into);
                    }
                }
                Value::Array(list) => {
                    let texts: Vec<&str> = list.iter().filter_map(Value::as_str).collect();
                    into.insert(key, texts.join(" ,"));
                }
                Value::String(text) => drop(into.insert(key, format!(" {text} "))),
                other => drop(into.insert(key, other.to_string())),
            }
        }
    }

    #[test]
    fn the_shipped_papers_can_be_typed() {
        let mut values = BTreeMap::new();
        typed(&DELIVERY_MANUAL.parse().expect("TOML"), "", &mut values);
        let by_file = read(DELIVERY_MANUAL.to_owned()).unwrap_or_else(|faults| panic!("{faults}"));
        let by_form = read(papers("Bay 1", &values)).unwrap_or_else(|faults| panic!("{faults}"));
        assert_eq!(by_form.setup, by_file.setup);
        values.insert("seals.unbroken".to_owned(), "no".to_owned());
        let by_form = read(papers("Bay 1", &values)).unwrap_or_else(|faults| panic!("{faults}"));
        assert_eq!(by_form.setup.papers.seals_unbroken, Some(false));
    }

    /// An empty form lacks exactly what it calls required; nothing that is typed gets out of its quotes, and what is no
    /// number is said to be none.
    #[test]
    fn what_is_wrong_is_said_of_its_field() {
        let faults = read(papers("Bay 1", &BTreeMap::new())).expect_err("nothing was typed");
        let mut missing: Vec<String> = faults.list().iter().map(|fault| fault.key.clone()).collect();
        let mut required: Vec<String> =
            fields().into_iter().filter(|field| field.required).map(|field| field.key).collect();
        missing.sort();
        required.sort();
        assert_eq!(missing, required, "{faults}");

        let mut values = BTreeMap::new();
        typed(&DELIVERY_MANUAL.parse().expect("TOML"), "", &mut values);
        let quoted = "\"\"\" \\ ''' [ticket] net = '1 kg' <script>";
        values.insert("carrier.name".to_owned(), quoted.to_owned());
        let sound = read(papers("Bay 1", &values)).unwrap_or_else(|faults| panic!("{faults}"));
        assert_eq!(sound.setup.papers.carrier.as_deref(), Some(quoted));
        values.insert("carrier.name".to_owned(), format!("{quoted}\n[ticket]\nnet = '1 kg'\u{1}"));
        let faults = read(papers("Bay 1", &values)).expect_err("not printable");
        assert_eq!(faults.list().iter().map(|f| f.key.as_str()).collect::<Vec<_>>(), ["carrier.name"]);
        values.insert("carrier.name".to_owned(), quoted.to_owned());
        values.insert("certificate.property.1.value".to_owned(), "49,7".to_owned());
        values.insert("no.such.key".to_owned(), "1".to_owned());
        let faults = read(papers("Bay 1", &values)).expect_err("no number");
        assert_eq!(faults.list().iter().map(|f| f.key.as_str()).collect::<Vec<_>>(), ["certificate.property.value"]);
    }
}
