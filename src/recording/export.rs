//! A recording as a table: one row for each output on record, one column for each thing that is known.
//!
//! A column's name ends in its unit. Rows come from the outputs on record, not from a replay: they are what was on the
//! screen, whatever program wrote it. CSV always; Parquet where the program was built with it.

mod columns;
#[cfg(feature = "parquet")]
mod parquet;

use super::format::Kind;
use super::stream::{self, Stopped, Stream};
use super::{RecordingError, reader};
use crate::time::EngineTime;
use columns::{columns, row};
use std::io::{Read, Write};
use std::path::Path;

/// One value of a row; `None` where nothing is known.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A number in the column's unit.
    Number(Option<f64>),
    /// A whole number.
    Whole(Option<i64>),
    /// A word or a name.
    Text(Option<String>),
}

/// What a table is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TableForm {
    /// Comma-separated values (RFC 4180) with a head line, UTF-8.
    Csv,
    /// Apache Parquet.
    #[cfg(feature = "parquet")]
    Parquet,
}

impl TableForm {
    /// By the ending of a file's name.
    ///
    /// # Errors
    /// Says which endings there are.
    pub fn of(path: &Path) -> Result<TableForm, String> {
        let ending = path.extension().and_then(|e| e.to_str()).unwrap_or_default().to_ascii_lowercase();
        match ending.as_str() {
            "csv" => Ok(TableForm::Csv),
            #[cfg(feature = "parquet")]
            "parquet" => Ok(TableForm::Parquet),
            #[cfg(not(feature = "parquet"))]
            "parquet" => Err(format!(
                "{}: this program was built without Parquet; write .csv, or build with --features parquet",
                path.display()
            )),
            _ => Err(format!("{}: the ending says the form: .csv or .parquet", path.display())),
        }
    }
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exported {
    /// Rows.
    pub rows: u64,
    /// Outputs that could not be understood and were left out.
    pub unreadable: u64,
    /// Where reading stopped before the end.
    pub stopped: Option<Stopped>,
}

/// Takes rows.
trait Rows {
    fn row(&mut self, cells: &[Cell]) -> std::io::Result<()>;
    fn end(self: Box<Self>) -> std::io::Result<()>;
}

/// Writes a recording's outputs as a table; a row whenever at least `every_s` seconds of engine time have gone by since
/// the last one (0: every output).
///
/// # Errors
/// When the file is no recording or one that this program cannot read, or when `out` refuses.
pub fn export<W: Write + Send>(path: &Path, form: TableForm, every_s: f64, out: W) -> Result<Exported, RecordingError> {
    export_from(stream::open(path)?, form, every_s, out)
}

/// Like [`export`], from whatever can be read.
///
/// # Errors
/// As [`export`].
pub fn export_from<R: Read, W: Write + Send>(
    mut recording: Stream<R>,
    form: TableForm,
    every_s: f64,
    out: W,
) -> Result<Exported, RecordingError> {
    let settings = recording.header().settings.clone();
    let names = columns(&settings);
    let mut table: Box<dyn Rows + '_> = match form {
        TableForm::Csv => Box::new(Csv::begin(&names, out).map_err(RecordingError::Out)?),
        #[cfg(feature = "parquet")]
        TableForm::Parquet => Box::new(parquet::Parquet::begin(&names, out).map_err(RecordingError::Out)?),
    };
    let mut done = Exported { rows: 0, unreadable: 0, stopped: None };
    let mut last: Option<EngineTime> = None;
    while let Some(record) = recording.next_record()? {
        if record.kind != Kind::Output {
            continue;
        }
        let Ok(frame) = reader::frame(&record) else {
            done.unreadable += 1;
            continue;
        };
        if last.is_none_or(|last| frame.at.since_s(last) >= every_s) {
            last = Some(frame.at);
            table.row(&row(&frame, &settings)).map_err(RecordingError::Out)?;
            done.rows += 1;
        }
    }
    table.end().map_err(RecordingError::Out)?;
    done.stopped = recording.stopped().cloned();
    Ok(done)
}

struct Csv<W: Write> {
    out: csv::Writer<W>,
}

impl<W: Write> Csv<W> {
    fn begin(names: &[(String, Cell)], out: W) -> std::io::Result<Csv<W>> {
        let mut out = csv::Writer::from_writer(out);
        out.write_record(names.iter().map(|(name, _)| name))?;
        Ok(Csv { out })
    }
}

impl<W: Write> Rows for Csv<W> {
    fn row(&mut self, cells: &[Cell]) -> std::io::Result<()> {
        let text = |cell: &Cell| match cell {
            // The shortest decimal that reads back to the same bits.
            Cell::Number(Some(x)) => format!("{x:?}"),
            Cell::Whole(Some(n)) => n.to_string(),
            Cell::Text(Some(text)) => harmless(text),
            Cell::Number(None) | Cell::Whole(None) | Cell::Text(None) => String::new(),
        };
        Ok(self.out.write_record(cells.iter().map(text))?)
    }

    fn end(mut self: Box<Self>) -> std::io::Result<()> {
        self.out.flush()
    }
}

/// A spreadsheet takes a text that begins so for a formula (OWASP, "CSV Injection"); names come from people.
fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}
