//! What one frame costs: bytes, drawing on the server, and the browser's main thread with a processor slowed down six times.
//!
//! ```sh
//! cargo test --features peers --test browser cost -- --show-output
//! ```

use super::chromium::Browser;
use super::{Stage, scenes, show};
use brimwatch::page::feed::Published;
use brimwatch::page::reader::Reader;
use brimwatch::page::view::{bay_page, live};
use brimwatch::picture::Size;
use brimwatch::time::SECOND_NS;
use serde_json::json;
use std::sync::Arc;
use std::time::Duration;

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
/// at the counters the test asks the page nothing.
fn on_the_main_thread(browser: &mut Browser, stage: &mut Stage, scene: &Published) -> Vec<[f64; 4]> {
    let mut scene = scene.clone();
    let mut push = |frames: u32| {
        for n in 0..frames {
            next(&mut scene, n);
            stage.publish(&scene);
            std::thread::sleep(APART);
        }
    };
    push(WARM);
    browser.value(
        "window.frames_seen = 0; new MutationObserver(() => { window.frames_seen += 1; }) \
         .observe(document.body, { attributeFilter: ['data-number'] }); 0",
    );
    let mut batches: Vec<[f64; 4]> = Vec::new();
    for _ in 0..TRIES {
        let seen = browser.value("window.frames_seen = 0");
        assert_eq!(seen, 0);
        let before = counted(browser);
        push(BATCH);
        let after = counted(browser);
        if after[5] - before[5] >= f64::from(BATCH) && browser.value("window.frames_seen") == BATCH {
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
        let batches = on_the_main_thread(&mut browser, &mut stage, &scene);
        let [all, script, style, layout] = batches[0];
        let met = if all <= GOAL_MS { "met" } else { "not met" };
        println!(
            "{name}: {all:.1} ms of the main thread a frame at {SLOWER} times slow-down (script {script:.1}, style {style:.1}, \
             layout {layout:.1}), goal {GOAL_MS}: {met}; {BATCHES} batches of {BATCH}: least, middle, most {:.1}, {:.1}, {:.1}",
            all,
            batches[batches.len() / 2][0],
            batches[batches.len() - 1][0]
        );
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
        for n in 0..FRAMES {
            next(&mut scene, n);
            let begun_ms = worked_ms();
            let text = serde_json::to_string(&live(&scene, &reader, Size::Wide)).expect("JSON");
            let drawn_ms = worked_ms();
            let page = bay_page("works", "bay-2", Some(&scene), &reader).into_string();
            assert!(page.len() > text.len() / 2, "a page");
            (spent_ms, page_ms) = (spent_ms + drawn_ms - begun_ms, page_ms + worked_ms() - drawn_ms);
            most = most.max(text.len());
        }
        let (each_ms, of_page) = (spent_ms / f64::from(FRAMES), spent_ms / page_ms);
        let build = if cfg!(debug_assertions) { "not optimised" } else { "optimised" };
        println!(
            "a frame, {name}: {most} bytes; drawn and written in {each_ms:.2} ms of processor time ({build}), {of_page:.2} of \
             the whole page's"
        );
        assert!(of_page <= OF_THE_PAGE, "{name}: {of_page:.2} of what the whole page takes");
        assert!(most < 48 * 1024, "{name}: {most} bytes");
    }
}
