//! Lengths, perimeters and areas of strings: on the ellipsoid, in the grid, and their standard errors.

use std::collections::BTreeMap;

use geographiclib_rs::{Geodesic, InverseGeodesic, PolygonArea, Winding};

use super::ring::twice_area;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::register::{CorrelatedPoints, ErrorId, Located, Origin};

/// The measures of a string, in metres and square metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StringMeasures {
    /// Length of a line, or perimeter of an area, along geodesics of the ellipsoid, at height 0.
    pub length_ellipsoid_m: f64,
    /// The same in the grid of the layers' CRS; none where that is geographic.
    pub length_grid_m: Option<f64>,
    /// Length through space, from vertex to vertex; none where a vertex has no height.
    pub length_space_m: Option<f64>,
    /// Standard error of the length.
    pub sigma_length_m: f64,
    /// Area on the ellipsoid; none for a line.
    pub area_ellipsoid_m2: Option<f64>,
    /// Area in the grid.
    pub area_grid_m2: Option<f64>,
    /// Standard error of the area.
    pub sigma_area_m2: Option<f64>,
}

/// The measures of vertices, the first of which starts from `first`; `grid` are their eastings and northings in metres, `has_heights` tells
/// whether all have a height. None without vertices.
pub fn measures(
    first: &Origin,
    vertices: &[Located],
    has_heights: bool,
    grid: Option<&[[f64; 2]]>,
    closed: bool,
) -> Option<StringMeasures> {
    let ellipsoid = first.ellipsoid;
    let correlated = CorrelatedPoints::from_located(vertices, &ellipsoid, first.errors.register())?;
    let places: Vec<Geodetic> = vertices.iter().map(|vertex| Geodetic::from_earth_centred(vertex.at, &ellipsoid)).collect();
    let flat = correlated.points();
    let pairs = edges(vertices.len(), closed);
    let (length_ellipsoid_m, area_ellipsoid_m2) = on_ellipsoid(&places, &ellipsoid, closed);
    let in_grid =
        |grid: &[[f64; 2]]| pairs.iter().map(|(i, j)| (grid[*i][0] - grid[*j][0]).hypot(grid[*i][1] - grid[*j][1])).sum();
    let plane: Vec<[f64; 2]> = flat.iter().map(|[e, n, _]| [*e, *n]).collect();
    Some(StringMeasures {
        length_ellipsoid_m,
        length_grid_m: grid.map(in_grid),
        length_space_m: has_heights.then(|| pairs.iter().map(|(i, j)| space(flat[*i], flat[*j])).sum()),
        sigma_length_m: correlated.sigma_of(&length_gradient(&plane, &pairs)),
        area_ellipsoid_m2,
        area_grid_m2: grid.filter(|_| closed).map(|grid| 0.5 * twice_area(grid).abs()),
        sigma_area_m2: closed.then(|| correlated.sigma_of(&area_gradient(&plane))),
    })
}

/// What one standard error of each entry of the register changes the length of vertices by, and their area.
pub fn arms(ellipsoid: &Ellipsoid, vertices: &[Located], closed: bool) -> Vec<(ErrorId, [f64; 2])> {
    let Some(first) = vertices.first() else { return Vec::new() };
    let frame = LocalFrame::at(&Geodetic::from_earth_centred(first.at, ellipsoid), ellipsoid);
    let flat = vertices.iter().map(|vertex| frame.from_earth_centred(vertex.at)).map(|[e, n, _]| [e, n]);
    let plane: Vec<[f64; 2]> = flat.collect();
    let by_length = length_gradient(&plane, &edges(plane.len(), closed));
    let by_area = if closed { area_gradient(&plane) } else { vec![[0.0; 3]; plane.len()] };
    let mut arms: BTreeMap<ErrorId, [f64; 2]> = BTreeMap::new();
    for ((vertex, length), area) in vertices.iter().zip(by_length).zip(by_area) {
        for (id, arm) in &vertex.arms {
            let moved: [f64; 3] = std::array::from_fn(|k| (0..3).map(|axis| arm[axis] * vertex.frame.axes()[axis][k]).sum());
            let along = |gradient: [f64; 3]| -> f64 {
                (0..3).map(|axis| gradient[axis] * (0..3).map(|k| frame.axes()[axis][k] * moved[k]).sum::<f64>()).sum()
            };
            let sum = arms.entry(*id).or_default();
            *sum = [sum[0] + along(length), sum[1] + along(area)];
        }
    }
    arms.into_iter().collect()
}

fn edges(count: usize, closed: bool) -> Vec<(usize, usize)> {
    let open = (1..count).map(|i| (i - 1, i));
    if closed { open.chain([(count - 1, 0)]).collect() } else { open.collect() }
}

fn space(a: [f64; 3], b: [f64; 3]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1]).hypot(a[2] - b[2])
}

fn on_ellipsoid(places: &[Geodetic], ellipsoid: &Ellipsoid, closed: bool) -> (f64, Option<f64>) {
    let geodesic = Geodesic::new(ellipsoid.semi_major_m, ellipsoid.flattening);
    if closed {
        let mut polygon = PolygonArea::new(&geodesic, Winding::CounterClockwise);
        places.iter().for_each(|at| polygon.add_point(at.lat_rad.to_degrees(), at.lon_rad.to_degrees()));
        let (perimeter, area, _) = polygon.compute(true);
        return (perimeter, Some(area.abs()));
    }
    let length = places
        .windows(2)
        .map(|pair| {
            let [a, b] = [&pair[0], &pair[1]].map(|at| (at.lat_rad.to_degrees(), at.lon_rad.to_degrees()));
            let metres: f64 = geodesic.inverse(a.0, a.1, b.0, b.1);
            metres
        })
        .sum();
    (length, None)
}

/// How the horizontal length changes with each vertex: the difference of the unit vectors of its two edges.
fn length_gradient(plane: &[[f64; 2]], pairs: &[(usize, usize)]) -> Vec<[f64; 3]> {
    let mut gradient = vec![[0.0; 3]; plane.len()];
    for (i, j) in pairs {
        let (e, n) = (plane[*j][0] - plane[*i][0], plane[*j][1] - plane[*i][1]);
        let length = e.hypot(n);
        if length > 0.0 {
            for (k, sign) in [(*i, -1.0), (*j, 1.0)] {
                gradient[k][0] += sign * e / length;
                gradient[k][1] += sign * n / length;
            }
        }
    }
    gradient
}

/// How the area changes with each vertex: half of the chord between its neighbours, turned by 90°.
fn area_gradient(plane: &[[f64; 2]]) -> Vec<[f64; 3]> {
    let n = plane.len();
    let sign = twice_area(plane).signum();
    (0..n)
        .map(|i| {
            let (before, behind) = (plane[(i + n - 1) % n], plane[(i + 1) % n]);
            [sign * 0.5 * (behind[1] - before[1]), sign * 0.5 * (before[0] - behind[0]), 0.0]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::trial::{Field, HANDHELD};

    const CORNERS: [[f64; 2]; 5] = [[0.0, 0.0], [40.0, -10.0], [70.0, 30.0], [35.0, 55.0], [-5.0, 25.0]];

    fn length(plane: &[[f64; 2]], closed: bool) -> f64 {
        let ends = if closed { plane.len() } else { plane.len() - 1 };
        (0..ends)
            .map(|i| (i, (i + 1) % plane.len()))
            .map(|(i, j)| space([plane[i][0], plane[i][1], 0.0], [plane[j][0], plane[j][1], 0.0]))
            .sum()
    }

    #[test]
    fn gradients_are_those_of_length_and_area() {
        const STEP_M: f64 = 1e-4;
        let mirrored = CORNERS.map(|[e, n]| [n, e]);
        for plane in [CORNERS, mirrored] {
            for closed in [false, true] {
                let by_length = length_gradient(&plane, &edges(plane.len(), closed));
                let by_area = area_gradient(&plane);
                for i in 0..plane.len() {
                    for axis in 0..2 {
                        let at = |step: f64| {
                            let mut moved = plane;
                            moved[i][axis] += step;
                            (length(&moved, closed), 0.5 * twice_area(&moved).abs())
                        };
                        let (plus, minus) = (at(STEP_M), at(-STEP_M));
                        let slope = |a: f64, b: f64| (a - b) / (2.0 * STEP_M);
                        assert!((by_length[i][axis] - slope(plus.0, minus.0)).abs() < 1e-6, "{closed} {i} {axis}");
                        assert!((by_area[i][axis] - slope(plus.1, minus.1)).abs() < 1e-5, "{i} {axis}");
                    }
                    assert_eq!((by_length[i][2], by_area[i][2]), (0.0, 0.0));
                }
            }
        }
        // Two vertices in one place have no direction between them.
        assert_eq!(length_gradient(&[[1.0, 2.0], [1.0, 2.0]], &[(0, 1)]), [[0.0; 3]; 2]);
    }

    #[test]
    fn edges_and_space() {
        assert_eq!(edges(3, false), [(0, 1), (1, 2)]);
        assert_eq!(edges(3, true), [(0, 1), (1, 2), (2, 0)]);
        // 3-4-12 is 13.
        assert_eq!(space([1.0, 2.0, 3.0], [4.0, 6.0, -9.0]), 13.0);
    }

    #[test]
    fn a_square_on_the_ellipsoid() {
        let frame = LocalFrame::at(&Geodetic { lat_rad: 0.8, lon_rad: 0.2, ellipsoid_height_m: 0.0 }, &Ellipsoid::WGS84);
        let at = |e: f64, n: f64| Geodetic::from_earth_centred(frame.to_earth_centred([e, n, 0.0]), &Ellipsoid::WGS84);
        let square = [at(0.0, 0.0), at(100.0, 0.0), at(100.0, 100.0), at(0.0, 100.0)];
        let (length, area) = on_ellipsoid(&square, &Ellipsoid::WGS84, false);
        // The plane touches it: 100 m are right to a micrometre.
        assert!((length - 300.0).abs() < 1e-3 && area.is_none(), "{length}");
        let (perimeter, area) = on_ellipsoid(&square, &Ellipsoid::WGS84, true);
        assert!((perimeter - 400.0).abs() < 1e-3 && (area.unwrap() - 10_000.0).abs() < 0.01, "{perimeter} {area:?}");
        let turned: Vec<Geodetic> = square.iter().rev().copied().collect();
        assert!((on_ellipsoid(&turned, &Ellipsoid::WGS84, true).1.unwrap() - 10_000.0).abs() < 0.01);
    }

    /// Vertices from two bases that lie some kilometres apart, so that their axes lean, with what they share and what is their own.
    fn located() -> (Vec<Origin>, Vec<Located>) {
        let mut field = Field::new(HANDHELD, [0.6, 0.9]).with_base([4000.0, -3000.0, 30.0], [0.4, 0.5]);
        let corners = [
            [3900.0, -3100.0, 20.0],
            [4080.0, -3060.0, 28.0],
            [4100.0, -2900.0, 35.0],
            [3950.0, -2850.0, 22.0],
            [3860.0, -2950.0, 18.0],
        ];
        for (i, at) in corners.into_iter().enumerate() {
            let row = field.shot(usize::from(i % 2 == 0), "", at);
            let shares = crate::geodesy::register::Shares { inclination_rad: 0.002, distance_m: 0.2, ..Default::default() };
            (row.shares, row.vector.as_mut().unwrap().shares) = (shares, shares);
        }
        let located = field.sightings.iter().map(|row| row.vector.unwrap().located(&field.bases[row.base])).collect();
        (field.bases, located)
    }

    /// Length and area in the plane that is level at a place.
    fn in_plane(frame: &LocalFrame, places: &[[f64; 3]], closed: bool) -> [f64; 2] {
        let plane: Vec<[f64; 2]> = places.iter().map(|at| frame.from_earth_centred(*at)).map(|[e, n, _]| [e, n]).collect();
        let n = plane.len();
        let doubled: f64 = (0..n).map(|i| (plane[i], plane[(i + 1) % n])).map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum();
        [length(&plane, closed), if closed { 0.5 * doubled.abs() } else { 0.0 }]
    }

    fn level_at(first: &Located) -> LocalFrame {
        LocalFrame::at(&Geodetic::from_earth_centred(first.at, &Ellipsoid::WGS84), &Ellipsoid::WGS84)
    }

    /// Each entry of the register moves all vertices that hang on it: length and area by differences.
    #[test]
    fn arms_are_what_the_entries_move() {
        let (_, mut located) = located();
        for turned in [false, true] {
            if turned {
                located.reverse();
            }
            let frame = level_at(&located[0]);
            for closed in [false, true] {
                let found = arms(&Ellipsoid::WGS84, &located, closed);
                let mut ids: Vec<ErrorId> = located.iter().flat_map(|vertex| vertex.arms.iter().map(|(id, _)| *id)).collect();
                ids.sort_unstable();
                ids.dedup();
                assert_eq!(found.iter().map(|(id, _)| *id).collect::<Vec<_>>(), ids);
                for (id, by) in found {
                    let at = |times: f64| {
                        let places = located.iter().map(|vertex| {
                            let arm = vertex.arms.iter().find(|(known, _)| *known == id).map_or([0.0; 3], |(_, arm)| *arm);
                            let axes = vertex.frame.axes();
                            std::array::from_fn(|k| {
                                vertex.at[k] + times * (0..3).map(|axis| arm[axis] * axes[axis][k]).sum::<f64>()
                            })
                        });
                        in_plane(&frame, &places.collect::<Vec<_>>(), closed)
                    };
                    let (plus, minus) = (at(1e-2), at(-1e-2));
                    for k in 0..2 {
                        let want = (plus[k] - minus[k]) / 2e-2;
                        assert!((by[k] - want).abs() < 1e-5 * (1.0 + want.abs()), "{id:?} {closed} {k}: {} {want}", by[k]);
                    }
                }
            }
        }
        assert!(arms(&Ellipsoid::WGS84, &[], true).is_empty());
    }

    /// The standard errors are those of what the entries move, with each vertex's own readings beside.
    #[test]
    fn measures_of_a_string() {
        let (bases, located) = located();
        let first = &bases[1];
        let frame = level_at(&located[0]);
        let places: Vec<[f64; 3]> = located.iter().map(|vertex| vertex.at).collect();
        let grid = CORNERS.map(|[e, n]| [e + 500_000.0, n + 5_200_000.0]);
        for closed in [false, true] {
            let got = measures(first, &located, true, Some(&grid), closed).unwrap();
            let geodetic: Vec<Geodetic> = places.iter().map(|at| Geodetic::from_earth_centred(*at, &Ellipsoid::WGS84)).collect();
            let (on_length, on_area) = on_ellipsoid(&geodetic, &Ellipsoid::WGS84, closed);
            assert_eq!((got.length_ellipsoid_m, got.area_ellipsoid_m2), (on_length, on_area));
            let ends = if closed { 5 } else { 4 };
            let straight: f64 = (0..ends).map(|i| space(places[i], places[(i + 1) % 5])).sum();
            assert!((got.length_space_m.unwrap() - straight).abs() < 1e-6, "{got:?} {straight}");
            assert!((got.length_grid_m.unwrap() - length(&CORNERS, closed)).abs() < 1e-6);
            let doubled: f64 = (0..5).map(|i| (CORNERS[i], CORNERS[(i + 1) % 5])).map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum();
            match got.area_grid_m2 {
                Some(area) => assert!(closed && (area - 0.5 * doubled).abs() < 1e-6),
                None => assert!(!closed),
            }
            let mut variance = arms(&Ellipsoid::WGS84, &located, closed)
                .into_iter()
                .fold([0.0; 2], |sum, (_, by)| [sum[0] + by[0] * by[0], sum[1] + by[1] * by[1]]);
            for (i, vertex) in located.iter().enumerate() {
                let gradient: [[f64; 3]; 2] = {
                    let at = |axis: usize, step: f64| {
                        let mut moved = places.clone();
                        moved[i] = std::array::from_fn(|k| moved[i][k] + step * vertex.frame.axes()[axis][k]);
                        in_plane(&frame, &moved, closed)
                    };
                    let by: [[f64; 2]; 3] = std::array::from_fn(|axis| {
                        let (plus, minus) = (at(axis, 1e-2), at(axis, -1e-2));
                        std::array::from_fn(|k| (plus[k] - minus[k]) / 2e-2)
                    });
                    std::array::from_fn(|k| std::array::from_fn(|axis| by[axis][k]))
                };
                let c = vertex.own;
                for (k, [e, n, u]) in gradient.into_iter().enumerate() {
                    variance[k] +=
                        c.ee * e * e + c.nn * n * n + c.uu * u * u + 2.0 * (c.en * e * n + c.eu * e * u + c.nu * n * u);
                }
            }
            assert!((got.sigma_length_m / variance[0].sqrt() - 1.0).abs() < 1e-5, "{closed}: {got:?} {variance:?}");
            match got.sigma_area_m2 {
                Some(sigma) => assert!(closed && (sigma / variance[1].sqrt() - 1.0).abs() < 1e-5, "{sigma} {variance:?}"),
                None => assert!(!closed),
            }
        }
        // Without heights, without a grid, without vertices.
        let flat = measures(first, &located, false, None, true).unwrap();
        assert_eq!((flat.length_space_m, flat.length_grid_m, flat.area_grid_m2), (None, None, None));
        assert!(measures(first, &[], true, None, true).is_none());
    }
}
