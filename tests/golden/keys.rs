//! What `replay --json` writes and what docs/interface.md lists is the same.

use crate::samples;
use crate::toy::{self, Toy};
use brimwatch::engine::input::Carried;
use brimwatch::recording::Watch;
use brimwatch::recording::export::{TableForm, export_from};
use brimwatch::recording::format::Header;
use brimwatch::recording::json::json_lines;
use brimwatch::recording::origin::Origin;
use brimwatch::recording::stream::Stream;
use brimwatch::recording::writer::Recorder;
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;

/// Lines of a recording in which everything occurs: two verdicts, an alarm, one of every reason, what was really so.
fn lines() -> Vec<Value> {
    let origin = Origin { file: "history.csv".into(), bytes: 1, rows: 1, blake3: "00".into() };
    let mut header: Header = samples::header(Carried::default());
    header.texts.push(origin.text());
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("segment");
    let recorder = Recorder::create(&path, &header).expect("a new file");
    toy::feed(&recorder, &mut Toy::begin(header.settings.clone(), header.carried.clone()), &toy::inputs(3, 8));
    recorder.truth(&samples::truth());
    recorder.finish().expect("a disk");
    let bytes = std::fs::read(&path).expect("the recording");
    let mut out = vec![];
    json_lines(Path::new("segment"), &bytes, 0.0, &mut out).expect("a recording");
    let text = String::from_utf8(out).expect("text");
    text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
}

fn keys(value: &Value, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => map.iter().for_each(|(key, value)| {
            found.insert(key.clone());
            keys(value, found);
        }),
        Value::Array(list) => list.iter().for_each(|value| keys(value, found)),
        _ => {}
    }
}

/// The part of the paper under a heading, up to the next of its rank.
fn section<'p>(paper: &'p str, heading: &str) -> &'p str {
    let from = paper.find(&format!("\n{heading}\n")).unwrap_or_else(|| panic!("no {heading}")) + 1;
    let rank = heading.split(' ').next().expect("a heading");
    let end =
        paper[from + heading.len()..].find(&format!("\n{rank} ")).map_or(paper.len(), |n| from + heading.len() + n);
    &paper[from..end]
}

/// Words in backticks.
fn words(text: &str) -> BTreeSet<String> {
    let plain = |word: &&str| {
        !word.is_empty() && word.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_')
    };
    text.split('`').skip(1).step_by(2).map(|word| word.trim_matches('"')).filter(plain).map(str::to_owned).collect()
}

/// Words in the first column of tables that list keys.
fn listed(text: &str) -> BTreeSet<String> {
    let mut of_keys = false;
    let mut found = BTreeSet::new();
    for line in text.lines() {
        match line.strip_prefix("| ").and_then(|row| row.split_once(" |")) {
            Some(("key", _)) => of_keys = true,
            Some((first, _)) if of_keys => found.extend(words(first)),
            Some(_) => {}
            None => of_keys = line.starts_with("| ---") && of_keys,
        }
    }
    found
}

/// Endings that only a key has.
const UNITS: [&str; 8] = ["_ns", "_s", "_kg", "_m", "_si", "_pa_gauge", "_per_min", "_per_s"];

#[test]
fn every_key_is_in_the_paper_and_every_key_of_the_paper_occurs() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/interface.md");
    let paper = std::fs::read_to_string(path).expect("the paper");
    let sections = ["### frame", "### verdict", "## Replay as JSON"].map(|heading| section(&paper, heading));
    let documented: BTreeSet<String> = sections.iter().flat_map(|text| words(text)).collect();
    let mut occurring = BTreeSet::new();
    lines().iter().for_each(|line| keys(line, &mut occurring));
    assert!(occurring.len() > 100, "{}", occurring.len());
    let undocumented: Vec<_> = occurring.difference(&documented).collect();
    assert!(undocumented.is_empty(), "not in docs/interface.md: {undocumented:?}");

    let mut promised: BTreeSet<String> = sections.iter().flat_map(|text| listed(text)).collect();
    promised.extend(documented.into_iter().filter(|word| UNITS.iter().any(|unit| word.ends_with(unit))));
    assert!(promised.len() > 80, "{}", promised.len());
    let absent: Vec<_> = promised.difference(&occurring).collect();
    assert!(absent.is_empty(), "in docs/interface.md, but in no line: {absent:?}");
    println!("{} keys occur and are documented; {} promised keys occur", occurring.len(), promised.len());
}

/// Columns of `export` are those of the paper; a signal's stand there by their pattern.
#[test]
fn every_column_is_in_the_paper() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/interface.md");
    let paper = std::fs::read_to_string(path).expect("the paper");
    let documented = listed(section(&paper, "## A recording as a table"));
    let bytes = toy::recorded::<Toy>(&samples::header(Carried::default()), &toy::inputs(3, 8));
    let recording = Stream::new(Path::new("segment"), &bytes[..]).expect("a recording");
    let mut out = Vec::new();
    let done = export_from(recording, TableForm::Csv, 0.0, &mut out).expect("a table");
    let text = String::from_utf8(out).expect("text");
    let columns: BTreeSet<String> = text.lines().next().expect("a head").split(',').map(str::to_owned).collect();
    let of_signals = ["flow_total_flow_total_kg", "scale_scale_kg", "level_level_m", "pad_pad_pressure_pa_gauge"];
    let of_signals = of_signals.iter().flat_map(|name| [(*name).to_owned(), format!("{name}_validity")]).collect();
    let fixed: BTreeSet<String> = columns.difference(&of_signals).cloned().collect();
    assert_eq!(fixed, documented);
    assert_eq!(columns.len(), documented.len() + of_signals.len());
    assert_eq!(text.lines().count() as u64, done.rows + 1);
    // A torn end is said, and what stands before it is taken.
    let torn = Stream::new(Path::new("segment"), &bytes[..bytes.len() - 70]).expect("a recording");
    let cut = export_from(torn, TableForm::Csv, 0.0, Vec::new()).expect("a table");
    assert!(cut.stopped.is_some() && cut.rows <= done.rows && cut.rows > 0, "{cut:?}");
}

/// The last line sums the others up: alarms, times in each verdict, final masses, all as the frames had them.
#[test]
fn the_last_line_is_the_sum_of_the_others() {
    let lines = lines();
    let frames: Vec<&Value> = lines.iter().filter(|line| line["kind"] == "frame").collect();
    let (last, end) = (&frames.last().expect("frames")["frame"], lines.last().expect("lines"));
    assert_eq!(end["kind"], "end");
    assert_eq!(end["together_kg"], last["together"]["received_kg"]);
    for (i, mass) in end["masses"].as_array().expect("three").iter().enumerate() {
        assert_eq!(mass["received_kg"], last["witnesses"][i]["received_kg"]);
    }
    let seconds = |line: &Value| line["at_ns"].as_f64().expect("a time") / 1e9;
    let lasted = seconds(frames[frames.len() - 1]) - seconds(frames[0]);
    assert!((end["lasted_s"].as_f64().expect("a time") - lasted).abs() < 1e-9);
    // The toy's transfer starts with its alarm and its second verdict, and both stay.
    let since = frames.iter().find(|line| line["frame"]["phase"] == "transfer").expect("a transfer");
    let held = seconds(frames[frames.len() - 1]) - seconds(since);
    assert_eq!(end["verdicts"], serde_json::json!([{ "word": "agree", "lasted_s": held }]));
    let alarm = &end["alarms"][0];
    assert_eq!((&alarm["came"], &alarm["open"], alarm["lasted_s"].as_f64()), (&1.into(), &true.into(), Some(held)));
    for line in &frames {
        let tank = &line["frame"]["tank"];
        let room = tank["high_high_kg"].as_f64().zip(tank["contents_kg"].as_f64()).map(|(full, now)| full - now);
        assert_eq!(line["room"]["high_high_kg"].as_f64(), room);
        assert_eq!(
            line["since_start_s"].as_f64().map(|s| s + 2.0),
            Some(seconds(line)),
            "the sample's start is at 2 s"
        );
    }
}
