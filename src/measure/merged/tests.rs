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
