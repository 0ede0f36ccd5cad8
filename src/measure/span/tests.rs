use super::*;
use crate::measure::fixture::{Scene, exact, sigmas};
use crate::numeric::monte_carlo::{Normal, deviation};
use crate::shots::reduce::SightSigmas;

/// The scene's wire is upright at the base, the measurement's at support a, 72 m on: 72 m / R times 15 m of height.
const EXACT_M: f64 = 2e-4;

/// Draws, and the share by which a standard deviation of them may be off: four of its own standard errors, 1/√(2n).
const DRAWS: usize = 1500;
const SHARE: f64 = 0.075;

/// Span of 160 m towards N 60° E, c = 400 m, b higher than a by `rise`; lowest point x0 from a.
struct Wire {
    c: f64,
    x0: f64,
    a: [f64; 3],
}

impl Wire {
    fn at(&self, x: f64) -> [f64; 3] {
        let (sin, cos) = 60f64.to_radians().sin_cos();
        let z = |x: f64| self.c * (((x - self.x0) / self.c).cosh() - 1.0);
        [self.a[0] + x * sin, self.a[1] + x * cos, self.a[2] + z(x) - z(0.0)]
    }
}

const WIRE: Wire = Wire { c: 400.0, x0: 70.0, a: [-60.0, 40.0, 14.0] };
const SPAN_M: f64 = 160.0;

fn scene(bases: &[[f64; 3]], sigmas: SightSigmas) -> Scene {
    let mut scene = Scene::new(bases, sigmas);
    let last = bases.len() - 1;
    scene.row(0, "support_a", "A", WIRE.at(0.0));
    scene.row(last, "support_b", "B", WIRE.at(SPAN_M));
    for (i, x) in [30.0, 65.0, 90.0, 130.0].into_iter().enumerate() {
        scene.row(if i < 2 { 0 } else { last }, "wire", &format!("W{}", i + 1), WIRE.at(x));
    }
    // 9 m under the wire, and 4 m to the right of it and 3 m down.
    let under = WIRE.at(80.0);
    scene.row(0, "ground", "G1", [under[0], under[1], under[2] - 9.0]);
    let (sin, cos) = 60f64.to_radians().sin_cos();
    let beside = WIRE.at(70.0);
    scene.row(last, "object", "Oak", [beside[0] + 4.0 * cos, beside[1] - 4.0 * sin, beside[2] - 3.0]);
    scene
}

fn value(composed: &Composed, name: &str) -> Estimate {
    let details = composed.details.iter().flat_map(|detail| &detail.values);
    composed.values.iter().chain(details).find(|value| value.name == name).map(|value| value.estimate).unwrap()
}

#[test]
fn an_exact_catenary_with_unequal_supports() {
    let scene = scene(&[[0.0; 3], [60.0, 20.0, 1.0]], exact());
    let group = scene.group("span", "Mill line");
    let (composed, clearances) = measure(&group).unwrap();
    assert_eq!(composed.method, "catenary in the vertical plane through the supports, fitted to 4 wire shots");
    assert!((value(&composed, "span_m").value - SPAN_M).abs() < EXACT_M);
    // Parallel to the chord where sinh((x − x0)/c) = h/L.
    let z = |x: f64| WIRE.at(x)[2];
    let slope = (z(SPAN_M) - z(0.0)) / SPAN_M;
    let x = WIRE.x0 + WIRE.c * slope.asinh();
    let sag = z(0.0) + slope * x - z(x);
    assert!((value(&composed, "sag_m").value - sag).abs() < EXACT_M, "{composed:?}");
    // Heights above the ellipsoid differ from heights over one plane by d²/2R, d from a: 70² / 2R = 0.4 mm.
    let lowest = WIRE.at(WIRE.x0)[2] - z(0.0);
    let curved = |p: [f64; 3]| (p[0] * p[0] + p[1] * p[1]) / (2.0 * 6.38e6);
    let want = lowest + curved(WIRE.at(WIRE.x0)) - curved(WIRE.a);
    assert!((value(&composed, "lowest_height_difference_m").value - want).abs() < EXACT_M, "{composed:?} {want}");
    assert!(value(&composed, "wire_rms_m").value < EXACT_M);
    assert_eq!(clearances.len(), 2);
    assert_eq!(clearances[0].label, "G1");
    assert!((clearances[0].vertical_m.unwrap().value - 9.0).abs() < EXACT_M);
    assert!((clearances[0].chainage_m - 80.0).abs() < EXACT_M && clearances[0].offset_m.abs() < EXACT_M);
    // At the lowest point the wire is level: the nearest point is 4 m beside and 3 m above: 5 m.
    assert!((clearances[1].straight_m.value - 5.0).abs() < EXACT_M);
    // 4 m beside; from a to b, right is positive.
    assert!((clearances[1].offset_m - 4.0).abs() < EXACT_M);
    assert_eq!(value(&composed, "least_straight_distance_m"), clearances[1].straight_m);
    assert_eq!(value(&composed, "least_vertical_distance_m"), clearances[1].vertical_m.unwrap());
    // Both targets of each distance are named, the nearer object by the least ones.
    let told: Vec<(&str, (usize, u64), Vec<&str>)> = composed
        .details
        .iter()
        .map(|detail| (detail.target.as_str(), detail.place, detail.values.iter().map(|value| value.name).collect()))
        .collect();
    let own = vec!["vertical_distance_m", "straight_distance_m"];
    assert_eq!(
        told,
        [
            ("wire to Oak (object)", (0, 9), vec!["least_vertical_distance_m"]),
            ("wire to Oak (object)", (0, 9), vec!["least_straight_distance_m"]),
            ("wire to G1 (ground)", (0, 8), own.clone()),
            ("wire to Oak (object)", (0, 9), own),
        ]
    );
    assert_eq!(
        composed.warnings,
        ["Oak lies 4.0 m to the right of the wire, seen from support_a: its vertical distance is a difference of heights only"]
    );
}

#[test]
fn the_line_starts_and_ends_at_the_supports() {
    let scene = scene(&[[0.0; 3]], exact());
    let composed = compose(&scene.group("span", "Mill line")).unwrap();
    let Shape::Line(line) = &composed.shape else { panic!("{composed:?}") };
    assert_eq!(line.len(), 41);
    let frame = &scene.bases[0].frame;
    for (vertex, want) in line.iter().zip((0..=40).map(|i| WIRE.at(f64::from(i) * SPAN_M / 40.0))) {
        let got = frame.from_earth_centred(*vertex);
        assert!((0..3).all(|k| (got[k] - want[k]).abs() < EXACT_M), "{got:?} {want:?}");
    }
    let lowest = frame.from_earth_centred(composed.parts[0].at);
    let want = WIRE.at(WIRE.x0);
    assert_eq!(composed.parts[0].role, "lowest");
    // The lowest point in the frame at a, whose plumb line is inclined by 72 m / R: c times that is 5 mm along the span.
    assert!(
        (lowest[0] - want[0]).hypot(lowest[1] - want[1]) < 0.006 && (lowest[2] - want[2]).abs() < EXACT_M,
        "{lowest:?} {want:?}"
    );
}

/// Sag, least distances and the lowest point against draws of readings, from one base and from two.
#[test]
fn standard_errors_are_those_of_draws() {
    for bases in [&[[0.0; 3]][..], &[[0.0; 3], [60.0, 20.0, 1.0]]] {
        let scene = scene(bases, sigmas());
        let composed = compose(&scene.group("span", "Mill line")).unwrap();
        let mut normal = Normal::seeded(11);
        let runs: Vec<Composed> = (0..DRAWS).map(|_| compose(&scene.drawn("span", "Mill line", &mut normal)).unwrap()).collect();
        let names = ["span_m", "sag_m", "lowest_height_difference_m", "least_vertical_distance_m", "least_straight_distance_m"];
        for name in names {
            let drawn = deviation(&runs.iter().map(|run| value(run, name).value).collect::<Vec<_>>());
            let told = value(&composed, name).sigma;
            assert!((told / drawn - 1.0).abs() < SHARE, "{name}, {} bases: {told} told, {drawn} drawn", bases.len());
        }
        let up = |composed: &Composed| scene.bases[0].frame.from_earth_centred(composed.parts[0].at)[2];
        let drawn = deviation(&runs.iter().map(up).collect::<Vec<_>>());
        let told = composed.parts[0].covariance.uu.sqrt();
        assert!((told / drawn - 1.0).abs() < SHARE, "up of the lowest: {told} told, {drawn} drawn");
    }
}

#[test]
fn what_a_base_shares_cancels() {
    let alone = compose(&scene(&[[0.0; 3]], sigmas()).turned(0.0).group("span", "Mill line")).unwrap();
    let mut shared = scene(&[[0.0; 3]], sigmas()).turned(3f64.to_radians());
    shared.place_base(&crate::geodesy::covariance::Covariance::from_sigmas(5.0, 8.0));
    let composed = compose(&shared.group("span", "Mill line")).unwrap();
    for name in ["span_m", "sag_m", "lowest_height_difference_m", "least_vertical_distance_m", "least_straight_distance_m"] {
        let (got, want) = (value(&composed, name), value(&alone, name));
        // A shift of metres turns the plumb line by 1e-6 rad.
        assert!((got.value - want.value).abs() < 1e-3 && (got.sigma / want.sigma - 1.0).abs() < 1e-3, "{name}: {got:?} {want:?}");
    }
    // The lowest point itself has them.
    assert!((composed.parts[0].covariance.uu.sqrt() - 8.0).abs() < 0.01);
}

#[test]
fn a_parabola_where_shots_cannot_tell() {
    let far = scene(&[[0.0; 3]], sigmas());
    let composed = compose(&far.group("span", "Mill line")).unwrap();
    assert!(
        composed
            .method
            .starts_with("parabola in the vertical plane through the supports, fitted to 4 wire shots: the sag is too small")
    );
    let mut one = Scene::new(&[[0.0; 3]], exact());
    let level = Wire { x0: 80.0, ..WIRE };
    one.row(0, "support_a", "A", level.at(0.0));
    one.row(0, "support_b", "B", level.at(SPAN_M));
    one.row(0, "wire", "W1", level.at(80.0));
    let composed = compose(&one.group("span", "Mill line")).unwrap();
    // L⁴ / 1536 c³ = 160⁴ / (1536 · 400³) = 6.7 mm.
    assert_eq!(
        composed.method,
        "parabola in the vertical plane through the supports: one wire shot cannot tell it from a catenary, \
         which differs from it by up to 0.007 m"
    );
    assert!(composed.values.iter().all(|value| value.name != "wire_rms_m"));
}

#[test]
fn lowest_point_outside_the_span() {
    let steep = Wire { x0: -30.0, ..WIRE };
    let mut scene = Scene::new(&[[0.0; 3]], exact());
    scene.row(0, "support_a", "A", steep.at(0.0));
    scene.row(0, "support_b", "B", steep.at(SPAN_M));
    for x in [50.0, 80.0, 110.0] {
        scene.row(0, "wire", &format!("W{x}"), steep.at(x));
    }
    let composed = compose(&scene.group("span", "Hill line")).unwrap();
    assert_eq!(
        composed.warnings,
        ["the lowest point of the curve lies outside the span, 30.0 m beyond support_a: the wire itself is lowest at support_a"]
    );
    assert_eq!(composed.parts.len(), 1);
}

#[test]
fn a_wire_in_the_wind_and_a_wrong_target_are_named() {
    let mut scene = scene(&[[0.0; 3]], sigmas());
    let (sin, cos) = 60f64.to_radians().sin_cos();
    let [e, n, u] = WIRE.at(100.0);
    scene.row(0, "wire", "W5", [e - 3.0 * cos, n + 3.0 * sin, u]);
    let [e, n, u] = WIRE.at(75.0);
    scene.row(0, "wire", "W6", [e, n, u - 3.0]);
    let composed = compose(&scene.group("span", "Mill line")).unwrap();
    let all = composed.warnings.join("\n");
    assert!(all.contains("wire W5 lies 3.00 m to the left of the plane through the supports"), "{all}");
    assert!(all.contains("wire W6 lies 2.") && all.contains("m below the curve, more than 3 standard errors"), "{all}");
}

#[test]
fn objects_above_and_beyond_and_long_waits_are_told() {
    let mut scene = scene(&[[0.0; 3]], exact());
    let [e, n, u] = WIRE.at(90.0);
    scene.row(0, "object", "Bough", [e, n, u + 0.5]);
    let end = WIRE.at(SPAN_M);
    let (sin, cos) = 60f64.to_radians().sin_cos();
    // 3 m behind support b and 4 m lower: 5 m from the wire's end.
    scene.row(0, "object", "Shed", [end[0] + 3.0 * sin, end[1] + 3.0 * cos, end[2] - 4.0]);
    let mut group = scene.group("span", "Mill line");
    let noon: jiff::Timestamp = "2026-05-04T10:00:00Z".parse().unwrap();
    group.sightings[0].instant = Some(noon);
    group.sightings[3].instant = Some(noon + jiff::SignedDuration::from_mins(45));
    let (composed, clearances) = measure(&group).unwrap();
    let [.., bough, shed] = &clearances[..] else { panic!("{clearances:?}") };
    assert!((bough.vertical_m.unwrap().value - 0.5).abs() < EXACT_M);
    assert_eq!(value(&composed, "least_vertical_distance_m"), bough.vertical_m.unwrap());
    assert_eq!(shed.vertical_m, None);
    assert!((shed.straight_m.value - 5.0).abs() < EXACT_M, "{shed:?}");
    for want in [
        "the shots are spread over 45 minutes: the sag may have changed with temperature and loading between them",
        "Bough lies 0.50 m higher than the wire",
        "Shed lies beyond the supports: no vertical distance is given for it",
    ] {
        assert!(composed.warnings.iter().any(|warning| warning == want), "{:?}", composed.warnings);
    }
}

#[test]
fn refusals() {
    let supports = |rows: &[(&str, &str, [f64; 3])]| {
        let mut scene = Scene::new(&[[0.0; 3]], sigmas());
        for (role, label, at) in rows {
            scene.row(0, role, label, *at);
        }
        compose(&scene.group("span", "Mill line")).unwrap_err()
    };
    let (a, b) = (("support_a", "A", WIRE.at(0.0)), ("support_b", "B", WIRE.at(SPAN_M)));
    assert_eq!(supports(&[a]), "span of Mill line lacks the row with role support_b");
    assert_eq!(supports(&[]), "span of Mill line lacks the row with role support_a");
    assert_eq!(supports(&[a, b]), "span of Mill line: no row has the role wire; shoot the wire itself, best near mid-span");
    let high = WIRE.at(80.0);
    assert_eq!(
        supports(&[a, b, ("wire", "W1", [high[0], high[1], high[2] + 20.0])]),
        "span of Mill line: the wire shots lie above the straight line between the supports; check which rows are supports"
    );
    assert_eq!(
        supports(&[a, b, ("wire", "W1", WIRE.at(200.0))]),
        "span of Mill line: wire W1 lies 40.0 m beyond support B; it belongs to another span: give it another feature"
    );
    assert_eq!(
        supports(&[a, b, ("wire", "W1", WIRE.at(1.0))]),
        "span of Mill line: all wire shots lie at the supports and tell nothing of the sag; shoot the wire near mid-span"
    );
    assert_eq!(
        supports(&[a, ("support_b", "B", WIRE.at(0.5)), ("wire", "W1", WIRE.at(0.2))]),
        "span of Mill line: the supports A and B stand 0.50 m apart in plan; a span needs at least 1 m"
    );
}

/// A level span of 160 m, of shots without error; wire shots at places along it, and how much higher they are shot.
fn level_span(sigmas: SightSigmas, wires: &[(f64, f64)]) -> Scene {
    let level = Wire { x0: 80.0, ..WIRE };
    let mut scene = Scene::new(&[[0.0; 3]], sigmas);
    scene.row(0, "support_a", "A", level.at(0.0));
    scene.row(0, "support_b", "B", level.at(SPAN_M));
    for (i, (x, raised)) in wires.iter().enumerate() {
        let [e, n, u] = level.at(*x);
        scene.row(0, "wire", &format!("W{}", i + 1), [e, n, u + raised]);
    }
    scene
}

/// So far along, to the right of and above the wire of the level span.
fn beside(x: f64, right: f64, above: f64) -> [f64; 3] {
    let (sin, cos) = 60f64.to_radians().sin_cos();
    let [e, n, u] = Wire { x0: 80.0, ..WIRE }.at(x);
    [e + right * cos, n - right * sin, u + above]
}

fn told(scene: &Scene) -> Result<Composed, String> {
    compose(&scene.group("span", "Mill line")).map_err(|refusal| refusal.to_string())
}

/// The value at which an answer turns from no to yes.
fn turn_of(mut no: f64, mut yes: f64, mut is: impl FnMut(f64) -> bool) -> f64 {
    assert!(!is(no) && is(yes));
    for _ in 0..25 {
        let middle = 0.5 * (no + yes);
        if is(middle) { yes = middle } else { no = middle }
    }
    0.5 * (no + yes)
}

#[test]
fn how_far_the_lowest_point_is_told() {
    for (x0, is_given, beyond) in [
        (-160.1, false, None),
        (-159.9, true, Some("159.9 m beyond support_a")),
        (-0.1, true, Some("0.1 m beyond support_a")),
        (0.1, true, None),
        (159.9, true, None),
        (160.1, true, Some("0.1 m beyond support_b")),
        (319.9, true, Some("159.9 m beyond support_b")),
        (320.1, false, None),
    ] {
        let wire = Wire { x0, ..WIRE };
        let mut scene = Scene::new(&[[0.0; 3]], exact());
        scene.row(0, "support_a", "A", wire.at(0.0));
        scene.row(0, "support_b", "B", wire.at(SPAN_M));
        [40.0, 80.0, 120.0].into_iter().for_each(|x| scene.row(0, "wire", "W", wire.at(x)));
        let composed = told(&scene).unwrap();
        let names: Vec<&str> = composed.values.iter().map(|value| value.name).collect();
        assert_eq!(
            (names.contains(&"lowest_height_difference_m"), composed.parts.len()),
            (is_given, usize::from(is_given)),
            "{x0}"
        );
        let want: Vec<String> = match (is_given, beyond) {
            (false, _) => vec!["the curve has no lowest point within a span's length of its supports: none is given".into()],
            (true, None) => Vec::new(),
            (true, Some(beyond)) => {
                let support = if x0 < 0.0 { "support_a" } else { "support_b" };
                vec![format!(
                    "the lowest point of the curve lies outside the span, {beyond}: the wire itself is lowest at {support}"
                )]
            }
        };
        assert_eq!(composed.warnings, want, "{x0}");
    }
}

/// A sag within its 95 % interval is told, one above the chord by more than it is refused.
#[test]
fn a_sag_and_its_error() {
    // One wire shot at mid-span, so much under the chord. It hangs 8 m there.
    let hung = WIRE.c * ((80.0 / WIRE.c).cosh() - 1.0);
    let at = |sag: f64| level_span(sigmas(), &[(80.0, hung - sag)]);
    let half = |sag: f64| value(&told(&at(sag)).unwrap(), "sag_m").half95();
    let is_none =
        |composed: &Composed| composed.warnings.iter().any(|warning| warning.contains("is not to be told from none (95 %"));
    let told_from = turn_of(0.0, 2.0, |sag| !is_none(&told(&at(sag)).unwrap()));
    assert!((told_from / half(told_from) - 1.0).abs() < 1e-3, "{told_from} {}", half(told_from));
    let refused_from = turn_of(0.0, 2.0, |above| told(&at(-above)).is_err());
    let within = refused_from * 0.999;
    assert!((within / half(-within) - 1.0).abs() < 2e-3, "{within} {}", half(-within));
    // A wire that bulges upwards within its error has no lowest point.
    let composed = told(&at(-0.5 * within)).unwrap();
    assert!(
        composed.warnings.iter().any(|warning| warning.starts_with("the curve has no lowest point")),
        "{:?}",
        composed.warnings
    );
    assert!(composed.parts.is_empty() && told(&at(0.5)).unwrap().parts.len() == 1);
}

#[test]
fn supports_and_wire_shots_just_within_and_just_outside() {
    // Supports 0.999 and 1.001 m apart.
    for (apart, is_span) in [(0.999, false), (1.001, true)] {
        let mut scene = Scene::new(&[[0.0; 3]], exact());
        for (role, x, up) in [("support_a", 0.0, 5.0), ("support_b", apart, 5.0), ("wire", 0.5, 4.9)] {
            scene.row(0, role, role, [30.0 + 0.6 * x, 40.0 + 0.8 * x, up]);
        }
        assert_eq!(told(&scene).is_ok(), is_span, "{apart}");
    }
    // 4 x (L − x)/L² is a tenth at L (1 − √0.9)/2 = 4.1053 m.
    for (x, tells) in [(4.10, false), (4.11, true)] {
        for x in [x, SPAN_M - x] {
            let got = told(&level_span(exact(), &[(x, 0.0)]));
            assert_eq!(got.is_err_and(|refusal| refusal.contains("all wire shots lie at the supports")), !tells, "{x}");
            assert_eq!(told(&level_span(exact(), &[(80.0, 0.0), (x, 0.0)])).err(), None);
        }
    }
    // A centimetre beyond a support without error; with errors of decimetres three of them.
    for (beyond, is_refused) in [(0.009, false), (0.011, true), (0.25, true)] {
        for (x, support) in [(-beyond, "A"), (SPAN_M + beyond, "B")] {
            let got = told(&level_span(exact(), &[(80.0, 0.0), (x, 0.0)]));
            assert_eq!(
                got.is_err_and(|refusal| refusal.contains(&format!("beyond support {support}; it belongs"))),
                is_refused,
                "{x}"
            );
            assert!(told(&level_span(sigmas(), &[(80.0, 0.0), (x, 0.0)])).is_ok());
        }
    }
}

#[test]
fn wire_shots_off_their_plane_and_their_curve() {
    let warned = |sigmas: SightSigmas, right: f64| {
        let mut scene = level_span(sigmas, &[(80.0, 0.0), (50.0, 0.0)]);
        scene.row(0, "wire", "Off", beside(110.0, right, 0.0));
        told(&scene).unwrap().warnings
    };
    for (right, side) in [(0.011, "right"), (-0.011, "left")] {
        assert!(warned(exact(), 0.9 * right).is_empty());
        let want = format!("wire Off lies 0.01 m to the {side} of the plane through the supports, seen from support_a");
        assert!(warned(exact(), right)[0].starts_with(&want) && warned(sigmas(), right).is_empty());
    }
    // Three standard errors of the distance from the plane, which are those of the three points.
    let from = turn_of(0.0, 3.0, |right| !warned(sigmas(), right).is_empty());
    let mut scene = level_span(sigmas(), &[]);
    scene.row(0, "wire", "Off", beside(110.0, from, 0.0));
    let group = scene.group("span", "Mill line");
    let rows: Vec<&RoleShot> = group.sightings.iter().collect();
    let across = rows::correlated(&group, &rows).unwrap().estimate(|p| {
        let [along, off] = [[p[1][0] - p[0][0], p[1][1] - p[0][1]], [p[2][0] - p[0][0], p[2][1] - p[0][1]]];
        (off[0] * along[1] - off[1] * along[0]) / along[0].hypot(along[1])
    });
    assert!((across.value / (3.0 * across.sigma) - 1.0).abs() < 1e-3, "{across:?} {from}");
    // Off the curve by a centimetre, or by three standard errors of the condition.
    for (sigmas, raised) in [(exact(), 0.05), (sigmas(), 3.0)] {
        for sign in [1.0, -1.0] {
            let scene = |up: f64| level_span(sigmas, &[(80.0, 0.0), (50.0, 0.0), (110.0, sign * up)]);
            let of = |up: f64| told(&scene(up)).unwrap();
            let is_told = |up: f64| of(up).warnings.iter().any(|warning| warning.starts_with("wire W3 lies"));
            let from = turn_of(0.0, raised, is_told);
            let scene = scene(from);
            let group = scene.group("span", "Mill line");
            let (fit, _) = SpanRows::from_group(&group).unwrap().fitted().unwrap();
            let want = (3.0 * fit.expected_m[2]).max(0.01);
            assert!((fit.misfits_m[2] * sign / want - 1.0).abs() < 1e-3, "{:?} {want}", fit.misfits_m);
            let words = if sign > 0.0 { "m above the curve, more than 3" } else { "m below the curve, more than 3" };
            assert!(of(1.01 * from).warnings.iter().any(|warning| warning.contains(words)));
            // The root mean square of three misfits, and its standard error with two to spare.
            let rms = value(&of(from), "wire_rms_m");
            let square: f64 = fit.misfits_m.iter().map(|misfit| misfit * misfit).sum();
            assert!((rms.value - (square / 3.0).sqrt()).abs() < 1e-9 && (rms.sigma - rms.value / 2.0).abs() < 1e-12);
        }
    }
}

#[test]
fn objects_just_within_and_just_outside() {
    let of = |sigmas: SightSigmas, at: [f64; 3]| {
        let mut scene = level_span(sigmas, &[(80.0, 0.0), (50.0, 0.0)]);
        scene.row(0, "object", "Oak", at);
        let (composed, clearances) = measure(&scene.group("span", "Mill line")).unwrap();
        (composed.warnings, clearances.into_iter().next().unwrap())
    };
    for (right, side) in [(1.001, "right"), (-1.001, "left")] {
        assert!(of(exact(), beside(80.0, 0.998 * right, -5.0)).0.is_empty());
        let (warnings, oak) = of(exact(), beside(80.0, right, -5.0));
        assert!(warnings[0].starts_with(&format!("Oak lies 1.0 m to the {side} of the wire")), "{warnings:?}");
        assert!((oak.offset_m - right).abs() < EXACT_M);
    }
    for (x, is_beyond) in [(-0.01, true), (0.01, false), (SPAN_M - 0.01, false), (SPAN_M + 0.01, true)] {
        let (warnings, oak) = of(exact(), beside(x, 3.0, -5.0));
        assert_eq!((oak.vertical_m.is_none(), warnings.len()), (is_beyond, 1), "{x}");
        assert_eq!(warnings[0].contains("beyond the supports"), is_beyond, "{warnings:?}");
        assert!((oak.chainage_m - x).abs() < EXACT_M);
    }
    // Nearer than 1.96 standard errors of their distance.
    let nearer =
        |below: f64| of(sigmas(), beside(70.0, 0.0, -below)).0.iter().any(|warning| warning.contains("nearer to each other"));
    let from = turn_of(3.0, 0.05, nearer);
    let oak = of(sigmas(), beside(70.0, 0.0, -from)).1;
    assert!((oak.straight_m.value / oak.straight_m.half95() - 1.0).abs() < 1e-3, "{oak:?}");
    // Over the wire a distance is a distance too.
    let (warnings, oak) = of(exact(), beside(80.0, 0.0, 2.0));
    assert!((oak.vertical_m.unwrap().value - 2.0).abs() < EXACT_M && warnings[0] == "Oak lies 2.00 m higher than the wire");
}

#[test]
fn half_an_hour_between_shots_is_no_wait() {
    let warned = |seconds: i64| {
        let scene = level_span(exact(), &[(80.0, 0.0), (50.0, 0.0)]);
        let mut group = scene.group("span", "Mill line");
        let noon: jiff::Timestamp = "2026-05-04T10:00:00Z".parse().unwrap();
        group.sightings[3].instant = Some(noon);
        group.sightings[1].instant = Some(noon + jiff::SignedDuration::from_secs(seconds));
        compose(&group).unwrap().warnings
    };
    assert!(warned(1800).is_empty() && warned(-1800).is_empty());
    for (seconds, minutes) in [(1801, 30), (-1801, 30), (3599, 59), (3600, 60)] {
        assert!(warned(seconds)[0].starts_with(&format!("the shots are spread over {minutes} minutes")), "{seconds}");
    }
}
