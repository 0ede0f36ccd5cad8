//! What must be known to read an assessment, in sentences.

use std::collections::BTreeSet;

use super::AssessRequest;
use super::check_points::CheckPoints;
use super::errors::PointError;
use super::means::sigma_of_mean_m;
use super::moments::{ErrorMoments, Moments};
use crate::geodesy::covariance::INTERVAL95;
use crate::numeric::words::{capital, counted, of_all};
use crate::stations::base::HeightKind;
use crate::units::Shown;

/// What must be known to read the figures.
pub fn notes(
    errors: &ErrorMoments,
    points: &[PointError],
    checks: &CheckPoints,
    request: &AssessRequest,
    has_uncertainty: bool,
) -> Vec<String> {
    let length = request.units.length();
    let mut notes = Vec::new();
    let axes = [("East", Some(errors.east)), ("North", Some(errors.north)), ("Height", errors.up)];
    for (number, (axis, moments)) in axes.into_iter().enumerate() {
        if let Some(moments) = moments.filter(Moments::is_shifted) {
            let step_m = checks.step.as_ref().map_or(0.0, |step| step.accuracy_m);
            notes.push(shift(axis, &moments, sigma_of_mean_m(points, number, step_m), &length));
        }
    }
    let features: BTreeSet<u64> = points.iter().map(|point| point.check_line).collect();
    if features.len() < points.len() {
        notes.push(format!(
            "The {} points are of {}: shots of one feature share the error of its check point, and count for less than as many features.",
            points.len(),
            counted(features.len() as u64, "feature", "features")
        ));
    }
    notes.extend(shared(points).filter(|_| has_uncertainty));
    if has_uncertainty && points.iter().any(|point| point.check_sigma_horizontal_m.is_none()) {
        notes.push(
            "The standard errors of check points are not stated for all; where they are not, the check point is taken as free of error in \
             the shares, which makes stated uncertainties look too small."
                .to_owned(),
        );
    }
    if !has_uncertainty {
        notes.push(
            "The layer states no uncertainty (sigma_east_m, sigma_north_m), so that nothing is said of its honesty.".to_owned(),
        );
    }
    let flat = points.iter().filter(|point| point.up_m.is_none()).count();
    if flat > 0 {
        notes.push(format!(
            "{} no kind of height in common with the check point (ellipsoidal or orthometric), and {} not in the figures of heights.",
            capital(&of_all(flat as u64, points.len() as u64, ["point", "points"], ["has", "have"])),
            if flat == 1 { "is" } else { "are" }
        ));
    }
    if points.iter().any(|point| point.height_kind == Some(HeightKind::Orthometric.word())) {
        notes.push("Orthometric heights are taken as of one vertical datum.".to_owned());
    }
    if let Some(within_m) = request.within_m {
        notes.push(format!(
            "Matched by distance: an error above {} cannot show here. Check points without a match may be such errors.",
            length.told(within_m)
        ));
    }
    if checks.is_crs_of_layer {
        notes.push(format!("The check points name no CRS; they are taken as in that of the layer, {}.", checks.crs));
    }
    notes.extend(checks.step.as_ref().map(|step| step.sentence(&length)));
    notes
}

/// What a mean that the scatter of the errors does not explain says; `sigma_m` is its standard error by what the points state, where that is known.
fn shift(axis: &str, moments: &Moments, sigma_m: Option<f64>, length: &Shown) -> String {
    let (mean_m, probability) = (moments.mean_m, moments.shift_probability.unwrap_or(0.0));
    let seen = format!(
        "{axis} errors have a mean of {}, which their scatter does not explain (probability {probability:.3})",
        length.signed(mean_m, 3)
    );
    let look = "look for a datum, a height of instrument or antenna, or a north. The RMSE has it in; the standards want it found and taken \
                off at its source.";
    match sigma_m {
        Some(sigma_m) if mean_m.abs() <= INTERVAL95 * sigma_m => format!(
            "{seen}. What the points err by together does: a mean of these has a standard error of {} by the layer's own figures. \
             Shots from other bases, or of another day, would tell whether there is more to it.",
            length.said(sigma_m, 3)
        ),
        Some(sigma_m) => {
            format!(
                "{seen}, nor does what the points err by together (a standard error of {} by the layer's own figures): {look}",
                length.said(sigma_m, 3)
            )
        }
        None => format!(
            "{seen}: {look} What the points err by together is not told here, and may be a part of it: those of one base, or of one network, \
             are off alike."
        ),
    }
}

/// What the errors of points hang together by.
fn shared(points: &[PointError]) -> Option<String> {
    let adjusted = points.iter().filter(|point| point.is_adjusted).count();
    let bases: BTreeSet<&str> = points.iter().filter_map(|point| point.base.as_deref()).collect();
    let shot = points.iter().filter(|point| point.base.is_some()).count();
    let by_network = match adjusted {
        0 => None,
        1 => Some("1 point was placed by a network from several bases".to_owned()),
        many => Some(format!("{many} points were placed by a network from several bases")),
    };
    let by_base = (!bases.is_empty() && bases.len() < shot).then(|| {
        let stations = if bases.len() == 1 { "1 base".to_owned() } else { format!("{} bases", bases.len()) };
        if shot == points.len() {
            format!("The {shot} points were shot from {stations}")
        } else {
            format!("{shot} of the {} points were shot from {stations}", points.len())
        }
    });
    let said: Vec<String> = by_base.into_iter().chain(by_network).collect();
    if said.is_empty() {
        return None;
    }
    Some(format!(
        "{}. Points of one base, or of one network, share its errors, so that they count for less than as many independent ones, and the \
         intervals of the shares are narrower than they should be.",
        said.join("; ")
    ))
}

#[cfg(test)]
mod tests {
    use super::super::standards::tests::point;
    use super::*;
    use crate::review::finished::RecordedPointArms;

    /// What is said of points, with and without uncertainty.
    fn said(points: &[PointError], has_uncertainty: bool, within_m: Option<f64>) -> Vec<String> {
        let horizontal: Vec<[f64; 2]> = points.iter().map(|point| [point.east_m, point.north_m]).collect();
        let up: Vec<f64> = points.iter().filter_map(|point| point.up_m).collect();
        let checks =
            CheckPoints { points: Vec::new(), crs: "EPSG:32630".into(), is_crs_of_layer: within_m.is_some(), step: None };
        let request = AssessRequest { within_m, ..AssessRequest::default() };
        notes(&ErrorMoments::from_errors(&horizontal, &up).unwrap(), points, &checks, &request, has_uncertainty)
    }

    /// Errors about 0 with standard errors of check points, each of a base of its own.
    fn scattered(count: usize) -> Vec<PointError> {
        let error = |i: usize| 0.1 * ((i % 4) as f64 - 1.5);
        (0..count)
            .map(|i| PointError {
                base: Some(format!("B{i}")),
                ..point(i as u64, error(i), error(i + 1), Some(error(i + 2)), Some(0.05))
            })
            .collect()
    }

    #[test]
    fn of_sound_points_nothing_is_said() {
        assert_eq!(said(&scattered(8), true, None), Vec::<String>::new());
        let unstated = "The layer states no uncertainty (sigma_east_m, sigma_north_m), so that nothing is said of its honesty.";
        assert_eq!(said(&scattered(8), false, None), [unstated]);
        assert_eq!(
            said(&scattered(8), true, Some(2.5)),
            [
                "Matched by distance: an error above 2.5 m cannot show here. Check points without a match may be such errors.",
                "The check points name no CRS; they are taken as in that of the layer, EPSG:32630."
            ]
        );
    }

    #[test]
    fn what_points_have_in_common_is_counted() {
        let mut points = scattered(8);
        points[7].check_line = 0;
        points[3].check_sigma_horizontal_m = None;
        points[4].up_m = None;
        points[5].height_kind = Some("orthometric");
        let notes = said(&points, true, None);
        assert_eq!(notes.len(), 4, "{notes:?}");
        assert_eq!(
            notes[0],
            "The 8 points are of 7 features: shots of one feature share the error of its check point, and count for less than as many features."
        );
        assert!(notes[1].starts_with("The standard errors of check points are not stated for all"));
        assert_eq!(
            notes[2],
            "1 of 8 points has no kind of height in common with the check point (ellipsoidal or orthometric), and is not in the figures of \
             heights."
        );
        assert_eq!(notes[3], "Orthometric heights are taken as of one vertical datum.");
        points[2].up_m = None;
        assert!(said(&points, true, None)[2].starts_with("2 of 8 points have no kind of height in common"));
        assert!(said(&points, true, None)[2].ends_with("and are not in the figures of heights."));
    }

    #[test]
    fn points_of_one_base_or_of_a_network_share_its_errors() {
        let of = |bases: &[Option<&str>], adjusted: usize| {
            let points: Vec<PointError> = bases
                .iter()
                .enumerate()
                .map(|(i, base)| PointError {
                    base: base.map(str::to_owned),
                    is_adjusted: i < adjusted,
                    ..point(i as u64, 0.1, 0.1, None, None)
                })
                .collect();
            shared(&points).map(|said| said.split(". ").next().unwrap().to_owned())
        };
        assert_eq!(of(&[Some("A"), Some("B"), None], 0), None);
        assert_eq!(of(&[Some("A"), Some("A")], 0).unwrap(), "The 2 points were shot from 1 base");
        assert_eq!(of(&[Some("A"), Some("A"), Some("B")], 0).unwrap(), "The 3 points were shot from 2 bases");
        assert_eq!(of(&[Some("A"), Some("A"), None], 0).unwrap(), "2 of the 3 points were shot from 1 base");
        assert_eq!(of(&[None, Some("A")], 1).unwrap(), "1 point was placed by a network from several bases");
        assert_eq!(
            of(&[None, None, Some("A"), Some("A")], 2).unwrap(),
            "2 of the 4 points were shot from 1 base; 2 points were placed by a network from several bases"
        );
    }

    /// Errors of 1 m and a little: a standard error of their mean of 1/1.96 m and a little more explains it, a smaller one does not.
    #[test]
    fn a_shift_is_explained_by_what_the_points_err_by_together() {
        let of = |shared_m: Option<f64>| {
            let points: Vec<PointError> = (0..6)
                .map(|i| {
                    let mut error =
                        point(i, if i % 2 == 0 { 0.9 } else { 1.1 }, if i % 2 == 0 { 0.1 } else { -0.1 }, None, Some(0.05));
                    error.base = Some(format!("B{i}"));
                    error.sigmas_m = [shared_m, shared_m, None];
                    error.arms =
                        shared_m.map(|metres| RecordedPointArms::from_arms(&[("step of the network", [metres, metres, 0.0])]));
                    error
                })
                .collect();
            said(&points, true, None).remove(0)
        };
        let seen = "East errors have a mean of +1.000 m, which their scatter does not explain (probability 0.000)";
        let edge = 1.0 / INTERVAL95;
        assert!(of(Some(1.001 * edge)).starts_with(&format!(
            "{seen}. What the points err by together does: a mean of these has a standard error of 0.511 m"
        )));
        assert!(
            of(Some(0.999 * edge))
                .starts_with(&format!("{seen}, nor does what the points err by together (a standard error of 0.510 m"))
        );
        assert!(of(None).starts_with(&format!("{seen}: look for a datum")) && of(None).ends_with("are off alike."));
    }
}
