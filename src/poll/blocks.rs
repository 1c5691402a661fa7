//! Which blocks a device is asked for, and what a bay makes of them. Pure.
//!
//! Registers that lie side by side are asked for together (at most 125 registers or 2000 bits, Modbus Application
//! Protocol V1.1b3). An address that nobody declared is read along only where the site file allows the gap, and one
//! that must not be read never is: some devices answer a hole in their map with an exception for the whole request,
//! or clear what they show.
//!
//! Within one reply a device's registers belong together; between two of them it goes on counting. So a value is never
//! split over two requests, and one in two parts that no single request can hold is read upper, lower, upper again:
//! had a carry gone from the lower part to the upper meanwhile, the upper part would not be the same twice.

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

/// Registers (or bits) in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Stretch {
    function: u8,
    from: u32,
    /// The one after the last.
    to: u32,
}

impl Stretch {
    fn of(register: &Register) -> Stretch {
        let from = u32::from(register.address);
        Stretch { function: register.function, from, to: from + u32::from(register.count()) }
    }

    /// The shortest that holds both; of one function.
    fn with(self, other: Stretch) -> Stretch {
        Stretch { function: self.function, from: self.from.min(other.from), to: self.to.max(other.to) }
    }

    fn holds(&self, other: &Stretch) -> bool {
        self.function == other.function && self.from <= other.from && other.to <= self.to
    }

    /// The request for it; none of those that are planned is longer than a request may be.
    fn spec(&self) -> BlockSpec {
        let narrow = |n: u32| u16::try_from(n).unwrap_or(u16::MAX);
        BlockSpec { function: self.function, address: narrow(self.from), count: narrow(self.to - self.from) }
    }
}

impl Manners {
    /// Most registers or bits in one request.
    fn most(&self, function: u8) -> u32 {
        u32::from(if function <= 2 { BITS_MAX } else { self.registers_most.min(REGISTERS_MAX) })
    }

    /// Whether none of it is one that must not be read.
    fn spare(&self, stretch: &Stretch) -> bool {
        let meets = |f: &Forbidden| {
            f.function == stretch.function && u32::from(f.from) < stretch.to && stretch.from <= u32::from(f.to)
        };
        !self.not_read.iter().any(meets)
    }

    /// Whether it can be asked for at all. What cannot is refused in a site file, and is left out here.
    fn allow(&self, stretch: &Stretch) -> bool {
        stretch.to <= 0x1_0000 && stretch.to - stretch.from <= self.most(stretch.function) && self.spare(stretch)
    }

    /// How far a request that begins there may go; `runs`: what is declared, in order, runs that touch made one.
    fn reach(&self, runs: &[Stretch], function: u8, from: u32) -> u32 {
        let mut end = from;
        for run in runs.iter().filter(|run| run.function == function && run.to > from) {
            let hole = Stretch { function, from: end, to: run.from };
            if run.from > end && (run.from - end > u32::from(self.gap) || !self.spare(&hole)) {
                break;
            }
            end = run.to;
        }
        end.min(from + self.most(function))
    }
}

/// The fewest requests that read all of these places and the heartbeat, in the order in which they are sent; a value in
/// two parts lies within one where one can hold it, and else between two that read its upper part.
#[must_use]
pub fn plan(places: &[Place], heartbeat: Option<&Register>, manners: &Manners) -> Vec<BlockSpec> {
    let statuses = places.iter().filter_map(|place| place.status).map(|status| status.register());
    let alone: Vec<Stretch> = statuses.chain(heartbeat.copied()).map(|r| Stretch::of(&r)).collect();
    let parts = |place: &Place| (Stretch::of(&place.register), place.upper_register().map(|r| Stretch::of(&r)));
    let values = places.iter().map(parts).flat_map(|(lower, upper)| std::iter::once(lower).chain(upper));
    let mut declared: Vec<Stretch> = values.chain(alone.iter().copied()).filter(|s| manners.allow(s)).collect();
    declared.sort_unstable();
    let runs = runs(&declared);
    // Whatever one request has to hold whole.
    let mut whole: Vec<Stretch> = alone;
    for (lower, upper) in places.iter().map(parts) {
        match upper.map(|upper| lower.with(upper)) {
            Some(both) if manners.reach(&runs, both.function, both.from) >= both.to => whole.push(both),
            _ => whole.extend(std::iter::once(lower).chain(upper)),
        }
    }
    whole.retain(|s| manners.allow(s));
    let blocks = cover(whole, &runs, manners);
    // Blocks with an upper part whose lower part is elsewhere come first and again last: whichever of two such blocks
    // holds the lower part, one reading of it lies between two of the upper.
    let apart = places.iter().map(parts).filter_map(|(lower, upper)| upper.map(|upper| (lower, upper)));
    let apart = apart.filter(|(lower, upper)| !blocks.iter().any(|block| block.holds(&lower.with(*upper))));
    let twice: Vec<Option<usize>> = apart.map(|(_, upper)| blocks.iter().position(|b| b.holds(&upper))).collect();
    let (first, once): (Vec<_>, Vec<_>) = (0..blocks.len()).partition(|&block| twice.contains(&Some(block)));
    [&first, &once, &first].into_iter().flatten().map(|&block| blocks[block].spec()).collect()
}

/// What is declared, in order, runs that touch made one.
fn runs(declared: &[Stretch]) -> Vec<Stretch> {
    let mut runs: Vec<Stretch> = Vec::new();
    for stretch in declared {
        match runs.last_mut() {
            Some(run) if run.function == stretch.function && stretch.from <= run.to => *run = run.with(*stretch),
            _ => runs.push(*stretch),
        }
    }
    runs
}

/// The fewest blocks, so that each stretch lies within one. Some block has to begin at or before the first stretch that
/// is left; the one that begins right there and holds all that it can reach leaves no more to do than any other would.
fn cover(mut left: Vec<Stretch>, runs: &[Stretch], manners: &Manners) -> Vec<Stretch> {
    left.sort_unstable();
    let mut blocks = Vec::new();
    while let Some(first) = left.first().copied() {
        let reach = Stretch { to: manners.reach(runs, first.function, first.from), ..first };
        let block = left.iter().filter(|s| reach.holds(s)).fold(first, |block, s| block.with(*s));
        left.retain(|s| !block.holds(s));
        blocks.push(block);
    }
    blocks
}

/// The values of a bay's signals out of the blocks of one poll, `blocks` in the order of `plan`.
#[must_use]
pub fn values(signals: &[(u16, Place)], plan: &[BlockSpec], blocks: &[Block]) -> Vec<SignalValue> {
    let value = |(signal, place): &(u16, Place)| {
        let value = measured(place, plan, blocks).unwrap_or_else(|why| why);
        let status = place.status.map_or(Ok(Status::Fair), |status| {
            let (_, words) = readings(&status.register(), plan, blocks).next().ok_or(Measured::NotANumber)?;
            words?.first().map(|word| status.says(*word)).ok_or(Measured::NotANumber)
        });
        // Without its status nobody vouches for a value; an exception of its own is said first.
        let (value, status) = match (value, status) {
            (value, Ok(status)) => (value, status),
            (Measured::Exception(code), Err(_)) => (Measured::Exception(code), Status::Fair),
            (_, Err(why)) => (why, Status::Fair),
        };
        SignalValue { signal: *signal, value, status }
    };
    signals.iter().map(value).collect()
}

/// One place's value, or in its stead why there is none.
fn measured(place: &Place, plan: &[BlockSpec], blocks: &[Block]) -> Result<Measured, Measured> {
    let mut lowers = readings(&place.register, plan, blocks);
    let Some(upper) = place.upper_register() else {
        let (_, words) = lowers.next().ok_or(Measured::NotANumber)?;
        return Ok(place.register.decode(words?));
    };
    let uppers: Vec<_> = readings(&upper, plan, blocks).collect();
    // Of the same request, or of one before and one after.
    let around = |at: usize| {
        let before = uppers.iter().rev().find(|(i, _)| *i <= at)?;
        Some((before.1, uppers.iter().find(|(i, _)| *i >= at)?.1))
    };
    let (lower, (before, after)) =
        lowers.find_map(|(at, lower)| Some((lower, around(at)?))).ok_or(Measured::NotANumber)?;
    let (before, lower, after) = (before?, lower?, after?);
    Ok(if before == after { place.decode(lower, before) } else { Measured::Torn })
}

/// Each reading of a register in the replies: the block's place in the plan, with the words or why there are none.
fn readings<'b>(
    register: &Register,
    plan: &'b [BlockSpec],
    blocks: &'b [Block],
) -> impl Iterator<Item = (usize, Result<&'b [u16], Measured>)> + use<'b> {
    let wanted = Stretch::of(register);
    plan.iter().zip(blocks).enumerate().filter_map(move |(at, (spec, block))| {
        let from = u32::from(spec.address);
        let held = Stretch { function: spec.function, from, to: from + u32::from(spec.count) };
        let skip = usize::try_from(wanted.from.checked_sub(from)?).ok()?;
        let count = usize::try_from(wanted.to - wanted.from).ok()?;
        held.holds(&wanted).then(|| {
            let words = match &block.words {
                Ok(words) => words.get(skip..skip + count).ok_or(Measured::NotANumber),
                Err(code) => Err(Measured::Exception(*code)),
            };
            (at, words)
        })
    })
}

/// What the heartbeat register holds: its words as one number, whatever they mean. None where it was not answered.
#[must_use]
pub fn heartbeat(register: &Register, plan: &[BlockSpec], blocks: &[Block]) -> Option<u64> {
    let (_, words) = readings(register, plan, blocks).next()?;
    Some(words.ok()?.iter().fold(0, |number, word| number << 16 | u64::from(*word)))
}

#[cfg(test)]
mod tests;
