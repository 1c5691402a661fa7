//! Volume of a tank at a level, and back.
//!
//! A strapping table is read by straight lines between its points; beyond its ends there is no volume.

use crate::engine::settings::{Shell, TankGeometry};
use crate::units::{Celsius, M3, Metre};

/// Volume below `level`; `None` off the table or outside the shell.
#[must_use]
pub fn volume(geometry: &TankGeometry, level: Metre) -> Option<M3> {
    match geometry {
        TankGeometry::VerticalCylinder { diameter, height } => {
            let inside = level.0 >= 0.0 && level.0 <= height.0;
            inside.then(|| M3(core::f64::consts::PI / 4.0 * diameter.0 * diameter.0 * level.0))
        }
        TankGeometry::Strapping(points) => interpolate(points.iter().map(|(l, v)| (l.0, v.0)), level.0).map(M3),
    }
}

/// Level of a volume, m; `None` where the tank holds no such volume.
#[must_use]
pub fn level(geometry: &TankGeometry, volume_m3: f64) -> Option<f64> {
    match geometry {
        TankGeometry::VerticalCylinder { diameter, height } => {
            let level = volume_m3 / (core::f64::consts::PI / 4.0 * diameter.0 * diameter.0);
            (level >= 0.0 && level <= height.0).then_some(level)
        }
        TankGeometry::Strapping(points) => interpolate(points.iter().map(|(l, v)| (v.0, l.0)), volume_m3),
    }
}

/// Straight lines between points of rising `x`; `None` beyond the ends.
pub(super) fn interpolate(points: impl Iterator<Item = (f64, f64)>, x: f64) -> Option<f64> {
    let mut before: Option<(f64, f64)> = None;
    for (px, py) in points {
        if let Some((bx, by)) = before
            && x >= bx
            && x <= px
        {
            return Some(by + (py - by) * ((x - bx) / (px - bx)));
        }
        before = Some((px, py));
    }
    None
}

/// What a shell's temperature makes of its volumes: 1 + 2 a dT + a2 dT2, the growth of its cross-section (API MPMS 12.1.1, as
/// quoted in the trade's literature; ISO 7507). The shell is taken at the liquid's temperature: the air has an eighth part in it
/// by the same source, 0.006 % of the volume for 20 K.
#[must_use]
pub fn shell_factor(shell: Option<Shell>, liquid: Celsius) -> f64 {
    let grows = shell.map_or(0.0, |shell| shell.per_k * (liquid - shell.reference).0);
    1.0 + 2.0 * grows + grows * grows
}

/// Free surface at `level`, m2: how much volume a metre of level adds there; `None` off the table.
#[must_use]
pub fn area(geometry: &TankGeometry, level: Metre) -> Option<f64> {
    match geometry {
        TankGeometry::VerticalCylinder { diameter, .. } => {
            volume(geometry, level).map(|_| core::f64::consts::PI / 4.0 * diameter.0 * diameter.0)
        }
        TankGeometry::Strapping(points) => points.windows(2).find_map(|pair| {
            let ((low, below), (high, above)) = (pair[0], pair[1]);
            (level >= low && level <= high).then(|| (above - below).0 / (high - low).0)
        }),
    }
}
