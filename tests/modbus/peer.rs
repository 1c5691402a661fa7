//! A server as a child process, which says on stdout what it serves and at the end what it was asked, a line of JSON
//! each.

use super::{beside, venv};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::OnceLock;

/// A server that runs until it is ended or dropped.
pub struct Peer {
    name: String,
    child: Child,
    stdin: Option<ChildStdin>,
    stdout: BufReader<ChildStdout>,
}

impl Peer {
    /// Starts it and hears its first line.
    pub fn start<T: DeserializeOwned>(mut command: Command) -> (Peer, T) {
        let name = format!("{command:?}");
        let child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
        let mut child = child.unwrap_or_else(|e| panic!("{name}: {e}"));
        let stdin = child.stdin.take();
        let stdout = BufReader::new(child.stdout.take().expect("a piped stdout"));
        let mut peer = Peer { name, child, stdin, stdout };
        let first = peer.hear();
        (peer, first)
    }

    /// Sends it a line.
    pub fn say(&mut self, word: &str) {
        writeln!(self.stdin.as_mut().expect("still open"), "{word}").expect("a server that listens");
    }

    /// Ends it and hears its last line.
    pub fn end<T: DeserializeOwned>(mut self) -> T {
        self.stdin = None;
        let last = self.hear();
        let status = self.child.wait().expect("a child that can be waited for");
        assert!(status.success(), "{}: {status}", self.name);
        last
    }

    fn hear<T: DeserializeOwned>(&mut self) -> T {
        let mut line = String::new();
        self.stdout.read_line(&mut line).expect("a server that speaks");
        serde_json::from_str(&line).unwrap_or_else(|e| panic!("{} said {line:?}: {e}", self.name))
    }
}

impl Drop for Peer {
    /// A test that failed leaves no server behind.
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What a peer was asked.
#[derive(Deserialize)]
pub struct Asked {
    /// Unit and function of every request that came in, refused ones too.
    pub asked: Vec<(u8, u8)>,
    /// The same with first address and count, where the peer tells.
    #[serde(default)]
    pub whole: Vec<(u8, u8, u16, u16)>,
    /// Bytes that made no whole request.
    left: usize,
}

impl Asked {
    /// How often each function was asked: never one that writes, and nothing but whole requests.
    pub fn functions(&self) -> BTreeMap<u8, usize> {
        let mut functions = BTreeMap::new();
        for (_, function) in &self.asked {
            *functions.entry(*function).or_default() += 1;
        }
        assert!(functions.keys().all(|function| (1..=4).contains(function)), "asked by function: {functions:?}");
        assert_eq!(self.left, 0, "bytes that made no whole request");
        functions
    }
}

/// A script beside this file, in the pinned Python.
pub fn python(script: &str) -> Command {
    let mut command = Command::new(venv::python());
    command.arg(beside(script));
    command
}

/// peer.c, compiled once a run.
pub fn libmodbus() -> Command {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    Command::new(PROGRAM.get_or_init(|| {
        let program = Path::new(env!("CARGO_TARGET_TMPDIR")).join("peer");
        let mut cc = Command::new("cc");
        cc.args(["-std=gnu11", "-O1", "-Wall", "-Wextra", "-Werror", "-pthread"]);
        cc.arg(beside("peer.c")).arg("-lmodbus").arg("-o").arg(&program);
        let out = cc.output().unwrap_or_else(|e| panic!("cc: {e}: run ./test, which installs it"));
        let said = String::from_utf8_lossy(&out.stderr);
        assert!(out.status.success(), "peer.c (libmodbus-dev is installed by ./test): {said}");
        program
    }))
}
