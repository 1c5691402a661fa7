//! Alarm settings changed while the watch runs: asked for on the page or by a file in the store, checked, stepped, logged.
//!
//! On the page an engineer who is signed in asks. `brimwatch change` writes what it asks for beside the recordings, and
//! whoever may write there may ask: the folder's permissions are the engineer's role. The watch looks for it once a second
//! on a thread of its own. Either way it checks by the same rules and gives the change to each bay as an input like any
//! other: no poll waits for it. What is not sound changes nothing, and the answer says why. What is taken is written into
//! the watch's site file too, so that a new start does not undo it.

use super::open::{self, Opening};
use crate::clock::wall_now;
use crate::config::change::{ChangeError, Difference, change, looked_at as would_change, settings, with};
use crate::config::{Fault, Faults, Site};
use crate::engine::settings::Settings;
use crate::files;
use crate::page::feed::{Changed, Offered, PapersRequest, Setting, SettingsAnswer, SettingsRequest};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs::{self, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
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
pub(super) struct Answered {
    pub asked_unix_ns: i64,
    pub taken: bool,
    pub says: String,
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

pub(super) fn put(path: &Path, bytes: &[u8]) -> io::Result<()> {
    files::replace(path, bytes, 0o666)
}

/// The page's end of it: what may be changed, and where it is asked for.
pub(super) struct Page {
    pub asks: mpsc::Receiver<SettingsRequest>,
    /// Papers that were typed.
    pub papers: mpsc::Receiver<PapersRequest>,
    pub offers: watch::Sender<Arc<Offered>>,
}

/// What the page offers to change.
pub(super) fn offered(site: &Site) -> Offered {
    let text = site.texts.first().map_or("", |(_, text)| text);
    let settings = settings(site).into_iter().map(|s| Setting {
        key: s.key,
        table: s.table,
        name: s.of,
        means: s.means,
        range: s.range,
        left_out: s.left_out,
        written: s.written.unwrap_or_default(),
    });
    Offered { version: blake3::hash(text.as_bytes()).to_hex()[..16].to_owned(), settings: settings.collect() }
}

/// Takes what is asked until told to stop; deliveries too, by the site file in force.
pub(super) async fn run(
    site: Site,
    (bays, openings): (Vec<mpsc::Sender<NewSettings>>, Vec<mpsc::Sender<Opening>>),
    Page { mut asks, mut papers, offers }: Page,
    mut stopping: watch::Receiver<bool>,
) {
    let mut desk = Desk { site, bays, offers };
    loop {
        let request = tokio::select! {
            () = async { drop(stopping.wait_for(|stop| *stop).await) } => return,
            Some(request) = asks.recv() => Some(request),
            Some(request) = papers.recv() => {
                open::of_page(&desk.site, &openings, request).await;
                continue;
            }
            () = tokio::time::sleep(LOOK_EVERY) => None,
        };
        match request {
            Some(request) => desk.of_page(request).await,
            None => {
                desk.of_file().await;
                open::of_file(&desk.site, &openings).await;
            }
        }
    }
}

/// What became of what was asked: what is different, and where the site file holds it too or why not.
type Taken = Result<(Vec<Difference>, Option<String>), ChangeError>;

/// What is in force, and whom to tell of another.
struct Desk {
    site: Site,
    bays: Vec<mpsc::Sender<NewSettings>>,
    offers: watch::Sender<Arc<Offered>>,
}

impl Desk {
    /// What somebody asks for on the page. Only what is to be applied goes into the log.
    async fn of_page(&mut self, request: SettingsRequest) {
        let SettingsRequest { who, reason, version, values, apply, answered } = request;
        let asked = Asked { asked_unix_ns: wall_now().0, who, reason, text: String::new() };
        let outdated = self.offers.borrow().version != version;
        let said = if outdated { SettingsAnswer::Outdated } else { self.filled_in(asked, values, apply).await };
        // Whoever asked may be gone.
        let _ = answered.send(said);
    }

    async fn filled_in(&mut self, asked: Asked, values: BTreeMap<String, String>, apply: bool) -> SettingsAnswer {
        let site = self.site.clone();
        let new = tokio::task::spawn_blocking(move || {
            let text = with(&site, &values)?;
            sited(&site.path, text).map_err(ChangeError::Faults)
        });
        let taken = match (new.await, apply) {
            (Err(error), _) => return SettingsAnswer::NotTaken(error.to_string()),
            (Ok(new), true) => self.decide(asked, new).await,
            (Ok(Ok(new)), false) => would_change(&self.site, &new).map(|found| (found, None)),
            (Ok(Err(why)), false) => Err(why),
        };
        match taken {
            Ok((found, unwritten)) => SettingsAnswer::Sound {
                changed: found.into_iter().map(|d| Changed { key: d.key, before: d.before, after: d.after }).collect(),
                unwritten,
            },
            Err(why) => SettingsAnswer::NotTaken(in_words(&why)),
        }
    }

    /// What somebody asks for by a file.
    async fn of_file(&mut self) {
        let (path, store) = (self.site.path.clone(), self.site.store.clone());
        let found = tokio::task::spawn_blocking(move || look(&path, &store)).await;
        let Ok(Some((asked, new))) = found else { return };
        let (asked_unix_ns, answered) = (asked.asked_unix_ns, self.site.store.join(ANSWERED));
        let taken = self.decide(asked, new.map_err(ChangeError::Faults)).await;
        let says = taken.err().map(|why| why.to_string());
        let answer = Answered { asked_unix_ns, taken: says.is_none(), says: says.unwrap_or_default() };
        let put = tokio::task::spawn_blocking(move || put(&answered, serde_json::to_string(&answer)?.as_bytes()));
        if let Ok(Err(error)) = put.await {
            tracing::error!(%error, "whoever asked for the change cannot be answered");
        }
    }

    /// Checks, gives it to the bays, and logs what became of it.
    async fn decide(&mut self, asked: Asked, new: Result<Site, ChangeError>) -> Taken {
        let taken = new.and_then(|new| Ok((change(&self.site, &new, &asked.who, &asked.reason)?, new)));
        let (before, found, why) = match taken {
            Ok((found, new)) => {
                give(&new, &asked, &self.bays).await;
                let before = std::mem::replace(&mut self.site, new);
                self.offers.send_replace(Arc::new(offered(&self.site)));
                tracing::warn!(who = asked.who, reason = asked.reason, changed = found.len(), "settings changed");
                (before, found, None)
            }
            Err(why) => {
                tracing::error!(who = asked.who, %why, "a change of settings is not taken; the old ones stay");
                (self.site.clone(), Vec::new(), Some(why))
            }
        };
        let (site, changed) = (self.site.clone(), found.clone());
        let says = why.as_ref().map(ToString::to_string).unwrap_or_default();
        let kept = tokio::task::spawn_blocking(move || {
            if let Err(error) = log(&site, &asked, &changed, &says) {
                tracing::error!(%error, "the change log cannot be written");
            }
            if says.is_empty() { write_site_file(&before, &site).err() } else { None }
        });
        let unwritten = kept.await.unwrap_or_else(|error| Some(error.to_string()));
        if let Some(why) = &unwritten {
            tracing::error!(why, "the site file is not what is in force: a new start would undo the change");
        }
        why.map_or(Ok((found, unwritten)), Err)
    }
}

/// Why, for a page: a fault is a paragraph, without the line of a file that nobody has seen.
fn in_words(why: &ChangeError) -> String {
    let ChangeError::Faults(faults) = why else { return why.to_string() };
    faults.list().iter().map(paragraph).collect::<Vec<_>>().join("\n")
}

/// A finding as a paragraph.
pub(super) fn paragraph(fault: &Fault) -> String {
    let notes = [("allowed", &fault.allowed), ("nearest", &fault.nearest), ("what to do", &fault.act)];
    let notes = notes.into_iter().filter_map(|(name, note)| Some(format!("; {name}: {}", note.as_deref()?)));
    format!("{}: {}{}", fault.key, fault.what, notes.collect::<String>())
}

/// A text as the site file of the place where that stands.
fn sited(path: &Path, text: String) -> Result<Site, Faults> {
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    Site::from_text(path, text, &|name| fs::read_to_string(folder.join(name)))
}

/// Puts what is in force into the watch's site file, unless somebody has written something else there.
fn write_site_file(before: &Site, now: &Site) -> Result<(), String> {
    let text = |site: &Site| site.texts.first().map_or_else(String::new, |(_, text)| text.clone());
    let shown = now.path.display();
    // Where it is a link, the file that it leads to.
    let path = fs::canonicalize(&now.path).map_err(|error| format!("{shown}: {error}"))?;
    let there = fs::read_to_string(&path).map_err(|error| format!("{shown}: {error}"))?;
    if there == text(now) {
        return Ok(());
    }
    if there != text(before) {
        return Err(format!("{shown}: somebody has changed it since the watch was started"));
    }
    let mode = fs::metadata(&path).map_or(0o644, |meta| meta.permissions().mode() & 0o777);
    files::replace(&path, text(now).as_bytes(), mode).map_err(|error| format!("{shown}: {error}"))
}

type Found = (Asked, Result<Site, Faults>);

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
    let site = sited(path, asked.text.clone());
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

/// Writes a line, and what is in force now where it was taken.
fn log(site: &Site, asked: &Asked, changed: &[Difference], why: &str) -> io::Result<()> {
    let wall = wall_now();
    let taken = why.is_empty();
    let shown = jiff::Timestamp::from_nanosecond(i128::from(wall.0)).map_or_else(|_| String::new(), |t| t.to_string());
    let (who, reason) = (asked.who.as_str(), asked.reason.as_str());
    let line = Logged { wall: shown, wall_unix_ns: wall.0, who, reason, taken, changed, why };
    let mut log = OpenOptions::new().create(true).append(true).open(site.store.join(LOG))?;
    writeln!(log, "{}", serde_json::to_string(&line)?)?;
    log.sync_data()?;
    if taken { say_in_force(site) } else { Ok(()) }
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
    let in_force = sited(&new.path, text).map_err(ChangeError::Faults)?;
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
    answer(&new.store.join(ANSWERED), asked_unix_ns, &path)
}

/// Waits for the watch's answer to what was asked in the file `asked`.
pub(super) fn answer(answered: &Path, asked_unix_ns: i64, asked: &Path) -> Result<(), AskError> {
    let begun = Instant::now();
    while begun.elapsed() < ANSWER_TIME {
        std::thread::sleep(ANSWER_LOOK);
        let text = fs::read_to_string(answered).unwrap_or_default();
        match serde_json::from_str::<Answered>(&text) {
            Ok(answer) if answer.asked_unix_ns == asked_unix_ns => {
                return if answer.taken { Ok(()) } else { Err(AskError::NotTaken(answer.says)) };
            }
            _ => {}
        }
    }
    // Nobody may find it later and take it for meant.
    let _ = fs::remove_file(asked);
    Err(AskError::NoAnswer)
}
