//! What goes on for hours, kept in a bounded number of points: the fuller it is, the wider apart they lie.

/// Most points that are kept: more than a picture has pixels to part them.
const MOST: usize = 360;

/// Moments in order of time, s.
#[derive(Debug, Clone)]
pub struct History<T> {
    points: Vec<(f64, T)>,
    /// Most points that are kept.
    most: usize,
    /// Width of a point, s.
    step_s: f64,
    /// What an older and a newer value make of one point.
    join: fn(&T, &T) -> T,
}

impl<T: Clone> History<T> {
    /// Nothing yet. `step_s`: nothing is kept finer than that; `join`: what an older value and a newer one make of a point.
    #[must_use]
    pub fn new(step_s: f64, join: fn(&T, &T) -> T) -> History<T> {
        History::holding(MOST, step_s, join)
    }

    /// The same, with another bound on the number of points.
    #[must_use]
    pub fn holding(most: usize, step_s: f64, join: fn(&T, &T) -> T) -> History<T> {
        History { points: Vec::new(), most, step_s, join }
    }

    /// Takes a moment in; one from before the latest is left out.
    pub fn push(&mut self, at_s: f64, value: T) {
        let cell = |s: f64| (s / self.step_s).floor();
        match self.points.last_mut() {
            Some((last_s, _)) if at_s < *last_s => return,
            Some((last_s, last)) if cell(*last_s).total_cmp(&cell(at_s)).is_eq() => {
                *last = (self.join)(last, &value);
                *last_s = at_s;
            }
            _ => self.points.push((at_s, value)),
        }
        if self.points.len() > self.most {
            self.step_s *= 2.0;
            let points = std::mem::take(&mut self.points);
            points.into_iter().for_each(|(at_s, value)| self.push(at_s, value));
        }
    }

    /// Every point: when, s, and what.
    #[must_use]
    pub fn points(&self) -> &[(f64, T)] {
        &self.points
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected: a day at two a second stays bounded, keeps first and last moment, and a peak of one second.
    #[test]
    fn a_day_is_kept_in_few_points_with_its_peak() {
        let mut history = History::new(0.5, |a: &f64, b: &f64| a.max(*b));
        for half in 0..172_800_u32 {
            history.push(f64::from(half) / 2.0, if half == 100_001 { 7.0 } else { 1.0 });
        }
        let points = history.points();
        assert!(points.len() <= MOST && points.len() > MOST / 3, "{}", points.len());
        assert!(points.windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert_eq!(points.last().map(|(s, _)| *s), Some(86_399.5));
        assert_eq!(points.iter().filter(|(_, v)| *v > 6.0).count(), 1);
        history.push(3.0, 99.0);
        assert!(history.points().iter().all(|(_, v)| *v < 8.0), "what comes late is left out");
    }
}
