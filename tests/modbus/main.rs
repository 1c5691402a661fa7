//! Held against pymodbus, libmodbus and the published frames: what is on the wire, what registers mean, and a transfer
//! that pymodbus' servers feed. Held against raw servers of ours: devices and lines that misbehave.

mod asking;
mod decode;
mod faults;
mod frames;
mod instruments;
mod peer;
mod serial;
mod transfer;
mod values;

#[path = "../reference/venv.rs"]
mod venv;

use std::path::{Path, PathBuf};

/// A file beside this one.
fn beside(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/modbus").join(name)
}
