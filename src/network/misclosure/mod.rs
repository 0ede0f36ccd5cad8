//! Traverses and their misclosures, before anything is adjusted.
//!
//! Bases joined by a bearing and a distance form a graph; a breadth-first search from all known positions spans it, and
//! every other leg closes one traverse: between two known positions, or on itself. Positions are carried leg by leg in
//! each base's own horizon. Linear misclosure: carried less known position, and its ratio 1 : N to the length of the
//! route. Angular misclosure: orientations carried by fore and back bearings less the orientation known at the end. The
//! traverse of any surveying text, e.g. C. D. Ghilani, "Elementary Surveying", chapter on traverse computations; no
//! angle is balanced.
//!
//! Stations beyond a leg that no route closes hang: nothing checks them.

use std::collections::{BTreeMap, VecDeque};

use super::components::Component;
use super::notes::{Note, NoteKind, listed};
use super::start::Starts;
use super::types::{Kind, Network};
use crate::geodesy::frame::{EarthCentred, Geodetic, LocalFrame, half_circle_rad};
use crate::shots::reduce::Bend;

/// A traverse and how it closes.
#[derive(Debug, Clone, PartialEq)]
pub struct Misclosure {
    /// The stations in order; the first and the last are one if it closes on itself.
    pub stations: Vec<usize>,
    /// Length of its legs in metres.
    pub length_m: f64,
    /// Carried less known position: east.
    pub east_m: f64,
    /// North.
    pub north_m: f64,
    /// Up; none where a leg has no height.
    pub up_m: Option<f64>,
    /// Orientation carried less known, in radians; none where the bearings carry none.
    pub angular_rad: Option<f64>,
}

impl Misclosure {
    /// Horizontal misclosure in metres.
    pub fn linear_m(&self) -> f64 {
        self.east_m.hypot(self.north_m)
    }

    /// N of the ratio 1 : N; infinite for a traverse that closes to nothing.
    pub fn ratio(&self) -> f64 {
        self.length_m / self.linear_m()
    }
}

/// The readings between two stations, by who read them.
#[derive(Debug, Clone, Copy)]
struct Side {
    azimuth: Option<f64>,
    direction: Option<f64>,
    horizontal_m: Option<f64>,
    slope_m: Option<f64>,
    /// An inclination, and by how much the instrument stands higher than the target.
    inclination: Option<(f64, f64)>,
    /// A vertical distance, likewise.
    vertical: Option<(f64, f64)>,
    /// A difference of ellipsoidal heights, of the marks.
    height_m: Option<f64>,
    bend: Bend,
    radius_m: f64,
}

impl Side {
    const NOTHING: Side = Side {
        azimuth: None,
        direction: None,
        horizontal_m: None,
        slope_m: None,
        inclination: None,
        vertical: None,
        height_m: None,
        bend: Bend::NONE,
        radius_m: f64::INFINITY,
    };
}

impl Side {
    fn bears(&self) -> bool {
        self.azimuth.is_some() || self.direction.is_some()
    }

    fn horizontal(&self) -> Option<f64> {
        let level = |s: f64| match (self.inclination, self.vertical, self.height_m) {
            (Some((i, _)), _, _) => s * (i - self.bend.angle_rad(s * i.cos())).cos(),
            (None, Some((up, _)), _) | (None, None, Some(up)) => (s * s - up * up).max(0.0).sqrt(),
            (None, None, None) => s,
        };
        self.horizontal_m.or(self.slope_m.map(level))
    }

    /// How much higher the other mark is, from the horizon of this one.
    fn rise(&self) -> Option<f64> {
        let h = self.horizontal()?;
        let by_angle = |(i, lift): (f64, f64)| h * (i - self.bend.angle_rad(h)).tan() + lift;
        let by_vertical = |(up, lift): (f64, f64)| by_angle((up.atan2(h), lift));
        // The ellipsoid falls away from the horizon.
        let by_height = |difference: f64| difference - h * h / (2.0 * self.radius_m);
        self.vertical.map(by_vertical).or(self.inclination.map(by_angle)).or(self.height_m.map(by_height))
    }
}

/// Legs of a component: (from, to) → what was read at `from`.
struct Legs(BTreeMap<(usize, usize), Side>);

impl Legs {
    fn collect(network: &Network, component: &Component, admits: &dyn Fn(usize) -> bool) -> Legs {
        let mut sides: BTreeMap<(usize, usize), Side> = BTreeMap::new();
        for o in component.observations.iter().map(|&i| &network.observations[i]) {
            if !(admits(o.from) && admits(o.to)) {
                continue;
            }
            let side = sides.entry((o.from, o.to)).or_insert(Side::NOTHING);
            side.radius_m = network.ellipsoid.semi_major_m;
            side.bend = Bend::from_refraction(network.refraction, side.radius_m);
            let lift = o.instrument_height_m - o.target_height_m;
            match o.kind {
                Kind::Azimuth => side.azimuth = side.azimuth.or(Some(o.value)),
                Kind::Direction => side.direction = side.direction.or(Some(o.value)),
                Kind::Horizontal => side.horizontal_m = side.horizontal_m.or(Some(o.value)),
                Kind::Slope => side.slope_m = side.slope_m.or(Some(o.value)),
                Kind::Inclination => side.inclination = side.inclination.or(Some((o.value, lift))),
                Kind::Vertical | Kind::VerticalWithSlope => side.vertical = side.vertical.or(Some((o.value, lift))),
                Kind::HeightDifference => side.height_m = side.height_m.or(Some(o.value + lift)),
            }
        }
        Legs(sides)
    }

    fn side(&self, from: usize, to: usize) -> Side {
        self.0.get(&(from, to)).copied().unwrap_or(Side::NOTHING)
    }

    /// Pairs with a bearing and a distance, each once.
    fn pairs(&self) -> Vec<(usize, usize)> {
        let mut pairs: Vec<(usize, usize)> = self.0.keys().map(|&(a, b)| (a.min(b), a.max(b))).collect();
        pairs.sort_unstable();
        pairs.dedup();
        pairs.retain(|&(a, b)| {
            let (fore, back) = (self.side(a, b), self.side(b, a));
            (fore.bears() || back.bears()) && (fore.horizontal().is_some() || back.horizontal().is_some())
        });
        pairs
    }
}

/// The misclosures of a component's traverses, and a note on what hangs.
pub(crate) fn traverses(network: &Network, component: &Component, starts: &Starts) -> (Vec<Misclosure>, Vec<Note>) {
    let known = |s: usize| network.stations[s].control.is_some();
    let mut is_base = BTreeMap::new();
    for o in component.observations.iter().map(|&i| &network.observations[i]) {
        is_base.insert(o.from, true);
    }
    let base = |s: usize| is_base.contains_key(&s);
    let legs = Legs::collect(network, component, &|s| base(s) || known(s));
    let forest = Forest::grow(component, &legs.pairs(), &known);
    let misclosures = forest
        .closing
        .iter()
        .filter_map(|&(a, b)| {
            let route = forest.route(a, b);
            // Two known positions and a leg between them are no traverse.
            (route.len() > 2).then(|| carry(network, starts, &legs, &route))?
        })
        .collect();
    // A remote point sighted from two bases closes a route too, though it is no traverse.
    let all = Legs::collect(network, component, &|_| true);
    let forest = Forest::grow(component, &all.pairs(), &known);
    let hanging: Vec<usize> = forest.hanging().into_iter().filter(|s| base(*s) && !known(*s)).collect();
    let mut notes = Vec::new();
    if !hanging.is_empty() {
        let names = listed(hanging.iter().map(|s| network.stations[*s].label.as_str()));
        let text = format!(
            "The traverse to {names} hangs: nothing closes it, and no blunder in it would show. Close it on a GNSS base or a known point."
        );
        notes.push(Note::new(NoteKind::HangingTraverse, hanging, text));
    }
    (misclosures, notes)
}

/// A breadth-first forest from all known stations.
struct Forest {
    parent: BTreeMap<usize, usize>,
    depth: BTreeMap<usize, usize>,
    /// Legs outside the forest.
    closing: Vec<(usize, usize)>,
}

impl Forest {
    fn grow(component: &Component, pairs: &[(usize, usize)], known: &dyn Fn(usize) -> bool) -> Forest {
        let mut next: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for &(a, b) in pairs {
            next.entry(a).or_default().push(b);
            next.entry(b).or_default().push(a);
        }
        let mut forest = Forest { parent: BTreeMap::new(), depth: BTreeMap::new(), closing: Vec::new() };
        let mut queue: VecDeque<usize> = component.stations.iter().copied().filter(|s| known(*s)).collect();
        queue.iter().for_each(|&s| {
            forest.depth.insert(s, 0);
        });
        while let Some(a) = queue.pop_front() {
            let depth = forest.depth[&a] + 1;
            for &b in next.get(&a).map_or(&[][..], Vec::as_slice) {
                if let std::collections::btree_map::Entry::Vacant(free) = forest.depth.entry(b) {
                    free.insert(depth);
                    forest.parent.insert(b, a);
                    queue.push_back(b);
                }
            }
        }
        let reached = |s: &usize| forest.depth.contains_key(s);
        let in_tree = |a: usize, b: usize| forest.parent.get(&a) == Some(&b) || forest.parent.get(&b) == Some(&a);
        forest.closing = pairs.iter().copied().filter(|(a, b)| reached(a) && !in_tree(*a, *b)).collect();
        forest
    }

    /// From a station up to its root.
    fn up(&self, mut s: usize) -> Vec<usize> {
        let mut path = vec![s];
        while let Some(&parent) = self.parent.get(&s) {
            path.push(parent);
            s = parent;
        }
        path
    }

    /// The route that a leg closes: between two roots, or a loop from where its two ends part.
    fn route(&self, a: usize, b: usize) -> Vec<usize> {
        let (mut up_a, mut up_b) = (self.up(a), self.up(b));
        let mut top = None;
        while let (Some(x), Some(y)) = (up_a.last(), up_b.last())
            && x == y
        {
            top = up_a.pop();
            up_b.pop();
        }
        up_a.extend(top);
        up_b.extend(top);
        up_a.reverse();
        up_a.extend(up_b);
        up_a
    }

    /// Stations with a leg above them that no route closes.
    fn hanging(&self) -> Vec<usize> {
        // +1 at both ends and −2 where they part: the sum below a leg counts the routes through it.
        let mut through: BTreeMap<usize, i64> = BTreeMap::new();
        for &(a, b) in &self.closing {
            *through.entry(a).or_default() += 1;
            *through.entry(b).or_default() += 1;
            let route = self.route(a, b);
            if route.first() == route.last()
                && let Some(top) = route.first()
            {
                *through.entry(*top).or_default() -= 2;
            }
        }
        let mut order: Vec<(usize, usize)> = self.depth.iter().map(|(s, d)| (*d, *s)).collect();
        order.sort_unstable();
        for &(_, s) in order.iter().rev() {
            let own = through.get(&s).copied().unwrap_or(0);
            if let Some(parent) = self.parent.get(&s) {
                *through.entry(*parent).or_default() += own;
            }
        }
        let mut hangs: BTreeMap<usize, bool> = BTreeMap::new();
        for &(_, s) in &order {
            let loose = match self.parent.get(&s) {
                Some(parent) => through.get(&s).copied().unwrap_or(0) == 0 || hangs.get(parent) == Some(&true),
                None => false,
            };
            hangs.insert(s, loose);
        }
        hangs.into_iter().filter_map(|(s, loose)| loose.then_some(s)).collect()
    }
}

fn frame(network: &Network, position: EarthCentred) -> LocalFrame {
    LocalFrame::at(&Geodetic::from_earth_centred(position, &network.ellipsoid), &network.ellipsoid)
}

fn azimuth(network: &Network, from: EarthCentred, to: EarthCentred) -> f64 {
    let [e, n, _] = frame(network, from).from_earth_centred(to);
    e.atan2(n)
}

/// Carries position and orientation along a route.
fn carry(network: &Network, starts: &Starts, legs: &Legs, route: &[usize]) -> Option<Misclosure> {
    let (first, last) = (*route.first()?, *route.last()?);
    let known = |s: usize| network.stations[s].control.map(|c| c.position).or(starts.positions[s]);
    let start = known(first)?;
    let mut position = start;
    let mut orientation = tied(network, legs, first, start);
    let first_orientation = orientation;
    let (mut length_m, mut rises) = (0.0, true);
    // Sum of what fore and back azimuths differ by.
    let mut azimuths: Option<f64> = Some(0.0);
    for pair in route.windows(2) {
        let [a, b] = [pair[0], pair[1]];
        let (fore, back) = (legs.side(a, b), legs.side(b, a));
        let horizontal = mean(fore.horizontal(), back.horizontal())?;
        // The horizon falls away by d²/R between fore and back.
        let fall = horizontal * horizontal / network.ellipsoid.semi_major_m;
        let rise = mean(fore.rise(), back.rise().map(|r| -r - fall));
        rises &= rise.is_some();
        // A bearing back, turned round, less the convergence of the two meridians.
        let here = frame(network, position);
        let end = |bearing: f64| here.to_earth_centred([horizontal * bearing.sin(), horizontal * bearing.cos(), 0.0]);
        let turn = |back: f64| {
            let turned = back + std::f64::consts::PI;
            let convergence = half_circle_rad(azimuth(network, end(turned), position) - back);
            half_circle_rad(turned - convergence)
        };
        let bearing = match (fore.azimuth, back.azimuth) {
            (Some(fore), Some(back)) => fore + 0.5 * half_circle_rad(turn(back) - fore),
            (Some(fore), None) => fore,
            (None, Some(back)) => turn(back),
            (None, None) => fore.direction? + orientation?,
        };
        azimuths = match (azimuths, fore.azimuth, back.azimuth) {
            (Some(sum), Some(fore), Some(back)) => Some(sum + half_circle_rad(fore - turn(back))),
            _ => None,
        };
        let start = position;
        position = here.to_earth_centred([horizontal * bearing.sin(), horizontal * bearing.cos(), rise.unwrap_or(0.0)]);
        let from = azimuth(network, position, start);
        orientation = back.direction.map(|direction| half_circle_rad(from - direction));
        length_m += horizontal;
    }
    let target = known(last)?;
    let [east_m, north_m, up_m] = frame(network, target).from_earth_centred(position);
    let end_orientation = if first == last { first_orientation } else { tied(network, legs, last, target) };
    let angular_rad = match (orientation, end_orientation) {
        (Some(carried), Some(known)) => Some(half_circle_rad(carried - known)),
        _ => azimuths,
    };
    Some(Misclosure { stations: route.to_vec(), length_m, east_m, north_m, up_m: rises.then_some(up_m), angular_rad })
}

/// The orientation of a station's directions from a sight to another known position.
fn tied(network: &Network, legs: &Legs, s: usize, position: EarthCentred) -> Option<f64> {
    legs.0.range((s, 0)..=(s, usize::MAX)).find_map(|(&(_, to), side)| {
        let (direction, target) = (side.direction?, network.stations[to].control?);
        Some(half_circle_rad(azimuth(network, position, target.position) - direction))
    })
}

fn mean(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(0.5 * (a + b)),
        _ => a.or(b),
    }
}

#[cfg(test)]
mod tests;
