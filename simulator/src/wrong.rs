//! What goes wrong, as people write it: in scenario files, at the command line, on the trainer's page.
//!
//! ```text
//! leak after the meter, 3 kg/min, at 25 min
//! tank level: stuck, at 40 min, for 5 min
//! ```
//! A mishap of trailer, line and tank by its name, or an instrument and what is wrong with it; its size where it has
//! one; when it begins, counted from the start of the transfer (left out: it is so from arrival on); how long it lasts
//! (left out: for good).

use crate::bay::SimulatedBay;
use crate::bay::gauge_number;
use crate::instruments::{Instrument, InstrumentFault, Wrong};
use crate::plant::fault::{Mishap, PlantFault};
use crate::server::saying;
use brimwatch::config::{BaySetup, SignalSetup};
use brimwatch::poll::registers::{Place, Status, StatusRegister};
use brimwatch::units::{Quantity, Unit};
use std::fmt;

/// Longest time that may be written, s: no transfer lasts a day.
const LONGEST_S: f64 = 86_400.0;

/// What.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// With trailer, line or tank.
    Plant(Mishap),
    /// With an instrument, its device or its gateway.
    Instrument(Instrument, Wrong),
}

/// What goes wrong, how much and when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GoesWrong {
    /// What.
    pub what: What,
    /// How much, in the unit that [`Mishap`] or [`Wrong`] says; 0 where it means nothing.
    pub size: f64,
    /// When it begins, s after the start of the transfer; none: from arrival on.
    pub at_s: Option<f64>,
    /// How long it lasts, s; infinite for good.
    pub for_s: f64,
}

/// How the size of something is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Size {
    /// It has none.
    Nothing,
    /// A change of a quantity, or a value of it (only where the flag is set does a unit's zero count).
    Of(Quantity, bool),
    /// A change of it each second or hour.
    Each(Quantity, &'static str),
}

impl What {
    /// Everything that can go wrong.
    pub fn all() -> impl Iterator<Item = What> {
        let with = |on| Wrong::ALL.into_iter().map(move |wrong| What::Instrument(on, wrong));
        Mishap::ALL.into_iter().map(What::Plant).chain(Instrument::ALL.into_iter().flat_map(with))
    }

    /// An example of a size with its unit; empty where it has none.
    #[must_use]
    pub fn size_example(self) -> String {
        match self.size() {
            Size::Nothing => String::new(),
            Size::Of(quantity, _) => format!("1 {}", unit_name(quantity)),
            Size::Each(quantity, time) => format!("1 {}/{time}", unit_name(quantity)),
        }
    }

    fn size(self) -> Size {
        match self {
            What::Plant(mishap) => match mishap {
                Mishap::LeakBeforeMeter
                | Mishap::LeakOnDeck
                | Mishap::LeakAfterMeter
                | Mishap::DrawOff
                | Mishap::Inflow => Size::Of(Quantity::MassFlow, false),
                Mishap::OtherTank | Mishap::Plug => Size::Of(Quantity::Ratio, false),
                Mishap::PadChange => Size::Of(Quantity::GaugePressure, false),
                Mishap::PadCreep => Size::Each(Quantity::GaugePressure, "s"),
                Mishap::Clogging => Size::Each(Quantity::Ratio, "s"),
                Mishap::RegulatorOpen | Mishap::SupplyLost | Mishap::DrivesOff => Size::Nothing,
            },
            What::Instrument(on, wrong) => match wrong {
                Wrong::Shift => Size::Of(measured(on), false),
                Wrong::Saturated | Wrong::Elsewhere => Size::Of(measured(on), true),
                Wrong::Creep => Size::Each(measured(on), "h"),
                Wrong::Gain => Size::Of(Quantity::Ratio, false),
                Wrong::Stuck | Wrong::Exception | Wrong::Silent | Wrong::Replayed | Wrong::Says(_) => Size::Nothing,
            },
        }
    }

    /// Whether it can go wrong at a bay with these instruments.
    ///
    /// # Errors
    /// When the bay has no such instrument, or its device cannot say so.
    pub fn can(self, bay: &str, wired: &[Wired]) -> Result<(), String> {
        let What::Instrument(on, wrong) = self else { return Ok(()) };
        let mut own = wired.iter().filter(|(instrument, _)| *instrument == on).peekable();
        if own.peek().is_none() {
            return Err(format!("\"{self}\": bay {bay} has no {on}"));
        }
        let Wrong::Says(says) = wrong else { return Ok(()) };
        let can_say = |status: &StatusRegister| status.says(saying(status, says)) == says;
        if own.any(|(_, status)| status.as_ref().is_some_and(can_say)) {
            return Ok(());
        }
        let key = match says {
            Status::Failure | Status::Fair => "status_failure",
            Status::FunctionCheck => "status_check",
            Status::OutOfSpecification => "status_out_of_spec",
            Status::MaintenanceRequired => "status_maintenance",
        };
        Err(format!(
            "\"{self}\": the device of the {on} has no bit that says so; where its papers name one, write \
             status_address and {key} in its [[bay.signal]] of the site file"
        ))
    }

    fn named(name: &str) -> Option<What> {
        What::all().find(|what| what.to_string() == name)
    }
}

/// The instrument that a signal is of, and the register in which its device says how it does.
pub type Wired = (Instrument, Option<StatusRegister>);

/// Those of a bay, in the order of its signals.
#[must_use]
pub fn wired(setup: &BaySetup) -> Vec<Wired> {
    let signals = setup.settings.signals.iter().zip(&setup.places).enumerate();
    let wire = |(at, (signal, place)): (usize, (&SignalSetup, &Place))| {
        (Instrument::of(signal.kind, gauge_number(&setup.settings, at)), place.status)
    };
    signals.map(wire).collect()
}

impl fmt::Display for What {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            What::Plant(mishap) => mishap.fmt(f),
            What::Instrument(on, wrong) => write!(f, "{on}: {wrong}"),
        }
    }
}

/// What an instrument measures.
fn measured(on: Instrument) -> Quantity {
    match on {
        Instrument::Meter | Instrument::DrawOff => Quantity::MassFlow,
        Instrument::LineDensity => Quantity::Density,
        Instrument::Scale => Quantity::Mass,
        Instrument::Level | Instrument::SecondLevel => Quantity::Length,
        Instrument::LevelPressure | Instrument::TankPressure | Instrument::Pad | Instrument::Supply => {
            Quantity::GaugePressure
        }
        Instrument::LineTemperature
        | Instrument::TankTemperature
        | Instrument::PadGasTemperature
        | Instrument::DewPoint => Quantity::Temperature,
        Instrument::HighLevelSwitch
        | Instrument::ShutoffClosed
        | Instrument::EmergencyStop
        | Instrument::ShutoffBypassed => Quantity::Ratio,
    }
}

/// Pressures are written "kPa gauge"; one that is changed is not above anything.
fn unit_name(quantity: Quantity) -> &'static str {
    quantity.si_name().trim_end_matches(" gauge")
}

impl GoesWrong {
    /// Reads one.
    ///
    /// # Errors
    /// What is wrong with it, what may be written and what comes nearest.
    pub fn parse(text: &str) -> Result<GoesWrong, String> {
        let mut parts = text.split(',').map(str::trim);
        let name = parts.next().unwrap_or_default();
        let what = What::named(name).ok_or_else(|| unknown(name))?;
        let (mut size, mut at_s, mut for_s) = (None, None, None);
        for part in parts {
            if let Some(time) = part.strip_prefix("at ") {
                once(&mut at_s, seconds(time)?, text, "at")?;
            } else if let Some(time) = part.strip_prefix("for ") {
                once(&mut for_s, seconds(time)?, text, "for")?;
            } else {
                once(&mut size, read_size(what, part)?, text, "size")?;
            }
        }
        let example = what.size_example();
        let size = match size {
            None if !example.is_empty() => {
                return Err(format!("\"{text}\": how much? Write \"{what}, {example}\" with your figure"));
            }
            size => size.unwrap_or(0.0),
        };
        Ok(GoesWrong { what, size, at_s, for_s: for_s.unwrap_or(f64::INFINITY) })
    }

    /// Lets it go wrong in a bay whose transfer starts at `start_s` of the plant's clock.
    pub fn befall(&self, bay: &mut SimulatedBay, start_s: f64) {
        let GoesWrong { size, for_s, .. } = *self;
        let at_s = self.at_s.map_or(0.0, |at_s| start_s + at_s);
        match self.what {
            What::Plant(what) => bay.add_mishap(PlantFault { what, at_s, for_s, size }),
            What::Instrument(on, wrong) => bay.add_fault(InstrumentFault { wrong, on, at_s, for_s, size }),
        }
    }
}

fn once(kept: &mut Option<f64>, value: f64, text: &str, word: &str) -> Result<(), String> {
    match kept.replace(value) {
        None => Ok(()),
        Some(_) => Err(format!("\"{text}\": the {word} is written twice; leave one")),
    }
}

fn unknown(name: &str) -> String {
    let names: Vec<String> = What::all().map(|what| what.to_string()).collect();
    let near = |known: &&String| strsim::damerau_levenshtein(known, name);
    let nearest = names.iter().min_by_key(near).filter(|known| near(known) <= name.len() / 2);
    let nearest = nearest.map_or(String::new(), |known| format!(" the nearest is \"{known}\";"));
    let (plant, wrongs) = (list(&Mishap::ALL), list(&Wrong::ALL));
    let instruments = list(&Instrument::ALL);
    format!(
        "\"{name}\" is nothing that can go wrong here;{nearest} with trailer, line and tank: {plant}; with an \
         instrument, written \"tank level: stuck\": {wrongs}; instruments: {instruments}"
    )
}

fn list<T: fmt::Display>(all: &[T]) -> String {
    all.iter().map(T::to_string).collect::<Vec<_>>().join(", ")
}

/// A time, s.
fn seconds(text: &str) -> Result<f64, String> {
    let s = amount(text, Quantity::Time, Unit::to_si)?;
    if (0.0..=LONGEST_S).contains(&s) { Ok(s) } else { Err(format!("\"{text}\" is outside 0 s to 24 h")) }
}

fn read_size(what: What, text: &str) -> Result<f64, String> {
    match what.size() {
        Size::Nothing => Err(format!("\"{text}\": \"{what}\" has no size; leave it out")),
        Size::Of(quantity, false) => amount(text, quantity, Unit::step_to_si),
        Size::Of(quantity, true) => amount(text, quantity, Unit::to_si),
        Size::Each(quantity, time) => match text.strip_suffix(time).and_then(|t| t.strip_suffix('/')) {
            Some(change) => amount(change, quantity, Unit::step_to_si),
            None => Err(format!("\"{text}\" is no change with time; write it as \"{}\"", what.size_example())),
        },
    }
}

/// A number and a unit, as SI by `to_si`.
///
/// # Errors
/// What may be written.
pub fn amount(text: &str, quantity: Quantity, mut to_si: impl FnMut(Unit, f64) -> f64) -> Result<f64, String> {
    let text = text.trim();
    let (number, name) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let names = || Unit::names(quantity).join(", ");
    let number: f64 = number.parse().ok().filter(|n: &f64| n.is_finite()).ok_or_else(|| {
        format!("\"{text}\" does not begin with a number; write a number, a space and a unit of: {}", names())
    })?;
    let name = name.trim();
    // A change of a pressure, and a plain number.
    let written = [name.to_owned(), format!("{name} gauge"), if name.is_empty() { "1".into() } else { String::new() }];
    let unit = written.iter().filter_map(|name| Unit::parse(name)).find(|unit| unit.quantity == quantity);
    let unit = unit.ok_or_else(|| format!("\"{text}\": the unit must be one of: {}", names()))?;
    Ok(to_si(unit, number))
}

/// As it is read again: SI, in seconds.
impl fmt::Display for GoesWrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.what)?;
        match self.what.size() {
            Size::Nothing => {}
            Size::Of(quantity, _) => write!(f, ", {} {}", self.size, unit_name(quantity))?,
            Size::Each(quantity, time) => write!(f, ", {} {}/{time}", self.size, unit_name(quantity))?,
        }
        if let Some(at_s) = self.at_s {
            write!(f, ", at {at_s} s")?;
        }
        if self.for_s.is_finite() { write!(f, ", for {} s", self.for_s) } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected values by hand: 1 kPa is 1000 Pa, 9 F are 5 K as a step, 41 F are 5 C as a value.
    #[test]
    fn it_is_read_as_it_is_meant() {
        let read = |text: &str| GoesWrong::parse(text).unwrap_or_else(|why| panic!("{why}"));
        let leak = read("leak after the meter, 3 kg/min, at 25 min");
        assert_eq!(leak.what, What::Plant(Mishap::LeakAfterMeter));
        assert!((leak.size - 0.05).abs() < 1e-12 && leak.at_s == Some(1500.0) && leak.for_s.is_infinite());
        let stuck = read("tank level: stuck, for 90 s");
        assert_eq!(stuck.what, What::Instrument(Instrument::Level, Wrong::Stuck));
        assert!(stuck.at_s.is_none() && (stuck.for_s - 90.0).abs() < 1e-12);
        assert!((read("pad creep, 0.02 kPa/s").size - 20.0).abs() < 1e-9);
        assert!((read("truck scale: creep, 0.6 t/h").size - 600.0).abs() < 1e-9);
        assert!((read("line temperature: shift, 9 F").size - 5.0).abs() < 1e-9);
        assert!((read("line temperature: elsewhere, 41 F").size - 5.0).abs() < 1e-9);
        assert!((read("flow meter: gain, -2 %").size + 0.02).abs() < 1e-12);
        assert!((read("other tank, 1").size - 1.0).abs() < 1e-12);
    }

    #[test]
    fn what_is_written_is_read_again() {
        for what in What::all() {
            let size = if what.size_example().is_empty() { 0.0 } else { 1.25 };
            for (at_s, for_s) in [(None, f64::INFINITY), (Some(90.5), 10.0)] {
                let written = GoesWrong { what, size, at_s, for_s };
                assert_eq!(GoesWrong::parse(&written.to_string()), Ok(written));
            }
        }
    }

    /// Only what a bay has can go wrong at it, and a device says only what it has a bit for.
    #[test]
    fn what_cannot_go_wrong_at_a_bay_says_why() {
        let (site, _) = crate::scenario::works(std::path::Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let wired = wired(&site.bays[0]);
        let can = |text: &str| GoesWrong::parse(text).unwrap_or_else(|why| panic!("{why}")).what.can("Bay 1", &wired);
        assert_eq!(can("leak after the meter, 3 kg/min"), Ok(()));
        assert_eq!(can("tank level: says failure"), Ok(()));
        assert_eq!(can("flow meter: says out of specification"), Ok(()));
        let why = can("draw-off: stuck").expect_err("it has none");
        assert_eq!(why, "\"draw-off: stuck\": bay Bay 1 has no draw-off");
        let why = can("truck scale: says function check").expect_err("no register");
        assert!(why.contains("has no bit that says so") && why.contains("status_address and status_check"), "{why}");
    }

    #[test]
    fn what_cannot_be_read_says_what_may_be_written() {
        let why = |text: &str| GoesWrong::parse(text).expect_err(text);
        assert!(why("tank levle: stuck").contains("the nearest is \"tank level: stuck\""));
        assert!(why("bad luck").contains("with trailer, line and tank: leak before the meter"));
        assert!(why("leak after the meter").contains("how much? Write \"leak after the meter, 1 kg/s\""));
        assert!(why("leak after the meter, 3").contains("the unit must be one of: kg/s, kg/min"));
        assert!(why("drives off, 3 kg").contains("has no size"));
        assert!(why("pad creep, 3 kPa").contains("write it as \"1 Pa/s\""));
        assert!(why("drives off, at noon").contains("does not begin with a number"));
        assert!(why("drives off, at 2 min, at 3 min").contains("written twice"));
        assert!(why("drives off, at -2 min").contains("outside 0 s to 24 h"));
    }
}
