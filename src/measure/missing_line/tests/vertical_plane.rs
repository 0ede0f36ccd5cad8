//! Sights without azimuths, which are taken to lie in one vertical plane.

use super::*;

/// Two sights without azimuths: 30 m off and 5 m up, 80 m off and 25 m up.
fn without_azimuths() -> Field {
    let mut field = Field::new(HANDHELD, [1.0, 1.0]);
    for (role, h, v) in [("from", 30f64, 5f64), ("to", 80.0, 25.0)] {
        let row = field.reading(0, role, 0.0, v.atan2(h).to_degrees(), h.hypot(v));
        (row.true_azimuth_rad, row.vector) = (None, None);
    }
    field
}

#[test]
fn heights_in_one_vertical_plane() {
    let rise = |change: &dyn Fn(&mut [RoleShot])| {
        let mut field = without_azimuths();
        change(&mut field.sightings);
        let composed = compose(&field.group("missing_line")).unwrap();
        assert!((get(&composed.values, "horizontal_distance_m").value - 50.0).abs() < 6e-4);
        get(&composed.values, "vertical_distance_m").value
    };
    // One setup has one height, which one row may tell for both; where both tell one they may differ.
    for (heights, want) in [
        ([Some(1.5), None], 20.0),
        ([None, Some(1.5)], 20.0),
        ([Some(1.5), Some(1.5)], 20.0),
        ([None, None], 20.0),
        ([Some(1.5), Some(1.7)], 20.2),
        ([Some(0.0), Some(1.7)], 21.7),
    ] {
        let got = rise(&|rows| rows.iter_mut().zip(heights).for_each(|(row, height)| row.instrument_height_m = height));
        assert!((got - want).abs() < 6e-4, "{heights:?}: {got}");
    }
    assert!((rise(&|rows| rows[0].target_height_m = 0.4) - 20.4).abs() < 6e-4);
    assert!((rise(&|rows| rows[1].target_height_m = 0.4) - 19.6).abs() < 6e-4);
    // A horizontal distance with its inclination does as well.
    assert!((rise(&|rows| (rows[1].slope_m, rows[1].horizontal_m) = (None, Some(80.0))) - 20.0).abs() < 6e-4);
    // An azimuth that only one of them has counts for nothing.
    assert!((rise(&|rows| rows[0].true_azimuth_rad = Some(2.0)) - 20.0).abs() < 6e-4);
    let mut field = without_azimuths();
    let placed = field.reading(0, "from", 77.0, 5f64.atan2(30.0).to_degrees(), 30f64.hypot(5.0)).clone();
    field.sightings = vec![placed, field.sightings[1].clone()];
    let composed = compose(&field.group("missing_line")).unwrap();
    assert!(composed.method.starts_with("missing line without azimuths: S3 and S2 are taken") && composed.parts.is_empty());
    // Bent sights: each is inclined less by k h/2R.
    let mut field = without_azimuths();
    field.sightings.iter_mut().for_each(|row| row.refraction = 100.0);
    let ends = [(30f64, 5f64), (80.0, 25.0)].map(|(h, v)| {
        let (sin, cos) = (v.atan2(h) - 100.0 * h / (2.0 * field.bases[0].earth_radius_m)).sin_cos();
        [h.hypot(v) * cos, h.hypot(v) * sin]
    });
    let composed = compose(&field.group("missing_line")).unwrap();
    for (k, name) in ["horizontal_distance_m", "vertical_distance_m"].into_iter().enumerate() {
        let got = get(&composed.values, name).value;
        assert!((got - ends[1][k] + ends[0][k]).abs() < 6e-4, "{name}: {got} {ends:?}");
    }
}

/// What corrections of inclination and distance share stays in part; what azimuths share has no part in it.
#[test]
fn shares_in_one_vertical_plane() {
    let mut field = without_azimuths();
    let shares = Shares { calibration: 1, inclination_rad: 0.004, distance_m: 0.3, ..Shares::default() };
    let turning = Shares { declination: 2, declination_rad: 0.2, azimuth_rad: 0.3, ..shares };
    field.sightings.iter_mut().for_each(|row| row.shares = turning);
    let composed = compose(&field.group("missing_line")).unwrap();
    let sides = [(30f64, 5f64), (80.0, 25.0)].map(|(h, v)| (h, v, h.hypot(v)));
    let own = |by: &dyn Fn(f64, f64, f64) -> [f64; 2]| {
        let of = |(h, v, s): (f64, f64, f64)| by(h, v, s);
        let ([i, d], [i2, d2]) = (of(sides[0]), of(sides[1]));
        let (inclination, distance) = (0.2f64.to_radians(), 0.05);
        let alone = [i * inclination, d * distance, i2 * inclination, d2 * distance];
        let shared = [(i2 - i) * 0.004, (d2 - d) * 0.3];
        alone.into_iter().chain(shared).map(|x| x * x).sum::<f64>().sqrt()
    };
    // h = s cos I, v = s sin I: by the inclination −v and h, by the distance h/s and v/s.
    for (name, want) in
        [("horizontal_distance_m", own(&|h, v, s| [-v, h / s])), ("vertical_distance_m", own(&|h, v, s| [h, v / s]))]
    {
        let got = get(&composed.values, name).sigma;
        assert!((got / want - 1.0).abs() < 1e-3, "{name}: {got} {want}");
    }
}

#[test]
fn what_a_sight_without_azimuth_lacks_is_said() {
    let refusal = |change: fn(&mut RoleShot)| {
        let mut field = without_azimuths();
        change(&mut field.sightings[1]);
        compose(&field.group("missing_line")).unwrap_err()
    };
    for (change, what) in
        [((|row| row.inclination_rad = None) as fn(&mut RoleShot), "inclination"), (|row| row.slope_m = None, "distance")]
    {
        let want =
            format!("missing_line of North wall: S2 has no azimuth and no {what}; shoot it again with inclination and distance");
        assert_eq!(&*refusal(change), want);
    }
    // Of two bases the row that gives no point is named, either of them.
    for which in [0, 1] {
        let mut two = Field::new(HANDHELD, [1.0, 1.0]).with_base([50.0, 0.0, 0.0], [1.0, 1.0]);
        two.shot(0, "from", [40.0, 30.0, 0.0]);
        two.shot(1, "to", [40.0, 90.0, 0.0]);
        two.sightings[which].vector = None;
        let refusal = compose(&two.group("missing_line")).unwrap_err();
        assert!(refusal.contains(&format!(": S{} gives no point, and S1 and S2 are from two bases", which + 1)), "{}", &*refusal);
    }
}
