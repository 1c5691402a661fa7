//! Which blocks a device is asked for, and what a bay makes of them. Pure.
//!
//! Registers that lie side by side are asked for together (at most 125 registers or 2000 bits, Modbus Application
//! Protocol V1.1b3); an address that nobody declared is never read.

use super::registers::Register;
use crate::engine::input::{Block, Measured, SignalValue};

/// Most registers in one request.
const REGISTERS_MAX: u16 = 125;
/// Most bits in one request.
const BITS_MAX: u16 = 2000;

/// One request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BlockSpec {
    /// Modbus function, 1 to 4.
    pub function: u8,
    /// First address, from 0.
    pub address: u16,
    /// How many registers or bits.
    pub count: u16,
}

/// The fewest requests that read all of these registers and nothing else.
#[must_use]
pub fn plan(registers: &[Register]) -> Vec<BlockSpec> {
    let mut spans: Vec<(u8, u32, u32)> = registers
        .iter()
        .map(|r| (r.function, u32::from(r.address), u32::from(r.address) + u32::from(r.count())))
        .collect();
    spans.sort_unstable();
    let mut blocks: Vec<(u8, u32, u32)> = Vec::new();
    for (function, from, to) in spans {
        let most = u32::from(if function <= 2 { BITS_MAX } else { REGISTERS_MAX });
        match blocks.last_mut() {
            Some((f, start, end)) if *f == function && from <= *end && to.max(*end) - *start <= most => {
                *end = to.max(*end);
            }
            _ => blocks.push((function, from, to)),
        }
    }
    let narrow = |n: u32| u16::try_from(n).unwrap_or(u16::MAX);
    blocks
        .into_iter()
        .map(|(function, from, to)| BlockSpec { function, address: narrow(from), count: narrow(to - from) })
        .collect()
}

/// The values of a bay's signals out of the blocks of one poll, `blocks` in the order of `plan`.
#[must_use]
pub fn values(signals: &[(u16, Register)], plan: &[BlockSpec], blocks: &[Block]) -> Vec<SignalValue> {
    let value = |register: &Register| {
        let (from, count) = (usize::from(register.address), usize::from(register.count()));
        let holds = |spec: &BlockSpec| {
            let start = usize::from(spec.address);
            spec.function == register.function && from >= start && from + count <= start + usize::from(spec.count)
        };
        let Some((spec, block)) = plan.iter().zip(blocks).find(|(spec, _)| holds(spec)) else {
            return Measured::NotANumber;
        };
        let skip = from - usize::from(spec.address);
        match &block.words {
            Ok(words) => words.get(skip..skip + count).map_or(Measured::NotANumber, |words| register.decode(words)),
            Err(code) => Measured::Exception(*code),
        }
    };
    signals.iter().map(|(signal, register)| SignalValue { signal: *signal, value: value(register) }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::poll::registers::{DataType, WordOrder};

    fn register(function: u8, address: u16, data: DataType) -> Register {
        Register { function, address, data, order: WordOrder::Abcd, factor: 1.0, offset: 0.0 }
    }

    #[test]
    fn neighbours_are_read_together_and_gaps_are_not() {
        let registers = [
            register(3, 4, DataType::U16),
            register(3, 0, DataType::F32),
            register(3, 2, DataType::F32),
            register(3, 9, DataType::U16),
            register(4, 5, DataType::U16),
        ];
        let spec = |function, address, count| BlockSpec { function, address, count };
        assert_eq!(plan(&registers), [spec(3, 0, 5), spec(3, 9, 1), spec(4, 5, 1)]);
    }

    #[test]
    fn no_request_exceeds_125_registers() {
        let registers: Vec<Register> = (0..100).map(|i| register(3, i * 2, DataType::F32)).collect();
        let blocks = plan(&registers);
        assert!(blocks.iter().all(|b| b.count <= 125));
        assert_eq!(blocks.iter().map(|b| u32::from(b.count)).sum::<u32>(), 200);
    }

    #[test]
    fn an_exception_reaches_only_its_own_block() {
        let signals = [(0, register(3, 0, DataType::U16)), (1, register(3, 9, DataType::U16))];
        let plan = plan(&signals.map(|(_, r)| r));
        let blocks =
            [Block { function: 3, address: 0, words: Ok(vec![7]) }, Block { function: 3, address: 9, words: Err(2) }];
        let got = values(&signals, &plan, &blocks).iter().map(|v| v.value).collect::<Vec<_>>();
        assert_eq!(got, [Measured::Number(7.0), Measured::Exception(2)]);
    }
}
