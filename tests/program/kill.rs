//! `brimwatch watch` killed in the middle of a transfer, started again, told to stop.

use super::drilled;
use super::running::Program;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

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
        let beats = || std::fs::read_to_string(folder.path().join("recordings/heartbeat")).unwrap_or_default();
        let (beat, until) = (beats(), Instant::now() + Duration::from_secs(20));
        while beats() == beat {
            assert!(Instant::now() < until, "the sign of life stands still at {beat:?}");
            std::thread::sleep(Duration::from_millis(100));
        }
        // SIGKILL: nothing is flushed on the way out.
        first.child.kill().expect("a kill");
        first.child.wait().expect("an end");
        let last_beat = beats();
        std::thread::sleep(Duration::from_secs(4));
        assert_eq!(beats(), last_beat, "a dead program gives no sign of life");

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
