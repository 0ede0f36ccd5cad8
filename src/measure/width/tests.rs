use proptest::prelude::*;

use super::compose;
use crate::geodesy::covariance::Covariance;
use crate::geodesy::register::{Estimate, Origin};
use crate::measure::reading::support::{FOOT_M, Normal, Read, base, base_number, group, row, spread};
use crate::measure::{Composed, Refusal, RoleShot, Shape};
use crate::records::triangle::Triangle;
use crate::shots::centre::to_centre;
use crate::shots::reduce::{Sight, SightSigmas, reduce};

/// Rounding of metres near the earth's surface.
const ROUNDING_M: f64 = 1e-8;

/// Sampling of a standard deviation from [`RUNS`]: 1/√(2n) = 0.22 %, and what first order leaves out of errors like these.
const RUNS: usize = 100_000;
const SIMULATED: f64 = 0.015;

fn origin() -> Origin {
    base(Covariance { ee: 0.09, nn: 0.16, uu: 0.25, ..Covariance::default() })
}

fn compose_rows(rows: &[RoleShot]) -> Result<Composed, Refusal> {
    compose(&group("width", &[origin(), base_number(1, origin().errors.covariance())], rows))
}

fn value(composed: &Composed, name: &str) -> Estimate {
    composed.values.iter().find(|value| value.name == name).unwrap_or_else(|| panic!("{name}: {composed:?}")).estimate
}

fn width(rows: &[RoleShot]) -> f64 {
    value(&compose_rows(rows).unwrap(), "width_m").value
}

/// Sights to both edges about an azimuth.
fn edges(middle_deg: f64, angle_deg: f64) -> [RoleShot; 2] {
    [("left", -0.5), ("right", 0.5)].map(|(role, side)| row(role).azimuth((middle_deg + side * angle_deg).rem_euclid(360.0)))
}

fn with(edges: [RoleShot; 2], distance: RoleShot) -> Vec<RoleShot> {
    edges.into_iter().chain([distance]).collect()
}

/// The right triangle 3, 4, 5: a tank of radius 3 m, its centre at 5 m, its face at 2 m, its tangents 4 m long; astride north.
#[test]
fn a_tank_of_3_4_5() {
    let angle = 2.0 * 0.6f64.asin().to_degrees();
    let pair = edges(0.0, angle);
    assert!((width(&with(pair.clone(), row("near_face").horizontal(2.0))) - 6.0).abs() < ROUNDING_M);
    assert!((width(&with(pair.clone(), row("centre").horizontal(5.0))) - 6.0).abs() < ROUNDING_M);
    let [left, right] = pair.clone();
    assert!((width(&[left.clone().horizontal(4.0), right.clone()]) - 6.0).abs() < ROUNDING_M);
    assert!((width(&[left.clone().horizontal(4.0), right.horizontal(4.0)]) - 6.0).abs() < ROUNDING_M);
    // A wall of 7.5 m at 5 m: half of it is 5 · 3/4.
    let composed = compose_rows(&with(pair, row("plane").inclination(30.0).slope(5.0 / 30f64.to_radians().cos()))).unwrap();
    assert!((value(&composed, "width_m").value - 7.5).abs() < ROUNDING_M);
    assert!((value(&composed, "angle_deg").value - angle).abs() < 1e-9);
    assert!((value(&composed, "distance_m").value - 5.0).abs() < ROUNDING_M);
}

/// The angle gauge of W. Bitterlich (1948), from memory: a basal area factor of 1 m²/ha has sin(θ/2) = 0.01, and a stem just
/// fills it from 50 of its diameters; a factor of 10 ft²/acre has θ = 104.18' and 2.75 ft for each inch.
#[test]
fn the_angle_gauge() {
    let metric = with(edges(200.0, 2.0 * 0.01f64.asin().to_degrees()), row("centre").horizontal(25.0));
    assert!((width(&metric) - 0.5).abs() < 1e-9);
    let imperial = with(edges(200.0, 104.18 / 60.0), row("centre").horizontal(27.5 * FOOT_M));
    assert!((width(&imperial) / (FOOT_M / 12.0) - 10.0).abs() < 0.005);
}

#[test]
fn the_centre_stands_behind_the_face() {
    let rows =
        with(edges(90.0, 2.0 * 0.6f64.asin().to_degrees()), row("near_face").azimuth(90.0).inclination(45.0).horizontal(2.0));
    let composed = compose_rows(&rows).unwrap();
    let Shape::Point(at) = composed.shape else { panic!("{composed:?}") };
    let [e, n, u] = origin().frame.from_earth_centred(at);
    assert!((e - 5.0).abs() < ROUNDING_M && n.abs() < ROUNDING_M && (u - 3.6).abs() < ROUNDING_M, "{e} {n} {u}");
    assert!(composed.warnings.is_empty() && composed.parts[0].role == "centre");
}

#[test]
fn warnings() {
    let warns = |rows: &[RoleShot], words: &str| {
        let composed = compose_rows(rows).unwrap();
        assert!(composed.warnings.iter().any(|warning| warning.contains(words)), "{words}: {composed:?}");
        composed
    };
    let face = || row("near_face").azimuth(10.0).inclination(0.0).horizontal(10.0);
    let [left, right] = edges(10.0, 4.0);
    let straight = width(&[left.clone(), right.clone(), face()]);
    let exchanged =
        [RoleShot { role: "right".into(), ..left.clone() }, RoleShot { role: "left".into(), ..right.clone() }, face()];
    let turned = warns(&exchanged, "other way round");
    assert!((value(&turned, "width_m").value - straight).abs() < ROUNDING_M);
    let loose = [left.clone(), right.clone(), face()].map(|row| row.errors([2.0, 0.0, 0.0, 0.0]));
    warns(&loose, "within its error");
    warns(&[left.clone(), right.clone(), face().azimuth(11.5)], "off the middle");
    warns(&[left.clone(), right.clone(), row("near_face").horizontal(10.0)], "not placed");
    warns(&[left, right, face(), row("bark")], "bark-1");
}

#[test]
fn refusals_say_what_is_missing_and_where() {
    let says = |rows: &[RoleShot], words: &[&str]| {
        let refusal = compose_rows(rows).unwrap_err();
        assert!(words.iter().all(|word| refusal.contains(word)), "{refusal}");
    };
    let face = row("near_face").horizontal(10.0);
    let [left, right] = edges(10.0, 4.0);
    says(&[], &["Lone Larch", "left"]);
    says(&[left.clone(), right.clone()], &["none of its rows has a distance"]);
    says(&[row("left"), right.clone(), face.clone()], &["left-1", "no azimuth"]);
    says(&[left.clone(), row("right").azimuth(8.0), face.clone()], &["along one line"]);
    says(&[left.clone(), row("right").azimuth(188.0), face.clone()], &["along one line"]);
    says(&[left.clone(), right.clone(), row("near_face").slope(10.0)], &["near_face-1", "levelled"]);
    says(&[left.clone(), right.clone(), face.clone(), row("centre").horizontal(11.0)], &["near_face-1", "centre-1"]);
    says(&[left.clone(), right.clone(), face.clone(), face.clone()], &["two rows"]);
    says(&[left.clone(), right.clone(), RoleShot { base: 1, ..face.clone() }], &["different bases"]);
    says(&[left.clone().horizontal(10.0), right.clone().horizontal(11.0)], &["1.00 m", "missing line"]);
    says(&[left.clone(), row("right").azimuth(f64::NAN), face.clone()], &["right-1", "azimuth"]);
    says(&[left.clone(), right.clone(), row("near_face").horizontal(f64::NAN)], &["near_face-1"]);
    says(&[left.errors([f64::NAN; 4]), right, face], &["no finite width"]);
}

#[test]
fn each_way_is_told_with_its_rows() {
    let [left, right] = edges(10.0, 4.0);
    let along = "sights along both edges (rows left-1 and right-1); ";
    for (role, words) in [
        ("near_face", "distance to the near face, object taken as round"),
        ("centre", "distance to the centre, object taken as round"),
        ("plane", "distance to the middle of a flat object, taken as square to the sight"),
    ] {
        let composed = compose_rows(&[left.clone(), right.clone(), row(role).inclination(0.0).horizontal(9.0)]).unwrap();
        assert_eq!(composed.method, format!("{along}{words} (row {role}-1)"));
    }
    let touching = format!("{along}distance taken to where the sight touches the edge, object taken as round");
    let near = |row: &RoleShot| row.clone().inclination(0.0).horizontal(9.0);
    for (rows, from) in [
        ([near(&left), right.clone()], "left-1"),
        ([left.clone(), near(&right)], "right-1"),
        ([near(&left), near(&right)], "left-1 and right-1"),
    ] {
        let composed = compose_rows(&rows).unwrap();
        assert_eq!(composed.method, format!("{touching} (row {from})"));
        assert!(composed.warnings.is_empty() && composed.parts.len() == 1, "{composed:?}");
    }
    // A flat face seen under θ, its middle 5 m away: turned by α it is 2 · 5 (√(cos² α + tan² θ) − cos α)/tan θ wide.
    let [left, right] = edges(10.0, 60.0);
    let composed = compose_rows(&[left, right, row("plane").horizontal(5.0)]).unwrap();
    let wide = |turned: f64| {
        let (tan, cos) = (60f64.to_radians().tan(), turned.to_radians().cos());
        10.0 * ((cos * cos + tan * tan).sqrt() - cos) / tan
    };
    let want = format!("a face turned by 20\u{b0} is {:.2} m wide, one turned by 45\u{b0} {:.2} m, and", wide(20.0), wide(45.0));
    assert!(composed.warnings[0].contains(&want), "{:?} {want}", composed.warnings);
    assert!(composed.warnings[1].contains("its centre is not placed: row plane-1 lacks"));
}

#[test]
fn distances_of_both_edges_by_their_weights() {
    let [left, right] = edges(90.0, 20.0);
    let pair = |one: f64, other: f64| {
        let rows = [left.clone().horizontal(one).inclination(3.0), right.clone().horizontal(other).inclination(-2.0)];
        let [one, other] = rows.map(|row| row.errors([0.0, 0.0, 0.0, 0.1]));
        [one, RoleShot { sigma_distance_m: 0.2, ..other }]
    };
    // 10 m ± 0.1 m counts four times as much as 10.3 m ± 0.2 m.
    let [mut one, mut other] = pair(10.0, 10.3);
    (one.instrument_height_m, one.target_height_m) = (Some(1.6), 0.2);
    (other.instrument_height_m, other.target_height_m) = (Some(1.9), 0.1);
    let composed = compose_rows(&[one.clone(), other.clone()]).unwrap();
    let distance = value(&composed, "distance_m");
    assert!((distance.value - 10.06).abs() < ROUNDING_M && (distance.sigma - 0.2 / 5f64.sqrt()).abs() < 1e-6, "{distance:?}");
    let [e, n, u] = origin().frame.from_earth_centred(composed.parts[0].at);
    let centre = 10.06 / 10f64.to_radians().cos();
    let rise = |metres: f64, deg: f64| metres * deg.to_radians().tan();
    let up = 0.8 * (rise(10.0, 3.0) + 1.4) + 0.2 * (rise(10.3, -2.0) + 1.8);
    assert!((e - centre).abs() < ROUNDING_M && n.abs() < ROUNDING_M && (u - up).abs() < ROUNDING_M, "{e} {n} {u} {up}");
    assert_eq!(composed.parts[0].base, 0);
    // Without the height or the inclination of either the centre has no place.
    type Change = fn(&mut RoleShot);
    let changes: [Change; 2] = [|row| row.instrument_height_m = None, |row| row.inclination_rad = None];
    for change in changes {
        for which in [0, 1] {
            let mut rows = [one.clone(), other.clone()];
            change(&mut rows[which]);
            let composed = compose_rows(&rows).unwrap();
            assert!(composed.parts.is_empty() && composed.shape == Shape::None);
            assert!(composed.warnings[0].contains("its centre is not placed: row left-1 lacks"), "{:?}", composed.warnings);
            assert!((value(&composed, "distance_m").value - 10.06).abs() < ROUNDING_M);
        }
    }
    // Three standard errors of their difference, √(0.1² + 0.2²).
    let limit = 3.0 * 0.05f64.sqrt();
    assert!(compose_rows(&pair(10.0, 10.0 + 0.999 * limit)).is_ok() && compose_rows(&pair(10.0 + 0.999 * limit, 10.0)).is_ok());
    assert!(compose_rows(&pair(10.0, 10.0 + 1.001 * limit)).is_err() && compose_rows(&pair(10.0 + 1.001 * limit, 10.0)).is_err());
}

#[test]
fn the_angle_and_its_middle_within_their_errors() {
    let [left, right] = edges(10.0, 4.0);
    let face = |azimuth: f64| row("near_face").azimuth(azimuth).inclination(0.0).horizontal(10.0);
    let warned = |azimuth: f64, sigma: f64| {
        let rows = [left.clone(), right.clone(), face(azimuth)].map(|row| row.errors([sigma, 0.0, 0.0, 0.0]));
        compose_rows(&rows).unwrap().warnings
    };
    // 4° is 1.96 times √2 of 1.443°.
    let sigma = 4.0 / (1.959_964 * 2f64.sqrt());
    assert!(warned(10.0, 0.999 * sigma).is_empty(), "{:?}", warned(10.0, 0.999 * sigma));
    assert_eq!(
        warned(10.0, 1.001 * sigma),
        ["the angle between the edges, 4.00\u{b0}, is within its error of \u{b1}4.00\u{b0}; go nearer, or repeat the sights"]
    );
    // A quarter of the angle, and three standard errors of 1/4 + 1/4 + 1 of the azimuths' variance.
    for (off, sigma, is_told) in [(0.99, 0.0, false), (1.01, 0.0, true), (1.83, 0.5, false), (1.845, 0.5, true)] {
        for side in [-1.0, 1.0] {
            let warnings = warned(10.0 + side * off, sigma);
            assert_eq!(warnings.len(), usize::from(is_told), "{off} {sigma} {warnings:?}");
            let want = format!("the distance (row near_face-1) was shot {off:.1}\u{b0} off the middle of the two edges");
            assert!(!is_told || warnings[0].starts_with(&want), "{warnings:?}");
        }
    }
    // The angle between edges either side of south, and nearly back to back.
    for (middle, angle) in [(180.0, 6.0), (0.0, 179.9)] {
        let composed = compose_rows(&with(edges(middle, angle), row("centre").horizontal(3.0))).unwrap();
        assert!((value(&composed, "angle_deg").value - angle).abs() < 1e-9);
        assert!((value(&composed, "width_m").value - 6.0 * (0.5 * angle).to_radians().sin()).abs() < ROUNDING_M);
    }
}

#[test]
fn simulated_widths_and_centre() {
    // The orientation is poor and cancels in the width; it moves the centre with all else.
    let sigmas = [0.2, 3.0, 0.25, 0.1];
    let rows = with(edges(357.0, 24.0), row("near_face").inclination(15.0).slope(14.0)).map(sigmas);
    let composed = compose_rows(&rows).unwrap();
    let [azimuth, orientation, inclination, _] = sigmas.map(f64::to_radians);
    let mut normal = Normal(31);
    let simulated = spread(RUNS, || {
        let turn = orientation * normal.next();
        let [left, right] = [345f64, 369.0].map(|deg| deg.to_radians() + turn + azimuth * normal.next());
        let i = 15f64.to_radians() + inclination * normal.next();
        let s = 14.0 + 0.1 * normal.next();
        let half = (0.5 * (right - left)).sin();
        let radius = s * i.cos() * half / (1.0 - half);
        let (sin, cos) = (0.5 * (left + right)).sin_cos();
        let centre = s * i.cos() + radius;
        let (e, n, u) = (0.3 * normal.next(), 0.4 * normal.next(), 0.5 * normal.next());
        [2.0 * radius, (right - left).to_degrees(), s * i.cos(), centre * sin + e, centre * cos + n, s * i.sin() + u]
    });
    let c = composed.parts[0].covariance;
    let mut expected: Vec<f64> = ["width_m", "angle_deg", "distance_m"].iter().map(|name| value(&composed, name).sigma).collect();
    expected.extend([c.ee.sqrt(), c.nn.sqrt(), c.uu.sqrt()]);
    for (n, (simulated, expected)) in simulated.into_iter().zip(expected).enumerate() {
        assert!((simulated / expected - 1.0).abs() < SIMULATED, "{n}: {simulated} {expected}");
    }
}

#[test]
fn simulated_other_distances() {
    let sigmas = [0.2, 3.0, 0.25, 0.1];
    let sigma = |rows: Vec<RoleShot>| value(&compose_rows(&rows.map(sigmas)).unwrap(), "width_m").sigma;
    let [left, right] = edges(100.0, 40.0);
    let expected = [
        sigma(vec![left.clone(), right.clone(), row("centre").horizontal(9.0)]),
        sigma(vec![left.clone(), right.clone(), row("plane").horizontal(9.0)]),
        sigma(vec![left.clone().horizontal(9.0), right.clone()]),
        sigma(vec![left.horizontal(9.0), right.horizontal(9.0)]),
    ];
    let mut normal = Normal(8);
    let simulated = spread(RUNS, || {
        let half = 0.5 * (40f64.to_radians() + 0.2f64.to_radians() * (normal.next() - normal.next()));
        let (d, other) = (9.0 + 0.1 * normal.next(), 9.0 + 0.1 * normal.next());
        [2.0 * d * half.sin(), 2.0 * d * half.tan(), 2.0 * d * half.tan(), (d + other) * half.tan()]
    });
    for (n, (simulated, expected)) in simulated.into_iter().zip(expected).enumerate() {
        assert!((simulated / expected - 1.0).abs() < SIMULATED, "{n}: {simulated} {expected}");
    }
}

/// Rows with errors.
trait Erring {
    fn map(self, sigmas: [f64; 4]) -> Vec<RoleShot>;
}

impl Erring for Vec<RoleShot> {
    fn map(self, sigmas: [f64; 4]) -> Vec<RoleShot> {
        self.into_iter().map(|row| row.errors(sigmas)).collect()
    }
}

#[test]
fn a_sight_straight_up_has_nowhere_to_step() {
    let sight = Sight {
        true_azimuth_rad: 0.3,
        triangle: Triangle::SlopeVertical { slope_m: 8.0, vertical_m: 8.0 },
        instrument_height_m: 0.0,
        target_height_m: 0.0,
        refraction: 0.0,
    };
    let sigmas = SightSigmas { azimuth_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };
    let up = crate::shots::reduce::Vector { distance: Covariance::default(), ..reduce(&sight, &sigmas, 6_371_000.0) };
    let stepped = to_centre(&up, 0.3, 0.1);
    assert_eq!((stepped.east_m, stepped.north_m, stepped.up_m), (up.east_m, up.north_m, up.up_m));
    assert!((stepped.distance.horizontal_variance() - 0.1).abs() < 1e-12, "{stepped:?}");
}

proptest! {
    /// The step is the sight that is as much longer on the level: same height, and the errors of such a point,
    /// (h + r) sin A, (h + r) cos A, u, by its gradients.
    #[test]
    fn stepping_to_the_centre(a in 0.0f64..360.0, s in 2.0f64..300.0, i in -70.0f64..70.0, r in 0.02f64..2.0) {
        let sigmas = SightSigmas { azimuth_rad: 0.01, inclination_rad: 0.005, distance_m: 0.1 };
        let (a, i) = (a.to_radians(), i.to_radians());
        let sight = Sight {
            true_azimuth_rad: a,
            triangle: Triangle::Slope { slope_m: s, inclination_rad: i },
            instrument_height_m: 1.5,
            target_height_m: 0.2,
            refraction: 0.0,
        };
        let stepped = to_centre(&reduce(&sight, &sigmas, 6_371_000.0), r, 0.03);
        let h = s * i.cos() + r;
        let place = [h * a.sin(), h * a.cos(), s * i.sin() + 1.3];
        for (got, want) in [stepped.east_m, stepped.north_m, stepped.up_m.unwrap()].into_iter().zip(place) {
            prop_assert!((got - want).abs() < ROUNDING_M);
        }
        prop_assert!((stepped.horizontal_m - h).abs() < ROUNDING_M);
        let across = |sigma: f64| [h * a.cos() * sigma, -h * a.sin() * sigma, 0.0];
        let along = |run: f64, rise: f64| Covariance::from_arm([run * a.sin(), run * a.cos(), rise]);
        let direction = Covariance::from_arm(across(0.01)) + along(-s * i.sin() * 0.005, s * i.cos() * 0.005);
        let distance = along(i.cos() * 0.1, i.sin() * 0.1) + along(0.03, 0.0);
        for (got, want) in [(stepped.direction, direction), (stepped.distance, distance)] {
            let all = |c: Covariance| [c.ee, c.en, c.eu, c.nn, c.nu, c.uu];
            for (got, want) in all(got).into_iter().zip(all(want)) {
                prop_assert!((got - want).abs() < 1e-9 * (1.0 + want.abs()), "{got} {want}");
            }
        }
        for (got, want) in stepped.by_azimuth_m().into_iter().zip(across(1.0)) {
            prop_assert!((got - want).abs() < 1e-9);
        }
    }

    /// A circle anywhere about the eye: tangents and face by exact geometry.
    #[test]
    fn a_circle_anywhere(azimuth in 0.0f64..360.0, centre_m in 1.0f64..200.0, ratio in 0.005f64..0.95) {
        let radius_m = centre_m * ratio;
        let angle = 2.0 * ratio.asin().to_degrees();
        let face = row("near_face").inclination(0.0).horizontal(centre_m - radius_m);
        let composed = compose_rows(&with(edges(azimuth, angle), face)).unwrap();
        let rounding_m = 1e-6 * centre_m;
        prop_assert!((value(&composed, "width_m").value - 2.0 * radius_m).abs() < rounding_m);
        let [e, n, _] = origin().frame.from_earth_centred(composed.parts[0].at);
        let (sin, cos) = azimuth.to_radians().sin_cos();
        prop_assert!((e - centre_m * sin).abs() < rounding_m && (n - centre_m * cos).abs() < rounding_m);
    }
}
