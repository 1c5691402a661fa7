//! Recordings kept from each version of the format: what an old program wrote must stay readable.
//!
//! `BRIMWATCH_REWRITE=1 cargo test --test golden` writes the file of the present version and its text anew.
//! That is right while the version has not been released; afterwards a change needs a new version and a file
//! beside the old ones.

use crate::samples;
use crate::toy::{self, Toy};
use brimwatch::engine::input::{Input, What};
use brimwatch::recording::compare::{Outcome, compare_with};
use brimwatch::recording::dump::dump;
use std::path::PathBuf;

fn kept(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/golden").join(name)
}

fn present() -> Vec<u8> {
    let every = (1..).zip(samples::every_event()).map(|(s, event)| Input { at: samples::at(s), event });
    let mut inputs: Vec<Input> = every.collect();
    inputs.push(samples::entry(60, What::TransferStarted));
    toy::recorded::<Toy>(&samples::header(samples::carried()), &inputs)
}

#[test]
fn a_recording_of_format_1_0_reads_as_it_did() {
    let (file, text) = (kept("format-1.0.rec"), kept("format-1.0.txt"));
    if std::env::var_os("BRIMWATCH_REWRITE").is_some() {
        std::fs::write(&file, present()).expect("a disk");
        let mut out = vec![];
        dump(&file, &mut out).expect("a recording");
        std::fs::write(&text, out).expect("a disk");
    }
    let mut out = vec![];
    dump(&file, &mut out).unwrap_or_else(|error| panic!("{error}"));
    let expected = std::fs::read_to_string(&text).expect("the text");
    let shown = String::from_utf8(out).expect("text");
    for (line, (shown, expected)) in shown.lines().zip(expected.lines()).enumerate() {
        assert_eq!(shown, expected, "line {} of {}", line + 1, text.display());
    }
    assert_eq!(shown, expected);
    let bytes = std::fs::read(&file).expect("the file");
    let outcome = compare_with::<Toy>(&file, &bytes).expect("a recording").outcome;
    assert!(matches!(outcome, Outcome::Same | Outcome::OtherProgram { .. }), "{outcome:?}");
}
