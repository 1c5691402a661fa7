//! Requests as they come off the wire and answers as they should go back. Written apart from the program and from its
//! Modbus crate, after Modbus Messaging on TCP/IP V1.0b (3.1.3), Modbus over Serial Line V1.02 (2.5.1, 6.2.2) and
//! Modbus Application Protocol V1.1b3 (6.1 to 6.4).

use brimwatch::clock::MachineTime;

/// How frames are marked off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Framing {
    /// A header with transaction number, protocol, length and unit.
    Tcp,
    /// Unit in front, checksum behind.
    Rtu,
}

/// Bytes of a TCP header up to and including the length.
const HEADER: usize = 6;
/// Bytes of an RTU request of functions 1 to 6.
const RTU_REQUEST: usize = 8;

/// One request that came in.
#[derive(Debug, Clone)]
pub struct Ask {
    /// Counts the requests of one server from 1; what its registers hold in answer to this one.
    pub number: u16,
    /// When it was in.
    pub at: MachineTime,
    pub unit: u8,
    pub function: u8,
    pub address: u16,
    pub count: u16,
    framing: Framing,
    transaction: u16,
    /// As it came.
    pub bytes: Vec<u8>,
}

impl Ask {
    /// Takes one whole request off the front of what has come in.
    pub fn take(framing: Framing, bytes: &mut Vec<u8>) -> Option<Ask> {
        let word = |at: usize| Some(u16::from_be_bytes([*bytes.get(at)?, *bytes.get(at + 1)?]));
        let (transaction, body) = if framing == Framing::Tcp { (word(0)?, HEADER) } else { (0, 0) };
        let function = *bytes.get(body + 1)?;
        let end = match framing {
            Framing::Tcp => HEADER + usize::from(word(4)?),
            Framing::Rtu if function <= 6 => RTU_REQUEST,
            // Whatever it is, it is no read.
            Framing::Rtu => bytes.len(),
        };
        if bytes.len() < end {
            return None;
        }
        let ask = Ask {
            number: 0,
            at: MachineTime::now(),
            unit: bytes[body],
            function,
            address: word(body + 2).unwrap_or(0),
            count: word(body + 4).unwrap_or(0),
            framing,
            transaction,
            bytes: bytes.drain(..end).collect(),
        };
        let sound = framing == Framing::Tcp || checksum(&ask.bytes) == 0;
        // A request that is not whole is one that no reader would send: as function 0 it fails the test.
        Some(if sound { ask } else { Ask { function: 0, ..ask } })
    }

    /// The answer that is right for this request and no other.
    pub fn right(&self) -> Vec<u8> {
        let addresses = self.address..self.address + self.count;
        let mut data: Vec<u8> = Vec::new();
        if self.function <= 2 {
            data = vec![0; usize::from(self.count.div_ceil(8))];
            for (i, address) in addresses.enumerate() {
                data[i / 8] |= u8::from(bit(self.number, address)) << (i % 8);
            }
        } else {
            addresses.for_each(|address| data.extend(word(self.number, address).to_be_bytes()));
        }
        self.frame(&self.pdu(&data))
    }

    /// This request's function, a byte count that fits, and these data.
    pub fn pdu(&self, data: &[u8]) -> Vec<u8> {
        [&[self.function, u8::try_from(data.len()).expect("short")], data].concat()
    }

    /// A well-formed frame in answer to this request.
    pub fn frame(&self, pdu: &[u8]) -> Vec<u8> {
        self.frame_from(self.unit, pdu)
    }

    /// The same, from whatever unit.
    pub fn frame_from(&self, unit: u8, pdu: &[u8]) -> Vec<u8> {
        let length = u16::try_from(pdu.len() + 1).expect("short");
        match self.framing {
            Framing::Tcp => self.headed([self.transaction, 0, length], unit, pdu),
            Framing::Rtu => {
                let body = [&[unit], pdu].concat();
                [&body[..], &checksum(&body).to_le_bytes()].concat()
            }
        }
    }

    /// A TCP frame with another transaction number.
    pub fn astray(&self, by: i16, pdu: &[u8]) -> Vec<u8> {
        let length = u16::try_from(pdu.len() + 1).expect("short");
        self.headed([self.transaction.wrapping_add_signed(by), 0, length], self.unit, pdu)
    }

    /// A TCP frame with this protocol number and length, whatever follows.
    pub fn forged(&self, protocol: u16, length: u16, pdu: &[u8]) -> Vec<u8> {
        self.headed([self.transaction, protocol, length], self.unit, pdu)
    }

    fn headed(&self, header: [u16; 3], unit: u8, pdu: &[u8]) -> Vec<u8> {
        assert_eq!(self.framing, Framing::Tcp, "RTU frames have no header");
        [&header.map(u16::to_be_bytes).concat()[..], &[unit], pdu].concat()
    }
}

/// What a register holds in answer to the request of that number: no two requests and no two of the addresses served
/// give the same, and none has the top bit set.
pub fn word(number: u16, address: u16) -> u16 {
    (number & 0x7FF) << 4 | address & 0xF
}

/// The same of a coil or input.
pub fn bit(number: u16, address: u16) -> bool {
    number >> (address & 0xF) & 1 == 1
}

/// So many bytes of a value that is never right.
pub fn planted(bytes: usize) -> Vec<u8> {
    [0xDE, 0xAD].into_iter().cycle().take(bytes).collect()
}

/// Bytes that look like nothing, the same every time (xorshift32 of Marsaglia, J. Stat. Softw. 8 (2003) 14).
pub fn noise(bytes: usize) -> Vec<u8> {
    let mut x: u32 = 0x2545_F491;
    let mut next = || {
        x ^= x << 13;
        x ^= x >> 17;
        x ^= x << 5;
        x.to_le_bytes()[1]
    };
    (0..bytes).map(|_| next()).collect()
}

/// CRC-16 by the standard's procedure; 0 over a frame with its checksum.
fn checksum(bytes: &[u8]) -> u16 {
    let mut sum = 0xFFFF_u16;
    for byte in bytes {
        sum ^= u16::from(*byte);
        for _ in 0..8 {
            let carry = sum & 1 == 1;
            sum >>= 1;
            if carry {
                sum ^= 0xA001;
            }
        }
    }
    sum
}

/// Expected: the frame of a read of two registers in many a primer, 01 03 00 00 00 02 with its checksum C4 0B.
#[test]
fn the_checksum_is_the_standards() {
    assert_eq!(checksum(&[1, 3, 0, 0, 0, 2]).to_le_bytes(), [0xC4, 0x0B]);
    assert_eq!(checksum(&[1, 3, 0, 0, 0, 2, 0xC4, 0x0B]), 0);
}
