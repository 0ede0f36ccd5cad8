//! Plane: strike and dip of a face through three or more shots.
//!
//! The plane is the weighted total least-squares one ([`solution`], formulas and sources there). With its upward unit normal
//! n: dip = atan2(√(n_e² + n_n²), n_u), dip direction = atan2(n_e, n_n), strike = dip direction − 90° (right-hand
//! rule: the plane dips to the right of who looks along the strike). Three shots fit exactly: the three-point problem of
//! structural geology, n = (p₂ − p₁) × (p₃ − p₁) (D. M. Ragan, "Structural Geology", chapter on the three-point problem;
//! M. N. Fienen, "The three-point problem, vector analysis and extension to the n-point problem", Journal of Geoscience
//! Education 53 (2005); both from memory). Degrees, metres; azimuths true, at the first shot.
//!
//! Standard errors: σ dip is that of the tilt down the dip, σ strike that of the tilt along the strike by sin dip. They suppose a
//! face that is flat; a warning says when the shots scatter more than their errors account for (χ² test at
//! 1 %, the quantile after E. B. Wilson and M. M. Hilferty, 1931, from memory). RMS: root mean square distance from the plane;
//! its standard error RMS/√(2(n − 3)). Each of four or more shots has a record of its residual, positive over the plane.
//!
//! Roles: `face` for each shot; any other word does as well.
//!
//! Where it stops: three to 1000 shots; refused in one line. A dip within its own 95 % error gives no strike and no
//! dip direction. The convex hull of an upright face has no width in plan.

pub mod solution;

use solution::PlaneSolution;

use super::located::{direction_half95, dot, from_to, moved, part_of_points, whole};
use super::{Composed, Detail, FoundPoint, Group, NamedValue, Refusal, RoleShot, Shape};
use crate::geodesy::covariance::INTERVAL95;
use crate::geodesy::frame::full_circle_rad;
use crate::geodesy::register::{CorrelatedPoints, Estimate};
use crate::numeric::words::counted;
use crate::shots;

/// More shots than this are a survey, and their joint covariance outgrows a field computer's memory.
const MOST_SHOTS: usize = 1000;

/// Extent across their line, as a share of that along it, under which shots count as in one line.
const LINE_RATIO: f64 = 0.02;

/// Extent as such under which a warning is given.
const NARROW_RATIO: f64 = 0.15;

/// Standard error of a tilt, in degrees, from which a plane is refused: the law of propagation no longer holds.
const LOOSE_DEG: f64 = 15.0;

/// Standard errors by which a shot may lie off the plane before it is named.
const OFF_PLANE: f64 = 3.0;

/// How a shot lies on a plane.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneResidual {
    /// The shot's label.
    pub label: String,
    /// Its distance from the plane along the upward normal.
    pub distance: Estimate,
}

/// A plane through shots.
#[derive(Debug, Clone)]
pub struct Plane {
    /// The points, with their errors.
    pub correlated: CorrelatedPoints,
    /// The plane in the points' frame.
    pub solution: PlaneSolution,
    /// Each shot's residual, in the order of the rows.
    pub residuals: Vec<PlaneResidual>,
    /// What is to be said of it.
    pub warnings: Vec<String>,
}

/// The plane of a group's shots, all of them.
///
/// # Errors
/// Says which shot is not whole, or where to shoot another.
pub fn compose(group: &Group<'_>) -> Result<Composed, Refusal> {
    let rows: Vec<&RoleShot> = group.sightings.iter().collect();
    let mut plane = fit(group, &rows)?;
    let (solution, count) = (&plane.solution, rows.len());
    let [east, north, up] = solution.normal;
    let level = east.hypot(north);
    let sigma = |k: usize| solution.covariance[k][k].max(0.0).sqrt();
    let mut values = Vec::new();
    let steepest = sigma(0).max(sigma(1));
    let dip = Estimate { value: level.atan2(up).to_degrees(), sigma: sigma(1).to_degrees() };
    if level <= INTERVAL95 * steepest {
        plane.warnings.push(format!(
            "the plane is level within its error (dip {}, {} at 95 %); no strike and no dip direction are given",
            group.said_deg(dip.value, 2),
            group.said_deg(INTERVAL95 * steepest.to_degrees(), 2)
        ));
        values.push(NamedValue { name: "dip_deg", estimate: Estimate { sigma: steepest.to_degrees(), ..dip } });
    } else {
        let towards = east.atan2(north);
        // The horizontal part of the normal, which leans by the dip: across it tilts along the strike, along it those down the dip.
        let [[across, both, _], [_, along, _], _] = solution.covariance;
        let half95 = direction_half95(level, along * up * up, both * up, across).unwrap_or(std::f64::consts::FRAC_PI_2);
        let degrees =
            |angle: f64| Estimate { value: full_circle_rad(angle).to_degrees(), sigma: (half95 / INTERVAL95).to_degrees() };
        values.push(NamedValue { name: "strike_deg", estimate: degrees(towards - std::f64::consts::FRAC_PI_2) });
        values.push(NamedValue { name: "dip_deg", estimate: dip });
        values.push(NamedValue { name: "dip_direction_deg", estimate: degrees(towards) });
        if 90.0 - dip.value <= dip.half95() {
            plane.warnings.push(format!(
                "the plane is upright within its error (dip {}, {} at 95 %); it may as well lean to the other side, \
                 with strike and dip direction turned by {}",
                group.said_deg(dip.value, 2),
                group.said_deg(dip.half95(), 2),
                group.said_deg(180.0, 0)
            ));
        }
    }
    let solution = &plane.solution;
    let exact = if count == 3 {
        "three shots fit it exactly, so that nothing checks them".to_owned()
    } else {
        let rms = (solution.residuals_m.iter().map(|r| r * r).sum::<f64>() / count as f64).sqrt();
        let freedom = 2.0 * (count - 3) as f64;
        values.push(NamedValue { name: "rms_m", estimate: Estimate { value: rms, sigma: rms / freedom.sqrt() } });
        format!("root mean square distance {} along the normal", group.said_m(rms, 3))
    };
    let frame = plane.correlated.frame();
    Ok(Composed {
        method: format!(
            "plane by weighted total least squares through {count} shots; {exact}; strike by the right-hand rule, azimuths true at {}",
            rows[0].label
        ),
        values,
        parts: vec![centroid(group, &rows, &plane)],
        details: plane.details(&rows),
        shape: Shape::Area(solution.hull().into_iter().map(|p| frame.to_earth_centred(p)).collect()),
        warnings: plane.warnings,
        ..Composed::default()
    })
}

impl Plane {
    /// How each shot lies on the plane: none for three shots, which fit it exactly.
    pub fn details(&self, rows: &[&RoleShot]) -> Vec<Detail> {
        let shots = rows.iter().zip(&self.residuals).filter(|_| rows.len() > 3);
        shots
            .map(|(row, residual)| Detail {
                target: format!("plane to {}", residual.label),
                place: row.place,
                values: vec![NamedValue { name: "residual_m", estimate: residual.distance }],
                warnings: None,
            })
            .collect()
    }
}

/// The plane of some rows of a group.
///
/// # Errors
/// As [`compose`].
pub fn fit(group: &Group<'_>, rows: &[&RoleShot]) -> Result<Plane, Refusal> {
    let of = format!("{} of {}", group.measure, group.name);
    let count = rows.len();
    if count < 3 {
        return Err(format!(
            "{of} has {} on the plane; shoot {} more, so that three or more stand well apart",
            counted(count as u64, "shot", "shots"),
            3 - count
        )
        .into());
    }
    if count > MOST_SHOTS {
        return Err(format!("{of} has {count} shots; a plane takes {MOST_SHOTS} at most, so leave some out").into());
    }
    let shots = rows.iter().map(|row| whole(group, row)).collect::<Result<Vec<_>, _>>()?;
    let correlated = shots::located::correlated(group.bases, &shots).ok_or_else(|| format!("{of}: a shot has no height"))?;
    let farthest = |from: usize| {
        let apart = |p: &[f64; 3]| dot(from_to(correlated.points()[from], *p), from_to(correlated.points()[from], *p));
        correlated
            .points()
            .iter()
            .enumerate()
            .max_by(|a, b| apart(a.1).total_cmp(&apart(b.1)))
            .map_or((0, 0.0), |(i, p)| (i, apart(p).sqrt()))
    };
    let (one, _) = farthest(0);
    let (other, apart_m) = farthest(one);
    let in_line = || {
        Refusal::from(format!(
            "{of}: the shots lie in one line or nearly so (from {} to {}, {}); shoot another spot of the face, at least \
             {} to the side of that line",
            rows[one].label,
            rows[other].label,
            group.said_m(apart_m, 1),
            group.said_m((apart_m / 4.0).max(0.1), 1)
        ))
    };
    let solution = PlaneSolution::fit(&correlated).ok_or_else(in_line)?;
    let loose_deg = solution.covariance[0][0].max(solution.covariance[1][1]).sqrt().to_degrees();
    if solution.spread_m[1] < LINE_RATIO * solution.spread_m[0] || solution.spread_m[0] == 0.0 {
        return Err(in_line());
    }
    if loose_deg.is_nan() || loose_deg > LOOSE_DEG {
        return Err(format!(
            "{of}: the shots stand so near each other for their errors that the plane may tilt by {} (one standard error); shoot \
             spots of the face farther apart, away from the line from {} to {}",
            group.said_deg(loose_deg, 0),
            rows[one].label,
            rows[other].label
        )
        .into());
    }
    let mut warnings = Vec::new();
    if solution.spread_m[1] < NARROW_RATIO * solution.spread_m[0] {
        warnings.push(format!(
            "the shots lie nearly in one line (from {} to {}): the plane is weak about it; a shot farther to the side would help",
            rows[one].label, rows[other].label
        ));
    }
    warnings.extend(scatter_warnings(group, rows, &solution));
    let residuals = rows.iter().zip(solution.residuals_m.iter().zip(&solution.residual_sigmas_m));
    let residuals = residuals.map(|(row, (value, sigma))| PlaneResidual {
        label: row.label.clone(),
        distance: Estimate { value: *value, sigma: *sigma },
    });
    Ok(Plane { residuals: residuals.collect(), correlated, solution, warnings })
}

fn scatter_warnings(group: &Group<'_>, rows: &[&RoleShot], solution: &PlaneSolution) -> Vec<String> {
    let freedom = rows.len() as f64 - 3.0;
    if freedom < 1.0 {
        return Vec::new();
    }
    let mut warnings = Vec::new();
    let worst = rows.iter().zip(solution.residuals_m.iter().zip(&solution.residual_sigmas_m));
    let worst = worst.map(|(row, (r, sigma))| (row, r, r.abs() / sigma.max(1e-6))).max_by(|a, b| a.2.total_cmp(&b.2));
    if let Some((row, r, times)) = worst
        && times > OFF_PLANE
    {
        warnings.push(format!(
            "{} lies {} off the plane, {times:.1} times its standard error; look at it again, or shoot it again",
            row.label,
            group.said_m(r.abs(), 2)
        ));
    }
    // The 99 % quantile of χ² by the cube of a normal deviate.
    let part = 2.0 / (9.0 * freedom);
    let most = freedom * (1.0 - part + 2.326_347_874 * part.sqrt()).powi(3);
    if solution.weighted_square > most {
        warnings.push(format!(
            "the shots scatter {:.1} times as much about the plane as their errors account for: the face is not that flat, and the standard \
             errors of dip and strike are too small for it",
            (solution.weighted_square / freedom).sqrt()
        ));
    }
    warnings
}

/// The mean of the shots moved on to the plane, with its covariance in the frame of the first shot's base: the mean's own
/// within the plane, the plane's along the normal.
fn centroid(group: &Group<'_>, rows: &[&RoleShot], plane: &Plane) -> FoundPoint {
    let (solution, correlated, base) = (&plane.solution, &plane.correlated, group.base(rows[0]));
    let share = 1.0 / rows.len() as f64;
    let at = |points: &[[f64; 3]]| {
        let mean = points.iter().fold([0.0; 3], |sum, p| moved(sum, share, *p));
        let (normal, offset) = solution.when_moved(points);
        moved(mean, offset - dot(normal, from_to(solution.centre, mean)), normal)
    };
    part_of_points(correlated, (rows[0].base, base), "centroid", at)
}

#[cfg(test)]
mod tests;
