//! What the Modbus library reads and writes through, so that brimwatch sees the bytes itself: to clear a line before
//! it asks, and to hold every reply against its request a second time. It is also the last gate: whatever is above it,
//! nothing but a read leaves.

use super::reply::{Framing, other_units_frame};
use super::stream::Stream;
use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll, Waker, ready};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// Twice the longest frame (Modbus TCP: 260 bytes): whoever sends more in answer to one request is not answering.
const RECEIVED_MOST: usize = 520;
/// Bytes that are thrown away at one time.
pub(super) const STRAY_MOST: usize = 4096;

/// One stream, two holders: the library's client and the wire.
#[derive(Debug, Clone)]
pub(super) struct Tap(Arc<Mutex<Tapped>>);

#[derive(Debug)]
struct Tapped {
    stream: Stream,
    framing: Framing,
    sent: Vec<u8>,
    received: Vec<u8>,
    /// How many of the bytes received the library has been given.
    given: usize,
    /// Frames of other units came and were passed by.
    passed_by: bool,
    /// The other side has closed it, or it failed.
    ended: bool,
}

impl Tap {
    pub(super) fn new(framing: Framing, stream: Stream) -> Tap {
        let (sent, received) = (Vec::with_capacity(16), Vec::with_capacity(64));
        let tapped = Tapped { stream, framing, sent, received, given: 0, passed_by: false, ended: false };
        Tap(Arc::new(Mutex::new(tapped)))
    }

    fn lock(&self) -> MutexGuard<'_, Tapped> {
        // Bytes and a flag: whole whatever happened to a holder.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins a new request: what was sent and received before is past.
    pub(super) fn begin(&self) {
        let mut tapped = self.lock();
        tapped.sent.clear();
        tapped.received.clear();
        (tapped.given, tapped.passed_by) = (0, false);
    }

    /// What was sent and received since [`Tap::begin`].
    pub(super) fn look<T>(&self, look: impl FnOnce(&[u8], &[u8]) -> T) -> T {
        let tapped = self.lock();
        look(&tapped.sent, &tapped.received)
    }

    /// Whether the stream has come to its end.
    pub(super) fn ended(&self) -> bool {
        self.lock().ended
    }

    /// Whether whole frames of other units came since [`Tap::begin`].
    pub(super) fn passed_by(&self) -> bool {
        self.lock().passed_by
    }

    /// Throws away what a serial port still holds.
    pub(super) fn flush_input(&self) {
        if let Stream::Serial(port, _) = &self.lock().stream {
            // Where it cannot be done the line is cleared by reading, before the next request.
            let _ = port.discard_input_buffer();
        }
    }

    /// Throws away what has come in unasked, without waiting; how much that was, a little over [`STRAY_MOST`] where
    /// there may be more.
    ///
    /// # Errors
    /// When the stream has come to its end.
    pub(super) fn clear(&self) -> io::Result<usize> {
        let mut context = Context::from_waker(Waker::noop());
        let mut strays = 0;
        while strays <= STRAY_MOST
            && let Poll::Ready(read) = self.poll_discard(&mut context)
        {
            strays += read?;
        }
        Ok(strays)
    }

    /// Waits for bytes that nobody asked for and throws them away; how many came.
    pub(super) async fn discard(&self) -> io::Result<usize> {
        std::future::poll_fn(|context| self.poll_discard(context)).await
    }

    fn poll_discard(&self, context: &mut Context<'_>) -> Poll<io::Result<usize>> {
        let mut scratch = [0; 256];
        let mut buf = ReadBuf::new(&mut scratch);
        let mut tapped = self.lock();
        let read = ready!(Pin::new(&mut tapped.stream).poll_read(context, &mut buf));
        if read.is_err() || buf.filled().is_empty() {
            tapped.ended = true;
            return Poll::Ready(Err(read.err().unwrap_or(io::ErrorKind::UnexpectedEof.into())));
        }
        Poll::Ready(Ok(buf.filled().len()))
    }
}

impl AsyncRead for Tap {
    fn poll_read(self: Pin<&mut Self>, context: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let mut tapped = self.lock();
        loop {
            // What is held back is given once it is known to be no other unit's.
            if tapped.give(buf) {
                return Poll::Ready(Ok(()));
            }
            let mut scratch = [0; 256];
            let mut read = ReadBuf::new(&mut scratch);
            let outcome = ready!(Pin::new(&mut tapped.stream).poll_read(context, &mut read));
            if outcome.is_err() || read.filled().is_empty() {
                tapped.ended = true;
                return Poll::Ready(outcome);
            }
            if tapped.received.len() + read.filled().len() > RECEIVED_MOST {
                return Poll::Ready(Err(io::Error::other("more than an answer")));
            }
            tapped.received.extend_from_slice(read.filled());
        }
    }
}

impl Tapped {
    /// Gives the library what has come in for it; false where there is nothing yet. On a line that several units
    /// share a late answer of one may come while another is asked: whole frames of other units are passed by, and
    /// what begins like one is held back until it is whole. Noise is held back with it: the library would look for a
    /// frame in it.
    fn give(&mut self, buf: &mut ReadBuf<'_>) -> bool {
        if self.framing == Framing::Rtu && self.given == 0 {
            while let Some(end) = other_units_frame(&self.sent, &self.received) {
                self.received.drain(..end);
                self.passed_by = true;
            }
            if self.received.first() != self.sent.first() {
                return false;
            }
        }
        let rest = &self.received[self.given..];
        let count = rest.len().min(buf.remaining());
        buf.put_slice(&rest[..count]);
        self.given += count;
        count > 0
    }
}

impl AsyncWrite for Tap {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let mut tapped = self.lock();
        if tapped.sent.is_empty() && !tapped.framing.is_read(bytes) {
            return Poll::Ready(Err(io::Error::other("only requests to read leave this program")));
        }
        let written = ready!(Pin::new(&mut tapped.stream).poll_write(context, bytes));
        match &written {
            Ok(count) => tapped.sent.extend_from_slice(&bytes[..*count]),
            Err(_) => tapped.ended = true,
        }
        Poll::Ready(written)
    }

    fn poll_flush(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.lock().stream).poll_flush(context)
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.lock().stream).poll_shutdown(context)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::{TcpListener, TcpStream};

    /// A write of one register (function 6) and a read of one (function 3), in both framings: the read alone arrives.
    #[tokio::test]
    async fn nothing_but_a_read_leaves() {
        let frames: [(Framing, &[u8], &[u8]); 2] = [
            (Framing::Tcp, &[0, 1, 0, 0, 0, 6, 1, 6, 0, 9, 0xDE, 0xAD], &[0, 1, 0, 0, 0, 6, 1, 3, 0, 9, 0, 1]),
            (Framing::Rtu, &[1, 6, 0, 9, 0xDE, 0xAD, 0, 0], &[1, 3, 0, 9, 0, 1, 0, 0]),
        ];
        for (framing, write, read) in frames {
            let listener = TcpListener::bind(("127.0.0.1", 0)).await.expect("a port");
            let address = listener.local_addr().expect("bound");
            let stream = TcpStream::connect(address).await.expect("a connection");
            let (mut peer, _) = listener.accept().await.expect("the other end");
            let mut tap = Tap::new(framing, Stream::Tcp(stream));
            tap.write_all(write).await.expect_err("refused");
            tap.write_all(&write[..3]).await.expect_err("nor the beginning of one");
            tap.write_all(read).await.expect("sent");
            drop(tap);
            let mut arrived = Vec::new();
            peer.read_to_end(&mut arrived).await.expect("closed");
            assert_eq!(arrived, read, "{framing:?}");
        }
    }
}
