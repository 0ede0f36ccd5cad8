//! Rings: which way round they go, where they cross themselves, and how a crossing is taken out.

/// Twice the signed area, positive where the ring goes round against the clock (the right-hand rule of areas).
pub fn twice_area(ring: &[[f64; 2]]) -> f64 {
    (0..ring.len())
        .map(|i| {
            let ([x0, y0], [x1, y1]) = (ring[i], ring[(i + 1) % ring.len()]);
            x0 * y1 - x1 * y0
        })
        .sum()
}

/// The pairs of edges that cross or touch, each by the index of its first vertex. Neighbours that share a
/// vertex are no crossing, unless one folds back onto the other.
pub fn crossings(ring: &[[f64; 2]]) -> Vec<(usize, usize)> {
    let n = ring.len();
    let edge = |i: usize| (ring[i], ring[(i + 1) % n]);
    let mut found = Vec::new();
    for i in 0..n {
        for j in i + 1..n {
            let (a, b) = (edge(i), edge(j));
            let neighbours = j == i + 1 || (i == 0 && j == n - 1);
            let meets = if neighbours {
                // The shared vertex, and the two others: they fold where they point the same way.
                let (shared, one, other) = if j == i + 1 { (b.0, a.0, b.1) } else { (a.0, a.1, b.0) };
                let (u, v) = (minus(one, shared), minus(other, shared));
                cross(u, v) == 0.0 && dot(u, v) > 0.0
            } else {
                meet(a, b)
            };
            if meets {
                found.push((i, j));
            }
        }
    }
    found
}

/// The order of vertices in which a ring has no crossing: runs between two crossing edges are turned
/// round until none is left. The vertices stay; which is joined to which changes. None where it does not end.
pub fn untangled(ring: &[[f64; 2]]) -> Option<Vec<usize>> {
    let mut order: Vec<usize> = (0..ring.len()).collect();
    // Each turn shortens the ring, so that this ends; the bound is for rings with equal points.
    for _ in 0..ring.len() * ring.len() {
        let points: Vec<[f64; 2]> = order.iter().map(|i| ring[*i]).collect();
        match crossings(&points).first() {
            None => return Some(order),
            Some((i, j)) => order[i + 1..=*j].reverse(),
        }
    }
    None
}

fn minus(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] - b[0], a[1] - b[1]]
}

fn cross(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// Whether two edges have a point in common.
fn meet((a, b): ([f64; 2], [f64; 2]), (c, d): ([f64; 2], [f64; 2])) -> bool {
    let side = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| {
        let turn = cross(minus(q, p), minus(r, p));
        if turn > 0.0 {
            1
        } else if turn < 0.0 {
            -1
        } else {
            0
        }
    };
    let between = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| (0..2).all(|k| p[k].min(q[k]) <= r[k] && r[k] <= p[k].max(q[k]));
    let (abc, abd, cda, cdb) = (side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b));
    (abc != abd && cda != cdb && abc * abd <= 0 && cda * cdb <= 0)
        || (abc == 0 && between(a, b, c))
        || (abd == 0 && between(a, b, d))
        || (cda == 0 && between(c, d, a))
        || (cdb == 0 && between(c, d, b))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_square_and_a_bow() {
        let square = [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]];
        assert_eq!(twice_area(&square), 8.0);
        assert!(crossings(&square).is_empty());
        let bow = [[0.0, 0.0], [2.0, 2.0], [2.0, 0.0], [0.0, 2.0]];
        assert_eq!(crossings(&bow), [(0, 2)]);
        let order = untangled(&bow).unwrap();
        let mended: Vec<[f64; 2]> = order.iter().map(|i| bow[*i]).collect();
        assert!(crossings(&mended).is_empty() && twice_area(&mended).abs() == 8.0);
    }

    #[test]
    fn folds_and_touches_count() {
        assert_eq!(crossings(&[[0.0, 0.0], [4.0, 0.0], [2.0, 0.0], [2.0, 3.0]]), [(0, 1), (0, 2)]);
        assert_eq!(crossings(&[[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [2.0, 0.0], [0.0, 4.0]]), [(0, 2), (0, 3)]);
    }

    proptest! {
        #[test]
        fn untangling_ends_and_keeps_the_vertices(points in proptest::collection::vec((0u32..1000, 0u32..1000), 3..25)) {
            let mut points: Vec<[f64; 2]> = points.into_iter().map(|(x, y)| [f64::from(x) + f64::from(y) * 1e-4, f64::from(y)]).collect();
            points.dedup();
            if points.len() >= 3 && let Some(order) = untangled(&points) {
                let mut sorted = order.clone();
                sorted.sort_unstable();
                prop_assert_eq!(sorted, (0..points.len()).collect::<Vec<_>>());
                let mended: Vec<[f64; 2]> = order.iter().map(|i| points[*i]).collect();
                prop_assert!(crossings(&mended).is_empty());
            }
        }
    }
}
