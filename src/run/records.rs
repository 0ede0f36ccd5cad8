//! Mapped shots to the batches of their layers: points, sight lines, error ellipses.

use std::collections::BTreeMap;

use super::carried::carried_column;
use super::coded::attribute_columns;
use super::mapped_feature::MappedFeature;
use super::sizes::Sizes;
use super::stage::{Stage, position};
use super::standing::{self, Standing};
use crate::geodesy::crs::CrsError;
use crate::geodesy::frame::{Geodetic, LocalFrame};

use crate::job::LayerName;
use crate::numeric::signs::Signs;
use crate::output::columns::{Batch, Geometries, LayerKey, Position};
use crate::output::layers::coarse;
use crate::output::layers::features::{self, Feature};
use crate::output::layers::{self, Definition, ellipses, sight_lines};
use crate::shots::locate::Placed;

/// The batches of points and of their ellipses. `cell` gives the text of a record's carried column, and how its
/// numbers are written.
///
/// # Errors
/// When PROJ fails as a whole.
pub fn batches<'c>(
    stage: &Stage,
    mapped: &[MappedFeature],
    sizes: &Sizes,
    cell: &dyn Fn(usize, usize) -> (&'c str, Signs),
) -> Result<Vec<(LayerKey, Batch)>, CrsError> {
    let mut made = Vec::new();
    if stage.wanted.contains(&LayerName::Features) {
        for (key, of_layer) in by_layer(mapped, |feature| !standing::waits(feature)) {
            made.push((key, points(stage, key, mapped, &of_layer, sizes, cell)));
        }
    }
    if stage.wanted.contains(&LayerName::Ellipses) && !mapped.is_empty() {
        let records = || mapped.iter().map(|feature| &feature.record);
        let batch = Batch {
            len: mapped.len(),
            geometries: Geometries::Areas(rings(stage, mapped)?),
            columns: layers::columns(&ellipses::definitions(), records()),
        };
        made.push((LayerName::Ellipses.into(), batch));
    }
    Ok(made)
}

/// Features by layer: the indexes of those that are meant.
fn by_layer(mapped: &[MappedFeature], is_meant: impl Fn(&MappedFeature) -> bool) -> Vec<(LayerKey, Vec<usize>)> {
    let mut found: BTreeMap<LayerKey, Vec<usize>> = BTreeMap::new();
    for (i, feature) in mapped.iter().enumerate().filter(|(_, feature)| is_meant(feature)) {
        found.entry(feature.class.layer).or_default().push(i);
    }
    found.into_iter().collect()
}

/// The features that wait for what is measured of them, by layer.
pub fn standing<'c>(stage: &Stage, mapped: &[MappedFeature], cell: &dyn Fn(usize, usize) -> (&'c str, Signs)) -> Vec<Standing> {
    if !stage.wanted.contains(&LayerName::Features) {
        return Vec::new();
    }
    let of = |(key, of_layer): (LayerKey, Vec<usize>)| {
        let coded = points(stage, key, mapped, &of_layer, &Sizes::default(), cell);
        let described = match (key, stage.coded) {
            (LayerKey::Coded(layer), Some(coded)) => Some(&coded.catalogue.layers[layer]),
            _ => None,
        };
        // An exact place of a layer that is kept coarse stands nowhere else.
        let exact = described.filter(|layer| layer.coarse_cell_m.is_none());
        let own = exact.map(|_| points(stage, LayerName::Features.into(), mapped, &of_layer, &Sizes::default(), cell));
        let sizes_at = exact.map(|layer| features::coded_definitions().len() + layer.attributes.len());
        let features: Vec<&MappedFeature> = of_layer.iter().map(|i| &mapped[*i]).collect();
        Standing::new(key, &features, coded, sizes_at, own)
    };
    by_layer(mapped, standing::waits).into_iter().map(of).collect()
}

/// The sight lines of shots, each with the index of its base.
pub fn sight_line_batch<'r>(
    stage: &Stage,
    shots: impl ExactSizeIterator<Item = (usize, &'r Feature<'r>)> + Clone,
) -> Option<(LayerKey, Batch)> {
    if shots.len() == 0 || !stage.wanted.contains(&LayerName::SightLines) {
        return None;
    }
    let records = || shots.clone().map(|(_, record)| record);
    let batch = Batch {
        len: shots.len(),
        geometries: Geometries::Lines(shots.clone().map(|(base, record)| sight_line(stage, base, &record.placed)).collect()),
        columns: layers::columns(&sight_lines::definitions(), records()),
    };
    Some((LayerName::SightLines.into(), batch))
}

fn points<'r, 'c>(
    stage: &Stage,
    key: LayerKey,
    mapped: &'r [MappedFeature<'r>],
    of_layer: &[usize],
    sizes: &Sizes,
    cell: &dyn Fn(usize, usize) -> (&'c str, Signs),
) -> Batch {
    let records = || of_layer.iter().map(|i| &mapped[*i].record);
    let columns_of = |fields: Vec<Definition<Feature<'r>>>| layers::columns(&fields, records());
    let carried = |index: usize| {
        let known = &stage.logs.carried[index];
        carried_column(known, of_layer.len(), |i| cell(of_layer[i], index))
    };
    let columns = match (key, stage.coded) {
        (LayerKey::Coded(layer), Some(coded)) => {
            let described = &coded.catalogue.layers[layer];
            let mut columns = columns_of(match described.coarse_cell_m {
                Some(_) => coarse::definitions(),
                None => features::coded_definitions(),
            });
            columns.extend(attribute_columns(described, of_layer.len(), |i| &mapped[of_layer[i]].values));
            if described.coarse_cell_m.is_none() {
                columns.extend(sizes.columns_of(&stage.logs.kinds, records()));
            }
            columns.extend(coded.carried_of(layer).iter().map(|index| carried(*index)));
            columns
        }
        _ => {
            let mut columns = columns_of(features::definitions());
            columns.extend((0..stage.logs.carried.len()).map(carried));
            columns
        }
    };
    let positions = of_layer.iter().map(|i| position(&mapped[*i].record.placed, &stage.placed_bases[mapped[*i].base]));
    Batch { len: of_layer.len(), geometries: Geometries::Points(positions.collect()), columns }
}

fn sight_line(stage: &Stage, base: usize, feature: &Placed) -> Vec<Position> {
    let base = &stage.placed_bases[base];
    let mut line = vec![position(base, base), position(feature, base)];
    // A line is of one kind: where one end has no height, neither has.
    if line.iter().any(|end| end.z.is_nan()) {
        line.iter_mut().for_each(|end| {
            end.z = f64::NAN;
            end.ellipsoid_height_m = f64::NAN;
        });
    }
    line
}

/// The rings of the error ellipses, corner by corner through the same way as the points.
fn rings(stage: &Stage, mapped: &[MappedFeature]) -> Result<Vec<Vec<Position>>, CrsError> {
    let mut rings = Vec::with_capacity(mapped.len());
    for feature in mapped {
        let base = &stage.table.bases[feature.base];
        let ellipsoid = stage.table.datums[base.datum].crs.ellipsoid();
        let frame = LocalFrame::at(&feature.end, ellipsoid);
        let corners: Vec<_> = ellipses::ring(&feature.record.ellipse)
            .into_iter()
            .map(|[east, north]| {
                (Geodetic::from_earth_centred(frame.to_earth_centred([east, north, 0.0]), ellipsoid), false, base)
            })
            .collect();
        let corners = stage.locator.place(base.datum, &corners)?;
        rings.push(corners.iter().map(|corner| position(corner, &stage.placed_bases[feature.base])).collect());
    }
    Ok(rings)
}
