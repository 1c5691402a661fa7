//! How the registers of an unknown device are to be read: every reading that fits a stated quantity and range, ranked,
//! with what cannot be told and the lines for the site file.
//!
//! ```text
//! registers that were named -> ask -> samples -> readings -> table, notes, lines
//! ```
//! Only `ask.rs` does I/O, through the poller; it reads what was named and nothing beside it.

pub mod readings;

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
