//! Volume of a heap over its toe, or of a pit under its rim.
//!
//! Roles of a heap: `toe` (shots round the base, in the order in which they follow each other), and on the surface `crest`, `top` and
//! `face`. Of a pit: `rim` (round it, in order), and `floor` and `face`. All are full shots.
//!
//! The surface is triangulated from all shots inside the ring, the base from the ring's shots alone; the volume is what
//! is above the base less what is below it (for a pit the other way round). Formulas and triangulation:
//! `surface.rs`. That the base is taken from the toe rather than from one plane fitted to it follows the ground
//! where it is not plane (common practice, no source). Crest shots are points of the surface, not fixed edges of it.
//!
//! Standard errors: standard deviation of [`DRAWS`] draws of the points from their joint covariance, with a fixed
//! seed, each triangulated anew: with few shots, which neighbours a triangle joins is a good part of the error. A draw whose ring
//! crosses itself keeps the triangles of the measured points, and many of them are warned of. What the surface does between the
//! shots, and what no shot sees, is in no standard error: enough shots on every break of the slope keep it small.
//!
//! Metres, square and cubic metres. The horizontal plane is that at the first ring shot: 200 m away it is 3 mm off. It
//! takes up to [`MOST_SHOTS`] shots: the time grows with the cube of their number, memory with the square.

pub(crate) mod surface;
#[cfg(test)]
mod tests;

use std::f64::consts::{PI, TAU};

use surface::Facet;

use crate::geodesy::register::{CorrelatedPoints, Estimate};
use crate::measure::{Composed, Group, NamedValue, Refusal, RoleShot, Shape, rows};
use crate::numeric::monte_carlo::{Normal, deviation};
use crate::numeric::words::counted;

/// What belongs beside every volume that leaves the program. It fits a text field of a Shapefile, 254 bytes.
pub const CAUTION: &str = "Mapping grade, at the time of measurement only. No finding that a heap or a slope stands safely: keep off \
its face and its foot. A quantity for payment or a permit is surveyed by, or under, a person licensed to do so.";

/// Draws for the standard errors, which they give within 1.6 % (1/√(2n)).
pub const DRAWS: usize = 2000;

/// The most shots of one volume.
pub const MOST_SHOTS: usize = 1000;

/// Draws whose ring crosses itself are warned of above this share.
const SPOILT_SHARE: f64 = 0.05;

/// Where the draws start.
const SEED: u64 = 20_240_229;

/// Shots nearer to each other than this in plan are one place.
const ONE_PLACE_M: f64 = 0.001;

/// A ring of less than this in plan is no area.
const LEAST_AREA_M2: f64 = 0.01;

/// Bases that stand around it by less than this, seen from its middle, see it from one side: half a turn, less 10°.
const ONE_SIDE_RAD: f64 = PI * 17.0 / 18.0;

/// Volume, plan area, surface area, greatest height over the base or depth under it.
type Quantities = [f64; 4];

/// Measures a volume.
///
/// # Errors
/// A sentence, where rows are missing, or the ring is none.
pub fn compose(group: &Group<'_>, values_only: bool) -> Result<Composed, Refusal> {
    let heap = Heap::from_group(group)?;
    let correlated = &heap.correlated;
    let values = heap.model.quantities(correlated.points());
    if values[0] <= 0.0 {
        return Err(heap.refusal(if heap.pit {
            "the floor lies above the rim; a heap has the roles toe and crest"
        } else {
            "the surface lies below the base; a pit has the roles rim and floor"
        }));
    }
    let roots = correlated.roots();
    if !correlated.drawn(&roots, &mut Normal::seeded(SEED)).as_flattened().iter().all(|x| x.is_finite()) {
        return Err(heap.refusal("the standard errors of its shots cannot be used; check those of the bases and the instrument"));
    }
    let mut normal = Normal::seeded(SEED);
    let mut spoilt = 0;
    let drawn: Vec<Quantities> = (0..if values_only { 0 } else { DRAWS })
        .map(|_| {
            let moved = correlated.drawn(&roots, &mut normal);
            let model = PileModel::build(&moved, heap.model.ring, heap.model.sign);
            spoilt += usize::from(model.is_none());
            model.as_ref().unwrap_or(&heap.model).quantities(&moved)
        })
        .collect();
    let sigma = |k: usize| deviation(&drawn.iter().map(|d| d[k]).collect::<Vec<_>>());
    let names = ["volume_m3", "plan_area_m2", "surface_area_m2", if heap.pit { "depth_m" } else { "height_m" }];
    let values =
        (0..4).map(|k| NamedValue { name: names[k], estimate: Estimate { value: values[k], sigma: sigma(k) } }).collect();
    let extreme = heap.model.extreme;
    let role = if heap.pit { "lowest" } else { "top" };
    let parts = vec![rows::part(role, correlated, group.bases, heap.rows[extreme].base, |points| points[extreme])];
    let ring = correlated.points()[..heap.model.ring].iter().map(|p| correlated.frame().to_earth_centred(*p)).collect();
    let (edge, side) = if heap.pit { ("rim", "below") } else { ("toe", "above") };
    let method = format!(
        "surface triangulated from {} inside the {edge} ring of {}, {side} a base triangulated from the ring; standard errors from \
         {DRAWS} draws",
        counted(heap.model.inside.len() as u64, "shot", "shots"),
        heap.model.ring
    );
    let mut warnings = heap.warnings();
    if spoilt as f64 > SPOILT_SHARE * DRAWS as f64 {
        warnings.push(format!(
            "in {:.0} % of the draws the {edge} ring crosses itself: its shots lie closer together than their errors allow, and the standard \
             errors are rough; leave some out or shoot them from nearer",
            100.0 * spoilt as f64 / DRAWS as f64
        ));
    }
    Ok(Composed { method, values, parts, shape: Shape::Area(ring), warnings, ..Composed::default() })
}

/// A heap or a pit: its shots, the ring first, and the triangles over them.
struct Heap<'g> {
    group: &'g Group<'g>,
    pit: bool,
    rows: Vec<&'g RoleShot>,
    correlated: CorrelatedPoints,
    model: PileModel,
}

/// Triangles over points of which the first are the ring's.
struct PileModel {
    /// 1 for a heap, −1 for a pit.
    sign: f64,
    /// Number of ring shots.
    ring: usize,
    /// Indices of the surface's shots inside the ring.
    inside: Vec<usize>,
    base: Vec<Facet>,
    surface: Vec<Facet>,
    /// The shot that is furthest from the base, and the triangle of the base there.
    extreme: usize,
    under: Facet,
}

impl PileModel {
    /// None where the ring crosses itself or holds no shot of the surface.
    fn build(points: &[[f64; 3]], ring: usize, sign: f64) -> Option<PileModel> {
        let inside: Vec<usize> =
            (ring..points.len()).filter(|i| surface::contains(&points[..ring], [points[*i][0], points[*i][1]])).collect();
        if surface::crossing(&points[..ring]).is_some() {
            return None;
        }
        let base = surface::triangles(points, ring, &[])?;
        let surface = surface::triangles(points, ring, &inside)?;
        let over = inside.iter().filter_map(|i| surface::under(points, &base, *i).map(|under| (*i, under)));
        let height_m = |(i, under): &(usize, Facet)| sign * surface::height_over_m(points, *under, *i);
        let (extreme, under) = over.max_by(|a, b| height_m(a).total_cmp(&height_m(b)))?;
        Some(PileModel { sign, ring, inside, base, surface, extreme, under })
    }

    fn quantities(&self, points: &[[f64; 3]]) -> Quantities {
        let net = surface::volume_m3(points, &self.surface) - surface::volume_m3(points, &self.base);
        let height = surface::height_over_m(points, self.under, self.extreme);
        [
            self.sign * net,
            surface::area_and_middle(&points[..self.ring]).0.abs(),
            surface::surface_m2(points, &self.surface),
            self.sign * height,
        ]
    }
}

impl<'g> Heap<'g> {
    fn from_group(group: &'g Group<'g>) -> Result<Heap<'g>, Refusal> {
        let refusal = |what: String| Refusal::from(format!("{} of {}: {what}", group.measure, group.name));
        rows::known_roles(group, &["toe", "crest", "top", "face", "rim", "floor"])?;
        let pit = group.sightings.iter().any(|row| row.role == "rim" || row.role == "floor");
        let (edge, others) = if pit { ("rim", ["toe", "crest", "top"]) } else { ("toe", ["rim", "floor", "floor"]) };
        if let Some(row) = group.sightings.iter().find(|row| others.contains(&row.role.as_str())) {
            return Err(refusal(format!(
                "row {} has the role {} beside rows of a pit (rim, floor); give heap and pit features of their own",
                row.label, row.role
            )));
        }
        let mut rows: Vec<&RoleShot> = group.with_role(edge).collect();
        let ring = rows.len();
        if ring < 3 {
            return Err(refusal(format!(
                "{} the role {edge}; shoot at least 3 round it, better 8 or more",
                counted(ring as u64, "row has", "rows have")
            )));
        }
        rows.extend(group.sightings.iter().filter(|row| row.role != edge));
        if rows.len() == ring {
            let wanted = if pit { "floor or face" } else { "crest, top or face" };
            return Err(refusal(format!("no row has the role {wanted}; shoot the surface inside the {edge} ring")));
        }
        if rows.len() > MOST_SHOTS {
            return Err(refusal(format!(
                "it has {} shots, more than the {MOST_SHOTS} that are taken; leave some out",
                rows.len()
            )));
        }
        let correlated = rows::correlated(group, &rows)?;
        let points = correlated.points();
        for (i, a) in points.iter().enumerate() {
            if let Some(j) = (i + 1..points.len()).find(|j| (a[0] - points[*j][0]).hypot(a[1] - points[*j][1]) < ONE_PLACE_M) {
                let at = "stand at one place in plan; leave one out, or shoot the foot of a vertical face in front of its top";
                return Err(refusal(format!(
                    "{} ({}) and {} ({}) {at}",
                    rows[i].label, rows[i].role, rows[j].label, rows[j].role
                )));
            }
        }
        if let Some((i, j)) = surface::crossing(&points[..ring]) {
            let name = |i: usize| format!("{}\u{2013}{}", rows[i].label, rows[(i + 1) % ring].label);
            return Err(refusal(format!(
                "the {edge} ring crosses itself: side {} meets side {}; put its rows in the order round it",
                name(i),
                name(j)
            )));
        }
        let area_m2 = surface::area_and_middle(&points[..ring]).0.abs();
        if area_m2 < LEAST_AREA_M2 {
            return Err(refusal(format!("the {edge} shots lie on one line and enclose nothing; shoot all round it")));
        }
        if !points[ring..].iter().any(|p| surface::contains(&points[..ring], [p[0], p[1]])) {
            return Err(refusal(format!(
                "no shot of the surface lies inside the {edge} ring; check the order and roles of its rows"
            )));
        }
        let model = PileModel::build(points, ring, if pit { -1.0 } else { 1.0 }).ok_or_else(|| {
            refusal(format!("the {edge} ring cannot be triangulated; check for shots that nearly touch another side of it"))
        })?;
        Ok(Heap { group, pit, rows, correlated, model })
    }

    fn refusal(&self, what: &str) -> Refusal {
        format!("{} of {}: {what}", self.group.measure, self.group.name).into()
    }

    fn warnings(&self) -> Vec<String> {
        let points = self.correlated.points();
        let (edge, wrong) = if self.pit { ("rim", "above") } else { ("toe", "below") };
        let mut warnings = Vec::new();
        for i in (self.model.ring..points.len()).filter(|i| !self.model.inside.contains(i)) {
            let row = self.rows[i];
            warnings.push(format!("{} ({}) lies outside the {edge} ring and is not used", row.label, row.role));
        }
        for i in &self.model.inside {
            let near = surface::under(points, &self.model.base, *i).map(|[a, b, c]| self.correlated.subset(&[a, b, c, *i]));
            let Some(height) = near.map(|near| near.estimate(|p| self.model.sign * surface::height_over_m(p, [0, 1, 2], 3)))
            else {
                continue;
            };
            if height.value < -height.half95() {
                let row = self.rows[*i];
                warnings.push(format!(
                    "{} ({}) lies {} {wrong} the base between the {edge} shots: check it, or shoot the {edge} more closely",
                    row.label,
                    row.role,
                    self.group.said_m(-height.value, 2)
                ));
            }
        }
        warnings.extend(self.unseen());
        warnings
    }

    /// What the bases cannot see: they stand on one side only.
    fn unseen(&self) -> Option<String> {
        let points = self.correlated.points();
        let ring = &points[..self.model.ring];
        let (_, middle) = surface::area_and_middle(ring);
        let mut bases: Vec<usize> = self.rows.iter().map(|row| row.base).collect();
        bases.sort_unstable();
        bases.dedup();
        let places = bases
            .iter()
            .map(|b| self.correlated.frame().from_earth_centred(self.group.bases[*b].frame.to_earth_centred([0.0; 3])));
        let places: Vec<[f64; 3]> = places.collect();
        // A base within the ring looks to all sides.
        if places.iter().any(|p| surface::contains(ring, [p[0], p[1]])) {
            return None;
        }
        let mut directions: Vec<f64> = places.iter().map(|p| (p[0] - middle[0]).atan2(p[1] - middle[1])).collect();
        directions.sort_by(f64::total_cmp);
        let first = *directions.first()?;
        let next = directions.iter().skip(1).copied().chain([first + TAU]);
        // The widest gap between bases, and the direction in its middle: straight away from them.
        let (gap, away) = directions.iter().zip(next).map(|(a, b)| (b - a, 0.5 * (a + b))).max_by(|a, b| a.0.total_cmp(&b.0))?;
        let around = TAU - gap;
        if around >= ONE_SIDE_RAD {
            return None;
        }
        // Of a heap the far half is hidden; of a pit the wall below the bases.
        let (sin, cos) = away.sin_cos();
        let far = |p: &[f64; 3]| self.model.sign * ((p[0] - middle[0]) * sin + (p[1] - middle[1]) * cos);
        let reached = self.model.inside.iter().any(|i| far(&points[*i]) > 0.0);
        let (hidden, from) = if self.pit { ("the wall on their side", "opposite") } else { ("the far side", "far") };
        let missing = if reached { "" } else { ", and no shot of the surface lies in that half" };
        Some(format!(
            "the bases stand within {} around it, seen from its middle: {hidden} may be hidden from them{missing}; shoot it from the \
             {from} side too",
            self.group.said_deg(around.to_degrees(), 0)
        ))
    }
}
