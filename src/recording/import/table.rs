//! The history as rows of fields, found by the names of their columns.

use super::error::{ImportError, Trouble};
use super::source::{self, Passed, ROW_MOST, RowTooLong, Source};
use crate::config::{Columns, nearest};
use csv::{ByteRecord, ReaderBuilder};
use std::io::{self, BufRead, Read};
use std::rc::Rc;

/// A history under way.
pub struct Table {
    name: String,
    csv: csv::Reader<Box<dyn BufRead>>,
    /// Lines before the one that names the columns.
    above: u64,
    passed: Rc<Passed>,
    heads: Vec<String>,
    record: ByteRecord,
    /// Rows given so far.
    rows: u64,
}

/// UTF-8's byte order mark (RFC 3629, 6), which some programs put before a text.
const MARK: [u8; 3] = [0xEF, 0xBB, 0xBF];

impl Table {
    /// Opens a history and reads the names of its columns.
    pub fn open(source: &dyn Source, columns: &Columns) -> Result<Table, ImportError> {
        let name = source.name();
        let passed = Rc::new(Passed::default());
        let mut text = source::text(source, &passed).map_err(|why| unreadable(&name, None, 0, why))?;
        let above = columns.header_line - 1;
        pass_over(&mut text, above, &passed).map_err(|why| unreadable(&name, None, 0, why))?;
        let csv = ReaderBuilder::new()
            .delimiter(columns.separator)
            .has_headers(false)
            .flexible(true)
            .buffer_capacity(64 << 10)
            .from_reader(text);
        let record = ByteRecord::new();
        let mut table = Table { name, csv, above, passed, heads: Vec::new(), record, rows: 0 };
        table.read_heads()?;
        Ok(table)
    }

    fn read_heads(&mut self) -> Result<(), ImportError> {
        if !self.read()? {
            return Err(self.trouble(
                None,
                None,
                "holds no line that names columns",
                "give a table whose header_line names them",
            ));
        }
        self.rows = 0;
        let mut heads = Vec::new();
        for (i, field) in self.record.iter().enumerate() {
            let field = if i == 0 { field.strip_prefix(&MARK).unwrap_or(field) } else { field };
            let Ok(head) = std::str::from_utf8(field) else {
                let what = format!("the name of column {} is not UTF-8", i + 1);
                return Err(self.trouble(Some(self.line()), None, &what, NOT_UTF8));
            };
            heads.push(head.trim().to_owned());
        }
        self.heads = heads;
        Ok(())
    }

    /// Where the column of that name stands in a row.
    pub fn column(&self, name: &str) -> Result<usize, ImportError> {
        let line = Some(self.above + 1);
        let mut found = self.heads.iter().enumerate().filter(|(_, head)| *head == name).map(|(i, _)| i);
        match (found.next(), found.next()) {
            (Some(one), None) => Ok(one),
            (Some(_), Some(_)) => {
                Err(self.trouble(line, Some(name), "stands there twice", "name each column once in the history"))
            }
            (None, _) => {
                let near = nearest(name, self.heads.iter().map(String::as_str));
                let near = near.map_or_else(String::new, |near| format!(", the nearest is {near:?}"));
                let all = self.heads.iter().take(40).map(|h| format!("{h:?}")).collect::<Vec<_>>().join(", ");
                let what = format!("there is no column {name:?}{near}; there are {all}");
                Err(self.trouble(
                    line,
                    None,
                    &what,
                    "correct the name in the column map, its separator or its header_line",
                ))
            }
        }
    }

    /// Reads the next row; false at the end.
    pub fn next(&mut self) -> Result<bool, ImportError> {
        let read = self.read()?;
        self.rows += u64::from(read);
        Ok(read)
    }

    fn read(&mut self) -> Result<bool, ImportError> {
        self.passed.row_begins();
        let line = self.above + self.csv.position().line();
        let rows = self.rows;
        self.csv.read_byte_record(&mut self.record).map_err(|why| match why.into_kind() {
            csv::ErrorKind::Io(why) => unreadable(&self.name, Some(line), rows, why),
            other => ImportError::Read { file: self.name.clone(), source: io::Error::other(format!("{other:?}")) },
        })
    }

    /// The row has as many fields as the line that names them.
    pub fn check_width(&self) -> Result<(), ImportError> {
        let (has, wants) = (self.record.len(), self.heads.len());
        if has == wants {
            return Ok(());
        }
        let what = format!("the row has {has} fields, the line with the names has {wants}");
        Err(self.trouble(
            Some(self.line()),
            None,
            &what,
            "mend the row, or correct separator and header_line in the column map",
        ))
    }

    /// A field of the present row.
    pub fn field(&self, column: usize) -> Result<&str, ImportError> {
        let bytes = self.record.get(column).unwrap_or_default();
        std::str::from_utf8(bytes).map(str::trim).map_err(|_| {
            self.trouble(Some(self.line()), self.heads.get(column).map(String::as_str), "is not UTF-8", NOT_UTF8)
        })
    }

    /// Line of the present row in the text, from 1.
    pub fn line(&self) -> u64 {
        self.above + self.record.position().map_or(1, csv::Position::line)
    }

    /// Rows read so far.
    pub fn rows(&self) -> u64 {
        self.rows
    }

    /// What is known of the bytes so far.
    pub fn passed(&self) -> &Passed {
        &self.passed
    }

    /// Something is wrong with the field of a column in the present row.
    pub fn wrong(&self, column: usize, what: &str, act: &str) -> ImportError {
        self.trouble(Some(self.line()), self.heads.get(column).map(String::as_str), what, act)
    }

    /// Something is wrong with the history.
    pub fn trouble(&self, line: Option<u64>, column: Option<&str>, what: &str, act: &str) -> ImportError {
        let column = column.map(str::to_owned);
        let (file, what, act) = (self.name.clone(), what.to_owned(), act.to_owned());
        ImportError::History(Box::new(Trouble { file, line, column, what, act }))
    }
}

const NOT_UTF8: &str = "save the history as UTF-8, for example: iconv -f WINDOWS-1252 -t UTF-8 (or -f UTF-16)";

/// Reads over so many lines.
fn pass_over(text: &mut dyn BufRead, lines: u64, passed: &Passed) -> io::Result<()> {
    for _ in 0..lines {
        passed.row_begins();
        // What is no line within a row's length is none at all; the bound below says so.
        let mut line = Vec::new();
        (&mut *text).take(ROW_MOST).read_until(b'\n', &mut line)?;
    }
    Ok(())
}

fn unreadable(file: &str, line: Option<u64>, rows: u64, why: io::Error) -> ImportError {
    let trouble = |what: String, act: &str| {
        let (file, act) = (file.to_owned(), act.to_owned());
        ImportError::History(Box::new(Trouble { file, line, column: None, what, act }))
    };
    let too_long = why.get_ref().is_some_and(|inner| inner.is::<RowTooLong>());
    match why.kind() {
        _ if too_long => trouble(
            format!("the row that begins here is longer than {ROW_MOST} bytes"),
            "a quotation mark may be left open, or the file is no table",
        ),
        io::ErrorKind::UnexpectedEof => trouble(
            format!("the gzip file is cut short after {rows} rows"),
            "fetch the file again; what is there may be unpacked by hand and imported as a plain table",
        ),
        io::ErrorKind::InvalidInput | io::ErrorKind::InvalidData => {
            trouble(format!("the gzip file is damaged after {rows} rows: {why}"), "fetch the file again")
        }
        _ => ImportError::Read { file: file.to_owned(), source: why },
    }
}
