//! `brimwatch watch` killed in the middle of a transfer, started again, told to stop.

use super::drilled::{self, Drilled};
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A running `brimwatch watch` and where its page is.
struct Program {
    child: Child,
    page: String,
}

impl Program {
    fn start(drilled: &Drilled) -> Program {
        let mut child = Command::new(env!("CARGO_BIN_EXE_brimwatch"))
            .args(["watch".as_ref(), drilled.site_file.as_os_str(), "--delivery".as_ref()])
            .arg(&drilled.delivery_file)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program");
        let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
        let first = lines.next().expect("a first line").expect("text");
        let page = first.split("http://").nth(1).and_then(|a| a.strip_suffix('/')).expect("an address").to_owned();
        Program { child, page }
    }

    fn request(&self, head: &str, body: &str) -> (u16, String) {
        let mut stream = TcpStream::connect(&self.page).expect("the page");
        stream.set_read_timeout(Some(Duration::from_secs(15))).expect("a time-out");
        write!(
            stream,
            "{head} HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            self.page,
            body.len()
        )
        .expect("a request");
        let mut answer = String::new();
        stream.read_to_string(&mut answer).expect("an answer");
        let status = answer.split(' ').nth(1).and_then(|s| s.parse().ok()).expect("a status");
        (status, answer.split_once("\r\n\r\n").expect("a body").1.to_owned())
    }

    /// The frame once `ready` holds of it.
    fn frame_when(&self, what: &str, ready: impl Fn(&Value) -> bool) -> Value {
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

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn only_recording(folder: &Path) -> std::path::PathBuf {
    let mut found: Vec<_> =
        std::fs::read_dir(folder).expect("recordings").map(|e| e.expect("an entry").path()).collect();
    found.retain(|p| p.extension().is_some_and(|e| e == "brim"));
    assert_eq!(found.len(), 1, "{found:?}");
    found.remove(0)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_killed_program_goes_on_where_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 5).await;
    tokio::task::block_in_place(|| {
        let mut first = Program::start(&drilled);
        first.frame_when("all read", |f| {
            f["readings"].as_array().is_some_and(|r| r.iter().all(|r| r["validity"] == "good" || r["signal"] == 2))
        });
        let (status, body) = first.request("POST /bay/bay-1/entry", r#"{"what":"transfer_started"}"#);
        assert_eq!(status, 200, "{body}");
        let before = first.frame_when("a transfer", |f| {
            f["phase"] == "transfer"
                && f["witnesses"].as_array().is_some_and(|w| w.iter().all(|w| !w["received_kg"].is_null()))
        });
        // SIGKILL: nothing is flushed on the way out.
        first.child.kill().expect("a kill");
        first.child.wait().expect("an end");

        let second = Program::start(&drilled);
        let after = second.frame_when("a transfer again", |f| {
            f["phase"] == "transfer"
                && f["witnesses"].as_array().is_some_and(|w| w.iter().all(|w| w["validity"] == "good"))
        });
        assert_eq!(after["delivery"]["started_ns"], before["delivery"]["started_ns"], "the same start");
        let blind = &after["blind"];
        assert!(blind["to_ns"].as_u64() > blind["from_ns"].as_u64(), "the gap is said: {blind}");
        assert_eq!(blind["known_by"], "same_boot");
        assert!(after["at_ns"].as_u64() > before["at_ns"].as_u64(), "time went on");
        let (status, body) = second.request("POST /bay/bay-1/entry", r#"{"what":"closed"}"#);
        assert_eq!(status, 200, "{body}");
        drop(second);
    });
    let recording = only_recording(&folder.path().join("recordings/bay-1"));
    let replay =
        Command::new(env!("CARGO_BIN_EXE_brimwatch")).arg("replay").arg(&recording).output().expect("a replay");
    let said = String::from_utf8_lossy(&replay.stdout);
    assert_eq!(replay.status.code(), Some(0), "{said}");
    assert!(said.contains("bit for bit the same"), "{said}");
}
