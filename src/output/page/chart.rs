//! The axes of a plot: ranges, ticks, titles, and where a value stands.

use super::svg::{Anchor, FAINT, GREY, SMALL, Svg, stroke};
use crate::output::numbers::{fixed, round_step, step_decimals};
use crate::units::Shown;

/// A plot on its way.
pub struct Plot {
    /// What is drawn on.
    pub svg: Svg,
    /// Left, top, right, bottom of the plot in pixels.
    pub frame: [f64; 4],
    x: [f64; 2],
    y: [f64; 2],
    /// What values are turned to on their way in.
    unit: Option<Shown>,
}

/// The room that the axes need: left, top, right, bottom.
const ROOM: [f64; 4] = [64.0, 16.0, 24.0, 46.0];

impl Plot {
    /// A plot of a size in pixels over ranges of values; ranges are widened to whole ticks.
    pub fn new([width, height]: [f64; 2], x: [f64; 2], y: [f64; 2], titles: [&str; 2]) -> Plot {
        let frame = [ROOM[0], ROOM[1], width - ROOM[2], height - ROOM[3]];
        let (x, y) = (widened(x, 10.0), widened(y, 6.0));
        let mut plot = Plot { svg: Svg::new(width, height), frame, x: x.0, y: y.0, unit: None };
        plot.ticks(x.1, y.1);
        plot.titles(titles, height);
        plot
    }

    /// A plot of the same metres along both axes, or with heights exaggerated by a factor; `width` in pixels. Heights are widened to
    /// whole ticks.
    pub fn to_scale(width: f64, x: [f64; 2], y: [f64; 2], exaggeration: f64, titles: [&str; 2]) -> Plot {
        let px_per_m = (width - ROOM[0] - ROOM[2]) / (x[1] - x[0]);
        let step = round_step(44.0 / (px_per_m * exaggeration));
        let y = [(y[0] / step).floor() * step, (y[1] / step).ceil().max((y[0] / step).floor() + 1.0) * step];
        let height = (y[1] - y[0]) * px_per_m * exaggeration + ROOM[1] + ROOM[3];
        let frame = [ROOM[0], ROOM[1], width - ROOM[2], height - ROOM[3]];
        let mut plot = Plot { svg: Svg::new(width, height), frame, x, y, unit: None };
        plot.ticks(round_step((x[1] - x[0]) / 10.0), step);
        plot.titles(titles, height);
        plot
    }

    /// The same over ranges of metres, shown in a unit of length: values are given in metres, ticks stand at round numbers of the unit.
    pub fn in_unit(unit: Shown, width: f64, x: [f64; 2], y: [f64; 2], exaggeration: f64, titles: [&str; 2]) -> Plot {
        let shown = |range: [f64; 2]| range.map(|metres| unit.value(metres));
        Plot { unit: Some(unit), ..Plot::to_scale(width, shown(x), shown(y), exaggeration, titles) }
    }

    /// Where a pair of values stands, in pixels.
    pub fn at(&self, x: f64, y: f64) -> [f64; 2] {
        match self.unit {
            Some(unit) => self.place(unit.value(x), unit.value(y)),
            None => self.place(x, y),
        }
    }

    fn place(&self, x: f64, y: f64) -> [f64; 2] {
        let [left, top, right, bottom] = self.frame;
        let share = |value: f64, [least, most]: [f64; 2]| (value - least) / (most - least);
        [left + share(x, self.x) * (right - left), bottom - share(y, self.y) * (bottom - top)]
    }

    fn ticks(&mut self, x_step: f64, y_step: f64) {
        let [left, top, right, bottom] = self.frame;
        for value in multiples(self.x, x_step) {
            let [x, _] = self.place(value, self.y[0]);
            self.svg.line([x, top], [x, bottom + 4.0], stroke(FAINT, 1.0));
            self.svg.text([x, bottom + 18.0], Anchor::Middle, SMALL, &fixed(value, step_decimals(x_step)));
        }
        for value in multiples(self.y, y_step) {
            let [_, y] = self.place(self.x[0], value);
            self.svg.line([left - 4.0, y], [right, y], stroke(FAINT, 1.0));
            self.svg.text([left - 8.0, y + 4.0], Anchor::End, SMALL, &fixed(value, step_decimals(y_step)));
        }
        self.svg.line([left, bottom], [right, bottom], stroke(GREY, 1.0));
        self.svg.line([left, top], [left, bottom], stroke(GREY, 1.0));
    }

    fn titles(&mut self, [x, y]: [&str; 2], height: f64) {
        let [left, top, right, bottom] = self.frame;
        self.svg.text([(left + right) / 2.0, height - 8.0], Anchor::Middle, SMALL, x);
        self.svg.turned_text([14.0, (top + bottom) / 2.0], -90.0, Anchor::Middle, SMALL, y);
    }
}

/// A range widened to whole steps, and the step that gives about so many.
fn widened([least, most]: [f64; 2], steps: f64) -> ([f64; 2], f64) {
    let span = if most > least { most - least } else { least.abs().max(1.0) * 0.1 };
    let step = round_step(span / steps);
    let from = (least / step + 1e-9).floor() * step;
    let to = ((most / step - 1e-9).ceil() * step).max(from + step);
    ([from, to], step)
}

fn multiples([least, most]: [f64; 2], step: f64) -> impl Iterator<Item = f64> {
    let (from, to) = ((least / step - 1e-9).ceil() as i64, (most / step + 1e-9).floor() as i64);
    (from..=to).map(move |i| i as f64 * step)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{LengthShown, Units};

    #[test]
    fn ranges_end_at_ticks_and_values_stand_between() {
        assert_eq!(widened([0.0, 87.0], 10.0), ([0.0, 90.0], 10.0));
        assert_eq!(widened([3.0, 3.0], 10.0).1, 0.05);
        let plot = Plot::to_scale(688.0, [0.0, 60.0], [0.0, 12.0], 1.0, ["m", "m"]);
        let ([x0, y0], [x1, y1]) = (plot.at(0.0, 0.0), plot.at(10.0, 10.0));
        assert!(((x1 - x0) - (y0 - y1)).abs() < 1e-9, "the same scale along both axes");
        // In feet of 0.3048 m the same metres stand at the same share of the width.
        let feet = Units { length: LengthShown::Ft, ..Units::default() }.length();
        let plot = Plot::in_unit(feet, 688.0, [0.0, 60.0], [0.0, 12.0], 1.0, ["ft", "ft"]);
        assert!((plot.at(10.0, 0.0)[0] - x1).abs() < 1e-9 && (plot.x[1] - 60.0 / 0.3048).abs() < 1e-9);
    }
}
