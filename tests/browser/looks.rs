//! What a browser may ask for: its own colours, more contrast, less motion, paper.

use super::chromium::Browser;
use super::{FIRST_SCREEN, SIDEWAYS, Stage, pictures, scenes, show};
use serde_json::json;

#[test]
fn every_look_shows_the_same() {
    let pictures = pictures("page");
    let scene = scenes::everything_at_once();
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    browser.screen(1280, 800, 1, false);
    browser.open(&stage.url);
    for (feature, value) in
        [("forced-colors", "active"), ("prefers-contrast", "more"), ("prefers-reduced-motion", "reduce")]
    {
        browser.call("Emulation.setEmulatedMedia", json!({ "features": [{ "name": feature, "value": value }] }));
        show(&mut stage, &mut browser, &scene);
        browser.picture(&pictures.join(format!("look-{feature}.png")));
        assert_eq!(browser.value(FIRST_SCREEN), "", "{feature}: not in the first screen");
        assert_eq!(browser.value(SIDEWAYS), "", "{feature}: scrolls sideways");
        assert_eq!(browser.value("document.getAnimations().length"), 0, "{feature}: something moves by itself");
    }
    browser.call("Emulation.setEmulatedMedia", json!({ "features": [] }));
    // The choice stays in this browser.
    browser.value("document.getElementById('look').scrollIntoView(); 0");
    browser.value(
        "(() => { const l = document.getElementById('look'); l.value = 'sun'; l.dispatchEvent(new Event('change')); })()",
    );
    browser.open(&stage.url);
    show(&mut stage, &mut browser, &scene);
    assert_eq!(browser.value("getComputedStyle(document.body).backgroundColor"), "rgb(255, 255, 255)");
    browser.picture(&pictures.join("look-sun.png"));
    assert_eq!(browser.value(FIRST_SCREEN), "", "bright sun: not in the first screen");

    // On paper nothing is cut off: no box of the page scrolls.
    browser.call("Emulation.setEmulatedMedia", json!({ "media": "print", "features": [] }));
    let cut = "[...document.querySelectorAll('body, main, #alarms')].filter((e) => e.scrollHeight > e.clientHeight + 1 \
               && getComputedStyle(e).overflowY !== 'visible').map((e) => e.id || e.tagName).join()";
    assert_eq!(browser.value(cut), "", "cut off on paper");
    let paper = browser.call("Page.printToPDF", json!({ "paperWidth": 8.27, "paperHeight": 11.69 }));
    assert!(paper["data"].as_str().is_some_and(|pdf| pdf.len() > 10_000), "an empty paper");
    assert_eq!(browser.problems(), Vec::<String>::new());
}
