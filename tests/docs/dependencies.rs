//! Why each library is there.

use super::{read, root};
use std::collections::BTreeSet;

/// Names of what a manifest asks for, by the tables of that ending.
fn direct(manifest: &str) -> BTreeSet<String> {
    let manifest = read(&root().join(manifest)).parse::<toml::Table>().expect("a manifest");
    let tables = ["dependencies", "dev-dependencies", "build-dependencies"].into_iter();
    tables.filter_map(|table| manifest.get(table)?.as_table()).flat_map(|table| table.keys().cloned()).collect()
}

/// The table of docs/decisions.md names every library that one of both crates asks for, each once, and no other.
#[test]
fn every_direct_dependency_has_its_reason() {
    let mut asked: BTreeSet<String> = ["Cargo.toml", "simulator/Cargo.toml"].into_iter().flat_map(direct).collect();
    for own in ["brimwatch", "brimwatch-simulator"] {
        asked.remove(own);
    }
    assert!(asked.len() > 20, "{asked:?}");
    let paper = read(&root().join("docs/decisions.md"));
    let section = paper.split("\n## Dependencies\n").nth(1).expect("a section on dependencies");
    let section = section.split("\n## ").next().unwrap_or_default();
    let rows: Vec<(&str, &str)> = section
        .lines()
        .filter_map(|line| line.strip_prefix("| `")?.split_once("` |"))
        .map(|(name, rest)| (name, rest.trim().trim_end_matches('|').trim()))
        .collect();
    let named: BTreeSet<String> = rows.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(named, asked, "left: docs/decisions.md, right: the manifests");
    assert_eq!(named.len(), rows.len(), "one stands there twice");
    for (name, reason) in rows {
        assert!(reason.split_whitespace().count() >= 4, "{name}: a reason is more than \"{reason}\"");
    }
}
