//! The page over TLS as Python's own client has it (OpenSSL), with a certificate made for the test by the openssl command.

use super::drilled::{self, Drilled};
use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// Stopped when dropped.
struct Watch(Child);

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A certificate for 127.0.0.1 and its key, in that folder.
fn certify(folder: &Path, name: &str) {
    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2"])
        .args(["-subj", "/CN=brimwatch test", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"])
        .args(["-keyout".as_ref(), folder.join(format!("{name}.key")).as_os_str()])
        .args(["-out".as_ref(), folder.join(format!("{name}.pem")).as_os_str()])
        .output()
        .expect("openssl must be installed (apt-get install openssl)");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
}

/// Writes the site file `plain` with these keys.
fn with_tls(drilled: &Drilled, plain: &str, certificate: &str, key: &str) {
    let keys = format!("[site]\ntls_certificate = \"{certificate}\"\ntls_key = \"{key}\"\n");
    fs::write(&drilled.site_file, plain.replacen("[site]\n", &keys, 1)).expect("a disk");
}

fn command(drilled: &Drilled) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_brimwatch"));
    command.args(["watch".as_ref(), drilled.site_file.as_os_str()]);
    command
}

/// Host and port of a watch that says it speaks TLS.
fn start(drilled: &Drilled) -> (Watch, String) {
    let mut child = command(drilled).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("the program");
    let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
    let first = lines.next().expect("a first line").expect("text");
    let address = first.split("https://").nth(1).and_then(|a| a.strip_suffix('/')).expect("an address").to_owned();
    (Watch(child), address)
}

/// What Python's client gets: the protocol, the answer to a choice of units, the first bytes of the page.
const CLIENT: &str = r#"
import http.client, json, ssl, sys
certificate, host, port = sys.argv[1:]
context = ssl.create_default_context(cafile=certificate)
page = http.client.HTTPSConnection(host, int(port), context=context, timeout=10)
page.request("GET", "/")
answer = page.getresponse(); answer.read()
print(page.sock.version(), answer.status)
choice = json.dumps({"language": "en", "units": "us_customary"})
origin = {"Origin": f"https://{host}:{port}", "Content-Type": "application/json"}
page.request("POST", "/reader", choice, origin)
answer = page.getresponse(); answer.read()
print(answer.status, answer.headers["Set-Cookie"])
page.request("POST", "/reader", choice, {**origin, "Origin": f"http://{host}:{port}"})
answer = page.getresponse()
print(answer.status, answer.read().decode().strip())
"#;

#[tokio::test(flavor = "multi_thread")]
async fn the_page_is_served_over_tls_and_plain_http_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 1).await;
    certify(folder.path(), "page");
    let plain = fs::read_to_string(&drilled.site_file).expect("a site file");
    with_tls(&drilled, &plain, "page.pem", "page.key");
    let (_watch, address) = start(&drilled);
    let (host, port) = address.split_once(':').expect("host and port");
    let python = Path::new(env!("CARGO_MANIFEST_DIR")).join(".venv/bin/python");
    let told = Command::new(python)
        .args(["-c", CLIENT])
        .arg(folder.path().join("page.pem"))
        .args([host, port])
        .output()
        .expect("the pinned Python of .venv");
    let (said, trouble) = (String::from_utf8_lossy(&told.stdout), String::from_utf8_lossy(&told.stderr));
    assert!(told.status.success(), "{trouble}");
    let lines: Vec<&str> = said.lines().collect();
    assert!(lines[0].starts_with("TLSv1.3 "), "{said}");
    assert!(lines[1].starts_with("204 ") && lines[1].contains("HttpOnly") && lines[1].contains("Secure"), "{said}");
    assert!(lines[2].starts_with("403 Refused"), "an origin without encryption: {said}");

    let mut unencrypted = TcpStream::connect(&address).expect("it listens");
    unencrypted.set_read_timeout(Some(Duration::from_secs(10))).expect("a time-out");
    // In one piece: it is answered, and the door shut, at its first byte.
    let asked = format!("GET / HTTP/1.1\r\nHost: {address}\r\n\r\n");
    unencrypted.write_all(asked.as_bytes()).expect("sent");
    let mut answer = String::new();
    unencrypted.read_to_string(&mut answer).expect("an answer");
    assert!(answer.starts_with("HTTP/1.1 400") && answer.contains("over TLS only"), "{answer}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_certificate_that_cannot_be_used_is_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let drilled = drilled::start(folder.path(), 1.0, 1).await;
    certify(folder.path(), "page");
    certify(folder.path(), "other");
    let plain = fs::read_to_string(&drilled.site_file).expect("a site file");
    fs::write(folder.path().join("empty.pem"), "nothing\n").expect("written");
    for (certificate, key, words) in [
        ("absent.pem", "page.key", ["absent.pem", "cannot be read"]),
        ("page.key", "page.key", ["page.key", "holds no certificate"]),
        ("page.pem", "empty.pem", ["empty.pem", "no private key"]),
        ("page.pem", "other.key", ["other.key", "belong together"]),
    ] {
        with_tls(&drilled, &plain, certificate, key);
        let refused = command(&drilled).output().expect("the program");
        let said = String::from_utf8_lossy(&refused.stderr);
        assert!(
            !refused.status.success() && words.iter().all(|word| said.contains(word)),
            "{certificate}, {key}: {said}"
        );
    }
}
