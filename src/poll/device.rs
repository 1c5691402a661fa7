//! One device: a round of requests when its turn comes, and what each bay makes of the answers.

use super::blocks::{self, BlockSpec, Manners};
use super::modbus::Wire;
use super::registers::{Place, Register};
use super::stats::Stats;
use crate::clock::{MachineTime, machine_duration};
use crate::engine::input::{Block, MissReason, SignalValue};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::timeout;

/// What to poll and how.
#[derive(Debug, Clone)]
pub struct Spec {
    /// Name in the site file, for the log.
    pub name: String,
    /// Modbus unit.
    pub unit: u8,
    /// Time between rounds of requests, s of engine time.
    pub period_s: f64,
    /// A round that is not answered by then is missed, s of engine time.
    pub time_out_s: f64,
    /// How it may be asked.
    pub manners: Manners,
    /// A register that changes while the device is alive.
    pub heartbeat: Option<Register>,
    /// What each bay reads of it.
    pub readers: Vec<Reader>,
    /// Where it is counted.
    pub stats: Arc<Stats>,
}

/// One bay that reads a device.
#[derive(Debug, Clone)]
pub struct Reader {
    /// Index of the device in the bay's settings.
    pub device: u16,
    /// The bay's signals and where they are found.
    pub signals: Vec<(u16, Place)>,
    /// Where answers go; never waited for.
    pub bay: mpsc::Sender<Answer>,
}

/// What one round gave one bay, in machine time.
#[derive(Debug, Clone)]
pub struct Answer {
    /// Index of the device in the bay's settings.
    pub device: u16,
    /// When the round was due.
    pub due: MachineTime,
    /// When the first request left (or was due, where none could).
    pub requested: MachineTime,
    /// When the last reply was in, or the round was given up.
    pub replied: MachineTime,
    /// Connections made over its link since the program started.
    pub connections: u32,
    /// What came, or why nothing did.
    pub outcome: Result<Round, MissReason>,
}

/// What the replies of one round hold for one bay.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// The words as they came.
    pub blocks: Vec<Block>,
    /// What the heartbeat register held, where there is one.
    pub heartbeat: Option<u64>,
    /// The bay's values.
    pub values: Vec<SignalValue>,
}

/// A device with what it is asked.
pub(super) struct Device {
    spec: Spec,
    plan: Vec<BlockSpec>,
    deadline: Duration,
}

impl Device {
    pub(super) fn new(spec: Spec, speed: f64) -> Device {
        let places: Vec<Place> = spec.readers.iter().flat_map(|r| r.signals.iter().map(|(_, place)| *place)).collect();
        let plan = blocks::plan(&places, spec.heartbeat.as_ref(), &spec.manners);
        let deadline = machine_duration(spec.time_out_s, speed);
        Device { spec, plan, deadline }
    }

    /// Asks once and hands on what came of it.
    pub(super) async fn round(&mut self, wire: &mut Wire, due: MachineTime) {
        let mut requested = due;
        let outcome = match timeout(self.deadline, self.ask(wire, &mut requested)).await {
            Ok(outcome) => outcome,
            Err(_) => Err(if wire.is_open() { MissReason::TimeOut } else { MissReason::NoConnection }),
        };
        let replied = MachineTime::now();
        match &outcome {
            Ok(_) => {
                if self.spec.stats.answered(replied.since(requested)) {
                    tracing::info!(device = self.spec.name, "device answers");
                }
            }
            Err(reason) => {
                if self.spec.stats.missed(*reason) {
                    tracing::warn!(device = self.spec.name, ?reason, "device does not answer");
                }
                wire.broke(*reason);
            }
        }
        self.hand_on(due, requested, replied, wire.connections(), &outcome);
    }

    async fn ask(&self, wire: &mut Wire, requested: &mut MachineTime) -> Result<Vec<Block>, MissReason> {
        if wire.ready().await? {
            self.spec.stats.connected();
        }
        let due = *requested;
        *requested = MachineTime::now();
        self.spec.stats.late_by(requested.since(due));
        let mut blocks = Vec::with_capacity(self.plan.len());
        for spec in &self.plan {
            let words = wire.read(self.spec.unit, spec).await?;
            blocks.push(Block { function: spec.function, address: spec.address, words });
        }
        Ok(blocks)
    }

    fn hand_on(
        &self,
        due: MachineTime,
        requested: MachineTime,
        replied: MachineTime,
        connections: u32,
        outcome: &Result<Vec<Block>, MissReason>,
    ) {
        for reader in &self.spec.readers {
            let outcome = outcome.as_ref().map_err(|reason| *reason).map(|blocks| Round {
                blocks: blocks.clone(),
                heartbeat: self.spec.heartbeat.as_ref().and_then(|r| blocks::heartbeat(r, &self.plan, blocks)),
                values: blocks::values(&reader.signals, &self.plan, blocks),
            });
            let answer = Answer { device: reader.device, due, requested, replied, connections, outcome };
            // A bay that does not keep up loses this answer, not this device's schedule: its reading ages.
            if reader.bay.try_send(answer).is_err() {
                tracing::warn!(device = self.spec.name, "a bay's queue is full: one answer dropped");
            }
        }
    }
}
