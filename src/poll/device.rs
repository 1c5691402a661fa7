//! One device's task: ask on the grid, hand on what came, start anew after anything odd.

use super::blocks::{self, BlockSpec};
use super::modbus::Connection;
use super::registers::Register;
use super::schedule::Schedule;
use super::stats::Stats;
use crate::clock::{MachineTime, machine_duration};
use crate::engine::input::{Block, MissReason, SignalValue};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::timeout;

/// Longest pause between attempts to connect, s of engine time.
const BACK_OFF_MAX_S: f64 = 1.0;

/// What to poll and how.
#[derive(Debug, Clone)]
pub struct Spec {
    /// Name in the site file, for the log.
    pub name: String,
    /// Host and port.
    pub address: String,
    /// Modbus unit.
    pub unit: u8,
    /// Time between requests, s of engine time.
    pub period_s: f64,
    /// A reply later than this is no reply, s of engine time.
    pub time_out_s: f64,
    /// Engine seconds per machine second.
    pub speed: f64,
    /// What each bay reads of it.
    pub readers: Vec<Reader>,
}

/// One bay that reads a device.
#[derive(Debug, Clone)]
pub struct Reader {
    /// Index of the device in the bay's settings.
    pub device: u16,
    /// The bay's signals and where they are found.
    pub signals: Vec<(u16, Register)>,
    /// Where answers go; never waited for.
    pub bay: mpsc::Sender<Answer>,
}

/// What one round gave one bay, in machine time.
#[derive(Debug, Clone)]
pub struct Answer {
    /// Index of the device in the bay's settings.
    pub device: u16,
    /// When the first request left (or was due, where none could).
    pub requested: MachineTime,
    /// When the last reply was in.
    pub replied: MachineTime,
    /// The blocks and this bay's values, or why there are none.
    pub outcome: Result<(Vec<Block>, Vec<SignalValue>), MissReason>,
}

struct Device {
    spec: Spec,
    plan: Vec<BlockSpec>,
    stats: Arc<Stats>,
    connection: Option<Connection>,
    back_off: Duration,
    not_before: MachineTime,
}

/// Polls until the task is dropped.
pub async fn run(spec: Spec, stats: Arc<Stats>) {
    let registers: Vec<Register> = spec.readers.iter().flat_map(|r| r.signals.iter().map(|(_, r)| *r)).collect();
    let period = machine_duration(spec.period_s, spec.speed);
    let plan = blocks::plan(&registers);
    let started = MachineTime::now();
    let schedule = Schedule::new(started.0, u64::try_from(period.as_nanos()).unwrap_or(u64::MAX));
    let mut device = Device { spec, plan, stats, connection: None, back_off: Duration::ZERO, not_before: started };
    loop {
        let due = MachineTime(schedule.next_after(MachineTime::now().0));
        tokio::time::sleep(due.until()).await;
        device.round(due).await;
    }
}

impl Device {
    async fn round(&mut self, due: MachineTime) {
        let deadline = machine_duration(self.spec.time_out_s, self.spec.speed);
        let (requested, outcome) = match timeout(deadline, self.ask(due)).await {
            Ok((requested, outcome)) => (requested, outcome),
            Err(_) if self.connection.is_none() => (due, Err(MissReason::NoConnection)),
            Err(_) => (due, Err(MissReason::TimeOut)),
        };
        let replied = MachineTime::now();
        let requested = requested.min(replied);
        match &outcome {
            Ok(_) => self.answered(requested, replied),
            Err(reason) => self.missed(*reason),
        }
        for reader in &self.spec.readers {
            let outcome = outcome
                .as_ref()
                .map_err(|reason| *reason)
                .map(|blocks| (blocks.clone(), blocks::values(&reader.signals, &self.plan, blocks)));
            let answer = Answer { device: reader.device, requested, replied, outcome };
            // A bay that does not keep up loses this answer, not this device's schedule: its reading ages.
            if reader.bay.try_send(answer).is_err() {
                tracing::warn!(device = self.spec.name, "a bay's queue is full: one answer dropped");
            }
        }
    }

    /// Connects if need be and reads every block.
    async fn ask(&mut self, due: MachineTime) -> (MachineTime, Result<Vec<Block>, MissReason>) {
        if self.connection.is_none() {
            if MachineTime::now() < self.not_before {
                return (due, Err(MissReason::NoConnection));
            }
            match Connection::open(&self.spec.address, self.spec.unit).await {
                Ok(connection) => {
                    self.connection = Some(connection);
                    self.stats.connected();
                }
                Err(reason) => return (due, Err(reason)),
            }
        }
        let requested = MachineTime::now();
        self.stats.late_by(requested.since(due));
        let Some(connection) = &mut self.connection else { return (due, Err(MissReason::NoConnection)) };
        let mut blocks = Vec::with_capacity(self.plan.len());
        for spec in &self.plan {
            match connection.read(spec).await {
                Ok(words) => blocks.push(Block { function: spec.function, address: spec.address, words }),
                Err(reason) => return (requested, Err(reason)),
            }
        }
        (requested, Ok(blocks))
    }

    fn answered(&mut self, requested: MachineTime, replied: MachineTime) {
        self.back_off = Duration::ZERO;
        if self.stats.answered(replied.since(requested)) {
            tracing::info!(device = self.spec.name, "device answers");
        }
    }

    /// After anything but a well-formed answer the connection starts anew.
    fn missed(&mut self, reason: MissReason) {
        if self.stats.missed(reason) {
            tracing::warn!(device = self.spec.name, ?reason, "device does not answer");
        }
        self.connection = None;
        let least = machine_duration(self.spec.period_s, self.spec.speed);
        let most = machine_duration(BACK_OFF_MAX_S, self.spec.speed);
        self.back_off = if reason == MissReason::NoConnection {
            (self.back_off * 2).clamp(least.min(most), most)
        } else {
            Duration::ZERO
        };
        self.not_before = MachineTime(
            MachineTime::now()
                .0
                .saturating_add(u64::try_from(self.back_off.saturating_sub(least).as_nanos()).unwrap_or(u64::MAX)),
        );
    }
}
