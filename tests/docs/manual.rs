//! The manual pages of the written files are the key table, and the commented files name every key.

use super::{read, root};
use brimwatch::config::manual::pages;

/// `BRIMWATCH_REWRITE=1 cargo test --test docs manual` writes the pages anew.
#[test]
fn manual_pages_are_the_key_table() {
    for page in pages() {
        let path = root().join("docs").join(page.file);
        if std::env::var_os("BRIMWATCH_REWRITE").is_some() {
            std::fs::write(&path, &page.text).expect("a disk");
        }
        let stored = read(&path);
        for (line, (stored, made)) in stored.lines().zip(page.text.lines()).enumerate() {
            assert_eq!(stored, made, "line {} of {}", line + 1, path.display());
        }
        assert_eq!(stored, page.text, "{}", path.display());
    }
}
