//! The section of a span: the wire between its supports, the ground and objects below, and each clearance as it was measured.

use super::super::chart::Plot;
use super::super::items::{MeasuredPoint, Measurement, PageLine};
use super::super::svg::{Anchor, Face, GREY, INK, LABEL, Stroke, WARNING, cut, stroke};
use super::super::table::clean;
use super::section::{Labels, exaggeration, height_title, widened};
use super::{Figure, Ground, WIDTH};
use crate::output::numbers::{fixed, plus_minus};
use crate::output::style::{Look, Mark};
use crate::units::Shown;

/// The sections of all spans.
pub fn figures(ground: &Ground) -> Vec<Figure> {
    let wires = ground.collected.lines.kept.iter().filter(|line| line.origin == "span");
    wires.filter_map(|wire| figure(ground, wire)).collect()
}

/// A point of the section: along it, height, and the shot.
struct Spot<'c> {
    along_m: f64,
    height_m: f64,
    shot: &'c MeasuredPoint,
}

fn figure(ground: &Ground, wire: &PageLine) -> Option<Figure> {
    let corners: Vec<[f64; 3]> = wire.corners.iter().map(|corner| ground.at(*corner)).collect();
    let (first, last) = (corners.first()?, corners.last()?);
    let [de, dn] = [last[0] - first[0], last[1] - first[1]];
    let length_m = de.hypot(dn);
    if length_m <= 0.0 || corners.iter().any(|corner| !corner[2].is_finite()) {
        return None;
    }
    let along = |[e, n, _]: [f64; 3]| ((e - first[0]) * de + (n - first[1]) * dn) / length_m;
    let line: Vec<[f64; 2]> = corners.iter().map(|corner| [along(*corner), corner[2]]).collect();
    let mut spots: Vec<Spot> = ground
        .collected
        .measured
        .kept
        .iter()
        .filter(|shot| shot.measure == "span" && shot.name == wire.name)
        .map(|shot| (ground.at(shot.at), shot))
        .filter(|(at, _)| at[2].is_finite())
        .map(|(at, shot)| Spot { along_m: along(at), height_m: at[2], shot })
        .collect();
    spots.sort_by(|a, b| a.along_m.total_cmp(&b.along_m));
    let range = |values: &mut dyn Iterator<Item = f64>| values.fold([f64::MAX, f64::MIN], |[a, b], v| [a.min(v), b.max(v)]);
    let x = range(&mut line.iter().map(|[s, _]| *s).chain(spots.iter().map(|spot| spot.along_m)));
    let y = range(&mut line.iter().map(|[_, z]| *z).chain(spots.iter().map(|spot| spot.height_m)));
    let factor = exaggeration(x[1] - x[0], y[1] - y[0], 0.45);
    let unit = ground.length();
    let titles = [&format!("along the span, {}", unit.sign), &height_title(factor, "height", unit.sign)];
    let mut plot = Plot::in_unit(unit, WIDTH, widened(x), [y[0] - 0.5, y[1] + 1.0], factor, titles.map(String::as_str));
    draw(ground, &mut plot, wire, &line, &spots);
    let title = format!("Section of span {}", clean(&wire.name));
    let mut caption =
        format!("{} Seen from the side; heights are the third coordinate of the layers.", ground.said("span", &wire.name));
    if factor > 1.0 {
        caption.push_str(&format!(" Heights are drawn {factor} times their size."));
    }
    if !wire.caution.is_empty() {
        caption.push_str(&format!(" {}", clean(&wire.caution)));
    }
    Some(Figure::new(format!("span-{}", wire.name), title, plot.svg, caption))
}

fn draw(ground: &Ground, plot: &mut Plot, wire: &PageLine, line: &[[f64; 2]], spots: &[Spot]) {
    let look = |id| Look::standard(id).map_or_else(|| INK.to_owned(), |look| look.colour.to_string());
    let (wire_colour, ground_colour) = (look("lines"), look("profiles"));
    let below: Vec<[f64; 2]> =
        spots.iter().filter(|spot| spot.shot.role == "ground").map(|spot| plot.at(spot.along_m, spot.height_m)).collect();
    if below.len() > 1 {
        plot.svg.polyline(&below, Stroke { colour: &ground_colour, width: 1.5, dashes: "6 3" });
    }
    let drawn: Vec<[f64; 2]> = line.iter().map(|[s, z]| plot.at(*s, *z)).collect();
    plot.svg.polyline(&drawn, stroke(&wire_colour, 2.5));
    let mut labels = Labels::within(&plot.svg);
    for [x, y] in &drawn {
        labels.take([x - 6.0, y - 3.0, x + 6.0, y + 3.0]);
    }
    for spot in spots {
        let [x, y] = plot.at(spot.along_m, spot.height_m);
        labels.take([x - 6.0, y - 6.0, x + 6.0, y + 6.0]);
    }
    let clearances: Vec<ClearanceLine> = spots.iter().filter_map(|spot| clearance(ground, wire, line, spot)).collect();
    clearances.iter().for_each(|clearance| clearance.draw(plot, &mut labels));
    clearances.iter().for_each(|clearance| clearance.label(plot, &mut labels, ground.length()));
    let mut supports: Vec<&str> = Vec::new();
    for spot in spots {
        let at = plot.at(spot.along_m, spot.height_m);
        let (mark, colour) = match spot.shot.role.as_str() {
            "ground" => (Mark::Square, ground_colour.as_str()),
            "object" => (Mark::Triangle, ground_colour.as_str()),
            "wire" => (Mark::X, wire_colour.as_str()),
            _ => (Mark::Circle, wire_colour.as_str()),
        };
        plot.svg.mark(None, at, mark, 8.0, colour, stroke("#ffffff", 0.8));
        let text = match (spot.shot.role.as_str(), spot.shot.code.as_str()) {
            // Shot several times, named once.
            (role @ ("support_a" | "support_b"), _) if supports.contains(&role) => continue,
            (role @ ("support_a" | "support_b"), _) => {
                supports.push(role);
                role.replace('_', " ")
            }
            ("wire", _) => continue,
            (_, "") => spot.shot.shot.clone(),
            (_, code) => code.to_owned(),
        };
        let places = [
            ([at[0], at[1] + 18.0], Anchor::Middle),
            ([at[0] + 9.0, at[1] + 4.0], Anchor::Start),
            ([at[0], at[1] - 10.0], Anchor::Middle),
            ([at[0], at[1] + 32.0], Anchor::Middle),
            ([at[0] - 9.0, at[1] + 4.0], Anchor::End),
        ];
        labels.place(&mut plot.svg, &places, LABEL, &cut(&clean(&text), 28));
    }
    for part in ground
        .collected
        .parts
        .kept
        .iter()
        .filter(|part| part.measure == "span" && part.name == wire.name && part.role == "lowest")
    {
        let [e, n, z] = ground.at(part.at);
        if let Some(s) = along_line(ground, wire, [e, n]).filter(|_| z.is_finite()) {
            let at = plot.at(s, z);
            plot.svg.circle(at, 4.5, "#ffffff", stroke(&wire_colour, 2.0));
            let places = [([at[0], at[1] - 10.0], Anchor::Middle), ([at[0], at[1] - 24.0], Anchor::Middle)];
            labels.place(&mut plot.svg, &places, LABEL, "lowest");
        }
    }
}

fn along_line(ground: &Ground, wire: &PageLine, [e, n]: [f64; 2]) -> Option<f64> {
    let (first, last) = (ground.at(*wire.corners.first()?), ground.at(*wire.corners.last()?));
    let [de, dn] = [last[0] - first[0], last[1] - first[1]];
    Some(((e - first[0]) * de + (n - first[1]) * dn) / de.hypot(dn))
}

/// The vertical distance between a shot and the wire: as measured, drawn where it was, and the user's threshold beside it.
struct ClearanceLine<'c> {
    value: &'c Measurement,
    along_m: f64,
    /// Heights of the shot and of the wire over or under it.
    heights_m: [f64; 2],
}

fn clearance<'c>(ground: &Ground<'c>, wire: &PageLine, line: &[[f64; 2]], spot: &Spot) -> Option<ClearanceLine<'c>> {
    let of_shot = |value: &&Measurement| {
        value.measure == "span"
            && value.name == wire.name
            && value.quantity == "vertical_distance_m"
            && is_of(&value.target, spot.shot)
    };
    let value = ground.collected.measurements.kept.iter().find(of_shot)?;
    let over = line.windows(2).find_map(|w| {
        let share = (spot.along_m - w[0][0]) / (w[1][0] - w[0][0]);
        (0.0..=1.0).contains(&share).then(|| w[0][1] + share * (w[1][1] - w[0][1]))
    })?;
    Some(ClearanceLine { value, along_m: spot.along_m, heights_m: [spot.height_m, over] })
}

impl ClearanceLine<'_> {
    /// Where the user's threshold over the shot lies, in pixels; none without one.
    fn threshold(&self, plot: &Plot) -> Option<[f64; 2]> {
        let way = if self.heights_m[1] >= self.heights_m[0] { 1.0 } else { -1.0 };
        let height_m = self.heights_m[0] + way * self.value.threshold_m;
        height_m.is_finite().then(|| plot.at(self.along_m, height_m))
    }

    fn draw(&self, plot: &mut Plot, labels: &mut Labels) {
        let [from, to] = self.heights_m.map(|height_m| plot.at(self.along_m, height_m));
        plot.svg.line(from, to, stroke(GREY, 1.2));
        labels.avoid([from[0] - 2.0, from[1].min(to[1]), from[0] + 2.0, from[1].max(to[1])]);
        for end in [from, to] {
            plot.svg.line([end[0] - 5.0, end[1]], [end[0] + 5.0, end[1]], stroke(GREY, 1.2));
        }
        if let Some(at) = self.threshold(plot) {
            plot.svg.line([at[0] - 14.0, at[1]], [at[0] + 14.0, at[1]], Stroke { colour: WARNING, width: 2.0, dashes: "4 2" });
            labels.take([at[0] - 15.0, at[1] - 3.0, at[0] + 15.0, at[1] + 3.0]);
        }
    }

    fn label(&self, plot: &mut Plot, labels: &mut Labels, unit: Shown) {
        let beside = |[x, y]: [f64; 2], off: f64| -> Vec<([f64; 2], Anchor)> {
            [4.0, 18.0, -10.0, 32.0, -24.0]
                .iter()
                .flat_map(|down| [([x + off, y + down], Anchor::Start), ([x - off, y + down], Anchor::End)])
                .collect()
        };
        let [from, to] = self.heights_m.map(|height_m| plot.at(self.along_m, height_m));
        let text = format!("{} {}", plus_minus(unit.value(self.value.value), unit.value(self.value.half95)), unit.sign);
        labels.place(&mut plot.svg, &beside([from[0], (from[1] + to[1]) / 2.0], 7.0), LABEL, &text);
        if let Some(at) = self.threshold(plot) {
            let threshold = fixed(unit.value(self.value.threshold_m), 2);
            let text = format!("your {threshold} {}: {}", unit.sign, short_answer(&self.value.against_threshold));
            let face = Face { colour: WARNING, ..LABEL };
            labels.place(&mut plot.svg, &beside(at, 18.0), face, &text);
        }
    }
}

/// Whether a target names a shot: `wire to shot 14 (ground), track crown`.
fn is_of(target: &str, shot: &MeasuredPoint) -> bool {
    let Some(rest) = target.strip_prefix("wire to ") else { return false };
    let Some(label) = rest.split(&format!(" ({})", shot.role)).next().filter(|label| label.len() < rest.len()) else {
        return false;
    };
    !shot.shot.is_empty() && (label == shot.shot || label.strip_prefix("shot ") == Some(&shot.shot))
}

/// `above the user threshold` as `above`.
fn short_answer(words: &str) -> &str {
    words.split([':', ',']).next().and_then(|part| part.split(" the ").next()).unwrap_or(words)
}
