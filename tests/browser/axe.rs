//! Every page by WCAG 2.2, levels A and AA, as far as axe-core (Deque Systems, MPL-2.0) can tell; what it cannot tell is
//! held by the other tests: order of texts, size of targets, words beside colours.

use super::chromium::Browser;
use super::{Stage, scenes, show};
use std::path::Path;

/// The rules of WCAG 2.0, 2.1 and 2.2, levels A and AA.
const RULES: &str = "['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']";

/// The library as `tests/browser/axe.txt` pins it; `./test` installs it into `.venv/`.
fn library() -> String {
    let lib = Path::new(env!("CARGO_MANIFEST_DIR")).join(".venv/lib");
    let pythons = std::fs::read_dir(&lib).into_iter().flatten().filter_map(|entry| Some(entry.ok()?.path()));
    let found = pythons.map(|python| python.join("site-packages/axe_playwright_python/axe.min.js"));
    let file = found.into_iter().find(|file| file.exists());
    let file = file.unwrap_or_else(|| panic!("no axe-core below {}: run ./test once", lib.display()));
    std::fs::read_to_string(file).expect("axe-core is read")
}

/// What it finds against the page as it stands: rule, and where.
fn found(browser: &mut Browser, library: &str) -> Vec<String> {
    browser.value(&format!("{library}; 0"));
    let ask = format!(
        "axe.run(document, {{ runOnly: {{ type: 'tag', values: {RULES} }}, resultTypes: ['violations'] }}).then((r) => \
         [r.passes.length, ...r.violations.flatMap((v) => v.nodes.map((n) => `${{v.id}}: ${{n.target.join(' ')}} ${{n.failureSummary}}`))])"
    );
    let answer = browser.value(&ask);
    let mut all = answer.as_array().expect("a list").iter();
    let passes = all.next().and_then(serde_json::Value::as_u64).unwrap_or(0);
    assert!(passes > 5, "it looked at nothing");
    all.map(|one| one.as_str().unwrap_or_default().to_owned()).collect()
}

#[test]
fn every_page_passes_wcag_22_aa() {
    let library = library();
    let mut stage = Stage::of(scenes::agree(), &["bay-2", "bay-3"]);
    let mut browser = Browser::start();
    let mut against = Vec::new();
    for (screen, width, height, dark) in
        [("tablet", 1280, 800, false), ("dark", 1280, 800, true), ("phone", 390, 844, false)]
    {
        browser.screen(width, height, 1, dark);
        for path in ["bay/bay-2", "bay/bay-2/far"] {
            browser.open(&format!("{}{path}", stage.url));
            for (name, scene) in scenes::all() {
                show(&mut stage, &mut browser, &scene);
                browser.value("document.querySelectorAll('details').forEach((d) => { d.open = true; }); 0");
                let found = found(&mut browser, &library);
                against.extend(found.into_iter().map(|f| format!("{screen}, {path}, {name}: {f}")));
            }
        }
        for look in ["sun", "dark", "auto"] {
            browser.value(&format!("document.documentElement.dataset.look = '{look}'; 0"));
            let found = found(&mut browser, &library);
            against.extend(found.into_iter().map(|f| format!("{screen}, look {look}: {f}")));
        }
        stage.publish(&scenes::everything_at_once());
        for path in ["", "sign-in", "settings", "figures"] {
            let url = format!("{}{path}", stage.url);
            browser.call("Page.navigate", serde_json::json!({ "url": url }));
            browser.wait(&format!("location.pathname === '/{path}' && document.readyState === 'complete'"));
            against.extend(found(&mut browser, &library).into_iter().map(|f| format!("{screen}, /{path}: {f}")));
        }
    }
    assert!(against.is_empty(), "{} found:\n{}", against.len(), against.join("\n"));
}
