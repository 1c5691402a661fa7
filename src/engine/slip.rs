//! Slips of a site file that the first readings betray.
//!
//! What cannot be seen in the file shows when the device answers: words swapped, an absolute pressure for a gauge one,
//! net for gross, a factor of ten. A value out of its plausible range is lost in any case; here it is only said what
//! may be behind it. A value in range can still be impossible for a trailer that has just arrived and a line in which
//! nothing moves: such a one is doubtful until it changes, from before the transfer to its end.
//!
//! What this stage believes: what stands on the scale weighs more than the load alone; nothing enters the tank before
//! the transfer; a liquid in the line is no denser than the papers say by far; a gauge in the open air shows nothing.

use super::delivery::Delivery;
use super::frame::{Phase, Reading, Reason, Slip, Validity};
use super::gauge;
use super::neighbour::Neighbours;
use super::reading::Readings;
use super::settings::{RestsOnScale, Settings, SignalKind, SignalSetup};
use super::total;
use super::witness::density;
use crate::time::EngineTime;
use crate::units::{ATMOSPHERE_PA, Celsius};

/// No instrument of a bay counts in steps as small, in SI: the words of a number were put together in another order.
const TINY: f64 = 1e-30;
/// Nor does one miss its plausible range by this factor: ten times the largest prefix.
const HUGE: f64 = 1e4;

/// The air's pressure is within this of the standard atmosphere near the sea, Pa (about 3 % by the weather).
const WEATHER_PA: f64 = 5_000.0;

/// A tank that nothing enters changes its pressure by less before a transfer, Pa: breathing and blanketing (assumption).
const TANK_MOVES_PA: f64 = 5_000.0;

/// Less than this is no trailer, kg.
pub(super) const TRAILER_LEAST_KG: f64 = 1_000.0;
/// A trailer weighs at least this part of its load (assumption).
const TARE_LEAST: f64 = 0.1;
/// Nor, with its tractor, this much more than its load, kg (assumption).
const TARE_MOST_KG: f64 = 30_000.0;
/// And no combination of one trailer more than this, kg: 36 t by 23 CFR 658.17, 44 t by Directive 96/53/EC, and some.
const GROSS_MOST_KG: f64 = 50_000.0;
/// A weight within this part of the load is the load's own: net.
const NET_WITHIN: f64 = 0.05;
/// International avoirdupois pound in kg (exact).
const POUND_KG: f64 = 0.453_592_37;

/// Two temperatures so far apart are not the same, K; so near they are.
const APART_K: f64 = 15.0;
/// See above.
const SAME_K: f64 = 3.0;

/// A liquid denser than its papers say by this factor is another, or its density is in another unit.
const DENSER: f64 = 1.15;

/// Two gauges of one tank may rise unlike by so many standard uncertainties, and for so long, s: foam lasts no longer
/// (assumption).
const APART_SIGMAS: f64 = 4.0;
/// See above.
const APART_S: f64 = 60.0;

/// Ten, a hundred, a thousand: prefixes, and slips of `scale`.
const FACTORS: [u16; 3] = [10, 100, 1000];

/// Whether a number is too small for any instrument but one whose value dies away, as a damped flow rate's does.
pub(super) fn is_no_measure(kind: SignalKind, value: f64) -> bool {
    use SignalKind as K;
    let dies_away = matches!(kind, K::FlowMassRate | K::FlowVolumeRate | K::DrawOff);
    value != 0.0 && value.abs() < TINY && !dies_away
}

fn is_temperature(kind: SignalKind) -> bool {
    use SignalKind as K;
    matches!(kind, K::LineTemperature | K::TankTemperature | K::PadGasTemperature | K::DewPoint)
}

fn is_pressure(kind: SignalKind) -> bool {
    use SignalKind as K;
    matches!(kind, K::PadPressure | K::TankPressure | K::GasSupplyPressure | K::LevelPressure)
}

fn is_one_atmosphere(pa: f64) -> bool {
    (pa - ATMOSPHERE_PA).abs() < WEATHER_PA
}

/// What a reading that cannot be used looks like; `None` where it looks like nothing known.
#[must_use]
pub fn of_lost(setup: &SignalSetup, reading: &Reading) -> Option<Slip> {
    match (reading.validity, reading.value_si) {
        // Modbus Application Protocol V1.1b3, 7: illegal function, illegal data address, illegal data value.
        (Validity::Lost(Reason::DeviceException(1)), _) => Some(Slip::Function),
        (Validity::Lost(Reason::DeviceException(2 | 3)), _) => Some(Slip::Register),
        (Validity::Lost(Reason::NotANumber), _) => Some(Slip::WordOrder),
        (Validity::Lost(Reason::Unlikely(slip)), _) => Some(slip),
        (Validity::Lost(Reason::OutOfRange), Some(value)) => of_value(setup, value),
        _ => None,
    }
}

fn of_value(setup: &SignalSetup, value: f64) -> Option<Slip> {
    let (low, high) = (setup.plausible_low, setup.plausible_high);
    let most = low.abs().max(high.abs()).max(1.0);
    let within = |value: f64| value >= low && value <= high;
    if is_no_measure(setup.kind, value) || value.abs() > HUGE * most {
        return Some(Slip::WordOrder);
    }
    if is_pressure(setup.kind) && is_one_atmosphere(value.abs()) {
        return Some(Slip::Atmosphere);
    }
    let factor = FACTORS.into_iter().find(|factor| value.abs() > most && within(value / f64::from(*factor)));
    if let Some(factor) = factor {
        return Some(Slip::Factor(factor));
    }
    let fahrenheit = is_temperature(setup.kind) && within((value - 32.0) / 1.8);
    fahrenheit.then_some(Slip::Fahrenheit)
}

/// What the first readings were, to hold later ones against.
#[derive(Debug, Clone, Default)]
pub(super) struct Arrival {
    /// First usable value of each signal, SI.
    first: Vec<Option<f64>>,
    /// Since when two gauges of the tank have risen by unlike lengths.
    apart_since: Option<EngineTime>,
    /// They were found to.
    apart: bool,
}

impl Arrival {
    /// Looks at every signal anew while nothing may move; what was doubted then stays so while the transfer is on.
    /// From then on only totals are looked at.
    pub fn look(
        &mut self,
        settings: &Settings,
        readings: &mut Readings,
        delivery: Option<&Delivery>,
        neighbours: &Neighbours,
        at: EngineTime,
    ) {
        match delivery.map(|d| (d, d.phase)) {
            None | Some((_, Phase::Idle | Phase::Opened)) => self.before(settings, readings, delivery, neighbours),
            Some((delivery, Phase::Transfer)) => {
                totals(settings, readings, delivery);
                self.two_gauges(settings, readings, delivery, at);
            }
            Some((_, Phase::Closed)) => forgive(settings, readings),
        }
    }

    fn before(
        &mut self,
        settings: &Settings,
        readings: &mut Readings,
        delivery: Option<&Delivery>,
        neighbours: &Neighbours,
    ) {
        self.first.resize(settings.signals.len(), None);
        for (index, setup) in (0u16..).zip(&settings.signals) {
            let first = &mut self.first[usize::from(index)];
            let Some(value) = readings.credible(index) else { continue };
            let first = *first.get_or_insert(value);
            let slip = match delivery {
                None => at_rest(setup.kind, first, value),
                // What another bay fills in moves the tank's level and pressure rightly.
                Some(delivery) if setup.tank.is_some_and(|tank| neighbours.share(tank)) => {
                    gauges_differ(settings, readings, delivery, index)
                }
                Some(delivery) => standing(setup.kind, first, value)
                    .or_else(|| of_load(settings, setup, value, delivery))
                    .or_else(|| gauges_differ(settings, readings, delivery, index)),
            };
            readings.doubt(index, slip);
        }
    }
}

/// The leg is closed: a total that had jumped, and had not yet shown that it counts on, is a total again. Else the next
/// load would begin without it.
fn forgive(settings: &Settings, readings: &mut Readings) {
    for (index, _) in (0u16..).zip(&settings.signals).filter(|(_, setup)| total::is_total(setup.kind)) {
        readings.doubt(index, None);
    }
}

impl Arrival {
    /// Two gauges whose levels rise by unlike lengths: foam on one of them passes, so it must last.
    fn two_gauges(&mut self, settings: &Settings, readings: &mut Readings, delivery: &Delivery, at: EngineTime) {
        let mut gauges = gauge::of_tank(settings, delivery.setup.tank);
        let (Some(a), Some(b)) = (gauges.next(), gauges.next()) else { return };
        let rise = |signal| gauge::rise(settings, readings, delivery, signal);
        let (Some(ra), Some(rb)) = (rise(a), rise(b)) else { return };
        let most_m = APART_SIGMAS * (ra.u * ra.u + rb.u * rb.u).sqrt();
        let differ = (ra.value - rb.value).abs() > most_m;
        self.apart_since = if differ { self.apart_since.or(Some(at)) } else { None };
        let lasts = self.apart_since.is_some_and(|since| at.since_s(since) >= APART_S);
        if lasts != self.apart {
            self.apart = lasts;
            for signal in [a, b] {
                readings.doubt(signal, lasts.then_some(Slip::GaugesDiffer));
            }
        }
    }
}

/// A total that jumped and has not shown yet that it counts on from there.
fn totals(settings: &Settings, readings: &mut Readings, delivery: &Delivery) {
    for (index, setup) in (0u16..).zip(&settings.signals) {
        if total::is_total(setup.kind) {
            readings.doubt(index, delivery.counted.jumped().then_some(Slip::TooFast));
        }
    }
}

/// What a pressure says while nobody unloads: a hose that hangs in the air is at its pressure.
fn at_rest(kind: SignalKind, first: f64, value: f64) -> Option<Slip> {
    let open = matches!(kind, SignalKind::PadPressure | SignalKind::TankPressure);
    (open && is_one_atmosphere(first) && is_one_atmosphere(value)).then_some(Slip::Atmosphere)
}

/// What a pressure says while a trailer stands there and nothing moves. Its pad may be at any, one atmosphere included:
/// 15 psi gauge is usual.
fn standing(kind: SignalKind, first: f64, value: f64) -> Option<Slip> {
    if kind != SignalKind::TankPressure {
        return None;
    }
    let moves = (value - first).abs() > TANK_MOVES_PA;
    at_rest(kind, first, value).or(moves.then_some(Slip::OtherSignal))
}

/// Two gauges of the tank that is filled, each with its own way to err, say another level.
fn gauges_differ(settings: &Settings, readings: &Readings, delivery: &Delivery, index: u16) -> Option<Slip> {
    let own = level_m(settings, readings, delivery, index)?;
    let others = (0u16..).take(settings.signals.len()).filter(|other| *other != index);
    let other = others.filter_map(|other| level_m(settings, readings, delivery, other)).next()?;
    let opening_u = settings.tanks.get(usize::from(delivery.setup.tank))?.opening_u.0;
    // Two gauges, two standard uncertainties each; a hydrostatic one by the papers' density, a hundredth of the level.
    let most = 4.0 * opening_u + 0.01 * own.max(other);
    ((own - other).abs() > most).then_some(Slip::GaugesDiffer)
}

/// The level that a gauge of that tank says.
fn level_m(settings: &Settings, readings: &Readings, delivery: &Delivery, index: u16) -> Option<f64> {
    settings.signals.get(usize::from(index)).filter(|s| s.tank == Some(delivery.setup.tank))?;
    gauge::level_m(settings, readings, &delivery.setup, index)
}

/// What a value says beside the papers of a load that has not begun to move.
fn of_load(settings: &Settings, setup: &SignalSetup, value: f64, delivery: &Delivery) -> Option<Slip> {
    match setup.kind {
        SignalKind::Scale => of_scale(settings.rests_on_scale, value, delivery.loaded_kg),
        SignalKind::LineTemperature | SignalKind::TankTemperature => {
            of_temperature(value, delivery.setup.product.load_temperature)
        }
        SignalKind::LineDensity => {
            let product = &delivery.setup.product;
            let papers = density::actual(product, product.load_temperature)?.density.0;
            (value > DENSER * papers).then_some(Slip::OtherDensity)
        }
        _ => None,
    }
}

/// All of the trailer stands on the scale.
pub(super) fn carries_whole(rests: RestsOnScale) -> bool {
    matches!(rests, RestsOnScale::Trailer | RestsOnScale::TractorAndTrailer)
}

fn of_scale(rests: RestsOnScale, shown_kg: f64, loaded_kg: f64) -> Option<Slip> {
    let least_kg = (1.0 + TARE_LEAST) * loaded_kg;
    let most_kg = (loaded_kg + TARE_MOST_KG).max(GROSS_MOST_KG);
    let likely = |kg: f64| kg >= least_kg && kg <= most_kg;
    if !carries_whole(rests) || shown_kg < TRAILER_LEAST_KG || likely(shown_kg) {
        return None;
    }
    let net = (shown_kg - loaded_kg).abs() < NET_WITHIN * loaded_kg;
    let other = if shown_kg < least_kg { shown_kg / POUND_KG } else { shown_kg * POUND_KG };
    Some(match net {
        true => Slip::Net,
        false if likely(other) => Slip::Pound,
        false => FACTORS.into_iter().find(|f| likely(shown_kg * f64::from(*f))).map_or(Slip::NotTheLoad, Slip::Factor),
    })
}

fn of_temperature(shown_c: f64, papers: Celsius) -> Option<Slip> {
    let near = |c: f64| (c - papers.0).abs() < SAME_K;
    let turned = near((shown_c - 32.0) / 1.8) || near(1.8 * shown_c + 32.0);
    ((shown_c - papers.0).abs() > APART_K && turned).then_some(Slip::Fahrenheit)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::input::Status;

    fn setup(kind: SignalKind, low: f64, high: f64) -> SignalSetup {
        SignalSetup { plausible_low: low, plausible_high: high, ..SignalSetup::plain(kind) }
    }

    fn lost(kind: SignalKind, (low, high): (f64, f64), reason: Reason, value: f64) -> Option<Slip> {
        let reading = Reading {
            signal: 0,
            value_si: Some(value),
            read_at: None,
            validity: Validity::Lost(reason),
            status: Status::Fair,
            at_least_si: None,
        };
        of_lost(&setup(kind, low, high), &reading)
    }

    /// 1.0 as IEEE 754 single is 3F80 0000, its words swapped 0000 3F80: 2.278e-41 (a subnormal number: 16256 x 2^-149).
    #[test]
    fn what_is_lost_looks_like_something() {
        use SignalKind as K;
        let (level, pad, tank, warm) = ((0.0, 8.0), (-1e4, 4e5), (-5e3, 1e5), (-40.0, 150.0));
        let swapped = f64::from(f32::from_bits(0x0000_3F80));
        assert!((swapped / 2.278e-41 - 1.0).abs() < 1e-3 && is_no_measure(K::Level, swapped));
        for (kind, range, value, slip) in [
            (K::Level, level, swapped, Some(Slip::WordOrder)),
            (K::Level, level, -4.6e17, Some(Slip::WordOrder)),
            (K::Level, level, 1600.0, Some(Slip::Factor(1000))),
            (K::Level, level, 16.0, Some(Slip::Factor(10))),
            (K::Level, level, -1.0, None),
            (K::PadPressure, pad, -101_000.0, Some(Slip::Atmosphere)),
            (K::TankPressure, tank, 101_325.0, Some(Slip::Atmosphere)),
            (K::PadPressure, pad, 890_000.0, Some(Slip::Factor(10))),
            (K::LineTemperature, warm, 210.0, Some(Slip::Factor(10))),
            (K::LineTemperature, (-40.0, 60.0), 95.0, Some(Slip::Factor(10))),
            (K::LineTemperature, (50.0, 90.0), 158.0, Some(Slip::Fahrenheit)),
        ] {
            assert_eq!(lost(kind, range, Reason::OutOfRange, value), slip, "{kind:?} {value}");
        }
        assert_eq!(lost(K::Level, level, Reason::DeviceException(1), 0.0), Some(Slip::Function));
        assert_eq!(lost(K::Level, level, Reason::DeviceException(2), 0.0), Some(Slip::Register));
        assert_eq!(lost(K::Level, level, Reason::DeviceException(4), 0.0), None, "its own fault, not the file's");
        assert_eq!(lost(K::Level, level, Reason::Stale, 0.0), None);
        assert!(!is_no_measure(K::FlowMassRate, swapped), "a damped rate dies away");
    }

    /// A trailer of 14 t that carries 20 t: 34 t are 74,957 lb.
    #[test]
    fn what_stands_on_the_scale_weighs_more_than_its_load() {
        let scale = |kg| of_scale(RestsOnScale::Trailer, kg, 20_000.0);
        assert_eq!((scale(34_000.0), scale(22_000.0), scale(49_000.0)), (None, None, None));
        assert_eq!(scale(20_300.0), Some(Slip::Net));
        assert_eq!(scale(34_000.0 * POUND_KG), Some(Slip::Pound));
        assert_eq!(scale(74_957.0), Some(Slip::Pound));
        assert_eq!(scale(3_400.0), Some(Slip::Factor(10)));
        assert_eq!(scale(2_100.0), Some(Slip::NotTheLoad), "factor 10 would still be less than the load and a trailer");
        assert_eq!(scale(0.0), None, "nothing stands there yet");
        assert_eq!(of_scale(RestsOnScale::Part, 20_300.0, 20_000.0), None);
    }

    #[test]
    fn celsius_and_fahrenheit() {
        assert_eq!(of_temperature(-6.1, Celsius(21.0)), Some(Slip::Fahrenheit));
        assert_eq!(of_temperature(69.8, Celsius(21.0)), Some(Slip::Fahrenheit));
        for sound in [21.0, 10.0, 33.0, 45.0, -20.0] {
            assert_eq!(of_temperature(sound, Celsius(21.0)), None, "{sound}");
        }
    }

    #[test]
    fn pressures_that_stand_where_they_should_not() {
        let (pad, tank) = (SignalKind::PadPressure, SignalKind::TankPressure);
        assert_eq!(at_rest(pad, 101_000.0, 101_500.0), Some(Slip::Atmosphere));
        assert_eq!(at_rest(pad, 35_000.0, 101_500.0), None, "on its way up");
        assert_eq!(at_rest(pad, 101_000.0, 140_000.0), None);
        assert_eq!(standing(pad, 101_000.0, 101_500.0), None, "a trailer may come with it");
        assert_eq!(standing(tank, 99_000.0, 99_100.0), Some(Slip::Atmosphere));
        assert_eq!(standing(tank, 500.0, 18_000.0), Some(Slip::OtherSignal));
        assert_eq!(standing(tank, 500.0, 900.0), None);
    }
}
