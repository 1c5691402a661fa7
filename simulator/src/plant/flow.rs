//! What moves liquid through a pipe and what brakes it, and gas through an opening.

use std::f64::consts::PI;

/// Liquid flow is laminar up to this Reynolds number and turbulent from the other; between them the friction factor is
/// drawn straight (Crane TP-410: the critical zone lies between 2,000 and 4,000).
const CRITICAL_RE: (f64, f64) = (2_000.0, 4_000.0);
/// Roughness of clean commercial steel, m (Moody 1944, Crane TP-410).
pub const STEEL_ROUGHNESS_M: f64 = 4.57e-5;
/// Rounds of the search for a flow; each gains digits, twenty leave none over.
const ROUNDS: usize = 60;
/// Newton's rounds on the equation of Colebrook and White; each squares what is off, five leave nothing over.
const NEWTON_ROUNDS: usize = 12;
/// They end when a step is below this part of what is sought, 1: the next would be below rounding.
const NEWTON_REST: f64 = 1e-9;
/// Colebrook and White: 1/sqrt(f) = -2 log10(k/3.7 + 2.51/(Re sqrt(f))) (Colebrook 1939).
const ROUGH: f64 = 3.7;
/// See above.
const SMOOTH: f64 = 2.51;
/// 2 log10 as a factor of the natural logarithm, 1.
const TWO_LOG10: f64 = 2.0 / std::f64::consts::LN_10;

/// Root x of `x + 2 log10(rough + part(x)) = 0`, which is 1/sqrt(f): by Newton. The left
/// side rises with x and bends little. `part` gives 2.51 x/Re and its slope.
fn colebrook(rough: f64, part: impl Fn(f64) -> (f64, f64)) -> f64 {
    // f = 0.02, where most turbulent lines of clean steel lie (Moody 1944).
    let mut x = 7.0;
    for _ in 0..NEWTON_ROUNDS {
        let (smooth, slope) = part(x);
        let inside = rough + smooth;
        let step = (x + TWO_LOG10 * inside.ln()) / (1.0 + TWO_LOG10 * slope / inside);
        x -= step;
        if step.abs() < NEWTON_REST * x.abs() {
            break;
        }
    }
    x
}

/// Darcy friction factor, 1: 64/Re where laminar, Colebrook and White's where turbulent.
#[must_use]
pub fn friction_factor(reynolds: f64, relative_roughness: f64) -> f64 {
    let (low, high) = CRITICAL_RE;
    let laminar = |re: f64| 64.0 / re.max(1e-9);
    let turbulent = |re: f64| {
        let slope = SMOOTH / re;
        let root = colebrook(relative_roughness / ROUGH, |x| (slope * x, slope));
        1.0 / (root * root)
    };
    match reynolds {
        re if re <= low => laminar(re),
        re if re >= high => turbulent(re),
        re => laminar(low) + (turbulent(high) - laminar(low)) * (re - low) / (high - low),
    }
}

/// A pipe full of one liquid as far as it is wetted, with losses that go by the square of the velocity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pipe {
    /// Inner diameter, m.
    pub bore_m: f64,
    /// Length that rubs, m.
    pub wetted_m: f64,
    /// Height of the wall's grain, m.
    pub roughness_m: f64,
    /// Dynamic viscosity, Pa s.
    pub viscosity_pa_s: f64,
    /// Density of what rubs, kg/m3.
    pub density_kg_per_m3: f64,
    /// Sum of loss coefficient times density of what passes there, kg/m3.
    pub losses_kg_per_m3: f64,
    /// Friction and losses are so much more than by the book, 1.
    pub more: f64,
}

impl Pipe {
    /// Reynolds number at a flow in m3/s.
    #[must_use]
    pub fn reynolds(&self, flow_m3_per_s: f64) -> f64 {
        4.0 * flow_m3_per_s * self.density_kg_per_m3 / (PI * self.bore_m * self.viscosity_pa_s)
    }

    /// Pressure that a flow in m3/s takes, Pa (Darcy and Weisbach, and losses `K rho v^2 / 2`).
    #[must_use]
    pub fn drop_pa(&self, flow_m3_per_s: f64) -> f64 {
        let velocity = flow_m3_per_s / (PI / 4.0 * self.bore_m * self.bore_m);
        let f = friction_factor(self.reynolds(flow_m3_per_s), self.roughness_m / self.bore_m);
        let friction = f * self.wetted_m / self.bore_m * self.density_kg_per_m3;
        (1.0 + self.more) * (friction + self.losses_kg_per_m3) * velocity * velocity / 2.0
    }

    /// Flow, m3/s, that takes this pressure; 0 where there is none. Laminar flow is the root of
    /// `R1 q + R2 q^2 = pressure`, R1 by Hagen and Poiseuille; where that flow would not be laminar it is the turbulent one,
    /// and where that would not be turbulent it is searched for.
    #[must_use]
    pub fn flow_m3_per_s(&self, driving_pa: f64) -> f64 {
        if driving_pa <= 0.0 {
            return 0.0;
        }
        let area = PI / 4.0 * self.bore_m * self.bore_m;
        let r1 = 128.0 * self.viscosity_pa_s * self.wetted_m / (PI * self.bore_m.powi(4)) * (1.0 + self.more);
        let r2 = self.losses_kg_per_m3 * (1.0 + self.more) / (2.0 * area * area);
        let laminar = 2.0 * driving_pa / (r1 + (r1 * r1 + 4.0 * r2 * driving_pa).sqrt());
        if self.reynolds(laminar) <= CRITICAL_RE.0 {
            return laminar;
        }
        let turbulent = self.turbulent(driving_pa, area);
        if self.reynolds(turbulent) >= CRITICAL_RE.1 {
            return turbulent;
        }
        self.search(driving_pa, laminar)
    }

    /// With 1/sqrt(f) = x the velocity is `sqrt(2 p / (1 + more) / (A/x^2 + B))`, A = density times length over bore, B the
    /// losses: so x/Re in the equation of Colebrook and White is a root of `A + B x^2`, and no flow need be known.
    fn turbulent(&self, driving_pa: f64, area: f64) -> f64 {
        let (friction, losses) = (self.wetted_m / self.bore_m * self.density_kg_per_m3, self.losses_kg_per_m3);
        let squared = 2.0 * driving_pa / (1.0 + self.more);
        let per_root = SMOOTH / (self.reynolds(area) * squared.sqrt());
        let root = colebrook(self.roughness_m / self.bore_m / ROUGH, |x| {
            let braked = (friction + losses * x * x).sqrt();
            (per_root * braked, per_root * losses * x / braked)
        });
        area * (squared / (friction / (root * root) + losses)).sqrt()
    }

    /// Regula falsi, the side that stays put halved (Dowell and Jarratt 1971): the drop rises with the flow, also in the
    /// critical zone, where its factor rises.
    fn search(&self, driving_pa: f64, laminar: f64) -> f64 {
        let off = |flow| self.drop_pa(flow) - driving_pa;
        let (mut low, mut high) = ((0.0, -driving_pa), (laminar, off(laminar)));
        let mut flow = laminar;
        for _ in 0..ROUNDS {
            flow = (low.0 * high.1 - high.0 * low.1) / (high.1 - low.1);
            let rest = off(flow);
            if rest.abs() < 1e-11 * driving_pa {
                break;
            }
            if rest < 0.0 {
                (low, high.1) = ((flow, rest), high.1 / 2.0);
            } else {
                (high, low.1) = ((flow, rest), low.1 / 2.0);
            }
        }
        flow
    }
}

/// Specific-heat ratio of nitrogen and of dry air, 1.
pub const KAPPA: f64 = 1.4;

/// Flow of an ideal gas of this specific-heat ratio out of a vessel through an opening, kg/s: choked below the critical
/// ratio of pressures, by the isentropic nozzle above it (ISO 9300, API 520-I); none into the vessel.
#[must_use]
pub fn gas_flow_kg_per_s(area_m2: f64, (from_pa_abs, to_pa_abs): (f64, f64), rt: f64, kappa: f64) -> f64 {
    let critical = (2.0 / (kappa + 1.0)).powf(kappa / (kappa - 1.0));
    let ratio = (to_pa_abs / from_pa_abs).max(critical);
    if ratio >= 1.0 {
        return 0.0;
    }
    let squared = 2.0 * kappa / (kappa - 1.0) * (ratio.powf(2.0 / kappa) - ratio.powf((kappa + 1.0) / kappa));
    area_m2 * from_pa_abs * (squared / rt).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// US gal and ft (NIST SP 811, exact) and psi.
    const GAL_M3: f64 = 0.003_785_411_784;
    const FT_M: f64 = 0.3048;
    const PSI_PA: f64 = 6_894.757_293;

    /// Expected: Crane TP-410 example 7-13 as worked in the documentation of the library `fluids`: 100 ft of 2-inch
    /// schedule 40 pipe, oil of specific gravity 0.815 and 2.7 cSt, 2 gal/s: 9.65 psi with f 0.0230.
    #[test]
    fn a_turbulent_line_drops_as_in_cranes_example() {
        let density = 0.815 * 999.0;
        let pipe = Pipe {
            bore_m: 0.0525,
            wetted_m: 100.0 * FT_M,
            roughness_m: STEEL_ROUGHNESS_M,
            viscosity_pa_s: 2.7e-6 * density,
            density_kg_per_m3: density,
            losses_kg_per_m3: 0.0,
            more: 0.0,
        };
        let flow = 2.0 * GAL_M3;
        assert!((pipe.reynolds(flow) / 68_029.0 - 1.0).abs() < 2e-3, "{}", pipe.reynolds(flow));
        let f = friction_factor(pipe.reynolds(flow), STEEL_ROUGHNESS_M / 0.0525);
        assert!((f - 0.0230).abs() < 4e-4, "{f}");
        assert!((pipe.drop_pa(flow) / (9.65 * PSI_PA) - 1.0).abs() < 0.02, "{} Pa", pipe.drop_pa(flow));
    }

    /// Expected: Crane TP-410 example 7-9 by `fluids`: SAE 30 oil of 130 cP and specific gravity 0.87, 400 gal/min
    /// through 300 ft of 5-inch schedule 40 pipe with losses (K 29.99 in all, friction included) and 50 ft of height:
    /// Reynolds number 1676, f 0.0382, 26.06 psi.
    #[test]
    fn a_laminar_line_drops_as_in_cranes_example() {
        let (density, bore_m) = (0.87 * 999.0, 0.1282);
        let flow = 400.0 * GAL_M3 / 60.0;
        let mut pipe = Pipe {
            bore_m,
            wetted_m: 300.0 * FT_M,
            roughness_m: STEEL_ROUGHNESS_M,
            viscosity_pa_s: 0.130,
            density_kg_per_m3: density,
            losses_kg_per_m3: 0.0,
            more: 0.0,
        };
        let reynolds = pipe.reynolds(flow);
        assert!((reynolds / 1676.0 - 1.0).abs() < 2e-3, "{reynolds}");
        assert!((friction_factor(reynolds, 0.0) - 0.0382).abs() < 1e-4);
        let friction_k = friction_factor(reynolds, 0.0) * pipe.wetted_m / bore_m;
        pipe.losses_kg_per_m3 = (29.99 - friction_k) * density;
        let height_pa = density * 9.806_65 * 50.0 * FT_M;
        let total = pipe.drop_pa(flow) + height_pa;
        assert!((total / (26.06 * PSI_PA) - 1.0).abs() < 5e-3, "{} psi", total / PSI_PA);
    }

    /// Expected: the equation of Colebrook and White itself holds to rounding, at every Reynolds number and roughness that it is
    /// stated for; and 0.019 at Re 100,000 and k/d 0.0002 (Moody's diagram).
    #[test]
    fn a_friction_factor_solves_colebrook_and_white() {
        for reynolds in [4e3, 1e4, 1e5, 1e6, 1e8] {
            for roughness in [0.0, 1e-6, 1e-3, 0.05] {
                let root = friction_factor(reynolds, roughness).sqrt();
                let book = -2.0 * (roughness / 3.7 + 2.51 / (reynolds * root)).log10();
                assert!((book * root - 1.0).abs() < 1e-12, "Re {reynolds}, k/d {roughness}: {}", root * root);
            }
        }
        assert!((friction_factor(1e5, 2e-4) - 0.0190).abs() < 5e-4, "{}", friction_factor(1e5, 2e-4));
    }

    /// Flow and drop are each other's inverse, in every regime, and both rise.
    #[test]
    fn a_flow_takes_what_drives_it() {
        let mut before = 0.0;
        for step in 1..400 {
            let pipe = Pipe {
                bore_m: 0.0525,
                wetted_m: 44.0,
                roughness_m: STEEL_ROUGHNESS_M,
                viscosity_pa_s: 0.02,
                density_kg_per_m3: 1525.0,
                losses_kg_per_m3: 12.0 * 1525.0,
                more: 0.0,
            };
            let driving = 500.0 * f64::from(step);
            let flow = pipe.flow_m3_per_s(driving);
            assert!((pipe.drop_pa(flow) / driving - 1.0).abs() < 1e-9, "{driving} Pa: {}", pipe.drop_pa(flow));
            assert!(flow > before);
            before = flow;
        }
        for (viscosity_pa_s, losses_kg_per_m3, wetted_m) in
            [(0.001, 40.0 * 1525.0, 44.0), (0.002, 0.0, 44.0), (0.002, 60.0 * 1525.0, 0.01), (0.0002, 1e9, 300.0)]
        {
            let pipe = Pipe { viscosity_pa_s, losses_kg_per_m3, wetted_m, ..sample() };
            for driving in [2e3, 2e4, 2e5, 2e6] {
                let flow = pipe.flow_m3_per_s(driving);
                assert!((pipe.drop_pa(flow) / driving - 1.0).abs() < 1e-9, "{pipe:?}, {driving} Pa");
            }
        }
        let pipe = Pipe { viscosity_pa_s: 0.001, ..sample() };
        assert!(pipe.reynolds(pipe.flow_m3_per_s(1e5)) > 1e5 && pipe.flow_m3_per_s(-1.0).abs() < 1e-300);
    }

    fn sample() -> Pipe {
        Pipe {
            bore_m: 0.0525,
            wetted_m: 44.0,
            roughness_m: STEEL_ROUGHNESS_M,
            viscosity_pa_s: 0.02,
            density_kg_per_m3: 1525.0,
            losses_kg_per_m3: 12.0 * 1525.0,
            more: 0.0,
        }
    }

    /// Expected: choked nitrogen as an ideal gas, kappa 1.4: `G = C* p0 / sqrt(R T0)`, C* = 0.684731 in closed form
    /// (ISO 9300): at 20 C and 25, 30, 35 and 100 psi gauge 635.4, 715.3, 795.4 and 1835.8 kg/(s m2).
    #[test]
    fn nitrogen_chokes_as_the_closed_form() {
        let rt = 296.8 * 293.15;
        for (psi, flux) in [(25.0, 635.4), (30.0, 715.3), (35.0, 795.4), (100.0, 1835.8)] {
            let from = psi * PSI_PA + 101_325.0;
            let got = gas_flow_kg_per_s(1.0, (from, 101_325.0), rt, KAPPA);
            assert!((got / flux - 1.0f64).abs() < 2e-3, "{psi} psi: {got}");
            assert!((got / (0.684_731 * from / rt.sqrt()) - 1.0).abs() < 1e-6);
        }
        assert!(gas_flow_kg_per_s(1.0, (1e5, 1e5), rt, KAPPA).abs() < 1e-12);
    }

    /// Expected: API Standard 520 Part I, sizing examples 1 (critical) and 2 (subcritical), as worked in the
    /// documentation of the library `fluids`: 24,270 kg/h of M 51 kg/kmol, k 1.11, Z 0.90 at 348 K and 670 kPa,
    /// coefficient of discharge 0.975: 3699 mm2 into the open, 4248 mm2 against 532 kPa.
    #[test]
    fn a_relief_valve_passes_as_in_the_examples_of_api_520() {
        let rt = 0.90 * 8.314_462_618 / 0.051 * 348.0;
        for (to_pa, mm2) in [(101_325.0, 3699.0), (532_000.0, 4248.0)] {
            let got = 3600.0 * gas_flow_kg_per_s(0.975 * mm2 * 1e-6, (670_000.0, to_pa), rt, 1.11);
            assert!((got / 24_270.0 - 1.0).abs() < 2e-3, "{to_pa} Pa: {got} kg/h");
        }
    }
}
