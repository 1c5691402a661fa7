//! The page over TLS in a browser that takes a self-made certificate: pages, live frames over wss, entries.

use super::{Stage, scenes, show};
use crate::chromium::Browser;
use brimwatch::engine::input::What;
use brimwatch::page::door::Entrance;
use brimwatch::page::tls;
use std::process::Command;

#[test]
fn the_page_lives_over_tls() {
    let folder = tempfile::tempdir().expect("a folder");
    let (certificate, key) = (folder.path().join("page.pem"), folder.path().join("page.key"));
    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"])
        .args(["-subj", "/CN=brimwatch test", "-keyout"])
        .arg(&key)
        .arg("-out")
        .arg(&certificate)
        .output()
        .expect("openssl must be installed (apt-get install openssl)");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let tls = Some(tls::acceptor(&certificate, &key).expect("a sound certificate"));
    let scene = scenes::agree();
    let mut stage = Stage::behind(scene.clone(), Entrance { tls, ..Entrance::default() });
    assert!(stage.url.starts_with("https://"));
    let mut browser = Browser::with(&["--ignore-certificate-errors"]);
    browser.screen(1280, 800, 1, false);
    browser.open(&stage.url);
    show(&mut stage, &mut browser, &scene);
    assert_eq!(browser.value("document.body.dataset.state"), "live", "frames come over wss");
    browser.press("#close");
    browser.press("#yes");
    let request = stage.entry();
    assert_eq!(request.entry.what, What::Closed);
    request.saved.send(Ok(())).expect("the server waits");
    browser.wait("document.getElementById('answer').textContent === 'Saved.'");
    assert_eq!(browser.problems(), Vec::<String>::new());
}
