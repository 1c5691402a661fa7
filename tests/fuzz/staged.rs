//! A served page of an invented works, started once for all that the fuzzer sends.

use brimwatch::page::door::Entrance;
use brimwatch::page::feed::{BayFeed, EntryRequest, PapersDoor, SettingsDoor};
use brimwatch::page::reader::Reader;
use brimwatch::page::server::{self, Served};
use std::io::{Read, Write};
use std::net::{Shutdown, SocketAddr, TcpStream};
use std::sync::{Arc, LazyLock};
use std::time::Duration;
use tokio::runtime::Runtime;
use tokio::sync::{mpsc, watch};

#[path = "../browser/scenes.rs"]
#[allow(dead_code)]
mod scenes;

/// No answer takes longer on a machine that does anything at all.
const PATIENCE: Duration = Duration::from_secs(20);

static SERVER: LazyLock<(Runtime, SocketAddr)> = LazyLock::new(|| {
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().expect("a runtime");
    let listener = runtime.block_on(tokio::net::TcpListener::bind("127.0.0.1:0")).expect("a port");
    let address = listener.local_addr().expect("its address");
    let (held, latest) = watch::channel(Some(Arc::new(scenes::disagree())));
    let (entries, mut taken) = mpsc::channel::<EntryRequest>(16);
    let bay = BayFeed { slug: "bay-1".into(), latest, entries, work: Arc::default() };
    let (asks, _) = mpsc::channel(1);
    let (_, offered) = watch::channel(Arc::default());
    let settings = SettingsDoor { offered, asks };
    let papers = PapersDoor { fields: Vec::new().into(), asks: mpsc::channel(1).0 };
    runtime.spawn(async move {
        let _held = held;
        let served = Served { site: "Works".into(), people: None, reader: Reader::here(), entrance: Entrance::default(), settings, papers, bays: vec![bay] };
        server::serve(listener, served, std::future::pending()).await
    });
    runtime.spawn(async move {
        while let Some(request) = taken.recv().await {
            let _ = request.saved.send(Ok(()));
        }
    });
    (runtime, address)
});

/// Sends the bytes, says that no more come, and reads what comes back until the server hangs up.
pub fn exchange(bytes: &[u8]) -> Vec<u8> {
    let mut stream = TcpStream::connect(SERVER.1).expect("the server listens");
    stream.set_read_timeout(Some(PATIENCE)).expect("a time-out");
    stream.set_write_timeout(Some(PATIENCE)).expect("a time-out");
    // A server that has read enough may hang up on what follows.
    let _ = stream.write_all(bytes);
    let _ = stream.shutdown(Shutdown::Write);
    let mut answer = Vec::new();
    match stream.read_to_end(&mut answer) {
        Err(error) if error.kind() == std::io::ErrorKind::WouldBlock => panic!("no end after {PATIENCE:?}"),
        _ => answer,
    }
}

/// The page is still there.
pub fn still_serves() {
    let answer = exchange(b"GET /page.css HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n");
    let said = String::from_utf8_lossy(&answer[..answer.len().min(200)]).into_owned();
    assert!(answer.starts_with(b"HTTP/1.1 200"), "the page is gone; it says {said:?}");
}
