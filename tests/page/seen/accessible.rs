//! The page for everybody: the rules of the axe engine (axe-core, in `report/`), on a phone and on a desk, chosen features and open parts among them.

use std::path::Path;

use serde_json::Value;

use super::{Browser, example, written};

/// The engine, as `npm ci` in `report/` puts it there.
fn engine() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("report/node_modules/axe-core/axe.min.js");
    std::fs::read_to_string(&path)
        .unwrap_or_else(|error| panic!("{}: {error}; run: cd report && npm ci --ignore-scripts", path.display()))
}

/// Rules that a page of `standoff` breaks, with the places.
fn broken(browser: &Browser, engine: &str) -> Vec<String> {
    browser.run(&format!("{engine}; window.found = null; axe.run(document).then((found) => {{ window.found = found; }}, (error) => {{ window.found = {{ failed: String(error) }}; }});"));
    let start = std::time::Instant::now();
    let found = loop {
        let script = "return window.found && (window.found.failed ? { failed: window.found.failed } : { passes: window.found.passes.length, \
             violations: window.found.violations.map((rule) => `${rule.id}: ${rule.help}: ${rule.nodes.slice(0, 5).map((node) => \
             node.target.join(' ') + ' ' + node.html.slice(0, 120) + ' ' + (node.any[0]?.message ?? '')).join(' | ')}`) })";
        let found = browser.run(script);
        if !found.is_null() {
            break found;
        }
        assert!(start.elapsed().as_secs() < 120, "the engine does not come to an end");
        std::thread::sleep(std::time::Duration::from_millis(100));
    };
    assert_eq!(found["failed"], Value::Null, "{found}");
    assert!(found["passes"].as_u64().unwrap() > 15, "too few rules were looked at: {found}");
    found["violations"].as_array().unwrap().iter().map(|rule| rule.as_str().unwrap().to_owned()).collect()
}

#[test]
#[ignore = "needs chromium, chromedriver and axe-core"]
fn no_rule_of_access_is_broken() {
    let engine = engine();
    let browser = Browser::start([1600, 1000]);
    let mut wrong = Vec::new();
    for folder in ["cliff-nests", "span-survey", "canopy-traverse"] {
        let copied = tempfile::tempdir().unwrap();
        let page = example(folder, copied.path());
        let path = written(&copied, &page);
        for width in [390, 1600] {
            browser.resize(width, 900);
            browser.open(&path, true);
            // A feature chosen, everything opened.
            browser.run("location.hash = '#f0'; document.querySelectorAll('details').forEach((part) => { part.open = true; })");
            std::thread::sleep(std::time::Duration::from_millis(300));
            wrong.extend(broken(&browser, &engine).into_iter().map(|rule| format!("{folder} at {width} px: {rule}")));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
