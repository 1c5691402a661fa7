//! The pymodbus servers as a child process.

use super::{script, venv};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

/// Three instruments, serving.
pub struct Instruments {
    child: Child,
    stdin: Option<ChildStdin>,
    stdout: BufReader<ChildStdout>,
    /// Port by device.
    pub ports: BTreeMap<String, u16>,
}

/// What one instrument was asked and what it answered.
#[derive(Deserialize)]
pub struct Log {
    /// Function code of every request that came in, refused ones too.
    pub functions: Vec<u8>,
    /// Every answer.
    pub answers: Vec<Answer>,
}

/// One answer.
#[derive(Deserialize)]
pub struct Answer {
    pub function: u8,
    /// Number shown, by address.
    pub values: BTreeMap<u16, f64>,
}

impl Instruments {
    pub fn serve() -> Instruments {
        let mut child = Command::new(venv::python())
            .arg(script("server.py"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("a Python that starts");
        let stdin = child.stdin.take();
        let mut stdout = BufReader::new(child.stdout.take().expect("a piped stdout"));
        let ports = next_line(&mut stdout);
        Instruments { child, stdin, stdout, ports }
    }

    /// "go" or "stop".
    pub fn say(&mut self, word: &str) {
        writeln!(self.stdin.as_mut().expect("still open"), "{word}").expect("a server that listens");
    }

    /// Ends the servers and says what they saw, by device.
    pub fn end(mut self) -> BTreeMap<String, Log> {
        self.stdin = None;
        let logs = next_line(&mut self.stdout);
        let status = self.child.wait().expect("a child that can be waited for");
        assert!(status.success(), "server.py: {status}");
        logs
    }
}

impl Drop for Instruments {
    /// A test that failed leaves no server behind.
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn next_line<T: serde::de::DeserializeOwned>(stdout: &mut BufReader<ChildStdout>) -> T {
    let mut line = String::new();
    stdout.read_line(&mut line).expect("a server that speaks");
    serde_json::from_str(&line).unwrap_or_else(|e| panic!("server.py said {line:?}: {e}"))
}
