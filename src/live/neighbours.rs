//! What bays that fill the same tank tell each other, once a tick.
//!
//! Each bay lays its latest word down and looks at the others' when its own tick comes; nobody waits for anybody. A bay
//! that hangs lays nothing down, and its neighbours' engines find its last word too old.

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
