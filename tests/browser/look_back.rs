//! The delivery so far, looked at more closely by pressing buttons alone.

use super::chromium::Browser;
use super::{Stage, pictures, scenes, show};

#[test]
fn the_past_is_zoomed_and_scrolled() {
    let pictures = pictures("page");
    let scene = scenes::agree();
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    let said = "document.querySelector('#past p').textContent";
    for (name, width, height, scale) in [("tablet", 1280, 800, 1), ("phone", 390, 844, 2)] {
        browser.screen(width, height, scale, false);
        browser.open(&stage.url);
        show(&mut stage, &mut browser, &scene);
        browser.value("document.querySelector('#look-back summary').scrollIntoView({ block: 'center' }); 0");
        browser.press("#look-back summary");
        browser.wait(&format!("document.querySelector('#past p') && {said} === '13:40:00 \u{2013} 14:09:32'"));
        browser.value("document.getElementById('look-back').scrollIntoView(); 0");
        browser.picture(&pictures.join(format!("{name}-look-back.png")));
        let disabled = |browser: &mut Browser, way: &str| {
            browser.value(&format!("document.querySelector('[data-way={way}]').disabled"))
        };
        for way in ["earlier", "later", "wider"] {
            assert_eq!(disabled(&mut browser, way), true, "{name}: {way} leads nowhere");
        }
        browser.press("[data-way=closer]");
        browser.wait(&format!("{said} === '13:47:23 \u{2013} 14:02:09'"));
        browser.press("[data-way=later]");
        browser.wait(&format!("{said} === '13:54:46 \u{2013} 14:09:32'"));
        assert_eq!(disabled(&mut browser, "later"), true);
        assert_eq!(disabled(&mut browser, "earlier"), false);
        let picture = "[...document.querySelectorAll('#past .picture')].filter((p) => p.clientHeight > 300).length";
        assert_eq!(browser.value(picture), 1, "{name}: one picture, for this width");
        let told = browser.value("document.getElementById('past').innerText");
        let told = told.as_str().expect("text");
        for part in ["14:00:00 reading unlikely", "by scale", "kPa gauge"] {
            assert!(told.contains(part), "{name}: {part}: {told}");
        }
        browser.picture(&pictures.join(format!("{name}-look-back-closer.png")));
        browser.press("[data-way=whole]");
        browser.wait(&format!("{said} === '13:40:00 \u{2013} 14:09:32'"));
    }
    assert_eq!(browser.problems(), Vec::<String>::new());
}
