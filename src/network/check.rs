//! The check of a network before anything is computed: indices, numbers and standard errors.

use super::bad::{BadNetwork, Flaw, ReadingFlaw};
use super::types::{Kind, Network, Settings};

/// Refuses a network or settings that make no sense.
pub(crate) fn check(network: &Network, settings: &Settings) -> Result<(), BadNetwork> {
    let bad = |flaw: Flaw| Err(BadNetwork { observation: None, flaw });
    for (name, value) in [("alpha", settings.alpha), ("power", settings.power), ("alpha_global", settings.alpha_global)] {
        if !(value > 0.0 && value < 1.0) {
            return bad(Flaw::Setting { name, value });
        }
    }
    for station in &network.stations {
        let label = &station.label;
        if station.sigma_orientation_rad.is_nan() || station.sigma_orientation_rad < 0.0 {
            return bad(Flaw::Orientation(label.clone()));
        }
        let finite = |p: &[f64; 3]| p.iter().all(|x| x.is_finite());
        if station.start.as_ref().is_some_and(|p| !finite(p)) {
            return bad(Flaw::Start(label.clone()));
        }
        if let Some(control) = &station.control {
            let c = &control.covariance;
            let plane = c.ee * c.nn - c.en * c.en;
            let sensible =
                [c.ee, c.en, c.eu, c.nn, c.nu].iter().all(|x| x.is_finite()) && c.uu >= 0.0 && c.ee >= 0.0 && c.nn >= 0.0;
            if !finite(&control.position) || !sensible || plane < -1e-9 * c.ee * c.nn {
                return bad(Flaw::Control(label.clone()));
            }
        }
    }
    for instrument in &network.instruments {
        if !(instrument.sigma_scale >= 0.0 && instrument.sigma_constant_m >= 0.0) {
            return bad(Flaw::Instrument(instrument.label.clone()));
        }
    }
    for shared in &network.shared {
        if !(shared.sigma > 0.0 && shared.sigma.is_finite()) {
            return bad(Flaw::Shared(shared.label.clone()));
        }
    }
    for (i, o) in network.observations.iter().enumerate() {
        let (Some(from), Some(to)) = (network.stations.get(o.from), network.stations.get(o.to)) else {
            return Err(BadNetwork { observation: Some(i), flaw: Flaw::NoStation(i) });
        };
        let bad = |flaw: ReadingFlaw| {
            let (from, to) = (from.label.clone(), to.label.clone());
            Err(BadNetwork { observation: Some(i), flaw: Flaw::Reading { kind: o.kind.name(), from, to, flaw } })
        };
        if o.from == o.to {
            return bad(ReadingFlaw::OneStation);
        }
        if o.instrument.is_some_and(|k| k >= network.instruments.len()) {
            return bad(ReadingFlaw::NoInstrument);
        }
        if o.shared.iter().flatten().any(|k| *k >= network.shared.len()) {
            return bad(ReadingFlaw::NoSharedError);
        }
        if !(o.value.is_finite() && o.instrument_height_m.is_finite() && o.target_height_m.is_finite()) {
            return bad(ReadingFlaw::NoNumber);
        }
        if !(o.sigma > 0.0 && o.sigma.is_finite()) {
            return bad(ReadingFlaw::Sigma(o.sigma));
        }
        if o.kind.is_range() && o.value <= 0.0 {
            return bad(ReadingFlaw::NoDistance(o.value));
        }
        if o.kind == Kind::Inclination && o.value.abs() > std::f64::consts::FRAC_PI_2 {
            return bad(ReadingFlaw::BeyondPlumb(o.value));
        }
    }
    Ok(())
}
