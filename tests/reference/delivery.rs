//! The worked delivery of docs/worked-delivery.md: what the record prints against GTC, and against the paper's own rows.

use super::{ask_about, assert_close};
use brimwatch::report::account::{Account, AgainstTicket, Figure};
use brimwatch::words::display::number;
use serde::Deserialize;
use serde_json::json;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

/// GTC takes both readings' shares in a pressure and the gas's exact equation; the budgets are first order in each source.
const U_RELATIVE: f64 = 2e-3;
/// What rounding of the gas constant and a rate that has not quite come to rest leave, kg.
const WITHIN_KG: f64 = 0.02;

#[derive(Deserialize)]
struct Worked {
    ticket: (f64, f64),
    line: (f64, f64),
    witnesses: [(f64, f64); 3],
    together: (f64, f64),
    weights: [f64; 3],
    differences: [(f64, f64); 3],
    difference: (f64, f64),
}

pub fn root(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

pub fn read(name: &str) -> String {
    std::fs::read_to_string(root(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// Straight lines between the corners, a row each second.
pub fn history(corners: &str) -> String {
    let (head, rows) = corners.split_once('\n').expect("a head");
    let row = |line: &str| {
        let (time, values) = line.split_once(',').expect("a time");
        let at: jiff::civil::DateTime = time.parse().expect("a time");
        let values: Vec<f64> = values.split(',').map(|value| value.parse().expect("a number")).collect();
        (at, values)
    };
    let rows: Vec<_> = rows.lines().map(row).collect();
    let mut text = format!("{head}\n");
    for pair in rows.windows(2) {
        let ((from, before), (to, after)) = (&pair[0], &pair[1]);
        let seconds = i32::try_from(to.duration_since(*from).as_secs()).expect("an hour");
        let rate = (after[0] - before[0]) / f64::from(seconds);
        for s in 0..seconds {
            let at = *from + jiff::SignedDuration::from_secs(i64::from(s));
            let share = f64::from(s) / f64::from(seconds);
            let mut values: Vec<f64> = before.iter().zip(after).map(|(a, b)| a + share * (b - a)).collect();
            values[1] = rate;
            let values: Vec<String> = values.iter().map(f64::to_string).collect();
            let _ = writeln!(text, "{},{}", at.strftime("%Y-%m-%d %H:%M:%S"), values.join(","));
        }
    }
    text + corners.trim_end().lines().next_back().expect("a last row") + "\n"
}

pub fn brimwatch(arguments: &[&Path]) {
    let output = Command::new(env!("CARGO_BIN_EXE_brimwatch")).args(arguments).output().expect("the program");
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

/// Imported, reported and verified by the program itself.
fn reported(folder: &Path) -> (Account, String) {
    let [history_file, recording, paper] = ["history.csv", "load.brim", "load.html"].map(|name| folder.join(name));
    std::fs::write(&history_file, history(&read("docs/worked/corners.csv"))).expect("a disk");
    let [columns, site, papers] = ["docs/worked/columns.toml", "config/site.toml", "config/delivery.toml"].map(root);
    let words = ["import", "--columns", "--site", "--delivery", "--out", "report", "verify"].map(Path::new);
    let [import, with_columns, with_site, with_papers, out, report, verify] = words;
    brimwatch(&[
        import,
        &history_file,
        with_columns,
        &columns,
        with_site,
        &site,
        with_papers,
        &papers,
        out,
        &recording,
    ]);
    brimwatch(&[report, &recording, out, &paper]);
    brimwatch(&[verify, &recording, &paper]);
    let json = std::fs::read_to_string(paper.with_extension("json")).expect("figures");
    (serde_json::from_str(&json).expect("an account"), std::fs::read_to_string(&paper).expect("a paper"))
}

fn assert_figure(got: Figure, (value, u): (f64, f64), what: &str) {
    assert!((got.value - value).abs() < WITHIN_KG, "{what}: {} kg against {value} kg", got.value);
    assert_close(got.u, u, U_RELATIVE, format_args!("u of {what}"));
}

#[test]
fn the_worked_delivery_is_what_gtc_and_the_paper_say() {
    let folder = tempfile::tempdir().expect("a folder");
    let (account, paper) = reported(folder.path());
    let (started, closed) = (account.started.expect("a time"), account.closed.expect("a time"));
    #[expect(clippy::cast_precision_loss, reason = "an hour's nanoseconds")]
    let elapsed_s = (closed.unix_ns - started.unix_ns) as f64 / 1e9;
    let worked: Worked = ask_about("delivery.py", &json!({ "elapsed_s": elapsed_s }));
    let AgainstTicket::Compared(compared) = &account.against_ticket else { panic!("{:?}", account.against_ticket) };
    assert_figure(account.ticket.corrected_kg, worked.ticket, "the ticket");
    assert_figure(compared.in_line_kg, worked.line, "the line");
    let together = account.received_kg.expect("together");
    assert_figure(together, worked.together, "all together");
    assert_figure(compared.difference_kg, worked.difference, "the difference");
    let documented = read("docs/worked-delivery.md");
    let weights = account.weights.expect("together");
    let names = ["by flow meter", "by scale", "by tank level"];
    assert_eq!((account.witnesses.len(), compared.by_witness.len()), (3, 3));
    let kg = |value: f64| number(value, 0).replace('\u{202f}', " ");
    let signed = |value: f64| if value > 0.0 { format!("+{}", kg(value)) } else { kg(value) };
    let row = |name: &str, received: Figure, weight: String, (difference, en): (Figure, f64)| {
        let (u, against, against_u) = (kg(received.expanded()), signed(difference.value), kg(difference.expanded()));
        let row = format!(
            "| {name} | {} | {u} | {weight} | {against} | {against_u} | {} |",
            kg(received.value),
            number(en, 2)
        );
        assert!(documented.contains(&row.replace("|  |", "| |")), "docs/worked-delivery.md lacks the row {row}");
        for cell in [number(received.value, 0), signed(difference.value).replace(' ', "\u{202f}"), number(en, 2)] {
            assert!(paper.contains(&format!(">{cell}<")), "{cell} is not on the paper");
        }
    };
    for (at, name) in names.into_iter().enumerate() {
        let received = account.witnesses[at].received_kg.expect("credible");
        let alone = &compared.by_witness[at];
        assert_figure(received, worked.witnesses[at], name);
        assert_figure(alone.difference_kg, worked.differences[at], name);
        assert!((weights[at] - worked.weights[at]).abs() < 2e-3, "{name}: {weights:?} against {:?}", worked.weights);
        row(name, received, number(weights[at], 2), (alone.difference_kg, alone.en));
    }
    row("together", together, String::new(), (compared.difference_kg, compared.en));
    let en = worked.difference.0 / (2.0 * worked.difference.1);
    assert!((compared.en - en).abs() < 1e-3, "{} against {en}", compared.en);
}
