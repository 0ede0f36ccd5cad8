//! Which measurements and strings have rows whose places the catalogue keeps coarse.

use super::composed::row::CollectedRow;
use super::stage::Stage;
use crate::output::columns::LayerKey;
use crate::output::disclosure::Guarded;
use crate::records::roles::JOIN;
use crate::records::shot::Words;

/// Those among collected rows.
pub fn guarded(stage: &Stage, collected: &[CollectedRow]) -> Guarded {
    let mut guarded = Guarded::default();
    let Some(coded) = stage.coded.filter(|coded| coded.catalogue.has_coarse()) else { return guarded };
    for row in collected {
        let words = Words {
            code: row.code.as_deref(),
            measure: row.measure.as_deref(),
            role: Some(&row.sighting.role),
            string: row.string.as_deref(),
            ..Words::default()
        };
        let layer = coded.class(&words, "").map(|class| class.layer);
        let is_coarse = matches!(layer, Ok(LayerKey::Coded(layer)) if coded.catalogue.layers[layer].coarse_cell_m.is_some());
        if is_coarse {
            guarded.measurements.extend(row.measure.clone().map(|measure| (measure, row.feature.clone().unwrap_or_default())));
            guarded.strings.extend(row.string.clone());
        }
        if let (Some(string), Some(feature), true) = (&row.string, &row.feature, row.sighting.role == JOIN) {
            guarded.joins.push((string.clone(), feature.clone()));
        }
    }
    guarded
}
