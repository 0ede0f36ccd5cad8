//! What becomes of wrong echoes, other targets, pairs that disagree, and a name that is a class.

use super::*;
use crate::shots::repeats::{CRITICAL, SettledRepeats, Verdict, settle};

const PLACE: [f64; 3] = [60.0, 80.0, 12.0];

fn site() -> Site {
    // An instrument 1.6 m above its base.
    Site { rise_m: 1.6, ..Site::new(&[[0.0; 3], [150.0, -20.0, 4.0], [-40.0, 160.0, 1.0]], [0.4, 0.7], HANDHELD) }
}

fn beyond(site: &Site, base: usize, metres: f64) -> Repeat {
    site.shot(base, PLACE, Off { distance_m: metres, ..Off::default() }, [0.0; 3])
}

fn verdicts(settled: &SettledRepeats) -> Vec<Verdict> {
    match settled {
        SettledRepeats::Point { findings, .. } | SettledRepeats::Disagreeing { findings, .. } => {
            findings.iter().map(|f| f.verdict).collect()
        }
        SettledRepeats::NotOneFeature { .. } => Vec::new(),
    }
}

#[test]
fn the_agreed_pair_of_three_is_kept() {
    use Verdict::{Background, Foreground, Outlying};
    let site = site();
    let pair = [site.off(0, PLACE, [0.5, -0.3, 1.0]), site.off(0, PLACE, [-0.4, 0.6, -1.0])];
    for (metres, echo, want) in [
        (-20.0, None, Foreground),
        (-20.0, Some(Echo::First), Foreground),
        (-20.0, Some(Echo::Single), Foreground),
        (-20.0, Some(Echo::Tracking), Foreground),
        (-20.0, Some(Echo::Last), Outlying),
        (-20.0, Some(Echo::Prism), Outlying),
        (20.0, None, Background),
        (20.0, Some(Echo::Last), Background),
        (20.0, Some(Echo::Single), Background),
        (20.0, Some(Echo::First), Outlying),
        (20.0, Some(Echo::Prism), Outlying),
    ] {
        let wrong = Repeat { echo, ..beyond(&site, 0, metres) };
        let settled = settle(&site.bases, &[pair[0], wrong, pair[1]]).unwrap();
        assert_eq!(verdicts(&settled), [Verdict::Kept, want, Verdict::Kept], "{metres} {echo:?} {settled:?}");
        let SettledRepeats::Point { mean, findings } = settled else { panic!() };
        assert_eq!((mean.used, mean.set_aside), (2, 1));
        let alone = crate::shots::repeats::mean(&site.bases, &pair).unwrap();
        assert_eq!(mean.at, alone.at);
        // 20 m from the mean of the two; √(0.05² + 0.05²/2) = 0.061 24 m.
        assert!((findings[1].along.metres - metres).abs() < 1e-6, "{findings:?}");
        assert!((findings[1].along.sigmas - metres / 0.061_237).abs() < 0.1, "{findings:?}");
    }
}

#[test]
fn just_within_and_just_beyond_the_critical_value() {
    let site = site();
    let exact = site.off(0, PLACE, [0.0; 3]);
    // Three equal ones and a fourth, which agrees with them up to 3.5 · √2 · 0.05 = 0.247 m: the median of four is that of the
    // three, their robust scale 0. Standard error √(0.05² + 0.05² π/(2 · 4)) = 0.059 0 m, limit 0.206 5 m.
    let limit = CRITICAL * 0.05 * (1.0 + std::f64::consts::PI / 8.0).sqrt();
    for (share, want) in
        [(-1.01, Verdict::Foreground), (-0.99, Verdict::Kept), (0.99, Verdict::Kept), (1.01, Verdict::Background)]
    {
        let settled = settle(&site.bases, &[exact, beyond(&site, 0, share * limit), exact, exact]).unwrap();
        assert_eq!(verdicts(&settled)[1], want, "{share} {settled:?}");
        let SettledRepeats::Point { findings, .. } = settled else { panic!() };
        assert!((findings[1].along.sigmas - CRITICAL * share).abs() < 1e-6, "{findings:?}");
    }
}

#[test]
fn another_direction_is_another_target() {
    let site = site();
    let good = site.off(0, PLACE, [0.0; 3]);
    let left = site.shot(0, PLACE, Off { azimuth_rad: -5.0 * DEGREE, distance_m: -9.0, ..Off::default() }, [0.0; 3]);
    let above = site.shot(0, PLACE, Off { inclination_rad: 5.0 * DEGREE, ..Off::default() }, [0.0; 3]);
    let settled = settle(&site.bases, &[good, left, good, good, above]).unwrap();
    use Verdict::{Kept, Outlying};
    assert_eq!(verdicts(&settled), [Kept, Outlying, Kept, Kept, Outlying]);
    let SettledRepeats::Point { findings, .. } = settled else { panic!() };
    // 5° at the horizontal distance of 100 m, to the left; at the range of √(100² + 10.4²), upward.
    assert!((findings[1].across.metres + 100.0 * 5.0 * DEGREE).abs() < 1e-6, "{findings:?}");
    assert!((findings[4].normal.unwrap().metres - 100f64.hypot(10.4) * 5.0 * DEGREE).abs() < 1e-6, "{findings:?}");
}

#[test]
fn other_bases_tell_which_of_them_is_wrong() {
    let site = site();
    // One shot a base: the two that meet outvote the one that hit a branch halfway.
    let shots = [beyond(&site, 0, 0.0), beyond(&site, 1, -60.0), beyond(&site, 2, 0.1)];
    let settled = settle(&site.bases, &shots).unwrap();
    assert_eq!(verdicts(&settled), [Verdict::Kept, Verdict::Foreground, Verdict::Kept], "{settled:?}");
    // Two wrong ones of one base against three right ones of the others.
    let shots =
        [beyond(&site, 0, 0.0), beyond(&site, 1, 40.0), beyond(&site, 2, 0.1), beyond(&site, 1, 40.0), beyond(&site, 0, 0.05)];
    let settled = settle(&site.bases, &shots).unwrap();
    use Verdict::{Background, Kept};
    assert_eq!(verdicts(&settled), [Kept, Background, Kept, Background, Kept], "{settled:?}");
}

#[test]
fn two_that_disagree_are_kept_apart() {
    let site = site();
    let pair = [with_echo(beyond(&site, 0, 0.0), Echo::First), with_echo(beyond(&site, 0, 8.0), Echo::Last)];
    let SettledRepeats::Disagreeing { findings, apart } = settle(&site.bases, &pair).unwrap() else { panic!() };
    assert!(findings.iter().all(|f| f.verdict == Verdict::Disagreeing));
    // 8 m and √2 · 0.05 m.
    assert!((findings[0].along.metres + 8.0).abs() < 1e-6 && (findings[1].along.sigmas - 8.0 / 0.070_711).abs() < 0.01);
    // The horizontal part of 8 m along a sight that rises 10.4 m in 100.
    assert!((apart.horizontal_m - 8.0 * 100.0 / 100f64.hypot(10.4)).abs() < 1e-3, "{apart:?}");
    assert!((apart.up_m.unwrap() - 8.0 * 10.4 / 100f64.hypot(10.4)).abs() < 1e-3, "{apart:?}");
    // Of two bases, by more than both bases' errors allow.
    let two = [beyond(&site, 0, 0.0), beyond(&site, 1, 8.0)];
    assert!(matches!(settle(&site.bases, &two).unwrap(), SettledRepeats::Disagreeing { .. }));
    // Within them.
    let two = [beyond(&site, 0, 0.0), beyond(&site, 1, 0.8)];
    let SettledRepeats::Point { mean, .. } = settle(&site.bases, &two).unwrap() else { panic!() };
    assert_eq!(mean.used, 2);
}

#[test]
fn opposite_directions_do_not_agree() {
    let site = Site::new(&[[0.0; 3], [0.0, 200.0, 0.0]], [0.4, 0.7], HANDHELD);
    let there = site.off(0, [0.0, 100.0, 0.0], [0.0; 3]);
    let back = site.off(0, [0.0, -100.0, 0.0], [0.0; 3]);
    assert!(matches!(settle(&site.bases, &[there, back]).unwrap(), SettledRepeats::Disagreeing { .. }));
    let other = site.off(1, [0.0, 300.0, 0.0], [0.0; 3]);
    assert!(matches!(settle(&site.bases, &[there, other]).unwrap(), SettledRepeats::Disagreeing { .. }));
}

#[test]
fn a_class_name_is_not_one_feature() {
    let site = site();
    let mut normal = Normal(3);
    let trees: Vec<Repeat> = (0..500)
        .map(|i| site.off(i % 3, [200.0 * normal.draw(), 200.0 * normal.draw(), 5.0 * normal.draw()], [0.0; 3]))
        .collect();
    let SettledRepeats::NotOneFeature { apart, agreeing } = settle(&site.bases, &trees).unwrap() else { panic!() };
    assert!(agreeing < 10, "{agreeing}");
    // Every pair.
    let points: Vec<[f64; 3]> = trees
        .iter()
        .map(|t| {
            let v = t.vector;
            site.bases[0].frame.from_earth_centred(site.bases[t.base].frame.to_earth_centred([
                v.east_m,
                v.north_m,
                v.up_m.unwrap(),
            ]))
        })
        .collect();
    let greatest = points.iter().flat_map(|a| points.iter().map(move |b| (a[0] - b[0]).hypot(a[1] - b[1]))).fold(0.0, f64::max);
    assert!((apart.horizontal_m - greatest).abs() < 1e-9, "{apart:?} {greatest}");
    // Two and two: no more than half.
    let four = [0.0, 0.0, 9.0, 9.0].map(|metres| beyond(&site, 0, metres));
    assert!(matches!(settle(&site.bases, &four).unwrap(), SettledRepeats::NotOneFeature { agreeing: 2, .. }));
}

#[test]
fn more_than_half_of_many_are_found() {
    // 501 of one thing among 499 of others, more than are tried as the middle.
    let site = site();
    let mut normal = Normal(9);
    let mut shots: Vec<Repeat> =
        (0..499).map(|i| site.off(i % 3, [300.0 * normal.draw(), 300.0 * normal.draw(), 0.0], [0.0; 3])).collect();
    for i in 0..501 {
        let off: [f64; 3] = std::array::from_fn(|_| 0.7 * normal.draw());
        shots.insert(i, site.off(i % 3, PLACE, off));
    }
    let SettledRepeats::Point { mean, .. } = settle(&site.bases, &shots).unwrap() else { panic!() };
    // A few of the others lie there by chance.
    assert!((500..=506).contains(&mean.used), "{mean:?}");
    assert!(
        site.bases[0].frame.from_earth_centred(mean.at).iter().zip(PLACE).all(|(got, want)| (got - want).abs() < 0.2),
        "{mean:?}"
    );
}

#[test]
fn shots_without_height_are_judged_in_the_plane() {
    let site = site();
    let shots = [
        level(beyond(&site, 0, 0.0)),
        beyond(&site, 0, 0.05),
        level(beyond(&site, 0, -15.0)),
        level(beyond(&site, 0, 15.0)),
        beyond(&site, 0, 0.0),
    ];
    let settled = settle(&site.bases, &shots).unwrap();
    use Verdict::{Background, Foreground, Kept};
    assert_eq!(verdicts(&settled), [Kept, Kept, Foreground, Background, Kept], "{settled:?}");
    let SettledRepeats::Point { mean, findings } = settled else { panic!() };
    assert!(findings[2].normal.is_none() && findings[1].normal.is_some());
    // From the two with a height; a tenth of its standard error of 0.22 m is due to what inclination and distance share.
    assert!((mean.up_m.unwrap() - PLACE[2]).abs() < 0.05, "{mean:?}");
}

#[test]
fn a_scatter_greater_than_stated_is_not_an_outlier() {
    // Ranges that scatter twice as much as stated: the robust scale is theirs, and a shot at 6 stated errors is none of 3.5.
    let site = site();
    let mut shots: Vec<Repeat> =
        [-4.0, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0].map(|d| site.off(0, PLACE, [0.0, 0.0, d])).to_vec();
    shots.push(site.off(0, PLACE, [0.0, 0.0, 6.0]));
    let settled = settle(&site.bases, &shots).unwrap();
    assert!(verdicts(&settled).iter().all(|v| *v == Verdict::Kept), "{settled:?}");
    // Among three that agree exactly it is one.
    let zero = site.off(0, PLACE, [0.0; 3]);
    let settled = settle(&site.bases, &[zero, zero, zero, site.off(0, PLACE, [0.0, 0.0, 6.0])]).unwrap();
    assert_eq!(verdicts(&settled)[3], Verdict::Background);
}

#[test]
fn a_near_hit_is_seen_along_the_sight_of_a_high_instrument() {
    // From 1.6 m above the base a branch at 30 m of 100 m seems 1.6 (1/30 − 1/100) = 0.037 rad, 8 standard errors of 0.2°, too
    // high as seen from the ground.
    let site = site();
    let shots = [site.off(0, PLACE, [0.0; 3]), beyond(&site, 0, -70.0), site.off(0, PLACE, [0.0; 3])];
    let settled = settle(&site.bases, &shots).unwrap();
    assert_eq!(verdicts(&settled), [Verdict::Kept, Verdict::Foreground, Verdict::Kept], "{settled:?}");
    // So it is when the heights of instrument and target are not told.
    let untold = shots.map(|shot| Repeat { rise_m: 0.0, ..shot });
    let settled = settle(&site.bases, &untold).unwrap();
    assert_eq!(verdicts(&settled), [Verdict::Kept, Verdict::Outlying, Verdict::Kept], "{settled:?}");
}

#[test]
fn shots_without_length_and_straight_up_have_finite_results() {
    let site = Site::new(&[[0.0; 3], [5.0, 0.0, 0.0]], [0.0, 0.0], HANDHELD);
    // Without heights two bases 5 m apart, whose verticals differ by 5/6.37e6 rad, disagree by 24 µm about what is 30 m above.
    const TILT_M: f64 = 25e-6;
    let places = [[0.0; 3], [0.0, 0.0, 30.0], [1e-9, 0.0, -30.0], [5.0, 0.0, 0.0]];
    for place in places {
        for from in [&[0][..], &[0, 0], &[0, 1, 0], &[1, 1, 0, 0, 0]] {
            for flat in [false, true] {
                let shots: Vec<Repeat> = from
                    .iter()
                    .map(|base| site.off(*base, place, [0.0; 3]))
                    .map(|shot| if flat { level(shot) } else { shot })
                    .collect();
                let mean = crate::shots::repeats::mean(&site.bases, &shots).unwrap();
                let c = mean.parts.total();
                assert!(mean.at.iter().all(|x| x.is_finite()) && (c.ee + c.nn + c.uu).is_finite(), "{place:?} {from:?} {mean:?}");
                let at = site.bases[0].frame.from_earth_centred(mean.at);
                assert!(
                    (0..2).all(|k| (at[k] - place[k]).abs() < if flat { TILT_M } else { 1e-6 }),
                    "{place:?} {from:?} {mean:?}"
                );
                let SettledRepeats::Point { findings, .. } = settle(&site.bases, &shots).unwrap() else {
                    panic!("{place:?} {from:?}")
                };
                assert!(findings.iter().all(|f| f.verdict == Verdict::Kept && f.along.sigmas.is_finite()), "{findings:?}");
                let first = shots.iter().filter(|shot| shot.base == shots[0].base).copied().collect::<Vec<_>>();
                assert!(crate::shots::repeats::pull(&site.bases, &first).unwrap().at.iter().all(|x| x.is_finite()));
            }
        }
    }
}
