//! Those who ask: brimwatch's own poller, and the floors it is held against, all on one schedule.

use super::figures::Sorted;
use super::process;
use brimwatch::clock::MachineTime;
use brimwatch::poll::blocks::Manners;
use brimwatch::poll::device::{Answer, Reader, Spec};
use brimwatch::poll::link::{self, LinkSpec};
use brimwatch::poll::registers::{DataType, Register, WordOrder};
use brimwatch::poll::schedule::Schedule;
use brimwatch::poll::stats::Stats;
use brimwatch::poll::way::Way;
use serde::{Deserialize, Serialize};
use std::io::Read;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::sync::mpsc;
use tokio::task::JoinSet;
use tokio::time::sleep;
use tokio_modbus::client::Reader as _;

/// Registers in each request.
pub const REGISTERS: u16 = 10;
/// Links are spread over this, s; so are the floors.
const SPREAD_S: f64 = 0.1;
/// Multiples of it fall evenly between those before.
const SPREAD_STEP: f64 = 0.618_033_988_749_895;
/// brimwatch's links that would ask within this of each other ask together, s.
const GROUP_S: f64 = 0.005;
/// Answers that may wait for whoever counts them.
const WAITING: usize = 1 << 16;

/// Who asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Who {
    /// A request and a reply as bytes, on tokio's sockets and timers, and nothing else: no deadline, no decoding.
    Floor,
    /// The same, asking in groups as brimwatch does.
    FloorInGroups,
    /// The Modbus library as it comes.
    Library,
    /// brimwatch's poller, one device a link.
    Ours,
}

/// What a client is told.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Plan {
    /// Who asks.
    pub who: Who,
    /// Whom, a connection each.
    pub addresses: Vec<String>,
    /// How often each.
    pub hz: f64,
    /// What is past before measuring begins, s.
    pub warm_s: f64,
    /// Measured, s.
    pub window_s: f64,
    /// A round not answered by then is missed, s; the floors know none.
    pub time_out_s: f64,
}

/// What came of it, in the window.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Report {
    /// Processor time of this process, ns.
    pub cpu_ns: f64,
    /// Resident at the end of it, kB.
    pub resident_kb: f64,
    /// Every round that was due in it.
    pub rounds: Vec<Round>,
}

/// A round, in machine time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Round {
    /// Whose.
    pub device: usize,
    /// When it was due.
    pub due_ns: u64,
    /// When it was asked.
    pub requested_ns: u64,
    /// When it was over.
    pub replied_ns: u64,
    /// Whether it was answered.
    pub answered: bool,
}

impl Round {
    /// From due to asked, us.
    pub fn late_us(&self) -> f64 {
        us(self.due_ns, self.requested_ns)
    }
}

/// From one moment to another, us.
#[expect(clippy::cast_precision_loss, reason = "minutes at most")]
pub fn us(from_ns: u64, to_ns: u64) -> f64 {
    to_ns.saturating_sub(from_ns) as f64 / 1e3
}

impl Report {
    /// Processor time a round, us.
    #[expect(clippy::cast_precision_loss, reason = "few")]
    pub fn cpu_us(&self) -> f64 {
        self.cpu_ns / 1e3 / self.rounds.len() as f64
    }

    /// Lateness of every round asked, us.
    pub fn lateness(&self) -> Sorted {
        Sorted::new(self.rounds.iter().filter(|round| round.answered).map(Round::late_us))
    }

    /// Rounds asked and answered of those that were due, 1, among the first so many devices.
    #[expect(clippy::cast_precision_loss, reason = "few")]
    pub fn kept(&self, devices: usize, plan: &Plan) -> f64 {
        let answered = self.rounds.iter().filter(|round| round.answered && round.device < devices).count();
        answered as f64 / (devices as f64 * plan.hz * plan.window_s).round()
    }
}

/// Runs a client in a process of its own.
pub fn run(plan: &Plan) -> Report {
    let mut process = process::again("role-client", plan);
    let mut said = String::new();
    process.0.stdout.take().expect("a pipe").read_to_string(&mut said).expect("a report");
    serde_json::from_str(&said).expect("a report")
}

/// A client that has not ended so long after its window never will.
const OVERDUE_S: f64 = 20.0;

/// The process itself, on a runtime like the program's own: one thread for all that is asked.
pub fn role(plan: &str) {
    let plan: Plan = serde_json::from_str(plan).expect("a plan");
    let most = Duration::from_secs_f64(plan.warm_s + plan.window_s + OVERDUE_S);
    std::thread::spawn(move || {
        std::thread::sleep(most);
        eprintln!("a client does not end: its tasks hang");
        std::process::exit(1);
    });
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let report = runtime.block_on(measure(&plan));
    println!("{}", serde_json::to_string(&report).expect("plain data"));
}

/// When measuring begins and ends.
#[derive(Clone, Copy)]
struct Window {
    from: MachineTime,
    to: MachineTime,
}

impl Window {
    fn holds(&self, due: MachineTime) -> bool {
        self.from <= due && due < self.to
    }
}

async fn measure(plan: &Plan) -> Report {
    let begun = MachineTime::now();
    let from = MachineTime(begun.0 + ns(plan.warm_s));
    let window = Window { from, to: MachineTime(from.0 + ns(plan.window_s)) };
    let mut counted = JoinSet::new();
    let mut polled = JoinSet::new();
    let (answers_in, answers) = mpsc::channel(WAITING);
    if plan.who == Who::Ours {
        counted.spawn(count(answers, window));
    }
    for (device, address) in plan.addresses.iter().cloned().enumerate() {
        let asked = Asked { device, address, grid: grid(plan, device, begun), window };
        match plan.who {
            Who::Ours => drop(polled.spawn(link::run(link_spec(plan, device, &asked.address, answers_in.clone())))),
            Who::Library => drop(counted.spawn(library(asked))),
            Who::Floor | Who::FloorInGroups => drop(counted.spawn(by_hand(asked))),
        }
    }
    drop(answers_in);
    sleep(window.from.until()).await;
    let cpu_ns = process::own_cpu_ns();
    sleep(window.to.until()).await;
    let cpu_ns = process::own_cpu_ns() - cpu_ns;
    let resident_kb = process::status_kb("self", "VmRSS");
    // The last round may still be under way.
    sleep(Duration::from_secs_f64(plan.time_out_s + 0.1)).await;
    polled.shutdown().await;
    let rounds = counted.join_all().await.concat();
    Report { cpu_ns, resident_kb, rounds }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "minutes at most")]
fn ns(s: f64) -> u64 {
    (s * 1e9) as u64
}

#[expect(clippy::cast_precision_loss, reason = "a thousand devices")]
fn grid(plan: &Plan, device: usize, begun: MachineTime) -> Schedule {
    let period_s = 1.0 / plan.hz;
    let phase_s = device as f64 * SPREAD_STEP % 1.0 * period_s.min(SPREAD_S);
    let first_ns = begun.0 + ns(phase_s);
    let first_ns = if plan.who == Who::FloorInGroups { first_ns.next_multiple_of(ns(GROUP_S)) } else { first_ns };
    Schedule::new(first_ns, ns(period_s))
}

/// brimwatch's own words for one device on a link of its own: ten registers that hold five values.
fn link_spec(plan: &Plan, device: usize, address: &str, bay: mpsc::Sender<Answer>) -> LinkSpec {
    let register = |nth: u16| Register::plain(3, 2 * nth, DataType::F32, WordOrder::Abcd);
    let signals = (0..REGISTERS / 2).map(|nth| (nth, register(nth).into())).collect();
    let number = u16::try_from(device).expect("thousands at most");
    let spec = Spec {
        name: address.to_owned(),
        unit: 1,
        period_s: 1.0 / plan.hz,
        time_out_s: plan.time_out_s,
        manners: Manners::default(),
        heartbeat: None,
        readers: vec![Reader { device: number, signals, bay }],
        stats: Arc::new(Stats::new()),
    };
    LinkSpec {
        name: address.to_owned(),
        number: number.into(),
        way: Way::Tcp { address: address.to_owned() },
        connect_time_out_s: 1.0,
        pause_s: 0.0,
        speed: 1.0,
        devices: vec![spec],
    }
}

async fn count(mut answers: mpsc::Receiver<Answer>, window: Window) -> Vec<Round> {
    let mut rounds = Vec::new();
    while let Some(answer) = answers.recv().await {
        if window.holds(answer.due) {
            rounds.push(Round {
                device: answer.device.into(),
                due_ns: answer.due.0,
                requested_ns: answer.requested.0,
                replied_ns: answer.replied.0,
                answered: answer.outcome.is_ok(),
            });
        }
    }
    rounds
}

/// What a floor asks, and when.
struct Asked {
    device: usize,
    address: String,
    grid: Schedule,
    window: Window,
}

impl Asked {
    async fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.address).await.expect("a device that takes connections");
        stream.set_nodelay(true).expect("a socket");
        stream
    }

    /// Waits until the next round is due; None once the window is past.
    async fn next(&self, last: MachineTime) -> Option<MachineTime> {
        let due = MachineTime(self.grid.next_after(MachineTime::now().max(last).0));
        if due >= self.window.to {
            return None;
        }
        sleep(due.until()).await;
        Some(due)
    }

    fn note(&self, rounds: &mut Vec<Round>, due: MachineTime, requested: MachineTime) {
        if self.window.holds(due) {
            let (requested_ns, replied_ns) = (requested.0, MachineTime::now().0);
            rounds.push(Round { device: self.device, due_ns: due.0, requested_ns, replied_ns, answered: true });
        }
    }
}

/// Twelve bytes out, a frame back.
async fn by_hand(asked: Asked) -> Vec<Round> {
    let mut stream = asked.connect().await;
    let (mut rounds, mut due, mut transaction) = (Vec::new(), MachineTime(0), 0_u16);
    let mut frame = [0; 260];
    let length = 9 + 2 * usize::from(REGISTERS);
    while let Some(next) = asked.next(due).await {
        due = next;
        transaction = transaction.wrapping_add(1);
        let [high, low] = transaction.to_be_bytes();
        let [_, count] = REGISTERS.to_be_bytes();
        let requested = MachineTime::now();
        stream.write_all(&[high, low, 0, 0, 0, 6, 1, 3, 0, 0, 0, count]).await.expect("a request");
        // A read that has room to spare ends with the frame; one that is full asks the system a second time.
        let mut came = 0;
        while came < length {
            let more = stream.read(&mut frame[came..]).await.expect("a reply");
            assert!(more > 0, "the server closes no connection");
            came += more;
        }
        assert_eq!(frame[..2], [high, low], "the reply to this request");
        asked.note(&mut rounds, due, requested);
    }
    rounds
}

async fn library(asked: Asked) -> Vec<Round> {
    let mut client = tokio_modbus::client::tcp::attach_slave(asked.connect().await, tokio_modbus::Slave(1));
    let (mut rounds, mut due) = (Vec::new(), MachineTime(0));
    while let Some(next) = asked.next(due).await {
        due = next;
        let requested = MachineTime::now();
        let words = client.read_holding_registers(0, REGISTERS).await.expect("a reply").expect("registers");
        assert_eq!(words.len(), usize::from(REGISTERS));
        asked.note(&mut rounds, due, requested);
    }
    rounds
}
