//! Layouts with several readings in a row: foot and top of a tree beside its distance, left and right of a face.

use super::columns::{Ask, Context, length_unit};
use super::sample::Sample;
use super::words::{self, means};
use crate::job::UNDECIDED;

/// One reading: its role, and its columns by canonical name.
#[derive(Debug, Clone, PartialEq)]
pub struct WideReading {
    /// Role in the measurement.
    pub role: &'static str,
    /// Canonical name and header.
    pub columns: Vec<(String, String)>,
}

/// A layout that was recognised.
#[derive(Debug, Clone, PartialEq)]
pub struct Wide {
    /// Kind of measurement.
    pub measure: &'static str,
    /// Its readings.
    pub readings: Vec<WideReading>,
    /// Indexes of their columns.
    pub columns: Vec<usize>,
    /// Why.
    pub reason: String,
    /// What is open, in the order of the marks.
    pub asks: Vec<Ask>,
}

/// Recognises one.
pub fn of(sample: &Sample, context: &Context) -> Option<Wide> {
    let split: Vec<Vec<String>> = sample.headers.iter().map(|header| words::of(header)).collect();
    let numeric: Vec<usize> = (0..split.len()).filter(|column| sample.is_numeric(*column)).collect();
    heights(sample, context, &split, &numeric).or_else(|| widths(sample, context, &split, &numeric))
}

fn heights(sample: &Sample, context: &Context, split: &[Vec<String>], numeric: &[usize]) -> Option<Wide> {
    let is_angle =
        |column: usize| length_unit(&split[column]).is_none() && sample.greatest(column).is_some_and(|most| most <= 400.0);
    let one = |concept: &str| {
        let mut found = numeric.iter().copied().filter(|column| means(&split[*column], concept) && is_angle(*column));
        found.next().filter(|_| found.next().is_none())
    };
    let (top, foot) = (one("top")?, one("foot")?);
    if top == foot {
        return None;
    }
    let is_distance = |column: &usize| {
        ["horizontal_distance", "slope_distance", "distance"].iter().any(|concept| means(&split[*column], concept))
            && *column != top
            && *column != foot
    };
    let distance = numeric.iter().copied().find(|column| is_distance(column))?;
    let mut asks = Vec::new();
    let kind = match () {
        () if means(&split[distance], "horizontal_distance") => "horizontal_distance".to_owned(),
        () if means(&split[distance], "slope_distance") => "slope_distance".to_owned(),
        () => {
            asks.push(Ask::DistanceKind);
            format!("{UNDECIDED}_distance")
        }
    };
    let unit = length(&split[distance], context, &mut asks);
    let mut angle = |column: usize| format!("inclination_{}", slope_unit(&split[column], &mut asks));
    let (top_name, foot_name) = (angle(top), angle(foot));
    let header = |column: usize| sample.headers[column].clone();
    let reading = |role, name: String, column: usize| WideReading { role, columns: vec![(name, header(column))] };
    Some(Wide {
        measure: "height",
        readings: vec![
            reading("distance", format!("{kind}_{unit}"), distance),
            reading("top", top_name, top),
            reading("foot", foot_name, foot),
        ],
        columns: vec![distance, top, foot],
        reason: "one row has a distance and the angles to foot and top: the height of each".into(),
        asks,
    })
}

fn widths(sample: &Sample, context: &Context, split: &[Vec<String>], numeric: &[usize]) -> Option<Wide> {
    let side = |side: &str, concepts: &[&str]| {
        numeric
            .iter()
            .copied()
            .find(|column| means(&split[*column], side) && concepts.iter().any(|concept| means(&split[*column], concept)))
    };
    let mut asks = Vec::new();
    let mut readings = Vec::new();
    let mut columns = Vec::new();
    for role in ["left", "right"] {
        let azimuth = side(role, &["azimuth"])?;
        let north = ["magnetic", "true", "grid"].into_iter().find(|north| means(&split[azimuth], north)).unwrap_or_else(|| {
            asks.push(Ask::North);
            UNDECIDED
        });
        let mut of_side = vec![(format!("{north}_azimuth_deg"), sample.headers[azimuth].clone())];
        columns.push(azimuth);
        if let Some(inclination) = side(role, &["inclination"]).filter(|column| *column != azimuth) {
            of_side.push((
                format!("inclination_{}", slope_unit(&split[inclination], &mut asks)),
                sample.headers[inclination].clone(),
            ));
            columns.push(inclination);
        }
        if let Some(distance) = side(role, &["distance", "slope_distance", "horizontal_distance"]) {
            let kind = if means(&split[distance], "horizontal_distance") { "horizontal" } else { "slope" };
            of_side.push((
                format!("{kind}_distance_{}", length(&split[distance], context, &mut asks)),
                sample.headers[distance].clone(),
            ));
            columns.push(distance);
        }
        readings.push(WideReading { role, columns: of_side });
    }
    let reason = "one row has the sights to the left and to the right edge: the width of each".into();
    Some(Wide { measure: "width", readings, columns, reason, asks })
}

fn length(words: &[String], context: &Context, asks: &mut Vec<Ask>) -> &'static str {
    match (length_unit(words), &context.metric) {
        (Some(unit), _) => unit,
        (None, Some(_)) => "m",
        (None, None) => {
            asks.push(Ask::LengthUnit);
            UNDECIDED
        }
    }
}

fn slope_unit(words: &[String], asks: &mut Vec<Ask>) -> &'static str {
    let has = |any: &[&str]| words.iter().any(|word| any.contains(&word.as_str()));
    match () {
        () if has(&["pct", "percent", "%", "prozent", "procent", "prosent"]) => "pct",
        () if has(&["deg", "degree", "degrees", "°", "grad"]) => "deg",
        () if has(&["gon"]) => "gon",
        () => {
            asks.push(Ask::SlopeUnit);
            UNDECIDED
        }
    }
}
