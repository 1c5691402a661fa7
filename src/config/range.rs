//! A range of a quantity as it is typed on a command line: two amounts with two dots between.

use super::amount;
use super::fault::{Draft, Faults, Spot};
use crate::units::{Quantity, Unit};

/// A range and the unit that people think of it in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Lower end, SI.
    pub low: f64,
    /// Upper end, SI; above the lower.
    pub high: f64,
    /// The unit that the lower end was written in.
    pub unit: Unit,
}

/// Reads a range such as `18 t..26000 kg`; `option` is where it was typed, for the message.
///
/// # Errors
/// What is wrong with it: no two ends, no number, a unit that is none of the quantity's, ends that are swapped.
pub fn range(option: &str, text: &str, quantity: Quantity) -> Result<Range, Faults> {
    let mut draft = Draft::default();
    let file = draft.open(option, text);
    let whole = Spot { file, span: Some(0..text.len()) };
    let example = || format!("for example \"18 {0}..26 {0}\"; units: {1}", quantity.si_name(), amount::units(quantity));
    let Some((low, high)) = text.split_once("..") else {
        draft.fault(&whole, option, format!("{text:?} is no range")).allowed(example()).act(
            "write the lower end, two dots and the upper end, each a number with its unit: what the device's own \
             display shows lies between",
        );
        return Err(draft.finish());
    };
    let at = low.len() + "..".len();
    let spots = [Spot { file, span: Some(0..low.len()) }, Spot { file, span: Some(at..text.len()) }];
    let ends =
        [low, high].into_iter().zip(&spots).map(|(end, spot)| amount::parse(&mut draft, spot, option, end, quantity));
    let [Some((low, unit)), Some((high, of_high))] = ends.collect::<Vec<_>>()[..] else { return Err(draft.finish()) };
    let range = Range { low: unit.to_si(low), high: of_high.to_si(high), unit };
    if range.low >= range.high {
        let act = if range.low == range.high { "leave room between the ends" } else { "swap the ends" };
        draft.fault(&whole, option, format!("{text:?} does not rise")).allowed("lower end below upper end").act(act);
        return Err(draft.finish());
    }
    Ok(range)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_may_have_units_of_their_own() {
        let range = range("--expect", "-5 C..104 F", Quantity::Temperature).expect("a range");
        assert_eq!(range.unit.name, "C");
        assert!((range.low + 5.0).abs() < 1e-12 && (range.high - 40.0).abs() < 1e-9, "{range:?}");
    }

    #[test]
    fn what_is_no_range_is_said_with_what_to_do() {
        for (text, words) in [
            ("18000 kg", "no range"),
            ("18000 kg..26000 m", "unit of length, not of mass"),
            ("18000..26000 kg", "no unit"),
            ("26000 kg..18 t", "swap the ends"),
            ("18000 kg..18 t", "leave room"),
            ("..", "does not begin with a number"),
            ("18,000 kg..26,000 kg", "decimal point"),
            ("18000 kgs..26000 kg", "nearest: kg"),
            ("\u{e9}..\u{e9}", "does not begin with a number"),
        ] {
            let said = range("--expect", text, Quantity::Mass).expect_err(text).to_string();
            assert!(said.contains(words) && said.contains("--expect"), "{text}: {said}");
        }
    }
}
