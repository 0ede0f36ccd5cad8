//! The network against published worked examples: tests/reference/least_squares.csv, examples LS1 to LS6 and LS8.
//!
//! The examples are plane or levelled; here they stand at the equator of a sphere of ten earth radii, flat over them to
//! 1e-6 m, with no refraction.

use std::collections::BTreeMap;

use standoff::inside::geodesy::covariance::Covariance;
use standoff::inside::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use standoff::network::{Control, Kind, Network, Observation, Settings, Solved, Source, Station, adjust};

/// A sphere that is flat over a site: a length of 1 km is off by (1 km / R)² of itself, 2e-7 m. It falls by d² / 2R, but
/// the examples in the plane do not look at heights.
const FLAT: Ellipsoid = Ellipsoid { semi_major_m: 6.4e7, flattening: 0.0 };

/// That, and the rounding of coordinates from the centre.
const ROUNDING_M: f64 = 1e-6;

type Rows = BTreeMap<(String, String), (f64, String)>;

/// Published and computed rows, and inputs, of one example: (item, quantity) → value and note.
fn example(name: &str, kind: &[&str]) -> Rows {
    let mut reader = csv::Reader::from_path("tests/reference/least_squares.csv").unwrap();
    let mut rows = Rows::new();
    for record in reader.records() {
        let r = record.unwrap();
        if &r[0] == name && kind.contains(&&r[1]) {
            let value = r[4].parse().unwrap_or_else(|_| panic!("{name} {} {}: {}", &r[2], &r[3], &r[4]));
            rows.insert((r[2].to_string(), r[3].to_string()), (value, r[6].to_string()));
        }
    }
    assert!(!rows.is_empty(), "{name}");
    rows
}

struct Plane {
    frame: LocalFrame,
    network: Network,
}

impl Plane {
    fn new() -> Plane {
        let origin = Geodetic { lat_rad: 0.0, lon_rad: 0.2, ellipsoid_height_m: 0.0 };
        let network = Network {
            ellipsoid: FLAT,
            refraction: 0.0,
            stations: vec![],
            instruments: vec![],
            shared: vec![],
            observations: vec![],
        };
        Plane { frame: LocalFrame::at(&origin, &FLAT), network }
    }

    fn station(&mut self, label: &str, at: [f64; 3], covariance: Option<Covariance>) -> usize {
        let position = self.frame.to_earth_centred(at);
        let control = covariance.map(|covariance| Control { position, covariance });
        let start = (!control.is_some_and(|c| c.is_fixed())).then_some(position);
        self.network.stations.push(Station { label: label.to_string(), start, control, sigma_orientation_rad: 0.0 });
        self.network.stations.len() - 1
    }

    fn read(&mut self, kind: Kind, from: usize, to: usize, value: f64, sigma: f64) {
        self.network.observations.push(Observation {
            kind,
            from,
            to,
            value,
            sigma,
            instrument_height_m: 0.0,
            target_height_m: 0.0,
            instrument: None,
            shared: [None; 2],
            source: self.network.observations.len(),
        });
    }

    fn solve(&self) -> Solved {
        let mut adjustment = adjust(&self.network, &Settings::default()).unwrap();
        assert_eq!(adjustment.solved.len(), 1, "{:?}", adjustment.notes);
        adjustment.solved.remove(0)
    }

    fn place(&self, solved: &Solved, s: usize) -> [f64; 3] {
        self.frame.from_earth_centred(solved.station(s).unwrap().position)
    }
}

const FIXED: Covariance = Covariance { ee: 0.0, en: 0.0, eu: 0.0, nn: 0.0, nu: 0.0, uu: 0.0 };

#[test]
fn ls1_weighted_levelling() {
    let (inputs, published) = (example("LS1", &["input"]), example("LS1", &["published"]));
    let mut plane = Plane::new();
    // Positions in plane are known, heights are not; all stand at one place of the plane, near enough for levelling.
    let plane_only = Covariance { ee: 1e-6, nn: 1e-6, uu: f64::INFINITY, ..FIXED };
    for k in 1..=3 {
        plane.station(&k.to_string(), [k as f64, 0.0, 104.0], Some(plane_only));
    }
    let fixed_m = inputs[&("4".to_string(), "fixed elevation".to_string())].0;
    plane.station("4", [4.0, 0.0, fixed_m], Some(FIXED));
    let sigma_m_per_km = 0.0007;
    let mut lines = vec![];
    for ((item, quantity), (value, note)) in &inputs {
        if quantity == "height difference" {
            // "length 1.1 km"; the difference of "1-2" is height 2 less height 1.
            let km: f64 = note.split_whitespace().nth(1).unwrap().parse().unwrap();
            let (from, to) = item.split_once('-').unwrap();
            plane.read(
                Kind::HeightDifference,
                from.parse::<usize>().unwrap() - 1,
                to.parse::<usize>().unwrap() - 1,
                *value,
                sigma_m_per_km * km,
            );
            lines.push((item.clone(), km));
        }
    }
    assert_eq!(lines.len(), 6);
    let solved = plane.solve();
    let m0 = solved.global.variance_factor().unwrap().sqrt();
    let of = |item: &str, quantity: &str| published[&(item.to_string(), quantity.to_string())].0;
    // Printed to 0.01.
    assert!((m0 - of("", "m0 (3 redundant)")).abs() < 0.005, "{m0}");
    assert_eq!(solved.global.redundancy, 3);
    for k in 1..=3 {
        let height = plane.place(&solved, k - 1)[2];
        // Printed to a tenth of a millimetre.
        assert!((height - of(&k.to_string(), "adjusted elevation")).abs() < 0.00005 + ROUNDING_M, "{k}: {height}");
        let sigma_mm = 1000.0 * m0 * solved.station(k - 1).unwrap().covariance.uu.sqrt();
        assert!((sigma_mm - of(&k.to_string(), "std dev of elevation")).abs() < 0.005, "{k}: {sigma_mm}");
    }
    for r in &solved.residuals {
        let Source::Observation(i) = r.source else { continue };
        let want = of(&lines[i].0, "correction");
        assert!((1000.0 * r.residual - want).abs() < 0.005 + 1000.0 * ROUNDING_M, "{}: {} {want}", lines[i].0, r.residual);
        if lines[i].0 == "1-2" {
            // "redundancy number published 0.3 recomputed 0.3140".
            assert!((r.redundancy - 0.3140).abs() < 0.00005, "{r:?}");
        }
    }
}

#[test]
fn ls2_and_ls3_three_ranges_in_space() {
    for name in ["LS2", "LS3"] {
        let (inputs, published) = (example(name, &["input"]), example(name, &["published"]));
        for solution in ["N1", "N2"] {
            let mut plane = Plane::new();
            let of = |rows: &Rows, item: &str, quantity: &str| rows[&(item.to_string(), quantity.to_string())].0;
            let at = |rows: &Rows, item: &str| [of(rows, item, "x"), of(rows, item, "y"), of(rows, item, "z")];
            for p in ["P1", "P2", "P3"] {
                plane.station(p, at(&inputs, p), Some(FIXED));
            }
            let want = at(&published, solution);
            // Two places fit; a rough position a tenth of the way to the other side chooses.
            let other = at(&published, if solution == "N1" { "N2" } else { "N1" });
            let rough = std::array::from_fn(|k| want[k] + 0.1 * (want[k] - other[k]));
            let point = plane.station("N", rough, None);
            for (k, p) in ["P1", "P2", "P3"].into_iter().enumerate() {
                plane.read(Kind::Slope, k, point, of(&inputs, p, "distance"), 0.001);
            }
            let got = plane.place(&plane.solve(), point);
            for k in 0..3 {
                // Printed to a tenth of a millimetre.
                assert!((got[k] - want[k]).abs() < 0.00005 + ROUNDING_M, "{name} {solution}: {got:?} {want:?}");
            }
        }
    }
}

#[test]
fn ls4_three_ranges_in_the_plane() {
    let (inputs, published) = (example("LS4", &["input"]), example("LS4", &["published"]));
    let mut plane = Plane::new();
    let of = |rows: &Rows, item: &str, quantity: &str| rows[&(item.to_string(), quantity.to_string())].0;
    for p in ["P1", "P2", "P3"] {
        plane.station(p, [of(&inputs, p, "x"), of(&inputs, p, "y"), 0.0], Some(FIXED));
    }
    plane.network.stations.push(Station { label: "P".to_string(), start: None, control: None, sigma_orientation_rad: 0.0 });
    for (k, p) in ["P1", "P2", "P3"].into_iter().enumerate() {
        plane.read(Kind::Horizontal, k, 3, of(&inputs, p, "distance"), 0.01);
    }
    let got = plane.place(&plane.solve(), 3);
    // Exact; the flat sphere turns a length of 1 km by 1.6e-7 of itself, squared.
    assert!((got[0] - of(&published, "P", "x")).abs() < 1e-4 && (got[1] - of(&published, "P", "y")).abs() < 1e-4, "{got:?}");
}

#[test]
fn ls5_closed_traverse() {
    let published = example("LS5", &["published", "computed"]);
    let mut plane = Plane::new();
    for (k, label) in ["A", "B", "C", "D"].into_iter().enumerate() {
        plane.network.stations.push(Station { label: label.to_string(), start: None, control: None, sigma_orientation_rad: 0.0 });
        if k == 0 {
            plane.network.stations[0].control =
                Some(Control { position: plane.frame.to_earth_centred([0.0; 3]), covariance: FIXED });
        }
    }
    let of = |item: &str, quantity: &str| published[&(item.to_string(), quantity.to_string())].0;
    for (k, leg) in ["A-B", "B-C", "C-D", "D-A"].into_iter().enumerate() {
        let (north, east) = (of(leg, "latitude"), of(leg, "departure"));
        plane.read(Kind::Azimuth, k, (k + 1) % 4, east.atan2(north), 0.001);
        plane.read(Kind::Horizontal, k, (k + 1) % 4, east.hypot(north), 0.01);
    }
    let solved = plane.solve();
    let [closure] = solved.misclosures.as_slice() else { panic!("{:?}", solved.misclosures) };
    // The legs may be walked either way round, and the sum is then of the other sign; latitudes and departures are
    // printed to a millimetre, so four of them to 2 mm; the distances of the perimeter to 1 cm.
    assert!((closure.north_m.abs() - of("", "sum of latitudes")).abs() < 0.002, "{closure:?}");
    assert!((closure.east_m.abs() - of("", "sum of departures").abs()).abs() < 0.002, "{closure:?}");
    assert!(closure.north_m * closure.east_m < 0.0);
    assert!((closure.length_m - of("", "perimeter")).abs() < 0.02, "{closure:?}");
    // √(0.285² + 0.311²) = 0.4218; 267.5 / 0.4218 = 634.
    assert!((closure.ratio() - 634.0).abs() < 4.0, "{}", closure.ratio());
}

#[test]
fn ls6_resection_by_three_distances() {
    let (inputs, computed) = (example("LS6", &["input"]), example("LS6", &["computed"]));
    let of = |rows: &Rows, item: &str, quantity: &str| rows[&(item.to_string(), quantity.to_string())].0;
    // Lengths in units of 100 m, so that the sphere's rounding does not matter.
    let unit = 100.0;
    // The example has unit weights; a standard error near the residuals lets the iteration come to rest closer.
    let sigma = 1e-3;
    let mut plane = Plane::new();
    for p in ["P", "O", "Q"] {
        plane.station(p, [unit * of(&inputs, p, "x"), unit * of(&inputs, p, "y"), 0.0], Some(FIXED));
    }
    plane.network.stations.push(Station { label: "R".to_string(), start: None, control: None, sigma_orientation_rad: 0.0 });
    for (k, line) in ["RP", "RO", "RQ"].into_iter().enumerate() {
        plane.read(Kind::Horizontal, 3, k, unit * of(&inputs, line, "distance"), sigma * unit);
    }
    let solved = plane.solve();
    let got = plane.place(&solved, 3);
    // Rounding of coordinates in units.
    let rounding = ROUNDING_M / unit;
    assert!((got[0] / unit - of(&computed, "R", "x")).abs() < rounding, "{got:?}");
    assert!((got[1] / unit - of(&computed, "R", "y")).abs() < rounding, "{got:?}");
    let c = solved.station(3).unwrap().covariance;
    for (got, quantity) in [(c.ee, "cofactor xx"), (c.nn, "cofactor yy"), (c.en, "cofactor xy")] {
        assert!((got / (sigma * unit).powi(2) - of(&computed, "R", quantity)).abs() < 1e-6, "{quantity} {got}");
    }
    let names = ["residual RP (computed minus observed)", "residual RO", "residual RQ"];
    for r in &solved.residuals {
        let Source::Observation(i) = r.source else { continue };
        assert!((r.residual / unit - of(&computed, "R", names[i])).abs() < rounding, "{r:?}");
    }
    let sigma0 = sigma * solved.global.variance_factor().unwrap().sqrt();
    assert!((sigma0 - of(&computed, "R", "sigma0 (1 redundant)")).abs() < 1e-6, "{sigma0}");
}

#[test]
fn ls8_weighted_mean() {
    let (inputs, outcome) = (example("LS8", &["input"]), example("LS8", &["published", "computed"]));
    let mut plane = Plane::new();
    plane.station("A", [0.0; 3], Some(FIXED));
    plane.network.stations.push(Station { label: "B".to_string(), start: None, control: None, sigma_orientation_rad: 0.0 });
    for (length, note) in inputs.values() {
        let weight: f64 = note.trim_start_matches("weight ").chars().next().unwrap().to_digit(10).unwrap().into();
        plane.read(Kind::Horizontal, 0, 1, *length, 1.0 / weight.sqrt());
    }
    plane.read(Kind::Azimuth, 0, 1, 0.5, 0.001);
    let solved = plane.solve();
    let got = plane.place(&solved, 1);
    let of = |quantity: &str| outcome[&(String::new(), quantity.to_string())].0;
    assert!((got[0].hypot(got[1]) - of("weighted mean")).abs() < 0.0005, "{got:?}");
    let sigma0 = solved.global.variance_factor().unwrap().sqrt();
    assert!((sigma0 - of("sigma of unit weight")).abs() < 1e-5, "{sigma0}");
    let c = solved.station(1).unwrap().covariance;
    let (sin, cos) = 0.5f64.sin_cos();
    let along = (c.ee * sin * sin + c.nn * cos * cos + 2.0 * c.en * sin * cos).sqrt();
    assert!((sigma0 * along - of("std dev of weighted mean")).abs() < 1e-5, "{along}");
}
