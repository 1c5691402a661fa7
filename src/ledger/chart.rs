//! Control charts: does a row of differences, one for each delivery, still stand where it stood?
//!
//! Pure mathematics. The two-sided tabular CUSUM finds a small lasting change soon; the EWMA shows where the row stands
//! now. Both are as in the NIST/SEMATECH e-Handbook of Statistical Methods (doi:10.18434/M32189), 6.3.2.3 and 6.3.2.4.
//! Nobody tells the chart mean and spread beforehand: each value is held against all those before it, which under normal
//! noise gives independent standard normal scores whatever mean and spread are (Hawkins, "Self-starting cusum charts for
//! location and scale", The Statistician 36 (1987) 299-315; Quesenberry, "SPC Q charts for start-up processes and short
//! or long runs", Journal of Quality Technology 23 (1991) 213-224), so that the published run lengths hold.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Reference value of the CUSUM, in standard deviations: half of the change that is to be found soonest (6.3.2.3).
pub const K: f64 = 0.5;
/// Decision limit of the CUSUM, in standard deviations. With [`K`] a false signal comes once in 1277 values on average, by
/// the Markov chain of Brook and Evans ("An approach to the probability distribution of cusum run length", Biometrika 59
/// (1972) 539-549). The usual 5 has 465 (Lucas and Crosier, "Fast initial response for CUSUM quality-control schemes",
/// Technometrics 24 (1982) 199-205, Table 1); a bay has six charts that signal together, which made it name a sound
/// instrument once in some 220 deliveries.
pub const H: f64 = 6.0;
/// The CUSUM is kept at or below this, so that it comes back within some twenty deliveries once the cause is gone.
pub const CAP: f64 = 2.0 * H;
/// Weight of the newest value in the EWMA.
pub const LAMBDA: f64 = 0.2;
/// Limits of the EWMA in its own standard deviations: at this weight 500 values between false signals (Lucas and
/// Saccucci, "Exponentially weighted moving average control schemes", Technometrics 32 (1990) 1-12).
pub const L: f64 = 2.962;
/// Values that only teach the chart what is usual; nothing is judged before.
pub const LEARN: usize = 10;
/// A score beyond this counts as this much and teaches nothing: one delivery that is far off alone must neither signal nor
/// widen what passes for usual. Under normal noise 1 of 2,000 lies there.
pub const CLIP: f64 = 3.5;

/// Two-sided tabular CUSUM in the unit of its values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusum {
    /// What the values should be about.
    pub target: f64,
    /// Reference value.
    pub k: f64,
    /// Above the target.
    pub high: f64,
    /// Below the target; counted upwards too.
    pub low: f64,
}

impl Cusum {
    /// At zero.
    #[must_use]
    pub fn new(target: f64, k: f64) -> Cusum {
        Cusum { target, k, high: 0.0, low: 0.0 }
    }

    /// Takes the next value.
    pub fn take(&mut self, x: f64) {
        self.high = (self.high + x - self.target - self.k).max(0.0);
        self.low = (self.low + self.target - self.k - x).max(0.0);
    }
}

/// Exponentially weighted moving average with the limits that belong to its count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ewma {
    /// Weight of the newest value, above 0 and up to 1.
    pub lambda: f64,
    /// The average; at first the target.
    pub value: f64,
    count: i32,
}

impl Ewma {
    /// Before the first value.
    #[must_use]
    pub fn new(target: f64, lambda: f64) -> Ewma {
        Ewma { lambda, value: target, count: 0 }
    }

    /// Takes the next value.
    pub fn take(&mut self, x: f64) {
        self.value = self.lambda * x + (1.0 - self.lambda) * self.value;
        self.count = self.count.saturating_add(1);
    }

    /// How far from the target its limits stand after so many values of standard deviation `s`: `l` standard deviations of
    /// the average itself.
    #[must_use]
    pub fn limit(&self, s: f64, l: f64) -> f64 {
        let settled = self.lambda / (2.0 - self.lambda);
        let so_far = 1.0 - (1.0 - self.lambda).powi(self.count.saturating_mul(2));
        l * s * (settled * so_far).sqrt()
    }
}

/// Count, mean and spread of what is usual.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Usual {
    count: u32,
    mean: f64,
    squares: f64,
}

impl Usual {
    /// One value more (Welford's update).
    pub fn learn(&mut self, x: f64) {
        self.count += 1;
        let off = x - self.mean;
        self.mean += off / f64::from(self.count);
        self.squares += off * (x - self.mean);
    }

    /// Mean of the values.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// Their standard deviation; 0 with fewer than two.
    #[must_use]
    pub fn deviation(&self) -> f64 {
        if self.count < 2 { 0.0 } else { (self.squares / f64::from(self.count - 1)).sqrt() }
    }

    /// A new value as a standard normal score: Student's t of it against those before, taken to the normal value of the
    /// same probability. Up to [`CLIP`]. `None` with fewer than two before it.
    #[must_use]
    pub fn score(&self, x: f64) -> Option<f64> {
        if self.count < 2 || !x.is_finite() {
            return None;
        }
        let n = f64::from(self.count);
        let off = x - self.mean;
        let t = off.abs() / self.deviation() * (n / (n + 1.0)).sqrt();
        if t.is_nan() {
            return Some(0.0);
        }
        let beyond = StudentsT::new(0.0, 1.0, n - 1.0).ok()?.sf(t);
        let score = if beyond > 0.0 { -Normal::standard().inverse_cdf(beyond) } else { CLIP };
        Some(score.clamp(0.0, CLIP).copysign(off))
    }
}

/// One value on the chart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Point {
    /// The value.
    pub x: f64,
    /// Its score, 1; `None`: it only taught.
    pub score: Option<f64>,
    /// CUSUM above, 1.
    pub cusum_high: f64,
    /// CUSUM below, 1.
    pub cusum_low: f64,
    /// EWMA of the scores, 1.
    pub ewma: f64,
    /// Its limits stand so far to both sides of zero, 1.
    pub ewma_limit: f64,
    /// Far off: counted as [`CLIP`], and not learnt from.
    pub far_off: bool,
}

/// Which way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Up.
    High,
    /// Down.
    Low,
}

/// A lasting change that the CUSUM found. Places are counted from 0 along the values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Signal {
    /// Which way.
    pub side: Side,
    /// The CUSUM was last at zero just before it.
    pub risen_from: usize,
    /// It went beyond [`H`] here.
    pub at: usize,
    /// It stood highest here (the last of such places).
    pub highest: usize,
    /// It was back at zero here; `None`: not yet.
    pub back: Option<usize>,
}

/// A row of values on its chart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Chart {
    /// Each value.
    pub points: Vec<Point>,
    /// What was found, in order.
    pub signals: Vec<Signal>,
    /// What is usual: values before the change where one was found and lasts.
    pub usual: Usual,
}

/// One side of the CUSUM on its way.
#[derive(Debug, Clone, Copy, Default)]
struct Run {
    risen_from: usize,
    open: Option<Signal>,
    highest: f64,
}

impl Run {
    /// Takes the sum at a place.
    fn take(&mut self, place: usize, side: Side, sum: f64) {
        if sum <= 0.0 {
            *self = Run { risen_from: place + 1, ..Run::default() };
        }
        match &mut self.open {
            None if sum > H => {
                let risen_from = self.risen_from;
                self.open = Some(Signal { side, risen_from, at: place, highest: place, back: None });
                self.highest = sum;
            }
            Some(signal) if sum >= self.highest => {
                signal.highest = place;
                self.highest = sum;
            }
            _ => {}
        }
    }
}

/// Puts values on a chart, in their order. What is no finite number is left out by the caller.
#[must_use]
pub fn chart(values: &[f64]) -> Chart {
    let mut chart = Chart::default();
    let (mut cusum, mut ewma) = (Cusum::new(0.0, K), Ewma::new(0.0, LAMBDA));
    let mut learnt: Vec<usize> = Vec::new();
    let mut runs = [(Side::High, Run::default()), (Side::Low, Run::default())];
    for (place, &x) in values.iter().enumerate() {
        let score = if place < LEARN { None } else { chart.usual.score(x) };
        let far_off = score.is_some_and(|score| score.abs() >= CLIP);
        if let Some(score) = score {
            cusum.take(score);
            cusum.high = cusum.high.min(CAP);
            cusum.low = cusum.low.min(CAP);
            ewma.take(score);
        }
        for (side, run) in &mut runs {
            let sum = if *side == Side::High { cusum.high } else { cusum.low };
            let was_open = run.open;
            run.take(place, *side, sum);
            match (was_open, run.open) {
                // What was learnt on the way there was no longer usual.
                (None, Some(signal)) => {
                    learnt.retain(|&known| known < signal.risen_from);
                    chart.usual = Usual::default();
                    learnt.iter().for_each(|&known| chart.usual.learn(values[known]));
                }
                (Some(signal), None) => chart.signals.push(Signal { back: Some(place), ..signal }),
                _ => {}
            }
        }
        if !far_off && runs.iter().all(|(_, run)| run.open.is_none()) {
            chart.usual.learn(x);
            learnt.push(place);
        }
        chart.points.push(Point {
            x,
            score,
            cusum_high: cusum.high,
            cusum_low: cusum.low,
            ewma: ewma.value,
            ewma_limit: ewma.limit(1.0, L),
            far_off,
        });
    }
    chart.signals.extend(runs.iter().filter_map(|(_, run)| run.open));
    chart.signals.sort_by_key(|signal| signal.at);
    chart
}

/// How a row went off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// From one value to the next, and stayed there.
    Step,
    /// By as much again with each value.
    Ramp,
}

/// When and by how much a row went off, as far as can be told.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Change {
    /// How.
    pub shape: Shape,
    /// The first value that is off, from 0.
    pub from: usize,
    /// How far it was off where the CUSUM stood highest, in the unit of the values.
    pub by: f64,
    /// Standard uncertainty of that from the scatter of the values, the place taken as known.
    pub u: f64,
}

/// Most values looked back upon for a change.
const LOOKED_BACK: usize = 500;

/// Least squares over both shapes and all places up to where the CUSUM stood highest; the best fit is the answer. Far-off
/// values from before the sum rose are no part of it. `None` with too few values.
#[must_use]
pub fn change(chart: &Chart, signal: &Signal) -> Option<Change> {
    let earlier = chart.signals.iter().filter(|s| s.at < signal.at).filter_map(|s| s.back);
    let begin = earlier.filter(|&back| back <= signal.risen_from).max().unwrap_or(0);
    let begin = begin.max((signal.highest + 1).saturating_sub(LOOKED_BACK));
    let points = chart.points.get(begin..=signal.highest)?;
    let rows: Vec<(usize, f64)> = (begin..)
        .zip(points)
        .filter(|(place, point)| !point.far_off || *place >= signal.risen_from)
        .map(|(place, point)| (place, point.x))
        .collect();
    let best = (begin + 2..=signal.highest).flat_map(|from| [(Shape::Step, from), (Shape::Ramp, from)]);
    let fits = best.filter_map(|(shape, from)| Some((fit(&rows, shape, from)?, shape, from)));
    let (line, shape, from) = fits.min_by(|a, b| a.0.rest.total_cmp(&b.0.rest))?;
    let steps = course(shape, from, signal.highest);
    Some(Change { shape, from, by: line.slope * steps, u: line.u * steps })
}

/// What a shape that begins at `from` has come to at a place, in its own unit.
fn course(shape: Shape, from: usize, place: usize) -> f64 {
    match (place + 1).saturating_sub(from) {
        0 => 0.0,
        #[expect(clippy::cast_precision_loss, reason = "a count of deliveries")]
        many if shape == Shape::Ramp => many as f64,
        _ => 1.0,
    }
}

/// A shape's best height.
struct Line {
    slope: f64,
    u: f64,
    /// Sum of squares that is left.
    rest: f64,
}

/// Least squares of a mean and one shape; `None` where the shape is not in the rows.
fn fit(rows: &[(usize, f64)], shape: Shape, from: usize) -> Option<Line> {
    #[expect(clippy::cast_precision_loss, reason = "a count of deliveries")]
    let n = rows.len() as f64;
    let with_course = || rows.iter().map(|&(place, y)| (course(shape, from, place), y));
    let (sum_r, sum_y) = with_course().fold((0.0, 0.0), |(r, y), row| (r + row.0, y + row.1));
    let centred = with_course().map(|(r, y)| (r - sum_r / n, y - sum_y / n));
    let (rr, ry, yy) = centred.fold((0.0, 0.0, 0.0), |(a, b, c), (r, y)| (a + r * r, b + r * y, c + y * y));
    if n < 4.0 || rr <= 0.0 {
        return None;
    }
    let slope = ry / rr;
    let rest = (yy - slope * ry).max(0.0);
    Some(Line { slope, u: (rest / (n - 3.0) / rr).sqrt(), rest })
}

#[cfg(test)]
mod tests;
