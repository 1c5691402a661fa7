//! A site file, the table it names, a delivery file, a column map: built, or refused in words that name a line.

#![no_main]

use brimwatch::config::{Columns, DeliveryFile, Site};
use libfuzzer_sys::fuzz_target;
use std::io;
use std::path::Path;
use std::sync::LazyLock;

const SITE: &str = include_str!("../../../config/site.toml");
const PRODUCT: &str = include_str!("../../../config/products/caustic-soda-50.toml");

static SHIPPED: LazyLock<Site> = LazyLock::new(|| {
    Site::from_text(Path::new("site.toml"), SITE.into(), &|_| Ok(PRODUCT.into())).expect("the shipped site is sound")
});

fuzz_target!(|input: (u8, &str)| {
    let (which, text) = input;
    let text = text.to_owned();
    let path = Path::new("fuzzed.toml");
    let faults = match which % 4 {
        // The site file itself; it names the shipped product file.
        0 => Site::from_text(path, text, &|_| Ok(PRODUCT.into())).err(),
        // A file that the site file names.
        1 => Site::from_text(path, SITE.into(), &|name| {
            if name.contains("caustic") { Ok(text.clone()) } else { Err(io::Error::from(io::ErrorKind::NotFound)) }
        })
        .err(),
        2 => DeliveryFile::from_text(path, text, &SHIPPED).err(),
        _ => Columns::from_text(path, text, &SHIPPED.bays[0]).err(),
    };
    if let Some(faults) = faults {
        assert!(!faults.to_string().is_empty());
    }
});
