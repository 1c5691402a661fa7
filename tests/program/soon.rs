//! How soon an alarm without a delay stands on the page: from the moment at which the device shows it to the frame that a
//! viewer has. No sooner than the next poll: a poll period is part of it.

use super::drilled;
use brimwatch::engine::input::{AlarmId, AlarmKey, Entry, What};
use brimwatch::live;
use brimwatch::page::feed::EntryRequest;
use brimwatch::poll::blocks::BlockSpec;
use brimwatch_simulator::instruments::{Instrument, InstrumentFault, Wrong};
use brimwatch_simulator::scenario::{DELIVERY, SITE};
use std::net::{SocketAddr, TcpStream};
use std::sync::mpsc;
use std::time::{Duration, Instant};
use tokio::sync::oneshot;
use tungstenite::Message;

/// How often the switch trips.
const TRIPS: u32 = 20;
/// Times real time, so that an alarm which is over is soon gone.
const SPEED: f64 = 20.0;
/// Polls come this often then, by the machine's clock: once a second by the drill's.
const PERIOD: Duration = Duration::from_millis(50);
/// Goal behind the poll period, at the 99th percentile.
const GOAL: Duration = Duration::from_millis(20);
/// A loaded test machine may be half a second late. The figures are what is printed.
const LOADED: Duration = Duration::from_millis(500);
const PATIENCE: Duration = Duration::from_secs(20);

/// Tells, for each frame that a viewer has, when it came and whether the tripped switch is among its alarms.
fn view(page: SocketAddr, told: &mpsc::Sender<(Instant, bool)>) {
    let stream = TcpStream::connect(page).expect("the page");
    let url = format!("ws://{page}/bay/bay-1/live?answers=true");
    let (mut viewer, _) = tungstenite::client(url, stream).expect("a live connection");
    while let Ok(message) = viewer.read() {
        let (came, Message::Text(text)) = (Instant::now(), message) else { continue };
        let tripped = text.contains("\"id\":\"level_switch_tripped\"");
        if viewer.send(Message::text("")).is_err() || told.send((came, tripped)).is_err() {
            return;
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_alarm_is_on_the_page_within_a_poll_and_a_moment() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut drill, site, deliveries) = drilled::serve(folder.path(), SITE, &[DELIVERY.to_owned()], SPEED, 3).await;
    assert!(site.devices.iter().all(|device| device.period_s / SPEED <= PERIOD.as_secs_f64()));
    let device = drill.device("tank and gas").expect("a device of the drill");
    let registers = device.link.registers(device.unit).expect("its registers");
    let switch = BlockSpec { function: 2, address: 0, count: 1 };
    let running = live::start(live::Options { site, deliveries, drill_speed: Some(SPEED) }).await.expect("a live loop");
    let (told, heard) = mpsc::channel();
    let page = running.page;
    std::thread::spawn(move || view(page, &told));
    let until = |tripped: bool| {
        let begun = Instant::now();
        while begun.elapsed() < PATIENCE {
            let (came, is) = heard.recv_timeout(PATIENCE).expect("frames go on");
            if is == tripped {
                return came;
            }
        }
        panic!("never so: tripped {tripped}");
    };
    until(false);
    let mut late: Vec<Duration> = Vec::new();
    for trip in 0..TRIPS {
        // At another place between two polls each time.
        tokio::time::sleep(Duration::from_millis(u64::from(trip * 37 % 50))).await;
        drill.with_bay(0, |bay| {
            let now_s = bay.plant().time_s();
            bay.add_fault(InstrumentFault::new(Wrong::Saturated, Instrument::HighLevelSwitch, now_s, 1.0));
        });
        let begun = Instant::now();
        while registers.ask(&switch) != Ok(vec![1]) {
            assert!(begun.elapsed() < PATIENCE, "the switch does not trip");
            std::thread::sleep(Duration::from_micros(200));
        }
        let shown = Instant::now();
        late.push(until(true).saturating_duration_since(shown));
        drill.with_bay(0, |bay| bay.mend());
        // It goes when it is over and somebody has seen it.
        let (saved, answer) = oneshot::channel();
        let key = AlarmKey { id: AlarmId::LevelSwitchTripped, subject: 0 };
        let entry = Entry { who: "the test".into(), leg: 1, what: What::Seen(key) };
        running.bays[0].entries.send(EntryRequest { entry, saved }).await.expect("a bay that listens");
        answer.await.expect("an answer").expect("an entry that is saved");
        until(false);
    }
    late.sort();
    let ms = |share: f64| late[(share * f64::from(TRIPS - 1)).round() as usize].as_secs_f64() * 1e3;
    println!(
        "switch shows it to frame at a viewer, polls every {} ms, {TRIPS} times: median {:.0}, 99 % {:.0}, most {:.0} ms",
        PERIOD.as_millis(),
        ms(0.5),
        ms(0.99),
        ms(1.0)
    );
    assert!(late[late.len() / 2] <= PERIOD + GOAL, "{:?}", late[late.len() / 2]);
    assert!(late.last().is_some_and(|most| *most <= PERIOD + GOAL + LOADED), "{:?}", late.last());
    running.stop().await;
}
