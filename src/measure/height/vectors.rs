//! Foot and top as two full shots, of one base or of two: the difference of their vectors, in the horizon of the foot.

use super::{part_of_vector, shape};
use crate::geodesy::covariance::{Covariance, ELLIPSE95, INTERVAL95};
use crate::geodesy::frame::full_circle_rad;
use crate::geodesy::register::Estimate;
use crate::measure::located::{direction_half95, length_excess_m2};
use crate::measure::{Composed, FoundPoint, Group, NamedValue, Refusal, RoleShot};
use crate::shots::located as shots;
use crate::shots::reduce::Vector;

/// Horizontal distance of a vector; errors of azimuth stand across it.
pub fn run(vector: &Vector) -> Estimate {
    let (sin, cos) = vector.east_m.atan2(vector.north_m).sin_cos();
    let scaled = |arm: [f64; 3], sigma: f64| Covariance::from_arm(arm.map(|metres| metres * sigma));
    let corrections =
        scaled(vector.by_inclination_m, vector.shares.inclination_rad) + scaled(vector.by_distance_m, vector.shares.distance_m);
    let c = vector.own() + corrections;
    let variance = sin * sin * c.ee + 2.0 * sin * cos * c.en + cos * cos * c.nn;
    Estimate { value: vector.horizontal_m, sigma: variance.max(0.0).sqrt() }
}

/// Computes a height from foot and top.
///
/// # Errors
/// When a vector has no height.
pub fn compose(group: &Group<'_>, ends: [(&RoleShot, &Vector); 2]) -> Result<Composed, Refusal> {
    let [(foot, foot_vector), (top, top_vector)] = ends;
    let correlated = shots::correlated(group.bases, &[(foot.base, foot_vector), (top.base, top_vector)])
        .ok_or_else(|| format!("{} of {}: a full shot without a height", group.measure, group.name))?;
    let difference = |p: &[[f64; 3]]| -> [f64; 3] { std::array::from_fn(|axis| p[1][axis] - p[0][axis]) };
    let [east, north, _] = difference(correlated.points());
    let offset_m = east.hypot(north);
    let azimuth_rad = east.atan2(north);
    let (sin, cos) = azimuth_rad.sin_cos();
    let [height, length, along, across, slant, e, n, both] = correlated.estimates(|p| {
        let [e, n, u] = difference(p);
        let (along, across) = (e * sin + n * cos, e * cos - n * sin);
        [u, e.hypot(n).hypot(u), along, across, along + across, e, n, e + n]
    });
    let squares = [along, across, slant].map(|part| part.sigma * part.sigma);
    let half95 = direction_half95(offset_m, squares[0], 0.5 * (squares[2] - squares[0] - squares[1]), squares[1]);
    let values = |pairs: &[(&'static str, Estimate)]| -> Vec<NamedValue> {
        pairs.iter().map(|(name, estimate)| NamedValue { name, estimate: *estimate }).collect()
    };
    let degrees = |of: Estimate| Estimate { value: of.value.to_degrees(), sigma: of.sigma.to_degrees() };
    let distance = run(foot_vector);
    let mut warnings = Vec::new();
    let values = if let Some(half95) = half95.filter(|_| offset_m > ELLIPSE95 * along.sigma) {
        let [offset, lean] = correlated.estimates(|p| {
            let [e, n, u] = difference(p);
            [e.hypot(n), e.hypot(n).atan2(u)]
        });
        let excess_m2 = length_excess_m2(offset_m, squares[1]);
        let more = |of: Estimate, by: f64| Estimate { sigma: of.sigma.hypot(by * excess_m2.sqrt()), ..of };
        // ∂lean/∂offset of lean = atan2(offset, height).
        let by_offset = height.value / (offset_m * offset_m + height.value * height.value);
        let (offset, lean) = (more(offset, 1.0), more(lean, by_offset));
        let lean_azimuth = Estimate { value: full_circle_rad(azimuth_rad), sigma: half95 / INTERVAL95 };
        values(&[
            ("height_m", height),
            ("length_m", length),
            ("lean_deg", degrees(lean)),
            ("lean_azimuth_deg", degrees(lean_azimuth)),
            ("horizontal_offset_m", offset),
            ("distance_m", distance),
        ])
    } else {
        let en = 0.5 * (both.sigma.powi(2) - e.sigma.powi(2) - n.sigma.powi(2));
        let horizontal = Covariance { ee: e.sigma.powi(2), en, nn: n.sigma.powi(2), ..Covariance::default() };
        let offset = Estimate { value: offset_m, sigma: horizontal.ellipse95().major_m / ELLIPSE95 };
        let square = offset_m * offset_m + height.value * height.value;
        let lean = Estimate {
            value: offset_m.atan2(height.value),
            sigma: (height.value * offset.sigma).hypot(offset_m * height.sigma) / square,
        };
        warnings.push(format!(
            "the top lies over the foot within the error of both ({}, standard error {}): the lean may be none, \
             and has no azimuth",
            group.said_m(offset.value, 2),
            group.said_m(offset.sigma, 2)
        ));
        values(&[
            ("height_m", height),
            ("length_m", length),
            ("lean_deg", degrees(lean)),
            ("horizontal_offset_m", offset),
            ("distance_m", distance),
        ])
    };
    let parts: Vec<FoundPoint> = [("foot", ends[0]), ("top", ends[1])]
        .into_iter()
        .filter_map(|(role, (row, v))| part_of_vector(group, role, row, v))
        .collect();
    let method =
        format!("two full shots, foot (row {}) and top (row {}): the difference of their vectors", foot.label, top.label);
    Ok(Composed { method, values, shape: shape(&parts), parts, warnings, ..Composed::default() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::register::BaseErrors;
    use crate::measure::located::covariance_of;
    use crate::measure::trial::{EXACT, Field, HANDHELD};

    /// Steps of a quarter of a circle that are looked at.
    const LOOKS: u32 = 200_000;

    /// Foot and top from two bases that err by these covariances alone, the top so far from the foot.
    fn ends(to: [f64; 3], covariances: [Covariance; 2]) -> Field {
        let mut field = Field::new(EXACT, [1.0, 1.0]).with_base([40.0, -30.0, 2.0], [1.0, 1.0]);
        for (i, covariance) in covariances.iter().enumerate() {
            field.bases[i].errors = BaseErrors::from_covariance(i, covariance, 0.0);
        }
        field.shot(0, "foot", [10.0, 25.0, 1.0]);
        field.shot(1, "top", [10.0 + to[0], 25.0 + to[1], 1.0 + to[2]]);
        field
    }

    fn composed(field: &Field) -> Composed {
        let group = field.group("height");
        let rows = &group.sightings;
        compose(&group, [(&rows[0], rows[0].vector.as_ref().unwrap()), (&rows[1], rows[1].vector.as_ref().unwrap())]).unwrap()
    }

    fn value(composed: &Composed, name: &str) -> Option<Estimate> {
        composed.values.iter().find(|value| value.name == name).map(|value| value.estimate)
    }

    #[test]
    fn a_lean_by_the_covariance_of_the_difference() {
        let covariances = [
            Covariance { ee: 0.6, nn: 0.3, uu: 0.4, en: 0.2, eu: 0.1, nu: -0.1 },
            Covariance { ee: 0.4, nn: 0.2, uu: 0.3, en: -0.1, eu: 0.0, nu: 0.1 },
        ];
        for to in [[6.0, 2.0, 20.0], [-5.0, 4.0, 12.0], [-3.0, -5.0, 30.0], [4.0, -3.0, -15.0]] {
            let field = ends(to, covariances);
            let rows = &field.sightings;
            let vectors = [(0, rows[0].vector.as_ref().unwrap()), (1, rows[1].vector.as_ref().unwrap())];
            let correlated = shots::correlated(&field.bases, &vectors).unwrap();
            let c = covariance_of(&correlated, |p| std::array::from_fn(|k| p[1][k] - p[0][k]));
            let found = composed(&field);
            let [e, n, u] = to;
            let (h, s) = (e.hypot(n), e.hypot(n).hypot(u));
            let variance = |g: [f64; 3]| {
                let full = [[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]];
                (0..9).map(|k| g[k / 3] * full[k / 3][k % 3] * g[k % 3]).sum::<f64>()
            };
            // What the law of propagation leaves out of a length: the error across it, 3 σ⁴/4 L².
            let across = variance([n / h, -e / h, 0.0]);
            let excess = (0.75 * across * across / (h * h)).min(across);
            for (name, want, gradient, more) in [
                ("height_m", u, [0.0, 0.0, 1.0], 0.0),
                ("length_m", s, [e / s, n / s, u / s], 0.0),
                ("horizontal_offset_m", h, [e / h, n / h, 0.0], 1.0),
                ("lean_deg", h.atan2(u), [u * e / (h * s * s), u * n / (h * s * s), -h / (s * s)], u / (s * s)),
            ] {
                let turn: f64 = if name == "lean_deg" { 1f64.to_degrees() } else { 1.0 };
                let got = value(&found, name).unwrap();
                let sigma = turn * (variance(gradient) + more * more * excess).sqrt();
                // The frame at the foot leans by some micrometres.
                assert!((got.value - turn * want).abs() < 1e-3, "{to:?} {name}: {got:?} {want}");
                assert!((got.sigma - sigma).abs() < 1e-4 * turn, "{to:?} {name}: {got:?} {sigma}");
            }
            let is_within = |turn: f64| {
                let (sin, cos) = (e.atan2(n) + turn).sin_cos();
                (e * cos - n * sin).abs() <= INTERVAL95 * (c.ee * cos * cos - 2.0 * c.en * cos * sin + c.nn * sin * sin).sqrt()
            };
            let turns = (0..LOOKS).map(|i| f64::from(i) * std::f64::consts::FRAC_PI_2 / f64::from(LOOKS));
            let half = turns.filter(|turn| is_within(*turn) || is_within(-turn)).fold(0.0, f64::max);
            let azimuth = value(&found, "lean_azimuth_deg").unwrap();
            assert!((azimuth.sigma.to_radians() * INTERVAL95 - half).abs() < 2e-5, "{to:?}: {azimuth:?} {half}");
            assert!((azimuth.value - e.atan2(n).to_degrees().rem_euclid(360.0)).abs() < 1e-2, "{azimuth:?}");
        }
    }

    /// Errors of √3 along N 45° E and 1 across, 2 up: a lean has an azimuth beyond 2.4477 times what they are along it, where its direction has an interval.
    #[test]
    fn where_a_lean_has_an_azimuth() {
        let aslant = Covariance { ee: 1.0, nn: 1.0, uu: 2.0, en: 0.5, eu: 0.0, nu: 0.0 };
        for (azimuth_deg, along) in [(45f64, 3f64.sqrt()), (135.0, 1.0)] {
            let (sin, cos) = azimuth_deg.to_radians().sin_cos();
            for (share, leans) in [(0.998, false), (1.002, true)] {
                let offset = share * ELLIPSE95 * along;
                let found = composed(&ends([offset * sin, offset * cos, 30.0], [aslant; 2]));
                assert_eq!(value(&found, "lean_azimuth_deg").is_some(), leans, "{azimuth_deg} {share}");
                assert_eq!(found.warnings.len(), usize::from(!leans));
                if !leans {
                    let of = value(&found, "horizontal_offset_m").unwrap();
                    assert!((of.sigma - 3f64.sqrt()).abs() < 1e-4, "{of:?}");
                    let want = (30.0 * 3f64.sqrt()).hypot(offset * 2.0) / (offset * offset + 900.0);
                    let lean = value(&found, "lean_deg").unwrap();
                    assert!((lean.sigma.to_radians() - want).abs() < 1e-5, "{lean:?} {want}");
                }
            }
        }
    }

    /// Along the sight a distance errs by its reading and by what corrections share; an azimuth moves nothing there.
    #[test]
    fn a_distance_errs_along_its_sight() {
        let mut field = Field::new(HANDHELD, [1.0, 1.0]);
        for azimuth in [20.0, 110.0, 250.0] {
            let row = field.reading(0, "foot", azimuth, 30.0, 50.0);
            row.shares = crate::geodesy::register::Shares { inclination_rad: 0.004, distance_m: 0.03, ..Default::default() };
            let shares = row.shares;
            let vector = Vector { shares, ..row.vector.unwrap() };
            let got = run(&vector);
            // 50 cos 30°; ∂/∂I = −50 sin 30°, ∂/∂S = cos 30°.
            let want = (25.0 * 0.2f64.to_radians().hypot(0.004)).hypot(30f64.to_radians().cos() * 0.05f64.hypot(0.03));
            assert!(
                (got.value - 50.0 * 30f64.to_radians().cos()).abs() < 1e-3 && (got.sigma - want).abs() < 1e-4,
                "{got:?} {want}"
            );
        }
    }
}
