//! One link's task: its devices in turn, each on its own grid.

use super::device::{Device, Spec};
use super::modbus::Wire;
use super::schedule::Schedule;
use super::way::Way;
use crate::clock::{MachineTime, machine_duration};

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

/// Polls until the task is dropped.
pub async fn run(link: LinkSpec) {
    let started = MachineTime::now();
    let mut wire = Wire::new(&link);
    let mut devices: Vec<(Schedule, MachineTime, Device)> = link
        .devices
        .into_iter()
        .map(|spec| {
            let period = machine_duration(spec.period_s, link.speed);
            let schedule = Schedule::new(started.0, u64::try_from(period.as_nanos()).unwrap_or(u64::MAX));
            (schedule, started, Device::new(spec, link.speed))
        })
        .collect();
    // The one that has been due the longest.
    while let Some((schedule, due, device)) = devices.iter_mut().min_by_key(|(_, due, _)| *due) {
        tokio::time::sleep(due.until()).await;
        device.round(&mut wire, *due).await;
        *due = MachineTime(schedule.next_after(MachineTime::now().0.max(due.0)));
    }
}
