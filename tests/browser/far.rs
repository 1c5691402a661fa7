//! The far view, all bays on one page, and what is one tap away from the page of a bay.

use super::chromium::Browser;
use super::{SIDEWAYS, Stage, pictures, scenes, show};

/// Heights of the capitals of what must be read from far off, in minutes of arc at 8 m on a 24-inch screen (16:9, 299 mm
/// high) that the page fills: height = 6.283 x distance x minutes / 21600 (NUREG-0700 Rev. 2, guideline 1.3.1-4), and
/// whether each stands whole inside of the screen.
pub const MINUTES: &str = "(() => {
  const paper = document.createElement('canvas').getContext('2d');
  return [...document.querySelectorAll('.huge')].map((e) => {
    const style = getComputedStyle(e);
    paper.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    const high_mm = paper.measureText('H').actualBoundingBoxAscent / innerHeight * 299;
    const range = document.createRange();
    range.selectNodeContents(e);
    const r = range.getBoundingClientRect();
    const box = (e.closest('section') ?? document.querySelector('main')).getBoundingClientRect();
    const whole = r.left >= 0 && r.right <= box.right + 0.5 && r.bottom <= box.bottom + r.height * 0.15;
    return [e.textContent.trim(), high_mm * 21600 / 6.283 / 8000, whole];
  });
})()";

/// Lines below the figures that are cut, or not there: what agreement does not show is among them.
pub const CUT: &str = "[...document.querySelectorAll('.quarters .near')] \
    .filter((e) => e.clientHeight < 10 || e.scrollHeight > e.clientHeight + 1).map((e) => e.textContent).join('; ')";

#[test]
fn the_far_view_is_read_at_8_m() {
    let pictures = pictures("page");
    let mut stage = Stage::set(scenes::agree());
    let url = format!("{}bay/bay-2/far", stage.url);
    let mut browser = Browser::start();
    for (screen, width, height, dark) in
        [("far", 1920, 1080, false), ("far-dark", 1920, 1080, true), ("far-phone", 390, 844, false)]
    {
        browser.screen(width, height, 1, dark);
        browser.open(&url);
        for (name, scene) in scenes::all() {
            show(&mut stage, &mut browser, &scene);
            browser.picture(&pictures.join(format!("{screen}-{name}.png")));
            let place = format!("{screen}, {name}");
            assert_eq!(browser.value(SIDEWAYS), "", "{place}: scrolls sideways");
            assert_eq!(browser.value("document.getAnimations().length"), 0, "{place}: something moves by itself");
            assert_eq!(browser.value(CUT), "", "{place}: a line is cut");
            let read = browser.value(MINUTES);
            let read = read.as_array().expect("a list");
            assert!([3, 4].contains(&read.len()), "{place}: {read:?}");
            for one in read {
                assert_eq!(one[2], true, "{place}: {} runs out of its place", one[0]);
                let minutes = one[1].as_f64().expect("a number");
                assert!(width < 1000 || minutes >= 20.0, "{place}: {} has capitals of {minutes:.1} minutes", one[0]);
                if place == "far, agree" {
                    println!("capitals of {} at 8 m: {minutes:.1} minutes of arc", one[0]);
                }
            }
        }
    }
    browser.screen(1920, 1080, 1, false);
    browser.open(&url);
    show(&mut stage, &mut browser, &scenes::agree());
    browser.wait("document.getElementById('state').innerText.startsWith('STALE. Nothing new for 3 s')");
    let struck = "getComputedStyle(document.getElementById('far')).textDecorationLine";
    assert_eq!(browser.value(struck), "line-through", "old figures look as new");
    browser.picture(&pictures.join("far-stale.png"));
    assert_eq!(browser.problems(), Vec::<String>::new());
}

#[test]
fn all_bays_stand_on_one_page() {
    let mut stage = Stage::of(scenes::everything_at_once(), &["bay-2", "bay-3"]);
    let mut browser = Browser::start();
    browser.screen(1280, 800, 1, false);
    browser.open(&stage.url);
    stage.publish(&scenes::everything_at_once());
    stage.publish(&scenes::everything_at_once());
    browser.wait("[...document.querySelectorAll('.card')].every((c) => c.dataset.state === 'live')");
    browser.picture(&pictures("page").join("bays.png"));
    let told = browser.value("document.querySelector('.card').innerText");
    let told = told.as_str().expect("text");
    for part in ["Stop: emergency stop or remote valve.", "4 alarms open", "14:29", "176", "DRILL"] {
        assert!(told.contains(part), "{part}: {told}");
    }
    assert_eq!(browser.value(SIDEWAYS), "");
    browser.wait("[...document.querySelectorAll('.card')].every((c) => c.dataset.state === 'stale')");
    browser.press(".card");
    browser.wait("location.pathname === '/bay/bay-2' && document.body?.dataset.ready === 'yes'");
    assert_eq!(browser.problems(), Vec::<String>::new());
}

#[test]
fn the_emergency_card_and_the_account_are_one_tap_away() {
    let mut stage = Stage::set(scenes::disagree());
    let mut browser = Browser::start();
    for (name, width, height, scale) in [("tablet", 1280, 800, 1), ("phone", 390, 844, 2)] {
        browser.screen(width, height, scale, false);
        browser.open(&stage.url);
        show(&mut stage, &mut browser, &scenes::disagree());
        browser.press("#card-open");
        browser.wait("!document.getElementById('card').hidden");
        let told = browser.value("document.getElementById('card').innerText");
        let told = told.as_str().expect("text");
        for part in ["10 steps east", "555 0199", "First aid\nnot filled in"] {
            assert!(told.contains(part), "{name}: {part}: {told}");
        }
        let alarm = "document.querySelector('#alarms .act').getBoundingClientRect()";
        assert_eq!(
            browser.value(&format!("{alarm}.top >= 0 && {alarm}.height > 15")),
            true,
            "{name}: alarm out of view"
        );
        browser.picture(&pictures("page").join(format!("{name}-card.png")));
        browser.press("#card-open");
        browser.wait("document.getElementById('card').hidden");

        browser.value("document.getElementById('tap').scrollIntoView({ block: 'center' }); 0");
        browser.press("#tap");
        browser.wait("document.getElementById('account-tank') !== null");
        let told = browser.value("document.getElementById('accounts').innerText");
        let told = told.as_str().expect("text");
        for part in [
            "gain of the flow meter",
            "All together",
            "What each of them counts in it",
            "k = 2",
            "0000 672A",
            "function 3, address 200, i32 ABCD",
            "0.8 / 2.3 / 14.2",
        ] {
            assert!(told.contains(part), "{name}: {part}: {told}");
        }
        browser.picture(&pictures("page").join(format!("{name}-account.png")));
        assert_eq!(browser.value(SIDEWAYS), "", "{name}: scrolls sideways");
    }
    assert_eq!(browser.problems(), Vec::<String>::new());
}
