use super::*;
use crate::geodesy::frame::{Ellipsoid, Geodetic};
use crate::measure::located::{dot, from_to, length, unit};
use crate::measure::trial::{EXACT, Field, HANDHELD, assert_sigmas, scatter};

/// Rounding of earth-centred coordinates and the end of the iteration, in metres.
const ROUNDING_M: f64 = 1e-6;

/// What the shared vertical of a field 100 m wide leaves, in metres.
const LEAN_M: f64 = 2e-3;

fn upright_wall(errors: crate::measure::trial::Errors, sigma: [f64; 2]) -> Field {
    // A wall 40 m north of the base, running east; a sight to 25 m east and 18 m up on it.
    let mut field = Field::new(errors, sigma);
    field.instrument_height_m = 1.5;
    field.shot(0, "plane_1", [-10.0, 40.0, 2.0]);
    field.shot(0, "plane_2", [30.0, 40.0, 1.0]);
    field.shot(0, "sight", [25.0, 40.0, 18.0]).slope_m = None;
    field.sightings[2].vector = None;
    field
}

/// A face of strike 110°, dip 70° by four shots of the given bases, and a sight from the last base to a fifth spot of it.
fn leaning_face(mut field: Field, bases: [usize; 5]) -> (Field, [f64; 3]) {
    let ((ss, cs), (sd, cd)) = (110f64.to_radians().sin_cos(), 70f64.to_radians().sin_cos());
    let spot = |along: f64, up: f64| [20.0 + along * ss - up * cd * cs, 60.0 + along * cs + up * cd * ss, 12.0 + up * sd];
    for (i, [along, up]) in [[-15.0, -8.0], [14.0, -9.0], [12.0, 10.0], [-13.0, 7.0]].into_iter().enumerate() {
        field.shot(bases[i], &format!("plane_{}", i + 1), spot(along, up));
    }
    let target = spot(4.0, 13.0);
    let row = field.shot(bases[4], "sight", target);
    (row.slope_m, row.vector) = (None, None);
    (field, target)
}

fn over_water(level: f64) -> (Field, [f64; 3]) {
    // A spot 1.2 km off at a known height, by its latitude and longitude: the sight down to it comes at some 22°.
    let mut field = Field::new(HANDHELD, [0.4, 0.6]);
    (field.instrument_height_m, field.refraction) = (1.5, 0.13);
    let place = Geodetic { lat_rad: 46.008f64.to_radians(), lon_rad: 8.011f64.to_radians(), ellipsoid_height_m: level };
    let target = field.bases[0].frame.from_earth_centred(place.to_earth_centred(&Ellipsoid::WGS84));
    let row = field.shot(0, "sight", target);
    (row.slope_m, row.vector) = (None, None);
    (field, target)
}

fn settings(height: f64, sigma_m: f64) -> PlaneSettings<'static> {
    PlaneSettings {
        level: Some(LevelSurface { words: "the level tarn", ellipsoid_height_m: height, sigma_m }),
        ..PlaneSettings::default()
    }
}

fn point(field: &Field, composed: &Composed) -> [f64; 3] {
    field.bases[0].frame.from_earth_centred(composed.parts[0].at)
}

fn assert_point(field: &Field, composed: &Composed, want: [f64; 3], within_m: f64) {
    let got = point(field, composed);
    assert!(length(from_to(want, got)) < within_m, "{got:?} {want:?}");
}

/// Standard errors of distance, incidence, the point's axes and two diagonals, against a trial. The height of a level is drawn too.
fn assert_trial(field: &Field, height: Option<[f64; 2]>, seed: u64) {
    let of = |field: &Field, level: Option<[f64; 2]>| {
        let settings = level.map_or(PlaneSettings::default(), |[height, sigma]| settings(height, sigma));
        compose(&field.group("plane_sight"), &settings).unwrap()
    };
    let values = |composed: &Composed| {
        let [e, n, u] = point(field, composed);
        [composed.values[0].estimate.value, composed.values[1].estimate.value, e, n, u, e + n, n + u, e + u]
    };
    let told = of(field, height);
    assert_eq!(told.parts[0].base, 0);
    let c = told.parts[0].covariance;
    let points = [c.ee, c.nn, c.uu, c.ee + c.nn + 2.0 * c.en, c.nn + c.uu + 2.0 * c.nu, c.ee + c.uu + 2.0 * c.eu].map(f64::sqrt);
    let sigmas = [told.values[0].estimate.sigma, told.values[1].estimate.sigma];
    let shown = scatter(values(&told), seed, |normal| {
        let level = height.map(|[height, sigma]| [height + sigma * normal.draw(), sigma]);
        values(&of(&field.disturbed(normal), level))
    });
    assert_sigmas([sigmas[0], sigmas[1], points[0], points[1], points[2], points[3], points[4], points[5]], shown);
}

#[test]
fn an_upright_wall() {
    let field = upright_wall(HANDHELD, [0.6, 0.9]);
    let composed = compose(&field.group("plane_sight"), &PlaneSettings::default()).unwrap();
    assert_point(&field, &composed, [25.0, 40.0, 18.0], LEAN_M);
    // From (0, 0, 1.5) to (25, 40, 18): √(25² + 40² + 16.5²), and 40 of it square on the wall.
    let distance = 2497.25f64.sqrt();
    assert!((composed.values[0].estimate.value - distance).abs() < LEAN_M, "{composed:?}");
    assert!((composed.values[1].estimate.value - (40.0 / distance).acos().to_degrees()).abs() < 0.005);
    assert!(composed.warnings.is_empty(), "{:?}", composed.warnings);
    assert!(composed.method.contains("the upright plane through S1 and S2"), "{}", composed.method);
    assert_eq!(composed.shape, Shape::Point(composed.parts[0].at));
    assert_trial(&field, None, 51);
}

#[test]
fn what_one_base_shares_cancels_in_the_distance() {
    // Base and orientation alone are wrong: wall and sight move as one.
    let errors = crate::measure::trial::Errors { orientation_deg: 1.0, ..EXACT };
    let composed = compose(&upright_wall(errors, [3.0, 3.0]).group("plane_sight"), &PlaneSettings::default()).unwrap();
    assert!(composed.values[0].estimate.sigma < 1e-3 && composed.values[1].estimate.sigma < 1e-3, "{composed:?}");
    let c = composed.parts[0].covariance;
    let turn = 1f64.to_radians();
    assert!((c.horizontal_variance() - 18.0 - turn * turn * (625.0 + 1600.0)).abs() < 0.01, "{c:?}");
}

#[test]
fn a_face_fitted_from_one_base_and_from_two() {
    let (one, target) = leaning_face(Field::new(HANDHELD, [0.6, 0.9]), [0; 5]);
    let composed = compose(&one.group("plane_sight"), &PlaneSettings::default()).unwrap();
    assert_point(&one, &composed, target, 1e-5);
    assert!((composed.values[0].estimate.value - length(target)).abs() < 1e-5);
    // Incidence by the normal itself: dip direction 200°, dip 70°.
    let (s, c) = 70f64.to_radians().sin_cos();
    let normal = [s * 200f64.to_radians().sin(), s * 200f64.to_radians().cos(), c];
    let want = dot(normal, unit(target)).abs().acos().to_degrees();
    assert!((composed.values[1].estimate.value - want).abs() < 1e-5, "{composed:?} {want}");
    assert_trial(&one, None, 52);
    let two = Field::new(HANDHELD, [0.2, 0.3]).with_base([60.0, -10.0, 3.0], [0.15, 0.2]);
    let (two, target) = leaning_face(two, [0, 1, 0, 1, 0]);
    assert_point(&two, &compose(&two.group("plane_sight"), &PlaneSettings::default()).unwrap(), target, 1e-5);
    assert_trial(&two, None, 53);
}

#[test]
fn a_level_surface_on_the_curved_earth() {
    let (field, target) = over_water(20.0);
    let composed = compose(&field.group("plane_sight"), &settings(20.0, 0.3)).unwrap();
    // What the first order of the bend leaves out, k d/2R of it, is far below a micrometre; a flat earth would be 0.2 m off.
    assert_point(&field, &composed, target, 1e-5);
    assert!((composed.values[0].estimate.value - length(from_to([0.0, 0.0, 1.5], target))).abs() < 1e-5);
    assert!(composed.warnings[0].starts_with("sight S1 meets the surface at 2"), "{:?}", composed.warnings);
    assert_trial(&field, Some([20.0, 0.3]), 54);
    // A ceiling over the base.
    let mut up = Field::new(EXACT, [0.1, 0.1]);
    let row = up.shot(0, "sight", [30.0, 20.0, 25.0]);
    (row.slope_m, row.vector) = (None, None);
    let height = Geodetic::from_earth_centred(up.bases[0].frame.to_earth_centred([30.0, 20.0, 25.0]), &Ellipsoid::WGS84)
        .ellipsoid_height_m;
    let composed = compose(&up.group("plane_sight"), &settings(height, 0.0)).unwrap();
    assert_point(&up, &composed, [30.0, 20.0, 25.0], ROUNDING_M);
}

#[test]
fn a_sight_square_on_has_the_error_of_its_tilt() {
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    field.reading(0, "sight", 0.0, -90.0, 1.0);
    (field.sightings[0].slope_m, field.sightings[0].vector) = (None, None);
    let composed = compose(&field.group("plane_sight"), &settings(460.0, 0.1)).unwrap();
    assert!((composed.values[0].estimate.value - 40.0).abs() < ROUNDING_M);
    assert!((composed.values[0].estimate.sigma - 0.1).abs() < 1e-5);
    assert!(composed.values[1].estimate.value < 1e-4);
    assert!((composed.values[1].estimate.sigma - 0.2).abs() < 1e-3, "{composed:?}");
}

#[test]
fn the_target_height_is_taken_off_the_point() {
    // A rod's mark 2 m over a floor 30 m below: the sight is to the mark, the point is its foot.
    let mut field = Field::new(EXACT, [0.0, 0.0]);
    field.instrument_height_m = 1.5;
    let row = field.shot(0, "sight", [40.0, 0.0, -28.0]);
    (row.slope_m, row.vector, row.target_height_m) = (None, None, 2.0);
    let height = Geodetic::from_earth_centred(field.bases[0].frame.to_earth_centred([40.0, 0.0, -30.0]), &Ellipsoid::WGS84);
    let composed = compose(&field.group("plane_sight"), &settings(height.ellipsoid_height_m, 0.0)).unwrap();
    assert_point(&field, &composed, [40.0, 0.0, -30.0], ROUNDING_M);
    assert!((composed.values[0].estimate.value - 40f64.hypot(29.5)).abs() < ROUNDING_M);
}

#[test]
fn refusals_name_the_angle_and_the_row() {
    let refusal = |field: &Field, settings: &PlaneSettings| compose(&field.group("plane_sight"), settings).unwrap_err();
    let plain = PlaneSettings::default();
    let aimed = |azimuth_deg: f64| {
        let mut field = upright_wall(HANDHELD, [0.5, 0.5]);
        field.sightings[2].true_azimuth_rad = Some(azimuth_deg.to_radians());
        field.sightings[2].inclination_rad = Some(0.0);
        field
    };
    assert_eq!(
        refusal(&aimed(82.0), &plain),
        "plane_sight of North wall: sight S3 meets the surface at 8.0°, under 10°: its error along it is too large; sight it from another \
         base, more square on"
    );
    let loose = PlaneSettings { least_angle_rad: 5f64.to_radians(), ..plain };
    let composed = compose(&aimed(82.0).group("plane_sight"), &loose).unwrap();
    assert!(composed.warnings[0].contains("meets the surface at 8.0° only"), "{:?}", composed.warnings);
    assert!(composed.warnings[1].contains("the plane is taken to go on that far"), "{:?}", composed.warnings);
    let behind = "plane_sight of North wall: sight S3 points away from the surface, which lies behind the instrument; check azimuth, \
                  inclination and the plane's shots";
    assert_eq!(refusal(&aimed(180.0), &plain), behind);
    let (mut water, _) = over_water(20.0);
    assert!(refusal(&water, &settings(900.0, 0.1)).contains("points away from the surface"));
    water.sightings[0].inclination_rad = Some(2f64.to_radians());
    assert!(refusal(&water, &settings(20.0, 0.1)).contains("points away from the surface"));
    // From 481.5 m over the water the horizon dips by some 0.7°.
    water.sightings[0].inclination_rad = Some(-0.3f64.to_radians());
    assert!(
        refusal(&water, &settings(20.0, 0.1)).contains("passes over the surface"),
        "{}",
        refusal(&water, &settings(20.0, 0.1))
    );
    water.sightings[0].instrument_height_m = None;
    assert_eq!(
        refusal(&water, &settings(20.0, 0.1)),
        "plane_sight of North wall: sight S1 has no instrument height; read it and write it in the row"
    );
    assert!(refusal(&water, &plain).contains("has a sight but no surface; shoot plane_1 and plane_2"));
    let mut wall = upright_wall(HANDHELD, [0.5, 0.5]);
    wall.sightings[1].role = "plane_1".into();
    assert_eq!(refusal(&wall, &plain), "plane_sight of North wall has two rows with role plane_1; the second is S2");
    wall.sightings[1].role = "wall".into();
    assert_eq!(refusal(&wall, &plain), "plane_sight of North wall: S2 has role \"wall\"; it takes sight, plane_1, plane_2, …");
    wall.sightings.remove(1);
    assert!(refusal(&wall, &plain).contains("has one shot on the plane, S1"));
    wall.shot(0, "plane_2", [-10.0, 40.0, 30.0]);
    assert!(refusal(&wall, &plain).contains("S1 and S3 are 0.00 m apart horizontally"), "{}", refusal(&wall, &plain));
    let mut odd = upright_wall(HANDHELD, [0.5, 0.5]);
    odd.sightings[2].inclination_rad = Some(f64::NAN);
    assert!(refusal(&odd, &plain).ends_with("has a reading that is not a finite number"));
    odd.sightings.pop();
    assert_eq!(refusal(&odd, &plain), "plane_sight of North wall lacks the row with role sight");
    // A distance that the sight has is told, not used.
    let mut both = upright_wall(HANDHELD, [0.5, 0.5]);
    both.sightings[2].slope_m = Some(70.0);
    let composed = compose(&both.group("plane_sight"), &plain).unwrap();
    assert_eq!(composed.warnings, ["sight S3 has a distance, 70.00 m, which is not used; the surface is met at 49.97 m"]);
}

/// A wall that runs east, some way north of the base, by two shots at its sides, and a level sight in a direction.
fn wall_at(north: f64, half: f64, azimuth_deg: f64) -> Field {
    let mut field = Field::new(EXACT, [0.0, 0.0]);
    field.shot(0, "plane_1", [-half, north, 0.0]);
    field.shot(0, "plane_2", [half, north, 0.0]);
    let row = field.reading(0, "sight", azimuth_deg, 0.0, 1.0);
    (row.slope_m, row.vector) = (None, None);
    field
}

#[test]
fn just_within_and_just_outside_of_each_limit() {
    let of = |field: &Field| compose(&field.group("plane_sight"), &PlaneSettings::default());
    // 0.1 m from the instrument, and 20 km.
    assert!(of(&wall_at(0.0995, 0.08, 0.0)).unwrap_err().contains("the instrument stands in the surface itself"));
    assert!(of(&wall_at(0.1005, 0.08, 0.0)).is_ok());
    assert!(of(&wall_at(19_990.0, 300.0, 0.0)).is_ok());
    let far = of(&wall_at(20_010.0, 300.0, 0.0)).unwrap_err();
    assert!(far.contains("meets the surface only at 20 km"), "{}", &*far);
    // 10° between sight and wall, from either side; 30° for the warning. A sight at the azimuth A meets a wall that runs east at 90° − A.
    for side in [1.0, -1.0] {
        assert!(of(&wall_at(5.0, 200.0, side * 80.01)).unwrap_err().contains("meets the surface at 10.0°, under 10°"));
        assert!(of(&wall_at(5.0, 200.0, side * 79.99)).is_ok());
        assert!(of(&wall_at(5.0, 200.0, side * 59.99)).unwrap().warnings.is_empty());
        let warnings = of(&wall_at(5.0, 200.0, side * 60.01)).unwrap().warnings;
        assert_eq!(
            warnings,
            ["sight S3 meets the surface at 30.0° only: errors along it are 2.0 times those of a sight square on"]
        );
    }
    // Shots 0.1 m apart.
    assert!(of(&wall_at(5.0, 0.0495, 0.0)).unwrap_err().contains("are 0.10 m apart horizontally"));
    assert!(of(&wall_at(5.0, 0.0505, 0.0)).is_ok());
    // Twice as far from the middle as the shots: horizontally of an upright plane, whatever the height.
    let reach = |up: f64, share: f64| {
        let mut field = wall_at(40.0, 10.0, 0.0);
        field.sightings.pop();
        let row = field.shot(0, "sight", [20.0 * share, 40.0, up]);
        (row.slope_m, row.vector) = (None, None);
        of(&field).unwrap().warnings
    };
    assert!(reach(0.0, 0.99).is_empty() && reach(25.0, 0.99).is_empty());
    assert_eq!(
        reach(0.0, 1.01),
        [
            "sight S3 meets the plane 20.2 m from the middle of its shots, which reach 10.0 m: the plane is taken to go on that far"
        ]
    );
}

/// The same of a fitted plane, where height counts too: four shots 10 m from their middle, which stands upright before the base.
#[test]
fn a_fitted_plane_reaches_as_far_upwards() {
    let warnings = |at: [f64; 2]| {
        let mut field = Field::new(EXACT, [0.0, 0.0]);
        for (k, [x, z]) in [[-6.0, -8.0], [6.0, -8.0], [6.0, 8.0], [-6.0, 8.0]].into_iter().enumerate() {
            field.shot(0, &format!("plane_{}", k + 1), [x, 40.0, z]);
        }
        let row = field.shot(0, "sight", [at[0], 40.0, at[1]]);
        (row.slope_m, row.vector) = (None, None);
        compose(&field.group("plane_sight"), &PlaneSettings::default()).unwrap().warnings.len()
    };
    for (share, told) in [(0.99, 0), (1.01, 1)] {
        assert_eq!(warnings([12.0 * share, 16.0 * share]), told);
        assert_eq!(warnings([0.0, 20.0 * share]), told);
        assert_eq!(warnings([-20.0 * share, 0.0]), told);
    }
}

/// Two bases that err by 1 m in each axis: what lies between their shots errs by √2 in east and in north, 2 m in all.
#[test]
fn an_upright_plane_wants_shots_farther_apart_than_their_error() {
    let of = |apart: f64| {
        let mut field = Field::new(EXACT, [1.0, 0.5]).with_base([3.0, 1.0, 0.0], [1.0, 0.5]);
        field.shot(0, "plane_1", [-2.0, 20.0, 0.0]);
        field.shot(1, "plane_2", [-2.0 + apart, 20.0, 0.0]);
        let row = field.reading(0, "sight", 0.0, 0.0, 1.0);
        (row.slope_m, row.vector) = (None, None);
        compose(&field.group("plane_sight"), &PlaneSettings::default())
    };
    assert!(of(3.93).is_ok());
    assert!(of(3.91).unwrap_err().contains("are 3.91 m apart horizontally, within the error of that (standard error 2.00 m)"));
    // Of one base, however poor its place, nothing of it is left between two shots.
    let mut field = Field::new(EXACT, [9.0, 9.0]);
    field.shot(0, "plane_1", [-0.2, 20.0, 0.0]);
    field.shot(0, "plane_2", [0.2, 20.0, 0.0]);
    field.reading(0, "sight", 0.0, 0.0, 1.0).slope_m = None;
    assert!(compose(&field.group("plane_sight"), &PlaneSettings::default()).is_ok());
}

/// A correction's error is in the direction of the sight; that of distances is not, since none was measured.
#[test]
fn a_sight_errs_by_the_corrections_of_its_directions() {
    let sigmas = |inclination_rad: f64, distance_m: f64| {
        let mut field = wall_at(40.0, 10.0, 0.0);
        field.sightings[2].shares =
            crate::geodesy::register::Shares { calibration: 1, inclination_rad, distance_m, ..Default::default() };
        let composed = compose(&field.group("plane_sight"), &PlaneSettings::default()).unwrap();
        let c = composed.parts[0].covariance;
        [c.ee, c.nn, c.uu].map(f64::sqrt)
    };
    let plain = sigmas(0.0, 0.0);
    assert!(plain.iter().all(|sigma| *sigma < 1e-6), "{plain:?}");
    assert_eq!(sigmas(0.0, 5.0), plain);
    let [e, n, u] = sigmas(0.01, 0.0);
    assert!(e < 1e-6 && n < 1e-4 && (u - 0.4).abs() < 1e-5, "{e} {n} {u}");
}

/// Sights that do not agree are spots of their own, each with the values that it has alone.
#[test]
fn several_sights_are_spots_of_their_own() {
    let spots = [[25.0, 40.0, 18.0], [-5.0, 40.0, 3.0], [12.0, 40.0, 9.0]];
    let field = |spots: &[[f64; 3]]| {
        let mut field = upright_wall(HANDHELD, [0.5, 0.5]);
        field.sightings.truncate(2);
        for spot in spots {
            let row = field.shot(0, "sight", *spot);
            (row.slope_m, row.vector) = (None, None);
        }
        field
    };
    let of = |field: &Field| compose(&field.group("plane_sight"), &PlaneSettings::default()).unwrap();
    let (all, together) = (field(&spots), of(&field(&spots)));
    assert_eq!(
        together.method,
        "3 sights (S3, S4, S5) taken to meet the upright plane through S1 and S2, each at a spot of its own; incidence is measured from the \
         surface's normal"
    );
    assert!(together.values.is_empty() && together.shape == Shape::None && together.warnings.is_empty());
    for (i, spot) in spots.into_iter().enumerate() {
        let alone = of(&field(&[spot]));
        assert_eq!(
            alone.method,
            "sight S3 from base B1 taken to meet the upright plane through S1 and S2; incidence is measured from the surface's normal"
        );
        assert_eq!(alone.shape, Shape::Point(alone.parts[0].at));
        let detail = &together.details[i];
        assert_eq!((detail.target.as_str(), detail.place), (format!("sight S{}", i + 3).as_str(), all.sightings[i + 2].place));
        assert_eq!(detail.warnings, None);
        for (name, (got, want)) in ["distance_m", "incidence_deg"].into_iter().zip(detail.values.iter().zip(&alone.values)) {
            assert_eq!((got.name, want.name), (name, name));
            let (got, want) = (got.estimate, want.estimate);
            assert!(
                (got.value - want.value).abs() < ROUNDING_M && (got.sigma / want.sigma - 1.0).abs() < 1e-5,
                "{got:?} {want:?}"
            );
        }
        let at = field(&[]).bases[0].frame.from_earth_centred(together.parts[i].at);
        assert!(length(from_to(at, spot)) < LEAN_M && together.parts[i].role == "point", "{at:?} {spot:?}");
        let incidence = (spot[0].hypot(spot[2] - 1.5) / 40.0).atan().to_degrees();
        assert!((detail.values[1].estimate.value - incidence).abs() < 0.01, "{detail:?} {incidence}");
    }
    assert_eq!(together.details.len(), 3);
}

#[test]
fn corners_want_a_plane_and_no_other_sights() {
    let refusal = |field: &Field, settings: &PlaneSettings<'_>| compose(&field.group("plane_sight"), settings).unwrap_err();
    let plain = PlaneSettings::default();
    let walled = |roles: &[&str]| {
        let mut field = upright_wall(HANDHELD, [0.5, 0.5]);
        field.sightings.truncate(2);
        for (i, role) in roles.iter().enumerate() {
            let row = field.shot(0, role, [5.0 * i as f64, 40.0, 3.0 + (2 * i % 3) as f64]);
            (row.slope_m, row.vector) = (None, None);
        }
        field
    };
    assert_eq!(
        refusal(&walled(&["corner_1", "sight", "corner_2", "corner_3"]), &plain),
        "plane_sight of North wall has corners (S3) and a sight (S4); give the corners of a face a feature of their own, with the shots of its \
         plane"
    );
    for (roles, what) in [(&["corner"][..], "1 corner"), (&["corner", "corner_7"], "2 corners")] {
        assert_eq!(
            &*refusal(&walled(roles), &plain),
            format!("plane_sight of North wall has {what}; a face has three and more, sights with azimuth and inclination")
        );
    }
    let three = compose(&walled(&["corner", "corner", "corner"]).group("plane_sight"), &plain).unwrap();
    assert_eq!(three.values.iter().map(|value| value.name).collect::<Vec<_>>(), ["area_m2"]);
    assert!(refusal(&walled(&["corner_1", "corner_x", "corner_2", "corner_3"]), &plain).contains("S4 has role \"corner_x\""));
    // Calm water has no corners; four spots of it are no face.
    let (water, _) = over_water(20.0);
    let on_water = |role: &str| {
        let mut field = water.clone();
        let [sight] = &water.sightings[..] else { panic!("{:?}", water.sightings) };
        field.sightings = [[0.0, 0.0], [0.1, 0.0], [0.1, 0.02], [0.0, 0.02]]
            .map(|[turn, tilt]| RoleShot {
                role: role.into(),
                true_azimuth_rad: sight.true_azimuth_rad.map(|angle| angle + turn),
                inclination_rad: sight.inclination_rad.map(|angle| angle + tilt),
                ..sight.clone()
            })
            .to_vec();
        field
    };
    assert_eq!(
        refusal(&on_water("corner"), &settings(20.0, 0.1)),
        "plane_sight of North wall: S1 is a corner, and the corners of a face want shots of its plane; shoot plane_1 and plane_2 on it"
    );
    let spots = compose(&on_water("sight").group("plane_sight"), &settings(20.0, 0.1)).unwrap();
    assert!(spots.values.is_empty() && spots.shape == Shape::None && spots.details.len() == 4);
    assert!(spots.method.contains("taken to meet the level tarn, each at a spot of its own"), "{}", spots.method);
}
