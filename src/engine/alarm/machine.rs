//! From conditions to alarms: delays, and "seen".
//!
//! An alarm comes when its condition has held for the on-delay. It goes when the condition has been false for
//! the off-delay *and* somebody has seen it. Unknown is not normal: it neither raises nor clears, and it
//! interrupts the wait to clear. "Seen" clears nothing. A shelved alarm lives on unheard; when its time is over it
//! is called out as if nobody had seen it.

use super::catalogue;
use crate::engine::frame::{Alarm, Condition, Shelf};
use crate::engine::input::{AlarmKey, CarriedAlarm, CarriedShelf};
use crate::time::{EngineTime, SECOND_NS, WallTime};

#[derive(Debug, Clone, Copy)]
struct State {
    condition: Condition,
    /// When the present run of "true" (before it is open) or of "false" (once it is) began.
    waiting_since: Option<EngineTime>,
    /// Since when it is open.
    open_since: Option<WallTime>,
    seen: bool,
}

/// All alarms of a bay. Bounded: one state per alarm and subject of the settings.
#[derive(Debug, Clone, Default)]
pub struct Board {
    /// In the order in which they were first asked for.
    states: Vec<(AlarmKey, State)>,
    /// Behind the one asked for last: conditions come in the same order each time.
    next: usize,
    /// Shelved ones. Bounded: one for each open alarm.
    shelves: Vec<Shelf>,
}

/// Nothing known, nothing open.
const QUIET: State = State { condition: Condition::Unknown, waiting_since: None, open_since: None, seen: false };

/// A moment so much later; a time that is none or below nothing is over at once.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded: a shelf ends within a shift")]
fn after(at: EngineTime, s: f64) -> EngineTime {
    EngineTime(at.0.saturating_add((s.clamp(0.0, SHELF_MAX_S) * SECOND_NS as f64) as u64))
}

/// The longest time that an alarm may be shelved, s: one shift, so that whoever comes next hears it.
pub const SHELF_MAX_S: f64 = 8.0 * 3600.0;

/// Delays, s.
#[derive(Debug, Clone, Copy)]
pub struct Delays {
    /// Condition true to alarm.
    pub on_s: f64,
    /// Condition false to no alarm.
    pub off_s: f64,
}

impl Board {
    /// With the alarms that were open when the last segment ended.
    #[must_use]
    pub fn carried(alarms: &[CarriedAlarm], shelves: &[CarriedShelf]) -> Board {
        let state = |alarm: &CarriedAlarm| State {
            condition: Condition::Unknown,
            waiting_since: None,
            open_since: Some(alarm.since),
            seen: alarm.seen,
        };
        let shelf = |shelf: &CarriedShelf| Shelf { key: shelf.key, until: after(EngineTime(0), shelf.left_s) };
        Board {
            states: alarms.iter().map(|alarm| (alarm.key, state(alarm))).collect(),
            next: 0,
            shelves: shelves.iter().map(shelf).collect(),
        }
    }

    /// The state of an alarm, a quiet one where there is none yet.
    fn state(&mut self, key: AlarmKey) -> &mut State {
        let (before, after) = self.states.split_at(self.next.min(self.states.len()));
        let ahead = after.iter().position(|(k, _)| *k == key).map(|i| before.len() + i);
        let place = ahead.or_else(|| before.iter().position(|(k, _)| *k == key)).unwrap_or(self.states.len());
        if place == self.states.len() {
            self.states.push((key, QUIET));
        }
        self.next = place + 1;
        &mut self.states[place].1
    }

    /// Takes a condition's answer; says whether the alarm came or went.
    pub fn take(
        &mut self,
        key: AlarmKey,
        condition: Condition,
        at: EngineTime,
        wall: WallTime,
        delays: Delays,
    ) -> bool {
        let state = self.state(key);
        let turned = state.condition != condition;
        state.condition = condition;
        let awaited = if state.open_since.is_some() { Condition::False } else { Condition::True };
        if condition != awaited {
            state.waiting_since = None;
            // An open alarm whose condition turns shows that at once.
            return turned && state.open_since.is_some();
        }
        let since = *state.waiting_since.get_or_insert(at);
        let waited_s = at.since_s(since);
        if state.open_since.is_none() {
            let on_s = if catalogue::of(key.id).delayed { delays.on_s } else { 0.0 };
            if waited_s < on_s {
                return false;
            }
            *state = State { condition, waiting_since: None, open_since: Some(wall), seen: false };
            return true;
        }
        if state.seen && waited_s >= delays.off_s {
            *state = State { condition, ..QUIET };
            return true;
        }
        turned
    }

    /// Somebody has seen it; false when no such alarm is open.
    pub fn see(&mut self, key: AlarmKey) -> bool {
        let open = self.states.iter_mut().find(|(k, state)| *k == key && state.open_since.is_some());
        open.map(|(_, state)| state.seen = true).is_some()
    }

    /// Shelves an alarm for a time; one that is shelved already gets the new end.
    pub fn shelve(&mut self, key: AlarmKey, at: EngineTime, for_s: f64) {
        self.shelves.retain(|shelf| shelf.key != key);
        self.shelves.push(Shelf { key, until: after(at, for_s) });
    }

    /// Takes a shelved alarm back: if it is still open nobody has seen it.
    pub fn unshelve(&mut self, key: AlarmKey) {
        self.shelves.retain(|shelf| shelf.key != key);
        if let Some((_, state)) = self.states.iter_mut().find(|(k, _)| *k == key) {
            state.seen = false;
        }
    }

    /// Takes back what has been shelved long enough; true where there is any.
    pub fn expire(&mut self, at: EngineTime) -> bool {
        let over: Vec<AlarmKey> = self.shelves.iter().filter(|s| s.until <= at).map(|s| s.key).collect();
        over.iter().for_each(|key| self.unshelve(*key));
        !over.is_empty()
    }

    /// Takes back what may not be shelved (any more).
    pub fn keep_shelves(&mut self, may: impl Fn(AlarmKey) -> bool) {
        let barred: Vec<AlarmKey> = self.shelves.iter().map(|s| s.key).filter(|key| !may(*key)).collect();
        barred.iter().for_each(|key| self.unshelve(*key));
    }

    /// Whether an alarm is shelved.
    #[must_use]
    pub fn is_shelved(&self, key: AlarmKey) -> bool {
        self.shelves.iter().any(|shelf| shelf.key == key)
    }

    /// Shelved alarms.
    #[must_use]
    pub fn shelves(&self) -> &[Shelf] {
        &self.shelves
    }

    /// Shelved alarms for the next segment.
    #[must_use]
    pub fn carry_shelves(&self, at: EngineTime) -> Vec<CarriedShelf> {
        let left = |shelf: &Shelf| CarriedShelf { key: shelf.key, left_s: shelf.until.since_s(at) };
        self.shelves.iter().map(left).collect()
    }

    /// Whether an alarm is open.
    #[must_use]
    pub fn is_open(&self, key: AlarmKey) -> bool {
        self.states.iter().any(|(k, state)| *k == key && state.open_since.is_some())
    }

    /// Open alarms, the gravest first.
    #[must_use]
    pub fn frame(&self) -> Vec<Alarm> {
        let mut open: Vec<Alarm> = self
            .states
            .iter()
            .filter(|(key, _)| !self.is_shelved(*key))
            .filter_map(|&(key, ref state)| {
                let since = state.open_since?;
                let priority = catalogue::of(key.id).priority();
                Some(Alarm { key, condition: state.condition, seen: state.seen, since, priority })
            })
            .collect();
        open.sort_by_key(|alarm| (alarm.priority, alarm.key));
        open
    }

    /// For the next segment.
    #[must_use]
    pub fn carry(&self) -> Vec<CarriedAlarm> {
        let open = self.states.iter().filter_map(|(key, s)| s.open_since.map(|since| (*key, since, s.seen)));
        let mut carried: Vec<_> = open.map(|(key, since, seen)| CarriedAlarm { key, since, seen }).collect();
        carried.sort_by_key(|alarm| alarm.key);
        carried
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::input::AlarmId;
    use crate::time::SECOND_NS;
    use Condition::{False, True, Unknown};

    const DELAYS: Delays = Delays { on_s: 5.0, off_s: 30.0 };
    const DELAYED: AlarmKey = AlarmKey { id: AlarmId::WitnessesDisagree, subject: 0 };
    const DIRECT: AlarmKey = AlarmKey { id: AlarmId::LevelHighHigh, subject: 0 };

    fn run(key: AlarmKey, steps: &[(u64, Condition)]) -> Board {
        let mut board = Board::default();
        for (s, condition) in steps {
            board.take(key, *condition, EngineTime(s * SECOND_NS), WallTime(0), DELAYS);
        }
        board
    }

    #[test]
    fn a_delayed_alarm_waits_and_a_direct_one_does_not() {
        assert!(!run(DELAYED, &[(0, True), (4, True)]).is_open(DELAYED));
        assert!(run(DELAYED, &[(0, True), (5, True)]).is_open(DELAYED));
        assert!(!run(DELAYED, &[(0, True), (4, False), (5, True)]).is_open(DELAYED));
        assert!(run(DIRECT, &[(0, True)]).is_open(DIRECT));
    }

    /// ANSI/ISA-18.2 as published: acknowledging clears nothing; returned to normal but unseen persists.
    #[test]
    fn seen_clears_nothing_and_unseen_persists() {
        let mut board = run(DIRECT, &[(0, True)]);
        assert!(board.see(DIRECT) && board.is_open(DIRECT));
        assert!(run(DIRECT, &[(0, True), (1, False), (100, False)]).is_open(DIRECT));
    }

    #[test]
    fn it_goes_when_false_long_enough_and_seen() {
        let mut board = run(DIRECT, &[(0, True), (1, False)]);
        board.see(DIRECT);
        board.take(DIRECT, False, EngineTime(30 * SECOND_NS), WallTime(0), DELAYS);
        assert!(board.is_open(DIRECT));
        board.take(DIRECT, False, EngineTime(31 * SECOND_NS), WallTime(0), DELAYS);
        assert!(!board.is_open(DIRECT));
    }

    #[test]
    fn unknown_neither_raises_nor_clears() {
        assert!(!run(DIRECT, &[(0, Unknown), (100, Unknown)]).is_open(DIRECT));
        let mut board = run(DIRECT, &[(0, True), (1, False), (20, Unknown), (25, False)]);
        board.see(DIRECT);
        board.take(DIRECT, False, EngineTime(40 * SECOND_NS), WallTime(0), DELAYS);
        assert!(board.is_open(DIRECT), "the wait to clear began anew at 25 s");
        board.take(DIRECT, Unknown, EngineTime(400 * SECOND_NS), WallTime(0), DELAYS);
        assert!(board.is_open(DIRECT));
    }

    #[test]
    fn a_shelved_one_is_unheard_until_its_time_is_over_and_then_unseen() {
        let mut board = run(DIRECT, &[(0, True)]);
        board.see(DIRECT);
        board.shelve(DIRECT, EngineTime(0), 60.0);
        assert!(board.frame().is_empty() && board.is_open(DIRECT));
        assert!(!board.expire(EngineTime(59 * SECOND_NS)) && board.is_shelved(DIRECT));
        let carried = Board::carried(&board.carry(), &board.carry_shelves(EngineTime(20 * SECOND_NS)));
        assert_eq!(carried.shelves(), [Shelf { key: DIRECT, until: EngineTime(40 * SECOND_NS) }]);
        assert!(board.expire(EngineTime(60 * SECOND_NS)) && !board.is_shelved(DIRECT));
        assert!(board.frame().iter().all(|alarm| !alarm.seen) && board.frame().len() == 1);
    }

    #[test]
    fn one_that_is_not_open_cannot_be_seen() {
        assert!(!Board::default().see(DIRECT));
        assert!(!run(DIRECT, &[(0, False)]).see(DIRECT));
    }
}
