use super::*;
use crate::measure::trial::{EXACT, Field, HANDHELD, assert_sigmas, scatter};
use crate::measure::{Composed, MeasureSettings, compose};

const SIGMAS: f64 = 4.0;

/// Readings in degrees and metres.
const READING: f64 = 1e-9;

fn settings() -> MeasureSettings<'static> {
    MeasureSettings { agreement_sigmas: SIGMAS, ..MeasureSettings::default() }
}

fn value(composed: &Composed, name: &str) -> crate::geodesy::register::Estimate {
    composed.values.iter().find(|value| value.name == name).unwrap().estimate
}

#[test]
fn readings_of_one_quality_have_their_mean_and_the_root_of_n() {
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    field.reading(0, "foot", 359.9, -2.0, 40.00);
    // About north, where azimuths jump: 359.8, 0.1 and 0.3 have the mean 0.0667.
    for (azimuth, inclination, slope) in [(359.8, 30.0, 46.00), (0.1, 30.1, 46.04), (0.3, 30.2, 45.99)] {
        field.reading(0, "top", azimuth, inclination, slope);
    }
    let group = field.group("height");
    let (merged, said) = merge(&group, SIGMAS).unwrap();
    assert_eq!(said, ["top is the mean of S2, S3 and S4"]);
    assert_eq!(merged.sightings.len(), 2);
    let top = &merged.sightings[1];
    assert!((top.true_azimuth_rad.unwrap().to_degrees() - 0.2 / 3.0).abs() < READING);
    assert!((top.inclination_rad.unwrap().to_degrees() - 30.1).abs() < READING);
    assert!((top.slope_m.unwrap() - 46.01).abs() < READING);
    // σ/√3 of 0.3°, 0.2° and 0.05 m.
    assert!((top.sigma_azimuth_rad.to_degrees() - 0.3 / 3f64.sqrt()).abs() < READING);
    assert!((top.sigma_inclination_rad.to_degrees() - 0.2 / 3f64.sqrt()).abs() < READING);
    assert!((top.sigma_distance_m - 0.05 / 3f64.sqrt()).abs() < READING);
    let composed = compose(&group, &settings()).unwrap();
    assert!(composed.method.ends_with("; top is the mean of S2, S3 and S4"), "{}", composed.method);
}

#[test]
fn better_readings_weigh_more() {
    // 10.0 ± 0.1 and 10.3 ± 0.2 m: (10/0.01 + 10.3/0.04) / (1/0.01 + 1/0.04) = 1257.5/125 = 10.06 m ± 1/√125 = 0.0894 m.
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    for (slope, sigma) in [(10.0, 0.1), (10.3, 0.2)] {
        field.reading(0, "to", 90.0, 0.0, slope).sigma_distance_m = sigma;
    }
    field.reading(0, "from", 0.0, 0.0, 20.0);
    let mut group = field.group("missing_line");
    group.sightings.iter_mut().for_each(|row| row.vector = vector_of(row, &field.bases[0]));
    let to = merge(&group, SIGMAS).unwrap().0.sightings[0].clone();
    assert!((to.slope_m.unwrap() - 10.06).abs() < READING && (to.sigma_distance_m - 0.089_442_719).abs() < 1e-8, "{to:?}");
    let vector = to.vector.unwrap();
    assert!((vector.east_m - 10.06).abs() < 1e-6 && (vector.distance.ee.sqrt() - 0.089_442_719).abs() < 1e-8, "{vector:?}");
}

#[test]
fn the_error_of_a_correction_is_not_lessened() {
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    for _ in 0..4 {
        let row = field.reading(0, "top", 10.0, 30.0, 46.0);
        row.shares = Shares { calibration: 1, inclination_rad: 0.1f64.to_radians(), distance_m: 0.03, ..Shares::default() };
    }
    let top = merge(&field.group("height"), SIGMAS).unwrap().0.sightings[0].clone();
    // The readings' own 0.2° and 0.05 m are halved by four of them; what they share stays.
    assert!((top.sigma_inclination_rad.to_degrees() - 0.1).abs() < READING && (top.sigma_distance_m - 0.025).abs() < READING);
    assert_eq!(top.shares, field.sightings[0].shares);
    let vector = vector_of(&top, &field.bases[0]).unwrap();
    // Up by the inclination 46 cos 30° a radian, by the distance sin 30°; of the readings and of the corrections.
    let up = |degrees: f64, metres: f64| (46.0 * 30f64.to_radians().cos() * degrees.to_radians()).hypot(0.5 * metres);
    let want = up(0.1, 0.025).hypot(up(0.1, 0.03));
    assert!((vector.covariance(&field.bases[0]).uu.sqrt() - want).abs() < READING);
}

#[test]
fn a_partial_row_takes_part_with_what_it_has() {
    // Two tops with an inclination alone, over one distance: tangents.
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    field.reading(0, "foot", 10.0, -3.0, 40.0);
    for inclination in [29.9, 30.1] {
        let top = field.reading(0, "top", 10.0, inclination, 40.0);
        (top.slope_m, top.vector) = (None, None);
    }
    let height = value(&compose(&field.group("height"), &settings()).unwrap(), "height_m");
    let run = 40.0 * 3f64.to_radians().cos();
    let want = run * (30f64.to_radians().tan() + 3f64.to_radians().tan());
    assert!((height.value - want).abs() < 1e-6, "{height:?} {want}");
}

/// The standard error of a height by three shots to each end against draws of all readings.
#[test]
fn standard_errors_are_those_of_draws() {
    let mut field = Field::new(HANDHELD, [0.5, 1.0]);
    for _ in 0..3 {
        field.shot(0, "foot", [30.0, 20.0, -2.0]);
        field.shot(0, "top", [31.0, 20.5, 18.0]);
    }
    let loose = MeasureSettings { agreement_sigmas: 20.0, ..MeasureSettings::default() };
    let of = |field: &Field| value(&compose(&field.group("height"), &loose).unwrap(), "height_m");
    let told = of(&field);
    let shown = scatter([told.value], 5, |normal| [of(&field.disturbed(normal)).value]);
    assert_sigmas([told.sigma], shown);
    // One shot to each end has √3 of it.
    let mut single = Field::new(HANDHELD, [0.5, 1.0]);
    single.shot(0, "foot", [30.0, 20.0, -2.0]);
    single.shot(0, "top", [31.0, 20.5, 18.0]);
    assert!((of(&single).sigma / told.sigma - 3f64.sqrt()).abs() < 1e-3, "{told:?}");
}

#[test]
fn rows_that_are_no_repeats_are_refused_in_a_sentence() {
    let mut field = Field::new(HANDHELD, [0.0, 0.0]).with_base([30.0, 0.0, 0.0], [0.0, 0.0]);
    field.reading(0, "foot", 10.0, -3.0, 40.0);
    field.reading(0, "top", 10.0, 30.0, 46.0);
    field.reading(0, "top", 10.0, 30.0, 46.9);
    let refusal = |field: &Field| merge(&field.group("height"), SIGMAS).err().unwrap();
    // √(0.05² − 0.05²/2) times 4 is 0.14 m; 0.45 m is more.
    assert_eq!(
        refusal(&field),
        "height of North wall: 2 shots have the role top, and the slope distance (m) of S2 lies 0.45 from their mean, which is more than \
         their errors allow; take out the one that hit something else, or give each spot a role of its own"
    );
    field.sightings.pop();
    field.reading(1, "top", 300.0, 30.0, 46.0);
    assert_eq!(
        refusal(&field),
        "height of North wall: S2 and S3 both have the role top and were shot from two bases; keep the better one, and give the other a \
         feature of its own"
    );
    field.sightings.pop();
    field.reading(0, "top", 10.0, 30.0, 46.0).target_height_m = 1.0;
    assert!(refusal(&field).contains("with different heights of instrument or target"), "{}", refusal(&field));
}

#[test]
fn roles_that_are_wanted_often_stay_as_they_are() {
    let mut field = Field::new(EXACT, [0.0, 0.0]);
    for x in [0.0, 20.0, 40.0] {
        field.shot(0, "wire", [x, 30.0, 10.0]);
    }
    assert_eq!(merge(&field.group("span"), SIGMAS).unwrap().0.sightings.len(), 3);
    assert!(!is_wanted_once("volume", "toe") && !is_wanted_once("plane", "face") && is_wanted_once("missing_line", "2"));
}

#[test]
fn shots_by_a_vertical_distance_have_their_mean_with_the_errors_of_one() {
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    for rise in [9.9, 10.1] {
        field.reading(0, "top", 90.0, 10.0, 50.0);
        let triangle = Triangle::HorizontalVertical { horizontal_m: 50.0, vertical_m: rise };
        let sight = Sight {
            true_azimuth_rad: 90f64.to_radians(),
            triangle,
            instrument_height_m: 0.0,
            target_height_m: 0.0,
            refraction: 0.0,
        };
        let sigmas = SightSigmas { azimuth_rad: 0.005, inclination_rad: 0.003, distance_m: 0.05 };
        let row = field.sightings.last_mut().unwrap();
        (row.slope_m, row.horizontal_m) = (None, Some(50.0));
        row.inclination_rad = triangle.inclination_rad();
        row.vector = Some(reduce(&sight, &sigmas, 6.37e6));
    }
    let top = merge(&field.group("height"), SIGMAS).unwrap().0.sightings[0].clone();
    let vector = top.vector.unwrap();
    assert!((vector.up_m.unwrap() - 10.0).abs() < READING && (vector.distance.uu.sqrt() - 0.05).abs() < READING, "{vector:?}");
}

/// Each role that is wanted once shot three times without error: the values of one shot each, and no larger errors.
#[test]
fn every_kind_takes_repeats_where_it_wants_a_role_once() {
    type Rows<'a> = &'a [(&'a str, [f64; 3])];
    let kinds: [(&str, Rows); 7] = [
        ("height", &[("foot", [30.0, 20.0, -2.0]), ("top", [31.0, 20.0, 18.0])]),
        ("width", &[("left", [-3.0, 40.0, 1.0]), ("right", [3.0, 40.0, 1.0]), ("near_face", [0.0, 37.0, 1.0])]),
        ("missing_line", &[("from", [-20.0, 40.0, 1.0]), ("to", [30.0, 50.0, 4.0])]),
        ("missing_line", &[("1", [-20.0, 40.0, 1.0]), ("2", [30.0, 50.0, 4.0]), ("3", [40.0, 20.0, 0.0])]),
        ("plane_sight", &[("sight", [2.0, 60.0, 9.0]), ("plane_1", [-10.0, 60.0, 0.0]), ("plane_2", [15.0, 62.0, 1.0])]),
        ("span", &[("support_a", [-40.0, 30.0, 9.0]), ("support_b", [45.0, 35.0, 10.0]), ("wire", [2.5, 32.5, 7.5])]),
        ("profile", &[("start", [-20.0, 30.0, 0.0]), ("end", [30.0, 35.0, 1.0]), ("point", [5.0, 40.0, 0.5])]),
    ];
    for (measure, rows) in kinds {
        let field = |times: usize| {
            let mut field = Field::new(HANDHELD, [0.5, 1.0]);
            for (role, at) in rows {
                for _ in 0..if is_wanted_once(measure, role) { times } else { 1 } {
                    field.shot(0, role, *at);
                }
            }
            field
        };
        let of = |times| compose(&field(times).group(measure), &settings()).unwrap();
        let (one, three) = (of(1), of(3));
        assert!(three.method.contains("is the mean of"), "{measure}: {}", three.method);
        assert_eq!(one.values.len(), three.values.len(), "{measure}");
        for (a, b) in one.values.iter().zip(&three.values) {
            assert!((a.estimate.value - b.estimate.value).abs() < 1e-6, "{measure}: {a:?} {b:?}");
            assert!(b.estimate.sigma <= a.estimate.sigma + 1e-9, "{measure}: {a:?} {b:?}");
        }
        assert!(one.values.iter().zip(&three.values).any(|(a, b)| b.estimate.sigma < 0.9 * a.estimate.sigma), "{measure}");
    }
}

/// Two readings of one quality lie σ/√2 of their difference from their mean: they agree up to 4 √2 σ.
#[test]
fn repeats_agree_within_the_error_of_their_difference() {
    let limit = SIGMAS * 2f64.sqrt();
    let merges = |change: &dyn Fn(&mut RoleShot, f64), inclination: f64, times: f64| {
        let mut field = Field::new(HANDHELD, [0.0, 0.0]);
        for turn in [-0.5, 0.5] {
            let row = field.reading(0, "top", 0.0, inclination, 46.0);
            row.vector = None;
            row.horizontal_m = Some(40.0);
            change(row, times * limit * turn);
        }
        merge(&field.group("height"), SIGMAS).map(|(group, _)| group.sightings[0].clone())
    };
    let azimuth = |row: &mut RoleShot, sigmas: f64| row.true_azimuth_rad = Some((sigmas * 0.3).to_radians());
    let inclination = |row: &mut RoleShot, sigmas: f64| row.inclination_rad = Some((30.0 + sigmas * 0.2).to_radians());
    let slope = |row: &mut RoleShot, sigmas: f64| row.slope_m = Some(46.0 + sigmas * 0.05);
    let horizontal = |row: &mut RoleShot, sigmas: f64| row.horizontal_m = Some(40.0 + sigmas * 0.05);
    type Change<'a> = &'a dyn Fn(&mut RoleShot, f64);
    let changes: [(&str, Change, &str); 4] = [
        ("azimuth (degrees)", &azimuth, "0.85"),
        ("inclination (degrees)", &inclination, "0.57"),
        ("slope distance (m)", &slope, "0.14"),
        ("horizontal distance (m)", &horizontal, "0.14"),
    ];
    for (what, change, off) in changes {
        let mean = merges(change, 30.0, 0.999).unwrap();
        assert!(mean.true_azimuth_rad.unwrap().min(TAU - mean.true_azimuth_rad.unwrap()) < READING, "{what}");
        assert!((mean.slope_m.unwrap() - 46.0).abs() < READING && (mean.horizontal_m.unwrap() - 40.0).abs() < READING);
        let refusal = merges(change, 30.0, 1.001).unwrap_err();
        assert!(refusal.contains(&format!("the {what} of S1 lies {off} from their mean")), "{}", &*refusal);
    }
    // Steeper than 80°, up or down, azimuths are averaged and not compared.
    for (inclination, agrees) in [(79.99, false), (80.01, true), (-80.01, true), (-79.99, false)] {
        assert_eq!(merges(&azimuth, inclination, 1.5).is_ok(), agrees, "{inclination}");
    }
}

#[test]
fn readings_without_error_have_their_plain_mean() {
    let rows: Vec<RoleShot> = {
        let mut field = Field::new(EXACT, [0.0, 0.0]);
        (0..3).for_each(|_| drop(field.reading(0, "top", 10.0, 5.0, 40.0).clone()));
        field.sightings
    };
    let mean = |readings: [(f64, f64); 3]| {
        let readings: Vec<_> = rows.iter().zip(readings).map(|(row, (value, sigma))| (row, value, sigma)).collect();
        weighted_mean(&readings).unwrap()
    };
    assert_eq!(mean([(1.0, 0.0), (2.0, 0.0), (6.0, 0.0)]), (3.0, 0.0));
    // One of them without error: the errors of the others are those of a plain mean, √(0.3² + 0.4²)/3.
    let (value, sigma) = mean([(1.0, 0.3), (2.0, 0.4), (6.0, 0.0)]);
    assert!((value - 3.0).abs() < READING && (sigma - 0.5 / 3.0).abs() < READING);
    assert_eq!(weighted_mean(&[]), None);
}

#[test]
fn one_setup_has_one_height_of_instrument_and_of_target() {
    let merges = |from: f64, apart: f64, is_target: bool| {
        let mut field = Field::new(HANDHELD, [0.0, 0.0]);
        for height in [from, from + apart] {
            let row = field.reading(0, "top", 10.0, 30.0, 46.0);
            match is_target {
                true => row.target_height_m = height,
                false => row.instrument_height_m = Some(height),
            }
        }
        merge(&field.group("height"), SIGMAS).is_ok()
    };
    for is_target in [true, false] {
        for from in [0.0, 1.6] {
            assert!(merges(from, 0.9e-6, is_target) && merges(from, -0.9e-6, is_target));
            assert!(!merges(from, 1.1e-6, is_target) && !merges(from, -1.1e-6, is_target));
        }
    }
    // A height that one row lacks is that of the other.
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    field.reading(0, "top", 10.0, 30.0, 46.0).instrument_height_m = None;
    field.reading(0, "top", 10.0, 30.0, 46.0).instrument_height_m = Some(1.4);
    field.sightings.iter_mut().for_each(|row| row.vector = None);
    assert_eq!(merge(&field.group("height"), SIGMAS).unwrap().0.sightings[0].instrument_height_m, Some(1.4));
}

#[test]
fn eight_shots_are_named_and_more_are_counted() {
    let said = |count: usize| {
        let mut field = Field::new(HANDHELD, [0.0, 0.0]);
        (0..count).for_each(|_| drop(field.reading(0, "top", 10.0, 30.0, 46.0).clone()));
        merge(&field.group("height"), SIGMAS).unwrap().1.remove(0)
    };
    assert_eq!(said(2), "top is the mean of S1 and S2");
    assert_eq!(said(8), "top is the mean of S1, S2, S3, S4, S5, S6, S7 and S8");
    assert_eq!(said(9), "top is the mean of S1, S2, S3, S4, S5, S6, S7, S8 and 1 more");
    assert_eq!(said(11), "top is the mean of S1, S2, S3, S4, S5, S6, S7, S8 and 3 more");
}

#[test]
fn repeats_share_the_greatest_error_of_each_correction() {
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    for k in 0..4 {
        let of = |which: usize, sigma: f64| if which == k { 2.0 * sigma } else { sigma };
        field.reading(0, "top", 10.0, 30.0, 46.0).shares = Shares {
            declination: 3,
            declination_rad: of(0, 0.004),
            calibration: 2,
            azimuth_rad: of(1, 0.003),
            inclination_rad: of(2, 0.002),
            distance_m: of(3, 0.03),
        };
    }
    let want = Shares {
        declination: 3,
        declination_rad: 0.008,
        calibration: 2,
        azimuth_rad: 0.006,
        inclination_rad: 0.004,
        distance_m: 0.06,
    };
    assert_eq!(merge(&field.group("height"), SIGMAS).unwrap().0.sightings[0].shares, want);
}

/// Three vectors, every number of them its own.
#[test]
fn the_mean_of_points_is_that_of_each_number() {
    let covariance =
        |from: f64| Covariance { ee: from, en: from + 1.0, eu: from + 2.0, nn: from + 3.0, nu: from + 4.0, uu: from + 5.0 };
    let vector = |from: f64| Vector {
        east_m: from,
        north_m: from + 10.0,
        up_m: Some(from + 20.0),
        horizontal_m: from + 30.0,
        direction: covariance(from + 40.0),
        distance: covariance(from + 50.0),
        by_inclination_m: [from + 60.0, from + 61.0, from + 62.0],
        by_distance_m: [from + 70.0, from + 71.0, from + 72.0],
        shares: Shares { calibration: 7, ..Shares::default() },
    };
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    for from in [1.0, 2.0, 6.0] {
        field.reading(0, "top", 10.0, 30.0, 46.0).vector = Some(vector(from));
    }
    let rows: Vec<&RoleShot> = field.sightings.iter().collect();
    let (got, want) = (mean_vector(&rows).unwrap(), vector(3.0));
    let numbers = |v: &Vector| {
        let of = |c: &Covariance| [c.ee, c.en, c.eu, c.nn, c.nu, c.uu];
        let plain = [v.east_m, v.north_m, v.up_m.unwrap(), v.horizontal_m];
        [&plain[..], &of(&v.direction), &of(&v.distance), &v.by_inclination_m, &v.by_distance_m].concat()
    };
    assert!(numbers(&got).iter().zip(numbers(&want)).all(|(a, b)| (a - b).abs() < READING), "{got:?}");
    assert_eq!(got.shares, want.shares);
    field.sightings[1].vector.as_mut().unwrap().up_m = None;
    assert_eq!(mean_vector(&field.sightings.iter().collect::<Vec<_>>()).unwrap().up_m, None);
    field.sightings[1].vector = None;
    assert!(mean_vector(&field.sightings.iter().collect::<Vec<_>>()).is_none());
}

/// A vector that differs from what its readings give, in place or in errors, is kept and averaged as it stands.
#[test]
fn a_vector_is_of_its_readings_or_not() {
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    let row = field.reading(0, "top", 35.0, 30.0, 46.0).clone();
    let (base, vector) = (&field.bases[0], row.vector.unwrap());
    assert!(is_reduced_from(&vector, &row, base));
    let changed: [fn(&mut Vector, f64); 5] = [
        |v, by| v.east_m += by,
        |v, by| v.north_m += by,
        |v, by| v.up_m = v.up_m.map(|up| up + by),
        |v, by| v.distance.uu += by,
        |v, by| v.direction.uu += by,
    ];
    for (k, change) in changed.iter().enumerate() {
        for by in [2e-9, -2e-9] {
            let mut other = vector;
            change(&mut other, by);
            assert!(!is_reduced_from(&other, &row, base), "{k}");
            change(&mut other, -0.75 * by);
            assert!(is_reduced_from(&other, &row, base), "{k}");
        }
    }
    assert!(!is_reduced_from(&Vector { up_m: None, ..vector }, &row, base));
    // What gives no point is no vector's reading.
    assert!(!is_reduced_from(&vector, &RoleShot { inclination_rad: None, ..row.clone() }, base));
    // A horizontal distance alone is level, from whatever height.
    let level =
        RoleShot { slope_m: None, horizontal_m: Some(40.0), inclination_rad: None, instrument_height_m: None, ..row.clone() };
    let got = vector_of(&level, base).unwrap();
    assert!((got.east_m - 40.0 * 35f64.to_radians().sin()).abs() < READING && got.up_m.is_none(), "{got:?}");
    assert!(vector_of(&RoleShot { true_azimuth_rad: None, ..level }, base).is_none());
    let horizontal = RoleShot { slope_m: None, horizontal_m: Some(40.0), ..row.clone() };
    assert!((vector_of(&horizontal, base).unwrap().up_m.unwrap() - 40.0 * 30f64.to_radians().tan()).abs() < 1e-3);
    assert!(vector_of(&RoleShot { instrument_height_m: None, ..horizontal }, base).is_none());
}

/// Sights of several spots on a plane stay as they are; those that agree are one.
#[test]
fn sights_onto_a_plane_are_repeats_where_they_agree() {
    let count = |apart: f64| {
        let mut field = Field::new(HANDHELD, [0.0, 0.0]);
        for azimuth in [10.0, 10.0 + apart] {
            let row = field.reading(0, "sight", azimuth, 5.0, 40.0);
            (row.slope_m, row.vector) = (None, None);
        }
        merge(&field.group("plane_sight"), SIGMAS).unwrap().0.sightings.len()
    };
    assert_eq!((count(1.69), count(1.71)), (1, 2));
}

#[test]
fn roles_that_are_wanted_once() {
    for (measure, once, often) in [
        ("height", &["foot", "top", "distance"][..], &["any", "plane_1"][..]),
        ("width", &["left", "right", "near_face", "centre", "plane", "plane_2"], &["back", "face"]),
        ("missing_line", &["from", "to", "7", " 12 "], &["between", "-1", "1.5"]),
        ("plane_sight", &["sight", "plane_1", "corner_3"], &["corner", "face"]),
        ("span", &["support_a", "support_b"], &["wire", "ground", "object"]),
        ("profile", &["start", "end"], &["point"]),
        ("volume", &[], &["toe", "top"]),
        ("plane", &[], &["face"]),
    ] {
        once.iter().for_each(|role| assert!(is_wanted_once(measure, role), "{measure} {role}"));
        often.iter().for_each(|role| assert!(!is_wanted_once(measure, role), "{measure} {role}"));
    }
}

/// The mean stands over the ground by the setup's heights, and its vector is what the mean readings give.
#[test]
fn a_mean_has_the_heights_of_its_setup() {
    let mut field = Field::new(HANDHELD, [0.0, 0.0]);
    (field.instrument_height_m, field.refraction) = (1.6, 0.13);
    for (azimuth, slope) in [(40.0, 50.0), (40.2, 50.1)] {
        field.reading(0, "from", azimuth, 10.0, slope).target_height_m = 0.7;
    }
    field.sightings.iter_mut().for_each(|row| row.vector = vector_of(row, &field.bases[0]));
    field.reading(0, "to", 100.0, 3.0, 20.0);
    let merged = merge(&field.group("missing_line"), SIGMAS).unwrap().0.into_owned();
    let from = &merged.sightings[0];
    assert_eq!((from.instrument_height_m, from.target_height_m, from.refraction), (Some(1.6), 0.7, 0.13));
    let (run, rise) = (50.05 * 10f64.to_radians().cos(), 50.05 * 10f64.to_radians().sin());
    let vector = from.vector.unwrap();
    let (sin, cos) = 40.1f64.to_radians().sin_cos();
    // Refraction lowers it by k d²/2R, less than 0.03 mm.
    assert!((vector.up_m.unwrap() - rise - 0.9).abs() < 5e-5 && (vector.east_m - run * sin).abs() < 1e-4, "{vector:?}");
    assert!((vector.north_m - run * cos).abs() < 1e-4 && vector.shares == from.shares);
    assert!(merged.sightings[1].role == "to" && merged.sightings.len() == 2);
    // Without an azimuth, an inclination or a distance the standard errors are those of a row.
    let mut bare = Field::new(HANDHELD, [0.0, 0.0]);
    for _ in 0..2 {
        let row = bare.reading(0, "top", 10.0, 30.0, 46.0);
        (row.true_azimuth_rad, row.inclination_rad, row.slope_m, row.vector) = (None, None, None, None);
    }
    let top = merge(&bare.group("height"), SIGMAS).unwrap().0.sightings[0].clone();
    let row = &bare.sightings[0];
    assert_eq!((top.true_azimuth_rad, top.inclination_rad, top.slope_m, top.vector), (None, None, None, None));
    assert_eq!(
        (top.sigma_azimuth_rad, top.sigma_inclination_rad, top.sigma_distance_m),
        (row.sigma_azimuth_rad, row.sigma_inclination_rad, row.sigma_distance_m)
    );
}
