//! The columns that name bases and features, and angles that no word tells: what only all columns of a log together say.

use super::columns::{Ask, Guess, Guesser, candidate};
use super::units::angle_unit;
use super::words::means;
use crate::intake::columns;
use crate::job::UNDECIDED;
use crate::units::parse_direction_deg;

/// Azimuths of one name from one base farther apart than this are of several things, in degrees (an estimate).
const APART_DEG: f64 = 20.0;

impl Guesser<'_> {
    /// The column that names the base: the one whose values are names in a base log, before what headers say.
    pub(super) fn name_bases(&self, found: &mut Vec<Guess>) {
        let sample = self.sample;
        if !sample.base_columns.is_empty() {
            found.retain(|guess| guess.canonical != "base");
            let reason = "each row has the position that it was shot from; see [bases.columns]";
            found.push(Guess { headers: sample.base_columns.clone(), ..candidate("base", reason, Vec::new()) });
            return;
        }
        if sample.headers.iter().any(|header| header.eq_ignore_ascii_case("base")) || self.context.base_names.is_empty() {
            return;
        }
        let known =
            |column: usize| sample.filled(column).filter(|cell| self.context.base_names.iter().any(|name| name == cell)).count();
        let best = (0..sample.headers.len())
            .max_by_key(|column| (known(*column), usize::MAX - column))
            .filter(|column| known(*column) > 0);
        let by_header = found.iter().position(|guess| guess.canonical == "base");
        let Some(column) = best else {
            if by_header.is_none() {
                let reason = "which column names the base? several together are written [\"plot\", \"point\"]";
                let guess = candidate("base", reason, vec![Ask::BaseColumn]);
                found.push(Guess { headers: vec![UNDECIDED.into()], ..guess });
            }
            return;
        };
        let header = &sample.headers[column];
        if by_header.is_some_and(|at| found[at].headers[0] == *header) {
            return;
        }
        if let Some(at) = by_header
            && sample.column_of(&found[at].headers[0]).is_some_and(|own| known(own) * 2 >= known(column))
        {
            return;
        }
        let displaced = by_header.map(|at| found[at].headers[0].clone()).filter(|own| own != header);
        found.retain(|guess| guess.canonical != "base" && guess.headers[0] != *header);
        // "Pt ID" beside the column of the bases counts the points that were shot.
        if let Some(own) = displaced
            && let Some(at) = sample.column_of(&own)
            && super::words::means(&sample.words(at), "shot")
            && !found.iter().any(|guess| guess.canonical == "shot")
            && !sample.headers.iter().any(|other| other.eq_ignore_ascii_case("shot"))
        {
            found.push(Guess { headers: vec![own], ..candidate("shot", "shot by its header", Vec::new()) });
        }
        let reason = "its values are names in a base log; several columns together are written [\"plot\", \"point\"]";
        found.push(Guess { headers: vec![header.clone()], ..candidate("base", reason, Vec::new()) });
    }

    /// A column of points beside that of the bases, where nothing else names the features.
    pub(super) fn name_points(&self, found: &mut Vec<Guess>) {
        let sample = self.sample;
        let has = |canonical: &str| {
            found.iter().any(|guess| guess.canonical == canonical)
                || sample.headers.iter().any(|own| own.eq_ignore_ascii_case(canonical))
        };
        if has("feature") || !has("base") {
            return;
        }
        let is_taken = |header: &str| {
            found.iter().any(|guess| guess.headers.iter().any(|own| own == header))
                || columns::parse(&header.to_lowercase(), sample.kind).is_some()
        };
        let column = (0..sample.headers.len()).find(|column| {
            let words = sample.words(*column);
            means(&words, "base")
                && !is_taken(&sample.headers[*column])
                && !["remarks", "diameter", "plot", "species"].iter().any(|concept| means(&words, concept))
        });
        if let Some(column) = column {
            let guess = candidate("feature", "names of points beside those of the bases", Vec::new());
            found.push(Guess { headers: vec![sample.headers[column].clone()], ..guess });
        }
    }

    /// A feature's name that only a plot before it makes unique.
    pub(super) fn name_features(&self, found: &mut [Guess]) {
        let sample = self.sample;
        let of_base: Vec<String> =
            found.iter().filter(|guess| guess.canonical == "base").flat_map(|guess| guess.headers.clone()).collect();
        let plot = (0..sample.headers.len())
            .find(|column| means(&sample.words(*column), "plot") && !of_base.contains(&sample.headers[*column]));
        let (Some(plot), Some(guess)) = (plot, found.iter_mut().find(|guess| guess.canonical == "feature")) else { return };
        let Some(column) = sample.column_of(&guess.headers[0]).filter(|column| *column != plot) else { return };
        let count = |of: &dyn Fn(&Vec<String>) -> String| {
            let mut names: Vec<String> = sample.rows.iter().map(of).collect();
            names.sort_unstable();
            names.dedup();
            names.len()
        };
        if count(&|row| format!("{}\t{}", row[plot], row[column])) > count(&|row| row[column].clone()) {
            guess.headers.insert(0, sample.headers[plot].clone());
            guess.reason = "feature by its header; its names come again in each plot, so that both make the name".into();
        }
    }

    /// Whether a column is neither claimed by its own name nor guessed at.
    fn is_free(&self, column: usize, found: &[Guess]) -> bool {
        let header = &self.sample.headers[column];
        !found.iter().any(|guess| guess.headers.contains(header))
            && columns::parse(&header.to_lowercase(), self.sample.kind).is_none()
    }

    /// Angles whose headers say a unit, and not what they are: the one column that is left for an azimuth or an inclination is it.
    pub(super) fn name_angles(&self, found: &mut Vec<Guess>) {
        let has = |found: &[Guess], names: &[&str]| {
            let headers = self.sample.headers.iter().map(|header| header.to_lowercase());
            let of_guesses = found.iter().map(|guess| guess.canonical.clone());
            headers.chain(of_guesses).any(|name| names.iter().any(|own| name.contains(own)))
        };
        let left = |found: &[Guess]| -> Vec<usize> {
            let is_angle = |column: &usize| {
                let words = self.sample.words(*column);
                angle_unit(&words).is_some()
                    && self.sample.is_numeric(*column)
                    && !["remarks", "accuracy"].iter().any(|concept| means(&words, concept))
                    && self.is_free(*column, found)
            };
            (0..self.sample.headers.len()).filter(is_angle).collect()
        };
        // Only directions go far beyond a quarter of a turn on either side.
        let is_turn = |column: &usize| {
            let numbers = self.sample.numbers(*column);
            numbers.iter().all(|value| *value >= 0.0) && numbers.iter().any(|value| *value > 200.0)
        };
        let (turns, tilts): (Vec<usize>, Vec<usize>) = left(found).into_iter().partition(is_turn);
        let why = "the only angle that is left, by its unit and its values";
        if let [column] = turns[..]
            && !has(found, &["azimuth"])
        {
            let guess = self.azimuth(column, &self.sample.words(column), why);
            found.push(Guess { headers: vec![self.sample.headers[column].clone()], ..guess });
        }
        if let [column] = tilts[..]
            && !has(found, &["inclination", "zenith", "vertical_distance"])
        {
            let guess = self.inclination(column, &self.sample.words(column), why);
            found.push(Guess { headers: vec![self.sample.headers[column].clone()], ..guess });
        }
    }

    /// Names that the values tell: kinds that were taken for names, and names whose header says nothing.
    pub(super) fn name_by_values(&self, found: &mut Vec<Guess>) {
        let sample = self.sample;
        let has = |found: &[Guess], canonical: &str| {
            found.iter().any(|guess| guess.canonical == canonical)
                || sample.headers.iter().any(|own| own.eq_ignore_ascii_case(canonical))
        };
        if has(found, "role") || has(found, "measure") || has(found, "string") {
            return;
        }
        let of_feature = found.iter().position(|guess| guess.canonical == "feature" && guess.headers.len() == 1);
        if let Some(at) = of_feature
            && sample.column_of(&found[at].headers[0]).is_some_and(|column| self.are_kinds(column, found))
        {
            let header = found[at].headers[0].clone();
            found.remove(at);
            if !has(found, "code") {
                let why = "kinds, not names: shots of one of them from one base go quite other ways";
                found.push(Guess { headers: vec![header], ..candidate("code", why, Vec::new()) });
            }
        }
        if has(found, "feature") || has(found, "shot") {
            return;
        }
        let is_name = |column: &usize| {
            let (different, filled) = sample.variety(*column);
            let words = sample.words(*column);
            let is_other = ["remarks", "diameter", "plot", "species", "date", "time", "accuracy", "height"];
            filled > 1
                && different == filled
                && filled * 10 >= sample.rows.len() * 8
                && !(sample.is_numeric(*column) && sample.numbers(*column).iter().any(|value| value.fract() != 0.0))
                && !sample.is_in_parts(*column)
                && !super::times::has_days(sample, *column)
                && !super::times::has_times(sample, *column)
                && !is_other.iter().any(|concept| means(&words, concept))
                && self.is_free(*column, found)
        };
        if let Some(column) = (0..sample.headers.len()).find(is_name) {
            let guess = candidate("feature", "each row has another value: names, as it seems", Vec::new());
            found.push(Guess { headers: vec![sample.headers[column].clone()], ..guess });
        }
    }

    /// Whether the values of a column are kinds: shots of one value from one base lie far apart, for most values that came twice.
    fn are_kinds(&self, column: usize, found: &[Guess]) -> bool {
        let sample = self.sample;
        if sample.is_numeric(column) {
            return false;
        }
        let of = |canonical: &str| {
            let guess = found.iter().find(|guess| guess.canonical.contains(canonical));
            guess.and_then(|guess| sample.column_of(&guess.headers[0]))
        };
        let Some(azimuth) = of("azimuth") else { return false };
        let base = of("base");
        let signs = sample.signs(azimuth);
        let degrees = |cell: &str| signs.number(cell).or_else(|| parse_direction_deg(&cell.replace(',', ".")).ok());
        let mut groups: std::collections::BTreeMap<(&str, &str), Vec<f64>> = Default::default();
        for row in sample.rows.iter().filter(|row| !row[column].is_empty()) {
            if let Some(degrees) = degrees(&row[azimuth]) {
                groups.entry((base.map_or("", |base| row[base].as_str()), &row[column])).or_default().push(degrees);
            }
        }
        let several: Vec<&Vec<f64>> = groups.values().filter(|group| group.len() > 1).collect();
        let is_far = |group: &&&Vec<f64>| {
            group.iter().any(|value| {
                let off = (value - group[0]).abs() % 360.0;
                off.min(360.0 - off) > APART_DEG
            })
        };
        several.len() > 1 && several.iter().filter(is_far).count() * 2 > several.len()
    }
}
