//! What a keyboard does alone, and alarms set aside and taken back by the page's own buttons.

use super::chromium::Browser;
use super::{Stage, scenes, show};
use brimwatch::engine::frame::{Priority, Shelf};
use brimwatch::engine::input::{AlarmId, AlarmKey, What};
use brimwatch::time::{EngineTime, SECOND_NS};
use serde_json::json;

/// One that may be set aside.
const TROUBLE: AlarmKey = AlarmKey { id: AlarmId::RecorderTrouble, subject: 0 };

fn key(browser: &mut Browser, name: &str, code: u32) {
    for kind in ["keyDown", "keyUp"] {
        // Enter presses a button by the character that comes with it.
        let text = if name == "Enter" && kind == "keyDown" { "\r" } else { "" };
        let event = json!({ "type": kind, "key": name, "code": name, "windowsVirtualKeyCode": code, "text": text });
        browser.call("Input.dispatchKeyEvent", event);
    }
}

/// Goes on by the Tab key until that is reached; every stop on the way can be seen to be one.
fn tab_to(browser: &mut Browser, selector: &str) {
    for _ in 0..80 {
        key(browser, "Tab", 9);
        let stop = "(() => { const e = document.activeElement; const r = e.getBoundingClientRect(); const s = getComputedStyle(e); \
             const seen = r.width > 0 && r.bottom > 0 && r.top < innerHeight && r.right > 0 && r.left < innerWidth; \
             const ringed = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2; \
             return e === document.body || (seen && ringed) ? '' : `${e.tagName} ${e.id} ${e.textContent.slice(0, 20)}: ` \
             + `seen ${seen}, ${s.outlineStyle} ${s.outlineWidth}`; })()";
        assert_eq!(browser.value(stop), "", "where the keyboard is cannot be seen");
        if browser.value(&format!("document.activeElement.matches({selector:?})")) == true {
            return;
        }
    }
    panic!("the keyboard does not reach {selector}");
}

fn saved(stage: &mut Stage, browser: &mut Browser) -> What {
    let request = stage.entry();
    request.saved.send(Ok(())).expect("the server waits");
    browser.wait("document.getElementById('answer').textContent === 'Saved.'");
    request.entry.what
}

#[test]
fn a_keyboard_alone_does_all_that_a_hand_does() {
    let scene = scenes::disagree();
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    for (width, height) in [(1280, 800), (390, 844)] {
        browser.screen(width, height, 1, false);
        browser.open(&stage.url);
        show(&mut stage, &mut browser, &scene);
        tab_to(&mut browser, "#alarms button");
        key(&mut browser, "Enter", 13);
        let seen = saved(&mut stage, &mut browser);
        assert!(matches!(seen, What::Seen(key) if key.id == AlarmId::WitnessesDisagree), "{seen:?}");
        tab_to(&mut browser, "#close");
        key(&mut browser, "Enter", 13);
        tab_to(&mut browser, "#yes");
        key(&mut browser, "Enter", 13);
        assert_eq!(saved(&mut stage, &mut browser), What::Closed);
        // Folds open by it too.
        tab_to(&mut browser, "summary");
        let open = "document.activeElement.parentElement.open";
        let before = browser.value(open);
        key(&mut browser, "Enter", 13);
        assert_ne!(browser.value(open), before);
    }
    assert_eq!(browser.problems(), Vec::<String>::new());
}

#[test]
fn an_alarm_is_set_aside_and_taken_back() {
    let mut scene = scenes::agree();
    scene.frame.alarms = vec![scenes::alarm(TROUBLE.id, TROUBLE.subject, Priority::Low)];
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    browser.screen(390, 844, 1, false);
    browser.open(&stage.url);
    show(&mut stage, &mut browser, &scene);
    browser.value("document.getElementById('set-aside').closest('details').open = true; 0");
    browser.wait("document.querySelectorAll('#aside-alarm option').length === 2");
    browser.value(
        "(() => { const alarm = document.getElementById('aside-alarm'); alarm.value = alarm.options[1].value; \
         document.getElementById('aside-minutes').value = 10; \
         document.getElementById('set-aside').scrollIntoView({ block: 'center' }); return 0; })()",
    );
    browser.press("#set-aside button[value=shelved]");
    assert_eq!(saved(&mut stage, &mut browser), What::Shelved { key: TROUBLE, for_s: 600.0 });

    scene.frame.alarms.clear();
    scene.frame.shelves = vec![Shelf { key: TROUBLE, until: EngineTime(scene.frame.at.0 + 600 * SECOND_NS) }];
    show(&mut stage, &mut browser, &scene);
    browser.wait("document.querySelector('#aside button[data-entry]') !== null");
    browser.value("document.querySelector('#aside button').scrollIntoView({ block: 'center' }); 0");
    browser.press("#aside button[data-entry]");
    assert_eq!(saved(&mut stage, &mut browser), What::Unshelved(TROUBLE));
    assert_eq!(browser.problems(), Vec::<String>::new());
}
