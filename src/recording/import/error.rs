//! Why a history cannot be taken in: what, where, and what to do.

use std::fmt;
use std::io;
use std::path::PathBuf;

/// Why there is no recording. Nothing was written.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// What was given does not suffice or does not fit together.
    #[error("{0}")]
    Needs(String),
    /// The history cannot be read as it was said to be.
    #[error("{0}; nothing was written")]
    History(Box<Trouble>),
    /// The file system refuses the history.
    #[error("{file}: cannot be read: {source}; nothing was written")]
    Read {
        /// The history.
        file: String,
        /// What the file system says.
        source: io::Error,
    },
    /// There is a file where the recording should go.
    #[error("{}: exists, and nothing is written over; give --out another name, or move that file away", .0.display())]
    OutExists(PathBuf),
    /// The file system refuses the recording.
    #[error("{}: cannot be written: {source}; give --out a place that can be written and has room; nothing was left there", path.display())]
    Out {
        /// The recording.
        path: PathBuf,
        /// What the file system says.
        source: io::Error,
    },
    /// It was told to stop.
    #[error("stopped; nothing was written")]
    Stopped,
}

/// What is wrong with a history, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// The history.
    pub file: String,
    /// Line of the (unpacked) text, from 1; `None`: the whole of it.
    pub line: Option<u64>,
    /// Name of the column; `None`: the whole row.
    pub column: Option<String>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub act: String,
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
        }
        if let Some(column) = &self.column {
            write!(f, ": column {column:?}")?;
        }
        write!(f, ": {}; {}", self.what, self.act)
    }
}
