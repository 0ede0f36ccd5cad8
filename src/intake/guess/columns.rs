//! What the columns of a log seem to mean: by the words of their headers and by their values together.
//!
//! Each column gets the meanings that it may have, the likeliest first; a meaning that another column has already is passed
//! over. `shot` knows the columns of shots, `base` those of bases.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::roles;
use super::sample::Sample;
use super::units::length_unit;
use super::words::{self, means};
use crate::intake::columns::{self, LogKind};
use crate::job::UNDECIDED;

/// Rows above which the absence of values beyond a full turn tells a unit.
pub(super) const MANY: usize = 5;

/// A guess at one column: its canonical name, perhaps undecided, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct Guess {
    /// Canonical name.
    pub canonical: String,
    /// The log's headers; several make one name.
    pub headers: Vec<String>,
    /// Why.
    pub reason: String,
    /// What is to be asked for each mark that is undecided, in order.
    pub asks: Vec<Ask>,
    /// The log's own words, and what they mean.
    pub translated: BTreeMap<String, String>,
}

/// What a mark stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ask {
    /// Which north.
    North,
    /// Deg, gon or mil.
    AngleUnit,
    /// Also percent.
    SlopeUnit,
    /// Zenith or inclination.
    ZenithOrInclination,
    /// East or north.
    Axis,
    /// Slope or horizontal.
    DistanceKind,
    /// The unit of a length.
    LengthUnit,
    /// Ellipsoidal or orthometric.
    HeightKind,
    /// The column that names the base.
    BaseColumn,
}

/// What is known of all logs together.
#[derive(Debug, Default)]
pub struct Context {
    /// Names of points in the base logs.
    pub base_names: Vec<String>,
    /// Why lengths without a unit are taken as metres; none where nothing tells.
    pub metric: Option<String>,
    /// Why those of bases on a grid are taken as feet, likewise.
    pub feet: Option<&'static str>,
    /// Whether no log is of bases: then no north is needed.
    pub has_no_bases: bool,
}

impl Context {
    /// Of some logs.
    pub fn gather(samples: &[Sample]) -> Context {
        let mut context = Context::default();
        for sample in samples.iter().filter(|sample| sample.kind == LogKind::Bases && sample.base_columns.is_empty()) {
            context.base_names.extend(sample.names.iter().cloned());
            if let Some(column) = name_column(sample) {
                context.base_names.extend(sample.filled(column).map(str::to_owned));
            }
        }
        let all = || samples.iter().flat_map(|sample| (0..sample.headers.len()).map(move |column| (sample, column)));
        let units: Vec<Vec<String>> = all().map(|(sample, column)| sample.words(column)).collect();
        let in_feet = units.iter().any(|words| matches!(length_unit(words), Some("ft" | "usft" | "yd")))
            || samples.iter().any(|sample| in_feet(sample).is_some());
        // UTM in metres beside shots in feet is common; its eastings stay below a million.
        let is_beyond_utm = |sample: &Sample| {
            sample.kind == LogKind::Bases
                && sample.named("latitude").is_none()
                && sample.named("easting").and_then(|column| sample.greatest(column)).is_some_and(|most| most > 1e6)
        };
        context.feet = samples.iter().find_map(self::in_feet).filter(|_| samples.iter().any(is_beyond_utm));
        context.has_no_bases = samples.iter().all(|sample| sample.kind == LogKind::Shots && sample.base_columns.is_empty());
        let in_metres = units.iter().any(|words| length_unit(words) == Some("m"));
        let comma = || all().any(|(sample, column)| sample.decimal_comma || sample.has_decimal_comma(column));
        let eye = || {
            all().any(|(sample, column)| {
                means(&sample.words(column), "instrument_height")
                    && sample.greatest(column).is_some_and(|most| (0.8..2.6).contains(&most))
            })
        };
        let foreign = || {
            let concepts = [
                "distance",
                "slope_distance",
                "horizontal_distance",
                "azimuth",
                "inclination",
                "instrument_height",
                "base",
                "feature",
            ];
            // A word that English has too, such as "Site", tells no language.
            let is_english = |words: &Vec<String>| concepts.iter().any(|concept| words::language(words, concept) == Some("en"));
            units.iter().filter(|words| !is_english(words)).any(|words| {
                concepts.iter().any(|concept| words::language(words, concept).is_some_and(|found| !matches!(found, "any" | "en")))
            })
        };
        context.metric = match () {
            () if in_feet => None,
            () if in_metres => Some("other headers say metres".into()),
            () if eye() => Some("the instrument heights are metres by their amount".into()),
            () if comma() => Some("logs with a decimal comma are in metres as a rule".into()),
            () => foreign().then(|| "logs in this language are in metres as a rule".into()),
        };
        context
    }
}

/// Why the lengths of a log that name no unit are in feet, if anything tells.
pub(super) fn in_feet(sample: &Sample) -> Option<&'static str> {
    if sample.kind != LogKind::Shots {
        return None;
    }
    let units: Vec<&str> = (0..sample.headers.len()).filter_map(|column| length_unit(&sample.words(column))).collect();
    if !units.is_empty() && units.iter().all(|unit| *unit == "ft") {
        return Some("the other headers of the log say feet");
    }
    // Eyes and tripods stand 4 to 7 ft over the ground, never as many metres.
    let eye = (0..sample.headers.len()).any(|column| {
        means(&sample.words(column), "instrument_height")
            && sample.greatest(column).is_some_and(|most| (4.0..7.0).contains(&most))
    });
    (units.is_empty() && eye).then_some("the instrument heights are feet by their amount")
}

/// The column of a base log that names its points.
pub fn name_column(sample: &Sample) -> Option<usize> {
    let canonical = sample.headers.iter().position(|header| header.eq_ignore_ascii_case("base"));
    let is_name =
        |column: &usize| !sample.is_numeric(*column) || sample.numbers(*column).iter().all(|value| value.fract() == 0.0);
    let named = |concept| sample.named(concept).filter(is_name);
    canonical
        .or_else(|| named("base"))
        .or_else(|| named("feature"))
        .or_else(|| named("shot"))
        .or((!sample.headers.is_empty()).then_some(0))
}

/// Guesses at a log's columns, in their order; none for what is carried through.
pub fn guesses(sample: &Sample, context: &Context) -> Vec<Guess> {
    let mut found: Vec<Guess> = Vec::new();
    let guesser = Guesser { sample, context, kinds: measured_kinds(sample) };
    for (column, header) in sample.headers.iter().enumerate() {
        if columns::parse(&header.to_lowercase(), sample.kind).is_some() {
            // Claimed by its own name; nothing to write.
            continue;
        }
        let words = sample.words(column);
        let candidates = match sample.kind {
            LogKind::Shots => guesser.shot(column, &words),
            LogKind::Bases | LogKind::Occupations => guesser.base(column, &words),
        };
        let is_free = |guess: &Guess| {
            // Of two coordinates neither of which says its axis each has its own.
            !found
                .iter()
                .any(|other| quantity(&other.canonical) == quantity(&guess.canonical) && !guess.asks.contains(&Ask::Axis))
                && !sample.headers.iter().any(|other| is_claimed(other, &guess.canonical, sample.kind))
        };
        if let Some(mut guess) = candidates.into_iter().find(is_free) {
            guess.headers = vec![header.clone()];
            found.push(guess);
        }
    }
    if sample.kind == LogKind::Bases && sample.base_columns.len() > 1 {
        let guess = candidate("base", "each row has the position that it was shot from: it names the base", Vec::new());
        found.push(Guess { headers: sample.base_columns.clone(), ..guess });
    }
    if sample.kind == LogKind::Shots {
        guesser.name_angles(&mut found);
        guesser.name_bases(&mut found);
        guesser.name_points(&mut found);
        guesser.name_features(&mut found);
        guesser.name_by_values(&mut found);
    }
    found
}

/// The kinds of measurements that a log's own column names.
fn measured_kinds(sample: &Sample) -> Vec<String> {
    let mut kinds: Vec<String> = (0..sample.headers.len())
        .filter_map(|column| {
            let spoken = roles::recognise(sample, column, &[]).filter(|spoken| spoken.canonical == "measure")?;
            let meaning = |cell: &str| spoken.translated.get(cell).cloned().unwrap_or_else(|| crate::intake::words::plain(cell));
            Some(sample.filled(column).map(meaning).collect::<Vec<_>>())
        })
        .flatten()
        .collect();
    kinds.sort();
    kinds.dedup();
    kinds
}

/// A canonical name without its unit and its kind of north.
fn quantity(canonical: &str) -> String {
    let bare = canonical.rsplit_once('_').map_or(canonical, |(name, _)| name);
    match bare {
        _ if bare.ends_with("azimuth") => "azimuth".to_owned(),
        "zenith" | "inclination" => "inclination".to_owned(),
        _ if canonical.contains('_') => bare.to_owned(),
        _ => canonical.to_owned(),
    }
}

fn is_claimed(header: &str, canonical: &str, kind: LogKind) -> bool {
    let own = columns::parse(&header.to_lowercase(), kind);
    own.is_some() && own.map(|(quantity, _)| quantity) == columns::parse(canonical, kind).map(|(quantity, _)| quantity)
}

/// A guess without its header.
pub(super) fn candidate(canonical: impl Into<String>, reason: impl Into<String>, asks: Vec<Ask>) -> Guess {
    Guess { canonical: canonical.into(), headers: Vec::new(), reason: reason.into(), asks, translated: BTreeMap::new() }
}

pub(super) struct Guesser<'s> {
    pub(super) sample: &'s Sample,
    pub(super) context: &'s Context,
    /// Kinds of measurements in the log.
    pub(super) kinds: Vec<String>,
}

impl Guesser<'_> {
    pub(super) fn length(&self, quantity: &str, words: &[String], why: &str) -> Guess {
        let is_of_bases = self.sample.kind == LogKind::Bases;
        let feet = in_feet(self.sample).or(self.context.feet.filter(|_| is_of_bases));
        match (length_unit(words), &self.context.metric, feet) {
            (Some(unit), _, _) => {
                candidate(format!("{quantity}_{unit}"), format!("{why}; the header names the unit"), Vec::new())
            }
            (None, Some(metric), _) => {
                candidate(format!("{quantity}_m"), format!("{why}; likely in metres: {metric}"), Vec::new())
            }
            (None, None, Some(feet)) => candidate(format!("{quantity}_ft"), format!("{why}; likely in feet: {feet}"), Vec::new()),
            (None, None, None) => candidate(
                format!("{quantity}_{UNDECIDED}"),
                format!("{why}; which unit? put _m, _ft, _usft or _yd in place of _{UNDECIDED}"),
                vec![Ask::LengthUnit],
            ),
        }
    }

    /// Heights of a person's eye and of a rod are told by their amount.
    pub(super) fn small_height(&self, name: &str, column: usize, words: &[String], why: &str) -> Guess {
        let most = self.sample.greatest(column);
        match (length_unit(words), most) {
            (None, Some(most)) if name == "instrument_height" && (0.8..2.6).contains(&most) => {
                candidate(format!("{name}_m"), format!("{why}; likely in metres: values up to {most}"), Vec::new())
            }
            (None, Some(most)) if name == "instrument_height" && (4.0..7.0).contains(&most) => {
                candidate(format!("{name}_ft"), format!("{why}; likely in feet: values up to {most}"), Vec::new())
            }
            _ => self.length(name, words, why),
        }
    }

    /// Columns that both kinds of logs have: names, codes, dates and times.
    pub(super) fn common(&self, column: usize, words: &[String]) -> Vec<Guess> {
        let sample = self.sample;
        if ["remarks", "diameter", "plot", "species"].iter().any(|concept| means(words, concept)) {
            return Vec::new();
        }
        let numeric = sample.is_numeric(column);
        // Numbers with fractions are no names.
        let is_name = !numeric || sample.numbers(column).iter().all(|value| value.fract() == 0.0);
        let mut found = Vec::new();
        let mut add = |concept: &str, why: &str| {
            if columns::parse(concept, sample.kind).is_some() {
                found.push(candidate(concept, why, Vec::new()));
            }
        };
        let (has_days, has_times) = (super::times::has_days(sample, column), super::times::has_times(sample, column));
        // A number in front of a tree, a pole or a nest is its name, not that of the shot.
        let is_object = is_name && means_object(words);
        if is_object && means(words, "shot") {
            add("feature", "feature by its header");
        }
        if is_name && means(words, "base") {
            add("base", "base by its header");
        }
        // A time of day with points between its parts reads like a date: beside one it is none.
        let is_time_of_day = means(words, "time") && !means(words, "date") && has_times && self.has_days_beside(column);
        if (means(words, "date") || means(words, "time")) && has_days && !is_time_of_day {
            if has_times && !self.has_times_beside(column) {
                let why = if means(words, "time") { "time by its header" } else { "time by its values" };
                add("time", &time_reason(sample, column, why));
            }
            if means(words, "date") || !means(words, "time") || !has_times {
                add("date", "date by its header");
            }
        }
        if means(words, "time") && has_times {
            add("time", &time_reason(sample, column, "time by its header"));
        }
        if is_object {
            add("feature", "feature by its header");
        }
        if is_name && means(words, "shot") {
            add("shot", "shot by its header");
        }
        if means(words, "code") && !(has_days || has_times && !numeric) {
            add("code", "code by its header");
        }
        found
    }

    /// Whether another column has days.
    fn has_days_beside(&self, column: usize) -> bool {
        let sample = self.sample;
        (0..sample.headers.len())
            .filter(|other| *other != column)
            .any(|other| means(&sample.words(other), "date") && super::times::has_days(sample, other))
    }

    /// Whether another column has times of day.
    fn has_times_beside(&self, column: usize) -> bool {
        let sample = self.sample;
        (0..sample.headers.len())
            .filter(|other| *other != column)
            .any(|other| means(&sample.words(other), "time") && super::times::has_times(sample, other))
    }
}

/// Whether a header names what is mapped. Short words such as "to" must stand alone.
fn means_object(words: &[String]) -> bool {
    let named: Vec<String> = words.iter().filter(|word| word.len() > 2 || words.len() == 1).cloned().collect();
    means(&named, "feature") || words::begins_with(words, "feature")
}

fn time_reason(sample: &Sample, column: usize, why: &str) -> String {
    let mut reason = why.to_owned();
    if sample.filled(column).next().is_some_and(super::times::wants_zone) && !super::times::is_utc(&sample.headers[column]) {
        let _ = write!(reason, "; its times have no zone: see time_zone");
    }
    reason
}
