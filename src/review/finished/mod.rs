//! Points read back from a finished layer, with their uncertainty, on one datum: what tests and comparisons stand on.
//!
//! Any point layer that GDAL reads will do, if its fields have the names of the features layer, long or short. The position is that
//! of the geometry. The horizontal covariance is that of the 95 % ellipse (semi-axes over √χ²(0.95; 2), azimuth of the major one from true
//! north); without an ellipse it is σ east and σ north without correlation. Differences are taken on the ellipsoid in the
//! local frame, never in the grid: metres on the ground, east and north true.

mod error;
mod heights;
mod joined;
mod place;
mod shared;

use std::path::Path;

use jiff::Timestamp;

pub use error::{LayerError, LayerFlaw, NoWay};
pub use heights::HeightKnown;
pub use joined::join_repeats;
pub use place::{DatumStep, horizontal_difference_m, move_points};
pub use shared::{RecordedArms, RecordedPointArms, SharedErrors};

use crate::geodesy::covariance::{Covariance, ELLIPSE95};
use crate::geodesy::crs::Crs;
use crate::geodesy::frame::Geodetic;
use crate::intake::log_layout::HeadersFound;
use crate::intake::vector::{self, PointLayer, VectorError, VectorPoint};
use crate::numeric::words::nearest;
use crate::output::columns::{Field, Layer};
use crate::output::in_units::InUnits;
use crate::output::layers::features;
use crate::stations::base::HeightKind;
use crate::units::{self, AngleShown, LengthShown, Units};

/// A point of a finished layer.
#[derive(Debug, Clone, PartialEq)]
pub struct MappedPoint {
    /// Name of the feature.
    pub feature: Option<String>,
    /// Name by the field that was asked for.
    pub named: Option<String>,
    /// Shot id.
    pub shot: Option<String>,
    /// Feature code.
    pub code: Option<String>,
    /// Base that it was shot from; none where a network placed it from several.
    pub base: Option<String>,
    /// Share of the base's position in its horizontal variance; none where it is not told.
    pub base_share: Option<f64>,
    /// Whether a network placed it.
    pub is_adjusted: bool,
    /// Whether it stands for several points of the layer.
    pub is_joined: bool,
    /// Input file and line that it came from.
    pub source: Option<(String, String)>,
    /// When it was shot.
    pub time: Option<Timestamp>,
    /// Place among the layer's features, from 1.
    pub number: u64,
    /// Whether it is a part of a composed measurement, such as the foot of a tree.
    pub is_part: bool,
    /// Position on the datum: with the ellipsoidal height, else the orthometric one in its stead, else 0.
    pub at: Geodetic,
    /// Heights.
    pub heights: HeightKnown,
    /// Horizontal covariance; none where no uncertainty is stated.
    pub covariance: Option<Covariance>,
}

/// A finished layer.
#[derive(Debug)]
pub struct MappedLayer {
    /// Name of the layer.
    pub name: String,
    /// Its CRS.
    pub crs: Crs,
    /// The geographic CRS of the datum on which the points are.
    pub datum: Crs,
    /// The points.
    pub points: Vec<MappedPoint>,
}

/// Reads a layer: the named one, of a GeoPackage the one called `features`, else the file's only layer of points. `field` is a field of
/// names beside the feature and the shot.
///
/// # Errors
/// When the file cannot be read, has no such layer or field, names no CRS, or PROJ cannot use that.
pub fn read(path: &Path, layer: Option<&str>, field: Option<&str>) -> Result<MappedLayer, LayerError> {
    read_sound(path, layer, field).map_err(|flaw| LayerError { path: path.to_owned(), flaw })
}

/// The same of a file that is named elsewhere.
fn read_sound(path: &Path, layer: Option<&str>, field: Option<&str>) -> Result<MappedLayer, LayerFlaw> {
    let is_geopackage = path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("gpkg"));
    let own = layer.is_none() && is_geopackage;
    let read = match layer.or(own.then_some("features")) {
        Some(named) if own => vector::read(path, Some(named)).map_err(|error| match error {
            VectorError::NoSuchLayer { .. } | VectorError::NotOfPoints { .. } => LayerFlaw::NoneNamed(error),
            error => error.into(),
        })?,
        named => vector::read(path, named)?,
    };
    let crs = Crs::new(read.crs_wkt.as_deref().ok_or(LayerFlaw::NoCrs)?)?;
    let datum = crs.geographic_3d()?;
    let fields = Fields::find(&read, field)?;
    let mut points: Vec<MappedPoint> = read.points.iter().map(|point| fields.point(point)).collect();
    place::settle(&mut points, &read.points, &crs, &datum)?;
    Ok(MappedLayer { name: read.name, crs, datum, points })
}

/// The fields of the features layer as they are called in other units, each with what brings its numbers back.
fn in_other_units(known: &[Field]) -> Vec<(Vec<Field>, Vec<f64>)> {
    let metric = Layer { fields: known.to_vec(), ..features::layer("", Vec::new()) };
    let lengths = [LengthShown::M, LengthShown::Ft, LengthShown::Usft];
    let all = lengths.into_iter().flat_map(|length| [AngleShown::Deg, AngleShown::Gon].map(|angle| (length, angle)));
    all.filter(|(length, angle)| (*length, *angle) != (LengthShown::M, AngleShown::Deg))
        .map(|(length, angle)| {
            let fields = InUnits::new(Units { length, angle, ..Units::default() }).layer(&metric).fields;
            let factor = |(field, known): (&Field, &Field)| match field.name == known.name {
                true => 1.0,
                false => units::computed(&field.name).map_or(1.0, |(_, factor)| factor),
            };
            let factors = fields.iter().zip(known).map(factor).collect();
            (fields, factors)
        })
        .collect()
}

/// Where the fields of the features layer stand.
struct Fields {
    /// Long name and column of each field that is there, and what brings its numbers to metres and degrees.
    columns: Vec<(String, usize, f64)>,
    /// Column of the names that were asked for.
    named: Option<usize>,
}

impl Fields {
    fn find(layer: &PointLayer, field: Option<&str>) -> Result<Fields, LayerFlaw> {
        let headers = || layer.fields.iter().map(|(header, _)| header.as_str());
        let place = |wanted: &str| {
            headers().position(|header| header == wanted).ok_or_else(|| {
                let all = || HeadersFound::All(headers().map(str::to_owned).collect());
                let there = nearest(wanted, headers()).map_or_else(all, |near| HeadersFound::Near(near.to_owned()));
                LayerFlaw::NoField { wanted: wanted.to_owned(), there }
            })
        };
        let named = field.map(place).transpose()?;
        let known: Vec<_> = features::definitions().iter().map(|definition| definition.field()).collect();
        let shown = in_other_units(&known);
        let columns = layer.fields.iter().enumerate().filter_map(|(column, (header, _))| {
            let is_it = |name: &str| name.eq_ignore_ascii_case(header);
            let field = known.iter().find(|field| is_it(&field.name)).or_else(|| known.iter().find(|field| is_it(&field.short)));
            if let Some(field) = field {
                return Some((field.name.clone(), column, 1.0));
            }
            // A layer in other units: the name says which, the short name by its place in such a layer.
            shown.iter().find_map(|(fields, factors)| {
                let at = fields.iter().position(|field| is_it(&field.name) || is_it(&field.short))?;
                Some((known[at].name.clone(), column, factors[at]))
            })
        });
        Ok(Fields { columns: columns.collect(), named })
    }

    fn text<'p>(&self, point: &'p VectorPoint, name: &str) -> Option<&'p str> {
        let (_, column, _) = self.columns.iter().find(|(known, ..)| known == name)?;
        point.cells.get(*column).map(|cell| cell.trim()).filter(|cell| !cell.is_empty())
    }

    fn number(&self, point: &VectorPoint, name: &str) -> Option<f64> {
        let factor = self.columns.iter().find(|(known, ..)| known == name)?.2;
        self.text(point, name)?.parse().ok().map(|value: f64| value * factor).filter(|value| value.is_finite())
    }

    /// A point, its position still as it stands in the layer's geometry.
    fn point(&self, point: &VectorPoint) -> MappedPoint {
        let owned = |name| self.text(point, name).map(str::to_owned);
        let kind = match self.text(point, "height_kind") {
            Some(word) if word == HeightKind::Orthometric.word() => Some(HeightKind::Orthometric),
            Some(word) if word == HeightKind::Ellipsoid.word() => Some(HeightKind::Ellipsoid),
            _ => None,
        };
        let covariance = self.covariance(point);
        // The shares of base, direction and distance of a single solution are not told apart.
        let has_shares = self.columns.iter().any(|(known, ..)| known == "base_share");
        let base_share = self.number(point, "base_share");
        let is_adjusted = has_shares && covariance.is_some() && base_share.is_none();
        MappedPoint {
            feature: owned("feature"),
            named: self.named.and_then(|column| point.cells.get(column)).map(|cell| cell.trim().to_owned()),
            shot: owned("shot"),
            code: owned("code"),
            base: owned("base").filter(|_| !is_adjusted),
            base_share,
            is_adjusted,
            is_joined: false,
            source: owned("source_file").zip(owned("source_line")),
            time: self.text(point, "time").and_then(|time| time.parse().ok()),
            number: point.number,
            is_part: self.text(point, "measure").is_some() || self.text(point, "role").is_some(),
            at: Geodetic { lat_rad: 0.0, lon_rad: 0.0, ellipsoid_height_m: 0.0 },
            heights: HeightKnown {
                ellipsoid_m: self.number(point, "ellipsoid_height_m"),
                orthometric_m: self.number(point, "orthometric_height_m"),
                kind,
                sigma_m: self.number(point, "sigma_up_m"),
                sigma_geoid_m: self.number(point, "sigma_geoid_m"),
            },
            covariance,
        }
    }

    fn covariance(&self, point: &VectorPoint) -> Option<Covariance> {
        let axis = |name| self.number(point, name);
        if let (Some(major_m), Some(minor_m), Some(azimuth_deg)) =
            (axis("ellipse_major95_m"), axis("ellipse_minor95_m"), axis("ellipse_azimuth_deg"))
        {
            let (sin, cos) = azimuth_deg.to_radians().sin_cos();
            let (along, across) = (major_m / ELLIPSE95, minor_m / ELLIPSE95);
            return Some(
                Covariance::from_arm([along * sin, along * cos, 0.0]) + Covariance::from_arm([across * cos, -across * sin, 0.0]),
            );
        }
        let (east, north) = (axis("sigma_east_m")?, axis("sigma_north_m")?);
        Some(Covariance { ee: east * east, nn: north * north, ..Covariance::default() })
    }
}

impl MappedPoint {
    /// Its name for people: by the field that was asked for, the feature, else the shot, else its number.
    pub fn label(&self) -> String {
        self.named
            .clone()
            .or_else(|| self.feature.clone())
            .or_else(|| self.shot.clone())
            .unwrap_or_else(|| format!("feature {}", self.number))
    }
}

#[cfg(test)]
pub mod invented {
    //! Points of an invented layer.

    use super::*;

    /// A point of a feature at a position, of which nothing else is known.
    pub fn point(feature: &str, at: Geodetic) -> MappedPoint {
        MappedPoint {
            feature: Some(feature.to_owned()),
            named: None,
            shot: None,
            code: None,
            base: None,
            base_share: None,
            is_adjusted: false,
            is_joined: false,
            source: None,
            time: None,
            number: 1,
            is_part: false,
            at,
            heights: HeightKnown::default(),
            covariance: None,
        }
    }
}
