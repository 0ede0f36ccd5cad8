//! KML documents, and KMZ archives of them: placemarks of points as rows of a log.
//!
//! Source: OGC KML 2.3 (12-007r2). Coordinates are longitude, latitude and altitude on WGS 84, decimal degrees and metres
//! (clause 6.5, `coordinates`). An altitude counts only where the mode is `absolute`, and is then above the EGM96 geoid; by
//! default a placemark is clamped to the ground and its altitude means nothing.

#[cfg(test)]
mod tests;

use std::io::Cursor;

use super::headers::UniqueHeaders;
use super::inflated::{self, TooLarge};
use super::workbook::unpacked;
use super::xml::{OpenElement, Pieces, XmlError, XmlPiece};
use crate::records::fix::HeldLine;
use crate::records::ledger::{Fault, Reason};

/// What altitudes are measured from.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum KmlHeights {
    /// As the standard has it: absolute altitudes are above the geoid, all others mean nothing.
    #[default]
    Standard,
    /// All altitudes were measured, above the geoid.
    Orthometric,
    /// All altitudes were measured, above the ellipsoid.
    Ellipsoid,
}

/// A placemark with one point.
#[derive(Debug, Clone, PartialEq)]
pub struct Placemark {
    /// Line on which it begins, counted from 1.
    pub line: u64,
    /// Name; empty where it has none.
    pub name: String,
    /// Latitude in degrees.
    pub lat_deg: f64,
    /// Longitude in degrees.
    pub lon_deg: f64,
    /// Altitude in metres, where it means something.
    pub altitude_m: Option<f64>,
    /// Its other texts by name: `time`, `description`, `folder`, and its extended data.
    pub extras: Vec<(String, String)>,
}

/// What a document holds, in its order.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct KmlLog {
    /// Placemarks of points.
    pub placemarks: Vec<Placemark>,
    /// Placemarks that were held.
    pub held: Vec<HeldLine>,
    /// Placemarks whose altitude was not taken.
    pub altitudes_unused: u64,
    heights: KmlHeights,
}

/// Why a file is not read as KML or KMZ.
#[derive(Debug, thiserror::Error)]
pub enum KmlError {
    /// The archive unpacks to too much.
    #[error(transparent)]
    TooLarge(#[from] TooLarge),
    /// It is no archive, or damaged.
    #[error("the KMZ archive cannot be opened: {0}")]
    Archive(#[from] zip::result::ZipError),
    /// No document is in the archive.
    #[error("the archive holds no KML document")]
    NoDocument,
    /// A document of the archive is damaged or no text.
    #[error("{0} in the archive cannot be read as UTF-8 text")]
    NotText(String),
    /// The document is not well-formed.
    #[error(transparent)]
    Xml(#[from] XmlError),
    /// Another document.
    #[error("line {line}: this is no KML: its outermost element is <{name}>")]
    OtherRoot {
        /// Line of its outermost element.
        line: u64,
        /// Name of that.
        name: String,
    },
    /// There is no element in it.
    #[error("this is no KML: there is no element in it")]
    Empty,
    /// The placemark that begins on this line has no end.
    #[error("line {0}: the placemark does not end")]
    OpenPlacemark(u64),
}

/// Whether a text is a KML document: its outermost element is `kml`.
pub fn looks_like(text: &str) -> bool {
    matches!(Pieces::new(text).next(), Ok(XmlPiece::Open(open)) if open.name == "kml")
}

/// The document in a KMZ archive, `doc.kml` or else the first one, with those of the archive that it links to (clause 12.2,
/// `NetworkLink`): programs that write several layers put each in a document of its own.
///
/// # Errors
/// When there is none, or the archive is damaged.
pub fn unpack(bytes: &[u8]) -> Result<String, KmlError> {
    inflated::check("the KMZ archive", bytes)?;
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes))?;
    let entries = archive.file_names().flatten().map(|name| name.into_owned());
    let mut names: Vec<String> = entries.filter(|name| name.to_lowercase().ends_with(".kml")).collect();
    names.sort_by_key(|name| (name != "doc.kml", name.matches('/').count(), name.clone()));
    let first = names.first().ok_or(KmlError::NoDocument)?.clone();
    let mut document = |name: &str| unpacked(&mut archive, name).ok_or_else(|| KmlError::NotText(name.to_owned()));
    let mut whole = document(&first)?;
    let (mut taken, mut linked) = (vec![first], links(&whole));
    while let Some(href) = linked.pop() {
        let name = href.trim_start_matches("./").to_owned();
        if !names.contains(&name) || taken.contains(&name) {
            continue;
        }
        let text = document(&name)?;
        linked.extend(links(&text));
        if let (Some(inside), Some(end)) = (inside(&text), whole.rfind("</kml>")) {
            whole.insert_str(end, inside);
        }
        taken.push(name);
    }
    Ok(whole)
}

/// What a document links to, the last first.
fn links(text: &str) -> Vec<String> {
    let mut pieces = Pieces::new(text);
    let mut open: Vec<String> = Vec::new();
    let mut found = Vec::new();
    while let Ok(piece) = pieces.next() {
        match piece {
            XmlPiece::Open(element) => open.push(element.name),
            XmlPiece::Text(text) => {
                let is_link = open.last().is_some_and(|leaf| leaf == "href") && open.iter().any(|name| name == "NetworkLink");
                if is_link {
                    found.insert(0, text.trim().to_owned());
                }
            }
            XmlPiece::Close(_) => {
                open.pop();
            }
            XmlPiece::End => break,
        }
    }
    found
}

/// What stands in the outermost element of a document.
fn inside(text: &str) -> Option<&str> {
    let start = text.find("<kml")?;
    let from = start + text[start..].find('>')? + 1;
    text.get(from..text.rfind("</kml>")?)
}

/// Reads a document's text.
///
/// # Errors
/// When the text is no KML or not well-formed.
pub fn read(text: &str, heights: KmlHeights) -> Result<KmlLog, KmlError> {
    let mut pieces = Pieces::new(text);
    match pieces.next()? {
        XmlPiece::Open(root) if root.name == "kml" => {}
        XmlPiece::Open(root) => return Err(KmlError::OtherRoot { line: root.line, name: root.name }),
        _ => return Err(KmlError::Empty),
    }
    let mut kml = KmlLog { heights, ..KmlLog::default() };
    // The open elements, and the names of those that are folders.
    let mut open: Vec<(String, Option<String>)> = Vec::new();
    loop {
        match pieces.next()? {
            XmlPiece::Open(element) if element.name == "Placemark" => {
                let folder: Vec<&str> =
                    open.iter().filter_map(|(_, name)| name.as_deref()).filter(|name| !name.is_empty()).collect();
                let folder = folder.join("/");
                let found = PlacemarkFound::read(&mut pieces, &element)?;
                kml.take(found, folder);
            }
            XmlPiece::Open(element) => open.push((element.name, None)),
            XmlPiece::Text(text) => {
                if let [.., (parent, name), (leaf, _)] = open.as_mut_slice()
                    && parent == "Folder"
                    && leaf == "name"
                {
                    name.get_or_insert_default().push_str(text.trim());
                }
            }
            XmlPiece::Close(_) => {
                open.pop();
            }
            XmlPiece::End => return Ok(kml),
        }
    }
}

/// What stands in a placemark.
struct PlacemarkFound {
    line: u64,
    raw: String,
    name: String,
    /// The coordinates of its points.
    points: Vec<String>,
    /// Geometries that are no points.
    others: Vec<String>,
    mode: String,
    extras: Vec<(String, String)>,
}

impl PlacemarkFound {
    fn read(pieces: &mut Pieces, element: &OpenElement) -> Result<PlacemarkFound, KmlError> {
        let (line, start) = (element.line, element.start);
        let mut found = PlacemarkFound {
            line,
            raw: String::new(),
            name: String::new(),
            points: Vec::new(),
            others: Vec::new(),
            mode: String::new(),
            extras: Vec::new(),
        };
        // The open elements, each with the name that an attribute gives it.
        let mut open: Vec<(String, String)> = Vec::new();
        let mut text = String::new();
        loop {
            match pieces.next()? {
                XmlPiece::Open(mut element) => {
                    text.clear();
                    if matches!(element.name.as_str(), "LineString" | "LinearRing" | "Polygon" | "Model" | "Track" | "MultiTrack")
                    {
                        found.others.push(element.name.clone());
                    }
                    let key = element.attribute("name").unwrap_or_default();
                    open.push((element.name, key));
                }
                XmlPiece::Text(more) => text.push_str(&more),
                XmlPiece::Close(end) => {
                    let Some((leaf, key)) = open.pop() else {
                        found.raw = pieces.slice(start, end).to_owned();
                        return Ok(found);
                    };
                    found.leaf(&open, &leaf, &key, text.trim());
                    text.clear();
                }
                XmlPiece::End => return Err(KmlError::OpenPlacemark(line)),
            }
        }
    }

    fn leaf(&mut self, parents: &[(String, String)], leaf: &str, key: &str, text: &str) {
        let parent = parents.last().map_or("", |(name, _)| name);
        let extra = |name: &str| {
            (!text.is_empty() && !name.is_empty())
                .then(|| (name.to_owned(), text.split_whitespace().collect::<Vec<_>>().join(" ")))
        };
        match (parent, leaf) {
            ("", "name") => self.name = text.to_owned(),
            ("", "description") if !text.contains('<') => self.extras.extend(extra("description")),
            ("TimeStamp", "when") => self.extras.extend(extra("time")),
            ("Point", "coordinates") => self.points.push(text.to_owned()),
            ("Point", "altitudeMode") => self.mode = text.to_owned(),
            ("Data", "value") => self.extras.extend(extra(&parents.last().map(|(_, key)| key.clone()).unwrap_or_default())),
            (_, "SimpleData") => self.extras.extend(extra(key)),
            _ => {}
        }
    }
}

impl KmlLog {
    fn take(&mut self, found: PlacemarkFound, folder: String) {
        let hold = |sentence: String| {
            let fault = Fault::new(Reason::NoPosition, "coordinates", found.points.first().map_or("", String::as_str), sentence);
            HeldLine { line: found.line, raw: found.raw.clone(), fault }
        };
        let name = if found.name.is_empty() { "without a name".to_owned() } else { found.name.clone() };
        let [point] = found.points.as_slice() else {
            let what = match (found.points.len(), found.others.first()) {
                (0, Some(other)) => format!("is a {other}, not a point"),
                (0, None) => "has no point".to_owned(),
                (count, _) => format!("has {count} points, and which one it means is not said"),
            };
            self.held.push(hold(format!("the placemark {name} {what}")));
            return;
        };
        let numbers: Vec<Option<f64>> =
            point.split(',').map(|part| part.trim().parse::<f64>().ok().filter(|number| number.is_finite())).collect();
        let (lon_deg, lat_deg, altitude_m) = match numbers.as_slice() {
            [Some(lon), Some(lat)] => (*lon, *lat, None),
            [Some(lon), Some(lat), Some(altitude)] => (*lon, *lat, Some(*altitude)),
            _ => {
                self.held.push(hold(format!(
                    "the placemark {name} has the coordinates \"{point}\", not longitude, latitude, altitude"
                )));
                return;
            }
        };
        let counts = self.heights != KmlHeights::Standard || found.mode == "absolute";
        self.altitudes_unused += u64::from(altitude_m.is_some_and(|metres| metres != 0.0) && !counts);
        let mut extras = found.extras;
        if !folder.is_empty() {
            extras.push(("folder".to_owned(), folder));
        }
        let altitude_m = altitude_m.filter(|_| counts);
        self.placemarks.push(Placemark { line: found.line, name: found.name, lat_deg, lon_deg, altitude_m, extras });
    }

    /// The placemarks as rows of a log: headers, and each placemark's line with its fields. `base` is the name.
    pub fn to_table(&self) -> (Vec<String>, Vec<(u64, Vec<String>)>) {
        let mut headers = UniqueHeaders::default();
        ["base", "lat_deg", "lon_deg"].into_iter().for_each(|name| headers.push(name, ""));
        let has_heights = self.placemarks.iter().any(|point| point.altitude_m.is_some());
        if has_heights {
            let is_ellipsoid = self.heights == KmlHeights::Ellipsoid;
            headers.push(if is_ellipsoid { "ellipsoid_height_m" } else { "orthometric_height_m" }, "");
        }
        let mut extras: Vec<&str> = Vec::new();
        for (name, _) in self.placemarks.iter().flat_map(|point| &point.extras) {
            if !extras.contains(&name.as_str()) {
                extras.push(name);
            }
        }
        for name in &extras {
            // A column of the placemark's own is no reading of the crew's.
            let is_canonical = *name != "time" && super::columns::parse(name, super::columns::LogKind::Bases).is_some();
            headers.push(&if is_canonical { format!("kml_{name}") } else { (*name).to_owned() }, "kml_");
        }
        let headers = headers.names();
        let rows = self.placemarks.iter().map(|point| {
            let mut cells = vec![point.name.clone(), point.lat_deg.to_string(), point.lon_deg.to_string()];
            if has_heights {
                cells.push(point.altitude_m.map(|metres| metres.to_string()).unwrap_or_default());
            }
            let extra = |name: &&str| point.extras.iter().find(|(other, _)| other == name).map(|(_, value)| value.clone());
            cells.extend(extras.iter().map(|name| extra(name).unwrap_or_default()));
            (point.line, cells)
        });
        (headers, rows.collect())
    }
}
