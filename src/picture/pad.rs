//! The trailer's pressure as a strip whose length is the meaning.

use super::{Anchor, Axis, Canvas, Size};
use crate::engine::frame::CeilingBy;
use crate::words::measures::Shown;
use crate::words::{Language, Scene};
use maud::Markup;

/// In which band the trailer is worked.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Worked {
    /// Usual pressure of the site file, Pa gauge.
    pub usual_pa_gauge: Option<f64>,
    /// Band that it is worked in by the site file, Pa gauge: lower and upper end.
    pub band_pa_gauge: Option<(f64, f64)>,
    /// Lowest and highest of the last quarter of an hour, Pa gauge.
    pub lately_pa_gauge: Option<(f64, f64)>,
}

/// Pressure on the trailer from zero gauge, with its ceiling, its MAWP and the window in which its relief valve
/// starts to discharge. What is not set or not known is missing from the strip and said beside it.
#[must_use]
pub fn pad(scene: Scene<'_>, worked: Worked, language: &dyn Language, size: Size) -> Markup {
    let width = size.pick(1232.0, 358.0);
    let (top, height) = (20.0, 26.0);
    let pad = &scene.frame.pad;
    let labels = language.labels();
    let shown = |pa| scene.measures.figure(Shown::GaugePressure, pa);
    let marks = [pad.pressure_pa_gauge, pad.ceiling_pa_gauge, pad.mawp_pa_gauge, pad.relief_to_pa_gauge];
    let highest = marks.into_iter().flatten().filter(|p| p.is_finite()).fold(0.0, f64::max);
    // With nothing known the strip still has a length: one bar.
    let axis = Axis::new(0.0, if highest > 0.0 { highest * 1.06 } else { 1e5 }, 0.0, width);
    let mut canvas = Canvas::new(size, width, top + height + 20.0);
    canvas.block("gutter", 0.0, top, width, height);
    if let (Some(from), Some(to)) = (pad.relief_from_pa_gauge, pad.relief_to_pa_gauge) {
        canvas.block("relief", axis.at(from), top, axis.at(to) - axis.at(from), height);
    }
    let above = matches!((pad.pressure_pa_gauge, pad.ceiling_pa_gauge), (Some(p), Some(c)) if p > c);
    if let Some(p) = pad.pressure_pa_gauge {
        // To a whole pixel: the figure is written above it.
        canvas.block(if above { "fill act" } else { "fill" }, 0.0, top, axis.at(p).round(), height);
    }
    below(&mut canvas, scene, language, axis, top + height);
    worked_in(&mut canvas, scene, worked, language, (axis, top));
    if let Some(c) = pad.ceiling_pa_gauge {
        let by = pad.ceiling_by.map_or_else(String::new, |by| format!(" ({})", language.ceiling_by(by)));
        canvas.line("halo", axis.at(c), top, 0.0, height);
        canvas.line("ceiling", axis.at(c), top - 5.0, 0.0, height + 10.0);
        let text = format!("{} {}{by}", labels.ceiling, shown(c));
        let x = (axis.at(c) + 2.0).max(room_for(&text));
        canvas.text("strong", x, top - 8.0, Anchor::End, &text);
    } else {
        canvas.text("strong act", width, top - 8.0, Anchor::End, labels.ceiling_not_set);
    }
    canvas.finish(labels.pad)
}

/// Where it is usually worked, a rim below the strip, and the band of the last quarter of an hour, a rim above it.
fn worked_in(canvas: &mut Canvas, scene: Scene<'_>, worked: Worked, language: &dyn Language, (axis, top): (Axis, f64)) {
    if let Some((low, high)) = worked.band_pa_gauge {
        canvas.block("lately", axis.at(low), top + 26.0, axis.at(high) - axis.at(low), 4.0);
    }
    if let Some((low, high)) = worked.lately_pa_gauge {
        let (from, to) = (axis.at(low).round(), axis.at(high).round());
        canvas.block("lately", from, top - 4.0, (to - from).max(3.0), 4.0);
    }
    let shown = |pa| scene.measures.figure(Shown::GaugePressure, pa);
    if let Some(pa) = worked.usual_pa_gauge {
        let x = axis.at(pa);
        canvas.line("halo thin", x, top, 0.0, 26.0);
        canvas.line("limit", x, top - 4.0, 0.0, 34.0);
    }
    let band = worked.band_pa_gauge.map(|(low, high)| (high, format!("{}\u{2013}{}", shown(low), shown(high))));
    if let Some((pa, figure)) = band.or_else(|| worked.usual_pa_gauge.map(|pa| (pa, shown(pa)))) {
        let x = axis.at(pa);
        let text = format!("{} {figure}", language.page().usual);
        // Between "0" and the name of MAWP, where it has room there.
        let free_to = scene.frame.pad.mawp_pa_gauge.map_or(canvas.width, |pa| axis.at(pa) - 5.0 - room_for("MAWP 000"));
        if x + 5.0 < free_to {
            canvas.text("quiet", x.max(20.0 + room_for(&text)), top + 42.0, Anchor::End, &text);
        }
    }
}

/// The marks whose labels stand under the strip.
fn below(canvas: &mut Canvas, scene: Scene<'_>, language: &dyn Language, axis: Axis, bottom: f64) {
    let pad = &scene.frame.pad;
    let labels = language.labels();
    let shown = |pa| scene.measures.figure(Shown::GaugePressure, pa);
    let row = bottom + 16.0;
    canvas.text("quiet", 0.0, row, Anchor::Start, "0");
    let relief = pad.relief_from_pa_gauge.zip(pad.relief_to_pa_gauge);
    let relief = relief.map(|(from, to)| (to, format!("{} {}\u{2013}{}", labels.relief, shown(from), shown(to))));
    let mut free_to = canvas.width;
    if let Some((to, text)) = &relief {
        let x = canvas.size.pick(axis.at(*to), canvas.width);
        canvas.text("quiet", x, row, Anchor::End, text);
        free_to = x - taken_by(text);
    }
    if let Some(mawp) = pad.mawp_pa_gauge.filter(|_| pad.ceiling_by != Some(CeilingBy::Mawp)) {
        let text = format!("{} {}", labels.mawp, shown(mawp));
        canvas.line("limit", axis.at(mawp), bottom - 30.0, 0.0, canvas.size.pick(46.0, 34.0));
        // Left of its mark, and of what the relief valve's window is called.
        let x = (axis.at(mawp) - 5.0).max(20.0 + taken_by(&text)).min(free_to - 6.0);
        canvas.text("name", x, row, Anchor::End, &text);
    }
}

/// Width that a label takes, px: in words with figures a letter takes 0.5 of its size, 15 px, as chromium draws DejaVu Sans,
/// one of the widest faces.
fn taken_by(text: &str) -> f64 {
    text.chars().map(|_| 0.5 * 15.0).sum()
}

/// Width that a label takes at most, px: no letter of the page's faces is wider than 0.65 of its size, 15 px.
fn room_for(text: &str) -> f64 {
    text.chars().map(|_| 0.65 * 15.0).sum()
}
