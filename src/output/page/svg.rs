//! A drawing as SVG with real text in it. Looks are attributes, not styles, so that a drawing is the same in the page and
//! in a file of its own, and needs no rule of the page's content security policy.

use std::fmt::Write;

use crate::output::style::Mark;

/// Colour of text and axes.
pub const INK: &str = "#222222";
/// Colour of notes, ticks and dimensions.
pub const GREY: &str = "#595959";
/// Colour of grids.
pub const FAINT: &str = "#d8d8d8";
/// Colour of what is warned of; told apart by its shape, too.
pub const WARNING: &str = "#b3261e";

/// A drawing on its way.
pub struct Svg {
    width: f64,
    height: f64,
    body: String,
}

/// Where a text stands to its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// It begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

/// A text's look.
#[derive(Debug, Clone, Copy)]
pub struct Face {
    /// Height of the font in pixels.
    pub size_px: f64,
    /// Colour.
    pub colour: &'static str,
    /// Whether it has a white halo.
    pub halo: bool,
    /// Whether it is bold.
    pub bold: bool,
}

/// Plain text.
pub const PLAIN: Face = Face { size_px: 13.0, colour: INK, halo: false, bold: false };
/// Text of ticks and dimensions.
pub const SMALL: Face = Face { size_px: 12.0, colour: GREY, halo: false, bold: false };
/// A label on a map or a drawing.
pub const LABEL: Face = Face { size_px: 12.0, colour: INK, halo: true, bold: false };

/// A stroke: colour, width and dashes.
#[derive(Debug, Clone, Copy)]
pub struct Stroke<'s> {
    /// Colour.
    pub colour: &'s str,
    /// Width in pixels.
    pub width: f64,
    /// Dashes as SVG has them; empty for a whole line.
    pub dashes: &'s str,
}

/// A whole line.
pub fn stroke(colour: &str, width: f64) -> Stroke<'_> {
    Stroke { colour, width, dashes: "" }
}

impl Svg {
    /// A drawing of a size in pixels.
    pub fn new(width: f64, height: f64) -> Svg {
        Svg { width, height, body: String::new() }
    }

    /// A line.
    pub fn line(&mut self, [x1, y1]: [f64; 2], [x2, y2]: [f64; 2], stroke: Stroke) {
        let _ = write!(
            self.body,
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"{}/>",
            short(x1),
            short(y1),
            short(x2),
            short(y2),
            attributes(stroke)
        );
    }

    /// A line through points.
    pub fn polyline(&mut self, points: &[[f64; 2]], stroke: Stroke) {
        let _ = write!(self.body, "<polyline fill=\"none\" points=\"{}\"{}/>", list(points), attributes(stroke));
    }

    /// An area; `fill` is a colour and its opacity.
    pub fn polygon(&mut self, points: &[[f64; 2]], (fill, opacity): (&str, f64), stroke: Stroke) {
        let _ = write!(
            self.body,
            "<polygon points=\"{}\" fill=\"{fill}\" fill-opacity=\"{opacity}\"{}/>",
            list(points),
            attributes(stroke)
        );
    }

    /// A circle.
    pub fn circle(&mut self, [x, y]: [f64; 2], radius: f64, fill: &str, stroke: Stroke) {
        let _ = write!(
            self.body,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{fill}\"{}/>",
            short(x),
            short(y),
            short(radius),
            attributes(stroke)
        );
    }

    /// An ellipse, its long axis turned clockwise from up; its look is that of the group around.
    pub fn ellipse(&mut self, [x, y]: [f64; 2], [major, minor]: [f64; 2], azimuth_deg: f64) {
        let _ = write!(
            self.body,
            "<ellipse rx=\"{}\" ry=\"{}\" transform=\"translate({} {})rotate({})\"/>",
            short(minor),
            short(major),
            short(x),
            short(y),
            short(azimuth_deg)
        );
    }

    /// Text; escaped here.
    pub fn text(&mut self, [x, y]: [f64; 2], anchor: Anchor, face: Face, text: &str) {
        self.begin_text([x, y], anchor, face);
        let _ = write!(self.body, ">{}</text>", escaped(text));
    }

    /// Text turned by degrees about its point.
    pub fn turned_text(&mut self, [x, y]: [f64; 2], degrees: f64, anchor: Anchor, face: Face, text: &str) {
        self.begin_text([x, y], anchor, face);
        let _ = write!(self.body, " transform=\"rotate({} {} {})\">{}</text>", short(degrees), short(x), short(y), escaped(text));
    }

    /// Begins a group of texts that share a face.
    pub fn begin_face(&mut self, face: Face) {
        let _ = write!(self.body, "<g{}>", face_attributes(face));
    }

    /// Text in the face of the group around.
    pub fn plain_text(&mut self, [x, y]: [f64; 2], anchor: Anchor, text: &str) {
        let _ =
            write!(self.body, "<text x=\"{}\" y=\"{}\"{}>{}</text>", short(x), short(y), anchor_attribute(anchor), escaped(text));
    }

    fn begin_text(&mut self, [x, y]: [f64; 2], anchor: Anchor, face: Face) {
        let _ =
            write!(self.body, "<text x=\"{}\" y=\"{}\"{}{}", short(x), short(y), anchor_attribute(anchor), face_attributes(face));
    }

    /// A mark of a point; `id` makes it a place to go to.
    pub fn mark(&mut self, id: Option<&str>, at: [f64; 2], mark: Mark, size: f64, fill: &str, outline: Stroke) {
        let id = id.map(|id| format!(" id=\"{}\"", escaped(id))).unwrap_or_default();
        let d = mark_path(at, mark, size);
        let looks = match mark.is_stroked() {
            true => format!(" fill=\"none\" stroke=\"{fill}\" stroke-width=\"2.2\""),
            false => format!(" fill=\"{fill}\"{}", attributes(outline)),
        };
        let _ = write!(self.body, "<path{id} d=\"{d}\"{looks}/>");
    }

    /// Begins a group whose members share a look.
    pub fn begin_look(&mut self, (fill, opacity): (&str, f64), stroke: Stroke) {
        let _ = write!(self.body, "<g fill=\"{fill}\" fill-opacity=\"{opacity}\"{}>", attributes(stroke));
    }

    /// Many straight lines in one path; their look is that of the group around.
    pub fn lines(&mut self, lines: impl Iterator<Item = [[f64; 2]; 2]>) {
        self.body.push_str("<path d=\"");
        for [[x1, y1], [x2, y2]] in lines {
            let _ = write!(self.body, "M{} {}L{} {}", short(x1), short(y1), short(x2), short(y2));
        }
        self.body.push_str("\"/>");
    }

    /// Many marks of one look in one path.
    pub fn marks(&mut self, points: impl Iterator<Item = [f64; 2]>, mark: Mark, size: f64, fill: &str) {
        let d: String = points.map(|at| mark_path(at, mark, size)).collect();
        let looks = match mark.is_stroked() {
            true => format!("fill=\"none\" stroke=\"{fill}\" stroke-width=\"2.2\""),
            false => format!("fill=\"{fill}\" stroke=\"#ffffff\" stroke-width=\"0.6\""),
        };
        let _ = write!(self.body, "<path {looks} d=\"{d}\"/>");
    }

    /// A picture between two corners.
    pub fn picture(&mut self, [left, top]: [f64; 2], [right, bottom]: [f64; 2], address: &str) {
        let _ = write!(
            self.body,
            "<image id=\"background\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" preserveAspectRatio=\"none\" href=\"{}\"/>",
            short(left),
            short(top),
            short(right - left),
            short(bottom - top),
            escaped(address)
        );
    }

    /// Keeps a mark that [`Svg::stamp`] repeats.
    pub fn keep_mark(&mut self, name: &str, mark: Mark, size: f64, fill: &str, outline: Stroke) {
        self.body.push_str("<defs>");
        self.mark(Some(name), [0.0, 0.0], mark, size, fill, outline);
        self.body.push_str("</defs>");
    }

    /// A kept mark at a point; `id` makes it a place to go to.
    pub fn stamp(&mut self, name: &str, id: &str, [x, y]: [f64; 2]) {
        let _ = write!(self.body, "<use id=\"{id}\" href=\"#{name}\" x=\"{}\" y=\"{}\"/>", short(x), short(y));
    }

    /// Many points as dots of one colour: ten bytes each.
    pub fn dots(&mut self, points: impl Iterator<Item = [f64; 2]>, size: f64, colour: &str) {
        let _ =
            write!(self.body, "<path fill=\"none\" stroke-linecap=\"round\" stroke=\"{colour}\" stroke-width=\"{size}\" d=\"");
        for [x, y] in points {
            let _ = write!(self.body, "M{} {}h0", short(x), short(y));
        }
        self.body.push_str("\"/>");
    }

    /// Ends a group of one look.
    pub fn end_group(&mut self) {
        self.body.push_str("</g>");
    }

    /// A finished drawing inside this one.
    pub fn nested(&mut self, [x, y]: [f64; 2], svg: &str) {
        self.body.push_str(&svg.replacen("<svg ", &format!("<svg x=\"{}\" y=\"{}\" ", short(x), short(y)), 1));
    }

    /// Width and height in pixels.
    pub fn size(&self) -> [f64; 2] {
        [self.width, self.height]
    }

    /// The whole drawing; `name` is read out in its place.
    pub fn finish(self, name: &str) -> String {
        let Svg { width, height, body } = self;
        let (width, height) = (short(width), short(height));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" role=\"img\" \
             font-family=\"system-ui, sans-serif\" font-size=\"13\" fill=\"{INK}\"><title>{}</title>{body}</svg>",
            escaped(name)
        )
    }
}

/// The outline of a mark about a point.
pub fn mark_path([x, y]: [f64; 2], mark: Mark, size: f64) -> String {
    let r = size / 2.0;
    let at = |dx: f64, dy: f64| format!("{} {}", short(x + dx), short(y + dy));
    match mark {
        Mark::Circle => {
            let (r, d) = (short(r), short(2.0 * r));
            format!("M{}a{r} {r} 0 1 1 {d} 0a{r} {r} 0 1 1 -{d} 0z", at(-size / 2.0, 0.0))
        }
        Mark::Square => format!("M{}h{s}v{s}h-{s}z", at(-r * 0.9, -r * 0.9), s = short(r * 1.8)),
        Mark::Triangle => format!("M{}L{}L{}z", at(0.0, -r), at(r, r * 0.8), at(-r, r * 0.8)),
        Mark::Star => {
            let corners: Vec<String> = (0..10)
                .map(|i| {
                    let (turn, reach) = (f64::from(i) * std::f64::consts::PI / 5.0, if i % 2 == 0 { r * 1.15 } else { r * 0.5 });
                    at(reach * turn.sin(), -reach * turn.cos())
                })
                .collect();
            format!("M{}z", corners.join("L"))
        }
        Mark::Cross => format!("M{}v{s}M{}h{s}", at(0.0, -r), at(-r, 0.0), s = short(size)),
        Mark::X => {
            format!("M{}L{}M{}L{}", at(-r * 0.8, -r * 0.8), at(r * 0.8, r * 0.8), at(r * 0.8, -r * 0.8), at(-r * 0.8, r * 0.8))
        }
    }
}

fn anchor_attribute(anchor: Anchor) -> &'static str {
    match anchor {
        Anchor::Start => "",
        Anchor::Middle => " text-anchor=\"middle\"",
        Anchor::End => " text-anchor=\"end\"",
    }
}

fn face_attributes(face: Face) -> String {
    let halo =
        if face.halo { " paint-order=\"stroke\" stroke=\"#ffffff\" stroke-width=\"3\" stroke-linejoin=\"round\"" } else { "" };
    let bold = if face.bold { " font-weight=\"bold\"" } else { "" };
    let size = if face.size_px == PLAIN.size_px { String::new() } else { format!(" font-size=\"{}\"", face.size_px) };
    let colour = if face.colour == INK { String::new() } else { format!(" fill=\"{}\"", face.colour) };
    format!("{size}{colour}{halo}{bold}")
}

fn attributes(stroke: Stroke) -> String {
    if stroke.width <= 0.0 {
        return String::new();
    }
    let dashes = if stroke.dashes.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{}\"", stroke.dashes) };
    format!(" stroke=\"{}\" stroke-width=\"{}\"{dashes}", stroke.colour, stroke.width)
}

fn list(points: &[[f64; 2]]) -> String {
    points.iter().map(|[x, y]| format!("{},{}", short(*x), short(*y))).collect::<Vec<_>>().join(" ")
}

/// A coordinate with a tenth of a pixel.
pub fn short(value: f64) -> String {
    let tenths = (value * 10.0).round();
    if tenths == 0.0 || !tenths.is_finite() {
        return "0".to_owned();
    }
    if tenths % 10.0 == 0.0 { format!("{}", tenths / 10.0) } else { format!("{:.1}", tenths / 10.0) }
}

/// Text for SVG and HTML: markup is text, and signs that XML does not allow become a visible stand-in.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            _ if sign.is_control() || matches!(sign, '\u{fffe}' | '\u{ffff}') => out.push('\u{fffd}'),
            _ => out.push(sign),
        }
    }
    out
}

/// A text cut to some signs, with an ellipsis where it was longer.
pub fn cut(text: &str, most: usize) -> String {
    match text.char_indices().nth(most) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_text() {
        let mut svg = Svg::new(10.0, 10.0);
        svg.text([1.0, 2.0], Anchor::Start, PLAIN, "</text><script>alert(1)</script>\u{0}");
        let drawn = svg.finish("a \"b\" & <c>");
        assert!(!drawn.contains("<script") && drawn.contains("&lt;/text&gt;&lt;script&gt;alert(1)&lt;/script&gt;\u{fffd}"));
        assert!(drawn.contains("<title>a &quot;b&quot; &amp; &lt;c&gt;</title>"));
        assert_eq!([short(1.04), short(-0.04), short(12.25), short(f64::NAN)], ["1", "0", "12.3", "0"]);
        assert_eq!((cut("Größe", 3), cut("Größe", 5)), ("Grö…".to_owned(), "Größe".to_owned()));
    }
}
