//! The same features mapped twice, on different days or by different crews: what changed, and what only looks so.
//!
//! [`compare`] matches the points of two finished layers, A and B, and tests the difference B minus A of each pair, on the ground, against the
//! uncertainty of both. All tests, of positions, of heights and of measured values, are one family under Holm's correction ([`family`]). Shots that
//! are parts of measurements (the shots of a plane, a toe, a profile), have a name in common and no place of their own: their values are
//! compared, not they. What both mappings have wrong alike cannot be seen.

mod alike;
pub mod change;
pub mod family;
pub mod page;
mod place;
pub mod report;
pub mod values;
pub mod write;

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde::Serialize;

use crate::geodesy::covariance::Covariance;
use crate::geodesy::crs::CrsError;
use crate::geodesy::frame::Geodetic;
use crate::numeric::words::counted;
use crate::review::assess::foot;
use crate::review::assess::matching::{self, Fate};
use crate::review::finished::{self, LayerError, MappedLayer, MappedPoint, NoWay, SharedErrors, horizontal_difference_m};
use crate::stations::base::HeightKind;
use crate::units::Units;
use alike::{alike, values_alike};
use change::{Finding, Shift, ValueStep, mark};
use values::ValueChange;

/// What stands beside every comparison.
pub const ASSUMPTION: &str = "Both mappings are taken as on one datum, and as independent but for the errors that the summaries beside both name \
alike. An error that all of one mapping shares, such as a datum off by a metre, looks like a movement of every feature alike and cannot be \
told from one; errors that both share without saying so make real changes harder to see.";

/// What a comparison does not say.
pub const CAUTION: &str = "No significant change is not a finding that a slope or a structure is safe: it says that these shots would not \
show a smaller one. Whether ground or structure may be used is judged by those who answer for it.";

/// A comparison that cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum CompareError {
    /// A layer cannot be used.
    #[error(transparent)]
    Layer(#[from] LayerError),
    /// B is not brought to A's datum.
    #[error("B {0}")]
    NoWay(#[from] NoWay),
    /// A point of B that A's datum does not reach.
    #[error("B point {point} cannot be brought to {datum}")]
    Outside {
        /// The point.
        point: String,
        /// The datum.
        datum: String,
    },
    /// The changes are not brought to A's CRS.
    #[error(transparent)]
    Crs(#[from] CrsError),
    /// No two points belong together.
    #[error("none of the {a} points of A belongs to one of the {b} points of B {how}; {remedy}")]
    NothingMatched {
        /// Points of A.
        a: usize,
        /// Points of B.
        b: usize,
        /// How they were matched.
        how: String,
        /// What to do.
        remedy: CompareRemedy,
    },
}

/// What to do where no two points belong together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CompareRemedy {
    /// They were matched by distance.
    #[error("look at the CRS of both, or match by name")]
    LookAtCrs,
    /// They were matched by name.
    #[error("name the field of the names, or match by distance")]
    OtherNames,
}

/// What to compare.
#[derive(Debug, Clone, Default)]
pub struct CompareRequest {
    /// The earlier mapping.
    pub a: PathBuf,
    /// The later one.
    pub b: PathBuf,
    /// Name of the layer in both, where it is not the usual one.
    pub layer: Option<String>,
    /// Field of the names in both, where it is not the feature.
    pub field: Option<String>,
    /// Match by distance in metres in place of names.
    pub within_m: Option<f64>,
    /// When B's positions were fixed, a year with its fraction.
    pub epoch: Option<f64>,
    /// The unit of lengths in what is said; values are in metres.
    pub units: Units,
}

/// A mapping.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mapping {
    /// Its file.
    pub file: String,
    /// Name of the layer.
    pub layer: String,
    /// Its CRS.
    pub crs: String,
    /// Points in it, the shots of one feature counted once.
    pub points: usize,
    /// The first time of a shot in it.
    pub first_time: Option<String>,
    /// The last.
    pub last_time: Option<String>,
    /// Points that have no partner.
    pub only_here: Vec<String>,
    /// Points whose partner is ambiguous, with the reason.
    pub ambiguous: Vec<String>,
}

/// A feature mapped twice: B minus A, metres on the ground, east and north true.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// Name of the feature.
    pub feature: String,
    /// Feature code in A, else in B.
    pub code: Option<String>,
    /// `moved`, `rose`, `sank`, `moved and rose`, `moved and sank`, `no significant change`, `not tested`.
    pub mark: &'static str,
    /// Eastward.
    pub east_m: f64,
    /// Northward.
    pub north_m: f64,
    /// Horizontal length.
    pub horizontal_m: f64,
    /// Azimuth of the movement from true north.
    pub azimuth_deg: f64,
    /// Upward; none where the two have no kind of height in common.
    pub up_m: Option<f64>,
    /// The kind of height compared.
    pub height_kind: Option<&'static str>,
    /// Standard error of `east_m`, of both mappings together.
    pub sigma_east_m: Option<f64>,
    /// Standard error of `north_m`.
    pub sigma_north_m: Option<f64>,
    /// Standard error of `up_m`.
    pub sigma_up_m: Option<f64>,
    /// Probability of so great a horizontal difference where nothing moved, this feature looked at alone.
    pub probability_horizontal: Option<f64>,
    /// The same after Holm's correction.
    pub corrected_horizontal: Option<f64>,
    /// Probability of so great a difference of heights, alone.
    pub probability_vertical: Option<f64>,
    /// The same after Holm's correction.
    pub corrected_vertical: Option<f64>,
    /// Position in A and in B, in A's CRS.
    #[serde(skip)]
    pub ends: [[f64; 2]; 2],
}

/// All of a comparison.
#[derive(Debug, Clone, Serialize)]
pub struct Comparison {
    /// The earlier mapping.
    pub a: Mapping,
    /// The later one.
    pub b: Mapping,
    /// How points were matched.
    pub matched_by: String,
    /// Tests of positions, heights and measured values in the family.
    pub tests: usize,
    /// Chance of even one false call in it.
    pub family_level: f64,
    /// How the number of tests is made up for.
    pub correction: &'static str,
    /// The features.
    pub changes: Vec<Change>,
    /// Measured values of both.
    pub values: Vec<ValueChange>,
    /// Measured values in A alone.
    pub values_only_a: Vec<String>,
    /// Measured values in B alone.
    pub values_only_b: Vec<String>,
    /// What must be known to read it.
    pub notes: Vec<String>,
    /// See [`ASSUMPTION`].
    pub assumption: &'static str,
    /// WKT of A's CRS, for the layer of changes.
    #[serde(skip)]
    pub crs_wkt: String,
    /// The latest time of both.
    #[serde(skip)]
    pub latest: Option<Timestamp>,
}

/// Compares two layers, and the measured values beside them.
///
/// # Errors
/// When a file or a CRS cannot be used, or nothing is matched.
pub fn compare(request: &CompareRequest) -> Result<Comparison, CompareError> {
    let read = |path: &Path| finished::read(path, request.layer.as_deref(), request.field.as_deref());
    let (mut a, mut b) = (read(&request.a)?, read(&request.b)?);
    let step = place::onto(&mut b, &a.datum, request.epoch)?;
    let ellipsoid = *a.datum.ellipsoid();
    let parts = [&mut a, &mut b].map(leave_parts);
    let [repeated_a, repeated_b] = [&mut a, &mut b].map(|layer| {
        let (points, count) = finished::join_repeats(&layer.points, &ellipsoid);
        layer.points = points;
        count
    });
    let (fates, matched_by) = fates(&a, &b, request);
    let mut pairs: Vec<(&MappedPoint, &MappedPoint)> = Vec::new();
    let (mut side_a, mut side_b) = (side(&request.a, &a), side(&request.b, &b));
    for (point, fate) in a.points.iter().zip(&fates) {
        match fate {
            Fate::Matched(index) => pairs.extend(b.points.get(*index).map(|other| (point, other))),
            fate => leave(&mut side_a, point, fate, ("A", "B")),
        }
    }
    for (point, fate) in b.points.iter().zip(&self::fates(&b, &a, request).0) {
        leave(&mut side_b, point, fate, ("B", "A"));
    }
    // On two datums the steps are different ones.
    let shared = step.is_none().then(|| [SharedErrors::beside(&request.a), SharedErrors::beside(&request.b)]);
    let (mut values, [values_only_a, values_only_b]) = values::compare((&request.a, &request.b), shared.as_ref())?;
    if pairs.is_empty() && values.is_empty() {
        let remedy = if request.within_m.is_some() { CompareRemedy::LookAtCrs } else { CompareRemedy::OtherNames };
        return Err(CompareError::NothingMatched { a: a.points.len(), b: b.points.len(), how: matched_by, remedy });
    }
    let accuracy_m = step.as_ref().map_or(0.0, |step| step.accuracy_m);
    let common: Vec<Option<Common>> = pairs.iter().map(|(one, other)| common(shared.as_ref()?, (one, &a), (other, &b))).collect();
    let changes = pairs.iter().zip(&common);
    let mut changes: Vec<Change> =
        changes.map(|((one, other), common)| change_of(one, other, &a, accuracy_m, common.as_ref())).collect();
    let tests = judge(&mut changes, &mut values);
    place::ends(&mut changes, &pairs, &a)?;
    let mut notes = notes(&pairs, &common, &changes, request);
    if repeated_a + repeated_b > 0 {
        notes.push(format!(
            "{} of A and {repeated_b} of B were shot several times; the mean of their shots is compared.",
            counted(repeated_a as u64, "feature", "features")
        ));
    }
    if parts != [0, 0] {
        notes.push(format!(
            "{} of A and {} of B are shots of measurements and have no name of their own: their values are compared, not they.",
            counted(parts[0] as u64, "point", "points"),
            parts[1]
        ));
    }
    notes.extend(values_alike(&values));
    notes.extend((!values.is_empty()).then(|| values::ASSUMPTION.to_owned()));
    notes.extend(step.as_ref().map(|step| step.sentence(&request.units.length())));
    Ok(Comparison {
        a: side_a,
        b: side_b,
        matched_by,
        tests,
        family_level: family::LEVEL,
        correction: "Holm",
        changes,
        values,
        values_only_a,
        values_only_b,
        notes,
        assumption: ASSUMPTION,
        crs_wkt: a.crs.wkt2().unwrap_or_default(),
        latest: a.points.iter().chain(&b.points).filter_map(|point| point.time).max(),
    })
}

fn side(path: &Path, layer: &MappedLayer) -> Mapping {
    let times = || layer.points.iter().filter_map(|point| point.time);
    Mapping {
        file: path.display().to_string(),
        layer: layer.name.clone(),
        crs: layer.crs.label(),
        points: layer.points.len(),
        first_time: times().min().map(|time| time.to_string()),
        last_time: times().max().map(|time| time.to_string()),
        only_here: Vec::new(),
        ambiguous: Vec::new(),
    }
}

/// The partner in B of each point of A, and how they were matched, in words.
fn fates(a: &MappedLayer, b: &MappedLayer, request: &CompareRequest) -> (Vec<Fate>, String) {
    if let Some(within_m) = request.within_m {
        let feet = |layer: &MappedLayer| -> Vec<[f64; 3]> {
            layer.points.iter().map(|point| foot(&point.at, a.datum.ellipsoid())).collect()
        };
        return (
            matching::by_distance(&feet(a), &feet(b), within_m),
            format!("within {}", request.units.length().told(within_m)),
        );
    }
    fn names<'l>(layer: &'l MappedLayer, field: Option<&String>) -> Vec<Option<&'l str>> {
        let points = layer.points.iter();
        points.map(|point| if field.is_some() { point.named.as_deref() } else { point.feature.as_deref() }).collect()
    }
    let field = request.field.as_ref();
    let ours: Vec<&str> = names(a, field).into_iter().map(Option::unwrap_or_default).collect();
    let how = field.map_or_else(|| "by the feature's name".to_owned(), |field| format!("by the field {field}"));
    (matching::by_name(&ours, &[names(b, field)]), how)
}

/// Lists a point that has no partner.
fn leave(side: &mut Mapping, point: &MappedPoint, fate: &Fate, (own, other): (&str, &str)) {
    match fate {
        Fate::Matched(_) => {}
        Fate::Unmatched => side.only_here.push(point.label()),
        Fate::Ambiguous { count: 1, .. } => {
            side.ambiguous.push(format!("{}: several of {own} for one of {other}", point.label()))
        }
        Fate::Ambiguous { count, .. } => side.ambiguous.push(format!("{}: {count} of {other} would do", point.label())),
    }
}

/// What the two points of a pair err by together.
struct Common {
    /// C_AB + C_BA.
    covariance: Covariance,
    /// The errors' names.
    errors: Vec<String>,
}

fn common(
    [of_a, of_b]: &[SharedErrors; 2],
    (one, a): (&MappedPoint, &MappedLayer),
    (other, b): (&MappedPoint, &MappedLayer),
) -> Option<Common> {
    let (one, other) = (of_a.arms_of(one, a)?, of_b.arms_of(other, b)?);
    let covariance = one.with(&other)?;
    Some(Common { covariance, errors: one.in_common(&other).map(str::to_owned).collect() })
}

/// A covariance less what cancels in it; as it is where rounding of the layers would leave nothing.
fn less_common(joint: Covariance, common: Option<&Common>) -> Covariance {
    let Some(common) = common else { return joint };
    let left = joint.less(&common.covariance);
    if left.ee > 0.0 && left.nn > 0.0 && left.ee * left.nn > left.en * left.en { left } else { joint }
}

fn change_of(one: &MappedPoint, other: &MappedPoint, a: &MappedLayer, accuracy_m: f64, common: Option<&Common>) -> Change {
    // On the ground: at a height that is known of either.
    let height_m = if one.heights.has_any() { one.at.ellipsoid_height_m } else { other.at.ellipsoid_height_m };
    let from = Geodetic { ellipsoid_height_m: height_m, ..one.at };
    let step = Covariance::from_sigmas(accuracy_m, 0.0);
    let later = other.covariance.map(|covariance| covariance + step);
    let joint = one.covariance.zip(later).map(|(a, b)| less_common(a + b, common));
    let shift = Shift::against(horizontal_difference_m(&from, &other.at, a.datum.ellipsoid()), joint);
    let height = one.heights.to(&other.heights);
    let up = height.map(|height| {
        let step_m = if height.kind == HeightKind::Ellipsoid { accuracy_m } else { 0.0 };
        let sigmas = height.sigma_first_m.zip(height.sigma_second_m.map(|sigma| sigma.hypot(step_m)));
        let cancels = common.map_or(0.0, |common| common.covariance.uu);
        let sigma = sigmas.map(|(first, second)| {
            let variance = first * first + second * second;
            (if variance > cancels { variance - cancels } else { variance }).sqrt()
        });
        ValueStep::against(height.metres, sigma)
    });
    Change {
        feature: one.named.clone().or_else(|| one.feature.clone()).unwrap_or_else(|| one.label()),
        code: one.code.clone().or_else(|| other.code.clone()),
        mark: "",
        east_m: shift.east_m,
        north_m: shift.north_m,
        horizontal_m: shift.length_m(),
        azimuth_deg: shift.azimuth_deg(),
        up_m: up.map(|up| up.difference),
        height_kind: height.map(|height| height.kind.word()),
        sigma_east_m: joint.map(|joint| joint.ee.sqrt()),
        sigma_north_m: joint.map(|joint| joint.nn.sqrt()),
        sigma_up_m: up.and_then(|up| up.sigma),
        probability_horizontal: shift.probability,
        corrected_horizontal: None,
        probability_vertical: up.and_then(|up| up.probability),
        corrected_vertical: None,
        ends: [[f64::NAN; 2]; 2],
    }
}

/// Leaves out the parts of measurements that share their name with others, or have none; how many they were.
fn leave_parts(layer: &mut MappedLayer) -> usize {
    let mut counts: HashMap<String, usize> = HashMap::new();
    let name = |point: &MappedPoint| point.named.clone().or_else(|| point.feature.clone()).unwrap_or_default();
    layer.points.iter().for_each(|point| *counts.entry(name(point)).or_default() += 1);
    let before = layer.points.len();
    layer.points.retain(|point| {
        let name = name(point);
        !point.is_part || (!name.is_empty() && counts.get(&name) == Some(&1))
    });
    before - layer.points.len()
}

/// Corrects the probabilities of all tests together and marks features and values; the number of tests.
fn judge(changes: &mut [Change], values: &mut [ValueChange]) -> usize {
    let of_points = changes.iter().flat_map(|change| [change.probability_horizontal, change.probability_vertical]);
    let probabilities: Vec<Option<f64>> = of_points.chain(values.iter().map(|value| value.probability)).collect();
    let corrected = family::holm(&probabilities);
    let (of_points, of_values) = corrected.split_at(2 * changes.len());
    for (change, pair) in changes.iter_mut().zip(of_points.chunks(2)) {
        if let [horizontal, vertical] = *pair {
            (change.corrected_horizontal, change.corrected_vertical) = (horizontal, vertical);
            change.mark = mark(Finding::judge(horizontal), Finding::judge(vertical), change.up_m);
        }
    }
    values.iter_mut().zip(of_values).for_each(|(value, corrected)| value.judge(*corrected));
    probabilities.iter().flatten().count()
}

/// What must be known to read it.
fn notes(
    pairs: &[(&MappedPoint, &MappedPoint)],
    common: &[Option<Common>],
    changes: &[Change],
    request: &CompareRequest,
) -> Vec<String> {
    let mut notes = Vec::new();
    let count = |is: fn(&Change) -> bool| changes.iter().filter(|change| is(change)).count();
    let untested = count(|change| change.probability_horizontal.is_none());
    if untested > 0 {
        notes.push(format!(
            "{} no stated uncertainty in one of the two, so that no change of place can be tested.",
            counted(untested as u64, "feature has", "features have")
        ));
    }
    let flat = count(|change| change.up_m.is_none());
    if flat > 0 {
        notes.push(format!("{} no kind of height in common in A and B.", counted(flat as u64, "feature has", "features have")));
    }
    let alone = count(|change| {
        let is_near = |bare: Option<f64>, corrected: Option<f64>| {
            bare.is_some_and(|p| p <= family::LEVEL) && corrected.is_some_and(|p| p > family::LEVEL)
        };
        is_near(change.probability_horizontal, change.corrected_horizontal)
            || is_near(change.probability_vertical, change.corrected_vertical)
    });
    if alone > 0 {
        notes.push(format!(
            "{} the only one looked at; among so many that is to be expected by chance.",
            counted(alone as u64, "feature would count as changed if it were", "features would count as changed if each were")
        ));
    }
    let known: Vec<&Common> = common.iter().flatten().collect();
    if !known.is_empty() {
        let errors = known.iter().flat_map(|common| common.errors.iter());
        notes.push(alike(&counted(known.len() as u64, "feature errs", "features err"), errors));
    }
    let of_one_base = |(one, other): &(&MappedPoint, &MappedPoint)| one.base.is_some() && one.base == other.base;
    let shared = pairs.iter().zip(common).filter(|(pair, common)| common.is_none() && of_one_base(pair)).count();
    if shared > 0 {
        notes.push(format!(
            "{} shot from a base of the same name in both. Where it is one position, its error is in both and cancels, and \
             the joint uncertainty here is larger than it need be.",
            counted(shared as u64, "feature was", "features were")
        ));
    }
    if changes.iter().any(|change| change.height_kind == Some(HeightKind::Orthometric.word())) {
        notes.push("Orthometric heights are taken as of one vertical datum.".to_owned());
    }
    if let Some(within_m) = request.within_m {
        notes.push(format!("Matched by distance: a movement above {} cannot show here.", request.units.length().told(within_m)));
    }
    notes
}

#[cfg(test)]
mod tests {
    use super::alike::kind_of;
    use super::*;
    use crate::numeric::monte_carlo::Normal;
    use crate::review::assess::probability::normal_two_sided;

    #[test]
    fn errors_in_words_for_people() {
        for (error, said) in [
            ("position 3450032b85452753 up", "the position of their base"),
            ("orientation of base RL-01 by the logs dc92bbbec7feb8f3, 0", "the set-up of their base"),
            ("declination of the model from 2025, with 0° added", "the declination"),
            ("step ED50 to WGS 84 (1) north", "step ED50 to WGS 84 (1)"),
            (
                "correction of azimuths, tripod: azimuths 1 ± 0.2°, inclinations 0 ± 0°, distances 0 ± 0 m",
                "correction of azimuths",
            ),
        ] {
            assert_eq!(kind_of(error), said);
        }
    }

    /// Two mappings in which nothing changed: even one call among points, heights and values together comes in 5 of 100, where two
    /// families at 5 % each would have 1 − 0.95² = 9.75.
    #[test]
    fn where_nothing_changed_one_comparison_in_20_has_a_false_call() {
        let still = Change {
            feature: String::new(),
            code: None,
            mark: "",
            east_m: 0.0,
            north_m: 0.0,
            horizontal_m: 0.0,
            azimuth_deg: 0.0,
            up_m: Some(0.0),
            height_kind: None,
            sigma_east_m: None,
            sigma_north_m: None,
            sigma_up_m: None,
            probability_horizontal: None,
            corrected_horizontal: None,
            probability_vertical: None,
            corrected_vertical: None,
            ends: [[0.0; 2]; 2],
        };
        let value = ValueChange {
            measure: String::new(),
            name: String::new(),
            quantity: String::new(),
            a: 0.0,
            b: 0.0,
            difference: 0.0,
            sigma: None,
            probability: None,
            corrected: None,
            mark: "",
            in_common: Vec::new(),
        };
        let mut normal = Normal::seeded(975);
        let comparisons = 4000;
        let mut with_call = 0;
        for _ in 0..comparisons {
            let mut drawn = || Some(normal_two_sided(normal.next()));
            let mut changes = vec![still.clone(); 12];
            for change in &mut changes {
                (change.probability_horizontal, change.probability_vertical) = (drawn(), drawn());
            }
            let mut values = vec![value.clone(); 24];
            values.iter_mut().for_each(|value| value.probability = drawn());
            assert_eq!(judge(&mut changes, &mut values), 48);
            let called = |mark: &str| mark != "no significant change";
            with_call +=
                usize::from(changes.iter().any(|change| called(change.mark)) || values.iter().any(|value| called(value.mark)));
        }
        let share = with_call as f64 / f64::from(comparisons);
        // 1 − (1 − 0.05/48)⁴⁸ = 0.0488; four standard errors of a share of it in 4000 are 0.0136.
        assert!((share - 0.0488).abs() < 0.0136, "{share}");
    }
}
