//! A history that is made while it is read.

use brimwatch::recording::import::Source;
use std::io::{self, Read};

/// Rows of one second each, made while they are read: wide, as where a whole plant is exported at once.
pub struct Made {
    pub rows: u64,
}

/// Columns that nothing reads, bytes.
pub const OTHER: usize = 980;

impl Source for Made {
    fn name(&self) -> String {
        "made.csv".into()
    }

    fn bytes(&self) -> u64 {
        0
    }

    fn open(&self) -> io::Result<Box<dyn Read>> {
        let other = "3.14159,".repeat(OTHER / 8);
        let head = format!("t,kg,step,{}\n", "x,".repeat(OTHER / 8));
        Ok(Box::new(Making { rows: self.rows, row: 0, other, line: head.into_bytes(), given: 0 }))
    }
}

struct Making {
    rows: u64,
    row: u64,
    other: String,
    line: Vec<u8>,
    given: usize,
}

impl Read for Making {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.given == self.line.len() {
            if self.row == self.rows {
                return Ok(0);
            }
            let step = if self.row % 86_400 < 40_000 { "WAIT" } else { "UNLOAD" };
            self.line = format!("{},{},{step},{}\n", self.row, 1000 + self.row % 7, self.other).into_bytes();
            (self.row, self.given) = (self.row + 1, 0);
        }
        let n = buffer.len().min(self.line.len() - self.given);
        buffer[..n].copy_from_slice(&self.line[self.given..self.given + n]);
        self.given += n;
        Ok(n)
    }
}

/// Ten minutes of a transfer out of all rows.
pub const MAP: &str = "
from = \"1970-01-05T12:00:00Z\"
to = \"1970-01-05T12:10:00Z\"
[time]
columns = [\"t\"]
format = \"epoch_s\"
[phase]
column = \"step\"
transfer = [\"UNLOAD\"]
[[signal]]
signal = \"truck scale\"
column = \"kg\"
unit = \"kg\"
";
