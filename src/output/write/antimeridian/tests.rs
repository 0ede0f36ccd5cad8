use geographiclib_rs::{Geodesic, PolygonArea, Winding};
use proptest::prelude::*;

use super::*;

/// Area on WGS 84 by GeographicLib, of longitudes and latitudes in degrees.
fn area_m2(ring: &[GlobePoint]) -> f64 {
    let geodesic = Geodesic::wgs84();
    let mut polygon = PolygonArea::new(&geodesic, Winding::CounterClockwise);
    let open = if ring.first() == ring.last() { &ring[1..] } else { ring };
    open.iter().for_each(|[lon, lat, _]| polygon.add_point(*lat, *lon));
    polygon.compute(true).1.abs()
}

/// A closed ring about a place: distances in metres and azimuths in degrees, by GeographicLib's direct problem.
fn about(lat: f64, lon: f64, corners: &[(f64, f64)]) -> Vec<GlobePoint> {
    use geographiclib_rs::DirectGeodesic;
    let geodesic = Geodesic::wgs84();
    let at = |(azimuth, distance): &(f64, f64)| {
        let (lat, lon): (f64, f64) = geodesic.direct(lat, lon, *azimuth, *distance);
        [lon, lat, *azimuth]
    };
    // Azimuths go round with the clock, rings against it.
    let mut ring: Vec<GlobePoint> = corners.iter().rev().map(at).collect();
    ring.push(ring[0]);
    ring
}

/// What every piece must be: within the globe, closed, against the clock, without an edge that spans many degrees but along a pole.
fn assert_sound(pieces: &[Vec<GlobePoint>]) {
    for piece in pieces {
        assert!(piece.len() > 3 && piece.first() == piece.last(), "{piece:?}");
        assert!(piece.iter().all(|[lon, lat, _]| lon.abs() <= 180.0 && lat.abs() <= 90.0), "{piece:?}");
        for pair in piece.windows(2) {
            let along_pole = pair[0][1].abs() == 90.0 && pair[1][1].abs() == 90.0;
            assert!(along_pole || (pair[0][0] - pair[1][0]).abs() <= STEP_DEG + 1e-9, "{pair:?}");
        }
        let doubled: f64 = piece.windows(2).map(|w| w[0][0] * w[1][1] - w[1][0] * w[0][1]).sum();
        assert!(doubled > 0.0, "{piece:?}");
    }
}

/// Rounding of an area by GeographicLib beside the whole ellipsoid: 0.1 m² by its documentation; and what chords leave of geodesics, under
/// a millionth.
fn assert_area(ring: &[GlobePoint]) -> Vec<Vec<GlobePoint>> {
    let pieces = DEGREES.rings(ring);
    assert_sound(&pieces);
    let (whole, sum) = (area_m2(ring), pieces.iter().map(|piece| area_m2(piece)).sum::<f64>());
    assert!((whole - sum).abs() < 0.2 + 1e-6 * whole, "{whole} {sum} {pieces:?}");
    pieces
}

#[test]
fn lines_and_rings_are_cut_where_they_cross() {
    // On the equator the chord meets the meridian halfway.
    let line = [[179.75, 0.0, 10.0], [-179.75, 0.0, 20.0]];
    let near = |got: GlobePoint, want: GlobePoint| (0..3).all(|k| (got[k] - want[k]).abs() < 1e-9);
    let parts = DEGREES.line(&line);
    assert!(parts.len() == 2 && parts.iter().all(|part| part.len() == 2), "{parts:?}");
    assert!(parts[0][0] == line[0] && near(parts[0][1], [180.0, 0.0, 15.0]), "{parts:?}");
    assert!(parts[1][1] == line[1] && near(parts[1][0], [-180.0, 0.0, 15.0]), "{parts:?}");
    assert!(near(DEGREES.line(&[line[1], line[0]])[1][0], [180.0, 0.0, 15.0]));
    assert_eq!(DEGREES.line(&[[0.4, 0.0, 0.0], [-0.4, 0.0, 0.0]]).len(), 1);
    let square = [[179.5, 0.0, 0.0], [-179.5, 0.0, 0.0], [-179.5, 1.0, 0.0], [179.5, 1.0, 0.0], [179.5, 0.0, 0.0]];
    let pieces = assert_area(&square);
    let edges: Vec<(f64, f64)> =
        pieces.iter().map(|piece| piece.iter().fold((180.0f64, -180.0f64), |(w, e), p| (w.min(p[0]), e.max(p[0])))).collect();
    assert_eq!(edges, [(179.5, 180.0), (-180.0, -179.5)]);
}

/// A line that ends on ±180°, touches it, or lies along it is not cut.
#[test]
fn touching_is_no_crossing() {
    assert_eq!(DEGREES.line(&[[179.5, 1.0, 0.0], [180.0, 2.0, 0.0]]).len(), 1);
    assert_eq!(
        DEGREES.line(&[[179.5, 1.0, 0.0], [-180.0, 2.0, 0.0], [179.6, 3.0, 0.0]]),
        [[[179.5, 1.0, 0.0], [180.0, 2.0, 0.0], [179.6, 3.0, 0.0]]]
    );
    assert_eq!(DEGREES.line(&[[180.0, 1.0, 0.0], [-180.0, 2.0, 0.0]]).len(), 1);
}

/// The field of 14,584 m² round the north pole and its like in the south: closed along ±90°, from −180° to 180°.
#[test]
fn a_ring_round_a_pole_encloses_it() {
    for pole in [90.0, -90.0] {
        let ring = about(pole, 0.0, &[(10.0, 60.0), (80.0, 90.0), (150.0, 70.0), (200.0, 50.0), (290.0, 80.0)]);
        let pieces = assert_area(&ring);
        let [piece] = &pieces[..] else { panic!("{pieces:?}") };
        assert!(piece.iter().any(|p| p[..2] == [180.0, pole]) && piece.iter().any(|p| p[..2] == [-180.0, pole]), "{piece:?}");
        // As a map draws it, straight between longitudes and latitudes: within 4 parts in 100,000, for the area twice that.
        let metres = |p: &GlobePoint| (90.0 - p[1].abs()).to_radians() * 6_399_593.6;
        let sectors: f64 = piece
            .windows(2)
            .map(|w| {
                (w[1][0] - w[0][0]).to_radians() * (metres(&w[0]).powi(2) + metres(&w[0]) * metres(&w[1]) + metres(&w[1]).powi(2))
                    / 6.0
            })
            .sum();
        let whole = area_m2(&ring);
        assert!((sectors.abs() / whole - 1.0).abs() < 2e-4, "{sectors} {whole}");
        // The other way round it is the same field.
        let turned: Vec<GlobePoint> = ring.iter().rev().copied().collect();
        assert_area(&turned);
    }
}

#[test]
fn a_pole_on_the_edge_beside_it_and_at_a_corner() {
    // Beside the pole, not round it.
    assert_area(&about(89.999, 30.0, &[(0.0, 50.0), (90.0, 50.0), (180.0, 50.0), (270.0, 50.0)]));
    // A corner at the pole: at the longitudes of its neighbours.
    let corner = [[0.0, 89.999, 0.0], [90.0, 89.999, 0.0], [17.0, 90.0, 0.0], [0.0, 89.999, 0.0]];
    let [piece] = &assert_area(&corner)[..] else { panic!() };
    assert!(piece.iter().any(|p| p[..2] == [0.0, 90.0]) && piece.iter().any(|p| p[..2] == [90.0, 90.0]));
    // The same, begun at the pole.
    assert_area(&[corner[2], corner[0], corner[1], corner[2]]);
    // A line over the pole.
    let parts = DEGREES.line(&[[20.0, 89.999, 0.0], [0.0, 90.0, 5.0], [-130.0, 89.999, 0.0]]);
    assert!(parts.iter().flatten().all(|p| p[0].abs() <= 180.0) && !parts.is_empty());
}

/// A comb over ±180°: its pieces are several on each side.
#[test]
fn a_ring_that_crosses_many_times() {
    let comb = [
        [179.9, 0.0],
        [-179.9, 0.0],
        [-179.9, 0.1],
        [179.95, 0.1],
        [179.95, 0.2],
        [-179.9, 0.2],
        [-179.9, 0.3],
        [179.9, 0.3],
        [179.9, 0.0],
    ]
    .map(|[lon, lat]| [lon, lat, 0.0]);
    let pieces = assert_area(&comb);
    assert_eq!(pieces.iter().filter(|piece| piece[0][0] > 0.0).count(), 1);
    assert_eq!(pieces.iter().filter(|piece| piece[0][0] < 0.0).count(), 2);
}

#[test]
fn in_gon_as_in_degrees() {
    let gon = Globe { half_turn: 200.0 };
    let square = [[199.5, 0.0, 0.0], [-199.5, 0.0, 0.0], [-199.5, 1.0, 0.0], [199.5, 1.0, 0.0], [199.5, 0.0, 0.0]];
    let pieces = gon.rings(&square);
    assert_eq!(pieces.len(), 2);
    assert!(pieces.iter().flatten().all(|p| p[0].abs() <= 200.0 && p[0].abs() >= 199.5));
}

#[test]
fn the_narrow_bbox() {
    let edges = |list: &[f64]| {
        let mut longitudes = Longitudes::default();
        list.iter().for_each(|lon| longitudes.see(*lon));
        longitudes.edges()
    };
    assert_eq!(edges(&[179.5, -179.5]), Some((179.5, -179.5)));
    assert_eq!(edges(&[-3.0, 4.0]), Some((-3.0, 4.0)));
    assert_eq!(edges(&[-3.0, -4.0]), Some((-4.0, -3.0)));
    assert_eq!(edges(&[]), None);
}

/// RFC 7946, section 5.3: the bbox of what contains a pole goes round the globe. Its vertices alone leave the gap that its edge over the
/// meridian of 0 fills; points without edges leave it.
#[test]
fn the_bbox_round_a_pole() {
    let mut longitudes = Longitudes::default();
    let ring = [-180.0, -120.0, -0.4, 0.3, 100.0, 180.0];
    ring.iter().for_each(|lon| longitudes.see(*lon));
    assert_eq!((longitudes.edges(), longitudes.breadth()), (Some((0.3, -0.4)), Some(360.0)));
    longitudes.see_edge(180.0, -180.0);
    assert_eq!(longitudes.edges(), Some((0.3, -0.4)));
    ring.windows(2).for_each(|pair| longitudes.see_edge(pair[0], pair[1]));
    assert_eq!(longitudes.edges(), Some((-180.0, 180.0)));
}

proptest! {
    /// Stars anywhere on ±180°, at a pole, or elsewhere: the pieces' areas are that of the ring.
    #[test]
    fn areas_of_the_pieces_are_that_of_the_ring(
        lat in prop_oneof![Just(90.0), Just(-90.0), 89.9f64..90.0, -60.0f64..60.0],
        lon in prop_oneof![Just(180.0), 179.99f64..180.0, -180.0f64..180.0],
        radii in prop::collection::vec(50.0f64..800.0, 3..9),
        turn in 0.0f64..360.0,
    ) {
        let step = 360.0 / radii.len() as f64;
        let corners: Vec<(f64, f64)> = radii.iter().enumerate().map(|(i, radius)| (turn + step * i as f64, *radius)).collect();
        assert_area(&about(lat, lon, &corners));
    }
}
