//! Sight onto a plane: where a sight with azimuth and inclination but no distance meets a known surface.
//!
//! With o the instrument's axis, s the unit vector of the sight and the plane n · (p − c) = d:
//! distance t = (d − n · (o − c)) / (n · s), point o + t s (any text on analytic geometry). The angle of incidence is that
//! between the sight and the normal, 0° square on; its complement is the angle between sight and plane, and the
//! errors of distance grow with 1/sin of that. Refraction bends the sight by k·t·cos I/2R, so t is found by iteration.
//!
//! The surface, by the rows there are:
//! - `plane_1` and `plane_2`: the vertical plane through two whole shots, upright at the first;
//! - `plane_1` … `plane_n`, three or more: the plane fitted to them ([`super::plane_fit`]);
//! - none: the surface of one ellipsoidal height that the settings give, on the curved ellipsoid: Newton's iteration on the height along the
//!   sight, whose derivative is that along the ellipsoid's normal. It finds the nearer meeting point.
//!
//! `sight` is the sight; a distance of it is not used. A target height of the sight sets the point below the spot that was sighted,
//! as of the plane's own shots. Several sights that agree are repeats of one; where they don't, each is a spot of its own on the surface. Rows
//! `corner` (or `corner_1`, `corner_2`, … in the order round it) are the corners of one face, and so are four sights that go
//! round a convex figure: its width, height and area come with them ([`face`]). Metres, degrees.
//!
//! Standard errors from [`crate::geodesy::register`]: base and orientation that the sight shares with the plane's shots are joined. Left out: that
//! the bend changes with the error of the distance (k·σ/2R, under a second of arc at any distance).
//!
//! Where it stops: sights that graze the surface (10° unless the settings say otherwise), point away from it, or reach beyond 20 km.

pub mod face;
pub mod surface;

use surface::{KnownSurface, Met, beyond, incidence, known, plane_rows};

use super::located::part_of_points;
use super::{Composed, Detail, FoundPoint, Group, NamedValue, Refusal, RoleShot, Shape};
use crate::geodesy::register::Estimate;
use crate::numeric::words::counted;

/// Angle between sight and surface in degrees under which a warning is given (30°: common practice for intersections).
const FLAT_DEG: f64 = 30.0;

/// A surface of one ellipsoidal height: calm water, a floor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelSurface<'s> {
    /// What it is, in words for the method.
    pub words: &'s str,
    /// Its height above the ellipsoid of the bases.
    pub ellipsoid_height_m: f64,
    /// Its standard error.
    pub sigma_m: f64,
}

/// What the rows do not tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneSettings<'s> {
    /// The level surface for sights without plane shots.
    pub level: Option<LevelSurface<'s>>,
    /// Least angle between sight and surface.
    pub least_angle_rad: f64,
}

impl Default for PlaneSettings<'_> {
    fn default() -> Self {
        PlaneSettings { level: None, least_angle_rad: 10f64.to_radians() }
    }
}

/// Where the sights of a group meet their surface.
///
/// # Errors
/// Says which row is missing, or why a sight gives no point.
pub fn compose(group: &Group<'_>, settings: &PlaneSettings<'_>) -> Result<Composed, Refusal> {
    let of = format!("{} of {}", group.measure, group.name);
    let (sights, are_corners) = sights(group, &of)?;
    let roles: Vec<&str> = sights.iter().map(|row| row.role.as_str()).collect();
    let known = known(group, &plane_rows(group, if roles.is_empty() { &["sight"] } else { &roles })?, settings)?;
    if let Some(first) = sights.first() {
        let spots = spots(group, &sights, &known, settings)?;
        let mut composed = compose_spots(group, &sights, &known, &spots);
        let is_plane = !matches!(known.surface, surface::Surface::Level(_));
        if (are_corners || sights.len() == 4) && is_plane {
            face::add(&mut composed, &known, &spots.met, are_corners);
        }
        if are_corners && !is_plane {
            return Err(format!(
                "{of}: {} is a corner, and the corners of a face want shots of its plane; shoot plane_1 and plane_2 on it",
                first.label
            )
            .into());
        }
        return Ok(composed);
    }
    group.only("sight").map(|_| Composed::default())
}

/// The rows of sights, and whether they are corners.
fn sights<'g>(group: &'g Group<'_>, of: &str) -> Result<(Vec<&'g RoleShot>, bool), Refusal> {
    let number = |row: &RoleShot| row.role.strip_prefix("corner_").and_then(|number| number.parse::<usize>().ok());
    let is_corner = |row: &&RoleShot| row.role == "corner" || number(row).is_some();
    let mut corners: Vec<&RoleShot> = group.sightings.iter().filter(is_corner).collect();
    let sights: Vec<&RoleShot> = group.with_role("sight").collect();
    match (corners.first(), sights.first()) {
        (Some(corner), Some(sight)) => Err(format!(
            "{of} has corners ({}) and a sight ({}); give the corners of a face a feature of their own, with the shots of its plane",
            corner.label, sight.label
        ).into()),
        (Some(_), None) if corners.len() < 3 => Err(format!(
            "{of} has {}; a face has three and more, sights with azimuth and inclination",
            counted(corners.len() as u64, "corner", "corners")
        ).into()),
        (Some(_), None) => {
            // Those with numbers by their numbers, behind those without.
            corners.sort_by_key(|row| number(row));
            Ok((corners, true))
        }
        (None, _) => Ok((sights, false)),
    }
}

/// Where each sight meets the surface.
struct Spots {
    met: Met,
    distances: Vec<Estimate>,
    incidences: Vec<Estimate>,
    parts: Vec<FoundPoint>,
    warnings: Vec<String>,
}

fn spots(
    group: &Group<'_>,
    sights: &[&RoleShot],
    known: &KnownSurface<'_, '_>,
    settings: &PlaneSettings<'_>,
) -> Result<Spots, Refusal> {
    let met = Met::find(group, sights, known, settings)?;
    let (mut distances, mut incidences, mut parts, mut warnings) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let (correlated, surface) = (&met.correlated, &known.surface);
    for (sight, aim) in sights.iter().zip(&met.aims) {
        let of = format!("{} of {}: sight {}", group.measure, group.name, sight.label);
        let distance = correlated.estimate(|points| aim.hit(surface, correlated, points).map_or(f64::NAN, |hit| hit.distance_m));
        let incidence = incidence(aim, surface, correlated);
        let point = part_of_points(correlated, (sight.base, group.base(sight)), "point", |points| {
            aim.hit(surface, correlated, points).map_or([f64::NAN; 3], |hit| hit.point)
        });
        let errors = [distance.sigma, incidence.sigma, point.covariance.horizontal_variance(), point.covariance.uu];
        if errors.iter().any(|error| !error.is_finite()) {
            return Err(format!("{of} gives no finite point; check its readings").into());
        }
        let angle_deg = 90.0 - incidence.value;
        if angle_deg < FLAT_DEG {
            warnings.push(format!(
                "sight {} meets the surface at {} only: errors along it are {:.1} times those of a sight square on",
                sight.label,
                group.said_deg(angle_deg, 1),
                1.0 / angle_deg.to_radians().sin()
            ));
        }
        if let Ok(hit) = aim.hit(surface, correlated, correlated.points()) {
            warnings.extend(beyond(group, correlated, &hit, known.shots.len(), sight));
        }
        if let Some(read) = sight.slope_m {
            warnings.push(format!(
                "sight {} has a distance, {}, which is not used; the surface is met at {}",
                sight.label,
                group.said_m(read, 2),
                group.said_m(distance.value, 2)
            ));
        }
        distances.push(distance);
        incidences.push(incidence);
        parts.push(point);
    }
    Ok(Spots { met, distances, incidences, parts, warnings })
}

/// The measurement of the spots: the values of one stand for the whole, those of several each for itself.
fn compose_spots(group: &Group<'_>, sights: &[&RoleShot], known: &KnownSurface<'_, '_>, spots: &Spots) -> Composed {
    let values = |i: usize| {
        vec![
            NamedValue { name: "distance_m", estimate: spots.distances[i] },
            NamedValue { name: "incidence_deg", estimate: spots.incidences[i] },
        ]
    };
    let mut warnings = known.warnings.clone();
    warnings.extend(spots.warnings.iter().cloned());
    let mut composed = Composed { parts: spots.parts.clone(), warnings, details: known.details.clone(), ..Composed::default() };
    let words = &known.words;
    if let [sight] = sights {
        composed.method = format!(
            "sight {} from base {} taken to meet {words}; incidence is measured from the surface's normal",
            sight.label,
            group.base(sight).label
        );
        composed.values = values(0);
        composed.shape = Shape::Point(spots.parts[0].at);
        return composed;
    }
    let labels: Vec<&str> = sights.iter().map(|row| row.label.as_str()).collect();
    composed.method = format!(
        "{} sights ({}) taken to meet {words}, each at a spot of its own; incidence is measured from the surface's normal",
        sights.len(),
        labels.join(", ")
    );
    composed.details.extend(sights.iter().enumerate().map(|(i, sight)| Detail {
        target: format!("sight {}", sight.label),
        place: sight.place,
        values: values(i),
        warnings: None,
    }));
    composed
}

#[cfg(test)]
mod tests;
