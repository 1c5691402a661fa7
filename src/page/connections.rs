//! A listener that has no more than so many connections at once; further ones wait in the system's queue.

use axum::serve::Listener;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// The listener.
pub(super) struct Bounded {
    listener: TcpListener,
    places: Arc<Semaphore>,
}

impl Bounded {
    pub(super) fn new(listener: TcpListener, most: usize) -> Bounded {
        Bounded { listener, places: Arc::new(Semaphore::new(most)) }
    }
}

impl Listener for Bounded {
    type Io = Held;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Held, SocketAddr) {
        // The semaphore is never closed; without a place nobody is accepted.
        let place = Arc::clone(&self.places).acquire_owned().await.ok();
        let (stream, address) = Listener::accept(&mut self.listener).await;
        // A frame is worth sending at once; where the system refuses, it goes a little later.
        let _ = stream.set_nodelay(true);
        (Held { stream, _place: place }, address)
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

/// A connection that holds its place until it is dropped.
pub(super) struct Held {
    stream: TcpStream,
    _place: Option<OwnedSemaphorePermit>,
}

impl AsyncRead for Held {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, buf)
    }
}

impl AsyncWrite for Held {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
