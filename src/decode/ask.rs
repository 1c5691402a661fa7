//! Reads the named registers through the poller: one connection, reading functions alone, every reply held against its
//! request.

use super::Sample;
use crate::engine::input::{Block, MissReason};
use crate::poll::blocks::{self, Manners};
use crate::poll::device::{Answer, Reader, Spec};
use crate::poll::link::{self, LinkSpec};
use crate::poll::registers::{DataType, Place, Register, WordOrder};
use crate::poll::stats::Stats;
use crate::poll::way::Way;
use std::collections::BTreeSet;
use std::sync::Arc;
use tokio::sync::mpsc;

/// What is read, and how often.
#[derive(Debug, Clone)]
pub struct Question {
    /// The way to the device.
    pub way: Way,
    /// A connection not made by then is none, s.
    pub connect_time_out_s: f64,
    /// Least time from a reply to the next request, s.
    pub pause_s: f64,
    /// Modbus unit.
    pub unit: u8,
    /// How it may be asked; nothing is read along beside the named registers whatever this says.
    pub manners: Manners,
    /// Modbus function, 3 or 4.
    pub function: u8,
    /// Addresses on the wire.
    pub addresses: BTreeSet<u16>,
    /// How many times.
    pub reads: usize,
    /// Time between two reads, s.
    pub period_s: f64,
    /// A read that is not answered by then is missed, s.
    pub time_out_s: f64,
}

/// What came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// The words of each request that was answered at least once.
    pub samples: Vec<Sample>,
    /// Requests that were answered with an exception at least once: first and last address, and the code.
    pub refused: Vec<(u16, u16, u8)>,
    /// Reads that were answered.
    pub answered: usize,
    /// Why each of the others was not.
    pub missed: Vec<MissReason>,
}

/// Asks until it has been asked so many times, or the first time has no answer.
///
/// # Errors
/// Why the first read had no answer.
pub async fn ask(question: &Question) -> Result<Asked, MissReason> {
    let register = |&address| Register::plain(question.function, address, DataType::U16, WordOrder::Abcd);
    let places: Vec<Place> = question.addresses.iter().map(|address| register(address).into()).collect();
    let manners = Manners { gap: 0, ..question.manners.clone() };
    let plan = blocks::plan(&places, None, &manners);
    // As many as are asked for, so that none is dropped while an earlier one is looked at.
    let (bay, mut answers) = mpsc::channel(question.reads.max(1));
    let device = Spec {
        name: format!("unit {}", question.unit),
        unit: question.unit,
        period_s: question.period_s,
        time_out_s: question.time_out_s,
        manners,
        heartbeat: None,
        readers: vec![Reader { device: 0, signals: (0..).zip(places).collect(), bay }],
        stats: Arc::new(Stats::new()),
    };
    let link = LinkSpec {
        name: "decode".into(),
        number: 1,
        way: question.way.clone(),
        connect_time_out_s: question.connect_time_out_s,
        pause_s: question.pause_s,
        speed: 1.0,
        devices: vec![device],
    };
    let polling = tokio::spawn(link::run(link));
    let mut rounds = Vec::new();
    while rounds.len() < question.reads {
        let Some(Answer { outcome, .. }) = answers.recv().await else { break };
        match outcome {
            Err(reason) if rounds.is_empty() => {
                polling.abort();
                return Err(reason);
            }
            outcome => rounds.push(outcome.map(|round| round.blocks)),
        }
    }
    polling.abort();
    Ok(sorted(&plan, rounds))
}

fn sorted(plan: &[blocks::BlockSpec], rounds: Vec<Result<Vec<Block>, MissReason>>) -> Asked {
    let of = |spec: &blocks::BlockSpec| Sample { function: spec.function, address: spec.address, reads: Vec::new() };
    let mut samples: Vec<Sample> = plan.iter().map(of).collect();
    let mut asked = Asked { samples: Vec::new(), refused: Vec::new(), answered: 0, missed: Vec::new() };
    for round in rounds {
        match round {
            Ok(blocks) => {
                asked.answered += 1;
                for ((sample, spec), block) in samples.iter_mut().zip(plan).zip(blocks) {
                    match block.words {
                        Ok(words) => sample.reads.push(words),
                        Err(code) => {
                            let refused = (spec.address, spec.address + (spec.count - 1), code);
                            if !asked.refused.contains(&refused) {
                                asked.refused.push(refused);
                            }
                        }
                    }
                }
            }
            Err(reason) => asked.missed.push(reason),
        }
    }
    samples.retain(|sample| !sample.reads.is_empty());
    asked.samples = samples;
    asked
}
