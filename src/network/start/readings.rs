//! The readings between one station and its neighbours that stand, gathered for a closed form.

use std::collections::BTreeMap;

use super::Starts;
use super::loci::{Locus, rivals};
use super::spheres::{self, Sphere};
use crate::geodesy::frame::{EarthCentred, Geodetic, LocalFrame};
use crate::network::types::{Kind, Network, Observation};

/// Shots that are compared for a start.
const COMPARED: usize = 8;

/// What a station shares with one neighbour.
#[derive(Debug, Clone, Copy, Default)]
struct Shared {
    /// True azimuth from the neighbour to the station.
    azimuth_rad: Option<f64>,
    /// Direction read at the station to the neighbour, without orientation.
    direction_rad: Option<f64>,
    horizontal_m: Option<f64>,
    slope_m: Option<f64>,
    inclination_rad: Option<f64>,
    /// Rise of the ground, neighbour to station.
    rise_m: Option<f64>,
    /// Instrument height less target height, neighbour to station; for a sight back with the other sign. Of the inclination.
    lift_m: f64,
    /// The same of the slope distance.
    slope_lift_m: f64,
}

/// What slope distances and all else say of a place in space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Space {
    /// One place.
    At(EarthCentred),
    /// Two places fit equally, one over the other.
    Two,
    /// Nothing: too few slope distances, centres in one line, or a place near enough to level for the plane to tell.
    None,
}

/// Spheres that are tried in threes: more do not help a start.
const TRIED: usize = 6;

/// Share of a slope by which it is longer than level that makes no difference in the plane, and in metres.
const LEVEL_SHARE: f64 = 0.02;
const LEVEL_M: f64 = 0.5;

/// A station's neighbours that stand.
pub(super) struct Near<'a> {
    network: &'a Network,
    starts: &'a Starts,
    shared: BTreeMap<usize, Shared>,
    /// Neighbours without a position.
    unplaced: usize,
    /// The first neighbour with a height, or the first: its horizon is the plane.
    anchor: Option<(usize, LocalFrame)>,
}

impl<'a> Near<'a> {
    /// Gathers the readings of station `s`.
    pub fn gather(network: &'a Network, readings: &[usize], starts: &'a Starts, s: usize) -> Near<'a> {
        let mut shared: BTreeMap<usize, Shared> = BTreeMap::new();
        let mut unplaced = std::collections::BTreeSet::new();
        for o in readings.iter().map(|&i| &network.observations[i]) {
            let forward = o.to == s;
            let other = if forward { o.from } else { o.to };
            if starts.positions[other].is_none() {
                unplaced.insert(other);
                continue;
            }
            gather(shared.entry(other).or_default(), o, forward, starts);
        }
        let first = shared.keys().copied().find(|k| starts.has_height[*k]).or_else(|| shared.keys().copied().next());
        let anchor = first.and_then(|k| Some((k, frame(network, starts.positions[k]?))));
        Near { network, starts, shared, unplaced: unplaced.len(), anchor }
    }

    /// Bearings and distances to neighbours that stand, and neighbours that do not.
    pub fn counts(&self) -> (usize, usize, usize) {
        let bearings = self.shared.values().filter(|s| s.azimuth_rad.is_some() || s.direction_rad.is_some()).count();
        let ranges = self.shared.values().filter(|s| s.slope_m.is_some() || s.horizontal_m.is_some()).count();
        (bearings, ranges, self.unplaced)
    }

    /// The place by azimuth and distance from one neighbour, and whether its height is measured.
    fn shot(&self, k: usize, shared: &Shared) -> Option<(EarthCentred, bool)> {
        let (azimuth, horizontal) = (shared.azimuth_rad?, shared.horizontal()?);
        let rise = shared.rise(horizontal);
        let from = frame(self.network, self.starts.positions[k]?);
        let to = from.to_earth_centred([horizontal * azimuth.sin(), horizontal * azimuth.cos(), rise.unwrap_or(0.0)]);
        Some((to, rise.is_some() && self.starts.has_height[k]))
    }

    /// A place by azimuth and distance from one neighbour, one with a height first, and of several the one nearest to the
    /// others; and whether its height is measured.
    pub fn polar(&self) -> Option<(EarthCentred, bool)> {
        let placed = |wants_height: bool| {
            let all: Vec<(EarthCentred, bool)> = self.shared.iter().filter_map(|(k, shared)| self.shot(*k, shared)).collect();
            let apart = |a: &EarthCentred, b: &EarthCentred| (0..3).map(|i| (a[i] - b[i]).powi(2)).sum::<f64>().sqrt();
            let off = |a: &EarthCentred| all.iter().take(COMPARED).map(|(b, _)| apart(a, b)).sum::<f64>();
            all.iter()
                .take(COMPARED)
                .filter(|(_, height)| *height || !wants_height)
                .min_by(|(a, _), (b, _)| off(a).total_cmp(&off(b)))
                .copied()
        };
        let (position, height) = placed(true).or_else(|| placed(false))?;
        if height {
            return Some((position, true));
        }
        // Another neighbour may give the height.
        let (_, anchor) = self.anchor.as_ref()?;
        let [e, n, _] = anchor.from_earth_centred(position);
        self.raise([e, n])
    }

    /// The place in space by three slope distances or more to neighbours with heights, where some of them have no
    /// inclination beside them. All the readings choose between the two places of three.
    pub fn in_space(&self) -> Space {
        let Some((_, anchor)) = &self.anchor else { return Space::None };
        let with_height = || self.shared.iter().filter(|(k, _)| self.starts.has_height[**k]);
        let bare = |shared: &Shared| shared.slope_m.is_some() && shared.horizontal_m.is_none() && shared.level().is_none();
        if !with_height().any(|(_, shared)| bare(shared)) {
            return Space::None;
        }
        let spheres: Vec<Sphere> = with_height()
            .filter_map(|(k, shared)| {
                let [e, n, u] = anchor.from_earth_centred(self.starts.positions[*k]?);
                Some(Sphere { centre: [e, n, u + shared.slope_lift_m], radius_m: shared.slope_m? })
            })
            .take(TRIED)
            .collect();
        let loci = self.loci_of(&|shared| shared.horizontal_m.is_some());
        let fit = |place: [f64; 3]| {
            let slopes: f64 = spheres.iter().map(|sphere| sphere.miss_m(place)).sum();
            let plane: f64 = loci.iter().map(|locus| locus.miss_m([place[0], place[1]])).sum();
            slopes + plane + with_height().map(|(k, shared)| self.miss_up_m(*k, shared, place)).sum::<f64>()
        };
        let mut candidates: Vec<(f64, [f64; 3])> = Vec::new();
        for (i, a) in spheres.iter().enumerate() {
            for (j, b) in spheres[..i].iter().enumerate() {
                for c in &spheres[..j] {
                    candidates.extend(spheres::meet(a, b, c).into_iter().map(|place| (fit(place), place)));
                }
            }
        }
        candidates.retain(|(fit, _)| fit.is_finite());
        candidates.sort_by(|a, b| a.0.total_cmp(&b.0));
        let Some((best_fit, best)) = candidates.first().copied() else { return Space::None };
        let apart = |p: [f64; 3]| spheres::length(std::array::from_fn(|k| p[k] - best[k]));
        let size = spheres.iter().map(|sphere| sphere.radius_m).fold(1.0, f64::max);
        match candidates.iter().find(|(_, place)| apart(*place) > 0.1 * size) {
            Some((fit, place)) if rivals(*fit, best_fit, size) => {
                // Slopes that are level within their readings leave the height open, and the plane tells the place.
                let longer = |sphere: &Sphere| sphere.radius_m - (best[0] - sphere.centre[0]).hypot(best[1] - sphere.centre[1]);
                let is_level = spheres.iter().all(|sphere| longer(sphere) < LEVEL_M.min(LEVEL_SHARE * sphere.radius_m));
                let over = (place[0] - best[0]).hypot(place[1] - best[1]) < 0.1 * size;
                if is_level && over { Space::None } else { Space::Two }
            }
            _ => Space::At(anchor.to_earth_centred(best)),
        }
    }

    /// How far a place is off a neighbour's inclination or vertical distance, in metres.
    fn miss_up_m(&self, k: usize, shared: &Shared, place: [f64; 3]) -> f64 {
        let (Some((_, anchor)), Some(position)) = (&self.anchor, self.starts.positions[k]) else { return 0.0 };
        let [e, n, u] = frame(self.network, position).from_earth_centred(anchor.to_earth_centred(place));
        match (shared.rise_m, shared.inclination_rad) {
            (Some(rise), _) => (u - rise).abs(),
            (None, Some(inclination)) => {
                let along = u - shared.lift_m;
                (along.atan2(e.hypot(n)) - inclination).abs() * along.hypot(e.hypot(n))
            }
            (None, None) => 0.0,
        }
    }

    /// Height of the station over the anchor's horizon by a neighbour that has distance and height of it.
    fn known_up_m(&self) -> Option<f64> {
        let (_, anchor) = self.anchor.as_ref()?;
        self.shared.iter().filter(|(k, _)| self.starts.has_height[**k]).find_map(|(k, shared)| {
            let rise = shared.rise(shared.horizontal_m.or(shared.level())?)?;
            Some(anchor.from_earth_centred(self.starts.positions[*k]?)[2] + rise)
        })
    }

    /// The loci of the station in the horizon of the anchor. A slope distance without inclination is lowered by the
    /// station's height, where that is known, else taken as level.
    pub fn loci(&self) -> Vec<Locus> {
        self.loci_of(&|_| true)
    }

    /// The loci, with the distances of those neighbours that are wanted.
    fn loci_of(&self, wants: &dyn Fn(&Shared) -> bool) -> Vec<Locus> {
        let Some((_, anchor)) = &self.anchor else { return Vec::new() };
        let mut loci = Vec::new();
        let up = self.known_up_m();
        let mut seen: Vec<([f64; 2], f64)> = Vec::new();
        for (k, shared) in &self.shared {
            let Some(position) = self.starts.positions[*k] else { continue };
            let [e, n, u] = anchor.from_earth_centred(position);
            if let Some(azimuth_rad) = shared.azimuth_rad {
                loci.push(Locus::Ray { from: [e, n], azimuth_rad });
            }
            let lowered = || {
                let (slope, rise) = (shared.slope_m?, up? - u - shared.slope_lift_m);
                (self.starts.has_height[*k] && slope > rise.abs()).then(|| (slope * slope - rise * rise).sqrt())
            };
            let radius_m = shared.horizontal_m.or(shared.level()).or_else(lowered).or(shared.slope_m);
            if let Some(radius_m) = radius_m.filter(|_| wants(shared)) {
                loci.push(Locus::Circle { centre: [e, n], radius_m });
            }
            if let Some(direction) = shared.direction_rad {
                seen.push(([e, n], direction));
            }
        }
        let angle = |a: &([f64; 2], f64), b: &([f64; 2], f64)| Locus::Angle { first: a.0, second: b.0, angle_rad: b.1 - a.1 };
        loci.extend(seen.windows(2).map(|pair| angle(&pair[0], &pair[1])));
        if let ([first, _, ..], Some(last)) = (seen.as_slice(), seen.last())
            && seen.len() > 2
        {
            loci.push(angle(last, first));
        }
        loci
    }

    /// The place over a point of the anchor's horizon; and whether its height is measured. Without a measured height it
    /// is at the anchor's level.
    pub fn raise(&self, [e, n]: [f64; 2]) -> Option<(EarthCentred, bool)> {
        let (anchor_station, anchor) = self.anchor.as_ref()?;
        let level = self.height_of(*anchor_station)?;
        let at = |height: f64| {
            let flat = Geodetic::from_earth_centred(anchor.to_earth_centred([e, n, 0.0]), &self.network.ellipsoid);
            Geodetic { ellipsoid_height_m: height, ..flat }.to_earth_centred(&self.network.ellipsoid)
        };
        for (k, shared) in self.shared.iter().filter(|(k, _)| self.starts.has_height[**k]) {
            let from = frame(self.network, self.starts.positions[*k]?);
            let below = from.from_earth_centred(at(level));
            let horizontal = below[0].hypot(below[1]);
            if let Some(rise) = shared.rise(horizontal) {
                let to = from.to_earth_centred([below[0], below[1], rise]);
                return Some((to, true));
            }
        }
        Some((at(level), false))
    }

    fn height_of(&self, station: usize) -> Option<f64> {
        Some(Geodetic::from_earth_centred(self.starts.positions[station]?, &self.network.ellipsoid).ellipsoid_height_m)
    }
}

fn frame(network: &Network, position: EarthCentred) -> LocalFrame {
    LocalFrame::at(&Geodetic::from_earth_centred(position, &network.ellipsoid), &network.ellipsoid)
}

/// Takes up one reading; `forward` where the neighbour read it to the station. The first reading of a kind counts.
fn gather(shared: &mut Shared, o: &Observation, forward: bool, starts: &Starts) {
    let sign = if forward { 1.0 } else { -1.0 };
    let lift = sign * (o.instrument_height_m - o.target_height_m);
    let fill = |slot: &mut Option<f64>, value: f64| {
        slot.get_or_insert(value);
    };
    match o.kind {
        Kind::Azimuth | Kind::Direction => {
            let orientation = if o.kind == Kind::Azimuth { starts.azimuths[o.from] } else { starts.directions[o.from] };
            match orientation {
                Some(orientation) => {
                    let back = if forward { 0.0 } else { std::f64::consts::PI };
                    fill(&mut shared.azimuth_rad, o.value + orientation + back);
                }
                None if !forward => fill(&mut shared.direction_rad, o.value),
                None => {}
            }
        }
        Kind::Inclination => {
            if shared.inclination_rad.is_none() {
                shared.lift_m = lift;
            }
            fill(&mut shared.inclination_rad, sign * o.value);
        }
        Kind::Slope => {
            if shared.slope_m.is_none() {
                shared.slope_lift_m = lift;
            }
            fill(&mut shared.slope_m, o.value);
        }
        Kind::Horizontal => fill(&mut shared.horizontal_m, o.value),
        Kind::Vertical | Kind::VerticalWithSlope | Kind::HeightDifference => fill(&mut shared.rise_m, sign * o.value + lift),
    }
}

impl Shared {
    fn horizontal(&self) -> Option<f64> {
        self.horizontal_m.or(self.level()).or(self.slope_m)
    }

    /// The horizontal part of a slope distance with an inclination or a vertical distance beside it.
    fn level(&self) -> Option<f64> {
        let slope = self.slope_m?;
        match (self.inclination_rad, self.rise_m) {
            (Some(inclination), _) => Some(slope * inclination.cos()),
            (None, Some(rise)) => Some((slope * slope - rise * rise).max(0.0).sqrt()),
            (None, None) => None,
        }
    }

    fn rise(&self, horizontal_m: f64) -> Option<f64> {
        if self.rise_m.is_some() {
            return self.rise_m;
        }
        let inclination = self.inclination_rad?;
        let along = match (self.slope_m, inclination.cos() > 0.02) {
            (Some(slope), false) => slope * inclination.sin(),
            _ => horizontal_m * inclination.tan(),
        };
        Some(along + self.lift_m)
    }
}

#[cfg(test)]
mod tests {
    use super::super::StartSearch;
    use super::*;
    use crate::network::start::adjacency;
    use crate::network::surveyed::Surveyed;

    /// What spheres about known stations are off by, all in one frame, and lifts along verticals that differ by 200 m / R.
    const CLOSE_M: f64 = 1e-3;

    /// Looks at the last station of a survey beside what stands.
    fn see<T>(survey: &Surveyed, look: impl Fn(&Near) -> T) -> T {
        let used = vec![true; survey.network.observations.len()];
        let readings = adjacency(&survey.network, &used);
        let mut search = StartSearch::new(&survey.network, &readings, None);
        let last = survey.truth.len() - 1;
        for s in 0..last {
            let control = survey.network.stations[s].control;
            search.starts.positions[s] = control.map(|c| c.position);
            search.starts.has_height[s] = control.is_some_and(|c| c.has_height());
            search.starts.azimuths[s] = Some(0.0);
        }
        search.starts.azimuths[last] = Some(0.0);
        look(&Near::gather(&survey.network, &readings[last], &search.starts, last))
    }

    fn in_space(survey: &Surveyed) -> Space {
        see(survey, |near| near.in_space())
    }

    /// How far the place that was found is from the true one of the last station, in metres; none where there is none.
    fn off_m(survey: &Surveyed) -> Result<f64, Space> {
        match in_space(survey) {
            Space::At(place) => Ok(spheres::length(survey.frame(survey.truth.len() - 1).from_earth_centred(place))),
            other => Err(other),
        }
    }

    /// Three known stations in a level plane 100 m about a point that is over it by `up_m`, with a slope distance to each: two read there, one back.
    fn about(up_m: f64, radius_m: f64) -> Surveyed {
        let at = |degrees: f64| [radius_m * degrees.to_radians().sin(), radius_m * degrees.to_radians().cos(), 0.0];
        let mut survey = Surveyed::at(&[at(10.0), at(120.0), at(250.0), [0.0, 0.0, up_m]], &[0, 1, 2]);
        survey.heights_m = [0.0, 0.0];
        survey.read(Kind::Slope, 0, 3);
        survey.read(Kind::Slope, 1, 3);
        survey.read(Kind::Slope, 3, 2);
        survey
    }

    /// Three known stations nearly over one line, so that the two places of three slopes lie on both sides of it; heights of instrument and target.
    fn beside(up_m: f64) -> Surveyed {
        let mut survey = Surveyed::at(
            &[[0.0, 0.0, 0.0], [60.0, 0.0, 0.0], [30.0, 1.0, 5.0], [80.0, 60.0, 3.0], [30.0, 40.0, up_m]],
            &[0, 1, 2, 3],
        );
        survey.read(Kind::Slope, 0, 4);
        survey.read(Kind::Slope, 1, 4);
        survey.read(Kind::Slope, 4, 2);
        survey
    }

    #[test]
    fn three_slopes_leave_two_places() {
        for up in [40.0, -60.0] {
            assert_eq!(in_space(&about(up, 100.0)), Space::Two);
            // An inclination or a vertical distance to one of them tells which, from either end.
            for (kind, from, to) in [
                (Kind::Inclination, 0, 3),
                (Kind::Inclination, 3, 1),
                (Kind::Vertical, 2, 3),
                (Kind::VerticalWithSlope, 3, 0),
                (Kind::HeightDifference, 1, 3),
            ] {
                let mut survey = about(up, 100.0);
                survey.heights_m = [1.5, 0.4];
                survey.network.observations.clear();
                (0..3).for_each(|s| {
                    survey.read(Kind::Slope, s, 3);
                });
                survey.read(kind, from, to);
                assert!(off_m(&survey).unwrap() < CLOSE_M, "{kind:?} {from} {to}: {:?}", off_m(&survey));
            }
        }
        // On both sides of a line: an azimuth, a horizontal distance or an angle between two directions tells.
        assert_eq!(in_space(&beside(3.0)), Space::Two);
        for (kind, ends) in [
            (Kind::Azimuth, vec![(0, 4)]),
            (Kind::Azimuth, vec![(4, 1)]),
            (Kind::Horizontal, vec![(3, 4)]),
            (Kind::Direction, vec![(4, 0), (4, 1)]),
        ] {
            for up in [3.0, 35.0] {
                let mut survey = beside(up);
                ends.iter().for_each(|(from, to)| {
                    survey.read(kind, *from, *to);
                });
                assert!(off_m(&survey).unwrap() < CLOSE_M, "{kind:?} {up}: {:?}", off_m(&survey));
            }
        }
        // A fourth slope, read over other heights than the plane of the three.
        let mut survey = beside(35.0);
        survey.read(Kind::Slope, 4, 3);
        assert!(off_m(&survey).unwrap() < CLOSE_M);
    }

    /// Slopes that are level within half a metre, or within a fiftieth of them, are left to the plane.
    #[test]
    fn level_slopes_are_left_to_the_plane() {
        // Longer than level by 0.5 m in 100 m from a rise of 10.01 m on: (100.5² − 100²)½.
        assert_eq!((in_space(&about(9.98, 100.0)), in_space(&about(10.05, 100.0))), (Space::None, Space::Two));
        // By a fiftieth of 15.3 m from 3.05 m on.
        let limit = 15.0 * ((1.0 / 0.98f64).powi(2) - 1.0).sqrt();
        assert_eq!((in_space(&about(0.99 * limit, 15.0)), in_space(&about(1.01 * limit, 15.0))), (Space::None, Space::Two));
        // Two places that are within a tenth of the slope are one.
        assert!(matches!(in_space(&about(4.9, 100.0)), Space::At(_)) && in_space(&about(5.1, 100.0)) == Space::None);
        // Level slopes on both sides of a line are two places.
        assert_eq!(in_space(&beside(2.0)), Space::Two);
    }

    /// Where every slope has its level part, where a horizontal distance stands beside it or where too few heights are known the plane tells.
    #[test]
    fn what_space_is_not_for() {
        let mut survey = about(40.0, 100.0);
        [0, 1, 2].into_iter().for_each(|s| {
            survey.read(Kind::Inclination, s, 3);
        });
        assert_eq!(in_space(&survey), Space::None);
        let mut survey = about(40.0, 100.0);
        [0, 1, 2].into_iter().for_each(|s| {
            survey.read(Kind::Horizontal, s, 3);
        });
        assert_eq!(in_space(&survey), Space::None);
        let mut survey = about(40.0, 100.0);
        survey.network.stations[1].control.as_mut().unwrap().covariance.uu = f64::INFINITY;
        survey.read(Kind::Inclination, 0, 3);
        assert_eq!(in_space(&survey), Space::None);
        let mut survey = about(40.0, 100.0);
        survey.network.observations.clear();
        assert_eq!(in_space(&survey), Space::None);
    }

    /// How much a place is off what was read of its height.
    #[test]
    fn how_far_a_place_is_off_in_height() {
        let mut survey = about(40.0, 100.0);
        survey.heights_m = [1.5, 0.4];
        survey.network.observations.clear();
        survey.read(Kind::Inclination, 0, 3);
        survey.read(Kind::Vertical, 1, 3);
        survey.read(Kind::Azimuth, 2, 3);
        let at = |up: f64| {
            see(&survey, |near| {
                let (_, anchor) = near.anchor.as_ref().unwrap();
                let place = anchor.from_earth_centred(survey.frame(3).to_earth_centred([0.0, 0.0, up]));
                [0, 1, 2].map(|k| near.miss_up_m(k, &near.shared[&k], place))
            })
        };
        assert!(at(0.0).iter().all(|miss| *miss < CLOSE_M), "{:?}", at(0.0));
        // From 40 m up over 100 m, the sight 1.1 m lower: 3 m up turn it, along an arc.
        let along = |up: f64| (40.0f64 - 1.1 + up).atan2(100.0);
        for up in [3.0, -5.0] {
            let want = [(along(up) - along(0.0)).abs() * (38.9 + up).hypot(100.0), up.abs(), 0.0];
            assert!((0..3).all(|k| (at(up)[k] - want[k]).abs() < 2.0 * CLOSE_M), "{:?} {want:?}", at(up));
        }
    }

    #[test]
    fn what_a_station_has_is_counted() {
        let mut survey =
            Surveyed::at(&[[0.0; 3], [90.0, 5.0, 0.0], [60.0, 80.0, 0.0], [10.0, 70.0, 0.0], [40.0, 30.0, 9.0]], &[0, 1, 2]);
        let counts = |survey: &Surveyed| see(survey, |near| near.counts());
        assert_eq!(counts(&survey), (0, 0, 0));
        survey.read(Kind::Azimuth, 0, 4);
        survey.read(Kind::Horizontal, 0, 4);
        assert_eq!(counts(&survey), (1, 1, 0));
        // A free direction read there, one read elsewhere that nothing orients, and a slope; a second one to the same counts once.
        survey.read(Kind::Direction, 4, 1);
        survey.read(Kind::Direction, 2, 4);
        survey.read(Kind::Slope, 2, 4);
        survey.read(Kind::Slope, 4, 2);
        assert_eq!(counts(&survey), (2, 2, 0));
        survey.read(Kind::Slope, 3, 4);
        survey.read(Kind::Azimuth, 4, 3);
        survey.read(Kind::Vertical, 1, 4);
        assert_eq!(counts(&survey), (2, 2, 1));
    }

    fn shared() -> Shared {
        Shared { slope_m: Some(100.0), lift_m: 0.7, ..Shared::default() }
    }

    /// A slope is levelled by what stands beside it, a rise is that of the ground.
    #[test]
    fn level_and_rise_of_a_shot() {
        let near = |got: Option<f64>, want: f64| assert!((got.unwrap() - want).abs() < 1e-9, "{got:?} {want}");
        let angle = |degrees: f64| Shared { inclination_rad: Some(f64::to_radians(degrees)), ..shared() };
        near(angle(60.0).level(), 50.0);
        near(angle(60.0).horizontal(), 50.0);
        near(angle(60.0).rise(40.0), 40.0 * 3f64.sqrt() + 0.7);
        near(Shared { rise_m: Some(60.0), ..shared() }.level(), 80.0);
        near(Shared { rise_m: Some(60.0), ..angle(60.0) }.level(), 50.0);
        near(Shared { rise_m: Some(60.0), ..angle(60.0) }.rise(40.0), 60.0);
        // A rise that is longer than its slope is straight up.
        near(Shared { rise_m: Some(101.0), ..shared() }.level(), 0.0);
        near(Shared { horizontal_m: Some(30.0), ..angle(60.0) }.horizontal(), 30.0);
        near(shared().horizontal(), 100.0);
        assert_eq!((shared().level(), shared().rise(50.0), Shared::default().horizontal()), (None, None, None));
        // From a cosine of 0.02 on, 88.854°, the tangent tells, beyond it the slope.
        near(angle(88.84).rise(2.0), 2.0 * 88.84f64.to_radians().tan() + 0.7);
        near(angle(88.87).rise(2.0), 100.0 * 88.87f64.to_radians().sin() + 0.7);
        let bare = Shared { slope_m: None, ..angle(88.87) };
        near(bare.rise(2.0), 2.0 * 88.87f64.to_radians().tan() + 0.7);
    }

    /// The height that a neighbour gives over the horizon of the first, and the distances that it levels.
    #[test]
    fn a_known_height_levels_other_slopes() {
        let mut survey = Surveyed::at(&[[0.0; 3], [150.0, 20.0, 8.0], [60.0, 170.0, -12.0], [70.0, 60.0, 45.0]], &[0, 1, 2]);
        survey.read(Kind::Slope, 1, 3);
        survey.read(Kind::Slope, 3, 2);
        let radii = |survey: &Surveyed| {
            see(survey, |near| {
                let circles = near.loci().into_iter().filter_map(|locus| match locus {
                    Locus::Circle { radius_m, .. } => Some(radius_m),
                    _ => None,
                });
                (near.known_up_m(), circles.collect::<Vec<f64>>())
            })
        };
        // None: slopes as they were read.
        let read = [survey.network.observations[0].value, survey.network.observations[1].value];
        assert_eq!(radii(&survey), (None, read.to_vec()));
        survey.read(Kind::Horizontal, 0, 3);
        survey.read(Kind::Inclination, 3, 0);
        let (up, got) = radii(&survey);
        assert!((up.unwrap() - 45.0).abs() < 3.0 * CLOSE_M, "{up:?}");
        for (s, got) in got.into_iter().enumerate() {
            let [e, n, _] = survey.frame(s).from_earth_centred(survey.truth[3]);
            assert!((got - e.hypot(n)).abs() < 5.0 * CLOSE_M, "{s}: {got} {}", e.hypot(n));
        }
        // A neighbour without a height is not levelled, nor is a slope that is shorter than the rise.
        survey.network.stations[1].control.as_mut().unwrap().covariance.uu = f64::INFINITY;
        survey.network.observations[1].value = 55.0;
        assert_eq!(radii(&survey).1[1..], [read[0], 55.0]);
        // The height of a neighbour that has none itself is none.
        survey.network.stations[0].control.as_mut().unwrap().covariance.uu = f64::INFINITY;
        assert_eq!(radii(&survey).0, None);
    }

    /// Directions give an angle from each to the next; of three or more the last to the first too.
    #[test]
    fn directions_give_angles() {
        let mut survey =
            Surveyed::at(&[[0.0; 3], [90.0, 5.0, 0.0], [60.0, 80.0, 0.0], [10.0, 70.0, 0.0], [40.0, 30.0, 9.0]], &[0, 1, 2, 3]);
        for count in 1..=4 {
            survey.read(Kind::Direction, 4, count - 1);
            let value = |s: usize| survey.network.observations[s].value;
            see(&survey, |near| {
                let (_, anchor) = near.anchor.as_ref().unwrap();
                let place = |s: usize| anchor.from_earth_centred(survey.truth[s]);
                let mut pairs: Vec<(usize, usize)> = (1..count).map(|s| (s - 1, s)).collect();
                if count > 2 {
                    pairs.push((count - 1, 0));
                }
                let loci = near.loci();
                assert_eq!(loci.len(), pairs.len());
                for (locus, (a, b)) in loci.into_iter().zip(pairs) {
                    let Locus::Angle { first, second, angle_rad } = locus else { panic!("{locus:?}") };
                    let off = |got: [f64; 2], s: usize| (got[0] - place(s)[0]).hypot(got[1] - place(s)[1]);
                    assert!(off(first, a) < CLOSE_M && off(second, b) < CLOSE_M);
                    assert!((angle_rad - (value(b) - value(a))).abs() < 1e-12);
                }
            });
        }
    }

    /// The first reading of a kind counts, with its own heights; what was read at the station is turned round.
    #[test]
    fn readings_are_taken_up_from_both_ends() {
        let mut survey = Surveyed::at(&[[0.0; 3], [30.0, 40.0, 9.0]], &[0]);
        survey.heights_m = [1.5, 0.4];
        survey.read_all(&[Kind::Slope, Kind::Inclination, Kind::Azimuth], 1, 0);
        survey.heights_m = [1.0, 2.2];
        survey.read_all(&[Kind::Slope, Kind::Inclination, Kind::Azimuth, Kind::Horizontal, Kind::Vertical], 0, 1);
        let got = see(&survey, |near| near.shared[&0]);
        let values: Vec<f64> = survey.network.observations.iter().map(|o| o.value).collect();
        assert_eq!((got.slope_m, got.inclination_rad), (Some(values[0]), Some(-values[1])));
        assert!((got.lift_m + 1.1).abs() < 1e-12 && (got.slope_lift_m + 1.1).abs() < 1e-12, "{got:?}");
        let off = crate::geodesy::frame::half_circle_rad(got.azimuth_rad.unwrap() - 0.6f64.atan2(0.8));
        assert!(off.abs() < 1e-4, "{off}");
        assert_eq!((got.horizontal_m, got.direction_rad), (Some(values[6]), None));
        assert!((got.rise_m.unwrap() - 9.0).abs() < CLOSE_M, "{got:?}");
        // A direction is a bearing once its circle is oriented.
        survey.network.observations.clear();
        survey.read(Kind::Direction, 1, 0);
        assert_eq!(see(&survey, |near| near.shared[&0].direction_rad), Some(survey.network.observations[0].value));
    }

    /// The shot of a neighbour with a height goes before one without; without any height a place is at the level of the first neighbour.
    #[test]
    fn a_polar_shot_with_a_height_goes_first() {
        let mut survey = Surveyed::at(&[[0.0, 0.0, 20.0], [90.0, 5.0, 0.0], [60.0, 80.0, 12.0]], &[0, 1]);
        survey.read_all(&[Kind::Azimuth, Kind::Horizontal], 0, 2);
        let place = |survey: &Surveyed| {
            let (position, has_height) = see(survey, |near| near.polar()).unwrap();
            let [e, n, u] = survey.frame(2).from_earth_centred(position);
            assert!(e.hypot(n) < 0.01, "{e} {n}");
            (u, has_height)
        };
        let near =
            |got: (f64, bool), want: (f64, bool)| assert!((got.0 - want.0).abs() < 0.01 && got.1 == want.1, "{got:?} {want:?}");
        near(place(&survey), (8.0, false));
        // Another neighbour's inclination raises it.
        survey.read(Kind::Inclination, 1, 2);
        near(place(&survey), (0.0, true));
        survey.read_all(&[Kind::Azimuth, Kind::Horizontal], 1, 2);
        survey.network.observations[0].value += 0.1;
        near(place(&survey), (0.0, true));
        // Neither has a height: the level of the first, whatever rises from there.
        for s in 0..2 {
            survey.network.stations[s].control.as_mut().unwrap().covariance.uu = f64::INFINITY;
        }
        survey.network.observations[0].value -= 0.1;
        near(place(&survey), (8.0, false));
        assert!(see(&Surveyed::at(&[[0.0; 3], [9.0; 3]], &[0]), |near| near.polar().is_none()));
    }
}
