//! A base as shots start from it, and what it errs by: arms of its position, and entries of its orientation.

use std::sync::Arc;

use super::source::{BySource, ErrorSource};
use super::{Arm, Cause, ErrorId, Register, Shares, add_arm, covariance_of};
use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{Ellipsoid, LocalFrame};
use crate::numeric::cholesky::semi_root;

/// Where shots start from: a base without what only PROJ needs.
#[derive(Debug, Clone)]
pub struct Origin {
    /// Name for people.
    pub label: String,
    /// East, north, up at the base's ground point.
    pub frame: LocalFrame,
    /// The ellipsoid of its datum.
    pub ellipsoid: Ellipsoid,
    /// What it errs by.
    pub errors: BaseErrors,
    /// Mean radius of the earth at the base, in metres.
    pub earth_radius_m: f64,
}

/// The errors of a base that its shots share.
#[derive(Debug, Clone)]
pub struct BaseErrors {
    /// Number of the base.
    number: usize,
    /// Arms of its position, the steps between datums among them.
    position: Vec<Arm>,
    /// The entries of its azimuths' error where sights or a network found its orientation, with radians by one standard error; none where
    /// azimuths are as they are read.
    found: Option<Vec<(ErrorId, f64)>>,
    /// Standard error of the orientation of the set-up where it was not found, in radians.
    setup_rad: f64,
    register: Arc<Register>,
    /// Covariance of the position, the variance of what was found, and the covariance of both in metres times radians.
    covariance: Covariance,
    found_rad2: f64,
    found_with_position: [f64; 3],
    /// The same by source.
    by_source: Vec<OfSource>,
}

/// What of a base's position and of its orientation, as far as it was found, comes from one source.
#[derive(Debug, Clone)]
struct OfSource {
    source: ErrorSource,
    /// Variances of the position in east, north and up.
    position_m2: [f64; 3],
    found_rad2: f64,
    found_with_position: [f64; 3],
}

/// By source: the arms of the position, and the entries that turn azimuths with their radians in the east of `turning`.
fn by_source(position: &[Arm], turning: &[Arm], register: &Register) -> Vec<OfSource> {
    let mut made: Vec<OfSource> = Vec::new();
    let mut add = |source: ErrorSource, [one, other]: [([f64; 3], f64); 2], times: f64| {
        let at = made.iter().position(|of| of.source == source).unwrap_or_else(|| {
            made.push(OfSource { source, position_m2: [0.0; 3], found_rad2: 0.0, found_with_position: [0.0; 3] });
            made.len() - 1
        });
        let of = &mut made[at];
        of.position_m2 = std::array::from_fn(|k| of.position_m2[k] + times * one.0[k] * other.0[k]);
        of.found_with_position = std::array::from_fn(|k| of.found_with_position[k] + times * one.0[k] * other.1);
        of.found_rad2 += times * one.1 * other.1;
    };
    let moves = position.iter().map(|(id, arm)| {
        let turn = turning.iter().find(|(known, _)| known == id);
        (*id, (*arm, turn.map_or(0.0, |(_, [radians, _, _])| *radians)))
    });
    let turns = turning.iter().filter(|(id, _)| !position.iter().any(|(known, _)| known == id));
    let entries: Vec<(ErrorId, ([f64; 3], f64))> =
        moves.chain(turns.map(|(id, [radians, _, _])| (*id, ([0.0; 3], *radians)))).collect();
    let of = |id: &ErrorId| (id.cause() == Cause::Network).then(|| id.owner());
    entries
        .iter()
        .filter(|(id, _)| of(id).is_none())
        .for_each(|(id, by)| add(ErrorSource::from_cause(id.cause()), [*by; 2], 1.0));
    for network in 0..register.networks.len() {
        let entries: Vec<&(ErrorId, ([f64; 3], f64))> = entries.iter().filter(|(id, _)| of(id) == Some(network)).collect();
        if entries.is_empty() {
            continue;
        }
        let which: Vec<usize> = entries.iter().map(|(id, _)| id.which()).collect();
        for (source, matrix) in register.parted(network, &which) {
            for ((_, one), row) in entries.iter().zip(matrix.chunks(which.len())) {
                entries.iter().zip(row).for_each(|((_, other), element)| add(source, [*one, *other], *element));
            }
        }
    }
    made
}

impl BaseErrors {
    /// By arms and entries. `setup_rad` is the standard error of the orientation where nothing found it.
    pub fn new(
        number: usize,
        position: Vec<Arm>,
        found: Option<Vec<(ErrorId, f64)>>,
        setup_rad: f64,
        register: Arc<Register>,
    ) -> BaseErrors {
        let mut independent = position.clone();
        // The orientation as one more axis: its arms ride in "east".
        let mut turning: Vec<Arm> = found.iter().flatten().map(|(id, radians)| (*id, [*radians, 0.0, 0.0])).collect();
        let by_source = by_source(&independent, &turning, &register);
        register.independent(&mut [&mut independent, &mut turning]);
        let mut found_with_position = [0.0; 3];
        for (id, [radians, _, _]) in &turning {
            if let Some((_, arm)) = independent.iter().find(|(known, _)| known == id) {
                found_with_position = std::array::from_fn(|k| found_with_position[k] + arm[k] * radians);
            }
        }
        let (covariance, found_rad2) = (covariance_of(&independent), covariance_of(&turning).ee);
        BaseErrors { number, position, found, setup_rad, register, covariance, found_rad2, found_with_position, by_source }
    }

    /// Of a position with a covariance, independent of all else.
    pub fn from_covariance(number: usize, covariance: &Covariance, setup_rad: f64) -> BaseErrors {
        BaseErrors::new(number, position_arms(number, covariance), None, setup_rad, Arc::default())
    }

    /// Covariance of the position, shared by all its shots.
    pub fn covariance(&self) -> Covariance {
        self.covariance
    }

    /// Arms of the position.
    pub fn position(&self) -> &[Arm] {
        &self.position
    }

    /// The register whose entries these are.
    pub fn register(&self) -> &Arc<Register> {
        &self.register
    }

    /// The entries of the error of azimuths of readings with these shares, with radians by one standard error of each.
    pub fn azimuth(&self, shares: &Shares) -> Vec<(ErrorId, f64)> {
        if let Some(found) = &self.found {
            return found.clone();
        }
        let as_read = [
            (ErrorId::new(Cause::Setup, self.number, 0), self.setup_rad),
            (ErrorId::new(Cause::Declination, shares.declination as usize, 0), shares.declination_rad),
            (ErrorId::new(Cause::AzimuthCorrection, shares.calibration as usize, 0), shares.azimuth_rad),
        ];
        as_read.into_iter().filter(|(_, radians)| *radians != 0.0).collect()
    }

    /// The same as entries that hang together with nothing but by [`BaseErrors::azimuth_with_position`]: what was found of the orientation is one.
    pub fn azimuth_alone(&self, shares: &Shares) -> Vec<(ErrorId, f64)> {
        match self.found {
            Some(_) => vec![(ErrorId::new(Cause::Sights, self.number, 1), self.found_rad2.sqrt())],
            None => self.azimuth(shares),
        }
    }

    /// Variance of that error.
    pub fn azimuth_rad2(&self, shares: &Shares) -> f64 {
        match self.found {
            Some(_) => self.found_rad2,
            None => {
                let Shares { declination_rad, azimuth_rad, .. } = shares;
                self.setup_rad * self.setup_rad + declination_rad * declination_rad + azimuth_rad * azimuth_rad
            }
        }
    }

    /// Covariance of the position and that error, in metres times radians.
    pub fn azimuth_with_position(&self) -> [f64; 3] {
        self.found_with_position
    }

    /// The variance of azimuths by cause: of the set-up, of the declination, of the instrument's correction, of what was found.
    pub fn azimuth_by_cause_rad2(&self, shares: &Shares) -> [f64; 4] {
        match self.found {
            Some(_) => [0.0, 0.0, 0.0, self.found_rad2],
            None => [self.setup_rad.powi(2), shares.declination_rad.powi(2), shares.azimuth_rad.powi(2), 0.0],
        }
    }

    /// The variance of a point that turns with the base's azimuths by `by_azimuth_m`, metres a radian, by source: in closed form what
    /// [`BaseErrors::arms`] come to.
    pub fn by_source(&self, by_azimuth_m: [f64; 3], shares: &Shares) -> BySource {
        let mut made = BySource::default();
        for of in &self.by_source {
            let variance = |k: usize| {
                let by = by_azimuth_m[k];
                of.position_m2[k] + by * (2.0 * of.found_with_position[k] + by * of.found_rad2)
            };
            made.add(of.source, [variance(0), variance(1), variance(2)]);
        }
        let [setup, declination, correction, _] = self.azimuth_by_cause_rad2(shares);
        for (source, rad2) in [
            (ErrorSource::Orientations, setup),
            (ErrorSource::Declination, declination),
            (ErrorSource::AzimuthCorrections, correction),
        ] {
            made.add(source, by_azimuth_m.map(|by| by * by * rad2));
        }
        made
    }

    /// The arms of a point that turns with the base's azimuths by `by_azimuth_m`, metres a radian.
    pub fn arms(&self, by_azimuth_m: [f64; 3], shares: &Shares) -> Vec<Arm> {
        let mut arms = self.position.clone();
        for (id, radians) in self.azimuth(shares) {
            add_arm(&mut arms, id, by_azimuth_m.map(|metres| metres * radians));
        }
        arms
    }
}

/// Arms of a position with a covariance: the columns of its root.
pub fn position_arms(number: usize, covariance: &Covariance) -> Vec<Arm> {
    let c = covariance;
    let root = semi_root(&[c.ee, c.en, c.eu, c.en, c.nn, c.nu, c.eu, c.nu, c.uu], 3);
    let column = |k: usize| std::array::from_fn(|r| root[3 * r + k]);
    let arms = (0..3).map(|k| (ErrorId::new(Cause::Position, number, k), column(k)));
    arms.filter(|(_, arm)| *arm != [0.0; 3]).collect()
}
