//! Rings: which way round they go, where they cross themselves, and how a crossing is taken out.
//!
//! Crossings are found by a sweep over the edges along the ring's longer side ([`geo::algorithm::sweep`], with predicates that rounding cannot
//! turn): the work grows with the number of edges that lie beside each other, not with the square of all.

use geo::algorithm::sweep::{Cross, Intersections};
use geo::{Area, Coord, Line, LineIntersection, Polygon};

/// Work that is spent on taking crossings out, in edges looked at: a ring of 20,000 vertices gets some 500 turns.
const MOST_WORK: usize = 10_000_000;

/// Twice the signed area, positive where the ring goes round against the clock (the right-hand rule of areas). It is counted from the
/// first vertex, so that coordinates of millions of metres lose nothing.
pub fn twice_area(ring: &[[f64; 2]]) -> f64 {
    2.0 * Polygon::new(ring.iter().map(|[x, y]| Coord { x: *x, y: *y }).collect(), Vec::new()).signed_area()
}

/// An edge with the index of its first vertex.
#[derive(Debug, Clone, Copy)]
struct Edge {
    line: Line<f64>,
    index: usize,
}

impl Cross for Edge {
    type Scalar = f64;

    fn line(&self) -> Line<f64> {
        self.line
    }
}

/// The pairs of edges that cross or touch, each by the index of its first vertex, as the sweep comes upon them. Neighbours that share a
/// vertex are no crossing, unless one folds back onto the other.
fn found(ring: &[[f64; 2]]) -> impl Iterator<Item = (usize, usize)> {
    let n = ring.len();
    let extent = |axis: usize| {
        let values = ring.iter().map(|point| point[axis]);
        values.clone().fold(f64::NEG_INFINITY, f64::max) - values.fold(f64::INFINITY, f64::min)
    };
    let (first, second) = if extent(0) >= extent(1) { (0, 1) } else { (1, 0) };
    let at = |i: usize| Coord { x: ring[i % n][first], y: ring[i % n][second] };
    let edges: Vec<Edge> = (0..n).map(|index| Edge { line: Line::new(at(index), at(index + 1)), index }).collect();
    let meetings: Intersections<Edge> = edges.into_iter().collect();
    meetings.filter_map(move |(one, other, meeting)| {
        let (i, j) = (one.index.min(other.index), one.index.max(other.index));
        let are_neighbours = j == i + 1 || (i == 0 && j + 1 == n);
        // Neighbours that go straight on, or round a corner, have their vertex in common and no more.
        let is_crossing = !are_neighbours || matches!(meeting, LineIntersection::Collinear { .. });
        is_crossing.then_some((i, j))
    })
}

/// The first pair of edges that cross or touch, by the index of their first vertices; none where the ring is sound.
pub fn crossing(ring: &[[f64; 2]]) -> Option<(usize, usize)> {
    found(ring).min()
}

/// The order of vertices in which a ring has no crossing: runs between two crossing edges are turned
/// round until none is left. The vertices stay; which is joined to which changes. None where it does not end.
pub fn untangled(ring: &[[f64; 2]]) -> Option<Vec<usize>> {
    let n = ring.len();
    let mut order: Vec<usize> = (0..n).collect();
    // Each turn shortens the ring, so that this ends; the bound is for rings with equal points, and for time.
    for _ in 0..=(n * n).min(MOST_WORK / n.max(1)) {
        let points: Vec<[f64; 2]> = order.iter().map(|i| ring[*i]).collect();
        match found(&points).next() {
            None => return Some(order),
            Some((i, j)) => order[i + 1..=j].reverse(),
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_square_and_a_bow() {
        let square = [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]];
        assert_eq!(twice_area(&square), 8.0);
        assert_eq!(crossing(&square), None);
        let bow = [[0.0, 0.0], [2.0, 2.0], [2.0, 0.0], [0.0, 2.0]];
        assert_eq!(crossing(&bow), Some((0, 2)));
        let order = untangled(&bow).unwrap();
        let mended: Vec<[f64; 2]> = order.iter().map(|i| bow[*i]).collect();
        assert!(crossing(&mended).is_none() && twice_area(&mended).abs() == 8.0);
    }

    #[test]
    fn folds_and_touches_count() {
        let all = |ring: &[[f64; 2]]| {
            let mut all: Vec<(usize, usize)> = found(ring).collect();
            all.sort_unstable();
            all
        };
        assert_eq!(all(&[[0.0, 0.0], [4.0, 0.0], [2.0, 0.0], [2.0, 3.0]]), [(0, 1), (0, 2)]);
        assert_eq!(all(&[[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [2.0, 0.0], [0.0, 4.0]]), [(0, 2), (0, 3)]);
        // Straight on over a vertex is no fold.
        assert!(all(&[[0.0, 0.0], [2.0, 0.0], [4.0, 0.0], [4.0, 3.0]]).is_empty());
    }

    /// The area of a ring far from the origin of its grid: 1 m² at 6,500 km, where a plain sum of products rounds at 0.01.
    #[test]
    fn an_area_does_not_depend_on_the_origin_of_the_grid() {
        let (e, n) = (500_000.25, 6_500_000.5);
        let ring = [[e, n], [e + 1.0, n], [e + 1.0, n + 1.0], [e, n + 1.0]];
        assert_eq!(twice_area(&ring), 2.0);
    }

    /// A star of 20,000 points, and one that crosses itself once, within a time that looking at every pair of edges takes many times over.
    #[test]
    fn many_points_do_not_take_the_square_of_their_number() {
        let n = 20_000;
        let mut ring: Vec<[f64; 2]> = (0..n)
            .map(|i| {
                let (sin, cos) = (std::f64::consts::TAU * i as f64 / n as f64).sin_cos();
                let radius = if i % 2 == 0 { 100.0 } else { 99.0 };
                [radius * sin, radius * cos]
            })
            .collect();
        let before = std::time::Instant::now();
        assert_eq!(crossing(&ring), None);
        ring.swap(5000, 5002);
        assert_eq!(crossing(&ring), Some((4999, 5001)));
        assert!(crossing(&untangled(&ring).unwrap().iter().map(|i| ring[*i]).collect::<Vec<_>>()).is_none());
        // A second or so, not optimised, where 200,000,000 pairs take half a minute each time.
        assert!(before.elapsed().as_secs() < 15, "{:?}", before.elapsed());
    }

    proptest! {
        /// By looking at every pair with the sign of triangles' areas.
        #[test]
        fn the_sweep_finds_what_every_pair_tells(points in proptest::collection::vec((0u32..30, 0u32..30), 4..12)) {
            let mut points: Vec<[f64; 2]> = points.into_iter().map(|(x, y)| [f64::from(x), f64::from(y)]).collect();
            points.dedup();
            let n = points.len();
            prop_assume!(n > 3 && points[0] != points[n - 1]);
            let turn = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
                ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])).signum() * f64::from(u8::from((b[0] - a[0]) * (c[1] - a[1]) != (b[1] - a[1]) * (c[0] - a[0])))
            };
            let within = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| (0..2).all(|k| a[k].min(b[k]) <= c[k] && c[k] <= a[k].max(b[k]));
            let meet = |i: usize, j: usize| {
                let (a, b, c, d) = (points[i], points[(i + 1) % n], points[j], points[(j + 1) % n]);
                let (abc, abd, cda, cdb) = (turn(a, b, c), turn(a, b, d), turn(c, d, a), turn(c, d, b));
                (abc * abd < 0.0 && cda * cdb < 0.0)
                    || (abc == 0.0 && within(a, b, c)) || (abd == 0.0 && within(a, b, d))
                    || (cda == 0.0 && within(c, d, a)) || (cdb == 0.0 && within(c, d, b))
            };
            let folds = |i: usize, j: usize| {
                let (shared, one, other) = if j == i + 1 { (points[j], points[i], points[(j + 1) % n]) } else { (points[0], points[1], points[j]) };
                let [u, v] = [one, other].map(|end| [end[0] - shared[0], end[1] - shared[1]]);
                u[0] * v[1] == u[1] * v[0] && u[0] * v[0] + u[1] * v[1] > 0.0
            };
            let pairs = (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j)));
            let want = pairs.into_iter().find(|(i, j)| {
                if *j == i + 1 || (*i == 0 && j + 1 == n) { folds(*i, *j) } else { meet(*i, *j) }
            });
            prop_assert_eq!(crossing(&points), want);
        }

        #[test]
        fn untangling_ends_and_keeps_the_vertices(points in proptest::collection::vec((0u32..1000, 0u32..1000), 3..25)) {
            let mut points: Vec<[f64; 2]> = points.into_iter().map(|(x, y)| [f64::from(x) + f64::from(y) * 1e-4, f64::from(y)]).collect();
            points.dedup();
            if points.len() >= 3 && let Some(order) = untangled(&points) {
                let mut sorted = order.clone();
                sorted.sort_unstable();
                prop_assert_eq!(sorted, (0..points.len()).collect::<Vec<_>>());
                let mended: Vec<[f64; 2]> = order.iter().map(|i| points[*i]).collect();
                prop_assert!(crossing(&mended).is_none());
            }
        }
    }
}
