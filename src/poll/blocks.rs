//! Which blocks a device is asked for, and what a bay makes of them. Pure.
//!
//! Registers that lie side by side are asked for together (at most 125 registers or 2000 bits, Modbus Application
//! Protocol V1.1b3); an address that nobody declared is never read.

use super::registers::{Place, Register};
use crate::engine::input::{Block, Measured, SignalValue, Status};

/// Most registers in one request (Modbus Application Protocol V1.1b3, 6.3).
pub const REGISTERS_MAX: u16 = 125;
/// Most bits in one request (the same, 6.1).
pub const BITS_MAX: u16 = 2000;

/// What a device lets itself be asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Manners {
    /// So many registers (or bits) that nobody declared may be read along between two that are.
    pub gap: u16,
    /// Most registers in one request.
    pub registers_most: u16,
    /// Registers that must not be read, not even along with others.
    pub not_read: Vec<Forbidden>,
}

/// Registers that must not be read; both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Forbidden {
    /// Modbus function, 1 to 4.
    pub function: u8,
    /// First address on the wire, from 0.
    pub from: u16,
    /// Last.
    pub to: u16,
}

impl Default for Manners {
    fn default() -> Manners {
        Manners { gap: 0, registers_most: REGISTERS_MAX, not_read: Vec::new() }
    }
}

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

/// The fewest requests that read all of these places and the heartbeat.
#[must_use]
pub fn plan(places: &[Place], heartbeat: Option<&Register>, _manners: &Manners) -> Vec<BlockSpec> {
    let mut spans: Vec<(u8, u32, u32)> = places
        .iter()
        .map(|place| &place.register)
        .chain(heartbeat)
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
pub fn values(signals: &[(u16, Place)], plan: &[BlockSpec], blocks: &[Block]) -> Vec<SignalValue> {
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
    signals
        .iter()
        .map(|(signal, place)| SignalValue { signal: *signal, value: value(&place.register), status: Status::Fair })
        .collect()
}

/// What the heartbeat register holds: its words as one number, whatever they mean. None where it was not answered.
#[must_use]
pub fn heartbeat(register: &Register, plan: &[BlockSpec], blocks: &[Block]) -> Option<u64> {
    let from = usize::from(register.address);
    let holds = |spec: &BlockSpec| {
        let start = usize::from(spec.address);
        spec.function == register.function && from >= start && from < start + usize::from(spec.count)
    };
    let (spec, block) = plan.iter().zip(blocks).find(|(spec, _)| holds(spec))?;
    let skip = from - usize::from(spec.address);
    let words = block.words.as_ref().ok()?.get(skip..skip + usize::from(register.count()))?;
    Some(words.iter().fold(0, |number, word| number << 16 | u64::from(*word)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::poll::registers::{DataType, WordOrder};

    fn register(function: u8, address: u16, data: DataType) -> Register {
        Register::plain(function, address, data, WordOrder::Abcd)
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
        assert_eq!(
            plan(&registers.map(Place::from), None, &Manners::default()),
            [spec(3, 0, 5), spec(3, 9, 1), spec(4, 5, 1)]
        );
    }

    #[test]
    fn no_request_exceeds_125_registers() {
        let places: Vec<Place> = (0..100).map(|i| register(3, i * 2, DataType::F32).into()).collect();
        let blocks = plan(&places, None, &Manners::default());
        assert!(blocks.iter().all(|b| b.count <= 125));
        assert_eq!(blocks.iter().map(|b| u32::from(b.count)).sum::<u32>(), 200);
    }

    #[test]
    fn an_exception_reaches_only_its_own_block() {
        let signals = [(0, register(3, 0, DataType::U16).into()), (1, register(3, 9, DataType::U16).into())];
        let plan = plan(&signals.map(|(_, place)| place), None, &Manners::default());
        let blocks =
            [Block { function: 3, address: 0, words: Ok(vec![7]) }, Block { function: 3, address: 9, words: Err(2) }];
        let got = values(&signals, &plan, &blocks).iter().map(|v| v.value).collect::<Vec<_>>();
        assert_eq!(got, [Measured::Number(7.0), Measured::Exception(2)]);
    }
}
