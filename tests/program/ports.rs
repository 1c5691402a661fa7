//! Ways that lead nowhere: a port that is no serial line, one that is not there, one that this user may not open, a
//! host nobody knows. Each is said in words, and the devices behind other ways are read.

use super::drilled;
use super::running::Program;
use std::fs::Permissions;
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::path::Path;
use std::process::{Command, Stdio};

/// "nobody" on Debian: a user who may open no port.
const NOBODY: u32 = 65_534;

/// Gives a device of the site another way.
fn redirect(text: &mut String, device: &str, way: &str) {
    let at = text.find(&format!("name = \"{device}\"")).expect("the device");
    let from = at + text[at..].find("address = ").expect("its address");
    let to = from + text[from..].find('\n').expect("a line's end");
    text.replace_range(from..to, way);
}

/// The program as a user without rights, where we have some to give up.
fn as_nobody(folder: &Path) -> Command {
    if std::fs::metadata("/proc/self").expect("Linux").uid() != 0 {
        return Command::new(env!("CARGO_BIN_EXE_brimwatch"));
    }
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        chown(&folder, Some(NOBODY), Some(NOBODY)).expect("root may");
        folders.extend(std::fs::read_dir(&folder).into_iter().flatten().map(|e| e.expect("an entry").path()));
    }
    // Where the program lies it may not be reached by others.
    let program = folder.join("brimwatch");
    std::fs::copy(env!("CARGO_BIN_EXE_brimwatch"), &program).expect("a copy");
    let mut command = Command::new("setpriv");
    command.args(["--reuid", &NOBODY.to_string(), "--regid", &NOBODY.to_string(), "--clear-groups"]).arg(program);
    command
}

#[tokio::test(flavor = "multi_thread")]
async fn a_way_that_leads_nowhere_is_said_and_the_others_go_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 11).await;
    let locked = folder.path().join("ttyLOCKED");
    std::fs::write(&locked, "").expect("a file");
    let mut text = std::fs::read_to_string(&drilled.site_file).expect("the site file");
    redirect(&mut text, "truck scale", "link = \"yard line\"");
    redirect(&mut text, "tank 204 gauges", "link = \"locked line\"");
    redirect(&mut text, "trailer pad", "address = \"no-such-host.invalid:502\"");
    redirect(&mut text, "tank 204 high switch", "link = \"absent line\"");
    for (name, port) in
        [("yard", "/dev/null"), ("locked", locked.to_str().expect("text")), ("absent", "/dev/ttyABSENT")]
    {
        text += &format!("\n[[link]]\nname = \"{name} line\"\nserial_port = \"{port}\"\nbaud = 9600\n");
    }
    std::fs::write(&drilled.site_file, text).expect("a file");
    let log = folder.path().join("log");
    let to_log = std::fs::File::create(&log).expect("a file");
    let mut command = as_nobody(folder.path());
    std::fs::set_permissions(&locked, Permissions::from_mode(0)).expect("a mode");
    std::fs::set_permissions(folder.path(), Permissions::from_mode(0o755)).expect("a mode");
    command.arg("watch").arg(&drilled.site_file).stderr(Stdio::from(to_log));
    let page = tokio::task::block_in_place(|| {
        let program = Program::spawn(&mut command);
        program.frame_when("the meter is read, the others are missed", |f| {
            let readings = f["readings"].as_array().expect("readings");
            readings.iter().any(|r| r["validity"] == "good") && readings.iter().all(|r| r["validity"] != "stale")
        });
        let reasons = ["not_serial", "port_forbidden", "name_unknown", "port_absent"];
        let frame = program.frame_when("every reason", |f| reasons.iter().all(|r| f.to_string().contains(r)));
        println!("{}", frame["devices"]);
        program.request("GET /bay/bay-1/", "").1
    });
    let log = std::fs::read_to_string(&log).expect("the log");
    println!("{log}");
    for said in [
        "/dev/null: it is no serial port that can be set so (9600 baud",
        "ttyLOCKED: this user may not open it",
        "no-such-host.invalid:502: ",
        "/dev/ttyABSENT: there is no such port",
    ] {
        assert!(log.contains(said), "{said}");
    }
    for said in ["no serial port", "not be opened by this user", "name is not known", "no such serial port"] {
        assert!(page.contains(said), "{said}: {page}");
    }
}
