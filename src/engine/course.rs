//! How the rate goes on: falls as the heads move against the flow.
//!
//! A pad-driven viscous cargo flows laminar: rate = driving pressure / resistance. The driving pressure is pad less
//! tank pressure plus the trailer's head less the tank's; per kilogram moved the trailer's level falls by
//! 1/(rho A_trailer), the tank's rises by 1/(rho A_tank). So the rate falls in a straight line over the *mass* moved,
//!
//!   q(m) = q0 + b m,   b = -q g (1/A_trailer + 1/A_tank) / driving pressure,   t(m) = ln(1 + b m / q0) / b,
//!
//! with g/A in Pa/kg. q0 and b are fitted to the rates of this transfer, minute by minute, with the b above as prior
//! knowledge (Bayesian linear regression). Minutes with another pad pressure take no part.

use super::frame::Estimate;
use super::settings::{Drive, Settings};
use crate::time::EngineTime;

/// Standard gravity, m/s2 (exact by definition, NIST SP 811).
const GRAVITY: f64 = 9.806_65;
/// Height of a trailer's shell, m: makes a mean free surface out of its volume (common practice, no source).
const SHELL_M: f64 = 1.7;
/// Relative standard uncertainty of the prior fall: the heads' heights and the shell are not known.
const PRIOR_U: f64 = 0.5;
/// Relative standard uncertainty of one minute's rate as a sign of the course: regulators wander.
const WANDER_U: f64 = 0.015;
/// A wander lasts about this long, s: the mean rate of a longer rest averages over it.
const WANDER_S: f64 = 600.0;
/// A minute whose pad was off the present one by more than this takes no part, Pa.
const SAME_PAD_PA: f64 = 5_000.0;
/// A minute further off the course expected beforehand than this takes no part.
const SAME_COURSE_SIGMAS: f64 = 3.0;
/// Engine time between points, s: the rate looks back on as much.
const POINT_S: f64 = 60.0;
/// Points kept: two hours; then every second one goes.
const POINTS: usize = 128;
/// The rate is not followed below this part of the present one: something else happens before.
const LEAST_SHARE: f64 = 0.05;

#[derive(Debug, Clone, Copy, Default)]
struct Point {
    mass_kg: f64,
    rate: f64,
    u: f64,
    pad_pa: Option<f64>,
}

/// The rates of one transfer so far.
#[derive(Debug, Clone)]
pub struct Course {
    points: [Point; POINTS],
    count: usize,
    taken_at: Option<EngineTime>,
}

impl Default for Course {
    fn default() -> Course {
        Course { points: [Point::default(); POINTS], count: 0, taken_at: None }
    }
}

/// What the fall of the rate is known from beforehand.
#[derive(Debug, Clone, Copy)]
pub struct Heads {
    /// Free surface of the tank, m2.
    pub tank_m2: f64,
    /// Volume of the trailer, m3.
    pub trailer_m3: f64,
    /// Pad less tank pressure, Pa; `None` when it is not known.
    pub driving_pa: Option<f64>,
    /// Pad pressure, Pa gauge.
    pub pad_pa: Option<f64>,
}

/// The rate from now on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ahead {
    /// Rate now, kg/s.
    pub rate: f64,
    /// Change of the rate per kilogram moved, 1/s.
    pub slope: f64,
    /// Covariance of the two.
    pub covariance: [[f64; 2]; 2],
}

impl Course {
    /// Takes the rate of the last minute, once a minute.
    pub fn tick(&mut self, at: EngineTime, mass_kg: f64, rate: Estimate, pad_pa: Option<f64>) {
        if self.taken_at.is_some_and(|taken| at.since_s(taken) < POINT_S) {
            return;
        }
        self.taken_at = Some(at);
        if self.count == POINTS {
            for i in 0..POINTS / 2 {
                self.points[i] = self.points[2 * i];
            }
            self.count = POINTS / 2;
        }
        // The mean rate of a minute belongs to its middle.
        let mass_kg = mass_kg - rate.value * POINT_S / 2.0;
        self.points[self.count] = Point { mass_kg, rate: rate.value, u: rate.u, pad_pa };
        self.count += 1;
    }

    /// The rate from now on, by the present rate, the minutes before and the heads.
    #[must_use]
    pub fn ahead(&self, settings: &Settings, mass_kg: f64, rate: Estimate, heads: Heads) -> Ahead {
        let (prior, prior_u) = prior(settings.drive, rate.value, heads);
        // Normal equations of q = q0 + b x, x = mass before now (negative), the prior on b as one more row.
        let mut n = [[0.0, 0.0], [0.0, 1.0 / (prior_u * prior_u)]];
        let mut r = [0.0, prior / (prior_u * prior_u)];
        let mut row = |x: f64, q: f64, variance: f64| {
            let w = 1.0 / variance;
            n[0][0] += w;
            n[0][1] += w * x;
            n[1][1] += w * x * x;
            r[0] += w * q;
            r[1] += w * x * q;
        };
        let wander = WANDER_U * rate.value;
        row(-rate.value * POINT_S / 2.0, rate.value, rate.u * rate.u + wander * wander);
        let same_pad = |p: &&Point| match (p.pad_pa, heads.pad_pa) {
            (Some(then), Some(now)) => (then - now).abs() <= SAME_PAD_PA,
            _ => true,
        };
        for p in self.points[..self.count].iter().filter(same_pad) {
            // Minutes within one wander say the same thing: they share its weight.
            let variance = p.u * p.u + wander * wander * (WANDER_S / POINT_S);
            let x = p.mass_kg - mass_kg;
            let off = p.rate - (rate.value + prior * x);
            // A valve still opening, a kink: another course.
            if off * off <= SAME_COURSE_SIGMAS * SAME_COURSE_SIGMAS * (variance + prior_u * prior_u * x * x) {
                row(x, p.rate, variance);
            }
        }
        let determinant = n[0][0] * n[1][1] - n[0][1] * n[0][1];
        let covariance =
            [[n[1][1] / determinant, -n[0][1] / determinant], [-n[0][1] / determinant, n[0][0] / determinant]];
        Ahead {
            rate: covariance[0][0] * r[0] + covariance[0][1] * r[1],
            slope: covariance[1][0] * r[0] + covariance[1][1] * r[1],
            covariance,
        }
    }
}

/// The fall that the heads make, per kilogram, and its standard uncertainty. A pump's rate hardly depends on heads.
fn prior(drive: Drive, rate: f64, heads: Heads) -> (f64, f64) {
    let per_kg = GRAVITY * (SHELL_M / heads.trailer_m3 + 1.0 / heads.tank_m2);
    // Without a pressure the usual 100 kPa is taken (common practice).
    let fall = rate * per_kg / heads.driving_pa.unwrap_or(1e5).max(1e4);
    match drive {
        Drive::Pad => (-fall, PRIOR_U * fall),
        Drive::Pump | Drive::PumpVapourReturn => (0.0, PRIOR_U * fall),
    }
}

impl Ahead {
    /// How long it takes to move `mass_kg`, s, and its standard uncertainty.
    #[must_use]
    pub fn time_s(&self, mass_kg: f64) -> Estimate {
        let value = time_s(self.rate, self.slope, mass_kg);
        // Sensitivities by small differences; the covariance of the fit carries them (GUM 5.2.2).
        let (dq, db) = (self.rate * 1e-4, self.rate / mass_kg.abs().max(1.0) * 1e-4);
        let by_rate = (time_s(self.rate + dq, self.slope, mass_kg) - value) / dq;
        let by_slope = (time_s(self.rate, self.slope + db, mass_kg) - value) / db;
        let c = &self.covariance;
        let fit = by_rate * by_rate * c[0][0] + 2.0 * by_rate * by_slope * c[0][1] + by_slope * by_slope * c[1][1];
        let averaged = WANDER_S / value.max(WANDER_S);
        let wander = WANDER_U * WANDER_U * averaged * value * value;
        Estimate { value, u: (fit.max(0.0) + wander).sqrt() }
    }
}

fn time_s(rate: f64, slope: f64, mass_kg: f64) -> f64 {
    let change = slope * mass_kg / rate;
    // The mean rate over the rest, where the straight line would stop or turn.
    if change.abs() < 1e-9 {
        return mass_kg / rate;
    }
    libm::log1p(change.max(LEAST_SHARE - 1.0)) / change.max(LEAST_SHARE - 1.0) * mass_kg / rate
}

#[cfg(test)]
mod tests {
    use super::*;

    /// t = ln(1 + b m / q0) / b, and m / q0 without a fall.
    #[test]
    fn time_follows_the_closed_form() {
        assert!((time_s(5.0, -1e-4, 20_000.0) - libm::log(1.0 - 0.4) / -1e-4).abs() < 1e-9);
        assert!((time_s(5.0, 0.0, 20_000.0) - 4_000.0).abs() < 1e-9);
        assert!(time_s(5.0, -1e-3, 20_000.0).is_finite(), "a line that would stop before is followed no further");
    }
}
