//! The points of a GPX file: an element with its children, and the checked values in it.
//!
//! Units and meanings are those of the GPX 1.1 schema: decimal degrees on WGS 84, metres, times in
//! UTC, the separation that of the geoid above the ellipsoid.

use std::collections::HashMap;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::super::cell::{CellFormat, is_no_reading_number};
use super::super::dates::Style;
use crate::intake::xml::{OpenElement, Pieces, XmlError, XmlPiece};
use crate::job::FixKind;
use crate::numeric::signs::Signs;
use crate::records::ledger::{Fault, Reason};

/// A `wpt`, `rtept` or `trkpt` as it stands.
pub struct Element<'t> {
    /// Its line.
    pub line: u64,
    /// All of it.
    pub raw: &'t str,
    lat: Option<String>,
    lon: Option<String>,
    /// Texts of its children.
    children: Vec<(String, String)>,
    /// Where each name stands among them.
    places: HashMap<String, usize>,
}

/// What a point says, checked.
pub struct PointValues {
    pub lat_deg: f64,
    pub lon_deg: f64,
    pub time: Option<Timestamp>,
    pub elevation_m: Option<f64>,
    pub separation_m: Option<f64>,
    pub fix: Option<String>,
    pub kind: FixKind,
    pub satellites: Option<u32>,
    pub hdop: Option<f64>,
    pub pdop: Option<f64>,
    pub speed_m_s: Option<f64>,
}

/// Children that [`PointValues`] and the name take.
const TAKEN: [&str; 8] = ["name", "time", "ele", "geoidheight", "fix", "sat", "hdop", "pdop"];

impl<'t> Element<'t> {
    /// Reads up to the end of an element that has begun.
    ///
    /// # Errors
    /// When the text is not well-formed.
    pub fn read(pieces: &mut Pieces<'t>, mut open: OpenElement) -> Result<Element<'t>, XmlError> {
        let mut element = Element {
            line: open.line,
            raw: "",
            lat: open.attribute("lat"),
            lon: open.attribute("lon"),
            children: Vec::new(),
            places: HashMap::new(),
        };
        loop {
            match pieces.next()? {
                XmlPiece::Open(mut child) => match (child.is_own, child.name.as_str()) {
                    (true, "link") => {
                        let target = child.attribute("href").unwrap_or_default();
                        element.add("link", &target);
                        pieces.skip()?;
                    }
                    (true, "extensions") | (false, _) => element.extension(pieces, child.name)?,
                    (true, name) => {
                        let text = pieces.text_of()?;
                        element.add(name, &text);
                    }
                },
                XmlPiece::Text(_) => {}
                XmlPiece::Close(end) => {
                    element.raw = pieces.slice(open.start, end);
                    return Ok(element);
                }
                XmlPiece::End => return Ok(element),
            }
        }
    }

    /// The texts inside an extension, at any depth.
    fn extension(&mut self, pieces: &mut Pieces<'t>, outermost: String) -> Result<(), XmlError> {
        let mut open = 1;
        let mut leaf = Some((outermost, String::new()));
        while open > 0 {
            match pieces.next()? {
                XmlPiece::Open(child) => {
                    open += 1;
                    leaf = Some((child.name, String::new()));
                }
                XmlPiece::Text(text) => {
                    if let Some((_, whole)) = &mut leaf {
                        whole.push_str(&text);
                    }
                }
                XmlPiece::Close(_) => {
                    open -= 1;
                    if let Some((name, text)) = leaf.take() {
                        self.add(&format!("extension_{name}"), &text);
                    }
                }
                XmlPiece::End => return Ok(()),
            }
        }
        Ok(())
    }

    /// A text; one more of the same name goes behind it.
    fn add(&mut self, name: &str, text: &str) {
        let text = text.trim();
        if text.is_empty() {
            return;
        }
        match self.places.get(name) {
            Some(place) => {
                let (_, value) = &mut self.children[*place];
                value.push_str("; ");
                value.push_str(text);
            }
            None => {
                self.places.insert(name.to_owned(), self.children.len());
                self.children.push((name.to_owned(), text.to_owned()));
            }
        }
    }

    /// The text of a child.
    pub fn child(&self, name: &str) -> Option<&str> {
        self.places.get(name).map(|place| self.children[*place].1.as_str())
    }

    /// The texts that nothing else takes.
    pub fn extras(&self) -> Vec<(String, String)> {
        self.children.iter().filter(|(name, _)| !TAKEN.contains(&name.as_str())).cloned().collect()
    }

    /// The values.
    ///
    /// # Errors
    /// The first thing that makes the point unusable.
    pub fn values(&self) -> Result<PointValues, Fault> {
        let lat_deg = angle("lat", self.lat.as_deref(), 90.0)?;
        let lon_deg = angle("lon", self.lon.as_deref(), 180.0)?;
        let fix = self.child("fix").map(str::to_owned);
        let kind = match fix.as_deref() {
            Some("none") => return Err(Fault::new(Reason::NoFix, "fix", "none", "fix none: the receiver had no fix here")),
            Some("2d" | "3d" | "pps") => FixKind::Single,
            Some("dgps") => FixKind::Differential,
            _ => FixKind::Unknown,
        };
        Ok(PointValues {
            lat_deg,
            lon_deg,
            kind,
            fix,
            elevation_m: self.number("ele", "metres")?,
            separation_m: self.number("geoidheight", "metres")?,
            satellites: self.satellites()?,
            hdop: self.number("hdop", "a number")?,
            pdop: self.number("pdop", "a number")?,
            speed_m_s: self.number("speed", "metres a second")?,
            time: self.time()?,
        })
    }

    fn number(&self, name: &str, what: &str) -> Result<Option<f64>, Fault> {
        let format = CellFormat::default();
        let Some(text) = self.child(name).filter(|text| !format.is_no_reading(text)) else { return Ok(None) };
        match Signs::POINT.number(text) {
            Some(number) => Ok(Some(number).filter(|number| !is_no_reading_number(*number))),
            None => {
                let sentence = format!("{name} \"{text}\": not a number; GPX wants {what} with a decimal point");
                Err(Fault::new(Reason::NotANumber, name, text, sentence))
            }
        }
    }

    fn satellites(&self) -> Result<Option<u32>, Fault> {
        let Some(text) = self.child("sat").filter(|text| !CellFormat::default().is_no_reading(text)) else { return Ok(None) };
        text.parse().map(Some).map_err(|_| {
            let sentence = format!("sat \"{text}\": not a number of satellites; GPX wants a whole number");
            Fault::new(Reason::NotANumber, "sat", text, sentence)
        })
    }

    /// The time. One without a zone is in UTC, as the schema has it.
    fn time(&self) -> Result<Option<Timestamp>, Fault> {
        let Some(text) = self.child("time") else { return Ok(None) };
        let format = CellFormat { time_zone: Some(TimeZone::UTC), ..CellFormat::default() };
        match format.when(None, Some((text, Style::default()))) {
            Ok(when) => Ok(when.and_then(|when| when.instant).map(|(instant, _)| instant)),
            Err(_) => {
                let sentence = format!("time \"{text}\": not a date and time; GPX wants them as in 2026-05-04T08:00:01Z");
                Err(Fault::new(Reason::NotATime, "time", text, sentence))
            }
        }
    }
}

fn angle(name: &str, text: Option<&str>, limit: f64) -> Result<f64, Fault> {
    let text = text.map(str::trim).unwrap_or_default();
    if text.is_empty() {
        return Err(Fault::new(Reason::NoPosition, name, "", format!("the point has no {name}")));
    }
    let Some(degrees) = Signs::POINT.number(text) else {
        let sentence = format!("{name} \"{text}\": not a number; GPX wants decimal degrees with a decimal point");
        return Err(Fault::new(Reason::NotAnAngle, name, text, sentence));
    };
    if degrees.abs() > limit {
        let sentence = format!("{name} {text} is outside -{limit} to {limit} degrees; are latitude and longitude swapped?");
        return Err(Fault::new(Reason::PositionRange, name, text, sentence));
    }
    Ok(degrees)
}
