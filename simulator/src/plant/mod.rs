//! Trailer, hose, line and tank: what really happens, that no instrument shows exactly.
//!
//! What it believes about the world:
//! - The trailer is a closed horizontal shell. Gas stands above the liquid: ideal, of one temperature; what comes in
//!   brings its own, expanding cools it, shell and liquid bring it back.
//! - A regulator feeds gas in proportion to how far the pressure is below its set point, up to what it can
//!   pass. That is its droop. One that fails open passes what its orifice lets through.
//! - The relief valve of the trailer opens wide at its set pressure and shuts below its reseating pressure.
//! - The liquid leaves by the bottom through hose and line and enters the tank by the bottom. Driving pressure
//!   = pad - tank pressure + heads; it is spent as `R1 q + R2 q^2`: R1 by Hagen-Poiseuille,
//!   `128 mu L / (pi d^4)`, for the laminar flow of a viscous cargo, R2 = `K rho / (2 A^2)` by valve and
//!   fittings; beyond a Reynolds number of 2,000 by Colebrook's friction factor ([`flow`]). Only the wetted length
//!   rubs. Liquid has no inertia worth a second.
//! - A non-return valve stands in the line: nothing flows back.
//! - An empty line fills from the trailer's end, and nothing reaches the tank before it is full. Below the
//!   heel the outlet draws gas along; then the line is emptied the same way, gas behind liquid.
//! - A pump adds a pressure that falls with the square of the flow; vapour return joins the two gas spaces.
//! - The tank's vapour space breathes through an open vent. Its liquid is mixed, and gives heat to its surroundings.
//!
//! Method: classical Runge-Kutta of fourth order at a fixed step, cut where hose or line would turn over too
//! quickly. Every flow is taken from one place and given to another in the same expression, so masses balance
//! to rounding.

pub mod fault;
pub mod flow;
pub mod vessel;

use crate::noise::{Chance, Wander};
use brimwatch::units::{ATMOSPHERE_PA, ZERO_CELSIUS_K};
use fault::{PlantFault, Troubles};
use flow::{KAPPA, Pipe, STEEL_ROUGHNESS_M, gas_flow_kg_per_s};
use std::f64::consts::{PI, TAU};
use std::fmt;

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
/// A hole in a pipe gives liquid until the pipe is emptied to this, 1.
const HOLE_DRY: f64 = 0.05;
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
    /// Pressure of the gas supply.
    pub supply_pa: f64,
    /// Effective orifice of a regulator that stands wide open.
    pub regulator_m2: f64,
    /// Heat that the gas on the trailer takes from shell and liquid for each K that it is colder, W/K.
    pub gas_heat_w_per_k: f64,
    /// The trailer's relief valve opens at this.
    pub relief_pa: f64,
    /// It shuts at this.
    pub reseat_pa: f64,
    /// Its effective area.
    pub relief_m2: f64,
    /// What moves the liquid besides the pad.
    pub drive: Drive,
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
    /// Temperature of the liquid that is in the tank at the start.
    pub heel_c: f64,
    /// Temperature around the tank.
    pub around_c: f64,
    /// Heat that the tank gives to its surroundings, W/K.
    pub tank_heat_w_per_k: f64,
    /// Relative fall of the liquid's density, 1/K.
    pub expansion_per_k: f64,
    /// Heat capacity of the liquid, J/(kg K).
    pub liquid_j_per_kg_k: f64,
    /// Effective area of the tank's vent.
    pub vent_m2: f64,
    /// The vent lets gas out above this, and air in below the pressure around; 0: it is open.
    pub vent_opens_pa: f64,
    /// Gas is fed to the tank's vapour space below this; 0: none.
    pub blanket_pa: f64,
    /// Gas that is fed for each Pa below.
    pub blanket_kg_per_s_pa: f64,
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

/// Every parameter, a line each, none forgotten; its name carries its unit.
impl fmt::Display for PlantSetup {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self:#?}")
    }
}

/// What moves the liquid besides the pressure of the pad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Drive {
    /// Nothing.
    Pad,
    /// A pump in the line.
    Pump(Pump),
    /// A pump, and the tank's vapour space is joined to the trailer's gas space through this effective area, m2.
    PumpVapourReturn(Pump, f64),
}

/// A pump: its pressure falls with the square of the flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pump {
    /// Pressure without flow, Pa.
    pub shut_off_pa: f64,
    /// Flow without pressure, m3/s.
    pub most_m3_per_s: f64,
}

impl Drive {
    fn pump(self) -> Option<Pump> {
        match self {
            Drive::Pad => None,
            Drive::Pump(pump) | Drive::PumpVapourReturn(pump, _) => Some(pump),
        }
    }
}

/// What the attendant's hands do.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Hands {
    /// Gas is led to the trailer.
    pub gas_on: bool,
    /// The valve is being opened or held open; otherwise closed.
    pub valve_open: bool,
    /// The hose is blown clear towards the tank.
    pub blowing: bool,
    /// The emergency stop is pressed: valve, gas and blowing are shut, whatever else the hands do.
    pub stopped: bool,
    /// Somebody has changed what the regulator is set to by this.
    pub set_point_pa: f64,
}

/// A struct of numbers that can be gone on with along their rates.
macro_rules! state {
    ($($(#[$doc:meta])* $field:ident,)*) => {
        /// What the integrator carries: kg, but where said. As a rate: the same each second.
        #[derive(Debug, Clone, Copy, PartialEq)]
        struct State { $($(#[$doc])* $field: f64,)* }

        impl State {
            fn plus(&self, rate: &State, h: f64) -> State {
                State { $($field: self.$field + rate.$field * h,)* }
            }
        }
    };
}

state! {
    trailer,
    hose,
    line,
    /// In the tank, whatever way it came.
    tank,
    /// What the line gave the tank.
    received,
    metered,
    /// Leaked to the ground.
    spilled,
    /// Leaked onto the scale's deck.
    on_deck,
    /// Gone to another tank.
    elsewhere,
    /// Drawn off the tank.
    drawn,
    /// Come into the tank by another way.
    inflow,
    gas_trailer,
    gas_supplied,
    gas_pushed,
    gas_relieved,
    /// From the tank's vapour space back to the trailer.
    gas_returned,
    /// Fed to the tank's vapour space.
    gas_blanketed,
    gas_tank,
    gas_vented,
    /// Temperature of the gas on the trailer, K.
    gas_k,
    /// Temperature of the liquid in the tank, C.
    tank_c,
    /// 0 closed to 1 open.
    valve,
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
    /// From the tank's vapour space to the trailer's gas.
    returned: f64,
    relieved: f64,
    vented: f64,
    blanketed: f64,
    /// To the ground, onto the deck, to the ground behind the meter, to another tank, out of the tank, into it.
    leaks: Leaks,
}

/// Liquid that goes where it should not, kg/s.
#[derive(Debug, Clone, Copy)]
struct Leaks {
    before: f64,
    on_deck: f64,
    after: f64,
    elsewhere: f64,
    drawn: f64,
    inflow: f64,
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
    faults: Vec<PlantFault>,
    relief_open: bool,
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
            tank: tank_m3 * setup.density_at(setup.heel_c),
            received: 0.0,
            metered: 0.0,
            spilled: 0.0,
            on_deck: 0.0,
            elsewhere: 0.0,
            drawn: 0.0,
            inflow: 0.0,
            gas_trailer: (setup.pad_start_pa + ATMOSPHERE_PA) * gas_m3 / rt,
            gas_supplied: 0.0,
            gas_pushed: 0.0,
            gas_relieved: 0.0,
            gas_returned: 0.0,
            gas_blanketed: 0.0,
            gas_tank: (setup.blanket_pa + ATMOSPHERE_PA) * vapour_m3 / rt,
            gas_vented: 0.0,
            gas_k: setup.gas_c + ZERO_CELSIUS_K,
            tank_c: setup.heel_c,
            valve: 0.0,
        };
        let wander = |stream, sigma, time_s| Wander::new(Chance::new(setup.seed, stream), sigma, time_s);
        let regulator = wander(100, setup.regulator_wander_pa, setup.regulator_wander_s);
        let friction = wander(101, setup.friction_wander, setup.friction_wander_s);
        let primed = [setup.starts_full; 2];
        let hands = Hands::default();
        let (time_s, next_wander_s, beside_m3) = (0.0, 0.0, 0.0);
        Plant {
            setup,
            hands,
            start: state,
            state,
            primed,
            regulator,
            friction,
            time_s,
            next_wander_s,
            beside_m3,
            faults: Vec::new(),
            relief_open: false,
        }
    }

    /// Lets something go wrong, by the plant's clock.
    pub fn add_fault(&mut self, fault: PlantFault) {
        self.faults.push(fault);
    }

    /// Everything that went wrong is mended; what was spilled stays so.
    pub fn mend(&mut self) {
        self.faults.clear();
    }

    /// One of the ways it may go on from here: regulator and friction wander by another chance, and the regulator may be set so
    /// much higher, Pa, and have wandered so much lower: now the pressure is the same.
    #[must_use]
    pub fn another_future(&self, seed: u64, set_higher_pa: f64) -> Plant {
        let mut plant = self.clone();
        plant.setup.regulator_pa += set_higher_pa;
        plant.regulator = plant.regulator.moved(-set_higher_pa);
        plant.regulator = plant.regulator.by(Chance::new(seed, 100));
        plant.friction = plant.friction.by(Chance::new(seed, 101));
        plant
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
            let troubles = Troubles::at(&self.faults, self.time_s);
            let flows = self.flows(&self.state, &troubles);
            // A fifth of the smaller pipe at most passes in one step: explicit steps stay stable.
            let turn_over_s = 0.2 * self.setup.hose_m3.min(self.setup.line_m3) / flows.volume.max(1e-9);
            let h = left_s.min(turn_over_s);
            self.runge_kutta(h, &flows, &troubles);
            self.prime();
            self.relieve();
            left_s -= h;
        }
        self.time_s += duration_s;
    }

    /// From what flows now. What goes wrong stands still within a step.
    fn runge_kutta(&mut self, h: f64, now: &Flows, troubles: &Troubles) {
        let s = self.state;
        let rates = |s: &State| self.rates(s, &self.flows(s, troubles), troubles);
        let a = self.rates(&s, now, troubles);
        let b = rates(&s.plus(&a, h / 2.0));
        let c = rates(&s.plus(&b, h / 2.0));
        let d = rates(&s.plus(&c, h));
        self.state = s.plus(&a, h / 6.0).plus(&b, h / 3.0).plus(&c, h / 3.0).plus(&d, h / 6.0);
        self.state.valve = self.state.valve.clamp(0.0, 1.0);
    }

    fn prime(&mut self) {
        let fills = self.fills(&self.state);
        for (primed, fill) in self.primed.iter_mut().zip(fills) {
            *primed = if *primed { fill > SLUG_END / 10.0 } else { fill >= FULL };
        }
    }

    fn relieve(&mut self) {
        let pad = self.pad_pa(&self.state);
        self.relief_open = if self.relief_open { pad > self.setup.reseat_pa } else { pad >= self.setup.relief_pa };
    }

    fn rates(&self, s: &State, f: &Flows, troubles: &Troubles) -> State {
        let opens = self.hands.valve_open && !self.hands.stopped && !troubles.driven_off;
        let travel = if opens { 1.0 / self.setup.opens_s } else { -1.0 / self.setup.closes_s };
        let at_stop = if opens { s.valve >= 1.0 } else { s.valve <= 0.0 };
        let leaks = f.leaks;
        let received = f.into_tank - leaks.after - leaks.elsewhere;
        State {
            trailer: -f.from_trailer,
            hose: f.from_trailer - f.through_meter - leaks.before - leaks.on_deck,
            line: f.through_meter - f.into_tank,
            tank: received + leaks.inflow - leaks.drawn,
            received,
            metered: f.through_meter,
            spilled: leaks.before + leaks.after,
            on_deck: leaks.on_deck,
            elsewhere: leaks.elsewhere,
            drawn: leaks.drawn,
            inflow: leaks.inflow,
            gas_trailer: f.gas_to_trailer + f.returned - f.gas_from_trailer - f.relieved,
            gas_supplied: f.gas_to_trailer + f.gas_to_hose,
            gas_pushed: f.gas_from_trailer + f.gas_to_hose,
            gas_relieved: f.relieved,
            gas_returned: f.returned,
            gas_blanketed: f.blanketed,
            gas_tank: f.gas_from_trailer + f.gas_to_hose + f.blanketed - f.vented - f.returned,
            gas_vented: f.vented,
            gas_k: self.gas_warms(s, f),
            tank_c: self.tank_warms(s, received + leaks.inflow),
            valve: if at_stop { 0.0 } else { travel },
        }
    }

    /// First law for the gas on the trailer, K/s: `m cv dT/dt = sum of inflows (cp T_in - cv T) - R T outflows
    /// - p dV/dt + heat from shell and liquid`, ideal with cp - cv = R and cp = 7/2 R.
    fn gas_warms(&self, s: &State, f: &Flows) -> f64 {
        let p = &self.setup;
        let (r, home_k) = (p.gas_j_per_kg_k, p.gas_c + ZERO_CELSIUS_K);
        let (cp, cv) = (3.5 * r, 2.5 * r);
        let comes_in = f.gas_to_trailer + f.returned.max(0.0);
        let goes_out = f.gas_from_trailer + f.relieved + (-f.returned).max(0.0);
        let grows_m3_per_s = f.from_trailer / p.density_kg_per_m3;
        let work_w = (self.pad_pa(s) + ATMOSPHERE_PA) * grows_m3_per_s;
        let heat_w = p.gas_heat_w_per_k * (home_k - s.gas_k);
        let carried_w = comes_in * (cp * home_k - cv * s.gas_k) - goes_out * r * s.gas_k;
        (carried_w - work_w + heat_w) / (s.gas_trailer * cv)
    }

    /// Mixing and loss of heat of the liquid in the tank, K/s.
    fn tank_warms(&self, s: &State, comes_in: f64) -> f64 {
        let p = &self.setup;
        let loss = p.tank_heat_w_per_k / p.liquid_j_per_kg_k * (s.tank_c - p.around_c);
        (comes_in * (p.liquid_c - s.tank_c) - loss) / s.tank.max(1.0)
    }

    fn flows(&self, s: &State, troubles: &Troubles) -> Flows {
        let p = &self.setup;
        let gas_density = (self.pad_pa(s) + ATMOSPHERE_PA) / self.rt(s);
        let liquid_share = smooth(2.0 * s.trailer / p.heel_kg - 1.0);
        let by_valve = self.volume_flow(s, troubles, liquid_share, gas_density);
        let has_supply = !troubles.supply_lost && !troubles.driven_off && !self.hands.stopped;
        let blown = if self.hands.blowing && has_supply { p.blow_m3_per_s } else { 0.0 };
        let volume = by_valve + blown;
        let mass = volume * p.density_kg_per_m3;
        let [hose, line] = self.fills(s);
        let choked = CRITICAL_FLOW * p.bore_area() * (self.pad_pa(s) + ATMOSPHERE_PA) / self.rt(s).sqrt();
        let from_trailer = by_valve * p.density_kg_per_m3 * liquid_share;
        // A hole gives as long as there is liquid at it.
        let (at_hose, at_line) = (smooth(hose / HOLE_DRY), smooth(line / HOLE_DRY));
        let (before, on_deck) = (troubles.leak_before * at_hose, troubles.leak_on_deck * at_hose);
        // A full pipe gives out what pushes it, gas included; a filling one only passes on what comes in.
        let to_meter = (if self.primed[0] { mass } else { from_trailer } - before - on_deck).max(0.0);
        let through_meter = to_meter * leaves(hose, self.primed[0]);
        let into_tank = if self.primed[1] { (mass - before - on_deck).max(0.0) } else { through_meter };
        let into_tank = into_tank * leaves(line, self.primed[1]);
        let after = (troubles.leak_after * at_line).min(into_tank);
        let leaks = Leaks {
            before,
            on_deck,
            after,
            elsewhere: (into_tank - after) * troubles.other_tank,
            drawn: if s.tank > 0.0 { troubles.draw_off } else { 0.0 },
            inflow: troubles.inflow,
        };
        Flows {
            volume,
            from_trailer,
            through_meter,
            into_tank,
            gas_to_trailer: if has_supply { self.gas_fed(s, troubles) } else { 0.0 },
            gas_to_hose: blown * gas_density,
            gas_from_trailer: (by_valve * gas_density * (1.0 - liquid_share)).min(choked),
            returned: self.returned(s),
            relieved: self.relieved(s),
            vented: self.vent_flow(s),
            blanketed: self.blanketed(s),
            leaks,
        }
    }

    /// What the regulator passes, kg/s.
    fn gas_fed(&self, s: &State, troubles: &Troubles) -> f64 {
        let p = &self.setup;
        if !self.hands.gas_on {
            return 0.0;
        }
        if troubles.regulator_open {
            let rt = p.gas_j_per_kg_k * (p.gas_c + ZERO_CELSIUS_K);
            let (from, to) = (p.supply_pa + ATMOSPHERE_PA, self.pad_pa(s) + ATMOSPHERE_PA);
            return gas_flow_kg_per_s(p.regulator_m2, (from, to), rt, KAPPA);
        }
        let wanted =
            p.regulator_pa + self.hands.set_point_pa + troubles.set_point_pa + self.regulator.value() - self.pad_pa(s);
        (wanted * p.regulator_kg_per_s_pa).clamp(0.0, p.regulator_most_kg_per_s)
    }

    fn relieved(&self, s: &State) -> f64 {
        if !self.relief_open {
            return 0.0;
        }
        gas_flow_kg_per_s(self.setup.relief_m2, (self.pad_pa(s) + ATMOSPHERE_PA, ATMOSPHERE_PA), self.rt(s), KAPPA)
    }

    /// Vapour return: from the tank to the trailer, or the other way where the trailer's pressure is higher.
    fn returned(&self, s: &State) -> f64 {
        let Drive::PumpVapourReturn(_, area_m2) = self.setup.drive else { return 0.0 };
        opening(area_m2, self.tank_pa(s) - self.pad_pa(s), ATMOSPHERE_PA / self.rt(s))
    }

    /// Volume flow through the valve, m3/s.
    fn volume_flow(&self, s: &State, troubles: &Troubles, liquid_share: f64, gas_density: f64) -> f64 {
        let p = &self.setup;
        if s.valve <= 0.0 || troubles.driven_off {
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
            losses_kg_per_m3: p.valve_k / (s.valve * s.valve) * at_valve + (p.fittings_k + troubles.plug_k) * in_pipes,
            more: self.friction.value(),
        };
        let Some(pump) = p.drive.pump() else { return pipe.flow_m3_per_s(self.driving_pa(s)) };
        // The pump's curve is a loss that goes by the square of the flow, from its pressure without flow. It draws no gas.
        let falls = pump.shut_off_pa / (pump.most_m3_per_s * pump.most_m3_per_s);
        let curve = falls * 2.0 * area * area / (1.0 + pipe.more);
        let losses_kg_per_m3 = pipe.losses_kg_per_m3 + curve;
        let lift = pump.shut_off_pa * liquid_share;
        Pipe { losses_kg_per_m3, ..pipe }.flow_m3_per_s(self.driving_pa(s) + lift)
    }

    fn driving_pa(&self, s: &State) -> f64 {
        let heads = self.setup.outlet_height_m + self.depth_m(s) - self.level(s);
        self.pad_pa(s) - self.tank_pa(s) + self.setup.density_kg_per_m3 * GRAVITY * heads
    }

    /// Gas out through the tank's vent, kg/s; into the tank when negative.
    fn vent_flow(&self, s: &State) -> f64 {
        let dp = self.tank_pa(s);
        let beyond = if dp > 0.0 { (dp - self.setup.vent_opens_pa).max(0.0) } else { dp };
        opening(self.setup.vent_m2, beyond, ATMOSPHERE_PA / self.home_rt())
    }

    /// Gas that keeps the tank's vapour space from falling below its blanket, kg/s.
    fn blanketed(&self, s: &State) -> f64 {
        let p = &self.setup;
        if p.blanket_pa > 0.0 { (p.blanket_pa - self.tank_pa(s)).max(0.0) * p.blanket_kg_per_s_pa } else { 0.0 }
    }

    fn fills(&self, s: &State) -> [f64; 2] {
        let p = &self.setup;
        [s.hose / (p.hose_m3 * p.density_kg_per_m3), s.line / (p.line_m3 * p.density_kg_per_m3)]
    }

    /// Of the gas on the trailer.
    fn rt(&self, s: &State) -> f64 {
        self.setup.gas_j_per_kg_k * s.gas_k
    }

    /// Of the gas around the tank and in its vapour space.
    fn home_rt(&self) -> f64 {
        self.setup.gas_j_per_kg_k * (self.setup.gas_c + ZERO_CELSIUS_K)
    }

    fn tank_m3(&self, s: &State) -> f64 {
        s.tank / self.setup.density_at(s.tank_c) + self.beside_m3
    }

    fn pad_pa(&self, s: &State) -> f64 {
        let gas_m3 = self.setup.trailer_m3 - s.trailer / self.setup.density_kg_per_m3;
        s.gas_trailer * self.rt(s) / gas_m3 - ATMOSPHERE_PA
    }

    /// The gas ahead of and behind the liquid in the pipes is counted with the tank's vapour space.
    fn tank_pa(&self, s: &State) -> f64 {
        let p = &self.setup;
        let liquid_m3 = self.tank_m3(s) + (s.hose + s.line) / p.density_kg_per_m3;
        s.gas_tank * self.home_rt() / (p.tank_volume_m3() + p.hose_m3 + p.line_m3 - liquid_m3) - ATMOSPHERE_PA
    }

    fn level(&self, s: &State) -> f64 {
        let mut swapped = self.setup.tank_m_m3.iter().map(|&(m, m3)| (m3, m));
        interpolate_in(&mut swapped, self.tank_m3(s))
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
            let (sin, cos) = angle.sin_cos();
            let step = (angle - sin - small) / (1.0 - cos).max(f64::MIN_POSITIVE);
            angle -= step;
            if step.abs() < 1e-9 {
                // Newton's error is squared at each step: what is left is below rounding.
                break;
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
        self.state.received
    }

    /// Liquid that leaked to the ground, and onto the scale's deck, kg.
    #[must_use]
    pub fn spilled_kg(&self) -> (f64, f64) {
        (self.state.spilled, self.state.on_deck)
    }

    /// Liquid that went to another tank, kg.
    #[must_use]
    pub fn elsewhere_kg(&self) -> f64 {
        self.state.elsewhere
    }

    /// Liquid that came into the tank by other ways, less what was drawn off, kg.
    #[must_use]
    pub fn other_inflow_kg(&self) -> f64 {
        self.state.inflow - self.state.drawn
    }

    /// Liquid that is drawn off the tank now, kg/s.
    #[must_use]
    pub fn draw_off_kg_per_s(&self) -> f64 {
        self.troubles().draw_off
    }

    /// Temperature of the liquid in the tank, C.
    #[must_use]
    pub fn tank_c(&self) -> f64 {
        self.state.tank_c
    }

    /// Density of the liquid in the tank, kg/m3.
    #[must_use]
    pub fn tank_density_kg_per_m3(&self) -> f64 {
        self.setup.density_at(self.state.tank_c)
    }

    /// Pressure of the gas supply, Pa above the air.
    #[must_use]
    pub fn supply_pa(&self) -> f64 {
        if self.troubles().supply_lost { 0.0 } else { self.setup.supply_pa }
    }

    /// Temperature of the gas on the trailer, C.
    #[must_use]
    pub fn gas_c(&self) -> f64 {
        self.state.gas_k - ZERO_CELSIUS_K
    }

    /// The trailer's relief valve is open.
    #[must_use]
    pub fn is_relieving(&self) -> bool {
        self.relief_open
    }

    fn troubles(&self) -> Troubles {
        Troubles::at(&self.faults, self.time_s)
    }

    /// Liquid that has passed the meter, kg.
    #[must_use]
    pub fn metered_kg(&self) -> f64 {
        self.state.metered
    }

    /// Gas that hose and line gave to the tank, kg.
    #[must_use]
    pub fn gas_blown_kg(&self) -> f64 {
        self.state.gas_pushed
    }

    /// Liquid that passes the meter now, kg/s.
    #[must_use]
    pub fn meter_kg_per_s(&self) -> f64 {
        self.flows(&self.state, &self.troubles()).through_meter
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
        let deck = self.state.on_deck;
        if self.troubles().driven_off {
            return deck / (1.0 - 1.2 / 8000.0);
        }
        let mass = self.setup.steel_kg + self.state.trailer + self.state.gas_trailer + deck;
        (mass - 1.2 * self.setup.outer_m3) / (1.0 - 1.2 / 8000.0)
    }

    /// Pad pressure where its transmitter is: on the trailer, or, once that has driven off, in the open air; Pa above it.
    #[must_use]
    pub fn trailer_pa(&self) -> f64 {
        if self.troubles().driven_off { 0.0 } else { self.pad_pa(&self.state) }
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
        let mass = self.flows(&self.state, &self.troubles()).volume * self.setup.density_kg_per_m3;
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
            supply_pa: 300_000.0,
            regulator_m2: 2.8e-5,
            gas_heat_w_per_k: 2_000.0,
            relief_pa: 276_000.0,
            reseat_pa: 248_000.0,
            relief_m2: 2e-4,
            drive: Drive::Pad,
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
            heel_c: 21.0,
            around_c: 21.0,
            tank_heat_w_per_k: 150.0,
            expansion_per_k: 4.8e-4,
            liquid_j_per_kg_k: 3_200.0,
            vent_m2: 0.0049,
            vent_opens_pa: 0.0,
            blanket_pa: 0.0,
            blanket_kg_per_s_pa: 2e-5,
            regulator_wander_pa: 1_500.0,
            regulator_wander_s: 600.0,
            friction_wander: 0.005,
            friction_wander_s: 900.0,
            seed,
        }
    }

    /// Density of the liquid at a temperature, kg/m3.
    fn density_at(&self, celsius: f64) -> f64 {
        self.density_kg_per_m3 * (1.0 - self.expansion_per_k * (celsius - self.liquid_c))
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

/// Gas through an opening, kg/s, by the difference of pressure; rounded near none.
fn opening(area_m2: f64, dp_pa: f64, density: f64) -> f64 {
    let rounded = (dp_pa * dp_pa + VENT_ROUND_PA * VENT_ROUND_PA).sqrt().sqrt();
    area_m2 * (2.0 * density).sqrt() * dp_pa / rounded
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
        PlantSetup { regulator_wander_pa: 0.0, friction_wander: 0.0, supply_pa: 550_000.0, ..PlantSetup::nominal(1) }
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

    /// What is missing of liquid, at the meter, in the tank, and of gas, as parts of all that there was.
    fn imbalance(plant: &Plant) -> f64 {
        let (s, start) = (plant.state, plant.start);
        let pipes = s.hose + s.line - start.hose - start.line;
        let liquid = plant.left_trailer_kg() - pipes - s.received - s.spilled - s.on_deck - s.elsewhere;
        let tank = s.tank - start.tank - s.received - s.inflow + s.drawn;
        let supplied_to_hose = s.gas_supplied - s.gas_pushed;
        let trailer_gas = supplied_to_hose + s.gas_returned - s.gas_relieved - (s.gas_trailer - start.gas_trailer);
        let tank_gas = s.gas_pushed + s.gas_blanketed - s.gas_vented - s.gas_returned - (s.gas_tank - start.gas_tank);
        let gas_kg = s.gas_supplied + start.gas_trailer + start.gas_tank;
        (liquid.abs() + tank.abs()) / 20_000.0 + (trailer_gas.abs() + tank_gas.abs()) / gas_kg
    }

    /// Conservation of mass, liquid and gas, to 1e-9 of what there is, at every step of a whole transfer by every drive.
    #[test]
    fn nothing_is_lost_whatever_drives_it() {
        let pump = Pump { shut_off_pa: 250_000.0, most_m3_per_s: 0.006 };
        for drive in [Drive::Pad, Drive::Pump(pump), Drive::PumpVapourReturn(pump, 2e-4)] {
            let mut worst = 0.0f64;
            let setup = PlantSetup { drive, ..PlantSetup::nominal(5) };
            let end = whole_transfer(setup, STEP_S, |plant| worst = worst.max(imbalance(plant)));
            assert!(worst < 1e-9, "{drive:?}: {worst}");
            assert!(end.left_trailer_kg() > 19_990.0, "{drive:?}: only {} kg left", end.left_trailer_kg());
            let meter = end.metered_kg() - end.received_kg() - (end.in_pipes_kg() - end.in_hose_kg());
            assert!(meter.abs() < 20_000.0 * 1e-9, "{drive:?}: {meter} kg between meter and tank");
            assert!(end.state.gas_vented > 5.0, "{drive:?}: the gas that the liquid displaced left by the vent");
        }
    }

    /// The same with everything that can go wrong, each with an effect of its own.
    #[test]
    fn nothing_is_lost_whatever_goes_wrong() {
        use fault::Mishap as M;
        let size = |what| match what {
            M::LeakBeforeMeter | M::LeakOnDeck | M::LeakAfterMeter | M::DrawOff | M::Inflow => 0.25,
            M::OtherTank => 0.3,
            M::PadChange => -20_000.0,
            M::PadCreep => 30.0,
            M::Plug => 200.0,
            M::Clogging => 0.1,
            M::RegulatorOpen | M::SupplyLost | M::DrivesOff => 0.0,
        };
        for what in M::ALL {
            let mut plant = Plant::new(calm());
            plant.add_fault(PlantFault::new(what, 900.0, size(what)));
            (plant.hands.gas_on, plant.hands.valve_open) = (true, true);
            let (mut worst, mut rate_before, mut pad_most) = (0.0f64, 0.0, 0.0f64);
            while plant.time_s() < 1_500.0 {
                if plant.time_s() < 899.9 {
                    rate_before = plant.meter_kg_per_s();
                }
                plant.step();
                worst = worst.max(imbalance(&plant));
                pad_most = pad_most.max(plant.trailer_pa());
            }
            assert!(worst < 1e-9, "{what}: {worst}");
            let (ground, deck) = plant.spilled_kg();
            let past_s = plant.time_s() - 900.0;
            let slower = plant.meter_kg_per_s() < 0.97 * rate_before;
            let seen = match what {
                M::LeakBeforeMeter | M::LeakAfterMeter => (ground - 0.25 * past_s).abs() < 1.0,
                M::LeakOnDeck => (deck - 0.25 * past_s).abs() < 1.0 && ground.abs() < 1e-12,
                M::OtherTank => plant.elsewhere_kg() > 0.25 * rate_before * past_s,
                M::DrawOff => (plant.other_inflow_kg() + 0.25 * past_s).abs() < 1e-6,
                M::Inflow => (plant.other_inflow_kg() - 0.25 * past_s).abs() < 1e-6,
                M::PadCreep => pad_most > 115_000.0,
                M::RegulatorOpen => pad_most > 200_000.0,
                M::PadChange | M::SupplyLost | M::Plug | M::Clogging => slower,
                M::DrivesOff => plant.weighed_kg().abs() < 1e-9 && plant.meter_kg_per_s().abs() < 1e-9,
            };
            assert!(seen, "{what} has no effect: {:?}, {pad_most} Pa, {rate_before} kg/s", plant.state);
        }
    }

    /// A valve that opens at 276 kPa and shuts at 248 keeps the pad there; choked nitrogen by its own closed form.
    #[test]
    fn a_regulator_that_fails_open_is_caught_by_the_relief_valve() {
        let mut plant = Plant::new(PlantSetup { pad_start_pa: 100_000.0, ..calm() });
        plant.add_fault(PlantFault::new(fault::Mishap::RegulatorOpen, 0.0, 0.0));
        plant.hands.gas_on = true;
        let (mut first_s, mut most) = (None, 0.0f64);
        while plant.time_s() < 600.0 {
            plant.step();
            most = most.max(plant.trailer_pa());
            if first_s.is_none() && plant.is_relieving() {
                first_s = Some(plant.time_s());
            }
        }
        let p = plant.setup();
        // By hand: the orifice chokes at 0.684731 A p0 / sqrt(R T); the gas space takes 176 kPa more.
        let fed = CRITICAL_FLOW * p.regulator_m2 * (p.supply_pa + ATMOSPHERE_PA) / plant.home_rt().sqrt();
        let gas_m3 = p.trailer_m3 - p.loaded_kg / p.density_kg_per_m3;
        // Filling heats: between once and kappa times as fast as at one temperature.
        let slow_s = (p.relief_pa - p.pad_start_pa) * gas_m3 / (fed * plant.home_rt());
        let took = first_s.expect("it opens");
        assert!((slow_s / 1.45..slow_s * 1.01).contains(&took), "{took} s, by hand {slow_s}");
        assert!(most < p.relief_pa + 3_000.0 && plant.trailer_pa() > p.reseat_pa - 3_000.0, "{most} Pa");
    }

    /// A blanketed tank of which liquid is drawn keeps its blanket by gas; filled, it holds what its vent needs.
    #[test]
    fn a_blanket_is_kept() {
        let mut setup = PlantSetup { blanket_pa: 2_000.0, vent_opens_pa: 4_000.0, ..calm() };
        setup.tank_start_m = 3.0;
        let mut plant = Plant::new(setup.clone());
        plant.add_fault(PlantFault::new(fault::Mishap::DrawOff, 0.0, 2.0));
        (0..6_000).for_each(|_| plant.step());
        assert!((1_500.0..2_001.0).contains(&plant.tank_vapour_pa()), "{} Pa", plant.tank_vapour_pa());
        assert!(plant.state.gas_blanketed > 0.5 && imbalance(&plant) < 1e-9);
        setup.tank_start_m = 1.0;
        let mut most = 0.0f64;
        whole_transfer(setup, STEP_S, |plant| most = most.max(plant.tank_vapour_pa()));
        assert!(most > 4_000.0, "{most} Pa");
    }

    /// Energy: a tank of 30,000 kg at 25 C that takes 20,000 kg at 45 C is at 33 C, as by hand; and cools by its loss.
    #[test]
    fn a_heel_of_another_temperature_is_mixed() {
        let mut setup = PlantSetup { heel_c: 11.0, around_c: 21.0, tank_heat_w_per_k: 0.0, ..calm() };
        let heel = Plant::new(setup.clone()).state.tank;
        let end = whole_transfer(setup.clone(), STEP_S, |_| ());
        let received = end.received_kg();
        let mixed = (heel * 11.0 + received * 21.0) / (heel + received);
        assert!((end.tank_c() - mixed).abs() < 1e-6, "{} C, by hand {mixed}", end.tank_c());
        setup.tank_heat_w_per_k = 5_000.0;
        let mut still = Plant::new(setup.clone());
        (0..36_000).for_each(|_| still.step());
        let by_hand = 21.0 - 10.0 * (-5_000.0 * 3_600.0 / (heel * setup.liquid_j_per_kg_k)).exp();
        assert!((still.tank_c() - by_hand).abs() < 1e-6, "{} C, by hand {by_hand}", still.tank_c());
    }

    /// The same transfer at half the step, by every drive.
    #[test]
    fn half_the_step_changes_nothing_that_matters() {
        let pump = Pump { shut_off_pa: 250_000.0, most_m3_per_s: 0.006 };
        for drive in [Drive::Pad, Drive::Pump(pump), Drive::PumpVapourReturn(pump, 2e-4)] {
            let trace = |step_s: f64| {
                let mut received = Vec::new();
                let setup = PlantSetup { drive, ..calm() };
                whole_transfer(setup, step_s, |plant| received.push((plant.time_s(), plant.received_kg())));
                received
            };
            let (coarse, fine) = (trace(STEP_S), trace(STEP_S / 2.0));
            let at = |trace: &[(f64, f64)], s: f64| trace.iter().find(|p| p.0 >= s - 1e-6).map_or(f64::NAN, |p| p.1);
            for s in [340.0, 400.0, 1000.0, 1500.0, 2000.0] {
                let (a, b) = (at(&coarse, s), at(&fine, s));
                assert!((a - b).abs() < 0.1, "{drive:?}: received at {s} s: {a} and {b} kg");
            }
            let (a, b) = (coarse[coarse.len() - 1], fine[fine.len() - 1]);
            assert!((a.1 / b.1 - 1.0).abs() < 1e-4, "{drive:?}: total {} and {} kg", a.1, b.1);
            assert!((a.0 / b.0 - 1.0).abs() < 1e-4, "{drive:?}: ended after {} and {} s", a.0, b.0);
        }
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
