//! From Modbus words to readings: one task per device, a schedule that does not drift, and nothing a device
//! does that could delay another.

#[cfg(feature = "live")]
mod back_off;
pub mod blocks;
#[cfg(feature = "live")]
pub mod device;
pub mod frames;
#[cfg(feature = "live")]
mod late;
#[cfg(feature = "live")]
mod line;
#[cfg(feature = "live")]
pub mod link;
pub mod registers;
pub mod schedule;
#[cfg(feature = "live")]
pub mod stats;
#[cfg(feature = "live")]
mod stream;
#[cfg(feature = "live")]
mod timer;
pub mod way;
#[cfg(feature = "live")]
mod wire;
