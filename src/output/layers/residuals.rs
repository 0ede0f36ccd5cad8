//! The residuals layer: a table with what the adjustment says of each reading.

use super::{Definition, Get};
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};

/// A reading, or a coordinate of a known position, after adjustment.
#[derive(Debug, Clone)]
pub struct ResidualRecord {
    /// Number of the network, from 1.
    pub network: i64,
    /// What was read.
    pub kind: String,
    /// Where.
    pub from: String,
    /// To what.
    pub to: String,
    /// Unit of the lengths and angles of the record.
    pub unit: &'static str,
    /// Adjusted less read.
    pub residual: f64,
    /// Standard error of the reading.
    pub sigma: f64,
    /// Standard error of the residual.
    pub sigma_residual: f64,
    /// Redundancy number.
    pub redundancy: f64,
    /// Normalised residual; NaN where nothing checks the reading.
    pub normalised: f64,
    /// Its critical value.
    pub critical: f64,
    /// Smallest blunder that the test finds; NaN likewise.
    pub detectable: f64,
    /// used, or rejected by test.
    pub outcome: &'static str,
    /// Weight factor of robust estimation.
    pub weight: f64,
    /// Name of the input file.
    pub source_file: Option<String>,
    /// Line in it.
    pub source_line: Option<i64>,
}

/// The fields, in the order of the layer.
pub fn definitions() -> Vec<Definition<ResidualRecord>> {
    use Get::*;
    type R = ResidualRecord;
    let d = Definition::new;
    vec![
        d("network", "NETWORK", "Number of the network, from 1.", Integer(|r: &R| Some(r.network))),
        d(
            "kind",
            "KIND",
            "What was read: azimuth, inclination, slope distance …, or a coordinate of a base.",
            Text(|r: &R| Some(&r.kind)),
        ),
        d("from", "FROM_NAME", "Base that it was read at.", Text(|r: &R| Some(&r.from))),
        d(
            "to",
            "TO_NAME",
            "Base or feature that was sighted.",
            Text(|r: &R| Some(&r.to).filter(|to| !to.is_empty()).map(String::as_str)),
        ),
        d("unit", "UNIT", "Unit of residual, sigma, sigma_residual and smallest_blunder.", Text(|r: &R| Some(r.unit))),
        d("residual", "RESIDUAL", "Adjusted less read.", Real(|r: &R| r.residual)),
        d("sigma", "SIGMA", "Standard error of the reading, as the job gives it.", Real(|r: &R| r.sigma)),
        d(
            "sigma_residual",
            "SIG_RESID",
            "Standard error of the residual; 0 where nothing checks the reading.",
            Real(|r: &R| r.sigma_residual),
        ),
        d("redundancy", "REDUNDANCY", "Redundancy number, 0 (unchecked) to 1.", Real(|r: &R| r.redundancy)),
        d(
            "normalised",
            "NORMALISED",
            "Residual over its standard error; null where nothing checks the reading.",
            Real(|r: &R| r.normalised),
        ),
        d("critical", "CRITICAL", "Value that it may not pass at the significance of the job.", Real(|r: &R| r.critical)),
        d(
            "smallest_blunder",
            "SMALL_BLUN",
            "Smallest blunder that the test finds with the power of the job.",
            Real(|r: &R| r.detectable),
        ),
        d("outcome", "OUTCOME", "used, or rejected by test.", Text(|r: &R| Some(r.outcome))),
        d("weight", "WEIGHT", "Weight factor of robust estimation; 1 without.", Real(|r: &R| r.weight)),
        d("source_file", "SRC_FILE", "Input file; null for positions and priors.", Text(|r: &R| r.source_file.as_deref())),
        d("source_line", "SRC_LINE", "Line in the input file, from 1.", Integer(|r: &R| r.source_line)),
    ]
}

/// The layer.
pub fn layer() -> Layer {
    Layer {
        key: LayerKey::Own(LayerName::Residuals),
        id: "residuals".into(),
        title: "Residuals of the network".into(),
        description:
            "What the adjustment says of each reading: its residual, how well others check it, and whether it failed its test."
                .into(),
        geometry: GeometryKind::None,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
