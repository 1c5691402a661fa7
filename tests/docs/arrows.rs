//! From wire to page is one direction: what a module may name.

use super::{code, files, read, root};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Modules named directly below `krate::`, alone or in a braced list.
fn modules_named(text: &str, krate: &str) -> BTreeSet<String> {
    let squeezed: String = text.split_whitespace().collect::<Vec<_>>().join(" ").replace(":: {", "::{");
    let head = format!("{krate}::");
    let mut named = BTreeSet::new();
    for (at, _) in squeezed.match_indices(&head) {
        let is_longer_word = squeezed[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_');
        if is_longer_word {
            continue;
        }
        let rest = &squeezed[at + head.len()..];
        match rest.strip_prefix('{') {
            Some(list) => named.extend(heads_of_list(list)),
            None => named.extend(head_of(rest)),
        }
    }
    named
}

/// First word of each item of a braced list, nested braces skipped.
fn heads_of_list(list: &str) -> Vec<String> {
    let (mut depth, mut start, mut heads) = (0_u32, 0, Vec::new());
    for (i, c) in list.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth > 0 => depth -= 1,
            ',' | '}' if depth == 0 => {
                heads.extend(head_of(&list[start..i]));
                start = i + 1;
                if c == '}' {
                    break;
                }
            }
            _ => {}
        }
    }
    heads
}

fn head_of(path: &str) -> Option<String> {
    let word: String = path.trim_start().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
    (!word.is_empty()).then_some(word)
}

#[test]
fn the_finder_finds() {
    let text =
        "use brimwatch::{config::{Site, load},\n    engine::input::Input, units};\nlet x = brimwatch::live::start();";
    let named: Vec<_> = modules_named(text, "brimwatch").into_iter().collect();
    assert_eq!(named, ["config", "engine", "live", "units"]);
    assert!(modules_named("my_crate::config::x()", "crate").is_empty());
}

/// Where the simulator runs a watch of its own.
const WATCHES: [&str; 4] =
    ["simulator/src/demo.rs", "simulator/src/folder.rs", "simulator/src/play", "simulator/src/desk"];

/// The simulator checks the engine: it shares none of its mathematics, and only where it runs a watch does it name the
/// live loop, and what goes into the engine's door and comes out.
#[test]
fn the_simulator_stands_apart() {
    for path in files("simulator", "rs") {
        let named = modules_named(&code(&path), "brimwatch");
        let watches = WATCHES.iter().any(|place| path.starts_with(place));
        for module in ["live", "page", "words"] {
            assert!(watches || !named.contains(module), "{}: names brimwatch::{module}", path.display());
        }
        let of_engine = modules_named(&code(&path), "brimwatch::engine");
        let door = of_engine.iter().all(|module| ["input", "frame"].contains(&module.as_str()));
        let may = watches && door && !of_engine.is_empty();
        assert!(may || !named.contains("engine"), "{}: names brimwatch::engine", path.display());
    }
}

/// What each module may not name. The page shows a frame as the JSON that a replay prints, so it may name the
/// recording; whoever is not listed (the live loop, the command line) ties the others together.
const NO_ARROW_BACK: [(&str, &[&str]); 10] = [
    ("src/engine", &["check", "config", "poll", "decode", "recording", "words", "picture", "page", "live", "cli"]),
    ("src/check", &["decode", "picture", "page", "live", "cli"]),
    ("src/config", &["check", "decode", "recording", "words", "picture", "page", "live", "cli"]),
    ("src/poll", &["check", "decode", "recording", "words", "picture", "page", "live", "cli"]),
    ("src/decode", &["check", "recording", "picture", "page", "live", "cli"]),
    ("src/recording", &["page", "picture", "live", "cli"]),
    ("src/words", &["config", "poll", "recording", "page", "live", "cli"]),
    ("src/page", &["poll", "config", "live", "cli"]),
    ("src/ledger", &["check", "config", "poll", "decode", "page", "live", "cli"]),
    ("src/tune", &["check", "poll", "decode", "words", "page", "live", "cli"]),
];

#[test]
fn no_arrow_runs_back() {
    for (folder, barred) in NO_ARROW_BACK {
        for path in files(folder, "rs") {
            let text = code(&path);
            let named = modules_named(&text, "crate");
            for module in barred {
                assert!(!named.contains(*module), "{}: names crate::{module}", path.display());
                let by_super = format!("super::{module}::");
                assert!(!text.contains(&by_super), "{}: names {by_super}", path.display());
            }
        }
    }
}

/// The engine's lint list (.ci/engine/clippy.toml) binds it by this line alone, and nothing in it steps aside.
#[test]
fn the_engine_holds_itself_to_its_list() {
    let lints = "(clippy::disallowed_methods, clippy::disallowed_types)]";
    assert!(code(Path::new("src/engine/mod.rs")).contains(&format!("#![deny{lints}")));
    for path in files("src/engine", "rs") {
        for level in ["allow(", "expect(", "warn("] {
            let text = code(&path);
            let eased = text
                .match_indices(level)
                .any(|(at, _)| text[at..].split(')').next().unwrap_or("").contains("clippy::disallowed"));
            assert!(!eased, "{}: eases the list", path.display());
        }
    }
}

/// One file writes to devices, so that "reads only" is read in one place; and no Modbus crate stands beside it.
#[test]
fn one_file_writes_to_devices() {
    let writes = |path: &PathBuf| code(path).contains("AsyncWriteExt") || code(path).contains("write_all");
    let named: Vec<_> = files("src/poll", "rs").into_iter().filter(writes).collect();
    assert_eq!(named, [Path::new("src/poll/line.rs")]);
    assert!(!files("src", "rs").iter().any(|path| code(path).contains("tokio_modbus")));
}

/// Both crates take the workspace's lints, and those forbid unsafe code: no attribute can lift it.
#[test]
fn unsafe_code_is_forbidden() {
    let manifest = |path: &str| read(&root().join(path)).parse::<toml::Table>().expect("a manifest");
    let workspace = manifest("Cargo.toml");
    assert_eq!(workspace["workspace"]["lints"]["rust"]["unsafe_code"].as_str(), Some("forbid"));
    for path in ["Cargo.toml", "simulator/Cargo.toml"] {
        assert_eq!(manifest(path)["lints"]["workspace"].as_bool(), Some(true), "{path}");
    }
}

/// Each test binary links the whole program; more than eight and a change takes minutes to test.
#[test]
fn few_test_binaries() {
    let mains = files("tests", "rs").into_iter().filter(|p| p.file_name().is_some_and(|n| n == "main.rs"));
    let loose = files("tests", "rs").into_iter().filter(|p| p.components().count() == 2);
    let all: Vec<_> = mains.chain(loose).collect();
    assert!(all.len() <= 8, "{all:?}");
}

/// Nothing half-done, no test switched off.
#[test]
fn nothing_is_left_open() {
    // Spelt in two halves, so that this file does not find itself.
    let barred = [
        concat!("todo", "!("),
        concat!("unimplemented", "!("),
        concat!("#[ign", "ore"),
        concat!("TO", "DO"),
        concat!("FIX", "ME"),
    ];
    for path in ["src", "simulator", "tests"].into_iter().flat_map(|folder| files(folder, "rs")) {
        let text = read(&root().join(&path));
        for word in barred {
            assert!(!text.contains(word), "{}: {word}", path.display());
        }
    }
}
