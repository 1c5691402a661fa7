//! Conditions that say that the delivery does not go as it should, before anybody is hurt.

use super::condition::{MOVEMENT_KG_PER_S, Sight};
use crate::engine::frame::{Condition, Estimate, Phase, VerdictWord};
use crate::engine::gauge;
use crate::engine::input::AlarmId;
use crate::engine::reading::Readings;
use crate::engine::settings::{Drive, PadTap, SignalKind};
use crate::time::EngineTime;

/// Another tank rises by more than this, m, and five times its gauge's noise: no ripple of a tank at rest.
const RISEN_M: f64 = 0.02;
/// See above.
const RISEN_NOISE: f64 = 5.0;
/// The flow has stopped early while this share of the load, and three standard uncertainties of what came, is still on
/// the trailer: no heel and no ticket is off by that.
const LEFT_SHARE: f64 = 0.05;
/// See above.
const LEFT_SIGMAS: f64 = 3.0;
/// Pad above the supply's pressure by more than this many of both gauges' zeros.
const ABOVE_SIGMAS: f64 = 3.0;
/// What is drawn off has changed by more than a meter creeps, kg/s, and so many standard uncertainties of its noise.
const CHANGED_SIGMAS: f64 = 5.0;

/// What is foreseen, as its alarms need it.
#[derive(Debug, Clone, Copy, Default)]
pub struct Foreseen {
    /// Earliest credible moment at which the tank's level is at high-high; None: not by this load, or not known.
    pub level: Option<EngineTime>,
    /// Earliest credible first gas; None: not known.
    pub first_gas: Option<EngineTime>,
    /// The pad rises, and is at its ceiling in so many s.
    pub pad_to_ceiling_s: Option<f64>,
    /// The pad falls, and is at the tank's pressure (the air's where nobody measures that) in so many s.
    pub pad_to_tank_s: Option<f64>,
    /// Received by all witnesses together, kg.
    pub received_kg: Option<Estimate>,
}

fn yes(holds: bool) -> Condition {
    if holds { Condition::True } else { Condition::False }
}

impl Sight<'_> {
    fn transferring(&self) -> bool {
        self.delivery.is_some_and(|d| d.phase == Phase::Transfer)
    }

    /// High-high is less than one response time away.
    pub(super) fn level_soon(&self) -> Condition {
        let by = |at: EngineTime| at <= self.at.plus_s(self.settings.limits.response_time_s);
        self.soon.level.map_or(Condition::False, |at| yes(self.transferring() && by(at)))
    }

    /// Two witnesses follow each other more closely than their noise allows.
    pub(super) fn not_independent(&self) -> Condition {
        match self.verdict.word {
            VerdictWord::NotIndependent => yes(self.transferring()),
            VerdictWord::NotYetProven | VerdictWord::None => Condition::Unknown,
            _ => Condition::False,
        }
    }

    /// The pad's trend is at the ceiling within one response time.
    pub(super) fn pad_rising(&self) -> Condition {
        yes(self.soon.pad_to_ceiling_s.is_some_and(|s| s <= self.settings.limits.response_time_s))
    }

    /// The pad rises by itself while liquid flows.
    pub(super) fn pad_creeps(&self) -> Condition {
        if !self.transferring() || self.settings.drive != Drive::Pad || !self.liquid || self.nearly_in() {
            return Condition::False;
        }
        self.pad_creep.rises()
    }

    /// Nearly all of the load is in: whoever is at the valve cuts back the gas, and behind the last liquid it lets the
    /// pad fall.
    fn nearly_in(&self) -> bool {
        self.left_kg().is_some_and(|(left_kg, planned_kg)| left_kg <= LEFT_SHARE * planned_kg)
    }

    /// What is still on the trailer, beyond what the masses may be off by, and what was planned; None: not known.
    fn left_kg(&self) -> Option<(f64, f64)> {
        let (received, planned_kg) = (self.soon.received_kg?, self.delivery?.setup.planned.0);
        Some((planned_kg - received.value - LEFT_SIGMAS * received.u, planned_kg))
    }

    /// The pad's trend is at the tank's pressure within one response time.
    pub(super) fn pad_falling(&self) -> Condition {
        if !self.transferring() || self.settings.drive != Drive::Pad || !self.liquid || self.nearly_in() {
            return Condition::False;
        }
        yes(self.soon.pad_to_tank_s.is_some_and(|s| s <= self.settings.limits.response_time_s))
    }

    /// The pad pressure is below what the site unloads with at the least, while liquid is in the line and no gas follows.
    pub(super) fn pad_below_band(&self) -> Condition {
        let Some(least) = self.settings.limits.pad_minimum.filter(|_| self.transferring() && self.liquid) else {
            return Condition::False;
        };
        match self.readings.credible_kind(self.settings, SignalKind::PadPressure, None) {
            _ if self.nearly_in() => Condition::False,
            Some(pad) => yes(pad < least.0),
            None => Condition::Unknown,
        }
    }

    /// What is drawn off the tank is not what it was when the transfer started: the room is another one.
    pub(super) fn draw_off_changed(&self) -> Condition {
        let Some(delivery) = self.delivery.filter(|_| self.transferring()) else { return Condition::False };
        let Some(signal) = Readings::find(self.settings, SignalKind::DrawOff, None) else { return Condition::False };
        let Some(start) = delivery.start(signal) else { return Condition::False };
        let noise = self.settings.signals.get(usize::from(signal)).map_or(0.0, |s| s.noise);
        match self.readings.credible(signal) {
            Some(now) => yes((now - start.value).abs() > MOVEMENT_KG_PER_S.max(CHANGED_SIGMAS * noise)),
            None => Condition::Unknown,
        }
    }

    /// The trailer would push back into the gas supply.
    pub(super) fn pad_above_supply(&self) -> Condition {
        if !self.transferring() || self.settings.drive != Drive::Pad {
            return Condition::False;
        }
        let find = |kind| Readings::find(self.settings, kind, None);
        let (Some(pad), Some(supply)) = (find(SignalKind::PadPressure), find(SignalKind::GasSupplyPressure)) else {
            return Condition::False;
        };
        let zero = |s: u16| self.settings.signals.get(usize::from(s)).map_or(0.0, |s| s.zero);
        match (self.readings.credible(pad), self.readings.credible(supply)) {
            (Some(p), Some(s)) => yes(p > s + ABOVE_SIGMAS * (zero(pad) + zero(supply))),
            _ => Condition::Unknown,
        }
    }

    /// Nothing moves although much of the load is still on the trailer.
    pub(super) fn flow_stopped(&self) -> Condition {
        if !self.transferring() || !self.liquid {
            return Condition::False;
        }
        let Some((left_kg, planned_kg)) = self.left_kg() else { return Condition::Unknown };
        match self.moves() {
            Condition::False => yes(left_kg > LEFT_SHARE * planned_kg),
            Condition::True => Condition::False,
            Condition::Unknown => Condition::Unknown,
        }
    }

    /// More (1) or less (-1) comes through the meter than the pressure drives, compared with a minute ago. At the end of a load
    /// valves are throttled and gas comes: that is no news.
    pub(super) fn flow_off_pressure(&self, side: f64) -> Condition {
        let gas_due = self.soon.first_gas.is_some_and(|earliest| earliest <= self.at);
        if !self.transferring() || !self.liquid || gas_due || self.nearly_in() {
            return Condition::False;
        }
        self.cross_check.is_off(side)
    }

    /// A tank that this load does not go to, and that no other bay fills, rises.
    pub(super) fn other_tank_rises(&self, tank: u16) -> Condition {
        let Some(delivery) = self.delivery.filter(|d| self.transferring() && d.setup.tank != tank) else {
            return Condition::False;
        };
        if self.settings.neighbours.iter().any(|neighbour| neighbour.tank == tank) {
            return Condition::False;
        }
        super::condition::any(self.signals(SignalKind::Level, tank).filter_map(|signal| {
            let start = delivery.start(signal)?.value;
            let noise = self.settings.signals.get(usize::from(signal))?.noise;
            let risen_m = RISEN_M + RISEN_NOISE * noise;
            Some(self.readings.credible(signal).map(|now| now > start + risen_m))
        }))
    }

    /// What comes through the line is colder or warmer than the site takes into that tank.
    pub(super) fn load_temperature_off(&self) -> Condition {
        let Some(delivery) = self.delivery.filter(|_| self.transferring() && self.liquid) else {
            return Condition::False;
        };
        let Some(line) = Readings::find(self.settings, SignalKind::LineTemperature, None) else {
            return Condition::False;
        };
        let expected = self.settings.expected.tanks.get(usize::from(delivery.setup.tank));
        let (low, high) = expected.map_or((None, None), |e| (e.temperature_low, e.temperature_high));
        match self.readings.credible(line) {
            _ if low.is_none() && high.is_none() => Condition::False,
            Some(now) => yes(low.is_some_and(|low| now < low.0) || high.is_some_and(|high| now > high.0)),
            None => Condition::Unknown,
        }
    }

    /// What is in the tank of this delivery is colder than the coldest load that it takes: what comes in mixes with it, and
    /// stands in its lines.
    pub(super) fn near_freezing(&self) -> Condition {
        let Some(delivery) = self.delivery else { return Condition::False };
        let tank = delivery.setup.tank;
        let low = self.settings.expected.tanks.get(usize::from(tank)).and_then(|tank| tank.temperature_low);
        let signal = Readings::find(self.settings, SignalKind::TankTemperature, Some(tank));
        let (Some(low), Some(signal)) = (low, signal) else { return Condition::False };
        self.readings.credible(signal).map_or(Condition::Unknown, |now| yes(now < low.0))
    }

    /// The pad pressure is measured on the supply side, or not at all: with the gas shut nobody knows the trailer's.
    pub(super) fn pad_not_known(&self) -> Condition {
        let measured = Readings::find(self.settings, SignalKind::PadPressure, None).is_some();
        let by_supply = measured && self.settings.pad_tap == PadTap::Supply;
        yes(self.transferring() && (by_supply || !measured && self.settings.drive == Drive::Pad))
    }

    /// The pad gas is moister than the site allows.
    pub(super) fn dew_point_high(&self) -> Condition {
        let Some(signal) = Readings::find(self.settings, SignalKind::DewPoint, None) else { return Condition::False };
        match self.readings.credible(signal) {
            _ if !self.transferring() || self.settings.drive != Drive::Pad => Condition::False,
            Some(now) => yes(now > self.settings.expected.dew_point.0),
            None => Condition::Unknown,
        }
    }

    /// The earliest credible first gas has come.
    pub(super) fn first_gas_due(&self) -> Condition {
        match self.soon.first_gas {
            _ if !self.transferring() => Condition::False,
            Some(at) => yes(at <= self.at),
            None => Condition::Unknown,
        }
    }

    /// Whether a credible gauge of the tank, or one that is saturated, stands at that level or above, m.
    pub(super) fn level_at(&self, tank: u16, id: AlarmId, limit_m: f64) -> Condition {
        let limit_m = limit_m - self.back(id, tank);
        let delivery = self.delivery.map(|d| &d.setup).filter(|d| d.tank == tank);
        let mut by_level = self.signals(SignalKind::Level, tank).peekable();
        // What a pressure means hangs on the product: without papers a gauge that shows a level is enough.
        let by_pressure = delivery.is_some() || by_level.peek().is_none();
        let by_pressure = self.signals(SignalKind::LevelPressure, tank).filter(|_| by_pressure);
        super::condition::any(by_level.chain(by_pressure).map(|s| {
            let value = self.readings.credible(s).or(self.readings.at_least(s))?;
            let level = match delivery {
                Some(delivery) => gauge::to_level_m(self.settings, self.readings, delivery, s, value)?,
                None if self.settings.signals.get(usize::from(s))?.kind == SignalKind::Level => value,
                None => return None,
            };
            Some(level >= limit_m)
        }))
    }
}
