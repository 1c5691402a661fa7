//! A delivery opened through the form, before a real watch: what is wrong is said beside its field and nothing typed is
//! lost; what is typed is shown as text wherever it turns up; opened twice it is refused.

use super::chromium::Browser;
use super::{SIDEWAYS, pictures};
use brimwatch::config;
use brimwatch::live::{Options, start};
use serde_json::json;
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

/// The form on tablet and phone, light and dark, in both languages.
fn every_look_fits(browser: &mut Browser, url: &str, pictures: &Path) {
    let there = |browser: &mut Browser| {
        browser.call("Page.navigate", json!({ "url": format!("{url}/bay/bay-1/papers") }));
        browser.wait("location.pathname === '/bay/bay-1/papers' && document.readyState === 'complete'");
    };
    there(browser);
    for (language, label) in [("es", "Neto (tiene que estar)"), ("en", "Net (must be there)")] {
        let choose = format!(
            "fetch('/reader', {{ method: 'POST', headers: {{ 'content-type': 'application/json' }}, \
             body: JSON.stringify({{ language: '{language}', units: 'si' }}) }}).then((reply) => reply.status)"
        );
        assert_eq!(browser.value(&choose), 204);
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

#[test]
fn a_delivery_is_opened_through_the_form() {
    let pictures = pictures("page");
    let folder = tempfile::tempdir().expect("a folder");
    let runtime = Runtime::new().expect("a runtime");
    let site = shipped_in(folder.path());
    let running = start(Options { site, deliveries: Vec::new(), drill_speed: None });
    let running = runtime.block_on(running).expect("it starts");
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
