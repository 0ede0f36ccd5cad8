//! Triangles over shots: a ring's own, and those of a surface inside a ring, and what follows from them.
//!
//! The triangulation is Delaunay's in the horizontal plane with the ring's sides as fixed edges (a constrained
//! Delaunay triangulation); triangles outside the ring are dropped. Over a triangle with horizontal area A and corner
//! heights z the volume above z = 0 is A (z1 + z2 + z3) / 3 (the truncated prism of any text on mensuration). Metres.

use spade::{ConstrainedDelaunayTriangulation, HasPosition, Point2, Triangulation};

/// A triangle by the indices of its corners, counter-clockwise from above.
pub type Facet = [usize; 3];

/// A corner in the plane, with its index.
struct PlaneCorner {
    at: Point2<f64>,
    index: usize,
}

impl HasPosition for PlaneCorner {
    type Scalar = f64;

    fn position(&self) -> Point2<f64> {
        self.at
    }
}

/// Triangles over points inside the ring of their first `ring` ones; `inside` are the indices of the others. None where the ring's
/// sides cross or coordinates are beyond use.
pub fn triangles(points: &[[f64; 3]], ring: usize, inside: &[usize]) -> Option<Vec<Facet>> {
    let mut triangulation = ConstrainedDelaunayTriangulation::<PlaneCorner>::new();
    let mut handles = Vec::with_capacity(ring);
    for index in (0..ring).chain(inside.iter().copied()) {
        let at = Point2::new(points[index][0], points[index][1]);
        let handle = triangulation.insert(PlaneCorner { at, index }).ok()?;
        if index < ring {
            handles.push(handle);
        }
    }
    for i in 0..ring {
        let (from, to) = (handles[i], handles[(i + 1) % ring]);
        if from == to || !triangulation.can_add_constraint(from, to) {
            return None;
        }
        triangulation.add_constraint(from, to);
    }
    let within = triangulation.inner_faces().map(|face| face.vertices().map(|vertex| vertex.data().index)).filter(|corners| {
        let middle = |axis: usize| corners.iter().map(|c| points[*c][axis]).sum::<f64>() / 3.0;
        contains(&points[..ring], [middle(0), middle(1)])
    });
    Some(within.collect())
}

/// Twice the horizontal area of a triangle, counter-clockwise positive.
fn doubled(a: [f64; 3], b: [f64; 3], c: [f64; 3]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Whether a ring holds a place: a ray towards east crosses its sides an odd number of times.
pub fn contains(ring: &[[f64; 3]], [east, north]: [f64; 2]) -> bool {
    let mut inside = false;
    for (a, b) in ring.iter().zip(ring.iter().cycle().skip(1)) {
        if (a[1] > north) != (b[1] > north) && east < a[0] + (north - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) {
            inside = !inside;
        }
    }
    inside
}

/// Two sides of a ring that meet where they should not, by the indices of their first corners.
pub fn crossing(ring: &[[f64; 3]]) -> Option<(usize, usize)> {
    let n = ring.len();
    let side = |i: usize| (ring[i], ring[(i + 1) % n]);
    let apart = (0..n).flat_map(|i| (i + 2..n).map(move |j| (i, j))).filter(|(i, j)| (j + 1) % n != *i);
    apart.into_iter().find(|(i, j)| {
        let ((a, b), (c, d)) = (side(*i), side(*j));
        let overlap = |axis: usize| a[axis].min(b[axis]) <= c[axis].max(d[axis]) && c[axis].min(d[axis]) <= a[axis].max(b[axis]);
        overlap(0) && overlap(1) && doubled(a, b, c) * doubled(a, b, d) <= 0.0 && doubled(c, d, a) * doubled(c, d, b) <= 0.0
    })
}

/// Area and middle of a ring's plan; counter-clockwise positive.
pub fn area_and_middle(ring: &[[f64; 3]]) -> (f64, [f64; 2]) {
    let (mut sum, mut middle) = (0.0, [0.0; 2]);
    let origin = ring[0];
    for (a, b) in ring.iter().zip(ring.iter().cycle().skip(1)) {
        let cross = doubled(origin, *a, *b);
        sum += cross;
        for (axis, value) in middle.iter_mut().enumerate() {
            *value += cross * (origin[axis] + a[axis] + b[axis]) / 3.0;
        }
    }
    (0.5 * sum, middle.map(|value| value / sum))
}

/// Volume between triangles and z = 0.
pub fn volume_m3(points: &[[f64; 3]], triangles: &[Facet]) -> f64 {
    triangles.iter().map(|t| t.map(|i| points[i])).map(|[a, b, c]| doubled(a, b, c) * (a[2] + b[2] + c[2]) / 6.0).sum()
}

/// Area of triangles as they lie in space.
pub fn surface_m2(points: &[[f64; 3]], triangles: &[Facet]) -> f64 {
    let area = |[a, b, c]: [[f64; 3]; 3]| {
        let (u, v): ([f64; 3], [f64; 3]) = (std::array::from_fn(|k| b[k] - a[k]), std::array::from_fn(|k| c[k] - a[k]));
        let cross = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
        0.5 * cross[0].hypot(cross[1]).hypot(cross[2])
    };
    triangles.iter().map(|t| area(t.map(|i| points[i]))).sum()
}

/// The triangle that holds a point's place best, by its least barycentric coordinate.
pub fn under(points: &[[f64; 3]], triangles: &[Facet], point: usize) -> Option<Facet> {
    let least = |t: &Facet| shares(points, *t, point).into_iter().fold(f64::INFINITY, f64::min);
    triangles.iter().copied().max_by(|a, b| least(a).total_cmp(&least(b)))
}

/// Height of a point over the plane of a triangle.
pub fn height_over_m(points: &[[f64; 3]], triangle: Facet, point: usize) -> f64 {
    let plane: f64 = shares(points, triangle, point).iter().zip(triangle).map(|(share, i)| share * points[i][2]).sum();
    points[point][2] - plane
}

/// Barycentric coordinates of a point's place.
fn shares(points: &[[f64; 3]], triangle: Facet, point: usize) -> [f64; 3] {
    let ([a, b, c], p) = (triangle.map(|i| points[i]), points[point]);
    let whole = doubled(a, b, c);
    [doubled(p, b, c) / whole, doubled(a, p, c) / whole, doubled(a, b, p) / whole]
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Area, Centroid, Contains, Intersects};
    use proptest::prelude::*;

    #[test]
    fn a_ring_with_a_notch_is_filled_within_its_sides() {
        // A square of 10 with the triangle (0, 10), (10, 10), (5, 5) taken out: 100 − 25.
        let ring = [[0.0, 0.0, 1.0], [10.0, 0.0, 1.0], [10.0, 10.0, 1.0], [5.0, 5.0, 1.0], [0.0, 10.0, 1.0]];
        let found = triangles(&ring, 5, &[]).unwrap();
        assert_eq!(found.len(), 3);
        assert!((volume_m3(&ring, &found) - 75.0).abs() < 1e-12);
        assert!((area_and_middle(&ring).0 - 75.0).abs() < 1e-12);
        assert!(!contains(&ring, [5.0, 8.0]) && contains(&ring, [5.0, 3.0]));
        assert_eq!(crossing(&ring), None);
    }

    #[test]
    fn crossing_sides_are_found() {
        let bow = [[0.0, 0.0, 0.0], [10.0, 10.0, 0.0], [10.0, 0.0, 0.0], [0.0, 10.0, 0.0]];
        assert_eq!(crossing(&bow), Some((0, 2)));
        assert!(triangles(&bow, 4, &[]).is_none());
        // A corner on another side.
        let touching = [[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [10.0, 8.0, 0.0], [5.0, 0.0, 0.0], [0.0, 8.0, 0.0]];
        assert_eq!(crossing(&touching), Some((0, 2)));
        // Feet of a gate: sides on one line, level and upright, that lie apart.
        let gate = [[0.0, 0.0], [1.0, 0.0], [1.0, 4.0], [2.0, 4.0], [2.0, 0.0], [3.0, 0.0], [3.0, 9.0], [0.0, 9.0]];
        assert_eq!(crossing(&gate.map(|[x, y]| [x, y, 0.0])), None);
        assert_eq!(crossing(&gate.map(|[x, y]| [y, -x, 0.0])), None);
    }

    #[test]
    fn heights_over_a_slope() {
        // z = x over the triangle; the point stands 4 above it at x = 2.
        let points = [[0.0, 0.0, 0.0], [9.0, 0.0, 9.0], [0.0, 9.0, 0.0], [2.0, 3.0, 6.0]];
        assert!((height_over_m(&points, [0, 1, 2], 3) - 4.0).abs() < 1e-12);
        // 40.5 in plan, tilted by 45°.
        assert!((surface_m2(&points, &[[0, 1, 2]]) - 40.5 * 2f64.sqrt()).abs() < 1e-12);
        assert_eq!(area_and_middle(&points[..3]), (40.5, [3.0, 3.0]));
    }

    /// A ring about a place, its corners in order of their directions and at distances of their own; on the plane z = 0.3 x − 0.2 y + 4.
    fn star(middle: [f64; 2], radii: &[f64]) -> Vec<[f64; 3]> {
        let corner = |(i, radius): (usize, &f64)| {
            let (sin, cos) = (std::f64::consts::TAU * i as f64 / radii.len() as f64).sin_cos();
            let (x, y) = (middle[0] + radius * cos, middle[1] + radius * sin);
            [x, y, 0.3 * x - 0.2 * y + 4.0]
        };
        radii.iter().enumerate().map(corner).collect()
    }

    fn polygon(ring: &[[f64; 3]]) -> geo::Polygon {
        geo::Polygon::new(ring.iter().map(|[x, y, _]| geo::Coord { x: *x, y: *y }).collect(), Vec::new())
    }

    proptest! {
        /// Area, middle and what lies inside against those of the crate `geo`; over a plane the volume is the area times its height at the middle, the surface the
        /// area over the cosine of its tilt.
        #[test]
        fn rings_as_the_crate_geo_has_them(
            middle in prop::array::uniform2(-50.0f64..50.0),
            radii in prop::collection::vec(2.0f64..20.0, 3..12),
            places in prop::collection::vec(prop::array::uniform2(-60.0f64..60.0), 20),
        ) {
            let ring = star(middle, &radii);
            let polygon = polygon(&ring);
            let (area, at) = area_and_middle(&ring);
            let centroid = polygon.centroid().unwrap();
            prop_assert!((area - polygon.signed_area()).abs() < 1e-9 * area && area > 0.0);
            prop_assert!((at[0] - centroid.x()).abs() < 1e-7 && (at[1] - centroid.y()).abs() < 1e-7);
            let mut clockwise = ring.clone();
            clockwise.reverse();
            prop_assert!((area_and_middle(&clockwise).0 + area).abs() < 1e-9 * area);
            for [x, y] in &places {
                prop_assert_eq!(contains(&ring, [*x, *y]), polygon.contains(&geo::Point::new(*x, *y)));
            }
            let inside: Vec<[f64; 2]> = places.iter().copied().filter(|at| contains(&ring, *at)).collect();
            let points: Vec<[f64; 3]> =
                ring.iter().copied().chain(inside.iter().map(|[x, y]| [*x, *y, 0.3 * x - 0.2 * y + 4.0])).collect();
            let all: Vec<usize> = (ring.len()..points.len()).collect();
            let found = triangles(&points, ring.len(), &all).unwrap();
            prop_assert_eq!(found.len(), ring.len() + 2 * all.len() - 2);
            let height = 0.3 * at[0] - 0.2 * at[1] + 4.0;
            prop_assert!((volume_m3(&points, &found) - area * height).abs() < 1e-7 * area);
            prop_assert!((surface_m2(&points, &found) - area * (1.0f64 + 0.09 + 0.04).sqrt()).abs() < 1e-7 * area);
            // The triangle under a point is the one that holds it.
            let base = triangles(&points, ring.len(), &[]).unwrap();
            for i in all {
                let under = under(&points, &base, i).unwrap();
                prop_assert!(shares(&points, under, i).iter().all(|share| *share > -1e-9));
                prop_assert!(height_over_m(&points, under, i).abs() < 1e-9);
            }
        }

        /// Sides that cross by looking at each pair with the crate `geo`.
        #[test]
        fn crossing_sides_as_the_crate_geo_has_them(corners in prop::collection::vec((0u32..12, 0u32..12), 4..9)) {
            let mut corners = corners;
            corners.dedup();
            let ring: Vec<[f64; 3]> = corners.iter().map(|(x, y)| [f64::from(*x), f64::from(*y), 0.0]).collect();
            let n = ring.len();
            prop_assume!(n > 3 && corners[0] != corners[n - 1]);
            let side = |i: usize| {
                let at = |i: usize| geo::Coord { x: ring[i % n][0], y: ring[i % n][1] };
                geo::Line::new(at(i), at(i + 1))
            };
            let pairs = (0..n).flat_map(|i| (i + 2..n).map(move |j| (i, j))).filter(|(i, j)| (j + 1) % n != *i);
            let want = pairs.into_iter().find(|(i, j)| side(*i).intersects(&side(*j)));
            prop_assert_eq!(crossing(&ring), want);
        }
    }
}
