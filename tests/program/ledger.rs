//! `brimwatch ledger` as its users meet it: folders of recordings, an index that may be gone, old or damaged.

use super::again::again;
use super::{recorded, report};
use brimwatch::config::{DeliveryFile, Site};
use brimwatch::engine::input::What;
use brimwatch::report::account::AgainstTicket;
use brimwatch_simulator::scenario;
use jiff::tz::TimeZone;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;
use tempfile::TempDir;

const DAY_NS: i64 = 86_400_000_000_000;

fn ledger(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_brimwatch")).arg("ledger").args(arguments).output().expect("the program")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn json(folder: &Path) -> Value {
    let output = ledger(&[folder.to_str().expect("text"), "--json"]);
    assert!(output.status.success(), "{}", said(&output));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// Three closed deliveries, two in October and one in November 2026, one rejected, and a drill; made once.
fn made() -> &'static Path {
    static MADE: OnceLock<TempDir> = OnceLock::new();
    let folder = MADE.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        for (id, days) in [("D-1", 0), ("D-2", 3), ("D-3", 20)] {
            again(report::whole(), &folder.path().join(format!("{id}.brim")), id, days * DAY_NS);
        }
        std::fs::copy(report::whole(), folder.path().join("drill.brim")).expect("a disk");
        let drilled = folder.path().join("rejected");
        let (site, delivery): (Site, DeliveryFile) =
            scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        let bay = &site.bays[delivery.bay];
        let mut recording = recorded::Recording::begin(&drilled, &site.texts, bay, &delivery, 6);
        recording.seconds(5);
        recording.enter(What::Rejected { reason: "seal 88102 broken".into() });
        recording.seconds(5);
        recording.end();
        again(&drilled, &folder.path().join("D-4.brim"), "D-4", 21 * DAY_NS);
        folder
    });
    folder.path()
}

/// A folder of these.
fn store() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let store = folder.path().join("recordings");
    std::fs::create_dir(&store).expect("a disk");
    for name in ["D-1.brim", "D-2.brim", "D-3.brim", "D-4.brim", "drill.brim"] {
        std::fs::hard_link(made().join(name), store.join(name)).expect("a link");
    }
    (folder, store)
}

/// The list has every delivery with the figures of its account, sums by month without drill and rejected one, and says why
/// that was rejected.
#[test]
fn the_list_and_its_sums() {
    let (_folder, store) = store();
    let output = ledger(&[store.to_str().expect("text")]);
    let text = String::from_utf8(output.stdout).expect("text");
    for words in ["rejected: seal 88102 broken", "DRILL", "month 2026-10", "month 2026-11", "in all"] {
        assert!(text.contains(words), "{words:?} is not in\n{text}");
    }
    let ledger = json(&store);
    let rows = ledger["deliveries"].as_array().expect("rows");
    let row = |id: &str| rows.iter().find(|row| row["delivery"] == id).unwrap_or_else(|| panic!("{id}: {rows:?}"));
    let account = brimwatch::report::account(&store.join("D-2.brim"), &TimeZone::UTC).expect("an account");
    let AgainstTicket::Compared(compared) = account.against_ticket else { panic!("not compared") };
    assert_eq!(row("D-2")["en"].as_f64(), Some(compared.en));
    assert_eq!(row("D-2")["difference_kg"]["u_kg"].as_f64(), Some(compared.difference_kg.u));
    assert_eq!((&row("D-4")["state"], &row("D-4")["rejected"]), (&"rejected".into(), &"seal 88102 broken".into()));
    let received_kg = row("D-1")["received_kg"]["kg"].as_f64().expect("a mass");
    let total = &ledger["total"][0];
    assert_eq!(total["deliveries"], 3);
    // By hand: three times the same load.
    assert!((total["received_kg"].as_f64().expect("a mass") - 3.0 * received_kg).abs() < 1e-6, "{total}");
    let months: Vec<_> =
        ledger["by_month"].as_array().expect("sums").iter().map(|s| s["deliveries"].as_u64()).collect();
    assert_eq!(months, [Some(2), Some(1)]);
}

/// Missing, damaged, another program's, in the way, or older than the recordings: the list is the same, and what changed is
/// seen.
#[test]
fn the_index_is_never_believed_more_than_the_recordings() {
    let (_folder, store) = store();
    let (index, whole) = (store.join("ledger.index"), json(&store));
    let written = std::fs::read_to_string(&index).expect("an index");
    assert_eq!(json(&store), whole, "from the index");
    assert_eq!(std::fs::read_to_string(&index).expect("an index"), written, "nothing new to write");
    let (first, rest) = written.split_once('\n').expect("lines");
    for damaged in [
        String::new(),
        written[..written.len() / 2].to_owned(),
        written.replacen("D-2", "D-9", 1),
        format!("{first}9\n{rest}"),
        "\u{0}\u{ffff}\n".repeat(9),
    ] {
        std::fs::write(&index, &damaged).expect("a disk");
        assert_eq!(json(&store), whole, "after {:?}", damaged.get(..80));
        assert_eq!(std::fs::read_to_string(&index).expect("an index"), written, "it is whole again");
    }
    // A recording that was replaced is read anew, one that is gone is forgotten.
    std::fs::remove_file(store.join("D-2.brim")).expect("a disk");
    again(report::whole(), &store.join("D-2.brim"), "D-5", DAY_NS);
    std::fs::remove_file(store.join("D-3.brim")).expect("a disk");
    let names = |ledger: &Value| -> Vec<String> {
        let rows = ledger["deliveries"].as_array().expect("rows");
        rows.iter().map(|row| row["delivery"].as_str().expect("text").to_owned()).collect()
    };
    assert_eq!(names(&json(&store)), ["D-4", "D-5", "drill-1", "D-1"].map(str::to_owned));
    // Where it cannot be written the list is there all the same, and that is said.
    std::fs::remove_file(&index).expect("a disk");
    std::fs::create_dir(&index).expect("a disk");
    let output = ledger(&[store.to_str().expect("text"), "--json"]);
    assert!(output.status.success() && said(&output).contains("the index could not be written"), "{}", said(&output));
    assert_eq!(names(&serde_json::from_slice(&output.stdout).expect("JSON")).len(), 4);
}

#[test]
fn wrong_names_and_wrong_files() {
    let (_folder, store) = store();
    let text = store.to_str().expect("text");
    let output = ledger(&[store.join("nowhere").to_str().expect("text")]);
    assert_eq!(output.status.code(), Some(4), "{}", said(&output));
    assert_eq!(ledger(&[text, "--from", "1st of March"]).status.code(), Some(2));
    assert_eq!(ledger(&[text, "--csv", "--json"]).status.code(), Some(2));
    std::fs::write(store.join("other.brim"), b"no recording").expect("a disk");
    std::fs::copy(store.join("D-1.brim"), store.join("E-copy.brim")).expect("a disk");
    let mut bytes = std::fs::read(store.join("D-2.brim")).expect("a recording");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    // Its other names keep what they hold.
    std::fs::remove_file(store.join("D-2.brim")).expect("a disk");
    std::fs::write(store.join("D-2.brim"), &bytes).expect("a disk");
    let output = ledger(&[text, "--csv"]);
    assert!(output.status.success(), "{}", said(&output));
    for words in ["other.brim: is not a recording", "E-copy.brim: it is a copy of"] {
        assert!(said(&output).contains(words), "{words:?} is not in\n{}", said(&output));
    }
    let table = String::from_utf8(output.stdout).expect("text");
    assert_eq!(table.lines().count(), 6, "{table}");
    let row = json(&store)["deliveries"].as_array().expect("rows").iter().find(|r| r["delivery"] == "D-2").cloned();
    assert!(row.expect("D-2")["damage"][0].as_str().expect("words").contains("damage from byte"));
    let found = ledger(&[text, "--search", "d-3", "--from", "2026-11-01", "--to", "2026-11-30"]);
    assert_eq!(String::from_utf8(found.stdout).expect("text").matches("D-3").count(), 1);
}
