//! What is shown of the readings: a table, what cannot be told, the lines for the site file; or all of it as JSON.
//! Pure.

use super::readings::{Against, Reading};
use super::{Expected, Moves, Sample, Source, lines};
use crate::config::signals::SignalForm;
use serde_json::{Value, json};
use std::fmt::{self, Write as _};

/// Readings shown that nothing speaks against; JSON has them all.
const TIES_SHOWN: usize = 15;
/// Others that are shown.
const OTHERS_SHOWN: usize = 5;
/// Columns of a terminal.
const COLUMNS: usize = 80;
/// Words of registers on one line.
const WORDS_A_LINE: usize = 8;

/// Everything that was asked, read and found.
#[derive(Debug)]
pub struct Report<'r> {
    /// Where.
    pub source: &'r Source,
    /// The kind of signal that is looked for.
    pub form: &'r SignalForm,
    /// What is known of it.
    pub expected: &'r Expected,
    /// What was read; at least one word.
    pub samples: &'r [Sample],
    /// What the device refused: first and last address, and the exception code.
    pub refused: &'r [(u16, u16, u8)],
    /// Reads with an answer.
    pub answered: usize,
    /// Reads without.
    pub missed: usize,
    /// Every reading that fits.
    pub readings: &'r [Reading],
    /// Index of the one to write lines for.
    pub chosen: usize,
}

/// Digits of a value: what a single holds.
const VALUE_DIGITS: usize = 7;
/// Digits of a movement.
const MOVED_DIGITS: usize = 4;
/// Columns of the table for a value, and for a movement with its sign.
const VALUE_COLUMNS: usize = 12;
/// See above.
const MOVED_COLUMNS: usize = 10;

/// A number to so many digits, as short as it goes.
fn figure(number: f64, digits: usize) -> String {
    match format!("{number:.*e}", digits - 1).parse::<f64>() {
        Ok(0.0) => "0".to_owned(),
        Ok(rounded) if (1e-4..1e9).contains(&rounded.abs()) => rounded.to_string(),
        Ok(rounded) => format!("{rounded:e}"),
        Err(_) => number.to_string(),
    }
}

/// The same with as many of the digits as so many columns hold.
fn fitting(number: f64, digits: usize, columns: usize) -> String {
    let fits = |digits| Some(figure(number, digits)).filter(|text| text.len() <= columns);
    (1..=digits).rev().find_map(fits).unwrap_or_else(|| figure(number, 1))
}

fn chance(part: f64) -> String {
    if part >= 0.01 { format!("{part:.2}") } else { format!("{part:.0e}") }
}

/// A device's exceptions in words (Modbus Application Protocol V1.1b3, 7), with what to do.
#[must_use]
pub fn exception(code: u8, function: u8) -> String {
    let other = if function == 3 { 4 } else { 3 };
    match code {
        1 => format!("exception 1, illegal function: it does not know function {function}; try --function {other}"),
        2 => format!(
            "exception 2, illegal address: it has no such register. Papers that count from 1 need --address-base 1, or \
             the register is read by --function {other}; a number like 40041 or 30041 in papers mostly is register 41 \
             of function 3 or 4, counted from 1"
        ),
        3 => "exception 3, illegal value: often too many registers in one request; name fewer".to_owned(),
        4 => "exception 4: the device failed while it read them; look at the device".to_owned(),
        5 | 6 => format!("exception {code}: it is busy; try again"),
        0x0A => "exception 10: the gateway has no path to that unit; check --unit and the gateway".to_owned(),
        0x0B => "exception 11: the unit does not answer the gateway; check --unit and the serial line".to_owned(),
        _ => format!("exception {code}, which the standard does not know; see the device's papers"),
    }
}

impl Against {
    fn word(self) -> &'static str {
        match self {
            Against::Jumps => "jumps",
            Against::MovesOtherwise => "moves wrong",
            Against::Tiny => "is tiny",
        }
    }

    fn meant(self) -> &'static str {
        match self {
            Against::Jumps => "a step of more than a tenth of the range from one read to the next.",
            Against::MovesOtherwise => "it does not move the way --moves says.",
            Against::Tiny => "a float next to nothing and not 0: these words are hardly a float.",
        }
    }
}

impl Reading {
    fn counts_in(&self) -> String {
        let mut text = self.meaning.unit.name.to_owned();
        if self.meaning.is_absolute() {
            text = text.replace("gauge", "absolute");
        }
        if self.meaning.scale != 1.0 {
            // Writing to a String cannot fail.
            let _ = write!(text, " x {}", self.meaning.scale);
        }
        text
    }

    fn typed(&self) -> String {
        format!("{} {}", self.register.data.name(), self.register.order.name())
    }

    fn last_address(&self) -> u16 {
        self.register.address + (self.register.count() - 1)
    }
}

impl Report<'_> {
    /// Readings that nothing speaks against come first; so many.
    fn ties(&self) -> usize {
        self.readings.partition_point(|reading| reading.against.is_none())
    }

    fn was_watched(&self) -> bool {
        self.answered + self.missed > 1
    }

    fn own(&self, si: f64) -> String {
        format!("{} {}", figure(self.expected.unit.from_si(si), VALUE_DIGITS), self.expected.unit)
    }

    fn registers(&self, first: u16, last: u16) -> String {
        let (first, last) = (self.source.number(first), self.source.number(last));
        if first == last { first.to_string() } else { format!("{first}-{last}") }
    }

    /// "1", "1 and 2", "1 to 3", "1, 2, 5".
    fn numbers(list: &[usize]) -> String {
        let numbers: Vec<String> = list.iter().map(|i| (i + 1).to_string()).collect();
        match numbers.as_slice() {
            [.., _, _, _] if list[list.len() - 1] - list[0] + 1 == list.len() => {
                format!("{} to {}", numbers[0], numbers[numbers.len() - 1])
            }
            [others @ .., one, other] => {
                others.iter().map(|n| n.clone() + ", ").collect::<String>() + one + " and " + other
            }
            others => others.concat(),
        }
    }

    fn line(&self, index: usize, reading: &Reading) -> String {
        let unit = self.expected.unit;
        let mut line = format!(
            "{:>3} {:>12} {:<11} {:<10} {:<21} {:>6}",
            index + 1,
            fitting(unit.from_si(reading.value()), VALUE_DIGITS, VALUE_COLUMNS),
            self.registers(reading.register.address, reading.last_address()),
            reading.typed(),
            reading.counts_in(),
            chance(reading.chance),
        );
        if let Some(against) = reading.against {
            let _ = write!(line, " {}", against.word());
        } else if self.was_watched() {
            let moved = fitting(reading.moved() / unit.step_to_si(1.0), MOVED_DIGITS, MOVED_COLUMNS - 1);
            let _ = write!(
                line,
                " {:>10}",
                if moved.starts_with('-') || moved == "0" { moved } else { format!("+{moved}") }
            );
        }
        line
    }

    fn table(&self, f: &mut fmt::Formatter<'_>, from: usize, to: usize, most: usize, last: &str) -> fmt::Result {
        let value = format!("in {}", self.expected.unit);
        let head = format!(
            "{:>3} {value:>12} {:<11} {:<10} {:<21} {:>6} {last:>10}",
            "", "register", "type order", "counts in", "chance"
        );
        writeln!(f, "{}", head.trim_end())?;
        for (i, reading) in self.readings[from..to].iter().enumerate().take(most) {
            writeln!(f, "{}", self.line(from + i, reading))?;
        }
        if to - from > most {
            writeln!(f, "    ... and {} more; --json lists them all", to - from - most)?;
        }
        Ok(())
    }

    fn head(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Source { device, unit, address_base, .. } = self.source;
        let place = device.clone().unwrap_or_else(|| self.source.leads());
        let function = self.samples.first().map_or(0, |sample| sample.function);
        writeln!(f, "{place}, unit {unit}, function {function}, registers counted from {address_base}.")?;
        let missed = if self.missed > 0 { format!("; {} had no answer", self.missed) } else { String::new() };
        match self.answered + self.missed {
            1 => writeln!(f, "Read once:")?,
            times => writeln!(f, "Read {times} times{missed}. The last words:")?,
        }
        for sample in self.samples {
            let words = sample.reads.last().map(Vec::as_slice).unwrap_or_default();
            for (at, words) in (sample.address..=u16::MAX).step_by(WORDS_A_LINE).zip(words.chunks(WORDS_A_LINE)) {
                let at = self.source.number(at);
                let words: Vec<String> = words.iter().map(|word| format!("{word:04x}")).collect();
                writeln!(f, "  {at:>5}: {}", words.join(" "))?;
            }
        }
        for &(first, last, code) in self.refused {
            let what = format!("Not read, {}: {}.", self.source.named(first, last), exception(code, function));
            writeln!(f, "{}", wrapped(&what))?;
        }
        let (low, high) = (self.own(self.expected.low), self.own(self.expected.high));
        let what = format!("Looked for: {} between {low} and {high}.", self.form.name);
        writeln!(f, "{}\n", wrapped(&what))
    }

    /// What cannot be told from these words, and what would tell it.
    #[must_use]
    pub fn notes(&self) -> Vec<String> {
        let ties = self.ties();
        let mut notes = Vec::new();
        notes.extend(self.of_the_words());
        if self.readings.is_empty() {
            notes.push(
                "No reading of these words lies in the range. Is it the range that the device's own display shows now? \
                 Other addresses, the other --function, or one register more or less (a value of 32 bits takes two, of \
                 64 bits four) may hold it; a device that hides a value answers with a fixed word."
                    .to_owned(),
            );
            return notes;
        }
        let Some(first) = self.readings[..ties].first() else {
            notes.push(
                "Every reading that fits has something against it: do not take one of them before another watch, or the \
                 device's papers, have cleared that up."
                    .to_owned(),
            );
            return notes;
        };
        let alike: Vec<usize> = (0..ties).filter(|&i| self.readings[i].is_same_value(first)).collect();
        let other: Vec<usize> = (0..ties).filter(|i| !alike.contains(i)).collect();
        if alike.len() > 1 {
            notes.push(format!(
                "Readings {} give the same value at every read: {}. These words cannot tell them apart; the device's \
                 papers can, or a value that is negative or needs the other registers.",
                Self::numbers(&alike),
                alike.iter().map(|&i| self.named(i)).collect::<Vec<_>>().join("; "),
            ));
        }
        if let Some(&second) = other.first() {
            notes.push(format!(
                "{} and {} both fit, and say {} and {}. {}",
                self.named(alike[0]),
                self.named(second),
                self.own(first.value()),
                self.own(self.readings[second].value()),
                self.what_would_tell(),
            ));
        }
        notes.extend(self.of_the_chosen());
        notes
    }

    /// What would part readings that all fit.
    fn what_would_tell(&self) -> &'static str {
        match (self.was_watched(), self.expected.moves) {
            (false, _) => {
                "Read again when the value has moved: --watch 60, with --moves rising or falling where you know which; \
                 or narrow the range to what the device's own display shows."
            }
            (true, None) => "Say which way it moves (--moves rising or falling), or narrow the range.",
            (true, Some(_)) => "Read again when the value is far from now, or narrow the range.",
        }
    }

    /// What the words themselves say, whatever they mean.
    fn of_the_words(&self) -> Vec<String> {
        let mut notes = Vec::new();
        let reads = || self.samples.iter().flat_map(|sample| &sample.reads);
        for (word, shown) in [(0, "0"), (0xffff, "ffff")] {
            if reads().flatten().all(|w| *w == word) {
                notes.push(format!(
                    "Every word is {shown}: many devices answer so for registers that hold nothing. Nothing can be told \
                     from these."
                ));
            }
        }
        let is_still = self.samples.iter().all(|sample| sample.reads.windows(2).all(|pair| pair[0] == pair[1]));
        if self.was_watched() && is_still {
            notes.push("No word changed while it was watched: watch while the value moves.".to_owned());
        }
        notes
    }

    /// How the lines of the chosen reading are to be understood.
    fn of_the_chosen(&self) -> Vec<String> {
        let Some(reading) = self.readings.get(self.chosen) else { return Vec::new() };
        let wire = reading.register.address;
        let mut notes = vec![format!(
            "Reading {} begins at register {wire} on the wire, where counting is from 0. Papers that call it {wire} count \
             from 0 (address_base = 0), papers that call it {} count from 1 (address_base = 1).",
            self.chosen + 1,
            u32::from(wire) + 1,
        )];
        if reading.meaning.is_absolute() {
            notes.push(
                "It would be a pressure above vacuum, turned into gauge pressure by the standard atmosphere of 101.325 kPa; \
                 the weather moves the true one by about 3 %. Open to the air such an instrument shows about 101 kPa, a \
                 gauge instrument 0."
                    .to_owned(),
            );
        }
        notes
    }

    /// "f32 ABCD at 40-41 in kg".
    fn named(&self, index: usize) -> String {
        let reading = &self.readings[index];
        let registers = self.registers(reading.register.address, reading.last_address());
        format!("{} at {registers} in {}", reading.typed(), reading.counts_in())
    }

    /// Lines for the site file; `None` where nothing fits.
    #[must_use]
    pub fn lines(&self) -> Option<String> {
        self.readings.get(self.chosen).map(|reading| lines::lines(self.source, self.form, reading))
    }

    /// All of it; every reading.
    #[must_use]
    pub fn json(&self) -> Value {
        let words = |sample: &Sample| json!({"function": sample.function, "wire_address": sample.address, "reads": sample.reads});
        let refused = |&(first, last, code): &(u16, u16, u8)| json!({"first_wire_address": first, "last_wire_address": last, "exception": code});
        let reading = |reading: &Reading| {
            let register = &reading.register;
            json!({
                "function": register.function, "wire_address": register.address,
                "address": self.source.number(register.address), "type": register.data.name(),
                "order": register.order.name(), "unit": reading.meaning.unit.name, "scale": reading.meaning.scale,
                "offset": reading.meaning.offset, "absolute": reading.meaning.is_absolute(),
                "values_si": reading.values, "value": self.expected.unit.from_si(reading.value()),
                "chance": reading.chance,
                "against": reading.against.map(|against| match against {
                    Against::Jumps => "jumps",
                    Against::MovesOtherwise => "moves_otherwise",
                    Against::Tiny => "tiny",
                }),
            })
        };
        json!({
            "kind": self.form.name, "device": self.source.device, "modbus_unit": self.source.unit,
            "address_base": self.source.address_base,
            "expected": {
                "low_si": self.expected.low, "high_si": self.expected.high, "unit": self.expected.unit.name,
                "moves": self.expected.moves.map(|moves| match moves {
                    Moves::Rising => "rising",
                    Moves::Falling => "falling",
                }),
            },
            "answered": self.answered, "missed": self.missed,
            "samples": self.samples.iter().map(words).collect::<Vec<_>>(),
            "refused": self.refused.iter().map(refused).collect::<Vec<_>>(),
            "readings": self.readings.iter().map(reading).collect::<Vec<_>>(),
            "ties": self.ties(), "notes": self.notes(),
            "chosen": self.lines().map(|lines| json!({"number": self.chosen + 1, "site_lines": lines})),
        })
    }
}

impl fmt::Display for Report<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.head(f)?;
        let (ties, all) = (self.ties(), self.readings.len());
        let moved = if self.was_watched() { "moved" } else { "" };
        if ties > 0 {
            let what = if ties == 1 {
                "1 reading fits"
            } else {
                &format!("{ties} readings fit and nothing speaks against them, the likeliest first")
            };
            writeln!(f, "{what}:")?;
            self.table(f, 0, ties, TIES_SHOWN, moved)?;
            let and = if self.was_watched() { "\nand stay as close together" } else { "" };
            writeln!(f, "chance: the part of all possible words that would fit as well{and}.\n")?;
        }
        if all > ties {
            writeln!(f, "In the range, but something speaks against {}:", if all - ties == 1 { "it" } else { "them" })?;
            self.table(f, ties, all, OTHERS_SHOWN, "but it")?;
            for against in [Against::Jumps, Against::MovesOtherwise, Against::Tiny] {
                if self.readings[ties..].iter().any(|reading| reading.against == Some(against)) {
                    writeln!(f, "{}: {}", against.word(), against.meant())?;
                }
            }
            writeln!(f)?;
        }
        for note in self.notes() {
            writeln!(f, "{}\n", wrapped(&note))?;
        }
        if let Some(lines) = self.lines() {
            let other = if all > 1 { " (for another: --choose)" } else { "" };
            write!(f, "Reading {} for the site file{other}:\n\n{lines}", self.chosen + 1)?;
        }
        Ok(())
    }
}

/// The text in lines that fit a terminal.
fn wrapped(text: &str) -> String {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let line = lines.last_mut().expect("one at least");
        if line.is_empty() {
            line.push_str(word);
        } else if line.chars().count() + 1 + word.chars().count() <= COLUMNS {
            line.push(' ');
            line.push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::super::readings::readings;
    use super::super::readings::tests::truth;
    use super::*;
    use crate::config::signals::FORMS;
    use crate::poll::way::Way;
    use proptest::prelude::*;

    fn source() -> Source {
        let way = Way::Tcp { address: "127.0.0.1:1502".into() };
        Source { device: None, link: None, way, unit: 1, address_base: 1 }
    }

    proptest! {
        /// Whatever was read: the text fits a terminal, the JSON has every reading, and both say the same of them.
        #[test]
        fn the_table_fits_a_terminal_and_the_json_has_everything(truth in truth(), pick in any::<prop::sample::Index>()) {
            let samples = truth.samples();
            let found = readings(&samples, &truth.expected);
            let form = FORMS.iter().find(|form| form.quantity == truth.expected.quantity).unwrap_or(&FORMS[0]);
            let report = Report {
                source: &source(), form, expected: &truth.expected, samples: &samples, refused: &[(7, 7, 2)],
                answered: samples[0].reads.len(), missed: 0, readings: &found, chosen: pick.index(found.len()),
            };
            let (text, json) = (report.to_string(), report.json());
            for line in text.lines() {
                prop_assert!(line.chars().count() <= COLUMNS, "{line}");
            }
            let all = json["readings"].as_array().expect("a list");
            prop_assert_eq!(all.len(), found.len());
            let ties = usize::try_from(json["ties"].as_u64().expect("a number")).expect("few");
            prop_assert!(all[..ties].iter().all(|r| r["against"].is_null()));
            prop_assert!(all[ties..].iter().all(|r| r["against"].is_string()));
            let lines = json["chosen"]["site_lines"].as_str().expect("lines");
            prop_assert!(text.ends_with(lines));
        }
    }

    #[test]
    fn a_long_number_loses_digits_before_it_breaks_the_table() {
        assert_eq!(fitting(-1.588_794e-41, 7, 12), "-1.58879e-41");
        assert_eq!(fitting(-1.588_794e-300, 7, 12), "-1.5888e-300");
        assert_eq!(fitting(20_123.6, 7, 12), "20123.6");
    }

    #[test]
    fn numbers_read_as_people_write_them() {
        for (number, digits, text) in [
            (20_123.599_999_6, 7, "20123.6"),
            (-0.000_000_1, 7, "-1e-7"),
            (-0.0, 7, "0"),
            (26_000.0, 4, "26000"),
            (123_456.0, 4, "123500"),
            (1.5e12, 7, "1.5e12"),
        ] {
            assert_eq!(figure(number, digits), text);
        }
        assert_eq!((chance(1.0), chance(0.123), chance(0.000_98)), ("1.00".into(), "0.12".into(), "1e-3".into()));
    }

    /// The codes of the standard: Modbus Application Protocol V1.1b3, 7.
    #[test]
    fn each_exception_says_what_to_do() {
        for (code, words) in [(1, "--function 4"), (2, "--address-base 1"), (3, "fewer"), (6, "busy"), (0x0B, "--unit")]
        {
            let said = exception(code, 3);
            assert!(said.contains(words) && said.starts_with(&format!("exception {code}")), "{said}");
        }
        assert!(exception(99, 4).contains("does not know"));
    }
}
