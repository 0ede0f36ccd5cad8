//! Profile: chainage, offset and height of shots along a line.
//!
//! Roles: the line is given by `start` and `end`, or by two or more rows `line` in the order along it; `point` are the shots beside
//! it. All are full shots.
//!
//! In the horizontal plane, with d the unit vector of a leg and v the vector from its first point to the shot:
//! chainage = lengths of the legs before + v·d, offset = v × d, right of the line positive (any text on route surveying,
//! e.g. C. D. Ghilani, "Elementary Surveying", ch. 24, from memory). A shot belongs to the leg that is nearest to it. Outside of a bend, where no
//! leg has a foot for it, its chainage is that of the bend and its offset the distance from there (common practice, no source). Before
//! the first point and behind the last the first and last legs go on, so that chainage may be negative.
//!
//! Metres; heights above the ellipsoid. The plane is horizontal at the line's first point: 5 km on, lengths are short by 3 parts in
//! ten million. Legs shorter than 10 cm are refused.

#[cfg(test)]
mod tests;

use crate::geodesy::correlated::{Estimate, Joint};
use crate::geodesy::frame::Geodetic;
use crate::measure::located::part_of_shot;
use crate::measure::{Composed, Group, Part, Refusal, Shape, Sighting, Value, rows};

/// Shots further than this from the line are warned of where the job says nothing (common practice, no source).
pub const OFFSET_LIMIT_M: f64 = 20.0;

/// Shorter legs have no direction.
const LEAST_LEG_M: f64 = 0.1;

/// A shot beside the line, or a point of the line itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// The row's label.
    pub label: String,
    /// The row's role.
    pub role: String,
    /// Index of the input file, and line.
    pub place: (usize, u64),
    /// Along the line from its first point.
    pub chainage_m: Estimate,
    /// From the line, right positive.
    pub offset_m: Estimate,
    /// Height above the ellipsoid.
    pub height_m: Estimate,
    /// Where it is, with its whole covariance.
    pub part: Part,
}

/// Measures a profile.
///
/// # Errors
/// A sentence, where rows are missing or give no line.
pub fn compute(group: &Group<'_>, offset_limit_m: f64) -> Result<Composed, Refusal> {
    measure(group, offset_limit_m).map(|(composed, _)| composed)
}

/// Measures a profile, and gives the stations of its points in the order of chainage. [`Composed::stations`] has those of
/// the line's own points as well, at offset 0.
///
/// # Errors
/// As [`compute`].
pub fn measure(group: &Group<'_>, offset_limit_m: f64) -> Result<(Composed, Vec<Station>), Refusal> {
    let refusal = |what: String| format!("{} of {}: {what}", group.measure, group.name);
    rows::known_roles(group, &["start", "end", "line", "point"])?;
    let line = line_rows(group)?;
    let shots: Vec<&Sighting> = group.of_role("point").collect();
    if shots.is_empty() {
        return Err(refusal("no row has the role point; shoot the points beside the line".to_owned()));
    }
    let all: Vec<&Sighting> = line.iter().chain(&shots).copied().collect();
    let joint = rows::joint(group, &all)?;
    let count = line.len();
    let points = &joint.points()[..count];
    for (i, leg) in points.windows(2).enumerate() {
        let leg_m = (leg[1][0] - leg[0][0]).hypot(leg[1][1] - leg[0][1]);
        if leg_m < LEAST_LEG_M {
            return Err(refusal(format!(
                "{} and {} of the line lie {leg_m:.2} m apart in plan; leave one of them out",
                line[i].label,
                line[i + 1].label
            )));
        }
    }
    let alone =
        rows::subset(&joint, &(0..count).collect::<Vec<_>>()).ok_or_else(|| refusal("the line is incomplete".to_owned()))?;
    let length_m = alone.estimate(|p| chainage_of_corner_m(p, count - 1));
    let mut warnings = Vec::new();
    let mut stations = Vec::with_capacity(shots.len());
    for (i, row) in shots.iter().enumerate() {
        let near = (0..count).chain([count + i]).collect::<Vec<_>>();
        let near = rows::subset(&joint, &near).ok_or_else(|| refusal("its points are incomplete".to_owned()))?;
        let station = station(&near, count, row, group).ok_or_else(|| refusal("its points are incomplete".to_owned()))?;
        let label = &row.label;
        let chainage = station.chainage_m;
        let (before, behind) = (-chainage.value, chainage.value - length_m.value);
        if before > chainage.half95() {
            warnings.push(format!("{label} lies {before:.1} m before the start of the line"));
        } else if behind > chainage.half95() {
            warnings.push(format!("{label} lies {behind:.1} m beyond the end of the line"));
        }
        let offset_m = station.offset_m.value;
        if offset_m.abs() > offset_limit_m {
            let side = if offset_m > 0.0 { "right" } else { "left" };
            warnings.push(format!(
                "{label} lies {:.1} m to the {side} of the line, beyond the limit of {offset_limit_m} m",
                offset_m.abs()
            ));
        }
        stations.push(station);
    }
    let corners = line.iter().enumerate().map(|(i, row)| corner(&alone, i, row, group));
    let mut all: Vec<Station> = corners.collect::<Option<_>>().ok_or_else(|| refusal("the line is incomplete".to_owned()))?;
    all.extend(stations.iter().cloned());
    for stations in [&mut stations, &mut all] {
        stations.sort_by(|a, b| a.chainage_m.value.total_cmp(&b.chainage_m.value));
    }
    let values = vec![
        Value { name: "length_m", estimate: length_m },
        Value { name: "points", estimate: Estimate { value: shots.len() as f64, sigma: 0.0 } },
    ];
    let method = match count {
        2 => "chainage and offset from a straight line through two points".to_owned(),
        _ => format!("chainage and offset from the nearest of {} legs", count - 1),
    };
    let shape = Shape::Line(points.iter().map(|p| joint.frame().to_earth_centred(*p)).collect());
    Ok((Composed { method, values, shape, warnings, stations: all, ..Composed::default() }, stations))
}

/// The rows of the line in their order.
fn line_rows<'g>(group: &'g Group<'_>) -> Result<Vec<&'g Sighting>, Refusal> {
    let line: Vec<&Sighting> = group.of_role("line").collect();
    let refusal = |what: &str| Err(format!("{} of {}: {what}", group.measure, group.name));
    if line.is_empty() {
        return Ok(vec![group.only("start")?, group.only("end")?]);
    }
    if group.sightings.iter().any(|row| row.role == "start" || row.role == "end") {
        return refusal("it has rows start or end beside rows line; give the line one way");
    }
    if line.len() < 2 {
        return refusal("one row has the role line; a line needs two or more, in the order along it");
    }
    Ok(line)
}

/// Where on the line a shot belongs.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Foot {
    /// On a leg, or on its continuation beyond the ends of the line.
    Leg(usize),
    /// At a bend, outside of which it lies; on its right or left.
    Bend(usize, f64),
}

/// Length of the line up to a corner.
fn chainage_of_corner_m(line: &[[f64; 3]], corner: usize) -> f64 {
    // The sum of nothing is −0 by itself.
    0.0 + line.windows(2).take(corner).map(|leg| (leg[1][0] - leg[0][0]).hypot(leg[1][1] - leg[0][1])).sum::<f64>()
}

/// Along a leg from its first point, to the right of it, and the leg's length.
fn along_right_m(line: &[[f64; 3]], leg: usize, point: [f64; 3]) -> (f64, f64, f64) {
    let (a, b) = (line[leg], line[leg + 1]);
    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
    let [de, dn] = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
    let (e, n) = (point[0] - a[0], point[1] - a[1]);
    (e * de + n * dn, e * dn - n * de, length)
}

fn foot(line: &[[f64; 3]], point: [f64; 3]) -> Foot {
    let legs = line.len() - 1;
    let mut best = (f64::INFINITY, Foot::Leg(0));
    for leg in 0..legs {
        let (along, right, length) = along_right_m(line, leg, point);
        let before = along < 0.0;
        let (distance, foot) = if (before && leg > 0) || (along > length && leg + 1 < legs) {
            let corner = if before { leg } else { leg + 1 };
            // Outside of a bend a shot is on the same side of both its legs, away from the turn.
            let turn = along_right_m(line, corner - 1, line[corner + 1]).1;
            let distance = (point[0] - line[corner][0]).hypot(point[1] - line[corner][1]);
            (distance, Foot::Bend(corner, if turn > 0.0 { -1.0 } else { 1.0 }))
        } else {
            (right.abs(), Foot::Leg(leg))
        };
        // A continuation beyond the ends must not win over legs nearby: it counts from the end.
        let beyond =
            if leg == 0 { (-along).max(0.0) } else { 0.0 } + if leg + 1 == legs { (along - length).max(0.0) } else { 0.0 };
        let distance = distance.hypot(beyond);
        if distance < best.0 {
            best = (distance, foot);
        }
    }
    best.1
}

/// The station of the last of some points; the line's come first.
fn station(near: &Joint, count: usize, row: &Sighting, group: &Group<'_>) -> Option<Station> {
    let foot = foot(&near.points()[..count], near.points()[count]);
    let ellipsoid = &group.base(row).ellipsoid;
    let [chainage_m, offset_m, height_m] = near.estimates(|points| {
        let (line, point) = (&points[..count], points[count]);
        let (chainage, offset) = match foot {
            Foot::Leg(leg) => {
                let (along, right, _) = along_right_m(line, leg, point);
                (chainage_of_corner_m(line, leg) + along, right)
            }
            Foot::Bend(corner, side) => {
                let distance = (point[0] - line[corner][0]).hypot(point[1] - line[corner][1]);
                (chainage_of_corner_m(line, corner), side * distance)
            }
        };
        let height = Geodetic::from_earth_centred(near.frame().to_earth_centred(point), ellipsoid).ellipsoid_height_m;
        [chainage, offset, height]
    });
    of_row(row, group, [chainage_m, offset_m, height_m])
}

/// The station of a point of the line itself.
fn corner(line: &Joint, corner: usize, row: &Sighting, group: &Group<'_>) -> Option<Station> {
    let ellipsoid = &group.base(row).ellipsoid;
    let [chainage_m, height_m] = line.estimates(|points| {
        let place = Geodetic::from_earth_centred(line.frame().to_earth_centred(points[corner]), ellipsoid);
        [chainage_of_corner_m(points, corner), place.ellipsoid_height_m]
    });
    of_row(row, group, [chainage_m, Estimate { value: 0.0, sigma: 0.0 }, height_m])
}

fn of_row(row: &Sighting, group: &Group<'_>, [chainage_m, offset_m, height_m]: [Estimate; 3]) -> Option<Station> {
    let part = part_of_shot(group, row, "station")?;
    Some(Station { label: row.label.clone(), role: row.role.clone(), place: row.place, chainage_m, offset_m, height_m, part })
}
