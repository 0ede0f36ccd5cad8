use super::*;
use crate::geodesy::covariance::Covariance;
use crate::network::by_station::tests::sample;
use crate::network::components::split;
use crate::network::start::start;
use crate::network::types::{Control, Rangefinder, Station};

/// What a row may differ from its differences by, as a share of its greatest entry: the frame of a base turns by 200 m / R as the base moves.
const TURNS: f64 = 2e-4;

/// The sample with a reading of each kind: an instrument with a scale and a constant, a free circle, horizontal and vertical distances, a
/// height difference, a shot nearly straight up; one base is fixed, of one the height is not known.
pub(crate) fn every_kind() -> Network {
    let mut network = sample();
    network.instruments = vec![Rangefinder { label: "R".into(), sigma_scale: 2e-3, sigma_constant_m: 0.04 }];
    network.observations.iter_mut().filter(|o| o.kind == Kind::Slope).for_each(|o| o.instrument = Some(0));
    network.stations[0].control.as_mut().unwrap().covariance = Covariance::default();
    network.stations[3].control.as_mut().unwrap().covariance.uu = f64::INFINITY;
    let frame = |s: usize, network: &Network| {
        let position = network.stations[s].start.unwrap();
        LocalFrame::at(&Geodetic::from_earth_centred(position, &network.ellipsoid), &network.ellipsoid)
    };
    let top = frame(1, &network).to_earth_centred([0.6, 0.5, 30.0]);
    let control: Option<Control> = None;
    network.stations.push(Station { label: "T".into(), start: Some(top), control, sigma_orientation_rad: 0.0 });
    let mut read = |kind: Kind, from: usize, to: usize, sigma: f64, source: usize| {
        let [e, n, u] = frame(from, &network).from_earth_centred(network.stations[to].start.unwrap());
        let value = match kind {
            Kind::Azimuth => e.atan2(n),
            Kind::Direction => e.atan2(n) - 1.0,
            Kind::Inclination => u.atan2(e.hypot(n)),
            Kind::Slope => e.hypot(n).hypot(u),
            Kind::Horizontal => e.hypot(n),
            _ => u,
        };
        let (instrument_height_m, target_height_m, instrument) = (1.5, 1.5, kind.is_range().then_some(0));
        let of = Observation {
            kind,
            from,
            to,
            value,
            sigma,
            instrument_height_m,
            target_height_m,
            instrument,
            shared: [None; 2],
            source,
        };
        network.observations.push(of);
    };
    for (k, kind) in [Kind::Azimuth, Kind::Inclination, Kind::Slope].into_iter().enumerate() {
        read(kind, 1, 11, [0.005, 0.003, 0.15][k], 900);
    }
    for to in [0, 2, 4, 6] {
        read(Kind::Direction, 1, to, 0.001, 901 + to);
    }
    for (k, kind) in [Kind::Horizontal, Kind::Vertical, Kind::VerticalWithSlope, Kind::HeightDifference].into_iter().enumerate() {
        read(kind, 2, 7 + k, 0.05, 950 + k);
        read(kind, 7 + k, 3, 0.05, 960 + k);
    }
    network
}

/// Looks at the equations of a network at a state some standard errors off its start; the height of feature 10 is held.
fn look(network: &Network, see: impl Fn(&mut Equations, &State)) {
    let used = vec![true; network.observations.len()];
    let component = split(network, &used).remove(0);
    assert_eq!(component.stations.len(), network.stations.len());
    let local: Vec<u32> = (0..network.stations.len() as u32).collect();
    let holds: Vec<bool> = (0..network.stations.len()).map(|s| s == 10).collect();
    let layout = Layout::number(network, &component, &local, &holds);
    let begun = State::start(network, &component, &layout, &start(network, &used));
    let mut equations = Equations::list(network, &component, &layout, &local, &begun);
    // Steps of centimetres, and of milliradians and parts in a thousand for all that is no coordinate.
    let mut step: Vec<f64> = (0..layout.size).map(|k| 0.001 * ((7 * k) % 5) as f64 - 0.002).collect();
    for place in &layout.places {
        (place.first..place.first + u32::from(place.size)).for_each(|k| step[k as usize] *= 10.0);
    }
    let state = begun.moved(&layout, &step, 1.0, &network.ellipsoid);
    see(&mut equations, &state);
}

/// The partials of every row against differences of what is computed, for every unknown.
#[test]
fn partials_are_those_of_the_readings() {
    const STEP: f64 = 1e-4;
    let network = every_kind();
    look(&network, |equations, state| {
        let size = equations.layout.size;
        equations.linearise(state);
        let rows = equations.rows.clone();
        let mut dense = vec![vec![0.0; size]; rows.len()];
        for (row, dense) in rows.iter().zip(&mut dense) {
            row.entries().for_each(|(column, partial)| dense[column] += partial);
        }
        for unknown in 0..size {
            let mut step = vec![0.0; size];
            step[unknown] = STEP;
            let mut at = |share: f64| {
                equations.linearise(&state.moved(equations.layout, &step, share, &network.ellipsoid));
                equations.rows.iter().map(|row| row.misclosure).collect::<Vec<f64>>()
            };
            for (k, (plus, minus)) in at(1.0).into_iter().zip(at(-1.0)).enumerate() {
                let most = dense[k].iter().fold(0.0f64, |most, p| most.max(p.abs()));
                let slope = (minus - plus) / (2.0 * STEP);
                // Of a shot straight up the azimuth is that over the distance read, 0.8 m, which differs by what the state is off.
                let within = if matches!(row_source(equations, k), Some((900, _))) { 0.06 } else { TURNS };
                assert!(
                    (slope - dense[k][unknown]).abs() <= within * most + 1e-6,
                    "row {k}, unknown {unknown}: {slope} {:?}",
                    rows[k]
                );
            }
        }
    });
}

/// The mark and the kind of the reading that a row is of.
fn row_source(equations: &Equations, row: usize) -> Option<(usize, Kind)> {
    let item = equations.items.iter().find(|item| item.first as usize == row)?;
    let Source::Observation(i) = item.source else { return None };
    let o = &equations.network.observations[i];
    Some((o.source, o.kind))
}

/// What each row is off by, from the state as it stands: readings by formulas written out here, priors by their standard errors, and positions
/// by vᵀ C⁻¹ v with the inverse by cofactors.
#[test]
fn misclosures_are_observed_less_computed_over_the_standard_error() {
    let network = every_kind();
    look(&network, |equations, state| {
        equations.linearise(state);
        let mut kinds = std::collections::BTreeSet::new();
        for item in &equations.items {
            let rows = &equations.rows[item.first as usize..][..item.rows as usize];
            match item.source {
                Source::Observation(i) => {
                    let o = &network.observations[i];
                    let want = reading(&network, equations.layout, state, o);
                    assert!((rows[0].misclosure * o.sigma - want).abs() < 1e-6, "{o:?} {} {want}", rows[0].misclosure * o.sigma);
                    kinds.insert(o.kind);
                }
                Source::Control(s) => {
                    let control = network.stations[s].control.unwrap();
                    let at = Geodetic::from_earth_centred(control.position, &network.ellipsoid);
                    let v = LocalFrame::at(&at, &network.ellipsoid).from_earth_centred(state.positions[s]);
                    let sum: f64 = rows.iter().map(|row| row.misclosure * row.misclosure).sum();
                    let want = square(v, &control.covariance);
                    assert!((sum - want).abs() < 1e-6 * (1.0 + want), "{s}: {sum} {want}");
                    assert_eq!(rows.len(), if s == 3 { 2 } else { 3 });
                }
                Source::Orientation(s) => {
                    let value = state.other(equations.layout.places[s].azimuths);
                    assert!((rows[0].misclosure + value / 0.004).abs() < 1e-9 && value != 0.0);
                }
                Source::Scale(k) => {
                    assert!((rows[0].misclosure + state.other(equations.layout.instruments[k][0]) / 2e-3).abs() < 1e-9)
                }
                Source::Constant(k) => {
                    assert!((rows[0].misclosure + state.other(equations.layout.instruments[k][1]) / 0.04).abs() < 1e-9);
                }
                Source::Shared(k) => {
                    let sigma = network.shared[k].sigma;
                    assert!((rows[0].misclosure + state.other(equations.layout.shared[k]) / sigma).abs() < 1e-9);
                }
            }
        }
        assert_eq!(kinds.len(), 8);
        // A fixed position has no equation; each of three others, four orientations, scale, constant, three shared errors.
        assert_eq!(equations.items.len() - network.observations.len(), 3 + 4 + 2 + 3);
        let sum: f64 = equations.rows.iter().map(|row| row.misclosure * row.misclosure).sum();
        assert!((equations.objective() - sum).abs() < 1e-9 * sum);
        equations.items[0].weight = 0.0;
        assert!(equations.objective() < sum);
    });
}

/// Observed less computed of a reading, metres or radians.
fn reading(network: &Network, layout: &Layout, state: &State, o: &Observation) -> f64 {
    let place = &layout.places[o.from];
    let shared: f64 = o.shared.iter().flatten().map(|k| state.other(layout.shared[*k])).sum();
    let [e, n, u] = state.frames[o.from].from_earth_centred(state.positions[o.to]);
    let (scale, constant) = match o.instrument.filter(|_| o.kind.is_range()) {
        Some(k) => (state.other(layout.instruments[k][0]), state.other(layout.instruments[k][1])),
        None => (0.0, 0.0),
    };
    let azimuth = o.value + shared + state.other(place.azimuths);
    let off = match (o.kind, o.source == 900) {
        // Straight up: how far the place is to the left of the line, over the horizontal distance read.
        (Kind::Azimuth, true) => (n * azimuth.sin() - e * azimuth.cos()) / 0.6f64.hypot(0.5),
        (Kind::Azimuth, false) => azimuth - e.atan2(n),
        (Kind::Direction, _) => o.value + state.other(place.directions) - e.atan2(n),
        // In the plane of the azimuth that was read with it: the start has no orientation to add.
        (Kind::Inclination, true) => {
            let azimuth =
                network.observations.iter().find(|o| o.source == 900 && o.kind == Kind::Azimuth).map_or(0.0, |o| o.value);
            o.value - u.atan2(e * azimuth.sin() + n * azimuth.cos())
        }
        (Kind::Inclination, false) => o.value + shared - u.atan2(e.hypot(n)),
        (Kind::Slope, _) => o.value + shared - (1.0 + scale) * e.hypot(n).hypot(u) - constant,
        (Kind::Horizontal, _) => o.value - (1.0 + scale) * e.hypot(n) - constant,
        (Kind::Vertical | Kind::VerticalWithSlope, _) => o.value - u,
        (Kind::HeightDifference, _) => {
            let height = |s: usize| Geodetic::from_earth_centred(state.positions[s], &network.ellipsoid).ellipsoid_height_m;
            o.value - (height(o.to) - height(o.from))
        }
    };
    if o.kind.is_bearing() { (off + 3.0).rem_euclid(std::f64::consts::TAU) - 3.0 } else { off }
}

/// vᵀ C⁻¹ v by cofactors; of east and north alone where the height is not known.
fn square([e, n, u]: [f64; 3], c: &Covariance) -> f64 {
    if !c.uu.is_finite() {
        return (c.nn * e * e - 2.0 * c.en * e * n + c.ee * n * n) / (c.ee * c.nn - c.en * c.en);
    }
    let (a, b, d) = (c.nn * c.uu - c.nu * c.nu, c.eu * c.nu - c.en * c.uu, c.en * c.nu - c.eu * c.nn);
    let (f, g, h) = (c.ee * c.uu - c.eu * c.eu, c.en * c.eu - c.ee * c.nu, c.ee * c.nn - c.en * c.en);
    let determinant = c.ee * a + c.en * b + c.eu * d;
    (a * e * e + f * n * n + h * u * u + 2.0 * (b * e * n + d * e * u + g * n * u)) / determinant
}

/// A direction of a known position that has no error is given a hundredth of a millimetre.
#[test]
fn a_position_has_an_error_in_each_direction() {
    let of = |covariance: Covariance, count: u8| factor(&Control { position: [0.0; 3], covariance }, count);
    let lower = of(Covariance { ee: 0.09, nn: 0.0, uu: 0.0, en: 0.0, eu: 0.0, nu: 0.0 }, 3);
    assert!((lower[0][0] - 0.3).abs() < 1e-15 && lower[1][1] == 1e-5 && lower[2][2] == 1e-5);
    // Of two coordinates the third is left; just over the least the error is its own.
    let lower = of(Covariance { ee: 0.09, nn: 1.21e-10, uu: 4.0, en: 0.0, eu: 0.0, nu: 0.0 }, 2);
    assert!((lower[1][1] - 1.1e-5).abs() < 1e-12 && lower[2] == [0.0; 3]);
    let lower = of(Covariance { ee: 0.09, nn: 0.81e-10, uu: 4.0, en: 0.0, eu: 0.0, nu: 0.0 }, 2);
    assert_eq!(lower[1][1], 1e-5);
}

/// A shot above 85° holds its azimuth over the distance that was read, where it has one, and its inclination in the plane of the azimuth.
#[test]
fn a_steep_shot_is_held_by_its_distance() {
    let mut survey = crate::network::surveyed::Surveyed::at(&[[0.0; 3], [1.0, 2.0, 60.0]], &[0, 1]);
    let mut models = |degrees: f64, kinds: &[(Kind, f64)], other: usize| {
        survey.network.observations.clear();
        for (kind, value) in [(Kind::Inclination, degrees.to_radians())].iter().chain(kinds) {
            let k = survey.read(*kind, 0, 1);
            let o = &mut survey.network.observations[k];
            (o.value, o.source) = (*value, if k == other { 9 } else { 0 });
        }
        let component = survey.component();
        let steep = SteepSights::find(&survey.network, &component);
        survey.network.observations.iter().map(|o| steep.model(o, || 0.25)).collect::<Vec<Model>>()
    };
    let near = |model: Model, want: f64| {
        let Model::SteepAzimuth { horizontal_m } = model else { panic!("{model:?}") };
        assert!((horizontal_m - want).abs() < 1e-9, "{horizontal_m} {want}");
    };
    let plane = Model::SteepInclination { azimuth_rad: 1.25 };
    let plain = |kinds: &[(Kind, f64)]| {
        [Kind::Inclination].into_iter().chain(kinds.iter().map(|(kind, _)| *kind)).map(Model::Plain).collect::<Vec<Model>>()
    };
    for kind in [Kind::Azimuth, Kind::Direction] {
        let slope = [(kind, 1.0), (Kind::Slope, 60.0)];
        for degrees in [85.01, -86.0] {
            let got = models(degrees, &slope, 9);
            assert_eq!((got[0], got[2]), (plane, Model::Plain(Kind::Slope)));
            near(got[1], 60.0 * degrees.to_radians().cos());
        }
        assert_eq!(models(84.99, &slope, 9), plain(&slope));
        assert_eq!(models(-84.99, &slope, 9), plain(&slope));
        // A thousandth of the slope is the least.
        near(models(89.99, &slope, 9)[1], 0.06);
        let flat = [(kind, 1.0), (Kind::Horizontal, 4.0)];
        let got = models(86.0, &flat, 9);
        near(got[1], 4.0);
        assert_eq!((got[0], got[2]), (plane, Model::Plain(Kind::Horizontal)));
        // Without a distance, or with one of another shot, it is as any other.
        assert_eq!(models(86.0, &flat[..1], 9), plain(&flat[..1]));
        assert_eq!(models(86.0, &flat, 2), plain(&flat));
        assert_eq!(models(86.0, &flat, 1), plain(&flat));
    }
    assert_eq!(models(86.0, &[(Kind::Slope, 60.0)], 9), plain(&[(Kind::Slope, 60.0)]));
}
