//! One case on one way: a poller of ours against a server, good, at fault and good again, and what came of it.

use super::frame::Ask;
use super::poller::{Poller, Setup, is_whole, signals};
use super::server::{Kind, Script, Server, Target};
use brimwatch::clock::MachineTime;
use brimwatch::engine::input::{Measured, MissReason};
use brimwatch::poll::device::{Answer, Round};
use std::collections::BTreeSet;
use std::fmt;
use std::sync::Arc;
use std::time::Duration;
use tokio::time::sleep;

/// Good polls before the fault, and after it.
const GOOD: usize = 4;
/// What a loaded machine may add to a time that is judged, ms.
const LOAD_MS: u128 = 250;

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

impl Case {
    /// Good polls, the fault, good polls again.
    pub async fn run(self) -> Row {
        let script: Script = match &self.mischief {
            Mischief::Once(script) | Mischief::For(_, script) => Arc::clone(script),
            Mischief::Behind(_) | Mischief::Absent(_) | Mischief::Jam(_) => Arc::new(|_| Vec::new()),
        };
        let mut server = Server::start(self.kind, self.target, script).await;
        let mut poller = Poller::start(&server, self.setup, 1.0);
        let well_before = poller.good(GOOD, MachineTime(0)).await;
        let began = MachineTime::now();
        let ended = self.mischief.happen(&mut server, self.target).await;
        let well_after = match ended {
            Some(ended) => poller.good(GOOD, ended).await,
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
        let since: Vec<&Answer> = poller.answers.iter().filter(|answer| answer.replied > began).collect();
        let mut misses = since.iter().filter_map(|answer| answer.outcome.as_ref().err());
        let is_right = match self.mischief {
            Mischief::Once(_) => misses.next().is_some_and(|reason| self.reasons.contains(reason)),
            _ => misses.any(|reason| self.reasons.contains(reason)),
        };
        if !self.reasons.is_empty() && !is_right {
            fail(format!("not missed for {:?}", self.reasons));
        }
        let latest_ms = 1000 + Duration::from_secs_f64(self.setup.period_s).as_millis() + LOAD_MS;
        match self.rule {
            Rule::OnePoll if row.lost_after > 1 => fail(format!("{} polls lost after the fault", row.lost_after)),
            Rule::Second if row.back_ms.is_none_or(|ms| ms > latest_ms) => fail("back too late".into()),
            Rule::Accepted if row.lost > 0 => fail("a good answer was not taken".into()),
            Rule::Exception(code) | Rule::Gateway(code) => {
                if !since.iter().filter_map(|a| a.outcome.as_ref().ok()).any(|round| self.says(round, code)) {
                    fail(format!("exception {code} not handed on, or not for its registers alone"));
                }
                let connections: BTreeSet<u32> = poller.answers.iter().map(|answer| answer.connections).collect();
                if connections.len() > 1 || row.lost > 0 {
                    fail("the connection was not kept".into());
                }
            }
            Rule::Others => row.failures.extend(self.others(poller, began, ended)),
            _ => {}
        }
    }

    /// What the units that are not at fault have lost by the one that is: more than one poll, or half of their turns.
    fn others(&self, poller: &Poller, began: MachineTime, ended: MachineTime) -> Vec<String> {
        let turns = ended.since(began).as_secs_f64() / self.setup.period_s;
        let suffers = |(device, unit): (usize, &u8)| {
            let lost = poller.answers_of(device).filter(|a| !is_whole(a)).count();
            let good = poller.answers_of(device).filter(|a| a.due > began && a.due < ended && is_whole(a)).count();
            let is_at_fault = *unit == self.target.unit;
            let is_well = lost <= 1 && f64::from(u32::try_from(good).unwrap_or(0)) > turns / 2.0;
            (!is_at_fault && !is_well).then(|| format!("unit {unit}: {lost} lost, {good} good of {turns:.0} turns"))
        };
        (0..).zip(self.setup.units).filter_map(suffers).collect()
    }

    /// The block that was hit says the exception; the other says its numbers, unless a gateway was not asked again.
    fn says(&self, round: &Round, code: u8) -> bool {
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
        if self.past_ms > LOAD_MS {
            self.failures.push("past its deadline".into());
        }
        if self.functions[5] > 0 {
            self.failures.push("a request that is no read of what was declared".into());
        }
    }
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
