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
