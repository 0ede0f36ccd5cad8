//! The stated standard errors against what invented errors of a fixed seed do to many calibrations.

use standoff::inside::field::calibrate::known_line::KnownLine;
use standoff::inside::field::calibrate::log::{CalibrationRows, CalibrationShot};
use standoff::inside::field::calibrate::{CalibrationResult, CalibrationRole, CalibrationSettings, Measure, calibrate};
use standoff::inside::geodesy::north::NorthKind;
use standoff::inside::records::shot::{Azimuth, Readings};

const RUNS: usize = 3000;
/// Three standard errors of a variance from RUNS values: 3·√(2/RUNS) = 7.7 %.
const SAMPLING: f64 = 0.08;
/// What the loss of a good reading in some hundred samples may add: the variance of the rest is too small.
const REJECTION: f64 = 0.03;

const SIGMA_AZIMUTH: f64 = 0.01;
const SIGMA_INCLINATION: f64 = 0.004;
const SIGMA_DISTANCE: f64 = 0.1;
/// Planted: what the instrument reads too high.
const OFF: [f64; 3] = [0.03, -0.01, 0.2];

/// Normal deviates of a fixed seed: the sum of twelve uniform ones, less six.
struct Normal(u64);

impl Normal {
    fn next(&mut self) -> f64 {
        let uniform = |state: &mut u64| {
            // Knuth's linear congruential generator (MMIX); its high bits.
            *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (*state >> 11) as f64 / (1u64 << 53) as f64
        };
        (0..12).map(|_| uniform(&mut self.0)).sum::<f64>() - 6.0
    }
}

/// A shot whose true values are these, read by the instrument.
fn shot(
    random: &mut Normal,
    measure: Measure,
    role: Option<CalibrationRole>,
    [azimuth, inclination, slope]: [f64; 3],
) -> CalibrationShot {
    CalibrationShot {
        file: "invented.csv".into(),
        line: 2,
        measure,
        role,
        base: String::new(),
        feature: String::new(),
        instrument: String::new(),
        readings: Readings {
            azimuth: Some(Azimuth {
                north: NorthKind::True,
                azimuth_rad: (azimuth + OFF[0] + SIGMA_AZIMUTH * random.next()).rem_euclid(std::f64::consts::TAU),
                as_read: azimuth,
            }),
            inclination_rad: Some(inclination + OFF[1] + SIGMA_INCLINATION * random.next()),
            slope_m: Some(slope + OFF[2] + SIGMA_DISTANCE * random.next()),
            ..Readings::default()
        },
    }
}

fn settings(keep_all: bool, line: KnownLine) -> CalibrationSettings {
    let mut settings = CalibrationSettings { line, refraction: 1.0, keep_all, ..CalibrationSettings::default() };
    settings.assumed.azimuth_rad = SIGMA_AZIMUTH;
    settings.assumed.inclination_rad = SIGMA_INCLINATION;
    settings.assumed.distance_m = SIGMA_DISTANCE;
    settings
}

/// Runs a calibration many times; gives for each correction the ratio of the variance that was to the mean
/// of the variances that were stated, and the mean error in standard errors of that mean.
fn ratios(mut one: impl FnMut() -> CalibrationResult) -> Vec<(f64, f64)> {
    let runs: Vec<CalibrationResult> = (0..RUNS).map(|_| one()).collect();
    (0..runs[0].corrections.len())
        .map(|i| {
            let quantity = runs[0].corrections[i].quantity as usize;
            let errors: Vec<f64> = runs.iter().map(|run| run.corrections[i].value + OFF[quantity]).collect();
            let stated = runs.iter().map(|run| run.corrections[i].sigma.powi(2)).sum::<f64>() / RUNS as f64;
            let mean = errors.iter().sum::<f64>() / RUNS as f64;
            let actual = errors.iter().map(|error| error * error).sum::<f64>() / RUNS as f64;
            (actual / stated, mean / (actual / RUNS as f64).sqrt())
        })
        .collect()
}

#[track_caller]
fn assert_honest(ratios: &[(f64, f64)], allowed: f64, count: usize) {
    assert_eq!(ratios.len(), count);
    for (ratio, bias) in ratios {
        assert!((ratio - 1.0).abs() < allowed, "{ratios:?}");
        // 4: one in 16,000 by chance.
        assert!(bias.abs() < 4.0, "{ratios:?}");
    }
}

/// Repeats over a known line across north, whose known values have errors of their own.
fn known_line(keep_all: bool, repeats: usize, seed: u64) -> Vec<(f64, f64)> {
    let mut random = Normal(seed);
    let truth = [0.005, 0.1, 150.0];
    ratios(|| {
        let line = KnownLine {
            azimuth: Some((truth[0] + 0.006 * random.next(), NorthKind::True, 0.006)),
            inclination_rad: Some((truth[1] + 0.001 * random.next(), 0.001)),
            slope_m: Some((truth[2] + 0.05 * random.next(), 0.05)),
            ..KnownLine::default()
        };
        let shots = (0..repeats).map(|_| shot(&mut random, Measure::KnownLine, None, truth)).collect();
        let mut settings = settings(keep_all, line);
        settings.refraction = 0.0;
        calibrate(CalibrationRows { shots, ..CalibrationRows::default() }, &settings).unwrap()
    })
}

#[test]
fn of_a_known_line() {
    assert_honest(&known_line(true, 5, 11), SAMPLING, 3);
    assert_honest(&known_line(true, 2, 12), SAMPLING, 3);
}

#[test]
fn of_a_known_line_whose_outliers_are_left_out() {
    for repeats in [3, 5, 10] {
        assert_honest(&known_line(false, repeats, 13), SAMPLING + REJECTION, 3);
    }
}

#[test]
fn of_a_single_shot_the_instruments_own() {
    assert_honest(&known_line(false, 1, 14), SAMPLING, 3);
}

fn of_roles(roles: &[(CalibrationRole, [f64; 3], usize)], measure: Measure, seed: u64) -> Vec<(f64, f64)> {
    let mut random = Normal(seed);
    ratios(|| {
        let mut shots = Vec::new();
        for (role, truth, repeats) in roles {
            shots.extend((0..*repeats).map(|_| shot(&mut random, measure, Some(*role), *truth)));
        }
        calibrate(CalibrationRows { shots, ..CalibrationRows::default() }, &settings(true, KnownLine::default())).unwrap()
    })
}

#[test]
fn of_two_ways() {
    let roles = [(CalibrationRole::Forth, [1.0, 0.05, 300.0], 4), (CalibrationRole::Back, [4.1, -0.05, 300.0], 2)];
    assert_honest(&of_roles(&roles, Measure::TwoWay, 21), SAMPLING, 1);
}

#[test]
fn of_two_pegs() {
    // A long steep pair, so that distances count too; one height difference, 24 m down from A to B.
    let sight = |rise: f64, d: f64| [0.0, rise.atan2(d), rise.hypot(d)];
    let roles = [
        (CalibrationRole::MidA, sight(12.0, 30.0), 3),
        (CalibrationRole::MidB, sight(-12.0, 30.0), 3),
        (CalibrationRole::NearA, sight(0.5, 4.0), 3),
        (CalibrationRole::NearB, sight(-23.5, 56.0), 3),
    ];
    // The planted 0.2 m of every distance moves the heights by 0.2 sin I: a bias that a distance correction
    // would take off; here it is taken off the readings.
    let mut random = Normal(31);
    let found = ratios(|| {
        let mut shots = Vec::new();
        for (role, truth, repeats) in roles {
            shots.extend((0..repeats).map(|_| {
                let mut shot = shot(&mut random, Measure::TwoPeg, Some(role), truth);
                shot.readings.slope_m = shot.readings.slope_m.map(|metres| metres - OFF[2]);
                shot
            }));
        }
        calibrate(CalibrationRows { shots, ..CalibrationRows::default() }, &settings(true, KnownLine::default())).unwrap()
    });
    assert_honest(&found, SAMPLING, 1);
}
