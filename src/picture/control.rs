//! A control chart: differences delivery by delivery, where their average stands now, and the sums that show a lasting
//! change. Each kind of point has a shape of its own, and what was found is written beside its line.

use super::{Anchor, Axis, Canvas, Size};
use crate::words::display::number;
use maud::Markup;

/// One delivery.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ControlPoint {
    /// Difference of the two instruments, kg.
    pub kg: f64,
    /// The chart only learned from it.
    pub taught: bool,
    /// Far off: it counts as less than it is.
    pub far_off: bool,
    /// Average, in standard deviations.
    pub ewma: f64,
    /// Its limits to both sides of zero.
    pub ewma_limit: f64,
    /// Sum above.
    pub high: f64,
    /// Sum below.
    pub low: f64,
}

/// A lasting change.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlMark {
    /// Place of the first delivery that is off.
    pub from: usize,
    /// Place of the last one.
    pub to: usize,
    /// What is written beside it.
    pub words: String,
}

/// All of a chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Control {
    /// Deliveries, oldest first.
    pub points: Vec<ControlPoint>,
    /// Day of each delivery.
    pub days: Vec<String>,
    /// Usual difference, kg.
    pub usual_kg: f64,
    /// Decision limit of the sums.
    pub limit: f64,
    /// They stop here.
    pub cap: f64,
    /// What was found.
    pub marks: Vec<ControlMark>,
}

/// Three strips above each other: kg, average, sums.
struct Strips {
    kg: Axis,
    ewma: Axis,
    sums: Axis,
}

/// Half a point's size, px.
const POINT: f64 = 3.0;

/// Draws a chart; `label` says it to those who cannot see it.
#[must_use]
pub fn control(chart: &Control, label: &str, size: Size) -> Markup {
    let (width, left) = size.pick((860.0, 58.0), (358.0, 50.0));
    let right = width - 8.0;
    let mut canvas = Canvas::new(size, width, 420.0);
    #[expect(clippy::cast_precision_loss, reason = "a count of deliveries")]
    let across = Axis::new(-0.5, chart.points.len() as f64 - 0.5, left, right);
    let strips = Strips {
        kg: kg_axis(chart),
        ewma: Axis::new(-ewma_end(chart), ewma_end(chart), 270.0, 204.0),
        sums: Axis::new(-1.1 * chart.cap, 1.1 * chart.cap, 396.0, 302.0),
    };
    heads(&mut canvas);
    grid(&mut canvas, chart, &strips, (left, right));
    days(&mut canvas, chart, across);
    for mark in &chart.marks {
        marked(&mut canvas, mark, across, (left, right));
    }
    courses(&mut canvas, chart, &strips, across);
    points(&mut canvas, chart, &strips, across);
    canvas.finish(label)
}

#[expect(clippy::cast_precision_loss, reason = "a count of deliveries")]
fn x(across: Axis, place: usize) -> f64 {
    across.at(place as f64)
}

/// From the lowest to the highest difference, and a little more.
fn kg_axis(chart: &Control) -> Axis {
    let all = chart.points.iter().map(|point| point.kg).chain([chart.usual_kg]).filter(|kg| kg.is_finite());
    let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), kg| (low.min(kg), high.max(kg)));
    let room = (high - low).max(10.0) * 0.08;
    Axis::new(low - room, high + room, 172.0, 40.0)
}

fn ewma_end(chart: &Control) -> f64 {
    1.1 * chart.points.iter().map(|point| point.ewma.abs().max(point.ewma_limit)).fold(1.0, f64::max)
}

fn heads(canvas: &mut Canvas) {
    canvas.text("name", 0.0, 15.0, Anchor::Start, "difference, kg");
    canvas.text(
        "name",
        0.0,
        196.0,
        Anchor::Start,
        canvas.size.pick(
            "weighted average (EWMA) in standard deviations; dashed: its limits",
            "average (EWMA); dashed: limits",
        ),
    );
    canvas.text(
        "name",
        0.0,
        294.0,
        Anchor::Start,
        canvas.size.pick(
            "sums (CUSUM) above and below zero; dashed: beyond this the change is taken as lasting",
            "sums (CUSUM); dashed: limits",
        ),
    );
}

fn grid(canvas: &mut Canvas, chart: &Control, strips: &Strips, (left, right): (f64, f64)) {
    for (axis, most) in [(strips.kg, 5), (strips.ewma, 3), (strips.sums, 5)] {
        for tick in axis.ticks(most) {
            canvas.line("grid", left, axis.at(tick), right - left, 0.0);
            let decimals = usize::from(tick.fract() != 0.0);
            canvas.text("quiet", left - 6.0, axis.at(tick) + 5.0, Anchor::End, &number(tick, decimals));
        }
    }
    canvas.line("usual", left, strips.kg.at(chart.usual_kg), right - left, 0.0);
    for limit in [chart.limit, -chart.limit] {
        canvas.line("limit", left, strips.sums.at(limit), right - left, 0.0);
    }
}

fn days(canvas: &mut Canvas, chart: &Control, across: Axis) {
    let most = canvas.size.pick(6, 2);
    let every = chart.days.len().div_ceil(most).max(1);
    let last = chart.days.len().saturating_sub(1);
    for (place, day) in chart.days.iter().enumerate().step_by(every) {
        // The last one would run out of the picture, the first one to the left.
        let anchor = if place == 0 { Anchor::Start } else { Anchor::Middle };
        if place == 0 || last - place >= every / 2 {
            canvas.text("quiet", x(across, place), 416.0, anchor, day);
        }
    }
}

/// From where to where it was off: a line at each end over all strips, and words at the top.
fn marked(canvas: &mut Canvas, mark: &ControlMark, across: Axis, (left, right): (f64, f64)) {
    let (from, to) = (x(across, mark.from) - POINT - 1.0, x(across, mark.to) + POINT + 1.0);
    canvas.block("band", from, 22.0, to - from, 376.0);
    canvas.line("change", from, 22.0, 0.0, 376.0);
    let (at, anchor) =
        if from < (left + right) / 2.0 { (from + 6.0, Anchor::Start) } else { (from - 6.0, Anchor::End) };
    canvas.text("strong", at, 34.0, anchor, &mark.words);
}

fn courses(canvas: &mut Canvas, chart: &Control, strips: &Strips, across: Axis) {
    let along = |axis: Axis, value: fn(&ControlPoint) -> f64| {
        let points = chart.points.iter().enumerate().filter(|(_, point)| !point.taught);
        points.map(|(place, point)| Some((x(across, place), axis.at(value(point))))).collect::<Vec<_>>()
    };
    canvas.curve("limit", &along(strips.ewma, |p| p.ewma_limit));
    canvas.curve("limit", &along(strips.ewma, |p| -p.ewma_limit));
    canvas.curve("course", &along(strips.ewma, |p| p.ewma));
    canvas.curve("course", &along(strips.sums, |p| p.high));
    canvas.curve("course", &along(strips.sums, |p| -p.low));
}

/// Ring: only taught. Cross: far off alone. Triangle: the sums are beyond their limit. Dot: everything else.
fn points(canvas: &mut Canvas, chart: &Control, strips: &Strips, across: Axis) {
    for (place, point) in chart.points.iter().enumerate() {
        let (x, y) = (x(across, place), strips.kg.at(point.kg));
        if point.taught {
            canvas.circle("ring", x, y, POINT);
        } else if point.high > chart.limit {
            canvas.figure("point", x, y - 5.0, &[(5.0, 9.0), (-10.0, 0.0)]);
        } else if point.low > chart.limit {
            canvas.figure("point", x, y + 5.0, &[(5.0, -9.0), (-10.0, 0.0)]);
        } else if point.far_off {
            canvas.line("cross", x - 4.0, y - 4.0, 8.0, 8.0);
            canvas.line("cross", x - 4.0, y + 4.0, 8.0, -8.0);
        } else {
            canvas.circle("point", x, y, POINT);
        }
    }
}
