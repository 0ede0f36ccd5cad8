//! The measurements layer: a table with one record for each value that rows give together.

use super::{Definition, Get};
use crate::job::LayerName;
use crate::joint::Estimate;
use crate::table::{GeometryKind, Layer, LayerKey};

/// A value of a composed measurement.
#[derive(Debug, Clone)]
pub struct MeasurementRecord {
    /// Kind of measurement.
    pub measure: String,
    /// Name of what was measured.
    pub name: String,
    /// Name of the value, with its unit.
    pub quantity: String,
    /// The value.
    pub estimate: Estimate,
    /// How it was computed, and what was assumed.
    pub method: String,
    /// Warnings and cautions, in sentences.
    pub warnings: String,
    /// Labels of the bases.
    pub bases: String,
    /// Name of the input file of its first row.
    pub source_file: String,
    /// Line of its first row.
    pub source_line: u64,
}

/// The fields, in the order of the layer.
pub fn definitions() -> Vec<Definition<MeasurementRecord>> {
    use Get::*;
    type M = MeasurementRecord;
    let d = Definition::new;
    vec![
        d("measure", "MEASURE", "Kind of measurement, as the log names it.", Text(|m: &M| Some(&m.measure))),
        d("name", "NAME", "What was measured: the feature of its rows.", Text(|m: &M| Some(&m.name))),
        d("quantity", "QUANTITY", "Name of the value with its unit behind it.", Text(|m: &M| Some(&m.quantity))),
        d("value", "VALUE", "The value, in the unit that its name says.", Real(|m: &M| m.estimate.value)),
        d("sigma", "SIGMA", "Its standard error.", Real(|m: &M| m.estimate.sigma)),
        d("low95", "LOW95", "Lower end of the 95 % interval.", Real(|m: &M| m.estimate.value - m.estimate.half95())),
        d("high95", "HIGH95", "Upper end of the 95 % interval.", Real(|m: &M| m.estimate.value + m.estimate.half95())),
        d("method", "METHOD", "How it was computed, and what was assumed.", Text(|m: &M| Some(&m.method))),
        d(
            "warnings",
            "WARNINGS",
            "Warnings and cautions, in sentences.",
            Text(|m: &M| (!m.warnings.is_empty()).then_some(m.warnings.as_str())),
        ),
        d("bases", "BASES", "Bases that its rows were shot from.", Text(|m: &M| Some(&m.bases))),
        d("source_file", "SRC_FILE", "Input file of its first row.", Text(|m: &M| Some(&m.source_file))),
        d("source_line", "SRC_LINE", "Line of its first row, from 1.", Integer(|m: &M| Some(m.source_line as i64))),
    ]
}

/// The layer.
pub fn layer() -> Layer {
    Layer {
        key: LayerKey::Own(LayerName::Measurements),
        id: "measurements".into(),
        title: "Composed measurements".into(),
        description:
            "Heights, missing lines, spans, planes and the like: each value with its standard error and 95 % interval. Mapping \
            grade, valid at the time of measurement; no finding of compliance and no approach distance."
                .into(),
        geometry: GeometryKind::None,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
