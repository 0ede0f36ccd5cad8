use super::*;
use crate::geodesy::covariance::Covariance;
use crate::measure::fixture::{Scene, exact, sigmas};
use crate::numeric::monte_carlo::{Normal, deviation};
use crate::shots::reduce::SightSigmas;

/// The horizontal plane at the line's start for 60 m of height and distance: 60² m² / R.
const EXACT_M: f64 = 1e-3;

type Rows<'a> = &'a [(&'a str, &'a str, [f64; 3])];

fn scene(bases: &[[f64; 3]], sigmas: SightSigmas, rows: Rows<'_>) -> Scene {
    let mut scene = Scene::new(bases, sigmas);
    for (i, (role, label, at)) in rows.iter().enumerate() {
        scene.row(i % bases.len(), role, label, *at);
    }
    scene
}

fn compose_rows(rows: Rows<'_>) -> Result<(Composed, Vec<ProfileStation>), Refusal> {
    measure(&scene(&[[0.0; 3]], exact(), rows).group("profile", "Dam"), OFFSET_LIMIT_M)
}

fn told(stations: &[ProfileStation]) -> Vec<(&str, [f64; 2])> {
    stations.iter().map(|s| (s.label.as_str(), [s.chainage_m.value, s.offset_m.value])).collect()
}

fn assert_told(stations: &[ProfileStation], want: &[(&str, [f64; 2])]) {
    let got = told(stations);
    assert_eq!(got.len(), want.len());
    for ((got_label, got), (label, want)) in got.iter().zip(want) {
        assert_eq!(got_label, label);
        assert!((0..2).all(|k| (got[k] - want[k]).abs() < EXACT_M), "{label}: {got:?} {want:?}");
    }
}

#[test]
fn a_straight_line_by_the_3_4_5_triangle() {
    // From (10, 10) towards (40, 50): 50 m, d = (0.6, 0.8), right of it (0.8, −0.6).
    let at = |chainage: f64, right: f64, up: f64| [10.0 + 0.6 * chainage + 0.8 * right, 10.0 + 0.8 * chainage - 0.6 * right, up];
    let (composed, stations) = compose_rows(&[
        ("point", "P1", at(35.0, 5.0, 2.0)),
        ("start", "A", [10.0, 10.0, 0.0]),
        ("end", "B", [40.0, 50.0, 1.0]),
        ("point", "P2", at(12.5, -3.0, -1.0)),
        ("point", "P3", at(-4.0, 1.0, 0.0)),
        ("point", "P4", at(57.0, -25.0, 0.0)),
    ])
    .unwrap();
    assert_told(&stations, &[("P3", [-4.0, 1.0]), ("P2", [12.5, -3.0]), ("P1", [35.0, 5.0]), ("P4", [57.0, -25.0])]);
    assert!((composed.values[0].estimate.value - 50.0).abs() < EXACT_M);
    // The line's own points stand among the stations of the measurement, at offset 0.
    let all = [
        ("P3", [-4.0, 1.0]),
        ("A", [0.0; 2]),
        ("P2", [12.5, -3.0]),
        ("P1", [35.0, 5.0]),
        ("B", [50.0, 0.0]),
        ("P4", [57.0, -25.0]),
    ];
    assert_told(&composed.stations, &all);
    assert_eq!(
        composed.stations.iter().map(|s| s.role.as_str()).collect::<Vec<_>>(),
        ["point", "start", "point", "point", "end", "point"]
    );
    assert_eq!(composed.stations[3].place, (0, 2));
    assert_eq!(
        (composed.values[0].name, composed.values[1].name, composed.values[1].estimate.value),
        ("length_m", "points", 4.0)
    );
    // The base is 600 m above the ellipsoid; 17 m and 37 m off, 0.3 mm and less.
    assert!((stations[1].height_m.value - 599.0).abs() < EXACT_M && (stations[2].height_m.value - 602.0).abs() < EXACT_M);
    assert_eq!(
        composed.warnings,
        [
            "P3 lies 4.0 m before the start of the line",
            "P4 lies 7.0 m beyond the end of the line",
            "P4 lies 25.0 m to the left of the line, beyond the limit of 20 m",
        ]
    );
    let Shape::Line(line) = &composed.shape else { panic!("{composed:?}") };
    assert_eq!(line.len(), 2);
}

#[test]
fn a_chain_with_a_bend() {
    // 30 m north, then 40 m east: a turn to the right at chainage 30.
    let (composed, stations) = compose_rows(&[
        ("line", "L1", [5.0, 5.0, 0.0]),
        ("line", "L2", [5.0, 35.0, 0.0]),
        ("line", "L3", [45.0, 35.0, 0.0]),
        // Right of the first leg; left of the second; outside the bend, 3 west and 4 north of it.
        ("point", "P1", [7.0, 15.0, 0.0]),
        ("point", "P2", [25.0, 36.5, 0.0]),
        ("point", "P3", [2.0, 39.0, 0.0]),
        // Inside the bend the nearer leg counts: 3 from the first, 5 from the second.
        ("point", "P4", [8.0, 30.0, 0.0]),
        // West of the first leg, and behind the second's end.
        ("point", "P5", [4.0, 20.0, 0.0]),
        ("point", "P6", [50.0, 33.0, 0.0]),
    ])
    .unwrap();
    assert_told(
        &stations,
        &[
            ("P1", [10.0, 2.0]),
            ("P5", [15.0, -1.0]),
            ("P4", [25.0, 3.0]),
            ("P3", [30.0, -5.0]),
            ("P2", [50.0, -1.5]),
            ("P6", [75.0, 2.0]),
        ],
    );
    assert!((composed.values[0].estimate.value - 70.0).abs() < EXACT_M);
    assert_eq!(composed.method, "chainage and offset from the nearest of 2 legs");
    assert_eq!(composed.warnings, ["P6 lies 5.0 m beyond the end of the line"]);
}

#[test]
fn a_chain_that_turns_left_has_its_outside_on_the_right() {
    // 30 m north, then west; 3 east and 4 north of the bend.
    let rows: Rows<'_> = &[
        ("line", "L1", [5.0, 5.0, 0.0]),
        ("line", "L2", [5.0, 35.0, 0.0]),
        ("line", "L3", [-35.0, 35.0, 0.0]),
        ("point", "P1", [8.0, 39.0, 0.0]),
    ];
    assert_told(&compose_rows(rows).unwrap().1, &[("P1", [30.0, 5.0])]);
}

#[test]
fn the_continuation_of_a_leg_does_not_reach_across_the_line() {
    // The second leg runs back beside the first: P1 is 1 m from it, and 0 m from the first leg's continuation backwards.
    let rows: Rows<'_> = &[
        ("line", "L1", [5.0, 20.0, 0.0]),
        ("line", "L2", [5.0, 60.0, 0.0]),
        ("line", "L3", [6.0, -40.0, 0.0]),
        ("point", "P1", [5.0, -20.0, 0.0]),
    ];
    let stations = compose_rows(rows).unwrap().1;
    assert!(stations[0].chainage_m.value > 119.0 && stations[0].offset_m.value > 0.7, "{stations:?}");
}

#[test]
fn standard_errors_are_those_of_draws() {
    const DRAWS: usize = 4000;
    // Four standard errors of a standard deviation of so many, 4 / √8000.
    const OFF: f64 = 0.045;
    let rows: Rows<'_> = &[
        ("line", "L1", [20.0, 15.0, 0.0]),
        ("line", "L2", [25.0, 55.0, 2.0]),
        ("line", "L3", [75.0, 65.0, 3.0]),
        ("point", "P1", [18.0, 40.0, 1.0]),
        ("point", "P2", [55.0, 56.0, 4.0]),
        // Outside of the bend.
        ("point", "P3", [19.0, 64.0, 4.0]),
    ];
    for bases in [&[[0.0; 3]][..], &[[0.0; 3], [60.0, 20.0, 1.0]]] {
        let scene = scene(bases, sigmas(), rows);
        let (composed, stations) = measure(&scene.group("profile", "Dam"), OFFSET_LIMIT_M).unwrap();
        let mut normal = Normal::seeded(17);
        let runs: Vec<(Composed, Vec<ProfileStation>)> =
            (0..DRAWS).map(|_| measure(&scene.drawn("profile", "Dam", &mut normal), OFFSET_LIMIT_M).unwrap()).collect();
        let check = |name: &str, told: Estimate, drawn: Vec<f64>| {
            let drawn = deviation(&drawn);
            assert!((told.sigma / drawn - 1.0).abs() < OFF, "{name}, {} bases: {told:?}, {drawn} drawn", bases.len());
        };
        check("length", composed.values[0].estimate, runs.iter().map(|r| r.0.values[0].estimate.value).collect());
        for station in &stations {
            let of = |pick: fn(&ProfileStation) -> Estimate| {
                let same = |r: &(Composed, Vec<ProfileStation>)| {
                    r.1.iter().find(|s| s.label == station.label).map(|s| pick(s).value).unwrap()
                };
                (pick(station), runs.iter().map(same).collect::<Vec<_>>())
            };
            for (name, pick) in [
                ("chainage", (|s: &ProfileStation| s.chainage_m) as fn(&ProfileStation) -> Estimate),
                ("offset", |s: &ProfileStation| s.offset_m),
                ("height", |s: &ProfileStation| s.height_m),
            ] {
                let (told, drawn) = of(pick);
                check(&format!("{name} of {}", station.label), told, drawn);
            }
        }
    }
}

#[test]
fn what_a_base_shares_cancels() {
    let rows: Rows<'_> = &[("start", "A", [20.0, 15.0, 0.0]), ("end", "B", [25.0, 55.0, 2.0]), ("point", "P", [18.0, 40.0, 1.0])];
    let mut scene = scene(&[[0.0; 3]], exact(), rows).turned(2f64.to_radians());
    scene.place_base(&Covariance::from_sigmas(5.0, 8.0));
    let (composed, stations) = measure(&scene.group("profile", "Dam"), OFFSET_LIMIT_M).unwrap();
    for estimate in [composed.values[0].estimate, stations[0].chainage_m, stations[0].offset_m] {
        assert!(estimate.sigma < 1e-4, "{estimate:?}");
    }
    // The height itself has the base's.
    assert!((stations[0].height_m.sigma - 8.0).abs() < 1e-3);
}

#[test]
fn refusals() {
    let (a, b, p) = (("start", "A", [20.0, 15.0, 0.0]), ("end", "B", [25.0, 55.0, 2.0]), ("point", "P", [18.0, 40.0, 1.0]));
    let l = ("line", "L1", [20.0, 15.0, 0.0]);
    let refused = |rows: Rows<'_>| compose_rows(rows).unwrap_err();
    assert_eq!(refused(&[]), "profile of Dam lacks the row with role start");
    assert_eq!(refused(&[a, p]), "profile of Dam lacks the row with role end");
    assert_eq!(refused(&[a, b]), "profile of Dam: no row has the role point; shoot the points beside the line");
    assert_eq!(refused(&[a, b, l, p]), "profile of Dam: it has rows start or end beside rows line; give the line one way");
    assert_eq!(refused(&[l, p]), "profile of Dam: one row has the role line; a line needs two or more, in the order along it");
    let twice = ("end", "B", [20.03, 15.04, 0.0]);
    assert_eq!(refused(&[a, twice, p]), "profile of Dam: A and B of the line lie 0.05 m apart in plan; leave one of them out");
}

/// Of points about a bent line: the leg that is nearest by the distance to each, and at a bend the side that the foot's place tells.
#[test]
fn the_nearest_leg_by_looking_at_each() {
    let line = [[0.0, 0.0, 0.0], [40.0, 10.0, 0.0], [45.0, 60.0, 0.0], [10.0, 90.0, 0.0], [12.0, 130.0, 0.0]];
    let points: Vec<[f64; 3]> =
        (0..400).map(|k| [-30.0 + 6.0 * f64::from(k % 20) + 0.1, -25.0 + 9.0 * f64::from(k / 20) + 0.2, 0.0]).collect();
    let mut bends = 0;
    for (point, foot) in points.iter().zip(feet(&line, &points)) {
        let to_leg = |leg: usize| {
            let (a, b) = (line[leg], line[leg + 1]);
            let d = [b[0] - a[0], b[1] - a[1]];
            let share = ((point[0] - a[0]) * d[0] + (point[1] - a[1]) * d[1]) / (d[0] * d[0] + d[1] * d[1]);
            let at = share.clamp(0.0, 1.0);
            ((point[0] - a[0] - at * d[0]).hypot(point[1] - a[1] - at * d[1]), share)
        };
        let (leg, (least, share)) = (0..4).map(|leg| (leg, to_leg(leg))).min_by(|a, b| a.1.0.total_cmp(&b.1.0)).unwrap();
        match foot {
            Foot::Leg(of) => {
                // Of two that are equally near either will do.
                assert!((to_leg(of).0 - least).abs() < 1e-9, "{point:?}: {of} {leg}");
                assert!(
                    (0.0..=1.0).contains(&share) || (share < 0.0 && of == 0) || (share > 1.0 && of == 3),
                    "{point:?} {share}"
                );
            }
            Foot::Bend(corner, side) => {
                bends += 1;
                assert!(
                    (1..4).contains(&corner)
                        && ((point[0] - line[corner][0]).hypot(point[1] - line[corner][1]) - least).abs() < 1e-9
                );
                // Right of both legs or left of both.
                for leg in [corner - 1, corner] {
                    let (a, b) = (line[leg], line[leg + 1]);
                    let right = (point[0] - a[0]) * (b[1] - a[1]) - (point[1] - a[1]) * (b[0] - a[0]);
                    assert!(right * side > 0.0, "{point:?} {corner} {side}");
                }
            }
        }
    }
    assert!(bends > 20, "{bends}");
}

/// Each value errs as its differences do, by all points of the line and the shot.
#[test]
fn standard_errors_are_those_of_differences() {
    let rows: Rows<'_> = &[
        ("line", "L1", [20.0, 15.0, 0.0]),
        ("line", "L2", [25.0, 55.0, 2.0]),
        ("line", "L3", [75.0, 65.0, 3.0]),
        ("point", "P1", [18.0, 40.0, 1.0]),
        ("point", "P2", [55.0, 50.0, 4.0]),
        ("point", "P3", [19.0, 64.0, 4.0]),
        ("point", "P4", [80.0, 60.0, 4.0]),
        ("point", "P5", [18.0, 10.0, 4.0]),
    ];
    let scene = scene(&[[0.0; 3], [60.0, 20.0, 1.0]], sigmas(), rows);
    let group = scene.group("profile", "Dam");
    let (_, stations) = measure(&group, OFFSET_LIMIT_M).unwrap();
    let all: Vec<&RoleShot> = group.sightings.iter().collect();
    let correlated = rows::correlated(&group, &all).unwrap();
    let feet = feet(&correlated.points()[..3], &correlated.points()[3..]);
    assert_eq!(feet, [Foot::Leg(0), Foot::Leg(1), Foot::Bend(1, -1.0), Foot::Leg(1), Foot::Leg(0)]);
    for (k, foot) in feet.into_iter().enumerate() {
        let station = stations.iter().find(|station| station.label == format!("P{}", k + 1)).unwrap();
        let [chainage, offset] = correlated.estimates(|p| {
            let leg_m = |i: usize| (p[i + 1][0] - p[i][0]).hypot(p[i + 1][1] - p[i][1]);
            let shot = p[3 + k];
            match foot {
                Foot::Leg(leg) => {
                    let d = [(p[leg + 1][0] - p[leg][0]) / leg_m(leg), (p[leg + 1][1] - p[leg][1]) / leg_m(leg)];
                    let v = [shot[0] - p[leg][0], shot[1] - p[leg][1]];
                    [(0..leg).map(leg_m).sum::<f64>() + v[0] * d[0] + v[1] * d[1], v[0] * d[1] - v[1] * d[0]]
                }
                Foot::Bend(corner, side) => {
                    [(0..corner).map(leg_m).sum(), side * (shot[0] - p[corner][0]).hypot(shot[1] - p[corner][1])]
                }
            }
        });
        for (got, want) in [(station.chainage_m, chainage), (station.offset_m, offset)] {
            assert!(
                (got.value - want.value).abs() < 1e-9 && (got.sigma - want.sigma).abs() < 1e-7,
                "P{}: {got:?} {want:?}",
                k + 1
            );
        }
    }
}

#[test]
fn just_within_and_just_outside_of_each_limit() {
    let (a, b) = (("start", "A", [10.0, 20.0, 0.0]), ("end", "B", [10.0, 60.0, 0.0]));
    let warned = |at: [f64; 3]| compose_rows(&[a, b, ("point", "P", at)]).unwrap().0.warnings;
    for (side, sign) in [("right", 1.0), ("left", -1.0)] {
        assert!(warned([10.0 + sign * 19.99, 40.0, 0.0]).is_empty());
        assert_eq!(
            warned([10.0 + sign * 20.01, 40.0, 0.0]),
            [format!("P lies 20.0 m to the {side} of the line, beyond the limit of 20 m")]
        );
    }
    let leg = |length: f64| {
        compose_rows(&[a, ("end", "B", [10.0 + 0.6 * length, 20.0 + 0.8 * length, 0.0]), ("point", "P", [10.0, 20.0, 0.0])])
    };
    assert!(leg(0.0999).is_err() && leg(0.1001).is_ok());
    // Before the start and behind the end, by what the chainage errs by at 95 %.
    let rows = |along: f64| [a, b, ("point", "P", [12.0, 20.0 + along, 0.0])];
    let told = |along: f64| {
        let scene = scene(&[[0.0; 3]], sigmas(), &rows(along));
        let (composed, stations) = measure(&scene.group("profile", "Dam"), OFFSET_LIMIT_M).unwrap();
        (stations.iter().find(|s| s.label == "P").unwrap().chainage_m.half95(), composed.warnings)
    };
    for (end, words) in [(0.0, "before the start of the line"), (40.0, "beyond the end of the line")] {
        let beyond = |share: f64| {
            let out = if end == 0.0 { -1.0 } else { 1.0 };
            // The error changes little over so short a way.
            let half = told(end + out * told(end).0).0;
            told(end + out * share * half).1
        };
        assert!(beyond(0.98).is_empty(), "{:?}", beyond(0.98));
        assert!(beyond(1.02).len() == 1 && beyond(1.02)[0].ends_with(words), "{:?}", beyond(1.02));
    }
}
