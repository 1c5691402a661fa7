//! The way to the devices of a link: opened when needed, cleared before each request, opened anew after trouble.

use super::back_off::BackOff;
use super::blocks::BlockSpec;
use super::frames::Framing;
use super::late::{Late, Next};
use super::line::{Line, STRAY_MOST};
use super::link::LinkSpec;
use super::stream::{self, Stream, Trouble};
use super::way::Way;
use crate::clock::{MachineTime, machine_duration};
use crate::engine::input::MissReason;
use std::io;
use std::time::Duration;
use tokio::task::JoinHandle;
use tokio::time::{sleep, timeout};

/// From the beginning of one attempt to open a way to the next, s of engine time, so that one that hangs until its
/// time-out brings no pause on top: a device is back within 1 s and one period of being there again.
const RETRY_LEAST_S: f64 = 0.025;
/// See above.
const RETRY_MOST_S: f64 = 0.9;
/// Silence that parts the frames of a serial line behind a TCP gateway, which hands them on in pieces (assumption).
const SILENCE_OVER_TCP: Duration = Duration::from_millis(5);

/// The way to the devices of a link.
pub(super) struct Wire {
    name: String,
    way: Way,
    framing: Framing,
    connect_time_out: Duration,
    pause: Duration,
    /// What parts two RTU frames.
    silence: Duration,
    /// An attempt under way, and when it began.
    opening: Option<(MachineTime, JoinHandle<Result<Stream, Trouble>>)>,
    open: Option<Line>,
    /// Why it could not be opened the last time.
    trouble: MissReason,
    back_off: BackOff,
    connections: u32,
    /// The request that is under way.
    asked: Option<(u8, BlockSpec)>,
    late: Late,
    heard: MachineTime,
}

impl Wire {
    pub(super) fn new(link: &LinkSpec) -> Wire {
        let (framing, silence) = match &link.way {
            Way::Tcp { .. } => (Framing::Tcp, Duration::ZERO),
            Way::RtuOverTcp { .. } => (Framing::Rtu, SILENCE_OVER_TCP),
            Way::Serial(serial) => (Framing::Rtu, Duration::from_secs_f64(serial.silence_s())),
        };
        let retry = |s| machine_duration(s, link.speed);
        Wire {
            name: link.name.clone(),
            way: link.way.clone(),
            framing,
            connect_time_out: machine_duration(link.connect_time_out_s, link.speed),
            pause: machine_duration(link.pause_s, link.speed),
            silence,
            opening: None,
            open: None,
            trouble: MissReason::NoConnection,
            back_off: BackOff::new(retry(RETRY_LEAST_S), retry(RETRY_MOST_S), 0, u64::from(link.number) << 32),
            connections: 0,
            asked: None,
            late: Late::default(),
            heard: MachineTime(0),
        }
    }

    /// Connections made, and serial ports opened, so far.
    pub(super) fn connections(&self) -> u32 {
        self.connections
    }

    /// Whether requests can leave.
    pub(super) fn is_open(&self) -> bool {
        self.open.is_some()
    }

    /// Sees to it that a request can leave now: the way is open, nothing that came unasked lies on it, and the pause
    /// since the last answer is over.
    pub(super) async fn ready(&mut self) -> Result<(), MissReason> {
        if !self.is_fit() {
            self.open = None;
        }
        if self.open.is_none() {
            self.open_way().await?;
        }
        self.settle().await
    }

    /// A connection that has ended is opened anew; so is one over TCP on which something came unasked, since that
    /// frees it of what may follow. A line is cleared instead.
    fn is_fit(&mut self) -> bool {
        let Some(line) = &mut self.open else { return true };
        match line.clear() {
            Err(_) => false,
            Ok(0) => true,
            Ok(_) => {
                self.heard = MachineTime::now();
                self.framing == Framing::Rtu
            }
        }
    }

    /// An attempt that outlasts one round is waited for in the next.
    async fn open_way(&mut self) -> Result<(), MissReason> {
        // One that hung until its time-out is followed by the next at once.
        while self.opening.is_some() || !self.back_off.waits(MachineTime::now()) {
            let attempt = || tokio::spawn(stream::open(self.way.clone(), self.connect_time_out));
            let (begun, opening) = self.opening.get_or_insert_with(|| (MachineTime::now(), attempt()));
            let (begun, opened) = (*begun, opening.await);
            self.opening = None;
            let trouble = match opened {
                Ok(Ok(stream)) => {
                    self.open = Some(Line::new(self.framing, stream));
                    self.connections = self.connections.saturating_add(1);
                    return Ok(());
                }
                Ok(Err(trouble)) => trouble,
                Err(error) => Trouble { reason: MissReason::NoConnection, detail: error.to_string() },
            };
            if self.trouble != trouble.reason || !self.back_off.has_failed() {
                tracing::warn!(link = self.name, reason = ?trouble.reason, "{}", trouble.detail);
            }
            self.trouble = trouble.reason;
            self.back_off.failed(begun);
        }
        Err(self.trouble)
    }

    /// Until the pause since the last answer is over and, on a line, nothing has come for as long as parts two frames;
    /// whatever came is thrown away.
    async fn settle(&mut self) -> Result<(), MissReason> {
        if !self.pause.is_zero() {
            sleep(self.pause.saturating_sub(MachineTime::now().since(self.heard))).await;
        }
        let Some(line) = self.open.as_mut().filter(|_| self.framing == Framing::Rtu) else { return Ok(()) };
        self.heard = clear(line, self.heard, self.silence).await.map_err(|_| MissReason::ConnectionLost)?;
        Ok(())
    }

    /// Reads one block of a unit: its words, or the exception it answered with. [`Wire::ready`] comes first.
    pub(super) async fn read(&mut self, unit: u8, block: &BlockSpec) -> Result<Result<Vec<u16>, u8>, MissReason> {
        if self.framing == Framing::Rtu {
            match self.late.next(unit, block, MachineTime::now()) {
                Next::Ask => {}
                Next::Wait => return Err(MissReason::Unsettled),
                Next::First(part) => {
                    let reply = self.call(unit, &part).await?;
                    self.late.answered(unit);
                    if reply.is_err() {
                        // An exception may be the answer to an earlier request: the part's own may still come.
                        self.late.unanswered(unit, &part, MachineTime::now());
                    }
                }
            }
        }
        let words = self.call(unit, block).await?;
        if words.is_ok() {
            self.late.answered(unit);
        }
        Ok(words)
    }

    async fn call(&mut self, unit: u8, block: &BlockSpec) -> Result<Result<Vec<u16>, u8>, MissReason> {
        self.settle().await?;
        let Some(line) = &mut self.open else { return Err(MissReason::NoConnection) };
        self.asked = Some((unit, *block));
        let words = line.ask(unit, block).await?;
        if self.framing == Framing::Rtu || !self.pause.is_zero() {
            self.heard = MachineTime::now();
        }
        self.asked = None;
        self.back_off.succeeded();
        Ok(words)
    }

    /// Why a round that ran out of time had no answer: what has come in may say so.
    pub(super) fn why_late(&self) -> MissReason {
        let Some(line) = &self.open else {
            return if self.opening.is_some() { MissReason::NoConnection } else { self.trouble };
        };
        match self.asked {
            Some(_) => line.shortfall().unwrap_or(MissReason::TimeOut),
            // Nothing was asked: the line was never silent.
            None => MissReason::Unsettled,
        }
    }

    /// After anything but a well-formed answer the connection starts anew. A serial port stays open, since nothing is
    /// gained by setting it again.
    pub(super) fn broke(&mut self) {
        self.heard = MachineTime::now();
        if let Some((unit, block)) = self.asked.take() {
            self.late.unanswered(unit, &block, self.heard);
        }
        self.open = match self.open.take() {
            Some(mut line) if matches!(self.way, Way::Serial(_)) && !line.ended() => {
                line.flush_input();
                Some(line)
            }
            _ => None,
        };
    }
}

impl Drop for Wire {
    fn drop(&mut self) {
        if let Some((_, opening)) = &self.opening {
            opening.abort();
        }
    }
}

/// Reads a line until it has been silent long enough; when it was last heard.
async fn clear(line: &mut Line, mut heard: MachineTime, silence: Duration) -> io::Result<MachineTime> {
    loop {
        let strays = line.clear()?;
        if strays > 0 {
            heard = MachineTime::now();
        }
        if strays > STRAY_MOST {
            // It does not stop; others want the machine too.
            sleep(silence).await;
        }
        let left = silence.saturating_sub(MachineTime::now().since(heard));
        if left.is_zero() {
            return Ok(heard);
        }
        if let Ok(strays) = timeout(left, line.discard()).await {
            strays?;
            heard = MachineTime::now();
        }
    }
}
