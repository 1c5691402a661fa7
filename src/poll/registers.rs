//! What a register means: words to quantities. Pure; knows no connection.

use crate::engine::input::Measured;
pub use crate::engine::input::Status;

/// How the words of one value make a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DataType {
    /// 16-bit unsigned.
    U16,
    /// 16-bit two's complement.
    I16,
    /// 32-bit unsigned.
    U32,
    /// 32-bit two's complement.
    I32,
    /// 64-bit unsigned.
    U64,
    /// 64-bit two's complement.
    I64,
    /// IEEE 754 single.
    F32,
    /// IEEE 754 double.
    F64,
    /// Four decimal digits, a half byte each.
    Bcd16,
    /// Eight decimal digits.
    Bcd32,
    /// Sixteen decimal digits.
    Bcd64,
    /// A coil or discrete input, or a register that is 0 or not.
    Bool,
}

/// Order of the bytes, most significant A. Numbers of one register keep or swap their two bytes by it; bits (a yes/no,
/// a status) are those of the register as it comes, bit 0 the lowest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WordOrder {
    /// A B C D: big-endian words, the standard's own order.
    Abcd,
    /// C D A B: words swapped.
    Cdab,
    /// B A D C: bytes swapped within words.
    Badc,
    /// D C B A: little-endian.
    Dcba,
}

/// Where a signal's value is found and what it means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Register {
    /// Modbus function: 1 coils, 2 discrete inputs, 3 holding registers, 4 input registers.
    pub function: u8,
    /// Address on the wire, from 0.
    pub address: u16,
    /// How the words make a number.
    pub data: DataType,
    /// In which order.
    pub order: WordOrder,
    /// Which bit of the register a yes/no is, 0 the lowest; None: the whole of it, 0 or not.
    pub bit: Option<u8>,
    /// SI value = number x factor + offset (the register's scale and unit together); with `current` the same gives
    /// the loop current in mA. For a yes/no the number is the bit, 0 or 1, and any value but 0 means yes: -1 and 1
    /// read a contact that opens when it trips.
    pub factor: f64,
    /// See `factor`.
    pub offset: f64,
    /// What a raw loop current stands for; None: the register holds the quantity itself.
    pub current: Option<Span>,
}

/// What the two ends of a 4-20 mA loop stand for, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Value at 4 mA.
    pub at_4_ma: f64,
    /// Value at 20 mA.
    pub at_20_ma: f64,
}

/// The upper part of a value that a device keeps apart from its lower part (millions of a totalizer, say).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UpperPart {
    /// Address on the wire, from 0; same function and order as the lower part.
    pub address: u16,
    /// How its words make a number: U16 or U32.
    pub data: DataType,
    /// What one count of it is worth in counts of the lower part.
    pub worth: u64,
}

/// A register in which a device says how it does, one bit for each complaint, sorted into the classes of
/// NAMUR NE 107.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StatusRegister {
    /// Modbus function, 1 to 4.
    pub function: u8,
    /// Address on the wire, from 0.
    pub address: u16,
    /// Bits that say failure when set.
    pub failure: u16,
    /// Bits that say function check when set.
    pub function_check: u16,
    /// Bits that say out of specification when set.
    pub out_of_specification: u16,
    /// Bits that say maintenance required when set.
    pub maintenance: u16,
    /// Bits that are set while all is well: one that is not says failure.
    pub sound: u16,
}

/// Where a signal's value is found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// The value's register.
    pub register: Register,
    /// Its upper part, where that stands apart.
    pub upper: Option<UpperPart>,
    /// What the device says about it.
    pub status: Option<StatusRegister>,
}

impl From<Register> for Place {
    fn from(register: Register) -> Place {
        Place { register, upper: None, status: None }
    }
}

impl DataType {
    /// Every type, with its name in a site file.
    pub const NAMED: [(&'static str, DataType); 12] = [
        ("u16", DataType::U16),
        ("i16", DataType::I16),
        ("u32", DataType::U32),
        ("i32", DataType::I32),
        ("u64", DataType::U64),
        ("i64", DataType::I64),
        ("f32", DataType::F32),
        ("f64", DataType::F64),
        ("bcd16", DataType::Bcd16),
        ("bcd32", DataType::Bcd32),
        ("bcd64", DataType::Bcd64),
        ("bool", DataType::Bool),
    ];

    /// The type of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<DataType> {
        DataType::NAMED.into_iter().find(|(n, _)| *n == name).map(|(_, data)| data)
    }

    /// Its name in a site file.
    #[must_use]
    pub fn name(self) -> &'static str {
        DataType::NAMED.into_iter().find(|(_, data)| *data == self).map_or("", |(name, _)| name)
    }
}

impl WordOrder {
    /// Every order, with its name in a site file.
    pub const NAMED: [(&'static str, WordOrder); 4] =
        [("ABCD", WordOrder::Abcd), ("CDAB", WordOrder::Cdab), ("BADC", WordOrder::Badc), ("DCBA", WordOrder::Dcba)];

    /// The order of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<WordOrder> {
        WordOrder::NAMED.into_iter().find(|(n, _)| *n == name).map(|(_, order)| order)
    }

    /// Its name in a site file.
    #[must_use]
    pub fn name(self) -> &'static str {
        WordOrder::NAMED.into_iter().find(|(_, order)| *order == self).map_or("", |(name, _)| name)
    }

    /// Whether the two bytes of a register stand the other way round than in the Modbus standard.
    #[must_use]
    pub fn swaps_bytes(self) -> bool {
        matches!(self, WordOrder::Badc | WordOrder::Dcba)
    }
}

impl Register {
    /// A register that holds an SI value as it is.
    #[must_use]
    pub fn plain(function: u8, address: u16, data: DataType, order: WordOrder) -> Register {
        Register { function, address, data, order, bit: None, factor: 1.0, offset: 0.0, current: None }
    }

    /// How many registers (or bits) the value takes.
    #[must_use]
    pub fn count(&self) -> u16 {
        match self.data {
            DataType::U16 | DataType::I16 | DataType::Bool | DataType::Bcd16 => 1,
            DataType::U32 | DataType::I32 | DataType::F32 | DataType::Bcd32 => 2,
            DataType::U64 | DataType::I64 | DataType::F64 | DataType::Bcd64 => 4,
        }
    }

    /// The value in SI, from exactly [`Register::count`] words.
    #[must_use]
    pub fn decode(&self, words: &[u16]) -> Measured {
        self.measured(self.number(words))
    }

    /// What the number of its words means.
    fn measured(&self, number: Option<f64>) -> Measured {
        let Some(value) = number.map(|n| n * self.factor + self.offset).filter(|v| v.is_finite()) else {
            return Measured::NotANumber;
        };
        match self.current {
            _ if self.data == DataType::Bool => Measured::Flag(value != 0.0),
            None => Measured::Number(value),
            Some(span) => Measured::Current { milliampere: value, si: span.at(value) },
        }
    }

    /// The number that the words make; `None` where they make none.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_precision_loss,
        reason = "the bits are of the declared width; a 64-bit count above 2^53 is beyond any totalizer"
    )]
    fn number(&self, words: &[u16]) -> Option<f64> {
        if words.len() != usize::from(self.count()) {
            return None;
        }
        let bits = self.big_endian(words);
        Some(match self.data {
            DataType::U16 | DataType::U32 | DataType::U64 => bits as f64,
            DataType::Bcd16 | DataType::Bcd32 | DataType::Bcd64 => decimal(bits)? as f64,
            DataType::I16 => f64::from(bits as u16 as i16),
            DataType::I32 => f64::from(bits as u32 as i32),
            DataType::I64 => bits as i64 as f64,
            DataType::F32 => f64::from(f32::from_bits(bits as u32)),
            DataType::F64 => f64::from_bits(bits),
            DataType::Bool => f64::from(u8::from(match self.bit {
                Some(bit) => words[0].checked_shr(u32::from(bit))? & 1 != 0,
                None => words[0] != 0,
            })),
        })
    }

    /// The words' bytes, most significant first, at the low end of eight.
    fn big_endian(&self, words: &[u16]) -> u64 {
        let swap_bytes = self.order.swaps_bytes();
        let swap_words = matches!(self.order, WordOrder::Cdab | WordOrder::Dcba);
        let word = |i: usize| {
            let w = words[if swap_words { words.len() - 1 - i } else { i }];
            u64::from(if swap_bytes { w.swap_bytes() } else { w })
        };
        (0..words.len()).fold(0, |bits, i| bits << 16 | word(i))
    }
}

/// A decimal digit in each half byte; `None` where a half byte is above 9.
fn decimal(bits: u64) -> Option<u64> {
    (0..16).rev().map(|i| bits >> (4 * i) & 0xf).try_fold(0, |number, digit| (digit <= 9).then(|| number * 10 + digit))
}

impl Span {
    /// The value in SI at a current, by the straight line through both ends and beyond them: whether the current can
    /// be right is judged where all of a signal is judged.
    #[must_use]
    pub fn at(&self, milliampere: f64) -> f64 {
        self.at_4_ma + (milliampere - 4.0) / 16.0 * (self.at_20_ma - self.at_4_ma)
    }
}

impl StatusRegister {
    /// Where it is read. Its bits are those of the register as it comes; functions 1 and 2 give bit 0 alone.
    #[must_use]
    pub fn register(&self) -> Register {
        Register::plain(self.function, self.address, DataType::U16, WordOrder::Abcd)
    }

    /// What its word says: the worst of all that is said.
    #[must_use]
    pub fn says(&self, word: u16) -> Status {
        let any = |bits: u16| word & bits != 0;
        if any(self.failure) || !word & self.sound != 0 {
            Status::Failure
        } else if any(self.function_check) {
            Status::FunctionCheck
        } else if any(self.out_of_specification) {
            Status::OutOfSpecification
        } else if any(self.maintenance) {
            Status::MaintenanceRequired
        } else {
            Status::Fair
        }
    }
}

impl Place {
    /// Where the upper part is read, for a value in two parts.
    #[must_use]
    pub fn upper_register(&self) -> Option<Register> {
        let Register { function, order, .. } = self.register;
        self.upper.map(|upper| Register::plain(function, upper.address, upper.data, order))
    }

    /// A value in two parts, from the words of both: (upper x worth + lower) x factor + offset. Without an upper part
    /// that of the lower alone.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "beyond 2^53 counts is beyond any totalizer")]
    pub fn decode(&self, lower: &[u16], upper: &[u16]) -> Measured {
        let (Some(part), Some(register)) = (self.upper, self.upper_register()) else {
            return self.register.decode(lower);
        };
        let both = register.number(upper).zip(self.register.number(lower));
        self.register.measured(both.map(|(upper, lower)| upper * part.worth as f64 + lower))
    }
}

#[cfg(test)]
mod tests {
    use super::DataType::{Bcd16, Bcd32, Bcd64, Bool, F32, F64, I16, I32, I64, U16, U32, U64};
    use super::WordOrder::{Abcd, Badc, Cdab, Dcba};
    use super::*;

    /// Words in the order ABCD, and the same number in the three others.
    fn in_order(words: &[u16], order: WordOrder) -> Vec<u16> {
        match (order, words) {
            (Cdab, [a, b]) => vec![*b, *a],
            (Cdab, [a, b, c, d]) => vec![*d, *c, *b, *a],
            (Badc, words) => words.iter().map(|w| w.rotate_left(8)).collect(),
            (Dcba, words) => in_order(&in_order(words, Cdab), Badc),
            (_, words) => words.to_vec(),
        }
    }

    /// Expected: IEEE 754-2008 interchange formats (1.5 = 3FC00000, -118.625 = C2ED4000, 0.1 = 3FB999999999999A,
    /// largest single 7F7FFFFF); two's complement, powers of two and decimal digits by hand.
    #[test]
    fn every_type_in_every_order() {
        let cases: &[(DataType, &[u16], f64)] = &[
            (U16, &[0xfffe], 65_534.0),
            (I16, &[0xfffe], -2.0),
            (U32, &[0x0001, 0x0002], 65_538.0),
            (I32, &[0xffff, 0xfffe], -2.0),
            (I32, &[0x8000, 0x0000], -2_147_483_648.0),
            (U64, &[0, 1, 0, 3], 4_294_967_299.0),
            (I64, &[0xffff, 0xffff, 0xffff, 0xff00], -256.0),
            (F32, &[0x3fc0, 0x0000], 1.5),
            (F32, &[0xc2ed, 0x4000], -118.625),
            (F32, &[0x7f7f, 0xffff], 3.402_823_466_385_288_6e38),
            (F64, &[0x3fb9, 0x9999, 0x9999, 0x999a], 0.1),
            (Bcd16, &[0x9071], 9071.0),
            (Bcd32, &[0x0012, 0x3456], 123_456.0),
            (Bcd32, &[0x9999, 0x9999], 99_999_999.0),
            (Bcd64, &[0, 0x0123, 0x4567, 0x8901], 12_345_678_901.0),
        ];
        for (data, words, number) in cases {
            for order in [Abcd, Cdab, Badc, Dcba] {
                let (register, words) = (Register::plain(4, 0, *data, order), in_order(words, order));
                assert_eq!(register.decode(&words), Measured::Number(*number), "{data:?} {order:?} {words:x?}");
                assert_eq!(register.decode(&[&words[..], &[0]].concat()), Measured::NotANumber, "a word too many");
                assert_eq!(register.decode(&words[1..]), Measured::NotANumber, "a word too few");
            }
        }
    }

    #[test]
    fn what_is_no_number_is_said_to_be_none() {
        let cases: &[(DataType, &[u16])] = &[
            (Bcd16, &[0x123a]),
            (Bcd16, &[0xf000]),
            (Bcd32, &[0xffff, 0xffff]),
            (Bcd64, &[0, 0, 0x00a0, 0]),
            (F32, &[0x7fc0, 0]),
            (F32, &[0xff80, 0]),
            (F64, &[0x7ff0, 0, 0, 0]),
            (F64, &[0x7ff8, 0, 0, 1]),
        ];
        for (data, words) in cases {
            assert_eq!(Register::plain(3, 0, *data, Abcd).decode(words), Measured::NotANumber, "{data:?} {words:x?}");
        }
    }

    /// A contact's bit is that of the register as it comes; -1 and 1 read one that opens when it trips.
    #[test]
    fn a_flag_is_a_bit_or_a_whole_register() {
        let flag = |bit, word: u16| Register { bit, ..Register::plain(3, 0, Bool, Dcba) }.decode(&[word]);
        assert_eq!(flag(Some(0), 0b0101), Measured::Flag(true));
        assert_eq!(flag(Some(1), 0b0101), Measured::Flag(false));
        assert_eq!(flag(Some(15), 0x8000), Measured::Flag(true));
        assert_eq!(flag(Some(15), 0x7fff), Measured::Flag(false));
        assert_eq!(flag(Some(16), 0xffff), Measured::NotANumber, "no such bit");
        assert_eq!((flag(None, 0x0100), flag(None, 0)), (Measured::Flag(true), Measured::Flag(false)));
        let opens = Register { bit: Some(3), factor: -1.0, offset: 1.0, ..Register::plain(3, 0, Bool, Abcd) };
        assert_eq!((opens.decode(&[8]), opens.decode(&[7])), (Measured::Flag(false), Measured::Flag(true)));
    }

    /// By hand: 4 to 20 mA stand for 0 to 8 m. 12 mA is the middle; 3.6 mA lies 0.4/16 of 8 m below the start.
    #[test]
    fn a_current_and_what_it_stands_for() {
        let span = Some(Span { at_4_ma: 0.0, at_20_ma: 8.0 });
        let microampere = Register { factor: 1e-3, current: span, ..Register::plain(4, 0, U16, Abcd) };
        for (word, ma, m) in [(4_000, 4.0, 0.0), (12_000, 12.0, 4.0), (20_000, 20.0, 8.0), (3_600, 3.6, -0.2)] {
            let Measured::Current { milliampere, si } = microampere.decode(&[word]) else { panic!("no current") };
            assert!((milliampere - ma).abs() < 1e-12 && (si - m).abs() < 1e-12, "{word}: {milliampere} mA, {si}");
        }
        // A card that counts 0 to 27648 between 4 and 20 mA, and a span that falls.
        let counts = Register {
            factor: 16.0 / 27_648.0,
            offset: 4.0,
            current: Some(Span { at_4_ma: 100.0, at_20_ma: -100.0 }),
            ..Register::plain(4, 0, I16, Abcd)
        };
        let Measured::Current { milliampere, si } = counts.decode(&[6_912]) else { panic!("no current") };
        assert!((milliampere - 8.0).abs() < 1e-12 && (si - 50.0).abs() < 1e-12);
        let single = Register { current: span, ..Register::plain(4, 0, F32, Abcd) };
        assert_eq!(single.decode(&[0x7fc0, 0]), Measured::NotANumber);
    }

    /// By hand: 7 millions and 654,321 counts of 0.1 are 765,432.1; in decimal digits 12 x 10^4 + 3456.
    #[test]
    fn a_value_in_two_parts() {
        let two = |lower, upper, worth| Place {
            register: Register { factor: 0.1, offset: 1.0, ..Register::plain(4, 10, lower, Cdab) },
            upper: Some(UpperPart { address: 20, data: upper, worth }),
            status: None,
        };
        let near = |got, wanted: f64| matches!(got, Measured::Number(n) if (n - wanted).abs() < 1e-6);
        // 654,321 = 9 x 65,536 + 64,497.
        assert!(near(two(U32, U16, 1_000_000).decode(&[64_497, 9], &[7]), 765_433.1));
        assert!(near(two(Bcd16, U16, 10_000).decode(&[0x3456], &[12]), 12_346.6));
        assert!(near(two(U16, U32, 65_536).decode(&[5], &[3, 1]), 429_516_391.9), "(65,539 x 65,536 + 5) x 0.1 + 1");
        assert_eq!(two(Bcd16, U16, 10_000).decode(&[0x345a], &[12]), Measured::NotANumber);
        assert_eq!(two(U16, U16, 10).decode(&[1], &[]), Measured::NotANumber);
    }

    /// The classes of NAMUR NE 107 (2006-06-12), the worst one said.
    #[test]
    fn the_worst_complaint_is_said() {
        let status = StatusRegister {
            function: 3,
            address: 9,
            failure: 0x0001,
            function_check: 0x0006,
            out_of_specification: 0x0008,
            maintenance: 0x0010,
            sound: 0x8000,
        };
        for (word, says) in [
            (0x8000, Status::Fair),
            (0x8f60, Status::Fair),
            (0x8010, Status::MaintenanceRequired),
            (0x8018, Status::OutOfSpecification),
            (0x801c, Status::FunctionCheck),
            (0x801f, Status::Failure),
            (0x8001, Status::Failure),
            (0x0000, Status::Failure),
            (0x0010, Status::Failure),
        ] {
            assert_eq!(status.says(word), says, "{word:#06x}");
        }
        let contact = StatusRegister { function: 2, failure: 1, ..StatusRegister::default() };
        assert_eq!((contact.says(0), contact.says(1)), (Status::Fair, Status::Failure));
    }
}
