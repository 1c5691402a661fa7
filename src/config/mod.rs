//! The site file: written file -> [`Site`] -> [`BaySetup`] with SI values and resolved tables.

pub mod change;
pub mod columns;
pub mod keys;
pub mod manual;
pub mod moment;
pub mod signals;
pub mod thresholds;

mod amount;
mod claims;
mod delivery;
mod density;
mod devices;
pub(crate) mod edit;
mod expected;
mod fault;
mod range;
mod register;
mod sense;
pub mod shape;
mod site;
mod status;
mod steps;
mod tables;
pub mod typed;
mod walk;

#[cfg(test)]
mod tests;

pub use columns::Columns;
#[cfg(feature = "live")]
pub(crate) use fault::nearest;
pub use fault::{COLUMNS, CUT_SHORT, Fault, Faults, SHOWN_MOST, Severity, wrapped};
pub use range::{Range, range};

use crate::poll::blocks::Manners;
use crate::poll::registers::{Place, Register};
use crate::poll::way::Way;
use crate::units::{Celsius, GaugePa, KgPerM3, KgPerS, Measures, Metre, PaS};
use fault::{Draft, Spot};
use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

/// What a site file describes, for those who read one without the watch itself (the simulator).
pub use crate::engine::settings::{
    DeliverySetup, LineSetup, LineStart, Settings, SignalKind, SignalSetup, TankGeometry,
};

/// A site, read and checked.
#[derive(Debug, Clone)]
pub struct Site {
    /// Name of the works.
    pub name: String,
    /// The file it was read from.
    pub path: PathBuf,
    /// Every text that made it: the site file first, then each file it names (name as written, text).
    pub texts: Vec<(String, String)>,
    /// Folder of the recordings.
    pub store: PathBuf,
    /// Days that idle recordings are kept.
    pub keep_idle_days: u32,
    /// Address of the page; loopback only, unless its door encrypts.
    pub listen: SocketAddr,
    /// How browsers reach the page.
    pub door: Door,
    /// Units of whoever has not chosen others on the page.
    pub units: Measures,
    /// Language of whoever has not chosen another on the page: its tag after BCP 47.
    pub language: String,
    /// The people who may act on the page; `None`: whoever is at this machine.
    pub people: Option<PathBuf>,
    /// Every way to devices.
    pub links: Vec<Link>,
    /// Every polled device.
    pub devices: Vec<Device>,
    /// Every product that a tank holds.
    pub products: Vec<ProductTable>,
    /// Every bay.
    pub bays: Vec<BaySetup>,
    /// What is allowed but should be known, in the order of files and lines.
    pub warnings: Vec<Fault>,
}

/// How browsers reach the page.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Door {
    /// Host names by which it is reached, beside those of loopback.
    pub names: Vec<String>,
    /// Files of the certificate and of its key.
    pub tls: Option<(PathBuf, PathBuf)>,
    /// Somebody in front encrypts.
    pub behind_proxy: bool,
}

/// One way to devices: a TCP connection or a serial line. Those that share it are asked in turn.
#[derive(Debug, Clone, PartialEq)]
pub struct Link {
    /// Name in the site file; the address where the device names that itself.
    pub name: String,
    /// Where it leads.
    pub way: Way,
    /// A connection not made by then is none, s of engine time.
    pub connect_time_out_s: f64,
    /// Least time from a reply to the next request, s of engine time.
    pub pause_s: f64,
}

/// A Modbus device.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// Name in the site file.
    pub name: String,
    /// Index of its link in [`Site::links`].
    pub link: usize,
    /// Name of its link.
    pub link_name: String,
    /// Modbus unit.
    pub unit: u8,
    /// The number that its papers give to the first register, 0 or 1.
    pub address_base: u16,
    /// Time between rounds of requests, s of engine time.
    pub period_s: f64,
    /// A round that is not answered by then is missed, s of engine time.
    pub time_out_s: f64,
    /// From a request to the first byte of its reply, usually, s; for [`crate::check`] alone.
    pub answer_time_s: f64,
    /// How it may be asked.
    pub manners: Manners,
    /// A register that changes while the device is alive, and within how many seconds of engine time.
    pub heartbeat: Option<(Register, f64)>,
}

/// One bay, ready to be watched.
#[derive(Debug, Clone)]
pub struct BaySetup {
    /// Short name for addresses: lower-case letters, digits and dashes.
    pub slug: String,
    /// What the engine is told.
    pub settings: Settings,
    /// For each of the engine's devices, its index in [`Site::devices`].
    pub devices: Vec<usize>,
    /// For each of the engine's signals, where its value is found.
    pub places: Vec<Place>,
    /// For each of the engine's tanks, the index of its product in [`Site::products`].
    pub products: Vec<usize>,
    /// What [`crate::check`] needs and the engine does not.
    pub usual: Usual,
    /// What its emergency card says: each key that is written, and its text.
    pub emergency: Vec<(&'static str, String)>,
    /// For each of the engine's neighbours, where its word comes from.
    pub neighbours: Vec<Neighbouring>,
}

/// A bay that fills a tank of another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Neighbouring {
    /// Its index in [`Site::bays`].
    pub bay: usize,
    /// Index of the shared tank in that bay's own settings.
    pub tank: u16,
}

/// How a bay is usually run, and its gas side: for [`crate::check`] alone. Nothing has a default.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Usual {
    /// Rate of unloading.
    pub rate: Option<KgPerS>,
    /// Pad pressure.
    pub pad: Option<GaugePa>,
    /// Band that the pad is worked in, for the page.
    pub pad_band: Option<(GaugePa, GaugePa)>,
    /// Pressure before the regulator of the gas supply.
    pub supply: Option<GaugePa>,
    /// Diameter of the narrowest opening between there and the trailer, the regulator wide open.
    pub orifice: Option<Metre>,
    /// Inner diameter of the line.
    pub bore: Option<Metre>,
    /// Velocity heads that the line costs in turbulent flow, without its exit, 1.
    pub loss: Option<f64>,
    /// For each of the engine's tanks, most gas that its vent passes.
    pub vents: Vec<Option<KgPerS>>,
}

/// A product as its file describes it; a delivery adds the temperature of the load.
#[derive(Debug, Clone, PartialEq)]
pub struct ProductTable {
    /// Name, as deliveries write it.
    pub name: String,
    /// Density at rising temperatures.
    pub density: Vec<(Celsius, KgPerM3)>,
    /// Relative standard uncertainty of the density, 1.
    pub density_u: f64,
    /// Dynamic viscosity at rising temperatures; empty: not known.
    pub viscosity: Vec<(Celsius, PaS)>,
    /// Whether somebody has read the table in its source.
    pub confirmed: bool,
    /// Where the table comes from, with its standing.
    pub source: String,
    /// Shipping description that a delivery's papers must have.
    pub shipping_description: Option<String>,
    /// Hazard marking that the trailer must bear.
    pub marking: Option<String>,
    /// Coldest and warmest load that is taken.
    pub temperatures: [Option<Celsius>; 2],
}

/// A delivery's papers, read and checked against a site.
#[derive(Debug, Clone)]
pub struct DeliveryFile {
    /// Index of its bay in [`Site::bays`].
    pub bay: usize,
    /// What the engine is told.
    pub setup: DeliverySetup,
    /// The bay's line, where this load comes through another than the site file describes.
    pub line: Option<LineSetup>,
    /// Every text that made it: the delivery file first, then each file it names.
    pub texts: Vec<(String, String)>,
    /// What is allowed but should be known, in the order of the lines.
    pub warnings: Vec<Fault>,
}

/// Larger files are refused: a site file is written by hand.
const FILE_MOST_BYTES: usize = 1 << 20;

/// Reads and checks a site file and the files it names.
///
/// # Errors
/// Every fault found, in the order of the lines; also where a file cannot be read.
pub fn load(path: &Path) -> Result<Site, Faults> {
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    Site::from_text(path, read_file(path)?, &|name| std::fs::read_to_string(folder.join(name)))
}

/// Reads and checks a delivery file against its site.
///
/// # Errors
/// Every fault found, in the order of the lines; also where the file cannot be read.
pub fn load_delivery(path: &Path, site: &Site) -> Result<DeliveryFile, Faults> {
    DeliveryFile::from_text(path, read_file(path)?, site)
}

/// What is wrong with a delivery file by itself, where there is no sound site to hold it against; none may be.
///
/// # Errors
/// Every fault found, in the order of the lines; also where the file cannot be read.
pub fn check_delivery_alone(path: &Path) -> Result<(), Faults> {
    let mut draft = Draft::default();
    delivery::alone(&mut draft, path, read_file(path)?);
    if draft.is_clean() { Ok(()) } else { Err(draft.finish()) }
}

/// Reads and checks a column map, which says how a recorded history is read, against the bay that it is of.
///
/// # Errors
/// Every fault found, in the order of the lines; also where the file cannot be read.
pub fn load_columns(path: &Path, bay: &BaySetup) -> Result<Columns, Faults> {
    Columns::from_text(path, read_file(path)?, bay)
}

impl Columns {
    /// A column map out of a text that is held in memory.
    ///
    /// # Errors
    /// Every fault found, in the order of the lines.
    pub fn from_text(path: &Path, text: String, bay: &BaySetup) -> Result<Columns, Faults> {
        let mut draft = Draft::default();
        columns::columns(&mut draft, path, text, bay).ok_or_else(|| draft.finish())
    }
}

impl Site {
    /// A site out of a text that is held in memory (of a recording, of the simulator); `read` gives the text of
    /// each file it names, by the name as written. `path` is where the text belongs: relative paths begin there.
    ///
    /// # Errors
    /// Every fault found, in the order of the lines.
    pub fn from_text(path: &Path, text: String, read: &dyn Fn(&str) -> io::Result<String>) -> Result<Site, Faults> {
        let mut draft = Draft::default();
        site::site(&mut draft, path, text, read).ok_or_else(|| draft.finish())
    }

    /// The same site again out of the texts that made it.
    ///
    /// # Errors
    /// Every fault found; none where `texts` come from a [`Site`] of this program version.
    pub fn from_texts(path: &Path, texts: &[(String, String)]) -> Result<Site, Faults> {
        let text = texts.first().map(|(_, text)| text.clone()).unwrap_or_default();
        let find = |name: &str| texts.iter().skip(1).find(|(n, _)| n == name).map(|(_, text)| text.clone());
        Site::from_text(path, text, &|name| find(name).ok_or_else(|| io::Error::from(io::ErrorKind::NotFound)))
    }
}

impl DeliveryFile {
    /// A delivery out of a text that is held in memory.
    ///
    /// # Errors
    /// Every fault found, in the order of the lines.
    pub fn from_text(path: &Path, text: String, site: &Site) -> Result<DeliveryFile, Faults> {
        let mut draft = Draft::default();
        delivery::delivery(&mut draft, path, text, site).ok_or_else(|| draft.finish())
    }
}

/// The text of a file that was asked for.
fn read_file(path: &Path) -> Result<String, Faults> {
    let why = match std::fs::metadata(path).map(|m| m.len()) {
        Ok(bytes) if bytes > FILE_MOST_BYTES as u64 => format!("it is larger than {FILE_MOST_BYTES} bytes"),
        _ => match std::fs::read_to_string(path) {
            Ok(text) => return Ok(text),
            Err(why) => why.to_string(),
        },
    };
    let mut draft = Draft::default();
    let file = draft.open(path.display().to_string(), "");
    let whole = Spot { file, span: None };
    draft.fault(&whole, "", format!("cannot be read: {why}")).act("give the path of a text file in UTF-8");
    Err(draft.finish())
}

/// Short name for addresses and folders: lower-case letters, digits and single dashes; "bay" where nothing of
/// the name is left.
#[must_use]
pub fn slug(name: &str) -> String {
    let plain = name.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' });
    let parts = plain.collect::<String>();
    let parts = parts.split('-').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("-");
    if parts.is_empty() { "bay".to_owned() } else { parts }
}

/// Host and port in a common form: capitals, leading zeros and ways to write an IPv6 address make no difference; `None`
/// where the text is none.
#[must_use]
pub fn endpoint(text: &str) -> Option<String> {
    devices::common(text)
}

/// The shipped site file: commented, its own manual.
pub const SITE_MANUAL: &str = include_str!("../../config/site.toml");
/// The shipped delivery file.
pub const DELIVERY_MANUAL: &str = include_str!("../../config/delivery.toml");
/// The shipped steps of a delivery: its own manual, and what a bay without a file of its own goes by.
pub const STEPS_MANUAL: &str = include_str!("../../config/steps.toml");
/// The shipped column map.
pub const COLUMNS_MANUAL: &str = include_str!("../../config/columns.toml");
