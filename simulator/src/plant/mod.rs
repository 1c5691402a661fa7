//! Trailer, hose, line and tank: what really happens, that no instrument shows exactly.
//!
//! What it believes about the world:
//! - The trailer is a closed horizontal shell. Gas stands above the liquid: ideal, at one steady temperature
//!   (the shell and the liquid hold it there over the hour of a transfer).
//! - A regulator feeds gas in proportion to how far the pressure is below its set point, up to what it can
//!   pass. That is its droop.
//! - The liquid leaves by the bottom through hose and line and enters the tank by the bottom. Driving pressure
//!   = pad - tank pressure + heads; it is spent as `R1 q + R2 q^2`: R1 by Hagen-Poiseuille,
//!   `128 mu L / (pi d^4)`, for the laminar flow of a viscous cargo, R2 = `K rho / (2 A^2)` by valve and
//!   fittings; beyond a Reynolds number of 2,000 by Colebrook's friction factor ([`flow`]). Only the wetted length
//!   rubs. Liquid has no inertia worth a second.
//! - A non-return valve stands in the line: nothing flows back.
//! - An empty line fills from the trailer's end, and nothing reaches the tank before it is full. Below the
//!   heel the outlet draws gas along; then the line is emptied the same way, gas behind liquid.
//! - The tank's vapour space breathes through an open vent.
//!
//! Method: classical Runge-Kutta of fourth order at a fixed step, cut where hose or line would turn over too
//! quickly. Every flow is taken from one place and given to another in the same expression, so masses balance
//! to rounding.

pub mod flow;

use crate::noise::{Chance, Wander};
use brimwatch::units::{ATMOSPHERE_PA, ZERO_CELSIUS_K};
use flow::{Pipe, STEEL_ROUGHNESS_M};
use std::f64::consts::{PI, TAU};

/// Standard gravity, m/s2 (exact by convention, ISO 80000-3).
const GRAVITY: f64 = 9.806_65;
/// Critical-flow constant of an ideal two-atomic gas, kappa 1.4: sqrt(k) (2/(k+1))^((k+1)/(2(k-1))), 1.
const CRITICAL_FLOW: f64 = 0.684_731;
/// The vent's flow is proportional to the pressure below about this, and to its root above, Pa. Keeps the
/// slope finite at zero; far below anything the vent is judged by.
const VENT_ROUND_PA: f64 = 500.0;
/// Hose or line hold gas bubbles until this far from full; then they count as full, 1.
const FULL: f64 = 0.999;
/// Below this fill gas breaks through the liquid that is left in a pipe, 1.
const SLUG_END: f64 = 0.3;
/// Wander is drawn anew on this grid, s, whatever the integrator's step.
const WANDER_STEP_S: f64 = 1.0;
/// Step of the integrator, s.
pub const STEP_S: f64 = 0.1;

/// Everything that the plant is made of. SI; pressures above the surrounding air.
#[derive(Debug, Clone, PartialEq)]
pub struct PlantSetup {
    /// Density of the liquid.
    pub density_kg_per_m3: f64,
    /// Viscosity of the liquid at its temperature.
    pub viscosity_pa_s: f64,
    /// Temperature of the liquid.
    pub liquid_c: f64,
    /// Inner volume of the trailer.
    pub trailer_m3: f64,
    /// Inner diameter of its shell.
    pub trailer_diameter_m: f64,
    /// Height of its outlet above the tank's bottom.
    pub outlet_height_m: f64,
    /// Mass of steel, wheels and all else that stands on the scale.
    pub steel_kg: f64,
    /// Outer volume of trailer and chassis: what the air buoys up.
    pub outer_m3: f64,
    /// Liquid on the trailer at the start.
    pub loaded_kg: f64,
    /// The outlet begins to draw gas below this much liquid.
    pub heel_kg: f64,
    /// Specific constant of the gas, J/(kg K).
    pub gas_j_per_kg_k: f64,
    /// Temperature of the gas.
    pub gas_c: f64,
    /// Pad pressure on arrival.
    pub pad_start_pa: f64,
    /// What the regulator is set to.
    pub regulator_pa: f64,
    /// Gas that it passes for each Pa below its set point.
    pub regulator_kg_per_s_pa: f64,
    /// Gas that it can pass at most.
    pub regulator_most_kg_per_s: f64,
    /// Bore of hose and line.
    pub bore_m: f64,
    /// Volume of the hose: trailer's outlet to meter.
    pub hose_m3: f64,
    /// Volume of the line: meter to tank.
    pub line_m3: f64,
    /// Hose and line hold liquid at the start.
    pub starts_full: bool,
    /// Loss coefficient of outlet and valve, wide open, 1.
    pub valve_k: f64,
    /// Loss coefficient of the fittings and the meter, 1.
    pub fittings_k: f64,
    /// Time the attendant takes to open the valve.
    pub opens_s: f64,
    /// Time it takes to close.
    pub closes_s: f64,
    /// Flow while the hose is blown clear.
    pub blow_m3_per_s: f64,
    /// Volume of the tank below rising levels, straight lines between: what is really so, not the table.
    pub tank_m_m3: Vec<(f64, f64)>,
    /// Level in the tank at the start.
    pub tank_start_m: f64,
    /// Effective area of the tank's vent.
    pub vent_m2: f64,
    /// Wander of the regulator's set point, one standard deviation, and its correlation time.
    pub regulator_wander_pa: f64,
    /// See above.
    pub regulator_wander_s: f64,
    /// Relative wander of the friction, one standard deviation, and its correlation time.
    pub friction_wander: f64,
    /// See above.
    pub friction_wander_s: f64,
    /// Seed of both.
    pub seed: u64,
}

/// What the attendant's hands do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Hands {
    /// Gas is led to the trailer.
    pub gas_on: bool,
    /// The valve is being opened or held open; otherwise closed.
    pub valve_open: bool,
    /// The hose is blown clear towards the tank.
    pub blowing: bool,
}

/// Masses and positions that the integrator carries, kg but for the valve.
#[derive(Debug, Clone, Copy, PartialEq)]
struct State {
    trailer: f64,
    hose: f64,
    line: f64,
    tank: f64,
    metered: f64,
    gas_trailer: f64,
    gas_supplied: f64,
    gas_pushed: f64,
    gas_tank: f64,
    gas_vented: f64,
    /// 0 closed to 1 open.
    valve: f64,
}

impl State {
    fn plus(&self, rate: &State, h: f64) -> State {
        State {
            trailer: self.trailer + rate.trailer * h,
            hose: self.hose + rate.hose * h,
            line: self.line + rate.line * h,
            tank: self.tank + rate.tank * h,
            metered: self.metered + rate.metered * h,
            gas_trailer: self.gas_trailer + rate.gas_trailer * h,
            gas_supplied: self.gas_supplied + rate.gas_supplied * h,
            gas_pushed: self.gas_pushed + rate.gas_pushed * h,
            gas_tank: self.gas_tank + rate.gas_tank * h,
            gas_vented: self.gas_vented + rate.gas_vented * h,
            valve: self.valve + rate.valve * h,
        }
    }
}

/// What flows at one instant, kg/s but for the volume.
#[derive(Debug, Clone, Copy)]
struct Flows {
    /// Through hose and line, m3/s.
    volume: f64,
    from_trailer: f64,
    through_meter: f64,
    into_tank: f64,
    gas_to_trailer: f64,
    /// Gas for blowing clear, straight from the supply.
    gas_to_hose: f64,
    /// Gas that leaves the trailer by its outlet.
    gas_from_trailer: f64,
    vented: f64,
}

/// The plant, alive.
#[derive(Debug, Clone)]
pub struct Plant {
    setup: PlantSetup,
    /// What the attendant does now.
    pub hands: Hands,
    start: State,
    state: State,
    /// The gas ahead of the liquid is out: of the hose, of the line.
    primed: [bool; 2],
    regulator: Wander,
    friction: Wander,
    time_s: f64,
    next_wander_s: f64,
    /// What other bays have brought into the tank since the start, m3.
    beside_m3: f64,
}

impl Plant {
    /// At rest, valve closed, no gas on.
    #[must_use]
    pub fn new(setup: PlantSetup) -> Plant {
        let rt = setup.gas_j_per_kg_k * (setup.gas_c + ZERO_CELSIUS_K);
        let full = if setup.starts_full { setup.density_kg_per_m3 } else { 0.0 };
        let (hose, line) = (setup.hose_m3 * full, setup.line_m3 * full);
        let tank_m3 = interpolate(&setup.tank_m_m3, setup.tank_start_m);
        let gas_m3 = setup.trailer_m3 - setup.loaded_kg / setup.density_kg_per_m3;
        let vapour_m3 =
            setup.tank_volume_m3() - tank_m3 + setup.hose_m3 + setup.line_m3 - (hose + line) / setup.density_kg_per_m3;
        let state = State {
            trailer: setup.loaded_kg,
            hose,
            line,
            tank: tank_m3 * setup.density_kg_per_m3,
            metered: 0.0,
            gas_trailer: (setup.pad_start_pa + ATMOSPHERE_PA) * gas_m3 / rt,
            gas_supplied: 0.0,
            gas_pushed: 0.0,
            gas_tank: ATMOSPHERE_PA * vapour_m3 / rt,
            gas_vented: 0.0,
            valve: 0.0,
        };
        let wander = |stream, sigma, time_s| Wander::new(Chance::new(setup.seed, stream), sigma, time_s);
        let regulator = wander(100, setup.regulator_wander_pa, setup.regulator_wander_s);
        let friction = wander(101, setup.friction_wander, setup.friction_wander_s);
        let primed = [setup.starts_full; 2];
        let hands = Hands::default();
        let (time_s, next_wander_s, beside_m3) = (0.0, 0.0, 0.0);
        Plant { setup, hands, start: state, state, primed, regulator, friction, time_s, next_wander_s, beside_m3 }
    }

    /// What it is made of.
    #[must_use]
    pub fn setup(&self) -> &PlantSetup {
        &self.setup
    }

    /// Time since the start, s.
    #[must_use]
    pub fn time_s(&self) -> f64 {
        self.time_s
    }

    /// So much have other bays brought into the tank since the start, m3.
    pub fn set_beside_m3(&mut self, m3: f64) {
        self.beside_m3 = m3;
    }

    /// Volume that this bay has brought into the tank, m3.
    #[must_use]
    pub fn received_m3(&self) -> f64 {
        self.received_kg() / self.setup.density_kg_per_m3
    }

    /// Lets [`STEP_S`] pass.
    pub fn step(&mut self) {
        self.advance(STEP_S);
    }

    /// Lets `duration_s` pass in one step, or in as many as hose and line need.
    pub fn advance(&mut self, duration_s: f64) {
        while self.next_wander_s <= self.time_s + 1e-9 {
            self.regulator.step(WANDER_STEP_S);
            self.friction.step(WANDER_STEP_S);
            self.next_wander_s += WANDER_STEP_S;
        }
        let mut left_s = duration_s;
        while left_s > 0.0 {
            let volume = self.flows(&self.state).volume;
            // A fifth of the smaller pipe at most passes in one step: explicit steps stay stable.
            let turn_over_s = 0.2 * self.setup.hose_m3.min(self.setup.line_m3) / volume.max(1e-9);
            let h = left_s.min(turn_over_s);
            self.runge_kutta(h);
            self.prime();
            left_s -= h;
        }
        self.time_s += duration_s;
    }

    fn runge_kutta(&mut self, h: f64) {
        let s = self.state;
        let a = self.rates(&s);
        let b = self.rates(&s.plus(&a, h / 2.0));
        let c = self.rates(&s.plus(&b, h / 2.0));
        let d = self.rates(&s.plus(&c, h));
        self.state = s.plus(&a, h / 6.0).plus(&b, h / 3.0).plus(&c, h / 3.0).plus(&d, h / 6.0);
        self.state.valve = self.state.valve.clamp(0.0, 1.0);
    }

    fn prime(&mut self) {
        let fills = self.fills(&self.state);
        for (primed, fill) in self.primed.iter_mut().zip(fills) {
            *primed = if *primed { fill > SLUG_END / 10.0 } else { fill >= FULL };
        }
    }

    fn rates(&self, s: &State) -> State {
        let f = self.flows(s);
        let travel = if self.hands.valve_open { 1.0 / self.setup.opens_s } else { -1.0 / self.setup.closes_s };
        let at_stop = if self.hands.valve_open { s.valve >= 1.0 } else { s.valve <= 0.0 };
        State {
            trailer: -f.from_trailer,
            hose: f.from_trailer - f.through_meter,
            line: f.through_meter - f.into_tank,
            tank: f.into_tank,
            metered: f.through_meter,
            gas_trailer: f.gas_to_trailer - f.gas_from_trailer,
            gas_supplied: f.gas_to_trailer + f.gas_to_hose,
            gas_pushed: f.gas_from_trailer + f.gas_to_hose,
            gas_tank: f.gas_from_trailer + f.gas_to_hose - f.vented,
            gas_vented: f.vented,
            valve: if at_stop { 0.0 } else { travel },
        }
    }

    fn flows(&self, s: &State) -> Flows {
        let p = &self.setup;
        let gas_density = (self.pad_pa(s) + ATMOSPHERE_PA) / self.rt();
        let liquid_share = smooth(2.0 * s.trailer / p.heel_kg - 1.0);
        let by_valve = self.volume_flow(s, liquid_share, gas_density);
        let blown = if self.hands.blowing { p.blow_m3_per_s } else { 0.0 };
        let volume = by_valve + blown;
        let mass = volume * p.density_kg_per_m3;
        let [hose, line] = self.fills(s);
        let choked = CRITICAL_FLOW * p.bore_area() * (self.pad_pa(s) + ATMOSPHERE_PA) / self.rt().sqrt();
        let from_trailer = by_valve * p.density_kg_per_m3 * liquid_share;
        // A full pipe gives out what pushes it, gas included; a filling one only passes on what comes in.
        let through_meter = if self.primed[0] { mass } else { from_trailer } * leaves(hose, self.primed[0]);
        let into_tank = if self.primed[1] { mass } else { through_meter } * leaves(line, self.primed[1]);
        let wanted = p.regulator_pa + self.regulator.value() - self.pad_pa(s);
        let gas_on = if self.hands.gas_on { 1.0 } else { 0.0 };
        Flows {
            volume,
            from_trailer,
            through_meter,
            into_tank,
            gas_to_trailer: gas_on * (wanted * p.regulator_kg_per_s_pa).clamp(0.0, p.regulator_most_kg_per_s),
            gas_to_hose: blown * gas_density,
            gas_from_trailer: (by_valve * gas_density * (1.0 - liquid_share)).min(choked),
            vented: self.vent_flow(s),
        }
    }

    /// Volume flow through the valve, m3/s.
    fn volume_flow(&self, s: &State, liquid_share: f64, gas_density: f64) -> f64 {
        let p = &self.setup;
        if s.valve <= 0.0 {
            return 0.0;
        }
        let area = p.bore_area();
        let pipes_m3 = p.hose_m3 + p.line_m3;
        let wetted_m = (s.hose + s.line) / p.density_kg_per_m3 / area;
        let at_valve = liquid_share * p.density_kg_per_m3 + (1.0 - liquid_share) * gas_density;
        let in_pipes = (s.hose + s.line) / pipes_m3 + gas_density * (1.0 - wetted_m * area / pipes_m3).max(0.0);
        let pipe = Pipe {
            bore_m: p.bore_m,
            wetted_m,
            roughness_m: STEEL_ROUGHNESS_M,
            viscosity_pa_s: p.viscosity_pa_s,
            density_kg_per_m3: p.density_kg_per_m3,
            losses_kg_per_m3: p.valve_k / (s.valve * s.valve) * at_valve + p.fittings_k * in_pipes,
            more: self.friction.value(),
        };
        pipe.flow_m3_per_s(self.driving_pa(s))
    }

    fn driving_pa(&self, s: &State) -> f64 {
        let heads = self.setup.outlet_height_m + self.depth_m(s) - self.level(s);
        self.pad_pa(s) - self.tank_pa(s) + self.setup.density_kg_per_m3 * GRAVITY * heads
    }

    /// Gas out through the tank's vent, kg/s; into the tank when negative.
    fn vent_flow(&self, s: &State) -> f64 {
        let dp = self.tank_pa(s);
        let density = ATMOSPHERE_PA / self.rt();
        let rounded = (dp * dp + VENT_ROUND_PA * VENT_ROUND_PA).sqrt().sqrt();
        self.setup.vent_m2 * (2.0 * density).sqrt() * dp / rounded
    }

    fn fills(&self, s: &State) -> [f64; 2] {
        let p = &self.setup;
        [s.hose / (p.hose_m3 * p.density_kg_per_m3), s.line / (p.line_m3 * p.density_kg_per_m3)]
    }

    fn rt(&self) -> f64 {
        self.setup.gas_j_per_kg_k * (self.setup.gas_c + ZERO_CELSIUS_K)
    }

    fn pad_pa(&self, s: &State) -> f64 {
        let gas_m3 = self.setup.trailer_m3 - s.trailer / self.setup.density_kg_per_m3;
        s.gas_trailer * self.rt() / gas_m3 - ATMOSPHERE_PA
    }

    /// The gas ahead of and behind the liquid in the pipes is counted with the tank's vapour space.
    fn tank_pa(&self, s: &State) -> f64 {
        let p = &self.setup;
        let liquid_m3 = (s.tank + s.hose + s.line) / p.density_kg_per_m3 + self.beside_m3;
        s.gas_tank * self.rt() / (p.tank_volume_m3() + p.hose_m3 + p.line_m3 - liquid_m3) - ATMOSPHERE_PA
    }

    fn level(&self, s: &State) -> f64 {
        let mut swapped = self.setup.tank_m_m3.iter().map(|&(m, m3)| (m3, m));
        interpolate_in(&mut swapped, s.tank / self.setup.density_kg_per_m3 + self.beside_m3)
    }

    /// Depth of liquid in the trailer: the angle a that the liquid subtends solves
    /// `a - sin a = 2 V / (L R^2)`, by Newton from the small-angle root `a = (6 x)^(1/3)`; the upper half is
    /// the mirror image of the lower.
    fn depth_m(&self, s: &State) -> f64 {
        let p = &self.setup;
        let x = TAU * (s.trailer / p.density_kg_per_m3 / p.trailer_m3).clamp(0.0, 1.0);
        let small = x.min(TAU - x);
        let mut angle = (6.0 * small).cbrt().min(PI);
        for _ in 0..6 {
            let slope = 1.0 - angle.cos();
            if slope > 0.0 {
                angle -= (angle - angle.sin() - small) / slope;
            }
        }
        let angle = if x > PI { TAU - angle } else { angle };
        p.trailer_diameter_m / 2.0 * (1.0 - (angle / 2.0).cos())
    }
}

/// What is really so, for instruments and tests.
impl Plant {
    /// Liquid on the trailer, kg.
    #[must_use]
    pub fn on_trailer_kg(&self) -> f64 {
        self.state.trailer
    }

    /// Liquid that has left the trailer, kg.
    #[must_use]
    pub fn left_trailer_kg(&self) -> f64 {
        self.start.trailer - self.state.trailer
    }

    /// Liquid in hose and line, kg.
    #[must_use]
    pub fn in_pipes_kg(&self) -> f64 {
        self.state.hose + self.state.line
    }

    /// Liquid in the hose alone, kg.
    #[must_use]
    pub fn in_hose_kg(&self) -> f64 {
        self.state.hose
    }

    /// Liquid received in the tank, kg.
    #[must_use]
    pub fn received_kg(&self) -> f64 {
        self.state.tank - self.start.tank
    }

    /// Liquid that has passed the meter, kg.
    #[must_use]
    pub fn metered_kg(&self) -> f64 {
        self.state.metered
    }

    /// Liquid that passes the meter now, kg/s.
    #[must_use]
    pub fn meter_kg_per_s(&self) -> f64 {
        self.flows(&self.state).through_meter
    }

    /// Share of liquid in what the hose gives the meter, by volume, 1.
    #[must_use]
    pub fn liquid_share_at_meter(&self) -> f64 {
        leaves(self.fills(&self.state)[0], self.primed[0])
    }

    /// Gas on the trailer, kg.
    #[must_use]
    pub fn trailer_gas_kg(&self) -> f64 {
        self.state.gas_trailer
    }

    /// What the truck scale bears, as a scale shows it, kg.
    ///
    /// A closed trailer displaces the same air all the time, so buoyancy is that of its outer volume. A scale
    /// is adjusted with weights of 8000 kg/m3 in air of 1.2 kg/m3 (OIML D 28:2004) and shows their mass, hence
    /// `W (1 - 1.2/8000) = steel + liquid + gas - 1.2 outer volume`.
    #[must_use]
    pub fn weighed_kg(&self) -> f64 {
        let mass = self.setup.steel_kg + self.state.trailer + self.state.gas_trailer;
        (mass - 1.2 * self.setup.outer_m3) / (1.0 - 1.2 / 8000.0)
    }

    /// Pad pressure on the trailer, Pa above the air.
    #[must_use]
    pub fn trailer_pa(&self) -> f64 {
        self.pad_pa(&self.state)
    }

    /// Pressure of the tank's vapour space, Pa above the air.
    #[must_use]
    pub fn tank_vapour_pa(&self) -> f64 {
        self.tank_pa(&self.state)
    }

    /// Level in the tank, m.
    #[must_use]
    pub fn level_m(&self) -> f64 {
        self.level(&self.state)
    }

    /// Position of the valve: 0 closed to 1 open.
    #[must_use]
    pub fn valve(&self) -> f64 {
        self.state.valve
    }

    /// Share of gas in what the trailer's outlet draws, by volume, 1.
    #[must_use]
    pub fn gas_share(&self) -> f64 {
        1.0 - smooth(2.0 * self.state.trailer / self.setup.heel_kg - 1.0)
    }

    /// Reynolds number in the line now: `4 m / (pi d mu)`.
    #[must_use]
    pub fn reynolds(&self) -> f64 {
        let mass = self.flows(&self.state).volume * self.setup.density_kg_per_m3;
        4.0 * mass / (PI * self.setup.bore_m * self.setup.viscosity_pa_s)
    }
}

impl PlantSetup {
    /// An invented works: 20 t of 50 % caustic soda at 21 C pushed by nitrogen through a 2-inch line into an
    /// upright tank of 2.9 m. The operating point is laminar, at a Reynolds number of about 1,000 to 1,800.
    #[must_use]
    pub fn nominal(seed: u64) -> PlantSetup {
        let diameter_m = 2.9;
        let height_m = 4.6;
        PlantSetup {
            density_kg_per_m3: caustic_density(21.0),
            viscosity_pa_s: caustic_viscosity(21.0),
            liquid_c: 21.0,
            trailer_m3: 19.0,
            trailer_diameter_m: 1.7,
            outlet_height_m: 0.9,
            steel_kg: 6_800.0,
            outer_m3: 21.0,
            loaded_kg: 20_040.0,
            heel_kg: 25.0,
            gas_j_per_kg_k: 296.8,
            gas_c: 18.0,
            pad_start_pa: 35_000.0,
            regulator_pa: 110_000.0,
            regulator_kg_per_s_pa: 5e-6,
            regulator_most_kg_per_s: 0.05,
            bore_m: 0.0525,
            hose_m3: 0.013,
            line_m3: 0.095,
            starts_full: false,
            valve_k: 4.0,
            fittings_k: 8.0,
            opens_s: 60.0,
            closes_s: 5.0,
            blow_m3_per_s: 0.001,
            tank_m_m3: vec![(0.0, 0.0), (height_m, PI / 4.0 * diameter_m * diameter_m * height_m)],
            tank_start_m: 1.2,
            vent_m2: 0.0049,
            regulator_wander_pa: 1_500.0,
            regulator_wander_s: 600.0,
            friction_wander: 0.005,
            friction_wander_s: 900.0,
            seed,
        }
    }

    fn bore_area(&self) -> f64 {
        PI / 4.0 * self.bore_m * self.bore_m
    }

    /// Volume of the tank to its top.
    #[must_use]
    pub fn tank_volume_m3(&self) -> f64 {
        self.tank_m_m3.last().map_or(0.0, |point| point.1)
    }
}

/// Density of 50 % caustic soda, kg/m3: a parabola through the table printed in the trade literature from 20
/// to 100 C (residual at most 0.03 kg/m3). Not confirmed against a source that has been read.
#[must_use]
pub fn caustic_density(celsius: f64) -> f64 {
    1539.977 - 0.738_568 * celsius + 2.866_96e-4 * celsius * celsius
}

/// Viscosity of 50 % caustic soda, Pa s: Laliberte's model (J. Chem. Eng. Data 54, 2009) as coded in the
/// library `chemicals` 1.5.2, straight lines in the logarithm between its values.
#[must_use]
pub fn caustic_viscosity(celsius: f64) -> f64 {
    let points = [(15.0, 0.122), (20.0, 0.0815), (25.0, 0.0570), (30.0, 0.0414), (40.0, 0.0238), (50.0, 0.0150)];
    interpolate(&points.map(|(c, pa_s): (f64, f64)| (c, pa_s.ln())), celsius).exp()
}

/// Share of the flow out of a pipe that is liquid: while it fills, none until nearly full; while it empties,
/// all until gas breaks through.
fn leaves(fill: f64, primed: bool) -> f64 {
    if primed { smooth(fill / SLUG_END) } else { smooth((fill - 0.9) / 0.1) }
}

/// From 0 at 0 to 1 at 1 without a corner: `3 x^2 - 2 x^3`.
fn smooth(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

/// Straight lines between points, the outer ones extended.
pub(crate) fn interpolate(points: &[(f64, f64)], x: f64) -> f64 {
    interpolate_in(&mut points.iter().copied(), x)
}

fn interpolate_in(points: &mut dyn Iterator<Item = (f64, f64)>, x: f64) -> f64 {
    let Some(mut low) = points.next() else { return 0.0 };
    let Some(mut high) = points.next() else { return low.1 };
    for next in points {
        if x <= high.0 {
            break;
        }
        (low, high) = (high, next);
    }
    low.1 + (high.1 - low.1) * (x - low.0) / (high.0 - low.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn calm() -> PlantSetup {
        PlantSetup { regulator_wander_pa: 0.0, friction_wander: 0.0, ..PlantSetup::nominal(1) }
    }

    /// Pressurise for five minutes, open, run to breakthrough, close 20 s after first gas, blow clear.
    /// `check` sees the plant after each step.
    fn whole_transfer(setup: PlantSetup, step_s: f64, mut check: impl FnMut(&Plant)) -> Plant {
        let mut plant = Plant::new(setup);
        plant.hands.gas_on = true;
        let mut first_gas_s = f64::INFINITY;
        while plant.time_s() < 9_000.0 {
            let t = plant.time_s() + 1e-6;
            if plant.gas_share() > 0.0 {
                first_gas_s = first_gas_s.min(t);
            }
            plant.hands.valve_open = t >= 300.0 && t < first_gas_s + 20.0;
            plant.hands.blowing = t >= first_gas_s + 40.0 && t < first_gas_s + 60.0;
            plant.advance(step_s);
            check(&plant);
            if t > first_gas_s + 120.0 {
                return plant;
            }
        }
        panic!("no breakthrough within 9,000 s: {} kg are left", plant.on_trailer_kg());
    }

    /// Conservation of mass.
    #[test]
    fn what_leaves_the_trailer_is_in_the_line_or_in_the_tank() {
        let mut worst = [0.0f64; 3];
        let setup = PlantSetup::nominal(5);
        let end = whole_transfer(setup, STEP_S, |plant| {
            let left = plant.left_trailer_kg();
            let liquid = left - plant.received_kg() - plant.in_pipes_kg();
            let meter = plant.metered_kg() - plant.received_kg() - (plant.in_pipes_kg() - plant.in_hose_kg());
            let s = plant.state;
            let trailer_gas = s.gas_supplied - s.gas_pushed - (s.gas_trailer - plant.start.gas_trailer);
            let tank_gas = s.gas_pushed - s.gas_vented - (s.gas_tank - plant.start.gas_tank);
            worst[0] = worst[0].max(liquid.abs() / 20_000.0);
            worst[1] = worst[1].max(meter.abs() / 20_000.0);
            worst[2] = worst[2].max((trailer_gas.abs() + tank_gas.abs()) / s.gas_supplied.max(1.0));
        });
        assert!(worst.iter().all(|&w| w < 1e-9), "relative imbalance of liquid, meter, gas: {worst:?}");
        assert!(end.left_trailer_kg() > 20_000.0, "only {} kg left the trailer", end.left_trailer_kg());
        assert!(end.state.gas_vented > 15.0, "the gas that the liquid displaced left by the vent");
    }

    /// The same transfer at half the step.
    #[test]
    fn half_the_step_changes_nothing_that_matters() {
        let trace = |step_s: f64| {
            let mut received = Vec::new();
            whole_transfer(calm(), step_s, |plant| received.push((plant.time_s(), plant.received_kg())));
            received
        };
        let (coarse, fine) = (trace(STEP_S), trace(STEP_S / 2.0));
        let at = |trace: &[(f64, f64)], s: f64| trace.iter().find(|p| p.0 >= s - 1e-6).map_or(f64::NAN, |p| p.1);
        for s in [340.0, 400.0, 1000.0, 2000.0, 3500.0] {
            let (a, b) = (at(&coarse, s), at(&fine, s));
            assert!((a - b).abs() < 0.1, "received at {s} s: {a} and {b} kg");
        }
        let (a, b) = (coarse[coarse.len() - 1], fine[fine.len() - 1]);
        assert!((a.1 / b.1 - 1.0).abs() < 1e-4, "total {} and {} kg", a.1, b.1);
        assert!((a.0 / b.0 - 1.0).abs() < 1e-4, "ended after {} and {} s", a.0, b.0);
    }

    /// Expected: Hagen-Poiseuille and `K rho v^2 / 2` (Crane TP-410), inserted with the flow that came out.
    #[test]
    fn steady_flow_spends_the_driving_pressure() {
        let mut plant = Plant::new(calm());
        plant.hands.gas_on = true;
        for _ in 0..3_000 {
            plant.step();
        }
        plant.hands.valve_open = true;
        for _ in 0..6_000 {
            plant.step();
        }
        let p = plant.setup();
        let velocity = plant.meter_kg_per_s() / p.density_kg_per_m3 / (PI / 4.0 * p.bore_m.powi(2));
        let wetted_m = plant.in_pipes_kg() / p.density_kg_per_m3 / (PI / 4.0 * p.bore_m.powi(2));
        let laminar = 32.0 * p.viscosity_pa_s * wetted_m * velocity / p.bore_m.powi(2);
        let local = (p.valve_k + p.fittings_k) * p.density_kg_per_m3 * velocity.powi(2) / 2.0;
        let driving = plant.driving_pa(&plant.state);
        assert!(((laminar + local) / driving - 1.0).abs() < 2e-3, "{laminar} + {local} of {driving} Pa");
        assert!((1_000.0..2_000.0).contains(&plant.reynolds()), "Reynolds number {}", plant.reynolds());
    }

    /// Expected: area of a circular segment over that of the circle at h/D, closed form.
    #[test]
    fn a_lying_shell_is_as_deep_as_its_segment() {
        for (depth, share) in [(0.05, 0.018_693), (0.25, 0.195_501), (0.45, 0.436_444), (0.5, 0.5), (0.9, 0.947_956)] {
            let mut setup = calm();
            setup.loaded_kg = share * setup.trailer_m3 * setup.density_kg_per_m3;
            let plant = Plant::new(setup);
            let got = plant.depth_m(&plant.state) / plant.setup().trailer_diameter_m;
            assert!((got - depth).abs() < 2e-6, "share {share}: depth {got} D, expected {depth} D");
        }
    }

    /// Expected: critical-flow constant at kappa 1.4 from its closed form.
    #[test]
    fn the_choked_flow_constant_is_its_closed_form() {
        let k = 1.4f64;
        let closed = k.sqrt() * (2.0 / (k + 1.0)).powf((k + 1.0) / (2.0 * (k - 1.0)));
        assert!((CRITICAL_FLOW - closed).abs() < 1e-6);
    }

    /// Expected: density table as printed in the trade literature (not confirmed against a read source);
    /// viscosity by Laliberte's model, `chemicals` 1.5.2.
    #[test]
    fn caustic_soda_is_as_tabulated() {
        for (c, kg_per_l) in [(20.0, 1.5253), (30.0, 1.5181), (40.0, 1.5109), (60.0, 1.4967), (80.0, 1.4827)] {
            assert!((caustic_density(c) / 1000.0 - kg_per_l).abs() < 8e-5, "{c} C: {}", caustic_density(c));
        }
        assert!((caustic_viscosity(20.0) - 0.0815).abs() < 1e-9 && (caustic_viscosity(40.0) - 0.0238).abs() < 1e-9);
    }
}
