//! What a person enters on the page: what is sent, who may, and the answer once it is on disk; and the bay's own screen.

use super::feed::{EntryRequest, NotTaken, Published};
use super::reader::Reader;
use super::server::{App, NoSuchPage, latest};
use super::view;
use super::{screens, sign_in};
use crate::engine::alarm::catalogue;
use crate::engine::checks::CheckId;
use crate::engine::frame::Phase;
use crate::engine::input::{AlarmKey, Entry, What, ZeroCause};
use crate::engine::steps::{Right, Side};
use crate::people::{Person, Role};
use crate::units::INCH_M;
use crate::words::EntryAnswer;
use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use tokio::sync::mpsc::error::TrySendError;
use tokio::sync::oneshot;

/// Longest note of a person, characters: it stands in every output of its delivery.
pub const NOTE_CHARS: usize = 120;
/// An entry not known to be durable by then is answered as not known.
const SAVE_TIME: Duration = Duration::from_secs(10);
/// Who is named as the author of an entry made on the page by nobody who is signed in.
pub const SCREEN: &str = "bay screen";

/// A person's entry as the page sends it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Posted {
    what: PostedWhat,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
enum PostedWhat {
    TransferStarted,
    Closed,
    BlowBegan,
    BlowEnded,
    Dipped(DippedForm),
    ScaleZeroed { cause: ZeroCauseForm },
    Seen { id: String, subject: u16 },
    Shelved { id: String, subject: u16, minutes: Option<f64> },
    Unshelved { id: String, subject: u16 },
    Check { id: String, met: bool, note: Option<String> },
    Rejected { reason: String },
    Attended,
    HandedOver { to: String, read_back: bool },
    TakenOut { id: String, subject: u16, reason: String },
    PutBack { id: String, subject: u16 },
    Step { id: String, side: SideForm, name: Option<String>, note: Option<String> },
    StepSkipped { id: String, reason: String },
}

/// A cause as the page names it.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ZeroCauseForm {
    PeopleOrTools,
    HoseOrLine,
    RainOrIce,
    Tractor,
    ScaleItself,
}

impl From<ZeroCauseForm> for ZeroCause {
    fn from(form: ZeroCauseForm) -> ZeroCause {
        match form {
            ZeroCauseForm::PeopleOrTools => ZeroCause::PeopleOrTools,
            ZeroCauseForm::HoseOrLine => ZeroCause::HoseOrLine,
            ZeroCauseForm::RainOrIce => ZeroCause::RainOrIce,
            ZeroCauseForm::Tractor => ZeroCause::Tractor,
            ZeroCauseForm::ScaleItself => ZeroCause::ScaleItself,
        }
    }
}

/// A level as it was read off the tape: in m, or in feet and inches.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
struct DippedForm {
    level_m: Option<f64>,
    level_ft: Option<f64>,
    level_in: Option<f64>,
}

impl DippedForm {
    fn level_m(self) -> Option<f64> {
        match (self.level_m, self.level_ft, self.level_in) {
            (Some(m), None, None) => Some(m),
            (None, Some(ft), Some(inches)) => Some((12.0 * ft + inches) * INCH_M),
            _ => None,
        }
    }
}

/// A side as the page names it.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SideForm {
    Site,
    Driver,
}

/// Whose press it was.
struct By {
    who: String,
    right: Right,
}

impl By {
    /// Where the site names nobody, whoever is at this machine may all.
    fn new(app: &App, person: Option<&Person>) -> By {
        let may_all = app.sign_in.is_none() || person.is_some_and(|p| p.role >= Role::Engineer);
        let who = person.map_or_else(|| SCREEN.to_owned(), |p| p.name.clone());
        By { who, right: if may_all { Right::Engineer } else { Right::Attend } }
    }
}

impl PostedWhat {
    fn into_what(self, by: &By) -> Option<What> {
        Some(match self {
            PostedWhat::TransferStarted => What::TransferStarted,
            PostedWhat::Closed => What::Closed,
            PostedWhat::BlowBegan => What::BlowBegan,
            PostedWhat::BlowEnded => What::BlowEnded,
            PostedWhat::ScaleZeroed { cause } => What::ScaleZeroed(cause.into()),
            PostedWhat::Dipped(form) => What::Dipped { level_m: form.level_m()? },
            PostedWhat::Shelved { id, subject, minutes } => What::Shelved {
                key: AlarmKey { id: catalogue::named(&id)?, subject },
                for_s: 60.0 * minutes.unwrap_or_default(),
            },
            PostedWhat::Unshelved { id, subject } => What::Unshelved(AlarmKey { id: catalogue::named(&id)?, subject }),
            PostedWhat::Check { id, met, note } => {
                What::CheckEntered { check: CheckId::named(&id)?, met, note: said(&note.unwrap_or_default())? }
            }
            PostedWhat::Step { id, side, name, note } => {
                let (side, name) = match side {
                    SideForm::Site => (Side::Site, by.who.clone()),
                    SideForm::Driver => (Side::Driver, said(&name.unwrap_or_default())?),
                };
                What::StepSigned { step: id, side, name, right: by.right, note: said(&note.unwrap_or_default())? }
            }
            PostedWhat::StepSkipped { id, reason } => {
                What::StepSkipped { step: id, right: by.right, reason: said(&reason)? }
            }
            PostedWhat::Rejected { reason } => What::Rejected { reason: said(&reason)? },
            // The page's own words stand in it once it is known of which bay it is.
            PostedWhat::Attended => What::Attended { screen: String::new() },
            PostedWhat::HandedOver { to, read_back } => {
                What::HandedOver { out: None, to: said(&to)?, state: if read_back { to } else { String::new() } }
            }
            PostedWhat::TakenOut { id, subject, reason } => {
                What::TakenOut { key: AlarmKey { id: catalogue::named(&id)?, subject }, reason: said(&reason)? }
            }
            PostedWhat::PutBack { id, subject } => What::PutBack(AlarmKey { id: catalogue::named(&id)?, subject }),
            PostedWhat::Seen { id, subject } => What::Seen(AlarmKey { id: catalogue::named(&id)?, subject }),
        })
    }
}

/// What a person wrote, trimmed; `None` where it is longer than the page lets through or holds what cannot be shown.
fn said(text: &str) -> Option<String> {
    let text = text.trim();
    (text.chars().count() <= NOTE_CHARS && !text.chars().any(char::is_control)).then(|| text.to_owned())
}

/// With what only the page knows: who is on duty, the state that was read back, the screen.
fn completed(what: What, slug: &str, published: &Published, reader: &Reader) -> What {
    match what {
        What::Attended { .. } => What::Attended { screen: slug.to_owned() },
        What::HandedOver { to, state, .. } => {
            let state = if state.is_empty() { state } else { view::state(published, reader) };
            What::HandedOver { out: published.frame.attendance.on_duty.clone(), to, state }
        }
        what => what,
    }
}

/// Why this person may not make that entry here.
fn barred<'a>(
    app: &App,
    slug: &str,
    headers: &HeaderMap,
    person: Option<&'a Person>,
    what: &'a What,
) -> Option<(StatusCode, EntryAnswer<'a>)> {
    let Some(sign_in) = &app.sign_in else {
        let needs = sign_in::needs_engineer(what);
        return needs.then_some((StatusCode::FORBIDDEN, EntryAnswer::NotEngineer));
    };
    if !sign_in::may(person.map(|p| p.role), what) {
        return Some(match person {
            None if sign_in.has_ended(headers) => (StatusCode::UNAUTHORIZED, EntryAnswer::SignInEnded),
            None => (StatusCode::UNAUTHORIZED, EntryAnswer::SignIn),
            Some(_) if sign_in::needs_engineer(what) => (StatusCode::FORBIDDEN, EntryAnswer::NotEngineer),
            Some(person) => (StatusCode::FORBIDDEN, EntryAnswer::NoRight(&person.name)),
        });
    }
    match what {
        What::Attended { .. } if !screens::is_own(sign_in.file(), slug, headers) => {
            Some((StatusCode::FORBIDDEN, EntryAnswer::NotHere))
        }
        What::HandedOver { to, .. } if !sign_in.attends(to) => Some((StatusCode::FORBIDDEN, EntryAnswer::Nobody(to))),
        _ => None,
    }
}

/// Why one whose qualification is over does not sign, let go or check for the site; an alarm they may see, and a transfer
/// they may close.
fn lapsed(person: &Person, what: &What, published: &Published, reader: &Reader) -> Option<NotTaken> {
    let asks = matches!(
        what,
        What::StepSigned { side: Side::Site, .. }
            | What::StepSkipped { .. }
            | What::CheckEntered { .. }
            | What::TransferStarted
            | What::BlowBegan
    );
    let frame = &published.frame;
    let now = jiff::Timestamp::from_nanosecond(i128::from(frame.clock.wall_at(frame.at).0)).ok()?;
    let today = now.to_zoned_datetime(reader.zone.clone()).date();
    (asks && person.lapsed(today).is_some()).then_some(NotTaken::NotQualified)
}

/// Makes the screen that asks the bay's own.
pub(super) async fn enrol(
    State(app): State<App>,
    reader: Reader,
    Path(slug): Path<String>,
    headers: HeaderMap,
) -> Result<Response, NoSuchPage> {
    app.bay(&slug)?;
    let answer = |status, what: EntryAnswer<'_>| answered(&reader, status, what);
    let person = app.sign_in.as_ref().and_then(|s| s.who(&headers));
    let (Some(sign_in), Some(person)) = (&app.sign_in, person.filter(|p| p.role >= Role::Engineer)) else {
        return Ok(answer(StatusCode::FORBIDDEN, EntryAnswer::NotEngineer));
    };
    Ok(match screens::enrol(sign_in.file(), &slug, &person.name, app.secure) {
        Ok(cookie) => {
            tracing::warn!(bay = slug, who = person.name, "this screen is the bay's own from here on");
            ([(header::SET_COOKIE, cookie)], answer(StatusCode::OK, EntryAnswer::Saved)).into_response()
        }
        Err(error) => {
            tracing::error!(bay = slug, %error, "the bays' screens cannot be written");
            answer(StatusCode::SERVICE_UNAVAILABLE, EntryAnswer::NotKnown)
        }
    })
}

/// What became of an entry, in a word for programs and a sentence for people.
#[derive(Debug, Serialize)]
struct Answered {
    saved: bool,
    says: String,
}

fn answered(reader: &Reader, status: StatusCode, answer: EntryAnswer<'_>) -> Response {
    let body = Answered { saved: answer == EntryAnswer::Saved, says: reader.language.entry(answer) };
    (status, Json(body)).into_response()
}

/// Takes an entry of a person to the bay, and answers once it is on disk.
pub(super) async fn enter(
    State(app): State<App>,
    reader: Reader,
    Path(slug): Path<String>,
    headers: HeaderMap,
    posted: Result<Json<Posted>, JsonRejection>,
) -> Result<Response, NoSuchPage> {
    let feed = app.bay(&slug)?;
    let answer = |status, what: EntryAnswer<'_>| answered(&reader, status, what);
    let person = app.sign_in.as_ref().and_then(|s| s.who(&headers));
    let by = By::new(&app, person.as_ref());
    let Some(what) = posted.ok().and_then(|Json(p)| p.what.into_what(&by)) else {
        return Ok(answer(StatusCode::BAD_REQUEST, EntryAnswer::NotUnderstood));
    };
    if let Some((status, why)) = barred(&app, &slug, &headers, person.as_ref(), &what) {
        return Ok(answer(status, why));
    }
    let Some(published) = latest(feed) else {
        return Ok(answer(StatusCode::SERVICE_UNAVAILABLE, EntryAnswer::NoWatch));
    };
    if let Some(why) = person.as_ref().and_then(|person| lapsed(person, &what, &published, &reader)) {
        return Ok(answer(StatusCode::FORBIDDEN, EntryAnswer::NotTaken(why)));
    }
    let fits = match what {
        What::TransferStarted | What::Dipped { .. } => published.frame.phase == Phase::Opened,
        What::Closed | What::ScaleZeroed(_) | What::BlowBegan | What::BlowEnded => {
            published.frame.phase == Phase::Transfer
        }
        _ => true,
    };
    if !fits {
        return Ok(answer(StatusCode::CONFLICT, EntryAnswer::WrongPhase));
    }
    let leg = published.frame.delivery.as_ref().map_or(1, |d| d.leg);
    let (saved, durable) = oneshot::channel();
    let what = completed(what, &slug, &published, &reader);
    let request = EntryRequest { entry: Entry { who: by.who, leg, what }, saved };
    match feed.entries.try_send(request) {
        Ok(()) => {}
        Err(TrySendError::Full(_)) => return Ok(answer(StatusCode::SERVICE_UNAVAILABLE, EntryAnswer::Busy)),
        Err(TrySendError::Closed(_)) => return Ok(answer(StatusCode::SERVICE_UNAVAILABLE, EntryAnswer::NoWatch)),
    }
    Ok(match tokio::time::timeout(SAVE_TIME, durable).await {
        Ok(Ok(Ok(()))) => answer(StatusCode::OK, EntryAnswer::Saved),
        Ok(Ok(Err(why))) => answer(StatusCode::CONFLICT, EntryAnswer::NotTaken(why)),
        Ok(Err(_)) | Err(_) => answer(StatusCode::GATEWAY_TIMEOUT, EntryAnswer::NotKnown),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As the page's forms send them.
    #[test]
    fn what_is_posted_is_an_entry() {
        let by = By { who: "R. Quill".into(), right: Right::Attend };
        let what = |text: &str| serde_json::from_str::<Posted>(text).ok().and_then(|posted| posted.what.into_what(&by));
        assert_eq!(what(r#"{"what":{"dipped":{"level_m":1.25}}}"#), Some(What::Dipped { level_m: 1.25 }));
        // 10 ft 2 1/8 in: 122.125 in of 0.0254 m exactly (NIST SP 811, B.8).
        let tape = r#"{"what":{"dipped":{"level_ft":10,"level_in":2.125}}}"#;
        assert_eq!(what(tape), Some(What::Dipped { level_m: 122.125 * 0.0254 }));
        let tractor = r#"{"what":{"scale_zeroed":{"cause":"tractor"}}}"#;
        assert_eq!(what(tractor), Some(What::ScaleZeroed(ZeroCause::Tractor)));
        let driver = r#"{"what":{"step":{"id":"bonded","side":"driver","name":" D. Haul ","note":null}}}"#;
        let signed = |side, name: &str| What::StepSigned {
            step: "bonded".into(),
            side,
            name: name.into(),
            right: Right::Attend,
            note: String::new(),
        };
        assert_eq!(what(driver), Some(signed(Side::Driver, "D. Haul")));
        let site = r#"{"what":{"step":{"id":"bonded","side":"site","name":"somebody else"}}}"#;
        assert_eq!(what(site), Some(signed(Side::Site, "R. Quill")), "the site's signature is that of the sign-in");
        for wrong in [r#"{"what":{"dipped":{"level_m":null}}}"#, r#"{"what":{"scale_zeroed":{"cause":"leak"}}}"#] {
            assert_eq!(what(wrong), None, "{wrong}");
        }
    }

    /// On the last day it still holds; the day after, steps, checks and starts are for somebody else. Closing and seeing are
    /// not.
    #[test]
    fn a_qualification_that_is_over_signs_nothing() {
        let published = crate::page::scenes::agree();
        let reader = Reader { zone: jiff::tz::TimeZone::UTC, ..Reader::here() };
        let at = published.frame.clock.wall_at(published.frame.at);
        let today = jiff::Timestamp::from_nanosecond(i128::from(at.0)).expect("a time");
        let today = today.to_zoned_datetime(reader.zone.clone()).date();
        let person = |until: Option<jiff::civil::Date>| Person {
            name: "R. Quill".into(),
            role: Role::Engineer,
            password: String::new(),
            qualified_until: until.map(|day| day.to_string()),
        };
        let yesterday = today.yesterday().expect("a day");
        let check = What::CheckEntered { check: CheckId::PadGas, met: true, note: String::new() };
        for what in [&check, &What::TransferStarted, &What::BlowBegan] {
            assert_eq!(lapsed(&person(None), what, &published, &reader), None);
            assert_eq!(lapsed(&person(Some(today)), what, &published, &reader), None);
            assert_eq!(lapsed(&person(Some(yesterday)), what, &published, &reader), Some(NotTaken::NotQualified));
        }
        for what in [&What::Closed, &What::BlowEnded] {
            assert_eq!(lapsed(&person(Some(yesterday)), what, &published, &reader), None);
        }
    }
}
