//! The gas that pushes: how fast a supply can fill a trailer, what stands on the trailer, what follows the last liquid.
//! Pure. A perfect diatomic gas; every opening is taken as lossless but for what is named, so flows come out large and
//! times short.

use crate::units::AbsPa;

/// Ratio of the heat capacities of nitrogen and of dry air near room temperature, 1: 29.12 J/(mol K) at constant
/// pressure against 8.314 less of it (NIST Chemistry WebBook, SRD 69, nitrogen at 298 K).
const KAPPA: f64 = 1.4;
/// Steps of the integral over the pressure of a trailer that fills.
const STEPS: u32 = 2_000;
/// Halvings of a bracketed Mach number: it is then known to 1e-15.
const HALVINGS: u32 = 50;

/// A gas at rest before it flows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gas {
    /// Specific gas constant, J/(kg K).
    pub constant_j_per_kg_k: f64,
    /// Temperature, K.
    pub kelvin: f64,
}

/// Area of a round opening, m2.
#[must_use]
pub fn area_m2(diameter_m: f64) -> f64 {
    std::f64::consts::PI / 4.0 * diameter_m * diameter_m
}

/// Pressure of the gas at rest over that at a Mach number, by the isentropic relation (NACA Report 1135, eq. 44), 1.
fn rest_over_static(mach: f64) -> f64 {
    (1.0 + (KAPPA - 1.0) / 2.0 * mach * mach).powf(KAPPA / (KAPPA - 1.0))
}

/// Friction that a gas can still pass before it is at the speed of sound, in velocity heads (4 f L*/D of the Fanno
/// line: Shapiro, The Dynamics and Thermodynamics of Compressible Fluid Flow, 1953, ch. 6), 1.
fn friction_left(mach: f64) -> f64 {
    let m2 = mach * mach;
    let sum = (KAPPA + 1.0) * m2 / (2.0 + (KAPPA - 1.0) * m2);
    (1.0 - m2) / (KAPPA * m2) + (KAPPA + 1.0) / (2.0 * KAPPA) * sum.ln()
}

/// Pressure over that at the speed of sound on the Fanno line (the same), 1.
fn over_sonic(mach: f64) -> f64 {
    ((KAPPA + 1.0) / (2.0 + (KAPPA - 1.0) * mach * mach)).sqrt() / mach
}

/// Where a falling function of a Mach number between 0 and `most` reaches `value`.
fn mach_where(falling: impl Fn(f64) -> f64, value: f64, most: f64) -> f64 {
    let (mut low, mut high) = (0.0, most);
    for _ in 0..HALVINGS {
        let mach = f64::midpoint(low, high);
        if falling(mach) > value {
            low = mach;
        } else {
            high = mach;
        }
    }
    f64::midpoint(low, high)
}

impl Gas {
    /// Mass in a volume, kg, by the gas law.
    #[must_use]
    pub fn stored_kg(&self, pressure: AbsPa, volume_m3: f64) -> f64 {
        pressure.0 * volume_m3 / (self.constant_j_per_kg_k * self.kelvin)
    }

    /// Flow at a Mach number through an area, from rest at `pressure`, kg/s.
    fn flow_at(&self, pressure: AbsPa, mach: f64, area_m2: f64) -> f64 {
        let static_pa = pressure.0 / rest_over_static(mach);
        let kelvin = self.kelvin / (1.0 + (KAPPA - 1.0) / 2.0 * mach * mach);
        area_m2 * static_pa * mach * (KAPPA / (self.constant_j_per_kg_k * kelvin)).sqrt()
    }

    /// Flow through a lossless opening, kg/s: at the speed of sound where the pressure beyond is low enough (critical
    /// flow, ISO 9300; API Std 520 Part I with a discharge coefficient of 1), below it by the same isentropic relation.
    #[must_use]
    pub fn through_opening(&self, from: AbsPa, to: AbsPa, area_m2: f64) -> f64 {
        if from.0 <= to.0 {
            return 0.0;
        }
        let ratio = (from.0 / to.0).powf((KAPPA - 1.0) / KAPPA);
        let mach = (2.0 / (KAPPA - 1.0) * (ratio - 1.0)).sqrt().min(1.0);
        self.flow_at(from, mach, area_m2)
    }

    /// Flow through a line that costs `loss` velocity heads (K of Crane TP-410 without the exit), kg/s: isentropic into
    /// it, adiabatic with friction along it, at most at the speed of sound at its end.
    #[must_use]
    pub fn through_line(&self, from: AbsPa, to: AbsPa, area_m2: f64, loss: f64) -> f64 {
        if from.0 <= to.0 {
            return 0.0;
        }
        let fastest = mach_where(friction_left, loss, 1.0);
        // Pressure at the end of the line for a Mach number at its beginning; it falls as that rises.
        let end_pa = |mach: f64| {
            let end = mach_where(friction_left, (friction_left(mach) - loss).max(0.0), 1.0);
            from.0 / rest_over_static(mach) / over_sonic(mach) * over_sonic(end)
        };
        let mach = if end_pa(fastest) >= to.0 { fastest } else { mach_where(end_pa, to.0, fastest) };
        self.flow_at(from, mach, area_m2)
    }

    /// Time in which gas from a supply through a lossless opening raises the pressure of a closed volume, s; `None`
    /// where the supply does not reach that far. No heat is lost to the walls: V dp = kappa R T dm.
    #[must_use]
    pub fn seconds_to_fill(
        &self,
        supply: AbsPa,
        (from, to): (AbsPa, AbsPa),
        volume_m3: f64,
        area_m2: f64,
    ) -> Option<f64> {
        if to.0 <= from.0 {
            return Some(0.0);
        }
        if supply.0 < to.0 {
            return None;
        }
        // p = supply (1 - s^2): the flow vanishes like s where the pressures meet, and the integrand stays smooth.
        let s_at = |pressure: f64| (1.0 - pressure / supply.0).max(0.0).sqrt();
        let (first, last) = (s_at(to.0), s_at(from.0));
        let step = (last - first) / f64::from(STEPS);
        let heat = KAPPA * self.constant_j_per_kg_k * self.kelvin;
        let sum: f64 = (0..STEPS)
            .map(|i| {
                let s = first + (f64::from(i) + 0.5) * step;
                let flow = self.through_opening(supply, AbsPa(supply.0 * (1.0 - s * s)), area_m2);
                2.0 * supply.0 * s / flow
            })
            .sum();
        Some(volume_m3 / heat * sum * step)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NITROGEN: Gas = Gas { constant_j_per_kg_k: 296.803, kelvin: 293.15 };
    const AIR: AbsPa = AbsPa(101_325.0);

    fn near(got: f64, expected: f64, relative: f64) {
        assert!((got / expected - 1.0).abs() < relative, "{got} against {expected}");
    }

    /// Expected: Farokhi, Aircraft Propulsion, 2nd ed. (Wiley 2014), appendix E, Fanno flow, ratio 1.4: 4 Cf L*/D and
    /// p/p*; NACA Report 1135, table I: p/pt at Mach 0.5.
    #[test]
    fn the_lines_of_the_printed_tables() {
        for (mach, friction) in [(0.10, 66.922), (0.12, 45.408), (0.14, 32.511), (0.16, 24.198)] {
            near(friction_left(mach), friction, 2e-5);
        }
        near(over_sonic(0.10), 10.944, 5e-5);
        near(over_sonic(0.16), 6.8291, 2e-5);
        near(1.0 / rest_over_static(0.5), 0.8430, 1e-4);
        near(1.0 / rest_over_static(1.0), 0.5283, 1e-4);
    }

    /// Expected: API Std 520 Part I (SI): W = A C Kd P1 sqrt(M/(T Z)) with C = 0.03948 sqrt(k (2/(k+1))^((k+1)/(k-1))),
    /// in mm2, kPa, kg/h; by hand for 6 mm at 653 kPa: C = 0.02703, W = 28.27 x 0.02703 x 653 x 0.30913 = 154.3 kg/h.
    #[test]
    fn critical_flow_is_that_of_the_standard() {
        let flow = NITROGEN.through_opening(AbsPa(653_000.0), AIR, area_m2(0.006));
        near(flow * 3600.0, 154.3, 1e-3);
        // It does not hang on the pressure beyond before that is above 0.528 of the pressure before.
        near(NITROGEN.through_opening(AbsPa(653_000.0), AbsPa(344_000.0), area_m2(0.006)), flow, 1e-12);
        assert!(NITROGEN.through_opening(AbsPa(653_000.0), AbsPa(400_000.0), area_m2(0.006)) < flow);
        assert_eq!(NITROGEN.through_opening(AIR, AIR, 1.0), 0.0);
    }

    /// Expected: at a small difference the gas is as good as incompressible, (1 + K) rho v^2 / 2; without loss a line
    /// is an opening; friction only takes away.
    #[test]
    fn a_line_has_its_limits() {
        let area = area_m2(0.0525);
        let (from, rho) = (AbsPa(101_425.0), 101_425.0 / (296.803 * 293.15));
        near(NITROGEN.through_line(from, AIR, area, 30.0), area * (2.0 * rho * 100.0 / 31.0_f64).sqrt(), 2e-3);
        let from = AbsPa(225_430.0);
        near(NITROGEN.through_line(from, AIR, area, 1e-9), NITROGEN.through_opening(from, AIR, area), 1e-4);
        let mut before = f64::INFINITY;
        for loss in [0.1, 1.0, 10.0, 100.0] {
            let flow = NITROGEN.through_line(from, AIR, area, loss);
            assert!(flow > 0.0 && flow < before, "{loss}: {flow}");
            before = flow;
        }
    }

    /// Expected: while the flow stays at the speed of sound it is constant, so that the pressure rises in a straight
    /// line: t = V dp / (kappa R T w).
    #[test]
    fn a_trailer_fills_in_a_straight_line_at_first() {
        let (supply, area, volume) = (AbsPa(653_000.0), area_m2(0.006), 2.3);
        let flow = NITROGEN.through_opening(supply, AIR, area);
        let (from, to) = (AbsPa(225_430.0), AbsPa(308_168.0));
        let straight = volume * (to.0 - from.0) / (1.4 * 296.803 * 293.15 * flow);
        near(NITROGEN.seconds_to_fill(supply, (from, to), volume, area).expect("it gets there"), straight, 1e-6);
        assert_eq!(NITROGEN.seconds_to_fill(AbsPa(250_000.0), (from, to), volume, area), None);
        let slow = NITROGEN.seconds_to_fill(to, (from, to), volume, area).expect("just");
        assert!(slow.is_finite() && slow > straight);
    }
}
