//! Planted bugs are for tests: what is shipped is built without them.

use super::{code, files, read, root};
use std::path::Path;

/// What a feature turns on, and what that does.
fn turned_on(features: &toml::Table, feature: &str) -> Vec<String> {
    let listed = features.get(feature).and_then(toml::Value::as_array).cloned().unwrap_or_default();
    let named = listed.iter().filter_map(|name| name.as_str());
    named.flat_map(|name| std::iter::once(name.to_owned()).chain(turned_on(features, name))).collect()
}

#[test]
fn no_release_has_planted_bugs() {
    let manifest = read(&root().join("Cargo.toml")).parse::<toml::Table>().expect("a manifest");
    let features = manifest["features"].as_table().expect("features");
    assert!(turned_on(features, "peers").contains(&"planted".to_owned()), "the tests' own feature has them");
    for feature in ["default", "live", "parquet"] {
        assert!(!turned_on(features, feature).contains(&"planted".to_owned()), "{feature}");
    }
    let package = manifest["package"]["metadata"]["deb"].as_table().expect("the Debian package");
    assert!(!package.contains_key("features"), "the package is built with the default features");
    let simulator = read(&root().join("simulator/Cargo.toml"));
    assert!(!simulator.contains("planted") && !simulator.contains("peers"));
    let releases = read(&root().join("test"));
    let releases: Vec<&str> = releases.lines().filter(|line| line.contains("--release")).collect();
    assert!(!releases.is_empty() && releases.iter().all(|line| !line.contains("feature")), "{releases:?}");
}

/// One module knows the feature, and nothing in the program plants anything.
#[test]
fn nothing_in_the_program_plants_a_bug() {
    for path in files("src", "rs").into_iter().chain(files("simulator", "rs")) {
        let text = code(&path);
        let own = path == Path::new("src/planted.rs");
        assert!(own || !text.contains("feature = \"planted\""), "{}: asks for the feature", path.display());
        assert!(own || !text.contains("planted::plant(") && !text.contains("planted::plant;"), "{}", path.display());
    }
}
