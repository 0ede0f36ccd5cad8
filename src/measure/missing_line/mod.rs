//! Missing line: the line between two remote points, or along a chain of them.
//!
//! With (e, n, u) the vector from the first point to the second, in the local frame at the first:
//! slope s = √(e² + n² + u²), horizontal h = √(e² + n²), vertical v = u, azimuth = atan2(e, n) (true, at the
//! first point), grade = 100 v/h, inclination = atan2(v, h). Source: the polar sighting turned round, e.g. C. D. Ghilani,
//! "Elementary Surveying", ch. 8 and 15 (from memory); standard errors from [`crate::geodesy::register`]. Metres, degrees, percent.
//!
//! Horizontal and vertical belong to the horizontal plane at the line's first point. The earth's surface falls
//! below that plane by d²/2R, 8 cm at 1 km; a warning says so where it counts.
//!
//! Roles: `from` and `to`; or whole numbers 1, 2, 3, … for a chain. Every shot is whole (azimuth, inclination,
//! distance) and may come from any base. In a chain the plain names are the straight line from the first point to
//! the last, and `cumulated_…` the sums along the legs; each leg has values of its own, in the frame at its own first point, with the sums up to its end.
//!
//! Without azimuths `from` and `to` of one base are taken to lie in one vertical plane, on the same side of the
//! instrument: the horizontal length is the difference of the horizontal distances, and there is no azimuth and no position.
//!
//! Where it stops: a horizontal length within its own 95 % error gives no azimuth and no grade, a slope length within its own gives no
//! inclination; their standard errors are then the largest of any direction, since the law of propagation fails there.

mod line;
#[cfg(test)]
mod tests;

use std::f64::consts::PI;

use line::LineValues;

use super::located::{direction_half95, dot, from_to, length, part_of_shot, whole};
use super::{Composed, Detail, Group, NamedValue, Refusal, RoleShot, Shape};
use crate::geodesy::covariance::{Covariance, ELLIPSE95, INTERVAL95};
use crate::geodesy::frame::{EarthCentred, Geodetic, LocalFrame, full_circle_rad};
use crate::geodesy::register::{BaseErrors, CorrelatedPoints, Estimate, RunningSigma, Shares};
use crate::records::triangle::Triangle;
use crate::shots::located;
use crate::shots::reduce::{Sight, SightSigmas, Vector, reduce};
use crate::units::Units;

/// Standard errors of their difference by which two azimuths of one vertical plane may differ.
const AZIMUTHS_APART: f64 = 3.0;

/// One leg of a chain.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    /// The label of the shot that it starts at.
    pub from: String,
    /// The label of the shot that it ends at.
    pub to: String,
    /// Index of the input file, and line, of the row that it ends at.
    pub place: (usize, u64),
    /// Its ends.
    pub ends: [EarthCentred; 2],
    /// Its own values, in the frame at its first point.
    pub values: Vec<NamedValue>,
    /// From the chain's first point to this leg's end: `cumulated_slope_distance_m` and `cumulated_horizontal_distance_m`
    /// along the legs, and `cumulated_vertical_distance_m` in the frame at the chain's first point.
    pub cumulated: Vec<NamedValue>,
    /// What is to be said of it.
    pub warnings: Vec<String>,
}

/// The missing line of a group.
///
/// # Errors
/// Says which row is missing or not whole.
pub fn compose(group: &Group<'_>) -> Result<Composed, Refusal> {
    let rows = ordered(group)?;
    if let ([from, to], false) = (&rows[..], is_chain(group))
        && let Some(vectors) = in_one_vertical_plane(group, from, to)?
    {
        return vertical_plane(group, from, to, &vectors);
    }
    let chain = Chain::from_rows(group, rows)?;
    let last = chain.rows.len() - 1;
    let (mut values, mut warnings) = chain.line(0, last).values_and_warnings();
    let legs = if last > 1 { chain.legs() } else { Vec::new() };
    values.extend(legs.last().map(|leg| leg.cumulated.clone()).unwrap_or_default());
    if values.iter().any(|value| !value.estimate.value.is_finite()) {
        return Err(format!("{} of {}: the readings give no finite length; check the shots", group.measure, group.name).into());
    }
    // Of a chain the legs matter more than the straight line, whose end may well be its start.
    let mut details = Vec::new();
    if last > 1 {
        warnings.clear();
        for leg in legs {
            warnings.extend(leg.warnings.iter().cloned());
            let values = leg.values.into_iter().chain(leg.cumulated).collect();
            let target = format!("{} to {}", leg.from, leg.to);
            details.push(Detail { target, place: leg.place, values, warnings: Some(leg.warnings) });
        }
    }
    let parts = chain.rows.iter().enumerate().filter_map(|(i, row)| {
        part_of_shot(
            group,
            row,
            if i == 0 {
                "from"
            } else if i == last {
                "to"
            } else {
                "between"
            },
        )
    });
    Ok(Composed {
        method: chain.method(group),
        values,
        parts: parts.collect(),
        shape: Shape::Line((0..=last).map(|i| chain.end(i)).collect()),
        warnings,
        details,
        ..Composed::default()
    })
}

/// For tests: the legs of a chain, or the one line from `from` to `to`.
///
/// # Errors
/// Says which row is missing or not whole.
#[cfg(test)]
pub fn legs(group: &Group<'_>) -> Result<Vec<Leg>, Refusal> {
    Ok(Chain::from_rows(group, ordered(group)?)?.legs())
}

/// Whether roles are numbers.
fn is_chain(group: &Group<'_>) -> bool {
    group.sightings.iter().any(|row| number(row).is_some())
}

fn number(row: &RoleShot) -> Option<usize> {
    row.role.trim().parse().ok()
}

/// The rows from first to last.
fn ordered<'g>(group: &'g Group<'_>) -> Result<Vec<&'g RoleShot>, Refusal> {
    let of = format!("{} of {}", group.measure, group.name);
    let chain = is_chain(group);
    if let Some(odd) =
        group.sightings.iter().find(|row| if chain { number(row).is_none() } else { row.role != "from" && row.role != "to" })
    {
        let known = if chain {
            "a chain's roles are the numbers 1, 2, 3, … alone"
        } else {
            "it takes from and to, or the numbers 1, 2, 3, …"
        };
        return Err(format!("{of}: {} has role {:?}; {known}", odd.label, odd.role).into());
    }
    if !chain {
        return Ok(vec![group.only("from")?, group.only("to")?]);
    }
    let mut rows: Vec<(usize, &RoleShot)> = group.sightings.iter().filter_map(|row| Some((number(row)?, row))).collect();
    rows.sort_by_key(|row| row.0);
    for (place, (number, row)) in rows.iter().enumerate() {
        if *number > place + 1 {
            return Err(format!("{of} lacks the row with role {}; shoot it, or number the chain without a gap", place + 1).into());
        }
        if *number < place + 1 {
            let say = if *number == 0 {
                "has role 0; a chain starts at 1".to_owned()
            } else {
                format!("is the second with role {number}")
            };
            return Err(format!("{of}: {} {say}", row.label).into());
        }
    }
    if rows.len() < 2 {
        return Err(format!("{of} has one point; a chain takes two or more, roles 1, 2, …").into());
    }
    Ok(rows.into_iter().map(|row| row.1).collect())
}

struct Chain<'g> {
    rows: Vec<&'g RoleShot>,
    correlated: CorrelatedPoints,
    /// The frame at each point: rotations from the points' frame.
    turns: Vec<[[f64; 3]; 3]>,
    earth_radius_m: f64,
    /// Of what is said of its lines.
    units: Units,
}

impl<'g> Chain<'g> {
    fn from_rows(group: &Group<'_>, rows: Vec<&'g RoleShot>) -> Result<Chain<'g>, Refusal> {
        let shots = rows.iter().map(|row| whole(group, row)).collect::<Result<Vec<_>, _>>()?;
        Chain::from_vectors(group, rows, &shots)
            .ok_or_else(|| format!("{} of {}: a shot has no height", group.measure, group.name).into())
    }

    fn from_vectors(group: &Group<'_>, rows: Vec<&'g RoleShot>, shots: &[(usize, &Vector)]) -> Option<Chain<'g>> {
        let correlated = located::correlated(group.bases, shots)?;
        let base = group.bases.get(shots.first()?.0)?;
        let axes = correlated.frame().axes();
        let turns = correlated.points().iter().map(|point| {
            let place = Geodetic::from_earth_centred(correlated.frame().to_earth_centred(*point), &base.ellipsoid);
            let own = LocalFrame::at(&place, &base.ellipsoid);
            own.axes().map(|axis| axes.map(|other| dot(axis, other)))
        });
        Some(Chain { turns: turns.collect(), rows, correlated, earth_radius_m: base.earth_radius_m, units: group.units })
    }

    fn end(&self, i: usize) -> EarthCentred {
        self.correlated.frame().to_earth_centred(self.correlated.points()[i])
    }

    /// East, north, up from point i to point j, in the frame at i.
    fn difference(&self, points: &[[f64; 3]], i: usize, j: usize) -> [f64; 3] {
        self.turns[i].map(|row| dot(row, from_to(points[i], points[j])))
    }

    fn line(&self, i: usize, j: usize) -> LineValues {
        let ends = self.correlated.subset(&[i, j]);
        let seen = |points: &[[f64; 3]]| self.turns[i].map(|row| dot(row, from_to(points[0], points[1])));
        let at = seen(ends.points());
        let level = at[0].hypot(at[1]);
        let [e, n, u, diagonal, slope, horizontal, grade, inclination] = ends.estimates(|points| {
            let d = seen(points);
            let h = d[0].hypot(d[1]);
            [d[0], d[1], d[2], d[0] + d[1], length(d), h, 100.0 * d[2] / h, d[2].atan2(h)]
        });
        // The largest standard error of any horizontal direction, and a bound of any direction at all.
        let (ee, nn) = (e.sigma * e.sigma, n.sigma * n.sigma);
        let en = 0.5 * (diagonal.sigma * diagonal.sigma - ee - nn);
        let across = Covariance { ee, en, nn, ..Default::default() }.ellipse95().major_m / ELLIPSE95;
        let any = across.hypot(u.sigma);
        let (sin, cos) = at[0].atan2(at[1]).sin_cos();
        let along_m2 = ee * sin * sin + 2.0 * en * sin * cos + nn * cos * cos;
        let across_m2 = ee * cos * cos - 2.0 * en * sin * cos + nn * sin * sin;
        let half95 = direction_half95(level, along_m2, (ee - nn) * sin * cos + en * (cos * cos - sin * sin), across_m2);
        let is_plumb = level <= INTERVAL95 * across;
        let is_spot = length(at) <= INTERVAL95 * any;
        let at_least = |estimate: Estimate, sigma: f64, when: bool| Estimate {
            sigma: if when { sigma } else { estimate.sigma },
            ..estimate
        };
        LineValues {
            labels: [self.rows[i].label.clone(), self.rows[j].label.clone()],
            slope: at_least(slope, any, is_spot),
            horizontal: at_least(horizontal, across, is_plumb),
            vertical: u,
            azimuth: half95
                .filter(|_| !is_plumb)
                .map(|half95| Estimate { value: full_circle_rad(at[0].atan2(at[1])), sigma: half95 / INTERVAL95 }),
            grade: (!is_plumb).then_some(grade),
            inclination: (!is_spot).then(|| at_least(inclination, across / length(at), is_plumb)),
            fall_m: level * level / (2.0 * self.earth_radius_m),
            units: self.units,
        }
    }

    /// The legs, each with the lengths along the legs up to its end and the rise to it. The gradient of a length along the legs changes
    /// by two points a leg, so that all sums cost no more than one.
    fn legs(&self) -> Vec<Leg> {
        let unit = |v: [f64; 3]| {
            let length = length(v);
            if length > 0.0 { v.map(|x| x / length) } else { [0.0; 3] }
        };
        let (mut slope, mut horizontal) =
            ((0.0, RunningSigma::begin(&self.correlated)), (0.0, RunningSigma::begin(&self.correlated)));
        // What the law of propagation misses of legs that are within their own error: variances.
        let mut hidden = [0.0; 2];
        let mut legs = Vec::with_capacity(self.rows.len());
        for end in 1..self.rows.len() {
            let d = self.difference(self.correlated.points(), end - 1, end);
            // From the frame at the leg's first point back to that of all points: turns transposed.
            let back =
                |v: [f64; 3]| -> [f64; 3] { std::array::from_fn(|k| (0..3).map(|r| self.turns[end - 1][r][k] * v[r]).sum()) };
            for ((sum, running), part) in [(&mut slope, d), (&mut horizontal, [d[0], d[1], 0.0])] {
                *sum += length(part);
                let along = back(unit(part));
                running.add(end - 1, along.map(|x| -x));
                running.add(end, along);
            }
            let line = self.line(end - 1, end);
            if line.grade.is_none() {
                hidden[1] += line.horizontal.sigma.powi(2);
            }
            if line.inclination.is_none() {
                hidden[0] += line.slope.sigma.powi(2);
            }
            let summed = |(sum, running): &(f64, RunningSigma<'_>), hidden: f64| Estimate {
                value: *sum,
                sigma: running.sigma().hypot(hidden.sqrt()),
            };
            let [from, to] = line.labels.clone();
            let (values, warnings) = line.values_and_warnings();
            legs.push(Leg {
                from,
                to,
                place: self.rows[end].place,
                ends: [self.end(end - 1), self.end(end)],
                values,
                cumulated: vec![
                    NamedValue { name: "cumulated_slope_distance_m", estimate: summed(&slope, hidden[0]) },
                    NamedValue { name: "cumulated_horizontal_distance_m", estimate: summed(&horizontal, hidden[1]) },
                    NamedValue { name: "cumulated_vertical_distance_m", estimate: self.line(0, end).vertical },
                ],
                warnings,
            });
        }
        legs
    }

    fn method(&self, group: &Group<'_>) -> String {
        let mut bases: Vec<usize> = self.rows.iter().map(|row| row.base).collect();
        bases.sort_unstable();
        bases.dedup();
        let from = match bases[..] {
            [one] => format!("one base ({}), whose own errors cancel", group.bases[one].label),
            _ => format!("{} bases, whose errors do not cancel", bases.len()),
        };
        let first = &self.rows[0].label;
        let frame = format!("horizontal, vertical and azimuth (true) are those of the local frame at {first}");
        match self.rows.len() {
            2 => format!("missing line between two shots from {from}; {frame}"),
            n => format!(
                "missing line along {n} shots from {from}; cumulated along {} legs, the others straight from first to last; {frame}",
                n - 1
            ),
        }
    }
}

/// Vectors of two sights that lack an azimuth, turned into one vertical plane; none where both have their vectors.
fn in_one_vertical_plane(group: &Group<'_>, from: &RoleShot, to: &RoleShot) -> Result<Option<[Vector; 2]>, Refusal> {
    let of = format!("{} of {}", group.measure, group.name);
    if from.vector.is_some() && to.vector.is_some() {
        return Ok(None);
    }
    if from.base != to.base {
        let row = if from.vector.is_none() { from } else { to };
        return Err(format!(
            "{of}: {} gives no point, and {} and {} are from two bases; shoot it again with an azimuth and a distance, or both from one base",
            row.label, from.label, to.label
        ).into());
    }
    if let (Some(a), Some(b)) = (from.true_azimuth_rad, to.true_azimuth_rad) {
        let apart = ((b - a + PI).rem_euclid(2.0 * PI) - PI).abs();
        let sigma = from.sigma_azimuth_rad.hypot(to.sigma_azimuth_rad);
        if apart > AZIMUTHS_APART * sigma {
            return Err(format!(
                "{of}: {} and {} cannot lie in one vertical plane, their azimuths differ by {} (standard error {}); shoot both again \
                 with azimuth, inclination and distance",
                from.label,
                to.label,
                group.said_deg(apart.to_degrees(), 1),
                group.said_deg(sigma.to_degrees(), 1)
            ).into());
        }
    }
    let vector = |row: &RoleShot| {
        let lacks = |what: &str| {
            Refusal::from(format!(
                "{of}: {} has no azimuth and no {what}; shoot it again with inclination and distance",
                row.label
            ))
        };
        let inclination_rad = row.inclination_rad.ok_or_else(|| lacks("inclination"))?;
        let triangle = match (row.slope_m, row.horizontal_m) {
            (Some(slope_m), _) => Triangle::Slope { slope_m, inclination_rad },
            (None, Some(horizontal_m)) => Triangle::Horizontal { horizontal_m, inclination_rad },
            (None, None) => return Err(lacks("distance")),
        };
        // A height that only one row tells is that of the other too: it is one setup.
        let instrument_height_m = row.instrument_height_m.or(from.instrument_height_m).or(to.instrument_height_m).unwrap_or(0.0);
        let sight = Sight {
            true_azimuth_rad: 0.0,
            triangle,
            instrument_height_m,
            target_height_m: row.target_height_m,
            refraction: row.refraction,
        };
        let sigmas =
            SightSigmas { azimuth_rad: 0.0, inclination_rad: row.sigma_inclination_rad, distance_m: row.sigma_distance_m };
        // The plane may stand anyhow: what azimuths share has no part in it.
        let shares = Shares { declination_rad: 0.0, azimuth_rad: 0.0, ..row.shares };
        Ok(Vector { shares, ..reduce(&sight, &sigmas, group.base(row).earth_radius_m) })
    };
    Ok(Some([vector(from)?, vector(to)?]))
}

fn vertical_plane(group: &Group<'_>, from: &RoleShot, to: &RoleShot, [first, second]: &[Vector; 2]) -> Result<Composed, Refusal> {
    let mut bases = group.bases.to_vec();
    bases[from.base].errors = BaseErrors::from_covariance(from.base, &bases[from.base].errors.covariance(), 0.0);
    let unturned = Group { bases: &bases, ..group.clone() };
    let chain = Chain::from_vectors(&unturned, vec![from, to], &[(from.base, first), (to.base, second)])
        .ok_or_else(|| format!("{} of {}: a shot has no height", group.measure, group.name))?;
    let line = LineValues { azimuth: None, ..chain.line(0, 1) };
    let (values, warnings) = line.values_and_warnings();
    if values.iter().any(|value| !value.estimate.value.is_finite()) {
        return Err(format!("{} of {}: the readings give no finite length; check the shots", group.measure, group.name).into());
    }
    let method = format!(
        "missing line without azimuths: {} and {} are taken to lie in one vertical plane with base {}, on the same side of it, so that \
         the horizontal length is the difference of the two horizontal distances; horizontal and vertical are those of the local frame at {}; \
         no azimuth and no position follow",
        from.label,
        to.label,
        group.base(from).label,
        from.label
    );
    Ok(Composed { method, values, warnings, ..Composed::default() })
}
