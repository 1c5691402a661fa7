//! Serves the page: on the loopback interface, or with TLS wherever the site file says.
//!
//! Whoever can reach the port on this machine may look and mark alarms as seen; where the site names people,
//! other entries need one who is signed in and may. Nobody else can reach it, so a request is refused
//! whose `Host` is no loopback name (a foreign name that was made to resolve to 127.0.0.1) or whose `Origin` is
//! not this page's own (another site's script in the same browser). Everything is bounded: connections, bodies,
//! buffers, the time a viewer may take for one frame.

use super::changes::changes;
use super::door::{self, Entrance};
use super::feed::{BayFeed, PapersDoor, Published, SettingsDoor};
use super::reader::{self, CHOICES, Reader, Readers};
use super::sign_in::{self, SignIn, Tried};
use super::view;
use super::{bays, entries, figures, look_back, papers, settings};
use crate::picture::Size;
use crate::words::SignInWord;
use axum::extract::rejection::JsonRejection;
use axum::extract::ws::{Message, Utf8Bytes, WebSocket, WebSocketUpgrade};
use axum::extract::{DefaultBodyLimit, Path, Query, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::Deserialize;
use serde_json::json;
use std::future::Future;
use std::io;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::net::TcpListener;
use tokio::sync::watch;

/// Longest body of an entry, bytes; an entry has less than a tenth of it.
const BODY_BYTES: usize = 4096;
/// Buffers of one live connection, bytes each way (the library's own are 128 KiB).
const BUFFER_BYTES: usize = 4096;
/// Viewers have nothing to say on the live connection; a close frame fits.
const INCOMING_BYTES: usize = 1024;
/// A viewer that cannot take one frame in this time is let go; it comes back by itself.
const SEND_TIME: Duration = Duration::from_secs(10);
/// A request is answered by then: longer than any entry or change may take to be saved.
const ANSWER_TIME: Duration = Duration::from_secs(30);
/// Nothing from elsewhere: no foreign script, style, frame or form.
const POLICY: &str = "default-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Kind of a script.
const SCRIPT: &str = "text/javascript; charset=utf-8";
/// All bays are looked at this often for the page that shows them all.
const ALL_BAYS_EVERY: Duration = Duration::from_millis(250);

#[derive(Clone)]
pub(super) struct App {
    pub site: Arc<str>,
    bays: Arc<[BayFeed]>,
    /// The latest frame of each bay as it was last sent to each reader, view and width.
    drawn: Arc<[[[[Drawn; 2]; 2]; CHOICES]]>,
    pub readers: Arc<Readers>,
    /// Cookies go over TLS alone.
    pub secure: bool,
    entrance: Arc<Entrance>,
    pub sign_in: Option<Arc<SignIn>>,
    pub settings: SettingsDoor,
    pub papers: PapersDoor,
    closing: watch::Receiver<bool>,
}

impl App {
    /// What is watched is a drill.
    pub fn is_drill(&self) -> bool {
        let of_drill = |bay: &BayFeed| bay.latest.borrow().as_ref().is_some_and(|latest| latest.drill_speed.is_some());
        self.bays.iter().any(of_drill)
    }

    pub fn bay(&self, slug: &str) -> Result<&BayFeed, NoSuchPage> {
        self.bays.iter().find(|b| b.slug == slug).ok_or(NoSuchPage)
    }
}

/// Which page of a bay is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
enum View {
    #[default]
    Whole,
    Far,
}

/// What every viewer of a bay who reads alike is sent, written once, by whoever is the first to ask for it.
#[derive(Default)]
struct Drawn(Mutex<Option<DrawnFrame>>);

struct DrawnFrame {
    from: Arc<Published>,
    frame: serde_json::Value,
    /// Nobody may have asked for it.
    whole: Option<Utf8Bytes>,
    /// What it changes of the frame that was drawn before it, and the number of that one.
    changes: Option<(u64, Utf8Bytes)>,
}

impl DrawnFrame {
    fn new(before: Option<&DrawnFrame>, from: &Arc<Published>, reader: &Reader, looks: Looks) -> Option<DrawnFrame> {
        let live = match looks.view {
            View::Whole => view::live(from, reader, looks.width),
            View::Far => view::far(from, reader),
        };
        let frame = serde_json::to_value(&live).ok()?;
        let changes = before.and_then(|before| {
            let changes = changes(&before.frame, &frame)?;
            Some((before.from.number, changes.to_string().into()))
        });
        Some(DrawnFrame { from: Arc::clone(from), frame, whole: None, changes })
    }
}

impl Drawn {
    /// The frame whole, or what it changes where the viewer has the one before it.
    fn text(&self, published: &Arc<Published>, reader: &Reader, looks: Looks, has: Option<u64>) -> Option<Utf8Bytes> {
        // A text and what it was written from: whole whatever happened to a holder.
        let mut drawn = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if drawn.as_ref().is_none_or(|drawn| !Arc::ptr_eq(&drawn.from, published)) {
            *drawn = Some(DrawnFrame::new(drawn.as_ref(), published, reader, looks)?);
        }
        let DrawnFrame { frame, whole, changes, .. } = drawn.as_mut()?;
        match changes {
            Some((before, text)) if has == Some(*before) => Some(text.clone()),
            _ => Some(whole.get_or_insert_with(|| frame.to_string().into()).clone()),
        }
    }
}

/// What is served.
#[derive(Debug)]
pub struct Served {
    /// Name of the works.
    pub site: String,
    /// The file of those who may make entries and change settings; `None`: all may make entries, nobody changes settings.
    pub people: Option<PathBuf>,
    /// For whom the page is written who has not chosen otherwise.
    pub reader: Reader,
    /// How browsers reach the page.
    pub entrance: Entrance,
    /// What may be changed on the run.
    pub settings: SettingsDoor,
    /// Where the papers of a delivery are typed.
    pub papers: PapersDoor,
    /// Every bay.
    pub bays: Vec<BayFeed>,
}

/// Serves every bay until `shutdown` completes; live connections are closed first, so that none holds it up.
/// Times are written in this machine's zone.
///
/// # Errors
/// `InvalidInput` when the listener is bound to an address that is not loopback and nobody encrypts.
pub async fn serve(
    listener: TcpListener,
    served: Served,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> io::Result<()> {
    served.entrance.admits(listener.local_addr()?)?;
    let (close, closing) = watch::channel(false);
    let Served { site, people, reader, entrance, settings, papers, bays } = served;
    let drawn = bays.iter().map(|_| Default::default()).collect();
    let sign_in = people.map(|file| Arc::new(SignIn::new(file)));
    let (site, readers) = (site.into(), Arc::new(Readers::new(&reader)));
    let (tls, secure, entrance) = (entrance.tls.clone(), entrance.secure(), Arc::new(entrance));
    let app = App { site, bays: bays.into(), drawn, readers, secure, entrance, sign_in, settings, papers, closing };
    let shutdown = async move {
        shutdown.await;
        // Nobody listens where no viewer is left.
        let _ = close.send(true);
    };
    door::serve(listener, tls, router(app), shutdown).await;
    Ok(())
}

fn router(app: App) -> Router {
    Router::new()
        .route("/", get(list))
        .route("/page.css", get(|| asset("text/css; charset=utf-8", include_str!("assets/page.css"))))
        .route("/far.css", get(|| asset("text/css; charset=utf-8", include_str!("assets/far.css"))))
        .route("/feed.js", get(|| asset(SCRIPT, include_str!("assets/feed.js"))))
        .route("/far.js", get(|| asset(SCRIPT, include_str!("assets/far.js"))))
        .route("/bays.js", get(|| asset(SCRIPT, include_str!("assets/bays.js"))))
        .route("/live", get(live_of_all))
        .route("/page.js", get(|| asset(SCRIPT, include_str!("assets/page.js"))))
        .route("/steps.js", get(|| asset(SCRIPT, include_str!("assets/steps.js"))))
        .route("/mark.svg", get(|| asset("image/svg+xml", include_str!("assets/mark.svg"))))
        .route("/sign-in.js", get(|| asset(SCRIPT, include_str!("assets/sign-in.js"))))
        .route("/sign-in", get(door).post(come_in))
        .route("/sign-out", post(go_out))
        .route("/settings.js", get(|| asset(SCRIPT, include_str!("assets/settings.js"))))
        .route("/settings", settings::door())
        .route("/papers.js", get(|| asset(SCRIPT, include_str!("assets/papers.js"))))
        .route("/bay/{slug}/papers", papers::door())
        .route("/reader", post(reader::choose))
        .route("/figures", get(figures))
        .route("/bay/{slug}", get(page))
        .route("/bay/{slug}/live", get(live))
        .route("/bay/{slug}/past", get(past))
        .route("/bay/{slug}/account", get(account))
        .route("/bay/{slug}/far", get(far))
        .route("/bay/{slug}/frame.json", get(frame))
        .route("/bay/{slug}/entry", post(entries::enter))
        .route("/bay/{slug}/screen", post(entries::enrol))
        .fallback(|| async { NoSuchPage })
        .layer(DefaultBodyLimit::max(BODY_BYTES))
        .layer(middleware::from_fn_with_state(app.clone(), guard))
        .with_state(app)
}

/// Nothing is at that address.
pub(super) struct NoSuchPage;

impl IntoResponse for NoSuchPage {
    fn into_response(self) -> Response {
        (StatusCode::NOT_FOUND, "There is no such page here. The list of bays is at /\n").into_response()
    }
}

async fn asset(kind: &'static str, text: &'static str) -> impl IntoResponse {
    ([(header::CONTENT_TYPE, kind)], text)
}

/// Refuses foreign hosts and origins, and marks every answer.
async fn guard(State(app): State<App>, request: Request, next: Next) -> Response {
    let mut response = match app.entrance.foreign(request.headers()) {
        Some(why) => (StatusCode::FORBIDDEN, why).into_response(),
        None => tokio::time::timeout(ANSWER_TIME, next.run(request))
            .await
            .unwrap_or_else(|_| (StatusCode::REQUEST_TIMEOUT, "Not answered in time.\n").into_response()),
    };
    let marks = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    ];
    for (name, value) in marks {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    response
}

pub(super) fn latest(feed: &BayFeed) -> Option<Arc<Published>> {
    feed.latest.borrow().clone()
}

/// A browser is shown a page, whoever else asks OpenMetrics.
async fn figures(State(app): State<App>, headers: HeaderMap) -> Response {
    let families = figures::families(&app.site, &app.bays);
    let accepts = headers.get(header::ACCEPT).and_then(|v| v.to_str().ok()).unwrap_or_default();
    if accepts.contains("text/html") {
        return Html(figures::page(&app.site, &families).into_string()).into_response();
    }
    ([(header::CONTENT_TYPE, figures::OPENMETRICS)], figures::text(&families)).into_response()
}

async fn list(State(app): State<App>, reader: Reader) -> Response {
    if let [only] = &*app.bays {
        return Redirect::temporary(&format!("/bay/{}", only.slug)).into_response();
    }
    Html(bays::page(&app.site, &app.bays, &reader).into_string()).into_response()
}

async fn page(State(app): State<App>, reader: Reader, Path(slug): Path<String>) -> Result<Response, NoSuchPage> {
    let published = latest(app.bay(&slug)?);
    let page = view::bay_page(&app.site, &slug, published.as_deref(), &reader);
    Ok(Html(page.into_string()).into_response())
}

async fn frame(State(app): State<App>, reader: Reader, Path(slug): Path<String>) -> Result<Response, NoSuchPage> {
    Ok(match latest(app.bay(&slug)?) {
        Some(published) => Json(view::frame(&published, &reader)).into_response(),
        None => (StatusCode::SERVICE_UNAVAILABLE, "No frame yet.\n").into_response(),
    })
}

/// A stretch of the delivery so far, for the page to show.
async fn past(
    State(app): State<App>,
    reader: Reader,
    Path(slug): Path<String>,
    Query(asked): Query<look_back::Asked>,
) -> Result<Response, NoSuchPage> {
    Ok(match latest(app.bay(&slug)?) {
        Some(published) => Html(look_back::fragment(&published, asked, &reader).into_string()).into_response(),
        None => (StatusCode::SERVICE_UNAVAILABLE, "No frame yet.\n").into_response(),
    })
}

/// Where the masses come from, for the page to show.
async fn account(State(app): State<App>, reader: Reader, Path(slug): Path<String>) -> Result<Response, NoSuchPage> {
    Ok(match latest(app.bay(&slug)?) {
        Some(published) => Html(super::account::fragment(&published, &reader).into_string()).into_response(),
        None => (StatusCode::SERVICE_UNAVAILABLE, "No frame yet.\n").into_response(),
    })
}

async fn far(State(app): State<App>, reader: Reader, Path(slug): Path<String>) -> Result<Response, NoSuchPage> {
    let published = latest(app.bay(&slug)?);
    Ok(Html(super::far::page(&app.site, &slug, published.as_deref(), &reader).into_string()).into_response())
}

/// Which page a live connection is for, how wide its pictures are (the far view has none), whether its viewer says of each
/// frame that it has come, and whether that viewer is then only told what the next one changes.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Looks {
    view: View,
    width: Size,
    answers: bool,
    changes: bool,
}

fn bounded(upgrade: WebSocketUpgrade) -> WebSocketUpgrade {
    upgrade
        .read_buffer_size(BUFFER_BYTES)
        .write_buffer_size(BUFFER_BYTES)
        .max_message_size(INCOMING_BYTES)
        .max_frame_size(INCOMING_BYTES)
}

async fn live(
    State(app): State<App>,
    Path(slug): Path<String>,
    Query(looks): Query<Looks>,
    headers: HeaderMap,
    upgrade: WebSocketUpgrade,
) -> Result<Response, NoSuchPage> {
    let bay = app.bays.iter().position(|b| b.slug == slug).ok_or(NoSuchPage)?;
    let reader = app.readers.of(&headers);
    Ok(bounded(upgrade).on_upgrade(move |socket| view_on(socket, app, bay, (reader, looks))))
}

async fn live_of_all(
    State(app): State<App>,
    reader: Reader,
    Query(looks): Query<Looks>,
    upgrade: WebSocketUpgrade,
) -> Response {
    bounded(upgrade).on_upgrade(move |socket| view_on_all(socket, app, reader, looks.answers))
}

/// Sends all bays whenever one of them has something new; to a viewer that answers one at a time, as below.
async fn view_on_all(mut socket: WebSocket, app: App, reader: Reader, answers: bool) {
    let mut closing = app.closing.clone();
    let mut every = tokio::time::interval(ALL_BAYS_EVERY);
    every.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    let mut sent = String::new();
    let (mut answered, mut owes) = (None, None);
    loop {
        tokio::select! {
            _ = closing.wait_for(|closing| *closing) => break,
            _ = every.tick() => {}
            received = socket.recv() => match received {
                Some(Ok(Message::Close(_)) | Err(_)) | None => return,
                Some(Ok(_)) => (answered, owes) = (Some(Instant::now()), None),
            },
        }
        match owes {
            Some(since) if Instant::now().saturating_duration_since(since) > SEND_TIME => return,
            Some(_) => continue,
            None => {}
        }
        let Ok(text) = serde_json::to_string(&bays::live(&app.bays, &reader)) else { break };
        if text == sent {
            continue;
        }
        sent.clone_from(&text);
        let now = Instant::now();
        let text = if answers { with_wait(&text, now, answered) } else { text.into() };
        owes = answers.then_some(now);
        match tokio::time::timeout(SEND_TIME, socket.send(Message::Text(text))).await {
            Ok(Ok(())) => {}
            Ok(Err(_)) | Err(_) => return,
        }
    }
    let _ = tokio::time::timeout(SEND_TIME, socket.send(Message::Close(None))).await;
}

/// Sends the latest state whenever there is a newer one. What came while a slow viewer took the last is skipped.
///
/// A viewer that answers has one frame on its way at a time: over a slow network minutes of frames would else lie in buffers
/// between, and be shown as news. It is told how long its answer waited for the frame, and so knows how old that is.
async fn view_on(mut socket: WebSocket, app: App, bay: usize, (reader, looks): (usize, Looks)) {
    let (mut latest, mut closing) = (app.bays[bay].latest.clone(), app.closing);
    latest.mark_changed();
    let (mut news, mut answered, mut owes, mut has) = (None, None, false, None);
    let mut let_go = Instant::now() + SEND_TIME;
    loop {
        tokio::select! {
            _ = closing.wait_for(|closing| *closing) => break,
            // The loop of this bay is gone: what it said last is no news.
            changed = latest.changed() => if changed.is_err() { break } else { news = Some(Instant::now()) },
            () = tokio::time::sleep_until(let_go.into()), if owes => return,
            received = socket.recv() => match received {
                Some(Ok(Message::Close(_)) | Err(_)) | None => return,
                Some(Ok(_)) => (answered, owes) = (Some(Instant::now()), false),
            },
        }
        let Some(since) = news.filter(|_| !owes) else { continue };
        let published = latest.borrow_and_update().clone();
        news = None;
        let Some(published) = published else { continue };
        let drawn = &app.drawn[bay][reader][looks.view as usize][looks.width as usize];
        let Some(mut text) = drawn.text(&published, app.readers.get(reader), looks, has) else { break };
        if looks.answers {
            has = looks.changes.then_some(published.number);
            (text, owes, let_go) = (with_wait(&text, since, answered), true, Instant::now() + SEND_TIME);
        }
        match tokio::time::timeout(SEND_TIME, socket.send(Message::Text(text))).await {
            Ok(Ok(())) => {}
            Ok(Err(_)) | Err(_) => return,
        }
    }
    let _ = tokio::time::timeout(SEND_TIME, socket.send(Message::Close(None))).await;
}

/// A frame's text with the ms for which the viewer's answer waited for it: negative where the frame had been there before
/// the answer came, `null` before the first one.
fn with_wait(text: &str, since: Instant, answered: Option<Instant>) -> Utf8Bytes {
    let ms =
        |to: Instant, from: Instant| i64::try_from(to.saturating_duration_since(from).as_millis()).unwrap_or(i64::MAX);
    let waited = answered.map_or_else(|| "null".to_owned(), |at| (ms(since, at) - ms(at, since)).to_string());
    format!("{{\"waited_ms\":{waited},{}", text.strip_prefix('{').unwrap_or(text)).into()
}

/// A name and a password as the page sends them.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Named {
    name: String,
    password: String,
}

async fn door(State(app): State<App>, reader: Reader, headers: HeaderMap) -> Response {
    let here = app.sign_in.as_ref().and_then(|s| s.who(&headers));
    let here = here.as_ref().map(|p| (p.name.as_str(), reader.language.role(p.role.word())));
    Html(view::sign_in_page(&app.site, app.sign_in.is_some(), here, &reader).into_string()).into_response()
}

async fn come_in(State(app): State<App>, reader: Reader, named: Result<Json<Named>, JsonRejection>) -> Response {
    let answer = |status: StatusCode, word: SignInWord<'_>| {
        let body = json!({ "signed_in": status == StatusCode::OK, "says": reader.language.sign_in(word) });
        (status, Json(body)).into_response()
    };
    let Some(sign_in) = &app.sign_in else { return answer(StatusCode::CONFLICT, SignInWord::NotUsed) };
    let Ok(Json(Named { name, password })) = named else { return answer(StatusCode::BAD_REQUEST, SignInWord::Wrong) };
    match sign_in.try_in(name, password).await {
        Tried::In(person, cookie) => {
            tracing::info!(who = person.name, role = person.role.word(), "signed in");
            let said = answer(StatusCode::OK, SignInWord::Here(&person.name, reader.language.role(person.role.word())));
            ([(header::SET_COOKIE, sign_in::set_cookie(&cookie, app.secure))], said).into_response()
        }
        Tried::Wrong => {
            tracing::warn!("a sign-in with a wrong name or password");
            answer(StatusCode::FORBIDDEN, SignInWord::Wrong)
        }
        Tried::Wait(wait) => {
            let seconds = wait.as_secs() + 1;
            let said = answer(StatusCode::TOO_MANY_REQUESTS, SignInWord::Wait(seconds));
            ([(header::RETRY_AFTER, seconds.to_string())], said).into_response()
        }
        Tried::Busy => answer(StatusCode::SERVICE_UNAVAILABLE, SignInWord::Busy),
        Tried::NoFile(error) => {
            tracing::error!(%error, "nobody can sign in");
            answer(StatusCode::SERVICE_UNAVAILABLE, SignInWord::NoFile)
        }
    }
}

async fn go_out(State(app): State<App>, headers: HeaderMap) -> Response {
    if let Some(sign_in) = &app.sign_in {
        sign_in.out(&headers);
    }
    ([(header::SET_COOKIE, sign_in::clear_cookie(app.secure))], Json(json!({ "signed_in": false }))).into_response()
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::engine::input::{AlarmId, AlarmKey, What};
    use crate::page::entries::SCREEN;
    use crate::page::feed::EntryRequest;
    use crate::page::scenes;
    use crate::people::{People, Role};
    use std::net::{SocketAddr, TcpStream};
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
    use tokio::sync::{mpsc, oneshot};
    use tokio::task::JoinHandle;

    /// No test waits longer for anything.
    const PATIENCE: Duration = Duration::from_secs(10);

    pub struct Stage {
        pub address: SocketAddr,
        latest: watch::Sender<Option<Arc<Published>>>,
        entries: mpsc::Receiver<EntryRequest>,
        stop: oneshot::Sender<()>,
        served: JoinHandle<io::Result<()>>,
    }

    async fn stage(bays: usize) -> Stage {
        stage_of(bays, None).await
    }

    async fn stage_of(bays: usize, people: Option<PathBuf>) -> Stage {
        stage_with(bays, people, papers::tests::nobody_asks()).await
    }

    pub async fn stage_with(bays: usize, people: Option<PathBuf>, papers: PapersDoor) -> Stage {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("its address");
        let (latest, watched) = watch::channel(Some(Arc::new(scenes::disagree())));
        let (send, entries) = mpsc::channel(1);
        let bays = (1..=bays)
            .map(|n| BayFeed {
                slug: format!("bay-{n}"),
                latest: watched.clone(),
                entries: send.clone(),
                work: Arc::default(),
            })
            .collect();
        let (stop, stopped) = oneshot::channel::<()>();
        let served = Served {
            site: "Works".into(),
            people,
            reader: Reader::here(),
            entrance: Entrance::default(),
            settings: settings::tests::nobody_asks(),
            papers,
            bays,
        };
        let served = tokio::spawn(serve(listener, served, async move {
            let _ = stopped.await;
        }));
        Stage { address, latest, entries, stop, served }
    }

    /// One request on a connection of its own; the whole answer as text.
    pub async fn ask(to: SocketAddr, head: &str, body: &str) -> String {
        let mut stream = tokio::net::TcpStream::connect(to).await.expect("the server listens");
        let request = format!("{head}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}", body.len());
        stream.write_all(request.as_bytes()).await.expect("the server reads");
        let mut answer = Vec::new();
        tokio::time::timeout(PATIENCE, stream.read_to_end(&mut answer)).await.expect("in time").expect("an answer");
        String::from_utf8_lossy(&answer).into_owned()
    }

    async fn get_(stage: &Stage, path: &str) -> String {
        ask(stage.address, &format!("GET {path} HTTP/1.1\r\nHost: {}", stage.address), "").await
    }

    fn post_head(address: SocketAddr) -> String {
        format!("POST /bay/bay-1/entry HTTP/1.1\r\nHost: {address}\r\nContent-Type: application/json")
    }

    #[tokio::test]
    async fn pages_are_served_under_a_strict_policy() {
        let one = stage(1).await;
        assert!(get_(&one, "/").await.contains("location: /bay/bay-1"));
        let page = get_(&one, "/bay/bay-1").await;
        assert!(page.starts_with("HTTP/1.1 200") && page.contains(POLICY) && page.contains("Bay 2"));
        assert!(get_(&one, "/bay/bay-9").await.starts_with("HTTP/1.1 404"));
        assert!(get_(&one, "/bay/bay-1/frame.json").await.contains(r#""number":1773"#));
        assert!(get_(&one, "/page.js").await.contains("text/javascript"));
        let two = stage(2).await;
        assert!(get_(&two, "/").await.contains("href=\"/bay/bay-2\""));
        let foreign = ask(one.address, "GET / HTTP/1.1\r\nHost: example.org", "").await;
        assert!(foreign.starts_with("HTTP/1.1 403") && foreign.contains(POLICY), "{foreign}");
    }

    /// Who closes their side once they have asked, as simple clients do, has the answer all the same.
    #[tokio::test]
    async fn who_has_said_all_is_still_answered() {
        let mut stage = stage(1).await;
        let body = r#"{"what": {"seen": {"id": "signal_lost", "subject": 3}}}"#;
        let mut stream = tokio::net::TcpStream::connect(stage.address).await.expect("the server listens");
        let length = body.len();
        let request = format!("{}\r\nContent-Length: {length}\r\n\r\n{body}", post_head(stage.address));
        stream.write_all(request.as_bytes()).await.expect("the server reads");
        stream.shutdown().await.expect("half of it");
        let request = tokio::time::timeout(PATIENCE, stage.entries.recv()).await.expect("in time").expect("an entry");
        request.saved.send(Ok(())).expect("somebody waits");
        let mut answer = Vec::new();
        tokio::time::timeout(PATIENCE, stream.read_to_end(&mut answer)).await.expect("in time").expect("an answer");
        let answer = String::from_utf8_lossy(&answer);
        assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    }

    #[tokio::test]
    async fn an_entry_is_answered_saved_only_when_it_is() {
        let mut stage = stage(1).await;
        let body = r#"{"what": {"seen": {"id": "signal_lost", "subject": 3}}}"#;
        let asked = tokio::spawn(async move { ask(stage.address, &post_head(stage.address), body).await });
        let request = tokio::time::timeout(PATIENCE, stage.entries.recv()).await.expect("in time").expect("an entry");
        assert_eq!(request.entry.what, What::Seen(AlarmKey { id: AlarmId::SignalLost, subject: 3 }));
        assert_eq!((request.entry.who.as_str(), request.entry.leg), (SCREEN, 1));
        assert!(!asked.is_finished(), "answered before it was durable");
        request.saved.send(Ok(())).expect("the server waits");
        let answer = asked.await.expect("an answer");
        assert!(answer.starts_with("HTTP/1.1 200") && answer.contains(r#"{"saved":true,"says":"Saved."}"#), "{answer}");
    }

    #[tokio::test]
    async fn what_is_no_entry_is_refused_in_words() {
        let mut stage = stage(1).await;
        let long = format!(r#"{{"what": "{}"}}"#, "x".repeat(2 * BODY_BYTES));
        for (body, status) in [
            ("", "400"),
            ("{", "400"),
            (r#"{"what": "open_the_valve"}"#, "400"),
            (r#"{"what": {"seen": {"id": "no_such", "subject": 0}}}"#, "400"),
            (r#"{"what": {"seen": {"id": "signal_lost", "subject": -1}}}"#, "400"),
            (&long, "400"),
            (r#"{"what": "transfer_started"}"#, "409"),
        ] {
            let answer = ask(stage.address, &post_head(stage.address), body).await;
            assert!(answer.starts_with(&format!("HTTP/1.1 {status}")), "{body}: {answer}");
            assert!(answer.contains(r#""saved":false"#), "{body}: {answer}");
        }
        let elsewhere = format!("{}\r\nOrigin: http://example.org", post_head(stage.address));
        let answer = ask(stage.address, &elsewhere, r#"{"what": "closed"}"#).await;
        assert!(answer.starts_with("HTTP/1.1 403"), "{answer}");
        assert!(stage.entries.try_recv().is_err(), "nothing of this went through");
        drop(stage.entries);
        let answer = ask(stage.address, &post_head(stage.address), r#"{"what": "closed"}"#).await;
        assert!(answer.starts_with("HTTP/1.1 503") && answer.contains("Note it by hand"), "{answer}");
    }

    #[tokio::test]
    async fn where_people_are_named_acts_need_one_who_may() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("people.toml");
        let mut people = People::default();
        people.add("R. <b>Quill</b>", Role::Attend, "a long enough one").expect("added");
        people.add("L. Ooker", Role::View, "another long one").expect("added");
        people.save(&file).expect("written");
        let mut stage = stage_of(1, Some(file.clone())).await;
        let to = stage.address;
        let post = |path: &str, more: &str| {
            format!("POST {path} HTTP/1.1\r\nHost: {to}\r\nContent-Type: application/json{more}")
        };
        let close = r#"{"what": "closed"}"#;
        let answer = ask(to, &post_head(to), close).await;
        assert!(answer.starts_with("HTTP/1.1 401") && answer.contains("sign in first"), "{answer}");
        for cookie in ["", "x", "../people.toml", &"a".repeat(64)] {
            let forged = post("/bay/bay-1/entry", &format!("\r\nCookie: brimwatch_session={cookie}"));
            assert!(ask(to, &forged, close).await.starts_with("HTTP/1.1 401"), "{cookie}");
        }
        let foreign = post("/sign-in", "\r\nOrigin: https://example.org");
        let right = r#"{"name": "R. <b>Quill</b>", "password": "a long enough one"}"#;
        assert!(ask(to, &foreign, right).await.starts_with("HTTP/1.1 403"));
        let cookie = |answer: &str| {
            let value = answer.split("brimwatch_session=").nth(1).and_then(|c| c.split(';').next());
            format!("\r\nCookie: brimwatch_session={}", value.expect("a cookie"))
        };
        let looker = ask(to, &post("/sign-in", ""), r#"{"name": "L. Ooker", "password": "another long one"}"#).await;
        let answer = ask(to, &post("/bay/bay-1/entry", &cookie(&looker)), close).await;
        assert!(answer.starts_with("HTTP/1.1 403") && answer.contains("may look"), "{answer}");
        assert!(stage.entries.try_recv().is_err(), "nothing of this went through");

        let quill = ask(to, &post("/sign-in", ""), right).await;
        assert!(quill.starts_with("HTTP/1.1 200") && quill.contains("Path=/; HttpOnly; SameSite=Strict"), "{quill}");
        let page = ask(to, &format!("GET /sign-in HTTP/1.1\r\nHost: {to}{}", cookie(&quill)), "").await;
        assert!(page.contains("R. &lt;b&gt;Quill") && !page.contains("<b>Quill"), "{page}");
        let head = post("/bay/bay-1/entry", &cookie(&quill));
        let asked = tokio::spawn({
            let head = head.clone();
            async move { ask(to, &head, close).await }
        });
        let request = tokio::time::timeout(PATIENCE, stage.entries.recv()).await.expect("in time").expect("an entry");
        assert_eq!(request.entry.who, "R. <b>Quill</b>");
        request.saved.send(Ok(())).expect("the server waits");
        assert!(asked.await.expect("an answer").contains(r#""saved":true"#));
        // Out of the file: the session is worth nothing.
        people.remove("R. <b>Quill</b>").expect("removed");
        people.save(&file).expect("written");
        assert!(ask(to, &head, close).await.starts_with("HTTP/1.1 401"));
    }

    /// Attendance at the bay's own screen alone; a screen is made so, and an alarm taken out of service, by an engineer.
    #[tokio::test]
    async fn attendance_is_taken_at_the_bays_own_screen_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("people.toml");
        let mut people = People::default();
        people.add("A. Ttend", Role::Attend, "a long enough one").expect("added");
        people.add("E. Ngineer", Role::Engineer, "another long one").expect("added");
        people.add("L. Ooker", Role::View, "a third long one").expect("added");
        people.save(&file).expect("written");
        let mut stage = stage_of(1, Some(file)).await;
        let to = stage.address;
        let head = |path: &str, cookies: &[&str]| {
            let cookies = cookies.iter().map(|c| format!("\r\nCookie: {c}")).collect::<String>();
            format!("POST {path} HTTP/1.1\r\nHost: {to}\r\nContent-Type: application/json{cookies}")
        };
        let set = |answer: &str| {
            let line = answer.lines().find(|l| l.to_lowercase().starts_with("set-cookie: ")).expect("a cookie");
            line["set-cookie: ".len()..].split(';').next().expect("a value").to_owned()
        };
        let mut sessions = Vec::new();
        for (name, password) in [("A. Ttend", "a long enough one"), ("E. Ngineer", "another long one")] {
            let body = format!(r#"{{"name": "{name}", "password": "{password}"}}"#);
            sessions.push(set(&ask(to, &head("/sign-in", &[]), &body).await));
        }
        let [attendant, engineer] = sessions.as_slice() else { panic!("two sessions") };
        let (entry, screen) = ("/bay/bay-1/entry", "/bay/bay-1/screen");
        let here = r#"{"what": "attended"}"#;
        let refused = async |head: String, body: &str, why: &str| {
            let answer = ask(to, &head, body).await;
            assert!(answer.starts_with("HTTP/1.1 40") && answer.contains(why), "{answer}");
        };
        refused(head(entry, &[attendant]), here, "own screen").await;
        refused(head(entry, &[attendant, "brimwatch_screen=00"]), here, "own screen").await;
        refused(head(screen, &[attendant]), "{}", "engineer").await;
        refused(head(screen, &[]), "{}", "engineer").await;
        let out = r#"{"what": {"taken_out": {"id": "recorder_trouble", "subject": 0, "reason": "x"}}}"#;
        refused(head(entry, &[attendant]), out, "engineer").await;
        for name in ["Nobody", "L. Ooker"] {
            let to = format!(r#"{{"what": {{"handed_over": {{"to": "{name}", "read_back": true}}}}}}"#);
            refused(head(entry, &[attendant]), &to, "nobody who may attend").await;
        }
        assert!(stage.entries.try_recv().is_err(), "nothing of this went through");

        let enrolled = ask(to, &head(screen, &[engineer]), "{}").await;
        assert!(enrolled.starts_with("HTTP/1.1 200") && enrolled.contains("HttpOnly; SameSite=Strict"), "{enrolled}");
        let own = set(&enrolled);
        let over = r#"{"what": {"handed_over": {"to": "E. Ngineer", "read_back": true}}}"#;
        for (cookies, body) in [(vec![attendant.as_str(), &own], here), (vec![attendant], over), (vec![engineer], out)]
        {
            let asked = tokio::spawn({
                let head = head(entry, &cookies);
                async move { ask(to, &head, body).await }
            });
            let request = tokio::time::timeout(PATIENCE, stage.entries.recv()).await.expect("in time").expect("one");
            match request.entry.what {
                What::Attended { screen } => {
                    assert_eq!((request.entry.who.as_str(), screen.as_str()), ("A. Ttend", "bay-1"))
                }
                What::HandedOver { out, to, state } => {
                    assert_eq!((out, to.as_str()), (None, "E. Ngineer"));
                    assert!(state.contains("Margin") && state.contains("alarm"), "{state}");
                }
                other => assert!(matches!(other, What::TakenOut { .. }), "{other:?}"),
            }
            request.saved.send(Ok(())).expect("the server waits");
            assert!(asked.await.expect("an answer").contains(r#""saved":true"#));
        }
    }

    #[tokio::test]
    async fn wrong_passwords_are_slowed_and_the_bay_screen_is_not() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("people.toml");
        People::default().save(&file).expect("written");
        let mut stage = stage_of(1, Some(file)).await;
        let to = stage.address;
        let head = format!("POST /sign-in HTTP/1.1\r\nHost: {to}\r\nContent-Type: application/json");
        let mut last = String::new();
        for _ in 0..6 {
            last = ask(to, &head, r#"{"name": "bay screen", "password": "wrong wrong"}"#).await;
            assert!(!last.contains("set-cookie"), "{last}");
        }
        assert!(last.starts_with("HTTP/1.1 429") && last.contains("retry-after"), "{last}");
        let seen = r#"{"what": {"seen": {"id": "signal_lost", "subject": 3}}}"#;
        let asked = tokio::spawn(async move { ask(to, &post_head(to), seen).await });
        let request = tokio::time::timeout(PATIENCE, stage.entries.recv()).await.expect("in time").expect("an entry");
        assert_eq!(request.entry.who, SCREEN);
        request.saved.send(Ok(())).expect("the server waits");
        assert!(asked.await.expect("an answer").starts_with("HTTP/1.1 200"));
    }

    #[tokio::test]
    async fn a_viewer_gets_whole_frames_and_holds_up_no_shutdown() {
        let stage = stage(1).await;
        let address = stage.address;
        let (told, mut heard) = mpsc::channel(8);
        let viewer = std::thread::spawn(move || {
            let stream = TcpStream::connect(address).expect("the server listens");
            stream.set_read_timeout(Some(PATIENCE)).expect("a time-out");
            let url = format!("ws://{address}/bay/bay-1/live");
            let (mut socket, _) = tungstenite::client(url, stream).expect("an open door");
            loop {
                match socket.read() {
                    Ok(tungstenite::Message::Text(text)) => {
                        let frame: serde_json::Value = serde_json::from_str(&text).expect("JSON");
                        told.blocking_send(frame).expect("the test listens");
                    }
                    Ok(tungstenite::Message::Close(_)) => return true,
                    Ok(_) => {}
                    Err(_) => return false,
                }
            }
        });
        let first = tokio::time::timeout(PATIENCE, heard.recv()).await.expect("in time").expect("a frame");
        assert_eq!(first["alarms"][0]["id"], "witnesses_disagree");
        assert_eq!(first["can_close"], true);
        let next = Published { number: 4711, ..scenes::agree() };
        stage.latest.send(Some(Arc::new(next))).expect("the server watches");
        let second = tokio::time::timeout(PATIENCE, heard.recv()).await.expect("in time").expect("a frame");
        assert_eq!(second["number"], 4711);
        stage.stop.send(()).expect("the server runs");
        tokio::time::timeout(PATIENCE, stage.served).await.expect("ends in time").expect("no panic").expect("no error");
        assert!(viewer.join().expect("no panic"), "the viewer was not told");
    }

    #[test]
    fn a_frame_is_whole_for_whoever_has_not_the_one_before() {
        let (drawn, reader) = (Drawn::default(), Reader::here());
        let [one, two, three] = [1, 2, 3].map(|number| Arc::new(Published { number, ..scenes::agree() }));
        let sent = |published: &Arc<Published>, has: Option<u64>| {
            let text = drawn.text(published, &reader, Looks::default(), has).expect("a text");
            serde_json::from_str::<serde_json::Value>(&text).expect("JSON")
        };
        let whole = |published: &Arc<Published>| {
            serde_json::to_value(view::live(published, &reader, Size::Wide)).expect("JSON")
        };
        assert_eq!(sent(&one, None), whole(&one));
        assert_eq!(sent(&two, Some(1)), json!({ "after": 1, "number": 2 }));
        assert_eq!(sent(&two, None), whole(&two));
        assert_eq!(sent(&three, Some(1)), whole(&three));
        assert_eq!(sent(&three, Some(2)), json!({ "after": 2, "number": 3 }));
    }

    /// RFC 6585, 5: 431 where a head is too long. A head that never ends, and a connection that says nothing, are closed.
    #[tokio::test]
    async fn a_long_head_and_a_slow_one_are_not_waited_for() {
        let stage = stage(1).await;
        let to = stage.address;
        // What is sent after the server has had enough may find the connection reset.
        let blunt = async |sent: String| {
            let mut stream = tokio::net::TcpStream::connect(to).await.expect("the server listens");
            let _ = stream.write_all(sent.as_bytes()).await;
            let mut answer = Vec::new();
            let _ = tokio::time::timeout(PATIENCE, stream.read_to_end(&mut answer)).await.expect("closed in time");
            String::from_utf8_lossy(&answer).into_owned()
        };
        let long = format!("GET / HTTP/1.1\r\nHost: {to}\r\nX-Long: {}\r\n\r\n", "x".repeat(40 << 10));
        let many = format!("GET / HTTP/1.1\r\nHost: {to}{}\r\n\r\n", "\r\nX: y".repeat(100));
        for head in [long, many] {
            let answer = blunt(head).await;
            assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 431"), "{answer}");
        }
        for part in ["", "GET / HTTP/1.1\r\nHost: "] {
            let mut stream = tokio::net::TcpStream::connect(to).await.expect("the server listens");
            stream.write_all(part.as_bytes()).await.expect("the server reads");
            let mut answer = Vec::new();
            let ended = tokio::time::timeout(PATIENCE, stream.read_to_end(&mut answer)).await.expect("closed in time");
            assert!(ended.is_err() || !answer.starts_with(b"HTTP/1.1 200"), "{part:?}");
        }
    }
}
