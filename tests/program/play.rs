//! A recorded delivery played again: in process bit for bit, over sockets with the same verdicts and alarms, with
//! instruments made to go wrong, and what is refused.

use super::drilled;
use brimwatch::engine::frame::VerdictWord;
use brimwatch::engine::input::{AlarmId, Entry, Event, What};
use brimwatch::live;
use brimwatch::time::EngineTime;
use brimwatch_simulator::bay::Stage;
use brimwatch_simulator::folder::hand_in;
use brimwatch_simulator::play::story::Story;
use brimwatch_simulator::play::{self, Options, WITHIN};
use brimwatch_simulator::scenario::{DELIVERY, SITE};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Times real time: a machine that stands still for 300 ms loses no signal.
const SPEED: f64 = 6.0;
/// One that stood still for longer is none of what is tested here: so often it is tried again, each time with more real
/// time for the same.
pub const TRIES: u32 = 4;
/// Engine time by which a poll may be late, s: what was recorded stands on the wire from half a period before it was asked
/// for to half a period behind.
const LATE_S: f64 = 0.5;

/// On one serial line three devices answer in turn, each within the same period: no faster than this, times real time.
pub const SERIAL_SPEED: f64 = 5.0;

/// A small load is unloaded and recorded over sockets; the recording lies in a folder of its own.
async fn recorded(folder: &Path, site_text: &str, speed: f64) -> PathBuf {
    let mut recording = recorded_at(&folder.join("1"), site_text, speed).await;
    for nth in 2..=TRIES {
        if undisturbed(&recording) {
            break;
        }
        recording = recorded_at(&folder.join(nth.to_string()), site_text, speed / f64::from(nth)).await;
    }
    recording
}

/// The same, once.
async fn recorded_at(folder: &Path, site_text: &str, speed: f64) -> PathBuf {
    let papers = DELIVERY.replace("planned = \"20 t\"", "planned = \"800 kg\"");
    let (drill, site, deliveries) = drilled::serve(folder, site_text, &[papers], speed, 5).await;
    let options = live::Options { site, deliveries, drill_speed: Some(speed) };
    let running = live::start(options).await.unwrap_or_else(|e| panic!("{e}"));
    let path = running.recordings[0].borrow().clone();
    let until = Instant::now() + Duration::from_secs_f64(120.0 * SPEED / speed.min(SPEED));
    let enter = |what| hand_in(&running.bays[0], Entry { who: "attendant".into(), leg: 1, what });
    loop {
        tokio::time::sleep(Duration::from_millis(10)).await;
        assert!(Instant::now() < until, "the transfer does not end");
        match drill.with_bay(0, |bay| bay.stage()).expect("a bay") {
            Stage::Ready => {
                enter(What::TransferStarted).await.expect("taken");
                drill.with_bay(0, brimwatch_simulator::bay::SimulatedBay::start);
            }
            Stage::Done => break enter(What::Closed).await.expect("taken"),
            _ => {}
        }
    }
    running.stop().await;
    path
}

/// No signal was lost on the way, and nothing asked for so late that another second's values were read.
pub fn undisturbed(recording: &Path) -> bool {
    let story = Story::of(recording).expect("a recording");
    let lost = story.alarms.iter().any(|(_, key)| key.id == AlarmId::SignalLost);
    let recorded = play::recorded::Recorded::read(recording).expect("it is one");
    let late = |event: &Event| matches!(event, Event::Poll(poll) if poll.requested.since_s(poll.due) > LATE_S);
    !lost && !recorded.inputs.iter().any(|input| late(&input.event))
}

/// Plays over sockets until the machine has let it, each time more slowly.
async fn over_sockets(options: &Options) -> Vec<String> {
    let mut differences = Vec::new();
    for nth in 1..=TRIES {
        let slower = Options { speed: options.speed / f64::from(nth), ..options.clone() };
        let played = play::run(&slower).await.unwrap_or_else(|why| panic!("{why}"));
        assert_ne!(played.recording, options.recording);
        differences = played.differences;
        if undisturbed(&played.recording) {
            break;
        }
    }
    differences
}

fn options(recording: &Path, store: &Path) -> Options {
    Options {
        recording: recording.to_owned(),
        site: None,
        speed: SPEED,
        from_s: 0.0,
        faults: Vec::new(),
        store: store.to_owned(),
        port: 0,
        once: true,
        at_once: false,
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_recording_is_played_as_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let recording = recorded(folder.path(), SITE, SPEED).await;
    let original = Story::of(&recording).expect("a recording");
    assert!(original.received_kg.is_some_and(|kg| (kg - 800.0).abs() < 100.0), "{original:?}");
    let plain = options(&recording, &folder.path().join("drill"));

    // In process with the recorded time stamps: the command fails where one bit differs.
    let at_once = Options { at_once: true, ..plain.clone() };
    let played = play::run(&at_once).await.unwrap_or_else(|why| panic!("{why}"));
    assert_eq!(played.differences, Vec::<String>::new());
    let same = play::at_once::compare(&recording, &played.recording).expect("recordings");
    assert!(same.0 > 100 && same.1.is_none(), "{same:?}");

    // Over sockets; then the same from a moment in the midst of the transfer.
    assert_eq!(over_sockets(&plain).await, Vec::<String>::new(), "{original:?}");
    let started_s = play::recorded::Recorded::read(&recording).expect("it is one").started().since_s(EngineTime(0));
    let midst = Options { from_s: started_s + 60.0, ..plain.clone() };
    assert_eq!(over_sockets(&midst).await, Vec::<String>::new(), "{original:?}");

    // With a meter that goes off: found, and no word of it in the recording.
    let off_meter = Options { faults: vec!["flow meter: gain, -20 %, at 60 s".to_owned()], ..at_once.clone() };
    let played = play::run(&off_meter).await.unwrap_or_else(|why| panic!("{why}"));
    let story = Story::of(&played.recording).expect("a recording");
    let off = |word: &VerdictWord| matches!(word, VerdictWord::Disagree | VerdictWord::CannotTellWhich);
    assert!(story.verdicts.iter().any(|(_, word)| off(word)), "{story:?}");
    assert!(!original.verdicts.iter().any(|(_, word)| off(word)), "{original:?}");
    let lost = Options { faults: vec!["tank level: silent, at 60 s".to_owned()], ..at_once.clone() };
    let played = play::run(&lost).await.unwrap_or_else(|why| panic!("{why}"));
    let story = Story::of(&played.recording).expect("a recording");
    // Within a period, a time-out and the alarm's own wait.
    let said = story.alarms.iter().find(|(_, key)| key.id == AlarmId::SignalLost);
    assert!(said.is_some_and(|(s, _)| (60.0..75.0).contains(s)), "{story:?}");
    assert_eq!(WITHIN, (2.0, 1.0), "what sockets may change");
    refused(&plain, &at_once).await;
}

/// The drill's works with all devices on one serial line.
pub fn on_a_line() -> String {
    let edits = [
        ("address = \"127.0.0.1:1\"\nunit = 1", "link = \"yard\"\nunit = 1"),
        ("address = \"127.0.0.1:2\"\nunit = 1", "link = \"yard\"\nunit = 2"),
        ("address = \"127.0.0.1:3\"\nunit = 3", "link = \"yard\"\nunit = 3"),
    ];
    let text = edits.iter().fold(SITE.to_owned(), |text, (from, to)| {
        assert_eq!(text.matches(from).count(), 1, "{from:?} must stand once");
        text.replace(from, to)
    });
    text + "\n[[link]]\nname = \"yard\"\nserial_port = \"/dev/ttyS0\"\nbaud = 115200\n"
}

/// Modbus RTU on a pair of pseudo-terminals, polled by the live loop: as over TCP.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_recording_is_played_over_a_serial_line_as_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = on_a_line();
    let recording = recorded(folder.path(), &text, SERIAL_SPEED).await;
    let original = Story::of(&recording).expect("a recording");
    assert!(original.verdicts.iter().any(|(_, word)| *word == VerdictWord::Agree), "{original:?}");
    assert!(original.received_kg.is_some_and(|kg| (kg - 800.0).abs() < 100.0), "{original:?}");
    let store = folder.path().join("drill");
    let plain = Options { speed: SERIAL_SPEED, ..options(&recording, &store) };
    assert_eq!(over_sockets(&plain).await, Vec::<String>::new(), "{original:?}");
    let own = std::fs::read_to_string(store.join("play-1/site.toml")).expect("the drill's own site file");
    assert!(own.contains("serial_port = \"/dev/pts/"), "{own}");
}

/// Each of these is said before anything is served.
async fn refused(plain: &Options, at_once: &Options) {
    let folder = plain.store.join("refused");
    std::fs::create_dir_all(&folder).expect("a folder");
    let why = |options: Options| async move { play::run(&options).await.expect_err("refused") };
    let fault = |text: &str| Options { faults: vec![text.to_owned()], ..at_once.clone() };
    assert!(why(fault("tank levle: stuck")).await.contains("the nearest is \"tank level: stuck\""));
    let leak = why(fault("leak after the meter, 3 kg/min")).await;
    assert!(leak.contains("a recording is past") && leak.contains("only instruments can go wrong"), "{leak}");
    assert!(why(fault("draw-off flow: stuck")).await.contains("is nothing that can go wrong here"));

    let product = folder.join("products");
    std::fs::create_dir_all(&product).expect("a folder");
    let shipped = brimwatch_simulator::scenario::PRODUCT;
    std::fs::write(folder.join(shipped.0), shipped.1).expect("a file");
    let site = |name: &str, text: String| {
        let file = folder.join(name);
        std::fs::write(&file, text).expect("a file");
        Options { site: Some(file), ..plain.clone() }
    };
    let other = why(site("other.toml", SITE.replace("name = \"Bay 1\"", "name = \"Bay 7\""))).await;
    assert!(other.contains("is of another site than") && other.contains("no bay bay-1, but bay-7"), "{other}");
    let renamed = why(site("renamed.toml", SITE.replace("name = \"pad pressure\"", "name = \"pad\""))).await;
    assert!(renamed.contains("signal 8 of bay-1 was \"pad pressure\""), "{renamed}");
    let overlapping = why(site("overlapping.toml", SITE.replace("address = 13", "address = 12"))).await;
    assert!(overlapping.contains("overlapping.toml:") && overlapping.contains("12"), "{overlapping}");

    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = taken.local_addr().expect("its address").port();
    let busy = why(Options { port, ..plain.clone() }).await;
    assert!(busy.contains(&format!("127.0.0.1:{port}")) && busy.contains("give another by --port"), "{busy}");
    let late = why(Options { from_s: 1e6, ..plain.clone() }).await;
    assert!(late.contains("the recording ends after"), "{late}");
    let none = why(Options { recording: folder.join("other.toml"), ..plain.clone() }).await;
    assert!(none.contains("is not a recording of brimwatch"), "{none}");
}
