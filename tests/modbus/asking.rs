//! The poller itself, asked to read places of units over one link.

use brimwatch::poll::blocks::Manners;
use brimwatch::poll::device::{Answer, Reader, Spec};
use brimwatch::poll::link::{self, LinkSpec};
use brimwatch::poll::registers::Register;
use brimwatch::poll::stats::Stats;
use brimwatch::poll::way::Way;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;

/// Nothing on loopback takes so long, however loaded the machine is.
const TIME_OUT_S: f64 = 10.0;

/// Asks every unit for its registers until each has answered (or failed to) `rounds` times; the answers by unit, in
/// order. Signal numbers are places in the unit's list.
pub async fn ask(way: Way, units: &[(u8, Vec<Register>)], rounds: usize, period_s: f64) -> Vec<Vec<Answer>> {
    let (bay, mut answers) = mpsc::channel(1024);
    let device = |(index, (unit, registers)): (usize, &(u8, Vec<Register>))| Spec {
        name: format!("unit {unit}"),
        unit: *unit,
        period_s,
        time_out_s: TIME_OUT_S,
        manners: Manners::default(),
        heartbeat: None,
        readers: vec![Reader {
            device: u16::try_from(index).expect("few units"),
            signals: (0..).zip(registers.iter().map(|r| (*r).into())).collect(),
            bay: bay.clone(),
        }],
        stats: Arc::new(Stats::new()),
    };
    let link = LinkSpec {
        name: "peer".into(),
        number: 1, // link 0 first asks a whole period after it began
        way,
        connect_time_out_s: TIME_OUT_S,
        pause_s: 0.0,
        speed: 1.0,
        devices: units.iter().enumerate().map(device).collect(),
    };
    drop(bay); // a poller that panics then ends the answers
    let polling = tokio::spawn(link::run(link));
    let mut by_unit = vec![Vec::new(); units.len()];
    while by_unit.iter().any(|answers| answers.len() < rounds) {
        let answer = tokio::time::timeout(Duration::from_secs(60), answers.recv()).await;
        let answer = answer.expect("an answer in a minute").expect("a poller that goes on");
        by_unit[usize::from(answer.device)].push(answer);
    }
    polling.abort();
    let _ = polling.await; // it has hung up
    by_unit
}
