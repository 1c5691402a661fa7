//! From conditions to alarms: delays, and "seen".
//!
//! An alarm comes when its condition has held for the on-delay. It goes when the condition has been false for
//! the off-delay *and* somebody has seen it. Unknown is not normal: it neither raises nor clears, and it
//! interrupts the wait to clear. "Seen" clears nothing. One that is not latched goes without. A shelved alarm lives on
//! unheard; when its time is over it is called out as if nobody had seen it. So does one out of service until it is put
//! back. One that is suppressed by design is not called out while its condition holds ([`suppression`](super::suppression)).
//! The first of those that are open together is marked.

use super::catalogue;
use crate::engine::frame::{Alarm, Condition, Shelf, Suppressed};
use crate::engine::input::{AlarmKey, CarriedAlarm, CarriedShelf, OutOfService};
use crate::planted::{Bug, planted};
use crate::time::{EngineTime, SECOND_NS, WallTime};

/// What an alarm was last told. Apart from the states: all are looked through many times a second, most to find that
/// nothing has come of it.
#[derive(Debug, Clone, Copy)]
struct Told {
    key: AlarmKey,
    condition: Condition,
    /// It is neither open nor about to come: only "true" turns its state. False: nobody has looked.
    rests: bool,
}

#[derive(Debug, Clone, Copy)]
struct State {
    /// When the present run of "true" (before it is open) or of "false" (once it is) began.
    waiting_since: Option<EngineTime>,
    /// Since when it is open.
    open_since: Option<WallTime>,
    /// When it came in this segment; 0: before it.
    opened: EngineTime,
    seen: bool,
    /// It came while no other was open, prompts apart.
    first: bool,
}

/// All alarms of a bay. Bounded: one state per alarm and subject of the settings.
#[derive(Debug, Clone, Default)]
pub struct Board {
    /// In the order in which they were first asked for.
    told: Vec<Told>,
    /// In the same order.
    states: Vec<State>,
    /// Behind the one asked for last: conditions come in the same order each time.
    next: usize,
    /// Shelved ones. Bounded: one for each open alarm.
    shelves: Vec<Shelf>,
    /// Bounded: one for each alarm and subject.
    out: Vec<OutOfService>,
    /// Those whose condition holds and that are suppressed by design, by their keys. Bounded likewise.
    suppressed: Vec<Suppressed>,
}

/// Nothing open.
const QUIET: State = State { waiting_since: None, open_since: None, opened: EngineTime(0), seen: false, first: false };

/// Nothing known.
const fn untold(key: AlarmKey) -> Told {
    Told { key, condition: Condition::Unknown, rests: false }
}

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
    pub fn carried(alarms: &[CarriedAlarm], shelves: &[CarriedShelf], out: &[OutOfService]) -> Board {
        let state = |alarm: &CarriedAlarm| State {
            open_since: Some(alarm.since),
            seen: alarm.seen,
            first: alarm.first,
            ..QUIET
        };
        let shelf = |shelf: &CarriedShelf| Shelf { key: shelf.key, until: after(EngineTime(0), shelf.left_s) };
        Board {
            told: alarms.iter().map(|alarm| untold(alarm.key)).collect(),
            states: alarms.iter().map(state).collect(),
            next: 0,
            shelves: shelves.iter().map(shelf).collect(),
            out: out.to_vec(),
            suppressed: Vec::new(),
        }
    }

    /// How many alarms have been asked for.
    #[must_use]
    pub fn count(&self) -> usize {
        self.told.len()
    }

    /// Where an alarm lies; a quiet one is put there where there is none yet.
    fn place(&mut self, key: AlarmKey) -> usize {
        let (before, after) = self.told.split_at(self.next.min(self.told.len()));
        let ahead = after.iter().position(|told| told.key == key).map(|i| before.len() + i);
        let found = ahead.or_else(|| before.iter().position(|told| told.key == key));
        let place = found.unwrap_or_else(|| {
            self.told.push(untold(key));
            self.states.push(QUIET);
            self.told.len() - 1
        });
        self.next = place + 1;
        place
    }

    /// Whether an alarm's condition holds and it is suppressed by design (None: not), from now on; says whether that is new.
    pub fn suppress(&mut self, key: AlarmKey, suppressed: Option<Suppressed>) -> bool {
        let place = self.suppressed.binary_search_by_key(&key, |s| s.key);
        match (place, suppressed) {
            (Err(_), None) => return false,
            (Ok(place), None) => drop(self.suppressed.remove(place)),
            (Err(place), Some(suppressed)) => self.suppressed.insert(place, suppressed),
            (Ok(place), Some(suppressed)) => {
                return std::mem::replace(&mut self.suppressed[place], suppressed) != suppressed;
            }
        }
        true
    }

    /// Those that are suppressed by design.
    #[must_use]
    pub fn suppressed(&self) -> &[Suppressed] {
        &self.suppressed
    }

    fn all(&self) -> impl Iterator<Item = (Told, &State)> {
        self.told.iter().copied().zip(&self.states)
    }

    /// Where an alarm lies that was asked for before.
    fn find(&self, key: AlarmKey) -> Option<usize> {
        self.told.iter().position(|told| told.key == key)
    }

    /// Its state.
    fn known(&mut self, key: AlarmKey) -> Option<&mut State> {
        let place = self.find(key)?;
        self.states.get_mut(place)
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
        let place = self.place(key);
        let told = &mut self.told[place];
        let turned = std::mem::replace(&mut told.condition, condition) != condition;
        if told.rests && condition != Condition::True {
            return false;
        }
        let came_or_went = self.run(place, turned, at, wall, delays);
        let state = &self.states[place];
        self.told[place].rests = state.open_since.is_none() && state.waiting_since.is_none();
        came_or_went
    }

    /// Lets the machine of one alarm run.
    fn run(&mut self, place: usize, turned: bool, at: EngineTime, wall: WallTime, delays: Delays) -> bool {
        let (Told { key, condition, .. }, state) = (self.told[place], &mut self.states[place]);
        if condition == Condition::Unknown && state.open_since.is_some() && planted(Bug::UnknownClears) {
            *state = QUIET;
            return true;
        }
        let awaited = if state.open_since.is_some() { Condition::False } else { Condition::True };
        if condition != awaited {
            state.waiting_since = None;
            // An open alarm whose condition turns shows that at once.
            return turned && state.open_since.is_some();
        }
        let line = catalogue::of(key.id);
        let since = *state.waiting_since.get_or_insert(at);
        let waited_s = at.since_s(since);
        if state.open_since.is_none() {
            let on_s = if line.delayed && !planted(Bug::NoOnDelay) { delays.on_s } else { 0.0 };
            if waited_s < on_s {
                return false;
            }
            let first = !line.prompt && !self.any_before(key, at);
            self.states[place] = State { open_since: Some(wall), opened: at, first, ..QUIET };
            return true;
        }
        if (state.seen || !line.latched) && waited_s >= delays.off_s {
            *state = QUIET;
            return true;
        }
        turned
    }

    /// Whether another alarm that is called out came earlier and is open still.
    fn any_before(&self, key: AlarmKey, at: EngineTime) -> bool {
        let is_called = |k: AlarmKey| k != key && !catalogue::of(k.id).prompt && !self.is_set_aside(k);
        self.all().any(|(told, s)| s.open_since.is_some() && s.opened < at && is_called(told.key))
    }

    /// Somebody has seen it; false when no such alarm is open.
    pub fn see(&mut self, key: AlarmKey) -> bool {
        let open = self.known(key).filter(|state| state.open_since.is_some());
        open.map(|state| {
            state.seen = true;
            if planted(Bug::SeenClears) {
                *state = QUIET;
            }
        })
        .is_some()
    }

    /// Shelves an alarm for a time; one that is shelved already gets the new end.
    pub fn shelve(&mut self, key: AlarmKey, at: EngineTime, for_s: f64) {
        self.shelves.retain(|shelf| shelf.key != key);
        self.shelves.push(Shelf { key, until: after(at, for_s) });
    }

    /// Takes a shelved alarm back: if it is still open nobody has seen it.
    pub fn unshelve(&mut self, key: AlarmKey) {
        self.shelves.retain(|shelf| shelf.key != key);
        if let Some(state) = self.known(key) {
            state.seen = false;
        }
    }

    /// Takes an alarm out of service; one that is out already gets the new reason.
    pub fn take_out(&mut self, out: OutOfService) {
        self.out.retain(|o| o.key != out.key);
        self.out.push(out);
    }

    /// Puts an alarm back in service: if it is open nobody has seen it.
    pub fn put_back(&mut self, key: AlarmKey) {
        self.out.retain(|o| o.key != key);
        if let Some(state) = self.known(key) {
            state.seen = false;
        }
    }

    /// Whether an alarm is out of service.
    #[must_use]
    pub fn is_out(&self, key: AlarmKey) -> bool {
        self.out.iter().any(|o| o.key == key)
    }

    /// Alarms out of service.
    #[must_use]
    pub fn out_of_service(&self) -> &[OutOfService] {
        &self.out
    }

    fn is_set_aside(&self, key: AlarmKey) -> bool {
        self.is_shelved(key) || self.is_out(key)
    }

    /// Takes back what has been shelved long enough; true where there is any.
    pub fn expire(&mut self, at: EngineTime) -> bool {
        let over: Vec<AlarmKey> =
            self.shelves.iter().filter(|s| s.until <= at && !planted(Bug::ShelfWithoutEnd)).map(|s| s.key).collect();
        over.iter().for_each(|key| self.unshelve(*key));
        !over.is_empty()
    }

    /// Takes back what may not be shelved or out of service (any more).
    pub fn keep_aside(&mut self, may: impl Fn(AlarmKey) -> bool) {
        let barred: Vec<AlarmKey> = self.shelves.iter().map(|s| s.key).filter(|key| !may(*key)).collect();
        barred.iter().for_each(|key| self.unshelve(*key));
        let barred: Vec<AlarmKey> = self.out.iter().map(|o| o.key).filter(|key| !may(*key)).collect();
        barred.iter().for_each(|key| self.put_back(*key));
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
        self.find(key).is_some_and(|place| self.states[place].open_since.is_some())
    }

    /// Open alarms, the gravest first.
    #[must_use]
    pub fn frame(&self) -> Vec<Alarm> {
        let mut open: Vec<Alarm> = self
            .all()
            .filter(|(told, _)| !told.rests && !self.is_set_aside(told.key))
            .filter_map(|(Told { key, condition, .. }, state)| {
                let since = state.open_since?;
                let priority = catalogue::of(key.id).priority();
                let State { seen, first, .. } = *state;
                Some(Alarm { key, condition, seen, since, priority, first })
            })
            .collect();
        open.sort_by_key(|alarm| (alarm.priority, alarm.key));
        open
    }

    /// For the next segment.
    #[must_use]
    pub fn carry(&self) -> Vec<CarriedAlarm> {
        let carry = |(told, s): (Told, &State)| {
            s.open_since.map(|since| CarriedAlarm { key: told.key, since, seen: s.seen, first: s.first })
        };
        let mut carried: Vec<_> = self.all().filter_map(carry).collect();
        carried.sort_by_key(|alarm| alarm.key);
        carried
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::frame::SuppressedBy;
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
        let carried = Board::carried(&board.carry(), &board.carry_shelves(EngineTime(20 * SECOND_NS)), &[]);
        assert_eq!(carried.shelves(), [Shelf { key: DIRECT, until: EngineTime(40 * SECOND_NS) }]);
        assert!(board.expire(EngineTime(60 * SECOND_NS)) && !board.is_shelved(DIRECT));
        assert!(board.frame().iter().all(|alarm| !alarm.seen) && board.frame().len() == 1);
    }

    /// ANSI/ISA-18.2 as published: out of service is a manual state that lasts until a person ends it.
    #[test]
    fn one_out_of_service_is_unheard_until_it_is_put_back_and_then_unseen() {
        let mut board = run(DIRECT, &[(0, True)]);
        board.see(DIRECT);
        let out = OutOfService { key: DIRECT, who: "J. Doe".into(), since: WallTime(5), reason: "new gauge".into() };
        board.take_out(out.clone());
        assert!(board.frame().is_empty() && board.is_open(DIRECT) && !board.expire(EngineTime(u64::MAX)));
        let mut carried = Board::carried(&board.carry(), &[], board.out_of_service());
        assert_eq!(carried.out_of_service(), [out]);
        carried.put_back(DIRECT);
        assert!(carried.frame().iter().all(|alarm| !alarm.seen) && carried.frame().len() == 1);
    }

    /// The same: first-out tells which of several came first.
    #[test]
    fn the_first_of_those_that_are_open_together_is_marked() {
        let (second, prompt) = (DELAYED, AlarmKey { id: AlarmId::BeAtValve, subject: 0 });
        let mut board = run(prompt, &[(0, True)]);
        let mut take = |key, s: u64| board.take(key, True, EngineTime(s * SECOND_NS), WallTime(0), DELAYS);
        assert!(take(DIRECT, 1) && !take(second, 2) && take(second, 7));
        let first = |board: &Board| board.frame().iter().filter(|a| a.first).map(|a| a.key).collect::<Vec<_>>();
        assert_eq!(first(&board), [DIRECT], "a prompt is never the first, and not before it either");
        assert_eq!(first(&Board::carried(&board.carry(), &[], &[])), [DIRECT]);
        // The first has gone: what comes while the second is open is no first.
        board.see(DIRECT);
        for s in [8, 38] {
            board.take(DIRECT, False, EngineTime(s * SECOND_NS), WallTime(0), DELAYS);
        }
        assert!(!board.is_open(DIRECT) && first(&board).is_empty());
    }

    /// The same: designed suppression. Nothing that was called out is taken away unseen.
    #[test]
    fn one_suppressed_by_design_is_listed_once_and_leaves_the_list() {
        let mut board = Board::default();
        let by = |by| Some(Suppressed { key: DIRECT, by });
        assert!(!board.suppress(DIRECT, None));
        assert!(
            board.suppress(DIRECT, by(SuppressedBy::SiteFile)) && !board.suppress(DIRECT, by(SuppressedBy::SiteFile))
        );
        assert!(board.suppress(DIRECT, by(SuppressedBy::GasInLine)), "for another reason");
        assert!(board.suppress(DELAYED, Some(Suppressed { key: DELAYED, by: SuppressedBy::SiteFile })));
        assert_eq!(board.suppressed().iter().map(|s| s.key).collect::<Vec<_>>(), [DIRECT, DELAYED], "by their keys");
        assert!(board.suppress(DIRECT, None) && board.suppress(DELAYED, None) && board.suppressed().is_empty());
    }

    #[test]
    fn one_that_is_not_latched_goes_by_itself() {
        let prompt = AlarmKey { id: AlarmId::BeAtValve, subject: 0 };
        let open = |key, s| run(key, &[(0, True), (1, False), (s, False)]).is_open(key);
        assert!(open(prompt, 30) && !open(prompt, 31));
        assert!(open(DIRECT, 1000));
    }

    #[test]
    fn one_that_is_not_open_cannot_be_seen() {
        assert!(!Board::default().see(DIRECT));
        assert!(!run(DIRECT, &[(0, False)]).see(DIRECT));
    }
}
