//! Volume of a vessel below a level, from its drawing: for plants whose tank is no plain upright cylinder. Integrated
//! numerically from the outline, so that it checks whatever reckons by closed form.

use std::f64::consts::PI;

/// How a vessel's shell is closed at both ends; lengths as parts of the shell's diameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ends {
    /// Flat.
    Flat,
    /// Half an ellipsoid of this depth; 0.25 is the usual "2:1".
    Ellipsoidal(f64),
    /// A dish of one radius with a knuckle of another; 1 and 0.06 are usual.
    Torispherical {
        /// Radius of the dish.
        dish: f64,
        /// Radius of the knuckle.
        knuckle: f64,
    },
    /// Half a ball.
    Hemispherical,
}

/// A vessel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vessel {
    /// Inner diameter of the shell, m.
    pub diameter_m: f64,
    /// Length of the shell without its ends, m.
    pub shell_m: f64,
    /// It lies; otherwise it stands on its lower end.
    pub lies: bool,
    /// Both its ends.
    pub ends: Ends,
}

/// Steps of an integral over an end.
const STEPS: u32 = 2_000;

impl Ends {
    /// How far an end reaches beyond the shell, m.
    #[must_use]
    pub fn depth_m(self, diameter_m: f64) -> f64 {
        match self {
            Ends::Flat => 0.0,
            Ends::Ellipsoidal(depth) => depth * diameter_m,
            Ends::Hemispherical => diameter_m / 2.0,
            Ends::Torispherical { dish, knuckle } => {
                let (dish, knuckle, half) = (dish * diameter_m, knuckle * diameter_m, diameter_m / 2.0);
                dish - ((dish - knuckle).powi(2) - (half - knuckle).powi(2)).sqrt()
            }
        }
    }

    /// Radius of an end at a distance beyond the shell, m.
    fn radius_m(self, diameter_m: f64, beyond_m: f64) -> f64 {
        let (half, depth) = (diameter_m / 2.0, self.depth_m(diameter_m));
        match self {
            Ends::Flat => 0.0,
            Ends::Ellipsoidal(_) | Ends::Hemispherical => half * (1.0 - (beyond_m / depth).powi(2)).max(0.0).sqrt(),
            Ends::Torispherical { dish, knuckle } => {
                let (dish, knuckle) = (dish * diameter_m, knuckle * diameter_m);
                // Where the two meet: on the line between their centres.
                let meet = knuckle * (1.0 - ((half - knuckle) / (dish - knuckle)).powi(2)).sqrt();
                if beyond_m <= meet {
                    half - knuckle + (knuckle * knuckle - beyond_m * beyond_m).max(0.0).sqrt()
                } else {
                    (dish * dish - (beyond_m - depth + dish).powi(2)).max(0.0).sqrt()
                }
            }
        }
    }
}

impl Vessel {
    /// Height from its lowest point to its highest, m.
    #[must_use]
    pub fn height_m(&self) -> f64 {
        if self.lies { self.diameter_m } else { self.shell_m + 2.0 * self.ends.depth_m(self.diameter_m) }
    }

    /// Volume below a level above its lowest point, m3.
    #[must_use]
    pub fn below_m3(&self, level_m: f64) -> f64 {
        let (level, half) = (level_m.clamp(0.0, self.height_m()), self.diameter_m / 2.0);
        let depth = self.ends.depth_m(self.diameter_m);
        let radius = |beyond: f64| self.ends.radius_m(self.diameter_m, beyond);
        if self.lies {
            let slice = |x: f64| segment_m2(radius(x), level - half + radius(x));
            return self.shell_m * segment_m2(half, level) + 2.0 * integral(0.0, depth, slice);
        }
        let lower = integral((depth - level).max(0.0), depth, |x| PI * radius(x).powi(2));
        let shell = PI * half * half * (level - depth).clamp(0.0, self.shell_m);
        let upper = integral(0.0, (level - depth - self.shell_m).max(0.0), |x| PI * radius(x).powi(2));
        lower + shell + upper
    }

    /// Levels and volumes at so many even steps, as a tank is given to the plant.
    #[must_use]
    pub fn table(&self, steps: u32) -> Vec<(f64, f64)> {
        let at = |i: u32| self.height_m() * f64::from(i) / f64::from(steps);
        (0..=steps).map(|i| (at(i), self.below_m3(at(i)))).collect()
    }
}

/// Area of a circle below a level above its lowest point, m2.
fn segment_m2(radius_m: f64, level_m: f64) -> f64 {
    let level = level_m.clamp(0.0, 2.0 * radius_m);
    if radius_m <= 0.0 {
        return 0.0;
    }
    let half = (1.0 - level / radius_m).clamp(-1.0, 1.0).acos();
    radius_m * radius_m * (half - half.sin() * half.cos())
}

/// By the midpoint rule in the angle of a quarter circle, so that an outline which ends steeply does no harm.
fn integral(from: f64, to: f64, of: impl Fn(f64) -> f64) -> f64 {
    let step = PI / 2.0 / f64::from(STEPS);
    let part = |i: u32| {
        let angle = (f64::from(i) + 0.5) * step;
        of(from + (to - from) * angle.sin()) * angle.cos()
    };
    (to - from) * step * (0..STEPS).map(part).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected: closed forms of whole bodies: cylinder, ball, ellipsoid of revolution; half full at half height.
    #[test]
    fn whole_bodies_have_their_closed_forms() {
        let (d, l) = (2.4, 5.0);
        let shell = PI / 4.0 * d * d * l;
        let cases = [
            (Ends::Flat, shell),
            (Ends::Hemispherical, shell + PI / 6.0 * d * d * d),
            (Ends::Ellipsoidal(0.25), shell + PI / 12.0 * d * d * d),
        ];
        for lies in [true, false] {
            for (ends, full) in cases {
                let vessel = Vessel { diameter_m: d, shell_m: l, lies, ends };
                let got = vessel.below_m3(vessel.height_m());
                assert!((got / full - 1.0).abs() < 1e-6, "{ends:?}: {got} of {full}");
                let half = vessel.below_m3(vessel.height_m() / 2.0);
                assert!((half / full - 0.5).abs() < 1e-6, "{ends:?}: {half} of {full}");
            }
        }
    }
}
