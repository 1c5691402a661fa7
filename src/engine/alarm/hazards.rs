//! Conditions that are about to hurt somebody: another product, a reaction, pressure beyond the plate, the wrong way round.

use super::condition::Sight;
use crate::engine::blow;
use crate::engine::frame::{Condition, Phase, Reason, Validity};
use crate::engine::input::AlarmId;
use crate::engine::reading::Readings;
use crate::engine::settings::{PadTap, SignalKind};
use crate::engine::witness::flow_rate;
use crate::engine::witness::scale::{self, GONE_KG};

/// Two liquids that mix are no warmer than the warmer of the two: beyond this, K, or three standard uncertainties,
/// something gives off heat.
const WARMER_K: f64 = 3.0;
/// See above.
const WARMER_SIGMAS: f64 = 3.0;
/// Backwards through the meter, kg/s (or the same in the meter's litres).
pub(crate) const BACKWARDS_KG_PER_S: f64 = 0.2;
/// Pad below the tank's pressure by more than this, Pa: both gauges may be off by their zeros.
const BELOW_SIGMAS: f64 = 3.0;

fn yes(holds: bool) -> Condition {
    if holds { Condition::True } else { Condition::False }
}

impl Sight<'_> {
    fn in_transfer(&self) -> bool {
        self.delivery.is_some_and(|d| d.phase == Phase::Transfer)
    }

    /// The line's density is not that of the papers.
    pub(super) fn wrong_product(&self) -> Condition {
        match self.product.is_another(self.back(AlarmId::WrongProduct, 0)) {
            _ if !self.in_transfer() => Condition::False,
            Some(is_another) => yes(is_another),
            None if Readings::find(self.settings, SignalKind::LineDensity, None).is_none() => Condition::False,
            None => Condition::Unknown,
        }
    }

    /// The tank is warmer than what was in it and what comes in.
    pub(super) fn possible_reaction(&self) -> Condition {
        let Some(delivery) = self.delivery else { return Condition::False };
        let tank = Some(delivery.setup.tank);
        let Some(signal) = Readings::find(self.settings, SignalKind::TankTemperature, tank) else {
            return Condition::False;
        };
        let zero = self.settings.signals.get(usize::from(signal)).map_or(0.0, |s| s.zero);
        let Some(start) = delivery.start(signal) else { return Condition::False };
        let Some(now) = self.readings.credible(signal) else { return Condition::Unknown };
        let line = self.readings.credible_kind(self.settings, SignalKind::LineTemperature, None);
        let load_c = delivery.setup.product.load_temperature.0;
        let warmest = start.value.max(line.map_or(load_c, |line| line.max(load_c)));
        let back = self.back(AlarmId::PossibleReaction, delivery.setup.tank);
        yes(now > warmest + WARMER_K.max(WARMER_SIGMAS * zero) - back)
    }

    fn pad_over(&self, limit_pa: Option<f64>, of: AlarmId) -> Condition {
        let Some(limit_pa) = limit_pa.map(|limit_pa| limit_pa - self.back(of, 0)) else { return Condition::Unknown };
        let Some(signal) = Readings::find(self.settings, SignalKind::PadPressure, None) else {
            return Condition::Unknown;
        };
        match self.readings.credible(signal).or(self.readings.at_least(signal)) {
            Some(pressure) if pressure > limit_pa => Condition::True,
            Some(_) if self.settings.pad_tap == PadTap::Trailer => Condition::False,
            _ => Condition::Unknown,
        }
    }

    /// Above the plate's MAWP (49 CFR 180.407(a)(2): not to be passed).
    pub(super) fn pad_above_mawp(&self) -> Condition {
        self.delivery
            .map_or(Condition::False, |d| self.pad_over(d.setup.plate.mawp.map(|p| p.0), AlarmId::PadAboveMawp))
    }

    /// Where the trailer's relief valve may open at any moment.
    pub(super) fn pad_in_relief_window(&self) -> Condition {
        self.delivery.map_or(Condition::False, |d| {
            self.pad_over(d.setup.plate.relief_from.map(|p| p.0), AlarmId::PadInReliefWindow)
        })
    }

    /// The tank would push back: liquid, or moist gas, towards the trailer.
    pub(super) fn pad_below_tank(&self) -> Condition {
        let Some(delivery) = self.delivery.filter(|_| self.in_transfer()) else { return Condition::False };
        let find = |kind, tank| Readings::find(self.settings, kind, tank);
        let Some(tank) = find(SignalKind::TankPressure, Some(delivery.setup.tank)) else { return Condition::False };
        let Some(pad) = find(SignalKind::PadPressure, None) else { return Condition::False };
        let zero = |s: u16| self.settings.signals.get(usize::from(s)).map_or(0.0, |s| s.zero);
        let back = self.back(AlarmId::PadBelowTank, 0);
        match (self.readings.credible(pad), self.readings.credible(tank)) {
            (Some(p), Some(t)) => yes(p < t + back - BELOW_SIGMAS * (zero(pad) + zero(tank))),
            _ => Condition::Unknown,
        }
    }

    /// Backwards through the meter.
    pub(super) fn reverse_flow(&self) -> Condition {
        let Some(kind) = flow_rate(self.settings) else { return Condition::False };
        let most = BACKWARDS_KG_PER_S - self.back(AlarmId::ReverseFlow, 0);
        let most = if kind == SignalKind::FlowMassRate { most } else { most / 1000.0 };
        match self.readings.credible_kind(self.settings, kind, None) {
            Some(rate) => yes(rate < -most),
            None => Condition::Unknown,
        }
    }

    /// Somebody has put the shut-off out of action.
    pub(super) fn shutoff_bypassed(&self) -> Condition {
        match Readings::find(self.settings, SignalKind::ShutoffBypassed, None) {
            None => Condition::False,
            Some(signal) => self.readings.credible(signal).map_or(Condition::Unknown, |value| yes(value != 0.0)),
        }
    }

    /// A delivery is open, and the contact that tells of a bypass says nothing.
    pub(super) fn shutoff_unknown(&self) -> Condition {
        let open = self.delivery.is_some_and(|d| matches!(d.phase, Phase::Opened | Phase::Transfer));
        match Readings::find(self.settings, SignalKind::ShutoffBypassed, None) {
            Some(signal) if open => yes(self.readings.credible(signal).is_none()),
            _ => Condition::False,
        }
    }

    /// The scale carries less than the trailer must weigh with what is still on it: it has moved off.
    pub(super) fn truck_gone(&self) -> Condition {
        let Some(delivery) = self.delivery.filter(|_| self.in_transfer()) else { return Condition::False };
        let Some(signal) = Readings::find(self.settings, SignalKind::Scale, None) else { return Condition::False };
        let Some(start) = delivery.start(signal) else { return Condition::False };
        match self.readings.credible(signal).or(self.empty_scale_kg(signal)) {
            Some(now) => {
                let back_kg = self.back(AlarmId::TruckGone, 0);
                yes(scale::is_gone(self.settings, start.value, delivery.loaded_kg, now, back_kg))
            }
            None => Condition::Unknown,
        }
    }

    /// A scale that shows less than its range, by no more than its zero can have moved, carries nothing. It is no mass to
    /// count with, and tells that the trailer is not there.
    fn empty_scale_kg(&self, signal: u16) -> Option<f64> {
        let low_kg = self.settings.signals.get(usize::from(signal))?.plausible_low;
        let below = self.readings.validity(signal) == Validity::Lost(Reason::OutOfRange);
        self.readings.last(signal).filter(|kg| below && (low_kg - GONE_KG..low_kg).contains(kg))
    }

    /// Near the tank's own limit or above. Without a limit in the site file, or a gauge, there is nothing to hold it against.
    pub(super) fn tank_pressure_high(&self, tank: u16) -> Condition {
        let limit = self.settings.blow.vents.get(usize::from(tank)).and_then(|vent| vent.limit);
        let fitted = Readings::find(self.settings, SignalKind::TankPressure, Some(tank));
        if limit.is_none() || fitted.is_none() {
            return Condition::False;
        }
        blow::tank_pressure(self.settings, self.readings, tank).0
    }

    /// One response time before the earliest credible first gas or level.
    pub(super) fn be_at_valve(&self) -> Condition {
        match self.valve_by {
            _ if !self.in_transfer() => Condition::False,
            Some(by) => yes(by <= self.at),
            None => Condition::Unknown,
        }
    }
}
