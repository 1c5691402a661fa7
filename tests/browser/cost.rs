//! What one frame costs: bytes, drawing on the server, and the browser's main thread with a processor slowed down six times.
//!
//! ```sh
//! cargo test --features peers --test browser cost -- --show-output
//! ```

use super::chromium::Browser;
use super::{Stage, scenes, show};
use brimwatch::page::feed::Published;
use brimwatch::page::reader::Reader;
use brimwatch::page::view::live;
use brimwatch::time::SECOND_NS;
use serde_json::{Value, json};
use std::time::Duration;

/// Frames measured, after as many as warm the page up.
const FRAMES: u32 = 40;
const WARM: u32 = 10;
/// Between two frames: each is drawn before the next one comes, also on a slowed-down processor.
const APART: Duration = Duration::from_millis(250);
/// A processor so many times slower than this one.
const SLOWER: u32 = 6;
/// The most that a frame may cost the main thread there, ms, so that a press is answered at once.
const MOST_MS: f64 = 25.0;
/// The most that drawing one may cost the server, ms of processor time.
const MOST_DRAWN_MS: f64 = 1.0;

/// The next second: every figure is another one.
fn next(scene: &mut Published, n: u32) {
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
    for pressure in frame.pad.pressure_pa_gauge.iter_mut() {
        *pressure += 120.0;
    }
    scene.past = std::sync::Arc::new({
        let mut past = (*scene.past).clone();
        past.take(&scene.frame);
        past
    });
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

/// Main thread for each frame, ms: all of it, and of that script, style, layout. Between the two looks at the counters the
/// test asks the page nothing.
fn on_the_main_thread(browser: &mut Browser, stage: &mut Stage, scene: &Published) -> [f64; 4] {
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
    let before = counted(browser);
    push(FRAMES);
    let after = counted(browser);
    assert_eq!(browser.value("window.frames_seen"), FRAMES, "frames were skipped: the figure is of fewer");
    let spent: Vec<f64> = after.iter().zip(before).map(|(after, before)| after - before).collect();
    assert!(spent[5] >= f64::from(FRAMES), "drawn only {} times", spent[5]);
    [spent[0], spent[1], spent[2], spent[3]].map(|s| s * 1e3 / f64::from(FRAMES))
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
        let _: Value = browser.value(folds);
        browser.call("Emulation.setCPUThrottlingRate", json!({ "rate": SLOWER }));
        let [all, script, style, layout] = on_the_main_thread(&mut browser, &mut stage, &scene);
        println!(
            "{name}: {all:.1} ms of the main thread a frame at {SLOWER} times slow-down \
             (script {script:.1}, style {style:.1}, layout {layout:.1}), {FRAMES} frames"
        );
        assert!(all <= MOST_MS, "{name}: {all:.1} ms a frame");
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
        let mut most = 0;
        let mut spent_ms = 0.0;
        for n in 0..FRAMES {
            next(&mut scene, n);
            let begun_ms = worked_ms();
            let text = serde_json::to_string(&live(&scene, &reader)).expect("JSON");
            spent_ms += worked_ms() - begun_ms;
            most = most.max(text.len());
        }
        let each_ms = spent_ms / f64::from(FRAMES);
        let build = if cfg!(debug_assertions) { "not optimised" } else { "optimised" };
        println!("a frame, {name}: {most} bytes; drawn and written in {each_ms:.2} ms of processor time ({build})");
        assert!(most < 48 * 1024, "{name}: {most} bytes");
        assert!(cfg!(debug_assertions) || each_ms <= MOST_DRAWN_MS, "{name}: {each_ms:.2} ms");
    }
}
