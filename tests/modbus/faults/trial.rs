//! One case on one way: a poller of ours against a server, good, at fault and good again, and what came of it.

use super::frame::{self, Ask};
use super::server::{Kind, Script, Server, State, Target};
use brimwatch::clock::MachineTime;
use brimwatch::engine::input::{Measured, MissReason};
use brimwatch::poll::blocks::Manners;
use brimwatch::poll::device::{Answer, Reader, Round, Spec};
use brimwatch::poll::link::{LinkSpec, run};
use brimwatch::poll::registers::{DataType, Place, Register, WordOrder};
use brimwatch::poll::stats::Stats;
use std::collections::BTreeSet;
use std::fmt;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::{Instant, sleep, timeout_at};

/// Good polls before the fault, and after it.
const GOOD: usize = 4;
/// A device that is not back by then is not coming back.
const PATIENCE: Duration = Duration::from_secs(4);

/// Registers side by side: function, first address, how many. The addresses differ in their lowest four bits.
pub type Block = (u8, u16, u16);
/// Ten holding registers, the main block ...
pub const TEN: Block = (3, 96, 10);
/// ... and two input registers elsewhere, asked after it.
pub const TWO: Block = (4, 298, 2);

/// What is polled.
#[derive(Debug, Clone, Copy)]
pub struct Setup {
    pub units: &'static [u8],
    pub blocks: &'static [Block],
    pub period_s: f64,
    pub time_out_s: f64,
}

/// One unit, two blocks, ten times a second.
pub const USUAL: Setup = Setup { units: &[1], blocks: &[TEN, TWO], period_s: 0.1, time_out_s: 0.05 };
/// The same at leisure, for answers that take their time.
pub const SLOW: Setup = Setup { period_s: 0.3, time_out_s: 0.25, ..USUAL };

/// What is done to the device.
#[derive(Clone)]
pub enum Mischief {
    /// A script, once.
    Once(Script),
    /// A script, for so many ms.
    For(u64, Script),
    /// No answer for so long; then the one to the first of those requests, behind the next.
    Behind(u64),
    /// For so long nothing listens (or the serial port is gone).
    Absent(u64),
    /// For so long attempts to connect hang.
    Jam(u64),
}

/// What must come of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rule {
    /// At most one poll is lost after the fault has ended.
    OnePoll,
    /// The device is back within 1 s and one period.
    Second,
    /// The answer is good as it is: nothing is lost.
    Accepted,
    /// The exception is handed on, for its own registers alone; the connection stays.
    Exception(u8),
    /// The gateway did not reach the unit: handed on for all that would have been asked after it too.
    Gateway(u8),
    /// This unit is out, and no other loses more than one poll.
    Others,
}

/// A row of the table before it is filled in.
#[derive(Clone)]
pub struct Case {
    pub name: String,
    pub kind: Kind,
    pub setup: Setup,
    pub target: Target,
    pub mischief: Mischief,
    pub rule: Rule,
    /// A poll is missed for one of these; empty: that none is missed is as good.
    pub reasons: Vec<MissReason>,
}

/// A row of the table.
#[derive(Debug, Clone, Default)]
pub struct Row {
    pub name: String,
    pub way: &'static str,
    pub polls: usize,
    pub wrong: usize,
    pub lost: usize,
    /// Of rounds that were due after the fault had ended.
    pub lost_after: usize,
    /// From the fault's end to the next good answer.
    pub back_ms: Option<u128>,
    pub reasons: BTreeSet<String>,
    /// Longest time that a round took past its deadline.
    pub past_ms: u128,
    /// Requests by function; 5 stands for all that are no reads.
    pub functions: [usize; 6],
    /// What does not hold.
    pub failures: Vec<String>,
}

/// Answers as they come, and the task that they come from.
pub struct Poller {
    pub setup: Setup,
    pub answers: Vec<Answer>,
    channel: mpsc::Receiver<Answer>,
    task: tokio::task::JoinHandle<()>,
}

fn place((function, address): (u8, u16)) -> Place {
    let data = if function <= 2 { DataType::Bool } else { DataType::U16 };
    Register::plain(function, address, data, WordOrder::Abcd).into()
}

/// Function and address of every signal.
fn signals(setup: &Setup) -> Vec<(u8, u16)> {
    setup
        .blocks
        .iter()
        .flat_map(|&(function, first, count)| (first..first + count).map(move |a| (function, a)))
        .collect()
}

impl Poller {
    pub fn start(server: &Server, setup: Setup, speed: f64) -> Poller {
        let (bay, channel) = mpsc::channel(100_000);
        let signals: Vec<_> = (0..).zip(signals(&setup).into_iter().map(place)).collect();
        let device = |(device, unit): (u16, &u8)| Spec {
            name: format!("unit {unit}"),
            unit: *unit,
            period_s: setup.period_s,
            time_out_s: setup.time_out_s,
            manners: Manners::default(),
            heartbeat: None,
            readers: vec![Reader { device, signals: signals.clone(), bay: bay.clone() }],
            stats: Arc::new(Stats::new()),
        };
        let link = LinkSpec {
            name: "under test".into(),
            number: 0,
            way: server.way(),
            connect_time_out_s: 0.2,
            pause_s: 0.0,
            speed,
            devices: (0..).zip(setup.units).map(device).collect(),
        };
        Poller { setup, answers: Vec::new(), channel, task: tokio::spawn(run(link)) }
    }

    /// Until every unit but `out` has given so many good answers to rounds due after `since`; false if they do not.
    pub async fn good(&mut self, count: usize, since: MachineTime, out: Option<u8>) -> bool {
        let end = Instant::now() + PATIENCE;
        loop {
            let good = |device: usize| self.answers_of(device).filter(|a| a.due > since && is_whole(a)).count();
            let mut units = (0..).zip(self.setup.units);
            if units.all(|(device, unit)| Some(*unit) == out || good(device) >= count) {
                return true;
            }
            match timeout_at(end, self.channel.recv()).await {
                Ok(Some(answer)) => self.answers.push(answer),
                _ => return false,
            }
        }
    }

    /// The figures of a row.
    pub fn figures(&self, name: &str, way: &'static str, state: &State, ended: Option<MachineTime>) -> Row {
        let missed = || self.answers.iter().filter(|answer| answer.outcome.is_err());
        let back = |ended: MachineTime| {
            let good = self.answers.iter().find(|answer| answer.replied > ended && is_whole(answer))?;
            Some(good.replied.since(ended).as_millis())
        };
        Row {
            name: name.to_owned(),
            way,
            polls: self.answers.len(),
            wrong: self.wrong_values(state),
            lost: missed().count(),
            lost_after: missed().filter(|answer| ended.is_some_and(|ended| answer.due > ended)).count(),
            back_ms: ended.and_then(back),
            reasons: missed().filter_map(|a| a.outcome.as_ref().err()).map(|r| format!("{r:?}")).collect(),
            past_ms: self.past_deadline().as_millis(),
            functions: functions(state, &self.setup),
            failures: Vec::new(),
        }
    }

    /// Whatever has come.
    pub fn take_in(&mut self) {
        while let Ok(answer) = self.channel.try_recv() {
            self.answers.push(answer);
        }
    }

    /// Whatever has come, and does not matter.
    pub fn forget(&mut self) {
        while self.channel.try_recv().is_ok() {}
    }

    pub fn answers_of(&self, device: usize) -> impl Iterator<Item = &Answer> {
        self.answers.iter().filter(move |answer| usize::from(answer.device) == device)
    }

    /// The count that must be 0: usable values that are not what the device gave in answer to this very round.
    pub fn wrong_values(&self, state: &State) -> usize {
        let places = signals(&self.setup);
        let wrong_in = |answer: &Answer| {
            let Ok(round) = &answer.outcome else { return 0 };
            let unit = self.setup.units[usize::from(answer.device)];
            let is_wrong = |(signal, measured): (u16, Measured)| {
                let (function, address) = places[usize::from(signal)];
                let asked = |ask: &&Ask| {
                    (ask.unit, ask.function) == (unit, function)
                        && (ask.address..ask.address + ask.count).contains(&address)
                        && (answer.requested..=answer.replied).contains(&ask.at)
                };
                let number = state.asks.iter().rev().find(asked).map(|ask| ask.number);
                match measured {
                    Measured::Number(got) => number.is_none_or(|n| got != f64::from(frame::word(n, address))),
                    Measured::Flag(got) => number.is_none_or(|n| got != frame::bit(n, address)),
                    _ => false,
                }
            };
            round.values.iter().filter(|v| is_wrong((v.signal, v.value))).count()
        };
        self.answers.iter().map(wrong_in).sum()
    }

    /// Longest time that a round went on past its deadline. Of several devices on a link one waits for the others
    /// first: there it counts from the round's first request.
    fn past_deadline(&self) -> Duration {
        let began = |answer: &Answer| if self.setup.units.len() == 1 { answer.due } else { answer.requested };
        let past = |answer: &Answer| {
            answer.replied.since(began(answer)).saturating_sub(Duration::from_secs_f64(self.setup.time_out_s))
        };
        self.answers.iter().map(past).max().unwrap_or_default()
    }
}

impl Drop for Poller {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// Every value of it is usable.
pub fn is_whole(answer: &Answer) -> bool {
    let usable = |round: &Round| {
        !round.values.is_empty()
            && round.values.iter().all(|v| matches!(v.value, Measured::Number(_) | Measured::Flag(_)))
    };
    answer.outcome.as_ref().is_ok_and(usable)
}

impl Case {
    /// Good polls, the fault, good polls again.
    pub async fn run(self) -> Row {
        let script: Script = match &self.mischief {
            Mischief::Once(script) | Mischief::For(_, script) => Arc::clone(script),
            Mischief::Behind(_) | Mischief::Absent(_) | Mischief::Jam(_) => Arc::new(|_| Vec::new()),
        };
        let mut server = Server::start(self.kind, self.target, script).await;
        let mut poller = Poller::start(&server, self.setup, 1.0);
        let well_before = poller.good(GOOD, MachineTime(0), None).await;
        let began = MachineTime::now();
        let ended = self.mischief.happen(&mut server, self.target).await;
        let well_after = match ended {
            Some(ended) => poller.good(GOOD, ended, None).await,
            None => false,
        };
        poller.take_in();
        let mut row = poller.figures(&self.name, self.kind.name(), &server.state(), ended);
        let mut hold = |holds: bool, what: &str| {
            if !holds {
                row.failures.push(what.to_owned());
            }
        };
        hold(well_before, "not well before the fault");
        hold(ended.is_some(), "the fault never happened, or never ended");
        hold(well_after, "not well after the fault");
        self.judge(&poller, (began, ended.unwrap_or(began)), &mut row);
        row
    }

    fn judge(&self, poller: &Poller, (began, ended): (MachineTime, MachineTime), row: &mut Row) {
        row.judge_always();
        let mut fail = |what: String| row.failures.push(what);
        let mut misses = poller.answers.iter().filter(|a| a.replied > began).filter_map(|a| a.outcome.as_ref().err());
        let seen = match self.mischief {
            Mischief::Once(_) => misses.next().is_some_and(|reason| self.reasons.contains(reason)),
            _ => misses.any(|reason| self.reasons.contains(reason)),
        };
        if !self.reasons.is_empty() && !seen {
            fail(format!("not missed for {:?}", self.reasons));
        }
        let during = || poller.answers.iter().filter(|a| a.replied > began);
        match self.rule {
            Rule::OnePoll if row.lost_after > 1 => fail(format!("{} polls lost after the fault", row.lost_after)),
            // The machine may be loaded: a quarter of a second is not counted.
            Rule::Second if row.back_ms.is_none_or(|ms| ms > 1350) => fail("back too late".into()),
            Rule::Accepted if row.lost > 0 => fail("a good answer was not taken".into()),
            Rule::Exception(code) | Rule::Gateway(code) => {
                let said = during().filter_map(|a| a.outcome.as_ref().ok()).any(|round| self.signals_say(round, code));
                if !said {
                    fail(format!("exception {code} not handed on, or not for its registers alone"));
                }
                let connections: BTreeSet<u32> = poller.answers.iter().map(|answer| answer.connections).collect();
                if connections.len() > 1 || row.lost > 0 {
                    fail("the connection was not kept".into());
                }
            }
            Rule::Others => {
                for (device, unit) in (0..).zip(self.setup.units).filter(|(_, unit)| **unit != self.target.unit) {
                    let lost = poller.answers_of(device).filter(|a| !is_whole(a)).count();
                    let good =
                        poller.answers_of(device).filter(|a| a.due > began && a.due < ended && is_whole(a)).count();
                    let due = ended.since(began).as_secs_f64() / self.setup.period_s;
                    if lost > 1 || 2.0 * f64::from(u32::try_from(good).unwrap_or(0)) < due {
                        fail(format!("unit {unit}: {lost} lost, {good} good of {due:.0} due"));
                    }
                }
            }
            _ => {}
        }
    }

    /// The block that was hit says the exception; the other says its numbers, unless a gateway was not asked again.
    fn signals_say(&self, round: &Round, code: u8) -> bool {
        let places = signals(&self.setup);
        round.values.iter().all(|value| {
            let is_hit = places[usize::from(value.signal)].0 == self.target.function;
            match value.value {
                Measured::Exception(said) => said == code && (is_hit || self.rule == Rule::Gateway(code)),
                Measured::Number(_) => !is_hit,
                _ => false,
            }
        })
    }
}

impl fmt::Display for Row {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Row { name, way, polls, wrong, lost, lost_after, past_ms, .. } = self;
        let back = self.back_ms.map_or("-".to_owned(), |ms| ms.to_string());
        let reasons = self.reasons.iter().map(String::as_str).collect::<Vec<_>>().join(" ");
        write!(
            f,
            "{name:40} {way:12} {polls:5} polls {wrong:2} wrong {lost:3} lost, {lost_after:2} after the fault, "
        )?;
        write!(f, "back in {back:>4} ms, {past_ms:3} ms past a deadline; {reasons}")?;
        if self.failures.is_empty() { Ok(()) } else { write!(f, " FAILS: {}", self.failures.join("; ")) }
    }
}

impl Row {
    /// What holds of every row: no wrong value, no round much past its deadline, reads only.
    pub fn judge_always(&mut self) {
        if self.wrong > 0 {
            self.failures.push(format!("{} wrong values", self.wrong));
        }
        if self.past_ms > 250 {
            self.failures.push("past its deadline".into());
        }
        if self.functions[5] > 0 {
            self.failures.push("a request that is no read of what was declared".into());
        }
    }
}

/// Requests by function; at 5 those that are no reads, or read what nobody declared.
pub fn functions(state: &State, setup: &Setup) -> [usize; 6] {
    let mut counts = [0; 6];
    for ask in &state.asks {
        let declared = setup.blocks.iter().any(|&(function, first, count)| {
            ask.function == function && ask.address >= first && ask.address + ask.count <= first + count
        });
        let is_read = declared && (1..=4).contains(&ask.function) && setup.units.contains(&ask.unit);
        counts[if is_read { usize::from(ask.function) } else { 5 }] += 1;
    }
    counts
}

impl Mischief {
    /// Lets it happen; when it had done its worst.
    async fn happen(&self, server: &mut Server, target: Target) -> Option<MachineTime> {
        match self {
            Mischief::Once(_) => server.fail_once(),
            Mischief::For(ms, _) => {
                server.fail();
                sleep(Duration::from_millis(*ms)).await;
                server.mend();
            }
            Mischief::Behind(ms) => {
                let before = server.state().asks.len();
                server.fail();
                sleep(Duration::from_millis(*ms)).await;
                server.mend();
                let mut state = server.state();
                state.held =
                    state.asks[before..].iter().find(|ask| target.hits(ask)).map(Ask::right).unwrap_or_default();
            }
            Mischief::Absent(ms) => {
                server.shut().await;
                sleep(Duration::from_millis(*ms)).await;
                server.open().await;
            }
            Mischief::Jam(ms) => {
                let jam = server.jam().await;
                sleep(Duration::from_millis(*ms)).await;
                drop(jam);
                server.open().await;
            }
        }
        server.faultless().await
    }
}
