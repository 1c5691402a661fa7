//! Whether the room is proven before a load comes in. Expected terms are 2.33 u A rho by hand, u the weighted mean's of
//! two independent sources (JCGM 100:2008): the shipped tank has 15 mm, 2.84 m across.

use super::bay::{START_S, Story, shipped};
use brimwatch::engine::delivery::Refusal;
use brimwatch::engine::frame::{CheckedBy, Margin, MarginParts, Opening, Pessimist};
use brimwatch::engine::input::{Event, What};
use brimwatch::engine::settings::{DrawOff, Settings, SignalKind};
use brimwatch::units::Metre;
use brimwatch::words::en::English;
use brimwatch::words::{Language, Scene};
use jiff::tz::TimeZone;

const KG_PER_M: f64 = std::f64::consts::PI / 4.0 * 2.84 * 2.84 * 1514.5;

fn story(change: impl Fn(&mut Settings)) -> Story {
    let (mut settings, delivery) = shipped();
    change(&mut settings);
    Story::with(settings, delivery)
}

fn opening(story: &Story) -> Opening {
    story.last.tank.expect("a delivery is open").opening
}

fn parts(story: &Story) -> MarginParts {
    let Margin::Known { parts, .. } = &story.last.margin else { panic!("known") };
    *parts
}

fn said(story: &Story) -> String {
    let zone = TimeZone::UTC;
    let scene = Scene::new(&story.settings, &story.last, &zone);
    English.margin(scene).lines.join(" ")
}

/// A second gauge of the tank, on the first one's device, that shows what the story's level shows.
fn second_gauge(settings: &mut Settings, transmitter: Option<&str>) {
    let level = settings.signals.iter_mut().find(|s| s.kind == SignalKind::Level).expect("a gauge");
    level.transmitter = Some("LT-1".into());
    let second = brimwatch::engine::settings::SignalSetup {
        name: "second level".into(),
        transmitter: transmitter.map(str::to_owned),
        ..level.clone()
    };
    settings.signals.push(second);
}

fn near(a: f64, b: f64) -> bool {
    (a / b - 1.0).abs() < 2e-3
}

#[test]
fn a_gauge_alone_proves_no_room() {
    let mut story = story(|_| {});
    story.run_to(START_S);
    assert_eq!(opening(&story), Opening { proven_by: None, against: None, doubt_m: 0.015 });
    assert!(near(parts(&story).opening_kg, 2.326 * 0.015 * KG_PER_M), "{:?}", parts(&story));
    assert!(said(&story).starts_with("Room not proven: only the tank's own gauge"), "{}", said(&story));
    story.start();
    story.run_to(START_S + 600);
    assert!(said(&story).starts_with("Room not proven"), "and so it stays while the load comes in");
}

#[test]
fn a_second_gauge_proves_it_unless_it_is_the_same_instrument() {
    let mut apart = story(|settings| second_gauge(settings, Some("LT-2")));
    apart.run_to(START_S);
    let gauge = u16::try_from(apart.settings.signals.len() - 1).expect("few");
    assert_eq!(opening(&apart).proven_by, Some(CheckedBy::Gauge(gauge)));
    assert!(near(parts(&apart).opening_kg, 2.326 * 0.015 / 2.0_f64.sqrt() * KG_PER_M));
    assert!(!said(&apart).contains("not proven"));
    let mut one = story(|settings| second_gauge(settings, Some("LT-1")));
    one.run_to(START_S);
    assert_eq!(opening(&one).proven_by, None);
}

#[test]
fn a_dip_proves_it_where_the_site_allows_one() {
    let mut closed = story(|_| {});
    closed.run_to(START_S);
    assert_eq!(closed.monitor.admits(&What::Dipped { level_m: 2.0 }), Err(Refusal::NoDip));
    let mut story = story(|settings| settings.tanks[0].hand_dip_u = Some(Metre(0.003)));
    story.run_to(START_S);
    assert_eq!(story.monitor.admits(&What::Dipped { level_m: 9.0 }), Err(Refusal::DipOffTheTank));
    story.entry(What::Dipped { level_m: 2.004 });
    story.run_to(START_S + 1);
    assert_eq!(opening(&story).proven_by, Some(CheckedBy::HandDip));
    let u = 0.015 * 0.003 / (0.015_f64 * 0.015 + 0.003 * 0.003).sqrt();
    assert!(near(parts(&story).opening_kg, 2.326 * u * KG_PER_M));
    // The higher of the two counts.
    let Margin::Known { pessimist, .. } = story.last.margin else { panic!("known") };
    assert_eq!(pessimist, Pessimist::HandDip);
    story.entry(What::TransferStarted);
    assert_eq!(story.monitor.admits(&What::Dipped { level_m: 2.0 }), Err(Refusal::DipTooLate));
    story.run_to(START_S + 600);
    assert_eq!(opening(&story).proven_by, Some(CheckedBy::HandDip));
    story.new_segment(|_| {});
    story.run_to(START_S + 620);
    assert_eq!(opening(&story).proven_by, Some(CheckedBy::HandDip), "it crosses into another segment");
}

/// 60 mm off is four times the gauge's own doubt: the gauge is wrong or the dip, and the room counts by the worse.
#[test]
fn a_dip_that_says_otherwise_is_not_outvoted() {
    let mut story = story(|settings| {
        settings.tanks[0].hand_dip_u = Some(Metre(0.003));
        second_gauge(settings, Some("LT-2"));
    });
    story.run_to(START_S);
    let before = parts(&story).contents_kg;
    story.entry(What::Dipped { level_m: 2.06 });
    story.run_to(START_S + 1);
    assert_eq!(opening(&story), Opening { proven_by: None, against: Some(CheckedBy::HandDip), doubt_m: 0.015 });
    assert!(said(&story).contains("the hand dip does not fit the gauge"), "{}", said(&story));
    assert!(parts(&story).contents_kg - before > 0.05 * KG_PER_M);
}

/// A load that was proven goes in; 2 kg/s are drawn off for ten minutes, measured; the next load finds its room proven by
/// that, and not where nothing was measured.
#[test]
fn the_last_closing_and_the_use_since_prove_the_next_opening() {
    for measured in [true, false] {
        let mut story = story(|settings| {
            settings.tanks[0].hand_dip_u = Some(Metre(0.003));
            settings.tanks[0].draw_off = if measured { DrawOff::Measured } else { DrawOff::DeclaredZero };
            let rate = settings.signals.iter().find(|s| s.kind == SignalKind::FlowMassRate).expect("fitted").clone();
            settings.signals.push(brimwatch::engine::settings::SignalSetup {
                kind: SignalKind::DrawOff,
                name: "draw-off".into(),
                tank: Some(0),
                ..rate
            });
        });
        story.draw_off = |s| if s > START_S + 1210 && s <= START_S + 1810 { 2.0 } else { 0.0 };
        story.run_to(START_S);
        story.entry(What::Dipped { level_m: 2.0 });
        story.entry(What::TransferStarted);
        story.run_to(START_S + 1200);
        story.stop_s = Some(START_S + 1200);
        story.run_to(START_S + 1205);
        story.entry(What::Closed);
        story.run_to(START_S + 1900);
        // Another segment begins with the next delivery.
        story.new_segment(|_| {});
        story.feed(Event::Tick);
        let next = story.delivery.clone();
        story.entry(What::DeliveryOpened(Box::new(next)));
        story.run_to(START_S + 1920);
        let proven = measured.then_some(CheckedBy::LastClosing);
        assert_eq!((opening(&story).proven_by, opening(&story).against), (proven, None), "measured: {measured}");
    }
}
