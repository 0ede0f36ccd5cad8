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

/// Lines compared in pairs; more do not change the verdict.
const LINES: usize = 60;

/// The lines of a station.
struct Lines {
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
            let lines = Lines::gather(network, starts, &readings[s], s)?;
            lines.verdict(network, s, &units.angle())
        })
        .collect()
}

impl Lines {
    fn gather(network: &Network, starts: &Starts, readings: &[usize], s: usize) -> Option<Lines> {
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
        (count > 0.0 && sum > 0.0).then(|| Lines { lines, free, mean_m: sum / count })
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
