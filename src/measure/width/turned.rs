//! The width of a flat face that may stand at any angle to the sight: both edges where they meet its plane.
//!
//! Rows: `left` and `right` along the two edges, and `plane_1`, `plane_2` (an upright face) or three and more `plane_…` (any face) on the
//! face itself ([`super::super::plane_sight`], formulas there). The width is the distance between the two spots along the face's level
//! line: for an upright face that needs azimuths alone, for another the inclinations of both sights too. Standard errors from
//! [`crate::geodesy::register`]. Metres, degrees.

use super::super::located::{cross, dot, from_to, length, moved, part_of_points, unit};
use super::super::plane_sight::surface::{Met, Surface, known, plane_rows};
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
        slope_m: None,
        ..row.clone()
    };
    let edges = [levelled(left), levelled(right)];
    let settings = plane_sight::PlaneSettings::default();
    let face = known(group, &rows, &settings)?;
    let met = Met::find(group, &[&edges[0], &edges[1]], &face, &settings)?;
    let (correlated, surface) = (&met.correlated, &face.surface);
    let spots = |points: &[[f64; 3]]| -> [[f64; 3]; 2] {
        std::array::from_fn(|i| met.aims[i].hit(surface, correlated, points).map_or([f64::NAN; 3], |hit| hit.point))
    };
    let missed = || Refusal::from(format!("{head}: its readings give no width"));
    let seen = met.aims[0].hit(surface, correlated, correlated.points()).map_err(|_| missed())?;
    let along = unit(cross([0.0, 0.0, 1.0], seen.normal));
    let eye = |points: &[[f64; 3]]| points[rows.len()];
    let [width, distance, angle, turn] = correlated.estimates(|points| {
        let [one, other] = spots(points);
        let across = dot(from_to(one, other), along).abs();
        let to = |spot: [f64; 3]| {
            let v = from_to(eye(points), spot);
            [v[0], v[1]]
        };
        let (a, b) = (to(one), to(other));
        let middle = from_to(eye(points), moved(one, 0.5, from_to(one, other)));
        let angle = (a[0] * b[1] - a[1] * b[0]).abs().atan2(a[0] * b[0] + a[1] * b[1]);
        let beside = dot(middle, along).atan2(dot(middle, level_normal(seen.normal)).abs());
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
    if matches!(surface, Surface::Fitted(_)) && length(along) < 0.5 {
        return Err(format!("{head}: its plane is level and has no width to the left and right").into());
    }
    warnings.extend(unused(group));
    let base = group.base(left);
    let has_heights = [left, right].iter().all(|row| row.inclination_rad.is_some() && row.instrument_height_m.is_some());
    let parts = if has_heights {
        let at = |points: &[[f64; 3]]| {
            let [one, other] = spots(points);
            moved(one, 0.5, from_to(one, other))
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
