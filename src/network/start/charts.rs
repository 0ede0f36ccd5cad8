//! Free circles that nothing orients one by one: a chart of their own, turned onto what is known.
//!
//! A traverse between two known positions whose circles are free, without a third point, has no azimuth to start with, and yet one
//! solution: angles and distances give its shape, the two positions its place and its turn. So the circle of one base is taken
//! as if its zero were north, and whatever follows from there by the closed forms is laid out in that chart. Where two or more
//! stations of the chart have positions, it is moved and turned onto them: about both centres of gravity, by tan θ = Σ (n e′ − e n′)
//! / Σ (e e′ + n n′) to the right, from the chart (e, n) to the positions (e′, n′): least squares without a change of scale (the
//! plane similarity of any text on coordinate transformations, e.g. C. D. Ghilani, "Adjustment Computations", ch. 18). Accuracy:
//! enough for a starting value; the chart's one horizon is good to the earth's curvature.

use super::{StartSearch, Starts};
use crate::geodesy::frame::{EarthCentred, Geodetic, LocalFrame, half_circle_rad};
use crate::network::types::Kind;

/// The positions that a chart is turned onto must spread over this much, in metres, root of the sum of squares about their centre:
/// less turns it by the errors of GNSS.
const LEAST_SPREAD_M: f64 = 1.0;

/// By how much chart and positions may differ in size, as a share: more is a chart of something else.
const SIZE: f64 = 0.2;

/// Lays out charts until none gives anything more.
pub(super) fn fit(search: &mut StartSearch) {
    let stations = search.network.stations.len();
    let mut tried = vec![false; stations];
    while let Some(root) = next_root(search, &tried) {
        tried[root] = true;
        let real = std::mem::take(&mut search.starts);
        let chart = lay_out(search, &real, root);
        search.starts = real;
        match ChartTurn::fit(search, &chart) {
            Some(turn) => turn.apply(search, &chart),
            // Another base of the same chart would lay out the same.
            None => (0..stations).for_each(|s| tried[s] |= chart.directions[s].is_some()),
        }
    }
}

/// A base with a free circle that is not oriented, one with a position first.
fn next_root(search: &StartSearch, tried: &[bool]) -> Option<usize> {
    let reads = |s: usize| {
        search.readings[s].iter().any(|&i| {
            let o = &search.network.observations[i];
            o.from == s && o.kind == Kind::Direction
        })
    };
    let open = |s: &usize| !tried[*s] && search.starts.directions[*s].is_none() && reads(*s);
    let all = 0..tried.len();
    all.clone().filter(open).find(|s| search.starts.positions[*s].is_some()).or_else(|| all.clone().find(open))
}

/// What follows from one base at any place whose circle starts at north.
fn lay_out(search: &StartSearch, real: &Starts, root: usize) -> Starts {
    let mut chart = StartSearch::new(search.network, search.readings, Some(real));
    let anchor = real.positions[root].or_else(|| real.positions.iter().flatten().next().copied());
    chart.starts.positions[root] = anchor;
    chart.starts.has_height[root] = true;
    chart.starts.directions[root] = Some(0.0);
    if anchor.is_some() {
        chart.settled(root);
        chart.spread();
    }
    chart.starts
}

/// From a chart to positions.
struct ChartTurn {
    /// East, north, up of the first of the shared stations in the chart.
    from: LocalFrame,
    to: LocalFrame,
    /// Centres of gravity, and what heights rise by where any of the shared stations has both.
    centre: [f64; 2],
    onto: [f64; 2],
    raise_m: Option<f64>,
    /// What azimuths of the chart are turned right by.
    angle_rad: f64,
}

impl ChartTurn {
    fn fit(search: &StartSearch, chart: &Starts) -> Option<ChartTurn> {
        let real = &search.starts;
        let frame = |position: EarthCentred| {
            LocalFrame::at(&Geodetic::from_earth_centred(position, &search.network.ellipsoid), &search.network.ellipsoid)
        };
        let shared: Vec<(usize, EarthCentred, EarthCentred)> =
            (0..chart.positions.len()).filter_map(|s| Some((s, chart.positions[s]?, real.positions[s]?))).collect();
        let (_, in_chart, in_place) = *shared.first()?;
        let (from, to) = (frame(in_chart), frame(in_place));
        let pairs: Vec<([f64; 3], [f64; 3])> =
            shared.iter().map(|(_, a, b)| (from.from_earth_centred(*a), to.from_earth_centred(*b))).collect();
        let share = 1.0 / pairs.len() as f64;
        #[allow(clippy::type_complexity)]
        let middle = |of: &dyn Fn(&([f64; 3], [f64; 3])) -> f64| pairs.iter().map(of).sum::<f64>() * share;
        let centre = [middle(&|(a, _)| a[0]), middle(&|(a, _)| a[1])];
        let onto = [middle(&|(_, b)| b[0]), middle(&|(_, b)| b[1])];
        let (mut dot, mut cross, mut sizes) = (0.0, 0.0, [0.0f64; 2]);
        for (a, b) in &pairs {
            let (a, b) = ([a[0] - centre[0], a[1] - centre[1]], [b[0] - onto[0], b[1] - onto[1]]);
            dot += a[0] * b[0] + a[1] * b[1];
            // Turned right from a to b is positive, as azimuths are.
            cross += a[1] * b[0] - a[0] * b[1];
            sizes[0] += a[0] * a[0] + a[1] * a[1];
            sizes[1] += b[0] * b[0] + b[1] * b[1];
        }
        let sizes = sizes.map(f64::sqrt);
        if sizes[1] < LEAST_SPREAD_M || (sizes[0] / sizes[1] - 1.0).abs() > SIZE {
            return None;
        }
        let with_heights = shared.iter().zip(&pairs).filter(|((s, ..), _)| chart.has_height[*s] && real.has_height[*s]);
        let rises: Vec<f64> = with_heights.map(|(_, (a, b))| b[2] - a[2]).collect();
        let raise_m = (!rises.is_empty()).then(|| rises.iter().sum::<f64>() / rises.len() as f64);
        Some(ChartTurn { from, to, centre, onto, raise_m, angle_rad: cross.atan2(dot) })
    }

    fn apply(&self, search: &mut StartSearch, chart: &Starts) {
        let (sin, cos) = self.angle_rad.sin_cos();
        let mut new = Vec::new();
        for s in 0..chart.positions.len() {
            if let (Some(direction), None) = (chart.directions[s], search.starts.directions[s]) {
                search.starts.directions[s] = Some(half_circle_rad(direction + self.angle_rad));
                new.push(s);
            }
            let (Some(position), None) = (chart.positions[s], search.starts.positions[s]) else { continue };
            let [e, n, u] = self.from.from_earth_centred(position);
            let [e, n] = [e - self.centre[0], n - self.centre[1]];
            let up = u + self.raise_m.unwrap_or(0.0);
            let turned = [self.onto[0] + e * cos + n * sin, self.onto[1] + n * cos - e * sin, up];
            search.starts.positions[s] = Some(self.to.to_earth_centred(turned));
            search.starts.has_height[s] = chart.has_height[s] && self.raise_m.is_some();
            new.push(s);
        }
        for s in new {
            if search.starts.positions[s].is_some() {
                search.settled(s);
            }
        }
        search.spread();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geodesy::covariance::Covariance;
    use crate::geodesy::frame::Ellipsoid;
    use crate::network::start::start;
    use crate::network::surveyed::Surveyed;
    use crate::network::types::{Control, Network, Observation, Station};
    use proptest::prelude::*;

    const ORIGIN: Geodetic = Geodetic { lat_rad: 0.8, lon_rad: 0.2, ellipsoid_height_m: 900.0 };

    /// A traverse of legs (azimuth, length) from a known position to a known position, each circle turned by an angle of its own.
    fn traverse(legs: &[(f64, f64)], zeros: &[f64]) -> (Network, Vec<EarthCentred>) {
        let frame = LocalFrame::at(&ORIGIN, &Ellipsoid::WGS84);
        let mut at = [0.0, 0.0];
        let mut places = vec![at];
        for (azimuth, length) in legs {
            at = [at[0] + length * azimuth.sin(), at[1] + length * azimuth.cos()];
            places.push(at);
        }
        let truth: Vec<EarthCentred> = places.iter().map(|[e, n]| frame.to_earth_centred([*e, *n, 0.0])).collect();
        let known = |s: usize| s == 0 || s == truth.len() - 1;
        let control =
            |s: usize| known(s).then_some(Control { position: truth[s], covariance: Covariance::from_sigmas(0.1, 0.1) });
        let stations = (0..truth.len())
            .map(|s| Station { label: s.to_string(), start: None, control: control(s), sigma_orientation_rad: 0.0 })
            .collect();
        let mut observations = Vec::new();
        for k in 0..legs.len() {
            for (from, to) in [(k, k + 1), (k + 1, k)] {
                let [e, n, u] = LocalFrame::at(&Geodetic::from_earth_centred(truth[from], &Ellipsoid::WGS84), &Ellipsoid::WGS84)
                    .from_earth_centred(truth[to]);
                let h = e.hypot(n);
                let of = |kind, value| Observation {
                    kind,
                    from,
                    to,
                    value,
                    sigma: 0.001,
                    instrument_height_m: 0.0,
                    target_height_m: 0.0,
                    instrument: None,
                    shared: [None; 2],
                    source: observations.len() / 3,
                };
                let read = [
                    of(Kind::Direction, (e.atan2(n) - zeros[from]).rem_euclid(std::f64::consts::TAU)),
                    of(Kind::Inclination, u.atan2(h)),
                    of(Kind::Slope, h.hypot(u)),
                ];
                observations.extend(read);
            }
        }
        (
            Network { ellipsoid: Ellipsoid::WGS84, refraction: 0.0, stations, instruments: vec![], shared: vec![], observations },
            truth,
        )
    }

    proptest! {
        /// A traverse of any shape between two known positions starts at its true places, however its circles are turned.
        #[test]
        fn a_traverse_with_free_circles(
            legs in proptest::collection::vec((-1.2f64..1.2, 20.0f64..200.0), 2..9),
            zeros in proptest::collection::vec(0.0f64..6.2, 10),
        ) {
            let (network, truth) = traverse(&legs, &zeros);
            let starts = start(&network, &vec![true; network.observations.len()]);
            prop_assert!(starts.notes.is_empty(), "{:?}", starts.notes);
            for (s, truth) in truth.iter().enumerate() {
                let got = starts.positions[s].unwrap();
                let off = (0..3).map(|k| (got[k] - truth[k]).powi(2)).sum::<f64>().sqrt();
                // The horizon of one end over at most 1.6 km.
                prop_assert!(off < 0.3 && starts.has_height[s], "station {s}: {off} m off");
                prop_assert!(half_circle_rad(starts.directions[s].unwrap() - zeros[s]).abs() < 0.002);
            }
        }
    }

    /// Two bases X (2) and Y (3) with free circles and no position between known points A (0) and B (1): X sees A and Y, Y sees X and B.
    fn between_two(ends: [f64; 3]) -> Surveyed {
        let mut bases = Surveyed::at(&[[0.0, 0.0, 0.0], ends, [80.0, 90.0, 40.0], [170.0, -20.0, -25.0]], &[0, 1]);
        for (from, to) in [(2, 0), (2, 3), (3, 2), (3, 1)] {
            bases.read_all(&[Kind::Direction, Kind::Slope, Kind::Inclination], from, to);
        }
        bases
    }

    const END: [f64; 3] = [260.0, 110.0, 10.0];

    /// Places of X and Y against those in the axes at A.
    fn held(bases: &Surveyed, starts: &Starts, want: [[f64; 3]; 2], has_height: bool) {
        for (s, want) in [2, 3].into_iter().zip(want) {
            let got = bases.frame(0).from_earth_centred(starts.positions[s].unwrap());
            // The axes at the ends of 280 m differ by 5e-5: 2 mm over 40 m.
            assert!((0..3).all(|k| (got[k] - want[k]).abs() < 0.02), "station {s}: {got:?} {want:?}");
            assert_eq!(starts.has_height[s], has_height);
        }
    }

    /// A chart is raised by the mean of what the known points in it are over it.
    #[test]
    fn a_chart_is_raised_onto_known_heights() {
        let truth = [[80.0, 90.0, 40.0], [170.0, -20.0, -25.0]];
        let up = |by: f64| truth.map(|[e, n, u]| [e, n, u + by]);
        let mut bases = between_two(END);
        held(&bases, &bases.start(), truth, true);
        for (s, zero) in [(2, 1.0), (3, 1.0)] {
            assert!(half_circle_rad(bases.start().directions[s].unwrap() - zero).abs() < 1e-3);
        }
        let over = |bases: &mut Surveyed, s: usize, up_m: f64| {
            let place = bases.frame(s).to_earth_centred([0.0, 0.0, up_m]);
            bases.network.stations[s].control.as_mut().unwrap().position = place;
        };
        over(&mut bases, 1, 3.0);
        held(&bases, &bases.start(), up(1.5), true);
        // Of one known height that one counts; of none the chart stands at the level of the first known point.
        let unknown = |bases: &mut Surveyed, s: usize| {
            bases.network.stations[s].control.as_mut().unwrap().covariance.uu = f64::INFINITY;
        };
        unknown(&mut bases, 0);
        held(&bases, &bases.start(), up(3.0), true);
        unknown(&mut bases, 1);
        held(&bases, &bases.start(), truth, false);
    }

    /// Onto two points that are farther apart than they were measured to be a chart is laid by its middle, turned and not stretched.
    #[test]
    fn a_chart_is_turned_about_the_middle() {
        let mut bases = between_two(END);
        let moved = [END[0] + 6.0, END[1] - 9.0, END[2]];
        bases.network.stations[1].control.as_mut().unwrap().position = bases.frame(0).to_earth_centred(moved);
        let (before, after) = ((END[0]).atan2(END[1]), moved[0].atan2(moved[1]));
        let (sin, cos) = (after - before).sin_cos();
        let place = |[e, n, u]: [f64; 3]| {
            let (e, n) = (e - 0.5 * END[0], n - 0.5 * END[1]);
            [0.5 * moved[0] + e * cos + n * sin, 0.5 * moved[1] + n * cos - e * sin, u]
        };
        held(&bases, &bases.start(), [place([80.0, 90.0, 40.0]), place([170.0, -20.0, -25.0])], true);
    }

    /// By a fifth the chart may differ in size; a metre is the least that known points may spread over.
    #[test]
    fn a_chart_of_another_size_is_not_laid_on() {
        let stretched = |share: f64| {
            let mut bases = between_two([END[0], END[1], 0.0]);
            let place = bases.frame(0).to_earth_centred([END[0] / share, END[1] / share, 0.0]);
            bases.network.stations[1].control.as_mut().unwrap().position = place;
            bases.start().positions[2].is_some()
        };
        assert!(stretched(1.199) && stretched(0.801) && !stretched(1.201) && !stretched(0.799));
        // Two points d apart spread over d / √2.
        let spread = |metres: f64| between_two([metres * 0.6, metres * 0.8, 0.0]).start().positions[2].is_some();
        assert!(spread(1.42) && !spread(1.41));
    }

    /// A second group of free circles is tried after one that nothing turns, and bases of a group that is turned are not tried again.
    #[test]
    fn each_group_of_circles_is_tried() {
        let mut bases = Surveyed::at(
            &[[0.0; 3], [260.0, 110.0, 10.0], [80.0, 90.0, 40.0], [170.0, -20.0, -25.0], [20.0, -70.0, 3.0], [60.0, -110.0, 5.0]],
            &[0, 1],
        );
        let circle = [Kind::Direction, Kind::Slope, Kind::Inclination];
        // 4 and 5 hang on A alone; 2 and 3 stand between A and B.
        for (from, to) in [(5, 4), (4, 5), (4, 0), (2, 0), (2, 3), (3, 2), (3, 1)] {
            bases.read_all(&circle, from, to);
        }
        let starts = bases.start();
        held(&bases, &starts, [[80.0, 90.0, 40.0], [170.0, -20.0, -25.0]], true);
        assert!(starts.positions[4].is_none() && starts.directions[4].is_none() && starts.notes.len() == 2, "{starts:?}");
        // A third known point on the other group's side, and it stands too.
        bases.network.stations[5].control = bases.network.stations[0].control.map(|c| Control { position: bases.truth[5], ..c });
        let starts = bases.start();
        assert!(starts.notes.is_empty() && starts.directions.iter().skip(2).all(Option::is_some), "{starts:?}");
        let off = bases.frame(4).from_earth_centred(starts.positions[4].unwrap());
        assert!(off.iter().all(|metres| metres.abs() < 0.02), "{off:?}");
    }

    #[test]
    fn one_known_position_turns_nothing() {
        let (mut network, _) = traverse(&[(0.3, 90.0), (0.9, 80.0)], &[1.0, 2.0, 3.0]);
        network.stations[2].control = None;
        let starts = start(&network, &vec![true; network.observations.len()]);
        assert!(starts.positions[1].is_none() && starts.directions[0].is_none(), "{starts:?}");
        assert_eq!(starts.notes.len(), 2);
    }
}
