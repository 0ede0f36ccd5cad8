//! The page as a browser shows it. These need chromium and chromedriver, one of them the packages of `report/`, and are ignored without being asked for:
//! `cargo test --release page::seen -- --ignored`, as `.ci/run` does.

use std::path::PathBuf;

use serde_json::Value;

use super::browser::Browser;
use super::{example, many_shots, page_of};
use crate::common::Field;

mod accessible;
mod chosen;
mod labels;
mod printed;

fn written(folder: &tempfile::TempDir, page: &str) -> PathBuf {
    let path = folder.path().join("page.html");
    std::fs::write(&path, page).unwrap();
    path
}

/// Nothing on the console, nothing asked for but the page itself.
fn assert_quiet(browser: &Browser) {
    assert_eq!(browser.console(), Vec::<String>::new());
    let asked = browser.requests();
    assert!(!asked.is_empty(), "the page itself was asked for");
    assert!(asked.iter().all(|address| address.starts_with("file://") && address.ends_with("page.html")), "{asked:?}");
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn every_feature_is_on_the_map_and_search_and_keys_find_it() {
    let folder = tempfile::tempdir().unwrap();
    let page = example("cliff-nests", folder.path());
    let browser = Browser::start([1600, 1000]);
    browser.open(&written(&folder, &page), true);
    assert_eq!(browser.run("return document.getElementById('map-canvas').dataset.features"), "25");
    assert!(browser.run("return document.querySelectorAll('#map-canvas canvas').length").as_u64().unwrap() > 0);
    // Search: the panel says what was found.
    let name = browser.run("return JSON.parse(document.getElementById('data').textContent).features.name[3]");
    let name = name.as_str().unwrap();
    browser.run(&format!(
        "const field = document.getElementById('search'); field.value = '{name}'; field.dispatchEvent(new Event('input'));"
    ));
    let said = browser.run("return document.getElementById('chosen').innerText");
    let said = said.as_str().unwrap();
    assert!(said.starts_with(name), "{said}");
    for word in ["place", "height", "within", "dominated by", "from", "shots", "source", ".csv:"] {
        assert!(said.contains(word), "{word} in {said}");
    }
    // N goes on to the next, Escape leaves.
    let press = |key: &str| {
        browser.run(&format!(
            "document.getElementById('map-canvas').dispatchEvent(new KeyboardEvent('keydown', {{key: '{key}', bubbles: true}}));"
        ))
    };
    press("n");
    assert_eq!(browser.run("return document.getElementById('chosen').dataset.chosen"), "feature 4");
    press("Escape");
    assert_eq!(browser.run("return document.getElementById('chosen').hidden"), true);
    // A link in the table leads to the map.
    browser.run("document.querySelector('#values-features a').click()");
    std::thread::sleep(std::time::Duration::from_millis(300));
    assert_eq!(browser.run("return document.getElementById('chosen').dataset.chosen"), "feature 0");
    assert_quiet(&browser);
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn a_click_on_a_mark_tells_its_feature_and_layers_go_off_and_on() {
    let folder = tempfile::tempdir().unwrap();
    let page = example("cliff-nests", folder.path());
    let browser = Browser::start([1200, 1000]);
    browser.open(&written(&folder, &page), true);
    browser.run("document.getElementById('map').scrollIntoView()");
    // The map is fitted to known bounds with a known padding: where a feature lies in the window follows from these alone.
    let script =
        "const d = JSON.parse(document.getElementById('data').textContent), f = d.features, [w, s, e, n] = d.plane.bounds;
        const box = document.getElementById('map-canvas').getBoundingClientRect(), c = document.getElementById('map-canvas');
        const [cw, ch] = [c.clientWidth, c.clientHeight];
        const r = Math.max((e - w) / (cw - 48), (n - s) / (ch - 48));
        return f.name.map((name, i) => [box.left + c.clientLeft + cw / 2 + (f.x[i] - (w + e) / 2) / r,
            box.top + c.clientTop + ch / 2 - (f.y[i] - (s + n) / 2) / r, name])";
    let places = browser.run(script);
    let places: Vec<(f64, f64, &str)> = places
        .as_array()
        .unwrap()
        .iter()
        .map(|place| (place[0].as_f64().unwrap(), place[1].as_f64().unwrap(), place[2].as_str().unwrap()))
        .collect();
    // One that stands well apart from all others.
    let apart = |(x, y, _): &(f64, f64, &str)| {
        let near = places.iter().filter(|(ox, oy, _)| (ox - x).hypot(oy - y) < 25.0).count();
        near == 1
    };
    let (x, y, name) = places.iter().find(|place| apart(place)).expect("a feature by itself");
    browser.click(*x, *y);
    let said = browser.run("return document.getElementById('chosen').innerText");
    assert!(said.as_str().unwrap().starts_with(name), "{name}: {said}");
    browser.click(places[0].0, 2.0);
    // A layer off: its pixels go; on again: they come back.
    let ink = "const canvas = [...document.querySelectorAll('#map-canvas canvas')];
        return canvas.reduce((sum, c) => { const p = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
            for (let i = 3; i < p.length; i += 4) sum += p[i] > 0 ? 1 : 0; return sum; }, 0)";
    let flip = || {
        browser.run("const box = document.querySelector('[data-layer=sights]'); box.click()");
        std::thread::sleep(std::time::Duration::from_millis(400));
        browser.run(ink).as_u64().unwrap()
    };
    let before = browser.run(ink).as_u64().unwrap();
    let off = flip();
    let on = flip();
    assert!(off < before && on == before, "{before} {off} {on}");
    assert_quiet(&browser);
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn tables_sort_and_filter() {
    let folder = tempfile::tempdir().unwrap();
    let page = page_of(&Field::new(many_shots(40)));
    let browser = Browser::start([1200, 900]);
    browser.open(&written(&folder, &page), true);
    let column = |index: usize| -> Vec<f64> {
        let script = format!(
            "return [...document.querySelectorAll('#values-features tbody tr')].filter(r => !r.hidden).map(r => parseFloat(r.cells[{index}].textContent))"
        );
        browser.run(&script).as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
    };
    for expected in [true, false] {
        browser.run("document.querySelectorAll('#values-features th [role=button]')[1].click()");
        let values = column(1);
        assert!(values.windows(2).all(|w| if expected { w[0] <= w[1] } else { w[0] >= w[1] }), "{values:?}");
    }
    browser.run("const field = document.querySelector('#values-features input'); field.value = 'shots.csv:7'; field.dispatchEvent(new Event('input'));");
    assert_eq!(column(1).len(), 1);
    assert_quiet(&browser);
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn without_scripts_the_drawn_map_and_the_tables_are_there() {
    let folder = tempfile::tempdir().unwrap();
    let page = example("span-survey", folder.path());
    let browser = Browser::start([1200, 900]);
    browser.own("Emulation.setScriptExecutionDisabled", serde_json::json!({"value": true}));
    browser.open(&written(&folder, &page), false);
    // The driver's own scripts are off too; the browser's tree is asked instead.
    let tree = browser.own("DOMSnapshot.captureSnapshot", serde_json::json!({"computedStyles": ["display"]}));
    let strings = tree["strings"].as_array().unwrap();
    let text: Vec<&str> = tree["documents"][0]["layout"]["text"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|index| strings.get(usize::try_from(index.as_i64().unwrap()).ok()?)?.as_str())
        .collect();
    let text = text.join("\n");
    for shown in ["Map", "Values", "Drawings", "How it was done", "Spans"] {
        assert!(text.contains(shown), "{shown}");
    }
    assert!(!text.contains("Whole map"), "no switch that would do nothing");
    let boxes = |id: &str| -> f64 {
        let document = browser.own("DOM.getDocument", Value::Object(Default::default()));
        let node = browser.own("DOM.querySelector", serde_json::json!({"nodeId": document["root"]["nodeId"], "selector": id}));
        let found = browser.own("DOM.getBoxModel", serde_json::json!({"nodeId": node["nodeId"]}));
        found["model"]["height"].as_f64().unwrap()
    };
    assert!(boxes("#map-static svg") > 300.0);
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn no_part_is_wider_than_a_phone_and_the_drawn_map_is_what_prints() {
    let folder = tempfile::tempdir().unwrap();
    let page = example("cliff-nests", folder.path());
    let browser = Browser::start([1600, 900]);
    browser.open(&written(&folder, &page), true);
    for width in [390, 1600] {
        browser.resize(width, 800);
        std::thread::sleep(std::time::Duration::from_millis(300));
        let wide = browser.run("return document.documentElement.scrollWidth").as_u64().unwrap();
        assert!(wide <= u64::from(width), "{wide} px at {width}");
    }
    browser.own("Emulation.setEmulatedMedia", serde_json::json!({"media": "print"}));
    let height = |id: &str| {
        browser.run(&format!("return document.querySelector('{id}').getBoundingClientRect().height")).as_f64().unwrap()
    };
    assert!(height("#map-static svg") > 200.0);
    assert_eq!(height("#map-canvas"), 0.0);
    assert_quiet(&browser);
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn hostile_names_run_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let name = "<img src=x onerror=\"\"window.hit=1\"\">";
    let field = Field::new(format!(
        "base,shot,feature,true_azimuth_deg,inclination_deg,slope_distance_m\nA,1,\"{name}\",10,1,50\nA,2,\u{202e}gnirts,20,1,60\n"
    ));
    let browser = Browser::start([1200, 900]);
    browser.open(&written(&folder, &page_of(&field)), true);
    browser.run("location.hash = '#f0'");
    std::thread::sleep(std::time::Duration::from_millis(300));
    let said = browser.run("return document.getElementById('chosen').innerText");
    assert!(said.as_str().unwrap().starts_with("<img src=x onerror="), "{said}");
    assert_eq!(browser.run("return [window.hit ?? 0, document.images.length]"), serde_json::json!([0, 0]));
    assert_quiet(&browser);
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn fifty_thousand_features_are_counted_and_the_map_answers() {
    let folder = tempfile::tempdir().unwrap();
    let page = page_of(&Field::new(many_shots(50_000)));
    let browser = Browser::start([1600, 1000]);
    browser.open(&written(&folder, &page), true);
    let names = browser.run("return JSON.parse(document.getElementById('data').textContent).features.name");
    let names = names.as_array().unwrap();
    assert!((12_000..13_000).contains(&names.len()), "about one of four: {}", names.len());
    assert_eq!(browser.run("return document.getElementById('map-canvas').dataset.features"), names.len().to_string());
    assert_eq!(browser.run("return document.querySelector('[data-layer=sights]').checked"), false);
    let far = names[names.len() - 7].as_str().unwrap();
    browser.run(&format!(
        "const field = document.getElementById('search'); field.value = '{far}'; field.dispatchEvent(new Event('input'));"
    ));
    let said = browser.run("return document.getElementById('chosen').innerText");
    assert!(said.as_str().unwrap().starts_with(far), "{said}");
    assert_quiet(&browser);
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn the_pages_of_the_other_commands_are_quiet_and_fit_a_phone() {
    use crate::support::{copy, standoff};
    let folder = tempfile::tempdir().unwrap();
    copy(&std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/headland-nests"), folder.path());
    let run = |arguments: &[&str]| standoff(folder.path(), arguments).exits(0);
    run(&["map", "job.toml", "--out", "out", "--format", "gpkg", "--quiet"]);
    let gpkg = crate::support::names(&folder.path().join("out")).into_iter().find(|name| name.ends_with(".gpkg")).unwrap();
    std::fs::copy(folder.path().join("out").join(&gpkg), folder.path().join("again.gpkg")).unwrap();
    let gpkg = format!("out/{gpkg}");
    let browser = Browser::start([390, 900]);
    for arguments in
        [&["assess", &gpkg, "--check", "check.csv"][..], &["compare", &gpkg, "again.gpkg"], &["plan", "--tolerance", "2"]]
    {
        run(&[arguments, &["--report", "page.html"]].concat());
        // They have no map to wait for.
        browser.open(&folder.path().join("page.html"), false);
        let (wide, window) =
            (browser.run("return document.documentElement.scrollWidth"), browser.run("return window.innerWidth"));
        assert!(wide.as_u64().unwrap() <= window.as_u64().unwrap(), "{arguments:?}: {wide} in {window}");
        // Tables sort: a head is pressed and the rows change places, or stand as they did.
        assert!(browser.run("return document.querySelectorAll('.table').length").as_u64().unwrap() > 0);
        assert_quiet(&browser);
    }
}
