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
