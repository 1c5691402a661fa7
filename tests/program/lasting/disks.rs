//! Disks that are full or read-only, a folder that somebody removes.

#[cfg(feature = "peers")]
use super::in_trouble;
use super::{all_read, drill, inputs, note, notes, recording, replays_bit_for_bit};
use crate::running::Program;
#[cfg(feature = "peers")]
use std::time::Duration;

/// The bay's folder is removed while the program writes: it is said, the recording is written anew from its first byte,
/// and what was answered "saved" is in it.
#[tokio::test(flavor = "multi_thread")]
async fn a_folder_that_is_removed_costs_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drill(folder.path(), 6).await;
    let bay = folder.path().join("recordings/bay-1");
    tokio::task::block_in_place(|| {
        let program = Program::start(&drilled);
        program.frame_when("all read", all_read);
        assert_eq!(program.request("POST /bay/bay-1/entry", &note(1)).0, 200);
        std::fs::remove_dir_all(&bay).expect("removed");
        let (status, body) = program.request("POST /bay/bay-1/entry", &note(2));
        assert_eq!(status, 200, "{body}");
        let (_, on_record) = inputs(&std::fs::read(recording(&bay)).expect("written anew"));
        assert_eq!(notes(&on_record), ["note 1", "note 2"]);
        assert!(on_record.len() > 6, "with what was before: {}", on_record.len());
    });
    replays_bit_for_bit(&recording(&bay));
}

/// Linux lets anybody have a small disk of their own (user_namespaces(7), tmpfs(5)).
#[cfg(feature = "peers")]
fn on_a_disk(drilled: &crate::drilled::Drilled, options: &str, store: &std::path::Path) -> std::process::Command {
    std::fs::create_dir_all(store).expect("a folder");
    let mut command = std::process::Command::new("unshare");
    command.args(["--map-root-user", "--mount", "sh", "-c"]);
    command.arg(format!("mount -t tmpfs -o {options} tmpfs \"$0\" && exec \"$@\"")).arg(store);
    command.arg(env!("CARGO_BIN_EXE_brimwatch")).arg("watch").arg(&drilled.site_file);
    command.arg("--delivery").arg(&drilled.delivery_file);
    command
}

/// The disk fills up: said at once, no poll is missed, an entry is not answered "saved" before it is; with room again
/// all that waited is written.
#[cfg(feature = "peers")]
#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_is_said_and_nothing_that_waited_is_lost() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drill(folder.path(), 7).await;
    let store = folder.path().join("recordings");
    tokio::task::block_in_place(|| {
        let program = Program::spawn(on_a_disk(&drilled, "size=1m", &store).stderr(std::process::Stdio::null()));
        program.frame_when("all read", all_read);
        let root = std::path::PathBuf::from(format!("/proc/{}/root", program.child.id()));
        let inside = root.join(store.strip_prefix("/").expect("a path from the root"));
        let filler = inside.join("filler");
        let full = std::fs::write(&filler, vec![0; 2 << 20]).expect_err("a full disk");
        assert_eq!(full.kind(), std::io::ErrorKind::StorageFull);
        program.frame_when("the trouble is said", in_trouble);
        let page = program.page.clone();
        let entry = std::thread::spawn(move || page.answer("POST /bay/bay-1/entry", "", &note(1)));
        std::thread::sleep(Duration::from_secs(3));
        assert!(!entry.is_finished(), "answered before it was durable");
        std::fs::remove_file(&filler).expect("removed");
        let answer = entry.join().expect("a thread").expect("an answer");
        assert!(answer.contains(r#""saved":true"#), "{answer}");
        let frame = program.frame_when("it writes again", |f| f["recorder"] == "durable");
        assert!(frame["devices"].as_array().is_some_and(|d| d.iter().all(|d| d["missed"] == 0)), "{frame}");
        let copy = folder.path().join("copy.brim");
        std::fs::copy(recording(&inside.join("bay-1")), &copy).expect("a copy");
        let (_, on_record) = inputs(&std::fs::read(&copy).expect("the copy"));
        assert_eq!(notes(&on_record), ["note 1"]);
        replays_bit_for_bit(&copy);
    });
}

/// A store that cannot be written is said before anything is watched.
#[cfg(feature = "peers")]
#[tokio::test(flavor = "multi_thread")]
async fn a_read_only_disk_is_refused_with_advice() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drill(folder.path(), 8).await;
    let output = on_a_disk(&drilled, "ro", &folder.path().join("recordings")).output().expect("the program");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success());
    for part in ["recordings/bay-1", "the store cannot be used", "Read-only", "can be written"] {
        assert!(said.contains(part), "{part}: {said}");
    }
}
