//! Where the attendant types the papers of a load and opens its delivery. What may be written is the delivery file's own
//! matter: the live loop holds what was typed against its rules and answers field by field.

use super::entries::SCREEN;
use super::feed::{FieldKind, PaperFault, PaperField, PapersAnswer, PapersRequest, Published};
use super::reader::Reader;
use super::server::{App, NoSuchPage, latest};
use super::view;
use crate::people::Role;
use crate::words::papers::PapersWords;
use crate::words::{EntryAnswer, SignInWord};
use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{DefaultBodyLimit, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{MethodRouter, get};
use maud::{Markup, html};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use tokio::sync::mpsc::error::TrySendError;
use tokio::sync::oneshot;

/// Longest body, bytes: every field at its longest.
const BODY_BYTES: usize = 64 << 10;
/// Longest text of a field, characters: a shipping description fits three times; the key table's rules come after it.
const VALUE_CHARS: usize = 300;
/// One not answered by then is answered as not known.
const ANSWER_TIME: Duration = Duration::from_secs(15);
/// Tables that few papers need stand folded.
const SELDOM: [&str; 3] = ["leg", "density", "line"];

/// The page and what it sends.
pub(super) fn door() -> MethodRouter<App> {
    get(look).post(open).layer(DefaultBodyLimit::max(BODY_BYTES))
}

/// Papers as the page sends them.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Posted {
    values: BTreeMap<String, String>,
    /// What should be looked at first has been looked at.
    #[serde(default)]
    anyway: bool,
}

/// What became of them: a word for programs, a sentence and what to put right for people.
#[derive(Debug, Serialize)]
struct Answered {
    saved: bool,
    says: String,
    /// It would be opened if it were sent once more as it is.
    warned: bool,
    fields: Vec<PaperSays>,
}

/// What is said of a field.
#[derive(Debug, Serialize)]
struct PaperSays {
    /// Its key.
    key: String,
    /// What, with value, range and what to do.
    says: String,
}

async fn look(State(app): State<App>, reader: Reader, Path(slug): Path<String>) -> Result<Response, NoSuchPage> {
    let published = latest(app.bay(&slug)?);
    Ok(Html(page(&app, &slug, published.as_deref(), &reader).into_string()).into_response())
}

async fn open(
    State(app): State<App>,
    reader: Reader,
    Path(slug): Path<String>,
    headers: HeaderMap,
    posted: Result<Json<Posted>, JsonRejection>,
) -> Result<Response, NoSuchPage> {
    app.bay(&slug)?;
    let entry = |status, word: EntryAnswer<'_>| answer(status, false, reader.language.entry(word), Vec::new());
    let person = app.sign_in.as_ref().and_then(|s| s.who(&headers));
    let who = match &person {
        _ if app.sign_in.is_none() => SCREEN.to_owned(),
        None if app.sign_in.as_ref().is_some_and(|s| s.has_ended(&headers)) => {
            return Ok(entry(StatusCode::UNAUTHORIZED, EntryAnswer::SignInEnded));
        }
        None => return Ok(entry(StatusCode::UNAUTHORIZED, EntryAnswer::SignIn)),
        Some(person) if person.role < Role::Attend => {
            return Ok(entry(StatusCode::FORBIDDEN, EntryAnswer::NoRight(&person.name)));
        }
        Some(person) => person.name.clone(),
    };
    let Ok(Json(Posted { values, anyway })) = posted else {
        return Ok(entry(StatusCode::BAD_REQUEST, EntryAnswer::NotUnderstood));
    };
    let words = reader.language.papers();
    let long = values.iter().filter(|(_, text)| text.chars().count() > VALUE_CHARS);
    let too_long =
        |key: &String| PaperSays { key: key.clone(), says: format!("{}: {}", (words.named)(key), words.too_long) };
    let long: Vec<PaperSays> = long.map(|(key, _)| too_long(key)).collect();
    if !long.is_empty() {
        return Ok(answer(StatusCode::CONFLICT, false, words.faults.to_owned(), long));
    }
    let (answered, heard) = oneshot::channel();
    match app.papers.asks.try_send(PapersRequest { bay: slug, who, values, anyway, answered }) {
        Ok(()) => {}
        Err(TrySendError::Full(_)) => return Ok(entry(StatusCode::SERVICE_UNAVAILABLE, EntryAnswer::Busy)),
        Err(TrySendError::Closed(_)) => return Ok(entry(StatusCode::SERVICE_UNAVAILABLE, EntryAnswer::NoWatch)),
    }
    Ok(match tokio::time::timeout(ANSWER_TIME, heard).await {
        Ok(Ok(PapersAnswer::Opened)) => answer(StatusCode::OK, false, words.opened.to_owned(), Vec::new()),
        Ok(Ok(PapersAnswer::Faults(found))) => {
            answer(StatusCode::CONFLICT, false, words.faults.to_owned(), said(found, words))
        }
        Ok(Ok(PapersAnswer::Warnings(found))) => {
            answer(StatusCode::CONFLICT, true, words.warnings.to_owned(), said(found, words))
        }
        Ok(Ok(PapersAnswer::NotTaken(why))) => entry(StatusCode::CONFLICT, EntryAnswer::NotTaken(why)),
        Ok(Ok(PapersAnswer::NoWatch)) => entry(StatusCode::SERVICE_UNAVAILABLE, EntryAnswer::NoWatch),
        Ok(Err(_)) | Err(_) => entry(StatusCode::GATEWAY_TIMEOUT, EntryAnswer::NotKnown),
    })
}

fn said(found: Vec<PaperFault>, words: &PapersWords) -> Vec<PaperSays> {
    let says = |PaperFault { key, found }| {
        let says = found.map_or_else(|english| english, |finding| words.paragraph(&key, &finding));
        PaperSays { key, says }
    };
    found.into_iter().map(says).collect()
}

fn answer(status: StatusCode, warned: bool, says: String, fields: Vec<PaperSays>) -> Response {
    let saved = status == StatusCode::OK;
    (status, Json(Answered { saved, says, warned, fields })).into_response()
}

fn page(app: &App, slug: &str, published: Option<&Published>, reader: &Reader) -> Markup {
    let words = reader.language.papers();
    let bay = published.map_or(slug, |published| published.settings.bay.as_str());
    let fields = &app.papers.fields;
    let table = |field: &PaperField| field.table.clone();
    let groups: Vec<&[PaperField]> = fields.chunk_by(|a, b| table(a) == table(b)).collect();
    let (seldom, often): (Vec<&[PaperField]>, Vec<&[PaperField]>) =
        groups.into_iter().partition(|group| SELDOM.contains(&group[0].table.as_str()));
    let say = |word| reader.language.sign_in(word);
    let body = html! {
        body.list.papers {
            header { h1 { (app.site) ", " (bay) } }
            main {
                h2 { (words.title) }
                p { (words.about) }
                noscript { p.bar { (words.needs_script) } }
                form #papers autocomplete="off" novalidate data-unreached=(say(SignInWord::NotReached)) {
                    @for group in often { (table_of(group, published, words)) }
                    details { summary { (words.seldom) } @for group in seldom { (table_of(group, published, words)) } }
                    div.acts { button type="submit" { (words.open) } }
                }
                p #answer role="status" {}
                ul #found {}
                p {
                    a.door href={ "/bay/" (slug) } { (bay) } " " a.door href="/" { (say(SignInWord::Back)) } " "
                    a.door href="/sign-in" { (say(SignInWord::Title)) }
                }
            }
            script src="/papers.js" type="module" {}
        }
    };
    view::document(&format!("{}, {bay}", app.site), reader, &body)
}

/// A key's name as a label: its own words, unless the language has others for it.
fn spelt(name: &str) -> String {
    match name {
        // An abbreviation stamped on plates.
        "mawp" => return name.to_uppercase(),
        // A symbol, and no word that could begin with a capital.
        "u" => return name.to_owned(),
        _ => {}
    }
    let mut letters = name.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}", letters.as_str().replace('_', " "))
}

/// The fields of one table; its rows of properties one after the other.
fn table_of(group: &[PaperField], published: Option<&Published>, words: &PapersWords) -> Markup {
    let heading = |first: &PaperField| match (first.row, first.table.as_str()) {
        (Some(row), _) => format!("{} {row}", words.property),
        (None, "") => words.load.to_owned(),
        (None, table) => (words.table)(table).map_or_else(|| spelt(table), str::to_owned),
    };
    let mut sorted: Vec<&PaperField> = group.iter().collect();
    sorted.sort_by_key(|field| field.row);
    html! { @for rows in sorted.chunk_by(|a, b| a.row == b.row) {
        fieldset {
            legend { (heading(rows[0])) }
            @for field in rows { (one(field, published, words)) }
        }
    } }
}

fn one(field: &PaperField, published: Option<&Published>, words: &PapersWords) -> Markup {
    let id = format!("paper-{}", field.key);
    let choices = published.map(|published| choices(&field.key, published)).unwrap_or_default();
    let about = format!("{id}-about");
    let path = if field.table.is_empty() { field.name.clone() } else { format!("{}.{}", field.table, field.name) };
    let example = (words.example)(&path).unwrap_or(&field.example);
    let (label, means) = (words.field)(&path)
        .map_or_else(|| (spelt(&field.name), field.means), |(label, means)| (label.to_owned(), means));
    html! {
        div.field {
            label for=(id) {
                (label) @if field.required { " " span.quiet { "(" (words.required) ")" } }
            }
            @match field.kind {
                FieldKind::YesNo => select id=(id) name=(field.key) aria-describedby=(about) {
                    option value="" {} option value="yes" { (words.yes) } option value="no" { (words.no) }
                },
                _ if !choices.is_empty() => select id=(id) name=(field.key) aria-describedby=(about) {
                    option value="" {} @for choice in choices { option value=(choice) { (choice) } }
                },
                FieldKind::Text => input id=(id) name=(field.key) type="text" maxlength=(VALUE_CHARS)
                    aria-describedby=(about);,
            }
            // Beside the field, never in it: what stands in a field is what somebody read off a plate or a paper.
            p.quiet id=(about) { (means) @if !example.is_empty() { "; " (words.such_as) " " (example) } }
            p.wrong {}
        }
    }
}

/// Tanks and products of this bay.
fn choices<'a>(key: &str, published: &'a Published) -> Vec<&'a str> {
    let settings = &published.settings;
    let mut found: Vec<&str> = match key {
        "tank" => settings.tanks.iter().map(|tank| tank.name.as_str()).collect(),
        "product" => settings.expected.tanks.iter().map(|tank| tank.product.as_str()).collect(),
        _ => Vec::new(),
    };
    found.dedup();
    found
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::engine::delivery::Refusal;
    use crate::finding::OfLoad;
    use crate::page::feed::{NotTaken, PapersDoor};
    use crate::page::server::tests::{ask, stage_with};
    use crate::people::People;
    use tokio::sync::mpsc;

    /// A door behind which nobody is.
    pub fn nobody_asks() -> PapersDoor {
        PapersDoor { fields: Vec::new().into(), asks: mpsc::channel(1).0 }
    }

    fn field(key: &str, kind: FieldKind) -> PaperField {
        let (table, name) = key.rsplit_once('.').unwrap_or(("", key));
        let (table, name, example) = (table.to_owned(), name.to_owned(), "<b>24 t</b>".to_owned());
        PaperField {
            key: key.to_owned(),
            table,
            row: None,
            name,
            means: "what it means",
            example,
            required: true,
            kind,
        }
    }

    fn door() -> (PapersDoor, mpsc::Receiver<PapersRequest>) {
        let (asks, asked) = mpsc::channel(1);
        let fields =
            vec![field("id", FieldKind::Text), field("tank", FieldKind::Text), field("ticket.net", FieldKind::Text)];
        (PapersDoor { fields: fields.into(), asks }, asked)
    }

    const PAPERS: &str = r#"{"values": {"id": "2026-0418", "ticket.net": "20060 kg"}}"#;

    /// The form is drawn, what was typed goes to the watch as it stands, and each answer says what to do and saves nothing
    /// but what is on record.
    #[tokio::test]
    async fn papers_go_to_the_watch_and_each_answer_says_what_to_do() {
        let (papers, mut asked) = door();
        let stage = stage_with(1, None, papers).await;
        let to = stage.address;
        let head = |method: &str| {
            format!("{method} /bay/bay-1/papers HTTP/1.1\r\nHost: {to}\r\nContent-Type: application/json")
        };
        let page = ask(to, &head("GET"), "").await;
        for words in
            ["name=\"ticket.net\"", "<option value=\"Tank 4\">", "&lt;b&gt;24 t", "brimwatch open SITE", "/papers.js"]
        {
            assert!(page.contains(words), "{words} is not in {page}");
        }
        assert!(!page.contains("<b>24 t") && !page.contains("placeholder"), "{page}");
        let says = |key: &str| vec![PaperFault { key: key.to_owned(), found: Ok(OfLoad::OnBoardMissing.into()) }];
        for (given, status, words) in [
            (PapersAnswer::Faults(says("tank")), "409", r#""saved":false,"says":"Not opened; nothing was changed"#),
            (PapersAnswer::Warnings(says("planned")), "409", r#""warned":true"#),
            (PapersAnswer::NotTaken(NotTaken::Refused(Refusal::DeliveryOpen)), "409", "a delivery is open already"),
            (PapersAnswer::Opened, "200", r#""saved":true"#),
        ] {
            let answer = tokio::spawn({
                let head = head("POST");
                async move { ask(to, &head, PAPERS).await }
            });
            let request = asked.recv().await.expect("a request");
            assert_eq!((request.bay.as_str(), request.who.as_str(), request.anyway), ("bay-1", SCREEN, false));
            assert_eq!(request.values["ticket.net"], "20060 kg");
            request.answered.send(given).expect("the server waits");
            let answer = answer.await.expect("an answer");
            assert!(answer.starts_with(&format!("HTTP/1.1 {status}")) && answer.contains(words), "{answer}");
        }
        let long = format!(r#"{{"values": {{"id": "{}"}}}}"#, "x".repeat(VALUE_CHARS + 1));
        for (body, status, words) in [("{", "400", "could not be read"), (long.as_str(), "409", "id: is too long")] {
            let answer = ask(to, &head("POST"), body).await;
            assert!(answer.starts_with(&format!("HTTP/1.1 {status}")) && answer.contains(words), "{answer}");
        }
        let foreign = format!("{}\r\nOrigin: https://example.org", head("POST"));
        assert!(ask(to, &foreign, PAPERS).await.starts_with("HTTP/1.1 403"));
        assert!(ask(to, &head("POST").replace("bay-1", "bay-9"), PAPERS).await.starts_with("HTTP/1.1 404"));
        assert!(asked.try_recv().is_err(), "nothing of this went through");
        drop(asked);
        assert!(ask(to, &head("POST"), PAPERS).await.starts_with("HTTP/1.1 503"));
    }

    /// Where people are named: nobody without a sign-in, nobody who may only look.
    #[tokio::test]
    async fn only_who_attends_opens_a_delivery() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("people.toml");
        let mut people = People::default();
        for (name, role) in [("L. Ooker", Role::View), ("A. Ttend", Role::Attend)] {
            people.add(name, role, "a long enough one").expect("added");
        }
        people.save(&file).expect("written");
        let (papers, mut asked) = door();
        let stage = stage_with(1, Some(file), papers).await;
        let to = stage.address;
        let post = |path: &str, cookie: &str| {
            format!("POST {path} HTTP/1.1\r\nHost: {to}\r\nContent-Type: application/json\r\nCookie: {cookie}")
        };
        let path = "/bay/bay-1/papers";
        for cookie in ["", "brimwatch_session=00"] {
            let answer = ask(to, &post(path, cookie), PAPERS).await;
            assert!(answer.starts_with("HTTP/1.1 401") && answer.contains("sign in first"), "{answer}");
        }
        let mut cookies = Vec::new();
        for name in ["L. Ooker", "A. Ttend"] {
            let body = format!(r#"{{"name": "{name}", "password": "a long enough one"}}"#);
            let answer = ask(to, &post("/sign-in", ""), &body).await;
            let value = answer.split("brimwatch_session=").nth(1).and_then(|c| c.split(';').next()).expect("a cookie");
            cookies.push(format!("brimwatch_session={value}"));
        }
        let answer = ask(to, &post(path, &cookies[0]), PAPERS).await;
        assert!(answer.starts_with("HTTP/1.1 403") && answer.contains("may look"), "{answer}");
        assert!(asked.try_recv().is_err(), "nothing of this went through");
        let head = post(path, &cookies[1]);
        let answer = tokio::spawn(async move { ask(to, &head, PAPERS).await });
        let request = asked.recv().await.expect("a request");
        assert_eq!(request.who, "A. Ttend");
        request.answered.send(PapersAnswer::Opened).expect("the server waits");
        assert!(answer.await.expect("an answer").starts_with("HTTP/1.1 200"));
    }
}
