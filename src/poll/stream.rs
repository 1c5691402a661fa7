//! A byte stream to devices: a TCP connection or a serial port, opened with a reason where that fails.

use super::way::{Parity, Serial, Way};
use crate::engine::input::MissReason;
use rustix::fd::OwnedFd;
use rustix::fs::{FlockOperation, Mode, OFlags, flock};
use rustix::net::sockopt;
use rustix::termios::ioctl_tiocexcl;
use serial2_tokio::{CharSize, FlowControl, SerialPort, Settings, StopBits};
use std::io::{self, ErrorKind};
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpStream, lookup_host};
use tokio::time::timeout;

/// Bytes that the peer's machine does not acknowledge for this long end the connection: also one that we have left
/// behind, so that no number of them piles up while a device is away.
const UNACKNOWLEDGED_MOST: Duration = Duration::from_secs(2);
/// A connection on which nothing has moved for this long is tried, so that a peer gone between two slow polls is
/// found before the next one ...
const IDLE_BEFORE_TRIED: Duration = Duration::from_secs(5);
/// ... this often, this far apart.
const TRIES: u32 = 3;
/// See above.
const BETWEEN_TRIES: Duration = Duration::from_secs(1);

/// An open way to devices.
#[derive(Debug)]
pub(super) enum Stream {
    /// Over TCP.
    Tcp(TcpStream),
    /// Over a serial port; the second handle holds it for us alone.
    Serial(SerialPort, #[expect(dead_code, reason = "held, never read")] OwnedFd),
}

/// Why a way could not be opened: for the program, and for the person who reads the log.
#[derive(Debug)]
pub(super) struct Trouble {
    pub(super) reason: MissReason,
    pub(super) detail: String,
}

impl Trouble {
    fn new(reason: MissReason, detail: impl Into<String>) -> Trouble {
        Trouble { reason, detail: detail.into() }
    }
}

/// Opens the way.
pub(super) async fn open(way: Way, connect_time_out: Duration) -> Result<Stream, Trouble> {
    match way {
        Way::Tcp { address } | Way::RtuOverTcp { address } => connect(&address, connect_time_out).await,
        Way::Serial(serial) => {
            // Setting a port can wait for its driver.
            let opened = tokio::task::spawn_blocking(move || open_serial(&serial)).await;
            opened.unwrap_or_else(|error| Err(Trouble::new(MissReason::NotSerial, error.to_string())))
        }
    }
}

/// The name's look-up is not bounded by the time-out: the system ends it by itself, and one left behind at each
/// attempt would pile up.
async fn connect(address: &str, time_out: Duration) -> Result<Stream, Trouble> {
    let unknown = |why: String| Trouble::new(MissReason::NameUnknown, format!("{address}: {why}"));
    let found = lookup_host(address).await.map_err(|error| unknown(error.to_string()))?;
    let found: Vec<_> = found.collect();
    if found.is_empty() {
        return Err(unknown("the name has no address".into()));
    }
    let refused = |why: String| Trouble::new(MissReason::NoConnection, format!("{address}: {why}"));
    let stream = match timeout(time_out, TcpStream::connect(&found[..])).await {
        Ok(stream) => stream.map_err(|error| refused(error.to_string()))?,
        Err(_) => return Err(refused(format!("no connection within {} ms", time_out.as_millis()))),
    };
    care(&stream).map_err(|error| refused(error.to_string()))?;
    Ok(Stream::Tcp(stream))
}

fn care(stream: &TcpStream) -> io::Result<()> {
    // A request is one small segment that must not wait for company.
    stream.set_nodelay(true)?;
    // When it is dropped it goes at once: a gateway with room for few connections gets its place back.
    stream.set_zero_linger()?;
    let unacknowledged_ms = u32::try_from(UNACKNOWLEDGED_MOST.as_millis()).unwrap_or(u32::MAX);
    sockopt::set_tcp_user_timeout(stream, unacknowledged_ms)?;
    sockopt::set_socket_keepalive(stream, true)?;
    sockopt::set_tcp_keepidle(stream, IDLE_BEFORE_TRIED)?;
    sockopt::set_tcp_keepintvl(stream, BETWEEN_TRIES)?;
    sockopt::set_tcp_keepcnt(stream, TRIES)?;
    Ok(())
}

fn open_serial(serial: &Serial) -> Result<Stream, Trouble> {
    let port = serial.port.display();
    let trouble = |error: io::Error| {
        let (reason, what) = match error.kind() {
            ErrorKind::NotFound => (MissReason::PortAbsent, "there is no such port"),
            ErrorKind::PermissionDenied => {
                (MissReason::PortForbidden, "this user may not open it (on many systems: add the user to `dialout`)")
            }
            ErrorKind::ResourceBusy | ErrorKind::WouldBlock => (MissReason::PortTaken, "another program holds it"),
            _ => (MissReason::NotSerial, "it is no serial port that can be set so"),
        };
        let Serial { baud, parity, stop_bits, .. } = serial;
        Trouble::new(reason, format!("{port}: {what} ({baud} baud, parity {parity:?}, {stop_bits} stop bits): {error}"))
    };
    // Held before it is set, so that a port in use stays as it is: by a lock, which binds those who ask, and by the
    // port itself, which binds all but root. Neither waits for a modem.
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
    let hold = rustix::fs::open(&serial.port, flags, Mode::empty()).map_err(|error| trouble(error.into()))?;
    flock(&hold, FlockOperation::NonBlockingLockExclusive).map_err(|error| trouble(error.into()))?;
    let open = SerialPort::open(&serial.port, |settings: Settings| set(settings, serial)).map_err(trouble)?;
    ioctl_tiocexcl(&hold).map_err(|error| trouble(error.into()))?;
    Ok(Stream::Serial(open, hold))
}

fn set(mut settings: Settings, serial: &Serial) -> io::Result<Settings> {
    settings.set_raw();
    settings.set_baud_rate(serial.baud)?;
    settings.set_char_size(CharSize::Bits8);
    settings.set_stop_bits(if serial.stop_bits == 2 { StopBits::Two } else { StopBits::One });
    settings.set_parity(match serial.parity {
        Parity::None => serial2_tokio::Parity::None,
        Parity::Even => serial2_tokio::Parity::Even,
        Parity::Odd => serial2_tokio::Parity::Odd,
    });
    settings.set_flow_control(FlowControl::None);
    Ok(settings)
}

impl AsyncRead for Stream {
    fn poll_read(self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        match self.get_mut() {
            Stream::Tcp(tcp) => Pin::new(tcp).poll_read(cx, buf),
            Stream::Serial(serial, _) => Pin::new(serial).poll_read(cx, buf),
        }
    }
}

impl AsyncWrite for Stream {
    fn poll_write(self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        match self.get_mut() {
            Stream::Tcp(tcp) => Pin::new(tcp).poll_write(cx, bytes),
            Stream::Serial(serial, _) => Pin::new(serial).poll_write(cx, bytes),
        }
    }

    fn poll_flush(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        match self.get_mut() {
            Stream::Tcp(tcp) => Pin::new(tcp).poll_flush(cx),
            Stream::Serial(serial, _) => Pin::new(serial).poll_flush(cx),
        }
    }

    fn poll_shutdown(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        match self.get_mut() {
            Stream::Tcp(tcp) => Pin::new(tcp).poll_shutdown(cx),
            Stream::Serial(serial, _) => Pin::new(serial).poll_shutdown(cx),
        }
    }
}
