//! Poll load: how much of each link's time its devices take. Pure.

use crate::config::{Link, Site};
use crate::poll::blocks::{self, BlockSpec};
use crate::poll::frames::data_bytes;
use crate::poll::registers::Place;
use crate::poll::way::{Parity, Serial, Way};
use serde::Serialize;

/// From this part of a link's time on its load is near the whole: one time-out of 500 ms among rounds of 1 s already
/// takes half of it.
pub const NEAR: f64 = 0.7;
/// Bytes of a request: TCP header of 7 and 5 (Modbus Messaging on TCP/IP V1.0b, 3.1.3); or unit, 5 and checksum of 2.
const REQUEST_BYTES: (usize, usize) = (12, 8);
/// Bytes of a reply beside its data: header of 7, function, count; or unit, function, count, checksum of 2.
const REPLY_BYTES: (usize, usize) = (9, 5);

/// What one link carries.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Load {
    /// Name of the link, or the address that its device names.
    pub link: String,
    /// Each device.
    pub devices: Vec<DeviceLoad>,
    /// Part of the link's time that is taken, 1.
    pub share: f64,
}

/// What one round of a device takes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DeviceLoad {
    /// Name of the device.
    pub device: String,
    /// Requests of a round.
    pub requests: usize,
    /// Bytes both ways, frames whole.
    pub bytes: usize,
    /// Time of a round, s.
    pub round_s: f64,
    /// Time between rounds, s.
    pub period_s: f64,
}

/// The load of every link, in the order of the site.
#[must_use]
pub fn loads(site: &Site) -> Vec<Load> {
    let load = |(index, link): (usize, &Link)| {
        let of_link = (0..site.devices.len()).filter(|&d| site.devices[d].link == index);
        let devices: Vec<DeviceLoad> = of_link.map(|d| device_load(site, d, link)).collect();
        let share = devices.iter().map(|d| d.round_s / d.period_s).sum();
        Load { link: link.name.clone(), devices, share }
    };
    site.links.iter().enumerate().map(load).collect()
}

fn device_load(site: &Site, index: usize, link: &Link) -> DeviceLoad {
    let device = &site.devices[index];
    let mut places: Vec<Place> = Vec::new();
    for bay in &site.bays {
        let own = |local: u16| bay.devices.get(usize::from(local)) == Some(&index);
        places.extend(bay.settings.signals.iter().zip(&bay.places).filter(|(s, _)| own(s.device)).map(|(_, p)| *p));
    }
    let heartbeat = device.heartbeat.map(|(register, _)| register);
    let plan = blocks::plan(&places, heartbeat.as_ref(), &device.manners);
    let each = plan.iter().map(|block| exchange(block, link, device.answer_time_s));
    let (bytes, round_s) = each.fold((0, 0.0), |(bytes, s), (b, t)| (bytes + b, s + t));
    DeviceLoad { device: device.name.clone(), requests: plan.len(), bytes, round_s, period_s: device.period_s }
}

/// Bytes and time (s) of one request with its reply, from the end of the reply before.
fn exchange(block: &BlockSpec, link: &Link, answer_time_s: f64) -> (usize, f64) {
    let data = data_bytes(block.function, block.count);
    match &link.way {
        Way::Tcp { .. } => (REQUEST_BYTES.0 + REPLY_BYTES.0 + data, link.pause_s + answer_time_s),
        // The line behind the gateway is not described: what it takes is in the answer time.
        Way::RtuOverTcp { .. } => (REQUEST_BYTES.1 + REPLY_BYTES.1 + data, link.pause_s + answer_time_s),
        Way::Serial(serial) => {
            let bytes = REQUEST_BYTES.1 + REPLY_BYTES.1 + data;
            let silence_s = serial.silence_s();
            (bytes, link.pause_s.max(silence_s) + answer_time_s.max(silence_s) + on_line_s(serial, bytes))
        }
    }
}

/// Time of so many characters: a start bit, eight of data, parity and stop bits (Modbus over Serial Line V1.02, 2.5.1).
#[expect(clippy::cast_precision_loss, reason = "a round has some thousand bytes")]
fn on_line_s(serial: &Serial, bytes: usize) -> f64 {
    let parity = if serial.parity == Parity::None { 0.0 } else { 1.0 };
    bytes as f64 * (9.0 + parity + f64::from(serial.stop_bits)) / f64::from(serial.baud.max(1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::PathBuf;

    fn link(way: Way, pause_s: f64) -> Link {
        Link { name: "line".into(), way, connect_time_out_s: 1.0, pause_s }
    }

    /// Expected, by hand from Modbus over Serial Line V1.02: ten registers at 9,600 baud, even parity, are 8 + 25
    /// characters of 11 bits, 37.81 ms, and 4.01 ms of silence before request; the device answers after 20 ms.
    #[test]
    fn a_serial_exchange_takes_its_characters_and_silences() {
        let serial = Serial { port: PathBuf::new(), baud: 9_600, parity: Parity::Even, stop_bits: 1 };
        let block = BlockSpec { function: 3, address: 0, count: 10 };
        let (bytes, s) = exchange(&block, &link(Way::Serial(serial.clone()), 0.0), 0.02);
        assert_eq!(bytes, 33);
        assert!((s - (0.037_812_5 + 0.004_010_4 + 0.02)).abs() < 1e-6, "{s}");
        // No device answers before the silence that ends the request.
        let (_, s) = exchange(&block, &link(Way::Serial(serial), 0.05), 0.0);
        assert!((s - (0.037_812_5 + 0.05 + 0.004_010_4)).abs() < 1e-6, "{s}");
    }

    /// Expected: the frames printed in the Modbus Application Protocol V1.1b3, 6.1 and 6.3: 19 coils come in 3 bytes.
    #[test]
    fn bytes_are_those_of_whole_frames() {
        let tcp = || Way::Tcp { address: "127.0.0.1:1".into() };
        let coils = BlockSpec { function: 1, address: 19, count: 19 };
        assert_eq!(exchange(&coils, &link(tcp(), 0.0), 0.02), (12 + 9 + 3, 0.02));
        let registers = BlockSpec { function: 3, address: 107, count: 3 };
        assert_eq!(exchange(&registers, &link(tcp(), 0.01), 0.02).0, 12 + 9 + 6);
    }
}
