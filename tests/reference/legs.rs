//! One load in two legs on two days: each leg's record, and what the second says of the sum, against GTC.

use super::delivery::{brimwatch, history, read, root};
use super::{ask_about, assert_close};
use brimwatch::report::account::{Account, AgainstTicket, Figure, WhyNot};
use serde::Deserialize;
use serde_json::json;
use std::path::Path;

/// As in the worked delivery.
const U_RELATIVE: f64 = 2e-3;
const WITHIN_KG: f64 = 0.03;

#[derive(Deserialize)]
struct Worked {
    each: [(f64, f64); 2],
    together: (f64, f64),
    left: [(f64, f64); 4],
    left_after_the_first: (f64, f64),
    as_if_independent: f64,
}

/// Corners of one leg: total, scale and level at the start and at the close, 46 min from one to the other.
fn corners(day: u8, total: [f64; 2], scale: [f64; 2], level: [f64; 2]) -> String {
    let row = |time: &str, at: usize, pad: f64| {
        format!("2026-03-0{day} {time},{},0,{},{},{pad}\n", total[at], scale[at], level[at])
    };
    let rows =
        [row("08:00:00", 0, 120.0), row("08:02:00", 0, 120.0), row("08:32:00", 1, 125.0), row("08:48:00", 1, 125.0)];
    format!("Time,total,rate,scale,level,pad\n{}", rows.concat())
}

/// Imports a leg and gives the record that the program prints of it.
fn leg(folder: &Path, day: u8, corners: &str, papers: &str) -> Account {
    let named = |name: &str| folder.join(format!("leg-{day}-{name}"));
    let (table, columns, file) = (named("history.csv"), named("columns.toml"), named("papers.toml"));
    let recording = folder.join(format!("2026030{day}-2026-0417.brim"));
    let map = read("docs/worked/columns.toml").replace("2026-03-02T08:01:00", &format!("2026-03-0{day}T08:01:00"));
    let map = map.replace("2026-03-02T09:17:00", &format!("2026-03-0{day}T08:47:00"));
    for (path, text) in [(&table, history(corners)), (&columns, map), (&file, papers.to_owned())] {
        std::fs::write(path, text).expect("a disk");
    }
    let paper = named("record.html");
    let site = root("config/site.toml");
    let words = ["import", "--columns", "--site", "--delivery", "--out", "report", "verify"].map(Path::new);
    let [import, with_columns, with_site, with_papers, out, report, verify] = words;
    brimwatch(&[import, &table, with_columns, &columns, with_site, &site, with_papers, &file, out, &recording]);
    brimwatch(&[report, &recording, out, &paper]);
    brimwatch(&[verify, &recording, &paper]);
    let json = std::fs::read_to_string(paper.with_extension("json")).expect("figures");
    serde_json::from_str(&json).expect("an account")
}

fn assert_figure(got: Option<Figure>, (value, u): (f64, f64), what: &str) {
    let got = got.unwrap_or_else(|| panic!("{what} is not known"));
    assert!((got.value - value).abs() < WITHIN_KG, "{what}: {} kg against {value} kg", got.value);
    assert_close(got.u, u, U_RELATIVE, format_args!("u of {what}"));
}

#[test]
fn the_sum_of_two_legs_is_what_gtc_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let papers = read("config/delivery.toml");
    let first_papers = papers.replace("planned = \"20 t\"", "planned = \"10 t\"\n[leg]\nnumber = 1");
    let first_corners = corners(2, [1_204_500.0, 1_214_520.0], [38_120.0, 28_100.0], [2.100, 3.138]);
    let first = leg(folder.path(), 2, &first_corners, &first_papers);
    assert_eq!(first.against_ticket, AgainstTicket::NotCompared(WhyNot::PartOfTheLoad));
    let left = first.left_on_board.as_ref().expect("known").together_kg;
    // What the record prints for the papers of the next leg.
    let next = format!("[leg]\nnumber = 2\non_board = \"{:.0} kg\"\non_board_u = \"{:.0} kg\"", left.value, left.u);
    let second_papers = papers.replace("planned = \"20 t\"", &format!("planned = \"{:.0} kg\"\n{next}", left.value));
    let second_corners = corners(3, [1_214_520.0, 1_224_535.0], [28_100.0, 18_080.0], [1.500, 2.538]);
    let second = leg(folder.path(), 3, &second_corners, &second_papers);

    let one = |counted: f64, on_board: f64| {
        let elapsed_s = 46.0 * 60.0;
        json!({ "counted": counted, "lifted": 10_020.0, "rise": 1.038, "on_board": on_board, "elapsed_s": elapsed_s })
    };
    let legs = [one(10_020.0, first.ticket.corrected_kg.value), one(10_015.0, left.value.round())];
    let worked: Worked = ask_about("legs.py", &json!({ "legs": legs }));
    assert_figure(first.received_kg, worked.each[0], "the first leg");
    assert_figure(second.received_kg, worked.each[1], "the second leg");
    assert_figure(Some(left), worked.left_after_the_first, "left after the first");
    assert_figure(second.received_in_all_kg, worked.together, "both legs");
    let sum_u = second.received_in_all_kg.expect("known").u;
    println!("u of the sum {sum_u} kg; as if nothing were shared {} kg", worked.as_if_independent);
    assert!(sum_u > 1.05 * worked.as_if_independent, "{sum_u} against {}", worked.as_if_independent);
    let left = second.left_on_board.expect("known");
    for (at, name) in ["by flow meter", "by scale", "by tank level"].into_iter().enumerate() {
        assert_figure(Some(left.by_witness[at].kg), worked.left[at], name);
    }
    assert_figure(Some(left.together_kg), worked.left[3], "left in the end");
    let AgainstTicket::Compared(compared) = second.against_ticket else { panic!("{:?}", second.against_ticket) };
    assert!((compared.difference_kg.value + left.together_kg.value).abs() < 1e-9, "{compared:?}");
    assert!((compared.difference_kg.u - left.together_kg.u).abs() < 1e-9, "{compared:?}");
    assert_eq!((second.legs.len(), second.recordings.len(), second.leg), (2, 2, 2));

    // Without the first leg's recording nothing is held against the ticket of both.
    std::fs::remove_file(folder.path().join("20260302-2026-0417.brim")).expect("a disk");
    let alone = brimwatch::report::account(&folder.path().join("20260303-2026-0417.brim"), &jiff::tz::TimeZone::UTC);
    let alone = alone.unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(alone.against_ticket, AgainstTicket::NotCompared(WhyNot::LegMissing));
    assert_eq!((alone.received_in_all_kg, alone.left_on_board), (None, None));
}
