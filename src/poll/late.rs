//! Answers that may still come. Pure.
//!
//! RTU frames carry no number: the reply to a request that was given up looks just like the reply to the same request
//! asked again. What can be told apart is unit, function and length. So after a request went unanswered, that unit is
//! next asked for something whose reply has another look and that has not been asked for lately; once that has come,
//! earlier ones are past, because a unit answers in the order it is asked. Where nothing of another look can be asked (a
//! single register), it is left alone for a while and then asked twice, of which only the second reply is taken.

use super::blocks::BlockSpec;
use super::frames::data_bytes;
use crate::clock::MachineTime;
use std::time::Duration;

/// An answer that comes later than this is not believed in (assumption).
const LATE_MOST: Duration = Duration::from_secs(10);
/// Where no other look is left, a unit is asked again after this.
const ALONE: Duration = Duration::from_millis(900);

/// What of a reply can be told from another's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Look {
    unit: u8,
    function: u8,
    data_bytes: usize,
}

fn look(unit: u8, block: &BlockSpec) -> Look {
    Look { unit, function: block.function, data_bytes: data_bytes(block.function, block.count) }
}

/// What may be asked now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Next {
    /// The block.
    Ask,
    /// First this, the block or a part of it, whose reply is not taken.
    First(BlockSpec),
    /// Nothing.
    Wait,
}

/// Requests whose replies may still come: each look, and when it was last given up.
#[derive(Debug, Default)]
pub struct Late(Vec<(Look, MachineTime)>);

impl Late {
    /// What may be asked of a unit when this block is wanted.
    pub fn next(&mut self, unit: u8, block: &BlockSpec, now: MachineTime) -> Next {
        self.0.retain(|(_, asked)| now.since(*asked) < LATE_MOST);
        let asked = |block: &BlockSpec| self.0.iter().find(|(late, _)| *late == look(unit, block)).map(|(_, at)| *at);
        if asked(block).is_none() {
            return Next::Ask;
        }
        // One not asked for lately comes first, then the one asked for the longest ago.
        let part = |count| BlockSpec { count, ..*block };
        match (1..=block.count).map(part).map(|part| (asked(&part), part)).min_by_key(|(asked, _)| *asked) {
            Some((Some(asked), _)) if now.since(asked) < ALONE => Next::Wait,
            Some((_, part)) => Next::First(part),
            None => Next::Ask,
        }
    }

    /// A request was given up now, or its reply was no good.
    pub fn unanswered(&mut self, unit: u8, block: &BlockSpec, now: MachineTime) {
        self.0.retain(|(late, _)| *late != look(unit, block));
        self.0.push((look(unit, block), now));
    }

    /// The reply to the unit's latest request has come.
    pub fn answered(&mut self, unit: u8) {
        self.0.retain(|(late, _)| late.unit != unit);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEN: BlockSpec = BlockSpec { function: 3, address: 100, count: 10 };

    fn ms(ms: u64) -> MachineTime {
        MachineTime(ms * 1_000_000)
    }

    #[test]
    fn what_went_unanswered_is_not_asked_again_in_the_same_look() {
        let mut late = Late::default();
        assert_eq!(late.next(1, &TEN, ms(0)), Next::Ask);
        late.unanswered(1, &TEN, ms(0));
        let first = BlockSpec { count: 1, ..TEN };
        assert_eq!(late.next(1, &TEN, ms(100)), Next::First(first));
        late.unanswered(1, &first, ms(100));
        assert_eq!(late.next(1, &TEN, ms(200)), Next::First(BlockSpec { count: 2, ..TEN }));
        assert_eq!(late.next(2, &TEN, ms(200)), Next::Ask, "another unit");
        assert_eq!(late.next(1, &BlockSpec { function: 4, ..TEN }, ms(200)), Next::Ask, "another function");
        late.answered(1);
        assert_eq!(late.next(1, &TEN, ms(300)), Next::Ask);
    }

    #[test]
    fn a_unit_with_nothing_else_to_ask_for_is_left_alone_for_a_while() {
        let mut late = Late::default();
        let one = BlockSpec { count: 1, ..TEN };
        late.unanswered(1, &one, ms(0));
        assert_eq!(late.next(1, &one, ms(899)), Next::Wait);
        assert_eq!(late.next(1, &one, ms(900)), Next::First(one), "twice");
        let bits = BlockSpec { function: 2, address: 0, count: 8 };
        late.unanswered(1, &bits, ms(900));
        assert_eq!(late.next(1, &bits, ms(950)), Next::Wait, "one byte, however many of its bits");
        let more = BlockSpec { count: 9, ..bits };
        late.unanswered(1, &more, ms(900));
        assert_eq!(late.next(1, &more, ms(950)), Next::Wait, "one byte and two are both awaited");
        assert_eq!(late.next(1, &TEN, ms(20_000)), Next::Ask, "nobody believes in those any more");
    }
}
