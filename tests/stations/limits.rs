//! The mean of a stand's epochs at its limits: what is set aside just inside and just outside of 4 standard errors, horizontally and in
//! height, by the scatter and by what the receiver states; standard errors by kind of fix. On a plane grid, so that every distance is exact.

use jiff::Timestamp;
use standoff::inside::records::base_row::{Coordinates, Height};
use standoff::inside::records::fix::Fix;
use standoff::inside::stations::occupation::average::{average, sigma_of};
use standoff::job::FixKind;

fn fix(second: i64, [east_m, north_m, up_m]: [f64; 3], sigma_m: Option<[f64; 3]>) -> Fix {
    Fix {
        file: 0,
        line: second as u64 + 1,
        instant: Timestamp::from_second(1_777_881_600 + second).unwrap(),
        coordinates: Coordinates::Projected { east_m, north_m },
        height: Some(Height::Ellipsoid(up_m)),
        separation_m: None,
        kind: FixKind::Single,
        satellites: None,
        hdop: None,
        pdop: None,
        sigma_m,
        speed_m_s: None,
    }
}

/// What is set aside of 41 epochs, of which 40 lie `radius_m` east, north, west and south of the middle by turns, and `rise_m` above it, on
/// its level, below it and on its level; and one, the 21st, `off` it. The medians are the middle, `radius_m` and `rise_m`.
fn aside(radius_m: f64, rise_m: f64, sigma_m: Option<[f64; 3]>, off: [f64; 3]) -> Vec<(usize, f64)> {
    let mut fixes: Vec<Fix> = (0..40)
        .map(|i| {
            let (sin, cos) = [(0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0)][i as usize % 4];
            fix(i, [radius_m * cos, radius_m * sin, 100.0 + rise_m * cos], sigma_m)
        })
        .collect();
    fixes.insert(20, fix(40, [off[0], off[1], 100.0 + off[2]], sigma_m));
    let mean = average(&fixes.iter().collect::<Vec<_>>(), 0.0);
    mean.aside.iter().enumerate().filter_map(|(i, off)| off.map(|off| (i, off))).collect()
}

/// The 21st alone is set aside, so far off.
#[track_caller]
fn assert_aside(found: &[(usize, f64)], off_m: f64) {
    let [(20, off)] = found[..] else { panic!("{found:?}") };
    assert!((off - off_m).abs() < 1e-9, "{off}");
}

/// Scatter far below what is stated.
const LITTLE_M: f64 = 0.001;

#[test]
fn four_standard_errors_as_the_receiver_states_them() {
    // σ east 0.3 and north 0.5: that of an axis is √((0.09 + 0.25)/2) = 0.4123, four of them 1.6492.
    let of = |off: [f64; 3]| aside(LITTLE_M, LITTLE_M, Some([0.3, 0.5, 0.8]), off);
    assert_eq!(of([1.649, 0.0, 0.0]), []);
    assert_aside(&of([1.650, 0.0, 0.0]), 1.650);
    // It counts how far, not on which axis: 1.6492/√2 = 1.1662.
    assert_eq!(of([1.166, -1.166, 0.0]), []);
    assert_aside(&of([1.167, -1.167, 0.0]), 1.167 * 2f64.sqrt());
}

#[test]
fn four_standard_errors_of_height() {
    // 4 · 0.8 m, above and below; it is told how far up or down.
    for side in [1.0, -1.0] {
        let of = |up_m: f64| aside(LITTLE_M, LITTLE_M, Some([0.3, 0.5, 0.8]), [0.0, 0.0, side * up_m]);
        assert_eq!(of(3.199), []);
        assert_aside(&of(3.201), 3.201);
    }
    // Off in both: the horizontal distance is told.
    assert_aside(&aside(LITTLE_M, LITTLE_M, Some([0.3, 0.5, 0.8]), [5.0, 0.0, 7.0]), 5.0);
}

#[test]
fn four_standard_errors_by_the_scatter_where_that_is_larger() {
    let stated = Some([0.01, 0.01, 0.01]);
    // The median distance of a bivariate normal distribution is √(2 ln 2) = 1.17741 standard errors of an axis (1 − exp(−r²/2) = ½): a scatter of
    // 0.6 m stands for 0.50959 m, four of them 2.03837.
    let of = |off_m: f64| aside(0.6, LITTLE_M, stated, [0.0, off_m, 0.0]);
    assert_eq!(of(2.038), []);
    assert_aside(&of(2.039), 2.039);
    // In height the median deviation is 0.67449 standard errors (Φ⁻¹(¾), common tables): 0.3 m stands for 0.44478, four of them 1.77912.
    let of = |up_m: f64| aside(LITTLE_M, 0.3, stated, [0.0, 0.0, up_m]);
    assert_eq!(of(1.779), []);
    assert_aside(&of(1.780), 1.780);
}

#[test]
fn two_epochs_do_not_judge_each_other() {
    let of = |count: i64| {
        let fixes: Vec<Fix> = (0..count).map(|i| fix(i, [if i == 0 { 50.0 } else { 0.0 }, 0.0, 100.0], Some([0.1; 3]))).collect();
        average(&fixes.iter().collect::<Vec<_>>(), 0.0).aside
    };
    assert_eq!(of(2), [None, None]);
    assert_eq!(of(3), [Some(50.0), None, None]);
}

/// By kind, times HDOP, 1.5 where there is none; in height 1.8 times that (common practice, no source).
#[test]
fn standard_errors_by_kind() {
    for (kind, metres) in [
        (FixKind::Fixed, 0.015),
        (FixKind::Float, 0.25),
        (FixKind::Differential, 0.8),
        (FixKind::Single, 2.0),
        (FixKind::Unknown, 2.5),
        (FixKind::Estimated, 10.0),
        (FixKind::Manual, 10.0),
        (FixKind::Simulated, 10.0),
    ] {
        for (hdop, factor) in [(Some(1.0), 1.0), (Some(2.4), 2.4), (None, 1.5), (Some(0.0), 1.5)] {
            let [east, north, up] = sigma_of(&Fix { kind, hdop, ..fix(0, [0.0; 3], None) });
            let want = metres * factor;
            assert!(
                (east - want).abs() < 1e-12 && north == east && (up - 1.8 * want).abs() < 1e-12,
                "{kind:?} {hdop:?}: {east} {up}"
            );
        }
        // What the receiver states goes first, down to a tenth of a millimetre.
        assert_eq!(sigma_of(&Fix { kind, ..fix(0, [0.0; 3], Some([0.2, 0.3, 0.0])) }), [0.2, 0.3, 1e-4]);
    }
}
