//! Every scenario of the simulator, in process: it ends as it says when nobody acts, and the alarm that is for it has
//! spoken before.

#[path = "../bench/driver.rs"]
mod driver;

use brimwatch::config::{DeliveryFile, Site};
use brimwatch::engine::alarm::catalogue::CATALOGUE;
use brimwatch::engine::input::AlarmId;
use brimwatch_simulator::scenario;
use brimwatch_simulator::scenarios::Scenario;
use driver::Bench;
use std::path::Path;

/// Seed of what is drawn.
const SEED: u64 = 3;

/// An alarm as scenario files call it: the words of its name in the catalogue.
fn words(id: AlarmId) -> String {
    let mut words = String::new();
    for c in format!("{id:?}").chars() {
        if c.is_uppercase() && !words.is_empty() {
            words.push(' ');
        }
        words.extend(c.to_lowercase());
    }
    words
}

/// How it went, in s after the start of the transfer (negative: before).
#[derive(Debug, Default)]
struct Played {
    /// The bad end came.
    ended_s: Option<f64>,
    /// Each alarm when it first spoke.
    spoke: Vec<(String, f64)>,
    /// Liquid received at the end, kg.
    received_kg: f64,
}

fn play(scenario: &Scenario, site: &Site, papers: &DeliveryFile) -> Played {
    let settings = &site.bays[papers.bay].settings;
    let entered = scenario.papers(&papers.setup);
    let mut bench = Bench::started(settings, &entered, scenario.bay(settings, &papers.setup, SEED));
    scenario.start(&mut bench.bay);
    let mut played = Played::default();
    let start_s = bench.s();
    #[expect(clippy::cast_precision_loss, reason = "hours")]
    let since_start = |s: u64| s as f64 - start_s as f64;
    loop {
        let frame = bench.second();
        let now_s = since_start(bench.s());
        // Once the valve is shut the meter is blown empty, and says so.
        for alarm in frame.alarms.iter().filter(|_| scenario.ends.is_some() || bench.unloading()) {
            let name = words(alarm.key.id);
            if !played.spoke.iter().any(|(known, _)| *known == name) {
                played.spoke.push((name, now_s));
            }
        }
        if scenario.ends.is_some_and(|end| end.has_come(&bench.bay)) {
            played.ended_s = Some(now_s);
        }
        if played.ended_s.is_some() || now_s > scenario.lasts_s {
            played.received_kg = bench.bay.plant().received_kg();
            return played;
        }
    }
}

/// Prints the table of `docs/figures.md`.
#[test]
fn every_scenario_ends_as_it_says_and_its_alarm_speaks_before() {
    let (site, papers) = scenario::works(Path::new("")).unwrap_or_else(|faults| panic!("{faults}"));
    let all = Scenario::shipped().unwrap_or_else(|why| panic!("{why}"));
    let known: Vec<String> = CATALOGUE.iter().map(|line| words(line.id)).collect();
    let (site, papers) = (&site, &papers);
    let run = |half: &[Scenario]| half.iter().map(|s| play(s, site, papers)).collect::<Vec<_>>();
    let played: Vec<Played> = std::thread::scope(|scope| {
        let halves = all.chunks(all.len().div_ceil(2));
        let threads: Vec<_> = halves.map(|half| scope.spawn(move || run(half))).collect();
        threads.into_iter().flat_map(|t| t.join().expect("a thread")).collect()
    });
    println!(
        "| scenario | bad end | comes after min | its alarm | speaks after min |\n| --- | --- | --- | --- | --- |"
    );
    let minutes = |s: Option<f64>| s.map_or("never".to_owned(), |s| format!("{:.1}", s / 60.0));
    let mut wrong = Vec::new();
    for (scenario, played) in all.iter().zip(&played) {
        let name = &scenario.name;
        let alarm = scenario.alarm.as_deref();
        let spoke_s = played.spoke.iter().find(|(spoke, _)| Some(spoke.as_str()) == alarm).map(|(_, s)| *s);
        let (end, said) = (scenario.ends.map_or("none".to_owned(), |e| e.to_string()), alarm.unwrap_or("none"));
        println!("| {name} | {end} | {} | {said} | {} |", minutes(played.ended_s), minutes(spoke_s));
        let holds = match (scenario.ends, alarm) {
            // That somebody should be at the valve soon is said of every transfer.
            (None, _) => played.spoke.iter().all(|(spoke, _)| spoke == "be at valve") && played.received_kg > 19_900.0,
            (Some(_), Some("none")) => played.ended_s.is_some() && played.spoke.is_empty(),
            (Some(_), Some(alarm)) => {
                assert!(known.contains(&alarm.to_owned()), "{name}: no alarm \"{alarm}\"; there are {known:?}");
                played.ended_s.zip(spoke_s).is_some_and(|(ended, spoke)| spoke < ended)
            }
            (Some(_), None) => false,
        };
        if !holds {
            wrong.push(format!("{name}: {played:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
