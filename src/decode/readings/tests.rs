use super::*;
use proptest::prelude::*;

fn unit(name: &str) -> Unit {
    Unit::parse(name).unwrap_or_else(|| panic!("{name}: no unit"))
}

/// A range in a unit, and what is read at address 40.
fn expected(low: f64, high: f64, of: &str, moves: Option<Moves>) -> Expected {
    let unit = unit(of);
    Expected { quantity: unit.quantity, low: unit.to_si(low), high: unit.to_si(high), unit, moves }
}

fn sample(reads: &[&[u16]]) -> Vec<Sample> {
    vec![Sample { function: 3, address: 40, reads: reads.iter().map(|read| read.to_vec()).collect() }]
}

/// "type order address unit scale", as a site file would say it.
fn said(reading: &Reading) -> String {
    let Register { data, order, address, .. } = reading.register;
    let Meaning { unit, scale, .. } = reading.meaning;
    let absolute = if reading.meaning.is_absolute() { " absolute" } else { "" };
    format!("{} {} {address} {unit}{absolute} x {scale}", data.name(), order.name())
}

fn all_said(found: &[Reading]) -> Vec<String> {
    found.iter().map(said).collect()
}

/// By hand: 20,000 as a single is 469C 4000 (IEEE 754: 1.220703125 x 2^14), whose upper half, 18,076, fits too.
#[test]
fn a_float_comes_before_its_upper_half() {
    let found = readings(&sample(&[&[0x469c, 0x4000]]), &expected(18_000.0, 26_000.0, "kg", None));
    let said = all_said(&found);
    assert_eq!(said[..2], ["f32 ABCD 40 kg x 1", "u16 ABCD 40 kg x 1"], "{said:?}");
    assert!((found[0].value() - 20_000.0).abs() < 1e-9 && (found[1].value() - 18_076.0).abs() < 1e-9);
    // 40,006 lb, the upper half with its bytes swapped, are 18,146 kg.
    assert!(said.iter().any(|s| s == "u16 BADC 40 lb x 1"), "{said:?}");
    // Of 65,536 words 8,001 lie between; of 2^32 those between 468CA000 and 46CB2000 (18,000 and 26,000).
    assert!((found[1].chance - 8_001.0 / 65_536.0).abs() < 1e-12);
    let singles = f64::from(0x46cb_2000_u32 - 0x468c_a000) + 2.0;
    assert!((found[0].chance - singles / 4_294_967_296.0).abs() < 1e-12, "{}", found[0].chance);
}

/// By hand: 2184 = 0888 hexadecimal, words swapped; in tens of kg 21,840.
#[test]
fn a_scale_of_ten_and_swapped_words() {
    let found = readings(&sample(&[&[0x0888, 0x0000]]), &expected(18.0, 26.0, "t", None));
    assert_eq!(all_said(&found)[..2], ["u32 CDAB 40 t x 0.01", "i32 CDAB 40 t x 0.01"], "{:?}", all_said(&found));
    assert!(found[0].is_same_value(&found[1]) && (found[0].value() - 21_840.0).abs() < 1e-9);
}

/// A counter in millimetres is one reading, not another one in metres x 0.001.
#[test]
fn the_same_reading_is_listed_once() {
    let found = readings(&sample(&[&[5_250]]), &expected(5.0, 6.0, "m", None));
    let in_mm = found.iter().filter(|r| near(r.register.factor, 1e-3) && r.register.data == DataType::U16);
    assert_eq!(in_mm.count(), 1);
    assert_eq!(said(&found[0]), "u16 ABCD 40 mm x 1");
}

/// NIST SP 811, App. B.8: 1 psi = 6894.757 Pa. 14.7 psi above vacuum and 25 psi above it: 10.3 psi gauge.
#[test]
fn an_absolute_pressure_fits_as_gauge_pressure() {
    let bits = 25.0_f32.to_bits().to_be_bytes();
    let words = [u16::from_be_bytes([bits[0], bits[1]]), u16::from_be_bytes([bits[2], bits[3]])];
    let found = readings(&sample(&[&words]), &expected(10.0, 11.0, "psi gauge", None));
    let absolute = found.iter().find(|r| said(r) == "f32 ABCD 40 psi gauge absolute x 1").expect("it fits");
    assert!((absolute.value() - (25.0 * 6894.757 - 101_325.0)).abs() < 0.1, "{}", absolute.value());
    assert!((absolute.meaning.offset + 14.695_95).abs() < 1e-4, "{}", absolute.meaning.offset);
}

/// Decimal digits are tried, and words that are none are not (1A = 26).
#[test]
fn decimal_digits() {
    let of = |word| all_said(&readings(&sample(&[&[word]]), &expected(2_000.0, 2_300.0, "kg", None)));
    assert!(of(0x2165).contains(&"bcd16 ABCD 40 kg x 1".to_owned()));
    assert!(!of(0x21a5).iter().any(|s| s.starts_with("bcd")));
}

/// Words that look like a float next to nothing are none, but zero is zero.
#[test]
fn a_float_next_to_nothing_is_last() {
    let found = readings(&sample(&[&[0, 5]]), &expected(0.0, 80_000.0, "kg", None));
    let tiny: Vec<_> = found.iter().filter(|r| r.against == Some(Against::Tiny)).collect();
    assert!(tiny.iter().any(|r| r.register.data == DataType::F32), "{:?}", all_said(&found));
    assert!(found[..found.len() - tiny.len()].iter().all(|r| r.against.is_none()));
    let zero = readings(&sample(&[&[0, 0]]), &expected(0.0, 80_000.0, "kg", None));
    assert!(zero.iter().any(|r| r.register.data == DataType::F32) && zero.iter().all(|r| r.against.is_none()));
}

/// A mass that rises by 5 kg a read: read with its bytes swapped it jumps, and falls where the low byte carries.
#[test]
fn what_jumps_and_what_moves_otherwise_is_told_apart() {
    let reads: Vec<[u16; 1]> = (0..60).map(|i| [0x4e20 + 5 * i]).collect();
    let reads: Vec<&[u16]> = reads.iter().map(<[u16; 1]>::as_slice).collect();
    let with = |moves| readings(&sample(&reads), &expected(0.0, 80_000.0, "kg", moves));
    let of = |found: &[Reading], order| {
        let at = |r: &&Reading| r.register.data == DataType::U16 && r.register.order == order && r.meaning.scale == 1.0;
        found.iter().find(at).expect("it fits").against
    };
    let found = with(None);
    assert_eq!((of(&found, WordOrder::Abcd), of(&found, WordOrder::Badc)), (None, Some(Against::Jumps)));
    assert_eq!(of(&with(Some(Moves::Rising)), WordOrder::Abcd), None);
    assert_eq!(of(&with(Some(Moves::Falling)), WordOrder::Abcd), Some(Against::MovesOtherwise));
    let still = readings(&sample(&[&[5], &[5]]), &expected(0.0, 10.0, "kg", Some(Moves::Rising)));
    assert!(!still.is_empty() && still.iter().all(|r| r.against == Some(Against::MovesOtherwise)));
}

#[test]
fn nothing_is_read_across_requests_or_where_there_is_nothing() {
    let apart = vec![
        Sample { function: 3, address: 40, reads: vec![vec![0x469c]] },
        Sample { function: 3, address: 41, reads: vec![vec![0x4000]] },
        Sample { function: 3, address: 60, reads: vec![] },
    ];
    let found = readings(&apart, &expected(18_000.0, 26_000.0, "kg", None));
    assert!(!found.is_empty() && found.iter().all(|r| r.register.count() == 1), "{:?}", all_said(&found));
    // The last address there is.
    let last = vec![Sample { function: 4, address: 65_535, reads: vec![vec![20_000]] }];
    assert_eq!(said(&readings(&last, &expected(18.0, 26.0, "t", None))[0]), "u16 ABCD 65535 kg x 1");
}

/// A true reading: how it is written, and the numbers at each read.
#[derive(Debug, Clone)]
pub struct Truth {
    data: DataType,
    order: WordOrder,
    unit: Unit,
    scale: f64,
    absolute: bool,
    numbers: Vec<f64>,
    pub expected: Expected,
    /// Words before and after it, one and one, other at each read.
    beside: Vec<[u16; 2]>,
}

/// Bytes, most significant first, by the standard library.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "numbers of the type's own range")]
fn bytes(data: DataType, number: f64) -> Vec<u8> {
    let decimal = |digits: usize| u64::from_str_radix(&format!("{number:0digits$}"), 16).expect("decimal digits");
    match data {
        DataType::U16 => (number as u16).to_be_bytes().to_vec(),
        DataType::I16 => (number as i16).to_be_bytes().to_vec(),
        DataType::U32 => (number as u32).to_be_bytes().to_vec(),
        DataType::I32 => (number as i32).to_be_bytes().to_vec(),
        DataType::U64 => (number as u64).to_be_bytes().to_vec(),
        DataType::I64 => (number as i64).to_be_bytes().to_vec(),
        DataType::F32 => (number as f32).to_be_bytes().to_vec(),
        DataType::F64 => number.to_be_bytes().to_vec(),
        DataType::Bcd16 => decimal(4).to_be_bytes()[6..].to_vec(),
        DataType::Bcd32 => decimal(8).to_be_bytes()[4..].to_vec(),
        DataType::Bcd64 => decimal(16).to_be_bytes().to_vec(),
        DataType::Bool => unreachable!("no number"),
    }
}

fn words(data: DataType, order: WordOrder, number: f64) -> Vec<u16> {
    let bytes = bytes(data, number);
    let pairs = bytes.chunks(2).map(|pair| [pair[0], pair[1]]);
    let words = pairs.map(|pair| if order.swaps_bytes() { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) });
    let words: Vec<u16> = words.collect();
    match order {
        WordOrder::Cdab | WordOrder::Dcba => words.into_iter().rev().collect(),
        _ => words,
    }
}

/// Smallest and largest number of a type (of the floats: what instruments show), and its step.
fn span(data: DataType) -> (f64, f64, f64) {
    match data {
        DataType::U16 => (0.0, 65_535.0, 1.0),
        DataType::I16 => (-32_768.0, 32_767.0, 1.0),
        DataType::U32 => (0.0, 4e9, 1.0),
        DataType::I32 => (-2e9, 2e9, 1.0),
        // Far from where a step of one is lost in the rounding of a double.
        DataType::U64 => (0.0, 1e12, 1.0),
        DataType::I64 => (-1e12, 1e12, 1.0),
        DataType::Bcd16 => (0.0, 9_999.0, 1.0),
        DataType::Bcd32 => (0.0, 99_999_999.0, 1.0),
        DataType::Bcd64 => (0.0, 1e12, 1.0),
        // Between neighbours of a single near a million lies a sixteenth.
        _ => (-1e6, 1e6, 1.0 / 8.0),
    }
}

prop_compose! {
    /// A value somewhere in its type, in a range up to as wide as it is large, rising by up to a hundredth of it.
    pub fn truth()(
        kind in 0..11_usize, order in 0..4_usize, unit in 0..UNITS.len(), scale in 0..SCALES.len(), vacuum: bool,
        place in 0.0..1.0_f64, wide in 1.0..3.5_f64, low in 0.1..0.9_f64,
        pace in 0.1..1.0_f64, beside in prop::collection::vec(any::<[u16; 2]>(), 1..6), moving: bool,
    ) -> Truth {
        let (data, order) = (DataType::NAMED[kind].1, WordOrder::NAMED[order].1);
        let (unit, scale) = (UNITS[unit], SCALES[scale].0);
        let unit = if matches!(unit.quantity, Quantity::YesNo) { UNITS[0] } else { unit };
        let absolute = vacuum && unit.quantity == Quantity::GaugePressure;
        let (least, most, step) = span(data);
        let size = 10.0_f64.powf(place * (most - 2_000.0).log10());
        let first = ((size + 100.0).min(most - 200.0)).max(least).floor();
        let width = (step * 10.0_f64.powf(wide)).min(most - first).max(100.0 * step);
        // Between a read and the next less than a tenth of the range: what a quantity of a bay does.
        let pace = (pace * width / 100.0 / step).ceil() * step;
        let numbers: Vec<f64> = (0..beside.len()).map(|i| if moving { first + pace * i as f64 } else { first }).collect();
        let offset = if absolute { -unit.from_si(ATMOSPHERE_PA) } else { 0.0 };
        let si = |number: f64| number * unit.step_to_si(scale) + unit.to_si(offset);
        let moves = (moving && beside.len() > 1).then_some(Moves::Rising);
        let own = UNITS.iter().copied().find(|u| u.quantity == unit.quantity).expect("a unit");
        let expected = Expected {
            quantity: unit.quantity, low: si(first - low * width), high: si(first + (1.1 - low) * width), unit: own, moves,
        };
        Truth { data, order, unit, scale, absolute, numbers, expected, beside }
    }
}

impl Truth {
    pub fn samples(&self) -> Vec<Sample> {
        let read = |(number, beside): (&f64, &[u16; 2])| {
            [&beside[..1], &words(self.data, self.order, *number), &beside[1..]].concat()
        };
        vec![Sample { function: 4, address: 99, reads: self.numbers.iter().zip(&self.beside).map(read).collect() }]
    }

    fn is(&self, reading: &Reading) -> bool {
        let Register { data, order, address, factor, .. } = reading.register;
        let same_order =
            order == self.order || reading.register.count() == 1 && order.swaps_bytes() == self.order.swaps_bytes();
        data == self.data
            && address == 100
            && same_order
            && near(factor, self.unit.step_to_si(self.scale))
            && reading.meaning.is_absolute() == self.absolute
    }
}

proptest! {
    /// Whatever stands there, nothing speaks against the reading that is true, and it gives the true value.
    #[test]
    fn the_true_reading_is_among_the_ties_at_the_head(truth in truth()) {
        let found = readings(&truth.samples(), &truth.expected);
        let at = found.iter().position(|reading| truth.is(reading));
        prop_assert!(at.is_some(), "not found among {:?}", all_said(&found));
        let reading = &found[at.unwrap_or_default()];
        prop_assert_eq!(reading.against, None);
        prop_assert!(found[..at.unwrap_or_default()].iter().all(|r| r.against.is_none()));
        let last = truth.numbers[truth.numbers.len() - 1];
        let offset = truth.unit.to_si(if truth.absolute { -truth.unit.from_si(ATMOSPHERE_PA) } else { 0.0 });
        let value = last * truth.unit.step_to_si(truth.scale) + offset;
        prop_assert!((reading.value() - value).abs() <= 1e-12 * value.abs().max(offset.abs()), "{} {value}", reading.value());
    }

    /// Whatever is listed fits, decodes to what is shown, and is listed once.
    #[test]
    fn what_is_listed_fits(truth in truth()) {
        let samples = truth.samples();
        let found = readings(&samples, &truth.expected);
        for (i, reading) in found.iter().enumerate() {
            let from = usize::from(reading.register.address - 99);
            for (read, value) in samples[0].reads.iter().zip(&reading.values) {
                let words = &read[from..from + usize::from(reading.register.count())];
                prop_assert_eq!(reading.register.decode(words), Measured::Number(*value));
            }
            prop_assert!((0.0..=1.0).contains(&reading.chance) && reading.chance > 0.0, "{}", reading.chance);
            let twin = found[i + 1..].iter().any(|r| r.register == reading.register);
            prop_assert!(!twin, "{} twice", said(reading));
        }
    }
}
