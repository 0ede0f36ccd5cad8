//! Which of the shots of one name belong together, and what the others hit.
//!
//! What is compared is where the shots put the feature, whatever the heights of instrument and target.
//! Each shot is compared along its own sight (range), across it (azimuth) and normal to it (inclination). Two shots agree
//! when no comparison exceeds [`super::middle::CRITICAL`] standard errors of the difference; what shots of one base share is not in that
//! difference. More than half of the shots must agree with one of them, else there is no one feature.
//!
//! Then each shot is tested against the median of those that agree, of its own base; where none of its base agrees,
//! against their weighted mean, the base errors of both included. Standard error: √(s² + v), s the shot's own or the
//! robust scale of the others' readings (from three on), whichever is greater; v the variance of the reference.
//! [`super::middle::CRITICAL`] is 3.5 there too.
//!
//! Significantly nearer in the right direction: something before the feature was hit, unless the instrument kept the last
//! echo or only a prism answers. Farther: something behind, unless it kept the first. In the wrong direction: another
//! target. "Three shots, keep the agreed pair": common practice, no source.
//!
//! Limits: three bad shots of five that agree with each other win. The cost is 64 comparisons a shot.

use std::collections::BTreeMap;

use super::look::{PlaceSeen, PreparedShot, Reference, looks};
use super::mean::mean;
use super::middle::{Middle, half_turn_rad};
use super::sight::Polar;
use super::spread::separation;
use super::stand::{point, stands};
use super::{Deviation, Repeat, RepeatsFault, Separation, check};
use crate::geodesy::register::Origin;
use crate::records::echo::Echo;

/// Shots that are tried as the middle of those that agree: all of up to so many, else so many at even steps of the
/// shots in order of base and range. Those that agree are more than half, so that about half of the tries are theirs.
const MOST_TRIED: usize = 64;

/// What a shot was found to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// Belongs to the feature.
    Kept,
    /// Probably hit something before the feature. Tracked shots count as those whose echo is not stated.
    Foreground,
    /// Probably hit something behind the feature.
    Background,
    /// Does not belong to the others, for another reason.
    Outlying,
    /// One of two shots that disagree: nothing tells which is wrong.
    Disagreeing,
}

/// A shot's verdict and its differences from the shots that agree; from the other one of two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgedShot {
    /// What it was found to be.
    pub verdict: Verdict,
    /// Along the sight, farther positive. In the plane where the shot has no height.
    pub along: Deviation,
    /// Across the sight, to the right positive, at the distance of the reference.
    pub across: Deviation,
    /// Normal to the sight, upward positive, at the distance of the reference; none without height.
    pub normal: Option<Deviation>,
}

impl JudgedShot {
    fn new(echo: Option<Echo>, along: Deviation, across: Deviation, normal: Option<Deviation>) -> JudgedShot {
        let verdict = if across.is_significant() || normal.is_some_and(|normal| normal.is_significant()) {
            Verdict::Outlying
        } else if !along.is_significant() {
            Verdict::Kept
        } else {
            match (along.metres < 0.0, echo) {
                (true, None | Some(Echo::First | Echo::Single | Echo::Tracking)) => Verdict::Foreground,
                (false, None | Some(Echo::Last | Echo::Single | Echo::Tracking)) => Verdict::Background,
                _ => Verdict::Outlying,
            }
        };
        JudgedShot { verdict, along, across, normal }
    }
}

/// What the shots of one name are.
#[derive(Debug, Clone, PartialEq)]
pub enum Judgement {
    /// Shots of one feature, and others.
    OneFeature {
        /// By shot.
        findings: Vec<JudgedShot>,
    },
    /// Two shots that disagree.
    Disagreeing {
        /// By shot, each from the other.
        findings: Vec<JudgedShot>,
        /// How far they lie apart.
        apart: Separation,
    },
    /// No more than half agree.
    NotOneFeature {
        /// The greatest separation.
        apart: Separation,
        /// The most shots that agree with one of them, itself included.
        agreeing: usize,
    },
}

/// Judges the shots of one name.
///
/// # Errors
/// [`RepeatsFault`], naming the shot.
pub fn judge(bases: &[Origin], shots: &[Repeat]) -> Result<Judgement, RepeatsFault> {
    check(bases, shots)?;
    let looks = looks(bases, shots);
    let apart = || {
        stands(bases, shots).map_or_else(Separation::default, |(_, stands)| {
            separation(&shots.iter().filter_map(|shot| point(&stands, shot)).collect::<Vec<_>>())
        })
    };
    if let [a, b] = &looks[..] {
        let mut findings: Vec<JudgedShot> = [(a, b), (b, a)].into_iter().map(|(one, other)| one.from(other)).collect();
        if a.agrees(b) {
            findings.iter_mut().for_each(|finding| finding.verdict = Verdict::Kept);
            return Ok(Judgement::OneFeature { findings });
        }
        findings.iter_mut().for_each(|finding| finding.verdict = Verdict::Disagreeing);
        return Ok(Judgement::Disagreeing { findings, apart: apart() });
    }
    let agreed = most_agreed(&looks);
    let agreeing = agreed.iter().filter(|agrees| **agrees).count();
    if 2 * agreeing <= looks.len() {
        return Ok(Judgement::NotOneFeature { apart: apart(), agreeing });
    }
    let together: Vec<(&PreparedShot, &Repeat)> =
        looks.iter().zip(shots).zip(&agreed).filter(|(_, agrees)| **agrees).map(|(both, _)| both).collect();
    let mut references: BTreeMap<usize, Middles> = BTreeMap::new();
    for shot in shots {
        references.entry(shot.base).or_insert_with(|| Middles::at_base(together.iter().map(|(look, _)| *look), shot.base));
    }
    let whole: Vec<Repeat> = together.iter().map(|(_, shot)| **shot).collect();
    let whole = Reference::from_mean(bases, &mean(bases, &whole)?, shots);
    let findings = looks.iter().zip(shots).map(|(look, shot)| {
        let own_base = references.get(&shot.base).and_then(|middles| middles.test(look));
        own_base.or_else(|| whole.as_ref().map(|whole| look.against(whole)))
    });
    // Shots and references are of the same bases, so that each shot has a finding.
    Ok(Judgement::OneFeature { findings: findings.flatten().collect() })
}

/// For each shot whether it agrees with the one that most agree with; of several such the closest.
fn most_agreed(looks: &[PreparedShot]) -> Vec<bool> {
    let mut order: Vec<&PreparedShot> = looks.iter().collect();
    order.sort_by(|a, b| a.base.cmp(&b.base).then(a.seen.polar.range_m.total_cmp(&b.seen.polar.range_m)));
    let tries = order.len().min(MOST_TRIED);
    let mut best: Option<(usize, f64, &PreparedShot)> = None;
    for k in 0..tries {
        // The middle of each of so many equal stretches.
        let Some(tried) = order.get((2 * k + 1) * order.len() / (2 * tries)) else { continue };
        let (mut count, mut squares) = (0, 0.0);
        for look in looks {
            if let Some(square) = tried.agreement(look) {
                count += 1;
                squares += square;
            }
        }
        if best.is_none_or(|(most, least, _)| count > most || (count == most && squares < least)) {
            best = Some((count, squares, tried));
        }
    }
    looks.iter().map(|look| best.is_some_and(|(_, _, tried)| tried.agrees(look))).collect()
}

/// The medians of one base's shots that agree, and what a shot is tested with.
struct Middles {
    azimuth_rad: f64,
    /// The rise over which they are seen: the middle one of the shots.
    rise_m: f64,
    /// Horizontal distance and azimuth of all, slope distance and inclination of those with a height. Each with the
    /// median of the shots' own variances.
    horizontal: Option<(Middle, f64)>,
    azimuth: Option<(Middle, f64)>,
    range: Option<(Middle, f64)>,
    inclination: Option<(Middle, f64)>,
}

impl Middles {
    fn at_base<'l>(looks: impl Iterator<Item = &'l PreparedShot>, base: usize) -> Middles {
        let looks: Vec<&PreparedShot> = looks.filter(|look| look.base == base).collect();
        let mut rises: Vec<f64> = looks.iter().filter(|look| look.has_height).map(|look| look.rise_m).collect();
        rises.sort_by(f64::total_cmp);
        let rise_m = rises.get(rises.len() / 2).copied().unwrap_or(0.0);
        let seen: Vec<(PlaceSeen, bool)> = looks.iter().map(|look| (look.over(rise_m), look.has_height)).collect();
        let with_height = || seen.iter().filter(|(_, has_height)| *has_height).map(|(seen, _)| seen);
        let azimuth_rad = seen.first().map_or(0.0, |(seen, _)| seen.polar.azimuth_rad);
        let turned_rad = |seen: &PlaceSeen| half_turn_rad(seen.polar.azimuth_rad - azimuth_rad);
        let middle = |pairs: Vec<(f64, f64)>| {
            let (values, variances): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
            Some((Middle::find(&values)?, Middle::find(&variances)?.median))
        };
        Middles {
            azimuth_rad,
            rise_m,
            horizontal: middle(seen.iter().map(|(s, _)| (s.polar.horizontal_m, s.horizontal_m2)).collect()),
            azimuth: middle(seen.iter().map(|(s, _)| (turned_rad(s), s.azimuth_rad2)).collect()),
            range: middle(with_height().map(|s| (s.polar.range_m, s.range_m2)).collect()),
            inclination: middle(with_height().map(|s| (s.polar.inclination_rad, s.inclination_rad2)).collect()),
        }
    }

    /// The medians of range and inclination as seen over another rise; their variances turn with the sight.
    fn over(&self, rise_m: f64) -> Option<[(Middle, f64); 2]> {
        let (range, inclination) = (self.range?, self.inclination?);
        if rise_m == self.rise_m {
            return Some([range, inclination]);
        }
        let (from_m, (sin, cos)) = (range.0.median, inclination.0.median.sin_cos());
        let to = Polar::from_vector([from_m * cos, 0.0, from_m * sin + self.rise_m - rise_m]);
        let (s, c) = (to.inclination_rad - inclination.0.median).sin_cos();
        let turned = |along_m2: f64, inclination_rad2: f64| {
            let normal_m2 = inclination_rad2 * from_m * from_m;
            [c * c * along_m2 + s * s * normal_m2, (s * s * along_m2 + c * c * normal_m2) / (to.range_m * to.range_m)]
        };
        let variances = turned(range.1, inclination.1);
        let scales = turned(range.0.scale * range.0.scale, inclination.0.scale * inclination.0.scale).map(f64::sqrt);
        Some([
            (Middle { median: to.range_m, scale: scales[0], ..range.0 }, variances[0]),
            (Middle { median: to.inclination_rad, scale: scales[1], ..inclination.0 }, variances[1]),
        ])
    }

    /// A shot of the same base against the medians; none where no shot of the base agrees.
    fn test(&self, look: &PreparedShot) -> Option<JudgedShot> {
        let against = |(middle, variance): (Middle, f64), value: f64, own: f64, metres: f64| {
            let variance = own.max(middle.scale * middle.scale) + middle.share() * variance.max(middle.scale * middle.scale);
            Deviation::new(metres * (value - middle.median), metres * metres * variance)
        };
        let (horizontal, azimuth) = (self.horizontal?, self.azimuth?);
        let seen = &look.seen;
        let turned = half_turn_rad(seen.polar.azimuth_rad - self.azimuth_rad - azimuth.0.median) + azimuth.0.median;
        let across = against(azimuth, turned, seen.azimuth_rad2, horizontal.0.median);
        if let (true, Some([range, inclination])) = (look.has_height, self.over(look.rise_m)) {
            let along = against(range, seen.polar.range_m, seen.range_m2, 1.0);
            let normal = against(inclination, seen.polar.inclination_rad, seen.inclination_rad2, range.0.median);
            return Some(JudgedShot::new(look.echo, along, across, Some(normal)));
        }
        let along = against(horizontal, seen.polar.horizontal_m, seen.horizontal_m2, 1.0);
        Some(JudgedShot::new(look.echo, along, across, None))
    }
}

impl PreparedShot {
    /// This shot against another.
    fn from(&self, other: &PreparedShot) -> JudgedShot {
        let (along, across, normal) = self.difference(other);
        JudgedShot::new(self.echo, along, across, normal)
    }

    /// This shot against a point of other bases.
    fn against(&self, reference: &Reference) -> JudgedShot {
        let (along, across, normal) = self.difference_at(reference);
        JudgedShot::new(self.echo, along, across, normal)
    }

    /// Whether two shots agree, seen from both.
    fn agrees(&self, other: &PreparedShot) -> bool {
        self.agreement(other).is_some()
    }

    /// The sum of the squares of the comparisons of two shots that agree.
    fn agreement(&self, other: &PreparedShot) -> Option<f64> {
        let one_way = |a: &PreparedShot, b: &PreparedShot| {
            let (along, across, normal) = a.difference(b);
            let all = [along, across, normal.unwrap_or_default()];
            all.iter().all(|d| !d.is_significant()).then(|| all.iter().map(|d| d.sigmas * d.sigmas).sum::<f64>())
        };
        let squares = one_way(self, other)?;
        if self.is_alike(other) { Some(squares) } else { Some(squares.max(one_way(other, self)?)) }
    }
}
