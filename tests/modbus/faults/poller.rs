//! A poller of ours at work, and what its answers are worth, held against what the server knows.

use super::frame::{self, Ask};
use super::server::{Server, State};
use super::trial::Row;
use brimwatch::clock::MachineTime;
use brimwatch::engine::input::Measured;
use brimwatch::poll::blocks::Manners;
use brimwatch::poll::device::{Answer, Reader, Round, Spec};
use brimwatch::poll::link::{LinkSpec, run};
use brimwatch::poll::registers::{DataType, Place, Register, WordOrder};
use brimwatch::poll::stats::Stats;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use tokio::time::{Instant, timeout_at};

/// A device that is not back by then is not coming back.
const PATIENCE: Duration = Duration::from_secs(4);

/// Registers side by side: function, first address, how many. The addresses differ in their lowest four bits.
pub type Block = (u8, u16, u16);
/// Ten holding registers, the main block ...
pub const TEN: Block = (3, 96, 10);
/// ... and two input registers elsewhere, asked after it.
pub const TWO: Block = (4, 298, 2);

/// What is polled.
#[derive(Debug, Clone, Copy)]
pub struct Setup {
    pub units: &'static [u8],
    pub blocks: &'static [Block],
    pub period_s: f64,
    pub time_out_s: f64,
}

/// One unit, two blocks, ten times a second.
pub const USUAL: Setup = Setup { units: &[1], blocks: &[TEN, TWO], period_s: 0.1, time_out_s: 0.05 };
/// The same at leisure, for answers that take their time.
pub const SLOW: Setup = Setup { period_s: 0.3, time_out_s: 0.25, ..USUAL };

/// Answers as they come, and the task that they come from.
pub struct Poller {
    pub setup: Setup,
    pub answers: Vec<Answer>,
    channel: mpsc::Receiver<Answer>,
    task: JoinHandle<()>,
}

fn place((function, address): (u8, u16)) -> Place {
    let data = if function <= 2 { DataType::Bool } else { DataType::U16 };
    Register::plain(function, address, data, WordOrder::Abcd).into()
}

/// Function and address of every signal.
pub fn signals(setup: &Setup) -> Vec<(u8, u16)> {
    setup
        .blocks
        .iter()
        .flat_map(|&(function, first, count)| (first..first + count).map(move |a| (function, a)))
        .collect()
}

impl Poller {
    pub fn start(server: &Server, setup: Setup, speed: f64) -> Poller {
        let (bay, channel) = mpsc::channel(100_000);
        let signals: Vec<_> = (0..).zip(signals(&setup).into_iter().map(place)).collect();
        let device = |(device, unit): (u16, &u8)| Spec {
            name: format!("unit {unit}"),
            unit: *unit,
            period_s: setup.period_s,
            time_out_s: setup.time_out_s,
            manners: Manners::default(),
            heartbeat: None,
            readers: vec![Reader { device, signals: signals.clone(), bay: bay.clone() }],
            stats: Arc::new(Stats::new()),
        };
        let link = LinkSpec {
            name: "under test".into(),
            number: 0,
            way: server.way(),
            connect_time_out_s: 0.2,
            pause_s: 0.0,
            speed,
            devices: (0..).zip(setup.units).map(device).collect(),
        };
        Poller { setup, answers: Vec::new(), channel, task: tokio::spawn(run(link)) }
    }

    /// Until every unit has given so many good answers to rounds due after `since`; false if they do not.
    pub async fn good(&mut self, count: usize, since: MachineTime) -> bool {
        let end = Instant::now() + PATIENCE;
        loop {
            let good = |device: usize| self.answers_of(device).filter(|a| a.due > since && is_whole(a)).count();
            if (0..self.setup.units.len()).all(|device| good(device) >= count) {
                return true;
            }
            match timeout_at(end, self.channel.recv()).await {
                Ok(Some(answer)) => self.answers.push(answer),
                _ => return false,
            }
        }
    }

    /// The figures of a row.
    pub fn figures(&self, name: &str, way: &'static str, state: &State, ended: Option<MachineTime>) -> Row {
        let missed = || self.answers.iter().filter(|answer| answer.outcome.is_err());
        let back = |ended: MachineTime| {
            let good = self.answers.iter().find(|answer| answer.replied > ended && is_whole(answer))?;
            Some(good.replied.since(ended).as_millis())
        };
        Row {
            name: name.to_owned(),
            way,
            polls: self.answers.len(),
            wrong: self.wrong_values(state),
            lost: missed().count(),
            lost_after: missed().filter(|answer| ended.is_some_and(|ended| answer.due > ended)).count(),
            back_ms: ended.and_then(back),
            reasons: missed().filter_map(|a| a.outcome.as_ref().err()).map(|r| format!("{r:?}")).collect(),
            past_ms: self.past_deadline().as_millis(),
            functions: functions(state, &self.setup),
            failures: Vec::new(),
        }
    }

    /// Whatever has come.
    pub fn take_in(&mut self) {
        while let Ok(answer) = self.channel.try_recv() {
            self.answers.push(answer);
        }
    }

    /// Whatever has come, and does not matter.
    pub fn forget(&mut self) {
        while self.channel.try_recv().is_ok() {}
    }

    pub fn answers_of(&self, device: usize) -> impl Iterator<Item = &Answer> {
        self.answers.iter().filter(move |answer| usize::from(answer.device) == device)
    }

    /// The count that must be 0: usable values that are not what the device gave in answer to this very round.
    pub fn wrong_values(&self, state: &State) -> usize {
        let places = signals(&self.setup);
        let wrong_in = |answer: &Answer| {
            let Ok(round) = &answer.outcome else { return 0 };
            let unit = self.setup.units[usize::from(answer.device)];
            let is_wrong = |(signal, measured): (u16, Measured)| {
                let (function, address) = places[usize::from(signal)];
                let asked = |ask: &&Ask| {
                    (ask.unit, ask.function) == (unit, function)
                        && (ask.address..ask.address + ask.count).contains(&address)
                        && (answer.requested..=answer.replied).contains(&ask.at)
                };
                let number = state.asks.iter().rev().find(asked).map(|ask| ask.number);
                match measured {
                    Measured::Number(got) => number.is_none_or(|n| got != f64::from(frame::word(n, address))),
                    Measured::Flag(got) => number.is_none_or(|n| got != frame::bit(n, address)),
                    _ => false,
                }
            };
            round.values.iter().filter(|v| is_wrong((v.signal, v.value))).count()
        };
        self.answers.iter().map(wrong_in).sum()
    }

    /// Longest time that a round went on past its deadline. Of several devices on a link one waits for the others
    /// first: there it counts from the round's first request.
    fn past_deadline(&self) -> Duration {
        let began = |answer: &Answer| if self.setup.units.len() == 1 { answer.due } else { answer.requested };
        let past = |answer: &Answer| {
            answer.replied.since(began(answer)).saturating_sub(Duration::from_secs_f64(self.setup.time_out_s))
        };
        self.answers.iter().map(past).max().unwrap_or_default()
    }
}

impl Drop for Poller {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// Every value of it is usable.
pub fn is_whole(answer: &Answer) -> bool {
    let usable = |round: &Round| {
        !round.values.is_empty()
            && round.values.iter().all(|v| matches!(v.value, Measured::Number(_) | Measured::Flag(_)))
    };
    answer.outcome.as_ref().is_ok_and(usable)
}

/// Requests by function; at 5 those that are no reads, or read what nobody declared.
pub fn functions(state: &State, setup: &Setup) -> [usize; 6] {
    let mut counts = [0; 6];
    for ask in &state.asks {
        let declared = setup.blocks.iter().any(|&(function, first, count)| {
            ask.function == function && ask.address >= first && ask.address + ask.count <= first + count
        });
        let is_read = declared && (1..=4).contains(&ask.function) && setup.units.contains(&ask.unit);
        counts[if is_read { usize::from(ask.function) } else { 5 }] += 1;
    }
    counts
}
