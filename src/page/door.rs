//! The page's door: who is let in, how many at once, over TLS or not, and how much each may send before it is asked what it
//! wants. Connections are held in tasks of their own, so that a slow one holds up nobody.

use super::tls;
use axum::Router;
use axum::http::{HeaderMap, HeaderValue, header};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, AsyncWriteExt as _, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::task::JoinSet;
use tokio::time::timeout;
use tokio_rustls::TlsAcceptor;

/// Connections at once: eight pages for each of eight bays, and as many again that come and go.
pub(super) const CONNECTIONS: usize = 256;
/// Longest head of a request, bytes: a browser's own are below 2 KiB.
const HEAD_BYTES: usize = 16 << 10;
/// Most fields of a head: a browser sends about 20.
const HEAD_FIELDS: usize = 64;
/// A request's head must be there by then, and a handshake over; no test waits so long.
const HEAD_TIME: Duration = Duration::from_secs(if cfg!(test) { 1 } else { 10 });
/// After a listener's trouble (too many open files) it is tried again so late.
const TRY_AGAIN: Duration = Duration::from_secs(1);
/// The first byte of a TLS handshake (RFC 8446, 5.1: content type 22).
const HANDSHAKE: u8 = 22;

/// How browsers reach the page.
#[derive(Clone, Default)]
pub struct Entrance {
    /// Encrypts; None: plain HTTP.
    pub tls: Option<TlsAcceptor>,
    /// Host names by which it is reached, beside those of loopback.
    pub names: Vec<String>,
    /// Somebody in front encrypts, and passes the `Host` on.
    pub behind_proxy: bool,
}

impl std::fmt::Debug for Entrance {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Entrance({:?}, tls: {}, proxy: {})", self.names, self.tls.is_some(), self.behind_proxy)
    }
}

impl Entrance {
    /// Cookies go over TLS alone.
    pub(super) fn secure(&self) -> bool {
        self.tls.is_some() || self.behind_proxy
    }

    /// Why a request is not from this page, if it is not.
    pub(super) fn foreign(&self, headers: &HeaderMap) -> Option<&'static str> {
        let host = headers.get(header::HOST).and_then(|v| v.to_str().ok()).unwrap_or_default();
        let loopback = LOOPBACK.iter().any(|name| is_host(host, name));
        if !loopback && !self.names.iter().any(|name| is_host(host, name)) {
            return Some(
                "Refused: this page answers to 127.0.0.1, localhost, [::1] and the names that the site file gives it.\n",
            );
        }
        let scheme = if self.tls.is_some() || (self.behind_proxy && !loopback) { "https://" } else { "http://" };
        let own = |origin: &HeaderValue| origin.to_str().is_ok_and(|o| o.strip_prefix(scheme) == Some(host));
        let all_own = headers.get_all(header::ORIGIN).iter().all(own);
        (!all_own).then_some("Refused: the request comes from another site's page.\n")
    }

    /// What listens beyond this machine is encrypted, here or in front.
    pub(super) fn admits(&self, address: SocketAddr) -> io::Result<()> {
        if address.ip().is_loopback() || self.secure() {
            return Ok(());
        }
        let text = format!("the page is served on loopback only, not on {address}; use 127.0.0.1 or [::1], or TLS");
        Err(io::Error::new(io::ErrorKind::InvalidInput, text))
    }
}

/// Names of this machine to itself.
const LOOPBACK: [&str; 3] = ["127.0.0.1", "localhost", "[::1]"];

/// Whether a `Host` header is that name, with or without a port.
fn is_host(host: &str, name: &str) -> bool {
    let Some((head, rest)) = host.split_at_checked(name.len()) else { return false };
    head.eq_ignore_ascii_case(name)
        && (rest.is_empty() || rest.strip_prefix(':').is_some_and(|port| port.parse::<u16>().is_ok()))
}

/// What is said to whoever speaks plain HTTP where TLS is spoken.
const PLAIN: &str = "HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain; charset=utf-8\r\nConnection: close\r\n\r\n\
                     This page is served over TLS only: its address begins with https://\n";

/// Serves until `shutdown` completes, then waits for those who are being answered.
pub(super) async fn serve(
    listener: TcpListener,
    tls: Option<TlsAcceptor>,
    router: Router,
    shutdown: impl Future<Output = ()>,
) {
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    let (stop, stopping) = watch::channel(false);
    let mut open = JoinSet::new();
    tokio::pin!(shutdown);
    loop {
        tokio::select! {
            () = &mut shutdown => break,
            came = accept(&listener, &places) => {
                let Some((stream, place)) = came else { continue };
                open.spawn(connection(stream, place, tls.clone(), router.clone(), stopping.clone()));
            }
            Some(_) = open.join_next(), if !open.is_empty() => {}
        }
    }
    // Nobody listens where no connection is left.
    let _ = stop.send(true);
    while open.join_next().await.is_some() {}
}

/// Without a free place nobody is accepted: further ones wait in the system's queue.
async fn accept(listener: &TcpListener, places: &Arc<Semaphore>) -> Option<(TcpStream, OwnedSemaphorePermit)> {
    // The semaphore is never closed.
    let place = Arc::clone(places).acquire_owned().await.ok()?;
    match listener.accept().await {
        Ok((stream, _)) => {
            // A frame is worth sending at once; where the system refuses, it goes a little later.
            let _ = stream.set_nodelay(true);
            Some((stream, place))
        }
        Err(error) => {
            if !matches!(error.kind(), io::ErrorKind::ConnectionAborted | io::ErrorKind::ConnectionReset) {
                tracing::error!(%error, "the page accepts no connection");
                tokio::time::sleep(TRY_AGAIN).await;
            }
            None
        }
    }
}

async fn connection(
    stream: TcpStream,
    place: OwnedSemaphorePermit,
    tls: Option<TlsAcceptor>,
    router: Router,
    stopping: watch::Receiver<bool>,
) {
    let Some(tls) = tls else { return talk(Held { stream, _place: place }, router, stopping).await };
    match timeout(HEAD_TIME, encrypted(stream, &tls)).await {
        Ok(Ok(Some(stream))) => talk(Held { stream, _place: place }, router, stopping).await,
        Ok(Ok(None)) => {}
        Ok(Err(error)) => tracing::debug!(%error, "a TLS handshake failed"),
        Err(_) => tracing::debug!("a TLS handshake took too long"),
    }
}

/// None: it spoke plain HTTP and was told.
async fn encrypted(mut stream: TcpStream, tls: &TlsAcceptor) -> io::Result<Option<tls::Stream>> {
    let mut first = [0];
    if stream.peek(&mut first).await? == 1 && first[0] != HANDSHAKE {
        stream.write_all(PLAIN.as_bytes()).await?;
        stream.shutdown().await?;
        return Ok(None);
    }
    tls.accept(stream).await.map(Some)
}

async fn talk<S: AsyncRead + AsyncWrite + Unpin + Send + 'static>(
    stream: S,
    router: Router,
    mut stopping: watch::Receiver<bool>,
) {
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_TIME)
        // Who closes their side once they have asked is answered all the same.
        .half_close(true)
        .max_buf_size(HEAD_BYTES)
        .max_headers(HEAD_FIELDS)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router))
        .with_upgrades();
    tokio::pin!(served);
    tokio::select! {
        _ = served.as_mut() => return,
        _ = stopping.wait_for(|stop| *stop) => {}
    }
    served.as_mut().graceful_shutdown();
    // What a browser did wrong, or that it went away, is no news.
    let _ = served.await;
}

/// A connection that holds its place until it is dropped: also once it has become a live one.
struct Held<S> {
    stream: S,
    _place: OwnedSemaphorePermit,
}

impl<S: AsyncRead + Unpin> AsyncRead for Held<S> {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, buf)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Held<S> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, buf)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(tls: bool) -> Entrance {
        // Never used to encrypt: whether it is there is what is looked at.
        let config = || {
            let provider = Arc::new(tokio_rustls::rustls::crypto::ring::default_provider());
            let config = tokio_rustls::rustls::ServerConfig::builder_with_provider(provider);
            let config = config.with_safe_default_protocol_versions().expect("its own versions").with_no_client_auth();
            config.with_cert_resolver(Arc::new(tokio_rustls::rustls::server::ResolvesServerCertUsingSni::new()))
        };
        let tls = tls.then(|| TlsAcceptor::from(Arc::new(config())));
        Entrance { behind_proxy: tls.is_none(), tls, names: vec!["Bays.example".into(), "192.0.2.7".into()] }
    }

    #[test]
    fn only_loopback_is_served() {
        let plain = Entrance::default();
        assert!(plain.admits(SocketAddr::from(([127, 0, 0, 1], 80))).is_ok());
        let elsewhere = SocketAddr::from(([192, 0, 2, 1], 80));
        let refused = plain.admits(elsewhere).expect_err("refused");
        assert!(refused.to_string().contains("not on 192.0.2.1:80; use 127.0.0.1"));
        assert!(named(true).admits(elsewhere).is_ok() && named(false).admits(elsewhere).is_ok());
    }

    #[test]
    fn only_known_names_are_answered() {
        let loopback = |host: &str| LOOPBACK.iter().any(|name| is_host(host, name));
        for host in ["127.0.0.1:8080", "localhost", "[::1]:1"] {
            assert!(loopback(host), "{host}");
        }
        for host in ["", "example.org", "127.0.0.1.example.org", "localhost:", "localhost:x", "[::1]9", "10.0.0.1"] {
            assert!(!loopback(host), "{host}");
        }
        assert!(is_host("BAYS.example:8480", "bays.Example") && !is_host("bays.example.org", "bays.example"));
        assert!(!is_host("xbays.example", "bays.example") && !is_host("ñ", "n"));
    }

    #[test]
    fn only_our_own_page_may_ask() {
        let ask = |entrance: &Entrance, host: &'static str, origin: Option<&'static str>| {
            let mut headers = HeaderMap::new();
            headers.insert(header::HOST, HeaderValue::from_static(host));
            if let Some(origin) = origin {
                headers.insert(header::ORIGIN, HeaderValue::from_static(origin));
            }
            entrance.foreign(&headers).is_none()
        };
        let plain = Entrance::default();
        assert!(ask(&plain, "127.0.0.1:80", None) && ask(&plain, "127.0.0.1:80", Some("http://127.0.0.1:80")));
        assert!(!ask(&plain, "127.0.0.1:80", Some("http://127.0.0.1:81")), "another port is another site");
        assert!(
            !ask(&plain, "127.0.0.1:80", Some("null")) && !ask(&plain, "127.0.0.1:80", Some("https://example.org"))
        );
        assert!(!ask(&plain, "bays.example", None), "no name was given");
        for entrance in [named(true), named(false)] {
            assert!(ask(&entrance, "bays.example:8480", Some("https://bays.example:8480")), "{entrance:?}");
            assert!(!ask(&entrance, "bays.example", Some("http://bays.example")), "{entrance:?}: not encrypted");
            assert!(!ask(&entrance, "other.example", None) && ask(&entrance, "192.0.2.7", None), "{entrance:?}");
        }
        assert!(ask(&named(false), "127.0.0.1:1", Some("http://127.0.0.1:1")), "beside the proxy");
        assert!(!ask(&named(true), "127.0.0.1:1", Some("http://127.0.0.1:1")));
    }
}
