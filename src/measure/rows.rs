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

    /// A point that is shot from here and told in the axes of a base 36 km off, which lean by a third of a degree: the variance along any
    /// direction is the same in both.
    #[test]
    fn a_part_is_told_in_the_axes_of_its_base() {
        let mut scene = Scene::new(&[[0.0; 3], [30_000.0, -20_000.0, 50.0]], sigmas());
        scene.row(0, "toe", "A", [40.0, 30.0, 25.0]);
        scene.place_base(&Covariance { ee: 0.9, en: 0.3, eu: -0.2, nn: 0.4, nu: 0.1, uu: 1.6 });
        let group = scene.group("volume", "heap");
        let correlated = correlated(&group, &group.sightings.iter().collect::<Vec<_>>()).unwrap();
        let own = correlated.covariance_of(0);
        let along = |frame: &crate::geodesy::frame::LocalFrame, c: &Covariance, w: [f64; 3]| {
            let [e, n, u] = frame.axes().map(|axis| axis[0] * w[0] + axis[1] * w[1] + axis[2] * w[2]);
            c.ee * e * e + c.nn * n * n + c.uu * u * u + 2.0 * (c.en * e * n + c.eu * e * u + c.nu * n * u)
        };
        for base in [0, 1] {
            let made = part("top", &correlated, &scene.bases, base, |p| p[0].map(|x| x + 1.0));
            assert_eq!((made.role, made.base), ("top", base));
            let want = correlated.frame().to_earth_centred(correlated.points()[0].map(|x| x + 1.0));
            assert_eq!(made.at, want);
            for w in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.6, 0.8, 0.0], [0.0, 0.6, 0.8], [0.8, 0.0, 0.6]] {
                let (got, want) = (along(&scene.bases[base].frame, &made.covariance, w), along(correlated.frame(), &own, w));
                assert!((got - want).abs() < 1e-6, "{base} {w:?}: {got} {want}");
            }
        }
    }

    #[test]
    fn what_a_row_lacks_is_said() {
        let scene = scene();
        let mut group = scene.group("volume", "heap");
        assert_eq!(correlated(&group, &[]).unwrap_err(), "volume of heap has no shots");
        assert!(known_roles(&group, &["top", "toe"]).is_ok());
        for k in 0..3 {
            let mut odd = scene.group("volume", "heap");
            let vector = odd.sightings[2].vector.as_mut().unwrap();
            match k {
                0 => vector.east_m = f64::INFINITY,
                1 => vector.north_m = f64::NAN,
                _ => vector.up_m = Some(f64::NEG_INFINITY),
            }
            let rows: Vec<&RoleShot> = odd.sightings.iter().collect();
            assert!(correlated(&odd, &rows).unwrap_err().contains("row C (toe) has no usable readings"), "{k}");
        }
        group.sightings[0].vector = None;
        let rows: Vec<&RoleShot> = group.sightings.iter().collect();
        assert_eq!(
            correlated(&group, &rows).unwrap_err(),
            "volume of heap: row A (toe) has no azimuth or no distance; shoot it again with azimuth, inclination and distance"
        );
    }
}
