//! Corrections whose values follow by hand, or by another way.

use standoff::inside::field::calibrate::EARTH_RADIUS_M;
use standoff::inside::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame, full_circle_rad};
use standoff::inside::geodesy::north;

use super::{assert_is, calibrate, correction, found};

const LINE: &str = "measure,date,magnetic_azimuth_deg,inclination_deg,slope_distance_m
known_line,2026-04-01,30.1,1.0,100.02
known_line,2026-04-01,30.3,1.1,100.00
known_line,2026-04-01,30.2,1.2,100.04
";

#[test]
fn a_known_line() {
    // Means 30.2, 1.1, 100.02; deviations ±0.1, ±0.1, ±0.02 of two of three: s = 0.1, 0.1, 0.02;
    // standard errors s/√3. Refraction 0 leaves the inclination alone.
    let root = 3f64.sqrt();
    let known =
        ["--azimuth", "31.0", "--azimuth-north", "magnetic", "--inclination", "1.0", "--distance", "100.07", "--refraction", "0"];
    let found = found(LINE, &known);
    assert_is(correction(&found, "azimuth"), (0.8, 0.1 / root));
    assert_is(correction(&found, "inclination"), (-0.1, 0.1 / root));
    assert_is(correction(&found, "distance"), (0.05, 0.02 / root));
    // The residual is the reading less what it should be: 30.1 − (31.0 − 0.8) = −0.1.
    let reading = &found["corrections"][0]["by"][0]["readings"][0];
    assert_eq!((reading["line"].as_u64(), reading["residual_deg"].as_f64()), (Some(2), Some(-0.1)));
    assert_eq!(
        found["job_lines"],
        "[[instrument.calibrations]]\nfrom = \"2026-04-01\"\nazimuth_correction_deg = 0.8\nsigma_azimuth_correction_deg = 0.0577\n\
         inclination_correction_deg = -0.1\nsigma_inclination_correction_deg = 0.0577\ndistance_correction_m = 0.05\n\
         sigma_distance_correction_m = 0.0115\n"
    );
}

#[test]
fn the_error_of_the_known_value_is_added_in_quadrature() {
    let known = ["--azimuth", "31.0", "--azimuth-north", "magnetic", "--sigma-azimuth", "0.3"];
    assert_is(correction(&found(LINE, &known), "azimuth"), (0.8, (0.01f64 / 3.0 + 0.09).sqrt()));
}

#[test]
fn azimuths_are_averaged_across_north() {
    let log = LINE.replace(",30.1,", ",359.9,").replace(",30.3,", ",0.1,").replace(",30.2,", ",0.0,");
    let known = ["--azimuth", "359.5", "--azimuth-north", "magnetic"];
    assert_is(correction(&found(&log, &known), "azimuth"), (-0.5, 0.1 / 3f64.sqrt()));
}

#[test]
fn refraction_is_taken_off_a_known_inclination() {
    // k·S/2R of 1000 m, k = 0.13.
    let lifted = (0.13f64 * 1000.0 / (2.0 * EARTH_RADIUS_M)).to_degrees();
    let reading = 2.0 + lifted - 0.25;
    let log = format!("measure,inclination_deg,slope_distance_m\nknown_line,{reading:.7},1000\n");
    let (value, sigma) = correction(&found(&log, &["--inclination", "2"]), "inclination");
    // One shot: the usual standard error of the instrument, 0.25°.
    assert_is((value, sigma), (0.25, 0.25));
}

#[test]
fn a_known_horizontal_distance_against_a_measured_slope() {
    // 60°: S = 2 H. The known inclination is exact to 0.1°: H sin I / cos² I · 0.1° = 50·2√3·0.0017453 m.
    let log = "measure,inclination_deg,slope_distance_m\nknown_line,60.4,99.9\nknown_line,60.4,99.9\n";
    let known = ["--horizontal-distance", "50", "--inclination", "60", "--sigma-inclination", "0.1"];
    let sigma = 100.0 * 3f64.sqrt() * 0.1f64.to_radians();
    assert_is(correction(&found(log, &known), "distance"), (0.1, sigma));
    // And measured horizontally, against the known slope: H = S cos I = 50, dH/dI = −S sin I.
    let log = log.replace("slope", "horizontal").replace("99.9", "49.8");
    let known = ["--distance", "100", "--inclination", "60", "--sigma-inclination", "0.1"];
    assert_is(correction(&found(&log, &known), "distance"), (0.2, sigma / 2.0));
}

fn at(lat_deg: f64, lon_deg: f64, ellipsoid_height_m: f64) -> Geodetic {
    Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m }
}

/// Azimuth, inclination and slope distance of a straight line.
fn sight(from: &Geodetic, to: &Geodetic) -> (f64, f64, f64) {
    let frame = LocalFrame::at(from, &Ellipsoid::WGS84);
    let [east, north, up] = frame.from_earth_centred(to.to_earth_centred(&Ellipsoid::WGS84));
    let horizontal = east.hypot(north);
    (full_circle_rad(east.atan2(north)).to_degrees(), up.atan2(horizontal).to_degrees(), horizontal.hypot(up))
}

#[test]
fn two_known_points_and_the_declination_of_the_date() {
    let from = at(58.6, -2.9, 61.2);
    // The instrument stands 1.5 m over the one, the target 2.0 m over the other.
    let to = at(58.6012, -2.8995, 63.0);
    let (azimuth, inclination, slope) = sight(&at(58.6, -2.9, 62.7), &at(58.6012, -2.8995, 65.0));
    let declination = north::declination(&from, "2026-05-04".parse().unwrap()).unwrap();
    let magnetic = azimuth - declination.declination_rad.to_degrees() - 1.25;
    let log = format!(
        "measure,date,magnetic_azimuth_deg,inclination_deg,slope_distance_m,instrument_height_m,target_height_m\n\
         known_line,2026-05-04,{magnetic:.8},{:.8},{:.6},1.5,2.0\n",
        inclination - 0.3,
        slope + 0.07
    );
    assert!((to.ellipsoid_height_m - 63.0).abs() < 1e-9);
    let points = ["--from", "58.6,-2.9,61.2", "--to", "58 36 4.32 N,-2.8995,63.0", "--refraction", "0", "--sigma-points", "0.02"];
    let found = found(&log, &points);
    let across = 0.02 * 2f64.sqrt();
    let horizontal = slope * inclination.to_radians().cos();
    // One shot: the usual 1°, the declination's and the points' errors together.
    let sigma_known = declination.sigma_rad.hypot(across / horizontal);
    assert_is(correction(&found, "azimuth"), (1.25, sigma_known.to_degrees().hypot(1.0)));
    assert_is(correction(&found, "inclination"), (0.3, (across / slope).to_degrees().hypot(0.25)));
    assert_is(correction(&found, "distance"), (-0.07, across.hypot(0.3)));
    let notes = found["corrections"][0]["by"][0]["notes"].to_string();
    assert!(notes.contains("the correction holds the error of that declination here too"), "{notes}");
}

#[test]
fn two_ways_with_an_index_error_over_a_curved_earth() {
    // The exact geometry of the ellipsoid judges the formula: a line of 2 km, the index 0.25° too high.
    let (a, b) = (at(46.1, 8.9, 500.0), at(46.115, 8.91, 560.0));
    let ((forth_azimuth, forth, slope), (back_azimuth, back, _)) = (sight(&a, &b), sight(&b, &a));
    let lifted = (0.13 * slope / (2.0 * EARTH_RADIUS_M)).to_degrees();
    let log = format!(
        "measure,role,base,true_azimuth_deg,inclination_deg,slope_distance_m\n\
         two_way,forth,A,{:.7},{:.7},{slope:.3}\n\
         two_way,back,B,{:.7},{:.7},{slope:.3}\n",
        forth_azimuth + 0.4,
        forth + lifted + 0.25,
        back_azimuth + 0.9,
        back + lifted + 0.25,
    );
    let found = found(&log, &[]);
    let (value, sigma) = correction(&found, "inclination");
    // Left are the radius of the place against the mean one, 0.5 % of (1−k) d/2R.
    let curvature = (0.87 * slope / (2.0 * EARTH_RADIUS_M)).to_degrees();
    assert!((value + 0.25).abs() < 0.005 * curvature, "{value}");
    // Without the term the error would be this one, and the test would see it.
    assert!(curvature > 0.006);
    // One shot each way of 0.25°: ½·√2·0.25°.
    assert!((sigma - 0.25 / 2f64.sqrt()).abs() < 1e-6, "{sigma}");
    // Azimuths 0.4° and 0.9° off: misfit 0.5° and the convergence Δλ sin φ = 0.01°·sin 46.1°, not known without points.
    let misfit = found["two_way_azimuths"]["misfit_deg"].as_f64().unwrap();
    let convergence = 0.01 * 46.1075f64.to_radians().sin();
    assert!((misfit - 0.5 - convergence).abs() < 1e-5, "{misfit}");
}

#[test]
fn two_ways_at_unequal_heights_are_brought_to_the_ground_line() {
    // A level line of 50 m, the instrument at 1.6 m, the target at 1.1 m: each sight falls by 0.5 m,
    // atan(0.5/50) = 0.572939°; horizontal distances; k = 1 leaves no curvature.
    let fall = 0.01f64.atan().to_degrees();
    let log = format!(
        "measure,role,inclination_deg,horizontal_distance_m,instrument_height_m,target_height_m\n\
         two_way,forth,{0:.7},50,1.6,1.1\ntwo_way,back,{0:.7},50,1.6,1.1\n",
        0.2 - fall
    );
    let (value, _) = correction(&found(&log, &["--refraction", "1"]), "inclination");
    // The index error acts on the inclination before the heights do: second order, 0.2°·(0.01)² of a degree.
    assert!((value + 0.2).abs() < 1e-4, "{value}");
}

#[test]
fn turned_over_at_one_base_there_is_no_curvature() {
    // I = 3°, 2 km away; index 0.25° too high: 3.25° and −2.75°. Half their sum is the index error itself.
    let log = "measure,role,base,inclination_deg,slope_distance_m\n\
               two_way,forth,A,3.25,2000\ntwo_way,back,A,-2.75,2000\n";
    assert_is(correction(&found(log, &[]), "inclination"), (-0.25, 0.25 / 2f64.sqrt()));
}

#[test]
fn two_pegs() {
    // Marks A and B, the sighted spot of B 0.8 m lower than that of A. From the middle: horizontal distances
    // 30 m, A +0.5, B −0.3. From beside A: 3 m and 57 m, A +0.2, B −0.6. Index 0.4° too high everywhere; k = 1.
    let reading = |rise: f64, distance: f64| (rise / distance).atan().to_degrees() + 0.4;
    let log = format!(
        "measure,role,inclination_deg,horizontal_distance_m\n\
         two_peg,mid_a,{:.8},30\ntwo_peg,mid_b,{:.8},30\ntwo_peg,near_a,{:.8},3\ntwo_peg,near_b,{:.8},57\n",
        reading(0.5, 30.0),
        reading(-0.3, 30.0),
        reading(0.2, 3.0),
        reading(-0.6, 57.0)
    );
    let (value, sigma) = correction(&found(&log, &["--refraction", "1"]), "inclination");
    assert!((value + 0.4).abs() < 1e-6, "{value}");
    // E = ΣD/cos² I with signs, σ² = Σ (D/cos² I · 0.25°)² + (tan I · 0.3 m)² over E².
    let sights = [(57.0, -0.6, 1.0), (3.0, 0.2, -1.0), (30.0, -0.3, -1.0), (30.0, 0.5, 1.0)];
    let (mut leverage, mut variance) = (0.0, 0.0);
    for (d, rise, sign) in sights {
        let tan: f64 = rise / d;
        let arm = d * (1.0 + tan * tan);
        leverage += sign * arm;
        variance += (arm * 0.25f64.to_radians()).powi(2) + (tan * 0.3).powi(2);
    }
    assert!((sigma - (variance.sqrt() / leverage).to_degrees()).abs() < 1e-6, "{sigma}");
}

#[test]
fn two_pegs_with_slopes_targets_and_curvature() {
    // Slope distances on a curved earth: a mark at horizontal distance D and height h over the instrument is
    // seen at atan((h − (1−k) D²/2R)/D). Targets of 1.2 m on A and 2.0 m on B; B lies 0.8 m lower than A, so
    // that both sighted spots are level.
    let reading = |spot: f64, d: f64| {
        let seen = spot - 0.87 * d * d / (2.0 * EARTH_RADIUS_M);
        ((seen / d).atan().to_degrees() + 0.4, seen.hypot(d))
    };
    let row = |role: &str, target: f64, (inclination, slope): (f64, f64)| {
        format!("two_peg,{role},S{},{inclination:.8},{slope:.6},{target}\n", &role[..1])
    };
    let log = "measure,role,base,inclination_deg,slope_distance_m,target_height_m\n".to_owned()
        + &row("mid_a", 1.2, reading(0.5, 200.0))
        + &row("mid_b", 2.0, reading(0.5, 210.0))
        + &row("near_a", 1.2, reading(-0.2, 5.0))
        + &row("near_b", 2.0, reading(-0.2, 405.0));
    let (value, _) = correction(&found(&log, &[]), "inclination");
    // The program's first order of curvature on a slope: far below 0.0001°.
    assert!((value + 0.4).abs() < 1e-5, "{value}");
}

#[test]
fn an_outlier_is_named_and_left_out() {
    // Known 100: differences 0.00, 0.01, −0.01, 0.02, −5.00; s of the first four about 0.005 mean: 0.0129.
    let rows: String = ["100.00", "99.99", "100.01", "99.98", "105.00"].map(|metres| format!("known_line,{metres}\n")).concat();
    let log = format!("measure,slope_distance_m\n{rows}");
    let known = ["--distance", "100"];
    let ran = calibrate(&log, &known).exits(0);
    let line =
        "    cal.csv:6  reading 105.000 m  residual +5.005 m  beyond 3.5 robust standard errors; not used (--keep-all uses it)\n";
    assert!(ran.out.contains(line), "{}", ran.out);
    assert!(ran.out.contains(": 4 of 5 shots; of one reading 0.013 m (from the repeats)"), "{}", ran.out);
    let (value, sigma) = correction(&found(&log, &known), "distance");
    // Deviations −5, 5, −15, 15 mm: squares 500 mm², s² = 500/3 mm², σ = √(500/12) mm.
    assert_is((value, sigma), (0.005, (500f64 / 12.0).sqrt() / 1000.0));
    // Kept: mean (0.02 − 5)/5.
    let kept = calibrate(&log, &["--distance", "100", "--keep-all"]).exits(0);
    assert!(kept.out.contains("beyond 3.5 robust standard errors; used, as --keep-all says\n"), "{}", kept.out);
    assert_eq!(correction(&found(&log, &["--distance", "100", "--keep-all"]), "distance").0, -0.996);
}
