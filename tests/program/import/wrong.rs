//! Histories, maps and places that cannot be: where it is wrong, what to do, the documented exit code, nothing left.

use super::{Desk, said};
use flate2::Compression;
use flate2::write::GzEncoder;
use std::io::Write;
use std::process::Stdio;
use std::time::{Duration, Instant};

const MAP: &str = "
[time]
columns = [\"time\"]
format = \"%Y-%m-%d %H:%M:%S\"
zone = \"Europe/Berlin\"

[phase]
column = \"step\"
transfer = [\"UNLOAD\"]

[[signal]]
signal = \"truck scale\"
column = \"WI 12\"
unit = \"kg\"

[[signal]]
signal = \"tank 204 level\"
column = \"LI 204\"
unit = \"mm\"
";

const ROWS: &str = "time,WI 12,LI 204,step\n2026-03-01 10:00:00,1000,500,UNLOAD\n2026-03-01 10:00:01,1000,500,UNLOAD\n\
                    2026-03-01 10:00:02,1000,500,UNLOAD\n";

/// Expects a refusal: the exit code, every one of the words, and that no file was made.
fn refused(desk: &Desk, rows: &[u8], map: &str, code: i32, words: &[&str]) {
    desk.write("h.csv", rows);
    desk.write("map.toml", map);
    let before = desk.files();
    let output = desk.command("h.csv", "map.toml", "o.brim").output().expect("the program");
    let said = said(&output);
    assert_eq!(output.status.code(), Some(code), "{said}");
    for word in words {
        assert!(said.contains(word), "{word:?} is not in\n{said}");
    }
    assert_eq!(desk.files(), before, "nothing is left behind");
}

/// (what is replaced in the rows, by what, words of the message).
#[rustfmt::skip]
const HISTORIES: &[(&str, &str, &[&str])] = &[
    ("WI 12", "WI12", &["h.csv:1:", "no column \"WI 12\"", "nearest is \"WI12\"", "\"LI 204\""]),
    ("LI 204,", "WI 12,", &["h.csv:1:", "column \"WI 12\"", "twice"]),
    (":02,1000", ":02,1.000.0", &["h.csv:4: column \"WI 12\"", "\"1.000.0\" is no number", "decimal"]),
    (":02,1000", ":02,Bad", &["h.csv:4: column \"WI 12\"", "bad or empty"]),
    (":02,1000", ":02,1e999", &["h.csv:4: column \"WI 12\"", "no number"]),
    (":01,1000,500", ":01,1000", &["h.csv:3:", "3 fields", "has 4"]),
    ("10:00:02", "09:59:58", &["h.csv:4: column \"time\"", "backwards", "2026-03-01T08:59:58Z after 2026-03-01T09:00:01Z"]),
    ("2026-03-01 10:00:02", "01.03.2026 10:00", &["h.csv:4: column \"time\"", "%Y-%m-%d"]),
    ("2026-03-01 10:00:02", "2026-03-29 02:30:00", &["h.csv:4: column \"time\"", "skipped (daylight saving)"]),
    ("2026-03-01 10:00:00,1000,500,UNLOAD\n2026-03-01 10:00:01,1000,500,UNLOAD\n2026-03-01 10:00:02,1000,500,UNLOAD\n", "", &["holds no whole row"]),
    ("time,WI 12,LI 204,step\n2026-03-01 10:00:00,1000,500,UNLOAD\n2026-03-01 10:00:01,1000,500,UNLOAD\n2026-03-01 10:00:02,1000,500,UNLOAD\n", "", &["holds no line that names columns"]),
];

#[test]
fn a_history_that_cannot_be() {
    let desk = Desk::new();
    for (from, to, words) in HISTORIES {
        assert!(ROWS.contains(from), "{from:?}");
        refused(&desk, ROWS.replacen(from, to, 1).as_bytes(), MAP, 6, words);
    }
    let to = "to = \"2020-01-01T00:00:00Z\"\n";
    refused(&desk, ROWS.as_bytes(), &format!("{to}{MAP}"), 6, &["none of its 3 rows", "2020-01-01T00:00:00Z"]);
}

#[test]
fn a_history_in_another_encoding_or_cut_short() {
    let desk = Desk::new();
    let latin: Vec<u8> = ROWS.replacen(":01,1000", ":01,10\u{b0}0", 1).chars().map(|c| c as u32 as u8).collect();
    refused(&desk, &latin, MAP, 6, &["h.csv:3: column \"WI 12\"", "not UTF-8", "iconv"]);
    let utf16: Vec<u8> = "\u{feff}".chars().chain(ROWS.chars()).flat_map(|c| (c as u16).to_le_bytes()).collect();
    refused(&desk, &utf16, MAP, 6, &["h.csv:1:", "column 1 is not UTF-8", "UTF-16"]);
    let mut packed = GzEncoder::new(Vec::new(), Compression::default());
    packed.write_all(ROWS.as_bytes()).expect("memory");
    let packed = packed.finish().expect("memory");
    refused(&desk, &packed[..packed.len() - 12], MAP, 6, &["gzip file is cut short after"]);
    let mut damaged = packed.clone();
    let last = damaged.len() - 6;
    damaged[last] ^= 1;
    refused(&desk, &damaged, MAP, 6, &["gzip file is damaged"]);
    let open = ROWS.replacen(":01,1000", ":01,\"1000", 1) + &"x,".repeat(2 << 20);
    refused(&desk, open.as_bytes(), MAP, 6, &["h.csv:3:", "longer than 1048576 bytes", "quotation mark"]);
    let phase = MAP.replace("UNLOAD", "FILL");
    refused(&desk, ROWS.as_bytes(), &phase, 2, &["no row's phase", "phase.transfer"]);
}

/// (what is replaced in the map, by what, words of the message).
#[rustfmt::skip]
const MAPS: &[(&str, &str, &[&str])] = &[
    ("unit = \"mm\"", "unit = \"kg\"", &["map.toml:", "signal.unit", "unit of mass, not of length", "mm"]),
    ("unit = \"mm\"\n", "", &["signal.unit", "is missing", "tank 204 level"]),
    ("signal = \"truck scale\"", "signal = \"truck scales\"", &["signal.signal", "nearest: truck scale"]),
    ("column = \"WI 12\"", "colunm = \"WI 12\"", &["signal.colunm", "write column"]),
    ("zone = \"Europe/Berlin\"\n", "", &["time.zone", "is missing", "carry no offset"]),
    ("zone = \"Europe/Berlin\"", "zone = \"Europe/Berlln\"", &["time.zone", "no zone that this machine knows"]),
    ("format = \"%Y-%m-%d %H:%M:%S\"", "format = \"iso\"", &["time.format", "rfc3339, epoch_s"]),
    ("transfer = [\"UNLOAD\"]\n", "", &["phase.transfer", "is missing"]),
    ("[phase]\ncolumn = \"step\"\ntransfer = [\"UNLOAD\"]\n", "", &["drill-1", "never guessed", "[[entry]]", "[phase]"]),
    ("[phase]\ncolumn = \"step\"\ntransfer = [\"UNLOAD\"]\n", "[[entry]]\nat = \"2026-03-01T11:00:00Z\"\nwhat = \"transfer_started\"\n",
        &["entry at 2026-03-01T11:00:00Z lies outside the history", "2026-03-01T09:00:00Z to 2026-03-01T09:00:02Z"]),
    ("[phase]\ncolumn = \"step\"\ntransfer = [\"UNLOAD\"]\n", "[[entry]]\nat = \"2026-03-01T09:59:59\"\nwhat = \"transfer_started\"\n",
        &["entry at 2026-03-01T08:59:59Z lies outside the history", "first row used is of 2026-03-01T09:00:00Z"]),
    ("[phase]\ncolumn = \"step\"\ntransfer = [\"UNLOAD\"]\n", "[[entry]]\nat = \"2026-03-01T10:00:01\"\nwhat = \"closed\"\n",
        &["entry closed at 2026-03-01T09:00:01Z cannot be taken", "no transfer is on"]),
    ("[phase]", "[[entry]]\nat = \"2026-03-01T10:00:01\"\nwhat = \"closed\"\n\n[phase]", &["made twice"]),
    ("unit = \"kg\"", "unit = \"kg\"\nscale = 0", &["signal.scale", "is 0"]),
    ("unit = \"kg\"", "unit = \"kg\"\ngood = [\"x\"]", &["signal.quality", "is missing"]),
    ("signal = \"tank 204 level\"", "signal = \"truck scale\"", &["used twice"]),
];

#[test]
fn a_map_that_cannot_be() {
    let desk = Desk::new();
    for (from, to, words) in MAPS {
        assert!(MAP.contains(from), "{from:?}");
        refused(&desk, ROWS.as_bytes(), &MAP.replacen(from, to, 1), 2, words);
    }
}

#[test]
fn a_place_that_cannot_be_written() {
    let desk = Desk::new();
    desk.write("h.csv", ROWS);
    desk.write("map.toml", MAP);
    desk.write("there.brim", "mine");
    let before = desk.files();
    for (out, words) in [("there.brim", "exists"), ("no-such-folder/o.brim", "cannot be written")] {
        let output = desk.command("h.csv", "map.toml", out).output().expect("the program");
        assert_eq!(output.status.code(), Some(1), "{}", said(&output));
        assert!(said(&output).contains(out) && said(&output).contains(words), "{}", said(&output));
    }
    assert_eq!(
        (desk.files(), std::fs::read_to_string(desk.path("there.brim")).expect("a file").as_str()),
        (before, "mine")
    );
    let output = desk.command("no-such.csv", "map.toml", "o.brim").output().expect("the program");
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("no-such.csv: cannot be read"), "{}", said(&output));
}

/// Ctrl-C in its midst leaves nothing.
#[test]
fn an_import_that_is_stopped_leaves_nothing() {
    let desk = Desk::new();
    let mut rows = String::from("time,WI 12,LI 204,step\n");
    // Two days: an import takes seconds.
    for s in 0..172_800 {
        rows += &format!(
            "2026-03-{:02} {:02}:{:02}:{:02},1000,500,UNLOAD\n",
            1 + s / 86_400,
            s / 3600 % 24,
            s / 60 % 60,
            s % 60
        );
    }
    desk.write("h.csv", rows);
    desk.write("map.toml", MAP);
    let before = desk.files();
    let mut command = desk.command("h.csv", "map.toml", "o.brim");
    let child = command.stderr(Stdio::piped()).stdout(Stdio::null()).spawn().expect("the program");
    let until = Instant::now() + Duration::from_secs(60);
    while desk.files() == before {
        assert!(Instant::now() < until, "the import does not begin to write");
        std::thread::sleep(Duration::from_millis(2));
    }
    let killed =
        std::process::Command::new("sh").args(["-c", &format!("kill -INT {}", child.id())]).status().expect("sh");
    assert!(killed.success());
    let output = child.wait_with_output().expect("an end");
    assert_eq!(output.status.code(), Some(1), "{}", said(&output));
    assert!(said(&output).contains("stopped; nothing was written"), "{}", said(&output));
    assert_eq!(desk.files(), before);
}
