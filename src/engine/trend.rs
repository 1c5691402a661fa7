//! The straight line of least squares through the recent past.

/// A line through points (t, v).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Slope, v per t.
    pub slope: f64,
    /// Sum of squares of t about its mean: the slope of readings with noise u has the standard uncertainty u/sqrt of it.
    pub spread: f64,
    /// Sum of squares of v about the line.
    pub residual: f64,
}

impl Trend {
    /// Through points whose first is the newest; None for fewer than two different times.
    ///
    /// In one pass, all counted from the newest point: over a minute of readings what cancels is far below their noise. Two
    /// sums run side by side, since each addition waits for the one before.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "some sixty")]
    pub fn through(points: &[(f64, f64)]) -> Option<Trend> {
        let &(t0, v0) = points.first()?;
        let add = |[st, sv, stt, stv, svv]: [f64; 5], &(t, v): &(f64, f64)| {
            let (t, v) = (t - t0, v - v0);
            [st + t, sv + v, stt + t * t, stv + t * v, svv + v * v]
        };
        let pairs = points.chunks_exact(2);
        let odd = pairs.remainder().iter().fold([0.0; 5], add);
        let (odd, even) = pairs.fold((odd, [0.0; 5]), |(a, b), pair| (add(a, &pair[0]), add(b, &pair[1])));
        let [st, sv, stt, stv, svv]: [f64; 5] = std::array::from_fn(|i| odd[i] + even[i]);
        let n = points.len() as f64;
        let (spread, product, square) = (stt - st * st / n, stv - st * sv / n, svv - sv * sv / n);
        if spread <= 0.0 {
            return None;
        }
        let slope = product / spread;
        Some(Trend { slope, spread, residual: (square - slope * product).max(0.0) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the sums about the means, in two passes, of readings that jitter in time and value.
    #[test]
    fn one_pass_is_as_good_as_two() {
        for count in [2, 3, 15, 60, 61] {
            let jitter = |i: usize| ((i * 7_919) % 101) as f64 / 101.0 - 0.5;
            let points: Vec<(f64, f64)> = (0..count)
                .map(|i| (-(i as f64) + 0.05 * jitter(i), 18_000.0 - 6.2 * i as f64 + 3.0 * jitter(i + 40)))
                .collect();
            let n = count as f64;
            let mean = |pick: fn(&(f64, f64)) -> f64| points.iter().map(pick).sum::<f64>() / n;
            let (mt, mv) = (mean(|p| p.0), mean(|p| p.1));
            let spread: f64 = points.iter().map(|(t, _)| (t - mt).powi(2)).sum();
            let slope = points.iter().map(|(t, v)| (t - mt) * (v - mv)).sum::<f64>() / spread;
            let residual: f64 = points.iter().map(|(t, v)| (v - mv - slope * (t - mt)).powi(2)).sum();
            let trend = Trend::through(&points).expect("a line");
            assert!((trend.slope - slope).abs() < 1e-11, "{count}: {} not {slope}", trend.slope);
            assert!(
                (trend.spread / spread - 1.0).abs() < 1e-12 && (trend.residual - residual).abs() < 1e-8,
                "{trend:?}"
            );
        }
        assert_eq!(Trend::through(&[]), None);
        assert_eq!(Trend::through(&[(3.0, 1.0), (3.0, 2.0)]), None, "no time between them");
    }
}
