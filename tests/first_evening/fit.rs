//! A local frame moved to a CRS by known points: `[local.fit]`. Truth by the geodesic direct problem on WGS 84 (Karney 2013, crate
//! `geographiclib-rs`), none of it by the program.

use geographiclib_rs::{DirectGeodesic, Geodesic};

use super::crews::off_m;
use super::*;

/// Where the frame's zero is, and what its north is turned by from true north.
const ZERO: [f64; 2] = [46.1, 8.9];
const TURN_DEG: f64 = 37.25;

/// A place in metres east and north of the frame.
fn at([e, n]: [f64; 2]) -> [f64; 2] {
    let azimuth = e.atan2(n).to_degrees() + TURN_DEG;
    let (lat, lon) = Geodesic::wgs84().direct(ZERO[0], ZERO[1], azimuth, e.hypot(n));
    [lat, lon]
}

/// Two bases and what was shot from them; a compass that counts from a zero of its own. Distances are level, at the height of the ellipsoid.
const PLACES: [(&str, &str, [f64; 2]); 5] = [
    ("A", "K1", [80.0, 60.0]),
    ("A", "K2", [-50.0, 120.0]),
    ("B", "K3", [150.0, -40.0]),
    ("A", "P", [30.0, -90.0]),
    ("B", "Q", [220.0, 75.0]),
];
const BASE_B: [f64; 2] = [100.0, 20.0];

const JOB: &str = "name = \"yard\"\ncrs = \"local\"\nformats = [\"csv\", \"gpkg\"]\n[bases]\nfiles = [\"bases.csv\"]\nsigma_horizontal_m = 0.01\n\
    sigma_vertical_m = 0.01\n[shots]\nfiles = [\"shots.csv\"]\n[instrument]\nrefraction = 0\nsigma_azimuth_deg = 0.01\nsigma_distance_m = 0.01\n\
    sigma_inclination_deg = 0.01\n[heights]\ninstrument_height_m = 0\ntarget_height_m = 0\n\
    [local.fit]\ncrs = \"EPSG:32632\"\n[local.fit.known]\nfiles = [\"known.csv\"]\ncrs = \"EPSG:4979\"\nsigma_horizontal_m = 0.02\n\
    sigma_vertical_m = 0.02\n";

/// The frame's logs, and a table of some of its known points, each moved by metres north.
fn frame(known: &[(&str, f64)]) -> Evening {
    let evening = Evening::with(&[]);
    evening.write("bases.csv", format!("base,east_m,north_m,local_height_m\nA,0,0,5\nB,{},{},5\n", BASE_B[0], BASE_B[1]));
    let rows = PLACES.iter().enumerate().map(|(i, (base, name, [e, n]))| {
        let from = if *base == "A" { [0.0, 0.0] } else { BASE_B };
        let (de, dn) = (e - from[0], n - from[1]);
        format!("{base},{i},{name},{:.5},{:.6},0\n", de.hypot(dn), de.atan2(dn).to_degrees().rem_euclid(360.0))
    });
    evening.write(
        "shots.csv",
        format!("base,shot,feature,slope_distance_m,magnetic_azimuth_deg,inclination_deg\n{}", rows.collect::<String>()),
    );
    let rows = known.iter().map(|(name, off_m)| {
        let place = PLACES.iter().find(|(_, of, _)| of == name).map_or(BASE_B, |(_, _, place)| *place);
        let [lat, lon] = at(place);
        // 111 132 m to a degree of latitude, near enough to move a point on purpose. The frame's heights are 5 m over the ellipsoid's 7 m.
        format!("{name},{:.10},{lon:.10},7\n", lat + off_m / 111_132.0)
    });
    evening.write("known.csv", format!("base,lat_deg,lon_deg,ellipsoid_height_m\n{}", rows.collect::<String>()));
    evening.write("job.toml", JOB);
    evening
}

/// Levels of the frame curve on a sphere of mean radius and the Earth's on its ellipsoid, and 7 m of height stretch 200 m by 0.2 mm.
const PLACE_M: f64 = 0.002;

/// Features and a base tie the frame; what was shot from both bases then lies where it is.
#[test]
fn known_points_move_the_frame_to_a_crs() {
    let evening = frame(&[("K1", 0.0), ("K2", 0.0), ("K3", 0.0), ("B", 0.0)]);
    let ran = evening.map();
    assert!(
        ran.out.contains("fit      4 known points move the frame to WGS 84 / UTM zone 32N (EPSG:32632): turned by 37.2"),
        "{}",
        ran.out
    );
    let features = evening.layer("features");
    assert_eq!(features.len(), 5);
    for feature in &features {
        let (_, _, place) = PLACES.iter().find(|(_, name, _)| feature["feature"] == *name).unwrap();
        let off = off_m(feature, &serde_json::json!(at(*place)));
        assert!(off < PLACE_M, "{} is {off} m off", feature["feature"]);
        // Level shots end over the level of their bases: 100 m squared over twice the Earth's radius are 0.8 mm.
        assert!((number(feature, "ellipsoid_height_m") - 7.0).abs() < 0.003, "{feature:?}");
    }
    let fit = &evening.summary()["local_fit"];
    assert!((fit["rotation_deg"].as_f64().unwrap() - TURN_DEG).abs() < 0.01, "{fit}");
    assert!((fit["height_shift_m"].as_f64().unwrap() - 2.0).abs() < 0.002, "{fit}");
    assert_eq!(fit["points"].as_array().unwrap().len(), 4);
    assert_eq!(evening.summary()["crs"], "WGS 84 / UTM zone 32N (EPSG:32632)");
}

/// What the fit errs by is in the points: a third known point makes them better. Where each set-up turns by half a degree, a point at 95 m
/// would err by 0.8 m by that alone; known points that were shot with the same set-up take it out again, since the register has it once, in
/// the frame as in the fit, and what is left is a few centimetres; from the other base nothing takes it out.
#[test]
fn standard_errors_hold_those_of_the_fit() {
    let sigmas = |known: &[(&str, f64)], job: &str| {
        let evening = frame(known);
        evening.write("job.toml", job);
        evening.map();
        let layer = evening.layer("features");
        let of = |name: &str| {
            let feature = layer.iter().find(|feature| feature["feature"] == name).unwrap();
            number(feature, "sigma_east_m").hypot(number(feature, "sigma_north_m"))
        };
        let fit = evening.summary()["local_fit"].clone();
        ([of("P"), of("Q")], fit["sigma_rotation_deg"].as_f64().unwrap())
    };
    let two = [("K1", 0.0), ("K2", 0.0)];
    let ([p, _], turn) = sigmas(&two, JOB);
    // By hand: two points 143.2 m apart, known to 0.02 m and shot to 0.02 m by 0.01° and 0.01 m: √2 · 0.025 / 143.2 rad is 0.014°.
    assert!((0.007..0.028).contains(&turn), "{turn}");
    let ([third, _], _) = sigmas(&[two[0], two[1], ("B", 0.0)], JOB);
    assert!(third < p && p < 0.1, "{third} {p}");
    let job = JOB.replace("[heights]", "[north]\nsigma_orientation_deg = 0.5\n[heights]");
    let ([p, q], turn) = sigmas(&two, &job);
    assert!((turn - 0.5).abs() < 0.01, "azimuths of the frame count from the zero of one set-up: {turn}");
    assert!(p < 0.1, "{p}");
    // From B: its own half degree over 132 m, and that of A, by which the frame was found: 1.15 m each, and B's place with it.
    assert!(q > 1.15 * std::f64::consts::SQRT_2, "{q}");
}

/// One point gives no turn; points that lie otherwise than the frame has them are refused beyond what their standard errors explain, and
/// the remedy helps.
#[test]
fn points_that_give_no_fit_are_refused() {
    let refused = |evening: &Evening| evening.run(&["map", "job.toml", "--out", "out"]).exits(1).err;
    let said = refused(&frame(&[("K1", 0.0)]));
    assert!(
        said.contains("needs two known points at least, at different places: of K1 under [local.fit.known] only K1 is"),
        "{said}"
    );
    let said = refused(&frame(&[]));
    assert!(said.contains("no base") || said.contains("needs two known points"), "{said}");
    // Inside and far outside: the differences of both sides have standard errors of 0.03 m or so.
    frame(&[("K1", 0.0), ("K2", 0.06), ("K3", 0.0), ("B", 0.0)]).map();
    let off = frame(&[("K1", 0.0), ("K2", 3.0), ("K3", 0.0), ("B", 0.0)]);
    let said = refused(&off);
    assert!(said.contains("do not fit the local frame within their standard errors") && said.contains("K2 fits worst"), "{said}");
    off.write("job.toml", JOB.replace("sigma_horizontal_m = 0.02", "sigma_horizontal_m = 2"));
    off.map();
    let apart = refused(&frame(&[("K1", 0.0), ("K2", 3.0)]));
    assert!(apart.contains("two points cannot tell which of them is wrong"), "{apart}");
    let network = frame(&[("K1", 0.0), ("K2", 0.0)]);
    network.write("job.toml", JOB.replace("[local.fit]\n", "[network]\n[local.fit]\n"));
    assert!(refused(&network).contains("[local.fit] does not go together with [network]"));
}
