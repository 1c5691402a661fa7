//! A recording made by the release demo, replayed by this test binary, which is another build of the same program, and by
//! both builds of the program itself on a processor without FMA.

use crate::builds;
use brimwatch::recording::compare::{self, DifferenceKind, Outcome};
use brimwatch::recording::format::Kind;
use brimwatch::recording::reader;
use std::path::{Path, PathBuf};
use std::process::Command;

fn recording_in(folder: &Path) -> PathBuf {
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(&next).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "brim") {
                return path;
            }
        }
    }
    panic!("no recording below {}", folder.display())
}

#[test]
fn a_recording_of_the_release_demo_is_the_same_here_and_one_flipped_bit_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = Command::new(builds::release("brimwatch-simulator"))
        .args(["demo", "--once", "--speed", "60", "--store"])
        .arg(folder.path())
        .output()
        .expect("the demo");
    let said = String::from_utf8_lossy(&demo.stdout);
    assert!(demo.status.success(), "{said}{}", String::from_utf8_lossy(&demo.stderr));
    assert!(said.contains("The three instruments agree within"), "{said}");

    let path = recording_in(folder.path());
    let comparison = compare::compare(&path).expect("a recording");
    println!("release demo replayed by this build: {comparison}");
    assert!(comparison.is_same(), "{comparison}");
    assert!(comparison.compared > 3_000, "{} outputs", comparison.compared);
    builds::assert_replayed_by_all(&path);

    // One bit in the middle of an output in the middle of the transfer.
    let mut bytes = std::fs::read(&path).expect("the recording");
    let (number, at) = {
        let recording = reader::walk(&path, &bytes).expect("a recording");
        let outputs: Vec<_> = recording.records.iter().filter(|r| r.kind == Kind::Output).collect();
        let output = outputs[outputs.len() / 2];
        (output.number, output.end() - output.body.len() / 2)
    };
    bytes[at] ^= 1;
    std::fs::write(&path, &bytes).expect("a file");
    let comparison = compare::compare(&path).expect("still a recording");
    println!("with one bit flipped: {comparison}");
    let Outcome::Different { first, count: 1 } = &comparison.outcome else { panic!("{comparison}") };
    assert!(first.number == number && !first.checksum_fits, "{first}");
    let DifferenceKind::Field { path, stored, replayed } = &first.what else { panic!("{first}") };
    assert!(!path.is_empty() && stored != replayed, "{first}");
}
