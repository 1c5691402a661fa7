//! Every reading of the words that fits what is known of the value, the likeliest first. Pure.
//!
//! Nothing that fits is left out: whoever looks for a value has to see what else it could be. Readings that something
//! observed speaks against come last, with what it is. The others are ties as far as the words go; their order is a
//! guess by how seldom a reading fits words that mean something else. A number of 32 bits that falls into a narrow
//! range, and stays within a narrower one while it is watched, has hardly done so by chance; one of 16 bits often has.

use super::{Expected, Moves, Sample};
use crate::engine::input::Measured;
use crate::poll::registers::{DataType, Register, WordOrder};
use crate::units::{ATMOSPHERE_PA, Quantity, UNITS, Unit};

/// Scales that devices use: decimal, as far as thousandths and thousands. The plainest first; with each, its decades.
const SCALES: [(f64, i32); 7] = [(1.0, 0), (0.1, 1), (10.0, 1), (0.01, 2), (100.0, 2), (0.001, 3), (1000.0, 3)];
/// Of a whole number a scale ten times larger fits by chance ten times less often: weighed so, each decade of scale
/// makes up for that, and of readings that are otherwise alike the plainest stands first. Everything else that is less
/// plain weighs as much as a decade (assumption).
const LESS_PLAIN: f64 = 10.0;
/// A float whose size is below this part of the range's larger end comes from words that are no float: instruments
/// resolve a millionth of their span at best (assumption).
const TINY_PART: f64 = 1e-6;
/// A quantity of a bay does not cross this part of an expected range between two reads a second apart (assumption;
/// 10 % of 18 t to 26 t is 800 kg).
const JUMP_PART: f64 = 0.1;
/// Steps against the way that the value is said to move may make up this part of those with it: noise (assumption).
const BACK_PART: f64 = 0.5;
/// Numbers that differ by no more than rounding are one, as a part of the larger.
const SAME_PART: f64 = 1e-12;

/// What a number stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meaning {
    /// value = number x scale + offset, in this unit.
    pub unit: Unit,
    /// See `unit`.
    pub scale: f64,
    /// See `unit`; other than 0 for an absolute pressure only.
    pub offset: f64,
    /// How many ways it is less plain than the number itself in the unit of the expected range.
    less_plain: i32,
}

impl Meaning {
    /// Whether the number is a pressure above vacuum, turned into gauge pressure at the standard atmosphere.
    #[must_use]
    pub fn is_absolute(&self) -> bool {
        self.offset != 0.0
    }

    /// Factor and offset from the number to SI.
    fn to_si(self) -> (f64, f64) {
        (self.unit.step_to_si(self.scale), self.unit.to_si(self.offset))
    }

    /// Both as one: millimetres, and metres x 0.001.
    fn is_same(self, other: Meaning) -> bool {
        let ((a, at), (b, bt)) = (self.to_si(), other.to_si());
        near(a, b) && near(at, bt)
    }
}

/// What speaks against a reading that fits the range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Against {
    /// A step between two reads that the quantity does not make.
    Jumps,
    /// It does not move the way it is said to.
    MovesOtherwise,
    /// A float that is next to nothing and yet not 0.
    Tiny,
}

/// One way to read the words.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Where the words stand and how they become SI.
    pub register: Register,
    /// What the number stands for.
    pub meaning: Meaning,
    /// SI value at each read, in order.
    pub values: Vec<f64>,
    /// Part of all the words that would fit as well, 0 to 1; of several reads: and would stay as close together.
    pub chance: f64,
    /// What speaks against it.
    pub against: Option<Against>,
    less_plain: i32,
}

impl Reading {
    /// The last value, SI.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.values.last().copied().unwrap_or(f64::NAN)
    }

    /// From the first read to the last, SI.
    #[must_use]
    pub fn moved(&self) -> f64 {
        self.value() - self.values.first().copied().unwrap_or(f64::NAN)
    }

    /// Whether both give the same value at each read.
    #[must_use]
    pub fn is_same_value(&self, other: &Reading) -> bool {
        self.values.len() == other.values.len() && self.values.iter().zip(&other.values).all(|(a, b)| near(*a, *b))
    }

    /// Small for what is likely meant.
    fn weight(&self) -> f64 {
        (0..self.less_plain).fold(self.chance, |weight, _| weight * LESS_PLAIN)
    }
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= SAME_PART * a.abs().max(b.abs())
}

/// Every reading of the samples that lies in the expected range at each read, the likeliest first.
#[must_use]
pub fn readings(samples: &[Sample], expected: &Expected) -> Vec<Reading> {
    let meanings = meanings(expected);
    let mut found = Vec::new();
    for sample in samples.iter().filter(|sample| !sample.reads.is_empty()) {
        for register in registers(sample) {
            found.extend(meanings.iter().filter_map(|meaning| reading(sample, register, *meaning, expected)));
        }
    }
    // A stable sort: what is equal stays as the types, orders and units are listed.
    found.sort_by(|a, b| a.against.cmp(&b.against).then(a.weight().total_cmp(&b.weight())));
    found
}

/// Every unit and scale of the quantity, the plainest first, each factor once.
fn meanings(expected: &Expected) -> Vec<Meaning> {
    let own = expected.unit;
    let others = UNITS.iter().copied().filter(|unit| unit.quantity == expected.quantity && *unit != own);
    let mut all = Vec::new();
    for unit in std::iter::once(own).chain(others) {
        let vacuum = (expected.quantity == Quantity::GaugePressure).then(|| -unit.from_si(ATMOSPHERE_PA));
        for offset in std::iter::once(0.0).chain(vacuum) {
            let of_unit = i32::from(unit != own) + i32::from(offset != 0.0);
            all.extend(SCALES.map(|(scale, decades)| Meaning { unit, scale, offset, less_plain: of_unit + decades }));
        }
    }
    all.sort_by_key(|meaning| meaning.less_plain);
    let mut once: Vec<Meaning> = Vec::new();
    for meaning in all {
        if !once.iter().any(|known| known.is_same(meaning)) {
            once.push(meaning);
        }
    }
    once
}

/// Every number that the sample's words may make.
fn registers(sample: &Sample) -> Vec<Register> {
    let mut all = Vec::new();
    let words = u16::try_from(sample.reads[0].len()).unwrap_or(u16::MAX);
    for (_, data) in DataType::NAMED.into_iter().filter(|(_, data)| *data != DataType::Bool) {
        for (_, order) in WordOrder::NAMED {
            let register = |address| Register::plain(sample.function, address, data, order);
            let count = register(0).count();
            // A single register has no words to swap.
            if count > 1 || matches!(order, WordOrder::Abcd | WordOrder::Badc) {
                all.extend((0..words.saturating_add(1).saturating_sub(count)).map(|i| register(sample.address + i)));
            }
        }
    }
    all
}

fn reading(sample: &Sample, plain: Register, meaning: Meaning, expected: &Expected) -> Option<Reading> {
    let (factor, offset) = meaning.to_si();
    let register = Register { factor, offset, ..plain };
    let from = usize::from(plain.address - sample.address);
    let number = |read: &Vec<u16>, register: Register| match register
        .decode(read.get(from..from + usize::from(plain.count()))?)
    {
        Measured::Number(number) => Some(number),
        _ => None,
    };
    let slack = SAME_PART * expected.low.abs().max(expected.high.abs());
    let fits = |value: &f64| (expected.low - slack..=expected.high + slack).contains(value);
    let value = |read| number(read, register).filter(fits);
    let values: Vec<f64> = sample.reads.iter().map(value).collect::<Option<_>>()?;
    let numbers: Vec<f64> = sample.reads.iter().map(|read| number(read, plain)).collect::<Option<_>>()?;
    let codes = Codes::new(plain.data, &register, expected);
    // Read several times, words that mean something else would have to stay as close together too.
    let seen = if numbers.len() > 1 { codes.seen(&numbers).part() } else { 1.0 };
    let is_rare = match plain.data {
        DataType::Bcd16 | DataType::Bcd32 | DataType::Bcd64 => true,
        // What is never negative needs no sign.
        DataType::I16 | DataType::I32 | DataType::I64 => expected.low >= 0.0,
        // Who sends a float has no need of a scale.
        DataType::F32 | DataType::F64 => meaning.scale != 1.0,
        _ => false,
    };
    Some(Reading {
        register,
        meaning,
        chance: codes.part() * seen,
        against: codes.against(&numbers).or_else(|| against(&values, expected)),
        less_plain: meaning.less_plain + i32::from(plain.order.swaps_bytes()) + i32::from(is_rare),
        values,
    })
}

/// What the values of several reads say against a reading.
fn against(values: &[f64], expected: &Expected) -> Option<Against> {
    let steps = || values.windows(2).map(|pair| pair[1] - pair[0]);
    if steps().any(|step| step.abs() > JUMP_PART * (expected.high - expected.low)) {
        return Some(Against::Jumps);
    }
    let with = match expected.moves? {
        Moves::Rising => 1.0,
        Moves::Falling => -1.0,
    };
    let along = |sign: f64| steps().map(|step| (step * with * sign).max(0.0)).sum::<f64>();
    let moves_so = along(1.0) > 0.0 && along(-1.0) <= BACK_PART * along(1.0);
    (!moves_so).then_some(Against::MovesOtherwise)
}

/// Some of a type's numbers: at first those that fit the expected range.
struct Codes {
    data: DataType,
    low: f64,
    high: f64,
    /// The smallest float that is not next to nothing.
    tiny: f64,
}

impl Codes {
    fn new(data: DataType, register: &Register, expected: &Expected) -> Codes {
        let number = |si: f64| (si - register.offset) / register.factor;
        let (low, high) = (number(expected.low), number(expected.high));
        Codes { data, low, high, tiny: TINY_PART * low.abs().max(high.abs()) }
    }

    fn against(&self, numbers: &[f64]) -> Option<Against> {
        let is_float = matches!(self.data, DataType::F32 | DataType::F64);
        let is_tiny = numbers.iter().all(|n| n.abs() < self.tiny) && numbers.iter().any(|n| *n != 0.0);
        (is_float && is_tiny).then_some(Against::Tiny)
    }

    /// Those between the smallest and the largest that were read.
    fn seen(&self, numbers: &[f64]) -> Codes {
        let low = numbers.iter().copied().fold(f64::INFINITY, f64::min);
        let high = numbers.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Codes { low, high, ..*self }
    }

    /// Part of all words of the type's length that make one of them.
    fn part(&self) -> f64 {
        let bits = |bits: i32| libm::ldexp(1.0, bits);
        let whole = |least: f64, most: f64| (self.high.min(most).floor() - self.low.max(least).ceil() + 1.0).max(0.0);
        match self.data {
            DataType::U16 => whole(0.0, bits(16) - 1.0) / bits(16),
            DataType::I16 => whole(-bits(15), bits(15) - 1.0) / bits(16),
            DataType::U32 => whole(0.0, bits(32) - 1.0) / bits(32),
            DataType::I32 => whole(-bits(31), bits(31) - 1.0) / bits(32),
            DataType::U64 => whole(0.0, bits(64) - 1.0) / bits(64),
            DataType::I64 => whole(-bits(63), bits(63) - 1.0) / bits(64),
            DataType::Bcd16 => whole(0.0, 1e4 - 1.0) / bits(16),
            DataType::Bcd32 => whole(0.0, 1e8 - 1.0) / bits(32),
            DataType::Bcd64 => whole(0.0, 1e16 - 1.0) / bits(64),
            DataType::F32 => (self.floats(f32_rank) + 1.0) / bits(32),
            DataType::F64 => (self.floats(f64_rank) + 1.0) / bits(64),
            DataType::Bool => 1.0,
        }
    }

    /// How many floats that are not next to nothing fit; `rank` counts those of one sign from 0 up.
    fn floats(&self, rank: impl Fn(f64) -> f64) -> f64 {
        let of_one_sign = |low: f64, high: f64| {
            let low = low.max(self.tiny);
            if low > high { 0.0 } else { rank(high) - rank(low) + 1.0 }
        };
        of_one_sign(self.low, self.high) + of_one_sign(-self.high, -self.low)
    }
}

/// IEEE 754: positive floats stand in the order of their bits.
#[expect(clippy::cast_possible_truncation, reason = "the nearest single is meant")]
fn f32_rank(number: f64) -> f64 {
    f64::from((number.min(f64::from(f32::MAX)) as f32).to_bits())
}

/// See [`f32_rank`].
#[expect(clippy::cast_precision_loss, reason = "a part of 2^64 to 16 digits")]
fn f64_rank(number: f64) -> f64 {
    number.to_bits() as f64
}

#[cfg(test)]
pub(super) mod tests;
