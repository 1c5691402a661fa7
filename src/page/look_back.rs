//! A stretch of the delivery so far, drawn when somebody asks for it: no part of the frames.

use super::feed::Published;
use super::reader::Reader;
use crate::engine::frame::WitnessId;
use crate::picture::{self, Instant, Past, Size, Window};
use crate::time::WallTime;
use crate::words::Scene;
use crate::words::display::{hh_mm, hh_mm_ss};
use crate::words::measures::Shown;
use maud::{Markup, html};
use serde::Deserialize;

/// The shortest stretch shown, s.
const SHORTEST_S: f64 = 120.0;
/// Lines of the table.
const LINES: usize = 13;

/// What is asked for: s since 1970. Without both the whole delivery.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Asked {
    from_s: Option<f64>,
    to_s: Option<f64>,
}

/// All that is kept, at least the shortest stretch long.
fn whole(past: &Past) -> Option<Window> {
    let (first, last) = (past.instants().first()?.0, past.instants().last()?.0);
    Some(Window { from_s: first, to_s: last.max(first + SHORTEST_S) })
}

/// What is shown: never outside of what is kept, never shorter than the shortest.
fn shown(whole: Window, asked: Asked) -> Window {
    let (Some(from), Some(to)) = (asked.from_s, asked.to_s) else { return whole };
    if !from.is_finite() || !to.is_finite() {
        return whole;
    }
    let length = (to - from).clamp(SHORTEST_S, whole.to_s - whole.from_s);
    let from_s = from.clamp(whole.from_s, whole.to_s - length);
    Window { from_s, to_s: from_s + length }
}

/// Where each button leads from here: earlier, later, closer, wider. `None`: nothing lies there.
fn ways(whole: Window, shown: Window) -> [Option<String>; 4] {
    let (length, middle) = (shown.to_s - shown.from_s, (shown.from_s + shown.to_s) / 2.0);
    let query = |from: f64, to: f64| format!("?from_s={from:.0}&to_s={to:.0}");
    let part = length < whole.to_s - whole.from_s - 1.0;
    let (step, half) = (length / 2.0, length / 4.0);
    [
        (shown.from_s > whole.from_s + 1.0).then(|| query(shown.from_s - step, shown.to_s - step)),
        (shown.to_s < whole.to_s - 1.0).then(|| query(shown.from_s + step, shown.to_s + step)),
        (length > SHORTEST_S + 1.0).then(|| query(middle - half, middle + half)),
        part.then(|| query(middle - length, middle + length)),
    ]
}

/// The stretch as pictures and as figures, with the ways on as attributes of its element.
pub(super) fn fragment(published: &Published, asked: Asked, reader: &Reader) -> Markup {
    let words = reader.language.page();
    let (past, scene) = (&*published.past, reader.scene(published));
    let Some(whole) = whole(past) else { return html! { div { p { (words.nothing_kept) } } } };
    let window = shown(whole, asked);
    let [earlier, later, closer, wider] = ways(whole, window);
    let at = |s: f64| WallTime((s * 1e9) as i64);
    html! {
        div data-earlier=[earlier] data-later=[later] data-closer=[closer] data-wider=[wider] {
            p { (hh_mm_ss(at(window.from_s), &reader.zone)) " \u{2013} " (hh_mm_ss(at(window.to_s), &reader.zone)) }
            (picture::look_back(scene, past, reader.language, window, Size::Wide))
            (picture::look_back(scene, past, reader.language, window, Size::Narrow))
            (happened(past, window, reader))
            (figures(past, window, scene, reader))
        }
    }
}

/// What happened in the stretch, in words.
fn happened(past: &Past, window: Window, reader: &Reader) -> Markup {
    let words = reader.language.page();
    let inside = past.moments().iter().filter(|(s, _)| (window.from_s..=window.to_s).contains(s));
    let said: Vec<String> = inside
        .map(|(s, kind)| {
            let at = WallTime((s * 1e9) as i64);
            format!("{} {}", hh_mm_ss(at, &reader.zone), kind.said(words))
        })
        .collect();
    html! {
        @if !said.is_empty() {
            h3 { (words.happened) }
            ul { @for line in said { li { (line) } } }
        }
    }
}

/// A few instants of the stretch as a table: the picture for those who cannot see it.
fn figures(past: &Past, window: Window, scene: Scene<'_>, reader: &Reader) -> Markup {
    let (labels, words) = (reader.language.labels(), reader.language.page());
    let inside: Vec<&(f64, Instant)> =
        past.instants().iter().filter(|(s, _)| (window.from_s..=window.to_s).contains(s)).collect();
    let every = inside.len().div_ceil(LINES).max(1);
    let shown = |shown, si: Option<f32>| {
        si.map_or_else(|| "\u{2013}".to_owned(), |si| scene.measures.figure(shown, f64::from(si)))
    };
    let unit = |shown| reader.language.unit(scene.measures.unit_word(shown));
    let tank = reader.language.filled_tank(scene).unwrap_or_default();
    html! {
        h3 { (words.in_figures) }
        div.scroll tabindex="0" role="region" aria-label=(words.in_figures) {
            table {
                caption { (tank) " " (labels.contents) ", " (unit(Shown::LargeMass)) }
                thead { tr {
                    th scope="col" { (words.time) }
                    @for id in [WitnessId::Flow, WitnessId::Scale, WitnessId::Tank] {
                        th scope="col" { (reader.language.witness(id)) }
                    }
                    th scope="col" { (labels.pad) ", " (unit(Shown::GaugePressure)) }
                } }
                tbody {
                    @for (s, instant) in inside.into_iter().step_by(every) {
                        tr {
                            @let at = WallTime((s * 1e9) as i64);
                            th scope="row" { (hh_mm(at, at, &reader.zone)) }
                            @for kg in instant.by_kg { td { (shown(Shown::LargeMass, kg)) } }
                            td { (shown(Shown::GaugePressure, instant.pad_pa_gauge)) }
                        }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHOLE: Window = Window { from_s: 1000.0, to_s: 5000.0 };

    /// A day at one frame a second stays bounded, with its begin and end; a gap and an alarm are there once; another
    /// delivery begins anew.
    #[test]
    fn the_past_is_bounded_and_of_one_delivery() {
        let mut frame = crate::page::scenes::everything_at_once().frame;
        let mut past = Past::default();
        for s in 0..86_400_u64 {
            frame.at = crate::time::EngineTime(s * crate::time::SECOND_NS);
            past.take(&frame);
        }
        let (first, last) = (past.instants()[0].0, past.instants()[past.instants().len() - 1].0);
        assert!(
            past.instants().len() <= 2400 && past.moments().len() <= 10,
            "{} {}",
            past.instants().len(),
            past.moments().len()
        );
        assert!((last - first - 86_399.0).abs() < 64.0, "{first} {last}");
        if let Some(delivery) = &mut frame.delivery {
            delivery.id = "0418".into();
        }
        past.take(&frame);
        assert_eq!(past.instants().len(), 1);
    }

    /// Every way leads to something else, and no address leads out of what is kept.
    #[test]
    fn ways_stay_inside_of_what_is_kept() {
        let asked = |from: f64, to: f64| shown(WHOLE, Asked { from_s: Some(from), to_s: Some(to) });
        assert_eq!(asked(f64::NAN, 1.0), WHOLE);
        assert_eq!(asked(0.0, 1e300), WHOLE);
        assert_eq!(asked(4990.0, 4991.0), Window { from_s: 4880.0, to_s: 5000.0 });
        assert_eq!(asked(3000.0, 2000.0), Window { from_s: 3000.0, to_s: 3120.0 });
        let none = ways(WHOLE, WHOLE).map(|way| way.is_some());
        assert_eq!(none, [false, false, true, false]);
        let [earlier, later, closer, wider] = ways(WHOLE, asked(2000.0, 3000.0));
        assert_eq!(earlier.as_deref(), Some("?from_s=1500&to_s=2500"));
        assert_eq!(later.as_deref(), Some("?from_s=2500&to_s=3500"));
        assert_eq!(closer.as_deref(), Some("?from_s=2250&to_s=2750"));
        assert_eq!(wider.as_deref(), Some("?from_s=1500&to_s=3500"));
    }
}
