//! The three masses on one axis: agreement is seen as overlap.

use super::{Anchor, Axis, Canvas, Size};
use crate::engine::frame::{Estimate, Reason, Validity, VerdictWord, Witness, WitnessId};
use crate::words::measures::Shown;
use crate::words::{Language, Scene};
use maud::Markup;

/// Where things stand, px.
struct Layout {
    width: f64,
    top: f64,
    pitch: f64,
    axis: (f64, f64),
    /// Right ends of the columns of values and of uncertainties.
    value: f64,
    u: f64,
    /// From a row's text to its bar; 0: on one line.
    bar_below: f64,
    ticks: usize,
}

fn layout(size: Size) -> Layout {
    size.pick(
        Layout {
            width: 860.0,
            top: 40.0,
            pitch: 34.0,
            axis: (150.0, 660.0),
            value: 760.0,
            u: 850.0,
            bar_below: 0.0,
            ticks: 5,
        },
        Layout {
            width: 358.0,
            top: 38.0,
            pitch: 44.0,
            axis: (6.0, 352.0),
            value: 290.0,
            u: 352.0,
            bar_below: 18.0,
            ticks: 4,
        },
    )
}

/// By flow meter, by scale, by tank level and together, with bars of two standard uncertainties to each side.
/// Only what is in use lies on the axis; a lost witness is said in words.
#[must_use]
pub fn masses(scene: Scene<'_>, language: &dyn Language, size: Size) -> Markup {
    let layout = layout(size);
    let frame = scene.frame;
    let mut canvas = Canvas::new(size, layout.width, layout.top + 4.0 * layout.pitch + 14.0);
    let labels = language.labels();
    let measures = scene.measures;
    let unit = language.unit(measures.unit_word(Shown::Mass));
    canvas.text("quiet", layout.value, 15.0, Anchor::End, unit);
    canvas.text("quiet", layout.u, 15.0, Anchor::End, &format!("u, {unit}"));
    let axis = axis(scene, &layout);
    let below = layout.top + 4.0 * layout.pitch;
    let ticks = axis.map_or_else(Vec::new, |axis| axis.ticks_in(measures.one(Shown::Mass), layout.ticks));
    if let Some(axis) = axis {
        canvas.lines("grid", ticks.iter().map(|tick| [axis.at(*tick), 22.0, 0.0, below - 22.0 - 6.0]));
        if let Some(t) = frame.together.filter(|_| frame.verdict.word == VerdictWord::Agree) {
            let (from, to) = ends(axis, t.received_kg);
            canvas.block("band", from, 22.0, to - from, below - 22.0 - 6.0);
        }
    }
    for (row, witness) in (0u8..).zip(&frame.witnesses) {
        let y = layout.top + f64::from(row) * layout.pitch;
        row_of(&mut canvas, scene, &layout, axis, y, witness, language);
    }
    let y = layout.top + 3.0 * layout.pitch;
    canvas.text("strong", 0.0, y + 5.0, Anchor::Start, language.together(frame.verdict.word));
    if let (Some(axis), Some(t)) = (axis, frame.together) {
        let agree = frame.verdict.word == VerdictWord::Agree;
        let (from, to) = ends(axis, t.received_kg);
        let half = ((to - from) / 2.0).max(6.0);
        let middle = axis.at(t.received_kg.value);
        let class = if agree { "diamond" } else { "diamond hollow" };
        let steps = [(half, -9.0), (half, 9.0), (-half, 9.0)];
        canvas.figure(class, middle - half, y + layout.bar_below, &steps);
        values(&mut canvas, scene, &layout, "strong", y, t.received_kg);
    }
    // Last: where there is one more or less of them, all else stays what it was.
    for (axis, tick) in axis.iter().flat_map(|axis| ticks.iter().map(move |tick| (axis, *tick))) {
        canvas.text("quiet", axis.at(tick), below + 9.0, Anchor::Middle, &measures.figure(Shown::Mass, tick));
    }
    canvas.finish(labels.received)
}

fn ends(axis: Axis, e: Estimate) -> (f64, f64) {
    (axis.at(e.value - 2.0 * e.u), axis.at(e.value + 2.0 * e.u))
}

/// From the lowest to the highest end of a bar, and a little more.
fn axis(scene: Scene<'_>, layout: &Layout) -> Option<Axis> {
    let used = scene.frame.witnesses.iter().filter(|w| w.validity.is_credible()).filter_map(|w| w.received_kg);
    let shown = used.chain(scene.frame.together.map(|t| t.received_kg));
    let (low, high) = shown.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), e| {
        (low.min(e.value - 2.0 * e.u), high.max(e.value + 2.0 * e.u))
    });
    let room = (high - low).max(10.0) * 0.06;
    (low.is_finite() && high.is_finite()).then(|| Axis::still(low - room, high + room, layout.axis.0, layout.axis.1))
}

fn row_of(
    canvas: &mut Canvas,
    scene: Scene<'_>,
    layout: &Layout,
    axis: Option<Axis>,
    y: f64,
    witness: &Witness,
    language: &dyn Language,
) {
    let labels = language.labels();
    let name = language.witness(witness.id);
    canvas.text("name", 0.0, y + 5.0, Anchor::Start, name);
    match (witness.validity, witness.received_kg, axis) {
        (Validity::Lost(reason), _, _) if !matches!(reason, Reason::NoStart | Reason::NotYetRead) => {
            let text = format!("{}: {}", labels.not_used, language.reason(reason));
            canvas.text("said", layout.axis.0, y + 5.0 + layout.bar_below, Anchor::Start, &text);
        }
        (validity, Some(mass), Some(axis)) if validity.is_credible() => {
            let (class, bar_y) = (class(witness.id), y + layout.bar_below);
            let (from, to) = ends(axis, mass);
            canvas.line(&format!("bar {class}"), from, bar_y, to - from, 0.0);
            mark(canvas, witness.id, axis.at(mass.value), bar_y);
            values(canvas, scene, layout, "value", y, mass);
            if matches!(validity, Validity::Doubtful(_)) {
                let (x, dy) = canvas.size.pick((0.0, 18.0), (122.0, 5.0));
                canvas.text("said", x, y + dy, Anchor::Start, labels.doubtful);
            }
        }
        _ => canvas.text("said", layout.axis.0, y + 5.0 + layout.bar_below, Anchor::Start, labels.no_value),
    }
}

fn values(canvas: &mut Canvas, scene: Scene<'_>, layout: &Layout, class: &str, y: f64, mass: Estimate) {
    canvas.text(class, layout.value, y + 5.0, Anchor::End, &scene.measures.figure(Shown::Mass, mass.value));
    canvas.text("quiet", layout.u, y + 5.0, Anchor::End, &scene.measures.figure(Shown::Mass, mass.u));
}

fn class(id: WitnessId) -> &'static str {
    match id {
        WitnessId::Flow => "flow",
        WitnessId::Scale => "scale",
        WitnessId::Tank => "tank",
    }
}

/// Dot, square, triangle: the hue is never alone.
fn mark(canvas: &mut Canvas, id: WitnessId, x: f64, y: f64) {
    let class = format!("mark {}", class(id));
    match id {
        WitnessId::Flow => canvas.circle(&class, x, y, 8.0),
        WitnessId::Scale => canvas.block(&class, x - 7.5, y - 7.5, 15.0, 15.0),
        WitnessId::Tank => canvas.figure(&class, x, y - 10.0, &[(10.0, 18.0), (-20.0, 0.0)]),
    }
}
