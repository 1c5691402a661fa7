//! The program itself at a simulated bay in mid-transfer: four devices at 10 Hz in another process.

use super::client::us;
use super::figures::{Sorted, goal, table};
use super::process::{self, Owned};
use brimwatch::config::{DeliveryFile, Site};
use brimwatch::engine::input::Event;
use brimwatch::recording::format::Kind;
use brimwatch::recording::reader;
use brimwatch_simulator::bay::Stage;
use brimwatch_simulator::drill::{Drill, readdress};
use brimwatch_simulator::scenario::{DELIVERY, PRODUCT, SITE};
use std::fs;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread::sleep;
use std::time::Duration;

/// Watched while the recorder writes to the disk and to memory, s.
const BAY_S: u64 = 30;
/// Times that both programs are started anew. The poller's groups are due at one place between two whole milliseconds of
/// the timer, which each start draws anew: it moves all of a program's requests by up to 1 ms.
const BAY_STARTS: usize = 8;
/// Watched with viewers, and without.
const MONITOR_S: [u64; 2] = [60, 15];
/// Pages open.
const VIEWERS: usize = 100;
/// Until everything has been read and all connections are made.
const SETTLE: Duration = Duration::from_secs(3);

/// The drill's three devices asked ten times a second, and a fourth.
fn site_text() -> String {
    let (slow, fast) = (["period = \"1 s\"", "time_out = \"900 ms\""], ["period = \"100 ms\"", "time_out = \"80 ms\""]);
    assert_eq!(slow.map(|key| SITE.matches(key).count()), [3, 3], "three devices in the drill's site file");
    SITE.replace(slow[0], fast[0]).replace(slow[1], fast[1]) + include_str!("fourth-device.toml")
}

/// The works, from memory.
fn works() -> (Site, DeliveryFile) {
    let product =
        |name: &str| if name == PRODUCT.0 { Ok(PRODUCT.1.to_owned()) } else { Err(io::ErrorKind::NotFound.into()) };
    let site = Site::from_text(Path::new("site.toml"), site_text(), &product);
    let site = site.unwrap_or_else(|faults| panic!("{faults}"));
    let delivery = DeliveryFile::from_text(Path::new("delivery.toml"), DELIVERY.to_owned(), &site);
    (site, delivery.unwrap_or_else(|faults| panic!("{faults}")))
}

/// Plant and devices in a process of their own.
struct Plant {
    process: Owned,
    addresses: Vec<(String, String)>,
}

impl Plant {
    fn start() -> Plant {
        let mut process = process::again("role-plant", &());
        let mut line = String::new();
        let mut says = BufReader::new(process.0.stdout.take().expect("a pipe"));
        says.read_line(&mut line).expect("addresses");
        Plant { process, addresses: serde_json::from_str(&line).expect("addresses") }
    }

    fn open_valve(&mut self) {
        writeln!(self.process.0.stdin.as_mut().expect("a pipe"), "start").expect("a plant that listens");
    }
}

/// The process itself: the pad is up before anybody looks; the valve is opened at a word; it ends with its input.
pub fn plant_role() {
    let (site, delivery) = works();
    tokio::runtime::Runtime::new().expect("a runtime").block_on(async {
        let drill = Drill::start(&site, &[delivery], 1.0, 1).await.expect("free ports");
        assert_eq!(drill.with_bay(0, |bay| bay.run_until(Stage::Ready, 3600.0)), Some(true), "the pad comes up");
        println!("{}", serde_json::to_string(&drill.addresses()).expect("plain data"));
        let word = || tokio::task::spawn_blocking(|| io::stdin().read_line(&mut String::new()));
        while word().await.expect("a thread").expect("a line") > 0 {
            drill.with_bay(0, |bay| bay.start());
        }
    });
}

/// A running `brimwatch watch`; it is killed in the end, and what it recorded stays.
struct Program {
    process: Owned,
    page: String,
    recordings: PathBuf,
}

impl Program {
    fn start(folder: &Path, plant: &Plant) -> Program {
        let write = |name: &str, text: &str| {
            let path = folder.join(name);
            fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
            fs::write(&path, text).expect("a file");
            path
        };
        write(PRODUCT.0, PRODUCT.1);
        let delivery = write("delivery.toml", DELIVERY);
        let site = write("site.toml", &readdress(&site_text(), &plant.addresses, &[]));
        let child = Command::new(env!("CARGO_BIN_EXE_brimwatch"))
            .args(["watch".as_ref(), site.as_os_str(), "--delivery".as_ref(), delivery.as_os_str()])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn();
        let mut process = Owned(child.expect("the program"));
        let mut first = String::new();
        BufReader::new(process.0.stdout.take().expect("a pipe")).read_line(&mut first).expect("a first line");
        let page = first.split("http://").nth(1).and_then(|rest| rest.trim().strip_suffix('/')).expect("an address");
        Program { page: page.to_owned(), process, recordings: folder.join("recordings/bay-1") }
    }

    /// Enters "transfer started".
    fn start_transfer(&self) {
        let body = r#"{"what":"transfer_started"}"#;
        let mut stream = TcpStream::connect(&self.page).expect("the page");
        let head = format!("POST /bay/bay-1/entry HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n", self.page);
        let kind = format!("Content-Type: application/json\r\nContent-Length: {}\r\n\r\n", body.len());
        write!(stream, "{head}{kind}{body}").expect("a request");
        let mut answer = String::new();
        stream.read_to_string(&mut answer).expect("an answer");
        assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
    }

    fn pid(&self) -> u32 {
        self.process.0.id()
    }

    /// Ends it; due to asked of every poll on record, us, and how many were missed.
    fn end(self) -> (Vec<f64>, usize) {
        drop(self.process);
        let (mut late_us, mut missed) = (Vec::new(), 0);
        for entry in fs::read_dir(&self.recordings).expect("recordings") {
            let path = entry.expect("an entry").path();
            let bytes = reader::read(&path).expect("a recording");
            let recording = reader::walk(&path, &bytes).unwrap_or_else(|error| panic!("{error}"));
            for record in recording.records.iter().filter(|record| record.kind == Kind::Input) {
                match reader::input(record).expect("an input").event {
                    Event::Poll(poll) => late_us.push(us(poll.due.0, poll.requested.0)),
                    Event::Missed(_) => missed += 1,
                    _ => {}
                }
            }
        }
        (late_us, missed)
    }
}

fn folder_in(place: &str) -> tempfile::TempDir {
    tempfile::tempdir_in(place).unwrap_or_else(|error| panic!("{place}: {error}"))
}

/// Two programs watch one bay at the same time, so that whatever else the machine does meets both: what [`Program::end`]
/// gives of the one that records to memory and of the one that records to the disk.
fn side_by_side() -> [(Vec<f64>, usize); 2] {
    let mut plant = Plant::start();
    let (disk, memory) = (folder_in(env!("CARGO_TARGET_TMPDIR")), folder_in("/dev/shm"));
    let programs = [memory.path(), disk.path()].map(|folder| Program::start(folder, &plant));
    sleep(SETTLE);
    programs.iter().for_each(Program::start_transfer);
    plant.open_valve();
    sleep(Duration::from_secs(BAY_S));
    programs.map(Program::end)
}

pub fn bay_part() {
    let starts: Vec<_> = (0..BAY_STARTS).map(|_| side_by_side()).collect();
    let [floor, ours] = [0, 1].map(|which| {
        let late_us = Sorted::new(starts.iter().flat_map(|start| start[which].0.iter().copied()));
        (late_us, starts.iter().map(|start| start[which].1).sum::<usize>())
    });
    let ratio = ours.0.at(0.99) / floor.0.at(0.99);
    table(
        "A bay in transfer, four devices at 10 Hz: due to asked, us: median / 99 % / maximum",
        ["polls", "missed", "recorder on memory", "recorder on the disk", "ratio at 99 %", "goal"],
        &[[
            format!("{} and {}", floor.0.count(), ours.0.count()),
            format!("{} and {}", floor.1, ours.1),
            floor.0.three(0),
            ours.0.three(0),
            format!("{ratio:.2}"),
            goal("<= 1.1", ratio <= 1.1),
        ]],
    );
}

/// The whole program with its viewers.
pub fn monitor_part() {
    let mut plant = Plant::start();
    let folder = folder_in(env!("CARGO_TARGET_TMPDIR"));
    let program = Program::start(folder.path(), &plant);
    sleep(SETTLE);
    program.start_transfer();
    plant.open_valve();
    let [with_s, without_s] = MONITOR_S;
    let (alone_percent, alone_mb) = taken(&program, without_s);
    let frames: Arc<AtomicU64> = Arc::default();
    for _ in 0..VIEWERS {
        view(&program.page, Arc::clone(&frames));
    }
    sleep(SETTLE);
    frames.store(0, Ordering::Relaxed);
    let (percent, mb) = taken(&program, with_s);
    let seen = frames.load(Ordering::Relaxed);
    let (late_us, missed) = program.end();
    let late = Sorted::new(late_us);
    let row = |what: &str, percent: f64, mb: f64, said: [String; 2]| {
        let [processor, memory] = said;
        [what.to_owned(), format!("{percent:.2} %"), processor, format!("{mb:.1} MB"), memory]
    };
    let goals = [goal("<= 2.5 %", percent <= 2.5), goal("<= 16 MB", mb <= 16.0)];
    let viewers = format!("{VIEWERS} viewers, {with_s} s ({seen} frames seen)");
    table(
        "The program in mid-transfer, four devices at 10 Hz, recorder on the disk",
        ["", "of one core", "goal", "most ever resident", "goal"],
        &[
            row(&format!("no viewer, {without_s} s"), alone_percent, alone_mb, [String::new(), String::new()]),
            row(&viewers, percent, mb, goals),
        ],
    );
    println!("Polls on record: {}, missed {missed}; due to asked, us: {}\n", late.count(), late.three(0));
}

/// Processor time in % of one core over so many seconds, and the most memory that was ever resident, MB.
#[expect(clippy::cast_precision_loss, reason = "a minute")]
fn taken(program: &Program, seconds: u64) -> (f64, f64) {
    let before_s = process::cpu_s(program.pid());
    sleep(Duration::from_secs(seconds));
    let took_s = process::cpu_s(program.pid()) - before_s;
    (100.0 * took_s / seconds as f64, process::status_kb(&program.pid().to_string(), "VmHWM") / 1e3)
}

/// A page that is open: reads whatever comes, until the program is gone.
fn view(page: &str, frames: Arc<AtomicU64>) {
    let stream = TcpStream::connect(page).expect("the page");
    let (mut socket, _) =
        tungstenite::client(format!("ws://{page}/bay/bay-1/live"), stream).expect("a live connection");
    let watch = move || {
        while let Ok(message) = socket.read() {
            frames.fetch_add(u64::from(message.is_text()), Ordering::Relaxed);
        }
    };
    std::thread::Builder::new().stack_size(256 << 10).spawn(watch).expect("a thread");
}
