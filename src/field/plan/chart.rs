//! A plan as a chart: 95 % uncertainty against distance, as an SVG file with nothing in it but shapes
//! and text. The same plan gives the same bytes.
//!
//! Colours are the blue and the vermilion of the Okabe-Ito palette, which most colour-blind people
//! tell apart; inclinations are told by dashes, so that a print in grey can be read too.

use std::fmt::{self, Write};

use super::report::PlanRequest;
use super::{Axis, Farthest, PlannedSight};
use crate::units::{Shown, Units};

/// Inclinations that are drawn: more would not be told apart.
pub const DRAWN: usize = 4;

const WIDTH: f64 = 1000.0;
const HEIGHT: f64 = 560.0;
/// Left, top, right and bottom of the axes.
const LEFT: f64 = 74.0;
const TOP: f64 = 84.0;
const RIGHT: f64 = 704.0;
const BOTTOM: f64 = 490.0;
/// Where the legend begins, and from line to line of it.
const LEGEND: f64 = 726.0;
const LINE: f64 = 24.0;
/// Intervals between ticks, at most.
const INTERVALS: f64 = 8.0;
/// Straight pieces of a curve.
const PIECES: usize = 120;
/// Dashes of the inclinations.
const DASHES: [&str; DRAWN] = ["none", "11 5", "4 4", "12 4 2 4"];
/// Stroke and dashes of a tolerance.
const THIN: f64 = 1.5;
const DOTS: &str = "2 3";
/// Stroke of a curve.
const THICK: f64 = 2.4;
const INK: &str = "#222222";
const FAINT: &str = "#dddddd";

fn colour(axis: Axis) -> &'static str {
    match axis {
        Axis::Horizontal => "#0072b2",
        Axis::Vertical => "#d55e00",
    }
}

/// An axis of the chart: its greatest value, the step of its ticks, and decimals that show the step.
struct Scale {
    greatest: f64,
    step: f64,
    decimals: usize,
}

impl Scale {
    /// Ticks of 1, 2 or 5 times a power of ten that reach `greatest`.
    fn reaching(greatest: f64) -> Scale {
        let greatest = if greatest > 0.0 && greatest.is_finite() { greatest } else { 1.0 };
        let rough = greatest / INTERVALS;
        let decade = 10f64.powi(rough.log10().floor() as i32);
        let step = [1.0, 2.0, 5.0, 10.0].map(|factor| factor * decade).into_iter().find(|step| *step >= rough * 0.999_999);
        let step = step.unwrap_or(10.0 * decade);
        let decimals = (-(step * 1.000_001).log10().floor()).max(0.0) as usize;
        Scale { greatest: (greatest / step * 0.999_999).ceil() * step, step, decimals }
    }

    fn ticks(&self) -> impl Iterator<Item = f64> {
        let count = (self.greatest / self.step).round() as usize;
        let step = self.step;
        (0..=count).map(move |i| i as f64 * step)
    }
}

/// Where values lie on the picture, whose axes count in the unit of length.
struct Frame {
    length: Shown,
    x: Scale,
    y: Scale,
}

impl Frame {
    fn x(&self, metres: f64) -> f64 {
        self.x_of(self.length.value(metres))
    }

    fn y(&self, metres: f64) -> f64 {
        self.y_of(self.length.value(metres))
    }

    /// Of a number on the axis.
    fn x_of(&self, shown: f64) -> f64 {
        LEFT + (RIGHT - LEFT) * shown / self.x.greatest
    }

    fn y_of(&self, shown: f64) -> f64 {
        BOTTOM - (BOTTOM - TOP) * shown / self.y.greatest
    }

    /// The slope distance at the right end, in metres.
    fn farthest_m(&self) -> f64 {
        self.x.greatest / self.length.value(1.0)
    }
}

/// The chart of a plan.
pub fn svg(request: &PlanRequest, units: &Units) -> String {
    let mut text = String::new();
    // Writing to a String does not fail.
    let _ = write_svg(&mut text, request, units);
    text
}

fn write_svg(out: &mut String, request: &PlanRequest, units: &Units) -> fmt::Result {
    let setup = request.errors.setup();
    let length = units.length();
    let inclinations: Vec<f64> = request.inclinations_deg.iter().copied().take(DRAWN).collect();
    let farthest_m = request.distances_m.iter().copied().fold(0.0, f64::max);
    let tolerances = [(Axis::Horizontal, request.tolerance_m), (Axis::Vertical, request.height_tolerance_m)];
    let tolerances: Vec<(Axis, f64)> = tolerances.iter().filter_map(|(axis, metres)| Some((*axis, (*metres)?))).collect();
    let mut frame = Frame { length, x: Scale::reaching(length.value(farthest_m)), y: Scale::reaching(1.0) };
    let greatest = Axis::ALL
        .into_iter()
        .flat_map(|axis| inclinations.iter().map(move |degrees| (axis, *degrees)))
        .map(|(axis, degrees)| setup.uncertainty95_m(axis, frame.farthest_m(), degrees.to_radians()))
        .chain(tolerances.iter().map(|(_, metres)| *metres))
        .fold(0.0, f64::max);
    frame.y = Scale::reaching(length.value(greatest));

    writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" width=\"{WIDTH}\" height=\"{HEIGHT}\" \
         role=\"img\" font-family=\"DejaVu Sans, Verdana, Arial, sans-serif\" font-size=\"14\" fill=\"{INK}\">"
    )?;
    let title = match &request.title {
        Some(title) => format!("Expected uncertainty: {title}"),
        None => "Expected uncertainty of a shot".to_owned(),
    };
    writeln!(out, "<title>{}</title>", escape(&title))?;
    writeln!(out, "<desc>95 % radius of the position and 95 % interval of the height, in metres, over slope distance.</desc>")?;
    writeln!(out, "<rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"#ffffff\"/>")?;
    writeln!(out, "<text x=\"{LEFT}\" y=\"32\" font-size=\"20\" font-weight=\"bold\">{}</text>", escape(&shortened(&title)))?;
    writeln!(out, "<text x=\"{LEFT}\" y=\"58\" font-size=\"13\">{}</text>", escape(&subtitle(request, units)))?;
    axes(out, &frame)?;
    for (axis, metres) in &tolerances {
        let y = frame.y(*metres);
        writeln!(
            out,
            "<line x1=\"{LEFT}\" y1=\"{y:.1}\" x2=\"{RIGHT}\" y2=\"{y:.1}\" stroke=\"{}\" stroke-width=\"{THIN}\" stroke-dasharray=\"{DOTS}\"/>",
            colour(*axis)
        )?;
    }
    for axis in Axis::ALL {
        for (degrees, dash) in inclinations.iter().zip(DASHES) {
            curve(out, &frame, &setup, axis, *degrees, dash)?;
        }
    }
    for (axis, metres) in &tolerances {
        for degrees in &inclinations {
            if let Farthest::At(slope_m) = setup.farthest(*axis, degrees.to_radians(), *metres)
                && slope_m <= frame.farthest_m()
            {
                let (x, y) = (frame.x(slope_m), frame.y(*metres));
                let colour = colour(*axis);
                writeln!(
                    out,
                    "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"#ffffff\" stroke=\"{colour}\" stroke-width=\"2\"/>"
                )?;
            }
        }
    }
    legend(out, &inclinations, &tolerances, units)?;
    writeln!(out, "</svg>")
}

fn axes(out: &mut String, frame: &Frame) -> fmt::Result {
    writeln!(out, "<g stroke=\"{FAINT}\" stroke-width=\"1\">")?;
    for tick in frame.x.ticks() {
        let x = frame.x_of(tick);
        writeln!(out, "<line x1=\"{x:.1}\" y1=\"{TOP}\" x2=\"{x:.1}\" y2=\"{BOTTOM}\"/>")?;
    }
    for tick in frame.y.ticks() {
        let y = frame.y_of(tick);
        writeln!(out, "<line x1=\"{LEFT}\" y1=\"{y:.1}\" x2=\"{RIGHT}\" y2=\"{y:.1}\"/>")?;
    }
    writeln!(out, "</g>")?;
    writeln!(out, "<path d=\"M{LEFT} {TOP}V{BOTTOM}H{RIGHT}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"1.5\"/>")?;
    writeln!(out, "<g text-anchor=\"middle\">")?;
    for tick in frame.x.ticks() {
        writeln!(out, "<text x=\"{:.1}\" y=\"{}\">{tick:.*}</text>", frame.x_of(tick), BOTTOM + 20.0, frame.x.decimals)?;
    }
    let sign = frame.length.sign;
    writeln!(out, "<text x=\"{}\" y=\"{}\">slope distance, {sign}</text>", (LEFT + RIGHT) / 2.0, BOTTOM + 46.0)?;
    let middle = (TOP + BOTTOM) / 2.0;
    writeln!(out, "<text x=\"22\" y=\"{middle}\" transform=\"rotate(-90 22 {middle})\">95 % uncertainty, {sign}</text>")?;
    writeln!(out, "</g>")?;
    writeln!(out, "<g text-anchor=\"end\">")?;
    for tick in frame.y.ticks() {
        writeln!(out, "<text x=\"{}\" y=\"{:.1}\">{tick:.*}</text>", LEFT - 8.0, frame.y_of(tick) + 5.0, frame.y.decimals)?;
    }
    writeln!(out, "</g>")
}

fn curve(out: &mut String, frame: &Frame, setup: &PlannedSight, axis: Axis, degrees: f64, dash: &str) -> fmt::Result {
    write!(
        out,
        "<polyline fill=\"none\" stroke=\"{}\" stroke-width=\"{THICK}\" stroke-linejoin=\"round\" stroke-dasharray=\"{dash}\" points=\"",
        colour(axis)
    )?;
    for i in 0..=PIECES {
        let slope_m = frame.farthest_m() * i as f64 / PIECES as f64;
        let value = setup.uncertainty95_m(axis, slope_m, degrees.to_radians());
        let space = if i > 0 { " " } else { "" };
        write!(out, "{space}{:.1},{:.1}", frame.x(slope_m), frame.y(value))?;
    }
    writeln!(out, "\"/>")
}

fn legend(out: &mut String, inclinations: &[f64], tolerances: &[(Axis, f64)], units: &Units) -> fmt::Result {
    let (length, angle) = (units.length(), units.angle());
    let mut y = TOP + 10.0;
    let mut entry = |out: &mut String, axis: Axis, width: f64, dash: &str, words: &str| {
        let (x2, text_x, line_y) = (LEGEND + 42.0, LEGEND + 52.0, y - 5.0);
        writeln!(
            out,
            "<line x1=\"{LEGEND}\" y1=\"{line_y}\" x2=\"{x2}\" y2=\"{line_y}\" stroke=\"{}\" stroke-width=\"{width}\" stroke-dasharray=\"{dash}\"/>\n\
             <text x=\"{text_x}\" y=\"{y}\">{}</text>",
            colour(axis),
            escape(words)
        )?;
        y += LINE;
        fmt::Result::Ok(())
    };
    for axis in Axis::ALL {
        for (degrees, dash) in inclinations.iter().zip(DASHES) {
            let inclination =
                if *degrees == 0.0 { "level".to_owned() } else { angle.with_sign(&angle.given(*degrees)).replace('-', "−") };
            entry(out, axis, THICK, dash, &format!("{}, {inclination}", axis.word()))?;
        }
    }
    for (axis, metres) in tolerances {
        entry(out, *axis, THIN, DOTS, &format!("{} tolerance {} {}", axis.word(), length.given(*metres), length.sign))?;
    }
    Ok(())
}

fn subtitle(request: &PlanRequest, units: &Units) -> String {
    let errors = &request.errors;
    let (length, angle) = (units.length(), units.angle());
    let metres = |value: f64| length.with_sign(&length.given(value));
    let degrees = |value: f64| angle.with_sign(&angle.given(value));
    let ppm = match errors.sigma_distance_ppm.value {
        0.0 => String::new(),
        ppm => format!(" + {ppm} ppm"),
    };
    let orientation = request.errors.setup().sigma_orientation_rad.to_degrees();
    format!(
        "standard errors: distance {}{ppm}, azimuth {}, orientation {}, inclination {}, base {} an axis, {} in height",
        metres(errors.sigma_distance_m.value),
        degrees(errors.sigma_azimuth_deg.value),
        angle.said(orientation, 2),
        degrees(errors.sigma_inclination_deg.value),
        metres(errors.sigma_base_horizontal_m.value),
        metres(errors.sigma_base_height_m.value),
    )
}

/// A title that fits the width.
fn shortened(title: &str) -> String {
    const MOST: usize = 70;
    if title.chars().count() <= MOST {
        return title.to_owned();
    }
    title.chars().take(MOST - 1).chain(['…']).collect()
}

/// Text for XML: the five signs that mean something to it, and no character that it forbids.
fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&apos;"),
            '\t' | '\n' | '\r' => escaped.push(' '),
            '\u{fffe}' | '\u{ffff}' => {}
            c if c.is_control() => {}
            c => escaped.push(c),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_reach_the_greatest_value() {
        for (greatest, step, top, decimals) in
            [(500.0, 100.0, 500.0, 0), (0.43, 0.1, 0.5, 1), (7.9, 1.0, 8.0, 0), (0.07, 0.01, 0.07, 2), (1234.0, 200.0, 1400.0, 0)]
        {
            let scale = Scale::reaching(greatest);
            assert!((scale.step / step - 1.0).abs() < 1e-9, "{greatest}: step {}", scale.step);
            assert!((scale.greatest / top - 1.0).abs() < 1e-9, "{greatest}: to {}", scale.greatest);
            assert_eq!(scale.decimals, decimals, "{greatest}");
        }
        // Nothing in doubt at all still has axes.
        assert!((Scale::reaching(0.0).greatest - 1.0).abs() < 1e-12);
    }

    #[test]
    fn text_for_xml_means_nothing_to_it() {
        assert_eq!(escape("a<b & \"c\"\u{1}\n>'"), "a&lt;b &amp; &quot;c&quot; &gt;&apos;");
        assert_eq!(shortened(&"é".repeat(80)).chars().count(), 70);
    }
}
