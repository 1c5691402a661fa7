//! What histories are like: several rows a second, gaps, empty and held fields, jumbled rows, half lines, phases.

use super::{Desk, read};
use brimwatch::engine::input::{Event, Input, Measured, MissReason, Status, What};
use brimwatch::time::{EngineTime, SECOND_NS};

const MAP: &str = "
[time]
columns = [\"t\"]
format = \"epoch_s\"

[phase]
column = \"step\"
transfer = [\"UNLOAD\", \"UNLOAD 2\"]
closed = [\"END\"]

[[signal]]
signal = \"truck scale\"
column = \"kg\"
unit = \"kg\"

[[signal]]
signal = \"tank 204 level\"
column = \"mm\"
unit = \"mm\"

[[signal]]
signal = \"pad pressure\"
column = \"bar\"
unit = \"bar gauge\"
offset = -1.0
";

fn imported(desk: &Desk, rows: &str, map: &str) -> (String, Vec<Input>) {
    desk.write("h.csv", format!("t,kg,mm,bar,step\n{rows}"));
    desk.write("map.toml", map);
    let out = format!("{}.brim", desk.files().len());
    let (said, out) = desk.import("h.csv", "map.toml", &out);
    (said, read(&out).0)
}

/// Polls and misses as (ms, device, values).
fn answers(inputs: &[Input]) -> Vec<(u64, u16, Option<Vec<Measured>>)> {
    let told = inputs.iter().filter_map(|input| match &input.event {
        Event::Poll(poll) => Some((input.at, poll.device, Some(poll.values.iter().map(|v| v.value).collect()))),
        Event::Missed(missed) => {
            assert_eq!(missed.reason, MissReason::TimeOut);
            Some((input.at, missed.device, None))
        }
        _ => None,
    });
    told.map(|(at, device, values)| (at.0 / 1_000_000, device, values)).collect()
}

fn n(value: f64) -> Measured {
    Measured::Number(value)
}

/// Device 0 is the scale, 1 the one behind which gauge and pad stand; the line meter has no column.
#[test]
fn irregular_rows_jumbled_within_a_second_and_a_half_line() {
    let desk = Desk::new();
    let rows = "100,1000,500,2,IDLE\n100.25,1000,500,2,\n101.5,980,500,2,UNLOAD\n101.2,960,501,2,IDLE\n107,940,502,2,UNLOAD 2\n\
                108,900,503,2,END\n109,8";
    let (said, inputs) = imported(&desk, rows, MAP);
    let scale: Vec<_> = answers(&inputs).into_iter().filter(|a| a.1 == 0).map(|a| (a.0, a.2)).collect();
    let kg = |ms, value| (ms, Some(vec![n(value)]));
    let expected = [kg(0, 1000.0), kg(250, 1000.0), kg(1200, 960.0), kg(1500, 980.0), kg(7000, 940.0), kg(8000, 900.0)];
    assert_eq!(scale, expected);
    let Some((_, _, Some(values))) = answers(&inputs).into_iter().find(|a| a.1 == 1) else { panic!("a poll") };
    // 500 mm; 2 bar less 1 bar: 1e5 Pa.
    assert_eq!(values, [n(0.5), n(1e5)]);
    for words in ["1 rows were sorted", "1 rows came when", "1 line at the end", "6 of 6 rows", "flow total"] {
        assert!(said.contains(words), "{words:?} is not in {said}");
    }
    // Ticks go on through the gap, one each second, and entries come with the first row of their phase.
    let ticks: Vec<u64> = inputs.iter().filter(|i| i.event == Event::Tick).map(|i| i.at.0 / SECOND_NS).collect();
    assert_eq!(ticks, (1..=8).collect::<Vec<_>>());
    let entries: Vec<_> = inputs
        .iter()
        .filter_map(|i| match &i.event {
            Event::Entry(entry) if !matches!(entry.what, What::DeliveryOpened(_)) => {
                Some((i.at.0 / 1_000_000, &entry.what))
            }
            _ => None,
        })
        .collect();
    assert_eq!(entries, [(1500, &What::TransferStarted), (8000, &What::Closed)]);
}

#[test]
fn empty_bad_and_disowned_fields() {
    let desk = Desk::new();
    let map = format!("empty = [\"-\"]\nbad = [\"No Data\"]\n{MAP}quality = \"q\"\ngood = [\"192\"]\n");
    let rows = "0,1000,500,2,UNLOAD,192\n1,,500,2,UNLOAD,192\n2,1000,-,2,UNLOAD,192\n3,No Data,,,UNLOAD,192\n4,1000,500,3,UNLOAD,0\n";
    desk.write("h.csv", format!("t,kg,mm,bar,step,q\n{rows}"));
    desk.write("map.toml", &map);
    let (said, out) = desk.import("h.csv", "map.toml", "a.brim");
    let inputs = read(&out).0;
    let all = answers(&inputs);
    let (sound, not) = (Some(vec![n(0.5), n(1e5)]), Measured::NotANumber);
    let expected = [
        (0, 0, Some(vec![n(1000.0)])),
        (0, 1, sound.clone()),
        (1000, 0, None),
        (1000, 1, sound),
        (2000, 0, Some(vec![n(1000.0)])),
        (2000, 1, Some(vec![not, n(1e5)])),
        (3000, 0, Some(vec![not])),
        (3000, 1, None),
        (4000, 0, Some(vec![n(1000.0)])),
        (4000, 1, Some(vec![n(0.5), n(2e5)])),
    ];
    assert_eq!(all, expected);
    assert!(said.contains("2 missed") && said.contains("not closed"), "{said}");
    let last = inputs.iter().rev().find_map(|i| match &i.event {
        Event::Poll(poll) if poll.device == 1 => Some(poll.values.iter().map(|v| v.status).collect::<Vec<_>>()),
        _ => None,
    });
    assert_eq!(last, Some(vec![Status::Fair, Status::Failure]));

    // Where an empty field says nothing, nothing is told.
    desk.write("map.toml", format!("empty_means = \"nothing\"\n{map}"));
    let (said, out) = desk.import("h.csv", "map.toml", "b.brim");
    let told: Vec<_> = answers(&read(&out).0).into_iter().map(|(ms, device, _)| (ms, device)).collect();
    assert_eq!(told, [(0, 0), (0, 1), (1000, 1), (2000, 0), (2000, 1), (3000, 0), (4000, 0), (4000, 1)]);
    assert!(said.contains("0 missed"), "{said}");
}

/// A history that repeats what it last had: after 3 s the same value is no news, and a device of which nothing is new
/// tells nothing.
#[test]
fn held_values_are_no_readings() {
    let desk = Desk::new();
    let map = MAP.replace("unit = \"kg\"", "unit = \"kg\"\nheld_longer_than = \"3 s\"");
    let rows: String = (0..10).map(|s| format!("{s},{},500,2,UNLOAD\n", if s < 8 { 1000 } else { 980 })).collect();
    let (said, inputs) = imported(&desk, &rows, &map);
    let scale: Vec<u64> = answers(&inputs).into_iter().filter(|a| a.1 == 0).map(|a| a.0 / 1000).collect();
    assert_eq!(scale, [0, 1, 2, 3, 8, 9]);
    assert_eq!(answers(&inputs).iter().filter(|a| a.1 == 1).count(), 10, "without the key every value is new");
    assert!(said.contains("4 values were held"), "{said}");
}

/// Who wrote the history was away: nobody watched, and the clock of the engine goes on.
#[test]
fn a_long_gap_is_a_time_when_nobody_watched() {
    let desk = Desk::new();
    let (said, inputs) = imported(&desk, "0,1000,500,2,UNLOAD\n1,1000,500,2,UNLOAD\n3601.5,900,503,2,UNLOAD\n", MAP);
    let gap = inputs.iter().find_map(|input| match input.event {
        Event::Resumed(gap) => Some((gap.from, gap.to)),
        _ => None,
    });
    assert_eq!(gap, Some((EngineTime(SECOND_NS), EngineTime(3601 * SECOND_NS + SECOND_NS / 2))));
    assert_eq!(inputs.iter().filter(|i| i.event == Event::Tick).count(), 1);
    assert!(said.contains("nobody wrote the history"), "{said}");
}

/// A map cuts one delivery out of a long history.
#[test]
fn from_and_to_cut_a_part_out() {
    let desk = Desk::new();
    let rows: String = (0..100).map(|s| format!("{s},1000,500,2,{}\n", if s < 25 { "x" } else { "UNLOAD" })).collect();
    let map = format!("from = \"1970-01-01T00:00:20Z\"\nto = \"1970-01-01T00:00:29Z\"\n{MAP}");
    let (said, inputs) = imported(&desk, &rows, &map);
    assert!(said.contains("10 of 100 rows") && said.contains("90 rows before from or after to"), "{said}");
    assert_eq!(answers(&inputs).len(), 20);
    assert_eq!(answers(&inputs)[0].0, 0, "engine time begins with the first row used");
}

/// A mark of the byte order, lines before the names, carriage returns, a tab, a decimal comma, a field in quotes.
#[test]
fn tables_of_other_programs() {
    let desk = Desk::new();
    let plain = imported(&desk, "0,1000.5,500,2,UNLOAD\n1,1001,500,2.5,UNLOAD\n", MAP).1;
    let map = format!("header_line = 3\nseparator = \"tab\"\ndecimal = \"comma\"\n{MAP}");
    desk.write("map.toml", map);
    desk.write(
        "h.csv",
        "\u{feff}Report of \"the shift\r\n\r\n kg \t\"bar\"\tt\tstep\tmm\tother\r\n\"1000,5\"\t2\t0\tUNLOAD\t5e2\t\r\n1001\t2,5\t1\tUNLOAD\t500,0\tx\"y\r\n",
    );
    let (_, out) = desk.import("h.csv", "map.toml", "other.brim");
    assert_eq!(read(&out).0, plain);
}

/// Without a delivery nothing is entered, and the bay is watched idle.
#[test]
fn a_history_without_a_delivery() {
    let desk = Desk::new();
    let phase = MAP.find("[phase]").expect("there")..MAP.find("[[signal]]").expect("there");
    desk.write("map.toml", MAP.replace(&MAP[phase], ""));
    desk.write("h.csv", "t,kg,mm,bar,step\n0,1000,500,2,x\n1,1000,500,2,x\n");
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_brimwatch"))
        .current_dir(desk.path(""))
        .args([
            "import",
            "h.csv",
            "--columns",
            "map.toml",
            "--site",
            "site.toml",
            "--bay",
            "bay-1",
            "--out",
            "idle.brim",
        ])
        .output()
        .expect("the program");
    let said = String::from_utf8_lossy(&output.stdout).into_owned() + &super::said(&output);
    assert!(output.status.success() && said.contains("no delivery"), "{said}");
}
