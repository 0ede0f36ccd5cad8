//! What one standard error of each shared error changes a measured value by.
//!
//! A measurement is composed again from rows that an error has moved a little: a base's place along each axis, all azimuths of a base, all
//! inclinations or distances of a calibration. The difference over the step is how the value answers to that, and times what one standard error of an
//! entry of the register moves it is the arm on the entry, whatever way the value was computed by. Where all rows are of one base its place moves all alike
//! and changes no value.

use std::collections::BTreeMap;

use crate::geodesy::frame::{Geodetic, LocalFrame};
use crate::geodesy::register::{ErrorId, Origin, Shares};
use crate::measure::{self, Composed, Group, MeasureSettings, NamedValue, RoleShot};
use crate::shots::reduce::Vector;

/// Steps: far above the rounding of earth-centred coordinates, far below any curvature of interest.
const STEP_M: f64 = 1e-3;
const STEP_RAD: f64 = 1e-5;

/// Entries with what one standard error of each changes a value by.
pub type ValueArms = Vec<(ErrorId, f64)>;

/// What an error moves.
enum Moved {
    /// A base, along one of its axes.
    Place(usize, usize),
    /// The azimuths of a base that share one declination and calibration.
    Azimuths(usize, Shares),
    /// The inclinations of a calibration.
    Inclinations(u32),
    /// The distances of a calibration.
    Distances(u32),
}

/// The arms of the values of a measurement, and of those of its pieces, in their order. None where the rows, moved, give another measurement.
pub fn of_group(group: &Group, made: &Composed, settings: &MeasureSettings) -> Option<Vec<ValueArms>> {
    let settings = MeasureSettings { values_only: true, ..*settings };
    let at: Vec<&NamedValue> = values(made).collect();
    let mut arms: Vec<BTreeMap<ErrorId, f64>> = vec![BTreeMap::new(); at.len()];
    for moved in all(group) {
        let step = moved.step();
        let bases: Vec<Origin>;
        let by = match moved {
            Moved::Place(base, axis) => {
                bases = with_moved(group.bases, base, axis, step);
                measure::compose(&Group { bases: &bases, ..group.clone() }, &settings)
            }
            _ => {
                let sightings = group.sightings.iter().map(|row| moved.row(row, step)).collect();
                measure::compose(&Group { sightings, ..group.clone() }, &settings)
            }
        };
        let by = by.ok()?;
        let now: Vec<&NamedValue> = values(&by).collect();
        if now.len() != at.len() {
            return None;
        }
        for ((before, now), arms) in at.iter().zip(now).zip(&mut arms) {
            let change = change(before, now)? / step;
            for (id, size) in moved.entries(group) {
                *arms.entry(id).or_default() += change * size;
            }
        }
    }
    let told = |arms: BTreeMap<ErrorId, f64>| arms.into_iter().filter(|(_, by)| *by != 0.0 && by.is_finite()).collect();
    Some(arms.into_iter().map(told).collect())
}

/// Values of the whole, then those of the pieces.
fn values(made: &Composed) -> impl Iterator<Item = &NamedValue> {
    made.values.iter().chain(made.details.iter().flat_map(|detail| &detail.values))
}

/// How far a value went; angles the short way round. None of two values of different names.
fn change(before: &NamedValue, now: &NamedValue) -> Option<f64> {
    let change = now.estimate.value - before.estimate.value;
    (before.name == now.name).then(|| match before.name.ends_with("_deg") {
        true => (change + 180.0).rem_euclid(360.0) - 180.0,
        false => change,
    })
}

/// The errors that can move some of the rows.
fn all(group: &Group) -> Vec<Moved> {
    let rows = &group.sightings;
    let mut bases: Vec<usize> = rows.iter().map(|row| row.base).collect();
    bases.sort_unstable();
    bases.dedup();
    let mut all: Vec<Moved> = Vec::new();
    if bases.len() > 1 {
        all.extend(bases.iter().flat_map(|base| (0..3).map(|axis| Moved::Place(*base, axis))));
    }
    let mut turned: Vec<(usize, Shares)> = Vec::new();
    let (mut tilted, mut lengthened): (Vec<Shares>, Vec<Shares>) = Default::default();
    for row in rows {
        let shares = row.shares;
        if row.true_azimuth_rad.is_some() && !turned.iter().any(|known| is_turned_alike(*known, row)) {
            turned.push((row.base, shares));
        }
        if shares.inclination_rad != 0.0 && !tilted.iter().any(|known| known.calibration == shares.calibration) {
            tilted.push(shares);
        }
        if shares.distance_m != 0.0 && !lengthened.iter().any(|known| known.calibration == shares.calibration) {
            lengthened.push(shares);
        }
    }
    let has_error = |(base, shares): &(usize, Shares)| !group.bases[*base].errors.azimuth(shares).is_empty();
    all.extend(turned.into_iter().filter(has_error).map(|(base, shares)| Moved::Azimuths(base, shares)));
    all.extend(tilted.into_iter().map(|shares| Moved::Inclinations(shares.calibration)));
    all.extend(lengthened.into_iter().map(|shares| Moved::Distances(shares.calibration)));
    all
}

/// Whether the azimuth of a row has the errors of others of a base, each in the same size.
fn is_turned_alike((base, shares): (usize, Shares), row: &RoleShot) -> bool {
    let of = |shares: &Shares| (shares.declination, shares.declination_rad, shares.calibration, shares.azimuth_rad);
    row.base == base && of(&row.shares) == of(&shares)
}

impl Moved {
    fn step(&self) -> f64 {
        match self {
            Moved::Place(..) | Moved::Distances(_) => STEP_M,
            Moved::Azimuths(..) | Moved::Inclinations(_) => STEP_RAD,
        }
    }

    /// The entries that move it, with how far one standard error of each does.
    fn entries(&self, group: &Group) -> Vec<(ErrorId, f64)> {
        let of_calibration = |number: u32| group.sightings.iter().map(|row| row.shares).find(|known| known.calibration == number);
        match self {
            Moved::Place(base, axis) => group.bases[*base].errors.position().iter().map(|(id, arm)| (*id, arm[*axis])).collect(),
            Moved::Azimuths(base, shares) => group.bases[*base].errors.azimuth(shares),
            Moved::Inclinations(number) => of_calibration(*number).map(|shares| shares.inclination()).into_iter().collect(),
            Moved::Distances(number) => of_calibration(*number).map(|shares| shares.distance()).into_iter().collect(),
        }
    }

    /// A row as it would be read.
    fn row(&self, row: &RoleShot, step: f64) -> RoleShot {
        let mut row = row.clone();
        let shift = |vector: &mut Option<Vector>, by: &dyn Fn(&Vector) -> [f64; 3]| {
            if let Some(vector) = vector {
                let [east, north, up] = by(vector);
                vector.east_m += step * east;
                vector.north_m += step * north;
                vector.up_m = vector.up_m.map(|metres| metres + step * up);
                vector.horizontal_m = vector.east_m.hypot(vector.north_m);
            }
        };
        let longer = |metres: Option<f64>| metres.map(|metres| metres + step);
        match self {
            Moved::Azimuths(base, shares) if is_turned_alike((*base, *shares), &row) => {
                row.true_azimuth_rad = row.true_azimuth_rad.map(|radians| radians + step);
                shift(&mut row.vector, &|vector| vector.by_azimuth_m());
            }
            Moved::Inclinations(number) if row.shares.calibration == *number => {
                row.inclination_rad = row.inclination_rad.map(|radians| radians + step);
                shift(&mut row.vector, &|vector| vector.by_inclination_m);
            }
            Moved::Distances(number) if row.shares.calibration == *number => {
                (row.slope_m, row.horizontal_m) = (longer(row.slope_m), longer(row.horizontal_m));
                shift(&mut row.vector, &|vector| vector.by_distance_m);
            }
            _ => {}
        }
        row
    }
}

/// The bases with one of them moved along an axis.
fn with_moved(bases: &[Origin], base: usize, axis: usize, step_m: f64) -> Vec<Origin> {
    let mut bases = bases.to_vec();
    if let Some(moved) = bases.get_mut(base) {
        let to = std::array::from_fn(|k| if k == axis { step_m } else { 0.0 });
        let at = Geodetic::from_earth_centred(moved.frame.to_earth_centred(to), &moved.ellipsoid);
        moved.frame = LocalFrame::at(&at, &moved.ellipsoid);
    }
    bases
}
