//! First stage: is a value what the instrument says now, and can it be used?
//!
//! What this stage believes. A value is *Lost* when it is missed, stale, an exception, no number, outside the
//! plausible range, at its instrument's end of range, or frozen; then nothing downstream may use it as current.
//! An instrument at its end of range still says "at least". A quantity that must move because mass moved, and
//! does not by more than one division and four standard uncertainties of its reading and of that mass, is frozen: a timer alone
//! would call a still tank frozen and a slowly filled one alive.

use super::frame::{Estimate, Reading, Reason, Validity};
use super::input::{Measured, Missed, Poll, Status};
use super::settings::{Settings, SignalKind, SignalSetup};
use crate::time::EngineTime;

/// How many recent values are kept for a start reading.
const RECENT: usize = 8;

/// A recent value no older than this serves a start reading, s.
const RECENT_S: f64 = 15.0;

/// Standard uncertainties that a frozen value must fail to move by, beyond one division.
const FROZEN_SIGMAS: f64 = 4.0;

/// The mean of the last readings, taken when a transfer starts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StartReading {
    /// Mean, SI.
    pub value: f64,
    /// How many readings it is the mean of.
    pub count: u8,
}

#[derive(Debug, Clone)]
struct State {
    value: Option<f64>,
    read_at: Option<EngineTime>,
    validity: Validity,
    at_least: Option<f64>,
    recent: [(EngineTime, f64); RECENT],
    recent_len: usize,
    /// Movement the other witnesses saw since this value last changed, kg.
    moved_kg: f64,
}

impl State {
    fn new() -> State {
        State {
            value: None,
            read_at: None,
            validity: Validity::Lost(Reason::NotYetRead),
            at_least: None,
            recent: [(EngineTime(0), 0.0); RECENT],
            recent_len: 0,
            moved_kg: 0.0,
        }
    }

    fn take(&mut self, setup: &SignalSetup, read_at: EngineTime, measured: Measured) {
        let (value, validity, at_least) = judge(setup, measured);
        let was_frozen = self.validity == Validity::Lost(Reason::Frozen);
        self.at_least = at_least;
        self.validity = validity;
        let Some(value) = value else { return };
        if self.value != Some(value) {
            self.moved_kg = 0.0;
        } else if was_frozen && validity.is_credible() {
            // The same value again is no sign of life.
            self.validity = Validity::Lost(Reason::Frozen);
        }
        self.value = Some(value);
        self.read_at = Some(read_at);
        if self.validity.is_credible() {
            self.recent.rotate_right(1);
            self.recent[0] = (read_at, value);
            self.recent_len = (self.recent_len + 1).min(RECENT);
        } else {
            self.recent_len = 0;
        }
    }
}

/// Holds one value against its instrument: the value, whether it can be used, and "at least".
fn judge(setup: &SignalSetup, measured: Measured) -> (Option<f64>, Validity, Option<f64>) {
    let value = match measured {
        Measured::Exception(code) => return (None, Validity::Lost(Reason::DeviceException(code)), None),
        Measured::NotANumber => return (None, Validity::Lost(Reason::NotANumber), None),
        Measured::Flag(flag) => return (Some(if flag { 1.0 } else { 0.0 }), Validity::Good, None),
        Measured::Torn => return (None, Validity::Lost(Reason::Torn), None),
        Measured::Number(value) | Measured::Current { si: value, .. } => value,
    };
    if setup.saturates_at.is_some_and(|end| value >= end) {
        return (Some(value), Validity::Lost(Reason::Saturated), setup.saturates_at);
    }
    if value < setup.plausible_low || value > setup.plausible_high {
        return (Some(value), Validity::Lost(Reason::OutOfRange), None);
    }
    (Some(value), Validity::Good, None)
}

/// All signals of a bay.
#[derive(Debug, Clone)]
pub struct Readings {
    states: Vec<State>,
}

impl Readings {
    /// Nothing read yet.
    #[must_use]
    pub fn new(settings: &Settings) -> Readings {
        Readings { states: settings.signals.iter().map(|_| State::new()).collect() }
    }

    /// Takes a device's answer; true when a value that could be used no longer can. A value is placed at the middle
    /// of request and reply.
    pub fn poll(&mut self, settings: &Settings, poll: &Poll) -> bool {
        let read_at = poll.requested.midpoint(poll.replied);
        let mut lost = false;
        for value in &poll.values {
            let index = usize::from(value.signal);
            if let (Some(setup), Some(state)) = (settings.signals.get(index), self.states.get_mut(index)) {
                let usable = state.validity.is_credible();
                state.take(setup, read_at, value.value);
                lost |= usable && !state.validity.is_credible();
            }
        }
        lost
    }

    /// A device gave nothing usable: its signals are lost at once.
    pub fn missed(&mut self, settings: &Settings, missed: Missed) {
        for (setup, state) in settings.signals.iter().zip(&mut self.states) {
            if setup.device == missed.device {
                state.validity = Validity::Lost(Reason::Missed(missed.reason));
                state.recent_len = 0;
            }
        }
    }

    /// Nobody watched for a while: nothing read before is current.
    pub fn blind(&mut self) {
        for state in &mut self.states {
            state.validity = Validity::Lost(Reason::Stale);
            state.recent_len = 0;
            state.moved_kg = 0.0;
        }
    }

    /// Loses what is older than one period and one time-out.
    pub fn age(&mut self, settings: &Settings, now: EngineTime) {
        for (setup, state) in settings.signals.iter().zip(&mut self.states) {
            let Some(device) = settings.devices.get(usize::from(setup.device)) else { continue };
            let age_s = now.since_s(state.read_at.unwrap_or(EngineTime(0)));
            let stale = age_s > device.period_s + device.time_out_s;
            let replaceable =
                state.validity.is_credible() || matches!(state.validity, Validity::Lost(Reason::NotYetRead));
            if stale && replaceable {
                state.validity = Validity::Lost(Reason::Stale);
                state.recent_len = 0;
            }
        }
    }

    /// Counts what the other witnesses saw move; a value that should have followed and did not is frozen.
    /// `per_kg` is the signal's expected movement per kilogram, SI/kg.
    pub fn expect(&mut self, settings: &Settings, signal: u16, moved_kg: Estimate, per_kg: f64) {
        let index = usize::from(signal);
        let (Some(setup), Some(state)) = (settings.signals.get(index), self.states.get_mut(index)) else { return };
        state.moved_kg += moved_kg.value;
        let expected = (state.moved_kg * per_kg).abs();
        let expected_u = moved_kg.u * per_kg;
        let u = (setup.noise * setup.noise + expected_u * expected_u).sqrt();
        if state.validity.is_credible() && expected > setup.division + FROZEN_SIGMAS * u {
            state.validity = Validity::Lost(Reason::Frozen);
            state.recent_len = 0;
        }
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

    /// The mean of its recent usable values.
    #[must_use]
    pub fn start(&self, signal: u16, now: EngineTime) -> Option<StartReading> {
        let state = self.states.get(usize::from(signal))?;
        let recent = state.recent[..state.recent_len].iter().filter(|(at, _)| now.since_s(*at) <= RECENT_S);
        let (count, sum) = recent.fold((0u8, 0.0), |(n, sum), (_, value)| (n + 1, sum + value));
        (count > 0).then(|| StartReading { value: sum / f64::from(count), count })
    }

    /// As the frame shows them.
    #[must_use]
    pub fn frame(&self) -> Vec<Reading> {
        let show = |(i, s): (usize, &State)| Reading {
            signal: u16::try_from(i).unwrap_or(u16::MAX),
            value_si: s.value,
            read_at: s.read_at,
            validity: s.validity,
            status: Status::Fair,
            at_least_si: s.at_least,
        };
        self.states.iter().enumerate().map(show).collect()
    }
}
