//! Differences of places as arrows, enlarged by a factor that is said, over the places themselves; and ordered values against what
//! the law of errors would have them be.

use super::chart::Plot;
use super::svg::{Anchor, GREY, INK, SMALL, Stroke, WARNING, cut, stroke};
use crate::output::numbers::{fixed, round_step, step_decimals};
use crate::units::Shown;

/// A difference at a place.
pub struct MapVector {
    /// Name.
    pub name: String,
    /// Place in metres east and north of any origin.
    pub at_m: [f64; 2],
    /// Difference in metres, east and north.
    pub by_m: [f64; 2],
    /// Whether it stands out.
    pub marked: bool,
}

/// Arrows that have their name beside them; more would lie over each other.
const MOST_NAMED: usize = 40;
/// Widest and highest in pixels.
const WIDTH: f64 = 900.0;
const HIGHEST: f64 = 760.0;
/// Length that the arrow of the 95 % greatest difference is drawn with.
const ARROW_PX: f64 = 60.0;

/// The drawing and its words; none of nothing.
pub fn drawing(vectors: &[MapVector], length: Shown, name: &str, what: &str) -> Option<(String, String)> {
    let mut sizes: Vec<f64> = vectors.iter().map(|vector| vector.by_m[0].hypot(vector.by_m[1])).collect();
    sizes.sort_by(f64::total_cmp);
    let typical_m = sizes[..].get(((sizes.len() as f64 * 0.95) as usize).min(sizes.len().checked_sub(1)?))?.max(1e-4);
    let ends = |axis: usize| {
        let of = vectors.iter().map(|vector| vector.at_m[axis]);
        (of.clone().fold(f64::INFINITY, f64::min), of.fold(f64::NEG_INFINITY, f64::max))
    };
    let ((west, east), (south, north)) = (ends(0), ends(1));
    // Room about the outermost; points in one line, or one place, have a field about them all the same.
    let side = (east - west).max(north - south).max(20.0 * typical_m).max(1.0);
    let (wide, high) = ((east - west).max(0.3 * side), (north - south).max(0.2 * side));
    let wide = wide.max(high * WIDTH / HIGHEST) * 1.25;
    let (x, y) = ((west + east) / 2.0, (south + north) / 2.0);
    let shown = |value: f64| length.value(value);
    let range = |middle: f64, span: f64| [shown(middle - span / 2.0), shown(middle + span / 2.0)];
    // Places are told from the middle of all.
    let titles = [format!("east of the middle, {}", length.sign), format!("north of the middle, {}", length.sign)];
    let mut plot = Plot::to_scale(WIDTH, range(0.0, wide), range(0.0, high * 1.25), 1.0, [&titles[0], &titles[1]]);
    let px_per_m = (plot.at(shown(1.0), 0.0)[0] - plot.at(0.0, 0.0)[0]).abs();
    let factor = (ARROW_PX / px_per_m / typical_m).max(1.0);
    let factor = if factor > 1.5 { round_step(factor) } else { 1.0 };
    for (index, vector) in vectors.iter().enumerate() {
        let [px, py] = plot.at(shown(vector.at_m[0] - x), shown(vector.at_m[1] - y));
        let tip = [px + vector.by_m[0] * factor * px_per_m, py - vector.by_m[1] * factor * px_per_m];
        let colour = if vector.marked { WARNING } else { INK };
        plot.svg.circle([px, py], 2.5, GREY, stroke("#ffffff", 0.5));
        plot.svg.line([px, py], tip, stroke(colour, if vector.marked { 2.2 } else { 1.2 }));
        head(&mut plot, [px, py], tip, colour);
        if vectors.len() <= MOST_NAMED || (vector.marked && index < 10 * MOST_NAMED) {
            plot.svg.text([px + 5.0, py + 12.0], Anchor::Start, SMALL, &cut(&vector.name, 14));
        }
    }
    let enlarged = match factor {
        1.0 => "as long as they are".to_owned(),
        factor => format!("{} times as long as they are", fixed(factor, step_decimals(factor))),
    };
    let words = format!("{what}, drawn {enlarged}; what stands out is drawn thick and in red, and marked in the table.");
    Some((plot.svg.finish(name), words))
}

/// The head of an arrow.
fn head(plot: &mut Plot, [x0, y0]: [f64; 2], [x1, y1]: [f64; 2], colour: &str) {
    let (dx, dy) = (x1 - x0, y1 - y0);
    let long = dx.hypot(dy);
    if long < 4.0 {
        return;
    }
    let (ux, uy) = (dx / long, dy / long);
    let back = 6.0f64.min(long / 2.0);
    let side = |turn: f64| [x1 - back * ux - turn * 0.5 * back * uy, y1 - back * uy + turn * 0.5 * back * ux];
    plot.svg.polygon(&[[x1, y1], side(1.0), side(-1.0)], (colour, 1.0), Stroke { colour: "", width: 0.0, dashes: "" });
}

/// Ordered values against the quantiles that they would have by law: points on the line where they have. `pairs` are quantile and value.
pub fn ordered(pairs: &[[f64; 2]], titles: [&str; 2], name: &str) -> Option<String> {
    let most = pairs.iter().flatten().copied().filter(|value| value.is_finite()).fold(0.0, f64::max);
    if pairs.len() < 3 || most <= 0.0 {
        return None;
    }
    let mut plot = Plot::new([460.0, 420.0], [0.0, most], [0.0, most], titles);
    let ends = [plot.at(0.0, 0.0), plot.at(most, most)];
    plot.svg.line(ends[0], ends[1], Stroke { colour: GREY, width: 1.5, dashes: "5 3" });
    for [quantile, value] in pairs {
        let at = plot.at(*quantile, *value);
        plot.svg.circle(at, 3.0, INK, stroke("#ffffff", 0.6));
    }
    Some(plot.svg.finish(name))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Units;

    #[test]
    fn arrows_are_enlarged_by_a_round_factor_that_is_said() {
        let vector = |name: &str, at_m, by_m| MapVector { name: name.into(), at_m, by_m, marked: name == "P2" };
        let vectors = [
            vector("P1", [0.0, 0.0], [0.1, 0.0]),
            vector("P2", [400.0, 300.0], [0.0, -0.2]),
            vector("<b>", [200.0, 10.0], [0.1, 0.1]),
        ];
        let (svg, words) = drawing(&vectors, Units::default().length(), "errors", "Errors").unwrap();
        assert!(words.contains("times as long as they are"), "{words}");
        assert!(svg.contains("P1") && svg.contains("&lt;b&gt;") && !svg.contains("<b>"));
        assert!(drawing(&[], Units::default().length(), "errors", "Errors").is_none());
        // One point alone, without any error, is drawn too.
        assert!(drawing(&[vector("P1", [5.0, 5.0], [0.0, 0.0])], Units::default().length(), "e", "E").is_some());
    }
}
