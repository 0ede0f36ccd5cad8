//! What the columns of a log of shots may mean.

use std::fmt::Write;

use super::columns::{Ask, Guess, Guesser, MANY, candidate};
use super::roles;
use super::told::{
    is_azimuth, is_distance, is_horizontal_distance, is_inclination, is_instrument_by_letter, is_of_vertical_circle,
    is_slope_distance, is_vertical_distance,
};
use super::units::{angle_unit, is_grades_or_degrees, is_percent};
use super::words::{self, means};
use crate::job::UNDECIDED;
use crate::numeric::words::counted;

impl Guesser<'_> {
    /// The meanings that a column may have, the likeliest first.
    pub(super) fn shot(&self, column: usize, words: &[String]) -> Vec<Guess> {
        let sample = self.sample;
        if let Some(spoken) = roles::recognise(sample, column, &self.kinds) {
            let what = if spoken.canonical == "measure" { "kinds of measurements" } else { "roles in measurements" };
            let reason = match spoken.translated.is_empty() {
                true => format!("its values are {what}, such as {}", spoken.example),
                false => format!("its values are words for {what}; what each means stands below"),
            };
            return vec![Guess { translated: spoken.translated, ..candidate(spoken.canonical, reason, Vec::new()) }];
        }
        if let Some(guess) = self.backsights(column, words) {
            return vec![guess];
        }
        let common = self.common(column, words);
        if sample.is_in_parts(column) && !means(words, "remarks") {
            return self.in_parts(column, words).into_iter().chain(common).collect();
        }
        if !sample.is_numeric(column) || means(words, "remarks") || means(words, "diameter") {
            return common;
        }
        let own = match () {
            () if means(words, "accuracy") && !is_azimuth(words) && !is_inclination(words) && !is_distance(words) => None,
            () if is_azimuth(words) && !means(words, "zenith") => Some(self.azimuth(column, words, "an azimuth by its header")),
            // "Vertical angle" is no distance.
            () if (is_slope_distance(words) || is_horizontal_distance(words) || is_vertical_distance(words))
                && (!is_inclination(words) || means(words, "distance"))
                && !means(words, "angle")
                && !is_percent(words) =>
            {
                Some(self.distance(words))
            }
            () if means(words, "zenith") => Some(self.zenith(column, words)),
            () if is_percent(words) && words.iter().any(|word| word == "slope") => {
                Some(candidate("inclination_pct", "a slope in percent by its header", Vec::new()))
            }
            () if means(words, "instrument_height") => {
                Some(self.small_height("instrument_height", column, words, "an instrument height by its header"))
            }
            () if means(words, "target_height") => {
                Some(self.small_height("target_height", column, words, "a target height by its header"))
            }
            () if is_instrument_by_letter(words) && sample.greatest(column).is_some_and(|most| (0.8..2.6).contains(&most)) => {
                Some(self.small_height("instrument_height", column, words, "an instrument height by its letter and its amount"))
            }
            () if is_inclination(words) => Some(self.inclination(column, words, "an inclination by its header")),
            () if is_of_vertical_circle(words) => {
                Some(self.inclination(column, words, "an angle of the vertical circle by its header"))
            }
            () if is_distance(words) => Some(self.distance(words)),
            () => None,
        };
        own.into_iter().chain(common).collect()
    }

    /// An angle in degrees and minutes, or a bearing in a quadrant.
    fn in_parts(&self, column: usize, words: &[String]) -> Option<Guess> {
        let sample = self.sample;
        let first = sample.filled(column).next().unwrap_or_default();
        if is_azimuth(words) && !means(words, "zenith") {
            return Some(self.azimuth_in_parts(words, &format!("an azimuth by its header; in degrees, as \"{first}\"")));
        }
        if !is_inclination(words) && !means(words, "zenith") {
            return None;
        }
        let degrees = sample.degrees_in_parts(column);
        let near_level = degrees.iter().filter(|value| (70.0..110.0).contains(*value)).count();
        let why = format!("in degrees and minutes, as \"{first}\"");
        Some(match () {
            () if means(words, "zenith") => candidate("zenith_deg", format!("a zenith angle by its header, {why}"), Vec::new()),
            () if degrees.iter().any(|value| *value > 90.0) => {
                candidate("zenith_deg", format!("its values go beyond 90, as zenith angles do; {why}"), Vec::new())
            }
            () if near_level * 5 > degrees.len() * 4 => candidate(
                format!("{UNDECIDED}_deg"),
                format!(
                    "an inclination by its header, but its values lie about 90: if that is level put zenith in place of \
                     {UNDECIDED}, else inclination"
                ),
                vec![Ask::ZenithOrInclination],
            ),
            () => candidate("inclination_deg", format!("an inclination by its header, {why}"), Vec::new()),
        })
    }

    /// Words of a log that tell backsights: those of rows that sight a base from another.
    fn backsights(&self, column: usize, words: &[String]) -> Option<Guess> {
        let sample = self.sample;
        if !["role", "code", "measure", "shot"].iter().any(|concept| means(words, concept)) || sample.is_numeric(column) {
            return None;
        }
        let of_bases = |row: &&Vec<String>| {
            let mut names: Vec<&String> = row.iter().filter(|cell| self.context.base_names.contains(cell)).collect();
            names.sort_unstable();
            names.dedup();
            names.len() > 1
        };
        let (sights, others): (Vec<_>, Vec<_>) = sample.rows.iter().filter(|row| !row[column].is_empty()).partition(of_bases);
        let word = sights.first().map(|row| &row[column])?;
        let is_told = roles::is_backsight(word)
            && sights.iter().all(|row| row[column] == *word)
            && others.iter().all(|row| row[column] != *word);
        let why = format!("\"{word}\" is said of the sights from base to base, which orient the circle: backsights");
        is_told.then(|| Guess {
            translated: std::collections::BTreeMap::from([(word.clone(), "backsight".to_owned())]),
            ..candidate("role", why, Vec::new())
        })
    }

    /// The north that a header says; without bases none is needed, and the zero of the instrument serves.
    pub(super) fn north(&self, words: &[String]) -> Option<&'static str> {
        let said = ["magnetic", "true", "grid"].into_iter().find(|north| means(words, north));
        said.or(self.context.has_no_bases.then_some("magnetic"))
    }

    fn azimuth_in_parts(&self, words: &[String], why: &str) -> Guess {
        match self.north(words) {
            Some(north) => candidate(format!("{north}_azimuth_deg"), why, Vec::new()),
            None => candidate(
                format!("{UNDECIDED}_azimuth_deg"),
                format!("{why}; from which north? put magnetic, true or grid in place of {UNDECIDED}"),
                vec![Ask::North],
            ),
        }
    }

    pub(super) fn azimuth(&self, column: usize, words: &[String], why: &str) -> Guess {
        let north = self.north(words);
        let mut reason = why.to_owned();
        let mut asks = Vec::new();
        if north.is_none() {
            let _ = write!(reason, "; from which north? put magnetic, true or grid in place of {UNDECIDED}");
            asks.push(Ask::North);
        }
        let said = self.unit_of_angle(words);
        if said.is_none() && is_grades_or_degrees(words) {
            let _ = write!(reason, "; \"gr\" is gon in some languages and degrees in others: put gon or deg");
            asks.push(Ask::AngleUnit);
            return candidate(format!("{}_azimuth_{UNDECIDED}", north.unwrap_or(UNDECIDED)), reason, asks);
        }
        let unit = said.or_else(|| self.turn(column, &mut reason));
        if unit.is_none() {
            let most = self.sample.greatest(column).map(|most| format!(" (values up to {most})")).unwrap_or_default();
            let _ = write!(reason, "; in which unit{most}? put deg, gon or mil");
            asks.push(Ask::AngleUnit);
        }
        candidate(format!("{}_azimuth_{}", north.unwrap_or(UNDECIDED), unit.unwrap_or(UNDECIDED)), reason, asks)
    }

    /// The unit that a header names; "gr" is gon in French, and where a direction goes beyond 360.
    fn unit_of_angle(&self, words: &[String]) -> Option<&'static str> {
        let sample = self.sample;
        let is_french = || {
            let of_header = ["azimuth", "inclination", "zenith"].iter().find_map(|concept| words::language(words, concept));
            of_header == Some("fr") || sample.language() == Some("fr")
        };
        let goes_beyond = || {
            (0..sample.headers.len()).any(|column| {
                let own = sample.words(column);
                is_azimuth(&own)
                    && is_grades_or_degrees(&own)
                    && sample.greatest(column).is_some_and(|most| most > 360.0 && most <= 400.0)
            })
        };
        let is_gon = || is_grades_or_degrees(words) && (is_french() || goes_beyond());
        angle_unit(words).or_else(|| is_gon().then_some("gon"))
    }

    /// The unit that the values of full turns tell.
    fn turn(&self, column: usize, reason: &mut String) -> Option<&'static str> {
        let numbers = self.sample.numbers(column);
        let most = self.sample.greatest(column)?;
        let (unit, why) = match most {
            _ if numbers.len() < MANY => return None,
            _ if most <= 360.0 => ("deg", format!("none of {} is above 360", counted(numbers.len() as u64, "value", "values"))),
            _ if most <= 400.0 => ("gon", "values lie between 360 and 400".to_owned()),
            _ if most <= 6400.0 => ("mil", format!("values go up to {most}")),
            _ => return None,
        };
        let _ = write!(reason, "; likely in {unit}: {why}");
        Some(unit)
    }

    /// A zenith angle: in the unit that its header names, else in that of the azimuths, else as its values tell.
    fn zenith(&self, column: usize, words: &[String]) -> Guess {
        let why = "a zenith angle by its header";
        let unit = match (self.unit_of_angle(words), self.turn_beside(column)) {
            (Some(unit), _) => {
                return candidate(format!("zenith_{unit}"), format!("{why}; the header names the unit"), Vec::new());
            }
            (None, Some(unit)) => {
                return candidate(format!("zenith_{unit}"), format!("{why}; likely in {unit}, as the azimuths are"), Vec::new());
            }
            (None, None) => self.zenith_unit(column),
        };
        candidate(format!("zenith_{unit}"), format!("{why}; likely in {unit}, by its values about the level"), Vec::new())
    }

    /// The unit of the log's azimuths, by their headers or values.
    fn turn_beside(&self, column: usize) -> Option<&'static str> {
        (0..self.sample.headers.len()).filter(|other| *other != column).find_map(|other| {
            let words = self.sample.words(other);
            let is_direction = is_azimuth(&words) && self.sample.is_numeric(other);
            let of_values = || if is_grades_or_degrees(&words) { None } else { self.turn(other, &mut String::new()) };
            is_direction.then(|| self.unit_of_angle(&words).or_else(of_values)).flatten()
        })
    }

    /// Level is 90 degrees or 100 gon.
    fn zenith_unit(&self, column: usize) -> &'static str {
        let mut numbers = self.sample.numbers(column);
        numbers.sort_by(f64::total_cmp);
        match numbers.get(numbers.len() / 2) {
            Some(middle) if numbers.len() >= MANY && (96.0..104.0).contains(middle) => "gon",
            _ => "deg",
        }
    }

    fn distance(&self, words: &[String]) -> Guess {
        let said = [
            (is_horizontal_distance(words), "horizontal_distance", "a horizontal distance by its header"),
            (is_vertical_distance(words), "vertical_distance", "a vertical distance by its header"),
            (is_slope_distance(words), "slope_distance", "a slope distance by its header"),
        ];
        if let Some((_, kind, why)) = said.into_iter().find(|(is, ..)| *is) {
            return self.length(kind, words, why);
        }
        let others: Vec<Vec<String>> = (0..self.sample.headers.len()).map(|column| self.sample.words(column)).collect();
        let any = |is: &dyn Fn(&[String]) -> bool| others.iter().any(|words| is(words));
        let is_zenith = |words: &[String]| means(words, "zenith");
        let has_angles = any(&is_inclination) || any(&is_zenith) || any(&is_vertical_distance);
        if any(&is_horizontal_distance) || (has_angles && !any(&is_slope_distance)) {
            let why = if any(&is_horizontal_distance) {
                "the horizontal one has a column of its own"
            } else {
                "there are inclinations beside it"
            };
            return self.length("slope_distance", words, &format!("a distance by its header, likely the slope distance: {why}"));
        }
        if !has_angles {
            let why = "a distance by its header, likely the horizontal one: nothing vertical stands beside it";
            return self.length("horizontal_distance", words, why);
        }
        let mut guess = self.length(&format!("{UNDECIDED}_distance"), words, "a distance by its header");
        let _ = write!(guess.reason, "; put slope or horizontal in place of the first {UNDECIDED}");
        guess.asks.insert(0, Ask::DistanceKind);
        guess
    }

    pub(super) fn inclination(&self, column: usize, words: &[String], why: &str) -> Guess {
        if is_percent(words) {
            return candidate("inclination_pct", format!("{why}, in percent"), Vec::new());
        }
        let numbers = self.sample.numbers(column);
        let near_level = numbers.iter().filter(|value| (70.0..110.0).contains(*value)).count();
        if numbers.len() >= MANY && near_level * 5 > numbers.len() * 4 {
            let unit = self.unit_of_angle(words).or_else(|| self.turn_beside(column)).unwrap_or_else(|| self.zenith_unit(column));
            let upright = if unit == "gon" { 100.0 } else { 90.0 };
            if numbers.iter().any(|value| *value > upright) {
                let reason = format!("{why}; its values lie about {upright} and go beyond, as zenith angles do");
                return candidate(format!("zenith_{unit}"), reason, Vec::new());
            }
            let reason = format!(
                "{why}, but its values lie about {}: if that is level put zenith in place of {UNDECIDED}, else inclination",
                if unit == "gon" { 100 } else { 90 }
            );
            return candidate(format!("{UNDECIDED}_{unit}"), reason, vec![Ask::ZenithOrInclination]);
        }
        if let Some(unit) = self.unit_of_angle(words) {
            return candidate(format!("inclination_{unit}"), format!("{why}; the header names the unit"), Vec::new());
        }
        if self.turn_beside(column) == Some("gon") {
            return candidate("inclination_gon", format!("{why}; likely in gon, as the azimuths are"), Vec::new());
        }
        let most =
            if is_grades_or_degrees(words) { f64::INFINITY } else { numbers.iter().copied().map(f64::abs).fold(0.0, f64::max) };
        if numbers.len() >= MANY && most <= 45.0 && numbers.iter().any(|value| value.fract() != 0.0) {
            let count = counted(numbers.len() as u64, "value", "values");
            let reason = format!("{why}; likely in degrees: {count} with fractions, none above 45");
            return candidate("inclination_deg", reason, Vec::new());
        }
        if numbers.len() >= MANY && most <= 90.0 && self.turn_beside(column) == Some("deg") {
            return candidate("inclination_deg", format!("{why}; likely in degrees, as the azimuths are"), Vec::new());
        }
        let reason = format!("{why}; in which unit? put deg, gon, mil or pct in place of {UNDECIDED}");
        candidate(format!("inclination_{UNDECIDED}"), reason, vec![Ask::SlopeUnit])
    }
}
