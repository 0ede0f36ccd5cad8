//! Sight onto a plane: where a sight with azimuth and inclination but no distance meets a known surface.
//!
//! With o the instrument's axis, s the unit vector of the sight and the plane n · (p − c) = d:
//! distance t = (d − n · (o − c)) / (n · s), point o + t s (any text on analytic geometry). The angle of incidence is that
//! between the sight and the normal, 0° square on; its complement is the angle between sight and plane, and the
//! errors of distance grow with 1/sin of that. Refraction bends the sight by k·t·cos I/2R, so t is found by iteration.
//!
//! The surface, by the rows there are:
//! - `plane_1` and `plane_2`: the vertical plane through two whole shots, upright at the first;
//! - `plane_1` … `plane_n`, three or more: the plane fitted to them ([`plane_fit`]);
//! - none: the surface of one ellipsoidal height that the settings give, on the curved ellipsoid: Newton's iteration on the height along the
//!   sight, whose derivative is that along the ellipsoid's normal. It finds the nearer meeting point.
//!
//! `sight` is the sight; a distance of it is not used. A target height of the sight sets the point below the spot that was sighted,
//! as of the plane's own shots. Metres, degrees.
//!
//! Standard errors from [`crate::geodesy::correlated`]: base and orientation that the sight shares with the plane's shots are joined. Left out: that
//! the bend changes with the error of the distance (k·σ/2R, under a second of arc at any distance).
//!
//! Where it stops: sights that graze the surface (10° unless the settings say otherwise), point away from it, or reach beyond 20 km.

use super::located::{cross, dot, from_to, length, moved, part_of_points, unit, whole};
use super::plane_fit::{self, solution::Solution};
use super::{Composed, Group, Refusal, Shape, Sighting, Value};
use crate::geodesy::correlated::{Estimate, Joint};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::records::triangle::Triangle;
use crate::shots::reduce::{Sight, SightSigmas, Vector, reduce};

/// Angle between sight and surface in degrees under which a warning is given (30°: common practice for intersections).
const FLAT_DEG: f64 = 30.0;

/// Distance beyond which no spot is sighted.
const FARTHEST_M: f64 = 20_000.0;

/// Distance under which the instrument stands in the surface.
const NEAREST_M: f64 = 0.1;

/// A surface of one ellipsoidal height: calm water, a floor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level<'s> {
    /// What it is, in words for the method.
    pub words: &'s str,
    /// Its height above the ellipsoid of the bases.
    pub ellipsoid_height_m: f64,
    /// Its standard error.
    pub sigma_m: f64,
}

/// What the rows do not tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings<'s> {
    /// The level surface for sights without plane shots.
    pub level: Option<Level<'s>>,
    /// Least angle between sight and surface.
    pub least_angle_rad: f64,
}

impl Default for Settings<'_> {
    fn default() -> Self {
        Settings { level: None, least_angle_rad: 10f64.to_radians() }
    }
}

/// Where the sight of a group meets its surface.
///
/// # Errors
/// Says which row is missing, or why the sight gives no point.
pub fn compute(group: &Group<'_>, settings: &Settings<'_>) -> Result<Composed, Refusal> {
    let of = format!("{} of {}", group.measure, group.name);
    let sight = group.only("sight")?;
    let rows = plane_rows(group)?;
    let shots = rows.iter().map(|row| whole(group, row)).collect::<Result<Vec<_>, _>>()?;
    let (mut warnings, mut details) = (Vec::new(), Vec::new());
    let (surface, words) = match (rows.len(), settings.level) {
        (0, Some(level)) => (Surface::Level(level), level.words.to_owned()),
        (0, None) => {
            return Err(format!(
                "{of} has a sight but no surface; shoot plane_1 and plane_2 (an upright plane), three or more of plane_1, plane_2, … (any plane), \
                 or write the level surface that it meets in the job: [measures.levels.NAME] with its height"
            ));
        }
        (1, _) => return Err(format!("{of} has one shot on the plane, {}; shoot plane_2 too, or three and more", rows[0].label)),
        (2, _) => {
            upright(&of, &rows, group, &shots)?;
            (Surface::Upright, format!("the upright plane through {} and {}", rows[0].label, rows[1].label))
        }
        (count, _) => {
            let plane = plane_fit::fit(group, &rows)?;
            details = plane.details(&rows);
            warnings.extend(plane.warnings);
            (
                Surface::Fitted(Box::new(plane.solution)),
                format!("the plane fitted to {count} shots, {} to {}", rows[0].label, rows[count - 1].label),
            )
        }
    };
    let Met { joint, aim, hit } = meet(group, sight, &shots, &surface, settings)?;
    let base = group.base(sight);
    let distance = joint.estimate(|points| aim.hit(&surface, &joint, points).map_or(f64::NAN, |hit| hit.distance_m));
    let incidence = incidence(&aim, &surface, &joint);
    let point = part_of_points(&joint, (sight.base, base), "point", |points| {
        aim.hit(&surface, &joint, points).map_or([f64::NAN; 3], |hit| hit.point)
    });
    if !(distance.sigma + incidence.sigma + point.covariance.horizontal_variance() + point.covariance.uu).is_finite() {
        return Err(format!("{of}: sight {} gives no finite point; check its readings", sight.label));
    }
    let angle_deg = 90.0 - incidence.value;
    if angle_deg < FLAT_DEG {
        warnings.push(format!(
            "sight {} meets the surface at {angle_deg:.1}° only: errors along it are {:.1} times those of a sight square on",
            sight.label,
            1.0 / angle_deg.to_radians().sin()
        ));
    }
    warnings.extend(beyond(&joint, &hit, rows.len(), sight));
    if let Some(read) = sight.slope_m {
        warnings.push(format!(
            "sight {} has a distance, {read:.2} m, which is not used; the surface is met at {:.2} m",
            sight.label, distance.value
        ));
    }
    let method = format!(
        "sight {} from base {} taken to meet {words}; incidence is measured from the surface's normal",
        sight.label, base.label
    );
    Ok(Composed {
        method,
        values: vec![Value { name: "distance_m", estimate: distance }, Value { name: "incidence_deg", estimate: incidence }],
        shape: Shape::Point(point.at),
        parts: vec![point],
        warnings,
        details,
        ..Composed::default()
    })
}

/// The plane's shots by their numbers.
fn plane_rows<'g>(group: &'g Group<'_>) -> Result<Vec<&'g Sighting>, Refusal> {
    let of = format!("{} of {}", group.measure, group.name);
    let mut rows: Vec<(usize, &Sighting)> = Vec::new();
    for row in group.sightings.iter().filter(|row| row.role != "sight") {
        let number = row.role.strip_prefix("plane_").and_then(|number| number.parse().ok());
        let number = number
            .ok_or_else(|| format!("{of}: shot {} has role {:?}; it takes sight, plane_1, plane_2, …", row.label, row.role))?;
        if rows.iter().any(|other| other.0 == number) {
            return Err(format!("{of} has two rows with role {}; the second is {}", row.role, row.label));
        }
        rows.push((number, row));
    }
    rows.sort_by_key(|row| row.0);
    Ok(rows.into_iter().map(|row| row.1).collect())
}

/// Refuses two shots that stand over each other.
fn upright(of: &str, rows: &[&Sighting], group: &Group<'_>, shots: &[(usize, &Vector)]) -> Result<(), Refusal> {
    let apart = Joint::of_shots(group.bases, shots).map(|joint| {
        let [e, n] = [0, 1].map(|k| joint.estimate(|points| points[1][k] - points[0][k]));
        Estimate { value: e.value.hypot(n.value), sigma: e.sigma.hypot(n.sigma) }
    });
    match apart {
        Some(apart) if apart.value > apart.half95() && apart.value > NEAREST_M => Ok(()),
        Some(apart) => Err(format!(
            "{of}: {} and {} are {:.2} m apart horizontally, within the error of that (standard error {:.2} m), and give no upright plane; shoot \
             plane_2 farther to the side",
            rows[0].label, rows[1].label, apart.value, apart.sigma
        )),
        None => Err(format!("{of}: a shot has no height")),
    }
}

enum Surface<'s> {
    Upright,
    Fitted(Box<Solution>),
    Level(Level<'s>),
}

/// Which of the joint's points the sight runs through; for a level surface a third one carries the error of its height.
struct Aim {
    start: usize,
    ellipsoid: Ellipsoid,
}

struct Hit {
    point: [f64; 3],
    distance_m: f64,
    sight: [f64; 3],
    /// Unit normal of the surface at the point, either way.
    normal: [f64; 3],
}

enum Miss {
    Behind,
    Grazing(f64),
    Over,
}

impl Aim {
    fn hit(&self, surface: &Surface<'_>, joint: &Joint, points: &[[f64; 3]]) -> Result<Hit, Miss> {
        let start = points[self.start];
        let sight = unit(from_to(start, points[self.start + 1]));
        let (centre, normal, offset) = match surface {
            Surface::Upright => (points[0], unit(cross(from_to(points[0], points[1]), [0.0, 0.0, 1.0])), 0.0),
            Surface::Fitted(solution) => {
                let (normal, offset) = solution.of_moved(&points[..self.start]);
                (solution.centre, normal, offset)
            }
            Surface::Level(level) => {
                return self.level(joint.frame(), start, sight, level.ellipsoid_height_m + points[self.start + 2][2]);
            }
        };
        let (closing, gap) = (dot(normal, sight), offset - dot(normal, from_to(centre, start)));
        if closing.abs() < 1e-9 {
            return Err(Miss::Grazing(closing.abs().asin()));
        }
        let distance_m = gap / closing;
        if distance_m < 0.0 {
            return Err(Miss::Behind);
        }
        Ok(Hit { point: moved(start, distance_m, sight), distance_m, sight, normal })
    }

    /// The nearer point of a straight sight at a height above the ellipsoid. The height is convex along the sight: from above Newton's
    /// steps come down to that point without passing it, from below they pass it once and come back.
    fn level(&self, frame: &LocalFrame, start: [f64; 3], sight: [f64; 3], height_m: f64) -> Result<Hit, Miss> {
        let mut distance_m = 0.0;
        let mut from_below = None;
        for _ in 0..60 {
            let point = moved(start, distance_m, sight);
            let place = Geodetic::from_earth_centred(frame.to_earth_centred(point), &self.ellipsoid);
            let up = LocalFrame::at(&place, &self.ellipsoid).axes()[2];
            let normal = frame.axes().map(|axis| dot(axis, up));
            let (over, climb) = (place.ellipsoid_height_m - height_m, dot(normal, sight));
            let is_first = from_below.is_none();
            let from_below = *from_below.get_or_insert(over < 0.0);
            if (from_below && climb <= 0.0) || (!from_below && climb >= 0.0) {
                return Err(if is_first { Miss::Behind } else { Miss::Over });
            }
            let step = -over / climb;
            distance_m += step;
            if step.abs() < 1e-8 {
                return Ok(Hit { point: moved(start, distance_m, sight), distance_m, sight, normal });
            }
            if !distance_m.is_finite() || distance_m > 10.0 * FARTHEST_M {
                break;
            }
        }
        Err(Miss::Over)
    }
}

struct Met {
    joint: Joint,
    aim: Aim,
    hit: Hit,
}

/// The sight as a chord from the axis to the point it meets, with the errors of its direction at that distance.
fn meet(
    group: &Group<'_>,
    sight: &Sighting,
    shots: &[(usize, &Vector)],
    surface: &Surface<'_>,
    settings: &Settings<'_>,
) -> Result<Met, Refusal> {
    let of = format!("{} of {}: sight {}", group.measure, group.name, sight.label);
    let lacks = |what: &str| format!("{of} has no {what}; read it and write it in the row");
    let true_azimuth_rad = sight.true_azimuth_rad.ok_or_else(|| lacks("azimuth"))?;
    let inclination_rad = sight.inclination_rad.ok_or_else(|| lacks("inclination"))?;
    let instrument_height_m = sight.instrument_height_m.ok_or_else(|| lacks("instrument height"))?;
    if !(true_azimuth_rad + inclination_rad + instrument_height_m + sight.target_height_m + sight.refraction).is_finite() {
        return Err(format!("{of} has a reading that is not a finite number"));
    }
    let base = group.base(sight);
    let sigmas = SightSigmas {
        azimuth_rad: sight.sigma_azimuth_rad,
        orientation_rad: sight.sigma_orientation_rad,
        inclination_rad: sight.sigma_inclination_rad,
        distance_m: 0.0,
    };
    let axis = Vector {
        east_m: 0.0,
        north_m: 0.0,
        up_m: Some(instrument_height_m - sight.target_height_m),
        horizontal_m: 0.0,
        direction: Covariance::default(),
        distance: Covariance::default(),
        orientation_arm_m: [0.0; 3],
    };
    let mut distance_m = 100.0;
    for _ in 0..30 {
        let sighted = Sight {
            true_azimuth_rad,
            triangle: Triangle::Slope { slope_m: distance_m, inclination_rad },
            instrument_height_m,
            target_height_m: sight.target_height_m,
            refraction: sight.refraction,
        };
        let end = reduce(&sighted, &sigmas, base.earth_radius_m);
        let all: Vec<(usize, &Vector)> = shots.iter().copied().chain([(sight.base, &axis), (sight.base, &end)]).collect();
        let joint = Joint::of_shots(group.bases, &all).and_then(|joint| match surface {
            Surface::Level(level) => with_level(&joint, level.sigma_m),
            _ => Some(joint),
        });
        let joint = joint.ok_or_else(|| format!("{of}: a shot has no height"))?;
        let aim = Aim { start: shots.len(), ellipsoid: base.ellipsoid };
        let grazes = |angle: f64| {
            format!(
                "{of} meets the surface at {:.1}°, under {:.0}°: its error along it is too large; sight it from another base, more square on",
                angle.to_degrees(),
                settings.least_angle_rad.to_degrees()
            )
        };
        let hit = aim.hit(surface, &joint, joint.points()).map_err(|miss| match miss {
            Miss::Behind => format!("{of} points away from the surface, which lies behind the instrument; check azimuth, inclination and the plane's shots"),
            Miss::Grazing(angle) => grazes(angle),
            Miss::Over => format!("{of} passes over the surface and does not meet it; check its inclination and the height of the level"),
        })?;
        let angle = dot(hit.sight, hit.normal).abs().min(1.0).asin();
        if angle.is_nan() || angle < settings.least_angle_rad {
            return Err(grazes(angle));
        }
        if hit.distance_m < NEAREST_M {
            return Err(format!("{of}: the instrument stands in the surface itself; sight from off it"));
        }
        if hit.distance_m > FARTHEST_M {
            return Err(format!(
                "{of} meets the surface only at {:.0} km; check azimuth, inclination and the surface",
                hit.distance_m / 1000.0
            ));
        }
        if (hit.distance_m - distance_m).abs() < 1e-9 * (1.0 + distance_m) {
            return Ok(Met { joint, aim, hit });
        }
        distance_m = hit.distance_m;
    }
    Err(format!("{of}: the point does not settle; check azimuth, inclination and the surface"))
}

/// The joint points and one more, whose up has the error of a height.
fn with_level(joint: &Joint, sigma_m: f64) -> Option<Joint> {
    let (size, wide) = (3 * joint.points().len(), 3 * joint.points().len() + 3);
    let mut covariance = vec![0.0; wide * wide];
    for (to, from) in covariance.chunks_mut(wide).zip(joint.covariance().chunks(size)) {
        to[..size].copy_from_slice(from);
    }
    covariance[wide * wide - 1] = sigma_m * sigma_m;
    let points = joint.points().iter().copied().chain([[0.0; 3]]).collect();
    Joint::of_points(*joint.frame(), points, covariance)
}

/// The angle between sight and normal in degrees. Square on it is the length of a vector without length: its standard error is then that
/// of the larger tilt.
fn incidence(aim: &Aim, surface: &Surface<'_>, joint: &Joint) -> Estimate {
    let Ok(at) = aim.hit(surface, joint, joint.points()) else {
        return Estimate { value: f64::NAN, sigma: f64::NAN };
    };
    let helper = if at.normal[2].abs() < 0.9 { [0.0, 0.0, 1.0] } else { [1.0, 0.0, 0.0] };
    let first = unit(cross(at.normal, helper));
    let second = cross(at.normal, first);
    let [angle, one, other] = joint.estimates(|points| {
        let Ok(hit) = aim.hit(surface, joint, points) else {
            return [f64::NAN; 3];
        };
        let along = dot(hit.sight, hit.normal);
        let tilt = moved(hit.sight, -along, hit.normal);
        [length(tilt).atan2(along.abs()), dot(tilt, first), dot(tilt, second)]
    });
    let largest = one.sigma.max(other.sigma);
    let sigma = if angle.value < 3.0 * largest { largest } else { angle.sigma };
    Estimate { value: angle.value.to_degrees(), sigma: sigma.to_degrees() }
}

/// A warning for a point far beyond the shots that the plane stands on.
fn beyond(joint: &Joint, hit: &Hit, shots: usize, sight: &Sighting) -> Option<String> {
    let points = joint.points().get(..shots).filter(|points| !points.is_empty())?;
    let middle = points.iter().fold([0.0; 3], |sum, p| moved(sum, 1.0 / shots as f64, *p));
    // An upright plane is known as well above its two shots as between them.
    let from_middle = |p: [f64; 3]| {
        let d = from_to(middle, p);
        if shots == 2 { d[0].hypot(d[1]) } else { length(d) }
    };
    let reach = points.iter().map(|p| from_middle(*p)).fold(0.0, f64::max);
    let off = from_middle(hit.point);
    (off > 2.0 * reach).then(|| {
        format!(
            "sight {} meets the plane {off:.1} m from the middle of its shots, which reach {reach:.1} m: the plane is taken to go on that far",
            sight.label
        )
    })
}

#[cfg(test)]
mod tests;
