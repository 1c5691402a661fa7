//! `brimwatch decode` against a Modbus TCP server of our own, written straight from the protocol's text, that holds every
//! request: what is read, what is said of it, what is refused.

use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};

/// Unit, function, first address, count.
type Request = (u8, u8, u16, u16);
/// What stands in a register at a request, counted from 0; `None`: no such register.
type Words = fn(u16, u16) -> Option<u16>;

/// A device on 127.0.0.1 until it is dropped.
struct Device {
    port: u16,
    asked: Arc<Mutex<Vec<Request>>>,
    over: Arc<AtomicBool>,
}

impl Device {
    fn serve(words: Words) -> Device {
        let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
        let port = listener.local_addr().expect("bound").port();
        let (asked, over) = (Arc::new(Mutex::new(Vec::new())), Arc::new(AtomicBool::new(false)));
        let (log, ended) = (Arc::clone(&asked), Arc::clone(&over));
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                if ended.load(Ordering::SeqCst) {
                    break;
                }
                // Whoever leaves in the middle has what it came for.
                let _ = stream.and_then(|stream| answer(stream, &log, words));
            }
        });
        Device { port, asked, over }
    }

    fn at(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    fn asked(&self) -> Vec<Request> {
        self.asked.lock().expect("whole").clone()
    }
}

impl Drop for Device {
    fn drop(&mut self) {
        self.over.store(true, Ordering::SeqCst);
        let _ = TcpStream::connect(("127.0.0.1", self.port));
    }
}

/// Requests of 12 bytes: transaction, protocol 0, length 6, unit; function, address, count (Modbus Messaging on TCP/IP
/// V1.0b, 3.1.3; Modbus Application Protocol V1.1b3, 6.3 and 6.4).
fn answer(mut stream: TcpStream, log: &Mutex<Vec<Request>>, words: Words) -> std::io::Result<()> {
    for nth in 0.. {
        let mut request = [0; 12];
        stream.read_exact(&mut request)?;
        let pair = |at: usize| u16::from_be_bytes([request[at], request[at + 1]]);
        let (unit, function, address, count) = (request[6], request[7], pair(8), pair(10));
        log.lock().expect("whole").push((unit, function, address, count));
        let held: Option<Vec<u16>> = (0..count).map(|i| words(address.checked_add(i)?, nth)).collect();
        let body = match held {
            Some(held) => {
                let bytes: Vec<u8> = held.iter().flat_map(|word| word.to_be_bytes()).collect();
                [&[function, u8::try_from(bytes.len()).expect("few")], &bytes[..]].concat()
            }
            None => vec![function | 0x80, 2],
        };
        let length = u16::try_from(body.len() + 1).expect("short").to_be_bytes();
        stream.write_all(&[&request[..4], &length, &[unit], &body].concat())?;
    }
    Ok(())
}

fn decode(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_brimwatch")).arg("decode").args(arguments).output().expect("the program")
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("text")
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("text")
}

/// 41 and 42: 20,123.5 as a single, words swapped (46 9D 37 00 by IEEE 754); next to it what is nobody's.
fn scale(address: u16, _nth: u16) -> Option<u16> {
    BTreeMap::from([(40, 7), (41, 0x3700), (42, 0x469d), (43, 7)]).get(&address).copied()
}

#[test]
fn a_reading_is_found_and_nothing_but_the_named_registers_is_read() {
    let device = Device::serve(scale);
    let asked_for = ["41", "42", "--unit", "7", "--kind", "scale_kg", "--expect", "18000 kg..26000 kg"];
    let output = decode(&[&[device.at().as_str()], &asked_for[..]].concat());
    let text = out(&output);
    println!("{text}");
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let first = text.lines().find(|line| line.starts_with("  1 ")).expect("a first reading");
    let columns: Vec<&str> = first.split_whitespace().collect();
    assert_eq!(columns[..6], ["1", "20123.5", "41-42", "f32", "CDAB", "kg"], "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    // 469D = 18,077 fits by itself: said, not hidden.
    let plain = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(plain.contains("u16 ABCD at 42 in kg both fit, and say 20123.5 kg and 18077 kg"), "{text}");
    assert!(text.contains("--watch"), "{text}");
    assert_eq!(device.asked(), [(7, 3, 41, 2)]);
}

#[test]
fn addresses_are_those_of_the_papers_and_holes_stay_unread() {
    let device = Device::serve(|address, _| (address != 45).then_some(20_000 + address));
    let at = device.at();
    let common = ["--kind", "level_m", "--expect", "20 m..21 m", "--function", "4", "--json"];
    let output = decode(&[&[&at, "41-43", "47", "--address-base", "1"], &common[..]].concat());
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert_eq!(device.asked(), [(1, 4, 40, 3), (1, 4, 46, 1)]);
    let json: Value = serde_json::from_str(&out(&output)).expect("JSON");
    let first = &json["readings"][0];
    assert_eq!((&first["address"], &first["wire_address"]), (&41.into(), &40.into()));
    assert_eq!((&first["type"], &first["unit"], &first["values_si"][0]), (&"u16".into(), &"mm".into(), &20.04.into()));
}

#[test]
fn a_watch_parts_what_moves_from_what_jumps() {
    // 20,000 kg rising by 7 kg a read, words of another value beside it.
    let device = Device::serve(|address, nth| Some(if address == 40 { 20_000 + 7 * nth } else { 9_000 }));
    let at = device.at();
    let arguments =
        [&at, "40", "41", "--kind", "scale_kg", "--expect", "0 kg..80000 kg", "--watch", "3", "--moves", "rising"];
    let output = decode(&arguments);
    let text = out(&output);
    println!("{text}");
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert_eq!(device.asked(), [(1, 3, 40, 2); 4]);
    let columns = |n: &str| {
        let line = text.lines().find(|line| line.trim_start().starts_with(n)).expect("a reading");
        line.split_whitespace().map(str::to_owned).collect::<Vec<_>>()
    };
    let first = columns("1 ");
    assert_eq!((first[2].as_str(), first[3].as_str(), first[5].as_str()), ("40", "u16", "kg"), "{text}");
    assert_eq!(first.last().map(String::as_str), Some("+21"), "{text}");
    assert!(text.contains("jumps") && text.contains("moves wrong"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

/// The shipped site file, in which the lines stand in place of the signal of that kind.
fn pasted(folder: &Path, kind: &str, lines: &str) -> PathBuf {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let mut text = std::fs::read_to_string(shipped.join("site.toml")).expect("the site file");
    let from = text.find(&format!("[[bay.signal]]\nkind = \"{kind}\"")).expect("the signal");
    let to = text[from + 1..].find("[[bay.signal]]").map_or(text.len(), |at| from + 1 + at);
    text.replace_range(from..to, "");
    text = text.replace("\n[[device]]\nname = \"truck scale\"\naddress = \"127.0.0.1:15022\"\nunit = 1\naddress_base = 1\nperiod = \"1 s\"\ntime_out = \"500 ms\"\n", "\n");
    text.push_str(&format!("\n{lines}"));
    let product = "products/caustic-soda-50.toml";
    std::fs::create_dir_all(folder.join("products")).expect("a folder");
    std::fs::copy(shipped.join(product), folder.join(product)).expect("a copy");
    let path = folder.join("site.toml");
    std::fs::write(&path, text).expect("a file");
    path
}

/// Lines for a device that no site file knows are taken by one, and read the same words as the same value; then the
/// device is asked by its name, with all that the site file says of it.
#[test]
fn the_lines_are_taken_by_a_site_file_which_then_knows_the_device() {
    let device = Device::serve(scale);
    let (folder, at) = (tempfile::tempdir().expect("a folder"), device.at());
    let common = ["--kind", "scale_kg", "--expect", "18000 kg..26000 kg", "--json"];
    let output = decode(&[&[&at, "42-43", "--unit", "7", "--address-base", "1"], &common[..]].concat());
    let json: Value = serde_json::from_str(&out(&output)).expect("JSON");
    let lines = json["chosen"]["site_lines"].as_str().expect("lines").replace("# division", "division");
    println!("{lines}");
    let lines = lines.replacen("period =", "not_read = [\"3:50-60\"]\nperiod =", 1);
    let path = pasted(folder.path(), "scale_kg", &lines);
    let site = brimwatch::config::load(&path).unwrap_or_else(|faults| panic!("{faults}"));
    let bay = &site.bays[0];
    let at = bay.settings.signals.iter().position(|s| s.name == "scale_kg").expect("the signal");
    let decoded = bay.places[at].register.decode(&[0x3700, 0x469d]);
    assert_eq!(decoded, brimwatch::engine::input::Measured::Number(20_123.5));

    let site = path.to_str().expect("text");
    let output = decode(&[&["new device", "42", "43", "--site", site], &common[..]].concat());
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert_eq!(device.asked(), [(7, 3, 41, 2); 2], "unit and base of the site file");
    let json: Value = serde_json::from_str(&out(&output)).expect("JSON");
    let lines = json["chosen"]["site_lines"].as_str().expect("lines");
    assert!(lines.starts_with("[[bay.signal]]") && lines.contains("device = \"new device\""), "{lines}");

    let refused = |name, register| decode(&[&[name, register, "--site", site], &common[..]].concat());
    let unknown = refused("new devise", "42");
    assert_eq!(unknown.status.code(), Some(2));
    assert!(err(&unknown).contains("no device or link \"new devise\"") && err(&unknown).contains("\"new device\""));
    let barred = refused("new device", "55");
    assert_eq!(barred.status.code(), Some(2));
    assert!(err(&barred).contains("register 55 must not be read") && err(&barred).contains("not_read"));
    assert_eq!(device.asked().len(), 2, "nothing was asked");
}

/// (arguments, exit code, words of the message), with nobody at the other end.
#[rustfmt::skip]
const WRONG: &[(&[&str], i32, &[&str])] = &[
    (&["127.0.0.1:1", "40", "--kind", "scale_kg", "--expect", "26 t..18 t"], 2, &["does not rise", "swap the ends"]),
    (&["127.0.0.1:1", "40", "--kind", "scale_kg", "--expect", "18 m..26 m"], 2, &["unit of length, not of mass", "kg, t, lb"]),
    (&["127.0.0.1:1", "40", "--kind", "pad_pressure_pa_gauge", "--expect", "1 psi..2 psi"], 2, &["nearest: psi gauge"]),
    (&["127.0.0.1:1", "40", "--kind", "scale_kg", "--expect", "18000"], 2, &["no range", "two dots"]),
    (&["127.0.0.1:1", "40", "--kind", "scale_kgs", "--expect", "18 t..26 t"], 2, &["scale_kg"]),
    (&["127.0.0.1:1", "40", "--kind", "high_level_switch", "--expect", "18 t..26 t"], 2, &["possible values"]),
    (&["127.0.0.1:1", "40", "--kind", "scale_kg", "--expect", "18 t..26 t", "--function", "6"], 2, &["3..=4"]),
    (&["127.0.0.1:1", "1-126", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["126 registers", "at most 125"]),
    (&["127.0.0.1:1", "65536", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["no register", "0 to 65535"]),
    (&["127.0.0.1:1", "0", "--address-base", "1", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["1 to 65536"]),
    (&["127.0.0.1:1", "41-40", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["backwards"]),
    (&["127.0.0.1:1", "x", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["no register"]),
    (&["127.0.0.1", "40", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["neither host and port", "--site"]),
    (&["truck scale", "40", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["neither host and port", "--site"]),
    (&["/dev/no-such-port", "40", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["--baud"]),
    (&["/dev/no-such-port", "40", "--baud", "9600", "--unit", "0", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["1 to 247"]),
    (&["127.0.0.1:1", "40", "--baud", "9600", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["belongs to a serial port"]),
    (&["scale", "40", "--baud", "9600", "--site", "x.toml", "--kind", "scale_kg", "--expect", "18 t..26 t"], 2, &["cannot be used with"]),
    (&["127.0.0.1:1", "40", "--kind", "scale_kg", "--expect", "18 t..26 t", "--moves", "rising"], 2, &["--watch"]),
    (&["127.0.0.1:1", "40", "--kind", "scale_kg", "--expect", "18 t..26 t", "--watch=-1"], 2, &["--watch"]),
    (&["127.0.0.1:1", "40", "--kind", "scale_kg", "--expect", "18 t..26 t", "--site", "no-such.toml"], 2, &["no-such.toml"]),
    (&["127.0.0.1:1", "40", "--kind", "scale_kg", "--expect", "18 t..26 t"], 1, &["127.0.0.1:1, unit 1", "no connection", "check host"]),
    (&["no-such-host.invalid:502", "40", "--kind", "scale_kg", "--expect", "18 t..26 t"], 1, &["name is not known"]),
    (&["/dev/no-such-port", "40", "--baud", "9600", "--kind", "scale_kg", "--expect", "18 t..26 t"], 1, &["no such serial port", "by-id"]),
];

#[test]
fn what_is_wrong_is_said_with_what_to_do() {
    for (arguments, code, words) in WRONG {
        let output = decode(arguments);
        let said = err(&output);
        assert_eq!(output.status.code(), Some(*code), "{arguments:?}: {said}");
        assert!(words.iter().all(|word| said.contains(word)), "{arguments:?}: {said}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
    }
}

#[test]
fn an_illegal_address_and_a_silent_device_are_said() {
    let device = Device::serve(scale);
    let at = device.at();
    let output = decode(&[&at, "43", "44", "--kind", "scale_kg", "--expect", "18 t..26 t"]);
    let said = err(&output);
    assert_eq!(output.status.code(), Some(7), "{said}");
    for word in ["registers 43 to 44", "exception 2", "--address-base 1", "--function 4", "40041"] {
        assert!(said.contains(word), "{word}: {said}");
    }
    // Registers apart are asked for apart: the one that is there is shown, the other said.
    let output = decode(&[&at, "42", "50", "--kind", "scale_kg", "--expect", "18 t..26 t"]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(out(&output).contains("Not read, register 50: exception 2"), "{}", out(&output));

    // A listener that never answers.
    let silent = TcpListener::bind(("127.0.0.1", 0)).expect("a port");
    let at = silent.local_addr().expect("bound").to_string();
    let output = decode(&[&at, "40", "--kind", "scale_kg", "--expect", "18 t..26 t"]);
    assert_eq!(output.status.code(), Some(7), "{}", err(&output));
    assert!(err(&output).contains("no answer within the time-out; check --unit"), "{}", err(&output));
}

#[test]
fn when_nothing_fits_the_words_and_what_to_try_are_shown() {
    let device = Device::serve(|_, _| Some(0));
    let output = decode(&[&device.at(), "40-41", "--kind", "scale_kg", "--expect", "18 t..26 t"]);
    let text = out(&output);
    assert_eq!(output.status.code(), Some(8), "{}", err(&output));
    for word in ["40: 0000 0000", "Every word is 0", "No reading", "--function"] {
        assert!(text.contains(word), "{word}: {text}");
    }
}

/// Reads only: whatever is typed, no function but 3 and 4 leaves, and no register that was not named.
#[test]
fn many_questions_ask_for_what_was_named_and_no_more() {
    let device = Device::serve(|address, nth| Some(address.wrapping_mul(31).wrapping_add(nth)));
    let at = device.at();
    let questions: [(&[&str], &[Request]); 4] = [
        (&["0", "65535"], &[(9, 3, 0, 1), (9, 3, 65_535, 1)]),
        (&["10", "12", "11", "10"], &[(9, 3, 10, 3)]),
        (&["100-224"], &[(9, 3, 100, 125)]),
        (&["7", "9-10", "--function", "4"], &[(9, 4, 7, 1), (9, 4, 9, 2)]),
    ];
    let mut expected = Vec::new();
    for (registers, requests) in questions {
        let output = decode(
            &[&[at.as_str()], registers, &["--unit", "9", "--kind", "flow_total_kg", "--expect", "0 kg..1e8 kg"]]
                .concat(),
        );
        assert!(matches!(output.status.code(), Some(0 | 8)), "{}", err(&output));
        expected.extend_from_slice(requests);
        assert_eq!(device.asked(), expected, "{registers:?}");
    }
}
