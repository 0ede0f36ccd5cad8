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

use rstar::RTree;
use rstar::primitives::{GeomWithData, Line};

use crate::geodesy::frame::Geodetic;
use crate::geodesy::register::{CorrelatedPoints, Estimate, RunningSigma};
use crate::measure::located::part_of_shot;
use crate::measure::{Composed, FoundPoint, Group, NamedValue, Refusal, RoleShot, Shape, rows};

/// Shots further than this from the line are warned of where the job says nothing (common practice, no source).
pub const OFFSET_LIMIT_M: f64 = 20.0;

/// Shorter legs have no direction.
const LEAST_LEG_M: f64 = 0.1;

/// A shot beside the line, or a point of the line itself.
#[derive(Debug, Clone, PartialEq)]
pub struct ProfileStation {
    /// The row's label.
    pub label: String,
    /// The row's shot id.
    pub shot: Option<String>,
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
    pub part: FoundPoint,
}

/// Measures a profile.
///
/// # Errors
/// A sentence, where rows are missing or give no line.
pub fn compose(group: &Group<'_>, offset_limit_m: f64) -> Result<Composed, Refusal> {
    measure(group, offset_limit_m).map(|(composed, _)| composed)
}

/// Measures a profile, and gives the stations of its points in the order of chainage. [`Composed::stations`] has those of
/// the line's own points as well, at offset 0.
///
/// # Errors
/// As [`compose`].
pub fn measure(group: &Group<'_>, offset_limit_m: f64) -> Result<(Composed, Vec<ProfileStation>), Refusal> {
    let refusal = |what: String| Refusal::from(format!("{} of {}: {what}", group.measure, group.name));
    rows::known_roles(group, &["start", "end", "line", "point"])?;
    let line = line_rows(group)?;
    let shots: Vec<&RoleShot> = group.with_role("point").collect();
    if shots.is_empty() {
        return Err(refusal("no row has the role point; shoot the points beside the line".to_owned()));
    }
    let all: Vec<&RoleShot> = line.iter().chain(&shots).copied().collect();
    let correlated = rows::correlated(group, &all)?;
    let count = line.len();
    let points = &correlated.points()[..count];
    for (i, leg) in points.windows(2).enumerate() {
        let leg_m = (leg[1][0] - leg[0][0]).hypot(leg[1][1] - leg[0][1]);
        if leg_m < LEAST_LEG_M {
            return Err(refusal(format!(
                "{} and {} of the line lie {} apart in plan; leave one of them out",
                line[i].label,
                line[i + 1].label,
                group.said_m(leg_m, 2)
            )));
        }
    }
    let feet = feet(points, &correlated.points()[count..]);
    let of_rows = |made: Option<Vec<ProfileStation>>| made.ok_or_else(|| refusal("its points are incomplete".to_owned()));
    let (corners, of_shots) = values_of_stations(&correlated, count, &feet, group);
    let corners = of_rows(line.iter().zip(corners).map(|(row, values)| station_of_row(row, group, values)).collect())?;
    let mut stations = of_rows(shots.iter().zip(of_shots).map(|(row, values)| station_of_row(row, group, values)).collect())?;
    let length_m = corners.last().map_or(Estimate { value: 0.0, sigma: 0.0 }, |corner| corner.chainage_m);
    let warnings = warnings(group, &shots, &stations, (length_m, offset_limit_m));
    let mut all = corners;
    all.extend(stations.iter().cloned());
    for stations in [&mut stations, &mut all] {
        stations.sort_by(|a, b| a.chainage_m.value.total_cmp(&b.chainage_m.value));
    }
    let values = vec![
        NamedValue { name: "length_m", estimate: length_m },
        NamedValue { name: "points", estimate: Estimate { value: shots.len() as f64, sigma: 0.0 } },
    ];
    let method = match count {
        2 => "chainage and offset from a straight line through two points".to_owned(),
        _ => format!("chainage and offset from the nearest of {} legs", count - 1),
    };
    let shape = Shape::Line(points.iter().map(|p| correlated.frame().to_earth_centred(*p)).collect());
    Ok((Composed { method, values, shape, warnings, stations: all, ..Composed::default() }, stations))
}

/// What is to be said of shots beyond the ends of the line, and far from it.
fn warnings(
    group: &Group<'_>,
    shots: &[&RoleShot],
    stations: &[ProfileStation],
    (length_m, offset_limit_m): (Estimate, f64),
) -> Vec<String> {
    let mut warnings = Vec::new();
    for (row, station) in shots.iter().zip(stations) {
        let (label, chainage) = (&row.label, station.chainage_m);
        let (before, behind) = (-chainage.value, chainage.value - length_m.value);
        if before > chainage.half95() {
            warnings.push(format!("{label} lies {} before the start of the line", group.said_m(before, 1)));
        } else if behind > chainage.half95() {
            warnings.push(format!("{label} lies {} beyond the end of the line", group.said_m(behind, 1)));
        }
        let offset_m = station.offset_m.value;
        if offset_m.abs() > offset_limit_m {
            let side = if offset_m > 0.0 { "right" } else { "left" };
            warnings.push(format!(
                "{label} lies {} to the {side} of the line, beyond the limit of {}",
                group.said_m(offset_m.abs(), 1),
                group.units.length().told(offset_limit_m)
            ));
        }
    }
    warnings
}

/// The rows of the line in their order.
fn line_rows<'g>(group: &'g Group<'_>) -> Result<Vec<&'g RoleShot>, Refusal> {
    let line: Vec<&RoleShot> = group.with_role("line").collect();
    let refusal = |what: &str| Err(format!("{} of {}: {what}", group.measure, group.name).into());
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

/// Along a leg from its first point, to the right of it, and the leg's length.
fn along_right_m(line: &[[f64; 3]], leg: usize, point: [f64; 3]) -> (f64, f64, f64) {
    let (a, b) = (line[leg], line[leg + 1]);
    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
    let [de, dn] = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
    let (e, n) = (point[0] - a[0], point[1] - a[1]);
    (e * de + n * dn, e * dn - n * de, length)
}

/// Where on the line each of some points belongs: on the leg that is nearest, by a tree of the legs' bounding boxes.
fn feet(line: &[[f64; 3]], points: &[[f64; 3]]) -> Vec<Foot> {
    let plan = |p: [f64; 3]| [p[0], p[1]];
    let legs = line.windows(2).enumerate().map(|(leg, ends)| GeomWithData::new(Line::new(plan(ends[0]), plan(ends[1])), leg));
    let legs = RTree::bulk_load(legs.collect());
    let nearest = |point: [f64; 3]| {
        let mut near = legs.nearest_neighbor_iter_with_distance_2(&plan(point));
        let (first, least) = near.next()?;
        // Of legs that are equally near, the first along the line.
        let equal = near.take_while(|(_, distance)| *distance == least).map(|(leg, _)| leg.data);
        Some(equal.fold(first.data, usize::min))
    };
    points.iter().map(|point| foot_at(line, nearest(*point).unwrap_or(0), *point)).collect()
}

/// Where a point belongs of which the nearest leg is known. A continuation beyond the ends of the line counts from the end.
fn foot_at(line: &[[f64; 3]], leg: usize, point: [f64; 3]) -> Foot {
    let legs = line.len() - 1;
    let (along, _, length) = along_right_m(line, leg, point);
    let before = along < 0.0;
    if (before && leg > 0) || (along > length && leg + 1 < legs) {
        let corner = if before { leg } else { leg + 1 };
        // Outside of a bend a shot is on the same side of both its legs, away from the turn.
        let turn = along_right_m(line, corner - 1, line[corner + 1]).1;
        return Foot::Bend(corner, if turn > 0.0 { -1.0 } else { 1.0 });
    }
    Foot::Leg(leg)
}

/// Chainage, offset and height.
type StationValues = [Estimate; 3];

/// The values of the line's own points, and of the shots beside it, which stand behind them in the correlated points.
///
/// Chainage is a sum along the legs: its gradient is carried from corner to corner, and each shot adds its own leg's part and takes it
/// back again. With d along a leg of length L and R to its right, a shot at `along` and `right` has ∂along/∂p = d,
/// ∂along/∂b = right/L · R, and for the leg's first point what makes the sum zero.
fn values_of_stations(
    correlated: &CorrelatedPoints,
    count: usize,
    feet: &[Foot],
    group: &Group<'_>,
) -> (Vec<StationValues>, Vec<StationValues>) {
    let nothing = Estimate { value: f64::NAN, sigma: f64::NAN };
    let mut of_shots = vec![[nothing; 3]; feet.len()];
    let mut at_corner: Vec<Vec<usize>> = vec![Vec::new(); count];
    for (i, foot) in feet.iter().enumerate() {
        let (Foot::Leg(corner) | Foot::Bend(corner, _)) = *foot;
        at_corner[corner].push(i);
    }
    let points = correlated.points();
    let line = &points[..count];
    let ellipsoid = group.sightings.first().map(|row| group.base(row).ellipsoid);
    let height = |i: usize| {
        correlated.subset(&[i]).estimate(|p| {
            ellipsoid.map_or(f64::NAN, |ellipsoid| {
                Geodetic::from_earth_centred(correlated.frame().to_earth_centred(p[0]), &ellipsoid).ellipsoid_height_m
            })
        })
    };
    let (mut chainage_m, mut running) = (0.0, RunningSigma::begin(correlated));
    let mut corners = Vec::with_capacity(count);
    for corner in 0..count {
        if corner > 0 {
            let (a, b) = (line[corner - 1], line[corner]);
            let length = (b[0] - a[0]).hypot(b[1] - a[1]);
            let along = [(b[0] - a[0]) / length, (b[1] - a[1]) / length, 0.0];
            chainage_m += length;
            running.add(corner - 1, along.map(|x| -x));
            running.add(corner, along);
        }
        let at = Estimate { value: chainage_m, sigma: running.sigma() };
        corners.push([at, Estimate { value: 0.0, sigma: 0.0 }, height(corner)]);
        for i in &at_corner[corner] {
            let shot = count + i;
            let (chainage, offset) = match feet[*i] {
                Foot::Bend(_, side) => {
                    let ends = correlated.subset(&[corner, shot]);
                    (at, ends.estimate(|p| side * (p[1][0] - p[0][0]).hypot(p[1][1] - p[0][1])))
                }
                Foot::Leg(leg) => {
                    let (along, right, length) = along_right_m(line, leg, points[shot]);
                    let d = [(line[leg + 1][0] - line[leg][0]) / length, (line[leg + 1][1] - line[leg][1]) / length];
                    let by_end = [right / length * d[1], -right / length * d[0], 0.0];
                    let changes =
                        [(shot, [d[0], d[1], 0.0]), (leg + 1, by_end), (leg, [-d[0] - by_end[0], -d[1] - by_end[1], 0.0])];
                    changes.iter().for_each(|(point, change)| running.add(*point, *change));
                    let sigma = running.sigma();
                    changes.iter().for_each(|(point, change)| running.add(*point, change.map(|x| -x)));
                    let ends = correlated.subset(&[leg, leg + 1, shot]);
                    (Estimate { value: chainage_m + along, sigma }, ends.estimate(|p| along_right_m(&p[..2], 0, p[2]).1))
                }
            };
            of_shots[*i] = [chainage, offset, height(shot)];
        }
    }
    (corners, of_shots)
}

fn station_of_row(row: &RoleShot, group: &Group<'_>, [chainage_m, offset_m, height_m]: StationValues) -> Option<ProfileStation> {
    let part = part_of_shot(group, row, "station")?;
    Some(ProfileStation {
        label: row.label.clone(),
        shot: row.shot.clone(),
        role: row.role.clone(),
        place: row.place,
        chainage_m,
        offset_m,
        height_m,
        part,
    })
}
