//! What sections share: the scale of heights, and labels that do not lie over each other.

use super::super::svg::{Anchor, Face, Svg};

/// How much heights are exaggerated: the greatest of 1, 2, 5, 10 … that keeps the drawing below a share of its width.
pub fn exaggeration(length_m: f64, rise_m: f64, share: f64) -> f64 {
    let fits = |factor: &f64| factor * rise_m <= share * length_m;
    [20.0, 10.0, 5.0, 2.0].into_iter().find(fits).unwrap_or(1.0)
}

/// A range with some room on both sides, so that nothing lies on the frame.
pub fn widened([least, most]: [f64; 2]) -> [f64; 2] {
    let room = 0.03 * (most - least);
    [least - room, most + room]
}

/// What an axis of exaggerated heights is called.
pub fn height_title(exaggeration: f64, title: &str, sign: &str) -> String {
    if exaggeration == 1.0 { format!("{title}, {sign}") } else { format!("{title}, {sign} (× {exaggeration})") }
}

/// Labels drawn so far, none beyond the edges of the drawing.
pub struct Labels {
    boxes: Vec<[f64; 4]>,
    /// Boxes that a label lies over only where there is no other room.
    lines: Vec<[f64; 4]>,
    size: [f64; 2],
}

impl Labels {
    /// No labels yet, in a drawing of a size.
    pub fn within(svg: &Svg) -> Labels {
        Labels { boxes: Vec::new(), lines: Vec::new(), size: svg.size() }
    }

    /// Keeps a box free.
    pub fn take(&mut self, area: [f64; 4]) {
        self.boxes.push(area);
    }

    /// Keeps a box free where there is room beside it.
    pub fn avoid(&mut self, area: [f64; 4]) {
        self.lines.push(area);
    }

    /// Draws a label at the first of some places that is free; none where all are taken.
    pub fn place(&mut self, svg: &mut Svg, places: &[([f64; 2], Anchor)], face: Face, text: &str) -> bool {
        let width = text.chars().count() as f64 * face.size_px * 0.58;
        let area_of = |[x, y]: [f64; 2], anchor: Anchor| {
            let left = match anchor {
                Anchor::Start => x,
                Anchor::Middle => x - width / 2.0,
                Anchor::End => x - width,
            };
            [left, y - face.size_px * 0.85, left + width, y + face.size_px * 0.2]
        };
        for over_lines in [false, true] {
            for (at, anchor) in places {
                let area = area_of(*at, *anchor);
                let meets =
                    |other: &[f64; 4]| area[0] < other[2] && other[0] < area[2] && area[1] < other[3] && other[1] < area[3];
                let inside = area[0] >= 0.0 && area[1] >= 0.0 && area[2] <= self.size[0] && area[3] <= self.size[1];
                if inside && !self.boxes.iter().any(meets) && (over_lines || !self.lines.iter().any(meets)) {
                    svg.text(*at, *anchor, face, text);
                    self.boxes.push(area);
                    return true;
                }
            }
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heights_are_exaggerated_by_round_factors() {
        assert_eq!(exaggeration(100.0, 2.0, 0.4), 20.0);
        assert_eq!(exaggeration(100.0, 9.0, 0.4), 2.0);
        assert_eq!(exaggeration(100.0, 60.0, 0.4), 1.0);
    }
}
