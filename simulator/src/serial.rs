//! A serial line that is not there: a pseudo-terminal, one end for whoever polls, the other joined to a server.

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::ffi::OsString;
use std::io::{self, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStringExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

/// More than the longest RTU frame, 256 bytes (Modbus over Serial Line V1.02, 2.5.1).
const CHUNK: usize = 512;
/// Between two looks whether the line is cut, ns.
const LOOK_NS: i64 = 50_000_000;

/// A pseudo-terminal.
#[derive(Debug)]
pub struct SerialLine {
    near: OwnedFd,
    /// Held open, so that the line does not hang up when nobody polls.
    _far: OwnedFd,
    port: PathBuf,
    cut: AtomicBool,
}

impl SerialLine {
    /// Lays one. It passes all eight bits and waits for no line's end.
    ///
    /// # Errors
    /// When this machine gives no pseudo-terminal.
    pub fn lay() -> io::Result<SerialLine> {
        let near = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&near)?;
        unlockpt(&near)?;
        let port = PathBuf::from(OsString::from_vec(ptsname(&near, Vec::new())?.into_bytes()));
        let far = open(&port, OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty())?;
        let mut raw = tcgetattr(&far)?;
        raw.make_raw();
        tcsetattr(&far, OptionalActions::Now, &raw)?;
        Ok(SerialLine { near, _far: far, port, cut: AtomicBool::new(false) })
    }

    /// Where it is opened.
    #[must_use]
    pub fn port(&self) -> &Path {
        &self.port
    }

    /// Whoever carries bytes stops, or may begin.
    pub fn cut(&self, cut: bool) {
        self.cut.store(cut, Ordering::Relaxed);
    }

    /// Carries bytes between the line and a server until the line is cut. Blocks.
    pub fn carry(&self, server: SocketAddr) {
        while !self.cut.load(Ordering::Relaxed) {
            // The server hangs up on what is no frame; a line goes on.
            if let Err(error) = self.carry_once(server) {
                tracing::debug!(%error, "a simulated serial line");
                std::thread::yield_now();
            }
        }
    }

    fn carry_once(&self, server: SocketAddr) -> io::Result<()> {
        let mut stream = TcpStream::connect(server)?;
        stream.set_nodelay(true)?;
        let mut bytes = [0u8; CHUNK];
        let look = Timespec { tv_sec: 0, tv_nsec: LOOK_NS };
        while !self.cut.load(Ordering::Relaxed) {
            let mut ends = [PollFd::new(&self.near, PollFlags::IN), PollFd::new(&stream, PollFlags::IN)];
            poll(&mut ends, Some(&look))?;
            let ready = ends.map(|end| !end.revents().is_empty());
            if ready[0] {
                let got = rustix::io::read(&self.near, &mut bytes)?;
                stream.write_all(&bytes[..got])?;
            }
            if ready[1] {
                let got = stream.read(&mut bytes)?;
                if got == 0 {
                    return Ok(());
                }
                let mut rest = &bytes[..got];
                while !rest.is_empty() {
                    rest = &rest[rustix::io::write(&self.near, rest)?..];
                }
            }
        }
        Ok(())
    }
}
