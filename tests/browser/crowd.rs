//! Many who look at once: two hundred viewers of one bay, one that never reads, ten tabs of one browser.

use super::{Stage, scenes};
use crate::chromium::Browser;
use serde_json::json;
use std::net::TcpStream;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, mpsc};
use std::time::{Duration, Instant};
use tungstenite::Message;

/// Viewers of one bay.
const VIEWERS: usize = 200;
/// Frames they are sent, one after the other: as many as the slow one's buffers do not hold.
const FRAMES: u64 = 400;
/// A frame has come to everybody by then, also in a build that is not optimised on a busy machine.
const SOON: Duration = Duration::from_secs(5);

type Viewer = tungstenite::WebSocket<TcpStream>;

fn view(stage: &Stage, looks: &str) -> Viewer {
    let host = stage.url.trim_start_matches("http://").trim_end_matches('/');
    let stream = TcpStream::connect(host).expect("the server listens");
    stream.set_read_timeout(Some(Duration::from_secs(20))).expect("a time-out");
    let (viewer, _) = tungstenite::client(format!("ws://{host}/bay/bay-2/live{looks}"), stream).expect("an open door");
    viewer
}

/// Reads and answers as the page does, and says of each frame which it was.
fn look(mut viewer: Viewer, shown: &AtomicU64) {
    while let Ok(message) = viewer.read() {
        let Message::Text(text) = message else { continue };
        let frame: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        shown.store(frame["number"].as_u64().expect("a number"), Ordering::Relaxed);
        if viewer.send(Message::text("")).is_err() {
            return;
        }
    }
}

/// Processor time of the server's own threads so far, s: those of its runtime, which the viewers' are not.
fn served_s() -> f64 {
    let tasks = std::fs::read_dir("/proc/self/task").expect("Linux");
    let of = |task: std::path::PathBuf| {
        let name = std::fs::read_to_string(task.join("comm")).unwrap_or_default();
        let stat = std::fs::read_to_string(task.join("schedstat")).unwrap_or_default();
        // Time on the processor in ns is the first field (Linux, Documentation/scheduler/sched-stats).
        let ns = stat.split_whitespace().next().and_then(|ns| ns.parse::<f64>().ok()).unwrap_or(0.0);
        if name.starts_with("tokio-r") { ns / 1e9 } else { 0.0 }
    };
    tasks.filter_map(|task| Some(of(task.ok()?.path()))).sum()
}

#[test]
fn two_hundred_viewers_are_served_and_one_that_never_reads_holds_nobody_up() {
    let mut scene = scenes::everything_at_once();
    let mut stage = Stage::set(scene.clone());
    // It takes nothing, and goes on being connected.
    let mut asleep = view(&stage, "");
    let shown: Arc<[AtomicU64]> = (0..VIEWERS).map(|_| AtomicU64::new(0)).collect();
    let (gone, left) = mpsc::channel::<()>();
    for at in 0..VIEWERS {
        let (viewer, shown, gone) = (view(&stage, "?answers=true"), Arc::clone(&shown), gone.clone());
        let run = move || {
            look(viewer, &shown[at]);
            drop(gone);
        };
        std::thread::Builder::new().stack_size(256 << 10).spawn(run).expect("a thread");
    }
    drop(gone);
    let all_have = |number: u64| shown.iter().all(|one| one.load(Ordering::Relaxed) >= number);
    let wait = |number: u64| {
        let begun = Instant::now();
        while !all_have(number) {
            assert!(begun.elapsed() < SOON, "frame {number} has not come to everybody");
            std::thread::sleep(Duration::from_millis(2));
        }
        begun.elapsed()
    };
    wait(1);
    let before_s = served_s();
    let mut longest = Duration::ZERO;
    for _ in 0..FRAMES {
        scene.frame.at.0 += brimwatch::time::SECOND_NS;
        stage.publish(&scene);
        longest = longest.max(wait(stage.number));
    }
    let each_ms = (served_s() - before_s) * 1e3 / FRAMES as f64;
    println!(
        "{VIEWERS} viewers and one that never reads: a frame is with everybody within {:.0} ms at worst, and costs the \
         server {each_ms:.1} ms of processor time: {:.1} % of one core at a frame a second",
        longest.as_secs_f64() * 1e3,
        each_ms / 10.0
    );
    // Frames leave at most ten times a second.
    assert!(each_ms > 0.0 && each_ms < 100.0, "{each_ms} ms a frame: more than one core at ten frames a second");
    // What did not fit into the buffers between was passed over.
    let mut queued = 0;
    asleep.get_ref().set_read_timeout(Some(Duration::from_secs(1))).expect("a time-out");
    while asleep.read().is_ok_and(|message| !message.is_close()) {
        queued += 1;
    }
    println!("{queued} of {FRAMES} frames lay in buffers for the one that never reads");
    assert!(queued < FRAMES, "the server was never held up: too few frames for this test");
    // None of the others was let go, and all are let go at the end.
    drop(asleep);
    stage.shutdown.take().map(|shutdown| shutdown.send(()));
    assert_eq!(left.recv_timeout(SOON), Err(mpsc::RecvTimeoutError::Disconnected), "somebody was not told");
}

#[test]
fn ten_tabs_of_one_browser_live() {
    let scene = scenes::agree();
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::with(&["--disable-popup-blocking"]);
    browser.screen(1280, 800, 1, false);
    browser.open(&stage.url);
    let open = json!({
        "expression": "window.tabs = [...Array(9)].map(() => window.open(location.href)); tabs.every((tab) => tab !== null)",
        "returnByValue": true,
    });
    assert_eq!(browser.call("Runtime.evaluate", open)["result"]["value"], true);
    browser.wait("tabs.every((tab) => tab.document.body?.dataset.ready === 'yes')");
    for _ in 0..2 {
        stage.publish(&scene);
        let shown =
            format!("[window, ...tabs].every((tab) => tab.document.body.dataset.number === '{}')", stage.number);
        browser.wait(&shown);
    }
    browser.wait("[window, ...tabs].every((tab) => tab.document.body.dataset.state === 'live')");
    assert_eq!(browser.problems(), Vec::<String>::new());
}
