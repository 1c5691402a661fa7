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

/// A way that leads nowhere, with what the log and the page say of it.
struct Nowhere {
    way: String,
    reason: &'static str,
    log: &'static str,
    page: &'static str,
}

/// The scale and the tank's instruments behind such ways; the meter goes on.
fn said(folder: &Path, site_file: &Path, ways: [Nowhere; 2]) {
    let mut text = std::fs::read_to_string(site_file).expect("the site file");
    for (device, nowhere) in ["truck scale", "tank and gas"].iter().zip(&ways) {
        redirect(&mut text, device, &nowhere.way);
    }
    std::fs::write(site_file, text).expect("a file");
    let log = folder.join("log");
    let to_log = std::fs::File::create(&log).expect("a file");
    let mut command = as_nobody(folder);
    command.arg("watch").arg(site_file).stderr(Stdio::from(to_log));
    let program = Program::spawn(&mut command);
    let frame = program.frame_when("the meter is read, each way's reason is there", |f| {
        let meter = f["devices"][0]["answered"].as_u64() > Some(0);
        meter && (1..3).all(|d| f["devices"][d]["trouble"]["reason"] == ways[d - 1].reason)
    });
    println!("{}", frame["devices"]);
    let page = program.request("GET /bay/bay-1", "").1;
    let log = std::fs::read_to_string(&log).expect("the log");
    println!("{log}");
    for nowhere in &ways {
        assert!(log.contains(nowhere.log), "{}", nowhere.log);
        assert!(page.contains(nowhere.page), "{}: {page}", nowhere.page);
    }
}

fn line(name: &str) -> String {
    format!("link = \"{name} line\"")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_way_that_leads_nowhere_is_said_and_the_others_go_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 11).await;
    let locked = folder.path().join("ttyLOCKED");
    std::fs::write(&locked, "").expect("a file");
    std::fs::set_permissions(&locked, Permissions::from_mode(0o000)).expect("a mode");
    std::fs::set_permissions(folder.path(), Permissions::from_mode(0o755)).expect("a mode");
    let plain = std::fs::read_to_string(&drilled.site_file).expect("the site file");
    let links = |ports: &[(&str, &str)]| {
        let link = |(name, port): &(&str, &str)| {
            format!("\n[[link]]\nname = \"{name} line\"\nserial_port = \"{port}\"\nbaud = 9600\n")
        };
        ports.iter().map(link).collect::<String>()
    };
    let locked = locked.to_str().expect("text");
    tokio::task::block_in_place(|| {
        let site = plain.clone() + &links(&[("yard", "/dev/null"), ("locked", locked)]);
        std::fs::write(&drilled.site_file, site).expect("a file");
        let not_serial = Nowhere {
            way: line("yard"),
            reason: "not_serial",
            log: "/dev/null: it is no serial port that can be set so (9600 baud",
            page: "no usable serial port",
        };
        let forbidden = Nowhere {
            way: line("locked"),
            reason: "port_forbidden",
            log: "ttyLOCKED: this user may not open it",
            page: "may not open the serial port",
        };
        said(folder.path(), &drilled.site_file, [not_serial, forbidden]);
        let site = plain + &links(&[("absent", "/dev/ttyABSENT")]);
        std::fs::write(&drilled.site_file, site).expect("a file");
        let unknown = Nowhere {
            way: "address = \"no-such-host.invalid:502\"".into(),
            reason: "name_unknown",
            log: "no-such-host.invalid:502: ",
            page: "name is not known",
        };
        let absent = Nowhere {
            way: line("absent"),
            reason: "port_absent",
            log: "/dev/ttyABSENT: there is no such port",
            page: "no such serial port",
        };
        said(folder.path(), &drilled.site_file, [unknown, absent]);
    });
}
