//! The site file: written file -> [`Site`] -> [`BaySetup`] with SI values and resolved tables.

use crate::poll::registers::Register;
use std::net::SocketAddr;
use std::path::PathBuf;

/// What a site file describes, for those who read one without the watch itself (the simulator).
pub use crate::engine::settings::{DeliverySetup, LineStart, PadTap, Settings, SignalKind, TankGeometry};

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
    /// Address of the page; loopback only.
    pub listen: SocketAddr,
    /// Every polled device.
    pub devices: Vec<Device>,
    /// Every bay.
    pub bays: Vec<BaySetup>,
}

/// A Modbus TCP device.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// Name in the site file.
    pub name: String,
    /// Host and port.
    pub address: String,
    /// Modbus unit.
    pub unit: u8,
    /// Time between requests, s of engine time.
    pub period_s: f64,
    /// A reply later than this is no reply, s of engine time.
    pub time_out_s: f64,
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
    pub registers: Vec<Register>,
}

/// A delivery's papers, read and checked against a site.
#[derive(Debug, Clone)]
pub struct DeliveryFile {
    /// Index of its bay in [`Site::bays`].
    pub bay: usize,
    /// What the engine is told.
    pub setup: DeliverySetup,
    /// Every text that made it: the delivery file first, then each file it names.
    pub texts: Vec<(String, String)>,
}
