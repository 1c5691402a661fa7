//! How each device answers, and whether it lives.
//!
//! A gateway or a scanner can go on answering with what it last had from an instrument. Where a device offers a
//! register that changes while it lives (its heartbeat), one that was not *seen* to change for its time, one period and
//! one time-out (a change is seen up to that much after it was made) makes all that the device sends old. A heartbeat
//! that is not answered has not changed, and an outage counts: what was not seen to live is not taken to.
//! Before the first change values are used for that same time: a first look tells a living register from a dead one no
//! better than its values do, and to wait for a change would leave every start and every reconnection blind.

use super::frame::{DeviceState, Trouble};
use super::input::{Missed, Poll};
use super::settings::Settings;
use crate::planted::{Bug, planted};
use crate::time::EngineTime;

#[derive(Debug, Clone)]
struct State {
    shown: DeviceState,
    heartbeat: Option<u64>,
    /// From when on a change of the heartbeat is waited for: the last change, or the first answer.
    waited_from: Option<EngineTime>,
}

/// All devices of a bay.
#[derive(Debug, Clone)]
pub struct Devices {
    states: Vec<State>,
}

impl Devices {
    /// Nothing asked yet.
    #[must_use]
    pub fn new(settings: &Settings) -> Devices {
        let shown = |device| DeviceState {
            device,
            answered: 0,
            missed: 0,
            missed_for: Vec::new(),
            connections: 0,
            trouble: None,
            latency_ns: 0,
            latency_worst_ns: 0,
            lateness_ns: 0,
            lateness_worst_ns: 0,
            heartbeat_at: None,
        };
        let one = |device| State { shown: shown(device), heartbeat: None, waited_from: None };
        Devices { states: (0u16..).take(settings.devices.len()).map(one).collect() }
    }

    /// A round was answered.
    pub fn poll(&mut self, poll: &Poll) {
        let Some(state) = self.states.get_mut(usize::from(poll.device)) else { return };
        let shown = &mut state.shown;
        shown.answered += 1;
        shown.connections = poll.connections;
        shown.trouble = None;
        shown.latency_ns = poll.replied.0.saturating_sub(poll.requested.0);
        shown.latency_worst_ns = shown.latency_worst_ns.max(shown.latency_ns);
        shown.lateness_ns = poll.requested.0.saturating_sub(poll.due.0);
        shown.lateness_worst_ns = shown.lateness_worst_ns.max(shown.lateness_ns);
        let at = poll.requested.midpoint(poll.replied);
        let changed = poll.heartbeat.is_some() && state.heartbeat.is_some() && poll.heartbeat != state.heartbeat;
        if changed {
            shown.heartbeat_at = Some(at);
        }
        if changed || state.waited_from.is_none() {
            state.waited_from = Some(at);
        }
        state.heartbeat = poll.heartbeat.or(state.heartbeat);
    }

    /// A round was not.
    pub fn missed(&mut self, missed: Missed) {
        let Some(state) = self.states.get_mut(usize::from(missed.device)) else { return };
        let shown = &mut state.shown;
        shown.missed += u64::from(!planted(Bug::MissesUncounted));
        match shown.missed_for.binary_search_by_key(&missed.reason, |(reason, _)| *reason) {
            Ok(place) => shown.missed_for[place].1 += 1,
            Err(place) => shown.missed_for.insert(place, (missed.reason, 1)),
        }
        let since = shown.trouble.map_or(missed.requested, |trouble| trouble.since);
        shown.trouble = Some(Trouble { reason: missed.reason, since });
    }

    /// Whether what it sends can be taken for new.
    #[must_use]
    pub fn alive(&self, settings: &Settings, device: u16, now: EngineTime) -> bool {
        let index = usize::from(device);
        let (Some(setup), Some(state)) = (settings.devices.get(index), self.states.get(index)) else { return true };
        match (setup.heartbeat_s, state.waited_from) {
            (Some(within_s), Some(from)) => now.since_s(from) <= within_s + setup.period_s + setup.time_out_s,
            _ => true,
        }
    }

    /// As the frame shows them.
    #[must_use]
    pub fn frame(&self) -> Vec<DeviceState> {
        self.states.iter().map(|s| s.shown.clone()).collect()
    }
}
