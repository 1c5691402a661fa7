//! Files that are there whole or not at all.

use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

/// Puts bytes in the place of whatever the file held: a reader, and a machine that loses its power, find the old or
/// the new, never a part. `mode`: who may use it, as chmod(1) writes it, less what the account's umask takes away.
///
/// # Errors
/// What the system says; the old file is then as it was.
pub fn replace(path: &Path, bytes: &[u8], mode: u32) -> io::Result<()> {
    let beside = path.with_extension("new");
    // One that a kill left behind would keep its own mode.
    match fs::remove_file(&beside) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let mut file = OpenOptions::new().write(true).create_new(true).mode(mode).open(&beside)?;
    file.write_all(bytes)?;
    file.sync_data()?;
    fs::rename(&beside, path)
}
