//! The width of a flat face that may stand at any angle to the sight: both edges where they meet its plane.
//!
//! Rows: `left` and `right` along the two edges, and `plane_1`, `plane_2` (an upright face) or three and more `plane_…` (any face) on the
//! face itself ([`super::super::plane_sight`], formulas there). The width is the distance between the two spots along the face's level
//! line: for an upright face that needs azimuths alone, for another the inclinations of both sights too. Standard errors from
//! [`crate::geodesy::register`]. Metres, degrees.

use super::super::located::{cross, dot, from_to, moved, part_of_points, unit};
use super::super::plane_sight::surface::{Hit, Met, known, plane_rows};
use super::super::plane_sight::{self};
use super::super::{Composed, Group, NamedValue, Refusal, RoleShot, Shape};
use super::ROLES;
use crate::geodesy::register::Estimate;

/// Whether shots of the face's plane stand beside its edges.
pub fn has_plane(group: &Group<'_>) -> bool {
    group.sightings.iter().any(|row| row.role.starts_with("plane_"))
}

/// Computes the width of a face by shots of its plane.
///
/// # Errors
/// A sentence that says which row lacks what, or that the readings make no width.
pub fn compose(group: &Group<'_>) -> Result<Composed, Refusal> {
    let head = format!("{} of {}", group.measure, group.name);
    let (left, right) = (group.only("left")?, group.only("right")?);
    let rows = plane_rows(group, &ROLES)?;
    let is_upright = rows.len() == 2;
    // On an upright face a spot's place in plan does not depend on its height.
    let levelled = |row: &RoleShot| RoleShot {
        inclination_rad: row.inclination_rad.or(is_upright.then_some(0.0)),
        instrument_height_m: row.instrument_height_m.or(is_upright.then_some(0.0)),
        ..row.clone()
    };
    let edges = [levelled(left), levelled(right)];
    let settings = plane_sight::PlaneSettings::default();
    let face = known(group, &rows, &settings)?;
    let met = Met::find(group, &[&edges[0], &edges[1]], &face, &settings)?;
    let (correlated, surface) = (&met.correlated, &face.surface);
    let hits = |points: &[[f64; 3]]| -> Option<[Hit; 2]> {
        let hit = |i: usize| met.aims[i].hit(surface, correlated, points).ok();
        Some([hit(0)?, hit(1)?])
    };
    let missed = || Refusal::from(format!("{head}: its readings give no width"));
    let eye = |points: &[[f64; 3]]| points[rows.len()];
    let [width, distance, angle, turn] = correlated.estimates(|points| {
        let Some([one, other]) = hits(points) else { return [f64::NAN; 4] };
        // The level line turns with the face.
        let along = unit(cross([0.0, 0.0, 1.0], one.normal));
        let across = dot(from_to(one.point, other.point), along).abs();
        let (a, b) = (from_to(eye(points), one.point), from_to(eye(points), other.point));
        let middle = moved(a, 0.5, from_to(a, b));
        let angle = (a[0] * b[1] - a[1] * b[0]).abs().atan2(a[0] * b[0] + a[1] * b[1]);
        let beside = dot(middle, along).atan2(dot(middle, level_normal(one.normal)).abs());
        [across, middle[0].hypot(middle[1]), angle, beside]
    });
    let degrees = |of: Estimate| Estimate { value: of.value.to_degrees(), sigma: of.sigma.to_degrees() };
    let turn = degrees(turn);
    let values = [
        ("width_m", width),
        ("angle_deg", degrees(angle)),
        ("distance_m", distance),
        ("turned_deg", Estimate { value: turn.value.abs(), ..turn }),
    ];
    if values.iter().any(|(_, of)| [of.value, of.sigma].iter().any(|x| !x.is_finite())) {
        return Err(missed());
    }
    let mut warnings = face.warnings.clone();
    warnings.extend(unused(group));
    let base = group.base(left);
    let has_heights = [left, right].iter().all(|row| row.inclination_rad.is_some() && row.instrument_height_m.is_some());
    let parts = if has_heights {
        let at = |points: &[[f64; 3]]| {
            hits(points).map_or([f64::NAN; 3], |[one, other]| moved(one.point, 0.5, from_to(one.point, other.point)))
        };
        vec![part_of_points(correlated, (left.base, base), "centre", at)]
    } else {
        Vec::new()
    };
    let method = format!(
        "sights along both edges (rows {} and {}) taken to meet {}, along its level line; turned_deg is the angle between its normal and the \
         sight to its middle",
        left.label, right.label, face.words
    );
    Ok(Composed {
        method,
        values: values.into_iter().map(|(name, estimate)| NamedValue { name, estimate }).collect(),
        shape: parts.first().map_or(Shape::None, |centre| Shape::Point(centre.at)),
        parts,
        warnings,
        details: face.details,
        ..Composed::default()
    })
}

/// Rows of the ways that need no plane, which are not used.
fn unused<'g>(group: &'g Group<'_>) -> impl Iterator<Item = String> + 'g {
    group
        .sightings
        .iter()
        .filter(|row| ROLES[2..].contains(&row.role.as_str()))
        .map(|row| format!("row {} ({}) is not used: the plane's own shots give the distance", row.label, row.role))
}

/// The level part of a normal, as a unit vector.
fn level_normal(normal: [f64; 3]) -> [f64; 3] {
    unit([normal[0], normal[1], 0.0])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::trial::{Field, HANDHELD};

    /// What the plumb lines of a field of 50 m, which are not parallel, leave in metres and degrees.
    const LEAN: f64 = 1e-3;

    /// As a share of a standard error.
    const SHARE: f64 = 1e-3;

    const EYE_M: f64 = 1.5;

    /// Standard errors of the readings of left and right (azimuth, inclination) and of two shots of the face (azimuth, inclination, slope distance).
    fn reading_sigmas() -> [f64; 10] {
        let (azimuth, inclination, distance) = (0.3f64.to_radians(), 0.2f64.to_radians(), 0.05);
        [azimuth, inclination, azimuth, inclination, azimuth, inclination, distance, azimuth, inclination, distance]
    }

    /// A wall from (−10, 45) to (25, 30), aslant to the sights, with edges at some metres along it, at two heights.
    fn wall(edges: [[f64; 2]; 2]) -> Field {
        let mut field = Field::new(HANDHELD, [0.5, 0.8]);
        field.instrument_height_m = EYE_M;
        let (from, to) = ([-10.0, 45.0], [25.0, 30.0]);
        let along = [35.0, -15.0].map(|x: f64| x / 35f64.hypot(15.0));
        for (role, [metres, up]) in ["left", "right"].into_iter().zip(edges) {
            field.shot(0, role, [from[0] + metres * along[0], from[1] + metres * along[1], up]);
        }
        field.shot(0, "plane_1", [from[0], from[1], 2.0]);
        field.shot(0, "plane_2", [to[0], to[1], 4.0]);
        field
    }

    fn readings(field: &Field) -> [f64; 10] {
        let [left, right, one, other] = &field.sightings[..] else { panic!("{:?}", field.sightings) };
        let read = |row: &RoleShot| [row.true_azimuth_rad.unwrap(), row.inclination_rad.unwrap(), row.slope_m.unwrap()];
        let ([a, b, _], [c, d, _], [e, f, g], [h, i, j]) = (read(left), read(right), read(one), read(other));
        [a, b, c, d, e, f, g, h, i, j]
    }

    /// Where the sights meet the wall in plan, by the two lines' equations: width, distance and angle, how far the wall is turned, the centre.
    fn by_hand(r: &[f64; 10]) -> [f64; 7] {
        let plan = |azimuth: f64, run: f64| [run * azimuth.sin(), run * azimuth.cos()];
        let crossed = |a: [f64; 2], b: [f64; 2]| a[0] * b[1] - a[1] * b[0];
        let (one, other) = (plan(r[4], r[6] * r[5].cos()), plan(r[7], r[9] * r[8].cos()));
        let along = [other[0] - one[0], other[1] - one[1]];
        let spot = |azimuth: f64, inclination: f64| {
            let run = crossed(one, along) / crossed(plan(azimuth, 1.0), along);
            let [e, n] = plan(azimuth, run);
            [e, n, EYE_M + run * inclination.tan()]
        };
        let (a, b) = (spot(r[0], r[1]), spot(r[2], r[3]));
        let middle: [f64; 3] = std::array::from_fn(|k| 0.5 * (a[k] + b[k]));
        let turned = (middle[0] * along[0] + middle[1] * along[1]).atan2(crossed(middle_of(middle), along).abs());
        let angle = (r[2] - r[0]).to_degrees();
        let width = (a[0] - b[0]).hypot(a[1] - b[1]);
        [width, middle[0].hypot(middle[1]), angle, turned.to_degrees().abs(), middle[0], middle[1], middle[2]]
    }

    fn middle_of([e, n, _]: [f64; 3]) -> [f64; 2] {
        [e, n]
    }

    /// What each reading moves the values by, times its standard error.
    fn arms(r: &[f64; 10]) -> Vec<[f64; 7]> {
        let by = |k: usize| {
            let at = |step: f64| {
                let mut moved = *r;
                moved[k] += step;
                by_hand(&moved)
            };
            let (plus, minus) = (at(1e-5), at(-1e-5));
            std::array::from_fn(|n| (plus[n] - minus[n]) / 2e-5 * reading_sigmas()[k])
        };
        (0..10).map(by).collect()
    }

    fn value(composed: &Composed, name: &str) -> Estimate {
        composed.values.iter().find(|value| value.name == name).unwrap().estimate
    }

    /// Values and their standard errors by plane geometry and differences; base and orientation cancel but in the centre.
    #[test]
    fn a_wall_that_stands_aslant() {
        for edges in [[[8.0, 6.0], [20.0, 1.0]], [[26.0, 0.5], [37.0, 3.0]]] {
            let field = wall(edges);
            let composed = compose(&field.group("width")).unwrap();
            let (want, arms) = (by_hand(&readings(&field)), arms(&readings(&field)));
            let sum = |r: usize, c: usize| arms.iter().map(|arm| arm[r] * arm[c]).sum::<f64>();
            assert!((want[0] - (edges[1][0] - edges[0][0])).abs() < LEAN, "{want:?}");
            for (k, name) in ["width_m", "distance_m", "angle_deg", "turned_deg"].into_iter().enumerate() {
                let (got, sigma) = (value(&composed, name), sum(k, k).sqrt());
                assert!((got.value - want[k]).abs() < LEAN && (got.sigma / sigma - 1.0).abs() < SHARE, "{name}: {got:?} {sigma}");
            }
            assert!((value(&composed, "turned_deg").value - want[3]).abs() < LEAN, "{composed:?} {want:?}");
            let [centre] = &composed.parts[..] else { panic!("{composed:?}") };
            assert_eq!((centre.role, centre.base, &composed.shape), ("centre", 0, &Shape::Point(centre.at)));
            let at = field.bases[0].frame.from_earth_centred(centre.at);
            assert!((0..3).all(|k| (at[k] - want[4 + k]).abs() < LEAN), "{at:?} {want:?}");
            // All azimuths together turn the centre about the base.
            let turn = [want[5], -want[4], 0.0].map(|metres| metres * 0.4f64.to_radians());
            let base = [0.25, 0.25, 0.64];
            let covariance = |r: usize, c: usize| sum(4 + r, 4 + c) + turn[r] * turn[c] + if r == c { base[r] } else { 0.0 };
            let got = centre.covariance;
            for (got, r, c) in [(got.ee, 0, 0), (got.en, 0, 1), (got.eu, 0, 2), (got.nn, 1, 1), (got.nu, 1, 2), (got.uu, 2, 2)] {
                assert!((got - covariance(r, c)).abs() < 1e-3 * (1.0 + got.abs()), "{r} {c}: {got} {}", covariance(r, c));
            }
            assert!(composed.warnings.is_empty() && composed.details.is_empty(), "{:?}", composed.warnings);
            assert_eq!(
                composed.method,
                "sights along both edges (rows S1 and S2) taken to meet the upright plane through S3 and S4, along its level line; \
                 turned_deg is the angle between its normal and the sight to its middle"
            );
        }
    }

    /// On an upright face azimuths alone give the width; the centre wants inclinations and heights of both.
    #[test]
    fn azimuths_alone() {
        let whole = compose(&wall([[8.0, 6.0], [20.0, 1.0]]).group("width")).unwrap();
        type Change = fn(&mut RoleShot);
        let changes: [Change; 2] = [|row| row.inclination_rad = None, |row| row.instrument_height_m = None];
        for change in changes {
            for which in [0, 1] {
                let mut field = wall([[8.0, 6.0], [20.0, 1.0]]);
                change(&mut field.sightings[which]);
                let composed = compose(&field.group("width")).unwrap();
                let (got, want) = (value(&composed, "width_m"), value(&whole, "width_m"));
                assert!(
                    (got.value - want.value).abs() < LEAN && (got.sigma / want.sigma - 1.0).abs() < SHARE,
                    "{got:?} {want:?}"
                );
                assert!(composed.parts.is_empty() && composed.shape == Shape::None, "{composed:?}");
            }
        }
        // The order of the edges counts for nothing.
        let mut field = wall([[8.0, 6.0], [20.0, 1.0]]);
        field.sightings[0].role = "right".into();
        field.sightings[1].role = "left".into();
        let composed = compose(&field.group("width")).unwrap();
        for (one, other) in composed.values.iter().zip(&whole.values) {
            let (a, b) = (one.estimate, other.estimate);
            assert!((a.value - b.value).abs() < LEAN && (a.sigma / b.sigma - 1.0).abs() < SHARE, "{one:?} {other:?}");
        }
    }

    /// A face that leans: level along strike 70°, up it at 60°.
    fn leaning(edges: [[f64; 2]; 2]) -> Field {
        let mut field = Field::new(HANDHELD, [0.5, 0.8]);
        field.instrument_height_m = EYE_M;
        let ((ss, cs), (sd, cd)) = (70f64.to_radians().sin_cos(), 60f64.to_radians().sin_cos());
        let spot = |[along, up]: [f64; 2]| [20.0 + along * ss - up * cd * cs, 50.0 + along * cs + up * cd * ss, 10.0 + up * sd];
        for (role, at) in ["left", "right"].into_iter().zip(edges) {
            field.shot(0, role, spot(at));
        }
        for (i, at) in [[-15.0, -8.0], [14.0, -9.0], [12.0, 10.0], [-13.0, 7.0]].into_iter().enumerate() {
            field.shot(0, &format!("plane_{}", i + 1), spot(at));
        }
        field
    }

    #[test]
    fn a_face_that_leans_has_its_width_along_the_level() {
        for edges in [[[-6.0, 2.0], [5.0, 2.0]], [[-6.0, 5.0], [7.0, -4.0]]] {
            let field = leaning(edges);
            let composed = compose(&field.group("width")).unwrap();
            let width = value(&composed, "width_m").value;
            assert!((width - edges[1][0] + edges[0][0]).abs() < 5.0 * LEAN, "{width}");
            let at = field.bases[0].frame.from_earth_centred(composed.parts[0].at);
            assert!((value(&composed, "distance_m").value - at[0].hypot(at[1])).abs() < LEAN);
            // The normal stands at right angles to the strike.
            let off = at[0].atan2(at[1]).to_degrees() - (70.0 - 90.0);
            assert!((value(&composed, "turned_deg").value - off).abs() < 0.01, "{off} {composed:?}");
            assert_eq!(composed.details.len(), 4);
        }
        // Sights without inclinations meet it nowhere.
        let mut field = leaning([[-6.0, 2.0], [5.0, 2.0]]);
        field.sightings[1].inclination_rad = None;
        let refusal = compose(&field.group("width")).unwrap_err();
        assert_eq!(refusal, "width of North wall: sight S2 has no inclination; read it and write it in the row");
        let mut field = leaning([[-6.0, 2.0], [5.0, 2.0]]);
        field.sightings[0].instrument_height_m = None;
        let refusal = compose(&field.group("width")).unwrap_err();
        assert_eq!(refusal, "width of North wall: sight S1 has no instrument height; read it and write it in the row");
    }

    #[test]
    fn rows_without_use_are_told() {
        let mut field = wall([[8.0, 6.0], [20.0, 1.0]]);
        for role in ["near_face", "centre", "plane"] {
            field.shot(0, role, [2.0, 40.0, 2.0]);
        }
        let group = field.group("width");
        assert!(has_plane(&group) && !has_plane(&Group { sightings: group.sightings[4..].to_vec(), ..group.clone() }));
        let composed = compose(&group).unwrap();
        assert_eq!(
            composed.warnings,
            [("S5", "near_face"), ("S6", "centre"), ("S7", "plane")]
                .map(|(label, role)| format!("row {label} ({role}) is not used: the plane's own shots give the distance"))
        );
        // What a weak plane is warned of is said here too.
        let mut narrow = leaning([[-2.0, 1.0], [2.0, 1.0]]);
        narrow.sightings.truncate(2);
        for (i, [e, up]) in [[-15.0, 0.0], [0.0, 1.5], [15.0, 0.0]].into_iter().enumerate() {
            narrow.shot(0, &format!("plane_{}", i + 1), [20.0 + e, 50.0, 10.0 + up]);
        }
        let composed = compose(&narrow.group("width")).unwrap();
        assert!(composed.warnings.iter().any(|warning| warning.contains("nearly in one line")), "{:?}", composed.warnings);
    }

    #[test]
    fn refusals_name_the_row() {
        let refusal = |change: fn(&mut Field)| {
            let mut field = wall([[8.0, 6.0], [20.0, 1.0]]);
            change(&mut field);
            compose(&field.group("width")).unwrap_err()
        };
        assert_eq!(refusal(|field| drop(field.sightings.remove(0))), "width of North wall lacks the row with role left");
        assert_eq!(refusal(|field| drop(field.sightings.remove(1))), "width of North wall lacks the row with role right");
        let one = refusal(|field| drop(field.sightings.remove(3)));
        assert!(one.contains("one shot on the plane, S3"), "{}", &*one);
        assert_eq!(
            refusal(|field| field.sightings[3].role = "wall".into()),
            "width of North wall: S4 has role \"wall\"; it takes left, right, near_face, centre, plane, plane_1, plane_2, …"
        );
        let behind = refusal(|field| field.sightings[0].true_azimuth_rad = Some(3.0));
        assert!(behind.contains("sight S1 points away from the surface"), "{}", &*behind);
    }
}
