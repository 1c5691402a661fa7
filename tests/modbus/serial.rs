//! A serial line: a pair of pseudo-terminals that socat joins.

use brimwatch::poll::way::{Parity, Serial};
use std::path::PathBuf;
use std::process::{Child, Command};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Its two ends, there until it is dropped.
pub struct Line {
    socat: Child,
    folder: TempDir,
}

impl Line {
    pub fn lay() -> Line {
        let folder = tempfile::tempdir().expect("a folder");
        let end = |name: &str| format!("pty,raw,echo=0,link={}", folder.path().join(name).display());
        let socat = Command::new("socat").args([end("near"), end("far")]).spawn();
        let socat = socat.unwrap_or_else(|e| panic!("socat: {e}: run ./test, which installs it"));
        let line = Line { socat, folder };
        let started = Instant::now();
        while !(line.end("near").exists() && line.far().exists()) {
            assert!(started.elapsed() < Duration::from_secs(20), "socat made no pair of pseudo-terminals");
            std::thread::sleep(Duration::from_millis(10));
        }
        line
    }

    /// The end for the poller. A pseudo-terminal has no parity; then there are two stop bits (Modbus over Serial Line
    /// V1.02, 2.5.1).
    pub fn near(&self) -> Serial {
        Serial { port: self.end("near"), baud: 19_200, parity: Parity::None, stop_bits: 2 }
    }

    /// The end for the devices.
    pub fn far(&self) -> PathBuf {
        self.end("far")
    }

    fn end(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        let _ = self.socat.kill();
        let _ = self.socat.wait();
    }
}
