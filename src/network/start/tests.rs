//! Starts against true places, from readings without error, for each way that a station can be started.

use super::*;
use crate::network::surveyed::Surveyed;

/// What one horizon for all neighbours moves a place by, 200 m from the farthest: meridians converge by 200 m · tan φ / R, 7 mm.
const PLANE_M: f64 = 0.02;

const P: usize = 3;

/// Three known bases and a point P.
fn ground(point: [f64; 3]) -> Surveyed {
    let mut ground = Surveyed::at(&[[0.0, 0.0, 0.0], [150.0, 20.0, 8.0], [60.0, 170.0, -12.0], point], &[0, 1, 2]);
    for (station, label) in ground.network.stations.iter_mut().zip(["A", "B", "C", "P"]) {
        station.label = label.into();
    }
    ground
}

/// What is read, from where to where.
type Readings = Vec<(Kind, usize, usize)>;

fn started(point: [f64; 3], readings: &Readings) -> (Surveyed, Starts) {
    let mut ground = ground(point);
    for (kind, from, to) in readings {
        ground.read(*kind, *from, *to);
    }
    let starts = ground.start();
    (ground, starts)
}

#[test]
fn a_place_with_its_height() {
    use Kind::*;
    let (a, b, c) = (0, 1, 2);
    let ways: Vec<Readings> = vec![
        vec![(Azimuth, a, P), (Slope, a, P), (Inclination, a, P)],
        vec![(Azimuth, a, P), (Horizontal, a, P), (Vertical, a, P)],
        vec![(Azimuth, a, P), (Slope, a, P), (VerticalWithSlope, a, P)],
        vec![(Azimuth, a, P), (Horizontal, a, P), (Inclination, a, P)],
        vec![(Azimuth, a, P), (Horizontal, a, P), (HeightDifference, b, P)],
        vec![(Azimuth, a, P), (Horizontal, a, P), (Inclination, c, P)],
        // Read at the point itself.
        vec![(Azimuth, P, a), (Slope, P, a), (Inclination, P, a)],
        vec![(Azimuth, P, a), (Horizontal, P, a), (Vertical, P, a)],
        vec![(Azimuth, P, b), (Slope, P, b), (VerticalWithSlope, P, b)],
        // Half from the one end, half from the other.
        vec![(Azimuth, P, b), (Slope, b, P), (Inclination, P, b)],
        vec![(Azimuth, b, P), (Slope, P, b), (Inclination, b, P)],
        // Lines that cross.
        vec![(Azimuth, a, P), (Azimuth, b, P), (Inclination, b, P)],
        vec![(Azimuth, a, P), (Azimuth, P, c), (Inclination, P, a)],
        vec![(Horizontal, a, P), (Horizontal, b, P), (Horizontal, c, P), (Inclination, c, P)],
        vec![(Horizontal, P, a), (Horizontal, b, P), (Horizontal, P, c), (Vertical, P, c)],
        vec![(Azimuth, a, P), (Horizontal, b, P), (Horizontal, c, P), (Vertical, b, P)],
        // A resection.
        vec![(Direction, P, a), (Direction, P, b), (Direction, P, c), (Inclination, P, a)],
        vec![(Direction, P, a), (Direction, P, b), (Horizontal, P, a), (Horizontal, P, c), (Inclination, P, b)],
        // In space: slope distances of which not all have an inclination beside them.
        vec![(Slope, a, P), (Slope, b, P), (Slope, c, P), (Inclination, a, P)],
        vec![(Slope, P, a), (Slope, P, b), (Slope, P, c), (Inclination, P, c)],
        vec![(Slope, a, P), (Slope, b, P), (Slope, c, P), (HeightDifference, b, P)],
        vec![(Slope, a, P), (Slope, b, P), (Slope, c, P), (Vertical, P, b)],
        // A slope distance is lowered by the height that another neighbour gives.
        vec![(Slope, a, P), (Inclination, a, P), (Slope, b, P), (Horizontal, c, P)],
    ];
    for up in [45.0, -60.0] {
        for readings in &ways {
            let (ground, starts) = started([70.0, 60.0, up], readings);
            let Some(got) = starts.positions[P] else { panic!("{readings:?}: {:?}", starts.notes) };
            let off = ground.frame(P).from_earth_centred(got);
            // A slope distance is levelled by the rise of the ground, not of the sight (1.1 m · 60 / 92), and by an inclination that was read at
            // the other end over other heights.
            let has = |wanted: &[Kind]| readings.iter().any(|(kind, ..)| wanted.contains(kind));
            let crossed = readings.iter().any(|(kind, from, to)| *kind == Slope && readings.contains(&(Inclination, *to, *from)));
            let of_ground = crossed || has(&[Vertical, VerticalWithSlope, HeightDifference]) && has(&[Slope]);
            let within = if of_ground { 1.5 } else { PLANE_M };
            assert!(off.iter().all(|metres| metres.abs() < within), "{readings:?}, {up} m up: {off:?}");
            assert!(starts.has_height[P] && starts.notes.is_empty(), "{readings:?}");
            if readings.iter().any(|(kind, from, _)| (*kind, *from) == (Kind::Direction, P)) {
                assert!((starts.directions[P].unwrap() - 1.0).abs() < 1e-3, "{readings:?}");
            }
        }
    }
}

#[test]
fn a_place_without_a_height_is_at_the_level_of_a_base() {
    use Kind::*;
    let ways: Vec<(Readings, usize)> = vec![
        (vec![(Azimuth, 0, P), (Horizontal, 0, P)], 0),
        (vec![(Azimuth, 1, P), (Horizontal, 1, P)], 1),
        (vec![(Azimuth, 0, P), (Azimuth, 1, P)], 0),
        (vec![(Horizontal, 0, P), (Horizontal, 1, P), (Horizontal, 2, P)], 0),
        (vec![(Direction, P, 0), (Direction, P, 1), (Direction, P, 2)], 0),
    ];
    for (readings, level) in ways {
        let (ground, starts) = started([70.0, 60.0, 25.0], &readings);
        let got = starts.positions[P].unwrap();
        let [east, north, _] = ground.frame(P).from_earth_centred(got);
        assert!(east.hypot(north) < PLANE_M && !starts.has_height[P], "{readings:?}: {east} {north}");
        // Over 100 m the horizon rises by 0.8 mm from the level.
        assert!((ground.height_m(got) - ground.height_m(ground.truth[level])).abs() < 2e-3, "{readings:?}");
    }
}

#[test]
fn a_plumb_shot_is_raised_along_its_slope() {
    // 40 m straight up from A: its tangent says nothing, the slope does.
    let (ground, starts) =
        started([0.3, 0.2, 40.0], &vec![(Kind::Azimuth, 0, P), (Kind::Slope, 0, P), (Kind::Inclination, 0, P)]);
    let off = ground.frame(P).from_earth_centred(starts.positions[P].unwrap());
    assert!(off.iter().all(|metres| metres.abs() < PLANE_M), "{off:?}");
}

#[test]
fn of_several_shots_the_one_nearest_to_the_others() {
    // Shots from three bases; that of A, which comes first, is 9 m too short.
    let mut ground = ground([70.0, 60.0, 25.0]);
    for base in 0..3 {
        ground.read_all(&[Kind::Azimuth, Kind::Slope, Kind::Inclination], base, P);
    }
    ground.network.observations[1].value -= 9.0;
    let off = ground.frame(P).from_earth_centred(ground.start().positions[P].unwrap());
    assert!(off.iter().all(|metres| metres.abs() < PLANE_M), "{off:?}");
}

#[test]
fn what_is_lacking_is_counted() {
    let text = |readings: &Readings| started([70.0, 60.0, 25.0], readings).1.notes[0].text.clone();
    let fixes = "to placed stations do not fix it";
    let one = text(&vec![(Kind::Horizontal, 0, P)]);
    assert!(one.starts_with(&format!("Station P: 1 distance {fixes}")), "{one}");
    // Two lines that are one: to a base and back.
    let (mut ground, _) = started([70.0, 60.0, 25.0], &vec![(Kind::Azimuth, 0, P), (Kind::Direction, P, 1)]);
    let of = |ground: &Surveyed| ground.start().notes[0].text.clone();
    assert!(of(&ground).starts_with(&format!("Station P: 2 bearings {fixes}")), "{}", of(&ground));
    // A distance that is far too short to meet the line.
    ground.network.observations.truncate(1);
    ground.read(Kind::Horizontal, 1, P);
    ground.network.observations[1].value = 20.0;
    assert!(of(&ground).starts_with(&format!("Station P: 1 bearing and 1 distance {fixes}")), "{}", of(&ground));
    ground.network.observations[0].kind = Kind::Horizontal;
    ground.network.observations[0].value = 20.0;
    assert!(of(&ground).starts_with(&format!("Station P: 2 distances {fixes}")), "{}", of(&ground));
}

#[test]
fn what_is_lacking_is_named() {
    use Kind::*;
    let text = |readings: &Readings| started([70.0, 60.0, 25.0], readings).1.notes[0].text.clone();
    assert!(text(&vec![(Azimuth, 0, P)]).starts_with("Station P: 1 bearing to placed stations do not fix it"));
    assert_eq!(
        text(&vec![(Horizontal, 0, P), (Horizontal, 1, P)]),
        "Station P: two places fit its readings equally. Add a distance or an azimuth, or give a rough position."
    );
    assert_eq!(
        text(&vec![(Slope, 0, P), (Slope, 1, P), (Slope, 2, P)]),
        "Station P: two places fit its slope distances equally, one over the other. Read an inclination, or give a rough position."
    );
    // Two lines side by side and two circles far from both.
    let places = [[0.0, 0.0, 0.0], [50.0, 0.0, 0.0], [500.0, 0.0, 0.0], [900.0, 0.0, 0.0], [0.0, 80.0, 0.0]];
    let mut far = Surveyed::at(&places, &[0, 1, 2, 3]);
    for (kind, from, value) in [(Azimuth, 0, 0.0), (Azimuth, 1, 0.0), (Horizontal, 2, 20.0), (Horizontal, 3, 20.0)] {
        let reading = far.read(kind, from, 4);
        far.network.observations[reading].value = value;
    }
    let notes = far.start().notes;
    assert!(notes[0].text.starts_with("Station S4: 2 bearings and 2 distances to placed stations do not fix it"), "{notes:?}");
    // Stations that hang on each other alone.
    let mut apart = Surveyed::at(&[[0.0; 3], [50.0, 0.0, 0.0], [90.0, 9.0, 0.0], [500.0, 0.0, 0.0]], &[3]);
    apart.read_all(&[Azimuth, Horizontal], 0, 1);
    apart.read_all(&[Azimuth, Horizontal], 2, 0);
    let notes = apart.start().notes;
    let said: Vec<(NoteKind, &[usize])> = notes.iter().map(|note| (note.kind, note.stations.as_slice())).collect();
    assert_eq!(said, [(NoteKind::NotStarted, &[0][..]), (NoteKind::NotStarted, &[1]), (NoteKind::NotStarted, &[2])]);
    for (note, count) in notes.iter().zip([2, 1, 1]) {
        let want =
            format!("none of its {count} sighted stations has a position. Tie one of them to a GNSS base or a known point.");
        assert!(note.text.ends_with(&want), "{}", note.text);
    }
}

/// What is given at the beginning: rough positions before known ones; a height is known unless the position has none.
#[test]
fn what_is_given_stands_first() {
    let mut given = Surveyed::at(&[[0.0; 3], [50.0, 0.0, 3.0], [90.0, 9.0, 0.0], [20.0, 8.0, 0.0], [7.0, 70.0, 0.0]], &[0, 1, 2]);
    let stations = &mut given.network.stations;
    stations[1].control.as_mut().unwrap().covariance.uu = f64::INFINITY;
    stations[2].control.as_mut().unwrap().covariance = Default::default();
    stations[3].start = Some(given.truth[3]);
    stations[3].sigma_orientation_rad = f64::INFINITY;
    let starts = given.start();
    assert_eq!(starts.has_height, [true, false, true, true, false]);
    assert_eq!(starts.positions, [Some(given.truth[0]), Some(given.truth[1]), Some(given.truth[2]), Some(given.truth[3]), None]);
    // An orientation with a standard error begins at none to add, a free one at nothing.
    assert_eq!(starts.azimuths, [Some(0.0), Some(0.0), Some(0.0), None, Some(0.0)]);
    let rough = given.frame(1).to_earth_centred([4.0, 5.0, 6.0]);
    given.network.stations[1].start = Some(rough);
    let starts = given.start();
    assert_eq!((starts.positions[1], starts.has_height[1]), (Some(rough), true));
}

/// A circle is oriented by the first of its sights that has a length in the plane, a millimetre at least; free azimuths too.
#[test]
fn a_circle_is_oriented_by_a_sight_with_a_length() {
    for kind in [Kind::Direction, Kind::Azimuth] {
        for (aside_m, turned) in [(0.9e-3, 1.0), (1.1e-3, 0.7)] {
            let mut base = Surveyed::at(&[[0.0; 3], [0.0, aside_m, 5.0], [60.0, 80.0, 5.0]], &[0, 1, 2]);
            base.network.stations[0].sigma_orientation_rad = f64::INFINITY;
            base.read(Kind::Direction, 0, 1);
            base.read(Kind::Direction, 0, 2);
            base.network.observations[0].value += 0.3;
            base.network.observations.iter_mut().for_each(|o| o.kind = kind);
            let starts = base.start();
            let got = if kind == Kind::Direction { starts.directions[0] } else { starts.azimuths[0] };
            // A nanometre of earth-centred coordinates in a millimetre.
            assert!((got.unwrap() - turned).abs() < 1e-5, "{kind:?} {aside_m}: {got:?}");
        }
    }
}

#[test]
fn readings_stand_at_both_their_ends() {
    let (ground, _) = started([70.0, 60.0, 25.0], &vec![(Kind::Azimuth, 0, P), (Kind::Slope, 1, P), (Kind::Slope, P, 0)]);
    assert_eq!(adjacency(&ground.network, &[true; 3]), [vec![0, 2], vec![1], vec![], vec![0, 1, 2]]);
    assert_eq!(adjacency(&ground.network, &[true, false, true]), [vec![0, 2], vec![], vec![], vec![0, 2]]);
    // What is not said of is not used.
    assert_eq!(adjacency(&ground.network, &[true]), [vec![0], vec![], vec![], vec![0]]);
}

/// A base that stands is oriented once what it sights has a place, and what waits for it is tried again.
#[test]
fn what_waits_for_an_orientation_is_tried_again() {
    let places = [[0.0; 3], [150.0, 20.0, 0.0], [60.0, 170.0, 0.0], [120.0, 100.0, 0.0], [-40.0, 60.0, 0.0]];
    let mut survey = Surveyed::at(&places, &[0, 1, 2]);
    survey.read_all(&[Kind::Direction, Kind::Horizontal], 0, 4);
    survey.read(Kind::Direction, 0, 3);
    survey.read(Kind::Azimuth, 1, 3);
    survey.read(Kind::Azimuth, 2, 3);
    let starts = survey.start();
    for s in [3, 4] {
        let off = survey.frame(s).from_earth_centred(starts.positions[s].unwrap());
        assert!(off[0].hypot(off[1]) < PLANE_M, "{s}: {off:?}");
    }
}

/// A kilometre off the horizon has risen by 8 cm over the level of the base.
#[test]
fn a_far_place_is_level_too() {
    let mut survey = Surveyed::at(&[[0.0, 0.0, 20.0], [600.0, 800.0, 35.0]], &[0]);
    survey.read_all(&[Kind::Azimuth, Kind::Horizontal], 0, 1);
    let starts = survey.start();
    let height = survey.height_m(starts.positions[1].unwrap());
    assert!((height - survey.height_m(survey.truth[0])).abs() < 1e-3 && !starts.has_height[1], "{height}");
}
