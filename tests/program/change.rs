//! Alarm settings changed while a watch runs: checked, logged, on record, and no poll missed.

use super::drilled;
use super::running::Program;
use brimwatch::engine::input::Event;
use brimwatch::recording::format::Kind;
use brimwatch::recording::{reader, stream};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

fn change(site: &Path, reason: &str, apply: bool) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_brimwatch"));
    command.arg("change").arg(site).args(["--who", "J. Doe", "--reason", reason]);
    if apply {
        command.arg("--apply");
    }
    command.output().expect("the program")
}

fn text(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// Every change of settings on record: who, why, on-delay.
fn on_record(store: &Path) -> Vec<(String, String, f64)> {
    let mut found = Vec::new();
    for path in brimwatch::tune::recordings(&[store.to_owned()]).expect("a store") {
        let mut recording = stream::open(&path).expect("a recording");
        while let Some(record) = recording.next_record().expect("a disk") {
            if record.kind != Kind::Input {
                continue;
            }
            if let Event::Settings(new) = reader::input(&record).expect("an input").event {
                found.push((new.who, new.reason, new.settings.thresholds.on_delay_s));
            }
        }
    }
    found
}

fn log(store: &Path) -> Vec<Value> {
    let text = std::fs::read_to_string(store.join("changes.jsonl")).unwrap_or_default();
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn settings_change_on_the_run_and_no_poll_is_missed() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 1).await;
    let (site, store): (PathBuf, PathBuf) = (drilled.site_file.clone(), drilled.site.store.clone());
    assert_eq!(change(&site, "first", false).status.code(), Some(1), "nothing was started there");
    let mut program = Program::start(&drilled);
    let original = std::fs::read_to_string(&site).expect("the site file");
    let written = |text: &str| std::fs::write(&site, text).expect("a disk");
    let with_alarms = |lines: &str| {
        let body = original.replacen("[alarms]\n", "", 1);
        format!("[alarms]\n{lines}\n{body}")
    };

    // The same: nothing to change. Another device: not on the run. A fault: with its line. None of them is even asked.
    let output = change(&site, "nothing", true);
    assert!(output.status.code() == Some(2) && text(&output).contains("nothing to change"), "{}", text(&output));
    written(&original.replacen("period = \"1 s\"", "period = \"2 s\"", 1));
    let output = change(&site, "slower", true);
    let said = text(&output);
    assert!(output.status.code() == Some(2) && said.contains(".period: ") && said.contains("stop the watch"), "{said}");
    written(&with_alarms("near_ceiling = \"110 %\""));
    let output = change(&site, "quieter", true);
    assert!(output.status.code() == Some(2) && text(&output).contains("50 to 100 %"), "{}", text(&output));
    assert!(log(&store).is_empty());

    written(&with_alarms("on_delay = \"7 s\""));
    let shown = text(&change(&site, "the pad hunts", false));
    assert!(
        shown.contains("alarms.on_delay: (not written) -> \"7 s\"") && shown.contains("nothing was changed"),
        "{shown}"
    );
    let output = change(&site, "", true);
    assert!(output.status.code() == Some(2) && text(&output).contains("for what reason"), "{}", text(&output));
    let begun = Instant::now();
    let output = change(&site, "the pad hunts", true);
    assert!(output.status.success(), "{}", text(&output));
    println!("taken {:.1} s after it was asked for", begun.elapsed().as_secs_f64());

    // What is not sound is refused by the watch itself too, whoever wrote it there; the old stays.
    let bad = serde_json::json!({ "asked_unix_ns": 1, "who": "x", "reason": "y", "text": "[site]\nname = 3" });
    std::fs::write(store.join("change-asked.json"), bad.to_string()).expect("a disk");
    let until = Instant::now() + Duration::from_secs(10);
    while log(&store).len() < 2 && Instant::now() < until {
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    let log = log(&store);
    assert_eq!(log.len(), 2, "{log:?}");
    assert_eq!(
        (&log[0]["taken"], &log[0]["who"], &log[0]["reason"]),
        (&true.into(), &"J. Doe".into(), &"the pad hunts".into())
    );
    assert_eq!(log[0]["changed"][0]["key"], "alarms.on_delay");
    assert!(log[1]["taken"] == false && log[1]["why"].as_str().is_some_and(|why| why.contains("site.toml")), "{log:?}");

    tokio::time::sleep(Duration::from_secs(2)).await;
    let (status, frame) = program.request("GET /bay/bay-1/frame.json", "");
    assert_eq!(status, 200);
    let frame: Value = serde_json::from_str(&frame).expect("JSON");
    for device in frame["frame"]["devices"].as_array().expect("devices") {
        assert_eq!(device["missed"], 0, "{device}");
        assert!(device["answered"].as_u64().is_some_and(|n| n >= 2), "{device}");
    }
    program.child.kill().expect("killed");
    program.child.wait().expect("gone");
    assert_eq!(on_record(&store), [("J. Doe".to_owned(), "the pad hunts".to_owned(), 7.0)]);

    // Started again with the changed file it goes on with the same recording.
    let before = brimwatch::tune::recordings(std::slice::from_ref(&store)).expect("a store");
    let mut again = Program::start(&drilled);
    assert_eq!(brimwatch::tune::recordings(std::slice::from_ref(&store)).expect("a store"), before);
    again.child.kill().expect("killed");
    again.child.wait().expect("gone");
}
