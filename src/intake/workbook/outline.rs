//! What the reader of cells does not tell of a sheet: hidden rows, and in OpenDocument the cells merged over several rows.
//!
//! Sources: ECMA-376 part 1, 18.3.1.73 (`row`, `hidden`) and 18.2.19 (`sheet`); OpenDocument 1.3 part 3, 9.1.3
//! (`table:table-row`, `table:visibility`), 9.1.4 (`table:number-rows-spanned`). The older binary format keeps its rows
//! elsewhere: there none is known to be hidden.

use std::collections::HashMap;
use std::io::{Cursor, Read};

use zip::ZipArchive;

use crate::intake::xml::{OpenElement, Pieces, XmlPiece};

/// The greatest document of XML that is unpacked, in bytes.
const GREATEST_XML: u64 = 1 << 30;

/// A cell that is merged over several rows; all counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Down {
    /// First row.
    pub first: u32,
    /// Last row.
    pub last: u32,
    /// Its column, the first where it is merged over several.
    pub column: u32,
}

/// What is known of a sheet beside its cells.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Outline {
    /// Rows that are hidden, counted from 1.
    pub hidden_rows: Vec<u64>,
    /// Cells merged over several rows.
    pub merged_down: Vec<Down>,
}

/// Outlines by the names of the sheets; empty where the file has none to tell.
pub fn read(bytes: &[u8]) -> HashMap<String, Outline> {
    if !bytes.starts_with(b"PK") {
        return HashMap::new();
    }
    let Ok(mut archive) = ZipArchive::new(Cursor::new(bytes)) else { return HashMap::new() };
    match unpacked(&mut archive, "content.xml") {
        Some(content) => read_opendocument(&content).unwrap_or_default(),
        None => read_office_open(&mut archive).unwrap_or_default(),
    }
}

pub(in crate::intake) fn unpacked(archive: &mut ZipArchive<Cursor<&[u8]>>, name: &str) -> Option<String> {
    let file = archive.by_name(name).ok()?;
    let mut text = String::new();
    file.take(GREATEST_XML).read_to_string(&mut text).ok()?;
    Some(text)
}

fn read_office_open(archive: &mut ZipArchive<Cursor<&[u8]>>) -> Option<HashMap<String, Outline>> {
    let mut targets = HashMap::new();
    each(&unpacked(archive, "xl/_rels/workbook.xml.rels")?, |mut open| {
        if let (Some(id), Some(target)) = (open.attribute("Id"), open.attribute("Target")) {
            targets.insert(id, target);
        }
    })?;
    let mut sheets = Vec::new();
    each(&unpacked(archive, "xl/workbook.xml")?, |mut open| {
        if open.name == "sheet"
            && let (Some(name), Some(id)) = (open.attribute("name"), open.attribute("r:id"))
        {
            sheets.push((name, id));
        }
    })?;
    let mut outlines = HashMap::new();
    for (name, id) in sheets {
        let Some(target) = targets.get(&id) else { continue };
        let path = match target.strip_prefix('/') {
            Some(whole) => whole.to_owned(),
            None => format!("xl/{target}"),
        };
        let Some(sheet) = unpacked(archive, &path) else { continue };
        let mut outline = Outline::default();
        let mut last = 0;
        each(&sheet, |mut open| {
            if open.name == "row" {
                last = open.attribute("r").and_then(|number| number.parse().ok()).unwrap_or(last + 1);
                if matches!(open.attribute("hidden").as_deref(), Some("1" | "true")) {
                    outline.hidden_rows.push(last);
                }
            }
        });
        outlines.insert(name, outline);
    }
    Some(outlines)
}

/// Hands on the begin of every element.
fn each(text: &str, mut take: impl FnMut(OpenElement)) -> Option<()> {
    let mut pieces = Pieces::new(text);
    loop {
        match pieces.next().ok()? {
            XmlPiece::Open(open) => take(open),
            XmlPiece::Text(_) | XmlPiece::Close(_) => {}
            XmlPiece::End => return Some(()),
        }
    }
}

fn read_opendocument(content: &str) -> Option<HashMap<String, Outline>> {
    let mut outlines: HashMap<String, Outline> = HashMap::new();
    let (mut name, mut row, mut column, mut repeated) = (String::new(), 0u32, 0u32, 1u32);
    each(content, |mut open| {
        let element = open.name.clone();
        let mut count = |of: &str| open.attribute(of).and_then(|number| number.parse::<u32>().ok()).unwrap_or(1).max(1);
        match element.as_str() {
            "table" => {
                name = open.attribute("table:name").unwrap_or_default();
                (row, repeated) = (0, 0);
            }
            "table-row" => {
                row += repeated;
                repeated = count("table:number-rows-repeated");
                column = 0;
                if matches!(open.attribute("table:visibility").as_deref(), Some("collapse" | "filter")) {
                    let hidden = u64::from(row) + 1..=u64::from(row) + u64::from(repeated.min(100_000));
                    outlines.entry(name.clone()).or_default().hidden_rows.extend(hidden);
                }
            }
            "table-cell" | "covered-table-cell" => {
                let (columns, rows) = (count("table:number-columns-repeated"), count("table:number-rows-spanned"));
                if rows > 1 {
                    let down = Down { first: row, last: row + rows - 1, column };
                    outlines.entry(name.clone()).or_default().merged_down.push(down);
                }
                column += columns;
            }
            _ => {}
        }
    })?;
    Some(outlines)
}
