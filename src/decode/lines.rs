//! The lines of the site file that say how a reading is read. Pure.

use super::Source;
use super::readings::Reading;
use crate::config::signals::SignalForm;
use crate::engine::settings::SignalKind;
use crate::poll::way::{Parity, Serial, Way};
use std::fmt::{Display, Write as _};

/// Name of a device and a line that the site file does not know yet.
const NEW_DEVICE: &str = "new device";
/// See above.
const NEW_LINK: &str = "new line";

/// Lines to paste: the way and the device where the site file does not have them, and the signal.
#[must_use]
pub fn lines(source: &Source, form: &SignalForm, reading: &Reading) -> String {
    let mut lines = Lines(String::new());
    let device = source.device.as_deref().unwrap_or(NEW_DEVICE);
    if source.device.is_none() {
        new_device(&mut lines, source);
    }
    let (register, meaning) = (&reading.register, &reading.meaning);
    lines.table("bay.signal");
    lines.text("kind", form.name);
    lines.text("name", form.name);
    lines.text("device", device);
    lines.plain("function", register.function);
    lines.plain("address", source.number(register.address));
    lines.text("type", register.data.name());
    if register.count() > 1 || register.order.swaps_bytes() {
        lines.text("order", register.order.name());
    }
    lines.text("unit", meaning.unit.name);
    if meaning.scale != 1.0 {
        lines.plain("scale", meaning.scale);
    }
    if meaning.is_absolute() {
        lines.say("The device measures from vacuum; this is the standard atmosphere.");
        lines.plain("offset", meaning.offset);
    }
    if form.kind == SignalKind::Scale {
        lines.say("Still to be written: the division, off the scale's plate, for example");
        lines.say("division = \"20 kg\"");
    }
    lines.0
}

fn new_device(lines: &mut Lines, source: &Source) {
    let mut link = source.link.as_deref();
    match &source.way {
        _ if link.is_some() => {}
        Way::Tcp { .. } => {}
        Way::RtuOverTcp { address } => {
            lines.table("link");
            lines.text("name", NEW_LINK);
            lines.text("address", address);
            lines.text("framing", "rtu");
            link = Some(NEW_LINK);
        }
        Way::Serial(Serial { port, baud, parity, stop_bits }) => {
            lines.table("link");
            lines.text("name", NEW_LINK);
            lines.text("serial_port", &port.display().to_string());
            lines.plain("baud", baud);
            lines.text("parity", parity_name(*parity));
            lines.plain("stop_bits", stop_bits);
            link = Some(NEW_LINK);
        }
    }
    lines.table("device");
    lines.text("name", NEW_DEVICE);
    match (link, &source.way) {
        (None, Way::Tcp { address }) => lines.text("address", address),
        (link, _) => lines.text("link", link.unwrap_or(NEW_LINK)),
    }
    lines.plain("unit", source.unit);
    lines.plain("address_base", source.address_base);
    lines.text("period", "1 s");
    lines.text("time_out", "500 ms");
}

fn parity_name(parity: Parity) -> &'static str {
    match parity {
        Parity::None => "none",
        Parity::Even => "even",
        Parity::Odd => "odd",
    }
}

struct Lines(String);

impl Lines {
    fn push(&mut self, line: impl Display) {
        // Writing to a String cannot fail.
        let _ = writeln!(self.0, "{line}");
    }

    fn table(&mut self, name: &str) {
        if !self.0.is_empty() {
            self.0.push('\n');
        }
        self.push(format_args!("[[{name}]]"));
    }

    fn text(&mut self, key: &str, value: &str) {
        self.push(format_args!("{key} = {}", toml::Value::from(value)));
    }

    fn plain(&mut self, key: &str, value: impl Display) {
        self.push(format_args!("{key} = {value}"));
    }

    fn say(&mut self, words: &str) {
        self.push(format_args!("# {words}"));
    }
}

#[cfg(test)]
mod tests {
    use super::super::readings::readings;
    use super::super::readings::tests::truth;
    use super::*;
    use crate::config::signals::by_name;
    use crate::config::{Faults, SITE_MANUAL, Site};
    use crate::units::Quantity;
    use proptest::prelude::*;
    use std::path::{Path, PathBuf};

    /// The shipped site file with these lines in place of the signal of one kind.
    fn pasted(replaced: &str, lines: &str) -> Result<Site, Faults> {
        let from = SITE_MANUAL.find(&format!("[[bay.signal]]\nkind = \"{replaced}\"")).expect("the signal");
        let to = SITE_MANUAL[from + 1..].find("[[bay.signal]]").map_or(SITE_MANUAL.len(), |at| from + 1 + at);
        let rest = [&SITE_MANUAL[..from], &SITE_MANUAL[to..]].concat();
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let read = |name: &str| std::fs::read_to_string(shipped.join(name));
        Site::from_text(Path::new("site.toml"), format!("{rest}\n{lines}"), &read)
    }

    /// A kind of each quantity, and the kind that it stands in for in the shipped file.
    fn kind(quantity: Quantity) -> Option<(&'static str, &'static str)> {
        Some(match quantity {
            Quantity::Mass => ("flow_total_kg", "flow_total_kg"),
            Quantity::MassFlow => ("flow_kg_per_s", "flow_kg_per_s"),
            Quantity::Volume => ("flow_total_m3", "flow_total_kg"),
            Quantity::VolumeFlow => ("flow_m3_per_s", "flow_kg_per_s"),
            Quantity::Density => ("line_density_kg_per_m3", "line_density_kg_per_m3"),
            Quantity::Length => ("level_m", "level_m"),
            Quantity::GaugePressure => ("tank_pressure_pa_gauge", "tank_pressure_pa_gauge"),
            Quantity::Temperature => ("line_temperature_c", "line_temperature_c"),
            Quantity::Viscosity | Quantity::Time | Quantity::Ratio | Quantity::YesNo => return None,
        })
    }

    fn ways() -> [(Way, u8); 3] {
        let serial = Serial { port: PathBuf::from("/dev/ttyS0"), baud: 9600, parity: Parity::Odd, stop_bits: 1 };
        [
            (Way::Tcp { address: "127.0.0.1:1502".into() }, 0),
            (Way::RtuOverTcp { address: "127.0.0.1:1502".into() }, 247),
            (Way::Serial(serial), 1),
        ]
    }

    fn out_of_reach(what: &str) -> bool {
        what.starts_with("the register shows") || what.starts_with("the signal ends at")
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Whichever reading is chosen, a site file takes its lines and reads the same words as the same value.
        #[test]
        fn a_site_file_takes_the_lines_and_reads_the_same(
            truth in truth(), way in 0..3_usize, address_base in 0..2_u16, pick in any::<prop::sample::Index>(),
        ) {
            let Some((kind, replaced)) = kind(truth.expected.quantity) else { return Ok(()) };
            let samples = truth.samples();
            let found = readings(&samples, &truth.expected);
            let reading = pick.get(&found);
            let (way, unit) = ways()[way].clone();
            let source = Source { device: None, link: None, way: way.clone(), unit, address_base };
            let lines = lines(&source, by_name(kind).expect("a kind"), reading);
            let site = match pasted(replaced, &lines) {
                Ok(site) => site,
                // A single register of random scale often cannot hold what the site asks of the signal, and is refused
                // for that: the site file sees more than the words.
                Err(faults) if reading.register.count() == 1 && faults.list().iter().all(|f| out_of_reach(&f.what)) => {
                    return Ok(());
                }
                Err(faults) => return Err(TestCaseError::fail(format!("{faults}\n{lines}"))),
            };
            let settings = &site.bays[0].settings;
            let at = settings.signals.iter().position(|signal| signal.name == kind).expect("the signal");
            let device = &site.devices[site.bays[0].devices[usize::from(settings.signals[at].device)]];
            prop_assert_eq!((&site.links[device.link].way, device.unit), (&way, unit));
            let register = site.bays[0].places[at].register;
            prop_assert_eq!(register, reading.register);
            let from = usize::from(register.address - samples[0].address);
            let last = samples[0].reads.last().expect("a read");
            let decoded = register.decode(&last[from..from + usize::from(register.count())]);
            prop_assert_eq!(decoded, crate::engine::input::Measured::Number(reading.value()));
        }
    }

    /// A scale's division stands on its plate: the lines say that it is missing and name none.
    #[test]
    fn what_stands_on_a_plate_is_left_to_the_plate() {
        let sample = super::super::Sample { function: 3, address: 9, reads: vec![vec![20_000]] };
        let unit = crate::units::Unit::parse("kg").expect("kg");
        let expected = super::super::Expected { quantity: Quantity::Mass, low: 18e3, high: 26e3, unit, moves: None };
        let found = readings(&[sample], &expected);
        let device = Some("truck scale".to_owned());
        let (way, unit) = ways()[0].clone();
        let source = Source { device, link: None, way, unit, address_base: 1 };
        let lines = lines(&source, by_name("scale_kg").expect("a kind"), &found[0]);
        assert!(lines.contains("\n# division") && !lines.contains("\ndivision"), "{lines}");
        let site = pasted("scale_kg", &lines.replace("# division", "division")).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(site.bays[0].settings.signals.iter().filter(|signal| signal.name == "scale_kg").count(), 1);
    }
}
