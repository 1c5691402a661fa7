//! Which recordings are of one leg, and of the legs before it. The live program begins a new one when its own version or the site's
//! settings changed, or when the disk was away; file names begin with the moment they were begun at, so that the
//! next of a delivery is the next by name in the same folder.

use crate::engine::input::{Event, What};
use crate::recording::format::Kind;
use crate::recording::{ENDING, RecordingError, fit_for_a_name, reader, stream};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Most recordings of one delivery. A program that begins a new one at every start would have to be started anew this
/// often while one trailer stands there.
const MOST: usize = 100;

/// A delivery is opened among the first records of its recording: the wall clock and a line of its own may come before it.
const OPENED_WITHIN: usize = 8;

/// The recordings of the leg that `recording` is of, in order: itself, those before it that handed the open
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

/// Behind those of the legs before it, as far as they are found beside it or in the folders of other bays, by their names:
/// a watch ends each with the delivery's number. Nobody need find what is not there; the account says which leg is missing.
pub(super) fn with_earlier_legs(row: Vec<PathBuf>) -> Vec<PathBuf> {
    let Some((delivery, leg)) = row.first().and_then(|first| opened(first)) else { return row };
    let folder = row[0].parent().unwrap_or(Path::new(""));
    let before = if leg > 1 { legs(folder, &delivery) } else { BTreeMap::new() };
    let before = before.into_iter().filter(|(of, _)| *of < leg);
    let mut all: Vec<PathBuf> = before.flat_map(|(_, first)| of_one_delivery(&first).unwrap_or_default()).collect();
    all.extend(row);
    all
}

/// Every leg of a delivery that was opened in a recording of `folder` or of the folders beside it, with that recording.
pub(super) fn legs(folder: &Path, delivery: &str) -> BTreeMap<u8, PathBuf> {
    let fit = fit_for_a_name(delivery);
    let of_bays = folder.parent().and_then(|store| std::fs::read_dir(store).ok()).into_iter().flatten();
    let of_bays = of_bays.filter_map(|entry| Some(entry.ok()?.path())).filter(|path| path.is_dir() && path != folder);
    let folders = std::iter::once(folder.to_owned()).chain(of_bays);
    let named = folders.flat_map(|folder| beside(&folder.join("any")));
    let named = named.filter(|path| path.file_stem().is_some_and(|stem| stem.to_string_lossy().ends_with(&fit)));
    named.filter_map(|path| Some((opened(&path).filter(|(id, _)| id == delivery)?.1, path))).collect()
}

/// The delivery and the leg that a recording begins with the opening of.
fn opened(path: &Path) -> Option<(String, u8)> {
    let mut recording = stream::open(path).ok()?;
    for _ in 0..OPENED_WITHIN {
        let record = recording.next_record().ok()??;
        if record.kind == Kind::Input
            && let Event::Entry(entry) = reader::input(&record).ok()?.event
            && let What::DeliveryOpened(setup) = entry.what
        {
            return Some((setup.id, setup.leg));
        }
    }
    None
}
