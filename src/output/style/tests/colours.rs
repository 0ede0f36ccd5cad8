//! The colours as readers without full colour vision see them, and against a white background.
//!
//! Two models that were made apart: Machado, Oliveira and Fernandes (2009), "A physiologically-based model
//! for simulation of color vision deficiency", matrices of severity 1.0 on linear sRGB; and Viénot, Brettel
//! and Mollon (1999), "Digital video colourmaps for checking the legibility of displays by dichromats", for
//! protanopia and deuteranopia, by way of the responses of the cones. Both from memory; that they leave
//! white and grey as they are, and that the two agree, is tested.

use super::*;
use crate::output::style::look::{DARK, WHITE};

type Matrix = [[f64; 3]; 3];

const PROTANOPIA: Matrix = [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]];
const DEUTERANOPIA: Matrix = [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]];
const TRITANOPIA: Matrix = [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]];

/// Linear RGB to the responses of the long, middle and short cones (Viénot, equation 4).
const CONES: Matrix = [[17.8824, 43.5161, 4.11935], [3.45565, 27.1554, 3.86714], [0.0299566, 0.184309, 1.46709]];
/// The long response that stands in for the missing one, from the middle and short ones (equation 5).
const LONG_FOR_PROTANOPES: [f64; 2] = [2.02344, -2.52581];
/// The middle response that stands in for the missing one, from the long and short ones (equation 5).
const MIDDLE_FOR_DEUTERANOPES: [f64; 2] = [0.494207, 1.24827];

/// sRGB to CIE XYZ under D65 (IEC 61966-2-1).
const XYZ: Matrix = [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]];

/// Least CIELAB distance between the colours of two layers: eight differences that are just noticeable
/// (2.3, Mahy, Van Eycken and Oosterlinck 1994, from memory), since marks are small and far apart.
const LEAST_DISTANCE: f64 = 8.0 * 2.3;
/// Least contrast of a graphic to its background (WCAG 2.1, success criterion 1.4.11).
const LEAST_CONTRAST: f64 = 3.0;
/// Least contrast of text to its background (WCAG 2.1, success criterion 1.4.3).
const LEAST_TEXT_CONTRAST: f64 = 4.5;
/// Half a step of 8 bits in the linear value of white, for matrices of four to six digits.
const HALF_A_STEP: f64 = 0.5 / 255.0;

fn product(matrix: &Matrix, vector: [f64; 3]) -> [f64; 3] {
    matrix.map(|row| row.iter().zip(vector).map(|(a, b)| a * b).sum())
}

/// Solves `matrix` x = `vector` by Cramer's rule.
fn solved(matrix: &Matrix, vector: [f64; 3]) -> [f64; 3] {
    let determinant = |m: &Matrix| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    std::array::from_fn(|column| {
        let mut with = *matrix;
        (0..3).for_each(|row| with[row][column] = vector[row]);
        determinant(&with) / determinant(matrix)
    })
}

/// Linear red, green and blue, 0 to 1 (IEC 61966-2-1).
fn linear(colour: Colour) -> [f64; 3] {
    [colour.red, colour.green, colour.blue].map(|channel| {
        let value = f64::from(channel) / 255.0;
        if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    })
}

/// What a kind of eyes makes of a colour in linear RGB.
type Vision = (&'static str, fn([f64; 3]) -> [f64; 3]);

const VISIONS: [Vision; 6] = [
    ("full colour vision", |rgb| rgb),
    ("protanopia, Machado", |rgb| product(&PROTANOPIA, rgb)),
    ("deuteranopia, Machado", |rgb| product(&DEUTERANOPIA, rgb)),
    ("tritanopia, Machado", |rgb| product(&TRITANOPIA, rgb)),
    ("protanopia, Viénot", |rgb| {
        let [_, middle, short] = product(&CONES, rgb);
        solved(&CONES, [LONG_FOR_PROTANOPES[0] * middle + LONG_FOR_PROTANOPES[1] * short, middle, short])
    }),
    ("deuteranopia, Viénot", |rgb| {
        let [long, _, short] = product(&CONES, rgb);
        solved(&CONES, [long, MIDDLE_FOR_DEUTERANOPES[0] * long + MIDDLE_FOR_DEUTERANOPES[1] * short, short])
    }),
];

/// CIELAB under D65 (CIE 15) of linear RGB, cut to what a screen shows.
fn lab(rgb: [f64; 3]) -> [f64; 3] {
    let white = product(&XYZ, [1.0; 3]);
    let xyz = product(&XYZ, rgb.map(|value| value.clamp(0.0, 1.0)));
    let [x, y, z] = std::array::from_fn(|i| {
        let share: f64 = xyz[i] / white[i];
        if share > 216.0 / 24389.0 { share.cbrt() } else { (24389.0 / 27.0 * share + 16.0) / 116.0 }
    });
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

fn distance(one: [f64; 3], other: [f64; 3]) -> f64 {
    one.iter().zip(other).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
}

/// Relative luminance, 0 to 1 (WCAG 2.1).
fn luminance(colour: Colour) -> f64 {
    product(&XYZ, linear(colour))[1]
}

fn contrast_to_white(colour: Colour) -> f64 {
    (luminance(WHITE) + 0.05) / (luminance(colour) + 0.05)
}

/// Every colour that a layer may have, once.
fn colours() -> Vec<Colour> {
    let mut found: Vec<Colour> = Vec::new();
    for look in looks() {
        if !found.contains(&look.colour) {
            found.push(look.colour);
        }
    }
    found
}

#[test]
fn the_layers_colours_are_fourteen() {
    // Eight layers known by name, none with another's colour, and a palette of six.
    assert_eq!(colours().len(), STANDARD.len() + 6);
}

#[test]
fn any_two_colours_are_far_apart_in_every_kind_of_eyes() {
    let colours = colours();
    for (kind, seen) in VISIONS {
        let labs: Vec<[f64; 3]> = colours.iter().map(|colour| lab(seen(linear(*colour)))).collect();
        for i in 0..labs.len() {
            for j in 0..i {
                let apart = distance(labs[i], labs[j]);
                assert!(apart >= LEAST_DISTANCE, "{kind}: {} and {} are {apart:.1} apart", colours[i], colours[j]);
            }
        }
    }
}

#[test]
fn colours_stand_out_from_white_and_from_the_dark_outline_of_flags() {
    for colour in colours() {
        assert!(contrast_to_white(colour) >= LEAST_CONTRAST, "{colour}: {:.2}", contrast_to_white(colour));
    }
    assert!(contrast_to_white(DARK) >= LEAST_TEXT_CONTRAST);
    for (kind, seen) in VISIONS {
        for colour in colours() {
            let apart = distance(lab(seen(linear(colour))), lab(seen(linear(DARK))));
            assert!(apart >= LEAST_DISTANCE, "{kind}: {colour} in its outline: {apart:.1}");
        }
    }
}

#[test]
fn the_models_leave_white_and_grey_as_they_are() {
    for (kind, seen) in VISIONS {
        for value in [1.0, 0.5, 0.1] {
            for channel in seen([value; 3]) {
                assert!((channel - value).abs() <= HALF_A_STEP, "{kind}: {value} becomes {channel}");
            }
        }
    }
}

#[test]
fn the_models_lay_together_what_dichromats_confuse() {
    // To a dichromat hues lie in one plane: red, yellow and green are shades of one hue for the first two,
    // so that a* and b* of any two colours of the screen hang together by one factor. In CIELAB hue angles
    // of that plane are two, opposite to each other, to some degrees. A full eye has them far apart.
    let hue = |seen: fn([f64; 3]) -> [f64; 3], rgb: [f64; 3]| {
        let [_, a, b] = lab(seen(rgb));
        b.atan2(a).to_degrees()
    };
    let (red, green) = ([0.5, 0.0, 0.0], [0.0, 0.5, 0.0]);
    for (kind, seen) in VISIONS {
        let apart = (hue(seen, red) - hue(seen, green)).abs();
        if kind.starts_with("protanopia") || kind.starts_with("deuteranopia") {
            assert!(apart < 15.0, "{kind}: {apart:.0} degrees");
        } else {
            assert!(apart > 60.0, "{kind}: {apart:.0} degrees");
        }
    }
    // A protanope sees red dark, a deuteranope does not.
    let light = |index: usize| lab(VISIONS[index].1(red))[0];
    assert!(light(1) + 10.0 < light(2) && light(4) + 10.0 < light(5), "{:?}", [1, 2, 4, 5].map(light));
}

#[test]
fn cielab_of_the_screens_red_and_blue() {
    // Published widely for sRGB under D65, from memory: red 53.24, 80.09, 67.20; blue 32.30, 79.19, -107.86.
    const ROUNDING: f64 = 0.02;
    for (rgb, published) in [([1.0, 0.0, 0.0], [53.24, 80.09, 67.20]), ([0.0, 0.0, 1.0], [32.30, 79.19, -107.86])] {
        let found = lab(rgb);
        assert!(distance(found, published) < ROUNDING, "{found:?} against {published:?}");
    }
    assert!(distance(lab([1.0; 3]), [100.0, 0.0, 0.0]) < ROUNDING);
}
