//! Errors that readings share across bases, against dense generalised least squares (`networks::dense`).

use std::sync::Arc;

use crate::networks::{COMPASS, GNSS, Site, dense, horizontal};
use standoff::inside::geodesy::covariance::Covariance;
use standoff::inside::geodesy::frame::Ellipsoid;
use standoff::inside::geodesy::register::{BaseErrors, Cause, ErrorId, Origin, Register};
use standoff::inside::records::triangle::Triangle;
use standoff::inside::shots::reduce::{Sight, SightSigmas, reduce};
use standoff::network::{Adjustment, Kind, Settings, SharedError, adjust};

/// Agreement of a standard error with the oracle's, which is asked of it: two in a hundred.
const AGREED: f64 = 0.02;

/// Bases A to D about a wood, E without a position; points between them; the declination is in all azimuths, a correction of the
/// inclination in all inclinations and one of the distance in all slopes.
fn wood(sigmas: [f64; 3]) -> Site {
    let mut site = Site::new(5);
    for (label, place) in
        [("A", [0.0, 0.0, 0.0]), ("B", [220.0, 30.0, 12.0]), ("C", [180.0, 240.0, -8.0]), ("D", [-30.0, 190.0, 25.0])]
    {
        let s = site.known(label, place, GNSS);
        site.network.stations[s].sigma_orientation_rad = 0.003;
    }
    let free = site.point("E", [110.0, 330.0, 14.0]);
    site.network.stations[free].sigma_orientation_rad = 0.003;
    let points = [[90.0, 110.0, 40.0], [120.0, 60.0, -10.0], [60.0, 160.0, 5.0]].map(|place| site.point("P", place));
    for (from, to) in [(0, 1), (1, 0), (2, 3), (2, free), (free, 3)] {
        site.shoot(from, to, COMPASS, 0.0);
    }
    for (k, point) in points.into_iter().enumerate() {
        for base in 0..4 - k {
            site.shoot((base + k) % 4, point, COMPASS, 0.0);
        }
    }
    for (label, sigma) in ["the declination", "the inclination correction", "the distance correction"].into_iter().zip(sigmas) {
        site.network.shared.push(SharedError { label: label.into(), sigma });
    }
    for o in &mut site.network.observations {
        o.shared[0] = match o.kind {
            Kind::Azimuth => Some(0),
            Kind::Inclination => Some(1),
            _ => Some(2),
        };
    }
    site
}

fn solve(site: &Site) -> Adjustment {
    adjust(&site.network, &Settings::default()).unwrap()
}

fn along(c: &Covariance) -> [f64; 3] {
    [c.ee, c.nn, c.uu].map(f64::sqrt)
}

fn agree(got: [f64; 3], want: [f64; 3], what: &str) {
    for (axis, (got, want)) in got.into_iter().zip(want).enumerate() {
        assert!((got / want - 1.0).abs() < AGREED, "{what}, axis {axis}: {got} for {want}");
    }
}

#[test]
fn standard_errors_are_those_of_generalised_least_squares() {
    for sigmas in [[0.009, 0.005, 0.4], [0.02, 1e-4, 1e-3], [1e-4, 0.02, 2.0]] {
        let site = wood(sigmas);
        let oracle = dense::covariance(&site);
        let solved = solve(&site);
        for s in 0..site.truth.len() {
            let station = solved.station(s).unwrap();
            agree(along(&station.covariance), dense::sigmas(&oracle, s), &site.network.stations[s].label);
            assert!(horizontal(site.error(s, station.position)) < 1e-5);
        }
        // The joint covariance of two points, too.
        let correlated = solved.solved[0].correlated_points(&[5, 7]).unwrap();
        let difference = |r: usize, c: usize| {
            let at = |i: usize, j: usize| oracle[i][j];
            at(15 + r, 15 + c) - at(15 + r, 21 + c) - at(21 + r, 15 + c) + at(21 + r, 21 + c)
        };
        let got = correlated.estimates(|p| std::array::from_fn(|k| p[1][k] - p[0][k]));
        agree(got.map(|estimate| estimate.sigma), std::array::from_fn(|k| difference(k, k).sqrt()), "difference of two points");
    }
}

/// Three bases in a row on a ridge, half a metre good and 25 m apart, and points over the valley shot from all of them:
/// the declination cannot be told from the places of the bases.
fn ridge(declination: f64) -> Site {
    let mut site = Site::new(6);
    for (k, e) in [0.0, 25.0, 50.0].into_iter().enumerate() {
        let s = site.known(&format!("R{}", k + 1), [e, 2.0 * e / 25.0, 0.5 * e / 25.0], Covariance::from_sigmas(0.5, 0.5));
        site.network.stations[s].sigma_orientation_rad = 0.004;
    }
    for (label, place) in [("P1", [20.0, 210.0, -40.0]), ("P2", [70.0, 180.0, -35.0])] {
        let point = site.point(label, place);
        for base in 0..3 {
            site.shoot(base, point, COMPASS, 0.0);
        }
    }
    site.shoot(0, 2, COMPASS, 0.0);
    if declination > 0.0 {
        site.network.shared.push(SharedError { label: "the declination".into(), sigma: declination });
        site.network.observations.iter_mut().filter(|o| o.kind == Kind::Azimuth).for_each(|o| o.shared[0] = Some(0));
    }
    site
}

#[test]
fn what_bases_share_matters() {
    let declination = 0.014;
    let shared = ridge(declination);
    let mut apart = ridge(0.0);
    let of_base = &mut apart.network.stations[..3];
    of_base.iter_mut().for_each(|s| s.sigma_orientation_rad = s.sigma_orientation_rad.hypot(declination));
    let oracle = dense::covariance(&shared);
    let (solved, independent) = (solve(&shared), solve(&apart));
    for s in 0..shared.truth.len() {
        agree(along(&solved.station(s).unwrap().covariance), dense::sigmas(&oracle, s), &shared.network.stations[s].label);
    }
    // The fault that this guards against: a declination of each base's own averages out, as if it were three.
    let east = |adjustment: &Adjustment| along(&adjustment.station(3).unwrap().covariance)[0];
    let understated = east(&solved) / east(&independent);
    assert!(understated > 1.3, "{understated}");
}

#[test]
fn a_shared_error_is_found_from_readings_that_it_moves() {
    let mut site = wood([0.02, 0.02, 2.0]);
    for o in &mut site.network.observations {
        o.value -= match o.kind {
            Kind::Azimuth => 0.01,
            Kind::Inclination => -0.008,
            _ => 0.7,
        };
    }
    let solved = solve(&site);
    let found: Vec<f64> = solved.solved[0].shared.iter().map(|shared| shared.added.value).collect();
    // Bases that know their places within 2 cm tell most of it; what their priors hold back is in the standard errors.
    for (k, want) in [0.01, -0.008, 0.7].into_iter().enumerate() {
        let sigma = solved.solved[0].shared[k].added.sigma;
        assert!(
            (found[k] - want).abs() < 2.0 * sigma && sigma < 0.3 * want.abs().max(0.01),
            "{k}: {} for {want}, {sigma}",
            found[k]
        );
    }
}

#[test]
fn a_point_carried_from_a_base_has_its_place_and_orientation_together() {
    let mut most: f64 = 0.0;
    for (site, base) in [(wood([0.009, 1e-6, 1e-6]), 0), (wood([0.009, 1e-6, 1e-6]), 4), (ridge(0.014), 0), (ridge(0.014), 2)] {
        let mut with = site;
        let without = with.network.observations.len();
        let hung = with.point("H", [300.0, 120.0, 18.0]);
        let first = with.shoot(base, hung, COMPASS, 0.0);
        with.network.observations[first].shared[0] = Some(0);
        let oracle = dense::covariance(&with);
        let shot: Vec<_> = with.network.observations.drain(without..).collect();
        let sight = Sight {
            true_azimuth_rad: shot[0].value,
            triangle: Triangle::Slope { slope_m: shot[2].value, inclination_rad: shot[1].value },
            instrument_height_m: 1.5,
            target_height_m: 0.4,
            refraction: crate::networks::REFRACTION,
        };
        let sigmas = SightSigmas {
            azimuth_rad: COMPASS.azimuth_rad,
            inclination_rad: COMPASS.inclination_rad,
            distance_m: COMPASS.slope_m,
        };
        let vector = reduce(&sight, &sigmas, 6_371_000.0);
        let solved = solve(&with);
        let (_, covariance) = solved.component_with(base).unwrap().carry(base, &vector).unwrap();
        agree(along(&covariance), dense::sigmas(&oracle, hung), "carried");
        // By the register, as a mapping run has it: the unknowns of place and orientation, which hang together.
        let station = solved.station(base).unwrap();
        let unknowns = solved.component_with(base).unwrap().unknowns_of(base).unwrap();
        let entry = |unknown: &usize| ErrorId::new(Cause::Network, 0, *unknown);
        let unit = |axis: usize| std::array::from_fn(|k| if k == axis { 1.0 } else { 0.0 });
        let position = unknowns.place.iter().enumerate().map(|(axis, unknown)| (entry(unknown), unit(axis))).collect();
        let found = unknowns.azimuths.iter().map(|unknown| (entry(unknown), 1.0)).collect();
        let register = Arc::new(Register { networks: vec![solved.component_with(base).unwrap().correlated()] });
        let origin = Origin {
            label: "B".to_owned(),
            frame: crate::networks::frame(station.position),
            ellipsoid: Ellipsoid::WGS84,
            errors: BaseErrors::new(0, position, Some(found), 0.0, register),
            earth_radius_m: 6_371_000.0,
        };
        agree(along(&vector.covariance(&origin)), dense::sigmas(&oracle, hung), "by the register");
        let located = vector.located(&origin).covariance(origin.errors.register());
        agree(along(&located), dense::sigmas(&oracle, hung), "by its arms");
        // Without what place and orientation share.
        let sigma = station.orientation.unwrap().sigma;
        let apart = station.covariance + Covariance::from_arm(vector.by_azimuth_m().map(|m| m * sigma)) + vector.own();
        let off = along(&apart).into_iter().zip(dense::sigmas(&oracle, hung)).map(|(a, b)| (a / b - 1.0).abs());
        most = off.fold(most, f64::max);
    }
    // Without what they share it is another number.
    assert!(most > 2.0 * AGREED, "{most}");
}
