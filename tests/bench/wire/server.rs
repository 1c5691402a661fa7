//! Devices of every kind, good and bad, in a process of their own: sockets and bytes written by hand.

use super::process::{self, Owned};
use brimwatch::clock::MachineTime;
use serde::{Deserialize, Serialize};
use std::io::{BufRead, BufReader, Read};
use std::net::SocketAddr;
use std::process::ChildStdout;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::task::JoinSet;
use tokio::time::sleep;

/// How a device does.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Kind {
    /// It answers at once.
    Answers,
    /// It takes connections and requests and says nothing.
    Dead,
    /// Its answers come a byte every 100 ms.
    Drips,
    /// It sends bytes that mean nothing, without end, as fast as they are taken.
    Babbles,
    /// Nothing listens there.
    Refuses,
    /// Again and again it is away for 5 s and a part of its own (`phase`, 0 to 1) of a little more: the program that
    /// listened is gone, or (`hangs`) everything stands still while connections stay up and new ones are not taken.
    Away { hangs: bool, phase: f64 },
}

/// A device that was away answers again.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct Back {
    /// Which device.
    pub device: usize,
    /// When it went, machine time, ns.
    pub went_ns: u64,
    /// When it listened again, machine time, ns.
    pub back_ns: u64,
}

/// The process they run in.
pub struct Servers {
    process: Owned,
    says: BufReader<ChildStdout>,
    /// Where each device is.
    pub addresses: Vec<String>,
}

impl Servers {
    /// Starts one device for each kind.
    pub fn start(kinds: &[Kind]) -> Servers {
        let mut process = process::again("role-server", &kinds);
        let mut says = BufReader::new(process.0.stdout.take().expect("a pipe"));
        let mut line = String::new();
        says.read_line(&mut line).expect("addresses");
        let addresses = serde_json::from_str(&line).expect("addresses");
        Servers { process, says, addresses }
    }

    /// Stops them; which of them were away, and when.
    pub fn stop(mut self) -> Vec<Back> {
        // The end of its input is its sign to go.
        drop(self.process.0.stdin.take());
        let mut rest = String::new();
        self.says.read_to_string(&mut rest).expect("what it has seen");
        serde_json::from_str(&rest).expect("what it has seen")
    }
}

/// How long a device stays away, at least and at most: its end must meet whatever rhythm the asker has at any phase.
const AWAY_S: (f64, f64) = (5.0, 6.2);
/// How long it is there in between.
const THERE: Duration = Duration::from_millis(2500);
/// Longest frame of Modbus TCP, bytes.
const FRAME_MOST: usize = 260;

/// The process itself: serves until its input ends.
pub fn role(kinds: &str) {
    let kinds: Vec<Kind> = serde_json::from_str(kinds).expect("kinds of devices");
    // One thread: the other core is for whoever is measured.
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let seen: Arc<Mutex<Vec<Back>>> = Arc::default();
    let noted = Arc::clone(&seen);
    runtime.block_on(async move {
        let mut addresses = Vec::new();
        for (device, kind) in kinds.into_iter().enumerate() {
            let listener = listen("127.0.0.1:0".parse().expect("an address"));
            let address = listener.local_addr().expect("an address");
            addresses.push(address.to_string());
            match kind {
                Kind::Refuses => drop(listener),
                Kind::Away { hangs, phase } => drop(tokio::spawn(away(listener, device, hangs, phase, noted.clone()))),
                kind => drop(tokio::spawn(serve(listener, kind, Arc::default()))),
            }
        }
        println!("{}", serde_json::to_string(&addresses).expect("plain data"));
        let end = tokio::task::spawn_blocking(|| std::io::stdin().read_to_end(&mut Vec::new()));
        end.await.expect("a thread").expect("an end");
    });
    println!("{}", serde_json::to_string(&*seen.lock().expect("whole")).expect("plain data"));
}

/// The shortest queue of connections that nobody has taken yet: while a device hangs it soon takes no more.
fn listen(address: SocketAddr) -> TcpListener {
    let socket = TcpSocket::new_v4().expect("a socket");
    socket.set_reuseaddr(true).expect("a socket");
    socket.bind(address).expect("a free port");
    socket.listen(if address.port() == 0 { 1024 } else { 1 }).expect("a port to listen on")
}

/// Takes connections until dropped; they end with it.
async fn serve(listener: TcpListener, kind: Kind, stands_still: Arc<AtomicBool>) {
    let mut connections = JoinSet::new();
    loop {
        let Ok((stream, _)) = listener.accept().await else { continue };
        while stands_still.load(Ordering::Relaxed) {
            sleep(Duration::from_millis(1)).await;
        }
        let _ = stream.set_nodelay(true);
        while connections.try_join_next().is_some() {}
        match kind {
            Kind::Dead => connections.spawn(swallow(stream)),
            Kind::Babbles => connections.spawn(babble(stream)),
            kind => connections.spawn(answer(stream, kind == Kind::Drips, Arc::clone(&stands_still))),
        };
    }
}

async fn away(listener: TcpListener, device: usize, hangs: bool, phase: f64, seen: Arc<Mutex<Vec<Back>>>) {
    let address = listener.local_addr().expect("an address");
    drop(listener);
    let stands_still: Arc<AtomicBool> = Arc::default();
    let away = |round: u32| {
        let part = (phase + 0.5 * f64::from(round)) % 1.0;
        sleep(Duration::from_secs_f64(AWAY_S.0 + part * (AWAY_S.1 - AWAY_S.0)))
    };
    let up = || tokio::spawn(serve(listen(address), Kind::Answers, Arc::clone(&stands_still)));
    let mut serving = up();
    for round in 1_u32.. {
        sleep(THERE).await;
        let went_ns = MachineTime::now().0;
        if hangs {
            stands_still.store(true, Ordering::Relaxed);
            away(round).await;
            stands_still.store(false, Ordering::Relaxed);
        } else {
            serving.abort();
            let _ = (&mut serving).await;
            away(round).await;
            serving = up();
        }
        seen.lock().expect("whole").push(Back { device, went_ns, back_ns: MachineTime::now().0 });
    }
}

/// Answers reads of registers with as many as were asked for.
async fn answer(mut stream: TcpStream, drips: bool, stands_still: Arc<AtomicBool>) -> Option<()> {
    let mut request = [0; 12];
    let mut reply = [0; FRAME_MOST];
    loop {
        stream.read_exact(&mut request).await.ok()?;
        if stands_still.load(Ordering::Relaxed) {
            continue;
        }
        let data = 2 * request[11].min(125);
        let length = 9 + usize::from(data);
        reply[..8].copy_from_slice(&request[..8]);
        reply[4..6].copy_from_slice(&u16::from(data + 3).to_be_bytes());
        reply[8] = data;
        let piece = if drips { 1 } else { length };
        for bytes in reply[..length].chunks(piece) {
            stream.write_all(bytes).await.ok()?;
            if drips {
                sleep(Duration::from_millis(100)).await;
            }
        }
    }
}

async fn swallow(mut stream: TcpStream) -> Option<()> {
    let mut bytes = [0; FRAME_MOST];
    while stream.read(&mut bytes).await.ok()? > 0 {}
    None
}

/// Bytes of a linear congruential generator (Knuth's MMIX): no two runs of 64 KiB are alike.
async fn babble(mut stream: TcpStream) -> Option<()> {
    let mut state = 1_u64;
    let mut bytes = [0; 4096];
    loop {
        for byte in &mut bytes {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            *byte = state.to_be_bytes()[0];
        }
        stream.write_all(&bytes).await.ok()?;
    }
}
