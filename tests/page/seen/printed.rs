//! The page on paper: nothing is cut by the edge of a sheet, no heading stands alone at its end.
//!
//! Chromium breaks columns as it breaks sheets: the page in print is laid into columns of the size of a sheet's text, and each box says by its
//! rectangles in which of them it lies. The sheets are those of ISO 216 (A4, 210 mm by 297 mm) and ANSI/ASME Y14.1 (Letter, 215.9 mm by 279.4 mm).

use serde_json::{Value, json};

use super::{Browser, example, written};
use crate::page::from_base64;

/// Width and height of a sheet in millimetres.
const SHEETS: [(&str, f64, f64); 2] = [("A4", 210.0, 297.0), ("Letter", 215.9, 279.4)];
/// The margin of the page's own style, in millimetres.
const MARGIN_MM: f64 = 14.0;
/// CSS pixels in a millimetre: 96 an inch of 25.4 mm.
const PX: f64 = 96.0 / 25.4;

/// Lays the page into columns and gives what is wrong with each sheet.
const MEASURE: &str = r#"
const [W, H, GAP] = [WIDTH, HEIGHT, 60];
const body = document.body;
Object.assign(body.style, { width: W + 'px', height: H + 'px', columnWidth: W + 'px', columnGap: GAP + 'px', columnFill: 'auto' });
const box = body.getBoundingClientRect();
const sheet = (rect) => Math.floor((rect.left - box.left + 1) / (W + GAP));
const rects = (element) => [...element.getClientRects()].filter((rect) => rect.width > 0 && rect.height > 0);
const sheets = (element) => [...new Set(rects(element).map(sheet))];
const name = (element) => {
  const within = element.closest('[id]');
  return `${element.tagName.toLowerCase()} of #${within ? within.id : '?'}: ${element.textContent.trim().replace(/\s+/g, ' ').slice(0, 60)}`;
};
const wrong = [];
const all = (selector) => [...document.querySelectorAll(selector)].filter((element) => rects(element).length > 0);
for (const element of all('svg, tbody tr, h1, h2, h3, #legend label, figcaption, p, li, blockquote')) {
  if (sheets(element).length > 1) wrong.push(`split: ${name(element)}`);
  for (const rect of rects(element)) {
    if (rect.bottom > box.top + H + 1) wrong.push(`over the foot by ${Math.round(rect.bottom - box.top - H)} px: ${name(element)}`);
    if (rect.right > box.left + sheet(rect) * (W + GAP) + W + 1) wrong.push(`over the side: ${name(element)}`);
  }
}
// What stands below a heading begins on its sheet; of a table its first two rows.
for (const heading of all('h2, h3')) {
  let next = heading.nextElementSibling;
  while (next && rects(next).length === 0) next = next.nextElementSibling;
  if (next && sheets(next)[0] !== sheets(heading)[0]) wrong.push(`alone: ${name(heading)}`);
}
for (const table of all('.table')) {
  const rows = [...table.querySelectorAll('tbody tr')].slice(0, 2);
  if (rows.some((row) => sheets(row)[0] !== sheets(table)[0])) wrong.push(`caption without rows: #${table.id}`);
  const every = [...table.querySelectorAll('tbody tr')];
  const height = every.reduce((sum, row) => sum + rects(row).reduce((sum, rect) => sum + rect.height, 0), 0);
  if (sheets(table).length > 1 && height < H / 3) wrong.push(`a short table split: #${table.id}`);
}
return { wrong, sheets: Math.max(...all('footer').map((footer) => sheets(footer)[0])) + 1 };
"#;

#[test]
#[ignore = "needs chromium and chromedriver"]
fn nothing_is_cut_by_the_edge_of_a_sheet() {
    let browser = Browser::start([1200, 900]);
    let mut wrong = Vec::new();
    for folder in ["cliff-nests", "canopy-traverse", "span-survey", "rural-line", "forest-plot"] {
        let copied = tempfile::tempdir().unwrap();
        let page = example(folder, copied.path());
        let path = written(&copied, &page);
        for (sheet, width_mm, height_mm) in SHEETS {
            let [width, height] = [width_mm, height_mm].map(|mm| ((mm - 2.0 * MARGIN_MM) * PX).floor());
            browser.own("Emulation.setEmulatedMedia", json!({"media": "screen"}));
            browser.open(&path, true);
            browser.own("Emulation.setEmulatedMedia", json!({"media": "print"}));
            let script = MEASURE.replace("WIDTH", &width.to_string()).replace("HEIGHT", &height.to_string());
            let found = browser.run(&script);
            let said = found["wrong"].as_array().unwrap().iter().map(|one| one.as_str().unwrap().to_owned());
            wrong.extend(said.map(|one| format!("{folder} on {sheet}: {one}")));
            // As many sheets as the browser's own printing makes, or nearly: the columns are what is printed.
            let printed = sheets_printed(&browser, width_mm, height_mm);
            let laid = found["sheets"].as_u64().unwrap();
            assert!(printed.abs_diff(laid) <= 1, "{folder} on {sheet}: {laid} columns and {printed} sheets");
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// How many sheets the browser prints.
fn sheets_printed(browser: &Browser, width_mm: f64, height_mm: f64) -> u64 {
    browser.run("document.body.removeAttribute('style')");
    let inches = |mm: f64| mm / 25.4;
    let printed = browser.own(
        "Page.printToPDF",
        json!({"paperWidth": inches(width_mm), "paperHeight": inches(height_mm), "preferCSSPageSize": false, "printBackground": true}),
    );
    let Value::String(base64) = &printed["data"] else { panic!("no PDF") };
    let bytes = from_base64(base64);
    // Each sheet is an object of this type (ISO 32000-1, 7.7.3.3); chromium leaves these objects as plain text.
    let text = String::from_utf8_lossy(&bytes);
    let pages = text.matches("/Type /Page").count() - text.matches("/Type /Pages").count();
    pages as u64
}
