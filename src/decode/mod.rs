//! How the registers of an unknown device are to be read: every reading that fits a stated quantity and range, ranked,
//! with what cannot be told and the lines for the site file.
//!
//! ```text
//! registers that were named -> ask -> samples -> readings -> table, notes, lines
//! ```
//! Only `ask.rs` does I/O, through the poller; it reads what was named and nothing beside it.

#[cfg(feature = "live")]
pub mod ask;
#[cfg(feature = "live")]
pub mod command;
pub mod lines;
pub mod readings;
pub mod report;

use crate::poll::way::Way;
use crate::units::{Quantity, Unit};

/// One request's registers, read once or several times.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sample {
    /// Modbus function, 3 or 4.
    pub function: u8,
    /// Address on the wire of the first, from 0.
    pub address: u16,
    /// The words of each read, all of one length.
    pub reads: Vec<Vec<u16>>,
}

/// Which way a value is said to move while it is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "live", derive(clap::ValueEnum))]
pub enum Moves {
    /// Up.
    Rising,
    /// Down.
    Falling,
}

/// What is known of the value that is looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// What it measures.
    pub quantity: Quantity,
    /// It lies between this, SI ...
    pub low: f64,
    /// ... and this, SI.
    pub high: f64,
    /// The unit that people think of it in.
    pub unit: Unit,
    /// Which way it moves, where that is known.
    pub moves: Option<Moves>,
}

/// Where registers were read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// Name of the device in the site file, where it has one.
    pub device: Option<String>,
    /// Name of its link in the site file, where that is declared there.
    pub link: Option<String>,
    /// The way to it.
    pub way: Way,
    /// Modbus unit.
    pub unit: u8,
    /// The number that its papers give to the first register, 0 or 1.
    pub address_base: u16,
}

impl Source {
    /// The number that the device's papers give to an address on the wire.
    #[must_use]
    pub fn number(&self, address: u16) -> u32 {
        u32::from(address) + u32::from(self.address_base)
    }

    /// Host and port, or the serial port's path.
    #[must_use]
    pub fn leads(&self) -> String {
        match &self.way {
            Way::Tcp { address } | Way::RtuOverTcp { address } => address.clone(),
            Way::Serial(serial) => serial.port.display().to_string(),
        }
    }

    /// "register 41" or "registers 41 to 43", as the papers count, from addresses on the wire.
    #[must_use]
    pub fn named(&self, first: u16, last: u16) -> String {
        let (first, last) = (self.number(first), self.number(last));
        if first == last { format!("register {first}") } else { format!("registers {first} to {last}") }
    }
}
