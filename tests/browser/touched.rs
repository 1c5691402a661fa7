//! What a frame changes on the page: after any row of frames every region is what the server wrote, though most of them
//! were brought there by their values and texts alone.

use super::chromium::Browser;
use super::cost::next;
use super::{Stage, scenes, show};
use brimwatch::page::feed::Published;
use brimwatch::page::reader::Reader;
use brimwatch::page::view::live;
use brimwatch::picture::Size;
use serde_json::{Value, json};

/// Names of the regions that are not what a browser makes of the text that the server wrote, with both; every fold is open.
fn unlike(browser: &mut Browser, scene: &Published) -> Value {
    let regions = live(scene, &Reader::here(), Size::Wide).regions;
    let regions = serde_json::to_string(&regions).expect("JSON");
    browser.value(&format!(
        "(async () => {{ const shut = document.querySelectorAll('details:not([open])'); \
         const told = [...shut].map((fold) => new Promise((done) => fold.addEventListener('toggle', done))); \
         shut.forEach((fold) => {{ fold.open = true; }}); await Promise.all(told); \
         const made = document.createElement('template'); return Object.entries({regions}).filter(([id, html]) => {{ \
         made.innerHTML = html; const node = document.getElementById(id); \
         return node !== null && node.innerHTML !== made.innerHTML; }}).map(([id, html]) => [id, html, \
         document.getElementById(id).innerHTML]); }})()"
    ))
}

/// Counts the texts that are parsed by the page's own script, not by the test.
const COUNT: &str = "(() => { window.parsed = 0; const make = document.createElement.bind(document); \
     document.createElement = (name) => { if (name === 'template') window.parsed += 1; return make(name); }; return 0; })()";

fn opened(stage: &mut Stage, browser: &mut Browser, scene: &Published) {
    browser.screen(1280, 800, 1, false);
    browser.open(&stage.url);
    show(stage, browser, scene);
    browser.value("document.querySelectorAll('details').forEach((d) => { d.open = true; }); 0");
    show(stage, browser, scene);
}

#[test]
fn a_frame_leaves_what_the_server_wrote() {
    let mut browser = Browser::start();
    let mut stage = Stage::set(scenes::agree());
    opened(&mut stage, &mut browser, &scenes::agree());
    browser.value(COUNT);
    let (mut frames, mut regions) = (0, 0);
    // To and fro, so that tags come and go, and a row of seconds of each.
    for (name, scene) in scenes::all().into_iter().chain(scenes::all().into_iter().rev()) {
        let mut scene = scene;
        for n in 0..3 {
            next(&mut scene, n);
            show(&mut stage, &mut browser, &scene);
            let parsed = unlike(&mut browser, &scene);
            assert_eq!(parsed, json!([]), "{name}, second {n}");
            frames += 1;
            regions += live(&scene, &Reader::here(), Size::Wide).regions.len();
        }
    }
    let parsed = browser.value("window.parsed").as_u64().expect("a count");
    // The test itself made one for each frame it looked at.
    let by_page = parsed - frames;
    assert!(by_page > 20 && by_page < regions as u64 / 4, "{by_page} of {regions} regions were parsed");
    assert_eq!(browser.problems(), [] as [String; 0]);
}

/// Lets a page lose one message, though it answers it.
const LOSES: &str = "window.sockets = 0; const Whole = WebSocket; window.WebSocket = class extends Whole { \
     constructor(url) { super(url); window.sockets += 1; } \
     addEventListener(kind, take) { super.addEventListener(kind, kind !== 'message' ? take : (message) => { \
       if (window.lose) { window.lose = false; this.send(''); } else take(message); }); } };";

/// What changes a frame that the page does not have is not put on another one: the page comes anew and is whole.
#[test]
fn a_page_that_missed_a_frame_is_whole_again() {
    let mut browser = Browser::start();
    browser.call("Page.addScriptToEvaluateOnNewDocument", json!({ "source": LOSES }));
    let mut scene = scenes::agree();
    let mut stage = Stage::set(scene.clone());
    opened(&mut stage, &mut browser, &scene);
    assert_eq!(browser.value("window.sockets"), 1);
    browser.value("window.lose = true");
    next(&mut scene, 1);
    stage.publish(&scene);
    browser.wait("window.lose === false");
    // Nothing of the lost one comes again.
    next(&mut scene, 2);
    scene.frame.alarms = scenes::everything_at_once().frame.alarms;
    stage.publish(&scene);
    browser.wait("window.sockets === 2");
    show(&mut stage, &mut browser, &scene);
    assert_eq!(unlike(&mut browser, &scene), json!([]));
    assert_eq!(browser.value("window.sockets"), 2);
    assert_eq!(browser.problems(), [] as [String; 0]);
}

/// A page that somebody else has had a hand in, as a browser's translation has, is put right by the next frame that has
/// something new there; what is escaped arrives as it was meant.
#[test]
fn a_page_that_was_meddled_with_is_put_right() {
    let mut browser = Browser::start();
    let mut scene = scenes::everything_at_once();
    let mut stage = Stage::set(scene.clone());
    opened(&mut stage, &mut browser, &scene);
    let meddle = "(() => { const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT); \
         const all = []; while (walk.nextNode()) all.push(walk.currentNode); \
         for (const text of all) { const font = document.createElement('font'); text.replaceWith(font); font.append(text); } \
         return all.length; })()";
    assert!(browser.value(meddle).as_u64().is_some_and(|count| count > 100));
    next(&mut scene, 1);
    show(&mut stage, &mut browser, &scene);
    let figures = "[...document.querySelectorAll('#masses .value, #valve .figure')].map((e) => e.textContent).join()";
    let meddled = browser.value(figures);
    let mut fresh = Stage::set(scene.clone());
    let mut other = Browser::start();
    opened(&mut fresh, &mut other, &scene);
    assert_eq!(meddled, other.value(figures));

    for name in ["a & b", "\"<b>c</b>\" & 'd'", "a & b", "&amp;amp; &lt;"] {
        scene.settings = std::sync::Arc::new({
            let mut settings = (*scene.settings).clone();
            settings.bay = name.to_owned();
            settings
        });
        next(&mut scene, 1);
        show(&mut fresh, &mut other, &scene);
        assert_eq!(other.value("document.querySelector('#head .bay').textContent"), name);
        assert_eq!(unlike(&mut other, &scene), json!([]), "{name}");
    }
}
