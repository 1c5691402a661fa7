//! Bytes off the wire: nothing but a well-formed answer to what was asked is taken, and it has as many words as were
//! asked for.

#![no_main]

use arbitrary::Arbitrary;
use brimwatch::poll::blocks::BlockSpec;
use brimwatch::poll::frames::{self, Framing};
use libfuzzer_sys::fuzz_target;

#[derive(Debug, Arbitrary)]
struct Case {
    serial: bool,
    transaction: u16,
    unit: u8,
    function: u8,
    address: u16,
    count: u16,
    /// The answer: as it comes, or with the head and checksum of a good one around it.
    dressed: bool,
    bytes: Vec<u8>,
}

/// Puts the bytes where a well-formed reply has its data, so that the fuzzer need not guess a checksum.
fn dressed(case: &Case, framing: Framing, request: &[u8]) -> Vec<u8> {
    match framing {
        Framing::Tcp => {
            let length = u16::try_from(case.bytes.len() + 1).unwrap_or(u16::MAX).to_be_bytes();
            let head = [request[0], request[1], 0, 0, length[0], length[1], case.unit];
            [&head[..], &case.bytes].concat()
        }
        Framing::Rtu => {
            let body = [&[case.unit][..], &case.bytes].concat();
            let sum = checksum(&body).to_le_bytes();
            [&body[..], &sum].concat()
        }
    }
}

/// CRC-16 of Modbus over Serial Line V1.02, 6.2.2, bit by bit.
fn checksum(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xA001 } else { crc >> 1 })
    })
}

fuzz_target!(|case: Case| {
    let function = 1 + case.function % 4;
    let most = if function <= 2 { 2000 } else { 125 };
    let block = BlockSpec { function, address: case.address, count: 1 + case.count % most };
    let framing = if case.serial { Framing::Rtu } else { Framing::Tcp };
    let mut request = Vec::new();
    frames::write_request(&mut request, framing, case.transaction, case.unit, &block);
    assert!(framing.is_read(&request));
    let received = if case.dressed { dressed(&case, framing, &request) } else { case.bytes.clone() };
    if let Ok(reply) = frames::check(framing, &request, &received) {
        assert!(reply.strays < received.len());
        if let Ok(words) = reply.words(&block) {
            assert_eq!(words.len(), usize::from(block.count));
        }
    }
    if let Some(length) = frames::other_units_frame(&request, &received) {
        assert!(length <= received.len());
    }
});
