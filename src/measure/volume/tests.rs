use super::*;
use crate::geodesy::covariance::Covariance;
use crate::measure::fixture::{Scene, exact, sigmas};

fn compose(group: &Group<'_>) -> Result<Composed, Refusal> {
    super::compose(group, false)
}

/// What one horizontal plane for 60 m of ground leaves of a volume, as a share: 1e-5 rad of tilt and height.
const SHARE: f64 = 2e-5;

/// Bases on three sides.
const ROUND: [[f64; 3]; 3] = [[0.0, -60.0, 1.0], [55.0, 30.0, 0.0], [-55.0, 30.0, 2.0]];

/// A regular ring of n corners about the origin.
fn ring(n: usize, radius: f64, up: f64) -> Vec<[f64; 3]> {
    (0..n).map(|i| TAU * i as f64 / n as f64).map(|a| [radius * a.cos(), radius * a.sin(), up]).collect()
}

fn scene(bases: &[[f64; 3]], sigmas: crate::shots::reduce::SightSigmas, parts: &[(&str, Vec<[f64; 3]>)]) -> Scene {
    // The first base is the scene's origin; points are given about [0, 0, 0] of the heap.
    let origin = bases[0];
    let about = |p: &[f64; 3]| std::array::from_fn(|k| p[k] - origin[k]);
    let mut scene = Scene::new(&bases.iter().map(about).collect::<Vec<_>>(), sigmas);
    for (role, points) in parts {
        for (i, point) in points.iter().enumerate() {
            // The nearest base shoots it.
            let off = |b: &[f64; 3]| (b[0] - point[0]).hypot(b[1] - point[1]);
            let base = (0..bases.len()).min_by(|a, b| off(&bases[*a]).total_cmp(&off(&bases[*b]))).unwrap();
            scene.row(base, role, &format!("{}{}", role[..1].to_uppercase(), i + 1), about(point));
        }
    }
    scene
}

fn measured(parts: &[(&str, Vec<[f64; 3]>)]) -> Composed {
    compose(&scene(&ROUND, exact(), parts).group("volume", "Gravel 3")).unwrap()
}

fn refused(parts: &[(&str, Vec<[f64; 3]>)]) -> String {
    compose(&scene(&ROUND, exact(), parts).group("volume", "Gravel 3")).unwrap_err().to_string()
}

fn value(composed: &Composed, name: &str) -> Estimate {
    composed.values.iter().find(|value| value.name == name).map(|value| value.estimate).unwrap()
}

fn near(got: f64, want: f64) -> bool {
    (got / want - 1.0).abs() < SHARE
}

#[test]
fn frustum_of_a_cone() {
    // Between regular 36-gons of circumradius 20 and 8, 6 high: V = h/3 (A1 + A2 + √(A1 A2)), A = n/2 r² sin(2π/n);
    // lateral area n/2 (e1 + e2) s with edges e = 2 r sin(π/n) and apothem s = √(h² + (12 cos(π/n))²).
    let (n, h) = (36, 6.0);
    let area = |r: f64| 0.5 * n as f64 * r * r * (TAU / n as f64).sin();
    let composed = measured(&[("toe", ring(n, 20.0, 0.0)), ("crest", ring(n, 8.0, h))]);
    let volume = h / 3.0 * (area(20.0) + area(8.0) + (area(20.0) * area(8.0)).sqrt());
    assert!(near(value(&composed, "volume_m3").value, volume), "{composed:?} {volume}");
    assert!(near(value(&composed, "plan_area_m2").value, area(20.0)));
    let edge = |r: f64| 2.0 * r * (PI / n as f64).sin();
    let lateral = 0.5 * n as f64 * (edge(20.0) + edge(8.0)) * h.hypot(12.0 * (PI / n as f64).cos());
    assert!(near(value(&composed, "surface_area_m2").value, lateral + area(8.0)));
    assert!((value(&composed, "height_m").value - h).abs() < 1e-3);
    // The round frustum, πh/3 (R² + Rr + r²), is 0.5 % larger: sin(2π/36)/(2π/36) = 0.9949.
    let round = PI * h / 3.0 * (400.0 + 160.0 + 64.0);
    assert!((value(&composed, "volume_m3").value / round - 0.9949).abs() < 1e-4);
    assert!(composed.warnings.is_empty(), "{:?}", composed.warnings);
}

#[test]
fn cone_on_sloping_ground() {
    // A slope of 1:10 shears the cone: its volume, A h / 3, stays.
    let sheared = |points: Vec<[f64; 3]>| points.into_iter().map(|p| [p[0], p[1], p[2] + 0.1 * p[0]]).collect::<Vec<_>>();
    let composed = measured(&[("toe", sheared(ring(24, 15.0, 0.0))), ("top", vec![[0.0, 0.0, 9.0]])]);
    let area = 12.0 * 225.0 * (TAU / 24.0).sin();
    assert!(near(value(&composed, "volume_m3").value, area * 3.0));
    assert!((value(&composed, "height_m").value - 9.0).abs() < 1e-3);
    let Shape::Area(corners) = &composed.shape else { panic!("{composed:?}") };
    assert_eq!((corners.len(), composed.parts[0].role), (24, "top"));
}

fn rectangle(l: f64, w: f64, up: f64) -> Vec<[f64; 3]> {
    let (x, y) = (0.5 * l, 0.5 * w);
    vec![[-x, -y, up], [x, -y, up], [x, y, up], [-x, y, up]]
}

#[test]
fn box_with_nearly_upright_walls() {
    // The prismatoid h/6 (A1 + 4 Am + A2) between 12 × 8 and 11.98 × 7.98, 3 high; the box is 288 m³.
    let composed = measured(&[("toe", rectangle(12.0, 8.0, 0.0)), ("crest", rectangle(11.98, 7.98, 3.0))]);
    let want = 0.5 * (12.0 * 8.0 + 4.0 * 11.99 * 7.99 + 11.98 * 7.98);
    assert!(near(value(&composed, "volume_m3").value, want));
    assert!((value(&composed, "volume_m3").value / 288.0 - 1.0).abs() < 0.003);
}

#[test]
fn ridge() {
    // The wedge b h (2a + c) / 6: base 30 × 10, ridge 20, height 4: 10 · 4 · 80 / 6.
    let composed = measured(&[("toe", rectangle(30.0, 10.0, 0.0)), ("crest", vec![[-10.0, 0.0, 4.0], [10.0, 0.0, 4.0]])]);
    assert!(near(value(&composed, "volume_m3").value, 10.0 * 4.0 * 80.0 / 6.0), "{composed:?}");
}

#[test]
fn prism_with_upright_ends() {
    // A triangular prism, ½ · 10 · 4 · 30 = 600; its ridge ends 5 mm inside the ends: 10 · 4 · (60 + 29.99) / 6.
    let composed = measured(&[("toe", rectangle(30.0, 10.0, 0.0)), ("crest", vec![[-14.995, 0.0, 4.0], [14.995, 0.0, 4.0]])]);
    let got = value(&composed, "volume_m3").value;
    assert!(near(got, 10.0 * 4.0 * 89.99 / 6.0) && (got / 600.0 - 1.0).abs() < 2e-4, "{got}");
}

#[test]
fn pit() {
    let composed = measured(&[("rim", ring(24, 15.0, 0.0)), ("floor", ring(24, 10.0, -4.0))]);
    let area = |r: f64| 12.0 * r * r * (TAU / 24.0).sin();
    assert!(near(value(&composed, "volume_m3").value, 4.0 / 3.0 * (area(15.0) + area(10.0) + (area(15.0) * area(10.0)).sqrt())));
    assert!((value(&composed, "depth_m").value - 4.0).abs() < 1e-3);
    assert_eq!(composed.parts[0].role, "lowest");
}

/// An uneven heap: no symmetry helps, and no four shots lie on one circle, where triangles turn at the least move.
fn uneven() -> Vec<(&'static str, Vec<[f64; 3]>)> {
    let toe = ring(9, 18.0, 0.0).into_iter().enumerate().map(|(i, p)| [p[0] * 1.2, p[1] + 0.15 * p[0], 0.1 * i as f64]).collect();
    let crest = ring(5, 7.0, 5.0)
        .into_iter()
        .enumerate()
        .map(|(i, p)| [1.3 * p[0] + 2.0, p[1] - 0.2 * p[0] - 1.0, p[2] + 0.3 * i as f64])
        .collect();
    vec![("toe", toe), ("crest", crest), ("top", vec![[2.5, 0.5, 7.5]])]
}

/// Against draws of readings, each triangulated anew.
#[test]
fn standard_errors_are_those_of_draws() {
    const RUNS: usize = 2500;
    // Four standard errors of both standard deviations: 4 √(1/(2·2500) + 1/(2·2000)) = 8.5 %.
    const OFF: f64 = 0.085;
    for bases in [&ROUND[..1], &ROUND[..]] {
        let scene = scene(bases, sigmas(), &uneven());
        let composed = compose(&scene.group("volume", "Gravel 3")).unwrap();
        let mut normal = Normal::seeded(5);
        let runs: Vec<Quantities> = (0..RUNS)
            .map(|_| {
                let group = scene.drawn("volume", "Gravel 3", &mut normal);
                let heap = Heap::from_group(&group).unwrap();
                heap.model.quantities(heap.correlated.points())
            })
            .collect();
        for (k, value) in composed.values.iter().enumerate() {
            let drawn = deviation(&runs.iter().map(|run| run[k]).collect::<Vec<_>>());
            let told = value.estimate.sigma;
            assert!((told / drawn - 1.0).abs() < OFF, "{}, {} bases: {told} told, {drawn} drawn", value.name, bases.len());
        }
    }
}

#[test]
fn what_a_base_shares_cancels() {
    let mut scene = scene(&ROUND[..1], exact(), &uneven()).turned(0.5f64.to_radians());
    scene.place_base(&Covariance::from_sigmas(5.0, 8.0));
    let composed = compose(&scene.group("volume", "Gravel 3")).unwrap();
    let volume = value(&composed, "volume_m3");
    // A turn by 0.5°, drawn along the tangent, stretches by its square: 8e-5.
    assert!(volume.sigma < 3e-4 * volume.value, "{volume:?}");
    assert!((composed.parts[0].covariance.uu.sqrt() - 8.0).abs() < 0.01);
    // The same seed gives the same digits.
    assert_eq!(compose(&scene.group("volume", "Gravel 3")).unwrap(), composed);
}

#[test]
fn a_hidden_back_is_told() {
    let near_half: Vec<[f64; 3]> = vec![[-4.0, -5.0, 5.0], [4.0, -5.0, 5.0]];
    let one = scene(&ROUND[..1], exact(), &[("toe", ring(12, 15.0, 0.0)), ("crest", near_half)]);
    assert_eq!(
        compose(&one.group("volume", "Gravel 3")).unwrap().warnings,
        [
            "the bases stand within 0\u{b0} around it, seen from its middle: the far side may be hidden from them, and no shot of the surface lies \
          in that half; shoot it from the far side too"
        ]
    );
    // From S and from N 61° E: 119° apart; the crest goes all round.
    let two = scene(&ROUND[..2], exact(), &[("toe", ring(12, 15.0, 0.0)), ("crest", ring(6, 5.0, 5.0))]);
    assert_eq!(
        compose(&two.group("volume", "Gravel 3")).unwrap().warnings,
        [
            "the bases stand within 119\u{b0} around it, seen from its middle: the far side may be hidden from them; shoot it from the far side too"
        ]
    );
}

#[test]
fn a_ring_too_close_for_its_errors_is_told() {
    // 40 toe shots 0.8 m apart, each good to 1 m.
    let rough = crate::shots::reduce::SightSigmas { distance_m: 1.0, ..sigmas() };
    let scene = scene(&ROUND, rough, &[("toe", ring(40, 5.0, 0.0)), ("top", vec![[0.0, 0.0, 3.0]])]);
    let warnings = compose(&scene.group("volume", "Gravel 3")).unwrap().warnings;
    assert!(warnings[0].contains("% of the draws the toe ring crosses itself"), "{warnings:?}");
}

#[test]
fn shots_outside_and_below_are_told() {
    let composed = measured(&[
        ("toe", ring(12, 15.0, 0.0)),
        ("crest", vec![[0.0, 0.0, 5.0], [30.0, 0.0, 2.0]]),
        ("face", vec![[8.0, 8.0, -1.5]]),
    ]);
    assert_eq!(
        composed.warnings,
        [
            "C2 (crest) lies outside the toe ring and is not used",
            "F1 (face) lies 1.50 m below the base between the toe shots: check it, or shoot the toe more closely"
        ]
    );
}

#[test]
fn refusals() {
    let top = || ("top", vec![[0.0, 0.0, 5.0]]);
    assert_eq!(
        refused(&[("toe", ring(12, 15.0, 0.0)[..2].to_vec()), top()]),
        "volume of Gravel 3: 2 rows have the role toe; shoot at least 3 round it, better 8 or more"
    );
    assert_eq!(
        refused(&[("toe", ring(12, 15.0, 0.0))]),
        "volume of Gravel 3: no row has the role crest, top or face; shoot the surface inside the toe ring"
    );
    let mut swapped = ring(6, 15.0, 0.0);
    swapped.swap(2, 3);
    assert_eq!(
        refused(&[("toe", swapped), top()]),
        "volume of Gravel 3: the toe ring crosses itself: side T2\u{2013}T3 meets side T4\u{2013}T5; put its rows in the order round it"
    );
    assert_eq!(
        refused(&[("toe", vec![[-9.0, 0.0, 0.0], [0.0, 0.0, 0.0], [9.0, 0.0, 0.0]]), ("top", vec![[0.0, 2.0, 5.0]])]),
        "volume of Gravel 3: the toe shots lie on one line and enclose nothing; shoot all round it"
    );
    assert_eq!(
        refused(&[("toe", rectangle(12.0, 8.0, 0.0)), ("crest", rectangle(12.0, 8.0, 3.0))]),
        "volume of Gravel 3: T1 (toe) and C1 (crest) stand at one place in plan; leave one out, or shoot the foot of a vertical face in \
         front of its top"
    );
    assert_eq!(
        refused(&[("toe", ring(6, 15.0, 0.0)), ("crest", ring(6, 5.0, -3.0))]),
        "volume of Gravel 3: the surface lies below the base; a pit has the roles rim and floor"
    );
    assert_eq!(
        refused(&[("rim", ring(6, 15.0, 0.0)), ("floor", ring(6, 5.0, 3.0))]),
        "volume of Gravel 3: the floor lies above the rim; a heap has the roles toe and crest"
    );
    assert_eq!(
        refused(&[("toe", ring(6, 15.0, 0.0)), ("rim", ring(6, 5.0, -3.0))]),
        "volume of Gravel 3: row T1 has the role toe beside rows of a pit (rim, floor); give heap and pit features of their own"
    );
    assert_eq!(
        refused(&[("toe", ring(6, 15.0, 0.0)), ("crest", vec![[40.0, 0.0, 3.0]])]),
        "volume of Gravel 3: no shot of the surface lies inside the toe ring; check the order and roles of its rows"
    );
    let many = vec![("toe", ring(600, 15.0, 0.0)), ("crest", ring(401, 5.0, 3.0))];
    assert_eq!(refused(&many), "volume of Gravel 3: it has 1001 shots, more than the 1000 that are taken; leave some out");
}

/// Directions of bases 60 m around the middle, in degrees.
fn around(directions: &[f64]) -> Vec<[f64; 3]> {
    directions.iter().map(|deg| deg.to_radians().sin_cos()).map(|(sin, cos)| [60.0 * sin, 60.0 * cos, 1.0]).collect()
}

fn warnings_from(bases: &[[f64; 3]], parts: &[(&str, Vec<[f64; 3]>)]) -> Vec<String> {
    super::compose(&scene(bases, exact(), parts).group("volume", "Gravel 3"), true).unwrap().warnings
}

#[test]
fn bases_within_half_a_turn_less_ten_degrees_see_one_side() {
    let heap = [("toe", ring(24, 15.0, 0.0)), ("crest", ring(12, 5.0, 5.0))];
    for (directions, told) in [
        (&[0.0, 169.0][..], Some("169")),
        (&[0.0, 171.0], None),
        (&[200.0, 8.0], Some("168")),
        (&[100.0, 269.4, 180.0], Some("169")),
        (&[100.0, 270.6, 180.0], None),
        (&[0.0, 120.0, 240.0], None),
        (&[350.0, 10.0, 30.0, 90.0], Some("100")),
    ] {
        let warnings = warnings_from(&around(directions), &heap);
        let want =
            told.map(|degrees| format!("the bases stand within {degrees}\u{b0} around it, seen from its middle: the far side"));
        assert_eq!(warnings.len(), usize::from(told.is_some()), "{directions:?} {warnings:?}");
        assert!(want.is_none_or(|want| warnings[0].starts_with(&want)), "{directions:?} {warnings:?}");
    }
    // One that stands within the ring looks to all sides.
    let inside: Vec<[f64; 3]> = around(&[0.0, 20.0]).into_iter().chain([[0.0, -6.0, 4.0]]).collect();
    assert!(warnings_from(&inside, &heap).is_empty());
}

#[test]
fn of_a_heap_the_far_half_is_hidden_and_of_a_pit_the_near_one() {
    let south = &around(&[180.0]);
    let at = |y: f64, up: f64| vec![[-3.0, y, up], [3.0, y, up]];
    for (ring_role, role, up, far, hidden) in [
        ("toe", "crest", 4.0, 5.0, "the far side may be hidden from them"),
        ("rim", "floor", -4.0, -5.0, "the wall on their side may be hidden from them"),
    ] {
        for (y, missing) in [(far, ""), (-far, ", and no shot of the surface lies in that half")] {
            let warnings = warnings_from(south, &[(ring_role, ring(12, 15.0, 0.0)), (role, at(y, up))]);
            let from = if role == "crest" { "far" } else { "opposite" };
            assert_eq!(
                warnings,
                [format!(
                    "the bases stand within 0\u{b0} around it, seen from its middle: {hidden}{missing}; shoot it from the {from} side too"
                )]
            );
        }
    }
    // Away from bases in the east and in the north-east is the west-southwest.
    let far = |point: [f64; 3]| {
        let parts = [("toe", ring(12, 15.0, 0.0)), ("crest", vec![point, [6.0, 4.0, 5.0]])];
        warnings_from(&around(&[90.0, 45.0]), &parts)[0].contains("no shot of the surface")
    };
    assert!(!far([-5.0, -1.0, 5.0]) && !far([-5.0, 10.0, 5.0]) && far([5.0, -10.0, 5.0]) && far([-1.0, 5.0, 5.0]));
}

#[test]
fn shots_on_the_wrong_side_of_the_base_are_told_beyond_their_error() {
    let warned = |sigmas, edge: &str, role: &str, up: f64| {
        let parts = [
            (edge, ring(12, 15.0, 0.0)),
            (role, vec![[0.0, 0.0, if edge == "toe" { 5.0 } else { -5.0 }]]),
            ("face", vec![[8.0, 6.0, up]]),
        ];
        super::compose(&scene(&[[1.0, -9.0, 1.0]], sigmas, &parts).group("volume", "Gravel 3"), true).unwrap().warnings
    };
    // Heights by shots of 0.1° and 0.1 m from one base within the ring err by some centimetres; those without error by nothing.
    for up in [0.05, -0.05] {
        assert!(warned(sigmas(), "toe", "top", up).is_empty() && warned(sigmas(), "rim", "floor", up).is_empty());
    }
    assert!(warned(exact(), "toe", "top", 0.05).is_empty() && warned(exact(), "rim", "floor", -0.05).is_empty());
    assert_eq!(
        warned(exact(), "toe", "top", -0.05),
        ["F1 (face) lies 0.05 m below the base between the toe shots: check it, or shoot the toe more closely"]
    );
    assert_eq!(
        warned(exact(), "rim", "floor", 0.05),
        ["F1 (face) lies 0.05 m above the base between the rim shots: check it, or shoot the rim more closely"]
    );
    assert_eq!(warned(sigmas(), "toe", "top", -1.0).len(), 1);
    // Outside of a rim too.
    let outside = warnings_from(&ROUND, &[("rim", ring(12, 15.0, 0.0)), ("floor", vec![[0.0, 0.0, -5.0], [30.0, 0.0, 2.0]])]);
    assert_eq!(outside, ["F2 (floor) lies outside the rim ring and is not used"]);
}

#[test]
fn just_within_and_just_outside_of_each_limit() {
    let composes = |parts: &[(&str, Vec<[f64; 3]>)]| {
        super::compose(&scene(&ROUND, exact(), parts).group("volume", "Gravel 3"), true).map_err(|refusal| refusal.to_string())
    };
    // Two shots within a millimetre in plan are one place.
    for (apart, is_one) in [(0.0009, true), (0.0011, false)] {
        let crest = vec![[0.0, 0.0, 5.0], [0.6 * apart, 0.8 * apart, 6.0]];
        let got = composes(&[("toe", ring(6, 15.0, 0.0)), ("crest", crest)]);
        assert_eq!(got.is_ok(), !is_one, "{apart}");
        assert!(got.err().is_none_or(|refusal| refusal.contains("C1 (crest) and C2 (crest) stand at one place in plan")));
    }
    // A triangle 1 m long and 19.8 or 20.2 mm wide.
    for (wide, is_line) in [(0.0198, true), (0.0202, false)] {
        let toe = vec![[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.5, wide, 0.0]];
        let got = composes(&[("toe", toe), ("top", vec![[0.5, 0.5 * wide, 1.0]])]);
        assert_eq!(got.is_ok(), !is_line, "{wide}");
        assert!(got.err().is_none_or(|refusal| refusal.contains("the toe shots lie on one line")));
    }
    // A thousand shots are taken.
    let many = composes(&[("toe", ring(120, 15.0, 0.0)), ("crest", spiral(880))]);
    assert!(many.is_ok_and(|composed| composed.method.contains("from 880 shots inside the toe ring of 120")));
    assert!(composes(&[("toe", ring(3, 15.0, 0.0)), ("top", vec![[0.0, 0.0, 5.0]])]).is_ok());
}

/// Points within 10 m of the middle, none at the place of another.
fn spiral(count: usize) -> Vec<[f64; 3]> {
    let at = |i: usize| (10.0 * ((i as f64 + 0.5) / count as f64).sqrt(), 2.4 * i as f64);
    (0..count).map(at).map(|(radius, turn)| [radius * turn.cos(), radius * turn.sin(), 5.0 - 0.2 * radius]).collect()
}

#[test]
fn rows_of_the_wrong_kind_are_named() {
    let floor = || ("floor", ring(6, 5.0, -3.0));
    for role in ["toe", "crest", "top"] {
        let refusal = refused(&[("rim", ring(6, 15.0, 0.0)), floor(), (role, vec![[0.0, 1.0, -2.0]])]);
        assert!(refusal.contains(&format!("has the role {role} beside rows of a pit")), "{refusal}");
    }
    assert!(refused(&[("toe", ring(6, 15.0, 0.0)), floor()]).contains("row T1 has the role toe beside rows of a pit"));
    assert_eq!(refused(&[floor()]), "volume of Gravel 3: 0 rows have the role rim; shoot at least 3 round it, better 8 or more");
    assert!(refused(&[("toe", vec![[1.0, 0.0, 0.0]]), ("top", vec![[0.0, 0.0, 5.0]])]).contains("1 row has the role toe"));
    assert_eq!(
        refused(&[("rim", ring(6, 15.0, 0.0))]),
        "volume of Gravel 3: no row has the role floor or face; shoot the surface inside the rim ring"
    );
    assert!(refused(&[("heap", ring(6, 15.0, 0.0))]).contains("give it one of toe, crest, top, face, rim, floor"));
    let mut scene = scene(&ROUND, exact(), &uneven());
    scene.bases[0].errors = crate::geodesy::register::BaseErrors::from_covariance(0, &Covariance::default(), f64::NAN);
    assert_eq!(
        compose(&scene.group("volume", "Gravel 3")).unwrap_err(),
        "volume of Gravel 3: the standard errors of its shots cannot be used; check those of the bases and the instrument"
    );
}

#[test]
fn what_is_told_of_a_heap_and_of_a_pit() {
    for (edge, role, up, part, side) in [("toe", "top", 5.0, "top", "above"), ("rim", "floor", -5.0, "lowest", "below")] {
        // The shot that is farthest from the base is not the first one, and none at the ring.
        let shots = vec![[4.0, 1.0, 0.6 * up], [-2.0, 3.0, up], [0.0, -6.0, 0.3 * up]];
        let (edges, shots) = ((edge, ring(8, 15.0, 0.0)), (role, shots));
        let scene = scene(&ROUND, exact(), &[edges.clone(), shots.clone()]);
        let composed = super::compose(&scene.group("volume", "Gravel 3"), true).unwrap();
        assert_eq!(
            composed.method,
            format!(
                "surface triangulated from 3 shots inside the {edge} ring of 8, {side} a base triangulated from the ring; standard errors \
                 from 2000 draws"
            )
        );
        // Places are told about the middle of the heap, the frame is that of the first base.
        let about = |at| {
            let p = scene.bases[0].frame.from_earth_centred(at);
            std::array::from_fn::<f64, 3, _>(|k| p[k] + ROUND[0][k])
        };
        let near = |got: [f64; 3], want: [f64; 3]| (0..3).all(|k| (got[k] - want[k]).abs() < 1e-6);
        let [found] = &composed.parts[..] else { panic!("{composed:?}") };
        assert!(found.role == part && near(about(found.at), shots.1[1]), "{found:?}");
        let Shape::Area(corners) = &composed.shape else { panic!("{composed:?}") };
        assert!(corners.len() == 8 && corners.iter().zip(&edges.1).all(|(at, want)| near(about(*at), *want)));
    }
}
