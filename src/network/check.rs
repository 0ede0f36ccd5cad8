//! The check of a network before anything is computed: indices, numbers and standard errors.

use super::notes::BadNetwork;
use super::types::{Kind, Network, Settings};

/// Refuses a network or settings that make no sense.
pub(crate) fn check(network: &Network, settings: &Settings) -> Result<(), BadNetwork> {
    let bad = |observation, text: String| Err(BadNetwork { observation, text });
    for (name, value) in [("alpha", settings.alpha), ("power", settings.power), ("alpha_global", settings.alpha_global)] {
        if !(value > 0.0 && value < 1.0) {
            return bad(None, format!("The setting {name} is {value}; it must lie between 0 and 1."));
        }
    }
    for station in &network.stations {
        let label = &station.label;
        if station.sigma_orientation_rad.is_nan() || station.sigma_orientation_rad < 0.0 {
            return bad(None, format!("Station {label}: the standard error of the orientation must be 0 or more."));
        }
        let finite = |p: &[f64; 3]| p.iter().all(|x| x.is_finite());
        if station.start.as_ref().is_some_and(|p| !finite(p)) {
            return bad(None, format!("Station {label}: the rough position is not a position."));
        }
        if let Some(control) = &station.control {
            let c = &control.covariance;
            let plane = c.ee * c.nn - c.en * c.en;
            let sensible =
                [c.ee, c.en, c.eu, c.nn, c.nu].iter().all(|x| x.is_finite()) && c.uu >= 0.0 && c.ee >= 0.0 && c.nn >= 0.0;
            if !finite(&control.position) || !sensible || plane < -1e-9 * c.ee * c.nn {
                return bad(None, format!("Station {label}: the known position or its covariance makes no sense."));
            }
        }
    }
    for instrument in &network.instruments {
        if !(instrument.sigma_scale >= 0.0 && instrument.sigma_constant_m >= 0.0) {
            return bad(None, format!("Instrument {}: the standard errors must be 0 or more.", instrument.label));
        }
    }
    for shared in &network.shared {
        if !(shared.sigma > 0.0 && shared.sigma.is_finite()) {
            return bad(None, format!("The standard error of {} must be above 0.", shared.label));
        }
    }
    for (i, o) in network.observations.iter().enumerate() {
        let (Some(from), Some(to)) = (network.stations.get(o.from), network.stations.get(o.to)) else {
            return bad(Some(i), format!("Reading {i} names a station that is not in the network."));
        };
        let place = format!("The {} from {} to {}", o.kind.name(), from.label, to.label);
        if o.from == o.to {
            return bad(Some(i), format!("{place} begins and ends at one station."));
        }
        if o.instrument.is_some_and(|k| k >= network.instruments.len()) {
            return bad(Some(i), format!("{place} names an instrument that is not in the network."));
        }
        if o.shared.iter().flatten().any(|k| *k >= network.shared.len()) {
            return bad(Some(i), format!("{place} names a shared error that is not in the network."));
        }
        if !(o.value.is_finite() && o.instrument_height_m.is_finite() && o.target_height_m.is_finite()) {
            return bad(Some(i), format!("{place} is not a number, or its instrument or target height is not."));
        }
        if !(o.sigma > 0.0 && o.sigma.is_finite()) {
            return bad(Some(i), format!("{place} has the standard error {}; it must be above 0.", o.sigma));
        }
        if o.kind.is_range() && o.value <= 0.0 {
            return bad(Some(i), format!("{place} is {} m; a distance must be above 0.", o.value));
        }
        if o.kind == Kind::Inclination && o.value.abs() > std::f64::consts::FRAC_PI_2 {
            return bad(Some(i), format!("{place} is {:.3}°; it must lie within 90° of level.", o.value.to_degrees()));
        }
    }
    Ok(())
}
