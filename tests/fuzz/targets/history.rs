//! A recorded history in CSV, plain or packed: becomes a recording, or is refused in words, and then there is no file.

#![no_main]

use brimwatch::config::{Columns, Site};
use brimwatch::recording::import::{self, Plan, Source};
use libfuzzer_sys::fuzz_target;
use std::io::{self, Cursor, Read};
use std::path::Path;
use std::sync::LazyLock;

const SITE: &str = include_str!("../../../config/site.toml");
const PRODUCT: &str = include_str!("../../../config/products/caustic-soda-50.toml");
const MAP: &str = include_str!("../../../config/columns.toml");

static SHIPPED: LazyLock<(Site, Columns)> = LazyLock::new(|| {
    let site = Site::from_text(Path::new("site.toml"), SITE.into(), &|_| Ok(PRODUCT.into())).expect("a sound site");
    let columns = Columns::from_text(Path::new("columns.toml"), MAP.into(), &site.bays[0]).expect("a sound map");
    (site, columns)
});

struct Bytes(Vec<u8>);

impl Source for Bytes {
    fn name(&self) -> String {
        "fuzzed.csv".into()
    }

    fn bytes(&self) -> u64 {
        self.0.len() as u64
    }

    fn open(&self) -> io::Result<Box<dyn Read>> {
        Ok(Box::new(Cursor::new(self.0.clone())))
    }
}

fuzz_target!(|bytes: &[u8]| {
    let (site, columns) = &*SHIPPED;
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("fuzzed.brim");
    let plan = Plan { bay: &site.bays[0], texts: &site.texts, delivery: None, columns, out: &out };
    match import::import(&plan, &Bytes(bytes.to_vec()), &mut |_| true) {
        Ok(_) => assert!(out.exists()),
        Err(error) => {
            assert!(!error.to_string().is_empty());
            assert_eq!(std::fs::read_dir(folder.path()).expect("the folder").count(), 0);
        }
    }
});
