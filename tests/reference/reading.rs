//! How hard the screens of the gravest alarms are to read, by a published formula and a published dictionary.

use super::ask_about;
use super::scenes;
use brimwatch::engine::alarm::catalogue::CATALOGUE;
use brimwatch::engine::frame::Priority;
use brimwatch::engine::input::AlarmId;
use brimwatch::page::feed::Published;
use brimwatch::words::en::English;
use brimwatch::words::{Language, Scene, Text};
use jiff::tz::TimeZone;
use std::collections::BTreeMap;

/// Words, sentences, syllables, grade.
type Read = (u32, u32, u32, f64);

/// Highest grade of what to do first: a fifth-grade reader (about eleven years old) is to read it without help.
const FIRST_ACT_GRADE: f64 = 5.0;
/// Highest grade of a whole screen, with its figures and what may be behind it.
const SCREEN_GRADE: f64 = 8.0;

/// The moment whose figures the alarm would show.
fn moment(id: AlarmId) -> Published {
    match id {
        AlarmId::WitnessesDisagree => scenes::disagree(),
        AlarmId::HighLevelProjected => scenes::does_not_fit(),
        AlarmId::PadNearCeiling => scenes::everything_at_once(),
        AlarmId::NoWitness => scenes::lost_signals(),
        _ => scenes::agree(),
    }
}

/// Every alarm of high priority as it stands on the page.
fn screens() -> Vec<(&'static str, Text)> {
    let grave = CATALOGUE.into_iter().filter(|line| line.priority() == Priority::High);
    grave
        .map(|line| {
            let published = moment(line.id);
            let zone = TimeZone::UTC;
            let scene = Scene::new(&published.settings, &published.frame, &zone);
            (line.name, English.alarm(scene, &scenes::alarm(line.id, 0, Priority::High)))
        })
        .collect()
}

/// Prints the table of `docs/readability.md`.
#[test]
fn the_gravest_screens_are_read_without_help() {
    let screens = screens();
    assert!(screens.len() >= 10, "{}", screens.len());
    let mut texts = BTreeMap::new();
    for (name, text) in &screens {
        texts.insert(format!("{name}, first"), format!("{} {}", text.act, text.care));
        texts.insert(format!("{name}, whole"), text.whole());
    }
    let read: BTreeMap<String, Read> = ask_about("reading.py", &texts);
    println!("| screen | first act: words | its grade | whole: words | its grade |\n| --- | --- | --- | --- | --- |");
    let mut hard = Vec::new();
    for (name, text) in &screens {
        let (first, whole) = (read[&format!("{name}, first")], read[&format!("{name}, whole")]);
        println!("| {name} | {} | {:.1} | {} | {:.1} |", first.0, first.3, whole.0, whole.3);
        if first.3 > FIRST_ACT_GRADE || whole.3 > SCREEN_GRADE {
            hard.push(format!("{name}: {}", text.whole()));
        }
    }
    assert!(hard.is_empty(), "hard to read:\n{}", hard.join("\n"));
}

/// "The cat sat on the mat.": six words of one syllable: 0.39 x 6 + 11.8 - 15.59 = -1.45 by hand.
#[test]
fn the_formula_is_the_published_one() {
    let read: BTreeMap<String, Read> = ask_about("reading.py", &BTreeMap::from([("cat", "The cat sat on the mat.")]));
    let (words, sentences, syllables, grade) = read["cat"];
    assert_eq!((words, sentences, syllables), (6, 1, 6));
    assert!((grade + 1.45).abs() < 1e-9, "{grade}");
}
