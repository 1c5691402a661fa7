//! Two bays that fill one tank: two simulated plants stand in one another's liquid, one gauge shows both, and each
//! bay's watch hears of the other once a second, as the live loop lets them.
//!
//! The truth is the simulator's, whose mass balance is its own (`simulator/src/plant.rs`).

use brimwatch::config::{DeliveryFile, Site};
use brimwatch::engine::Monitor;
use brimwatch::engine::frame::{Estimate, Explanation, Frame, Margin, Phase, Reason, Validity, VerdictWord, WitnessId};
use brimwatch::engine::input::{
    AlarmId, AlarmKey, Carried, Entry, Event, Input, Measured, Neighbour, NeighbourLoad, Poll, What,
};
use brimwatch::engine::settings::{Settings, SignalKind};
use brimwatch::time::{EngineTime, SECOND_NS, WallTime};
use brimwatch::words::en::English;
use brimwatch::words::{Language, Scene};
use brimwatch_simulator::bay::{BAY_STEP_S, SimulatedBay, Stage};
use brimwatch_simulator::scenario::PRODUCT;
use brimwatch_simulator::tanks::{self, Tanks};
use std::path::Path;

const TANK: usize = WitnessId::Tank as usize;

/// Two bays, each with its watch.
struct Pair {
    settings: [Settings; 2],
    bays: Vec<SimulatedBay>,
    tanks: Tanks,
    monitors: [Monitor; 2],
    /// What each last said of itself.
    words: [Option<(EngineTime, Option<NeighbourLoad>)>; 2],
    /// Bays whose word does not reach the other.
    mute: [bool; 2],
    /// Of what leaves each trailer this much a second is lost, kg/s: before the meter, between meter and tank.
    leaks: [(f64, f64); 2],
    lost_kg: [(f64, f64); 2],
    s: u64,
    frames: [Frame; 2],
    inputs: Vec<Vec<Input>>,
}

fn papers() -> (Site, [DeliveryFile; 2]) {
    let product = |name: &str| {
        if name == PRODUCT.0 {
            Ok(PRODUCT.1.to_owned())
        } else {
            Err(std::io::Error::from(std::io::ErrorKind::NotFound))
        }
    };
    let site = Site::from_text(Path::new("site.toml"), tanks::two_bays(), &product);
    let site = site.unwrap_or_else(|faults| panic!("{faults}"));
    let delivery = |text: String| {
        DeliveryFile::from_text(Path::new("delivery.toml"), text, &site).unwrap_or_else(|faults| panic!("{faults}"))
    };
    let both = [brimwatch_simulator::scenario::DELIVERY.to_owned(), tanks::second_delivery()].map(delivery);
    (site, both)
}

impl Pair {
    fn new(seed: u64) -> Pair {
        Pair::with(seed, |_| {})
    }

    fn with(seed: u64, change: impl Fn(&mut Settings)) -> Pair {
        let (site, deliveries) = papers();
        let mut settings = [0, 1].map(|i| site.bays[i].settings.clone());
        settings.iter_mut().for_each(change);
        let bays = (0u64..2).zip(&settings).zip(&deliveries);
        let bays = bays.map(|((n, s), d)| SimulatedBay::new(s, Some(&d.setup), seed.wrapping_mul(2) + n)).collect();
        let tanks = Tanks::new(settings.iter().zip(&deliveries).map(|(s, d)| (s, Some(&d.setup))));
        let monitors = settings.clone().map(|settings| Monitor::new(settings, Carried::default()));
        let frames = [0, 1].map(|i| monitors[i].frame());
        let mut pair = Pair {
            settings,
            bays,
            tanks,
            monitors,
            words: [None, None],
            mute: [false; 2],
            leaks: [(0.0, 0.0); 2],
            lost_kg: [(0.0, 0.0); 2],
            s: 0,
            frames,
            inputs: vec![Vec::new(), Vec::new()],
        };
        for (bay, delivery) in deliveries.iter().enumerate() {
            pair.feed(bay, Event::Clock(WallTime(0)));
            pair.enter(bay, What::DeliveryOpened(Box::new(delivery.setup.clone())));
        }
        while pair.bays.iter().any(|b| b.stage() != Stage::Ready) {
            pair.second();
            assert!(pair.s < 1_800, "the pads do not come up");
        }
        pair
    }

    fn feed(&mut self, bay: usize, event: Event) {
        let input = Input { at: EngineTime(self.s * SECOND_NS + SECOND_NS / 2), event };
        self.monitors[bay].step(&input);
        self.inputs[bay].push(input);
    }

    fn enter(&mut self, bay: usize, what: What) {
        self.feed(bay, Event::Entry(Entry { who: "attendant".into(), leg: 1, what }));
    }

    fn start(&mut self, bay: usize) {
        self.enter(bay, What::TransferStarted);
        self.bays[bay].start();
    }

    fn second(&mut self) {
        self.s += 1;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few")]
        for _ in 0..(1.0 / BAY_STEP_S).round() as usize {
            self.bays.iter_mut().for_each(SimulatedBay::scan);
            self.tanks.settle(&mut self.bays);
        }
        for (bay, (lost, leak)) in self.lost_kg.iter_mut().zip(self.leaks).enumerate() {
            if self.bays[bay].plant().valve() > 0.5 {
                (lost.0, lost.1) = (lost.0 + leak.0, lost.1 + leak.1);
            }
        }
        for bay in 0..2 {
            self.watch(bay);
        }
    }

    /// One second of a bay's watch: its devices, its neighbour's word, its tick, its own word.
    fn watch(&mut self, bay: usize) {
        let at = EngineTime(self.s * SECOND_NS);
        for device in (0u16..).take(self.settings[bay].devices.len()) {
            let signals = (0u16..).zip(&self.settings[bay].signals).filter(|(_, s)| s.device == device);
            let values: Vec<_> = signals.map(|(signal, s)| (signal, self.shows(bay, s.kind, s.tank))).collect();
            self.feed(bay, Event::Poll(Poll::at_once(device, at, values)));
        }
        let other = 1 - bay;
        if let Some((at, load)) = self.words[other].clone().filter(|_| !self.mute[other]) {
            self.feed(bay, Event::Neighbour(Neighbour { neighbour: 0, at, load }));
        }
        self.feed(bay, Event::Tick);
        self.words[bay] = Some((self.monitors[bay].frame().at, self.monitors[bay].load().map(|(_, load)| load)));
        self.frames[bay] = self.monitors[bay].frame();
    }

    fn shows(&self, bay: usize, kind: SignalKind, tank: Option<u16>) -> Measured {
        let gauge = tank.map(|t| self.tanks.gauge(bay, t, "204"));
        let (at, tank) = gauge.map_or((bay, None), |(bay, tank)| (bay, Some(tank)));
        let shown = self.bays[at].shows(kind, tank);
        let (before, _) = self.lost_kg[bay];
        let in_all: f64 = self.lost_kg.iter().map(|(before, after)| before + after).sum();
        Measured::Number(match kind {
            SignalKind::HighLevelSwitch => return Measured::Flag(shown > 0.0),
            SignalKind::FlowMassTotal => shown - before,
            SignalKind::FlowMassRate if shown > 0.5 => shown - self.leaks[bay].0,
            SignalKind::Level => shown - in_all / 1524.0 / (std::f64::consts::PI / 4.0 * 4.2 * 4.2),
            _ => shown,
        })
    }

    /// Runs for so long; after each second it is looked at.
    fn run(&mut self, seconds: u64, mut look: impl FnMut(&Pair)) {
        for _ in 0..seconds {
            self.second();
            look(self);
        }
    }

    /// What is really in of a bay's load, kg.
    fn received_kg(&self, bay: usize) -> f64 {
        let (before, after) = self.lost_kg[bay];
        self.bays[bay].plant().received_kg() - before - after
    }

    fn tank_says(&self, bay: usize) -> Estimate {
        self.frames[bay].witnesses[TANK].received_kg.expect("a mass by tank level")
    }

    fn validity(&self, bay: usize) -> Validity {
        self.frames[bay].witnesses[TANK].validity
    }

    fn notes(&self, bay: usize) -> String {
        let zone = jiff::tz::TimeZone::UTC;
        let scene = Scene::new(&self.settings[bay], &self.frames[bay], &zone);
        English.notes(scene).join(" ")
    }

    /// What may be behind it, in words.
    fn headline(&self, bay: usize) -> String {
        let zone = jiff::tz::TimeZone::UTC;
        let scene = Scene::new(&self.settings[bay], &self.frames[bay], &zone);
        English.headline(scene, false).whole()
    }

    fn has_open(&self, bay: usize, id: AlarmId) -> bool {
        self.monitors[bay].has_open(AlarmKey { id, subject: 0 })
    }
}

/// Both at once, one ten minutes after the other, one beginning when the other is nearly done: what each tank witness
/// says is within its stated uncertainty of the truth, and the masses by all are without bias. Nobody cries wolf.
#[test]
fn each_bay_is_told_its_own_mass() {
    let (mut scaled, mut together, mut count) = (0.0_f64, 0.0_f64, 0.0_f64);
    for (seed, apart_s) in [(1, 0), (2, 600), (3, 2_400), (4, 600), (5, 0), (6, 1_200)] {
        let mut pair = Pair::new(seed);
        pair.start(0);
        pair.run(apart_s, |_| {});
        pair.start(1);
        pair.run(1_500, |pair| {
            for bay in 0..2 {
                let validity = pair.validity(bay);
                let usable = matches!(validity, Validity::Good | Validity::Doubtful(Reason::Disturbed));
                assert!(usable, "seed {seed}, {} s, bay {bay}: {validity:?}", pair.s);
                let word = pair.frames[bay].verdict.word;
                let odd = matches!(word, VerdictWord::Disagree | VerdictWord::CannotTellWhich);
                assert!(!odd, "seed {seed}, {} s, bay {bay}: {:?}", pair.s, pair.frames[bay].verdict);
                assert!(!pair.has_open(bay, AlarmId::HighLevelProjected), "seed {seed}");
            }
        });
        for bay in 0..2 {
            let truth = pair.received_kg(bay);
            let (tank, all) = (pair.tank_says(bay), pair.frames[bay].together.expect("three").received_kg);
            println!(
                "seed {seed}, {apart_s} s apart, bay {}: in {truth:.0} kg; by tank level {:+.0} kg (u {:.0}), together \
                 {:+.0} kg (u {:.0})",
                bay + 1,
                tank.value - truth,
                tank.u,
                all.value - truth,
                all.u
            );
            assert!((tank.value - truth).abs() < 3.0 * tank.u, "seed {seed}, bay {bay}: {tank:?} against {truth}");
            assert!((all.value - truth).abs() < 3.0 * all.u, "seed {seed}, bay {bay}: {all:?} against {truth}");
            scaled += ((tank.value - truth) / tank.u).powi(2);
            together += (all.value - truth) / all.u;
            count += 1.0;
        }
    }
    let (rms, mean) = ((scaled / count).sqrt(), together / count);
    println!("by tank level: rms(error/u) {rms:.2}; together: mean(error/u) {mean:+.2} over {count} loads");
    // A mean of n such errors has standard deviation 1/sqrt(n); the bays of a pair share a gauge, so n counts pairs.
    assert!(rms < 1.5 && mean.abs() < 3.0 / (count / 2.0).sqrt(), "{rms} and {mean}");
}

/// Room that would really be left below high-high if all that is on the trailers and in the lines went in, kg.
fn true_room_kg(pair: &Pair) -> f64 {
    let plant = pair.bays[0].plant();
    let shape = &plant.setup().tank_m_m3;
    let level_m = |m: f64| {
        let pair = shape.windows(2).find(|p| m >= p[0].0 && m <= p[1].0).expect("a level inside the tank");
        pair[0].1 + (pair[1].1 - pair[0].1) * (m - pair[0].0) / (pair[1].0 - pair[0].0)
    };
    let high_high_m = pair.settings[0].tanks[0].high_high.0;
    let left_m3 = level_m(high_high_m) - level_m(plant.level_m());
    let to_come_m3 = pair.bays.iter().map(|bay| {
        let plant = bay.plant();
        (plant.on_trailer_kg() + plant.in_pipes_kg()) / plant.setup().density_kg_per_m3
    });
    (left_m3 - to_come_m3.sum::<f64>()) * plant.setup().density_kg_per_m3
}

/// At every second, whoever is silent and whoever started when: no bay shows more room than there is. What it keeps
/// back (lines, run-on, blow-clear, opening check, 2.33 u) stays below two tonnes while both are heard.
#[test]
fn no_margin_is_ever_above_the_true_room() {
    for (seed, apart_s, silent) in [(1, 0, None), (2, 900, None), (3, 900, Some(0)), (4, 300, Some(1))] {
        let mut pair = Pair::new(seed);
        let mut least_kg = f64::INFINITY;
        let mut most_kg = f64::NEG_INFINITY;
        let mut look = |pair: &Pair| {
            let room_kg = true_room_kg(pair);
            for bay in 0..2 {
                let Margin::Known { kg, .. } = pair.frames[bay].margin else {
                    panic!("seed {seed}, {} s, bay {bay}: unknown", pair.s)
                };
                assert!(kg < room_kg, "seed {seed}, {} s, bay {bay}: {kg} of {room_kg} kg", pair.s);
                least_kg = least_kg.min(room_kg - kg);
                most_kg = most_kg.max(room_kg - kg);
            }
        };
        pair.run(60, &mut look);
        pair.start(0);
        pair.run(apart_s, &mut look);
        pair.start(1);
        pair.run(600, &mut look);
        pair.mute = [0, 1].map(|bay| silent == Some(bay));
        pair.run(600, &mut look);
        pair.mute = [false; 2];
        pair.run(600, &mut look);
        println!(
            "seed {seed}, {apart_s} s apart, silent {silent:?}: {least_kg:.0} to {most_kg:.0} kg below the true room"
        );
        // While one is silent at about 5 kg/s, up to what it may have moved by then.
        let unheard_kg = if silent.is_some() { 600.0 * 5.5 } else { 0.0 };
        assert!(most_kg < 2_200.0 + unheard_kg, "{most_kg}");
    }
}

/// A neighbour that falls silent: said, doubted, its inflow somewhere between nothing and its fastest; heard again, the
/// mass is as before.
#[test]
fn a_silent_neighbour_is_doubted_and_never_taken_for_nothing() {
    let mut pair = Pair::new(11);
    pair.start(0);
    pair.start(1);
    pair.run(900, |_| {});
    let tank = WitnessId::Tank as usize;
    assert_eq!(pair.validity(0), Validity::Good);
    pair.mute[1] = true;
    pair.run(8, |_| {});
    assert_eq!(pair.validity(0), Validity::Good, "some words late are nothing");
    pair.run(4, |_| {});
    let doubtful = Validity::Doubtful(Reason::NeighbourNotHeard);
    assert_eq!(pair.validity(0), doubtful);
    let notes = pair.notes(0);
    assert!(notes.contains("Mass by tank level is doubtful: the neighbour is not heard."), "{notes}");
    assert!(notes.contains("Bay 2, which fills the same tank, has not been heard since"), "{notes}");
    let before = pair.tank_says(0).u;
    pair.run(300, |pair| {
        let (says, truth) = (pair.tank_says(0), pair.received_kg(0));
        assert!((says.value - truth).abs() < 2.0 * says.u, "{} s: {says:?} against {truth}", pair.s);
        assert_eq!(pair.frames[0].witnesses[tank].validity, doubtful);
        assert!(pair.frames[0].neighbours[0].silent && !pair.frames[1].neighbours[0].silent);
        assert_ne!(pair.frames[0].verdict.word, VerdictWord::Disagree);
    });
    let worst = pair.tank_says(0).u;
    assert!(worst > 3.0 * before, "five minutes unheard: u {before} to {worst}");
    pair.mute[1] = false;
    pair.run(30, |_| {});
    let (says, truth) = (pair.tank_says(0), pair.received_kg(0));
    assert_eq!(pair.validity(0), Validity::Good);
    assert!(says.u < 1.5 * before && (says.value - truth).abs() < 3.0 * says.u, "{says:?} against {truth}");
    println!(
        "unheard for 312 s at {:.1} kg/s: u {before:.0}, {worst:.0}, {:.0} kg",
        pair.frames[1].rate.expect("a rate").value,
        says.u
    );
}

/// One that was never heard: nothing is said of room, and of the mass only that it is doubtful.
#[test]
fn a_neighbour_never_heard_leaves_the_margin_unknown() {
    let mut pair = Pair::new(12);
    assert!(matches!(pair.frames[0].margin, Margin::Known { .. }));
    let (settings, delivery) = (pair.settings[0].clone(), papers().1[0].setup.clone());
    pair.monitors[0] = Monitor::new(settings, Carried::default());
    pair.enter(0, What::DeliveryOpened(Box::new(delivery)));
    pair.mute[1] = true;
    pair.run(5, |_| {});
    assert_eq!(pair.frames[0].margin, Margin::Unknown);
    assert!(pair.notes(0).contains("Bay 2, which fills the same tank, is not heard: what it brings is not known."));
    pair.mute[1] = false;
    pair.run(2, |_| {});
    assert!(matches!(pair.frames[0].margin, Margin::Known { .. }));
    let notes = pair.notes(0);
    assert!(notes.contains("Bay 2 has a load for the same tank: about 20"), "{notes}");
}

/// While one bay waits and the other fills the tank, the level rises: no alarm, and what came in by then is not taken
/// off the mass of the one that starts later.
#[test]
fn the_known_inflow_of_a_neighbour_is_no_alarm_and_starts_at_zero() {
    let mut pair = Pair::new(13);
    pair.start(1);
    pair.run(900, |pair| {
        assert!(pair.frames[0].alarms.is_empty(), "{} s: {:?}", pair.s, pair.frames[0].alarms);
        assert_eq!(pair.frames[0].phase, Phase::Opened);
    });
    let notes = pair.notes(0);
    assert!(notes.contains("Bay 2 is filling the same tank: about 1"), "{notes}");
    assert!(notes.contains("of its load still to come; counted in the margin."), "{notes}");
    assert!(pair.received_kg(1) > 4_000.0);
    pair.start(0);
    pair.run(10, |_| {});
    let brought = pair.frames[0].neighbours[0].brought_kg.expect("counted from our start");
    assert!((20.0..120.0).contains(&brought.value), "fifteen seconds at most: {brought:?}");
    let says = pair.tank_says(0);
    assert!(says.value.abs() < 3.0 * says.u, "nothing of ours is in yet: {says:?}");
}

/// Product leaves before the meter at Bay 2. That is Bay 2's trailer side; Bay 1, whose own three agree, is not accused
/// for what its neighbour's instruments cannot agree on.
#[test]
fn a_leak_before_the_neighbours_meter_is_the_neighbours() {
    let mut pair = Pair::new(14);
    pair.start(0);
    pair.start(1);
    pair.run(600, |_| {});
    pair.leaks[1].0 = 0.5;
    pair.run(1_500, |pair| {
        let word = pair.frames[0].verdict.word;
        let odd = matches!(word, VerdictWord::Disagree | VerdictWord::CannotTellWhich);
        assert!(!odd, "{} s: {:?}", pair.s, pair.frames[0].verdict);
    });
    let verdict = &pair.frames[1].verdict;
    assert_eq!((verdict.word, verdict.suspects), (VerdictWord::Disagree, [false, true, false]));
    assert_eq!(verdict.explanations[0], Explanation::LeakBeforeMeter);
    assert!(!verdict.explanations.contains(&Explanation::NeighbourLeak));
    assert_eq!(pair.validity(0), Validity::Doubtful(Reason::NeighbourAtOdds));
    let notes = pair.notes(0);
    assert!(
        notes.contains("Mass by tank level is doubtful: the neighbour's flow meter and scale disagree."),
        "{notes}"
    );
}

/// Product leaves between one bay's meter and the tank: the tank lacks it, and cannot tell whose it was. Both bays say so.
#[test]
fn a_leak_after_either_meter_cannot_be_told_apart() {
    for leaking in 0..2 {
        let mut pair = Pair::new(15);
        pair.start(0);
        pair.start(1);
        pair.run(600, |_| {});
        pair.leaks[leaking].1 = 0.5;
        pair.run(1_500, |_| {});
        for bay in 0..2 {
            let verdict = &pair.frames[bay].verdict;
            assert_eq!((verdict.word, verdict.suspects), (VerdictWord::Disagree, [false, false, true]), "bay {bay}");
            assert_eq!(verdict.explanations[..2], [Explanation::LeakAfterMeter, Explanation::NeighbourLeak]);
            let missing = verdict.missing_kg.expect("missing");
            assert!((missing.value - 750.0).abs() < 3.0 * missing.u, "bay {bay}: {missing:?}");
        }
        let said = pair.headline(1 - leaking);
        assert!(said.contains("one tank cannot tell the two apart"), "{said}");
    }
}

/// The same inputs give the same outputs, and a new segment goes on with what the neighbour had brought.
#[test]
fn a_replay_is_the_same_and_a_new_segment_goes_on() {
    let mut pair = Pair::new(16);
    pair.start(1);
    pair.run(300, |_| {});
    pair.start(0);
    pair.run(600, |_| {});
    let mut again = Monitor::new(pair.settings[0].clone(), Carried::default());
    for input in &pair.inputs[0] {
        again.step(input);
    }
    assert_eq!(again.frame(), pair.frames[0]);
    let carried = pair.monitors[0].carried();
    pair.monitors[0] = Monitor::new(pair.settings[0].clone(), carried);
    pair.run(300, |_| {});
    let (says, truth) = (pair.tank_says(0), pair.received_kg(0));
    assert!((says.value - truth).abs() < 3.0 * says.u, "{says:?} against {truth}");
    assert_eq!(pair.validity(0), Validity::Good);
}

/// Both loads together pass high-high: when that is, with both rates. High-high is lowered here, and the switch with it.
#[test]
fn the_time_to_high_high_is_that_of_both() {
    let mut pair = Pair::with(17, |settings| {
        let tank = &mut settings.tanks[0];
        (tank.working.0, tank.high_high.0, tank.critical.0) = (2.4, 2.6, 3.0);
    });
    pair.run(2, |_| {});
    pair.start(0);
    pair.start(1);
    pair.run(900, |_| {});
    assert!(pair.has_open(0, AlarmId::HighLevelProjected), "{:?}", pair.frames[0].margin);
    let (now_s, at) = (pair.s, pair.frames[0].at);
    let levels = [0, 1].map(|bay| pair.frames[bay].finish.level.expect("both loads do not fit"));
    while pair.bays[0].plant().level_m() < 2.6 {
        pair.second();
    }
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    let true_s = (pair.s - now_s) as f64;
    for level in levels {
        let (earliest_s, median_s) = (level.earliest.since_s(at), level.q50.since_s(at));
        println!("high-high: earliest in {earliest_s:.0} s, median {median_s:.0} s, truly {true_s:.0} s");
        assert!(earliest_s < true_s && (median_s - true_s).abs() < 0.15 * true_s, "{level:?}");
    }
}

/// Ten pairs to the end, started up to half an hour apart, each bay closed when its attendant has done: the masses that
/// stand then, and the margin at every second until the last one is in.
#[test]
fn whole_loads_end_where_they_should() {
    const PAIRS: u64 = 10;
    let mut squares = [0.0; 4];
    let mut nearest_kg = f64::INFINITY;
    for seed in 200..200 + PAIRS {
        let mut pair = Pair::new(seed);
        pair.start(0);
        let second_at_s = pair.s + (seed * 211) % 1_800;
        let mut closed = [false; 2];
        while closed != [true; 2] {
            if pair.s == second_at_s {
                pair.start(1);
            }
            pair.second();
            assert!(pair.s < 14_400, "seed {seed}: the transfers do not end");
            let room_kg = true_room_kg(&pair);
            for (bay, closed) in closed.iter_mut().enumerate() {
                let Margin::Known { kg, .. } = pair.frames[bay].margin else { panic!("seed {seed}, {} s", pair.s) };
                assert!(kg < room_kg, "seed {seed}, {} s, bay {bay}: {kg} of {room_kg} kg", pair.s);
                nearest_kg = nearest_kg.min(room_kg - kg);
                if !*closed && pair.bays[bay].stage() == Stage::Done {
                    let truth = pair.received_kg(bay);
                    let frame = &pair.frames[bay];
                    let says =
                        frame.witnesses.iter().map(|w| w.received_kg).chain([frame.together.map(|t| t.received_kg)]);
                    for (square, says) in squares.iter_mut().zip(says) {
                        let says = says.expect("a mass");
                        *square += ((says.value - truth) / says.u).powi(2);
                    }
                    *closed = true;
                    pair.enter(bay, What::Closed);
                }
            }
        }
    }
    #[expect(clippy::cast_precision_loss, reason = "a count")]
    let rms = squares.map(|square| (square / (2 * PAIRS) as f64).sqrt());
    println!("rms(error/u) of {} loads by flow meter, scale, tank level, together: {rms:.2?}", 2 * PAIRS);
    println!("margins at least {nearest_kg:.0} kg below the true room");
    assert!(rms.iter().all(|rms| *rms < 1.7), "{rms:?}");
}
