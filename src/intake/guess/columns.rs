//! What the columns of a log seem to mean: by the words of their headers and by their values together.

use std::fmt::Write;

use super::sample::Sample;
use super::words::{self, means};
use crate::intake::cell::{CellFormat, WhenError};
use crate::intake::columns::{self, LogKind};
use crate::intake::dates::Style;
use crate::job::UNDECIDED;
use crate::measure;
use crate::units::{Hemispheres, parse_angle_deg};

/// Roles of all measurements, backsights and strings, as the docs have them.
const ROLES: [&str; 36] = [
    "foot",
    "top",
    "distance",
    "left",
    "right",
    "near_face",
    "centre",
    "plane",
    "from",
    "to",
    "sight",
    "plane_1",
    "plane_2",
    "plane_3",
    "face",
    "support_a",
    "support_b",
    "wire",
    "ground",
    "object",
    "toe",
    "crest",
    "surface",
    "start",
    "end",
    "point",
    "backsight",
    "foresight",
    "join",
    "close",
    "begin",
    "known_line",
    "middle",
    "line",
    "top_edge",
    "base",
];

/// Rows above which the absence of values beyond a full turn tells a unit.
const MANY: usize = 5;

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
}

impl Context {
    /// Of some logs.
    pub fn of(samples: &[Sample]) -> Context {
        let mut context = Context::default();
        for sample in samples.iter().filter(|sample| sample.kind == LogKind::Bases) {
            context.base_names.extend(sample.names.iter().cloned());
            if let Some(column) = name_column(sample) {
                context.base_names.extend(sample.filled(column).map(str::to_owned));
            }
        }
        let units: Vec<Vec<String>> = samples.iter().flat_map(|sample| &sample.headers).map(|header| words::of(header)).collect();
        let in_feet = units.iter().any(|words| matches!(length_unit(words), Some("ft" | "usft" | "yd")));
        let in_metres = units.iter().any(|words| length_unit(words) == Some("m"));
        let comma = samples.iter().find(|sample| sample.decimal_comma);
        let eye = samples.iter().any(|sample| {
            (0..sample.headers.len()).any(|column| {
                means(&words::of(&sample.headers[column]), "instrument_height")
                    && sample.greatest(column).is_some_and(|most| (0.8..2.6).contains(&most))
            })
        });
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
            units.iter().find_map(|words| {
                let found = concepts.iter().find_map(|concept| words::language(words, concept))?;
                (!matches!(found, "any" | "en")).then_some(found)
            })
        };
        context.metric = match () {
            () if in_feet => None,
            () if in_metres => Some("other headers say metres".into()),
            () if eye => Some("the instrument heights are metres by their amount".into()),
            () if comma.is_some() => Some("logs with a decimal comma are in metres as a rule".into()),
            () => foreign().map(|_| "logs in this language are in metres as a rule".into()),
        };
        context
    }
}

/// The column of a base log that names its points.
pub fn name_column(sample: &Sample) -> Option<usize> {
    let named = |concept: &str| (0..sample.headers.len()).find(|column| means(&words::of(&sample.headers[*column]), concept));
    let canonical = sample.headers.iter().position(|header| header.eq_ignore_ascii_case("base"));
    canonical
        .or_else(|| named("base"))
        .or_else(|| named("shot"))
        .or_else(|| named("feature"))
        .or((!sample.headers.is_empty()).then_some(0))
}

/// The unit suffix of a length that a header names, if any.
pub fn length_unit(words: &[String]) -> Option<&'static str> {
    let has = |any: &[&str]| words.iter().any(|word| any.contains(&word.as_str()));
    if has(&["usft", "ftus", "sft"]) {
        Some("usft")
    } else if has(&["ft", "feet", "foot", "fuss", "pieds", "pies"]) {
        // Which foot cannot be told from "ft"; for a shot the two are the same within 2 ppm.
        Some("ft")
    } else if has(&["m", "metre", "metres", "meter", "meters", "metros", "metri", "metry", "metri"]) {
        Some("m")
    } else if has(&["yd", "yard", "yards"]) {
        Some("yd")
    } else {
        None
    }
}

fn angle_unit(words: &[String]) -> Option<&'static str> {
    let has = |any: &[&str]| words.iter().any(|word| any.contains(&word.as_str()));
    if has(&["gon", "grad", "grades"]) {
        Some("gon")
    } else if has(&["mil", "mils"]) {
        Some("mil")
    } else if has(&["deg", "degree", "degrees", "°", "grados", "graus", "gradi", "graden", "stopnie", "grader", "asteet"]) {
        Some("deg")
    } else {
        None
    }
}

fn is_percent(words: &[String]) -> bool {
    words.iter().any(|word| ["pct", "percent", "%", "prozent", "procent", "prosent", "prosentti"].contains(&word.as_str()))
}

/// Guesses at a log's columns, in their order; none for what is carried through.
pub fn guesses(sample: &Sample, context: &Context) -> Vec<Guess> {
    let mut found: Vec<Guess> = Vec::new();
    let guesser = Guesser { sample, context };
    for (column, header) in sample.headers.iter().enumerate() {
        if columns::parse(&header.to_lowercase(), sample.kind).is_some() {
            // Claimed by its own name; nothing to write.
            continue;
        }
        let words = words::of(header);
        let guess = match sample.kind {
            LogKind::Shots => guesser.shot(column, &words),
            LogKind::Bases | LogKind::Occupations => guesser.base(column, &words),
        };
        let Some((canonical, reason, asks)) = guess else { continue };
        let same = |other: &Guess| quantity(&other.canonical) == quantity(&canonical);
        if !found.iter().any(same) && !sample.headers.iter().any(|other| is_claimed(other, &canonical, sample.kind)) {
            found.push(Guess { canonical, headers: vec![header.clone()], reason, asks });
        }
    }
    if sample.kind == LogKind::Shots {
        guesser.name_bases(&mut found);
        guesser.name_features(&mut found);
    }
    found
}

/// A canonical name without its unit and its kind of north.
fn quantity(canonical: &str) -> String {
    let bare = canonical.rsplit_once('_').map_or(canonical, |(name, _)| name);
    match bare {
        _ if bare.ends_with("azimuth") => "azimuth".to_owned(),
        _ if canonical.contains('_') => bare.to_owned(),
        _ => canonical.to_owned(),
    }
}

fn is_claimed(header: &str, canonical: &str, kind: LogKind) -> bool {
    let own = columns::parse(&header.to_lowercase(), kind);
    own.is_some() && own.map(|(quantity, _)| quantity) == columns::parse(canonical, kind).map(|(quantity, _)| quantity)
}

type Found = Option<(String, String, Vec<Ask>)>;

struct Guesser<'s> {
    sample: &'s Sample,
    context: &'s Context,
}

impl Guesser<'_> {
    fn length(&self, quantity: &str, words: &[String], why: &str) -> (String, String, Vec<Ask>) {
        match (length_unit(words), &self.context.metric) {
            (Some(unit), _) => (format!("{quantity}_{unit}"), format!("{why}; the header names the unit"), Vec::new()),
            (None, Some(metric)) => (format!("{quantity}_m"), format!("{why}; likely in metres: {metric}"), Vec::new()),
            (None, None) => (
                format!("{quantity}_{UNDECIDED}"),
                format!("{why}; which unit? put _m, _ft, _usft or _yd in place of _{UNDECIDED}"),
                vec![Ask::LengthUnit],
            ),
        }
    }

    fn shot(&self, column: usize, words: &[String]) -> Found {
        let sample = self.sample;
        let numeric = sample.is_numeric(column);
        if let Some(told) = self.by_values(column) {
            return Some(told);
        }
        if !numeric {
            return self.common(column, words);
        }
        if means(words, "azimuth") {
            return Some(self.azimuth(column, words));
        }
        let slope_in_percent = is_percent(words) && words.iter().any(|word| word == "slope");
        if means(words, "slope_distance") || means(words, "horizontal_distance") || means(words, "vertical_distance") {
            // "Vertical angle" is none of them.
            if !means(words, "inclination") || means(words, "distance") {
                return Some(self.distance(words));
            }
        }
        if means(words, "zenith") {
            return Some((
                format!("zenith_{}", angle_unit(words).unwrap_or("deg")),
                "a zenith angle by its header".into(),
                Vec::new(),
            ));
        }
        if slope_in_percent {
            return Some(("inclination_pct".into(), "a slope in percent by its header".into(), Vec::new()));
        }
        if means(words, "instrument_height") {
            return Some(self.small_height("instrument_height", column, words, "an instrument height by its header"));
        }
        if means(words, "target_height") {
            return Some(self.small_height("target_height", column, words, "a target height by its header"));
        }
        if means(words, "inclination") {
            return Some(self.inclination(column, words, "an inclination by its header"));
        }
        if means(words, "distance") {
            return Some(self.distance(words));
        }
        self.common(column, words)
    }

    fn azimuth(&self, column: usize, words: &[String]) -> (String, String, Vec<Ask>) {
        let north = ["magnetic", "true", "grid"].into_iter().find(|north| means(words, north));
        let mut reason = "an azimuth by its header".to_owned();
        let mut asks = Vec::new();
        if north.is_none() {
            let _ = write!(reason, "; from which north? put magnetic, true or grid in place of {UNDECIDED}");
            asks.push(Ask::North);
        }
        let unit = angle_unit(words).or_else(|| self.turn(column, &mut reason));
        if unit.is_none() {
            let most = self.sample.greatest(column).map(|most| format!(" (values up to {most})")).unwrap_or_default();
            let _ = write!(reason, "; in which unit{most}? put deg, gon or mil");
            asks.push(Ask::AngleUnit);
        }
        (format!("{}_azimuth_{}", north.unwrap_or(UNDECIDED), unit.unwrap_or(UNDECIDED)), reason, asks)
    }

    /// The unit that the values of full turns tell.
    fn turn(&self, column: usize, reason: &mut String) -> Option<&'static str> {
        let numbers = self.sample.numbers(column);
        let most = self.sample.greatest(column)?;
        let (unit, why) = match most {
            _ if numbers.len() < MANY => return None,
            _ if most <= 360.0 => ("deg", format!("none of {} values is above 360", numbers.len())),
            _ if most <= 400.0 => ("gon", "values lie between 360 and 400".to_owned()),
            _ if most <= 6400.0 => ("mil", format!("values go up to {most}")),
            _ => return None,
        };
        let _ = write!(reason, "; likely in {unit}: {why}");
        Some(unit)
    }

    fn distance(&self, words: &[String]) -> (String, String, Vec<Ask>) {
        let kinds = [
            ("horizontal_distance", "a horizontal distance by its header"),
            ("vertical_distance", "a vertical distance by its header"),
            ("slope_distance", "a slope distance by its header"),
        ];
        if let Some((kind, why)) = kinds.into_iter().find(|(kind, _)| means(words, kind)) {
            return self.length(kind, words, why);
        }
        let others: Vec<Vec<String>> = self.sample.headers.iter().map(|header| words::of(header)).collect();
        let any = |concept: &str| others.iter().any(|words| means(words, concept));
        let has_angles = any("inclination") || any("zenith") || any("vertical_distance");
        if any("horizontal_distance") || (has_angles && !any("slope_distance")) {
            let why = if any("horizontal_distance") {
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
        let (name, mut reason, mut asks) = self.length(&format!("{UNDECIDED}_distance"), words, "a distance by its header");
        let _ = write!(reason, "; put slope or horizontal in place of the first {UNDECIDED}");
        asks.insert(0, Ask::DistanceKind);
        (name, reason, asks)
    }

    /// Heights of a person's eye and of a rod are told by their amount.
    fn small_height(&self, name: &str, column: usize, words: &[String], why: &str) -> (String, String, Vec<Ask>) {
        let most = self.sample.greatest(column);
        match (length_unit(words), most) {
            (None, Some(most)) if name == "instrument_height" && (0.8..2.6).contains(&most) => {
                (format!("{name}_m"), format!("{why}; likely in metres: values up to {most}"), Vec::new())
            }
            _ => self.length(name, words, why),
        }
    }

    fn inclination(&self, column: usize, words: &[String], why: &str) -> (String, String, Vec<Ask>) {
        if is_percent(words) {
            return ("inclination_pct".into(), format!("{why}, in percent"), Vec::new());
        }
        let numbers = self.sample.numbers(column);
        let near_level = numbers.iter().filter(|value| (70.0..110.0).contains(*value)).count();
        if numbers.len() >= MANY && near_level * 5 > numbers.len() * 4 {
            let reason = format!(
                "{why}, but its values lie about 90: if 90 is level put zenith in place of {UNDECIDED}, else inclination"
            );
            return (format!("{UNDECIDED}_deg"), reason, vec![Ask::ZenithOrInclination]);
        }
        if let Some(unit) = angle_unit(words) {
            return (format!("inclination_{unit}"), format!("{why}; the header names the unit"), Vec::new());
        }
        let most = numbers.iter().copied().map(f64::abs).fold(0.0, f64::max);
        if numbers.len() >= MANY && most <= 45.0 && numbers.iter().any(|value| value.fract() != 0.0) {
            let reason = format!("{why}; likely in degrees: {} values with fractions, none above 45", numbers.len());
            return ("inclination_deg".into(), reason, Vec::new());
        }
        if numbers.len() >= MANY && most <= 90.0 && self.has_degrees_beside(column) {
            return ("inclination_deg".into(), format!("{why}; likely in degrees, as the azimuths are"), Vec::new());
        }
        let reason = format!("{why}; in which unit? put deg, gon, mil or pct in place of {UNDECIDED}");
        (format!("inclination_{UNDECIDED}"), reason, vec![Ask::SlopeUnit])
    }

    /// Whether an azimuth of the log is in degrees.
    fn has_degrees_beside(&self, column: usize) -> bool {
        (0..self.sample.headers.len()).filter(|other| *other != column).any(|other| {
            let words = words::of(&self.sample.headers[other]);
            means(&words, "azimuth")
                && self.sample.is_numeric(other)
                && (angle_unit(&words) == Some("deg") || self.turn(other, &mut String::new()) == Some("deg"))
        })
    }

    /// Columns whose values are words of measurements and roles.
    fn by_values(&self, column: usize) -> Found {
        let cells: Vec<String> = self.sample.filled(column).map(|cell| cell.trim().to_lowercase().replace(' ', "_")).collect();
        let share = |known: &dyn Fn(&str) -> bool| cells.iter().filter(|cell| known(cell)).count() * 10 >= cells.len() * 8;
        if cells.is_empty() || self.sample.is_numeric(column) {
            return None;
        }
        let is_kind = |cell: &str| measure::KINDS.contains(&cell);
        if share(&is_kind) {
            let first = cells.iter().find(|cell| is_kind(cell)).cloned().unwrap_or_default();
            return Some(("measure".into(), format!("its values are kinds of measurements, such as {first}"), Vec::new()));
        }
        if share(&|cell: &str| ROLES.contains(&cell)) {
            return Some(("role".into(), format!("its values are roles in measurements, such as {}", cells[0]), Vec::new()));
        }
        None
    }

    fn base(&self, column: usize, words: &[String]) -> Found {
        let sample = self.sample;
        let simple = |canonical: &str, reason: &str| Some((canonical.to_owned(), reason.to_owned(), Vec::new()));
        if sample.is_numeric(column) {
            if means(words, "latitude") {
                return simple("lat_deg", "a latitude by its header");
            }
            if means(words, "longitude") {
                return simple("lon_deg", "a longitude by its header");
            }
            if let Some(accuracy) = self.accuracy(words) {
                return Some(accuracy);
            }
            let is_far = sample.greatest(column).is_some_and(|most| most > 1000.0);
            if means(words, "easting") && (is_far || words.iter().any(|word| word.len() > 1)) {
                return Some(self.coordinate("east", column, words, "an easting by its header"));
            }
            if means(words, "northing") && (is_far || words.iter().any(|word| word.len() > 1)) {
                return Some(self.coordinate("north", column, words, "a northing by its header"));
            }
            if means(words, "antenna") {
                return Some(self.length("antenna_height", words, "an antenna height by its header"));
            }
            if means(words, "instrument_height") {
                return Some(self.small_height("instrument_height", column, words, "an instrument height by its header"));
            }
            if means(words, "height") {
                let kind = if means(words, "ellipsoidal") {
                    Some("ellipsoid")
                } else if means(words, "orthometric") {
                    Some("orthometric")
                } else {
                    None
                };
                let (name, mut reason, mut asks) =
                    self.length(&format!("{}_height", kind.unwrap_or(UNDECIDED)), words, "a height by its header");
                if kind.is_none() {
                    let _ = write!(reason, "; above what? put ellipsoid or orthometric in place of the first {UNDECIDED}");
                    asks.insert(0, Ask::HeightKind);
                }
                return Some((name, reason, asks));
            }
        }
        for (canonical, letters, sides) in
            [("lat_deg", Hemispheres::Latitude, ['N', 'S']), ("lon_deg", Hemispheres::Longitude, ['E', 'W'])]
        {
            // A zone such as 32N is no latitude: an angle in parts has more to it.
            let is_angle = |cell: &str| cell.len() > 5 && cell.contains(sides) && parse_angle_deg(cell, letters).is_ok();
            if sample.filled(column).any(is_angle) {
                return Some((canonical.into(), format!("its values are angles with {} or {}", sides[0], sides[1]), Vec::new()));
            }
        }
        if name_column(sample) == Some(column) {
            let reason = if means(words, "base") { "base by its header" } else { "the first column, and nothing else is a name" };
            return simple("base", reason);
        }
        // The bases' own times and days serve nothing where shots name their bases.
        None
    }

    /// The accuracy that a receiver or a phone says.
    fn accuracy(&self, words: &[String]) -> Found {
        if !means(words, "accuracy") {
            return None;
        }
        let has = |word: &str| words.iter().any(|own| own == word);
        let other = |letter: &str| {
            self.sample
                .headers
                .iter()
                .map(|header| words::of(header))
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

    /// A coordinate of a grid, which is in metres unless something says feet.
    fn coordinate(&self, name: &str, column: usize, words: &[String], why: &str) -> (String, String, Vec<Ask>) {
        let _ = column;
        self.length(name, words, why)
    }

    fn common(&self, column: usize, words: &[String]) -> Found {
        let sample = self.sample;
        if means(words, "remarks") || means(words, "diameter") || means(words, "plot") {
            return None;
        }
        let concepts = ["base", "shot", "date", "time", "feature", "code"];
        let concept =
            concepts.into_iter().find(|concept| means(words, concept) && columns::parse(concept, sample.kind).is_some())?;
        // Numbers with fractions are no names.
        if matches!(concept, "base" | "feature")
            && sample.is_numeric(column)
            && sample.numbers(column).iter().any(|value| value.fract() != 0.0)
        {
            return None;
        }
        let mut reason = format!("{concept} by its header");
        if concept == "time" && sample.filled(column).next().is_some_and(wants_zone) {
            reason.push_str("; its times have no zone: see time_zone below");
        }
        Some((concept.to_owned(), reason, Vec::new()))
    }

    /// The column that names the base: the one whose values are names in a base log, before what headers say.
    fn name_bases(&self, found: &mut Vec<Guess>) {
        let sample = self.sample;
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
                found.push(Guess {
                    canonical: "base".into(),
                    headers: vec![UNDECIDED.into()],
                    reason: "which column names the base? several together are written [\"plot\", \"point\"]".into(),
                    asks: vec![Ask::BaseColumn],
                });
            }
            return;
        };
        let header = &sample.headers[column];
        if by_header.is_some_and(|at| found[at].headers[0] == *header) {
            return;
        }
        if let Some(at) = by_header
            && sample
                .headers
                .iter()
                .position(|own| *own == found[at].headers[0])
                .is_some_and(|own| known(own) * 2 >= known(column))
        {
            return;
        }
        found.retain(|guess| guess.canonical != "base" && guess.headers[0] != *header);
        found.push(Guess {
            canonical: "base".into(),
            headers: vec![header.clone()],
            reason: "its values are names in a base log; several columns together are written [\"plot\", \"point\"]".into(),
            asks: Vec::new(),
        });
    }

    /// A feature's name that only a plot before it makes unique.
    fn name_features(&self, found: &mut [Guess]) {
        let sample = self.sample;
        let plot = (0..sample.headers.len()).find(|column| means(&words::of(&sample.headers[*column]), "plot"));
        let (Some(plot), Some(guess)) = (plot, found.iter_mut().find(|guess| guess.canonical == "feature")) else { return };
        let Some(column) = sample.headers.iter().position(|header| *header == guess.headers[0]) else { return };
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
}

/// Whether a time names no zone of its own.
pub fn wants_zone(cell: &str) -> bool {
    let with_day = if cell.len() <= 11 && cell.contains(':') { format!("2000-01-01T{}", cell.trim()) } else { cell.to_owned() };
    match CellFormat::default().when(None, Some((&with_day, Style::default()))) {
        Err(WhenError::NoZone) => true,
        Err(_) => cell.contains(':') && !cell.contains('Z'),
        Ok(_) => false,
    }
}
