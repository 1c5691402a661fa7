//! Words to numbers, against pymodbus' own conversion.

use super::{script, venv};
use brimwatch::engine::input::Measured;
use brimwatch::poll::registers::{DataType, Register, WordOrder};
use serde::Deserialize;
use std::process::Command;

#[derive(Deserialize)]
struct Case {
    data: String,
    order: String,
    words: Vec<u16>,
    number: f64,
}

fn data_type(name: &str) -> DataType {
    match name {
        "U16" => DataType::U16,
        "I16" => DataType::I16,
        "U32" => DataType::U32,
        "I32" => DataType::I32,
        "U64" => DataType::U64,
        "I64" => DataType::I64,
        "F32" => DataType::F32,
        "F64" => DataType::F64,
        other => panic!("{other}: no such type"),
    }
}

fn word_order(name: &str) -> WordOrder {
    match name {
        "Abcd" => WordOrder::Abcd,
        "Cdab" => WordOrder::Cdab,
        "Badc" => WordOrder::Badc,
        "Dcba" => WordOrder::Dcba,
        other => panic!("{other}: no such order"),
    }
}

#[test]
fn registers_mean_what_pymodbus_says() {
    let out = Command::new(venv::python()).arg(script("words.py")).output().expect("a Python that starts");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let cases: Vec<Case> = serde_json::from_slice(&out.stdout).expect("cases");
    assert!(cases.len() >= 100);
    for case in cases {
        let (data, order) = (data_type(&case.data), word_order(&case.order));
        let register = Register::plain(3, 0, data, order);
        let what = format!("{} {} {:x?}", case.data, case.order, case.words);
        assert_eq!(case.words.len(), usize::from(register.count()), "{what}");
        assert_eq!(register.decode(&case.words), Measured::Number(case.number), "{what}");
    }
}
