//! A feature that was shot several times, as one point: the mean of its shots.
//!
//! The mean is unweighted. How the errors of shots from one base hang together is not in a layer, so that the covariance of their mean is
//! taken as the mean of their covariances: it is never more than that, whatever the correlation (the variance of a mean is convex). Means of
//! several bases are independent: with n_g of n shots from base g, C = Σ (n_g / n)² C_g. Shots that disagree by more than their
//! uncertainty explains in one of a thousand cases are not joined, nor are parts of composed measurements.

use std::collections::BTreeMap;

use super::{HeightKnown, MappedPoint, horizontal_difference_m};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::review::assess::honesty::{square_horizontal, square_vertical};
use crate::review::assess::probability::{chi_squared_two, normal_two_sided};

/// Chance below which two shots are not of one spot.
const DISAGREEMENT: f64 = 0.001;

/// Points in which the shots of each feature are joined, in the order of their first shots, and how many features were joined.
pub fn join_repeats(points: &[MappedPoint], ellipsoid: &Ellipsoid) -> (Vec<MappedPoint>, usize) {
    let mut groups: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (i, point) in points.iter().enumerate().filter(|(_, point)| !point.is_part) {
        if let Some(name) = point.named.as_deref().or(point.feature.as_deref()).filter(|name| !name.is_empty()) {
            groups.entry(name).or_default().push(i);
        }
    }
    let mut replaced: Vec<Option<MappedPoint>> = points.iter().cloned().map(Some).collect();
    let mut count = 0;
    for indices in groups.values().filter(|indices| indices.len() > 1) {
        let shots: Vec<&MappedPoint> = indices.iter().filter_map(|i| points.get(*i)).collect();
        let Some(mean) = mean(&shots, ellipsoid) else { continue };
        count += 1;
        let mut mean = Some(mean);
        for i in indices {
            if let Some(place) = replaced.get_mut(*i) {
                // The first shot's place; the others' are emptied.
                *place = mean.take();
            }
        }
    }
    (replaced.into_iter().flatten().collect(), count)
}

/// The mean of shots; none where they disagree.
fn mean(shots: &[&MappedPoint], ellipsoid: &Ellipsoid) -> Option<MappedPoint> {
    let (first, others) = shots.split_first()?;
    if others.iter().any(|other| disagree(first, other, ellipsoid)) {
        return None;
    }
    let n = shots.len() as f64;
    let offsets: Vec<[f64; 2]> = shots.iter().map(|shot| horizontal_difference_m(&first.at, &shot.at, ellipsoid)).collect();
    let [east_m, north_m] = [0, 1].map(|axis| offsets.iter().filter_map(|offset| offset.get(axis)).sum::<f64>() / n);
    let frame = LocalFrame::at(&first.at, ellipsoid);
    let at = Geodetic::from_earth_centred(frame.to_earth_centred([east_m, north_m, 0.0]), ellipsoid);
    let weights = weights(shots);
    let weighted = |value: &dyn Fn(&MappedPoint) -> Option<f64>| -> Option<f64> {
        shots.iter().zip(&weights).map(|(shot, weight)| value(shot).map(|value| weight * value)).sum()
    };
    let average = |value: fn(&HeightKnown) -> Option<f64>| -> Option<f64> {
        shots.iter().map(|shot| value(&shot.heights)).sum::<Option<f64>>().map(|sum| sum / n)
    };
    let covariance = shots.iter().zip(&weights).map(|(shot, weight)| {
        let Covariance { ee, en, nn, .. } = shot.covariance?;
        Some(Covariance { ee: weight * ee, en: weight * en, nn: weight * nn, ..Covariance::default() })
    });
    let covariance: Option<Vec<Covariance>> = covariance.collect();
    let is_of_one_kind = others.iter().all(|other| other.heights.kind == first.heights.kind);
    let heights = HeightKnown {
        ellipsoid_m: average(|heights| heights.ellipsoid_m),
        orthometric_m: average(|heights| heights.orthometric_m),
        kind: first.heights.kind,
        sigma_m: weighted(&|shot| shot.heights.sigma_m.map(|sigma| sigma * sigma)).map(f64::sqrt).filter(|_| is_of_one_kind),
        sigma_geoid_m: first.heights.sigma_geoid_m,
    };
    Some(MappedPoint {
        at: Geodetic { ellipsoid_height_m: heights.stand_in_m(), ..at },
        heights,
        covariance: covariance.map(|all| all.into_iter().fold(Covariance::default(), |sum, one| sum + one)),
        time: shots.iter().filter_map(|shot| shot.time).max(),
        base_share: None,
        is_joined: true,
        base: first.base.clone().filter(|base| others.iter().all(|other| other.base.as_ref() == Some(base))),
        ..(*first).clone()
    })
}

/// What each shot's covariance counts for in that of the mean: n_g / n² for each of the n_g shots of its base. Shots without a base are
/// taken as of one.
fn weights(shots: &[&MappedPoint]) -> Vec<f64> {
    let n = shots.len() as f64;
    let of_base = |shot: &MappedPoint| shots.iter().filter(|other| other.base == shot.base).count() as f64;
    shots.iter().map(|shot| of_base(shot) / (n * n)).collect()
}

fn disagree(one: &MappedPoint, other: &MappedPoint, ellipsoid: &Ellipsoid) -> bool {
    let apart = horizontal_difference_m(&one.at, &other.at, ellipsoid);
    let square = one.covariance.zip(other.covariance).and_then(|(a, b)| square_horizontal(apart, &(a + b)));
    let height = one.heights.to(&other.heights);
    let step = height.and_then(|height| square_vertical(height.metres, height.sigma_first_m?.hypot(height.sigma_second_m?)));
    square.is_some_and(|square| chi_squared_two(square) < DISAGREEMENT)
        || step.is_some_and(|square| normal_two_sided(square.sqrt()) < DISAGREEMENT)
}

#[cfg(test)]
mod tests {
    use super::super::invented::point;
    use super::*;

    const WGS84: Ellipsoid = Ellipsoid::WGS84;

    fn shot(feature: &str, base: &str, [east_m, north_m, up_m]: [f64; 3], sigma_m: f64) -> MappedPoint {
        let origin = Geodetic { lat_rad: 0.9, lon_rad: 0.1, ellipsoid_height_m: 100.0 };
        let place = LocalFrame::at(&origin, &WGS84).to_earth_centred([east_m, north_m, up_m]);
        MappedPoint {
            base: Some(base.to_owned()),
            heights: HeightKnown { ellipsoid_m: Some(100.0 + up_m), sigma_m: Some(sigma_m), ..HeightKnown::default() },
            covariance: Some(Covariance::from_sigmas(sigma_m, 0.0)),
            ..point(feature, Geodetic::from_earth_centred(place, &WGS84))
        }
    }

    #[test]
    fn shots_of_two_bases_by_hand() {
        // Two of A and one of B: C = (2/3)² · 0.09 + (1/3)² · 0.09 = 0.05.
        let points = [
            shot("N1", "A", [0.0, 0.0, 0.0], 0.3),
            shot("N2", "A", [9.0, 0.0, 0.0], 0.3),
            shot("N1", "A", [0.3, 0.0, 0.3], 0.3),
            shot("N1", "B", [0.0, 0.6, 0.6], 0.3),
        ];
        let (joined, count) = join_repeats(&points, &WGS84);
        assert_eq!((joined.len(), count), (2, 1));
        let mean = &joined[0];
        let [east_m, north_m] = horizontal_difference_m(&points[0].at, &mean.at, &WGS84);
        assert!((east_m - 0.1).abs() < 1e-6 && (north_m - 0.2).abs() < 1e-6, "{east_m} {north_m}");
        assert!((mean.heights.ellipsoid_m.unwrap() - 100.3).abs() < 1e-9);
        assert!(
            (mean.covariance.unwrap().ee - 0.05).abs() < 1e-12 && (mean.heights.sigma_m.unwrap() - 0.05f64.sqrt()).abs() < 1e-12
        );
        assert_eq!((mean.base.as_deref(), joined[1].base.as_deref()), (None, Some("A")));
    }

    #[test]
    fn what_disagrees_or_is_a_part_stays_apart() {
        let far = [shot("N1", "A", [0.0, 0.0, 0.0], 0.1), shot("N1", "A", [1.0, 0.0, 0.0], 0.1)];
        assert_eq!(join_repeats(&far, &WGS84).1, 0);
        let high = [shot("N1", "A", [0.0, 0.0, 0.0], 0.1), shot("N1", "A", [0.0, 0.0, 1.0], 0.1)];
        assert_eq!(join_repeats(&high, &WGS84).0.len(), 2);
        let parts = [far[0].clone(), far[0].clone()].map(|point| MappedPoint { is_part: true, ..point });
        assert_eq!(join_repeats(&parts, &WGS84), (parts.to_vec(), 0));
    }
}
