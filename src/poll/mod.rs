//! From Modbus words to readings: one task per device, a schedule that does not drift, and nothing a device
//! does that could delay another.

#[cfg(feature = "live")]
mod back_off;
pub mod blocks;
#[cfg(feature = "live")]
pub mod device;
#[cfg(feature = "live")]
mod late;
#[cfg(feature = "live")]
pub mod link;
#[cfg(feature = "live")]
mod modbus;
pub mod registers;
pub mod reply;
pub mod schedule;
#[cfg(feature = "live")]
pub mod stats;
#[cfg(feature = "live")]
mod stream;
#[cfg(feature = "live")]
mod tap;
pub mod way;
#[cfg(feature = "live")]
mod wire;
