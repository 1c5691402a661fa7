//! brimwatch puts flow meter, truck scale and tank level side by side as one quantity.
//!
//! ```text
//! Modbus words -> poll -> reading
//!   -> engine [ validity -> witnesses -> verdict -> projection -> alarms -> delivery ]
//!   -> frame -> page, report, recording, metrics
//! ```
//! Everything to the left and to the right of the engine does I/O; the engine does none.

// The tests' scenes are written for the crate's users; unit tests use them too.
#[cfg(test)]
extern crate self as brimwatch;

pub mod check;
#[cfg(feature = "live")]
pub mod cli;
#[cfg(feature = "live")]
pub mod clock;
pub mod config;
pub mod decode;
pub mod engine;
#[cfg(feature = "live")]
mod files;
pub mod finding;
#[cfg(feature = "live")]
pub mod ledger;
#[cfg(feature = "live")]
pub mod live;
#[cfg(feature = "live")]
pub mod page;
#[cfg(feature = "live")]
pub mod people;
pub mod picture;
pub mod planted;
pub mod poll;
pub mod recording;
#[cfg(feature = "live")]
pub mod report;
pub mod time;
#[cfg(feature = "live")]
pub mod tune;
pub mod uncertainty;
pub mod units;
pub mod words;
