//! `NAME.values.csv`: a row for each measured thing, with the values that any of them has, whatever formats the layers have.

use std::collections::BTreeSet;
use std::path::Path;

use super::WriteError;
use super::csv::records;
use crate::output::columns::{Batch, Geometries};
use crate::output::in_units::InUnits;
use crate::output::layers::values::{self, Thing};
use crate::output::order;
use crate::units::Units;

/// Writes the file; none where nothing was measured.
///
/// # Errors
/// When it cannot be written.
pub fn write_beside(folder: &Path, job: &str, things: &[Thing], units: Units) -> Result<(), WriteError> {
    let path = folder.join(format!("{job}.values.csv"));
    if things.is_empty() {
        return Ok(());
    }
    let kinds: BTreeSet<String> = things.iter().map(|thing| thing.measure.clone()).collect();
    let mut quantities = values::quantities(&kinds);
    quantities.retain(|quantity| things.iter().any(|thing| thing.value(quantity).is_some()));
    let metric = values::layer(&quantities);
    let columns = values::columns(&quantities, things);
    let batch = Batch { len: things.len(), geometries: Geometries::None, columns };
    let units = InUnits::new(units);
    let order = order::arranged(&metric);
    let layer = order::in_order(&units.layer(&metric), &order);
    let batch = order::columns_in_order(units.batch(&metric, &batch).into_owned(), &order);
    let mut writer = csv::Writer::from_path(&path).map_err(WriteError::format(&path, "creating"))?;
    let names = layer.fields.iter().map(|field| field.name.as_str());
    writer.write_record(names).map_err(WriteError::format(&path, "writing"))?;
    records(&mut writer, &layer, &batch, |_, _| {}).map_err(WriteError::format(&path, "writing"))?;
    writer.flush().map_err(WriteError::file(&path, "writing"))
}
