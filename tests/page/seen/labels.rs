//! The labels of the map: none lies over another, on the canvas as in the drawn map.

use serde_json::{Value, json};

use super::{Browser, example, written};
use crate::common::Field;

/// Notes what is written on canvases, with its rectangle in pixels of the canvas.
const NOTE: &str = r#"
window.written = [];
const own = CanvasRenderingContext2D.prototype.fillText;
CanvasRenderingContext2D.prototype.fillText = function (text, x, y, ...more) {
  const size = this.measureText(text), turn = this.getTransform();
  const corner = (px, py) => [turn.a * px + turn.c * py + turn.e, turn.b * px + turn.d * py + turn.f];
  const [west, north] = corner(x - size.actualBoundingBoxLeft, y - size.actualBoundingBoxAscent);
  const [east, south] = corner(x + size.actualBoundingBoxRight, y + size.actualBoundingBoxDescent);
  if (text && this.canvas.isConnected) window.written.push({ text, west, north, east, south });
  return own.call(this, text, x, y, ...more);
};
"#;

/// Pairs of labels that lie over each other by more than a pixel.
const OVER_EACH_OTHER: &str = r#"
const over = [];
const seen = new Set();
const labels = LABELS.filter((label) => {
  const key = `${label.text} ${Math.round(label.west)} ${Math.round(label.north)}`;
  return !seen.has(key) && seen.add(key);
});
labels.forEach((a, i) => labels.slice(0, i).forEach((b) => {
  const wide = Math.min(a.east, b.east) - Math.max(a.west, b.west), high = Math.min(a.south, b.south) - Math.max(a.north, b.north);
  if (wide > 1 && high > 1) over.push(`${a.text} and ${b.text} by ${wide.toFixed(1)} by ${high.toFixed(1)} px`);
}));
return { labels: labels.length, over };
"#;

#[track_caller]
fn assert_apart(what: &str, browser: &Browser, labels: &str, least: u64) {
    let found = browser.run(&OVER_EACH_OTHER.replace("LABELS", labels));
    let over: Vec<&str> = found["over"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(over.is_empty(), "{what}: {over:#?}");
    assert!(found["labels"].as_u64().unwrap() >= least, "{what}: {found}");
}

/// A crowd: features 2 m from each other at 100 m, whose names touch.
fn crowd() -> String {
    let row = |i: u32| format!("A,{i},Thicket stem {i},{},0,{}\n", 10.0 + f64::from(i % 12), 90 + 2 * (i / 12));
    (0..120).fold("base,shot,feature,true_azimuth_deg,inclination_deg,slope_distance_m\n".to_owned(), |log, i| log + &row(i))
}

#[test]
#[ignore = "needs chromium and chromedriver"]
fn no_label_lies_over_another() {
    let browser = Browser::start([1600, 1000]);
    browser.own("Page.addScriptToEvaluateOnNewDocument", json!({"source": NOTE}));
    let mut pages: Vec<(String, String)> = ["cliff-nests", "canopy-traverse", "rural-line"]
        .map(|folder| {
            let copied = tempfile::tempdir().unwrap();
            (folder.to_owned(), example(folder, copied.path()))
        })
        .into();
    pages.push(("a crowd".to_owned(), super::page_of(&Field::new(crowd()))));
    for (name, page) in pages {
        let copied = tempfile::tempdir().unwrap();
        let path = written(&copied, &page);
        for (width, height) in [(390, 800), (1600, 1000)] {
            browser.resize(width, height);
            browser.open(&path, true);
            for zoom in ["zoom-all", "zoom-in", "zoom-in", "zoom-out"] {
                browser.run(&format!("document.getElementById('{zoom}').click()"));
                std::thread::sleep(std::time::Duration::from_millis(500));
                // What is drawn once all has come to rest.
                browser.run("window.written = []; window.dispatchEvent(new Event('resize')); const box = document.querySelector('[data-layer]'); box.click(); box.click();");
                std::thread::sleep(std::time::Duration::from_millis(300));
                assert_apart(&format!("{name} at {width} px, {zoom}"), &browser, "window.written", 4);
            }
        }
        // The drawn map, as it stands in print.
        browser.own("Emulation.setEmulatedMedia", json!({"media": "print"}));
        let texts = "[...document.querySelectorAll('#map-static svg text')].map((text) => { const r = text.getBoundingClientRect(); \
                     return { text: text.textContent, west: r.left, east: r.right, north: r.top + 2, south: r.bottom - 2 }; })";
        assert_apart(&format!("{name}, drawn"), &browser, texts, 4);
        browser.own("Emulation.setEmulatedMedia", json!({"media": "screen"}));
    }
}
