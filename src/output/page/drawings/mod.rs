//! Drawings of measured things, to scale where the thing has a size: one file a kind.
//!
//! Each is whole by itself, so that it can stand in the page or be a file for a work order (`--drawings`).

mod face;
mod heights;
mod pile;
mod profile;
mod section;
mod span;
mod stereonet;

use super::collect::Collected;
use super::items::Measurement;
use super::map::MapNorths;
use super::plane::MapPlane;
use super::shell::PagePart;
use super::svg::{Anchor, Face, PLAIN, SMALL, Svg, escaped, stroke};
use super::todo::sentence;
use crate::output::numbers::plus_minus;
use crate::units::Shown;

/// Drawings that a page holds.
const MOST_FIGURES: usize = 60;
/// Width of a drawing in pixels.
const WIDTH: f64 = 900.0;

/// A drawing with its words.
pub struct Figure {
    /// Kind and name of what is drawn, for a file's name.
    pub name: String,
    /// Title.
    pub title: String,
    /// The drawing.
    pub svg: String,
    /// Its width and height in pixels.
    pub size: [f64; 2],
    /// What to know of it.
    pub caption: String,
}

impl Figure {
    fn new(name: String, title: String, svg: Svg, caption: String) -> Figure {
        let size = svg.size();
        Figure { name, svg: svg.finish(&title), title, size, caption }
    }

    /// A file of its own: the drawing under its title, and its words below.
    pub fn file(&self) -> String {
        let lines = wrapped(&self.caption, (self.size[0] / CAPTION_SIGN_PX) as usize);
        let height = self.size[1] + TITLE_PX + CAPTION_LINE_PX * lines.len() as f64 + 12.0;
        let mut sheet = Svg::new(self.size[0], height);
        sheet.polygon(
            &[[0.0, 0.0], [self.size[0], 0.0], [self.size[0], height], [0.0, height]],
            ("#ffffff", 1.0),
            stroke("", 0.0),
        );
        sheet.text([12.0, 22.0], Anchor::Start, Face { size_px: 16.0, bold: true, ..PLAIN }, &self.title);
        sheet.nested([0.0, TITLE_PX], &self.svg);
        for (i, line) in lines.iter().enumerate() {
            sheet.text([12.0, self.size[1] + TITLE_PX + CAPTION_LINE_PX * (i as f64 + 0.8)], Anchor::Start, SMALL, line);
        }
        sheet.finish(&self.title) + "\n"
    }

    /// The name of that file, without what file systems do not like; `taken` are names of others.
    pub fn file_name(&self, taken: &[String]) -> String {
        let plain: String =
            self.name.chars().map(|sign| if sign.is_alphanumeric() || sign == '-' { sign } else { '_' }).take(60).collect();
        let named = |number: usize| if number == 1 { format!("{plain}.svg") } else { format!("{plain}-{number}.svg") };
        (1..).map(named).find(|name| !taken.contains(name)).unwrap_or(plain.clone())
    }
}

/// Room for the title of a file.
const TITLE_PX: f64 = 34.0;
/// Height of a line of its words, and the width of a sign in it.
const CAPTION_LINE_PX: f64 = 17.0;
const CAPTION_SIGN_PX: f64 = 6.6;

/// A text in lines of so many signs, cut between words.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// What the drawings are made from.
struct Ground<'c> {
    collected: &'c Collected,
    plane: MapPlane,
    norths: MapNorths,
}

impl Ground<'_> {
    /// A place in metres east and north, and the third coordinate.
    fn at(&self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        let [e, n] = self.plane.at([x, y]);
        [e, n, z]
    }

    /// Values of the whole of a measurement.
    fn values(&self, measure: &str, name: &str) -> impl Iterator<Item = &Measurement> {
        let of = move |value: &&Measurement| value.measure == measure && value.name == name && value.target.is_empty();
        self.collected.measurements.kept.iter().filter(of)
    }

    /// A value of the whole of a measurement.
    fn value(&self, measure: &str, name: &str, quantity: &str) -> Option<&Measurement> {
        self.values(measure, name).find(|value| value.quantity == quantity)
    }

    /// Names of what was measured so, in order.
    fn names(&self, measure: &str) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for value in self.collected.measurements.kept.iter().filter(|value| value.measure == measure) {
            if names.last() != Some(&value.name.as_str()) && !names.contains(&value.name.as_str()) {
                names.push(&value.name);
            }
        }
        names
    }

    /// The unit that lengths are shown in.
    fn length(&self) -> Shown {
        self.collected.units.length()
    }

    /// True north less grid north in degrees; 0 where it is not known.
    fn convergence_deg(&self) -> f64 {
        self.norths.true_deg.map_or(0.0, |north| -north)
    }

    /// Values in a sentence: `Sag 1.20 ± 0.10 m, span 61.02 ± 0.21 m.`
    fn said(&self, measure: &str, name: &str) -> String {
        let said = |value: &Measurement| {
            let units = &self.collected.units;
            let (title, unit) = units.title(&value.quantity);
            let shown = |of: f64| units.value(&value.quantity, of);
            let number = plus_minus(shown(value.value), shown(value.half95));
            match units.of_quantity(&value.quantity) {
                Some((_, shown)) => format!("{title} {}", shown.with_sign(&number)),
                None => format!("{title} {number} {unit}").trim_end().to_owned(),
            }
        };
        let list = self.values(measure, name).map(said).collect::<Vec<_>>().join(", ");
        sentence(&list)
    }
}

/// Every drawing that there is something for.
pub fn figures(collected: &Collected) -> Vec<Figure> {
    let plane = MapPlane::new(collected.bounds, collected.projected, collected.unit_m);
    let ground = Ground { collected, plane, norths: MapNorths::from_collected(collected) };
    let mut figures = span::figures(&ground);
    figures.extend(profile::figures(&ground));
    figures.extend(face::figures(&ground));
    figures.extend(stereonet::figure(&ground));
    figures.extend(pile::figures(&ground));
    figures.extend(heights::figures(&ground));
    figures
}

/// The part; none where nothing was measured that is drawn.
pub fn part(collected: &Collected) -> Option<PagePart> {
    let figures = figures(collected);
    if figures.is_empty() {
        return None;
    }
    let mut html = "<p class=\"note\">The numbers stand in the tables under Values.</p><div class=\"drawings\">".to_owned();
    for figure in figures.iter().take(MOST_FIGURES) {
        html.push_str(&format!(
            "<figure><h3>{}</h3>{}<figcaption>{}</figcaption></figure>",
            escaped(&figure.title),
            super::good::drawn(&figure.svg),
            escaped(&figure.caption)
        ));
    }
    html.push_str("</div>");
    if figures.len() > MOST_FIGURES {
        html.push_str(&format!(
            "<p class=\"note\">{} of {} drawings; <code>drawings = true</code> under [report] writes all of them as files.</p>",
            MOST_FIGURES,
            figures.len()
        ));
    }
    Some(PagePart { id: "drawings", title: "Drawings", html })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_has_title_drawing_and_words_and_a_name_of_its_own() {
        let figure = Figure::new("span-K06/7".into(), "Span <K06>".into(), Svg::new(300.0, 100.0), "one two three ".repeat(8));
        let file = figure.file();
        assert!(file.starts_with("<svg xmlns=") && file.contains("Span &lt;K06&gt;") && file.matches("<svg").count() == 2);
        assert_eq!(figure.file_name(&[]), "span-K06_7.svg");
        assert_eq!(figure.file_name(&["span-K06_7.svg".into()]), "span-K06_7-2.svg");
        assert_eq!(wrapped("a bb ccc dddd", 6), ["a bb", "ccc", "dddd"]);
    }
}
