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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::equations::tests::every_kind;

    /// What is said of a network after a change; its index too where a reading is at fault.
    fn said(change: impl Fn(&mut Network, &mut Settings)) -> Option<(Option<usize>, String)> {
        let (mut network, mut settings) = (every_kind(), Settings::default());
        change(&mut network, &mut settings);
        check(&network, &settings).err().map(|bad| (bad.observation, bad.to_string()))
    }

    fn of(kind: Kind) -> usize {
        every_kind().observations.iter().position(|o| o.kind == kind).unwrap()
    }

    #[test]
    fn settings_are_probabilities() {
        assert_eq!(said(|_, _| ()), None);
        type Set = fn(&mut Settings, f64);
        let set: [(&str, Set); 3] = [
            ("alpha", |s, value| s.alpha = value),
            ("power", |s, value| s.power = value),
            ("alpha_global", |s, value| s.alpha_global = value),
        ];
        for (name, set) in set {
            for value in [0.0, 1.0, -0.1, 1.1, f64::NAN] {
                let want = format!("The setting {name} is {value}; it must lie between 0 and 1.");
                assert_eq!(said(|_, settings| set(settings, value)), Some((None, want)));
            }
            assert!([1e-9, 0.999].iter().all(|value| said(|_, settings| set(settings, *value)).is_none()));
        }
    }

    #[test]
    fn stations_are_places_with_covariances() {
        let bad = |change: &dyn Fn(&mut Network), want: &str| {
            assert_eq!(said(|network, _| change(network)), Some((None, want.to_owned())), "{want}");
        };
        let good = |change: &dyn Fn(&mut Network)| assert_eq!(said(|network, _| change(network)), None);
        for sigma in [-1e-9, f64::NAN] {
            bad(
                &|n| n.stations[4].sigma_orientation_rad = sigma,
                "Station S4: the standard error of the orientation must be 0 or more.",
            );
        }
        good(&|n| n.stations[4].sigma_orientation_rad = 0.0);
        good(&|n| n.stations[4].sigma_orientation_rad = f64::INFINITY);
        for axis in 0..3 {
            bad(&|n| n.stations[5].start.as_mut().unwrap()[axis] = f64::NAN, "Station S5: the rough position is not a position.");
        }
        good(&|n| n.stations[5].start = None);
        let control = "Station S1: the known position or its covariance makes no sense.";
        bad(&|n| n.stations[1].control.as_mut().unwrap().position[2] = f64::INFINITY, control);
        type Change = fn(&mut crate::geodesy::covariance::Covariance);
        let covariances: [Change; 11] = [
            |c| c.ee = f64::INFINITY,
            |c| c.nn = f64::INFINITY,
            |c| c.en = f64::NAN,
            |c| c.eu = f64::NAN,
            |c| c.nu = f64::NAN,
            |c| c.uu = -1e-9,
            |c| c.uu = f64::NAN,
            |c| (c.ee, c.en) = (-1e-9, 0.0),
            |c| (c.nn, c.en) = (-1e-9, 0.0),
            // Correlated by more than all: en² is at most ee nn, but for a billionth that rounding may add.
            |c| c.en = 1.000_001 * (c.ee * c.nn).sqrt(),
            |c| c.en = -(1.0 + 5.1e-10) * (c.ee * c.nn).sqrt(),
        ];
        for change in covariances {
            bad(&|n| change(&mut n.stations[1].control.as_mut().unwrap().covariance), control);
        }
        let covariances: [Change; 7] = [
            |c| c.uu = f64::INFINITY,
            |c| c.uu = 0.0,
            |c| c.en = -(c.ee * c.nn).sqrt(),
            |c| c.en = (1.0 + 4.9e-10) * (c.ee * c.nn).sqrt(),
            |c| (c.ee, c.en) = (0.0, 0.0),
            |c| (c.nn, c.en) = (0.0, 0.0),
            |c| (c.ee, c.nn, c.en) = (0.0, 0.0, 0.0),
        ];
        for change in covariances {
            good(&|n| change(&mut n.stations[1].control.as_mut().unwrap().covariance));
        }
        let instrument = "Instrument R: the standard errors must be 0 or more.";
        bad(&|n| n.instruments[0].sigma_scale = -1e-9, instrument);
        bad(&|n| n.instruments[0].sigma_constant_m = f64::NAN, instrument);
        good(&|n| (n.instruments[0].sigma_scale, n.instruments[0].sigma_constant_m) = (0.0, f64::INFINITY));
        for sigma in [0.0, f64::INFINITY, f64::NAN] {
            bad(&|n| n.shared[0].sigma = sigma, "The standard error of the declination must be above 0.");
        }
    }

    #[test]
    fn readings_are_numbers_between_two_stations() {
        let bad = |kind: Kind, change: &dyn Fn(&mut Network, usize), want: &str| {
            let i = of(kind);
            assert_eq!(said(|network, _| change(network, i)), Some((Some(i), want.to_owned())), "{want}");
        };
        let i = of(Kind::Horizontal);
        for end in [0, 1] {
            let said = said(|network, _| {
                let count = network.stations.len();
                let o = &mut network.observations[i];
                *if end == 0 { &mut o.from } else { &mut o.to } = count;
            });
            assert_eq!(said, Some((Some(i), format!("Reading {i} names a station that is not in the network."))));
        }
        bad(
            Kind::Slope,
            &|n, i| n.observations[i].to = n.observations[i].from,
            "The slope distance from S0 to S0 begins and ends at one station.",
        );
        bad(
            Kind::Slope,
            &|n, i| n.observations[i].instrument = Some(n.instruments.len()),
            "The slope distance from S0 to S1 names an instrument that is not in the network.",
        );
        bad(
            Kind::Azimuth,
            &|n, i| n.observations[i].shared[1] = Some(n.shared.len()),
            "The azimuth from S0 to S1 names a shared error that is not in the network.",
        );
        let number = "The azimuth from S0 to S1 is not a number, or its instrument or target height is not.";
        bad(Kind::Azimuth, &|n, i| n.observations[i].value = f64::NAN, number);
        bad(Kind::Azimuth, &|n, i| n.observations[i].instrument_height_m = f64::INFINITY, number);
        bad(Kind::Azimuth, &|n, i| n.observations[i].target_height_m = f64::NAN, number);
        for sigma in [0.0, -1.0, f64::INFINITY] {
            let want = format!("The azimuth from S0 to S1 has the standard error {sigma}; it must be above 0.");
            bad(Kind::Azimuth, &|n, i| n.observations[i].sigma = sigma, &want);
        }
        for value in [0.0, -3.0] {
            bad(
                Kind::Horizontal,
                &|n, i| n.observations[i].value = value,
                &format!("The horizontal distance from S2 to S7 is {value} m; a distance must be above 0."),
            );
        }
        // A height may fall, and an azimuth turn round.
        for kind in [Kind::HeightDifference, Kind::Vertical, Kind::Azimuth] {
            let i = of(kind);
            assert_eq!(said(|network, _| network.observations[i].value = -3.0), None);
        }
        let plumb = std::f64::consts::FRAC_PI_2;
        for sign in [1.0, -1.0] {
            let want = format!(
                "The inclination from S0 to S1 is {}°; it must lie within 90° of level.",
                if sign > 0.0 { "90.057" } else { "-90.057" }
            );
            bad(Kind::Inclination, &|n, i| n.observations[i].value = sign * (plumb + 0.001), &want);
            let i = of(Kind::Inclination);
            assert_eq!(said(|network, _| network.observations[i].value = sign * plumb), None);
        }
    }
}
