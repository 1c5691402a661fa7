//! `brimwatch decode`: what was typed, and what comes of it.

use super::ask::{self, Asked, Question};
use super::readings::{Reading, readings};
use super::report::{self, Report};
use super::{Expected, Moves, Source};
use crate::config::signals::{FORMS, SignalForm, by_name};
use crate::config::{self, Device, Link, Site};
use crate::engine::input::MissReason;
use crate::poll::blocks::{Forbidden, Manners, REGISTERS_MAX};
use crate::poll::way::{Parity, Serial, Way};
use crate::units::Quantity;
use crate::words::en;
use clap::ValueEnum;
use clap::builder::PossibleValuesParser;
use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Time between two reads where no site file says it, s.
const PERIOD_S: f64 = 1.0;
/// 125 registers at 1,200 baud take 2.3 s (Modbus over Serial Line V1.02: 11 bits a byte).
const TIME_OUT_S: f64 = 3.0;
/// A connection not made by then is none, s, where no site file says it.
const CONNECT_TIME_OUT_S: f64 = 2.0;
/// Longest watch, s: what is read is held in memory.
const WATCH_MOST_S: f64 = 3600.0;

/// What was typed.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// Host and port, or path of a serial port; with --site the name of a device or link there.
    device: String,
    /// Registers to read, by the numbers of the device's papers: 40 41, or 40-41. Nothing else is read.
    #[arg(required = true, value_name = "ADDRESS")]
    addresses: Vec<String>,
    /// What the value is, as in the site file.
    #[arg(long, value_parser = PossibleValuesParser::new(kinds()))]
    kind: String,
    /// Where it lies, for example "18000 kg..26000 kg": take it off the device's own display.
    #[arg(long, value_name = "LOW..HIGH", allow_hyphen_values = true)]
    expect: String,
    /// Site file that knows the device or link.
    #[arg(long, value_name = "FILE")]
    site: Option<PathBuf>,
    /// Modbus unit; that of the site file, else 1.
    #[arg(long)]
    unit: Option<u8>,
    /// 3 holding registers, 4 input registers.
    #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u8).range(3..=4))]
    function: u8,
    /// Number that the device's papers give to the first register, 0 or 1; that of the site file, else 0.
    #[arg(long, value_parser = clap::value_parser!(u16).range(0..=1))]
    address_base: Option<u16>,
    /// How frames are written to a host and port: tcp, or rtu for a gateway that passes bytes on.
    #[arg(conflicts_with = "site", long, value_enum, default_value_t = Framing::Tcp)]
    framing: Framing,
    /// Bits per second of a serial port.
    #[arg(conflicts_with = "site", long, value_parser = clap::value_parser!(u32).range(300..=921_600))]
    baud: Option<u32>,
    /// Parity bit of a serial port.
    #[arg(conflicts_with = "site", long, value_enum, default_value_t = ParityWord::Even)]
    parity: ParityWord,
    /// Stop bits of a serial port.
    #[arg(conflicts_with = "site", long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=2))]
    stop_bits: u8,
    /// Go on reading for so many seconds, to see what moves smoothly and what jumps.
    #[arg(long, value_name = "S", default_value_t = 0.0, value_parser = watch_s)]
    watch: f64,
    /// Which way the value moves meanwhile.
    #[arg(long, value_enum)]
    moves: Option<Moves>,
    /// Number of the reading to write the site file's lines for.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..=100_000))]
    choose: u64,
    /// Show everything as one JSON object.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Framing {
    Tcp,
    Rtu,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum ParityWord {
    Even,
    Odd,
    None,
}

/// Why there is nothing to show, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    /// A wrong command line or site file.
    Wrong(String),
    /// The machine refused something: address, network, port.
    Refused(String),
    /// The device gave no usable answer.
    NoAnswer(String),
}

/// What is to be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// Text or JSON.
    pub text: String,
    /// Whether any reading fits.
    pub fits: bool,
}

/// Kinds whose value is a number.
fn kinds() -> Vec<&'static str> {
    FORMS.iter().filter(|form| form.quantity != Quantity::YesNo).map(|form| form.name).collect()
}

fn watch_s(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(s) if (0.0..=WATCH_MOST_S).contains(&s) => Ok(s),
        _ => Err(format!("a number of seconds, 0 to {WATCH_MOST_S}")),
    }
}

/// Asks the device and ranks what comes.
///
/// # Errors
/// Why there is nothing to show.
pub async fn run(options: &Options) -> Result<Shown, Refusal> {
    let wrong = |why: String| Refusal::Wrong(why);
    let form = by_name(&options.kind).ok_or_else(|| wrong(format!("there is no kind {:?}", options.kind)))?;
    let range =
        config::range("--expect", &options.expect, form.quantity).map_err(|faults| wrong(faults.to_string()))?;
    let expected =
        Expected { quantity: form.quantity, low: range.low, high: range.high, unit: range.unit, moves: options.moves };
    let place = place(options).map_err(wrong)?;
    let addresses = addresses(options, &place).map_err(wrong)?;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "at most an hour of reads, and positive"
    )]
    let reads = (options.watch / place.period_s).floor() as usize + 1;
    if options.moves.is_some() && reads < 2 {
        let least = place.period_s;
        return Err(wrong(format!("--moves says what happens while it is watched: add --watch, {least} s or more")));
    }
    let question = Question {
        way: place.source.way.clone(),
        connect_time_out_s: place.connect_time_out_s,
        pause_s: place.pause_s,
        unit: place.source.unit,
        manners: place.manners.clone(),
        function: options.function,
        addresses,
        reads,
        period_s: place.period_s,
        time_out_s: place.time_out_s,
    };
    if reads > 1 {
        // Whoever does not listen does not hold up the watch.
        let _ = writeln!(io::stderr(), "brimwatch: reads {reads} times, for {} s", options.watch);
    }
    let asked = ask::ask(&question).await.map_err(|reason| no_answer(&place.source, reason))?;
    if asked.samples.is_empty() {
        return Err(Refusal::NoAnswer(refused(&asked, &place.source, options.function)));
    }
    shown(options, form, &expected, &place.source, &asked)
}

fn shown(
    options: &Options,
    form: &SignalForm,
    expected: &Expected,
    source: &Source,
    asked: &Asked,
) -> Result<Shown, Refusal> {
    let readings: Vec<Reading> = readings(&asked.samples, expected);
    let chosen = usize::try_from(options.choose).unwrap_or(usize::MAX) - 1;
    if chosen > 0 && chosen >= readings.len() {
        let why = format!("--choose {}: only {} readings fit; choose one of those", options.choose, readings.len());
        return Err(Refusal::Wrong(why));
    }
    let report = Report {
        source,
        form,
        expected,
        samples: &asked.samples,
        refused: &asked.refused,
        answered: asked.answered,
        missed: asked.missed.len(),
        readings: &readings,
        chosen,
    };
    let text = if options.json { report.json().to_string() + "\n" } else { report.to_string() };
    Ok(Shown { text, fits: !readings.is_empty() })
}

/// Where and how a device is asked.
struct Place {
    source: Source,
    connect_time_out_s: f64,
    pause_s: f64,
    period_s: f64,
    time_out_s: f64,
    manners: Manners,
}

fn place(options: &Options) -> Result<Place, String> {
    let place = match &options.site {
        Some(site) => of_site(options, &config::load(site).map_err(|faults| faults.to_string())?, site)?,
        None => typed(options)?,
    };
    let Source { way, unit, .. } = &place.source;
    if !matches!(way, Way::Tcp { .. }) && !(1..=247).contains(unit) {
        return Err(format!(
            "--unit {unit} is no address of a device on rtu. Allowed: 1 to 247 (Modbus over Serial Line V1.02, 2.2). Read \
             it off the device's settings"
        ));
    }
    Ok(place)
}

/// The device or link of that name in the site file.
fn of_site(options: &Options, site: &Site, path: &Path) -> Result<Place, String> {
    let name = &options.device;
    let declared = |link: &&Link| match &link.way {
        Way::Tcp { address } => *address != link.name,
        _ => true,
    };
    let (link, device): (&Link, Option<&Device>) = if let Some(device) = site.devices.iter().find(|d| d.name == *name) {
        (&site.links[device.link], Some(device))
    } else if let Some(link) = site.links.iter().filter(declared).find(|link| link.name == *name) {
        (link, None)
    } else {
        let names = site.devices.iter().map(|d| &d.name).chain(site.links.iter().filter(declared).map(|l| &l.name));
        let names: Vec<String> = names.map(|n| format!("{n:?}")).collect();
        return Err(format!(
            "{} has no device or link {name:?}. It has: {}. Write one of these, or leave --site out and give host and port \
             or a serial port",
            path.display(),
            names.join(", "),
        ));
    };
    let same_unit = |device: &&Device| options.unit.is_none_or(|unit| unit == device.unit);
    let known = device.filter(same_unit);
    Ok(Place {
        source: Source {
            device: known.map(|device| device.name.clone()),
            link: Some(link).filter(declared).map(|link| link.name.clone()),
            way: link.way.clone(),
            unit: options.unit.or(device.map(|d| d.unit)).unwrap_or(1),
            address_base: options.address_base.or(device.map(|d| d.address_base)).unwrap_or(0),
        },
        connect_time_out_s: link.connect_time_out_s,
        pause_s: link.pause_s,
        period_s: known.map_or(PERIOD_S, |device| device.period_s),
        time_out_s: known.map_or(TIME_OUT_S, |device| device.time_out_s),
        manners: known.map(|device| device.manners.clone()).unwrap_or_default(),
    })
}

/// A way that was typed out.
fn typed(options: &Options) -> Result<Place, String> {
    let text = &options.device;
    let way = if text.starts_with('/') {
        let baud = options.baud.ok_or_else(|| {
            format!("{text} is a serial port, which needs its speed: --baud, 300 to 921600, as the device is set")
        })?;
        let parity = match options.parity {
            ParityWord::Even => Parity::Even,
            ParityWord::Odd => Parity::Odd,
            ParityWord::None => Parity::None,
        };
        Way::Serial(Serial { port: PathBuf::from(text), baud, parity, stop_bits: options.stop_bits })
    } else {
        if let Some(baud) = options.baud {
            return Err(format!("--baud {baud} belongs to a serial port, and {text:?} is none: leave it out"));
        }
        let address = config::endpoint(text).ok_or_else(|| {
            format!(
                "{text:?} is neither host and port (127.0.0.1:502, [::1]:502) nor the path of a serial port (/dev/ttyS0). \
                 For the name of a device give the site file too: --site"
            )
        })?;
        match options.framing {
            Framing::Tcp => Way::Tcp { address },
            Framing::Rtu => Way::RtuOverTcp { address },
        }
    };
    let (unit, address_base) = (options.unit.unwrap_or(1), options.address_base.unwrap_or(0));
    Ok(Place {
        source: Source { device: None, link: None, way, unit, address_base },
        connect_time_out_s: CONNECT_TIME_OUT_S,
        pause_s: 0.0,
        period_s: PERIOD_S,
        time_out_s: TIME_OUT_S,
        manners: Manners::default(),
    })
}

/// Addresses on the wire, out of numbers of the device's papers.
fn addresses(options: &Options, place: &Place) -> Result<BTreeSet<u16>, String> {
    let base = place.source.address_base;
    let wire = |digits: &str| {
        let number = digits.parse::<u32>().ok().filter(|_| digits.bytes().all(|b| b.is_ascii_digit()))?;
        u16::try_from(number.checked_sub(u32::from(base))?).ok()
    };
    let mut all = BTreeSet::new();
    for text in &options.addresses {
        let (first, last) = text.split_once('-').unwrap_or((text, text));
        let (Some(first), Some(last)) = (wire(first), wire(last)) else {
            return Err(format!(
                "{text:?} is no register. Allowed: numbers from {base} to {}, as the device counts from {base} \
                 (--address-base), or a range such as 40-41",
                65_535 + u32::from(base)
            ));
        };
        if last < first {
            return Err(format!("{text:?} runs backwards: write the smaller number first"));
        }
        all.extend(first..=last);
    }
    let most = usize::from(REGISTERS_MAX);
    if all.len() > most {
        return Err(format!(
            "{} registers are named. Allowed: at most {most} at a time (Modbus Application Protocol V1.1b3, 6.3). Name those \
             near the one that is looked for",
            all.len()
        ));
    }
    let barred = |address: &&u16| {
        let holds = |f: &Forbidden| f.function == options.function && (f.from..=f.to).contains(*address);
        place.manners.not_read.iter().any(holds)
    };
    match all.iter().find(barred) {
        Some(address) => Err(format!(
            "register {} must not be read: it lies in not_read of that device in the site file. Name others",
            place.source.number(*address)
        )),
        None => Ok(all),
    }
}

/// Where it was asked, for words.
fn asked_at(source: &Source) -> String {
    format!("{}, unit {}", source.leads(), source.unit)
}

fn no_answer(source: &Source, reason: MissReason) -> Refusal {
    let (place, what) = (asked_at(source), en::missed(reason));
    let act = match reason {
        MissReason::NoConnection => "check host, port and network, and whether the device takes one connection only",
        MissReason::NameUnknown => "check the host's name, or write its address",
        MissReason::PortAbsent => "look for it among /dev/serial/by-id and /dev/tty*",
        MissReason::PortForbidden => "on many systems: add the user to the group dialout",
        MissReason::PortTaken => "stop what holds it, a running brimwatch watch among others",
        MissReason::NotSerial => "check the path, and whether it takes that speed and parity",
        MissReason::WrongUnit => "another unit answered: check --unit",
        MissReason::Malformed | MissReason::BadChecksum => {
            "check --framing, and speed, parity and stop bits: are they those of the device?"
        }
        _ => {
            "check --unit (a device answers to its own alone), and on a serial line speed, parity, stop bits and wiring"
        }
    };
    let why = format!("{place}: {what}; {act}");
    match reason {
        MissReason::NoConnection
        | MissReason::NameUnknown
        | MissReason::PortAbsent
        | MissReason::PortForbidden
        | MissReason::PortTaken
        | MissReason::NotSerial => Refusal::Refused(why),
        _ => Refusal::NoAnswer(why),
    }
}

fn refused(asked: &Asked, source: &Source, function: u8) -> String {
    let one = |&(first, last, code): &(u16, u16, u8)| {
        format!("{}, {}: {}", asked_at(source), source.named(first, last), report::exception(code, function))
    };
    asked.refused.iter().map(one).collect::<Vec<_>>().join("\n")
}
