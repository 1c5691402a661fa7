//! An exported recording as general table readers take it: pandas and polars, CSV and Parquet, bit for bit.

use super::ask_about;
use brimwatch::recording::export::{TableForm, export};
use brimwatch::recording::format::Kind;
use brimwatch::recording::{reader, stream};
use brimwatch_simulator::scenario;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path;

#[path = "../bench/recorded.rs"]
mod recorded;

type Columns = BTreeMap<String, Vec<Value>>;

/// The number that C99's hexadecimal text stands for, as Python's float.hex writes it.
fn from_hex(text: &str) -> f64 {
    let (sign, rest) = text.strip_prefix('-').map_or((1.0, text), |rest| (-1.0, rest));
    let (digits, exponent) = rest.strip_prefix("0x").and_then(|r| r.split_once('p')).expect("a hexadecimal float");
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let bits = u64::from_str_radix(&format!("{whole}{fraction:0<13}"), 16).expect("digits");
    let exponent: i32 = exponent.parse().expect("an exponent");
    // 53 bits at most: exact.
    #[expect(clippy::cast_precision_loss, reason = "53 bits")]
    let mantissa = bits as f64;
    sign * libm::scalbn(mantissa, exponent - 52)
}

/// What pandas and polars read is what the frames on record hold, to the last bit.
#[test]
fn general_readers_take_an_exported_recording() {
    let folder = tempfile::tempdir().expect("a folder");
    let [recording, csv, parquet] = ["a.brim", "a.csv", "a.parquet"].map(|name| folder.path().join(name));
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let mut recorded = recorded::Recording::begin(&recording, &site.texts, &site.bays[0], &delivery, 1);
    recorded.seconds(400);
    recorded.end();
    for (path, form) in [(&csv, TableForm::Csv), (&parquet, TableForm::Parquet)] {
        let done = export(&recording, form, 0.0, File::create_new(path).expect("a disk")).expect("a recording");
        assert!(done.rows > 100 && done.unreadable == 0 && done.stopped.is_none(), "{done:?}");
    }
    let read: BTreeMap<String, Columns> = ask_about("tables.py", &json!({ "csv": csv, "parquet": parquet }));

    let mut stream = stream::open(&recording).expect("a recording");
    let mut frames = Vec::new();
    while let Some(record) = stream.next_record().expect("a disk") {
        if record.kind == Kind::Output {
            frames.push(reader::frame(&record).expect("a frame"));
        }
    }
    let signals = &stream.header().settings.signals;
    let level = signals.iter().position(|s| s.name == "tank 204 level").expect("the level");
    let mut compared = 0;
    for (by, columns) in &read {
        for (i, frame) in frames.iter().enumerate() {
            let mut same = |column: &str, value: Option<f64>| {
                let got = columns.get(column).unwrap_or_else(|| panic!("{by}: no {column}"))[i].as_str().map(from_hex);
                assert_eq!(got.map(f64::to_bits), value.map(f64::to_bits), "{by}: {column} in row {i}");
                compared += usize::from(value.is_some());
            };
            for (w, name) in ["by_flow_meter_kg", "by_scale_kg", "by_tank_level_kg"].into_iter().enumerate() {
                same(name, frame.witnesses[w].received_kg.map(|e| e.value));
            }
            same("together_u_kg", frame.together.as_ref().map(|t| t.received_kg.u));
            same("tank_204_level_level_m", frame.readings[level].value_si);
            same("pad_pressure_pa_gauge", frame.pad.pressure_pa_gauge);
            let wall = columns["wall_unix_ns"][i].as_i64();
            assert_eq!(wall, Some(frame.clock.wall_at(frame.at).0), "{by}: row {i}");
        }
        assert_eq!(columns["at_s"].len(), frames.len(), "{by}");
    }
    assert!(read.len() == 3 && compared > 3 * 500, "{compared} values in {} readings", read.len());
    println!("{compared} values of {} rows the same by {:?}", frames.len(), read.keys().collect::<Vec<_>>());
}
