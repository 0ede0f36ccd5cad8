//! Poor geometry, before anything is solved.
//!
//! Crossing angle: each azimuth is a line through the point, each distance a line across its sight; the best crossing of
//! two of them must be 30° to 150°, below 10° (or above 170°) the point is refused (30° and 10°: common practice, no
//! source). A base that stands on directions without orientation has instead the magnification m = σ_max / (σ · mean
//! length) of its place by all its lines, unit errors: about 1 for good resections, above 5 flagged, above 50 refused
//! (own choice, about the sine of 10° and of 1°). It grows without limit on the danger circle through three known
//! points, and where they stand in one line with the base or far off together.

use super::notes::{Note, NoteKind, listed};
use super::start::Starts;
use super::types::{Kind, Network};
use crate::geodesy::frame::{Geodetic, LocalFrame};
use crate::units::{Shown, Units};

/// Crossing angle below which a point is flagged and refused.
const POOR_RAD: f64 = 30.0 * std::f64::consts::PI / 180.0;
const REFUSED_RAD: f64 = 10.0 * std::f64::consts::PI / 180.0;

/// Magnification above which a resection is flagged and refused.
const POOR_MAGNIFICATION: f64 = 5.0;
const REFUSED_MAGNIFICATION: f64 = 50.0;

/// Share of its radius within which a circle passes a station, for the reason that is told: own choice.
const NEAR_CIRCLE: f64 = 0.15;

/// StationLines compared in pairs; more do not change the verdict.
const LINES: usize = 60;

/// The lines of a station.
struct StationLines {
    /// Azimuth of each line through the station, and the station at its other end.
    lines: Vec<(f64, usize)>,
    /// Azimuth and distance of each direction without orientation read here, and its target.
    free: Vec<(f64, f64, usize)>,
    /// Mean length of the sights.
    mean_m: f64,
}

/// Notes on all stations that stand on lines alone.
pub(crate) fn judge(network: &Network, starts: &Starts, readings: &[Vec<usize>], units: &Units) -> Vec<Note> {
    (0..network.stations.len())
        .filter(|s| network.stations[*s].control.is_none())
        .filter_map(|s| {
            let lines = StationLines::gather(network, starts, &readings[s], s)?;
            lines.verdict(network, s, &units.angle())
        })
        .collect()
}

impl StationLines {
    fn gather(network: &Network, starts: &Starts, readings: &[usize], s: usize) -> Option<StationLines> {
        let here = Geodetic::from_earth_centred(starts.positions[s]?, &network.ellipsoid);
        let frame = LocalFrame::at(&here, &network.ellipsoid);
        let (mut lines, mut free, mut sum, mut count) = (Vec::new(), Vec::new(), 0.0, 0.0);
        for o in readings.iter().map(|&i| &network.observations[i]) {
            let other = if o.from == s { o.to } else { o.from };
            let Some(position) = starts.positions[other] else { continue };
            let [e, n, _] = frame.from_earth_centred(position);
            let (azimuth, distance) = (e.atan2(n), e.hypot(n));
            let oriented = o.kind == Kind::Azimuth && network.stations[o.from].sigma_orientation_rad.is_finite();
            match o.kind {
                Kind::Azimuth | Kind::Direction if oriented || o.from != s => {
                    let known = oriented || starts.azimuths[o.from].is_some() || starts.directions[o.from].is_some();
                    if known {
                        lines.push((azimuth, other));
                    }
                }
                Kind::Azimuth | Kind::Direction => free.push((azimuth, distance, other)),
                Kind::Slope | Kind::Horizontal => lines.push((azimuth + std::f64::consts::FRAC_PI_2, other)),
                _ => continue,
            }
            sum += distance;
            count += 1.0;
        }
        (count > 0.0 && sum > 0.0).then(|| StationLines { lines, free, mean_m: sum / count })
    }

    /// The best crossing angle, 0 to 90°, and the stations of its two lines.
    fn crossing(&self) -> Option<(f64, usize, usize)> {
        let lines = &self.lines[..self.lines.len().min(LINES)];
        let mut best: Option<(f64, usize, usize)> = None;
        for (i, (a, first)) in lines.iter().enumerate() {
            for (b, second) in &lines[..i] {
                let angle = (a - b).sin().abs().asin();
                if best.is_none_or(|(most, ..)| angle > most) {
                    best = Some((angle, *second, *first));
                }
            }
            // A line and a distance of one sight cross at a right angle: nothing is better.
            if best.is_some_and(|(most, ..)| most > 1.5) {
                break;
            }
        }
        best
    }

    fn verdict(&self, network: &Network, s: usize, shown: &Shown) -> Option<Note> {
        let label = |s: usize| network.stations[s].label.as_str();
        let crossing = self.crossing();
        if crossing.is_some_and(|(angle, ..)| angle >= POOR_RAD) {
            return None;
        }
        if self.free.len() >= 2 {
            let m = self.magnification();
            if m <= POOR_MAGNIFICATION {
                return None;
            }
            let refused = m > REFUSED_MAGNIFICATION;
            let targets: Vec<usize> = self.free.iter().map(|(.., t)| *t).collect();
            let seen = listed(targets.iter().map(|t| label(*t)));
            let why = if self.in_line() {
                "stand in one line with it"
            } else if self.on_circle() {
                "lie with it on one circle, the danger circle"
            } else {
                "are seen from it within too narrow an angle"
            };
            let what = if refused { "It is left out" } else { "Its position is weak" };
            let text = format!(
                "Base {}: {seen} {why}, or nearly so. {what}: sight another known point, or measure a distance.",
                label(s)
            );
            let kind = if refused { NoteKind::GeometryRefused } else { NoteKind::GeometryPoor };
            return Some(Note::new(kind, std::iter::once(s).chain(targets).collect(), text));
        }
        let (angle, first, second) = crossing?;
        let refused = angle < REFUSED_RAD;
        let what = if refused {
            "that fixes nothing, and it is left out. Sight it from another side".to_owned()
        } else {
            let [least, most] = [30.0, 150.0].map(|degrees| shown.said(degrees, 0));
            format!("its position is weak. Sight it from another side ({least} to {most})")
        };
        let from = if first == second { label(first).to_string() } else { format!("{} and {}", label(first), label(second)) };
        let at = shown.said(angle.to_degrees(), 1);
        let text = format!("Point {}: its best lines, from {from}, cross at {at}: {what}.", label(s));
        let kind = if refused { NoteKind::GeometryRefused } else { NoteKind::GeometryPoor };
        Some(Note::new(kind, vec![s, first, second], text))
    }

    /// Whether all free directions point along one line within 10°.
    fn in_line(&self) -> bool {
        let Some((first, ..)) = self.free.first() else { return false };
        self.free.iter().all(|(a, ..)| (a - first).sin().abs() < REFUSED_RAD.sin())
    }

    /// Whether the circle through the first three targets passes the station within [`NEAR_CIRCLE`] of its radius.
    fn on_circle(&self) -> bool {
        let mut places = self.free.iter().map(|(azimuth, distance, _)| [distance * azimuth.sin(), distance * azimuth.cos()]);
        let (Some(a), Some(b), Some(c)) = (places.next(), places.next(), places.next()) else { return false };
        // Equal distances from the centre to a, b and c, the station at the origin.
        let square = |p: [f64; 2]| 0.5 * (p[0] * p[0] + p[1] * p[1]);
        let (p, q) = ([b[0] - a[0], b[1] - a[1]], [c[0] - a[0], c[1] - a[1]]);
        let (f, g) = (square(b) - square(a), square(c) - square(a));
        let cross = p[0] * q[1] - p[1] * q[0];
        let centre = [(f * q[1] - g * p[1]) / cross, (g * p[0] - f * q[0]) / cross];
        let radius = (a[0] - centre[0]).hypot(a[1] - centre[1]);
        (centre[0].hypot(centre[1]) - radius).abs() < NEAR_CIRCLE * radius
    }

    /// Greatest standard error of the place over error times mean length; infinite where it is not fixed.
    fn magnification(&self) -> f64 {
        // Normal equations of east, north (in mean lengths) and the orientation.
        let mut normal = [[0.0; 3]; 3];
        let mut add = |row: [f64; 3]| {
            for i in 0..3 {
                for j in 0..3 {
                    normal[i][j] += row[i] * row[j];
                }
            }
        };
        for (azimuth, distance, _) in &self.free {
            let turn = self.mean_m / distance.max(1e-3);
            add([-turn * azimuth.cos(), turn * azimuth.sin(), -1.0]);
        }
        for (azimuth, _) in &self.lines {
            add([azimuth.cos(), -azimuth.sin(), 0.0]);
        }
        // The orientation eliminated, the smaller eigenvalue of what is left.
        let o = normal[2][2];
        let left = |i: usize, j: usize| normal[i][j] - normal[i][2] * normal[j][2] / o;
        let (a, b, c) = (left(0, 0), left(0, 1), left(1, 1));
        let least = 0.5 * (a + c) - (0.5 * (a - c)).hypot(b);
        if least <= 0.0 { f64::INFINITY } else { 1.0 / least.sqrt() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::covariance::Covariance;
    use crate::geodesy::frame::{EarthCentred, Ellipsoid};
    use crate::network::start::start;
    use crate::network::surveyed::Surveyed;
    use crate::network::types::{Control, Observation, Station};

    /// Stations at places in the horizon of the first; all are known but the last.
    fn network(places: &[[f64; 2]]) -> Network {
        let ellipsoid = Ellipsoid::WGS84;
        let frame = LocalFrame::at(&Geodetic { lat_rad: 0.8, lon_rad: 0.2, ellipsoid_height_m: 300.0 }, &ellipsoid);
        let stations = places.iter().enumerate().map(|(s, [e, n])| {
            let position = frame.to_earth_centred([*e, *n, 0.0]);
            let control = (s + 1 < places.len()).then_some(Control { position, covariance: Covariance::from_sigmas(0.1, 0.1) });
            Station { label: format!("S{s}"), start: Some(position), control, sigma_orientation_rad: 0.0 }
        });
        let stations = stations.collect();
        Network { ellipsoid, refraction: 0.0, stations, instruments: vec![], shared: vec![], observations: vec![] }
    }

    fn read(network: &mut Network, kind: Kind, from: usize, to: usize) {
        let at = |s: usize| -> EarthCentred { network.stations[s].start.unwrap() };
        let frame = LocalFrame::at(&Geodetic::from_earth_centred(at(from), &network.ellipsoid), &network.ellipsoid);
        let [e, n, _] = frame.from_earth_centred(at(to));
        let value = if kind.is_bearing() { e.atan2(n) - if kind == Kind::Direction { 1.0 } else { 0.0 } } else { e.hypot(n) };
        network.observations.push(Observation {
            kind,
            from,
            to,
            value,
            sigma: 0.01,
            instrument_height_m: 0.0,
            target_height_m: 0.0,
            instrument: None,
            shared: [None; 2],
            source: 0,
        });
    }

    /// What is said of the last station.
    fn said(network: &Network) -> Option<Note> {
        let used = vec![true; network.observations.len()];
        let starts = start(network, &used);
        let mut readings = vec![Vec::new(); network.stations.len()];
        for (i, o) in network.observations.iter().enumerate() {
            readings[o.from].push(i);
            readings[o.to].push(i);
        }
        let notes = judge(network, &starts, &readings, &Units::default());
        assert!(notes.len() < 2);
        notes.into_iter().next()
    }

    /// Two bases on both sides of a point 100 m off, their lines crossing under an angle; by azimuths, or by distances, which cross as they do.
    fn two_lines(angle_deg: f64, kinds: [Kind; 2]) -> Option<Note> {
        let (sin, cos) = (0.5 * angle_deg.to_radians()).sin_cos();
        let mut network = network(&[[100.0 * sin, -100.0 * cos], [-100.0 * sin, -100.0 * cos], [0.0, 0.0]]);
        read(&mut network, kinds[0], 0, 2);
        read(&mut network, kinds[1], 1, 2);
        said(&network)
    }

    #[test]
    fn a_crossing_is_good_from_thirty_degrees_and_refused_under_ten() {
        let kind = |note: Option<Note>| note.map(|note| note.kind);
        for kinds in [[Kind::Azimuth; 2], [Kind::Horizontal; 2], [Kind::Slope; 2]] {
            // Under an angle and under what is left of 180° lines cross alike.
            for of in [|angle: f64| angle, |angle: f64| 180.0 - angle] {
                assert_eq!(kind(two_lines(of(30.1), kinds)), None);
                assert_eq!(kind(two_lines(of(29.9), kinds)), Some(NoteKind::GeometryPoor));
                assert_eq!(kind(two_lines(of(10.1), kinds)), Some(NoteKind::GeometryPoor));
                assert_eq!(kind(two_lines(of(9.9), kinds)), Some(NoteKind::GeometryRefused));
            }
        }
        // A line and a distance cross at what is left of a right angle.
        assert_eq!(kind(two_lines(59.9, [Kind::Azimuth, Kind::Horizontal])), None);
        assert_eq!(kind(two_lines(60.1, [Kind::Azimuth, Kind::Horizontal])), Some(NoteKind::GeometryPoor));
        let note = two_lines(20.0, [Kind::Azimuth; 2]).unwrap();
        assert_eq!(note.stations, [2, 0, 1]);
        assert_eq!(
            note.text,
            "Point S2: its best lines, from S0 and S1, cross at 20.0°: its position is weak. Sight it from another side (30° to 150°)."
        );
        let note = two_lines(5.0, [Kind::Azimuth; 2]).unwrap();
        assert_eq!(
            note.text,
            "Point S2: its best lines, from S0 and S1, cross at 5.0°: that fixes nothing, and it is left out. Sight it from another side."
        );
    }

    fn lines(azimuths_deg: &[f64], free: &[(f64, f64)], mean_m: f64) -> StationLines {
        StationLines {
            lines: azimuths_deg.iter().enumerate().map(|(k, azimuth)| (azimuth.to_radians(), k)).collect(),
            free: free.iter().enumerate().map(|(k, (azimuth, distance))| (azimuth.to_radians(), *distance, k)).collect(),
            mean_m,
        }
    }

    /// Azimuths are lines, distances lines across them, directions read at the station free; those read elsewhere are lines once their circle is oriented.
    #[test]
    fn what_is_a_line_and_what_is_free() {
        let places = [[0.0, 100.0, 0.0], [200.0, 0.0, 0.0], [0.0, -300.0, 0.0], [-400.0, 0.0, 0.0], [50.0, 50.0, 0.0], [0.0; 3]];
        let (at, lost) = (5, 4);
        let of = |readings: &[(Kind, usize, usize)], orientation: f64, turned: &dyn Fn(&mut Starts)| {
            let mut survey = Surveyed::at(&places, &[0, 1, 2, 3]);
            survey.network.stations.iter_mut().for_each(|station| station.sigma_orientation_rad = orientation);
            let mut starts = Starts {
                positions: survey.truth.iter().map(|place| Some(*place)).collect(),
                has_height: vec![true; 6],
                azimuths: vec![None; 6],
                directions: vec![None; 6],
                notes: vec![],
            };
            starts.positions[lost] = None;
            turned(&mut starts);
            readings.iter().for_each(|(kind, from, to)| {
                survey.read(*kind, *from, *to);
            });
            let all: Vec<usize> = (0..readings.len()).collect();
            let lines = StationLines::gather(&survey.network, &starts, &all, at)?;
            let degrees = |azimuth: f64| azimuth.to_degrees().round();
            let (own, free): (Vec<_>, Vec<_>) = (
                lines.lines.iter().map(|(azimuth, other)| (degrees(*azimuth), *other)).collect(),
                lines.free.iter().map(|(azimuth, metres, other)| (degrees(*azimuth), metres.round(), *other)).collect(),
            );
            Some((own, free, lines.mean_m.round()))
        };
        use Kind::*;
        let none: &dyn Fn(&mut Starts) = &|_| ();
        let some =
            |lines: &[(f64, usize)], free: &[(f64, f64, usize)], mean_m: f64| Some((lines.to_vec(), free.to_vec(), mean_m));
        for from_it in [false, true] {
            let ends = |other: usize| if from_it { (at, other) } else { (other, at) };
            let read = |kind: Kind, other: usize| (kind, ends(other).0, ends(other).1);
            assert_eq!(of(&[read(Azimuth, 1), read(Azimuth, 2)], 0.01, none), some(&[(90.0, 1), (180.0, 2)], &[], 250.0));
            assert_eq!(of(&[read(Slope, 0), read(Horizontal, 1)], 0.01, none), some(&[(90.0, 0), (180.0, 1)], &[], 150.0));
            // What tells of heights alone is no line, nor is what has no place.
            assert_eq!(of(&[read(Inclination, 0), read(Azimuth, lost)], 0.01, none), None);
        }
        let free = some(&[], &[(90.0, 200.0, 1), (180.0, 300.0, 2)], 250.0);
        assert_eq!(of(&[(Direction, at, 1), (Direction, at, 2)], 0.01, none), free);
        assert_eq!(of(&[(Azimuth, at, 1), (Azimuth, at, 2)], f64::INFINITY, none), free);
        // Oriented or not, what is read at the station itself by a circle is free of it.
        assert_eq!(of(&[(Direction, at, 1), (Direction, at, 2)], 0.01, &|starts| starts.directions[at] = Some(0.1)), free);
        for kind in [Azimuth, Direction] {
            let elsewhere = [(kind, 1, at), (kind, 2, at)];
            assert_eq!(of(&elsewhere, f64::INFINITY, none), some(&[], &[], 250.0));
            assert_eq!(of(&elsewhere, f64::INFINITY, &|starts| starts.directions[1] = Some(0.1)), some(&[(90.0, 1)], &[], 250.0));
            assert_eq!(of(&elsewhere, f64::INFINITY, &|starts| starts.azimuths[2] = Some(0.1)), some(&[(180.0, 2)], &[], 250.0));
        }
        assert_eq!(of(&[], 0.01, none), None);
    }

    /// What is said of lines that cross flatly, beside free directions that fix the place or do not.
    #[test]
    fn the_reason_is_told() {
        let network = network(&[[0.0, 100.0], [100.0, 0.0], [0.0, -100.0], [-100.0, 0.0], [0.0, 0.0]]);
        let shown = Units::default().angle();
        let said = |lines: StationLines| lines.verdict(&network, 4, &shown).map(|note| (note.kind, note.stations, note.text));
        let (poor, refused) = (NoteKind::GeometryPoor, NoteKind::GeometryRefused);
        // Directions to three sides fix it, whatever lines there are beside them.
        assert_eq!(said(lines(&[], &[(0.0, 100.0), (120.0, 100.0), (240.0, 100.0)], 100.0)), None);
        assert_eq!(said(lines(&[10.0, 25.0], &[(0.0, 100.0), (120.0, 100.0), (240.0, 100.0)], 100.0)), None);
        let out = "It is left out: sight another known point, or measure a distance.";
        let (kind, stations, text) = said(lines(&[], &[(30.0, 50.0), (30.4, 80.0), (210.8, 90.0)], 70.0)).unwrap();
        assert_eq!((kind, stations), (refused, vec![4, 0, 1, 2]));
        assert_eq!(text, format!("Base S4: S0, S1 and S2 stand in one line with it, or nearly so. {out}"));
        // On a circle of 100 m about a place north of the station.
        let at = |degrees: f64| {
            let (sin, cos) = degrees.to_radians().sin_cos();
            let [e, n] = [100.0 * sin, 100.0 * cos + 100.0];
            (e.atan2(n).to_degrees(), e.hypot(n))
        };
        let (kind, _, text) = said(lines(&[], &[at(10.0), at(80.0), at(310.0)], 150.0)).unwrap();
        assert_eq!(kind, refused);
        assert_eq!(text, format!("Base S4: S0, S1 and S2 lie with it on one circle, the danger circle, or nearly so. {out}"));
        // One free direction says nothing: the lines are judged.
        let (kind, stations, _) = said(lines(&[10.0, 25.0], &[(0.0, 100.0)], 100.0)).unwrap();
        assert_eq!((kind, stations), (poor, vec![4, 0, 1]));
        assert_eq!(said(lines(&[10.0], &[], 100.0)), None);
        // Two lines from one station.
        let mut one = lines(&[10.0, 12.0], &[], 100.0);
        one.lines.iter_mut().for_each(|(_, other)| *other = 3);
        let (kind, stations, text) = said(one).unwrap();
        assert_eq!((kind, stations), (refused, vec![4, 3, 3]));
        assert_eq!(
            text,
            "Point S4: its best lines, from S3, cross at 2.0°: that fixes nothing, and it is left out. Sight it from another side."
        );
    }

    #[test]
    fn the_best_of_all_pairs_of_lines() {
        let of = |azimuths: &[f64]| {
            let (angle, a, b) = lines(azimuths, &[], 100.0).crossing().unwrap();
            (angle.to_degrees().round(), a, b)
        };
        assert_eq!(of(&[10.0, 30.0, 25.0]), (20.0, 0, 1));
        assert_eq!(of(&[10.0, 191.0, 40.0]), (30.0, 0, 2));
        assert_eq!(of(&[350.0, 100.0, 20.0]), (80.0, 1, 2));
        // From some 86° on no better one is looked for.
        assert_eq!(of(&[0.0, 87.0, 90.0]), (87.0, 0, 1));
        assert_eq!(of(&[0.0, 85.0, 90.0]), (90.0, 0, 2));
        assert!(lines(&[10.0], &[], 100.0).crossing().is_none());
        // Of many lines the first sixty are looked at.
        let many = |last: usize| (0..last).map(|_| 0.0).chain([50.0]).collect::<Vec<f64>>();
        assert_eq!((of(&many(59)).0, of(&many(60)).0), (50.0, 0.0));
    }

    /// σ of the worst direction over the mean length, by the whole inverse of the normal equations with the orientation among them.
    fn by_inverse(lines: &StationLines) -> f64 {
        let mut n = [[0.0; 3]; 3];
        let free = lines.free.iter().map(|(azimuth, distance, _)| {
            let turn = lines.mean_m / distance;
            // An azimuth grows as the station moves left of the sight; the reading is it less the orientation.
            [-turn * azimuth.cos(), turn * azimuth.sin(), -1.0]
        });
        let fixed = lines.lines.iter().map(|(azimuth, _)| [azimuth.cos(), -azimuth.sin(), 0.0]);
        for row in free.chain(fixed) {
            (0..9).for_each(|k| n[k / 3][k % 3] += row[k / 3] * row[k % 3]);
        }
        let minor = |i: usize, j: usize| {
            let (p, q, r, s) = ((i + 1) % 3, (i + 2) % 3, (j + 1) % 3, (j + 2) % 3);
            n[p][r] * n[q][s] - n[p][s] * n[q][r]
        };
        let determinant: f64 = (0..3).map(|j| n[0][j] * minor(0, j)).sum();
        let c = |i: usize, j: usize| minor(j, i) / determinant;
        // The greatest variance of any direction, looked for.
        let along = |k: i32| {
            let (sin, cos) = (f64::from(k) * std::f64::consts::PI / 20_000.0).sin_cos();
            c(0, 0) * sin * sin + 2.0 * c(0, 1) * sin * cos + c(1, 1) * cos * cos
        };
        (0..20_000).map(along).fold(0.0, f64::max).sqrt()
    }

    #[test]
    fn magnification_is_the_worst_direction_of_the_inverse() {
        for (azimuths, free, mean_m) in [
            (vec![], vec![(0.0, 80.0), (110.0, 120.0), (250.0, 100.0)], 100.0),
            (vec![], vec![(20.0, 300.0), (60.0, 50.0), (75.0, 210.0), (200.0, 90.0)], 160.0),
            (vec![40.0], vec![(5.0, 60.0), (30.0, 90.0)], 80.0),
            (vec![130.0, 160.0], vec![(5.0, 60.0), (300.0, 40.0), (30.0, 90.0)], 50.0),
        ] {
            let lines = lines(&azimuths, &free, mean_m);
            let (got, want) = (lines.magnification(), by_inverse(&lines));
            assert!((got / want - 1.0).abs() < 1e-6, "{got} {want}");
        }
        // Three targets in one direction fix nothing.
        assert!(lines(&[], &[(30.0, 50.0), (30.0, 80.0), (30.0, 90.0)], 73.0).magnification() > 1e6);
    }

    #[test]
    fn targets_in_one_line_and_on_one_circle_are_told() {
        let line = |degrees: &[f64]| lines(&[], &degrees.iter().map(|d| (*d, 100.0)).collect::<Vec<_>>(), 100.0).in_line();
        assert!(line(&[20.0, 29.9, 200.0]) && line(&[20.0, 10.1, 190.1]) && line(&[355.0, 4.9]));
        assert!(!line(&[20.0, 30.1]) && !line(&[20.0, 210.1]) && !line(&[20.0, 110.0]) && !line(&[]));
        // Three targets on a circle of 100 m, the station off it by a share of the radius.
        for (share, is_on) in [(0.0, true), (0.149, true), (0.151, false), (-0.149, true), (-0.151, false)] {
            let at = |degrees: f64| {
                let (sin, cos) = degrees.to_radians().sin_cos();
                // The station stands south of the centre.
                let [e, n] = [100.0 * sin, 100.0 * cos + 100.0 * (1.0 + share)];
                (e.atan2(n).to_degrees(), e.hypot(n))
            };
            let lines = lines(&[], &[at(10.0), at(80.0), at(310.0), (5.0, 7.0)], 100.0);
            assert_eq!(lines.on_circle(), is_on, "{share}");
        }
        assert!(!lines(&[], &[(10.0, 50.0), (80.0, 60.0)], 55.0).on_circle());
    }

    /// A resection by three directions, whose magnification is brought just under and just over each limit.
    #[test]
    fn a_resection_is_judged_by_its_magnification() {
        let of = |apart_deg: f64| {
            let at = |degrees: f64| [100.0 * degrees.to_radians().sin(), 100.0 * degrees.to_radians().cos()];
            let mut network = network(&[at(-apart_deg), at(0.0), at(apart_deg), [0.0, 0.0]]);
            (0..3).for_each(|to| read(&mut network, Kind::Direction, 3, to));
            let free: Vec<(f64, f64)> = [-apart_deg, 0.0, apart_deg].iter().map(|degrees| (*degrees, 100.0)).collect();
            (by_inverse(&lines(&[], &free, 100.0)), said(&network))
        };
        let reaching = |want: f64| {
            let (mut narrow, mut wide) = (1.0, 80.0);
            for _ in 0..60 {
                let middle: f64 = 0.5 * (narrow + wide);
                if of(middle).0 > want { narrow = middle } else { wide = middle }
            }
            wide
        };
        let (poor, refused) = (reaching(5.0), reaching(50.0));
        assert!(of(1.001 * poor).1.is_none());
        let note = of(0.999 * poor).1.unwrap();
        assert_eq!((note.kind, note.stations), (NoteKind::GeometryPoor, vec![3, 0, 1, 2]));
        assert!(note.text.contains("are seen from it within too narrow an angle") && note.text.contains("Its position is weak"));
        assert_eq!(of(1.001 * refused).1.unwrap().kind, NoteKind::GeometryPoor);
        let note = of(0.999 * refused).1.unwrap();
        assert_eq!(note.kind, NoteKind::GeometryRefused);
        assert_eq!(
            note.text,
            "Base S3: S0, S1 and S2 are seen from it within too narrow an angle, or nearly so. It is left out: sight another known point, or measure a \
             distance."
        );
    }
}
