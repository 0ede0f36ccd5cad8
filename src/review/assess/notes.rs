//! What must be known to read an assessment, in sentences.

use std::collections::BTreeSet;

use super::Request;
use super::check_points::CheckPoints;
use super::errors::PointError;
use super::moments::{Errors, Moments};
use crate::stations::base::HeightKind;

/// What must be known to read the figures.
pub fn notes(
    errors: &Errors,
    points: &[PointError],
    checks: &CheckPoints,
    request: &Request,
    has_uncertainty: bool,
) -> Vec<String> {
    let mut notes = Vec::new();
    for (axis, moments) in [("East", Some(errors.east)), ("North", Some(errors.north)), ("Height", errors.up)] {
        if let Some(moments) = moments.filter(Moments::is_shifted) {
            notes.push(format!(
                "{axis} errors have a mean of {:+.3} m, which chance alone does not explain (probability {:.3}): look for a datum, a height \
                 of instrument or antenna, or a north. The RMSE has it in; the standards want it found and taken off at its source.",
                moments.mean_m,
                moments.shift_probability.unwrap_or(0.0)
            ));
        }
    }
    let features: BTreeSet<u64> = points.iter().map(|point| point.check_line).collect();
    if features.len() < points.len() {
        notes.push(format!(
            "The {} points are of {} features: shots of one feature share the error of its check point, and count for less than as many features.",
            points.len(),
            features.len()
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
            "{flat} of {} points have no kind of height in common with their check points (ellipsoidal or orthometric), and are not in the \
             figures of heights.",
            points.len()
        ));
    }
    if points.iter().any(|point| point.height_kind == Some(HeightKind::Orthometric.word())) {
        notes.push("Orthometric heights are taken as of one vertical datum.".to_owned());
    }
    if let Some(within_m) = request.within_m {
        notes.push(format!(
            "Matched by distance: an error above {within_m} m cannot show here. Check points without a match may be such errors."
        ));
    }
    if checks.is_crs_of_layer {
        notes.push(format!("The check points name no CRS; they are taken as in that of the layer, {}.", checks.crs));
    }
    notes.extend(checks.step.as_ref().map(|step| step.sentence()));
    notes
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
