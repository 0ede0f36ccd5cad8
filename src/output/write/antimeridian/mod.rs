//! Shapes on the globe as longitude and latitude: lines and rings cut at ±180° (RFC 7946, section 3.1.9), rings round a pole closed along
//! ±90°, and the bbox that is narrow across ±180° (section 5.2).
//!
//! An edge between two vertices is the shorter way round. It meets a meridian where the chord through the earth does, which for the lengths
//! of a survey is where the geodesic does. Straight lines between longitudes and latitudes, which is how maps draw an edge, leave that way
//! where an edge spans many degrees of longitude, as beside a pole: such edges get points in between, [`STEP_DEG`] apart.
//! A vertex at the pole itself stands at the longitudes of both its neighbours.

mod ring;
#[cfg(test)]
mod tests;

use crate::geodesy::crs::{Crs, CrsKind};
use crate::geodesy::frame::{Ellipsoid, Geodetic};
use crate::job::catalogue::GeometryKind;
use crate::output::columns::Position;

/// Longest edge in longitude that is left straight. Over it a chord leaves its parallel by 4 parts in 100,000 of the distance from the pole.
const STEP_DEG: f64 = 1.0;

/// A latitude that is a pole's, in parts of a quarter turn: a tenth of a millimetre from it.
const POLAR: f64 = 1.0 - 1e-11;

/// A point of a shape on the globe.
pub trait Corner: Copy {
    /// Longitude and latitude, in the unit of the globe.
    fn at(&self) -> [f64; 2];
    /// The same, somewhere else.
    fn moved(&self, at: [f64; 2]) -> Self;
    /// Between this (0) and another (1), in all but its place.
    fn between(&self, other: &Self, share: f64) -> Self;
}

/// Longitude, latitude and height.
pub type GlobePoint = [f64; 3];

impl Corner for GlobePoint {
    fn at(&self) -> [f64; 2] {
        [self[0], self[1]]
    }

    fn moved(&self, [lon, lat]: [f64; 2]) -> GlobePoint {
        [lon, lat, self[2]]
    }

    fn between(&self, other: &GlobePoint, share: f64) -> GlobePoint {
        [self[0], self[1], self[2] + share * (other[2] - self[2])]
    }
}

impl Corner for Position {
    fn at(&self) -> [f64; 2] {
        [self.x, self.y]
    }

    fn moved(&self, [x, y]: [f64; 2]) -> Position {
        Position { x, y, ..*self }
    }

    fn between(&self, other: &Position, share: f64) -> Position {
        let mix = |a: f64, b: f64| a + share * (b - a);
        Position {
            z: mix(self.z, other.z),
            ellipsoid_height_m: mix(self.ellipsoid_height_m, other.ellipsoid_height_m),
            stand_in_z: mix(self.stand_in_z, other.stand_in_z),
            ..*self
        }
    }
}

/// The globe as longitudes and latitudes count it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Globe {
    /// Half a turn: 180 in degrees, 200 in gon.
    pub half_turn: f64,
}

/// Degrees.
pub const DEGREES: Globe = Globe { half_turn: 180.0 };

impl Globe {
    /// That of the layers' CRS; none where it has eastings and northings.
    pub fn from_crs(crs: &Crs) -> Option<Globe> {
        (crs.kind() == CrsKind::Geographic).then(|| Globe { half_turn: std::f64::consts::PI / crs.unit_factor() })
    }

    /// A difference of longitudes by the shorter way.
    fn short(self, difference: f64) -> f64 {
        (difference + self.half_turn).rem_euclid(2.0 * self.half_turn) - self.half_turn
    }

    fn step(self) -> f64 {
        STEP_DEG / 180.0 * self.half_turn
    }

    fn is_pole(self, lat: f64) -> bool {
        lat.abs() >= 0.5 * self.half_turn * POLAR
    }

    /// Whether a shape can stay as it is: no edge over ±180° and none that spans many degrees.
    fn is_plain<C: Corner>(self, points: &[C]) -> bool {
        points.windows(2).all(|pair| (pair[0].at()[0] - pair[1].at()[0]).abs() <= self.step())
            && points.iter().all(|point| !self.is_pole(point.at()[1]))
    }

    /// The parts of a line.
    pub fn line<C: Corner>(self, points: &[C]) -> Vec<Vec<C>> {
        if self.is_plain(points) {
            return vec![points.to_vec()];
        }
        let mut whole = self.unrolled(points);
        let mut parts = Vec::new();
        for edge in self.edges_between(&whole) {
            let (before, behind) = self.split_line(whole, edge);
            parts.extend(before);
            whole = behind;
        }
        parts.push(whole);
        parts.retain(|part| part.len() > 1);
        parts.into_iter().map(|part| self.rolled(part)).collect()
    }

    /// The rings of an area, each closed and against the clock; `points` closes on its first one.
    pub fn rings<C: Corner>(self, points: &[C]) -> Vec<Vec<C>> {
        if self.is_plain(points) {
            return vec![points.to_vec()];
        }
        ring::cut(self, points)
    }

    /// Longitudes that go on without a jump: each that of the one before plus the shorter way. Points at a pole and edges that span many
    /// degrees are taken apart.
    fn unrolled<C: Corner>(self, points: &[C]) -> Vec<C> {
        let spread = self.at_poles(points);
        let mut unrolled: Vec<C> = Vec::with_capacity(spread.len());
        for point in spread {
            let [lon, lat] = point.at();
            let Some(last) = unrolled.last().copied() else {
                unrolled.push(point.moved([self.short(lon), lat]));
                continue;
            };
            let from = last.at()[0];
            let to = point.moved([from + self.short(lon - from), lat]);
            self.fill(&mut unrolled, &last, &to);
            unrolled.push(to);
        }
        unrolled
    }

    /// A point at a pole as two, at the longitudes of its neighbours.
    fn at_poles<C: Corner>(self, points: &[C]) -> Vec<C> {
        let is_pole = |point: &&C| self.is_pole(point.at()[1]);
        let mut spread = Vec::with_capacity(points.len());
        for (i, point) in points.iter().enumerate() {
            if !is_pole(&point) {
                spread.push(*point);
                continue;
            }
            let before = points[..i].iter().rev().find(|point| !is_pole(point));
            let behind = points[i + 1..].iter().find(|point| !is_pole(point));
            let lat = point.at()[1];
            let sides = [before, behind].into_iter().flatten().map(|side| point.moved([side.at()[0], lat]));
            spread.extend(sides);
            if before.is_none() && behind.is_none() {
                spread.push(*point);
            }
        }
        spread
    }

    /// Points between two that are many degrees apart.
    fn fill<C: Corner>(self, filled: &mut Vec<C>, from: &C, to: &C) {
        let span = to.at()[0] - from.at()[0];
        let steps = (span.abs() / self.step()).ceil() as usize;
        for i in 1..steps {
            filled.push(self.at_meridian(from, to, from.at()[0] + span * i as f64 / steps as f64));
        }
    }

    /// The point of an edge, with unrolled ends, at a longitude between them.
    fn at_meridian<C: Corner>(self, from: &C, to: &C, lon: f64) -> C {
        let radians = std::f64::consts::PI / self.half_turn;
        let ellipsoid = Ellipsoid::WGS84;
        let [one, other] = [from, to].map(|end| {
            let [lon, lat] = end.at().map(|angle| angle * radians);
            Geodetic { lat_rad: lat, lon_rad: lon, ellipsoid_height_m: 0.0 }.to_earth_centred(&ellipsoid)
        });
        let (sin, cos) = (lon * radians).sin_cos();
        let across = |p: [f64; 3]| p[0] * sin - p[1] * cos;
        let linear = (lon - from.at()[0]) / (to.at()[0] - from.at()[0]);
        let by_chord = across(one) / (across(one) - across(other));
        // Along a pole there is no chord.
        let is_polar = self.is_pole(from.at()[1]) && self.is_pole(to.at()[1]);
        if is_polar || !(0.0..=1.0).contains(&by_chord) {
            let lat = from.at()[1] + linear * (to.at()[1] - from.at()[1]);
            return from.between(to, linear).moved([lon, lat]);
        }
        let place = std::array::from_fn(|k| one[k] + by_chord * (other[k] - one[k]));
        let lat = Geodetic::from_earth_centred(place, &ellipsoid).lat_rad / radians;
        from.between(to, by_chord).moved([lon, lat])
    }

    /// The unrolled longitudes of ±180° that points lie on both sides of, from west to east.
    fn edges_between<C: Corner>(self, points: &[C]) -> Vec<f64> {
        let lons = || points.iter().map(|point| point.at()[0]);
        let (west, east) = (lons().fold(f64::INFINITY, f64::min), lons().fold(f64::NEG_INFINITY, f64::max));
        let turn = 2.0 * self.half_turn;
        let first = ((west - self.half_turn) / turn).floor() as i64;
        let last = ((east - self.half_turn) / turn).ceil() as i64;
        let edges = (first..=last).map(|k| self.half_turn + turn * k as f64);
        edges.filter(|edge| west < *edge && *edge < east).collect()
    }

    /// A line cut at every place where it crosses an edge: all parts but the last, and the last.
    fn split_line<C: Corner>(self, points: Vec<C>, edge: f64) -> (Vec<Vec<C>>, Vec<C>) {
        let sides = sides(&points, edge);
        let (mut parts, mut part): (Vec<Vec<C>>, Vec<C>) = (Vec::new(), Vec::new());
        for (i, point) in points.iter().enumerate() {
            if i > 0 && sides[i] != sides[i - 1] {
                let meeting = self.at_meridian(&points[i - 1], point, edge);
                push_apart(&mut part, meeting);
                parts.push(std::mem::take(&mut part));
                part.push(meeting);
            }
            push_apart(&mut part, *point);
        }
        (parts, part)
    }

    /// Unrolled longitudes brought back to ±180°, all by the same number of turns.
    fn rolled<C: Corner>(self, points: Vec<C>) -> Vec<C> {
        let lons = || points.iter().map(|point| point.at()[0]);
        let middle = 0.5 * (lons().fold(f64::INFINITY, f64::min) + lons().fold(f64::NEG_INFINITY, f64::max));
        let turns = ((middle + self.half_turn) / (2.0 * self.half_turn)).floor();
        let shift = -turns * 2.0 * self.half_turn;
        points.into_iter().map(|point| point.moved([point.at()[0] + shift, point.at()[1]])).collect()
    }
}

/// On which side of a longitude each point lies: true for east. A point on it lies where the one before does, so that a touch is
/// no crossing.
fn sides<C: Corner>(points: &[C], edge: f64) -> Vec<bool> {
    let off = |point: &C| Some(point.at()[0] - edge).filter(|off| *off != 0.0).map(|off| off > 0.0);
    let mut side = points.iter().find_map(off).unwrap_or(false);
    points
        .iter()
        .map(|point| {
            side = off(point).unwrap_or(side);
            side
        })
        .collect()
}

/// Adds a point that is not the last one again.
fn push_apart<C: Corner>(points: &mut Vec<C>, point: C) {
    if points.last().is_none_or(|last| last.at() != point.at()) {
        points.push(point);
    }
}

/// The parts of a shape: the whole, or what it was cut to.
pub struct CutParts<'p> {
    whole: Option<&'p [Position]>,
    cut: Vec<Vec<Position>>,
}

impl CutParts<'_> {
    /// Each of them.
    pub fn iter(&self) -> impl Iterator<Item = &[Position]> {
        self.whole.into_iter().chain(self.cut.iter().map(Vec::as_slice))
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        usize::from(self.whole.is_some()) + self.cut.len()
    }
}

/// The parts of a shape as a format in the layers' CRS has them: on a globe cut at ±180°, else the whole.
pub fn parts(globe: Option<Globe>, kind: GeometryKind, positions: &[Position]) -> CutParts<'_> {
    let cut = match (globe, kind) {
        (Some(globe), GeometryKind::Line) if !globe.is_plain(positions) => globe.line(positions),
        (Some(globe), GeometryKind::Area) if !globe.is_plain(positions) => globe.rings(positions),
        _ => return CutParts { whole: Some(positions), cut: Vec::new() },
    };
    CutParts { whole: None, cut }
}

/// West and east edge of longitudes as they come.
#[derive(Debug, Clone, Copy, Default)]
pub struct Longitudes {
    /// Least and greatest of those from 0 to 180.
    eastern: Option<(f64, f64)>,
    /// Least and greatest of those below 0.
    western: Option<(f64, f64)>,
    /// Whether an edge goes over the meridian of 0.
    spans_zero: bool,
}

impl Longitudes {
    /// Takes a longitude in.
    pub fn see(&mut self, lon: f64) {
        let half = if lon < 0.0 { &mut self.western } else { &mut self.eastern };
        let (least, greatest) = half.get_or_insert((lon, lon));
        *least = least.min(lon);
        *greatest = greatest.max(lon);
    }

    /// Takes in an edge between two longitudes that were taken in, once shapes are cut at ±180°.
    pub fn see_edge(&mut self, from: f64, to: f64) {
        self.spans_zero |= (from < 0.0) != (to < 0.0) && (from - to).abs() < 180.0;
    }

    /// From the least to the greatest, as longitudes count.
    pub fn breadth(&self) -> Option<f64> {
        let (low, high) = (self.western.or(self.eastern)?.0, self.eastern.or(self.western)?.1);
        Some(high - low)
    }

    /// West and east edge; west is greater than east where it is narrower across ±180°. What also lies over the meridian of 0, as what is
    /// round a pole, goes from the least to the greatest (section 5.3).
    pub fn edges(&self) -> Option<(f64, f64)> {
        match (self.western, self.eastern) {
            (None, half) | (half, None) => half,
            (Some(west), Some(east)) if self.spans_zero || east.1 - west.0 <= west.1 + 360.0 - east.0 => Some((west.0, east.1)),
            (Some(west), Some(east)) => Some((east.0, west.1)),
        }
    }
}
