//! The recorded deliveries of a folder, to be chosen from.

use brimwatch::config::DeliverySetup;
use brimwatch::engine::input::{Event, What};
use brimwatch::recording::format::Kind;
use brimwatch::recording::{ENDING, reader, stream};
use jiff::Timestamp;
use std::fs;
use std::path::{Path, PathBuf};

/// A delivery's papers are entered at the beginning of its recording: no more inputs than this are looked through.
const LOOKED_THROUGH: usize = 1_000;

/// A recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Its path below the folder.
    pub name: String,
    /// Delivery, bay and day; or why it cannot be played.
    pub says: Result<String, String>,
}

/// The recordings in a folder and in those right in it, as the bays of a store are; the latest first. Those of idle days,
/// with no delivery, are left out.
///
/// # Errors
/// When the folder cannot be read, or holds no recorded delivery.
pub fn list(folder: &Path) -> Result<Vec<Found>, String> {
    let mut files = recordings(folder).map_err(|e| format!("{}: cannot be read: {e}", folder.display()))?;
    for below in fs::read_dir(folder).into_iter().flatten().flatten() {
        // A bay's folder that cannot be read offers nothing.
        files.extend(recordings(&below.path()).unwrap_or_default());
    }
    files.sort_by(|a, b| b.file_name().cmp(&a.file_name()));
    let found = |path: PathBuf| {
        let name = path.strip_prefix(folder).unwrap_or(&path).to_str()?.to_owned();
        Some(Found { name, says: says(&path).transpose()? })
    };
    let found: Vec<Found> = files.into_iter().filter_map(found).collect();
    match found.is_empty() {
        false => Ok(found),
        true => Err(format!(
            "{}: no recorded delivery lies in it or in a folder in it; give the folder where a bay's recordings lie, files \
             that end in .{ENDING}, or the site's store",
            folder.display()
        )),
    }
}

fn recordings(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let paths = fs::read_dir(folder)?.filter_map(|entry| Some(entry.ok()?.path()));
    Ok(paths.filter(|path| path.extension().is_some_and(|e| e == ENDING)).collect())
}

/// What is in a recording; none: no delivery.
fn says(path: &Path) -> Result<Option<String>, String> {
    let mut stream = stream::open(path).map_err(|e| e.to_string())?;
    let header = stream.header().clone();
    let says = |papers: &DeliverySetup, more: &str| {
        // What no calendar holds is nobody's day.
        let day = Timestamp::from_nanosecond(i128::from(header.wall_at_zero.0)).unwrap_or_default();
        let drill = if header.drill_speed.is_some() { ", itself a drill" } else { "" };
        format!("{} at {}, {}{drill}{more}", papers.id, header.settings.bay, day.strftime("%Y-%m-%d %H:%M UTC"))
    };
    if let Some(delivery) = &header.carried.delivery {
        let midst = says(&delivery.setup, ": begins in its midst; what moved before lies in an earlier recording");
        return Err(format!("{}: {midst}", path.display()));
    }
    let mut looked = 0;
    while looked < LOOKED_THROUGH
        && let Some(record) = stream.next_record().map_err(|e| e.to_string())?
    {
        if record.kind != Kind::Input {
            continue;
        }
        looked += 1;
        if let Event::Entry(entry) = reader::input(&record)?.event
            && let What::DeliveryOpened(papers) = entry.what
        {
            return Ok(Some(says(&papers, "")));
        }
    }
    match stream.stopped() {
        Some(stopped) => Err(format!("{}: is damaged before any delivery is opened in it: {stopped}", path.display())),
        None => Ok(None),
    }
}
