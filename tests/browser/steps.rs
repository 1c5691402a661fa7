//! Steps of a delivery on the page: the next one first, what forbids it, and who signs.

use super::{SIDEWAYS, Stage, pictures, scenes, show};
use crate::chromium::Browser;
use brimwatch::engine::blow::{Blow, BlowState};
use brimwatch::engine::delivery::Refusal;
use brimwatch::engine::frame::Phase;
use brimwatch::engine::input::What;
use brimwatch::engine::steps::{NoStep, Right, Side, Stands};
use brimwatch::page::feed::NotTaken;
use brimwatch::time::{EngineTime, SECOND_NS};

#[test]
fn the_next_step_is_shown_and_signed() {
    let scene = scenes::stepping();
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    let pictures = pictures("page");
    for (name, width, height) in [("phone", 390, 844), ("tablet", 1024, 768)] {
        browser.screen(width, height, 1, false);
        browser.open(&stage.url);
        show(&mut stage, &mut browser, &scene);
        browser.press("#walk > summary");
        browser.wait("document.getElementById('walk').open");
        browser.picture(&pictures.join(format!("{name}-steps.png")));
        assert_eq!(browser.value(SIDEWAYS), "", "{name}: scrolls sideways");
        let targets = "[...document.querySelectorAll('#walk :is(summary, button, input, select)')] \
                       .filter((e) => e.offsetParent).every((e) => e.offsetHeight >= 48 && e.offsetWidth >= 48)";
        assert_eq!(browser.value(targets), true, "{name}: too small for a glove");
        let text = browser.value("document.getElementById('walk').innerText");
        let text = text.as_str().expect("text");
        for part in [
            "Next step 3 of 4",
            "Hold point",
            "looked at from a distance",
            "Not now: the pad is",
            "D. Haul",
            "Local codes",
        ] {
            assert!(text.contains(part), "{name}: {part}: {text}");
        }
        assert!(!text.contains("Bonding cable"), "{name}: what is signed is folded: {text}");
    }
    let hidden = |id: &str| format!("document.getElementById('{id}').hidden");
    assert_eq!(browser.value(&hidden("step-by-driver")), true, "the driver has signed");
    browser.value("document.getElementById('step-note').value = 'hose gauge stands at 12 psi'; 0");
    browser.value("document.getElementById('step-form').scrollIntoView({ block: 'center' }); 0");
    browser.press("#step-form button[value=site]");
    let request = stage.entry();
    let what = What::StepSigned {
        step: "leak_check".into(),
        side: Side::Site,
        name: "bay screen".into(),
        right: Right::Engineer,
        note: "hose gauge stands at 12 psi".into(),
    };
    assert_eq!(request.entry.what, what);
    request.saved.send(Err(NotTaken::Refused(Refusal::NoStep(NoStep::Forbidden)))).expect("the server waits");
    browser.wait("document.getElementById('answer').textContent.includes('forbids it')");
}

/// While liquid moves the fold is shut, and a press that was meant for a step that is done signs no other.
#[test]
fn a_fold_shuts_and_a_late_press_signs_nothing() {
    let mut scene = scenes::stepping();
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    browser.screen(1024, 768, 1, false);
    browser.open(&stage.url);
    show(&mut stage, &mut browser, &scene);
    browser.press("#walk > summary");
    browser.wait("document.getElementById('walk').open");
    scene.frame.steps[2].stands = Stands::Signed;
    let after =
        brimwatch::engine::steps::StepState { step: 3, stands: Stands::Open, signatures: vec![], against: vec![] };
    scene.frame.steps.push(after);
    stage.publish(&scene);
    browser.wait("document.getElementById('step-id').value === 'full_pad'");
    browser.value("document.querySelector('#step-form button[value=site]').click(); 0");
    std::thread::sleep(std::time::Duration::from_millis(300));
    assert!(stage.entries.try_recv().is_err(), "signed what nobody had read");
    scene.frame.phase = brimwatch::engine::frame::Phase::Transfer;
    stage.publish(&scene);
    browser.wait("!document.getElementById('walk').open");
    let held = scenes::held();
    assert_eq!(browser.value("document.getElementById('delivery').open"), false);
    stage.publish(&held);
    browser.wait("document.getElementById('delivery').open");
}

/// Blowing clear is entered where the gas is said: begins, then has ended; what the bay refuses is said in words.
#[test]
fn blowing_clear_is_entered() {
    let mut scene = scenes::stepping();
    scene.frame.phase = Phase::Transfer;
    let at = |s: u64| EngineTime(s * SECOND_NS);
    scene.frame.blow = Some(BlowState {
        gas_kg_per_s: Some(0.375),
        most_kg_per_s: Some(1.25),
        vent_kg_per_s: Some(0.25),
        tank_pa_gauge: Some(15e3),
        limit_pa_gauge: Some(7e3),
        to_limit_s: Some(4.5),
        blows: Vec::new(),
    });
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    let pictures = pictures("page");
    browser.screen(390, 844, 1, false);
    browser.open(&stage.url);
    show(&mut stage, &mut browser, &scene);
    browser.press("#walk > summary");
    browser.wait("document.getElementById('walk').open");
    let shown = |browser: &mut Browser, begin: bool| {
        for (id, shown) in [("blow-begin", begin), ("blow-end", !begin)] {
            browser.wait(&format!("(document.getElementById('{id}').offsetParent !== null) === {shown}"));
        }
    };
    shown(&mut browser, true);
    browser.value("document.getElementById('blow').scrollIntoView({ block: 'center' }); 0");
    browser.picture(&pictures.join("phone-blow.png"));
    assert_eq!(browser.value(SIDEWAYS), "");
    let text = browser.value("document.getElementById('blow').innerText");
    assert!(text.as_str().expect("text").contains("vent"), "{text}");
    browser.value("document.getElementById('blow-form').scrollIntoView({ block: 'center' }); 0");
    browser.press("#blow-begin");
    let request = stage.entry();
    assert_eq!(request.entry.what, What::BlowBegan);
    request.saved.send(Ok(())).expect("the server waits");
    browser.wait("document.getElementById('answer').textContent === 'Saved.'");
    if let Some(blow) = &mut scene.frame.blow {
        blow.blows.push(Blow { began: at(1), ended: None });
    }
    show(&mut stage, &mut browser, &scene);
    shown(&mut browser, false);
    browser.value("document.getElementById('blow-form').scrollIntoView({ block: 'center' }); 0");
    browser.press("#blow-end");
    let request = stage.entry();
    assert_eq!(request.entry.what, What::BlowEnded);
    request.saved.send(Err(NotTaken::Refused(Refusal::NotBlowing))).expect("the server waits");
    browser.wait("document.getElementById('answer').textContent.includes('nobody has entered')");
}
