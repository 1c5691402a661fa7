//! Modbus frames: what is asked, and is this its reply? Read off the bytes, so that no reply is taken for another's and a
//! refused one is refused for a reason. Pure.
//!
//! Frames after Modbus Messaging on TCP/IP V1.0b (3.1.3) and Modbus over Serial Line V1.02 (2.5.1), what they carry
//! after Modbus Application Protocol V1.1b3 (6.1 to 6.4, 7).

use super::blocks::BlockSpec;
use crate::engine::input::MissReason;

/// How frames are marked off on the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Framing {
    /// A header with transaction number, length and unit.
    Tcp,
    /// Unit, then a checksum behind.
    Rtu,
}

/// What bytes fall short of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shortfall {
    /// As far as they go they may be the reply; more must come.
    Incomplete,
    /// They are not.
    NotTheReply(MissReason),
}

impl Framing {
    /// Whether a frame asks to read, functions 1 to 4. What is too short to tell does not.
    #[must_use]
    pub fn is_read(self, request: &[u8]) -> bool {
        let function = match self {
            Framing::Tcp => request.get(TCP_HEADER),
            Framing::Rtu => request.get(1),
        };
        function.is_some_and(|function| (1..=4).contains(function))
    }
}

use Shortfall::{Incomplete, NotTheReply};

/// Bytes of a TCP frame before the function: transaction, protocol, length (two each), unit.
const TCP_HEADER: usize = 7;
/// Most bytes of unit and what follows it in a TCP frame (a PDU has at most 253).
const TCP_LENGTH_MOST: usize = 254;
/// Bytes of the checksum behind an RTU frame.
const CHECKSUM: usize = 2;
/// Set in the function of an exception reply.
const EXCEPTION: u8 = 0x80;

/// Writes the request for a block of a unit into an empty `frame`; `transaction` numbers it where the framing has room
/// for that.
pub fn write_request(frame: &mut Vec<u8>, framing: Framing, transaction: u16, unit: u8, block: &BlockSpec) {
    let ([address, address_low], [count, count_low]) = (block.address.to_be_bytes(), block.count.to_be_bytes());
    let body = [unit, block.function, address, address_low, count, count_low];
    match framing {
        Framing::Tcp => {
            let [high, low] = transaction.to_be_bytes();
            frame.extend_from_slice(&[high, low, 0, 0, 0, 6]);
            frame.extend_from_slice(&body);
        }
        Framing::Rtu => {
            frame.extend_from_slice(&body);
            frame.extend_from_slice(&checksum(&body).to_le_bytes());
        }
    }
}

/// What a reply carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reply<'a> {
    /// Function and what follows it: an exception's code, or a byte count and as much data as was asked for.
    pdu: &'a [u8],
    /// Bytes behind it.
    pub strays: usize,
}

impl Reply<'_> {
    /// The words of the block that was asked for (bits as 0 and 1), or the exception code that the device answered with.
    ///
    /// # Errors
    /// The exception code.
    pub fn words(self, block: &BlockSpec) -> Result<Vec<u16>, u8> {
        // Held against the request before: the lengths are right.
        match *self.pdu {
            [exception, code] if exception & EXCEPTION != 0 => Err(code),
            [1 | 2, _, ref data @ ..] => {
                // The first is the lowest bit of the first byte; the last byte may have some that nobody asked for.
                let bits = data.iter().flat_map(|byte| (0..8).map(move |bit| u16::from(byte >> bit & 1)));
                Ok(bits.take(block.count.into()).collect())
            }
            [_, _, ref data @ ..] => {
                Ok(data.as_chunks().0.iter().map(|pair: &[u8; 2]| u16::from_be_bytes(*pair)).collect())
            }
            _ => Ok(Vec::new()),
        }
    }
}

/// Holds what came in against what was sent, both whole frames from their first byte.
///
/// # Errors
/// When the reply is not all there, or what is there is not the reply.
pub fn check<'a>(framing: Framing, request: &[u8], received: &'a [u8]) -> Result<Reply<'a>, Shortfall> {
    match framing {
        Framing::Tcp => check_tcp(request, received),
        Framing::Rtu => check_rtu(request, received),
    }
}

fn check_tcp<'a>(request: &[u8], received: &'a [u8]) -> Result<Reply<'a>, Shortfall> {
    let Some(header) = received.get(..TCP_HEADER) else { return Err(Incomplete) };
    let length = usize::from(u16::from_be_bytes([header[4], header[5]]));
    if header[2..4] != [0, 0] || !(2..=TCP_LENGTH_MOST).contains(&length) {
        return Err(NotTheReply(MissReason::Malformed));
    }
    if header[..2] != request[..2] {
        return Err(NotTheReply(MissReason::WrongTransaction));
    }
    let end = TCP_HEADER - 1 + length;
    let Some(pdu) = received.get(TCP_HEADER..end) else { return Err(Incomplete) };
    check_unit_and_pdu((request[6], &request[TCP_HEADER..]), (header[6], pdu))?;
    Ok(Reply { pdu, strays: received.len() - end })
}

fn check_rtu<'a>(request: &[u8], received: &'a [u8]) -> Result<Reply<'a>, Shortfall> {
    let garbled = Err(NotTheReply(MissReason::BadChecksum));
    let [_, function, count, ..] = *received else { return Err(Incomplete) };
    // Of a function that was never asked for the length is not known: it is all there is.
    let end = rtu_length(function, count).unwrap_or(received.len());
    let Some(frame) = received.get(..end) else { return Err(Incomplete) };
    let Some(body) = intact(frame) else { return garbled };
    check_unit_and_pdu((request[0], &request[1..]), (body[0], &body[1..]))?;
    Ok(Reply { pdu: &body[1..], strays: received.len() - end })
}

/// Bytes of an RTU reply, from its function and the byte behind it: byte count, or exception code. None for a function
/// that does not read.
fn rtu_length(function: u8, count: u8) -> Option<usize> {
    match function {
        1..=4 => Some(3 + usize::from(count) + CHECKSUM),
        exception if exception & EXCEPTION != 0 => Some(3 + CHECKSUM),
        _ => None,
    }
}

/// What stands before the checksum of an RTU frame, where that fits.
fn intact(frame: &[u8]) -> Option<&[u8]> {
    let (body, sum) = frame.split_at_checked(frame.len().checked_sub(CHECKSUM)?)?;
    (checksum(body).to_le_bytes() == *sum).then_some(body)
}

/// Bytes of the whole RTU frame of another unit than the one asked, where one stands at the beginning.
#[must_use]
pub fn other_units_frame(request: &[u8], received: &[u8]) -> Option<usize> {
    let [unit, function, count, ..] = *received else { return None };
    let end = rtu_length(function, count)?;
    intact(received.get(..end)?)?;
    (request.first() != Some(&unit)).then_some(end)
}

/// Unit and PDU (function and what follows it) of a request against those of a reply.
fn check_unit_and_pdu((unit, asked): (u8, &[u8]), (from, pdu): (u8, &[u8])) -> Result<(), Shortfall> {
    let wrong = |reason| Err(NotTheReply(reason));
    if from != unit {
        return wrong(MissReason::WrongUnit);
    }
    let (Some(&[function, _, _, high, low]), [answered, rest @ ..]) = (asked.first_chunk(), pdu) else {
        return wrong(MissReason::Malformed);
    };
    if *answered == function | EXCEPTION {
        return if rest.len() == 1 { Ok(()) } else { wrong(MissReason::Malformed) };
    }
    if *answered != function {
        return wrong(MissReason::WrongFunction);
    }
    match rest {
        [count, data @ ..] if usize::from(*count) == data.len() => {
            let right = data_bytes(function, u16::from_be_bytes([high, low])) == data.len();
            if right { Ok(()) } else { wrong(MissReason::WrongLength) }
        }
        _ => wrong(MissReason::Malformed),
    }
}

/// Bytes of data in the reply to a read of so many registers, or bits (functions 1 and 2).
#[must_use]
pub fn data_bytes(function: u8, count: u16) -> usize {
    let count = usize::from(count);
    if function <= 2 { count.div_ceil(8) } else { 2 * count }
}

/// CRC-16 of Modbus over Serial Line V1.02, 6.2.2: polynomial 0xA001 (reflected), beginning with 0xFFFF; sent low byte
/// first.
fn checksum(bytes: &[u8]) -> u16 {
    let bit = |sum: u16, _| if sum & 1 == 1 { sum >> 1 ^ 0xA001 } else { sum >> 1 };
    bytes.iter().fold(0xFFFF, |sum, byte| (0..8).fold(sum ^ u16::from(*byte), bit))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How many bytes follow the reply.
    fn strays(framing: Framing, request: &[u8], received: &[u8]) -> Result<usize, Shortfall> {
        check(framing, request, received).map(|reply| reply.strays)
    }

    /// Expected: the check value of CRC-16/MODBUS, 0x4B37 for "123456789"; the protocol's own example, a read of three
    /// holding registers from 107 (Modbus Application Protocol V1.1b3, 6.3), in both framings.
    #[test]
    fn the_standards_own_example_is_a_reply() {
        assert_eq!(checksum(b"123456789"), 0x4B37);
        let request = [0x11, 0x03, 0x00, 0x6B, 0x00, 0x03, 0x76, 0x87];
        let reply = [0x11, 0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64, 0xC8, 0xBA];
        assert_eq!(strays(Framing::Rtu, &request, &reply), Ok(0));
        let request = [0, 9, 0, 0, 0, 6, 0x11, 0x03, 0x00, 0x6B, 0x00, 0x03];
        let reply = [0, 9, 0, 0, 0, 9, 0x11, 0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64];
        assert_eq!(strays(Framing::Tcp, &request, &reply), Ok(0));
    }

    /// Expected: the protocol's own examples of reads (Modbus Application Protocol V1.1b3, 6.1 to 6.4): coils 20 to 38,
    /// inputs 197 to 218, holding registers 108 to 110, input register 9, an exception 02 (7).
    #[test]
    fn the_standards_own_examples_are_asked_and_understood() {
        type Example = ((u8, u16, u16), [u8; 5], &'static [u8], Result<Vec<u16>, u8>);
        let bits = |text: &str| text.bytes().rev().map(|bit| u16::from(bit - b'0')).collect::<Vec<_>>();
        let examples: [Example; 5] = [
            ((1, 19, 19), [1, 0, 0x13, 0, 0x13], &[1, 3, 0xCD, 0x6B, 0x05], Ok(bits("1010110101111001101"))),
            ((2, 196, 22), [2, 0, 0xC4, 0, 0x16], &[2, 3, 0xAC, 0xDB, 0x35], Ok(bits("1101011101101110101100"))),
            ((3, 107, 3), [3, 0, 0x6B, 0, 3], &[3, 6, 2, 0x2B, 0, 0, 0, 0x64], Ok(vec![0x022B, 0, 0x64])),
            ((4, 8, 1), [4, 0, 8, 0, 1], &[4, 2, 0, 0x0A], Ok(vec![0x0A])),
            ((1, 1185, 1), [1, 0x04, 0xA1, 0, 1], &[0x81, 2], Err(2)),
        ];
        for ((function, address, count), asked, answered, words) in examples {
            let block = BlockSpec { function, address, count };
            for framing in [Framing::Tcp, Framing::Rtu] {
                let frame = |body: &[u8]| match framing {
                    Framing::Tcp => tcp(7, &[&[0x11], body].concat()),
                    Framing::Rtu => rtu(&[&[0x11], body].concat()),
                };
                let mut request = Vec::new();
                write_request(&mut request, framing, 7, 0x11, &block);
                assert_eq!(request, frame(&asked), "{framing:?} {block:?}");
                assert!(framing.is_read(&request));
                let received = frame(answered);
                assert_eq!(check(framing, &request, &received).expect("the reply").words(&block), words, "{framing:?}");
            }
        }
    }

    fn rtu(body: &[u8]) -> Vec<u8> {
        [body, &checksum(body).to_le_bytes()].concat()
    }

    fn tcp(transaction: u8, body: &[u8]) -> Vec<u8> {
        let length = u8::try_from(body.len()).expect("short");
        [&[0, transaction, 0, 0, 0, length], body].concat()
    }

    /// Two registers asked of unit 1; every kind of wrong reply is told apart, in both framings.
    #[test]
    fn what_is_not_the_reply_is_refused_for_its_reason() {
        let asked = [1, 3, 0, 0, 0, 2];
        let bodies: [(&[u8], MissReason); 8] = [
            (&[2, 3, 4, 0xDE, 0xAD, 0xDE, 0xAD], MissReason::WrongUnit),
            (&[1, 4, 4, 0xDE, 0xAD, 0xDE, 0xAD], MissReason::WrongFunction),
            (&[1, 0x84, 2], MissReason::WrongFunction),
            (&[1, 6, 0, 0, 0xDE, 0xAD], MissReason::WrongFunction),
            (&[1, 3, 0], MissReason::WrongLength),
            (&[1, 3, 2, 0xDE, 0xAD], MissReason::WrongLength),
            (&[1, 3, 6, 0xDE, 0xAD, 0xDE, 0xAD, 0xDE, 0xAD], MissReason::WrongLength),
            (&[1, 3, 3, 0xDE, 0xAD, 0xDE], MissReason::WrongLength),
        ];
        for (body, reason) in bodies {
            let wrong = Err(NotTheReply(reason));
            assert_eq!(strays(Framing::Rtu, &rtu(&asked), &rtu(body)), wrong, "{body:?}");
            assert_eq!(strays(Framing::Tcp, &tcp(7, &asked), &tcp(7, body)), wrong, "{body:?}");
        }
        let (sent, right) = (tcp(7, &asked), tcp(7, &[1, 3, 4, 0, 1, 0, 2]));
        let malformed = Err(NotTheReply(MissReason::Malformed));
        assert_eq!(strays(Framing::Tcp, &sent, &tcp(6, &right[6..])), Err(NotTheReply(MissReason::WrongTransaction)));
        assert_eq!(strays(Framing::Tcp, &sent, &tcp(7, &[1, 3, 9, 0, 1, 0, 2])), malformed, "byte count");
        assert_eq!(strays(Framing::Tcp, &sent, &tcp(7, &[1, 0x83])), malformed, "exception without a code");
        assert_eq!(strays(Framing::Tcp, &sent, b"HTTP/1.1 400 Bad Request"), malformed);
        for length in [0, 1, 300, 65_535_u16] {
            let [high, low] = length.to_be_bytes();
            assert_eq!(strays(Framing::Tcp, &sent, &[0, 7, 0, 0, high, low, 1, 3]), malformed, "{length}");
        }
        assert_eq!(strays(Framing::Tcp, &sent, &[0, 7, 0, 1, 0, 7, 1, 3, 4, 0, 1, 0, 2]), malformed, "protocol");
        for cut in 0..right.len() {
            assert_eq!(strays(Framing::Tcp, &sent, &right[..cut]), Err(Incomplete), "{cut}");
        }
        assert_eq!(strays(Framing::Tcp, &sent, &[&right[..], b"more"].concat()), Ok(4));
        assert_eq!(strays(Framing::Tcp, &sent, &tcp(7, &[1, 0x83, 2])), Ok(0));
    }

    #[test]
    fn a_whole_frame_of_another_unit_is_known() {
        let sent = rtu(&[1, 3, 0, 0, 0, 2]);
        let other = rtu(&[2, 3, 4, 0xDE, 0xAD, 0xDE, 0xAD]);
        assert_eq!(other_units_frame(&sent, &[&other[..], &[1, 3]].concat()), Some(other.len()));
        assert_eq!(other_units_frame(&sent, &rtu(&[2, 0x83, 2])), Some(5));
        assert_eq!(other_units_frame(&sent, &other[..8]), None, "not whole");
        assert_eq!(other_units_frame(&sent, &rtu(&[1, 3, 4, 0, 1, 0, 2])), None, "the unit asked");
    }

    #[test]
    fn one_flipped_bit_of_an_rtu_reply_is_seen() {
        let (sent, right) = (rtu(&[1, 3, 0, 0, 0, 2]), rtu(&[1, 3, 4, 0, 1, 0, 2]));
        assert_eq!(strays(Framing::Rtu, &sent, &right), Ok(0));
        assert_eq!(strays(Framing::Rtu, &sent, &rtu(&[1, 0x83, 2])), Ok(0));
        for bit in 0..right.len() * 8 {
            let mut garbled = right.clone();
            garbled[bit / 8] ^= 1 << (bit % 8);
            assert!(strays(Framing::Rtu, &sent, &garbled).is_err(), "bit {bit}");
        }
        for cut in 0..right.len() {
            assert_eq!(strays(Framing::Rtu, &sent, &right[..cut]), Err(Incomplete), "{cut}");
        }
    }
}
