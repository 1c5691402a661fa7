//! What is written reads back the same, and lies on disk as `docs/recording.md` says.

use crate::samples;
use crate::toy::{self, Toy};
use brimwatch::engine::frame::{Frame, Output};
use brimwatch::engine::input::{Carried, Event, Input, Measured, Poll};
use brimwatch::engine::settings::Settings;
use brimwatch::recording::format::Kind;
use brimwatch::recording::json::frame_json;
use brimwatch::recording::{Watch, reader};
use brimwatch::time::EngineTime;
use proptest::prelude::*;
use std::path::Path;

/// Shows the sample frame at every input.
struct Shows;

impl Watch for Shows {
    fn begin(_: Settings, _: Carried) -> Shows {
        Shows
    }

    fn step(&mut self, input: &Input) -> Output {
        Output { frame: Some(Box::new(samples::full_frame(input.at))), keep: true, urgent: true }
    }
}

#[test]
fn every_event_header_and_frame_survives_the_disk() {
    let header = samples::header(samples::carried());
    let inputs: Vec<Input> =
        (0..).zip(samples::every_event()).map(|(s, event)| Input { at: samples::at(s), event }).collect();
    let bytes = toy::recorded::<Shows>(&header, &inputs);
    let recording = reader::walk(Path::new("test"), &bytes).expect("a recording");
    assert_eq!(recording.header, header);
    assert!(recording.damage.is_empty() && recording.torn.is_none() && recording.ended);
    let of = |kind| recording.records.iter().filter(move |record| record.kind == kind);
    let read: Vec<Input> = of(Kind::Input).map(|record| reader::input(record).expect("an input")).collect();
    assert_eq!(read, inputs);
    let frames: Vec<Frame> = of(Kind::Output).map(|record| reader::frame(record).expect("a frame")).collect();
    let shown: Vec<Frame> = inputs.iter().map(|input| samples::full_frame(input.at)).collect();
    assert_eq!(frames, shown);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Any 64 bits, also those of no number.
    #[test]
    fn a_number_keeps_its_bits(bits: u64, at: u64) {
        let poll = Poll::at_once(0, EngineTime(at), [(0, Measured::Number(f64::from_bits(bits)))]);
        let input = Input { at: EngineTime(at), event: Event::Poll(poll) };
        let bytes = toy::recorded::<Toy>(&samples::header(Carried::default()), &[input]);
        let recording = reader::walk(Path::new("test"), &bytes).expect("a recording");
        let read = reader::input(&recording.records[1]).expect("an input");
        prop_assert_eq!(read.at.0, at);
        let Event::Poll(poll) = read.event else { panic!("a poll") };
        let Measured::Number(number) = poll.values[0].value else { panic!("a number") };
        prop_assert_eq!(number.to_bits(), bits);
    }

    /// The JSON's decimals read back to the same bits; what is no number is a text with its bits.
    #[test]
    fn json_keeps_the_bits(bits: u64) {
        let number = f64::from_bits(bits);
        let mut frame = samples::full_frame(samples::at(1));
        frame.pad.to_ceiling_s = Some(number);
        let text = frame_json(&frame).to_string();
        let read: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        let read = &read["pad"]["to_ceiling_s"];
        if number.is_finite() {
            prop_assert_eq!(read.as_f64().map(f64::to_bits), Some(bits));
        } else {
            prop_assert_eq!(read, &serde_json::Value::from(format!("not finite: {bits:#018x}")));
        }
    }
}

/// CRC-32 of IEEE 802.3 bit by bit, as ISO/IEC 13239 and the PNG specification (RFC 2083, appendix 15) print it.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { 0xEDB8_8320 ^ (c >> 1) } else { c >> 1 })
    })
}

/// Walks the bytes after nothing but the description, with a checksum of its own. The wire format of the tick
/// (engine time as a variable-length integer, seven bits a byte, low first; then the variant's index) is that
/// of postcard's specification.
#[test]
fn the_bytes_are_those_of_the_description() {
    // Check value of CRC-32/ISO-HDLC, printed in every catalogue of checksums.
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
    let tick = Input { at: EngineTime(300), event: Event::Tick };
    let bytes = toy::recorded::<Toy>(&samples::header(Carried::default()), &[tick]);
    let (mut at, mut kinds, mut linked, mut hash) = (0, vec![], 0, [0_u8; 32]);
    while at < bytes.len() {
        let u32_at = |i: usize| u32::from_le_bytes(bytes[at + i..at + i + 4].try_into().expect("4 bytes"));
        assert_eq!(bytes[at..at + 4], [0x8A, 0x42, 0x57, 0x1E]);
        let body = &bytes[at + 21..at + 21 + u32_at(4) as usize];
        let number = u64::from_le_bytes(bytes[at + 9..at + 17].try_into().expect("8 bytes"));
        assert_eq!(u32_at(17), crc32(&[&bytes[at + 4..at + 17], body].concat()));
        match bytes[at + 8] {
            1 => assert_eq!(body[..14], *b"\x01\0\0\0\x01\0\0\0\x050.1.0"),
            2 => assert_eq!((number, body), (1, &[0xAC, 0x02, 0x02][..])),
            4 => {
                hash = *blake3::hash(&[&hash, &bytes[linked..at]].concat()).as_bytes();
                assert_eq!(body, hash);
                linked = at + 21 + body.len();
            }
            5 => assert_eq!((number, body), (1, &[1, 1][..])),
            _ => assert_eq!((bytes[at + 8], number), (3, 1)),
        }
        kinds.push(bytes[at + 8]);
        at += 21 + body.len();
    }
    assert_eq!(linked, bytes.len(), "the last link covers everything before it");
    kinds.retain(|kind| *kind != 4);
    assert_eq!(kinds, [1, 2, 3, 5]);
}
