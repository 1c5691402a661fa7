//! How it went: curves over one axis of time, with phases above and moments marked through all of them. Every curve
//! has a stroke and a shape of its own and every moment a shape and words, so that it reads in black and white.

use super::{Anchor, Axis, Canvas, Size};
use crate::words::display::number;
use maud::Markup;

/// How a curve is drawn; never by colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stroke {
    /// What is so: broad and pale, behind all others.
    So,
    /// By flow meter: unbroken, with dots.
    Flow,
    /// By scale: long dashes, with squares.
    Scale,
    /// By tank level: short dashes, with triangles.
    Tank,
    /// As one instrument shows it: unbroken and thin.
    Shown,
    /// What would have been: dots, with hollow diamonds.
    Would,
}

impl Stroke {
    fn class(self) -> &'static str {
        match self {
            Stroke::So => "so",
            Stroke::Flow => "flow",
            Stroke::Scale => "scale",
            Stroke::Tank => "tank",
            Stroke::Shown => "shown",
            Stroke::Would => "would",
        }
    }

    fn shape(self, canvas: &mut Canvas, x: f64, y: f64) {
        let class = format!("mark {}", self.class());
        match self {
            Stroke::So | Stroke::Shown => {}
            Stroke::Flow => canvas.circle(&class, x, y, 4.0),
            Stroke::Scale => canvas.block(&class, x - 3.7, y - 3.7, 7.4, 7.4),
            Stroke::Tank => canvas.figure(&class, x, y - 5.0, &[(5.0, 9.0), (-10.0, 0.0)]),
            Stroke::Would => canvas.figure(&class, x, y - 5.0, &[(5.0, 5.0), (-5.0, 5.0), (-5.0, -5.0)]),
        }
    }
}

/// One curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// What it is.
    pub name: String,
    /// How it is drawn.
    pub stroke: Stroke,
    /// When, s, and the value in the panel's unit; None: there was none.
    pub points: Vec<(f64, Option<f64>)>,
}

/// Curves of one kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// What goes up, with its unit.
    pub title: String,
    /// Height of its curves, px.
    pub height: f64,
    /// The axis holds at least this, in the panel's unit.
    pub least: (f64, f64),
    /// Lines that must not be crossed: value and name.
    pub limits: Vec<(f64, String)>,
    /// Before the names of several, which stand as the lines lie: "from above".
    pub above: &'static str,
    /// What is drawn, the hindmost first.
    pub curves: Vec<Curve>,
}

/// What a moment is; each has its own shape and line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkKind {
    /// Something went wrong: a cross.
    Began,
    /// It could be known: a hollow circle.
    Known,
    /// The monitor spoke: a flag.
    Spoke,
    /// Somebody saw: a hollow square.
    Seen,
    /// Somebody acted: a filled square.
    Acted,
    /// A bad end: a filled diamond.
    End,
}

impl MarkKind {
    fn class(self) -> &'static str {
        match self {
            MarkKind::Began => "began",
            MarkKind::Known => "known",
            MarkKind::Spoke => "spoke",
            MarkKind::Seen => "seen",
            MarkKind::Acted => "acted",
            MarkKind::End => "end",
        }
    }
}

/// A moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// What it is.
    pub kind: MarkKind,
    /// When, s; beyond the picture's end it is an arrow there.
    pub at_s: f64,
    /// In words, with its time: short enough for a phone.
    pub words: String,
    /// What stands after them where there is room.
    pub detail: String,
}

/// The whole picture.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeLine {
    /// Stands in the picture itself: "DRILL", or nothing.
    pub stamp: &'static str,
    /// Says the picture to those who cannot see it.
    pub label: String,
    /// From when, s.
    pub from_s: f64,
    /// To when, s.
    pub to_s: f64,
    /// Name of the axis of time, in min.
    pub time: String,
    /// Since when, s, which phase.
    pub phases: Vec<(f64, String)>,
    /// Moments.
    pub marks: Vec<Mark>,
    /// Curves, from above to below.
    pub panels: Vec<Panel>,
}

/// Height of a line of words, px.
const ROW: f64 = 20.0;
/// Height of the strip of phases, px.
const STRIP: f64 = 20.0;
/// Width that a letter takes at most, px: as in the other pictures, of 14 px.
const LETTER: f64 = 0.62 * 14.0;

/// Left and right end of the curves, px.
#[derive(Debug, Clone, Copy)]
struct Across {
    axis: Axis,
    left: f64,
    right: f64,
}

/// Draws it.
#[must_use]
pub fn time_line(line: &TimeLine, size: Size) -> Markup {
    let width = size.pick(860.0, 358.0);
    let (left, right) = (size.pick(58.0, 46.0), width - 6.0);
    let across = Across { axis: Axis::new(line.from_s / 60.0, line.to_s / 60.0, left, right), left, right };
    let rows = |count: usize| count as f64 * ROW;
    let marks_top = ROW + 2.0;
    let strip_top = marks_top + rows(line.marks.len()) + 2.0;
    let first = strip_top + STRIP + 8.0;
    let heights: f64 = line.panels.iter().map(|panel| panel_height(panel, size)).sum();
    let bottom = first + heights;
    let mut canvas = Canvas::new(size, width, bottom + 2.0 * ROW);
    canvas.text("strong", 0.0, 15.0, Anchor::Start, line.stamp);
    // First, so that words and curves stand before them.
    for (row, mark) in line.marks.iter().enumerate().filter(|(_, mark)| mark.at_s <= line.to_s) {
        let (x, y) = (across.axis.at(mark.at_s / 60.0), marks_top + rows(row) + ROW / 2.0);
        canvas.line(&format!("moment {}", mark.kind.class()), x, y, 0.0, bottom - y);
    }
    phases(&mut canvas, line, across, strip_top);
    let mut top = first;
    for panel in &line.panels {
        draw_panel(&mut canvas, panel, across, top);
        top += panel_height(panel, size);
    }
    for (row, mark) in line.marks.iter().enumerate() {
        draw_mark(&mut canvas, mark, line, across, marks_top + rows(row) + ROW / 2.0);
    }
    for tick in across.axis.ticks(size.pick(10, 5)) {
        canvas.text("quiet", across.axis.at(tick), bottom + 15.0, Anchor::Middle, &shown(tick, across.axis));
    }
    canvas.text("quiet", right, bottom + 33.0, Anchor::End, &line.time);
    canvas.finish(&line.label)
}

fn phases(canvas: &mut Canvas, line: &TimeLine, across: Across, top: f64) {
    for (at, (from_s, name)) in line.phases.iter().enumerate() {
        let to_s = line.phases.get(at + 1).map_or(line.to_s, |(s, _)| *s);
        let (from, to) = (across.axis.at(from_s / 60.0), across.axis.at(to_s / 60.0));
        canvas.block("phase", from, top, to - from, STRIP);
        if to - from > LETTER * name.chars().count() as f64 {
            canvas.text("quiet", (from + to) / 2.0, top + 15.0, Anchor::Middle, name);
        }
    }
}

/// On a phone each name of a curve has a line of its own where there are many.
fn names_in_a_row(size: Size) -> usize {
    size.pick(5, 2)
}

fn panel_height(panel: &Panel, size: Size) -> f64 {
    let names = panel.curves.len().div_ceil(names_in_a_row(size)) + limit_rows(panel, size).len();
    ROW * (1.0 + names as f64) + panel.height + 16.0
}

/// Names of the limits as they lie, the highest first, in rows that fit: the lines themselves may lie too close together for
/// a name at each.
fn limit_rows(panel: &Panel, size: Size) -> Vec<String> {
    let mut limits: Vec<&(f64, String)> = panel.limits.iter().collect();
    limits.sort_by(|a, b| b.0.total_cmp(&a.0));
    let fit = size.pick(860.0, 358.0) - 36.0;
    let mut rows: Vec<String> = Vec::new();
    for (_, name) in limits {
        match rows.last_mut() {
            Some(row) if LETTER * (row.chars().count() + 2 + name.chars().count()) as f64 <= fit => {
                row.push_str(", ");
                row.push_str(name);
            }
            Some(row) => {
                row.push(',');
                rows.push(name.clone());
            }
            None if panel.limits.len() > 1 => rows.push(format!("{}: {name}", panel.above)),
            None => rows.push(name.clone()),
        }
    }
    rows
}

fn draw_panel(canvas: &mut Canvas, panel: &Panel, across: Across, top: f64) {
    canvas.text("name", 0.0, top + 14.0, Anchor::Start, &panel.title);
    let in_a_row = names_in_a_row(canvas.size);
    let pitch = canvas.width / canvas.size.pick(5.0, 2.0);
    for (at, curve) in panel.curves.iter().enumerate() {
        let (x, y) = ((at % in_a_row) as f64 * pitch, top + ROW * (1.0 + (at / in_a_row) as f64) + 9.0);
        canvas.line(&format!("curve {}", curve.stroke.class()), x, y, 30.0, 0.0);
        curve.stroke.shape(canvas, x + 15.0, y);
        canvas.text("quiet", x + 36.0, y + 5.0, Anchor::Start, &curve.name);
    }
    let named = panel.curves.len().div_ceil(in_a_row);
    for (at, row) in limit_rows(panel, canvas.size).iter().enumerate() {
        let y = top + ROW * (1.0 + (named + at) as f64) + 9.0;
        if at == 0 {
            canvas.line("limit", 0.0, y, 30.0, 0.0);
        }
        canvas.text("strong", 36.0, y + 5.0, Anchor::Start, row);
    }
    let head = panel_height(panel, canvas.size) - panel.height - 8.0;
    let (high, low) = (top + head, top + head + panel.height);
    let axis = up(panel, low, high);
    for tick in axis.ticks(if panel.height > 120.0 { 5 } else { 3 }) {
        canvas.line("grid", across.left, axis.at(tick), across.right - across.left, 0.0);
        canvas.text("quiet", across.left - 6.0, axis.at(tick) + 5.0, Anchor::End, &shown(tick, axis));
    }
    for (at, curve) in panel.curves.iter().enumerate() {
        let pixels = |&(s, value): &(f64, Option<f64>)| value.map(|v| (across.axis.at(s / 60.0), axis.at(v)));
        let points: Vec<Option<(f64, f64)>> = curve.points.iter().map(pixels).collect();
        canvas.curve(&format!("curve {}", curve.stroke.class()), &points);
        shapes(canvas, curve.stroke, &points, across, at as f64 / panel.curves.len() as f64);
    }
    for (value, _) in &panel.limits {
        canvas.line("limit", across.left, axis.at(*value), across.right - across.left, 0.0);
    }
}

/// From the lowest to the highest of all that is drawn.
fn up(panel: &Panel, low: f64, high: f64) -> Axis {
    let values = panel.curves.iter().flat_map(|curve| curve.points.iter().filter_map(|(_, value)| *value));
    let all = values.chain(panel.limits.iter().map(|(value, _)| *value)).filter(|value| value.is_finite());
    let (least, most) = all.fold(panel.least, |(least, most), value| (least.min(value), most.max(value)));
    Axis::new(least, least + 1.05 * (most - least), low, high)
}

/// Shapes along a curve, those of each curve at other places.
fn shapes(canvas: &mut Canvas, stroke: Stroke, points: &[Option<(f64, f64)>], across: Across, shift: f64) {
    let pitch = (across.right - across.left) / canvas.size.pick(6.0, 3.0);
    let mut next = across.left + pitch * (0.2 + shift);
    for &(x, y) in points.iter().flatten() {
        if x >= next {
            stroke.shape(canvas, x, y);
            next += pitch * ((x - next) / pitch + 1.0).floor();
        }
    }
}

/// The shape on a row of its own, and words beside it where they have room.
fn draw_mark(canvas: &mut Canvas, mark: &Mark, line: &TimeLine, across: Across, y: f64) {
    let x = across.axis.at(mark.at_s / 60.0);
    let beyond = mark.at_s > line.to_s;
    let sign = format!("sign {}", mark.kind.class());
    match mark.kind {
        _ if beyond => canvas.figure("sign arrow", x, y, &[(-12.0, -6.0), (0.0, 12.0)]),
        MarkKind::Began => {
            canvas.line(&sign, x - 6.0, y - 6.0, 12.0, 12.0);
            canvas.line(&sign, x - 6.0, y + 6.0, 12.0, -12.0);
        }
        MarkKind::Known => canvas.circle(&sign, x, y, 6.0),
        MarkKind::Spoke => canvas.figure(&sign, x, y - 7.0, &[(13.0, 5.0), (-13.0, 5.0)]),
        MarkKind::Seen | MarkKind::Acted => canvas.block(&sign, x - 5.5, y - 5.5, 11.0, 11.0),
        MarkKind::End => canvas.figure(&sign, x, y - 8.0, &[(8.0, 8.0), (-8.0, 8.0), (-8.0, -8.0)]),
    }
    let wide = |words: &str| LETTER * words.chars().count() as f64;
    let (before, after) = (x - 16.0, canvas.width - x - 18.0);
    let whole = format!("{}{}", mark.words, mark.detail);
    let words = if wide(&whole) <= before.max(after) { &whole } else { &mark.words };
    let (anchor, x) =
        if wide(words) <= after || after > before { (Anchor::Start, x + 18.0) } else { (Anchor::End, x - 16.0) };
    canvas.text("strong", x, y + 5.0, anchor, words);
}

/// A round value of an axis with as many decimals as its steps need.
fn shown(tick: f64, axis: Axis) -> String {
    let span = axis.high - axis.low;
    number(
        tick,
        if span < 1.0 {
            2
        } else if span < 6.0 {
            1
        } else {
            0
        },
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(size: Size) -> String {
        let curve = |stroke, name: &str| Curve {
            name: name.to_owned(),
            stroke,
            points: (0..300).map(|i| (f64::from(i) * 10.0, (i != 100).then_some(f64::from(i)))).collect(),
        };
        let panel = Panel {
            title: "received, kg".to_owned(),
            height: 160.0,
            least: (0.0, 10.0),
            limits: vec![(320.0, "not more than 320".to_owned())],
            above: "from above",
            curves: vec![curve(Stroke::So, "as it is"), curve(Stroke::Scale, "by scale")],
        };
        let mark = |kind, at_s, words: &str| Mark { kind, at_s, words: words.to_owned(), detail: String::new() };
        let line = TimeLine {
            stamp: "DRILL",
            label: "how it went".to_owned(),
            from_s: -100.0,
            to_s: 3000.0,
            time: "min".to_owned(),
            phases: vec![(-100.0, "opened".to_owned()), (0.0, "transfer".to_owned())],
            marks: vec![mark(MarkKind::Began, 600.0, "it began"), mark(MarkKind::End, 9000.0, "bad end at 150:00")],
            panels: vec![panel],
        };
        time_line(&line, size).into_string()
    }

    /// Lines that lie so close that names beside them would cover each other: named once, as they lie, each name whole.
    #[test]
    fn limits_close_together_are_named_as_they_lie() {
        let limits = [(4.4, "critical high 4.40 m"), (3.9, "maximum working 3.90 m"), (4.1, "high-high 4.10 m")];
        let limits = limits.map(|(m, name)| (m, name.to_owned())).to_vec();
        let (title, curves) = ("level, m".to_owned(), Vec::new());
        let panel = Panel { title, height: 110.0, least: (0.0, 1.0), limits, above: "from above", curves };
        let wide = limit_rows(&panel, Size::Wide);
        assert_eq!(wide, ["from above: critical high 4.40 m, high-high 4.10 m, maximum working 3.90 m"]);
        let narrow = limit_rows(&panel, Size::Narrow);
        assert_eq!(narrow.join(" "), wide[0]);
        assert!(narrow.iter().all(|row| LETTER * row.chars().count() as f64 <= 358.0 - 36.0), "{narrow:?}");
    }

    #[test]
    fn every_curve_and_moment_has_a_shape_and_words() {
        for size in [Size::Wide, Size::Narrow] {
            let svg = drawn(size);
            for part in [
                "DRILL",
                "it began",
                "sign began",
                "bad end at 150:00",
                "sign arrow",
                "not more than 320",
                "by scale",
                "mark scale",
                "transfer",
                "aria-label=\"how it went\"",
            ] {
                assert!(svg.contains(part), "{size:?}: {part}");
            }
            // A gap parts a curve in two.
            let scale = svg.split("class=\"curve scale\" d=\"").nth(2).and_then(|rest| rest.split('"').next());
            assert_eq!(scale.map(|path| path.matches('M').count()), Some(2), "{size:?}");
        }
    }
}
