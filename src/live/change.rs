//! Alarm settings changed while the watch runs: asked for by a file in the store, checked, stepped, logged.
//!
//! `brimwatch change` writes what it asks for beside the recordings, and whoever may write there may ask: the folder's
//! permissions are the engineer's role. The watch looks for it once a second on a thread of its own, checks it anew by
//! the same rules, and gives it to each bay as an input like any other: no poll waits for it. A file that is not sound
//! changes nothing, and the answer says why.

use crate::clock::wall_now;
use crate::config::Site;
use crate::config::change::{ChangeError, Difference, change};
use crate::engine::settings::Settings;
use crate::files;
use serde::{Deserialize, Serialize};
use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use tokio::sync::{mpsc, oneshot, watch};

/// Between two looks.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// The largest file that is read, bytes: a site file and what is said beside it.
const ASKED_MOST_BYTES: u64 = 4 << 20;
/// Whoever asks waits so long for the answer.
const ANSWER_TIME: Duration = Duration::from_secs(15);
/// Between two looks for the answer.
const ANSWER_LOOK: Duration = Duration::from_millis(100);

const IN_FORCE: &str = "in-force.toml";
const ASKED: &str = "change-asked.json";
const ANSWERED: &str = "change-answered.json";
const LOG: &str = "changes.jsonl";

/// What somebody asks for.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Asked {
    /// When, ns since 1970: tells one from another.
    asked_unix_ns: i64,
    who: String,
    reason: String,
    /// The whole new site file.
    text: String,
}

/// What became of it.
#[derive(Debug, Clone, Serialize, Deserialize)]
struct Answered {
    asked_unix_ns: i64,
    taken: bool,
    says: String,
}

/// A line of the change log.
#[derive(Debug, Serialize)]
struct Logged<'a> {
    wall: String,
    wall_unix_ns: i64,
    who: &'a str,
    reason: &'a str,
    taken: bool,
    /// What is different; empty where it was not even a site file.
    changed: &'a [Difference],
    /// Why it was not taken; empty where it was.
    why: &'a str,
}

/// New settings on their way to a bay.
#[derive(Debug)]
pub(super) struct NewSettings {
    pub settings: Settings,
    pub texts: Vec<(String, String)>,
    pub who: String,
    pub reason: String,
    /// Sent once stepped.
    pub stepped: oneshot::Sender<()>,
}

/// Says what is in force, so that a later change can be held against it.
pub(super) fn say_in_force(site: &Site) -> io::Result<()> {
    fs::create_dir_all(&site.store)?;
    put(&site.store.join(IN_FORCE), site.texts.first().map_or("", |(_, text)| text).as_bytes())
}

fn put(path: &Path, bytes: &[u8]) -> io::Result<()> {
    files::replace(path, bytes, 0o666)
}

/// Looks for what is asked until told to stop.
pub(super) async fn run(mut site: Site, bays: Vec<mpsc::Sender<NewSettings>>, mut stopping: watch::Receiver<bool>) {
    loop {
        tokio::select! {
            _ = stopping.wait_for(|stop| *stop) => return,
            () = tokio::time::sleep(LOOK_EVERY) => {}
        }
        let (path, store) = (site.path.clone(), site.store.clone());
        let found = tokio::task::spawn_blocking(move || look(&path, &store)).await;
        let Ok(Some((asked, new))) = found else { continue };
        let taken = match &new {
            Ok(new) => change(&site, new, &asked.who, &asked.reason),
            Err(why) => Err(ChangeError::Faults(why.clone())),
        };
        let mut says = String::new();
        let differences = match (taken, new) {
            (Ok(differences), Ok(new)) => {
                give(&new, &asked, &bays).await;
                site = new;
                tracing::warn!(who = asked.who, reason = asked.reason, changed = differences.len(), "settings changed");
                differences
            }
            (Err(why), _) => {
                says = why.to_string();
                tracing::error!(who = asked.who, why = says, "a change of settings is not taken; the old ones stay");
                Vec::new()
            }
            (Ok(_), Err(_)) => continue,
        };
        let site = site.clone();
        let answered = tokio::task::spawn_blocking(move || answer(&site, &asked, &differences, &says)).await;
        if let Ok(Err(error)) = answered {
            tracing::error!(%error, "the change log cannot be written");
        }
    }
}

type Found = (Asked, Result<Site, crate::config::Faults>);

/// What is asked, read as a site file of the place where the site's own stands.
fn look(path: &Path, store: &Path) -> Option<Found> {
    let asked_file = store.join(ASKED);
    if fs::metadata(&asked_file).ok()?.len() > ASKED_MOST_BYTES {
        let _ = fs::remove_file(&asked_file);
        return None;
    }
    let text = fs::read_to_string(&asked_file).ok()?;
    // Taken up once, whatever becomes of it.
    fs::remove_file(&asked_file).ok()?;
    let asked: Asked = serde_json::from_str(&text).ok()?;
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    let site = Site::from_text(path, asked.text.clone(), &|name| fs::read_to_string(folder.join(name)));
    Some((asked, site))
}

/// Each bay steps it in its own order of things; whoever has stopped misses nothing.
async fn give(site: &Site, asked: &Asked, bays: &[mpsc::Sender<NewSettings>]) {
    let mut waiting = Vec::new();
    for (setup, bay) in site.bays.iter().zip(bays) {
        let (stepped, done) = oneshot::channel();
        let (settings, texts) = (setup.settings.clone(), site.texts.clone());
        let (who, reason) = (asked.who.clone(), asked.reason.clone());
        if bay.send(NewSettings { settings, texts, who, reason, stepped }).await.is_ok() {
            waiting.push(done);
        }
    }
    for done in waiting {
        let _ = done.await;
    }
}

fn answer(site: &Site, asked: &Asked, changed: &[Difference], why: &str) -> io::Result<()> {
    let wall = wall_now();
    let taken = why.is_empty();
    let shown = jiff::Timestamp::from_nanosecond(i128::from(wall.0)).map_or_else(|_| String::new(), |t| t.to_string());
    let (who, reason) = (asked.who.as_str(), asked.reason.as_str());
    let line = Logged { wall: shown, wall_unix_ns: wall.0, who, reason, taken, changed, why };
    let mut log = OpenOptions::new().create(true).append(true).open(site.store.join(LOG))?;
    writeln!(log, "{}", serde_json::to_string(&line)?)?;
    log.sync_data()?;
    if taken {
        say_in_force(site)?;
    }
    let answered = Answered { asked_unix_ns: asked.asked_unix_ns, taken, says: why.to_owned() };
    put(&site.store.join(ANSWERED), serde_json::to_string(&answered)?.as_bytes())
}

/// Why a change was not made, for the person who asked for it.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// Nothing was ever started there.
    #[error("{}: no watch has been started with this store: start one with the new file", .0.display())]
    NoWatch(PathBuf),
    /// It is not sound or not allowed.
    #[error("{0}")]
    Change(#[from] ChangeError),
    /// The watch did not answer.
    #[error("the watch does not answer: nothing was changed; is it running?")]
    NoAnswer,
    /// The watch found something.
    #[error("not taken: {0}")]
    NotTaken(String),
    /// The file system refuses.
    #[error("{}: {source}", path.display())]
    Io {
        /// File.
        path: PathBuf,
        /// What the file system says.
        source: io::Error,
    },
}

/// What a sound site file would change of what is in force at its store.
///
/// # Errors
/// Why it is not taken.
pub fn looked_at(new: &Site, who: &str, reason: &str) -> Result<Vec<Difference>, AskError> {
    let path = new.store.join(IN_FORCE);
    let text = match fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Err(AskError::NoWatch(new.store.clone())),
        Err(source) => return Err(AskError::Io { path, source }),
    };
    let folder = new.path.parent().unwrap_or(Path::new("")).to_owned();
    let in_force = Site::from_text(&new.path, text, &|name| fs::read_to_string(folder.join(name)));
    let in_force = in_force.map_err(ChangeError::Faults)?;
    Ok(change(&in_force, new, who, reason)?)
}

/// Asks the running watch to take it, and waits for the answer.
///
/// # Errors
/// Why it was not taken; then nothing was changed.
pub fn ask(new: &Site, who: &str, reason: &str) -> Result<(), AskError> {
    let asked_unix_ns = wall_now().0;
    let text = new.texts.first().map_or_else(String::new, |(_, text)| text.clone());
    let asked = Asked { asked_unix_ns, who: who.to_owned(), reason: reason.to_owned(), text };
    let path = new.store.join(ASKED);
    let io = |source| AskError::Io { path: path.clone(), source };
    put(&path, &serde_json::to_vec(&asked).map_err(|e| io(e.into()))?).map_err(io)?;
    let begun = Instant::now();
    while begun.elapsed() < ANSWER_TIME {
        std::thread::sleep(ANSWER_LOOK);
        let text = fs::read_to_string(new.store.join(ANSWERED)).unwrap_or_default();
        match serde_json::from_str::<Answered>(&text) {
            Ok(answered) if answered.asked_unix_ns == asked_unix_ns => {
                return if answered.taken { Ok(()) } else { Err(AskError::NotTaken(answered.says)) };
            }
            _ => {}
        }
    }
    // Nobody may find it later and take it for meant.
    let _ = fs::remove_file(&path);
    Err(AskError::NoAnswer)
}
