//! `brimwatch tune` as its users meet it: deliveries on record, one with a leak, tried under other settings.

use super::recorded;
use brimwatch::config::{DeliveryFile, Site};
use brimwatch::recording::format::Kind;
use brimwatch::recording::{reader, stream};
use brimwatch::tune::{Choice, Labels, Plan, TuneError, choices, run};
use brimwatch_simulator::scenario;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// The leak begins so long after the recording, s, and is so large, kg/s.
const LEAK: (f64, f64) = (900.0, 0.8);
/// Each recording lasts so long, s.
const LASTS_S: u64 = 1_500;

struct Works {
    _folder: tempfile::TempDir,
    site_file: PathBuf,
    store: PathBuf,
    pushed: PathBuf,
}

/// Deliveries on record, made once: `a.brim` clean, `b.brim` with a leak behind the meter, and elsewhere `c.brim`, whose
/// pad regulator is turned up by 100 kPa.
fn works() -> &'static Works {
    static WORKS: OnceLock<Works> = OnceLock::new();
    WORKS.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let (site, delivery): (Site, DeliveryFile) =
            scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
        for (name, text) in &site.texts {
            let to = folder.path().join(name);
            std::fs::create_dir_all(to.parent().expect("a folder")).expect("a disk");
            std::fs::write(to, text).expect("a disk");
        }
        let store = folder.path().join("recordings/bay-1");
        std::fs::create_dir_all(&store).expect("a disk");
        let pushed = folder.path().join("c.brim");
        for (path, mishap) in [
            (store.join("a.brim"), None),
            (store.join("b.brim"), scenario::mishap("leak after the meter", LEAK.0, LEAK.1)),
            (pushed.clone(), scenario::mishap("pad change", 400.0, 100_000.0)),
        ] {
            let bay = &site.bays[delivery.bay];
            let mut recording = recorded::Recording::begin(&path, &site.texts, bay, &delivery, 3);
            let lasts_s = if path == pushed { LASTS_S / 2 } else { LASTS_S };
            assert!(mishap.is_some() || path.ends_with("a.brim"), "a mishap of that name");
            if let Some(mishap) = mishap {
                recording.plant.add_mishap(mishap);
            }
            recording.seconds(lasts_s);
            recording.end();
        }
        let site_file = folder.path().join(&site.texts[0].0);
        Works { _folder: folder, site_file, store, pushed }
    })
}

fn tune(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_brimwatch")).arg("tune").args(arguments).output().expect("the program")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// When each alarm was first open by the outputs on record, s.
fn on_record(path: &Path) -> BTreeMap<String, f64> {
    let mut recording = stream::open(path).expect("a recording");
    let mut first = BTreeMap::new();
    while let Some(record) = recording.next_record().expect("a disk") {
        if record.kind == Kind::Output {
            let frame = reader::frame(&record).expect("a frame");
            for alarm in &frame.alarms {
                let name = format!("{:?}", alarm.key.id);
                first.entry(name).or_insert(frame.at.since_s(brimwatch::time::EngineTime(0)));
            }
        }
    }
    first
}

/// `witnesses_disagree` as the engine spells it.
fn spelt(code: &str) -> String {
    let capital = |word: &str| word[..1].to_uppercase() + &word[1..];
    code.split('_').map(capital).collect()
}

/// Every key of a JSON value and of all in it.
pub fn keys_of(value: &Value, found: &mut Vec<String>) {
    match value {
        Value::Object(map) => map.iter().for_each(|(key, value)| {
            found.push(key.clone());
            keys_of(value, found);
        }),
        Value::Array(list) => list.iter().for_each(|value| keys_of(value, found)),
        _ => {}
    }
}

/// Settings as recorded alarm when the outputs on record say so; a stricter budget finds the leak later and a looser one
/// sooner; what was called for is told from what was not; the paper has its picture.
#[test]
fn a_sweep_trades_delay_against_false_alarms() {
    let works = works();
    let out = tempfile::tempdir().expect("a folder");
    let labels = out.path().join("labels.csv");
    let rows = format!("recording,alarm,from_s,to_s\na.brim,,,\nb.brim,witnesses_disagree,{},{LASTS_S}\n", LEAK.0);
    std::fs::write(&labels, rows).expect("a disk");
    let results = out.path().join("results");
    let [store, site, labels, out_text] =
        [&works.store, &works.site_file, &labels, &results].map(|p| p.to_str().expect("text"));
    let sweep = "alarms.false_disagreements=0.0001 %,0.1 %,5 %";
    let output = tune(&[store, "--site", site, "--try", sweep, "--labels", labels, "--out", out_text]);
    assert!(output.status.success(), "{}", said(&output));

    let json: Value = serde_json::from_slice(&std::fs::read(results.join("tune.json")).expect("JSON")).expect("JSON");
    assert_eq!(json["recordings"], 2);
    let choices = json["choices"].as_array().expect("choices");
    assert_eq!(choices.len(), 5);
    let recorded = std::fs::read_to_string(results.join("occurrences.csv")).expect("a table");
    let mut compared = 0;
    for name in ["a.brim", "b.brim"] {
        let mut tried: BTreeMap<String, f64> = BTreeMap::new();
        for row in recorded.lines().filter(|row| row.starts_with(&format!("{name},")) && row.contains(",as recorded,"))
        {
            let cells: Vec<&str> = row.split(',').collect();
            tried.entry(spelt(cells[3])).or_insert(cells[5].parse().expect("a time"));
        }
        let stored = on_record(&works.store.join(name));
        assert_eq!(tried, stored, "{name}");
        compared += stored.len();
    }
    assert!(compared > 0);
    let disagree = |choice: &Value| {
        let alarms = choice["alarms"].as_array().expect("alarms");
        alarms.iter().find(|a| a["alarm"] == "witnesses_disagree").cloned().expect("the leak is found")
    };
    let delays: Vec<f64> =
        choices[2..].iter().map(|c| disagree(c)["delay_middle_s"].as_f64().expect("it was called for")).collect();
    assert!(delays[0] > delays[1] && delays[1] > delays[2] && delays[2] > 0.0, "{delays:?}");
    assert_eq!(disagree(&choices[0])["called_for"], 1);
    let changes = std::fs::read_to_string(results.join("changes.csv")).expect("a table");
    assert!(changes.contains("witnesses_disagree,,moves,"), "{changes}");
    assert!(json["proposals"].as_array().is_some_and(|list| list.is_empty()), "2,880 values are too few");

    let documented = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/interface.md"));
    let documented = documented.expect("the paper");
    let section = documented.split("## Settings tried on recordings").nth(1).and_then(|s| s.split("\n## ").next());
    let mut keys = Vec::new();
    keys_of(&json, &mut keys);
    for key in keys {
        assert!(section.expect("a section").contains(&format!("`{key}`")), "{key} is not in docs/interface.md");
    }

    let paper = std::fs::read_to_string(results.join("tune.html")).expect("a paper");
    assert!(paper.contains("<svg") && paper.contains("nuisance alarms in 100 h"), "no picture");
    for word in [" safe", "all clear", " OK", "normal"] {
        assert!(!paper.contains(word), "{word}");
    }
}

/// How long before its ceiling the pad was called near it: the same as by the outputs on record.
#[test]
fn the_lead_is_from_the_alarm_to_what_it_is_for() {
    let works = works();
    let folder = tempfile::tempdir().expect("a folder");
    let (recordings, labels, choices) = ([works.pushed.clone()], Labels::default(), [Choice::recorded()]);
    let plan = Plan { recordings: &recordings, choices: &choices, labels: &labels, out: folder.path(), cores: 2 };
    run(&plan, &AtomicBool::new(false), &mut |_| {}).expect("results");
    let json: Value =
        serde_json::from_slice(&std::fs::read(folder.path().join("tune.json")).expect("JSON")).expect("JSON");
    let alarms = json["choices"][0]["alarms"].as_array().expect("alarms");
    let near = alarms.iter().find(|a| a["alarm"] == "pad_near_ceiling").expect("it came");
    let (leads, unannounced) = (near["leads_s"].as_array().expect("leads"), &near["unannounced"]);
    assert_eq!((leads.len(), unannounced), (1, &0.into()), "{near}");

    let mut recording = stream::open(&works.pushed).expect("a recording");
    let (mut came_s, mut there_s) = (None, None);
    while let Some(record) = recording.next_record().expect("a disk") {
        if record.kind != Kind::Output {
            continue;
        }
        let frame = reader::frame(&record).expect("a frame");
        let at_s = frame.at.since_s(brimwatch::time::EngineTime(0));
        if frame.alarms.iter().any(|a| format!("{:?}", a.key.id) == "PadNearCeiling") {
            came_s.get_or_insert(at_s);
        }
        if frame.pad.pressure_pa_gauge.zip(frame.pad.ceiling_pa_gauge).is_some_and(|(p, ceiling)| p >= ceiling) {
            there_s.get_or_insert(at_s);
        }
    }
    let lead_s = there_s.expect("it reached the ceiling") - came_s.expect("it was called near");
    // Readings are half a second older than the frames that show them.
    let got = leads[0].as_f64().expect("a number");
    assert!(got > 0.0 && (got - lead_s).abs() <= 1.0, "{got} s against {lead_s} s");
}

/// Stopped after the first recording and started again, a run gives what it gives in one go, byte for byte.
#[test]
fn a_stopped_run_goes_on() {
    let works = works();
    let folder = tempfile::tempdir().expect("a folder");
    let recordings = [works.store.join("a.brim"), works.store.join("b.brim")];
    let (labels, choices) = (Labels::default(), [Choice::recorded()]);
    let [whole, parts] = ["whole", "parts"].map(|name| folder.path().join(name));
    let plan = |out| Plan { recordings: &recordings, choices: &choices, labels: &labels, out, cores: 1 };
    run(&plan(&whole), &AtomicBool::new(false), &mut |_| {}).expect("results");

    let stop = AtomicBool::new(false);
    let stopped = run(&plan(&parts), &stop, &mut |progress| {
        if progress.done == 1 {
            stop.store(true, Ordering::Relaxed);
        }
    });
    let Err(TuneError::Stopped { done, all: 2 }) = stopped else { panic!("{stopped:?}") };
    assert!(!parts.join("tune.json").exists());
    // A line that the program was stopped in the midst of is written anew.
    let progress = parts.join("progress.jsonl");
    let mut bytes = std::fs::read(&progress).expect("a file");
    bytes.extend(b"{\"recording\":");
    std::fs::write(&progress, bytes).expect("a disk");
    let mut begun_with = None;
    run(&plan(&parts), &AtomicBool::new(false), &mut |progress| {
        begun_with.get_or_insert(progress.done);
    })
    .expect("results");
    assert_eq!(begun_with, Some(done), "what was done is not done again");
    for name in ["tune.json", "occurrences.csv", "alarms.csv", "tune.html"] {
        let read = |folder: &Path| std::fs::read(folder.join(name)).expect("a file");
        assert_eq!(read(&whole), read(&parts), "{name}");
    }
}

/// Ctrl-C in the midst of a run ends it with what it has done on the disk; the same command goes on from there and gives what
/// an unstopped run gives, byte for byte.
#[test]
fn ctrl_c_leaves_what_the_same_command_goes_on_from() {
    const COPIES: usize = 8;
    let works = works();
    let folder = tempfile::tempdir().expect("a folder");
    let store = folder.path().join("store");
    std::fs::create_dir(&store).expect("a disk");
    for i in 0..COPIES {
        let of = if i % 2 == 0 { "a.brim" } else { "b.brim" };
        std::fs::hard_link(works.store.join(of), store.join(format!("{i}.brim"))).expect("a link");
    }
    let [whole, parts] = ["whole", "parts"].map(|name| folder.path().join(name));
    let command = |out: &Path| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_brimwatch"));
        command.arg("tune").arg(&store).arg("--site").arg(&works.site_file).arg("--out").arg(out);
        command.args(["--try", "alarms.on_delay=1 s,10 s", "--cores", "1"]).stderr(Stdio::piped());
        command
    };
    let done_in = |folder: &Path| {
        let text = std::fs::read_to_string(folder.join("progress.jsonl")).unwrap_or_default();
        text.matches('\n').count().saturating_sub(1)
    };
    assert!(command(&whole).output().expect("the program").status.success());

    let child = command(&parts).spawn().expect("the program");
    let until = Instant::now() + Duration::from_secs(60);
    while done_in(&parts) == 0 {
        assert!(Instant::now() < until, "no recording was done within a minute");
        std::thread::sleep(Duration::from_millis(5));
    }
    // SIGINT is what a terminal sends at Ctrl-C.
    let sent = Command::new("sh").args(["-c", &format!("kill -INT {}", child.id())]).status().expect("a shell");
    assert!(sent.success());
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    let done = done_in(&parts);
    assert!(done < COPIES && !parts.join("tune.json").exists(), "it was stopped in the midst");
    assert!(said(&output).contains(&format!("stopped after {done} of {COPIES}")), "{}", said(&output));

    let begun = std::fs::read(parts.join("progress.jsonl")).expect("a file");
    assert!(command(&parts).output().expect("the program").status.success());
    let ended = std::fs::read(parts.join("progress.jsonl")).expect("a file");
    assert!(ended.starts_with(&begun), "what was done is not done again");
    for name in ["tune.json", "occurrences.csv", "changes.csv", "alarms.csv", "tune.html"] {
        let read = |folder: &Path| std::fs::read(folder.join(name)).expect("a file");
        assert_eq!(read(&whole), read(&parts), "{name}");
    }
}

/// What cannot be tried is said with what to do; a setting beyond its bounds is refused like in a site file.
#[test]
fn what_cannot_be_tried_is_said() {
    let works = works();
    let folder = tempfile::tempdir().expect("a folder");
    let (out, store, site) = (folder.path().join("out"), works.store.clone(), works.site_file.clone());
    let [out, store, site] = [&out, &store, &site].map(|p| p.to_str().expect("text"));
    for (sweep, words) in [
        ("alarms.on_dealy=3 s", "nearest: on_delay"),
        ("alarms.near_ceiling=110 %", "50 to 100 %"),
        ("alarms.on_delay=10 min", "0 to 1 min"),
        ("alarms.on_delay", "KEY=VALUE"),
    ] {
        let output = tune(&[store, "--site", site, "--try", sweep, "--out", out]);
        assert_eq!(output.status.code(), Some(2), "{}", said(&output));
        assert!(said(&output).contains(words), "{words:?} is not in\n{}", said(&output));
    }
    let output = tune(&[folder.path().to_str().expect("text"), "--out", out]);
    assert_eq!(output.status.code(), Some(4), "{}", said(&output));
    let none = choices(None, &[], &["alarms.on_delay=3 s".to_owned()]);
    assert!(none.expect_err("no site file").contains("--site"));
    let two = choices(Some(&works.site_file), std::slice::from_ref(&works.site_file), &[]).expect("choices");
    assert_eq!(two.iter().map(|c| c.site.is_some()).collect::<Vec<_>>(), [true, false, true]);

    // A file that is no recording is left out by name, the others are taken.
    let mixed = folder.path().join("mixed");
    std::fs::create_dir_all(&mixed).expect("a disk");
    std::fs::write(mixed.join("x.brim"), b"no recording").expect("a disk");
    let [mixed, b] = [mixed, works.store.join("b.brim")].map(|p| p.to_str().expect("text").to_owned());
    let output = tune(&[&mixed, &b, "--out", out]);
    assert!(output.status.success() && said(&output).contains("left out: x.brim"), "{}", said(&output));
}
