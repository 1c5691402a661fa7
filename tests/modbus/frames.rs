//! Published frames: what the poller sends is these bytes and no others, and what it makes of the replies is what their
//! publishers say.

use super::asking::ask;
use super::peer;
use super::serial::Line;
use brimwatch::engine::input::Block;
use brimwatch::poll::registers::{DataType, Register, WordOrder};
use brimwatch::poll::way::Way;
use std::fs::OpenOptions;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::thread::{self, JoinHandle};

/// A request and its reply on a serial line, both with unit in front and CRC behind (low byte first, Modbus over
/// Serial Line V1.02, 2.5.1.2).
struct Frames {
    request: &'static str,
    reply: &'static str,
    /// Words (bits as 0 and 1) of the reply, or its exception code.
    words: Result<&'static [u16], u8>,
}

/// Function, address, count and data: the examples of Modbus Application Protocol V1.1b3, 6.1 to 6.4 and 7, in this
/// order. CRCs: pymodbus' own, see the test below. Then two more replies that teaching pages show.
const FRAMES: [Frames; 7] = [
    Frames {
        request: "11 01 00 13 00 13 8E 92",
        reply: "11 01 03 CD 6B 05 40 12",
        words: Ok(&[1, 0, 1, 1, 0, 0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0, 1]),
    },
    Frames {
        request: "11 02 00 C4 00 16 BA A9",
        reply: "11 02 03 AC DB 35 20 18",
        words: Ok(&[0, 0, 1, 1, 0, 1, 0, 1, 1, 1, 0, 1, 1, 0, 1, 1, 1, 0, 1, 0, 1, 1]),
    },
    Frames {
        request: "11 03 00 6B 00 03 76 87",
        reply: "11 03 06 02 2B 00 00 00 64 C8 BA",
        words: Ok(&[0x022B, 0x0000, 0x0064]),
    },
    Frames { request: "11 04 00 08 00 01 B2 98", reply: "11 04 02 00 0A F8 F4", words: Ok(&[0x000A]) },
    Frames { request: "11 01 04 A1 00 01 AF 88", reply: "11 81 02 C0 54", words: Err(2) },
    Frames {
        request: "11 03 00 6B 00 03 76 87",
        reply: "11 03 06 AE 41 56 52 43 40 49 AD",
        words: Ok(&[0xAE41, 0x5652, 0x4340]),
    },
    Frames { request: "01 03 00 00 00 02 C4 0B", reply: "01 03 04 00 06 00 05 DA 31", words: Ok(&[0x0006, 0x0005]) },
];

fn bytes(hex: &str) -> Vec<u8> {
    hex.split(' ').map(|byte| u8::from_str_radix(byte, 16).expect("hexadecimal")).collect()
}

/// Waits for a request, answers it, and gives back all that ever came.
fn answer_once(mut line: impl Read + Write, request: usize, reply: impl FnOnce(&[u8]) -> Vec<u8>) -> Vec<u8> {
    let mut came = vec![0; request];
    line.read_exact(&mut came).expect("a whole request");
    line.write_all(&reply(&came)).expect("somebody who listens");
    // Ends when the poller hangs up: an error where the line is gone with it.
    let _ = line.read_to_end(&mut came);
    came
}

/// The poller's view of it: one block, asked for once.
async fn ask_once(way: Way, frames: &Frames) -> Vec<Block> {
    let request = bytes(frames.request);
    let (unit, function) = (request[0], request[1]);
    let [address, count] = [2, 4].map(|at| u16::from_be_bytes([request[at], request[at + 1]]));
    let data = if function <= 2 { DataType::Bool } else { DataType::U16 };
    let places = (address..address + count).map(|at| Register::plain(function, at, data, WordOrder::Abcd)).collect();
    let answers = ask(way, &[(unit, places)], 1, 1_000.0).await;
    let round = answers[0][0].outcome.clone();
    round.unwrap_or_else(|reason| panic!("{}: {reason:?}", frames.request)).blocks
}

/// The reply was understood; every byte that came for it.
fn came_back(way: &str, frames: &Frames, blocks: &[Block], peer: JoinHandle<Vec<u8>>) -> Vec<u8> {
    let words = blocks.iter().map(|b| b.words.clone()).collect::<Vec<_>>();
    assert_eq!(words, [frames.words.map(<[u16]>::to_vec)], "{way}: {}", frames.reply);
    peer.join().expect("a peer that answers")
}

fn assert_same(way: &str, came: &[u8], published: &[u8]) {
    assert_eq!(came, published, "{way}: {came:02X?} came, {published:02X?} are published");
    println!("{way}: {came:02X?} as published");
}

#[tokio::test]
async fn rtu_over_tcp_sends_the_published_bytes() {
    for frames in &FRAMES {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let address = listener.local_addr().expect("an address").to_string();
        let (request, reply) = (bytes(frames.request), bytes(frames.reply));
        let length = request.len();
        let peer = thread::spawn(move || answer_once(listener.accept().expect("a connection").0, length, |_| reply));
        let blocks = ask_once(Way::RtuOverTcp { address }, frames).await;
        assert_same("RTU over TCP", &came_back("RTU over TCP", frames, &blocks, peer), &request);
    }
}

#[tokio::test]
async fn a_serial_line_carries_the_published_bytes() {
    for frames in &FRAMES {
        let line = Line::lay();
        let far = OpenOptions::new().read(true).write(true).open(line.far()).expect("the far end");
        let (request, reply) = (bytes(frames.request), bytes(frames.reply));
        let length = request.len();
        let peer = thread::spawn(move || answer_once(far, length, |_| reply));
        let blocks = ask_once(Way::Serial(line.near()), frames).await;
        drop(line);
        assert_same("serial line", &came_back("serial line", frames, &blocks, peer), &request);
    }
}

/// MBAP header: transaction, protocol 0, length of what follows, unit (Modbus Messaging on TCP/IP V1.0b, 3.1.3); no
/// CRC.
#[tokio::test]
async fn tcp_sends_the_published_bytes_behind_a_header() {
    for frames in &FRAMES {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let address = listener.local_addr().expect("an address").to_string();
        let without_crc = |hex| bytes(hex).split_last_chunk::<2>().expect("a CRC").0.to_vec();
        let (request, reply) = (without_crc(frames.request), without_crc(frames.reply));
        let header = |transaction: &[u8], pdu: &[u8]| {
            [transaction, &[0, 0, 0, u8::try_from(pdu.len()).expect("a short one")], pdu].concat()
        };
        let length = 6 + request.len();
        let peer = thread::spawn(move || {
            let line = listener.accept().expect("a connection").0;
            answer_once(line, length, |came| header(&came[..2], &reply))
        });
        let blocks = ask_once(Way::Tcp { address }, frames).await;
        let came = came_back("TCP", frames, &blocks, peer);
        assert_same("TCP", &came, &header(&came[..2], &request));
    }
}

/// CRC-16/MODBUS of "123456789" is 4B37 (the catalogue of parametrised CRC algorithms); every CRC above is pymodbus'
/// own.
#[test]
fn pymodbus_has_the_same_crcs() {
    let frames: Vec<Vec<u8>> = FRAMES.iter().flat_map(|f| [bytes(f.request), bytes(f.reply)]).collect();
    let split = frames.iter().map(|f| f.split_last_chunk::<2>().expect("a CRC"));
    let (texts, mut crcs): (Vec<&[u8]>, Vec<[u8; 2]>) = split.map(|(text, crc)| (text, *crc)).unzip();
    let hex = |text: &[u8]| text.iter().map(|b| format!("{b:02X}")).collect::<String>();
    let mut command = peer::python("crc.py");
    command.args(texts.iter().map(|t| hex(t))).arg(hex(b"123456789"));
    crcs.push([0x37, 0x4B]);
    let out = command.output().expect("a Python that starts");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let by_pymodbus: Vec<_> = String::from_utf8(out.stdout).expect("text").lines().map(str::to_owned).collect();
    assert_eq!(by_pymodbus, crcs.iter().map(|crc| hex(crc)).collect::<Vec<_>>());
}
