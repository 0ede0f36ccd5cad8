//! Networks of any readings whatever: never a panic, never a number that is none; and the order of the readings does not
//! matter.

use crate::networks;
use crate::networks::random;
use proptest::prelude::*;
use standoff::inside::geodesy::covariance::Covariance;
use standoff::inside::geodesy::frame::{Ellipsoid, Geodetic};
use standoff::network::{
    Control, Kind, Network, Observation, Rangefinder, Reject, Robust, Settings, SharedError, Station, adjust, components,
    variance_components,
};

const KINDS: [Kind; 8] = [
    Kind::Azimuth,
    Kind::Direction,
    Kind::Inclination,
    Kind::Slope,
    Kind::Horizontal,
    Kind::Vertical,
    Kind::VerticalWithSlope,
    Kind::HeightDifference,
];

/// Two nanometres in a position; a millionth of a standard error in a far worse case.
const ORDER_M: f64 = 1e-5;

fn station() -> impl Strategy<Value = Station> {
    let place = (-60.0f64..60.0, -60.0f64..60.0, -20.0f64..20.0);
    (place, 0..5, 0usize..4, any::<bool>()).prop_map(|((e, n, u), known, orientation, start)| {
        let origin = Geodetic { lat_rad: 0.8, lon_rad: 0.2, ellipsoid_height_m: 100.0 };
        let frame = standoff::inside::geodesy::frame::LocalFrame::at(&origin, &Ellipsoid::WGS84);
        let position = frame.to_earth_centred([e, n, u]);
        let covariance = match known {
            0 => Covariance::default(),
            1 => Covariance::from_sigmas(0.02, 0.04),
            2 => Covariance { ee: 1e-4, nn: 1e-4, uu: f64::INFINITY, ..Covariance::default() },
            _ => Covariance { ee: 1e-4, en: 1e-4, nn: 1e-4, uu: 0.0, ..Covariance::default() },
        };
        Station {
            label: "S".to_string(),
            start: start.then_some(position),
            control: (known < 4).then_some(Control { position, covariance }),
            sigma_orientation_rad: [0.0, 0.01, 1.0, f64::INFINITY][orientation],
        }
    })
}

fn network() -> impl Strategy<Value = Network> {
    let reading = (0usize..8, 0usize..6, 1usize..6, -1.0f64..1.0, -3.0f64..1.0, any::<bool>(), 0usize..3, 0usize..4);
    (prop::collection::vec(station(), 6), prop::collection::vec(reading, 0..40), 0usize..3).prop_map(
        |(stations, readings, instrument)| {
            let observations = readings
                .into_iter()
                .map(|(kind, from, step, value, sigma, has_instrument, source, shared)| {
                    let kind = KINDS[kind];
                    Observation {
                        kind,
                        from,
                        to: (from + step) % 6,
                        value: match kind {
                            Kind::Azimuth | Kind::Direction => 7.0 * value,
                            Kind::Inclination => std::f64::consts::FRAC_PI_2 * value,
                            Kind::Slope | Kind::Horizontal => 0.001 + 100.0 * value.abs(),
                            _ => 20.0 * value,
                        },
                        sigma: 10f64.powf(sigma),
                        instrument_height_m: 1.0,
                        target_height_m: 0.0,
                        instrument: has_instrument.then_some(0),
                        shared: [[None, None], [Some(0), None], [Some(1), None], [Some(0), Some(1)]][shared],
                        source,
                    }
                })
                .collect();
            let sigma = [0.0, 0.01, f64::INFINITY][instrument];
            let instruments = vec![Rangefinder { label: "R".to_string(), sigma_scale: sigma, sigma_constant_m: sigma }];
            let shared = [0.01, 2.0].map(|sigma| SharedError { label: "an error".to_string(), sigma }).to_vec();
            Network { ellipsoid: Ellipsoid::WGS84, refraction: 0.13, stations, instruments, shared, observations }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, ..ProptestConfig::default() })]

    #[test]
    fn any_network(network in network(), auto in any::<bool>(), robust in 0usize..3) {
        let settings = Settings {
            reject: if auto { Reject::Auto } else { Reject::Propose },
            robust: [Robust::None, Robust::Huber, Robust::Danish][robust],
            ..Settings::default()
        };
        prop_assert_eq!(components(&network).len(), 6);
        let adjustment = adjust(&network, &settings).unwrap();
        let mut seen = [false; 6];
        for solved in &adjustment.solved {
            for station in &solved.stations {
                prop_assert!(!seen[station.station]);
                seen[station.station] = true;
                prop_assert!(station.position.iter().all(|x| x.is_finite()));
                let c = station.covariance;
                prop_assert!([c.ee, c.en, c.eu, c.nn, c.nu, c.uu].iter().all(|x| x.is_finite()), "{:?}", c);
                prop_assert!(c.ee >= 0.0 && c.nn >= 0.0 && c.uu >= 0.0, "{:?}", c);
            }
            for r in &solved.residuals {
                prop_assert!(r.residual.is_finite() && (0.0..=1.0).contains(&r.redundancy), "{:?}", r);
                prop_assert!(r.normalised.is_none_or(|w| w.is_finite()), "{:?}", r);
            }
            for m in &solved.misclosures {
                prop_assert!(m.linear_m().is_finite() && m.length_m > 0.0);
            }
            prop_assert!(solved.correlated_points(&[solved.stations[0].station]).is_some());
        }
    }

    #[test]
    fn the_order_of_readings_and_stations_does_not_matter(seed in 0u64..1000, shift in 1usize..20) {
        let site = random(seed, 3, 6, 1.0);
        let count = site.network.stations.len();
        let mut turned = site.network.clone();
        turned.stations.rotate_left(shift % count);
        turned.observations.rotate_left(shift);
        turned.observations.reverse();
        for o in &mut turned.observations {
            o.from = (o.from + count - shift % count) % count;
            o.to = (o.to + count - shift % count) % count;
        }
        let (a, b) = (adjust(&site.network, &Settings::default()).unwrap(), adjust(&turned, &Settings::default()).unwrap());
        for s in 0..count {
            let (x, y) = (a.station(s).unwrap(), b.station((s + count - shift % count) % count).unwrap());
            for k in 0..3 {
                prop_assert!((x.position[k] - y.position[k]).abs() < ORDER_M);
            }
            prop_assert!((x.covariance.ee / y.covariance.ee - 1.0).abs() < 1e-5);
        }
    }
}

#[test]
fn variance_components_of_nothing() {
    let empty = Network { stations: vec![], observations: vec![], ..networks::Site::new(0).network };
    assert!(variance_components(&empty, &Settings::default()).unwrap().is_empty());
}
