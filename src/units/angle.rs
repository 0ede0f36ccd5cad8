//! Units of angle, and angles in degrees as people write them: decimal degrees, degrees and
//! minutes, degrees, minutes and seconds, with a sign or a hemisphere letter.

use std::f64::consts::PI;
use std::fmt;

/// A unit of plane angle. A gon is 1/400 of a turn (EPSG unit 9105), a mil 1/6400 (EPSG unit 9114).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AngleUnit {
    /// Degree, 1/360 of a turn.
    Degree,
    /// Gon (grad), 1/400 of a turn.
    Gon,
    /// Mil, 1/6400 of a turn.
    Mil,
}

impl AngleUnit {
    /// Every unit.
    pub const ALL: [AngleUnit; 3] = [AngleUnit::Degree, AngleUnit::Gon, AngleUnit::Mil];

    /// The suffix of canonical column names.
    pub fn suffix(self) -> &'static str {
        match self {
            AngleUnit::Degree => "deg",
            AngleUnit::Gon => "gon",
            AngleUnit::Mil => "mil",
        }
    }

    /// Units in a full turn.
    pub fn per_turn(self) -> f64 {
        match self {
            AngleUnit::Degree => 360.0,
            AngleUnit::Gon => 400.0,
            AngleUnit::Mil => 6400.0,
        }
    }

    /// Radians of `value` units.
    pub fn to_radians(self, value: f64) -> f64 {
        value * (2.0 * PI / self.per_turn())
    }

    /// Units of `radians`.
    pub fn from_radians(self, radians: f64) -> f64 {
        radians * (self.per_turn() / (2.0 * PI))
    }

    /// The unit that a word in a log's units row stands for. `grad` and `gr` are said of degrees in one language and of gon in another:
    /// see [`AngleUnit::is_said_by`].
    pub fn from_word(word: &str) -> Option<AngleUnit> {
        match word.trim().to_lowercase().as_str() {
            "deg" | "degree" | "degrees" | "°" | "º" => Some(AngleUnit::Degree),
            "gon" | "grad" | "gr" | "grd" | "grads" | "grades" => Some(AngleUnit::Gon),
            "mil" | "mils" => Some(AngleUnit::Mil),
            // Degrees in other languages; "g" is the sign of a gon (ISO 80000-3).
            "degrés" | "grados" | "graus" | "gradi" | "graden" | "grader" | "stopnie" | "stopni" | "asteet" | "astetta" => {
                Some(AngleUnit::Degree)
            }
            "g" | "ᵍ" => Some(AngleUnit::Gon),
            _ => None,
        }
    }
}

impl AngleUnit {
    /// Whether a word in a log's units row may stand for the unit.
    pub fn is_said_by(self, word: &str) -> bool {
        let either = matches!(word.trim().to_lowercase().as_str(), "grad" | "gr" | "grd") && self == AngleUnit::Degree;
        either || AngleUnit::from_word(word) == Some(self)
    }
}

impl fmt::Display for AngleUnit {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(match self {
            AngleUnit::Degree => "degree",
            AngleUnit::Gon => "gon",
            AngleUnit::Mil => "mil",
        })
    }
}

/// Which hemisphere letters an angle may carry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hemispheres {
    /// N and S.
    Latitude,
    /// E and W.
    Longitude,
    /// None: azimuths and inclinations.
    None,
}

/// Why a text is not an angle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum AngleError {
    /// Some part is not a number.
    #[error("not an angle in degrees")]
    NotAnAngle,
    /// Minutes or seconds of 60 and more, or a fraction before the last part.
    #[error("minutes and seconds must be below 60, and only the last part may have decimals")]
    Parts,
    /// A letter of the other axis.
    #[error("the hemisphere letter belongs to the other axis")]
    WrongAxis,
    /// A letter and a sign.
    #[error("has both a sign and a hemisphere letter")]
    SignAndLetter,
    /// A bearing of more than a right angle.
    #[error("a bearing in a quadrant lies between 0 and 90 degrees")]
    Quadrant,
}

/// Degrees, minutes and seconds with a hyphen before each part but the first, of two digits each: `188-16-05`. Of one digit they
/// would be a range, or a date.
fn is_hyphenated(body: &str) -> bool {
    let mut parts = body.split('-');
    let is_whole = |part: &str| !part.is_empty() && part.len() <= 3 && part.bytes().all(|b| b.is_ascii_digit());
    let is_part = |part: &str| {
        let whole = part.split_once('.').map_or(part, |(whole, _)| whole);
        whole.len() == 2 && part.bytes().all(|b| b.is_ascii_digit() || b == b'.')
    };
    body.contains('-') && parts.next().is_some_and(is_whole) && parts.all(is_part)
}

/// Reads an angle in degrees: `46.1234`, `-46.1234`, `46 07.404 N`, `46°07'24.2"N`, `S 46 7 24`, `188-16-05`.
///
/// The sign or letter covers the whole angle, so that `-0 30` is minus half a degree.
///
/// # Errors
/// When the text is no angle, has parts out of range, or a letter of the other axis.
pub fn parse_angle_deg(text: &str, letters: Hemispheres) -> Result<f64, AngleError> {
    let text = text.trim();
    if let Ok(degrees) = text.parse::<f64>() {
        return if degrees.is_finite() { Ok(degrees) } else { Err(AngleError::NotAnAngle) };
    }
    let (body, letter) = take_letter(text);
    let negative_letter = match (letter, letters) {
        (None, _) => false,
        (Some('N'), Hemispheres::Latitude) | (Some('E'), Hemispheres::Longitude) => false,
        (Some('S'), Hemispheres::Latitude) | (Some('W'), Hemispheres::Longitude) => true,
        (Some(_), Hemispheres::None) => return Err(AngleError::NotAnAngle),
        (Some(_), _) => return Err(AngleError::WrongAxis),
    };
    let (body, signed, negative_sign) = match body.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (rest, true, true),
        None => match body.strip_prefix('+') {
            Some(rest) => (rest, true, false),
            None => (body, false, false),
        },
    };
    if signed && letter.is_some() {
        return Err(AngleError::SignAndLetter);
    }
    let has_hyphens = is_hyphenated(body);
    let is_mark = |c: char| c.is_whitespace() || "°º'’′\"”″:dms".contains(c) || (has_hyphens && c == '-');
    let parts: Vec<&str> = body.split(is_mark).filter(|part| !part.is_empty()).collect();
    if parts.is_empty() || parts.len() > 3 {
        return Err(AngleError::NotAnAngle);
    }
    let mut degrees = 0.0;
    for (i, part) in parts.iter().enumerate() {
        if !part.bytes().all(|b| b.is_ascii_digit() || b == b'.') {
            return Err(AngleError::NotAnAngle);
        }
        let value: f64 = part.parse().map_err(|_| AngleError::NotAnAngle)?;
        let last = i + 1 == parts.len();
        if (i > 0 && value >= 60.0) || (!last && part.contains('.')) {
            return Err(AngleError::Parts);
        }
        degrees += value / [1.0, 60.0, 3600.0][i];
    }
    Ok(if negative_letter || negative_sign { -degrees } else { degrees })
}

/// Reads a direction in degrees, clockwise from north: an angle as [`parse_angle_deg`] reads it, or a bearing in a quadrant, counted from
/// north or south towards east or west: `N 23°15' W`, `S45.5E`, `NW 45.5`. Letters alone are the eighth of a circle, and no reading.
///
/// # Errors
/// When the text is neither, or a bearing of more than 90 degrees.
pub fn parse_direction_deg(text: &str) -> Result<f64, AngleError> {
    let text = text.trim();
    let letters = |text: &str| text.chars().filter(|c| "NSEWnsew".contains(*c)).count();
    let Some(first) = text.chars().next().map(|c| c.to_ascii_uppercase()).filter(|c| "NSEW".contains(*c)) else {
        return parse_angle_deg(text, Hemispheres::None);
    };
    let rest = text[1..].trim_start();
    if !matches!(first, 'N' | 'S') || letters(rest) != 1 {
        return Err(AngleError::NotAnAngle);
    }
    // Towards east or west: behind the first letter, or behind the angle.
    let (angle, towards) = match rest.chars().next().filter(char::is_ascii_alphabetic) {
        Some(towards) => (rest[1..].trim(), towards),
        None => match rest.char_indices().next_back() {
            Some((at, towards)) => (rest[..at].trim(), towards),
            None => return Err(AngleError::NotAnAngle),
        },
    };
    let angle = parse_angle_deg(angle, Hemispheres::None)?;
    if !(0.0..=90.0).contains(&angle) {
        return Err(AngleError::Quadrant);
    }
    match (first, towards.to_ascii_uppercase()) {
        ('N', 'E') => Ok(angle),
        ('N', 'W') => Ok((360.0 - angle) % 360.0),
        ('S', 'E') => Ok(180.0 - angle),
        ('S', 'W') => Ok(180.0 + angle),
        _ => Err(AngleError::NotAnAngle),
    }
}

/// Takes a leading or trailing hemisphere letter off, in capitals.
fn take_letter(text: &str) -> (&str, Option<char>) {
    let is_letter = |c: char| "NSEWnsew".contains(c);
    if let Some(first) = text.chars().next().filter(|c| is_letter(*c)) {
        (text[1..].trim(), Some(first.to_ascii_uppercase()))
    } else if let Some(last) = text.chars().next_back().filter(|c| is_letter(*c)) {
        // A trailing small `s` is the mark of seconds, not the south.
        if last == 's' { (text, None) } else { (text[..text.len() - 1].trim(), Some(last.to_ascii_uppercase())) }
    } else {
        (text, None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_ways_people_write_a_latitude() {
        let want = 46.0 + 7.0 / 60.0 + 24.2 / 3600.0;
        for text in ["46 07 24.2", "46°07'24.2\"N", "46° 07′ 24.2″ N", "N46:07:24.2", "46d07m24.2s", "46 7.403333333333333"]
        {
            let got = parse_angle_deg(text, Hemispheres::Latitude);
            assert!((got.unwrap_or(f64::NAN) - want).abs() < 1e-12, "{text}: {got:?}");
        }
    }

    #[test]
    fn minus_nought_degrees_thirty_keeps_its_sign() {
        assert_eq!(parse_angle_deg("-0 30", Hemispheres::Longitude), Ok(-0.5));
        assert_eq!(parse_angle_deg("0 30 W", Hemispheres::Longitude), Ok(-0.5));
    }

    /// Bearings in quadrants as land surveys of English-speaking countries and line crews of others write them; the angle is counted
    /// from the first letter towards the second (common practice, no source).
    #[test]
    fn bearings_in_quadrants() {
        for (text, degrees) in [
            ("N 45°30' E", 45.5),
            ("S 23 15 W", 203.25),
            ("s10.5e", 169.5),
            ("NW 45.5", 314.5),
            ("SE 0", 180.0),
            ("N 0 W", 0.0),
            ("188°16'", 188.0 + 16.0 / 60.0),
            ("N45-30W", 314.5),
            ("S 12-07-30 E", 180.0 - 12.125),
            ("188-16-12", 188.27),
            ("88-30", 88.5),
            ("12.5", 12.5),
        ] {
            let read = parse_direction_deg(text).unwrap_or(f64::NAN);
            assert!((read - degrees).abs() < 1e-12, "{text}: {read} for {degrees}");
        }
        assert_eq!(parse_direction_deg("N 91 E"), Err(AngleError::Quadrant));
        for text in ["NS 3", "E 3 N", "N E 3 W", "north", "", "N3", "EW", "N", "NE", "w", "N45-3W"] {
            assert_eq!(parse_direction_deg(text), Err(AngleError::NotAnAngle), "{text:?}");
        }
    }

    #[test]
    fn what_is_no_angle() {
        let latitude = |text| parse_angle_deg(text, Hemispheres::Latitude);
        assert_eq!(latitude("46 70 00"), Err(AngleError::Parts));
        assert_eq!(latitude("46.5 30"), Err(AngleError::Parts));
        assert_eq!(latitude("8 30 E"), Err(AngleError::WrongAxis));
        assert_eq!(latitude("1e"), Err(AngleError::WrongAxis));
        assert_eq!(latitude("-8 30 S"), Err(AngleError::SignAndLetter));
        // A range and a date are no angles; minutes and seconds have two digits.
        for text in ["", "north", "N", "1 2 3 4", "NaN", "inf", "°", "12-5", "2026-05-14", "12--30", "12-30-"] {
            assert_eq!(latitude(text), Err(AngleError::NotAnAngle), "{text:?}");
        }
        assert_eq!(parse_angle_deg("12 N", Hemispheres::None), Err(AngleError::NotAnAngle));
    }

    proptest! {
        #[test]
        fn there_and_back(value in -1e4f64..1e4, which in 0usize..3) {
            let unit = AngleUnit::ALL[which];
            let back = unit.from_radians(unit.to_radians(value));
            prop_assert!((back - value).abs() <= value.abs() * 4.0 * f64::EPSILON);
        }

        #[test]
        fn written_in_parts_reads_the_same(lat in -90.0f64..90.0) {
            let total = (lat.abs() * 3600e6).round() as u64;
            let (d, m, s) = (total / 3_600_000_000, total / 60_000_000 % 60, total % 60_000_000);
            let letter = if lat < 0.0 { 'S' } else { 'N' };
            let text = format!("{d} {m:02} {:02}.{:06} {letter}", s / 1_000_000, s % 1_000_000);
            let read = parse_angle_deg(&text, Hemispheres::Latitude).unwrap();
            prop_assert!((read - lat).abs() < 1e-9, "{text}: {read}");
        }

        #[test]
        fn any_text_is_read_or_refused(text in "\\PC*") {
            let _ = parse_angle_deg(&text, Hemispheres::Latitude);
        }
    }
}
