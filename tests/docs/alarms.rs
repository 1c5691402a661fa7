//! The page of alarms is the catalogue.

use super::{read, root};
use brimwatch::words::alarms::paper;
use brimwatch::words::en::English;

/// `BRIMWATCH_REWRITE=1 cargo test --test docs alarms` writes the page anew.
#[test]
fn page_of_alarms_is_the_catalogue() {
    let path = root().join("docs/alarms.md");
    let made = paper(&English);
    if std::env::var_os("BRIMWATCH_REWRITE").is_some() {
        std::fs::write(&path, &made).expect("a disk");
    }
    assert_eq!(read(&path), made, "{}", path.display());
}
