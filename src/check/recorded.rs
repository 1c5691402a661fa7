//! How much a bay puts on record: hours that the waiting memory is while the disk is away, and days of disk. Pure.
//!
//! A monitor is fed inputs of the size that this bay's polls have, and what the recorder would write is measured. Their
//! values are of no kind of plant and go nowhere: only lengths leave this module.

use crate::config::{BaySetup, Site};
use crate::engine::Monitor;
use crate::engine::input::{Block, Carried, Entry, Event, Input, Measured, Poll, SignalValue, Status, What};
use crate::engine::settings::{DeliverySetup, SignalKind};
use crate::poll::blocks;
use crate::poll::registers::Place;
use crate::recording::{LINK_BYTES, LINKS_PER_S, WAITING_MOST_BYTES, input_bytes, output_bytes};
use crate::time::{EngineTime, SECOND_NS, WallTime};
use serde::Serialize;

/// Time that is measured over, s, after as much to settle: an idle bay keeps an output every 10 s.
const MEASURED_S: u32 = 60;

/// What one bay puts on record.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Recorded {
    /// While nothing is transferred, bytes/s.
    pub idle_bytes_per_s: f64,
    /// In a transfer, bytes/s.
    pub transfer_bytes_per_s: f64,
    /// Hours of a transfer that the waiting memory holds while the disk is away, h.
    pub waiting_h: f64,
}

/// What the bay of that index puts on record; `delivery`: any that it can take.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "some ten million")]
pub fn recorded(site: &Site, bay: &BaySetup, delivery: &DeliverySetup) -> Recorded {
    let idle = measured(site, bay, None);
    let transfer = measured(site, bay, Some(delivery));
    Recorded {
        idle_bytes_per_s: idle + LINK_BYTES * LINKS_PER_S,
        transfer_bytes_per_s: transfer + LINK_BYTES * LINKS_PER_S,
        // No link is written while the disk is away.
        waiting_h: WAITING_MOST_BYTES as f64 / transfer / 3600.0,
    }
}

/// Inputs and kept outputs of one bay, bytes/s.
#[expect(clippy::cast_precision_loss, reason = "some million")]
fn measured(site: &Site, bay: &BaySetup, delivery: Option<&DeliverySetup>) -> f64 {
    let mut monitor = Monitor::new(bay.settings.clone(), Carried::default());
    let entry = |what| Event::Entry(Entry { who: "check".to_owned(), leg: 1, what });
    let mut bytes = 0;
    let mut feed = |second: u32, event: Event| {
        let input = Input { at: EngineTime(u64::from(second) * SECOND_NS), event };
        let output = monitor.step(&input);
        if second > MEASURED_S {
            // What is kept between ticks is a change of alarm: these values make more of them than a bay does.
            let kept = output.frame.filter(|_| output.keep && input.event == Event::Tick);
            bytes += input_bytes(&input) + kept.map_or(0, |frame| output_bytes(&frame));
        }
    };
    feed(0, Event::Clock(WallTime(0)));
    if let Some(delivery) = delivery {
        feed(0, entry(What::DeliveryOpened(Box::new(delivery.clone()))));
    }
    for second in 1..=2 * MEASURED_S {
        for (device, &of_site) in bay.devices.iter().enumerate() {
            let period_s = site.devices[of_site].period_s;
            let rounds = |until: u32| (f64::from(until) / period_s).floor();
            for _ in 0..(rounds(second) - rounds(second - 1)) as u32 {
                feed(second, Event::Poll(poll(site, bay, device, second)));
            }
        }
        feed(second, Event::Tick);
        if second == MEASURED_S / 2 && delivery.is_some() {
            feed(second, entry(What::TransferStarted));
        }
    }
    bytes as f64 / f64::from(MEASURED_S)
}

/// A round of a device as long as it gets: every word takes its most bytes.
fn poll(site: &Site, bay: &BaySetup, device: usize, second: u32) -> Poll {
    let setup = &site.devices[bay.devices[device]];
    let local = u16::try_from(device).unwrap_or(u16::MAX);
    let own = (0u16..).zip(bay.settings.signals.iter().zip(&bay.places)).filter(|(_, (s, _))| s.device == local);
    let own: Vec<_> = own.collect();
    let places: Vec<Place> = own.iter().map(|(_, (_, place))| **place).collect();
    let heartbeat = setup.heartbeat.map(|(register, _)| register);
    let plan = blocks::plan(&places, heartbeat.as_ref(), &setup.manners);
    let block = |spec: &blocks::BlockSpec| Block {
        function: spec.function,
        address: spec.address,
        words: Ok(vec![u16::MAX; usize::from(spec.count)]),
    };
    let value = |(signal, (of, _)): &(u16, (&crate::engine::settings::SignalSetup, &Place))| {
        // Within its plausible range, and never the same twice.
        let part = 0.4 + 1e-3 * f64::from(second);
        let number = of.plausible_low + (of.plausible_high - of.plausible_low) * part;
        let yes_no = matches!(
            of.kind,
            SignalKind::HighLevelSwitch
                | SignalKind::ShutoffClosed
                | SignalKind::EmergencyStop
                | SignalKind::ShutoffBypassed
        );
        let value = if yes_no { Measured::Flag(false) } else { Measured::Number(number) };
        SignalValue { signal: *signal, value, status: Status::Fair }
    };
    let at = EngineTime(u64::from(second) * SECOND_NS);
    Poll {
        device: local,
        due: at,
        requested: at,
        replied: at,
        connections: 1,
        heartbeat: setup.heartbeat.map(|_| u64::from(second)),
        blocks: plan.iter().map(block).collect(),
        values: own.iter().map(value).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{self, DELIVERY_MANUAL, DeliveryFile, SITE_MANUAL};
    use std::path::Path;

    fn of(text: &str) -> Recorded {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let read = |name: &str| std::fs::read_to_string(folder.join(name));
        let site = config::Site::from_text(Path::new("site.toml"), text.to_owned(), &read);
        let site = site.unwrap_or_else(|faults| panic!("{faults}"));
        let delivery = DeliveryFile::from_text(Path::new("delivery.toml"), DELIVERY_MANUAL.to_owned(), &site);
        let delivery = delivery.unwrap_or_else(|faults| panic!("{faults}"));
        recorded(&site, &site.bays[delivery.bay], &delivery.setup)
    }

    /// Expected: 32 MiB shared out by hand; five devices at ten times the rate bring ten times their polls, and the
    /// shipped bay's polls are the 432 bytes a second that lie between.
    #[test]
    fn what_waits_fills_the_memory() {
        let slow = of(SITE_MANUAL);
        let links = LINK_BYTES * LINKS_PER_S;
        let filled = slow.waiting_h * 3600.0 * (slow.transfer_bytes_per_s - links);
        assert!((filled / 33_554_432.0 - 1.0).abs() < 1e-9, "{filled}");
        assert!(slow.idle_bytes_per_s < slow.transfer_bytes_per_s);
        let fast =
            of(&SITE_MANUAL.replace("period = \"1 s\"", "period = \"0.1 s\"").replace("\"500 ms\"", "\"50 ms\""));
        let polls = (fast.idle_bytes_per_s - slow.idle_bytes_per_s) / 9.0;
        assert!((polls - 432.0).abs() < 15.0, "{polls}");
    }
}
