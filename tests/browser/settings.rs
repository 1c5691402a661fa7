//! The engineer's page of settings before a real watch: signed in, shown what would change, refused, and taken.

use super::chromium::Browser;
use super::pictures;
use brimwatch::config;
use brimwatch::live::{Options, start};
use brimwatch::people::{People, Role};
use std::path::Path;
use tokio::runtime::Runtime;

#[test]
fn an_engineer_sees_what_would_change_and_changes_it() {
    let pictures = pictures("page");
    let folder = tempfile::tempdir().expect("a folder");
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    std::fs::create_dir(folder.path().join("products")).expect("a disk");
    let product = "products/caustic-soda-50.toml";
    std::fs::copy(shipped.join(product), folder.path().join(product)).expect("a disk");
    let text = std::fs::read_to_string(shipped.join("example.toml")).expect("a file");
    let text = text.replacen("[site]\n", "[site]\npeople = \"people.toml\"\nlisten = \"127.0.0.1:0\"\n", 1);
    let site_file = folder.path().join("site.toml");
    std::fs::write(&site_file, text).expect("a disk");
    let mut people = People::default();
    people.add("J. Doe", Role::Engineer, "a long enough one").expect("added");
    people.save(&folder.path().join("people.toml")).expect("written");

    let runtime = Runtime::new().expect("a runtime");
    let site = config::load(&site_file).unwrap_or_else(|faults| panic!("{faults}"));
    let running =
        runtime.block_on(start(Options { site, deliveries: Vec::new(), drill_speed: None })).expect("it starts");
    let url = format!("http://{}", running.page);
    let mut browser = Browser::start();
    let there = |browser: &mut Browser, path: &str| {
        browser.call("Page.navigate", serde_json::json!({ "url": format!("{url}{path}") }));
        browser.wait(&format!("location.pathname === '{path}' && document.readyState === 'complete'"));
    };
    let fits = "document.documentElement.scrollWidth <= document.documentElement.clientWidth";
    let write = |browser: &mut Browser, key: &str, value: &str| {
        let set = format!(
            "(() => {{ const i = [...document.querySelectorAll('input')].find((i) => i.name === {key:?} || i.id === {key:?}); \
             i.value = {value:?}; i.dispatchEvent(new Event('input', {{ bubbles: true }})); }})()"
        );
        browser.value(&set);
    };
    browser.screen(390, 844, 2, false);
    there(&mut browser, "/settings");
    assert_eq!(browser.value("[...document.querySelectorAll('form input')].every((i) => i.disabled)"), true);
    assert_eq!(browser.value(fits), true, "scrolls sideways");
    browser.picture(&pictures.join("settings-phone.png"));

    browser.screen(1280, 800, 1, false);
    there(&mut browser, "/sign-in");
    write(&mut browser, "name", "J. Doe");
    write(&mut browser, "password", "a long enough one");
    browser.press("#in");
    browser.wait("document.readyState === 'complete' && document.body.innerText.includes('Signed in: J. Doe')");
    there(&mut browser, "/settings");
    assert_eq!(browser.value("document.getElementById('apply').disabled"), true, "nothing was shown yet");
    write(&mut browser, "alarms.near_ceiling", "110 %");
    browser.press("#look");
    browser.wait("document.getElementById('answer').textContent.includes('50 to 100 %')");
    assert_eq!(browser.value("document.getElementById('apply').disabled"), true, "it was refused");
    browser.picture(&pictures.join("settings-refused.png"));
    write(&mut browser, "alarms.near_ceiling", "90 %");
    browser.press("#look");
    browser.wait(
        "document.getElementById('changed').textContent === 'alarms.near_ceiling: (not written) \u{2192} \"90 %\"'",
    );
    browser.wait("!document.getElementById('apply').disabled");
    browser.press("#apply");
    browser.wait("document.getElementById('answer').textContent.includes('for what reason')");
    write(&mut browser, "reason", "it called too late");
    browser.picture(&pictures.join("settings-shown.png"));
    browser.press("#apply");
    browser.wait("document.getElementById('answer').textContent.startsWith('Taken by the running watch')");
    browser.picture(&pictures.join("settings-taken.png"));
    there(&mut browser, "/settings");
    let written = "[...document.querySelectorAll('input')].find((i) => i.name === 'alarms.near_ceiling').value";
    assert_eq!(browser.value(written), "90 %");
    // A refusal is answered with a status the browser itself complains of; nothing else may be.
    let problems = browser.problems();
    assert!(problems.iter().all(|p| p.contains("409")), "{problems:?}");
    runtime.block_on(running.stop());
}
