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
    use crate::measure::trial::{Field, HANDHELD};

    #[test]
    fn corners_in_their_order() {
        // On an upright face that looks south, on one that looks up, and from behind.
        for (normal, right, up) in [
            ([0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]),
            ([0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]),
            ([0.6, 0.8, 0.0], [-0.8, 0.6, 0.0], [0.0, 0.0, 1.0]),
            ([0.0, 0.6, 0.8], [1.0, 0.0, 0.0], [0.0, -0.8, 0.6]),
            ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]),
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

    const EYE_M: f64 = 1.5;

    /// What the plumb lines of a field of 50 m, which are not parallel, leave in metres.
    const LEAN_M: f64 = 1e-3;

    /// Sights to spots of a wall from (−10, 45) to (25, 30), so many metres along it and up, by roles of their own.
    fn wall(role: &dyn Fn(usize) -> String, spots: &[[f64; 2]]) -> Field {
        let mut field = Field::new(HANDHELD, [0.5, 0.8]);
        field.instrument_height_m = EYE_M;
        let along = [35.0, -15.0].map(|x: f64| x / 35f64.hypot(15.0));
        let at = |[metres, up]: [f64; 2]| [-10.0 + metres * along[0], 45.0 + metres * along[1], up];
        field.shot(0, "plane_1", at([0.0, 2.0]));
        field.shot(0, "plane_2", at([35f64.hypot(15.0), 4.0]));
        for (i, spot) in spots.iter().enumerate() {
            let row = field.shot(0, &role(i), at(*spot));
            (row.slope_m, row.vector) = (None, None);
        }
        field
    }

    fn corner(i: usize) -> String {
        format!("corner_{}", i + 1)
    }

    fn composed(field: &Field) -> Composed {
        super::super::compose(&field.group("plane_sight"), &Default::default()).unwrap()
    }

    fn value(composed: &Composed, name: &str) -> Option<Estimate> {
        composed.values.iter().find(|value| value.name == name).map(|value| value.estimate)
    }

    /// By the equations of the two lines in plan: each spot, along the wall and up. Readings are azimuth, inclination and slope distance of the two
    /// shots of the wall, then azimuth and inclination of each sight.
    fn flat(r: &[f64]) -> Vec<[f64; 2]> {
        let plan = |azimuth: f64, run: f64| [run * azimuth.sin(), run * azimuth.cos()];
        let crossed = |a: [f64; 2], b: [f64; 2]| a[0] * b[1] - a[1] * b[0];
        let (one, other) = (plan(r[0], r[2] * r[1].cos()), plan(r[3], r[5] * r[4].cos()));
        let along = [other[0] - one[0], other[1] - one[1]];
        let spot = |sight: &[f64]| {
            let run = crossed(one, along) / crossed(plan(sight[0], 1.0), along);
            let [e, n] = plan(sight[0], run);
            let metres = ((e - one[0]) * along[0] + (n - one[1]) * along[1]) / along[0].hypot(along[1]);
            [metres, EYE_M + run * sight[1].tan()]
        };
        r[6..].chunks(2).map(spot).collect()
    }

    /// Means of opposite sides and the area by triangles from the first corner.
    fn sides_and_area(spots: &[[f64; 2]]) -> [f64; 3] {
        let n = spots.len();
        let side = |i: usize| {
            let (a, b) = (spots[i % n], spots[(i + 1) % n]);
            (b[0] - a[0]).hypot(b[1] - a[1])
        };
        let area = (1..n - 1).map(|i| {
            let [p, q] = [spots[i], spots[i + 1]].map(|at| [at[0] - spots[0][0], at[1] - spots[0][1]]);
            0.5 * (p[0] * q[1] - p[1] * q[0])
        });
        [0.5 * (side(0) + side(2)), 0.5 * (side(1) + side(3)), area.sum::<f64>().abs()]
    }

    fn readings(field: &Field) -> (Vec<f64>, Vec<f64>) {
        let (azimuth, inclination) = (0.3f64.to_radians(), 0.2f64.to_radians());
        let (mut read, mut sigmas) = (Vec::new(), Vec::new());
        for row in &field.sightings {
            read.extend([row.true_azimuth_rad.unwrap(), row.inclination_rad.unwrap()]);
            sigmas.extend([azimuth, inclination]);
            read.extend(row.slope_m);
            sigmas.extend(row.slope_m.map(|_| 0.05));
        }
        (read, sigmas)
    }

    /// Width, height and area of four corners, with their standard errors by differences of plane geometry; base and orientation cancel.
    #[test]
    fn a_face_by_four_corners() {
        let upright = [[8.0, 3.0], [15.0, 3.5], [14.5, 8.0], [8.5, 7.0]];
        let lying = [[8.0, 5.0], [13.0, 2.0], [14.5, 4.0], [9.5, 7.0]];
        // Of the second the first side, which falls by 3 m on 5, is nearer to level; of the third, which starts a corner later, the second one.
        let later = [[13.0, 2.0], [14.5, 4.0], [9.5, 7.0], [8.0, 5.0]];
        for (spots, first) in [(upright, 0), (lying, 0), (later, 1)] {
            let field = wall(&corner, &spots);
            let found = composed(&field);
            let (read, sigmas) = readings(&field);
            let of = |read: &[f64]| {
                let [one, other, area] = sides_and_area(&flat(read));
                if first == 0 { [one, other, area] } else { [other, one, area] }
            };
            let mut variances = [0.0; 3];
            for k in 0..read.len() {
                let at = |step: f64| {
                    let mut moved = read.clone();
                    moved[k] += step;
                    of(&moved)
                };
                let (plus, minus) = (at(1e-5), at(-1e-5));
                (0..3).for_each(|n| variances[n] += ((plus[n] - minus[n]) / 2e-5 * sigmas[k]).powi(2));
            }
            let names: Vec<&str> = found.values.iter().map(|value| value.name).collect();
            assert_eq!(names, ["width_m", "height_m", "area_m2"]);
            for (n, name) in names.into_iter().enumerate() {
                let (got, want) = (value(&found, name).unwrap(), of(&read)[n]);
                assert!((got.value - want).abs() < 5.0 * LEAN_M, "{name}: {got:?} {want}");
                assert!((got.sigma / variances[n].sqrt() - 1.0).abs() < 2e-3, "{name}: {got:?} {}", variances[n].sqrt());
            }
            let Shape::Area(ring) = &found.shape else { panic!("{found:?}") };
            let places: Vec<_> = found.parts.iter().map(|part| part.at).collect();
            assert_eq!(ring, &places);
            assert!(found.warnings.is_empty() && found.details.len() == 4, "{found:?}");
            assert!(found.method.ends_with("from the surface's normal; they are the corners of one face"), "{}", found.method);
        }
    }

    /// What is no figure of four that goes round has an area alone; what goes round in no order is taken about its middle.
    #[test]
    fn faces_of_other_corners() {
        let square = [[8.0, 3.0], [15.0, 3.0], [15.0, 8.0], [8.0, 8.0]];
        let area = |spots: &[[f64; 2]]| {
            let found = composed(&wall(&corner, spots));
            assert_eq!(found.values.iter().map(|value| value.name).collect::<Vec<_>>(), ["area_m2"], "{found:?}");
            let want = sides_and_area(spots)[2];
            assert!((value(&found, "area_m2").unwrap().value - want).abs() < 5.0 * LEAN_M, "{found:?} {want}");
            assert!(matches!(&found.shape, Shape::Area(ring) if ring.len() == spots.len()));
            value(&found, "area_m2").unwrap().sigma
        };
        assert!(area(&square[..3]) > 0.0);
        assert!(area(&[square[0], square[1], square[2], [11.0, 10.0], square[3]]) > 0.0);
        assert!(area(&[[8.0, 3.0], [16.0, 3.0], [12.0, 4.0], [12.0, 9.0]]) > 0.0);
        let crossed = composed(&wall(&corner, &[square[0], square[2], square[1], square[3]]));
        assert!((value(&crossed, "area_m2").unwrap().value - 35.0).abs() < 5.0 * LEAN_M);
        assert!((value(&crossed, "width_m").unwrap().value - 7.0).abs() < LEAN_M);
        assert_eq!(
            crossed.warnings,
            ["the corners do not follow each other round the face; they are taken in their order about its middle"]
        );
        // Corners by their numbers, whatever the order of the rows.
        let numbers = |i: usize| format!("corner_{}", [1, 3, 2, 4][i]);
        let numbered = composed(&wall(&numbers, &[square[0], square[2], square[1], square[3]]));
        assert!(numbered.warnings.is_empty() && (value(&numbered, "width_m").unwrap().value - 7.0).abs() < LEAN_M);
    }

    /// Four sights that go round make a face though nobody says that they are corners; others stay spots.
    #[test]
    fn four_sights_that_go_round() {
        let square = [[8.0, 3.0], [15.0, 3.0], [15.0, 8.0], [8.0, 8.0]];
        let sights = |spots: &[[f64; 2]]| composed(&wall(&|_| "sight".into(), spots));
        let found = sights(&square);
        assert!((value(&found, "area_m2").unwrap().value - 35.0).abs() < 5.0 * LEAN_M && found.warnings.is_empty());
        assert!(found.method.ends_with("; the four go round one face, and its width, height and area are those of its corners"));
        let crossed = sights(&[square[0], square[2], square[1], square[3]]);
        assert!((value(&crossed, "height_m").unwrap().value - 5.0).abs() < LEAN_M && crossed.warnings.is_empty());
        let arrow = sights(&[[8.0, 3.0], [16.0, 3.0], [12.0, 4.0], [12.0, 9.0]]);
        let five = sights(&[square[0], square[1], square[2], [11.0, 10.0], square[3]]);
        for spots in [arrow, sights(&square[..3]), five] {
            assert!(spots.values.is_empty() && spots.shape == Shape::None, "{spots:?}");
        }
    }
}
