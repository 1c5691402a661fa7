//! What bays that fill the same tank tell each other, once a tick.
//!
//! Each bay lays its latest word down and looks at the others' when its own tick comes; no bay waits for another's word. One
//! that says nothing more is found by its neighbours' engines: its last word grows too old.

use crate::clock::{Clock, MachineTime};
use crate::engine::input::{Neighbour, NeighbourLoad};
use tokio::sync::watch;

/// A bay's word.
#[derive(Debug, Clone)]
pub struct Told {
    /// When it was so.
    pub at: MachineTime,
    /// The bay's load, with the index of the tank it goes to in that bay's settings.
    pub load: Option<(u16, NeighbourLoad)>,
}

/// A neighbour that is listened to.
#[derive(Debug)]
pub struct Heard {
    /// Index of the shared tank in the neighbour's settings.
    pub tank: u16,
    /// Its latest word.
    pub told: watch::Receiver<Option<Told>>,
}

/// What a bay tells and hears.
#[derive(Debug)]
pub struct Talk {
    /// Where its own word lies.
    pub tells: watch::Sender<Option<Told>>,
    /// The others, in the order of the engine's settings.
    pub hears: Vec<Heard>,
}

impl Talk {
    /// Lays the bay's word down.
    pub fn tell(&self, at: MachineTime, load: Option<(u16, NeighbourLoad)>) {
        self.tells.send_replace(Some(Told { at, load }));
    }

    /// What is new of the others.
    pub fn news(&mut self, clock: Clock) -> Vec<Neighbour> {
        (0u16..).zip(&mut self.hears).filter_map(|(neighbour, heard)| heard.news(neighbour, clock)).collect()
    }
}

impl Heard {
    fn news(&mut self, neighbour: u16, clock: Clock) -> Option<Neighbour> {
        if !self.told.has_changed().unwrap_or(false) {
            return None;
        }
        let Told { at, load } = self.told.borrow_and_update().clone()?;
        let load = load.filter(|(tank, _)| *tank == self.tank).map(|(_, load)| load);
        Some(Neighbour { neighbour, at: clock.engine(at), load })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::{Estimate, Phase};
    use crate::time::{EngineTime, SECOND_NS};

    fn load(leg: u8) -> NeighbourLoad {
        NeighbourLoad {
            delivery: "2026-0417".into(),
            leg,
            phase: Phase::Opened,
            received_kg: None,
            white_kg: 0.0,
            at_odds: false,
            rate_kg_per_s: 0.0,
            fastest_kg_per_s: 0.0,
            most_kg: Estimate::default(),
            least_kg: Estimate::default(),
            rest_kg: Estimate::default(),
            density_kg_per_m3: None,
        }
    }

    /// A bay that looks late hears the latest word once, with the moment at which it was so; one that is gone says
    /// nothing more. What goes into another tank is none of its business.
    #[test]
    fn the_latest_word_is_heard_once() {
        let (tells, told) = watch::channel(None);
        let own = watch::channel(None).0;
        let mut listener = Talk { tells: own, hears: vec![Heard { tank: 1, told }] };
        let speaker = Talk { tells, hears: Vec::new() };
        let clock = Clock { zero: MachineTime(100 * SECOND_NS), base: EngineTime(0), speed: 1.0 };
        assert!(listener.news(clock).is_empty(), "nothing was said");
        speaker.tell(MachineTime(101 * SECOND_NS), Some((1, load(1))));
        speaker.tell(MachineTime(102 * SECOND_NS), Some((1, load(2))));
        let word = Neighbour { neighbour: 0, at: EngineTime(2 * SECOND_NS), load: Some(load(2)) };
        assert_eq!(listener.news(clock), [word]);
        assert!(listener.news(clock).is_empty(), "it was heard");
        speaker.tell(MachineTime(103 * SECOND_NS), Some((0, load(2))));
        assert_eq!(listener.news(clock)[0].load, None, "into another tank");
        drop(speaker);
        assert!(listener.news(clock).is_empty());
    }
}
