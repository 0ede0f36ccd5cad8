//! What is chosen: links from rows that wait lead to their mark on the map, and what is said to dominate a feature is what the layers say.

use std::collections::BTreeMap;

use super::{Browser, written};
use crate::support::{copy, names, read, records, standoff};

/// An example mapped: its page, and the records of its features by name.
fn mapped(folder: &str) -> (tempfile::TempDir, String, BTreeMap<String, BTreeMap<String, String>>) {
    let copied = tempfile::tempdir().unwrap();
    copy(&std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(folder), copied.path());
    standoff(copied.path(), &["map", "job.toml", "--out", "out", "--format", "csv", "--quiet"]).exits(0);
    let out = copied.path().join("out");
    let page = names(&out).into_iter().find(|name| name.ends_with(".report.html")).unwrap();
    let csv = names(&out.join("csv")).into_iter().find(|name| name.ends_with(".features.csv")).unwrap();
    let by_name = records(&out.join("csv").join(csv)).into_iter().map(|record| (record["feature"].clone(), record)).collect();
    let page = read(&out.join(page));
    (copied, page, by_name)
}

fn pause() {
    std::thread::sleep(std::time::Duration::from_millis(500));
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn a_flagged_row_leads_to_its_mark() {
    let (folder, page, _) = mapped("cliff-nests");
    let browser = Browser::start([1600, 1000]);
    browser.open(&written(&folder, &page), true);
    // The ring of what is chosen is red: how many of its pixels there are, and where their middle lies.
    let ring = "const found = []; for (const canvas of document.querySelectorAll('#map-canvas canvas')) {
        const box = canvas.getBoundingClientRect(), scale = canvas.width / box.width;
        const pixels = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
        for (let i = 0; i < pixels.length; i += 4)
            if (Math.abs(pixels[i] - 0xb3) < 6 && Math.abs(pixels[i + 1] - 0x26) < 6 && Math.abs(pixels[i + 2] - 0x1e) < 6 && pixels[i + 3] > 200)
                found.push([(i / 4) % canvas.width / scale, Math.floor(i / 4 / canvas.width) / scale]); }
        const mean = (axis) => found.reduce((sum, at) => sum + at[axis], 0) / found.length;
        return found.length ? [found.length, mean(0), mean(1)] : [0, 0, 0]";
    pause();
    assert_eq!(browser.run(ring)[0], 0, "nothing is chosen");
    // Where the map has the feature: it is fitted to known bounds with a known padding.
    let place =
        "const d = JSON.parse(document.getElementById('data').textContent), f = d.features, [w, s, e, n] = d.plane.bounds;
        const c = document.getElementById('map-canvas'), [cw, ch] = [c.clientWidth, c.clientHeight];
        const r = Math.max((e - w) / (cw - 48), (n - s) / (ch - 48)), i = f.name.indexOf('NAME');
        return [cw / 2 + (f.x[i] - (w + e) / 2) / r, ch / 2 - (f.y[i] - (s + n) / 2) / r]";
    let links = browser.run(
        "return [...document.querySelectorAll('#todo a[href^=\"#f\"], #todo a[href^=\"#b\"]')].map((a) => [a.textContent, a.getAttribute('href')])",
    );
    let links = links.as_array().unwrap();
    assert!(!links.is_empty());
    for link in links {
        let (name, href) = (link[0].as_str().unwrap(), link[1].as_str().unwrap());
        browser.run(&format!("window.scrollTo(0, 1e6); document.querySelector('#todo a[href=\"{href}\"]').click()"));
        pause();
        let said = browser.run("return document.getElementById('chosen').innerText");
        assert!(said.as_str().unwrap().starts_with(name), "{name}: {said}");
        let seen = browser.run("const box = document.getElementById('map-canvas').getBoundingClientRect(); return box.top < innerHeight && box.bottom > 0");
        assert_eq!(seen, true, "the map is in sight");
        let (ring, place) = (browser.run(ring), browser.run(&place.replace("NAME", name)));
        let of = |value: &serde_json::Value, i: usize| value[i].as_f64().unwrap();
        assert!(of(&ring, 0) > 30.0, "{name} has no ring");
        let off = (of(&ring, 1) - of(&place, 0)).hypot(of(&ring, 2) - of(&place, 1));
        assert!(off < 3.0, "the ring is {off} px off {name}");
    }
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn what_dominates_a_feature_is_what_its_record_says() {
    let browser = Browser::start([1200, 900]);
    let (folder, page, records) = mapped("cliff-nests");
    browser.open(&written(&folder, &page), true);
    let names = browser.run("return JSON.parse(document.getElementById('data').textContent).features.name");
    let mut seen = 0;
    for (i, name) in names.as_array().unwrap().iter().enumerate() {
        // Shots of a measurement share the name of what they are of.
        let name = name.as_str().unwrap();
        if names.as_array().unwrap().iter().filter(|other| **other == name).count() > 1 {
            continue;
        }
        browser.run(&format!("location.hash = '#f{i}'"));
        std::thread::sleep(std::time::Duration::from_millis(60));
        let script = "const terms = [...document.querySelectorAll('#chosen dt')]; \
                          return [document.querySelector('#chosen h3').innerText, terms.find((dt) => dt.textContent === 'dominated by')?.nextSibling.textContent]";
        let said = browser.run(script);
        assert!(said[0].as_str().unwrap().starts_with(name), "{said}");
        let Some(said) = said[1].as_str() else { continue };
        let record = &records[name];
        let share = |part: &str| record[&format!("{part}_share")].parse::<f64>().unwrap();
        let most = ["base", "direction", "distance"].into_iter().max_by(|a, b| share(a).total_cmp(&share(b))).unwrap();
        assert!(said.starts_with(most), "{name}: {said}: {record:?}");
        let mut sum = 0;
        for part in ["base", "direction", "distance"] {
            let percent: u32 = said.split(&format!("{part} ")).nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
            assert!((f64::from(percent) - 100.0 * share(part)).abs() <= 1.0, "{name}: {said}: {record:?}");
            sum += percent;
        }
        assert_eq!(sum, 100, "{name}: {said}");
        seen += 1;
    }
    assert!(seen >= 20, "{seen}");
}
