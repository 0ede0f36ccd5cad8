//! The corrections layer: a table of what a network found of instruments and of errors that readings share.

use super::{Definition, Get};
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Layer, LayerKey};
use crate::output::report::network::CorrectionSummary;

/// The fields, in the order of the layer.
pub fn definitions() -> Vec<Definition<CorrectionSummary>> {
    use Get::*;
    type C = CorrectionSummary;
    let d = Definition::new;
    vec![
        d("network", "NETWORK", "Number of the network, from 1.", Integer(|c: &C| Some(c.network as i64))),
        d(
            "kind",
            "KIND",
            "scale or distance constant: reading = (1 + scale) · distance + constant; else the shared error, which has to be added to the \
             readings: declination, azimuth correction …",
            Text(|c: &C| Some(&c.kind)),
        ),
        d("instrument", "INSTRUMENT", "The instrument; null for what is none's.", Text(|c: &C| c.instrument.as_deref())),
        d("value", "VALUE", "What the network found, in unit.", Real(|c: &C| c.value)),
        d("sigma", "SIGMA", "Its standard error, in unit.", Real(|c: &C| c.sigma)),
        d(
            "prior_sigma",
            "SIG_PRIOR",
            "Its standard error before the adjustment, in unit; null where it was open.",
            Real(|c: &C| c.prior_sigma.unwrap_or(f64::NAN)),
        ),
        d("unit", "UNIT", "m, deg or ppm (parts in a million).", Text(|c: &C| Some(&c.unit))),
        d("readings", "READINGS", "Readings that it is in.", Integer(|c: &C| Some(c.readings as i64))),
    ]
}

/// The layer.
pub fn layer() -> Layer {
    Layer {
        key: LayerKey::Own(LayerName::Corrections),
        id: "corrections".into(),
        title: "Corrections found by the network".into(),
        description: "Scales and constants of instruments, and errors that readings share, as the network found them.".into(),
        geometry: GeometryKind::None,
        fields: definitions().iter().map(Definition::field).collect(),
    }
}
