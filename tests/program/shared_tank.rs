//! Two bays and one tank over sockets: the live loop lets each hear of the other, and both recordings replay.

use super::drilled;
use brimwatch::engine::frame::{Frame, Margin, Validity, WitnessId};
use brimwatch::engine::input::{Entry, What};
use brimwatch::live::{self, Running};
use brimwatch::page::feed::{EntryRequest, Published};
use brimwatch::recording::compare::compare;
use brimwatch::words::en::English;
use brimwatch::words::{Language, Scene};
use brimwatch_simulator::bay::{SimulatedBay, Stage};
use brimwatch_simulator::scenario::DELIVERY;
use brimwatch_simulator::tanks;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::oneshot;

/// Times real time.
const SPEED: f64 = 20.0;
const TANK: usize = WitnessId::Tank as usize;
/// The plant runs on between a frame and the look at it: up to a second of the machine, 20 of the drill, at 6 kg/s.
const LATE_KG: f64 = 20.0 * 6.0;

async fn wait(running: &mut Running, bay: usize, what: &str, ready: impl Fn(&Frame) -> bool) -> Arc<Published> {
    let wait = running.bays[bay].latest.wait_for(|p| p.as_ref().is_some_and(|p| ready(&p.frame)));
    let found = tokio::time::timeout(Duration::from_secs(90), wait).await;
    found.unwrap_or_else(|_| panic!("not within 90 s: {what}")).expect("a live loop").clone().expect("some")
}

async fn enter(running: &Running, bay: usize, what: What) {
    let (saved, answer) = oneshot::channel();
    let entry = Entry { who: "the test".into(), leg: 1, what };
    running.bays[bay].entries.send(EntryRequest { entry, saved }).await.expect("a bay that listens");
    answer.await.expect("an answer").expect("an entry that is saved");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_bays_fill_one_tank() {
    let folder = tempfile::tempdir().expect("a folder");
    let papers = [DELIVERY.to_owned(), tanks::second_delivery()];
    let (drill, site, deliveries) = drilled::serve(folder.path(), &tanks::two_bays(), &papers, SPEED, 21).await;
    let options = live::Options { site, deliveries, drill_speed: Some(SPEED) };
    let mut running = live::start(options.clone()).await.expect("a live loop");
    while (0..2).any(|bay| drill.with_bay(bay, |bay| bay.stage()) != Some(Stage::Ready)) {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    for bay in 0..2 {
        enter(&running, bay, What::TransferStarted).await;
        drill.with_bay(bay, SimulatedBay::start);
        // The second starts while the first is at it.
        let moved = |f: &Frame| f.together.is_some_and(|t| t.received_kg.value > 400.0);
        wait(&mut running, bay, "400 kg", moved).await;
    }
    for bay in 0..2 {
        let well_in = |f: &Frame| f.together.is_some_and(|t| t.received_kg.value > 2_000.0);
        let published = wait(&mut running, bay, "two tonnes", well_in).await;
        let frame = &published.frame;
        let truth = drill.with_bay(bay, |bay| bay.plant().received_kg()).expect("a bay");
        let says = frame.witnesses[TANK].received_kg.expect("a mass");
        let neighbour = frame.neighbours[0];
        println!(
            "bay {}: in {truth:.0} kg, by tank level {:.0} kg (u {:.0}); {neighbour:?}",
            bay + 1,
            says.value,
            says.u
        );
        assert_eq!(frame.witnesses[TANK].validity, Validity::Good);
        assert!((says.value - truth).abs() < 3.0 * says.u + LATE_KG, "bay {bay}: {says:?} against {truth}");
        assert!(!neighbour.silent && neighbour.brought_kg.is_some_and(|b| b.value > 1_000.0), "{neighbour:?}");
        assert!(matches!(frame.margin, Margin::Known { kg, .. } if kg > 0.0), "{:?}", frame.margin);
        let zone = jiff::tz::TimeZone::UTC;
        let notes = English.notes(Scene::new(&published.settings, frame, &zone)).join(" ");
        assert!(notes.contains(&format!("Bay {} is filling the same tank: about 1", 2 - bay)), "{notes}");
    }
    // Stopped and started again: both go on, hear of each other again and know what came in meanwhile.
    running.stop().await;
    let mut running = live::start(options).await.expect("a live loop");
    for bay in 0..2 {
        let back = |f: &Frame| f.blind.is_some() && f.witnesses[TANK].validity == Validity::Good && f.rate.is_some();
        let frame = wait(&mut running, bay, "a tank that is known again", back).await.frame.clone();
        let truth = drill.with_bay(bay, |bay| bay.plant().received_kg()).expect("a bay");
        let says = frame.witnesses[TANK].received_kg.expect("a mass");
        println!("bay {} again: in {truth:.0} kg, by tank level {:.0} kg (u {:.0})", bay + 1, says.value, says.u);
        assert!((says.value - truth).abs() < 3.0 * says.u + LATE_KG, "bay {bay}: {says:?} against {truth}");
    }
    let recordings: Vec<_> = running.recordings.iter().map(|r| r.borrow().clone()).collect();
    running.stop().await;
    for recording in recordings {
        let comparison = compare(&recording).expect("a recording");
        println!("{comparison}");
        assert!(comparison.is_same() && comparison.compared > 100, "{comparison}");
    }
}
