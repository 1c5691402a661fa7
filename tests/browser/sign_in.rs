//! Who is at the page: signed in and out, turned away in words, and told when a sign-in has ended.

use super::{SIDEWAYS, Stage, pictures, scenes};
use crate::chromium::Browser;
use brimwatch::engine::input::What;
use brimwatch::people::{People, Role};
use serde_json::json;

fn there(browser: &mut Browser, stage: &Stage, path: &str) {
    browser.call("Page.navigate", json!({ "url": format!("{}{path}", stage.url) }));
    browser.wait(&format!("location.pathname === '/{path}' && document.readyState === 'complete'"));
}

fn sign_in(browser: &mut Browser, name: &str, password: &str) {
    let type_in = format!(
        "document.getElementById('answer').textContent = ''; document.getElementById('name').value = {name:?}; \
         document.getElementById('password').value = {password:?}; 0"
    );
    browser.value(&type_in);
    browser.press("#in");
}

/// Presses "Closed" on the page of the bay, and yes.
fn close(browser: &mut Browser, stage: &Stage) {
    browser.open(&format!("{}bay/bay-2", stage.url));
    browser.press("#close");
    browser.press("#yes");
}

fn says(browser: &mut Browser, words: &str) {
    browser.wait(&format!("document.getElementById('answer').textContent.includes({words:?})"));
}

#[test]
fn people_sign_in_and_out_and_are_told_why_not() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("people.toml");
    let mut people = People::default();
    for (name, role) in [("L. Ooker", Role::View), ("A. Ttend", Role::Attend)] {
        people.add(name, role, "a long enough one").expect("added");
    }
    people.save(&file).expect("written");
    let mut stage = Stage::with_people(scenes::agree(), file.clone());
    let mut browser = Browser::start();
    browser.screen(390, 844, 2, false);

    close(&mut browser, &stage);
    says(&mut browser, "Not taken: sign in first");
    there(&mut browser, &stage, "sign-in");
    assert_eq!(browser.value(SIDEWAYS), "");
    // Two wrong ones cost nothing; after the third there is a wait, in words.
    for _ in 0..3 {
        sign_in(&mut browser, "A. Ttend", "a wrong one");
        says(&mut browser, "Name or password is wrong");
    }
    sign_in(&mut browser, "A. Ttend", "a long enough one");
    says(&mut browser, "again in");
    browser.picture(&pictures("page").join("phone-sign-in-wait.png"));
    std::thread::sleep(std::time::Duration::from_millis(1100));
    sign_in(&mut browser, "A. Ttend", "a long enough one");
    browser.wait("document.body?.innerText.includes('Signed in: A. Ttend')");
    browser.picture(&pictures("page").join("phone-signed-in.png"));

    close(&mut browser, &stage);
    let request = stage.entry();
    assert_eq!((request.entry.who.as_str(), request.entry.what), ("A. Ttend", What::Closed));
    request.saved.send(Ok(())).expect("the server waits");
    says(&mut browser, "Saved.");

    // A new password ends the sign-in: the next act says so.
    let mut people = People::load(&file).expect("a people file");
    people.set_password("A. Ttend", "another long enough one").expect("changed");
    people.save(&file).expect("written");
    close(&mut browser, &stage);
    says(&mut browser, "your sign-in has ended");

    // Who may only look is told so; once signed out nobody is there.
    there(&mut browser, &stage, "sign-in");
    sign_in(&mut browser, "L. Ooker", "a long enough one");
    browser.wait("document.body?.innerText.includes('Signed in: L. Ooker')");
    close(&mut browser, &stage);
    says(&mut browser, "L. Ooker may look, not make entries");
    there(&mut browser, &stage, "sign-in");
    browser.press("#out");
    browser.wait("document.body?.innerText.includes('Nobody is signed in')");
    close(&mut browser, &stage);
    says(&mut browser, "Not taken: sign in first");
    assert!(stage.entries.try_recv().is_err(), "nothing of this went through");
    // What is refused is answered with a status the browser itself complains of; nothing else may be.
    let problems = browser.problems();
    assert!(problems.iter().all(|p| ["401", "403", "429"].iter().any(|status| p.contains(status))), "{problems:?}");
}
