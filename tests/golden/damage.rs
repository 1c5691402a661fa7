//! What a file can suffer: it ends anywhere, a bit flips anywhere, it is something else.

use crate::samples;
use crate::toy::{self, Faulty, Toy};
use brimwatch::engine::input::{Carried, What};
use brimwatch::recording::compare::{Difference, DifferenceKind, Outcome, compare_with};
use brimwatch::recording::format::Kind;
use brimwatch::recording::resume::recover_with;
use brimwatch::recording::stream::Stream;
use brimwatch::recording::writer::Recorder;
use brimwatch::recording::{RecordingError, dump, json, reader};
use proptest::prelude::*;
use std::path::Path;

const NAME: &str = "segment";
/// So many bytes at the end are cut off one by one: more than a disk's block, over several inputs and outputs.
const LAST_BYTES: usize = 4096;

fn small() -> Vec<u8> {
    toy::recorded::<Toy>(&samples::header(Carried::default()), &toy::inputs(1, 6))
}

fn compare(bytes: &[u8]) -> Outcome {
    compare_with::<Toy>(Path::new(NAME), bytes).expect("a recording").outcome
}

fn first_difference(bytes: &[u8]) -> Difference {
    match compare(bytes) {
        Outcome::Different { first, .. } => *first,
        other => panic!("no difference: {other:?}"),
    }
}

#[test]
fn a_flipped_bit_in_an_output_is_named_with_step_field_and_both_values() {
    let bytes = small();
    assert_eq!(compare(&bytes), Outcome::Same);
    let recording = reader::walk(Path::new(NAME), &bytes).expect("a recording");
    let output = recording.records.iter().filter(|r| r.kind == Kind::Output).nth(3).expect("an output");
    assert_eq!(output.number, 8);
    for bit in 0..output.body.len() * 8 {
        let mut flipped = bytes.clone();
        flipped[output.end() - output.body.len() + bit / 8] ^= 1 << (bit % 8);
        let difference = first_difference(&flipped);
        assert_eq!((difference.number, difference.at), (8, samples::at(4)), "bit {bit}");
        assert!(!difference.checksum_fits);
        let DifferenceKind::Field { path, stored, replayed } = &difference.what else { panic!("{difference:?}") };
        assert!(!path.is_empty() && stored != replayed, "bit {bit}: {path}: {stored} against {replayed}");
    }
}

/// The last bit of a number: the decimals show it, and the bits beside them prove it.
#[test]
fn the_last_bit_of_a_number_is_shown() {
    let mut bytes = small();
    let (offset, slope) = {
        let recording = reader::walk(Path::new(NAME), &bytes).expect("a recording");
        let output = recording.records.iter().find(|r| r.number == 8 && r.kind == Kind::Output).expect("output 8");
        (output.offset, reader::frame(output).expect("a frame").pad.slope_pa_per_s.expect("a slope"))
    };
    let at = (offset..).find(|&i| bytes[i..].starts_with(&slope.to_le_bytes())).expect("the number's bytes");
    bytes[at] ^= 1;
    let text = first_difference(&bytes).to_string();
    let flipped = f64::from_bits(slope.to_bits() ^ 1);
    let number = |n: f64| format!("{n:?} (bits {:#018x})", n.to_bits());
    let expected = format!("pad.slope_pa_per_s: on record {}, replayed {}", number(flipped), number(slope));
    assert!(text.contains(&expected), "{text}\n{expected}");
    assert!(text.contains("checksum does not fit"), "{text}");
}

/// One bit of every byte of the file, one after the other: always said, never a panic.
#[test]
fn no_flipped_bit_goes_unseen() {
    let bytes = small();
    for i in 0..bytes.len() {
        let mut flipped = bytes.clone();
        flipped[i] ^= 1 << (i % 8);
        match compare_with::<Toy>(Path::new(NAME), &flipped) {
            Ok(comparison) => {
                let whole = comparison.is_same() && comparison.torn.is_none();
                assert!(!whole, "byte {i} of {}: {comparison}", bytes.len());
            }
            Err(error) => assert!(error.to_string().contains(NAME), "{error}"),
        }
        if let Ok(recovered) = recover_with::<Toy>(Path::new(NAME), &flipped) {
            assert_eq!(recovered.monitor.steps, recovered.point.inputs);
        }
    }
}

/// A kill at any byte: what was whole is kept, the rest is put aside, and the segment goes on as one recording.
#[test]
fn a_recording_cut_anywhere_goes_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let header = samples::header(Carried::default());
    let path = folder.path().join(NAME);
    let recorder = Recorder::create(&path, &header).expect("a new file");
    let mut watch = Toy { sum: 2.0, steps: 0 };
    toy::feed(&recorder, &mut watch, &toy::inputs(1, 12));
    drop(recorder);
    let bytes = std::fs::read(&path).expect("the file");
    let mut cuts_in_a_record = 0;
    let recording = reader::walk(Path::new(NAME), &bytes).expect("a recording");
    let ends = recording
        .records
        .iter()
        .map(brimwatch::recording::format::Record::end)
        .filter(|&end| end < bytes.len() - LAST_BYTES);
    for cut in ends.chain(bytes.len() - LAST_BYTES..=bytes.len()) {
        let path = folder.path().join(format!("cut-{cut}"));
        std::fs::write(&path, &bytes[..cut]).expect("a disk");
        let recovered = recover_with::<Toy>(&path, &bytes[..cut]).expect("a recording");
        let mut monitor = recovered.monitor;
        assert_eq!(monitor.steps, recovered.point.inputs);
        let whole_inputs = recording.records.iter().filter(|r| r.kind == Kind::Input && r.end() <= cut).count();
        assert_eq!(monitor.steps, u64::try_from(whole_inputs).expect("few"), "{cut}: no whole input is given up");
        cuts_in_a_record += u64::from(recovered.tail_cut.is_some());
        // Going on costs a flush each time: at every fifth byte, and at each of the last.
        if cut % 5 != 0 && cut + 300 < bytes.len() {
            continue;
        }
        let recorder = Recorder::append(&path, &recovered.point).expect("the file");
        toy::feed(&recorder, &mut monitor, &toy::inputs(13, 2));
        recorder.finish().expect("a disk");
        let whole = std::fs::read(&path).expect("the file");
        let valid = recovered.point.valid_len;
        assert_eq!(whole[..valid], bytes[..valid], "what was on record is as it was");
        let comparison = compare_with::<Toy>(&path, &whole).expect("a recording");
        assert!(comparison.is_same() && comparison.ended && comparison.damage.is_empty(), "{cut}: {comparison}");
        assert_eq!(comparison.inputs, recovered.point.inputs + 4);
        let aside = std::fs::read(folder.path().join(format!("cut-{cut}.torn"))).unwrap_or_default();
        assert_eq!(aside, bytes[valid..cut], "nothing is lost");
    }
    assert!(cuts_in_a_record > 4_000, "{cuts_in_a_record}");
}

/// A kill between making the file and its first input leaves a segment that can be gone on with; a header half
/// written under the name it has until then disturbs nothing.
#[test]
fn a_recording_has_its_whole_header_from_the_start() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join(NAME);
    let unfinished = folder.path().join(format!("{NAME}.new"));
    std::fs::write(&unfinished, b"half a header, longer than any whole one ".repeat(100)).expect("a disk");
    let header = samples::header(Carried::default());
    let recorder = Recorder::create(&path, &header).expect("a new file");
    let bytes = std::fs::read(&path).expect("the file");
    let recovered = recover_with::<Toy>(&path, &bytes).expect("a recording");
    assert_eq!((recovered.point.next_number, recovered.point.valid_len), (1, bytes.len()));
    assert_eq!((recovered.tail_cut, recovered.header == header), (None, true));
    assert!(!unfinished.exists());
    let again = Recorder::create(&path, &header).expect_err("it exists");
    assert_eq!(again.kind(), std::io::ErrorKind::AlreadyExists);
    recorder.finish().expect("a disk");
}

/// Damage to an output takes nothing from the state; damage to an input cuts the recording before it.
#[test]
fn damage_in_the_middle_keeps_every_input_before_it() {
    let bytes = small();
    let recording = reader::walk(Path::new(NAME), &bytes).expect("a recording");
    let record = |kind, number| {
        let found = recording.records.iter().find(|r| r.kind == kind && r.number == number);
        *found.expect("the record")
    };
    let flip = |at: usize| {
        let mut flipped = bytes.clone();
        flipped[at] ^= 0x10;
        recover_with::<Toy>(Path::new(NAME), &flipped).expect("a recording")
    };
    let output_hit = flip(record(Kind::Output, 4).end() - 1);
    assert_eq!((output_hit.monitor.steps, output_hit.tail_cut), (12, None));
    let input = record(Kind::Input, 5);
    for at in input.offset..input.end() {
        let input_hit = flip(at);
        assert_eq!(input_hit.monitor.steps, 4, "byte {at}");
        assert_eq!(input_hit.point.valid_len, input.offset);
        let cut = input_hit.tail_cut.expect("a cut");
        assert_eq!(cut.bytes, bytes.len() - input.offset);
        assert!(cut.why.contains("input 5"), "{}", cut.why);
        assert!(!input_hit.ended);
    }
    let mut flipped = bytes.clone();
    flipped[input.end() - 1] ^= 1;
    let text = compare_with::<Toy>(Path::new(NAME), &flipped).expect("a recording").to_string();
    assert!(text.starts_with("input 5 cannot be read: its checksum does not fit"), "{text}");
}

/// A record changed together with its checksum: only the chain can tell.
#[test]
fn a_forged_record_is_found_by_the_chain() {
    let other = toy::recorded::<Toy>(&samples::header(Carried::default()), &toy::inputs(1, 5));
    let mut bytes = small();
    let (ours, theirs) = (reader::walk(Path::new(NAME), &bytes), reader::walk(Path::new(NAME), &other));
    let link = |r: &reader::Recording<'_>| r.records.iter().rfind(|r| r.kind == Kind::Link).map(|r| r.offset..r.end());
    let ours = link(&ours.expect("a recording")).expect("a link");
    let theirs = link(&theirs.expect("a recording")).expect("a link");
    bytes[ours].copy_from_slice(&other[theirs]);
    let comparison = compare_with::<Toy>(Path::new(NAME), &bytes).expect("a recording");
    assert_eq!(comparison.outcome, Outcome::Damaged);
    assert!(comparison.to_string().contains("changed, removed or added"), "{comparison}");
}

#[test]
fn a_fault_of_our_own_is_named_with_its_input() {
    let mut inputs = toy::inputs(1, 3);
    inputs.push(samples::entry(4, What::Closed));
    inputs.extend(toy::inputs(5, 2));
    let bytes = toy::recorded::<Toy>(&samples::header(Carried::default()), &inputs);
    let recovered = recover_with::<Faulty>(Path::new(NAME), &bytes).expect("a recording");
    assert_eq!((recovered.failed_at, recovered.monitor.0.steps), (Some(7), 6));
    assert_eq!(recovered.last_at, samples::at(6));
    let comparison = compare_with::<Faulty>(Path::new(NAME), &bytes).expect("a recording");
    assert_eq!(comparison.outcome, Outcome::Failed { number: 7 });
}

#[test]
fn a_file_that_is_none_or_another_ones_is_refused_with_advice() {
    let bytes = small();
    let says = |bytes: &[u8]| reader::walk(Path::new("x.rec"), bytes).expect_err("no recording").to_string();
    assert!(says(b"").contains("x.rec: is not a recording of brimwatch"));
    let text = says(b"[site]\nname = 'x'\n");
    assert!(text.contains("begin with the bytes 8a 42 57 1e but begins with 5b 73 69 74"), "{text}");
    for len in 1..200 {
        assert!(says(&bytes[..len]).contains("the first record"), "{}", says(&bytes[..len]));
    }
    // A header of a later format, as a later program would write it: version 2.1, readable since 2.0.
    let mut later = vec![];
    later.extend([2, 0, 1, 0, 2, 0, 0, 0, 5]);
    later.extend(b"7.8.9 and a body that only that program knows");
    let text = says(&framed(1, 0, &later));
    for part in ["x.rec", "format 2.1", "brimwatch 7.8.9", "format 2.0 or later", "has format 1.0"] {
        assert!(text.contains(part), "{part}: {text}");
    }
    let earlier = [0, 0, 9, 0, 0, 0, 9, 0, 3, b'0', b'.', b'0'];
    let text = says(&framed(1, 0, &earlier));
    assert!(text.contains("format 0.9 by brimwatch 0.0") && text.contains("use brimwatch 0.0"), "{text}");
    let missing = reader::read(Path::new("/nowhere/x.rec")).expect_err("no file");
    assert!(matches!(&missing, RecordingError::Io { .. }) && missing.to_string().contains("/nowhere/x.rec"));
}

/// A record made by hand, after the description.
pub fn framed(kind: u8, number: u64, body: &[u8]) -> Vec<u8> {
    let mut summed = u32::try_from(body.len()).expect("a short body").to_le_bytes().to_vec();
    summed.push(kind);
    summed.extend(number.to_le_bytes());
    let crc = crc32fast::hash(&[&summed[..], body].concat());
    [&[0x8A, b'B', b'W', 0x1E], &summed[..], &crc.to_le_bytes(), body].concat()
}

fn use_in_every_way(bytes: &[u8]) {
    let path = Path::new(NAME);
    let _ = recover_with::<Toy>(path, bytes).map(|r| assert!(r.point.valid_len <= bytes.len()));
    let _ = compare_with::<Toy>(path, bytes).map(|c| c.to_string());
    let _ = dump::dump_bytes(path, bytes, &mut std::io::sink());
    let _ = json::json_lines(path, bytes, 1.0, &mut std::io::sink());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn garbage_never_panics(garbage in proptest::collection::vec(any::<u8>(), 0..2000)) {
        use_in_every_way(&garbage);
    }

    /// Behind a good header: whole records of any content, so that decoding is reached.
    #[test]
    fn garbage_in_intact_records_never_panics(
        records in proptest::collection::vec((1_u8..6, 0_u64..6, proptest::collection::vec(any::<u8>(), 0..300)), 0..8)
    ) {
        let mut bytes = toy::recorded::<Toy>(&samples::header(Carried::default()), &[]);
        records.iter().for_each(|(kind, number, body)| bytes.extend(framed(*kind, *number, body)));
        use_in_every_way(&bytes);
    }

    /// A stretch overwritten with anything, then cut.
    #[test]
    fn a_smeared_recording_never_panics(
        smear in proptest::collection::vec(any::<u8>(), 1..64), from: prop::sample::Index, cut: prop::sample::Index
    ) {
        let mut bytes = small();
        let from = from.index(bytes.len() - smear.len());
        bytes[from..from + smear.len()].copy_from_slice(&smear);
        bytes.truncate(cut.index(bytes.len()) + 1);
        use_in_every_way(&bytes);
    }
}

/// Read front to back in bounded memory, a recording that was cut or flipped anywhere gives its records up to there and no
/// other, says where it stopped, and never more bytes than there are.
#[test]
fn a_stream_ends_where_damage_begins() {
    let bytes = small();
    let whole = reader::walk(Path::new(NAME), &bytes).expect("a recording");
    let ends: Vec<usize> = whole.records.iter().map(|record| record.offset + 21 + record.body.len()).collect();
    let read = |bytes: &[u8]| {
        let mut stream = Stream::new(Path::new(NAME), bytes).ok()?;
        let mut count = 1;
        while stream.next_record().expect("bytes in memory").is_some() {
            count += 1;
        }
        Some((count, stream.stopped().map(|stopped| stopped.from)))
    };
    assert_eq!(read(&bytes), Some((ends.len(), None)));
    for at in 0..bytes.len() {
        let before = ends.iter().filter(|end| **end <= at).count();
        let stopped = (before > 0).then(|| ends[before - 1] as u64);
        let mut flipped = bytes.clone();
        flipped[at] ^= 0x40;
        let cut = &bytes[..at];
        // Cut between two records it is a recording that was not ended.
        let cut_at = stopped.filter(|end| *end != at as u64);
        for (damaged, stopped) in [(flipped.as_slice(), stopped), (cut, cut_at)] {
            assert_eq!(read(damaged), (before > 0).then_some((before, stopped)), "byte {at}");
        }
    }
}
