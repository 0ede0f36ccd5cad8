//! The measurements layer: a table with one record for each value that rows give together.

use super::{Definition, Get, Times, or_null, time_definitions};
use crate::geodesy::register::Estimate;
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};

/// A value of a composed measurement.
#[derive(Debug, Clone)]
pub struct MeasurementRecord {
    /// Kind of measurement.
    pub measure: String,
    /// Name of what was measured.
    pub name: String,
    /// Name of the value, with its unit.
    pub quantity: String,
    /// What within the measurement the value is of; none for the whole.
    pub target: Option<String>,
    /// The value.
    pub estimate: Estimate,
    /// How it was computed, and what was assumed.
    pub method: String,
    /// Warnings and cautions, in sentences.
    pub warnings: String,
    /// When its shots were taken.
    pub times: Times,
    /// Conditions of the day, for spans.
    pub conditions: Option<String>,
    /// The user's threshold, and how the value lies to it.
    pub threshold: Option<(f64, &'static str)>,
    /// What must be read with it, for spans.
    pub caution: Option<&'static str>,
    /// Labels of the bases.
    pub bases: String,
    /// Name of the input file of its row: that of the target, else the first.
    pub source_file: String,
    /// Line of that row.
    pub source_line: u64,
}

/// The fields, in the order of the layer.
pub fn definitions() -> Vec<Definition<MeasurementRecord>> {
    use Get::*;
    type M = MeasurementRecord;
    let d = Definition::new;
    let mut fields = vec![
        d("measure", "MEASURE", "Kind of measurement, as the log names it.", Text(|m: &M| Some(&m.measure))),
        d("name", "NAME", "What was measured: the feature of its rows.", Text(|m: &M| Some(&m.name))),
        d("quantity", "QUANTITY", "Name of the value with its unit behind it.", Text(|m: &M| Some(&m.quantity))),
        d(
            "target",
            "TARGET",
            "What within the measurement the value is of: the leg of a chain, the wire and a shot, a shot of a plane; null for the whole.",
            Text(|m: &M| m.target.as_deref()),
        ),
        d("value", "VALUE", "The value, in the unit that its name says.", Real(|m: &M| m.estimate.value)),
        d("sigma", "SIGMA", "Its standard error.", Real(|m: &M| m.estimate.sigma)),
        d("low95", "LOW95", "Lower end of the 95 % interval.", Real(|m: &M| m.estimate.value - m.estimate.half95())),
        d("high95", "HIGH95", "Upper end of the 95 % interval.", Real(|m: &M| m.estimate.value + m.estimate.half95())),
        d("method", "METHOD", "How it was computed, and what was assumed.", Text(|m: &M| Some(&m.method))),
        d(
            "warnings",
            "WARNINGS",
            "Warnings in sentences.",
            Text(|m: &M| (!m.warnings.is_empty()).then_some(m.warnings.as_str())),
        ),
    ];
    fields.extend(time_definitions!(M));
    fields.extend([
        d(
            "conditions",
            "CONDITIONS",
            "Spans: conditions of the day as the crew entered them, and which are not known.",
            Text(|m: &M| m.conditions.as_deref()),
        ),
        d(
            "user_threshold_m",
            "USER_THR_M",
            "Distances of wires: the user threshold of the job, metres; null where it has none.",
            Real(|m: &M| or_null(m.threshold.map(|(metres, _)| metres))),
        ),
        d(
            "against_user_threshold",
            "USER_THR",
            "How the value lies to the user threshold after half of its 95 % interval is taken off: above, below, or cannot tell.",
            Text(|m: &M| m.threshold.map(|(_, words)| words)),
        ),
        d("caution", "CAUTION", "Spans and volumes: what must be read with the value.", Text(|m: &M| m.caution)),
        d("bases", "BASES", "Bases that its rows were shot from.", Text(|m: &M| Some(&m.bases))),
        d("source_file", "SRC_FILE", "Input file of its row: that of the target, else the first.", Text(|m: &M| Some(&m.source_file))),
        d("source_line", "SRC_LINE", "Line of that row, from 1.", Integer(|m: &M| Some(m.source_line as i64))),
    ]);
    fields
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
