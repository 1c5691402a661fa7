//! From Modbus words to readings: one task per device, a schedule that does not drift, and nothing a device
//! does that could delay another.

pub mod registers;
