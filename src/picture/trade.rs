//! What is won against what is lost: points of one thing against another, joined in the order of a setting's values.

use super::{Anchor, Axis, Canvas, Size};
use maud::Markup;

/// One value of a setting.
#[derive(Debug, Clone, PartialEq)]
pub struct TradePoint {
    /// The value as written.
    pub label: String,
    /// Along.
    pub x: f64,
    /// Up.
    pub y: f64,
}

/// The points with their labels; both axes begin at zero. `x` and `y` name the axes with their units.
#[must_use]
pub fn trade(points: &[TradePoint], x: &str, y: &str, size: Size) -> Markup {
    let (width, height) = size.pick((860.0, 340.0), (358.0, 300.0));
    let (left, right, top, bottom) = (52.0, width - 70.0, 34.0, height - 46.0);
    let most = |value: fn(&TradePoint) -> f64| points.iter().map(value).filter(|v| v.is_finite()).fold(0.0, f64::max);
    let across = Axis::new(0.0, 1.05 * most(|p| p.x), left, right);
    let up = Axis::new(0.0, 1.05 * most(|p| p.y), bottom, top);
    let mut canvas = Canvas::new(size, width, height);
    canvas.text("name", 0.0, 15.0, Anchor::Start, y);
    canvas.text("name", right, height - 8.0, Anchor::End, x);
    for tick in up.ticks(5) {
        canvas.line("grid", left, up.at(tick), right - left, 0.0);
        canvas.text("quiet", left - 6.0, up.at(tick) + 5.0, Anchor::End, &shown(tick));
    }
    for tick in across.ticks(size.pick(8, 4)) {
        canvas.line("grid", across.at(tick), top, 0.0, bottom - top);
        canvas.text("quiet", across.at(tick), bottom + 18.0, Anchor::Middle, &shown(tick));
    }
    for pair in points.windows(2) {
        let (from, to) = ((across.at(pair[0].x), up.at(pair[0].y)), (across.at(pair[1].x), up.at(pair[1].y)));
        canvas.line("course", from.0, from.1, to.0 - from.0, to.1 - from.1);
    }
    for point in points {
        canvas.circle("point", across.at(point.x), up.at(point.y), 4.0);
        canvas.text("name", across.at(point.x) + 8.0, up.at(point.y) - 6.0, Anchor::Start, &point.label);
    }
    canvas.finish(&format!("{y}; {x}"))
}

/// A round number without a tail of zeros.
fn shown(tick: f64) -> String {
    let text = format!("{tick:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
