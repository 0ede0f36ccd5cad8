//! Which stations hang together, which of them are checked, and which are left to the closed form.
//!
//! Components by union-find (R. E. Tarjan, J. ACM 22, 1975): stations that a reading joins, and all that share an
//! instrument whose scale or constant is to be found. Then every station that hangs on one neighbour by no more
//! readings than it has unknowns is taken off, again and again: no reading checks it, and it checks none.

use std::collections::BTreeMap;

use super::types::{Kind, Network};

/// Stations that hang together and the readings between them, by index.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Component {
    pub stations: Vec<usize>,
    pub observations: Vec<usize>,
}

/// What an adjustment has to say of a station.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// In a network of several stations; whether that network has more readings than unknowns.
    Network {
        /// Number of the component, counted from 0.
        component: usize,
        /// Whether it has redundant readings.
        redundant: bool,
    },
    /// Hangs on one neighbour by one full shot that nothing checks: the closed form gives the same place. If the
    /// neighbour is in a network, its adjusted place and orientation carry it ([`super::Solved::carry`]).
    Polar {
        /// The neighbour, by index.
        from: usize,
    },
    /// No reading that counts joins it to another station.
    Alone,
}

/// The sets of a union-find.
pub(crate) struct Sets(Vec<usize>);

impl Sets {
    pub fn new(size: usize) -> Sets {
        Sets((0..size).collect())
    }

    pub fn root(&mut self, mut i: usize) -> usize {
        while self.0[i] != i {
            self.0[i] = self.0[self.0[i]];
            i = self.0[i];
        }
        i
    }

    pub fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b)] = a.min(b);
    }
}

/// The components of the readings that `used` admits, in the order of their first stations; stations without a reading
/// are in none.
pub(crate) fn split(network: &Network, used: &[bool]) -> Vec<Component> {
    let mut sets = Sets::new(network.stations.len());
    let mut of_instrument: BTreeMap<usize, usize> = BTreeMap::new();
    let mut named = vec![false; network.stations.len()];
    let readings = || network.observations.iter().enumerate().filter(|(i, _)| used.get(*i) == Some(&true));
    for (_, o) in readings() {
        sets.join(o.from, o.to);
        (named[o.from], named[o.to]) = (true, true);
        let unknown = |k: &usize| network.instruments.get(*k).is_some_and(|i| i.sigma_scale > 0.0 || i.sigma_constant_m > 0.0);
        if let Some(k) = o.instrument.filter(|_| o.kind.is_range()).filter(unknown) {
            let first = *of_instrument.entry(k).or_insert(o.from);
            sets.join(first, o.from);
        }
    }
    let mut index: BTreeMap<usize, usize> = BTreeMap::new();
    let mut components: Vec<Component> = Vec::new();
    for s in (0..network.stations.len()).filter(|s| named[*s]) {
        let k = *index.entry(sets.root(s)).or_insert_with(|| {
            components.push(Component { stations: Vec::new(), observations: Vec::new() });
            components.len() - 1
        });
        components[k].stations.push(s);
    }
    for (i, o) in readings() {
        if let Some(k) = index.get(&sets.root(o.from)) {
            components[*k].observations.push(i);
        }
    }
    components
}

/// Tells what an adjustment has to say of each station, by counting alone. A caller can leave the stations that are
/// `Polar` or `Alone` to the closed form and give the others to [`super::adjust`].
pub fn components(network: &Network) -> Vec<Role> {
    let count = network.stations.len();
    let mut readings_of: Vec<Vec<usize>> = vec![Vec::new(); count];
    for (i, o) in network.observations.iter().enumerate() {
        if o.from < count && o.to < count && o.from != o.to {
            readings_of[o.from].push(i);
            readings_of[o.to].push(i);
        }
    }
    let mut used: Vec<bool> = network.observations.iter().map(|o| o.from < count && o.to < count && o.from != o.to).collect();
    let mut roles = vec![Role::Alone; count];
    let mut left: Vec<usize> = (0..count).rev().collect();
    while let Some(s) = left.pop() {
        let Some(neighbour) = hangs_on(network, s, &readings_of[s], &used) else { continue };
        roles[s] = Role::Polar { from: neighbour };
        readings_of[s].iter().for_each(|&i| used[i] = false);
        left.push(neighbour);
    }
    for (k, component) in split(network, &used).iter().enumerate() {
        let redundant = redundancy(network, component) > 0;
        for &s in &component.stations {
            roles[s] = Role::Network { component: k, redundant };
        }
    }
    roles
}

/// The one neighbour that a station hangs on with nothing to spare.
fn hangs_on(network: &Network, s: usize, readings: &[usize], used: &[bool]) -> Option<usize> {
    let station = &network.stations[s];
    if station.control.is_some() {
        return None;
    }
    let mut neighbour = None;
    let (mut vertical, mut bearing, mut range, mut count, mut own_directions, mut own_azimuths) =
        (false, false, false, 0usize, false, false);
    for o in readings.iter().filter(|i| used[**i]).map(|&i| &network.observations[i]) {
        let other = if o.from == s { o.to } else { o.from };
        if *neighbour.get_or_insert(other) != other {
            return None;
        }
        vertical |= o.kind.is_vertical();
        range |= o.kind.is_range();
        bearing |= o.kind.is_bearing();
        own_directions |= o.from == s && o.kind == Kind::Direction;
        own_azimuths |= o.from == s && o.kind == Kind::Azimuth && station.sigma_orientation_rad == f64::INFINITY;
        count += 1;
    }
    let unknowns = 2 + usize::from(vertical) + usize::from(own_directions) + usize::from(own_azimuths);
    (bearing && range && count <= unknowns).then_some(neighbour?)
}

/// Equations less unknowns, by counting; heights that nothing measures are not counted.
pub(crate) fn redundancy(network: &Network, component: &Component) -> i64 {
    let mut vertical: BTreeMap<usize, bool> = component.stations.iter().map(|s| (*s, false)).collect();
    let mut bearings: BTreeMap<usize, [bool; 2]> = BTreeMap::new();
    let mut instruments: BTreeMap<usize, ()> = BTreeMap::new();
    for o in component.observations.iter().map(|&i| &network.observations[i]) {
        if o.kind.is_vertical() || o.kind == Kind::Slope {
            vertical.insert(o.from, true);
            vertical.insert(o.to, true);
        }
        match o.kind {
            Kind::Azimuth => bearings.entry(o.from).or_default()[0] = true,
            Kind::Direction => bearings.entry(o.from).or_default()[1] = true,
            _ => {}
        }
        if let Some(k) = o.instrument.filter(|_| o.kind.is_range()) {
            instruments.insert(k, ());
        }
    }
    let mut spare = component.observations.len() as i64;
    for &s in &component.stations {
        let dims = if vertical[&s] { 3 } else { 2 };
        match &network.stations[s].control {
            Some(control) if control.is_fixed() => {}
            Some(control) => spare += i64::from(control.has_height() && dims == 3) + 2 - dims,
            None => spare -= dims,
        }
        let [azimuths, directions] = bearings.get(&s).copied().unwrap_or_default();
        spare -= i64::from(directions) + i64::from(azimuths && network.stations[s].sigma_orientation_rad == f64::INFINITY);
    }
    for instrument in instruments.keys().filter_map(|&k| network.instruments.get(k)) {
        spare -= i64::from(instrument.sigma_scale == f64::INFINITY) + i64::from(instrument.sigma_constant_m == f64::INFINITY);
    }
    spare
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::equations::Equations;
    use crate::network::equations::tests::every_kind;
    use crate::network::layout::Layout;
    use crate::network::start::start;
    use crate::network::state::State;
    use crate::network::surveyed::Surveyed;
    use crate::network::types::{Observation, Rangefinder};

    /// Rows less unknowns of the equations as they are listed, where all heights are unknowns but those that nothing measures.
    fn listed(network: &Network, component: &Component, levels: &[usize]) -> i64 {
        let mut local = vec![u32::MAX; network.stations.len()];
        component.stations.iter().enumerate().for_each(|(k, s)| local[*s] = k as u32);
        let held: Vec<bool> = (0..network.stations.len()).map(|s| levels.contains(&s)).collect();
        let layout = Layout::number(network, component, &local, &held);
        let state = State::start(network, component, &layout, &start(network, &vec![true; network.observations.len()]));
        Equations::list(network, component, &layout, &local, &state).rows.len() as i64 - layout.size as i64
    }

    #[test]
    fn redundancy_is_rows_less_unknowns() {
        let network = every_kind();
        let whole = |network: &Network| split(network, &vec![true; network.observations.len()]).remove(0);
        let component = whole(&network);
        assert_eq!(redundancy(&network, &component), listed(&network, &component, &[]));

        let mut free = network.clone();
        free.stations.iter_mut().for_each(|station| station.sigma_orientation_rad = f64::INFINITY);
        assert_eq!(redundancy(&free, &component), redundancy(&network, &component) - 4);
        assert_eq!(redundancy(&free, &component), listed(&free, &component, &[]));
        free.instruments[0].sigma_scale = f64::INFINITY;
        assert_eq!(redundancy(&free, &component), listed(&free, &component, &[]));
        free.instruments[0].sigma_constant_m = f64::INFINITY;
        assert_eq!(redundancy(&free, &component), listed(&free, &component, &[]));

        // Azimuths and horizontal distances alone: no height is measured, and of a position that has one the height is no equation.
        let mut flat = network.clone();
        flat.observations.retain(|o| matches!(o.kind, Kind::Azimuth | Kind::Horizontal));
        let component = whole(&flat);
        let levels: Vec<usize> = component.stations.clone();
        assert_eq!(redundancy(&flat, &component), listed(&flat, &component, &levels));
        // One slope distance or height difference measures those of its ends.
        for kind in [Kind::Slope, Kind::HeightDifference] {
            let mut network = flat.clone();
            let own = every_kind().observations.into_iter().find(|o| o.kind == kind).unwrap();
            network.observations.push(own);
            let component = whole(&network);
            let levels: Vec<usize> = component.stations.iter().copied().filter(|s| *s != own.from && *s != own.to).collect();
            assert_eq!(redundancy(&network, &component), listed(&network, &component, &levels), "{kind:?}");
        }
    }

    /// Two pairs of stations that one instrument joins, where there is something of it to be found by their distances.
    #[test]
    fn an_instrument_with_an_unknown_joins() {
        let mut pairs = Surveyed::at(&[[0.0; 3], [90.0, 10.0, 0.0], [500.0, 0.0, 0.0], [560.0, 40.0, 3.0], [9.0; 3]], &[0, 2]);
        for from in [0, 2] {
            pairs.read_all(&[Kind::Azimuth, Kind::Slope, Kind::Inclination], from, from + 1);
        }
        let of = |sigma_scale: f64, sigma_constant_m: f64, on: Kind, instrument: usize, unused: usize| {
            let mut network = pairs.network.clone();
            network.instruments = vec![Rangefinder { label: "R".into(), sigma_scale, sigma_constant_m }];
            network.observations.iter_mut().filter(|o| o.kind == on).for_each(|o| o.instrument = Some(instrument));
            let used: Vec<bool> = (0..network.observations.len()).map(|i| i != unused).collect();
            let split = split(&network, &used);
            split.into_iter().map(|component| (component.stations, component.observations)).collect::<Vec<_>>()
        };
        let apart = vec![(vec![0, 1], vec![0, 1, 2]), (vec![2, 3], vec![3, 4, 5])];
        let joined = vec![(vec![0, 1, 2, 3], vec![0, 1, 2, 3, 4, 5])];
        assert_eq!(of(1e-3, 0.0, Kind::Slope, 0, 9), joined);
        assert_eq!(of(0.0, f64::INFINITY, Kind::Slope, 0, 9), joined);
        assert_eq!(of(0.0, 0.0, Kind::Slope, 0, 9), apart);
        assert_eq!(of(1e-3, 0.1, Kind::Azimuth, 0, 9), apart);
        // An instrument that there is not joins nothing.
        assert_eq!(of(1e-3, 0.1, Kind::Slope, 1, 9), apart);
        // A reading that is not used joins neither by its ends nor by its instrument.
        assert_eq!(of(1e-3, 0.1, Kind::Slope, 0, 4), [(vec![0, 1], vec![0, 1, 2]), (vec![2, 3], vec![3, 5])]);
    }

    /// A traverse that hangs is taken off leg by leg; readings that name no two stations are passed by.
    #[test]
    fn what_hangs_on_what_hangs() {
        let mut chain = Surveyed::at(&[[0.0; 3], [90.0, 10.0, 0.0], [150.0, 80.0, 4.0], [40.0, 120.0, 2.0], [7.0; 3]], &[0]);
        for (from, to) in [(0, 1), (2, 1), (2, 3)] {
            chain.read_all(&[Kind::Azimuth, Kind::Slope, Kind::Inclination], from, to);
        }
        let polar = |from: usize| Role::Polar { from };
        let roles = [Role::Alone, polar(0), polar(1), polar(2), Role::Alone];
        assert_eq!(components(&chain.network), roles);
        let shot = chain.network.observations[0];
        for (from, to) in [(1, 1), (5, 1), (1, 5), (9, 7)] {
            let mut network = chain.network.clone();
            network.observations.push(Observation { from, to, ..shot });
            assert_eq!(components(&network), roles, "{from} {to}");
        }
        // Closed by one more leg all three are in a network; known stations that see each other too.
        let all = |redundant: bool| Role::Network { component: 0, redundant };
        chain.read_all(&[Kind::Azimuth, Kind::Slope, Kind::Inclination], 3, 0);
        assert_eq!(components(&chain.network)[..4], [all(true); 4]);
        let mut two = Surveyed::at(&[[0.0; 3], [90.0, 10.0, 0.0]], &[0, 1]);
        two.read(Kind::Azimuth, 0, 1);
        assert_eq!(components(&two.network), [all(true); 2]);
        // As many readings as unknowns: nothing is redundant. Two distances and no bearing are no shot.
        let mut spare = Surveyed::at(&[[0.0; 3], [90.0, 10.0, 0.0], [50.0, 70.0, 0.0]], &[0, 1]);
        spare.read(Kind::Horizontal, 0, 2);
        spare.read(Kind::Horizontal, 1, 2);
        assert_eq!(components(&spare.network), [all(false); 3]);
    }

    /// A station that hangs by just what fixes it is polar; one reading more, or another neighbour, and it is in a network.
    #[test]
    fn what_hangs_by_nothing_to_spare() {
        let template = every_kind();
        let role = |readings: &[(Kind, bool)], other: bool, orientation: f64| {
            let mut network = template.clone();
            network.observations.truncate(0);
            network.stations[4].sigma_orientation_rad = orientation;
            let of = |kind, from, to| Observation { kind, from, to, ..template.observations[0] };
            for (kind, out) in readings {
                network.observations.push(if *out { of(*kind, 0, 4) } else { of(*kind, 4, 0) });
            }
            if other {
                network.observations.push(of(Kind::Azimuth, 1, 4));
            }
            components(&network)[4]
        };
        let (az, dir, inc, slope, flat) = (Kind::Azimuth, Kind::Direction, Kind::Inclination, Kind::Slope, Kind::Horizontal);
        let polar = Role::Polar { from: 0 };
        assert_eq!(role(&[(az, true), (slope, true), (inc, true)], false, 0.0), polar);
        assert_eq!(role(&[(az, true), (flat, true)], false, 0.0), polar);
        // Sighted from the station: its own circle is one unknown more.
        assert_eq!(role(&[(az, true), (slope, true), (inc, true), (dir, false)], false, 0.0), polar);
        assert_eq!(role(&[(az, true), (slope, true), (inc, true), (az, false)], false, f64::INFINITY), polar);
        for (readings, other, orientation) in [
            (vec![(az, true), (slope, true), (inc, true), (az, true)], false, 0.0),
            (vec![(az, true), (slope, true), (inc, true), (az, false)], false, 0.004),
            (vec![(az, true), (flat, true), (flat, true)], false, 0.0),
            (vec![(az, true), (slope, true), (inc, true)], true, 0.0),
            // No distance, or no bearing.
            (vec![(az, true), (inc, true)], false, 0.0),
            (vec![(slope, true), (inc, true)], false, 0.0),
        ] {
            let got = role(&readings, other, orientation);
            assert!(matches!(got, Role::Network { .. }), "{readings:?} {got:?}");
        }
        assert_eq!(role(&[], false, 0.0), Role::Alone);
    }
}
