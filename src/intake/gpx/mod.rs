//! GPX files (GPS Exchange Format 1.1, and 1.0 as far as it is the same): waypoints, and the points
//! of tracks and routes as fixes.
//!
//! Source: the GPX 1.1 schema documentation, <https://www.topografix.com/GPX/1/1/>. Positions are on
//! WGS 84. Elevations are heights above mean sea level unless the caller says otherwise: receivers
//! write what they show.

mod points;
#[cfg(test)]
mod tests;

use std::collections::HashMap;

use jiff::Timestamp;

use self::points::{Element, PointValues};
use super::headers::UniqueHeaders;
use super::xml::{Pieces, XmlError, XmlPiece};
use crate::job::FixKind;
use crate::records::base_row::{Coordinates, Height};
use crate::records::fix::{Fix, FixLog, HeldLine};
use crate::records::ledger::{Fault, Reason};

/// What the elevations of a file are measured from.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum GpxHeights {
    /// The geoid, as the schema has it.
    #[default]
    Orthometric,
    /// The ellipsoid.
    Ellipsoid,
}

/// A waypoint.
#[derive(Debug, Clone, PartialEq)]
pub struct Waypoint {
    /// Place among the file's waypoints, counted from 1; those that are held count too.
    pub number: u64,
    /// Line on which it begins, counted from 1.
    pub line: u64,
    /// The element as it stands.
    pub raw: String,
    /// Name; empty where it has none.
    pub name: String,
    /// When it was recorded.
    pub time: Option<Timestamp>,
    /// Latitude in degrees.
    pub lat_deg: f64,
    /// Longitude in degrees.
    pub lon_deg: f64,
    /// Elevation in metres; [`GpxLog::heights`] says above what.
    pub elevation_m: Option<f64>,
    /// Height of the geoid above the ellipsoid in metres, as the receiver took it.
    pub separation_m: Option<f64>,
    /// The word for the fix as it stands: `2d`, `3d`, `dgps`, `pps`. Waypoints with `none` are held.
    pub fix: Option<String>,
    /// What that word means.
    pub kind: FixKind,
    /// Satellites used.
    pub satellites: Option<u32>,
    /// Horizontal dilution of precision.
    pub hdop: Option<f64>,
    /// Position dilution of precision.
    pub pdop: Option<f64>,
    /// Its other texts by name: `cmt`, `desc`, `src`, `sym`, `type`, `vdop`, the target of a `link`,
    /// and the innermost texts of its extensions, these with `extension_` before the name.
    pub extras: Vec<(String, String)>,
}

/// What a GPX file holds, in its order.
#[derive(Debug, Clone, PartialEq)]
pub struct GpxLog {
    /// Waypoints.
    pub waypoints: Vec<Waypoint>,
    /// Waypoints that were held.
    pub held: Vec<HeldLine>,
    /// Points of tracks and routes: fixes, and those that were held. Segments follow one another.
    pub tracks: FixLog,
    /// What the elevations are measured from.
    pub heights: GpxHeights,
}

/// Why a text is not read as GPX.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum GpxError {
    /// It is not well-formed.
    #[error(transparent)]
    Xml(#[from] XmlError),
    /// Another document.
    #[error("line {line}: this is no GPX file: its outermost element is <{name}>, not <gpx>")]
    OtherRoot {
        /// Line of its outermost element.
        line: u64,
        /// Name of that.
        name: String,
    },
    /// There is no element in it.
    #[error("this is no GPX file: there is no element in it")]
    Empty,
}

/// Whether a text is a GPX file: its outermost element is `gpx`.
pub fn looks_like(text: &str) -> bool {
    let mut pieces = Pieces::new(text);
    matches!(pieces.next(), Ok(XmlPiece::Open(open)) if open.name == "gpx")
}

/// Reads a file's text. `file` is its index for the fixes.
///
/// # Errors
/// When the text is no GPX or not well-formed.
pub fn read(text: &str, file: usize, heights: GpxHeights) -> Result<GpxLog, GpxError> {
    let mut pieces = Pieces::new(text);
    match pieces.next()? {
        XmlPiece::Open(root) if root.name == "gpx" => {}
        XmlPiece::Open(root) => return Err(GpxError::OtherRoot { line: root.line, name: root.name }),
        _ => return Err(GpxError::Empty),
    }
    let mut gpx = GpxLog { waypoints: Vec::new(), held: Vec::new(), tracks: FixLog::default(), heights };
    let mut number = 0;
    loop {
        let open = match pieces.next()? {
            XmlPiece::Open(open) => open,
            XmlPiece::Text(_) | XmlPiece::Close(_) => continue,
            XmlPiece::End => return Ok(gpx),
        };
        match (open.is_own, open.name.as_str()) {
            (true, "wpt") => {
                let element = Element::read(&mut pieces, open)?;
                number += 1;
                match element.values() {
                    Ok(values) => gpx.waypoints.push(waypoint(&element, values, number)),
                    Err(fault) => gpx.held.push(held(&element, fault)),
                }
            }
            (true, "rte" | "trk" | "trkseg") => {}
            (true, "rtept" | "trkpt") => {
                let what = if open.name == "rtept" { "route point" } else { "track point" };
                let element = Element::read(&mut pieces, open)?;
                match element.values().and_then(|values| fix(values, &element, file, heights, what)) {
                    Ok(fix) => gpx.tracks.fixes.push(fix),
                    Err(fault) => gpx.tracks.held.push(held(&element, fault)),
                }
            }
            _ => pieces.skip()?,
        }
    }
}

fn held(element: &Element, fault: Fault) -> HeldLine {
    HeldLine { line: element.line, raw: element.raw.to_owned(), fault }
}

fn waypoint(element: &Element, values: PointValues, number: u64) -> Waypoint {
    Waypoint {
        number,
        line: element.line,
        raw: element.raw.to_owned(),
        name: element.child("name").unwrap_or_default().to_owned(),
        time: values.time,
        lat_deg: values.lat_deg,
        lon_deg: values.lon_deg,
        elevation_m: values.elevation_m,
        separation_m: values.separation_m,
        fix: values.fix,
        kind: values.kind,
        satellites: values.satellites,
        hdop: values.hdop,
        pdop: values.pdop,
        extras: element.extras(),
    }
}

fn fix(values: PointValues, element: &Element, file: usize, heights: GpxHeights, what: &str) -> Result<Fix, Fault> {
    let instant = values.time.ok_or_else(|| {
        let sentence = format!("the {what} has no time, so that it belongs to no occupation; record with times, or as waypoints");
        Fault::new(Reason::NotATime, "time", "", sentence)
    })?;
    let height = values.elevation_m.map(|metres| match heights {
        GpxHeights::Orthometric => Height::Orthometric(metres),
        GpxHeights::Ellipsoid => Height::Ellipsoid(metres),
    });
    Ok(Fix {
        file,
        line: element.line,
        instant,
        coordinates: Coordinates::Geographic { lat_deg: values.lat_deg, lon_deg: values.lon_deg },
        height,
        separation_m: values.separation_m,
        kind: values.kind,
        satellites: values.satellites,
        hdop: values.hdop,
        pdop: values.pdop,
        sigma_m: None,
        speed_m_s: values.speed_m_s,
    })
}

impl GpxLog {
    /// The waypoints as rows of a log: headers, and each waypoint's line with its fields.
    ///
    /// `lat_deg`, `lon_deg` and `base` (the name) are always there; `time`, `orthometric_height_m` or
    /// `ellipsoid_height_m`, `separation_m`, `hdop`, `pdop`, `fix`, `fix_kind`, `sat` and the extras where any
    /// waypoint has them. What a waypoint lacks is empty.
    pub fn to_table(&self) -> (Vec<String>, Vec<(u64, Vec<String>)>) {
        let height = match self.heights {
            GpxHeights::Orthometric => "orthometric_height_m",
            GpxHeights::Ellipsoid => "ellipsoid_height_m",
        };
        type ReadsWaypoint = fn(&Waypoint) -> Option<String>;
        let known: [(&str, ReadsWaypoint); 11] = [
            ("lat_deg", |point| Some(point.lat_deg.to_string())),
            ("lon_deg", |point| Some(point.lon_deg.to_string())),
            ("base", |point| Some(point.name.clone())),
            ("time", |point| point.time.map(|time| time.to_string())),
            (height, |point| point.elevation_m.map(|metres| metres.to_string())),
            ("separation_m", |point| point.separation_m.map(|metres| metres.to_string())),
            ("hdop", |point| point.hdop.map(|number| number.to_string())),
            ("pdop", |point| point.pdop.map(|number| number.to_string())),
            ("fix", |point| point.fix.clone()),
            ("fix_kind", |point| point.fix.is_some().then(|| point.kind.word().to_owned())),
            ("sat", |point| point.satellites.map(|number| number.to_string())),
        ];
        let known: Vec<(&str, ReadsWaypoint)> = known
            .into_iter()
            .enumerate()
            .filter(|(index, (_, value))| *index < 3 || self.waypoints.iter().any(|point| value(point).is_some()))
            .map(|(_, column)| column)
            .collect();
        // The place of each extra among the columns, in the order in which they come up.
        let mut columns: HashMap<&str, usize> = HashMap::new();
        let mut headers = UniqueHeaders::default();
        known.iter().for_each(|(name, _)| headers.push(name, ""));
        for (name, _) in self.waypoints.iter().flat_map(|point| &point.extras) {
            let next = columns.len();
            columns.entry(name).or_insert_with(|| {
                headers.push(name, "gpx_");
                next
            });
        }
        let rows = self.waypoints.iter().map(|point| {
            let mut cells: Vec<String> = known.iter().map(|(_, value)| value(point).unwrap_or_default()).collect();
            cells.resize(known.len() + columns.len(), String::new());
            for (name, value) in &point.extras {
                if let Some(column) = columns.get(name.as_str()) {
                    cells[known.len() + column].clone_from(value);
                }
            }
            (point.line, cells)
        });
        (headers.names(), rows.collect())
    }
}
