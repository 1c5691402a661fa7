//! One link's task: its devices in turn, each on its own grid.

use super::device::{Device, Spec};
use super::schedule::Schedule;
use super::timer::Timer;
use super::way::Way;
use super::wire::Wire;
use crate::clock::{MachineTime, machine_duration};
use std::time::Duration;

/// Links are spread over at most this, s of engine time, so that not all ask at one moment; more would part readings
/// that are compared.
const SPREAD_MOST_S: f64 = 0.1;
/// Golden ratio less 1: multiples of it fall evenly between those before, however many there are.
const SPREAD_STEP: f64 = 0.618_033_988_749_895;
/// Links that would ask within this of each other ask together, s of engine time: the machine wakes once for all of
/// them. Fine enough to stay spread, and nothing beside the time that a reading stands for (5 kg/s: 0.025 kg).
const TOGETHER_S: f64 = 0.005;

/// A way to devices and those that share it.
#[derive(Debug, Clone)]
pub struct LinkSpec {
    /// Name in the site file, for the log.
    pub name: String,
    /// Its place among the links of the site: spreads them over time.
    pub number: u32,
    /// Where it leads.
    pub way: Way,
    /// A connection not made by then is none, s of engine time.
    pub connect_time_out_s: f64,
    /// Least time from a reply to the next request, s of engine time.
    pub pause_s: f64,
    /// Engine seconds per machine second.
    pub speed: f64,
    /// Who is asked.
    pub devices: Vec<Spec>,
}

/// A device and when it is asked.
struct Turn {
    schedule: Schedule,
    due: MachineTime,
    device: Device,
}

/// Polls until the task is dropped.
pub async fn run(mut link: LinkSpec) {
    let started = MachineTime::now();
    let seed = u64::from(link.number) << 32;
    let ns = |duration: Duration| u64::try_from(duration.as_nanos()).unwrap_or(u64::MAX);
    let together = ns(machine_duration(TOGETHER_S, link.speed)).max(1);
    let turn = |(spec, seed): (Spec, u64)| {
        let device = Device::new(spec, link.speed, seed);
        let part = f64::from(link.number) * SPREAD_STEP % 1.0;
        let phase = machine_duration(part * device.period_s().min(SPREAD_MOST_S), link.speed);
        let period = machine_duration(device.period_s(), link.speed);
        let first = started.0.saturating_add(ns(phase)).next_multiple_of(together);
        Turn { schedule: Schedule::new(first, ns(period)), due: MachineTime(first), device }
    };
    let specs = std::mem::take(&mut link.devices);
    let mut turns: Vec<Turn> = specs.into_iter().zip(seed + 1..).map(turn).collect();
    let mut wire = Wire::new(&link);
    let (mut timer, mut now) = (Timer::new(), started);
    // The one that has been due the longest, so that none keeps another out.
    while let Some(turn) = turns.iter_mut().min_by_key(|turn| turn.due) {
        timer.wait(turn.due.since(now)).await;
        now = turn.device.round(&mut wire, &mut timer, turn.due).await;
        turn.due = MachineTime(turn.schedule.next_after(now.0.max(turn.due.0)));
    }
}
