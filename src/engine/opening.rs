//! Whether anything but the gauge itself says how full the tank is before a load comes in.
//!
//! A gauge that is low from the start is low all through: no comparison of what moved can show it. So the room is not
//! proven until a second gauge, a person's dip, or the last closing level with the use measured since says the same. Two
//! independent sources of u1 and u2 that agree leave u1 u2 / sqrt(u1^2 + u2^2) (the weighted mean's); the level that counts for safety stays the larger one.

use super::delivery::{Delivery, RateIntegral};
use super::frame::{CheckedBy, Opening, VerdictWord};
use super::gauge;
use super::input::Closing;
use super::neighbour::Neighbours;
use super::reading::Readings;
use super::settings::{DeliverySetup, DrawOff, Settings, SignalKind, TankSetup};
use super::witness::geometry;
use crate::units::Metre;

/// Two sources agree within so many standard uncertainties of their difference (95 %).
const AGREE_SIGMAS: f64 = 2.0;
/// A source less certain than this many times the gauge's own doubt proves nothing.
const WORTH: f64 = 2.0;

/// A level by somebody or something else.
#[derive(Debug, Clone, Copy)]
struct Other {
    by: CheckedBy,
    level_m: f64,
    u_m: f64,
}

/// What is asked.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// The bay.
    pub settings: &'a Settings,
    /// What the signals say.
    pub readings: &'a Readings,
    /// The delivery that was opened.
    pub delivery: &'a Delivery,
    /// Where this tank stood last, and what has been used since.
    pub stock: Option<&'a Stock>,
    /// Other bays that fill the tank.
    pub neighbours: &'a Neighbours,
}

impl Scene<'_> {
    /// What says the same as the gauge, what says otherwise, and what the level may then be off.
    #[must_use]
    pub fn check(&self) -> Opening {
        let setup = &self.delivery.setup;
        let Some(tank) = self.settings.tanks.get(usize::from(setup.tank)) else { return Opening::default() };
        let unproven = Opening { doubt_m: tank.opening_u.0, ..Opening::default() };
        let mut gauges = gauge::of_tank(self.settings, setup.tank).filter_map(|signal| {
            let level_m = gauge::level_m(self.settings, self.readings, setup, signal)?;
            Some((signal, level_m))
        });
        let Some(own) = gauges.next() else { return unproven };
        let Some(own_u_m) = gauge::u_m(self.settings, self.readings, setup, own) else { return unproven };
        let second = gauges.find(|(signal, _)| gauge::apart(self.settings, own.0, *signal));
        let second = second.and_then(|(signal, level_m)| {
            let u_m = gauge::u_m(self.settings, self.readings, setup, (signal, level_m))?;
            Some(Other { by: CheckedBy::Gauge(signal), level_m, u_m })
        });
        let dip = self.delivery.dip_m.zip(tank.hand_dip_u);
        let dip = dip.map(|(level_m, u)| Other { by: CheckedBy::HandDip, level_m, u_m: u.0 });
        let stock = self.stock.filter(|_| !self.neighbours.share(setup.tank));
        let closing =
            stock.and_then(|stock| stock.level(tank, setup, self)).filter(|_| tank.draw_off == DrawOff::Measured);
        let mut opening = unproven;
        for other in [dip, second, closing].into_iter().flatten() {
            let both = own_u_m * own_u_m + other.u_m * other.u_m;
            if (own.1 - other.level_m).abs() > AGREE_SIGMAS * both.sqrt() {
                opening.against = opening.against.or(Some(other.by));
            } else if other.u_m <= WORTH * own_u_m && opening.proven_by.is_none() {
                opening.proven_by = Some(other.by);
                opening.doubt_m = if both > 0.0 { own_u_m * other.u_m / both.sqrt() } else { 0.0 };
            }
        }
        // One that says otherwise is not outvoted: somebody must find out which is right.
        if opening.against.is_some() { Opening { against: opening.against, ..unproven } } else { opening }
    }
}

/// Where a tank stood when its last load was in, and what has been drawn off since.
#[derive(Debug, Clone, Default)]
pub struct Stock {
    closing: Option<Closing>,
    used: RateIntegral,
}

impl Stock {
    /// As the segment before left it.
    #[must_use]
    pub fn carried(closing: Option<Closing>) -> Stock {
        Stock { closing, used: RateIntegral::default() }
    }

    /// For the next segment.
    #[must_use]
    pub fn carry(&self) -> Option<Closing> {
        let closing = self.closing?;
        let gap_kg = closing.gap_kg + self.used.gap_total;
        Some(Closing { used_kg: closing.used_kg + self.used.total, gap_kg, ..closing })
    }

    /// A load is in.
    pub fn close(&mut self, settings: &Settings, readings: &Readings, delivery: &Delivery, word: VerdictWord) {
        *self = Stock::default();
        let setup = &delivery.setup;
        let Some(tank) = settings.tanks.get(usize::from(setup.tank)) else { return };
        let mut gauges = gauge::of_tank(settings, setup.tank);
        let Some(level_m) = gauges.find_map(|signal| gauge::level_m(settings, readings, setup, signal)) else { return };
        // Nothing proved where it stood, or the witnesses were at odds over what came in: then it proves nothing.
        if delivery.opening.proven_by.is_none() || word != VerdictWord::Agree {
            return;
        }
        let kg_per_m = kg_per_m(settings, readings, setup, tank, level_m).unwrap_or(f64::INFINITY);
        // Whether the hose was blown clear before the entry nobody knows (rectangular, JCGM 100:2008, 4.3.7).
        let blown_m = settings.line.blow_clear.0 / kg_per_m;
        let u_m = (delivery.opening.doubt_m * delivery.opening.doubt_m + blown_m * blown_m / 3.0).sqrt();
        self.closing = Some(Closing { level_m, u_m, used_kg: 0.0, gap_kg: 0.0 });
    }

    /// What is drawn off between loads is summed.
    pub fn take(&mut self, settings: &Settings, readings: &Readings, tank: u16) {
        if self.closing.is_none() {
            return;
        }
        let Some(signal) = Readings::find(settings, SignalKind::DrawOff, Some(tank)) else { return };
        let Some(setup) = settings.signals.get(usize::from(signal)) else { return };
        let gap_s = settings.devices.get(usize::from(setup.device)).map_or(2.0, |d| d.period_s + d.time_out_s);
        if let (Some(rate), Some(at)) = (readings.credible(signal), readings.read_at(signal)) {
            self.used.take(at, rate, gap_s);
        }
    }

    /// Where the tank should stand now.
    fn level(&self, tank: &TankSetup, setup: &DeliverySetup, scene: &Scene<'_>) -> Option<Other> {
        let closing = self.carry()?;
        let signal = Readings::find(scene.settings, SignalKind::DrawOff, Some(setup.tank))?;
        // Since then it has been measured until now, or there is nothing to go by.
        scene.readings.credible(signal)?;
        let gain = scene.settings.signals.get(usize::from(signal))?.gain;
        let kg_per_m = kg_per_m(scene.settings, scene.readings, setup, tank, closing.level_m)?;
        let (density, _) = gauge::density(scene.settings, scene.readings, setup)?;
        let volume = geometry::volume(&tank.geometry, Metre(closing.level_m))?.0 - closing.used_kg / density;
        let level_m = geometry::level(&tank.geometry, volume)?;
        let used_u_kg = gain * closing.used_kg + closing.gap_kg / (2.0 * 3.0_f64.sqrt());
        let used_m = used_u_kg / kg_per_m;
        let u_m = (closing.u_m * closing.u_m + used_m * used_m).sqrt();
        Some(Other { by: CheckedBy::LastClosing, level_m, u_m })
    }
}

fn kg_per_m(
    settings: &Settings,
    readings: &Readings,
    setup: &DeliverySetup,
    tank: &TankSetup,
    level_m: f64,
) -> Option<f64> {
    let (density, _) = gauge::density(settings, readings, setup)?;
    geometry::area(&tank.geometry, Metre(level_m)).map(|area| area * density).filter(|kg| *kg > 0.0)
}
