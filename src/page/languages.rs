//! Every language is whole: what a Spanish reader is shown is Spanish, fits where the English fits, and keeps the order
//! in which texts on danger must be read.

use super::feed::Published;
use super::reader::Reader;
use super::settings::tests::offered;
use super::{account, bays, far, look_back, scenes, settings, view};
use crate::engine::alarm::catalogue;
use crate::engine::frame::{Priority, VerdictWord};
use crate::engine::input::AlarmId;
use crate::picture::Size;
use crate::units::Measures;
use crate::words::es::Spanish;
use crate::words::{LANGUAGES, Language, Text, first_acts_due};
use jiff::tz::TimeZone;
use std::collections::BTreeSet;

fn reader(language: &'static dyn Language) -> Reader {
    Reader { zone: TimeZone::UTC, language, measures: Measures::Si }
}

/// The acts in the order in which every text on missing mass, pressure or a reached level must give them.
fn acts(tag: &str) -> [&'static str; 6] {
    match tag {
        "en" => [
            "stop",
            "emergency stop or remote valve",
            "shut the gas",
            "keep clear and upwind",
            "look only from a distance, in the required protection",
            "touch or tighten nothing under pressure",
        ],
        "es" => [
            "pare",
            "parada de emergencia o válvula remota",
            "cierre el gas",
            "apártese, del lado de donde viene el viento",
            "mire solo de lejos, con la protección exigida",
            "no toque ni apriete nada bajo presión",
        ],
        other => panic!("{other}: a language without acts"),
    }
}

fn assert_acts_first(place: &str, tag: &str, text: &Text) {
    let whole = text.whole().to_lowercase();
    let mut from = 0;
    for act in acts(tag) {
        from += whole[from..].find(act).unwrap_or_else(|| panic!("{place}: {act:?} out of turn: {whole}"));
    }
    let later = match tag {
        "en" => ["where to look", "what fits", "left the trailer", "kpa", " leaves ", "is lost", "has tripped"],
        _ => ["dónde mirar", "lo que encaja", "salieron de la", "kpa", " sale ", "se perdió", "se disparó"],
    };
    for later in later {
        let at = whole.find(later).unwrap_or(whole.len());
        assert!(at > from, "{place}: {later:?} before the last act: {whole}");
    }
}

#[test]
fn texts_on_danger_begin_with_the_acts_in_every_language() {
    for language in LANGUAGES {
        let (reader, tag) = (reader(language), language.tag());
        for (name, published) in scenes::all() {
            let scene = reader.scene(&published);
            for line in catalogue::CATALOGUE {
                let text = language.alarm(scene, &scenes::alarm(line.id, 0, Priority::High));
                assert!(!text.act.is_empty(), "{tag}, {name}, {}: no act", line.name);
                if first_acts_due(line.id) {
                    assert_acts_first(&format!("{tag}, {name}, {}", line.name), tag, &text);
                }
            }
            let pad_lost = scenes::alarm(AlarmId::SignalLost, 4, Priority::Medium);
            assert_acts_first(&format!("{tag}, {name}, pad lost"), tag, &language.alarm(scene, &pad_lost));
            let word = published.frame.verdict.word;
            if matches!(word, VerdictWord::Disagree | VerdictWord::CannotTellWhich) {
                assert_acts_first(&format!("{tag}, {name}, headline"), tag, &language.headline(scene, false));
            }
        }
    }
}

/// What a reader of the page can meet as text: between tags, and in the attributes that are read or shown.
fn texts(html: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let plain = |text: &str| {
        text.replace("&amp;", "&").replace("&quot;", "\"").split_whitespace().collect::<Vec<_>>().join(" ")
    };
    for piece in html.split('<').skip(1) {
        let (tag, text) = piece.split_once('>').unwrap_or((piece, ""));
        found.insert(plain(text));
        for name in [
            "aria-label",
            "data-ask",
            "data-sending",
            "data-unreached",
            "data-stale",
            "data-since",
            "data-lost",
            "data-on",
            "data-off",
        ] {
            let value = tag.split(&format!("{name}=\"")).nth(1).and_then(|rest| rest.split('"').next());
            found.extend(value.map(plain));
        }
    }
    found
}

/// All that one reader can be shown of a scene.
fn shown(published: &Published, reader: &Reader) -> BTreeSet<String> {
    let whole = view::bay_page("Lindholm Soda Works", "bay-2", Some(published), reader).into_string();
    let far = far::page("Lindholm Soda Works", "bay-2", Some(published), reader).into_string();
    let list = bays::page("Lindholm Soda Works", &[], reader).into_string();
    let account = account::fragment(published, reader).into_string();
    let past = look_back::fragment(published, look_back::Asked::default(), reader).into_string();
    let doors = [(false, None), (true, None), (true, Some(("R. Quill", "x")))]
        .map(|(used, here)| view::sign_in_page("Lindholm Soda Works", used, here, reader).into_string());
    let settings = settings::page(("Lindholm Soda Works", false), &offered(), None, reader).into_string();
    let mut all: BTreeSet<String> =
        [whole, far, list, account, past, settings].iter().chain(&doors).flat_map(|html| texts(html)).collect();
    for row in view::alarms(published, reader) {
        all.extend([row.act, row.care, row.says, row.beyond, row.since]);
    }
    all.extend(super::steps::walk(reader.scene(published), reader.language).turn.into_iter().map(|turn| turn.label));
    all
}

/// Written alike in both: units, abbreviations, names of the page's own.
const ALIKE: &str = "Lindholm Soda Works kPa MAWP psi kg/min lb/min min SI bar English Español brimwatch Modbus KiB p50 p99 usual \
    Quill Error polling";

/// Words of the site's own file, papers and people, which no language changes.
fn of_site(published: &Published) -> BTreeSet<String> {
    let settings = &published.settings;
    let mut said: Vec<String> = vec![ALIKE.to_owned(), settings.bay.clone(), settings.gas.name.clone()];
    said.extend(published.facts.emergency.iter().map(|(_, text)| text.clone()));
    said.extend(published.facts.places.iter().map(|p| format!("{} {}", p.form, p.unit)));
    said.extend(settings.signals.iter().map(|s| s.name.clone()));
    said.extend(settings.devices.iter().map(|d| d.name.clone()));
    said.extend(settings.tanks.iter().map(|t| t.name.clone()));
    said.extend(settings.neighbours.iter().map(|n| n.bay.clone()));
    said.extend(settings.steps.iter().flat_map(|s| [s.text.clone(), s.care.clone()]));
    said.push(format!("{:?}", settings.expected.contacts));
    said.push(format!("{:?}", published.frame.delivery));
    let signatures = published.frame.steps.iter().flat_map(|s| &s.signatures);
    said.extend(signatures.map(|s| format!("{} {}", s.who, s.note)));
    said.extend(published.frame.checks.iter().map(|check| format!("{:?}", check.why)));
    said.extend(offered().settings.iter().map(|s| format!("{s:?}")));
    said.iter().flat_map(|text| text.split(|c: char| !c.is_alphanumeric())).map(str::to_lowercase).collect()
}

/// No text that has a word in it is the same in both languages, but for names and units.
#[test]
fn no_english_is_left_on_a_spanish_page() {
    let (english, spanish) = (reader(LANGUAGES[0]), reader(&Spanish));
    let mut left = BTreeSet::new();
    for (_, published) in scenes::all() {
        let (there, own) = (shown(&published, &english), of_site(&published));
        for text in shown(&published, &spanish).intersection(&there) {
            let words = text.split(|c: char| !c.is_alphanumeric()).map(str::to_lowercase);
            if words.filter(|w| w.chars().filter(|c| c.is_alphabetic()).count() > 2).any(|w| !own.contains(&w)) {
                left.insert(text.clone());
            }
        }
    }
    assert!(left.is_empty(), "the same in English and Spanish:\n{}", left.into_iter().collect::<Vec<_>>().join("\n"));
}

#[test]
fn a_page_says_its_language() {
    for language in LANGUAGES {
        let page = view::bay_page("Works", "bay-2", Some(&scenes::agree()), &reader(language)).into_string();
        assert!(page.contains(&format!("<html lang=\"{}\">", language.tag())));
        let said = view::bay_page("Works", "bay-2", Some(&scenes::disagree()), &reader(language)).into_string();
        // Safety texts name their reviewer or say that there is none.
        assert!(said.contains(&language.review()) && !language.review().is_empty(), "{}", language.tag());
    }
}

/// Pressures, masses and levels are in the units that are read, and in no other.
#[test]
fn a_page_is_in_its_readers_units() {
    for (name, published) in scenes::all() {
        for language in LANGUAGES {
            let us = Reader { measures: Measures::UsCustomary, ..reader(language) };
            let live = serde_json::to_value(view::live(&published, &us, Size::Wide)).expect("JSON");
            for region in ["headline", "margin", "notes", "brim", "pad", "margin-made", "masses"] {
                let html = live["regions"][region].as_str().expect("a region");
                let text: String = texts(html).into_iter().collect::<Vec<_>>().join(" ");
                for unit in ["\u{a0}kg", " kg", "kg/min", "kPa"] {
                    // Plates are read in either unit.
                    assert!(
                        !text.contains(unit) || region == "headline",
                        "{name}, {}: {unit} in {region}: {text}",
                        language.tag()
                    );
                }
            }
        }
    }
    let us = Reader { measures: Measures::UsCustomary, ..reader(LANGUAGES[0]) };
    let live = view::live(&scenes::agree(), &us, Size::Wide);
    // 118.3 kPa are 17.2 psi, 42 kg are 92.6 lb: shown as 93, never smaller (factors: NIST SP 811, B.8).
    assert!(live.regions["pad"].contains("17.2"), "{}", live.regions["pad"]);
    assert!(live.regions["headline"].contains("within 93\u{a0}lb"), "{}", live.regions["headline"]);
}
