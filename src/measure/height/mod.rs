//! The height of a tree, a mast, a wall: from its foot to its top, shot from one standpoint.
//!
//! Rows: `foot` and `top`, one each; `distance` where the distance was measured in a row of its own,
//! for instance to the stem at eye level. Each end takes its horizontal distance HD from its own row;
//! where that has none, from the `distance` row; else from the row of the other end.
//!
//! - One distance for both: H = HD (tan I_top − tan I_foot), tangents. The top is taken as plumb over
//!   the foot. Trigonometric levelling of an object whose foot cannot be reached, any surveying text, e.g. C. D.
//!   Ghilani, "Elementary Surveying", ch. 4 (from memory); on a slope AB = OC (tan AOC − tan BOC), C. Brack and
//!   G. Wood, forest mensuration notes of the Australian National University.
//! - Two distances: H = S_top sin I_top − S_foot sin I_foot, sines, which asks no plumb object (D. C. Bragg 2007, U.S. Forest
//!   Service, on tangents and sines). With azimuths (full shots, also of two bases) the difference of both
//!   vectors gives the length along the stem, the lean from the vertical and its azimuth, and the
//!   horizontal offset of the top from the foot as well, in the horizon of the foot.
//!
//! The height of the instrument cancels; it is needed to place foot and top. A slope distance is brought to the
//! horizontal by the inclination of its own row; every inclination is freed of refraction.
//!
//! Standard errors: each inclination and distance errs on its own, a distance that serves both ends
//! moves them together, base and orientation cancel by the joint covariance. A top that lies over the
//! foot within the 95 % ellipse gives no azimuth of lean; the errors of offset and lean are then
//! those along the worse direction.
//!
//! Stops at: a top on another bearing than the foot that it takes its distance from; tangents of more than 89°; the convergence of the plumb lines in tangents, below 2 mm for 100 m of height
//! at 1 km; a lean where the two are not both full shots.

use super::reading::{Arms, MeasureReading, MeasuredDistance, at_most_one, unknown_roles};
use super::{Composed, FoundPoint, Group, NamedValue, Refusal, RoleShot, Shape};
use crate::geodesy::frame::half_circle_rad;
use crate::shots::reduce::Vector;

mod standoff;
#[cfg(test)]
mod tests;
mod vectors;

/// Steepest inclination of a tangent.
const STEEPEST_DEG: f64 = 89.0;

/// Two distances that should be one may differ by so many standard errors of their difference.
const AGREEMENT_SIGMAS: f64 = 3.0;

/// Bearings that differ by less are one, however well they were read: a stem's own width.
const LEAST_TURN_DEG: f64 = 0.5;

const ROLES: [&str; 3] = ["foot", "top", "distance"];

/// Computes a height.
///
/// # Errors
/// A sentence that says which row lacks what, or that the readings make no height.
pub fn compose(group: &Group<'_>) -> Result<Composed, Refusal> {
    let (foot, top, distance) = (group.only("foot")?, group.only("top")?, at_most_one(group, "distance")?);
    let mut composed = match (whole(foot), whole(top)) {
        (Some(foot_vector), Some(top_vector)) => vectors::compose(group, [(foot, foot_vector), (top, top_vector)])?,
        _ => by_angles(group, [Some(foot), Some(top), distance])?,
    };
    composed.warnings.extend(unknown_roles(group, &ROLES));
    if let Some(distance) = distance {
        composed.warnings.extend(disagreement(group, distance, [foot, top])?);
    }
    let height = composed.values[0].estimate;
    if composed.values.iter().any(|value| !(value.estimate.value.is_finite() && value.estimate.sigma.is_finite())) {
        return Err(
            format!("{} of {}: its readings and their standard errors give no finite height", group.measure, group.name).into()
        );
    }
    if height.value <= 0.0 {
        return Err(format!(
            "{} of {}: the top (row {}) comes out {} below the foot (row {}); see whether the roles are exchanged, or \
             the sign of an inclination is wrong",
            group.measure,
            group.name,
            top.label,
            group.said_m(-height.value, 2),
            foot.label
        )
        .into());
    }
    Ok(composed)
}

/// The vector of a full shot.
fn whole(row: &RoleShot) -> Option<&Vector> {
    row.vector.as_ref().filter(|vector| vector.up_m.is_some())
}

/// A point of a full shot.
fn part_of_vector(group: &Group<'_>, role: &'static str, row: &RoleShot, vector: &Vector) -> Option<FoundPoint> {
    let base = group.base(row);
    let covariance = vector.covariance(base);
    let at = base.frame.to_earth_centred([vector.east_m, vector.north_m, vector.up_m?]);
    Some(FoundPoint { role, at, base: row.base, covariance })
}

/// The foot stands for the object.
fn shape(parts: &[FoundPoint]) -> Shape {
    parts.iter().find(|part| part.role == "foot").map_or(Shape::None, |foot| Shape::Point(foot.at))
}

/// Rows of one base in a vertical plane each: foot, top, and the distance's own row.
struct Ends<'g> {
    rows: Vec<&'g RoleShot>,
    readings: Vec<MeasureReading>,
    /// The row that the horizontal distance of foot and of top comes from.
    sources: [usize; 2],
}

/// Horizontal distances and rises over the axis of foot and top: `[foot run, foot rise, top run, top rise]`.
fn profile(readings: &[MeasureReading], sources: [usize; 2]) -> Option<[f64; 4]> {
    let end = |i: usize| match sources[i] {
        own if own == i => readings[i].own().and_then(|(run, rise)| Some((run, rise?))),
        other => readings[other].own().and_then(|(run, _)| Some((run, readings[i].rise_at(run)?))),
    };
    let ((foot_run, foot_rise), (top_run, top_rise)) = (end(0)?, end(1)?);
    Some([foot_run, foot_rise, top_run, top_rise])
}

/// One distance with two inclinations, or two distances without azimuths.
fn by_angles(group: &Group<'_>, rows: [Option<&RoleShot>; 3]) -> Result<Composed, Refusal> {
    let rows: Vec<&RoleShot> = rows.into_iter().flatten().collect();
    let ends = Ends::from_rows(group, rows)?;
    let (foot, top) = (ends.rows[0], ends.rows[1]);
    let none = || format!("{} of {}: its readings give no height", group.measure, group.name);
    let arms = Arms::propagate(&ends.readings, |readings| profile(readings, ends.sources)).ok_or_else(none)?;
    let [lift_foot, lift_top] = lifts([foot, top]);
    let mut height = arms.combined([0.0, -1.0, 0.0, 1.0]);
    height.value += lift_top - lift_foot;
    let mut warnings: Vec<String> = standoff::warning(group, &ends, height.sigma).into_iter().collect();

    let mut parts = Vec::new();
    for (i, role) in [(0, "foot"), (1, "top")] {
        parts.extend(ends.part(group, i, role));
    }
    let mut method = ends.method();
    if [0, 1].iter().all(|i| ends.azimuth_row(*i).is_none()) {
        method.push_str("; without an azimuth it has no place on the map");
    } else if parts.is_empty() {
        warnings.push(format!(
            "the height stands, but foot and top are not placed: the instrument height is not known; write it in rows {} and {}",
            foot.label, top.label
        ));
    }
    let values =
        vec![NamedValue { name: "height_m", estimate: height }, NamedValue { name: "distance_m", estimate: arms.estimate(0) }];
    Ok(Composed { method, values, shape: shape(&parts), parts, warnings, ..Composed::default() })
}

/// What the heights of instrument and target add to the rises of foot and top. The instrument's cancels
/// unless both rows have one of their own.
fn lifts([foot, top]: [&RoleShot; 2]) -> [f64; 2] {
    let (foot_height, top_height) = foot.instrument_height_m.zip(top.instrument_height_m).unwrap_or((0.0, 0.0));
    [foot_height - foot.target_height_m, top_height - top.target_height_m]
}

impl<'g> Ends<'g> {
    fn from_rows(group: &Group<'_>, rows: Vec<&'g RoleShot>) -> Result<Ends<'g>, Refusal> {
        let head = format!("{} of {}", group.measure, group.name);
        if let Some(other) = rows.iter().find(|row| row.base != rows[0].base) {
            return Err(format!(
                "{head}: rows {} and {} were shot from different bases; foot and top then each need a distance, an \
                 inclination and an azimuth",
                rows[0].label, other.label
            )
            .into());
        }
        let readings = rows.iter().map(|row| MeasureReading::from_row(group, row)).collect::<Result<Vec<_>, _>>()?;
        if let Some(row) = rows[..2].iter().find(|row| row.inclination_rad.is_none()) {
            return Err(format!("{head}: row {} ({}) has no inclination; measure it, or write it in", row.label, row.role).into());
        }
        let has = |i: &usize| readings.get(*i).is_some_and(|reading| reading.distance.is_some());
        if let Some(row) = rows.get(2).filter(|_| !has(&2)) {
            return Err(format!(
                "{head}: row {} (distance) has no distance that can be levelled; write in its horizontal distance, or its \
                 slope distance with its inclination",
                row.label
            )
            .into());
        }
        let source = |order: [usize; 3]| order.into_iter().find(has);
        let (Some(for_foot), Some(for_top)) = (source([0, 2, 1]), source([1, 2, 0])) else {
            return Err(format!(
                "{head}: none of its rows has a distance that can be levelled; measure the horizontal distance, or the \
                 slope distance with its inclination, in the row of foot or top or in one with role distance"
            )
            .into());
        };
        let ends = Ends { rows, readings, sources: [for_foot, for_top] };
        ends.steepness(group, &head)?;
        ends.bearings(group, &head)?;
        Ok(ends)
    }

    /// What takes its distance from another row stands plumb over or under that: on its bearing. A steep sight has a poor azimuth,
    /// by 1/cos of its inclination.
    fn bearings(&self, group: &Group<'_>, head: &str) -> Result<(), Refusal> {
        for (i, source) in self.sources.into_iter().enumerate() {
            let bearing = |k: usize| {
                let reading = &self.readings[k];
                let steepness = reading.inclination_rad.map_or(1.0, f64::cos);
                Some((reading.azimuth_rad?, reading.sigmas[0] / steepness))
            };
            let (Some((one, sigma_one)), Some((other, sigma_other))) = (bearing(i), bearing(source)) else { continue };
            let (apart, sigma) = (half_circle_rad(one - other).abs(), sigma_one.hypot(sigma_other));
            if apart > AGREEMENT_SIGMAS * sigma && apart > LEAST_TURN_DEG.to_radians() {
                return Err(format!(
                    "{head}: row {} ({}) lies {} beside row {} ({}), from which it would take its distance (standard error {}): it is not \
                     plumb {} it; measure the distance of the {} too, with its azimuth",
                    self.rows[i].label,
                    self.rows[i].role,
                    group.said_deg(apart.to_degrees(), 1),
                    self.rows[source].label,
                    self.rows[source].role,
                    group.said_deg(sigma.to_degrees(), 1),
                    if i == 0 { "under" } else { "over" },
                    self.rows[i].role
                ).into());
            }
        }
        Ok(())
    }

    /// Tangents go to infinity overhead.
    fn steepness(&self, group: &Group<'_>, head: &str) -> Result<(), Refusal> {
        let steepest = group.said_deg(STEEPEST_DEG, 0);
        let steep = |i: usize| self.readings[i].inclination_rad.is_some_and(|angle| angle.abs() > STEEPEST_DEG.to_radians());
        for (i, source) in self.sources.into_iter().enumerate() {
            let by_tangent = source != i || !matches!(self.readings[i].distance, Some(MeasuredDistance::Slope(_)));
            if by_tangent && steep(i) {
                return Err(format!(
                    "{head}: row {} ({}) is steeper than {steepest}, where no height follows from a horizontal \
                     distance; measure its slope distance, or stand farther off",
                    self.rows[i].label, self.rows[i].role
                )
                .into());
            }
            if source != i && steep(source) {
                return Err(format!(
                    "{head}: the distance of row {} is steeper than {steepest}, so that hardly any horizontal \
                     distance is left; measure a flatter one",
                    self.rows[source].label
                )
                .into());
            }
        }
        Ok(())
    }

    /// Whether one distance serves both ends.
    fn is_plumb(&self) -> bool {
        self.sources[0] == self.sources[1]
    }

    /// The row whose azimuth an end lies on.
    fn azimuth_row(&self, end: usize) -> Option<usize> {
        let order = if self.is_plumb() { [self.sources[0], 0, 1] } else { [end, self.sources[end], end] };
        order.into_iter().find(|i| self.rows[*i].true_azimuth_rad.is_some())
    }

    /// An end as a point, where its azimuth and the height of the instrument are known.
    fn part(&self, group: &Group<'_>, end: usize, role: &'static str) -> Option<FoundPoint> {
        let row = self.rows[end];
        if let Some(vector) = whole(row).filter(|_| self.sources[end] == end) {
            return part_of_vector(group, role, row, vector);
        }
        let azimuth_row = self.azimuth_row(end)?;
        let lift_m = row.instrument_height_m? - row.target_height_m;
        let arms = Arms::propagate(&self.readings, |readings| {
            let ends = profile(readings, self.sources)?;
            let (sin, cos) = readings[azimuth_row].azimuth_rad?.sin_cos();
            let (run, rise) = (ends[2 * end], ends[2 * end + 1]);
            Some([run * sin, run * cos, rise + lift_m])
        })?;
        let base = group.base(row);
        let (at, covariance) = arms.point(0, base);
        Some(FoundPoint { role, at: base.frame.to_earth_centred(at), base: row.base, covariance })
    }

    fn method(&self) -> String {
        let label = |i: usize| self.rows[i].label.as_str();
        let (foot, top) = (label(0), label(1));
        match self.sources {
            [0, 1] => format!("two distances and inclinations (sines), foot (row {foot}) and top (row {top})"),
            [one, same] if one == same => format!(
                "one distance (row {}) and the inclinations of foot (row {foot}) and top (row {top}) (tangents); the top \
                 is taken as plumb over the foot",
                label(one)
            ),
            [0, other] => format!(
                "the distance of the foot (row {foot}) and, for the top (row {top}), that of row {}, over which the top is \
                 taken as plumb",
                label(other)
            ),
            [other, _] => format!(
                "the distance of the top (row {top}) and, for the foot (row {foot}), that of row {}, under which the foot \
                 is taken as plumb",
                label(other)
            ),
        }
    }
}

/// Warnings where the distance row and the distances of foot and top tell different things.
fn disagreement(group: &Group<'_>, distance: &RoleShot, ends: [&RoleShot; 2]) -> Result<Vec<String>, Refusal> {
    let Some(level) = MeasureReading::from_row(group, distance)?.run() else {
        return Ok(vec![format!("row {} (distance) has no horizontal distance and is not used", distance.label)]);
    };
    let mut warnings = Vec::new();
    for end in ends {
        if end.base != distance.base {
            warnings
                .push(format!("row {} was shot from another base than row {} and does not check it", distance.label, end.label));
            continue;
        }
        let run = match whole(end) {
            Some(vector) => Some(vectors::run(vector)),
            None => MeasureReading::from_row(group, end)?.run(),
        };
        let Some(run) = run else { continue };
        let apart = run.value - level.value;
        if apart.abs() > AGREEMENT_SIGMAS * run.sigma.hypot(level.sigma) {
            warnings.push(format!(
                "the {} (row {}) lies {} {} than the distance of row {} says: it leans or overhangs, or one of the \
                 two hit something else",
                end.role,
                end.label,
                group.said_m(apart.abs(), 2),
                if apart > 0.0 { "farther" } else { "nearer" },
                distance.label
            ));
        }
    }
    Ok(warnings)
}
