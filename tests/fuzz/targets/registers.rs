//! Words to quantities: whatever the site file declares and whatever words come, there is a finite number or a reason.

#![no_main]

use arbitrary::Arbitrary;
use brimwatch::engine::input::Measured;
use brimwatch::poll::registers::{DataType, Place, Register, Span, StatusRegister, UpperPart, WordOrder};
use libfuzzer_sys::fuzz_target;

#[derive(Debug, Arbitrary)]
struct Case {
    function: u8,
    address: u16,
    types: (u8, u8),
    order: u8,
    bit: Option<u8>,
    scale: (f64, f64),
    current: Option<(f64, f64)>,
    worth: Option<u64>,
    masks: [u16; 5],
    words: (Vec<u16>, Vec<u16>),
}

const ORDERS: [WordOrder; 4] = [WordOrder::Abcd, WordOrder::Badc, WordOrder::Cdab, WordOrder::Dcba];

fuzz_target!(|case: Case| {
    let kind = |index: u8| DataType::NAMED[usize::from(index) % DataType::NAMED.len()].1;
    let order = ORDERS[usize::from(case.order) % ORDERS.len()];
    let current = case.current.map(|(at_4_ma, at_20_ma)| Span { at_4_ma, at_20_ma });
    let (factor, offset) = case.scale;
    let register = Register {
        function: case.function,
        address: case.address,
        data: kind(case.types.0),
        order,
        bit: case.bit,
        factor,
        offset,
        current,
    };
    let upper = case.worth.map(|worth| UpperPart { address: case.address, data: kind(case.types.1), worth });
    let place = Place { register, upper, status: None };
    let (lower, higher) = (&case.words.0, &case.words.1);
    // A span's ends are finite in a site file; a current beyond its ends may still run away.
    let sane = case.current.is_none_or(|(a, b)| a.abs() < 1e12 && b.abs() < 1e12);
    for measured in [register.decode(lower), place.decode(lower, higher)] {
        match measured {
            Measured::Number(value) => assert!(value.is_finite()),
            Measured::Current { milliampere, si } => {
                assert!(milliampere.is_finite() && (!sane || milliampere.abs() > 1e200 || si.is_finite()));
            }
            _ => {}
        }
    }
    let [failure, function_check, out_of_specification, maintenance, sound] = case.masks;
    let status = StatusRegister {
        function: case.function,
        address: case.address,
        failure,
        function_check,
        out_of_specification,
        maintenance,
        sound,
    };
    for word in lower {
        let _ = status.says(*word);
    }
});
