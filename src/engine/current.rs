//! What a 4-20 mA loop current says of itself, after NAMUR NE 43.
//!
//! 3.8 to 20.5 mA is a measurement. A current beyond that up to 3.6 and 21.0 mA is a transmitter at its end of range;
//! at 3.6 and below or 21.0 and above it signals failure. Sources differ on whether the limits themselves do: taken so.

/// At this and below: failure, mA.
const FAILURE_LOW_MA: f64 = 3.6;
/// Lowest measurement, mA.
const RANGE_LOW_MA: f64 = 3.8;
/// Highest measurement, mA.
const RANGE_HIGH_MA: f64 = 20.5;
/// At this and above: failure, mA.
const FAILURE_HIGH_MA: f64 = 21.0;

/// Two currents closer than this fix no line, mA: a step of a 32-bit number at 20 mA is 2e-6.
const SAME_MA: f64 = 1e-6;

/// What the current says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Says {
    /// A measurement.
    Measures,
    /// The end of range at which the value is low: it is this or less.
    LowEnd,
    /// The end of range at which the value is high: it is at least this, SI; `None` while the line is not known.
    HighEnd(Option<f64>),
    /// The transmitter signals failure.
    Failure,
}

/// The straight line between current and value, learned from two readings: the value may fall as the current rises
/// (ullage), and only the line tells what stands at the end of range.
#[derive(Debug, Clone, Copy, Default)]
pub struct Line {
    last: Option<(f64, f64)>,
    si_per_ma: Option<f64>,
}

impl Line {
    /// Takes a current and the value it stands for.
    pub fn take(&mut self, milliampere: f64, si: f64) -> Says {
        if let Some((ma, value)) = self.last
            && (milliampere - ma).abs() > SAME_MA
        {
            self.si_per_ma = Some((si - value) / (milliampere - ma));
        }
        if milliampere.is_finite() && si.is_finite() {
            self.last = Some((milliampere, si));
        }
        let end_ma = match milliampere {
            ma if ma > FAILURE_LOW_MA && ma < RANGE_LOW_MA => RANGE_LOW_MA,
            ma if ma > RANGE_HIGH_MA && ma < FAILURE_HIGH_MA => RANGE_HIGH_MA,
            ma if (RANGE_LOW_MA..=RANGE_HIGH_MA).contains(&ma) => return Says::Measures,
            _ => return Says::Failure,
        };
        match self.si_per_ma {
            Some(slope) if (slope > 0.0) == (end_ma > RANGE_LOW_MA) => {
                Says::HighEnd(Some(si - slope * (milliampere - end_ma)))
            }
            Some(_) => Says::LowEnd,
            // Nobody knows which end it is: the one that can overfill.
            None => Says::HighEnd(None),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A level of 0 to 8 m that rises with the current, and an ullage gauge's that falls.
    fn says(milliampere: f64, falling: bool) -> Says {
        let si = |ma: f64| if falling { 8.0 - (ma - 4.0) / 16.0 * 8.0 } else { (ma - 4.0) / 16.0 * 8.0 };
        let mut line = Line::default();
        line.take(12.0, si(12.0));
        line.take(milliampere, si(milliampere))
    }

    /// The limits of NAMUR NE 43, each from both sides.
    #[test]
    fn the_limits_of_ne_43() {
        for ma in [f64::NEG_INFINITY, 0.0, 3.59, 3.60, 21.00, 21.01, 24.0, f64::INFINITY, f64::NAN] {
            assert_eq!(says(ma, false), Says::Failure, "{ma} mA");
            assert_eq!(says(ma, true), Says::Failure, "{ma} mA");
        }
        for ma in [3.80, 4.0, 12.0, 20.0, 20.50] {
            assert_eq!(says(ma, false), Says::Measures, "{ma} mA");
        }
        for ma in [3.61, 3.79] {
            assert_eq!(says(ma, false), Says::LowEnd, "{ma} mA");
        }
        for ma in [20.51, 20.99] {
            assert_eq!(says(ma, true), Says::LowEnd, "{ma} mA");
        }
    }

    /// "At least" is what the end of range stands for, not what the current would extrapolate to.
    #[test]
    fn the_high_end_is_a_lower_bound() {
        let close = |says: Says, value: f64| matches!(says, Says::HighEnd(Some(v)) if (v - value).abs() < 1e-9);
        for ma in [20.51, 20.99] {
            assert!(close(says(ma, false), 16.5 / 16.0 * 8.0), "{ma} mA: {:?}", says(ma, false));
        }
        for ma in [3.61, 3.79] {
            assert!(close(says(ma, true), 8.0 + 0.2 / 16.0 * 8.0), "{ma} mA: {:?}", says(ma, true));
        }
    }

    #[test]
    fn without_a_second_current_the_end_is_not_known() {
        let mut line = Line::default();
        assert_eq!(line.take(20.7, 8.35), Says::HighEnd(None));
        assert_eq!(line.take(20.7, 8.35), Says::HighEnd(None));
        assert!(matches!(line.take(20.6, 8.30), Says::HighEnd(Some(v)) if (v - 8.25).abs() < 1e-9));
    }
}
