//! Serves the desk on loopback, on a port of its own. As with the monitor's page only this machine may look, and only
//! the desk's own pages may ask.

use super::page::{self, ACTS};
use super::recordings::{self, Found};
use super::session::{Options, Plays, Session};
use crate::drill;
use crate::scenarios::Scenario;
use axum::extract::{DefaultBodyLimit, Path as At, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{Html, IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use brimwatch::page::feed::What;
use serde::{Deserialize, Serialize};
use std::fs;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::Mutex;

/// Real time between two looks at what the monitor says.
const LOOK: Duration = Duration::from_millis(50);
/// Longest body of a request, bytes.
const BODY_BYTES: usize = 4096;
/// Nothing from elsewhere.
const POLICY: &str = "default-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
/// A kept result carries its own style and nothing else.
const PAPER_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// The desk's own style, and that of the pictures.
const STYLE: &str = concat!(include_str!("assets/desk.css"), include_str!("../../../src/picture/time_line.css"));

/// The desk: at most one drill at a time.
#[derive(Clone)]
pub struct Desk {
    options: Arc<Options>,
    session: Arc<Mutex<Option<Session>>>,
}

impl Desk {
    /// No drill is under way.
    #[must_use]
    pub fn new(options: Options) -> Desk {
        Desk { options: Arc::new(options), session: Arc::default() }
    }

    /// Begins a drill.
    ///
    /// # Errors
    /// When one is under way, and whatever [`Session::begin`] says.
    pub async fn begin(&self, plays: Plays, speed: f64) -> Result<String, String> {
        let mut session = self.session.lock().await;
        if session.is_some() {
            return Err("a drill is under way: end it first".to_owned());
        }
        let begun = Session::begin(&self.options, plays, speed).await?;
        let monitor = begun.monitor();
        *session = Some(begun);
        Ok(monitor)
    }

    /// Ends the drill that is under way, keeps its result and gives the name of its folder.
    ///
    /// # Errors
    /// When none is, and whatever [`Session::end`] says.
    pub async fn end(&self) -> Result<String, String> {
        let session = self.session.lock().await.take().ok_or("no drill is under way")?;
        let (folder, _) = session.end().await?;
        Ok(folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default())
    }

    /// Serves the pages; until the listener fails.
    ///
    /// # Errors
    /// What the socket gives.
    pub async fn serve(self, listener: TcpListener) -> std::io::Result<()> {
        let watched = self.clone();
        let looking = tokio::spawn(async move {
            loop {
                tokio::time::sleep(LOOK).await;
                if let Some(session) = watched.session.lock().await.as_mut() {
                    session.look().await;
                }
            }
        });
        let served = axum::serve(listener, router(self)).await;
        looking.abort();
        served
    }

    /// The recordings that are offered, where a folder of them was given.
    fn recordings(&self) -> Option<Result<Vec<Found>, String>> {
        self.options.recordings.as_deref().map(recordings::list)
    }

    /// Names of the folders that hold a result, the latest first.
    fn kept(&self) -> Vec<String> {
        let Ok(entries) = fs::read_dir(&self.options.store) else { return Vec::new() };
        let number = |name: &str| name.strip_prefix("drill-")?.parse::<u32>().ok();
        let names = entries.filter_map(|entry| entry.ok()?.file_name().into_string().ok());
        let mut kept: Vec<(u32, String)> = names
            .filter(|name| self.options.store.join(name).join("result.html").exists())
            .filter_map(|name| Some((number(&name)?, name)))
            .collect();
        kept.sort_by(|a, b| b.cmp(a));
        kept.into_iter().map(|(_, name)| name).collect()
    }
}

/// The command `drill`: the desk until Ctrl-C.
///
/// # Errors
/// In words for the person at the terminal.
pub async fn run(options: Options, first: Option<(Plays, f64)>, port: u16) -> Result<(), String> {
    options.recordings.as_deref().map(recordings::list).transpose()?;
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    let busy = |e| format!("the desk cannot listen on {address}: {e}; free the port, or give another by --desk-port");
    let listener = TcpListener::bind(address).await.map_err(busy)?;
    let address = listener.local_addr().map_err(busy)?;
    let desk = Desk::new(options);
    println!("DRILL: simulated bays, no plant. brimwatch advises; it opens and closes nothing. At a real bay an");
    println!("independent high-level shut-off and a qualified person in attendance are required.");
    if let Some((plays, speed)) = first {
        println!("Monitor, for the trainee: {}", desk.begin(plays, speed).await?);
    }
    println!("Desk, for the trainer: http://{address}/");
    println!("Panel, for the trainee: http://{address}/panel");
    println!("End with Ctrl-C.");
    tokio::select! {
        served = desk.clone().serve(listener) => served.map_err(|e| format!("the desk ended: {e}"))?,
        heard = tokio::signal::ctrl_c() => heard.map_err(|e| format!("Ctrl-C cannot be heard: {e}"))?,
    }
    match desk.end().await {
        Ok(name) => println!("Result: {}", desk.options.store.join(name).join("result.html").display()),
        Err(_) => println!("No drill was under way."),
    }
    Ok(())
}

fn router(desk: Desk) -> Router {
    Router::new()
        .route("/", get(home))
        .route("/panel", get(panel))
        .route("/desk.css", get(|| asset("text/css; charset=utf-8", STYLE)))
        .route("/desk.js", get(|| asset("text/javascript; charset=utf-8", include_str!("assets/desk.js"))))
        .route("/favicon.ico", get(|| async { StatusCode::NO_CONTENT }))
        .route("/desk.json", get(|State(desk)| state(desk, false)))
        .route("/panel.json", get(|State(desk)| state(desk, true)))
        .route("/result/{name}", get(result))
        .route("/do", post(ask))
        .fallback(|| async { (StatusCode::NOT_FOUND, "There is no such page here; the desk is at /\n") })
        .layer(DefaultBodyLimit::max(BODY_BYTES))
        .layer(middleware::from_fn(guard))
        .with_state(desk)
}

async fn asset(kind: &'static str, text: &'static str) -> impl IntoResponse {
    ([(header::CONTENT_TYPE, kind)], text)
}

async fn home(State(desk): State<Desk>) -> Response {
    match &*desk.session.lock().await {
        Some(session) => Html(page::desk(session).into_string()).into_response(),
        None => match Scenario::shipped() {
            Ok(scenarios) => {
                Html(page::choice(&scenarios, desk.recordings().as_ref(), &desk.kept()).into_string()).into_response()
            }
            Err(why) => (StatusCode::INTERNAL_SERVER_ERROR, why).into_response(),
        },
    }
}

async fn panel(State(desk): State<Desk>) -> Html<String> {
    Html(page::panel(desk.session.lock().await.as_ref()).into_string())
}

async fn state(desk: Desk, for_panel: bool) -> Json<page::State> {
    Json(page::state(desk.session.lock().await.as_ref(), for_panel))
}

async fn result(State(desk): State<Desk>, At(name): At<String>) -> Response {
    let kept = desk.kept().contains(&name);
    match fs::read_to_string(desk.options.store.join(&name).join("result.html")) {
        Ok(text) if kept => ([(header::CONTENT_SECURITY_POLICY, PAPER_POLICY)], Html(text)).into_response(),
        _ => Redirect::temporary("/").into_response(),
    }
}

/// What is asked for.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
enum Asked {
    Begin { plays: Asks, speed: f64 },
    Pause,
    GoOn { speed: f64 },
    Started,
    Closed,
    Fault(String),
    Mend,
    Act(String),
    End,
}

/// What shall be played, by the name that the page offers.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Asks {
    Scenario(String),
    Recording(String),
}

#[derive(Debug, Serialize)]
struct Answered {
    done: bool,
    says: String,
    /// Where to go from here.
    go: Option<String>,
}

async fn ask(State(desk): State<Desk>, Json(asked): Json<Asked>) -> (StatusCode, Json<Answered>) {
    let answered = match asked {
        Asked::Begin { plays, speed } => begin(&desk, plays, speed).await,
        Asked::End => desk.end().await.map(|name| ("The drill is over.".to_owned(), Some(format!("/result/{name}")))),
        other => under_way(&desk, other).await.map(|says| (says, None)),
    };
    match answered {
        Ok((says, go)) => (StatusCode::OK, Json(Answered { done: true, says, go })),
        Err(says) => (StatusCode::CONFLICT, Json(Answered { done: false, says, go: None })),
    }
}

async fn begin(desk: &Desk, asks: Asks, times: f64) -> Result<(String, Option<String>), String> {
    // The page offers what is shipped and what lies in the folder; any other path is for the command line.
    let plays = match asks {
        Asks::Scenario(name) => {
            let shipped = Scenario::shipped()?.into_iter().find(|scenario| scenario.name == name);
            Plays::Scenario(Box::new(shipped.ok_or_else(|| format!("\"{name}\" is none of the scenarios"))?))
        }
        Asks::Recording(name) => {
            let none = || format!("\"{name}\" is none of the recordings that are offered");
            let folder = desk.options.recordings.as_deref().ok_or_else(none)?;
            let found = recordings::list(folder)?.into_iter().find(|found| found.name == name);
            Plays::Recording(folder.join(found.ok_or_else(none)?.name))
        }
    };
    desk.begin(plays, drill::speed(times)?).await?;
    Ok(("The drill has begun.".to_owned(), Some("/".to_owned())))
}

async fn under_way(desk: &Desk, asked: Asked) -> Result<String, String> {
    let mut session = desk.session.lock().await;
    let session = session.as_mut().ok_or("no drill is under way")?;
    match asked {
        Asked::Pause => session.pause().await?,
        Asked::GoOn { speed: times } => session.go_on(drill::speed(times)?).await?,
        Asked::Started => session.enter(What::TransferStarted).await?,
        Asked::Closed => session.enter(What::Closed).await?,
        Asked::Fault(text) => {
            session.fault(&text)?;
            return Ok(format!("From now on: {text}."));
        }
        Asked::Mend => session.mend()?,
        Asked::Act(word) => {
            let act = ACTS.iter().find(|(known, ..)| *known == word);
            let (_, label, act) = act.ok_or_else(|| format!("\"{word}\" is nothing that hands can do here"))?;
            session.act(*act)?;
            return Ok(format!("Done: {label}."));
        }
        Asked::Begin { .. } | Asked::End => {}
    }
    Ok("Done.".to_owned())
}

/// Refuses foreign hosts and origins, and marks every answer.
async fn guard(request: Request, next: Next) -> Response {
    let own = is_own(request.headers());
    let mut response = if own {
        next.run(request).await
    } else {
        (StatusCode::FORBIDDEN, "Only this machine's own pages may ask.\n").into_response()
    };
    let headers = response.headers_mut();
    headers.entry(header::CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(POLICY));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}

fn is_own(headers: &HeaderMap) -> bool {
    let text = |name| headers.get(name).and_then(|value: &HeaderValue| value.to_str().ok());
    let Some(host) = text(header::HOST) else { return false };
    let name = host.rsplit_once(':').map_or(host, |(name, _)| name);
    let loopback = ["127.0.0.1", "localhost", "[::1]"].contains(&name);
    loopback && text(header::ORIGIN).is_none_or(|origin| origin == format!("http://{host}"))
}
