//! `brimwatch watch` as a process.

use super::drilled::Drilled;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A running `brimwatch watch` and where its page is.
pub struct Program {
    pub child: Child,
    pub page: Page,
}

/// Where a page is: host and port.
#[derive(Clone)]
pub struct Page(String);

impl Program {
    pub fn start(drilled: &Drilled) -> Program {
        let mut command = Command::new(env!("CARGO_BIN_EXE_brimwatch"));
        command
            .args(["watch".as_ref(), drilled.site_file.as_os_str(), "--delivery".as_ref()])
            .arg(&drilled.delivery_file)
            .stderr(Stdio::null());
        Program::spawn(&mut command)
    }

    /// Starts it as told and waits until its page is there.
    pub fn spawn(command: &mut Command) -> Program {
        let mut child = command.stdout(Stdio::piped()).spawn().expect("the program");
        let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
        let first = lines.next().expect("a first line").expect("text");
        let page = first.split("http://").nth(1).and_then(|a| a.strip_suffix('/')).expect("an address").to_owned();
        Program { child, page: Page(page) }
    }

    /// Status and body.
    pub fn request(&self, head: &str, body: &str) -> (u16, String) {
        let answer = self.answer(head, "", body);
        let status = answer.split(' ').nth(1).and_then(|s| s.parse().ok()).expect("a status");
        (status, answer.split_once("\r\n\r\n").expect("a body").1.to_owned())
    }

    /// The answer as it came, with its head; `more`: further lines of the request's head, each behind its line break.
    pub fn answer(&self, head: &str, more: &str, body: &str) -> String {
        self.page.answer(head, more, body).expect("an answer")
    }

    /// The frame once `ready` holds of it.
    pub fn frame_when(&self, what: &str, ready: impl Fn(&Value) -> bool) -> Value {
        let until = Instant::now() + Duration::from_secs(30);
        loop {
            let (status, body) = self.request("GET /bay/bay-1/frame.json", "");
            if status == 200 {
                let frame = serde_json::from_str::<Value>(&body).expect("JSON")["frame"].clone();
                if ready(&frame) {
                    return frame;
                }
            }
            assert!(Instant::now() < until, "not within 30 s: {what}; {body}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }
}

impl Page {
    /// The page of a watch in this process.
    pub fn at(address: std::net::SocketAddr) -> Page {
        Page(address.to_string())
    }

    /// As [`Program::answer`], from one that may die meanwhile.
    pub fn answer(&self, head: &str, more: &str, body: &str) -> std::io::Result<String> {
        let mut stream = TcpStream::connect(&self.0)?;
        stream.set_read_timeout(Some(Duration::from_secs(15)))?;
        write!(
            stream,
            "{head} HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close{more}\r\n\r\n{body}",
            self.0,
            body.len()
        )?;
        let mut answer = String::new();
        stream.read_to_string(&mut answer)?;
        Ok(answer)
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
