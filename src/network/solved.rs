//! A solved component: places, covariances, residuals and tests, and what can be asked of them later.
//!
//! Covariances are those of the standard errors given, not scaled by the variance factor. Each station's is in its own
//! east, north and up.

use std::sync::Arc;

use super::by_station::ByStation;
use super::cholesky::Factor;
use super::components::Component;
use super::equations::{Source, between};
use super::given::Given;
use super::global::GlobalTest;
use super::layout::{Layout, StationColumns};
use super::misclosure::Misclosure;
use super::notes::Note;
use super::outliers::Suspect;
use super::parted::Parted;
use super::reliability::Residual;
use super::state::State;
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{EarthCentred, Ellipsoid, Geodetic, LocalFrame};
use crate::geodesy::register::{Correlated, CorrelatedPoints, ErrorSource as OfError, Estimate};
use crate::shots::reduce::Vector;

/// A station after adjustment.
#[derive(Debug, Clone, PartialEq)]
pub struct SolvedStation {
    /// Its index in the network.
    pub station: usize,
    /// Its position.
    pub position: EarthCentred,
    /// Covariance in its own east, north and up; no variance of up where the height is not known.
    pub covariance: Covariance,
    /// Whether the height is known; where not, it stands at the level of a base.
    pub has_height: bool,
    /// Whether another reading checks it: a blunder in at least one of its readings would show.
    pub checked: bool,
    /// What is to be added to its azimuths, in radians, where that was an unknown: its own orientation and the shared errors of
    /// its azimuths together.
    pub orientation: Option<Estimate>,
    /// What is to be added to its directions, in radians.
    pub direction_orientation: Option<Estimate>,
}

/// An instrument after adjustment.
#[derive(Debug, Clone, PartialEq)]
pub struct SolvedInstrument {
    /// Its index in the network.
    pub instrument: usize,
    /// Scale, a ratio over 1: reading = (1 + scale) · distance + constant.
    pub scale: Option<Estimate>,
    /// Constant in metres.
    pub constant_m: Option<Estimate>,
}

/// An error that readings share, after adjustment.
#[derive(Debug, Clone, PartialEq)]
pub struct SolvedShared {
    /// Its index in the network.
    pub shared: usize,
    /// What has to be added to the readings that name it, in metres or radians.
    pub added: Estimate,
}

/// An observation that was taken out.
#[derive(Debug, Clone, PartialEq)]
pub struct Rejection {
    /// The test that it failed, at the time.
    pub suspect: Suspect,
    /// Variance factor before it was taken out.
    pub variance_factor: f64,
}

/// A solved component of a network.
#[derive(Debug, Clone)]
pub struct Solved {
    /// Its stations.
    pub stations: Vec<SolvedStation>,
    /// Its instruments with unknowns of their own.
    pub instruments: Vec<SolvedInstrument>,
    /// Its shared errors.
    pub shared: Vec<SolvedShared>,
    /// Residuals of all observations: positions, priors, readings.
    pub residuals: Vec<Residual>,
    /// The global test.
    pub global: GlobalTest,
    /// The one worst observation, if it fails its test still.
    pub suspect: Option<Suspect>,
    /// What was taken out, in order.
    pub rejected: Vec<Rejection>,
    /// Misclosures of its traverses, before adjustment.
    pub misclosures: Vec<Misclosure>,
    /// Warnings.
    pub notes: Vec<Note>,
    /// Iterations of the last solution.
    pub iterations: usize,
    /// Unknowns.
    pub unknowns: usize,
    /// Significance of the tests of single observations.
    pub alpha: f64,
    /// Critical value of a normalised residual at that significance.
    pub critical: f64,
    pub(crate) inner: Inner,
}

/// What answers later questions.
#[derive(Debug, Clone)]
pub(crate) struct Inner {
    pub ellipsoid: Ellipsoid,
    pub component: Component,
    pub layout: Layout,
    pub state: State,
    pub factor: Arc<Factor>,
    /// The elements of the inverse in the pattern of the factor.
    pub inverse: Arc<[f64]>,
    /// What the covariance comes from, of any unknowns; none of a large component.
    pub parted: Option<Arc<Parted>>,
    /// The same of the unknowns of each station; none of a small one.
    pub by_station: Option<Arc<ByStation>>,
    /// What it was given from outside.
    pub given: Arc<Given>,
}

/// The unknowns that a station's place and orientation are, by their columns.
#[derive(Debug, Clone, PartialEq)]
pub struct UnknownsOf {
    /// East, north and up; none of a point held fixed, two where the height is held.
    pub place: Vec<usize>,
    /// What is added to its azimuths, in sum.
    pub azimuths: Vec<usize>,
    /// What is added to its directions.
    pub directions: Vec<usize>,
}

/// The covariance of a component's unknowns.
#[derive(Debug)]
struct OfUnknowns {
    factor: Arc<Factor>,
    inverse: Arc<[f64]>,
    parted: Option<Arc<Parted>>,
    by_station: Option<Arc<ByStation>>,
}

impl Correlated for OfUnknowns {
    fn covariance(&self, which: &[usize]) -> Vec<f64> {
        let size = which.len();
        let mut covariance = vec![0.0; size * size];
        for (c, unknown) in which.iter().enumerate() {
            // What a reading names together, such as the place and the orientation of a station, stands there already.
            let there = which.iter().map(|other| self.factor.element(&self.inverse, *other, *unknown));
            let column: Vec<f64> = match there.collect() {
                Some(column) => column,
                None => self.solved(*unknown, which),
            };
            column.into_iter().enumerate().for_each(|(r, element)| covariance[r * size + c] = element);
        }
        covariance
    }

    fn parted(&self, which: &[usize]) -> Option<Vec<(OfError, Vec<f64>)>> {
        match &self.parted {
            Some(parted) => Some(parted.covariance(&self.factor, which)),
            None => self.by_station.as_ref()?.covariance(which),
        }
    }
}

impl OfUnknowns {
    /// Elements of the column of an unknown, by a solution of the normal equations.
    fn solved(&self, unknown: usize, which: &[usize]) -> Vec<f64> {
        let mut unit = vec![0.0; self.factor.size()];
        let Some(one) = unit.get_mut(unknown) else { return vec![0.0; which.len()] };
        *one = 1.0;
        let column = self.factor.solve(&unit);
        which.iter().map(|other| column.get(*other).copied().unwrap_or(0.0)).collect()
    }
}

impl Inner {
    fn place(&self, station: usize) -> Option<(usize, StationColumns)> {
        let k = self.component.stations.binary_search(&station).ok()?;
        Some((k, *self.layout.places.get(k)?))
    }

    /// The column of the inverse of an unknown; zeros for none.
    fn column(&self, unknown: u32) -> Vec<f64> {
        let mut unit = vec![0.0; self.layout.size];
        match unit.get_mut(unknown as usize) {
            Some(one) => {
                *one = 1.0;
                self.factor.solve(&unit)
            }
            None => unit,
        }
    }
}

/// Covariance of a place out of the elements of the inverse.
pub(crate) fn covariance_of(place: &StationColumns, element: impl Fn(usize, usize) -> f64) -> Covariance {
    let at = |i: u32, j: u32| {
        let size = u32::from(place.size);
        if i < size && j < size { element((place.first + i) as usize, (place.first + j) as usize) } else { 0.0 }
    };
    Covariance { ee: at(0, 0), en: at(0, 1), eu: at(0, 2), nn: at(1, 1), nu: at(1, 2), uu: at(2, 2) }
}

impl Solved {
    /// A station of the component, by its index in the network.
    pub fn station(&self, station: usize) -> Option<&SolvedStation> {
        let k = self.inner.component.stations.binary_search(&station).ok()?;
        self.stations.get(k)
    }

    /// The unknowns of a station of the component, by its index in the network.
    pub fn unknowns_of(&self, station: usize) -> Option<UnknownsOf> {
        let (_, place) = self.inner.place(station)?;
        let first = place.first as usize;
        Some(UnknownsOf {
            place: (first..first + place.size as usize).collect(),
            azimuths: place.turns().map(|column| column as usize).collect(),
            directions: place.directions_turn().map(|column| column as usize).collect(),
        })
    }

    /// The covariance of its unknowns, for a register: out of the inverse where a reading names them together, else by a solution of
    /// the normal equations for each.
    pub fn correlated(&self) -> Arc<dyn Correlated> {
        let Inner { factor, inverse, parted, by_station, .. } = &self.inner;
        Arc::new(OfUnknowns {
            factor: Arc::clone(factor),
            inverse: Arc::clone(inverse),
            parted: parted.clone(),
            by_station: by_station.clone(),
        })
    }

    /// East, north and up at a station.
    pub fn frame_of(&self, station: usize) -> Option<LocalFrame> {
        self.inner.place(station).map(|(k, _)| self.inner.state.frames[k])
    }

    /// The joint covariance of some of its stations, in the frame of the first: for distances, directions and areas
    /// between them. It costs three solutions of the normal equations for each station. None for a station of another
    /// component, or for none.
    pub fn correlated_points(&self, stations: &[usize]) -> Option<CorrelatedPoints> {
        let places: Vec<(usize, StationColumns)> = stations.iter().map(|s| self.inner.place(*s)).collect::<Option<_>>()?;
        let frame = self.inner.state.frames[places.first()?.0];
        let size = 3 * places.len();
        let mut covariance = vec![0.0; size * size];
        let turns: Vec<[[f64; 3]; 3]> = places.iter().map(|(k, _)| between(&frame, &self.inner.state.frames[*k])).collect();
        for (j, (_, place)) in places.iter().enumerate() {
            let columns: Vec<Vec<f64>> = (0..u32::from(place.size)).map(|c| self.inner.column(place.first + c)).collect();
            for (i, (_, other)) in places.iter().enumerate() {
                let own = |r: usize, c: usize| -> f64 {
                    let value = columns.get(c).and_then(|column| column.get(other.first as usize + r));
                    if r < other.size as usize { value.copied().unwrap_or(0.0) } else { 0.0 }
                };
                for r in 0..3 {
                    for c in 0..3 {
                        covariance[(3 * i + r) * size + 3 * j + c] =
                            (0..9).map(|k| turns[i][r][k / 3] * own(k / 3, k % 3) * turns[j][c][k % 3]).sum();
                    }
                }
            }
        }
        let points = places.iter().map(|(k, _)| frame.from_earth_centred(self.inner.state.positions[*k])).collect();
        CorrelatedPoints::from_covariance(frame, points, &covariance)
    }

    /// The place of a point that hangs on a station by one shot outside the adjustment: the reduced shot turned by the
    /// adjusted orientation, from the adjusted place. The covariance, in the point's own east, north and up, holds the shot's own readings and the joint
    /// covariance of the station's place and orientation; what its azimuth shares is in the orientation.
    pub fn carry(&self, base: usize, shot: &Vector) -> Option<(EarthCentred, Covariance)> {
        let (k, place) = self.inner.place(base)?;
        let (sin, cos) = place.turns().map(|column| self.inner.state.other(column)).sum::<f64>().sin_cos();
        let [e, n] = [shot.east_m * cos + shot.north_m * sin, shot.north_m * cos - shot.east_m * sin];
        let position = self.inner.state.frames[k].to_earth_centred([e, n, shot.up_m.unwrap_or(0.0)]);
        // An orientation turns the point to the right: (n, −e) for each radian.
        let arm = [n, -e, 0.0];
        let mut unknowns: Vec<(u32, [f64; 3])> = (0..u32::from(place.size))
            .map(|c| (place.first + c, std::array::from_fn(|i| if i as u32 == c { 1.0 } else { 0.0 })))
            .collect();
        unknowns.extend(place.turns().map(|column| (column, arm)));
        let mut covariance = turned(&(shot.direction + shot.distance), sin, cos);
        for (unknown, by) in &unknowns {
            let column = self.inner.column(*unknown);
            for (other, by_other) in &unknowns {
                let q = column.get(*other as usize).copied().unwrap_or(0.0);
                covariance += Covariance {
                    ee: q * by[0] * by_other[0],
                    en: q * by[0] * by_other[1],
                    eu: q * by[0] * by_other[2],
                    nn: q * by[1] * by_other[1],
                    nu: q * by[1] * by_other[2],
                    uu: q * by[2] * by_other[2],
                };
            }
        }
        // From the base's axes to the point's own.
        let own = LocalFrame::at(&Geodetic::from_earth_centred(position, &self.inner.ellipsoid), &self.inner.ellipsoid);
        Some((position, rotated(&covariance, &between(&own, &self.inner.state.frames[k]))))
    }

    /// By what the component was given from outside: which axis of it (0 where it has one), and by how much one standard error of it moves each unknown.
    /// None of a component that would take too long.
    pub fn given(&self) -> Option<Vec<(Source, usize, Vec<f64>)>> {
        self.inner.given.moves(&self.inner.factor)
    }
}

/// A covariance turned to the right by an angle of which sine and cosine are given.
fn turned(c: &Covariance, sin: f64, cos: f64) -> Covariance {
    rotated(c, &[[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]])
}

/// R C Rᵀ.
fn rotated(c: &Covariance, turn: &[[f64; 3]; 3]) -> Covariance {
    let full = [[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]];
    let at = |r: usize, c: usize| (0..9).map(|k| turn[r][k / 3] * full[k / 3][k % 3] * turn[c][k % 3]).sum();
    Covariance { ee: at(0, 0), en: at(0, 1), eu: at(0, 2), nn: at(1, 1), nu: at(1, 2), uu: at(2, 2) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::by_station::tests::sample;
    use crate::network::equations::tests::every_kind;
    use crate::network::reliability::tests::inverse_of_normals;
    use crate::network::types::{Kind, Network, Settings};
    use crate::network::{adjust, equations::Equations};
    use crate::records::triangle::Triangle;
    use crate::shots::reduce::{Sight, SightSigmas, reduce};

    /// Rounding of an elimination of forty unknowns, in square metres.
    const ROUNDING_M2: f64 = 1e-8;

    /// The sample, turned by its orientations: every azimuth is read too great by an angle of its base.
    fn turned_sample() -> Network {
        let mut network = sample();
        for o in network.observations.iter_mut().filter(|o| o.kind == Kind::Azimuth) {
            o.value += 0.003 * (o.from as f64 + 1.0);
        }
        network
    }

    /// The whole inverse of the normal equations at the solution.
    fn whole_inverse(network: &Network, solved: &Solved) -> Vec<Vec<f64>> {
        let inner = &solved.inner;
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        let mut equations = Equations::list(network, &inner.component, &inner.layout, &local, &inner.state);
        equations.linearise(&inner.state);
        inverse_of_normals(&equations, inner.layout.size)
    }

    #[test]
    fn a_covariance_is_read_out_of_the_inverse() {
        let place = |size: u8| StationColumns { first: 5, size, azimuths: 0, directions: 0, turned_by: [0; 2] };
        let element = |a: usize, b: usize| (10 * a + b) as f64;
        let whole = Covariance { ee: 55.0, en: 56.0, eu: 57.0, nn: 66.0, nu: 67.0, uu: 77.0 };
        assert_eq!(covariance_of(&place(3), element), whole);
        assert_eq!(covariance_of(&place(2), element), Covariance { eu: 0.0, nu: 0.0, uu: 0.0, ..whole });
        assert_eq!(covariance_of(&place(0), element), Covariance::default());
    }

    /// Of the places in the frame of the first of those asked for: each turned into it from its own east, north and up.
    #[test]
    fn joint_covariances_are_parts_of_the_whole_inverse() {
        let network = turned_sample();
        let adjustment = adjust(&network, &Settings::default()).unwrap();
        let solved = &adjustment.solved[0];
        let q = whole_inverse(&network, solved);
        let asked = [6, 1, 9];
        let points = solved.correlated_points(&asked).unwrap();
        let frame = solved.frame_of(asked[0]).unwrap();
        for (i, s) in asked.into_iter().enumerate() {
            let place = frame.from_earth_centred(solved.station(s).unwrap().position);
            assert!((0..3).all(|k| (points.points()[i][k] - place[k]).abs() < 1e-9));
            for (j, t) in asked.into_iter().enumerate() {
                let (one, other) = (solved.unknowns_of(s).unwrap().place, solved.unknowns_of(t).unwrap().place);
                // Axes of the first frame by axes of their own.
                let of = |station: usize| {
                    let own = solved.frame_of(station).unwrap();
                    let axis = |r: usize, k: usize| (0..3).map(|x| frame.axes()[r][x] * own.axes()[k][x]).sum::<f64>();
                    [0, 1, 2].map(|r| [0, 1, 2].map(|k| axis(r, k)))
                };
                let (by_one, by_other) = (of(s), of(t));
                let got = points.covariance_between(i, j);
                for (r, row) in got.into_iter().enumerate() {
                    for (c, got) in row.into_iter().enumerate() {
                        let want: f64 = (0..9).map(|k| by_one[r][k / 3] * q[one[k / 3]][other[k % 3]] * by_other[c][k % 3]).sum();
                        assert!((got - want).abs() < ROUNDING_M2, "{s} {t} {r} {c}: {got} {want}");
                    }
                }
            }
        }
        assert!(solved.correlated_points(&[99]).is_none() && solved.correlated_points(&[]).is_none());
        let covariance = solved.correlated();
        let which = [0, 5, q.len() - 1, 14];
        for (k, got) in covariance.covariance(&which).into_iter().enumerate() {
            assert!((got - q[which[k / 4]][which[k % 4]]).abs() < ROUNDING_M2);
        }
    }

    /// A fixed point has no covariance with anything, and a shot from it the errors of its azimuths alone.
    #[test]
    fn a_fixed_point_moves_nothing() {
        let network = every_kind();
        let adjustment = adjust(&network, &Settings::default()).unwrap();
        let solved = &adjustment.solved[0];
        let points = solved.correlated_points(&[0, 1]).unwrap();
        for (i, j) in [(0, 0), (0, 1), (1, 0)] {
            assert!(points.covariance_between(i, j).iter().flatten().all(|element| *element == 0.0));
        }
        assert!(points.covariance_between(1, 1)[0][0] > 0.0);
        let sight = Sight {
            true_azimuth_rad: 0.0,
            triangle: Triangle::HorizontalVertical { horizontal_m: 100.0, vertical_m: 0.0 },
            instrument_height_m: 0.0,
            target_height_m: 0.0,
            refraction: 0.0,
        };
        let exact = SightSigmas { azimuth_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };
        let (_, covariance) = solved.carry(0, &reduce(&sight, &exact, 6.371e6)).unwrap();
        let turn = solved.station(0).unwrap().orientation.unwrap();
        // Aside by 100 m times the error of what is added to its azimuths, nearly all of it east: it is turned by less than a thousandth.
        assert!((covariance.ee.sqrt() / (100.0 * turn.sigma) - 1.0).abs() < 1e-3, "{covariance:?} {turn:?}");
        assert!(covariance.nn < 1e-4 * covariance.ee && covariance.uu < 1e-4 * covariance.ee);
    }

    /// Covariances are told by source from either way; an unknown that there is not has none.
    #[test]
    fn covariances_by_source_come_from_either_way() {
        let network = turned_sample();
        let adjustment = adjust(&network, &Settings::default()).unwrap();
        let inner = &adjustment.solved[0].inner;
        let of = |parted: Option<Arc<Parted>>, by_station: Option<Arc<ByStation>>| OfUnknowns {
            factor: Arc::clone(&inner.factor),
            inverse: Arc::clone(&inner.inverse),
            parted,
            by_station,
        };
        let local: Vec<u32> = (0..network.stations.len() as u32).collect();
        let mut equations = Equations::list(&network, &inner.component, &inner.layout, &local, &inner.state);
        equations.linearise(&inner.state);
        let mut solver = crate::network::solution::Solver::prepare(&equations, &inner.layout).unwrap();
        let split = ByStation::split(&mut solver, &mut equations, &inner.layout, &inner.factor, &inner.inverse);
        let which = adjustment.solved[0].unknowns_of(5).unwrap().place;
        let ways = [of(inner.parted.clone(), None), of(None, split.map(Arc::new))];
        for way in &ways {
            let parts = way.parted(&which).unwrap();
            assert_eq!(parts.len(), 8);
            let sum: f64 = parts.iter().map(|(_, part)| part[0]).sum();
            assert!((sum / way.covariance(&which)[0] - 1.0).abs() < 1e-6, "{sum}");
        }
        assert!(of(None, None).parted(&which).is_none());
        let none = inner.layout.size;
        let got = ways[0].covariance(&[which[0], none]);
        assert!(got[0] > 0.0 && got[1..] == [0.0; 3], "{got:?}");
        assert_eq!(inner.column(none as u32), vec![0.0; none]);
    }

    /// A shot from an adjusted base: its place by turning the shot by hand, its covariance by the derivatives of that place by each unknown of the base and by the
    /// shot's own readings.
    #[test]
    fn a_shot_is_carried_with_the_errors_of_its_base() {
        let network = turned_sample();
        let adjustment = adjust(&network, &Settings::default()).unwrap();
        let solved = &adjustment.solved[0];
        let q = whole_inverse(&network, solved);
        let (azimuth, inclination_rad, slope_m) = (0.7, 0.2, 500.0);
        let reduced = |azimuth: f64| {
            let sight = Sight {
                true_azimuth_rad: azimuth,
                triangle: Triangle::Slope { slope_m, inclination_rad },
                instrument_height_m: 1.5,
                target_height_m: 0.3,
                refraction: 0.13,
            };
            reduce(&sight, &SightSigmas { azimuth_rad: 0.002, inclination_rad: 0.003, distance_m: 0.2 }, 6.371e6)
        };
        for base in [0, 2] {
            let (position, covariance) = solved.carry(base, &reduced(azimuth)).unwrap();
            let unknowns = solved.unknowns_of(base).unwrap();
            assert_eq!((unknowns.place.len(), unknowns.azimuths.len()), (3, 3));
            let turn: f64 = unknowns.azimuths.iter().map(|k| solved.inner.state.others[*k]).sum();
            assert!(turn.abs() > 1e-3);
            let frame = solved.frame_of(base).unwrap();
            // A place of the base, moved, and an azimuth that is turned further.
            let at = |moved: [f64; 3], turn: f64| {
                let shot = reduced(azimuth + turn);
                frame.to_earth_centred([shot.east_m + moved[0], shot.north_m + moved[1], shot.up_m.unwrap() + moved[2]])
            };
            let want = at([0.0; 3], turn);
            assert!((0..3).all(|k| (position[k] - want[k]).abs() < 1e-6), "{position:?} {want:?}");
            let own = LocalFrame::at(&Geodetic::from_earth_centred(position, &network.ellipsoid), &network.ellipsoid);
            let slopes: Vec<(usize, [f64; 3])> = (0..6)
                .map(|k| {
                    let place = |step: f64| match k {
                        0..3 => own.from_earth_centred(at(std::array::from_fn(|axis| if axis == k { step } else { 0.0 }), turn)),
                        _ => own.from_earth_centred(at([0.0; 3], turn + step)),
                    };
                    let (plus, minus) = (place(1e-4), place(-1e-4));
                    let unknown = if k < 3 { unknowns.place[k] } else { unknowns.azimuths[k - 3] };
                    (unknown, std::array::from_fn(|axis| (plus[axis] - minus[axis]) / 2e-4))
                })
                .collect();
            // The shot's own covariance in the base's frame, and from there to the point's own.
            let shot = reduced(azimuth + turn).own();
            let shot = [[shot.ee, shot.en, shot.eu], [shot.en, shot.nn, shot.nu], [shot.eu, shot.nu, shot.uu]];
            let axis = |r: usize, k: usize| (0..3).map(|x| own.axes()[r][x] * frame.axes()[k][x]).sum::<f64>();
            let got = [
                [covariance.ee, covariance.en, covariance.eu],
                [covariance.en, covariance.nn, covariance.nu],
                [covariance.eu, covariance.nu, covariance.uu],
            ];
            for r in 0..3 {
                for c in 0..3 {
                    let of_base: f64 = slopes
                        .iter()
                        .map(|(a, by)| slopes.iter().map(|(b, other)| by[r] * q[*a][*b] * other[c]).sum::<f64>())
                        .sum();
                    let of_shot: f64 = (0..9).map(|k| axis(r, k / 3) * shot[k / 3][k % 3] * axis(c, k % 3)).sum();
                    // Differences over 500 m leave a millionth of some square metres.
                    assert!((got[r][c] - of_base - of_shot).abs() < 1e-5, "{base} {r} {c}: {} {of_base} {of_shot}", got[r][c]);
                }
            }
        }
        assert!(solved.carry(99, &reduced(azimuth)).is_none());
    }
}
