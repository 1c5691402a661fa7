//! The history's bytes: read twice, never held.
//!
//! What this believes about the world: the file can be larger than memory, compressed, cut short, changed by another
//! program meanwhile, and of no lines at all. So every byte passes once, is hashed as it lies on the disk, and a row
//! that never ends is refused before it fills the memory.

use flate2::bufread::MultiGzDecoder;
use std::cell::{Cell, RefCell};
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read};
use std::path::Path;
use std::rc::Rc;

/// First bytes of a gzip member (RFC 1952, 2.3.1).
const GZIP: [u8; 2] = [0x1F, 0x8B];
/// Bytes asked of the disk at once.
const CHUNK: usize = 64 << 10;
/// Longest row, bytes: a thousand columns of a hundred characters are a tenth of it.
pub const ROW_MOST: u64 = 1 << 20;

/// Where a history comes from.
pub trait Source {
    /// As people know it.
    fn name(&self) -> String;

    /// How many bytes it has; 0 where that is not known. For showing how far a reading is.
    fn bytes(&self) -> u64;

    /// Its bytes from the beginning.
    ///
    /// # Errors
    /// What the system says.
    fn open(&self) -> io::Result<Box<dyn Read>>;
}

impl Source for &Path {
    fn name(&self) -> String {
        self.display().to_string()
    }

    fn bytes(&self) -> u64 {
        std::fs::metadata(self).map_or(0, |m| m.len())
    }

    fn open(&self) -> io::Result<Box<dyn Read>> {
        Ok(Box::new(File::open(self)?))
    }
}

/// What is known of the bytes that have passed.
#[derive(Debug, Default)]
pub struct Passed {
    /// Bytes as they lie on the disk.
    pub bytes: Cell<u64>,
    hasher: RefCell<blake3::Hasher>,
    /// Bytes of text since [`Passed::row_begins`].
    of_row: Cell<u64>,
    /// The last byte of text.
    last: Cell<u8>,
}

impl Passed {
    /// blake3 of the bytes as they lie on the disk.
    pub fn hash(&self) -> blake3::Hash {
        self.hasher.borrow().finalize()
    }

    /// The text so far ends with a whole line.
    pub fn ends_in_line(&self) -> bool {
        matches!(self.last.get(), b'\n' | b'\r')
    }

    /// A new row is read from here on.
    pub fn row_begins(&self) {
        self.of_row.set(0);
    }
}

/// Opens a history as text, unpacked where it is gzip; what passes is counted in `passed`.
pub fn text(source: &dyn Source, passed: &Rc<Passed>) -> io::Result<Box<dyn BufRead>> {
    let raw = Counted { inner: source.open()?, passed: Rc::clone(passed) };
    let mut raw = BufReader::with_capacity(CHUNK, raw);
    let packed = raw.fill_buf()?.starts_with(&GZIP);
    let text: Box<dyn Read> = if packed { Box::new(MultiGzDecoder::new(raw)) } else { Box::new(raw) };
    Ok(Box::new(BufReader::with_capacity(CHUNK, Bounded { inner: text, passed: Rc::clone(passed) })))
}

struct Counted {
    inner: Box<dyn Read>,
    passed: Rc<Passed>,
}

impl Read for Counted {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.inner.read(buffer)?;
        self.passed.bytes.set(self.passed.bytes.get() + n as u64);
        self.passed.hasher.borrow_mut().update(&buffer[..n]);
        Ok(n)
    }
}

/// Refuses to give more than one row may have.
struct Bounded {
    inner: Box<dyn Read>,
    passed: Rc<Passed>,
}

/// A row without an end.
#[derive(Debug, thiserror::Error)]
#[error("a row is longer than {ROW_MOST} bytes")]
pub struct RowTooLong;

impl Read for Bounded {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.passed.of_row.get() > ROW_MOST {
            return Err(io::Error::other(RowTooLong));
        }
        let n = self.inner.read(buffer)?;
        self.passed.of_row.set(self.passed.of_row.get() + n as u64);
        if let Some(&last) = buffer[..n].last() {
            self.passed.last.set(last);
        }
        Ok(n)
    }
}
