//! The house in order: who may name whom, and papers that say what is there.

mod alarms;
mod arrows;
#[cfg(feature = "peers")]
mod commands;
mod dependencies;
mod manual;
mod papers;
mod planted;
mod safety;

use std::fs;
use std::path::{Path, PathBuf};

/// Root of the repository.
fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Text of a file of the repository.
fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Every file with that extension below a folder of the repository, as paths from its root.
fn files(folder: &str, extension: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display())) {
            let path = entry.expect("a folder that can be listed").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == extension) {
                found.push(path.strip_prefix(root()).expect("below the root").to_path_buf());
            }
        }
    }
    assert!(!found.is_empty(), "no .{extension} file below {folder}: the check would hold of nothing");
    found.sort();
    found
}

/// A Rust file without its comment lines.
fn code(path: &Path) -> String {
    read(&root().join(path)).lines().filter(|l| !l.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}
