//! First stage: is a value what the instrument says now, and can it be used?
//!
//! What this stage believes. A value is *Lost* when it is missed, stale, an exception, no number, torn, outside the
//! plausible range, at its instrument's high end, a failure current, disowned by its device, frozen, or repeated by a
//! device whose heartbeat stopped; then nothing downstream may use it as current. An instrument at its high end still
//! says "at least". Loop currents are judged in `current.rs`, what must move and does not in `frozen.rs`,
//! heartbeats in [`super::devices`].

use super::current::{Line, Says};
use super::devices::Devices;
use super::frame::{Reading, Reason, Slip, Validity};
use super::frozen::{Expected, Frozen, Mover, Still};
use super::gauge;
use super::input::{Measured, Missed, Poll, SignalValue, Status};
use super::settings::{Settings, SignalKind, SignalSetup};
use super::slip::is_no_measure;
use super::total;
use super::witness::{mean_share, rounding};
use crate::planted::{Bug, planted};
use crate::time::EngineTime;

/// How many recent values are kept for a start reading.
const RECENT: usize = 64;

/// A start reading looks back in stretches of this length, s, as long as nothing but noise tells them apart.
const STRETCH_S: f64 = 15.0;
/// And over so many of them.
const STRETCHES: usize = 4;
/// Where another bay fills the same tank the level is not still: no further back than that, s.
const SHARED_S: f64 = 8.0;
/// A stretch that differs by more standard uncertainties of the difference is of another state of things: somebody left the
/// deck, the level still fell.
const ALIKE_SIGMAS: f64 = 3.0;
/// A value that has been usable for so many readings in a row is steady.
const STEADY: usize = 8;

/// The mean of the last readings, taken when a transfer starts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StartReading {
    /// Mean, SI.
    pub value: f64,
    /// How many readings it is the mean of.
    pub count: u8,
    /// From the first of them to the last, s.
    pub over_s: f64,
    /// How long before the start their middle was, s.
    pub age_s: f64,
}

/// Readings of a stretch.
#[derive(Debug, Clone, Copy, Default)]
struct Stretch {
    count: u8,
    sum: f64,
    ages_s: f64,
    newest_s: f64,
    oldest_s: f64,
}

impl Stretch {
    fn of(recent: &Recent, now: EngineTime, (from_s, to_s): (f64, f64)) -> Stretch {
        let mut stretch = Stretch::default();
        for (at, value) in recent.newest_first() {
            let age_s = now.since_s(*at);
            if age_s >= from_s && age_s < to_s {
                stretch.newest_s = if stretch.count == 0 { age_s } else { stretch.newest_s };
                stretch.oldest_s = age_s;
                stretch.count += 1;
                stretch.sum += value;
                stretch.ages_s += age_s;
            }
        }
        stretch
    }

    fn mean(&self) -> f64 {
        self.sum / f64::from(self.count)
    }

    /// As a start reading; `None`: nothing was read in it.
    fn reading(&self) -> Option<StartReading> {
        if self.count == 0 {
            return None;
        }
        let n = f64::from(self.count);
        let over_s = self.oldest_s - self.newest_s;
        Some(StartReading { value: self.mean(), count: self.count, over_s, age_s: self.ages_s / n })
    }

    /// Variance of its mean for noise alone.
    fn variance(&self, setup: &SignalSetup) -> f64 {
        let lasting = mean_share(self.oldest_s - self.newest_s, setup.slow_noise_s);
        let noise2 = setup.noise * setup.noise;
        let n = f64::from(self.count);
        noise2 / n + rounding(setup.division, noise2, n) + setup.slow_noise * setup.slow_noise * lasting
    }

    fn is_like(&self, other: &Stretch, setup: &SignalSetup) -> bool {
        let off = (self.mean() - other.mean()).abs();
        off <= ALIKE_SIGMAS * (self.variance(setup) + other.variance(setup)).sqrt()
    }

    fn and(self, older: Stretch) -> Stretch {
        Stretch {
            count: self.count + older.count,
            sum: self.sum + older.sum,
            ages_s: self.ages_s + older.ages_s,
            newest_s: self.newest_s,
            oldest_s: older.oldest_s,
        }
    }
}

/// The latest usable values in a row, in a ring.
#[derive(Debug, Clone)]
struct Recent {
    values: [(EngineTime, f64); RECENT],
    newest: usize,
    len: usize,
}

impl Recent {
    const NONE: Recent = Recent { values: [(EngineTime(0), 0.0); RECENT], newest: 0, len: 0 };

    fn push(&mut self, at: EngineTime, value: f64) {
        self.newest = (self.newest + 1) % RECENT;
        self.values[self.newest] = (at, value);
        self.len = (self.len + 1).min(RECENT);
    }

    fn latest(&self) -> Option<f64> {
        (self.len > 0).then(|| self.values[self.newest].1)
    }

    fn newest_first(&self) -> impl Iterator<Item = &(EngineTime, f64)> {
        (0..self.len).map(|back| &self.values[(self.newest + RECENT - back) % RECENT])
    }
}

/// One signal.
#[derive(Debug, Clone)]
pub(super) struct State {
    pub value: Option<f64>,
    pub read_at: Option<EngineTime>,
    pub validity: Validity,
    /// What the value alone deserves, before it is found to be old.
    judged: Validity,
    /// It cannot be so before anything moves.
    unlikely: Option<Slip>,
    pub still: Still,
    status: Status,
    at_least: Option<f64>,
    line: Line,
    /// Apart: the states are looked through many times a second.
    recent: Box<Recent>,
}

impl State {
    fn new() -> State {
        State {
            value: None,
            read_at: None,
            validity: Validity::Lost(Reason::NotYetRead),
            judged: Validity::Lost(Reason::NotYetRead),
            unlikely: None,
            still: Still::default(),
            status: Status::Fair,
            at_least: None,
            line: Line::default(),
            recent: Box::new(Recent::NONE),
        }
    }

    /// Takes a value; true when it is another than the one before.
    fn take(&mut self, setup: &SignalSetup, read_at: EngineTime, taken: &SignalValue, alive: bool) -> bool {
        let (value, validity, at_least) = judge(setup, taken, &mut self.line);
        self.at_least = at_least;
        self.status = taken.status;
        self.judged = validity;
        let changed = value.is_some() && value != self.value;
        if changed || value.is_some() && self.still.changed_at().is_none() {
            self.still.anew(read_at);
        }
        if value.is_some() {
            self.value = value;
            self.read_at = Some(read_at);
        }
        self.settle(alive);
        if let (Some(value), true) = (value, self.validity.is_credible()) {
            // A total that was reset before the start has nothing in common with what it showed before.
            let reset = |before| total::is_total(setup.kind) && total::is_another(setup, before, value);
            if self.recent.latest().is_some_and(reset) {
                self.recent.len = 0;
            }
            self.recent.push(read_at, value);
        }
        changed
    }

    /// What the value deserves, unless it is old: the same value again is no sign of life.
    fn settle(&mut self, alive: bool) {
        self.validity = match (self.judged, self.still.found) {
            (Validity::Lost(reason), _) => Validity::Lost(reason),
            _ if !alive => Validity::Lost(Reason::HeartbeatStopped),
            (_, Some(reason)) => Validity::Lost(reason),
            (judged, None) => match self.unlikely {
                Some(slip @ Slip::TooFast) => Validity::Lost(Reason::Unlikely(slip)),
                Some(slip) if judged == Validity::Good => Validity::Doubtful(Reason::Unlikely(slip)),
                _ => judged,
            },
        };
        if !self.validity.is_credible() {
            self.recent.len = 0;
        }
    }

    fn lose(&mut self, reason: Reason) {
        self.validity = Validity::Lost(reason);
        self.recent.len = 0;
    }

    /// Found frozen.
    pub fn freeze(&mut self, reason: Reason) {
        self.still.found = Some(reason);
        self.lose(reason);
    }

    /// What it was found frozen with has changed: it is looked at anew.
    pub fn thaw(&mut self, now: EngineTime) {
        self.still.thaw(now);
        if self.validity == Validity::Lost(Reason::FrozenTogether) {
            self.validity = self.judged;
        }
    }
}

type Judged = (Option<f64>, Validity, Option<f64>);

/// Holds one value against its instrument: the value, whether it can be used, and "at least". What the device says of
/// itself comes before what its value looks like: failure and function check disown it (NAMUR NE 107).
fn judge(setup: &SignalSetup, taken: &SignalValue, line: &mut Line) -> Judged {
    let (value, validity, at_least) = judge_value(setup, taken.value, line);
    let says = Reason::DeviceSays(taken.status);
    match (taken.status, validity) {
        (_, Validity::Lost(Reason::DeviceException(_) | Reason::FailureCurrent)) => (value, validity, at_least),
        (Status::Failure | Status::FunctionCheck, _) => (value, Validity::Lost(says), None),
        (Status::OutOfSpecification, Validity::Good) => (value, Validity::Doubtful(says), at_least),
        _ => (value, validity, at_least),
    }
}

fn judge_value(setup: &SignalSetup, measured: Measured, line: &mut Line) -> Judged {
    let lost = |reason| (None, Validity::Lost(reason), None);
    let value = match measured {
        Measured::Exception(code) => return lost(Reason::DeviceException(code)),
        Measured::NotANumber => return lost(Reason::NotANumber),
        Measured::Torn => return lost(Reason::Torn),
        Measured::Flag(flag) => return (Some(if flag { 1.0 } else { 0.0 }), Validity::Good, None),
        Measured::Number(value) => value,
        Measured::Current { milliampere, si } => match line.take(milliampere, si) {
            Says::Failure => return lost(Reason::FailureCurrent),
            Says::HighEnd(end) if fills_or_bursts(setup.kind) => {
                let plate = setup.saturates_at.filter(|&at| si >= at);
                let at_least = end.zip(plate).map(|(a, b)| a.min(b)).or(end).or(plate);
                return (Some(si), Validity::Lost(Reason::Saturated), at_least);
            }
            Says::HighEnd(_) | Says::LowEnd => return (Some(si), Validity::Doubtful(Reason::Saturated), None),
            Says::Measures => si,
        },
    };
    if setup.saturates_at.is_some_and(|end| value >= end) {
        return (Some(value), Validity::Lost(Reason::Saturated), setup.saturates_at);
    }
    if value < setup.plausible_low || value > setup.plausible_high || is_no_measure(setup.kind, value) {
        return (Some(value), Validity::Lost(Reason::OutOfRange), None);
    }
    (Some(value), Validity::Good, None)
}

/// More of it than an instrument can show is what harms: a level, a pressure.
fn fills_or_bursts(kind: SignalKind) -> bool {
    use SignalKind as K;
    matches!(kind, K::Level | K::LevelPressure | K::TankPressure | K::PadPressure | K::GasSupplyPressure)
}

/// All signals of a bay.
#[derive(Debug, Clone)]
pub struct Readings {
    states: Vec<State>,
    frozen: Frozen,
}

impl Readings {
    /// Nothing read yet.
    #[must_use]
    pub fn new(settings: &Settings) -> Readings {
        let states = settings.signals.iter().map(|_| State::new()).collect();
        Readings { states, frozen: Frozen::new(settings) }
    }

    /// Takes a device's answer; true when a value that could be used no longer can. A value is placed at the middle
    /// of request and reply.
    pub fn poll(&mut self, settings: &Settings, poll: &Poll, alive: bool) -> bool {
        let read_at = poll.requested.midpoint(poll.replied);
        let (mut lost, mut thawed) = (false, false);
        for taken in &poll.values {
            let index = usize::from(taken.signal);
            if let (Some(setup), Some(state)) = (settings.signals.get(index), self.states.get_mut(index)) {
                let usable = state.validity.is_credible();
                let together = state.still.found == Some(Reason::FrozenTogether);
                thawed |= state.take(setup, read_at, taken, alive) && together;
                lost |= usable && !state.validity.is_credible();
            }
        }
        if thawed {
            self.frozen.thaw(settings, &mut self.states, poll.device, read_at);
        }
        lost
    }

    /// A device gave nothing usable: its signals are lost at once.
    pub fn missed(&mut self, settings: &Settings, missed: Missed) {
        for (setup, state) in settings.signals.iter().zip(&mut self.states) {
            if setup.device == missed.device && !planted(Bug::LastValueShown) {
                state.lose(Reason::Missed(missed.reason));
            }
        }
    }

    /// Nobody watched for a while: nothing read before is current.
    pub fn blind(&mut self) {
        for state in &mut self.states {
            state.lose(Reason::Stale);
            state.still = Still::default();
        }
        self.frozen.anew();
    }

    /// Loses what is older than one period and one time-out, and what a device without a heartbeat repeats.
    pub fn age(&mut self, settings: &Settings, devices: &Devices, now: EngineTime) {
        for (setup, state) in settings.signals.iter().zip(&mut self.states) {
            let Some(device) = settings.devices.get(usize::from(setup.device)) else { continue };
            let age_s = now.since_s(state.read_at.unwrap_or(EngineTime(0)));
            let stale = age_s > device.period_s + device.time_out_s;
            let replaceable =
                state.validity.is_credible() || matches!(state.validity, Validity::Lost(Reason::NotYetRead));
            if stale && replaceable {
                state.lose(Reason::Stale);
            } else if state.validity.is_credible() && !devices.alive(settings, setup.device, now) {
                state.lose(Reason::HeartbeatStopped);
            }
        }
    }

    /// Doubts a signal for what it looks like, or no longer.
    pub(super) fn doubt(&mut self, signal: u16, slip: Option<Slip>) {
        let Some(state) = self.states.get_mut(usize::from(signal)) else { return };
        state.unlikely = slip;
        if state.validity.is_credible() || matches!(state.validity, Validity::Lost(Reason::Unlikely(_))) {
            state.settle(true);
        }
    }

    /// A delivery is opened. A total stands while nothing flows: one that was found frozen before is tried again with the next load.
    pub(super) fn delivery_opens(&mut self, settings: &Settings, now: EngineTime) {
        let totals = settings.signals.iter().zip(&mut self.states).filter(|(setup, _)| total::is_total(setup.kind));
        totals
            .filter(|(_, state)| state.validity == Validity::Lost(Reason::Frozen))
            .for_each(|(_, state)| state.thaw(now));
    }

    /// A transfer starts.
    pub(super) fn transfer_starts(&mut self) {
        self.frozen.anew();
    }

    /// Holds every signal against what has moved since the tick before.
    pub(super) fn expect(&mut self, settings: &Settings, now: EngineTime, mover: Mover, expected: &[Expected]) {
        self.frozen.look(settings, &mut self.states, now, mover, expected);
    }

    /// Usable for as many readings in a row as make a start reading.
    #[must_use]
    pub fn is_steady(&self, signal: u16) -> bool {
        self.states.get(usize::from(signal)).is_some_and(|state| state.recent.len >= STEADY)
    }

    /// Since when its value has been the same.
    #[must_use]
    pub fn unchanged_since(&self, signal: u16) -> Option<EngineTime> {
        self.states.get(usize::from(signal)).and_then(|s| s.still.changed_at())
    }

    /// The first signal of that kind (of that tank, where one is named).
    #[must_use]
    pub fn find(settings: &Settings, kind: SignalKind, tank: Option<u16>) -> Option<u16> {
        let position = settings.signals.iter().position(|s| s.kind == kind && (tank.is_none() || s.tank == tank));
        position.and_then(|p| u16::try_from(p).ok())
    }

    /// Its value, if it can be used.
    #[must_use]
    pub fn credible(&self, signal: u16) -> Option<f64> {
        let state = self.states.get(usize::from(signal))?;
        if state.validity.is_credible() { state.value } else { None }
    }

    /// Its last value, whether it can be used or not.
    #[must_use]
    pub fn last(&self, signal: u16) -> Option<f64> {
        self.states.get(usize::from(signal)).and_then(|s| s.value)
    }

    /// What a total shows, also while it is lost for having jumped: whether it counts on from there shows in what follows.
    pub(super) fn shown_total(&self, signal: u16) -> Option<f64> {
        let state = self.states.get(usize::from(signal))?;
        let jumped = state.validity == Validity::Lost(Reason::Unlikely(Slip::TooFast));
        if jumped || state.validity.is_credible() { state.value } else { None }
    }

    /// Its value if it can be used, by kind.
    #[must_use]
    pub fn credible_kind(&self, settings: &Settings, kind: SignalKind, tank: Option<u16>) -> Option<f64> {
        self.credible(Readings::find(settings, kind, tank)?)
    }

    /// Whether it can be used.
    #[must_use]
    pub fn validity(&self, signal: u16) -> Validity {
        self.states.get(usize::from(signal)).map_or(Validity::Lost(Reason::NotFitted), |s| s.validity)
    }

    /// When its last value was true.
    #[must_use]
    pub fn read_at(&self, signal: u16) -> Option<EngineTime> {
        self.states.get(usize::from(signal)).and_then(|s| s.read_at)
    }

    /// What it says is at least this, SI.
    #[must_use]
    pub fn at_least(&self, signal: u16) -> Option<f64> {
        self.states.get(usize::from(signal)).and_then(|s| s.at_least)
    }

    /// The moment whose level a tank's gauge would give as start reading now: the middle of its recent usable values.
    #[must_use]
    pub fn level_start_seen_at(&self, settings: &Settings, tank: u16, now: EngineTime) -> Option<EngineTime> {
        gauge::of_tank(settings, tank).find_map(|signal| {
            let lag_s = settings.signals.get(usize::from(signal))?.lag_s;
            self.start(settings, signal, now).map(|start| now.plus_s(-start.age_s - lag_s))
        })
    }

    /// The mean of its recent usable values: of the last quarter minute, and of the minute as far as it was no other.
    #[must_use]
    pub fn start(&self, settings: &Settings, signal: u16, now: EngineTime) -> Option<StartReading> {
        let setup = settings.signals.get(usize::from(signal))?;
        let state = self.states.get(usize::from(signal))?;
        let recent = &state.recent;
        // A tank that another bay fills rises by less than noise from stretch to stretch, and is another one all the same.
        if setup.tank.is_some_and(|tank| settings.neighbours.iter().any(|n| n.tank == tank)) {
            return Stretch::of(recent, now, (0.0, SHARED_S)).reading();
        }
        let mut all = Stretch::of(recent, now, (0.0, STRETCH_S));
        if all.count == 0 {
            return None;
        }
        let latest = all;
        for nth in 1..STRETCHES {
            #[expect(clippy::cast_precision_loss, reason = "a few")]
            let from_s = nth as f64 * STRETCH_S;
            let older = Stretch::of(recent, now, (from_s, from_s + STRETCH_S));
            if older.count == 0 || !older.is_like(&latest, setup) {
                break;
            }
            all = all.and(older);
        }
        all.reading()
    }

    /// As the frame shows them.
    #[must_use]
    pub fn frame(&self) -> Vec<Reading> {
        let show = |(i, s): (usize, &State)| Reading {
            signal: u16::try_from(i).unwrap_or(u16::MAX),
            value_si: s.value,
            read_at: s.read_at,
            validity: s.validity,
            status: s.status,
            at_least_si: s.at_least,
        };
        self.states.iter().enumerate().map(show).collect()
    }
}
