//! Heights of trees, poles and faces side by side, to one scale.

use super::super::chart::Plot;
use super::super::items::Measurement;
use super::super::svg::{Anchor, INK, SMALL, cut, stroke};
use super::super::table::clean;
use super::{Figure, Ground, WIDTH};
use crate::output::numbers::plus_minus;
use crate::output::style::Look;
use crate::units::Shown;

/// Things in one drawing.
const MOST_IN_ONE: usize = 18;

/// The drawings of all heights.
pub fn figures(ground: &Ground) -> Vec<Figure> {
    let is_height = |value: &&Measurement| {
        value.measure == "height" && value.quantity == "height_m" && value.target.is_empty() && value.value.is_finite()
    };
    let heights: Vec<&Measurement> = ground.collected.measurements.kept.iter().filter(is_height).collect();
    let sheets = heights.len().div_ceil(MOST_IN_ONE).max(1);
    // Sheets of like size rather than a last one with a single thing.
    let each = heights.len().div_ceil(sheets).max(1);
    heights.chunks(each).enumerate().map(|(i, chunk)| figure(ground.length(), chunk, i, sheets)).collect()
}

fn figure(unit: Shown, heights: &[&Measurement], index: usize, sheets: usize) -> Figure {
    let ends = |value: &Measurement| {
        let half = if value.half95.is_finite() { value.half95 } else { 0.0 };
        [unit.value(value.value - half), unit.value(value.value + half)]
    };
    let least = heights.iter().map(|value| ends(value)[0]).fold(0.0, f64::min);
    let most = heights.iter().map(|value| ends(value)[1]).fold(0.0, f64::max);
    let step = most - least;
    let mut plot =
        Plot::new([WIDTH, 380.0], [0.0, 1.0], [least, most.max(least + step.max(0.1))], ["", &format!("height, {}", unit.sign)]);
    // The axis of things has no numbers: a white band lies over its ticks.
    let [left, _, right, bottom] = plot.frame;
    let band =
        [[left - 10.0, bottom + 1.0], [right + 20.0, bottom + 1.0], [right + 20.0, bottom + 44.0], [left - 10.0, bottom + 44.0]];
    plot.svg.polygon(&band, ("#ffffff", 1.0), stroke("", 0.0));
    let colour = Look::standard("parts").map_or_else(|| INK.to_owned(), |look| look.colour.to_string());
    let room = (right - left) / heights.len() as f64;
    for (i, value) in heights.iter().enumerate() {
        let x = left + room * (i as f64 + 0.5);
        let y_of = |height: f64| plot.at(0.0, height)[1];
        let (foot, top, [low, high]) = (y_of(0.0), y_of(unit.value(value.value)), ends(value).map(y_of));
        let half = (room * 0.18).min(14.0);
        plot.svg.polygon(
            &[[x - half, foot], [x + half, foot], [x + half, top], [x - half, top]],
            (&colour, 0.25),
            stroke(&colour, 1.5),
        );
        plot.svg.line([x, low], [x, high], stroke(INK, 1.5));
        for y in [low, high] {
            plot.svg.line([x - 5.0, y], [x + 5.0, y], stroke(INK, 1.5));
        }
        let most = ((room / 6.6) as usize).max(4);
        plot.svg.text([x, bottom + 16.0], Anchor::Middle, SMALL, &cut(&clean(&value.name), most));
        if room > 76.0 {
            plot.svg.text(
                [x, bottom + 32.0],
                Anchor::Middle,
                SMALL,
                &plus_minus(unit.value(value.value), unit.value(value.half95)),
            );
        }
    }
    let of = if sheets > 1 { format!(", {} of {sheets}", index + 1) } else { String::new() };
    let title = format!("Heights to scale{of}");
    Figure::new(format!("heights-{}", index + 1), title, plot.svg, "Each with its 95 % interval.".to_owned())
}
