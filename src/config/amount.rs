//! A quantity as people write it: a number, a space, a unit.

use super::fault::{Draft, Spot, nearest};
use super::keys::Bounds;
use crate::finding::OfAmount;
pub(super) use crate::finding::{short, units, word};
use crate::units::{Quantity, Unit};

/// A value in SI; NaN after a fault.
pub(super) fn value(draft: &mut Draft, spot: &Spot, key: &str, text: &str, bounds: Bounds) -> f64 {
    read(draft, spot, key, text, bounds, Unit::to_si, Unit::from_si)
}

/// A difference of two values in SI; NaN after a fault.
pub(super) fn difference(draft: &mut Draft, spot: &Spot, key: &str, text: &str, bounds: Bounds) -> f64 {
    let from_si = |unit: Unit, si: f64| si / unit.step_to_si(1.0);
    read(draft, spot, key, text, bounds, Unit::step_to_si, from_si)
}

fn read(
    draft: &mut Draft,
    spot: &Spot,
    key: &str,
    text: &str,
    bounds: Bounds,
    to_si: impl Fn(Unit, f64) -> f64,
    from_si: impl Fn(Unit, f64) -> f64,
) -> f64 {
    let Some((number, unit)) = parse(draft, spot, key, text, bounds.quantity) else { return f64::NAN };
    let si = to_si(unit, number);
    // A bound in the written unit may differ from the same bound in SI by the last bit.
    let slack = 1e-12 * si.abs();
    if si < bounds.low - slack || si > bounds.high + slack {
        let (low, high) = (from_si(unit, bounds.low), from_si(unit, bounds.high));
        draft.finding(spot, key, OfAmount::OutOfRange { written: text.to_owned(), low, high, unit });
        return f64::NAN;
    }
    si
}

/// Number and unit of a quantity, the number in that unit; `None` after a fault.
pub(super) fn parse(draft: &mut Draft, spot: &Spot, key: &str, text: &str, quantity: Quantity) -> Option<(f64, Unit)> {
    let text = text.trim();
    let end = text.find(char::is_whitespace).or_else(|| text.find(|c: char| c.is_alphabetic() || c == '%'));
    let (number, name) = text.split_at(end.unwrap_or(text.len()));
    let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
    let Some(number) = plain(number) else {
        let comma = number.contains(',');
        draft.finding(spot, key, OfAmount::NoNumber { written: text.to_owned(), comma, quantity });
        return None;
    };
    unit(draft, spot, key, &name, quantity).map(|unit| (number, unit))
}

/// The unit of that name, held against the quantity it should be of.
pub(super) fn unit(draft: &mut Draft, spot: &Spot, key: &str, name: &str, quantity: Quantity) -> Option<Unit> {
    let found = Unit::parse(name);
    if found.is_some_and(|unit| unit.quantity == quantity) {
        return found;
    }
    let names = Unit::names(quantity);
    let (name, nearest) = (name.to_owned(), nearest(name, names.iter().copied()).map(str::to_owned));
    let wrong = match found {
        Some(other) => OfAmount::OtherUnit { name, of: other.quantity, quantity, nearest },
        None if name.is_empty() => OfAmount::NoUnit { quantity },
        None => OfAmount::UnknownUnit { name, quantity, nearest },
    };
    draft.finding(spot, key, wrong);
    None
}

/// A finite number; not the words that Rust also takes for one.
pub(super) fn plain(number: &str) -> Option<f64> {
    let digits = number.chars().all(|c| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | 'e' | 'E'));
    number.parse().ok().filter(|n: &f64| digits && n.is_finite())
}
