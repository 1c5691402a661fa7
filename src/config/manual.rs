//! The manual pages of the written files, made out of the key table: `docs/site-file.md` and its like.

use super::amount::{short, units, word};
use super::keys::{Bounds, COLUMNS, DELIVERY, Form, Key, PRODUCT, Presence, SITE, STEPS, children};
use crate::units::{Quantity, Unit};
use std::fmt::Write;

/// A page: its file below `docs`, and its text.
pub struct Page {
    /// Name of the file.
    pub file: &'static str,
    /// Markdown.
    pub text: String,
}

/// Every page.
#[must_use]
pub fn pages() -> [Page; 5] {
    let page = |file, keys, head: &str| Page { file, text: page(keys, head) };
    [
        page(
            "site-file.md",
            SITE,
            "# Site file\n\nEvery key of a site file. [config/site.toml](../config/site.toml) is a commented one to copy.",
        ),
        page(
            "delivery-file.md",
            DELIVERY,
            "# Delivery file\n\nEvery key of a delivery file. [config/delivery.toml](../config/delivery.toml) is a commented one to copy.",
        ),
        page(
            "column-map.md",
            COLUMNS,
            "# Column map\n\nEvery key of a column map. [config/columns.toml](../config/columns.toml) is a commented one to copy.",
        ),
        page(
            "steps-file.md",
            STEPS,
            "# File of steps\n\nEvery key of a file of a delivery's steps. [config/steps.toml](../config/steps.toml) is the one that comes with brimwatch, to copy.",
        ),
        page(
            "product-file.md",
            PRODUCT,
            "# Product file\n\nEvery key of a product file. [One to copy](../config/products/caustic-soda-50.toml).",
        ),
    ]
}

const MADE: &str = "Made from the key table (`src/config/keys.rs`) by \
`BRIMWATCH_REWRITE=1 cargo test --test docs manual`; change it there.";

fn page(keys: &'static [Key], head: &str) -> String {
    let mut text = format!("{head}\n{MADE}\n");
    let tops = children(keys, "").filter(|key| !is_table(key));
    table(&mut text, "At the top of the file", "", tops);
    for head in keys.iter().filter(|key| is_table(key)) {
        let name = if head.form == Form::Tables { format!("[[{}]]", head.path) } else { format!("[{}]", head.path) };
        let presence = match (head.presence, head.form) {
            (Presence::Required, Form::Tables) => "At least one. ",
            (Presence::Required, _) => "",
            _ => "May be left out. ",
        };
        let says = format!("{presence}{}.", capital(head.doc));
        table(&mut text, &format!("`{name}`"), &says, children(keys, head.path).filter(|key| !is_table(key)));
    }
    text + &all_units(keys)
}

fn is_table(key: &Key) -> bool {
    matches!(key.form, Form::Table | Form::Tables)
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn table<'k>(text: &mut String, head: &str, says: &str, keys: impl Iterator<Item = &'k Key>) {
    let mut keys = keys.peekable();
    if keys.peek().is_none() && says.is_empty() {
        return;
    }
    let _ = write!(text, "\n## {head}\n\n");
    if !says.is_empty() {
        let _ = write!(text, "{says}\n\n");
    }
    if keys.peek().is_some() {
        text.push_str(
            "| key | meaning | form, unit, range | if left out | example |\n| --- | --- | --- | --- | --- |\n",
        );
    }
    for key in keys {
        let left_out = match key.presence {
            Presence::Required => "a fault".to_owned(),
            Presence::Default(value) => format!("`{value}`"),
            Presence::Optional => "see meaning".to_owned(),
        };
        let cells = [key.doc.to_owned(), form(key), left_out, format!("`{}`", key.example_line())];
        let cells = cells.map(|cell| cell.replace('|', "\\|"));
        let _ = writeln!(text, "| `{}` | {} |", key.name(), cells.join(" | "));
    }
}

/// What a key holds, in words: quantity, unit and range.
pub(super) fn form(key: &Key) -> String {
    match key.form {
        Form::Table | Form::Tables => "table".to_owned(),
        Form::Text => "text".to_owned(),
        Form::Texts => "list of texts, at least one".to_owned(),
        Form::Choice(words) => {
            format!("one of {}", words.iter().map(|w| format!("`{w}`")).collect::<Vec<_>>().join(", "))
        }
        Form::Flag => "true or false".to_owned(),
        Form::Integer(low, high) => format!("whole number, {low} to {high}"),
        Form::Integers(low, high) => format!("list of whole numbers, {low} to {high}"),
        Form::Number(low, high) => format!("number, {low} to {high}"),
        Form::Amount(bounds) => amount(bounds, unit_of(key.example, bounds), Unit::from_si),
        Form::Difference(bounds) => {
            let from_si = |unit: Unit, si: f64| si / unit.step_to_si(1.0);
            format!("difference of {}", amount(bounds, unit_of(key.example, bounds), from_si))
        }
        Form::OfSignal => "in the signal's quantity".to_owned(),
        Form::DifferenceOfSignal => "difference in the signal's quantity".to_owned(),
        Form::Pairs(x, y, both) => {
            let rises = if both { "both rising" } else { "the first rising" };
            let si = |bounds: Bounds| amount(bounds, unit_of("", bounds), Unit::from_si);
            format!("list of pairs, {rises}: {}; {}", si(x), si(y))
        }
    }
}

/// The unit of an example; without one the program's own.
fn unit_of(example: &str, bounds: Bounds) -> Option<Unit> {
    let written = example.split_once(' ').and_then(|(_, unit)| Unit::parse(unit));
    written.or_else(|| Unit::parse(bounds.quantity.si_name()))
}

fn amount(bounds: Bounds, unit: Option<Unit>, from_si: impl Fn(Unit, f64) -> f64) -> String {
    let Some(unit) = unit else { return word(bounds.quantity).to_owned() };
    let (low, high) = (short(from_si(unit, bounds.low)), short(from_si(unit, bounds.high)));
    format!("{}, {low} to {high} {unit}", word(bounds.quantity))
}

/// The units of every quantity that the keys name.
fn all_units(keys: &[Key]) -> String {
    let named = |quantity: Quantity| {
        keys.iter().any(|key| match key.form {
            Form::Amount(b) | Form::Difference(b) => b.quantity == quantity,
            Form::Pairs(x, y, _) => x.quantity == quantity || y.quantity == quantity,
            Form::OfSignal | Form::DifferenceOfSignal => quantity != Quantity::YesNo,
            _ => false,
        })
    };
    let mut quantities: Vec<Quantity> = Vec::new();
    for unit in crate::units::UNITS {
        if named(unit.quantity) && !quantities.contains(&unit.quantity) {
            quantities.push(unit.quantity);
        }
    }
    let mut text = "\n## Units\n\nA quantity is text: a number with a decimal point, a space, a unit.\n\n| quantity | units |\n| --- | --- |\n".to_owned();
    for quantity in quantities {
        let _ = writeln!(text, "| {} | {} |", word(quantity), units(quantity));
    }
    text
}
