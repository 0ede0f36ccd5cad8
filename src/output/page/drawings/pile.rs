//! A heap or a pit from above: its edge, the shots on its surface with their heights, and height lines.
//!
//! The surface is that of the volume, the triangles over the shots inside the edge, so that the lines show what was computed.

use super::super::items::{MeasuredPoint, PageLine};
use super::super::svg::{Anchor, GREY, INK, LABEL, SMALL, Svg, stroke};
use super::super::table::clean;
use super::section::Labels;
use super::{Figure, Ground};
use crate::measure::volume::surface;
use crate::output::numbers::{fixed, round_step, step_decimals};
use crate::output::style::{Look, Mark};

const SIZE: [f64; 2] = [760.0, 560.0];
const MARGIN: f64 = 50.0;

/// The drawings of all volumes.
pub fn figures(ground: &Ground) -> Vec<Figure> {
    let rings = ground.collected.areas.kept.iter().filter(|area| area.origin == "volume");
    rings.filter_map(|ring| figure(ground, ring)).collect()
}

fn figure(ground: &Ground, edge: &PageLine) -> Option<Figure> {
    let mut ring: Vec<[f64; 3]> = edge.corners.iter().map(|corner| ground.at(*corner)).collect();
    if ring.first() == ring.last() {
        ring.pop();
    }
    let on_surface = |shot: &&MeasuredPoint| {
        shot.measure == "volume"
            && shot.name == edge.name
            && !matches!(shot.role.as_str(), "toe" | "rim")
            && shot.at[2].is_finite()
    };
    let shots: Vec<[f64; 3]> = ground.collected.measured.kept.iter().filter(on_surface).map(|shot| ground.at(shot.at)).collect();
    if ring.len() < 3 || ring.iter().any(|corner| !corner[2].is_finite()) {
        return None;
    }
    let unit = ground.length();
    let mut points = ring.clone();
    points.extend(&shots);
    // Heights are drawn and told in the unit of lengths.
    points.iter_mut().for_each(|point| point[2] = unit.value(point[2]));
    let fold = |axis: usize| points.iter().fold([f64::MAX, f64::MIN], |[a, b], p| [a.min(p[axis]), b.max(p[axis])]);
    let ([west, east], [south, north], [low, high]) = (fold(0), fold(1), fold(2));
    let px_per_m = ((SIZE[0] - 2.0 * MARGIN) / (east - west).max(0.1)).min((SIZE[1] - 2.0 * MARGIN) / (north - south).max(0.1));
    let at = |p: [f64; 3]| {
        [SIZE[0] / 2.0 + (p[0] - (west + east) / 2.0) * px_per_m, SIZE[1] / 2.0 - (p[1] - (south + north) / 2.0) * px_per_m]
    };
    let mut svg = Svg::new(SIZE[0], SIZE[1]);
    let colour = Look::standard("areas").map_or_else(|| INK.to_owned(), |look| look.colour.to_string());
    svg.polygon(&ring.iter().map(|p| at(*p)).collect::<Vec<_>>(), (&colour, 0.12), stroke(&colour, 2.0));
    let step = round_step(((high - low) / 8.0).max(unit.value(0.05)));
    let mut labels = Labels::within(&svg);
    let inside: Vec<usize> = (ring.len()..points.len()).collect();
    if let Some(triangles) = surface::triangles(&points, ring.len(), &inside) {
        contours(&mut svg, &points, &triangles, step, &at, &mut labels);
    }
    for point in &points {
        let [x, y] = at(*point);
        svg.mark(None, [x, y], Mark::Circle, 5.0, INK, stroke("#ffffff", 0.6));
        let text = fixed(point[2], 1);
        let places = [([x + 6.0, y + 4.0], Anchor::Start), ([x, y - 8.0], Anchor::Middle), ([x - 6.0, y + 4.0], Anchor::End)];
        labels.place(&mut svg, &places, LABEL, &text);
    }
    let bar = round_step(unit.value(60.0 / px_per_m));
    let (x, y) = (16.0, SIZE[1] - 14.0);
    svg.line([x, y], [x + bar / unit.value(1.0) * px_per_m, y], stroke(INK, 2.0));
    svg.text([x, y - 6.0], Anchor::Start, SMALL, &format!("{} {}", fixed(bar, step_decimals(bar)), unit.sign));
    svg.line([SIZE[0] - 24.0, 60.0], [SIZE[0] - 24.0, 24.0], stroke(INK, 1.6));
    svg.polyline(&[[SIZE[0] - 29.0, 34.0], [SIZE[0] - 24.0, 24.0], [SIZE[0] - 19.0, 34.0]], stroke(INK, 1.6));
    svg.text([SIZE[0] - 24.0, 18.0], Anchor::Middle, SMALL, "grid");
    let title = format!("{} from above", clean(&edge.name));
    let caption = format!(
        "{} Height lines every {} {} over the triangles of the shots; spot heights are the third coordinate of the layers, in {}.",
        ground.said("volume", &edge.name),
        fixed(step, step_decimals(step)),
        unit.sign,
        unit.words
    );
    Some(Figure::new(format!("volume-{}", edge.name), title, svg, caption))
}

/// Lines of equal height: in each triangle the straight one between two of its sides.
fn contours(
    svg: &mut Svg,
    points: &[[f64; 3]],
    triangles: &[surface::Facet],
    step: f64,
    at: &impl Fn([f64; 3]) -> [f64; 2],
    labels: &mut Labels,
) {
    let fold = points.iter().fold([f64::MAX, f64::MIN], |[a, b], p| [a.min(p[2]), b.max(p[2])]);
    for i in (fold[0] / step).ceil() as i64..=(fold[1] / step).floor() as i64 {
        // A hair above, so that a corner at the very height is on one side.
        let level = i as f64 * step + 1e-9;
        let mut longest: Option<([f64; 2], f64)> = None;
        for triangle in triangles {
            let crossings: Vec<[f64; 2]> = [(0, 1), (1, 2), (2, 0)]
                .into_iter()
                .filter_map(|(a, b)| {
                    let (a, b) = (points[triangle[a]], points[triangle[b]]);
                    let share = (level - a[2]) / (b[2] - a[2]);
                    let mix = |axis: usize| a[axis] + share * (b[axis] - a[axis]);
                    ((a[2] < level) != (b[2] < level)).then(|| at([mix(0), mix(1), level]))
                })
                .collect();
            if let [from, to] = crossings[..] {
                svg.line(from, to, stroke(GREY, if i % 5 == 0 { 1.8 } else { 0.9 }));
                let length = (to[0] - from[0]).hypot(to[1] - from[1]);
                if longest.is_none_or(|(_, known)| length > known) {
                    longest = Some(([(from[0] + to[0]) / 2.0, (from[1] + to[1]) / 2.0], length));
                }
            }
        }
        if let Some((middle, _)) = longest {
            let text = fixed(i as f64 * step, step_decimals(step));
            labels.place(
                svg,
                &[([middle[0], middle[1] + 4.0], Anchor::Middle)],
                super::super::svg::Face { halo: true, ..SMALL },
                &text,
            );
        }
    }
}
