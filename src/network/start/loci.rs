//! Where a station can be by one reading, in a plane: on a ray, on a circle about a known place, or on the circle from
//! which two known places are seen under one angle. Two of them give at most two places; the others choose.
//!
//! Circle of equal angle: with the chord from Q1 to Q2 of length 2a and the angle γ turned right from Q1 to Q2, the
//! centre stands off the chord's middle by a·cot γ to the right of its direction, and the radius is a / |sin γ|
//! (Euclid III.21; the resection of any surveying text). Accuracy: enough for a starting value only.

/// Sine of the crossing angle below which two loci give no start: 3°.
const FLAT: f64 = 0.052;

/// How much better than the second place the first must fit, and the least that the second must miss by, in metres.
const CLEARLY: f64 = 4.0;
const MISS_M: f64 = 0.5;

/// Loci that are tried in pairs: more do not help a start.
const TRIED: usize = 8;

/// What one reading, or two directions, tell of a place in the plane (east, north; metres).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Locus {
    /// On the ray from a place to an azimuth.
    Ray { from: [f64; 2], azimuth_rad: f64 },
    /// At a distance from a place.
    Circle { centre: [f64; 2], radius_m: f64 },
    /// Where `first` and `second` are seen `angle_rad` apart, turned right.
    Angle { first: [f64; 2], second: [f64; 2], angle_rad: f64 },
}

#[derive(Clone, Copy)]
enum PlaneCurve {
    Line([f64; 2], [f64; 2]),
    Circle([f64; 2], f64),
}

/// What the loci of a station come to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Meeting {
    /// One place.
    At([f64; 2]),
    /// Two places fit equally.
    Two,
    /// Too few, or crossing too flatly.
    None,
}

/// The place where loci meet.
pub(crate) fn meet(loci: &[Locus]) -> Meeting {
    let tried = &loci[..loci.len().min(TRIED)];
    // Fit, place and crossing of each candidate.
    let mut candidates: Vec<(f64, [f64; 2])> = Vec::new();
    for (i, a) in tried.iter().enumerate() {
        for b in &tried[..i] {
            for place in crossings(a.shape(), b.shape()) {
                if tried.iter().any(|l| l.stands_on(place)) {
                    continue;
                }
                let fit: f64 = tried.iter().map(|l| l.miss_m(place)).sum();
                if fit.is_finite() {
                    candidates.push((fit, place));
                }
            }
        }
    }
    candidates.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some((best_fit, best)) = candidates.first().copied() else { return Meeting::None };
    let size = tried.iter().map(|l| l.size_m(best)).fold(0.0, f64::max).max(1.0);
    // Another place, and not the same one found by other loci.
    let rival = candidates.iter().find(|(_, p)| apart(*p, best) > 0.1 * size);
    match rival {
        Some((fit, _)) if rivals(*fit, best_fit, size) => Meeting::Two,
        _ => Meeting::At(best),
    }
}

/// Whether a place that the readings miss by `fit` in all is as good as one that they miss by `best`, `size` away.
pub(super) fn rivals(fit: f64, best: f64, size_m: f64) -> bool {
    fit < CLEARLY * best + MISS_M.min(0.02 * size_m)
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

impl Locus {
    fn shape(&self) -> PlaneCurve {
        match *self {
            Locus::Ray { from, azimuth_rad } => PlaneCurve::Line(from, [azimuth_rad.sin(), azimuth_rad.cos()]),
            Locus::Circle { centre, radius_m } => PlaneCurve::Circle(centre, radius_m),
            Locus::Angle { first, second, angle_rad } => {
                let chord = [second[0] - first[0], second[1] - first[1]];
                let a = 0.5 * chord[0].hypot(chord[1]);
                let (sin, cos) = angle_rad.sin_cos();
                if sin.abs() < 1e-6 || a == 0.0 {
                    return PlaneCurve::Line(first, [chord[0] / (2.0 * a), chord[1] / (2.0 * a)]);
                }
                // Right of the chord: (north, −east) of its direction.
                let off = 0.5 * cos / sin;
                let centre = [0.5 * (first[0] + second[0]) + off * chord[1], 0.5 * (first[1] + second[1]) - off * chord[0]];
                PlaneCurve::Circle(centre, a / sin.abs())
            }
        }
    }

    /// How far a place is off it, in metres.
    pub(super) fn miss_m(&self, place: [f64; 2]) -> f64 {
        match *self {
            Locus::Ray { from, azimuth_rad } => {
                let (sin, cos) = azimuth_rad.sin_cos();
                let d = [place[0] - from[0], place[1] - from[1]];
                let (along, across) = (d[0] * sin + d[1] * cos, d[0] * cos - d[1] * sin);
                if along >= 0.0 { across.abs() } else { across.hypot(along) - along }
            }
            Locus::Circle { centre, radius_m } => (apart(place, centre) - radius_m).abs(),
            Locus::Angle { first, second, angle_rad } => {
                let azimuth = |q: [f64; 2]| (q[0] - place[0]).atan2(q[1] - place[1]);
                let off = crate::geodesy::frame::half_circle_rad(azimuth(second) - azimuth(first) - angle_rad);
                off.abs() * apart(place, first).min(apart(place, second))
            }
        }
    }

    /// Whether a place is one of the known places of an angle: the two circles of three directions meet there too.
    fn stands_on(&self, place: [f64; 2]) -> bool {
        match *self {
            Locus::Angle { first, second, .. } => apart(place, first).min(apart(place, second)) < 1e-3 * apart(first, second),
            _ => false,
        }
    }

    fn size_m(&self, place: [f64; 2]) -> f64 {
        match *self {
            Locus::Ray { from, .. } => apart(place, from),
            Locus::Circle { radius_m, .. } => radius_m,
            Locus::Angle { first, second, .. } => apart(place, first).max(apart(place, second)),
        }
    }
}

/// The places where two shapes cross.
fn crossings(a: PlaneCurve, b: PlaneCurve) -> Vec<[f64; 2]> {
    match (a, b) {
        (PlaneCurve::Line(p, d), PlaneCurve::Line(q, g)) => {
            let cross = d[0] * g[1] - d[1] * g[0];
            if cross.abs() < FLAT {
                return Vec::new();
            }
            let t = ((q[0] - p[0]) * g[1] - (q[1] - p[1]) * g[0]) / cross;
            vec![[p[0] + t * d[0], p[1] + t * d[1]]]
        }
        (PlaneCurve::Line(p, d), PlaneCurve::Circle(c, r)) | (PlaneCurve::Circle(c, r), PlaneCurve::Line(p, d)) => {
            let t = (c[0] - p[0]) * d[0] + (c[1] - p[1]) * d[1];
            let foot = [p[0] + t * d[0], p[1] + t * d[1]];
            let off = apart(foot, c);
            if off > 1.1 * r {
                return Vec::new();
            }
            let half = (r * r - off * off).max(0.0).sqrt();
            let end = |sign: f64| [foot[0] + sign * half * d[0], foot[1] + sign * half * d[1]];
            vec![end(1.0), end(-1.0)]
        }
        (PlaneCurve::Circle(c, r), PlaneCurve::Circle(g, s)) => {
            let l = apart(c, g);
            if l == 0.0 || l > 1.1 * (r + s) || 1.1 * l < (r - s).abs() {
                return Vec::new();
            }
            let along = (l * l + r * r - s * s) / (2.0 * l);
            let half = (r * r - along * along).max(0.0).sqrt();
            let d = [(g[0] - c[0]) / l, (g[1] - c[1]) / l];
            let end = |sign: f64| [c[0] + along * d[0] - sign * half * d[1], c[1] + along * d[1] + sign * half * d[0]];
            vec![end(1.0), end(-1.0)]
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn azimuth(a: [f64; 2], b: [f64; 2]) -> f64 {
        (b[0] - a[0]).atan2(b[1] - a[1])
    }

    fn close(place: Meeting, want: [f64; 2]) {
        match place {
            Meeting::At(got) => assert!(apart(got, want) < 1e-6, "{got:?} {want:?}"),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn two_rays_two_circles_and_what_chooses() {
        let place = [30.0, 40.0];
        let ray = |from: [f64; 2]| Locus::Ray { from, azimuth_rad: azimuth(from, place) };
        let circle = |centre: [f64; 2]| Locus::Circle { centre, radius_m: apart(centre, place) };
        close(meet(&[ray([0.0, 0.0]), ray([100.0, 0.0])]), place);
        assert_eq!(meet(&[circle([0.0, 0.0]), circle([100.0, 0.0])]), Meeting::Two);
        close(meet(&[circle([0.0, 0.0]), circle([100.0, 0.0]), circle([50.0, -70.0])]), place);
        close(meet(&[circle([0.0, 0.0]), ray([0.0, 0.0])]), place);
        assert_eq!(meet(&[circle([0.0, 0.0])]), Meeting::None);
        assert_eq!(meet(&[ray([0.0, 0.0]), ray([-3.0, -4.0])]), Meeting::None);
    }

    const SQUARE: Locus = Locus::Angle { first: [0.0, 0.0], second: [100.0, 0.0], angle_rad: std::f64::consts::FRAC_PI_2 };

    #[test]
    fn how_far_a_place_is_off() {
        let east = Locus::Ray { from: [2.0, 1.0], azimuth_rad: std::f64::consts::FRAC_PI_2 };
        let circle = Locus::Circle { centre: [1.0, 2.0], radius_m: 5.0 };
        let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-9, "{got} {want}");
        near(east.miss_m([12.0, 4.0]), 3.0);
        near(east.miss_m([12.0, -4.0]), 5.0);
        // Behind its start a ray is far: 3 aside and 4 behind are 5 away, and 4 to go back.
        near(east.miss_m([-2.0, 4.0]), 9.0);
        near(circle.miss_m([1.0, 10.0]), 3.0);
        near(circle.miss_m([3.0, 2.0]), 3.0);
        // From 50 m south of the middle of 100 m both ends are seen a right angle apart, 70.7 m away.
        near(SQUARE.miss_m([50.0, -50.0]), 0.0);
        let narrow = Locus::Angle { first: [0.0, 0.0], second: [100.0, 0.0], angle_rad: 80f64.to_radians() };
        near(narrow.miss_m([50.0, -50.0]), 10f64.to_radians() * 5000f64.sqrt());
        // From the north side the same angle is turned left.
        near(SQUARE.miss_m([50.0, 50.0]), std::f64::consts::PI * 5000f64.sqrt());
        near(SQUARE.miss_m([80.0, -40.0]), 0.0);
        near(east.size_m([5.0, 5.0]), 5.0);
        near(circle.size_m([70.0, 0.0]), 5.0);
        near(SQUARE.size_m([80.0, -40.0]), 80f64.hypot(40.0));
        // A known place itself is none to stand on: within a thousandth of the chord.
        assert!(SQUARE.stands_on([0.05, 0.05]) && SQUARE.stands_on([100.0, -0.09]));
        assert!(!SQUARE.stands_on([0.2, 0.0]) && !SQUARE.stands_on([100.0, -0.11]) && !east.stands_on([2.0, 1.0]));
    }

    #[test]
    fn a_rival_fits_nearly_as_well() {
        // Four times the best and 2 % of the size, half a metre at most.
        assert!(rivals(4.19, 1.0, 10.0) && !rivals(4.21, 1.0, 10.0));
        assert!(rivals(4.49, 1.0, 100.0) && !rivals(4.51, 1.0, 100.0));
    }

    #[test]
    fn a_straight_angle_is_the_line_between() {
        let between = Locus::Angle { first: [10.0, 0.0], second: [110.0, 0.0], angle_rad: std::f64::consts::PI };
        let north = Locus::Ray { from: [50.0, -30.0], azimuth_rad: 0.0 };
        close(meet(&[between, north]), [50.0, 0.0]);
    }

    #[test]
    fn touching_and_apart() {
        let circle = |e: f64, radius_m: f64| Locus::Circle { centre: [e, 0.0], radius_m };
        let ray = |n: f64| Locus::Ray { from: [-100.0, n], azimuth_rad: std::f64::consts::FRAC_PI_2 };
        // A tenth of a radius that is missing is bridged; more is not.
        close(meet(&[circle(0.0, 50.0), circle(108.0, 50.0)]), [54.0, 0.0]);
        assert_eq!(meet(&[circle(0.0, 50.0), circle(112.0, 50.0)]), Meeting::None);
        close(meet(&[circle(0.0, 60.0), circle(19.0, 40.0)]), [62.131_578_947, 0.0]);
        assert_eq!(meet(&[circle(0.0, 60.0), circle(17.0, 40.0)]), Meeting::None);
        assert_eq!(meet(&[circle(0.0, 60.0), circle(0.0, 40.0)]), Meeting::None);
        close(meet(&[circle(0.0, 50.0), ray(54.0)]), [0.0, 54.0]);
        assert_eq!(meet(&[circle(0.0, 50.0), ray(56.0)]), Meeting::None);
        // Two rays that cross under less than 3° tell nothing, under more they do.
        let from_west = |degrees: f64| Locus::Ray { from: [-100.0, 0.0], azimuth_rad: degrees.to_radians() };
        assert_eq!(meet(&[from_west(90.0), Locus::Ray { from: [0.0, -1.0], azimuth_rad: 88f64.to_radians() }]), Meeting::None);
        close(meet(&[from_west(90.0), Locus::Ray { from: [0.0, -10.0], azimuth_rad: 45f64.to_radians() }]), [10.0, 0.0]);
    }

    proptest! {
        /// What two shapes give lies on both, and both places are told where there are two.
        #[test]
        fn crossings_lie_on_both(
            p in prop::array::uniform2(-100.0f64..100.0),
            q in prop::array::uniform2(-100.0f64..100.0),
            azimuths in prop::array::uniform2(0.0f64..6.2),
            radii in prop::array::uniform2(20.0f64..120.0),
        ) {
            let line = |from: [f64; 2], azimuth: f64| PlaneCurve::Line(from, [azimuth.sin(), azimuth.cos()]);
            let off = |shape: PlaneCurve, place: [f64; 2]| match shape {
                PlaneCurve::Line(from, d) => ((place[0] - from[0]) * d[1] - (place[1] - from[1]) * d[0]).abs(),
                PlaneCurve::Circle(centre, radius) => (apart(place, centre) - radius).abs(),
            };
            let (l, m) = (line(p, azimuths[0]), line(q, azimuths[1]));
            let (c, g) = (PlaneCurve::Circle(p, radii[0]), PlaneCurve::Circle(q, radii[1]));
            let between = apart(p, q);
            for (a, b, count) in [
                (l, m, usize::from((azimuths[0] - azimuths[1]).sin().abs() > 0.06)),
                (m, c, if off(m, p) < 0.99 * radii[0] { 2 } else { 0 }),
                (c, m, if off(m, p) < 0.99 * radii[0] { 2 } else { 0 }),
                (c, g, if between < 0.99 * (radii[0] + radii[1]) && between > 1.01 * (radii[0] - radii[1]).abs() { 2 } else { 0 }),
            ] {
                if count == 0 {
                    continue;
                }
                let places = crossings(a, b);
                prop_assert_eq!(places.len(), count);
                for place in &places {
                    prop_assert!(off(a, *place) < 1e-6 && off(b, *place) < 1e-6, "{place:?}");
                }
                prop_assert!(count == 1 || apart(places[0], places[1]) > 1e-3);
            }
        }
    }

    proptest! {
        /// Three directions to known places, the place off their circle.
        #[test]
        fn resection(e in -300.0f64..300.0, n in -300.0f64..300.0, o in 0.0f64..6.2) {
            let known = [[0.0, 0.0], [120.0, 30.0], [60.0, 160.0]];
            let place = [e, n];
            let nearest = known.iter().map(|k| apart(*k, place)).fold(f64::MAX, f64::min);
            prop_assume!(nearest > 10.0);
            let readings: Vec<f64> = known.iter().map(|k| azimuth(place, *k) - o).collect();
            let angle = |i: usize, j: usize| Locus::Angle { first: known[i], second: known[j], angle_rad: readings[j] - readings[i] };
            let loci = [angle(0, 1), angle(1, 2), angle(2, 0)];
            match meet(&loci) {
                Meeting::At(got) => {
                    let miss: f64 = loci.iter().map(|l| l.miss_m(got)).sum();
                    prop_assert!(miss < 1e-5, "{miss}");
                    // Unique but for the danger circle, where every place fits.
                    let (a, b) = (apart(place, circle().0), circle().1);
                    prop_assert!(apart(got, place) < 1e-2 || (a - b).abs() < 0.1 * b, "{got:?} {place:?}");
                }
                other => {
                    let (a, b) = (apart(place, circle().0), circle().1);
                    prop_assert!((a - b).abs() < 0.2 * b, "{other:?} at {place:?}");
                }
            }
        }
    }

    /// The circle through the three known places above: |c|² = |c − (120, 30)|² = |c − (60, 160)|² gives
    /// 240 e + 60 n = 15300 and 120 e + 320 n = 29200, so n = 43100 / 580 and e = (15300 − 60 n) / 240.
    fn circle() -> ([f64; 2], f64) {
        let n = 43_100.0 / 580.0;
        let e = (15_300.0 - 60.0 * n) / 240.0;
        ([e, n], e.hypot(n))
    }
}
