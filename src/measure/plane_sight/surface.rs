//! Surfaces that sights are taken onto, and where a sight meets one: see the formulas of [`super`].

use super::super::located::{cross, dot, from_to, length, length_excess_m2, moved, unit};
use super::super::plane_fit;
use super::super::plane_fit::solution::PlaneSolution;
use super::super::{Detail, Group, Refusal, RoleShot};
use super::{LevelSurface, PlaneSettings};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::register::{CorrelatedPoints, Estimate, Shares};
use crate::records::triangle::Triangle;
use crate::shots::located;
use crate::shots::reduce::{Sight, SightSigmas, Vector, reduce};

/// Distance beyond which no spot is sighted.
const FARTHEST_M: f64 = 20_000.0;

/// Distance under which the instrument stands in the surface.
const NEAREST_M: f64 = 0.1;

/// A surface with its shots.
pub struct KnownSurface<'s, 'g> {
    /// What it is.
    pub surface: Surface<'s>,
    /// Its shots, by base index and vector.
    pub shots: Vec<(usize, &'g Vector)>,
    /// What it is in words, for the method.
    pub words: String,
    /// How its shots lie on it.
    pub details: Vec<Detail>,
    /// What is to be said of it.
    pub warnings: Vec<String>,
}

/// The surface by the plane's shots, or the level one.
///
/// # Errors
/// Says which shot is missing or not whole.
pub fn known<'s, 'g>(
    group: &Group<'_>,
    rows: &[&'g RoleShot],
    settings: &PlaneSettings<'s>,
) -> Result<KnownSurface<'s, 'g>, Refusal> {
    let of = format!("{} of {}", group.measure, group.name);
    let shots = rows.iter().map(|row| super::super::located::whole(group, row)).collect::<Result<Vec<_>, _>>()?;
    let (mut warnings, mut details) = (Vec::new(), Vec::new());
    let (surface, words) = match (rows.len(), settings.level) {
        (0, Some(level)) => (Surface::Level(level), level.words.to_owned()),
        (0, None) => {
            return Err(format!(
                "{of} has a sight but no surface; shoot plane_1 and plane_2 (an upright plane), three or more of plane_1, plane_2, … (any plane), \
                 or write the level surface that it meets in the job: [measures.levels.NAME] with its height"
            ).into());
        }
        (1, _) => {
            return Err(format!("{of} has one shot on the plane, {}; shoot plane_2 too, or three and more", rows[0].label).into());
        }
        (2, _) => {
            upright(&of, rows, group, &shots)?;
            (Surface::Upright, format!("the upright plane through {} and {}", rows[0].label, rows[1].label))
        }
        (count, _) => {
            let plane = plane_fit::fit(group, rows)?;
            details = plane.details(rows);
            warnings.extend(plane.warnings);
            (
                Surface::Fitted(Box::new(plane.solution)),
                format!("the plane fitted to {count} shots, {} to {}", rows[0].label, rows[count - 1].label),
            )
        }
    };
    Ok(KnownSurface { surface, shots, words, details, warnings })
}

/// The plane's shots by the numbers of their roles; `others` are the roles that are no shots of it.
///
/// # Errors
/// Names a row of another role, and a number that stands twice.
pub fn plane_rows<'g>(group: &'g Group<'_>, others: &[&str]) -> Result<Vec<&'g RoleShot>, Refusal> {
    let of = format!("{} of {}", group.measure, group.name);
    let mut rows: Vec<(usize, &RoleShot)> = Vec::new();
    for row in group.sightings.iter().filter(|row| !others.contains(&row.role.as_str())) {
        let number = row.role.strip_prefix("plane_").and_then(|number| number.parse().ok());
        let number = number.ok_or_else(|| {
            format!("{of}: {} has role {:?}; it takes {}, plane_1, plane_2, …", row.label, row.role, others.join(", "))
        })?;
        if rows.iter().any(|other| other.0 == number) {
            return Err(format!("{of} has two rows with role {}; the second is {}", row.role, row.label).into());
        }
        rows.push((number, row));
    }
    rows.sort_by_key(|row| row.0);
    Ok(rows.into_iter().map(|row| row.1).collect())
}

/// Refuses two shots that stand over each other.
fn upright(of: &str, rows: &[&RoleShot], group: &Group<'_>, shots: &[(usize, &Vector)]) -> Result<(), Refusal> {
    let apart = located::correlated(group.bases, shots).map(|correlated| {
        let [e, n] = [0, 1].map(|k| correlated.estimate(|points| points[1][k] - points[0][k]));
        Estimate { value: e.value.hypot(n.value), sigma: e.sigma.hypot(n.sigma) }
    });
    match apart {
        Some(apart) if apart.value > apart.half95() && apart.value > NEAREST_M => Ok(()),
        Some(apart) => Err(format!(
            "{of}: {} and {} are {} apart horizontally, within the error of that (standard error {}), and give no upright plane; shoot \
             plane_2 farther to the side",
            rows[0].label,
            rows[1].label,
            group.said_m(apart.value, 2),
            group.said_m(apart.sigma, 2)
        ).into()),
        None => Err(format!("{of}: a shot has no height").into()),
    }
}

/// A surface.
pub enum Surface<'s> {
    /// The vertical plane through two shots, upright at the first.
    Upright,
    /// The plane fitted to three and more.
    Fitted(Box<PlaneSolution>),
    /// That of one height above the ellipsoid.
    Level(LevelSurface<'s>),
}

/// Which of the correlated points the sight runs through; for a level surface a third one carries the error of its height.
#[derive(Debug, Clone, Copy)]
pub struct Aim {
    /// The axis, and behind it the end of the sight.
    start: usize,
    /// Where the surface's own shots end.
    shots: usize,
    /// The point that errs as the height of a level surface does.
    level: usize,
    ellipsoid: Ellipsoid,
}

/// Where a sight meets a surface.
#[derive(Debug, Clone, Copy)]
pub struct Hit {
    /// The point.
    pub point: [f64; 3],
    /// How far along the sight.
    pub distance_m: f64,
    /// Unit vector of the sight.
    pub sight: [f64; 3],
    /// Unit normal of the surface at the point, either way.
    pub normal: [f64; 3],
}

/// Why a sight meets no surface.
pub enum Miss {
    /// It lies behind the instrument.
    Behind,
    /// The angle between them, in radians, is too flat.
    Grazing(f64),
    /// It passes over it.
    Over,
}

impl Aim {
    /// Where the sight meets the surface, the correlated points being at `points`.
    ///
    /// # Errors
    /// When it does not.
    pub fn hit(&self, surface: &Surface<'_>, correlated: &CorrelatedPoints, points: &[[f64; 3]]) -> Result<Hit, Miss> {
        let start = points[self.start];
        let sight = unit(from_to(start, points[self.start + 1]));
        let (centre, normal, offset) = match surface {
            Surface::Upright => (points[0], unit(cross(from_to(points[0], points[1]), [0.0, 0.0, 1.0])), 0.0),
            Surface::Fitted(solution) => {
                let (normal, offset) = solution.when_moved(&points[..self.shots]);
                (solution.centre, normal, offset)
            }
            Surface::Level(level) => {
                return self.level(correlated.frame(), start, sight, level.ellipsoid_height_m + points[self.level][2]);
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

/// Sights onto one surface: the points of its shots, and of each sight its axis and the spot that it meets, with the errors of its direction at that
/// distance.
pub struct Met {
    /// The points.
    pub correlated: CorrelatedPoints,
    /// Each sight, in the order of the rows.
    pub aims: Vec<Aim>,
}

impl Met {
    /// Of sights onto a surface.
    ///
    /// # Errors
    /// Says which sight lacks what, or why it gives no point.
    pub fn find(
        group: &Group<'_>,
        sights: &[&RoleShot],
        known: &KnownSurface<'_, '_>,
        settings: &PlaneSettings<'_>,
    ) -> Result<Met, Refusal> {
        let mut all = known.shots.clone();
        let chords = sights.iter().map(|sight| chord(group, sight, known, settings)).collect::<Result<Vec<_>, _>>()?;
        let mut aims = Vec::with_capacity(sights.len());
        for (sight, [axis, end]) in sights.iter().zip(&chords) {
            let level = known.shots.len() + 2 * sights.len();
            aims.push(Aim { start: all.len(), shots: known.shots.len(), level, ellipsoid: group.base(sight).ellipsoid });
            all.extend([(sight.base, axis), (sight.base, end)]);
        }
        let correlated = joined(group, &all, &known.surface)
            .ok_or_else(|| format!("{} of {}: a shot has no height", group.measure, group.name))?;
        Ok(Met { correlated, aims })
    }
}

/// The points of shots; of a level surface one more, whose up has the error of its height.
fn joined(group: &Group<'_>, shots: &[(usize, &Vector)], surface: &Surface<'_>) -> Option<CorrelatedPoints> {
    located::correlated(group.bases, shots).map(|correlated| match surface {
        Surface::Level(level) => correlated.with_point([0.0; 3], &Covariance::from_sigmas(0.0, level.sigma_m)),
        _ => correlated,
    })
}

/// A sight as a chord from the axis to the point it meets, with the errors of its direction at that distance.
fn chord(
    group: &Group<'_>,
    sight: &RoleShot,
    known: &KnownSurface<'_, '_>,
    settings: &PlaneSettings<'_>,
) -> Result<[Vector; 2], Refusal> {
    let (surface, shots) = (&known.surface, &known.shots);
    let of = format!("{} of {}: sight {}", group.measure, group.name, sight.label);
    let lacks = |what: &str| format!("{of} has no {what}; read it and write it in the row");
    let true_azimuth_rad = sight.true_azimuth_rad.ok_or_else(|| lacks("azimuth"))?;
    let inclination_rad = sight.inclination_rad.ok_or_else(|| lacks("inclination"))?;
    let instrument_height_m = sight.instrument_height_m.ok_or_else(|| lacks("instrument height"))?;
    let readings = [true_azimuth_rad, inclination_rad, instrument_height_m, sight.target_height_m, sight.refraction];
    if readings.iter().any(|reading| !reading.is_finite()) {
        return Err(format!("{of} has a reading that is not a finite number").into());
    }
    let base = group.base(sight);
    let sigmas =
        SightSigmas { azimuth_rad: sight.sigma_azimuth_rad, inclination_rad: sight.sigma_inclination_rad, distance_m: 0.0 };
    let axis = Vector::exact(0.0, 0.0, Some(instrument_height_m - sight.target_height_m));
    // Nothing is measured along the sight.
    let shares = Shares { distance_m: 0.0, ..sight.shares };
    let mut distance_m = 100.0;
    for _ in 0..30 {
        let sighted = Sight {
            true_azimuth_rad,
            triangle: Triangle::Slope { slope_m: distance_m, inclination_rad },
            instrument_height_m,
            target_height_m: sight.target_height_m,
            refraction: sight.refraction,
        };
        let end = Vector { shares, ..reduce(&sighted, &sigmas, base.earth_radius_m) };
        let all: Vec<(usize, &Vector)> = shots.iter().copied().chain([(sight.base, &axis), (sight.base, &end)]).collect();
        let correlated = joined(group, &all, surface).ok_or_else(|| format!("{of}: a shot has no height"))?;
        let (start, level) = (shots.len(), shots.len() + 2);
        let aim = Aim { start, shots: start, level, ellipsoid: base.ellipsoid };
        let grazes = |angle: f64| {
            Refusal::from(format!(
                "{of} meets the surface at {}, under {}: its error along it is too large; sight it from another base, more square on",
                group.said_deg(angle.to_degrees(), 1),
                group.said_deg(settings.least_angle_rad.to_degrees(), 0)
            ))
        };
        let hit = aim.hit(surface, &correlated, correlated.points()).map_err(|miss| match miss {
            Miss::Behind => Refusal::from(format!("{of} points away from the surface, which lies behind the instrument; check azimuth, inclination and the plane's shots")),
            Miss::Grazing(angle) => grazes(angle),
            Miss::Over => Refusal::from(format!("{of} passes over the surface and does not meet it; check its inclination and the height of the level")),
        })?;
        let angle = dot(hit.sight, hit.normal).abs().min(1.0).asin();
        if angle.is_nan() || angle < settings.least_angle_rad {
            return Err(grazes(angle));
        }
        if hit.distance_m < NEAREST_M {
            return Err(format!("{of}: the instrument stands in the surface itself; sight from off it").into());
        }
        if hit.distance_m > FARTHEST_M {
            return Err(format!(
                "{of} meets the surface only at {}; check azimuth, inclination and the surface",
                group.units.length().far(hit.distance_m)
            )
            .into());
        }
        if (hit.distance_m - distance_m).abs() < 1e-9 * (1.0 + distance_m) {
            return Ok([axis, end]);
        }
        distance_m = hit.distance_m;
    }
    Err(format!("{of}: the point does not settle; check azimuth, inclination and the surface").into())
}

/// The angle between sight and normal in degrees: the length of the sight's tilt from the normal, a vector of two. Near square on its error across
/// counts too, which the law of propagation leaves out (`length_excess_m2`).
pub fn incidence(aim: &Aim, surface: &Surface<'_>, correlated: &CorrelatedPoints) -> Estimate {
    let Ok(at) = aim.hit(surface, correlated, correlated.points()) else {
        return Estimate { value: f64::NAN, sigma: f64::NAN };
    };
    let helper = if at.normal[2].abs() < 0.9 { [0.0, 0.0, 1.0] } else { [1.0, 0.0, 0.0] };
    let first = unit(cross(at.normal, helper));
    let second = cross(at.normal, first);
    let tilt_of = |hit: &Hit| moved(hit.sight, -dot(hit.sight, hit.normal), hit.normal);
    let tilt = tilt_of(&at);
    let direction = dot(tilt, second).atan2(dot(tilt, first));
    let (sin, cos) = direction.sin_cos();
    let [along, across] = correlated.estimates(|points| {
        let Ok(hit) = aim.hit(surface, correlated, points) else {
            return [f64::NAN; 2];
        };
        let tilt = tilt_of(&hit);
        let (one, other) = (dot(tilt, first), dot(tilt, second));
        // Along it as an angle, so that far from square on it is that and no sine.
        let sine = one * cos + other * sin;
        [sine.atan2(dot(hit.sight, hit.normal).abs()), other * cos - one * sin]
    });
    let angle = length(tilt).atan2(dot(at.sight, at.normal).abs());
    let sigma = (along.sigma * along.sigma + length_excess_m2(angle, across.sigma * across.sigma)).sqrt();
    Estimate { value: angle.to_degrees(), sigma: sigma.to_degrees() }
}

/// A warning for a point far beyond the shots that the plane stands on.
pub fn beyond(group: &Group<'_>, correlated: &CorrelatedPoints, hit: &Hit, shots: usize, sight: &RoleShot) -> Option<String> {
    let points = correlated.points().get(..shots).filter(|points| !points.is_empty())?;
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
            "sight {} meets the plane {} from the middle of its shots, which reach {}: the plane is taken to go on that far",
            sight.label,
            group.said_m(off, 1),
            group.said_m(reach, 1)
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::trial::{Field, HANDHELD};

    /// Near square on the tilt is a vector of two that errs differently along itself and across: by differences of its level and its plumb part.
    #[test]
    fn a_tilt_aslant_errs_along_and_across() {
        for (right, up) in [(1.5, 1.0), (-1.0, 2.0), (2.0, -1.5), (6.0, 9.0)] {
            let mut field = Field::new(HANDHELD, [0.5, 0.8]);
            field.shot(0, "plane_1", [-8.0, 45.0, 1.0]);
            field.shot(0, "plane_2", [12.0, 42.0, 3.0]);
            // Square on is along (3, 20), to the foot of the plumb line from the base to the wall.
            let along = [20.0, -3.0].map(|x: f64| x / 409f64.sqrt());
            let reach = -8.0 * -along[1] + 45.0 * along[0];
            let foot = [-along[1] * reach, along[0] * reach];
            let row = field.shot(0, "sight", [foot[0] + right * along[0], foot[1] + right * along[1], up]);
            (row.slope_m, row.vector) = (None, None);
            let group = field.group("plane_sight");
            let rows: Vec<&RoleShot> = group.sightings[..2].iter().collect();
            let settings = PlaneSettings::default();
            let face = known(&group, &rows, &settings).unwrap();
            let met = Met::find(&group, &[&group.sightings[2]], &face, &settings).unwrap();
            let got = incidence(&met.aims[0], &face.surface, &met.correlated);
            let read = |row: &RoleShot| [row.true_azimuth_rad.unwrap(), row.inclination_rad.unwrap(), row.slope_m.unwrap_or(1.0)];
            let readings: Vec<f64> = group.sightings.iter().flat_map(read).collect();
            let sigmas = [0.3f64.to_radians(), 0.2f64.to_radians(), 0.05];
            // The sight's parts along the wall, plumb, and square on, along axes that stand.
            let parts = |r: &[f64]| {
                let place = |r: &[f64]| [r[2] * r[1].cos() * r[0].sin(), r[2] * r[1].cos() * r[0].cos(), r[2] * r[1].sin()];
                let (one, other, sight) = (place(&r[..3]), place(&r[3..6]), place(&[r[6], r[7], 1.0]));
                let wall = (other[0] - one[0]).hypot(other[1] - one[1]);
                let [de, dn] = [(other[0] - one[0]) / wall, (other[1] - one[1]) / wall];
                let square = dn * -sight[0] + de * sight[1];
                // The tilt is the sight less its part along the normal (−dn, de), by the axes of the wall as it was measured.
                let tilt = [sight[0] + square * dn, sight[1] - square * de, sight[2]];
                [tilt[0] * along[0] + tilt[1] * along[1], tilt[2], square]
            };
            let [level, plumb, square] = parts(&readings);
            let (sin, cos) = plumb.atan2(level).sin_cos();
            let mut variances = [0.0; 2];
            for k in 0..8 {
                let at = |step: f64| {
                    let mut moved = readings.clone();
                    moved[k] += step;
                    let [level, plumb, square] = parts(&moved);
                    [(level * cos + plumb * sin).atan2(square), plumb * cos - level * sin]
                };
                let (plus, minus) = (at(1e-5), at(-1e-5));
                (0..2).for_each(|n| variances[n] += ((plus[n] - minus[n]) / 2e-5 * sigmas[k % 3]).powi(2));
            }
            let angle = level.hypot(plumb).atan2(square);
            let excess = (0.75 * variances[1] * variances[1] / (angle * angle)).min(variances[1]);
            let want = (variances[0] + excess).sqrt().to_degrees();
            assert!((got.value - angle.to_degrees()).abs() < 1e-3, "{got:?} {}", angle.to_degrees());
            assert!((got.sigma / want - 1.0).abs() < 2e-3, "{right} {up}: {got:?} {want}");
        }
    }
}
