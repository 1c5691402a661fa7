//! For whom a page is written: language and units, as its viewer chose them, else as the site file has them. Each
//! choice that somebody made is drawn once and shared among all who made it; there are no more than `CHOICES`.

use super::cookie;
use super::feed::Published;
use super::server::App;
use crate::units::Measures;
use crate::words::en::English;
use crate::words::{LANGUAGES, Language, Scene, language};
use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{FromRequestParts, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use jiff::tz::TimeZone;
use maud::{Markup, html};
use serde::Deserialize;
use std::convert::Infallible;

/// Languages times units.
pub(super) const CHOICES: usize = LANGUAGES.len() * Measures::NAMES.len();
/// Name of the cookie that remembers a choice.
const COOKIE: &str = "brimwatch_reader";

/// For whom a page is written.
#[derive(Clone)]
pub struct Reader {
    /// Zone in which times are written.
    pub zone: TimeZone,
    /// Language of every text.
    pub language: &'static dyn Language,
    /// Units of every figure.
    pub measures: Measures,
}

impl std::fmt::Debug for Reader {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Reader({}, {:?}, {:?})", self.language.tag(), self.measures, self.zone)
    }
}

impl Reader {
    /// The people at this machine: its own time zone, English, SI.
    #[must_use]
    pub fn here() -> Reader {
        Reader { zone: TimeZone::system(), language: &English, measures: Measures::Si }
    }

    /// Those of a site: its language by its tag, its units.
    #[must_use]
    pub fn of_site(tag: &str, measures: Measures) -> Reader {
        Reader { language: language(tag).unwrap_or(&English), measures, ..Reader::here() }
    }

    /// What texts and pictures are about, for this reader.
    #[must_use]
    pub fn scene<'a>(&'a self, published: &'a Published) -> Scene<'a> {
        published.scene(&self.zone, self.measures)
    }
}

/// Whoever sent a request.
impl FromRequestParts<App> for Reader {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Reader, Infallible> {
        Ok(app.readers.get(app.readers.of(&parts.headers)).clone())
    }
}

/// Everybody whom a page can be written for.
pub(super) struct Readers {
    all: Vec<Reader>,
    /// Of whoever has not chosen.
    site: usize,
}

impl Readers {
    /// `site`: of whoever has not chosen.
    pub(super) fn new(site: &Reader) -> Readers {
        let units = || Measures::NAMES.iter().filter_map(|name| Measures::named(name));
        let of = |language| units().map(move |measures| Reader { zone: site.zone.clone(), language, measures });
        let all: Vec<Reader> = LANGUAGES.into_iter().flat_map(of).collect();
        let own = |r: &Reader| (r.language.tag(), r.measures) == (site.language.tag(), site.measures);
        let site = all.iter().position(own).unwrap_or_default();
        Readers { all, site }
    }

    /// Which of them sent this.
    pub(super) fn of(&self, headers: &HeaderMap) -> usize {
        let Some((tag, units)) = cookie::read(headers, COOKIE).and_then(|value| value.split_once('.')) else {
            return self.site;
        };
        let chosen = |r: &Reader| r.language.tag() == tag && r.measures.name() == units;
        self.all.iter().position(chosen).unwrap_or(self.site)
    }

    pub(super) fn get(&self, index: usize) -> &Reader {
        &self.all[index.min(self.all.len() - 1)]
    }
}

/// A choice as the page sends it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Choice {
    language: String,
    units: String,
}

/// Remembers a choice in the browser that made it.
pub(super) async fn choose(State(app): State<App>, choice: Result<Json<Choice>, JsonRejection>) -> Response {
    let known =
        choice.ok().and_then(|Json(choice)| Some((language(&choice.language)?, Measures::named(&choice.units)?)));
    let Some((language, measures)) = known else { return StatusCode::BAD_REQUEST.into_response() };
    let value = format!("{}.{}", language.tag(), measures.name());
    let set = cookie::set(COOKIE, &value, "/", cookie::FOR_GOOD, app.secure);
    ([(header::SET_COOKIE, set)], StatusCode::NO_CONTENT).into_response()
}

/// The choice of language and units, for this browser alone.
pub(super) fn choices(reader: &Reader) -> Markup {
    let words = reader.language.page();
    html! {
        label.look {
            (words.language) " "
            select #language { @for language in LANGUAGES {
                option value=(language.tag()) lang=(language.tag()) selected[language.tag() == reader.language.tag()] { (language.name()) }
            } }
        }
        label.look {
            (words.units) " "
            select #units { @for (name, word) in Measures::NAMES.iter().zip(words.measures) {
                option value=(name) selected[*name == reader.measures.name()] { (word) }
            } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    #[test]
    fn whoever_has_not_chosen_reads_as_the_site_has_it() {
        let site = Reader { measures: Measures::UsCustomary, ..Reader::here() };
        let readers = Readers::new(&site);
        assert_eq!(readers.all.len(), CHOICES);
        let of = |cookie: &'static str| {
            let headers = HeaderMap::from_iter([(header::COOKIE, HeaderValue::from_static(cookie))]);
            let reader = readers.get(readers.of(&headers));
            (reader.language.tag(), reader.measures)
        };
        assert_eq!(of("a=b"), ("en", Measures::UsCustomary));
        assert_eq!(of("a=b; brimwatch_reader=en.si_bar"), ("en", Measures::SiBar));
        for wrong in ["brimwatch_reader=xx.si", "brimwatch_reader=en", "brimwatch_reader=en.si.si", "brimwatch_reader="]
        {
            assert_eq!(of(wrong), ("en", Measures::UsCustomary), "{wrong}");
        }
    }
}
