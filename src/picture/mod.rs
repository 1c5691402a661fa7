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

/// A line may pass a point that is left out of it at so many tenths of a pixel above or below: a sixteenth of the line's own
/// width.
const BESIDE: f64 = 1.5;

/// Those of the points that a line through all of them needs, the first and the last among them.
fn knots(points: &[(i32, i32)]) -> Vec<(i32, i32)> {
    let mut kept: Vec<(i32, i32)> = points.first().copied().into_iter().collect();
    // Slopes from the last knot that pass all points behind it.
    let (mut least, mut most) = (f64::NEG_INFINITY, f64::INFINITY);
    for pair in points.windows(2) {
        let from = |(x, y): (i32, i32), knot: (i32, i32)| (f64::from(x - knot.0), f64::from(y - knot.1));
        let Some(&knot) = kept.last() else { break };
        let (dx, dy) = from(pair[1], knot);
        if dx <= 0.0 || dy < least * dx || dy > most * dx {
            if knot != pair[0] {
                kept.push(pair[0]);
            }
            (least, most) = (f64::NEG_INFINITY, f64::INFINITY);
        }
        let (dx, dy) = from(pair[1], *kept.last().unwrap_or(&knot));
        if dx > 0.0 {
            least = least.max((dy - BESIDE) / dx);
            most = most.min((dy + BESIDE) / dx);
        } else if kept.last() != Some(&pair[1]) {
            // Straight up or back: no slope says it.
            kept.push(pair[1]);
        }
    }
    kept.extend(points.last().filter(|last| kept.last() != Some(last)));
    kept
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

    /// Lines all of one kind as one shape: those of a grid.
    fn lines(&mut self, class: &str, lines: impl Iterator<Item = [f64; 4]>) {
        let steps = lines.map(|line| line.map(tenths)).map(|[x, y, dx, dy]| format!("M{x} {y}l{dx} {dy}"));
        let _ = write!(self.body, r#"<path class="{class}" d="{}"/>"#, steps.collect::<String>());
    }

    /// A line through points; where there is none it is broken. Points that nobody could tell from the straight line
    /// between two others are left out.
    fn curve(&mut self, class: &str, points: &[Option<(f64, f64)>]) {
        let mut path = String::new();
        for run in points.split(Option::is_none) {
            let run: Vec<(i32, i32)> = run.iter().flatten().map(|(x, y)| (tenths(*x), tenths(*y))).collect();
            let knots = knots(&run);
            path.extend(knots.first().map(|(x, y)| format!("M{x} {y}")));
            // Each step from where the one before ended: nothing adds up.
            for pair in knots.windows(2) {
                let _ = write!(path, "l{} {}", pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
            }
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

    /// One that holds these values and moves only by whole steps, a twelfth to an eighth of them: a grid that slides at each
    /// frame is hard to read, and is drawn anew each time.
    fn still(low: f64, high: f64, from: f64, to: f64) -> Axis {
        let span = high - low;
        if !span.is_finite() || span <= 0.0 {
            return Axis::new(low, high, from, to);
        }
        let decade = 10f64.powf((span / 8.0).log10().floor());
        let steps = [7.0, 5.0, 3.0, 2.0, 1.5].map(|step| step * decade);
        let step = steps.into_iter().find(|step| 8.0 * step <= span).unwrap_or(decade);
        let low = (low / step).floor() * step;
        // One more than the span takes: so many as it has, whatever step it begins at.
        Axis::new(low, low + ((span / step).ceil() + 1.0) * step, from, to)
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

    /// A load that comes in moves its axis not at one frame in six, and never leaves it.
    #[test]
    fn a_still_axis_holds_its_values_and_seldom_moves() {
        for span in [11.0, 95.0, 370.0, 4_000.0] {
            let (mut moved, mut before) = (0, None);
            for second in 0..200 {
                let low = 12_345.6 + 0.013 * span * f64::from(second);
                let axis = Axis::still(low, low + span, 0.0, 1.0);
                assert!(axis.low <= low && axis.high >= low + span, "{axis:?} {low}");
                assert!(axis.high - axis.low <= 1.25 * span, "{axis:?} of {span}");
                moved += u32::from(before.is_some_and(|before| before != (axis.low, axis.high)));
                before = Some((axis.low, axis.high));
            }
            assert!(moved <= 200 / 6, "{span}: {moved}");
        }
        let nothing = Axis::still(5.0, 5.0, 0.0, 1.0);
        assert!(nothing.low < nothing.high);
        assert!(Axis::still(f64::NAN, 1.0, 0.0, 1.0).ticks(5).is_empty());
    }

    /// The line that is drawn passes every point within what nobody sees, and a straight one has two.
    #[test]
    fn a_curve_keeps_the_points_that_it_needs() {
        let straight: Vec<(i32, i32)> = (0..500).map(|x| (4 * x, 3 * x + x % 2)).collect();
        assert_eq!(knots(&straight), [straight[0], straight[499]]);
        let mut state = 7_u32;
        let mut noise = |most: u32| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            i32::try_from((state >> 16) % most).unwrap_or(0)
        };
        for most in [1, 2, 5, 40] {
            let points: Vec<(i32, i32)> = (0_i32..400).map(|x| (3 * x, (x - 200).pow(2) / 50 + noise(most))).collect();
            let knots = knots(&points);
            assert!(most > 2 || knots.len() < points.len() / 2, "{} of {}", knots.len(), points.len());
            for (x, y) in &points {
                let after = knots.iter().position(|knot| knot.0 >= *x).expect("the last is kept").max(1);
                let ((x0, y0), (x1, y1)) = (knots[after - 1], knots[after]);
                let on_line = f64::from(y0) + f64::from(y1 - y0) * f64::from(x - x0) / f64::from(x1 - x0);
                assert!((on_line - f64::from(*y)).abs() <= BESIDE + 1e-9, "{x} {y} of {most}: {on_line}");
            }
        }
        let up_and_back = [(0, 0), (0, 90), (10, 90), (5, 40), (5, 40)];
        assert_eq!(knots(&up_and_back), up_and_back[..4]);
        assert!(knots(&[]).is_empty() && knots(&[(1, 1)]) == [(1, 1)]);
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
