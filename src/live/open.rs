//! A delivery opened while the watch runs: its papers are typed on the page, or `brimwatch open` writes them beside the
//! recordings, where the watch looks for them once a second. Either way the watch checks them by its own site file and
//! opens the delivery in a recording of its own. So nothing goes
//! unwatched between two loads, and what the last closing proved of the tank's level still counts.

use super::change::{Answered, AskError, answer, paragraph, put};
use super::segment;
use crate::clock::wall_now;
use crate::config::typed::{self, Kind};
use crate::config::{DeliveryFile, Fault, Site};
use crate::page::feed::{FieldKind, PaperFault, PaperField, PapersAnswer, PapersRequest};
use crate::report;
use crate::words::{Language as _, NotTaken, en::English};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
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
    /// This leg of a delivery of that name is on record already.
    pub on_record: bool,
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
    let said =
        |why: Option<NotTaken>| why.map_or("that bay is not being watched", |why| English.refused(why)).to_owned();
    give(delivery, who, site, bays).await.map_err(said)
}

/// Gives it to its bay; done once it is durable. The error is why it is not opened; none where nobody watches that bay.
/// The store is searched here, where no poll waits for a disk; openings come one after the other.
async fn give(
    delivery: DeliveryFile,
    who: String,
    site: &Site,
    bays: &[mpsc::Sender<Opening>],
) -> Result<(), Option<NotTaken>> {
    let (bay, setup) = bays.get(delivery.bay).zip(site.bays.get(delivery.bay)).ok_or(None)?;
    let (folder, id, leg) = (segment::folder(site, setup), delivery.setup.id.clone(), delivery.setup.leg);
    let searched = tokio::task::spawn_blocking(move || report::is_on_record(&folder, &id, leg)).await;
    let on_record = searched.map_err(|_| Some(NotTaken::Failed))?;
    let (opened, done) = oneshot::channel();
    bay.send(Opening { delivery, who, on_record, opened }).await.map_err(|_| None)?;
    done.await.map_err(|_| None)?.map_err(Some)
}

/// Name of the papers that were typed, for recordings and messages.
const TYPED: &str = "papers typed on the page";

/// What the page's form asks for.
pub(super) fn fields() -> Vec<PaperField> {
    let one = |field: typed::Field| {
        let (table, name) = field.key.rsplit_once('.').unwrap_or(("", &field.key));
        let (table, row) = match table.rsplit_once('.').and_then(|(table, row)| Some((table, row.parse().ok()?))) {
            Some((table, row)) => (table, Some(row)),
            None => (table, None),
        };
        PaperField {
            table: table.to_owned(),
            row,
            name: name.to_owned(),
            means: field.means,
            example: field.example,
            required: field.required,
            kind: if field.kind == Kind::YesNo { FieldKind::YesNo } else { FieldKind::Text },
            key: field.key,
        }
    };
    let mut fields: Vec<PaperField> = typed::fields().into_iter().map(one).collect();
    // Fields of one table stand together, tables in the order of their first.
    let tables: Vec<String> = fields.iter().map(|field| field.table.clone()).collect();
    fields.sort_by_key(|field| tables.iter().position(|table| *table == field.table));
    fields
}

/// Takes papers that were typed, and answers.
pub(super) async fn of_page(site: &Site, bays: &[mpsc::Sender<Opening>], request: PapersRequest) {
    let PapersRequest { bay, who, values, anyway, answered } = request;
    let taken = typed_in(site, bays, &bay, who, &values, anyway).await;
    if let PapersAnswer::NotTaken(why) = &taken {
        tracing::error!(?why, bay, "a delivery is not opened");
    }
    // Whoever asked may be gone.
    let _ = answered.send(taken);
}

async fn typed_in(
    site: &Site,
    bays: &[mpsc::Sender<Opening>],
    slug: &str,
    who: String,
    values: &BTreeMap<String, String>,
    anyway: bool,
) -> PapersAnswer {
    let found = |f: &Fault| f.finding.clone().ok_or_else(|| paragraph(f));
    let said = |all: &[Fault]| all.iter().map(|f| PaperFault { key: f.key.clone(), found: found(f) }).collect();
    let Some(bay) = site.bays.iter().find(|bay| bay.slug == slug) else {
        return PapersAnswer::NoWatch;
    };
    let text = typed::papers(&bay.settings.bay, values);
    let delivery = match DeliveryFile::from_text(Path::new(TYPED), text, site) {
        Ok(delivery) => delivery,
        Err(faults) => return PapersAnswer::Faults(said(faults.list())),
    };
    if !delivery.warnings.is_empty() && !anyway {
        return PapersAnswer::Warnings(said(&delivery.warnings));
    }
    match give(delivery, who, site, bays).await {
        Ok(()) => PapersAnswer::Opened,
        Err(Some(why)) => PapersAnswer::NotTaken(why),
        Err(None) => PapersAnswer::NoWatch,
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::LANGUAGES;
    use crate::words::es::Spanish;

    /// In English the key table speaks; every other language has its own words for each field and each table.
    #[test]
    fn every_field_has_its_words_in_each_language() {
        for field in fields() {
            let path = match field.table.as_str() {
                "" => field.name.clone(),
                table => format!("{table}.{}", field.name),
            };
            assert_eq!((LANGUAGES[0].papers().field)(&path), None, "said twice: {path}");
            let words = Spanish.papers();
            let (label, means) = (words.field)(&path).unwrap_or_else(|| panic!("no Spanish for {path}"));
            assert!(!label.is_empty() && !means.is_empty() && means != field.means, "{path}");
            let heading = (words.table)(&field.table);
            assert!(heading.is_some() || ["", "certificate.property"].contains(&field.table.as_str()), "{path}");
        }
    }
}
