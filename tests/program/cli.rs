//! Wrong files and wrong words: a clear message, the documented exit code, nothing lost.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn brimwatch(arguments: &[&Path]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_brimwatch")).args(arguments).output().expect("the program")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn shipped(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config").join(name)
}

/// The shipped site file with one thing changed, beside its products.
fn changed(folder: &Path, from: &str, to: &str) -> PathBuf {
    let text = std::fs::read_to_string(shipped("site.toml")).expect("the site file");
    assert!(text.contains(from), "{from}");
    let product = "products/caustic-soda-50.toml";
    std::fs::create_dir_all(folder.join("products")).expect("a folder");
    std::fs::copy(shipped(product), folder.join(product)).expect("a copy");
    let path = folder.join("site.toml");
    std::fs::write(&path, text.replacen(from, to, 1)).expect("a file");
    path
}

#[test]
fn an_unknown_key_and_a_wrong_unit_are_named_with_their_lines() {
    let folder = tempfile::tempdir().expect("a folder");
    for (from, to, key, hint) in [
        ("high_high = \"7.2 m\"", "high_hihg = \"7.2 m\"", "high_hihg", "high_high"),
        ("high_high = \"7.2 m\"", "high_high = \"7.2 kg\"", "high_high", "mm"),
    ] {
        let site = changed(folder.path(), from, to);
        let output = brimwatch(&[Path::new("watch"), &site]);
        let said = said(&output);
        let text = std::fs::read_to_string(&site).expect("the file");
        let line = text.lines().position(|l| l == to).expect("the line") + 1;
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(&format!("site.toml:{line}:")) && said.contains(key) && said.contains(hint), "{said}");
    }
    assert!(!folder.path().join("recordings").exists(), "nothing was started");
}

/// A file of steps that cannot be meant is named with its line, by `check` and by `watch`, and nothing is started; so is one
/// that is not there.
#[test]
fn a_wrong_file_of_steps_is_named_with_its_lines() {
    // `check` prints what it found, `watch` says why it does not start.
    let said =
        |output: &Output| String::from_utf8_lossy(&[&output.stdout[..], &output.stderr[..]].concat()).into_owned();
    let folder = tempfile::tempdir().expect("a folder");
    let site = changed(folder.path(), "[[bay]]\n", "[[bay]]\nsteps = \"our-steps.toml\"\n");
    let steps = folder.path().join("our-steps.toml");
    let missing = brimwatch(&[Path::new("check"), &site]);
    assert_eq!(missing.status.code(), Some(2), "{}", said(&missing));
    assert!(said(&missing).contains("our-steps.toml"), "{}", said(&missing));
    std::fs::write(&steps, "[[step]]\nid = \"leak_check\"\ntext = \"a\"\nsigned_by = \"everybody\"\n").expect("a file");
    for command in ["check", "watch"] {
        let output = brimwatch(&[Path::new(command), &site]);
        let said = said(&output);
        assert_eq!(output.status.code(), Some(2), "{command}: {said}");
        for words in ["our-steps.toml:4:", "step.signed_by", "everybody", "site, driver, both"] {
            assert!(said.contains(words), "{command}: {words}: {said}");
        }
    }
    assert!(!folder.path().join("recordings").exists(), "nothing was started");
}

/// Everything wrong at once, in 80 columns, site and delivery; the same as JSON; and nothing is started.
#[test]
fn check_says_all_of_it_at_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let site = changed(folder.path(), "high_high = \"7.2 m\"", "high_hihg = \"7.2 m\"\nworking = \"7 m\"\nx = = 1");
    let text = std::fs::read_to_string(&site).expect("the file").replace("unit = \"mm\"", "unit = \"kg\"");
    std::fs::write(&site, text).expect("a file");
    let delivery = folder.path().join("delivery.toml");
    let text = std::fs::read_to_string(shipped("delivery.toml")).expect("the delivery");
    std::fs::write(&delivery, text.replace("mawp = \"30 psi gauge\"", "mawp = \"30 bar gauge\"")).expect("a file");
    let check = |files: [&Path; 2], more: &[&Path]| {
        let [site, delivery] = files;
        brimwatch(&[&[Path::new("check"), site, Path::new("--delivery"), delivery], more].concat())
    };
    let output = check([&site, &delivery], &[]);
    let shown = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(2), "{shown}{}", said(&output));
    for words in [
        "not TOML",
        "high_hihg",
        "nearest: high_high",
        "duplicate key",
        "mawp",
        "0.1 to 7 bar gauge",
        "there may be more",
    ] {
        assert!(shown.contains(words), "{words:?} is not in\n{shown}");
    }
    let own_path = |line: &&str| line.trim_start().starts_with("--> ");
    for line in shown.lines().filter(|line| !own_path(line)) {
        assert!(line.chars().count() <= 80, "{} columns: {line}", line.chars().count());
    }
    let output = check([&site, &delivery], &[Path::new("--json")]);
    assert_eq!(output.status.code(), Some(2));
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let faults = json["faults"].as_array().expect("a list");
    let unknown = faults.iter().find(|f| f["key"] == "tank.high_hihg").expect("the unknown key");
    let at = std::fs::read_to_string(&site).expect("the file").lines().position(|l| l.starts_with("high_hihg"));
    assert_eq!(unknown["line"].as_u64(), at.map(|at| at as u64 + 1));
    assert_eq!((unknown["severity"].as_str(), unknown["nearest"].as_str()), (Some("fault"), Some("high_high")));
    assert!(!folder.path().join("recordings").exists(), "nothing was started");
}

#[test]
fn check_finds_the_shipped_files_sound() {
    let (site, delivery) = (shipped("site.toml"), shipped("delivery.toml"));
    let output = brimwatch(&[Path::new("check"), &site, Path::new("--delivery"), &delivery]);
    let shown = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(0), "{shown}{}", said(&output));
    assert!(shown.trim_end().ends_with("0 faults, 2 warnings: a watch would start"), "{shown}");
    for line in shown.lines().filter(|line| !line.trim_start().starts_with("--> ")) {
        assert!(line.chars().count() <= 80, "{line}");
    }
    let output = brimwatch(&[Path::new("check"), &site, Path::new("--json")]);
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let bay = &json["answers"]["bays"][0];
    assert_eq!(bay["tanks"][0]["levels"][1]["at_m"].as_f64(), Some(7.2), "{bay}");
    assert!(bay["regulator"]["not_computed"].as_str().is_some_and(|why| why.contains("no delivery")), "{bay}");
    assert!(json["answers"]["disk_days"]["known"].as_f64().is_some_and(|days| days > 0.0), "{json}");
    let gone = brimwatch(&[Path::new("check"), Path::new("no-such-site.toml")]);
    assert_eq!(gone.status.code(), Some(2));
}

#[test]
fn a_file_that_is_not_there_is_named() {
    let output = brimwatch(&[Path::new("watch"), Path::new("no-such-site.toml")]);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains("no-such-site.toml"), "{}", said(&output));
    let output = brimwatch(&[Path::new("replay"), Path::new("no-such.brim")]);
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("no-such.brim"), "{}", said(&output));
}

#[test]
fn garbage_is_no_recording_and_stays_as_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("garbage.brim");
    let garbage: Vec<u8> = (0..5000u32).map(|i| u8::try_from(i * 31 % 251).expect("a byte")).collect();
    std::fs::write(&path, &garbage).expect("a file");
    for command in ["replay", "dump"] {
        let output = brimwatch(&[Path::new(command), &path]);
        assert_eq!(output.status.code(), Some(4), "{}", said(&output));
        assert!(said(&output).contains("garbage.brim"), "{}", said(&output));
    }
    assert_eq!(std::fs::read(&path).expect("still there"), garbage);
}

#[test]
fn wrong_words_are_told_apart_from_wrong_files() {
    assert_eq!(brimwatch(&[Path::new("wach")]).status.code(), Some(2));
    let every = brimwatch(&[Path::new("replay"), Path::new("x.brim"), Path::new("--json"), Path::new("--every=-1")]);
    assert_eq!(every.status.code(), Some(2), "{}", said(&every));
}
