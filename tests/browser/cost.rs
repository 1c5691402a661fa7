//! What one frame costs: bytes, drawing on the server, and the browser's main thread with a processor slowed down six times.
//!
//! ```sh
//! cargo test --features peers --test browser cost -- --show-output
//! ```

use super::chromium::Browser;
use super::{Stage, scenes, show};
use brimwatch::page::changes::changes;
use brimwatch::page::feed::Published;
use brimwatch::page::reader::Reader;
use brimwatch::page::view::{bay_page, live};
use brimwatch::picture::Size;
use brimwatch::time::SECOND_NS;
use serde_json::json;
use std::io::{self, Write as _};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::time::Duration;
use tungstenite::{Message, WebSocket};

/// Frames measured, after some that warm the page up, in batches: what else the machine does only ever adds, in bursts, so the
/// least of the batches is nearest to what the page itself costs.
const BATCHES: u32 = 8;
const BATCH: u32 = 5;
/// Frames that are drawn on the server.
const FRAMES: u32 = BATCHES * BATCH;
const WARM: u32 = 10;
/// Between two frames: each is drawn before the next one comes, also on a slowed-down processor.
const APART: Duration = Duration::from_millis(250);
/// A processor so many times slower than this one.
const SLOWER: u32 = 6;
/// The goal for a frame there, ms of the main thread: a press is answered at once.
const GOAL_MS: f64 = 25.0;
/// A frame costs less of it than the middle of the page put there anew, measured in the same run: what else the machine does is
/// in both.
const OF_ALL_ANEW: f64 = 1.0;
/// Drawing a frame and writing it as JSON takes the server no more than twice what drawing the page of the bay does, in the
/// same run: it is the page's regions, and nothing beyond their number.
const OF_THE_PAGE: f64 = 2.0;
/// Batches that are looked at in all, to have [`BATCHES`] in which each frame was drawn by itself: a machine that stands
/// still for a moment has two of them drawn together.
const TRIES: u32 = 4 * BATCHES;

/// The next second: every figure is another one.
pub fn next(scene: &mut Published, n: u32) {
    let frame = &mut scene.frame;
    frame.at.0 += SECOND_NS;
    for witness in &mut frame.witnesses {
        if let Some(mass) = &mut witness.received_kg {
            mass.value += 4.7 + f64::from(n % 3);
        }
    }
    if let Some(together) = &mut frame.together {
        together.received_kg.value += 4.7;
    }
    if let Some(pressure) = &mut frame.pad.pressure_pa_gauge {
        *pressure += 120.0;
    }
    Arc::make_mut(&mut scene.past).take(&scene.frame);
}

/// Chromium's own counters: its thread's time in s, and how often it styled and laid out.
fn counted(browser: &mut Browser) -> [f64; 6] {
    let metrics = browser.call("Performance.getMetrics", json!({}));
    let all = metrics["metrics"].as_array().cloned().unwrap_or_default();
    ["TaskDuration", "ScriptDuration", "RecalcStyleDuration", "LayoutDuration", "RecalcStyleCount", "LayoutCount"].map(
        |name| {
            let found = all.iter().find(|metric| metric["name"] == name).and_then(|metric| metric["value"].as_f64());
            found.unwrap_or_else(|| panic!("the browser does not count {name}"))
        },
    )
}

/// Main thread for each frame, ms: all of it, and of that script, style, layout, by batches from the least. Between two looks
/// at the counters the test asks the page nothing. `push` sends one; `drawn`: the page counts in `window.frames_seen` those that
/// it has taken, and draws each.
fn on_the_main_thread(browser: &mut Browser, drawn: bool, mut push: impl FnMut(u32)) -> Vec<[f64; 4]> {
    let mut push = |frames: u32| {
        for n in 0..frames {
            push(n);
            std::thread::sleep(APART);
        }
    };
    push(WARM);
    let mut batches: Vec<[f64; 4]> = Vec::new();
    for _ in 0..TRIES {
        let seen = browser.value("window.frames_seen = 0");
        assert_eq!(seen, 0);
        let before = counted(browser);
        push(BATCH);
        let after = counted(browser);
        let painted = !drawn || after[5] - before[5] >= f64::from(BATCH);
        if painted && browser.value("window.frames_seen") == BATCH {
            batches.push([0, 1, 2, 3].map(|i| (after[i] - before[i]) * 1e3 / f64::from(BATCH)));
        }
        if batches.len() == BATCHES as usize {
            break;
        }
    }
    assert_eq!(batches.len(), BATCHES as usize, "frames were skipped: the figure would be of fewer");
    batches.sort_by(|a, b| a[0].total_cmp(&b[0]));
    batches
}

/// The same of the page that is open.
fn of_the_page(browser: &mut Browser, stage: &mut Stage, scene: &Published) -> Vec<[f64; 4]> {
    browser.value(
        "window.frames_seen = 0; new MutationObserver(() => { window.frames_seen += 1; }) \
         .observe(document.body, { attributeFilter: ['data-number'] }); 0",
    );
    let mut scene = scene.clone();
    on_the_main_thread(browser, true, |n| {
        next(&mut scene, n);
        stage.publish(&scene);
    })
}

/// What a frame can be held against in the same run: a message that changes nothing, one that changes one text, and three
/// curves of 400 columns each put anew (13.9 kB), all on a page that has nothing else.
const PEERS: [&str; 3] = ["a message that changes nothing", "one text", "three curves of 400 columns put anew"];

/// What the peer is sent at that frame.
fn peer_text(peer: usize, n: u32) -> String {
    let column = |k: u32, c: u32| {
        let high = 5 + (7 * c + 3 * n + k) % 11;
        format!("l20-{}v{high}v-{}", (c + n) % 4, high + 1)
    };
    let curve = |k: u32| (0..400).fold("M400 1000".to_owned(), |path, c| path + &column(k, c));
    match peer {
        0 => String::new(),
        1 => json!([n]).to_string(),
        _ => json!([n, curve(0), curve(1), curve(2)]).to_string(),
    }
}

/// What the peers are shown on.
const PEER_PAGE: &str = "<!doctype html><body><p>0</p><svg width=860 height=236 viewBox='0 0 8600 2360' fill=none stroke=navy \
     stroke-width=20><path /><path /><path /></svg><script>\
     const [text, paths] = [document.querySelector('p').firstChild, document.querySelectorAll('path')];\
     const socket = new WebSocket(`ws://${location.host}/live`); socket.onmessage = (message) => { socket.send('');\
     window.frames_seen += 1; if (message.data === '') return; const [n, ...curves] = JSON.parse(message.data);\
     text.data = String(n); curves.forEach((d, i) => paths[i].setAttribute('d', d)); };</script>";

/// Serves that page until its live connection comes.
fn serve_peer(listener: &TcpListener) -> WebSocket<TcpStream> {
    for mut stream in listener.incoming().map_while(Result::ok) {
        let mut head = [0; 9];
        let _ = stream.peek(&mut head);
        if head == *b"GET /live" {
            return tungstenite::accept(stream).expect("it speaks WebSocket");
        }
        let kind = "Content-Type: text/html\r\nConnection: close";
        let length = PEER_PAGE.len();
        let _ = write!(stream, "HTTP/1.1 200 OK\r\n{kind}\r\nContent-Length: {length}\r\n\r\n{PEER_PAGE}");
        // What it asks with is read before the connection is closed: it would else be reset.
        let _ = stream.shutdown(Shutdown::Write).and_then(|()| io::copy(&mut stream, &mut io::sink()));
    }
    panic!("the page never came");
}

/// Least batch of each peer.
fn of_peers(browser: &mut Browser) -> [[f64; 4]; 3] {
    [0, 1, 2].map(|peer| {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let url = format!("http://{}/", listener.local_addr().expect("its address"));
        let server = std::thread::spawn(move || serve_peer(&listener));
        browser.call("Page.navigate", json!({ "url": url }));
        let mut socket = server.join().expect("the page comes");
        let mut sent = 0;
        let batches = on_the_main_thread(browser, peer > 0, |_| {
            sent += 1;
            socket.send(Message::text(peer_text(peer, sent))).expect("the page listens");
        });
        batches[0]
    })
}

/// Main thread for the middle of the page put there anew and painted, ms. Nothing is left of its listeners afterwards.
fn all_anew(browser: &mut Browser) -> f64 {
    let before = counted(browser);
    browser.value(
        &"(async () => { const all = document.querySelector('main'); const painted = () => new Promise((done) => \
         requestAnimationFrame(() => setTimeout(done))); for (let n = 0; n < TIMES; n += 1) { const text = all.innerHTML; \
         all.innerHTML = ''; all.innerHTML = text; await painted(); } return 0; })()"
            .replace("TIMES", &BATCH.to_string()),
    );
    let after = counted(browser);
    (after[0] - before[0]) * 1e3 / f64::from(BATCH)
}

#[test]
fn a_frame_costs_the_browser_little() {
    let mut browser = Browser::start();
    browser.call("Performance.enable", json!({ "timeDomain": "threadTicks" }));
    browser.screen(1280, 800, 1, false);
    browser.call("Emulation.setCPUThrottlingRate", json!({ "rate": SLOWER }));
    let peers = of_peers(&mut browser);
    for (name, [all, script, style, layout]) in PEERS.iter().zip(peers) {
        println!("{name}: {all:.1} ms (script {script:.1}, style {style:.1}, layout {layout:.1})");
    }
    let open = "document.querySelectorAll('details').forEach((d) => { d.open = true; }); 0";
    for (name, scene, width, height, folds) in [
        ("tablet", scenes::agree(), 1280, 800, "0"),
        ("tablet, four alarms", scenes::everything_at_once(), 1280, 800, "0"),
        ("tablet, every fold open", scenes::everything_at_once(), 1280, 800, open),
        ("phone", scenes::agree(), 390, 844, "0"),
    ] {
        let mut stage = Stage::set(scene.clone());
        browser.call("Emulation.setCPUThrottlingRate", json!({ "rate": 1 }));
        browser.screen(width, height, 1, false);
        browser.open(&stage.url);
        show(&mut stage, &mut browser, &scene);
        browser.value(folds);
        browser.call("Emulation.setCPUThrottlingRate", json!({ "rate": SLOWER }));
        let batches = of_the_page(&mut browser, &mut stage, &scene);
        let [all, script, style, layout] = batches[0];
        let met = if all <= GOAL_MS { "met" } else { "not met" };
        println!(
            "{name}: {all:.1} ms of the main thread a frame at {SLOWER} times slow-down (script {script:.1}, style {style:.1}, \
             layout {layout:.1}), goal {GOAL_MS}: {met}; {BATCHES} batches of {BATCH}: least, middle, most {:.1}, {:.1}, {:.1}",
            all,
            batches[batches.len() / 2][0],
            batches[batches.len() - 1][0]
        );
        println!("{name}: {:.2} of one text, {:.2} of the three curves", all / peers[1][0], all / peers[2][0]);
        let anew = (0..BATCHES).map(|_| all_anew(&mut browser)).fold(f64::INFINITY, f64::min);
        println!("{name}: the middle of the page put there anew: {anew:.1} ms; a frame is {:.2} of it", all / anew);
        assert!(all <= OF_ALL_ANEW * anew, "{name}: {all:.1} ms a frame, {anew:.1} ms for all of it");
    }
}

#[test]
fn a_frame_is_short_and_soon_drawn() {
    let reader = Reader::here();
    // What the thread itself worked, however busy the machine is.
    let worked_ms = || {
        let at = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
        at.tv_sec as f64 * 1e3 + at.tv_nsec as f64 / 1e6
    };
    for (name, mut scene) in [("nothing open", scenes::agree()), ("four alarms open", scenes::everything_at_once())] {
        let (mut most, mut spent_ms, mut page_ms) = (0, 0.0, 0.0);
        let (mut before, mut new) = (serde_json::Value::Null, Vec::new());
        for n in 0..FRAMES {
            next(&mut scene, n);
            let begun_ms = worked_ms();
            let frame = serde_json::to_value(live(&scene, &reader, Size::Wide)).expect("JSON");
            let (text, changes) =
                (frame.to_string(), changes(&before, &frame).map(|changes| changes.to_string().len()));
            let drawn_ms = worked_ms();
            new.extend(changes);
            before = frame;
            let page = bay_page("works", "bay-2", Some(&scene), &reader).into_string();
            assert!(page.len() > text.len() / 2, "a page");
            (spent_ms, page_ms) = (spent_ms + drawn_ms - begun_ms, page_ms + worked_ms() - drawn_ms);
            most = most.max(text.len());
        }
        new.sort_unstable();
        let (each_ms, of_page) = (spent_ms / f64::from(FRAMES), spent_ms / page_ms);
        let build = if cfg!(debug_assertions) { "not optimised" } else { "optimised" };
        println!(
            "a frame, {name}: {most} bytes; what it changes, middle and most: {} and {}; drawn and written in {each_ms:.2} ms of processor time ({build}), {of_page:.2} of \
             the whole page's",
            new[new.len() / 2],
            new[new.len() - 1]
        );
        assert!(of_page <= OF_THE_PAGE, "{name}: {of_page:.2} of what the whole page takes");
        assert!(most < 48 * 1024, "{name}: {most} bytes");
    }
}
