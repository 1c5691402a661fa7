//! Alarm settings changed while a watch runs: checked, logged, on record, and no poll missed.

use super::drilled;
use super::running::Program;
use brimwatch::engine::input::Event;
use brimwatch::people::{People, Role};
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

fn no_poll_is_missed(program: &Program) {
    let (status, frame) = program.request("GET /bay/bay-1/frame.json", "");
    assert_eq!(status, 200);
    let frame: Value = serde_json::from_str(&frame).expect("JSON");
    for device in frame["frame"]["devices"].as_array().expect("devices") {
        assert_eq!(device["missed"], 0, "{device}");
        assert!(device["answered"].as_u64().is_some_and(|n| n >= 2), "{device}");
    }
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
    no_poll_is_missed(&program);
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

/// What the page is given, and what it says.
fn post(program: &Program, path: &str, cookie: &str, body: &Value) -> (String, Value) {
    let answer = program.answer(&format!("POST {path}"), cookie, &body.to_string());
    let (head, body) = answer.split_once("\r\n\r\n").expect("a body");
    (head.to_owned(), serde_json::from_str(body).expect("JSON"))
}

#[tokio::test(flavor = "multi_thread")]
async fn an_engineer_changes_settings_on_the_page() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 1).await;
    let (site, store): (PathBuf, PathBuf) = (drilled.site_file.clone(), drilled.site.store.clone());
    let mut people = People::default();
    people.add("J. Doe", Role::Engineer, "a long enough one").expect("added");
    people.save(&folder.path().join("people.toml")).expect("written");
    let text = std::fs::read_to_string(&site).expect("the site file");
    let text = text.replacen("[site]\n", "[site]\npeople = \"people.toml\"  # who may act\n", 1);
    std::fs::write(&site, &text).expect("a disk");
    let mut program = Program::start(&drilled);

    let (head, _) =
        post(&program, "/sign-in", "", &serde_json::json!({ "name": "J. Doe", "password": "a long enough one" }));
    let cookie = head.split("brimwatch_session=").nth(1).and_then(|c| c.split(';').next()).expect("a cookie");
    let cookie = format!("\r\nCookie: brimwatch_session={cookie}");
    let page = program.answer("GET /settings", "", "");
    let version = page.split("data-version=\"").nth(1).and_then(|v| v.split('"').next()).expect("a version").to_owned();
    let ask = |version: &str, values: Value, reason: &str, apply: bool| {
        let body = serde_json::json!({ "version": version, "values": values, "reason": reason, "apply": apply });
        let (head, said) = post(&program, "/settings", &cookie, &body);
        (head.split(' ').nth(1).expect("a status").to_owned(), said)
    };
    // Beyond its bounds, too near the level below, another thing than a setting: refused in the site file's own words.
    let pad = serde_json::json!({ "alarms.near_ceiling": "110 %" });
    let level = serde_json::json!({ "tank \"204\".high_high": "3.93 m" });
    let period = serde_json::json!({ "device \"truck scale\".period": "9 s" });
    for (values, words) in [(&pad, "50 to 100 %"), (&level, "tank.high_high"), (&period, "no alarm setting")] {
        for apply in [false, true] {
            let (status, said) = ask(&version, values.clone(), "quieter", apply);
            let says = said["says"].as_str().expect("a sentence");
            assert!(status == "409" && says.contains(words) && said["taken"] == false, "{said}");
        }
    }
    let before = log(&store).len();
    assert_eq!(before, 3, "what was to be applied is in the log, what was only looked at is not");
    assert_eq!(std::fs::read_to_string(&site).expect("the site file"), text);

    let values = serde_json::json!({ "alarms.on_delay": "7 s", "tank \"204\".high_high": "4.15 m" });
    let (status, said) = ask(&version, values.clone(), "", false);
    assert!(status == "200" && said["taken"] == false, "{said}");
    let changed = said["changed"].as_array().expect("a list").clone();
    assert_eq!(changed.len(), 2, "{said}");
    assert_eq!(changed[0], serde_json::json!({ "key": "alarms.on_delay", "before": null, "after": "\"7 s\"" }));
    let (status, said) = ask(&version, values.clone(), "", true);
    assert!(status == "409" && said["says"].as_str().is_some_and(|s| s.contains("reason")), "{said}");
    let (status, said) = ask(&version, values.clone(), "the pad hunts", true);
    assert!(status == "200" && said["taken"] == true && said["changed"] == Value::Array(changed), "{said}");
    let (status, said) = ask(&version, values, "again", true);
    assert!(status == "409" && said["says"].as_str().is_some_and(|s| s.contains("Load it anew")), "{said}");

    let log = log(&store);
    let last = log.last().expect("a line");
    assert_eq!(
        (&last["taken"], &last["who"], &last["reason"]),
        (&true.into(), &"J. Doe".into(), &"the pad hunts".into())
    );
    // The site file holds it, with every comment.
    let now = std::fs::read_to_string(&site).expect("the site file");
    assert!(now.contains("# who may act") && now.contains("on_delay = \"7 s\"") && now.contains("4.15 m"), "{now}");
    assert_eq!(now, std::fs::read_to_string(store.join("in-force.toml")).expect("a file"));
    tokio::time::sleep(Duration::from_secs(2)).await;
    no_poll_is_missed(&program);
    program.child.kill().expect("killed");
    program.child.wait().expect("gone");
    assert_eq!(on_record(&store), [("J. Doe".to_owned(), "the pad hunts".to_owned(), 7.0)]);
}
