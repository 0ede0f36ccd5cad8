//! Batches of the layers of bases and of the ledger.

use super::carried::carried_column;
use super::stage::{Stage, position};
use crate::intake::base_logs::BaseLogs;
use crate::output::columns::{Batch, Column, Geometries};
use crate::output::layers::bases::PlacedBase;
use crate::output::layers::{self, bases, ledger};

/// The bases layer's records.
pub fn bases_batch(stage: &Stage, shots: &[u64], logs: &BaseLogs) -> Batch {
    let (placed, bases) = (&stage.placed_bases, &stage.table.bases);
    // A point that no shot is from, such as where the car stood, tells of a place that is kept coarse and serves nothing.
    let has_coarse = stage.coded.is_some_and(|coded| coded.catalogue.has_coarse());
    let is_told = |index: &usize| !has_coarse || shots[*index] > 0;
    let records: Vec<PlacedBase> = bases
        .iter()
        .enumerate()
        .filter(|(index, _)| is_told(index))
        .map(|(index, base)| PlacedBase {
            base,
            placed: placed[index],
            projected: stage.projected,
            orientation: stage.orientations[index],
            shots: shots[index],
            source_file: &logs.files[base.row.file].info.name,
        })
        .collect();
    let mut columns: Vec<Column> = layers::columns(&bases::definitions(), &records);
    columns.extend(logs.carried.iter().map(|carried| {
        carried_column(carried, records.len(), |i| {
            let row = &records[i].base.row;
            let extra = carried.index_by_file[row.file];
            let cell = extra.and_then(|index| row.extras.get(index)).map_or("", String::as_str);
            let signs = extra.and_then(|index| logs.files[row.file].extra_signs().get(index).copied());
            (cell, signs.unwrap_or_default())
        })
    }));
    Batch {
        len: records.len(),
        geometries: Geometries::Points(records.iter().map(|base| position(&base.placed, &base.placed)).collect()),
        columns,
    }
}

/// The ledger layer's records.
pub fn ledger_batch(records: &[ledger::LedgerRecord]) -> Batch {
    Batch { len: records.len(), geometries: Geometries::None, columns: layers::columns(&ledger::definitions(), records) }
}
