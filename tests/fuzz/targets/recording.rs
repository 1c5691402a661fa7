//! A recording with anything in it: what is whole is read, the rest is said, and a monitor resumes from it.

#![no_main]

use arbitrary::Arbitrary;
use brimwatch::engine::Monitor;
use brimwatch::engine::input::Event;
use brimwatch::recording::format::Kind;
use brimwatch::recording::{reader, resume};
use libfuzzer_sys::fuzz_target;
use std::path::Path;
use std::sync::LazyLock;

const KEPT: &[u8] = include_bytes!("../../golden/format-1.0.rec");

/// The header of a recording that was really written.
static HEADER: LazyLock<&[u8]> = LazyLock::new(|| {
    let recording = reader::walk(Path::new("kept"), KEPT).expect("a recording");
    &KEPT[..recording.records[0].end()]
});

#[derive(Debug, Arbitrary)]
enum Case {
    /// Bytes as they are.
    Raw(Vec<u8>),
    /// A kept recording with bytes written over it.
    Hurt(Vec<(u16, u8)>, u16),
    /// Bodies of records, each with the right head and checksum: what a program with a fault might have written.
    Forged(Vec<(u8, u8, Vec<u8>)>),
}

fn bytes(case: Case) -> Vec<u8> {
    match case {
        Case::Raw(bytes) => bytes,
        Case::Hurt(changes, end) => {
            let mut kept = KEPT.to_vec();
            for (at, byte) in changes {
                let at = usize::from(at) % kept.len();
                kept[at] ^= byte;
            }
            kept.truncate(kept.len().saturating_sub(usize::from(end) / 8));
            kept
        }
        Case::Forged(records) => {
            let mut file = HEADER.to_vec();
            let mut number = 0;
            for (kind, step, body) in records {
                number += u64::from(step % 2);
                file.extend(record(1 + kind % 5, number, &body));
            }
            file
        }
    }
}

/// docs/recording.md: magic 4, length u32, kind u8, number u64, crc32 u32, body.
fn record(kind: u8, number: u64, body: &[u8]) -> Vec<u8> {
    let length = u32::try_from(body.len()).expect("short").to_le_bytes();
    let mut sum = 0xFFFF_FFFF_u32;
    for byte in [&length[..], &[kind], &number.to_le_bytes(), body].concat() {
        sum ^= u32::from(byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 { sum >> 1 ^ 0xEDB8_8320 } else { sum >> 1 };
        }
    }
    [&[0x8A, b'B', b'W', 0x1E][..], &length, &[kind], &number.to_le_bytes(), &(!sum).to_le_bytes(), body].concat()
}

fuzz_target!(|case: Case| {
    let (path, bytes) = (Path::new("fuzzed.brim"), bytes(case));
    let Ok(recording) = reader::walk(path, &bytes) else { return };
    let mut replaced = false;
    for record in &recording.records {
        match record.kind {
            Kind::Input => {
                let input = reader::input(record);
                replaced |= input.is_ok_and(|input| matches!(input.event, Event::Settings(_)));
            }
            Kind::Output => drop(reader::frame(record)),
            _ => {}
        }
    }
    // Settings are checked where they are built; forged ones may say anything.
    if !replaced && let Ok(recovered) = resume::recover_with::<Monitor>(path, &bytes) {
        assert_eq!(recovered.failed_at, None, "the monitor fell over an input");
    }
});
