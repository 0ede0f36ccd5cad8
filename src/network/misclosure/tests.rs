//! Traverses read without error and with errors that are planted, and what hangs.

use super::*;
use crate::network::surveyed::Surveyed;
use proptest::prelude::*;

/// Stations that can be reached from known ones, without one leg.
fn reached(pairs: &[(usize, usize)], count: usize, known: &[bool], without: Option<(usize, usize)>) -> Vec<bool> {
    let mut reached = known.to_vec();
    for _ in 0..count {
        for &(a, b) in pairs.iter().filter(|pair| Some(**pair) != without) {
            let either = reached[a] || reached[b];
            (reached[a], reached[b]) = (either, either);
        }
    }
    reached
}

proptest! {
    /// A station hangs where the loss of one leg cuts it off from all known ones. A route goes along legs, each once, and closes on a known
    /// station or on itself; the legs outside the forest are those that a spanning forest leaves over.
    #[test]
    fn routes_and_what_hangs(
        drawn in prop::collection::btree_set((0usize..9, 0usize..9), 0..14),
        known in prop::collection::vec(prop::bool::weighted(0.25), 9),
    ) {
        let mut pairs: Vec<(usize, usize)> = drawn.into_iter().filter(|(a, b)| a < b).collect();
        pairs.sort_unstable();
        let component = Component { stations: (0..9).collect(), observations: Vec::new() };
        let forest = Forest::grow(&component, &pairs, &|s| known[s]);
        let whole = reached(&pairs, 9, &known, None);
        let want: Vec<usize> = (0..9)
            .filter(|s| whole[*s] && pairs.iter().any(|pair| !reached(&pairs, 9, &known, Some(*pair))[*s]))
            .collect();
        prop_assert_eq!(forest.hanging(), want);
        let legs = pairs.iter().filter(|(a, _)| whole[*a]).count();
        let stations = whole.iter().filter(|reached| **reached).count();
        let roots = known.iter().filter(|known| **known).count();
        prop_assert_eq!(forest.closing.len(), legs - (stations - roots));
        for &(a, b) in &forest.closing {
            let route = forest.route(a, b);
            let mut run: Vec<(usize, usize)> = route.windows(2).map(|s| (s[0].min(s[1]), s[0].max(s[1]))).collect();
            prop_assert!(run.contains(&(a, b)) && run.iter().all(|leg| pairs.contains(leg)), "{route:?}");
            let steps = run.len();
            run.sort_unstable();
            run.dedup();
            prop_assert_eq!(run.len(), steps);
            let (first, last) = (route[0], route[route.len() - 1]);
            prop_assert!(first == last || known[first] && known[last], "{route:?}");
            prop_assert!(route[1..route.len() - 1].iter().all(|s| !known[*s]), "{route:?}");
        }
    }
}

#[test]
fn readings_of_a_leg_are_levelled_and_raised() {
    // 100 m up a slope of 30°: 86.603 m along, 50 m up; the target 0.5 m lower on its pole than the instrument.
    let side = Side { slope_m: Some(100.0), inclination: Some((30f64.to_radians(), 0.5)), ..Side::NOTHING };
    assert!((side.horizontal().unwrap() - 86.602_540).abs() < 1e-6);
    assert!((side.rise().unwrap() - 50.5).abs() < 1e-9);
    // What was measured goes before what is computed; a slope distance alone is level.
    let side = Side { horizontal_m: Some(80.0), vertical: Some((7.0, 0.25)), ..side };
    assert_eq!(side.horizontal(), Some(80.0));
    assert!((side.rise().unwrap() - 7.25).abs() < 1e-12);
    // A slope of 50 m is 40 m along where it rises 30 m, read as a vertical distance or known as a difference of heights.
    let side = Side { slope_m: Some(50.0), vertical: Some((30.0, -0.5)), ..Side::NOTHING };
    assert!((side.horizontal().unwrap() - 40.0).abs() < 1e-12 && (side.rise().unwrap() - 29.5).abs() < 1e-12);
    let side = Side { slope_m: Some(50.0), height_m: Some(30.0), ..Side::NOTHING };
    assert_eq!((side.horizontal(), side.rise()), (Some(40.0), Some(30.0)));
    // The ellipsoid falls by 500² / 2R over 500 m: 1.96 cm.
    let side = Side { horizontal_m: Some(500.0), height_m: Some(2.0), radius_m: 6_378_137.0, ..Side::NOTHING };
    assert!((side.rise().unwrap() - 1.980_402).abs() < 1e-6);
    let side = Side { slope_m: Some(100.0), ..Side::NOTHING };
    assert_eq!((side.horizontal(), side.rise(), side.bears()), (Some(100.0), None, false));
    assert!(Side { azimuth: Some(0.0), ..side }.bears() && Side { direction: Some(0.0), ..side }.bears());
    // Refraction 0.13 lifts a sight of 1 km by 0.13 · 1000 / 2R in angle, 1.02 cm.
    let bend = Bend::from_refraction(0.13, 6_371_000.0);
    let side = Side { horizontal_m: Some(1000.0), inclination: Some((0.0, 0.0)), bend, ..Side::NOTHING };
    assert!((side.rise().unwrap() + 0.0102).abs() < 1e-4, "{:?}", side.rise());
    let side = Side { vertical: Some((0.0, 0.0)), inclination: None, ..side };
    assert!((side.rise().unwrap() + 0.0102).abs() < 1e-4, "{:?}", side.rise());
}

#[test]
fn a_ratio_is_length_over_misclosure() {
    let closure =
        Misclosure { stations: vec![0, 1, 2], length_m: 1000.0, east_m: 0.3, north_m: -0.4, up_m: None, angular_rad: None };
    assert!((closure.linear_m() - 0.5).abs() < 1e-12 && (closure.ratio() - 2000.0).abs() < 1e-9);
}

/// The horizon falls away and meridians converge over a kilometre; what is left is of second order: 1 km · 10 m / R, and less.
const SECOND_ORDER_M: f64 = 0.004;

/// The same of an angle, over 1 km.
const SECOND_ORDER_RAD: f64 = 4e-6;

/// A crooked way of four legs of about a kilometre from a known station to a known one, 0 to 4; each sees a known station aside, 5 and 6.
fn way() -> Surveyed {
    let places = [
        [0.0, 0.0, 0.0],
        [900.0, 500.0, 6.0],
        [1700.0, -200.0, -5.0],
        [2700.0, 100.0, 2.0],
        [3500.0, 800.0, 9.0],
        [-300.0, 1200.0, 20.0],
        [4100.0, -500.0, 15.0],
    ];
    let mut way = Surveyed::at(&places, &[0, 4, 5, 6]);
    way.network.refraction = 0.13;
    way.zeros_rad = (0..7).map(|s| 0.4 + 0.9 * s as f64).collect();
    way
}

/// Every leg by the readings of a side, fore and back.
fn walked(fore: &[Kind], back: &[Kind]) -> Surveyed {
    let mut way = way();
    for s in 0..4 {
        way.read_all(fore, s, s + 1);
        way.read_all(back, s + 1, s);
    }
    way
}

fn closures(way: &Surveyed) -> (Vec<Misclosure>, Vec<Note>) {
    traverses(&way.network, &way.component(), &way.start())
}

/// The one traverse of a way.
fn closure(way: &Surveyed) -> Misclosure {
    let (mut closures, notes) = closures(way);
    assert!(closures.len() == 1 && notes.is_empty(), "{closures:?} {notes:?}");
    closures.remove(0)
}

/// East, north and up from a station's place to another one's.
fn apart(way: &Surveyed, from: usize, to: usize) -> [f64; 3] {
    way.frame(from).from_earth_centred(way.truth[to])
}

fn length(way: &Surveyed) -> f64 {
    (0..4).map(|s| apart(way, s, s + 1)).map(|[e, n, _]| e.hypot(n)).sum()
}

const AZIMUTH_SHOT: [Kind; 3] = [Kind::Azimuth, Kind::Slope, Kind::Inclination];
const FLAT_SHOT: [Kind; 3] = [Kind::Azimuth, Kind::Horizontal, Kind::Vertical];
const CIRCLE_SHOT: [Kind; 3] = [Kind::Direction, Kind::Slope, Kind::Inclination];

/// Ways without error close to nothing, whichever readings carry them; where the known end is moved, they close to that.
#[test]
fn a_way_closes_on_where_its_end_is_known() {
    let mut ways = vec![
        (walked(&AZIMUTH_SHOT, &[]), false),
        (walked(&[], &AZIMUTH_SHOT), false),
        (walked(&AZIMUTH_SHOT, &AZIMUTH_SHOT), true),
        (walked(&[Kind::Azimuth, Kind::Horizontal, Kind::Inclination], &[Kind::Azimuth, Kind::Vertical]), true),
        (walked(&[Kind::Slope, Kind::Inclination], &[Kind::Azimuth]), false),
        (walked(&[Kind::Azimuth], &[Kind::Horizontal, Kind::VerticalWithSlope]), false),
    ];
    for back in [&[Kind::Direction][..], &CIRCLE_SHOT[..]] {
        let mut way = walked(&CIRCLE_SHOT, back);
        way.read(Kind::Direction, 0, 5);
        // Without a known station behind the last one its circle tells nothing.
        ways.push((way, false));
        let mut way = walked(&CIRCLE_SHOT, back);
        way.read(Kind::Direction, 0, 5);
        way.read(Kind::Direction, 4, 6);
        ways.push((way, true));
    }
    for (k, (mut way, turns)) in ways.into_iter().enumerate() {
        let moved = [0.3, -0.4, 0.25];
        way.network.stations[4].control.as_mut().unwrap().position = way.frame(4).to_earth_centred(moved);
        let got = closure(&way);
        let off = [got.east_m + moved[0], got.north_m + moved[1], got.up_m.unwrap() + moved[2]];
        assert!(off.iter().all(|metres| metres.abs() < SECOND_ORDER_M), "way {k}: {off:?}");
        assert_eq!(got.stations, [0, 1, 2, 3, 4]);
        assert!((got.length_m - length(&way)).abs() < SECOND_ORDER_M, "way {k}: {}", got.length_m);
        // The end that is moved by half a metre turns its sight to 6, 1.4 km off, by some 0.3 mrad.
        assert_eq!(got.angular_rad.is_some(), turns, "way {k}");
        let [e, n, _] = apart(&way, 4, 6);
        let turned = if k < 6 { 0.0 } else { (e - 0.3).atan2(n + 0.4) - e.atan2(n) };
        let angular = got.angular_rad.unwrap_or(-turned);
        assert!((angular + turned).abs() < SECOND_ORDER_RAD, "way {k}: {angular} {turned}");
    }
}

/// The end as it is carried, east and north of where it is known, with a change of one reading.
fn with_slip(mut way: Surveyed, kind: Kind, from: usize, to: usize, slip: f64) -> Misclosure {
    let slipped = way.network.observations.iter_mut().find(|o| (o.kind, o.from, o.to) == (kind, from, to));
    slipped.unwrap().value += slip;
    closure(&way)
}

/// What a slip of one reading moves the end by: along its leg, or about its station for all that follows.
#[test]
fn a_slip_is_found_in_the_closure() {
    const SLIP_RAD: f64 = 5e-4;
    const SLIP_M: f64 = 0.3;
    // Second order of the slips, half a milliradian of half a metre, beside that of a way.
    let near = |got: f64, want: f64| assert!((got - want).abs() < 2.0 * SECOND_ORDER_M, "{got} {want}");
    let turned = |about: [f64; 3], by: f64| [about[1] * by, -about[0] * by];
    let along = |leg: [f64; 3], by: f64| [leg[0], leg[1]].map(|x| x / leg[0].hypot(leg[1]) * by);
    let held = |got: &Misclosure, want: [f64; 2], up: f64, angular: Option<f64>| {
        near(got.east_m, want[0]);
        near(got.north_m, want[1]);
        near(got.up_m.unwrap(), up);
        assert_eq!(got.angular_rad.is_some(), angular.is_some());
        let off = got.angular_rad.unwrap_or(0.0) - angular.unwrap_or(0.0);
        assert!(off.abs() < SECOND_ORDER_RAD, "{:?} {angular:?}", got.angular_rad);
    };
    let leg = apart(&way(), 1, 2);

    // Azimuths turn their own leg; where both ends read one, by half, and the two differ by all of it.
    let one = || walked(&AZIMUTH_SHOT, &[]);
    held(&with_slip(one(), Kind::Azimuth, 1, 2, SLIP_RAD), turned(leg, SLIP_RAD), 0.0, None);
    let both = || walked(&AZIMUTH_SHOT, &AZIMUTH_SHOT);
    held(&with_slip(both(), Kind::Azimuth, 1, 2, SLIP_RAD), turned(leg, 0.5 * SLIP_RAD), 0.0, Some(SLIP_RAD));
    held(&with_slip(both(), Kind::Azimuth, 2, 1, SLIP_RAD), turned(leg, 0.5 * SLIP_RAD), 0.0, Some(-SLIP_RAD));

    // Distances and heights: the mean of both ends, or what one of them read.
    held(&with_slip(one(), Kind::Slope, 1, 2, SLIP_M), along(leg, SLIP_M), 0.0, None);
    held(&with_slip(both(), Kind::Slope, 2, 1, SLIP_M), along(leg, 0.5 * SLIP_M), 0.0, Some(0.0));
    let flat = || walked(&FLAT_SHOT, &FLAT_SHOT);
    held(&with_slip(flat(), Kind::Vertical, 1, 2, SLIP_M), [0.0; 2], 0.5 * SLIP_M, Some(0.0));
    held(&with_slip(flat(), Kind::Vertical, 2, 1, SLIP_M), [0.0; 2], -0.5 * SLIP_M, Some(0.0));
    let rise = leg[0].hypot(leg[1]) * SLIP_RAD;
    held(&with_slip(one(), Kind::Inclination, 1, 2, SLIP_RAD), [0.0; 2], rise, None);
    held(&with_slip(both(), Kind::Inclination, 2, 1, SLIP_RAD), [0.0; 2], -0.5 * rise, Some(0.0));

    // A direction turns all that follows: fore to the right, back to the left, and that to the known station behind to the left.
    let circles = || {
        let mut way = walked(&CIRCLE_SHOT, &[Kind::Direction]);
        way.read(Kind::Direction, 0, 5);
        way.read(Kind::Direction, 4, 6);
        way
    };
    for (from, to, sign) in [(1, 2, 1.0), (1, 0, -1.0), (0, 5, -1.0)] {
        let by = sign * SLIP_RAD;
        held(&with_slip(circles(), Kind::Direction, from, to, SLIP_RAD), turned(apart(&way(), from, 4), by), 0.0, Some(by));
    }
    held(&with_slip(circles(), Kind::Direction, 4, 6, SLIP_RAD), [0.0; 2], 0.0, Some(SLIP_RAD));
}

/// The readings of a leg are those that came first, and heights only where every leg has one.
#[test]
fn the_first_reading_of_a_kind_counts() {
    for shot in [&AZIMUTH_SHOT, &FLAT_SHOT] {
        let mut way = walked(shot, &[]);
        for kind in shot {
            let again = way.read(*kind, 1, 2);
            way.network.observations[again].value += 0.1;
        }
        let got = closure(&way);
        assert!(got.linear_m() < SECOND_ORDER_M && got.up_m.unwrap().abs() < SECOND_ORDER_M, "{got:?}");
    }
    let mut way = walked(&FLAT_SHOT, &[]);
    way.network.observations.retain(|o| (o.kind, o.from) != (Kind::Vertical, 2));
    let got = closure(&way);
    assert!(got.up_m.is_none() && got.linear_m() < SECOND_ORDER_M, "{got:?}");
}

/// A loop closes on itself wherever it starts: its place is that of the start.
#[test]
fn a_loop_closes_on_itself() {
    // From 0, which is known, to 1, and round by 2, 3 and 4, none of which is known.
    let loop_of = |kinds: &[Kind]| {
        let mut way = way();
        way.network.stations[4].control = None;
        for (from, to) in [(0, 1), (1, 2), (2, 3), (3, 4), (4, 1)] {
            way.read_all(kinds, from, to);
            way.read_all(&kinds[..1], to, from);
        }
        way.read(Kind::Direction, 0, 5);
        way
    };
    for kinds in [AZIMUTH_SHOT, CIRCLE_SHOT] {
        let way = loop_of(&kinds);
        let mut starts = way.start();
        // Half a kilometre aside the meridians converge by another 6e-5: what is left is a tenth of a millimetre a leg.
        starts.positions[1] = Some(way.frame(1).to_earth_centred([300.0, -400.0, 30.0]));
        let (got, notes) = traverses(&way.network, &way.component(), &starts);
        // Nothing closes the leg that it hangs on.
        assert!(got.len() == 1 && notes.len() == 1 && notes[0].stations == [1, 2, 3, 4], "{got:?} {notes:?}");
        let mut round = got[0].stations.clone();
        assert_eq!((round.first(), round.last(), round.len()), (Some(&1), Some(&1), 5));
        round.sort_unstable();
        assert_eq!(round, [1, 1, 2, 3, 4]);
        let off = [got[0].east_m, got[0].north_m, got[0].up_m.unwrap()];
        // All of it is turned about its start, by what the sight to 0 turns.
        assert!(off.iter().all(|metres| metres.abs() < 0.05), "{off:?}");
        assert!(got[0].angular_rad.unwrap().abs() < 5e-5, "{:?}", got[0].angular_rad);
    }
}

/// What is no traverse: two known stations and one leg, a leg without a bearing or without a distance, points that are only sighted.
#[test]
fn what_is_no_traverse() {
    let none = |way: &Surveyed| {
        let (closures, _) = closures(way);
        assert!(closures.is_empty(), "{closures:?}");
    };
    let mut way = way();
    way.read_all(&AZIMUTH_SHOT, 0, 4);
    way.read_all(&AZIMUTH_SHOT, 5, 0);
    none(&way);
    for kind in [Kind::Azimuth, Kind::Horizontal] {
        let mut way = walked(&FLAT_SHOT, &[]);
        way.network.observations.retain(|o| (o.kind, o.from) != (kind, 2));
        let (closures, notes) = closures(&way);
        assert!(closures.is_empty() && notes.len() == 1, "{kind:?}: {closures:?}");
        // From both known ends a piece hangs.
        let text = "The traverse to S1, S2 and S3 hangs: nothing closes it, and no blunder in it would show. Close it on a GNSS base or a known point.";
        assert_eq!((notes[0].kind, notes[0].text.as_str()), (NoteKind::HangingTraverse, text));
    }
    // A point that two bases see closes a route, which is no traverse, and what is only sighted hangs without a word.
    let mut way = way_with_point();
    none(&way);
    way.read_all(&AZIMUTH_SHOT, 0, 3);
    none(&way);
    assert!(closures(&way).1.is_empty());
    // A circle that nothing ties to north carries nothing.
    none(&walked(&CIRCLE_SHOT, &CIRCLE_SHOT));
}

fn way_with_point() -> Surveyed {
    let mut way = way();
    way.read_all(&AZIMUTH_SHOT, 0, 2);
    way.read_all(&AZIMUTH_SHOT, 4, 2);
    way
}

/// A base that hangs on one leg is named; one that a sighted point ties to another base is not.
#[test]
fn a_base_that_hangs_is_named() {
    let mut way = way();
    way.read_all(&AZIMUTH_SHOT, 0, 1);
    way.read_all(&AZIMUTH_SHOT, 1, 2);
    let (got, notes) = closures(&way);
    assert!(got.is_empty() && notes.len() == 1 && notes[0].stations == [1], "{notes:?}");
    assert!(notes[0].text.starts_with("The traverse to S1 hangs:"), "{}", notes[0].text);
    way.read_all(&AZIMUTH_SHOT, 4, 2);
    assert!(closures(&way).1.is_empty());
}
