//! Transformations that move with time against published parameters, the formula of EPSG Guidance Note 7-2
//! (time-dependent Helmert in 15 parameters, methods 1053 and 1056) worked out here, and another release of PROJ.

use standoff::inside::geodesy::crs::{CoordinateEpoch, Crs, CrsError, OperationRules, Transform};
use standoff::inside::geodesy::frame::{EarthCentred, Ellipsoid, Geodetic};

use crate::reference::{geodetic, table};

/// GRS 1980: EPSG ellipsoid 7019.
const GRS80: Ellipsoid = Ellipsoid { semi_major_m: 6_378_137.0, flattening: 1.0 / 298.257_222_101 };
/// PROJ, its degrees and the way through them: some roundings of 6.4e6 m, and 1e-12° are 0.1 µm.
const AGREEMENT_M: f64 = 2e-6;
/// The inverse of PROJ turns the matrix around, which leaves out the squares of the angles: 0.02″ of NAD83 squared, times
/// the radius of the earth.
const REVERSED_M: f64 = 1e-6;
/// Coordinates published to 0.1 mm.
const PUBLISHED_TENTH_MM_M: f64 = 0.000_05 + AGREEMENT_M;
/// Coordinates published to 1 mm.
const PUBLISHED_MM_M: f64 = 0.000_5 + AGREEMENT_M;

/// The way that the signs of rotations count.
#[derive(Clone, Copy)]
enum Convention {
    /// EPSG method 1053.
    PositionVector,
    /// EPSG method 1056.
    CoordinateFrame,
}

/// Published parameters at an epoch, with their yearly rates.
struct Helmert {
    from: &'static str,
    to: &'static str,
    convention: Convention,
    epoch: f64,
    /// Millimetres.
    shift_mm: [[f64; 3]; 2],
    /// Milliarcseconds.
    turn_mas: [[f64; 3]; 2],
    /// Parts in 1e9.
    scale_ppb: [f64; 2],
}

const PUBLISHED: [Helmert; 6] = [
    // GDA2020 Technical Manual (ICSM), plate motion model of Australia; from memory, as EPSG 8049 has it.
    Helmert {
        from: "EPSG:7912",
        to: "EPSG:7843",
        convention: Convention::CoordinateFrame,
        epoch: 2020.0,
        shift_mm: [[0.0; 3]; 2],
        turn_mas: [[0.0; 3], [1.50379, 1.18346, 1.20716]],
        scale_ppb: [0.0; 2],
    },
    // Dawson and Woods 2010, ITRF to GDA94; EPSG 6276; from memory.
    Helmert {
        from: "EPSG:7911",
        to: "EPSG:4939",
        convention: Convention::CoordinateFrame,
        epoch: 1994.0,
        shift_mm: [[-84.68, -19.42, 32.01], [1.42, 1.34, 0.90]],
        turn_mas: [[-0.4254, 2.2578, 2.4015], [1.5461, 1.1820, 1.1551]],
        scale_ppb: [9.710, 0.109],
    },
    // EUREF Technical Note 1 (Altamimi 2018), table of ITRF2014 to ETRF2014; from memory.
    Helmert {
        from: "EPSG:7912",
        to: "EPSG:8403",
        convention: Convention::PositionVector,
        epoch: 2010.0,
        shift_mm: [[0.0; 3]; 2],
        turn_mas: [[1.785, 11.151, -16.170], [0.085, 0.531, -0.770]],
        scale_ppb: [0.0; 2],
    },
    // The same note, ITRF2014 to ETRF2000; from memory.
    Helmert {
        from: "EPSG:7912",
        to: "EPSG:7931",
        convention: Convention::PositionVector,
        epoch: 2010.0,
        shift_mm: [[54.7, 52.2, -74.1], [0.1, 0.1, -1.9]],
        turn_mas: [[1.701, 10.290, -16.632], [0.081, 0.490, -0.792]],
        scale_ppb: [2.12, 0.11],
    },
    // Pearson and Snay 2013, ITRF2008 to NAD83(2011); from memory.
    Helmert {
        from: "EPSG:7911",
        to: "EPSG:6319",
        convention: Convention::CoordinateFrame,
        epoch: 1997.0,
        shift_mm: [[993.43, -1903.31, -526.55], [0.79, -0.60, -1.34]],
        turn_mas: [[25.91467, 9.42645, 11.59935], [0.06667, -0.75744, -0.05133]],
        scale_ppb: [1.71504, -0.10201],
    },
    // NOAA NGS, ITRF2014 to NAD83(2011), as the HTDP program has it; from memory, as EPSG 8970 has it.
    Helmert {
        from: "EPSG:7912",
        to: "EPSG:6319",
        convention: Convention::CoordinateFrame,
        epoch: 2010.0,
        shift_mm: [[1005.30, -1909.21, -541.57], [0.79, -0.60, -1.44]],
        turn_mas: [[26.78138, -0.42027, 10.93206], [0.06667, -0.75744, -0.05133]],
        scale_ppb: [0.36891, -0.07201],
    },
];

impl Helmert {
    /// X' = T + (1 + s) R X, with the linear rotation matrix of the Guidance Note.
    fn apply(&self, [x, y, z]: EarthCentred, year: f64) -> EarthCentred {
        let years = year - self.epoch;
        let at = |[value, rate]: [[f64; 3]; 2], unit: f64| [0, 1, 2].map(|i| (value[i] + rate[i] * years) * unit);
        let [tx, ty, tz] = at(self.shift_mm, 1e-3);
        let sign = match self.convention {
            Convention::PositionVector => 1.0,
            Convention::CoordinateFrame => -1.0,
        };
        let [rx, ry, rz] = at(self.turn_mas, sign * (1.0f64 / 3_600_000.0).to_radians());
        let m = 1.0 + (self.scale_ppb[0] + self.scale_ppb[1] * years) * 1e-9;
        [tx + m * (x - rz * y + ry * z), ty + m * (rz * x + y - rx * z), tz + m * (-ry * x + rx * y + z)]
    }
}

fn published(from: &str, to: &str) -> &'static Helmert {
    PUBLISHED.iter().find(|helmert| helmert.from == from && helmert.to == to).unwrap()
}

fn transform(from: &str, to: &str) -> Transform {
    let transform = Transform::new(&Crs::new(from).unwrap(), &Crs::new(to).unwrap(), None, OperationRules::default()).unwrap();
    assert!(transform.needs_epoch() && transform.operation().time_dependent, "{:?}", transform.operation());
    assert!(!transform.operation().null_within_accuracy);
    transform
}

fn as_point(at: &Geodetic) -> [f64; 3] {
    [at.lon_rad.to_degrees(), at.lat_rad.to_degrees(), at.ellipsoid_height_m]
}

fn earth_centred(point: [f64; 3]) -> EarthCentred {
    geodetic(point[1], point[0], point[2]).to_earth_centred(&GRS80)
}

fn apart_m(a: EarthCentred, b: EarthCentred) -> f64 {
    (0..3).map(|i| (a[i] - b[i]).powi(2)).sum::<f64>().sqrt()
}

/// Earth-centred coordinates through the product.
fn moved(by: &Transform, from: EarthCentred, year: f64) -> EarthCentred {
    let mut point = [as_point(&Geodetic::from_earth_centred(from, &GRS80))];
    by.apply_at(&mut point, CoordinateEpoch::All(year)).unwrap();
    earth_centred(point[0])
}

#[test]
fn published_examples() {
    // GDA2020 Technical Manual, example of the plate motion model: ALIC at 1 January 2018; from memory.
    let itrf = [-4_052_052.658_8, 4_212_835.993_8, -2_545_104.694_6];
    let gda = [-4_052_052.737_3, 4_212_835.983_5, -2_545_104.586_7];
    // EPSG Guidance Note 7-2, example of method 1056: ITRF2008 at 2013.90 to GDA94; from memory.
    let note = ([-3_789_470.710, 4_841_770.404, -1_690_893.952], [-3_789_470.004, 4_841_770.686, -1_690_895.108]);
    for (from, to, year, given, want, allowed) in [
        ("EPSG:7912", "EPSG:7843", 2018.0, itrf, gda, PUBLISHED_TENTH_MM_M),
        ("EPSG:7843", "EPSG:7912", 2018.0, gda, itrf, PUBLISHED_TENTH_MM_M),
        ("EPSG:7911", "EPSG:4939", 2013.9, note.0, note.1, PUBLISHED_MM_M),
        ("EPSG:4939", "EPSG:7911", 2013.9, note.1, note.0, PUBLISHED_MM_M),
    ] {
        let got = moved(&transform(from, to), given, year);
        for (got, want) in got.into_iter().zip(want) {
            assert!((got - want).abs() < allowed, "{from} to {to}: {got}, published {want}");
        }
    }
}

#[test]
fn transformations_with_time_both_ways() {
    let mut checked = 0;
    for row in table("epochs", 29) {
        let (from, to, year) = (row.text("from"), row.text("to"), row.number("epoch"));
        let given = [row.number("lon"), row.number("lat"), row.number("h")];
        let judged = [row.number("to_lon"), row.number("to_lat"), row.number("to_h")];
        let want = published(from, to).apply(earth_centred(given), year);
        let mut point = [given];
        transform(from, to).apply_at(&mut point, CoordinateEpoch::All(year)).unwrap();
        let got = earth_centred(point[0]);
        assert!(apart_m(got, want) < AGREEMENT_M, "{from} to {to} at {year}: {got:?}, by the formula {want:?}");
        assert!(apart_m(got, earth_centred(judged)) < AGREEMENT_M, "{from} to {to} at {year}: {point:?}, other {judged:?}");
        if (from, to, year) == ("EPSG:7912", "EPSG:7843", 2020.0) {
            // The reference epoch of the datum: nothing moves.
            assert!(apart_m(got, earth_centred(given)) < AGREEMENT_M);
        } else {
            // And no other date would do: 1.5 cm a year at the least.
            let mut later = [given];
            transform(from, to).apply_at(&mut later, CoordinateEpoch::All(year + 1.0)).unwrap();
            assert!(apart_m(earth_centred(later[0]), got) > 0.01);
        }
        transform(to, from).apply_at(&mut point, CoordinateEpoch::Each(&[year])).unwrap();
        let back_m = apart_m(earth_centred(point[0]), earth_centred(given));
        assert!(back_m < AGREEMENT_M + REVERSED_M, "{to} to {from} at {year}: back {back_m} m off");
        checked += 1;
    }
    assert_eq!(checked, 29);
}

#[test]
fn one_epoch_for_each_point_or_one_for_all() {
    let to_gda = transform("EPSG:7912", "EPSG:7843");
    let place = [133.8855, -23.6701, 603.4];
    let years = [2010.0, 2020.0, 2026.4];
    let mut each = [place; 3];
    to_gda.apply_at(&mut each, CoordinateEpoch::Each(&years)).unwrap();
    for (year, point) in years.into_iter().zip(each) {
        let mut all = [place; 2];
        to_gda.apply_at(&mut all, CoordinateEpoch::All(year)).unwrap();
        assert_eq!(all, [point; 2]);
    }
    // 67 mm a year north-north-east, from 2020 on back to where the point was in 2020.
    let north_m = (each[2][1] - place[1]).to_radians() * 6_356_752.0;
    assert!((-0.40..-0.35).contains(&north_m), "{north_m}");
    to_gda.apply_at(&mut [], CoordinateEpoch::Each(&[])).unwrap();
    to_gda.apply_at(&mut [], CoordinateEpoch::All(2026.4)).unwrap();
}

#[test]
fn without_the_epoch_nothing_is_moved() {
    let to_gda = transform("EPSG:7912", "EPSG:7843");
    let place = [133.8855, -23.6701, 603.4];
    let mut points = [place; 2];
    assert_eq!(
        to_gda.apply(&mut points).unwrap_err().to_string(),
        format!(
            "from ITRF2014 (EPSG:7912) to GDA2020 (EPSG:7843): the transformation ({}) depends on the date, because the ground \
             moves in one of the two. Write epoch = 2026.4 under [bases] (the year and fraction when the positions were fixed)",
            to_gda.operation().name
        )
    );
    for value in [1899.9, 2100.1, 20_264.0, f64::INFINITY] {
        assert_eq!(to_gda.apply_at(&mut points, CoordinateEpoch::All(value)).unwrap_err(), CrsError::BadEpoch { value });
    }
    assert_eq!(
        to_gda.apply_at(&mut points, CoordinateEpoch::Each(&[2026.4, f64::NAN])).unwrap_err().to_string(),
        "epoch NaN: not a decimal year between 1900 and 2100; write the year and fraction when the positions were fixed, such as \
         2026.4"
    );
    assert_eq!(
        to_gda.apply_at(&mut points, CoordinateEpoch::Each(&[2026.4])).unwrap_err().to_string(),
        "1 epochs for 2 positions: give one for all or one for each"
    );
    assert_eq!(points, [place; 2]);
}

#[test]
fn operations_tell_what_they_are() {
    let of = |from: &str, to: &str, area| {
        let transform =
            Transform::new(&Crs::new(from).unwrap(), &Crs::new(to).unwrap(), area, OperationRules::default()).unwrap();
        transform.operation().clone()
    };
    let plates = of("EPSG:7912", "EPSG:7843", None);
    assert!(plates.time_dependent && !plates.null_within_accuracy);
    assert!(plates.area_of_use.unwrap().starts_with("Australia"));

    // Null ones, with accuracies of metres, in geographic and projected coordinates and either way.
    let alps = Some([10.0, 46.0, 11.0, 47.0]);
    for (from, to, area) in [
        ("EPSG:4979", "EPSG:4937", None),
        ("EPSG:4979", "EPSG:4937", alps),
        ("EPSG:4937", "EPSG:4979", alps),
        ("EPSG:32632", "EPSG:25832", alps),
        ("EPSG:4979", "EPSG:7843", Some([133.0, -24.0, 134.0, -23.0])),
        ("EPSG:4979", "EPSG:6319", Some([-100.0, 40.0, -99.0, 41.0])),
    ] {
        let operation = of(from, to, area);
        assert!(operation.null_within_accuracy && !operation.time_dependent, "{operation:?}");
        assert!(operation.accuracy_m.unwrap() >= 1.0 && operation.area_of_use.is_some(), "{operation:?}");
    }
    // Those that move by a hundred metres, and those that are exact, are not.
    for (from, to, area) in [
        ("EPSG:4979", "EPSG:4277", Some([-3.0, 54.0, -2.0, 55.0])),
        ("EPSG:4979", "EPSG:32632", alps),
        ("EPSG:25832", "EPSG:4937", alps),
    ] {
        let operation = match Transform::new(
            &Crs::new(from).unwrap(),
            &Crs::new(to).unwrap(),
            area,
            OperationRules { missing_grids: true, ..OperationRules::default() },
        ) {
            Ok(transform) => transform.operation().clone(),
            Err(error) => panic!("{from} to {to}: {error}"),
        };
        assert!(!operation.null_within_accuracy && !operation.time_dependent, "{operation:?}");
    }
    // By ITRF2008, whose scale drifts against ITRF2014 by 0.03e-9 a year, so that PROJ wants the date.
    let realisation = of("EPSG:7912", "EPSG:9056", None);
    assert!(realisation.time_dependent, "{realisation:?}");
}

/// A projection of a dynamic frame.
const ITRF_UTM: &str = r#"PROJCRS["ITRF2014 / UTM zone 32N",BASEGEOGCRS["ITRF2014",DYNAMIC[FRAMEEPOCH[2010]],DATUM["International
Terrestrial Reference Frame 2014",ELLIPSOID["GRS 1980",6378137,298.257222101,LENGTHUNIT["metre",1]]],PRIMEM["Greenwich",0,
ANGLEUNIT["degree",0.0174532925199433]]],CONVERSION["UTM zone 32N",METHOD["Transverse Mercator",ID["EPSG",9807]],
PARAMETER["Latitude of natural origin",0,ANGLEUNIT["degree",0.0174532925199433],ID["EPSG",8801]],
PARAMETER["Longitude of natural origin",9,ANGLEUNIT["degree",0.0174532925199433],ID["EPSG",8802]],
PARAMETER["Scale factor at natural origin",0.9996,SCALEUNIT["unity",1],ID["EPSG",8805]],
PARAMETER["False easting",500000,LENGTHUNIT["metre",1],ID["EPSG",8806]],
PARAMETER["False northing",0,LENGTHUNIT["metre",1],ID["EPSG",8807]]],
CS[Cartesian,2],AXIS["(E)",east,ORDER[1],LENGTHUNIT["metre",1]],AXIS["(N)",north,ORDER[2],LENGTHUNIT["metre",1]]]"#;

#[test]
fn dynamic_datums() {
    for (definition, is_dynamic) in [
        ("EPSG:7912", true),
        ("EPSG:9989", true),
        ("EPSG:9754", true),
        ("EPSG:7931", true),
        // Projected, and with heights.
        (ITRF_UTM, true),
        ("EPSG:9000+3855", true),
        ("EPSG:7843", false),
        ("EPSG:7853", false),
        ("EPSG:6319", false),
        // Ensembles, geographic, projected and with heights.
        ("EPSG:4979", false),
        ("EPSG:32632", false),
        ("EPSG:32632+5773", false),
        ("EPSG:4937", false),
        ("EPSG:25832", false),
    ] {
        assert_eq!(Crs::new(definition).unwrap().is_dynamic(), is_dynamic, "{definition}");
    }
}
