//! The width of what is sighted along both of its edges: a stem, a crown, a tank, a wall.
//!
//! Rows: `left` and `right`, azimuths along the two edges as the crew sees them, and one distance:
//!
//! - a row `near_face`: d to the face of a round object; r = d s / (1 − s), s = sin(θ/2);
//! - a row `centre`: d to the middle of a round object; r = d s;
//! - a row `plane`: d to the middle of a flat object that stands square to the sight; width = 2 d tan(θ/2). One that is turned by α is wider,
//!   by 1/cos α and more, and no standard error knows of it: a warning says so;
//! - rows `plane_1`, `plane_2`, …: shots of a flat face, which may stand at any angle (`turned`);
//! - none of these: the distance of `left` or `right`, or the mean of both, is taken to the spot where the sight
//!   touches a round object; r = d tan(θ/2).
//!
//! θ is the angle between the edges; the right triangle of centre, tangent point and eye has the
//! angle θ/2 at the eye (plane geometry: a tangent stands square to its radius). The width of a
//! round object is 2 r. Azimuths lie in the horizon already; slope distances are brought to it
//! by the inclination of their row, freed of refraction. The width is level: across a leaning stem it is
//! the level chord.
//!
//! Standard errors: each azimuth, inclination and distance errs on its own; the orientation cancels in θ, and the base in
//! all but the centre's place.
//!
//! Values in metres and degrees: `width_m`, `angle_deg` (θ), `distance_m` (d). The centre is a point where the
//! row of the distance has an inclination and an instrument height; it is as high as the spot of the distance.
//!
//! Stops at: θ of nothing or of 180°; objects that are not round or not flat.

use std::f64::consts::PI;

use super::reading::{Arms, MeasureReading, at_most_one, unknown_roles};
use super::{Composed, FoundPoint, Group, NamedValue, Refusal, RoleShot, Shape};
use crate::geodesy::covariance::INTERVAL95;
use crate::geodesy::frame::half_circle_rad;
use crate::geodesy::register::{Estimate, Origin};

#[cfg(test)]
mod tests;
mod turned;

const ROLES: [&str; 5] = ["left", "right", "near_face", "centre", "plane"];

/// Readings that should agree may differ by so many standard errors of their difference.
const AGREEMENT_SIGMAS: f64 = 3.0;

/// What the distance goes to.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Spot {
    NearFace,
    Centre,
    Plane,
    Tangent,
}

impl Spot {
    /// Width, and horizontal distance from the eye to the centre.
    fn width_and_centre_m(self, angle_rad: f64, distance_m: f64) -> (f64, f64) {
        let half = 0.5 * angle_rad;
        match self {
            Spot::NearFace => {
                let radius_m = distance_m * half.sin() / (1.0 - half.sin());
                (2.0 * radius_m, distance_m + radius_m)
            }
            Spot::Centre => (2.0 * distance_m * half.sin(), distance_m),
            Spot::Plane => (2.0 * distance_m * half.tan(), distance_m),
            Spot::Tangent => (2.0 * distance_m * half.tan(), distance_m / half.cos()),
        }
    }

    fn words(self) -> &'static str {
        match self {
            Spot::NearFace => "distance to the near face, object taken as round",
            Spot::Centre => "distance to the centre, object taken as round",
            Spot::Plane => "distance to the middle of a flat object, taken as square to the sight",
            Spot::Tangent => "distance taken to where the sight touches the edge, object taken as round",
        }
    }
}

/// Computes a width.
///
/// # Errors
/// A sentence that says which row lacks what, or that the readings make no width.
pub fn compose(group: &Group<'_>) -> Result<Composed, Refusal> {
    if turned::has_plane(group) {
        return turned::compose(group);
    }
    let head = format!("{} of {}", group.measure, group.name);
    let (left, right) = (group.only("left")?, group.only("right")?);
    let (spot, distance) = distance_row(group, &head)?;
    let rows: Vec<&RoleShot> = [left, right].into_iter().chain(distance).collect();
    if let Some(other) = rows.iter().find(|row| row.base != left.base) {
        return Err(format!(
            "{head}: rows {} and {} were shot from different bases; shoot both edges and the distance from one",
            left.label, other.label
        )
        .into());
    }
    let readings = rows.iter().map(|row| MeasureReading::from_row(group, row)).collect::<Result<Vec<_>, _>>()?;
    let turn_rad = turn_between_edges(&readings, &rows, &head)?;
    let shares = shares(group, (&readings, &rows), spot, &head)?;
    let has_height = shares.iter().all(|(i, _)| readings[*i].inclination_rad.is_some());
    let sign = turn_rad.signum();
    // East, north, up of the centre from the axis; width, angle, distance.
    let values = |readings: &[MeasureReading]| -> Option<[f64; 6]> {
        let left_rad = readings[0].azimuth_rad?;
        let turn_rad = half_circle_rad(readings[1].azimuth_rad? - left_rad);
        let (mut distance_m, mut rise_m) = (0.0, 0.0);
        for (i, share) in &shares {
            let (run, rise) = readings[*i].own()?;
            distance_m += share * run;
            rise_m += share * rise.unwrap_or(0.0);
        }
        let (width_m, centre_m) = spot.width_and_centre_m(sign * turn_rad, distance_m);
        let (sin, cos) = (left_rad + 0.5 * turn_rad).sin_cos();
        Some([centre_m * sin, centre_m * cos, rise_m, width_m, sign * turn_rad, distance_m])
    };
    let arms = Arms::propagate(&readings, values).ok_or_else(|| format!("{head}: its readings give no width"))?;
    let (width, angle, run) = (arms.estimate(3), arms.estimate(4), arms.estimate(5));
    if [width, angle, run].iter().any(|of| !(of.value.is_finite() && of.sigma.is_finite())) {
        return Err(format!("{head}: its readings and their standard errors give no finite width").into());
    }

    let mut warnings = warnings(group, (left, right), sign, angle);
    warnings.extend(distance.and_then(|row| off_the_middle(group, row, &readings)));
    warnings.extend((spot == Spot::Plane).then(|| square_face(group, angle.value, run.value)));
    let lifts: Option<Vec<f64>> = shares
        .iter()
        .map(|(i, share)| rows[*i].instrument_height_m.map(|height| share * (height - rows[*i].target_height_m)))
        .collect();
    let mut parts = Vec::new();
    match lifts.filter(|_| has_height) {
        Some(lifts) => parts.push(centre(&arms, group.base(left), left.base, lifts.iter().sum())),
        None => warnings.push(format!(
            "the width stands, but its centre is not placed: row {} lacks an inclination or an instrument height",
            shares.first().map_or("", |(i, _)| rows[*i].label.as_str())
        )),
    }
    let from: Vec<&str> = shares.iter().map(|(i, _)| rows[*i].label.as_str()).collect();
    let method = format!(
        "sights along both edges (rows {} and {}); {} (row {})",
        left.label,
        right.label,
        spot.words(),
        from.join(" and ")
    );
    let degrees = Estimate { value: angle.value.to_degrees(), sigma: angle.sigma.to_degrees() };
    let values = [("width_m", width), ("angle_deg", degrees), ("distance_m", run)];
    Ok(Composed {
        method,
        values: values.into_iter().map(|(name, estimate)| NamedValue { name, estimate }).collect(),
        shape: parts.first().map_or(Shape::None, |centre| Shape::Point(centre.at)),
        parts,
        warnings,
        ..Composed::default()
    })
}

/// The turn from the left edge to the right one, the first two rows.
fn turn_between_edges(readings: &[MeasureReading], rows: &[&RoleShot], head: &str) -> Result<f64, Refusal> {
    let azimuth = |i: usize| {
        readings[i].azimuth_rad.ok_or_else(|| {
            format!(
                "{head}: row {} ({}) has no azimuth; sight along the edge, or write its azimuth in",
                rows[i].label, rows[i].role
            )
        })
    };
    let (left_rad, right_rad) = (azimuth(0)?, azimuth(1)?);
    let turn_rad = half_circle_rad(right_rad - left_rad);
    if turn_rad == 0.0 || turn_rad.abs() >= PI {
        return Err(format!(
            "{head}: rows {} and {} sight along one line; sight along the two edges",
            rows[0].label, rows[1].label
        )
        .into());
    }
    Ok(turn_rad)
}

/// What is to be said of both edges and the angle between them.
fn warnings(group: &Group<'_>, (left, right): (&RoleShot, &RoleShot), sign: f64, angle: Estimate) -> Vec<String> {
    let mut warnings = unknown_roles(group, &ROLES);
    if sign < 0.0 {
        warnings.push(format!(
            "the left edge (row {}) lies to the right of the right one (row {}); taken the other way round",
            left.label, right.label
        ));
    }
    if angle.value <= INTERVAL95 * angle.sigma {
        warnings.push(format!(
            "the angle between the edges, {}, is within its error of ±{}; go nearer, or repeat the sights",
            group.said_deg(angle.value.to_degrees(), 2),
            group.said_deg(angle.half95().to_degrees(), 2)
        ));
    }
    warnings
}

/// What is to be said of a width whose face is taken to be square to the sight.
fn square_face(group: &Group<'_>, angle_rad: f64, distance_m: f64) -> String {
    format!(
        "the width is that of a face square to the sight; a face turned by {} is {} wide, one turned by {} {}, and the standard error \
         knows nothing of it: shoot plane_1 and plane_2 on the face, and its true width is given",
        group.said_deg(20.0, 0),
        group.said_m(turned_width_m(angle_rad, distance_m, 20.0), 2),
        group.said_deg(45.0, 0),
        group.said_m(turned_width_m(angle_rad, distance_m, 45.0), 2)
    )
}

/// The centre, where the heights are known; `lift_m` is the instrument's height less the target's.
fn centre(arms: &Arms<6>, base: &Origin, index: usize, lift_m: f64) -> FoundPoint {
    let ([east, north, rise], covariance) = arms.point(0, base);
    FoundPoint { role: "centre", at: base.frame.to_earth_centred([east, north, rise + lift_m]), base: index, covariance }
}

/// The width of a face whose middle is d away, which is seen under θ, and which is turned by α from square. With w half of it, its ends are
/// w cos α to the sides and w sin α nearer and farther, so that tan θ = 2 d w cos α/(d² − w²) (plane geometry), a quadratic in w.
fn turned_width_m(angle_rad: f64, distance_m: f64, turned_deg: f64) -> f64 {
    let (tan, cos) = (angle_rad.tan(), turned_deg.to_radians().cos());
    let root = (cos * cos + tan * tan).sqrt();
    2.0 * distance_m * (root * tan.signum() - cos) / tan
}

/// The row of the distance, and what it goes to.
fn distance_row<'g>(group: &'g Group<'_>, head: &str) -> Result<(Spot, Option<&'g RoleShot>), Refusal> {
    let mut found: Option<(Spot, &RoleShot)> = None;
    for (role, spot) in [("near_face", Spot::NearFace), ("centre", Spot::Centre), ("plane", Spot::Plane)] {
        let Some(row) = at_most_one(group, role)? else { continue };
        if let Some((_, first)) = found {
            return Err(format!(
                "{head}: rows {} ({}) and {} ({role}) both give the distance; keep one, or map them as two widths",
                first.label, first.role, row.label
            )
            .into());
        }
        found = Some((spot, row));
    }
    Ok(found.map_or((Spot::Tangent, None), |(spot, row)| (spot, Some(row))))
}

/// The rows that give the distance, with their shares in it: one, or both tangents weighted by their variances.
fn shares(
    group: &Group<'_>,
    (readings, rows): (&[MeasureReading], &[&RoleShot]),
    spot: Spot,
    head: &str,
) -> Result<Vec<(usize, f64)>, Refusal> {
    let run = |i: usize| readings[i].run();
    if spot != Spot::Tangent {
        let row = rows[2];
        return run(2).map(|_| vec![(2, 1.0)]).ok_or_else(|| {
            format!(
                "{head}: row {} ({}) has no distance that can be levelled; write in its horizontal distance, or its \
             slope distance with its inclination",
                row.label, row.role
            )
            .into()
        });
    }
    match (run(0), run(1)) {
        (None, None) => Err(format!(
            "{head}: none of its rows has a distance that can be levelled; measure one to its near face, centre or plane \
             and give that row the role near_face, centre or plane"
        )
        .into()),
        (Some(_), None) => Ok(vec![(0, 1.0)]),
        (None, Some(_)) => Ok(vec![(1, 1.0)]),
        (Some(left), Some(right)) => {
            let (left_variance, right_variance) = (left.sigma.powi(2), right.sigma.powi(2));
            let sum = left_variance + right_variance;
            if (left.value - right.value).abs() > AGREEMENT_SIGMAS * sum.sqrt() {
                return Err(format!(
                    "{head}: the distances of rows {} and {} differ by {}, so that they do not touch one round \
                     object; give the distance in a row with role near_face, centre or plane, or measure between the two \
                     edges as a missing line",
                    rows[0].label,
                    rows[1].label,
                    group.said_m((left.value - right.value).abs(), 2)
                )
                .into());
            }
            let share = if sum > 0.0 { right_variance / sum } else { 0.5 };
            Ok(vec![(0, share), (1, 1.0 - share)])
        }
    }
}

/// A warning where the distance was clearly not shot halfway between the edges.
fn off_the_middle(group: &Group<'_>, row: &RoleShot, readings: &[MeasureReading]) -> Option<String> {
    let arms = Arms::propagate(readings, |readings| {
        let (left, right) = (readings[0].azimuth_rad?, readings[1].azimuth_rad?);
        let turn = half_circle_rad(right - left);
        Some([half_circle_rad(readings[2].azimuth_rad? - left) - 0.5 * turn, turn])
    })?;
    let (off, turn) = (arms.estimate(0), arms.estimate(1));
    let is_off = off.value.abs() > 0.25 * turn.value.abs() && off.value.abs() > AGREEMENT_SIGMAS * off.sigma;
    is_off.then(|| {
        format!(
            "the distance (row {}) was shot {} off the middle of the two edges; the width takes it as shot to the middle",
            row.label,
            group.said_deg(off.value.abs().to_degrees(), 1)
        )
    })
}

#[cfg(test)]
mod turned_face {
    use super::*;

    /// Seen from the middle's foot the two ends of a turned face lie under the angle that it was made from.
    #[test]
    fn is_seen_under_its_angle() {
        for (angle_deg, distance_m, turned_deg) in
            [(5.0f64, 60.0f64, 20.0f64), (12.0, 25.0, 45.0), (1.0, 300.0, 60.0), (30.0, 10.0, 0.0)]
        {
            let half = 0.5 * turned_width_m(angle_deg.to_radians(), distance_m, turned_deg);
            let (sin, cos) = turned_deg.to_radians().sin_cos();
            let end = |sign: f64| [sign * half * cos, distance_m + sign * half * sin].map(|x| x);
            let seen = end(1.0)[0].atan2(end(1.0)[1]) - end(-1.0)[0].atan2(end(-1.0)[1]);
            assert!((seen.to_degrees() - angle_deg).abs() < 1e-9, "{seen}");
        }
    }
}
