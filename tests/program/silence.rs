//! A device dies in the middle of a transfer and comes back: what the page says, and when.

use super::drilled::{self, Drilled};
use brimwatch::engine::frame::{Frame, Validity, VerdictWord, WitnessId};
use brimwatch::engine::input::{AlarmId, Entry, What};
use brimwatch::live::{self, Running};
use brimwatch::page::feed::{EntryRequest, Published};
use brimwatch::words::en::English;
use brimwatch::words::{Language, Scene};
use brimwatch_simulator::bay::{SimulatedBay, Stage};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::oneshot;

/// Times real time.
const SPEED: f64 = 20.0;
const SCALE: usize = WitnessId::Scale as usize;

async fn wait(running: &mut Running, what: &str, ready: impl Fn(&Frame) -> bool) -> Arc<Published> {
    let wait = running.bays[0].latest.wait_for(|p| p.as_ref().is_some_and(|p| ready(&p.frame)));
    let found = tokio::time::timeout(Duration::from_secs(60), wait).await;
    found.unwrap_or_else(|_| panic!("not within a minute: {what}")).expect("a live loop").clone().expect("some")
}

/// Tells what the page said, by the drill's clock.
fn tell(published: &Published, from_s: f64) -> f64 {
    let zone = jiff::tz::TimeZone::UTC;
    let scene = Scene::new(&published.settings, &published.frame, &zone);
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    let at_s = published.frame.at.0 as f64 / 1e9;
    println!("{:+7.1} s: {}", at_s - from_s, English.headline(scene, false).whole());
    for alarm in &published.frame.alarms {
        println!("           alarm: {}", English.alarm(scene, alarm).whole());
    }
    for note in English.notes(scene) {
        println!("           note: {note}");
    }
    at_s
}

#[tokio::test(flavor = "multi_thread")]
async fn a_killed_scale_is_said_within_a_period_and_a_time_out_and_comes_back() {
    let folder = tempfile::tempdir().expect("a folder");
    let Drilled { mut drill, site, delivery, .. } = drilled::start(folder.path(), SPEED, 3).await;
    let device = site.devices.iter().find(|d| d.name == "truck scale").expect("a scale").clone();
    let options = live::Options { site, deliveries: vec![delivery], drill_speed: Some(SPEED) };
    let mut running = live::start(options).await.expect("a live loop");
    while drill.with_bay(0, |bay| bay.stage()) != Some(Stage::Ready) {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let (saved, answer) = oneshot::channel();
    let entry = Entry { who: "the test".into(), leg: 1, what: What::TransferStarted };
    running.bays[0].entries.send(EntryRequest { entry, saved }).await.expect("a bay that listens");
    answer.await.expect("an answer").expect("an entry that is saved");
    drill.with_bay(0, SimulatedBay::start);

    let before = wait(&mut running, "agreement", |f| {
        f.verdict.word == VerdictWord::Agree && f.together.is_some_and(|t| t.received_kg.value > 1_500.0)
    })
    .await;
    drill.device("truck scale").expect("a scale").kill().await;
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    let killed_s = running.bays[0].latest.borrow().as_ref().expect("frames").frame.at.0 as f64 / 1e9;
    println!("the scale's device is killed at 0 s of the drill's clock; before:");
    tell(&before, killed_s);
    let lost = wait(&mut running, "the loss", |f| !f.witnesses[SCALE].validity.is_credible()).await;
    let said_s = tell(&lost, killed_s) - killed_s;
    // One period, one time-out, a tick; repeats within 100 ms are merged, which both readings may suffer, and a loaded
    // test machine may be half a second late. The figures are what is printed.
    let late_s = (2.0 * 0.1 + 0.5) * SPEED;
    assert!(said_s <= device.period_s + device.time_out_s + 1.0 + late_s, "said after {said_s} s");
    assert!(lost.frame.alarms.iter().any(|a| a.key.id == AlarmId::SignalLost));
    let pair = wait(&mut running, "two left", |f| f.together.is_some_and(|t| t.degrees_of_freedom == 1)).await;
    assert_eq!(pair.frame.together.expect("two").weights[SCALE].to_bits(), 0.0_f64.to_bits());
    tokio::time::sleep(Duration::from_secs(2)).await;
    tell(&running.bays[0].latest.borrow().clone().expect("frames"), killed_s);

    drill.device("truck scale").expect("a scale").restart().await.expect("the same port");
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    let back_s = running.bays[0].latest.borrow().as_ref().expect("frames").frame.at.0 as f64 / 1e9;
    println!("it is started again at {:+.1} s", back_s - killed_s);
    let found = wait(&mut running, "the scale", |f| f.witnesses[SCALE].validity == Validity::Good).await;
    let found_s = tell(&found, killed_s) - back_s;
    assert!(found_s <= 1.0 + device.period_s + 1.0 + late_s, "back after {found_s} s");
    let again = wait(&mut running, "agreement", |f| {
        f.verdict.word == VerdictWord::Agree && f.together.is_some_and(|t| t.degrees_of_freedom == 2)
    })
    .await;
    tell(&again, killed_s);
    // Whatever was asked was asked with a reading function.
    for (name, _) in drill.addresses() {
        let requests = drill.device(&name).expect("a device").requests();
        assert!(!requests.is_empty() && requests.keys().all(|f| (1..=4).contains(f)), "{name}: {requests:?}");
    }
    running.stop().await;
}
