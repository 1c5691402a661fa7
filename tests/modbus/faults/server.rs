//! A server that answers right until it is told to misbehave, and remembers every request.

use super::frame::{Ask, Framing};
use super::line::Line;
use brimwatch::clock::MachineTime;
use brimwatch::poll::way::{Parity, Serial, Way};
use std::io;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::task::{JoinHandle, JoinSet};
use tokio::time::{sleep, timeout};

/// How the server is reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Tcp,
    RtuOverTcp,
    Serial,
}

impl Kind {
    pub fn name(self) -> &'static str {
        match self {
            Kind::Tcp => "tcp",
            Kind::RtuOverTcp => "rtu over tcp",
            Kind::Serial => "serial",
        }
    }

    fn framing(self) -> Framing {
        if self == Kind::Tcp { Framing::Tcp } else { Framing::Rtu }
    }
}

/// One thing that a server does in answer to a request.
#[derive(Debug, Clone)]
pub enum Step {
    Send(Vec<u8>),
    WaitMs(u64),
    /// To be sent as soon as the next request has come in, before its own answer, on whatever connection.
    Hold(Vec<u8>),
    /// From now on this connection is read and never answered.
    Swallow,
    /// The connection ends in an orderly way ...
    Close,
    /// ... or not.
    Reset,
}

/// What a server does instead of answering right.
pub type Script = Arc<dyn Fn(&Ask) -> Vec<Step> + Send + Sync>;

/// Which requests a fault befalls.
#[derive(Debug, Clone, Copy)]
pub struct Target {
    pub unit: u8,
    pub function: u8,
}

impl Target {
    pub fn hits(self, ask: &Ask) -> bool {
        (ask.unit, ask.function) == (self.unit, self.function)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fault {
    Off,
    Once,
    On,
}

/// What a server remembers.
pub struct State {
    pub asks: Vec<Ask>,
    pub connections: u32,
    fault: Fault,
    /// Faults at work.
    working: usize,
    /// Sent as soon as the next request has come in.
    pub held: Vec<u8>,
}

struct Shared {
    kind: Kind,
    target: Target,
    script: Script,
    state: Mutex<State>,
}

impl Shared {
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().expect("no server panics")
    }

    /// Notes a request; what is sent before and what is done about it, and whether that is the fault.
    fn take_up(&self, ask: &mut Ask) -> (Vec<u8>, Vec<Step>, bool) {
        let mut state = self.state();
        ask.number = u16::try_from((state.asks.len() + 1) % 0x800).expect("eleven bits");
        state.asks.push(ask.clone());
        let held = std::mem::take(&mut state.held);
        if state.fault == Fault::Off || !self.target.hits(ask) {
            return (held, vec![Step::Send(ask.right())], false);
        }
        if state.fault == Fault::Once {
            state.fault = Fault::Off;
        }
        state.working += 1;
        (held, (self.script)(ask), true)
    }
}

/// A misbehaving server. It ends when dropped.
pub struct Server {
    shared: Arc<Shared>,
    address: Option<SocketAddr>,
    port: PathBuf,
    _folder: tempfile::TempDir,
    task: Option<JoinHandle<()>>,
}

impl Server {
    pub async fn start(kind: Kind, target: Target, script: Script) -> Server {
        let state = State { asks: Vec::new(), connections: 0, fault: Fault::Off, working: 0, held: Vec::new() };
        let shared = Arc::new(Shared { kind, target, script, state: Mutex::new(state) });
        let folder = tempfile::tempdir().expect("a folder");
        let port = folder.path().join("port");
        let mut server = Server { shared, address: None, port, _folder: folder, task: None };
        server.open().await;
        server
    }

    /// Serves, at the address it had before if it had one.
    pub async fn open(&mut self) {
        let shared = Arc::clone(&self.shared);
        self.task = Some(if shared.kind == Kind::Serial {
            let mut peer = Peer::Line(Line::lay(&self.port).expect("a pseudo-terminal"));
            tokio::spawn(async move {
                let _ = serve(&mut peer, &shared).await;
            })
        } else {
            let listener = self.listen(1024).await;
            tokio::spawn(accept(listener, shared))
        });
    }

    /// Ends what serves, connections with it: nothing listens there any more.
    pub async fn shut(&mut self) {
        if let Some(task) = self.task.take() {
            task.abort();
            let _ = task.await;
        }
        if self.shared.kind == Kind::Serial {
            std::fs::remove_file(&self.port).expect("the port's name");
        }
    }

    /// In place of the server a listener that accepts nothing, and has its queue full: attempts to connect to it
    /// hang. It goes on for as long as what is returned is kept.
    pub async fn jam(&mut self) -> (TcpListener, Vec<TcpStream>) {
        self.shut().await;
        let listener = self.listen(0).await;
        let address = listener.local_addr().expect("a bound socket");
        let mut fillers = Vec::new();
        while let Ok(filler) = timeout(Duration::from_millis(100), TcpStream::connect(address)).await {
            fillers.push(filler.expect("a connection"));
            assert!(fillers.len() < 16, "a queue of none takes connection after connection");
        }
        (listener, fillers)
    }

    async fn listen(&mut self, backlog: u32) -> TcpListener {
        let address = self.address.unwrap_or(([127, 0, 0, 1], 0).into());
        for _ in 0..100 {
            let socket = TcpSocket::new_v4().expect("a socket");
            socket.set_reuseaddr(true).expect("a socket");
            if socket.bind(address).is_ok()
                && let Ok(listener) = socket.listen(backlog)
            {
                self.address = listener.local_addr().ok();
                return listener;
            }
            sleep(Duration::from_millis(10)).await;
        }
        panic!("{address} is taken");
    }

    pub fn way(&self) -> Way {
        let address = self.address.map(|address| address.to_string()).unwrap_or_default();
        match self.shared.kind {
            Kind::Tcp => Way::Tcp { address },
            Kind::RtuOverTcp => Way::RtuOverTcp { address },
            // A pseudo-terminal has no parity.
            Kind::Serial => {
                Way::Serial(Serial { port: self.port.clone(), baud: 115_200, parity: Parity::None, stop_bits: 1 })
            }
        }
    }

    pub fn state(&self) -> MutexGuard<'_, State> {
        self.shared.state()
    }

    /// The next request that is hit meets the fault.
    pub fn fail_once(&self) {
        self.state().fault = Fault::Once;
    }

    /// Every request that is hit does, until [`Server::mend`].
    pub fn fail(&self) {
        self.state().fault = Fault::On;
    }

    /// No more faults, but for those that are at work.
    pub fn mend(&self) {
        self.state().fault = Fault::Off;
    }

    /// When the last fault has done its worst, and nothing is held any more; None if that takes too long.
    pub async fn faultless(&self) -> Option<MachineTime> {
        for _ in 0..2000 {
            if self.is_faultless() {
                return Some(MachineTime::now());
            }
            sleep(Duration::from_millis(2)).await;
        }
        None
    }

    fn is_faultless(&self) -> bool {
        let state = self.state();
        state.fault == Fault::Off && state.working == 0 && state.held.is_empty()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Some(task) = &self.task {
            task.abort();
        }
    }
}

async fn accept(listener: TcpListener, shared: Arc<Shared>) {
    // Goes with this task, and every connection with it.
    let mut connections = JoinSet::new();
    while let Ok((stream, _)) = listener.accept().await {
        while connections.try_join_next().is_some() {}
        shared.state().connections += 1;
        let shared = Arc::clone(&shared);
        connections.spawn(async move {
            let _ = stream.set_nodelay(true);
            let _ = serve(&mut Peer::Tcp(stream), &shared).await;
        });
    }
}

enum Peer {
    Tcp(TcpStream),
    Line(Line),
}

impl Peer {
    /// Reads on; an end is an error.
    async fn read(&mut self, into: &mut Vec<u8>) -> io::Result<()> {
        let mut buffer = [0; 512];
        let count = match self {
            Peer::Tcp(stream) => stream.read(&mut buffer).await?,
            Peer::Line(line) => line.read(&mut buffer).await?,
        };
        into.extend_from_slice(&buffer[..count]);
        if count == 0 { Err(io::ErrorKind::UnexpectedEof.into()) } else { Ok(()) }
    }

    async fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        match self {
            Peer::Tcp(stream) => stream.write_all(bytes).await,
            Peer::Line(line) => line.write_all(bytes).await,
        }
    }
}

/// One request after the other, as a device does that has one processor and one line.
async fn serve(peer: &mut Peer, shared: &Shared) -> io::Result<()> {
    let mut came = Vec::new();
    loop {
        let Some(mut ask) = Ask::take(shared.kind.framing(), &mut came) else {
            peer.read(&mut came).await?;
            continue;
        };
        let (held, steps, is_fault) = shared.take_up(&mut ask);
        peer.write(&held).await?;
        let done = act(peer, shared, steps).await;
        if is_fault {
            shared.state().working -= 1;
        }
        if done? == Then::Swallow {
            loop {
                peer.read(&mut Vec::new()).await?;
            }
        }
    }
}

/// What becomes of a connection after an answer.
#[derive(PartialEq, Eq)]
enum Then {
    Serve,
    Swallow,
}

async fn act(peer: &mut Peer, shared: &Shared, steps: Vec<Step>) -> io::Result<Then> {
    let over = || Err(io::ErrorKind::ConnectionAborted.into());
    for step in steps {
        match step {
            Step::Send(bytes) => peer.write(&bytes).await?,
            Step::WaitMs(ms) => sleep(Duration::from_millis(ms)).await,
            Step::Hold(bytes) => shared.state().held.extend(bytes),
            Step::Swallow => return Ok(Then::Swallow),
            Step::Close => return over(),
            Step::Reset => {
                if let Peer::Tcp(stream) = peer {
                    stream.set_zero_linger()?;
                }
                return over();
            }
        }
    }
    Ok(Then::Serve)
}
