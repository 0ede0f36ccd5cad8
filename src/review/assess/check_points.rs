//! Check points on the datum of the layer that they test.

use super::AssessError;
use crate::geodesy::crs::{Crs, CrsKind};
use crate::geodesy::frame::Geodetic;
use crate::intake::checks::CheckTable;
use crate::records::base_row::Coordinates;
use crate::review::finished::{DatumStep, HeightKnown, MappedLayer, move_points};

/// A check point on the layer's datum.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckPoint {
    /// Name, where the table has one.
    pub name: Option<String>,
    /// Line in the table.
    pub line: u64,
    /// Position; its height is the one that is known, else 0.
    pub at: Geodetic,
    /// Heights and their standard error.
    pub heights: HeightKnown,
    /// Standard error of each horizontal axis in metres, where it is stated.
    pub sigma_horizontal_m: Option<f64>,
}

/// All check points of a table.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckPoints {
    /// The points.
    pub points: Vec<CheckPoint>,
    /// Name of their CRS.
    pub crs: String,
    /// Whether it was taken from the layer, none being named.
    pub is_crs_of_layer: bool,
    /// The transformation to the layer's datum, where there is one.
    pub step: Option<DatumStep>,
}

/// The CRS of a table: the named one, that of its file, else that of the layer, for latitudes and longitudes the one of its datum.
fn crs_of(table: &CheckTable, named: Option<&str>, layer: &MappedLayer) -> Result<(Crs, bool), AssessError> {
    let (crs, is_crs_of_layer) = match named.or(table.crs_wkt.as_deref()) {
        Some(definition) => (Crs::new(definition)?, false),
        None if table.is_geographic => (layer.datum.horizontal_3d()?, true),
        None => (layer.crs.horizontal()?, true),
    };
    match (table.is_geographic, crs.kind()) {
        (true, CrsKind::Projected) => Err(AssessError::CrsIsProjected(crs.label())),
        (false, CrsKind::Geographic) => Err(AssessError::CrsIsGeographic(crs.label())),
        _ => Ok((crs, is_crs_of_layer)),
    }
}

/// Puts the check points of a table on the datum of a layer.
///
/// # Errors
/// When their CRS cannot be used, or a point lies outside what it can express.
pub fn place(
    table: &CheckTable,
    layer: &MappedLayer,
    named_crs: Option<&str>,
    epoch: Option<f64>,
) -> Result<CheckPoints, AssessError> {
    let (crs, is_crs_of_layer) = crs_of(table, named_crs, layer)?;
    let own = |degrees: f64| if crs.is_plain() { degrees } else { degrees.to_radians() / crs.unit_factor() };
    let mut coordinates: Vec<[f64; 3]> = table
        .rows
        .iter()
        .map(|row| {
            let height = row.ellipsoid_height_m.unwrap_or(0.0);
            match row.coordinates {
                Coordinates::Geographic { lat_deg, lon_deg } => [own(lon_deg), own(lat_deg), height],
                Coordinates::Projected { east_m, north_m } => [east_m / crs.unit_factor(), north_m / crs.unit_factor(), height],
            }
        })
        .collect();
    let whose = "the check points were";
    let step = move_points(&mut coordinates, (&crs, &layer.datum), table.has_ellipsoid_heights, epoch, whose)?;
    let mut points = Vec::with_capacity(table.rows.len());
    for (row, [lon_deg, lat_deg, height_m]) in table.rows.iter().zip(coordinates) {
        if !lon_deg.is_finite() || !lat_deg.is_finite() || !height_m.is_finite() || lat_deg.abs() > 90.0 {
            return Err(AssessError::Outside { line: row.line, crs: crs.label() });
        }
        let heights = HeightKnown {
            ellipsoid_m: row.ellipsoid_height_m.map(|_| height_m),
            orthometric_m: row.orthometric_height_m,
            kind: None,
            sigma_m: row.sigma_vertical_m,
            sigma_geoid_m: None,
        };
        points.push(CheckPoint {
            name: row.name.clone(),
            line: row.line,
            at: Geodetic {
                lat_rad: lat_deg.to_radians(),
                lon_rad: lon_deg.to_radians(),
                ellipsoid_height_m: heights.stand_in_m(),
            },
            heights,
            sigma_horizontal_m: row.sigma_horizontal_m,
        });
    }
    Ok(CheckPoints { points, crs: crs.label(), is_crs_of_layer, step })
}
