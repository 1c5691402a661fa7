//! What is shown, in the units that people at a site read: SI, SI with bar, or US customary.
//!
//! Inside everything is SI; this is the one place where it is turned into what is read. Factors are those of
//! [`units`](crate::units) (NIST SP 811, exact). Room is rounded down, whatever the unit: never shown larger than it is.

use super::display::number;
use crate::units::{INCH_M, Measures, Unit};

/// What a number is, and so to how many digits it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// A mass to 1 kg or 1 lb.
    Mass,
    /// A mass to a tenth of a tonne or of a short ton.
    LargeMass,
    /// kg/min, lb/min.
    MassFlow,
    /// A level: m to 1 mm, ft and in to an eighth of an inch.
    Level,
    /// A short length: mm, in.
    Length,
    /// A tank's volume: m3, US gal.
    Volume,
    /// A line's volume: L, US gal.
    SmallVolume,
    /// Above the surrounding air: kPa, bar, psi.
    GaugePressure,
    /// C, F.
    Temperature,
}

/// A figure and its unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The number, without unit.
    pub figure: String,
    /// The unit, as people write it; empty where the figure says it (feet and inches).
    pub unit: &'static str,
}

impl Written {
    /// Both, parted by a space that does not break.
    #[must_use]
    pub fn whole(&self) -> String {
        if self.unit.is_empty() { self.figure.clone() } else { format!("{}\u{a0}{}", self.figure, self.unit) }
    }
}

impl Measures {
    /// Unit by its name in [`UNITS`](crate::units::UNITS), what people write for it, and decimals shown.
    fn unit(self, shown: Shown) -> (&'static str, &'static str, usize) {
        match (shown, self) {
            (Shown::Mass, Measures::UsCustomary) => ("lb", "lb", 0),
            (Shown::Mass, _) => ("kg", "kg", 0),
            (Shown::LargeMass, Measures::UsCustomary) => ("short ton", "short tons", 1),
            (Shown::LargeMass, _) => ("t", "t", 1),
            (Shown::MassFlow, Measures::UsCustomary) => ("lb/min", "lb/min", 0),
            (Shown::MassFlow, _) => ("kg/min", "kg/min", 0),
            (Shown::Level, Measures::UsCustomary) => ("ft", "ft", 2),
            (Shown::Level, _) => ("m", "m", 3),
            (Shown::Length, Measures::UsCustomary) => ("in", "in", 2),
            (Shown::Length, _) => ("mm", "mm", 0),
            (Shown::Volume | Shown::SmallVolume, Measures::UsCustomary) => ("US gal", "US gal", 0),
            (Shown::Volume, _) => ("m3", "m3", 2),
            (Shown::SmallVolume, _) => ("L", "L", 0),
            (Shown::GaugePressure, Measures::UsCustomary) => ("psi gauge", "psi gauge", 1),
            (Shown::GaugePressure, Measures::SiBar) => ("bar gauge", "bar gauge", 2),
            (Shown::GaugePressure, Measures::Si) => ("kPa gauge", "kPa gauge", 0),
            (Shown::Temperature, Measures::UsCustomary) => ("F", "F", 0),
            (Shown::Temperature, _) => ("C", "C", 1),
        }
    }

    /// What people write for the unit.
    #[must_use]
    pub fn unit_word(self, shown: Shown) -> &'static str {
        self.unit(shown).1
    }

    /// A value given in SI, in the unit that is shown.
    #[must_use]
    pub fn convert(self, shown: Shown, si: f64) -> f64 {
        Unit::parse(self.unit(shown).0).map_or(f64::NAN, |unit| unit.from_si(si))
    }

    /// A value given in SI, rounded to the nearest.
    #[must_use]
    pub fn show(self, shown: Shown, si: f64) -> Written {
        if (shown, self) == (Shown::Level, Measures::UsCustomary) {
            return Written { figure: feet_and_inches(si), unit: "" };
        }
        let (_, word, decimals) = self.unit(shown);
        Written { figure: number(self.convert(shown, si), decimals), unit: word }
    }

    /// The same rounded down, for what must never be shown larger than it is: room.
    #[must_use]
    pub fn show_down(self, shown: Shown, si: f64) -> Written {
        let (_, word, decimals) = self.unit(shown);
        let steps = (0..decimals).fold(1.0, |steps, _| steps * 10.0);
        // A hair of rounding in the sum of the parts must not cost a step.
        let down = (self.convert(shown, si) * steps + 1e-8).floor() / steps;
        Written { figure: number(down, decimals), unit: word }
    }

    /// A mass rounded down, for what must never be shown larger than it is.
    #[must_use]
    pub fn mass_down(self, kg: f64) -> String {
        self.show_down(Shown::Mass, kg).whole()
    }

    /// A mass rounded up, for what must never be shown smaller than it is.
    #[must_use]
    pub fn show_mass_up(self, kg: f64) -> Written {
        let up = (self.convert(Shown::Mass, kg) - 1e-8).ceil();
        Written { figure: number(up, 0), unit: self.unit_word(Shown::Mass) }
    }

    /// The same in one text.
    #[must_use]
    pub fn mass_up(self, kg: f64) -> String {
        self.show_mass_up(kg).whole()
    }

    /// A mass flow given in kg/s with so many decimals.
    #[must_use]
    pub fn mass_flow(self, kg_per_s: f64, decimals: usize) -> String {
        format!(
            "{}\u{a0}{}",
            number(self.convert(Shown::MassFlow, kg_per_s), decimals),
            self.unit_word(Shown::MassFlow)
        )
    }

    /// A mass flow given in kg/min, rounded up: for what must never be shown smaller than it is.
    #[must_use]
    pub fn mass_flow_up(self, kg_per_min: f64) -> String {
        let up = (self.convert(Shown::MassFlow, kg_per_min / 60.0) - 1e-8).ceil();
        format!("{}\u{a0}{}", number(up, 0), self.unit_word(Shown::MassFlow))
    }

    /// A flow of gas given in kg/s, each hour.
    #[must_use]
    pub fn gas_flow(self, kg_per_s: f64) -> String {
        let unit = if self == Measures::UsCustomary { "lb/h" } else { "kg/h" };
        let each_hour = Unit::parse(unit).map_or(f64::NAN, |unit| unit.from_si(kg_per_s));
        format!("{}\u{a0}{unit}", number(each_hour, 0))
    }

    /// How fast a pressure changes, given in Pa/s, each minute.
    #[must_use]
    pub fn pressure_rate(self, pa_per_s: f64) -> String {
        let (unit, decimals) = match self {
            Measures::Si => ("kPa/min", 1),
            Measures::SiBar => ("bar/min", 3),
            Measures::UsCustomary => ("psi/min", 2),
        };
        format!("{} {unit}", number(self.convert(Shown::GaugePressure, pa_per_s * 60.0), decimals))
    }

    /// Both in one text.
    #[must_use]
    pub fn text(self, shown: Shown, si: f64) -> String {
        self.show(shown, si).whole()
    }

    /// A mass to 1 kg or 1 lb, with its unit.
    #[must_use]
    pub fn mass(self, kg: f64) -> String {
        self.text(Shown::Mass, kg)
    }

    /// Room, rounded down, with its unit.
    #[must_use]
    pub fn room(self, kg: f64) -> String {
        self.show_down(Shown::LargeMass, kg).whole()
    }

    /// The figure alone, where the unit stands in a heading.
    #[must_use]
    pub fn figure(self, shown: Shown, si: f64) -> String {
        self.show(shown, si).figure
    }

    /// SI of one of the shown unit: for axes, whose marks are round in the unit that is read. Not for temperatures.
    #[must_use]
    pub fn one(self, shown: Shown) -> f64 {
        Unit::parse(self.unit(shown).0).map_or(1.0, |unit| unit.to_si(1.0))
    }

    /// A gauge pressure in the reader's unit and, since plates have either, in the other: 172 kPa (25.0 psi) gauge.
    #[must_use]
    pub fn plate(self, pa_gauge: f64) -> String {
        let [first, second] = match self {
            Measures::Si => [Measures::Si, Measures::UsCustomary],
            Measures::SiBar => [Measures::SiBar, Measures::UsCustomary],
            Measures::UsCustomary => [Measures::UsCustomary, Measures::Si],
        };
        let said = |measures: Measures| {
            let Written { figure, unit } = measures.show(Shown::GaugePressure, pa_gauge);
            format!("{figure}\u{a0}{}", unit.trim_end_matches(" gauge"))
        };
        format!("{} ({}) gauge", said(first), said(second))
    }

    /// A register's own quantity by its SI unit: the value in the unit that is read, and that unit.
    #[must_use]
    pub fn of_register(self, si_unit: &'static str, si: f64) -> (f64, &'static str) {
        let name = match (self, si_unit) {
            (Measures::SiBar, "Pa gauge") => "bar gauge",
            (Measures::UsCustomary, "Pa gauge") => "psi gauge",
            (Measures::UsCustomary, "kg") => "lb",
            (Measures::UsCustomary, "kg/s") => "lb/min",
            (Measures::UsCustomary, "m") => "ft",
            (Measures::UsCustomary, "m3") => "US gal",
            (Measures::UsCustomary, "m3/s") => "US gal/min",
            (Measures::UsCustomary, "kg/m3") => "lb/US gal",
            (Measures::UsCustomary, "C") => "F",
            _ => return (si, si_unit),
        };
        Unit::parse(name).map_or((si, si_unit), |unit| (unit.from_si(si), unit.name))
    }
}

/// A length as feet and inches to an eighth of an inch, the finest mark of a US gauging tape: 10 ft 2 1/8 in.
#[must_use]
pub fn feet_and_inches(m: f64) -> String {
    let eighths = (m.abs() / INCH_M * 8.0).round();
    let feet = (eighths / 96.0).floor();
    let inches = ((eighths - 96.0 * feet) / 8.0).floor();
    let part = match eighths - 96.0 * feet - 8.0 * inches {
        p if p < 0.5 => "",
        p if p < 1.5 => " 1/8",
        p if p < 2.5 => " 1/4",
        p if p < 3.5 => " 3/8",
        p if p < 4.5 => " 1/2",
        p if p < 5.5 => " 5/8",
        p if p < 6.5 => " 3/4",
        _ => " 7/8",
    };
    let minus = if m < 0.0 && eighths > 0.0 { "\u{2212}" } else { "" };
    format!("{minus}{}\u{a0}ft {}{}\u{a0}in", number(feet, 0), number(inches, 0), part.replace(' ', "\u{a0}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Measures::{Si, SiBar, UsCustomary as Us};

    /// Expected: NIST SP 811 (2008), App. B.8: 1 lb 0.453 592 37 kg, 1 short ton 907.184 74 kg, 1 ft 0.3048 m, 1 US gal
    /// 3.785 412 L, 1 psi 6.894 757 kPa, 1 bar 100 kPa; F = 1.8 C + 32.
    #[test]
    fn figures_are_those_of_the_printed_factors() {
        let cases = [
            (Si, Shown::Mass, 20_000.4, "20\u{202f}000\u{a0}kg"),
            (Us, Shown::Mass, 20_000.0, "44\u{202f}092\u{a0}lb"),
            (Si, Shown::LargeMass, 20_000.0, "20.0\u{a0}t"),
            (Us, Shown::LargeMass, 907.184_74, "1.0\u{a0}short tons"),
            (Us, Shown::MassFlow, 5.0, "661\u{a0}lb/min"),
            (Si, Shown::MassFlow, 5.0, "300\u{a0}kg/min"),
            (Si, Shown::Level, 3.1041, "3.104\u{a0}m"),
            (Us, Shown::Level, 3.048, "10\u{a0}ft 0\u{a0}in"),
            (Us, Shown::Length, 0.0254, "1.00\u{a0}in"),
            (Si, Shown::Length, 0.0254, "25\u{a0}mm"),
            (Us, Shown::Volume, 3.785_412, "1\u{202f}000\u{a0}US\u{20}gal"),
            (Si, Shown::Volume, 3.785, "3.79\u{a0}m3"),
            (Si, Shown::SmallVolume, 0.055, "55\u{a0}L"),
            (Si, Shown::GaugePressure, 172_369.0, "172\u{a0}kPa gauge"),
            (SiBar, Shown::GaugePressure, 172_369.0, "1.72\u{a0}bar gauge"),
            (Us, Shown::GaugePressure, 172_368.93, "25.0\u{a0}psi gauge"),
            (Us, Shown::Temperature, 35.0, "95\u{a0}F"),
            (Si, Shown::Temperature, 35.0, "35.0\u{a0}C"),
        ];
        for (measures, shown, si, expected) in cases {
            assert_eq!(measures.text(shown, si), expected, "{measures:?} {shown:?}");
        }
    }

    /// Expected by hand: 10 ft 2 1/8 in are 122.125 in x 0.0254 m.
    #[test]
    fn feet_carry_their_inches() {
        assert_eq!(feet_and_inches(122.125 * 0.0254), "10\u{a0}ft 2\u{a0}1/8\u{a0}in");
        assert_eq!(feet_and_inches(119.99 * 0.0254), "10\u{a0}ft 0\u{a0}in", "rounded up to the next foot");
        assert_eq!(feet_and_inches(-0.0254 * 1.5), "\u{2212}0\u{a0}ft 1\u{a0}1/2\u{a0}in");
        assert_eq!(feet_and_inches(-0.0001), "0\u{a0}ft 0\u{a0}in");
    }

    #[test]
    fn room_is_never_rounded_up() {
        for measures in [Si, SiBar, Us] {
            for kg in [3_190.0, 3_100.0, 40.0, -1.0, -2_000.0] {
                let figure = measures.show_down(Shown::LargeMass, kg).figure;
                let read: f64 = figure.replace('\u{2212}', "-").parse().expect("a number");
                let back_kg = Unit::parse(measures.unit(Shown::LargeMass).0).expect("a unit").to_si(read);
                assert!(back_kg <= kg + 1e-6 && back_kg > kg - 100.0 - 1e-6, "{measures:?}: {kg} kg shown as {figure}");
            }
        }
        assert_eq!(Si.show_down(Shown::LargeMass, 3_100.0).figure, "3.1");
    }

    #[test]
    fn what_must_not_look_smaller_is_rounded_up() {
        assert_eq!(Si.mass_up(42.0), "42\u{a0}kg");
        assert_eq!(Us.mass_up(42.0), "93\u{a0}lb", "92.6 lb");
        assert_eq!((Us.mass_flow(0.1, 1), Si.mass_flow(0.1, 1)), ("13.2\u{a0}lb/min".into(), "6.0\u{a0}kg/min".into()));
        // 172 369 Pa: 25 psi, the most common MAWP of low-pressure cargo tanks.
        assert_eq!(Si.plate(172_369.0), "172\u{a0}kPa (25.0\u{a0}psi) gauge");
        assert_eq!(Us.plate(172_369.0), "25.0\u{a0}psi (172\u{a0}kPa) gauge");
        assert_eq!(Us.of_register("kg", 100.0).1, "lb");
        assert!(
            (Us.of_register("C", 35.0).0 - 95.0).abs() < 1e-9 && Si.of_register("Pa gauge", 5.0) == (5.0, "Pa gauge")
        );
        assert_eq!((Si.pressure_rate(100.0), Us.pressure_rate(100.0)), ("6.0 kPa/min".into(), "0.87 psi/min".into()));
    }

    #[test]
    fn every_word_of_the_site_file_is_known() {
        assert!(
            Measures::NAMES.iter().all(|name| Measures::named(name).is_some()) && Measures::named("metric").is_none()
        );
    }
}
