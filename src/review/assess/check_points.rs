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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::frame::Ellipsoid;
    use crate::intake::checks::CheckRow;

    fn layer(crs: &str) -> MappedLayer {
        let crs = Crs::new(crs).unwrap();
        let datum = crs.geographic_3d().unwrap();
        MappedLayer { name: String::new(), crs, datum, points: Vec::new() }
    }

    fn row(line: u64, coordinates: Coordinates) -> CheckRow {
        CheckRow {
            line,
            name: Some(format!("P{line}")),
            coordinates,
            ellipsoid_height_m: None,
            orthometric_height_m: None,
            sigma_horizontal_m: None,
            sigma_vertical_m: None,
        }
    }

    fn table(rows: Vec<CheckRow>) -> CheckTable {
        CheckTable {
            is_geographic: matches!(rows[0].coordinates, Coordinates::Geographic { .. }),
            has_ellipsoid_heights: rows.iter().any(|row| row.ellipsoid_height_m.is_some()),
            rows,
            held: Vec::new(),
            name_header: None,
            crs_wkt: None,
        }
    }

    fn geographic(lat_deg: f64, lon_deg: f64) -> CheckTable {
        table(vec![row(2, Coordinates::Geographic { lat_deg, lon_deg })])
    }

    /// On the equator, at the middle of zone 32: 500 km east.
    fn in_the_zone() -> CheckTable {
        table(vec![row(2, Coordinates::Projected { east_m: 500_000.0, north_m: 0.0 })])
    }

    fn is_at(found: &CheckPoints, lat_deg: f64, lon_deg: f64) {
        let at = found.points[0].at;
        let apart = [at.lat_rad.to_degrees() - lat_deg, at.lon_rad.to_degrees() - lon_deg];
        // A tenth of a millimetre.
        assert!(apart.iter().all(|degrees| degrees.abs() < 1e-9), "{at:?}");
    }

    /// WGS 84 in gons.
    const IN_GONS: &str = r#"GEOGCRS["WGS 84 in gons",DATUM["World Geodetic System 1984",
        ELLIPSOID["WGS 84",6378137,298.257223563,LENGTHUNIT["metre",1]],ID["EPSG",6326]],
        PRIMEM["Greenwich",0,ANGLEUNIT["grad",0.015707963267949]],CS[ellipsoidal,2],
        AXIS["longitude",east,ORDER[1],ANGLEUNIT["grad",0.015707963267949]],
        AXIS["latitude",north,ORDER[2],ANGLEUNIT["grad",0.015707963267949]]]"#;

    #[test]
    fn the_crs_is_the_named_one_else_that_of_the_file_else_that_of_the_layer() {
        let layer = layer("EPSG:32632");
        let found = place(&geographic(47.5, 9.25), &layer, None, None).unwrap();
        is_at(&found, 47.5, 9.25);
        let datum = layer.datum.horizontal_3d().unwrap().label();
        assert_eq!((found.is_crs_of_layer, found.step, found.crs), (true, None, datum));
        let found = place(&in_the_zone(), &layer, None, None).unwrap();
        is_at(&found, 0.0, 9.0);
        assert_eq!((found.is_crs_of_layer, found.crs.as_str()), (true, "WGS 84 / UTM zone 32N (EPSG:32632)"));
        // Lengths are read in metres, whatever the unit of the CRS.
        let feet = "+proj=utm +zone=33 +south +datum=WGS84 +units=ft";
        // Northings of the southern half count from 10 000 km on the equator.
        let southern = table(vec![row(2, Coordinates::Projected { east_m: 500_000.0, north_m: 10_000_000.0 })]);
        let found = place(&southern, &layer, Some(feet), None).unwrap();
        is_at(&found, 0.0, 15.0);
        assert!(!found.is_crs_of_layer);
        // So are angles, in degrees.
        is_at(&place(&geographic(47.5, 9.25), &layer, Some(IN_GONS), None).unwrap(), 47.5, 9.25);
        let mut of_a_file = in_the_zone();
        of_a_file.crs_wkt = Some("EPSG:32631".into());
        let found = place(&of_a_file, &layer, None, None).unwrap();
        is_at(&found, 0.0, 3.0);
        assert!(!found.is_crs_of_layer);
        is_at(&place(&of_a_file, &layer, Some("EPSG:32630"), None).unwrap(), 0.0, -3.0);
    }

    #[test]
    fn a_crs_of_the_other_kind_is_refused() {
        let layer = layer("EPSG:32632");
        let refused = |table: &CheckTable, crs: &str| place(table, &layer, Some(crs), None).unwrap_err().to_string();
        assert!(
            refused(&geographic(47.5, 9.25), "EPSG:32631")
                .starts_with("the check points have latitudes and longitudes, but WGS 84")
        );
        assert!(refused(&in_the_zone(), "EPSG:4326").starts_with("the check points have eastings and northings, but WGS 84"));
        // Of a layer without a projection eastings cannot be.
        let degrees = self::layer("EPSG:4326");
        assert!(
            place(&in_the_zone(), &degrees, None, None)
                .unwrap_err()
                .to_string()
                .ends_with("name the projected CRS that they are in")
        );
    }

    #[test]
    fn what_is_known_of_a_check_point_goes_with_it() {
        let layer = layer("EPSG:32632");
        let mut of = geographic(47.5, 9.25);
        of.rows[0].orthometric_height_m = Some(400.0);
        (of.rows[0].sigma_horizontal_m, of.rows[0].sigma_vertical_m) = (Some(0.01), Some(0.02));
        let found = place(&of, &layer, None, None).unwrap().points.remove(0);
        let heights = HeightKnown { orthometric_m: Some(400.0), sigma_m: Some(0.02), ..HeightKnown::default() };
        assert_eq!((found.heights, found.at.ellipsoid_height_m, found.sigma_horizontal_m), (heights, 400.0, Some(0.01)));
        assert_eq!((found.name.as_deref(), found.line), (Some("P2"), 2));
        of.rows[0].ellipsoid_height_m = Some(450.0);
        of.has_ellipsoid_heights = true;
        let found = place(&of, &layer, None, None).unwrap().points.remove(0);
        assert_eq!((found.heights.ellipsoid_m, found.at.ellipsoid_height_m), (Some(450.0), 450.0));
    }

    /// Coordinate frame rotation from GDA94 to GDA2020: parameters of the GDA2020 Technical Manual (translations in metres, rotations in seconds,
    /// scale in parts of a million).
    fn on_gda2020([x, y, z]: [f64; 3]) -> [f64; 3] {
        let [rx, ry, rz] = [-0.039_492_4f64, -0.032_722_1, -0.032_897_9].map(|seconds| (seconds / 3600.0).to_radians());
        let scale = 1.0 - 0.009_994e-6;
        [
            0.061_55 + scale * (x + rz * y - ry * z),
            -0.010_87 + scale * (-rz * x + y + rx * z),
            -0.040_19 + scale * (ry * x - rx * y + z),
        ]
    }

    #[test]
    fn another_datum_moves_places_and_heights_and_is_told() {
        let mut of = geographic(-23.67, 133.89);
        of.rows[0].ellipsoid_height_m = Some(600.0);
        of.has_ellipsoid_heights = true;
        let found = place(&of, &layer("EPSG:7844"), Some("EPSG:4939"), None).unwrap();
        // The ellipsoid of GRS 80.
        let ellipsoid = Ellipsoid { semi_major_m: 6_378_137.0, flattening: 1.0 / 298.257_222_101 };
        let from = Geodetic { lat_rad: (-23.67f64).to_radians(), lon_rad: 133.89f64.to_radians(), ellipsoid_height_m: 600.0 };
        let want = Geodetic::from_earth_centred(on_gda2020(from.to_earth_centred(&ellipsoid)), &ellipsoid);
        is_at(&found, want.lat_rad.to_degrees(), want.lon_rad.to_degrees());
        let height_m = found.points[0].at.ellipsoid_height_m;
        assert!((height_m - want.ellipsoid_height_m).abs() < 1e-4 && (height_m - 600.0).abs() > 0.01, "{height_m}");
        assert_eq!(found.points[0].heights.ellipsoid_m, Some(height_m));
        let step = found.step.unwrap();
        assert!(step.accuracy_m > 0.0 && !found.is_crs_of_layer, "{step:?}");
        // Without heights the place goes alone.
        of.rows[0].ellipsoid_height_m = None;
        of.has_ellipsoid_heights = false;
        assert_eq!(place(&of, &layer("EPSG:7844"), Some("EPSG:4939"), None).unwrap().points[0].heights, HeightKnown::default());
    }

    #[test]
    fn what_a_crs_does_not_reach_is_outside() {
        let layer = layer("EPSG:32632");
        let outside = |lat_deg: f64, lon_deg: f64, height_m: f64| {
            let mut of = geographic(10.0, 10.0);
            of.rows.push(CheckRow { ellipsoid_height_m: Some(height_m), ..row(7, Coordinates::Geographic { lat_deg, lon_deg }) });
            of.has_ellipsoid_heights = true;
            place(&of, &layer, None, None).err().map(|error| error.to_string())
        };
        assert_eq!(outside(90.0, 10.0, 0.0), None);
        assert_eq!(outside(-90.0, 10.0, 0.0), None);
        let datum = layer.datum.horizontal_3d().unwrap().label();
        let said =
            format!("the check point in line 7 lies outside what {datum} can express; look at its coordinates and at their CRS");
        for (lat, lon, height) in
            [(90.001, 10.0, 0.0), (-90.001, 10.0, 0.0), (f64::NAN, 10.0, 0.0), (10.0, f64::INFINITY, 0.0), (10.0, 10.0, f64::NAN)]
        {
            assert_eq!(outside(lat, lon, height).as_deref(), Some(said.as_str()), "{lat} {lon} {height}");
        }
    }
}
