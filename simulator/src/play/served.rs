//! The registers of a bay's devices, holding what a recording says they held.

use super::altered::{Altered, number};
use super::recorded::Recorded;
use crate::instruments::Answer;
use crate::server::Registers;
use brimwatch::config::{Settings, Site};
use brimwatch::engine::input::{Block, Event, Input, MissReason, Missed, Poll, Status};
use brimwatch::poll::blocks::{self, BlockSpec};
use brimwatch::poll::registers::Place;
use brimwatch::time::EngineTime;

/// A device of the bay.
#[derive(Debug)]
struct Device {
    registers: Registers,
    /// Its recorded words lie where the site's registers do.
    as_recorded: bool,
    signals: Vec<(u16, Place)>,
    plan: Vec<BlockSpec>,
    period_s: f64,
}

/// The devices of the bay that is played.
#[derive(Debug)]
pub struct Served {
    settings: Settings,
    devices: Vec<Device>,
    altered: Altered,
}

impl Served {
    /// For a bay of a site; `registers` are those of each of the site's devices, in its order.
    #[must_use]
    pub fn new(recorded: &Recorded, (site, bay): (&Site, usize), registers: &[Registers], altered: Altered) -> Served {
        let setup = &site.bays[bay];
        let was = Site::from_texts(&site.path, &recorded.header.texts).ok();
        let then = was.as_ref().and_then(|was| Some((was, was.bays.get(recorded.bay(was).ok()?)?)));
        let device = |(nth, &at): (u16, &usize)| {
            let places = |setup: &brimwatch::config::BaySetup| -> Vec<(u16, Place)> {
                let signals = (0u16..).zip(setup.settings.signals.iter().zip(&setup.places));
                signals.filter(|(_, (s, _))| s.device == nth).map(|(i, (_, place))| (i, *place)).collect()
            };
            let signals = places(setup);
            let as_recorded = then.is_some_and(|(was, before)| {
                let device = &was.devices[before.devices[usize::from(nth)]];
                before.places == setup.places
                    && device.heartbeat.map(|h| h.0) == site.devices[at].heartbeat.map(|h| h.0)
            });
            // Other bays' registers of the same device are asked for along with ours.
            let all: Vec<Place> = site
                .bays
                .iter()
                .flat_map(|b| {
                    b.settings.signals.iter().zip(&b.places).map(move |(s, p)| (b.devices[usize::from(s.device)], *p))
                })
                .filter_map(|(d, place)| (d == at).then_some(place))
                .collect();
            let heart = site.devices[at].heartbeat.map(|(register, _)| register);
            let plan = blocks::plan(&all, heart.as_ref(), &site.devices[at].manners);
            Device { registers: registers[at].clone(), as_recorded, signals, plan, period_s: site.devices[at].period_s }
        };
        let devices = (0u16..).zip(&setup.devices).map(device).collect();
        Served { settings: setup.settings.clone(), devices, altered }
    }

    /// What an input puts on the wire, and from when on: half a period before it was asked for, so that whoever asks on
    /// the same grid meets it. None: nothing.
    #[must_use]
    pub fn from(&self, input: &Input) -> Option<EngineTime> {
        let (device, asked) = match &input.event {
            Event::Poll(poll) => (poll.device, poll.due),
            Event::Missed(missed) => (missed.device, missed.requested),
            _ => return None,
        };
        let device = self.devices.get(usize::from(device))?;
        Some(asked.plus_s(-device.period_s / 2.0))
    }

    /// Puts it there.
    pub fn put(&mut self, input: &Input) {
        match &input.event {
            Event::Poll(poll) => self.put_poll(poll),
            Event::Missed(missed) => {
                if let Some(device) = self.devices.get(usize::from(missed.device)) {
                    device.registers.set_answer(Answer::Silent);
                }
            }
            _ => {}
        }
    }

    fn put_poll(&mut self, poll: &Poll) {
        let answer = self.altered.answer(&self.settings, poll.device, poll.replied);
        let changed = self.altered.values(&self.settings, poll);
        let Some(device) = self.devices.get(usize::from(poll.device)) else { return };
        device.registers.set_answer(answer);
        if answer != Answer::Fresh {
            return;
        }
        let raw = device.as_recorded && !poll.blocks.is_empty();
        for block in poll.blocks.iter().filter(|_| raw) {
            device.registers.put(block.function, block.address, &block.words);
        }
        let place = |signal| device.signals.iter().find(|(s, _)| *s == signal).map(|(_, place)| place);
        for value in poll.values.iter().filter(|_| !raw) {
            if let (Some(place), Some(si)) = (place(value.signal), number(value.value)) {
                device.registers.write(place, si);
            }
        }
        for (signal, si) in changed {
            if let Some(place) = place(signal) {
                device.registers.show(place, si);
            }
        }
        // Last: of signals that share a register the one that complains is heard.
        for value in &poll.values {
            let recorded = if raw { Status::Fair } else { value.status };
            let says = self.altered.says(value.signal, poll.replied).max(recorded);
            if let (true, Some(status)) = (says > Status::Fair, place(value.signal).and_then(|place| place.status)) {
                device.registers.say(&status, says);
            }
        }
    }

    /// Longest time between two polls of a device, s.
    #[must_use]
    pub fn longest_period_s(&self) -> f64 {
        self.settings.devices.iter().map(|device| device.period_s).fold(0.0, f64::max)
    }

    /// What faults make of it, as far as it has come.
    pub fn altered(&mut self) -> &mut Altered {
        &mut self.altered
    }

    /// The same, to be gone on with.
    #[must_use]
    pub fn into_altered(self) -> Altered {
        self.altered
    }

    /// The input as it would be had it gone over the wire, with its recorded time stamps.
    #[must_use]
    pub fn through(&mut self, input: &Input) -> Input {
        self.put(input);
        let event = match &input.event {
            Event::Poll(poll) => self.asked(poll),
            other => other.clone(),
        };
        Input { at: input.at, event }
    }

    fn asked(&self, poll: &Poll) -> Event {
        let Some(device) = self.devices.get(usize::from(poll.device)) else { return Event::Poll(poll.clone()) };
        let ask = |spec: &BlockSpec| Block {
            function: spec.function,
            address: spec.address,
            words: device.registers.ask(spec),
        };
        let answer = self.altered.answer(&self.settings, poll.device, poll.replied);
        if answer == Answer::Silent {
            let reason = MissReason::TimeOut;
            return Event::Missed(Missed { device: poll.device, requested: poll.requested, reason });
        }
        let mut asked: Vec<Block> = device.plan.iter().map(ask).collect();
        if answer == Answer::Exception {
            // Device failure (Modbus Application Protocol V1.1b3, 7).
            asked.iter_mut().for_each(|block| block.words = Err(4));
        }
        let values = blocks::values(&device.signals, &device.plan, &asked);
        // An answer without words was never on a wire: the recording keeps it so.
        let blocks = if poll.blocks.is_empty() { Vec::new() } else { asked };
        Event::Poll(Poll { blocks, values, ..poll.clone() })
    }
}
