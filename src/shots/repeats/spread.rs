//! How far shots of one feature lie apart, and whether their ranges agree as well as the stated accuracy says.

use std::collections::BTreeMap;

use geo::{ConvexHull, MultiPoint, Point};

use super::Repeat;
use super::linear::{Vector3, variance};
use super::sight::{Polar, own, sighted};
use super::stand::{BaseInFrame, point, stands};
use crate::geodesy::frame::EarthCentred;
use crate::geodesy::register::Origin;

/// How far the shots used lie apart. A shot without height takes part in the plane.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Spread {
    /// Root mean square of the horizontal distances from the mean.
    pub horizontal_rms_m: f64,
    /// Root mean square of the height differences from the mean, of the shots with a height.
    pub up_rms_m: Option<f64>,
    /// Greatest separation of two shots.
    pub apart: Separation,
    /// How the ranges of each base agree; none where no base has two.
    pub ranges: Option<Ranges>,
}

/// The greatest separation of two shots, in the plane and in height; it need not be the same two.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Separation {
    /// Horizontal distance in metres.
    pub horizontal_m: f64,
    /// Height difference in metres; none with fewer than two heights.
    pub up_m: Option<f64>,
}

/// Ranges of shots about the means of their bases, against what is stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ranges {
    /// Standard deviation of one range in metres, √(Σ (s − s̄)²/ν).
    pub deviation_m: f64,
    /// Stated standard error of one range in metres, the root mean square of the shots'.
    pub stated_m: f64,
    /// Degrees of freedom ν: ranges less bases (slope and horizontal distances apart).
    pub freedom: usize,
}

/// The spread of shots about an earth-centred point.
pub(super) fn spread_about(bases: &[Origin], shots: &[Repeat], at: EarthCentred) -> Spread {
    stands(bases, shots).map_or_else(Spread::default, |(frame, stands)| spread(&stands, shots, frame.from_earth_centred(at)))
}

/// The spread of shots about a point of the frame.
pub(super) fn spread(stands: &BTreeMap<usize, BaseInFrame>, shots: &[Repeat], at: Vector3) -> Spread {
    let points: Vec<(Vector3, bool)> = shots.iter().filter_map(|shot| point(stands, shot)).collect();
    let heights: Vec<f64> = points.iter().filter(|(_, has_height)| *has_height).map(|(point, _)| point[2]).collect();
    let rms = |sum: f64, n: usize| (sum / n.max(1) as f64).sqrt();
    let squares = |p: &Vector3| (p[0] - at[0]).powi(2) + (p[1] - at[1]).powi(2);
    Spread {
        horizontal_rms_m: rms(points.iter().map(|(point, _)| squares(point)).sum(), points.len()),
        up_rms_m: (!heights.is_empty()).then(|| rms(heights.iter().map(|up| (up - at[2]).powi(2)).sum(), heights.len())),
        apart: separation(&points),
        ranges: ranges(shots),
    }
}

fn ranges(shots: &[Repeat]) -> Option<Ranges> {
    // Slope distances and horizontal ones of each base.
    let mut groups: BTreeMap<(usize, bool), Vec<&Repeat>> = BTreeMap::new();
    for shot in shots {
        groups.entry((shot.base, shot.vector.up_m.is_some())).or_default().push(shot);
    }
    let (mut squares, mut stated, mut readings, mut freedom) = (0.0, 0.0, 0, 0);
    for shots in groups.values().filter(|group| group.len() > 1) {
        // Each range with its own variance along the sight, to the feature as it is seen over one rise.
        let rise_m = shots.iter().map(|shot| shot.rise_m).fold(f64::INFINITY, f64::min);
        let ranged = |shot: &&Repeat| {
            let polar = Polar::from_vector(sighted(&Repeat { rise_m, ..**shot }));
            (polar.range_m, variance(&own(shot), polar.triad().along))
        };
        let group: Vec<(f64, f64)> = shots.iter().map(ranged).collect();
        let mean = group.iter().map(|(range, _)| range).sum::<f64>() / group.len() as f64;
        squares += group.iter().map(|(range, _)| (range - mean).powi(2)).sum::<f64>();
        stated += group.iter().map(|(_, along_m2)| along_m2).sum::<f64>();
        readings += group.len();
        freedom += group.len() - 1;
    }
    (freedom > 0).then(|| Ranges {
        deviation_m: (squares / freedom as f64).sqrt(),
        stated_m: (stated / readings as f64).sqrt(),
        freedom,
    })
}

/// The greatest separation of points: horizontally between corners of their convex hull.
pub(super) fn separation(points: &[(Vector3, bool)]) -> Separation {
    let flat: MultiPoint<f64> = points.iter().map(|(p, _)| Point::new(p[0], p[1])).collect();
    let hull = flat.convex_hull();
    let corners = &hull.exterior().0;
    let mut horizontal_m = 0.0f64;
    for (i, a) in corners.iter().enumerate() {
        for b in corners.iter().skip(i + 1) {
            horizontal_m = horizontal_m.max((a.x - b.x).hypot(a.y - b.y));
        }
    }
    let heights = || points.iter().filter(|(_, has_height)| *has_height).map(|(p, _)| p[2]);
    let up_m =
        (heights().count() > 1).then(|| heights().fold(f64::NEG_INFINITY, f64::max) - heights().fold(f64::INFINITY, f64::min));
    Separation { horizontal_m, up_m }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn separation_of_a_few_points_by_hand() {
        // A triangle of 3, 4 and 5 with a point inside it and two on its sides; heights of three of them.
        let points = [
            ([0.0, 0.0, 1.0], true),
            ([3.0, 0.0, 9.0], false),
            ([1.0, 1.0, -2.0], true),
            ([0.0, 4.0, 0.0], true),
            ([0.0, 2.0, 0.0], false),
            ([1.5, 0.0, 0.0], false),
        ];
        assert_eq!(separation(&points), Separation { horizontal_m: 5.0, up_m: Some(3.0) });
        // All on one line, and two alike.
        let line = [0.0, 2.0, 7.0, 2.0].map(|x| ([x, x, 0.0], false));
        assert_eq!(separation(&line), Separation { horizontal_m: 7f64.hypot(7.0), up_m: None });
        assert_eq!(separation(&[line[0], line[0]]).horizontal_m, 0.0);
        assert_eq!(separation(&[]).horizontal_m, 0.0);
    }
}
