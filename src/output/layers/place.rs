//! The fields of a position, the same in every layer of points.

use super::{Definition, Get, or_null};
use crate::shots::locate::Placed;

/// A record with a position in the CRS of the layers.
pub trait HasPlace {
    /// Position and heights.
    fn placed(&self) -> &Placed;
    /// Whether the layers' CRS has eastings and northings.
    fn projected(&self) -> bool;
}

/// The fields of a position and of its heights.
pub fn definitions<R: HasPlace>() -> Vec<Definition<R>> {
    use Get::*;
    let d = Definition::new;
    vec![
        d(
            "easting",
            "EASTING",
            "Easting in the unit of the layers' CRS; null where it is geographic.",
            Real(|r: &R| if r.projected() { r.placed().x } else { f64::NAN }),
        ),
        d(
            "northing",
            "NORTHING",
            "Northing in the unit of the layers' CRS; null where it is geographic.",
            Real(|r: &R| if r.projected() { r.placed().y } else { f64::NAN }),
        ),
        d(
            "lat_deg",
            "LAT_DEG",
            "Latitude in degrees, north positive, on the datum of the layers' CRS; null in a local frame.",
            Real(|r: &R| r.placed().lat_deg),
        ),
        d(
            "lon_deg",
            "LON_DEG",
            "Longitude in degrees, east positive, on the datum of the layers' CRS; null in a local frame.",
            Real(|r: &R| r.placed().lon_deg),
        ),
        d(
            "ellipsoid_height_m",
            "H_ELLIPS_M",
            "Height above the ellipsoid of that datum, in a local frame above its zero, metres; null where none is known.",
            Real(|r: &R| or_null(r.placed().ellipsoid_height_m)),
        ),
        d(
            "orthometric_height_m",
            "H_ORTHO_M",
            "Height above the geoid or vertical datum of the bases, metres; null where no geoid is known.",
            Real(|r: &R| or_null(r.placed().orthometric_height_m)),
        ),
    ]
}
