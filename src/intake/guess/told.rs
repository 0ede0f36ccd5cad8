//! What a header of a log of shots says by its words alone.

use super::units::{angle_unit, length_unit};
use super::words::means;

/// An angle in the vertical plane, by one word or by several: "incl", "ang vert".
pub(super) fn is_inclination(words: &[String]) -> bool {
    means(words, "inclination") || (means(words, "angle") && means(words, "vertical"))
}

/// An angle of the vertical circle by its letter: "V (gon)", "V" beside "Hz".
pub(super) fn is_of_vertical_circle(words: &[String]) -> bool {
    let is_unit = |word: &String| angle_unit(std::slice::from_ref(word)).is_some();
    words.first().is_some_and(|word| word == "v") && words[1..].iter().all(is_unit)
}

/// The height of the instrument by its letter alone: "i", "i [m]".
pub(super) fn is_instrument_by_letter(words: &[String]) -> bool {
    let is_unit = |word: &String| length_unit(std::slice::from_ref(word)).is_some();
    words.first().is_some_and(|word| word == "i") && words[1..].iter().all(is_unit)
}

/// A direction, likewise: "az", "horizontal angle".
pub(super) fn is_azimuth(words: &[String]) -> bool {
    means(words, "azimuth") || (means(words, "angle") && means(words, "horizontal"))
}

/// A slope distance, likewise.
pub(super) fn is_slope_distance(words: &[String]) -> bool {
    means(words, "slope_distance") || (means(words, "distance") && means(words, "slanted"))
}

/// A horizontal distance, likewise.
pub(super) fn is_horizontal_distance(words: &[String]) -> bool {
    (means(words, "horizontal_distance") || (means(words, "distance") && means(words, "horizontal"))) && !means(words, "angle")
}

pub(super) fn is_vertical_distance(words: &[String]) -> bool {
    means(words, "vertical_distance") || (means(words, "distance") && means(words, "vertical"))
}

/// Any distance; what is in millimetres or centimetres is a thickness.
pub(super) fn is_distance(words: &[String]) -> bool {
    if means(words, "diameter") || words.iter().any(|word| matches!(word.as_str(), "mm" | "cm")) {
        return false;
    }
    means(words, "distance") || is_slope_distance(words) || is_horizontal_distance(words)
}
