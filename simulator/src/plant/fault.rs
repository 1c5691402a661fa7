//! What can go wrong with trailer, line and tank, when and by how much. What goes wrong with instruments is theirs.

use std::fmt;

/// What goes wrong; the size is in the unit that is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mishap {
    /// Liquid leaves between trailer and meter, to the ground, kg/s.
    LeakBeforeMeter,
    /// The same, but the scale's deck catches it, kg/s.
    LeakOnDeck,
    /// Liquid leaves between meter and tank, kg/s.
    LeakAfterMeter,
    /// So much of what leaves the line goes to another tank, 1.
    OtherTank,
    /// Liquid is drawn off the tank, kg/s.
    DrawOff,
    /// Liquid comes into the tank by another way, kg/s.
    Inflow,
    /// The regulator's set point is changed by this, Pa.
    PadChange,
    /// The regulator's seat creeps: the pad rises by this a second at first, and twice as fast ten minutes later, Pa/s.
    PadCreep,
    /// The regulator passes all that its orifice lets through, whatever the pad; the size means nothing.
    RegulatorOpen,
    /// No gas comes from the supply; the size means nothing.
    SupplyLost,
    /// A plug or a kink: one more loss coefficient in the line, 1.
    Plug,
    /// Deposits: a loss coefficient that grows by this each second, 1/s.
    Clogging,
    /// The truck drives off, hose and all; the size means nothing.
    DrivesOff,
}

impl Mishap {
    /// All, in order.
    pub const ALL: [Mishap; 13] = [
        Mishap::LeakBeforeMeter,
        Mishap::LeakOnDeck,
        Mishap::LeakAfterMeter,
        Mishap::OtherTank,
        Mishap::DrawOff,
        Mishap::Inflow,
        Mishap::PadChange,
        Mishap::PadCreep,
        Mishap::RegulatorOpen,
        Mishap::SupplyLost,
        Mishap::Plug,
        Mishap::Clogging,
        Mishap::DrivesOff,
    ];

    /// The one that is written so, see its `Display`.
    #[must_use]
    pub fn named(name: &str) -> Option<Mishap> {
        Mishap::ALL.into_iter().find(|m| m.to_string() == name)
    }
}

impl fmt::Display for Mishap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Mishap::LeakBeforeMeter => "leak before the meter",
            Mishap::LeakOnDeck => "leak onto the deck",
            Mishap::LeakAfterMeter => "leak after the meter",
            Mishap::OtherTank => "other tank",
            Mishap::DrawOff => "draw-off",
            Mishap::Inflow => "inflow",
            Mishap::PadChange => "pad change",
            Mishap::PadCreep => "pad creep",
            Mishap::RegulatorOpen => "regulator open",
            Mishap::SupplyLost => "supply lost",
            Mishap::Plug => "plug",
            Mishap::Clogging => "clogging",
            Mishap::DrivesOff => "drives off",
        })
    }
}

/// A mishap with its time and size, by the plant's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlantFault {
    /// What.
    pub what: Mishap,
    /// When it begins, s.
    pub at_s: f64,
    /// How long it lasts, s; infinite for good.
    pub for_s: f64,
    /// How much, in the unit that [`Mishap`] says.
    pub size: f64,
}

impl PlantFault {
    /// One that lasts.
    #[must_use]
    pub fn new(what: Mishap, at_s: f64, size: f64) -> PlantFault {
        PlantFault { what, at_s, for_s: f64::INFINITY, size }
    }
}

/// What all mishaps together come to at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Troubles {
    pub leak_before: f64,
    pub leak_on_deck: f64,
    pub leak_after: f64,
    pub other_tank: f64,
    pub draw_off: f64,
    pub inflow: f64,
    pub set_point_pa: f64,
    pub regulator_open: bool,
    pub supply_lost: bool,
    pub plug_k: f64,
    pub driven_off: bool,
}

/// A creeping seat is worn further by what it lets through: twice as fast after this, s (assumption).
const CREEP_DOUBLES_S: f64 = 600.0;

impl Troubles {
    /// At a time, s.
    pub(super) fn at(faults: &[PlantFault], t_s: f64) -> Troubles {
        let mut all = Troubles::default();
        for fault in faults {
            let past_s = t_s - fault.at_s;
            if past_s >= 0.0 && past_s < fault.for_s {
                all.add(fault, past_s);
            }
        }
        all.other_tank = all.other_tank.clamp(0.0, 1.0);
        all
    }

    fn add(&mut self, fault: &PlantFault, past_s: f64) {
        match fault.what {
            Mishap::LeakBeforeMeter => self.leak_before += fault.size,
            Mishap::LeakOnDeck => self.leak_on_deck += fault.size,
            Mishap::LeakAfterMeter => self.leak_after += fault.size,
            Mishap::OtherTank => self.other_tank += fault.size,
            Mishap::DrawOff => self.draw_off += fault.size,
            Mishap::Inflow => self.inflow += fault.size,
            Mishap::PadChange => self.set_point_pa += fault.size,
            Mishap::PadCreep => self.set_point_pa += fault.size * past_s * (1.0 + past_s / (2.0 * CREEP_DOUBLES_S)),
            Mishap::RegulatorOpen => self.regulator_open = true,
            Mishap::SupplyLost => self.supply_lost = true,
            Mishap::Plug => self.plug_k += fault.size,
            Mishap::Clogging => self.plug_k += fault.size * past_s,
            Mishap::DrivesOff => self.driven_off = true,
        }
    }
}
