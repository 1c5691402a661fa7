//! An open way: one request out, its reply in, and nothing but a read leaves.

use super::blocks::BlockSpec;
use super::frames::{Framing, Shortfall, check, other_units_frame, write_request};
use super::stream::Stream;
use crate::engine::input::MissReason;
use std::future::poll_fn;
use std::io;
use std::mem::MaybeUninit;
use std::pin::Pin;
use std::task::{Context, Poll, Waker, ready};
use tokio::io::{AsyncRead, AsyncWriteExt, ReadBuf};

/// Twice the longest frame (Modbus TCP: 260 bytes): whoever sends more in answer to one request is not answering.
const RECEIVED_MOST: usize = 520;
/// Bytes that are thrown away at one time.
pub(super) const STRAY_MOST: usize = 4096;

/// An open way to devices, with the bytes of the request under way and of what has come in since.
#[derive(Debug)]
pub(super) struct Line {
    stream: Stream,
    framing: Framing,
    /// Number of the next request.
    transaction: u16,
    sent: Vec<u8>,
    received: Vec<u8>,
    /// Frames of other units came and were passed by.
    passed_by: bool,
    /// Bytes lay behind the last reply.
    strays: bool,
    /// The other side has closed it, or it failed.
    ended: bool,
}

impl Line {
    pub(super) fn new(framing: Framing, stream: Stream) -> Line {
        let (sent, received) = (Vec::with_capacity(16), Vec::with_capacity(64));
        Line { stream, framing, transaction: 0, sent, received, passed_by: false, strays: false, ended: false }
    }

    /// Whether the stream has come to its end.
    pub(super) fn ended(&self) -> bool {
        self.ended
    }

    /// Asks for one block of a unit: its words (bits as 0 and 1), or the exception code it answered with. What came in
    /// before is no answer: the line is cleared first.
    pub(super) async fn ask(&mut self, unit: u8, block: &BlockSpec) -> Result<Result<Vec<u16>, u8>, MissReason> {
        self.sent.clear();
        self.received.clear();
        self.passed_by = false;
        write_request(&mut self.sent, self.framing, self.transaction, unit, block);
        self.transaction = self.transaction.wrapping_add(1);
        self.send().await?;
        loop {
            match check(self.framing, &self.sent, &self.received) {
                Ok(reply) => {
                    self.strays |= reply.strays > 0;
                    return Ok(reply.words(block));
                }
                // Noise on a line: whatever else of it comes is awaited, so that it does not meet the next request.
                Err(Shortfall::Incomplete | Shortfall::NotTheReply(MissReason::BadChecksum)) => {}
                Err(Shortfall::NotTheReply(reason)) => return Err(reason),
            }
            poll_fn(|context| self.poll_receive(context)).await.map_err(|_| MissReason::ConnectionLost)?;
            if self.received.len() > RECEIVED_MOST {
                return Err(self.shortfall().unwrap_or(MissReason::Malformed));
            }
            self.pass_by();
        }
    }

    /// The last gate: whatever is above it, nothing but a request to read leaves.
    async fn send(&mut self) -> Result<(), MissReason> {
        if !self.framing.is_read(&self.sent) {
            return Err(MissReason::Malformed);
        }
        let sent = self.stream.write_all(&self.sent).await;
        self.ended |= sent.is_err();
        sent.map_err(|_| MissReason::ConnectionLost)
    }

    /// On a line that several units share a late answer of one may come while another is asked: whole frames of other
    /// units are passed by.
    fn pass_by(&mut self) {
        if self.framing == Framing::Rtu {
            while let Some(end) = other_units_frame(&self.sent, &self.received) {
                self.received.drain(..end);
                self.passed_by = true;
            }
        }
    }

    /// What is wrong with what has come in since the last request, where that can be said.
    pub(super) fn shortfall(&self) -> Option<MissReason> {
        match check(self.framing, &self.sent, &self.received) {
            Err(Shortfall::NotTheReply(reason)) => Some(reason),
            Err(Shortfall::Incomplete) if self.passed_by => Some(MissReason::WrongUnit),
            _ => None,
        }
    }

    /// Throws away what a serial port still holds.
    pub(super) fn flush_input(&mut self) {
        if let Stream::Serial(port, _) = &self.stream {
            // Where it cannot be done the line is cleared by reading, before the next request.
            let _ = port.discard_input_buffer();
        }
    }

    /// Throws away what has come in unasked, without waiting; how much that was, a little over [`STRAY_MOST`] where
    /// there may be more.
    ///
    /// # Errors
    /// When the stream has come to its end.
    pub(super) fn clear(&mut self) -> io::Result<usize> {
        let mut context = Context::from_waker(Waker::noop());
        let mut strays = usize::from(std::mem::take(&mut self.strays));
        while strays <= STRAY_MOST
            && let Poll::Ready(read) = self.poll_discard(&mut context)
        {
            strays += read?;
        }
        Ok(strays)
    }

    /// Waits for bytes that nobody asked for and throws them away; how many came.
    pub(super) async fn discard(&mut self) -> io::Result<usize> {
        poll_fn(|context| self.poll_discard(context)).await
    }

    fn poll_discard(&mut self, context: &mut Context<'_>) -> Poll<io::Result<usize>> {
        self.received.clear();
        self.poll_receive(context)
    }

    /// Reads what is there behind what has come in already; how many bytes that were.
    fn poll_receive(&mut self, context: &mut Context<'_>) -> Poll<io::Result<usize>> {
        // A read that has room to spare tells tokio that there is no more for now, without another call.
        let mut scratch = [MaybeUninit::uninit(); 512];
        let mut buf = ReadBuf::uninit(&mut scratch);
        let read = ready!(Pin::new(&mut self.stream).poll_read(context, &mut buf));
        if read.is_err() || buf.filled().is_empty() {
            self.ended = true;
            return Poll::Ready(Err(read.err().unwrap_or(io::ErrorKind::UnexpectedEof.into())));
        }
        self.received.extend_from_slice(buf.filled());
        Poll::Ready(Ok(buf.filled().len()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::AsyncReadExt;
    use tokio::net::{TcpListener, TcpStream};

    /// A line with a peer that closes once it has read so many bytes; what it read.
    async fn left(framing: Framing, block: BlockSpec) -> (Result<Result<Vec<u16>, u8>, MissReason>, Vec<u8>) {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.expect("a port");
        let address = listener.local_addr().expect("bound");
        let stream = TcpStream::connect(address).await.expect("a connection");
        let (mut peer, _) = listener.accept().await.expect("the other end");
        let mut line = Line::new(framing, Stream::Tcp(stream));
        let peer = tokio::spawn(async move {
            let mut arrived = [0; 64];
            let count = peer.read(&mut arrived).await.expect("read");
            arrived[..count].to_vec()
        });
        let asked = line.ask(1, &block).await;
        drop(line);
        (asked, peer.await.expect("no panic"))
    }

    /// A request to write a register (function 6) in both framings: nothing of it arrives; a read arrives whole.
    #[tokio::test]
    async fn nothing_but_a_read_leaves() {
        for framing in [Framing::Tcp, Framing::Rtu] {
            for function in [0, 5, 6, 15, 16, 0x83] {
                let (asked, arrived) = left(framing, BlockSpec { function, address: 9, count: 1 }).await;
                assert_eq!((asked, arrived), (Err(MissReason::Malformed), Vec::new()), "{framing:?} {function}");
            }
            let (asked, arrived) = left(framing, BlockSpec { function: 3, address: 9, count: 1 }).await;
            assert_eq!(
                (asked, arrived.len()),
                (Err(MissReason::ConnectionLost), 12 - 4 * usize::from(framing == Framing::Rtu))
            );
        }
    }
}
