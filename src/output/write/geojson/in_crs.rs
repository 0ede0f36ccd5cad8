//! JSON-FG (OGC Features and Geometries JSON, Part 1: Core, 21-045r1; `make test-gis` has it read by a GDAL that knows it): GeoJSON whose features have their
//! place in the layers' CRS, too. `place` has the coordinates in the order of the CRS's authority, `coordRefSys` names it once for the
//! collection, `geometry` is the same on WGS 84, `time` the instant of the record. On WGS 84 itself `place` is null, as the standard wants
//! it: `geometry` says it all.
//!
//! A place has the axes of its CRS, which are two for most; the heights stand in `geometry`, above the ellipsoid, and by their kinds among the
//! properties.

use geojson::{JsonObject, JsonValue};
use serde_json::json;

use super::super::antimeridian::{self, Globe};
use super::super::number::{iso_utc, rounded};
use super::{DEGREE_DECIMALS, METRE_DECIMALS};
use crate::geodesy::crs::CrsKind;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Cell, Layer, Position};
use crate::output::contract::Setup;

/// Conformance classes of the standard that the files keep.
const CONFORMS_TO: [&str; 2] =
    ["http://www.opengis.net/spec/json-fg-1/1.0/conf/core", "http://www.opengis.net/spec/json-fg-1/1.0/conf/types-schemas"];
/// The CRS of `geometry`, with heights above the ellipsoid.
const WGS84: &str = "http://www.opengis.net/def/crs/OGC/0/CRS84h";

/// The places of a run.
pub struct Places {
    /// The CRS of the places by its identifier; none where they cannot be told, or `geometry` tells them.
    crs: Option<String>,
    /// What the layers' CRS is called, where it has no identifier.
    unnamed: Option<String>,
    is_northing_first: bool,
    /// Whether the CRS itself has the height above the ellipsoid as its third axis.
    has_height: bool,
    globe: Option<Globe>,
    decimals: u8,
}

impl Places {
    /// Of a run.
    pub fn new(setup: &Setup) -> Places {
        let crs = setup.crs;
        let is_wgs84 = crs.kind() == CrsKind::Geographic && crs.id().is_some_and(|id| matches!(id, ("EPSG", "4326" | "4979")));
        let uri = |(authority, code): (&str, &str)| format!("http://www.opengis.net/def/crs/{authority}/0/{code}");
        // A compound CRS has a vertical part, which the places do not have.
        let horizontal = crs.horizontal().ok();
        let id = horizontal.as_ref().and_then(|horizontal| horizontal.id());
        Places {
            unnamed: id.is_none().then(|| crs.label()),
            crs: id.filter(|_| !is_wgs84).map(uri),
            has_height: crs.has_ellipsoid_height(),
            is_northing_first: crs.is_northing_first(),
            globe: Globe::from_crs(crs),
            decimals: if crs.kind() == CrsKind::Projected { METRE_DECIMALS } else { DEGREE_DECIMALS },
        }
    }

    /// Members of a collection before its features.
    pub fn head(&self, layer: &Layer) -> String {
        let dimension = match layer.geometry {
            GeometryKind::None => JsonValue::Null,
            GeometryKind::Point => json!(0),
            GeometryKind::Line => json!(1),
            GeometryKind::Area => json!(2),
        };
        let crs = self.crs.as_deref().unwrap_or(WGS84);
        let (conforms, name) = (json!(CONFORMS_TO), json!(layer.id));
        format!("\"conformsTo\":{conforms},\"featureType\":{name},\"geometryDimension\":{dimension},\"coordRefSys\":\"{crs}\",")
    }

    /// Members of a feature: when and where.
    pub fn members(&self, layer: &Layer, batch: &Batch, i: usize) -> JsonObject {
        let time = layer.fields.iter().position(|field| field.name == "time" && field.is_own());
        let time = match time.map(|index| batch.cell(index, i)) {
            Some(Cell::Time(instant)) => json!({ "timestamp": iso_utc(instant) }),
            _ => JsonValue::Null,
        };
        let place = self.place(layer.geometry, batch.positions(i));
        [("time".to_owned(), time), ("place".to_owned(), place)].into_iter().collect()
    }

    /// What could not be told, in a sentence.
    pub fn loss(&self) -> Option<String> {
        let name = self.unnamed.as_ref()?;
        Some(format!("JSON-FG names a CRS by its authority's code, which {name} does not have: its files have WGS 84 alone."))
    }

    fn place(&self, kind: GeometryKind, positions: &[Position]) -> JsonValue {
        if self.crs.is_none() || kind == GeometryKind::None {
            return JsonValue::Null;
        }
        let corner = |position: &Position| {
            let [x, y] = [position.x, position.y].map(|axis| rounded(axis, Some(self.decimals)));
            let mut axes = if self.is_northing_first { vec![y, x] } else { vec![x, y] };
            axes.extend(Some(position.ellipsoid_height_m).filter(|height| self.has_height && height.is_finite()));
            json!(axes)
        };
        let parts = antimeridian::parts(self.globe, kind, positions);
        let mut parts: Vec<JsonValue> =
            parts.iter().map(|part| part.iter().map(corner).collect::<Vec<JsonValue>>().into()).collect();
        let is_one = parts.len() == 1;
        let (name, coordinates) = match kind {
            GeometryKind::None | GeometryKind::Point => match parts.pop().and_then(|mut part| part.as_array_mut()?.pop()) {
                Some(point) => ("Point", point),
                None => return JsonValue::Null,
            },
            GeometryKind::Line if is_one => ("LineString", parts.remove(0)),
            GeometryKind::Line => ("MultiLineString", parts.into()),
            GeometryKind::Area if is_one => ("Polygon", parts.into()),
            GeometryKind::Area => ("MultiPolygon", parts.into_iter().map(|ring| json!([ring])).collect::<Vec<_>>().into()),
        };
        json!({ "type": name, "coordinates": coordinates })
    }
}
