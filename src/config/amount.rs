//! A quantity as people write it: a number, a space, a unit.

use super::fault::{Draft, Spot, nearest};
use super::keys::Bounds;
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

/// The units of a quantity, for hints.
pub(super) fn units(quantity: Quantity) -> String {
    Unit::names(quantity).join(", ")
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
        let (low, high) = (short(from_si(unit, bounds.low)), short(from_si(unit, bounds.high)));
        draft
            .fault(spot, key, format!("{text:?} is out of range"))
            .allowed(format!("{low} to {high} {unit}"))
            .act("correct the number or its unit");
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
        let act = if number.contains(',') {
            "write a decimal point, not a comma, and no separators between thousands"
        } else {
            "write a number, a space and a unit"
        };
        draft.fault(spot, key, format!("{text:?} does not begin with a number")).allowed(example(quantity)).act(act);
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
    let what = match found {
        Some(other) => format!("{name:?} is a unit of {}, not of {}", word(other.quantity), word(quantity)),
        None if name.is_empty() => "there is no unit".to_owned(),
        None => format!("{name:?} is no known unit"),
    };
    let act = match quantity {
        Quantity::GaugePressure => {
            "write one of these; an absolute pressure has to be turned into gauge pressure first"
        }
        _ => "write one of these",
    };
    let names = Unit::names(quantity);
    draft.fault(spot, key, what).allowed(names.join(", ")).nearest(nearest(name, names.iter().copied())).act(act);
    None
}

/// A finite number; not the words that Rust also takes for one.
pub(super) fn plain(number: &str) -> Option<f64> {
    let digits = number.chars().all(|c| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | 'e' | 'E'));
    number.parse().ok().filter(|n: &f64| digits && n.is_finite())
}

fn example(quantity: Quantity) -> String {
    format!("for example \"20 {}\"; units: {}", quantity.si_name(), units(quantity))
}

/// The quantity in a word.
pub(super) fn word(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Mass => "mass",
        Quantity::MassFlow => "mass flow",
        Quantity::Volume => "volume",
        Quantity::VolumeFlow => "volume flow",
        Quantity::Density => "density",
        Quantity::Length => "length",
        Quantity::GaugePressure => "gauge pressure",
        Quantity::Temperature => "temperature",
        Quantity::Viscosity => "viscosity",
        Quantity::Time => "time",
        Quantity::Ratio => "ratio",
        Quantity::YesNo => "yes or no",
    }
}

/// A number with at most four digits behind its first, as people read it.
pub(super) fn short(number: f64) -> String {
    match format!("{number:.4e}").parse::<f64>() {
        Ok(rounded) => (rounded + 0.0).to_string(),
        Err(_) => number.to_string(),
    }
}
