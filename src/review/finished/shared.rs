//! What points of finished layers err by together, by the summary that lies beside each: how far one standard error of each shared
//! error moves a point.
//!
//! The vector from the base to the point gives the arms: a base's errors move the point as they move the base; an error of azimuths turns it about
//! the base, by (n, −e, 0) metres a radian; one of inclinations tilts the sight, (−u e / h, −u n / h, h) a radian with h² = e² + n²; one of distances
//! lengthens it. The height of the instrument over the base is taken as that of the spot over the feature's ground, which is within
//! millimetres of an arm. A point that several bases or a network placed has no such vector: what it errs by stands in the summary, by the first of its rows;
//! where it does not, the point is known by its share of the base's error, which is not what one base would make it.

use std::collections::HashMap;
use std::path::Path;

use serde::Deserialize;

use super::{MappedLayer, MappedPoint};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
use crate::output::report::shared::{SharedArms, SharedOfBase};

/// Errors of declinations are one for bases this near each other, in metres.
const NEAR_M: f64 = 100_000.0;
/// By how much a share may differ from that of one base, of 1: shares are written with fewer digits than they have.
const SHARE_WITHIN: f64 = 0.005;

/// The errors that a mapping's points and values share with others.
#[derive(Debug, Default)]
pub struct SharedErrors {
    of_base: HashMap<String, SharedOfBase>,
    /// By the log and the line of a point.
    of_point: HashMap<(String, String), RecordedPointArms>,
    /// By measure, name and quantity.
    of_value: HashMap<[String; 3], RecordedArms>,
}

/// The part of a summary that is read.
#[derive(Deserialize)]
struct SummaryRead {
    shared_errors: Vec<SharedOfBase>,
    #[serde(default)]
    shared_arms: SharedArms,
}

/// What one standard error of each shared error changes a value by.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RecordedArms(Vec<(String, f64)>);

/// What one standard error of each shared error moves a point by, in metres east, north and up.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RecordedPointArms {
    arms: Vec<(String, [f64; 3])>,
    /// Whether these are all that it has in common with others of its own mapping.
    pub is_whole: bool,
    /// The base, or a point that several placed, earth-centred, in metres.
    base: [f64; 3],
}

impl SharedErrors {
    /// Of the layer in a file: by `summary.json` in its folder, or in the one above where files of one format have a folder. Nothing is
    /// known where there is none, or it is of another kind.
    pub fn beside(file: &Path) -> SharedErrors {
        let folder = file.parent().unwrap_or(Path::new(""));
        let above = folder.parent();
        let read = |folder: &Path| {
            // What is no regular file may have no end.
            let path = Some(folder.join("summary.json")).filter(|path| path.is_file())?;
            serde_json::from_str::<SummaryRead>(&std::fs::read_to_string(path).ok()?).ok()
        };
        let Some(told) = read(folder).or_else(|| above.and_then(read)) else { return SharedErrors::default() };
        let mut of_base: HashMap<String, SharedOfBase> = HashMap::new();
        for of in told.shared_errors {
            // Two positions of one name, such as two occupations that were kept apart: a feature does not say which it was shot from.
            of_base.entry(of.base.clone()).and_modify(|known| known.is_whole = false).or_insert(of);
        }
        let SharedArms { errors, points, values } = told.shared_arms;
        let name = |number: usize| errors.get(number).cloned().unwrap_or_default();
        let of_point = points.into_iter().map(|point| {
            let arms = point.by.into_iter().map(|(number, arm)| (name(number), arm)).collect();
            ((point.file, point.line.to_string()), RecordedPointArms { arms, is_whole: point.is_whole, base: [0.0; 3] })
        });
        let of_value = values.into_iter().map(|value| {
            let arms = value.by.into_iter().map(|(number, by)| (name(number), by)).collect();
            ([value.measure, value.name, value.quantity], RecordedArms(arms))
        });
        SharedErrors { of_base, of_point: of_point.collect(), of_value: of_value.collect() }
    }

    /// The arms of a value by its measure, name and quantity; none of one that is not told.
    pub fn of_value(&self, key: &[String; 3]) -> Option<&RecordedArms> {
        self.of_value.get(key)
    }

    /// The arms of a point that several bases or a network placed, where they are told and fit what the layer says of it.
    fn of_several(&self, point: &MappedPoint, ellipsoid: &Ellipsoid) -> Option<RecordedPointArms> {
        let arms = self.of_point.get(point.source.as_ref().filter(|_| !point.is_joined)?)?;
        let whole = point.covariance?;
        let shared: f64 = arms.arms.iter().map(|(_, [east, north, _])| east * east + north * north).sum();
        let fits = shared <= (whole.ee + whole.nn) * (1.0 + SHARE_WITHIN);
        fits.then(|| RecordedPointArms { base: point.at.to_earth_centred(ellipsoid), ..arms.clone() })
    }

    /// The arms of a point of a layer; none of one that they are not told of, and that was not shot from one base whose errors are all known.
    pub fn arms_of(&self, point: &MappedPoint, layer: &MappedLayer) -> Option<RecordedPointArms> {
        if let Some(arms) = self.of_several(point, layer.datum.ellipsoid()) {
            return Some(arms);
        }
        let known = self.of_base.get(point.base.as_deref()?).filter(|known| known.is_whole)?;
        let ellipsoid = layer.datum.ellipsoid();
        let height_m = if point.heights.ellipsoid_m.is_some() { known.ellipsoid_height_m } else { known.orthometric_height_m };
        let (lon_rad, lat_rad) = (known.lon_deg.to_radians(), known.lat_deg.to_radians());
        let base = Geodetic { lon_rad, lat_rad, ellipsoid_height_m: height_m.unwrap_or(point.at.ellipsoid_height_m) };
        let arms = arms(known, &base, &point.at, ellipsoid);
        arms.is_of_one_base(known, point).then_some(arms.all)
    }
}

/// The arms of a point with those parts of them that tell whether it is of one base.
struct Made {
    all: RecordedPointArms,
    vector: [f64; 3],
}

fn arms(known: &SharedOfBase, base: &Geodetic, at: &Geodetic, ellipsoid: &Ellipsoid) -> Made {
    let frame = LocalFrame::at(base, ellipsoid);
    let vector = frame.from_earth_centred(at.to_earth_centred(ellipsoid));
    let [e, n, u] = vector;
    let (horizontal_m, slope_m) = (e.hypot(n), e.hypot(n).hypot(u));
    let mut arms: Vec<(String, [f64; 3])> = Vec::new();
    let mut add = |error: &str, arm: [f64; 3]| match arms.iter_mut().find(|(known, _)| known == error) {
        Some((_, sum)) => (0..3).for_each(|k| sum[k] += arm[k]),
        None => arms.push((error.to_owned(), arm)),
    };
    known.moved_by.iter().for_each(|by| add(&by.error, by.metres));
    let scaled = |arm: [f64; 3], size: f64| arm.map(|metres| metres * size);
    for by in &known.azimuths_turned_by {
        add(&by.error, scaled([n, -e, 0.0], by.degrees.to_radians()));
    }
    if horizontal_m > 0.0 {
        for by in &known.inclinations_turned_by {
            add(&by.error, scaled([-u * e / horizontal_m, -u * n / horizontal_m, horizontal_m], by.degrees.to_radians()));
        }
        for by in &known.distances_lengthened_by {
            add(&by.error, scaled(vector.map(|metres| metres / slope_m), by.metres));
        }
    }
    Made { all: RecordedPointArms { arms, is_whole: known.in_network.is_none(), base: base.to_earth_centred(ellipsoid) }, vector }
}

impl Made {
    /// Whether the share of the base's position in the point's variance is what this one base makes it. What an error that moves a base and turns
    /// its azimuths does by both together is shared out half and half.
    fn is_of_one_base(&self, known: &SharedOfBase, point: &MappedPoint) -> bool {
        let (Some(share), Some(whole)) = (point.base_share, point.covariance) else { return false };
        let [e, n, _] = self.vector;
        let is_it = |parts: f64| (parts / (whole.ee + whole.nn) - share).abs() < SHARE_WITHIN;
        if let Some(of_network) = &known.in_network {
            let [east, north] = of_network.position_with_azimuths_m;
            return is_it(of_network.position_m2 + east * n - north * e);
        }
        let of_base: f64 = known.moved_by.iter().map(|by| by.metres[0].powi(2) + by.metres[1].powi(2)).sum();
        let both: f64 = known
            .azimuths_turned_by
            .iter()
            .map(|turned| {
                let moved = known.moved_by.iter().filter(|moved| moved.error == turned.error);
                moved.map(|moved| turned.degrees.to_radians() * (moved.metres[0] * n - moved.metres[1] * e)).sum::<f64>()
            })
            .sum();
        is_it(of_base + both)
    }
}

impl RecordedArms {
    /// The covariance of this value and another, Σ aᵢ aⱼ over the errors that both have; none where they have nothing in common.
    pub fn with(&self, other: &RecordedArms) -> Option<f64> {
        let products = self
            .0
            .iter()
            .flat_map(|(error, by)| other.0.iter().filter(move |(known, _)| known == error).map(move |(_, others)| by * others));
        products.fold(None, |sum, product| Some(sum.unwrap_or(0.0) + product))
    }

    /// The names of the errors that both have.
    pub fn in_common<'a>(&'a self, other: &'a RecordedArms) -> impl Iterator<Item = &'a str> {
        self.0.iter().map(|(error, _)| error.as_str()).filter(|error| other.0.iter().any(|(known, _)| known == error))
    }
}

impl RecordedPointArms {
    /// All arms of a point, for tests.
    #[cfg(test)]
    pub fn from_arms(arms: &[(&str, [f64; 3])]) -> RecordedPointArms {
        RecordedPointArms {
            arms: arms.iter().map(|(error, arm)| ((*error).to_owned(), *arm)).collect(),
            is_whole: true,
            base: [0.0; 3],
        }
    }

    /// The covariance of this point and another, C_ij = Σ aᵢ aⱼᵀ over the errors that both have, with its transpose: what their covariances have too
    /// much, or too little, in a difference or a sum of the two. None where they have nothing in common.
    pub fn with(&self, other: &RecordedPointArms) -> Option<Covariance> {
        let apart_m = (0..3).map(|k| (self.base[k] - other.base[k]).powi(2)).sum::<f64>().sqrt();
        let mut common: Option<Covariance> = None;
        for (error, arm) in &self.arms {
            // A model errs in one place as it does in another for some way only.
            if error.starts_with("declination of the model") && apart_m > NEAR_M {
                continue;
            }
            for (_, others) in other.arms.iter().filter(|(known, _)| known == error) {
                common = Some(common.unwrap_or_default() + Covariance::from_arms(*arm, *others));
            }
        }
        common
    }

    /// The names of its errors with what they move it by.
    pub fn each(&self) -> impl Iterator<Item = (&str, [f64; 3])> {
        self.arms.iter().map(|(error, arm)| (error.as_str(), *arm))
    }

    /// The names of the errors that both have.
    pub fn in_common<'a>(&'a self, other: &'a RecordedPointArms) -> impl Iterator<Item = &'a str> {
        self.arms.iter().map(|(error, _)| error.as_str()).filter(|error| other.arms.iter().any(|(known, _)| known == error))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_positions_of_one_name_tell_nothing_and_a_folder_of_the_name_is_no_summary() {
        let folder = tempfile::tempdir().unwrap();
        let (summary, layer) = (folder.path().join("summary.json"), folder.path().join("layer.gpkg"));
        std::fs::create_dir(&summary).unwrap();
        assert!(SharedErrors::beside(&layer).of_base.is_empty());
        std::fs::remove_dir(&summary).unwrap();
        let of = |base: &str| {
            format!(
                r#"{{"base":"{base}","lon_deg":10,"lat_deg":50,"ellipsoid_height_m":1,"orthometric_height_m":null,"is_whole":true,
                "moved_by":[],"azimuths_turned_by":[],"inclinations_turned_by":[],"distances_lengthened_by":[]}}"#
            )
        };
        std::fs::write(&summary, format!(r#"{{"shared_errors":[{},{},{}]}}"#, of("A"), of("B"), of("A"))).unwrap();
        // In the folder of one format, and beside it.
        for layer in [layer, folder.path().join("csv/layer.csv")] {
            let known = SharedErrors::beside(&layer).of_base;
            assert_eq!(known.len(), 2);
            assert!(known["B"].is_whole && !known["A"].is_whole);
        }
    }
}
