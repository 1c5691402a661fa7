//! Nothing is lost: kills, cuts, damage, disks that fill or go, and time that nobody watched.

mod cuts;
mod disks;
mod gaps;
mod kills;

use super::drilled::{self, Drilled};
use super::running::Program;
use brimwatch::engine::Monitor;
use brimwatch::engine::input::Input;
use brimwatch::recording::format::{Header, Kind};
use brimwatch::recording::reader;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A drill at the speed of the clock on the wall.
async fn drill(folder: &Path, seed: u64) -> Drilled {
    drilled::start(folder, 1.0, seed).await
}

/// Its only recording.
fn recording(bay: &Path) -> PathBuf {
    let files = std::fs::read_dir(bay).expect("a folder").map(|entry| entry.expect("an entry").path());
    let found: Vec<_> = files.filter(|path| path.extension().is_some_and(|e| e == "brim")).collect();
    assert_eq!(found.len(), 1, "{found:?}");
    found[0].clone()
}

/// Header and inputs of the bytes of a recording, as far as it is whole: read by the records alone.
fn inputs(bytes: &[u8]) -> (Header, Vec<Input>) {
    let recording = reader::walk(Path::new("x.brim"), bytes).expect("a recording");
    assert_eq!(recording.damage, []);
    let inputs = recording.records.iter().filter(|record| record.kind == Kind::Input);
    let inputs = inputs.map(|record| reader::input(record).expect("an input")).collect();
    (recording.header, inputs)
}

/// All that a monitor holds, down to what no frame shows.
fn hash(monitor: &Monitor) -> String {
    blake3::hash(format!("{monitor:?}").as_bytes()).to_string()
}

/// `brimwatch replay` and what it says.
fn replay(recording: &Path) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_brimwatch")).arg("replay").arg(recording).output().expect("a replay");
    (output.status.code(), String::from_utf8_lossy(&output.stdout).into_owned())
}

fn replays_bit_for_bit(recording: &Path) {
    let (code, said) = replay(recording);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("bit for bit the same"), "{said}");
}

/// Every signal has been read; the product check's (2) has no liquid yet.
fn all_read(frame: &Value) -> bool {
    frame["readings"].as_array().is_some_and(|r| r.iter().all(|r| r["validity"] == "good" || r["signal"] == 2))
}

#[cfg(feature = "peers")]
fn in_trouble(frame: &Value) -> bool {
    frame["alarms"].as_array().is_some_and(|alarms| alarms.iter().any(|a| a["key"]["id"] == "recorder_trouble"))
}

/// A note that nobody has made before, entered with a check.
fn note(number: u32) -> String {
    format!(r#"{{"what":{{"check":{{"id":"emergency_equipment","met":true,"note":"note {number}"}}}}}}"#)
}

/// The notes on record.
fn notes(inputs: &[Input]) -> Vec<String> {
    use brimwatch::engine::input::{Entry, Event, What};
    let note = |input: &Input| match &input.event {
        Event::Entry(Entry { what: What::CheckEntered { note, .. }, .. }) => Some(note.clone()),
        _ => None,
    };
    inputs.iter().filter_map(note).collect()
}

/// A signal of the system, by its name.
fn send(program: &Program, signal: &str) {
    let pid = program.child.id().to_string();
    let sent = Command::new("sh").args(["-c", "kill -s \"$0\" \"$1\"", signal, &pid]).status().expect("a shell");
    assert!(sent.success());
}
