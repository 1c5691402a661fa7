//! Language and units of a reader: chosen on the page, remembered, and what is written so fits every screen.

use super::chromium::Browser;
use super::{FIRST_SCREEN, SIDEWAYS, Stage, pictures, scenes, show};

/// Chooses as a person does, and waits for the page that is written anew.
fn choose(browser: &mut Browser, language: &str, units: &str) {
    for (id, value, sign) in [
        ("language", language, format!("document.documentElement.lang === '{language}'")),
        ("units", units, format!("document.getElementById('units')?.value === '{units}'")),
    ] {
        let pick = format!(
            "(() => {{ document.body.dataset.old = 'yes'; const c = document.getElementById('{id}'); c.value = '{value}'; \
             c.dispatchEvent(new Event('change')); }})()"
        );
        browser.value(&pick);
        browser
            .wait(&format!("document.body?.dataset.old !== 'yes' && document.body?.dataset.ready === 'yes' && {sign}"));
    }
}

#[test]
fn a_reader_chooses_language_and_units_and_every_scene_fits() {
    let pictures = pictures("page");
    let mut stage = Stage::set(scenes::agree());
    let mut browser = Browser::start();
    browser.screen(1280, 800, 1, false);
    browser.open(&stage.url);
    choose(&mut browser, "es", "us_customary");
    for (screen, path, width, height, scale) in [
        ("tablet", "bay/bay-2", 1280, 800, 1),
        ("phone", "bay/bay-2", 390, 844, 2),
        ("far", "bay/bay-2/far", 1920, 1080, 1),
    ] {
        browser.screen(width, height, scale, false);
        browser.open(&format!("{}{path}", stage.url));
        assert_eq!(browser.value("document.documentElement.lang"), "es", "{screen}: the choice is forgotten");
        for (name, scene) in scenes::all() {
            show(&mut stage, &mut browser, &scene);
            browser.picture(&pictures.join(format!("es-{screen}-{name}.png")));
            let place = format!("{screen}, {name}");
            assert_eq!(browser.value(SIDEWAYS), "", "{place}: scrolls sideways");
            if screen == "far" {
                assert_eq!(browser.value(super::far::CUT), "", "{place}: a line is cut");
                let read = browser.value(super::far::MINUTES);
                for one in read.as_array().expect("a list") {
                    assert_eq!(one[2], true, "{place}: {} runs out of its place", one[0]);
                    let minutes = one[1].as_f64().expect("a number");
                    assert!(minutes >= 20.0, "{place}: {} has capitals of {minutes:.1} minutes", one[0]);
                }
            } else {
                assert_eq!(browser.value(FIRST_SCREEN), "", "{place}: not in the first screen");
            }
        }
    }
    browser.screen(1280, 800, 1, false);
    browser.open(&stage.url);
    show(&mut stage, &mut browser, &scenes::agree());
    let said = browser.value("document.body.innerText");
    let said = said.as_str().expect("text");
    // 118.3 kPa are 17.2 psi (NIST SP 811, B.8: 1 psi is 6.894 757 kPa).
    assert!(said.contains("Los tres instrumentos coinciden") && said.contains("17.2 psi"), "{said}");
    choose(&mut browser, "en", "si");
    let cookie = browser.value("document.cookie");
    assert_eq!(cookie, "", "a script can read the choice");
    assert_eq!(browser.problems(), Vec::<String>::new());
}
