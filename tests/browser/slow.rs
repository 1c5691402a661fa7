//! A network that hardly carries the page: what is shown is never older than it says, and an entry is still answered.

use super::cost::next;
use super::{Stage, scenes, show};
use crate::chromium::Browser;
use brimwatch::engine::input::What;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Bytes/s both ways: a second or two for what a frame changes.
const BYTES_PER_S: f64 = 1_000.0;
/// The way there, and the way back.
const DELAY: Duration = Duration::from_millis(200);
/// Frames are published every second, so long that a queue of them would be seen.
const SECONDS: u32 = 25;
/// What is older must be said to be stale (see `STALE_AFTER_MS`: within 3 s).
const OLDEST: Duration = Duration::from_secs(3);
/// No frame is shown that is older than one frame's way, the second until the next and this test's own looks.
const NEVER_OLDER: Duration = Duration::from_secs(8);

/// What lies between browser and server; at first it is fast.
fn network(to: SocketAddr, slow: &Arc<AtomicBool>) -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let here = listener.local_addr().expect("its address");
    let slow = Arc::clone(slow);
    std::thread::spawn(move || {
        for from in listener.incoming().map_while(Result::ok) {
            let Ok(to) = TcpStream::connect(to) else { return };
            let ends = |stream: &TcpStream| stream.try_clone().expect("a handle");
            for (from, to) in [(ends(&from), ends(&to)), (to, from)] {
                let slow = Arc::clone(&slow);
                std::thread::spawn(move || carry(from, to, &slow));
            }
        }
    });
    here
}

/// Carries one way: what comes after a pause takes the whole way, and everything its time on the line.
fn carry(mut from: TcpStream, mut to: TcpStream, slow: &AtomicBool) {
    let mut bytes = [0; 500];
    loop {
        let asked = Instant::now();
        let Ok(n @ 1..) = from.read(&mut bytes) else { break };
        if slow.load(Ordering::Relaxed) {
            let way = if asked.elapsed() > Duration::from_millis(5) { DELAY } else { Duration::ZERO };
            std::thread::sleep(way + Duration::from_secs_f64(n as f64 / BYTES_PER_S));
        }
        if to.write_all(&bytes[..n]).is_err() {
            break;
        }
    }
    let _ = to.shutdown(std::net::Shutdown::Both);
}

#[test]
fn a_slow_network_shows_nothing_old_as_new_and_entries_are_saved() {
    let mut scene = scenes::agree();
    let mut stage = Stage::set(scene.clone());
    let slow = Arc::new(AtomicBool::new(false));
    let server = stage.url.trim_start_matches("http://").trim_end_matches('/').parse().expect("an address");
    let url = format!("http://{}/", network(server, &slow));
    let mut browser = Browser::start();
    browser.screen(1280, 800, 1, false);
    browser.open(&url);
    show(&mut stage, &mut browser, &scene);
    slow.store(true, Ordering::Relaxed);
    let first = stage.number;
    let mut published = vec![Instant::now()];
    let (mut shown, mut stale, mut oldest) = (0, 0, Duration::ZERO);
    for second in 0..SECONDS {
        if second == SECONDS / 2 {
            browser.press("#close");
            browser.press("#yes");
            let request = stage.entry();
            assert_eq!(request.entry.what, What::Closed);
            request.saved.send(Ok(())).expect("the server waits");
        }
        next(&mut scene, second);
        stage.publish(&scene);
        published.push(Instant::now());
        for _ in 0..5 {
            std::thread::sleep(Duration::from_millis(190));
            let looked = browser.value("[Number(document.body.dataset.number), document.body.dataset.state]");
            let number = looked[0].as_u64().expect("a number");
            let age = published[usize::try_from(number - first).expect("one of these")].elapsed();
            // The page looks every 0.2 s, and the answer takes its way.
            assert!(looked[1] != "live" || age < OLDEST + Duration::from_millis(300), "{age:?} old and called live");
            oldest = oldest.max(age);
            shown = shown.max(number - first);
            stale += u32::from(looked[1] != "live");
        }
    }
    println!(
        "{SECONDS} frames: the last shown was number {shown}, the oldest {oldest:.1?} old; stale at {stale} looks"
    );
    assert!(oldest < NEVER_OLDER, "a queue of old frames: {oldest:?}");
    assert!(shown > 0 && stale > 0, "the network was not slow");
    assert_eq!(browser.value("document.getElementById('answer').textContent"), "Saved.");
    slow.store(false, Ordering::Relaxed);
    show(&mut stage, &mut browser, &scene);
    assert_eq!(browser.problems(), Vec::<String>::new());
}
