use std::sync::Arc;

use super::support::{Read, base, base_number, group, row};
use super::*;
use crate::geodesy::register::{BaseErrors, Cause, Shares, position_arms};

/// What central differences leave, as a share.
const SHARE: f64 = 1e-6;

fn plain() -> Origin {
    base(Covariance { ee: 0.09, en: 0.02, eu: -0.01, nn: 0.16, nu: 0.03, uu: 0.25 })
}

fn read(row: &RoleShot) -> Result<MeasureReading, Refusal> {
    MeasureReading::from_row(&group("height", &[plain()], &[]), row)
}

#[test]
fn which_distance_is_the_measured_one() {
    let both = row("top").slope(50.0).horizontal(40.0);
    for (row, want) in [
        (both.clone().inclination(30.0), Some(MeasuredDistance::Slope(50.0))),
        (both, Some(MeasuredDistance::Horizontal(40.0))),
        (row("top").slope(50.0).inclination(30.0), Some(MeasuredDistance::Slope(50.0))),
        (row("top").horizontal(40.0).inclination(30.0), Some(MeasuredDistance::Horizontal(40.0))),
        (row("top").slope(50.0), None),
        (row("top").inclination(30.0), None),
    ] {
        assert_eq!(read(&row).unwrap().distance, want, "{row:?}");
    }
    let given = row("top").azimuth(10.0).inclination(20.0).slope(30.0).errors([0.1, 0.0, 0.2, 0.3]);
    let reading = read(&RoleShot { refraction: 0.13, ..given }).unwrap();
    assert_eq!((reading.azimuth_rad, reading.inclination_rad), (Some(10f64.to_radians()), Some(20f64.to_radians())));
    assert_eq!(reading.sigmas, [0.1f64.to_radians(), 0.2f64.to_radians(), 0.3]);
    assert_eq!((reading.refraction, reading.earth_radius_m), (0.13, plain().earth_radius_m));
}

#[test]
fn readings_that_cannot_be_are_refused() {
    for bad in [0.0, -3.0, f64::NAN, f64::INFINITY] {
        for row in [row("top").slope(bad).inclination(5.0), row("top").horizontal(bad)] {
            let refusal = read(&row).unwrap_err();
            assert!(
                refusal.starts_with("height of Lone Larch: row top-1 has a distance of ")
                    && refusal.ends_with("; measure it again")
            );
        }
    }
    assert!(read(&row("top").horizontal(1e-6)).is_ok());
    // A slope distance that cannot be levelled is none, whatever it says.
    assert!(read(&row("top").slope(-3.0)).is_ok());
    let beyond = |angle: f64| read(&RoleShot { inclination_rad: Some(angle), ..row("top") });
    assert!(beyond(FRAC_PI_2).is_ok() && beyond(-FRAC_PI_2).is_ok());
    for angle in [FRAC_PI_2 + 1e-9, -FRAC_PI_2 - 1e-9, f64::NAN] {
        assert_eq!(
            beyond(angle).unwrap_err(),
            "height of Lone Larch: row top-1 has an inclination beyond 90\u{b0}; correct its unit or its kind (zenith angles are another kind)"
        );
    }
    for azimuth in [f64::NAN, f64::INFINITY] {
        assert_eq!(
            read(&row("top").azimuth(azimuth)).unwrap_err(),
            "height of Lone Larch: row top-1 has an azimuth that is no number; correct it"
        );
    }
    assert!(read(&row("top").azimuth(700.0)).is_ok());
}

/// 50 m at 30°: 25 √3 m and 25 m; 40 m level at 45°.
#[test]
fn levelled_by_its_own_distance() {
    let own = |row: RoleShot| read(&row).unwrap().own();
    let near = |got: Option<(f64, Option<f64>)>, run: f64, rise: f64| {
        let (got_run, got_rise) = got.unwrap();
        assert!((got_run - run).abs() < 1e-9 && (got_rise.unwrap() - rise).abs() < 1e-9, "{got:?}");
    };
    near(own(row("top").slope(50.0).inclination(30.0)), 25.0 * 3f64.sqrt(), 25.0);
    near(own(row("top").slope(50.0).inclination(-30.0)), 25.0 * 3f64.sqrt(), -25.0);
    near(own(row("top").horizontal(40.0).inclination(45.0)), 40.0, 40.0);
    assert_eq!(own(row("top").horizontal(40.0)), Some((40.0, None)));
    assert_eq!((own(row("top").slope(40.0)), own(row("top").inclination(4.0))), (None, None));
    let alone = MeasureReading { inclination_rad: None, ..read(&row("top").slope(50.0).inclination(30.0)).unwrap() };
    assert_eq!(alone.own(), None);
    let reading = read(&row("top").inclination(-45.0)).unwrap();
    assert!((reading.rise_at(12.0).unwrap() + 12.0).abs() < 1e-9);
    assert_eq!(read(&row("top").horizontal(40.0)).unwrap().rise_at(12.0), None);
    // Refraction of k = 0.13 lowers the rise over 1 km by k d²/2R = 10 mm.
    let bent = MeasureReading { refraction: 0.13, ..read(&row("top").horizontal(1000.0).inclination(0.0)).unwrap() };
    let fall = 0.13 * 1e6 / (2.0 * bent.earth_radius_m);
    assert!((bent.own().unwrap().1.unwrap() + fall).abs() < 1e-6 && (bent.rise_at(1000.0).unwrap() + fall).abs() < 1e-6);
}

#[test]
fn a_run_errs_by_its_readings_and_corrections() {
    let shares = Shares { inclination_rad: 0.004, distance_m: 0.03, ..Shares::default() };
    let sloping = row("top").slope(50.0).inclination(30.0).errors([0.0, 0.0, 0.2, 0.05]);
    let run = read(&RoleShot { shares, ..sloping }).unwrap().run().unwrap();
    // d cos I: by the inclination d sin I a radian, by the distance cos I.
    let want = (25.0 * 0.2f64.to_radians().hypot(0.004)).hypot(30f64.to_radians().cos() * 0.05f64.hypot(0.03));
    assert!((run.value - 25.0 * 3f64.sqrt()).abs() < 1e-9 && (run.sigma / want - 1.0).abs() < SHARE, "{run:?} {want}");
    let level = read(&row("top").horizontal(40.0).errors([0.0, 0.0, 0.2, 0.05])).unwrap().run().unwrap();
    assert!((level.value - 40.0).abs() < 1e-12 && (level.sigma / 0.05 - 1.0).abs() < SHARE);
    assert_eq!(read(&row("top").slope(40.0)).unwrap().run(), None);
}

/// Two rows that share a declination, a set-up and corrections: f = a A₁ + b A₂ + c I₁ + d I₂ + e S₁ + g S₂ and the like, so that the
/// variance is the sum of squares of each reading's own part and of the sums of what is shared.
#[test]
fn values_err_by_each_reading_and_by_what_they_share() {
    let shares = Shares {
        declination: 1,
        declination_rad: 0.01,
        calibration: 2,
        azimuth_rad: 0.02,
        inclination_rad: 0.03,
        distance_m: 0.4,
    };
    let other = Shares { azimuth_rad: 0.025, inclination_rad: 0.035, distance_m: 0.5, ..shares };
    let rows = [("left", shares), ("right", other)].map(|(role, shares)| RoleShot {
        shares,
        ..row(role).azimuth(20.0).inclination(10.0).slope(30.0).errors([1.0, 0.0, 2.0, 0.3])
    });
    let mut base = plain();
    base.errors = BaseErrors::from_covariance(0, &base.errors.covariance(), 0.05);
    let bases = [base];
    let group = group("width", &bases, &rows);
    let readings: Vec<MeasureReading> = rows.iter().map(|row| MeasureReading::from_row(&group, row).unwrap()).collect();
    let by = [[1.0, -2.0, 0.5, 1.5, 0.2, -0.3], [3.0, 0.7, -1.0, 0.4, 0.1, 0.6]];
    let arms = Arms::propagate(&readings, |readings| {
        let value = |n: usize| {
            readings.iter().enumerate().try_fold(0.0, |sum, (i, reading)| {
                let Some(MeasuredDistance::Slope(slope_m)) = reading.distance else { return None };
                Some(sum + by[n][i] * reading.azimuth_rad? + by[n][2 + i] * reading.inclination_rad? + by[n][4 + i] * slope_m)
            })
        };
        Some([value(0)?, value(1)?])
    })
    .unwrap();
    let (turn, tilt) = (20f64.to_radians(), 10f64.to_radians());
    let own = [1f64.to_radians(), 1f64.to_radians(), 2f64.to_radians(), 2f64.to_radians(), 0.3, 0.3];
    for factors in [[1.0, 0.0], [0.0, 1.0], [2.0, -1.5]] {
        let g: [f64; 6] = std::array::from_fn(|k| factors[0] * by[0][k] + factors[1] * by[1][k]);
        let value = (g[0] + g[1]) * turn + (g[2] + g[3]) * tilt + (g[4] + g[5]) * 30.0;
        let shared = [
            (g[0] + g[1]) * 0.05,
            (g[0] + g[1]) * 0.01,
            g[0] * 0.02 + g[1] * 0.025,
            g[2] * 0.03 + g[3] * 0.035,
            g[4] * 0.4 + g[5] * 0.5,
        ];
        let alone = g.iter().zip(own).map(|(g, sigma)| g * sigma);
        let sigma = alone.chain(shared).map(|x| x * x).sum::<f64>().sqrt();
        let got = arms.combined(factors);
        assert!((got.value - value).abs() < 1e-9 && (got.sigma / sigma - 1.0).abs() < SHARE, "{factors:?}: {got:?} {sigma}");
    }
    assert_eq!((arms.estimate(0), arms.estimate(1)), (arms.combined([1.0, 0.0]), arms.combined([0.0, 1.0])));
    // What gives nothing has no arms: at once, or where a reading is moved.
    assert!(Arms::<1>::propagate(&readings, |_| None).is_none());
    let once = |readings: &[MeasureReading]| (readings[1].azimuth_rad? == turn).then_some([1.0]);
    assert!(Arms::propagate(&readings, once).is_none());
}

/// The point of one shot by its arms has the covariance that the shot's vector has in closed form, also where sights found the orientation of its
/// base, so that position and azimuth hang together.
#[test]
fn the_point_of_a_shot_has_the_covariance_of_its_vector() {
    let covariance = plain().errors.covariance();
    let sights = ErrorId::new(Cause::Sights, 4, 0);
    let position = position_arms(3, &covariance);
    let found = vec![(position[0].0, 0.006), (position[1].0, -0.004), (sights, 0.005)];
    let together = BaseErrors::new(3, position, Some(found), 0.0, Arc::default());
    assert!(together.azimuth_with_position().iter().any(|both| both.abs() > 1e-4));
    let as_read = BaseErrors::from_covariance(3, &covariance, 0.007);
    let shares = Shares {
        declination: 1,
        declination_rad: 0.003,
        calibration: 2,
        azimuth_rad: 0.002,
        inclination_rad: 0.004,
        distance_m: 0.05,
    };
    for errors in [together, as_read] {
        let origin = Origin { errors, ..plain() };
        let sloping = row("top").azimuth(35.0).inclination(20.0).slope(60.0).errors([0.3, 0.0, 0.2, 0.1]);
        let row = RoleShot { shares, ..sloping }.whole();
        let vector = row.vector.unwrap();
        let bases = [origin];
        let group = group("height", &bases, std::slice::from_ref(&row));
        let reading = MeasureReading::from_row(&group, &row).unwrap();
        let arms = Arms::propagate(&[reading], |readings| {
            let (run, rise) = readings[0].own()?;
            let (sin, cos) = readings[0].azimuth_rad?.sin_cos();
            Some([7.0, run * sin, run * cos, rise?])
        })
        .unwrap();
        let (at, got) = arms.point(1, &bases[0]);
        // The axis stands 1.6 m over the base's ground point.
        let place = [vector.east_m, vector.north_m, vector.up_m.unwrap() - 1.6];
        assert!((0..3).all(|k| (at[k] - place[k]).abs() < 1e-9), "{at:?} {place:?}");
        let want = vector.covariance(&bases[0]);
        let all = |c: Covariance| [c.ee, c.en, c.eu, c.nn, c.nu, c.uu];
        for (got, want) in all(got).into_iter().zip(all(want)) {
            assert!((got - want).abs() < 1e-6, "{got} {want}");
        }
    }
}

#[test]
fn a_role_may_stand_once_or_not_at_all() {
    let bases = [plain()];
    let rows = [row("left"), row("bark"), row("left"), row("plane")];
    let group = group("width", &bases, &rows);
    assert_eq!(at_most_one(&group, "centre"), Ok(None));
    assert_eq!(at_most_one(&group, "plane").unwrap().map(|row| row.label.as_str()), Some("plane-1"));
    assert_eq!(at_most_one(&group, "left").unwrap_err(), "width of Lone Larch has two rows with role left; the second is left-1");
    assert_eq!(
        unknown_roles(&group, &["left", "plane"]),
        ["row bark-1 has the role bark, which a width does not use; its roles are left, plane"]
    );
    assert!(unknown_roles(&group, &["left", "plane", "bark"]).is_empty());
}

/// Shots of two bases turn each about its own.
#[test]
fn bases_turn_apart() {
    let bases = [0, 1].map(|number| Origin {
        errors: BaseErrors::from_covariance(number, &Covariance::default(), 0.02),
        ..base_number(number, Covariance::default())
    });
    let rows = [row("left").azimuth(1.0), RoleShot { base: 1, ..row("right").azimuth(2.0) }];
    let sigma = |bases: &[Origin], rows: &[RoleShot]| {
        let group = group("width", bases, rows);
        let readings: Vec<MeasureReading> = rows.iter().map(|row| MeasureReading::from_row(&group, row).unwrap()).collect();
        let turn = Arms::propagate(&readings, |readings| Some([readings[1].azimuth_rad? - readings[0].azimuth_rad?]));
        turn.unwrap().estimate(0).sigma
    };
    assert!((sigma(&bases, &rows) / (0.02 * 2f64.sqrt()) - 1.0).abs() < SHARE);
    assert!(sigma(&bases, &rows.map(|row| RoleShot { base: 0, ..row })) < 1e-9);
}
