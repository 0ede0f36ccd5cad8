//! Just inside and just outside of what is warned of and refused, and where foot and top are placed.

use super::*;
use crate::measure::FoundPoint;

/// With an error of distances of 0.3 m and of inclinations of 0.1° it is better to stand farther off.
#[test]
fn what_is_steep_and_how_much_better_is_better() {
    let said = |d: f64, top: f64, foot: f64, sigmas: [f64; 4]| {
        compose_rows(&tangents(d, top, foot).map(|row| row.errors(sigmas))).unwrap().warnings
    };
    let rough = [0.0, 0.0, 0.1, 0.3];
    assert!(said(10.0, 44.9, 0.0, rough).is_empty() && said(10.0, -10.0, -44.9, rough).is_empty());
    assert!(said(10.0, 45.1, 0.0, rough)[0].starts_with("the top (row top-1) was seen at 45"));
    assert!(said(10.0, -10.0, -45.1, rough)[0].starts_with("the foot (row foot-1) was seen at -45"));
    assert!(said(10.0, 46.0, -50.0, rough)[0].starts_with("the foot (row foot-1) was seen at -50"));
    assert!(said(10.0, 52.0, -50.0, rough)[0].starts_with("the top (row top-1) was seen at 52"));
    // A tenth more than the least: by the formula of the test before.
    let (foot, top, sigma_i, sigma_d) = (-1.5f64, 22.0f64, 0.25f64.to_radians(), 0.1);
    let closed = |d: f64| {
        let own: f64 = [foot, top].iter().map(|u| (d + u * u / d).powi(2) * sigma_i * sigma_i).sum();
        (own + ((top - foot) / d * sigma_d).powi(2)).sqrt()
    };
    let best = |scale: f64| {
        ((foot.powi(4) + top.powi(4) + ((top - foot) * sigma_d / (scale * sigma_i)).powi(2)) / 2.0).powf(0.25) * scale
    };
    let (mut near, mut far) = (6.0, best(1.0));
    while far - near > 1e-6 {
        let middle = 0.5 * (near + far);
        if closed(middle) > 1.1 * closed(best(1.0)) { near = middle } else { far = middle }
    }
    let at = |d: f64, scale: f64| {
        let angle = |up: f64| (up / d).atan().to_degrees();
        said(d * scale, angle(top), angle(foot), [0.0, 0.0, 0.25, 0.1])
    };
    assert!(at(0.9999 * near, 1.0).len() == 1 && at(1.0001 * near, 1.0).is_empty(), "{near}");
    // Small objects are told from where to a decimetre.
    assert!(at(6.0, 1.0)[0].contains(&format!("from about {:.0} m away", best(1.0))), "{:?}", at(6.0, 1.0));
    assert!(at(6.0, 0.2)[0].contains(&format!("from about {:.1} m away", best(0.2))), "{:?} {}", at(6.0, 0.2), best(0.2));
    // Places are looked at up to twenty times the object's height, the part below the eye included: 470 m. With hardly an error of
    // inclinations the best is at √(H σ/σI) / 2^(1/4).
    for (best, is_inside) in [(460.0f64, true), (480.0, false)] {
        let sigma_i = 23.5 * 0.1 / (best * best * 2f64.sqrt());
        let angle = |up: f64| (up / 8.0).atan().to_degrees();
        let warning = said(8.0, angle(top), angle(foot), [0.0, 0.0, sigma_i.to_degrees(), 0.1]).remove(0);
        assert_eq!(warning.contains("from about 460"), is_inside, "{warning}");
        assert_eq!(warning.contains("stand farther off"), !is_inside, "{warning}");
    }
    // Two distances are no tangents.
    let two = [row("foot").inclination(-5.0).horizontal(10.0), row("top").inclination(60.0).slope(20.0)];
    assert!(compose_rows(&two.map(|row| row.errors(rough))).unwrap().warnings.is_empty());
}

#[test]
fn tangents_end_at_89_degrees() {
    let flat = |role: &str| row(role).inclination(if role == "top" { 10.0 } else { -10.0 });
    let steep = |role: &str, deg: f64| row(role).inclination(if role == "top" { deg } else { -deg });
    for (role, other) in [("top", "foot"), ("foot", "top")] {
        for (deg, ends) in [(88.99, false), (89.01, true)] {
            let named = |rows: &[RoleShot], words: &str| match compose_rows(rows) {
                Ok(_) => assert!(!ends, "{role} {deg}"),
                Err(refusal) => assert!(ends && refusal.contains(words), "{refusal}"),
            };
            let of_row = format!("row {role}-1 ({role}) is steeper than 89\u{b0}");
            named(&[steep(role, deg), flat(other), row("distance").horizontal(9.0)], &of_row);
            named(&[steep(role, deg).horizontal(9.0), flat(other).horizontal(9.0)], &of_row);
            named(&[steep(role, deg).slope(9.0), flat(other)], &format!("the distance of row {role}-1 is steeper than 89\u{b0}"));
            // Along the slope it is no tangent.
            assert!(compose_rows(&[steep(role, deg).slope(9.0), flat(other).slope(9.0)]).is_ok());
        }
    }
}

#[test]
fn a_distance_row_checks_to_three_standard_errors() {
    let said = |off: f64, base: usize, full_shots: bool| {
        let ends = [("foot", [0.0, 30.0, 0.0]), ("top", [0.0, 300.0, 90.0])].map(|(role, at)| full(role, at, [0.1; 4]));
        let level = RoleShot { base, ..row("distance").horizontal(30.0 + off).errors([0.1; 4]) };
        let foot = RoleShot { inclination_rad: Some(0.0), ..row("foot").horizontal(30.0).errors([0.1; 4]) };
        let [first, top] = if full_shots { ends } else { [foot, ends[1].clone()] };
        let all = compose_rows(&[first, top, level]).unwrap().warnings;
        all.into_iter().filter(|warning| !warning.contains("the top")).collect::<Vec<_>>()
    };
    // 3 √2 · 0.1 m.
    for full_shots in [true, false] {
        for sign in [-1.0, 1.0] {
            assert!(said(sign * 0.4242, 0, full_shots).is_empty(), "{:?}", said(sign * 0.4242, 0, full_shots));
            let side = if sign < 0.0 { "farther" } else { "nearer" };
            let want = format!("the foot (row foot-1) lies 0.42 m {side} than the distance of row distance-1 says");
            assert!(said(sign * 0.4244, 0, full_shots)[0].starts_with(&want), "{:?}", said(sign * 0.4244, 0, full_shots));
        }
    }
    let elsewhere =
        ["foot", "top"].map(|role| format!("row distance-1 was shot from another base than row {role}-1 and does not check it"));
    assert_eq!(said(5.0, 1, true), elsewhere);
    let ends = [full("foot", [0.0, 30.0, 0.0], [0.1; 4]), full("top", [0.0, 30.0, 9.0], [0.1; 4]), row("distance")];
    let unused = compose_rows(&ends).unwrap().warnings;
    assert!(
        unused.iter().any(|warning| warning == "row distance-1 (distance) has no horizontal distance and is not used"),
        "{unused:?}"
    );
}

#[test]
fn which_distance_serves_which_end() {
    let (foot, top, level) = (row("foot").inclination(-4.0), row("top").inclination(30.0), row("distance").horizontal(20.0));
    let plumb = |from: &str| {
        format!(
            "one distance (row {from}) and the inclinations of foot (row foot-1) and top (row top-1) (tangents); the top is taken as plumb \
             over the foot"
        )
    };
    let nowhere = "; without an azimuth it has no place on the map";
    for (rows, method) in [
        (vec![foot.clone(), top.clone(), level.clone()], plumb("distance-1")),
        (vec![foot.clone().slope(20.0), top.clone()], plumb("foot-1")),
        (vec![foot.clone(), top.clone().slope(20.0)], plumb("top-1")),
        (
            vec![foot.clone().slope(20.0), top.clone().slope(22.0), level.clone()],
            "two distances and inclinations (sines), foot (row foot-1) and top (row top-1)".into(),
        ),
        (
            vec![foot.clone().slope(20.0), top.clone(), level.clone()],
            "the distance of the foot (row foot-1) and, for the top (row top-1), that of row distance-1, over which the top is taken as plumb"
                .into(),
        ),
        (
            vec![foot.clone(), top.clone().slope(22.0), level.clone()],
            "the distance of the top (row top-1) and, for the foot (row foot-1), that of row distance-1, under which the foot is taken as plumb"
                .into(),
        ),
    ] {
        assert_eq!(compose_rows(&rows).unwrap().method, format!("{method}{nowhere}"));
    }
    // A foot that takes the distance of the top stands on its bearing.
    let said = compose_rows(&[foot.clone().azimuth(10.0), top.clone().azimuth(20.0).slope(22.0)]).unwrap_err();
    assert!(said.contains("it is not plumb under it; measure the distance of the foot too"), "{said}");
}

#[test]
fn ends_are_placed_where_azimuth_and_height_are_known() {
    let placed = |rows: &[RoleShot]| {
        let composed = compose_rows(rows).unwrap();
        let foot = composed.parts.iter().find(|part| part.role == "foot").map_or(Shape::None, |foot| Shape::Point(foot.at));
        assert_eq!(composed.shape, foot);
        let at = |part: &FoundPoint| origin().frame.from_earth_centred(part.at).map(|x| (x * 1e4).round() / 1e4);
        let parts = composed.parts.iter().map(|part| (part.role, at(part))).collect::<Vec<_>>();
        assert_eq!(parts.is_empty(), composed.method.ends_with("no place on the map") || composed.warnings.len() == 1);
        parts
    };
    let (foot, top) = (row("foot").inclination(0.0).horizontal(20.0), row("top").inclination(45.0).horizontal(24.0));
    let (at_foot, at_top) = (("foot", [20.0, 0.0, 1.6]), ("top", [24.0, 0.0, 25.6]));
    // Two distances: each end on its own azimuth.
    assert_eq!(placed(&[foot.clone().azimuth(90.0), top.clone()]), [at_foot]);
    assert_eq!(placed(&[foot.clone(), top.clone().azimuth(90.0)]), [at_top]);
    assert_eq!(placed(&[foot.clone().azimuth(90.0), top.clone().azimuth(90.0)]), [at_foot, at_top]);
    assert!(placed(&[foot.clone(), top.clone()]).is_empty());
    // One distance: both on whichever there is, the distance's own first.
    let (foot, top, level) = (row("foot").inclination(0.0), row("top").inclination(45.0), row("distance").horizontal(20.0));
    let over = ("top", [20.0, 0.0, 21.6]);
    for azimuths in [[Some(90.0), None, None], [None, Some(90.0), None], [None, None, Some(90.0)]] {
        let rows = [foot.clone(), top.clone(), level.clone()];
        let rows: Vec<RoleShot> =
            rows.into_iter().zip(azimuths).map(|(row, azimuth)| azimuth.map_or(row.clone(), |deg| row.azimuth(deg))).collect();
        assert_eq!(placed(&rows), [at_foot, over]);
    }
    assert_eq!(
        placed(&[RoleShot { target_height_m: 0.6, ..foot.azimuth(90.0) }, top, level]),
        [("foot", [20.0, 0.0, 1.0]), over]
    );
}
