//! The bad end of a scenario: what has really happened, beyond a figure that is written beforehand.

use crate::bay::SimulatedBay;
use crate::wrong::amount;
use brimwatch::units::{Quantity, Unit};
use std::fmt;

/// What may be too much.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Harm {
    /// Liquid on the ground and on the scale's deck.
    Spilled,
    /// Liquid that another tank got.
    OtherTank,
    /// Liquid that was drawn off the tank.
    DrawnOff,
    /// Liquid received in the tank (for one that should never be there).
    Received,
    /// The tank's level.
    Level,
    /// Pressure on the trailer.
    PadPressure,
    /// Pressure of the tank's vapour space.
    TankPressure,
    /// Gas that went through hose and line into the tank.
    GasBlown,
}

impl Harm {
    /// All, in order.
    pub const ALL: [Harm; 8] = [
        Harm::Spilled,
        Harm::OtherTank,
        Harm::DrawnOff,
        Harm::Received,
        Harm::Level,
        Harm::PadPressure,
        Harm::TankPressure,
        Harm::GasBlown,
    ];

    /// What its figure measures.
    #[must_use]
    pub fn quantity(self) -> Quantity {
        match self {
            Harm::Spilled | Harm::OtherTank | Harm::DrawnOff | Harm::Received | Harm::GasBlown => Quantity::Mass,
            Harm::Level => Quantity::Length,
            Harm::PadPressure | Harm::TankPressure => Quantity::GaugePressure,
        }
    }

    /// How much of it there is now, SI.
    #[must_use]
    pub fn of(self, bay: &SimulatedBay) -> f64 {
        let plant = bay.plant();
        match self {
            Harm::Spilled => plant.spilled_kg().0 + plant.spilled_kg().1,
            Harm::OtherTank => plant.elsewhere_kg(),
            Harm::DrawnOff => (-plant.other_inflow_kg()).max(0.0),
            Harm::Received => plant.received_kg(),
            Harm::Level => plant.level_m(),
            Harm::PadPressure => plant.trailer_pa(),
            Harm::TankPressure => plant.tank_vapour_pa(),
            Harm::GasBlown => plant.gas_blown_kg(),
        }
    }
}

impl fmt::Display for Harm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Harm::Spilled => "spilled",
            Harm::OtherTank => "into the other tank",
            Harm::DrawnOff => "drawn off",
            Harm::Received => "received",
            Harm::Level => "level",
            Harm::PadPressure => "pad pressure",
            Harm::TankPressure => "tank pressure",
            Harm::GasBlown => "gas blown into the tank",
        })
    }
}

/// A bad end, written "spilled over 300 kg".
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BadEnd {
    /// Of what.
    pub harm: Harm,
    /// More than this, SI.
    pub over: f64,
    /// The unit it is written in.
    pub unit: Unit,
}

impl BadEnd {
    /// Reads one.
    ///
    /// # Errors
    /// What may be written.
    pub fn parse(text: &str) -> Result<BadEnd, String> {
        let names = || Harm::ALL.map(|harm| harm.to_string()).join(", ");
        let (name, figure) = text.split_once(" over ").ok_or_else(|| {
            format!("\"{text}\" is no bad end; write it as \"spilled over 300 kg\"; what can be too much: {}", names())
        })?;
        let harm = Harm::ALL.into_iter().find(|harm| harm.to_string() == name.trim());
        let harm = harm.ok_or_else(|| format!("\"{name}\" is nothing that can be too much here: {}", names()))?;
        let mut unit = None;
        let over = amount(figure, harm.quantity(), |written, value| {
            unit = Some(written);
            written.to_si(value)
        })?;
        let unit = unit.ok_or_else(|| format!("\"{figure}\" has no unit"))?;
        if over > 0.0 { Ok(BadEnd { harm, over, unit }) } else { Err(format!("\"{figure}\" must be above 0")) }
    }

    /// It has come to that.
    #[must_use]
    pub fn has_come(&self, bay: &SimulatedBay) -> bool {
        self.harm.of(bay) > self.over
    }
}

/// As it is read.
impl fmt::Display for BadEnd {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let figure = (self.unit.from_si(self.over) * 1e6).round() / 1e6;
        write!(f, "{} over {figure} {}", self.harm, self.unit)
    }
}
