//! Random networks against SciPy: tests/reference/network_random_*.csv and what network_scipy.py there printed for them.

use crate::networks::Site;
use standoff::inside::geodesy::covariance::Covariance;
use standoff::network::Control;
use standoff::network::{Kind, Network, Observation, Settings, Station, adjust};

/// Rest of either iteration: a ten-thousandth of the smallest standard error, 2 cm.
const PLACE_M: f64 = 2e-6;

/// Relative, of standard errors: partials by differences, and those of the turning vertical left out.
const SIGMA: f64 = 1e-4;

fn fields(line: &str) -> (Vec<&str>, Vec<f64>) {
    let words: Vec<&str> = line.split(',').collect();
    let numbers = words.iter().map(|w| w.parse().unwrap_or(f64::NAN)).collect();
    (words, numbers)
}

/// The listed network, without the rough positions: the closed forms start it.
fn listed(path: &str) -> Network {
    let mut network = Network { stations: vec![], observations: vec![], ..Site::new(0).network };
    for line in std::fs::read_to_string(path).unwrap().lines().filter(|line| !line.starts_with('#')) {
        let (words, n) = fields(line);
        if words[0] == "station" {
            let control = (n.len() > 6).then(|| Control {
                position: [n[6], n[7], n[8]],
                covariance: Covariance { ee: n[9], en: n[10], eu: n[11], nn: n[12], nu: n[13], uu: n[14] },
            });
            network.stations.push(Station { label: format!("S{}", words[1]), start: None, control, sigma_orientation_rad: n[5] });
        } else {
            network.observations.push(Observation {
                kind: match words[1] {
                    "Azimuth" => Kind::Azimuth,
                    "Inclination" => Kind::Inclination,
                    "Slope" => Kind::Slope,
                    other => panic!("{other}"),
                },
                from: n[2] as usize,
                to: n[3] as usize,
                value: n[4],
                sigma: n[5],
                instrument_height_m: n[6],
                target_height_m: n[7],
                instrument: None,
                shared: [None; 2],
                // Three readings a shot, in turn.
                source: network.observations.len() / 3,
            });
        }
    }
    network
}

#[test]
fn places_covariances_and_orientations() {
    let mut compared = 0;
    for seed in [101, 102] {
        let network = listed(&format!("tests/reference/network_random_{seed}.csv"));
        let adjustment = adjust(&network, &Settings::default()).unwrap();
        let [solved] = adjustment.solved.as_slice() else { panic!("{:?}", adjustment.notes) };
        let text = std::fs::read_to_string(format!("tests/reference/network_random_{seed}_solved.csv")).unwrap();
        for line in text.lines().filter(|line| !line.starts_with('#')) {
            let (words, n) = fields(line);
            match words[0] {
                "sum" => {
                    assert!((solved.global.statistic / n[1] - 1.0).abs() < 1e-9, "{} {}", solved.global.statistic, n[1]);
                    assert_eq!(solved.global.redundancy as f64, n[2] - n[3]);
                }
                "station" => {
                    let s = n[1] as usize;
                    let station = solved.station(s).unwrap();
                    for k in 0..3 {
                        assert!((station.position[k] - n[2 + k]).abs() < PLACE_M, "{seed} {s}: {:?} {n:?}", station.position);
                    }
                    // In the axes at the first station, with the covariance against the first.
                    let correlated = solved.correlated_points(&[0, s]).unwrap();
                    let c = correlated.covariance_of(1);
                    for (got, want) in [(c.ee, n[5]), (c.nn, n[8]), (c.uu, n[10])] {
                        assert!(((got / want).sqrt() - 1.0).abs() < SIGMA, "{seed} {s}: {c:?} {n:?}");
                    }
                    for (got, want, scale) in [(c.en, n[6], c.ee * c.nn), (c.eu, n[7], c.ee * c.uu), (c.nu, n[9], c.nn * c.uu)] {
                        assert!((got - want).abs() < 2.0 * SIGMA * scale.sqrt(), "{seed} {s}: {c:?} {n:?}");
                    }
                    let size = 6;
                    for r in 0..3 {
                        for k in 0..3 {
                            let got = correlated.covariance()[r * size + 3 + k];
                            let scale =
                                (correlated.covariance()[r * size + r] * correlated.covariance()[(3 + k) * size + 3 + k]).sqrt();
                            assert!((got - n[11 + 3 * r + k]).abs() < 2.0 * SIGMA * scale, "{seed} {s}");
                        }
                    }
                    compared += 1;
                }
                _ => {
                    let orientation = solved.station(n[1] as usize).unwrap().orientation.unwrap();
                    assert!((orientation.value - n[2]).abs() < 1e-7, "{orientation:?} {n:?}");
                    assert!((orientation.sigma / n[3] - 1.0).abs() < SIGMA, "{orientation:?} {n:?}");
                }
            }
        }
    }
    // 9 bases and 8 points, 9 bases and 9 points.
    assert_eq!(compared, 35);
}
