//! What a register means: words to quantities. Pure; knows no connection.

use crate::engine::input::Measured;

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

/// Order of the bytes of a value longer than one register, most significant byte A.
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
        if words.len() != usize::from(self.count()) {
            return Measured::NotANumber;
        }
        if self.data == DataType::Bool {
            let bit = f64::from(u8::from(words[0] != 0));
            return Measured::Flag(bit * self.factor + self.offset != 0.0);
        }
        let number = self.number(self.big_endian(words));
        let si = number * self.factor + self.offset;
        if si.is_finite() { Measured::Number(si) } else { Measured::NotANumber }
    }

    /// The words' bytes, most significant first, at the low end of eight.
    fn big_endian(&self, words: &[u16]) -> u64 {
        let swap_bytes = matches!(self.order, WordOrder::Badc | WordOrder::Dcba);
        let swap_words = matches!(self.order, WordOrder::Cdab | WordOrder::Dcba);
        let word = |i: usize| {
            let w = words[if swap_words { words.len() - 1 - i } else { i }];
            u64::from(if swap_bytes { w.swap_bytes() } else { w })
        };
        (0..words.len()).fold(0, |bits, i| bits << 16 | word(i))
    }

    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_precision_loss,
        reason = "the bits are of the declared width; a 64-bit count above 2^53 is beyond any totalizer"
    )]
    fn number(&self, bits: u64) -> f64 {
        match self.data {
            DataType::U16 | DataType::U32 | DataType::U64 | DataType::Bool => bits as f64,
            DataType::Bcd16 | DataType::Bcd32 | DataType::Bcd64 => todo!("BCD"),
            DataType::I16 => f64::from(bits as u16 as i16),
            DataType::I32 => f64::from(bits as u32 as i32),
            DataType::I64 => bits as i64 as f64,
            DataType::F32 => f64::from(f32::from_bits(bits as u32)),
            DataType::F64 => f64::from_bits(bits),
        }
    }
}
