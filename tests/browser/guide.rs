//! Pictures of the attendant's guide, taken from scenes by one command:
//!
//! ```sh
//! BRIMWATCH_REWRITE=1 cargo test --features peers --test browser guide
//! ```
//!
//! Each picture carries the words that stood on the page when it was taken (PNG, W3C, third edition, 11.3.3.4: chunk iTXt).
//! Without the variable the test holds them against what the page says now: a picture of words that are gone fails. Pixels
//! are not compared, for letters differ from machine to machine.

use super::chromium::Browser;
use super::{Stage, scenes, show};
use brimwatch::page::feed::Published;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Longest picture, bytes: the guide is to open at once over a poor line.
const LONGEST: usize = 150_000;

struct Picture {
    name: &'static str,
    scene: fn() -> Published,
    path: &'static str,
    /// The screen, in pixels of the page.
    screen: (u32, u32),
    dark: bool,
    /// What the page is asked to do first, and what is true once it is done.
    act: Option<(&'static str, &'static str)>,
    /// The server goes away first.
    lost: bool,
}

const TABLET: Picture = Picture {
    name: "tablet",
    scene: scenes::agree,
    path: "bay/bay-2",
    screen: (1280, 800),
    dark: false,
    act: None,
    lost: false,
};
const PHONE: Picture = Picture { name: "phone", screen: (390, 844), ..TABLET };

fn all() -> Vec<Picture> {
    // As by a key: it leads to the first of them.
    let account = ("document.getElementById('tap').click(); 0", "document.getElementById('account-tank') !== null");
    vec![
        TABLET,
        Picture { name: "alarm", scene: scenes::disagree, ..TABLET },
        Picture { name: "stale", lost: true, ..TABLET },
        Picture { name: "dark", scene: scenes::lost_signals, dark: true, ..TABLET },
        Picture { name: "account", act: Some(account), ..TABLET },
        Picture { name: "far", path: "bay/bay-2/far", screen: (1920, 1080), ..TABLET },
        PHONE,
        Picture { name: "checks", scene: scenes::held, ..PHONE },
    ]
}

impl Picture {
    fn file(&self) -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("docs/pictures/{}.png", self.name))
    }

    /// Pixels of the picture for one of the page: none is wider than 960.
    fn scale(&self) -> f64 {
        (960.0 / f64::from(self.screen.0)).min(1.0)
    }

    /// Brings the page to where its picture is taken; the words that stand on it.
    fn stand(&self, browser: &mut Browser) -> String {
        let scene = (self.scene)();
        let mut stage = Stage::set(scene.clone());
        browser.screen(self.screen.0, self.screen.1, 1, self.dark);
        browser.open(&format!("{}{}", stage.url, self.path));
        show(&mut stage, browser, &scene);
        if let Some((act, done)) = self.act {
            browser.value(act);
            browser.wait(done);
            show(&mut stage, browser, &scene);
        }
        if self.lost {
            stage.shutdown.take().map(|shutdown| shutdown.send(()));
            browser.wait("document.body.dataset.state === 'lost'");
        }
        let words = browser.value("document.body.innerText");
        words.as_str().expect("text").split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

#[test]
fn the_guide_shows_the_page_as_it_is() {
    let rewrite = std::env::var_os("BRIMWATCH_REWRITE").is_some();
    let guide = include_str!("../../docs/attendant.md");
    let mut browser = Browser::start();
    for picture in all() {
        let (name, file) = (picture.name, picture.file());
        let words = picture.stand(&mut browser);
        let (width, height) = picture.screen;
        if rewrite {
            let shot = browser.shrunk(width, height, picture.scale());
            std::fs::write(&file, with_words(&shot, &words)).expect("the picture is written");
        }
        let bytes = std::fs::read(&file).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
        assert_eq!(words_of(&bytes), words, "{name}: the page has other words now: take the pictures anew");
        let side = |px: u32| (f64::from(px) * picture.scale()).round();
        let says = |from: usize| f64::from(u32::from_be_bytes(bytes[from..from + 4].try_into().expect("four bytes")));
        assert_eq!((says(16), says(20)), (side(width), side(height)), "{name}: another size");
        assert!(bytes.len() <= LONGEST, "{name}: {} bytes", bytes.len());
        let shown = guide.split_once(&format!("](pictures/{name}.png)"));
        let said = shown.and_then(|(before, _)| before.rsplit_once("![")).map(|(_, said)| said);
        assert!(said.is_some_and(|said| said.len() > 20), "{name}: the guide does not show it, or not in words");
    }
    let folder = std::fs::read_dir(TABLET.file().parent().expect("a folder")).expect("a folder");
    let there: BTreeSet<PathBuf> = folder.map(|entry| entry.expect("an entry").path()).collect();
    assert_eq!(there, all().iter().map(Picture::file).collect(), "a picture that nobody takes");
}

/// Every PNG begins with eight bytes and the chunk IHDR: length, name, 13 bytes, checksum.
const HEAD: usize = 8 + 4 + 4 + 13 + 4;
/// Keyword, no compression, no language, no translated keyword.
const DESCRIPTION: &[u8] = b"iTXtDescription\0\0\0\0\0";

/// The picture with those words in it.
fn with_words(png: &[u8], words: &str) -> Vec<u8> {
    let chunk = [DESCRIPTION, words.as_bytes()].concat();
    let length = u32::try_from(chunk.len() - 4).expect("a page of words");
    let checksum = crc32fast::hash(&chunk).to_be_bytes();
    [&png[..HEAD], &length.to_be_bytes(), &chunk, &checksum, &png[HEAD..]].concat()
}

/// The words that a picture carries right after its head.
fn words_of(png: &[u8]) -> String {
    let (length, chunk) = png[HEAD..].split_first_chunk::<4>().expect("a chunk");
    let length = usize::try_from(u32::from_be_bytes(*length)).expect("a length") + 4;
    let words = chunk.get(..length).and_then(|chunk| chunk.strip_prefix(DESCRIPTION));
    String::from_utf8(words.expect("a picture that carries its words").to_vec()).expect("UTF-8")
}
