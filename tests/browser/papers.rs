//! A delivery opened through the form, before a real watch: what is wrong is said beside its field and nothing typed is
//! lost; what is typed is shown as text wherever it turns up; opened twice it is refused.

use super::chromium::Browser;
use super::{SIDEWAYS, pictures};
use brimwatch::config;
use brimwatch::live::{Options, Running, start};
use brimwatch::units::UNITS;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::path::Path;
use tokio::runtime::Runtime;

/// Does something that the page could be asked for, were it taken for more than text.
const SCRIPT: &str = "<script>window.hit = 1</script><img src=x onerror='window.hit = 1'>\"'`";

/// The shipped papers as somebody types them; script wherever a free text is taken.
fn typed() -> serde_json::Value {
    let mut values = json!({
        "tank": "204", "product": "caustic soda 50 %", "load_temperature": "35 C", "planned": "20 t",
        "ticket.net": "26060 kg", "ticket.gross": "35120 kg", "ticket.tare": "15060 kg",
        "trailer.volume": "15.5 m3", "trailer.pressure_found": "8 psi gauge", "trailer.temperature_found": "95 F",
        "plate.mawp": "30 psi gauge", "plate.relief_from": "36 psi gauge", "plate.relief_to": "39.6 psi gauge",
        "seals.unbroken": "yes", "certificate.property.1.value": "49.7", "certificate.property.1.low": "49",
        "leg.number": "1",
    });
    let texts = [
        "id",
        "plate.specification",
        "trailer.product_tag",
        "seals.expected",
        "seals.found",
        "shipping.description",
        "shipping.marking_found",
        "carrier.name",
        "carrier.driver",
        "certificate.number",
        "certificate.property.1.name",
        "certificate.property.1.unit",
    ];
    for key in texts {
        values[key] = format!("{key} {SCRIPT}").into();
    }
    values
}

fn type_in(browser: &mut Browser, values: &serde_json::Value) {
    let set = format!(
        "(() => {{ for (const [name, value] of Object.entries({values})) {{ \
         const f = document.getElementById('paper-' + name); f.value = value; \
         f.dispatchEvent(new Event('input', {{ bubbles: true }})); }} }})()"
    );
    browser.value(&set);
}

/// The shipped site with its files in that folder, at a free port and for everybody at this machine.
fn shipped_in(folder: &Path) -> config::Site {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    std::fs::create_dir(folder.join("products")).expect("a disk");
    for file in ["products/caustic-soda-50.toml", "steps.toml", "site.toml"] {
        std::fs::copy(shipped.join(file), folder.join(file)).expect("a disk");
    }
    let mut site = config::load(&folder.join("site.toml")).unwrap_or_else(|faults| panic!("{faults}"));
    (site.store, site.listen, site.people) = (folder.join("store"), ([127, 0, 0, 1], 0).into(), None);
    site
}

fn the_form(browser: &mut Browser, url: &str) {
    browser.call("Page.navigate", json!({ "url": format!("{url}/bay/bay-1/papers") }));
    browser.wait("location.pathname === '/bay/bay-1/papers' && document.readyState === 'complete'");
}

fn choose_language(browser: &mut Browser, language: &str) {
    let choose = format!(
        "fetch('/reader', {{ method: 'POST', headers: {{ 'content-type': 'application/json' }}, \
         body: JSON.stringify({{ language: '{language}', units: 'si' }}) }}).then((reply) => reply.status)"
    );
    assert_eq!(browser.value(&choose), 204);
}

/// The form on tablet and phone, light and dark, in both languages.
fn every_look_fits(browser: &mut Browser, url: &str, pictures: &Path) {
    let there = |browser: &mut Browser| the_form(browser, url);
    there(browser);
    for (language, label) in [("es", "Neto (tiene que estar)"), ("en", "Net (must be there)")] {
        choose_language(browser, language);
        for (name, width, height) in [("tablet", 1280, 800), ("phone", 390, 844)] {
            for (shade, dark) in [("", false), ("-dark", true)] {
                browser.screen(width, height, 1, dark);
                there(browser);
                browser.picture(&pictures.join(format!("{language}-{name}-papers{shade}.png")));
                assert_eq!(browser.value(SIDEWAYS), "", "{language}, {name}: scrolls sideways");
            }
        }
        let said = "document.querySelector('[for=\"paper-ticket.net\"]').textContent.trim()";
        assert_eq!(browser.value(said), label);
    }
}

/// The shipped site, watched, with no delivery yet.
fn idle(folder: &Path, runtime: &Runtime) -> Running {
    let site = shipped_in(folder);
    let running = start(Options { site, deliveries: Vec::new(), drill_speed: None });
    runtime.block_on(running).expect("it starts")
}

#[test]
fn a_delivery_is_opened_through_the_form() {
    let pictures = pictures("page");
    let folder = tempfile::tempdir().expect("a folder");
    let runtime = Runtime::new().expect("a runtime");
    let running = idle(folder.path(), &runtime);
    let url = format!("http://{}", running.page);
    let mut browser = Browser::start();
    let there = |browser: &mut Browser, path: &str| {
        browser.call("Page.navigate", json!({ "url": format!("{url}{path}") }));
        browser.wait(&format!("location.pathname === '{path}' && document.readyState === 'complete'"));
    };
    let says = |browser: &mut Browser, words: &str| {
        browser.wait(&format!("document.getElementById('answer').textContent.includes({words:?})"));
    };
    every_look_fits(&mut browser, &url, &pictures);
    browser.screen(390, 844, 1, false);
    there(&mut browser, "/bay/bay-1/papers");
    type_in(&mut browser, &typed());
    // A look elsewhere loses nothing.
    there(&mut browser, "/sign-in");
    there(&mut browser, "/bay/bay-1/papers");
    browser.press("#papers button");
    says(&mut browser, "nothing typed is lost");
    let wrong = "document.getElementById('paper-ticket.net').closest('.field').querySelector('.wrong').textContent";
    let wrong = browser.value(wrong);
    let wrong = wrong.as_str().expect("text");
    assert!(wrong.contains("gross less tare is 20060 kg") && wrong.contains("what to do"), "{wrong}");
    browser.picture(&pictures.join("phone-papers-wrong.png"));
    assert_eq!(browser.value("document.activeElement.id"), "paper-ticket.net");
    assert_eq!(browser.value("document.getElementById('paper-carrier.name').value"), typed()["carrier.name"]);
    type_in(&mut browser, &json!({ "ticket.net": "20060 kg" }));
    browser.press("#papers button");
    says(&mut browser, "is open and on record");
    browser.picture(&pictures.join("phone-papers-opened.png"));
    assert_eq!(browser.value("[...document.querySelectorAll('#papers [name]')].every((f) => f.disabled)"), true);

    // Wherever it turns up it is text.
    there(&mut browser, "/bay/bay-1");
    browser.wait("document.body.dataset.state === 'live'");
    browser.value("document.querySelectorAll('details').forEach((d) => (d.open = true)); 0");
    browser.wait("document.getElementById('checks').textContent.includes('<script>window.hit')");
    assert_eq!(browser.value("window.hit === undefined && document.querySelector('main img') === null"), true);

    // The form is empty for the next load, and a second delivery waits until this one is closed.
    there(&mut browser, "/bay/bay-1/papers");
    assert_eq!(browser.value("document.getElementById('paper-id').value"), "");
    let mut again = typed();
    again["ticket.net"] = "20060 kg".into();
    type_in(&mut browser, &again);
    browser.press("#papers button");
    says(&mut browser, "a delivery is open already");
    assert_eq!(browser.value("document.getElementById('paper-carrier.name').value"), again["carrier.name"]);
    // A refusal is answered with a status the browser itself complains of; nothing else may be.
    let problems = browser.problems();
    assert!(problems.iter().all(|p| p.contains("409")), "{problems:?}");
    runtime.block_on(running.stop());
}

/// Nothing is right with these, each in its own way; by name, what every field of that round holds.
fn rounds() -> Vec<(&'static str, Value)> {
    let each = |text: &str| {
        let mut all = typed();
        for (_, value) in all.as_object_mut().expect("an object") {
            *value = text.into();
        }
        all["seals.unbroken"] = "".into();
        for key in ["plate.relief_from", "density.at", "density.u", "leg.on_board", "line.upstream", "trailer.volume_u"]
        {
            all[key] = text.into();
        }
        for key in ["certificate.property.1.high", "density.slope_kg_per_m3_per_c", "seals.expected", "ticket.u"] {
            all[key] = text.into();
        }
        // These two are chosen from what the bay has.
        (all["tank"], all["product"]) = ("204".into(), "caustic soda 50 %".into());
        all
    };
    let mut sound = typed();
    sound["ticket.net"] = "20060 kg".into();
    let with = |changes: Value| {
        let mut all = sound.clone();
        for (key, value) in changes.as_object().expect("an object") {
            all[key] = value.clone();
        }
        all
    };
    vec![
        ("nothing typed", each("")),
        ("no number", each("zz")),
        ("a comma", each("49,7 kg")),
        ("no unit", each("12.5")),
        ("a unit of something else", each("12 kg")),
        ("another one", each("12 m3")),
        ("no known unit", each("12 kgs")),
        ("beyond any range", each("9e12 t")),
        ("beyond any number", each("-9e12")),
        ("not printable, or no list", each(",")),
        ("too long", each(&"9".repeat(250))),
        (
            "against each other",
            with(json!({
                "ticket.net": "26060 kg", "ticket.u": "26 kg", "planned": "99 t", "trailer.volume": "3 m3",
                "plate.mawp": "40 psi gauge", "plate.relief_from": "36 psi gauge", "plate.relief_to": "20 psi gauge",
                "leg.number": "2", "density.u": "0.1 %", "density.source": "zz",
                "certificate.property.1.low": "51", "certificate.property.1.high": "49",
                "certificate.property.2.name": typed()["certificate.property.1.name"], "certificate.property.2.unit": "%",
            })),
        ),
        ("by halves", with(json!({ "ticket.gross": "", "density.at": "1525 kg/m3", "leg.on_board": "10 t" }))),
        (
            "another product",
            with(json!({ "density.at": "1100 kg/m3", "density.temperature": "20 C",
                         "density.slope_kg_per_m3_per_c": "-0.7" })),
        ),
        ("more than a tank or a table", with(json!({ "planned": "90 t", "load_temperature": "200 C" }))),
        (
            "hardly meant",
            with(json!({ "plate.mawp": "12 psi gauge", "trailer.volume": "60 m3", "planned": "2 t",
                                      "leg.number": "" })),
        ),
    ]
}

/// The words of a text that have letters in them.
fn words(text: &str) -> BTreeSet<String> {
    let parts = text.split(|c: char| !c.is_alphanumeric()).map(str::to_lowercase);
    parts.filter(|word| word.chars().filter(|c| c.is_alphabetic()).count() > 1).collect()
}

/// Every fault that the form can show is said in the reader's language, beside its field and in the list: no word of it is
/// the English one, but what was typed, the site's names, and units as they are to be typed.
#[test]
fn every_fault_is_in_the_language_of_who_reads_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let runtime = Runtime::new().expect("a runtime");
    let running = idle(folder.path(), &runtime);
    let url = format!("http://{}", running.page);
    let mut browser = Browser::start();
    browser.screen(1280, 800, 1, false);
    the_form(&mut browser, &url);
    let mut found_in_all = 0;
    for (name, values) in rounds() {
        let mut said: Vec<(Vec<String>, Vec<String>)> = Vec::new();
        for (language, put_right) in [("en", "Put right"), ("es", "Corrija")] {
            choose_language(&mut browser, language);
            the_form(&mut browser, &url);
            type_in(&mut browser, &values);
            browser.press("#papers button");
            let looked_at = if language == "en" { "Look at this first" } else { "Mire esto antes" };
            browser.wait(&format!(
                "[{put_right:?}, {looked_at:?}].some((word) => document.getElementById('answer').textContent.includes(word))"
            ));
            let lines =
                |of: &str| format!("[...document.querySelectorAll('{of}')].map((e) => e.textContent).filter(Boolean)");
            let [list, beside] = ["#found li", "#papers .wrong"].map(|of| {
                let found = browser.value(&lines(of));
                let found = found.as_array().expect("a list").iter();
                found.map(|text| text.as_str().expect("a text").to_owned()).collect::<Vec<_>>()
            });
            assert!(beside.iter().all(|text| list.contains(text)), "{name}: {beside:?} is not of {list:?}");
            said.push((list, beside));
        }
        browser.screen(390, 844, 1, false);
        browser.value(
            "(document.activeElement.closest('.field') ?? document.getElementById('found')).scrollIntoView(); 0",
        );
        browser.picture(
            &pictures("page").join(format!("es-phone-papers-{}.png", name.replace(' ', "-").replace(',', ""))),
        );
        assert_eq!(browser.value(SIDEWAYS), "", "{name}: scrolls sideways");
        browser.screen(1280, 800, 1, false);
        let [(english, _), (spanish, _)] = &said[..] else { panic!("two languages") };
        assert!(!english.is_empty() && english.len() == spanish.len(), "{name}: {english:?}\n{spanish:?}");
        found_in_all += spanish.len();
        let mut own = words(&values.to_string());
        own.extend(UNITS.iter().flat_map(|unit| words(unit.name)));
        // The site's names, what is stamped on plates in any language, and words that both languages have.
        own.extend(["caustic", "soda", "mawp", "dot", "un1824", "ii", "no", "decimal"].map(str::to_owned));
        for (there, here) in english.iter().zip(spanish) {
            let left: Vec<String> =
                words(here).intersection(&words(there)).filter(|w| !own.contains(*w)).cloned().collect();
            assert!(left.is_empty(), "{name}: {left:?} in\n{here}\n{there}");
            assert!(!here.contains('_'), "{name}: a key of the file in {here}");
            assert!(here.contains("qué hacer: ") && there.contains("what to do: "), "{name}: no act in {here}");
            let (before_act, _) = there.split_once("; what to do").expect("an act");
            let figures = |text: &str| -> BTreeSet<String> {
                let parts = text.split(|c: char| !(c.is_ascii_digit() || ".-+e".contains(c)));
                parts.filter(|part| part.contains(|c: char| c.is_ascii_digit())).map(str::to_owned).collect()
            };
            let lost: Vec<String> = figures(before_act).difference(&figures(here)).cloned().collect();
            assert!(lost.is_empty(), "{name}: {lost:?} of\n{there}\nis not in\n{here}");
        }
    }
    assert!(found_in_all > 150, "{found_in_all} faults only: the rounds no longer enter what is wrong");
    runtime.block_on(running.stop());
}
