//! What the columns of a log of bases may mean.

use std::fmt::Write;

use super::columns::{Ask, Guess, Guesser, candidate, name_column};
use super::words::{self, means};
use crate::job::UNDECIDED;
use crate::units::{Hemispheres, parse_angle_deg};

impl Guesser<'_> {
    /// The meanings that a column may have, the likeliest first.
    pub(super) fn base(&self, column: usize, words: &[String]) -> Vec<Guess> {
        let sample = self.sample;
        if sample.base_columns.first().is_some_and(|first| *first == sample.headers[column]) && sample.base_columns.len() == 1 {
            return vec![candidate("base", "each row has the position that it was shot from", Vec::new())];
        }
        for (canonical, letters, sides) in
            [("lat_deg", Hemispheres::Latitude, ['N', 'S']), ("lon_deg", Hemispheres::Longitude, ['E', 'W'])]
        {
            // A zone such as 32N is no latitude: an angle in parts has more to it.
            let is_angle =
                |cell: &str| cell.len() > 5 && cell.contains(sides) && parse_angle_deg(&cell.replace(',', "."), letters).is_ok();
            if sample.filled(column).any(is_angle) {
                let reason = format!("its values are angles with {} or {}", sides[0], sides[1]);
                return vec![candidate(canonical, reason, Vec::new())];
            }
        }
        let mut found = if sample.is_numeric(column) { self.position(column, words) } else { self.angle_in_parts(column, words) };
        if name_column(sample) == Some(column) && sample.base_columns.is_empty() {
            let reason = if means(words, "base") { "base by its header" } else { "the first column, and nothing else is a name" };
            found.push(candidate("base", reason, Vec::new()));
        }
        // The bases' own times and days serve nothing where shots name their bases.
        found
    }

    /// Latitudes and longitudes in degrees, minutes and seconds without letters.
    fn angle_in_parts(&self, column: usize, words: &[String]) -> Vec<Guess> {
        let is_angle = |cell: &str| parse_angle_deg(&cell.replace(',', "."), Hemispheres::None).is_ok();
        let all = [("latitude", "lat_deg", "a latitude by its header"), ("longitude", "lon_deg", "a longitude by its header")];
        let found = all.into_iter().filter(|(concept, _, _)| means(words, concept) && self.sample.filled(column).any(is_angle));
        found.map(|(_, canonical, why)| candidate(canonical, why, Vec::new())).collect()
    }

    fn position(&self, column: usize, words: &[String]) -> Vec<Guess> {
        let sample = self.sample;
        if means(words, "latitude") {
            return vec![candidate("lat_deg", "a latitude by its header", Vec::new())];
        }
        if means(words, "longitude") {
            return vec![candidate("lon_deg", "a longitude by its header", Vec::new())];
        }
        if let Some(accuracy) = self.accuracy(words) {
            return vec![accuracy];
        }
        let mut found = Vec::new();
        let is_far = sample.greatest(column).is_some_and(|most| most > 1000.0);
        // "Height N2000" is a height, and "N" alone a northing.
        let says_height = words.iter().any(|word| word.len() > 1 && means(std::slice::from_ref(word), "height"));
        if says_height && !means(words, "antenna") && !means(words, "instrument_height") {
            found.push(self.height(words));
        }
        let is_long = words.iter().any(|word| word.len() > 1);
        if is_far && let Some(axis) = self.bare_axis(column, words) {
            found.push(axis);
        }
        if means(words, "easting") && (is_far || is_long) {
            found.push(self.coordinate("east", column, words, "an easting by its header"));
        }
        if means(words, "northing") && (is_far || is_long) {
            found.push(self.coordinate("north", column, words, "a northing by its header"));
        }
        if means(words, "antenna") {
            found.push(self.length("antenna_height", words, "an antenna height by its header"));
        }
        if means(words, "instrument_height") {
            found.push(self.small_height("instrument_height", column, words, "an instrument height by its header"));
        }
        if means(words, "height") && !says_height {
            found.push(self.height(words));
        }
        found
    }

    /// A coordinate that is called X or Y. Surveyors of one country count X east, those of another north: magnitudes tell, where only one
    /// of the two counts millions, else the person does.
    fn bare_axis(&self, column: usize, words: &[String]) -> Option<Guess> {
        const MILLION: f64 = 1e6;
        let of = |letter: &str| {
            (0..self.sample.headers.len()).find(|column| self.sample.words(*column).iter().any(|word| word == letter))
        };
        let mine = ["x", "y"].into_iter().find(|letter| words.iter().any(|word| word == letter))?;
        let other = of(if mine == "x" { "y" } else { "x" })?;
        let says = |concept: &str| words.iter().any(|word| word.len() > 1 && means(std::slice::from_ref(word), concept));
        for (concept, name) in [("easting", "east"), ("northing", "north")] {
            if says(concept) {
                return Some(self.coordinate(name, column, words, &format!("{name} by its header")));
            }
        }
        let (most, beside) = (self.sample.greatest(column)?, self.sample.greatest(other)?);
        // Northings of most zones count millions, eastings of most grids some hundred thousands; in feet both may.
        let name = match (most >= MILLION, beside >= MILLION) {
            (true, false) => "north",
            (false, true) => "east",
            // UTM has its eastings first.
            _ if words.iter().any(|word| word == "utm") && mine == "x" => "east",
            _ if words.iter().any(|word| word == "utm") => "north",
            _ => {
                let why = format!(
                    "a coordinate by its header; X is east in some countries and north in others: put east or north in place of {UNDECIDED}"
                );
                let mut guess = self.coordinate(UNDECIDED, column, words, &why);
                guess.asks.insert(0, Ask::Axis);
                return Some(guess);
            }
        };
        let why = format!("a coordinate by its header, {name} by its amount beside {}", self.sample.headers[other]);
        Some(self.coordinate(name, column, words, &why))
    }

    fn height(&self, words: &[String]) -> Guess {
        let kind = match () {
            () if means(words, "ellipsoidal") => Some("ellipsoid"),
            () if means(words, "orthometric") => Some("orthometric"),
            () => None,
        };
        let mut guess = self.length(&format!("{}_height", kind.unwrap_or(UNDECIDED)), words, "a height by its header");
        if kind.is_none() {
            let _ = write!(guess.reason, "; above what? put ellipsoid or orthometric in place of the first {UNDECIDED}");
            guess.asks.insert(0, Ask::HeightKind);
        }
        guess
    }

    /// The accuracy that a receiver or a phone says.
    fn accuracy(&self, words: &[String]) -> Option<Guess> {
        if !means(words, "accuracy") {
            return None;
        }
        let has = |word: &str| words.iter().any(|own| own == word);
        let other = |letter: &str| {
            self.sample
                .headers
                .iter()
                .map(|header| words::split(header))
                .any(|own| means(&own, "accuracy") && own.iter().any(|word| word == letter))
        };
        // "s_L" and "s_H" are of place and height (Lage, Höhe), "sH" and "sV" horizontal and vertical.
        let is_of_height = has("h") && other("l");
        if !is_of_height && means(words, "horizontal") {
            return Some(self.length("sigma_horizontal", words, "a horizontal standard error by its header"));
        }
        if is_of_height || means(words, "vertical") {
            return Some(self.length("sigma_vertical", words, "a vertical standard error by its header"));
        }
        let why = "an accuracy by its header, taken as the radius of a circle: see radius_share";
        Some(self.length("radius", words, why))
    }

    /// A coordinate of a grid. Far from the zero of a grid in feet it matters which foot: 2 ppm of 2,000,000 ft are 4 ft.
    fn coordinate(&self, name: &str, column: usize, words: &[String], why: &str) -> Guess {
        let mut guess = self.length(name, words, why);
        if guess.canonical.ends_with("_ft") && self.sample.greatest(column).is_some_and(|most| most > 50_000.0) {
            guess.canonical = format!("{name}_usft");
            guess.reason = format!(
                "{why}, in feet: the grids of most US states are in US survey feet; {name}_ft where yours is in international feet"
            );
        }
        guess
    }
}
