//! Every data type in every order, from units that share a way: each value as the peer says it is.

use super::asking::ask;
use super::peer::{self, Asked, Peer};
use super::serial::Line;
use brimwatch::engine::input::Measured;
use brimwatch::poll::device::Answer;
use brimwatch::poll::registers::{DataType, Register, WordOrder};
use brimwatch::poll::way::Way;
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

/// What a peer serves.
#[derive(Deserialize)]
struct Served {
    /// Where it listens on 127.0.0.1; None: on a serial line.
    port: Option<u16>,
    values: Vec<Value>,
}

/// A value, its place and what a reader must make of it.
#[derive(Deserialize)]
struct Value {
    unit: u8,
    function: u8,
    address: u16,
    data: String,
    order: String,
    bit: Option<u8>,
    /// A number or yes/no; null: no number.
    shown: serde_json::Value,
}

const TYPES: [(&str, DataType); 12] = [
    ("U16", DataType::U16),
    ("I16", DataType::I16),
    ("U32", DataType::U32),
    ("I32", DataType::I32),
    ("U64", DataType::U64),
    ("I64", DataType::I64),
    ("F32", DataType::F32),
    ("F64", DataType::F64),
    ("Bcd16", DataType::Bcd16),
    ("Bcd32", DataType::Bcd32),
    ("Bcd64", DataType::Bcd64),
    ("Bool", DataType::Bool),
];
const ORDERS: [(&str, WordOrder); 4] =
    [("ABCD", WordOrder::Abcd), ("CDAB", WordOrder::Cdab), ("BADC", WordOrder::Badc), ("DCBA", WordOrder::Dcba)];

fn named<T: Copy>(list: &[(&str, T)], name: &str) -> T {
    list.iter().find(|(n, _)| *n == name).unwrap_or_else(|| panic!("{name}: no such thing")).1
}

impl Value {
    fn register(&self) -> Register {
        let (data, order) = (named(&TYPES, &self.data), named(&ORDERS, &self.order));
        Register { bit: self.bit, ..Register::plain(self.function, self.address, data, order) }
    }

    fn measured(&self) -> Measured {
        match &self.shown {
            serde_json::Value::Null => Measured::NotANumber,
            serde_json::Value::Bool(flag) => Measured::Flag(*flag),
            number => Measured::Number(number.as_f64().expect("a number")),
        }
    }
}

/// The peer serves each type in each order by functions 3 and 4, bits of registers too, and bits by 1 and 2.
fn assert_all_are_served(values: &[Value]) {
    let kinds = |v: &Value| (v.function, v.data.clone(), v.order.clone(), v.bit.is_some());
    let served: BTreeSet<_> = values.iter().filter(|v| !v.shown.is_null()).map(kinds).collect();
    let mut expected = BTreeSet::from([1, 2].map(|function| (function, "Bool".into(), "ABCD".into(), false)));
    for function in [3, 4] {
        for (order, _) in ORDERS {
            expected.extend(TYPES.map(|(data, _)| (function, data.into(), order.into(), false)));
            expected.insert((function, "Bool".into(), order.into(), true));
        }
    }
    assert_eq!(served, expected);
}

/// Times each unit is asked.
const ROUNDS: usize = 3;

/// Serves by `command`, polls over `way`, compares; prints how much.
async fn hold(what: &str, command: Command, way: impl FnOnce(Option<u16>) -> Way) {
    let (peer, served): (Peer, Served) = Peer::start(command);
    assert_all_are_served(&served.values);
    let mut by_unit: BTreeMap<u8, Vec<Value>> = BTreeMap::new();
    for value in served.values {
        by_unit.entry(value.unit).or_default().push(value);
    }
    let registers = |values: &[Value]| values.iter().map(Value::register).collect();
    let units: Vec<(u8, Vec<Register>)> = by_unit.iter().map(|(unit, values)| (*unit, registers(values))).collect();
    assert!(units.len() >= 3, "{what}: {} units", units.len());
    let answers = ask(way(served.port), &units, ROUNDS, 0.05).await;
    let asked: Asked = peer.end();
    let (mut compared, mut polls) = (0, 0);
    for (values, answers) in by_unit.values().zip(&answers) {
        for answer in answers {
            compared += assert_answer(what, values, answer);
            polls += 1;
        }
    }
    let functions = asked.functions();
    let seen: BTreeSet<(u8, u8)> = asked.asked.iter().copied().collect();
    let all = by_unit.keys().flat_map(|unit| (1..=4).map(|function| (*unit, function)));
    assert_eq!(seen, all.collect(), "{what}: unit and function of every request");
    // Units are asked in turn: none twice before another.
    let turns = asked.asked.chunk_by(|(a, _), (b, _)| a == b).count();
    assert!(turns >= polls, "{what}: {turns} turns for {polls} polls");
    println!(
        "{what}: {compared} values compared, {polls} polls, {} requests by function {functions:?}",
        asked.asked.len()
    );
}

/// Every value is what its own unit serves; how many there are.
fn assert_answer(what: &str, values: &[Value], answer: &Answer) -> usize {
    let unit = values[0].unit;
    let round = answer.outcome.as_ref().unwrap_or_else(|reason| panic!("{what}, unit {unit}: {reason:?}"));
    assert_eq!(answer.connections, 1, "{what}, unit {unit}: connections over one way");
    assert_eq!(round.values.len(), values.len(), "{what}, unit {unit}");
    for (value, got) in values.iter().zip(&round.values) {
        let Value { function, address, data, order, bit, .. } = value;
        let place = format!("{what}, unit {unit}, function {function}, address {address}: {data} {order} {bit:?}");
        // Equal numbers are equal bits: none is served that is a zero with a sign.
        assert_eq!(got.value, value.measured(), "{place}");
    }
    values.len()
}

fn by(mut command: Command, way: &str) -> Command {
    command.arg(way);
    command
}

fn local(port: Option<u16>) -> String {
    format!("127.0.0.1:{}", port.expect("a port"))
}

#[tokio::test]
async fn pymodbus_over_tcp() {
    let way = |port| Way::Tcp { address: local(port) };
    hold("pymodbus over TCP", by(peer::python("peer.py"), "tcp"), way).await;
}

#[tokio::test]
async fn pymodbus_by_rtu_over_tcp() {
    let way = |port| Way::RtuOverTcp { address: local(port) };
    hold("pymodbus by RTU over TCP", by(peer::python("peer.py"), "rtu-over-tcp"), way).await;
}

#[tokio::test]
async fn pymodbus_on_a_serial_line() {
    let line = Line::lay();
    let mut command = by(peer::python("peer.py"), "serial");
    command.arg(line.far());
    hold("pymodbus on a serial line", command, |_| Way::Serial(line.near())).await;
}

#[tokio::test]
async fn libmodbus_over_tcp() {
    let way = |port| Way::Tcp { address: local(port) };
    hold("libmodbus over TCP", by(peer::libmodbus(), "tcp"), way).await;
}

#[tokio::test]
async fn libmodbus_by_rtu_over_tcp() {
    let way = |port| Way::RtuOverTcp { address: local(port) };
    hold("libmodbus by RTU over TCP", by(peer::libmodbus(), "rtu-over-tcp"), way).await;
}

#[tokio::test]
async fn libmodbus_on_a_serial_line() {
    let line = Line::lay();
    let mut command = by(peer::libmodbus(), "serial");
    command.arg(line.far());
    hold("libmodbus on a serial line", command, |_| Way::Serial(line.near())).await;
}
