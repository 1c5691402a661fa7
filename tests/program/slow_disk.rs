//! The whole watch on a disk that takes seconds for every write and every flush, in real time and over sockets: polls,
//! frames, alarms and page stay in time, the lag is said, and in the end nothing is missing on record.

use super::drilled;
use super::running::Page;
use brimwatch::engine::alarm::catalogue;
use brimwatch::engine::frame::Frame;
use brimwatch::engine::input::{AlarmId, Entry, RecorderState, What};
use brimwatch::live::{self, Running};
use brimwatch::page::feed::{EntryRequest, Published};
use brimwatch::planted::slow_disk;
use brimwatch::recording::compare::compare;
use brimwatch::recording::format::Kind;
use brimwatch::recording::reader;
use brimwatch_simulator::bay::SimulatedBay;
use brimwatch_simulator::instruments::{Instrument, InstrumentFault, Wrong};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

/// What the disk takes for each write and each flush.
const EACH: Duration = Duration::from_secs(3);
/// It is so slow for this long.
const SLOW: Duration = Duration::from_secs(25);
/// Between two frames: a tick is 1 s; the rest is a busy machine's.
const BETWEEN: Duration = Duration::from_millis(2_000);
/// A round of polls begins so late at the most, s: a tenth of the slow disk's time.
const LATE_S: f64 = 0.5;
/// The page answers within this.
const ANSWERS: Duration = Duration::from_millis(1_000);
/// An alarm is out so long after its cause: a poll, its time-out, a frame.
const CALLED: Duration = Duration::from_secs(3);

/// What was watched while the disk was slow.
#[derive(Default)]
struct Watched {
    longest: Duration,
    late_s: f64,
    waiting: bool,
    said: bool,
    frames: u32,
    polled: u64,
}

impl Watched {
    fn take(&mut self, frame: &Frame, since_last: Duration) {
        self.longest = self.longest.max(since_last);
        self.frames += 1;
        #[expect(clippy::cast_precision_loss, reason = "seconds")]
        let late_s = |ns: u64| ns as f64 / 1e9;
        self.late_s = frame.devices.iter().map(|d| late_s(d.lateness_ns)).fold(self.late_s, f64::max);
        self.waiting |= matches!(frame.recorder, RecorderState::Waiting { .. });
        self.said |= frame.alarms.iter().any(|alarm| alarm.key.id == AlarmId::RecorderTrouble);
        self.polled = frame.devices.iter().map(|d| d.answered).sum();
    }
}

async fn enter(running: &Running, what: What) {
    let (saved, answer) = oneshot::channel();
    let entry = Entry { who: "the test".into(), leg: 1, what };
    running.bays[0].entries.send(EntryRequest { entry, saved }).await.expect("a bay that listens");
    answer.await.expect("an answer").expect("an entry that is saved");
}

async fn next(running: &mut Running) -> Arc<Published> {
    let latest = &mut running.bays[0].latest;
    tokio::time::timeout(Duration::from_secs(20), latest.changed()).await.expect("a frame").expect("a live loop");
    latest.borrow_and_update().clone().expect("some")
}

/// Asks the page for its frame until told to stop; the longest that it took, and what it said of the recorder.
async fn ask(page: Page, until: Instant) -> (Duration, bool) {
    let (mut longest, mut said) = (Duration::ZERO, false);
    while Instant::now() < until {
        let (begun, page) = (Instant::now(), page.clone());
        let asked = tokio::task::spawn_blocking(move || page.answer("GET /bay/bay-1/frame.json", "", ""));
        let answer = asked.await.expect("a thread").expect("an answer");
        longest = longest.max(begun.elapsed());
        said |= answer.contains(catalogue::of(AlarmId::RecorderTrouble).name) && answer.contains("\"waiting\"");
        tokio::time::sleep(Duration::from_millis(300)).await;
    }
    (longest, said)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_disk_of_seconds_a_write_delays_nothing_and_loses_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 8).await;
    let store = drilled.site.store.clone();
    let options = live::Options {
        site: drilled.site.clone(),
        deliveries: vec![drilled.delivery.clone()],
        drill_speed: Some(1.0),
    };
    let mut running = live::start(options).await.unwrap_or_else(|e| panic!("{e}"));
    let recording = running.recordings[0].borrow().clone();
    assert!(recording.starts_with(&store), "{}", recording.display());
    enter(&running, What::TransferStarted).await;
    drilled.drill.with_bay(0, SimulatedBay::start);
    next(&mut running).await;

    slow_disk(&store, EACH);
    let until = Instant::now() + SLOW;
    let asking = tokio::spawn(ask(Page::at(running.page), until));
    let (mut watched, mut last, mut tripped) = (Watched::default(), Instant::now(), None);
    let mut called = None;
    while Instant::now() < until {
        let frame = next(&mut running).await.frame.clone();
        watched.take(&frame, last.elapsed());
        last = Instant::now();
        if tripped.is_none() && watched.said {
            drilled.drill.with_bay(0, |bay| {
                bay.add_fault(InstrumentFault::new(Wrong::Saturated, Instrument::HighLevelSwitch, 0.0, 1.0));
            });
            tripped = Some(Instant::now());
        }
        let out = frame.alarms.iter().any(|alarm| alarm.key.id == AlarmId::LevelSwitchTripped);
        if let (None, Some(tripped), true) = (called, tripped, out) {
            called = Some(tripped.elapsed());
        }
    }
    let (answered, page_says) = asking.await.expect("a task");
    println!(
        "{} frames in {SLOW:?}, {:?} between two at the most; {} rounds, the latest {:.3} s late; the page answered within \
         {answered:?}; the switch was called after {called:?}",
        watched.frames, watched.longest, watched.polled, watched.late_s
    );
    assert!(watched.waiting && watched.said && page_says, "the lag is said by frame, alarm and page");
    assert!(watched.longest < BETWEEN, "{:?} between two frames", watched.longest);
    assert!(watched.late_s < LATE_S, "a round {} s late", watched.late_s);
    assert!(answered < ANSWERS, "the page answered after {answered:?}");
    assert!(called.is_some_and(|after| after < CALLED), "{called:?}");

    slow_disk(&store, Duration::ZERO);
    let until = Instant::now() + Duration::from_secs(20);
    while next(&mut running).await.frame.recorder != RecorderState::Durable {
        assert!(Instant::now() < until, "the disk is back, the recorder is not");
    }
    assert_eq!(*running.recordings[0].borrow(), recording, "one segment");
    enter(&running, What::Closed).await;
    let fed = running.bays[0].latest.borrow().as_ref().map(|p| p.frame.devices.iter().map(|d| d.answered).sum::<u64>());
    running.stop().await;
    let same = compare(&recording).expect("a recording");
    println!("{same}");
    assert!(same.is_same() && same.damage.is_empty(), "{same}");
    let bytes = std::fs::read(&recording).expect("a recording");
    let whole = reader::walk(&recording, &bytes).expect("a recording");
    let inputs: Vec<u64> = whole.records.iter().filter(|r| r.kind == Kind::Input).map(|r| r.number).collect();
    assert!(inputs.iter().copied().eq(1..=inputs.len() as u64), "numbered without a hole");
    assert!(inputs.len() as u64 >= fed.expect("a frame"), "every round is on record");
}
