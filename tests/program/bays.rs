//! Several bays in one process, and devices that are not there.

use super::drilled::{self, Drilled};
use brimwatch::config::{self, Site};
use brimwatch::engine::frame::{Frame, Phase, Reason, Validity};
use brimwatch::engine::input::MissReason;
use brimwatch::live::{self, Running};
use brimwatch::page::feed::Published;
use brimwatch::words::en::English;
use brimwatch::words::{Language, Scene};
use std::sync::Arc;
use std::time::Duration;

async fn wait(running: &mut Running, bay: usize, what: &str, ready: impl Fn(&Frame) -> bool) -> Arc<Published> {
    let wait = running.bays[bay].latest.wait_for(|p| p.as_ref().is_some_and(|p| ready(&p.frame)));
    let found = tokio::time::timeout(Duration::from_secs(30), wait).await;
    found.unwrap_or_else(|_| panic!("not within 30 s: {what}")).expect("a live loop").clone().expect("some")
}

/// The drill's site with a second bay and tank on the same devices.
fn two_bays(site_file: &std::path::Path) -> Site {
    let text = std::fs::read_to_string(site_file).expect("the site file");
    let (tank, bay) = (text.find("[[tank]]").expect("a tank"), text.find("[[bay]]").expect("a bay"));
    let second = |part: &str| part.replace("\"204\"", "\"205\"").replace("\"Bay 1\"", "\"Bay 2\"");
    let both = format!("{text}\n{}{}", second(&text[tank..bay]), second(&text[bay..]));
    std::fs::write(site_file, both).expect("a file");
    config::load(site_file).unwrap_or_else(|faults| panic!("{faults}"))
}

/// A device's answer goes to each bay that reads it; only one of them has a delivery.
#[tokio::test(flavor = "multi_thread")]
async fn two_bays_read_the_same_devices() {
    let folder = tempfile::tempdir().expect("a folder");
    let Drilled { mut drill, delivery, site_file, .. } = drilled::start(folder.path(), 1.0, 7).await;
    let site = two_bays(&site_file);
    let devices = site.devices.len();
    let options = live::Options { site, deliveries: vec![delivery], drill_speed: None };
    let mut running = live::start(options).await.expect("a live loop");
    for (bay, phase) in [(0, Phase::Opened), (1, Phase::Idle)] {
        let all_read = |f: &Frame| f.readings.iter().all(|r| r.read_at.is_some());
        let published = wait(&mut running, bay, "all read", all_read).await;
        assert_eq!(published.frame.phase, phase);
    }
    let recordings: Vec<_> = running.recordings.iter().map(|r| r.borrow().clone()).collect();
    assert!(recordings[0].parent() != recordings[1].parent(), "{recordings:?}");
    // Read once for both: as many connections as devices.
    assert_eq!(running.bays[0].latest.borrow().as_ref().expect("frames").devices.len(), devices);
    for (name, _) in drill.addresses() {
        let requests = drill.device(&name).expect("a device").requests();
        assert!(requests.keys().all(|f| (1..=4).contains(f)), "{name}: {requests:?}");
    }
    running.stop().await;
}

/// A device that is not there is said in words; the others are read.
#[tokio::test(flavor = "multi_thread")]
async fn an_unreachable_device_is_said_and_the_others_go_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let Drilled { mut drill, site, .. } = drilled::start(folder.path(), 1.0, 8).await;
    drill.device("truck scale").expect("a scale").kill().await;
    let mut running =
        live::start(live::Options { site, deliveries: Vec::new(), drill_speed: None }).await.expect("a live loop");
    let lost = Validity::Lost(Reason::Missed(MissReason::NoConnection));
    let said = |f: &Frame| {
        f.readings.iter().any(|r| r.validity == lost) && f.readings.iter().any(|r| r.validity == Validity::Good)
    };
    let published = wait(&mut running, 0, "one lost, others read", said).await;
    let zone = jiff::tz::TimeZone::UTC;
    let scene = Scene::new(&published.settings, &published.frame, &zone);
    let notes = English.notes(scene).join(" ");
    assert!(notes.contains("Truck scale is lost: no connection to the device."), "{notes}");
    running.stop().await;
}

/// A device that takes requests and never answers costs itself its readings and nobody else anything.
#[tokio::test(flavor = "multi_thread")]
async fn a_silent_device_delays_no_other() {
    const SPEED: f64 = 20.0;
    let folder = tempfile::tempdir().expect("a folder");
    let Drilled { mut drill, site, delivery, .. } = drilled::start(folder.path(), SPEED, 9).await;
    drill.device("truck scale").expect("a scale").set_silent(true);
    let options = live::Options { site, deliveries: vec![delivery], drill_speed: Some(SPEED) };
    let mut running = live::start(options).await.expect("a live loop");
    let after = |s: u64| move |f: &Frame| f.at.0 > s * 1_000_000_000;
    let published = wait(&mut running, 0, "80 s of the drill", after(80)).await;
    #[expect(clippy::cast_precision_loss, reason = "minutes")]
    let due = published.frame.at.0 as f64 / 1e9;
    for device in &published.devices {
        println!("{due:.0} polls due: {device:?}");
        #[expect(clippy::cast_precision_loss, reason = "a count")]
        let rounds = (device.answered + device.missed) as f64;
        // A loaded test machine may drop a few; a device that waited for the silent one would drop nearly all.
        assert!(rounds > 0.8 * due, "{}: {rounds} of {due} rounds", device.name);
        if device.name == "truck scale" {
            assert_eq!(device.answered, 0);
            assert_eq!(device.trouble, English.reason(Reason::Missed(MissReason::TimeOut)));
        } else {
            assert!(device.missed * 5 <= device.answered, "{device:?}");
        }
    }
    running.stop().await;
}
