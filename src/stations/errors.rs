//! What bases err by, as entries of the register: measured positions, those of a network, steps between datums, and orientations.

use std::sync::Arc;

use super::base::{BaseTable, HeightKind, Named, Turning};
use super::occupation::merge::in_common;
use crate::geodesy::register::{Arm, BaseErrors, Cause, ErrorId, Origin, Register, position_arms};
use crate::numeric::cholesky::semi_root;

/// Arms of the position of a base, by its index: what measured it, and the steps between datums that it went.
pub fn position(table: &BaseTable, index: usize) -> Vec<Arm> {
    let base = &table.bases[index];
    let unit = |axis: usize, size: f64| std::array::from_fn(|k| if k == axis { size } else { 0.0 });
    let mut arms = match &base.in_network {
        None => base.tied.as_ref().map_or_else(|| measured(table, index), |tied| tied.arms.clone()),
        Some(place) => {
            let unknowns = place.unknowns.iter().enumerate();
            let mut arms: Vec<Arm> = unknowns
                .map(|(axis, unknown)| (ErrorId::new(Cause::Network, place.network, *unknown), unit(axis, 1.0)))
                .collect();
            // A height that the network did not find is as good as it was.
            if base.heights.kind == HeightKind::None && base.covariance.uu > 0.0 && base.covariance.uu.is_finite() {
                arms.retain(|(_, arm)| arm[2] == 0.0);
                arms.push((ErrorId::new(Cause::Position, index, 2), unit(2, base.covariance.uu.sqrt())));
            }
            arms
        }
    };
    for (step, sigma_m) in &base.datum_errors {
        arms.extend((0..3).map(|axis| (ErrorId::new(Cause::Datum, *step, axis), unit(axis, *sigma_m))));
    }
    arms
}

/// Arms of a measured position. Occupations of one base that were kept apart hang together as the receiver's errors fade between them: their arms
/// are the rows of a root of the covariance of all of them, on the entries of the first.
fn measured(table: &BaseTable, index: usize) -> Vec<Arm> {
    let base = &table.bases[index];
    let alike: &[usize] = match table.by_name.get(&base.row.name) {
        Some(Named::Several(indexes)) if indexes.contains(&index) => indexes,
        _ => &[],
    };
    let is_of_epochs = |index: &usize| {
        let base = &table.bases[*index];
        base.in_network.is_none() && base.row.occupation.as_ref().is_some_and(|occupation| occupation.fading.is_some())
    };
    let occupations: Vec<usize> = alike.iter().copied().filter(is_of_epochs).collect();
    let Some(row) =
        occupations.iter().position(|other| *other == index).filter(|_| (2..=MOST_TOGETHER).contains(&occupations.len()))
    else {
        return position_arms(index, &base.covariance);
    };
    let size = occupations.len();
    // Horizontally and in height.
    let roots = [0, 1].map(|axis| {
        let mut covariance = vec![0.0; size * size];
        for (r, one) in occupations.iter().map(|index| &table.bases[*index]).enumerate() {
            for (c, other) in occupations.iter().map(|index| &table.bases[*index]).enumerate() {
                let own = if axis == 0 { one.covariance.ee } else { one.covariance.uu };
                let common = || in_common(&one.row, &other.row).map_or(0.0, |(_, _, covariances)| covariances[axis]);
                covariance[r * size + c] = if r == c { own } else { common() };
            }
        }
        semi_root(&covariance, size)
    });
    let arms = (0..=row).flat_map(|column| {
        let [plan, up] = [0, 1].map(|axis| roots[axis][row * size + column]);
        let entry = |axis: usize| ErrorId::new(Cause::Position, occupations[column], axis);
        [(entry(0), [plan, 0.0, 0.0]), (entry(1), [0.0, plan, 0.0]), (entry(2), [0.0, 0.0, up])]
    });
    arms.filter(|(_, arm)| *arm != [0.0; 3]).collect()
}

/// Occupations of one base that are taken to hang together; of more each is taken by itself.
const MOST_TOGETHER: usize = 50;

/// The bases without what only PROJ needs. `turning` gives the entries of what was found of each base's orientation; where nothing was, its azimuths
/// err by `setup_rad` and what readings share.
pub fn origins(table: &BaseTable, turning: &[Option<Turning>], setup_rad: f64, register: &Arc<Register>) -> Vec<Origin> {
    let bases = table.bases.iter().enumerate();
    bases
        .map(|(index, base)| Origin {
            label: base.label.clone(),
            frame: base.frame,
            ellipsoid: *table.datums[base.datum].crs.ellipsoid(),
            errors: BaseErrors::new(
                index,
                position(table, index),
                turning.get(index).cloned().flatten(),
                setup_rad,
                Arc::clone(register),
            ),
            earth_radius_m: base.earth_radius_m,
        })
        .collect()
}
