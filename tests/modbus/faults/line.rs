//! A serial line without a wire: a pseudo-terminal, whose one end is the port that the program opens.

use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};
use rustix::io::{read, write};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fs::File;
use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStrExt;
use std::path::Path;
use tokio::io::unix::AsyncFd;

/// Our end of a line.
pub struct Line {
    end: AsyncFd<OwnedFd>,
    /// Holds the other end open, so that ours does not hang up before and between its users.
    _other: File,
}

impl Line {
    /// A new line, whose port gets the name `port`.
    pub fn lay(port: &Path) -> io::Result<Line> {
        let end = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY)?;
        grantpt(&end)?;
        unlockpt(&end)?;
        let name = ptsname(&end, Vec::new())?;
        let name = Path::new(std::ffi::OsStr::from_bytes(name.to_bytes()));
        // Bytes as they are, until the program has set the port to its own liking.
        let mut settings = tcgetattr(&end)?;
        settings.make_raw();
        tcsetattr(&end, OptionalActions::Now, &settings)?;
        fcntl_setfl(&end, fcntl_getfl(&end)? | OFlags::NONBLOCK)?;
        let other = File::options().read(true).write(true).open(name)?;
        let _ = std::fs::remove_file(port);
        std::os::unix::fs::symlink(name, port)?;
        #[expect(deprecated, reason = "its successor is unsafe; the descriptor is ours and is not put to other use")]
        let end = AsyncFd::new(end)?;
        Ok(Line { end, _other: other })
    }

    pub async fn read(&self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            let mut ready = self.end.readable().await?;
            if let Ok(done) = ready.try_io(|end| Ok(read(end, &mut *buffer)?)) {
                return done;
            }
        }
    }

    pub async fn write_all(&self, mut bytes: &[u8]) -> io::Result<()> {
        while !bytes.is_empty() {
            let mut ready = self.end.writable().await?;
            if let Ok(done) = ready.try_io(|end| Ok(write(end, bytes)?)) {
                bytes = &bytes[done?..];
            }
        }
        Ok(())
    }
}
