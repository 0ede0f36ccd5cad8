//! What each layer looks like: colours, marks, widths and the scales down to which it is labelled.
//!
//! The colours are our own. They were searched for in the sRGB cube: 13 colours of a contrast of at least
//! 3.2 to white (relative luminance, WCAG 2.1, from memory), no greyer than a CIELAB chroma of 28 and no
//! more glaring than 72, with the greatest least CIELAB distance between any two of them, and to the grey
//! of the sight lines, as seen with full colour vision and as seen with protanopia, deuteranopia and
//! tritanopia. The tests beside this module simulate those and hold the distances. Points do not rest on
//! colour alone: layers of one map have different marks too, as far as marks go.
//!
//! Sizes are in pixels, which Symbology Encoding takes to be 0.28 mm wide.

use std::fmt;

/// A colour in sRGB, 8 bits a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Colour {
    /// Red.
    pub red: u8,
    /// Green.
    pub green: u8,
    /// Blue.
    pub blue: u8,
}

impl Colour {
    const fn from_rgb(rgb: u32) -> Colour {
        Colour { red: (rgb >> 16) as u8, green: (rgb >> 8) as u8, blue: rgb as u8 }
    }
}

impl fmt::Display for Colour {
    /// As style documents write it: `#rrggbb`.
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "#{:02x}{:02x}{:02x}", self.red, self.green, self.blue)
    }
}

/// Colour of labels and of the outline of points with flags.
pub(super) const DARK: Colour = Colour::from_rgb(0x22_22_22);
/// Colour of halos and of the outline of other points.
pub(super) const WHITE: Colour = Colour::from_rgb(0xff_ff_ff);

/// The mark of a point: those that Symbology Encoding 1.1 knows by name, from memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// A disc.
    Circle,
    /// A square.
    Square,
    /// A triangle.
    Triangle,
    /// A star of five points.
    Star,
    /// An upright cross.
    Cross,
    /// A cross lying askew.
    X,
}

impl Mark {
    /// Every mark, in the order in which layers take them.
    pub const ALL: [Mark; 6] = [Mark::Circle, Mark::Square, Mark::Triangle, Mark::Star, Mark::Cross, Mark::X];

    /// The well-known name.
    pub fn word(self) -> &'static str {
        match self {
            Mark::Circle => "circle",
            Mark::Square => "square",
            Mark::Triangle => "triangle",
            Mark::Star => "star",
            Mark::Cross => "cross",
            Mark::X => "x",
        }
    }

    /// Whether it has no inside to fill, only strokes.
    pub fn is_stroked(self) -> bool {
        matches!(self, Mark::Cross | Mark::X)
    }
}

/// How a layer is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Colour of the mark, the line or the outline.
    pub colour: Colour,
    /// Mark of points.
    pub mark: Mark,
    /// Size of the mark, pixels.
    pub size_px: f64,
    /// Width of lines and outlines, pixels.
    pub line_width_px: f64,
    /// Lengths of dash, gap, dash, gap ... in pixels; a whole line where there are none.
    pub dashes_px: &'static [u8],
    /// Opacity of an area's inside, 0 to 1; 0 draws none.
    pub fill_opacity: f64,
    /// Labels are drawn at scales larger than 1 : this; no labels where there is none.
    pub labels_to_scale: Option<u32>,
    /// How much the label of a point matters beside others, 0 to 10; from 8 it is written in any case.
    pub label_priority: u8,
    /// Whether the label of a point stands below it, as that of a point that shares its place with a feature.
    pub label_is_below: bool,
    /// Whether the label of an area keeps off its middle, as the count of a coarse square, where other layers have a mark.
    pub label_is_off_middle: bool,
}

/// Colours of layers that the program does not know by name.
const PALETTE: [Colour; 6] = [
    Colour::from_rgb(0xc0_84_00),
    Colour::from_rgb(0x48_54_cc),
    Colour::from_rgb(0x00_54_30),
    Colour::from_rgb(0x60_0c_00),
    Colour::from_rgb(0xb4_78_b4),
    Colour::from_rgb(0x6c_54_00),
];

/// Dashes of lines and outlines, one a turn through the palette.
const DASHES_PX: [&[u8]; 6] = [&[], &[8, 4], &[2, 4], &[12, 3, 2, 3], &[16, 6], &[6, 3, 2, 3, 2, 3]];

/// Scale of the labels of features: those 40 m apart stand 16 mm apart, room for a short name. Common practice,
/// no source, as the others are.
const FEATURE_LABELS: u32 = 2_500;

impl Look {
    /// Plain points, lines and areas of a colour.
    const fn plain(colour: Colour) -> Look {
        Look {
            colour,
            mark: Mark::Circle,
            size_px: 9.0,
            line_width_px: 2.0,
            dashes_px: &[],
            fill_opacity: 0.2,
            labels_to_scale: Some(FEATURE_LABELS),
            label_priority: 7,
            label_is_below: false,
            label_is_off_middle: false,
        }
    }

    /// The look of a layer that every run may have, by its name in files; none for the name of another.
    /// Tables are never drawn, so they have none either.
    pub fn standard(layer_id: &str) -> Option<Look> {
        let plain = |rgb| Look::plain(Colour::from_rgb(rgb));
        Some(match layer_id {
            "features" => plain(0xcc_0c_54),
            // Few and wanted from afar.
            "bases" => Look {
                mark: Mark::Triangle,
                size_px: 13.0,
                labels_to_scale: Some(10_000),
                label_priority: 10,
                ..plain(0x18_24_90)
            },
            // Thin and grey: they lead the eye from base to feature and say nothing more. The features have the labels.
            "sight_lines" => Look { line_width_px: 0.75, labels_to_scale: None, ..plain(0x80_80_80) },
            // Next to no fill, so that features crowded together can be told apart under their ellipses.
            "ellipses" => Look { line_width_px: 1.0, fill_opacity: 0.08, labels_to_scale: None, ..plain(0xd8_6c_48) },
            // Over the features that they adjust: the same place, another mark.
            "adjusted" => Look { mark: Mark::Cross, size_px: 9.0, labels_to_scale: None, ..plain(0x18_24_90) },
            "profiles" => Look { mark: Mark::Square, size_px: 6.0, labels_to_scale: None, ..plain(0x84_24_60) },
            "lines" => Look { labels_to_scale: Some(5_000), ..plain(0x54_00_60) },
            "areas" => Look { labels_to_scale: Some(5_000), ..plain(0x3c_90_e4) },
            // Dense along their lines; each is a feature too, whose label is above it.
            "vertices" => {
                let look = Look { mark: Mark::Square, size_px: 6.0, label_is_below: true, ..plain(0x84_24_60) };
                Look { labels_to_scale: Some(1_000), label_priority: 3, ..look }
            }
            // Several points share the name of what was measured, which stands here alone.
            "parts" => {
                let look = Look { mark: Mark::X, size_px: 8.0, label_is_below: true, ..plain(0x90_3c_9c) };
                Look { labels_to_scale: Some(1_000), label_priority: 8, ..look }
            }
            _ => return None,
        })
    }

    /// The look of another layer, by its order among these, from 0: another colour and another mark each,
    /// and with each turn through the palette the colours meet other marks and other dashes. The first 36
    /// differ; then they repeat.
    pub fn other(index: usize) -> Look {
        let (place, turn) = (index % PALETTE.len(), index / PALETTE.len());
        Look {
            mark: Mark::ALL[(place + turn) % Mark::ALL.len()],
            dashes_px: DASHES_PX[turn % DASHES_PX.len()],
            ..Look::plain(PALETTE[place])
        }
    }
}
