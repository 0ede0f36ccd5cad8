//! The orientation of a base from sights to points of known position, and what fore and back azimuths
//! of one line tell of local attraction.
//!
//! A sight to a known point gives the correction of the base's azimuths: true azimuth by the positions −
//! measured azimuth. It holds what is wrong with the declination, the compass and the ground together,
//! so that its standard error stands in place of the declination's. One sight: σ² = σ_A² + (σ_T/d)² +
//! (σ_B/d)², with σ_A of the reading, σ_T and σ_B of target and base across the line of length d. Several: the
//! mean weighted by 1/σ², wᵢ of a sum of 1.
//!
//! The errors p of base and q of target (east, north) are no errors of their own here, but those that move all that starts from them: the azimuth
//! computed to target i answers to p with gᵢ p and to q with −gᵢ q, gᵢ = (−cos Aᵢ, sin Aᵢ)/dᵢ (the differential of atan2). So the mean has the entries of
//! the register that the positions have, and one of its readings. Points towards the backsight are so better than the two errors
//! apart would be, those beyond it worse; sights all round cancel the base's error.
//!
//! Fore and back azimuths of one line differ by 180° and the meridians' convergence. Where they do
//! not, the compass is disturbed at an end; an end that agrees along another line is sound
//! (compass traverse practice, common, no source).

use std::collections::{BTreeMap, BTreeSet};

use crate::geodesy::covariance::Covariance;
use crate::geodesy::frame::{full_circle_rad, half_circle_rad};
use crate::geodesy::register::{Cause, ErrorId};
use crate::records::ledger::Flag;
use crate::stations::base::BaseTable;
use crate::stations::base::Turning;
use crate::stations::errors;

/// A sight from a base to another base or a known point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownSight {
    /// Base that the sight is from.
    pub from: usize,
    /// Base or known point that it is to.
    pub to: usize,
    /// Measured azimuth in radians, brought to true north, without any correction of the base.
    pub true_azimuth_rad: f64,
    /// Standard error of the reading in radians.
    pub sigma_rad: f64,
    /// Whether it orients the base (a backsight), beside being compared with its counterpart.
    pub orients: bool,
    /// Whether it is of a circle, not of a compass: its azimuth counts from the north of a grid.
    pub is_of_circle: bool,
}

/// What is added to the azimuths of a base.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Orientation {
    /// Correction in radians, −π to π, east positive.
    pub correction_rad: f64,
    /// Standard error in radians, shared by all shots of the base.
    pub sigma_rad: f64,
    /// Sights used.
    pub sights: u32,
}

/// A line that was sighted from both ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForeBack {
    /// The ends.
    pub ends: (usize, usize),
    /// Back azimuth less fore azimuth less what the positions give, in radians, −π to π.
    pub misfit_rad: f64,
}

/// True azimuth in radians from one base to another, and their horizontal distance in metres; none
/// where both are at one place.
pub fn azimuth_between(table: &BaseTable, from: usize, to: usize) -> Option<(f64, f64)> {
    let (from, to) = (&table.bases[from], &table.bases[to]);
    // The datums of one job lie within a metre or two of each other; a line long enough to orient by
    // does not feel it.
    let [e, n, _] = from.frame.from_earth_centred(to.at.to_earth_centred(table.datums[to.datum].crs.ellipsoid()));
    let distance = e.hypot(n);
    (distance > 0.0).then(|| (full_circle_rad(e.atan2(n)), distance))
}

/// The orientation of each base that has backsights, and the entries of its error.
pub fn orientations(table: &BaseTable, sights: &[KnownSight]) -> (Vec<Option<Orientation>>, Vec<Option<Turning>>) {
    let mut terms: Vec<Vec<(Term, usize)>> = table.bases.iter().map(|_| Vec::new()).collect();
    for sight in sights.iter().filter(|sight| sight.orients) {
        terms[sight.from].extend(Term::from_sight(table, sight).map(|term| (term, sight.to)));
    }
    let found = terms.into_iter().enumerate().map(|(index, terms)| {
        let (terms, targets): (Vec<Term>, Vec<usize>) = terms.into_iter().unzip();
        let mean = mean(&terms, &table.bases[index].covariance)?;
        Some((mean.orientation, mean.turning(table, index, &targets)))
    });
    found.map(|found| found.map_or((None, None), |(orientation, turning)| (Some(orientation), Some(turning)))).unzip()
}

/// One sight's correction and its errors, in radians.
struct Term {
    correction: f64,
    /// Of the reading.
    reading: f64,
    /// Of the target.
    target: f64,
    /// By a metre of the base's position error, east and north.
    by_base: [f64; 2],
}

/// gᵀ C g of the horizontal part.
fn variance(g: [f64; 2], c: &Covariance) -> f64 {
    (c.ee * g[0] * g[0] + 2.0 * c.en * g[0] * g[1] + c.nn * g[1] * g[1]).max(0.0)
}

impl Term {
    fn from_sight(table: &BaseTable, sight: &KnownSight) -> Option<Term> {
        let (azimuth, distance) = azimuth_between(table, sight.from, sight.to)?;
        let by_base = [-azimuth.cos() / distance, azimuth.sin() / distance];
        Some(Term {
            correction: half_circle_rad(azimuth - sight.true_azimuth_rad),
            reading: sight.sigma_rad,
            target: variance(by_base, &table.bases[sight.to].covariance).sqrt(),
            by_base,
        })
    }

    /// Of reading and target.
    fn own(&self) -> f64 {
        self.reading.hypot(self.target)
    }
}

/// The mean of several sights.
struct SightsMean {
    orientation: Orientation,
    /// Standard error of what neither the base nor the targets do.
    readings: f64,
    /// By sight: its share of the mean times what a metre of the base does to it.
    by_base: Vec<[f64; 2]>,
}

fn mean(terms: &[Term], base: &Covariance) -> Option<SightsMean> {
    let first = terms.first()?;
    let weight = |term: &Term| 1.0 / (term.own().powi(2) + variance(term.by_base, base)).max(1e-18);
    let whole: f64 = terms.iter().map(weight).sum();
    let share = |term: &Term| weight(term) / whole;
    // Differences from the first, so that a mean about ±180° is right.
    let off = |term: &Term| half_circle_rad(term.correction - first.correction);
    let shift = terms.iter().map(|term| share(term) * off(term)).sum::<f64>();
    let squares = |of: fn(&Term) -> f64| terms.iter().map(|term| (share(term) * of(term)).powi(2)).sum::<f64>();
    let by_base: Vec<[f64; 2]> = terms.iter().map(|term| term.by_base.map(|g| share(term) * g)).collect();
    let turned: [f64; 2] = [0, 1].map(|k| by_base.iter().map(|g| g[k]).sum());
    // What the base's error does to a sight beside what it does to the mean scatters too.
    let apart = |term: &Term| variance([0, 1].map(|k| term.by_base[k] - turned[k]), base);
    let square: f64 = terms.iter().map(|term| (off(term) - shift).powi(2) / (term.own().powi(2) + apart(term)).max(1e-18)).sum();
    let scatter = if terms.len() > 1 { (square / (terms.len() - 1) as f64).max(1.0) } else { 1.0 };
    // Sights that scatter more than they say: whatever it is, it is put to the readings.
    let readings = squares(|term| term.reading) * scatter + squares(|term| term.target) * (scatter - 1.0);
    let orientation = Orientation {
        correction_rad: half_circle_rad(first.correction + shift),
        sigma_rad: (readings + squares(|term| term.target) + variance(turned, base)).sqrt(),
        sights: terms.len() as u32,
    };
    Some(SightsMean { orientation, readings: readings.sqrt(), by_base })
}

impl SightsMean {
    /// The entries of its error.
    fn turning(&self, table: &BaseTable, index: usize, targets: &[usize]) -> Turning {
        let mut turning: Turning = vec![(ErrorId::new(Cause::Sights, index, 0), self.readings)];
        let mut add = |of: usize, g: [f64; 2], sign: f64| {
            for (id, arm) in errors::position(table, of) {
                let radians = sign * (g[0] * arm[0] + g[1] * arm[1]);
                match turning.iter_mut().find(|(known, _)| *known == id) {
                    Some((_, known)) => *known += radians,
                    None => turning.push((id, radians)),
                }
            }
        };
        for (g, target) in self.by_base.iter().zip(targets) {
            add(index, *g, 1.0);
            add(*target, *g, -1.0);
        }
        turning.retain(|(_, radians)| *radians != 0.0);
        turning
    }
}

/// The lines sighted from both ends, each once; of several sights from one end their mean. A circle that a backsight orients may have been
/// set to any zero, so that it says nothing of a compass.
pub fn fore_and_back(table: &BaseTable, sights: &[KnownSight]) -> Vec<ForeBack> {
    let mut by_line: BTreeMap<(usize, usize), Vec<f64>> = BTreeMap::new();
    let sights = || sights.iter().filter(|sight| !(sight.orients && sight.is_of_circle));
    for sight in sights() {
        by_line.entry((sight.from, sight.to)).or_default().push(sight.true_azimuth_rad);
    }
    let lines: BTreeSet<(usize, usize)> = sights().map(|sight| (sight.from.min(sight.to), sight.from.max(sight.to))).collect();
    let misfit_from = |from: usize, to: usize| {
        let (azimuth, _) = azimuth_between(table, from, to)?;
        let sum = by_line.get(&(from, to))?.iter().fold([0.0; 2], |sum, measured| {
            let (s, c) = (measured - azimuth).sin_cos();
            [sum[0] + s, sum[1] + c]
        });
        Some(sum[0].atan2(sum[1]))
    };
    lines
        .into_iter()
        .filter_map(|(a, b)| {
            let misfit_rad = half_circle_rad(misfit_from(b, a)? - misfit_from(a, b)?);
            Some(ForeBack { ends: (a, b), misfit_rad })
        })
        .collect()
}

/// Which bases the compass is disturbed at, by lines whose misfit is above a limit in radians.
pub fn local_attraction(lines: &[ForeBack], limit_rad: f64) -> Vec<(usize, Flag)> {
    let sound: BTreeSet<usize> =
        lines.iter().filter(|line| line.misfit_rad.abs() <= limit_rad).flat_map(|line| [line.ends.0, line.ends.1]).collect();
    let mut found = BTreeSet::new();
    for line in lines.iter().filter(|line| line.misfit_rad.abs() > limit_rad) {
        let (a, b) = line.ends;
        match (sound.contains(&a), sound.contains(&b)) {
            (true, false) => found.extend([(b, Flag::LocalAttraction)]),
            (false, true) => found.extend([(a, Flag::LocalAttraction)]),
            _ => found.extend([(a, Flag::MaybeLocalAttraction), (b, Flag::MaybeLocalAttraction)]),
        }
    }
    found.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(a: usize, b: usize, misfit_deg: f64) -> ForeBack {
        ForeBack { ends: (a, b), misfit_rad: misfit_deg.to_radians() }
    }

    #[test]
    fn a_third_sight_tells_which_end() {
        let limit = 2f64.to_radians();
        assert_eq!(
            local_attraction(&[line(0, 1, 5.0)], limit),
            [(0, Flag::MaybeLocalAttraction), (1, Flag::MaybeLocalAttraction)]
        );
        assert_eq!(local_attraction(&[line(0, 1, 5.0), line(0, 2, 0.5)], limit), [(1, Flag::LocalAttraction)]);
        assert_eq!(local_attraction(&[line(0, 1, -5.0), line(1, 2, -0.5)], limit), [(0, Flag::LocalAttraction)]);
        assert!(local_attraction(&[line(0, 1, 1.9)], limit).is_empty());
    }

    /// Of a base whose error of one metre each way turns the sight so much.
    fn term(correction_deg: f64, own_deg: f64, by_base_deg: [f64; 2]) -> Term {
        Term {
            correction: correction_deg.to_radians(),
            reading: own_deg.to_radians(),
            target: 0.0,
            by_base: by_base_deg.map(f64::to_radians),
        }
    }

    #[test]
    fn means_of_corrections() {
        let of = |terms: &[Term]| {
            let mean = mean(terms, &Covariance::from_sigmas(1.0, 0.0)).unwrap().orientation;
            (mean.correction_rad.to_degrees(), mean.sigma_rad.to_degrees())
        };
        let (correction, sigma) = of(&[term(1.0, 0.5, [0.3, 0.0])]);
        assert!((correction - 1.0).abs() < 1e-12 && (sigma - 0.5f64.hypot(0.3)).abs() < 1e-12);
        // Two readings of 0.5° one way make 0.35°; the base's 0.3° stays.
        let (correction, sigma) = of(&[term(1.2, 0.5, [0.3, 0.0]), term(0.8, 0.5, [0.3, 0.0])]);
        assert!((correction - 1.0).abs() < 1e-12 && (sigma - (0.125f64 + 0.09).sqrt()).abs() < 1e-9, "{sigma}");
        // Opposite ways it cancels; at right angles half of its square is left.
        let (_, sigma) = of(&[term(1.2, 0.5, [0.3, 0.0]), term(0.8, 0.5, [-0.3, 0.0])]);
        assert!((sigma - 0.125f64.sqrt()).abs() < 1e-9, "{sigma}");
        let (_, sigma) = of(&[term(1.2, 0.5, [0.3, 0.0]), term(0.8, 0.5, [0.0, 0.3])]);
        assert!((sigma - (0.125f64 + 0.045).sqrt()).abs() < 1e-9, "{sigma}");
        // About 180°.
        let (correction, _) = of(&[term(179.5, 0.5, [0.0; 2]), term(-179.5, 0.5, [0.0; 2])]);
        assert!((correction.abs() - 180.0).abs() < 1e-9, "{correction}");
        // Readings that scatter more than they say.
        assert!(of(&[term(5.0, 0.5, [0.0; 2]), term(-5.0, 0.5, [0.0; 2])]).1 > 4.0);
        assert!(mean(&[], &Covariance::default()).is_none());
    }
}
