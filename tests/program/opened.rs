//! A delivery opened at a bay that is being watched: nothing goes unwatched between two loads.

use super::drilled;
use super::running::Program;
use brimwatch::engine::input::{Event, What};
use brimwatch::recording::format::Kind;
use brimwatch::recording::{reader, stream};
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};

fn brimwatch(arguments: &[&Path]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_brimwatch")).args(arguments).output().expect("the program")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&[output.stdout.as_slice(), &output.stderr].concat()).into_owned()
}

/// Who opened which delivery, by a recording.
fn opened(path: &Path) -> Vec<(String, String)> {
    let mut recording = stream::open(path).expect("a recording");
    let mut found = Vec::new();
    while let Some(record) = recording.next_record().expect("a disk") {
        if record.kind == Kind::Input
            && let Event::Entry(entry) = reader::input(&record).expect("an input").event
            && let What::DeliveryOpened(setup) = entry.what
        {
            found.push((entry.who, setup.id));
        }
    }
    found
}

/// The first delivery is rejected; the next is opened in a recording of its own without a new start, and no poll is missed.
/// Opened twice, or under the number of the one before, it is refused in words. List and record say why the first was
/// rejected.
#[tokio::test(flavor = "multi_thread")]
async fn the_next_delivery_is_opened_on_the_run() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 4).await;
    let open = |papers: &Path| {
        brimwatch(&[Path::new("open"), &drilled.site_file, papers, Path::new("--who"), Path::new("A. Weir")])
    };
    let nobody = open(&drilled.delivery_file);
    assert!(nobody.status.code() == Some(1) && said(&nobody).contains("no watch"), "{}", said(&nobody));
    let program = Program::start(&drilled);
    program.frame_when("the first delivery is open", |frame| frame["delivery"]["id"] == "drill-1");

    let next = folder.path().join("next.toml");
    let text = std::fs::read_to_string(&drilled.delivery_file).expect("papers");
    assert!(text.contains("id = \"drill-1\""), "{text}");
    std::fs::write(&next, text.replacen("id = \"drill-1\"", "id = \"drill-2\"", 1)).expect("a disk");
    let twice = open(&next);
    assert!(twice.status.code() == Some(2) && said(&twice).contains("open already"), "{}", said(&twice));

    let reject = "{\"what\": {\"rejected\": {\"reason\": \"seal 88102 broken\"}}}";
    let (status, answer) = program.request("POST /bay/bay-1/entry", reject);
    assert_eq!(status, 200, "{answer}");
    let again = open(&drilled.delivery_file);
    assert!(again.status.code() == Some(2) && said(&again).contains("another id"), "{}", said(&again));
    let done = open(&next);
    assert!(done.status.success() && said(&done).contains("drill-2 is open"), "{}", said(&done));
    let frame = program.frame_when("the next delivery is open", |frame| frame["delivery"]["id"] == "drill-2");
    assert_eq!((&frame["phase"], &frame["delivery"]["rejected"]), (&"opened".into(), &Value::Null));
    for device in frame["devices"].as_array().expect("devices") {
        assert_eq!(device["missed"], 0, "{device}");
    }

    let recordings = brimwatch::tune::recordings(std::slice::from_ref(&drilled.site.store)).expect("a store");
    assert_eq!(recordings.len(), 2, "{recordings:?}");
    assert_eq!(opened(&recordings[0]), [("delivery file".to_owned(), "drill-1".to_owned())]);
    assert_eq!(opened(&recordings[1]), [("A. Weir".to_owned(), "drill-2".to_owned())]);
    let list = brimwatch(&[Path::new("ledger"), &drilled.site.store]);
    for words in ["drill-1", "rejected: seal 88102 broken", "drill-2", "running"] {
        assert!(said(&list).contains(words), "{words:?} is not in\n{}", said(&list));
    }
    let record = folder.path().join("rejected.html");
    let report = brimwatch(&[Path::new("report"), &recordings[0], Path::new("--out"), &record]);
    assert!(report.status.success(), "{}", said(&report));
    let paper = std::fs::read_to_string(&record).expect("a paper");
    assert!(paper.contains("REJECTED by bay screen") && paper.contains("seal 88102 broken"), "not on the paper");
    let verified = brimwatch(&[Path::new("verify"), &recordings[0], &record]);
    assert!(verified.status.success(), "{}", said(&verified));
    let other = brimwatch(&[Path::new("verify"), &recordings[1], &record]);
    assert!(other.status.code() == Some(10) && said(&other).contains("another delivery"), "{}", said(&other));

    // A further leg of the same number is opened once, in a recording of its own.
    let (status, answer) = program.request("POST /bay/bay-1/entry", reject);
    assert_eq!(status, 200, "{answer}");
    let leg = folder.path().join("leg.toml");
    let text = std::fs::read_to_string(&next).expect("papers");
    let on_board = "[leg]\nnumber = 2\non_board = \"20 t\"\non_board_u = \"40 kg\"\n\n[ticket]";
    std::fs::write(&leg, text.replacen("[ticket]", on_board, 1)).expect("a disk");
    let done = open(&leg);
    assert!(done.status.success(), "{}", said(&done));
    program.frame_when("the second leg is open", |frame| frame["delivery"]["leg"] == 2);
    let (status, answer) = program.request("POST /bay/bay-1/entry", reject);
    assert_eq!(status, 200, "{answer}");
    let again = open(&leg);
    assert!(again.status.code() == Some(2) && said(&again).contains("on record already"), "{}", said(&again));
    let list = brimwatch(&[Path::new("ledger"), &drilled.site.store]);
    assert!(said(&list).contains("drill-2, leg 2"), "{}", said(&list));
}
