//! The far view: what must be read across the yard, and nothing else. It never cycles: what is not there is not there,
//! and everything has its place.
//!
//! The four figures, and in alarm the acts, are legible at 8 m on a 24-inch screen (16:9, 299 mm high) that they fill:
//! their capitals stand at least 20 minutes of arc high. NUREG-0700 Rev. 2 (US NRC), guideline 1.3.1-4, prefers 20 to
//! 22 minutes for reading and wants 16 at least, with height = 6.283 x distance x minutes / 21600; ISO 9241-3 gives the
//! same figures. At 8 m that is 46.5 mm, 15.6 % of the screen's height.

use super::feed::Published;
use super::reader::Reader;
use super::view;
use crate::engine::frame::{Phase, VerdictWord};
use crate::words::measures::{Shown, Written};
use crate::words::{Figure, Scene, first_acts_due};
use maud::{Markup, html};
use std::collections::BTreeMap;

/// More than so many letters or figures do not fit a quarter of the screen.
const FITS: usize = 6;

/// Regions of the far view.
pub(super) fn regions(published: &Published, reader: &Reader) -> BTreeMap<&'static str, Markup> {
    let scene = reader.scene(published);
    BTreeMap::from([("head", view::head(published, scene, reader)), ("far", screen(published, scene, reader))])
}

fn screen(published: &Published, scene: Scene<'_>, reader: &Reader) -> Markup {
    let alarms = view::alarms(published, reader);
    let acts = published.frame.alarms.iter().zip(&alarms).find(|(alarm, _)| first_acts_due(alarm.key.id));
    if let Some((_, row)) = acts {
        return acts_alone(row, alarms.len(), reader);
    }
    html! {
        div.quarters {
            @for (name, label, figure) in quarters(scene, reader) { (quarter(name, label, &figure)) }
        }
        @if let Some(first) = alarms.first() {
            p.strip { b { (first.act) } " " (first.says) @if alarms.len() > 1 { " (+" (alarms.len() - 1) ")" } }
        }
    }
}

/// In alarm: what to do, screen-filling, and below it the whole text for those who stand nearer.
fn acts_alone(row: &view::AlarmRow, open: usize, reader: &Reader) -> Markup {
    let words = reader.language.page();
    let [stop, by, gas, clear, upwind] = words.far_acts;
    html! {
        div.acts-alone.seen[row.seen] {
            p { span.huge { (stop) } " " span.near { (by) } }
            p { span.huge { (gas) } }
            p { span.huge { (clear) } " " span.near { (upwind) } }
            p.near { b { (row.care) } }
            p.near { (row.says) " " (row.since) @if open > 1 { " (+" (open - 1) ")" } }
        }
    }
}

fn quarters(scene: Scene<'_>, reader: &Reader) -> [(&'static str, &'static str, Figure); 4] {
    let (language, labels, words) = (reader.language, reader.language.labels(), reader.language.page());
    let pad = &scene.frame.pad;
    let mut pressure = language.pad(scene);
    pressure.lines.insert(
        0,
        pad.ceiling_pa_gauge.map_or_else(
            || labels.ceiling_not_set.to_owned(),
            |pa| format!("{} {}", labels.ceiling, scene.measures.figure(Shown::GaugePressure, pa)),
        ),
    );
    [
        ("valve", labels.be_at_valve_by, language.finish(scene)),
        ("margin", labels.margin, language.margin(scene)),
        ("pressure", words.far_pad, pressure),
        ("agree", words.far_agree, agreement(scene, reader)),
    ]
}

/// Agreement never without what it does not show; anything else in words.
fn agreement(scene: Scene<'_>, reader: &Reader) -> Figure {
    let verdict = &scene.frame.verdict;
    let on = matches!(scene.frame.phase, Phase::Transfer | Phase::Closed);
    let said = reader.language.headline(scene, false);
    match verdict.agree_within_kg.filter(|_| on && verdict.word == VerdictWord::Agree) {
        Some(kg) => {
            let Written { figure, unit } = scene.measures.show_mass_up(kg);
            Figure { figure, unit: reader.language.unit(unit), act: false, lines: vec![said.beyond] }
        }
        None => Figure { figure: "\u{2013}".into(), lines: vec![said.says], ..Figure::default() },
    }
}

/// A figure as large as a quarter of the screen holds; a word that does not fit stands below a question mark.
fn quarter(name: &str, label: &str, figure: &Figure) -> Markup {
    let fits = figure.figure.chars().count() <= FITS;
    html! {
        section id={ "far-" (name) } {
            h2 { (label) }
            p.huge.act[figure.act] {
                @if fits { (figure.figure) @if !figure.unit.is_empty() { span.unit { " " (figure.unit) } } } @else { "?" }
            }
            @if !fits { p.near { b { (figure.figure) } } }
            @if let Some(line) = figure.lines.first() { p.near { (line) } }
        }
    }
}

/// The page itself.
pub(super) fn page(site: &str, slug: &str, published: Option<&Published>, reader: &Reader) -> Markup {
    let labels = reader.language.labels();
    let mut regions = published.map(|p| regions(p, reader)).unwrap_or_default();
    let mut region = |id: &'static str| regions.remove(id).unwrap_or_default();
    let body = html! {
        body.far data-state="waiting" data-bay=(slug) data-view="far" {
            header { h1 #head { (region("head")) } }
            div #state role="status" data-stale=(labels.stale) data-since=(labels.stale_since)
                data-lost=(labels.no_connection) { (labels.waiting) }
            noscript { p.stale { (labels.no_script) } }
            main #far tabindex="0" { (region("far")) }
            footer {
                button #sound type="button" data-heard="no" data-on=(labels.sound_test) data-off=(labels.sound_off) { (labels.sound_off) }
                p.you { (labels.you_do) }
                p.quiet { (reader.language.review()) }
                (view::look(reader.language.page()))
                a.door href={ "/bay/" (slug) } { (reader.language.page().near) }
            }
        }
    };
    view::document(site, reader, &body)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::scenes;
    use jiff::tz::TimeZone;

    fn told(published: &Published) -> String {
        let reader = Reader { zone: TimeZone::UTC, ..Reader::here() };
        let html = regions(published, &reader)["far"].clone().into_string();
        let mut text = String::new();
        let mut inside = false;
        for c in html.chars() {
            match c {
                '<' => inside = true,
                '>' => inside = false,
                c if !inside => text.push(c),
                _ => {}
            }
        }
        text.to_lowercase()
    }

    /// The acts fill the screen, in their order, before what is known; no figure stands beside them.
    #[test]
    fn in_alarm_the_acts_come_first_and_alone() {
        let acts = [
            "stop",
            "emergency stop or remote valve",
            "shut the gas",
            "keep clear and upwind",
            "look only from a distance, in the required protection",
            "touch or tighten nothing under pressure",
            "has tripped",
        ];
        let text = told(&scenes::everything_at_once());
        let mut from = 0;
        for act in acts {
            from += text[from..].find(act).unwrap_or_else(|| panic!("{act}: {text}"));
        }
        assert!(!text.contains("14:29"), "{text}");
    }

    #[test]
    fn agreement_says_what_it_does_not_show() {
        let text = told(&scenes::agree());
        for part in ["14:29", "3.1", "118", "ceiling 172", "42", "would not be seen"] {
            assert!(text.contains(part), "{part}: {text}");
        }
        assert!(told(&scenes::lost_signals()).contains("not known"));
    }
}
