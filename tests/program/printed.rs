//! The unloading record on paper: printed by Debian's chromium on A4 and on Letter, read back by pypdf.

use super::report;
use serde::Deserialize;
use std::path::Path;
use std::process::Command;

/// Sizes of paper, mm: ISO 216 A4, and US Letter (ANSI/ASME Y14.1 A).
const PAPERS: [(&str, f64, f64); 2] = [("A4", 210.0, 297.0), ("letter", 215.9, 279.4)];
/// What the paper's own style keeps free at both sides, mm.
const MARGIN_MM: f64 = 14.0;
/// A record is a few sheets, not a book: those of the drill's delivery, all steps and checks on it.
const PAGES: std::ops::RangeInclusive<usize> = 3..=9;

#[derive(Deserialize)]
struct Page {
    width_mm: f64,
    height_mm: f64,
    text: String,
    starts_mm: Vec<f64>,
}

fn run(command: &mut Command) -> Vec<u8> {
    let output = command.output().expect("it starts");
    assert!(output.status.success(), "{command:?}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

/// The record printed on that paper.
fn printed(folder: &Path, record: &str, paper: &str) -> Vec<Page> {
    let (html, pdf) = (folder.join(format!("{paper}.html")), folder.join(format!("{paper}.pdf")));
    // As the choice in a browser's print dialogue.
    let sized = record.replacen("</head>", &format!("<style>@page{{size:{paper}}}</style></head>"), 1);
    std::fs::write(&html, sized).expect("a disk");
    let profile = folder.join("profile");
    run(Command::new("chromium")
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--no-pdf-header-footer"])
        .arg(format!("--user-data-dir={}", profile.display()))
        .arg(format!("--print-to-pdf={}", pdf.display()))
        .arg(format!("file://{}", html.display())));
    let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("record-{paper}.pdf"));
    std::fs::copy(&pdf, kept).expect("a disk");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = run(Command::new(root.join(".venv/bin/python")).arg(root.join("tests/program/printed.py")).arg(&pdf));
    serde_json::from_slice(&read).expect("JSON")
}

/// Text of an element as it is printed: no tags, no white space.
fn bare(html: &str) -> String {
    let mut text = String::new();
    let mut inside = true;
    for c in html.chars() {
        match c {
            '<' => inside = false,
            '>' => inside = true,
            c if inside && !c.is_whitespace() => text.push(c),
            _ => {}
        }
    }
    text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&")
}

/// The rows of all tables: each the texts of its cells.
fn rows(record: &str) -> Vec<Vec<String>> {
    let body = record.split_once("<script").map_or(record, |(body, _)| body);
    let rows = body.split("<tr").skip(1).map(|row| row.split_once("</tr>").map_or("", |(row, _)| row));
    let cells = |row: &str| -> Vec<String> {
        let cells = row.split("</td>").flat_map(|part| part.split("</th>"));
        let open = |cell: &str| cell.rfind("<td").max(cell.rfind("<th")).map_or(String::new(), |at| bare(&cell[at..]));
        cells.map(open).filter(|cell| !cell.is_empty()).collect()
    };
    rows.map(cells).filter(|row| !row.is_empty()).collect()
}

/// On either paper: the right box, a few sheets, nothing beside the margins, every row of every table whole on one sheet, and
/// what stands in the margins on each.
#[test]
fn the_record_prints_to_a4_and_letter() {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("record.html");
    let report = [Path::new("report"), report::whole(), Path::new("--out"), &out];
    run(Command::new(env!("CARGO_BIN_EXE_brimwatch")).args(report));
    let record = std::fs::read_to_string(&out).expect("a paper");
    let rows = rows(&record);
    assert!(rows.len() > 60, "{} rows", rows.len());
    for (paper, width_mm, height_mm) in PAPERS {
        let pages = printed(folder.path(), &record, paper);
        println!("{paper}: {} pages", pages.len());
        assert!(PAGES.contains(&pages.len()), "{paper}: {} pages", pages.len());
        for (at, page) in (1..).zip(&pages) {
            let off = (page.width_mm - width_mm).abs().max((page.height_mm - height_mm).abs());
            assert!(off < 0.5, "{paper}: {} x {} mm", page.width_mm, page.height_mm);
            let beside = page.starts_mm.iter().find(|x| **x < MARGIN_MM - 0.5 || **x > width_mm - MARGIN_MM);
            assert_eq!(beside, None, "{paper}, page {at}");
            for words in ["Unloadingrecord", "DRILL", "Operatingfigures,notfortrade", &format!("{at}of{}", pages.len())]
            {
                assert!(
                    page.text.contains(words),
                    "{paper}, page {at}: {words:?} is not in its margins: {}",
                    page.text
                );
            }
        }
        for row in &rows {
            let whole = pages.iter().any(|page| row.iter().all(|cell| page.text.contains(cell.as_str())));
            assert!(whole, "{paper}: cut, or not there: {row:?}");
        }
    }
}
