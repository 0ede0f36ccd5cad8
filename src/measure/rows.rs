//! From a group's rows to points: what every measurement by full shots (azimuth, inclination and
//! distance) asks of its rows, in sentences, and the pieces of a [`CorrelatedPoints`] that it then works on.

use crate::geodesy::covariance::Covariance;
use crate::geodesy::register::{CorrelatedPoints, Origin};
use crate::measure::{FoundPoint, Group, Refusal, RoleShot};
use crate::shots::located;
use crate::shots::reduce::Vector;

/// Refuses a group with a row of a role that the measurement does not know.
///
/// # Errors
/// Names the row and the roles that there are.
pub fn known_roles(group: &Group<'_>, roles: &[&str]) -> Result<(), Refusal> {
    match group.sightings.iter().find(|row| !roles.contains(&row.role.as_str())) {
        None => Ok(()),
        Some(row) => Err(format!(
            "{} of {}: row {} has the role \"{}\"; give it one of {}",
            group.measure,
            group.name,
            row.label,
            row.role,
            roles.join(", ")
        )
        .into()),
    }
}

/// The points of rows with their joint covariance.
///
/// # Errors
/// Names the first row that is no full shot.
pub fn correlated(group: &Group<'_>, rows: &[&RoleShot]) -> Result<CorrelatedPoints, Refusal> {
    let refuse = |row: &RoleShot, what: &str| {
        Refusal::from(format!(
            "{} of {}: row {} ({}) has no {what}; shoot it again with azimuth, inclination and distance",
            group.measure, group.name, row.label, row.role
        ))
    };
    let mut shots: Vec<(usize, &Vector)> = Vec::with_capacity(rows.len());
    for row in rows {
        let vector = row.vector.as_ref().ok_or_else(|| refuse(row, "azimuth or no distance"))?;
        let up_m = vector.up_m.ok_or_else(|| refuse(row, "height"))?;
        if ![vector.east_m, vector.north_m, up_m].iter().all(|v| v.is_finite()) {
            return Err(refuse(row, "usable readings"));
        }
        shots.push((row.base, vector));
    }
    located::correlated(group.bases, &shots).ok_or_else(|| format!("{} of {} has no shots", group.measure, group.name).into())
}

/// A point that follows from correlated points, with its covariance in the axes of a base.
pub fn part(
    role: &'static str,
    correlated: &CorrelatedPoints,
    bases: &[Origin],
    base: usize,
    point: impl Fn(&[[f64; 3]]) -> [f64; 3],
) -> FoundPoint {
    let (own, to) = (correlated.frame().axes(), bases[base].frame.axes());
    let turn: [[f64; 3]; 3] = std::array::from_fn(|r| std::array::from_fn(|c| (0..3).map(|k| to[r][k] * own[c][k]).sum()));
    // Covariances from variances of sums: 2 cov(x, y) = var(x + y) − var x − var y.
    let found = correlated.estimates(|points| {
        let p = point(points);
        let [e, n, u] = turn.map(|row| row[0] * p[0] + row[1] * p[1] + row[2] * p[2]);
        [e, n, u, e + n, e + u, n + u]
    });
    let [ee, nn, uu, en, eu, nu] = found.map(|f| f.sigma * f.sigma);
    let both = |sum: f64, x: f64, y: f64| 0.5 * (sum - x - y);
    let covariance = Covariance { ee, en: both(en, ee, nn), eu: both(eu, ee, uu), nn, nu: both(nu, nn, uu), uu };
    FoundPoint { role, at: correlated.frame().to_earth_centred(point(correlated.points())), base, covariance }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::fixture::{Scene, sigmas};

    fn scene() -> Scene {
        let mut scene = Scene::new(&[[0.0; 3], [80.0, 10.0, 2.0]], sigmas());
        scene.row(0, "toe", "A", [40.0, 30.0, 5.0]);
        scene.row(1, "toe", "B", [45.0, 60.0, 1.0]);
        scene.row(0, "toe", "C", [10.0, 60.0, -1.0]);
        scene
    }

    #[test]
    fn a_part_that_is_a_point_has_its_covariance() {
        let scene = scene();
        let group = scene.group("volume", "heap");
        let correlated = correlated(&group, &group.sightings.iter().collect::<Vec<_>>()).unwrap();
        let made = part("top", &correlated, &scene.bases, 0, |p| p[0]);
        // The norths of two frames 50 m apart differ by 50 m tan 47° / R = 8e-6 rad, a covariance by twice that.
        let want = correlated.covariance_of(0);
        for (got, want) in [(made.covariance.ee, want.ee), (made.covariance.en, want.en), (made.covariance.nu, want.nu)] {
            assert!((got - want).abs() < 2e-5 * want.abs().max(0.01), "{got} {want}");
        }
    }

    #[test]
    fn a_subset_keeps_what_points_share() {
        let scene = scene();
        let group = scene.group("volume", "heap");
        let all = correlated(&group, &group.sightings.iter().collect::<Vec<_>>()).unwrap();
        let two = all.subset(&[2, 0]);
        let length = |a: usize, b: usize| move |p: &[[f64; 3]]| (p[a][0] - p[b][0]).hypot(p[a][1] - p[b][1]);
        assert_eq!(two.estimate(length(0, 1)), all.estimate(length(2, 0)));
    }

    #[test]
    fn a_row_that_is_no_full_shot_is_named() {
        let scene = scene();
        let mut group = scene.group("volume", "heap");
        let vector = group.sightings[1].vector.as_mut().unwrap();
        vector.up_m = None;
        let rows: Vec<&RoleShot> = group.sightings.iter().collect();
        assert_eq!(
            correlated(&group, &rows).unwrap_err(),
            "volume of heap: row B (toe) has no height; shoot it again with azimuth, inclination and distance"
        );
        group.sightings[1].vector.as_mut().unwrap().up_m = Some(f64::NAN);
        let rows: Vec<&RoleShot> = group.sightings.iter().collect();
        assert!(correlated(&group, &rows).unwrap_err().contains("row B (toe) has no usable readings"));
        assert_eq!(
            known_roles(&group, &["crest", "top"]).unwrap_err(),
            "volume of heap: row A has the role \"toe\"; give it one of crest, top"
        );
    }
}
