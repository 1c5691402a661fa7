//! Pictures of the attendant's guide, taken of the same scenes that the tests look at.

use super::chromium::Browser;
use super::{Stage, pictures, scenes, show};
use brimwatch::page::feed::Published;
use std::path::Path;

/// All of them together, bytes.
const MOST_BYTES: u64 = 1_500_000;

/// A picture: its name, whether of the far view, the screen, and what is shown.
type Picture = (&'static str, bool, (u32, u32, u32, bool), fn() -> Published);

const PICTURES: [Picture; 5] = [
    ("tablet", false, (1280, 800, 1, false), scenes::agree),
    ("phone", false, (390, 844, 1, false), scenes::agree),
    ("far", true, (1280, 720, 1, false), scenes::agree),
    ("alarm", false, (1280, 800, 1, false), scenes::disagree),
    ("dark", false, (1280, 800, 1, true), scenes::agree),
];

/// `BRIMWATCH_REWRITE=1 cargo test --features peers --test browser guide` takes them anew.
#[test]
fn the_guide_has_its_pictures() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let kept = root.join("docs/pictures");
    let folder = if std::env::var_os("BRIMWATCH_REWRITE").is_some() { kept.clone() } else { pictures("guide") };
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    let mut stage = Stage::set(scenes::agree());
    let mut browser = Browser::start();
    for (name, far, (width, height, scale, dark), scene) in PICTURES {
        browser.screen(width, height, scale, dark);
        browser.open(&format!("{}bay/bay-2{}", stage.url, if far { "/far" } else { "" }));
        show(&mut stage, &mut browser, &scene());
        browser.picture(&folder.join(format!("{name}.png")));
    }
    let guide = std::fs::read_to_string(root.join("docs/attendant.md")).expect("the guide");
    let mut bytes = 0;
    for (name, ..) in PICTURES {
        assert!(guide.contains(&format!("(pictures/{name}.png)")), "the guide does not show {name}");
        bytes += std::fs::metadata(kept.join(format!("{name}.png"))).expect("a picture that is kept").len();
    }
    assert!(bytes < MOST_BYTES, "{bytes} bytes of pictures");
}
