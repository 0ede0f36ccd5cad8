//! Which layers a run writes, with all their fields, before the first record.

use super::adjust::Adjusted;
use super::prepare::Prepared;
use super::stage::Stage;
use super::{RunError, carried};
use crate::intake::log::Log;
use crate::intake::shot_logs::ShotLogs;
use crate::job::LayerName;
use crate::output::columns::{Layer, LayerKey};
use crate::output::contract::{Setup, Sink};
use crate::output::layers::{self, values};

/// Begins the output.
///
/// # Errors
/// When it cannot be begun.
pub fn begin(prepared: &Prepared, adjusted: &Adjusted, stage: &Stage, sink: &mut dyn Sink) -> Result<(), RunError> {
    let has_z = stage.placed_bases.iter().any(|base| base.z.is_some());
    let layers = layers(prepared, adjusted, stage);
    let places_deg = stage.placed_bases.iter().map(|base| [base.lon_deg, base.lat_deg]).collect();
    let catalogue = prepared.catalogue.as_deref();
    let setup = Setup { job: prepared.job, crs: &prepared.output, catalogue, layers, rules: prepared.rules, has_z, places_deg };
    Ok(sink.begin(&setup)?)
}

/// The values that things measured in some logs can have.
pub fn quantities(logs: &ShotLogs) -> Vec<&'static str> {
    let mut kinds = logs.kinds.clone();
    if logs.files.iter().any(Log::has_strings) {
        kinds.extend([values::LINE.to_owned(), values::AREA.to_owned()]);
    }
    values::quantities(&kinds)
}

/// The layers wanted that a row can fill.
fn layers(prepared: &Prepared, adjusted: &Adjusted, stage: &Stage) -> Vec<Layer> {
    let (shot_logs, wanted) = (&prepared.shot_logs, &prepared.job.layers);
    let third = adjusted.third(prepared);
    let mut described = layers::all(&third);
    for layer in &mut described {
        match layer.key {
            LayerKey::Own(LayerName::Features) => layer.fields.extend(carried::fields(&shot_logs.carried, &layer.fields)),
            LayerKey::Own(LayerName::Bases) => layer.fields.extend(carried::fields(&prepared.base_logs.carried, &layer.fields)),
            LayerKey::Own(LayerName::Values) => *layer = values::layer(&quantities(shot_logs)),
            _ => {}
        }
    }
    let (composes, strings) = (shot_logs.files.iter().any(Log::has_measures), shot_logs.files.iter().any(Log::has_strings));
    described.retain(|layer| {
        // Layers that no row can fill are not written.
        let LayerKey::Own(name) = layer.key else { return true };
        let may_fill = match name {
            LayerName::Lines | LayerName::Areas | LayerName::Values => composes || strings,
            LayerName::Vertices => strings,
            LayerName::Parts | LayerName::Profiles | LayerName::Measurements => composes,
            LayerName::Adjusted | LayerName::Residuals => adjusted.network.is_some(),
            LayerName::Corrections => adjusted.network.as_ref().is_some_and(|network| network.report.corrections.count > 0),
            _ => true,
        };
        may_fill && wanted.contains(&name)
    });
    if let Some(coded) = stage.coded.filter(|_| wanted.contains(&LayerName::Features)) {
        described.splice(1..1, coded.layers(&third, shot_logs));
    }
    described
}
