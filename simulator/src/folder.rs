//! A folder of its own for each drill, and what every drill does with a watch: entries handed in, no bay taken that has
//! real work going on.

use crate::drill::readdress;
use brimwatch::config::{self, Door, Site};
use brimwatch::page::feed::{BayFeed, Entry, EntryRequest};
use brimwatch::recording::ENDING;
use brimwatch::recording::resume;
use brimwatch::words::{Language as _, en::English};
use std::fs;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Component, Path, PathBuf};
use std::time::Duration;
use tokio::sync::oneshot;
use tokio::time::timeout;

/// Real time that an entry may take to reach the disk.
const SAVED_WITHIN: Duration = Duration::from_secs(10);

/// Makes the next free folder `name-1`, `name-2` and so on.
///
/// # Errors
/// When it cannot be made.
pub fn run_folder(store: &Path, name: &str) -> Result<PathBuf, String> {
    let cannot = |folder: &Path, e| format!("{}: cannot make the folder: {e}", folder.display());
    fs::create_dir_all(store).map_err(|e| cannot(store, e))?;
    (1u32..)
        .map(|n| store.join(format!("{name}-{n}")))
        .find_map(|folder| match fs::create_dir(&folder) {
            Ok(()) => Some(Ok(folder)),
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => None,
            Err(e) => Some(Err(cannot(&folder, e))),
        })
        .unwrap_or_else(|| Err(format!("{}: no number is left for another run", store.display())))
}

/// Writes a file.
///
/// # Errors
/// When it cannot be written.
pub fn write(file: &Path, text: &str) -> Result<(), String> {
    fs::write(file, text).map_err(|e| format!("{}: cannot write: {e}", file.display()))
}

/// Writes the files that a site or its papers name into the folder. A name that leads out of the folder is left out:
/// recordings come from elsewhere.
///
/// # Errors
/// When one cannot be written.
pub fn write_named(folder: &Path, texts: &[(String, String)]) -> Result<(), String> {
    for (name, text) in texts {
        let path = Path::new(name);
        if name.is_empty() || !path.components().all(|c| matches!(c, Component::Normal(_))) {
            continue;
        }
        let file = folder.join(path);
        if let Some(parent) = file.parent() {
            fs::create_dir_all(parent).map_err(|e| format!("{}: cannot make the folder: {e}", parent.display()))?;
        }
        write(&file, text)?;
    }
    Ok(())
}

/// The drill's own site: the site file of these texts written into the folder, with these addresses of its devices, a page
/// at this port and a store in the folder.
///
/// # Errors
/// When it cannot be written, or is none.
pub fn own_site(
    texts: &[(String, String)],
    addresses: &[(String, String)],
    folder: &Path,
    port: u16,
) -> Result<Site, String> {
    let text = texts.first().map_or("", |(_, text)| text);
    let keys = [("listen", format!("127.0.0.1:{port}")), ("store", "recordings".to_owned())];
    let site_file = folder.join("site.toml");
    write_named(folder, texts.get(1..).unwrap_or_default())?;
    write(&site_file, &readdress(text, addresses, &keys))?;
    let site = config::load(&site_file).map_err(|faults| faults.to_string())?;
    // Also where the site file leaves them out.
    let (listen, store) = (SocketAddr::from((Ipv4Addr::LOCALHOST, port)), folder.join("recordings"));
    // A drill is for this machine alone.
    Ok(Site { listen, door: Door::default(), store, ..site })
}

/// Hands an entry in and waits until it is on disk.
///
/// # Errors
/// Why it was not taken.
pub async fn hand_in(feed: &BayFeed, entry: Entry) -> Result<(), String> {
    let (saved, answer) = oneshot::channel();
    feed.entries.send(EntryRequest { entry, saved }).await.map_err(|_| "the live loop is gone")?;
    match timeout(SAVED_WITHIN, answer).await {
        Ok(Ok(taken)) => taken.map_err(|why| English.refused(why).to_owned()),
        Ok(Err(_)) => Err("the live loop dropped an entry".into()),
        Err(_) => Err(format!("an entry was not on disk within {} s", SAVED_WITHIN.as_secs())),
    }
}

/// Looks at the latest recording of a bay's folder: no drill is held while a real delivery is open there.
///
/// # Errors
/// Names bay, delivery and recording, and says what to do.
pub fn refuse_open(folder: &Path, bay: &str) -> Result<(), String> {
    let Ok(entries) = fs::read_dir(folder) else { return Ok(()) };
    let paths = entries.filter_map(|entry| Some(entry.ok()?.path()));
    let Some(latest) = paths.filter(|path| path.extension().is_some_and(|e| e == ENDING)).max() else { return Ok(()) };
    let recovered = resume::recover(&latest).map_err(|e| e.to_string())?;
    if recovered.header.drill_speed.is_some() || recovered.ended {
        return Ok(());
    }
    match recovered.open_delivery() {
        None => Ok(()),
        Some(delivery) => Err(format!(
            "{bay}: delivery {delivery} is open (recording {}); no drill is held on a bay while a trailer is there: \
             enter \"closed\" first, or let the drill be of another bay",
            latest.display()
        )),
    }
}
