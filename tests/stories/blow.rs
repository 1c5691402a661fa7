//! Gas behind the last liquid: what it will be against the vent, how often the hose was blown clear, the tank's own limit.

use super::bay::{START_S, Story, shipped};
use brimwatch::engine::Monitor;
use brimwatch::engine::delivery::Refusal;
use brimwatch::engine::input::{AlarmId, AlarmKey, Carried, What};
use brimwatch::engine::steps::{Against, Bar, Right, SignedBy, Step};
use brimwatch::units::{GaugePa, KgPerS};

/// The shipped bay and its delivery, with a vent and two steps, transferring for so long.
fn story(vent_kg_per_s: f64, until_s: u64) -> Story {
    let (mut settings, delivery) = shipped();
    settings.blow.vents[0].passes = Some(KgPerS(vent_kg_per_s));
    settings.blow.vents[0].limit = Some(GaugePa(7_000.0));
    let bars = vec![Bar::GasOverVent, Bar::TankPressureHigh, Bar::AfterBlow(60.0)];
    settings.steps = vec![Step {
        id: "shut".into(),
        text: "Shut.".into(),
        care: String::new(),
        right: Right::Attend,
        signed_by: SignedBy::Site,
        hold: false,
        proof: false,
        bars,
    }];
    let mut story = Story::with(settings, delivery);
    story.start();
    story.run_to(until_s);
    story
}

fn against(story: &Story) -> Vec<Against> {
    story.last.steps[0].against.clone()
}

/// 100 kPa of nitrogen through 52.5 mm and 30 velocity heads (31 with the exit): less than the full bore's 1.27 kg/s
/// (0.684731 A p/sqrt(R T)), more than nothing; a vent that passes 1 kg/s bears it, one of 0.1 kg/s does not.
#[test]
fn the_gas_is_held_against_the_vent_before_it_comes() {
    let wide = story(1.0, START_S + 30);
    let blow = wide.last.blow.clone().expect("a pad pushes");
    let (gas, most) = (blow.gas_kg_per_s.expect("a loss"), blow.most_kg_per_s.expect("a bore"));
    let bound = 0.684_731 * std::f64::consts::PI / 4.0 * 0.0525 * 0.0525 * 201_325.0 / (296.803_f64 * 293.15).sqrt();
    assert!((most / bound - 1.0).abs() < 0.01, "{most} against {bound}");
    // Isothermal with friction, by hand: (p1 p1 - p2 p2)/(R T) = 347,600; heads 31 + 2 ln(201.3/101.8) = 32.36.
    assert!((gas / 0.224 - 1.0).abs() < 0.03, "{gas}");
    assert_eq!(against(&wide), []);
    assert_eq!(blow.to_limit_s, None);
    let narrow = story(0.1, START_S + 30);
    let narrow_blow = narrow.last.blow.clone().expect("a pad pushes");
    assert!(narrow_blow.tank_pa_gauge > Some(7_000.0) && narrow_blow.to_limit_s.is_some(), "{narrow_blow:?}");
    assert!(matches!(against(&narrow)[..], [Against { bar: Bar::GasOverVent, forbids: true, .. }]));
    // What nobody has typed in is not known.
    let (mut settings, delivery) = shipped();
    (settings.blow.bore, settings.blow.vents[0].passes) = (None, None);
    settings.steps = narrow.settings.steps.clone();
    let mut unset = Story::with(settings, delivery);
    unset.start();
    unset.run_to(START_S + 30);
    let unset = against(&unset);
    assert!(unset.len() == 2 && unset.iter().all(|a| !a.forbids), "{unset:?}");
}

/// Two turns of 5 s and 8 s; closing waits a minute after the second.
#[test]
fn turns_are_counted_and_closing_waits() {
    let mut story = story(1.0, START_S + 60);
    assert_eq!(story.monitor.admits(&What::BlowEnded), Err(Refusal::NotBlowing));
    for turn_s in [5, 8] {
        story.entry(What::BlowBegan);
        assert_eq!(story.monitor.admits(&What::BlowBegan), Err(Refusal::Blowing));
        assert!(matches!(against(&story)[..], [Against { bar: Bar::AfterBlow(_), forbids: true, .. }]));
        let now = START_S + 60 + turn_s;
        story.run_to(now);
        story.entry(What::BlowEnded);
    }
    let blows = story.last.blow.clone().expect("blown").blows;
    let lasted: Vec<f64> = blows.iter().map(|b| b.ended.expect("ended").since_s(b.began)).collect();
    assert_eq!(lasted, [5.0, 3.0]);
    story.run_to(START_S + 68 + 59);
    let wait = against(&story);
    assert!(matches!(wait[..], [Against { value_si: Some(left), .. }] if left > 0.0 && left <= 1.5), "{wait:?}");
    story.run_to(START_S + 68 + 61);
    assert_eq!(against(&story), []);
    let mut replayed = Monitor::new(story.settings.clone(), Carried::default());
    for (input, output) in story.inputs.iter().zip(&story.outputs) {
        assert_eq!(replayed.step(input), *output);
    }
    story.new_segment(|_| {});
    assert_eq!(story.monitor.carried().delivery.map(|d| d.blows), Some(2));
    story.entry(What::Closed);
    assert_eq!(story.monitor.admits(&What::BlowBegan), Err(Refusal::NotTransferring));
}

/// From 95 % of the tank's own limit there is an alarm at once, and a step is forbidden.
#[test]
fn a_tank_near_its_limit_is_an_alarm() {
    let mut story = story(1.0, START_S + 30);
    let key = AlarmKey { id: AlarmId::TankPressureHigh, subject: 0 };
    assert!(!story.monitor.has_open(key));
    story.bend = |truth| truth.vapour_pa = 6_700.0;
    story.run_to(START_S + 32);
    assert!(story.monitor.has_open(key));
    assert!(against(&story).iter().any(|a| a.bar == Bar::TankPressureHigh && a.forbids));
}
