//! How devices are reached: over TCP, or on a serial line. Pure.

use std::path::PathBuf;

/// The way to the devices of one link.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Way {
    /// Modbus TCP, to a host and port.
    Tcp {
        /// Host and port.
        address: String,
    },
    /// RTU frames over a TCP connection, to a gateway that passes bytes on.
    RtuOverTcp {
        /// Host and port.
        address: String,
    },
    /// RTU frames on a serial line of this machine.
    Serial(Serial),
}

/// A serial port and how it is set. Characters are of 8 data bits, as RTU needs them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Serial {
    /// Its path, for example `/dev/ttyS0`.
    pub port: PathBuf,
    /// Bits per second.
    pub baud: u32,
    /// Parity bit.
    pub parity: Parity,
    /// 1 or 2.
    pub stop_bits: u8,
}

/// Parity bit of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parity {
    /// No parity bit.
    None,
    /// Even.
    Even,
    /// Odd.
    Odd,
}

/// Bits of one character with start, parity and stop bits (Modbus over Serial Line V1.02, 2.5.1).
const BITS_PER_CHARACTER: f64 = 11.0;
/// Characters of silence between two frames (the same, 2.5.1.1).
const SILENT_CHARACTERS: f64 = 3.5;
/// Above 19,200 baud the silence is fixed, s (the same).
const SILENCE_FAST_S: f64 = 0.001_75;
/// See above.
const FAST_BAUD: u32 = 19_200;

impl Serial {
    /// Silence that parts two frames, s.
    #[must_use]
    pub fn silence_s(&self) -> f64 {
        if self.baud > FAST_BAUD {
            SILENCE_FAST_S
        } else {
            SILENT_CHARACTERS * BITS_PER_CHARACTER / f64::from(self.baud.max(1))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected: Modbus over Serial Line V1.02, 2.5.1.1 (1.750 ms above 19,200 baud); 38.5 bits at 9,600 and
    /// 19,200 baud worked out by hand.
    #[test]
    fn frames_are_parted_by_the_silence_of_the_standard() {
        let at = |baud| Serial { port: PathBuf::new(), baud, parity: Parity::Even, stop_bits: 1 }.silence_s();
        assert!((at(9_600) - 0.004_010_4).abs() < 1e-7);
        assert!((at(19_200) - 0.002_005_2).abs() < 1e-7);
        assert_eq!(at(115_200), 0.001_75);
    }
}
