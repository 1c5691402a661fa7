use super::*;
use crate::poll::registers::{DataType, StatusRegister, UpperPart, WordOrder};
use proptest::prelude::*;
use std::collections::BTreeSet;

fn register(function: u8, address: u16, data: DataType) -> Register {
    Register::plain(function, address, data, WordOrder::Abcd)
}

fn value(function: u8, address: u16, data: DataType) -> Place {
    register(function, address, data).into()
}

/// A totalizer of 16-bit parts, the upper one worth 10,000.
fn total(address: u16, upper: u16) -> Place {
    let upper = UpperPart { address: upper, data: DataType::U16, worth: 10_000 };
    Place { upper: Some(upper), ..value(3, address, DataType::U16) }
}

fn spec(function: u8, address: u16, count: u16) -> BlockSpec {
    BlockSpec { function, address, count }
}

fn never(function: u8, from: u16, to: u16) -> Forbidden {
    Forbidden { function, from, to }
}

#[test]
fn neighbours_are_read_together_and_gaps_are_not() {
    let places = [
        value(3, 4, DataType::U16),
        value(3, 0, DataType::F32),
        value(3, 2, DataType::F32),
        value(3, 9, DataType::U16),
        value(4, 5, DataType::U16),
    ];
    assert_eq!(plan(&places, None, &Manners::default()), [spec(3, 0, 5), spec(3, 9, 1), spec(4, 5, 1)]);
    let heartbeat = register(3, 5, DataType::U16);
    let manners = |gap, not_read| Manners { gap, not_read, ..Manners::default() };
    let asked = |manners| plan(&places, Some(&heartbeat), &manners);
    assert_eq!(asked(manners(2, vec![])), [spec(3, 0, 6), spec(3, 9, 1), spec(4, 5, 1)], "a hole of three");
    assert_eq!(asked(manners(3, vec![])), [spec(3, 0, 10), spec(4, 5, 1)]);
    assert_eq!(asked(manners(3, vec![never(3, 8, 8)])), [spec(3, 0, 6), spec(3, 9, 1), spec(4, 5, 1)]);
    assert_eq!(asked(manners(3, vec![never(4, 8, 8)])), [spec(3, 0, 10), spec(4, 5, 1)], "of another function");
}

#[test]
fn no_request_exceeds_what_the_protocol_or_the_device_allows() {
    let places: Vec<Place> = (0..100).map(|i| value(3, i * 2, DataType::F32)).collect();
    let counts = |manners: &Manners| plan(&places, None, manners).iter().map(|b| b.count).collect::<Vec<_>>();
    assert_eq!(counts(&Manners::default()), [124, 76], "no value is split over two");
    assert_eq!(counts(&Manners { registers_most: 51, ..Manners::default() }), [50; 4]);
    assert_eq!(counts(&Manners { registers_most: 500, ..Manners::default() }), [124, 76]);
    let bits: Vec<Place> = (0..2001).map(|i| value(2, i, DataType::Bool)).collect();
    let one_by_one = Manners { registers_most: 1, ..Manners::default() };
    assert_eq!(plan(&bits, None, &one_by_one), [spec(2, 0, 2000), spec(2, 2000, 1)]);
    let last = [value(3, 65_535, DataType::U16), value(3, 65_535, DataType::U32)];
    assert_eq!(plan(&last, None, &Manners::default()), [spec(3, 65_535, 1)], "there is no register 65,536");
}

#[test]
fn the_parts_of_a_value_stay_together_where_one_request_can_hold_them() {
    let near = [total(0, 1), value(3, 2, DataType::U16)];
    assert_eq!(plan(&near, None, &Manners::default()), [spec(3, 0, 3)]);
    let far = [total(0, 5), value(3, 2, DataType::U16)];
    assert_eq!(plan(&far, None, &Manners::default()), [spec(3, 5, 1), spec(3, 0, 1), spec(3, 2, 1), spec(3, 5, 1)]);
    let gap = Manners { gap: 2, ..Manners::default() };
    assert_eq!(plan(&far, None, &gap), [spec(3, 0, 6)]);
    let barred = Manners { not_read: vec![never(3, 3, 3)], ..gap.clone() };
    assert_eq!(plan(&far, None, &barred), [spec(3, 5, 1), spec(3, 0, 3), spec(3, 5, 1)]);
    // Filled without a gap, but more than one request long: the parts at 120 and 130 pull a request of their own.
    let mut dense: Vec<Place> =
        (0..250).filter(|a| *a != 120 && *a != 130).map(|a| value(3, a, DataType::U16)).collect();
    dense.push(total(120, 130));
    let asked = plan(&dense, None, &Manners::default());
    assert_eq!(asked, [spec(3, 0, 125), spec(3, 120, 125), spec(3, 245, 5)]);
    // Each holds the other's upper part.
    let crossed = [total(0, 201), total(200, 1)];
    let (low, high) = (spec(3, 0, 2), spec(3, 200, 2));
    assert_eq!(plan(&crossed, None, &Manners::default()), [low, high, low, high]);
}

#[test]
fn a_carry_between_two_requests_is_not_taken_for_a_value() {
    let signals = [(4, total(0, 9))];
    let plan = plan(&signals.map(|(_, place)| place), None, &Manners::default());
    assert_eq!(plan, [spec(3, 9, 1), spec(3, 0, 1), spec(3, 9, 1)]);
    let got = |words: [Result<u16, u8>; 3]| {
        let blocks = plan.iter().zip(words);
        let block = |(spec, word): (&BlockSpec, Result<u16, u8>)| Block {
            function: spec.function,
            address: spec.address,
            words: word.map(|word| vec![word]),
        };
        values(&signals, &plan, &blocks.map(block).collect::<Vec<_>>())[0].value
    };
    assert_eq!(got([Ok(2), Ok(9999), Ok(2)]), Measured::Number(29_999.0));
    // 2,9999 became 3,0001: upper and lower of two moments would make 20,001, 10,000 short.
    assert_eq!(got([Ok(2), Ok(1), Ok(3)]), Measured::Torn);
    assert_eq!(got([Ok(2), Ok(9999), Ok(3)]), Measured::Torn);
    for exception in [[Err(6), Ok(1), Ok(2)], [Ok(2), Err(6), Ok(2)], [Ok(2), Ok(1), Err(6)]] {
        assert_eq!(got(exception), Measured::Exception(6));
    }
}

#[test]
fn an_exception_reaches_only_its_own_block() {
    let status = StatusRegister { function: 4, address: 3, failure: 1, ..StatusRegister::default() };
    let vouched = |place| Place { status: Some(status), ..place };
    let signals = [
        (0, value(3, 0, DataType::U16)),
        (1, value(3, 9, DataType::U16)),
        (2, vouched(value(3, 1, DataType::U16))),
        (3, vouched(value(3, 10, DataType::U16))),
    ];
    let plan = plan(&signals.map(|(_, place)| place), None, &Manners::default());
    assert_eq!(plan, [spec(3, 0, 2), spec(3, 9, 2), spec(4, 3, 1)]);
    let got = |status: Result<Vec<u16>, u8>| {
        let blocks = [
            Block { function: 3, address: 0, words: Ok(vec![7, 8]) },
            Block { function: 3, address: 9, words: Err(2) },
            Block { function: 4, address: 3, words: status },
        ];
        values(&signals, &plan, &blocks).iter().map(|v| (v.value, v.status)).collect::<Vec<_>>()
    };
    let (seven, eight, two) = (Measured::Number(7.0), Measured::Number(8.0), Measured::Exception(2));
    let fair = Status::Fair;
    assert_eq!(got(Ok(vec![0])), [(seven, fair), (two, fair), (eight, fair), (two, fair)]);
    assert_eq!(got(Ok(vec![1])), [(seven, fair), (two, fair), (eight, Status::Failure), (two, Status::Failure)]);
    assert_eq!(got(Err(4)), [(seven, fair), (two, fair), (Measured::Exception(4), fair), (two, fair)]);
    assert_eq!(got(Ok(vec![]))[2].0, Measured::NotANumber, "a short reply");
    assert!(values(&signals, &plan, &[]).iter().all(|v| v.value == Measured::NotANumber), "no reply");
}

#[test]
fn the_heartbeat_is_read_along() {
    let heartbeat = register(4, 1, DataType::U16);
    let plan = plan(&[value(4, 0, DataType::U16)], Some(&heartbeat), &Manners::default());
    assert_eq!(plan, [spec(4, 0, 2)]);
    let beat = |words| super::heartbeat(&heartbeat, &plan, &[Block { function: 4, address: 0, words }]);
    assert_eq!((beat(Ok(vec![1, 77])), beat(Err(2)), beat(Ok(vec![1]))), (Some(77), None, None));
}

const LAST: u16 = 160;

fn number() -> impl Strategy<Value = DataType> {
    use DataType::{Bcd32, F32, F64, I16, U16, U32};
    prop::sample::select(vec![U16, I16, U32, F32, Bcd32, F64])
}

fn places() -> impl Strategy<Value = Vec<Place>> {
    let lone = (1_u8..=4, 0..LAST, number())
        .prop_map(|(f, address, data)| value(f, address, if f <= 2 { DataType::Bool } else { data }));
    let two = (0..LAST, 0..LAST).prop_map(|(lower, upper)| total(lower, upper));
    let vouched = (3_u8..=4, 0..LAST, number(), 1_u8..=4, 0..LAST).prop_map(|(f, address, data, function, status)| {
        let status = StatusRegister { function, address: status, failure: 1, ..StatusRegister::default() };
        Place { status: Some(status), ..value(f, address, data) }
    });
    prop::collection::vec(prop_oneof![3 => lone, 1 => two, 1 => vouched], 1..25)
}

fn manners() -> impl Strategy<Value = Manners> {
    let not_read = prop::collection::vec((1_u8..=4, 0..LAST, 0_u16..9), 0..6);
    let not_read = not_read.prop_map(|list| list.into_iter().map(|(f, from, n)| never(f, from, from + n)).collect());
    (0_u16..12, 4_u16..=125, not_read).prop_map(|(gap, registers_most, not_read)| Manners {
        gap,
        registers_most,
        not_read,
    })
}

/// What has to lie in one request: function and addresses.
fn needs(places: &[Place]) -> Vec<(u8, std::ops::Range<u16>)> {
    let statuses = places.iter().filter_map(|p| p.status.map(|s| s.register()));
    let registers = places.iter().flat_map(|p| std::iter::once(p.register).chain(p.upper_register())).chain(statuses);
    registers.map(|r| (r.function, r.address..r.address + r.count())).collect()
}

fn barred(manners: &Manners, function: u8, address: u16) -> bool {
    manners.not_read.iter().any(|f| f.function == function && (f.from..=f.to).contains(&address))
}

/// Whether a request may be sent, said address by address.
fn sendable(block: &BlockSpec, declared: &BTreeSet<(u8, u16)>, manners: &Manners) -> bool {
    let most = if block.function <= 2 { 2000 } else { manners.registers_most };
    let mut hole = 0;
    (1..=most).contains(&block.count)
        && (block.address..block.address + block.count).all(|address| {
            hole = if declared.contains(&(block.function, address)) { 0 } else { hole + 1 };
            hole <= manners.gap && !barred(manners, block.function, address)
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn everything_is_read_and_nothing_that_must_not_be(places in places(), manners in manners()) {
        let readable = |(f, at): &(u8, std::ops::Range<u16>)| !at.clone().any(|a| barred(&manners, *f, a));
        let needs: Vec<_> = needs(&places).into_iter().filter(readable).collect();
        let declared: BTreeSet<(u8, u16)> = needs.iter().flat_map(|(f, at)| at.clone().map(|a| (*f, a))).collect();
        let blocks = plan(&places, None, &manners);
        for (function, at) in &needs {
            let whole = |b: &BlockSpec| b.function == *function && b.address <= at.start && at.end <= b.address + b.count;
            prop_assert!(blocks.iter().any(whole), "{function}:{at:?} is in none of {blocks:?}");
        }
        for block in &blocks {
            prop_assert!(sendable(block, &declared, &manners), "{block:?}");
            for end in [block.address, block.address + block.count - 1] {
                prop_assert!(declared.contains(&(block.function, end)), "{block:?} begins or ends in a hole");
            }
        }
    }

    /// Held against the fewest by trying every way to part the sorted registers into requests.
    #[test]
    fn no_fewer_requests_would_do(places in places(), manners in manners()) {
        let places: Vec<Place> = places.into_iter().map(|place| Place { upper: None, ..place }).collect();
        let readable = |(f, at): &(u8, std::ops::Range<u16>)| !at.clone().any(|a| barred(&manners, *f, a));
        let mut needs: Vec<_> = needs(&places).into_iter().filter(readable).collect();
        needs.sort_unstable_by_key(|(f, at)| (*f, at.start, at.end));
        let declared: BTreeSet<(u8, u16)> = needs.iter().flat_map(|(f, at)| at.clone().map(|a| (*f, a))).collect();
        // fewest[i]: requests for the first i registers.
        let mut fewest = vec![0];
        for i in 1..=needs.len() {
            let together = (0..i).filter(|&from| {
                let (group, function) = (&needs[from..i], needs[from].0);
                let end = group.iter().map(|(_, at)| at.end).max().expect("one at least");
                let block = spec(function, needs[from].1.start, end - needs[from].1.start);
                group.iter().all(|(f, _)| *f == function) && sendable(&block, &declared, &manners)
            });
            fewest.push(1 + together.map(|from| fewest[from]).min().expect("each can be asked for alone"));
        }
        prop_assert_eq!(plan(&places, None, &manners).len(), fewest[needs.len()]);
    }

    /// A totalizer counts on between any two requests: what is read is what it once showed, or is said to be torn.
    #[test]
    fn a_value_in_two_parts_is_never_of_two_moments(
        others in places(), manners in manners(), lower in 0..LAST, upper in 0..LAST, start in 0_u64..100_000, step in 0_u64..20_000
    ) {
        prop_assume!(lower != upper && ![lower, upper].iter().any(|a| barred(&manners, 3, *a)));
        let place = total(lower, upper);
        let plan = plan(&[&others[..], &[place]].concat(), None, &manners);
        let word = |n: u64| u16::try_from(n).expect("small");
        let shows: Vec<u64> = (0_u64..).zip(&plan).map(|(i, _)| start + i * step).collect();
        let blocks: Vec<Block> = plan.iter().zip(&shows).map(|(spec, total)| {
            let word = |address| match (spec.function, address) {
                (3, a) if a == lower => word(total % 10_000),
                (3, a) if a == upper => word(total / 10_000),
                _ => 0,
            };
            let words = (spec.address..spec.address + spec.count).map(word).collect();
            Block { function: spec.function, address: spec.address, words: Ok(words) }
        }).collect();
        match values(&[(0, place)], &plan, &blocks)[0].value {
            Measured::Torn => prop_assert!(step > 0 && plan.iter().filter(|b| b.function == 3).count() > 2),
            Measured::Number(n) => prop_assert!(shows.iter().any(|&s| s as f64 == n), "{n} of {shows:?}"),
            other => prop_assert!(false, "{other:?}"),
        }
    }
}
