//! A trailer, a line, a tank and their instruments that are not there: something honest to try brimwatch on.
//!
//! ```text
//! plant -> instruments -> bay (with a scripted attendant) -> drill: clock and Modbus servers -> brimwatch
//! ```
//! The physics here is written apart from brimwatch's own mathematics, by another method, so that one can be
//! held against the other. Shared are the site file, the units and the table of registers.

pub mod bay;
pub mod demo;
pub mod desk;
pub mod drill;
pub mod folder;
pub mod harm;
pub mod instruments;
pub mod noise;
pub mod plant;
pub mod play;
pub mod scenario;
pub mod scenarios;
mod serial;
pub mod server;
pub mod tanks;
pub mod wrong;
