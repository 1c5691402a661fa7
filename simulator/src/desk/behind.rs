//! What is behind a drill's watch: a plant, of which everything is known, or a recording, of which nothing is known but what
//! was recorded.

use super::lives::Lives;
use super::log::{Done, Log};
use super::told::{Ahead, Received, together_kg};
use crate::bay::SimulatedBay;
use crate::drill::Drill;
use crate::play::player::Player;
use crate::server::LinkServer;
use crate::wrong::Wired;
use brimwatch::engine::frame::Frame;
use brimwatch::page::feed::BayFeed;
use brimwatch::time::EngineTime;

/// One of the two; times are its own, s.
pub enum Behind {
    /// A simulated plant.
    Plant(Box<Plant>),
    /// A recorded delivery.
    Recording(Box<Recording>),
}

/// A simulated plant.
pub struct Plant {
    /// It in motion.
    pub drill: Drill,
    /// The bay that is drilled.
    pub bay: usize,
    /// Its instruments.
    pub wired: Vec<Wired>,
    /// What is so, and what would have been.
    pub lives: Lives,
    /// By how much the watch's time is ahead of its own.
    pub ahead: Ahead,
}

/// A recorded delivery.
pub struct Recording {
    /// It as it is played.
    pub player: Player,
    /// What it is served by.
    pub links: Vec<LinkServer>,
    /// What the monitor said was received when it was recorded.
    pub then: Received,
}

impl Behind {
    /// How far it has come.
    #[must_use]
    pub fn now_s(&self) -> f64 {
        match self {
            Behind::Plant(plant) => plant.look(|bay| bay.plant().time_s()).unwrap_or_default(),
            Behind::Recording(recording) => recording.player.now().since_s(EngineTime(0)),
        }
    }

    /// Its time when a watch that it was played to said something.
    #[must_use]
    pub fn at_s(&self, engine: EngineTime) -> f64 {
        self.ahead().plant_s(engine)
    }

    /// By how much the watch's time is ahead. To a recording it is played by the watch's own.
    #[must_use]
    pub fn ahead(&self) -> Ahead {
        match self {
            Behind::Plant(plant) => plant.ahead.clone(),
            Behind::Recording(_) => Ahead::default(),
        }
    }

    /// Follows it to a frame that was said just now; gives what witnesses are held against then, kg.
    pub fn follow(&mut self, frame: &Frame, log: &Log) -> Option<f64> {
        let now_s = self.now_s();
        match self {
            Behind::Plant(plant) => {
                plant.ahead.hear(frame.at, now_s);
                plant.lives.follow(log, now_s);
                plant.lives.received_kg(plant.ahead.plant_s(frame.at))
            }
            Behind::Recording(recording) => {
                recording.player.hear(frame.at);
                together_kg(frame)
            }
        }
    }

    /// What is so and what would have been; none: nobody knows.
    #[must_use]
    pub fn lives(&self) -> Option<&Lives> {
        match self {
            Behind::Plant(plant) => Some(&plant.lives),
            Behind::Recording(_) => None,
        }
    }

    /// Does something to it, and gives the exact time.
    ///
    /// # Errors
    /// When it cannot be done to it.
    pub fn does(&mut self, done: &Done, log: &Log) -> Result<f64, String> {
        match self {
            Behind::Plant(plant) => {
                if let Done::Fault(wrong) = done {
                    wrong.what.can(&log.settings.bay, &plant.wired)?;
                }
                let to = |bay: &mut SimulatedBay| {
                    done.to(bay, &log.scenario);
                    bay.plant().time_s()
                };
                plant.look(to).ok_or_else(|| "the bay is gone".to_owned())
            }
            Behind::Recording(recording) => {
                match done {
                    Done::Fault(wrong) => recording.player.fault(wrong)?,
                    Done::Mended => recording.player.mend(),
                    // What has flowed has flowed.
                    Done::Started | Done::Act(_) => {}
                }
                Ok(self.now_s())
            }
        }
    }

    /// Goes on with a watch, at so many times real time.
    pub fn go_on(&mut self, feed: &BayFeed, speed: f64) {
        match self {
            Behind::Plant(plant) => {
                plant.ahead.begin_anew();
                plant.drill.set_speed(speed);
            }
            Behind::Recording(recording) => recording.player.go(feed.clone(), speed),
        }
    }

    /// Stands still.
    ///
    /// # Errors
    /// When it could not be played.
    pub async fn stand_still(&mut self) -> Result<(), String> {
        match self {
            Behind::Plant(plant) => plant.drill.set_speed(0.0),
            Behind::Recording(recording) => recording.player.stand_still().await?,
        }
        Ok(())
    }

    /// Nothing more comes.
    #[must_use]
    pub fn is_over(&self) -> bool {
        matches!(self, Behind::Recording(recording) if recording.player.is_over())
    }
}

impl Plant {
    /// Looks at the bay.
    pub fn look<T>(&self, look: impl FnOnce(&mut SimulatedBay) -> T) -> Option<T> {
        self.drill.with_bay(self.bay, look)
    }
}
