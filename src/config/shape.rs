//! Exact volumes of a cylinder with heads, upright or lying, made the table that the engine reads.
//!
//! A head is a solid of revolution: r(x) at the axial distance x beyond the cylinder, 0 at its tip. Upright, the volume below
//! a level is the integral of pi r2; lying, the cylinder holds L A(R, h) and each head the integral of A(r(x), h - R + r) over
//! its depth, A(r, y) being the segment r2 acos((r - y)/r) - (r - y) sqrt(2 r y - y2) of a circle. Ellipsoidal heads are true
//! ellipses; torispherical ones a knuckle of k D that meets a crown of f D.

use std::f64::consts::PI;

/// Rows of the table: between them straight lines err by less than 5e-5 of the whole.
const ROWS: usize = 400;
/// Parts of an integral over a head's depth (even: Simpson's rule).
const PARTS: usize = 240;

/// A head of a cylinder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Head {
    /// None: the cylinder ends there.
    Flat,
    /// A cone of that depth, m.
    Conical(f64),
    /// Half an ellipsoid of that depth, m.
    Ellipsoidal(f64),
    /// A knuckle and a crown, their radii as shares of the diameter: crown, knuckle.
    Torispherical(f64, f64),
}

impl Head {
    /// How far it reaches beyond the cylinder, m.
    #[must_use]
    pub fn depth_m(self, diameter_m: f64) -> f64 {
        match self {
            Head::Flat => 0.0,
            Head::Conical(depth) | Head::Ellipsoidal(depth) => depth,
            Head::Torispherical(crown, _) => {
                let (reach, _) = self.crown_back(diameter_m);
                crown * diameter_m - reach
            }
        }
    }

    /// Of a torispherical head: how far the crown's centre lies behind the joint, and the radius of the knuckle's centres, m.
    fn crown_back(self, diameter_m: f64) -> (f64, f64) {
        let Head::Torispherical(crown, knuckle) = self else { return (0.0, 0.0) };
        let (from_axis, apart) = ((0.5 - knuckle) * diameter_m, (crown - knuckle) * diameter_m);
        ((apart * apart - from_axis * from_axis).max(0.0).sqrt(), from_axis)
    }

    /// Radius at a distance beyond the cylinder, m.
    fn radius_m(self, diameter_m: f64, x: f64) -> f64 {
        let radius = diameter_m / 2.0;
        match self {
            Head::Flat => radius,
            Head::Conical(depth) => radius * (1.0 - x / depth),
            Head::Ellipsoidal(depth) => radius * (1.0 - x * x / (depth * depth)).max(0.0).sqrt(),
            Head::Torispherical(crown, knuckle) => {
                let (back, from_axis) = self.crown_back(diameter_m);
                let (large, small) = (crown * diameter_m, knuckle * diameter_m);
                if x < small * back / (large - small) {
                    from_axis + (small * small - x * x).max(0.0).sqrt()
                } else {
                    (large * large - (x + back) * (x + back)).max(0.0).sqrt()
                }
            }
        }
    }

    /// Integral over its depth of what a slice of some radius gives. x = depth sin(angle), so that a rounded tip is smooth.
    #[expect(clippy::cast_precision_loss, reason = "240")]
    fn integral(self, diameter_m: f64, from_m: f64, slice: impl Fn(f64) -> f64) -> f64 {
        let depth = self.depth_m(diameter_m);
        if depth <= from_m {
            return 0.0;
        }
        let first = (from_m / depth).clamp(0.0, 1.0).asin();
        let step = (PI / 2.0 - first) / PARTS as f64;
        let sum = (0..=PARTS).fold(0.0, |sum, i| {
            let angle = first + step * i as f64;
            let weight = if i == 0 || i == PARTS {
                1.0
            } else if i % 2 == 1 {
                4.0
            } else {
                2.0
            };
            sum + weight * slice(self.radius_m(diameter_m, depth * angle.sin())) * depth * angle.cos()
        });
        sum * step / 3.0
    }
}

/// A cylinder with heads; all m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Vessel {
    /// Upright on a bottom; levels from the bottom's lowest point, to the top of the shell.
    Upright {
        /// Inner diameter.
        diameter: f64,
        /// Height of the shell.
        shell: f64,
        /// Bottom.
        bottom: Head,
    },
    /// Lying; levels from the shell's lowest line.
    Lying {
        /// Inner diameter.
        diameter: f64,
        /// Length of the shell.
        shell: f64,
        /// Both heads.
        heads: [Head; 2],
    },
}

impl Vessel {
    /// Highest level, m.
    #[must_use]
    pub fn top_m(&self) -> f64 {
        match *self {
            Vessel::Upright { diameter, shell, bottom } => bottom.depth_m(diameter) + shell,
            Vessel::Lying { diameter, .. } => diameter,
        }
    }

    /// Volume below a level, m3.
    #[must_use]
    pub fn volume_m3(&self, level_m: f64) -> f64 {
        let level = level_m.clamp(0.0, self.top_m());
        match *self {
            Vessel::Upright { diameter, bottom, .. } => {
                let depth = bottom.depth_m(diameter);
                let below = bottom.integral(diameter, depth - level.min(depth), |r| PI * r * r);
                below + PI / 4.0 * diameter * diameter * (level - depth).max(0.0)
            }
            Vessel::Lying { diameter, shell, heads } => {
                let radius = diameter / 2.0;
                let slice = |r: f64| segment_m2(r, level - radius + r);
                let in_heads = heads.iter().map(|head| head.integral(diameter, 0.0, slice)).sum::<f64>();
                shell * segment_m2(radius, level) + in_heads
            }
        }
    }

    /// Level and volume from the bottom to the top.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "400")]
    pub fn table(&self) -> Vec<(f64, f64)> {
        let level = |i: usize| self.top_m() * i as f64 / ROWS as f64;
        (0..=ROWS).map(|i| (level(i), self.volume_m3(level(i)))).collect()
    }
}

/// Area of a circle's segment below a height, m2.
fn segment_m2(radius: f64, height: f64) -> f64 {
    let (r, y) = (radius, height.clamp(0.0, 2.0 * radius));
    if r <= 0.0 {
        return 0.0;
    }
    r * r * ((r - y) / r).clamp(-1.0, 1.0).acos() - (r - y) * (2.0 * r * y - y * y).max(0.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// US gallon: 231 cubic inches exactly (NIST SP 811).
    const GAL_PER_IN3: f64 = 1.0 / 231.0;

    fn heads(diameter: f64) -> [Head; 4] {
        let depth = if diameter > 110.0 { 33.0 } else { 42.0 };
        [
            Head::Conical(depth),
            Head::Ellipsoidal(depth),
            Head::Torispherical(1.0, 0.06),
            Head::Ellipsoidal(diameter / 2.0),
        ]
    }

    /// D. Jones, Computing Fluid Tank Volumes (Chemical Processing), as quoted in the tests of fluids 1.3.1: lying, 108 in by
    /// 156 in, heads of 42 in; US gal at 36, 54, 84 and 108 in.
    #[test]
    fn lying_vessels_are_those_of_the_printed_table() {
        let printed = [
            [2041.192, 3648.491, 6180.541, 7296.981],
            [2380.957, 4203.696, 7103.445, 8407.392],
            [2028.627, 3534.997, 5939.898, 7069.995],
        ];
        for (head, gal) in heads(108.0).into_iter().zip(printed) {
            let vessel = Vessel::Lying { diameter: 108.0, shell: 156.0, heads: [head; 2] };
            for (level, printed) in [36.0, 54.0, 84.0, 108.0].into_iter().zip(gal) {
                let got = vessel.volume_m3(level) * GAL_PER_IN3;
                assert!((got / printed - 1.0).abs() < 2e-6, "{head:?} at {level} in: {got}, printed {printed}");
            }
        }
    }

    /// The same source: upright on a bottom, 132 in across, 33 in deep; US gal at 24, 60 and 132 in.
    #[test]
    fn upright_vessels_are_those_of_the_printed_table() {
        let printed = [[250.675, 2251.176, 6516.561], [783.358, 2902.832, 7168.217], [904.069, 3036.761, 7302.147]];
        for (bottom, gal) in heads(132.0).into_iter().zip(printed) {
            let vessel = Vessel::Upright { diameter: 132.0, shell: 200.0, bottom };
            for (level, printed) in [24.0, 60.0, 132.0].into_iter().zip(gal) {
                let got = vessel.volume_m3(level) * GAL_PER_IN3;
                assert!((got / printed - 1.0).abs() < 2e-6, "{bottom:?} at {level} in: {got}, printed {printed}");
            }
        }
    }

    /// Closed forms: a lying cylinder's part by h/D; a whole head by its diameter: pi/24 for 2:1, pi/12 for half a sphere;
    /// 0.080999 for an ASME flanged and dished head (fluids 1.3.1).
    #[test]
    fn shares_are_those_of_the_closed_forms() {
        let flat = Vessel::Lying { diameter: 1.0, shell: 1.0, heads: [Head::Flat; 2] };
        for (height, share) in [(0.05, 0.018_693), (0.1, 0.052_044), (0.25, 0.195_501), (0.4, 0.373_530), (0.5, 0.5)] {
            assert!((flat.volume_m3(height) / flat.volume_m3(1.0) - share).abs() < 5e-7, "{height}");
        }
        let whole = |head: Head| head.integral(1.0, 0.0, |r| PI * r * r);
        assert!((whole(Head::Ellipsoidal(0.25)) - PI / 24.0).abs() < 1e-9);
        assert!((whole(Head::Ellipsoidal(0.5)) - PI / 12.0).abs() < 1e-9);
        assert!((whole(Head::Torispherical(1.0, 0.06)) - 0.080_999).abs() < 1e-6);
    }

    #[test]
    fn a_table_rises_from_nothing_to_the_top() {
        for head in heads(2.4) {
            let vessel = Vessel::Lying { diameter: 2.4, shell: 6.0, heads: [head, Head::Flat] };
            let table = vessel.table();
            assert!(table[0].1.abs() < 1e-12 && (table[ROWS].0 - 2.4).abs() < 1e-12);
            assert!(table.windows(2).all(|pair| pair[1].1 > pair[0].1), "{head:?}");
            // Straight lines between the rows.
            let full = vessel.volume_m3(2.4);
            for (i, pair) in table.windows(2).enumerate() {
                let middle = vessel.volume_m3(0.5 * (pair[0].0 + pair[1].0));
                assert!((0.5 * (pair[0].1 + pair[1].1) - middle).abs() < 5e-5 * full, "{head:?}, row {i}");
            }
        }
    }
}
