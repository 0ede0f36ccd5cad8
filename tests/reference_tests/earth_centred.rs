//! Earth-centred and local coordinates against the examples of the EPSG guidance note, national agencies, and PROJ.

use gdal::spatial_ref::{AxisMappingStrategy, CoordTransform, SpatialRef};
use standoff::inside::geodesy::crs::Crs;
use standoff::inside::geodesy::frame::{EarthCentred, Ellipsoid, Geodetic, LocalFrame};

use crate::reference::{Random, Row, around_zero_deg, geodetic, table};

/// S1 to S6 print heights to a micrometre and angles to 1e-12° (0.1 µm).
const COMPUTED_PLACE_M: f64 = 1.1e-6;

fn ellipsoid(name: &str) -> Ellipsoid {
    match name {
        "WGS84" => Ellipsoid::WGS84,
        // EPSG ellipsoid 7019.
        "GRS80" => Ellipsoid { semi_major_m: 6_378_137.0, flattening: 1.0 / 298.257_222_101 },
        other => panic!("{other}"),
    }
}

fn three(row: &Row, columns: [&str; 3]) -> [f64; 3] {
    columns.map(|column| row.number(column))
}

/// The published position and the one got, apart in metres north, east and up.
fn place_apart_m(row: &Row, got: &Geodetic) -> f64 {
    const LARGEST_RADIUS_M: f64 = 6.4e6;
    let north = (got.lat_rad.to_degrees() - row.number("lat")).to_radians() * LARGEST_RADIUS_M;
    let east = around_zero_deg(got.lon_rad.to_degrees() - row.number("lon")).to_radians() * LARGEST_RADIUS_M * got.lat_rad.cos();
    let up = got.ellipsoid_height_m - row.number("h");
    north.abs().max(east.abs()).max(up.abs())
}

#[test]
fn published_earth_centred_and_topocentric_examples() {
    const XYZ: [&str; 3] = ["X", "Y", "Z"];
    const ENU: [&str; 3] = ["U_east", "V_north", "W_up"];
    let mut checked = 0;
    for row in table("topocentric", 14) {
        let on = ellipsoid(row.text("ellipsoid"));
        let tolerance = row.number("tolerance_m");
        let near = |got: [f64; 3], columns: [&str; 3]| {
            for (got, column) in got.into_iter().zip(columns) {
                let allowed = tolerance.max(row.half_digit(column));
                assert!((got - row.number(column)).abs() <= allowed, "{} {column}: {got}", row.text("id"));
            }
        };
        let given_place = || geodetic(row.number("lat"), row.number("lon"), row.number("h"));
        let given_origin = || geodetic(row.number("lat0"), row.number("lon0"), row.number("h0"));
        match row.text("method") {
            "geocentric to topocentric (EPSG 9836)" => {
                // The origin is given earth-centred alone; the note says that it is 55 N 5 E at 200 m.
                let origin = Geodetic::from_earth_centred(three(&row, ["X0", "Y0", "Z0"]), &on);
                assert!((origin.ellipsoid_height_m - 200.0).abs() < tolerance, "{origin:?}");
                near(LocalFrame::at(&origin, &on).from_earth_centred(three(&row, XYZ)), ENU);
            }
            "geographic to topocentric (EPSG 9837)" => {
                let frame = LocalFrame::at(&given_origin(), &on);
                near(frame.from_earth_centred(given_place().to_earth_centred(&on)), ENU);
                near(frame.from_earth_centred(frame.to_earth_centred(three(&row, ENU))), ENU);
            }
            "geographic to geocentric (EPSG 9602)" => {
                near(given_place().to_earth_centred(&on), XYZ);
                let back = Geodetic::from_earth_centred(three(&row, XYZ), &on);
                assert!(place_apart_m(&row, &back) <= tolerance, "{}: {back:?}", row.text("id"));
            }
            "topocentric to geographic (EPSG 9837 reverse)" => {
                let frame = LocalFrame::at(&given_origin(), &on);
                near(frame.to_earth_centred([0.0; 3]), ["X0", "Y0", "Z0"]);
                let end = frame.to_earth_centred(three(&row, ENU));
                near(end, XYZ);
                let place = Geodetic::from_earth_centred(end, &on);
                assert!(place_apart_m(&row, &place) <= COMPUTED_PLACE_M, "{}: {place:?}", row.text("id"));
            }
            other => panic!("{other}"),
        }
        checked += 1;
    }
    assert_eq!(checked, 14);
}

/// PROJ, through GDAL, between EPSG:4979 (longitude first) and EPSG:4978.
fn proj(from: u32, to: u32, mut points: Vec<[f64; 3]>) -> Vec<[f64; 3]> {
    let system = |code| {
        let mut system = SpatialRef::from_epsg(code).unwrap();
        system.set_axis_mapping_strategy(AxisMappingStrategy::TraditionalGisOrder);
        system
    };
    let [mut x, mut y, mut z] = [0, 1, 2].map(|i| points.iter().map(|point| point[i]).collect::<Vec<f64>>());
    CoordTransform::new(&system(from), &system(to)).unwrap().transform_coords(&mut x, &mut y, &mut z).unwrap();
    for (i, point) in points.iter_mut().enumerate() {
        *point = [x[i], y[i], z[i]];
    }
    points
}

/// Places of every latitude and longitude at heights of -10 to +10 km, with the poles, the equator and the antimeridian.
fn places() -> Vec<Geodetic> {
    let mut random = Random(20_260_504);
    let mut places: Vec<Geodetic> = (0..5000)
        .map(|_| {
            // Evenly over the sphere would leave the poles bare.
            geodetic(random.between(-90.0, 90.0), random.between(-180.0, 180.0), random.between(-10_000.0, 10_000.0))
        })
        .collect();
    for lat in [-90.0, -89.999_999, -45.0, 0.0, 1e-9, 89.999_9, 90.0] {
        for lon in [-180.0, -179.999_999_9, -90.0, 0.0, 179.999_999_9, 180.0] {
            places.extend([-10_000.0, 0.0, 10_000.0].map(|h| geodetic(lat, lon, h)));
        }
    }
    places
}

fn apart_m(a: EarthCentred, b: EarthCentred) -> f64 {
    (0..3).map(|i| (a[i] - b[i]).powi(2)).sum::<f64>().sqrt()
}

#[test]
fn earth_centred_coordinates_agree_with_proj() {
    /// Some roundings of 6.4e6 m, each 1e-9 m.
    const AGREEMENT_M: f64 = 1e-8;
    let places = places();
    let lonlat = places.iter().map(|at| [at.lon_rad.to_degrees(), at.lat_rad.to_degrees(), at.ellipsoid_height_m]).collect();
    let judged = proj(4979, 4978, lonlat);
    let mut checked = 0;
    for (at, want) in places.iter().zip(judged) {
        let got = at.to_earth_centred(&Ellipsoid::WGS84);
        assert!(apart_m(got, want) < AGREEMENT_M, "{at:?}: {got:?}, PROJ {want:?}");
        checked += 1;
    }
    assert_eq!(checked, 5126);
}

#[test]
fn geodetic_coordinates_agree_with_proj() {
    /// PROJ takes one step of the iteration that the product carries on: 10 km off the ellipsoid it misses the place that
    /// the point was made from by up to 1.3 µm.
    const PROJ_M: f64 = 2e-6;
    /// The product comes back to it within some roundings of 6.4e6 m, each 1e-9 m.
    const THERE_AND_BACK_M: f64 = 1e-8;
    let places = places();
    let points: Vec<EarthCentred> = places.iter().map(|at| at.to_earth_centred(&Ellipsoid::WGS84)).collect();
    let judged = proj(4978, 4979, points.clone());
    let mut checked = 0;
    for ((point, want), made_of) in points.into_iter().zip(judged).zip(places) {
        let got = Geodetic::from_earth_centred(point, &Ellipsoid::WGS84);
        let want = geodetic(want[1], want[0], want[2]);
        for (want, allowed) in [(want, PROJ_M), (made_of, THERE_AND_BACK_M)] {
            let up = (got.ellipsoid_height_m - want.ellipsoid_height_m).abs();
            // As points in space, so that the longitude counts as far as it means something.
            let apart = apart_m(got.to_earth_centred(&Ellipsoid::WGS84), want.to_earth_centred(&Ellipsoid::WGS84));
            assert!(up < allowed && apart < allowed, "{got:?}, not {want:?}: {apart} m, {up} m up");
        }
        checked += 1;
    }
    assert_eq!(checked, 5126);
}

#[test]
fn an_earth_centred_crs_is_refused_for_positions() {
    let error = Crs::new("EPSG:4978").unwrap_err();
    assert_eq!(
        error.to_string(),
        "WGS 84 cannot be used for positions: it is earth-centred; name a geographic or projected one, alone or with a \
         vertical one as in EPSG:32630+5773"
    );
}
