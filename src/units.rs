//! Quantities that cross files, and the field's units they are written in.
//!
//! Inside the program everything is SI (pressures say whether they are gauge or absolute). People write
//! what their gauges and plates say; [`Unit::parse`] is the one place where that is turned into SI.
//! Factors are exact by definition (NIST SP 811, 2008, App. B.8) unless a line says otherwise.

use serde::{Deserialize, Serialize};
use std::fmt;

/// Standard atmosphere in Pa (NIST SP 811, B.8: exactly 101 325 Pa). The one bridge between gauge and
/// absolute pressure: the weather moves the true value by about 3 %, which is in the gas budget.
pub const ATMOSPHERE_PA: f64 = 101_325.0;

/// Zero of the Celsius scale in kelvin (exact).
pub const ZERO_CELSIUS_K: f64 = 273.15;

macro_rules! newtype {
    ($(#[$doc:meta] $name:ident),+ $(,)?) => {$(
        #[$doc]
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);
        impl std::ops::Add for $name { type Output = Self; fn add(self, o: Self) -> Self { Self(self.0 + o.0) } }
        impl std::ops::Sub for $name { type Output = Self; fn sub(self, o: Self) -> Self { Self(self.0 - o.0) } }
    )+};
}

newtype! {
    /// Mass in kg.
    Kg,
    /// Mass flow in kg/s.
    KgPerS,
    /// Density in kg/m3.
    KgPerM3,
    /// Length or level in m.
    Metre,
    /// Volume in m3.
    M3,
    /// Pressure above the surrounding air, in Pa.
    GaugePa,
    /// Absolute pressure in Pa.
    AbsPa,
    /// Temperature in degrees Celsius.
    Celsius,
    /// Dynamic viscosity in Pa s.
    PaS,
}

impl GaugePa {
    /// The same pressure on the absolute scale, at the standard atmosphere.
    #[must_use]
    pub fn absolute(self) -> AbsPa {
        AbsPa(self.0 + ATMOSPHERE_PA)
    }
}

impl Celsius {
    /// The same temperature in kelvin.
    #[must_use]
    pub fn kelvin(self) -> f64 {
        self.0 + ZERO_CELSIUS_K
    }
}

/// The units that a site's people read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Measures {
    /// kg, t, m, mm, L, m3, kPa, C.
    #[default]
    Si,
    /// The same with bar for pressures.
    SiBar,
    /// lb, short tons, ft and in, in, US gal, psi, F.
    UsCustomary,
}

impl Measures {
    /// The words of the site file.
    pub const NAMES: &'static [&'static str] = &["si", "si_bar", "us_customary"];

    /// Its word in the site file.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Measures::Si => "si",
            Measures::SiBar => "si_bar",
            Measures::UsCustomary => "us_customary",
        }
    }

    /// By its word in the site file.
    #[must_use]
    pub fn named(name: &str) -> Option<Measures> {
        match name {
            "si" => Some(Measures::Si),
            "si_bar" => Some(Measures::SiBar),
            "us_customary" => Some(Measures::UsCustomary),
            _ => None,
        }
    }
}

/// What kind of thing a number measures; a unit serves exactly one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// SI unit kg.
    Mass,
    /// SI unit kg/s.
    MassFlow,
    /// SI unit m3.
    Volume,
    /// SI unit m3/s.
    VolumeFlow,
    /// SI unit kg/m3.
    Density,
    /// SI unit m.
    Length,
    /// SI unit Pa, above the surrounding air.
    GaugePressure,
    /// Temperature, unit C.
    Temperature,
    /// Dynamic viscosity, SI unit Pa s.
    Viscosity,
    /// SI unit s.
    Time,
    /// A fraction; unit 1 or %.
    Ratio,
    /// Yes or no; no unit.
    YesNo,
}

impl Quantity {
    /// The unit the program computes in, as people write it.
    #[must_use]
    pub fn si_name(self) -> &'static str {
        match self {
            Quantity::Mass => "kg",
            Quantity::MassFlow => "kg/s",
            Quantity::Volume => "m3",
            Quantity::VolumeFlow => "m3/s",
            Quantity::Density => "kg/m3",
            Quantity::Length => "m",
            Quantity::GaugePressure => "Pa gauge",
            Quantity::Temperature => "C",
            Quantity::Viscosity => "Pa s",
            Quantity::Time => "s",
            Quantity::Ratio => "1",
            Quantity::YesNo => "yes/no",
        }
    }
}

/// One unit of the field: `si = value * factor + offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// As written in a site or delivery file.
    pub name: &'static str,
    /// What it measures.
    pub quantity: Quantity,
    factor: f64,
    offset: f64,
}

/// International avoirdupois pound in kg (exact).
const POUND_KG: f64 = 0.453_592_37;
/// International inch in m (exact).
pub const INCH_M: f64 = 0.0254;
/// US liquid gallon in m3: 231 cubic inches (exact).
const GALLON_M3: f64 = 231.0 * INCH_M * INCH_M * INCH_M;
/// Pound-force per square inch in Pa: lb x standard gravity (9.806 65 m/s2, exact) / in2.
const PSI_PA: f64 = POUND_KG * 9.806_65 / (INCH_M * INCH_M);

macro_rules! units {
    ($($quantity:ident: $($name:literal = $factor:expr $(, + $offset:expr)?);+;)+) => {
        /// Every unit a file may use, by quantity.
        pub const UNITS: &[Unit] = &[$($(Unit {
            name: $name, quantity: Quantity::$quantity, factor: $factor, offset: 0.0 $(+ $offset)?,
        }),+),+];
    };
}

units! {
    Mass: "kg" = 1.0; "t" = 1000.0; "lb" = POUND_KG; "short ton" = 2000.0 * POUND_KG;
    MassFlow: "kg/s" = 1.0; "kg/min" = 1.0 / 60.0; "kg/h" = 1.0 / 3600.0; "t/h" = 1.0 / 3.6;
        "lb/min" = POUND_KG / 60.0; "lb/h" = POUND_KG / 3600.0;
    Volume: "m3" = 1.0; "L" = 1e-3; "US gal" = GALLON_M3;
    VolumeFlow: "m3/s" = 1.0; "m3/h" = 1.0 / 3600.0; "L/min" = 1e-3 / 60.0; "L/s" = 1e-3;
        "US gal/min" = GALLON_M3 / 60.0;
    Density: "kg/m3" = 1.0; "kg/L" = 1000.0; "g/cm3" = 1000.0; "lb/US gal" = POUND_KG / GALLON_M3;
    Length: "m" = 1.0; "mm" = 1e-3; "cm" = 1e-2; "in" = INCH_M; "ft" = 12.0 * INCH_M;
    GaugePressure: "Pa gauge" = 1.0; "kPa gauge" = 1e3; "bar gauge" = 1e5; "mbar gauge" = 100.0; "psi gauge" = PSI_PA;
    Temperature: "C" = 1.0; "F" = 5.0 / 9.0, + -160.0 / 9.0;
    Viscosity: "Pa s" = 1.0; "mPa s" = 1e-3; "cP" = 1e-3;
    Time: "s" = 1.0; "ms" = 1e-3; "min" = 60.0; "h" = 3600.0;
    Ratio: "1" = 1.0; "%" = 0.01;
    YesNo: "yes/no" = 1.0;
}

impl Unit {
    /// The unit of that name, exactly as written in [`UNITS`].
    #[must_use]
    pub fn parse(name: &str) -> Option<Unit> {
        UNITS.iter().copied().find(|u| u.name == name)
    }

    /// All unit names that measure `quantity`, for hints.
    #[must_use]
    pub fn names(quantity: Quantity) -> Vec<&'static str> {
        UNITS.iter().filter(|u| u.quantity == quantity).map(|u| u.name).collect()
    }

    /// From this unit to SI.
    #[must_use]
    pub fn to_si(self, value: f64) -> f64 {
        value * self.factor + self.offset
    }

    /// From SI to this unit.
    #[must_use]
    pub fn from_si(self, si: f64) -> f64 {
        (si - self.offset) / self.factor
    }

    /// A difference in this unit to SI (a temperature step of 1 F is 5/9 K: no offset).
    #[must_use]
    pub fn step_to_si(self, step: f64) -> f64 {
        step * self.factor
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected: NIST SP 811 (2008) App. B.8, printed to seven digits.
    #[test]
    fn factors_match_the_printed_table() {
        let printed = [
            ("lb", 0.453_592_4),
            ("short ton", 907.184_7),
            ("US gal", 3.785_412e-3),
            ("psi gauge", 6894.757),
            ("in", 0.0254),
            ("lb/US gal", 119.8264),
            ("lb/h", 1.259_979e-4),
            ("US gal/min", 6.309_020e-5),
            ("cP", 1e-3),
        ];
        for (name, si) in printed {
            let unit = Unit::parse(name).unwrap_or_else(|| panic!("unit {name}"));
            assert!((unit.to_si(1.0) / si - 1.0).abs() < 5e-7, "{name}: {} against {si}", unit.to_si(1.0));
        }
        let f = Unit::parse("F").expect("F");
        assert!((f.to_si(212.0) - 100.0).abs() < 1e-12 && (f.to_si(32.0)).abs() < 1e-12);
        assert!((f.from_si(100.0) - 212.0).abs() < 1e-9);
    }

    #[test]
    fn a_name_serves_one_quantity() {
        for (i, unit) in UNITS.iter().enumerate() {
            assert!(UNITS[i + 1..].iter().all(|other| other.name != unit.name), "{} twice", unit.name);
        }
    }
}
