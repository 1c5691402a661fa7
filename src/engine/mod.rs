//! The watch itself: pure, deterministic, without clock, I/O, randomness, hash order or thread.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod frame;
pub mod input;
pub mod settings;
pub mod witness;

use frame::Output;
use input::{Carried, Input};
use settings::Settings;

/// One bay's watch.
#[derive(Debug, Clone)]
pub struct Monitor {
    settings: Settings,
    carried: Carried,
}

impl Monitor {
    /// A watch that begins a segment.
    #[must_use]
    pub fn new(settings: Settings, carried: Carried) -> Monitor {
        Monitor { settings, carried }
    }

    /// The settings in force.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// What crosses into the next segment.
    #[must_use]
    pub fn carried(&self) -> Carried {
        self.carried.clone()
    }

    /// Takes one input and says what is known after it.
    pub fn step(&mut self, _input: &Input) -> Output {
        Output { frame: None, keep: false, urgent: false }
    }
}
