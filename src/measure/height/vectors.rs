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
