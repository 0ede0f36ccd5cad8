use super::*;
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::measure::trial::{EXACT, Errors, Field, HANDHELD, assert_sigmas, scatter};

/// What the floor of 0.1 mm and the iteration leave of exact geometry, in degrees and metres.
const EXACT_WITHIN: f64 = 1e-7;

fn get(composed: &Composed, name: &str) -> Estimate {
    composed.values.iter().find(|value| value.name == name).unwrap_or_else(|| panic!("{name} of {:?}", composed.values)).estimate
}

fn compose_field(field: &Field) -> Composed {
    compose(&field.group("plane")).unwrap()
}

/// A face of strike and dip about a centre: shots at distances along the strike and up the dip.
fn face(mut field: Field, base_of: impl Fn(usize) -> usize, strike_deg: f64, dip_deg: f64, at: &[[f64; 2]]) -> Field {
    let ((ss, cs), (sd, cd)) = (strike_deg.to_radians().sin_cos(), dip_deg.to_radians().sin_cos());
    for (i, [along, up]) in at.iter().enumerate() {
        // Along the strike (sin, cos); up the dip is away from the dip direction, strike + 90° = (cos, −sin).
        let point = [30.0 + along * ss - up * cd * cs, 60.0 + along * cs + up * cd * ss, 12.0 + up * sd];
        field.shot(base_of(i), "face", point);
    }
    field
}

const NINE: [[f64; 2]; 9] =
    [[-15.0, -9.0], [-2.0, -10.0], [14.0, -8.0], [-13.0, 1.0], [1.0, 0.5], [12.0, -1.0], [-14.0, 9.0], [3.0, 11.0], [15.0, 8.0]];

#[test]
fn a_three_point_problem_by_hand() {
    // Three outcrops of one bed: A (0, 0) at 120 m, B (300, 0) at 90 m, C (0, 400) at 40 m. On AC the bed reaches 90 m at
    // (120 − 90)/(120 − 40) of the way: D (0, 150). BD is the strike: (−300, 150), azimuth 296.5651°. A stands 300·150/√(300² + 150²)
    // = 134.1641 m from it and 30 m above it: dip atan(30/134.1641) = 12.6044°; it dips away from A, to (150, 300), azimuth 26.5651°.
    let mut field = Field::new(HANDHELD, [1.0, 1.0]);
    for point in [[0.0, 0.0, 120.0], [300.0, 0.0, 90.0], [0.0, 400.0, 40.0]] {
        field.shot(0, "face", point);
    }
    let composed = compose_field(&field);
    assert!((get(&composed, "strike_deg").value - 296.565_051_177_078).abs() < EXACT_WITHIN);
    assert!((get(&composed, "dip_direction_deg").value - 26.565_051_177_078).abs() < EXACT_WITHIN);
    let dip = (30.0 / (45_000.0 / 112_500f64.sqrt())).atan().to_degrees();
    assert!((get(&composed, "dip_deg").value - dip).abs() < EXACT_WITHIN && (dip - 12.6044).abs() < 1e-4);
    assert!(composed.values.iter().all(|value| value.name != "rms_m"));
    // Residuals of three shots are nothing that was measured.
    assert!(composed.details.is_empty());
    assert!(composed.method.contains("nothing checks them"));
    // The centroid of three exact points is their mean.
    let centre = field.bases[0].frame.from_earth_centred(composed.parts[0].at);
    assert!(centre.iter().zip([100.0, 400.0 / 3.0, 250.0 / 3.0]).all(|(got, want)| (got - want).abs() < 1e-6), "{centre:?}");
}

#[test]
fn each_shot_has_its_residual() {
    // Corners of a level square of 20 m, two opposite ones raised by 0.4 m: the plane lies 0.2 m over the low ones, by symmetry.
    let mut field = Field::new(crate::measure::trial::Errors { orientation_deg: 0.0, ..HANDHELD }, [1.0, 1.0]);
    for point in [[0.0, 50.0, 10.4], [20.0, 50.0, 10.0], [20.0, 70.0, 10.4], [0.0, 70.0, 10.0]] {
        field.shot(0, "face", point);
    }
    // Equal errors of all shots: the residuals are then those of the unweighted plane.
    for row in &mut field.sightings {
        let vector = row.vector.as_mut().unwrap();
        vector.direction = crate::geodesy::covariance::Covariance::from_sigmas(0.1, 0.1);
        vector.distance = crate::geodesy::covariance::Covariance::default();
    }
    let details = compose_field(&field).details;
    for ((detail, want), label) in details.iter().zip([0.2, -0.2, 0.2, -0.2]).zip(["S1", "S2", "S3", "S4"]) {
        assert_eq!(detail.target, format!("plane to {label}"));
        assert_eq!(detail.values[0].name, "residual_m");
        let estimate = detail.values[0].estimate;
        // One degree of freedom over four shots: σ of each residual is σ √(1/4).
        assert!((estimate.value - want).abs() < 1e-4 && (estimate.sigma - 0.05).abs() < 1e-4, "{label}: {estimate:?}");
    }
    assert_eq!(details.len(), 4);
}

#[test]
fn equal_errors_give_the_orthogonal_regression() {
    // K. Pearson, "On lines and planes of closest fit", 1901: tan 2θ = 2 S_xz/(S_xx − S_zz) for the line of a section; each of
    // its points stands twice, on both sides, so that the plane is level across.
    let section: [[f64; 2]; 5] = [[0.0, 0.3], [4.0, 1.1], [9.0, 3.9], [13.0, 4.2], [20.0, 8.0]];
    let points: Vec<[f64; 3]> = section.iter().flat_map(|[x, z]| [[*x, -5.0, *z], [*x, 5.0, *z]]).collect();
    let place = Geodetic { lat_rad: 0.8, lon_rad: 0.1, ellipsoid_height_m: 0.0 };
    let size = 3 * points.len();
    let covariance = (0..size * size).map(|i| if i % (size + 1) == 0 { 0.04 } else { 0.0 }).collect::<Vec<f64>>();
    let correlated = CorrelatedPoints::from_covariance(LocalFrame::at(&place, &Ellipsoid::WGS84), points, &covariance).unwrap();
    let solution = PlaneSolution::fit(&correlated).unwrap();
    let mean = |k: usize| section.iter().map(|p| p[k]).sum::<f64>() / 5.0;
    let s = |j: usize, k: usize| section.iter().map(|p| (p[j] - mean(j)) * (p[k] - mean(k))).sum::<f64>();
    let theta = 0.5 * (2.0 * s(0, 1)).atan2(s(0, 0) - s(1, 1));
    let [e, n, u] = solution.normal;
    assert!((e + theta.sin()).abs() < 1e-9 && n.abs() < 1e-9 && (u - theta.cos()).abs() < 1e-9, "{solution:?}");
    // The least sum of squares along the normal, and the one of its variance factor.
    let least: f64 =
        2.0 * section.iter().map(|p| (-(p[0] - mean(0)) * theta.sin() + (p[1] - mean(1)) * theta.cos()).powi(2)).sum::<f64>();
    let got: f64 = solution.residuals_m.iter().map(|r| r * r).sum();
    assert!((got - least).abs() < 1e-9 && (solution.weighted_square - least / 0.040_000_01).abs() < 1e-6);
}

#[test]
fn standard_errors_of_one_base_and_of_two() {
    let one = face(Field::new(HANDHELD, [1.0, 2.0]), |_| 0, 200.0, 65.0, &NINE);
    let two = Field::new(HANDHELD, [0.2, 0.3]).with_base([60.0, 20.0, 3.0], [0.15, 0.2]);
    let two = face(two, |i| i % 2, 200.0, 65.0, &NINE);
    let three = face(Field::new(HANDHELD, [0.5, 0.5]), |_| 0, 75.0, 30.0, &[[-20.0, -15.0], [22.0, -10.0], [3.0, 18.0]]);
    for (field, seed, strike, dip) in [(&one, 31, 200.0, 65.0), (&two, 32, 200.0, 65.0), (&three, 33, 75.0, 30.0)] {
        let names = ["strike_deg", "dip_deg", "dip_direction_deg"];
        let composed = compose_field(field);
        let told = names.map(|name| get(&composed, name));
        // The frame at the first shot leans by some 60 m/R = 0.0005° from the base's.
        assert!((told[0].value - strike).abs() < 0.002 && (told[1].value - dip).abs() < 0.002, "{told:?}");
        let part = &composed.parts[0];
        let centre = |composed: &Composed| field.bases[0].frame.from_earth_centred(composed.parts[0].at);
        let [e, n, u] = centre(&composed);
        let about = [told[0].value, told[1].value, told[2].value, e, n, u, e + n, n + u];
        let shown = scatter(about, seed, |normal| {
            let drawn = field.disturbed(normal);
            let group = drawn.group("plane");
            let rows: Vec<&RoleShot> = group.sightings.iter().collect();
            let Plane { correlated, solution, .. } = fit(&group, &rows).unwrap();
            // Strike and dip anew from the normal, and the centre on the plane.
            let [x, y, z] = solution.normal;
            let (direction, dip) = (x.atan2(y).to_degrees().rem_euclid(360.0), z.acos().to_degrees());
            let strike = (direction - 90.0).rem_euclid(360.0);
            let centre = correlated.frame().to_earth_centred(moved(solution.centre, solution.offset_m, solution.normal));
            let [e, n, u] = field.bases[0].frame.from_earth_centred(centre);
            [strike, dip, direction, e, n, u, e + n, n + u]
        });
        let c = part.covariance;
        let points = [c.ee, c.nn, c.uu, c.ee + c.nn + 2.0 * c.en, c.nn + c.uu + 2.0 * c.nu].map(f64::sqrt);
        let told = [told[0].sigma, told[1].sigma, told[2].sigma, points[0], points[1], points[2], points[3], points[4]];
        assert_sigmas(told, shown);
    }
}

#[test]
fn residuals_have_their_standard_errors() {
    let field = face(Field::new(HANDHELD, [1.0, 1.0]), |_| 0, 120.0, 50.0, &NINE);
    let residuals = |field: &Field| -> [Estimate; 9] {
        let group = field.group("plane");
        let rows: Vec<&RoleShot> = group.sightings.iter().collect();
        let plane = fit(&group, &rows).unwrap();
        std::array::from_fn(|i| plane.residuals[i].distance)
    };
    let told = residuals(&field);
    assert!(told.iter().all(|r| r.value.abs() < EXACT_WITHIN));
    let shown = scatter([0.0; 9], 41, |normal| residuals(&field.disturbed(normal)).map(|r| r.value));
    assert_sigmas(told.map(|r| r.sigma), shown);
}

#[test]
fn a_turned_base_turns_the_strike_alone() {
    let field = face(Field::new(Errors { orientation_deg: 1.5, ..EXACT }, [4.0, 4.0]), |_| 0, 200.0, 65.0, &NINE);
    let composed = compose_field(&field);
    // The interval of a direction takes 1.96 standard errors of 1.5° as a step straight across: atan(0.0513) is 0.09 % less. What else is
    // left is the floor of 0.1 mm.
    let want = (1.96 * 1.5f64.to_radians()).atan().to_degrees() / 1.96;
    assert!((get(&composed, "strike_deg").sigma - want).abs() < 1e-4, "{composed:?}");
    assert!(get(&composed, "dip_deg").sigma < 0.001);
}

#[test]
fn a_poor_shot_weighs_little() {
    let build = |sigma: f64| {
        let mut field = face(Field::new(Errors { distance_m: 0.02, ..EXACT }, [0.0, 0.0]), |_| 0, 180.0, 70.0, &NINE);
        // Two metres too far, and known to be poor.
        let row = field.sightings[0].clone();
        let poor = field.reading(
            0,
            "face",
            row.true_azimuth_rad.unwrap().to_degrees(),
            row.inclination_rad.unwrap().to_degrees(),
            row.slope_m.unwrap() + 2.0,
        );
        let vector = poor.vector.as_mut().unwrap();
        let scale = (sigma / 0.02f64).powi(2);
        let d = vector.distance;
        vector.distance = crate::geodesy::covariance::Covariance {
            ee: d.ee * scale,
            en: d.en * scale,
            eu: d.eu * scale,
            nn: d.nn * scale,
            nu: d.nu * scale,
            uu: d.uu * scale,
        };
        (get(&compose_field(&field), "dip_deg").value - 70.0).abs()
    };
    // One of ten with a weight of 1/100² moves the plane some 1/100² as far as one of full weight.
    assert!(build(2.0) < 1e-3 * build(0.02), "{} {}", build(2.0), build(0.02));
}

#[test]
fn level_and_upright_planes_are_told() {
    let level = face(Field::new(HANDHELD, [1.0, 1.0]), |_| 0, 40.0, 0.0, &NINE);
    let composed = compose_field(&level);
    assert_eq!(composed.values.iter().map(|value| value.name).collect::<Vec<_>>(), ["dip_deg", "rms_m"]);
    assert!(composed.warnings[0].starts_with("the plane is level within its error (dip 0.00°"), "{:?}", composed.warnings);
    let upright = face(Field::new(HANDHELD, [1.0, 1.0]), |_| 0, 40.0, 89.9, &NINE);
    let composed = compose_field(&upright);
    assert!((get(&composed, "dip_deg").value - 89.9).abs() < 0.002);
    assert!(composed.warnings[0].starts_with("the plane is upright within its error (dip 89.90°"), "{:?}", composed.warnings);
}

#[test]
fn an_odd_shot_is_named_and_a_rough_face_told() {
    let mut field = face(Field::new(HANDHELD, [1.0, 1.0]), |_| 0, 300.0, 45.0, &NINE);
    assert!(compose_field(&field).warnings.is_empty());
    field.shot(0, "face", [30.0, 60.0, 16.0]);
    let composed = compose_field(&field);
    assert!(composed.warnings[0].starts_with("S10 lies "), "{:?}", composed.warnings);
    assert!(composed.warnings[1].starts_with("the shots scatter "), "{:?}", composed.warnings);
    assert!(get(&composed, "rms_m").value > 0.3);
}

#[test]
fn the_hull_is_the_outline_on_the_plane() {
    let at = [[-10.0, -6.0], [0.0, 0.0], [10.0, -6.0], [10.0, 6.0], [2.0, -3.0], [-10.0, 6.0], [0.0, 6.0]];
    let composed = compose_field(&face(Field::new(HANDHELD, [1.0, 1.0]), |_| 0, 160.0, 80.0, &at));
    let Shape::Area(ring) = &composed.shape else { panic!("{:?}", composed.shape) };
    assert_eq!(ring.len(), 4);
    // 20 m by 12 m: half the sum of the cross products.
    let sum = (1..ring.len() - 1).fold([0.0; 3], |sum, i| {
        moved(sum, 0.5, super::super::located::cross(from_to(ring[0], ring[i]), from_to(ring[0], ring[i + 1])))
    });
    assert!((super::super::located::length(sum) - 240.0).abs() < 1e-3);
}

#[test]
fn refusals_say_what_to_shoot() {
    let refusal = |field: &Field| compose(&field.group("plane")).unwrap_err();
    let mut field = Field::new(HANDHELD, [1.0, 1.0]);
    assert!(refusal(&field).starts_with("plane of North wall has 0 shots on the plane; shoot 3 more"));
    field.shot(0, "face", [30.0, 60.0, 0.0]);
    field.shot(0, "face", [40.0, 60.0, 0.0]);
    assert_eq!(
        refusal(&field),
        "plane of North wall has 2 shots on the plane; shoot 1 more, so that three or more stand well apart"
    );
    field.shot(0, "face", [50.0, 60.0, 0.0]);
    field.shot(0, "face", [70.0, 60.0, 0.01]);
    assert_eq!(
        refusal(&field),
        "plane of North wall: the shots lie in one line or nearly so (from S4 to S1, 40.0 m); shoot another spot of the face, at least 10.0 m \
         to the side of that line"
    );
    let spot = face(Field::new(HANDHELD, [1.0, 1.0]), |_| 0, 10.0, 50.0, &[[0.0, 0.0], [0.0, 0.0], [0.0, 0.0]]);
    assert!(refusal(&spot).contains("in one line or nearly so"));
    let near = face(Field::new(HANDHELD, [1.0, 1.0]), |_| 0, 10.0, 50.0, &[[0.0, 0.0], [0.2, 0.0], [0.1, 0.2]]);
    assert!(refusal(&near).contains("so near each other for their errors"), "{}", refusal(&near));
    let narrow = face(Field::new(HANDHELD, [1.0, 1.0]), |_| 0, 10.0, 80.0, &[[-20.0, 0.0], [20.0, 0.0], [0.0, 3.0], [5.0, -2.0]]);
    assert!(
        compose_field(&narrow).warnings[0].starts_with("the shots lie nearly in one line (from S2 to S1)"),
        "{:?}",
        compose_field(&narrow).warnings
    );
    let mut odd = face(Field::new(HANDHELD, [1.0, 1.0]), |_| 0, 10.0, 50.0, &NINE);
    odd.sightings[4].vector = None;
    odd.sightings[4].slope_m = None;
    assert_eq!(
        refusal(&odd),
        "plane of North wall: S5 (role face) has no distance; shoot it again with azimuth, inclination and distance"
    );
}

/// A square of two half sides on a face of strike 40°, each corner `times` over; every shot errs by `sigma` in each axis, and is raised along the normal.
fn square(half: f64, sigma: f64, dip_deg: f64, times: usize, raise: f64) -> Field {
    let ((ss, cs), (sd, cd)) = (40f64.to_radians().sin_cos(), dip_deg.to_radians().sin_cos());
    let mut field = Field::new(EXACT, [0.0, 0.0]);
    for (k, [along, up]) in [[-half, -half], [half, -half], [half, half], [-half, half]].into_iter().enumerate() {
        let off = if k % 2 == 0 { raise } else { -raise };
        // The normal is that along the strike times that up the dip.
        let point = [
            30.0 + along * ss - up * cd * cs + off * cs * sd,
            60.0 + along * cs + up * cd * ss - off * ss * sd,
            12.0 + up * sd + off * cd,
        ];
        (0..times).for_each(|_| {
            let vector = field.shot(0, "face", point).vector.as_mut().unwrap();
            vector.direction = Covariance::from_sigmas(sigma, sigma);
            vector.distance = Covariance::default();
        });
    }
    field
}

/// Four shots at the ends of a cross: across over along is that of their distances.
#[test]
fn how_narrow_is_too_narrow() {
    let cross = |across: f64| {
        let at = [[-20.0, 0.0], [0.0, across], [20.0, 0.0], [0.0, -across]];
        compose(&face(Field::new(EXACT, [0.0, 0.0]), |_| 0, 70.0, 55.0, &at).group("plane"))
    };
    let line = "the shots lie in one line or nearly so (from S3 to S1, 40.0 m); shoot another spot of the face, at least 10.0 m";
    assert!(cross(0.399).unwrap_err().contains(line), "{}", &*cross(0.399).unwrap_err());
    let narrow = "the shots lie nearly in one line (from S3 to S1)";
    assert!(cross(0.401).unwrap().warnings[0].starts_with(narrow));
    assert!(cross(2.99).unwrap().warnings[0].starts_with(narrow));
    assert!(cross(3.01).unwrap().warnings.is_empty());
}

#[test]
fn a_tilt_may_err_by_fifteen_degrees() {
    // Of a square of half side 1 m a tilt errs by σ/2.
    let fits = |degrees: f64| compose(&square(1.0, 2.0 * degrees.to_radians(), 30.0, 1, 0.0).group("plane"));
    assert!(fits(14.95).is_ok());
    assert!(fits(15.05).unwrap_err().contains("may tilt by 15° (one standard error)"), "{}", &*fits(15.05).unwrap_err());
}

#[test]
fn shots_off_the_plane_and_scatter_about_it() {
    // Raised by δ in turn, the corners lie δ off. Once each: one degree of freedom, the standard error of a residual is σ/2, Σ (δ/σ)² is 4 δ²/σ². Twice
    // each: five, σ √(5/8), 8 δ²/σ². Quantiles of χ² at 99 %: 6.635 and 15.086 (any table); the formula is within 0.8 % of them.
    let sigma = 0.1;
    let warnings = |times: usize, raise: f64| compose_field(&square(10.0, sigma, 50.0, times, raise)).warnings;
    let at = |times: f64, square: f64| sigma * (square / (4.0 * times)).sqrt();
    assert!(warnings(1, at(1.0, 0.99 * 6.635)).is_empty());
    let scatter = warnings(1, at(1.0, 1.01 * 6.635));
    assert!(scatter.len() == 1 && scatter[0].starts_with("the shots scatter 2.6 times as much"), "{scatter:?}");
    assert!(warnings(2, at(2.0, 0.99 * 15.086)).is_empty());
    let scatter = warnings(2, at(2.0, 1.01 * 15.086));
    assert!(scatter.len() == 1 && scatter[0].starts_with("the shots scatter 1.7 times as much"), "{scatter:?}");
    // Three standard errors of a residual, once each.
    assert_eq!(warnings(1, 0.1499).len(), 1);
    let off = warnings(1, 0.1501);
    assert!(off.len() == 2 && off[0].contains("lies 0.15 m off the plane, 3.0 times its standard error"), "{off:?}");
    // RMS is δ; its standard error δ/√(2(n − 3)).
    for (times, freedom) in [(1, 1.0), (2, 5.0)] {
        let rms = get(&compose_field(&square(10.0, sigma, 50.0, times, 0.03)), "rms_m");
        assert!((rms.value - 0.03).abs() < 1e-5 && (rms.sigma - 0.03 / (2.0f64 * freedom).sqrt()).abs() < 1e-5, "{rms:?}");
    }
}

#[test]
fn level_and_upright_within_the_error_of_a_tilt() {
    // σ of both tilts is 0.5/20 = 0.025; a dip within asin(1.96 · 0.025) has no direction, one within 1.96 · 0.025 of 90° may lean the other way.
    let half = INTERVAL95 * 0.025;
    let of = |dip_rad: f64| compose_field(&square(10.0, 0.5, dip_rad.to_degrees(), 1, 0.0));
    for (share, is_level) in [(0.995, true), (1.005, false)] {
        let composed = of((share * half).asin());
        assert_eq!(composed.values.iter().any(|value| value.name == "strike_deg"), !is_level, "{share}");
        assert!((get(&composed, "dip_deg").sigma.to_radians() - 0.025).abs() < 1e-5);
        let composed = of(std::f64::consts::FRAC_PI_2 - share * half);
        assert_eq!(composed.warnings.len(), usize::from(is_level), "{share}: {:?}", composed.warnings);
    }
    let composed = of((0.995 * half).asin());
    assert!(composed.warnings[0].contains("(dip 2.79°, 2.81° at 95 %)"), "{:?}", composed.warnings);
    let composed = of(std::f64::consts::FRAC_PI_2 - 0.995 * half);
    assert!(composed.warnings[0].contains("(dip 87.21°, 2.81° at 95 %)"), "{:?}", composed.warnings);
}

/// The interval of the strike by looking at each direction: within it what lies across it of the normal is within 1.96 of its own errors. The errors
/// of the normal are those of its differences as the shots move.
#[test]
fn directions_of_dip_by_the_errors_of_the_normal() {
    for (strike, dip, bases) in [(200.0, 12.0, 1), (320.0, 65.0, 2), (75.0, 30.0, 2)] {
        let field = Field::new(HANDHELD, [0.2, 0.3]).with_base([60.0, 20.0, 3.0], [0.6, 0.2]);
        let field = face(field, |i| i % bases, strike, dip, &[[-9.0, -8.0], [7.0, -2.0], [3.0, 9.0], [-4.0, 4.0], [6.0, 6.0]]);
        let group = field.group("plane");
        let rows: Vec<&RoleShot> = group.sightings.iter().collect();
        let Plane { correlated, solution, .. } = fit(&group, &rows).unwrap();
        let c = super::super::located::covariance_of(&correlated, |points| solution.when_moved(points).0);
        let ([e, n, _], steps) = (solution.normal, 100_000);
        let is_within = |turn: f64| {
            let (sin, cos) = (e.atan2(n) + turn).sin_cos();
            (e * cos - n * sin).abs() <= INTERVAL95 * (c.ee * cos * cos - 2.0 * c.en * cos * sin + c.nn * sin * sin).sqrt()
        };
        let turns = (0..steps).map(|i| f64::from(i) * std::f64::consts::FRAC_PI_2 / f64::from(steps));
        let half = turns.filter(|turn| is_within(*turn) || is_within(-turn)).fold(0.0, f64::max);
        let composed = compose(&group).unwrap();
        for name in ["strike_deg", "dip_direction_deg"] {
            let got = get(&composed, name).sigma.to_radians() * INTERVAL95;
            assert!((got - half).abs() < 3e-5, "{strike} {dip} {name}: {got} {half}");
        }
    }
}

#[test]
fn more_than_a_thousand_shots_are_refused() {
    let mut field = Field::new(EXACT, [0.0, 0.0]);
    let row = field.shot(0, "face", [30.0, 60.0, 0.0]).clone();
    field.sightings = vec![row; 1001];
    assert_eq!(
        compose(&field.group("plane")).unwrap_err(),
        "plane of North wall has 1001 shots; a plane takes 1000 at most, so leave some out"
    );
}
