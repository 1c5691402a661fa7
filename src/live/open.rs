//! A delivery opened while the watch runs: `brimwatch open` writes its papers beside the recordings, the watch looks for
//! them once a second, checks them by its own site file and opens the delivery in a recording of its own. So nothing goes
//! unwatched between two loads, and what the last closing proved of the tank's level still counts.

use super::change::{Answered, AskError, answer, put};
use crate::clock::wall_now;
use crate::config::{DeliveryFile, Site};
use crate::words::{Language as _, NotTaken, en::English};
use serde::{Deserialize, Serialize};
use std::fs;
use std::path::{Path, PathBuf};
use tokio::sync::{mpsc, oneshot};

/// The largest file that is read, bytes: papers and what is said beside them.
const ASKED_MOST_BYTES: u64 = 1 << 20;

const ASKED: &str = "delivery-asked.json";
const ANSWERED: &str = "delivery-answered.json";

/// What somebody asks for.
#[derive(Debug, Serialize, Deserialize)]
struct Asked {
    /// When, ns since 1970: tells one from another.
    asked_unix_ns: i64,
    who: String,
    /// The papers' file, for messages.
    path: PathBuf,
    /// Their text.
    text: String,
}

/// A delivery on its way to its bay.
#[derive(Debug)]
pub(super) struct Opening {
    pub delivery: DeliveryFile,
    pub who: String,
    /// Answered once it is durable, or with why it is not taken.
    pub opened: oneshot::Sender<Result<(), NotTaken>>,
}

/// Takes up what is asked, if anything is, and answers.
pub(super) async fn of_file(site: &Site, bays: &[mpsc::Sender<Opening>]) {
    let store = site.store.clone();
    let Ok(Some(asked)) = tokio::task::spawn_blocking(move || look(&store)).await else { return };
    let asked_unix_ns = asked.asked_unix_ns;
    let taken = open(asked, site, bays).await;
    if let Err(why) = &taken {
        tracing::error!(why, "a delivery is not opened");
    }
    let answer = Answered { asked_unix_ns, taken: taken.is_ok(), says: taken.err().unwrap_or_default() };
    let answered = site.store.join(ANSWERED);
    let put = tokio::task::spawn_blocking(move || put(&answered, serde_json::to_string(&answer)?.as_bytes()));
    if let Ok(Err(error)) = put.await {
        tracing::error!(%error, "whoever asked for the delivery cannot be answered");
    }
}

async fn open(asked: Asked, site: &Site, bays: &[mpsc::Sender<Opening>]) -> Result<(), String> {
    let Asked { who, path, text, .. } = asked;
    let delivery = DeliveryFile::from_text(&path, text, site).map_err(|faults| faults.to_string())?;
    let bay = bays.get(delivery.bay).ok_or("the site has no such bay")?;
    let (opened, done) = oneshot::channel();
    let gone = "that bay is not being watched";
    bay.send(Opening { delivery, who, opened }).await.map_err(|_| gone)?;
    done.await.map_err(|_| gone)?.map_err(|why| English.refused(why).to_owned())
}

/// What is asked. Taken up once, whatever becomes of it.
fn look(store: &Path) -> Option<Asked> {
    let path = store.join(ASKED);
    let small = fs::metadata(&path).ok()?.len() <= ASKED_MOST_BYTES;
    let text = if small { fs::read_to_string(&path).ok() } else { None };
    fs::remove_file(&path).ok()?;
    serde_json::from_str(&text?).ok()
}

/// Asks the running watch of that site to open the delivery of these papers, and waits until it is on record.
///
/// # Errors
/// Why it was not opened; then nothing was changed.
pub fn ask(site: &Site, papers: &Path, who: &str) -> Result<(), AskError> {
    let io = |path: &Path, source| AskError::Io { path: path.to_owned(), source };
    let text = fs::read_to_string(papers).map_err(|source| io(papers, source))?;
    if !site.store.exists() {
        return Err(AskError::NoWatch(site.store.clone()));
    }
    let asked_unix_ns = wall_now().0;
    let asked = Asked { asked_unix_ns, who: who.to_owned(), path: papers.to_owned(), text };
    let path = site.store.join(ASKED);
    let bytes = serde_json::to_vec(&asked).map_err(|error| io(&path, error.into()))?;
    put(&path, &bytes).map_err(|source| io(&path, source))?;
    answer(&site.store.join(ANSWERED), asked_unix_ns, &path)
}
