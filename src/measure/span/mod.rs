//! Span of a wire or cable: its sag, its lowest point, and its distances to the ground and to objects.
//!
//! Roles: `support_a`, `support_b` (points of attachment, one each), `wire` (any points along it), `ground` and
//! `object` (shots under or beside it, each known by its label; any number, none needed). All are full shots.
//!
//! The curve (`curve.rs`) stands in the vertical plane through the supports and is fitted by `fit.rs`: a catenary, or a
//! parabola where one wire shot alone, or the smallness of the sag, cannot tell the two apart. A span's
//! curve is told by its shots only as they were: see [`CAUTION`].
//!
//! - Vertical distance: the curve's height at the place of a shot along the plane, less the shot's height,
//!   without sign. Straight distance: from the shot to the nearest point of the curve between the supports.
//! - Lowest point: of the curve; it may lie outside the span.
//! - Standard error of an RMS of n shots about a curve of one parameter: RMS / √(2 (n − 1)) (any text on
//!   statistics, from memory).
//!
//! Values: `span_m` (horizontal), `sag_m` (greatest vertical distance below the chord), `lowest_height_difference_m` (lowest point
//! over support a, so mostly negative), `wire_rms_m` (two wire shots or more). Of each ground and object shot: `vertical_distance_m`,
//! `straight_distance_m`; and the least of each: `least_vertical_distance_m`, `least_straight_distance_m`.
//!
//! Metres. One vertical direction is taken for the whole span, that at support a: over 500 m it turns by 0.08 mrad, which
//! moves the lowest point of a flat curve along it by centimetres and changes no sag by a millimetre. It stops at
//! supports less than 1 m apart in plan, and where a sag is not to be told from none the values say so by their standard errors.

pub mod conditions;
mod curve;
mod fit;
#[cfg(test)]
mod tests;
mod threshold;

pub use threshold::{CAUTION, against_threshold};

use curve::{Curve, CurveKind};
use fit::Fit;

use crate::geodesy::covariance::INTERVAL95;
use crate::geodesy::frame::Geodetic;
use crate::geodesy::register::Estimate;
use crate::measure::{Composed, Detail, Group, NamedValue, Refusal, RoleShot, Shape, rows};

/// Supports nearer than this in plan make no span.
const LEAST_SPAN_M: f64 = 1.0;

/// A wire shot that is further from its place than this many standard errors is warned of.
const OUTLYING: f64 = 3.0;

/// Nothing nearer than this is warned of, in metres, however small the errors are said to be.
const LEAST_WARNED_M: f64 = 0.01;

/// Wire shots whose height answers to less than this share of the sag tell nothing of it: 2.5 % of the span from a support.
const LEAST_SHARE: f64 = 0.1;

/// An object further than this from the plane is not under the wire.
const BESIDE_M: f64 = 1.0;

/// Shots of one span further apart than this in time may see two sags (common practice, no source).
const SPREAD_S: i64 = 30 * 60;

/// Pieces of the line that is drawn.
const PIECES: u32 = 40;

/// Distances of one ground or object shot.
#[derive(Debug, Clone, PartialEq)]
pub struct Clearance {
    /// The row's label.
    pub label: String,
    /// Along the plane from support a.
    pub chainage_m: f64,
    /// From the plane, right positive as seen from support a.
    pub offset_m: f64,
    /// Vertical distance; none beyond the supports.
    pub vertical_m: Option<Estimate>,
    /// Least straight distance.
    pub straight_m: Estimate,
}

/// Measures a span.
///
/// # Errors
/// A sentence, where rows are missing or show no span.
pub fn compose(group: &Group<'_>) -> Result<Composed, Refusal> {
    measure(group).map(|(composed, _)| composed)
}

/// Measures a span, and tells the distances of each ground and object shot in the order of the logs.
///
/// # Errors
/// As [`compose`].
pub fn measure(group: &Group<'_>) -> Result<(Composed, Vec<Clearance>), Refusal> {
    let span = SpanRows::from_group(group)?;
    let mut warnings = span.measured_warnings();
    let (fit, method) = span.fitted()?;
    let curve = fit.curve(fit.adjusted.points());
    let [span_m, sag_m] = fit.adjusted.estimates(|points| {
        let curve = fit.curve(points);
        [curve.span_m, curve.sag_m()]
    });
    if sag_m.value + sag_m.half95() < 0.0 {
        return Err(
            span.refusal("the wire shots lie above the straight line between the supports; check which rows are supports")
        );
    }
    if sag_m.value < sag_m.half95() {
        warnings.push(format!(
            "the sag of {} is not to be told from none (95 % ± {}): shoot the wire from nearer, or more often",
            group.said_m(sag_m.value, 2),
            group.said_m(sag_m.half95(), 2)
        ));
    }
    for (row, (misfit, expected)) in span.wires.iter().zip(fit.misfits_m.iter().zip(&fit.expected_m)) {
        if misfit.abs() > (OUTLYING * expected).max(LEAST_WARNED_M) {
            warnings.push(format!(
                "wire {} lies {} {} the curve, more than {OUTLYING} standard errors: check what it hit",
                row.label,
                group.said_m(misfit.abs(), 2),
                if *misfit > 0.0 { "above" } else { "below" }
            ));
        }
    }
    let mut values = vec![NamedValue { name: "span_m", estimate: span_m }, NamedValue { name: "sag_m", estimate: sag_m }];
    let mut parts = Vec::new();
    if let Some((lowest, part)) = span.lowest(&fit, &mut warnings) {
        values.push(NamedValue { name: "lowest_height_difference_m", estimate: lowest });
        parts.push(part);
    }
    if span.wires.len() > 1 {
        let n = span.wires.len() as f64;
        let value = (fit.misfits_m.iter().map(|m| m * m).sum::<f64>() / n).sqrt();
        let sigma = value / (2.0 * (n - 1.0)).sqrt();
        values.push(NamedValue { name: "wire_rms_m", estimate: Estimate { value, sigma } });
    }
    let clearances = span.clearances(&fit, &mut warnings)?;
    let details = span.details(&clearances);
    let [a, b] = [fit.adjusted.points()[0], fit.adjusted.points()[1]];
    let inner = (1..PIECES).map(|i| curve.at(curve.span_m * f64::from(i) / f64::from(PIECES)));
    let line = [a].into_iter().chain(inner).chain([b]).map(|p| fit.adjusted.frame().to_earth_centred(p)).collect();
    Ok((Composed { method, values, parts, shape: Shape::Line(line), warnings, details, ..Composed::default() }, clearances))
}

/// The rows by role, and their points: supports, wire, objects.
struct SpanRows<'g> {
    group: &'g Group<'g>,
    wires: Vec<&'g RoleShot>,
    objects: Vec<&'g RoleShot>,
    correlated: crate::geodesy::register::CorrelatedPoints,
}

impl<'g> SpanRows<'g> {
    fn from_group(group: &'g Group<'g>) -> Result<SpanRows<'g>, Refusal> {
        rows::known_roles(group, &["support_a", "support_b", "wire", "ground", "object"])?;
        let supports = [group.only("support_a")?, group.only("support_b")?];
        let wires: Vec<&RoleShot> = group.with_role("wire").collect();
        let objects: Vec<&RoleShot> = group.sightings.iter().filter(|row| row.role == "ground" || row.role == "object").collect();
        let ordered: Vec<&RoleShot> = supports.iter().chain(&wires).chain(&objects).copied().collect();
        let span = SpanRows { group, correlated: rows::correlated(group, &ordered)?, wires, objects };
        if span.wires.is_empty() {
            return Err(span.refusal("no row has the role wire; shoot the wire itself, best near mid-span"));
        }
        let chord = span.chord();
        if chord.span_m < LEAST_SPAN_M {
            return Err(span.refusal(&format!(
                "the supports {} and {} stand {} apart in plan; a span needs at least {}",
                supports[0].label,
                supports[1].label,
                group.said_m(chord.span_m, 2),
                group.units.length().told(LEAST_SPAN_M)
            )));
        }
        let mut greatest: f64 = 0.0;
        for (i, row) in span.wires.iter().enumerate() {
            let near = span.correlated.subset(&[0, 1, 2 + i]);
            let along = near.estimate(|p| Curve::new(CurveKind::Parabola, p[0], p[1], 0.0, 1.0).along_across_m(p[2]).0);
            let beyond = (-along.value).max(along.value - chord.span_m);
            if beyond > (OUTLYING * along.sigma).max(LEAST_WARNED_M) {
                let support = if along.value < 0.0 { supports[0] } else { supports[1] };
                return Err(span.refusal(&format!(
                    "wire {} lies {} beyond support {}; it belongs to another span: give it another feature",
                    row.label,
                    group.said_m(beyond, 1),
                    support.label
                )));
            }
            greatest = greatest.max(4.0 * along.value * (chord.span_m - along.value) / chord.span_m.powi(2));
        }
        if greatest < LEAST_SHARE {
            return Err(
                span.refusal("all wire shots lie at the supports and tell nothing of the sag; shoot the wire near mid-span")
            );
        }
        Ok(span)
    }

    fn refusal(&self, what: &str) -> Refusal {
        format!("{} of {}: {what}", self.group.measure, self.group.name).into()
    }

    /// The straight line between the supports as measured.
    fn chord(&self) -> Curve {
        Curve::new(CurveKind::Parabola, self.correlated.points()[0], self.correlated.points()[1], 0.0, 1.0)
    }

    /// What the rows show before any curve: the wire out of its plane, shots long apart in time.
    fn measured_warnings(&self) -> Vec<String> {
        let mut warnings = Vec::new();
        for (i, row) in self.wires.iter().enumerate() {
            let near = self.correlated.subset(&[0, 1, 2 + i]);
            let across = near.estimate(|p| Curve::new(CurveKind::Parabola, p[0], p[1], 0.0, 1.0).along_across_m(p[2]).1);
            if across.value.abs() > (OUTLYING * across.sigma).max(LEAST_WARNED_M) {
                warnings.push(format!(
                    "wire {} lies {} to the {} of the plane through the supports, seen from support_a: wind, or \
                     another wire; the curve takes its height only",
                    row.label,
                    self.group.said_m(across.value.abs(), 2),
                    if across.value > 0.0 { "right" } else { "left" }
                ));
            }
        }
        let instants = || self.group.sightings.iter().filter_map(|row| row.instant);
        if let (Some(first), Some(last)) = (instants().min(), instants().max()) {
            let seconds = last.duration_since(first).as_secs();
            if seconds > SPREAD_S {
                warnings.push(format!(
                    "the shots are spread over {} minutes: the sag may have changed with temperature and loading between them",
                    seconds / 60
                ));
            }
        }
        warnings
    }

    /// The curve that the shots can tell, and why that one.
    fn fitted(&self) -> Result<(Fit, String), Refusal> {
        let fitted = |kind| {
            fit::fit(kind, &self.correlated, self.wires.len()).ok_or_else(|| {
                self.refusal("no curve through the supports fits the wire shots; check which rows are supports and which wire")
            })
        };
        let parabola = fitted(CurveKind::Parabola)?;
        let catenary = fitted(CurveKind::Catenary)?;
        let curves = [&parabola, &catenary].map(|fit| fit.curve(fit.adjusted.points()));
        let differs_m = curves[0].differs_m(&curves[1]);
        let differs = self.group.said_m(differs_m, 3);
        let sigma_m = parabola.adjusted.estimate(|points| parabola.curve(points).sag_m()).sigma;
        if self.wires.len() == 1 {
            let method = format!(
                "parabola in the vertical plane through the supports: one wire shot cannot tell it from a catenary, \
                 which differs from it by up to {differs}"
            );
            return Ok((parabola, method));
        }
        let shots = self.wires.len();
        if differs_m < sigma_m {
            let method = format!(
                "parabola in the vertical plane through the supports, fitted to {shots} wire shots: the sag is too small to tell it \
                 from a catenary, which differs from it by up to {differs}, less than the standard error of the sag"
            );
            return Ok((parabola, method));
        }
        Ok((catenary, format!("catenary in the vertical plane through the supports, fitted to {shots} wire shots")))
    }

    /// The lowest point of the curve: its height above support a, and where it is.
    fn lowest(&self, fit: &Fit, warnings: &mut Vec<String>) -> Option<(Estimate, crate::measure::FoundPoint)> {
        let curve = fit.curve(fit.adjusted.points());
        let x = curve.lowest_x_m();
        if !curve.hangs() || x < -curve.span_m || x > 2.0 * curve.span_m {
            warnings.push("the curve has no lowest point within a span's length of its supports: none is given".to_owned());
            return None;
        }
        if x < 0.0 || x > curve.span_m {
            let (beyond, support) = if x < 0.0 { (-x, "support_a") } else { (x - curve.span_m, "support_b") };
            warnings.push(format!(
                "the lowest point of the curve lies outside the span, {} beyond {support}: the wire itself is lowest at {support}",
                self.group.said_m(beyond, 1)
            ));
        }
        let a = self.group.only("support_a").ok()?;
        let bases = self.group.bases;
        let lowest = |points: &[[f64; 3]]| {
            let curve = fit.curve(points);
            curve.at(curve.lowest_x_m())
        };
        let height_m = |p| {
            Geodetic::from_earth_centred(fit.adjusted.frame().to_earth_centred(p), &bases[a.base].ellipsoid).ellipsoid_height_m
        };
        let difference = fit.adjusted.estimate(|points| height_m(lowest(points)) - height_m(points[0]));
        Some((difference, rows::part("lowest", &fit.adjusted, bases, a.base, lowest)))
    }

    /// The least distances, and those of each ground and object shot.
    fn details(&self, clearances: &[Clearance]) -> Vec<Detail> {
        let each = || self.objects.iter().copied().zip(clearances);
        let detail = |row: &RoleShot, values: Vec<NamedValue>| Detail {
            target: format!("wire to {} ({})", row.label, row.role),
            place: row.place,
            values,
            warnings: None,
        };
        let least = |of: fn(&Clearance) -> Option<Estimate>| {
            each()
                .filter_map(|(row, clearance)| Some((row, of(clearance)?)))
                .reduce(|a, b| if b.1.value < a.1.value { b } else { a })
        };
        let least = [
            ("least_vertical_distance_m", least(|clearance| clearance.vertical_m)),
            ("least_straight_distance_m", least(|clearance| Some(clearance.straight_m))),
        ];
        let least = least.into_iter().filter_map(|(name, found)| {
            let (row, estimate) = found?;
            Some(detail(row, vec![NamedValue { name, estimate }]))
        });
        let own = each().map(|(row, clearance)| {
            let vertical = clearance.vertical_m.map(|estimate| NamedValue { name: "vertical_distance_m", estimate });
            let straight = NamedValue { name: "straight_distance_m", estimate: clearance.straight_m };
            detail(row, vertical.into_iter().chain([straight]).collect())
        });
        least.chain(own).collect()
    }

    fn clearances(&self, fit: &Fit, warnings: &mut Vec<String>) -> Result<Vec<Clearance>, Refusal> {
        let last = fit.adjusted.points().len() - 1;
        let mut clearances = Vec::with_capacity(self.objects.len());
        for (i, row) in self.objects.iter().enumerate() {
            let near = fit.adjusted.subset(&[0, 1, 2 + i, last]);
            let curve = fit.curve(near.points());
            let point = near.points()[2];
            let (chainage_m, offset_m) = curve.along_across_m(point);
            let above = |points: &[[f64; 3]]| {
                let curve = fit.curve(points);
                curve.up_m(curve.along_across_m(points[2]).0) - points[2][2]
            };
            let side = above(near.points()).signum();
            let [vertical_m, straight_m] =
                near.estimates(|points| [side * above(points), fit.curve(points).straight_m(points[2])]);
            let within = (0.0..=curve.span_m).contains(&chainage_m);
            let label = &row.label;
            if !within {
                warnings.push(format!("{label} lies beyond the supports: no vertical distance is given for it"));
            } else if side < 0.0 {
                warnings.push(format!("{label} lies {} higher than the wire", self.group.said_m(vertical_m.value, 2)));
            }
            if within && offset_m.abs() > BESIDE_M {
                warnings.push(format!(
                    "{label} lies {} to the {} of the wire, seen from support_a: its vertical distance is a difference of heights only",
                    self.group.said_m(offset_m.abs(), 1),
                    if offset_m > 0.0 { "right" } else { "left" }
                ));
            }
            if straight_m.value < INTERVAL95 * straight_m.sigma {
                warnings.push(format!("{label} and the wire are nearer to each other than their errors can tell apart"));
            }
            clearances.push(Clearance {
                label: label.clone(),
                chainage_m,
                offset_m,
                vertical_m: within.then_some(vertical_m),
                straight_m,
            });
        }
        Ok(clearances)
    }
}
