//! A recording on the wire as time passes: it goes with a watch's own clock, can stand still with it, and makes people's
//! entries again.

use super::altered::number;
use super::recorded::Recorded;
use super::served::Served;
use crate::folder::hand_in;
use crate::wrong::GoesWrong;
use brimwatch::clock::engine_ns;
use brimwatch::engine::input::{Event, Input};
use brimwatch::page::feed::{BayFeed, Entry, What};
use brimwatch::time::{EngineTime, SECOND_NS};
use std::collections::VecDeque;
use std::future::Future;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::task::JoinHandle;
use tokio::time::{Instant, sleep, timeout};

/// Real time between two looks at the clock.
const LOOK: Duration = Duration::from_millis(2);
/// Real time that the first frame may take.
const FIRST_FRAME: Duration = Duration::from_secs(10);
/// Engine time that the watch goes on after the last input, s: its last tick is out.
const AFTER_S: f64 = 1.5;
/// See [`between`], s.
const ENTRY_MOVES_S: f64 = 0.5;
/// Behind the name of whoever made an entry that is made again.
const AGAIN: &str = " (recorded)";

/// A watch that a recording is played to.
pub trait Watch: Send + Sync + 'static {
    /// Engine time of the latest that it said. None: nothing yet.
    fn at(&self) -> Option<EngineTime>;

    /// Makes an entry.
    fn enter(&self, entry: Entry) -> impl Future<Output = Result<(), String>> + Send;
}

impl Watch for BayFeed {
    fn at(&self) -> Option<EngineTime> {
        self.latest.borrow().as_ref().map(|published| published.frame.at)
    }

    fn enter(&self, entry: Entry) -> impl Future<Output = Result<(), String>> + Send {
        hand_in(self, entry)
    }
}

/// Whose entries are made again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Entries {
    /// Everybody's, as they were.
    All,
    /// All but those about alarms: to see one is the trainee's. They bear the mark that they are recorded.
    ButOfAlarms,
}

/// Whether an entry was made again by a player that marks them.
#[must_use]
pub fn is_made_again(who: &str) -> bool {
    who.ends_with(AGAIN)
}

/// What has come of it so far.
#[derive(Debug)]
struct Playing {
    served: Served,
    /// When it is due, and which input.
    due: VecDeque<(EngineTime, usize)>,
    now: EngineTime,
    over: bool,
    refused: Vec<String>,
}

/// A task that plays, and the word to stop it.
#[derive(Debug)]
struct Going {
    halt: Arc<AtomicBool>,
    task: JoinHandle<Result<(), String>>,
}

/// A recording that is played.
#[derive(Debug)]
pub struct Player {
    recorded: Arc<Recorded>,
    entries: Entries,
    playing: Arc<Mutex<Playing>>,
    going: Option<Going>,
}

impl Player {
    /// Stands still at a moment of the recording; what every device held then stands on the wire before anybody asks.
    #[must_use]
    pub fn new(recorded: Arc<Recorded>, mut served: Served, (from, entries): (EngineTime, Entries)) -> Player {
        let inputs = recorded.inputs.iter().enumerate();
        let mut due: Vec<(EngineTime, usize)> =
            inputs.filter_map(|(nth, _)| Some((due(&served, &recorded.inputs, nth, (from, entries))?, nth))).collect();
        due.sort_by_key(|(at, _)| *at);
        let mut due = VecDeque::from(due);
        // At the recording's own beginning what each was first asked for; later what was last read, and nothing from
        // after, or a total would have run ahead.
        let longest_s = served.longest_period_s();
        let held = if from == EngineTime(0) { from.plus_s(longest_s) } else { from };
        while let Some((at, nth)) = due.front().copied()
            && at <= held
            && !is_entry(&recorded.inputs[nth])
        {
            served.put(&recorded.inputs[nth]);
            due.pop_front();
        }
        let playing = Playing { served, due, now: from, over: false, refused: Vec::new() };
        Player { recorded, entries, playing: Arc::new(Mutex::new(playing)), going: None }
    }

    /// What is played.
    #[must_use]
    pub fn recorded(&self) -> &Recorded {
        &self.recorded
    }

    /// How far it has come, by the recording's time.
    #[must_use]
    pub fn now(&self) -> EngineTime {
        lock(&self.playing).now
    }

    /// The watch said something at this time: it has come so far, though its own next look is still due.
    pub fn hear(&self, at: EngineTime) {
        let mut playing = lock(&self.playing);
        playing.now = playing.now.max(at);
    }

    /// Its end by the recording's time, s.
    #[must_use]
    pub fn ends_s(&self) -> f64 {
        self.recorded.ends().since_s(EngineTime(0))
    }

    /// Nothing more comes.
    #[must_use]
    pub fn is_over(&self) -> bool {
        lock(&self.playing).over
    }

    /// Entries that were not taken again, and why.
    #[must_use]
    pub fn refused(&self) -> Vec<String> {
        lock(&self.playing).refused.clone()
    }

    /// What was recorded of a signal, SI, by what stands on the wire now; None: nothing yet.
    #[must_use]
    pub fn was_si(&self, signal: u16) -> Option<f64> {
        let now = self.now();
        let until = self.recorded.inputs.partition_point(|input| input.at <= now);
        self.recorded.inputs[..until].iter().rev().find_map(|input| match &input.event {
            Event::Poll(poll) => number(poll.values.iter().find(|value| value.signal == signal)?.value),
            _ => None,
        })
    }

    /// Whether something of the kind can go wrong.
    ///
    /// # Errors
    /// Why not.
    pub fn can(&self, wrong: &GoesWrong) -> Result<(), String> {
        lock(&self.playing).served.altered().can(wrong.what).map(drop)
    }

    /// From now on something goes wrong too.
    ///
    /// # Errors
    /// As [`super::altered::Altered::add`].
    pub fn fault(&self, wrong: &GoesWrong) -> Result<(), String> {
        let mut playing = lock(&self.playing);
        let from = playing.now.plus_s(wrong.at_s.unwrap_or(0.0));
        playing.served.altered().add(wrong, from)
    }

    /// From now on nothing is wrong any more.
    pub fn mend(&self) {
        let mut playing = lock(&self.playing);
        let now = playing.now;
        playing.served.altered().mend(now);
    }

    /// Goes with this watch, at so many times real time.
    pub fn go(&mut self, watch: impl Watch, speed: f64) {
        let halt = Arc::new(AtomicBool::new(false));
        let (recorded, playing, halted) = (Arc::clone(&self.recorded), Arc::clone(&self.playing), Arc::clone(&halt));
        let entries = self.entries;
        let task = tokio::spawn(async move {
            let mut clock = Clock::of(&watch, speed).await?;
            while !halted.load(Ordering::Relaxed) {
                if let Some(at) = watch.at() {
                    clock.hear(at);
                }
                let Some(entry) = lock(&playing).to(clock.now(), &recorded) else {
                    if lock(&playing).over {
                        break;
                    }
                    sleep(LOOK).await;
                    continue;
                };
                if let Err(why) = watch.enter(entries.marked(&entry)).await {
                    lock(&playing).refused.push(format!("{:?}: {why}", entry.what));
                }
            }
            Ok(())
        });
        self.going = Some(Going { halt, task });
    }

    /// Waits until it is over.
    ///
    /// # Errors
    /// When the watch says nothing at all.
    pub async fn ended(&mut self) -> Result<(), String> {
        let Some(going) = &mut self.going else { return Ok(()) };
        let ended = (&mut going.task).await;
        self.going = None;
        ended.map_err(|e| format!("the recording's playing ended badly: {e}"))?
    }

    /// Stands still. To be called before its watch is stopped.
    ///
    /// # Errors
    /// As [`Player::ended`].
    pub async fn stand_still(&mut self) -> Result<(), String> {
        if let Some(going) = &self.going {
            going.halt.store(true, Ordering::Relaxed);
        }
        self.ended().await
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        if let Some(going) = &self.going {
            going.task.abort();
        }
    }
}

impl Playing {
    /// Puts on the wire what is due by now; gives the entry that comes next, if one does.
    fn to(&mut self, now: EngineTime, recorded: &Recorded) -> Option<Entry> {
        self.now = self.now.max(now);
        while let Some((_, nth)) = self.due.front().filter(|(at, _)| *at <= now).copied() {
            self.due.pop_front();
            match &recorded.inputs[nth] {
                Input { event: Event::Entry(entry), .. } => return Some(entry.clone()),
                other => self.served.put(other),
            }
        }
        self.over = self.due.is_empty() && now >= recorded.ends().plus_s(AFTER_S);
        None
    }
}

impl Entries {
    fn has(self, what: &What) -> bool {
        match what {
            // The live loop enters it by itself.
            What::DeliveryOpened(_) => false,
            What::Seen(_) | What::Shelved { .. } | What::Unshelved(_) => self == Entries::All,
            _ => true,
        }
    }

    fn marked(self, entry: &Entry) -> Entry {
        match self {
            Entries::All => entry.clone(),
            Entries::ButOfAlarms => Entry { who: format!("{}{AGAIN}", entry.who), ..entry.clone() },
        }
    }
}

fn is_entry(input: &Input) -> bool {
    matches!(input.event, Event::Entry(_))
}

/// When an input is played; None: it is not, or it lies before.
fn due(served: &Served, inputs: &[Input], nth: usize, (from, entries): (EngineTime, Entries)) -> Option<EngineTime> {
    let input = &inputs[nth];
    match &input.event {
        Event::Entry(entry) => {
            let plays = entries.has(&entry.what) && (input.at > from || from == EngineTime(0));
            plays.then(|| between(inputs, nth).max(from))
        }
        _ => {
            let at = served.from(input)?;
            // The latest before is what stands on the wire at the beginning.
            (input.at.0 + 10 * SECOND_NS >= from.0).then_some(at)
        }
    }
}

/// An entry is made again in the middle between what was heard before and after it, at most [`ENTRY_MOVES_S`] from its own
/// time. Right beside an answer or a tick a machine that is a little late would carry it over: other readings would be the
/// start's, and each block of ticks would begin a second later.
fn between(inputs: &[Input], nth: usize) -> EngineTime {
    let heard = |input: &&Input| matches!(input.event, Event::Poll(_) | Event::Missed(_) | Event::Tick);
    let own = inputs[nth].at;
    let before = inputs[..nth].iter().rev().find(heard).map_or(own, |input| input.at);
    let after = inputs[nth..].iter().find(heard).map_or(own, |input| input.at);
    before.midpoint(after).max(own.plus_s(-ENTRY_MOVES_S)).min(own.plus_s(ENTRY_MOVES_S))
}

fn lock(playing: &Mutex<Playing>) -> MutexGuard<'_, Playing> {
    playing.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The watch's clock as far as its frames tell.
struct Clock {
    at: EngineTime,
    seen: Instant,
    speed: f64,
}

impl Clock {
    async fn of(watch: &impl Watch, speed: f64) -> Result<Clock, String> {
        let first = async {
            loop {
                match watch.at() {
                    Some(at) => break at,
                    None => sleep(LOOK).await,
                }
            }
        };
        let at = timeout(FIRST_FRAME, first).await.map_err(|_| "brimwatch published nothing")?;
        Ok(Clock { at, seen: Instant::now(), speed })
    }

    fn now(&self) -> EngineTime {
        let ns = u64::try_from(self.seen.elapsed().as_nanos()).unwrap_or(u64::MAX);
        EngineTime(self.at.0 + engine_ns(ns, self.speed))
    }

    /// A frame is never from later than now.
    fn hear(&mut self, at: EngineTime) {
        if at > self.now() {
            (self.at, self.seen) = (at, Instant::now());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use brimwatch::engine::input::{Poll, What};

    /// Expected by hand: polls at whole seconds, ticks a tenth later.
    #[test]
    fn an_entry_is_made_again_amid_what_was_heard() {
        let at = |s: f64| EngineTime(0).plus_s(s);
        let input = |s: f64, event| Input { at: at(s), event };
        let poll = |s: f64| input(s, Event::Poll(Poll::at_once(0, at(s), [])));
        let entry =
            |s: f64| input(s, Event::Entry(Entry { who: "attendant".into(), leg: 1, what: What::TransferStarted }));
        let inputs = [poll(1.0), input(1.1, Event::Tick), entry(1.98), poll(2.0), entry(2.02), input(2.1, Event::Tick)];
        assert!((between(&inputs, 2).since_s(at(0.0)) - 1.55).abs() < 1e-9);
        assert!((between(&inputs, 4).since_s(at(0.0)) - 2.05).abs() < 1e-9);
        let long = [poll(1.0), entry(1.2), poll(9.0)];
        assert!((between(&long, 1).since_s(at(0.0)) - 1.7).abs() < 1e-9, "no further than half a second");
        assert_eq!(between(&inputs[2..3], 0), at(1.98));
    }
}
