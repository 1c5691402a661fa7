//! The safety paper: every row is proven by tests that are there, or says that none proves it.

use super::{read, root};
use std::path::{Path, PathBuf};

/// What a row says that no test proves.
const UNPROVEN: &str = "not proven by a test";

/// Files in which a test of that name may stand, by where `cargo test` finds it: the binary, then the path of modules.
fn candidates(binary: &str, modules: &[&str]) -> Vec<PathBuf> {
    let base = match binary {
        "lib" => PathBuf::from("src"),
        "simulator" => PathBuf::from("simulator/src"),
        other => Path::new("tests").join(other),
    };
    let modules: Vec<&str> = modules.iter().copied().filter(|m| *m != "tests").collect();
    let Some((last, above)) = modules.split_last() else { return vec![base.join("main.rs")] };
    let folder = above.iter().fold(base, |folder, module| folder.join(module));
    let own = folder.join(last);
    vec![folder.join(format!("{last}.rs")), own.join("mod.rs"), own.join("tests.rs")]
}

/// Whether a test of that name stands in the text: a function, behind an attribute that makes it one.
fn has_test(text: &str, name: &str) -> bool {
    let heads = [format!("fn {name}("), format!("async fn {name}(")];
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    lines.iter().enumerate().any(|(at, line)| {
        let above = lines[..at].iter().rev().take_while(|l| l.starts_with("#[") || l.starts_with("//"));
        heads.iter().any(|head| line.starts_with(head.as_str()))
            && above.into_iter().any(|l| *l == "#[test]" || l.starts_with("#[tokio::test"))
    })
}

/// Whether `cargo test` would find that test: `stories blame::a_pair_never_isolates`.
fn is_there(test: &str) -> bool {
    let Some((binary, path)) = test.split_once(' ') else { return false };
    let mut modules: Vec<&str> = path.split("::").collect();
    let Some(name) = modules.pop() else { return false };
    candidates(binary, &modules)
        .iter()
        .map(|path| root().join(path))
        .any(|path| path.exists() && has_test(&read(&path), name))
}

#[test]
fn a_test_that_is_not_there_is_found_out() {
    assert!(is_there("docs safety::a_test_that_is_not_there_is_found_out"));
    for other in ["docs safety::no_such_test", "docs safety::has_test", "docs papers::links_lead", "stories", "x y::z"]
    {
        assert!(!is_there(other), "{other}");
    }
}

/// Rows of the tables whose last column says what proves them.
fn rows(paper: &str) -> Vec<Vec<&str>> {
    let mut in_table = false;
    let mut rows = Vec::new();
    for line in paper.lines() {
        if !line.starts_with('|') {
            in_table = false;
            continue;
        }
        let row: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
        if row.last() == Some(&"proven by") {
            in_table = true;
        } else if in_table && !row[0].starts_with("---") {
            rows.push(row);
        }
    }
    rows
}

#[test]
fn every_hazard_and_threat_names_tests_that_are_there_or_says_that_none_proves_it() {
    let paper = read(&root().join("docs/safety.md"));
    let (mut proven, mut unproven, mut wrong) = (0, 0, Vec::new());
    for row in rows(&paper) {
        let [what, _, by] = row.as_slice() else { panic!("no three columns: {row:?}") };
        let tests: Vec<&str> = by.split('`').skip(1).step_by(2).collect();
        match tests.as_slice() {
            [] if *by == UNPROVEN => unproven += 1,
            [] => wrong.push(format!("{what}: neither a test nor \"{UNPROVEN}\"")),
            tests => {
                proven += 1;
                wrong.extend(tests.iter().filter(|t| !is_there(t)).map(|test| format!("{what}: no test `{test}`")));
            }
        }
    }
    assert!(wrong.is_empty(), "docs/safety.md:\n{}", wrong.join("\n"));
    assert!(proven > 40, "{proven}");
    println!("{proven} rows proven by tests, {unproven} said not to be");
}
