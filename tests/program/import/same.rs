//! An imported history gives what watching would have given.

use super::{Desk, read, simulated};
use brimwatch::recording::origin::Origin;
use brimwatch::recording::reader;
use std::process::Command;

const RFC3339: &str = "columns = [\"When\"]\nformat = \"rfc3339\"";

/// With every bit of the values in the CSV, each stored output is the one that stepping the monitor directly gives.
#[test]
fn an_imported_transfer_is_the_watched_one_bit_for_bit() {
    let desk = Desk::new();
    let settings = &desk.site.bays[desk.delivery.bay].settings;
    let history = simulated::transfer(settings, &desk.delivery.setup, 3);
    let csv = desk.write("history.csv", history.csv(true));
    desk.write("map.toml", history.map("", RFC3339));
    let (said, out) = desk.import("history.csv", "map.toml", "load.brim");
    let (inputs, outputs) = read(&out);
    let watched = history.watched();
    assert!(watched.len() > 2_000 && outputs.len() == watched.len(), "{} and {}", outputs.len(), watched.len());
    for (imported, watched) in outputs.iter().zip(&watched) {
        assert_eq!(imported, watched);
    }
    println!("{} inputs, {} outputs, all the same as watched directly", inputs.len(), outputs.len());

    let replay = Command::new(env!("CARGO_BIN_EXE_brimwatch")).arg("replay").arg(&out).output().expect("a replay");
    assert_eq!(replay.status.code(), Some(0), "{}", String::from_utf8_lossy(&replay.stdout));
    assert_eq!(desk.files().iter().filter(|name| name.contains("load.brim")).count(), 1, "{:?}", desk.files());

    let bytes = std::fs::read(&out).expect("a recording");
    let header = reader::walk(&out, &bytes).expect("a recording").header;
    let text = std::fs::read(&csv).expect("the history");
    let expected = Origin {
        file: "history.csv".into(),
        bytes: text.len() as u64,
        rows: history.rows.len() as u64,
        blake3: blake3::hash(&text).to_hex().to_string(),
    };
    assert_eq!(Origin::of(&header), Some(expected));
    assert!(header.texts.iter().any(|(name, text)| name == "map.toml" && text.contains("shift log")));
    assert!(said.contains(&format!("{0} of {0} rows", history.rows.len())), "{said}");
}

/// Rounded as histories round, the final masses differ by no more than the rounding can make: a start and an end of
/// half a last place each, a level through the area of the drill's tank (2.9 m) and the density.
#[test]
fn rounding_moves_the_final_masses_by_no_more_than_it_can() {
    let desk = Desk::new();
    let settings = &desk.site.bays[desk.delivery.bay].settings;
    let history = simulated::transfer(settings, &desk.delivery.setup, 5);
    desk.write("history.csv", history.csv(false));
    desk.write("map.toml", history.map("", RFC3339));
    let (_, out) = desk.import("history.csv", "map.toml", "load.brim");
    let (_, outputs) = read(&out);
    let (imported, watched) = (outputs.last().expect("outputs"), history.watched().pop().expect("frames"));
    let kg_per_m = std::f64::consts::PI / 4.0 * 2.9 * 2.9 * 1525.3;
    // The scale's own step is 20 kg: it loses nothing; gas and density enter it by pressures of 1 Pa and 0.01 C.
    for (i, most_kg) in [2.0 * 0.005 + 0.01, 0.1, 2.0 * 0.000_05 * kg_per_m + 0.1].into_iter().enumerate() {
        let of = |frame: &brimwatch::engine::frame::Frame| frame.witnesses[i].received_kg.expect("a mass").value;
        let off = of(imported) - of(&watched);
        println!("{:?}: {:.2} kg, {off:+.4} kg off by rounding", imported.witnesses[i].id, of(imported));
        assert!(off.abs() <= most_kg, "witness {i}: {off} kg off, rounding makes {most_kg} kg");
        assert!(of(imported) > 19_000.0, "the whole load");
    }
}
