//! The search for the one worst observation.
//!
//! Each reading is tested by w², each position as a whole by T, against the chi-square quantile 1 − α of its degrees of
//! freedom; the one with the greatest quotient of statistic and critical value is proposed (iterative data snooping,
//! W. Baarda 1968). A reading that nothing checks is never proposed.
//!
//! Two observations whose normalised residuals are one number but for the sign (correlation ρ = −aᵢ Q aⱼᵀ / √(rᵢ rⱼ) of
//! ±1) check each other and nothing else does: nothing tells which of the two is wrong, and neither is taken out; nor is
//! a lesser suspect at the same stations, which may only feel their blunder.
//!
//! In a large network several readings are taken out before the next solution: after each, the tests of the others are those of the
//! network without it ([`super::without`]), and the worst of them is the next.

use super::cholesky::Factor;
use super::equations::{Equations, Source};
use super::reliability::{Residual, Test};
use super::types::Network;
use super::without::{ReadingPart, Without};
use crate::units::Units;

/// Correlation of two normalised residuals from which they are one. Own choice: at 0.99 the two differ by 0.14 standard
/// errors, which decides nothing.
const ALIKE: f64 = 0.99;

/// Relative difference below which the quotients of two positions are one.
const SAME: f64 = 1e-3;

/// Readings that are taken out of one solution at most, and failing tests that are looked through.
const LOOKED_THROUGH: usize = 200;

/// An observation that fails its test.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// What it is.
    pub source: Source,
    /// Normalised residual; for a position of the coordinate that shows it most.
    pub normalised: f64,
    /// Residual (adjusted minus observed) of the same, in metres or radians.
    pub residual: f64,
    /// Its error, if it alone is wrong, in metres or radians.
    pub blunder: f64,
    /// Test statistic, w² or T.
    pub statistic: f64,
    /// Statistic over critical value, above 1.
    pub quotient: f64,
    /// Others that fit the blunder equally.
    pub alike: Vec<Source>,
}

impl Suspect {
    /// The suspicion as a sentence.
    pub fn sentence(&self, network: &Network, units: &Units) -> String {
        let angle = match self.source {
            Source::Observation(i) => network.observations.get(i).is_some_and(|o| o.kind.is_angle()),
            Source::Orientation(_) => true,
            Source::Shared(k) => network.observations.iter().any(|o| o.shared.contains(&Some(k)) && o.kind.is_angle()),
            _ => false,
        };
        let off = match self.source {
            Source::Scale(_) => format!("{:.0} parts in a million", 1e6 * self.blunder),
            _ if angle => units.angle().said(self.blunder.to_degrees(), 2),
            _ => units.length().said(self.blunder, 2),
        };
        let what = self.source.named(network);
        let mut letters = what.chars();
        let what: String =
            letters.next().map(|first| first.to_uppercase().collect::<String>() + letters.as_str()).unwrap_or_default();
        format!("{what} does not fit the others: it seems off by {off} (normalised residual {:.1}).", self.normalised)
    }
}

impl Source {
    /// The observation in words.
    pub fn named(self, network: &Network) -> String {
        let label = |s: usize| network.stations.get(s).map_or("", |station| station.label.as_str());
        match self {
            Source::Observation(i) => match network.observations.get(i) {
                Some(o) => format!("the {} from {} to {}", o.kind.name(), label(o.from), label(o.to)),
                None => String::new(),
            },
            Source::Control(s) => format!("the position of {}", label(s)),
            Source::Orientation(s) => format!("the orientation of {}", label(s)),
            Source::Scale(k) => format!("the scale of {}", network.instruments.get(k).map_or("", |i| i.label.as_str())),
            Source::Constant(k) => format!("the constant of {}", network.instruments.get(k).map_or("", |i| i.label.as_str())),
            Source::Shared(k) => network.shared.get(k).map_or(String::new(), |shared| shared.label.clone()),
        }
    }

    /// The stations that it is about.
    pub fn stations(self, network: &Network) -> Vec<usize> {
        match self {
            Source::Observation(i) => network.observations.get(i).map_or(Vec::new(), |o| vec![o.from, o.to]),
            Source::Control(s) | Source::Orientation(s) => vec![s],
            Source::Scale(_) | Source::Constant(_) | Source::Shared(_) => Vec::new(),
        }
    }
}

/// What the tests come to.
#[derive(Debug, Default)]
pub(crate) struct Suspects {
    /// The worst that can be told from all others, by its item: the one to take out; then those that fail without it.
    pub decided: Vec<(usize, Suspect)>,
    /// Worse ones that cannot.
    pub undecided: Vec<Suspect>,
}

/// Looks through the failing tests, the worst first, for the one to take out or for `several`.
pub(crate) fn look(equations: &Equations, factor: &Factor, residuals: &[Residual], tests: &[Test], several: bool) -> Suspects {
    let mut suspects = Suspects::default();
    let mut touched: Vec<usize> = Vec::new();
    let mut without = Without::prepare(equations, factor, tests);
    for _ in 0..LOOKED_THROUGH {
        let Some(worst) = without.worst() else { break };
        without.pass(worst);
        let Some(item) = equations.items.get(tests[worst].item) else { continue };
        let stations = item.source.stations(equations.network);
        if stations.iter().any(|s| touched.contains(s)) {
            continue;
        }
        let part = without.part(worst);
        let Some(suspect) = suspect(&without, residuals, worst, part.as_ref()) else { continue };
        if !suspect.alike.is_empty() {
            touched.extend(stations);
            touched.extend(suspect.alike.iter().flat_map(|s| s.stations(equations.network)));
            suspects.undecided.push(suspect);
            continue;
        }
        suspects.decided.push((tests[worst].item, suspect));
        match part {
            Some(part) if several && !without.is_full() => without.take_out(part),
            _ => break,
        }
    }
    suspects
}

/// An observation as a suspect; `part` of a reading.
fn suspect(without: &Without, residuals: &[Residual], worst: usize, part: Option<&ReadingPart>) -> Option<Suspect> {
    let Without { equations, tests, .. } = without;
    let test = &tests[worst];
    let item = equations.items.get(test.item)?;
    let suspect = |normalised, residual, blunder, alike| {
        let (statistic, quotient) = (test.statistic, test.quotient());
        Suspect { source: item.source, normalised, residual, blunder, statistic, quotient, alike }
    };
    let Some(part) = part else {
        let size = |r: &&Residual| r.normalised.unwrap_or(0.0).abs();
        let shown = residuals.iter().filter(|r| r.source == item.source).max_by(|a, b| size(a).total_cmp(&size(b)))?;
        let alike = tests
            .iter()
            .filter(|t| t.item != test.item && (t.quotient() / test.quotient() - 1.0).abs() < SAME)
            .filter_map(|t| equations.items.get(t.item).map(|item| item.source))
            .collect();
        return Some(suspect(shown.normalised?, shown.residual, shown.blunder?, alike));
    };
    let (sigma, misclosure) = (item.lower[0][0], without.misclosure(worst));
    let normalised = -misclosure / test.redundancy.sqrt();
    Some(suspect(normalised, -misclosure * sigma, misclosure * sigma / test.redundancy, same_reading(without, worst, part)))
}

/// Readings whose normalised residuals are that of the suspected one but for the sign.
fn same_reading(without: &Without, worst: usize, part: &ReadingPart) -> Vec<Source> {
    let Without { equations, tests, .. } = without;
    let others = tests.iter().enumerate();
    others
        // Equal statistics come first: most readings are ruled out by them.
        .filter(|(k, t)| *k != worst && t.statistic > 0.9 * ALIKE * ALIKE * tests[worst].statistic)
        .filter_map(|(k, t)| Some((k, equations.items.get(t.item)?)))
        .filter(|(k, other)| other.rows == 1 && without.correlation(part, *k).abs() > ALIKE)
        .map(|(_, other)| other.source)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::adjust;
    use crate::network::equations::tests::every_kind;
    use crate::network::reliability::judge;
    use crate::network::surveyed::Surveyed;
    use crate::network::types::{Kind, Settings};
    use crate::network::without::tests::{at_solution, with_blunder};

    /// What the iteration leaves, as a share: a millionth of a standard error.
    const RESTS: f64 = 1e-4;

    /// What is found at the solution of a network, beside its residuals.
    fn found(network: &Network, several: bool, see: impl Fn(&Suspects, &[Residual])) {
        at_solution(network, |equations, factor, tests| {
            let (residuals, _) = judge(equations, factor, &factor.inverse(), &Settings::default());
            see(&look(equations, factor, &residuals, tests, several), &residuals);
        });
    }

    fn sources(suspects: &Suspects) -> Vec<Source> {
        suspects.decided.iter().map(|(_, suspect)| suspect.source).collect()
    }

    fn near(got: f64, want: f64) {
        assert!((got - want).abs() < RESTS * (1.0 + want.abs()), "{got} {want}");
    }

    /// The worst of several blunders first; where several are asked for each next one as it is in the network that is adjusted without those before.
    #[test]
    fn the_worst_and_those_that_fail_without_it() {
        // An azimuth, a slope distance at other stations, an inclination.
        let slips = [(24, 14.0), (53, -12.0), (40, 9.0)];
        let mut network = with_blunder(slips[0].0, slips[0].1);
        for (k, sigmas) in &slips[1..] {
            network.observations[*k].value += sigmas * network.observations[*k].sigma;
        }
        let want: Vec<Source> = slips.iter().map(|(k, _)| Source::Observation(*k)).collect();
        found(&network, false, |suspects, _| assert_eq!(sources(suspects), want[..1]));
        found(&network, true, |suspects, _| {
            assert_eq!(sources(suspects), want);
            assert!(suspects.undecided.is_empty());
            let mut fewer = network.clone();
            for (item, suspect) in &suspects.decided {
                let Source::Observation(k) = suspect.source else { panic!("{suspect:?}") };
                let adjustment = adjust(&fewer, &Settings::default()).unwrap();
                let solved = &adjustment.solved[0];
                let first = solved.residuals.iter().position(|r| matches!(r.source, Source::Observation(_))).unwrap();
                let own = &solved.residuals[first + k];
                assert_eq!(own.source, suspect.source);
                let blunder = own.blunder.unwrap();
                // The linear network without a reading against that which is adjusted anew: ten standard errors bend it by some thousandths.
                let within = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 0.02, "{k}: {got} {want}");
                within(suspect.normalised, own.normalised.unwrap());
                within(suspect.residual, own.residual);
                within(suspect.blunder, blunder);
                within(suspect.statistic, own.normalised.unwrap().powi(2));
                within(
                    suspect.quotient,
                    suspect.statistic / crate::network::quantiles::chi_square(1.0 - Settings::default().alpha, 1),
                );
                assert!(*item > 0 && suspect.alike.is_empty());
                // So small a weight takes it out.
                fewer.observations[k].sigma *= 1e4;
            }
        });
    }

    /// The suspect in exact figures, where it is the first: those of its residual.
    #[test]
    fn a_suspect_is_told_by_its_residual() {
        found(&with_blunder(22, 15.0), false, |suspects, residuals| {
            let [(_, suspect)] = suspects.decided.as_slice() else { panic!("{suspects:?}") };
            let own = residuals.iter().find(|r| r.source == Source::Observation(22)).unwrap();
            near(suspect.normalised, own.normalised.unwrap());
            near(suspect.residual, own.residual);
            near(suspect.blunder, own.blunder.unwrap());
            near(suspect.statistic, own.normalised.unwrap().powi(2));
        });
        // No blunder, no suspect.
        found(&with_blunder(22, 0.0), true, |suspects, _| {
            assert!(suspects.decided.is_empty() && suspects.undecided.is_empty(), "{suspects:?}");
        });
    }

    /// A position is told by the coordinate that shows it most.
    #[test]
    fn a_wrong_position_is_told_by_one_coordinate() {
        for (axis, moved) in [(0, [4.0, 0.0, 0.0]), (1, [0.0, -3.0, 0.0]), (2, [0.0, 0.0, 6.0])] {
            let mut network = with_blunder(22, 0.0);
            let control = network.stations[2].control.as_mut().unwrap();
            let at = crate::geodesy::frame::Geodetic::from_earth_centred(control.position, &network.ellipsoid);
            control.position = crate::geodesy::frame::LocalFrame::at(&at, &network.ellipsoid).to_earth_centred(moved);
            found(&network, false, |suspects, residuals| {
                let [(_, suspect)] = suspects.decided.as_slice() else { panic!("{suspects:?}") };
                assert_eq!(suspect.source, Source::Control(2));
                let own: Vec<&Residual> = residuals.iter().filter(|r| r.source == suspect.source).collect();
                let most = |r: &Residual| r.normalised.unwrap().abs();
                assert!(own.iter().all(|r| most(r) <= most(own[axis])), "{axis} {own:?}");
                assert_eq!((Some(suspect.normalised), Some(suspect.blunder)), (own[axis].normalised, own[axis].blunder));
                assert_eq!(suspect.residual, own[axis].residual);
                assert!(
                    suspect.alike.is_empty() && suspect.quotient > 1.0 && suspect.statistic >= suspect.normalised.powi(2) - RESTS
                );
            });
        }
    }

    /// What the tests of a survey come to: what is decided, and each group of what cannot be told apart.
    fn of_survey(survey: &Surveyed) -> (Vec<Source>, Vec<Vec<Source>>) {
        let mut of = (Vec::new(), Vec::new());
        let adjustment = adjust(&survey.network, &Settings::default()).unwrap();
        let inner = &adjustment.solved[0].inner;
        let local: Vec<u32> = (0..survey.network.stations.len() as u32).collect();
        let mut equations = Equations::list(&survey.network, &inner.component, &inner.layout, &local, &inner.state);
        equations.linearise(&inner.state);
        let (residuals, tests) = judge(&equations, &inner.factor, &inner.inverse, &Settings::default());
        let suspects = look(&equations, &inner.factor, &residuals, &tests, true);
        of.0.extend(sources(&suspects));
        for suspect in suspects.undecided {
            let mut group: Vec<Source> = suspect.alike.into_iter().chain([suspect.source]).collect();
            group.sort_by_key(|source| format!("{source:?}"));
            of.1.push(group);
        }
        of
    }

    /// Two distances that check each other alone are one suspicion, and what else fails at their stations is not looked at; elsewhere it is.
    #[test]
    fn what_checks_each_other_alone_is_not_decided() {
        let places = [[0.0; 3], [60.0, 80.0, 0.0], [500.0, 0.0, 0.0], [560.0, 80.0, 0.0], [520.0, 150.0, 0.0]];
        let mut survey = Surveyed::at(&places, &[0, 2, 3]);
        survey.read_all(&[Kind::Azimuth, Kind::Vertical, Kind::Horizontal, Kind::Horizontal], 0, 1);
        for known in [2, 3] {
            survey.read_all(&[Kind::Azimuth, Kind::Vertical, Kind::Horizontal], known, 4);
        }
        survey.read(Kind::Azimuth, 0, 2);
        survey.network.observations.iter_mut().filter(|o| o.kind.is_angle()).for_each(|o| o.sigma = 1e-4);
        for station in &mut survey.network.stations {
            station.control.iter_mut().for_each(|control| control.covariance = Default::default());
        }
        assert_eq!(of_survey(&survey), (vec![], vec![]));
        survey.network.observations[3].value += 1.0;
        let undecided = vec![vec![Source::Observation(2), Source::Observation(3)]];
        assert_eq!(of_survey(&survey), (vec![], undecided.clone()));
        // A slip at the other end is decided, though it is less.
        survey.network.observations[6].value += 0.3;
        assert_eq!(of_survey(&survey), (vec![Source::Observation(6)], undecided.clone()));
        // The azimuth between the two known points has one end at each: it shares a station with what is undecided.
        survey.network.observations[6].value -= 0.3;
        survey.network.observations[10].value += 5e-4;
        assert_eq!(of_survey(&survey), (vec![], undecided));
        survey.network.observations[3].value -= 1.0;
        assert_eq!(of_survey(&survey), (vec![Source::Observation(10)], vec![]));
    }

    /// Two known positions of one covariance and a shot between them: either may be wrong.
    #[test]
    fn of_two_positions_neither_is_decided() {
        let mut survey = Surveyed::at(&[[0.0; 3], [300.0, 0.0, 0.0]], &[0, 1]);
        survey.read_all(&[Kind::Horizontal, Kind::Azimuth, Kind::Vertical], 0, 1);
        survey.network.observations.iter_mut().for_each(|o| o.sigma = if o.kind == Kind::Azimuth { 1e-5 } else { 1e-3 });
        let moved = survey.frame(1).to_earth_centred([3.0, 3.0, 3.0]);
        survey.network.stations[1].control.as_mut().unwrap().position = moved;
        assert_eq!(of_survey(&survey), (vec![], vec![vec![Source::Control(0), Source::Control(1)]]));
    }

    #[test]
    fn each_source_is_named_with_the_size_of_its_error() {
        let network = every_kind();
        let of = |kind: Kind| network.observations.iter().position(|o| o.kind == kind).unwrap();
        for (source, blunder, said, stations) in [
            (
                Source::Observation(of(Kind::Azimuth)),
                0.02,
                "The azimuth from S0 to S1 does not fit the others: it seems off by 1.15°",
                vec![0, 1],
            ),
            (
                Source::Observation(of(Kind::Slope)),
                -0.5,
                "The slope distance from S0 to S1 does not fit the others: it seems off by -0.50 m",
                vec![0, 1],
            ),
            (Source::Control(2), 0.25, "The position of S2 does not fit the others: it seems off by 0.25 m", vec![2]),
            (Source::Orientation(1), -0.01, "The orientation of S1 does not fit the others: it seems off by -0.57°", vec![1]),
            (Source::Scale(0), 250e-6, "The scale of R does not fit the others: it seems off by 250 parts in a million", vec![]),
            (Source::Constant(0), 0.12, "The constant of R does not fit the others: it seems off by 0.12 m", vec![]),
            (Source::Shared(0), 0.03, "The declination does not fit the others: it seems off by 1.72°", vec![]),
            (Source::Shared(2), 0.03, "The distance correction does not fit the others: it seems off by 0.03 m", vec![]),
        ] {
            let (residual, statistic, quotient, alike) = (-blunder, 27.04, 2.5, vec![]);
            let suspect = Suspect { source, normalised: -5.2, residual, blunder, statistic, quotient, alike };
            assert_eq!(suspect.sentence(&network, &Units::default()), format!("{said} (normalised residual -5.2)."));
            assert_eq!(source.stations(&network), stations);
        }
        assert_eq!(Source::Observation(9999).named(&network), "");
        assert!(Source::Observation(9999).stations(&network).is_empty());
    }
}
