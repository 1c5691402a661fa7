//! The page in a real browser (Debian's chromium). The test publishes the frames itself. Pictures of every
//! scene are left in the target folder for people to look at.

mod axe;
mod chromium;
mod cost;
mod crowd;
mod desk;
mod far;
mod guide;
mod hands;
mod look_back;
mod looks;
mod papers;
mod readers;
mod scenes;
mod settings;
mod sign_in;
mod slow;
mod steps;
mod tls;
mod touched;

use brimwatch::engine::checks::CheckId;
use brimwatch::engine::frame::Priority;
use brimwatch::engine::input::{AlarmId, What};
use brimwatch::page::door::Entrance;
use brimwatch::page::feed::{BayFeed, EntryRequest, NotTaken, PapersDoor, Published, SettingsDoor};
use brimwatch::page::reader::Reader;
use brimwatch::page::server::{Served, serve};
use chromium::Browser;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::runtime::Runtime;
use tokio::sync::{mpsc, oneshot, watch};

/// A served bay whose frames the test publishes.
struct Stage {
    url: String,
    latest: watch::Sender<Option<Arc<Published>>>,
    entries: mpsc::Receiver<EntryRequest>,
    shutdown: Option<oneshot::Sender<()>>,
    number: u64,
    runtime: Runtime,
}

impl Stage {
    fn set(first: Published) -> Stage {
        Stage::of(first, &["bay-2"])
    }

    /// Several bays that all show the same.
    fn of(first: Published, slugs: &[&str]) -> Stage {
        Stage::at(first, slugs, Entrance::default(), None)
    }

    /// One bay that is reached by that way.
    fn behind(first: Published, entrance: Entrance) -> Stage {
        Stage::at(first, &["bay-2"], entrance, None)
    }

    /// One bay of a site that names its people.
    fn with_people(first: Published, people: PathBuf) -> Stage {
        Stage::at(first, &["bay-2"], Entrance::default(), Some(people))
    }

    fn at(first: Published, slugs: &[&str], entrance: Entrance, people: Option<PathBuf>) -> Stage {
        let runtime = Runtime::new().expect("a runtime");
        let listener = runtime.block_on(TcpListener::bind("127.0.0.1:0")).expect("a port");
        let scheme = if entrance.tls.is_some() { "https" } else { "http" };
        let url = format!("{scheme}://{}/", listener.local_addr().expect("its address"));
        let (latest, watched) = watch::channel(Some(Arc::new(first)));
        let (send, entries) = mpsc::channel(4);
        let bay = |slug: &&str| BayFeed {
            slug: (*slug).to_owned(),
            latest: watched.clone(),
            entries: send.clone(),
            work: Arc::default(),
        };
        let bays = slugs.iter().map(bay).collect();
        let (shutdown, stopped) = oneshot::channel::<()>();
        // Nobody changes settings or opens a delivery here.
        let settings = SettingsDoor { offered: watch::channel(Arc::default()).1, asks: mpsc::channel(1).0 };
        let papers = PapersDoor { fields: Vec::new().into(), asks: mpsc::channel(1).0 };
        let served = Served {
            site: "Lindholm Soda Works".into(),
            people,
            reader: Reader::here(),
            entrance,
            settings,
            papers,
            bays,
        };
        runtime.spawn(serve(listener, served, async {
            let _ = stopped.await;
        }));
        Stage { url, latest, entries, shutdown: Some(shutdown), number: 10_000, runtime }
    }

    /// Publishes a scene under the next number, so that it is news.
    fn publish(&mut self, scene: &Published) {
        self.number += 1;
        let next = Published { number: self.number, ..scene.clone() };
        self.latest.send(Some(Arc::new(next))).expect("the server watches");
    }

    fn entry(&mut self) -> EntryRequest {
        self.runtime
            .block_on(async { tokio::time::timeout(Duration::from_secs(10), self.entries.recv()).await })
            .expect("an entry arrives in time")
            .expect("the server runs")
    }
}

/// Shows a scene and waits until it stands on the page as news.
fn show(stage: &mut Stage, browser: &mut Browser, scene: &Published) {
    stage.publish(scene);
    stage.publish(scene);
    let shown = format!(
        "document.body.dataset.state === 'live' && document.body.dataset.alarms === '{}' \
         && document.body.dataset.number === '{}'",
        scene.frame.alarms.len(),
        stage.number
    );
    browser.wait(&shown);
}

/// Names what makes the page or its middle scroll sideways.
const SIDEWAYS: &str = "(() => {
  const scrolls = [...document.querySelectorAll('html, body, main, #alarms')].filter((e) => e.scrollWidth > e.clientWidth);
  return scrolls.flatMap((s) => [...s.querySelectorAll('*')]
    .filter((e) => e.getBoundingClientRect().right > s.getBoundingClientRect().left + s.clientWidth + 0.5)
    .map((e) => `${e.tagName} in ${s.tagName}: ${e.id} ${e.textContent.slice(0, 30)}`).concat(s.tagName)).join('; ');
})()";

/// Where pictures of one kind of page are kept.
fn pictures(kind: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(kind);
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    folder
}

/// Names what of the sentence, the two answers and the pad strip is not whole in the first screen: each of its corners
/// must be where nothing lies over it.
const FIRST_SCREEN: &str = "(() => {
  const seen = (e, x, y) => { const hit = document.elementFromPoint(x, y); return hit !== null && (e.contains(hit) || hit.contains(e)); };
  const whole = (selector) => {
    const e = document.querySelector(selector);
    const r = e.getBoundingClientRect();
    return r.height > 15 && r.top >= 0 && r.bottom <= innerHeight
      && [r.top + 2, (r.top + r.bottom) / 2, r.bottom - 2].every((y) => seen(e, r.left + 4, y) && !document.getElementById('alarms').contains(document.elementFromPoint(r.left + 4, y)));
  };
  const head = document.querySelector('header').getBoundingClientRect();
  const above = (selector) => document.querySelector(selector).getBoundingClientRect().top >= head.bottom - 1;
  return ['#headline .sentence', '#valve .figure', '#margin .figure', '#pad'].filter((s) => !whole(s) || !above(s)).join(', ');
})()";

#[test]
fn every_scene_fits_tablet_and_phone() {
    let pictures = pictures("page");
    let mut stage = Stage::set(scenes::agree());
    let mut browser = Browser::start();
    for (screen, width, height, scale, dark) in [
        ("tablet", 1280, 800, 1, false),
        ("tablet-dark", 1280, 800, 1, true),
        ("small", 1024, 768, 1, false),
        ("phone", 390, 844, 2, false),
    ] {
        browser.screen(width, height, scale, dark);
        browser.open(&stage.url);
        for (name, scene) in scenes::all() {
            show(&mut stage, &mut browser, &scene);
            browser.picture(&pictures.join(format!("{screen}-{name}.png")));
            let place = format!("{screen}, {name}");
            assert_eq!(browser.value(SIDEWAYS), "", "{place}: scrolls sideways");
            assert_eq!(browser.value(FIRST_SCREEN), "", "{place}: not in the first screen");
            assert_eq!(
                browser.value(
                    "[...document.querySelectorAll('button')].filter((b) => b.offsetParent) \
                     .every((b) => b.offsetHeight >= 48 && b.offsetWidth >= 48)"
                ),
                true,
                "{place}: a button is too small for a glove"
            );
        }
    }
    assert_eq!(browser.problems(), Vec::<String>::new());
}

#[test]
fn a_press_is_saved_and_never_lost_to_a_new_frame() {
    let scene = scenes::disagree();
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    browser.screen(1280, 800, 1, false);
    browser.open(&stage.url);
    show(&mut stage, &mut browser, &scene);
    browser.value("document.querySelector('#alarms button').dataset.same = 'yes'; 0");
    show(&mut stage, &mut browser, &scene);
    assert_eq!(browser.value("document.querySelector('#alarms button').dataset.same"), "yes", "the row was replaced");

    browser.press("#alarms button");
    let request = stage.entry();
    assert!(matches!(request.entry.what, What::Seen(key) if key.id == AlarmId::WitnessesDisagree));
    assert_eq!(browser.value("document.getElementById('answer').textContent"), "Being saved \u{2026}");
    request.saved.send(Ok(())).expect("the server waits");
    browser.wait("document.getElementById('answer').textContent === 'Saved.'");

    assert_eq!(browser.value("document.getElementById('start').disabled"), true);
    browser.press("#close");
    browser.press("#back");
    browser.press("#close");
    browser.press("#yes");
    let request = stage.entry();
    assert_eq!(request.entry.what, What::Closed);
    request.saved.send(Err(NotTaken::NotRecorded)).expect("the server waits");
    browser.wait("document.getElementById('answer').textContent === 'Not taken: the recorder cannot write, so this would be lost: mend the disk first'");
    assert!(stage.entries.try_recv().is_err(), "nothing was entered twice");
    // A refused entry is answered with a status the browser itself complains of; nothing else may be.
    let problems = browser.problems();
    assert!(problems.iter().all(|p| p.contains("409")), "{problems:?}");
}

#[test]
fn a_frozen_feed_and_a_lost_server_are_said_in_words() {
    let scene = scenes::agree();
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    browser.screen(1280, 800, 1, false);
    browser.open(&stage.url);
    assert_eq!(browser.value("document.body.dataset.state"), "waiting", "one frame is no news");
    show(&mut stage, &mut browser, &scene);
    browser.wait("document.getElementById('state').innerText.startsWith('STALE. Nothing new for 3 s')");
    let struck = "['#headline', '#valve', '#pad .picture text'].every((old) => \
                  getComputedStyle(document.querySelector(old)).textDecorationLine === 'line-through')";
    assert_eq!(browser.value(struck), true, "old figures look as new");
    assert_eq!(browser.value("document.body.dataset.sound"), "stale");
    show(&mut stage, &mut browser, &scene);
    assert_eq!(browser.value(struck), false);
    assert_eq!(browser.value("document.body.dataset.sound"), "none");

    stage.shutdown.take().map(|s| s.send(()));
    browser.wait("document.getElementById('state').innerText.startsWith('STALE. No connection')");
    browser.wait("document.body.dataset.sound === 'stale'");
}

#[test]
fn an_alarm_sounds_by_its_priority_until_it_is_seen() {
    let mut scene = scenes::agree();
    scene.frame.alarms = vec![scenes::alarm(AlarmId::SignalLost, 0, Priority::Low)];
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    browser.screen(1280, 800, 1, false);
    browser.open(&stage.url);
    show(&mut stage, &mut browser, &scene);
    assert_eq!(browser.value("document.body.dataset.sound"), "low");
    scene.frame.alarms.push(scenes::alarm(AlarmId::LevelHighHigh, 1, Priority::High));
    show(&mut stage, &mut browser, &scene);
    assert_eq!(browser.value("document.body.dataset.sound"), "high");
    assert_eq!(browser.value("document.getElementById('sound').innerText"), "Sound off", "no press yet, no sound");
    browser.press("#sound");
    browser.wait("document.getElementById('sound').innerText === 'Test sound'");
    for alarm in &mut scene.frame.alarms {
        alarm.seen = true;
    }
    show(&mut stage, &mut browser, &scene);
    assert_eq!(browser.value("document.body.dataset.sound"), "none");
    assert_eq!(browser.problems(), Vec::<String>::new());
}

/// Checks stand on the page with a shape and a word, and what a person enters reaches the bay.
#[test]
fn a_check_is_shown_and_entered() {
    let scene = scenes::held();
    let mut stage = Stage::set(scene.clone());
    let mut browser = Browser::start();
    let pictures = pictures("page");
    for (name, width, height) in [("phone", 390, 844), ("tablet", 1024, 768)] {
        browser.screen(width, height, 1, false);
        browser.open(&stage.url);
        show(&mut stage, &mut browser, &scene);
        // A check that fails opens its fold by itself.
        browser.wait("document.getElementById('delivery').open");
        browser.value("document.getElementById('delivery').scrollIntoView(); 0");
        browser.picture(&pictures.join(format!("{name}-checks.png")));
        assert_eq!(browser.value(SIDEWAYS), "", "{name}: scrolls sideways");
        let text = browser.value("document.getElementById('checks').innerText");
        let text = text.as_str().expect("text");
        for part in ["Hold: connect nothing.", "fails", "88107", "at most 365", "shift supervisor"] {
            assert!(text.contains(part), "{name}: {part}: {text}");
        }
    }
    browser.value("document.getElementById('check-id').value = 'connection_identified'; 0");
    browser.value("document.getElementById('check-made').scrollIntoView({ block: 'center' }); 0");
    browser.press("#check-made button[value=met]");
    let request = stage.entry();
    let what = What::CheckEntered { check: CheckId::ConnectionIdentified, met: true, note: String::new() };
    assert_eq!(request.entry.what, what);
    request.saved.send(Ok(())).expect("the server waits");
    browser.wait("document.getElementById('answer').textContent === 'Saved.'");
    assert_eq!(browser.problems(), Vec::<String>::new());
}
