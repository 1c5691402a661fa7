//! Held against reference libraries: what Python's open scientific packages compute, and what was printed.
//!
//! Each check asks a script beside it; the script names the library and the publication behind it.

mod chart;
mod delivery;
mod density;
mod filter;
mod flow;
mod gas;
mod gum;
mod legs;
mod noise;
mod passage;
mod plant;
mod quantiles;
mod reading;
mod real_flow;
#[allow(dead_code, reason = "the moments of the browser's tests, not all of which are read here")]
#[path = "../browser/scenes.rs"]
mod scenes;
mod tables;
mod tank_volume;
mod venv;
mod vessel;

use serde::Serialize;
use serde::de::DeserializeOwned;
use std::io::Seek;
use std::path::Path;
use std::process::Command;

/// What a script beside this file prints, as JSON, on stdout.
fn ask<T: DeserializeOwned>(script: &str) -> T {
    ask_about(script, &())
}

/// The same of a script that reads JSON from stdin first.
fn ask_about<T: DeserializeOwned>(script: &str, input: &impl Serialize) -> T {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference").join(script);
    let mut given = tempfile::tempfile().expect("a file");
    serde_json::to_writer(&given, input).expect("written");
    given.rewind().expect("a file that can be read from its start");
    let out = Command::new(venv::python()).arg(&path).stdin(given).output().expect("a Python that starts");
    assert!(out.status.success(), "{script}: {}\n{}", out.status, String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap_or_else(|e| panic!("{script}: {e}"))
}

/// `|got - expected| <= relative x |expected|`, or the difference in words.
fn assert_close(got: f64, expected: f64, relative: f64, what: impl std::fmt::Display) {
    let off = (got - expected).abs();
    assert!(off <= relative * expected.abs(), "{what}: {got} against {expected}, off by {off:e}");
}
