//! From Modbus words to readings: one task per device, a schedule that does not drift, and nothing a device
//! does that could delay another.

pub mod blocks;
#[cfg(feature = "live")]
pub mod device;
#[cfg(feature = "live")]
pub mod link;
#[cfg(feature = "live")]
mod modbus;
pub mod registers;
pub mod schedule;
#[cfg(feature = "live")]
pub mod stats;
pub mod way;
