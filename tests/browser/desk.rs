//! The trainer's desk and the trainee's panel in a browser: DRILL on every page, a drill begun, made to go wrong, stopped
//! by hand and ended by pressing buttons alone.

use super::chromium::Browser;
use super::pictures;
use brimwatch_simulator::desk::Desk;
use brimwatch_simulator::desk::session::Options;
use tokio::net::TcpListener;
use tokio::runtime::Runtime;

fn fits(browser: &mut Browser, place: &str) {
    let fits = "document.documentElement.scrollWidth <= document.documentElement.clientWidth";
    assert_eq!(browser.value(fits), true, "{place}: scrolls sideways");
    let drill = "document.title.startsWith('DRILL') && document.body.innerText.includes('DRILL')";
    assert_eq!(browser.value(drill), true, "{place}: does not say DRILL");
}

#[test]
fn a_drill_is_held_by_its_buttons() {
    let pictures = pictures("desk");
    let folder = tempfile::tempdir().expect("a folder");
    let runtime = Runtime::new().expect("a runtime");
    let listener = runtime.block_on(TcpListener::bind("127.0.0.1:0")).expect("a port");
    let url = format!("http://{}/", listener.local_addr().expect("its address"));
    let desk = Desk::new(Options { site: None, recordings: None, store: folder.path().to_owned(), port: 0, seed: 3 });
    runtime.spawn(desk.serve(listener));
    let mut browser = Browser::start();
    browser.screen(1280, 800, 1, false);
    browser.open(&url);
    fits(&mut browser, "choice");
    browser.picture(&pictures.join("choice.png"));
    browser.value("document.querySelector('[name=speed][value=\"20\"]').click()");
    browser.value("document.querySelector('#begin button').click()");
    browser.wait("document.body?.dataset.state === 'running'");
    fits(&mut browser, "desk");
    browser.value("document.querySelector('[data-fault=\"truck scale: replayed\"]').click()");
    browser.wait("document.getElementById('says').textContent.includes('truck scale: replayed')");
    browser.wait("document.getElementById('line').textContent.includes('lets go wrong: truck scale: replayed')");
    browser.wait(
        "document.querySelector('#truth table') && document.getElementById('truth').textContent.includes('by scale')",
    );
    browser.picture(&pictures.join("desk.png"));
    browser.value("document.querySelector('[data-do=pause]').click()");
    browser.wait("document.body?.dataset.state === 'still'");
    browser.wait("document.getElementById('state').textContent.includes('Stands still')");
    browser.value("document.querySelector('[data-do=go-on]').click()");
    browser.wait("document.body?.dataset.state === 'running'");
    for (name, width, height, scale) in [("tablet", 1024, 768, 1), ("phone", 390, 844, 2)] {
        browser.screen(width, height, scale, false);
        browser.open(&url);
        browser.wait("document.querySelector('#truth table') !== null");
        fits(&mut browser, "desk");
        browser.open(&format!("{url}panel"));
        browser.wait("document.body?.dataset.state === 'running'");
        fits(&mut browser, "panel");
        let told = browser.value("document.body.innerText.includes('replayed')");
        assert_eq!(told, false, "the trainee is told what goes wrong");
        browser.picture(&pictures.join(format!("panel-{name}.png")));
    }
    browser.value("document.querySelector('[data-act=stop]').click()");
    browser.wait("document.getElementById('hands').textContent.includes('PRESSED')");
    browser.screen(1280, 800, 1, true);
    browser.open(&url);
    browser.wait("document.getElementById('line').textContent.includes('presses the emergency stop')");
    browser.picture(&pictures.join("desk-dark.png"));
    browser.value("document.querySelector('[data-do=end]').click()");
    browser.wait("location.pathname.startsWith('/result/')");
    browser.wait("document.body?.innerText?.includes('The monitor spoke')");
    fits(&mut browser, "result");
    browser.picture(&pictures.join("result.png"));
    assert_eq!(browser.problems(), Vec::<String>::new());
}
