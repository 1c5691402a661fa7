//! One device: a round of requests when its turn comes, and what each bay makes of the answers.

use super::back_off::BackOff;
use super::blocks::{self, BlockSpec, Manners};
use super::registers::{Place, Register};
use super::stats::Stats;
use super::timer::Timer;
use super::wire::Wire;
use crate::clock::{MachineTime, machine_duration};
use crate::engine::input::{Block, MissReason, SignalValue};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;

/// Misses in a row after which a device is asked less often, so that one that hangs costs those that share its link
/// and the machine little; one or two are what a disturbance takes.
const MISSES_SPARED: u32 = 2;
/// Longest time that it is left alone, s of engine time: it is back within 1 s and one period.
const PAUSE_MOST_S: f64 = 0.9;
/// Exceptions by which a gateway says that it did not reach the unit (Modbus Application Protocol V1.1b3, 7).
const GATEWAY: [u8; 2] = [0x0A, 0x0B];

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
    back_off: BackOff,
    /// Why it did not answer the last time.
    trouble: MissReason,
}

impl Device {
    pub(super) fn new(spec: Spec, speed: f64, seed: u64) -> Device {
        let places: Vec<Place> = spec.readers.iter().flat_map(|r| r.signals.iter().map(|(_, place)| *place)).collect();
        let plan = blocks::plan(&places, spec.heartbeat.as_ref(), &spec.manners);
        let deadline = machine_duration(spec.time_out_s, speed);
        let (least, most) = (machine_duration(spec.period_s, speed), machine_duration(PAUSE_MOST_S, speed));
        let back_off = BackOff::new(least, most, MISSES_SPARED, seed);
        Device { spec, plan, deadline, back_off, trouble: MissReason::TimeOut }
    }

    pub(super) fn period_s(&self) -> f64 {
        self.spec.period_s
    }

    /// Asks once and hands on what came of it; when it was over.
    pub(super) async fn round(&mut self, wire: &mut Wire, timer: &mut Timer, due: MachineTime) -> MachineTime {
        let waits = self.back_off.has_failed() && self.back_off.waits(MachineTime::now());
        let (requested, outcome) = if waits { (due, Err(self.trouble)) } else { self.ask(wire, timer, due).await };
        let replied = MachineTime::now();
        let connections = wire.connections();
        match &outcome {
            Ok(_) => {
                if self.spec.stats.answered(replied.since(requested), requested.since(due), connections) {
                    tracing::info!(device = self.spec.name, "device answers");
                }
            }
            Err(reason) => {
                if self.spec.stats.missed(*reason, connections) {
                    tracing::warn!(device = self.spec.name, ?reason, "device does not answer");
                }
            }
        }
        self.hand_on(Moments { due, requested, replied, connections }, outcome);
        replied
    }

    async fn ask(
        &mut self,
        wire: &mut Wire,
        timer: &mut Timer,
        due: MachineTime,
    ) -> (MachineTime, Result<Vec<Block>, MissReason>) {
        let mut requested = due;
        let round = timer.within(self.deadline, self.read(wire, &mut requested)).await;
        let outcome = round.unwrap_or_else(|| Err(wire.why_late()));
        match outcome {
            Ok(_) => self.back_off.succeeded(),
            Err(reason) => {
                self.trouble = reason;
                // A way that does not open is no fault of the device: the wire itself pauses between its attempts.
                if wire.is_open() {
                    self.back_off.failed(MachineTime::now());
                }
                wire.broke();
            }
        }
        (requested, outcome)
    }

    /// Every block of the plan, in its order.
    async fn read(&self, wire: &mut Wire, requested: &mut MachineTime) -> Result<Vec<Block>, MissReason> {
        wire.ready().await?;
        *requested = MachineTime::now();
        let mut blocks: Vec<Block> = Vec::with_capacity(self.plan.len());
        for (i, &BlockSpec { function, address, .. }) in self.plan.iter().enumerate() {
            let gone = blocks.last().and_then(|block| block.words.as_ref().err()).filter(|code| GATEWAY.contains(code));
            let words = match gone {
                // The gateway has waited for the unit in vain: it would for each block.
                Some(code) => Err(*code),
                None => wire.read(self.spec.unit, &self.plan[i]).await?,
            };
            blocks.push(Block { function, address, words });
        }
        Ok(blocks)
    }

    fn hand_on(&self, at: Moments, outcome: Result<Vec<Block>, MissReason>) {
        let Moments { due, requested, replied, connections } = at;
        let Some((last, others)) = self.spec.readers.split_last() else { return };
        let round = |reader: &Reader, blocks: Vec<Block>| Round {
            heartbeat: self.spec.heartbeat.as_ref().and_then(|r| blocks::heartbeat(r, &self.plan, &blocks)),
            values: blocks::values(&reader.signals, &self.plan, &blocks),
            blocks,
        };
        let send = |reader: &Reader, outcome: Result<Vec<Block>, MissReason>| {
            let outcome = outcome.map(|blocks| round(reader, blocks));
            let answer = Answer { device: reader.device, due, requested, replied, connections, outcome };
            // A bay that does not keep up loses this answer, not this device's schedule: its reading ages.
            if reader.bay.try_send(answer).is_err() {
                tracing::warn!(device = self.spec.name, "a bay's queue is full: one answer dropped");
            }
        };
        for reader in others {
            send(reader, outcome.clone());
        }
        send(last, outcome);
    }
}

/// When a round was due, began and was over, and the connections made by then.
#[derive(Clone, Copy)]
struct Moments {
    due: MachineTime,
    requested: MachineTime,
    replied: MachineTime,
    connections: u32,
}
