//! The trailer's pressure: its ceiling is typed in or it is not set.

use super::bay::{START_S, Story, shipped};
use brimwatch::engine::frame::{CeilingBy, Condition};
use brimwatch::engine::input::{AlarmId, AlarmKey};
use brimwatch::engine::settings::{DeadBand, SignalKind};
use brimwatch::units::{GaugePa, Unit};

const NEAR: AlarmKey = AlarmKey { id: AlarmId::PadNearCeiling, subject: 0 };

fn psi(value: f64) -> f64 {
    Unit::parse("psi gauge").expect("a unit").to_si(value)
}

#[test]
fn the_ceiling_is_the_lowest_of_all_and_never_the_relief() {
    let story = Story::transferring(START_S + 30);
    let pad = story.last.pad;
    assert!((pad.ceiling_pa_gauge.expect("set") - psi(25.0)).abs() < 1e-6);
    assert_eq!(pad.ceiling_by, Some(CeilingBy::Site));
    // A trailer for 20 psi in a works that allows 25: 49 CFR 180.407(a)(2), never above MAWP.
    let (settings, mut delivery) = shipped();
    delivery.plate.mawp = Some(GaugePa(psi(20.0)));
    let mut weaker = Story::with(settings, delivery);
    weaker.run_to(5);
    assert_eq!(weaker.last.pad.ceiling_by, Some(CeilingBy::Mawp));
}

#[test]
fn without_the_plate_the_ceiling_is_not_set() {
    let (settings, mut delivery) = shipped();
    delivery.plate.mawp = None;
    let mut story = Story::with(settings, delivery);
    story.run_to(5);
    assert_eq!(story.last.pad.ceiling_pa_gauge, None);
    assert!(!story.monitor.has_open(NEAR));
    // What is set still counts.
    story.bend = |truth| truth.pad_pa = psi(24.5);
    story.run_to(6);
    assert!(story.monitor.has_open(NEAR));
}

#[test]
fn near_the_ceiling_is_said_at_the_poll_that_shows_it() {
    let mut story = Story::transferring(START_S + 100);
    story.bend = |truth| truth.pad_pa = psi(24.5);
    story.run_to(START_S + 101);
    assert!(story.monitor.has_open(NEAR));
    // Back, seen, and gone after the off-delay.
    story.bend = |_| {};
    story.entry(brimwatch::engine::input::What::Seen(NEAR));
    story.run_to(START_S + 130);
    assert!(!story.monitor.has_open(NEAR));
}

/// A regulator that swings by a tenth of a psi about the limit: without a dead-band the alarm comes at each swing, with one
/// that is wider it stays open, and it comes at the same second. Once the pad is back beyond the band it goes.
#[test]
fn a_dead_band_keeps_an_open_alarm_and_delays_none() {
    let swing: fn(&mut super::bay::Truth) = |truth| {
        let up = (truth.s / 30).is_multiple_of(2);
        truth.pad_pa = psi(0.95 * 25.0 + if up { 0.1 } else { -0.1 });
    };
    let came = |dead_bands: Vec<DeadBand>| {
        let (mut settings, delivery) = shipped();
        settings.thresholds.dead_bands = dead_bands;
        let mut story = Story::with(settings, delivery);
        story.start();
        story.bend = swing;
        let (mut came, mut open) = (Vec::new(), false);
        for s in START_S + 1..START_S + 300 {
            story.run_to(s);
            if story.monitor.has_open(NEAR) && !open {
                came.push(s);
            }
            open = story.monitor.has_open(NEAR);
            if open {
                story.entry(brimwatch::engine::input::What::Seen(NEAR));
            }
        }
        story.bend = |truth| truth.pad_pa = psi(0.95 * 25.0 - 0.4);
        story.run_to(START_S + 320);
        assert!(!story.monitor.has_open(NEAR));
        came
    };
    let without = came(Vec::new());
    assert!(without.len() >= 5, "{without:?}");
    let with = came(vec![DeadBand { alarm: AlarmId::PadNearCeiling, width_si: psi(0.3) }]);
    assert_eq!(with, without[..1]);
    // One that is narrower than the swing changes nothing; that of another alarm neither.
    for (alarm, wide) in [(AlarmId::PadNearCeiling, 0.05), (AlarmId::PadAboveMawp, 0.3)] {
        assert_eq!(came(vec![DeadBand { alarm, width_si: psi(wide) }]), without, "{alarm:?}");
    }
}

#[test]
fn a_rising_pad_says_when_it_will_be_there() {
    let mut story = Story::transferring(START_S + 100);
    assert_eq!(story.last.pad.to_ceiling_s, None, "a steady pad goes nowhere");
    // 50 Pa/s from 120 s on.
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    fn creep(truth: &mut super::bay::Truth) {
        truth.pad_pa += 50.0 * truth.s.saturating_sub(START_S + 100) as f64;
    }
    story.bend = creep;
    story.run_to(START_S + 200);
    let pad = story.last.pad;
    let expected_s = (psi(25.0) - pad.pressure_pa_gauge.expect("read")) / 50.0;
    assert!((pad.to_ceiling_s.expect("rising") / expected_s - 1.0).abs() < 0.05, "{pad:?}");
}

#[test]
fn a_lost_pad_signal_does_not_clear_the_alarm() {
    let mut story = Story::transferring(START_S + 100);
    story.bend = |truth| truth.pad_pa = psi(24.5);
    story.run_to(START_S + 101);
    story.silent = vec![story.device_of(SignalKind::PadPressure)];
    story.entry(brimwatch::engine::input::What::Seen(NEAR));
    story.run_to(START_S + 400);
    let alarm = story.last.alarms.iter().find(|a| a.key == NEAR).expect("still open");
    assert_eq!((alarm.condition, alarm.seen), (Condition::Unknown, true));
}
