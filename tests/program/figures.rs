//! Live figures: a general OpenMetrics parser reads them, the papers list them, and they count what happened.

use super::drilled;
use super::running::Program;
use serde_json::Value;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// What the parser makes of a text.
fn parsed(text: &str) -> Value {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut child = Command::new(root.join(".venv/bin/python"))
        .arg(root.join("tests/program/figures.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the pinned Python: run ./test");
    child.stdin.take().expect("a pipe").write_all(text.as_bytes()).expect("written");
    let out = child.wait_with_output().expect("it ends");
    assert!(out.status.success(), "the parser refuses it:\n{text}");
    serde_json::from_slice(&out.stdout).expect("JSON")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_general_parser_reads_the_figures() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 1).await;
    let mut program = Program::start(&drilled);
    tokio::time::sleep(Duration::from_millis(3_500)).await;
    let (status, text) = program.request("GET /figures", "");
    assert_eq!(status, 200);
    let families = parsed(&text);
    let families = families.as_object().expect("families");
    let paper =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/interface.md")).expect("a paper");
    assert!(families.len() >= 16, "{}", families.len());
    for (name, family) in families {
        assert!(paper.contains(&format!("`{name}`")), "{name} is not in docs/interface.md");
        assert!(family["samples"].as_array().is_some_and(|s| !s.is_empty()), "{name} has no sample");
        assert_ne!(family["type"], "unknown", "{name}");
    }
    let devices = drilled.site.devices.len();
    let sum = |name: &str, label: &str, value: &str| -> f64 {
        let samples = families[name]["samples"].as_array().expect("samples");
        let meant = samples.iter().filter(|s| label.is_empty() || s["labels"][label] == value);
        meant.map(|s| s["value"].as_f64().expect("a number")).sum()
    };
    let answered = sum("brimwatch_device_rounds", "outcome", "answered");
    #[expect(clippy::cast_precision_loss, reason = "a few")]
    let devices = devices as f64;
    assert!(answered >= 2.0 * devices && answered <= 6.0 * devices, "{answered} rounds of {devices} devices");
    assert!(sum("brimwatch_bay_steps", "", "") >= answered, "every answer is a step");
    assert!((sum("brimwatch_device_answers", "", "") - devices).abs() < 0.1);
    let memory = sum("brimwatch_memory_bytes", "", "");
    assert!(memory > 1e6 && memory < 1e9, "{memory} bytes");
    assert!(sum("brimwatch_recorder_lag_seconds", "", "") < 2.0);

    let (status, page) = program.request("GET /figures HTTP/1.1\r\nAccept: text/html\r\nX-Rest:", "");
    assert!(status == 200 && page.contains("<h2>brimwatch_bay_steps</h2>"), "{page}");
    program.child.kill().expect("killed");
    program.child.wait().expect("gone");
}
