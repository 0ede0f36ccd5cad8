//! Missing lines held to closed forms, draws and whole covariance matrices.

mod vertical_plane;

use super::*;
use crate::measure::located::covariance_of;
use crate::measure::trial::{EXACT, Field, HANDHELD, RUNS_TOLERANCE, assert_sigmas, scatter};

/// Rounding of differences of earth-centred coordinates, in metres, and of angles over 50 m.
const ROUNDING: f64 = 1e-6;

fn get(values: &[NamedValue], name: &str) -> Estimate {
    values.iter().find(|value| value.name == name).unwrap_or_else(|| panic!("{name} of {values:?}")).estimate
}

fn all(composed: &Composed) -> [Estimate; 6] {
    ["slope_distance_m", "horizontal_distance_m", "vertical_distance_m", "azimuth_deg", "grade_pct", "inclination_deg"]
        .map(|name| get(&composed.values, name))
}

#[test]
fn a_line_of_3_4_12_13() {
    // The first point stands plumb over the base, so that the local frame at it is the base's: east 30, north 40,
    // up 120 make 50 m horizontally and 130 m along the slope; azimuth atan(3/4), grade 120/50.
    let mut field = Field::new(HANDHELD, [0.5, 0.5]);
    field.shot(0, "from", [0.0, 0.0, 10.0]);
    field.shot(0, "to", [30.0, 40.0, 130.0]);
    let composed = compose(&field.group("missing_line")).unwrap();
    let want = [130.0, 50.0, 120.0, 36.869_897_645_844_02, 240.0, 67.380_135_051_959_57];
    for (got, want) in all(&composed).iter().zip(want) {
        assert!((got.value - want).abs() < ROUNDING, "{got:?} {want}");
    }
    assert!(composed.warnings.is_empty(), "{:?}", composed.warnings);
    assert_eq!(composed.parts.iter().map(|part| part.role).collect::<Vec<_>>(), ["from", "to"]);
    assert!(matches!(&composed.shape, Shape::Line(line) if line.len() == 2));
    // Back again: the azimuth turns round, and rise and grade change their sign (the frame at the upper point leans a little).
    field.sightings.swap(0, 1);
    field.sightings[0].role = "from".into();
    field.sightings[1].role = "to".into();
    let back = all(&compose(&field.group("missing_line")).unwrap());
    assert!((back[3].value - 216.869_897_6).abs() < 0.001 && (back[2].value + 120.0).abs() < 0.001, "{back:?}");
    assert!((back[0].value - 130.0).abs() < ROUNDING);
}

#[test]
fn errors_from_one_base_and_from_two() {
    let mut one = Field::new(HANDHELD, [2.0, 3.0]).with_base([120.0, -40.0, 3.0], [1.0, 1.5]);
    let mut two = one.clone();
    one.shot(0, "from", [60.0, 80.0, 10.0]);
    two.shot(0, "from", [60.0, 80.0, 10.0]);
    one.shot(0, "to", [-40.0, 110.0, 35.0]);
    two.shot(1, "to", [-40.0, 110.0, 35.0]);
    for (field, seed) in [(&one, 5), (&two, 6)] {
        let told = all(&compose(&field.group("missing_line")).unwrap());
        let shown = scatter(told.map(|e| e.value), seed, |normal| {
            all(&compose(&field.disturbed(normal).group("missing_line")).unwrap()).map(|e| e.value)
        });
        assert_sigmas(told.map(|e| e.sigma), shown);
    }
    let sigma = |field: &Field| all(&compose(&field.group("missing_line")).unwrap())[0].sigma;
    assert!(sigma(&one) < 1.0 && sigma(&two) > 2.0);
    assert!(compose(&one.group("missing_line")).unwrap().method.contains("one base (B1)"));
    assert!(compose(&two.group("missing_line")).unwrap().method.contains("2 bases"));
}

#[test]
fn the_azimuth_does_not_jump_at_north() {
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    field.shot(0, "from", [50.0, 20.0, 0.0]);
    field.shot(0, "to", [50.0, 70.0, 0.0]);
    let azimuth = all(&compose(&field.group("missing_line")).unwrap())[3];
    assert!(azimuth.value.min(360.0 - azimuth.value) < 0.001 && azimuth.sigma < 1.0, "{azimuth:?}");
}

fn loop_of_three() -> Field {
    // In the base's frame: 30 m east, then 40 m north and 9 m up.
    let mut field = Field::new(HANDHELD, [1.0, 1.0]);
    field.shot(0, "2", [30.0, 0.0, 20.0]);
    field.shot(0, "1", [0.0, 0.0, 20.0]);
    field.shot(0, "3", [30.0, 40.0, 29.0]);
    field
}

#[test]
fn a_chain_sums_its_legs() {
    let field = loop_of_three();
    let composed = compose(&field.group("missing_line")).unwrap();
    let near = |name: &str, want: f64| {
        let got = get(&composed.values, name);
        // The frame at the second point leans 30 m/R = 5e-6: 0.2 mm over 40 m.
        assert!((got.value - want).abs() < 3e-4, "{name} {got:?} {want}");
    };
    near("cumulated_slope_distance_m", 30.0 + 41.0);
    near("cumulated_horizontal_distance_m", 70.0);
    near("vertical_distance_m", 9.0);
    near("cumulated_vertical_distance_m", 9.0);
    near("horizontal_distance_m", 50.0);
    near("slope_distance_m", 2581f64.sqrt());
    near("grade_pct", 18.0);
    let legs = legs(&field.group("missing_line")).unwrap();
    assert_eq!(legs.iter().map(|leg| (leg.from.as_str(), leg.to.as_str())).collect::<Vec<_>>(), [("S2", "S1"), ("S1", "S3")]);
    assert!((get(&legs[0].values, "azimuth_deg").value - 90.0).abs() < 1e-3);
    assert!((get(&legs[1].values, "slope_distance_m").value - 41.0).abs() < ROUNDING);
    assert!((get(&legs[0].cumulated, "cumulated_slope_distance_m").value - 30.0).abs() < ROUNDING);
    assert_eq!(get(&legs[1].cumulated, "cumulated_slope_distance_m"), get(&composed.values, "cumulated_slope_distance_m"));
    assert_eq!(composed.parts.iter().map(|part| part.role).collect::<Vec<_>>(), ["from", "between", "to"]);
    // Each leg is a piece of the measurement with its own values and the sums up to its end.
    assert_eq!(composed.details.iter().map(|leg| leg.target.as_str()).collect::<Vec<_>>(), ["S2 to S1", "S1 to S3"]);
    for (detail, leg) in composed.details.iter().zip(&legs) {
        let values: Vec<NamedValue> = leg.values.iter().chain(&leg.cumulated).cloned().collect();
        assert_eq!((detail.place, &detail.values), (leg.place, &values));
    }
    let told = [get(&composed.values, "cumulated_slope_distance_m"), get(&composed.values, "cumulated_horizontal_distance_m")];
    let shown = scatter(told.map(|e| e.value), 9, |normal| {
        let drawn = compose(&field.disturbed(normal).group("missing_line")).unwrap();
        ["cumulated_slope_distance_m", "cumulated_horizontal_distance_m"].map(|name| get(&drawn.values, name).value)
    });
    assert_sigmas(told.map(|e| e.sigma), shown);
}

#[test]
fn one_vertical_plane_without_azimuths() {
    let mut field = Field::new(HANDHELD, [1.0, 1.0]);
    for (role, h, v) in [("from", 30f64, 5f64), ("to", 80.0, 25.0)] {
        let row = field.reading(0, role, 0.0, v.atan2(h).to_degrees(), h.hypot(v));
        row.true_azimuth_rad = None;
        row.vector = None;
    }
    let composed = compose(&field.group("missing_line")).unwrap();
    // The frame at the first point leans 30 m/R: 0.24 mm over 50 m.
    let names = ["horizontal_distance_m", "vertical_distance_m", "slope_distance_m", "grade_pct", "inclination_deg"];
    let told = names.map(|name| get(&composed.values, name));
    for (got, want) in told.iter().zip([50.0, 20.0, 2900f64.sqrt(), 40.0, 21.801_409_5]) {
        assert!((got.value - want).abs() < 6e-4, "{got:?} {want}");
    }
    assert!(composed.values.iter().all(|value| value.name != "azimuth_deg"));
    assert_eq!(composed.shape, Shape::None);
    assert!(composed.method.contains("taken to lie in one vertical plane with base B1, on the same side"), "{}", composed.method);
    assert!(composed.warnings.is_empty(), "{:?}", composed.warnings);
    let shown = scatter(told.map(|e| e.value), 21, |normal| {
        let drawn = compose(&field.disturbed(normal).group("missing_line")).unwrap();
        names.map(|name| get(&drawn.values, name).value)
    });
    assert_sigmas(told.map(|e| e.sigma), shown);
    // Azimuths that are there: 3√2·0.3° = 1.27°. One alone contradicts nothing.
    field.sightings[0].true_azimuth_rad = Some(359.5f64.to_radians());
    assert!(compose(&field.group("missing_line")).is_ok());
    field.sightings[1].true_azimuth_rad = Some(0.7f64.to_radians());
    assert!(compose(&field.group("missing_line")).is_ok());
    field.sightings[1].true_azimuth_rad = Some(0.8f64.to_radians());
    assert_eq!(
        compose(&field.group("missing_line")).unwrap_err(),
        "missing_line of North wall: S1 and S2 cannot lie in one vertical plane, their azimuths differ by 1.3° (standard error 0.4°); \
         shoot both again with azimuth, inclination and distance"
    );
}

#[test]
fn a_plumb_line_has_no_azimuth() {
    let mut field = Field::new(HANDHELD, [1.0, 1.0]);
    field.shot(0, "from", [40.0, 30.0, 0.0]);
    field.shot(0, "to", [40.0, 30.0, 25.0]);
    let composed = compose(&field.group("missing_line")).unwrap();
    let names: Vec<_> = composed.values.iter().map(|value| value.name).collect();
    assert_eq!(names, ["slope_distance_m", "horizontal_distance_m", "vertical_distance_m", "inclination_deg"]);
    assert!(composed.warnings[0].contains("within its own error"), "{:?}", composed.warnings);
    // The standard error is that of the worst direction, across the sights: √2·0.3° at 50 m.
    let horizontal = get(&composed.values, "horizontal_distance_m");
    let across = 50.0 * 2f64.sqrt() * 0.3f64.to_radians();
    assert!((horizontal.sigma / across - 1.0).abs() < RUNS_TOLERANCE, "{horizontal:?} {across}");
    let inclination = get(&composed.values, "inclination_deg");
    assert!((inclination.sigma / (across / 25.0).to_degrees() - 1.0).abs() < RUNS_TOLERANCE, "{inclination:?}");
    // One spot shot twice.
    let mut field = Field::new(HANDHELD, [1.0, 1.0]);
    field.shot(0, "from", [40.0, 30.0, 0.0]);
    field.shot(0, "to", [40.0, 30.0, 0.0]);
    let composed = compose(&field.group("missing_line")).unwrap();
    assert_eq!(composed.values.len(), 3);
    assert!(composed.values.iter().all(|v| v.estimate.value.abs() < ROUNDING && v.estimate.sigma > 0.05), "{composed:?}");
}

#[test]
fn the_earth_falls_away_over_a_kilometre() {
    let mut field = Field::new(EXACT, [0.0, 0.0]);
    field.shot(0, "from", [0.0, 0.0, 1.0]);
    field.shot(0, "to", [1000.0, 0.0, 1.0]);
    let composed = compose(&field.group("missing_line")).unwrap();
    assert!(composed.warnings[0].ends_with("over 1000 m the earth's surface falls 0.08 m below it"), "{:?}", composed.warnings);
}

#[test]
fn refusals_name_the_row() {
    let refusal = |field: &Field| compose(&field.group("missing_line")).unwrap_err();
    let mut field = Field::new(HANDHELD, [1.0, 1.0]);
    assert_eq!(refusal(&field), "missing_line of North wall lacks the row with role from");
    field.shot(0, "from", [40.0, 30.0, 0.0]);
    assert_eq!(refusal(&field), "missing_line of North wall lacks the row with role to");
    field.shot(0, "top", [40.0, 30.0, 9.0]);
    assert_eq!(
        refusal(&field),
        "missing_line of North wall: S2 has role \"top\"; it takes from and to, or the numbers 1, 2, 3, …"
    );
    let mut chain = loop_of_three();
    chain.sightings[0].role = "4".into();
    assert_eq!(
        refusal(&chain),
        "missing_line of North wall lacks the row with role 2; shoot it, or number the chain without a gap"
    );
    chain.sightings[0].role = "3".into();
    assert_eq!(
        refusal(&chain),
        "missing_line of North wall lacks the row with role 2; shoot it, or number the chain without a gap"
    );
    chain.sightings[0].role = "1".into();
    assert_eq!(refusal(&chain), "missing_line of North wall: S2 is the second with role 1");
    chain.sightings[0].role = "2".into();
    chain.sightings[0].true_azimuth_rad = None;
    chain.sightings[0].vector = None;
    assert_eq!(
        refusal(&chain),
        "missing_line of North wall: S1 (role 2) has no azimuth; shoot it again with azimuth, inclination and distance"
    );
    let mut two = Field::new(HANDHELD, [1.0, 1.0]).with_base([50.0, 0.0, 0.0], [1.0, 1.0]);
    two.shot(0, "from", [40.0, 30.0, 0.0]);
    two.shot(1, "to", [40.0, 90.0, 0.0]).vector = None;
    assert!(refusal(&two).contains("S2 gives no point, and S1 and S2 are from two bases"), "{}", refusal(&two));
    two.sightings[1].vector = two.sightings[0].vector.map(|v| Vector { east_m: f64::NAN, ..v });
    assert!(refusal(&two).contains("not a finite number"));
    // A reading of no sense in the vertical plane.
    let mut odd = Field::new(HANDHELD, [1.0, 1.0]);
    odd.shot(0, "from", [40.0, 30.0, 0.0]);
    odd.reading(0, "to", 0.0, 5.0, f64::NAN).vector = None;
    odd.sightings[1].true_azimuth_rad = None;
    assert!(refusal(&odd).contains("no finite length"), "{}", refusal(&odd));
}

/// Steps of a quarter of a circle that are looked at.
const LOOKS: u32 = 200_000;

/// The greatest turn of a direction at which what lies across it is within 1.96 of its own standard errors, by looking at each.
fn looked_half95([e, n]: [f64; 2], c: &Covariance) -> f64 {
    let is_within = |turn: f64| {
        let (sin, cos) = (e.atan2(n) + turn).sin_cos();
        (e * cos - n * sin).abs() <= INTERVAL95 * (c.ee * cos * cos - 2.0 * c.en * cos * sin + c.nn * sin * sin).sqrt()
    };
    let turns = (0..LOOKS).map(|i| f64::from(i) * PI / 2.0 / f64::from(LOOKS));
    turns.filter(|turn| is_within(*turn) || is_within(-turn)).fold(0.0, f64::max)
}

/// Two bases of poor places, whose errors lie aslant, and a line from one to the other.
fn between_two_bases(to: [f64; 3], covariances: [Covariance; 2]) -> Field {
    let mut field = Field::new(EXACT, [1.0, 1.0]).with_base([90.0, -30.0, 2.0], [1.0, 1.0]);
    for (i, covariance) in covariances.iter().enumerate() {
        field.bases[i].errors = BaseErrors::from_covariance(i, covariance, 0.0);
    }
    field.shot(0, "from", [0.0, 0.0, 1.0]);
    field.shot(1, "to", [to[0], to[1], 1.0 + to[2]]);
    field
}

#[test]
fn directions_and_lengths_by_the_covariance_of_the_line() {
    let covariances = [
        Covariance { ee: 1.2, nn: 0.5, uu: 0.8, en: 0.4, eu: 0.2, nu: -0.1 },
        Covariance { ee: 0.9, nn: 0.3, uu: 0.5, en: -0.1, eu: 0.0, nu: 0.2 },
    ];
    for to in [[12.0, 5.0, 3.0], [-9.0, 7.0, -6.0], [-4.0, -11.0, 1.0], [6.0, -8.0, 20.0], [0.0, 7.0, 2.0], [-7.0, 0.0, 2.0]] {
        let field = between_two_bases(to, covariances);
        let group = field.group("missing_line");
        let chain = Chain::from_rows(&group, ordered(&group).unwrap()).unwrap();
        let line = chain.line(0, 1);
        let c = covariance_of(&chain.correlated, |points| chain.difference(points, 0, 1));
        let azimuth = line.azimuth.unwrap();
        let half = looked_half95([to[0], to[1]], &c);
        assert!((azimuth.sigma * INTERVAL95 - half).abs() < 2e-5, "{to:?}: {} {half}", azimuth.sigma * INTERVAL95);
        // g C gᵀ of each value, its derivatives written out.
        let [e, n, u] = to;
        let (h, s) = (e.hypot(n), e.hypot(n).hypot(u));
        let sigma = |g: [f64; 3]| {
            let full = [[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]];
            (0..9).map(|k| g[k / 3] * full[k / 3][k % 3] * g[k % 3]).sum::<f64>().sqrt()
        };
        for (got, value, gradient) in [
            (line.slope, s, [e / s, n / s, u / s]),
            (line.horizontal, h, [e / h, n / h, 0.0]),
            (line.vertical, u, [0.0, 0.0, 1.0]),
            (line.grade.unwrap(), 100.0 * u / h, [-100.0 * u * e / h.powi(3), -100.0 * u * n / h.powi(3), 100.0 / h]),
            (line.inclination.unwrap(), u.atan2(h), [-u * e / (h * s * s), -u * n / (h * s * s), h / (s * s)]),
        ] {
            assert!(
                (got.value - value).abs() < ROUNDING && (got.sigma - sigma(gradient)).abs() < ROUNDING,
                "{to:?}: {got:?} {value}"
            );
        }
        assert!((line.fall_m - h * h / (2.0 * field.bases[0].earth_radius_m)).abs() < 1e-12);
    }
}

/// Just within its error and just outside of it, by errors of which the greatest lies aslant: √3 along N 45° E, 1 across; up 2.
#[test]
fn where_a_line_has_no_direction() {
    let aslant = Covariance { ee: 1.0, nn: 1.0, uu: 2.0, en: 0.5, eu: 0.0, nu: 0.0 };
    let greatest = 3f64.sqrt();
    let line = |to: [f64; 3]| {
        let field = between_two_bases(to, [aslant; 2]);
        let group = field.group("missing_line");
        Chain::from_rows(&group, ordered(&group).unwrap()).unwrap().line(0, 1)
    };
    // Horizontally: at 1.96 √3 m in any direction.
    for (azimuth_deg, along) in [(45f64, greatest), (135.0, 1.0)] {
        let (sin, cos) = azimuth_deg.to_radians().sin_cos();
        for (share, is_plumb) in [(0.999, true), (1.001, false)] {
            let level = share * INTERVAL95 * greatest;
            let got = line([level * sin, level * cos, 30.0]);
            assert_eq!((got.azimuth.is_none(), got.grade.is_none()), (is_plumb, is_plumb), "{azimuth_deg} {share}");
            let want = if is_plumb { greatest } else { along };
            assert!((got.horizontal.sigma - want).abs() < 1e-4, "{azimuth_deg} {share}: {:?}", got.horizontal);
            if is_plumb {
                let inclination = got.inclination.unwrap();
                assert!((inclination.sigma - greatest / level.hypot(30.0)).abs() < 1e-5, "{inclination:?}");
            }
        }
    }
    // In space: at 1.96 times √(3 + 4).
    let any = 7f64.sqrt();
    for (share, is_spot) in [(0.999, true), (1.001, false)] {
        let got = line([0.0, 0.0, share * INTERVAL95 * any]);
        assert_eq!(got.inclination.is_none(), is_spot);
        assert!((got.slope.sigma - if is_spot { any } else { 2.0 }).abs() < 1e-4, "{:?}", got.slope);
        let (values, warnings) = got.values_and_warnings();
        assert_eq!((values.len(), warnings.len()), (if is_spot { 3 } else { 4 }, 1));
        assert_eq!(warnings[0].contains("the two points are"), is_spot, "{warnings:?}");
        assert_eq!(warnings[0].contains("the horizontal length"), !is_spot, "{warnings:?}");
    }
}

#[test]
fn the_fall_is_told_from_a_centimetre_or_the_error_of_the_height() {
    let warned = |level: f64, sigma_up: f64| {
        let mut field = Field::new(EXACT, [0.0, 0.0]).with_base([10.0, 0.0, 0.0], [0.0, sigma_up]);
        field.shot(0, "from", [0.0, 0.0, 1.0]);
        field.shot(1, "to", [0.0, -level, 1.0]);
        let composed = compose(&field.group("missing_line")).unwrap();
        (composed.warnings.len(), field.bases[0].earth_radius_m)
    };
    let radius = warned(100.0, 0.0).1;
    let at = |fall: f64| (2.0 * radius * fall).sqrt();
    for (fall, sigma_up, told) in [(0.0099, 0.0, 0), (0.0101, 0.0, 1), (0.0101, 0.02, 0), (0.0198, 0.02, 0), (0.0203, 0.02, 1)] {
        assert_eq!(warned(at(fall), sigma_up).0, told, "{fall} {sigma_up}");
    }
}

/// The sums along the legs have the standard error that differences of the sums give, with that of legs that are within their own error added.
#[test]
fn sums_along_the_legs_err_as_differences_of_them() {
    let mut field = Field::new(HANDHELD, [0.6, 0.8]).with_base([70.0, 10.0, 2.0], [0.5, 0.4]);
    // The second leg is plumb, the fourth within the error of one spot.
    for (i, point) in
        [[20.0, 5.0, 3.0], [35.0, 30.0, 9.0], [35.1, 30.1, 19.0], [60.0, 70.0, 2.0], [60.05, 70.0, 2.02], [20.0, 90.0, -4.0]]
            .into_iter()
            .enumerate()
    {
        field.shot(if i == 3 || i == 4 { 1 } else { 0 }, &format!("{}", i + 1), point);
    }
    let group = field.group("missing_line");
    let chain = Chain::from_rows(&group, ordered(&group).unwrap()).unwrap();
    let legs = chain.legs();
    assert_eq!(legs.len(), 5);
    let (mut plumb, mut spot) = (0.0, 0.0);
    for (k, leg) in legs.iter().enumerate() {
        let sums = chain.correlated.estimates(|points| {
            let all = (0..=k).map(|i| chain.difference(points, i, i + 1));
            all.fold([0.0, 0.0], |[slope, level], [e, n, u]| [slope + e.hypot(n).hypot(u), level + e.hypot(n)])
        });
        let own = |name: &str| leg.values.iter().any(|value| value.name == name);
        assert_eq!((own("grade_pct"), own("inclination_deg")), (k != 1 && k != 3, k != 3), "{:?}", leg.values);
        if k == 1 || k == 3 {
            plumb += get(&leg.values, "horizontal_distance_m").sigma.powi(2);
        }
        if k == 3 {
            spot += get(&leg.values, "slope_distance_m").sigma.powi(2);
        }
        for (name, sum, hidden) in
            [("cumulated_slope_distance_m", sums[0], spot), ("cumulated_horizontal_distance_m", sums[1], plumb)]
        {
            let got = get(&leg.cumulated, name);
            assert!((got.value - sum.value).abs() < ROUNDING, "{k} {name}");
            // Differences over 0.05 m bend by their steps.
            let want = sum.sigma.hypot(hidden.sqrt());
            assert!((got.sigma / want - 1.0).abs() < 1e-4, "{k} {name}: {} {want}", got.sigma);
        }
        let rise = chain.correlated.estimate(|points| chain.difference(points, 0, k + 1)[2]);
        let got = get(&leg.cumulated, "cumulated_vertical_distance_m");
        assert!((got.value - rise.value).abs() < ROUNDING && (got.sigma - rise.sigma).abs() < ROUNDING);
        for (end, at) in leg.ends.iter().zip([k, k + 1]) {
            let point = chain.correlated.frame().from_earth_centred(*end);
            assert!((0..3).all(|axis| (point[axis] - chain.correlated.points()[at][axis]).abs() < ROUNDING));
        }
    }
}

#[test]
fn a_chain_tells_its_legs_and_where_it_is_broken() {
    let field = loop_of_three();
    let composed = compose(&field.group("missing_line")).unwrap();
    assert_eq!(
        composed.method,
        "missing line along 3 shots from one base (B1), whose own errors cancel; cumulated along 2 legs, the others straight from first to \
         last; horizontal, vertical and azimuth (true) are those of the local frame at S2"
    );
    assert!(matches!(&composed.shape, Shape::Line(line) if line.len() == 3) && composed.warnings.is_empty());
    // A chain that comes back to its start says nothing of the line from first to last, but of its legs.
    let mut plumb = loop_of_three();
    plumb.shot(0, "4", [30.0, 40.0, 50.0]);
    plumb.shot(0, "5", [0.0, 0.0, 20.0]);
    let composed = compose(&plumb.group("missing_line")).unwrap();
    assert_eq!(composed.warnings.len(), 1);
    assert!(composed.warnings[0].starts_with("S3 to S4: the horizontal length"), "{:?}", composed.warnings);
    let of_legs: Vec<usize> = composed.details.iter().map(|leg| leg.warnings.as_ref().unwrap().len()).collect();
    assert_eq!(of_legs, [0, 0, 1, 0]);
    let refusal = |roles: &[&str]| {
        let mut chain = loop_of_three();
        chain.sightings.truncate(roles.len());
        chain.sightings.iter_mut().zip(roles).for_each(|(row, role)| row.role = (*role).into());
        compose(&chain.group("missing_line")).unwrap_err()
    };
    // A chain of two is one line.
    let [one, two] = [["from", "to"], ["1", "2"]].map(|roles| {
        let mut field = loop_of_three();
        field.sightings.truncate(2);
        field.sightings.iter_mut().zip(roles).for_each(|(row, role)| row.role = role.into());
        compose(&field.group("missing_line")).unwrap()
    });
    assert_eq!(one, two);
    assert_eq!(refusal(&["1"]), "missing_line of North wall has one point; a chain takes two or more, roles 1, 2, …");
    assert_eq!(refusal(&["0", "1", "2"]), "missing_line of North wall: S1 has role 0; a chain starts at 1");
    assert_eq!(refusal(&["1", "2", "2"]), "missing_line of North wall: S3 is the second with role 2");
    assert_eq!(
        refusal(&["2", "3"]),
        "missing_line of North wall lacks the row with role 1; shoot it, or number the chain without a gap"
    );
    assert_eq!(
        refusal(&["1", "to", "2"]),
        "missing_line of North wall: S2 has role \"to\"; a chain's roles are the numbers 1, 2, 3, … alone"
    );
}
