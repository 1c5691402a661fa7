//! Which recordings are of one delivery. The live program begins a new one when its own version or the site's
//! settings changed, or when the disk was away; file names begin with the moment they were begun at, so that the
//! next of a delivery is the next by name in the same folder.

use crate::recording::{ENDING, RecordingError, stream};
use std::path::{Path, PathBuf};

/// Most recordings of one delivery. A program that begins a new one at every start would have to be started anew this
/// often while one trailer stands there.
const MOST: usize = 100;

/// The recordings of the delivery that `recording` is of, in order: itself, those before it that handed the open
/// delivery on, and those after it that went on with it.
///
/// # Errors
/// When `recording` itself cannot be read. One beside it that cannot be read ends the row.
pub(super) fn of_one_delivery(recording: &Path) -> Result<Vec<PathBuf>, RecordingError> {
    let mut row = vec![recording.to_owned()];
    let mut carried = handed_on(recording)?;
    let beside = beside(recording);
    let here = beside.iter().position(|path| path.file_name() == recording.file_name());
    let Some(here) = here else { return Ok(row) };
    // Back to the one that opened it.
    let mut at = here;
    while let (Some(_), true) = (&carried, at > 0 && row.len() < MOST) {
        at -= 1;
        let Ok(before) = handed_on(&beside[at]) else { break };
        row.insert(0, beside[at].clone());
        carried = before;
    }
    for after in &beside[here + 1..] {
        match handed_on(after) {
            Ok(Some(_)) if row.len() < MOST => row.push(after.clone()),
            _ => break,
        }
    }
    Ok(row)
}

/// The open delivery that a recording began with.
fn handed_on(path: &Path) -> Result<Option<String>, RecordingError> {
    let carried = stream::open(path)?.header().carried.delivery.as_ref().map(|d| d.setup.id.clone());
    Ok(carried)
}

/// Every recording of the same folder, by name.
fn beside(recording: &Path) -> Vec<PathBuf> {
    let folder = recording.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut found: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    found.retain(|path| path.extension().is_some_and(|ending| ending == ENDING));
    found.sort();
    found
}
