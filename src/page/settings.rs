//! Where an engineer who is signed in changes alarm settings, levels and limits while the watch runs. What may be changed
//! and within which bounds is the site file's own matter: the live loop holds a request against its rules and answers.

use super::feed::{Changed, Offered, Setting, SettingsAnswer, SettingsRequest};
use super::reader::Reader;
use super::server::App;
use super::view;
use crate::people::{Person, Role};
use crate::words::{SettingsWord, SignInWord};
use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{DefaultBodyLimit, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{MethodRouter, get};
use maud::{Markup, html};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use tokio::sync::mpsc::error::TrySendError;
use tokio::sync::oneshot;

/// Longest body, bytes: every setting of a large site and a reason.
const BODY_BYTES: usize = 64 << 10;
/// A change not answered by then is answered as not known.
const ANSWER_TIME: Duration = Duration::from_secs(15);

/// The page and what it sends.
pub(super) fn door() -> MethodRouter<App> {
    get(look).post(change).layer(DefaultBodyLimit::max(BODY_BYTES))
}

/// A change as the page sends it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Posted {
    version: String,
    values: BTreeMap<String, String>,
    #[serde(default)]
    reason: String,
    #[serde(default)]
    apply: bool,
}

/// What became of it, for programs and in a sentence for people.
#[derive(Debug, Serialize)]
struct Answered {
    taken: bool,
    changed: Vec<Changed>,
    says: String,
}

fn engineer(person: Option<&Person>) -> bool {
    person.is_some_and(|person| person.role >= Role::Engineer)
}

async fn look(State(app): State<App>, reader: Reader, headers: HeaderMap) -> Response {
    let person = app.sign_in.as_ref().and_then(|s| s.who(&headers));
    let bar = match &person {
        _ if app.sign_in.is_none() => Some(SettingsWord::NoPeople),
        person if engineer(person.as_ref()) => None,
        _ => Some(SettingsWord::MayNot),
    };
    let offered = app.settings.offered.borrow().clone();
    Html(page((&app.site, app.is_drill()), &offered, bar, &reader).into_string()).into_response()
}

async fn change(
    State(app): State<App>,
    reader: Reader,
    headers: HeaderMap,
    posted: Result<Json<Posted>, JsonRejection>,
) -> Response {
    let person = app.sign_in.as_ref().and_then(|s| s.who(&headers));
    let says =
        |status: StatusCode, word: SettingsWord<'_>| answer(status, false, Vec::new(), reader.language.settings(word));
    let person = match person {
        _ if app.sign_in.is_none() => return says(StatusCode::CONFLICT, SettingsWord::NoPeople),
        None => return says(StatusCode::UNAUTHORIZED, SettingsWord::SignIn),
        Some(person) if !engineer(Some(&person)) => {
            return says(
                StatusCode::FORBIDDEN,
                SettingsWord::NoRight(&person.name, reader.language.role(person.role.word())),
            );
        }
        Some(person) => person,
    };
    let Ok(Json(Posted { version, values, reason, apply })) = posted else {
        return says(StatusCode::BAD_REQUEST, SettingsWord::NotUnderstood);
    };
    if apply && reason.trim().is_empty() {
        return says(StatusCode::CONFLICT, SettingsWord::NoReason);
    }
    let (answered, heard) = oneshot::channel();
    let request = SettingsRequest { who: person.name, reason, version, values, apply, answered };
    match app.settings.asks.try_send(request) {
        Ok(()) => {}
        Err(TrySendError::Full(_) | TrySendError::Closed(_)) => {
            return says(StatusCode::SERVICE_UNAVAILABLE, SettingsWord::Busy);
        }
    }
    match tokio::time::timeout(ANSWER_TIME, heard).await {
        Ok(Ok(SettingsAnswer::Sound { changed, unwritten })) => {
            let word = match &unwritten {
                _ if !apply => SettingsWord::Would,
                None => SettingsWord::Taken,
                Some(why) => SettingsWord::TakenUnwritten(why),
            };
            answer(StatusCode::OK, apply, changed, reader.language.settings(word))
        }
        Ok(Ok(SettingsAnswer::NotTaken(why))) => says(StatusCode::CONFLICT, SettingsWord::NotTaken(&why)),
        Ok(Ok(SettingsAnswer::Outdated)) => says(StatusCode::CONFLICT, SettingsWord::Outdated),
        Ok(Err(_)) | Err(_) => says(StatusCode::GATEWAY_TIMEOUT, SettingsWord::NotKnown),
    }
}

fn answer(status: StatusCode, taken: bool, changed: Vec<Changed>, says: String) -> Response {
    (status, Json(Answered { taken, changed, says })).into_response()
}

/// The page; `bar`: why nothing can be changed by whoever looks.
pub(super) fn page(
    (site, drill): (&str, bool),
    offered: &Offered,
    bar: Option<SettingsWord<'static>>,
    reader: &Reader,
) -> Markup {
    let say = |word| reader.language.settings(word);
    let door = |word| reader.language.sign_in(word);
    let body = html! {
        body.list {
            header {
                h1 { (site) }
                @if drill { span.drill { (reader.language.labels().drill) } }
            }
            main {
                h2 { (say(SettingsWord::Title)) }
                p { (say(SettingsWord::About)) }
                @if let Some(why) = bar { p.bar { (say(why)) } }
                form #settings data-version=(offered.version) data-none=(say(SettingsWord::NotWritten))
                    data-unreached=(door(SignInWord::NotReached)) autocomplete="off" {
                    @for table in offered.settings.chunk_by(|a, b| a.table == b.table) {
                        (of_table(table, bar.is_some(), say))
                    }
                    @if bar.is_none() {
                        p { label for="reason" { (say(SettingsWord::Reason)) }
                            " " input #reason name="reason" maxlength="500" size="60"; }
                        div.acts {
                            button #look type="submit" { (say(SettingsWord::Look)) }
                            button #apply type="button" disabled { (say(SettingsWord::Apply)) }
                        }
                    }
                }
                ul #changed {}
                p #answer role="status" {}
                p { a.door href="/" { (door(SignInWord::Back)) } " " a.door href="/sign-in" { (door(SignInWord::Title)) } }
            }
            script src="/settings.js" type="module" {}
        }
    };
    view::document(site, reader, &body)
}

fn of_table(settings: &[Setting], barred: bool, say: impl Fn(SettingsWord<'static>) -> String) -> Markup {
    let name = settings.first().map_or("", |setting| &setting.table);
    html! {
        h3 { (name) }
        div.scroll { table {
            thead { tr { @for column in 0..5 { th { (say(SettingsWord::Column(column))) } } } }
            tbody { @for setting in settings { tr {
                th scope="row" { (setting.name) }
                td { input name=(setting.key) aria-label=(setting.key) value=(setting.written) data-written=(setting.written)
                    placeholder=(setting.left_out) size="12" maxlength="60" disabled[barred]; }
                td { (setting.left_out) }
                td { (setting.range) }
                td { (setting.means) }
            } } }
        } }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::page::door::Entrance;
    use crate::page::feed::SettingsDoor;
    use crate::page::server::{Served, serve};
    use crate::people::People;
    use std::net::SocketAddr;
    use std::path::PathBuf;
    use std::sync::Arc;
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
    use tokio::net::{TcpListener, TcpStream};
    use tokio::sync::{mpsc, watch};

    /// A door behind which nobody is.
    pub fn nobody_asks() -> SettingsDoor {
        SettingsDoor { offered: watch::channel(Arc::default()).1, asks: mpsc::channel(1).0 }
    }

    /// Two settings of two tables.
    pub fn offered() -> Offered {
        let setting = |table: &str, name, written: &str| Setting {
            key: format!("{table}.{name}"),
            table: table.to_owned(),
            name,
            means: "what it means",
            range: "time, 0 to 60 s".to_owned(),
            left_out: "3 s",
            written: written.to_owned(),
        };
        let settings = vec![setting("alarms", "on_delay", ""), setting("tank \"<b>\"", "working", "2 m")];
        Offered { version: "v1".to_owned(), settings }
    }

    async fn stage(people: Option<PathBuf>) -> (SocketAddr, mpsc::Receiver<SettingsRequest>) {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("its address");
        let (asks, asked) = mpsc::channel(1);
        let settings = SettingsDoor { offered: watch::channel(Arc::new(offered())).1, asks };
        let served = Served {
            site: "Works".into(),
            people,
            reader: Reader::here(),
            entrance: Entrance::default(),
            settings,
            papers: crate::page::papers::tests::nobody_asks(),
            bays: Vec::new(),
        };
        tokio::spawn(serve(listener, served, std::future::pending()));
        (address, asked)
    }

    async fn ask(to: SocketAddr, head: &str, body: &str) -> String {
        let mut stream = TcpStream::connect(to).await.expect("the server listens");
        let request = format!(
            "{head}\r\nHost: {to}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        );
        stream.write_all(request.as_bytes()).await.expect("the server reads");
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).await.expect("an answer");
        String::from_utf8_lossy(&answer).into_owned()
    }

    async fn sign_in(to: SocketAddr, name: &str) -> String {
        let body = format!(r#"{{"name": "{name}", "password": "a long enough one"}}"#);
        let answer = ask(to, "POST /sign-in HTTP/1.1", &body).await;
        let value = answer.split("brimwatch_session=").nth(1).and_then(|c| c.split(';').next()).expect("a cookie");
        format!("POST /settings HTTP/1.1\r\nCookie: brimwatch_session={value}")
    }

    const APPLY: &str =
        r#"{"version": "v1", "values": {"alarms.on_delay": "7 s"}, "reason": "the pad hunts", "apply": true}"#;

    #[tokio::test]
    async fn only_an_engineer_changes_settings() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("people.toml");
        let mut people = People::default();
        for (name, role) in [("L. Ooker", Role::View), ("A. Ttend", Role::Attend), ("R. Quill", Role::Engineer)] {
            people.add(name, role, "a long enough one").expect("added");
        }
        people.save(&file).expect("written");
        let (to, mut asked) = stage(Some(file)).await;
        let answer = ask(to, "POST /settings HTTP/1.1", APPLY).await;
        assert!(answer.starts_with("HTTP/1.1 401") && answer.contains("sign in first"), "{answer}");
        for (name, role) in [("L. Ooker", "the role view"), ("A. Ttend", "the role attend")] {
            let head = sign_in(to, name).await;
            let answer = ask(to, &head, APPLY).await;
            assert!(answer.starts_with("HTTP/1.1 403") && answer.contains(name) && answer.contains(role), "{answer}");
            let seen = ask(to, &head.replace("POST", "GET"), "").await;
            assert!(seen.contains("sign in with the role engineer") && seen.contains("disabled"), "{seen}");
            assert!(!seen.contains("id=\"apply\""), "{seen}");
        }
        let head = sign_in(to, "R. Quill").await;
        for (body, status, words) in [
            ("{", "400", "could not be read"),
            (r#"{"version": "v1", "values": {"a": 3}}"#, "400", "could not be read"),
            (r#"{"version": "v1", "values": {}, "reason": " ", "apply": true}"#, "409", "for what reason"),
        ] {
            let answer = ask(to, &head, body).await;
            assert!(answer.starts_with(&format!("HTTP/1.1 {status}")) && answer.contains(words), "{body}: {answer}");
        }
        assert!(asked.try_recv().is_err(), "nothing of this went through");
        let page = ask(to, &head.replace("POST", "GET"), "").await;
        assert!(page.contains("tank &quot;&lt;b&gt;&quot;") && page.contains("id=\"apply\""), "{page}");
        for (given, status, words) in [
            (SettingsAnswer::NotTaken("allowed: 0 to 60 s".into()), "409", "nothing was changed. allowed: 0 to 60 s"),
            (SettingsAnswer::Outdated, "409", "Load it anew"),
            (SettingsAnswer::Sound { changed: Vec::new(), unwritten: None }, "200", r#""taken":true"#),
            (SettingsAnswer::Sound { changed: Vec::new(), unwritten: Some("full".into()) }, "200", "hold it (full)"),
        ] {
            let head = head.clone();
            let answer = tokio::spawn(async move { ask(to, &head, APPLY).await });
            let request = asked.recv().await.expect("a request");
            assert_eq!((request.who.as_str(), request.reason.as_str()), ("R. Quill", "the pad hunts"));
            assert_eq!((request.values["alarms.on_delay"].as_str(), request.apply), ("7 s", true));
            request.answered.send(given).expect("the server waits");
            let answer = answer.await.expect("an answer");
            assert!(answer.starts_with(&format!("HTTP/1.1 {status}")) && answer.contains(words), "{answer}");
        }
    }

    #[tokio::test]
    async fn where_nobody_is_named_nobody_changes_settings_here() {
        let (to, mut asked) = stage(None).await;
        let answer = ask(to, "POST /settings HTTP/1.1", APPLY).await;
        assert!(answer.starts_with("HTTP/1.1 409") && answer.contains("brimwatch change"), "{answer}");
        let page = ask(to, "GET /settings HTTP/1.1", "").await;
        assert!(page.contains("names no people") && page.contains("disabled"), "{page}");
        assert!(asked.try_recv().is_err());
    }
}
