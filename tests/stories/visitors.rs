//! Somebody steps on the deck while another instrument lies, hangs or is away: the scale never passes for good while it is
//! light by more than it says. What the swarm's deliveries 308, 413, 469, 520, 561, 3207, 4358, 5025 and 5837 have shown.

use super::driver::Bench;
use brimwatch::engine::frame::{Frame, Validity, WitnessId};
use brimwatch_simulator::bay::SimulatedBay;
use brimwatch_simulator::instruments::{Instrument, InstrumentFault, InstrumentSetup, Wrong};
use brimwatch_simulator::scenario;
use std::ops::Range;
use std::path::Path;

/// Who steps on weighs so much with his tools, kg.
const VISITOR_KG: f64 = 90.0;
/// A good mass is within so many of its own standard uncertainties, and what moves in a second, kg: as the swarm asks.
const SIGMAS: f64 = 5.0;
/// See above.
const SECOND_KG: f64 = 10.0;
/// A jump may have been rising for so long before it is seen, s (docs/method.md, "Disturbed").
const RISING_S: u64 = 15;
/// Each story is told of plants and instruments of these seeds.
const SEEDS: Range<u64> = 1..4;

/// What goes wrong: where, what, of this size, from when to when, s after the transfer was entered as started.
type Fault = (Instrument, Wrong, f64, Range<u64>);

/// A visitor, s after the start.
fn visit(at_s: Range<u64>) -> Fault {
    (Instrument::Scale, Wrong::Shift, VISITOR_KG, at_s)
}

/// Watches so many seconds of a transfer: what is good is within its u at every second. Gives those in which the scale was good.
#[expect(clippy::cast_precision_loss, reason = "minutes")]
fn watched(faults: &[Fault], seconds: u64, seed: u64) -> Vec<u64> {
    let (site, delivery) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let (settings, delivery) = (&site.bays[delivery.bay].settings, &delivery.setup);
    let high_m = scenario::instruments(settings, delivery.tank, seed).high_switch_m;
    let bay = SimulatedBay::with_instruments(settings, Some(delivery), seed, InstrumentSetup::nominal(high_m, seed));
    let mut bench = Bench::started(settings, delivery, bay);
    let began_s = bench.bay.plant().time_s();
    for (on, wrong, size, at_s) in faults {
        let fault = InstrumentFault::new(*wrong, *on, began_s + at_s.start as f64, *size);
        bench.bay.add_fault(fault.lasting((at_s.end - at_s.start) as f64));
    }
    let gauge_lies = faults.iter().any(|(on, ..)| *on == Instrument::Level);
    let mut good = Vec::new();
    for s in 0..seconds {
        let frame = bench.second();
        let truth_kg = bench.bay.plant().received_kg();
        for id in [WitnessId::Scale, WitnessId::Tank] {
            let Some((kg, u)) = good_kg(&frame, id).filter(|_| id == WitnessId::Scale || !gauge_lies) else { continue };
            let off_kg = (kg - truth_kg).abs();
            assert!(
                off_kg <= SIGMAS * u + SECOND_KG,
                "seed {seed}, {s} s: {id:?} is off by {off_kg:.0} kg, u {u:.0} kg"
            );
            if id == WitnessId::Scale {
                good.push(s);
            }
        }
    }
    good
}

/// Mass and u of a witness that is said to be good, kg.
fn good_kg(frame: &Frame, id: WitnessId) -> Option<(f64, f64)> {
    let witness = &frame.witnesses[id as usize];
    witness.received_kg.filter(|_| witness.validity == Validity::Good).map(|e| (e.value, e.u))
}

/// The scale is good until he steps on, and not good from when he has been seen until he leaves.
fn he_is_seen(good: &[u64], on_deck: &Range<u64>) {
    let passed: Vec<_> = good.iter().filter(|s| (on_deck.start + RISING_S..on_deck.end).contains(*s)).collect();
    assert!(passed.is_empty(), "good with {VISITOR_KG} kg on the deck at {passed:?}");
    assert!(good.contains(&(on_deck.start - 2)), "not good before him");
}

/// What a gauge that was off by 3 t has taught is no reason to take a visitor for one who was there all the time, nor for gone
/// while what was taught fades.
#[test]
fn after_a_gauge_has_lied_a_visitor_is_a_visitor() {
    for seed in SEEDS {
        let (lie, on_deck) = ((Instrument::Level, Wrong::Shift, 0.34, 130..550), 1_500..1_620);
        he_is_seen(&watched(&[lie, visit(on_deck.clone())], 1_900, seed), &on_deck);
    }
}

/// He steps on a minute after a gauge has come back: that the gauge fell then is no sign that the meter jumped now.
#[test]
fn a_gauge_that_came_back_before_him_does_not_make_him_the_meters_jump() {
    for seed in SEEDS {
        for after_s in [40, 45, 50, 55] {
            let back_s = 364;
            let on_deck = back_s + after_s..back_s + after_s + 60;
            let lie = (Instrument::Level, Wrong::Shift, -0.16, 130..back_s);
            let good = watched(&[lie, visit(on_deck.clone())], 600, seed);
            he_is_seen(&good, &on_deck);
            assert!(good.contains(&(on_deck.end + 60)), "good again once he has left");
        }
    }
}

/// A gauge that crept comes back as he steps on, and what it had taught fades: that makes nobody leave.
#[test]
fn a_gauge_that_crept_and_comes_back_does_not_make_him_leave() {
    for seed in SEEDS {
        for before_s in [2, 6, 10] {
            let back_s = 1_032;
            let on_deck = back_s + before_s..back_s + before_s + 100;
            let creeps = (Instrument::Level, Wrong::Creep, 0.46, 800..back_s);
            he_is_seen(&watched(&[creeps, visit(on_deck.clone())], 1_300, seed), &on_deck);
        }
    }
}

/// Scale and gauge alone: he is not forgotten once the time is over that a jump may rise. That he leaves looks as if another had gone
/// where the gauge was taken to foam, so the scale is good again once such an excuse is over, and what it leaves (400 s).
#[test]
fn while_the_meter_is_away_he_is_not_forgotten() {
    for seed in SEEDS {
        let (away, on_deck) = ((Instrument::Meter, Wrong::Exception, 0.0, 130..2_000), 600..720);
        let good = watched(&[away, visit(on_deck.clone())], 1_200, seed);
        he_is_seen(&good, &on_deck);
        assert!(good.contains(&(on_deck.end + 430)), "good again once he has left");
    }
}

/// He steps on just before a meter comes back whose total has lost what passed meanwhile.
#[test]
fn a_meter_that_comes_back_without_its_total_does_not_hide_him() {
    for seed in SEEDS {
        let away = (Instrument::Meter, Wrong::Saturated, 60.0, 810..900);
        for before_s in [2, 4, 7] {
            watched(&[away.clone(), visit(900 - before_s..1_000)], 1_200, seed);
        }
    }
}

/// A meter that hangs while the line fills, with somebody on the deck or nobody: what is evened out by it says so.
#[test]
fn a_meter_that_hangs_as_the_valve_opens_drags_nothing_along() {
    for seed in SEEDS {
        for hangs_s in [5, 15, 25, 35] {
            let hangs = (Instrument::Meter, Wrong::Stuck, 0.0, hangs_s..2_000);
            watched(std::slice::from_ref(&hangs), 300, seed);
            watched(&[hangs, visit(5..70)], 300, seed);
        }
    }
}
