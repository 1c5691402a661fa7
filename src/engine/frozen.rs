//! What must move because mass moved, and does not.
//!
//! A value that repeats is no finding in itself: a level gauge repeats for minutes, a scale of 20 kg division for
//! seconds, a coarse pressure or temperature for as long as it likes, and in a bay at rest everything does. So nothing
//! here counts seconds alone; mass must have moved. Two things say that it does:
//!
//! - the *other* witnesses, as far as they moved since the value last changed;
//! - the flow rate, summed since then, above what its noise and zero could feign.
//!
//! A witness's signal is *frozen* when what either says exceeds one division and four standard uncertainties, the others at three
//! looks in a row. The rate
//! counts against a signal by itself only up to its own last change: a rate that hangs when a valve closes would
//! otherwise call everything frozen that rightly stands. It runs ahead of the tank by the line's contents and
//! the gauge's lag, so these are left to it.
//!
//! One cause can freeze several signals at once: a gateway that replays its cache of one device or of all, a transmitter
//! that hangs. Then no witness moves and none is missed by the others. So the signals of one link, of one device, of one
//! transmitter are looked at together. They are *frozen together* when
//!
//! 1. every one that is read has been the same for 15 s and three periods (a gateway that asks a slow line in turn
//!    rightly repeats for some seconds; beyond 15 s its values are too old to be used in any case);
//! 2. one of their witnesses' signals is frozen, or the flow rate among them says that it must have moved by one
//!    division and four standard uncertainties (the rate contradicts its own neighbours and repeats like them);
//! 3. two witnesses' signals bear that out, or three signals in all: frozen by themselves, or repeating through more
//!    mass than they ever did before they then moved. A coarse pressure that is used to standing still, or never moved
//!    yet, is no evidence.
//!
//! All of the group are then lost, pressures, temperatures and yes/no signals too, until one of them changes. A witness's
//! signal that has not changed itself by then is held against all that the others saw move meanwhile. A valve
//! that closes in earnest makes the rate fall: that is a change, and no mass moves after it. Without a rate signal
//! among them a group that holds every witness cannot be told from a closed valve, and is not judged.

use super::frame::{Estimate, Reason, Validity};
use super::reading::State;
use super::settings::{Settings, SignalKind, SignalSetup};
use crate::planted::{Bug, planted};
use crate::time::EngineTime;

/// Standard uncertainties that a frozen value must fail to move by, beyond one division.
const FROZEN_SIGMAS: f64 = 4.0;

/// Looks in a row at which the others must say so: what they say to have moved is held against one start reading for as long as
/// a value stands, and a long rest holds hundreds of looks, of which one in 16,000 exceeds four standard deviations.
const LOOKS: u8 = 3;

/// A group must have repeated this long, s: the longest that a gateway is believed to take for a round of its
/// own over a slow line (assumption).
const TOGETHER_S: f64 = 15.0;

/// And this many periods: fewer readings are no repetition.
const TOGETHER_PERIODS: f64 = 3.0;

/// Witnesses' signals that bear out a common cause.
const WITNESSES_ALIKE: usize = 2;

/// Signals in all that do.
const SIGNALS_ALIKE: usize = 3;

/// What a flow rate said.
#[derive(Debug, Clone, Copy, Default)]
struct Said {
    kg: f64,
    s: f64,
}

/// For how long, and through how much mass, a value has been the same.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Still {
    changed_at: Option<EngineTime>,
    /// Movement the other witnesses saw since then, kg.
    moved_kg: f64,
    /// Looks in a row at which that was more than the value may stand through.
    missing: u8,
    /// Movement by the rate since then, kg, and how long the rate said so, s.
    said: Said,
    /// The same up to when the rate itself last changed.
    said_alive: Said,
    /// The most movement it repeated through before it moved by itself, kg.
    used_to_kg: f64,
    /// It was found frozen.
    pub found: Option<Reason>,
}

impl Still {
    /// Another value, or looked at anew. What it stood through while it was found frozen teaches nothing.
    pub fn anew(&mut self, at: EngineTime) {
        let learned_kg = if self.found.is_none() { self.said.kg } else { 0.0 };
        let used_to_kg = self.used_to_kg.max(learned_kg);
        *self = Still { changed_at: Some(at), used_to_kg, ..Still::default() };
    }

    /// What it was found frozen with has changed, and it has not yet: what the other witnesses saw move meanwhile still counts, so
    /// that one which hangs by itself is not good until that has been seen a second time.
    pub fn thaw(&mut self, at: EngineTime) {
        let moved_kg = self.moved_kg;
        self.anew(at);
        (self.moved_kg, self.missing) = (moved_kg, LOOKS);
    }

    /// Since when it has been the same.
    pub fn changed_at(&self) -> Option<EngineTime> {
        self.changed_at
    }
}

/// What moves the mass, by the flow rate.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mover {
    /// Mass flow, kg/s; 0 where nothing says that any moves.
    pub kg_per_s: f64,
    /// The rate signal it is read from; `None`: the reconciled rate of the tick before, which stands for no signal.
    pub signal: Option<u16>,
}

/// How a witness's signal must follow.
#[derive(Debug, Clone, Copy)]
pub(super) struct Expected {
    /// Which.
    pub signal: u16,
    /// What the other witnesses saw move since the tick before, kg.
    pub moved_kg: Option<Estimate>,
    /// Its movement per kilogram, SI/kg; `None` while that is not known.
    pub per_kg: Option<f64>,
    /// The rate runs ahead of it by this, kg.
    pub behind_kg: f64,
}

impl Expected {
    /// Whether it must have shown in the signal that so much moved.
    fn must_show(&self, setup: &SignalSetup, moved_kg: f64, moved_u_kg: f64) -> bool {
        let Some(per_kg) = self.per_kg else { return false };
        let moved_u = moved_u_kg * per_kg;
        // The reading it repeats and the one that it should be now are each off by noise of both kinds.
        let noise = setup.noise * setup.noise + setup.slow_noise * setup.slow_noise;
        let u = (2.0 * noise + moved_u * moved_u).sqrt();
        (moved_kg * per_kg).abs() > setup.division + FROZEN_SIGMAS * u
    }
}

/// Looks for what is frozen.
#[derive(Debug, Clone)]
pub(super) struct Frozen {
    /// Signals that one cause can freeze: those of a link, of a device, of a transmitter.
    groups: Vec<Vec<usize>>,
    /// The last look.
    looked_at: Option<EngineTime>,
    /// The last change of the rate that was seen.
    rate_changed_at: Option<EngineTime>,
}

impl Frozen {
    /// Nothing has moved yet.
    pub fn new(settings: &Settings) -> Frozen {
        Frozen { groups: groups(settings), looked_at: None, rate_changed_at: None }
    }

    /// A transfer starts, or nobody watched for a while: what moved before is held against nothing.
    pub fn anew(&mut self) {
        self.looked_at = None;
    }

    /// Holds every signal against what moved since the last look.
    pub fn look(
        &mut self,
        settings: &Settings,
        states: &mut [State],
        now: EngineTime,
        mover: Mover,
        expected: &[Expected],
    ) {
        if planted(Bug::NothingFrozen) {
            return;
        }
        let since = self.looked_at.replace(now);
        self.hear(states, since.map_or(0.0, |since| now.since_s(since)), mover);
        for expected in expected {
            let index = usize::from(expected.signal);
            let (Some(setup), Some(state)) = (settings.signals.get(index), states.get_mut(index)) else { continue };
            let by_others = expected.moved_kg.is_some_and(|moved| {
                state.still.moved_kg += moved.value;
                let missing = expected.must_show(setup, state.still.moved_kg, moved.u);
                state.still.missing = if missing { state.still.missing.saturating_add(1) } else { 0 };
                state.still.missing >= LOOKS
            });
            let Said { kg, s } = state.still.said_alive;
            let by_rate = s >= long_s(settings, setup)
                && kg > state.still.used_to_kg
                && expected.must_show(setup, (kg - expected.behind_kg).max(0.0), 0.0);
            if state.validity.is_credible() && (by_others || by_rate) {
                state.freeze(Reason::Frozen);
            }
        }
        for group in &self.groups {
            if together(settings, states, group, mover, expected) {
                for &member in group {
                    if let Some(state) = states.get_mut(member).filter(|s| is_read(s)) {
                        state.freeze(Reason::FrozenTogether);
                    }
                }
            }
        }
    }

    /// Sums up what the rate says. What it said is believed by itself once it has changed again.
    fn hear(&mut self, states: &mut [State], step_s: f64, mover: Mover) {
        let changed_at = mover.signal.and_then(|s| states.get(usize::from(s))?.still.changed_at);
        let alive = changed_at.is_some() && changed_at != self.rate_changed_at;
        self.rate_changed_at = changed_at.or(self.rate_changed_at);
        for still in states.iter_mut().map(|s| &mut s.still) {
            if mover.kg_per_s > 0.0 {
                still.said.kg += mover.kg_per_s * step_s;
                still.said.s += step_s;
            }
            if alive {
                still.said_alive = still.said;
            }
        }
    }

    /// Something of what was found frozen together has changed: nothing of it is taken for frozen any more.
    pub fn thaw(&self, settings: &Settings, states: &mut [State], device: u16, now: EngineTime) {
        let of_device = |m: &usize| settings.signals.get(*m).is_some_and(|s| s.device == device);
        for &member in self.groups.iter().filter(|group| group.iter().any(of_device)).flatten() {
            if let Some(state) = states.get_mut(member).filter(|s| s.still.found == Some(Reason::FrozenTogether)) {
                state.thaw(now);
            }
        }
    }
}

/// Signals by what can freeze them at once.
fn groups(settings: &Settings) -> Vec<Vec<usize>> {
    let mut groups: Vec<((u8, &str), Vec<usize>)> = Vec::new();
    for (index, signal) in settings.signals.iter().enumerate() {
        let device = settings.devices.get(usize::from(signal.device));
        let shared = [
            device.map(|d| (0, d.link.as_str())),
            device.map(|d| (1, d.name.as_str())),
            signal.transmitter.as_deref().map(|name| (2, name)),
        ];
        for shared in shared.into_iter().flatten() {
            match groups.iter_mut().find(|(of, _)| *of == shared) {
                Some((_, group)) => group.push(index),
                None => groups.push((shared, vec![index])),
            }
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

/// One that is read: usable, or found frozen by itself.
fn is_read(state: &State) -> bool {
    state.validity.is_credible() || state.validity == Validity::Lost(Reason::Frozen)
}

fn is_yes_no(kind: SignalKind) -> bool {
    use SignalKind as K;
    matches!(kind, K::HighLevelSwitch | K::ShutoffClosed | K::EmergencyStop | K::ShutoffBypassed)
}

/// A value that has been the same for so long is no slow gateway's any more, s.
fn long_s(settings: &Settings, setup: &SignalSetup) -> f64 {
    let period_s = settings.devices.get(usize::from(setup.device)).map_or(0.0, |d| d.period_s);
    TOGETHER_S.max(TOGETHER_PERIODS * period_s)
}

/// Whether one cause has frozen the group.
fn together(settings: &Settings, states: &[State], group: &[usize], mover: Mover, expected: &[Expected]) -> bool {
    let members = || group.iter().copied().filter(|&m| states.get(m).is_some_and(is_read));
    let newest = members().filter_map(|m| states[m].read_at).max();
    // One that is not used but moves shows as well as any that something comes through.
    let moves = |m: usize| {
        let changed = newest.zip(states[m].still.changed_at);
        changed.is_some_and(|(newest, changed)| newest.since_s(changed) < long_s(settings, &settings.signals[m]))
    };
    if group.iter().any(|&m| moves(m)) {
        return false;
    }
    let measured = || members().filter(|&m| !is_yes_no(settings.signals[m].kind));
    let said_kg = measured().map(|m| states[m].still.said.kg).fold(f64::INFINITY, f64::min);
    let rate_is_one = members().any(|m| mover.signal.is_some_and(|s| usize::from(s) == m));
    let witness = |m: usize| expected.iter().find(|e| usize::from(e.signal) == m);
    let stands = |m: usize| {
        let must = |e: &Expected| e.must_show(&settings.signals[m], (said_kg - e.behind_kg).max(0.0), 0.0);
        states[m].still.found.is_some() || rate_is_one && witness(m).is_some_and(must)
    };
    let unused_to = |still: &Still| still.used_to_kg > 0.0 && said_kg > still.used_to_kg;
    let evidence = || measured().filter(|&m| unused_to(&states[m].still) || states[m].still.found.is_some());
    let witnesses = evidence().filter(|&m| witness(m).is_some()).count();
    measured().any(stands) && (witnesses >= WITNESSES_ALIKE || evidence().count() >= SIGNALS_ALIKE)
}
