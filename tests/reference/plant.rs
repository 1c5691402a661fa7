//! The simulated plant against fluids (vessels, friction) and scipy's `solve_ivp` (how a vessel empties).

use super::{ask_about, assert_close};
use brimwatch_simulator::noise::Chance;
use brimwatch_simulator::plant::flow::{Pipe, STEEL_ROUGHNESS_M};
use brimwatch_simulator::plant::vessel::{Ends, Vessel};
use serde::{Deserialize, Serialize};

#[derive(Serialize)]
struct VesselCase {
    diameter_m: f64,
    shell_m: f64,
    lies: bool,
    kind: &'static str,
    first: f64,
    second: f64,
    shares: Vec<f64>,
}

#[derive(Clone, Serialize)]
struct Discharge {
    vessel_m: f64,
    start_kg: f64,
    pad_pa: f64,
    bore_m: f64,
    length_m: f64,
    roughness_m: f64,
    loss_k: f64,
    density_kg_per_m3: f64,
    viscosity_pa_s: f64,
    times_s: Vec<f64>,
}

#[derive(Serialize)]
struct Asked {
    vessels: Vec<VesselCase>,
    discharges: Vec<Discharge>,
}

#[derive(Deserialize)]
struct Answered {
    volumes: Vec<Vec<f64>>,
    discharges: Vec<Vec<f64>>,
}

/// Vessels drawn at random, each kind of end, lying and standing.
fn vessels(chance: &mut Chance) -> Vec<(Vessel, VesselCase)> {
    let mut drawn = Vec::new();
    for i in 0..40 {
        let mut between = |low: f64, high: f64| low + (high - low) * chance.uniform();
        let (diameter_m, shell_m) = (between(1.5, 3.5), between(2.0, 8.0));
        let (ends, kind, first, second) = match i % 4 {
            0 => (Ends::Flat, "flat", 0.0, 0.0),
            1 => {
                let depth = between(0.15, 0.45);
                (Ends::Ellipsoidal(depth), "ellipsoidal", depth, 0.0)
            }
            2 => {
                let (dish, knuckle) = (between(0.8, 1.2), between(0.06, 0.15));
                (Ends::Torispherical { dish, knuckle }, "torispherical", dish, knuckle)
            }
            _ => (Ends::Hemispherical, "spherical", 0.0, 0.0),
        };
        let lies = i / 4 % 2 == 0;
        let shares = (0..8).map(|_| between(0.02, 0.98)).collect();
        let case = VesselCase { diameter_m, shell_m, lies, kind, first, second, shares };
        drawn.push((Vessel { diameter_m, shell_m, lies, ends }, case));
    }
    drawn
}

/// Emptying, half of it laminar, half turbulent; no case changes its regime on the way.
fn discharges(chance: &mut Chance) -> Vec<Discharge> {
    let times_s = [60.0, 300.0, 900.0, 1_500.0].to_vec();
    (0..24)
        .map(|i| {
            let mut between = |low: f64, high: f64| low + (high - low) * chance.uniform();
            Discharge {
                vessel_m: between(1.5, 2.5),
                start_kg: between(15_000.0, 25_000.0),
                pad_pa: between(60_000.0, 150_000.0),
                bore_m: between(0.045, 0.06),
                length_m: between(30.0, 80.0),
                roughness_m: STEEL_ROUGHNESS_M,
                loss_k: between(5.0, 20.0),
                density_kg_per_m3: between(900.0, 1_800.0),
                viscosity_pa_s: if i % 2 == 0 { between(0.08, 0.2) } else { between(0.001, 0.004) },
                times_s: times_s.clone(),
            }
        })
        .collect()
}

/// The simulator's own way to go on: Runge and Kutta, of fourth order, at its own step.
fn empty(case: &Discharge) -> Vec<f64> {
    let area = std::f64::consts::PI / 4.0 * case.vessel_m * case.vessel_m;
    let pipe = Pipe {
        bore_m: case.bore_m,
        wetted_m: case.length_m,
        roughness_m: case.roughness_m,
        viscosity_pa_s: case.viscosity_pa_s,
        density_kg_per_m3: case.density_kg_per_m3,
        losses_kg_per_m3: case.loss_k * case.density_kg_per_m3,
        more: 0.0,
    };
    let slope = |kg: f64| -case.density_kg_per_m3 * pipe.flow_m3_per_s(case.pad_pa + 9.806_65 * kg / area);
    let h = brimwatch_simulator::plant::STEP_S;
    let (mut kg, mut steps, mut seen) = (case.start_kg, 0_u32, Vec::new());
    for time_s in &case.times_s {
        while f64::from(steps) * h < time_s - h / 2.0 {
            let a = slope(kg);
            let b = slope(kg + a * h / 2.0);
            let c = slope(kg + b * h / 2.0);
            let d = slope(kg + c * h);
            kg += h / 6.0 * (a + 2.0 * b + 2.0 * c + d);
            steps += 1;
        }
        seen.push(kg);
    }
    seen
}

#[test]
fn vessels_hold_and_empty_as_fluids_and_scipy_say() {
    let mut chance = Chance::new(20_260_301, 1);
    let (vessels, cases): (Vec<_>, Vec<_>) = vessels(&mut chance).into_iter().unzip();
    let discharges = discharges(&mut chance);
    let asked = Asked { vessels: cases, discharges: discharges.clone() };
    let answered: Answered = ask_about("plant.py", &asked);
    for ((vessel, case), volumes) in vessels.iter().zip(&asked.vessels).zip(&answered.volumes) {
        for (share, volume) in case.shares.iter().zip(volumes) {
            assert_close(
                vessel.below_m3(share * vessel.height_m()),
                *volume,
                1e-5,
                format_args!("{vessel:?} at {share}"),
            );
        }
    }
    let mut turbulent = 0;
    for (case, masses) in discharges.iter().zip(&answered.discharges) {
        turbulent += usize::from(case.viscosity_pa_s < 0.01);
        for (got, expected) in empty(case).iter().zip(masses) {
            let left = case.start_kg - expected;
            assert_close(case.start_kg - got, left, 1e-6, format_args!("{} Pa s", case.viscosity_pa_s));
        }
    }
    assert_eq!((discharges.len(), turbulent), (24, 12));
}
