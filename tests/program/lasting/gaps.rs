//! Time that nobody watched: the program held, the machine asleep.

#[cfg(feature = "peers")]
use super::recording;
use super::{all_read, drill, replays_bit_for_bit, send};
use crate::running::Program;
use serde_json::Value;
use std::time::Duration;

#[expect(clippy::cast_precision_loss, reason = "hours")]
fn blind_s(frame: &Value) -> Option<f64> {
    let (from, to) = (frame["blind"]["from_ns"].as_u64()?, frame["blind"]["to_ns"].as_u64()?);
    Some((to - from) as f64 / 1e9)
}

/// Held for seven seconds, as by a machine that sleeps or swaps: the page says from when to when nobody watched, every
/// signal is read anew, and the transfer is the same.
#[tokio::test(flavor = "multi_thread")]
async fn a_program_that_was_held_says_so() {
    const HELD: Duration = Duration::from_secs(7);
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drill(folder.path(), 9).await;
    tokio::task::block_in_place(|| {
        let program = Program::start(&drilled);
        program.frame_when("all read", all_read);
        let (status, body) = program.request("POST /bay/bay-1/entry", r#"{"what":"transfer_started"}"#);
        assert_eq!(status, 200, "{body}");
        let before = program.frame_when("a transfer", |f| f["phase"] == "transfer");
        send(&program, "STOP");
        std::thread::sleep(HELD);
        send(&program, "CONT");
        let after = program.frame_when("the gap is said", |f| blind_s(f).is_some());
        let blind = blind_s(&after).expect("a gap");
        assert!((6.0..10.0).contains(&blind), "{blind} s");
        assert_eq!(after["blind"]["known_by"], "same_boot");
        program.frame_when("all read again", all_read);
        assert_eq!(after["delivery"]["started_ns"], before["delivery"]["started_ns"], "the same start");
    });
    replays_bit_for_bit(&super::recording(&folder.path().join("recordings/bay-1")));
}

/// The machine slept for an hour (time_namespaces(7): its clock that counts suspension is an hour ahead): engine time has
/// gone on by that hour, by no wall clock, and the page says that nobody watched.
#[cfg(feature = "peers")]
#[tokio::test(flavor = "multi_thread")]
async fn an_hour_asleep_is_an_hour_that_nobody_watched() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drill(folder.path(), 10).await;
    tokio::task::block_in_place(|| {
        let mut first = Program::start(&drilled);
        let before = first.frame_when("all read", all_read);
        first.child.kill().expect("a kill");
        first.child.wait().expect("an end");
        let mut command = std::process::Command::new("unshare");
        command.args(["--map-root-user", "--time", "--boottime", "3600", env!("CARGO_BIN_EXE_brimwatch"), "watch"]);
        command.arg(&drilled.site_file).arg("--delivery").arg(&drilled.delivery_file);
        let second = Program::spawn(command.stderr(std::process::Stdio::null()));
        let after = second.frame_when("all read again", |f| all_read(f) && blind_s(f).is_some());
        let blind = blind_s(&after).expect("a gap");
        assert!((3600.0..3640.0).contains(&blind), "{blind} s");
        assert_eq!(after["blind"]["known_by"], "same_boot");
        assert!(after["at_ns"].as_u64() > before["at_ns"].as_u64().map(|at| at + 3_600_000_000_000));
    });
    replays_bit_for_bit(&recording(&folder.path().join("recordings/bay-1")));
}
