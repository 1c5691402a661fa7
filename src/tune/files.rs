//! Which recordings are meant.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Ending of a recording's name.
const ENDING: &str = "brim";
/// Folders in folders; a store is two deep.
const DEEPEST: usize = 8;

/// The recordings among what was named: files as they are, folders with everything below them, in the order of names.
///
/// # Errors
/// When a name is neither or a folder cannot be read, with that name.
pub fn recordings(named: &[PathBuf]) -> Result<Vec<PathBuf>, (PathBuf, io::Error)> {
    let mut found = Vec::new();
    for path in named {
        if path.is_dir() {
            below(path, 0, &mut found)?;
        } else if let Err(error) = fs::metadata(path) {
            return Err((path.clone(), error));
        } else {
            found.push(path.clone());
        }
    }
    found.sort();
    found.dedup();
    Ok(found)
}

fn below(folder: &Path, depth: usize, found: &mut Vec<PathBuf>) -> Result<(), (PathBuf, io::Error)> {
    let entries = fs::read_dir(folder).map_err(|error| (folder.to_owned(), error))?;
    for entry in entries {
        let entry = entry.map_err(|error| (folder.to_owned(), error))?;
        let path = entry.path();
        match entry.file_type() {
            Ok(kind) if kind.is_dir() && depth < DEEPEST => below(&path, depth + 1, found)?,
            Ok(kind) if kind.is_file() && path.extension().is_some_and(|e| e == ENDING) => found.push(path),
            _ => {}
        }
    }
    Ok(())
}
