//! A recorded delivery watched afresh: played to `brimwatch watch`, the program itself in a process of its own, over Modbus
//! RTU on a pseudo-terminal and in real time. What it makes of it is what was recorded. Its name has it begin first: it goes
//! on for minutes and hardly loads a core, while all other tests run beside it.

use super::play::{SERIAL_SPEED, TRIES, on_a_line, undisturbed};
use super::running::Program;
use brimwatch::clock::MachineTime;
use brimwatch::config::{DeliveryFile, Site};
use brimwatch::engine::frame::VerdictWord;
use brimwatch::engine::input::{Entry, What};
use brimwatch::live;
use brimwatch::page::feed::Published;
use brimwatch::recording::{ENDING, stream};
use brimwatch::time::{EngineTime, SECOND_NS};
use brimwatch_simulator::bay::{SimulatedBay, Stage};
use brimwatch_simulator::drill::{self, Drill};
use brimwatch_simulator::folder::{hand_in, own_site};
use brimwatch_simulator::play::WITHIN;
use brimwatch_simulator::play::altered::Altered;
use brimwatch_simulator::play::player::{Entries, Player, Watch};
use brimwatch_simulator::play::recorded::Recorded;
use brimwatch_simulator::play::served::Served;
use brimwatch_simulator::play::story::Story;
use brimwatch_simulator::scenario::{DELIVERY, PRODUCT};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The program, its clock as its recording's header tells it.
struct Watching {
    program: Arc<Program>,
    zero: MachineTime,
}

impl Watch for Watching {
    fn at(&self) -> Option<EngineTime> {
        Some(EngineTime(MachineTime::now().0.checked_sub(self.zero.0)?))
    }

    async fn enter(&self, entry: Entry) -> Result<(), String> {
        let what = match entry.what {
            What::TransferStarted => "transfer_started",
            What::Closed => "closed",
            other => return Err(format!("{other:?} is no entry of this test")),
        };
        let (program, body) = (Arc::clone(&self.program), format!("{{\"what\":\"{what}\"}}"));
        let asked = tokio::task::spawn_blocking(move || program.request("POST /bay/bay-1/entry", &body)).await;
        match asked.map_err(|e| e.to_string())? {
            (200, _) => Ok(()),
            (status, says) => Err(format!("{status}: {says}")),
        }
    }
}

/// A small load unloaded and recorded over a serial line, from a few seconds before its transfer on: the pad was up.
async fn record(folder: &Path, site: &Site, delivery: &DeliveryFile) -> PathBuf {
    let mut bay = SimulatedBay::new(&site.bays[0].settings, Some(&delivery.setup), 5);
    while bay.stage() != Stage::Ready {
        bay.scan();
    }
    let deliveries = vec![delivery.clone()];
    let drill = Drill::of(site, &deliveries, vec![bay], SERIAL_SPEED).await.expect("a pseudo-terminal");
    std::fs::create_dir_all(folder).expect("a folder");
    let own = own_site(&site.texts, &drill.addresses(), folder, 0).unwrap_or_else(|why| panic!("{why}"));
    let options = live::Options { site: own, deliveries, drill_speed: Some(SERIAL_SPEED) };
    let running = live::start(options).await.unwrap_or_else(|e| panic!("{e}"));
    let path = running.recordings[0].borrow().clone();
    let enter = |what| hand_in(&running.bays[0], Entry { who: "attendant".into(), leg: 1, what });
    let is_read = |p: &Option<Arc<Published>>| p.as_ref().is_some_and(|p| p.frame.at > EngineTime(5 * SECOND_NS));
    running.bays[0].latest.clone().wait_for(is_read).await.expect("it runs");
    enter(What::TransferStarted).await.expect("taken");
    drill.with_bay(0, SimulatedBay::start);
    let until = Instant::now() + Duration::from_secs(120);
    while drill.with_bay(0, |bay| bay.stage()) != Some(Stage::Done) {
        assert!(Instant::now() < until, "the transfer does not end");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    enter(What::Closed).await.expect("taken");
    running.stop().await;
    path
}

/// The one recording in a folder, once it is there.
fn recording_in(store: &Path) -> PathBuf {
    let until = Instant::now() + Duration::from_secs(30);
    loop {
        let entries = std::fs::read_dir(store).into_iter().flatten().flatten().map(|entry| entry.path());
        let found = entries.filter(|path| path.extension().is_some_and(|e| e == ENDING)).max();
        if let Some(path) = found.filter(|path| stream::open(path).is_ok()) {
            return path;
        }
        assert!(Instant::now() < until, "no recording in {}", store.display());
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// The program watches it afresh: what it records.
async fn played(recording: &Path, site: &Site, folder: &Path) -> PathBuf {
    std::fs::create_dir_all(folder.join("products")).expect("a folder");
    std::fs::write(folder.join(PRODUCT.0), PRODUCT.1).expect("a file");
    std::fs::write(folder.join("delivery.toml"), papers()).expect("a file");
    let recorded = Recorded::read(recording).unwrap_or_else(|why| panic!("{why}"));
    let links = drill::links(site).await.expect("a pseudo-terminal");
    let own = own_site(&site.texts, &drill::addresses(site, &links), folder, 0);
    let own = own.unwrap_or_else(|why| panic!("{why}"));
    let text = std::fs::read_to_string(folder.join("site.toml")).expect("its own site file");
    assert!(text.contains("serial_port = \"/dev/pts/"), "{text}");
    let served = Served::new(&recorded, (&own, 0), &drill::registers(&own, &links), Altered::new(&recorded));
    let mut player = Player::new(Arc::new(recorded), served, (EngineTime(0), Entries::All));
    let mut command = Command::new(env!("CARGO_BIN_EXE_brimwatch"));
    command
        .arg("watch")
        .arg(folder.join("site.toml"))
        .arg("--delivery")
        .arg(folder.join("delivery.toml"))
        .stderr(Stdio::null());
    let program = Arc::new(Program::spawn(&mut command));
    let written = recording_in(&own.store.join("bay-1"));
    let header = stream::open(&written).expect("a recording").header().clone();
    assert_eq!(header.drill_speed, None, "the program knows nothing of a drill");
    player.go(Watching { program: Arc::clone(&program), zero: MachineTime(header.machine_ns_at_zero) }, 1.0);
    player.ended().await.unwrap_or_else(|why| panic!("{why}"));
    assert_eq!(player.refused(), Vec::<String>::new());
    written
}

/// Papers of a small load.
fn papers() -> String {
    DELIVERY.replace("planned = \"20 t\"", "planned = \"600 kg\"")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_program_makes_the_same_of_it_over_a_serial_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    std::fs::create_dir_all(at("products")).expect("a folder");
    std::fs::write(at(PRODUCT.0), PRODUCT.1).expect("a file");
    let texts = [("site.toml".to_owned(), on_a_line()), (PRODUCT.0.to_owned(), PRODUCT.1.to_owned())];
    let site = Site::from_texts(&at("site.toml"), &texts).unwrap_or_else(|faults| panic!("{faults}"));
    let delivery = DeliveryFile::from_text(&at("delivery.toml"), papers(), &site);
    let delivery = delivery.unwrap_or_else(|faults| panic!("{faults}"));
    let mut recording = record(&at("recorded-1"), &site, &delivery).await;
    for nth in 2..=TRIES {
        if undisturbed(&recording) {
            break;
        }
        recording = record(&at(&format!("recorded-{nth}")), &site, &delivery).await;
    }

    let mut written = played(&recording, &site, &at("played-1")).await;
    for nth in 2..=TRIES {
        if undisturbed(&written) {
            break;
        }
        written = played(&recording, &site, &at(&format!("played-{nth}"))).await;
    }

    let (story, (within_s, within_kg)) = (Story::of(&recording).expect("a recording"), WITHIN);
    assert!(story.verdicts.iter().any(|(_, word)| *word == VerdictWord::Agree), "{story:?}");
    assert!(story.received_kg.is_some_and(|kg| (kg - 600.0).abs() < 100.0), "{story:?}");
    let made = Story::of(&written).expect("a recording");
    assert_eq!(story.differences(&made, within_s, within_kg), Vec::<String>::new(), "{story:?}");
}
