//! What somebody typed to sign in, and the session it gave, are nowhere but where they must be.

use super::drilled;
use super::running::Program;
use brimwatch::people::{People, Role};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

/// Distinct from all else, so that a piece of it is found anywhere.
const PASSWORD: &str = "Zwetschge-4711-marzipan";
/// A wrong one: what somebody types by mistake is often another account's.
const WRONG: &str = "Quitte-0815-nougat";
const WHO: &str = "R. Quill";

/// Every file below a folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() { found.extend(files(&path)) } else { found.push(path) }
    }
    found
}

fn holds(bytes: &[u8], secret: &str) -> bool {
    bytes.windows(secret.len()).any(|window| window == secret.as_bytes())
}

/// A people file with one engineer, named in the drill's site file.
fn name_people(site_file: &Path) -> PathBuf {
    let file = site_file.with_file_name("people.toml");
    let mut people = People::default();
    people.add(WHO, Role::Engineer, PASSWORD).expect("added");
    people.save(&file).expect("written");
    let text = fs::read_to_string(site_file).expect("the site file");
    fs::write(site_file, text.replacen("[site]\n", "[site]\npeople = \"people.toml\"\n", 1)).expect("a disk");
    file
}

/// Signs in wrongly and rightly; the session's cookie, without its name.
fn sign_in(program: &Program) -> String {
    let ask = |password: &str| {
        let body = serde_json::json!({ "name": WHO, "password": password }).to_string();
        program.answer("POST /sign-in", "", &body)
    };
    let refused = ask(WRONG);
    assert!(refused.starts_with("HTTP/1.1 403") && !refused.contains(WRONG), "{refused}");
    let taken = ask(PASSWORD);
    let (head, body) = taken.split_once("\r\n\r\n").expect("a body");
    let cookie = head.split("brimwatch_session=").nth(1).and_then(|c| c.split(';').next()).expect("a cookie");
    assert!(cookie.len() >= 32 && !body.contains(cookie) && !taken.contains(PASSWORD), "{taken}");
    cookie.to_owned()
}

/// All that the page gives to whoever asks, with and without the session.
fn pages(program: &Program, cookie: &str) -> Vec<(String, String)> {
    let paths = ["/", "/sign-in", "/settings", "/figures", "/bay/bay-1", "/bay/bay-1/frame.json", "/page.js"];
    let with = format!("\r\nCookie: brimwatch_session={cookie}");
    let asks = paths.into_iter().flat_map(|path| [(path, String::new()), (path, with.clone())]);
    asks.map(|(path, more)| (format!("the page {path}"), program.answer(&format!("GET {path}"), &more, ""))).collect()
}

/// With the log at its most talkative: entries made and refused, settings looked at, every page asked for, and then
/// everything that was written or answered is searched.
#[tokio::test(flavor = "multi_thread")]
async fn no_password_or_session_is_written_or_shown() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 1).await;
    let people = name_people(&drilled.site_file);
    let hash = People::load(&people).expect("people").find(WHO).expect("the engineer").password.clone();
    let (log, said) = (folder.path().join("log.txt"), folder.path().join("change.txt"));
    let mut command = Command::new(env!("CARGO_BIN_EXE_brimwatch"));
    command.args(["watch".as_ref(), drilled.site_file.as_os_str(), "--delivery".as_ref()]).arg(&drilled.delivery_file);
    command.env("BRIMWATCH_LOG", "trace").stderr(Stdio::from(fs::File::create(&log).expect("a file")));
    let mut program = Program::spawn(&mut command);

    let cookie = sign_in(&program);
    let with = format!("\r\nCookie: brimwatch_session={cookie}");
    let entry = r#"{"what": {"check": {"id": "pad_gas", "met": false, "note": "air, not nitrogen"}}}"#;
    let saved = program.answer("POST /bay/bay-1/entry", &with, entry);
    assert!(saved.starts_with("HTTP/1.1 200"), "{saved}");
    let unknown = program.answer("POST /bay/bay-1/entry", "\r\nCookie: brimwatch_session=0123456789abcdef", entry);
    assert!(unknown.starts_with("HTTP/1.1 401"), "{unknown}");
    let changed = program.answer(
        "POST /settings",
        &with,
        r#"{"version": "no such", "values": {"alarms.on_delay": "7 s"}, "reason": "the pad hunts", "apply": true}"#,
    );
    let mut shown = vec![("an entry".to_owned(), saved), ("a change".to_owned(), changed)];
    shown.extend(pages(&program, &cookie));
    let list = Command::new(env!("CARGO_BIN_EXE_brimwatch")).args(["people", "list"]).arg(&people).output();
    let list = list.expect("the program");
    fs::write(&said, [list.stdout, list.stderr].concat()).expect("a disk");
    tokio::time::sleep(Duration::from_secs(2)).await;
    program.child.kill().expect("killed");
    program.child.wait().expect("gone");

    let written: Vec<_> = files(folder.path()).into_iter().filter(|path| *path != people).collect();
    let mut looked = shown.into_iter().map(|(what, text)| (what, text.into_bytes())).collect::<Vec<_>>();
    looked.extend(written.iter().map(|path| (path.display().to_string(), fs::read(path).expect("a file"))));
    let place = |part: &str| looked.iter().any(|(what, bytes)| what.contains(part) && holds(bytes, WHO));
    assert!(place("log.txt") && place(".brim") && place("the page /sign-in"), "who acted stands where it must");
    for (secret, name) in
        [(PASSWORD, "the password"), (WRONG, "a wrong password"), (&cookie, "the session"), (&hash, "the hash")]
    {
        for (what, bytes) in &looked {
            assert!(!holds(bytes, secret), "{what} holds {name}");
        }
    }
    // The people file has the hash and nothing to sign in with.
    let kept = fs::read(&people).expect("a file");
    assert!(holds(&kept, &hash) && !holds(&kept, PASSWORD) && !holds(&kept, &cookie));
    println!("{} files and {} answers searched", written.len(), looked.len() - written.len());
}
