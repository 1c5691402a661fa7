//! How full the tank is, how full the load makes it, and what is left below high-high.

use super::{Anchor, Axis, Canvas, Size};
use crate::engine::frame::{Margin, Tank};
use crate::units::Measures;
use crate::words::measures::Shown;
use crate::words::{Language, Scene};
use maud::Markup;

const TOP: f64 = 58.0;
const HEIGHT: f64 = 24.0;

/// Contents by the most cautious count, what the load makes of them at most, and the tank's levels.
#[must_use]
pub fn brim(scene: Scene<'_>, language: &dyn Language, size: Size) -> Markup {
    let labels = language.labels();
    let width = size.pick(860.0, 358.0);
    let mut canvas = Canvas::new(size, width, TOP + HEIGHT + 38.0);
    let Some(tank) = scene.frame.tank else {
        canvas.text("said", 0.0, TOP, Anchor::Start, labels.tank_unknown);
        return canvas.finish(labels.tank_unknown);
    };
    let (contents, load_in) = match &scene.frame.margin {
        Margin::Known { kg, parts, .. } => (Some(parts.contents_kg), Some(parts.at_high_high_kg - kg)),
        Margin::Unknown => (tank.contents_kg, None),
    };
    let most = load_in.unwrap_or(0.0).max(tank.critical_kg);
    let axis = Axis::new(0.0, most * 1.02, 0.0, width);
    canvas.block("gutter", 0.0, TOP, width, HEIGHT);
    if let Some(end) = load_in {
        let from = axis.at(contents.unwrap_or(0.0));
        canvas.block("rest", from, TOP, axis.at(end) - from, HEIGHT);
        if end > tank.high_high_kg {
            let from = axis.at(tank.high_high_kg);
            canvas.block("over", from, TOP, axis.at(end) - from, HEIGHT);
        }
    }
    match contents {
        Some(kg) => canvas.block("fill", 0.0, TOP, axis.at(kg), HEIGHT),
        None => canvas.text("said", 6.0, TOP + 17.0, Anchor::Start, labels.tank_unknown),
    }
    levels(&mut canvas, tank, language, axis, scene.measures());
    below(&mut canvas, scene, tank, (contents, load_in), language, axis);
    let unit = scene.measures().unit_word(Shown::LargeMass);
    canvas.finish(&format!("{}: {}, {unit}", scene.tank(tank.tank), labels.contents))
}

/// The three levels, each label on a row of its own to the left of its line.
fn levels(canvas: &mut Canvas, tank: Tank, language: &dyn Language, axis: Axis, measures: Measures) {
    let labels = language.labels();
    let rows = [
        (tank.critical_kg, labels.critical, "limit", "quiet"),
        (tank.high_high_kg, labels.high_high, "high", "strong"),
        (tank.working_kg, labels.working, "limit dashed", "quiet"),
    ];
    for (row, (kg, label, line, text)) in (0u8..).zip(rows) {
        let y = 2.0 + 18.0 * f64::from(row);
        canvas.line(line, axis.at(kg), y, 0.0, TOP + HEIGHT + 4.0 - y);
        canvas.text(
            text,
            axis.at(kg) - 5.0,
            y + 11.0,
            Anchor::End,
            &format!("{label} {}", measures.show(Shown::LargeMass, kg).figure),
        );
    }
}

/// Now, with the load in, and the margin between that and high-high.
fn below(
    canvas: &mut Canvas,
    scene: Scene<'_>,
    tank: Tank,
    (contents, load_in): (Option<f64>, Option<f64>),
    language: &dyn Language,
    axis: Axis,
) {
    let labels = language.labels();
    let large = |kg| scene.measures().show(Shown::LargeMass, kg).figure;
    let row = TOP + HEIGHT + 16.0;
    if let Some(kg) = contents {
        let x = axis.at(kg).max(60.0);
        canvas.text("strong", x, row, Anchor::End, &format!("{} {}", labels.now, large(kg)));
    }
    let Some(end) = load_in else { return };
    let (label, class) =
        if end > tank.high_high_kg { (labels.does_not_fit, "strong act") } else { (labels.margin_mark, "strong") };
    let mut text = format!("{label} {}", scene.measures().show_down(Shown::LargeMass, tank.high_high_kg - end).whole());
    if tank.opening.proven_by.is_none() {
        text = format!("{text}, {}", labels.not_proven);
    }
    let (from, to) = (axis.at(end), axis.at(tank.high_high_kg));
    canvas.line("span", from, TOP + HEIGHT / 2.0, to - from, 0.0);
    canvas.text(class, canvas.width, row, Anchor::End, &text);
    let text = format!("{} {}", labels.load_in, large(end));
    canvas.text("quiet", from.max(150.0), row + 17.0, Anchor::End, &text);
}
