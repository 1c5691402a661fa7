//! Held against pymodbus: what registers mean, and a transfer that its servers feed. Held against raw servers of ours:
//! devices and lines that misbehave.

mod faults;
mod instruments;
mod transfer;
mod words;

#[path = "../reference/venv.rs"]
mod venv;

use std::path::{Path, PathBuf};

/// A script beside this file.
fn script(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/modbus").join(name)
}
