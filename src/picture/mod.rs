//! Pictures as SVG: the same functions draw for the page and for papers. Pure.
//!
//! Coordinates are whole tenths of a pixel, paths are relative after their first point; a picture carries
//! classes only and no colour of its own, so dark screens, forced colours and print need no second picture.

mod brim;
mod control;
mod history;
mod masses;
mod pad;
mod past;
mod time_line;
mod trade;

pub use brim::{Window, brim, look_back};
pub use control::{Control, ControlMark, ControlPoint, control};
pub use history::History;
pub use masses::masses;
pub use pad::{Worked, pad};
pub use past::{Happened, Instant, Past};
pub use time_line::{Curve, Mark, MarkKind, Panel, Stroke, TimeLine, time_line};
pub use trade::{TradePoint, trade};

use maud::{Markup, PreEscaped, Render, html};
use serde::Deserialize;
use std::fmt::Write as _;

/// For which width a picture is drawn; its text keeps its size, so that a narrow picture is no shrunk wide one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Size {
    /// A tablet's or a paper's column.
    #[default]
    Wide,
    /// A phone.
    Narrow,
}

impl Size {
    fn class(self) -> &'static str {
        match self {
            Size::Wide => "picture wide",
            Size::Narrow => "picture narrow",
        }
    }

    fn pick<T>(self, wide: T, narrow: T) -> T {
        match self {
            Size::Wide => wide,
            Size::Narrow => narrow,
        }
    }
}

/// Where a text stands against its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Anchor {
    Start,
    Middle,
    End,
}

/// Pixels to whole tenths. What is no finite number is drawn at the edge, never as "NaN".
fn tenths(px: f64) -> i32 {
    if px.is_finite() { (px * 10.0).round().clamp(-1e6, 1e6) as i32 } else { 0 }
}

/// A drawing in the making. All arguments in pixels.
struct Canvas {
    size: Size,
    width: f64,
    height: f64,
    body: String,
}

impl Canvas {
    fn new(size: Size, width: f64, height: f64) -> Canvas {
        Canvas { size, width, height, body: String::new() }
    }

    fn line(&mut self, class: &str, x: f64, y: f64, dx: f64, dy: f64) {
        let _ = write!(
            self.body,
            r#"<path class="{class}" d="M{} {}l{} {}"/>"#,
            tenths(x),
            tenths(y),
            tenths(dx),
            tenths(dy)
        );
    }

    /// A line through points; where there is none it is broken.
    fn curve(&mut self, class: &str, points: &[Option<(f64, f64)>]) {
        let mut path = String::new();
        let mut last: Option<(i32, i32)> = None;
        for point in points {
            let next = point.map(|(x, y)| (tenths(x), tenths(y)));
            match (last, next) {
                // Each step from where the one before ended: nothing adds up.
                (Some((x, y)), Some((to_x, to_y))) => drop(write!(path, "l{} {}", to_x - x, to_y - y)),
                (None, Some((x, y))) => drop(write!(path, "M{x} {y}")),
                (_, None) => {}
            }
            last = next;
        }
        let _ = write!(self.body, r#"<path class="{class}" d="{path}"/>"#);
    }

    fn block(&mut self, class: &str, x: f64, y: f64, width: f64, height: f64) {
        let (x, y, w, h) = (tenths(x), tenths(y), tenths(width).max(0), tenths(height));
        let _ = write!(self.body, r#"<path class="{class}" d="M{x} {y}h{w}v{h}h-{w}z"/>"#);
    }

    /// A closed figure through points given relative to the one before.
    fn figure(&mut self, class: &str, x: f64, y: f64, steps: &[(f64, f64)]) {
        let _ = write!(self.body, r#"<path class="{class}" d="M{} {}"#, tenths(x), tenths(y));
        for (dx, dy) in steps {
            let _ = write!(self.body, "l{} {}", tenths(*dx), tenths(*dy));
        }
        self.body.push_str(r#"z"/>"#);
    }

    fn circle(&mut self, class: &str, x: f64, y: f64, r: f64) {
        let _ =
            write!(self.body, r#"<circle class="{class}" cx="{}" cy="{}" r="{}"/>"#, tenths(x), tenths(y), tenths(r));
    }

    fn text(&mut self, class: &str, x: f64, y: f64, anchor: Anchor, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " middle",
            Anchor::End => " end",
        };
        let _ = write!(self.body, r#"<text class="{class}{anchor}" x="{}" y="{}">"#, tenths(x), tenths(y));
        text.render_to(&mut self.body);
        self.body.push_str("</text>");
    }

    /// The finished picture; `label` says it to those who cannot see it.
    fn finish(self, label: &str) -> Markup {
        let view = format!("0 0 {} {}", tenths(self.width), tenths(self.height));
        html! {
            svg class=(self.size.class()) viewBox=(view) role="img" aria-label=(label) { (PreEscaped(self.body)) }
        }
    }
}

/// A straight axis from values to pixels.
#[derive(Debug, Clone, Copy)]
struct Axis {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
}

impl Axis {
    /// `low < high` is taken care of: an empty range is widened.
    fn new(low: f64, high: f64, from: f64, to: f64) -> Axis {
        let high = if high > low { high } else { low + 1.0 };
        Axis { low, high, from, to }
    }

    /// Pixel of a value; beyond the ends it stays at the end.
    fn at(self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.from + share.clamp(0.0, 1.0) * (self.to - self.from)
    }

    /// Values that are round in a unit of which one is so much here.
    fn ticks_in(self, one: f64, most: usize) -> Vec<f64> {
        let ticks = Axis { low: self.low / one, high: self.high / one, ..self }.ticks(most);
        ticks.into_iter().map(|tick| tick * one).collect()
    }

    /// Round values, 1, 2 or 5 times a power of ten apart, at most `most` of them.
    fn ticks(self, most: usize) -> Vec<f64> {
        let span = self.high - self.low;
        if !span.is_finite() || span <= 0.0 || most == 0 {
            return Vec::new();
        }
        let decade = 10f64.powf((span / 10.0).log10().floor());
        let steps = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0];
        let count = |step: f64| (self.high / step).floor() - (self.low / step).ceil() + 1.0;
        let step = steps.into_iter().map(|s| s * decade).find(|s| count(*s) <= most as f64);
        let Some(step) = step else { return Vec::new() };
        let first = (self.low / step).ceil();
        (0..most)
            .map(|i| (first + f64::from(u32::try_from(i).unwrap_or(0))) * step)
            .take_while(|v| *v <= self.high)
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_few() {
        assert_eq!(Axis::new(12_350.0, 12_720.0, 0.0, 1.0).ticks(5), [12_400.0, 12_500.0, 12_600.0, 12_700.0]);
        assert_eq!(Axis::new(0.0, 1.0, 0.0, 1.0).ticks(3), [0.0, 0.5, 1.0]);
        assert!(Axis::new(f64::NAN, 1.0, 0.0, 1.0).ticks(5).is_empty());
    }

    #[test]
    fn what_is_no_number_is_not_written() {
        let mut canvas = Canvas::new(Size::Wide, 10.0, 10.0);
        canvas.line("x", f64::NAN, f64::INFINITY, 1.0, 0.0);
        canvas.text("x", 1.0, 1.0, Anchor::Start, "<a & b>");
        let svg = canvas.finish("a \"quoted\" label").into_string();
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
        assert!(svg.contains("&lt;a &amp; b&gt;") && svg.contains("&quot;quoted&quot;"));
    }
}
