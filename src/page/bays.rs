//! All bays on one page: each with its sentence, its answers and its alarms, and the whole of it a way to its own page.

use super::feed::{BayFeed, Published};
use super::reader::{self, Reader};
use super::view::{self, STALE_AFTER_MS};
use crate::words::Figure;
use maud::{Markup, html};
use serde::Serialize;
use std::collections::BTreeMap;

/// What the page's script gets.
#[derive(Debug, Serialize)]
pub(super) struct AllBays {
    /// Without another frame a bay is stale after this many ms of machine time.
    stale_after_ms: u32,
    /// Of each bay, by its short name, the number of its frame.
    numbers: BTreeMap<String, u64>,
    /// Of each bay, by its short name, what its card says.
    cards: BTreeMap<String, String>,
}

fn latest(bays: &[BayFeed]) -> impl Iterator<Item = (&str, std::sync::Arc<Published>)> {
    bays.iter().filter_map(|bay| Some((bay.slug.as_str(), bay.latest.borrow().clone()?)))
}

/// Every bay that has said anything.
pub(super) fn live(bays: &[BayFeed], reader: &Reader) -> AllBays {
    AllBays {
        stale_after_ms: STALE_AFTER_MS,
        numbers: latest(bays).map(|(slug, p)| (slug.to_owned(), p.number)).collect(),
        cards: latest(bays).map(|(slug, p)| (slug.to_owned(), card(&p, reader).into_string())).collect(),
    }
}

/// One bay in short. No link and no button stands in it: the whole card is the way.
fn card(published: &Published, reader: &Reader) -> Markup {
    let (labels, language) = (reader.language.labels(), reader.language);
    let scene = reader.scene(published);
    let alarms = view::alarms(published, reader);
    let pad = language.pad(scene);
    html! {
        span.head { (view::head(published, scene, reader)) }
        @if let Some(first) = alarms.first() {
            span.first.acts[first.acts && !first.seen] {
                b { (first.act) } " " (first.care) " " (first.says)
                @if alarms.len() > 1 { " " b { ((language.page().alarms_open)(alarms.len(), alarms.iter().filter(|a| !a.seen).count())) } }
            }
        }
        span.said { (view::headline(published, reader).whole()) }
        span.answers {
            (answer(labels.be_at_valve_by, &language.finish(scene)))
            (answer(labels.margin, &language.margin(scene)))
            (answer(labels.pad, &pad))
        }
    }
}

fn answer(label: &str, figure: &Figure) -> Markup {
    html! {
        span.answer {
            span.quiet { (label) } " "
            b.act[figure.act] { (figure.figure) @if !figure.unit.is_empty() { " " (figure.unit) } }
        }
    }
}

/// The page: a card for each bay.
pub(super) fn page(site: &str, bays: &[BayFeed], reader: &Reader) -> Markup {
    let (language, labels, words) = (reader.language, reader.language.labels(), reader.language.page());
    let known: BTreeMap<&str, Markup> = latest(bays).map(|(slug, p)| (slug, card(&p, reader))).collect();
    let body = html! {
        body.bays data-state="waiting" data-view="bays" {
            header { h1 { (site) } }
            div #state role="status" data-lost=(labels.no_connection) data-stale=(labels.stale) data-since=(labels.stale_since) { (labels.waiting) }
            noscript { p.stale { (labels.no_script) } }
            main tabindex="0" {
                h2 { (labels.bays) }
                @if bays.is_empty() { p { (labels.no_bays) } }
                ul { @for bay in bays {
                    li { a.card href={ "/bay/" (bay.slug) } data-slug=(bay.slug) {
                        @match known.get(bay.slug.as_str()) {
                            Some(card) => (card),
                            None => { span.head { (bay.slug) } span.said { (words.no_word) } }
                        }
                    } }
                } }
                nav.doors {
                    (reader::choices(reader))
                    a.door href="/sign-in" { (reader.language.sign_in(crate::words::SignInWord::Title)) }
                    a.door href="/settings" { (reader.language.settings(crate::words::SettingsWord::Title)) }
                }
            }
            footer { div.advice { p.you { (labels.you_do) } p.cautions { (labels.cautions) " " (language.review()) } } }
        }
    };
    view::document(site, reader, &body)
}
