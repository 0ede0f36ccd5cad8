//! The covariance of each station's unknowns by what it comes from, in networks that are too large for [`super::parted`].
//!
//! The normal equations are the sum over sources, N = Σ N_s, and the part of a source is Q N_s Q, Q = N⁻¹ ([`super::parted`]). Since
//! d(N + λ N_s)⁻¹/dλ = −Q N_s Q at λ = 0 (the derivative of an inverse), it is the difference of two inverses over a small λ, and of each station's unknowns
//! these stand in the blocks of the factor ([`super::inverse`]): a source costs a factor and an inverse, as one step of the adjustment does, however many
//! stations there are. A source of few rows a costs a solution for each, Q a, and is exact. The source of most rows is what the others leave of Q.

use std::collections::HashMap;

use super::cholesky::Factor;
use super::equations::{EquationRow, Equations};
use super::layout::{Layout, NONE, StationColumns};
use super::parted::source_of;
use super::solution::Solver;
use crate::geodesy::register::ErrorSource as OfError;

/// λ: what is left out is below a thousandth of a part, and rounding is a thousandth of that.
const STEP: f64 = 1e-3;

/// Rows of a source that are solved for each.
const FEW: usize = 16;

/// The parts, by station.
#[derive(Debug)]
pub(crate) struct ByStation {
    sources: Vec<OfError>,
    /// The station of an unknown that is of one alone.
    station_of: HashMap<u32, u32>,
    /// By station: its unknowns, and where its elements begin.
    stations: Vec<(Vec<u32>, usize)>,
    /// By source: the elements of all stations, each by rows.
    parts: Vec<Vec<f64>>,
}

/// The unknowns of a station: its place, and what is added to its azimuths and directions.
fn unknowns(place: &StationColumns) -> Vec<u32> {
    let own = place.first..place.first + u32::from(place.size);
    own.chain(place.turns()).chain([place.directions]).filter(|column| *column != NONE).collect()
}

impl ByStation {
    /// Of a solution, of which the equations are linearised; they are left as they were. None where a factor fails.
    pub fn split(
        solver: &mut Solver,
        equations: &mut Equations,
        layout: &Layout,
        factor: &Factor,
        inverse: &[f64],
    ) -> Option<ByStation> {
        let mut size = 0;
        let with_start = |place: &StationColumns| {
            let unknowns = unknowns(place);
            let start = size;
            size += unknowns.len() * unknowns.len();
            (unknowns, start)
        };
        let stations: Vec<(Vec<u32>, usize)> = layout.places.iter().map(with_start).collect();
        let mut made = ByStation { sources: Vec::new(), station_of: HashMap::new(), stations, parts: Vec::new() };
        for (k, place) in layout.places.iter().enumerate() {
            let alone = (place.first..place.first + u32::from(place.size)).chain([place.azimuths, place.directions]);
            made.station_of.extend(alone.filter(|column| *column != NONE).map(|column| (column, k as u32)));
        }
        let mut rows: Vec<(OfError, usize)> = Vec::new();
        for item in equations.items.iter().filter(|item| item.weight > 0.0) {
            let source = source_of(equations.network, item.source);
            match rows.iter_mut().find(|(known, _)| *known == source) {
                Some((_, count)) => *count += item.rows as usize,
                None => rows.push((source, item.rows as usize)),
            }
        }
        rows.sort_by_key(|(_, count)| *count);
        let (most, others) = rows.split_last()?;
        let whole = made.elements(|a, b| factor.element(inverse, a, b))?;
        let mut rest = whole.clone();
        for (source, count) in others {
            let part = match *count <= FEW {
                true => made.solved(equations, factor, *source),
                false => {
                    let network = equations.network;
                    let (factor, inverse) = solver.with_more(equations, STEP, |item| source_of(network, *item) == *source)?;
                    let after = made.elements(|a, b| factor.element(&inverse, a, b))?;
                    whole.iter().zip(after).map(|(before, after)| (before - after) / STEP).collect()
                }
            };
            rest.iter_mut().zip(&part).for_each(|(rest, part)| *rest -= part);
            made.sources.push(*source);
            made.parts.push(part);
        }
        made.sources.push(most.0);
        made.parts.push(rest);
        Some(made)
    }

    /// The covariance of some unknowns by source, each by rows; none of unknowns that are not of one station.
    pub fn covariance(&self, which: &[usize]) -> Option<Vec<(OfError, Vec<f64>)>> {
        let station = which.iter().find_map(|unknown| self.station_of.get(&u32::try_from(*unknown).ok()?))?;
        let (unknowns, start) = self.stations.get(*station as usize)?;
        let places = which.iter().map(|unknown| unknowns.iter().position(|known| *known as usize == *unknown));
        let places: Vec<usize> = places.collect::<Option<_>>()?;
        let parts = self.sources.iter().zip(&self.parts).map(|(source, part)| {
            let element = |r: &usize, c: &usize| part.get(start + r * unknowns.len() + c).copied().unwrap_or(0.0);
            (*source, places.iter().flat_map(|r| places.iter().map(move |c| element(r, c))).collect())
        });
        Some(parts.collect())
    }

    /// The elements of all stations of a matrix.
    fn elements(&self, element: impl Fn(usize, usize) -> Option<f64>) -> Option<Vec<f64>> {
        let of_station = |(unknowns, _): &(Vec<u32>, usize)| {
            let pairs = unknowns.iter().flat_map(|a| unknowns.iter().map(move |b| (*a as usize, *b as usize)));
            pairs.collect::<Vec<_>>()
        };
        self.stations.iter().flat_map(of_station).map(|(a, b)| element(a, b)).collect()
    }

    /// The part of a source of few rows.
    fn solved(&self, equations: &Equations, factor: &Factor, source: OfError) -> Vec<f64> {
        let items =
            equations.items.iter().filter(|item| item.weight > 0.0 && source_of(equations.network, item.source) == source);
        let rows: Vec<(EquationRow, f64)> = items
            .flat_map(|item| {
                let of_item = equations.rows.iter().skip(item.first as usize).take(item.rows as usize);
                of_item.map(|row| (*row, item.weight))
            })
            .collect();
        let columns: Vec<(Vec<f64>, f64)> = rows
            .into_iter()
            .map(|(row, weight)| {
                let mut right = vec![0.0; factor.size()];
                for (column, partial) in row.entries() {
                    right.iter_mut().skip(column).take(1).for_each(|sum| *sum += partial);
                }
                (factor.solve(&right), weight)
            })
            .collect();
        let element = |a: usize, b: usize| {
            let products = columns.iter().map(|(column, weight)| Some(weight * column.get(a)? * column.get(b)?));
            products.sum::<Option<f64>>()
        };
        self.elements(element).unwrap_or_default()
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::geodesy::covariance::Covariance;
    use crate::geodesy::frame::{Ellipsoid, Geodetic, LocalFrame};
    use crate::network::adjust;
    use crate::network::equations::tests::every_kind;
    use crate::network::equations::{Equations, WeightedRows};
    use crate::network::parted::Parted;
    use crate::network::types::{Control, Kind, Network, Observation, Settings, SharedError, Station};

    /// Four known bases that see each other and seven features, each feature from three of them: azimuths with an orientation of each base, one
    /// declination and one correction; inclinations and slope distances with a correction of the distances.
    pub(crate) fn sample() -> Network {
        let ellipsoid = Ellipsoid::WGS84;
        let frame = LocalFrame::at(&Geodetic { lat_rad: 0.8, lon_rad: 0.2, ellipsoid_height_m: 300.0 }, &ellipsoid);
        let bases = [[0.0, 0.0, 0.0], [200.0, 30.0, 5.0], [180.0, 240.0, -4.0], [-20.0, 190.0, 8.0]];
        let features = (0..7).map(|k| {
            let turn = 0.9 * f64::from(k);
            [90.0 + 70.0 * turn.cos(), 110.0 + 60.0 * turn.sin(), 3.0 * f64::from(k)]
        });
        let points: Vec<[f64; 3]> = bases.into_iter().chain(features).collect();
        let covariance = Covariance { ee: 0.09, nn: 0.04, uu: 0.25, en: 0.02, eu: 0.01, nu: -0.03 };
        let stations = points.iter().enumerate().map(|(k, point)| {
            let position = frame.to_earth_centred(*point);
            Station {
                label: format!("S{k}"),
                start: Some(position),
                control: (k < 4).then_some(Control { position, covariance }),
                sigma_orientation_rad: 0.004,
            }
        });
        let mut observations = Vec::new();
        for from in 0..4 {
            for to in (0..points.len()).filter(|to| *to != from && (*to < 4 || (*to + from) % 4 != 0)) {
                let own =
                    LocalFrame::at(&Geodetic::from_earth_centred(frame.to_earth_centred(points[from]), &ellipsoid), &ellipsoid);
                let [e, n, u] = own.from_earth_centred(frame.to_earth_centred(points[to]));
                let run = e.hypot(n);
                for (kind, value, sigma, shared) in [
                    (Kind::Azimuth, e.atan2(n), 0.003, [Some(0), Some(1)]),
                    (Kind::Inclination, u.atan2(run), 0.002, [None; 2]),
                    (Kind::Slope, run.hypot(u), 0.1, [Some(2), None]),
                ] {
                    let source = observations.len() / 3;
                    let (instrument_height_m, target_height_m, instrument) = (0.0, 0.0, None);
                    observations.push(Observation {
                        kind,
                        from,
                        to,
                        value,
                        sigma,
                        instrument_height_m,
                        target_height_m,
                        instrument,
                        shared,
                        source,
                    });
                }
            }
        }
        let shared = [("the declination", 0.005), ("the azimuth correction", 0.006), ("the distance correction", 0.2)];
        Network {
            ellipsoid,
            refraction: 0.0,
            stations: stations.collect(),
            instruments: Vec::new(),
            shared: shared.into_iter().map(|(label, sigma)| SharedError { label: label.into(), sigma }).collect(),
            observations,
        }
    }

    /// The parts of each station's place and turns against those by a solution for each unknown, which are exact; so are those of sources of few rows.
    #[test]
    fn as_by_solutions_for_each_unknown() {
        for network in [sample(), every_kind()] {
            let adjustment = adjust(&network, &Settings::default()).unwrap();
            let solved = &adjustment.solved[0];
            let inner = &solved.inner;
            let local: Vec<u32> = (0..network.stations.len() as u32).collect();
            let mut equations = Equations::list(&network, &inner.component, &inner.layout, &local, &inner.state);
            equations.linearise(&inner.state);
            // Of a position some weigh half, one reading is taken out.
            let count = equations.items.len();
            (equations.items[0].weight, equations.items[count - 1].weight) = (0.5, 0.0);
            let mut solver = Solver::prepare(&equations, &inner.layout).unwrap();
            let (factor, inverse) = solver.with_more(&mut equations, 0.0, |_| false).unwrap();
            let found = ByStation::split(&mut solver, &mut equations, &inner.layout, &factor, &inverse).unwrap();
            assert_eq!(
                (equations.items[0].weight, equations.items[1].weight, equations.items[count - 1].weight),
                (0.5, 1.0, 0.0)
            );
            let parted = Parted::split(&equations, inner.layout.size).unwrap();
            let mut few = 0;
            for station in 0..network.stations.len() {
                let unknowns = solved.unknowns_of(station).unwrap();
                let which: Vec<usize> = unknowns.place.into_iter().chain(unknowns.azimuths).chain(unknowns.directions).collect();
                let want = parted.covariance(&factor, &which);
                let got = found.covariance(&which).unwrap();
                assert_eq!(got.len(), want.len());
                let whole: Vec<f64> =
                    (0..which.len()).map(|k| want.iter().map(|(_, part)| part[k * which.len() + k]).sum()).collect();
                for (source, part) in &want {
                    let (_, other) = got.iter().find(|(known, _)| known == source).unwrap();
                    let of_source = |item: &&WeightedRows| item.weight > 0.0 && source_of(&network, item.source) == *source;
                    let rows: usize = equations.items.iter().filter(of_source).map(|item| item.rows as usize).sum();
                    // A thousandth of the whole of both unknowns, or rounding.
                    let within = if rows <= FEW { 1e-7 } else { STEP };
                    few += usize::from(rows <= FEW);
                    for (i, (a, b)) in part.iter().zip(other).enumerate() {
                        let scale = (whole[i / which.len()] * whole[i % which.len()]).sqrt();
                        assert!((a - b).abs() <= within * scale, "{source:?} {station} {i}: {a} {b}, of {scale}");
                    }
                }
            }
            assert!(few > network.stations.len());
            // Unknowns of two stations, one of none, and one that there is not.
            let other = inner.layout.places[3].first as usize;
            assert!(found.covariance(&[other, other + 6]).is_none() && found.covariance(&[inner.layout.size]).is_none());
            assert!(found.covariance(&[]).is_none());
        }
    }

    #[test]
    fn unknowns_of_a_station() {
        let place = |size: u8, azimuths: u32, directions: u32, turned_by: [u32; 2]| StationColumns {
            first: 4,
            size,
            azimuths,
            directions,
            turned_by,
        };
        assert_eq!(unknowns(&place(3, 7, 8, [20, 21])), [4, 5, 6, 7, 20, 21, 8]);
        assert_eq!(unknowns(&place(2, NONE, NONE, [20, NONE])), [4, 5, 20]);
        assert!(unknowns(&place(0, NONE, NONE, [NONE; 2])).is_empty());
    }
}
