//! The map as a drawing: what stands in the place of the interactive one without scripts and in print.

use std::collections::BTreeSet;

use rustc_hash::FxHashMap;

use super::background::{Background, BackgroundDrawn};
use super::collect::Collected;
use super::groups::Groups;
use super::items::{PageBase, PageFeature};
use super::plane::MapPlane;
use super::svg::{Anchor, FAINT, Face, INK, LABEL, SMALL, Stroke, Svg, WARNING, cut, stroke};
use crate::output::numbers::{fixed, round_step, step_decimals};
use crate::output::style::Look;
use crate::units::Shown;

/// Width of the drawing in pixels.
const WIDTH: f64 = 1060.0;
/// Least and greatest height.
const HEIGHTS: [f64; 2] = [420.0, 780.0];
/// Room for the labels of the grid.
const MARGIN: f64 = 34.0;
/// Features beyond which sight lines and ellipses are off at first, and marks become dots.
pub const MANY: usize = 2_000;
/// Labels that are tried at the most.
const MOST_LABELS: usize = 400;
/// Enlargements of ellipses that a map may have.
const FACTORS: [f64; 10] = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0];
/// Share of the map's width that a middling ellipse may take.
const ELLIPSE_SHARE: f64 = 0.02;

/// Colour of the outlines of a background.
const OUTLINES: &str = "#b0a890";
/// Share of a middling sight that a middling ellipse may take.
const SIGHT_SHARE: f64 = 0.15;

/// The three norths at the middle of the map, in degrees from grid north, clockwise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MapNorths {
    /// True north; none where the CRS has no grid or it is withheld.
    pub true_deg: Option<f64>,
    /// Magnetic north.
    pub magnetic_deg: Option<f64>,
    /// Declination.
    pub declination_deg: Option<f64>,
}

impl MapNorths {
    /// From the bases' convergence and the features' declination.
    pub fn from_collected(collected: &Collected) -> MapNorths {
        let mean = |values: &mut dyn Iterator<Item = f64>| {
            let (mut sum, mut count) = (0.0, 0u32);
            for value in values.filter(|value| value.is_finite()) {
                (sum, count) = (sum + value, count + 1);
            }
            (count > 0).then(|| sum / f64::from(count))
        };
        let convergence = match collected.projected {
            true => mean(&mut collected.bases.kept.iter().map(|base| base.convergence_deg)),
            false => Some(0.0),
        };
        let declination_deg = mean(&mut collected.features.kept.iter().map(|feature| feature.declination_deg));
        // Convergence is true minus grid azimuth, so true north lies by as much to the left of grid north.
        let true_deg = convergence.map(|convergence| -convergence);
        MapNorths { true_deg, magnetic_deg: true_deg.zip(declination_deg).map(|(north, east)| north + east), declination_deg }
    }
}

/// How ellipses are enlarged: the greatest of 1, 2, 5, 10 … that leaves a middling one small on the map.
pub fn ellipse_factor(collected: &Collected, plane: &MapPlane) -> Option<f64> {
    let mut axes: Vec<f64> = collected.features.kept.iter().map(|f| f.ellipse[0]).filter(|axis| axis.is_finite()).collect();
    if axes.is_empty() {
        return None;
    }
    axes.sort_by(f64::total_cmp);
    let mut sights: Vec<f64> = collected.features.kept.iter().map(|f| f.distance_m).filter(|far| far.is_finite()).collect();
    sights.sort_by(f64::total_cmp);
    // Neither wide on the map, nor wide beside a sight: an ellipse of a plot among plots far apart stays in its plot.
    let by_sight = sights.get(sights.len() / 2).map_or(f64::MAX, |sight| SIGHT_SHARE * sight);
    let room_m = (ELLIPSE_SHARE * plane.size_m()[0].max(plane.size_m()[1])).min(by_sight);
    let middling = axes[axes.len() / 2];
    FACTORS.into_iter().rev().find(|factor| factor * middling <= room_m).or(Some(1.0))
}

/// The bases that the page keeps, by their names.
pub struct NamedBases<'c> {
    bases: FxHashMap<&'c str, &'c PageBase>,
    norths: &'c MapNorths,
}

impl<'c> NamedBases<'c> {
    /// Those of a page. Of several with one name the first counts.
    pub fn new(collected: &'c Collected, norths: &'c MapNorths) -> NamedBases<'c> {
        NamedBases { bases: collected.bases.kept.iter().rev().map(|base| (base.name.as_str(), base)).collect(), norths }
    }

    /// Where a feature's base is.
    fn place_of(&self, feature: &PageFeature) -> Option<[f64; 2]> {
        self.bases.get(&*feature.base).map(|base| base.at)
    }

    /// The convergence at a feature's base, in degrees; 0 where it is not known.
    pub fn convergence_deg(&self, feature: &PageFeature) -> f64 {
        let of_base = self.bases.get(&*feature.base).map(|base| base.convergence_deg);
        of_base.filter(|convergence| convergence.is_finite()).or(self.norths.true_deg.map(|north| -north)).unwrap_or(0.0)
    }
}

/// The step of the grid in the unit of the CRS that gives four to ten lines.
pub fn grid_step(plane: &MapPlane) -> f64 {
    let [width, height] = plane.size_m();
    round_step(width.max(height) / 6.0 / plane.unit_m[1])
}

/// What the drawing is made with.
struct MapView<'p> {
    plane: &'p MapPlane,
    size: [f64; 2],
    px_per_m: f64,
}

impl MapView<'_> {
    fn at(&self, place: [f64; 2]) -> [f64; 2] {
        self.on_plane(self.plane.at(place))
    }

    fn on_plane(&self, [e, n]: [f64; 2]) -> [f64; 2] {
        let [west, south, east, north] = self.plane.bounds;
        let middle = [(west + east) / 2.0, (south + north) / 2.0];
        [self.size[0] / 2.0 + (e - middle[0]) * self.px_per_m, self.size[1] / 2.0 - (n - middle[1]) * self.px_per_m]
    }

    /// Whether a pixel is on the drawing.
    fn shows(&self, [x, y]: [f64; 2]) -> bool {
        (0.0..=self.size[0]).contains(&x) && (0.0..=self.size[1]).contains(&y)
    }

    /// A pixel in the CRS of the layers.
    fn back(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [west, south, east, north] = self.plane.bounds;
        let e = (x - self.size[0] / 2.0) / self.px_per_m + (west + east) / 2.0;
        let n = (self.size[1] / 2.0 - y) / self.px_per_m + (south + north) / 2.0;
        self.plane.back([e, n])
    }
}

/// The drawing.
pub fn draw(
    collected: &Collected,
    groups: &Groups,
    plane: &MapPlane,
    norths: &MapNorths,
    factor: Option<f64>,
    background: Option<&Background>,
    name: &str,
) -> String {
    let [width_m, height_m] = plane.size_m();
    let height = (WIDTH * height_m / width_m).clamp(HEIGHTS[0], HEIGHTS[1]);
    let inner = [WIDTH - 2.0 * MARGIN, height - 2.0 * MARGIN];
    let view = MapView { plane, size: [WIDTH, height], px_per_m: (inner[0] / width_m).min(inner[1] / height_m) };
    let many = collected.features.seen as usize > MANY;
    let mut svg = Svg::new(WIDTH, height);
    svg.polygon(
        &[[0.5, 0.5], [WIDTH - 0.5, 0.5], [WIDTH - 0.5, height - 0.5], [0.5, height - 0.5]],
        ("#ffffff", 1.0),
        stroke(FAINT, 1.0),
    );
    if let Some(background) = background {
        under(&mut svg, &view, background);
    }
    grid(&mut svg, &view);
    if collected.features.is_part() {
        cells(&mut svg, &view, collected);
    }
    outlines(&mut svg, &view, collected);
    if !many {
        sights_and_ellipses(&mut svg, &view, collected, norths, factor);
    }
    points(&mut svg, &view, collected, groups, many);
    bases(&mut svg, &view, collected);
    labels(&mut svg, &view, collected, if many { 0 } else { MOST_LABELS });
    scale_bar(&mut svg, &view, collected.units.length());
    let back = [[WIDTH - 118.0, 4.0], [WIDTH - 4.0, 4.0], [WIDTH - 4.0, 108.0], [WIDTH - 118.0, 108.0]];
    svg.polygon(&back, ("#ffffff", 0.85), Stroke { colour: "", width: 0.0, dashes: "" });
    north_arrows(&mut svg, [WIDTH - 61.0, 98.0], norths, collected.projected);
    svg.finish(name)
}

/// The user's own file under everything else.
fn under(svg: &mut Svg, view: &MapView, background: &Background) {
    match &background.drawn {
        BackgroundDrawn::Picture(address) => {
            let [west, south, east, north] = view.plane.bounds;
            svg.picture(view.on_plane([west, north]), view.on_plane([east, south]), address);
        }
        BackgroundDrawn::Outlines(lines, _) => {
            svg.begin_look(("none", 1.0), stroke(OUTLINES, 1.0));
            for line in lines {
                let ends = line.windows(2).map(|pair| [view.at(pair[0]), view.at(pair[1])]);
                svg.lines(ends.filter(|ends| ends.iter().any(|end| view.shows(*end))));
            }
            svg.end_group();
        }
    }
}

fn grid(svg: &mut Svg, view: &MapView) {
    let step = grid_step(view.plane);
    let ([west, north], [east, south]) = (view.back([0.0, 0.0]), view.back(view.size));
    let (decimals, mark) = (step_decimals(step), if view.plane.degrees { "°" } else { "" });
    let lines =
        |least: f64, most: f64| ((least / step).ceil() as i64..=(most / step).floor() as i64).map(move |i| i as f64 * step);
    for x in lines(west, east) {
        let [px, _] = view.at([x, north]);
        svg.line([px, 0.0], [px, view.size[1]], stroke(FAINT, 1.0));
        if px > 40.0 && px < view.size[0] - 110.0 {
            svg.text([px + 3.0, view.size[1] - 5.0], Anchor::Start, SMALL, &format!("E {}{mark}", fixed(x, decimals)));
        }
    }
    for y in lines(south, north) {
        let [_, py] = view.at([west, y]);
        svg.line([0.0, py], [view.size[0], py], stroke(FAINT, 1.0));
        if py > 20.0 && py < view.size[1] - 30.0 {
            svg.text([5.0, py - 4.0], Anchor::Start, SMALL, &format!("N {}{mark}", fixed(y, decimals)));
        }
    }
}

fn cells(svg: &mut Svg, view: &MapView, collected: &Collected) {
    let (side, list) = collected.cells.list();
    let most = list.iter().map(|(_, count)| *count).max().unwrap_or(1) as f64;
    for ([x, y], count) in list {
        let ([w, s], [e, n]) = (view.at([x, y]), view.at([x + side, y + side]));
        let opacity = 0.08 + 0.4 * (count as f64 / most).sqrt();
        svg.polygon(
            &[[w, s], [e, s], [e, n], [w, n]],
            (INK, (opacity * 100.0).round() / 100.0),
            Stroke { colour: "", width: 0.0, dashes: "" },
        );
    }
}

fn outlines(svg: &mut Svg, view: &MapView, collected: &Collected) {
    let px = |corners: &[[f64; 3]]| corners.iter().map(|[x, y, _]| view.at([*x, *y])).collect::<Vec<_>>();
    if let Some(look) = Look::standard("areas") {
        let colour = look.colour.to_string();
        collected
            .areas
            .kept
            .iter()
            .for_each(|area| svg.polygon(&px(&area.corners), (&colour, look.fill_opacity), stroke(&colour, 1.5)));
    }
    if let Some(look) = Look::standard("lines") {
        let colour = look.colour.to_string();
        collected.lines.kept.iter().for_each(|line| svg.polyline(&px(&line.corners), stroke(&colour, look.line_width_px)));
    }
}

fn sights_and_ellipses(svg: &mut Svg, view: &MapView, collected: &Collected, norths: &MapNorths, factor: Option<f64>) {
    let bases = NamedBases::new(collected, norths);
    if let Some(look) = Look::standard("sight_lines").filter(|_| collected.sights) {
        let colour = look.colour.to_string();
        let sights = collected.features.kept.iter().filter_map(|f| bases.place_of(f).map(|base| [view.at(base), view.at(f.at)]));
        svg.begin_look(("none", 1.0), stroke(&colour, 0.6));
        svg.lines(sights);
        svg.end_group();
    }
    if let (Some(look), Some(factor)) = (Look::standard("ellipses"), factor) {
        let colour = look.colour.to_string();
        svg.begin_look((&colour, look.fill_opacity), stroke(&colour, 1.0));
        for feature in collected.features.kept.iter().filter(|feature| feature.ellipse[0].is_finite()) {
            let axes = [feature.ellipse[0], feature.ellipse[1]].map(|axis| axis * factor * view.px_per_m);
            let azimuth = feature.ellipse[2] - bases.convergence_deg(feature);
            svg.ellipse(view.at(feature.at), axes, azimuth);
        }
        svg.end_group();
    }
}

fn points(svg: &mut Svg, view: &MapView, collected: &Collected, groups: &Groups, many: bool) {
    let kept = &collected.features.kept;
    for (index, group) in groups.groups.iter().enumerate() {
        let colour = group.look.colour.to_string();
        let of_group = || kept.iter().enumerate().filter(|(i, _)| groups.of[*i] == index);
        if many {
            svg.dots(of_group().map(|(_, feature)| view.at(feature.at)), 3.0, &colour);
            continue;
        }
        let names = [format!("m{index}"), format!("w{index}")];
        svg.keep_mark(&names[0], group.look.mark, group.look.size_px, &colour, stroke("#ffffff", 1.0));
        svg.keep_mark(&names[1], group.look.mark, group.look.size_px + 1.0, &colour, stroke(INK, 2.0));
        for (i, feature) in of_group() {
            svg.stamp(&names[usize::from(!feature.flags.is_empty())], &format!("f{i}"), view.at(feature.at));
        }
    }
}

fn bases(svg: &mut Svg, view: &MapView, collected: &Collected) {
    let Some(look) = Look::standard("bases") else { return };
    let colour = look.colour.to_string();
    for base in &collected.bases.kept {
        svg.mark(None, view.at(base.at), look.mark, look.size_px, &colour, stroke("#ffffff", 1.5));
    }
}

/// Labels that do not lie over each other or over marks: bases first, then features with flags, then the others.
fn labels(svg: &mut Svg, view: &MapView, collected: &Collected, most: usize) {
    let features = &collected.features.kept;
    let mut taken = TakenPixels::new(view.size);
    // The corners of scale bar and arrows.
    taken.take([0.0, view.size[1] - 60.0, 230.0, view.size[1]]);
    taken.take([view.size[0] - 120.0, 0.0, view.size[0], 110.0]);
    let around = |[x, y]: [f64; 2], r: f64| [x - r, y - r, x + r, y + r];
    if most > 0 {
        features.iter().for_each(|feature| taken.take(around(view.at(feature.at), 4.0)));
    }
    collected.bases.kept.iter().take(MOST_LABELS).for_each(|base| taken.take(around(view.at(base.at), 7.0)));
    let (flagged, others): (Vec<&PageFeature>, Vec<&PageFeature>) =
        features.iter().partition(|feature| !feature.flags.is_empty());
    let mut named = BTreeSet::new();
    svg.begin_face(Face { bold: true, ..LABEL });
    for base in collected.bases.kept.iter().take(MOST_LABELS) {
        taken.place(svg, view.at(base.at), 9.0, &cut(&base.name, 24));
    }
    svg.end_group();
    for (list, face) in [(flagged, Face { colour: WARNING, ..LABEL }), (others, LABEL)] {
        svg.begin_face(face);
        for feature in list.into_iter().take(most) {
            // Shots of one measurement share a name: it stands once.
            if !named.insert(feature.name.as_str()) {
                continue;
            }
            taken.place(svg, view.at(feature.at), 6.0, &cut(&feature.name, 24));
        }
        svg.end_group();
    }
}

/// What is drawn already, as boxes in a coarse grid of pixels.
struct TakenPixels {
    boxes: Vec<[f64; 4]>,
    size: [f64; 2],
}

impl TakenPixels {
    fn new(size: [f64; 2]) -> TakenPixels {
        TakenPixels { boxes: Vec::new(), size }
    }

    fn take(&mut self, area: [f64; 4]) {
        self.boxes.push(area);
    }

    fn place(&mut self, svg: &mut Svg, [x, y]: [f64; 2], off: f64, text: &str) {
        if text.is_empty() {
            return;
        }
        // Common practice, no source: a digit of a system font is about 0.6 of its height wide.
        let (width, height) = (text.chars().count() as f64 * LABEL.size_px * 0.6, LABEL.size_px);
        let places = [
            ([x + off, y + height * 0.35], Anchor::Start, x + off),
            ([x - off, y + height * 0.35], Anchor::End, x - off - width),
            ([x, y - off - 2.0], Anchor::Middle, x - width / 2.0),
            ([x, y + off + height * 0.8], Anchor::Middle, x - width / 2.0),
        ];
        for (at, anchor, left) in places {
            let area = [left, at[1] - height * 0.85, left + width, at[1] + height * 0.2];
            let inside = area[0] > 2.0 && area[1] > 2.0 && area[2] < self.size[0] - 2.0 && area[3] < self.size[1] - 2.0;
            let meets = |other: &[f64; 4]| area[0] < other[2] && other[0] < area[2] && area[1] < other[3] && other[1] < area[3];
            if inside && !self.boxes.iter().any(meets) {
                svg.plain_text(at, anchor, text);
                self.boxes.push(area);
                return;
            }
        }
    }
}

fn scale_bar(svg: &mut Svg, view: &MapView, unit: Shown) {
    let shown = round_step(unit.value(110.0 / view.px_per_m / 2.0));
    let (length, y, x) = (shown / unit.value(1.0) * view.px_per_m, view.size[1] - 26.0, 14.0);
    let back = [[x - 8.0, y - 22.0], [x + length + 12.0, y - 22.0], [x + length + 12.0, y + 8.0], [x - 8.0, y + 8.0]];
    svg.polygon(&back, ("#ffffff", 0.85), Stroke { colour: "", width: 0.0, dashes: "" });
    svg.line([x, y], [x + length, y], stroke(INK, 2.0));
    for end in [x, x + length] {
        svg.line([end, y - 4.0], [end, y + 4.0], stroke(INK, 2.0));
    }
    let text = match unit.is_same() && shown >= 1000.0 {
        true => format!("{} km", fixed(shown / 1000.0, 0)),
        false => format!("{} {}", fixed(shown, step_decimals(shown)), unit.sign),
    };
    svg.text([x + length / 2.0, y - 7.0], Anchor::Middle, SMALL, &text);
}

/// The arrows in a drawing of their own, for the interactive map.
pub fn norths_drawing(norths: &MapNorths, projected: bool) -> String {
    let mut svg = Svg::new(ARROWS[0], ARROWS[1]);
    north_arrows(&mut svg, [ARROWS[0] / 2.0, ARROWS[1] - 10.0], norths, projected);
    svg.finish("Norths")
}

/// Width and height of the arrows.
const ARROWS: [f64; 2] = [110.0, 104.0];

/// Least angle between two arrows in degrees, as printed maps have it: the sides are true, the angles stand in words.
const LEAST_TURN_DEG: f64 = 15.0;

/// Arrows to grid, true and magnetic north from a point. Each lies on its true side of the others, spread so that they can be told apart.
fn north_arrows(svg: &mut Svg, foot: [f64; 2], norths: &MapNorths, projected: bool) {
    let mut arrows: Vec<(f64, &str, &'static str)> = Vec::new();
    if projected {
        arrows.push((0.0, "G", ""));
    }
    if let Some(north) = if projected { norths.true_deg } else { Some(0.0) } {
        arrows.push((north, "T", "5 3"));
    }
    if let Some(magnetic) = norths.magnetic_deg {
        arrows.push((magnetic, "M", "1 3"));
    }
    arrows.sort_by(|a, b| a.0.total_cmp(&b.0));
    for i in 1..arrows.len() {
        arrows[i].0 = arrows[i].0.max(arrows[i - 1].0 + LEAST_TURN_DEG);
    }
    // The map's own north points up.
    let up = arrows.iter().find(|(_, letter, _)| *letter == if projected { "G" } else { "T" }).map_or(0.0, |(turn, ..)| *turn);
    for (turn, letter, dashes) in arrows {
        let reach = 62.0;
        let degrees = turn - up;
        let (sin, cos) = degrees.to_radians().sin_cos();
        let tip = [foot[0] + reach * sin, foot[1] - reach * cos];
        svg.line(foot, tip, Stroke { colour: INK, width: 1.6, dashes });
        let side = |turn: f64| {
            let (sin, cos) = (degrees + turn).to_radians().sin_cos();
            [tip[0] - 9.0 * sin, tip[1] + 9.0 * cos]
        };
        svg.polyline(&[side(24.0), tip, side(-24.0)], stroke(INK, 1.6));
        svg.text([foot[0] + (reach + 10.0) * sin, foot[1] - (reach + 6.0) * cos], Anchor::Middle, SMALL, letter);
    }
}

/// What the three norths are, in a sentence; none where nothing is known of them.
pub fn norths_words(norths: &MapNorths, projected: bool, angle: &Shown) -> Option<String> {
    let side = |degrees: f64| if degrees < 0.0 { "west" } else { "east" };
    let mut parts = Vec::new();
    if let (true, Some(north)) = (projected, norths.true_deg) {
        parts.push(match north.abs() < 0.005 {
            true => "true north (T) and grid north (G) are one here".to_owned(),
            false => format!("true north (T) lies {} {} of grid north (G)", angle.said(north.abs(), 2), side(north)),
        });
    }
    if let (Some(magnetic), Some(declination)) = (norths.magnetic_deg, norths.declination_deg) {
        let from = if projected { "grid" } else { "true" };
        parts.push(format!(
            "magnetic north (M) {} {} of {from} north, by a mean declination of {}",
            angle.said(magnetic.abs(), 2),
            side(magnetic),
            angle.signed(declination, 2)
        ));
    }
    (!parts.is_empty()).then(|| {
        let text = parts.join("; ");
        format!("{}{}. The arrows show the sides, not the angles.", text[..1].to_uppercase(), &text[1..])
    })
}
