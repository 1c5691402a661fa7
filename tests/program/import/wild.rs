//! Whatever stands in a history, the answer is a recording or words.

use super::Desk;
use brimwatch::config::Columns;
use brimwatch::recording::import::{Plan, Source, import};
use proptest::prelude::*;
use std::io::{self, Cursor, Read};
use std::path::Path;

struct Held(Vec<u8>);

impl Source for Held {
    fn name(&self) -> String {
        "wild.csv".into()
    }

    fn bytes(&self) -> u64 {
        self.0.len() as u64
    }

    fn open(&self) -> io::Result<Box<dyn Read>> {
        Ok(Box::new(Cursor::new(self.0.clone())))
    }
}

const MAPS: [&str; 2] = [
    "[time]\ncolumns = [\"t\"]\nformat = \"epoch_s\"\n",
    "decimal = \"comma\"\nempty_means = \"nothing\"\n[time]\ncolumns = [\"t\"]\nformat = \"rfc3339\"\nzone = \"Europe/Berlin\"\n",
];
const SIGNAL: &str =
    "[[signal]]\nsignal = \"truck scale\"\ncolumn = \"kg\"\nunit = \"kg\"\nheld_longer_than = \"2 s\"\n";

/// Fields and what stands between them, so that some rows are nearly right.
const PARTS: [&str; 22] = [
    "t,kg\n",
    "\n",
    "\r\n",
    ",",
    "\"",
    "0",
    "1",
    "2.5",
    "1e5",
    "-",
    "999999999999",
    "-9223372036.8",
    "9223372036.8",
    "2026-10-25T02:30:00",
    "2026-03-29T02:30:00",
    "1677-09-21T00:12:44Z",
    "2262-04-11T23:47:16Z",
    ";",
    "\u{feff}",
    "\u{0}",
    "NaN",
    "1,5",
];

fn outcome(bytes: Vec<u8>) -> Vec<String> {
    let desk = Desk::new();
    let bay = &desk.site.bays[0];
    let out = desk.path("o.brim");
    let mut said = Vec::new();
    for map in MAPS {
        let columns = Columns::from_text(Path::new("map.toml"), format!("{map}{SIGNAL}"), bay);
        let columns = columns.unwrap_or_else(|faults| panic!("{faults}"));
        let plan = Plan { bay, texts: &[], delivery: None, columns: &columns, out: &out };
        match import(&plan, &Held(bytes.clone()), &mut |_| true) {
            Ok(report) => {
                said.push(report.to_string());
                std::fs::remove_file(&out).expect("a recording");
            }
            Err(error) => said.push(error.to_string()),
        }
        assert!(!desk.files().iter().any(|name| name.contains("o.brim")), "nothing is left");
    }
    said
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn no_bytes_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        prop_assert!(outcome(bytes).iter().all(|said| !said.is_empty()));
    }

    #[test]
    fn no_nearly_right_table_panics(parts in proptest::collection::vec(0..PARTS.len(), 0..40)) {
        let text: String = parts.into_iter().map(|part| PARTS[part]).collect();
        let said = outcome(format!("t,kg\n{text}\n").into_bytes());
        prop_assert!(said.iter().all(|said| !said.is_empty()));
    }
}

/// The ends of what a time can be, 584 years apart: no time between is stepped second by second.
#[test]
fn the_ends_of_time() {
    let said = outcome(b"t,kg\n-9223372036.8,1\n0,2\n9223372036.8,3\n".to_vec());
    assert!(said[0].contains("3 of 3 rows") && said[0].contains("nobody wrote"), "{said:?}");
}
