//! A face by its corners: width, height and area of a flat sign, a wall, a window that was sighted at its corners without distances.
//!
//! The corners are where their sights meet the face's plane, so that the face may stand at any angle to the sights. Area: half of the length of
//! Σ pᵢ × pᵢ₊₁ (any text on analytic geometry). Of four corners the sides come in two pairs; the pair that is nearer to level gives the width, the
//! other the height, each the mean of its two sides. Standard errors from [`crate::geodesy::register`].

use super::surface::{KnownSurface, Met};
use crate::geodesy::register::Estimate;
use crate::measure::located::{cross, dot, from_to, length, moved, unit};
use crate::measure::strings::ring;
use crate::measure::{Composed, NamedValue, Shape};

/// Adds the face of the sights' spots to a measurement. Spots that are not said to be corners make one where they go round a convex
/// figure.
pub fn add(composed: &mut Composed, known: &KnownSurface<'_, '_>, met: &Met, are_corners: bool) {
    let (correlated, surface) = (&met.correlated, &known.surface);
    let hits = |points: &[[f64; 3]]| -> Vec<[f64; 3]> {
        met.aims.iter().map(|aim| aim.hit(surface, correlated, points).map_or([f64::NAN; 3], |hit| hit.point)).collect()
    };
    let corners = hits(correlated.points());
    let Some(normal) =
        met.aims.first().and_then(|aim| aim.hit(surface, correlated, correlated.points()).ok()).map(|hit| hit.normal)
    else {
        return;
    };
    let (order, is_convex, is_given) = around(&corners, normal);
    if !are_corners && !is_convex {
        return;
    }
    let on = |points: &[[f64; 3]]| -> Vec<[f64; 3]> {
        let spots = hits(points);
        order.iter().map(|i| spots[*i]).collect()
    };
    let mut values = Vec::new();
    let area = |ring: &[[f64; 3]]| {
        let sum = (0..ring.len()).fold([0.0; 3], |sum, i| {
            let (a, b) = (from_to(ring[0], ring[i]), from_to(ring[0], ring[(i + 1) % ring.len()]));
            moved(sum, 0.5, cross(a, b))
        });
        length(sum)
    };
    let face = on(correlated.points());
    if is_convex && face.len() == 4 {
        let side = |ring: &[[f64; 3]], i: usize| from_to(ring[i % 4], ring[(i + 1) % 4]);
        let rise = |i: usize| unit(side(&face, i))[2].abs() + unit(side(&face, i + 2))[2].abs();
        let first = usize::from(rise(1) < rise(0));
        let [width, height, area]: [Estimate; 3] = correlated.estimates(|points| {
            let ring = on(points);
            let mean = |i: usize| 0.5 * (length(side(&ring, i)) + length(side(&ring, i + 2)));
            [mean(first), mean(first + 1), area(&ring)]
        });
        values.extend([
            NamedValue { name: "width_m", estimate: width },
            NamedValue { name: "height_m", estimate: height },
            NamedValue { name: "area_m2", estimate: area },
        ]);
    } else {
        values.push(NamedValue { name: "area_m2", estimate: correlated.estimate(|points| area(&on(points))) });
    }
    if values.iter().flat_map(|value| [value.estimate.value, value.estimate.sigma]).any(|x| !x.is_finite()) {
        return;
    }
    composed.method.push_str(if are_corners {
        "; they are the corners of one face"
    } else {
        "; the four go round one face, and its width, height and area are those of its corners"
    });
    if are_corners && !is_given {
        composed
            .warnings
            .push("the corners do not follow each other round the face; they are taken in their order about its middle".into());
    }
    composed.values.splice(0..0, values);
    composed.shape = Shape::Area(face.into_iter().map(|corner| correlated.frame().to_earth_centred(corner)).collect());
}

/// The corners in their order round the face, whether it is convex, and whether that is the order in which they came.
fn around(corners: &[[f64; 3]], normal: [f64; 3]) -> (Vec<usize>, bool, bool) {
    let helper = if normal[2].abs() < 0.9 { [0.0, 0.0, 1.0] } else { [1.0, 0.0, 0.0] };
    let right = unit(cross(helper, normal));
    let up = cross(normal, right);
    let middle = corners.iter().fold([0.0; 3], |sum, p| moved(sum, 1.0 / corners.len() as f64, *p));
    let flat: Vec<[f64; 2]> = corners.iter().map(|p| from_to(middle, *p)).map(|p| [dot(p, right), dot(p, up)]).collect();
    let mut order: Vec<usize> = (0..corners.len()).collect();
    let is_given = ring::crossing(&flat).is_none();
    if !is_given {
        let angle = |i: &usize| flat[*i][1].atan2(flat[*i][0]);
        order.sort_by(|a, b| angle(a).total_cmp(&angle(b)));
    }
    let n = order.len();
    let turns = (0..n).map(|i| {
        let [a, b, c] = [i, i + 1, i + 2].map(|k| flat[order[k % n]]);
        (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])
    });
    let turns: Vec<f64> = turns.collect();
    let is_convex = turns.iter().all(|turn| *turn > 0.0) || turns.iter().all(|turn| *turn < 0.0);
    (order, is_convex, is_given)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corners_in_their_order() {
        // On an upright face that looks south, on one that looks up, and from behind.
        for (normal, right, up) in [
            ([0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]),
            ([0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]),
            ([0.6, 0.8, 0.0], [-0.8, 0.6, 0.0], [0.0, 0.0, 1.0]),
            ([0.0, 0.6, 0.8], [1.0, 0.0, 0.0], [0.0, -0.8, 0.6]),
        ] {
            let at = |flat: &[[f64; 2]]| -> Vec<[f64; 3]> {
                flat.iter().map(|[x, y]| moved(moved([500.0, 300.0, 90.0], *x, right), *y, up)).collect()
            };
            let square = [[0.0, 0.0], [3.0, 0.0], [3.0, 2.0], [0.0, 2.0]];
            assert_eq!(around(&at(&square), normal), (vec![0, 1, 2, 3], true, true));
            let other_way: Vec<[f64; 2]> = square.iter().rev().copied().collect();
            assert_eq!(around(&at(&other_way), normal), (vec![0, 1, 2, 3], true, true));
            // Top corners before bottom ones, each from the left: they are taken round the middle.
            let (order, is_convex, is_given) = around(&at(&[[0.0, 2.0], [3.0, 2.0], [0.0, 0.0], [3.0, 0.0]]), normal);
            assert!(is_convex && !is_given);
            let first = order.iter().position(|k| *k == 0).unwrap();
            let round: Vec<usize> = (0..4).map(|k| order[(first + k) % 4]).collect();
            assert!(round == [0, 2, 3, 1] || round == [0, 1, 3, 2], "{round:?}");
            // An arrow head goes round, and is not convex; a corner on a side bends nothing.
            assert_eq!(around(&at(&[[0.0, 0.0], [4.0, 0.0], [2.0, 0.5], [2.0, 3.0]]), normal), (vec![0, 1, 2, 3], false, true));
        }
    }
}
