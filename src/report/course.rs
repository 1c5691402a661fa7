//! How a delivery went, in a bounded number of points: for the picture, and for whoever draws another.

use super::account::{Course, CoursePoint, Moment};
use crate::engine::frame::{Frame, WitnessId};
use crate::picture::History;
use crate::time::{SECOND_NS, WallTime};

/// Nothing is kept finer than this, s: outputs of an idle bay come that far apart.
const STEP_S: f64 = 10.0;

/// The course as far as it has been gone through.
pub(super) struct Gone {
    from: Option<WallTime>,
    points: History<CoursePoint>,
}

impl Gone {
    pub fn new() -> Gone {
        Gone { from: None, points: History::new(STEP_S, joined) }
    }

    /// Takes what a frame says; `at`: when that was.
    pub fn take(&mut self, frame: &Frame, at: WallTime) {
        let from = *self.from.get_or_insert(at);
        #[expect(clippy::cast_precision_loss, reason = "years stay exact to a microsecond")]
        let at_s = at.0.saturating_sub(from.0) as f64 / SECOND_NS as f64;
        let received = |id: WitnessId| {
            let witness = frame.witnesses.iter().find(|w| w.id == id && w.validity.is_credible())?;
            witness.received_kg.map(|mass| mass.value)
        };
        let point = CoursePoint {
            at_s,
            flow_kg: received(WitnessId::Flow),
            scale_kg: received(WitnessId::Scale),
            tank_kg: received(WitnessId::Tank),
            level_m: frame.tank.and_then(|tank| tank.level_m),
            pad_pa_gauge: frame.pad.pressure_pa_gauge,
        };
        self.points.push(at_s, point);
    }

    pub fn end(self) -> Course {
        let points = self.points.points().iter().map(|(_, point)| *point).collect();
        Course { from: self.from.map(Moment::from), points }
    }
}

/// The newer one, with the higher pressure: a short peak is what the picture must not lose.
fn joined(older: &CoursePoint, newer: &CoursePoint) -> CoursePoint {
    let pads = older.pad_pa_gauge.into_iter().chain(newer.pad_pa_gauge);
    CoursePoint { pad_pa_gauge: pads.reduce(f64::max), ..*newer }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_peak_of_pressure_outlives_what_comes_after() {
        let point = |at_s, pad_pa_gauge| CoursePoint {
            at_s,
            flow_kg: None,
            scale_kg: Some(at_s),
            tank_kg: None,
            level_m: None,
            pad_pa_gauge,
        };
        let joined = joined(&point(1.0, Some(2e5)), &point(2.0, Some(1e5)));
        assert_eq!((joined.at_s, joined.scale_kg, joined.pad_pa_gauge), (2.0, Some(2.0), Some(2e5)));
        assert_eq!(super::joined(&point(1.0, Some(2e5)), &point(2.0, None)).pad_pa_gauge, Some(2e5));
    }
}
